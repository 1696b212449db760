//! What the gate wants next, for a risk, for a signpost, or to get out of trouble.

use super::limits::{
    ALTERED_FINDINGS, HOLE_FINDINGS, LONGEST_STEP_MINUTES, OVERHEAD_MINUTES, REMADE_FINDINGS, STAGE_MINUTES,
};
use super::world::Coating;
use super::{
    Demand, Level, MAIN_SWITCH, Piece, Point, Refusal, Return, Risk, Scene, Sign, Trouble, TroubleKind, VOID, World,
    words,
};
use crate::moment::Moment;

/// What stands between the world and a risk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Next {
    Open,
    Piece(Piece),
    Refused(Refusal),
}

impl From<Option<Piece>> for Next {
    fn from(missing: Option<Piece>) -> Self {
        missing.map_or(Self::Open, Self::Piece)
    }
}

impl From<Next> for Demand {
    fn from(next: Next) -> Self {
        match next {
            Next::Open => Self::Open,
            Next::Piece(piece) => Self::Ask(words::ask(piece)),
            Next::Refused(refusal) => Self::Refused(refusal),
        }
    }
}

/// Whether a step with this risk may be begun now, and if not, which one piece of evidence comes next.
///
/// When a step that was started is to be ended, ask again with a scene of no minutes.
#[must_use]
pub fn demand(world: &World, risk: &Risk, scene: &Scene, now: Moment) -> Demand {
    let world = &world.at(now);
    if let Some(refusal) = findings_refusal(world, risk, scene) {
        return Demand::Refused(refusal);
    }
    let stage = if scene.minutes > 0.0 { scene.stage_minutes.min(STAGE_MINUTES) } else { 0.0 };
    match next(world, risk, scene.minutes, now) {
        Next::Open if !outlasts(world, risk, stage, now) => proof(world, risk),
        next => next,
    }
    .into()
}

/// Whether a signpost may be passed now, and if not, which one piece of evidence comes next.
#[must_use]
pub fn signpost(world: &World, sign: &Sign, scene: &Scene, now: Moment) -> Demand {
    let world = &world.at(now);
    match sign {
        Sign::Isolated { circuit } => halt(world).unwrap_or_else(|| climb(world, circuit).into()).into(),
        Sign::Restored { circuit } => halt(world).unwrap_or_else(|| back(world, circuit, now)).into(),
        Sign::CoatingClear => coating(world).into(),
        Sign::HoleClear { hole } => missing_finding(scene, &HOLE_FINDINGS, hole)
            .map_or(Demand::Open, |what| Demand::Refused(words::hole_not_clear(hole, what))),
    }
}

/// What stands before everything else: a stop, then a lock in doubt, then a point exposed without proof.
#[must_use]
pub fn trouble(world: &World, scene: &Scene, now: Moment) -> Option<Trouble> {
    let world = &world.at(now);
    let covers = || world.exposed().map(|name| words::ask(Piece::Cover { point: name.to_owned() }));
    if let Some(stop) = world.stopped {
        return Some(words::trouble(TroubleKind::Stopped, words::stop_text(stop), covers().collect()));
    }
    if world.in_doubt {
        let offers = std::iter::once(words::ask(Piece::LockSeen)).chain(covers()).collect();
        return Some(words::trouble(TroubleKind::LockInDoubt, words::IN_DOUBT, offers));
    }
    // The main switch is about to close for the others, at the board: what is open here is proved after, not before.
    let closing = world.given_back.contains(MAIN_SWITCH);
    let (name, point) = world.exposed.iter().find_map(|(name, as_opened)| {
        let point = scene.points.get(name).unwrap_or(as_opened);
        let waits = closing && world.level(&point.circuit) == Level::Secured;
        (!waits && world.proved_until(point, now).is_none()).then_some((name, point))
    })?;
    let mut offers = Vec::new();
    if let Next::Piece(piece) = conductors(world, point, 0.0, now) {
        offers.push(words::ask(piece));
    }
    offers.push(words::ask(Piece::Cover { point: name.clone() }));
    let said = if world.is_isolated(point) { words::EXPOSED } else { words::EXPOSED_LIVE };
    Some(words::trouble(TroubleKind::Exposed { point: name.clone() }, said, offers))
}

