use super::*;
use crate::calc::light::photometry::Photometry;

/// A file of our own making: a perfect diffuser of 1000 cd over 10° steps, with the parts that a test varies.
fn made(version: &str, tilt: &str, header: &str, horizontal: &str) -> String {
    let verticals: Vec<String> = (0..=9).map(|step| format!("{}", step * 10)).collect();
    let row: Vec<String> =
        (0..=9).map(|step| format!("{:.3}", 1000.0 * (f64::from(step) * 10.0).to_radians().cos())).collect();
    let planes = horizontal.split_whitespace().count();
    let rows = vec![row.join(" "); planes].join("\n");
    format!("{version}[TEST] 1\n{tilt}\n{header}\n{}\n{horizontal}\n{rows}\n", verticals.join(" "))
}

const HEADER: &str = "1 -1 1 10 1 1 2 -0.08 0 0\n1 1 9";

fn centre(text: &str) -> f64 {
    read(text).unwrap().table.centre_cd()
}

#[test]
fn every_edition_is_told_from_its_first_line() {
    for (version, edition) in [
        ("", Edition::Of1986),
        ("IESNA91\n", Edition::Of1991),
        ("IESNA:LM-63-1995\n", Edition::Of1995),
        ("IESNA:LM-63-2002\n", Edition::Of2002),
        ("IES:LM-63-2019\n", Edition::Of2019),
        ("\u{FEFF}IESNA:LM-63-2002\n", Edition::Of2002),
        ("  iesna:lm-63-1995  \n", Edition::Of1995),
    ] {
        let file = read(&made(version, "TILT=NONE", HEADER, "0")).unwrap();
        assert_eq!(file.edition, edition, "{version}");
        assert_eq!(file.lamp_lumens, None);
    }
    let unknown = read(&made("IESNA:LM-63-2042\n", "TILT=NONE", HEADER, "0")).unwrap_err();
    assert!(unknown.to_string().contains("2042"), "{unknown}");
}

#[test]
fn the_second_factor_scales_in_the_early_editions_only() {
    // 1986 and 1991: the ballast-lamp factor. 1995, 2002: 1. 2019: a code, here of an accredited laboratory.
    let header = "1 -1 2 10 1 1 2 0 0 0\n.5 1.1 9";
    let scaled = |version: &str| centre(&made(version, "TILT=NONE", header, "0"));
    assert!((scaled("") - 1100.0).abs() < 1e-9);
    assert!((scaled("IESNA91\n") - 1100.0).abs() < 1e-9);
    assert!((scaled("IESNA:LM-63-1995\n") - 1000.0).abs() < 1e-9);
    assert!((scaled("IESNA:LM-63-2002\n") - 1000.0).abs() < 1e-9);
    assert!((scaled("IES:LM-63-2019\n") - 1000.0).abs() < 1e-9);
    let file = read(&made("IES:LM-63-2019\n", "TILT=NONE", header, "0")).unwrap();
    assert_eq!((file.generation, file.watts), (Some(1.1), 9.0));
}

#[test]
fn lines_commas_and_number_forms_mean_nothing() {
    let plain = made("IESNA:LM-63-2002\n", "TILT=NONE", HEADER, "0");
    let (head, body) = plain.split_once("TILT=NONE\n").unwrap();
    let wanted = read(&plain).unwrap();
    let commas = format!("{head}TILT=NONE\n{}", body.replace(' ', ", "));
    let one_a_line = format!("{head}TILT=NONE\n{}", body.replace(' ', "\n"));
    let one_line = format!("{head}TILT=NONE\n{}", body.replace('\n', " "));
    let other_forms = plain.replace("-0.08 0 0", "-.08 0. +0.0").replace("\n1 1 9", "\n1.0E0 1 .9e1");
    let crlf = plain.replace('\n', "\r\n");
    let cr = plain.replace('\n', "\r");
    let end_mark = format!("{plain}\u{1A}");
    for text in [commas, one_a_line, one_line, other_forms, crlf, cr, end_mark] {
        assert_eq!(read(&text).unwrap(), wanted, "{text}");
    }
}

