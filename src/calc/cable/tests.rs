#![allow(clippy::unwrap_used)]

use proptest::prelude::*;
use serde_json::{Value, json};

use super::*;
use crate::case;

fn answer(case: &Value) -> Answer {
    figure(&case::read(case).unwrap(), Facts::embedded()).unwrap()
}

fn refused(case: Value) -> String {
    let read = case::read::<Case>(&case);
    read.and_then(|case| figure(&case, Facts::embedded())).unwrap_err().path
}

/// The kitchen at Wren Cottage: six lights, the rose in the middle, joists at 400 mm from 210 mm.
fn kitchen(access: &str) -> Value {
    json!({
        "feed": ["2.1 m", "1.55 m"],
        "points": [
            ["0.7 m", "0.775 m"], ["2.1 m", "0.775 m"], ["3.5 m", "0.775 m"],
            ["0.7 m", "2.325 m"], ["2.1 m", "2.325 m"], ["3.5 m", "2.325 m"],
        ],
        "joists": {"along": "y", "centres": "400 mm", "width": "47 mm", "first_centre": "210 mm"},
        "ceiling": {"access": access},
        "tail": "300 mm", "drop": "100 mm", "waste_percent": 10,
        "reels": ["10 m", "25 m", "50 m"],
    })
}

#[test]
fn a_length_is_way_tails_drop_and_waste() {
    let case = json!({
        "feed_m": [0, 0], "points_m": [[3, 1]], "tail_mm": 300, "drop_mm": 200, "waste_percent": 10, "reels_m": [10],
    });
    let found = answer(&case);
    // (3 + 1 + 2 × 0.3 + 0.2) × 1.1, by hand.
    assert!((found.lengths_m[0] - 5.28).abs() < 1e-12 && (found.total_m - 5.28).abs() < 1e-12);
    assert_eq!(found.runs[0].cut_m, 5.28);
    assert_eq!(found.reels[0].cuts_m, found.lengths_m);
}

#[test]
fn the_kitchen_is_chained_from_the_rose() {
    let found = answer(&kitchen("floor above"));
    assert!(found.optimal);
    let way: f64 = found.runs.iter().map(|run| run.along_mm + run.across_mm).sum();
    assert!((way - least_by_enumeration(&kitchen("floor above"), false).0).abs() < 1e-6, "{way}");
    let expected = (way / 1000.0 + 6.0 * 0.7) * 1.1;
    assert!((found.total_m - expected).abs() < 1e-9);
    assert_eq!(found.crossings, found.crossed.iter().map(|place| place.tags.len()).sum::<usize>());
    assert!(found.crossed.iter().all(|place| place.how == "drill"));
}

/// Least way (mm) and crossings over every order, one counting first; the second method for small chains.
fn least_by_enumeration(case: &Value, crossings_first: bool) -> (f64, usize) {
    let case: Case = case::read(case).unwrap();
    let joists = case.joists.clone().unwrap();
    let (first, centres) = (joists.first_centre.unwrap().mm(), joists.centres.unwrap().mm());
    let feed = case.feed.map(Length::mm);
    let points: Vec<[f64; 2]> = case.points.iter().map(|point| point.map(Length::mm)).collect();
    let step = |a: [f64; 2], b: [f64; 2]| {
        let crossed = (0..200)
            .map(|k| first + f64::from(k) * centres)
            .filter(|line| a[0].min(b[0]) < *line && *line < a[0].max(b[0]))
            .count();
        ((a[0] - b[0]).abs() + (a[1] - b[1]).abs(), crossed)
    };
    let mut best = (f64::INFINITY, usize::MAX);
    let mut order: Vec<usize> = (0..points.len()).collect();
    permute(&mut order, 0, &mut |order| {
        let mut here = feed;
        let mut sum = (0.0, 0);
        for point in order {
            let (way, crossed) = step(here, points[*point]);
            sum = (sum.0 + way, sum.1 + crossed);
            here = points[*point];
        }
        let better = if crossings_first {
            (sum.1, sum.0 + 1e-6) < (best.1, best.0)
        } else {
            sum.0 < best.0 - 1e-6 || (sum.0 < best.0 + 1e-6 && sum.1 < best.1)
        };
        if better {
            best = sum;
        }
    });
    best
}

