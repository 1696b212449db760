//! What the ledger says about each key: the index that the replay looks answers up in.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::{Map, Value};

use crate::ledger::{Kind, Record};
use crate::moment::Moment;

/// One record about a key.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// Number of the record in the ledger, from 0.
    pub record: usize,
    /// When it was written.
    pub at: Moment,
    /// Who wrote it.
    pub person: String,
    /// What it says of the key.
    pub says: Says,
    /// Digest of the interaction it answers.
    pub digest: String,
    /// The record's whole body.
    pub body: Map<String, Value>,
}

/// What a record says of its key.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Says {
    /// A value was said.
    Value,
    /// It was done.
    Done,
    /// It could not be done, with a reason.
    CouldNot,
    /// It was unticked.
    Unticked,
}

impl Answer {
    /// The value said; null for a done thing.
    #[must_use]
    pub fn value(&self) -> &Value {
        self.body.get("value").unwrap_or(&Value::Null)
    }

    /// A text of the body; empty where there is none.
    #[must_use]
    pub fn text(&self, name: &str) -> &str {
        self.body.get(name).and_then(Value::as_str).unwrap_or("")
    }
}

/// All answers of a ledger by key, and which signposts were met.
#[derive(Debug, Clone, Default)]
pub struct Answers {
    by_key: BTreeMap<String, Vec<Answer>>,
    /// Signposts met, as [`sign`] writes them.
    pub met: BTreeSet<String>,
}

/// The text under which a signpost is remembered: what, about what, in which window and round.
#[must_use]
pub fn sign(what: &str, about: &str, window: &str, round: u32) -> String {
    format!("{what} {about} in {window}@{round}")
}

impl Answers {
    /// Reads the answers out of a ledger's records.
    #[must_use]
    pub fn of(records: &[Record]) -> Self {
        let mut answers = Self::default();
        for (number, record) in records.iter().enumerate() {
            let unticked = record.body.get("untick") == Some(&Value::Bool(true));
            let says = match record.kind {
                Kind::Amended if unticked => Says::Unticked,
                Kind::Said | Kind::Amended => Says::Value,
                Kind::Done => Says::Done,
                Kind::CouldNot => Says::CouldNot,
                _ => continue,
            };
            let digest = record.body.get("digest").and_then(Value::as_str).unwrap_or("").to_owned();
            answers.by_key.entry(record.key.clone()).or_default().push(Answer {
                record: number,
                at: record.at,
                person: record.person.clone(),
                says,
                digest,
                body: record.body.clone(),
            });
        }
        answers
    }

    /// The latest record of a key.
    #[must_use]
    pub fn latest(&self, key: &str) -> Option<&Answer> {
        self.by_key.get(key)?.last()
    }

    /// Whether a key was done at some time, whatever was said of it since.
    #[must_use]
    pub fn was_done(&self, key: &str) -> bool {
        self.by_key.get(key).is_some_and(|all| all.iter().any(|answer| answer.says == Says::Done))
    }

    /// The latest value said for a key under this digest, unless the key was unticked since.
    #[must_use]
    pub fn said(&self, key: &str, digest: &str) -> Option<&Answer> {
        let all = self.by_key.get(key)?;
        let since = all.iter().rposition(|answer| answer.says == Says::Unticked).map_or(0, |at| at + 1);
        all[since..].iter().rev().find(|answer| answer.says == Says::Value && answer.digest == digest)
    }

    /// The keys that have any record.
    pub fn keys(&self) -> impl Iterator<Item = &str> {
        self.by_key.keys().map(String::as_str)
    }
}