/// What stands between the world and a risk, as far as the world can tell: the findings on the trail come on top.
pub(super) fn next(world: &World, risk: &Risk, minutes: f64, now: Moment) -> Next {
    if let Some(halt) = halt(world) {
        return halt;
    }
    match risk {
        Risk::Conductors { point, .. } => conductors(world, point, minutes, now),
        Risk::Probe { .. } | Risk::Cut { .. } => through_ceiling(world, now),
        Risk::Coating => coating(world),
        Risk::Timber { hole } => match world.faces.get(hole) {
            Some(true) => Next::Open,
            Some(false) => climb(world, VOID).into(),
            None if world.level(VOID) == Level::Secured => Next::Open,
            None => Next::Piece(Piece::Faces { hole: hole.clone() }),
        },
        Risk::Height => height(world, false, now).into(),
        Risk::Loft => (!world.loft_ready).then_some(Piece::Loft).into(),
        Risk::Dust => (!world.dust_ready).then_some(Piece::Dust).into(),
        Risk::LiveReading => match world.exposed().next() {
            Some(point) => Next::Refused(words::cover_first(point)),
            None => world.tester.is_none().then_some(Piece::Tester).into(),
        },
        Risk::Restore { circuit, how } => restore(world, circuit, *how, now),
    }
}

/// Nothing goes on while the work is stopped or nobody has seen the lock.
fn halt(world: &World) -> Option<Next> {
    match (world.stopped, world.in_doubt) {
        (Some(stop), _) => Some(Next::Refused(words::stopped(stop))),
        (None, true) => Some(Next::Piece(Piece::LockSeen)),
        (None, false) => None,
    }
}

/// The next rung towards SECURED, on the circuit's own ladder or the main switch's; nothing when it stands there.
fn climb(world: &World, circuit: &str) -> Option<Piece> {
    if world.level(circuit) == Level::Secured {
        return None;
    }
    // With its cores exposed a lamp can't show any more which device feeds the circuit.
    let blind = world.exposed.values().any(|point| point.circuit == circuit);
    let by_main = blind || world.main_switch_only.contains(circuit) || world.ladder(MAIN_SWITCH) >= Level::Off;
    Some(rung(world, if by_main { MAIN_SWITCH } else { circuit }))
}

fn rung(world: &World, ladder: &str) -> Piece {
    let circuit = ladder.to_owned();
    match world.ladder(ladder) {
        Level::Unknown => Piece::Identify { circuit },
        Level::Identified => Piece::Off { circuit },
        Level::Off | Level::Secured => {
            let backed = ladder != MAIN_SWITCH && world.ladder(MAIN_SWITCH) == Level::Secured;
            Piece::Secure { circuit, backed }
        }
    }
}

fn conductors(world: &World, point: &Point, minutes: f64, now: Moment) -> Next {
    if world.is_apart(point) {
        let seen = world.unconnected.get(&point.name) == Some(point);
        return (!seen).then(|| Piece::Unconnected { point: point.clone() }).into();
    }
    if !(0.0..=LONGEST_STEP_MINUTES).contains(&minutes) {
        return Next::Refused(words::step_too_long(&point.name));
    }
    if point.pairs().is_empty() {
        return Next::Refused(words::no_pairs(&point.name));
    }
    // Both locks go on while the lights still tell which device is which: the circuit's own first.
    if let Some(piece) = climb(world, &point.circuit) {
        return Next::Piece(piece);
    }
    if point.wide && world.level(MAIN_SWITCH) < Level::Secured {
        return Next::Piece(rung(world, MAIN_SWITCH));
    }
    if !world.exposed.contains_key(&point.name) {
        return Next::Piece(Piece::Open { point: point.clone() });
    }
    if lasts(world, point, minutes, now) { Next::Open } else { Next::Piece(next_of_proof(world, point)) }
}

