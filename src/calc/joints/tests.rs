#![allow(clippy::unwrap_used)]

use proptest::prelude::*;
use serde_json::{Value, json};

use super::*;
use crate::case;

fn answer_of(text: &str) -> Value {
    serde_json::to_value(answered(text).unwrap()).unwrap()
}

fn answered(text: &str) -> Result<Answer, CaseError> {
    let tree: Value = toml::from_str(text).unwrap();
    figure(&case::read(&tree)?, Facts::embedded())
}

fn group<'a>(answer: &'a Value, name: &str) -> &'a Value {
    answer["groups"].as_array().unwrap().iter().find(|group| group["name"] == name).unwrap()
}

fn cores(answer: &Value, name: &str) -> Vec<String> {
    let mut cores: Vec<String> = serde_json::from_value(group(answer, name)["cores"].clone()).unwrap();
    cores.sort();
    cores
}

/// A cable in short: `C1 brown:loop blue:neutral bare:earth`; a core is `name=colour:terminal/sleeve`.
fn cable(short: &str) -> String {
    let mut words = short.split_whitespace();
    let mut text = format!("[[cable]]\nname = \"{}\"\ncores = [", words.next().unwrap());
    for word in words {
        let (colour, rest) = word.split_once(':').unwrap();
        let (terminal, sleeve) = rest.split_once('/').map_or((rest, None), |(a, b)| (a, Some(b)));
        let (name, colour) = colour.split_once('=').map_or((None, colour), |(a, b)| (Some(a), b));
        text += &format!("{{ colour = \"{}\", terminal = \"{terminal}\"", colour.replace("gy", "green/yellow"));
        for (key, value) in [("name", name), ("sleeve", sleeve)] {
            if let Some(value) = value {
                text += &format!(", {key} = \"{value}\"");
            }
        }
        text += " },";
    }
    text + "]\n"
}

/// A reading in short: `C2.brown C2.blue on 0.4`, with `open` for an open circuit, `S1=up,S2=down` for two switches.
fn reading(short: &str) -> String {
    let words: Vec<&str> = short.split_whitespace().collect();
    let mut text = format!("[[continuity]]\nbetween = [\"{}\", \"{}\"]\n", words[0], words[1]);
    if words[2].contains('=') {
        let inner = words[2].replace('=', " = \"").replace(',', "\", ");
        text += &format!("switches = {{ {inner}\" }}\n");
    } else {
        text += &format!("switch = \"{}\"\n", words[2]);
    }
    text + &if words[3] == "open" { String::from("open = true\n") } else { format!("ohm = {}\n", words[3]) }
}

fn rose(cables: &[&str], readings: &[&str]) -> String {
    let mut text: String = cables.iter().map(|short| cable(short)).collect();
    text.extend(readings.iter().map(|short| reading(short)));
    text + "[to_lights]\nname = \"L1\"\ncolours = \"brown/blue\"\n"
}

#[test]
fn the_middle_of_a_circuit_in_new_colours() {
    let answer = answer_of(&rose(
        &[
            "C1 brown:loop blue:neutral bare:earth",
            "C2 brown:loop blue:switched/brown bare:earth",
            "C3 brown:loop blue:neutral bare:earth",
        ],
        &["C2.brown C2.blue on 0.4", "C2.brown C2.blue off open"],
    ));
    assert_eq!(answer["consistent"], 1);
    assert_eq!(answer["roles"], json!({"C1": "feed", "C2": "switch", "C3": "feed"}));
    assert_eq!(cores(&answer, "permanent line"), ["C1.brown", "C2.brown", "C3.brown"]);
    assert_eq!(cores(&answer, "switch line"), ["C2.blue", "L1.brown"]);
    assert_eq!(cores(&answer, "neutral"), ["C1.blue", "C3.blue", "L1.blue"]);
    assert_eq!(cores(&answer, "cpc"), ["C1.bare", "C2.bare", "C3.bare", "L1.bare"]);
    assert_eq!(group(&answer, "switch line")["sleeves"], json!([]));
    let rows = answer["proof"].as_array().unwrap();
    assert_eq!(rows.len(), 2);
    for (row, volts) in rows.iter().zip([230.0, 0.0]) {
        assert_eq!(row["new_v"], volts);
        assert_eq!(row["onward_v"], json!({"C1": 230.0, "C3": 230.0}));
    }
    assert_eq!(rows[0]["switch"], "on");
    assert_eq!(answer["refused"], Value::Null);
    assert_eq!(answer["enclosure"]["entries"], 4);
    let ways: Vec<u64> = answer["connectors"].as_array().unwrap().iter().map(|c| c["ways"].as_u64().unwrap()).collect();
    assert_eq!(ways, [5, 3, 2, 3]);
}

