//! `accept`: checks a reply to a turn, asks the gate once more at this keypress, and makes the record.

use serde_json::{Map, Value, json};

use super::advance::{Engine, risks_of};
use super::answers::Answers;
use super::interaction::{Hazardous, Interaction, Kind as Asked};
use super::replay::{Former, Passed};
use super::said::{self, Problem, Said};
use super::turn::{Ask, Turn};
use crate::gate::{self, Happening};
use crate::ledger::{Kind, Record};
use crate::moment::Moment;
use crate::quantity::shown_inert;

/// What a person replies to a turn.
#[derive(Debug, Clone, PartialEq)]
pub enum Reply {
    /// A value, as typed.
    Typed(String),
    /// Evidence, field by field, for one of the pieces on offer (0 is the first).
    Fields {
        /// Which offer.
        offer: usize,
        /// The typed answers.
        answers: Vec<String>,
    },
    /// A step with a risk is begun.
    Start,
    /// It is done; also: a stop was read, the job is finished.
    Done,
    /// It cannot be done, with a reason.
    Cant(String),
    /// Not sure.
    NotSure,
    /// A reviewed step is done again.
    Again,
    /// A reviewed step is right as it is, with a reason.
    AsItIs(String),
    /// The former choice is kept.
    Keep,
    /// A duty stays open for a named tester: the circuit is left dead and locked.
    LeaveDead(String),
    /// Something happened.
    Happened(Happening),
    /// A stopped job is released by the name of the person.
    Release,
    /// Another person goes on.
    TakeOver(String),
    /// A note.
    Note(String),
    /// A step is unticked.
    Untick(String),
    /// An earlier answer is changed.
    Change {
        /// Its key.
        key: String,
        /// The new answer, as typed.
        typed: String,
    },
    /// A row that was done on paper while the device was dead, with the time as written.
    OnPaper(String),
}

impl Engine {
    /// Checks a reply and makes its record. Nothing is written here.
    ///
    /// # Errors
    /// [`Problem`] in words for the person: what is wrong and what to do next.
    pub fn accept(
        &self,
        records: &[Record],
        turn: &Turn,
        reply: &Reply,
        person: &str,
        now: Moment,
    ) -> Result<Record, Problem> {
        let writer = Writer { turn, person, now };
        match reply {
            Reply::Happened(event) => Ok(writer.record(Kind::Reported, "", json!({ "event": event }))),
            Reply::TakeOver(name) if name.trim().is_empty() => {
                Err(Problem::new("a name is needed", "Type who goes on."))
            }
            Reply::TakeOver(name) => {
                let mut record = writer.record(Kind::TakenOver, "", json!({ "from": person }));
                record.person = shown_inert(name.trim());
                Ok(record)
            }
            Reply::Note(text) if text.trim().is_empty() => Err(Problem::new("nothing was typed", "Type the note.")),
            Reply::Note(text) => Ok(writer.record(Kind::Noted, &turn.key, json!({ "note": shown_inert(text.trim()) }))),
            Reply::Untick(key) => untick(&writer, key),
            Reply::Change { key, typed } => change(&writer, key, typed),
            _ => self.to_ask(records, &writer, reply),
        }
    }

    fn to_ask(&self, records: &[Record], writer: &Writer<'_>, reply: &Reply) -> Result<Record, Problem> {
        match (&writer.turn.ask, reply) {
            (Ask::Trouble(trouble), Reply::Release) if trouble.kind == gate::TroubleKind::Stopped => {
                Ok(writer.record(Kind::Released, "", json!({})))
            }
            (Ask::Trouble(trouble), Reply::Fields { offer, answers }) => match trouble.offers.get(*offer) {
                Some(ask) => evidence(writer, ask, answers),
                None => Err(Problem::new("that is not on offer", "Choose one of the ways shown.")),
            },
            (Ask::Trouble(_), _) => Err(Problem::new("this comes first", "Answer what stands above, or ? for more.")),
            (Ask::Evidence(ask), Reply::Fields { answers, .. }) => evidence(writer, ask, answers),
            (Ask::Evidence(_) | Ask::Unfinished { .. }, Reply::NotSure) => {
                Ok(writer.record(Kind::Unsure, &writer.turn.key, json!({})))
            }
            (Ask::Plan { interaction, digest, keep, started, .. }, _) => {
                self.to_plan(records, writer, reply, interaction, digest, keep.as_ref(), *started)
            }
            (Ask::Review { interaction, digest, former }, _) => to_review(writer, reply, interaction, digest, former),
            (Ask::Unfinished { key, .. }, Reply::Cant(reason)) => could_not(writer, key, reason),
            (Ask::Unfinished { key, .. }, Reply::Done) => unfinished_done(records, writer, key),
            (Ask::Stop(stop), Reply::Done) => {
                Ok(writer.record(Kind::Stopped, &writer.turn.key, json!({ "code": stop.code, "text": stop.text })))
            }
            (Ask::Finish { ending }, Reply::Done) => {
                Ok(writer.record(Kind::Finished, "finish", json!({ "ending": ending.words() })))
            }
            _ => Err(Problem::new("that is no reply to what is asked here", "Type ? to see what can be typed.")),
        }
    }

