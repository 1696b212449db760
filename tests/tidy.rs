//! The house keeps its own rules: layers, sizes, markers, sources.

use std::fs;
use std::path::{Path, PathBuf};

/// Folders and files of `src` by layer. Imports go downward only, and not sideways between folders of one layer.
const LAYERS: &[&[&str]] = &[
    &["moment", "quantity", "case"],
    &["facts"],
    &["calc", "gate", "ledger"],
    &["engine"],
    &["audit", "drill", "drawing"],
    &["pack", "terminal"],
    &["cli"],
];
const LONGEST_FUNCTION: usize = 70;
const LONGEST_FILE: usize = 800;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn files_below(folder: &Path, ending: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = entry.path();
        if path.is_dir() {
            found.extend(files_below(&path, ending));
        } else if path.to_string_lossy().ends_with(ending) {
            found.push(path);
        }
    }
    found.sort();
    found
}

fn name_of(path: &Path) -> String {
    path.strip_prefix(root()).unwrap_or(path).display().to_string()
}

/// The module of `src` that a file belongs to: `engine`, `quantity`.
fn room_of(path: &Path) -> String {
    let inner = path.strip_prefix(root().join("src")).expect("a file of src");
    let first = inner.components().next().expect("a name").as_os_str().to_string_lossy().into_owned();
    first.trim_end_matches(".rs").to_owned()
}

fn layer_of(room: &str) -> Option<usize> {
    LAYERS.iter().position(|rooms| rooms.contains(&room))
}

fn is_test_file(path: &Path) -> bool {
    let text = path.to_string_lossy();
    text.contains("/tests/") || text.ends_with("tests.rs") || text.ends_with("test.rs")
}

/// The lines of a file before its unit tests.
fn code_of(text: &str) -> Vec<&str> {
    text.lines().take_while(|line| !line.starts_with("#[cfg(test)]")).collect()
}

#[test]
fn imports_go_downward_only() {
    let mut wrong = Vec::new();
    for path in files_below(&root().join("src"), ".rs") {
        let room = room_of(&path);
        if room == "lib" || room == "main" {
            continue;
        }
        let Some(own) = layer_of(&room) else {
            wrong.push(format!("{}: `{room}` has no layer", name_of(&path)));
            continue;
        };
        let text = fs::read_to_string(&path).expect("a source file reads");
        for (number, line) in text.lines().enumerate() {
            for used in line.split("crate::").skip(1) {
                let used: String = used.chars().take_while(|c| c.is_ascii_alphanumeric() || *c == '_').collect();
                let allowed =
                    used == room || layer_of(&used).is_none_or(|layer| layer < own || (own == 0 && layer == 0));
                if !allowed && !line.trim_start().starts_with("//") {
                    wrong.push(format!("{}:{}: `{room}` imports `{used}`", name_of(&path), number + 1));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn files_and_functions_stay_short() {
    let mut wrong = Vec::new();
    for path in files_below(&root().join("src"), ".rs") {
        if is_test_file(&path) {
            continue;
        }
        let text = fs::read_to_string(&path).expect("a source file reads");
        let code = code_of(&text);
        if code.len() > LONGEST_FILE {
            wrong.push(format!("{}: {} lines", name_of(&path), code.len()));
        }
        let mut open: Option<(usize, usize)> = None;
        for (number, line) in code.iter().enumerate() {
            let indent = line.len() - line.trim_start().len();
            let starts = line.trim_start();
            let is_function = ["fn ", "pub fn ", "pub(crate) fn ", "pub(super) fn ", "const fn ", "pub const fn "]
                .iter()
                .any(|head| starts.starts_with(head));
            if is_function && !line.trim_end().ends_with(';') {
                open = Some((number, indent));
            }
            if let Some((start, depth)) = open
                && indent == depth
                && starts.starts_with('}')
            {
                if number - start + 1 > LONGEST_FUNCTION {
                    wrong.push(format!("{}:{}: a function of {} lines", name_of(&path), start + 1, number - start + 1));
                }
                open = None;
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn no_marker_is_left_over() {
    let markers = [concat!("TO", "DO"), concat!("FIX", "ME"), concat!("XX", "X"), concat!("HA", "CK")];
    let mut wrong = Vec::new();
    let places = ["src", "tests", "procedures", "shared", "benches"];
    for path in places.iter().flat_map(|place| files_below(&root().join(place), "")) {
        let Ok(text) = fs::read_to_string(&path) else { continue };
        for (number, line) in text.lines().enumerate() {
            if markers.iter().any(|marker| line.contains(marker)) {
                wrong.push(format!("{}:{}", name_of(&path), number + 1));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn only_the_front_touches_stdout_the_environment_and_the_clock() {
    let front = ["terminal", "cli", "main", "lib"];
    let words = ["println!", "print!(", "std::env::", "SystemTime", "Zoned::now", "io::stdout"];
    let mut wrong = Vec::new();
    for path in files_below(&root().join("src"), ".rs") {
        if front.contains(&room_of(&path).as_str()) || is_test_file(&path) {
            continue;
        }
        let text = fs::read_to_string(&path).expect("a source file reads");
        for (number, line) in code_of(&text).iter().enumerate() {
            if words.iter().any(|word| line.contains(word)) && !line.trim_start().starts_with("//") {
                wrong.push(format!("{}:{}: {}", name_of(&path), number + 1, line.trim()));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_fact_names_its_source() {
    let facts = lampwright::facts::Facts::embedded();
    let mut count = 0;
    for source in facts.all().map(|fact| &fact.source).chain(facts.tables().flat_map(|table| {
        assert!(!table.rows.is_empty(), "{} has no rows", table.name);
        table.rows.iter().map(|row| &row.source)
    })) {
        assert!(!source.document.trim().is_empty());
        count += 1;
    }
    assert!(count > 100, "only {count} figures with a source were found");
}

#[test]
fn the_binary_is_a_door_and_nothing_more() {
    let text = fs::read_to_string(root().join("src/main.rs")).expect("main.rs reads");
    assert!(text.lines().count() <= 30);
}

#[test]
fn the_lock_file_stays_under_two_hundred_packages() {
    let text = fs::read_to_string(root().join("Cargo.lock")).expect("the lock file reads");
    let count = text.lines().filter(|line| *line == "[[package]]").count();
    assert!(count < 200, "{count} packages");
}
