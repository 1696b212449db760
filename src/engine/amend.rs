//! What a change would do, before it is made: `advance` on the ledger with the new record first.

use super::advance::{Engine, point_of};
use super::answers::{Answers, Says};
use super::assume::{AsBefore, is_assumed};
use super::fold;
use super::interaction::Kind;
use crate::ledger::Record;
use crate::moment::Moment;

/// A done step that would be reviewed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reviewed {
    /// Its key.
    pub key: String,
    /// What was done.
    pub then: String,
    /// What the plan would say.
    pub now: String,
}

/// What a change would do.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Consequences {
    /// Keys whose answers would be asked again.
    pub asked_again: Vec<String>,
    /// Done steps that would be reviewed.
    pub reviewed: Vec<Reviewed>,
    /// Keys whose records would be set aside, because the new path does not ask for them.
    pub set_aside: Vec<String>,
    /// Points whose proof would no longer cover.
    pub uncovered: Vec<String>,
}

impl Engine {
    /// What adding this record would do. The ledger is not touched.
    #[must_use]
    pub fn consequences(&self, records: &[Record], change: &Record, now: Moment) -> Consequences {
        let mut after = records.to_vec();
        after.push(change.clone());
        let before = self.advance(records, now);
        let folded = fold::fold(&after);
        let replay = self.replay(&after, &folded, now, Some(Box::new(AsBefore)));
        let known = Answers::of(&after);
        let mut result = Consequences::default();
        for passed in replay.trail.iter().filter(|passed| is_assumed(&passed.answer)) {
            let key = &passed.interaction.key;
            let Some(former) = known.latest(key) else { continue };
            match (&passed.interaction.kind, former.says) {
                (Kind::Step(_), Says::Done) => result.reviewed.push(Reviewed {
                    key: key.clone(),
                    then: former.text("text").to_owned(),
                    now: passed.interaction.text.clone(),
                }),
                _ => result.asked_again.push(key.clone()),
            }
        }
        let was_on_trail = before.trail.iter().map(|passed| &passed.interaction.key);
        result.set_aside = was_on_trail.filter(|key| !replay.asked.contains_key(*key)).cloned().collect();
        result.uncovered = before
            .points
            .iter()
            .filter(|(name, spec)| {
                let proved = before.world.proved_until(&point_of(spec), now).is_some();
                proved && replay.points.get(*name).is_some_and(|new| new != *spec)
            })
            .map(|(name, _)| name.clone())
            .collect();
        result
    }
}
