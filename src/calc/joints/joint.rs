//! The new joint: its groups, their sleeves, a connector for each, and the enclosure.

use serde::Serialize;

use super::evidence::{At, Evidence, Use};
use super::search::{Fit, Function};
use super::{Case, ConnectorCase, Made};
use crate::case::CaseError;
use crate::facts::Facts;

/// A group of cores that join.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Group {
    /// What the group is: `cpc`, `neutral`, `switch line`, `permanent line`, …
    pub name: String,
    /// Its function.
    #[serde(skip)]
    pub function: Function,
    /// How many cores it has.
    pub count: usize,
    /// Its cores, written `cable.core`.
    pub cores: Vec<String>,
    /// Sleeves that have to go on.
    pub sleeves: Vec<Sleeve>,
}

/// A sleeve that has to go on a core.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sleeve {
    /// `cable.core`.
    pub core: String,
    /// Colour of the sleeve.
    pub colour: String,
    /// Why, with the source.
    pub why: String,
}

/// A connector for a group.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Connector {
    /// The group's name.
    pub group: String,
    /// How many cores it has to take.
    pub cores: usize,
    /// Ways of the connector chosen; 0 where none fits.
    pub ways: usize,
    /// `fits`, or what is wrong.
    pub verdict: String,
    /// Where the ways come from.
    pub source: String,
}

/// What the joint has to sit in.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Enclosure {
    /// Cables that enter, each with a clamp on its sheath.
    pub entries: usize,
    /// Connectors that it has to hold.
    pub connectors: usize,
    /// Whether it has to be of the kind that may be left alone for good.
    pub maintenance_free: bool,
    /// What is asked of it, with the sources.
    pub asked: Vec<String>,
}

/// The functions in the order of making: protective first, permanent line last.
const ORDER: [Function; 6] = [
    Function::Protective,
    Function::Neutral,
    Function::Switched,
    Function::StrapperOne,
    Function::StrapperTwo,
    Function::Permanent,
];

/// The groups of the joint.
#[must_use]
pub fn groups(evidence: &Evidence, fit: &Fit, facts: &Facts) -> Vec<Group> {
    let mut groups = Vec::new();
    for function in ORDER {
        let held: Vec<At> = evidence.all_cores().filter(|at| fit.function(*at) == function).collect();
        let mut cores: Vec<String> = held.iter().map(|at| evidence.written(*at)).collect();
        let mut sleeves: Vec<Sleeve> =
            held.iter().filter_map(|at| sleeve_for(evidence, *at, function, facts)).collect();
        for lights in &evidence.lights {
            match function {
                Function::Protective => {
                    let core = format!("{}.bare", lights.name);
                    sleeves.push(sleeve(core.clone(), "green/yellow", facts));
                    cores.push(core);
                }
                Function::Neutral => cores.push(format!("{}.{}", lights.name, lights.neutral)),
                Function::Switched => cores.push(format!("{}.{}", lights.name, lights.line)),
                _ => {}
            }
        }
        if !cores.is_empty() {
            groups.push(Group { name: function.to_string(), function, count: cores.len(), cores, sleeves });
        }
    }
    for at in evidence.all_cores().filter(|at| fit.function(*at) == Function::Spare) {
        let name = format!("spare {}", evidence.written(at));
        let cores = vec![evidence.written(at)];
        groups.push(Group { name, function: Function::Spare, count: 1, cores, sleeves: Vec::new() });
    }
    groups
}

fn sleeve(core: String, colour: &str, facts: &Facts) -> Sleeve {
    let fact = if colour == "green/yellow" { "joints.sleeve_protective" } else { "joints.sleeve_line" };
    let why = facts.get(fact).map_or_else(String::new, |fact| format!("{} {}", fact.note, fact.source));
    Sleeve { core, colour: colour.to_owned(), why }
}

/// The sleeve that a core needs so that it looks like what it is.
fn sleeve_for(evidence: &Evidence, at: At, function: Function, facts: &Facts) -> Option<Sleeve> {
    let core = evidence.core(at);
    let seen = core.sleeve.as_deref().unwrap_or(&core.colour);
    let colour = match function {
        // Solid green is the marking of long ago; both colours together are the only one now.
        Function::Protective if seen != "green/yellow" => "green/yellow",
        Function::Permanent | Function::Switched | Function::StrapperOne | Function::StrapperTwo
            if core.says != Use::Line =>
        {
            "brown"
        }
        Function::Neutral if core.says != Use::Neutral => "blue",
        _ => return None,
    };
    Some(sleeve(evidence.written(at), colour, facts))
}

