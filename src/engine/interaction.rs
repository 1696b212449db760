//! Interactions: what a stage asks of the person, exactly as it is meant.
//!
//! An interaction is made by the script host, carried through the replay, and compared by its digest: text, options,
//! limits, computed figures, and everything drawn since the interaction before. Whatever depends only on the screen or
//! the moment (width, colour, "step n of about N", the time a proof lasts) is kept out of it.

use serde::{Deserialize, Serialize};
use serde_json::Value;
use sha2::{Digest as _, Sha256};

use crate::quantity::Dimension;

/// Where in a script a word was called.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Site {
    /// File name within the bundle: `mark.rhai`, `lib/isolation`.
    pub file: String,
    /// Line, from 1; 0 where unknown.
    pub line: usize,
    /// Column in characters, from 1; 0 where unknown.
    pub column: usize,
}

/// A warning that stands before its step.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Caution {
    /// `DANGER`, `WARNING` or `CAUTION`; `WARNING` where the script says nothing.
    #[serde(default = "warning")]
    pub signal: Signal,
    /// What is dangerous.
    pub hazard: String,
    /// What it does to you.
    pub consequence: String,
    /// What to do about it.
    pub avoid: String,
}

fn warning() -> Signal {
    Signal::Warning
}

/// How bad a hazard is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "UPPERCASE")]
pub enum Signal {
    /// Kills or maims.
    Danger,
    /// May kill or maim.
    Warning,
    /// Hurts.
    Caution,
}

impl Signal {
    /// The signal word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Danger => "DANGER",
            Self::Warning => "WARNING",
            Self::Caution => "CAUTION",
        }
    }
}

/// What a step puts at risk; the gate decides what each needs.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "risk", deny_unknown_fields)]
pub enum Hazardous {
    /// Hands on conductors of a work point. `unmoved`: looked at or measured, no core loosened.
    Conductors {
        /// The work point.
        point: String,
        /// No core is loosened.
        #[serde(default)]
        unmoved: bool,
    },
    /// A small hole into the void at a mark.
    Probe {
        /// Tag of the hole.
        hole: String,
    },
    /// A hole cut.
    Cut {
        /// Tag of the hole.
        hole: String,
    },
    /// The ceiling's face is broken, scraped or sanded.
    Coating,
    /// A hole through a joist.
    Timber {
        /// Tag of the hole.
        hole: String,
    },
    /// Work off the ground.
    Height,
    /// Work in a loft.
    Loft,
    /// Dust.
    Dust,
    /// A reading on live parts, by the named tester only.
    LiveReading,
    /// The supply comes back.
    Restore {
        /// The circuit.
        circuit: String,
        /// `unaltered`, `remade as found` or `altered`.
        how: String,
    },
}

/// A duty: something opened that has to be closed again.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Duty {
    /// What is open: `smoke alarm`.
    pub name: String,
    /// The words that close it: `Uncover the smoke alarm and press its test button.`
    pub closing: String,
}

/// A step: one action.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Step {
    /// Cautions, each before the step.
    pub cautions: Vec<Caution>,
    /// Tools by trade term.
    pub tools: Vec<String>,
    /// Materials by trade term.
    pub materials: Vec<String>,
    /// How long it takes, in minutes.
    pub minutes: f64,
    /// What it puts at risk.
    pub risk: Vec<Hazardous>,
    /// Duties it opens.
    pub opens: Vec<Duty>,
    /// Names of duties it closes.
    pub closes: Vec<String>,
    /// How many people it needs.
    pub people: u32,
    /// Where the person is.
    pub place: Place,
}

/// Where the person stands while answering; decides what may be asked there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Place {
    /// At a table: typing is fine.
    #[default]
    Table,
    /// On the floor or at the board: short figures.
    Ground,
    /// Up a platform, in a loft: one figure or letter.
    Up,
}

/// What kind of value a question takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Form {
    /// A length in metres.
    Length,
    /// A whole number.
    Count,
    /// A number with the question's unit.
    Amount,
    /// One of the options.
    OneOf,
    /// Yes or no.
    YesNo,
    /// Free text.
    Text,
    /// A name.
    Name,
}

/// A question.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Question {
    /// What kind of value.
    pub form: Form,
    /// Least value, in the base unit.
    pub least: Option<f64>,
    /// Most value, in the base unit.
    pub most: Option<f64>,
    /// Unit of an amount.
    pub unit: String,
    /// Options of a choice of words.
    pub options: Vec<String>,
    /// Why it is asked.
    pub why: String,
    /// A typical answer, for looking ahead.
    pub sample: Value,
    /// The job cannot go on without a definite answer.
    pub must: bool,
    /// Where the person is.
    pub place: Place,
}

