//! The pack: what a job leaves behind for people to read.
//!
//! [`text`] is the whole record in plain characters: state, kit, plan, cut list, junctions, tests, gate evidence, open
//! duties. It says what it is: a record kept by the person who did the work, and no certificate.

use std::collections::BTreeMap;
use std::path::Path;
use std::time::Duration;

use serde_json::Value;

use crate::drawing::page::{Page, Tone};
use crate::drawing::{self, characters};
use crate::engine::Engine;
use crate::engine::interaction::{Kind, Shown, Verdict};
use crate::engine::turn::{Ask, Turn};
use crate::gate;
use crate::ledger::{Kind as RecordKind, Record, RunKind};
use crate::moment::Moment;

/// What the tool is not; said at the first start and in every pack.
pub const LIMITS: &[&str] = &[
    "This guide shows and computes. It senses nothing: what you do not look at, it does not know.",
    "It makes nobody competent. It replaces neither the wiring regulations in force, nor the maker's instructions, nor local rules, nor licensed practice.",
    "Its record is yours. It is no certificate.",
];

/// Time that looking ahead for the kit list may take.
const LOOK_AHEAD: Duration = Duration::from_millis(1_500);

/// Where a job stands, in a few words.
#[must_use]
pub fn state_words(turn: &Turn) -> String {
    match &turn.ask {
        Ask::Ended(ending) => ending.words(),
        Ask::Trouble(trouble) => match trouble.kind {
            gate::TroubleKind::Stopped => String::from("stopped"),
            gate::TroubleKind::LockInDoubt => String::from("lock in doubt"),
            gate::TroubleKind::Exposed { .. } => String::from("open point without proof"),
        },
        Ask::Broken(_) => String::from("cannot be read"),
        _ => format!("at {}", turn.key),
    }
}

/// Writes `job.txt` into a job folder.
///
/// # Errors
/// What the system says.
pub fn write_text(job: &Path, engine: &Engine, records: &[Record], now: Moment, run: RunKind) -> std::io::Result<()> {
    std::fs::write(job.join("job.txt"), text(engine, records, now, run, 80))
}

/// The record of a job in plain characters, within `width` columns.
#[must_use]
pub fn text(engine: &Engine, records: &[Record], now: Moment, run: RunKind, width: usize) -> String {
    let turn = engine.advance(records, now);
    let mut page = Page::new(width.min(80), false);
    head(&mut page, engine, &turn, records, run);
    kit(&mut page, engine, &turn, records, now);
    drawings(&mut page, &turn);
    answers(&mut page, engine, &turn);
    tests(&mut page, &turn);
    evidence(&mut page, records);
    open_points(&mut page, &turn, records);
    section(&mut page, "Limits");
    for line in LIMITS {
        page.hanging(Tone::Plain, "- ", line);
    }
    page.finish()
}

fn section(page: &mut Page, title: &str) {
    page.gap();
    page.line(Tone::Strong, &title.to_uppercase());
}

fn head(page: &mut Page, engine: &Engine, turn: &Turn, records: &[Record], run: RunKind) {
    if run != RunKind::Job {
        page.line(Tone::Alarm, &format!("{} — NOT A REAL JOB", run.word().to_uppercase()));
        page.gap();
    }
    page.paragraph(Tone::Strong, &engine.bundle.procedure.title);
    let stage = engine.bundle.procedure.stage.get(turn.stage).map_or("", |stage| stage.title.as_str());
    page.paragraph(Tone::Plain, &format!("State: {} ({stage})", state_words(turn)));
    if let (Some(first), Some(last)) = (records.first(), records.last()) {
        let (from, to) = (first.at, last.at);
        let span =
            format!("From {} {} to {} {}, by {}.", from.date(), from.clock(), to.date(), to.clock(), last.person);
        page.paragraph(Tone::Plain, &span);
    }
    for circuit in turn.world.circuits() {
        page.paragraph(Tone::Plain, &format!("{circuit}: {}", turn.world.level(circuit).word()));
    }
    for because in &turn.returns {
        page.hanging(Tone::Plain, "Went back: ", because);
    }
}

fn kit(page: &mut Page, engine: &Engine, turn: &Turn, records: &[Record], now: Moment) {
    let ahead = engine.look_ahead(records, now, LOOK_AHEAD);
    let mut items: BTreeMap<String, usize> = BTreeMap::new();
    for passed in &turn.trail {
        for item in passed.interaction.kit() {
            *items.entry(item.to_owned()).or_default() += 1;
        }
    }
    for (item, keys) in &ahead.kit {
        *items.entry(item.clone()).or_default() += keys.len();
    }
    section(page, "Kit and materials");
    for item in items.keys() {
        page.hanging(Tone::Plain, "- ", item);
    }
    if !turn.has_ended() {
        let at_least = if ahead.complete { "" } else { "at least " };
        let (fewest, most) = ahead.minutes;
        page.paragraph(Tone::Plain, &format!("Still to come: {at_least}{fewest:.0} to {most:.0} minutes of work."));
    }
}

