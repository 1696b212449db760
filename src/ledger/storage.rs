//! Where a ledger's bytes live: a few operations on the files of one folder, and what is built from them.
//!
//! The operations are as small as the system's own, so that a twin in memory can fail each of them in turn.

use std::fmt;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use super::error::{Doing, LedgerError};

/// How often an operation is begun again when signals keep breaking it off.
const INTERRUPTIONS_MAX: usize = 100;
/// How many numbered side files a folder may hold before the ledger gives up.
const SIDE_FILES_MAX: usize = 10_000;

/// The operations on the files of one folder that a ledger needs. Names are plain file names.
pub trait Storage: fmt::Debug + Send {
    /// All bytes of a file.
    ///
    /// # Errors
    /// `NotFound` if there is none; otherwise what the system says. This holds for the other operations too.
    fn read(&mut self, name: &str) -> io::Result<Vec<u8>>;

    /// Makes an empty file.
    ///
    /// # Errors
    /// `AlreadyExists` if there is one of this name.
    fn create(&mut self, name: &str) -> io::Result<()>;

    /// Writes at the end of a file that exists, and says how many of the bytes were taken: at least one.
    ///
    /// # Errors
    /// After an error, some of the bytes may have been written. After `Interrupted`, none.
    fn append(&mut self, name: &str, bytes: &[u8]) -> io::Result<usize>;

    /// Returns when the bytes and the length of a file are on the disk.
    ///
    /// # Errors
    /// After an error other than `Interrupted` nobody knows which bytes are.
    fn sync(&mut self, name: &str) -> io::Result<()>;

    /// Gives a file another name, in one go. The old name may stay until it is removed.
    ///
    /// # Errors
    /// `AlreadyExists` if there is a file of the new name.
    fn publish(&mut self, from: &str, to: &str) -> io::Result<()>;

    /// Removes a name.
    ///
    /// # Errors
    /// `NotFound` if there is none; otherwise what the system says.
    fn remove(&mut self, name: &str) -> io::Result<()>;

    /// Shortens a file.
    ///
    /// # Errors
    /// What the system says.
    fn truncate(&mut self, name: &str, length_bytes: u64) -> io::Result<()>;

    /// Returns when the names in the folder are on the disk.
    ///
    /// # Errors
    /// What the system says.
    fn sync_folder(&mut self) -> io::Result<()>;

    /// Where a file is, for messages; the folder itself for an empty name.
    fn path(&self, name: &str) -> PathBuf;
}

/// The files of a real folder.
#[derive(Debug)]
pub struct FileStorage {
    folder: PathBuf,
    /// The file last written to. It is kept open so that a sync answers for the writes through the same handle.
    writing: Option<(String, File)>,
}

impl FileStorage {
    /// The storage of a job folder, which must exist. Touches nothing yet.
    #[must_use]
    pub fn new(job_folder: &Path) -> Self {
        Self { folder: job_folder.to_owned(), writing: None }
    }

    fn for_writing(&mut self, name: &str) -> io::Result<&mut File> {
        let open = match self.writing.take() {
            Some(open) if open.0 == name => open,
            _ => (name.to_owned(), OpenOptions::new().append(true).open(self.path(name))?),
        };
        Ok(&mut self.writing.insert(open).1)
    }
}

impl Storage for FileStorage {
    fn read(&mut self, name: &str) -> io::Result<Vec<u8>> {
        fs::read(self.path(name))
    }

    fn create(&mut self, name: &str) -> io::Result<()> {
        let file = OpenOptions::new().append(true).create_new(true).open(self.path(name))?;
        self.writing = Some((name.to_owned(), file));
        Ok(())
    }

    fn append(&mut self, name: &str, bytes: &[u8]) -> io::Result<usize> {
        self.for_writing(name)?.write(bytes)
    }

    fn sync(&mut self, name: &str) -> io::Result<()> {
        self.for_writing(name)?.sync_data()
    }

    fn publish(&mut self, from: &str, to: &str) -> io::Result<()> {
        self.writing = None;
        let (from, to) = (self.path(from), self.path(to));
        match fs::hard_link(&from, &to) {
            Err(error) if error.kind() != io::ErrorKind::AlreadyExists => {
                // Some file systems, and phones, have no hard links (from memory). A rename would overwrite, so look
                // first; nobody comes in between, because a writer holds the lock.
                if to.try_exists()? { Err(io::ErrorKind::AlreadyExists.into()) } else { fs::rename(from, to) }
            }
            outcome => outcome,
        }
    }

