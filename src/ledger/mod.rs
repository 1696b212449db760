//! The ledger: one append-only file per job that keeps everything a person said, did and measured.
//!
//! The file is a header and then one TOML block per record. The last line of every block is its hash, taken over the
//! hash before it and the raw bytes of the block. That line is the commit mark: a block without it was never
//! acknowledged. The kind of run is part of the header, and the header's hash starts the chain, so a record from a
//! drill does not fit into a job.
//!
//! This module knows bytes and keys. It never interprets a body, never rewrites a record, never reads a clock, and
//! never acknowledges a record before the disk has confirmed it. The chain finds accidents and careless editing. It
//! does not find a forger who has the program, nor the removal of whole records from the end.
//!
//! Whoever opens a ledger for writing takes the [`Lock`] of its job folder first and holds it as long as the ledger.
//! A reader needs no lock and is never blocked: see [`look`] and [`read`].

mod error;
pub mod failing;
mod lock;
mod reading;
mod record;
mod storage;
#[cfg(test)]
mod tests;

use std::io;

pub use error::{Doing, LedgerError};
pub use lock::Lock;
pub use reading::{Damage, Reading, Torn, Trouble, read};
pub use record::{FORMAT, Header, Kind, RECORD_BYTES_MAX, Record, RunKind};
pub use storage::{FileStorage, Storage};

use record::{Chain, encode, encode_header};
use storage::{append_all, create_whole, set_aside, undisturbed};

/// The name of the ledger's file inside a job folder.
pub const LEDGER_FILE: &str = "ledger.toml";

/// A ledger open for writing.
#[derive(Debug)]
pub struct Ledger {
    storage: Box<dyn Storage>,
    header: Header,
    records: Vec<Record>,
    torn: Option<Torn>,
    chain: Chain,
    length_bytes: u64,
    failed: bool,
}

impl Ledger {
    /// Starts a new ledger, whole or not at all, and returns once the file and its name are on the disk.
    ///
    /// # Errors
    /// [`LedgerError::Exists`] if there is one already, [`LedgerError::Full`] or [`LedgerError::Io`] if the disk
    /// refuses. After the last two a ledger without records may be there, which can be opened.
    pub fn create(mut storage: Box<dyn Storage>, header: Header) -> Result<Self, LedgerError> {
        let (text, chain) = encode_header(&header)?;
        create_whole(storage.as_mut(), LEDGER_FILE, text.as_bytes())?;
        let length_bytes = text.len() as u64;
        Ok(Self { storage, header, records: Vec::new(), torn: None, chain, length_bytes, failed: false })
    }

    /// Opens a ledger for writing. A torn last record is moved to a file of its own and remembered in
    /// [`Ledger::torn`].
    ///
    /// What a killed writer left behind may not have reached the disk yet, so it is synced before anything is built
    /// on it.
    ///
    /// # Errors
    /// [`LedgerError::Damaged`] if anything but the end is wrong (use [`look`] for the records before the damage);
    /// [`LedgerError::Missing`], [`LedgerError::NotALedger`], [`LedgerError::TornHeader`],
    /// [`LedgerError::NewerFormat`], [`LedgerError::Full`], [`LedgerError::Io`].
    pub fn open(mut storage: Box<dyn Storage>) -> Result<Self, LedgerError> {
        let bytes = load(storage.as_mut())?;
        let (reading, chain) = reading::read_with_chain(&bytes)?;
        if let Some(damage) = reading.damage {
            return Err(LedgerError::Damaged { damage });
        }
        let Reading { header, records, mut torn, .. } = reading;
        let whole_bytes = torn.as_ref().map_or(bytes.len(), |torn| torn.byte);
        if let Some(torn) = &mut torn {
            let name = set_aside(storage.as_mut(), &bytes[whole_bytes..])?;
            let path = storage.path(LEDGER_FILE);
            undisturbed(|| storage.truncate(LEDGER_FILE, whole_bytes as u64))
                .map_err(|cause| LedgerError::io(Doing::Cutting, path, cause))?;
            torn.kept_as = Some(name);
        }
        sync(storage.as_mut())?;
        let path = storage.path("");
        undisturbed(|| storage.sync_folder()).map_err(|cause| LedgerError::io(Doing::Syncing, path, cause))?;
        Ok(Self { storage, header, records, torn, chain, length_bytes: whole_bytes as u64, failed: false })
    }

