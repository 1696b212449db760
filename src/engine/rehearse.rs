//! Walking a rehearsal file: the same two calls as at a terminal, on a clock of its own.

use super::accept::Reply;
use super::advance::Engine;
use super::interaction::Kind as Asked;
use super::rehearsal::{Entry, Event, Line, Rehearsal};
use super::said::Problem;
use super::turn::{Ask, Turn, stop_words};
use super::typed::reply_of;
use crate::gate::{Happening, TroubleKind};
use crate::ledger::{Kind, Record};
use crate::moment::Moment;

/// Who looks on: writes records down, makes a transcript.
pub trait Watcher {
    /// A turn is at hand.
    fn turn(&mut self, turn: &Turn);
    /// What was typed, and how the record it made is shown.
    fn typed(&mut self, typed: &str);
    /// Something happened.
    fn happened(&mut self, what: &str);
    /// A record was made. It counts once this returns.
    ///
    /// # Errors
    /// Why it could not be written.
    fn record(&mut self, record: &Record) -> Result<(), String>;
}

/// Why a rehearsal did not go as written.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("line {line}: {message}")]
pub struct Failed {
    /// Line in the file; 0 for its end.
    pub line: usize,
    /// What happened, and what was expected.
    pub message: String,
}

/// How a rehearsal ended.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// The ending in words.
    pub ending: String,
    /// The last turn.
    pub turn: Turn,
    /// All records.
    pub records: Vec<Record>,
    /// Key and reply, in order, as the golden list has them.
    pub replies: Vec<(String, String)>,
}

/// The most turns of a rehearsal.
const MOST_TURNS: usize = 5_000;

struct Walk<'a> {
    engine: &'a Engine,
    rehearsal: &'a Rehearsal,
    watcher: &'a mut dyn Watcher,
    records: Vec<Record>,
    replies: Vec<(String, String)>,
    person: String,
    now: Moment,
    at: usize,
}

/// Walks a rehearsal to its end.
///
/// # Errors
/// [`Failed`] names the line and both keys.
pub fn rehearse(engine: &Engine, rehearsal: &Rehearsal, watcher: &mut dyn Watcher) -> Result<Outcome, Failed> {
    let mut walk = Walk {
        engine,
        rehearsal,
        watcher,
        records: Vec::new(),
        replies: Vec::new(),
        person: rehearsal.person.clone(),
        now: rehearsal.begins,
        at: 0,
    };
    walk.write(begun(engine, &rehearsal.person, rehearsal.begins))?;
    for _ in 0..MOST_TURNS {
        let turn = walk.engine.advance(&walk.records, walk.now);
        if let Some(ending) = walk.ending(&turn) {
            walk.watcher.turn(&turn);
            return walk.ended(ending, turn);
        }
        if walk.event(&turn)? {
            continue;
        }
        walk.watcher.turn(&turn);
        walk.reply(turn)?;
    }
    Err(walk.failed("the job does not come to an end"))
}

/// The first record of a job.
#[must_use]
pub fn begun(engine: &Engine, person: &str, now: Moment) -> Record {
    let mut body = serde_json::Map::new();
    body.insert(String::from("program"), serde_json::json!(env!("CARGO_PKG_VERSION")));
    body.insert(String::from("revision"), serde_json::json!(engine.bundle.procedure.revision));
    Record { kind: Kind::Begun, at: now, person: person.to_owned(), key: String::new(), body }
}

