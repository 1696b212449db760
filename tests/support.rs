//! A job walked by hand in a test: records in memory, a clock of its own.

use std::path::Path;

use lampwright::engine::bundle::Bundle;
use lampwright::engine::rehearse::begun;
use lampwright::engine::turn::Turn;
use lampwright::engine::typed::reply_of;
use lampwright::engine::{Consequences, Engine, Reply};
use lampwright::ledger::{Kind, Record};
use lampwright::moment::Moment;

/// A procedure kept under tests/procedures.
pub fn engine(name: &str) -> Engine {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/procedures").join(name);
    let bundle = Bundle::from_folder(&folder).unwrap();
    Engine::new(bundle).unwrap()
}

/// A job under way.
#[derive(Clone)]
pub struct Walk<'a> {
    pub engine: &'a Engine,
    pub records: Vec<Record>,
    pub now: Moment,
    pub person: String,
}

impl<'a> Walk<'a> {
    /// A job begun at a time of day.
    pub fn begin(engine: &'a Engine, clock: &str) -> Self {
        let now = at(clock);
        Self { engine, records: vec![begun(engine, "A", now)], now, person: "A".into() }
    }

    /// The turn at a time of day.
    pub fn turn_at(&mut self, clock: &str) -> Turn {
        self.now = at(clock);
        self.turn()
    }

    /// The turn now.
    pub fn turn(&self) -> Turn {
        self.engine.advance(&self.records, self.now)
    }

    /// Replies to the key that the job must be at.
    pub fn give(&mut self, clock: &str, key: &str, typed: &[&str]) {
        let turn = self.turn_at(clock);
        assert!(turn.keys().iter().any(|found| found == key), "at {clock} the job asks {:?}, not {key}", turn.keys());
        let typed: Vec<String> = typed.iter().map(|text| (*text).to_owned()).collect();
        let reply = reply_of(&turn, key, &typed);
        self.reply(&turn, &reply);
    }

    /// Replies, and writes the record.
    pub fn reply(&mut self, turn: &Turn, reply: &Reply) {
        let record = self.engine.accept(&self.records, turn, reply, &self.person, self.now).unwrap();
        self.person = record.person.clone();
        self.records.push(record);
    }

    /// Replies with something that is no answer to the ask itself.
    pub fn say(&mut self, clock: &str, reply: &Reply) {
        let turn = self.turn_at(clock);
        self.reply(&turn, reply);
    }

    /// What changing an answer would do.
    pub fn would(&mut self, clock: &str, key: &str, typed: &str) -> Consequences {
        let turn = self.turn_at(clock);
        let change = Reply::Change { key: key.into(), typed: typed.into() };
        let record = self.engine.accept(&self.records, &turn, &change, &self.person, self.now).unwrap();
        self.engine.consequences(&self.records, &record, self.now)
    }

    /// The program is started again.
    pub fn restart(&mut self, clock: &str) {
        self.now = at(clock);
        let mut record = begun(self.engine, &self.person, self.now);
        record.kind = Kind::Resumed;
        self.records.push(record);
    }

    /// Identify, off, secure.
    pub fn secure(&mut self, clock: &str) {
        self.give(clock, "gate.identify/light", &["circuit breaker", "y", "y", "y", "yes"]);
        self.give(clock, "gate.off/light", &["y", "y", "y"]);
        self.give(clock, "gate.secure/light", &SECURE);
    }

    /// A whole proof at the rose; the last record is written at `clock`.
    pub fn prove(&mut self, clock: &str) {
        for _ in 0..8 {
            let turn = self.turn_at(clock);
            let key = turn.key.clone();
            if !key.starts_with("gate.") {
                return;
            }
            self.give(clock, &key, answers_to(&key));
        }
    }
}

/// Answers that secure a circuit with a lock of its own.
pub const SECURE: [&str; 5] = ["lock fitted", "y", "y", "y", "no"];

/// Answers for the pieces of a proof.
pub fn answers_to(key: &str) -> &'static [&'static str] {
    let piece = key.trim_start_matches("gate.");
    match piece.split('/').next().unwrap() {
        "prove_first" => &["detector 7", "two-pole voltage detector", "proving unit", "12", "y", "y"],
        "prove_again" => &["y", "y"],
        "open" => &["y"],
        "read" => &["none"],
        other => panic!("no answers for {other}"),
    }
}

/// A time of day on the test's day.
pub fn at(clock: &str) -> Moment {
    format!("2026-03-02T{clock}").parse().unwrap()
}
