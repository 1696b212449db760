//! The fold: one reading of the ledger, which says how the *world* is. It runs no script.
//!
//! A record that its moment did not allow was not written by this program: the ledger is damaged from there, and what
//! stands before it counts.

use std::collections::BTreeSet;

use serde_json::{Map, Value};

use super::answers::sign;
use super::turn::Ending;
use crate::gate::{self, Event, Happening, Level, MAIN_SWITCH, Risk, VOID, World};
use crate::ledger::{Kind, Record};
use crate::moment::Moment;

/// What the fold gives.
#[derive(Debug, Clone)]
pub struct Folded {
    /// The world after the last record.
    pub world: World,
    /// Signposts that were met.
    pub met: BTreeSet<String>,
    /// How the job ended, if it has.
    pub ended: Option<Ending>,
    /// Who works.
    pub person: String,
    /// When the last record was written.
    pub last: Option<Moment>,
    /// The first record that its moment did not allow: its number from 0, and why.
    pub broken_at: Option<(usize, String)>,
}

/// Folds a ledger's records.
#[must_use]
pub fn fold(records: &[Record]) -> Folded {
    let mut folded = Folded {
        world: World::default(),
        met: BTreeSet::new(),
        ended: None,
        person: String::new(),
        last: None,
        broken_at: None,
    };
    for (number, record) in records.iter().enumerate() {
        if let Err(why) = take(&mut folded, record) {
            folded.broken_at = Some((number, why));
            break;
        }
    }
    folded
}

/// Takes one more record.
///
/// # Errors
/// Why its moment did not allow it.
pub fn take(folded: &mut Folded, record: &Record) -> Result<(), String> {
    let event = event_of(record);
    folded.world.apply(&event, &record.person, record.at).map_err(|why| why.to_string())?;
    folded.person.clone_from(&record.person);
    folded.last = Some(record.at);
    remember_signs(folded, record, &event);
    folded.ended = match record.kind {
        Kind::Stopped => Some(Ending::Stopped(text(&record.body, "code"))),
        Kind::Finished => Ending::from_words(&text(&record.body, "ending")),
        // A record after the end takes the job up again.
        Kind::Noted => folded.ended.take(),
        _ => None,
    };
    Ok(())
}

fn text(body: &Map<String, Value>, name: &str) -> String {
    body.get(name).and_then(Value::as_str).unwrap_or("").to_owned()
}

/// Reads a field of the body, or says that the record cannot be read.
fn field<T: serde::de::DeserializeOwned>(body: &Map<String, Value>, name: &str) -> Option<T> {
    serde_json::from_value(body.get(name)?.clone()).ok()
}

/// The gate's event for a record. What cannot be read lowers everything.
#[must_use]
pub fn event_of(record: &Record) -> Event {
    let body = &record.body;
    let unreadable = || Event::Unknown(format!("a record of the kind {:?} that cannot be read", record.kind));
    match record.kind {
        Kind::Begun => Event::Begun,
        Kind::Resumed => Event::Resumed,
        Kind::Said | Kind::Amended | Kind::Noted | Kind::Stopped | Kind::Finished => Event::Nothing,
        Kind::Started => match (field::<Vec<Risk>>(body, "risk"), field::<f64>(body, "minutes")) {
            (Some(risks), Some(minutes)) => Event::Started { key: record.key.clone(), risks, minutes },
            _ => unreadable(),
        },
        Kind::Done => done(record).unwrap_or_else(unreadable),
        Kind::CouldNot => Event::CouldNot { key: record.key.clone() },
        Kind::Evidence => field(body, "evidence").map_or_else(unreadable, Event::Evidence),
        Kind::Reported => field::<Happening>(body, "event").map_or_else(unreadable, Event::Reported),
        Kind::Unsure => Event::Unsure,
        Kind::Released => Event::Released,
        Kind::TakenOver => Event::TakenOver,
    }
}

fn done(record: &Record) -> Option<Event> {
    let body = &record.body;
    let pair = |duty: super::interaction::Duty| (duty.name, duty.closing);
    let opens: Vec<super::interaction::Duty> = field(body, "opens")?;
    Some(Event::Done {
        key: record.key.clone(),
        risks: field(body, "risk")?,
        opens: opens.into_iter().map(pair).collect(),
        closes: field(body, "closes")?,
    })
}

/// Remembers the signposts that the world meets at this record, under the record's window and round.
fn remember_signs(folded: &mut Folded, record: &Record, event: &Event) {
    let window = text(&record.body, "window");
    let round = record.body.get("round").and_then(Value::as_u64).unwrap_or(1);
    let round = u32::try_from(round).unwrap_or(u32::MAX);
    let signs = &mut folded.met;
    let mut met = |what: &str, about: &str| {
        signs.insert(sign(what, about, &window, round));
    };
    let secured: Vec<&str> = folded
        .world
        .circuits()
        .chain([MAIN_SWITCH, VOID])
        .filter(|c| folded.world.level(c) == Level::Secured)
        .collect();
    for circuit in secured {
        met("isolated", circuit);
    }
    let scene = gate::Scene::default();
    if gate::signpost(&folded.world, &gate::Sign::CoatingClear, &scene, record.at) == gate::Demand::Open {
        met("coating_clear", "ceiling");
    }
    if let Event::Done { risks, .. } = event {
        for risk in risks {
            if let Risk::Restore { circuit, .. } = risk {
                met("restored", circuit);
            }
        }
    }
}
