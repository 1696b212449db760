//! Guards that only a record not written by this program would meet, and the table of happenings.

use super::*;

fn refused(job: &mut Job, piece: Piece) {
    let before = job.world.clone();
    let entry = Event::Evidence(evidence(piece, &[]));
    assert!(job.attempt(&entry).is_err(), "{entry:?}");
    assert_eq!(job.world, before);
}

#[test]
fn one_step_is_in_hand_at_a_time() {
    let mut job = Job::proved();
    job.start("a", &touch(&rose())).unwrap();
    assert!(job.start("b", &touch(&rose())).is_err());
    assert!(job.done("b", &touch(&rose())).is_err());
    assert!(job.done("a", &look(&rose())).is_err(), "not the step that was started");
    job.enter(&Event::CouldNot { key: "a".to_owned() });
    job.start("b", &touch(&rose())).unwrap();
}

#[test]
fn the_short_proof_repeats_a_full_one_of_the_same_description() {
    let mut job = Job::proved();
    let parted = Point { terminals: Vec::new(), ends: vec!["C1.brown".to_owned()], ..rose() };
    job.give(Piece::ProveFirst { whole_off: false }, &[]);
    refused(&mut job, Piece::Read { point: parted, position: 1, short: true });
    job.enter(&Event::Reported(Happening::SomeoneCame));
    job.give(Piece::ProveFirst { whole_off: false }, &[]);
    refused(&mut job, Piece::Read { point: rose(), position: 1, short: true });
}

#[test]
fn a_wide_point_is_read_under_the_main_switch_only() {
    let mut job = Job::proved();
    job.give(Piece::ProveFirst { whole_off: false }, &[]);
    refused(&mut job, Piece::Read { point: Point { wide: true, ..rose() }, position: 1, short: false });
}

#[test]
fn rounds_are_read_in_order_and_once() {
    let mut job = Job::proved();
    job.give(Piece::ProveFirst { whole_off: false }, &[]);
    let read = |position| Piece::Read { point: rose(), position, short: false };
    refused(&mut job, read(2));
    job.give(read(1), &[]);
    refused(&mut job, read(1));
    job.give(read(2), &[]);
    refused(&mut job, read(3));
}

#[test]
fn with_the_home_off_only_a_proving_unit_is_a_known_source() {
    let mut job = Job::proved();
    let main = MAIN_SWITCH.to_owned();
    job.give(Piece::Identify { circuit: main.clone() }, &[]);
    job.give(Piece::Off { circuit: main }, &[]);
    refused(&mut job, Piece::ProveFirst { whole_off: false });
    let ask = words::ask(Piece::ProveFirst { whole_off: true });
    assert!(examine(&ask, &answers(&ask, &[("source", "socket of another circuit that is on")])).is_err());
    for kind in ["non-contact pen", "multimeter", "neon screwdriver", "other"] {
        assert!(examine(&ask, &answers(&ask, &[("detector kind", kind)])).is_err(), "{kind}");
    }
}

#[test]
fn a_secured_circuit_is_not_left_to_the_main_switch_behind_its_proof() {
    let mut job = Job::proved();
    let unlit = evidence(Piece::Identify { circuit: LIGHTING.to_owned() }, &[("lit before", "no")]);
    assert!(job.attempt(&Event::Evidence(unlit)).is_err());
}

#[test]
fn a_job_is_begun_once_and_first() {
    let mut world = World::default();
    assert!(world.apply(&Event::Resumed, WORKER, nine()).is_err());
    world.apply(&Event::Begun, WORKER, nine()).unwrap();
    assert!(world.apply(&Event::Begun, WORKER, nine()).is_err());
    assert!(world.apply(&Event::Released, WORKER, nine()).is_err(), "nothing was stopped");
}

/// The cap of each demotion, listed anew. Leaving puts the lock in doubt, and is tried elsewhere.
#[test]
fn each_happening_lowers_as_the_model_says() {
    use Level::{Identified, Secured, Unknown};
    let caps = [
        ("leaving without the key", Unknown),
        ("lock or notice gone", Unknown),
        ("someone came", Secured),
        ("somebody holds a key", Unknown),
        ("second worker", Secured),
        ("power cut", Secured),
        ("detector dropped", Secured),
        ("detector weak", Secured),
        ("detector changed", Secured),
        ("unexpected cable", Unknown),
        ("joined to a cable with an unknown end", Identified),
        ("end out of sight", Secured),
        ("unexpected layer", Secured),
        ("tingle", Unknown),
        ("arc", Unknown),
        ("voltage", Unknown),
        ("wrong entry", Unknown),
    ];
    assert_eq!(caps.len() + 1, Happening::all().count(), "leaving is tried elsewhere");
    for (words, cap) in caps {
        let mut job = Job::proved();
        job.enter(&Event::Reported(Happening::from_words(words).unwrap()));
        assert_eq!(job.level(), cap, "{words}");
        assert_eq!(job.world.stopped().is_some(), ["tingle", "arc", "voltage"].contains(&words), "{words}");
        assert!(job.world.proofs.is_empty(), "{words}");
    }
    let mut job = Job::proved();
    job.enter(&Event::Unknown("what nobody foresaw".to_owned()));
    assert_eq!((job.level(), job.world.in_doubt()), (Unknown, false));
}

/// P10: a record of evidence with a field missing lowers everything.
#[test]
fn evidence_with_a_field_missing_is_unknown() {
    let mut job = Job::proved();
    let mut broken = evidence(Piece::ProveFirst { whole_off: false }, &[]);
    broken.answers.remove("sound");
    job.enter(&Event::Evidence(broken));
    assert_eq!((job.level(), job.world.in_doubt()), (Level::Unknown, false));
}

#[test]
fn an_hour_of_silence_puts_the_lock_in_doubt() {
    let mut job = Job::proved();
    job.wait(59);
    assert_eq!(job.level(), Level::Secured);
    job.wait(1);
    assert_eq!((job.level(), job.world.at(job.now).in_doubt()), (Level::Unknown, true));
}

#[test]
fn not_sure_stops_the_work_and_loses_nothing_but_the_proof() {
    let mut job = Job::proved();
    job.enter(&Event::Unsure);
    assert_eq!(job.world.stopped(), Some(Stop::Unsure));
    job.give(Piece::Cover { point: "rose".to_owned() }, &[]);
    job.world.apply(&Event::Released, "C", job.now).unwrap();
    assert_eq!(job.world.person(), WORKER, "a release takes nothing over");
    assert!(job.world.in_doubt());
    job.give(Piece::LockSeen, &[]);
    assert_eq!(job.level(), Level::Secured);
}