/// Terminals 40 of the loop-in rose, from one feed to four, old colours, return not sleeved.
#[test]
fn any_number_of_feeds_in_old_colours() {
    for feeds in 1..=4 {
        let names: Vec<String> = (1..=feeds).map(|at| format!("C{at} red:loop black:neutral bare:earth")).collect();
        let mut cables: Vec<&str> = names.iter().map(String::as_str).collect();
        cables.push("C9 red:loop black:switched bare:earth");
        let answer = answer_of(&rose(&cables, &[]));
        assert_eq!(answer["consistent"], 1, "{feeds}");
        assert_eq!(cores(&answer, "permanent line").len(), feeds + 1);
        let sleeves = &group(&answer, "switch line")["sleeves"];
        assert_eq!((&sleeves[0]["core"], &sleeves[0]["colour"]), (&json!("C9.black"), &json!("brown")));
        assert_eq!(group(&answer, "neutral")["sleeves"], json!([]));
        assert_eq!(answer["proof"][0]["onward_v"].as_object().unwrap().len(), feeds);
        assert!(
            answer["remarks"].as_array().unwrap().iter().any(|remark| remark.as_str().unwrap().contains("Old and new"))
        );
    }
}

#[test]
fn loop_at_the_switch_brings_one_cable() {
    for terminals in ["switched", "unknown"] {
        let short = format!("C1 brown:{terminals} blue:neutral bare:earth");
        let answer = answer_of(&rose(&[&short], &[]));
        assert_eq!(answer["roles"], json!({"C1": "switched feed"}), "{terminals}");
        assert_eq!(cores(&answer, "switch line"), ["C1.brown", "L1.brown"]);
        assert_eq!(answer["proof"][0]["new_v"], 230.0);
        assert_eq!(answer["proof"][1]["new_v"], 0.0);
        assert_eq!(answer["proof"][0]["onward_v"], json!({}));
    }
}

#[test]
fn a_feed_without_a_switch_line_is_refused() {
    let answer = answer_of(&rose(&["C1 brown:loop blue:neutral bare:earth"], &[]));
    assert_eq!(answer["consistent"], 0);
    assert!(answer["refused"]["why"].as_str().unwrap().contains("No assignment"));
    assert_eq!(answer["groups"], json!([]));
}

#[test]
fn an_old_twin_red_has_two_cores_of_one_colour() {
    let answer = answer_of(&rose(
        &["C1 red:unknown black:unknown bare:earth", "C2 a=red:unknown b=red:unknown bare:earth"],
        &["C2.a C2.b on 0.6", "C2.a C2.b off open", "C1.red C1.black on open"],
    ));
    assert_eq!(answer["consistent"], 1);
    assert_eq!(answer["roles"], json!({"C1": "feed", "C2": "switch"}));
    assert_eq!(group(&answer, "switch line")["sleeves"], json!([]));
    let error = answered(&rose(&["C1 red:loop red:switched bare:earth"], &[])).unwrap_err();
    assert_eq!(error.path, "cable[0].cores[1].name");
}

#[test]
fn a_sleeve_is_a_mark_and_a_plain_colour_is_none() {
    let feed = "C1 brown:unknown blue:unknown bare:earth";
    for drop in ["C2 brown:unknown blue:unknown/brown bare:earth", "C2 a=brown:unknown b=brown:unknown bare:earth"] {
        let answer = answer_of(&rose(&[feed, drop], &[]));
        assert_eq!(answer["consistent"], 1, "{drop}");
        assert_eq!(answer["roles"]["C2"], "switch");
    }
    let answer = answer_of(&rose(&[feed, "C2 blue:unknown red:unknown bare:earth"], &[]));
    assert_eq!(answer["consistent"], 2);
}