/// Whether the proof of a point is in force for so many minutes more.
fn lasts(world: &World, point: &Point, minutes: f64, now: Moment) -> bool {
    let left = world.proved_until(point, now).map(|until| until.seconds_since(now));
    #[allow(clippy::cast_precision_loss)] // seconds of half an hour
    left.is_some_and(|seconds| seconds as f64 >= minutes * 60.0)
}

fn outlasts(world: &World, risk: &Risk, minutes: f64, now: Moment) -> bool {
    match risk {
        Risk::Conductors { point, .. } if !world.is_apart(point) => lasts(world, point, minutes, now),
        _ => true,
    }
}

fn proof(world: &World, risk: &Risk) -> Next {
    match risk {
        Risk::Conductors { point, .. } => Next::Piece(next_of_proof(world, point)),
        _ => Next::Open,
    }
}

/// Detector, readings in each position, detector. The short form repeats a proof that only time has ended.
fn next_of_proof(world: &World, point: &Point) -> Piece {
    let short = world.was_proved(point);
    let read = world.rounds_read(point, short);
    match &world.bracket {
        _ if world.mains_unseen => Piece::MainsSeen,
        None => Piece::ProveFirst { whole_off: world.ladder(MAIN_SWITCH) >= Level::Off },
        Some(_) if read < point.rounds(short) => Piece::Read { point: point.clone(), position: read + 1, short },
        Some(bracket) => Piece::ProveAgain { detector: bracket.detector.clone() },
    }
}

fn coating(world: &World) -> Next {
    match world.coating {
        Coating::Presumed => Next::Piece(Piece::Coating),
        Coating::Clear => Next::Open,
        Coating::Asbestos => Next::Refused(words::asbestos()),
    }
}

/// A drill overhead: coating cleared, the circuits of the void secured, both hands free.
fn through_ceiling(world: &World, now: Moment) -> Next {
    match coating(world) {
        Next::Open => climb(world, VOID).or_else(|| height(world, true, now)).into(),
        missing => missing,
    }
}

fn height(world: &World, drilling: bool, now: Moment) -> Option<Piece> {
    match &world.footing {
        Some(footing) if footing.for_drilling || !drilling => {
            (now.seconds_since(footing.since) >= OVERHEAD_MINUTES * 60).then_some(Piece::Rest)
        }
        _ => Some(Piece::Height { drilling }),
    }
}

/// Gives a circuit back: its own device first, then the main switch where that holds it too.
fn restore(world: &World, circuit: &str, how: Return, now: Moment) -> Next {
    let ladder = still_off(world, circuit).unwrap_or(circuit);
    let mut opened = world.exposed.values().map(|point| &point.circuit);
    if how == Return::Others
        && world.ladder(MAIN_SWITCH) == Level::Secured
        && let Some(held) = opened.find(|held| [Level::Identified, Level::Off].contains(&world.ladder(held)))
    {
        return Next::Piece(rung(world, held));
    }
    if let Some(refusal) = restore_refusal(world, ladder, how, now) {
        return Next::Refused(refusal);
    }
    let given = [circuit, MAIN_SWITCH].iter().any(|ladder| world.given_back.contains(*ladder));
    let done = given && still_off(world, circuit).is_none();
    (!done).then(|| Piece::Restore { circuit: ladder.to_owned(), how }).into()
}

/// A circuit that should have been given back by now. Where a core was loosened, only a step can say in which way.
fn back(world: &World, circuit: &str, now: Moment) -> Next {
    if still_off(world, circuit).is_none() {
        return Next::Open;
    }
    match world.loosened.iter().find(|loose| world.comes_back(circuit, loose)) {
        Some(loose) => Next::Refused(words::test_first(loose)),
        None => restore(world, circuit, Return::Unaltered, now),
    }
}

/// The ladder that still keeps a circuit off: its own, else the main switch's.
fn still_off<'a>(world: &World, circuit: &'a str) -> Option<&'a str> {
    [circuit, MAIN_SWITCH]
        .into_iter()
        .find(|ladder| world.ladder(ladder) > Level::Identified || world.is_locked(ladder))
}

