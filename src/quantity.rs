//! Quantities as people type and read them: `2.4`, `2400 mm`, `0.35 Ω`, `>999 MΩ`.
//!
//! Everything inside the program is an `f64` in the base unit of its [`Dimension`] (metres, volts, ohms …). This module
//! is the only place that turns typed text into such a number and back. It guesses no unit silently: a bare number is
//! read in the unit that the question names, and a slip by a factor of a unit is named in the refusal.

use std::fmt;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// What kind of quantity a number is; fixes its base unit and the units people may type.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Dimension {
    /// Metres.
    Length,
    /// Volts.
    Voltage,
    /// Amperes.
    Current,
    /// Ohms.
    Resistance,
    /// Watts.
    Power,
    /// Seconds.
    Time,
    /// Degrees of angle.
    Angle,
    /// Degrees Celsius.
    Temperature,
    /// Lumens.
    Flux,
    /// Candelas.
    Intensity,
    /// Lux.
    Illuminance,
    /// Lumens per square metre leaving a surface.
    Exitance,
    /// Square millimetres (of a conductor).
    Area,
    /// Per cent.
    Share,
    /// Kelvin of colour temperature.
    ColourTemperature,
    /// Kilowatt hours.
    Energy,
    /// A plain count or ratio.
    Number,
}

/// Every unit that can be typed: text, dimension, size in the base unit. The first of a dimension is its base unit.
const UNITS: &[(&str, Dimension, f64)] = &[
    ("m", Dimension::Length, 1.0),
    ("mm", Dimension::Length, 1e-3),
    ("cm", Dimension::Length, 1e-2),
    ("V", Dimension::Voltage, 1.0),
    ("mV", Dimension::Voltage, 1e-3),
    ("A", Dimension::Current, 1.0),
    ("mA", Dimension::Current, 1e-3),
    ("kA", Dimension::Current, 1e3),
    ("Ω", Dimension::Resistance, 1.0),
    ("ohm", Dimension::Resistance, 1.0),
    ("mΩ", Dimension::Resistance, 1e-3),
    ("mohm", Dimension::Resistance, 1e-3),
    ("kΩ", Dimension::Resistance, 1e3),
    ("kohm", Dimension::Resistance, 1e3),
    ("MΩ", Dimension::Resistance, 1e6),
    ("Mohm", Dimension::Resistance, 1e6),
    ("GΩ", Dimension::Resistance, 1e9),
    ("Gohm", Dimension::Resistance, 1e9),
    ("W", Dimension::Power, 1.0),
    ("kW", Dimension::Power, 1e3),
    ("VA", Dimension::Power, 1.0),
    ("s", Dimension::Time, 1.0),
    ("ms", Dimension::Time, 1e-3),
    ("min", Dimension::Time, 60.0),
    ("h", Dimension::Time, 3600.0),
    ("°", Dimension::Angle, 1.0),
    ("deg", Dimension::Angle, 1.0),
    ("°C", Dimension::Temperature, 1.0),
    ("C", Dimension::Temperature, 1.0),
    ("lm", Dimension::Flux, 1.0),
    ("cd", Dimension::Intensity, 1.0),
    ("lx", Dimension::Illuminance, 1.0),
    ("lm/m²", Dimension::Exitance, 1.0),
    ("lm/m2", Dimension::Exitance, 1.0),
    ("mm²", Dimension::Area, 1.0),
    ("mm2", Dimension::Area, 1.0),
    ("%", Dimension::Share, 1.0),
    ("K", Dimension::ColourTemperature, 1.0),
    ("kWh", Dimension::Energy, 1.0),
];

/// Endings of key names that carry a unit: `length_m`, `rating_a`, `ze_ohm`.
const ENDINGS: &[(&str, &str)] = &[
    ("m", "m"),
    ("mm", "mm"),
    ("v", "V"),
    ("a", "A"),
    ("ma", "mA"),
    ("ohm", "Ω"),
    ("w", "W"),
    ("va", "VA"),
    ("s", "s"),
    ("ms", "ms"),
    ("min", "min"),
    ("deg", "°"),
    ("c", "°C"),
    ("lm", "lm"),
    ("cd", "cd"),
    ("lx", "lx"),
    ("lm_m2", "lm/m²"),
    ("mm2", "mm²"),
    ("percent", "%"),
    ("k", "K"),
    ("kwh", "kWh"),
];

/// Splits a key such as `length_m` into its stem and the unit that its ending names.
///
/// `"length_m"` gives `("length", "m")`; a key without such an ending gives `None`.
#[must_use]
pub fn unit_of_key(key: &str) -> Option<(&str, &'static str)> {
    ENDINGS
        .iter()
        .filter_map(|(ending, unit)| {
            let stem = key.strip_suffix(ending)?.strip_suffix('_')?;
            (!stem.is_empty()).then_some((stem, *unit))
        })
        .min_by_key(|(stem, _)| stem.len())
}

