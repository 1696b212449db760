#![allow(clippy::unwrap_used)]

use proptest::prelude::*;
use serde_json::json;

use super::*;
use crate::case;

fn answer(job: &Value) -> Answer {
    figure(&case::read(&json!({ "job": job })).unwrap(), Facts::embedded()).unwrap()
}

fn quantity(answer: &Answer, name: &str) -> Option<f64> {
    let found: Vec<&Item> = answer.items.iter().filter(|item| item.name.starts_with(name)).collect();
    assert!(found.len() < 2, "{name}: {found:?}");
    found.first().map(|item| item.quantity)
}

/// The kitchen at Wren Cottage, its join above a light.
fn kitchen() -> Value {
    json!({
        "count": 6, "hole_saw_mm": 70, "lengths_m": [1.5, 2.2, 2.2, 2.2, 2.2, 2.2], "crossings": 4,
        "access": "floor above",
        "reels": [{"reel_m": 10, "cuts_m": [1.5, 2.2, 2.2, 2.2], "left_m": 1.9}, {"reel_m": 5, "cuts_m": [2.2, 2.2]}],
        "old_cables": 4, "joint": "above a light", "rose_hole_mm": 40, "terminals": "one cable",
        "groups": [
            {"name": "permanent line", "cores": ["C1.brown", "C2.brown", "C3.brown", "C4.brown"], "sleeves": []},
            {"name": "neutral", "cores": ["C1.blue", "C2.blue", "C3.blue", "L1.blue"], "sleeves": []},
            {"name": "switched line", "cores": ["C4.blue", "L1.brown"], "sleeves": [{"core": "C4.blue", "colour": "brown"}]},
            {"name": "earth", "cores": ["C1.bare", "C2.bare", "C3.bare", "C4.bare", "L1.bare"], "sleeves": ["green-and-yellow"]},
        ],
    })
}

#[test]
fn connectors_are_counted_by_ways() {
    let found = answer(&kitchen());
    // At the joint 4, 4, 2 and 5 cores; at five lights two groups of 3 and one of 2, at the last two of 2 and one end.
    // 5 ways: 3 and 1 spare; 3 ways: 10 and 1 spare; 2 ways: 1 + 5 + 2 + 1 = 9 and 1 spare. By hand.
    assert_eq!(quantity(&found, "connector, 5 ways"), Some(4.0));
    assert_eq!(quantity(&found, "connector, 3 ways"), Some(11.0));
    assert_eq!(quantity(&found, "connector, 2 ways"), Some(10.0));
    assert_eq!(quantity(&found, "joint box that passes the cut-out"), Some(6.0));
}

#[test]
fn fittings_with_terminals_for_two_cables_want_only_the_protective_conductor_joined() {
    let class = |class: u32| answer(&json!({"count": 6, "class": class}));
    assert_eq!(quantity(&class(2), "connector, 2 ways"), Some(7.0));
    assert_eq!(quantity(&class(1), "connector, 2 ways"), None);
}

#[test]
fn a_group_larger_than_the_largest_connector_takes_linked_ones() {
    let sizes = [2, 3, 5, 8];
    assert_eq!(ways_for(8, &sizes), [8]);
    // 7 cores and a link; the link and 2 cores.
    assert_eq!(ways_for(9, &sizes), [8, 3]);
    assert_eq!(ways_for(20, &sizes), [8, 8, 8]);
    assert!(ways_for(0, &sizes).is_empty());
}

#[test]
fn clips_follow_the_published_spacing() {
    let found = answer(&kitchen());
    // On-Site Guide appendix D: cable to 9 mm wide, 250 mm level. 12.5 m ÷ 0.25 m = 50, two more for each of six
    // lengths, and a tenth: 68.2.
    assert_eq!(quantity(&found, "clip"), Some(69.0));
    let mut drawn = kitchen();
    drawn["access"] = json!("none");
    assert_eq!(quantity(&answer(&drawn), "clip"), None);
    let mut upright = kitchen();
    upright["upright_m"] = json!(4);
    // 8.5 ÷ 0.25 = 34, 4 ÷ 0.4 = 10, 12 more, and a tenth: 61.6.
    assert_eq!(quantity(&answer(&upright), "clip"), Some(62.0));
}

