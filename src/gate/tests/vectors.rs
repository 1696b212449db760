//! The test vectors of the isolation model, one by one. Where this gate is stricter or shorter than the first model, the test says so.

use super::*;

const LADDER: [&str; 4] = ["gate.identify/lighting", "gate.off/lighting", "gate.secure/lighting", "gate.open/rose"];
const FULL_PROOF: [&str; 4] = ["gate.prove_first", "gate.read/rose/1", "gate.read/rose/2", "gate.prove_again"];

fn open_for_test() -> Job {
    let mut job = Job::begun();
    let circuit = LIGHTING.to_owned();
    for piece in [
        Piece::Identify { circuit: circuit.clone() },
        Piece::Off { circuit: circuit.clone() },
        Piece::Secure { circuit, backed: false },
        Piece::Open { point: rose() },
    ] {
        job.give(piece, &[]);
    }
    job
}

fn read(job: &mut Job, positions: usize) {
    job.give(Piece::ProveFirst { whole_off: false }, &[("detector", "D1")]);
    for position in 1..=positions {
        job.give(Piece::Read { point: rose(), position, short: false }, &[]);
    }
}

#[test]
fn the_shortest_way_to_a_first_touch() {
    let mut job = Job::begun();
    let keys = job.meet(&touch(&rose()));
    assert_eq!(keys, [LADDER, FULL_PROOF].concat());
    job.start("rose.loosen", &touch(&rose())).unwrap();
}

#[test]
fn vector_1_no_touch_before_the_bracket_is_closed() {
    let mut job = open_for_test();
    read(&mut job, 2);
    assert_eq!(job.wants(&touch(&rose())), "gate.prove_again");
    assert!(job.start("rose.loosen", &touch(&rose())).is_err());
}

#[test]
fn vector_1b_off_is_not_secured() {
    let mut job = Job::begun();
    job.give(Piece::Identify { circuit: LIGHTING.to_owned() }, &[]);
    job.give(Piece::Off { circuit: LIGHTING.to_owned() }, &[]);
    assert!(job.attempt(&Event::Evidence(evidence(Piece::Open { point: rose() }, &[]))).is_err());
    assert_eq!(job.wants(&touch(&rose())), "gate.secure/lighting");
}

#[test]
fn vector_2_another_detector_voids_the_bracket() {
    let mut job = open_for_test();
    read(&mut job, 2);
    job.give(Piece::ProveAgain { detector: "D1".to_owned() }, &[("same detector", "no")]);
    assert_eq!(job.level(), Level::Secured);
    assert_eq!(job.wants(&touch(&rose())), "gate.prove_first");

    read(&mut job, 2);
    assert!(job.attempt(&Event::Evidence(evidence(Piece::ProveAgain { detector: "D2".to_owned() }, &[]))).is_err());
}

#[test]
fn vector_3_a_missing_pair_is_named_and_proves_nothing() {
    let ask = words::ask(Piece::Read { point: rose(), position: 1, short: false });
    let problem = examine(&ask, &vec!["0".to_owned(); 5]).unwrap_err();
    assert!(problem.message.contains("switched–earth"), "{problem}");

    let mut job = open_for_test();
    read(&mut job, 1);
    job.give(Piece::ProveAgain { detector: "D1".to_owned() }, &[]);
    assert_eq!(job.world.proved_until(&rose(), job.now), None, "one of two positions was read");
}

/// Amended: a proof that only time has ended is repeated in the short form.
#[test]
fn vector_4_an_old_proof_leaves_hands_off_and_three_pieces_to_go() {
    let mut job = Job::proved();
    job.wait(31);
    let trouble = job.trouble().unwrap();
    assert_eq!(trouble.kind, TroubleKind::Exposed { point: "rose".to_owned() });
    let offers: Vec<_> = trouble.offers.iter().map(Ask::key).collect();
    assert_eq!(offers, ["gate.prove_first", "gate.cover/rose"]);
    assert!(job.start("rose.loosen", &touch(&rose())).is_err());
    assert_eq!(job.meet(&touch(&rose())), ["gate.prove_first", "gate.read/rose/1", "gate.prove_again"]);
}