    #[expect(clippy::too_many_arguments, reason = "the parts of one ask, passed on as they are")]
    fn to_plan(
        &self,
        records: &[Record],
        writer: &Writer<'_>,
        reply: &Reply,
        interaction: &Interaction,
        digest: &str,
        keep: Option<&(Value, String)>,
        started: bool,
    ) -> Result<Record, Problem> {
        let body = Body { writer, interaction, digest };
        match (&interaction.kind, reply) {
            (Asked::Question(question), Reply::NotSure) => Ok(body.said(said::not_sure(question)?)),
            (_, Reply::NotSure) => Ok(writer.record(Kind::Unsure, &interaction.key, json!({}))),
            (Asked::Choice { .. }, Reply::Keep) => match keep {
                Some((value, words)) => Ok(body.said(Said {
                    value: value.clone(),
                    shown: words.clone(),
                    verdict: None,
                    over: false,
                    tester: String::new(),
                })),
                None => Err(Problem::new("the former choice does not hold any more", "Choose one of the list.")),
            },
            (Asked::Duty { name }, Reply::LeaveDead(who)) => leave_dead(&body, name, who),
            (Asked::Question(_) | Asked::Choice { .. } | Asked::Reading(_), Reply::Typed(typed)) => {
                self.gate_again(writer, interaction, 0.0)?;
                Ok(body.said(said::read(interaction, typed)?))
            }
            (_, Reply::OnPaper(time)) => body.on_paper(time),
            (Asked::Pause { items, .. }, Reply::Typed(typed)) => body.paused(items, typed),
            (_, Reply::Cant(reason)) => could_not(writer, &interaction.key, reason),
            (Asked::Step(_), Reply::Start) if interaction.has_start() && !started => {
                self.gate_again(writer, interaction, interaction.minutes())?;
                body.started()
            }
            (Asked::Step(_), Reply::Done) if interaction.has_start() && !started => {
                Err(Problem::new("this step is begun before it is done", "Type s to start it."))
            }
            (Asked::Step(_), Reply::Done) => {
                if !started {
                    self.gate_again(writer, interaction, 0.0)?;
                }
                body.done(records)
            }
            (Asked::Wait { .. } | Asked::Duty { .. }, Reply::Done) => body.done(records),
            _ => Err(Problem::new("that is no reply to what is asked here", "Type ? to see what can be typed.")),
        }
    }

    /// Asks the gate at this keypress, not only when the screen was drawn. At a start the proof has to last the step's
    /// minutes; at the end of a reading it has to stand.
    fn gate_again(&self, writer: &Writer<'_>, interaction: &Interaction, minutes: f64) -> Result<(), Problem> {
        let wrong = |error: super::scripterror::ScriptError| Problem::new(error.message, error.advice);
        let mut scene = super::advance::scene_from(&writer.turn.points, &writer.turn.trail, &writer.turn.findings);
        scene.minutes = minutes;
        // What was stood on and worn was shown when the screen was; at its end the work up there is over.
        let over = |risk: &gate::Risk| matches!(risk, gate::Risk::Height | gate::Risk::Loft | gate::Risk::Dust);
        let risks = risks_of(interaction, &writer.turn.points).map_err(wrong)?;
        for risk in risks.iter().filter(|risk| !over(risk)) {
            if gate::demand(&writer.turn.world, risk, &scene, writer.now) != gate::Demand::Open {
                let hint = "The screen shows what is wanted now.";
                return Err(Problem::new("meanwhile the gate has closed", hint));
            }
        }
        Ok(())
    }
}

/// Makes records for one turn, person and moment.
struct Writer<'a> {
    turn: &'a Turn,
    person: &'a str,
    now: Moment,
}

impl Writer<'_> {
    fn record(&self, kind: Kind, key: &str, body: Value) -> Record {
        let mut entries = match body {
            Value::Object(entries) => entries,
            _ => Map::new(),
        };
        if !self.turn.window.is_empty() {
            entries.insert(String::from("window"), json!(self.turn.window));
        }
        if self.turn.round > 1 {
            entries.insert(String::from("round"), json!(self.turn.round));
        }
        Record { kind, at: self.now, person: self.person.to_owned(), key: key.to_owned(), body: entries }
    }
}

