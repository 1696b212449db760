#![allow(clippy::unwrap_used)]

use proptest::prelude::*;
use serde_json::{Value, json};

use super::*;
use crate::case;

fn answer(case: &Value) -> Answer {
    figure(&case::read(case).unwrap(), Facts::embedded()).unwrap()
}

fn one_hole(depth: f64, span: f64, diameter: f64, from_support: f64) -> Judged {
    let case = json!({
        "joist": {"depth_mm": depth, "span_mm": span},
        "hole": [{"diameter_mm": diameter, "from_support_mm": from_support}],
    });
    answer(&case).holes[0].clone()
}

fn rule<'a>(cut: &'a Judged, id: &str) -> &'a Rule {
    cut.rules.iter().find(|rule| rule.id == id).unwrap()
}

#[test]
fn sizes_of_holes_and_notches_by_depth() {
    // Building control guidance on solid timber joists (EC5, TRADA), table of sizes by depth, 2018, as quoted.
    let table = [
        (100.0, 25.0, 12.5),
        (125.0, 31.3, 15.6),
        (150.0, 37.5, 18.8),
        (175.0, 43.8, 21.9),
        (200.0, 50.0, 25.0),
        (225.0, 56.3, 28.1),
        (250.0, 62.5, 31.3),
        (275.0, 65.0, 34.4),
        (300.0, 65.0, 35.0),
    ];
    for (depth, hole, notch) in table {
        let found = limits(&case::read(&json!({"depth_mm": depth, "span_mm": 3000})).unwrap(), Facts::embedded());
        assert!((found.hole_most_mm - hole).abs() <= 0.0501, "{depth}: {found:?}");
        assert!((found.notch_most_mm - notch).abs() <= 0.0501, "{depth}: {found:?}");
    }
}

#[test]
fn zones_by_span() {
    // 0.25 to 0.4 and the narrower of 0.07–0.25 and 0.1–0.2, worked by hand.
    let found = limits(&case::read(&json!({"depth_mm": 195, "span_mm": 3600})).unwrap(), Facts::embedded());
    let near = |zone: Zone, from: f64, to: f64| (zone.from - from).abs() < 1e-9 && (zone.to - to).abs() < 1e-9;
    assert!(near(found.hole_zone_mm, 900.0, 1440.0) && near(found.notch_zone_mm, 360.0, 720.0), "{found:?}");
}

#[test]
fn a_hole_in_the_zone_from_either_end_is_within() {
    for from in [900.0, 1440.0, 2700.0, 2160.0] {
        assert_eq!(one_hole(195.0, 3600.0, 20.0, from).verdict, Verdict::Within, "{from}");
    }
    for from in [899.0, 1441.0, 1800.0, 2159.0, 0.0, 3600.0] {
        assert_eq!(one_hole(195.0, 3600.0, 20.0, from).verdict, Verdict::Outside, "{from}");
    }
}

#[test]
fn a_shallow_ceiling_joist_has_no_place_for_a_cable() {
    // 97 mm less 50 mm above and 50 mm below leaves nothing.
    let case =
        json!({"joist": {"depth_mm": 97, "span_mm": 3000}, "hole": [{"diameter_mm": 12, "from_support_mm": 900}]});
    let found = answer(&case);
    assert_eq!(found.limits.as_ref().unwrap().cable_hole_most_mm, 0.0);
    assert_eq!(rule(&found.holes[0], "cover_top").verdict, Verdict::Outside);
    assert_eq!(rule(&found.holes[0], "diameter").verdict, Verdict::Within);
    assert!(found.advice[0].contains("over the joists"));
}

#[test]
fn the_cap_holds_where_a_quarter_of_the_depth_is_more() {
    let cut = one_hole(300.0, 4000.0, 70.0, 1200.0);
    assert_eq!(rule(&cut, "diameter").verdict, Verdict::Within);
    assert_eq!(rule(&cut, "diameter_cap").verdict, Verdict::Outside);
    assert_eq!(rule(&cut, "joist_depth").verdict, Verdict::Ask);
    assert_eq!(one_hole(300.0, 4000.0, 20.0, 1200.0).verdict, Verdict::Ask);
}