#[test]
fn alike_cables_without_terminals_are_refused_with_the_reading_that_decides() {
    let cables = ["C1 red:unknown black:unknown bare:earth", "C2 red:unknown black:unknown bare:earth"];
    let answer = answer_of(&rose(&cables, &[]));
    assert_eq!(answer["consistent"], 2);
    assert_eq!(answer["groups"], json!([]));
    assert_eq!(answer["proof"], json!([]));
    let refused = &answer["refused"];
    assert_eq!(refused["between"], json!(["C1.red", "C1.black"]));
    assert_eq!(refused["switches"], json!({"switch": "on"}));
    assert!(refused["reading"].as_str().unwrap().contains("C1 is the switch cable"), "{refused}");
    for (shown, role) in [("0.5", "switch"), ("open", "feed")] {
        let answer = answer_of(&rose(&cables, &[&format!("C1.red C1.black on {shown}")]));
        assert_eq!(answer["consistent"], 1);
        assert_eq!(answer["roles"]["C1"], role);
    }
}

#[test]
fn of_five_alike_cables_one_answers_to_the_switch() {
    let names: Vec<String> = (1..=5).map(|at| format!("C{at} brown:unknown blue:unknown bare:earth")).collect();
    let cables: Vec<&str> = names.iter().map(String::as_str).collect();
    assert_eq!(answer_of(&rose(&cables, &[]))["consistent"], 5);
    let answer = answer_of(&rose(&cables, &["C4.brown C4.blue on 0.5", "C4.brown C4.blue off open"]));
    assert_eq!(answer["consistent"], 1);
    assert_eq!(answer["roles"]["C4"], "switch");
    assert_eq!(cores(&answer, "switch line"), ["C4.blue", "L1.brown"]);
}

#[test]
fn terminals_beat_colours_and_the_disagreement_is_said() {
    let answer =
        answer_of(&rose(&["C1 blue:loop brown:neutral bare:earth", "C2 brown:loop blue:switched bare:earth"], &[]));
    assert_eq!(answer["consistent"], 1);
    assert_eq!(cores(&answer, "permanent line"), ["C1.blue", "C2.brown"]);
    assert_eq!(cores(&answer, "neutral"), ["C1.brown", "L1.blue"]);
    let said = answer["disagreements"].as_array().unwrap();
    assert_eq!(said.len(), 2);
    assert!(said[0].as_str().unwrap().starts_with("C1.blue is blue, yet it is the permanent line"));
    assert_eq!(group(&answer, "permanent line")["sleeves"][0]["colour"], "brown");
    assert_eq!(group(&answer, "neutral")["sleeves"][0]["colour"], "blue");
}

#[test]
fn a_house_with_a_wrong_colour_is_not_decided_by_colour() {
    let answer = answer_of(&rose(
        &[
            "C1 blue:loop brown:neutral bare:earth",
            "C2 brown:loop blue:switched bare:earth",
            "C3 brown:unknown blue:unknown bare:earth",
        ],
        &["C3.brown C3.blue on open"],
    ));
    assert_eq!(answer["consistent"], 2);
    assert!(answer["refused"]["reading"].as_str().unwrap().contains("photograph"), "{}", answer["refused"]);
}

#[test]
fn terminals_against_readings_fit_nothing_and_are_named() {
    let answer = answer_of(&rose(
        &["C1 brown:loop blue:neutral bare:earth", "C2 brown:loop blue:switched bare:earth"],
        &["C2.brown C2.blue on open", "C1.brown C1.blue on 0.3"],
    ));
    assert_eq!(answer["consistent"], 0);
    let answer = answer_of(&rose(
        &["C1 brown:loop blue:neutral bare:earth", "C2 brown:loop blue:switched bare:earth"],
        &["C2.brown C2.blue on 0.3", "C2.brown C2.blue off 0.3"],
    ));
    assert_eq!(answer["consistent"], 0);
    let why = answer["refused"]["why"].as_str().unwrap();
    assert!(why.contains("C2 is closed in both positions"), "{why}");
    assert!(answer["refused"]["reading"].as_str().unwrap().contains("C2.brown to C2.blue at off"));
}