fn permute(order: &mut Vec<usize>, from: usize, visit: &mut impl FnMut(&[usize])) {
    if from == order.len() {
        visit(order);
    }
    for at in from..order.len() {
        order.swap(from, at);
        permute(order, from + 1, visit);
        order.swap(from, at);
    }
}

#[test]
fn where_nothing_opens_crossings_come_first() {
    let found = answer(&kitchen("none"));
    let (way, crossings) = least_by_enumeration(&kitchen("none"), true);
    assert_eq!((found.crossings, found.least), (crossings, "crossings"));
    let found_way: f64 = found.runs.iter().map(|run| run.along_mm + run.across_mm).sum();
    assert!((found_way - way).abs() < 1e-6);
    assert!(found.crossed.iter().all(|place| place.how == "open up"));
}

/// 200 sets of places with their least way by a mixed-integer solver: `tests/scripts/chains.py`.
#[derive(Deserialize)]
struct Solved {
    places: Vec<[u64; 2]>,
    least: u64,
}

#[test]
fn chains_beyond_the_exact_ones_come_within_a_hundredth_of_the_least() {
    let stored = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/scripts/chains.json"));
    let solved: Vec<Solved> = serde_json::from_str(stored).unwrap();
    assert_eq!(solved.len(), 200);
    let all = std::env::var_os("LAMPWRIGHT_NIGHTLY").is_some();
    for chain in solved.iter().step_by(if all { 1 } else { 70 }) {
        let costs = table(&chain.places);
        let way = costs.of_path(&cheapest(&costs).0);
        assert!(way >= chain.least, "the solver is beaten: its figure is wrong");
        assert!(way as f64 <= 1.01 * chain.least as f64, "{way} against {}", chain.least);
    }
}

#[test]
fn the_other_chain_is_worth_knowing() {
    // Two rows of three in three bays, rows far apart: row by row is the shorter, bay by bay crosses fewer joists.
    let case = json!({
        "feed_mm": [100, 0],
        "points_mm": [[100, 100], [500, 100], [900, 100], [100, 1300], [500, 1300], [900, 1300]],
        "joists": {"along": "y", "list_mm": [300, 700]}, "ceiling": {"access": "floor above"}, "reels_m": [10],
    });
    let found = answer(&case);
    let other = found.other.as_ref().unwrap();
    assert_eq!((found.crossings, other.crossings), (4, 2));
    assert!(other.total_m > found.total_m);
}

#[test]
fn a_joist_between_two_places_is_crossed_once() {
    let found = answer(&json!({
        "feed_mm": [100, 500], "points_mm": [[900, 700]],
        "joists": {"along": "y", "centres_mm": 400, "first_centre_mm": 210, "tolerance_mm": 5},
        "reels_m": [5],
    }));
    assert_eq!(found.crossings, 2);
    let places: Vec<_> = found.crossed.iter().map(|place| (place.joist, place.x_mm, place.y_mm)).collect();
    assert_eq!(places, [(1, 210.0, 500.0), (2, 610.0, 500.0)]);
    assert_eq!(found.crossed[0].tolerance_mm, 5.0);
    assert_eq!(found.runs[0].path_mm, [[100.0, 500.0], [900.0, 500.0], [900.0, 700.0]]);
}

#[test]
fn joists_along_x_are_crossed_along_y() {
    let found = answer(&json!({
        "feed_mm": [100, 100], "points_mm": [[3000, 900]],
        "joists": {"along": "x", "list_mm": [500, 800, 1200]}, "ceiling": {"access": "loft"}, "reels_m": [5],
    }));
    assert_eq!((found.crossings, found.crossed[1].how), (2, "over"));
    assert_eq!((found.crossed[1].x_mm, found.crossed[1].y_mm), (100.0, 800.0));
}

