//! A disk in memory that fails on demand and can lose its power, for tests of the ledger and of everything above it.
//!
//! It keeps what was written apart from what a sync has made safe, bytes and names alike. As on a real system, a failed
//! sync loses the bytes for good: a later sync succeeds without them. [`FailingStorage::crash_images`] gives the disks
//! that a power cut may leave.

use std::collections::BTreeMap;
use std::io;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use super::storage::Storage;

/// An operation on the disk.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Operation {
    /// [`Storage::read`].
    Read,
    /// [`Storage::create`].
    Create,
    /// [`Storage::append`].
    Append,
    /// [`Storage::sync`].
    Sync,
    /// [`Storage::publish`].
    Publish,
    /// [`Storage::remove`].
    Remove,
    /// [`Storage::truncate`].
    Truncate,
    /// [`Storage::sync_folder`].
    SyncFolder,
}

/// What goes wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mishap {
    /// The disk fails. Of a write, half the bytes have landed.
    DiskError,
    /// The disk is full. Of a write, half the bytes have landed.
    DiskFull,
    /// A signal breaks the operation off before it does anything.
    Interrupted,
    /// A write takes half the bytes and says so. Other operations go well.
    ShortWrite,
}

impl Mishap {
    /// Every mishap.
    pub const ALL: [Self; 4] = [Self::DiskError, Self::DiskFull, Self::Interrupted, Self::ShortWrite];

    fn error(self) -> Option<io::Error> {
        match self {
            Self::DiskError => Some(io::Error::other("the disk failed")),
            Self::DiskFull => Some(io::ErrorKind::StorageFull.into()),
            Self::Interrupted => Some(io::ErrorKind::Interrupted.into()),
            Self::ShortWrite => None,
        }
    }
}

/// A mishap to come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Fault {
    /// At which operation, counted from 1 since the disk was made.
    pub at: usize,
    /// Whether every later operation goes wrong as well.
    pub lasting: bool,
    /// What goes wrong.
    pub mishap: Mishap,
}

/// A disk in memory. Clones are handles to the same disk.
#[derive(Debug, Clone, Default)]
pub struct FailingStorage {
    disk: Arc<Mutex<Disk>>,
}

#[derive(Debug, Default)]
struct Disk {
    files: Vec<Contents>,
    names: BTreeMap<String, usize>,
    safe_names: BTreeMap<String, usize>,
    log: Vec<(Operation, String)>,
    fault: Option<Fault>,
}

#[derive(Debug, Clone, Default)]
struct Contents {
    bytes: Vec<u8>,
    /// What a sync has made safe.
    safe: Vec<u8>,
    /// From where on the next sync has something to do.
    unsynced_from: usize,
}

impl FailingStorage {
    /// An empty disk on which all goes well.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// A disk with one file, safe on it.
    #[must_use]
    pub fn with_file(name: &str, bytes: &[u8]) -> Self {
        Self::image([(name.to_owned(), bytes.to_vec())].into())
    }

    fn image(files: BTreeMap<String, Vec<u8>>) -> Self {
        let mut disk = Disk::default();
        for (number, (name, bytes)) in files.into_iter().enumerate() {
            disk.names.insert(name, number);
            disk.files.push(Contents { safe: bytes.clone(), unsynced_from: bytes.len(), bytes });
        }
        disk.safe_names = disk.names.clone();
        Self { disk: Arc::new(Mutex::new(disk)) }
    }

    /// Plans a mishap, or none from now on.
    pub fn set_fault(&self, fault: Option<Fault>) {
        self.disk().fault = fault;
    }

    /// Every operation so far, failed ones too, and the file that it was about.
    #[must_use]
    pub fn log(&self) -> Vec<(Operation, String)> {
        self.disk().log.clone()
    }

    /// The files as a running process sees them.
    #[must_use]
    pub fn files(&self) -> BTreeMap<String, Vec<u8>> {
        let disk = self.disk();
        disk.names.iter().map(|(name, &file)| (name.clone(), disk.files[file].bytes.clone())).collect()
    }

    /// The disks that a power cut at this moment may leave. The folder has its old or its new names. A file has its
    /// safe bytes, or some of the later ones: cut anywhere, the missing rest absent, filled with zeros, or filled with
    /// `stale` bytes that stood on the disk before.
    #[must_use]
    pub fn crash_images(&self, stale: &[u8]) -> Vec<Self> {
        let disk = self.disk();
        let mut folders = vec![&disk.safe_names];
        if disk.names != disk.safe_names {
            folders.push(&disk.names);
        }
        let mut images = Vec::new();
        for names in folders {
            let mut partial = vec![BTreeMap::new()];
            for (name, &file) in names {
                let outcomes = disk.files[file].outcomes(stale);
                let with = |image: &BTreeMap<String, Vec<u8>>, bytes: &Vec<u8>| {
                    let mut image = image.clone();
                    image.insert(name.clone(), bytes.clone());
                    image
                };
                partial =
                    partial.iter().flat_map(|image| outcomes.iter().map(move |bytes| with(image, bytes))).collect();
            }
            images.extend(partial.into_iter().map(Self::image));
        }
        images
    }