impl Dimension {
    /// The base unit as shown to people: `m`, `V`, `Ω` …; empty for a plain number.
    #[must_use]
    pub fn unit(self) -> &'static str {
        UNITS.iter().find(|(_, dimension, _)| *dimension == self).map_or("", |(unit, _, _)| unit)
    }

    /// The dimension that a unit belongs to, and its size in the base unit.
    #[must_use]
    pub fn of_unit(unit: &str) -> Option<(Self, f64)> {
        UNITS.iter().find(|(text, _, _)| *text == unit).map(|(_, dimension, size)| (*dimension, *size))
    }

    /// What a value of this dimension looks like when typed with its unit; used in error messages.
    #[must_use]
    pub fn sample(self) -> &'static str {
        match self {
            Self::Length => "\"2.4 m\" or \"70 mm\"",
            Self::Voltage => "\"230 V\"",
            Self::Current => "\"6 A\" or \"30 mA\"",
            Self::Resistance => "\"0.35 Ω\" or \"0.35 ohm\"",
            Self::Power => "\"6 W\"",
            Self::Time => "\"300 ms\" or \"0.4 s\"",
            Self::Angle => "\"60°\" or \"60 deg\"",
            Self::Temperature => "\"15 °C\"",
            Self::Flux => "\"650 lm\"",
            Self::Intensity => "\"1000 cd\"",
            Self::Illuminance => "\"200 lx\"",
            Self::Exitance => "\"1000 lm/m2\"",
            Self::Area => "\"1.5 mm2\"",
            Self::Share => "\"10 %\"",
            Self::ColourTemperature => "\"3000 K\"",
            Self::Energy => "\"3.2 kWh\"",
            Self::Number => "6",
        }
    }
}

/// Typed text that is no quantity of the wanted kind.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum QuantityError {
    /// Nothing was typed.
    #[error("nothing was given; type a value such as {sample}")]
    Empty {
        /// An example of the wanted form.
        sample: &'static str,
    },
    /// The text does not begin with a number.
    #[error("`{text}` is not a number; type a value such as {sample}")]
    NotANumber {
        /// What was typed.
        text: String,
        /// An example of the wanted form.
        sample: &'static str,
    },
    /// A comma could mean a decimal point or thousands.
    #[error("`{text}` has a comma that could mean two things; use a point, as in 2.4")]
    Comma {
        /// What was typed.
        text: String,
    },
    /// The unit is not known, or belongs to another kind of quantity.
    #[error("`{unit}` is no unit that fits here; type a value such as {sample}")]
    WrongUnit {
        /// The unit as typed.
        unit: String,
        /// An example of the wanted form.
        sample: &'static str,
    },
    /// A unit is needed here, and none was given.
    #[error("`{text}` needs its unit, as in {sample}")]
    NoUnit {
        /// What was typed.
        text: String,
        /// An example of the wanted form.
        sample: &'static str,
    },
    /// A number over range (`>999 MΩ`) was given where only a definite value will do.
    #[error("`{text}` is over range; a definite value is wanted here")]
    OverRange {
        /// What was typed.
        text: String,
    },
    /// Outside the bounds, with a guess at the slip where one unit further would fit.
    #[error("{value} is {side} than {limit}{guess}")]
    OutOfBounds {
        /// The value as shown.
        value: String,
        /// `more` or `less`.
        side: &'static str,
        /// The bound as shown.
        limit: String,
        /// `; did you mean 4200 mm?`, or empty.
        guess: String,
    },
}

/// A value read off an instrument: a number, or only that it lies beyond the range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// The figure, in the base unit. With `over`, the end of the range.
    pub value: f64,
    /// The instrument showed "more than `value`".
    pub over: bool,
}