#[test]
fn vector_5_back_from_an_errand_with_the_lock_seen() {
    let mut job = Job::proved();
    job.enter(&Event::Reported(Happening::Leaving));
    assert_eq!(job.level(), Level::Unknown);
    job.wait(40);
    assert_eq!(job.trouble().unwrap().kind, TroubleKind::LockInDoubt);
    job.give(Piece::LockSeen, &[]);
    assert_eq!(job.level(), Level::Secured);
    assert_eq!(job.meet(&touch(&rose())), FULL_PROOF);
}

#[test]
fn vector_6_back_from_an_errand_with_the_lock_not_seen() {
    let mut job = Job::proved();
    job.enter(&Event::Reported(Happening::Leaving));
    job.give(Piece::LockSeen, &[("lock seen", "no")]);
    assert_eq!(job.level(), Level::Unknown);
    assert!(!job.world.in_doubt());
    assert_eq!(job.wants(&touch(&rose())), "gate.identify/main switch", "the lamp can't show the device any more");
    let offers: Vec<_> = job.trouble().unwrap().offers.iter().map(Ask::key).collect();
    assert_eq!(offers, ["gate.identify/main switch", "gate.cover/rose"]);
}

#[test]
fn vector_7_a_proof_belongs_to_its_point_as_described() {
    let job = Job::proved();
    let second = Point { name: "box".to_owned(), ..rose() };
    assert_eq!(job.wants(&touch(&second)), "gate.open/box");
    assert_eq!(job.wants(&touch(&rose())), "open");
    let parted = Point { terminals: Vec::new(), ends: vec!["C1.brown".to_owned(), "C1.blue".to_owned()], ..rose() };
    assert_eq!(job.wants(&touch(&parted)), "gate.prove_first");
}

#[test]
fn vector_8_a_shared_neutral_leaves_the_main_switch_only() {
    for answer in ["yes", "not sure"] {
        let mut job = Job::begun();
        let keys = job.meet_with(&touch(&rose()), &[("shared neutral", answer), ("source", "proving unit")]);
        let main = ["gate.identify/main switch", "gate.off/main switch", "gate.secure/main switch", "gate.open/rose"];
        assert_eq!(keys, [&LADDER[..3], &main[..], &FULL_PROOF[..]].concat());
    }
}

#[test]
fn vector_9_in_a_power_cut_no_reading_counts_until_mains_is_seen() {
    let mut job = Job::proved();
    job.enter(&Event::Reported(Happening::PowerCut));
    assert_eq!(job.level(), Level::Secured);
    assert_eq!(job.wants(&touch(&rose())), "gate.mains_seen");
    let first = Event::Evidence(evidence(Piece::ProveFirst { whole_off: false }, &[]));
    assert!(job.attempt(&first).is_err());
    job.give(Piece::MainsSeen, &[]);
    job.enter(&first);
}

#[test]
fn vector_10_any_voltage_stops_the_work() {
    let mut job = open_for_test();
    read(&mut job, 0);
    job.give(Piece::Read { point: rose(), position: 1, short: false }, &[("neutral–earth", "38 V")]);
    assert_eq!(job.level(), Level::Unknown);
    assert_eq!(job.world.stopped(), Some(Stop::VoltageFound));
    assert_eq!(job.trouble().unwrap().kind, TroubleKind::Stopped);
    assert_eq!(job.wants(&touch(&rose())), "refused");
    job.enter(&Event::Released);
    assert_eq!((job.level(), job.world.stopped()), (Level::Unknown, None));
}

