//! Facts: figures and tables from `shared/facts/*.toml`, each with where it comes from.
//!
//! A file holds `[source.KEY]` tables, single `[[fact]]`s and `[[table]]`s of rows. Every fact and every row names a
//! source of its own file. Calculators and scripts get figures from here and nowhere else, except the limits of the
//! safety gate, which are constants of that module.

use std::collections::BTreeMap;
use std::fmt;
use std::sync::OnceLock;

use include_dir::{Dir, include_dir};
use serde::{Deserialize, Serialize};

static FILES: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/shared/facts");

/// Where a figure comes from, and how it was obtained.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Source {
    /// The document: a standard, a law, a book, or `common practice`, `project choice`.
    pub document: String,
    /// Clause, table or page; empty where there is none.
    #[serde(default)]
    pub clause: String,
    /// Year of the edition; 0 where there is none.
    #[serde(default)]
    pub year: u16,
    /// How this project got the figure.
    pub obtained: Obtained,
}

/// How a figure was obtained.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Obtained {
    /// Read in the document itself.
    Seen,
    /// Read in another text that quotes the document.
    Quoted,
    /// Written down from memory.
    FromMemory,
    /// Computed from other facts.
    Computed,
    /// Trade habit with no published source.
    CommonPractice,
    /// Chosen by this project.
    ProjectChoice,
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.document)?;
        if self.year > 0 {
            write!(f, ":{}", self.year)?;
        }
        if !self.clause.is_empty() {
            write!(f, ", {}", self.clause)?;
        }
        match self.obtained {
            Obtained::Seen => Ok(()),
            Obtained::Quoted => f.write_str(" (as quoted)"),
            Obtained::FromMemory => f.write_str(" (from memory)"),
            Obtained::Computed => f.write_str(" (computed)"),
            Obtained::CommonPractice if self.document == "common practice" => f.write_str(", no source"),
            Obtained::CommonPractice => f.write_str(" (common practice, no source)"),
            Obtained::ProjectChoice if self.document == "project choice" => Ok(()),
            Obtained::ProjectChoice => f.write_str(" (project choice)"),
        }
    }
}

/// One figure.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Fact {
    /// Dotted name: `proof.dead_limit`.
    pub name: String,
    /// The figure, in `unit`.
    pub value: f64,
    /// Unit as shown; empty for a plain number.
    pub unit: String,
    /// Whether the value is the least or the most allowed, where it is a limit; empty otherwise.
    pub side: String,
    /// Where it comes from.
    pub source: Source,
    /// A remark; empty where there is none.
    pub note: String,
}

/// A cell of a table's row.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Cell {
    /// A figure.
    Number(f64),
    /// A word.
    Text(String),
}

/// One row of a table.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Row {
    cells: BTreeMap<String, Cell>,
    /// Where the row comes from.
    pub source: Source,
}

impl Row {
    /// The figure in a column.
    #[must_use]
    pub fn number(&self, column: &str) -> Option<f64> {
        match self.cells.get(column) {
            Some(Cell::Number(value)) => Some(*value),
            _ => None,
        }
    }

    /// The word in a column.
    #[must_use]
    pub fn text(&self, column: &str) -> Option<&str> {
        match self.cells.get(column) {
            Some(Cell::Text(text)) => Some(text),
            _ => None,
        }
    }
}

/// A table of figures.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Table {
    /// Dotted name: `cable.rating`.
    pub name: String,
    /// What the table says, in one sentence.
    pub says: String,
    /// Its rows, in file order.
    pub rows: Vec<Row>,
}

impl Table {
    /// The row whose `column` holds this number (within a millionth).
    #[must_use]
    pub fn row_where(&self, column: &str, value: f64) -> Option<&Row> {
        self.rows.iter().find(|row| row.number(column).is_some_and(|found| (found - value).abs() <= 1e-6))
    }

    /// The row whose `column` holds this word.
    #[must_use]
    pub fn row_named(&self, column: &str, text: &str) -> Option<&Row> {
        self.rows.iter().find(|row| row.text(column) == Some(text))
    }
}

/// Facts that could not be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FactsError {
    /// A file is not in the form of a facts file.
    #[error("{file}: {message}")]
    Unreadable {
        /// The file.
        file: String,
        /// What is wrong, with line and column where known.
        message: String,
    },
    /// A fact or row names a source that its file does not hold.
    #[error("{file}: `{name}` names the source `{source_key}`, which this file does not hold")]
    NoSource {
        /// The file.
        file: String,
        /// The fact or table.
        name: String,
        /// The missing key.
        source_key: String,
    },
    /// Two facts or tables have one name.
    #[error("{file}: `{name}` is given twice")]
    Twice {
        /// The file of the second.
        file: String,
        /// The name.
        name: String,
    },
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    source: BTreeMap<String, Source>,
    #[serde(default)]
    fact: Vec<FactEntry>,
    #[serde(default)]
    table: Vec<TableEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FactEntry {
    name: String,
    value: f64,
    #[serde(default)]
    unit: String,
    #[serde(default)]
    side: String,
    source: String,
    #[serde(default)]
    note: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TableEntry {
    name: String,
    says: String,
    row: Vec<BTreeMap<String, Cell>>,
}

/// All facts of a bundle.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Facts {
    facts: BTreeMap<String, Fact>,
    tables: BTreeMap<String, Table>,
}