impl World {
    /// Whether closing the device of `device` brings the supply back to `circuit`.
    pub(super) fn comes_back(&self, device: &str, circuit: &str) -> bool {
        if device == MAIN_SWITCH { self.ladder(circuit) < Level::Secured } else { device == circuit }
    }

    /// Whether a circuit's own lock isolates it without the main switch behind it.
    pub(super) fn holds_alone(&self, circuit: &str, now: Moment) -> bool {
        let mut exposed = self.exposed.iter().filter(|(_, point)| point.circuit == circuit);
        self.ladder(circuit) == Level::Secured
            && (!self.main_switch_only.contains(circuit) || exposed.any(|(name, _)| self.is_proved_parted(name, now)))
    }

    /// Whether the neutrals of an exposed point are parted and proved. A neutral that may be shared shows itself only then.
    pub(super) fn is_proved_parted(&self, name: &str, now: Moment) -> bool {
        let proof = self.proofs.get(name).filter(|proof| proof.point.has_parted_neutrals());
        proof.is_some_and(|proof| self.proved_until(&proof.point, now).is_some())
    }
}

/// Why a device may not be closed in this way, as far as the world can tell.
pub(super) fn restore_refusal(world: &World, device: &str, how: Return, now: Moment) -> Option<Refusal> {
    let others = how == Return::Others;
    if others && let Some(refusal) = narrow_refusal(world, device, now) {
        return Some(refusal);
    }
    if let Some(open) = world.duties.iter().find_map(|duty| {
        let name = duty.name.strip_prefix("cover(")?.strip_suffix(')')?;
        let stays_off = world.exposed.get(name).is_none_or(|point| !world.comes_back(device, &point.circuit));
        (!(others && stays_off)).then_some(name)
    }) {
        return Some(words::cover_first(open));
    }
    let untested = matches!(how, Return::Unaltered | Return::Others);
    let mut loosened = world.loosened.iter().filter(|loose| untested && world.comes_back(device, loose));
    loosened.next().map(|loose| words::test_first(loose))
}

/// Why the main switch may not be closed for the others: a neutral may still be lent to them, or nothing stays locked.
fn narrow_refusal(world: &World, device: &str, now: Moment) -> Option<Refusal> {
    let leans = |point: &Point| world.main_switch_only.contains(&point.circuit);
    let mut exposed = world.exposed.iter();
    if let Some((name, _)) = exposed.find(|(name, point)| leans(point) && !world.is_proved_parted(name, now)) {
        return Some(words::part_first(name));
    }
    let stays = |circuit: &str| circuit != MAIN_SWITCH && world.holds_alone(circuit, now);
    let narrows = device == MAIN_SWITCH && world.circuits().any(stays);
    (!narrows).then(words::nothing_stays_locked)
}

/// Why a risk is refused for want of a finding on the trail.
fn findings_refusal(world: &World, risk: &Risk, scene: &Scene) -> Option<Refusal> {
    match risk {
        Risk::Cut { hole } => {
            missing_finding(scene, &HOLE_FINDINGS, hole).map(|what| words::hole_not_clear(hole, what))
        }
        Risk::Timber { hole } => missing_finding(scene, &["timber"], hole).map(|_| words::timber_not_passed(hole)),
        Risk::Restore { circuit, how } => {
            let wanted = match how {
                Return::Altered => ALTERED_FINDINGS,
                Return::RemadeAsFound => REMADE_FINDINGS,
                Return::Unaltered | Return::Others => return None,
            };
            let device = still_off(world, circuit).unwrap_or(circuit);
            let loosened = world.loosened.iter().filter(|loose| world.comes_back(device, loose)).map(String::as_str);
            let named = std::iter::once(circuit.as_str()).filter(|name| *name != MAIN_SWITCH);
            named
                .chain(loosened)
                .find_map(|of| missing_finding(scene, &wanted, of).map(|what| words::not_tested(of, what)))
        }
        _ => None,
    }
}

fn missing_finding(scene: &Scene, wanted: &[&'static str], of: &str) -> Option<&'static str> {
    let passed = |what: &str| scene.findings.get(&(what.to_owned(), of.to_owned())) == Some(&true);
    wanted.iter().copied().find(|what| !passed(what))
}
