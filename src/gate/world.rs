//! The state of the world as the records tell it, how time and trouble lower it, and how records move it.

use std::collections::{BTreeMap, BTreeSet};

use super::demand::{Next, next};
use super::happening::Lowering;
use super::limits::{BRACKET_MINUTES, PROOF_MINUTES, SILENCE_MINUTES};
use super::{Event, Happening, Level, MAIN_SWITCH, Point, Risk};
use crate::moment::Moment;

/// How the world is: what is isolated, proved, exposed, open, started and stopped.
///
/// It changes by [`World::apply`] and, as time passes, by [`World::at`]; by nothing else. Nobody can set it.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default)]
pub struct World {
    pub(super) person: String,
    pub(super) last: Option<Moment>,
    pub(super) stopped: Option<Stop>,
    /// Each ladder that stands above UNKNOWN.
    pub(super) levels: BTreeMap<String, Level>,
    pub(super) in_doubt: bool,
    /// Circuits that only the main switch isolates: they can't be shown, can't be locked, or may share a neutral.
    pub(super) main_switch_only: BTreeSet<String>,
    pub(super) mains_unseen: bool,
    pub(super) bracket: Option<Bracket>,
    /// Full proofs since the last demotion, in force or lapsed by time alone.
    pub(super) proofs: BTreeMap<String, Proof>,
    pub(super) exposed: BTreeMap<String, Point>,
    pub(super) unconnected: BTreeMap<String, Point>,
    pub(super) started: Option<Started>,
    /// Circuits with a core loosened since they went off.
    pub(super) loosened: BTreeSet<String>,
    /// Circuits given back, whose device may be closed.
    pub(super) given_back: BTreeSet<String>,
    pub(super) duties: Vec<Duty>,
    pub(super) coating: Coating,
    pub(super) footing: Option<Footing>,
    pub(super) loft_ready: bool,
    pub(super) dust_ready: bool,
    /// Marks at a joist, and whether both faces and what lies behind were seen.
    pub(super) faces: BTreeMap<String, bool>,
    pub(super) tester: Option<String>,
}

/// Why the work is stopped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Stop {
    /// Somebody was not sure.
    Unsure,
    /// Voltage was found where there should be none.
    VoltageFound,
    /// Somebody felt or saw it.
    Felt(Happening),
}

/// Something open that has to be closed again.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Duty {
    /// What is open: `cover(rose)`, `lock(lighting)`, `smoke alarm`.
    pub name: String,
    /// What closes it.
    pub closing: String,
    /// Since when.
    pub since: Moment,
}

/// A record that its moment didn't allow: this program doesn't write such a one.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{what} is not allowed here: {why}")]
pub struct NotAllowed {
    /// What the record says.
    pub what: String,
    /// What stood against it.
    pub why: String,
}

impl NotAllowed {
    pub(super) fn new(what: impl Into<String>, why: impl Into<String>) -> Self {
        Self { what: what.into(), why: why.into() }
    }
}

/// Readings between two proofs of one detector.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(super) struct Bracket {
    pub(super) detector: String,
    pub(super) opened: Moment,
    /// Rounds read of each point, as described and by length of the proof.
    pub(super) rounds: BTreeMap<(Point, bool), usize>,
}

/// A point that was read within a closed bracket.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(super) struct Proof {
    pub(super) point: Point,
    pub(super) until: Moment,
}

/// The step in hand.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(super) struct Started {
    pub(super) key: String,
    pub(super) risks: Vec<Risk>,
}

/// What is known of the coating.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub(super) enum Coating {
    /// Taken for dangerous.
    #[default]
    Presumed,
    Clear,
    Asbestos,
}

/// What is stood on, and since when without a rest.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(super) struct Footing {
    pub(super) for_drilling: bool,
    pub(super) since: Moment,
}

impl World {
    /// Who does the work.
    #[must_use]
    pub fn person(&self) -> &str {
        &self.person
    }

    /// When the last record was written.
    #[must_use]
    pub fn last_record(&self) -> Option<Moment> {
        self.last
    }

    /// Why the work is stopped, if it is.
    #[must_use]
    pub fn stopped(&self) -> Option<Stop> {
        self.stopped
    }

