//! Where the fault is, and which test to do next.
//!
//! Every fault that may be is put into the circuit, one at a time, and the circuit is solved: that says what each light,
//! the device and each measurement would show. What was seen and measured then weighs the suspects ([`suspects`]), and
//! the next test is the one that tells most about them for a minute's work, dead tests before live ones ([`trials`]).

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::circuit;
use super::circuit::case::{Device, Run, Supply};
use crate::case::CaseError;
use crate::facts::Facts;

pub mod model;
pub mod suspects;
pub mod trials;

use suspects::{Evidence, Weighed};
use trials::Next;

/// A circuit and what has been noticed in it.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Case {
    /// What feeds the circuit.
    pub supply: Supply,
    /// The overcurrent device at the board.
    pub device: Option<Device>,
    /// The runs from the board outward; each load at the end of a run is a light.
    pub run: Vec<Run>,
    /// The switches, each with the runs whose line it switches.
    #[serde(default)]
    pub switch: Vec<SwitchCase>,
    /// What was seen.
    #[serde(default)]
    pub seen: Vec<SeenCase>,
    /// What was measured.
    #[serde(default)]
    pub measured: Vec<MeasuredCase>,
    /// Other checks that were made.
    #[serde(default)]
    pub checked: Vec<CheckedCase>,
    /// Whether a live test may be proposed: only for a person competent and equipped for it. `false` where absent.
    #[serde(default)]
    pub live_allowed: bool,
}

/// A switch.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SwitchCase {
    /// Its name.
    pub name: String,
    /// The runs on its switch line. Two switches with the same runs are a two-way pair.
    pub runs: Vec<String>,
}

/// Something seen: a light in a set of switch positions, or what the device does.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SeenCase {
    /// The light.
    pub light: Option<String>,
    /// Positions of the switches, `on` or `off`; all on where absent.
    #[serde(default)]
    pub switches: BTreeMap<String, String>,
    /// How the light is.
    pub state: Option<LightState>,
    /// What the device does.
    pub device: Option<DeviceSeen>,
}

/// How a light is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum LightState {
    /// No light.
    Dead,
    /// As it should be.
    Lit,
    /// Weaker than the others.
    Dim,
    /// Not steady.
    Flickers,
}

/// What the device does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum DeviceSeen {
    /// With every switch off.
    #[serde(rename = "opens at once")]
    AtOnce,
    /// Only once the light is switched on.
    #[serde(rename = "opens when switched on")]
    WhenSwitchedOn,
    /// The residual current device opens.
    #[serde(rename = "RCD opens")]
    Rcd,
    /// It stays closed.
    #[serde(rename = "holds")]
    Holds,
}

/// A measurement.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MeasuredCase {
    /// Two terminals, written `place.L`, `.N` or `.E`; a place is `board`, a run (its far end), a light, or a switch's
    /// name with `.line` and `.switched`.
    pub between: [String; 2],
    /// What was measured.
    pub quantity: Quantity,
    /// The value with its unit, over range allowed; `open` for no indication of continuity.
    pub value: String,
    /// Positions of the switches; all on where absent.
    #[serde(default)]
    pub switches: BTreeMap<String, String>,
    /// Where the circuit was parted: `board`, or the runs whose near end was taken out of its joint.
    #[serde(default)]
    pub parted: Parted,
}

/// Kinds of measurement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Quantity {
    /// Resistance at a low voltage, dead.
    #[serde(alias = "continuity", alias = "r2", alias = "r1_r2")]
    Resistance,
    /// Resistance at the voltage of an insulation tester, dead.
    Insulation,
    /// Voltage, live.
    Voltage,
}

/// One place, or several.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(untagged)]
pub enum Parted {
    /// One place.
    One(String),
    /// Several, or none.
    Many(Vec<String>),
}

impl Default for Parted {
    fn default() -> Self {
        Self::Many(Vec::new())
    }
}

/// A check that is no measurement.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CheckedCase {
    /// `meter`, or the light that was exchanged with one that works.
    pub what: String,
    /// What came of it.
    pub result: CheckResult,
}

/// What came of a check.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum CheckResult {
    /// The meter, or the light in another's place, is as it should be: the trouble lies elsewhere.
    Sound,
    /// The meter lies, or the trouble went with the light.
    Faulty,
}

/// A suspect.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SuspectAnswer {
    /// What is wrong.
    pub fault: String,
    /// Where.
    pub place: String,
    /// How probable it is, all suspects together making 1.
    pub probability: f64,
    /// Where its weight comes from.
    pub source: String,
}

/// Suspects and the next test.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Answer {
    /// The suspects that still count, the likeliest first.
    pub suspects: Vec<SuspectAnswer>,
    /// The test to do next; none once the fault is found, or where no test would tell more.
    pub next: Option<Next>,
    /// The one suspect that remains.
    pub found: Option<SuspectAnswer>,
    /// Suspects between which no test here decides.
    pub not_told_apart: Vec<String>,
    /// How many suspects there were to begin with.
    pub considered: usize,
}

/// Suspects below this probability are left out of the answer.
const LEAST_SHOWN: f64 = 0.005;

/// Weighs the suspects by what was seen and measured, and proposes the next test.
///
/// # Errors
/// [`CaseError`] with the path of a key that can't be read: a run, light or switch that doesn't exist, a value without
/// unit, a circuit too large.
pub fn figure(case: &Case, facts: &Facts) -> Result<Answer, CaseError> {
    check(case)?;
    let circuit = model::Circuit::read(case, facts)?;
    let evidence = Evidence::read(case, &circuit)?;
    let weighed = Weighed::new(&circuit, &evidence, facts);
    let shown = |index: &usize| {
        let (suspect, probability) = (&weighed.suspects[*index], weighed.probability[*index]);
        SuspectAnswer {
            fault: suspect.says.clone(),
            place: suspect.place.clone(),
            probability,
            source: suspect.source.clone(),
        }
    };
    let order = weighed.order();
    let found = order
        .first()
        .filter(|first| weighed.probability[**first] >= facts.value("trace.found_at"))
        .filter(|_| evidence.says_anything())
        .map(shown);
    let next = if found.is_some() { None } else { trials::next(&circuit, &weighed, case.live_allowed, facts) };
    let not_told_apart = if found.is_none() && next.is_none() {
        order.iter().filter(|at| weighed.probability[**at] >= 0.05).map(|at| weighed.suspects[*at].in_words()).collect()
    } else {
        Vec::new()
    };
    let suspects = order.iter().take_while(|at| weighed.probability[**at] >= LEAST_SHOWN).map(shown).collect();
    Ok(Answer { suspects, next, found, not_told_apart, considered: weighed.suspects.len() })
}

/// The bounds of the circuit's own case, and of the lists of this one.
fn check(case: &Case) -> Result<(), CaseError> {
    for (path, count, most) in [
        ("run", case.run.len(), model::MOST_RUNS),
        ("switch", case.switch.len(), model::MOST_SWITCHES),
        ("seen", case.seen.len(), 200),
        ("measured", case.measured.len(), 200),
        ("checked", case.checked.len(), 200),
    ] {
        if count > most {
            return Err(CaseError::at(path, format!("{count} entries; at most {most} are expected")));
        }
    }
    circuit::Case::plain(case.supply.clone(), case.device.clone(), case.run.clone()).check()
}

#[cfg(test)]
mod tests;