/// The last drawing of each kind, and every junction and table.
fn drawings(page: &mut Page, turn: &Turn) {
    let last = |wanted: fn(&Shown) -> bool| turn.shown.iter().rev().find(|shown| wanted(shown));
    let singles = [
        ("Ceiling plan", last(|shown| matches!(shown, Shown::Plan { .. }))),
        ("Chain and cut list", last(|shown| matches!(shown, Shown::Chain { .. }))),
    ];
    for (title, shown) in singles {
        if let Some(shown) = shown {
            section(page, title);
            draw(page, shown);
        }
    }
    let junctions: Vec<_> = turn.shown.iter().filter(|shown| matches!(shown, Shown::Junction { .. })).collect();
    if !junctions.is_empty() {
        section(page, "Junction");
        junctions.iter().for_each(|shown| draw(page, shown));
    }
    for shown in &turn.shown {
        if let Shown::Table { title, columns, rows } = shown {
            section(page, title);
            page.table(columns, rows);
        }
    }
}

fn draw(page: &mut Page, shown: &Shown) {
    let drawing = match shown {
        Shown::Plan { drawing } => drawing::read(drawing).map(|plan| drawing::ceiling_plan(&plan)),
        Shown::Chain { drawing } => drawing::read(drawing).map(|chain| drawing::chain(&chain)),
        Shown::Junction { drawing } => drawing::read(drawing).map(|junction| drawing::junction(&junction)),
        _ => return,
    };
    match drawing {
        Ok(drawing) => {
            for line in characters::render(&drawing, page.width(), characters::Glyphs::Boxes) {
                page.line(Tone::Plain, &line);
            }
        }
        Err(error) => page.paragraph(Tone::Plain, &format!("this drawing cannot be made: {error}")),
    }
}

/// Every answer and step of the path, by stage.
fn answers(page: &mut Page, engine: &Engine, turn: &Turn) {
    let mut stage = usize::MAX;
    for passed in &turn.trail {
        if passed.interaction.stage != stage {
            stage = passed.interaction.stage;
            section(page, engine.bundle.procedure.stage.get(stage).map_or("", |stage| stage.title.as_str()));
        }
        let answer = &passed.answer;
        let shown = answer.text("shown");
        let paper = answer.text("paper");
        let mark = match (shown.is_empty(), paper.is_empty()) {
            (_, false) => format!("on paper, {paper}, not seen by this guide"),
            (false, _) => shown.to_owned(),
            (true, true) => format!("done {}", answer.at.clock()),
        };
        page.hanging(Tone::Plain, "  ", &format!("{} — {mark}", passed.interaction.text));
        if !answer.text("kept").is_empty() {
            page.hanging(Tone::Plain, "    kept as done: ", answer.text("kept"));
        }
    }
}

fn tests(page: &mut Page, turn: &Turn) {
    let mut rows = Vec::new();
    for passed in &turn.trail {
        if let Kind::Reading(reading) = &passed.interaction.kind {
            let verdict = passed.answer.body.get("verdict").cloned().unwrap_or(Value::Null);
            let verdict = serde_json::from_value::<Verdict>(verdict).map_or("", Verdict::word);
            let of = if passed.interaction.of.is_empty() { "—" } else { &passed.interaction.of };
            rows.push(vec![
                reading.what.clone(),
                of.to_owned(),
                passed.answer.text("shown").to_owned(),
                verdict.to_owned(),
                passed.answer.at.clock(),
            ]);
        }
    }
    if !rows.is_empty() {
        section(page, "Tests");
        page.table(&["what", "of", "value", "verdict", "at"].map(String::from), &rows);
    }
}

fn evidence(page: &mut Page, records: &[Record]) {
    let pieces: Vec<_> = records
        .iter()
        .filter(|record| matches!(record.kind, RecordKind::Evidence | RecordKind::Reported | RecordKind::Released))
        .collect();
    if pieces.is_empty() {
        return;
    }
    section(page, "Gate evidence");
    for record in pieces {
        let text = record.body.get("text").and_then(Value::as_str).unwrap_or("");
        let event = record.body.get("event").and_then(Value::as_str).unwrap_or("").replace('_', " ");
        let typed = record
            .body
            .get("typed")
            .and_then(Value::as_array)
            .map(|typed| typed.iter().filter_map(Value::as_str).collect::<Vec<_>>().join(", "));
        let words = [text, &event, typed.as_deref().unwrap_or("")];
        let words: Vec<_> = words.into_iter().filter(|words| !words.is_empty()).collect();
        page.hanging(Tone::Plain, &format!("{} {} ", record.at.clock(), record.kind), &words.join(" — "));
    }
}

fn open_points(page: &mut Page, turn: &Turn, records: &[Record]) {
    section(page, "Open points");
    let mut none = true;
    for duty in turn.world.duties() {
        page.hanging(Tone::Plain, "- still open: ", &format!("{} ({})", duty.name, duty.closing));
        none = false;
    }
    for passed in &turn.trail {
        let tester = passed.answer.text("tester");
        if !tester.is_empty() {
            page.hanging(Tone::Plain, "- reading not taken: ", &format!("{} — {tester}", passed.interaction.text));
            none = false;
        }
    }
    for key in &turn.set_aside {
        page.hanging(Tone::Plain, "- set aside, not asked on this path: ", key);
        none = false;
    }
    for record in records.iter().filter(|record| record.kind == RecordKind::Noted) {
        let note = record.body.get("note").and_then(Value::as_str).unwrap_or("");
        page.hanging(Tone::Plain, &format!("- note {} ", record.at.clock()), note);
        none = false;
    }
    if none {
        page.line(Tone::Plain, "none");
    }
}