impl Walk<'_> {
    fn line(&self) -> Option<&Line> {
        self.rehearsal.lines.get(self.at)
    }

    fn failed(&self, message: impl Into<String>) -> Failed {
        Failed { line: self.line().map_or(0, |line| line.number), message: message.into() }
    }

    fn write(&mut self, record: Record) -> Result<(), Failed> {
        self.watcher.record(&record).map_err(|why| self.failed(why))?;
        self.records.push(record);
        Ok(())
    }

    /// The ending in words, once nothing more is to come.
    fn ending(&self, turn: &Turn) -> Option<String> {
        match &turn.ask {
            Ask::Ended(ending) => Some(ending.words()),
            Ask::Broken(error) => Some(format!("script refused: {error}")),
            Ask::Refused(refusal) if self.line().is_none() => Some(format!("refused: {}", refusal.text)),
            Ask::Trouble(trouble) if self.line().is_none() && trouble.kind == TroubleKind::Stopped => {
                Some(format!("stopped: {}", turn.world.stopped().map_or("", stop_words)))
            }
            _ => None,
        }
    }

    fn ended(self, ending: String, turn: Turn) -> Result<Outcome, Failed> {
        if self.line().is_some() {
            return Err(self.failed(format!("the job has ended (`{ending}`) and replies are left over")));
        }
        if ending != self.rehearsal.ends {
            let meant = &self.rehearsal.ends;
            return Err(self.failed(format!("the job ended as `{ending}`, and was meant to end as `{meant}`")));
        }
        Ok(Outcome { ending, turn, records: self.records, replies: self.replies })
    }

    /// Lets the next event happen, if its time has come.
    fn event(&mut self, turn: &Turn) -> Result<bool, Failed> {
        let Some(Line { entry: Entry::Event(event), .. }) = self.line() else { return Ok(false) };
        let event = event.clone();
        let started = turn.world.started().is_some();
        if !event.at.is_empty() && !(turn.keys().contains(&event.at) && (!event.started || started)) {
            return Ok(false);
        }
        self.watcher.happened(&said_of(&event));
        #[expect(clippy::cast_possible_truncation, reason = "minutes of a rehearsal")]
        let later = self.now.plus_seconds((event.minutes * 60.0) as i64);
        let record = match event.what.as_str() {
            "wait" => None,
            "restart" => {
                let mut record = begun(self.engine, &self.person, later);
                record.kind = Kind::Resumed;
                Some(record)
            }
            "takes over" => Some(self.accepted(turn, &Reply::TakeOver(event.value.clone()))?),
            "not sure" => Some(self.accepted(turn, &Reply::NotSure)?),
            "note" => Some(self.accepted(turn, &Reply::Note(event.value.clone()))?),
            "untick" => Some(self.accepted(turn, &Reply::Untick(event.key.clone()))?),
            "change" => {
                let change = Reply::Change { key: event.key.clone(), typed: event.value.clone() };
                Some(self.accepted(turn, &change)?)
            }
            what => {
                let happening = Happening::from_words(what)
                    .ok_or_else(|| self.failed(format!("`{what}` is nothing that can happen")))?;
                Some(self.accepted(turn, &Reply::Happened(happening))?)
            }
        };
        self.now = later;
        self.at += 1;
        if let Some(record) = record {
            self.person.clone_from(&record.person);
            self.write(record)?;
        }
        Ok(true)
    }

    fn accepted(&self, turn: &Turn, reply: &Reply) -> Result<Record, Failed> {
        let accepted = self.engine.accept(&self.records, turn, reply, &self.person, self.now);
        accepted.map_err(|problem: Problem| self.failed(format!("at `{}`: {problem}", turn.key)))
    }

    /// Replies to a turn: from the file where its key is next, else by doing the step in its minutes.
    fn reply(&mut self, turn: Turn) -> Result<(), Failed> {
        let keys = turn.keys();
        let written = match self.line() {
            Some(Line { entry: Entry::Reply(reply), .. }) if keys.contains(&reply.to) => Some(reply.clone()),
            _ => None,
        };
        if let Some(written) = written {
            let typed = written.typed();
            let reply = reply_of(&turn, &written.to, &typed);
            if written.refused {
                return self.meant_to_fail(&turn, &reply, &typed);
            }
            self.give(&turn, &written.to, &reply, &typed.join(", "), written.minutes)?;
            self.at += 1;
            return Ok(());
        }
        if !is_done_by_itself(&turn) {
            let wanted = match self.line() {
                Some(Line { entry: Entry::Reply(reply), .. }) => format!("the next reply is to `{}`", reply.to),
                Some(Line { entry: Entry::Event(event), .. }) => format!("the next event waits for `{}`", event.at),
                None => String::from("there are no more replies"),
            };
            return Err(self.failed(format!("the job asks `{}`, and {wanted}", turn.key)));
        }
        self.give(&turn, &turn.key.clone(), &Reply::Done, "done", None)
    }

    /// A reply that has to be refused: what was said to it goes into the transcript.
    fn meant_to_fail(&mut self, turn: &Turn, reply: &Reply, typed: &[String]) -> Result<(), Failed> {
        match self.engine.accept(&self.records, turn, reply, &self.person, self.now) {
            Ok(_) => Err(self.failed(format!("at `{}`: the reply was meant to be refused, and was taken", turn.key))),
            Err(problem) => {
                self.watcher.typed(&typed.join(", "));
                self.watcher.happened(&format!("refused: {problem}"));
                self.at += 1;
                Ok(())
            }
        }
    }

    fn give(&mut self, turn: &Turn, key: &str, reply: &Reply, typed: &str, minutes: Option<f64>) -> Result<(), Failed> {
        self.watcher.typed(typed);
        let begins = match &turn.ask {
            Ask::Plan { interaction, started, .. } => interaction.has_start() && !started && *reply == Reply::Done,
            _ => false,
        };
        if begins {
            let record = self.accepted(turn, &Reply::Start)?;
            self.write(record)?;
            let turn = self.engine.advance(&self.records, self.now);
            // An event may be written to come while the step is under way.
            if let Some(Line { entry: Entry::Event(event), .. }) = self.line()
                && event.started
                && turn.keys().contains(&event.at)
            {
                return Ok(());
            }
            return self.close(&turn, key, reply, typed, minutes);
        }
        self.close(turn, key, reply, typed, minutes)
    }

    fn close(
        &mut self,
        turn: &Turn,
        key: &str,
        reply: &Reply,
        typed: &str,
        minutes: Option<f64>,
    ) -> Result<(), Failed> {
        #[expect(clippy::cast_possible_truncation, reason = "minutes of a rehearsal")]
        let seconds = (minutes.unwrap_or_else(|| minutes_of(turn)) * 60.0) as i64;
        self.now = self.now.plus_seconds(seconds);
        let record = self.accepted(turn, reply)?;
        self.person.clone_from(&record.person);
        self.replies.push((key.to_owned(), typed.to_owned()));
        self.write(record)
    }
}

fn said_of(event: &Event) -> String {
    let details = [&event.key, &event.value].into_iter().filter(|text| !text.is_empty()).cloned();
    let minutes = (event.minutes > 0.0).then(|| format!("{} min", crate::quantity::plain(event.minutes, 1)));
    let details: Vec<String> = details.chain(minutes).collect();
    if details.is_empty() { event.what.clone() } else { format!("{} ({})", event.what, details.join(", ")) }
}

/// A step, a duty, a stop and the end need no line of their own.
fn is_done_by_itself(turn: &Turn) -> bool {
    match &turn.ask {
        Ask::Plan { interaction, .. } => matches!(interaction.kind, Asked::Step(_) | Asked::Duty { .. }),
        Ask::Stop(_) | Ask::Finish { .. } => true,
        _ => false,
    }
}

fn minutes_of(turn: &Turn) -> f64 {
    match &turn.ask {
        Ask::Evidence(_) | Ask::Trouble(_) => 1.0,
        Ask::Plan { interaction, .. } => match interaction.kind {
            Asked::Step(_) | Asked::Reading(_) => interaction.minutes(),
            Asked::Pause { .. } => 2.0,
            _ => 0.0,
        },
        _ => 0.0,
    }
}
