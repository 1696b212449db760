//! The bundle: a procedure's scripts, the modules they import, and the facts, read and hashed together.
//!
//! A job keeps the bundle it was begun with, so that what was answered always meets the questions it answered. Names
//! within a bundle are plain: `mark.rhai` is a stage, `lib/isolation` a shared module. A folder given in place of a
//! procedure's name brings its own scripts and `procedure.toml`; modules and facts stay those of the program.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use include_dir::{Dir, include_dir};
use serde::Deserialize;
use sha2::{Digest as _, Sha256};

use super::interaction::hex;
use crate::facts::{self, Facts};

static PROCEDURES: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/procedures");
static MODULES: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/shared/modules");

/// The longest script that is read, in bytes.
pub const LONGEST_SCRIPT: usize = 64 * 1024;

/// A procedure's `procedure.toml`.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Procedure {
    /// What the job is, in one line.
    pub title: String,
    /// Revision of the procedure, counted from 1.
    pub revision: u32,
    /// The stages in order.
    pub stage: Vec<Stage>,
}

/// One stage of a procedure.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stage {
    /// Its script.
    pub file: String,
    /// Its heading.
    pub title: String,
    /// Where it is done.
    pub place: String,
    /// What stops the work in it.
    pub stop_if: Vec<String>,
    /// Minutes for which its hands are on conductors; a proof has to outlast them. 0 where no core is handled.
    #[serde(default)]
    pub minutes: f64,
    /// Facts it may read; all if absent.
    pub takes: Option<Vec<String>>,
    /// Facts it may leave; all if absent.
    pub gives: Option<Vec<String>>,
}

/// What can be wrong with a bundle before any script runs.
#[derive(Debug, thiserror::Error)]
pub enum BundleError {
    /// No such procedure, and no such folder.
    #[error("there is no procedure and no folder called `{name}`")]
    Unknown {
        /// What was asked for.
        name: String,
    },
    /// A file could not be read.
    #[error("{}: {source}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// A file that does not belong in a procedure.
    #[error("{}: {message}", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        message: String,
    },
    /// `procedure.toml` is not as it should be.
    #[error("procedure.toml: {message}")]
    Procedure {
        /// What is wrong, with its place.
        message: String,
    },
    /// The facts are not as they should be.
    #[error("facts: {0}")]
    Facts(#[from] facts::FactsError),
}

/// A procedure with all that it stands on.
#[derive(Debug, Clone)]
pub struct Bundle {
    /// Name of the procedure.
    pub name: String,
    /// `procedure.toml`, read.
    pub procedure: Procedure,
    /// Files of the procedure: name to text (`procedure.toml`, stages).
    pub scripts: BTreeMap<String, String>,
    /// Shared modules: `lib/isolation` to text.
    pub modules: BTreeMap<String, String>,
    /// Facts files: name to text.
    pub fact_files: BTreeMap<String, String>,
    /// Facts, read.
    pub facts: Facts,
    /// Digest of the scripts.
    pub scripts_digest: String,
    /// Digest of the modules.
    pub modules_digest: String,
    /// Digest of the facts.
    pub facts_digest: String,
}

impl Bundle {
    /// The names and titles of the procedures that come with the program.
    #[must_use]
    pub fn shipped() -> Vec<(String, String)> {
        PROCEDURES
            .dirs()
            .filter_map(|dir| {
                let name = dir.path().to_str()?.to_owned();
                let text = dir.get_file(dir.path().join("procedure.toml"))?.contents_utf8()?;
                let procedure: Procedure = toml::from_str(text).ok()?;
                Some((name, procedure.title))
            })
            .collect()
    }

    /// A procedure by its name, or from a folder.
    ///
    /// # Errors
    /// [`BundleError`].
    pub fn open(name: &str) -> Result<Self, BundleError> {
        if let Some(dir) = PROCEDURES.get_dir(name) {
            return Self::from_files(name, embedded_scripts(dir), embedded_modules(), embedded_facts());
        }
        let folder = Path::new(name);
        if folder.is_dir() {
            return Self::from_folder(folder);
        }
        Err(BundleError::Unknown { name: name.to_owned() })
    }

    /// A procedure from a folder, on the program's own modules and facts.
    ///
    /// # Errors
    /// [`BundleError`] for a link, a file that is too long, or anything unreadable.
    pub fn from_folder(folder: &Path) -> Result<Self, BundleError> {
        let name = folder
            .canonicalize()
            .ok()
            .and_then(|path| path.file_name().map(|name| name.to_string_lossy().into_owned()))
            .unwrap_or_else(|| String::from("procedure"));
        Self::from_files(&name, folder_files(folder)?, embedded_modules(), embedded_facts())
    }

    /// A bundle kept in a job folder by [`Bundle::keep_in`].
    ///
    /// # Errors
    /// [`BundleError`].
    pub fn kept_in(job: &Path, name: &str) -> Result<Self, BundleError> {
        let kept = job.join("bundle");
        let modules = folder_files(&kept.join("lib"))?
            .into_iter()
            .map(|(name, text)| (format!("lib/{}", name.trim_end_matches(".rhai")), text))
            .collect();
        Self::from_files(name, folder_files(&kept.join("procedure"))?, modules, folder_files(&kept.join("facts"))?)
    }