    /// Whether nobody has seen the lock since something happened.
    #[must_use]
    pub fn in_doubt(&self) -> bool {
        self.in_doubt
    }

    /// How safe a circuit is: the better of its own ladder and the main switch's; UNKNOWN while the lock is in doubt.
    #[must_use]
    pub fn level(&self, circuit: &str) -> Level {
        if self.in_doubt { Level::Unknown } else { self.ladder(circuit).max(self.ladder(MAIN_SWITCH)) }
    }

    /// The circuits, the main switch and the circuits of the void among them, that stand above UNKNOWN on a ladder of their own.
    pub fn circuits(&self) -> impl Iterator<Item = &str> {
        self.levels.keys().map(String::as_str)
    }

    /// Until when a point is proved dead as it is described; nothing if it is not.
    #[must_use]
    pub fn proved_until(&self, point: &Point, now: Moment) -> Option<Moment> {
        let proof = self.proofs.get(&point.name)?;
        let holds = proof.point == *point && self.is_isolated(point) && now < proof.until;
        holds.then_some(proof.until)
    }

    /// The names of the points whose conductors are exposed.
    pub fn exposed(&self) -> impl Iterator<Item = &str> {
        self.exposed.keys().map(String::as_str)
    }

    /// The key of the step in hand.
    #[must_use]
    pub fn started(&self) -> Option<&str> {
        self.started.as_ref().map(|step| step.key.as_str())
    }

    /// What is open, the oldest first. It is closed in reverse order.
    #[must_use]
    pub fn duties(&self) -> &[Duty] {
        &self.duties
    }

    /// Whether a core of this circuit was loosened since it went off.
    #[must_use]
    pub fn is_loosened(&self, circuit: &str) -> bool {
        self.loosened.contains(circuit)
    }

    /// The own ladder of a circuit, whatever the main switch and the lock do.
    pub(super) fn ladder(&self, circuit: &str) -> Level {
        self.levels.get(circuit).copied().unwrap_or_default()
    }

    /// Whether a point is fed by nothing that could be switched on: its circuit, and the main switch where neutrals part.
    pub(super) fn is_isolated(&self, point: &Point) -> bool {
        self.level(&point.circuit) == Level::Secured && (!point.wide || self.level(MAIN_SWITCH) == Level::Secured)
    }

    /// Whether a point is joined to nothing. A point that was opened as part of the installation stays one.
    pub(super) fn is_apart(&self, point: &Point) -> bool {
        point.unconnected && !self.exposed.contains_key(&point.name)
    }

    /// Whether a full proof of this description was held since the last demotion, even if its time is over.
    pub(super) fn was_proved(&self, point: &Point) -> bool {
        self.proofs.get(&point.name).is_some_and(|proof| proof.point == *point)
    }

    /// Rounds read of a point in the open bracket.
    pub(super) fn rounds_read(&self, point: &Point, short: bool) -> usize {
        let read = self.bracket.as_ref().and_then(|bracket| bracket.rounds.get(&(point.clone(), short)));
        read.copied().unwrap_or_default()
    }

    /// Whether the device of a circuit still carries a lock, a notice or a blank.
    pub(super) fn is_locked(&self, circuit: &str) -> bool {
        self.duties.iter().any(|duty| lock_duties(circuit).contains(&duty.name))
    }

    /// The world at a later moment: what ends by itself has ended, and what nobody watched is in doubt.
    #[must_use]
    pub fn at(&self, now: Moment) -> Self {
        let mut world = self.clone();
        let silence = self.last.map_or(0, |last| now.seconds_since(last));
        if !(0..SILENCE_MINUTES * 60).contains(&silence) {
            world.doubt();
        }
        if world.bracket.as_ref().is_some_and(|open| now.seconds_since(open.opened) > BRACKET_MINUTES * 60) {
            world.bracket = None;
        }
        if world.started.as_ref().is_some_and(|step| !world.still_covers(step, now)) {
            world.started = None;
        }
        world
    }

    /// Whether the proofs that a step was started with are still in force.
    fn still_covers(&self, step: &Started, now: Moment) -> bool {
        step.risks.iter().all(|risk| match risk {
            Risk::Conductors { .. } => matches!(next(self, risk, 0.0, now), Next::Open),
            _ => true,
        })
    }

