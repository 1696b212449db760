//! The smaller gates on the same pattern: coating, mark, timber, height, loft, dust, live readings, apart cable.

use super::*;

fn scene_with(findings: &[(&str, &str)]) -> Scene {
    let findings = findings.iter().map(|(what, of)| (((*what).to_owned(), (*of).to_owned()), true)).collect();
    Scene { minutes: 2.0, findings, ..Scene::default() }
}

#[test]
fn a_hole_needs_every_look_the_coating_the_void_and_both_hands() {
    let mut job = Job::begun();
    let cut = Risk::Cut { hole: "H1".to_owned() };
    for missing in HOLE_FINDINGS {
        let others: Vec<_> = HOLE_FINDINGS.iter().filter(|what| **what != missing).map(|what| (*what, "H1")).collect();
        job.scene = scene_with(&others);
        assert_eq!(job.wants(&cut), "refused", "{missing}");
        let sign = Sign::HoleClear { hole: "H1".to_owned() };
        assert_eq!(said(&signpost(&job.world, &sign, &job.scene, job.now)), "refused");
    }
    job.scene = scene_with(&HOLE_FINDINGS.map(|what| (what, "H1")));
    let keys = job.meet(&cut);
    assert_eq!(keys, ["gate.coating", "gate.identify/void", "gate.off/void", "gate.secure/void", "gate.height"]);
    job.start("cut/H1", &cut).unwrap();
    job.done("cut/H1", &cut).unwrap();
    job.wait(30);
    assert_eq!(job.wants(&cut), "gate.rest");
    job.give(Piece::Rest, &[]);
    assert_eq!(job.wants(&cut), "open");
}

#[test]
fn a_failed_look_closes_the_mark_again() {
    let mut job = Job::begun();
    job.scene = scene_with(&HOLE_FINDINGS.map(|what| (what, "H1")));
    job.meet(&Risk::Cut { hole: "H1".to_owned() });
    job.scene.findings.insert(("wire".to_owned(), "H1".to_owned()), false);
    assert_eq!(job.wants(&Risk::Cut { hole: "H1".to_owned() }), "refused");
}

#[test]
fn the_main_switch_secures_the_void_too() {
    let mut job = Job::begun();
    let keys = job.meet_with(&Risk::Probe { hole: "H1".to_owned() }, &[("way", "main switch")]);
    assert_eq!(
        keys[1..5],
        ["gate.identify/void", "gate.identify/main switch", "gate.off/main switch", "gate.secure/main switch"]
    );
}

#[test]
fn steps_are_no_place_to_drill_from() {
    let mut job = Job::begun();
    job.meet_with(&Risk::Height, &[("footing", "steps")]);
    let probe = Risk::Probe { hole: "H1".to_owned() };
    assert_eq!(*job.meet(&probe).last().unwrap(), "gate.height");
    let ask = words::ask(Piece::Height { drilling: true });
    assert!(examine(&ask, &["ladder".to_owned(), "y".to_owned()]).is_err());
}

#[test]
fn the_coating_is_cleared_by_age_or_sample_and_falls_to_a_surprise() {
    let mut job = Job::begun();
    assert_eq!(job.meet_with(&Risk::Coating, &[("evidence", "every layer sampled, none found")]), ["gate.coating"]);
    job.enter(&Event::Resumed);
    assert_eq!(job.wants(&Risk::Coating), "open", "a report outlives a restart");
    job.enter(&Event::Reported(Happening::UnexpectedLayer));
    assert_eq!(job.wants(&Risk::Coating), "gate.coating");
    job.give(Piece::Coating, &[("evidence", words::ASBESTOS)]);
    assert_eq!(job.wants(&Risk::Coating), "refused");
    assert_eq!(said(&signpost(&job.world, &Sign::CoatingClear, &job.scene, job.now)), "refused");
    assert!(job.attempt(&Event::Evidence(evidence(Piece::Coating, &[]))).is_err());
}

