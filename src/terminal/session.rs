//! A walk at a terminal: shows the turn, takes a line, writes the record, says that it is saved.

use std::path::PathBuf;
use std::time::Duration;

use super::prompter::{NoLine, Prompter};
use super::screen::{self, Frame};
use crate::drawing::page::{Page, Tone};
use crate::engine::cards::CARDS;
use crate::engine::explore::Ahead;
use crate::engine::interaction::Kind as Asked;
use crate::engine::turn::{Ask, Ending, Turn};
use crate::engine::typed::{is_not_sure, reply_of};
use crate::engine::{Engine, Reply};
use crate::gate::{self, Form, Happening};
use crate::ledger::{Kind, Ledger, LedgerError, Record};
use crate::moment::{Moment, span_in_words};

/// Time that looking ahead may take at the end of a stage.
pub const LOOK_AHEAD: Duration = Duration::from_millis(200);

/// How a walk came to rest.
#[derive(Debug)]
pub enum Rest {
    /// The job ended.
    Ended(Ending),
    /// The person stopped for today; everything is saved.
    Saved,
    /// Ctrl-C, hang-up, end of input; everything is saved.
    Interrupted,
    /// The script failed.
    Broken(String),
    /// The ledger could not be written.
    Ledger(LedgerError),
}

/// A walk.
pub struct Session<'a> {
    /// The engine.
    pub engine: &'a Engine,
    /// The ledger, open for writing.
    pub ledger: Ledger,
    /// What the person is asked through.
    pub prompter: &'a mut dyn Prompter,
    /// The clock.
    pub clock: &'a dyn Fn() -> Moment,
    /// The job folder, as named to the person.
    pub folder: PathBuf,
    /// Who works.
    pub person: String,
    /// What looking ahead found last, and for which stage.
    pub ahead: Option<(usize, Ahead)>,
}

/// What a line at a prompt led to.
enum Step {
    /// A reply to the turn.
    Reply(Reply),
    /// A side word that needs no record; the turn is shown again.
    Again,
    /// The person leaves the prompt.
    Rest(Rest),
}

