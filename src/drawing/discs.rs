//! Paper discs at true size: taped on the marks, they show how the lights will look before a hole is cut.

use serde::{Deserialize, Serialize};

use super::svg::{self, STYLE, Style, Writer, number};
use super::words;

/// What discs to print.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Discs {
    /// Diameter of the bezel, the size of a disc, mm.
    pub bezel_mm: f64,
    /// Diameter of the hole, drawn inside it, mm.
    pub cut_out_mm: f64,
    /// A disc for each of these.
    pub tags: Vec<String>,
}

/// A disc that can't be printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum DiscError {
    /// The bezel doesn't fit the paper, or is no size at all.
    #[error("a disc must be between {LEAST_MM} and {GREATEST_MM} mm wide to be printed on A4")]
    Bezel,
    /// The hole isn't smaller than the bezel that covers it.
    #[error("the cut-out must be smaller than the bezel and more than nothing")]
    CutOut,
    /// More discs than anyone cuts out.
    #[error("at most {MOST_DISCS} discs are printed at a time")]
    TooMany,
}

/// A4, mm (ISO 216:2007).
const PAPER_MM: [f64; 2] = [210.0, 297.0];
const MARGIN_MM: f64 = 10.0;
/// The ruler and its words take this much of the top, mm.
const HEAD_MM: f64 = 32.0;
const GAP_MM: f64 = 4.0;
/// Length of the check ruler, mm.
const RULER_MM: u32 = 100;
const LEAST_MM: u32 = 20;
const GREATEST_MM: u32 = 190;
const MOST_DISCS: usize = 200;

/// Draws discs of a bezel's size, as many A4 pages as they take, each an SVG with a ruler to check the print.
///
/// # Errors
/// [`DiscError`] if the sizes make no disc or the page can't hold one.
pub fn discs(discs: &Discs, style: Style) -> Result<Vec<String>, DiscError> {
    if !(f64::from(LEAST_MM)..=f64::from(GREATEST_MM)).contains(&discs.bezel_mm) {
        return Err(DiscError::Bezel);
    }
    if !(discs.cut_out_mm > 0.0 && discs.cut_out_mm < discs.bezel_mm) {
        return Err(DiscError::CutOut);
    }
    if discs.tags.len() > MOST_DISCS {
        return Err(DiscError::TooMany);
    }
    let pitch = discs.bezel_mm + GAP_MM;
    // Sizes were checked above: both counts are small and at least 1.
    let columns = ((PAPER_MM[0] - 2.0 * MARGIN_MM + GAP_MM) / pitch).floor() as usize;
    let rows = ((PAPER_MM[1] - 2.0 * MARGIN_MM - HEAD_MM + GAP_MM) / pitch).floor() as usize;
    Ok(discs.tags.chunks(columns * rows).map(|tags| page(discs, tags, columns, style)).collect())
}

fn page(discs: &Discs, tags: &[String], columns: usize, style: Style) -> String {
    let mut out = Writer::default();
    let (width, height) = (format!("{}mm", PAPER_MM[0]), format!("{}mm", PAPER_MM[1]));
    let view = format!("0 0 {} {}", PAPER_MM[0], PAPER_MM[1]);
    out.open(
        "svg",
        &[
            ("xmlns", "http://www.w3.org/2000/svg"),
            ("class", "drawing"),
            ("role", "img"),
            ("width", &width),
            ("height", &height),
            ("viewBox", &view),
        ],
    );
    out.element("title", &[], "Paper discs at true size");
    let size = format!("bezel {} mm, cut-out {} mm", number(discs.bezel_mm), number(discs.cut_out_mm));
    let number_of = words::count(tags.len(), "disc", "discs");
    out.element(
        "desc",
        &[],
        &format!("{number_of} at true size on A4: {size}. A ruler of {RULER_MM} mm to check the print."),
    );
    if style == Style::Own {
        out.element("style", &[], STYLE);
    }
    out.empty("rect", &[("class", "paper"), ("width", &number(PAPER_MM[0])), ("height", &number(PAPER_MM[1]))]);
    ruler(&mut out, &size);
    let pitch = discs.bezel_mm + GAP_MM;
    for (index, tag) in tags.iter().enumerate() {
        let place = |step: usize, first: f64| first + discs.bezel_mm / 2.0 + pitch * step as f64;
        let centre = [place(index % columns, MARGIN_MM), place(index / columns, MARGIN_MM + HEAD_MM)];
        disc(&mut out, discs, centre, &words::inert(tag));
    }
    out.close();
    out.text
}