#[test]
fn holes_keep_apart_by_three_of_the_larger_diameter() {
    let pair = |apart: f64| {
        let case = json!({
            "joist": {"depth_mm": 195, "span_mm": 3600},
            "hole": [
                {"diameter_mm": 16, "from_support_mm": 1000},
                {"diameter_mm": 25, "from_support_mm": 1000.0 + apart},
            ],
        });
        let holes = answer(&case).holes;
        [holes[0].verdict, holes[1].verdict]
    };
    assert_eq!(pair(75.0), [Verdict::Within; 2]);
    assert_eq!(pair(74.0), [Verdict::Outside; 2]);
}

#[test]
fn a_notch_answers_to_both_sources() {
    let notch = |depth: f64, from: f64, edge: &str| {
        let case = json!({
            "joist": {"depth_mm": 200, "span_mm": 4000},
            "notch": [{"depth_mm": depth, "from_support_mm": from, "edge": edge}],
        });
        answer(&case).notches[0].clone()
    };
    assert_eq!(notch(25.0, 600.0, "top").verdict, Verdict::Within);
    let deeper = notch(28.0, 600.0, "top");
    assert_eq!(rule(&deeper, "depth_building_control").verdict, Verdict::Outside);
    assert_eq!(rule(&deeper, "depth_warranty").verdict, Verdict::Within);
    assert_eq!(deeper.verdict, Verdict::Outside);
    let nearer = notch(20.0, 300.0, "top");
    assert_eq!(rule(&nearer, "zone_from_building_control").verdict, Verdict::Within);
    assert_eq!(rule(&nearer, "zone_from_warranty").verdict, Verdict::Outside);
    assert_eq!(rule(&notch(20.0, 600.0, "bottom"), "edge_warranty").verdict, Verdict::Outside);
}

#[test]
fn a_hole_keeps_its_distance_from_a_notch() {
    let gap = |at: f64| {
        let case = json!({
            "joist": {"depth_mm": 200, "span_mm": 4000},
            "hole": [{"diameter_mm": 20, "from_support_mm": at}],
            "notch": [{"depth_mm": 20, "from_support_mm": 800}],
        });
        let found = answer(&case);
        [rule(&found.holes[0], "to_notch").verdict, rule(&found.notches[0], "to_hole").verdict]
    };
    assert_eq!(gap(1000.0), [Verdict::Within; 2]);
    assert_eq!(gap(909.0), [Verdict::Outside; 2]);
}

#[test]
fn engineered_joists_are_their_makers_matter() {
    for (kind, verdict) in [("I", Verdict::Ask), ("metal web", Verdict::Ask), ("truss", Verdict::Outside)] {
        let case = json!({
            "joist": {"depth_mm": 220, "span_mm": 4000, "kind": kind},
            "hole": [{"diameter_mm": 20, "from_support_mm": 1200}],
        });
        let found = answer(&case);
        assert_eq!(found.holes[0].verdict, verdict, "{kind}");
        assert!(found.limits.is_none() && !found.advice.is_empty());
    }
}

#[test]
fn absurd_values_are_refused_by_key() {
    let refused = |case: Value| figure(&case::read(&case).unwrap(), Facts::embedded()).unwrap_err().path;
    assert_eq!(refused(json!({"joist": {"depth_mm": 0, "span_mm": 3000}})), "joist.depth");
    assert_eq!(refused(json!({"joist": {"depth_mm": 195, "span_m": 1000}})), "joist.span");
    let hole = |diameter: f64, from: f64| json!({"joist": {"depth_mm": 195, "span_mm": 3000}, "hole": [{"diameter_mm": diameter, "from_support_mm": from}]});
    assert_eq!(refused(hole(-5.0, 900.0)), "hole[0].diameter");
    assert_eq!(refused(hole(20.0, 3001.0)), "hole[0].from_support");
    let mut case: Case = case::read(&hole(20.0, 900.0)).unwrap();
    case.hole[0].diameter = Length(f64::NAN);
    assert_eq!(figure(&case, Facts::embedded()).unwrap_err().path, "hole[0].diameter");
}

fn survey(case: &Value) -> JoistSurvey {
    joists_from_faces(&case::read(case).unwrap(), Facts::embedded()).unwrap()
}

#[test]
fn two_joists_give_the_rest() {
    let found = survey(&json!({"faces_mm": [[586, 633], [1386, 1433]]}));
    // Two bays of 400 mm: one bay of 800 mm is none that anybody builds.
    assert_eq!((found.bays, found.regular), (2, true));
    assert!((found.centres_mm - 400.0).abs() < 1e-9 && (found.width_mm - 47.0).abs() < 1e-9);
    assert!((found.first_centre_mm - 209.5).abs() < 1e-9, "{found:?}");
    assert_eq!(found.residual_mm, 0.0);
}