    /// Adds a record. When this returns `Ok`, the record is on the disk, after exactly one data sync.
    ///
    /// # Errors
    /// A record that cannot be written ([`LedgerError::TooLarge`], [`LedgerError::NullValue`],
    /// [`LedgerError::TooDeep`], [`LedgerError::ReservedKey`], [`LedgerError::NumberTooLarge`],
    /// [`LedgerError::MomentOutOfRange`]) is refused before anything is touched. After [`LedgerError::Full`] or
    /// [`LedgerError::Io`] the record is not acknowledged and every later call answers
    /// [`LedgerError::ReadOnlySinceError`]: what the disk holds is in doubt until the ledger is opened afresh.
    pub fn append(&mut self, record: Record) -> Result<(), LedgerError> {
        if self.failed {
            return Err(LedgerError::ReadOnlySinceError { path: self.storage.path(LEDGER_FILE) });
        }
        let (text, chain) = encode(&record, &self.chain)?;
        if let Err(error) = self.commit(text.as_bytes()) {
            self.take_back();
            return Err(error);
        }
        self.length_bytes += text.len() as u64;
        self.chain = chain;
        self.records.push(record);
        Ok(())
    }

    fn commit(&mut self, bytes: &[u8]) -> Result<(), LedgerError> {
        let path = self.storage.path(LEDGER_FILE);
        append_all(self.storage.as_mut(), LEDGER_FILE, bytes)
            .map_err(|cause| LedgerError::io(Doing::Writing, path, cause))?;
        sync(self.storage.as_mut())
    }

    /// Closes the ledger for writing and takes the unacknowledged bytes back, if the disk still allows it.
    ///
    /// After a failed sync the system may count the lost pages as written. Syncing again would then confirm bytes
    /// that are not on the disk, and a later opening would build on them. If taking back fails as well, opening finds
    /// a torn record, or one whole record that nobody was told of. The second case leaves a risk: what is appended
    /// behind it may prove unreachable after a power cut, found as damage.
    fn take_back(&mut self) {
        self.failed = true;
        let _ = self.storage.truncate(LEDGER_FILE, self.length_bytes);
    }

    /// What the ledger was begun with.
    #[must_use]
    pub fn header(&self) -> &Header {
        &self.header
    }

    /// All acknowledged records, in the order in which they were made.
    #[must_use]
    pub fn records(&self) -> &[Record] {
        &self.records
    }

    /// The torn last record that opening has set aside, if there was one.
    #[must_use]
    pub fn torn(&self) -> Option<&Torn> {
        self.torn.as_ref()
    }
}

/// Reads a ledger without opening it for writing: takes no lock, changes nothing, works beside a writer.
///
/// # Errors
/// [`LedgerError::Missing`] or [`LedgerError::Io`], and what [`read`] answers.
pub fn look(storage: &mut dyn Storage) -> Result<Reading, LedgerError> {
    read(&load(storage)?)
}

fn load(storage: &mut dyn Storage) -> Result<Vec<u8>, LedgerError> {
    let path = storage.path(LEDGER_FILE);
    undisturbed(|| storage.read(LEDGER_FILE)).map_err(|cause| match cause.kind() {
        io::ErrorKind::NotFound => LedgerError::Missing { path },
        _ => LedgerError::io(Doing::Reading, path, cause),
    })
}

fn sync(storage: &mut dyn Storage) -> Result<(), LedgerError> {
    let path = storage.path(LEDGER_FILE);
    undisturbed(|| storage.sync(LEDGER_FILE)).map_err(|cause| LedgerError::io(Doing::Syncing, path, cause))
}
