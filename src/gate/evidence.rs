//! Evidence: the answers to one prompt of the gate, as they go into the ledger, and what follows from them.
//!
//! What was seen is stored as it was seen. What follows from it is drawn here, once when it is typed and again whenever the
//! ledger is read, so that no record can say more than its answers do.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::limits::DEAD_VOLTS;
use super::{Ask, Field, Form, MAIN_SWITCH, Piece, VOID, words};

/// The longest text of a field, in characters.
const LONGEST_TEXT: usize = 200;

/// One record of evidence: what it is about, and the answer to each field.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Evidence {
    /// What it is about.
    pub piece: Piece,
    /// The answers, by name of the field.
    pub answers: BTreeMap<String, String>,
}

/// Why answers are no evidence: what they mean, and what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{message} {hint}")]
pub struct Problem {
    /// What is wrong, or what the answer means.
    pub message: String,
    /// What to do next.
    pub hint: String,
}

impl Problem {
    pub(super) fn new(message: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { message: message.into(), hint: hint.into() }
    }
}

/// What follows from a piece of evidence.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Conclusion {
    /// All that was wanted was seen.
    Met,
    /// The circuit can be isolated by the main switch only.
    MainSwitchOnly,
    /// Voltage where there should be none.
    Voltage,
    /// The lock was not seen, or the key is not here.
    LockNotSeen,
    /// The detector is another one, or shows its source no more.
    DetectorFailed,
    /// Something behind the timber can't be seen.
    FacesHidden,
    /// Asbestos was reported.
    Asbestos,
}

/// Makes evidence of what was typed, one answer for each field in order. For a whole row of readings `none` will do, typed
/// in full.
///
/// An answer that changes the world for the worse (a voltage, a lock that was not seen) is evidence too, even if the fields
/// after it are still open. *Not sure* is an answer only where a field offers it.
///
/// # Errors
/// [`Problem`] when an answer can't be read, is missing, or is not the one that leads on: what it means and what to do.
pub fn examine(ask: &Ask, answers: &[String]) -> Result<Evidence, Problem> {
    let is_read = matches!(ask.piece, Piece::Read { .. });
    let whole_row = is_read && answers.len() == 1 && answers[0].trim().eq_ignore_ascii_case("none");
    let typed: Vec<&str> = match answers.first() {
        Some(none) if whole_row => vec![none; ask.fields.len()],
        _ => answers.iter().map(String::as_str).collect(),
    };
    if typed.len() > ask.fields.len() {
        let asked = ask.fields.len();
        return Err(Problem::new(
            format!("{} answers were given, and {asked} are asked.", typed.len()),
            "Give one answer for each question.",
        ));
    }
    let mut evidence = Evidence { piece: ask.piece.clone(), answers: BTreeMap::new() };
    let mut unread = None;
    for (field, typed) in ask.fields.iter().zip(typed) {
        match canonical(field, typed) {
            Ok(answer) => drop(evidence.answers.insert(field.name.clone(), answer)),
            Err(problem) => drop(unread.get_or_insert(problem)),
        }
    }
    // A voltage further along the row counts even if an answer before it can't be read.
    match (evidence.conclude(), unread) {
        (Ok(_), None) => Ok(evidence),
        (Ok(conclusion), Some(_)) if conclusion != Conclusion::Met => Ok(evidence),
        (_, Some(problem)) | (Err(problem), None) => Err(problem),
    }
}

impl Evidence {
    /// Whether this lowers the gate or closes a way, rather than raise anything: it is to be recorded all the same.
    #[must_use]
    pub fn is_bad_news(&self) -> bool {
        !matches!(self.conclude(), Ok(Conclusion::Met))
    }

    /// Draws the conclusion from the answers.
    pub(super) fn conclude(&self) -> Result<Conclusion, Problem> {
        let bad_news = self.answers.iter().find_map(|(name, answer)| bad_news(&self.piece, name, answer));
        if let Some(conclusion) = bad_news {
            return Ok(conclusion);
        }
        let fields = words::ask(self.piece.clone()).fields;
        let missing: Vec<_> = fields.iter().filter(|field| !self.answers.contains_key(&field.name)).collect();
        if !missing.is_empty() {
            let names: Vec<_> = missing.iter().map(|field| field.name.as_str()).collect();
            return Err(Problem::new(format!("Not answered: {}.", names.join(", ")), "Answer these too."));
        }
        if fields.is_empty() || self.answers.len() != fields.len() {
            return Err(Problem::new("There are answers to questions that nobody asked.", "Enter this again."));
        }
        for field in &fields {
            let answer = &self.answers[&field.name];
            if canonical(field, answer)? != *answer || !leads_on(&field.form, answer) {
                return Err(Problem::new(words::not_as_wanted(&field.name, answer), &field.otherwise));
            }
        }
        self.breaker_closed_again()?;
        Ok(Conclusion::Met)
    }