#[test]
fn what_two_joists_cannot_tell_is_said() {
    // 1200 mm apart is two bays of 600, three of 400 or four of 300.
    let case = json!({"faces_mm": [[200, 247], [1400, 1447]]});
    let found = survey(&case);
    assert_eq!((found.bays, found.regular), (4, false));
    assert_eq!(found.also_mm.iter().map(|s| s.round()).collect::<Vec<_>>(), [400.0, 600.0]);
    assert!(found.next.contains("Count the bays"), "{}", found.next);
    let counted = survey(&json!({"faces_mm": [[200, 247], [1400, 1447]], "bays": 2}));
    assert!(counted.regular && (counted.centres_mm - 600.0).abs() < 1e-9);
}

#[test]
fn a_third_joist_shows_what_is_not_regular() {
    let regular = survey(&json!({"faces_mm": [[190, 237], [590, 637], [994, 1041]]}));
    assert!(regular.regular && regular.residual_mm < 2.0, "{regular:?}");
    let trimmer = survey(&json!({"faces_mm": [[190, 237], [640, 687], [990, 1037]], "bays": 2}));
    assert!(!trimmer.regular && !trimmer.next.is_empty(), "{trimmer:?}");
    // Least squares through 213.5, 663.5, 1013.5: spacing 400, mean 630.1667 in the middle: off by 33.3 in the middle.
    assert!((trimmer.residual_mm - 100.0 / 3.0).abs() < 1e-6);
}

#[test]
fn a_counted_number_of_bays_is_kept() {
    let found = survey(&json!({"faces_mm": [[586, 633], [1386, 1433]], "bays": 3}));
    assert!((found.centres_mm - 800.0 / 3.0).abs() < 1e-9);
    assert!(!found.regular);
}

#[test]
fn faces_of_no_joist_are_refused() {
    let refused = |faces: Value| {
        joists_from_faces(&case::read(&json!({"faces_mm": faces})).unwrap(), Facts::embedded()).unwrap_err().path
    };
    assert_eq!(refused(json!([[586, 633]])), "faces");
    assert_eq!(refused(json!([[586, 633], [700, 1400]])), "faces[1]");
    assert_eq!(refused(json!([[586, 633], [600, 647]])), "faces");
    assert_eq!(refused(json!([[586, 633], [700, 747]])), "faces");
    assert_eq!(refused(json!([[-5, 40], [400, 447]])), "faces[0]");
}

proptest! {
    #[test]
    fn the_verdict_mirrors_and_only_worsens_with_size(
        depth in 70.0..250.0_f64, span in 1000.0..6000.0_f64, diameter in 5.0..60.0_f64, share in 0.0..1.0_f64,
    ) {
        let here = one_hole(depth, span, diameter.min(depth), span * share);
        let there = one_hole(depth, span, diameter.min(depth), span - span * share);
        let at_limit = here.rules.iter().any(|r| (r.value.unwrap_or(0.0) - r.limit.unwrap_or(1.0)).abs() < 1e-6);
        prop_assert!(at_limit || here.verdict == there.verdict);
        let larger = one_hole(depth, span, (diameter + 5.0).min(depth), span * share);
        prop_assert!(larger.verdict >= here.verdict);
    }

    #[test]
    fn regular_joists_are_found_again(
        spacing in prop::sample::select(vec![300.0, 350.0, 400.0, 450.0, 600.0]),
        first in 30.0..290.0_f64, width in 35.0..60.0_f64, skip in 1u32..3,
    ) {
        let faces: Vec<[f64; 2]> = [0.0, 1.0, 1.0 + f64::from(skip)]
            .iter().map(|n| { let c = 400.0 + first + n * spacing; [c - width / 2.0, c + width / 2.0] }).collect();
        let found = survey(&json!({"faces_mm": faces, "bays": 1 + skip}));
        prop_assert!((found.centres_mm - spacing).abs() < 1e-6, "{found:?}");
        let steps = (400.0 + first - found.first_centre_mm) / spacing;
        prop_assert!((steps - steps.round()).abs() < 1e-6);
        prop_assert!(found.first_centre_mm >= width / 2.0 - 1e-6 && found.first_centre_mm < spacing + width);
        prop_assert!(found.regular);
    }
}
