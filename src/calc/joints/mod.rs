//! What each core at a ceiling rose is, which cores join where, and whether the joint will work.
//!
//! Terminals, colours, sleeves and dead continuity readings go in. Every assignment of functions to cores that fits
//! them is found ([`search`]); with one left, the groups of the new joint follow ([`joint`]) and are proved by solving
//! the circuit in every switch position ([`proof`]). With several left the answer is a refusal that names the reading
//! that decides best ([`decide`]); with none it names the evidence that doesn't agree.
//!
//! Terminals and readings beat colours. Colours decide only between assignments that those leave open, and only while
//! no core is known to have the wrong one.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::case::CaseError;
use crate::facts::Facts;
use crate::quantity::Area;

pub mod decide;
pub mod evidence;
pub mod joint;
pub mod proof;
pub mod search;

use evidence::Evidence;
use search::{Fit, Function, Role};

/// The cores at a rose, what has been measured between them, and the cable to the new lights.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Case {
    /// The cables that enter the rose, the lamp's flex left out.
    pub cable: Vec<CableCase>,
    /// Continuity readings: dead, every core parted.
    #[serde(default)]
    pub continuity: Vec<ContinuityCase>,
    /// The cable or cables to the first new fitting of each chain.
    #[serde(default)]
    pub to_lights: OneOrMany,
    /// Connectors in hand; without them the usual sizes are proposed.
    #[serde(default)]
    pub connector: Vec<ConnectorCase>,
    /// Whether the joint can be reached later without breaking the building; `true` where absent.
    pub accessible: Option<bool>,
}

/// A cable at the rose.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CableCase {
    /// Its tag: `C1`.
    pub name: String,
    /// Its cores, the protective conductor among them.
    pub cores: Vec<CoreCase>,
    /// Cross-section of its live cores, where known.
    pub area: Option<Area>,
    /// How its cores are made.
    pub made: Option<Made>,
}

/// How a conductor is made; a terminal takes some kinds and not others.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Made {
    /// One wire.
    Solid,
    /// A few thick strands.
    Stranded,
    /// Many fine strands.
    Flexible,
}

/// A core of a cable at the rose.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CoreCase {
    /// Its name, where its colour is not the only one of its kind in the cable.
    pub name: Option<String>,
    /// Colour of its insulation, or `bare`.
    pub colour: String,
    /// The terminal of the rose it was found in.
    #[serde(default)]
    pub terminal: Terminal,
    /// Colour of a sleeve found on it.
    pub sleeve: Option<String>,
}

/// A terminal of a loop-in rose.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Terminal {
    /// The middle one, always live.
    Loop,
    /// The one of the lamp's line.
    Switched,
    /// The one of the neutrals.
    Neutral,
    /// The one of the protective conductors.
    Earth,
    /// Parked, or in a connector of its own: in no terminal.
    None,
    /// Nobody knows any more.
    #[default]
    Unknown,
}

/// A continuity reading.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ContinuityCase {
    /// Position of the only switch.
    pub switch: Option<String>,
    /// Position of each switch by its name.
    #[serde(default)]
    pub switches: BTreeMap<String, String>,
    /// The two cores, written `cable.core`.
    pub between: [String; 2],
    /// What the meter shows, in ohms, or as text with its unit.
    pub ohm: Option<OhmCase>,
    /// The meter shows an open circuit.
    pub open: Option<bool>,
    /// The circuit's line is linked to its protective conductor at the board for this reading.
    #[serde(default)]
    pub board_link: bool,
}

/// A resistance as a number of ohms or as text with its unit.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(untagged)]
pub enum OhmCase {
    /// Ohms.
    Number(f64),
    /// With a unit, over range allowed: `0.4 Ω`, `>99.9 MΩ`.
    Text(String),
}

/// The cable to the first new fitting.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LightsCase {
    /// Its tag: `L1`.
    pub name: String,
    /// Line and neutral colour: `brown/blue`.
    pub colours: String,
}

/// One cable to the lights, or several.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(untagged)]
pub enum OneOrMany {
    /// One chain.
    One(LightsCase),
    /// Several chains on one switch, or none yet.
    Many(Vec<LightsCase>),
}

impl Default for OneOrMany {
    fn default() -> Self {
        Self::Many(Vec::new())
    }
}

/// A kind of connector in hand.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ConnectorCase {
    /// How many cores it takes, each in a way of its own.
    pub ways: usize,
    /// The smallest cross-section it takes.
    pub least: Option<Area>,
    /// The largest cross-section it takes.
    pub most: Option<Area>,
    /// The kinds of conductor it takes; all where absent.
    pub takes: Option<Vec<Made>>,
}

/// What the cores are and how they join.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Answer {
    /// How many assignments fit the evidence (at least, where so many do that the search stops); only 1 gives a joint.
    pub consistent: usize,
    /// What each cable is; of several assignments, where they agree.
    pub roles: BTreeMap<String, Role>,
    /// What each core is, where the assignments agree.
    pub cores: Vec<CoreAnswer>,
    /// The groups of the new joint in the order of making: protective first.
    pub groups: Vec<joint::Group>,
    /// A connector for each group.
    pub connectors: Vec<joint::Connector>,
    /// What the joint has to sit in.
    pub enclosure: Option<joint::Enclosure>,
    /// Volts at the new cable and at each onward feed in every switch position.
    pub proof: Vec<proof::Row>,
    /// Where a colour or sleeve says something else than terminals and readings.
    pub disagreements: Vec<String>,
    /// What a careful person should also know.
    pub remarks: Vec<String>,
    /// Why there is no joint, and the reading that would decide.
    pub refused: Option<decide::Refused>,
}

