//! The gate, tried by sequence, by search, and answer by answer.
#![allow(clippy::unwrap_used)]

mod answers;
mod guards;
mod pairs;
mod restoring;
mod search;
mod small_gates;
mod vectors;

use super::*;
use crate::moment::Moment;

pub(super) const LIGHTING: &str = "lighting";
pub(super) const WORKER: &str = "A";

pub(super) fn nine() -> Moment {
    "2026-03-02T09:00".parse().unwrap()
}

/// A loop-in rose with one switch.
pub(super) fn rose() -> Point {
    point("rose", &["loop", "neutral", "switched", "earth"], &["S1"])
}

pub(super) fn point(name: &str, terminals: &[&str], switches: &[&str]) -> Point {
    let owned = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect();
    Point {
        name: name.to_owned(),
        circuit: LIGHTING.to_owned(),
        terminals: owned(terminals),
        switches: owned(switches),
        ..Point::default()
    }
}

/// The answer to a field that leads on.
pub(super) fn good(field: &Field) -> String {
    match &field.form {
        Form::YesNo => "yes".to_owned(),
        Form::OneOf { options, .. } => options[0].to_owned(),
        Form::Text => "12".to_owned(),
        Form::Volts => "none".to_owned(),
    }
}

/// The answers that lead on, but for those named.
pub(super) fn answers(ask: &Ask, other: &[(&str, &str)]) -> Vec<String> {
    let given =
        |field: &Field| other.iter().find(|(name, _)| *name == field.name).map(|(_, answer)| (*answer).to_owned());
    ask.fields.iter().map(|field| given(field).unwrap_or_else(|| good(field))).collect()
}

pub(super) fn evidence(piece: Piece, other: &[(&str, &str)]) -> Evidence {
    let ask = words::ask(piece);
    examine(&ask, &answers(&ask, other)).unwrap()
}

/// A job at a moment, walked as the engine walks it: demand, examine, apply.
#[derive(Debug, Clone)]
pub(super) struct Job {
    pub(super) world: World,
    pub(super) now: Moment,
    pub(super) scene: Scene,
}

impl Job {
    pub(super) fn begun() -> Self {
        let mut job = Self { world: World::default(), now: nine(), scene: Scene { minutes: 2.0, ..Scene::default() } };
        job.enter(&Event::Begun);
        job
    }

    /// A job whose rose is open and proved, one minute for each piece.
    pub(super) fn proved() -> Self {
        let mut job = Self::begun();
        job.meet(&touch(&rose()));
        job
    }

    pub(super) fn wait(&mut self, minutes: i64) {
        self.now = self.now.plus_minutes(minutes);
    }

    pub(super) fn enter(&mut self, event: &Event) {
        self.attempt(event).unwrap();
    }

    pub(super) fn attempt(&mut self, event: &Event) -> Result<(), NotAllowed> {
        self.world.apply(event, WORKER, self.now)
    }

    pub(super) fn demand(&self, risk: &Risk) -> Demand {
        demand(&self.world, risk, &self.scene, self.now)
    }

    /// The key of the piece that is wanted next, `open`, or `refused`.
    pub(super) fn wants(&self, risk: &Risk) -> String {
        said(&self.demand(risk))
    }

    pub(super) fn trouble(&self) -> Option<Trouble> {
        trouble(&self.world, &self.scene, self.now)
    }

    /// Gives one piece.
    pub(super) fn give(&mut self, piece: Piece, other: &[(&str, &str)]) {
        self.enter(&Event::Evidence(evidence(piece, other)));
    }

    /// Gives what is wanted for a risk, piece by piece, a minute for each, until it is open; the keys of the pieces.
    pub(super) fn meet(&mut self, risk: &Risk) -> Vec<String> {
        self.meet_with(risk, &[])
    }

    pub(super) fn meet_with(&mut self, risk: &Risk, other: &[(&str, &str)]) -> Vec<String> {
        let mut keys = Vec::new();
        loop {
            assert!(keys.len() < 40, "no end in {keys:?}");
            match self.demand(risk) {
                Demand::Open => return keys,
                Demand::Refused(refusal) => panic!("{refusal:?} after {keys:?}"),
                Demand::Ask(ask) => {
                    keys.push(ask.key());
                    self.wait(1);
                    self.enter(&Event::Evidence(examine(&ask, &answers(&ask, other)).unwrap()));
                }
            }
        }
    }

    pub(super) fn start(&mut self, key: &str, risk: &Risk) -> Result<(), NotAllowed> {
        let started = Event::Started { key: key.to_owned(), risks: vec![risk.clone()], minutes: self.scene.minutes };
        self.attempt(&started)
    }

    pub(super) fn done(&mut self, key: &str, risk: &Risk) -> Result<(), NotAllowed> {
        let risks = vec![risk.clone()];
        self.attempt(&Event::Done { key: key.to_owned(), risks, opens: Vec::new(), closes: Vec::new() })
    }

    pub(super) fn level(&self) -> Level {
        self.world.at(self.now).level(LIGHTING)
    }
}

pub(super) fn touch(point: &Point) -> Risk {
    Risk::Conductors { point: point.clone(), unmoved: false }
}

pub(super) fn look(point: &Point) -> Risk {
    Risk::Conductors { point: point.clone(), unmoved: true }
}

pub(super) fn restore(circuit: &str, how: Return) -> Risk {
    Risk::Restore { circuit: circuit.to_owned(), how }
}

pub(super) fn said(demand: &Demand) -> String {
    match demand {
        Demand::Open => "open".to_owned(),
        Demand::Ask(ask) => ask.key(),
        Demand::Refused(_) => "refused".to_owned(),
    }
}
