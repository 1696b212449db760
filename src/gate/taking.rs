//! What each piece of evidence does to the world. This is the only place where anything rises.

use std::collections::{BTreeMap, BTreeSet};

use super::demand::restore_refusal;
use super::evidence::Conclusion;
use super::world::{Bracket, Coating, Footing, Proof, Stop, cover_duty, end_of_proof, lock_duties};
use super::{BRACKET_MINUTES, Evidence, Level, MAIN_SWITCH, NotAllowed, Piece, Point, Return, World, words};
use crate::moment::Moment;

impl World {
    /// Takes a piece of evidence. What doesn't hold together lowers everything to UNKNOWN.
    pub(super) fn take(&mut self, evidence: &Evidence, now: Moment) -> Result<(), NotAllowed> {
        let piece = &evidence.piece;
        let Ok(conclusion) = evidence.conclude() else {
            self.demote(Level::Unknown);
            return Ok(());
        };
        match conclusion {
            Conclusion::Voltage => self.stop(Stop::VoltageFound, Level::Unknown),
            Conclusion::LockNotSeen => self.demote(Level::Unknown),
            Conclusion::DetectorFailed => self.demote(Level::Secured),
            Conclusion::Asbestos => self.coating = Coating::Asbestos,
            Conclusion::MainSwitchOnly => self.leave_to_main_switch(piece)?,
            Conclusion::FacesHidden => self.note_faces(piece, false),
            Conclusion::Met => return self.raise(evidence, now),
        }
        Ok(())
    }

    fn raise(&mut self, evidence: &Evidence, now: Moment) -> Result<(), NotAllowed> {
        let piece = &evidence.piece;
        if let Piece::Cover { point } = piece {
            self.cover(point);
            return Ok(());
        }
        must(piece, self.stopped.is_none(), "the work is stopped")?;
        must(piece, !self.in_doubt || *piece == Piece::LockSeen, "the lock is in doubt")?;
        match piece {
            Piece::Identify { circuit } => self.climb(piece, circuit, Level::Identified)?,
            Piece::Off { circuit } => self.climb(piece, circuit, Level::Off)?,
            Piece::Secure { circuit, backed } => self.secure(evidence, circuit, *backed, now)?,
            Piece::LockSeen => self.in_doubt = false,
            Piece::MainsSeen => self.mains_unseen = false,
            Piece::Open { point } => self.expose(piece, point, now)?,
            Piece::ProveFirst { whole_off } => self.open_bracket(evidence, *whole_off, now)?,
            Piece::Read { point, position, short } => self.read(piece, point, *position, *short)?,
            Piece::ProveAgain { detector } => self.close_bracket(piece, detector, now)?,
            Piece::Unconnected { point } => {
                must(piece, self.is_apart(point), "the point is joined to something")?;
                self.unconnected.insert(point.name.clone(), point.clone());
            }
            Piece::Coating => {
                must(piece, self.coating != Coating::Asbestos, "asbestos was reported")?;
                self.coating = Coating::Clear;
            }
            Piece::Height { drilling } => self.footing = Some(Footing { for_drilling: *drilling, since: now }),
            Piece::Rest => self.footing.iter_mut().for_each(|footing| footing.since = now),
            Piece::Loft => self.loft_ready = true,
            Piece::Dust => self.dust_ready = true,
            Piece::Faces { .. } => self.note_faces(piece, true),
            Piece::Tester => self.tester = evidence.answers.get("tester").cloned(),
            Piece::Restore { circuit, how } => self.give_back(piece, circuit, *how, now)?,
            Piece::Cover { .. } => {}
        }
        Ok(())
    }

    /// One rung up the circuit's own ladder.
    fn climb(&mut self, piece: &Piece, circuit: &str, to: Level) -> Result<(), NotAllowed> {
        must(piece, one_below(to) == Some(self.ladder(circuit)), "each rung comes after the one below it")?;
        self.levels.insert(circuit.to_owned(), to);
        self.given_back.remove(circuit);
        Ok(())
    }

    fn secure(&mut self, evidence: &Evidence, circuit: &str, backed: bool, now: Moment) -> Result<(), NotAllowed> {
        let piece = &evidence.piece;
        let main_secured = circuit != MAIN_SWITCH && self.ladder(MAIN_SWITCH) == Level::Secured;
        must(piece, !backed || main_secured, "the main switch is not secured")?;
        must(piece, backed || !self.main_switch_only.contains(circuit), "only the main switch isolates this circuit")?;
        self.climb(piece, circuit, Level::Secured)?;
        let [lock, notice, carrier, blank] = lock_duties(circuit);
        if evidence.answers.get("how").is_some_and(|how| how == words::CARRIER_KEPT) {
            self.open(&blank, "Take the blank out of the way.", now);
            self.open(&carrier, "Put the fuse carrier back.", now);
        } else {
            self.open(&lock, "Take your own lock off.", now);
        }
        self.open(&notice, "Take the notice down.", now);
        Ok(())
    }

    /// The circuit can't be shown, can't be locked, or may share a neutral: nothing is secured by its own device.
    fn leave_to_main_switch(&mut self, piece: &Piece) -> Result<(), NotAllowed> {
        if let Piece::Identify { circuit } | Piece::Secure { circuit, .. } = piece {
            must(piece, self.ladder(circuit) < Level::Secured, "the circuit is secured by its own device")?;
            self.main_switch_only.insert(circuit.clone());
        }
        Ok(())
    }

