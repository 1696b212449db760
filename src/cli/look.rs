//! `lampwright look`: where a job stands. Reads only, and is never blocked by a writer.

use std::path::{Path, PathBuf};

use super::{Exit, Failure, ready};
use crate::engine::bundle::Bundle;
use crate::ledger;
use crate::moment::Moment;
use crate::pack;
use crate::terminal::prompter::{self, put};

/// Shows a job, or the jobs below this folder.
pub fn look(job: Option<PathBuf>) -> Result<Exit, Failure> {
    let job = job.unwrap_or_else(|| PathBuf::from("."));
    if job.join(ledger::LEDGER_FILE).exists() {
        return one(&job);
    }
    let entries = std::fs::read_dir(&job).map_err(|error| Failure::io(&job.display().to_string(), &error))?;
    let mut found: Vec<PathBuf> =
        entries.flatten().map(|entry| entry.path()).filter(|path| path.join(ledger::LEDGER_FILE).exists()).collect();
    found.sort();
    if found.is_empty() {
        put(&format!("There is no job in {} or right below it.\n", job.display()));
    }
    for path in found {
        match line_of(&path) {
            Ok(line) => put(&format!("{}  {line}\n", path.display())),
            Err(failure) => put(&format!("{}  {}\n", path.display(), failure.message.replace('\n', " "))),
        }
    }
    Ok(Exit::Good)
}

fn read(job: &Path) -> Result<ledger::Reading, Failure> {
    let path = job.join(ledger::LEDGER_FILE);
    let bytes = std::fs::read(&path).map_err(|error| Failure::io(&path.display().to_string(), &error))?;
    Ok(ledger::read(&bytes)?)
}

fn line_of(job: &Path) -> Result<String, Failure> {
    let reading = read(job)?;
    let engine = ready(Bundle::kept_in(job, &reading.header.procedure)?)?;
    let last = reading.records.last().map_or(Moment::START, |record| record.at);
    let turn = engine.advance(&reading.records, last);
    let title = &engine.bundle.procedure.title;
    let stage = engine.bundle.procedure.stage.get(turn.stage).map_or("", |stage| stage.title.as_str());
    Ok(format!("{title}: {stage}, {}, last record {} {}", pack::state_words(&turn), last.date(), last.clock()))
}

fn one(job: &Path) -> Result<Exit, Failure> {
    let reading = read(job)?;
    let engine = ready(Bundle::kept_in(job, &reading.header.procedure)?)?;
    let now = Moment::from(jiff::Zoned::now().datetime());
    let width = prompter::for_this_process(true).width();
    put(&pack::text(&engine, &reading.records, now, reading.header.run, width));
    if let Some(torn) = &reading.torn {
        put(&format!("The last record is torn from line {}; it was never acknowledged.\n", torn.line));
    }
    if let Some(damage) = &reading.damage {
        put(&format!("Damaged: {damage}. Everything before it is shown above.\n"));
        return Ok(Exit::Damaged);
    }
    Ok(Exit::Good)
}