    fn remove(&mut self, name: &str) -> io::Result<()> {
        fs::remove_file(self.path(name))
    }

    fn truncate(&mut self, name: &str, length_bytes: u64) -> io::Result<()> {
        self.for_writing(name)?.set_len(length_bytes)
    }

    fn sync_folder(&mut self) -> io::Result<()> {
        // Elsewhere a folder cannot be opened as a file, and the system keeps names safe by itself (from memory).
        if cfg!(unix) { File::open(&self.folder)?.sync_all() } else { Ok(()) }
    }

    fn path(&self, name: &str) -> PathBuf {
        if name.is_empty() { self.folder.clone() } else { self.folder.join(name) }
    }
}

/// Begins an operation again when a signal broke it off before it did anything. Any other error stands: a failed sync
/// above all is never tried again, because the second try would succeed without the bytes being on the disk.
pub(super) fn undisturbed<T>(mut operation: impl FnMut() -> io::Result<T>) -> io::Result<T> {
    for _ in 0..INTERRUPTIONS_MAX {
        match operation() {
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            outcome => return outcome,
        }
    }
    Err(io::ErrorKind::Interrupted.into())
}

/// Writes all the bytes at the end of a file, in as many pieces as it takes.
pub(super) fn append_all(storage: &mut dyn Storage, name: &str, bytes: &[u8]) -> io::Result<()> {
    let mut rest = bytes;
    while !rest.is_empty() {
        match undisturbed(|| storage.append(name, rest))? {
            0 => return Err(io::ErrorKind::WriteZero.into()),
            taken => rest = rest.get(taken..).unwrap_or_default(),
        }
    }
    Ok(())
}

/// Makes a file that is there whole or not at all, and is on the disk with its name when this returns.
pub(super) fn create_whole(storage: &mut dyn Storage, name: &str, bytes: &[u8]) -> Result<(), LedgerError> {
    let draft = create_numbered(storage, "draft")?;
    let (draft_path, path) = (storage.path(&draft), storage.path(name));
    let published = fill(storage, &draft, bytes)
        .map_err(|(doing, cause)| LedgerError::io(doing, draft_path, cause))
        .and_then(|()| {
            undisturbed(|| storage.publish(&draft, name)).map_err(|cause| match cause.kind() {
                io::ErrorKind::AlreadyExists => LedgerError::Exists { path: path.clone() },
                _ => LedgerError::io(Doing::Naming, path.clone(), cause),
            })
        });
    // A draft that stays behind does no harm, so a failure here is not worth an error.
    let _ = storage.remove(&draft);
    published?;
    undisturbed(|| storage.sync_folder()).map_err(|cause| LedgerError::io(Doing::Syncing, path, cause))
}

/// Copies the torn end of a ledger to a file of its own, and returns its name when the copy is on the disk.
pub(super) fn set_aside(storage: &mut dyn Storage, end: &[u8]) -> Result<String, LedgerError> {
    let name = create_numbered(storage, "torn")?;
    let path = storage.path(&name);
    fill(storage, &name, end)
        .and_then(|()| undisturbed(|| storage.sync_folder()).map_err(|cause| (Doing::SettingAside, cause)))
        .map_err(|(_, cause)| LedgerError::io(Doing::SettingAside, path, cause))?;
    Ok(name)
}

fn fill(storage: &mut dyn Storage, name: &str, bytes: &[u8]) -> Result<(), (Doing, io::Error)> {
    append_all(storage, name, bytes).map_err(|cause| (Doing::Writing, cause))?;
    undisturbed(|| storage.sync(name)).map_err(|cause| (Doing::Syncing, cause))
}

/// Makes the first of `stem-1.toml`, `stem-2.toml` … that is free. Two processes never get the same one.
fn create_numbered(storage: &mut dyn Storage, stem: &str) -> Result<String, LedgerError> {
    let mut last_refusal = io::Error::from(io::ErrorKind::AlreadyExists);
    for number in 1..=SIDE_FILES_MAX {
        let name = format!("{stem}-{number}.toml");
        match undisturbed(|| storage.create(&name)) {
            Ok(()) => return Ok(name),
            Err(error) => last_refusal = error,
        }
        if last_refusal.kind() != io::ErrorKind::AlreadyExists {
            break;
        }
    }
    let path = storage.path(&format!("{stem}-1.toml"));
    Err(match last_refusal.kind() {
        io::ErrorKind::NotFound => LedgerError::Missing { path: storage.path("") },
        _ => LedgerError::io(Doing::Creating, path, last_refusal),
    })
}