    fn note_faces(&mut self, piece: &Piece, seen: bool) {
        if let Piece::Faces { hole } = piece {
            self.faces.insert(hole.clone(), seen);
        }
    }

    fn expose(&mut self, piece: &Piece, point: &Point, now: Moment) -> Result<(), NotAllowed> {
        must(piece, self.is_isolated(point), "a cover comes off under SECURED only")?;
        self.exposed.insert(point.name.clone(), point.clone());
        self.open(&cover_duty(&point.name), "Put the cover back on.", now);
        Ok(())
    }

    fn open_bracket(&mut self, evidence: &Evidence, whole_off: bool, now: Moment) -> Result<(), NotAllowed> {
        let piece = &evidence.piece;
        let any_secured = self.levels.values().any(|level| *level == Level::Secured);
        must(piece, any_secured, "nothing is secured")?;
        must(piece, !self.mains_unseen, "nobody has seen that the mains is back")?;
        must(piece, self.bracket.is_none(), "readings are under way")?;
        must(
            piece,
            whole_off || self.ladder(MAIN_SWITCH) < Level::Off,
            "with the home off, only a proving unit shows",
        )?;
        let detector = evidence.answers.get("detector").cloned().unwrap_or_default();
        self.bracket = Some(Bracket { detector, opened: now, rounds: BTreeMap::new() });
        Ok(())
    }

    fn read(&mut self, piece: &Piece, point: &Point, position: usize, short: bool) -> Result<(), NotAllowed> {
        must(piece, self.is_isolated(point), "a point is read under SECURED only")?;
        must(piece, self.exposed.contains_key(&point.name), "its cover is on")?;
        must(piece, !short || self.was_proved(point), "the short proof repeats a full one")?;
        must(piece, position == self.rounds_read(point, short) + 1, "the rounds come in order")?;
        must(piece, position <= point.rounds(short), "all rounds were read")?;
        let bracket = self.bracket.as_mut().ok_or_else(|| not_allowed(piece, "the detector was not proved first"))?;
        bracket.rounds.insert((point.clone(), short), position);
        Ok(())
    }

    /// The detector showed its source before and after: every point read in all its rounds is proved.
    fn close_bracket(&mut self, piece: &Piece, detector: &str, now: Moment) -> Result<(), NotAllowed> {
        let bracket = self.bracket.take().ok_or_else(|| not_allowed(piece, "the detector was not proved first"))?;
        debug_assert!(now.seconds_since(bracket.opened) <= BRACKET_MINUTES * 60, "time passes before a record counts");
        must(piece, bracket.detector == detector, "the readings were taken with another detector")?;
        for ((point, short), rounds) in bracket.rounds {
            if rounds == point.rounds(short) {
                self.proofs.insert(point.name.clone(), Proof { point, until: end_of_proof(now) });
            }
        }
        Ok(())
    }

    /// The locks come off: back to IDENTIFIED, every proof over, the window closed for what comes back.
    fn give_back(&mut self, piece: &Piece, circuit: &str, how: Return, now: Moment) -> Result<(), NotAllowed> {
        if let Some(refusal) = restore_refusal(self, circuit, how, now) {
            return Err(not_allowed(piece, &refusal.text));
        }
        let closed: Vec<_> = self.loosened.iter().filter(|loose| self.comes_back(circuit, loose)).cloned().collect();
        self.loosened.retain(|loose| !closed.contains(loose));
        self.settle_neutrals(circuit, now);
        self.demote(Level::Secured);
        if let Some(level) = self.levels.get_mut(circuit) {
            *level = Level::Identified.min(*level);
        }
        for name in lock_duties(circuit) {
            self.drop_duty(&name);
        }
        self.given_back.insert(circuit.to_owned());
        Ok(())
    }

    /// Which circuits still need the main switch after a device is given back. A lock that was taken only because the main
    /// switch stood behind it holds on alone where the neutrals were parted and proved; elsewhere it counts no more.
    fn settle_neutrals(&mut self, device: &str, now: Moment) {
        if device != MAIN_SWITCH {
            self.main_switch_only.remove(device);
            return;
        }
        let leaning = |circuit: &String| !self.holds_alone(circuit, now);
        let leaning: BTreeSet<_> = self.main_switch_only.iter().filter(|circuit| leaning(circuit)).cloned().collect();
        let levels = self.levels.iter_mut().filter(|(circuit, _)| leaning.contains(*circuit));
        levels.for_each(|(_, level)| *level = Level::Off.min(*level));
        self.main_switch_only = leaning;
    }
}

fn one_below(level: Level) -> Option<Level> {
    match level {
        Level::Unknown => None,
        Level::Identified => Some(Level::Unknown),
        Level::Off => Some(Level::Identified),
        Level::Secured => Some(Level::Off),
    }
}

fn must(piece: &Piece, holds: bool, why: &str) -> Result<(), NotAllowed> {
    if holds { Ok(()) } else { Err(not_allowed(piece, why)) }
}

fn not_allowed(piece: &Piece, why: &str) -> NotAllowed {
    NotAllowed::new(format!("`{}`", piece.key()), why)
}
