//! Exhaustive search: every state that two points, their circuit and the main switch can reach, beside a monitor that keeps
//! its own book from the events alone. What the monitor calls unsafe, the gate must not allow.

use std::collections::{HashSet, VecDeque};

use super::*;

/// Minutes between two records that make a difference: within a proof, past a bracket, past a proof, silence, clock set back.
const WAITS: [i64; 4] = [16, 31, 61, -5];

/// One thing that may happen to a job.
#[derive(Debug, Clone)]
struct Move {
    event: Event,
    minutes: i64,
    sense: Sense,
}

/// What a move means to the monitor.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Sense {
    Rung { ladder: usize, rung: u8, backed: bool },
    MainOnly,
    Seen,
    Open(usize),
    Cover(usize),
    First,
    Read(usize, usize),
    Again,
    Back { ladder: usize, narrow: bool },
    Touch(usize),
    End(usize),
    Cap(u8),
    Doubt,
    Stop(u8),
    Release,
    Mains,
    Outage,
    Wait,
}

/// What an onlooker with a notebook knows. It shares no code with the gate.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default)]
struct Monitor {
    /// Lighting, then the main switch: 0 to 3.
    rungs: [u8; 2],
    doubt: bool,
    stopped: bool,
    outage: bool,
    main_only: bool,
    open: [bool; 2],
    /// Minutes since the detector was proved first, and the rounds read of each point since.
    bracket: Option<i64>,
    rounds: [usize; 2],
    /// Minutes since a point was proved.
    proved: [Option<i64>; 2],
    touching: Option<usize>,
}

/// Rounds of the rose (one switch) and of the joint (none).
const ROUNDS: [usize; 2] = [2, 1];

impl Monitor {
    fn lower(&mut self, cap: u8) {
        let cap = if self.doubt && cap < 3 { 0 } else { cap };
        self.rungs = self.rungs.map(|rung| rung.min(cap));
        self.doubt &= self.rungs != [0, 0];
        (self.bracket, self.rounds, self.proved, self.touching) = (None, [0, 0], [None, None], None);
    }

    fn doubt(&mut self) {
        self.lower(3);
        self.rungs = self.rungs.map(|rung| if rung == 3 { 3 } else { 0 });
        self.doubt = self.rungs != [0, 0];
    }

    fn pass(&mut self, minutes: i64) {
        if !(0..60).contains(&minutes) {
            self.doubt();
        }
        self.bracket = self.bracket.map(|since| since + minutes).filter(|since| *since <= 15);
        if self.bracket.is_none() {
            self.rounds = [0, 0];
        }
        self.proved = self.proved.map(|since| since.map(|since| since + minutes).filter(|since| *since < 30));
        self.touching = self.touching.filter(|point| self.proved[*point].is_some());
    }

    /// Nothing that feeds this point can be switched on: the rose by either lock, the joint (parted neutrals) by the main.
    fn secured(&self, point: usize) -> bool {
        let locked = if point == 1 { self.rungs[1] == 3 } else { self.rungs.contains(&3) };
        locked && !self.doubt && !self.stopped
    }

    fn take(&mut self, sense: Sense) {
        match sense {
            Sense::Rung { ladder, rung, .. } => self.rungs[ladder] = rung,
            Sense::MainOnly => self.main_only = true,
            Sense::Seen => self.doubt = false,
            Sense::Open(point) => self.open[point] = true,
            Sense::Cover(point) => {
                (self.open[point], self.proved[point]) = (false, None);
                self.touching = self.touching.filter(|touched| *touched != point);
            }
            Sense::First => self.bracket = Some(0),
            Sense::Read(point, round) => self.rounds[point] = round,
            Sense::Again => {
                let read = |point: usize| self.rounds[point] == ROUNDS[point];
                self.proved = [0, 1].map(|point| if read(point) { Some(0) } else { self.proved[point] });
                (self.bracket, self.rounds) = (None, [0, 0]);
            }
            Sense::Back { ladder, .. } => {
                self.lower(3);
                self.rungs[ladder] = self.rungs[ladder].min(1);
                if ladder == 0 {
                    self.main_only = false;
                } else if self.main_only {
                    self.rungs[0] = self.rungs[0].min(2);
                }
            }
            Sense::Touch(point) => self.touching = Some(point),
            Sense::End(_) => self.touching = None,
            Sense::Cap(cap) => self.lower(cap),
            Sense::Doubt => self.doubt(),
            Sense::Stop(cap) => {
                self.lower(cap);
                self.stopped = true;
            }
            Sense::Release => {
                self.stopped = false;
                self.doubt();
            }
            Sense::Mains => self.outage = false,
            Sense::Outage => {
                self.lower(3);
                self.outage = true;
            }
            Sense::Wait => {}
        }
    }