/// Makes records about one interaction.
struct Body<'a> {
    writer: &'a Writer<'a>,
    interaction: &'a Interaction,
    digest: &'a str,
}

impl Body<'_> {
    fn record(&self, kind: Kind, body: Value) -> Record {
        let mut record = self.writer.record(kind, &self.interaction.key, body);
        record.body.insert(String::from("digest"), json!(self.digest));
        record.body.insert(String::from("text"), json!(shown_inert(&self.interaction.text)));
        record
    }

    fn said(&self, said: Said) -> Record {
        let mut record = self.record(Kind::Said, json!({ "shown": said.shown }));
        let mut put = |name: &str, value: Value| record.body.insert(name.to_owned(), value);
        if !said.value.is_null() {
            put("value", said.value);
        }
        if let Some(verdict) = said.verdict {
            put("verdict", json!(verdict));
        }
        if said.over {
            put("over", json!(true));
        }
        if !said.tester.is_empty() {
            put("tester", json!(said.tester));
        }
        record
    }

    fn risk(&self) -> Result<Value, Problem> {
        let risks = risks_of(self.interaction, &self.writer.turn.points)
            .map_err(|error| Problem::new(error.message, error.advice))?;
        Ok(json!(risks))
    }

    fn started(&self) -> Result<Record, Problem> {
        Ok(self.record(Kind::Started, json!({ "risk": self.risk()?, "minutes": self.interaction.minutes() })))
    }

    fn done(&self, records: &[Record]) -> Result<Record, Problem> {
        let (mut opens, closes) = match &self.interaction.kind {
            Asked::Step(step) => (step.opens.clone(), step.closes.clone()),
            Asked::Duty { name } => (Vec::new(), vec![name.clone()]),
            _ => (Vec::new(), Vec::new()),
        };
        // A hole cut again leaves the old one to be closed.
        for risk in self.interaction.risk() {
            if let Hazardous::Cut { hole } = risk
                && Answers::of(records).was_done(&self.interaction.key)
            {
                opens.push(super::interaction::Duty {
                    name: format!("old hole {hole}"),
                    closing: format!("Make good the old hole of {hole}."),
                });
            }
        }
        Ok(self.record(Kind::Done, json!({ "risk": self.risk()?, "opens": opens, "closes": closes })))
    }

    /// Done on paper: never evidence, never raising anything, and shown as such.
    fn on_paper(&self, time: &str) -> Result<Record, Problem> {
        if time.trim().is_empty() {
            return Err(Problem::new("the time as written is needed", "Type: paper 14:20"));
        }
        let Asked::Step(step) = &self.interaction.kind else {
            return Err(Problem::new("only a step can have been done on paper", "Answer this one as usual."));
        };
        if self.interaction.risk().iter().any(|risk| matches!(risk, Hazardous::Restore { .. })) {
            let hint = "Say what is now under `something happened`, and let the gate ask.";
            return Err(Problem::new("the supply does not come back on paper", hint));
        }
        Ok(self.record(
            Kind::Done,
            json!({ "risk": [], "opens": step.opens, "closes": step.closes, "paper": shown_inert(time.trim()) }),
        ))
    }

    /// Each item of a pause point by a letter: y, n or - (does not apply).
    fn paused(&self, items: &[String], typed: &str) -> Result<Record, Problem> {
        let letters: Vec<char> = typed.to_lowercase().chars().filter(|c| !c.is_whitespace() && *c != ',').collect();
        if letters.len() != items.len() || !letters.iter().all(|letter| matches!(letter, 'y' | 'n' | '-')) {
            let message = format!("{} letters are wanted, one for each item", items.len());
            return Err(Problem::new(message, "Type y, n or - (does not apply) for each, in order."));
        }
        if let Some(at) = letters.iter().position(|letter| *letter == 'n') {
            let message = format!("not yet: {}", items[at]);
            return Err(Problem::new(message, "See to it, then answer the pause again."));
        }
        let answers: String = letters.iter().collect();
        Ok(self
            .record(Kind::Done, json!({ "risk": [], "opens": [], "closes": [], "items": items, "answers": answers })))
    }
}

fn evidence(writer: &Writer<'_>, ask: &gate::Ask, answers: &[String]) -> Result<Record, Problem> {
    let evidence = gate::examine(ask, answers).map_err(|problem| Problem::new(problem.message, problem.hint))?;
    let key = ask.key().replace(' ', "-");
    let typed: Vec<String> = answers.iter().map(|answer| shown_inert(answer)).collect();
    Ok(writer.record(Kind::Evidence, &key, json!({ "evidence": evidence, "text": ask.text, "typed": typed })))
}

