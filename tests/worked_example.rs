//! One small job, moment by moment, with both ways on and the other circumstances.

use lampwright::engine::Reply;
use lampwright::engine::turn::{Ask, Turn};
use lampwright::gate::{Happening, Level, TroubleKind};

use crate::support::{Walk, engine};

fn level(turn: &Turn) -> Level {
    turn.world.level("light")
}

fn text(turn: &Turn) -> String {
    match &turn.ask {
        Ask::Plan { interaction, .. } | Ask::Review { interaction, .. } => interaction.text.clone(),
        other => panic!("no interaction of the plan: {other:?}"),
    }
}

fn is_hands_off(turn: &Turn) -> bool {
    matches!(&turn.ask, Ask::Trouble(trouble) if matches!(trouble.kind, TroubleKind::Exposed { .. }))
}

/// Records 1 to 4: up to the first hole marked.
fn marked(walk: &mut Walk<'_>) {
    assert_eq!(walk.turn_at("10:00").key, "room.length");
    walk.give("10:02", "room.length", &["4.2 m"]);
    let turn = walk.turn();
    assert_eq!(turn.key, "layout");
    assert_eq!(turn.fresh_shown().len(), 1, "the plan is drawn with the choice");
    walk.give("10:05", "layout", &["1"]);
    assert_eq!(text(&walk.turn()), "Mark H1 700 mm from wall A, 775 mm from wall B.");
    walk.give("10:12", "mark/H1", &["done"]);
}

/// Records 5 to 8: secured and proved.
fn proved(walk: &mut Walk<'_>) {
    assert_eq!(walk.turn().key, "gate.identify/light");
    walk.secure("10:20");
    assert_eq!(level(&walk.turn()), Level::Secured);
    let duties: Vec<_> = walk.turn().world.duties().iter().map(|duty| duty.name.clone()).collect();
    assert!(duties.iter().any(|name| name.starts_with("lock")) && !duties.is_empty(), "{duties:?}");
    assert!(walk.turn().key.starts_with("gate."), "the gate asks for a proof");
    walk.prove("10:31");
    let turn = walk.turn();
    assert_eq!(turn.key, "rose.loosen");
    assert!(turn.world.exposed().any(|point| point == "rose"));
}

#[test]
fn the_worked_example_goes_as_written() {
    let engine = engine("worked");
    let mut walk = Walk::begin(&engine, "10:00");
    marked(&mut walk);
    proved(&mut walk);
    walk.give("10:33", "rose.loosen", &["start"]);
    assert!(matches!(walk.turn().ask, Ask::Plan { started: true, .. }));

    walk.say("10:35", &Reply::Happened(Happening::SomeoneCame));
    let turn = walk.turn();
    assert!(is_hands_off(&turn), "{:?}", turn.ask);
    assert_eq!(level(&turn), Level::Secured);
    assert!(turn.world.started().is_none(), "the started step is void");

    walk.give("10:37", "gate.cover/rose", &["y"]);
    let turn = walk.turn();
    assert!(turn.world.exposed().next().is_none());
    assert_eq!(level(&turn), Level::Secured);
    assert!(turn.key.starts_with("gate."), "the gate asks for a proof, and the job for {}", turn.key);

    let would = walk.would("10:40", "room.length", "4.1 m");
    assert_eq!(would.asked_again, ["layout"]);
    assert_eq!(would.reviewed.len(), 1);
    assert_eq!(would.reviewed[0].key, "mark/H1");
    assert!(would.reviewed[0].then.contains("700 mm") && would.reviewed[0].now.contains("683 mm"));

    walk.say("10:40", &Reply::Change { key: "room.length".into(), typed: "4.1 m".into() });
    let turn = walk.turn();
    assert_eq!(turn.key, "layout");
    assert_eq!(level(&turn), Level::Secured, "isolation is untouched");
    let Ask::Plan { keep: Some((_, words)), .. } = &turn.ask else {
        panic!("the former plan is not offered: {:?}", turn.ask)
    };
    assert!(words.contains("600") && words.contains("700"), "{words}");

    another_layout(walk.clone());
    the_former_layout(walk);
}

fn another_layout(mut walk: Walk<'_>) {
    walk.give("10:42", "layout", &["1"]);
    let turn = walk.turn();
    let Ask::Review { former, .. } = &turn.ask else { panic!("no review: {:?}", turn.ask) };
    assert!(former.0.text("text").contains("700 mm"));
    assert!(text(&turn).contains("683 mm"));
    walk.give("10:43", "mark/H1", &["again"]);
    walk.give("10:45", "mark/H1", &["done"]);
    walk.prove("10:47");
    assert_eq!(walk.turn().key, "rose.loosen");
}

fn the_former_layout(mut walk: Walk<'_>) {
    walk.give("10:42", "layout", &["keep"]);
    let turn = walk.turn();
    assert!(turn.key.starts_with("gate."), "the mark stands, and the gate asks for a proof: {}", turn.key);
    assert!(turn.trail.iter().any(|passed| passed.interaction.key == "mark/H1"));
}

#[test]
fn a_killed_program_puts_the_lock_in_doubt() {
    let engine = engine("worked");
    let mut walk = Walk::begin(&engine, "10:00");
    marked(&mut walk);
    proved(&mut walk);
    walk.give("10:33", "rose.loosen", &["start"]);
    walk.restart("10:34");
    let turn = walk.turn();
    assert!(matches!(&turn.ask, Ask::Trouble(trouble) if trouble.kind == TroubleKind::LockInDoubt));

    let mut seen = walk.clone();
    let key = turn.key.clone();
    seen.give("10:36", &key, &["y"]);
    let turn = seen.turn();
    assert_eq!(level(&turn), Level::Secured);
    assert!(is_hands_off(&turn), "prove or cover");

    walk.give("10:36", &key, &["n"]);
    let turn = walk.turn();
    assert_eq!(level(&turn), Level::Unknown);
    let keys = turn.keys();
    assert!(is_hands_off(&turn));
    assert!(keys[0].contains("main-switch"), "the main switch, or cover: {keys:?}");
    assert!(keys.iter().any(|key| key == "gate.cover/rose"), "{keys:?}");
}

#[test]
fn a_clock_that_goes_backwards_voids_the_proof() {
    let engine = engine("worked");
    let mut walk = Walk::begin(&engine, "10:00");
    marked(&mut walk);
    proved(&mut walk);
    let turn = walk.turn_at("10:20");
    assert!(matches!(&turn.ask, Ask::Trouble(trouble) if trouble.kind == TroubleKind::LockInDoubt));
}

#[test]
fn what_lies_behind_is_history() {
    let engine = engine("worked");
    let mut walk = Walk::begin(&engine, "10:00");
    marked(&mut walk);
    proved(&mut walk);
    walk.give("10:33", "rose.loosen", &["start"]);
    walk.give("10:35", "rose.loosen", &["done"]);
    // The cover, then lock and notice, are duties: asked for at the end, the last opened first.
    assert_eq!(walk.turn().key, "duty.cover(rose)");
    walk.give("10:36", "duty.cover(rose)", &["done"]);
    for _ in 0..4 {
        let key = walk.turn().key;
        if key == "finish" {
            break;
        }
        assert!(key.starts_with("duty."), "nobody is sent to isolate again: {key}");
        walk.give("10:37", &key, &["done"]);
    }
    walk.give("10:38", "finish", &["done"]);
    assert!(walk.turn().has_ended());
}