    /// What must hold before a move is made: P1, P1b and the guards around them, said anew.
    fn allows(&self, sense: Sense) -> bool {
        let calm = !self.doubt && !self.stopped;
        match sense {
            Sense::Rung { ladder, rung, backed } => {
                let neutral = rung < 3 || ladder == 1 || if backed { self.rungs[1] == 3 } else { !self.main_only };
                calm && self.rungs[ladder] + 1 == rung && neutral
            }
            Sense::Seen => !self.stopped,
            Sense::Open(point) => self.secured(point),
            Sense::First => calm && self.rungs.contains(&3) && !self.outage && self.bracket.is_none(),
            Sense::Read(point, round) => {
                self.secured(point) && self.open[point] && self.bracket.is_some() && round == self.rounds[point] + 1
            }
            Sense::Again => calm && self.bracket.is_some(),
            Sense::Touch(point) => self.secured(point) && self.open[point] && self.proved[point].is_some(),
            Sense::End(point) => self.touching == Some(point),
            Sense::Back { ladder, narrow } => {
                let open = self.open != [false, false];
                let alone = self.rungs[0] == 3 && !self.main_only;
                calm && if narrow { ladder == 1 && alone } else { !open }
            }
            _ => true,
        }
    }
}

fn points() -> [Point; 2] {
    let joint = Point { wide: true, ..point("joint", &["loop", "neutral"], &[]) };
    [rose(), joint]
}

fn given(piece: Piece, sense: Sense) -> Move {
    let other = [("source", "proving unit"), ("detector", "D1")];
    Move { event: Event::Evidence(evidence(piece, &other)), minutes: 0, sense }
}

fn happened(event: Event, sense: Sense) -> Move {
    Move { event, minutes: 0, sense }
}

fn ladder_moves() -> Vec<Move> {
    let mut moves = Vec::new();
    for (ladder, circuit) in [LIGHTING, MAIN_SWITCH].map(str::to_owned).into_iter().enumerate() {
        let rung = |rung| Sense::Rung { ladder, rung, backed: false };
        moves.push(given(Piece::Identify { circuit: circuit.clone() }, rung(1)));
        moves.push(given(Piece::Off { circuit: circuit.clone() }, rung(2)));
        moves.push(given(Piece::Secure { circuit: circuit.clone(), backed: false }, rung(3)));
        let how = Return::Altered;
        moves.push(given(Piece::Restore { circuit, how }, Sense::Back { ladder, narrow: false }));
    }
    let circuit = LIGHTING.to_owned();
    let backed = Sense::Rung { ladder: 0, rung: 3, backed: true };
    moves.push(given(Piece::Secure { circuit: circuit.clone(), backed: true }, backed));
    let shared = evidence(Piece::Secure { circuit, backed: false }, &[("shared neutral", "not sure")]);
    moves.push(happened(Event::Evidence(shared), Sense::MainOnly));
    let narrow = Piece::Restore { circuit: MAIN_SWITCH.to_owned(), how: Return::Others };
    moves.push(given(narrow, Sense::Back { ladder: 1, narrow: true }));
    moves
}

fn point_moves() -> Vec<Move> {
    let mut moves = vec![
        given(Piece::ProveFirst { whole_off: true }, Sense::First),
        given(Piece::ProveAgain { detector: "D1".to_owned() }, Sense::Again),
        given(Piece::LockSeen, Sense::Seen),
        given(Piece::MainsSeen, Sense::Mains),
    ];
    for (at, point) in points().into_iter().enumerate() {
        let (key, risks) = (point.name.clone(), vec![touch(&point)]);
        moves.push(given(Piece::Open { point: point.clone() }, Sense::Open(at)));
        moves.push(given(Piece::Cover { point: point.name.clone() }, Sense::Cover(at)));
        for position in 1..=ROUNDS[at] {
            let read = Piece::Read { point: point.clone(), position, short: false };
            moves.push(given(read, Sense::Read(at, position)));
        }
        let started = Event::Started { key: key.clone(), risks: risks.clone(), minutes: 1.0 };
        moves.push(happened(started, Sense::Touch(at)));
        let done = Event::Done { key, risks, opens: Vec::new(), closes: Vec::new() };
        moves.push(happened(done, Sense::End(at)));
    }
    moves
}

