//! Options of questions and verdicts of readings are tried one after the other, within a time, in every procedure: no
//! way ends in an error, and each ends finished or at a named stop.

use std::time::Duration;

use lampwright::engine::Engine;
use lampwright::engine::bundle::Bundle;
use lampwright::engine::rehearse::begun;

#[test]
fn no_way_through_a_procedure_is_broken() {
    for (name, _) in Bundle::shipped() {
        let engine = Engine::new(Bundle::open(&name).unwrap()).unwrap();
        let now = "2026-03-02T09:00".parse().unwrap();
        let records = vec![begun(&engine, "A", now)];
        let ahead = engine.look_ahead(&records, now, Duration::from_secs(20));
        assert!(ahead.broken.is_empty(), "{name}: {:#?}", ahead.broken);
        // The main job has more options than twenty seconds of an unoptimised build can try; the small one is whole.
        assert!(ahead.complete || name != "isolate", "{name}: not every option was tried in {} runs", ahead.runs);
        assert!(ahead.endings.contains("finished"), "{name}: {:?}", ahead.endings);
        assert!(!ahead.kit.is_empty(), "{name} needs no tool at all");
    }
}
