//! Screens: a turn as text, for a terminal of any width, and the same text for transcripts.

use serde_json::Value;

use crate::drawing::page::{Page, Tone};
use crate::drawing::{self, characters};
use crate::engine::bundle::Procedure;
use crate::engine::cards;
use crate::engine::interaction::{Form, Interaction, Kind, Limit, Question, Shown, Signal};
use crate::engine::said::words_of_choice;
use crate::engine::turn::{Ask, Turn};
use crate::gate;
use crate::quantity::{plain, shown_inert};

/// What a screen needs to know besides the turn.
#[derive(Debug, Clone, Copy)]
pub struct Frame<'a> {
    /// The procedure, for its headings.
    pub procedure: &'a Procedure,
    /// Columns.
    pub width: usize,
    /// Colour may be used.
    pub colour: bool,
    /// Interactions of the usual way, as far as looking ahead has found; 0 where it has not run.
    pub about: usize,
    /// Marked on every screen: `REHEARSAL`, `DRILL`; empty on a real job.
    pub mark: &'a str,
}

/// A turn as a screen.
#[must_use]
pub fn turn(turn: &Turn, frame: &Frame<'_>) -> String {
    let mut page = Page::new(frame.width, frame.colour);
    header(&mut page, turn, frame);
    if matches!(turn.ask, Ask::Plan { .. } | Ask::Review { .. } | Ask::Stop(_) | Ask::Finish { .. }) {
        for shown in turn.fresh_shown() {
            show(&mut page, shown);
        }
    }
    ask(&mut page, turn);
    if !frame.mark.is_empty() {
        // Without a prompt, what each answer belongs to has to stand on the screen itself.
        fields_of(&mut page, turn);
    }
    page.finish()
}

fn fields_of(page: &mut Page, turn: &Turn) {
    let asked = match &turn.ask {
        Ask::Evidence(ask) => ask,
        Ask::Trouble(trouble) if !trouble.offers.is_empty() => &trouble.offers[0],
        _ => return,
    };
    for (number, field) in asked.fields.iter().enumerate() {
        page.hanging(Tone::Plain, &format!("  {}  ", number + 1), &field.text);
    }
}

/// Stage, step, level, proof and duties: two lines at 80 columns, three at 40.
fn header(page: &mut Page, turn: &Turn, frame: &Frame<'_>) {
    page.rule();
    let stage = frame.procedure.stage.get(turn.stage).map_or("", |stage| stage.title.as_str());
    let number = turn.trail.len() + 1;
    let mut parts = Vec::new();
    if !frame.mark.is_empty() {
        parts.push(frame.mark.to_owned());
    }
    parts.push(stage.to_owned());
    parts.push(if frame.about > 0 {
        format!("{number} of about {}", frame.about.max(number))
    } else {
        number.to_string()
    });
    parts.extend(levels(turn));
    page.paragraph(Tone::Faint, &parts.join(" · "));
    let duties: Vec<&str> = turn.world.duties().iter().map(|duty| duty.name.as_str()).collect();
    if !duties.is_empty() {
        page.paragraph(Tone::Faint, &format!("open: {}", duties.join(", ")));
    }
    page.gap();
}

/// The levels that matter, and the proofs that stand.
fn levels(turn: &Turn) -> Vec<String> {
    let mut parts = Vec::new();
    if turn.world.in_doubt() {
        parts.push(String::from("LOCK IN DOUBT"));
    }
    for circuit in turn.world.circuits() {
        let level = turn.world.level(circuit);
        // Of the whole home and of the void only what is off is news.
        let news = if [gate::MAIN_SWITCH, gate::VOID].contains(&circuit) {
            gate::Level::Identified
        } else {
            gate::Level::Unknown
        };
        if level > news {
            parts.push(format!("{circuit} {}", level.word()));
        }
    }
    for point in turn.points.values().map(crate::engine::point_of) {
        if let Some(until) = turn.world.proved_until(&point, turn.now) {
            parts.push(format!("dead at {} until {}", point.name, until.clock()));
        }
    }
    parts
}