/// Everything that lowers. Each is also a demotion for the properties about demotions.
fn demotions() -> Vec<Move> {
    let reported = |happening| Event::Reported(happening);
    let voltage = evidence(Piece::Read { point: rose(), position: 1, short: false }, &[("loop–earth", "230")]);
    let failed = evidence(Piece::ProveAgain { detector: "D1".to_owned() }, &[("shows again", "no")]);
    let unseen = evidence(Piece::LockSeen, &[("lock seen", "no")]);
    let mut spoilt = evidence(Piece::Off { circuit: LIGHTING.to_owned() }, &[]);
    spoilt.answers.remove("all told");
    let mut moves = vec![
        happened(reported(Happening::SomeoneCame), Sense::Cap(3)),
        happened(reported(Happening::JoinedToUnknown), Sense::Cap(1)),
        happened(reported(Happening::LockGone), Sense::Cap(0)),
        happened(reported(Happening::Leaving), Sense::Doubt),
        happened(reported(Happening::PowerCut), Sense::Outage),
        happened(reported(Happening::Arc), Sense::Stop(0)),
        happened(Event::Unsure, Sense::Stop(3)),
        happened(Event::Resumed, Sense::Doubt),
        happened(Event::Unknown("new".to_owned()), Sense::Cap(0)),
        happened(Event::Evidence(voltage), Sense::Stop(0)),
        happened(Event::Evidence(failed), Sense::Cap(3)),
        happened(Event::Evidence(unseen), Sense::Cap(0)),
        happened(Event::Evidence(spoilt), Sense::Cap(0)),
    ];
    moves.extend(WAITS.map(|minutes| Move { event: Event::Nothing, minutes, sense: Sense::Wait }));
    moves
}

fn moves() -> Vec<Move> {
    let release = happened(Event::Released, Sense::Release);
    [ladder_moves(), point_moves(), demotions(), vec![release]].concat()
}

/// The same state at one fixed moment, so that worlds that differ by the clock alone are one.
fn settled(world: &World, now: Moment) -> World {
    let mut world = world.at(now);
    let shift = |moment: Moment, most: i64| nine().plus_seconds(moment.seconds_since(now).clamp(-most, most));
    world.last = Some(nine());
    world.bracket.iter_mut().for_each(|bracket| bracket.opened = shift(bracket.opened, 3600));
    world.proofs.values_mut().for_each(|proof| proof.until = shift(proof.until, 1800));
    world.proofs.values_mut().for_each(|proof| proof.until = proof.until.max(nine()));
    world.duties.iter_mut().for_each(|duty| duty.since = nine());
    world
}

fn ladders(world: &World) -> [u8; 2] {
    [LIGHTING, MAIN_SWITCH].map(|ladder| world.ladder(ladder) as u8)
}

/// P4, and that gate and monitor agree on what they both keep.
fn assert_sound(world: &World, monitor: &Monitor) {
    let book = (ladders(world), world.in_doubt, world.stopped.is_some());
    assert_eq!(book, (monitor.rungs, monitor.doubt, monitor.stopped));
    assert!(world.bracket.is_none() || ladders(world).contains(&3), "P4");
    for (at, point) in points().iter().enumerate() {
        let proved = world.proved_until(point, nine()).is_some();
        assert_eq!(proved, monitor.proved[at].is_some() && monitor.secured_but_for_a_stop(at), "{at}");
        assert!(!world.proofs.contains_key(&point.name) || world.is_isolated(point) || world.in_doubt, "P4");
        assert_eq!(world.exposed.contains_key(&point.name), monitor.open[at]);
    }
}

impl Monitor {
    fn secured_but_for_a_stop(&self, point: usize) -> bool {
        Self { stopped: false, ..self.clone() }.secured(point)
    }
}

/// What the gate asks for is always what it takes, and it always ends in *open* or says why not.
fn assert_leads_on(world: &World) {
    let [rose, joint] = points();
    for risk in [touch(&rose), touch(&joint), restore(LIGHTING, Return::Altered), restore(MAIN_SWITCH, Return::Others)]
    {
        let mut job = Job { world: world.clone(), now: nine(), scene: Scene { minutes: 1.0, ..Scene::default() } };
        for what in ALTERED_FINDINGS {
            job.scene.findings.insert((what.to_owned(), LIGHTING.to_owned()), true);
        }
        let mut pieces = 0;
        while let Demand::Ask(ask) = job.demand(&risk) {
            assert!(pieces < 20, "no end at {}", ask.key());
            assert!(job.start("k", &risk).is_err(), "started while `{}` is asked", ask.key());
            let typed = answers(&ask, &[("source", "proving unit")]);
            job.enter(&Event::Evidence(examine(&ask, &typed).unwrap()));
            pieces += 1;
        }
        let open = job.demand(&risk) == Demand::Open;
        job.world.started = None;
        assert_eq!(job.start("k", &risk).is_ok(), open);
        assert!(open || job.world.stopped.is_some() || matches!(risk, Risk::Restore { .. }), "{risk:?} is never met");
    }
}

/// How far a search went.
#[derive(Debug, Default)]
struct Walked {
    states: usize,
    taken: usize,
    touches: usize,
}