    /// Enters one record, written by a person at a moment.
    ///
    /// # Errors
    /// [`NotAllowed`] when this moment didn't allow it; the world is left as it was.
    pub fn apply(&mut self, event: &Event, by: &str, at: Moment) -> Result<(), NotAllowed> {
        let mut world = self.at(at);
        world.enter(event, by, at)?;
        world.last = Some(at);
        *self = world;
        Ok(())
    }

    fn enter(&mut self, event: &Event, by: &str, now: Moment) -> Result<(), NotAllowed> {
        if self.last.is_none() != matches!(event, Event::Begun) {
            return Err(NotAllowed::new("this record", "a job is begun once, before everything else"));
        }
        match event {
            Event::Begun => by.clone_into(&mut self.person),
            Event::TakenOver => {
                by.clone_into(&mut self.person);
                self.doubt();
            }
            Event::Released => self.release()?,
            _ => self.meet(by),
        }
        match event {
            Event::Resumed => self.doubt(),
            Event::Evidence(evidence) => self.take(evidence, now)?,
            Event::Started { key, risks, minutes } => self.start(key, risks, *minutes, now)?,
            Event::Done { key, risks, opens, closes } => {
                self.finish(key, risks)?;
                closes.iter().for_each(|name| self.close(name));
                opens.iter().for_each(|(name, closing)| self.open(name, closing, now));
            }
            Event::CouldNot { key } => self.break_off(key),
            Event::Reported(happening) => self.report(*happening),
            Event::Unsure => self.stop(Stop::Unsure, Level::Secured),
            Event::Unknown(_) => self.demote(Level::Unknown),
            Event::Begun | Event::TakenOver | Event::Released | Event::Nothing => {}
        }
        Ok(())
    }

    /// Somebody else writes without having taken over: whatever the other had seen, this person has not.
    fn meet(&mut self, by: &str) {
        if self.person != by {
            by.clone_into(&mut self.person);
            self.demote(Level::Unknown);
        }
    }

    /// A stop ends in doubt, never where it began.
    fn release(&mut self) -> Result<(), NotAllowed> {
        self.stopped.take().ok_or_else(|| NotAllowed::new("a release", "nothing was stopped"))?;
        self.doubt();
        Ok(())
    }

    fn start(&mut self, key: &str, risks: &[Risk], minutes: f64, now: Moment) -> Result<(), NotAllowed> {
        let what = || format!("the start of `{key}`");
        if let Some(other) = self.started.as_ref().filter(|step| step.key != key) {
            return Err(NotAllowed::new(what(), format!("`{}` is in hand", other.key)));
        }
        for risk in risks {
            match next(self, risk, minutes, now) {
                Next::Open => {}
                Next::Piece(piece) => return Err(NotAllowed::new(what(), format!("`{}` is missing", piece.key()))),
                Next::Refused(refusal) => return Err(NotAllowed::new(what(), refusal.text)),
            }
        }
        for risk in risks {
            if let Risk::Conductors { point, unmoved: false } = risk
                && !self.is_apart(point)
            {
                self.loosened.insert(point.circuit.clone());
            }
        }
        self.started = Some(Started { key: key.to_owned(), risks: risks.to_vec() });
        Ok(())
    }

    fn finish(&mut self, key: &str, risks: &[Risk]) -> Result<(), NotAllowed> {
        if !risks.iter().any(Risk::has_start) {
            return Ok(());
        }
        match self.started.take() {
            Some(step) if step.key == key && step.risks == risks => {
                self.end(&step);
                Ok(())
            }
            _ => Err(NotAllowed::new(format!("the end of `{key}`"), "it was not started, or its start was voided")),
        }
    }

    fn break_off(&mut self, key: &str) {
        if let Some(step) = self.started.take_if(|step| step.key == key) {
            self.end(&step);
        }
    }

    /// Where a device may have been closed, what was proved before says nothing any more.
    fn end(&mut self, step: &Started) {
        if step.risks.iter().any(|risk| matches!(risk, Risk::Restore { .. })) {
            self.demote(Level::Secured);
        }
    }

