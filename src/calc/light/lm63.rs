//! Reading photometric files in the ANSI/IES LM-63 form, editions 1986 to 2019, type C.
//!
//! After the line that begins with `TILT=` the file is one stream of numbers; line ends mean nothing. What real files
//! do beside the standard's wording (commas, wrapped lines, bare CR, stray bytes, unclosed rounds) is read; what would
//! have to be guessed is refused.

use super::table::{Table, TableError};

/// The most bytes that a file may have.
pub const MOST_BYTES: usize = 8 * 1024 * 1024;
/// The most vertical, and the most horizontal, angles.
const MOST_ANGLES: usize = 1000;
const METRES_PER_FOOT: f64 = 0.3048;

/// The edition of LM-63 that a file follows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Edition {
    /// LM-63-1986, which has no version line.
    Of1986,
    /// LM-63-1991.
    Of1991,
    /// LM-63-1995.
    Of1995,
    /// LM-63-2002, reaffirmed 2008.
    Of2002,
    /// LM-63-2019.
    Of2019,
}

impl Edition {
    /// The edition's name.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Of1986 => "LM-63-1986",
            Self::Of1991 => "LM-63-1991",
            Self::Of1995 => "LM-63-1995",
            Self::Of2002 => "LM-63-2002",
            Self::Of2019 => "LM-63-2019",
        }
    }

    /// Whether the second number after the ten is the ballast-lamp factor, which scales the intensities. Later editions
    /// put a 1 there, and the last one a code for how the file was made, which must not scale anything.
    fn has_ballast_lamp_factor(self) -> bool {
        matches!(self, Self::Of1986 | Self::Of1991)
    }

    fn of_line(line: &str) -> Result<Option<Self>, Lm63Error> {
        let line = line.trim().to_ascii_uppercase();
        let known = [
            ("IESNA:LM-63-1986", Self::Of1986),
            ("IESNA86", Self::Of1986),
            ("IESNA91", Self::Of1991),
            ("IESNA:LM-63-1991", Self::Of1991),
            ("IESNA:LM-63-1995", Self::Of1995),
            ("IESNA:LM-63-2002", Self::Of2002),
            ("IES:LM-63-2019", Self::Of2019),
        ];
        match known.iter().find(|(text, _)| line.starts_with(text)) {
            Some((_, edition)) => Ok(Some(*edition)),
            None if line.starts_with("IESNA") || line.starts_with("IES:") => Err(Lm63Error::UnknownEdition { line }),
            None => Ok(None),
        }
    }
}

/// The luminous opening, for glare and for show; the light is taken to come from one point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Opening {
    /// The outline as the codes of the sizes say.
    pub shape: Shape,
    /// Across C90, in metres.
    pub width_m: f64,
    /// Along C0, in metres.
    pub length_m: f64,
    /// Upward, in metres.
    pub height_m: f64,
}

/// Outlines of luminous openings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// No size at all.
    Point,
    /// A rectangle or box.
    Rectangle,
    /// A circle or an upright cylinder.
    Circle,
    /// A sphere.
    Sphere,
    /// An ellipse or ellipsoid.
    Ellipse,
    /// A lying cylinder along the length or the width.
    LyingCylinder,
}

/// What a file says.
#[derive(Debug, Clone, PartialEq)]
pub struct File {
    /// Its edition.
    pub edition: Edition,
    /// Keywords and their text in order; a continuation is joined to its keyword, label lines have an empty keyword.
    pub keywords: Vec<(String, String)>,
    /// Lumens of all lamps that the intensities belong to; `None` where they are absolute.
    pub lamp_lumens: Option<f64>,
    /// The intensities in candela, with every factor applied.
    pub table: Table,
    /// The luminous opening.
    pub opening: Opening,
    /// Input power in watts.
    pub watts: f64,
    /// The code for how the file was made (edition 2019).
    pub generation: Option<f64>,
}