/// Reads a quantity with an optional leading `>`; a bare number is in `bare_unit`, if there is one.
///
/// # Errors
/// [`QuantityError`] when the text is no number, or its unit does not fit `dimension`.
pub fn measured(text: &str, dimension: Dimension, bare_unit: Option<&str>) -> Result<Measured, QuantityError> {
    let sample = dimension.sample();
    let trimmed = text.trim();
    if trimmed.is_empty() {
        return Err(QuantityError::Empty { sample });
    }
    let (over, rest) = match trimmed.strip_prefix('>') {
        Some(rest) => (true, rest.trim_start()),
        None => (false, trimmed),
    };
    let end = rest
        .char_indices()
        .find(|(at, c)| !(c.is_ascii_digit() || *c == '.' || *c == ',' || (*at == 0 && (*c == '-' || *c == '+'))))
        .map_or(rest.len(), |(at, _)| at);
    let (digits, unit) = (&rest[..end], rest[end..].trim());
    if digits.contains(',') {
        return Err(QuantityError::Comma { text: text.to_owned() });
    }
    let number: f64 = digits.parse().map_err(|_| QuantityError::NotANumber { text: shown_inert(trimmed), sample })?;
    let size = if unit.is_empty() {
        match (dimension, bare_unit) {
            (Dimension::Number, None) => 1.0,
            (_, Some(unit)) => Dimension::of_unit(unit).map_or(1.0, |(_, size)| size),
            (_, None) => return Err(QuantityError::NoUnit { text: trimmed.to_owned(), sample }),
        }
    } else {
        match Dimension::of_unit(unit) {
            Some((found, size)) if found == dimension => size,
            _ => return Err(QuantityError::WrongUnit { unit: shown_inert(unit), sample }),
        }
    };
    // Dividing by a whole number keeps 70 mm exactly the double nearest to 0.07, where multiplying by 1e-3 may not.
    let value = if size < 1.0 { number / (1.0 / size).round() } else { number * size };
    Ok(Measured { value, over })
}

/// Reads a definite quantity in the base unit of `dimension`; a bare number is in `bare_unit`.
///
/// # Errors
/// As [`measured`], and for a value over range.
pub fn parse(text: &str, dimension: Dimension, bare_unit: Option<&str>) -> Result<f64, QuantityError> {
    let found = measured(text, dimension, bare_unit)?;
    if found.over {
        return Err(QuantityError::OverRange { text: text.trim().to_owned() });
    }
    Ok(found.value)
}

/// Checks `value` (base unit) against bounds, guessing at a slip of the unit.
///
/// `typed` is what the person typed; the guess takes its number in the other units of the dimension.
///
/// # Errors
/// [`QuantityError::OutOfBounds`].
pub fn within(
    value: f64,
    typed: &str,
    dimension: Dimension,
    least: Option<f64>,
    most: Option<f64>,
) -> Result<(), QuantityError> {
    let (side, limit) = match (least, most) {
        (_, Some(most)) if value > most => ("more", most),
        (Some(least), _) if value < least => ("less", least),
        _ => return Ok(()),
    };
    let digits: String = typed.trim().chars().take_while(|c| c.is_ascii_digit() || *c == '.' || *c == '-').collect();
    let fits = |value: f64| least.is_none_or(|least| value >= least) && most.is_none_or(|most| value <= most);
    let guess = UNITS
        .iter()
        .filter(|(_, found, size)| *found == dimension && *size != 0.0)
        .filter_map(|(unit, _, _)| Some((unit, parse(&format!("{digits} {unit}"), dimension, None).ok()?)))
        .find(|(_, value)| fits(*value))
        .map_or(String::new(), |(unit, _)| format!("; did you mean {digits} {unit}?"));
    let unit = dimension.unit();
    let in_words = |value: f64| format!("{} {unit}", plain(value, 3)).trim_end().to_owned();
    Err(QuantityError::OutOfBounds { value: in_words(value), side, limit: in_words(limit), guess })
}

/// A number with at most `decimals` places and no trailing zeros: `2.4`, `700`, `0.35`.
#[must_use]
pub fn plain(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// Rounds down at a number of decimals: the safe side for an upper limit that is shown.
#[must_use]
pub fn round_down(value: f64, decimals: i32) -> f64 {
    let scale = 10f64.powi(decimals);
    // The small allowance keeps 2.91 from showing as 2.90 when it is held as 2.9099999999999997.
    (value * scale + 1e-9).floor() / scale
}

/// Rounds up at a number of decimals: the safe side for a lower limit or a length to be bought.
#[must_use]
pub fn round_up(value: f64, decimals: i32) -> f64 {
    let scale = 10f64.powi(decimals);
    (value * scale - 1e-9).ceil() / scale
}

/// Text with control and direction-changing characters shown inert, so that it cannot drive a terminal or a page.
#[must_use]
pub fn shown_inert(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '\n' | '\t' => c,
            '\u{200E}' | '\u{200F}' | '\u{061C}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}' => '\u{FFFD}',
            c if c.is_control() => '\u{FFFD}',
            c => c,
        })
        .collect()
}

macro_rules! quantity {
    ($($(#[$doc:meta])* $name:ident is $dimension:ident;)*) => {$(
        $(#[$doc])*
        ///
        /// Read from text with its unit; written as a number in the base unit.
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
        pub struct $name(pub f64);

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                deserializer.deserialize_any(QuantityVisitor(Dimension::$dimension)).map(Self)
            }
        }

        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.serialize_f64(self.0)
            }
        }
    )*};
}

