//! The gate: what stands between a person and a conductor that may be live.
//!
//! The default is *live*. Nothing but fresh evidence raises a level, one rung at a time; every doubt lowers it. Scripts
//! say what a step puts at risk ([`Risk`]); the gate alone says whether that may be done now ([`demand`]) and which one
//! piece of evidence it wants next ([`Ask`]). There is no override.
//!
//! The whole of it is one machine without a clock, a file or a script: [`World::apply`] takes what was recorded, in order,
//! and [`World::at`] lets time pass. [`examine`] turns what a person typed into [`Evidence`].
//!
//! *Levels.* Every circuit has a ladder of its own, and so have the whole installation ([`MAIN_SWITCH`]) and the circuits
//! that may run in the ceiling void ([`VOID`]). A circuit is as safe as the better of its own ladder and the main switch's.
//! While the lock is in doubt, all read UNKNOWN.
//!
//! *Proof* belongs to a work point as it was described, and ends. A demotion of any kind clears every proof.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

mod demand;
mod evidence;
mod happening;
mod limits;
mod point;
mod taking;
mod words;
mod world;

#[cfg(test)]
mod tests;

pub use demand::{demand, signpost, trouble};
pub use evidence::{Evidence, Problem, examine};
pub use happening::Happening;
pub use limits::*;
pub use point::Point;
pub use world::{Duty, NotAllowed, Stop, World};

/// The reserved name of the whole installation, isolated at its double-pole main switch.
pub const MAIN_SWITCH: &str = "main switch";

/// The reserved name of the circuits that may run in the void above the ceiling.
pub const VOID: &str = "void";

/// How far a circuit has been made safe. *Off* is not isolation; only SECURED is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub enum Level {
    /// Treated as live.
    #[default]
    Unknown,
    /// The device that feeds the circuit was found by trial, not by its label.
    Identified,
    /// That device was opened, and everybody was told.
    Off,
    /// It can't be closed by anybody but the person who works.
    Secured,
}

impl Level {
    /// The level as the screen says it.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Unknown => "UNKNOWN",
            Self::Identified => "IDENTIFIED",
            Self::Off => "OFF",
            Self::Secured => "SECURED",
        }
    }
}

/// How the supply comes back. Each way has its guard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Return {
    /// No core was loosened since the circuit went off.
    #[serde(rename = "unaltered")]
    Unaltered,
    /// Every core is back in its recorded place; the new cable stays capped.
    #[serde(rename = "remade as found")]
    RemadeAsFound,
    /// The circuit was changed, and tested dead.
    #[serde(rename = "altered")]
    Altered,
    /// The main switch closes for the rest of the home; the circuit in hand stays locked at its own device.
    #[serde(rename = "others")]
    Others,
}

impl Return {
    /// All ways, in order.
    pub const ALL: [Self; 4] = [Self::Unaltered, Self::RemadeAsFound, Self::Altered, Self::Others];

    /// The word or words of a script.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Unaltered => "unaltered",
            Self::RemadeAsFound => "remade as found",
            Self::Altered => "altered",
            Self::Others => "others",
        }
    }

    /// The way that these words name.
    #[must_use]
    pub fn from_words(words: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|how| how.words() == words)
    }
}

/// What a step puts at risk. Each has its gate.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "risk", deny_unknown_fields)]
pub enum Risk {
    /// Hands on the conductors of a work point.
    Conductors {
        /// The point as it is described now.
        point: Point,
        /// They are looked at or measured; no core is loosened.
        unmoved: bool,
    },
    /// A pilot hole through the ceiling.
    Probe {
        /// The tag of its mark.
        hole: String,
    },
    /// A hole cut through the ceiling.
    Cut {
        /// The tag of its mark.
        hole: String,
    },
    /// Anything that breaks, scrapes or sands the face of the ceiling.
    Coating,
    /// A hole or notch in a joist.
    Timber {
        /// The tag of its mark.
        hole: String,
    },
    /// Work off the floor.
    Height,
    /// Work above the ceiling.
    Loft,
    /// Work that makes dust.
    Dust,
    /// A reading that needs a live contact.
    LiveReading,
    /// The supply comes back.
    Restore {
        /// The circuit, or [`MAIN_SWITCH`].
        circuit: String,
        /// In which way.
        how: Return,
    },
}