#[test]
fn drilled_crossings_keep_to_the_stretch_that_timber_allows() {
    let case = |access: &str| {
        json!({
            "feed_mm": [100, 300], "points_mm": [[500, 500]],
            "joists": {"along": "y", "centres_mm": 400, "first_centre_mm": 210, "span_mm": 3000},
            "ceiling": {"access": access}, "tail_mm": 0, "reels_m": [5],
        })
    };
    // A quarter of 3 m is 750 mm: 450 mm there, 400 mm across, 250 mm back.
    let drilled = answer(&case("floor above"));
    assert_eq!((drilled.crossed[0].y_mm, drilled.total_m), (750.0, 1.1));
    let over = answer(&case("loft"));
    assert!((over.total_m - 0.6).abs() < 1e-12);
    assert_eq!(over.crossed[0].y_mm, 300.0);
}

#[test]
fn a_light_under_a_joist_lies_on_neither_side() {
    let found = answer(&json!({
        "feed_mm": [210, 0], "points_mm": [[610, 0]],
        "joists": {"along": "y", "centres_mm": 400, "first_centre_mm": 210}, "reels_m": [5],
    }));
    assert_eq!(found.crossings, 0);
}

#[test]
fn a_length_longer_than_every_reel_is_said() {
    let found = answer(&json!({"feed_m": [0, 0], "points_m": [[12, 0]], "tail_m": 0, "reels_m": [5, 10]}));
    assert!(found.reels.is_empty() && found.notes[0].contains("L1 (12.00 m)"), "{:?}", found.notes);
}

#[test]
fn absurd_values_are_refused_by_key() {
    let with = |key: &str, value: Value| {
        let mut case = kitchen("loft");
        case[key] = value;
        refused(case)
    };
    assert_eq!(with("points", json!([])), "points");
    assert_eq!(with("points", json!(vec![["1 m", "1 m"]; 201])), "points");
    assert_eq!(with("points", json!([["1 m", "1000 m"]])), "points[0]");
    assert_eq!(with("feed", json!(["-50 m", "0 m"])), "feed");
    assert_eq!(with("tail", json!("-1 mm")), "tail");
    assert_eq!(with("drop", json!("25 m")), "drop");
    assert_eq!(with("waste_percent", json!(-5)), "waste");
    assert_eq!(with("reels", json!([])), "reels");
    assert_eq!(with("reels", json!(["0 m"])), "reels[0]");
    assert_eq!(with("joists", json!({"along": "y", "centres": "0 mm", "first_centre": "0 mm"})), "joists.centres");
    assert_eq!(with("joists", json!({"along": "y", "centres": "400 mm"})), "joists");
    assert_eq!(with("joists", json!({"along": "y", "list": ["1 m", "1 m"]})), "joists.list");
    let mut case: Case = case::read(&kitchen("loft")).unwrap();
    case.points[2][1] = Length(f64::NAN);
    assert_eq!(figure(&case, Facts::embedded()).unwrap_err().path, "points[2]");
}

#[test]
fn two_hundred_lights_on_one_spot_are_no_trouble() {
    let found = answer(&json!({"feed_m": [1, 1], "points_m": vec![[1, 1]; 200], "reels_m": [10]}));
    assert!((found.total_m - 200.0 * 0.6).abs() < 1e-9);
    assert_eq!(found.reels.len(), 13);
}

/// Least metres, then fewest reels, over every way to part the cuts into reels: the second method for small lists.
fn least_purchase(cuts: &[u64], sizes: &[u64]) -> (u64, usize) {
    let sets = 1usize << cuts.len();
    let length_of = |set: usize| (0..cuts.len()).filter(|cut| set >> cut & 1 == 1).map(|cut| cuts[cut]).sum::<u64>();
    let mut least = vec![(u64::MAX, usize::MAX); sets];
    least[0] = (0, 0);
    for set in 1..sets {
        let lowest = set & set.wrapping_neg();
        let mut part = set;
        while part > 0 {
            if part & lowest != 0
                && let Some(size) = sizes.iter().filter(|size| **size >= length_of(part)).min()
            {
                let (metres, reels) = least[set & !part];
                least[set] = least[set].min((metres + size, reels + 1));
            }
            part = (part - 1) & set;
        }
    }
    least[sets - 1]
}