#[test]
fn ends_are_capped_tagged_and_sleeved() {
    let found = answer(&kitchen());
    assert_eq!(quantity(&found, "cable end cap"), Some(12.0));
    assert_eq!(quantity(&found, "cable tag"), Some(16.0));
    assert_eq!(quantity(&found, "green-and-yellow sleeve"), Some(0.8));
    assert_eq!(quantity(&found, "brown sleeve"), Some(0.1));
}

#[test]
fn reels_are_named_by_length() {
    let found = answer(&kitchen());
    assert_eq!(quantity(&found, "reel of 1.5 mm² flat twin and earth cable, 10 m"), Some(1.0));
    assert_eq!(quantity(&found, "reel of 1.5 mm² flat twin and earth cable, 5 m"), Some(1.0));
}

#[test]
fn holes_are_closed_unless_a_plate_covers_them() {
    let found = answer(&kitchen());
    // 40 mm across, 12.5 mm thick: 15.7 ml, half as much again, to the next 50 ml.
    assert_eq!(quantity(&found, "filler"), Some(50.0));
    let mut plate = kitchen();
    plate["joint"] = json!("plate");
    assert_eq!(quantity(&answer(&plate), "filler"), None);
    assert_eq!(quantity(&answer(&plate), "blank plate"), Some(1.0));
    let mut patch = kitchen();
    patch["rose_hole_mm"] = json!(100);
    let found = answer(&patch);
    // 100 mm and 30 mm beyond on each side.
    assert_eq!(quantity(&found, "board offcut 160 × 160 mm"), Some(1.0));
    assert_eq!(quantity(&found, "joint tape"), Some(0.7));
}

#[test]
fn what_set_out_and_cable_give_can_be_passed_on() {
    let chain = json!({
        "feed_m": [2.1, 1.55], "points_m": [[0.7, 0.7], [2.1, 0.7]], "ceiling": {"access": "loft"},
    });
    let chain = crate::calc::cable::figure(&case::read(&chain).unwrap(), Facts::embedded()).unwrap();
    let chain = serde_json::to_value(chain).unwrap();
    let job = json!({
        "count": 2, "access": "loft", "lengths_m": chain["lengths_m"], "reels": chain["reels"], "crossings": chain["crossings"],
    });
    assert_eq!(quantity(&answer(&job), "cable end cap"), Some(4.0));
}

#[test]
fn absurd_values_are_refused_by_key() {
    let refused = |job: Value| {
        let read = case::read::<Case>(&json!({ "job": job }));
        read.and_then(|case| figure(&case, Facts::embedded())).unwrap_err().path
    };
    assert_eq!(refused(json!({"count": 0})), "job.count");
    assert_eq!(refused(json!({"count": 1_000_000})), "job.count");
    assert_eq!(refused(json!({"count": 1, "lengths_m": [-1]})), "job.lengths[0]");
    assert_eq!(refused(json!({"count": 1, "class": 3})), "job.class");
    assert_eq!(refused(json!({"count": 1, "rose_hole_mm": 900})), "job.rose_hole");
    assert_eq!(refused(json!({"count": 1, "cable_area_mm2": 400})), "job.cable_area");
    assert_eq!(refused(json!({"count": 1, "lengths_m": [1], "upright_m": 2})), "job.upright");
    assert_eq!(refused(json!({"count": 1, "groups": [{"name": "neutral", "cores": []}]})), "job.groups[0].cores");
}

proptest! {
    #[test]
    fn linked_connectors_hold_every_core(cores in 1usize..200) {
        let ways = ways_for(cores, &[2, 3, 5, 8]);
        // Each link between two connectors takes one way of each.
        let room: usize = ways.iter().sum::<usize>() - 2 * (ways.len() - 1);
        prop_assert!(room >= cores && room - cores < 3);
    }

    #[test]
    fn more_lights_never_want_less(count in 1u32..100) {
        let sum = |count: u32| answer(&json!({"count": count, "terminals": "plug"})).items.iter().map(|item| item.quantity).sum::<f64>();
        prop_assert!(sum(count) < sum(count + 1));
    }
}