#[test]
fn vector_11_after_a_crash_the_first_question_is_the_lock() {
    let mut job = Job::proved();
    job.start("rose.loosen", &touch(&rose())).unwrap();
    job.enter(&Event::Resumed);
    let trouble = job.trouble().unwrap();
    assert_eq!((trouble.kind, trouble.offers[0].key()), (TroubleKind::LockInDoubt, "gate.lock_seen".to_owned()));
    assert_eq!(job.world.started(), None);
    job.give(Piece::LockSeen, &[]);
    assert_eq!(job.trouble().unwrap().kind, TroubleKind::Exposed { point: "rose".to_owned() });
    assert!(job.done("rose.loosen", &touch(&rose())).is_err(), "its start was voided");
}

#[test]
fn vector_12_an_open_cover_keeps_the_supply_off_and_is_named() {
    let job = Job::proved();
    let Demand::Refused(refusal) = job.demand(&restore(LIGHTING, Return::Unaltered)) else { panic!("not refused") };
    assert!(refusal.text.contains("rose"), "{refusal:?}");
}

#[test]
fn vector_13_one_more_tweak_after_the_supply_is_back() {
    let mut job = Job::proved();
    job.give(Piece::Cover { point: "rose".to_owned() }, &[]);
    let back = restore(LIGHTING, Return::Unaltered);
    job.meet(&back);
    job.start("back.close", &back).unwrap();
    job.done("back.close", &back).unwrap();
    assert_eq!(job.level(), Level::Identified);
    assert_eq!(job.meet(&touch(&rose())), [&LADDER[1..], &FULL_PROOF[..]].concat());
}

/// Amended: the lock is in doubt as well.
#[test]
fn vector_14_a_clock_set_back_ends_every_proof() {
    let mut job = Job::proved();
    job.wait(-60);
    assert_eq!(job.level(), Level::Unknown);
    job.give(Piece::LockSeen, &[]);
    assert_eq!(job.level(), Level::Secured);
    assert_eq!(job.wants(&touch(&rose())), "gate.prove_first");
}

#[test]
fn vector_15_a_new_name_without_taking_over_knows_nothing() {
    let mut job = Job::proved();
    job.world.apply(&Event::Nothing, "B", job.now).unwrap();
    assert_eq!(job.level(), Level::Unknown);
    assert!(!job.world.in_doubt());

    let mut job = Job::proved();
    job.world.apply(&Event::TakenOver, "B", job.now).unwrap();
    assert!(job.world.in_doubt());
    assert_eq!(job.world.person(), "B");
}

#[test]
fn vector_17_a_lock_that_is_still_on_is_a_duty() {
    let mut job = Job::proved();
    job.give(Piece::Cover { point: "rose".to_owned() }, &[]);
    let names = |job: &Job| job.world.duties().iter().map(|duty| duty.name.clone()).collect::<Vec<_>>();
    assert_eq!(names(&job), ["lock(lighting)", "notice(lighting)"]);
    let sign = Sign::Restored { circuit: LIGHTING.to_owned() };
    assert_eq!(said(&signpost(&job.world, &sign, &job.scene, job.now)), "gate.restore/lighting");
    job.give(Piece::Restore { circuit: LIGHTING.to_owned(), how: Return::Unaltered }, &[]);
    assert!(names(&job).is_empty());
    assert_eq!(said(&signpost(&job.world, &sign, &job.scene, job.now)), "open");
}

#[test]
fn somebody_comes_while_the_rose_is_open() {
    let mut job = Job::proved();
    job.start("rose.loosen", &touch(&rose())).unwrap();
    job.enter(&Event::Reported(Happening::SomeoneCame));
    assert_eq!((job.level(), job.world.started()), (Level::Secured, None));
    assert_eq!(job.trouble().unwrap().kind, TroubleKind::Exposed { point: "rose".to_owned() });
    job.give(Piece::Cover { point: "rose".to_owned() }, &[]);
    assert_eq!(job.trouble(), None);
    assert_eq!(job.wants(&touch(&rose())), "gate.open/rose");
}
