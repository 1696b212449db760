//! Reading a calculator's case, whichever door it comes through: a TOML file, a script's map, or the library.
//!
//! A case is a JSON tree. A quantity is a string with a unit under a plain key (`length = "4.2 m"`), or anything under
//! a key whose name ends in its unit (`length_m = 4.2`). [`read`] brings the second form into the first, then fills a
//! typed struct. Unknown keys are errors: nothing is ignored.

use serde::de::{DeserializeOwned, Error as _};
use serde::{Deserialize, Deserializer};
use serde_json::{Map, Value};

use crate::quantity::{Dimension, Flux, parse, unit_of_key};

/// A case that could not be read, or a value in it that a calculator refuses.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{}{message}", if path.is_empty() { String::new() } else { format!("`{path}`: ") })]
pub struct CaseError {
    /// Where in the case: `room.length`, `run[1].load[0].power`; empty for the case as a whole.
    pub path: String,
    /// What was found and what is expected.
    pub message: String,
}

impl CaseError {
    /// An error at a place in the case.
    #[must_use]
    pub fn at(path: impl Into<String>, message: impl Into<String>) -> Self {
        Self { path: path.into(), message: message.into() }
    }
}

/// Reads a typed case from a JSON tree.
///
/// # Errors
/// [`CaseError`] with the path of the key and what was expected there.
pub fn read<T: DeserializeOwned>(case: &Value) -> Result<T, CaseError> {
    let plain = with_units_in_values(case, "")?;
    serde_path_to_error::deserialize(plain).map_err(|error| {
        let path = error.path().to_string();
        CaseError::at(if path == "." { String::new() } else { path }, error.into_inner().to_string())
    })
}

/// Reads lumens, whose key is their unit, as a bare number or with the unit.
///
/// # Errors
/// The deserializer's own, with what was expected.
pub fn bare_flux<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<Flux>, D::Error> {
    #[derive(Deserialize)]
    #[serde(untagged, expecting = "expected a flux such as 650 or \"650 lm\"")]
    enum Bare {
        Number(f64),
        Text(String),
    }
    let flux = match Option::<Bare>::deserialize(deserializer)? {
        None => return Ok(None),
        Some(Bare::Number(number)) => number,
        Some(Bare::Text(text)) => parse(&text, Dimension::Flux, Some("lm")).map_err(D::Error::custom)?,
    };
    Ok(Some(Flux(flux)))
}

/// Brings every `key_unit = number` of the tree into the form `key = "number unit"`.
fn with_units_in_values(value: &Value, path: &str) -> Result<Value, CaseError> {
    match value {
        Value::Object(entries) => {
            let mut plain = Map::new();
            for (key, value) in entries {
                let here = if path.is_empty() { key.clone() } else { format!("{path}.{key}") };
                let (stem, value) = match unit_of_key(key) {
                    Some((stem, unit)) if carries_quantity(value) => (stem, with_unit(value, unit)),
                    _ => (key.as_str(), with_units_in_values(value, &here)?),
                };
                if plain.insert(stem.to_owned(), value).is_some() {
                    return Err(CaseError::at(here, format!("`{stem}` is given twice, with and without its unit")));
                }
            }
            Ok(Value::Object(plain))
        }
        Value::Array(items) => items
            .iter()
            .enumerate()
            .map(|(index, item)| with_units_in_values(item, &format!("{path}[{index}]")))
            .collect::<Result<Vec<_>, _>>()
            .map(Value::Array),
        other => Ok(other.clone()),
    }
}

fn carries_quantity(value: &Value) -> bool {
    match value {
        Value::Number(_) | Value::String(_) => true,
        Value::Array(items) => items.iter().all(carries_quantity),
        _ => false,
    }
}

fn with_unit(value: &Value, unit: &str) -> Value {
    match value {
        Value::Number(number) => Value::String(format!("{number} {unit}")),
        Value::String(text) if text.trim_end().ends_with(|c: char| c.is_ascii_digit()) => {
            Value::String(format!("{} {unit}", text.trim()))
        }
        Value::Array(items) => Value::Array(items.iter().map(|item| with_unit(item, unit)).collect()),
        other => other.clone(),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use serde::Deserialize;
    use serde_json::json;

    use super::*;
    use crate::quantity::{Length, Power};

    #[derive(Debug, PartialEq, Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Sample {
        length: Length,
        power: Option<Power>,
        list: Option<Vec<Length>>,
    }

    #[test]
    fn both_forms_of_a_quantity_read_alike() {
        let with: Sample = read(&json!({"length": "4.2 m", "power": "6 W", "list": ["210 mm"]})).unwrap();
        let bare: Sample = read(&json!({"length_m": 4.2, "power_w": 6, "list_mm": [210]})).unwrap();
        assert_eq!(with, bare);
    }

    #[test]
    fn errors_name_the_key_and_what_was_expected() {
        let error = read::<Sample>(&json!({"length": 4.2})).unwrap_err();
        assert_eq!(error.path, "length");
        assert!(error.message.contains("2.4 m"), "{error}");
        let error = read::<Sample>(&json!({"length": "4.2 m", "lenght": 1})).unwrap_err();
        assert!(error.message.contains("lenght"), "{error}");
        let error = read::<Sample>(&json!({"length": "4.2 m", "length_m": 4.2})).unwrap_err();
        assert!(error.message.contains("twice"), "{error}");
    }
}