fn to_review(
    writer: &Writer<'_>,
    reply: &Reply,
    interaction: &Interaction,
    digest: &str,
    former: &Former,
) -> Result<Record, Problem> {
    let body = Body { writer, interaction, digest };
    match reply {
        Reply::Again => untick_key(writer, &interaction.key),
        Reply::AsItIs(reason) if reason.trim().is_empty() => {
            Err(Problem::new("a reason is needed", "Type why it is right as it is."))
        }
        Reply::AsItIs(reason) => {
            let before = former.0.text("text");
            let kept =
                json!({ "risk": [], "opens": [], "closes": [], "kept": shown_inert(reason.trim()), "before": before });
            Ok(body.record(Kind::Done, kept))
        }
        Reply::Cant(reason) => could_not(writer, &interaction.key, reason),
        Reply::NotSure => Ok(writer.record(Kind::Unsure, &interaction.key, json!({}))),
        _ => {
            Err(Problem::new("this was done before its figures moved", "Do it again, or say why it is right as it is."))
        }
    }
}

fn could_not(writer: &Writer<'_>, key: &str, reason: &str) -> Result<Record, Problem> {
    let reason = shown_inert(reason.trim());
    let reason = if reason.is_empty() { String::from("no reason given") } else { reason };
    Ok(writer.record(Kind::CouldNot, key, json!({ "reason": reason })))
}

/// Ends a started step whose place in the plan has moved, under the digest it was started with.
fn unfinished_done(records: &[Record], writer: &Writer<'_>, key: &str) -> Result<Record, Problem> {
    let start = records.iter().rev().find(|record| record.kind == Kind::Started && record.key == key);
    let start = start.ok_or_else(|| Problem::new("its start is not in the ledger", "Say can't, with the reason."))?;
    let of_start = |name: &str| start.body.get(name).cloned().unwrap_or(Value::Null);
    let body = json!({
        "risk": of_start("risk"), "opens": [], "closes": [],
        "digest": of_start("digest"), "text": of_start("text"),
    });
    Ok(writer.record(Kind::Done, key, body))
}

fn leave_dead(body: &Body<'_>, duty: &str, who: &str) -> Result<Record, Problem> {
    if !duty.starts_with("lock") {
        let hint = "Only a lock may stay on, for a named tester. Close this one.";
        return Err(Problem::new("this cannot be left open", hint));
    }
    if who.trim().is_empty() {
        return Err(Problem::new("a name and a date are needed", "Type: leave NAME, DATE"));
    }
    Ok(body.record(Kind::Done, json!({ "risk": [], "opens": [], "closes": [], "left": shown_inert(who.trim()) })))
}

fn passed<'a>(writer: &Writer<'a>, key: &str) -> Result<&'a Passed, Problem> {
    writer.turn.trail.iter().find(|passed| passed.interaction.key == key).ok_or_else(|| {
        Problem::new(format!("`{}` has no answer on this path", shown_inert(key)), "Type back to see the last answers.")
    })
}

fn not_while_exposed(writer: &Writer<'_>) -> Result<(), Problem> {
    match writer.turn.world.exposed().next() {
        Some(point) => {
            let message = format!("the {point} is open; figures are changed with everything closed");
            Err(Problem::new(message, "Close it first: type o for the other ways."))
        }
        None => Ok(()),
    }
}

fn untick(writer: &Writer<'_>, key: &str) -> Result<Record, Problem> {
    passed(writer, key)?;
    untick_key(writer, key)
}

fn untick_key(writer: &Writer<'_>, key: &str) -> Result<Record, Problem> {
    Ok(writer.record(Kind::Amended, key, json!({ "untick": true })))
}

fn change(writer: &Writer<'_>, key: &str, typed: &str) -> Result<Record, Problem> {
    let earlier = passed(writer, key)?;
    if earlier.interaction.is_done_kind() {
        return Err(Problem::new("a step is not changed, it is unticked", "Type back to untick it."));
    }
    not_while_exposed(writer)?;
    let body = Body { writer, interaction: &earlier.interaction, digest: &earlier.digest };
    let said = match (&earlier.interaction.kind, typed.trim().to_lowercase().as_str()) {
        (Asked::Question(question), "not sure") => said::not_sure(question)?,
        _ => said::read(&earlier.interaction, typed)?,
    };
    let mut record = body.said(said);
    record.kind = Kind::Amended;
    record.body.insert(String::from("before"), json!(earlier.answer.text("shown")));
    Ok(record)
}
