//! The file store and the lock, on a real folder.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

use crate::ledger::{FileStorage, LEDGER_FILE, Ledger, LedgerError, Lock, Storage};

/// A folder that goes away with its test.
struct Folder(PathBuf);

impl Folder {
    fn new() -> Self {
        static COUNT: AtomicUsize = AtomicUsize::new(0);
        let name = format!("ledger-unit-{}-{}", std::process::id(), COUNT.fetch_add(1, Ordering::Relaxed));
        let path = std::env::temp_dir().join(name);
        fs::create_dir_all(&path).unwrap();
        Self(path)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<_> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[test]
fn every_operation_does_on_a_real_folder_what_the_trait_says() {
    let folder = Folder::new();
    let mut storage = FileStorage::new(&folder.0);
    assert_eq!(storage.read("a").unwrap_err().kind(), io::ErrorKind::NotFound);
    assert_eq!(storage.append("a", b"1").unwrap_err().kind(), io::ErrorKind::NotFound);
    storage.create("a").unwrap();
    assert_eq!(storage.create("a").unwrap_err().kind(), io::ErrorKind::AlreadyExists);
    assert_eq!(storage.append("a", b"one").unwrap(), 3);
    storage.create("b").unwrap();
    assert_eq!(storage.append("a", b" two").unwrap(), 4);
    storage.sync("a").unwrap();
    storage.truncate("a", 5).unwrap();
    assert_eq!(storage.append("a", b"en").unwrap(), 2);
    assert_eq!(storage.read("a").unwrap(), b"one ten");
    assert_eq!(storage.publish("a", "b").unwrap_err().kind(), io::ErrorKind::AlreadyExists);
    assert_eq!(storage.read("b").unwrap(), b"");
    storage.publish("a", "c").unwrap();
    storage.remove("a").unwrap();
    storage.sync_folder().unwrap();
    assert_eq!(storage.read("c").unwrap(), b"one ten");
    assert_eq!(names(&folder.0), ["b", "c"]);
}

#[test]
fn a_new_ledger_is_alone_in_its_folder_and_is_not_made_twice() {
    let folder = Folder::new();
    let header = super::codec::header();
    Ledger::create(Box::new(FileStorage::new(&folder.0)), header.clone()).unwrap();
    let bytes = fs::read(folder.0.join(LEDGER_FILE)).unwrap();
    let error = Ledger::create(Box::new(FileStorage::new(&folder.0)), header.clone()).unwrap_err();
    assert!(matches!(&error, LedgerError::Exists { path } if path.ends_with(LEDGER_FILE)), "{error}");
    assert_eq!(fs::read(folder.0.join(LEDGER_FILE)).unwrap(), bytes);
    assert_eq!(names(&folder.0), [LEDGER_FILE]);

    let nowhere = folder.0.join("nowhere");
    let error = Ledger::create(Box::new(FileStorage::new(&nowhere)), header).unwrap_err();
    assert!(matches!(&error, LedgerError::Missing { path } if *path == nowhere), "{error}");
    let error = Ledger::open(Box::new(FileStorage::new(&nowhere))).unwrap_err();
    assert!(matches!(&error, LedgerError::Missing { .. }), "{error}");
}

#[test]
fn a_lock_is_held_by_one_and_names_its_holder() {
    let folder = Folder::new();
    let lock = Lock::take(&folder.0, "process 7, person A,\nsince 09:00\u{1b}[2J").unwrap();
    let error = Lock::take(&folder.0, "person B").unwrap_err();
    assert_eq!(error.to_string(), "this job is open elsewhere: process 7, person A, since 09:00 [2J");
    drop(lock);
    let lock = Lock::take(&folder.0, "person B").unwrap();
    fs::remove_file(folder.0.join("ledger.holder")).unwrap();
    assert!(matches!(Lock::take(&folder.0, "person A"), Err(LedgerError::Held { holder }) if !holder.is_empty()));
    drop(lock);
    drop(Lock::take(&folder.0, "person C").unwrap());
    assert_eq!(names(&folder.0), ["ledger.lock"], "who has left is not named to anyone");
    let error = Lock::take(&folder.0.join("nowhere"), "person A").unwrap_err();
    assert!(matches!(error, LedgerError::Missing { .. }), "{error}");
}

#[test]
fn a_holder_who_cannot_be_named_still_holds() {
    let folder = Folder::new();
    fs::create_dir(folder.0.join("ledger.holder")).unwrap();
    let _lock = Lock::take(&folder.0, "person A").unwrap();
    assert!(matches!(Lock::take(&folder.0, "person B"), Err(LedgerError::Held { .. })));
}