/// A place where a stage may not be passed until the world has reached a state.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Sign {
    /// A circuit is SECURED.
    Isolated {
        /// The circuit, [`MAIN_SWITCH`] or [`VOID`].
        circuit: String,
    },
    /// A circuit was given back.
    Restored {
        /// The circuit, [`MAIN_SWITCH`] or [`VOID`].
        circuit: String,
    },
    /// The coating of the ceiling is no danger.
    CoatingClear,
    /// A mark was looked at from every side.
    HoleClear {
        /// The tag of the mark.
        hole: String,
    },
}

/// What the caller knows from the plan. The gate keeps none of it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Scene {
    /// Every work point as it is described now, by name.
    pub points: BTreeMap<String, Point>,
    /// Minutes that the step takes.
    pub minutes: f64,
    /// Minutes that the stage still needs, this step included; 0 where the plan has none.
    pub stage_minutes: f64,
    /// The latest verdict on the trail of each reading `(what, of)`: whether it passed. A pilot hole that was drilled
    /// counts as `("pilot", hole)`.
    pub findings: BTreeMap<(String, String), bool>,
}

/// What the gate says to a risk or a signpost.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Demand {
    /// It may be done now.
    Open,
    /// First this piece of evidence; then ask again.
    Ask(Ask),
    /// It can't be met from here.
    Refused(Refusal),
}

/// Why something may not be done at all as things stand, and what to do instead.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refusal {
    /// What is not allowed, and why.
    pub text: String,
    /// What to do.
    pub instead: String,
}

/// A piece of evidence that the gate wants: one prompt, with one answer for each field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ask {
    /// What it is about.
    pub piece: Piece,
    /// What has to be done and looked at.
    pub text: String,
    /// Why.
    pub why: String,
    /// A danger that has to be read before, or empty.
    pub danger: String,
    /// What is to be answered, in order.
    pub fields: Vec<Field>,
}

impl Ask {
    /// The key of this prompt in transcripts and rehearsals, as in `gate.read/rose/2`.
    #[must_use]
    pub fn key(&self) -> String {
        self.piece.key()
    }
}

/// One answer within a piece of evidence.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Field {
    /// The name it is stored under.
    pub name: String,
    /// The question.
    pub text: String,
    /// What may be answered.
    pub form: Form,
    /// What it means, and what to do, when the answer is not the one that is wanted.
    pub otherwise: String,
}

/// What may be answered to a field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Form {
    /// `yes` or `no`.
    YesNo,
    /// One of these, by number or in full.
    OneOf {
        /// What may be answered.
        options: &'static [&'static str],
        /// How many of them, from the first, lead on.
        leading_on: usize,
    },
    /// A few words: a name, a list, a report number.
    Text,
    /// A voltage as the instrument shows it, or `none` for no indication.
    Volts,
}

/// What a piece of evidence is about.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "kind", deny_unknown_fields)]
pub enum Piece {
    /// The device that feeds a circuit was found by trial.
    Identify {
        /// The circuit.
        circuit: String,
    },
    /// That device was left open, and everybody told.
    Off {
        /// The circuit.
        circuit: String,
    },
    /// That device can't be closed by anybody else.
    Secure {
        /// The circuit.
        circuit: String,
        /// The main switch is secured as well, so that a shared neutral is no reason to refuse.
        backed: bool,
    },
    /// The lock was looked at again.
    LockSeen,
    /// After a power cut, mains was seen to be present.
    MainsSeen,
    /// The cover of a work point comes off, for the test only.
    Open {
        /// The point.
        point: Point,
    },
    /// The cover of a work point is back on, or every end capped.
    Cover {
        /// The name of the point.
        point: String,
    },
    /// The detector was proved on a known source, before the readings.
    ProveFirst {
        /// The whole home is off, so that only a proving unit is a known source.
        whole_off: bool,
    },
    /// The pairs of a point were read in one position of its switches.
    Read {
        /// The point.
        point: Point,
        /// Which round this is, from 1; the first is as found, then each switch is moved once and left there.
        position: usize,
        /// The short repeat proof: each live end to earth and neutral, once.
        short: bool,
    },
    /// The same detector was proved again, after the readings.
    ProveAgain {
        /// The detector that the readings were taken with.
        detector: String,
    },
    /// New cable is joined to nothing.
    Unconnected {
        /// The point.
        point: Point,
    },
    /// The coating of the ceiling is no danger.
    Coating,
    /// What is stood on.
    Height {
        /// A drill will be held overhead.
        drilling: bool,
    },
    /// A rest from work overhead.
    Rest,
    /// The way through the loft.
    Loft,
    /// Eyes and lungs are covered.
    Dust,
    /// Both faces of the timber and what lies behind were seen.
    Faces {
        /// The tag of the mark.
        hole: String,
    },
    /// Who takes readings on live contacts.
    Tester,
    /// A circuit is given back.
    Restore {
        /// The circuit.
        circuit: String,
        /// In which way.
        how: Return,
    },
}

