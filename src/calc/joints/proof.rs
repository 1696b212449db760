//! The proof that a joint works: the circuit solved in every switch position, with each feed in turn as the incoming.
//!
//! Which of several feeds is the incoming one can't be seen and doesn't matter, if the joint works whichever it is. The
//! proof builds the circuit from what each cable does, joins the cores as the groups say, and solves it; it does not
//! take the groups' names into account, so that a core in the wrong group shows.

use std::collections::BTreeMap;

use serde::Serialize;

use super::evidence::{At, Evidence};
use super::joint::Group;
use super::search::{Fit, Function, Law, Shape};
use crate::calc::network::{Network, NetworkError, Node, Positions, Solution};

/// What a light or an onward room is in the proof; any value gives the same voltages, joints having no resistance.
const LOAD_OHM: f64 = 1000.0;
/// Volts by which a proof may miss, for rounding in the solve.
const SLACK_V: f64 = 1e-6;

/// Voltages in one set of switch positions.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Row {
    /// The switch positions in words: `on`, or `S1 up, S2 down`.
    pub switch: String,
    /// The same by the name of each switch.
    pub switches: BTreeMap<String, String>,
    /// Volts between line and neutral at the new cable, or at the switch line where no new cable is given.
    pub new_v: f64,
    /// Volts between permanent line and neutral at the far end of each feed.
    pub onward_v: BTreeMap<String, f64>,
    /// Volts at each cable that takes the switch line on to another light.
    pub switched_v: BTreeMap<String, f64>,
}

/// The outcome of a proof.
#[derive(Debug, Clone, PartialEq)]
pub struct Proof {
    /// A row for each set of positions.
    pub rows: Vec<Row>,
    /// What does not work.
    pub fault: Option<String>,
}

/// Solves the joint in every switch position.
#[must_use]
pub fn prove(evidence: &Evidence, fit: &Fit, groups: &[Group], volts: f64) -> Proof {
    let mut proof = Proof { rows: Vec::new(), fault: misplaced(evidence, groups) };
    let incoming = incoming(fit);
    for positions in evidence.every_position() {
        let on = should_be_on(fit, &positions);
        let mut shown: Option<Row> = None;
        for feed in &incoming {
            let wired = Wired::new(evidence, fit, groups, *feed, volts, &positions);
            let row = match wired.solve(evidence, &positions) {
                Ok(row) => row,
                Err(error) => {
                    let position = evidence.positions_in_words(&positions);
                    proof.fault.get_or_insert(format!("With the switch {position}: {error}."));
                    return proof;
                }
            };
            if let Some(fault) = fault_in(&row, on, volts) {
                proof.fault.get_or_insert(fault);
                shown = Some(row);
                break;
            }
            shown.get_or_insert(row);
        }
        proof.rows.extend(shown);
    }
    let ever = |on: bool| proof.rows.iter().any(|row| (row.new_v > volts / 2.0) == on);
    if proof.fault.is_none() && !(ever(true) && ever(false)) {
        proof.fault = Some(String::from("No position of the switch changes anything at the new light."));
    }
    proof
}

/// Cables that may bring the supply.
fn incoming(fit: &Fit) -> Vec<usize> {
    let of = |shape: Shape| -> Vec<usize> {
        fit.parts.iter().enumerate().filter(|(_, part)| part.shape == shape).map(|(cable, _)| cable).collect()
    };
    let switches_here =
        fit.parts.iter().any(|part| matches!(part.shape, Shape::Drop | Shape::TwoWayLine | Shape::TwoWayLamp));
    if switches_here { of(Shape::Feed) } else { of(Shape::SwitchedFeed) }
}