/// A file that can't be read.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Lm63Error {
    /// Too many bytes.
    #[error("the file has {bytes} bytes; {MOST_BYTES} are accepted")]
    TooLarge {
        /// Its size.
        bytes: usize,
    },
    /// The version line is of no known edition.
    #[error("`{line}` is none of the editions 1986, 1991, 1995, 2002 and 2019")]
    UnknownEdition {
        /// The line.
        line: String,
    },
    /// There is no `TILT=` line.
    #[error("no line begins with TILT=, so this is no photometric file, or one cut short")]
    NoTilt,
    /// The tilt factors are in another file.
    #[error("the tilt factors are in another file (`{name}`); only TILT=NONE and TILT=INCLUDE are read")]
    TiltFile {
        /// Its name.
        name: String,
    },
    /// The numbers end too soon.
    #[error("the file ends where {what} is expected ({found} numbers found after the TILT line, {expected} needed)")]
    Short {
        /// What is missing.
        what: &'static str,
        /// Numbers found.
        found: usize,
        /// Numbers needed so far.
        expected: usize,
    },
    /// Something follows the last intensity.
    #[error("{extra} words or numbers follow the last of the {expected} intensities that the angles ask for")]
    Long {
        /// How many.
        extra: usize,
        /// How many intensities there should be.
        expected: usize,
    },
    /// A word stands where a number should.
    #[error("`{text}` is no number; expected {what}")]
    NotANumber {
        /// The word.
        text: String,
        /// What is expected.
        what: &'static str,
    },
    /// A number out of its range.
    #[error("{value} is no {what}; expected {expected}")]
    OutOfRange {
        /// What the number is.
        what: &'static str,
        /// The number.
        value: f64,
        /// What would do.
        expected: &'static str,
    },
    /// Type A or B.
    #[error("the file is of type {letter}, used for floodlights and vehicle lamps; only type C is read")]
    WrongType {
        /// Its letter.
        letter: char,
    },
    /// Angles or intensities that make no table.
    #[error(transparent)]
    Table(#[from] TableError),
}

/// Text from the bytes of a file: UTF-8 or UTF-16 where marked or sound, else one byte a character.
///
/// # Errors
/// [`Lm63Error::TooLarge`].
pub fn decode(bytes: &[u8]) -> Result<String, Lm63Error> {
    if bytes.len() > MOST_BYTES {
        return Err(Lm63Error::TooLarge { bytes: bytes.len() });
    }
    let wide = |from_pair: fn([u8; 2]) -> u16| {
        let units: Vec<u16> = bytes[2..].chunks_exact(2).map(|pair| from_pair([pair[0], pair[1]])).collect();
        String::from_utf16_lossy(&units)
    };
    Ok(match bytes {
        [0xFF, 0xFE, ..] => wide(u16::from_le_bytes),
        [0xFE, 0xFF, ..] => wide(u16::from_be_bytes),
        // Only the numbers matter, and those are ASCII in every one of these codes.
        _ => std::str::from_utf8(bytes).map_or_else(|_| bytes.iter().map(|b| char::from(*b)).collect(), str::to_owned),
    })
}

/// Reads a file's text.
///
/// # Errors
/// [`Lm63Error`] with what was found and what is expected.
pub fn read(text: &str) -> Result<File, Lm63Error> {
    if text.len() > MOST_BYTES {
        return Err(Lm63Error::TooLarge { bytes: text.len() });
    }
    let text = text.trim_start_matches('\u{FEFF}').trim_end_matches(['\u{1A}', '\0']);
    let text = text.replace("\r\n", "\n").replace('\r', "\n");
    let mut head = Vec::new();
    let mut rest = text.as_str();
    let tilt = loop {
        if rest.is_empty() {
            return Err(Lm63Error::NoTilt);
        }
        let (line, after) = rest.split_once('\n').unwrap_or((rest, ""));
        rest = after;
        match tilt_of(line) {
            Some(tilt) => break tilt,
            None => head.push(line),
        }
    };
    let first = head.iter().position(|line| !line.trim().is_empty());
    let edition = first.map_or(Ok(None), |index| Edition::of_line(head[index]))?;
    let labels = match (edition, first) {
        (Some(_), Some(index)) => &head[index + 1..],
        _ => &head[..],
    };
    let edition = edition.unwrap_or(Edition::Of1986);
    numbers(&Numbers::of(rest)?, edition, tilt, keywords(labels))
}

