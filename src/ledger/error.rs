//! What can go wrong with a ledger, and what to do next.

use std::fmt;
use std::io;
use std::path::PathBuf;

use super::reading::Damage;
use super::record::RECORD_BYTES_MAX;
use crate::moment::Moment;

/// What the ledger was doing when the disk refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Doing {
    /// Reading a file.
    Reading,
    /// Making a new file.
    Creating,
    /// Writing bytes.
    Writing,
    /// Waiting for the disk to confirm what was written.
    Syncing,
    /// Giving a finished file its lasting name.
    Naming,
    /// Copying a torn record to a file of its own.
    SettingAside,
    /// Cutting a torn record off.
    Cutting,
    /// Taking the lock.
    Locking,
}

impl fmt::Display for Doing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Reading => "read",
            Self::Creating => "create",
            Self::Writing => "write to",
            Self::Syncing => "get the disk to confirm",
            Self::Naming => "give its lasting name to",
            Self::SettingAside => "set a torn record aside in",
            Self::Cutting => "cut a torn record off",
            Self::Locking => "lock",
        })
    }
}

/// Why a ledger could not be created, opened, read or written.
#[derive(Debug, thiserror::Error)]
pub enum LedgerError {
    /// Another process, or another part of this one, is writing to this job.
    #[error("this job is open elsewhere: {holder}")]
    Held {
        /// Who holds the lock, in the holder's own words.
        holder: String,
    },
    /// A new ledger was asked for where there is one.
    #[error("{} exists already", path.display())]
    Exists {
        /// The ledger that is there.
        path: PathBuf,
    },
    /// There is no ledger, or no such folder.
    #[error("{} is not there", path.display())]
    Missing {
        /// What was looked for.
        path: PathBuf,
    },
    /// The file is damaged before its end.
    #[error("the ledger is damaged: {damage}")]
    Damaged {
        /// Where.
        damage: Damage,
    },
    /// The file ends inside the header, before anything could be recorded.
    #[error("the ledger ends inside its header after {length_bytes} bytes; nothing had been recorded")]
    TornHeader {
        /// Length of the file in bytes.
        length_bytes: usize,
    },
    /// The file is something else.
    #[error("this file is not a ledger")]
    NotALedger,
    /// A later version of the program wrote the file.
    #[error("the ledger has format {found}; this version knows formats up to {known}")]
    NewerFormat {
        /// The format number in the file.
        found: u64,
        /// The highest format number that this version knows.
        known: u64,
    },
    /// The disk refused.
    #[error("could not {doing} {}: {cause}", path.display())]
    Io {
        /// What was being done.
        doing: Doing,
        /// To which file or folder.
        path: PathBuf,
        /// What the system said.
        cause: io::Error,
    },
    /// The disk, or the person's share of it, is full.
    #[error("could not {doing} {}: no space is left", path.display())]
    Full {
        /// What was being done.
        doing: Doing,
        /// To which file or folder.
        path: PathBuf,
    },
    /// An earlier write failed, so nothing more is written through this handle.
    #[error("{} is closed for writing since an earlier error", path.display())]
    ReadOnlySinceError {
        /// The ledger.
        path: PathBuf,
    },
    /// A record, or the header, is longer than the ledger takes.
    #[error("the record takes {length_bytes} bytes; the limit is {RECORD_BYTES_MAX}")]
    TooLarge {
        /// Its length in bytes as it would be written.
        length_bytes: usize,
    },
    /// A body holds an empty (null) value, for which the file has no notation.
    #[error("`{key}` holds an empty value")]
    NullValue {
        /// The body's key.
        key: String,
    },
    /// A body is nested more deeply than a reader would follow.
    #[error("`{key}` is nested too deeply")]
    TooDeep {
        /// The body's key.
        key: String,
    },
    /// A body uses the name of one of the ledger's own fields.
    #[error("`{key}` is a field of the ledger and cannot be a key of a record's body")]
    ReservedKey {
        /// The body's key.
        key: String,
    },
    /// A whole number too large for the file's notation.
    #[error("`{key}` holds the number {number}, which is too large to be written")]
    NumberTooLarge {
        /// The body's key.
        key: String,
        /// The number.
        number: u64,
    },
    /// A moment outside the years 0 to 9999, or finer than a second, would not read back as it was.
    #[error("the moment {at} cannot be written")]
    MomentOutOfRange {
        /// The moment.
        at: Moment,
    },
}

impl LedgerError {
    /// Sorts what the system said: a full disk is something that a person can mend.
    pub(super) fn io(doing: Doing, path: PathBuf, cause: io::Error) -> Self {
        match cause.kind() {
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => Self::Full { doing, path },
            _ => Self::Io { doing, path, cause },
        }
    }

    /// What to do next, in a full sentence.
    #[must_use]
    pub fn hint(&self) -> &'static str {
        match self {
            Self::Held { .. } => "Go on in the window where this job is open, or close that one first.",
            Self::Exists { .. } => "Go on with the job that is there, or choose another folder for a new one.",
            Self::Missing { .. } => "Check the name of the job folder, or begin a new job.",
            Self::Damaged { .. } => {
                "Keep the file as it is and look at the job: all records before the damage can still be read."
            }
            Self::TornHeader { .. } => "Remove the file and begin the job again.",
            Self::NotALedger => "Check the name of the job folder; leave the file as it is.",
            Self::NewerFormat { .. } => "Use the version of the program that began this job, or a later one.",
            Self::Io { .. } => "See to the disk, then open the job again; everything that was acknowledged is kept.",
            Self::Full { .. } => {
                "Make room on the disk, then open the job again; everything that was acknowledged is kept."
            }
            Self::ReadOnlySinceError { .. } => {
                "Leave and open the job again; everything that was acknowledged is on the disk."
            }
            Self::TooLarge { .. } => "Give a shorter text.",
            Self::NullValue { .. }
            | Self::TooDeep { .. }
            | Self::ReservedKey { .. }
            | Self::NumberTooLarge { .. }
            | Self::MomentOutOfRange { .. } => {
                "Report this as a fault in the program; nothing was written and the job can go on."
            }
        }
    }
}
