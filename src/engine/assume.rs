//! Assumed answers: what a question is taken to be answered with when looking ahead. Never written to a ledger.

use serde_json::{Map, Value, json};

use super::answers::{Answer, Says};
use super::interaction::{Form, Interaction, Kind, Question, Reading, Verdict};
use super::replay::Oracle;
use crate::moment::Moment;

/// The ways that an interaction can be answered, the most usual first. A number has one: its sample.
#[must_use]
pub fn ways(interaction: &Interaction) -> Vec<Value> {
    match &interaction.kind {
        Kind::Question(question) => ways_of_question(question),
        Kind::Choice { among } => among.clone(),
        Kind::Reading(reading) => ways_of_reading(reading),
        _ => vec![Value::Null],
    }
}

fn ways_of_question(question: &Question) -> Vec<Value> {
    let mut ways: Vec<Value> = match question.form {
        Form::OneOf => question.options.iter().map(|option| json!(option)).collect(),
        Form::YesNo => vec![json!("yes"), json!("no")],
        Form::Text | Form::Name => return vec![sample_or(&question.sample, json!("sample"))],
        Form::Length | Form::Count | Form::Amount => {
            let middle = match (question.least, question.most) {
                (Some(least), Some(most)) => (least + most) / 2.0,
                (Some(one), None) | (None, Some(one)) => one,
                (None, None) => 1.0,
            };
            #[expect(clippy::cast_possible_truncation, reason = "bounds of counts are small")]
            let middle = if question.form == Form::Count { json!(middle as i64) } else { json!(middle) };
            vec![sample_or(&question.sample, middle)]
        }
    };
    if !question.sample.is_null() {
        ways.retain(|way| *way != question.sample);
        ways.insert(0, question.sample.clone());
    }
    if !question.must {
        ways.push(json!("not sure"));
    }
    ways
}

fn sample_or(sample: &Value, other: Value) -> Value {
    if sample.is_null() { other } else { sample.clone() }
}

/// Each way of a reading is a map of value and verdict.
fn ways_of_reading(reading: &Reading) -> Vec<Value> {
    let with = |value: Value, verdict: Verdict| json!({ "value": value, "verdict": verdict });
    if !reading.options.is_empty() {
        let verdict = |at: usize| if at == 0 { Verdict::Pass } else { Verdict::Fail };
        let mut ways: Vec<_> =
            reading.options.iter().enumerate().map(|(at, option)| with(json!(option), verdict(at))).collect();
        if reading.may_stay_open {
            ways.push(with(Value::Null, Verdict::Open));
        }
        return ways;
    }
    let limit = reading.limit.clone().unwrap_or_default();
    let passing = limit.expected.or(limit.least).or(limit.most).unwrap_or(0.0);
    let value = sample_or(&reading.sample, json!(passing));
    let mut ways = match reading.limit {
        None => vec![with(value, Verdict::Noted)],
        Some(_) => vec![with(value.clone(), Verdict::Pass), with(value, Verdict::Fail)],
    };
    if reading.may_stay_open {
        ways.push(with(Value::Null, Verdict::Open));
    }
    ways
}

/// An answer that says this, for an interaction with this digest.
#[must_use]
pub fn assumed(interaction: &Interaction, digest: &str, way: &Value) -> Answer {
    let mut body = Map::new();
    match (&interaction.kind, way) {
        (Kind::Reading(_), Value::Object(entries)) => body.extend(entries.clone()),
        _ => {
            body.insert(String::from("value"), way.clone());
        }
    }
    Answer {
        record: usize::MAX,
        at: Moment::START,
        person: String::new(),
        says: if interaction.is_done_kind() { Says::Done } else { Says::Value },
        digest: digest.to_owned(),
        body,
    }
}

/// Whether an answer was assumed.
#[must_use]
pub fn is_assumed(answer: &Answer) -> bool {
    answer.record == usize::MAX
}

/// Takes the former answer where there is one of a fitting kind, else the most usual way.
pub struct AsBefore;

impl Oracle for AsBefore {
    fn answer(&mut self, interaction: &Interaction, digest: &str, latest: Option<&Answer>) -> Option<Answer> {
        let ways = ways(interaction);
        let former = latest.map(Answer::value).filter(|value| {
            let number = matches!(&interaction.kind, Kind::Question(question)
                if matches!(question.form, Form::Length | Form::Count | Form::Amount | Form::Text | Form::Name));
            !value.is_null() && (number || ways.contains(value))
        });
        if let (Kind::Reading(_), Some(latest)) =
            (&interaction.kind, latest.filter(|latest| latest.says == Says::Value))
        {
            let mut answer = assumed(interaction, digest, &ways[0]);
            answer.body = latest.body.clone();
            return Some(answer);
        }
        Some(assumed(interaction, digest, former.unwrap_or(&ways[0])))
    }
}