/// What the `TILT=` line says; `None` for any other line.
fn tilt_of(line: &str) -> Option<&str> {
    let (word, value) = line.split_once('=')?;
    word.trim().eq_ignore_ascii_case("TILT").then_some(value.trim())
}

fn keywords(lines: &[&str]) -> Vec<(String, String)> {
    let mut found: Vec<(String, String)> = Vec::new();
    for line in lines.iter().map(|line| line.trim()).filter(|line| !line.is_empty()) {
        let entry = line.strip_prefix('[').and_then(|rest| rest.split_once(']'));
        match (entry, found.last_mut()) {
            (Some((key, more)), Some((_, text))) if key.trim().eq_ignore_ascii_case("MORE") => {
                text.push('\n');
                text.push_str(more.trim());
            }
            (Some((key, value)), _) => found.push((key.trim().to_ascii_uppercase(), value.trim().to_owned())),
            (None, _) => found.push((String::new(), line.to_owned())),
        }
    }
    found
}

/// The stream of words after the TILT line.
struct Numbers<'a> {
    words: Vec<&'a str>,
    next: std::cell::Cell<usize>,
}

impl<'a> Numbers<'a> {
    fn of(text: &'a str) -> Result<Self, Lm63Error> {
        let split = text.split(|c: char| c.is_whitespace() || c == ',').filter(|word| !word.is_empty());
        Ok(Self { words: split.collect(), next: std::cell::Cell::new(0) })
    }

    fn number(&self, what: &'static str) -> Result<f64, Lm63Error> {
        let index = self.next.replace(self.next.get() + 1);
        let word =
            self.words.get(index).ok_or(Lm63Error::Short { what, found: self.words.len(), expected: index + 1 })?;
        let value: Option<f64> = word.parse().ok().filter(|value: &f64| value.is_finite());
        value.ok_or_else(|| Lm63Error::NotANumber { text: word.chars().take(40).collect(), what })
    }

    fn count(&self, what: &'static str, range: std::ops::RangeInclusive<usize>) -> Result<usize, Lm63Error> {
        let value = self.number(what)?;
        let whole = value.fract() == 0.0 && value >= *range.start() as f64 && value <= *range.end() as f64;
        if whole { Ok(value as usize) } else { Err(out_of_range(what, value, "a whole number that fits")) }
    }

    fn above_zero(&self, what: &'static str) -> Result<f64, Lm63Error> {
        let value = self.number(what)?;
        if value > 0.0 { Ok(value) } else { Err(out_of_range(what, value, "more than 0")) }
    }

    fn list(&self, what: &'static str, count: usize) -> Result<Vec<f64>, Lm63Error> {
        // Asked for first, so that a short file is told with the whole of what it lacks.
        let (at, found) = (self.next.get(), self.words.len());
        if found < at + count {
            return Err(Lm63Error::Short { what, found, expected: at + count });
        }
        (0..count).map(|_| self.number(what)).collect()
    }
}

fn out_of_range(what: &'static str, value: f64, expected: &'static str) -> Lm63Error {
    Lm63Error::OutOfRange { what, value, expected }
}