#[test]
fn reels_known_by_hand() {
    let buy = |cuts: &[u64], sizes: &[u64]| {
        let bought = super::buy(cuts, sizes).unwrap();
        assert!(bought.proved);
        let mut reels: Vec<u64> = bought.reels.iter().map(|reel| reel.0).collect();
        reels.sort_unstable();
        reels
    };
    assert_eq!(buy(&[6, 6, 6], &[10]), [10, 10, 10]);
    assert_eq!(buy(&[5, 5, 5, 5], &[10, 25]), [10, 10]);
    assert_eq!(buy(&[6, 6, 6], &[10, 25]), [25]);
    assert_eq!(buy(&[12, 9, 4], &[10, 25, 50]), [25]);
    assert_eq!(buy(&[5, 5], &[5, 10]), [10]);
    assert!(super::buy(&[11], &[10]).is_none());
    assert!(super::buy(&[1], &[]).is_none());
}

#[test]
fn an_order_beyond_the_exact_ones_visits_all() {
    for count in [16, 120] {
        let (order, proved) = cheapest(&table(&scattered(count + 1, count as u64)));
        let mut sorted = order.clone();
        sorted.sort_unstable();
        assert_eq!(sorted, (1..=count).collect::<Vec<_>>());
        assert!(!proved);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    #[test]
    fn reels_are_the_least_purchase(
        cuts in prop::collection::vec(1u64..25, 1..9),
        sizes in prop::sample::subsequence(vec![5u64, 7, 10, 18, 25, 40], 1..4),
    ) {
        let longest = *sizes.iter().max().unwrap();
        match super::buy(&cuts, &sizes) {
            None => prop_assert!(cuts.iter().any(|cut| *cut > longest)),
            Some(bought) => {
                let metres: u64 = bought.reels.iter().map(|reel| reel.0).sum();
                prop_assert_eq!((metres, bought.reels.len()), least_purchase(&cuts, &sizes));
                prop_assert!(bought.proved);
                let mut placed: Vec<usize> = bought.reels.iter().flat_map(|reel| reel.1.clone()).collect();
                placed.sort_unstable();
                prop_assert_eq!(placed, (0..cuts.len()).collect::<Vec<_>>());
                for (size, held) in &bought.reels {
                    prop_assert!(held.iter().map(|cut| cuts[*cut]).sum::<u64>() <= *size);
                }
            }
        }
    }

    #[test]
    fn no_order_beats_the_exact_one(
        points in prop::collection::vec((0u32..4200, 0u32..3100), 1..7), none in any::<bool>(),
    ) {
        let mut case = kitchen(if none { "none" } else { "floor above" });
        case["points"] = points.iter().map(|(x, y)| json!([format!("{x} mm"), format!("{y} mm")])).collect();
        let found = answer(&case);
        let way: f64 = found.runs.iter().map(|run| run.along_mm + run.across_mm).sum();
        let (least, crossings) = least_by_enumeration(&case, none);
        prop_assert!((way - least).abs() < 1e-3, "{way} {least}");
        prop_assert_eq!(found.crossings, crossings);
    }

    #[test]
    fn more_waste_and_tail_never_shorten(tail in 0u32..1000, waste in 0u32..50) {
        let mut case = kitchen("loft");
        case["tail"] = json!(format!("{tail} mm"));
        case["waste_percent"] = json!(waste);
        let less = answer(&case).total_m;
        case["tail"] = json!(format!("{} mm", tail + 1));
        let more = answer(&case).total_m;
        prop_assert!(more > less);
    }
}

fn scattered(count: usize, seed: u64) -> Vec<[u64; 2]> {
    let mut state = seed | 1;
    let mut next = |limit: u64| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) % limit
    };
    (0..count).map(|_| [next(6000), next(4000)]).collect()
}

fn table(places: &[[u64; 2]]) -> Costs {
    Costs::new(places.len(), |a, b| (0..2).map(|axis| places[a][axis].abs_diff(places[b][axis])).sum())
}
