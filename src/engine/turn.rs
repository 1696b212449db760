//! The turn: what the person is to do next, and all that a screen, a pack or a drill needs to know about it.

use std::collections::BTreeMap;

use serde_json::Value;

use super::interaction::{Interaction, Shown, Verdict};
use super::replay::{Former, Passed, PointSpec, StopSpec};
use super::scripterror::ScriptError;
use crate::gate;
use crate::moment::Moment;

/// What is asked next.
#[derive(Debug, Clone, PartialEq)]
pub enum Ask {
    /// Something that stands before everything else: a stop, a lock in doubt, an open point without a proof.
    Trouble(gate::Trouble),
    /// A piece of evidence for the gate.
    Evidence(gate::Ask),
    /// The gate cannot be met here; why, and what to do.
    Refused(gate::Refusal),
    /// An interaction of the plan.
    Plan {
        /// What is asked.
        interaction: Box<Interaction>,
        /// Its digest.
        digest: String,
        /// The former answer, if there is one.
        former: Option<Former>,
        /// The former answer to a choice, where it still holds: the value, and what it costs in words.
        keep: Option<(Value, String)>,
        /// It was started, and is to be ended: done or can't.
        started: bool,
    },
    /// A done step whose figures moved.
    Review {
        /// What the plan says now.
        interaction: Box<Interaction>,
        /// Its digest.
        digest: String,
        /// What was done.
        former: Former,
    },
    /// A step was started whose place in the plan has moved: it is ended first.
    Unfinished {
        /// Its key.
        key: String,
        /// Its text as it was shown.
        text: String,
    },
    /// A named stop of the procedure; the person says that it was read.
    Stop(StopSpec),
    /// Everything is done; the person says that the job is finished.
    Finish {
        /// How it ends.
        ending: Ending,
    },
    /// The job has ended.
    Ended(Ending),
    /// The script failed.
    Broken(ScriptError),
}

/// How a job ends.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Ending {
    /// Everything done, every result passed.
    Finished,
    /// Everything done but readings that a named tester will take on the live circuit.
    TestsOutstanding,
    /// The circuit stays off and locked, for a named tester.
    LeftDead,
    /// A named stop.
    Stopped(String),
}

impl Ending {
    /// The ending in words, as rehearsals and packs say it.
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Self::Finished => String::from("finished"),
            Self::TestsOutstanding => String::from("finished, live tests outstanding"),
            Self::LeftDead => String::from("left dead and locked"),
            Self::Stopped(code) => format!("stop: {code}"),
        }
    }

    /// The ending out of its words.
    #[must_use]
    pub fn from_words(words: &str) -> Option<Self> {
        match words {
            "finished" => Some(Self::Finished),
            "finished, live tests outstanding" => Some(Self::TestsOutstanding),
            "left dead and locked" => Some(Self::LeftDead),
            _ => words.strip_prefix("stop: ").map(|code| Self::Stopped(code.to_owned())),
        }
    }
}

/// The present state of a job.
#[derive(Debug, Clone)]
pub struct Turn {
    /// The key that the job is at.
    pub key: String,
    /// What is asked.
    pub ask: Ask,
    /// Interactions passed, in order.
    pub trail: Vec<Passed>,
    /// The job's facts.
    pub facts: Value,
    /// Everything shown on the way.
    pub shown: Vec<Shown>,
    /// Where in `shown` the part begins that the person has not answered under yet.
    pub fresh: usize,
    /// The world at this moment.
    pub world: gate::World,
    /// Keys with a record that this path does not ask for.
    pub set_aside: Vec<String>,
    /// Verdicts on the trail.
    pub findings: BTreeMap<(String, String), Verdict>,
    /// Work points as described last.
    pub points: BTreeMap<String, PointSpec>,
    /// Index of the stage.
    pub stage: usize,
    /// The window; empty outside windows.
    pub window: String,
    /// The round, from 1.
    pub round: u32,
    /// Who works, as the ledger says.
    pub person: String,
    /// Why the job went back, each time it did.
    pub returns: Vec<String>,
    /// When.
    pub now: Moment,
}

impl Turn {
    /// The keys that a reply can go to; the first is the one asked for.
    #[must_use]
    pub fn keys(&self) -> Vec<String> {
        let plain = |key: String| vec![self.placed(&key.replace(' ', "-"))];
        match &self.ask {
            Ask::Trouble(trouble) => {
                let mut keys: Vec<String> =
                    trouble.offers.iter().map(|offer| self.placed(&offer.key().replace(' ', "-"))).collect();
                if trouble.kind == gate::TroubleKind::Stopped {
                    keys.insert(0, String::from("release"));
                }
                keys
            }
            Ask::Evidence(ask) => plain(ask.key()),
            Ask::Refused(_) => vec![String::from("refused")],
            Ask::Plan { interaction, .. } | Ask::Review { interaction, .. } => vec![interaction.key.clone()],
            Ask::Unfinished { key, .. } => vec![key.clone()],
            Ask::Stop(stop) => vec![format!("stop.{}", stop.code)],
            Ask::Finish { .. } => vec![String::from("finish")],
            Ask::Ended(_) => vec![String::from("ended")],
            Ask::Broken(_) => vec![String::from("broken")],
        }
    }

    /// A key of the gate, in this window.
    fn placed(&self, key: &str) -> String {
        let window = if self.window.is_empty() { String::new() } else { format!("{}:", self.window) };
        let round = if self.round > 1 { format!("@{}", self.round) } else { String::new() };
        format!("{window}{key}{round}")
    }

    /// Whether the job has ended.
    #[must_use]
    pub fn has_ended(&self) -> bool {
        matches!(self.ask, Ask::Ended(_))
    }

    /// What is shown before this turn's ask.
    #[must_use]
    pub fn fresh_shown(&self) -> &[Shown] {
        &self.shown[self.fresh.min(self.shown.len())..]
    }
}

/// Why the work is stopped, in words.
#[must_use]
pub fn stop_words(stop: gate::Stop) -> &'static str {
    match stop {
        gate::Stop::Unsure => "not sure",
        gate::Stop::VoltageFound => "voltage found",
        gate::Stop::Felt(happening) => happening.words(),
    }
}
