//! Records and how they are written: fixed order of fields, one line per field, the hash last.
//!
//! The writer is our own because the chain is taken over raw bytes: a library that changes how it lays out a value must
//! not be able to change what an old ledger says.

use std::fmt::{self, Write};

use serde_json::{Map, Value};
use sha2::{Digest, Sha256};

use super::error::LedgerError;
use crate::moment::Moment;

/// The number of the file format that this version writes. The header's layout and its hash are the same in every
/// format, so that a newer ledger can be told from a damaged one.
pub const FORMAT: u64 = 1;

/// The longest record, in bytes as written, that the ledger takes: 1 MiB.
pub const RECORD_BYTES_MAX: usize = 1 << 20;

/// How many lists and tables may lie within each other in a body. The TOML reader gives up at 80.
const DEPTH_MAX: usize = 32;

/// The first line of a ledger.
pub(super) const HEADER_MARK: &str = "[ledger]\n";
/// How every record begins: an empty line for the human eye, then the table's name.
pub(super) const RECORD_MARK: &str = "\n[[record]]\n";
/// Length in bytes of a hash line: `hash = "`, 64 hexadecimal digits, `"` and the end of the line.
pub(super) const HASH_LINE_BYTES: usize = 74;

/// The fields that every record has; a body may not use their names.
const FIELDS: [&str; 5] = ["kind", "at", "person", "key", "hash"];

/// What a ledger is kept for. It is part of the header and so seeds the chain; nothing turns one kind into another.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum RunKind {
    /// Work in a real room.
    Job,
    /// A run answered from a file.
    Rehearsal,
    /// Training on a simulated house.
    Drill,
}

impl RunKind {
    const ALL: [Self; 3] = [Self::Job, Self::Rehearsal, Self::Drill];

    /// The word in the file.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Job => "job",
            Self::Rehearsal => "rehearsal",
            Self::Drill => "drill",
        }
    }

    fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|run| run.word() == word)
    }
}

impl fmt::Display for RunKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// What a ledger was begun with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Header {
    /// What the ledger is kept for.
    pub run: RunKind,
    /// Name of the procedure.
    pub procedure: String,
    /// Digest of the procedure's scripts, hexadecimal.
    pub scripts: String,
    /// Digest of the modules that they import, hexadecimal.
    pub modules: String,
    /// Digest of the facts, hexadecimal.
    pub facts: String,
}

/// What a record says happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// The run was begun.
    Begun,
    /// The run was taken up again.
    Resumed,
    /// A question, a choice or a reading was answered.
    Said,
    /// A step with a risk or a wait was started.
    Started,
    /// A step was done.
    Done,
    /// A step could not be done.
    CouldNot,
    /// An earlier answer was changed, or an earlier step unticked.
    Amended,
    /// A piece of evidence was given to the gate.
    Evidence,
    /// Something happened that bears on safety.
    Reported,
    /// A step was left in doubt.
    Unsure,
    /// A person handed the work over.
    Released,
    /// A person took the work over.
    TakenOver,
    /// A remark.
    Noted,
    /// The run was stopped.
    Stopped,
    /// The run came to its end.
    Finished,
}

impl Kind {
    /// Every kind, in the order in which they are declared.
    pub const ALL: [Self; 15] = [
        Self::Begun,
        Self::Resumed,
        Self::Said,
        Self::Started,
        Self::Done,
        Self::CouldNot,
        Self::Amended,
        Self::Evidence,
        Self::Reported,
        Self::Unsure,
        Self::Released,
        Self::TakenOver,
        Self::Noted,
        Self::Stopped,
        Self::Finished,
    ];

    /// The word or words in the file.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Begun => "begun",
            Self::Resumed => "resumed",
            Self::Said => "said",
            Self::Started => "started",
            Self::Done => "done",
            Self::CouldNot => "could not",
            Self::Amended => "amended",
            Self::Evidence => "evidence",
            Self::Reported => "reported",
            Self::Unsure => "unsure",
            Self::Released => "released",
            Self::TakenOver => "taken over",
            Self::Noted => "noted",
            Self::Stopped => "stopped",
            Self::Finished => "finished",
        }
    }

    fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// One entry of a ledger.
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    /// What happened.
    pub kind: Kind,
    /// When, on the job's own clock.
    pub at: Moment,
    /// Who entered it.
    pub person: String,
    /// What it is about; may be empty.
    pub key: String,
    /// Everything else. The ledger does not look into it. It may not use the names `kind`, `at`, `person`, `key` and
    /// `hash`, nor hold an empty (null) value at any depth.
    pub body: Map<String, Value>,
}