    /// Writes the bundle into a job folder.
    ///
    /// # Errors
    /// [`BundleError::Io`] names the file that could not be written.
    pub fn keep_in(&self, job: &Path) -> Result<(), BundleError> {
        let kept = job.join("bundle");
        let groups = [("procedure", &self.scripts), ("lib", &self.modules), ("facts", &self.fact_files)];
        for (group, files) in groups {
            let folder = kept.join(group);
            let write = |path: PathBuf, text: &str| {
                std::fs::write(&path, text).map_err(|source| BundleError::Io { path, source })
            };
            std::fs::create_dir_all(&folder).map_err(|source| BundleError::Io { path: folder.clone(), source })?;
            for (name, text) in files {
                let name = name.strip_prefix("lib/").map_or(name.clone(), |name| format!("{name}.rhai"));
                write(folder.join(name), text)?;
            }
        }
        Ok(())
    }

    /// A bundle from the texts of its files.
    ///
    /// # Errors
    /// [`BundleError`].
    pub fn from_files(
        name: &str,
        scripts: BTreeMap<String, String>,
        modules: BTreeMap<String, String>,
        fact_files: BTreeMap<String, String>,
    ) -> Result<Self, BundleError> {
        for (file, text) in scripts.iter().chain(&modules) {
            if text.len() > LONGEST_SCRIPT {
                let message = format!("is longer than {} kB; divide it into stages", LONGEST_SCRIPT / 1024);
                return Err(BundleError::File { path: file.into(), message });
            }
        }
        let text = scripts.get("procedure.toml").ok_or_else(|| BundleError::Procedure {
            message: String::from("there is none; a procedure's folder needs one (see DEVELOPERS.md)"),
        })?;
        let procedure: Procedure = toml::from_str(text)
            .map_err(|error| BundleError::Procedure { message: error.to_string().trim_end().to_owned() })?;
        check_stages(&procedure, &scripts)?;
        let facts = Facts::from_files(fact_files.iter().map(|(name, text)| (name.as_str(), text.as_str())))?;
        Ok(Self {
            name: name.to_owned(),
            procedure,
            scripts_digest: digest_of(&scripts),
            modules_digest: digest_of(&modules),
            facts_digest: digest_of(&fact_files),
            scripts,
            modules,
            fact_files,
            facts,
        })
    }

    /// The text of a script or module by its name within the bundle.
    #[must_use]
    pub fn text_of(&self, file: &str) -> Option<&str> {
        self.scripts.get(file).or_else(|| self.modules.get(file)).map(String::as_str)
    }

    /// The same scripts, modules and facts, to the byte.
    #[must_use]
    pub fn is_same(&self, other: &Self) -> bool {
        self.scripts_digest == other.scripts_digest
            && self.modules_digest == other.modules_digest
            && self.facts_digest == other.facts_digest
    }
}

fn check_stages(procedure: &Procedure, scripts: &BTreeMap<String, String>) -> Result<(), BundleError> {
    let wrong = |message: String| Err(BundleError::Procedure { message });
    if procedure.stage.is_empty() {
        return wrong(String::from("`stage`: a procedure needs at least one stage"));
    }
    for (index, stage) in procedure.stage.iter().enumerate() {
        if !scripts.contains_key(&stage.file) {
            return wrong(format!("`stage[{index}].file`: there is no `{}` beside it", stage.file));
        }
        if stage.stop_if.is_empty() {
            return wrong(format!("`stage[{index}].stop_if`: say at least one thing that stops the work"));
        }
    }
    Ok(())
}

fn digest_of(files: &BTreeMap<String, String>) -> String {
    let mut hasher = Sha256::new();
    for (name, text) in files {
        // Lengths keep one file's end from passing for the next one's beginning.
        hasher.update((name.len() as u64).to_le_bytes());
        hasher.update(name);
        hasher.update((text.len() as u64).to_le_bytes());
        hasher.update(text);
    }
    hex(&hasher.finalize())
}

fn embedded_scripts(dir: &Dir<'_>) -> BTreeMap<String, String> {
    dir.files()
        .filter_map(|file| {
            let name = file.path().file_name()?.to_str()?;
            Some((name.to_owned(), file.contents_utf8()?.to_owned()))
        })
        .collect()
}

/// The shared modules that come with the program: `lib/isolation` to text.
#[must_use]
pub fn embedded_modules() -> BTreeMap<String, String> {
    MODULES
        .files()
        .filter_map(|file| {
            let name = file.path().to_str()?.strip_suffix(".rhai")?;
            Some((format!("lib/{name}"), file.contents_utf8()?.to_owned()))
        })
        .collect()
}

/// The facts files that come with the program.
#[must_use]
pub fn embedded_facts() -> BTreeMap<String, String> {
    facts::embedded_files().into_iter().map(|(name, text)| (name.to_owned(), text.to_owned())).collect()
}

/// The rehearsals that come with a procedure: file name to text.
#[must_use]
pub fn embedded_rehearsals(name: &str) -> BTreeMap<String, String> {
    PROCEDURES.get_dir(format!("{name}/rehearsals")).map(embedded_scripts).unwrap_or_default()
}

fn folder_files(folder: &Path) -> Result<BTreeMap<String, String>, BundleError> {
    let io = |source| BundleError::Io { path: folder.to_owned(), source };
    let mut files = BTreeMap::new();
    for entry in std::fs::read_dir(folder).map_err(io)? {
        let entry = entry.map_err(io)?;
        let (path, kind) = (entry.path(), entry.file_type().map_err(io)?);
        if kind.is_symlink() {
            return Err(BundleError::File {
                path,
                message: String::from("is a link; a bundle holds plain files only"),
            });
        }
        let name = entry.file_name().to_string_lossy().into_owned();
        if !kind.is_file() || !(name.ends_with(".rhai") || name.ends_with(".toml")) {
            continue;
        }
        let text = std::fs::read_to_string(&path).map_err(|source| BundleError::Io { path, source })?;
        files.insert(name, text);
    }
    Ok(files)
}