/// Everything after the TILT line, in the standard's order.
fn numbers(stream: &Numbers, edition: Edition, tilt: &str, keywords: Vec<(String, String)>) -> Result<File, Lm63Error> {
    let tilt_factor = match tilt.to_ascii_uppercase().as_str() {
        "NONE" => 1.0,
        "INCLUDE" => included_tilt(stream)?,
        _ => return Err(Lm63Error::TiltFile { name: tilt.chars().take(60).collect() }),
    };
    let lamps = stream.count("number of lamps", 1..=10_000)?;
    let lumens = stream.number("lumens per lamp")?;
    let multiplier = stream.above_zero("candela multiplier")?;
    let vertical_count = stream.count("number of vertical angles", 2..=MOST_ANGLES)?;
    let horizontal_count = stream.count("number of horizontal angles", 1..=MOST_ANGLES)?;
    match stream.count("photometric type", 1..=3)? {
        1 => {}
        2 => return Err(Lm63Error::WrongType { letter: 'B' }),
        _ => return Err(Lm63Error::WrongType { letter: 'A' }),
    }
    let unit = if stream.count("unit of the opening", 1..=2)? == 1 { METRES_PER_FOOT } else { 1.0 };
    let sizes = stream.list("size of the opening", 3)?;
    let opening = opening([sizes[0] * unit, sizes[1] * unit, sizes[2] * unit]);
    let ballast = stream.above_zero("ballast factor")?;
    let second = stream.number("number after the ballast factor")?;
    let watts = stream.number("input power")?;
    let ballast_lamp = match edition.has_ballast_lamp_factor() {
        true if second <= 0.0 => return Err(out_of_range("ballast-lamp factor", second, "more than 0")),
        true => second,
        false => 1.0,
    };
    let vertical = stream.list("a vertical angle", vertical_count)?;
    let horizontal = stream.list("a horizontal angle", horizontal_count)?;
    let expected = vertical_count * horizontal_count;
    let values = stream.list("an intensity", expected)?;
    let extra = stream.words.len() - stream.next.get();
    if extra > 0 {
        return Err(Lm63Error::Long { extra, expected });
    }
    let scale = multiplier * ballast * ballast_lamp * tilt_factor;
    let rows = values.chunks(vertical_count).map(|row| row.iter().map(|value| value * scale).collect()).collect();
    Ok(File {
        edition,
        keywords,
        lamp_lumens: (lumens >= 0.0).then_some(lumens * lamps as f64),
        table: Table::new(vertical, &horizontal, rows)?,
        opening,
        watts,
        generation: (edition == Edition::Of2019).then_some(second),
    })
}

/// Skips the tilt data in the file and gives their factor at 0°, which is how a fitting aimed straight down hangs.
fn included_tilt(stream: &Numbers) -> Result<f64, Lm63Error> {
    stream.count("lamp-to-luminaire geometry", 1..=3)?;
    let count = stream.count("number of tilt angles", 1..=MOST_ANGLES)?;
    let angles = stream.list("a tilt angle", count)?;
    let factors = stream.list("a tilt factor", count)?;
    let level = angles.iter().position(|angle| *angle == 0.0);
    let factor = level.map_or(1.0, |index| factors[index]);
    if factor > 0.0 { Ok(factor) } else { Err(out_of_range("tilt factor", factor, "more than 0")) }
}

/// The opening from its three sizes; a negative size marks a round one.
fn opening([width, length, height]: [f64; 3]) -> Opening {
    let shape = match [width, length, height].map(|size| size.partial_cmp(&0.0).map_or(0, |order| order as i8)) {
        [0, 0, 0] => Shape::Point,
        [-1, 0, -1] | [-1, -1, -1] => Shape::Sphere,
        [-1, 0 | -1, _] => Shape::Circle,
        [_, _, -1] if width < 0.0 || length < 0.0 => Shape::Ellipse,
        [_, _, -1] => Shape::LyingCylinder,
        [-1, _, _] | [_, -1, _] => Shape::Ellipse,
        _ => Shape::Rectangle,
    };
    let (width_m, height_m) = (width.abs(), height.abs());
    let round = matches!(shape, Shape::Circle | Shape::Sphere) && length == 0.0;
    Opening { shape, width_m, length_m: if round { width_m } else { length.abs() }, height_m }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
#[path = "lm63_tests.rs"]
mod tests;
