//! `lampwright figure`: the calculators at the command line.

use std::io::Read as _;
use std::path::Path;

use serde_json::Value;

use super::{Exit, Failure};
use crate::calc;
use crate::case::CaseError;
use crate::drawing::page::{Page, Tone};
use crate::facts::Facts;
use crate::quantity::plain;
use crate::terminal::prompter::{self, put};

/// The longest case that is read, in bytes.
const LONGEST_CASE: u64 = 4 * 1024 * 1024;
/// The longest photometric file that is read, in bytes.
const LONGEST_PHOTOMETRY: u64 = 16 * 1024 * 1024;

/// Computes a case and prints its figures.
pub fn figure(calculator: &str, path: &Path, json: bool) -> Result<Exit, Failure> {
    let name = path.display().to_string();
    let text = if name == "-" {
        read_input(std::io::stdin().lock(), &name, LONGEST_CASE)?
    } else {
        read_file(path, LONGEST_CASE)?
    };
    let answer = answer(calculator, &name, &text, path.parent().unwrap_or(Path::new(".")))?;
    let text = if json {
        format!("{answer:#}\n")
    } else {
        let prompter = prompter::for_this_process(false);
        let mut page = Page::new(prompter.width(), prompter.colour());
        print(&mut page, "", &answer);
        page.finish()
    };
    put(&text);
    Ok(Exit::Good)
}

/// The answer to a case given as text. `beside` is where the files it names are looked for.
///
/// # Errors
/// [`Failure`] with file, line, key and what was expected.
pub fn answer(calculator: &str, file: &str, text: &str, beside: &Path) -> Result<Value, Failure> {
    let usage = |message: String| Failure::new(Exit::Usage, message);
    let door = calc::door(calculator).ok_or_else(|| {
        usage(format!("there is no calculator `{calculator}`; there are: {}", calc::names().join(", ")))
    })?;
    let table: toml::Table =
        toml::from_str(text).map_err(|error| usage(format!("{file}: {}", error.to_string().trim_end())))?;
    let mut case = serde_json::to_value(&table).map_err(|error| usage(format!("{file}: {error}")))?;
    let source = case.as_object_mut().and_then(|case| case.remove("source"));
    let located = |error: CaseError| {
        let line = line_of(text, &error.path).map_or(String::new(), |line| format!("line {line}: "));
        usage(format!("{file}: {line}{error}"))
    };
    photometry(&mut case, beside).map_err(located)?;
    let mut answer = door(&case, Facts::embedded()).map_err(located)?;
    if let (Some(entries), Some(source)) = (answer.as_object_mut(), source) {
        entries.insert(String::from("source"), source);
    }
    Ok(answer)
}

/// Reads the photometric files that a case names, for its kinds of fitting or its one fitting.
fn photometry(case: &mut Value, beside: &Path) -> Result<(), CaseError> {
    if let Some(types) = case.get_mut("fitting_type").and_then(Value::as_object_mut) {
        for (name, fitting) in types {
            read_photometry(fitting, &format!("fitting_type.{name}.photometry"), beside)?;
        }
    }
    case.get_mut("fitting").map_or(Ok(()), |fitting| read_photometry(fitting, "fitting.photometry", beside))
}

fn read_photometry(fitting: &mut Value, path: &str, beside: &Path) -> Result<(), CaseError> {
    let Some(entries) = fitting.as_object_mut() else { return Ok(()) };
    let Some(file) = entries.remove("photometry") else { return Ok(()) };
    let file = file.as_str().ok_or_else(|| CaseError::at(path, "expected the name of a file"))?;
    let refused = |message: String| CaseError::at(path, format!("{file}: {message}"));
    let bytes = std::fs::File::open(beside.join(file))
        .and_then(|file| bytes_of(file, LONGEST_PHOTOMETRY))
        .map_err(|error| refused(error.to_string()))?;
    let text = calc::light::lm63::decode(&bytes).map_err(|error| refused(error.to_string()))?;
    entries.insert(String::from("photometry_text"), Value::String(text));
    Ok(())
}