/// What a reading is judged against.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Limit {
    /// What it should be.
    pub expected: Option<f64>,
    /// Below this: look again.
    pub low: Option<f64>,
    /// Above this: look again.
    pub high: Option<f64>,
    /// Below this: fail.
    pub least: Option<f64>,
    /// Above this: fail.
    pub most: Option<f64>,
    /// Unit of the figures.
    pub unit: String,
    /// Where they come from.
    pub source: String,
}

/// An instrument's value, to be read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// What is read: `continuity`, `insulation`, `polarity`, `sweep` …
    pub what: String,
    /// Unit of the figure; empty for a reading in words (`correct`, `clear`).
    pub unit: String,
    /// With which instrument, how.
    pub method: String,
    /// What it is judged against; none for a plain record.
    pub limit: Option<Limit>,
    /// Words that pass, and words that fail, for a reading in words: the first passes.
    pub options: Vec<String>,
    /// What happens when it fails.
    pub on_fail: String,
    /// A reading may be left open for a named tester.
    pub may_stay_open: bool,
    /// Cautions before it.
    pub cautions: Vec<Caution>,
    /// Tools by trade term.
    pub tools: Vec<String>,
    /// What taking it puts at risk.
    pub risk: Vec<Hazardous>,
    /// How long it takes, in minutes.
    pub minutes: f64,
    /// A typical value, for looking ahead.
    pub sample: Value,
    /// Where the person is.
    pub place: Place,
}

/// The verdict on a reading; computed, never typed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Within its criterion.
    Pass,
    /// Not where it was expected, and within the limit.
    LookAgain,
    /// Outside its criterion.
    Fail,
    /// Not taken; a named tester will.
    Open,
    /// A record without a criterion.
    Noted,
}

impl Verdict {
    /// The verdict in words.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::LookAgain => "look again",
            Self::Fail => "fail",
            Self::Open => "open",
            Self::Noted => "noted",
        }
    }
}

/// What an interaction asks for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "kind")]
pub enum Kind {
    /// One action.
    Step(Step),
    /// A value.
    Question(Question),
    /// One of several computed things; the record holds it whole.
    Choice {
        /// What can be chosen.
        among: Vec<Value>,
    },
    /// An instrument's value.
    Reading(Box<Reading>),
    /// A pause point, or the hand-over: every item is answered.
    Pause {
        /// The items.
        items: Vec<String>,
        /// The hand-over, which ends the job.
        hand_over: bool,
    },
    /// Something outside is waited for.
    Wait {
        /// Its code: `W-sample`.
        code: String,
        /// Who is waited for.
        who: String,
    },
    /// A duty still open, to be closed before the end.
    Duty {
        /// The duty's name.
        name: String,
    },
}

/// Several rows at one place, shown together; each row is an interaction of its own.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Card {
    /// What the card is about: `H1`.
    pub tag: String,
    /// The texts of all rows.
    pub rows: Vec<String>,
    /// Which row this is.
    pub at: usize,
}

/// One interaction as it is meant.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Interaction {
    /// Full key: window, key, tag, round — `look:off.tell`, `cut/H3`, `insulation@2`.
    pub key: String,
    /// What the person is told.
    pub text: String,
    /// The thing it is about, where there are several.
    pub of: String,
    /// What is asked for.
    #[serde(flatten)]
    pub kind: Kind,
    /// Where the script calls it. Not part of the digest.
    #[serde(skip)]
    pub site: Site,
    /// The card it is a row of. Not part of the digest.
    #[serde(skip)]
    pub card: Option<Card>,
    /// Index of its stage. Not part of the digest.
    #[serde(skip)]
    pub stage: usize,
    /// Window it belongs to; empty outside windows. Part of the key already.
    #[serde(skip)]
    pub window: String,
    /// Round it belongs to, from 1. Part of the key already.
    #[serde(skip)]
    pub round: u32,
}

impl Interaction {
    /// Whether an answer is a *done* thing (step, pause point, wait, duty) and no said value.
    #[must_use]
    pub fn is_done_kind(&self) -> bool {
        matches!(self.kind, Kind::Step(_) | Kind::Pause { .. } | Kind::Wait { .. } | Kind::Duty { .. })
    }

