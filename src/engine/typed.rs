//! What a typed line means at a turn. The same words count in a terminal and in a rehearsal file.

use super::accept::Reply;
use super::interaction::Kind;
use super::turn::{Ask, Turn};

/// The reply that a line makes at this turn, for the piece on offer that `key` names (the first where it names none).
///
/// Side words (emergency, something happened, note …) are not replies and are taken elsewhere.
#[must_use]
pub fn reply_of(turn: &Turn, key: &str, typed: &[String]) -> Reply {
    let line = typed.first().map_or("", |line| line.trim());
    match &turn.ask {
        Ask::Trouble(_) if key == "release" || line == "release" => Reply::Release,
        Ask::Trouble(trouble) => {
            let keys = turn.keys();
            let skipped = keys.len().saturating_sub(trouble.offers.len());
            let offer = keys.iter().position(|candidate| candidate == key).map_or(0, |at| at.saturating_sub(skipped));
            Reply::Fields { offer, answers: typed.to_vec() }
        }
        Ask::Evidence(_) => Reply::Fields { offer: 0, answers: typed.to_vec() },
        Ask::Plan { interaction, .. } => to_plan(&interaction.kind, line),
        Ask::Review { .. } => {
            if line.eq_ignore_ascii_case("again") {
                return Reply::Again;
            }
            after(line, "as it is").map_or_else(|| common(line), |reason| Reply::AsItIs(reason.to_owned()))
        }
        _ => common(line),
    }
}

fn to_plan(kind: &Kind, line: &str) -> Reply {
    if is_not_sure(line) {
        return Reply::NotSure;
    }
    if let Some(time) = after(line, "paper") {
        return Reply::OnPaper(time.to_owned());
    }
    match kind {
        Kind::Step(_) | Kind::Wait { .. } => common(line),
        Kind::Duty { .. } => after(line, "leave").map_or_else(|| common(line), |who| Reply::LeaveDead(who.to_owned())),
        Kind::Choice { .. } if line.eq_ignore_ascii_case("keep") => Reply::Keep,
        _ => Reply::Typed(line.to_owned()),
    }
}

/// Whether a line says *not sure*.
#[must_use]
pub fn is_not_sure(line: &str) -> bool {
    matches!(line.trim().to_lowercase().as_str(), "not sure" | "ns")
}

fn common(line: &str) -> Reply {
    match line.to_lowercase().as_str() {
        "d" | "done" | "ok" => Reply::Done,
        "s" | "start" => Reply::Start,
        _ => match after(line, "can't").or_else(|| after(line, "cant")).or_else(|| after(line, "c")) {
            Some(reason) => Reply::Cant(reason.to_owned()),
            None => Reply::Typed(line.to_owned()),
        },
    }
}

/// What follows a word, with a colon or a space between; nothing if the line does not begin with the word.
fn after<'a>(line: &'a str, word: &str) -> Option<&'a str> {
    let head = line.get(..word.len())?;
    let rest = &line[word.len()..];
    let separate = rest.is_empty() || rest.starts_with([' ', ':']);
    (head.eq_ignore_ascii_case(word) && separate).then(|| rest.trim_start_matches([' ', ':']).trim())
}