/// Walks every state that the moves reach, the nearest first, up to a bound. One state in `every` is also tried by demand
/// and by pairs of demotions.
fn explore(moves: &[Move], most_states: usize, every: usize) -> Walked {
    let demotions = demotions();
    let mut world = World::default();
    world.apply(&Event::Begun, WORKER, nine()).unwrap();
    let first = (settled(&world, nine()), Monitor::default());
    let mut seen = HashSet::from([first.clone()]);
    let mut queue = VecDeque::from([first]);
    let mut walked = Walked::default();
    let mut visited = 0;
    while let Some((world, monitor)) = queue.pop_front() {
        for step in moves {
            let Some(next) = make(&world, &monitor, step) else { continue };
            walked.taken += 1;
            walked.touches += usize::from(matches!(step.sense, Sense::Touch(_)));
            if seen.len() < most_states && seen.insert(next.clone()) {
                queue.push_back(next);
            }
        }
        if visited % every == 0 {
            assert_leads_on(&world);
            assert_demotions_settle(&world, &demotions[visited / every % demotions.len()], &demotions);
        }
        visited += 1;
    }
    walked.states = seen.len();
    walked
}

/// Makes a move in the gate and in the monitor, which must agree on whether it may be made.
fn make(world: &World, monitor: &Monitor, step: &Move) -> Option<(World, Monitor)> {
    let now = nine().plus_minutes(step.minutes);
    let (mut after, mut book) = (world.clone(), monitor.clone());
    book.pass(step.minutes);
    let taken = after.apply(&step.event, WORKER, now);
    let allowed = book.allows(step.sense);
    assert!(allowed || taken.is_err(), "{:?} was taken from {world:#?} with {monitor:?}", step.sense);
    if taken.is_err() {
        assert_eq!(after, *world, "what is not allowed changes nothing");
        return None;
    }
    book.take(step.sense);
    let next = (settled(&after, now), book);
    assert_sound(&next.0, &next.1);
    assert_rise(world, &next.0, step);
    Some(next)
}

/// P2: one rung at a time, by evidence only. P5: nothing rises with a restart, and every proof is gone.
fn assert_rise(before: &World, after: &World, step: &Move) {
    for (was, is) in ladders(before).into_iter().zip(ladders(after)) {
        assert!(is <= was || (is == was + 1 && matches!(step.sense, Sense::Rung { .. })), "P2 {step:?}");
    }
    if step.event == Event::Resumed {
        assert!(after.proofs.is_empty() && after.bracket.is_none() && after.started.is_none(), "P5");
        assert!(after.level(LIGHTING) == Level::Unknown, "P5");
    }
}

/// P3: a demotion twice is the same as once, and two in either order come to the same.
fn assert_demotions_settle(world: &World, one: &Move, others: &[Move]) {
    let after = |steps: &[&Move]| {
        let mut job = Job { world: world.clone(), now: nine(), scene: Scene::default() };
        for step in steps {
            if step.minutes == 0 {
                job.attempt(&step.event).unwrap_or_default();
            }
        }
        job.world
    };
    assert_eq!(after(&[one]), after(&[one, one]), "P3 {one:?}");
    for other in others {
        assert_eq!(after(&[one, other]), after(&[other, one]), "P3 {one:?} and {other:?}");
    }
}

fn concerns(step: &Move, ladder: usize, point: usize) -> bool {
    match step.sense {
        Sense::Rung { ladder: of, backed, .. } => of == ladder && !backed,
        Sense::Back { ladder: of, .. } => of == ladder,
        Sense::Open(at) | Sense::Cover(at) | Sense::Read(at, _) | Sense::Touch(at) | Sense::End(at) => at == point,
        _ => true,
    }
}

/// One circuit and the rose, to the last state.
#[test]
fn every_state_of_one_circuit_and_one_point_keeps_the_properties() {
    let moves: Vec<_> = moves().into_iter().filter(|step| concerns(step, 0, 0)).collect();
    let walked = explore(&moves, usize::MAX, 5);
    eprintln!("{walked:?}");
    assert!(walked.touches > 0, "{walked:?}");
}

/// The circuit, the main switch and two points: to the last of 91 404 states at night, the nearest ones otherwise.
#[test]
fn every_state_of_two_points_and_the_main_switch_keeps_the_properties() {
    let deep = std::env::var("LAMPWRIGHT_NIGHTLY").is_ok_and(|set| set == "1");
    let walked = explore(&moves(), if deep { usize::MAX } else { 500 }, 11);
    eprintln!("{walked:?}");
    assert_eq!(walked.states, if deep { 91_404 } else { 500 }, "{walked:?}");
    assert!(!deep || walked.touches > 0, "{walked:?}");
}