fn ask(page: &mut Page, turn: &Turn) {
    match &turn.ask {
        Ask::Trouble(trouble) => {
            page.paragraph(Tone::Alarm, &trouble.text);
            page.paragraph(Tone::Faint, &trouble.why);
            for (number, offer) in trouble.offers.iter().enumerate() {
                page.gap();
                if number > 0 {
                    page.paragraph(Tone::Faint, &format!("Or (type o{number}): {}", offer.text));
                } else {
                    evidence(page, offer);
                }
            }
            if trouble.kind == gate::TroubleKind::Stopped {
                page.gap();
                page.paragraph(Tone::Plain, "When it is understood and safe, type release to go on.");
            }
        }
        Ask::Evidence(ask) => evidence(page, ask),
        Ask::Refused(refusal) => {
            page.paragraph(Tone::Alarm, &refusal.text);
            page.paragraph(Tone::Plain, &refusal.instead);
        }
        Ask::Plan { interaction, former, keep, started, .. } => {
            plan(page, interaction, *started, former.as_ref().map(|former| former.0.text("shown")), keep.as_ref());
        }
        Ask::Review { interaction, former, .. } => review(page, interaction, former.0.text("text")),
        Ask::Unfinished { text, .. } => {
            page.paragraph(Tone::Strong, "This was started and not ended:");
            page.paragraph(Tone::Plain, text);
        }
        Ask::Stop(stop) => {
            page.paragraph(Tone::Alarm, "STOP");
            page.paragraph(Tone::Strong, &stop.text);
            page.hanging(Tone::Plain, "Leave safe: ", &stop.leave_safe);
            page.hanging(Tone::Plain, "Ask: ", &stop.call);
        }
        Ask::Finish { ending } => {
            page.paragraph(Tone::Strong, &format!("The job can be closed as: {}.", ending.words()));
        }
        Ask::Ended(ending) => page.paragraph(Tone::Strong, &format!("This job has ended: {}.", ending.words())),
        Ask::Broken(error) => {
            page.paragraph(Tone::Alarm, "The procedure cannot go on here.");
            page.paragraph(Tone::Plain, &error.to_string());
            page.paragraph(Tone::Plain, &error.advice);
        }
    }
}

/// A piece of evidence: its danger, what to do, and what will be asked.
pub fn evidence(page: &mut Page, ask: &gate::Ask) {
    if !ask.danger.is_empty() {
        page.paragraph(Tone::Alarm, &ask.danger);
        page.gap();
    }
    page.paragraph(Tone::Strong, &ask.text);
    page.paragraph(Tone::Faint, &ask.why);
}

fn plan(
    page: &mut Page,
    interaction: &Interaction,
    started: bool,
    former: Option<&str>,
    keep: Option<&(Value, String)>,
) {
    for caution in interaction.cautions() {
        let tone = if caution.signal == Signal::Danger { Tone::Alarm } else { Tone::Strong };
        let words = format!("{} {} {}", caution.hazard, caution.consequence, caution.avoid);
        page.hanging(tone, &format!("{} ", caution.signal.word()), &words);
        page.gap();
    }
    match &interaction.card {
        Some(card) => card_rows(page, &card.tag, &card.rows, card.at),
        None => page.paragraph(Tone::Strong, &shown_inert(&interaction.text)),
    }
    match &interaction.kind {
        Kind::Question(question) => {
            for (number, option) in question.options.iter().enumerate() {
                page.hanging(Tone::Plain, &format!("  {}  ", number + 1), option);
            }
            if question.form == Form::YesNo {
                page.paragraph(Tone::Plain, "  y  yes   n  no");
            }
            let bounds = bounds_words(question);
            if !bounds.is_empty() {
                page.paragraph(Tone::Faint, &bounds);
            }
        }
        Kind::Choice { among } => {
            for (number, value) in among.iter().enumerate() {
                page.hanging(Tone::Plain, &format!("  {}  ", number + 1), &words_of_choice(value));
            }
            if let Some((_, words)) = keep {
                page.hanging(Tone::Plain, "  keep  ", words);
            }
        }
        Kind::Reading(reading) => {
            if let Some(limit) = &reading.limit {
                page.paragraph(Tone::Plain, &limit_words(limit, &reading.unit));
            }
            for (number, option) in reading.options.iter().enumerate() {
                page.hanging(Tone::Plain, &format!("  {}  ", number + 1), option);
            }
        }
        Kind::Pause { items, .. } => {
            for (number, item) in items.iter().enumerate() {
                page.hanging(Tone::Plain, &format!("  {}  ", number + 1), item);
            }
        }
        Kind::Wait { code, who } => page.paragraph(Tone::Faint, &format!("{code}, waiting for {who}")),
        Kind::Step(step) => {
            let kit: Vec<&str> = step.tools.iter().chain(&step.materials).map(String::as_str).collect();
            if !kit.is_empty() {
                page.hanging(Tone::Faint, "with ", &kit.join(", "));
            }
            if started {
                page.paragraph(Tone::Faint, "started");
            }
        }
        Kind::Duty { .. } => {}
    }
    if let Some(former) = former.filter(|former| !former.is_empty()) {
        page.hanging(Tone::Faint, "before: ", former);
    }
}

