//! Rehearsal files: a whole job written down beforehand, walked without a prompt on a clock of its own.
//!
//! The file is ordered. Each reply names the key that the job must be at; an event stands between two replies and
//! happens as soon as the one before it was given, or when the job reaches the key that its `at` names.

use serde::Deserialize;
use serde_json::Value;
use toml::Spanned;

use crate::moment::Moment;

/// A rehearsal file.
#[derive(Debug, Clone, PartialEq)]
pub struct Rehearsal {
    /// The procedure that it walks.
    pub procedure: String,
    /// When it begins, on its own clock.
    pub begins: Moment,
    /// Who does the work.
    pub person: String,
    /// How it ends, as meant.
    pub ends: String,
    /// Replies and events, in the order of the file.
    pub lines: Vec<Line>,
}

/// A reply or an event, with its line in the file.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Line in the file, from 1.
    pub number: usize,
    /// What it is.
    pub entry: Entry,
}

/// What a line of a rehearsal says.
#[derive(Debug, Clone, PartialEq)]
pub enum Entry {
    /// A reply to a key.
    Reply(Reply),
    /// Something that happens.
    Event(Event),
}

/// A reply.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reply {
    /// The key that the job must be at.
    pub to: String,
    /// What is typed; a list for evidence with several fields.
    #[serde(default)]
    pub value: Value,
    /// How long it takes; else the step's own minutes.
    pub minutes: Option<f64>,
    /// It is meant to be refused; nothing is recorded, and the job asks again.
    #[serde(default)]
    pub refused: bool,
}

/// Something that happens between two replies.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Event {
    /// What happens, in the words of the side words.
    pub what: String,
    /// How long it takes.
    #[serde(default)]
    pub minutes: f64,
    /// The key that the job must have reached, if not at once.
    #[serde(default)]
    pub at: String,
    /// With `at`: after the step there was started.
    #[serde(default)]
    pub started: bool,
    /// The key of an earlier answer, for `change` and `untick`.
    #[serde(default)]
    pub key: String,
    /// The new value of a changed answer, the text of a note, the name of a person.
    #[serde(default)]
    pub value: String,
}

/// A rehearsal file that could not be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{message}")]
pub struct RehearsalError {
    /// What is wrong, with its line.
    pub message: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    procedure: String,
    begins: Moment,
    person: String,
    ends: String,
    #[serde(default)]
    reply: Vec<Spanned<Reply>>,
    #[serde(default)]
    event: Vec<Spanned<Event>>,
}

impl Rehearsal {
    /// Reads a rehearsal file.
    ///
    /// # Errors
    /// [`RehearsalError`] with line, key and what was expected.
    pub fn read(text: &str) -> Result<Self, RehearsalError> {
        let file: File = toml::from_str(text)
            .map_err(|error| RehearsalError { message: error.to_string().trim_end().to_owned() })?;
        let line_of = |at: usize| text[..at.min(text.len())].matches('\n').count() + 1;
        let replies =
            file.reply.into_iter().map(|reply| (line_of(reply.span().start), Entry::Reply(reply.into_inner())));
        let events =
            file.event.into_iter().map(|event| (line_of(event.span().start), Entry::Event(event.into_inner())));
        let mut lines: Vec<_> = replies.chain(events).map(|(number, entry)| Line { number, entry }).collect();
        lines.sort_by_key(|line| line.number);
        Ok(Self { procedure: file.procedure, begins: file.begins, person: file.person, ends: file.ends, lines })
    }
}

impl Reply {
    /// What is typed, field by field.
    #[must_use]
    pub fn typed(&self) -> Vec<String> {
        let word = |value: &Value| value.as_str().map_or_else(|| value.to_string(), str::to_owned);
        match &self.value {
            Value::Null => Vec::new(),
            Value::Array(items) => items.iter().map(word).collect(),
            one => vec![word(one)],
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn replies_and_events_keep_the_order_of_the_file() {
        let text = "procedure = \"p\"\nbegins = \"2026-03-02T09:00\"\nperson = \"A\"\nends = \"finished\"\n\
            [[reply]]\nto = \"a\"\nvalue = \"4.2 m\"\n[[event]]\nwhat = \"leaving\"\nminutes = 45\n\
            [[reply]]\nto = \"b\"\nvalue = [\"y\", \"n\"]\n";
        let rehearsal = Rehearsal::read(text).unwrap();
        let numbers: Vec<_> = rehearsal.lines.iter().map(|line| line.number).collect();
        assert_eq!(numbers, [5, 8, 11]);
        assert!(matches!(&rehearsal.lines[1].entry, Entry::Event(event) if event.minutes == 45.0));
        assert!(matches!(&rehearsal.lines[2].entry, Entry::Reply(reply) if reply.typed() == ["y", "n"]));
    }

    #[test]
    fn a_wrong_key_is_named_with_its_line() {
        let error = Rehearsal::read("procedure = \"p\"\nbegin = 1\n").unwrap_err();
        assert!(error.message.contains("begin") && error.message.contains('2'), "{error}");
    }
}
