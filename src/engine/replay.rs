//! The replay: the stages, run from the start against the answers, say what the plan wants next.
//!
//! Answers are looked up by key and digest, never by position. The result is the frontier, the trail that led there,
//! and everything shown on the way.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::answers::Answer;
use super::interaction::{Interaction, Shown, Site, Verdict};
use super::scripterror::ScriptError;

/// The most rounds of one job: a test that fails five times is no longer a slip.
pub const MOST_ROUNDS: u32 = 5;

/// A work point as a stage describes it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PointSpec {
    /// Its name; given by the word, not by the map.
    #[serde(default)]
    pub name: String,
    /// The circuit that feeds it.
    pub circuit: String,
    /// Its terminals, where cores are still in them.
    #[serde(default)]
    pub terminals: Vec<String>,
    /// Its core ends, where cores are parted: `C1.brown`.
    #[serde(default)]
    pub ends: Vec<String>,
    /// The switches that act on it.
    #[serde(default)]
    pub switches: Vec<String>,
    /// New cable, both ends in the work area, joined to nothing.
    #[serde(default)]
    pub unconnected: bool,
    /// Neutrals are parted, or about to be: the main switch is locked too.
    #[serde(default)]
    pub wide: bool,
}

/// What a signpost points to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sign {
    /// A circuit secured.
    Isolated,
    /// A circuit given back.
    Restored,
    /// The ceiling's coating cleared.
    CoatingClear,
    /// A mark looked at from every side.
    HoleClear,
}

impl Sign {
    /// The word of a stage.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Isolated => "isolated",
            Self::Restored => "restored",
            Self::CoatingClear => "coating_clear",
            Self::HoleClear => "hole_clear",
        }
    }
}

/// A place in the script that the world has to reach first.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Signpost {
    /// What it points to.
    pub what: Sign,
    /// The circuit or hole.
    pub about: String,
    /// The window it stands in.
    pub window: String,
    /// The round it stands in.
    pub round: u32,
    /// Index of its stage.
    pub stage: usize,
    /// Where it stands.
    pub site: Site,
}

/// A named stop.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StopSpec {
    /// Its code: `no-cpc`; given by the word.
    #[serde(default)]
    pub code: String,
    /// What was found, why it matters, and what is still possible.
    pub text: String,
    /// What to leave safe.
    pub leave_safe: String,
    /// Whom to ask, for what.
    pub call: String,
    /// Where the script stops.
    #[serde(skip)]
    pub site: Site,
}

/// The former answer to a key, whatever its digest.
#[derive(Debug, Clone, PartialEq)]
pub struct Former(pub Answer);

/// The first thing with no valid answer.
#[derive(Debug, Clone, PartialEq)]
pub enum Frontier {
    /// An interaction.
    Ask {
        /// What is asked.
        interaction: Box<Interaction>,
        /// Its digest.
        digest: String,
        /// The former answer, if there is one.
        former: Option<Former>,
        /// A done step whose figures moved: it is reviewed.
        review: bool,
    },
    /// A signpost.
    Signpost(Signpost),
    /// A named stop.
    Stop(StopSpec),
    /// The end of the job.
    Finish,
    /// The script failed.
    Broken(ScriptError),
}

/// An interaction passed with a valid answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Passed {
    /// What was asked.
    pub interaction: Interaction,
    /// What was answered.
    pub answer: Answer,
    /// Its digest.
    pub digest: String,
}

/// Answers for what the ledger leaves open, when looking ahead.
pub trait Oracle: Send {
    /// An answer, or nothing to stop here.
    fn answer(&mut self, interaction: &Interaction, digest: &str, latest: Option<&Answer>) -> Option<Answer>;
}

/// What a replay gives.
#[derive(Debug, Clone)]
pub struct Replay {
    /// The first thing with no valid answer.
    pub frontier: Frontier,
    /// Interactions passed, in order.
    pub trail: Vec<Passed>,
    /// Everything shown on the way.
    pub shown: Vec<Shown>,
    /// How much of it the last interaction passed has seen.
    pub shown_before: usize,
    /// The facts of the job so far.
    pub facts: Value,
    /// Verdicts on the trail.
    pub findings: BTreeMap<(String, String), Verdict>,
    /// Work points as described last.
    pub points: BTreeMap<String, PointSpec>,
    /// Index of the stage of the frontier.
    pub stage: usize,
    /// Window at the frontier.
    pub window: String,
    /// Round at the frontier.
    pub round: u32,
    /// Keys asked.
    pub asked: BTreeMap<String, Site>,
    /// Why the job went back, each time it did.
    pub returns: Vec<String>,
}