/// What a number is typed in, and how large it may be; empty where words are asked.
fn bounds_words(question: &Question) -> String {
    let typed = match question.form {
        Form::Length => String::from("In metres, or with its unit, as in 72 mm"),
        Form::Amount => format!("In {}", question.unit),
        Form::Count => String::from("A number"),
        _ => return String::new(),
    };
    let shown = |value: f64| plain(value, 3);
    match (question.least, question.most) {
        (Some(least), Some(most)) => format!("{typed}; {} to {}.", shown(least), shown(most)),
        (Some(least), None) => format!("{typed}; {} or more.", shown(least)),
        (None, Some(most)) => format!("{typed}; {} or less.", shown(most)),
        (None, None) => format!("{typed}."),
    }
}

fn card_rows(page: &mut Page, tag: &str, rows: &[String], at: usize) {
    page.paragraph(Tone::Faint, tag);
    for (number, row) in rows.iter().enumerate() {
        let (mark, tone) = match number.cmp(&at) {
            std::cmp::Ordering::Less => ("  ✓ ", Tone::Faint),
            std::cmp::Ordering::Equal => ("  ▸ ", Tone::Strong),
            std::cmp::Ordering::Greater => ("    ", Tone::Plain),
        };
        page.hanging(tone, mark, &shown_inert(row));
    }
}

/// A limit in words, with its source.
#[must_use]
pub fn limit_words(limit: &Limit, unit: &str) -> String {
    let unit = if limit.unit.is_empty() { unit } else { &limit.unit };
    let figure = |value: f64| format!("{} {unit}", plain(value, 3)).trim_end().to_owned();
    let mut parts = Vec::new();
    if let (Some(low), Some(high)) = (limit.low, limit.high) {
        parts.push(format!("expected {} to {}", figure(low), figure(high)));
    } else if let Some(expected) = limit.expected {
        parts.push(format!("expected about {}", figure(expected)));
    }
    if let Some(least) = limit.least {
        parts.push(format!("passes at {} or more", figure(least)));
    }
    if let Some(most) = limit.most {
        parts.push(format!("passes at {} or less", figure(most)));
    }
    if parts.is_empty() { limit.source.clone() } else { format!("{}.", parts.join("; ")) }
}

fn review(page: &mut Page, interaction: &Interaction, then: &str) {
    page.paragraph(Tone::Strong, "This was done, and its figures have moved since.");
    page.hanging(Tone::Plain, "then: ", then);
    page.hanging(Tone::Strong, "now:  ", &shown_inert(&interaction.text));
    page.paragraph(Tone::Plain, "Do it again (again), or say why it is right (as it is: REASON), or can't.");
}

/// Something shown on the way.
pub fn show(page: &mut Page, shown: &Shown) {
    let width = page.width();
    match shown {
        Shown::Plan { drawing } => {
            picture(page, drawing::read(drawing).map(|plan| drawing::ceiling_plan(&plan)), width)
        }
        Shown::Chain { drawing } => picture(page, drawing::read(drawing).map(|chain| drawing::chain(&chain)), width),
        Shown::Junction { drawing } => {
            picture(page, drawing::read(drawing).map(|junction| drawing::junction(&junction)), width);
        }
        Shown::Table { title, columns, rows } => {
            page.paragraph(Tone::Plain, title);
            page.table(columns, rows);
        }
        Shown::Finding { finding } => finding_line(page, finding),
        Shown::Say { text } => page.paragraph(Tone::Plain, &shown_inert(text)),
        Shown::Card { name } => emergency(page, name),
    }
    page.gap();
}

fn picture(page: &mut Page, drawing: Result<drawing::Drawing, crate::case::CaseError>, width: usize) {
    match drawing {
        Ok(drawing) => {
            for line in characters::render(&drawing, width.min(80), characters::Glyphs::Boxes) {
                page.line(Tone::Plain, &line);
            }
        }
        Err(error) => page.paragraph(Tone::Alarm, &format!("this drawing cannot be made: {error}")),
    }
}

/// One finding: what, value, limit, verdict.
fn finding_line(page: &mut Page, finding: &Value) {
    let text = |name: &str| finding.get(name).and_then(Value::as_str).unwrap_or("");
    let number = |name: &str| finding.get(name).and_then(Value::as_f64).map(|value| plain(value, 3));
    let mut line = format!("{}: ", text("id").replace('_', " "));
    if let Some(value) = number("value") {
        line.push_str(&format!("{value} {}", text("unit")));
    }
    if let Some(limit) = number("limit") {
        line.push_str(&format!(", {} {limit} {}", text("side"), text("unit")));
    }
    line.push_str(&format!(" — {}", text("verdict")));
    page.hanging(if text("verdict") == "outside" { Tone::Alarm } else { Tone::Plain }, "", line.trim());
}

/// An emergency card, by name.
pub fn emergency(page: &mut Page, name: &str) {
    let Some(card) = cards::named(name) else { return };
    page.paragraph(Tone::Alarm, card.title);
    for line in card.lines {
        page.hanging(Tone::Plain, "  • ", line);
    }
}