#[test]
fn on_and_off_exchanged_still_shows_the_switch_cable() {
    let answer = answer_of(&rose(
        &["C1 red:unknown black:unknown bare:earth", "C2 red:unknown black:unknown bare:earth"],
        &["C2.red C2.black on open", "C2.red C2.black off 0.4", "C1.red C1.black on open", "C1.red C1.black off open"],
    ));
    assert_eq!(answer["consistent"], 1);
    assert_eq!(answer["roles"]["C2"], "switch");
    assert!(answer["remarks"][1].as_str().unwrap().contains("misread"), "{}", answer["remarks"]);
}

#[test]
fn two_way_switching_is_closed_in_two_of_four() {
    let answer = answer_of(&rose(
        &["C1 brown:loop blue:neutral bare:earth", "C2 brown:loop blue:switched bare:earth"],
        &[
            "C2.brown C2.blue S1=up,S2=up 0.5",
            "C2.brown C2.blue S1=up,S2=down open",
            "C2.brown C2.blue S1=down,S2=down 0.5",
            "C2.brown C2.blue S1=down,S2=up open",
        ],
    ));
    assert_eq!(answer["consistent"], 1);
    assert_eq!(answer["roles"]["C2"], "two-way");
    let rows = answer["proof"].as_array().unwrap();
    assert_eq!(rows.len(), 4);
    for row in rows {
        let same = row["switches"]["S1"] == row["switches"]["S2"];
        assert_eq!(row["new_v"], if same { 230.0 } else { 0.0 }, "{row}");
        assert_eq!(row["onward_v"]["C1"], 230.0);
    }
    // Closed in three of four is no two-way contact, and no single switch either.
    let answer = answer_of(&rose(
        &["C1 brown:loop blue:neutral bare:earth", "C2 brown:loop blue:switched bare:earth"],
        &[
            "C2.brown C2.blue S1=up,S2=up 0.5",
            "C2.brown C2.blue S1=up,S2=down 0.5",
            "C2.brown C2.blue S1=down,S2=down 0.5",
            "C2.brown C2.blue S1=down,S2=up open",
        ],
    ));
    assert_eq!(answer["consistent"], 0);
}

/// Both three-core cables come to the rose, strappers joined there.
#[test]
fn two_three_core_cables_join_their_strappers() {
    let answer = answer_of(&rose(
        &[
            "C1 brown:loop blue:neutral bare:earth",
            "C2 brown:loop black:none grey:none bare:earth",
            "C3 brown:switched black:none grey:none bare:earth",
        ],
        &[],
    ));
    assert_eq!(answer["consistent"], 1, "{answer:#}");
    assert_eq!(answer["roles"], json!({"C1": "feed", "C2": "two-way", "C3": "two-way"}));
    assert_eq!(cores(&answer, "first strapper").len(), 2);
    assert_eq!(group(&answer, "first strapper")["sleeves"].as_array().unwrap().len(), 2);
    let lit = answer["proof"].as_array().unwrap().iter().filter(|row| row["new_v"] == 230.0).count();
    assert_eq!((lit, answer["proof"].as_array().unwrap().len()), (2, 4));
}

#[test]
fn a_three_core_drop_is_told_by_its_readings() {
    let cables = ["C1 red:loop black:neutral bare:earth", "C2 red:loop yellow:switched blue:none bare:earth"];
    let answer = answer_of(&rose(&cables, &[]));
    assert_eq!(answer["consistent"], 1);
    assert_eq!(answer["roles"]["C2"], "switch");
    assert_eq!(cores(&answer, "spare C2.blue"), ["C2.blue"]);
    assert_eq!(group(&answer, "switch line")["sleeves"][0]["core"], "C2.yellow");
    // With a neutral to the switch, all three cores are in terminals.
    let answer = answer_of(&rose(
        &["C1 brown:loop blue:neutral bare:earth", "C2 brown:loop black:switched grey:neutral/blue bare:earth"],
        &["C2.brown C2.black on 0.4", "C2.brown C2.black off open"],
    ));
    assert_eq!((&answer["consistent"], &answer["roles"]["C2"]), (&json!(1), &json!("switch")));
    assert_eq!(cores(&answer, "neutral"), ["C1.blue", "C2.grey", "L1.blue"]);
    assert_eq!(group(&answer, "neutral")["sleeves"], json!([]));
}