fn ruler(out: &mut Writer, size: &str) {
    text(out, [MARGIN_MM, MARGIN_MM + 4.0], 3.5, "start", &format!("Discs at true size: {size}"));
    let words = format!("Measure this line: {RULER_MM} mm. If not, print again at 100 %, without fitting to the page.");
    text(out, [MARGIN_MM, MARGIN_MM + 10.0], 3.5, "start", &words);
    let y = MARGIN_MM + 24.0;
    line(out, "ruler", [MARGIN_MM, y], [MARGIN_MM + f64::from(RULER_MM), y]);
    for mm in (0..=RULER_MM).step_by(5) {
        let x = MARGIN_MM + f64::from(mm);
        line(out, "tick", [x, y], [x, y - if mm % 10 == 0 { 4.0 } else { 2.5 }]);
        if mm % 10 == 0 {
            text(out, [x, y - 5.0], 2.5, "middle", &mm.to_string());
        }
    }
}

fn disc(out: &mut Writer, discs: &Discs, [x, y]: [f64; 2], tag: &str) {
    for (class, diameter, dashes) in [("ink bezel", discs.bezel_mm, "none"), ("ink cut-out", discs.cut_out_mm, "2 1.5")]
    {
        out.empty(
            "circle",
            &[
                ("class", class),
                ("cx", &number(x)),
                ("cy", &number(y)),
                ("r", &number(diameter / 2.0)),
                ("stroke-width", "0.3"),
                ("stroke-dasharray", dashes),
            ],
        );
    }
    let arm = discs.cut_out_mm / 4.0;
    line(out, "centre", [x - arm, y], [x + arm, y]);
    line(out, "centre", [x, y - arm], [x, y + arm]);
    let height = (discs.cut_out_mm / 6.0).clamp(2.0, 8.0);
    // The tag stands between the cross and the cut-out's edge, where half the diameter is left for it.
    let columns = (discs.cut_out_mm * 0.6 / (height * super::EM_PER_COLUMN)).floor().max(1.0) as usize;
    text(out, [x, y - arm - 0.4], height, "middle", &words::cut(tag, columns));
}

fn line(out: &mut Writer, name: &str, from: [f64; 2], to: [f64; 2]) {
    let class = format!("ink {name}");
    let place = [from[0], from[1], to[0], to[1]].map(svg::number);
    out.empty(
        "line",
        &[
            ("class", &class),
            ("x1", &place[0]),
            ("y1", &place[1]),
            ("x2", &place[2]),
            ("y2", &place[3]),
            ("stroke-width", "0.3"),
        ],
    );
}

fn text(out: &mut Writer, [x, y]: [f64; 2], height: f64, anchor: &str, words: &str) {
    let attributes = [("x", &*number(x)), ("y", &*number(y)), ("font-size", &*number(height)), ("text-anchor", anchor)];
    out.element("text", &attributes, words);
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn six(bezel_mm: f64) -> Discs {
        Discs { bezel_mm, cut_out_mm: bezel_mm - 15.0, tags: (1..=6).map(|n| format!("H{n}")).collect() }
    }

    #[test]
    fn pages_hold_what_fits_and_no_disc_leaves_the_paper() {
        for bezel in [20.0, 85.0, 90.0, 120.0, 190.0] {
            let pages = discs(&six(bezel), Style::Own).unwrap();
            let mut found = 0;
            for page in &pages {
                for circle in page.lines().filter(|line| line.contains("ink bezel")) {
                    let read = |key: &str| -> f64 {
                        circle.split(&format!(" {key}=\"")).nth(1).unwrap().split('"').next().unwrap().parse().unwrap()
                    };
                    let (x, y, r) = (read("cx"), read("cy"), read("r"));
                    assert!((r - bezel / 2.0).abs() < 1e-9);
                    assert!(x - r >= 9.99 && x + r <= 200.01, "{bezel}");
                    assert!(y - r >= 36.0 && y + r <= 287.01, "{bezel}");
                    found += 1;
                }
            }
            assert_eq!(found, 6, "{bezel}");
        }
        assert_eq!(discs(&six(190.0), Style::Own).unwrap().len(), 6);
        assert_eq!(discs(&six(85.0), Style::Own).unwrap().len(), 2);
    }

    #[test]
    fn the_ruler_is_a_hundred_millimetres_on_paper_of_a4_size() {
        let page = &discs(&six(85.0), Style::Own).unwrap()[0];
        assert!(page.contains(r#"width="210mm" height="297mm" viewBox="0 0 210 297""#));
        assert!(page.contains(r#"class="ink ruler" x1="10" y1="34" x2="110" y2="34""#));
    }

    #[test]
    fn sizes_that_make_no_disc_are_refused() {
        let of = |bezel_mm, cut_out_mm| discs(&Discs { bezel_mm, cut_out_mm, tags: vec![] }, Style::Own);
        assert_eq!(of(191.0, 70.0), Err(DiscError::Bezel));
        assert_eq!(of(f64::NAN, 70.0), Err(DiscError::Bezel));
        assert_eq!(of(85.0, 85.0), Err(DiscError::CutOut));
        assert_eq!(of(85.0, f64::NAN), Err(DiscError::CutOut));
        let many = Discs { bezel_mm: 85.0, cut_out_mm: 70.0, tags: vec![String::new(); 201] };
        assert_eq!(discs(&many, Style::Own), Err(DiscError::TooMany));
    }
}