fn should_be_on(fit: &Fit, positions: &[bool]) -> bool {
    let stated: Vec<Option<bool>> = positions.iter().map(|on| Some(*on)).collect();
    let law_of = |shape: Shape| fit.parts.iter().find(|part| part.shape == shape).and_then(|part| part.law);
    let closed = |law: Law| law.closed(&stated).unwrap_or(false);
    match (law_of(Shape::Drop), law_of(Shape::TwoWayLine), law_of(Shape::TwoWayLamp)) {
        (Some(drop), ..) => closed(drop),
        (None, Some(line), Some(lamp)) => closed(line) == closed(lamp),
        _ => closed(elsewhere(positions.len())),
    }
}

/// The law of a switch that sits in the feed itself, before the rose.
fn elsewhere(switches: usize) -> Law {
    Law { switches: (1 << switches) - 1, closed_at_odd: true }
}

fn fault_in(row: &Row, on: bool, volts: f64) -> Option<String> {
    let wanted = if on { volts } else { 0.0 };
    let at = format!("With the switch {}", row.switch);
    let wrong = |found: f64, wanted: f64| (found - wanted).abs() > SLACK_V;
    if wrong(row.new_v, wanted) {
        return Some(format!("{at} the new light has {:.0} V and not {wanted:.0} V.", row.new_v));
    }
    if let Some((cable, found)) = row.onward_v.iter().find(|(_, found)| wrong(**found, volts)) {
        return Some(format!("{at} {cable} has {found:.0} V and not {volts:.0} V."));
    }
    let (cable, found) = row.switched_v.iter().find(|(_, found)| wrong(**found, wanted))?;
    Some(format!("{at} {cable} has {found:.0} V and not {wanted:.0} V."))
}

/// Every core has to be in one group and in one only.
fn misplaced(evidence: &Evidence, groups: &[Group]) -> Option<String> {
    let all = evidence.all_cores().map(|at| evidence.written(at));
    all.into_iter().find_map(|core| {
        let times = groups.iter().flat_map(|group| &group.cores).filter(|held| **held == core).count();
        (times != 1).then(|| format!("{core} is in {times} groups and not in one."))
    })
}

/// The circuit around a joint.
struct Wired {
    net: Network,
    neutral: Node,
    new_light: (Node, Node),
    feeds: Vec<(String, Node, Node)>,
    switched: Vec<(String, Node, Node)>,
}

impl Wired {
    fn new(evidence: &Evidence, fit: &Fit, groups: &[Group], incoming: usize, volts: f64, positions: &[bool]) -> Self {
        let mut net = Network::new();
        for (index, group) in groups.iter().enumerate() {
            let joint = net.node(&format!("group {index}"));
            for core in &group.cores {
                let end = net.node(core);
                net.resistance("joint", joint, end, 0.0);
            }
        }
        let [supply, neutral] = ["supply line", "supply neutral"].map(|name| net.node(name));
        net.source("supply", supply, neutral, volts, 0.0);
        let mut wired = Self { net, neutral, new_light: (neutral, neutral), feeds: Vec::new(), switched: Vec::new() };
        for cable in 0..evidence.cables.len() {
            wired.add(evidence, fit, cable, cable == incoming, supply, positions);
        }
        wired.add_lights(evidence, fit);
        wired
    }

    fn core(&mut self, evidence: &Evidence, fit: &Fit, cable: usize, function: Function) -> Option<Node> {
        let core = fit.parts[cable].functions.iter().position(|held| *held == function)?;
        Some(self.net.node(&evidence.written((cable, core))))
    }