#[test]
fn a_cable_on_to_a_second_light_of_the_switch_follows_it() {
    let answer = answer_of(&rose(
        &[
            "C1 brown:loop blue:neutral bare:earth",
            "C2 brown:loop blue:switched bare:earth",
            "C3 brown:switched blue:neutral bare:earth",
        ],
        &[],
    ));
    assert_eq!(answer["roles"]["C3"], "switched feed");
    assert_eq!(answer["proof"][0]["switched_v"]["C3"], 230.0);
    assert_eq!(answer["proof"][1]["switched_v"]["C3"], 0.0);
    assert_eq!(answer["proof"][1]["onward_v"], json!({"C1": 230.0}));
}

#[test]
fn a_green_and_yellow_core_used_live_stops_the_job() {
    let answer = answer_of(&rose(&["C1 brown:loop blue:neutral bare:earth", "C2 brown:loop gy:switched"], &[]));
    assert_eq!(answer["consistent"], 0);
    assert!(answer["refused"]["why"].as_str().unwrap().contains("C2.green/yellow is marked as a protective conductor"));
}

#[test]
fn a_doubtful_reading_decides_nothing() {
    let answer = answer_of(&rose(
        &["C1 brown:unknown blue:unknown bare:earth", "C2 brown:unknown blue:unknown bare:earth"],
        &["C1.brown C1.blue on 5"],
    ));
    assert_eq!(answer["consistent"], 2);
    assert!(answer["remarks"][0].as_str().unwrap().contains("measure it again"));
}

#[test]
fn a_link_at_the_board_tells_line_from_neutral() {
    let cables = ["C1 blue:unknown brown:neutral bare:earth", "C2 brown:loop blue:switched bare:earth"];
    assert_eq!(answer_of(&rose(&cables, &[]))["consistent"], 1);
    let text = rose(&["C1 black:unknown red:unknown bare:earth", "C2 red:loop black:switched bare:earth"], &[])
        + "[[continuity]]\nbetween = [\"C1.black\", \"C1.bare\"]\nohm = 0.5\nboard_link = true\n";
    let answer = answer_of(&text);
    assert_eq!(answer["consistent"], 1);
    assert_eq!(cores(&answer, "permanent line"), ["C1.black", "C2.red"]);
    assert_eq!(answer["disagreements"].as_array().unwrap().len(), 2);
}

/// A case may list one cable and measure another: the other is there all the same.
#[test]
fn a_cable_known_only_from_its_readings_counts() {
    let answer = answer_of(&rose(&["C1 brown:loop blue:neutral bare:earth"], &["C2.brown C2.blue on 0.4"]));
    assert_eq!(answer["consistent"], 1);
    assert_eq!(answer["roles"], json!({"C1": "feed", "C2": "switch"}));
    assert_eq!(answer["proof"][0]["onward_v"], json!({"C1": 230.0}));
    assert!(answer["remarks"][0].as_str().unwrap().starts_with("C2 is in no list"));
}

#[test]
fn nothing_known_of_many_cables_still_answers_at_once() {
    let names: Vec<String> =
        (1..=8).map(|at| format!("C{at} brown:unknown black:unknown grey:unknown bare:earth")).collect();
    let cables: Vec<&str> = names.iter().map(String::as_str).collect();
    let begun = std::time::Instant::now();
    let answer = answer_of(&rose(&cables, &[]));
    assert!(answer["consistent"].as_u64().unwrap() > 1);
    assert!(answer["refused"]["why"].is_string());
    assert!(begun.elapsed() < std::time::Duration::from_secs(2));
}

#[test]
fn connectors_in_hand_are_checked() {
    let text = rose(&["C1 brown:loop blue:neutral bare:earth", "C2 brown:loop blue:switched bare:earth"], &[])
        + "[[connector]]\nways = 2\n";
    let answer = answer_of(&text);
    assert_eq!(answer["connectors"][0]["ways"], 0);
    assert!(answer["connectors"][0]["verdict"].as_str().unwrap().contains("none has 3 ways"));
    assert_eq!(answer["connectors"][2]["verdict"], "fits");
}