    /// What it puts at risk.
    #[must_use]
    pub fn risk(&self) -> &[Hazardous] {
        match &self.kind {
            Kind::Step(step) => &step.risk,
            Kind::Reading(reading) => &reading.risk,
            _ => &[],
        }
    }

    /// Minutes it is meant to take.
    #[must_use]
    pub fn minutes(&self) -> f64 {
        match &self.kind {
            Kind::Step(step) => step.minutes,
            Kind::Reading(reading) => reading.minutes,
            _ => 0.0,
        }
    }

    /// Cautions that stand before it.
    #[must_use]
    pub fn cautions(&self) -> &[Caution] {
        match &self.kind {
            Kind::Step(step) => &step.cautions,
            Kind::Reading(reading) => &reading.cautions,
            _ => &[],
        }
    }

    /// Tools and materials it needs.
    pub fn kit(&self) -> impl Iterator<Item = &str> {
        let (tools, materials): (&[String], &[String]) = match &self.kind {
            Kind::Step(step) => (&step.tools, &step.materials),
            Kind::Reading(reading) => (&reading.tools, &[]),
            _ => (&[], &[]),
        };
        tools.iter().chain(materials).map(String::as_str)
    }

    /// Where the person is while answering.
    #[must_use]
    pub fn place(&self) -> Place {
        match &self.kind {
            Kind::Step(step) => step.place,
            Kind::Question(question) => question.place,
            Kind::Reading(reading) => reading.place,
            _ => Place::Ground,
        }
    }

    /// Whether the world changes when it is begun, so that its start is recorded apart from its end.
    #[must_use]
    pub fn has_start(&self) -> bool {
        matches!(self.kind, Kind::Step(_))
            && self.risk().iter().any(|risk| {
                matches!(
                    risk,
                    Hazardous::Conductors { .. }
                        | Hazardous::Probe { .. }
                        | Hazardous::Cut { .. }
                        | Hazardous::Timber { .. }
                        | Hazardous::Restore { .. }
                )
            })
    }
}

/// Something drawn, shown or computed on the way, part of the next interaction's digest.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "shown")]
pub enum Shown {
    /// The ceiling plan, as the drawing takes it.
    Plan {
        /// The drawing's input.
        drawing: Value,
    },
    /// The chain of cable lengths.
    Chain {
        /// The drawing's input.
        drawing: Value,
    },
    /// A junction: what is, or what is to be.
    Junction {
        /// The drawing's input.
        drawing: Value,
    },
    /// A table.
    Table {
        /// Its title.
        title: String,
        /// Column heads.
        columns: Vec<String>,
        /// Rows of cells.
        rows: Vec<Vec<String>>,
    },
    /// A computed figure with its limit and source.
    Finding {
        /// The finding, as its calculator gives it.
        finding: Value,
    },
    /// Plain words.
    Say {
        /// The words.
        text: String,
    },
    /// One of the emergency or information cards.
    Card {
        /// Its name.
        name: String,
    },
}

/// The digest of an interaction and what was shown since the one before: 16 hexadecimal digits.
#[must_use]
pub fn digest(interaction: &Interaction, shown: &[Shown]) -> String {
    let canonical = canonical(&serde_json::json!([interaction, shown]));
    hex(&Sha256::digest(canonical.as_bytes()))[..16].to_owned()
}

/// A JSON tree as canonical text: keys sorted, numbers to six decimals, so that equal meaning gives equal bytes.
#[must_use]
pub fn canonical(value: &Value) -> String {
    match value {
        Value::Object(entries) => {
            let mut keys: Vec<_> = entries.iter().collect();
            keys.sort_by(|a, b| a.0.cmp(b.0));
            let inner: Vec<_> =
                keys.iter().map(|(key, value)| format!("{}:{}", Value::from(key.as_str()), canonical(value))).collect();
            format!("{{{}}}", inner.join(","))
        }
        Value::Array(items) => format!("[{}]", items.iter().map(canonical).collect::<Vec<_>>().join(",")),
        Value::Number(number) => match number.as_f64() {
            Some(value) if value.fract() == 0.0 && value.abs() < 1e15 => format!("{value:.0}"),
            Some(value) => format!("{value:.6}"),
            None => number.to_string(),
        },
        other => other.to_string(),
    }
}

/// Bytes in hexadecimal.
#[must_use]
pub fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// The dimension of a unit as scripts write it; a plain number where the unit is empty or unknown.
#[must_use]
pub fn dimension_of(unit: &str) -> Dimension {
    Dimension::of_unit(unit).map_or(Dimension::Number, |(dimension, _)| dimension)
}