quantity! {
    /// A length in metres.
    Length is Length;
    /// A voltage in volts.
    Voltage is Voltage;
    /// A current in amperes.
    Current is Current;
    /// A resistance in ohms.
    Resistance is Resistance;
    /// A power in watts.
    Power is Power;
    /// A time in seconds.
    Duration is Time;
    /// An angle in degrees.
    Angle is Angle;
    /// A temperature in degrees Celsius.
    Temperature is Temperature;
    /// A luminous flux in lumens.
    Flux is Flux;
    /// A luminous intensity in candelas.
    Intensity is Intensity;
    /// An illuminance in lux.
    Illuminance is Illuminance;
    /// A luminous exitance in lumens per square metre.
    Exitance is Exitance;
    /// A cross-section in square millimetres.
    Area is Area;
    /// A share in per cent.
    Share is Share;
    /// A colour temperature in kelvin.
    ColourTemperature is ColourTemperature;
    /// An energy in kilowatt hours.
    Energy is Energy;
}

impl Length {
    /// The length in millimetres.
    #[must_use]
    pub fn mm(self) -> f64 {
        self.0 * 1000.0
    }
}

struct QuantityVisitor(Dimension);

impl serde::de::Visitor<'_> for QuantityVisitor {
    type Value = f64;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "a value with its unit, such as {}", self.0.sample())
    }

    fn visit_str<E: serde::de::Error>(self, text: &str) -> Result<f64, E> {
        let value = parse(text, self.0, None).map_err(E::custom)?;
        if value.is_finite() { Ok(value) } else { Err(E::custom(format!("`{text}` is too large"))) }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn lengths_read_as_people_type_them() {
        for (text, metres) in [("2.4", 2.4), ("2400 mm", 2.4), ("240cm", 2.4), (" 2.4 m ", 2.4), ("70mm", 0.07)] {
            assert_eq!(parse(text, Dimension::Length, Some("m")).unwrap(), metres, "{text}");
        }
    }

    #[test]
    fn a_slip_of_the_unit_is_guessed() {
        let error = within(4200.0, "4200", Dimension::Length, Some(1.0), Some(15.0)).unwrap_err();
        assert_eq!(error.to_string(), "4200 m is more than 15 m; did you mean 4200 mm?");
        let error = within(0.0024, "2.4 mm", Dimension::Length, Some(1.9), Some(4.5)).unwrap_err();
        assert_eq!(error.to_string(), "0.002 m is less than 1.9 m; did you mean 2.4 m?");
    }

    #[test]
    fn over_range_is_a_reading_and_no_value() {
        let found = measured(">999 MΩ", Dimension::Resistance, None).unwrap();
        assert!(found.over && (found.value - 999e6).abs() < 1.0);
        assert!(matches!(parse(">999 MΩ", Dimension::Resistance, None), Err(QuantityError::OverRange { .. })));
    }

    #[test]
    fn what_is_no_quantity_is_refused_with_a_sample() {
        for (text, dimension) in [("", Dimension::Length), ("six", Dimension::Length), ("6 W", Dimension::Length)] {
            let message = parse(text, dimension, Some("m")).unwrap_err().to_string();
            assert!(message.contains("2.4 m"), "{message}");
        }
        assert!(matches!(parse("1,200", Dimension::Length, Some("mm")), Err(QuantityError::Comma { .. })));
        assert!(matches!(parse("2.4", Dimension::Length, None), Err(QuantityError::NoUnit { .. })));
    }

    #[test]
    fn keys_name_their_unit() {
        assert_eq!(unit_of_key("length_m"), Some(("length", "m")));
        assert_eq!(unit_of_key("rcd_ma"), Some(("rcd", "mA")));
        assert_eq!(unit_of_key("exitance_lm_m2"), Some(("exitance", "lm/m²")));
        assert_eq!(unit_of_key("count"), None);
        assert_eq!(unit_of_key("_m"), None);
    }

    #[test]
    fn limits_round_to_the_safe_side() {
        assert_eq!(round_down(2.917, 2), 2.91);
        assert_eq!(round_down(2.91, 2), 2.91);
        assert_eq!(round_up(2.911, 2), 2.92);
        assert_eq!(plain(700.0, 1), "700");
        assert_eq!(plain(-0.0001, 2), "0");
    }

    #[test]
    fn control_characters_are_inert() {
        assert_eq!(shown_inert("a\u{1b}[31mb\u{202e}c"), "a\u{fffd}[31mb\u{fffd}c");
    }
}
