//! The ways in which the supply comes back, and how the main switch is added and released.

use super::*;

fn parted(wide: bool) -> Point {
    let ends = ["C1.blue", "C2.blue"].map(str::to_owned).to_vec();
    Point { ends, wide, ..point("rose", &["loop", "switched", "earth"], &["S1"]) }
}

fn pass(job: &mut Job, findings: &[&str]) {
    job.scene.findings = findings.iter().map(|what| (((*what).to_owned(), LIGHTING.to_owned()), true)).collect();
}

/// A rose proved, a core loosened, the cover back on.
fn loosened() -> Job {
    let mut job = Job::proved();
    job.start("rose.loosen", &touch(&rose())).unwrap();
    job.done("rose.loosen", &touch(&rose())).unwrap();
    job.give(Piece::Cover { point: "rose".to_owned() }, &[]);
    job
}

#[test]
fn looked_at_only_comes_back_unaltered() {
    let mut job = Job::proved();
    job.start("look.flex", &look(&rose())).unwrap();
    job.done("look.flex", &look(&rose())).unwrap();
    let close = Event::Done {
        key: "look.cover".to_owned(),
        risks: Vec::new(),
        opens: Vec::new(),
        closes: vec!["cover(rose)".to_owned()],
    };
    job.enter(&close);
    assert_eq!(job.meet(&restore(LIGHTING, Return::Unaltered)), ["gate.restore/lighting"]);
    assert_eq!(job.level(), Level::Identified);
}

#[test]
fn a_loosened_core_comes_back_tested_only() {
    for (how, findings) in [(Return::Altered, ALTERED_FINDINGS), (Return::RemadeAsFound, REMADE_FINDINGS)] {
        let mut job = loosened();
        assert!(job.world.is_loosened(LIGHTING));
        assert_eq!(job.wants(&restore(LIGHTING, Return::Unaltered)), "refused");
        let sign = Sign::Restored { circuit: LIGHTING.to_owned() };
        assert_eq!(said(&signpost(&job.world, &sign, &job.scene, job.now)), "refused");
        for missing in findings {
            let others: Vec<_> = findings.iter().filter(|what| **what != missing).copied().collect();
            pass(&mut job, &others);
            assert_eq!(job.wants(&restore(LIGHTING, how)), "refused", "{missing}");
        }
        pass(&mut job, &findings);
        job.meet(&restore(LIGHTING, how));
        assert!(!job.world.is_loosened(LIGHTING), "the window is closed");
    }
}

#[test]
fn a_step_begun_counts_as_loosened_even_if_it_could_not_be_done_or_was_voided() {
    let mut job = Job::proved();
    job.start("rose.loosen", &touch(&rose())).unwrap();
    job.enter(&Event::CouldNot { key: "rose.loosen".to_owned() });
    assert!(job.world.is_loosened(LIGHTING));
    let mut job = Job::proved();
    job.start("rose.loosen", &touch(&rose())).unwrap();
    job.enter(&Event::Reported(Happening::LockGone));
    assert!(job.world.is_loosened(LIGHTING));
}

#[test]
fn the_device_is_closed_only_after_the_last_look_and_not_after_a_demotion() {
    let mut job = loosened();
    let back = restore(LIGHTING, Return::Altered);
    pass(&mut job, &ALTERED_FINDINGS);
    assert!(job.start("on.close", &back).is_err());
    job.meet(&back);
    job.enter(&Event::Reported(Happening::SomeoneCame));
    assert_eq!(job.wants(&back), "gate.restore/lighting");
    job.meet(&back);
    job.start("on.close", &back).unwrap();
    job.done("on.close", &back).unwrap();
    assert_eq!(job.wants(&restore(LIGHTING, Return::Altered)), "gate.restore/lighting", "once for each closing");
}

/// Parting the neutrals, then giving the home back while the circuit stays locked.
#[test]
fn wide_adds_the_main_switch_and_narrow_keeps_the_circuit() {
    let mut job = Job::proved();
    let source = [("source", "proving unit")];
    let main = ["gate.identify/main switch", "gate.off/main switch", "gate.secure/main switch"];
    let wide = Point { wide: true, ..rose() };
    let keys = job.meet_with(&touch(&wide), &source);
    assert_eq!(keys[..3], main, "adding the main switch");
    job.start("tak.neutral", &touch(&wide)).unwrap();
    job.done("tak.neutral", &touch(&wide)).unwrap();
    job.scene.points.insert("rose".to_owned(), parted(true));
    assert!(job.trouble().is_some(), "a parted core is a new end");
    job.meet_with(&touch(&parted(true)), &source);
    assert_eq!(job.trouble(), None);

    let narrow = restore(MAIN_SWITCH, Return::Others);
    assert_eq!(job.wants(&restore(MAIN_SWITCH, Return::Unaltered)), "refused");
    assert_eq!(job.meet(&narrow), ["gate.restore/main switch"]);
    assert_eq!(job.level(), Level::Secured);
    assert_eq!(job.trouble(), None, "the switch is closed before anything is proved again");
    job.start("tak.narrow", &narrow).unwrap();
    job.done("tak.narrow", &narrow).unwrap();
    job.scene.points.insert("rose".to_owned(), parted(false));
    assert!(job.trouble().is_some(), "every proof is over");
    let keys = job.meet(&touch(&parted(false)));
    assert_eq!(keys, ["gate.prove_first", "gate.read/rose/1", "gate.read/rose/2", "gate.prove_again"]);
}

