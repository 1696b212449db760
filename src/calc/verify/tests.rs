#![allow(clippy::unwrap_used)]

use serde_json::{Value, json};

use super::*;
use crate::case::read;

fn try_answer(case: &Value) -> Result<Value, CaseError> {
    figure(&read(case)?, Facts::embedded()).map(|answer| serde_json::to_value(answer).unwrap())
}

fn answer(case: &Value) -> Value {
    try_answer(case).unwrap()
}

fn close(found: &Value, wanted: f64, within: f64) {
    let found = found.as_f64().unwrap_or(f64::NAN);
    assert!((found - wanted).abs() <= within, "{found} is not {wanted} ± {within}");
}

/// A chain of three behind an old run, to be varied.
fn reading(quantity: &str, measured: &str, more: Value) -> Value {
    let mut case = json!({
        "quantity": quantity,
        "measured": measured,
        "supply": {"earthing": "TN-C-S", "ze_ohm": 0.35},
        "device": {"kind": "circuit breaker", "curve": "B", "rating_a": 6, "rcd_ma": 30},
        "run": [
            {"name": "to the rose", "cable": "1.5/1.0", "length": "12 m"},
            {"name": "L1", "cable": "1.0/1.0", "length": "2 m"},
            {"name": "L2", "cable": "1.0/1.0", "length": "3 m"},
        ],
    });
    for (key, value) in more.as_object().unwrap() {
        case[key] = value.clone();
    }
    case
}

fn verdict(quantity: &str, measured: &str, more: Value) -> String {
    let found = answer(&reading(quantity, measured, more));
    assert!(found["next"].as_str().unwrap().ends_with('.'));
    found["verdict"].as_str().unwrap().to_owned()
}

#[test]
fn expected_resistance_goes_with_place_and_temperature() {
    // By hand: 30.2 mΩ/m × 12 m × 0.96 at 10 °C.
    let found = answer(&reading("r1_r2", "0.35 Ω", json!({"at": "to the rose", "conductor_temperature_c": 10})));
    close(&found["expected"], 0.347_904, 1e-9);
    assert_eq!(found["verdict"], "pass");
    // The new chain alone, from the rose: 36.2 mΩ/m × 5 m; no limit belongs to a part.
    let found = answer(&reading("r1_r2", "0.19 Ω", json!({"from": "to the rose"})));
    close(&found["expected"], 0.181, 1e-9);
    assert_eq!(found["limit"], Value::Null);
    // cpc from the last light to the main earth: 18.1 × 17.
    close(&answer(&reading("r2", "0.31 Ω", json!({})))["expected"], 0.3077, 1e-9);
    close(&answer(&reading("r1", "0.1 Ω", json!({"from": "to the rose", "at": "L1"})))["expected"], 0.0362, 1e-9);
    close(&answer(&reading("r1_rn", "0.3 Ω", json!({"at": "to the rose"})))["expected"], 0.2904, 1e-9);
}

#[test]
fn the_parts_add_up_to_the_whole() {
    let expected = |quantity: &str| answer(&reading(quantity, "1 Ω", json!({})))["expected"].as_f64().unwrap();
    assert!((expected("r1") + expected("r2") - expected("r1_r2")).abs() < 1e-12);
}

#[test]
fn the_instrument_widens_the_range() {
    let width = |instrument: Value| {
        let found = answer(&reading("r1_r2", "0.5 Ω", json!({"instrument": instrument})));
        found["high"].as_f64().unwrap() - found["low"].as_f64().unwrap()
    };
    let fine = width(json!({"accuracy_percent": 0, "digits": 0}));
    let coarse = width(json!({"accuracy_percent": 3, "digits": 2, "resolution": "0.01 Ω"}));
    // By hand: 2 × (3 % of 0.5434 Ω + 2 × 0.01 Ω).
    assert!((coarse - fine - 2.0 * (0.03 * 0.5434 + 0.02)).abs() < 1e-12);
}

#[test]
fn resistance_readings_are_judged() {
    for (measured, wanted) in
        [("0.55 Ω", "pass"), ("0.30 Ω", "look again"), ("1.2 Ω", "look again"), ("5.9 Ω", "fail"), (">20 Ω", "fail")]
    {
        assert_eq!(verdict("r1_r2", measured, json!({})), wanted, "{measured}");
    }
}

#[test]
fn insulation_readings_are_judged() {
    for (measured, part, wanted) in [
        (">999 MΩ", "new", "pass"),
        ("150 MΩ", "new", "look again"),
        ("150 MΩ", "whole", "pass"),
        ("1.0 MΩ", "whole", "look again"),
        ("0.99 MΩ", "whole", "fail"),
        ("0 Ω", "new", "fail"),
        (">0.5 MΩ", "whole", "look again"),
    ] {
        assert_eq!(verdict("insulation", measured, json!({"part": part})), wanted, "{measured} {part}");
    }
    let found = answer(&json!({"quantity": "insulation", "measured": ">999 MΩ"}));
    assert_eq!((&found["limit"], &found["unit"]), (&json!(1.0), &json!("MΩ")));
}

