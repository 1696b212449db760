//! One writer per job, by a lock that the system itself releases when its holder ends, however it ends.
//!
//! The lock is on a file of its own, because some systems keep others from reading a locked file, and a reader of the
//! ledger must never be blocked. Who holds it stands in a second file, for the same reason. Between taking the lock
//! and writing that file there is a moment in which a refusal may name nobody, or the holder before.

use std::fs::{self, File, OpenOptions, TryLockError};
use std::path::{Path, PathBuf};

use super::error::{Doing, LedgerError};

const LOCK_FILE: &str = "ledger.lock";
const HOLDER_FILE: &str = "ledger.holder";
/// How much of a holder's description a refusal repeats, in characters.
const HOLDER_CHARACTERS_MAX: usize = 200;

/// The right to write to the ledger of a job folder. Dropping it, or the end of the process, gives it back.
#[derive(Debug)]
pub struct Lock {
    /// Held open: closing it releases the lock.
    _file: File,
    holder_path: PathBuf,
}

impl Lock {
    /// Takes the lock of a job folder, or refuses at once. `holder` says who has it from now on (process, person,
    /// since when), in words for whoever is refused.
    ///
    /// # Errors
    /// [`LedgerError::Held`] if someone has it, in another process or in this one; [`LedgerError::Missing`] if the
    /// folder is not there; [`LedgerError::Full`] or [`LedgerError::Io`].
    pub fn take(job_folder: &Path, holder: &str) -> Result<Self, LedgerError> {
        let (path, holder_path) = (job_folder.join(LOCK_FILE), job_folder.join(HOLDER_FILE));
        let file = match OpenOptions::new().write(true).create(true).truncate(false).open(&path) {
            Ok(file) => file,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                return Err(LedgerError::Missing { path: job_folder.to_owned() });
            }
            Err(cause) => return Err(LedgerError::io(Doing::Locking, path, cause)),
        };
        match file.try_lock() {
            Ok(()) => {
                // The name is a courtesy. A disk too full for it must not keep anyone from their job.
                let _ = fs::write(&holder_path, holder);
                Ok(Self { _file: file, holder_path })
            }
            Err(TryLockError::WouldBlock) => Err(LedgerError::Held { holder: named_in(&holder_path) }),
            Err(TryLockError::Error(cause)) => Err(LedgerError::io(Doing::Locking, path, cause)),
        }
    }
}

impl Drop for Lock {
    fn drop(&mut self) {
        let _ = fs::remove_file(&self.holder_path);
    }
}

/// The holder's description, on one line and without anything that a terminal would obey.
fn named_in(holder_path: &Path) -> String {
    let text = fs::read(holder_path).unwrap_or_default();
    let text = String::from_utf8_lossy(&text);
    let name: String = text
        .chars()
        .take(HOLDER_CHARACTERS_MAX)
        .map(|character| if character.is_control() { ' ' } else { character })
        .collect();
    match name.trim() {
        "" => "its holder has not given a name".to_owned(),
        name => name.to_owned(),
    }
}