/// The hash up to which a ledger has been followed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Chain([u8; 32]);

impl Chain {
    /// Where every chain starts, before the header.
    pub(super) fn start() -> Self {
        Self(Sha256::digest(b"lampwright ledger").into())
    }

    /// The chain after a block, given the block's raw bytes up to its hash line.
    pub(super) fn after(self, block: &[u8]) -> Self {
        Self(Sha256::new().chain_update(self.0).chain_update(block).finalize().into())
    }

    /// The line that ends the block.
    pub(super) fn line(self) -> String {
        let mut line = String::with_capacity(HASH_LINE_BYTES);
        line.push_str("hash = \"");
        for byte in self.0 {
            push(&mut line, format_args!("{byte:02x}"));
        }
        line.push_str("\"\n");
        line
    }
}

/// Whether a line has the form of a hash line, whatever stands where its digits belong.
pub(super) fn is_hash_line(line: &[u8]) -> bool {
    line.len() == HASH_LINE_BYTES && line.starts_with(b"hash = \"") && line.ends_with(b"\"\n")
}

/// The header as written, and the chain that it starts.
pub(super) fn encode_header(header: &Header) -> Result<(String, Chain), LedgerError> {
    let mut text = HEADER_MARK.to_owned();
    push(&mut text, format_args!("format = {FORMAT}\n"));
    push_field(&mut text, "run", header.run.word());
    push_field(&mut text, "procedure", &header.procedure);
    push_field(&mut text, "scripts", &header.scripts);
    push_field(&mut text, "modules", &header.modules);
    push_field(&mut text, "facts", &header.facts);
    close(text, Chain::start())
}

/// A record as written after everything up to `chain`, and the chain after it.
pub(super) fn encode(record: &Record, chain: &Chain) -> Result<(String, Chain), LedgerError> {
    let at = record.at.to_string();
    if at.parse() != Ok(record.at) {
        return Err(LedgerError::MomentOutOfRange { at: record.at });
    }
    let mut text = RECORD_MARK.to_owned();
    push_field(&mut text, "kind", record.kind.word());
    push_field(&mut text, "at", &at);
    push_field(&mut text, "person", &record.person);
    push_field(&mut text, "key", &record.key);
    for (key, value) in sorted(&record.body) {
        if FIELDS.contains(&key.as_str()) {
            return Err(LedgerError::ReservedKey { key: key.clone() });
        }
        push_key(&mut text, key);
        text.push_str(" = ");
        push_value(&mut text, value, 0).map_err(|refusal| refusal.about(key))?;
        text.push('\n');
    }
    close(text, *chain)
}

/// Ends a block with its hash line.
fn close(mut text: String, chain: Chain) -> Result<(String, Chain), LedgerError> {
    let chain = chain.after(text.as_bytes());
    text.push_str(&chain.line());
    match text.len() {
        0..=RECORD_BYTES_MAX => Ok((text, chain)),
        length_bytes => Err(LedgerError::TooLarge { length_bytes }),
    }
}

/// The header from the text between its first line and its hash line; `None` if it is not one that this format writes.
pub(super) fn decode_header(text: &str) -> Option<Result<Header, LedgerError>> {
    let mut fields: Map<String, Value> = toml::from_str(text).ok()?;
    let found = fields.remove("format")?.as_u64()?;
    if FORMAT < found {
        return Some(Err(LedgerError::NewerFormat { found, known: FORMAT }));
    }
    let run = RunKind::from_word(&take_string(&mut fields, "run")?)?;
    let mut next = |name| take_string(&mut fields, name);
    let (procedure, scripts, modules, facts) = (next("procedure")?, next("scripts")?, next("modules")?, next("facts")?);
    Some(Ok(Header { run, procedure, scripts, modules, facts }))
}