#[test]
fn loop_readings_have_a_screen_and_a_fuller_check() {
    // 0.8 × 218.5 / 30 = 5.827 Ω.
    let found = answer(&reading("zs", "0.9 Ω", json!({})));
    close(&found["limit"], 5.8267, 5e-5);
    close(&found["expected"], 0.35 + 0.5434, 1e-9);
    assert_eq!(found["verdict"], "pass");
    assert_eq!(verdict("zs", "5.9 Ω", json!({})), "look again");
    assert_eq!(verdict("zs", "7.0 Ω", json!({})), "fail");
    assert_eq!(verdict("zs", "3 Ω", json!({})), "look again");
    // A conductor that is hot already warms no further.
    assert_eq!(verdict("zs", "7.0 Ω", json!({"conductor_temperature_c": 70})), "look again");
    let tt = json!({"supply": {"earthing": "TT", "ze_ohm": 100}});
    assert_eq!(verdict("zs", "101 Ω", tt.clone()), "pass");
    assert_eq!(verdict("zs", "1700 Ω", tt), "fail");
}

#[test]
fn residual_current_devices_are_timed() {
    for (measured, more, wanted) in [
        ("28 ms", json!({}), "pass"),
        ("300 ms", json!({}), "pass"),
        ("301 ms", json!({}), "fail"),
        (">300 ms", json!({}), "fail"),
        ("45 ms", json!({"times": 5}), "fail"),
        (">2000 ms", json!({"times": 0.5}), "pass"),
        ("40 ms", json!({"times": 0.5}), "fail"),
        ("220 ms", json!({"supply": {"earthing": "TT"}}), "look again"),
        ("180 ms", json!({"supply": {"earthing": "TT"}}), "pass"),
    ] {
        assert_eq!(verdict("rcd_time", measured, more), wanted, "{measured}");
    }
    let delayed =
        json!({"device": {"kind": "RCBO", "curve": "B", "rating_a": 6, "rcd_ma": 100, "rcd_delay": "delayed"}});
    assert_eq!(verdict("rcd_time", "400 ms", delayed.clone()), "pass");
    assert_eq!(verdict("rcd_time", "90 ms", delayed), "look again");
}

#[test]
fn polarity_is_a_word() {
    assert_eq!(verdict("polarity", "correct", json!({})), "pass");
    assert_eq!(verdict("polarity", "reversed", json!({})), "fail");
    assert_eq!(answer(&json!({"quantity": "polarity", "measured": "correct"}))["expected"], "correct");
}

#[test]
fn a_reading_next_to_its_limit_is_no_better_than_the_instrument() {
    let instrument = json!({"instrument": {"accuracy_percent": 5, "digits": 0, "resolution": "1 ms"}});
    assert_eq!(verdict("rcd_time", "290 ms", instrument.clone()), "look again");
    assert_eq!(verdict("rcd_time", "280 ms", instrument), "pass");
    assert_eq!(verdict("rcd_time", "290 ms", json!({})), "pass");
}

#[test]
fn readings_rise_along_the_chain() {
    let case: Case = read(&reading("r1_r2", "1 Ω", json!({"from": "to the rose"}))).unwrap();
    let found = along(&case, Facts::embedded()).unwrap();
    let names: Vec<&str> = found.iter().map(|place| place.at.as_str()).collect();
    assert_eq!(names, ["L1", "L2"]);
    // By hand: 36.2 mΩ/m × 2 m and × 5 m.
    assert_eq!(found[0].range.expected, Some(Expected::Figure(0.0362 * 2.0)));
    assert!(found[1].range.low > found[0].range.low && found[1].range.high > found[0].range.high);
}

#[test]
fn a_range_is_had_before_the_reading() {
    let mut case = reading("r2", "", json!({}));
    case.as_object_mut().unwrap().remove("measured");
    let found = range(&read(&case).unwrap(), Facts::embedded()).unwrap();
    assert!(found.low < found.high && found.high < found.limit);
    assert_eq!(answer(&case)["verdict"], Value::Null);
}

#[test]
fn bad_cases_name_the_key() {
    for (path, case) in [
        ("measured", reading("r1_r2", "0.4", json!({}))),
        ("measured", reading("r1_r2", "0.4 V", json!({}))),
        ("measured", reading("r1_r2", "-1 Ω", json!({}))),
        ("measured", reading("polarity", "0.4 Ω", json!({}))),
        ("at", reading("r1_r2", "0.4 Ω", json!({"at": "L9"}))),
        ("from", reading("r1_r2", "0.4 Ω", json!({"from": "L2", "at": "L1"}))),
        ("times", reading("rcd_time", "20 ms", json!({"times": 3}))),
        ("times", reading("r2", "0.4 Ω", json!({"times": 1}))),
        ("instrument.resolution", reading("r2", "0.4 Ω", json!({"instrument": {"resolution": "1 V"}}))),
        ("device.rcd", json!({"quantity": "rcd_time", "measured": "20 ms"})),
        ("conductor_temperature", reading("r2", "0.4 Ω", json!({"conductor_temperature_c": 900}))),
        ("run[1].cable", {
            let mut case = reading("r2", "0.4 Ω", json!({}));
            case["run"][1]["cable"] = json!("1.0");
            case
        }),
    ] {
        let error = try_answer(&case).unwrap_err();
        assert_eq!(error.path, path, "{error}");
    }
}