/// What was proved between the last look and the closing of the switch says nothing after it.
#[test]
fn closing_the_main_switch_ends_every_proof() {
    let mut job = Job::proved();
    for piece in [
        Piece::Identify { circuit: MAIN_SWITCH.to_owned() },
        Piece::Off { circuit: MAIN_SWITCH.to_owned() },
        Piece::Secure { circuit: MAIN_SWITCH.to_owned(), backed: false },
    ] {
        job.give(piece, &[]);
    }
    let narrow = restore(MAIN_SWITCH, Return::Others);
    job.meet(&narrow);
    job.meet(&touch(&rose()));
    job.start("tak.narrow", &narrow).unwrap();
    job.done("tak.narrow", &narrow).unwrap();
    assert_eq!(job.world.proved_until(&rose(), job.now), None);
}

/// A neutral that may be shared holds the main switch until it is parted, proved, and the circuit's own lock is on.
#[test]
fn a_shared_neutral_is_parted_before_the_home_comes_back() {
    let mut job = Job::begun();
    let other = [("shared neutral", "not sure"), ("source", "proving unit")];
    let wide = Point { wide: true, ..rose() };
    job.meet_with(&touch(&wide), &other);
    let narrow = restore(MAIN_SWITCH, Return::Others);
    assert_eq!(job.wants(&narrow), "gate.secure/lighting");
    job.give(Piece::Secure { circuit: LIGHTING.to_owned(), backed: true }, &[]);
    assert_eq!(job.wants(&narrow), "refused");
    job.meet_with(&touch(&parted(true)), &other);
    assert_eq!(job.wants(&narrow), "gate.restore/main switch");
}

/// One point parted and proved says nothing about the neutrals of another that is open.
#[test]
fn a_second_open_point_is_parted_too() {
    let mut job = Job::begun();
    let other = [("shared neutral", "yes"), ("source", "proving unit")];
    let second = Point { name: "box".to_owned(), wide: true, ..rose() };
    job.meet_with(&touch(&parted(true)), &other);
    job.meet_with(&touch(&second), &other);
    job.give(Piece::Secure { circuit: LIGHTING.to_owned(), backed: true }, &[]);
    let Demand::Refused(refusal) = job.demand(&restore(MAIN_SWITCH, Return::Others)) else { panic!("not refused") };
    assert!(refusal.text.contains("box"), "{refusal:?}");
}

/// Covered meanwhile, its own lock says nothing once the main switch is closed.
#[test]
fn a_lock_backed_by_the_main_switch_does_not_outlive_it() {
    let mut job = Job::begun();
    let other = [("shared neutral", "yes"), ("source", "proving unit")];
    job.meet_with(&touch(&rose()), &other);
    job.give(Piece::Secure { circuit: LIGHTING.to_owned(), backed: true }, &[]);
    job.give(Piece::Cover { point: "rose".to_owned() }, &[]);
    assert_eq!(job.wants(&restore(MAIN_SWITCH, Return::Others)), "refused");
    job.meet(&restore(MAIN_SWITCH, Return::Unaltered));
    assert_eq!(job.level(), Level::Off);
    assert_eq!(job.wants(&touch(&rose())), "gate.off/main switch");
}

#[test]
fn a_circuit_held_by_the_main_switch_comes_back_with_it() {
    let mut job = Job::begun();
    job.meet_with(&touch(&rose()), &[("lit before", "no"), ("source", "proving unit")]);
    job.give(Piece::Cover { point: "rose".to_owned() }, &[]);
    assert_eq!(job.meet(&restore(LIGHTING, Return::Unaltered)), ["gate.restore/main switch"]);
    assert!(job.world.duties().is_empty());
}

#[test]
fn a_fuse_carrier_and_its_blank_are_duties_until_it_comes_back() {
    let mut job = Job::begun();
    let fuse = [("device", words::REWIREABLE), ("closed again", words::CARRIER_OUT), ("how", words::CARRIER_KEPT)];
    job.meet_with(&touch(&rose()), &fuse);
    let names: Vec<_> = job.world.duties().iter().map(|duty| duty.name.as_str()).collect();
    assert_eq!(names, ["blank(lighting)", "carrier(lighting)", "notice(lighting)", "cover(rose)"]);
}

#[test]
fn a_lock_taken_off_by_a_step_secures_nothing() {
    let mut job = Job::proved();
    let closes = vec!["lock(lighting)".to_owned()];
    job.enter(&Event::Done { key: "k".to_owned(), risks: Vec::new(), opens: Vec::new(), closes });
    assert_eq!(job.level(), Level::Unknown);
}

#[test]
fn a_cover_that_a_step_opened_keeps_the_supply_off_too() {
    let mut job = loosened();
    let opens = vec![("cover(joint)".to_owned(), "Close the joint.".to_owned())];
    job.enter(&Event::Done { key: "join.box".to_owned(), risks: Vec::new(), opens, closes: Vec::new() });
    pass(&mut job, &ALTERED_FINDINGS);
    assert_eq!(job.wants(&restore(LIGHTING, Return::Altered)), "refused");
}