/// Where the figures of a turn come from: the answer to *why*.
#[must_use]
pub fn why(turn: &Turn, frame: &Frame<'_>) -> String {
    let mut page = Page::new(frame.width, frame.colour);
    match &turn.ask {
        Ask::Evidence(ask) => page.paragraph(Tone::Plain, &ask.why),
        Ask::Trouble(trouble) => page.paragraph(Tone::Plain, &trouble.why),
        Ask::Plan { interaction, .. } | Ask::Review { interaction, .. } => {
            why_of(&mut page, interaction);
            for shown in turn.fresh_shown() {
                if let Shown::Finding { finding } = shown {
                    sources(&mut page, finding);
                }
            }
            if let Kind::Choice { among } = &interaction.kind {
                among.iter().for_each(|value| sources(&mut page, value));
            }
        }
        _ => {}
    }
    let text = page.finish();
    if text.is_empty() { String::from("Nothing more is recorded about this.\n") } else { text }
}

fn why_of(page: &mut Page, interaction: &Interaction) {
    match &interaction.kind {
        Kind::Question(question) if !question.why.is_empty() => page.paragraph(Tone::Plain, &question.why),
        Kind::Reading(reading) => {
            if !reading.method.is_empty() {
                page.hanging(Tone::Plain, "how: ", &reading.method);
            }
            if let Some(limit) = &reading.limit {
                page.paragraph(Tone::Plain, &limit_words(limit, &reading.unit));
                page.hanging(Tone::Plain, "source: ", &limit.source);
            }
            if !reading.on_fail.is_empty() {
                page.hanging(Tone::Plain, "if it fails: ", &reading.on_fail);
            }
        }
        _ => {}
    }
    page.hanging(Tone::Faint, "asked at ", &format!("{}:{}", interaction.site.file, interaction.site.line));
}

/// Every source named anywhere in a value, once.
fn sources(page: &mut Page, value: &Value) {
    match value {
        Value::Object(entries) => {
            for (key, value) in entries {
                match (key.as_str(), value.as_str()) {
                    ("source", Some(source)) => page.hanging(Tone::Plain, "source: ", source),
                    _ => sources(page, value),
                }
            }
        }
        Value::Array(items) => items.iter().for_each(|item| sources(page, item)),
        _ => {}
    }
}

/// What can be typed at a turn: the answer to `?`.
#[must_use]
pub fn more(turn: &Turn, frame: &Frame<'_>) -> String {
    let mut page = Page::new(frame.width, frame.colour);
    for line in here(turn) {
        page.hanging(Tone::Plain, "  ", line);
    }
    page.gap();
    let always = [
        ("emergency", "what to do: shock, fire, water, cable or pipe hit, dust, fall"),
        ("not sure", "at a question an answer; elsewhere it stops the work, nothing is lost"),
        ("happened", "lock gone, someone came, power cut, detector dropped, a tingle …"),
        ("leaving", "you go away, the key in your pocket"),
        ("back", "untick or change the last thing"),
        ("change", "change an earlier answer"),
        ("why", "figures, inputs and sources"),
        ("note", "write a note into the record"),
        ("other", "another person takes over"),
        ("stop", "stop for today; says what must not stay open"),
    ];
    for (word, meaning) in always {
        page.hanging(Tone::Plain, &format!("  {word:<10} "), meaning);
    }
    page.finish()
}

fn here(turn: &Turn) -> Vec<&'static str> {
    match &turn.ask {
        Ask::Plan { interaction, started, .. } => match &interaction.kind {
            Kind::Step(_) if interaction.has_start() && !started => vec!["s to start · c REASON if you can't"],
            Kind::Step(_) => vec!["d when it is done · c REASON if you can't · paper TIME if it was done on paper"],
            Kind::Reading(reading) if reading.may_stay_open => {
                vec!["the value · open NAME, DATE if a tester will take it"]
            }
            Kind::Reading(_) => vec!["the value as the instrument shows it, > for over range"],
            Kind::Pause { .. } => vec!["one letter for each item: y, n, or - if it does not apply"],
            Kind::Choice { .. } => vec!["a number from the list"],
            Kind::Wait { .. } => vec!["d when it has come · stop to go away meanwhile"],
            Kind::Duty { .. } => vec!["d when it is closed · leave NAME, DATE for a lock that stays on"],
            Kind::Question(_) => vec!["a value, or a number from the list"],
        },
        Ask::Review { .. } => vec!["again · as it is: REASON · c REASON if you can't"],
        Ask::Unfinished { .. } => vec!["d if it was done · c REASON if not"],
        Ask::Trouble(_) => vec!["the answers as asked · o1 for the other way · release after a stop"],
        _ => vec!["the answers as asked"],
    }
}