#[test]
fn what_cannot_be_read_is_named() {
    for (text, path) in [
        (rose(&["C1 purple:loop blue:neutral bare:earth"], &[]), "cable[0].cores[0].colour"),
        (rose(&["C1 brown:loop bare:earth"], &[]), "cable[0].cores"),
        (rose(&["C1 brown:loop blue:neutral", "C1 brown:loop blue:neutral"], &[]), "cable[1].name"),
        (rose(&["C1 brown:loop blue:neutral"], &["C1.brown C1.red on 0.4"]), "continuity[0].between[1]"),
        (rose(&["C1 brown:loop blue:neutral"], &["C1.brown C1.brown on 0.4"]), "continuity[0].between"),
        (rose(&["C1 brown:loop blue:neutral"], &["C1.brown C1.blue on -4"]), "continuity[0].ohm"),
        (rose(&["C1 brown:loop blue:neutral"], &["C1.brown C1.blue on nan"]), "continuity[0].ohm"),
        (String::from("cable = []"), "cable"),
        (String::from("[to_lights]\nname = \"L1\"\ncolours = \"brown/blue\""), ""),
    ] {
        let error = answered(&text).unwrap_err();
        assert_eq!(error.path, path, "{error}");
    }
}

/// The proof does not look at the names of groups: any two cores of different function exchanged make it fail.
#[test]
fn the_proof_finds_every_exchange_of_two_cores() {
    let text = rose(
        &[
            "C1 brown:loop blue:neutral bare:earth",
            "C2 brown:loop blue:switched bare:earth",
            "C3 brown:loop blue:neutral bare:earth",
        ],
        &[],
    );
    let case: Case = case::read(&toml::from_str(&text).unwrap()).unwrap();
    let facts = Facts::embedded();
    let evidence = Evidence::read(&case, facts).unwrap();
    let found = search::search(&evidence);
    let fit = &found.fits[0];
    let sound = joint::groups(&evidence, fit, facts);
    assert_eq!(proof::prove(&evidence, fit, &sound, 230.0).fault, None);
    let live: Vec<(usize, usize)> = (0..sound.len())
        .filter(|group| sound[*group].name != "cpc")
        .flat_map(|group| (0..sound[group].cores.len()).map(move |core| (group, core)))
        .collect();
    let mut exchanges = 0;
    for (at, a) in live.iter().enumerate() {
        for b in live[at + 1..].iter().filter(|b| b.0 != a.0) {
            let mut wrong = sound.clone();
            let (one, other) = (wrong[a.0].cores[a.1].clone(), wrong[b.0].cores[b.1].clone());
            // The two cores of the drop may change places: the contact is the same both ways.
            if one.starts_with("C2") && other.starts_with("C2") {
                continue;
            }
            wrong[a.0].cores[a.1] = other;
            wrong[b.0].cores[b.1] = one;
            assert!(proof::prove(&evidence, fit, &wrong, 230.0).fault.is_some(), "{wrong:?}");
            exchanges += 1;
        }
    }
    assert!(exchanges > 15);
}

/// A rose as it truly is, with what a person could find out about it.
#[derive(Debug, Clone)]
struct House {
    /// Per cable, true for the drop; colours of its two cores; whether the first is the line.
    cables: Vec<(bool, usize, bool)>,
    hidden: u32,
}

const TWINS: [[&str; 2]; 4] = [["brown", "blue"], ["red", "black"], ["black", "red"], ["blue", "brown"]];

fn house() -> impl Strategy<Value = House> {
    let feeds = proptest::collection::vec((0_usize..4, any::<bool>()), 1..5);
    (feeds, 0_usize..5, (0_usize..4, any::<bool>()), any::<u32>()).prop_map(|(feeds, place, drop, hidden)| {
        let mut cables: Vec<(bool, usize, bool)> =
            feeds.into_iter().map(|(twin, first)| (false, twin, first)).collect();
        cables.insert(place.min(cables.len()), (true, drop.0, drop.1));
        House { cables, hidden }
    })
}