    fn report(&mut self, happening: Happening) {
        match happening.lowering() {
            Lowering::Cap(cap) => self.demote(cap),
            Lowering::Doubt => self.doubt(),
            Lowering::Alarm => self.stop(Stop::Felt(happening), Level::Unknown),
        }
        match happening {
            Happening::PowerCut => self.mains_unseen = true,
            Happening::UnexpectedLayer if self.coating == Coating::Clear => self.coating = Coating::Presumed,
            _ => {}
        }
    }

    /// Lowers every ladder to the cap and clears what was proved, read or started. Lowering twice, or in another order,
    /// comes to the same.
    pub(super) fn demote(&mut self, cap: Level) {
        let cap = if self.in_doubt && cap < Level::Secured { Level::Unknown } else { cap };
        self.levels.values_mut().for_each(|level| *level = cap.min(*level));
        self.levels.retain(|_, level| *level > Level::Unknown);
        self.in_doubt &= !self.levels.is_empty();
        self.bracket = None;
        self.started = None;
        self.proofs.clear();
        self.unconnected.clear();
        self.given_back.clear();
    }

    /// Nobody has seen the lock: what was SECURED reads UNKNOWN until somebody has, and what was less is UNKNOWN.
    pub(super) fn doubt(&mut self) {
        self.demote(Level::Secured);
        self.levels.retain(|_, level| *level == Level::Secured);
        self.in_doubt = !self.levels.is_empty();
        self.footing = None;
        self.loft_ready = false;
        self.dust_ready = false;
    }

    /// The graver of two stops stands.
    pub(super) fn stop(&mut self, why: Stop, cap: Level) {
        self.demote(cap);
        self.stopped = self.stopped.max(Some(why));
    }

    pub(super) fn open(&mut self, name: &str, closing: &str, since: Moment) {
        if self.duties.iter().all(|duty| duty.name != name) {
            self.duties.push(Duty { name: name.to_owned(), closing: closing.to_owned(), since });
        }
    }

    /// Closes a duty as a step says. A cover on exposes nothing; a lock taken off otherwise than by giving back secures nothing.
    fn close(&mut self, name: &str) {
        let was_open = self.drop_duty(name);
        if let Some(point) = name.strip_prefix("cover(").and_then(|rest| rest.strip_suffix(')')) {
            self.cover(point);
        } else if was_open && ["lock(", "notice(", "carrier(", "blank("].iter().any(|of| name.starts_with(of)) {
            self.demote(Level::Unknown);
        }
    }

    pub(super) fn drop_duty(&mut self, name: &str) -> bool {
        let before = self.duties.len();
        self.duties.retain(|duty| duty.name != name);
        self.duties.len() < before
    }

    /// A point under its cover: nothing exposed, nothing in hand there, nothing proved for the next time.
    pub(super) fn cover(&mut self, point: &str) {
        self.exposed.remove(point);
        self.proofs.remove(point);
        self.drop_duty(&cover_duty(point));
        if self.started.as_ref().is_some_and(|step| step.risks.iter().any(|risk| risk.is_at(point))) {
            self.started = None;
        }
    }
}

/// When a proof taken at a moment ends.
pub(super) fn end_of_proof(closed: Moment) -> Moment {
    closed.plus_minutes(PROOF_MINUTES)
}

/// The name of the duty that an open cover is.
pub(super) fn cover_duty(point: &str) -> String {
    format!("cover({point})")
}

/// The names of the duties that a secured device may carry.
pub(super) fn lock_duties(circuit: &str) -> [String; 4] {
    ["lock", "notice", "carrier", "blank"].map(|what| format!("{what}({circuit})"))
}

impl Risk {
    /// Whether the world changes when a step with this risk is begun, so that its start is recorded apart from its end.
    #[must_use]
    pub fn has_start(&self) -> bool {
        match self {
            Self::Conductors { .. }
            | Self::Probe { .. }
            | Self::Cut { .. }
            | Self::Timber { .. }
            | Self::Restore { .. } => true,
            Self::Coating | Self::Height | Self::Loft | Self::Dust | Self::LiveReading => false,
        }
    }

    fn is_at(&self, name: &str) -> bool {
        matches!(self, Self::Conductors { point, .. } if point.name == name)
    }
}
