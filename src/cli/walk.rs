//! `lampwright walk`: a real job at a terminal, or a rehearsal by itself.

use std::path::{Path, PathBuf};

use super::{Exit, Failure, ready};
use crate::drawing::page::{Page, Tone};
use crate::engine::bundle::{self, Bundle};
use crate::engine::rehearsal::Rehearsal;
use crate::engine::rehearse::{self, begun};
use crate::engine::turn::Ending;
use crate::engine::{Engine, fold};
use crate::ledger::{FileStorage, Header, Kind, Ledger, Lock, RunKind};
use crate::moment::Moment;
use crate::pack;
use crate::terminal::prompter::{self, Prompter, put};
use crate::terminal::session::{Rest, Session};
use crate::terminal::transcript::Transcript;

/// What is wanted of a walk.
pub struct Wanted {
    /// Procedure or folder.
    pub procedure: Option<String>,
    /// Job folder.
    pub job: Option<PathBuf>,
    /// No colour, no cursor movement.
    pub plain: bool,
    /// The sample.
    pub sample: bool,
    /// A rehearsal file.
    pub rehearse: Option<PathBuf>,
    /// Take the present scripts.
    pub take_revision: bool,
}

/// The folder of the sample job.
const SAMPLE_JOB: &str = "sample-job";

/// Walks.
pub fn walk(wanted: &Wanted) -> Result<Exit, Failure> {
    if wanted.sample {
        let name = wanted.procedure.as_deref().unwrap_or("downlights");
        let bundle = Bundle::open(name)?;
        let text = bundle::embedded_rehearsals(name).remove("sample.toml");
        let text = text.or_else(|| std::fs::read_to_string(Path::new(name).join("rehearsals/sample.toml")).ok());
        let text = text.ok_or_else(|| Failure::new(Exit::Usage, format!("`{name}` has no rehearsals/sample.toml")))?;
        let job = wanted.job.clone().unwrap_or_else(|| PathBuf::from(SAMPLE_JOB));
        clear_rehearsal(&job)?;
        return by_itself(bundle, "sample.toml", &text, Some(&job));
    }
    if let Some(file) = &wanted.rehearse {
        let text = std::fs::read_to_string(file).map_err(|error| Failure::io(&file.display().to_string(), &error))?;
        let rehearsal = read_rehearsal(&file.display().to_string(), &text)?;
        let name = wanted.procedure.clone().unwrap_or(rehearsal.procedure);
        return by_itself(Bundle::open(&name)?, &file.display().to_string(), &text, wanted.job.as_deref());
    }
    at_a_terminal(wanted)
}

fn read_rehearsal(file: &str, text: &str) -> Result<Rehearsal, Failure> {
    Rehearsal::read(text).map_err(|error| Failure::new(Exit::Usage, format!("{file}: {error}")))
}

/// Removes a job folder that holds a rehearsal; anything else stays untouched.
fn clear_rehearsal(job: &Path) -> Result<(), Failure> {
    if !job.exists() {
        return Ok(());
    }
    let mine = std::fs::read(job.join(crate::ledger::LEDGER_FILE))
        .ok()
        .and_then(|bytes| crate::ledger::read(&bytes).ok())
        .is_some_and(|reading| reading.header.run == RunKind::Rehearsal);
    if !mine {
        let message = format!("{} exists and is no rehearsal; move it away, or name another with --job", job.display());
        return Err(Failure::new(Exit::Usage, message));
    }
    std::fs::remove_dir_all(job).map_err(|error| Failure::io(&job.display().to_string(), &error))
}

fn header(run: RunKind, bundle: &Bundle) -> Header {
    Header {
        run,
        procedure: bundle.name.clone(),
        scripts: bundle.scripts_digest.clone(),
        modules: bundle.modules_digest.clone(),
        facts: bundle.facts_digest.clone(),
    }
}

/// Walks a rehearsal without a prompt. A place where the reader stops listening ends nothing.
fn by_itself(bundle: Bundle, file: &str, text: &str, job: Option<&Path>) -> Result<Exit, Failure> {
    let rehearsal = read_rehearsal(file, text)?;
    let engine = ready(bundle)?;
    let mut ledger = match job {
        Some(job) => Some(create(job, header(RunKind::Rehearsal, &engine.bundle), &engine.bundle)?),
        None => None,
    };
    let lock_free = |record: &crate::ledger::Record| match &mut ledger {
        Some((_, ledger)) => ledger.append(record.clone()).map_err(|error| error.to_string()),
        None => Ok(()),
    };
    let procedure = engine.bundle.procedure.clone();
    let prompter = prompter::for_this_process(false);
    let (width, colour) = (prompter.width().min(80), prompter.colour());
    let mut transcript = Transcript::new(&procedure, width, colour, "REHEARSAL", put, lock_free);
    let outcome = rehearse::rehearse(&engine, &rehearsal, &mut transcript);
    drop(transcript);
    let outcome = outcome.map_err(|failed| Failure::new(Exit::Usage, format!("{file}: {failed}")))?;
    if let Some(job) = job {
        let written = pack::write_text(job, &engine, &outcome.records, outcome.turn.now, RunKind::Rehearsal);
        written.map_err(|error| Failure::io(&job.display().to_string(), &error))?;
        put(&format!("\nWritten: {}/ (ledger.toml, job.txt)\n", job.display()));
    }
    Ok(Exit::Good)
}