impl Piece {
    /// The key of its prompt: `gate.identify/lighting`, `gate.read/rose/2`.
    #[must_use]
    pub fn key(&self) -> String {
        match self {
            Self::Identify { circuit } => format!("gate.identify/{circuit}"),
            Self::Off { circuit } => format!("gate.off/{circuit}"),
            Self::Secure { circuit, .. } => format!("gate.secure/{circuit}"),
            Self::LockSeen => "gate.lock_seen".to_owned(),
            Self::MainsSeen => "gate.mains_seen".to_owned(),
            Self::Open { point } => format!("gate.open/{}", point.name),
            Self::Cover { point } => format!("gate.cover/{point}"),
            Self::ProveFirst { .. } => "gate.prove_first".to_owned(),
            Self::Read { point, position, .. } => format!("gate.read/{}/{position}", point.name),
            Self::ProveAgain { .. } => "gate.prove_again".to_owned(),
            Self::Unconnected { point } => format!("gate.unconnected/{}", point.name),
            Self::Coating => "gate.coating".to_owned(),
            Self::Height { .. } => "gate.height".to_owned(),
            Self::Rest => "gate.rest".to_owned(),
            Self::Loft => "gate.loft".to_owned(),
            Self::Dust => "gate.dust".to_owned(),
            Self::Faces { hole } => format!("gate.faces/{hole}"),
            Self::Tester => "gate.tester".to_owned(),
            Self::Restore { circuit, .. } => format!("gate.restore/{circuit}"),
        }
    }
}

/// What the gate takes from the ledger, record by record.
#[derive(Debug, Clone, PartialEq)]
pub enum Event {
    /// The job was begun.
    Begun,
    /// The program was started again.
    Resumed,
    /// A piece of evidence.
    Evidence(Evidence),
    /// A step with a risk was started.
    Started {
        /// Its key.
        key: String,
        /// Its risks.
        risks: Vec<Risk>,
        /// The minutes it takes.
        minutes: f64,
    },
    /// A step was done.
    Done {
        /// Its key.
        key: String,
        /// Its risks.
        risks: Vec<Risk>,
        /// Duties that it opens, as (name, how to close it).
        opens: Vec<(String, String)>,
        /// Names of duties that it closes.
        closes: Vec<String>,
    },
    /// A step can't be done.
    CouldNot {
        /// Its key.
        key: String,
    },
    /// Something happened.
    Reported(Happening),
    /// Somebody was not sure, elsewhere than at a question.
    Unsure,
    /// The person named on the record releases a stop.
    Released,
    /// The person named on the record takes the work over.
    TakenOver,
    /// A record that says nothing to the gate.
    Nothing,
    /// A record that the gate can't read. It lowers all levels to UNKNOWN.
    Unknown(String),
}

/// What stands before everything else that the plan wants.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trouble {
    /// Which trouble it is.
    pub kind: TroubleKind,
    /// What is the matter, and what not to do.
    pub text: String,
    /// Why.
    pub why: String,
    /// The pieces of evidence that lead on, the best first. A stop has, beside these, its release by name.
    pub offers: Vec<Ask>,
}

/// The troubles, the first of which goes before the others.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum TroubleKind {
    /// The work is stopped until somebody releases it by name.
    Stopped,
    /// Nobody has seen the lock since something happened.
    LockInDoubt,
    /// Conductors are exposed, and nothing says that they are dead. Hands off.
    Exposed {
        /// The work point.
        point: String,
    },
}