impl Session<'_> {
    /// Walks until the job ends or the person stops.
    pub fn walk(&mut self) -> Rest {
        loop {
            let now = (self.clock)();
            let turn = self.engine.advance(self.ledger.records(), now);
            if self.goes_on_with_card(&turn) {
                if let Err(error) = self.give(&turn, &Reply::Start) {
                    return Rest::Ledger(error);
                }
                continue;
            }
            self.look_ahead(&turn, now);
            let shown = screen::turn(&turn, &self.frame());
            self.prompter.show(&shown);
            match &turn.ask {
                Ask::Ended(ending) => return Rest::Ended(ending.clone()),
                Ask::Broken(error) => {
                    let colour = self.prompter.colour();
                    return Rest::Broken(error.render(|file| self.engine.bundle.text_of(file), colour));
                }
                _ => {}
            }
            match self.step(&turn) {
                Step::Again => {}
                Step::Rest(rest) => return rest,
                Step::Reply(reply) => {
                    if let Err(error) = self.give(&turn, &reply) {
                        return Rest::Ledger(error);
                    }
                }
            }
        }
    }

    fn frame(&self) -> Frame<'_> {
        let about = self.ahead.as_ref().map_or(0, |(_, ahead)| ahead.steps.1);
        Frame {
            procedure: &self.engine.bundle.procedure,
            width: self.prompter.width(),
            colour: self.prompter.colour(),
            about,
            mark: "",
        }
    }

    /// Looks ahead when a new stage begins.
    fn look_ahead(&mut self, turn: &Turn, now: Moment) {
        if self.ahead.as_ref().is_some_and(|(stage, _)| *stage == turn.stage) {
            return;
        }
        let mut ahead = self.engine.look_ahead(self.ledger.records(), now, LOOK_AHEAD);
        ahead.steps.0 += turn.trail.len();
        ahead.steps.1 += turn.trail.len();
        self.ahead = Some((turn.stage, ahead));
    }

    /// Whether this is a later row of a card whose row before was done just now: it begins by itself, so that a row is
    /// one key. The first row of a card, a row with a caution, and every row after the gate asked, is begun by the person.
    fn goes_on_with_card(&self, turn: &Turn) -> bool {
        let Ask::Plan { interaction, started: false, .. } = &turn.ask else { return false };
        let Some(last) = self.ledger.records().last() else { return false };
        let (Some(card), Some(before)) = (&interaction.card, turn.trail.last()) else { return false };
        let same = before
            .interaction
            .card
            .as_ref()
            .is_some_and(|earlier| earlier.tag == card.tag && earlier.at + 1 == card.at);
        let plain = interaction.has_start() && interaction.cautions().is_empty();
        plain && same && last.kind == Kind::Done && last.key == before.interaction.key
    }

    /// Makes the record of a reply and writes it. A reply that is not taken is explained, and nothing is written.
    fn give(&mut self, turn: &Turn, reply: &Reply) -> Result<(), LedgerError> {
        let now = (self.clock)();
        match self.engine.accept(self.ledger.records(), turn, reply, &self.person, now) {
            Err(problem) => self.say(Tone::Alarm, &problem.to_string()),
            Ok(record) => {
                if matches!(reply, Reply::Change { .. } | Reply::Untick(_)) && !self.agrees(&record, now) {
                    return Ok(());
                }
                self.person.clone_from(&record.person);
                self.ledger.append(record)?;
                self.say(Tone::Faint, &format!("saved {}", now.clock()));
            }
        }
        Ok(())
    }

    /// Shows what a change would do, and asks.
    fn agrees(&mut self, record: &Record, now: Moment) -> bool {
        let consequences = self.engine.consequences(self.ledger.records(), record, now);
        let mut page = Page::new(self.prompter.width(), self.prompter.colour());
        let list = |page: &mut Page, head: &str, keys: &[String]| {
            if !keys.is_empty() {
                page.hanging(Tone::Plain, head, &keys.join(", "));
            }
        };
        list(&mut page, "asked again: ", &consequences.asked_again);
        for reviewed in &consequences.reviewed {
            page.hanging(Tone::Plain, "reviewed: ", &format!("{} — then: {}", reviewed.key, reviewed.then));
        }
        list(&mut page, "set aside: ", &consequences.set_aside);
        list(&mut page, "no longer proved: ", &consequences.uncovered);
        let text = page.finish();
        let text = if text.is_empty() { String::from("Nothing else moves.\n") } else { text };
        self.prompter.show(&text);
        matches!(self.prompter.line("Make this change? y or n").as_deref(), Ok("y" | "Y" | "yes"))
    }

    fn say(&mut self, tone: Tone, text: &str) {
        let mut page = Page::new(self.prompter.width(), self.prompter.colour());
        page.paragraph(tone, text);
        self.prompter.show(&page.finish());
    }

    /// Takes lines until they make a reply or a side word.
    fn step(&mut self, turn: &Turn) -> Step {
        match &turn.ask {
            Ask::Evidence(ask) => self.evidence(turn, ask, 0),
            Ask::Trouble(trouble) => match trouble.offers.first() {
                Some(offer) => self.evidence(turn, offer, 0),
                None => self.line(turn, "release, or ? for more"),
            },
            _ => self.line(turn, prompt_of(turn)),
        }
    }

    fn line(&mut self, turn: &Turn, prompt: &str) -> Step {
        match self.prompter.line(prompt) {
            Err(NoLine::Interrupted | NoLine::End) => Step::Rest(Rest::Interrupted),
            Ok(line) => self.side_word(turn, &line).unwrap_or_else(|| {
                if line.trim().is_empty() {
                    // Enter alone answers nothing.
                    return Step::Again;
                }
                Step::Reply(reply_of(turn, &turn.key, &[line]))
            }),
        }
    }

    /// Asks the fields of a piece of evidence one by one; a row of readings in one line.
    fn evidence(&mut self, turn: &Turn, ask: &gate::Ask, offer: usize) -> Step {
        let readings = !ask.fields.is_empty() && ask.fields.iter().all(|field| field.form == Form::Volts);
        if readings {
            return self.readings(turn, ask, offer);
        }
        let mut answers = self.as_before(ask);
        let count = ask.fields.len();
        let skip = answers.len();
        for (number, field) in ask.fields.iter().enumerate().skip(skip) {
            let mut page = Page::new(self.prompter.width(), self.prompter.colour());
            page.hanging(Tone::Strong, &format!("{}/{count} ", number + 1), &field.text);
            let prompt = match &field.form {
                Form::YesNo => "y or n",
                Form::OneOf { options, .. } => {
                    for (number, option) in options.iter().enumerate() {
                        page.hanging(Tone::Plain, &format!("  {}  ", number + 1), option);
                    }
                    "number"
                }
                Form::Text => "in a word or two",
                Form::Volts => "volts, or none",
            };
            self.prompter.show(&page.finish());
            loop {
                match self.prompter.line(prompt) {
                    Err(_) => return Step::Rest(Rest::Interrupted),
                    Ok(line) => {
                        // Where *not sure* is one of the answers it is an answer, and no side word.
                        let own = matches!(&field.form, Form::OneOf { options, .. } if options.contains(&"not sure"));
                        if let Some(step) = self.side_word(turn, &line).filter(|_| !(own && is_not_sure(&line))) {
                            return step;
                        }
                        if !line.trim().is_empty() {
                            answers.push(line);
                            break;
                        }
                    }
                }
            }
        }
        Step::Reply(Reply::Fields { offer, answers })
    }

    /// The detector, its kind, source and lowest voltage as given last, if the person says that they are the same; so
    /// that nobody types on a ladder what has not changed.
    fn as_before(&mut self, ask: &gate::Ask) -> Vec<String> {
        let gate::Piece::ProveFirst { whole_off } = ask.piece else { return Vec::new() };
        let latest = self.ledger.records().iter().rev().find(|record| record.key == ask.key());
        let typed: Option<Vec<String>> =
            latest.and_then(|record| serde_json::from_value(record.body.get("typed")?.clone()).ok());
        let same = ask.fields.iter().take_while(|field| field.form != Form::YesNo).count();
        let Some(typed) = typed.filter(|typed| typed.len() == ask.fields.len() && !whole_off) else {
            return Vec::new();
        };
        let before = typed[..same].to_vec();
        self.say(Tone::Plain, &format!("As before: {}.", before.join(", ")));
        match self.prompter.line("the same detector and source? y or n").as_deref() {
            Ok("y" | "Y" | "yes") => before,
            _ => Vec::new(),
        }
    }

    fn readings(&mut self, turn: &Turn, ask: &gate::Ask, offer: usize) -> Step {
        let mut page = Page::new(self.prompter.width(), self.prompter.colour());
        for (number, field) in ask.fields.iter().enumerate() {
            page.hanging(Tone::Plain, &format!("  {}  ", number + 1), &field.text);
        }
        page.paragraph(
            Tone::Faint,
            "One reading each, in order, with a space between; 0 is no indication. Or none for all.",
        );
        self.prompter.show(&page.finish());
        match self.prompter.line("readings") {
            Err(_) => Step::Rest(Rest::Interrupted),
            Ok(line) => self.side_word(turn, &line).unwrap_or_else(|| {
                if line.trim().is_empty() {
                    return Step::Again;
                }
                let answers = line.split([' ', ',']).filter(|word| !word.is_empty()).map(str::to_owned).collect();
                Step::Reply(Reply::Fields { offer, answers })
            }),
        }
    }

    /// The words that count at every prompt. Nothing if the line is none of them.
    fn side_word(&mut self, turn: &Turn, line: &str) -> Option<Step> {
        let line = line.trim();
        let (word, rest) = line.split_once(' ').unwrap_or((line, ""));
        match word.to_lowercase().as_str() {
            "?" => {
                let more = screen::more(turn, &self.frame());
                self.prompter.show(&more);
                Some(Step::Again)
            }
            "why" => {
                let why = screen::why(turn, &self.frame());
                self.prompter.show(&why);
                Some(Step::Again)
            }
            "emergency" | "help!" => Some(self.emergency(rest)),
            "happened" | "something" => Some(self.happened()),
            "leaving" => Some(Step::Reply(Reply::Happened(Happening::Leaving))),
            "release" => Some(Step::Reply(Reply::Release)),
            "note" => Some(self.note(rest)),
            "other" => Some(self.other()),
            "stop" => Some(self.stop(turn)),
            "back" => Some(self.back(turn)),
            "change" => Some(self.change(turn, rest)),
            _ if is_not_sure(line) => Some(Step::Reply(Reply::NotSure)),
            _ => self.other_offer(turn, line),
        }
    }

    /// `o1`: another of the ways on offer.
    fn other_offer(&mut self, turn: &Turn, line: &str) -> Option<Step> {
        let Ask::Trouble(trouble) = &turn.ask else { return None };
        let digits = line.strip_prefix('o')?;
        let offer: usize = if digits.is_empty() { 1 } else { digits.trim().parse().ok()? };
        let ask = trouble.offers.get(offer)?.clone();
        let mut page = Page::new(self.prompter.width(), self.prompter.colour());
        screen::evidence(&mut page, &ask);
        self.prompter.show(&page.finish());
        Some(self.evidence(turn, &ask, offer))
    }

    fn emergency(&mut self, name: &str) -> Step {
        let mut page = Page::new(self.prompter.width(), self.prompter.colour());
        let chosen = CARDS.iter().find(|card| card.name == name.trim());
        match chosen {
            Some(card) => screen::emergency(&mut page, card.name),
            None => {
                for (number, card) in CARDS.iter().enumerate() {
                    page.hanging(Tone::Plain, &format!("  {}  ", number + 1), card.title);
                }
            }
        }
        self.prompter.show(&page.finish());
        if chosen.is_none()
            && let Ok(line) = self.prompter.line("number")
            && let Some(card) = line.trim().parse::<usize>().ok().and_then(|number| CARDS.get(number.checked_sub(1)?))
        {
            let mut page = Page::new(self.prompter.width(), self.prompter.colour());
            screen::emergency(&mut page, card.name);
            self.prompter.show(&page.finish());
        }
        Step::Again
    }

    fn happened(&mut self) -> Step {
        let all: Vec<Happening> = Happening::all().collect();
        let mut page = Page::new(self.prompter.width(), self.prompter.colour());
        for (number, happening) in all.iter().enumerate() {
            page.hanging(Tone::Plain, &format!("  {:>2}  ", number + 1), happening.words());
        }
        self.prompter.show(&page.finish());
        let chosen = self.prompter.line("number, or Enter for none of these");
        let number = chosen.ok().and_then(|line| line.trim().parse::<usize>().ok());
        match number.and_then(|number| all.get(number.checked_sub(1)?)) {
            Some(happening) => Step::Reply(Reply::Happened(*happening)),
            None => Step::Again,
        }
    }

    fn note(&mut self, text: &str) -> Step {
        if !text.trim().is_empty() {
            return Step::Reply(Reply::Note(text.to_owned()));
        }
        match self.prompter.line("note") {
            Ok(line) if !line.trim().is_empty() => Step::Reply(Reply::Note(line)),
            _ => Step::Again,
        }
    }

    fn other(&mut self) -> Step {
        self.say(
            Tone::Plain,
            "The one who goes on reads the last screens with the one who leaves, then looks at the lock.",
        );
        match self.prompter.line("name of who goes on, or Enter to stay") {
            Ok(line) if !line.trim().is_empty() => Step::Reply(Reply::TakeOver(line)),
            _ => Step::Again,
        }
    }

    /// Stop for today: what must not stay open is said first, last opened first.
    fn stop(&mut self, turn: &Turn) -> Step {
        let duties: Vec<_> = turn.world.duties().iter().rev().collect();
        if !duties.is_empty() {
            let mut page = Page::new(self.prompter.width(), self.prompter.colour());
            page.paragraph(Tone::Strong, "Before you go, this is still open:");
            for duty in &duties {
                page.hanging(Tone::Plain, "  • ", &duty.closing);
            }
            page.paragraph(Tone::Plain, "The job comes back with these on its first screen.");
            self.prompter.show(&page.finish());
            match self.prompter.line("Stop all the same? y or n").as_deref() {
                Ok("y" | "Y" | "yes") => {}
                Ok(_) => return Step::Again,
                Err(_) => return Step::Rest(Rest::Interrupted),
            }
        }
        Step::Rest(Rest::Saved)
    }

    /// The last few answers, one of which may be unticked or changed.
    fn back(&mut self, turn: &Turn) -> Step {
        let last: Vec<_> = turn.trail.iter().rev().take(4).collect();
        if last.is_empty() {
            self.say(Tone::Plain, "There is nothing before this.");
            return Step::Again;
        }
        let mut page = Page::new(self.prompter.width(), self.prompter.colour());
        for (number, passed) in last.iter().enumerate() {
            let shown = passed.answer.text("shown");
            let shown = if shown.is_empty() { "done" } else { shown };
            page.hanging(
                Tone::Plain,
                &format!("  {}  ", number + 1),
                &format!("{} — {shown}", passed.interaction.text),
            );
        }
        self.prompter.show(&page.finish());
        let line = self.prompter.line("number to take back, or Enter to leave all").unwrap_or_default();
        let Some(passed) = line.trim().parse::<usize>().ok().and_then(|number| last.get(number.checked_sub(1)?)) else {
            return Step::Again;
        };
        let key = passed.interaction.key.clone();
        if passed.interaction.is_done_kind() {
            return Step::Reply(Reply::Untick(key));
        }
        self.new_value(key)
    }

    fn change(&mut self, turn: &Turn, key: &str) -> Step {
        let mut key = key.trim().to_owned();
        if key.is_empty() {
            let said: Vec<_> = turn.trail.iter().filter(|passed| !passed.interaction.is_done_kind()).collect();
            let mut page = Page::new(self.prompter.width(), self.prompter.colour());
            for passed in &said {
                let shown = passed.answer.text("shown");
                page.hanging(Tone::Plain, &format!("  {} ", passed.interaction.key), &format!("— {shown}"));
            }
            self.prompter.show(&page.finish());
            key = self.prompter.line("name of the answer to change, or Enter for none").unwrap_or_default();
        }
        if key.trim().is_empty() { Step::Again } else { self.new_value(key.trim().to_owned()) }
    }

    fn new_value(&mut self, key: String) -> Step {
        match self.prompter.line("new answer, or Enter to leave it") {
            Ok(line) if !line.trim().is_empty() => Step::Reply(Reply::Change { key, typed: line }),
            _ => Step::Again,
        }
    }

    /// The first screen of a job taken up again: how old it is, what was last, what is next.
    pub fn resume_screen(&mut self, last: &Record, now: Moment) {
        let mut page = Page::new(self.prompter.width(), self.prompter.colour());
        let age = span_in_words(now.seconds_since(last.at));
        page.paragraph(Tone::Strong, &format!("Going on with {} after {age}.", self.folder.display()));
        let text = |name: &str| last.body.get(name).and_then(serde_json::Value::as_str).unwrap_or("");
        let shown = if text("shown").is_empty() { last.kind.to_string() } else { text("shown").to_owned() };
        if !text("text").is_empty() {
            page.hanging(Tone::Plain, "last: ", &format!("{} — {shown}", text("text")));
        }
        self.prompter.show(&page.finish());
    }
}

/// The short prompt of a turn.
fn prompt_of(turn: &Turn) -> &'static str {
    match &turn.ask {
        Ask::Plan { interaction, started, .. } => match &interaction.kind {
            Asked::Step(_) if interaction.has_start() && !started => "s to start, ? for more",
            Asked::Step(_) | Asked::Wait { .. } | Asked::Duty { .. } => "d when done, ? for more",
            Asked::Pause { .. } => "y, n or - for each, ? for more",
            Asked::Reading(_) => "reading, ? for more",
            _ => "answer, ? for more",
        },
        Ask::Review { .. } => "again, as it is: …, ? for more",
        Ask::Stop(_) => "d when you have read it, ? for more",
        Ask::Finish { .. } => "d to close the job, ? for more",
        Ask::Refused(_) => "? for more",
        _ => "d or c, ? for more",
    }
}