#[test]
fn the_tilt_line_may_be_spaced_and_its_data_are_read_at_level() {
    for tilt in ["TILT = NONE", "tilt=none", " TILT=NONE "] {
        assert!(read(&made("IESNA:LM-63-1995\n", tilt, HEADER, "0")).is_ok(), "{tilt}");
    }
    let include = "TILT=INCLUDE\n1\n3\n0 45 90\n0.9 0.8 0.7";
    assert!((centre(&made("IESNA:LM-63-1995\n", include, HEADER, "0")) - 900.0).abs() < 1e-9);
    let outside = read(&made("IESNA:LM-63-1995\n", "TILT=other.tlt", HEADER, "0"));
    assert_eq!(outside, Err(Lm63Error::TiltFile { name: String::from("other.tlt") }));
    assert_eq!(read("IESNA91\n1 -1 1 10\n"), Err(Lm63Error::NoTilt));
    assert_eq!(read(""), Err(Lm63Error::NoTilt));
}

#[test]
fn all_symmetries_of_type_c_are_read_and_the_others_refused() {
    for horizontal in ["0", "0 45 90", "0 90 180", "0 90 180 270 360", "0 90 180 270", "90 180 270", "0 120 240 345"] {
        let planes = horizontal.split_whitespace().count();
        let header = format!("1 -1 1 10 {planes} 1 2 0 0 0\n1 1 9");
        let file = read(&made("IESNA:LM-63-1995\n", "TILT=NONE", &header, horizontal)).unwrap();
        let light = Photometry::table(file.table);
        assert!((light.candela(0.0f64.to_radians().cos(), 200.0) - 1000.0).abs() < 1e-9, "{horizontal}");
        // A diffuser of 1000 cd in straight 10° pieces: 0.25 % under 1000π, by the second derivative of the cosine.
        assert!((light.flux_lm() / (1000.0 * std::f64::consts::PI) - 1.0).abs() < 0.003, "{horizontal}");
    }
    let header = "1 -1 1 10 2 1 2 0 0 0\n1 1 9";
    let slanted = read(&made("IESNA:LM-63-1995\n", "TILT=NONE", header, "0 45"));
    assert!(matches!(slanted, Err(Lm63Error::Table(TableError::Horizontal { .. }))));
    let falling = read(&made("IESNA:LM-63-1995\n", "TILT=NONE", header, "90 0"));
    assert!(matches!(falling, Err(Lm63Error::Table(TableError::Horizontal { .. }))));
    for (code, letter) in [(2, 'B'), (3, 'A')] {
        let header = format!("1 -1 1 10 1 {code} 2 0 0 0\n1 1 9");
        let other = read(&made("IESNA:LM-63-2002\n", "TILT=NONE", &header, "0"));
        assert_eq!(other, Err(Lm63Error::WrongType { letter }));
    }
}

#[test]
fn keywords_are_kept_and_never_mined_for_numbers() {
    let head = "IESNA:LM-63-2002\n[LAMP] LED 11,5W\n[MORE] second line\n[_OWN] x\n[BLOCK]\n[LAMP] other\n[ENDBLOCK]\n";
    let file = read(&made(head, "TILT=NONE", HEADER, "0")).unwrap();
    let text = |key: &str| file.keywords.iter().find(|(found, _)| found == key).map(|(_, text)| text.as_str());
    assert_eq!(text("LAMP"), Some("LED 11,5W\nsecond line"));
    assert_eq!(text("_OWN"), Some("x"));
    let labels = read(&made("A label line\nAnother\n", "TILT=NONE", HEADER, "0")).unwrap();
    assert_eq!(labels.edition, Edition::Of1986);
    assert_eq!(labels.keywords[0], (String::new(), String::from("A label line")));
}

#[test]
fn a_wrong_number_of_numbers_is_told_with_both_counts() {
    let whole = made("IESNA:LM-63-2002\n", "TILT=NONE", HEADER, "0");
    let cut = whole.trim_end().rsplit_once(' ').unwrap().0;
    assert_eq!(read(cut), Err(Lm63Error::Short { what: "an intensity", found: 33, expected: 34 }));
    assert_eq!(read(&format!("{whole} 0")), Err(Lm63Error::Long { extra: 1, expected: 10 }));
    assert!(matches!(read("TILT=NONE\n1 -1"), Err(Lm63Error::Short { what: "candela multiplier", .. })));
    let word = read(&whole.replace("1000.000", "bright"));
    assert_eq!(word, Err(Lm63Error::NotANumber { text: String::from("bright"), what: "an intensity" }));
}