/// One core and its function.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CoreAnswer {
    /// `cable.core`.
    pub core: String,
    /// What it is.
    pub function: Function,
}

/// Finds what the cores are, the groups of the joint, and the proof that it works.
///
/// # Errors
/// [`CaseError`] with the path of a key that can't be read: an unknown colour, a core that doesn't exist, too many
/// cables. Evidence that doesn't agree is no error but a refusal in the answer.
pub fn figure(case: &Case, facts: &Facts) -> Result<Answer, CaseError> {
    let evidence = Evidence::read(case, facts)?;
    let connectors = joint::connectors_in_hand(case, facts)?;
    let found = search::search(&evidence);
    let mut answer = Answer {
        // A search that was cut short has not shown that any assignment is the only one.
        consistent: if found.complete { found.fits.len() } else { found.fits.len().max(2) },
        roles: agreed_roles(&evidence, &found.fits),
        cores: agreed_cores(&evidence, &found.fits),
        groups: Vec::new(),
        connectors: Vec::new(),
        enclosure: None,
        proof: Vec::new(),
        disagreements: found.fits.first().map_or_else(Vec::new, |fit| disagreements(&evidence, &found.fits, fit)),
        remarks: remarks(&evidence, &found),
        refused: None,
    };
    let Some(fit) = found.settled() else {
        answer.refused = Some(decide::refuse(&evidence, &found));
        return Ok(answer);
    };
    answer.groups = joint::groups(&evidence, fit, facts);
    answer.connectors = joint::connectors(&evidence, &answer.groups, &connectors);
    answer.enclosure = Some(joint::enclosure(&evidence, &answer.groups, case.accessible.unwrap_or(true), facts));
    let proof = proof::prove(&evidence, fit, &answer.groups, facts.value("joints.nominal"));
    answer.refused = proof.fault.map(|fault| decide::Refused {
        why: fault,
        reading: String::from("None decides this: leave the cores parted and have the circuit traced."),
        between: None,
        switches: None,
    });
    answer.proof = proof.rows;
    Ok(answer)
}

fn agreed_roles(evidence: &Evidence, fits: &[Fit]) -> BTreeMap<String, Role> {
    let Some((first, others)) = fits.split_first() else { return BTreeMap::new() };
    (0..evidence.cables.len())
        .filter(|&cable| others.iter().all(|fit| fit.role(cable) == first.role(cable)))
        .map(|cable| (evidence.cables[cable].name.clone(), first.role(cable)))
        .collect()
}

fn agreed_cores(evidence: &Evidence, fits: &[Fit]) -> Vec<CoreAnswer> {
    let Some((first, others)) = fits.split_first() else { return Vec::new() };
    evidence
        .all_cores()
        .filter(|&at| others.iter().all(|fit| fit.function(at) == first.function(at)))
        .map(|at| CoreAnswer { core: evidence.written(at), function: first.function(at) })
        .collect()
}

fn disagreements(evidence: &Evidence, fits: &[Fit], fit: &Fit) -> Vec<String> {
    evidence
        .all_cores()
        .filter(|&at| fits.iter().all(|other| other.function(at) == fit.function(at)))
        .filter(|&at| search::contradicts(evidence, at, fit.function(at)))
        .map(|at| {
            let core = evidence.core(at);
            let looks = core.sleeve.as_ref().map_or_else(|| core.colour.clone(), |sleeve| format!("sleeved {sleeve}"));
            format!("{} is {looks}, yet it is the {}.", evidence.written(at), fit.function(at))
        })
        .collect()
}

fn remarks(evidence: &Evidence, found: &search::Found) -> Vec<String> {
    let mut remarks = evidence.remarks.clone();
    if found.labels_reversed {
        remarks.push(String::from(
            "The switch cable closes with the switch written as off: the position was misread, or its plate is upside down.",
        ));
    }
    if found.by_colour {
        remarks
            .push(String::from("Terminals and readings leave more than one assignment; colours decide between them."));
    }
    let Some(fit) = found.settled() else { return remarks };
    for (cable, held) in evidence.cables.iter().enumerate() {
        let terminal_known = held
            .cores
            .iter()
            .any(|core| matches!(core.terminal, Terminal::Loop | Terminal::Switched | Terminal::Neutral));
        match fit.role(cable) {
            Role::Switch | Role::TwoWay if !fit.shown_by_reading(evidence, cable) => remarks.push(format!(
                "No reading shows yet that {} answers to the switch: measure across it with the switch on and off.",
                held.name
            )),
            Role::Feed if !terminal_known => remarks.push(format!(
                "No terminal is known for {}: a cable that goes on to a second light of this switch looks the same.",
                held.name
            )),
            _ => {}
        }
        if held.cores.iter().all(|core| core.terminal != Terminal::Earth && !core.earth) {
            remarks.push(format!("{} has no protective conductor; every new point needs one.", held.name));
        }
    }
    remarks
}

#[cfg(test)]
mod tests;