impl Facts {
    /// Reads facts from files given as name and text.
    ///
    /// # Errors
    /// [`FactsError`] names the file and what is wrong in it.
    pub fn from_files<'a>(files: impl IntoIterator<Item = (&'a str, &'a str)>) -> Result<Self, FactsError> {
        let mut facts = Self::default();
        for (name, text) in files {
            let file: File = toml::from_str(text).map_err(|error| FactsError::Unreadable {
                file: name.to_owned(),
                message: error.to_string().trim_end().to_owned(),
            })?;
            facts.take(name, file)?;
        }
        Ok(facts)
    }

    fn take(&mut self, file_name: &str, file: File) -> Result<(), FactsError> {
        let File { source, fact, table } = file;
        let sourced = |name: &str, key: &str| {
            source.get(key).cloned().ok_or_else(|| FactsError::NoSource {
                file: file_name.to_owned(),
                name: name.to_owned(),
                source_key: key.to_owned(),
            })
        };
        let twice = |name: &str| FactsError::Twice { file: file_name.to_owned(), name: name.to_owned() };
        for entry in fact {
            let FactEntry { name, value, unit, side, source, note } = entry;
            let source = sourced(&name, &source)?;
            let fact = Fact { name: name.clone(), value, unit, side, source, note };
            if self.facts.insert(name.clone(), fact).is_some() {
                return Err(twice(&name));
            }
        }
        for entry in table {
            let mut rows = Vec::new();
            for mut cells in entry.row {
                let key = match cells.remove("source") {
                    Some(Cell::Text(key)) => key,
                    _ => String::from("(none)"),
                };
                rows.push(Row { source: sourced(&entry.name, &key)?, cells });
            }
            let table = Table { name: entry.name.clone(), says: entry.says, rows };
            if self.tables.insert(entry.name.clone(), table).is_some() {
                return Err(twice(&entry.name));
            }
        }
        Ok(())
    }

    /// The facts that come with the program.
    ///
    /// # Panics
    /// Only if the program was built with broken facts, which its own tests refuse.
    #[must_use]
    pub fn embedded() -> &'static Self {
        static FACTS: OnceLock<Facts> = OnceLock::new();
        FACTS.get_or_init(|| {
            let files = embedded_files();
            Self::from_files(files.iter().map(|(name, text)| (*name, *text))).expect("the facts built in are sound")
        })
    }

    /// A fact by its name.
    #[must_use]
    pub fn get(&self, name: &str) -> Option<&Fact> {
        self.facts.get(name)
    }

    /// The value of a fact that the program itself relies on.
    ///
    /// # Panics
    /// If there is no such fact: a fault of the program, found by its tests.
    #[must_use]
    pub fn value(&self, name: &str) -> f64 {
        self.get(name).unwrap_or_else(|| panic!("no fact is named `{name}`")).value
    }

    /// A table that the program itself relies on.
    ///
    /// # Panics
    /// If there is no such table: a fault of the program, found by its tests.
    #[must_use]
    pub fn table(&self, name: &str) -> &Table {
        self.tables.get(name).unwrap_or_else(|| panic!("no table of facts is named `{name}`"))
    }

    /// All single facts, by name.
    pub fn all(&self) -> impl Iterator<Item = &Fact> {
        self.facts.values()
    }

    /// All tables, by name.
    pub fn tables(&self) -> impl Iterator<Item = &Table> {
        self.tables.values()
    }
}

/// The files of facts that come with the program: name and text, sorted by name.
#[must_use]
pub fn embedded_files() -> Vec<(&'static str, &'static str)> {
    let mut files: Vec<_> = FILES
        .files()
        .filter_map(|file| Some((file.path().file_name()?.to_str()?, file.contents_utf8()?)))
        .filter(|(name, _)| name.ends_with(".toml"))
        .collect();
    files.sort_unstable();
    files
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    const FILE: &str = r#"
        [source.own]
        document = "project choice"
        obtained = "project-choice"
        [[fact]]
        name = "mark.square"
        value = 15
        unit = "mm"
        source = "own"
        [[table]]
        name = "t"
        says = "A table."
        [[table.row]]
        size = 1.5
        word = "solid"
        source = "own"
    "#;

    #[test]
    fn facts_and_rows_carry_their_source() {
        let facts = Facts::from_files([("a.toml", FILE)]).unwrap();
        assert_eq!(facts.value("mark.square"), 15.0);
        let row = facts.table("t").row_where("size", 1.5).unwrap();
        assert_eq!(row.text("word"), Some("solid"));
        assert_eq!(row.source.to_string(), "project choice");
    }

    #[test]
    fn a_fact_without_a_source_is_refused() {
        let text = FILE.replace("source = \"own\"", "source = \"other\"");
        assert!(matches!(Facts::from_files([("a.toml", text.as_str())]), Err(FactsError::NoSource { .. })));
        assert!(matches!(Facts::from_files([("a.toml", FILE), ("b.toml", FILE)]), Err(FactsError::Twice { .. })));
    }

    #[test]
    fn the_facts_built_in_are_sound() {
        let facts = Facts::embedded();
        assert!(facts.all().all(|fact| !fact.source.document.is_empty()));
    }
}