fn read_file(path: &Path, longest: u64) -> Result<String, Failure> {
    let name = path.display().to_string();
    let file = std::fs::File::open(path).map_err(|error| Failure::new(Exit::Usage, format!("{name}: {error}")))?;
    read_input(file, &name, longest)
}

fn read_input(input: impl std::io::Read, name: &str, longest: u64) -> Result<String, Failure> {
    let usage = |error: String| Failure::new(Exit::Usage, format!("{name}: {error}"));
    let bytes = bytes_of(input, longest).map_err(|error| usage(error.to_string()))?;
    String::from_utf8(bytes).map_err(|_| usage(String::from("is no UTF-8 text; save it as UTF-8")))
}

/// All bytes of an input that is no longer than allowed.
fn bytes_of(input: impl std::io::Read, longest: u64) -> std::io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    input.take(longest + 1).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > longest {
        return Err(std::io::Error::other(format!("longer than {} MiB", longest / 1024 / 1024)));
    }
    Ok(bytes)
}

/// The line of a key path such as `run[1].load[0].power`: the last of its names that the text holds in order.
fn line_of(text: &str, path: &str) -> Option<usize> {
    let names: Vec<&str> = path.split(['.', '[', ']']).filter(|name| !name.is_empty()).collect();
    let mut found = None;
    let lines: Vec<&str> = text.lines().collect();
    let mut at = 0;
    for (place, name) in names.iter().enumerate() {
        if name.parse::<usize>().is_ok() {
            continue;
        }
        let skip = names.get(place + 1).and_then(|next| next.parse::<usize>().ok()).unwrap_or(0);
        let names_it = |line: &str| {
            let line = line.trim_start();
            let head = line.trim_start_matches('[');
            let word: String =
                head.chars().take_while(|c| c.is_alphanumeric() || matches!(c, '_' | '-' | '.')).collect();
            let last = word.rsplit('.').next().unwrap_or("");
            last == *name
                || last.strip_prefix(name).is_some_and(|rest| rest.starts_with('_'))
                || line.contains(&format!(" {name} ="))
        };
        let hits = (at..lines.len()).filter(|line| names_it(lines[*line]));
        if let Some(hit) = hits.clone().nth(skip).or_else(|| hits.clone().next()) {
            at = hit;
            found = Some(hit + 1);
        }
    }
    found
}

/// Prints an answer for people: figures with units out of their keys, lists of objects as tables.
fn print(page: &mut Page, key: &str, value: &Value) {
    match value {
        Value::Object(entries) => {
            if !key.is_empty() {
                page.gap();
                page.line(Tone::Strong, &key.replace('_', " "));
            }
            for (key, value) in entries {
                print(page, key, value);
            }
        }
        Value::Array(items) if !items.is_empty() && items.iter().all(Value::is_object) => {
            page.gap();
            page.line(Tone::Strong, &key.replace('_', " "));
            let columns: Vec<String> =
                items[0].as_object().map(|entries| entries.keys().cloned().collect()).unwrap_or_default();
            let cell = |item: &Value, column: &String| item.get(column).map(in_words).unwrap_or_default();
            let rows: Vec<Vec<String>> =
                items.iter().map(|item| columns.iter().map(|column| cell(item, column)).collect()).collect();
            let heads: Vec<String> = columns.iter().map(|column| column.replace('_', " ")).collect();
            page.table(&heads, &rows);
        }
        other => page.hanging(Tone::Plain, &format!("{}: ", key.replace('_', " ")), &in_words(other)),
    }
}

fn in_words(value: &Value) -> String {
    match value {
        Value::Null => String::from("—"),
        Value::Bool(true) => String::from("yes"),
        Value::Bool(false) => String::from("no"),
        Value::Number(number) => number.as_f64().map_or_else(|| number.to_string(), |value| plain(value, 4)),
        Value::String(text) => text.clone(),
        Value::Array(items) => items.iter().map(in_words).collect::<Vec<_>>().join(", "),
        Value::Object(entries) => {
            entries.iter().map(|(key, value)| format!("{key} {}", in_words(value))).collect::<Vec<_>>().join(", ")
        }
    }
}