impl House {
    fn function(&self, cable: usize, core: usize) -> &'static str {
        let (drop, _, first_is_line) = self.cables[cable];
        if (core == 0) == first_is_line {
            "loop"
        } else if drop {
            "switched"
        } else {
            "neutral"
        }
    }

    fn text(&self, readings: bool) -> String {
        let mut text = String::new();
        for (at, (drop, twin, _)) in self.cables.iter().enumerate() {
            let [a, b] = TWINS[*twin];
            let terminal = |core: usize| {
                if self.hidden >> (2 * at + core) & 1 == 1 { "unknown" } else { self.function(at, core) }
            };
            text += &cable(&format!("C{at} {a}:{} {b}:{} bare:earth", terminal(0), terminal(1)));
            if readings {
                let on = if *drop { "0.5" } else { "open" };
                text += &reading(&format!("C{at}.{a} C{at}.{b} on {on}"));
                text += &reading(&format!("C{at}.{a} C{at}.{b} off open"));
            }
        }
        text + "[to_lights]\nname = \"L1\"\ncolours = \"brown/blue\"\n"
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever is hidden and however the cores are coloured, an answer is the truth; with all readings taken the drop is
    /// always found, and an answer without refusal never mixes line and neutral unless colours alone decided.
    #[test]
    fn an_answer_is_the_truth_or_rests_on_colours(house in house()) {
        let answer = answered(&house.text(true)).unwrap();
        prop_assert!(answer.consistent >= 1);
        for (at, (drop, ..)) in house.cables.iter().enumerate() {
            let role = if *drop { Role::Switch } else { Role::Feed };
            prop_assert_eq!(answer.roles.get(&format!("C{at}")), Some(&role));
        }
        let by_colour = answer.remarks.iter().any(|remark| remark.contains("colours decide"));
        if answer.consistent == 1 && !by_colour {
            for held in &answer.cores {
                let (cable, core) = held.core.split_once('.').unwrap();
                let cable: usize = cable[1..].parse().unwrap();
                if core == "bare" || house.cables[cable].0 {
                    continue;
                }
                let place = TWINS[house.cables[cable].1].iter().position(|colour| *colour == core).unwrap();
                let wanted = match house.function(cable, place) {
                    "loop" => Function::Permanent,
                    "neutral" => Function::Neutral,
                    _ => Function::Switched,
                };
                prop_assert_eq!(held.function, wanted);
            }
            prop_assert!(answer.refused.is_none());
            prop_assert!(answer.proof.iter().all(|row| row.onward_v.values().all(|volts| (volts - 230.0).abs() < 1e-6)));
        }
    }

    /// Following the proposed readings, the drop is found in no more readings than there are cables.
    #[test]
    fn the_proposed_readings_lead_to_the_drop(house in house()) {
        let mut text = house.text(false);
        for _ in 0..=house.cables.len() {
            let answer = answered(&text).unwrap();
            let Some(between) = answer.refused.and_then(|refused| refused.between) else {
                let drop = house.cables.iter().position(|cable| cable.0).unwrap();
                prop_assert_eq!(answer.roles.get(&format!("C{drop}")), Some(&Role::Switch));
                return Ok(());
            };
            let cable: usize = between[0][1..].split('.').next().unwrap().parse().unwrap();
            if between[1].ends_with("bare") {
                return Ok(());
            }
            let shown = if house.cables[cable].0 { "0.5" } else { "open" };
            text += &reading(&format!("{} {} on {shown}", between[0], between[1]));
        }
        prop_assert!(false, "no end of readings");
    }

    /// Renaming and reordering cables changes no count.
    #[test]
    fn the_order_of_cables_does_not_matter(house in house(), turn in 0_usize..5) {
        let mut turned = house.clone();
        let by = turn % house.cables.len();
        turned.cables.rotate_left(by);
        turned.hidden = 0;
        let mut plain = house.clone();
        plain.hidden = 0;
        let counts = [&plain, &turned].map(|house| answered(&house.text(false)).unwrap().consistent);
        prop_assert_eq!(counts[0], counts[1]);
        prop_assert_eq!(counts[0], 1);
    }
}