/// Makes a job folder with its ledger and its bundle, and takes the lock.
fn create(job: &Path, header: Header, bundle: &Bundle) -> Result<(Lock, Ledger), Failure> {
    std::fs::create_dir_all(job).map_err(|error| Failure::io(&job.display().to_string(), &error))?;
    let lock = Lock::take(job, &holder())?;
    bundle.keep_in(job)?;
    let ledger = Ledger::create(Box::new(FileStorage::new(job)), header)?;
    Ok((lock, ledger))
}

fn holder() -> String {
    format!("process {}", std::process::id())
}

/// The clock of this run: local time, with the offset it had when the program started.
fn clock() -> impl Fn() -> Moment {
    let offset = jiff::Zoned::now().offset();
    move || Moment::from(offset.to_datetime(jiff::Timestamp::now()))
}

fn at_a_terminal(wanted: &Wanted) -> Result<Exit, Failure> {
    prompter::watch_signals();
    let mut prompter = prompter::for_this_process(wanted.plain);
    let clock = clock();
    let given = wanted.job.clone().or_else(|| {
        // `walk my-job` goes on with a job when the name is a job folder and no procedure.
        let name = wanted.procedure.as_ref().map(PathBuf::from)?;
        name.join(crate::ledger::LEDGER_FILE).exists().then_some(name)
    });
    match given {
        Some(job) if job.join(crate::ledger::LEDGER_FILE).exists() => go_on(&job, wanted, prompter.as_mut(), &clock),
        given => begin(given, wanted, prompter.as_mut(), &clock),
    }
}

fn begin(
    given: Option<PathBuf>,
    wanted: &Wanted,
    prompter: &mut dyn Prompter,
    clock: &dyn Fn() -> Moment,
) -> Result<Exit, Failure> {
    let Some(name) = &wanted.procedure else {
        return Err(Failure::new(
            Exit::Usage,
            "name a procedure: lampwright walk downlights (lampwright list shows them)",
        ));
    };
    let engine = ready(Bundle::open(name)?)?;
    let job = given.unwrap_or_else(|| PathBuf::from(format!("{}-{}", engine.bundle.name, clock().date())));
    if job.join(crate::ledger::LEDGER_FILE).exists() {
        let message = format!("{} holds a job already; go on with: lampwright walk --job {0}", job.display());
        return Err(Failure::new(Exit::Usage, message));
    }
    let mut page = Page::new(prompter.width(), prompter.colour());
    page.paragraph(Tone::Strong, &engine.bundle.procedure.title);
    page.gap();
    limits(&mut page);
    prompter.show(&page.finish());
    let Ok(person) = prompter.line("Who does the work? Your name") else { return Ok(Exit::Interrupted) };
    let person = crate::quantity::shown_inert(person.trim());
    if person.is_empty() {
        return Err(Failure::new(Exit::Usage, "a job needs the name of who does the work; nothing was written"));
    }
    let (_lock, mut ledger) = create(&job, header(RunKind::Job, &engine.bundle), &engine.bundle)?;
    ledger.append(begun(&engine, &person, clock()))?;
    prompter.show(&format!("The job is kept in {}.\n", job.display()));
    walk_on(&engine, ledger, prompter, clock, &job, person)
}

/// What the tool is not, at the first start.
fn limits(page: &mut Page) {
    for line in pack::LIMITS {
        page.hanging(Tone::Plain, "• ", line);
    }
    page.gap();
}

fn go_on(
    job: &Path,
    wanted: &Wanted,
    prompter: &mut dyn Prompter,
    clock: &dyn Fn() -> Moment,
) -> Result<Exit, Failure> {
    let _lock = Lock::take(job, &holder())?;
    let mut ledger = Ledger::open(Box::new(FileStorage::new(job)))?;
    if ledger.header().run != RunKind::Job {
        let message = format!("{} is a {}, not a job; it cannot be gone on with", job.display(), ledger.header().run);
        return Err(Failure::new(Exit::Usage, message));
    }
    let name = ledger.header().procedure.clone();
    let mut engine = ready(Bundle::kept_in(job, &name)?)?;
    let begun_with = [&ledger.header().scripts, &ledger.header().modules, &ledger.header().facts];
    let kept = [&engine.bundle.scripts_digest, &engine.bundle.modules_digest, &engine.bundle.facts_digest];
    if begun_with != kept && !was_revised(&ledger, &engine.bundle) {
        let message = "the bundle kept in the job folder is not the one the job was begun with; restore it, or take the \
                       program's own with --take-revision";
        if !wanted.take_revision {
            return Err(Failure::new(Exit::Script, message));
        }
    }
    if let Some(torn) = ledger.torn() {
        let kept = torn.kept_as.clone().unwrap_or_default();
        prompter.show(&format!("The last record was torn and never acknowledged; it is kept as {kept}.\n"));
    }
    let person = ledger.records().last().map(|record| record.person.clone()).unwrap_or_default();
    let now = clock();
    let last = ledger.records().iter().rev().find(|record| record.kind != Kind::Resumed).cloned();
    let mut revised = false;
    if wanted.take_revision {
        let wish = wanted.procedure.as_deref().filter(|name| !Path::new(name).join("ledger.toml").exists());
        engine = revise(job, &ledger, engine, wish.unwrap_or(&name), prompter, now)?;
        revised = true;
    }
    let mut record = begun(&engine, &person, now);
    record.kind = Kind::Resumed;
    if revised {
        let digests =
            serde_json::json!([engine.bundle.scripts_digest, engine.bundle.modules_digest, engine.bundle.facts_digest]);
        record.body.insert(String::from("bundle"), digests);
    }
    ledger.append(record)?;
    let mut session = new_session(&engine, ledger, prompter, clock, job, person);
    if let Some(last) = last {
        session.resume_screen(&last, now);
    }
    rest_of(session.walk(), session.ledger.records().to_vec(), &engine, job, clock)
}

