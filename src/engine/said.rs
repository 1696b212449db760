//! What a person types, read as the value of a question, a choice or a reading, and judged.

use serde_json::{Value, json};

use super::interaction::{Form, Interaction, Kind, Limit, Question, Reading, Verdict, dimension_of};
use crate::quantity::{self, Dimension, Measured, shown_inert};

/// The longest free text that is taken, in characters.
const LONGEST_TEXT: usize = 500;
/// The longest name that is taken, in characters.
const LONGEST_NAME: usize = 60;

/// Why a reply was not taken, and what to do next.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{message}{}{hint}", match (hint.is_empty(), message.ends_with('.')) { (true, _) => "", (_, true) => " ", _ => ". " })]
pub struct Problem {
    /// What is wrong with it.
    pub message: String,
    /// What to do next; empty where the message says it.
    pub hint: String,
}

impl Problem {
    /// A problem with a hint.
    #[must_use]
    pub fn new(message: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { message: message.into(), hint: hint.into() }
    }
}

/// A value as it goes into the ledger.
#[derive(Debug, Clone, PartialEq)]
pub struct Said {
    /// The value: number in the question's unit (metres for a length), word, or whole map.
    pub value: Value,
    /// The value as shown.
    pub shown: String,
    /// Verdict of a reading.
    pub verdict: Option<Verdict>,
    /// The reading was over range.
    pub over: bool,
    /// Who takes an open reading, and when.
    pub tester: String,
}

impl Said {
    fn plain(value: Value, shown: impl Into<String>) -> Self {
        Self { value, shown: shown.into(), verdict: None, over: false, tester: String::new() }
    }
}

/// Reads what was typed at an interaction that takes a value.
///
/// # Errors
/// [`Problem`] in words for the person.
pub fn read(interaction: &Interaction, typed: &str) -> Result<Said, Problem> {
    let typed = typed.trim();
    match &interaction.kind {
        Kind::Question(question) => answer(question, typed),
        Kind::Choice { among } => choice(among, typed),
        Kind::Reading(reading) => measured(reading, typed),
        _ => Err(Problem::new("this takes no value", "Type d when it is done.")),
    }
}

/// The *not sure* of a question.
///
/// # Errors
/// [`Problem`] where the job cannot go on without a definite answer.
pub fn not_sure(question: &Question) -> Result<Said, Problem> {
    if question.must {
        let hint = "Find it out, then come back: the job keeps its place.";
        return Err(Problem::new("the job cannot go on without a definite answer here", hint));
    }
    Ok(Said::plain(json!("not sure"), "not sure"))
}

fn answer(question: &Question, typed: &str) -> Result<Said, Problem> {
    let quantity = |error: quantity::QuantityError| Problem::new(error.to_string(), "");
    match question.form {
        Form::Length => {
            let value = quantity::parse(typed, Dimension::Length, Some("m")).map_err(quantity)?;
            quantity::within(value, typed, Dimension::Length, question.least, question.most).map_err(quantity)?;
            Ok(Said::plain(json!(value), format!("{} m", quantity::plain(value, 3))))
        }
        Form::Count => {
            let value: i64 = typed.parse().map_err(|_| {
                Problem::new(format!("`{}` is no whole number", shown_inert(typed)), "Type a number such as 6.")
            })?;
            #[expect(clippy::cast_precision_loss, reason = "bounds of counts are small")]
            quantity::within(value as f64, typed, Dimension::Number, question.least, question.most)
                .map_err(quantity)?;
            Ok(Said::plain(json!(value), value.to_string()))
        }
        Form::Amount => {
            let dimension = dimension_of(&question.unit);
            let size = Dimension::of_unit(&question.unit).map_or(1.0, |(_, size)| size);
            let bare = (dimension != Dimension::Number).then_some(question.unit.as_str());
            let digits = typed.strip_suffix(question.unit.as_str()).map_or(typed, str::trim_end);
            let text = if dimension == Dimension::Number { digits } else { typed };
            let base = quantity::parse(text, dimension, bare).map_err(quantity)?;
            let bound = |bound: Option<f64>| bound.map(|bound| bound * size);
            quantity::within(base, typed, dimension, bound(question.least), bound(question.most)).map_err(quantity)?;
            let value = (base / size * 1e9).round() / 1e9;
            Ok(Said::plain(json!(value), format!("{} {}", quantity::plain(value, 4), question.unit)))
        }
        Form::OneOf => {
            let option = among_options(&question.options, typed)?;
            Ok(Said::plain(json!(option), option))
        }
        Form::YesNo => {
            let word = yes_or_no(typed).ok_or_else(|| {
                Problem::new(format!("`{}` is neither yes nor no", shown_inert(typed)), "Type y or n, or ? for more.")
            })?;
            Ok(Said::plain(json!(word), word))
        }
        Form::Text => free(typed, LONGEST_TEXT),
        Form::Name => free(typed, LONGEST_NAME),
    }
}

