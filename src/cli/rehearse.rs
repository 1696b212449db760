//! `lampwright rehearse`: a procedure's rehearsals against their golden transcripts.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::{Exit, Failure, ready};
use crate::engine::Engine;
use crate::engine::bundle::{self, Bundle};
use crate::engine::rehearsal::Rehearsal;
use crate::engine::rehearse as engine_rehearse;
use crate::terminal::prompter::put;
use crate::terminal::transcript::Transcript;

/// Columns of a golden transcript.
pub const GOLDEN_WIDTH: usize = 80;

/// The golden text of a rehearsal: its transcript at 80 columns, then each key and reply.
///
/// # Errors
/// Why the rehearsal did not go as written.
pub fn golden(engine: &Engine, rehearsal: &Rehearsal) -> Result<String, engine_rehearse::Failed> {
    let mut text = String::new();
    let procedure = engine.bundle.procedure.clone();
    let outcome = {
        let mut transcript =
            Transcript::new(&procedure, GOLDEN_WIDTH, false, "REHEARSAL", |shown| text.push_str(shown), |_| Ok(()));
        engine_rehearse::rehearse(engine, rehearsal, &mut transcript)?
    };
    text.push_str("\nreplies\n");
    for (key, reply) in &outcome.replies {
        text.push_str(&format!("{key} = {reply}\n"));
    }
    Ok(text)
}

/// Runs the rehearsals; with `update`, writes the transcripts beside the procedure.
pub fn rehearse(name: &str, update: bool) -> Result<Exit, Failure> {
    let bundle = Bundle::open(name)?;
    let folder = folder_of(name);
    let (rehearsals, goldens) = match &folder {
        Some(folder) => (files_in(folder, ".toml"), files_in(folder, ".txt")),
        None => (bundle::embedded_rehearsals(name), bundle::embedded_rehearsals(name)),
    };
    let engine = ready(bundle)?;
    let mut wrong = 0;
    for (file, text) in rehearsals.iter().filter(|(file, _)| file.ends_with(".toml")) {
        let read = Rehearsal::read(text).map_err(|error| Failure::new(Exit::Usage, format!("{file}: {error}")))?;
        let transcript = format!("{}.txt", file.trim_end_matches(".toml"));
        let verdict = match (golden(&engine, &read), update, &folder) {
            (Err(failed), ..) => format!("failed: {failed}"),
            (Ok(text), true, Some(folder)) => {
                let path = folder.join(&transcript);
                std::fs::write(&path, text).map_err(|error| Failure::io(&path.display().to_string(), &error))?;
                String::from("written")
            }
            (Ok(_), true, None) => {
                return Err(Failure::new(
                    Exit::Usage,
                    "transcripts are updated beside a procedure's folder; give its path",
                ));
            }
            (Ok(text), false, _) if goldens.get(&transcript) == Some(&text) => String::from("as golden"),
            (Ok(_), false, _) => String::from("differs from its golden transcript; look, then use --update"),
        };
        if verdict.starts_with("failed") || verdict.starts_with("differs") {
            wrong += 1;
        }
        put(&format!("{file}: {verdict}\n"));
    }
    Ok(if wrong == 0 { Exit::Good } else { Exit::Findings })
}

fn folder_of(name: &str) -> Option<PathBuf> {
    [Path::new(name).join("rehearsals"), Path::new("procedures").join(name).join("rehearsals")]
        .into_iter()
        .find(|folder| folder.is_dir())
}

fn files_in(folder: &Path, ending: &str) -> BTreeMap<String, String> {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    entries
        .filter_map(|entry| {
            let name = entry.file_name().to_string_lossy().into_owned();
            name.ends_with(ending).then(|| Some((name.clone(), std::fs::read_to_string(entry.path()).ok()?)))?
        })
        .collect()
}