/// Whether the bundle kept beside the ledger is the one that the job took over last.
fn was_revised(ledger: &Ledger, bundle: &Bundle) -> bool {
    let digests = serde_json::json!([bundle.scripts_digest, bundle.modules_digest, bundle.facts_digest]);
    let taken = ledger.records().iter().rev().find_map(|record| record.body.get("bundle"));
    taken == Some(&digests)
}

/// Shows what a newer bundle would ask again, and takes it if the person agrees.
fn revise(
    job: &Path,
    ledger: &Ledger,
    engine: Engine,
    name: &str,
    prompter: &mut dyn Prompter,
    now: Moment,
) -> Result<Engine, Failure> {
    let newer = ready(Bundle::open(name)?)?;
    if newer.bundle.is_same(&engine.bundle) {
        prompter.show("The job already goes by the program's present scripts.\n");
        return Ok(engine);
    }
    let before = engine.advance(ledger.records(), now);
    let folded = fold::fold(ledger.records());
    let replay = newer.replay(ledger.records(), &folded, now, Some(Box::new(crate::engine::assume::AsBefore)));
    let assumed = |key: &str| {
        let passed = replay.trail.iter().find(|passed| passed.interaction.key == key);
        passed.is_none_or(|passed| crate::engine::assume::is_assumed(&passed.answer))
    };
    let moved: Vec<_> =
        before.trail.iter().map(|passed| passed.interaction.key.as_str()).filter(|key| assumed(key)).collect();
    let mut page = Page::new(prompter.width(), prompter.colour());
    page.hanging(Tone::Plain, "asked again, reviewed or set aside: ", &moved.join(", "));
    prompter.show(&page.finish());
    match prompter.line("Take the newer scripts? y or n").as_deref() {
        Ok("y" | "Y" | "yes") => {
            newer.bundle.keep_in(job)?;
            Ok(newer)
        }
        _ => Ok(engine),
    }
}

fn new_session<'a>(
    engine: &'a Engine,
    ledger: Ledger,
    prompter: &'a mut dyn Prompter,
    clock: &'a dyn Fn() -> Moment,
    job: &Path,
    person: String,
) -> Session<'a> {
    Session { engine, ledger, prompter, clock, folder: job.to_owned(), person, ahead: None }
}

fn walk_on(
    engine: &Engine,
    ledger: Ledger,
    prompter: &mut dyn Prompter,
    clock: &dyn Fn() -> Moment,
    job: &Path,
    person: String,
) -> Result<Exit, Failure> {
    let mut session = new_session(engine, ledger, prompter, clock, job, person);
    let rest = session.walk();
    let records = session.ledger.records().to_vec();
    rest_of(rest, records, engine, job, clock)
}

/// Says how to go on, writes the job's text, and gives the exit code.
fn rest_of(
    rest: Rest,
    records: Vec<crate::ledger::Record>,
    engine: &Engine,
    job: &Path,
    clock: &dyn Fn() -> Moment,
) -> Result<Exit, Failure> {
    let how = format!("Everything is saved. Go on with: lampwright walk --job {}\n", job.display());
    let exit = match rest {
        Rest::Ended(Ending::Stopped(_)) => Exit::Stopped,
        Rest::Ended(_) => Exit::Good,
        Rest::Saved => {
            put(&how);
            Exit::Good
        }
        Rest::Interrupted => {
            put(&format!("\n{how}"));
            Exit::Interrupted
        }
        Rest::Broken(shown) => return Err(Failure::new(Exit::Script, format!("{shown}\n{how}"))),
        Rest::Ledger(error) => return Err(Failure::from(error)),
    };
    pack::write_text(job, engine, &records, clock(), RunKind::Job)
        .map_err(|error| Failure::io(&job.display().to_string(), &error))?;
    Ok(exit)
}