fn free(typed: &str, most: usize) -> Result<Said, Problem> {
    let text = shown_inert(typed);
    if text.is_empty() {
        return Err(Problem::new("nothing was typed", "Type it, or ? for more."));
    }
    if text.chars().count() > most {
        return Err(Problem::new(format!("that is longer than {most} letters"), "Say it shorter."));
    }
    Ok(Said::plain(json!(text), text))
}

/// `yes` or `no` out of what was typed.
#[must_use]
pub fn yes_or_no(typed: &str) -> Option<&'static str> {
    match typed.trim().to_lowercase().as_str() {
        "y" | "yes" => Some("yes"),
        "n" | "no" => Some("no"),
        _ => None,
    }
}

/// An option by its number in the list, or by its words.
///
/// # Errors
/// [`Problem`] that names the range.
pub fn among_options(options: &[String], typed: &str) -> Result<String, Problem> {
    let by_number = typed.parse::<usize>().ok().and_then(|number| options.get(number.checked_sub(1)?));
    let lower = typed.to_lowercase();
    let by_word = || options.iter().find(|option| option.to_lowercase() == lower);
    by_number.or_else(by_word).cloned().ok_or_else(|| {
        let message = format!("`{}` is not in the list", shown_inert(typed));
        Problem::new(message, format!("Type a number from 1 to {}, or ? for more.", options.len()))
    })
}

fn choice(among: &[Value], typed: &str) -> Result<Said, Problem> {
    let number = typed.parse::<usize>().ok().filter(|number| (1..=among.len()).contains(number));
    let number = number.ok_or_else(|| {
        let message = format!("`{}` is not in the list", shown_inert(typed));
        Problem::new(message, format!("Type a number from 1 to {}, or ? for more.", among.len()))
    })?;
    let value = among[number - 1].clone();
    let shown = words_of_choice(&value);
    Ok(Said::plain(value, shown))
}

/// The words for one of the things to choose from: its `words`, else its `reason`, else its `name`.
#[must_use]
pub fn words_of_choice(value: &Value) -> String {
    ["words", "reason", "name", "tag"]
        .iter()
        .find_map(|key| value.get(key).and_then(Value::as_str))
        .map_or_else(|| value.to_string(), str::to_owned)
}

fn measured(reading: &Reading, typed: &str) -> Result<Said, Problem> {
    if let Some(who) = open_for(typed) {
        return left_open(reading, who);
    }
    if !reading.options.is_empty() {
        let option = among_options(&reading.options, typed)?;
        let verdict = if option == reading.options[0] { Verdict::Pass } else { Verdict::Fail };
        return Ok(Said { verdict: Some(verdict), ..Said::plain(json!(option), option) });
    }
    let dimension = dimension_of(&reading.unit);
    let (bare, size) = match Dimension::of_unit(&reading.unit) {
        Some((_, size)) => (Some(reading.unit.as_str()), size),
        None => (None, 1.0),
    };
    let none = matches!(typed.to_lowercase().as_str(), "none" | "no indication") && dimension == Dimension::Voltage;
    let found = if none {
        Measured { value: 0.0, over: false }
    } else {
        let digits =
            if bare.is_none() { typed.strip_suffix(reading.unit.as_str()).map_or(typed, str::trim) } else { typed };
        quantity::measured(digits, dimension, bare).map_err(|error| Problem::new(error.to_string(), ""))?
    };
    let value = (found.value / size * 1e9).round() / 1e9;
    let verdict = reading.limit.as_ref().map_or(Verdict::Noted, |limit| judge(found, limit, size));
    let shown = if none {
        String::from("no indication")
    } else {
        format!("{}{} {}", if found.over { ">" } else { "" }, quantity::plain(value, 4), reading.unit)
    };
    Ok(Said { verdict: Some(verdict), over: found.over, ..Said::plain(json!(value), shown) })
}

