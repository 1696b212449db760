//! Published checks: each a case with its source, run through the door of the command line.

use std::path::{Path, PathBuf};

use lampwright::cli::answer_of_case;
use serde_json::Value;

fn cases() -> Vec<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/published");
    let mut found = Vec::new();
    for folder in std::fs::read_dir(root).unwrap().flatten().filter(|entry| entry.path().is_dir()) {
        for entry in std::fs::read_dir(folder.path()).unwrap().flatten() {
            if entry.path().extension().is_some_and(|ending| ending == "toml") {
                found.push(entry.path());
            }
        }
    }
    found.sort();
    found
}

/// A value by its dotted path; a list is entered by index, or by the `id` or `name` of an entry.
fn at<'a>(value: &'a Value, path: &str) -> Option<&'a Value> {
    if path.is_empty() {
        return Some(value);
    }
    let entry = |items: &'a [Value], name: &str| {
        items.iter().find(|item| ["id", "name"].iter().any(|key| item.get(*key).and_then(Value::as_str) == Some(name)))
    };
    // A name may hold points itself: the longest head that leads somewhere counts.
    for (end, _) in path.match_indices('.').chain([(path.len(), "")]).collect::<Vec<_>>().into_iter().rev() {
        let (head, rest) = (&path[..end], path[end..].trim_start_matches('.'));
        let next = match value {
            Value::Object(entries) => entries.get(head),
            Value::Array(items) => {
                head.parse::<usize>().ok().and_then(|at| items.get(at)).or_else(|| entry(items, head))
            }
            _ => None,
        };
        if let Some(found) = next.and_then(|next| at(next, rest)) {
            return Some(found);
        }
    }
    None
}

fn check(file: &Path, expect: &toml::Table, answer: &Value) {
    let key = expect["key"].as_str().unwrap();
    let place = format!("{}: {key}", file.display());
    let found = at(answer, key).unwrap_or_else(|| panic!("{place} is not in the answer: {answer:#}"));
    let number =
        |name: &str| expect.get(name).and_then(|value| value.as_float().or(value.as_integer().map(|v| v as f64)));
    if let Some(text) = expect.get("text").and_then(toml::Value::as_str) {
        assert_eq!(found.as_str(), Some(text), "{place}");
    } else if let Some(value) = number("value") {
        let found = found.as_f64().unwrap_or_else(|| panic!("{place} is no number: {found}"));
        let allowed = number("within").or_else(|| number("percent").map(|percent| value.abs() * percent / 100.0));
        let allowed = allowed.unwrap_or(value.abs() * 1e-9);
        assert!((found - value).abs() <= allowed, "{place}: {found}, expected {value} within {allowed}");
    } else {
        let wanted = serde_json::to_value(&expect["value"]).unwrap();
        assert_eq!(*found, wanted, "{place}");
    }
}

#[test]
fn every_published_figure_comes_out() {
    let mut checks = 0;
    let files = cases();
    for file in &files {
        let table: toml::Table = toml::from_str(&std::fs::read_to_string(file).unwrap()).unwrap();
        assert!(table["source"].as_str().unwrap().len() > 10, "{} names no source", file.display());
        let case = toml::to_string(&table["case"]).unwrap();
        let calculator = table["calculator"].as_str().unwrap();
        let answer = answer_of_case(calculator, &file.display().to_string(), &case, file.parent().unwrap())
            .unwrap_or_else(|failure| panic!("{}: {}", file.display(), failure.message));
        for expect in table["expect"].as_array().unwrap() {
            check(file, expect.as_table().unwrap(), &answer);
            checks += 1;
        }
    }
    assert!(checks >= 100, "{checks} checks in {} cases", files.len());
}