    /// A circuit breaker is shown by closing it once more; a fuse by its carrier in the pocket.
    fn breaker_closed_again(&self) -> Result<(), Problem> {
        let is = |name: &str, option: &str| self.answers.get(name).is_some_and(|answer| answer == option);
        let is_fuse = is("device", words::REWIREABLE) || is("device", words::CARTRIDGE);
        if self.answers.contains_key("closed again") && is("closed again", words::CARRIER_OUT) != is_fuse {
            return Err(Problem::new(words::CLOSE_AGAIN, words::CLOSE_AGAIN_HINT));
        }
        Ok(())
    }
}

/// What a single answer means, where it alone decides.
fn bad_news(piece: &Piece, name: &str, answer: &str) -> Option<Conclusion> {
    let no = answer == "no";
    match (piece, name) {
        (Piece::Identify { circuit }, "lit before") if no && circuit != MAIN_SWITCH && circuit != VOID => {
            Some(Conclusion::MainSwitchOnly)
        }
        (Piece::Identify { circuit }, "way") if circuit == VOID && answer == words::BY_MAIN_SWITCH => {
            Some(Conclusion::MainSwitchOnly)
        }
        (Piece::Secure { circuit, .. }, "how") if circuit != MAIN_SWITCH && answer == words::NO_LOCK => {
            Some(Conclusion::MainSwitchOnly)
        }
        (Piece::Secure { .. }, "shared neutral") if answer != "no" => Some(Conclusion::MainSwitchOnly),
        (Piece::LockSeen, _) if no => Some(Conclusion::LockNotSeen),
        (Piece::Read { .. }, _) if volts(answer).is_some_and(|volts| volts > DEAD_VOLTS) => Some(Conclusion::Voltage),
        (Piece::ProveAgain { .. }, _) if no => Some(Conclusion::DetectorFailed),
        (Piece::Faces { .. }, _) if no => Some(Conclusion::FacesHidden),
        (Piece::Coating, "evidence") if answer == words::ASBESTOS => Some(Conclusion::Asbestos),
        _ => None,
    }
}

fn leads_on(form: &Form, answer: &str) -> bool {
    match form {
        Form::YesNo => answer == "yes",
        Form::OneOf { options, leading_on } => options[..*leading_on].contains(&answer),
        Form::Text | Form::Volts => true,
    }
}

/// An answer in the form in which it is stored.
fn canonical(field: &Field, typed: &str) -> Result<String, Problem> {
    let typed = typed.trim();
    let unread = |hint: &str| Problem::new(format!("`{typed}` does not answer \"{}\"", field.text), hint);
    match &field.form {
        Form::YesNo => match typed.to_lowercase().as_str() {
            "y" | "yes" => Ok("yes".to_owned()),
            "n" | "no" => Ok("no".to_owned()),
            _ => Err(unread("Answer yes or no.")),
        },
        Form::OneOf { options, .. } => {
            let by_number = typed.parse::<usize>().ok().and_then(|number| options.get(number.checked_sub(1)?));
            let in_full = || options.iter().find(|option| option.eq_ignore_ascii_case(typed));
            let option = by_number.or_else(in_full);
            option.map(|option| (*option).to_owned()).ok_or_else(|| unread(&words::one_of(options)))
        }
        Form::Text if typed.is_empty() => Err(unread("Type a few words.")),
        Form::Text if typed.chars().count() > LONGEST_TEXT || typed.chars().any(char::is_control) => {
            Err(unread("Make it one short line."))
        }
        Form::Text => Ok(typed.to_owned()),
        Form::Volts => match volts(typed) {
            Some(0.0) => Ok("none".to_owned()),
            Some(volts) => Ok(format!("{volts} V")),
            None => Err(unread("Type the figure in volts, or none for no indication.")),
        },
    }
}

/// Volts as typed or stored; no indication is nought. A sign is the order of the probes, not a smaller voltage. Over range
/// is read only where it is an alarm: more than a few volts may be any voltage.
fn volts(text: &str) -> Option<f64> {
    if text.eq_ignore_ascii_case("none") {
        return Some(0.0);
    }
    let figure = text.strip_suffix(['V', 'v']).unwrap_or(text).trim();
    let (figure, over) = figure.strip_prefix('>').map_or((figure, false), |least| (least.trim(), true));
    let volts = figure.parse::<f64>().ok()?.abs();
    (volts.is_finite() && (!over || volts > DEAD_VOLTS)).then_some(volts)
}
