//! The calculators: pure functions from a case to figures, each figure with its source.
//!
//! A calculator takes and returns plain data with units in the field names, never panics on a value that its types
//! allow, and rounds to the safe side. It has three doors: the library, a script's map, and a file at the command line;
//! all three end in the same function.

use serde_json::Value;

use crate::case::CaseError;
use crate::facts::Facts;

pub mod cable;
pub mod circuit;
pub mod energy;
pub mod joints;
pub mod kit;
pub mod light;
pub mod making_good;
pub mod network;
pub mod plan;
pub mod set_out;
pub mod timber;
pub mod trace;
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
    ("cable", &[("figure", door!(cable::figure, cable::Case))]),
    ("circuit", &[("figure", door!(circuit::figure, circuit::Case))]),
    ("energy", &[("figure", door!(energy::figure, energy::Case))]),
    ("joints", &[("figure", door!(joints::figure, joints::Case))]),
    ("kit", &[("figure", door!(kit::figure, kit::Case))]),
    ("light", &[("figure", door!(light::figure, light::Case))]),
    ("making_good", &[("method", making_good_method)]),
    ("set_out", &[("figure", door!(set_out::figure, set_out::Case)), ("rank", door!(set_out::rank, set_out::Case))]),
    ("trace", &[("figure", door!(trace::figure, trace::Case))]),
    ("timber", &[("figure", door!(timber::figure, timber::Case))]),
    (
        "verify",
        &[
            ("figure", door!(verify::figure, verify::Case)),
            ("range", door!(verify::range, verify::Case)),
            ("along", door!(verify::along, verify::Case)),
        ],
    ),
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

/// How a hole of a size in a surface is made good.
fn making_good_method(case: &Value, facts: &Facts) -> Result<Value, CaseError> {
    #[derive(serde::Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Hole {
        hole: crate::quantity::Length,
        surface: making_good::Surface,
    }
    let hole: Hole = crate::case::read(case)?;
    let method = making_good::making_good(hole.hole.mm(), hole.surface, facts)
        .ok_or_else(|| CaseError::at("hole", "no method closes a hole of this size"))?;
    serde_json::to_value(method).map_err(|error| CaseError::at("", error.to_string()))
}

/// Judges an offer chosen earlier against a changed case: the offer, and what keeping it means in words; nothing if it
/// no longer holds, or was none of these calculators'.
#[must_use]
pub fn judged(offer: &str, case: &Value, former: &Value) -> Option<(Value, String)> {
    if !offer.starts_with("set_out::rank:") {
        return None;
    }
    let case: set_out::Case = crate::case::read(case).ok()?;
    let positions: Vec<[f64; 2]> = serde_json::from_value(former.get("positions")?.clone()).ok()?;
    let judgement = set_out::judge(&case, &positions);
    judgement.legal.then(|| (former.clone(), judgement.words))
}