/// `open NAME, DATE`: who takes the reading later.
fn open_for(typed: &str) -> Option<&str> {
    let rest = typed.strip_prefix("open").or_else(|| typed.strip_prefix("Open"))?;
    (rest.is_empty() || rest.starts_with([' ', ':'])).then(|| rest.trim_start_matches([' ', ':']))
}

fn left_open(reading: &Reading, who: &str) -> Result<Said, Problem> {
    if !reading.may_stay_open {
        let hint = "Take it now, or type stop to end for today with everything closed.";
        return Err(Problem::new("the supply cannot come back without this reading", hint));
    }
    if who.is_empty() {
        return Err(Problem::new("an open reading needs a name and a date", "Type: open NAME, DATE"));
    }
    let tester = shown_inert(who);
    Ok(Said {
        verdict: Some(Verdict::Open),
        tester: tester.clone(),
        ..Said::plain(Value::Null, format!("open: {tester}"))
    })
}

/// The verdict of a reading (base unit) against a limit; `size` is the reading's unit, used where the limit has none.
fn judge(found: Measured, limit: &Limit, size: f64) -> Verdict {
    let size = Dimension::of_unit(&limit.unit).map_or(size, |(_, size)| size);
    let bound = |bound: Option<f64>| bound.map(|bound| bound * size);
    // Held limits are not exact doubles: 2.91 Ω shown and typed must pass a limit of 2.91 Ω.
    let allowance = 1e-9;
    let below = |bound: f64| !found.over && found.value < bound * (1.0 - allowance);
    let above = |bound: f64| found.value > bound * (1.0 + allowance) || (found.over && found.value >= bound);
    if bound(limit.least).is_some_and(below) || bound(limit.most).is_some_and(above) {
        return Verdict::Fail;
    }
    // Over range says only that the value lies beyond the end: short of a least limit that shows nothing.
    let short_of_least = bound(limit.least).is_some_and(|least| found.over && found.value < least * (1.0 - allowance));
    let unsure = short_of_least || (found.over && limit.most.is_some());
    if unsure || bound(limit.low).is_some_and(below) || bound(limit.high).is_some_and(above) {
        return Verdict::LookAgain;
    }
    Verdict::Pass
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn limit(least: Option<f64>, most: Option<f64>) -> Limit {
        Limit { least, most, unit: "Ω".into(), ..Limit::default() }
    }

    #[test]
    fn verdicts_stand_on_the_right_side_of_their_limits() {
        let ohm = |value: f64, over: bool| Measured { value, over };
        for (found, least, most, verdict) in [
            (ohm(2.91, false), None, Some(2.91), Verdict::Pass),
            (ohm(2.92, false), None, Some(2.91), Verdict::Fail),
            (ohm(1.0e6, false), Some(1.0e6), None, Verdict::Pass),
            (ohm(0.9e6, false), Some(1.0e6), None, Verdict::Fail),
            (ohm(999.0e6, true), Some(1.0e6), None, Verdict::Pass),
            (ohm(0.5e6, true), Some(1.0e6), None, Verdict::LookAgain),
            (ohm(2000.0, true), None, Some(2.91), Verdict::Fail),
            (ohm(1.0, true), None, Some(2.91), Verdict::LookAgain),
        ] {
            assert_eq!(judge(found, &limit(least, most), 1.0), verdict, "{found:?}");
        }
    }

    #[test]
    fn outside_what_was_expected_is_looked_at_again() {
        let range = Limit { low: Some(0.3), high: Some(0.5), ..limit(None, None) };
        assert_eq!(judge(Measured { value: 0.41, over: false }, &range, 1.0), Verdict::Pass);
        assert_eq!(judge(Measured { value: 0.61, over: false }, &range, 1.0), Verdict::LookAgain);
    }

    #[test]
    fn options_go_by_number_or_word() {
        let options = vec!["house".to_owned(), "flat".to_owned()];
        assert_eq!(among_options(&options, "2").unwrap(), "flat");
        assert_eq!(among_options(&options, "House").unwrap(), "house");
        assert!(among_options(&options, "0").is_err() && among_options(&options, "3").is_err());
    }
}
