//! Work points, and the pairs that are read at them.

use serde::{Deserialize, Serialize};

/// A work point as a stage describes it: a set of cores, not a place. A proof is about the whole description; described
/// otherwise, the point is not proved.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Point {
    /// Its name: `rose`.
    pub name: String,
    /// The circuit that feeds it.
    pub circuit: String,
    /// Its terminals, where cores are still in them: `loop`, `neutral`, `switched`, `earth`.
    pub terminals: Vec<String>,
    /// Its parted ends by cable and core: `C1.brown`, `C1.neutral`, `C1.earth`.
    pub ends: Vec<String>,
    /// The switches that act on it.
    pub switches: Vec<String>,
    /// New cable with both ends in the work area, joined to nothing.
    pub unconnected: bool,
    /// Neutrals are parted or about to be, so that the main switch is secured too.
    pub wide: bool,
}

/// The long lead to the main earth, which stands in where the point has no earth terminal that is still made.
const EARTH_LEAD: &str = "earth lead";

impl Point {
    /// The pairs that are read in one position of the switches, each as (one probe, the other).
    ///
    /// At terminals, every pair. With cores parted: each end to earth, each live core to the others of its cable, and each
    /// neutral to the other neutrals and to whatever live cores are still in terminals. Earth is the earth terminal; where
    /// there is none, or the earths are parted, it is the long lead to the main earth, since a reading to an earth that leads
    /// nowhere is nought and worthless. Whatever can't be told by its name is taken for live.
    #[must_use]
    pub fn pairs(&self) -> Vec<(String, String)> {
        let terminals = distinct(&self.terminals);
        let ends = distinct(&self.ends);
        if terminals.is_empty() && ends.is_empty() {
            return Vec::new();
        }
        let earth = terminals.iter().find(|name| is_earth(name)).copied().unwrap_or(EARTH_LEAD);
        let lines: Vec<_> = terminals.iter().copied().filter(|name| !is_earth(name)).collect();
        let mut pairs = Vec::new();
        for (at, one) in lines.iter().enumerate() {
            pairs.extend(lines[at + 1..].iter().map(|other| (*one, *other)));
            pairs.push((*one, earth));
        }
        for (at, end) in ends.iter().enumerate() {
            pairs.push((*end, earth));
            if is_earth(end) {
                continue;
            }
            let others = ends[at + 1..].iter().filter(|other| !is_earth(other));
            let near = others.filter(|other| cable(end) == cable(other) || (is_neutral(end) && is_neutral(other)));
            pairs.extend(near.map(|other| (*end, *other)));
            if is_neutral(end) {
                pairs.extend(lines.iter().map(|line| (*line, *end)));
            }
        }
        pairs.into_iter().map(|(one, other)| (one.to_owned(), other.to_owned())).collect()
    }

    /// The pairs of the short repeat proof: each end to earth and to neutral.
    #[must_use]
    pub fn short_pairs(&self) -> Vec<(String, String)> {
        let reference = |name: &str| is_earth(name) || is_neutral(name) || name == EARTH_LEAD;
        self.pairs().into_iter().filter(|(one, other)| reference(one) || reference(other)).collect()
    }

    /// Whether the neutrals are parted: none is left in a terminal, and some are ends.
    pub(super) fn has_parted_neutrals(&self) -> bool {
        !self.terminals.iter().any(|name| is_neutral(name)) && self.ends.iter().any(|name| is_neutral(name))
    }

    /// How often the pairs are read: as found, then after each switch was moved once and left there. With two-way switching
    /// each of the wires between the switches is joined to the lamp's side in one of these rounds, whichever way they stood
    /// (enumerated for two to five switches, every start and order).
    #[must_use]
    pub fn rounds(&self, short: bool) -> usize {
        if short { 1 } else { self.switches.len() + 1 }
    }
}

/// A name without its repetitions, in the order given.
fn distinct(names: &[String]) -> Vec<&str> {
    let mut seen = Vec::new();
    for name in names {
        if !seen.contains(&name.as_str()) {
            seen.push(name.as_str());
        }
    }
    seen
}

/// The cable of an end: what stands before the last dot.
fn cable(end: &str) -> &str {
    end.rsplit_once('.').map_or(end, |(cable, _)| cable)
}

/// The core of an end, or the terminal.
fn core(name: &str) -> String {
    name.rsplit('.').next().unwrap_or(name).trim().to_lowercase()
}

fn is_earth(name: &str) -> bool {
    ["earth", "cpc", "bare", "green", "green-yellow", "green/yellow", "green and yellow"].contains(&core(name).as_str())
}

/// Blue, and black in older cable. A black core may just as well be a switched line: more pairs are read then, not fewer.
fn is_neutral(name: &str) -> bool {
    ["neutral", "blue", "black"].contains(&core(name).as_str())
}