/// A record from the text between its mark and its hash line; `None` if it is not one that this format writes.
pub(super) fn decode(text: &str) -> Option<Record> {
    let mut body: Map<String, Value> = toml::from_str(text).ok()?;
    Some(Record {
        kind: Kind::from_word(&take_string(&mut body, "kind")?)?,
        at: take_string(&mut body, "at")?.parse().ok()?,
        person: take_string(&mut body, "person")?,
        key: take_string(&mut body, "key")?,
        body,
    })
}

fn take_string(fields: &mut Map<String, Value>, name: &str) -> Option<String> {
    match fields.remove(name)? {
        Value::String(text) => Some(text),
        _ => None,
    }
}

/// Why a value has no notation in the file.
enum Refusal {
    Null,
    Deep,
    Large(u64),
}

impl Refusal {
    fn about(self, key: &str) -> LedgerError {
        let key = key.to_owned();
        match self {
            Self::Null => LedgerError::NullValue { key },
            Self::Deep => LedgerError::TooDeep { key },
            Self::Large(number) => LedgerError::NumberTooLarge { key, number },
        }
    }
}

/// The pairs of a map by key, whatever order the map itself keeps.
fn sorted(map: &Map<String, Value>) -> Vec<(&String, &Value)> {
    let mut pairs: Vec<_> = map.iter().collect();
    pairs.sort_unstable_by_key(|(key, _)| *key);
    pairs
}

fn push(text: &mut String, arguments: fmt::Arguments<'_>) {
    text.write_fmt(arguments).expect("writing into a string does not fail");
}

fn push_field(text: &mut String, name: &str, value: &str) {
    text.push_str(name);
    text.push_str(" = ");
    push_string(text, value);
    text.push('\n');
}

fn push_key(text: &mut String, key: &str) {
    let is_bare = |byte: u8| byte.is_ascii_alphanumeric() || byte == b'_' || byte == b'-';
    if !key.is_empty() && key.bytes().all(is_bare) {
        text.push_str(key);
    } else {
        push_string(text, key);
    }
}

/// One line whatever the text holds, with nothing in it that a terminal would obey.
fn push_string(text: &mut String, value: &str) {
    text.push('"');
    for character in value.chars() {
        match character {
            '"' => text.push_str("\\\""),
            '\\' => text.push_str("\\\\"),
            '\n' => text.push_str("\\n"),
            '\r' => text.push_str("\\r"),
            '\t' => text.push_str("\\t"),
            control if control.is_control() => push(text, format_args!("\\u{:04X}", u32::from(control))),
            plain => text.push(plain),
        }
    }
    text.push('"');
}

fn push_value(text: &mut String, value: &Value, depth: usize) -> Result<(), Refusal> {
    if DEPTH_MAX < depth {
        return Err(Refusal::Deep);
    }
    match value {
        Value::Null => return Err(Refusal::Null),
        Value::Bool(truth) => text.push_str(if *truth { "true" } else { "false" }),
        Value::Number(number) => push_number(text, number)?,
        Value::String(value) => push_string(text, value),
        Value::Array(values) => {
            text.push('[');
            for (index, value) in values.iter().enumerate() {
                text.push_str(if index == 0 { "" } else { ", " });
                push_value(text, value, depth + 1)?;
            }
            text.push(']');
        }
        Value::Object(map) if map.is_empty() => text.push_str("{}"),
        Value::Object(map) => {
            for (index, (key, value)) in sorted(map).into_iter().enumerate() {
                text.push_str(if index == 0 { "{ " } else { ", " });
                push_key(text, key);
                text.push_str(" = ");
                push_value(text, value, depth + 1)?;
            }
            text.push_str(" }");
        }
    }
    Ok(())
}

/// Whole numbers as they are. Others in the shortest form that reads back exactly, which always has a point or an
/// exponent and so stays apart from a whole number.
fn push_number(text: &mut String, number: &serde_json::Number) -> Result<(), Refusal> {
    match (number.as_i64(), number.as_u64(), number.as_f64()) {
        (Some(whole), _, _) => push(text, format_args!("{whole}")),
        (None, Some(large), _) => return Err(Refusal::Large(large)),
        (None, None, Some(real)) => push(text, format_args!("{real:?}")),
        (None, None, None) => return Err(Refusal::Null),
    }
    Ok(())
}
