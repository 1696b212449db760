//! The page for contributors keeps its word: the small procedure on it runs as printed.

use std::collections::BTreeMap;
use std::path::Path;

use lampwright::engine::Engine;
use lampwright::engine::bundle::{Bundle, embedded_facts, embedded_modules};

use crate::support::Walk;

fn page() -> String {
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("DEVELOPERS.md")).unwrap()
}

/// The first block of a language under a heading.
fn block<'a>(page: &'a str, heading: &str, language: &str) -> &'a str {
    let under = page.split_once(heading).unwrap().1;
    let after = under.split_once(&format!("```{language}\n")).unwrap().1;
    after.split_once("```").unwrap().0
}

#[test]
fn the_three_lines_run_as_printed_and_are_kept() {
    let page = page();
    let toml = block(&page, "### Three lines", "toml");
    let script = block(&page, "### Three lines", "rhai");
    let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/procedures/three-lines");
    assert_eq!(std::fs::read_to_string(kept.join("procedure.toml")).unwrap(), toml);
    assert_eq!(std::fs::read_to_string(kept.join("lamp.rhai")).unwrap(), script);

    let files = BTreeMap::from([
        (String::from("procedure.toml"), toml.to_owned()),
        (String::from("lamp.rhai"), script.to_owned()),
    ]);
    let bundle = Bundle::from_files("three-lines", files, embedded_modules(), embedded_facts()).unwrap();
    let engine = Engine::new(bundle).unwrap();
    let mut walk = Walk::begin(&engine, "09:00");
    walk.give("09:01", "lamp.watts", &["6"]);
    walk.give("09:02", "gate.height", &["platform", "y"]);
    walk.give("09:03", "lamp.fit", &["done"]);
    walk.give("09:04", "finish", &["done"]);
    assert!(walk.turn().has_ended());
}

#[test]
fn every_word_on_the_page_is_registered_and_every_dependency_named() {
    let page = page();
    let surface = lampwright::engine::host::visible_surface().join("\n");
    for word in [
        "step(",
        "read(",
        "choose(",
        "pause(",
        "hand_over(",
        "card_for(",
        "work_point(",
        "isolated(",
        "restored(",
        "coating_clear(",
        "hole_clear(",
        "window(",
        "wait_for(",
        "stop(",
        "return_to(",
        "finish(",
        "fact(",
        "duty(",
    ] {
        assert!(surface.contains(word), "{word} is not registered");
        assert!(page.contains(word.trim_end_matches('(')), "{word} is not on the page");
    }
    let manifest = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("Cargo.toml")).unwrap();
    let manifest: toml::Table = toml::from_str(&manifest).unwrap();
    for group in ["dependencies", "dev-dependencies"] {
        for (name, _) in manifest[group].as_table().unwrap() {
            assert!(page.contains(&format!("`{name}`")), "{name} has no reason in DEVELOPERS.md");
        }
    }
}
