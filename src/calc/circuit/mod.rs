//! A lighting circuit judged: design current, device, cable, volt drop, earth-fault loop, protective conductor,
//! residual current device, drivers, leakage and dimmer, each as a finding with its limit and source.

pub mod cable;
pub mod case;
pub mod device;
pub mod elv;
pub mod extras;
pub mod finding;
pub mod ladder;
pub mod mains;

use serde::Serialize;

use crate::case::CaseError;
use crate::facts::{Facts, Row};
use crate::quantity::plain;

pub use case::Case;
use case::{Load, SupplyKind};
pub use finding::{Finding, Side, Verdict};

/// What a circuit comes to.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Answer {
    /// Edition and amendments that all of it is judged against.
    pub edition: String,
    /// What is to be known about that edition.
    pub edition_note: String,
    /// The findings.
    pub findings: Vec<Finding>,
    /// Longest far ends.
    pub longest_m: Longest,
    /// The runs, in order.
    pub runs: Vec<RunFigures>,
    /// How many drivers the device can start, by every way that the case gives the figures for.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub drivers: Vec<extras::DriverCount>,
    /// What was taken because the case does not say it.
    pub assumed: Vec<String>,
}

impl Answer {
    /// A finding by its id.
    #[must_use]
    pub fn finding(&self, id: &str) -> Option<&Finding> {
        self.findings.iter().find(|finding| finding.id == id)
    }
}

/// How far the far end may be if the runs keep their proportions and loads, in metres of cable.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Longest {
    /// For volt drop, by the tabulated figures without temperature correction.
    pub volt_drop: Option<f64>,
    /// For volt drop at the temperature that the conductors reach.
    pub volt_drop_corrected: Option<f64>,
    /// For earth-fault loop impedance with hot conductors.
    pub loop_impedance: Option<f64>,
    /// For earth-fault loop impedance measured cold against the reduced limit.
    pub loop_impedance_measured: Option<f64>,
}

/// One run, worked out.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RunFigures {
    /// Its name.
    pub name: String,
    /// Way from the board to its far end, m.
    pub to_end_m: f64,
    /// Current that enters it, A.
    pub current_a: f64,
    /// Volt drop from the origin to its far end, V.
    pub volt_drop_v: f64,
    /// The same at the temperature that the conductors reach, V; mains only.
    pub volt_drop_corrected_v: Option<f64>,
    /// Resistance of its own line conductor at 20 °C, Ω; mains only.
    pub r1_ohm: Option<f64>,
    /// Resistance of its own protective conductor at 20 °C, Ω; absent where there is none.
    pub r2_ohm: Option<f64>,
    /// Line and protective conductor from the board to its far end at 20 °C, Ω.
    pub r1_r2_to_end_ohm: Option<f64>,
    /// Loop impedance at its far end with hot conductors, Ω.
    pub zs_to_end_ohm: Option<f64>,
    /// What its cable is and may carry; mains only.
    pub cable: Option<cable::Rating>,
}

/// Judges a circuit.
///
/// # Errors
/// [`CaseError`] for a case that can't be worked out, with the path of the key and what was expected there.
pub fn figure(case: &Case, facts: &Facts) -> Result<Answer, CaseError> {
    case.check()?;
    match case.supply.kind {
        SupplyKind::Mains => mains::figure(case, facts),
        SupplyKind::ElvDc => elv::figure(case, facts),
    }
}

/// The edition to judge against.
///
/// # Errors
/// [`CaseError`] for an edition that the table does not hold, with those that it does.
pub fn edition<'f>(case: &Case, facts: &'f Facts) -> Result<&'f Row, CaseError> {
    let table = facts.table("circuit.edition");
    let found = match &case.edition {
        None => table.rows.first(),
        Some(edition) => table.row_named("edition", edition),
    };
    found.ok_or_else(|| {
        let known: Vec<&str> = table.rows.iter().filter_map(|row| row.text("edition")).collect();
        CaseError::at("edition", format!("not known; known are {}", known.join(", ")))
    })
}

/// Power factor taken for a load of this many watts of which none is known: on the safe side for the current.
#[must_use]
pub fn unknown_power_factor(watts: f64, facts: &Facts) -> f64 {
    let table = facts.table("circuit.power_factor");
    let covers = |row: &&Row| row.number("most_w").is_some_and(|most| watts <= most);
    table.rows.iter().find(covers).and_then(|row| row.number("factor")).unwrap_or(1.0)
}

/// Current and power of a load, all of its number together; what had to be assumed is added to `assumed`.
fn taken(load: &Load, volts: f64, is_mains: bool, facts: &Facts, assumed: &mut Vec<String>) -> (f64, f64) {
    let count = f64::from(load.count.unwrap_or(1));
    let factor = match (load.power_factor, load.power) {
        (Some(factor), _) => factor,
        (None, Some(power)) if is_mains => {
            let factor = unknown_power_factor(power.0, facts);
            if factor < 1.0 {
                let name = if load.name.is_empty() { "a load" } else { &load.name };
                assumed.push(format!("power factor {} for {name} of {} W", plain(factor, 2), plain(power.0, 1)));
            }
            factor
        }
        (None, _) => 1.0,
    };
    match (load.power, load.current) {
        (Some(power), _) => (count * power.0 / (volts * factor), count * power.0),
        (None, Some(current)) => (count * current.0, count * current.0 * volts * factor),
        (None, None) => (0.0, 0.0),
    }
}

#[cfg(test)]
mod tests;