/// The connectors in hand, checked; without any, the sizes that are usual.
///
/// # Errors
/// [`CaseError`] for a connector that can't be.
pub fn connectors_in_hand(case: &Case, facts: &Facts) -> Result<Vec<(ConnectorCase, String)>, CaseError> {
    if case.connector.len() > 50 {
        return Err(CaseError::at("connector", "more than 50 kinds of connector"));
    }
    for (index, connector) in case.connector.iter().enumerate() {
        if !(1..=20).contains(&connector.ways) {
            return Err(CaseError::at(format!("connector[{index}].ways"), "1 to 20 ways are expected"));
        }
        let sizes = [connector.least, connector.most].into_iter().flatten().map(|area| area.0);
        if sizes.into_iter().any(|area| !(0.0..=100.0).contains(&area)) {
            return Err(CaseError::at(format!("connector[{index}]"), "a cross-section of 0 to 100 mm2 is expected"));
        }
    }
    let mut connectors: Vec<(ConnectorCase, String)> =
        case.connector.iter().map(|connector| (connector.clone(), String::from("in hand"))).collect();
    if connectors.is_empty() {
        connectors = facts
            .table("joints.ways")
            .rows
            .iter()
            .filter_map(|row| {
                // A table of ways holds small whole numbers.
                let ways = row.number("ways")?.round().clamp(1.0, 20.0) as usize;
                Some((ConnectorCase { ways, least: None, most: None, takes: None }, row.source.to_string()))
            })
            .collect();
    }
    connectors.sort_by_key(|(connector, _)| connector.ways);
    Ok(connectors)
}

/// A connector for each group: the one with fewest ways that takes every core, each in a way of its own.
#[must_use]
pub fn connectors(evidence: &Evidence, groups: &[Group], in_hand: &[(ConnectorCase, String)]) -> Vec<Connector> {
    let cables: Vec<(String, Option<f64>, Option<Made>)> =
        evidence.cables.iter().map(|cable| (format!("{}.", cable.name), cable.area, cable.made)).collect();
    groups
        .iter()
        .map(|group| {
            let held: Vec<_> = cables
                .iter()
                .filter(|(prefix, ..)| group.cores.iter().any(|core| core.starts_with(prefix.as_str())))
                .collect();
            let takes_all = |connector: &ConnectorCase| {
                held.iter().all(|(_, area, made)| {
                    let within = area.is_none_or(|area| {
                        connector.least.is_none_or(|least| area >= least.0)
                            && connector.most.is_none_or(|most| area <= most.0)
                    });
                    let kind = match (&connector.takes, made) {
                        (Some(takes), Some(made)) => takes.contains(made),
                        _ => true,
                    };
                    within && kind
                })
            };
            let count = group.cores.len();
            let enough = in_hand.iter().find(|(connector, _)| connector.ways >= count && takes_all(connector));
            let (ways, verdict, source) = match enough {
                Some((connector, source)) => (connector.ways, String::from("fits"), source.clone()),
                None => {
                    let enough_ways = in_hand.iter().any(|(connector, _)| connector.ways >= count);
                    let verdict = if enough_ways {
                        String::from("none in hand is made for these conductors")
                    } else {
                        format!(
                            "none has {count} ways: two connectors with a link of the same cross-section between them"
                        )
                    };
                    (0, verdict, String::new())
                }
            };
            Connector { group: group.name.clone(), cores: count, ways, verdict, source }
        })
        .collect()
}

/// What the joint has to sit in.
#[must_use]
pub fn enclosure(evidence: &Evidence, groups: &[Group], accessible: bool, facts: &Facts) -> Enclosure {
    let entries = evidence.cables.len() + evidence.lights.len();
    let said = |name: &str| facts.get(name).map_or_else(String::new, |fact| format!("{} {}", fact.note, fact.source));
    let mut asked = vec![
        format!("{entries} cables enter, each with its sheath inside and clamped. {}", said("joints.sheath_inside")),
        format!("Room for {} connectors; a rose of three terminals has none for the permanent line.", groups.len()),
    ];
    if !accessible {
        asked.push(said("joints.accessible"));
    }
    Enclosure { entries, connectors: groups.len(), maintenance_free: !accessible, asked }
}
