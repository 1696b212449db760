//! The commands. Arguments, files and exit codes; everything else is below.

mod figure;
mod list;
mod look;
mod rehearse;
mod walk;

use std::ffi::OsString;
use std::path::PathBuf;
use std::process::ExitCode;

pub use figure::answer as answer_of_case;
pub use rehearse::golden;

use clap::{Parser, Subcommand};

use crate::engine::bundle::{Bundle, BundleError};
use crate::engine::scripterror::ScriptError;
use crate::engine::{self};
use crate::ledger::LedgerError;

/// The exit codes, in one table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exit {
    /// Saved, or ended as meant.
    Good = 0,
    /// Usage, case or rehearsal file.
    Usage = 2,
    /// Ended in a stop, when not meant.
    Stopped = 3,
    /// The ledger is damaged.
    Damaged = 4,
    /// A script or bundle is refused.
    Script = 5,
    /// Findings.
    Findings = 6,
    /// The ledger is held by another.
    Held = 7,
    /// A fault of this program.
    Fault = 70,
    /// Input or output failed, or the disk is full.
    Io = 74,
    /// Interrupted; everything is saved.
    Interrupted = 130,
}

/// What went wrong, and the code to leave with.
#[derive(Debug)]
pub struct Failure {
    /// The code.
    pub exit: Exit,
    /// What happened, and what to do next.
    pub message: String,
}

impl Failure {
    fn new(exit: Exit, message: impl Into<String>) -> Self {
        Self { exit, message: message.into() }
    }

    fn io(doing: &str, error: &std::io::Error) -> Self {
        Self::new(Exit::Io, format!("{doing}: {error}"))
    }

    fn script(error: &ScriptError, bundle: &Bundle) -> Self {
        Self::new(Exit::Script, error.render(|file| bundle.text_of(file), false))
    }
}

impl From<BundleError> for Failure {
    fn from(error: BundleError) -> Self {
        match error {
            BundleError::Unknown { .. } => {
                let names: Vec<_> = Bundle::shipped().into_iter().map(|(name, _)| name).collect();
                Self::new(Exit::Usage, format!("{error}\nThe procedures are: {}.", names.join(", ")))
            }
            BundleError::Io { .. } => Self::new(Exit::Io, error.to_string()),
            _ => Self::new(Exit::Script, error.to_string()),
        }
    }
}

impl From<LedgerError> for Failure {
    fn from(error: LedgerError) -> Self {
        let exit = match &error {
            LedgerError::Held { .. } => Exit::Held,
            LedgerError::Io { .. } | LedgerError::Full { .. } | LedgerError::ReadOnlySinceError { .. } => Exit::Io,
            LedgerError::Missing { .. } | LedgerError::Exists { .. } => Exit::Usage,
            _ => Exit::Damaged,
        };
        let hint = error.hint();
        Self::new(exit, format!("{error}\n{hint}"))
    }
}

/// Guides a person through a lighting job in a dwelling, one step at a time.
#[derive(Debug, Parser)]
#[command(name = "lampwright", version, about, long_about = None)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Lists the procedures, one line each.
    List,
    /// Walks a job, or goes on with one.
    Walk {
        /// A procedure's name, or its folder; not needed to go on with a job.
        procedure: Option<String>,
        /// The job folder; else a new one named after procedure and date.
        #[arg(long, value_name = "DIR")]
        job: Option<PathBuf>,
        /// No colour, no cursor movement.
        #[arg(long)]
        plain: bool,
        /// Walks the sample job by itself, into sample-job/.
        #[arg(long, conflicts_with = "rehearse")]
        sample: bool,
        /// Walks a rehearsal file by itself.
        #[arg(long, value_name = "FILE")]
        rehearse: Option<PathBuf>,
        /// Goes on with the program's present scripts, after showing what they ask again.
        #[arg(long)]
        take_revision: bool,
    },
    /// Shows where a job stands, or the jobs below this folder. Changes nothing.
    Look {
        /// The job folder.
        job: Option<PathBuf>,
    },
    /// Computes a case: light, set-out, circuit, joints, timber, cable, verify, trace, kit, energy.
    Figure {
        /// The calculator.
        calculator: String,
        /// The case, a TOML file; `-` for standard input.
        case: PathBuf,
        /// One JSON object instead of a table.
        #[arg(long)]
        json: bool,
    },
    /// Runs a procedure's rehearsals against their golden transcripts.
    Rehearse {
        /// A procedure's name, or its folder.
        procedure: String,
        /// Writes the transcripts anew.
        #[arg(long)]
        update: bool,
    },
}

/// Runs the command that the arguments name, and gives the exit code.
#[must_use]
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let exit = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => {
            let acted = std::panic::catch_unwind(|| act(arguments.command));
            let acted = acted.unwrap_or_else(|_| {
                let message = "this is a fault of the program; what was saved is safe. Go on with `lampwright walk --job`, \
                               and please tell the developers what you did";
                Err(Failure::new(Exit::Fault, message))
            });
            acted.unwrap_or_else(|failure| {
                eprintln!("lampwright: {}", failure.message.trim_end());
                failure.exit
            })
        }
        Err(error) => {
            let _ = error.print();
            if error.use_stderr() { Exit::Usage } else { Exit::Good }
        }
    };
    ExitCode::from(exit as u8)
}

fn act(command: Command) -> Result<Exit, Failure> {
    match command {
        Command::List => list::list(),
        Command::Walk { procedure, job, plain, sample, rehearse, take_revision } => {
            walk::walk(&walk::Wanted { procedure, job, plain, sample, rehearse, take_revision })
        }
        Command::Look { job } => look::look(job),
        Command::Figure { calculator, case, json } => figure::figure(&calculator, &case, json),
        Command::Rehearse { procedure, update } => rehearse::rehearse(&procedure, update),
    }
}

fn ready(bundle: Bundle) -> Result<engine::Engine, Failure> {
    let kept = bundle.clone();
    engine::Engine::new(bundle).map_err(|error| Failure::script(&error, &kept))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_disk_leaves_with_its_own_code() {
        let full = LedgerError::Full { doing: crate::ledger::Doing::Writing, path: PathBuf::from("ledger.toml") };
        let failure = Failure::from(full);
        assert_eq!(failure.exit, Exit::Io);
        assert!(failure.message.lines().count() >= 2, "what happened, and what to do: {}", failure.message);
    }

    #[test]
    fn the_arguments_are_sound() {
        use clap::CommandFactory as _;
        Arguments::command().debug_assert();
    }
}