    fn add(&mut self, evidence: &Evidence, fit: &Fit, cable: usize, incoming: bool, supply: Node, positions: &[bool]) {
        let name = evidence.cables[cable].name.clone();
        let line = self.core(evidence, fit, cable, Function::Permanent);
        let lamp = self.core(evidence, fit, cable, Function::Switched);
        let neutral = self.core(evidence, fit, cable, Function::Neutral);
        let part = &fit.parts[cable];
        let stated: Vec<Option<bool>> = positions.iter().map(|on| Some(*on)).collect();
        let closed = part.law.and_then(|law| law.closed(&stated)).unwrap_or(false);
        let mut join = |a: Option<Node>, b: Option<Node>, ohm: f64| {
            if let (Some(a), Some(b)) = (a, b) {
                self.net.resistance(&name, a, b, ohm);
            }
        };
        let contact = |closed: bool| if closed { 0.0 } else { f64::INFINITY };
        match part.shape {
            Shape::Feed | Shape::LinkedFeed | Shape::SwitchedFeed => {
                if incoming {
                    join(Some(self.neutral), neutral, 0.0);
                    join(Some(supply), line, 0.0);
                    if part.shape == Shape::SwitchedFeed {
                        let on = elsewhere(positions.len()).closed(&stated).unwrap_or(false);
                        join(Some(supply), lamp, contact(on));
                    }
                }
                join(line, neutral, LOAD_OHM);
                join(lamp, neutral, LOAD_OHM);
                if let (Some(line), Some(neutral)) = (line, neutral) {
                    self.feeds.push((name.clone(), line, neutral));
                }
                if let (Some(lamp), Some(neutral), false) = (lamp, neutral, incoming) {
                    self.switched.push((name, lamp, neutral));
                }
            }
            Shape::Drop => join(line, lamp, contact(closed)),
            Shape::TwoWayLine | Shape::TwoWayLamp => {
                let common = line.or(lamp);
                for (strapper, made) in [(Function::StrapperOne, closed), (Function::StrapperTwo, !closed)] {
                    let end = self.core(evidence, fit, cable, strapper);
                    if let (Some(common), Some(end)) = (common, end) {
                        self.net.resistance(&name, common, end, contact(made));
                    }
                }
            }
            Shape::Spare => {}
        }
    }

    fn add_lights(&mut self, evidence: &Evidence, fit: &Fit) {
        for (at, lights) in evidence.lights.iter().enumerate() {
            let line = self.net.node(&format!("{}.{}", lights.name, lights.line));
            let neutral = self.net.node(&format!("{}.{}", lights.name, lights.neutral));
            self.net.resistance(&lights.name, line, neutral, LOAD_OHM);
            if at == 0 {
                self.new_light = (line, neutral);
            } else {
                self.switched.push((lights.name.clone(), line, neutral));
            }
        }
        if evidence.lights.is_empty() {
            let first =
                |wanted: Function| -> Option<At> { evidence.all_cores().find(|at| fit.function(*at) == wanted) };
            if let (Some(line), Some(neutral)) = (first(Function::Switched), first(Function::Neutral)) {
                let ends = [line, neutral].map(|at| self.net.node(&evidence.written(at)));
                self.net.resistance("new light", ends[0], ends[1], LOAD_OHM);
                self.new_light = (ends[0], ends[1]);
            }
        }
    }

    fn solve(&self, evidence: &Evidence, positions: &[bool]) -> Result<Row, NetworkError> {
        let solved = self.net.solve(&Positions::new())?;
        let volts = |a: Node, b: Node| across(&solved, a, b, self.neutral);
        let all = |ends: &[(String, Node, Node)]| {
            ends.iter().map(|(name, a, b)| (name.clone(), volts(*a, *b))).collect::<BTreeMap<_, _>>()
        };
        Ok(Row {
            switch: evidence.positions_in_words(positions),
            switches: evidence.positions_by_name(positions),
            new_v: volts(self.new_light.0, self.new_light.1),
            onward_v: all(&self.feeds),
            switched_v: all(&self.switched),
        })
    }
}

/// Volts across a load. Where one of its ends floats there is none; a line without its neutral shows as 0 V here and so
/// fails the proof.
fn across(solved: &Solution, a: Node, b: Node, neutral: Node) -> f64 {
    if solved.floats(a, neutral) || solved.floats(b, neutral) { 0.0 } else { solved.volts(a, b).unwrap_or(0.0) }
}