    fn disk(&self) -> MutexGuard<'_, Disk> {
        self.disk.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Contents {
    fn outcomes(&self, stale: &[u8]) -> Vec<Vec<u8>> {
        let mut outcomes = vec![self.safe.clone()];
        if self.bytes == self.safe {
            return outcomes;
        }
        let agreeing = self.bytes.iter().zip(&self.safe).take_while(|(now, safe)| now == safe).count();
        for cut in agreeing..=self.bytes.len() {
            let landed = &self.bytes[..cut];
            outcomes.push(landed.to_vec());
            let missing = self.bytes.len() - cut;
            if 0 < missing {
                outcomes.push([landed, &vec![0; missing]].concat());
                let rest: Vec<u8> = stale.iter().copied().cycle().take(missing).collect();
                outcomes.push([landed, &rest].concat());
            }
        }
        outcomes
    }

    fn sync(&mut self) {
        let from = self.unsynced_from.min(self.bytes.len());
        self.safe.resize(self.bytes.len(), 0);
        self.safe[from..].copy_from_slice(&self.bytes[from..]);
        self.unsynced_from = self.bytes.len();
    }
}

impl Disk {
    /// Counts an operation; the mishap planned for it, if any.
    fn begin(&mut self, operation: Operation, name: &str) -> Option<Mishap> {
        self.log.push((operation, name.to_owned()));
        let count = self.log.len();
        self.fault.filter(|fault| fault.at == count || (fault.lasting && fault.at < count)).map(|fault| fault.mishap)
    }

    /// The same for an operation that either goes well or does nothing.
    fn whole(&mut self, operation: Operation, name: &str) -> io::Result<()> {
        self.begin(operation, name).and_then(Mishap::error).map_or(Ok(()), Err)
    }

    fn file(&mut self, name: &str) -> io::Result<&mut Contents> {
        let number = *self.names.get(name).ok_or(io::ErrorKind::NotFound)?;
        Ok(&mut self.files[number])
    }
}

impl Storage for FailingStorage {
    fn read(&mut self, name: &str) -> io::Result<Vec<u8>> {
        let mut disk = self.disk();
        disk.whole(Operation::Read, name)?;
        disk.file(name).map(|file| file.bytes.clone())
    }

    fn create(&mut self, name: &str) -> io::Result<()> {
        let mut disk = self.disk();
        disk.whole(Operation::Create, name)?;
        if disk.names.contains_key(name) {
            return Err(io::ErrorKind::AlreadyExists.into());
        }
        let number = disk.files.len();
        disk.files.push(Contents::default());
        disk.names.insert(name.to_owned(), number);
        Ok(())
    }

    fn append(&mut self, name: &str, bytes: &[u8]) -> io::Result<usize> {
        let mut disk = self.disk();
        let mishap = disk.begin(Operation::Append, name);
        let taken = match mishap {
            None => bytes.len(),
            Some(Mishap::Interrupted) => 0,
            Some(_) => bytes.len().div_ceil(2),
        };
        disk.file(name)?.bytes.extend_from_slice(&bytes[..taken]);
        mishap.and_then(Mishap::error).map_or(Ok(taken), Err)
    }

    fn sync(&mut self, name: &str) -> io::Result<()> {
        let mut disk = self.disk();
        let outcome = disk.whole(Operation::Sync, name);
        let file = disk.file(name)?;
        match &outcome {
            Ok(()) => file.sync(),
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(_) => file.unsynced_from = file.bytes.len(),
        }
        outcome
    }

    fn publish(&mut self, from: &str, to: &str) -> io::Result<()> {
        let mut disk = self.disk();
        disk.whole(Operation::Publish, to)?;
        let number = *disk.names.get(from).ok_or(io::ErrorKind::NotFound)?;
        if disk.names.contains_key(to) {
            return Err(io::ErrorKind::AlreadyExists.into());
        }
        disk.names.insert(to.to_owned(), number);
        Ok(())
    }

    fn remove(&mut self, name: &str) -> io::Result<()> {
        let mut disk = self.disk();
        disk.whole(Operation::Remove, name)?;
        disk.names.remove(name).map(|_| ()).ok_or_else(|| io::ErrorKind::NotFound.into())
    }

    fn truncate(&mut self, name: &str, length_bytes: u64) -> io::Result<()> {
        let mut disk = self.disk();
        disk.whole(Operation::Truncate, name)?;
        let file = disk.file(name)?;
        file.bytes.truncate(usize::try_from(length_bytes).unwrap_or(usize::MAX));
        file.unsynced_from = file.unsynced_from.min(file.bytes.len());
        Ok(())
    }

    fn sync_folder(&mut self) -> io::Result<()> {
        let mut disk = self.disk();
        disk.whole(Operation::SyncFolder, "")?;
        disk.safe_names = disk.names.clone();
        Ok(())
    }

    fn path(&self, name: &str) -> PathBuf {
        PathBuf::from(name)
    }
}