#[test]
fn timber_needs_its_finding_and_both_faces_or_a_dead_void() {
    let timber = Risk::Timber { hole: "T1".to_owned() };
    let mut job = Job::begun();
    assert_eq!(job.wants(&timber), "refused");
    job.scene = scene_with(&[("timber", "T1")]);
    let mut seen = job.clone();
    assert_eq!(seen.meet(&timber), ["gate.faces/T1"]);
    let void = job.meet_with(&timber, &[("behind", "no")]);
    assert_eq!(void, ["gate.faces/T1", "gate.identify/void", "gate.off/void", "gate.secure/void"]);
}

#[test]
fn loft_dust_and_height_are_asked_again_after_coming_back() {
    let mut job = Job::begun();
    for risk in [Risk::Loft, Risk::Dust, Risk::Height] {
        assert_eq!(job.meet(&risk).len(), 1);
        assert_eq!(job.wants(&risk), "open");
        job.enter(&Event::Reported(Happening::Leaving));
        assert_ne!(job.wants(&risk), "open");
    }
}

#[test]
fn a_live_reading_is_for_the_named_tester_with_every_cover_on() {
    let mut job = Job::begun();
    assert_eq!(job.meet(&Risk::LiveReading), ["gate.tester"]);
    let job = Job::proved();
    assert_eq!(job.wants(&Risk::LiveReading), "refused");
}

#[test]
fn cable_joined_to_nothing_needs_no_isolation_until_an_end_is_out_of_sight() {
    let mut job = Job::begun();
    let chain = Point { unconnected: true, ..point("chain", &["line", "neutral", "earth"], &[]) };
    assert_eq!(job.meet(&touch(&chain)), ["gate.unconnected/chain"]);
    job.start("fit.cores", &touch(&chain)).unwrap();
    job.done("fit.cores", &touch(&chain)).unwrap();
    assert!(!job.world.is_loosened(LIGHTING));
    job.enter(&Event::Reported(Happening::EndOutOfSight));
    assert_eq!(job.wants(&touch(&chain)), "gate.unconnected/chain");
    let joined = Point { unconnected: false, ..chain };
    assert_eq!(job.wants(&touch(&joined)), "gate.identify/lighting");
}

/// A script can't talk a point out of the installation by describing it otherwise.
#[test]
fn an_opened_point_is_never_taken_for_apart() {
    let mut job = Job::proved();
    let renamed = Point { unconnected: true, ..rose() };
    assert_eq!(job.wants(&touch(&renamed)), "gate.prove_first");
    assert!(job.attempt(&Event::Evidence(evidence(Piece::Unconnected { point: renamed }, &[]))).is_err());
}

#[test]
fn a_proof_outlasts_the_step_and_the_stage() {
    let mut job = Job::proved();
    job.scene.minutes = 5.0;
    job.scene.stage_minutes = 25.0;
    job.wait(4);
    assert_eq!(job.wants(&touch(&rose())), "open");
    job.wait(2);
    assert_eq!(job.wants(&touch(&rose())), "gate.prove_first", "24 minutes of proof, 25 of work");
    job.scene.stage_minutes = 10.0;
    assert_eq!(job.wants(&touch(&rose())), "open");
    job.wait(20);
    assert_eq!(job.wants(&touch(&rose())), "gate.prove_first", "4 minutes of proof, 5 of work");
    for minutes in [20.5, f64::NAN, f64::INFINITY, -1.0] {
        job.scene.minutes = minutes;
        assert_eq!(job.wants(&touch(&rose())), "refused", "{minutes}");
    }
}

#[test]
fn a_step_that_outlives_its_proof_is_void() {
    let mut job = Job::proved();
    job.wait(20);
    job.scene.minutes = 9.0;
    job.start("join.neutral", &touch(&rose())).unwrap();
    job.wait(10);
    assert_eq!(job.world.at(job.now).started(), None);
    assert!(job.done("join.neutral", &touch(&rose())).is_err());
}
