//! Values between scripts and the rest of the program: JSON on this side, the script engine's own on that side.

use rhai::{Array, Dynamic, Map};
use serde_json::{Number, Value};

/// A script's value as JSON.
///
/// # Errors
/// A sentence naming the kind of value that cannot be carried (a function, say).
pub fn to_json(value: &Dynamic) -> Result<Value, String> {
    if value.is_unit() {
        return Ok(Value::Null);
    }
    if let Ok(flag) = value.as_bool() {
        return Ok(Value::Bool(flag));
    }
    if let Ok(number) = value.as_int() {
        return Ok(Value::from(number));
    }
    if let Ok(number) = value.as_float() {
        return Number::from_f64(number).map(Value::Number).ok_or_else(|| format!("{number} is no finite number"));
    }
    if let Ok(letter) = value.as_char() {
        return Ok(Value::String(letter.to_string()));
    }
    if value.is_string() {
        return Ok(Value::String(value.clone().into_string().unwrap_or_default()));
    }
    if let Some(items) = value.read_lock::<Array>() {
        return items.iter().map(to_json).collect::<Result<_, _>>().map(Value::Array);
    }
    if let Some(entries) = value.read_lock::<Map>() {
        let pairs = entries.iter().map(|(key, value)| Ok((key.to_string(), to_json(value)?)));
        return pairs.collect::<Result<_, String>>().map(Value::Object);
    }
    Err(format!("a {} cannot be used here", value.type_name()))
}

/// A map of a script as JSON.
///
/// # Errors
/// As [`to_json`].
pub fn map_to_json(map: &Map) -> Result<Value, String> {
    let pairs = map.iter().map(|(key, value)| Ok((key.to_string(), to_json(value)?)));
    pairs.collect::<Result<_, String>>().map(Value::Object)
}

/// JSON as a script's value. Whole millimetres become whole numbers, so that texts say `700 mm`, not `700.0 mm`.
pub fn to_dynamic(value: &Value) -> Dynamic {
    under_key(value, "")
}

fn under_key(value: &Value, key: &str) -> Dynamic {
    match value {
        Value::Null => Dynamic::UNIT,
        Value::Bool(flag) => Dynamic::from(*flag),
        Value::Number(number) => match (number.as_i64(), number.as_f64()) {
            (Some(whole), _) => Dynamic::from(whole),
            (None, Some(value)) if key.ends_with("_mm") && value.fract() == 0.0 && value.abs() < 1e9 =>
            {
                #[expect(clippy::cast_possible_truncation, reason = "whole and below 1e9, tested just above")]
                Dynamic::from(value as i64)
            }
            (None, value) => Dynamic::from(value.unwrap_or(f64::NAN)),
        },
        Value::String(text) => Dynamic::from(text.clone()),
        Value::Array(items) => Dynamic::from(items.iter().map(|item| under_key(item, key)).collect::<Array>()),
        Value::Object(entries) => Dynamic::from(
            entries.iter().map(|(key, value)| (key.as_str().into(), under_key(value, key))).collect::<Map>(),
        ),
    }
}

/// JSON with every number rounded to six decimals, so that a fact is the same on every machine.
#[must_use]
pub fn rounded(value: &Value) -> Value {
    match value {
        Value::Number(number) if !number.is_i64() && !number.is_u64() => {
            let value = number.as_f64().unwrap_or(f64::NAN);
            Number::from_f64((value * 1e6).round() / 1e6).map_or(Value::Null, Value::Number)
        }
        Value::Array(items) => Value::Array(items.iter().map(rounded).collect()),
        Value::Object(entries) => {
            Value::Object(entries.iter().map(|(key, value)| (key.clone(), rounded(value))).collect())
        }
        other => other.clone(),
    }
}

/// JSON without the entries that hold nothing: the ledger writes no empty values, and what a script gets back has to be
/// what it offered.
#[must_use]
pub fn without_nothing(value: &Value) -> Value {
    match value {
        Value::Array(items) => Value::Array(items.iter().filter(|item| !item.is_null()).map(without_nothing).collect()),
        Value::Object(entries) => Value::Object(
            entries
                .iter()
                .filter(|(_, value)| !value.is_null())
                .map(|(key, value)| (key.clone(), without_nothing(value)))
                .collect(),
        ),
        other => other.clone(),
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn values_come_back_as_they_went() {
        let value = json!({"a": [1, 2.5, "x", null, true], "from_a_mm": 700.0});
        let there = to_dynamic(&value);
        assert_eq!(to_json(&there), Ok(json!({"a": [1, 2.5, "x", null, true], "from_a_mm": 700})));
    }

    #[test]
    fn figures_are_rounded_before_they_are_facts() {
        assert_eq!(rounded(&json!(0.1 + 0.2)), json!(0.3));
    }
}