#[test]
fn numbers_that_make_no_light_are_refused() {
    let with = |header: &str| read(&made("IESNA:LM-63-2002\n", "TILT=NONE", header, "0")).unwrap_err();
    for (header, what) in [
        ("1 -1 0 10 1 1 2 0 0 0\n1 1 9", "candela multiplier"),
        ("1 -1 1 1 1 1 2 0 0 0\n1 1 9", "number of vertical angles"),
        ("1 -1 1 9999999 1 1 2 0 0 0\n1 1 9", "number of vertical angles"),
        ("1 -1 1 10 0.5 1 2 0 0 0\n1 1 9", "number of horizontal angles"),
        ("1 -1 1 10 1 4 2 0 0 0\n1 1 9", "photometric type"),
        ("1 -1 1 10 1 1 3 0 0 0\n1 1 9", "unit of the opening"),
        ("1 -1 1 10 1 1 2 0 0 0\n-1 1 9", "ballast factor"),
        ("NaN -1 1 10 1 1 2 0 0 0\n1 1 9", "number of lamps"),
        ("1 -1 inf 10 1 1 2 0 0 0\n1 1 9", "candela multiplier"),
    ] {
        assert!(with(header).to_string().contains(what), "{header}: {}", with(header));
    }
    let whole = made("IESNA:LM-63-2002\n", "TILT=NONE", HEADER, "0");
    let dark = read(&whole.replace("1000.000", "-5"));
    assert_eq!(dark, Err(Lm63Error::Table(TableError::Negative { value: -5.0 })));
}

#[test]
fn openings_are_read_from_their_codes_in_metres() {
    let opening_of = |sizes: &str, unit: u8| {
        let header = format!("1 -1 1 10 1 1 {unit} {sizes}\n1 1 9");
        read(&made("IESNA:LM-63-2002\n", "TILT=NONE", &header, "0")).unwrap().opening
    };
    assert_eq!(opening_of("0 0 0", 2).shape, Shape::Point);
    let circle = opening_of("-0.1 0 0", 2);
    assert_eq!((circle.shape, circle.width_m, circle.length_m), (Shape::Circle, 0.1, 0.1));
    assert_eq!(opening_of("-0.1 -0.1 0", 2).shape, Shape::Circle);
    assert_eq!(opening_of("-0.1 0 0.2", 2).shape, Shape::Circle);
    assert_eq!(opening_of("-0.1 0 -0.1", 2).shape, Shape::Sphere);
    assert_eq!(opening_of("0 1 -0.1", 2).shape, Shape::LyingCylinder);
    assert_eq!(opening_of("-0.1 0.2 0", 2).shape, Shape::Ellipse);
    assert_eq!(opening_of("0.1 -0.2 0", 2).shape, Shape::Ellipse);
    let feet = opening_of("1 2 0", 1);
    assert_eq!((feet.shape, feet.width_m, feet.length_m), (Shape::Rectangle, 0.3048, 0.6096));
}

#[test]
fn bytes_of_any_code_become_text() {
    let text = made("IESNA:LM-63-2002\n[OTHER] “quoted”\n", "TILT=NONE", HEADER, "0");
    let wide: Vec<u8> = [0xFF, 0xFE].into_iter().chain(text.encode_utf16().flat_map(u16::to_le_bytes)).collect();
    assert_eq!(decode(&wide).unwrap(), text);
    let old = b"IESNA91\n[LUMINAIRE] 60\xB0 \x93beam\x94\nTILT=NONE\n";
    assert!(decode(old).unwrap().contains("60°"));
    let broken = [text.as_bytes(), &[0xC2]].concat();
    assert!(decode(&broken).unwrap().contains("TILT=NONE"));
    assert!(matches!(decode(&vec![b'1'; MOST_BYTES + 1]), Err(Lm63Error::TooLarge { .. })));
}

#[test]
fn relative_files_carry_their_lamps_lumens() {
    let file = read(&made("IESNA:LM-63-1995\n", "TILT=NONE", "2 400 1 10 1 1 2 0 0 0\n1 1 9", "0")).unwrap();
    assert_eq!(file.lamp_lumens, Some(800.0));
}
