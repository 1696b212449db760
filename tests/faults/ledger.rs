//! The ledger under faults: cut, changed, spliced, on a disk that fails or loses its power, raced for, killed.
//!
//! Every sweep is complete: each byte, each bit, each operation. Only the length of the ledger swept differs: the full
//! length in a release build and under `LAMPWRIGHT_NIGHTLY=1`, a few records in a debug build, which would take minutes.

use std::collections::BTreeSet;
use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use lampwright::ledger::failing::{FailingStorage, Fault, Mishap, Operation};
use lampwright::ledger::{
    FileStorage, Header, Kind, LEDGER_FILE, Ledger, LedgerError, Lock, Reading, Record, RunKind, Storage, look, read,
};
use serde_json::json;

/// Length of a hash line with the line end before it. Inside the later half of it, a tear that is filled up with old
/// bytes cannot be told from damage to a whole record.
const HASH_LINE_BYTES: usize = 75;

fn nightly() -> bool {
    std::env::var_os("LAMPWRIGHT_NIGHTLY").is_some()
}

/// How long a sweep is: `full` in a release build and at night, `short` in a debug build.
fn extent(full: usize, short: usize) -> usize {
    if nightly() || !cfg!(debug_assertions) { full } else { short }
}

fn header(run: RunKind) -> Header {
    let digest = |letter: &str| letter.repeat(64);
    Header {
        run,
        procedure: "rose-to-downlights".into(),
        scripts: digest("a"),
        modules: digest("b"),
        facts: digest("c"),
    }
}

/// The record of this number of an invented job; `person` tells two jobs apart.
fn record(number: usize, person: &str) -> Record {
    let minutes = i64::try_from(number).unwrap();
    let at = "2026-03-02T09:00".parse::<lampwright::moment::Moment>().unwrap().plus_minutes(minutes);
    let kind = Kind::ALL[number % Kind::ALL.len()];
    let body = match number % 4 {
        0 => json!({ "text": "Mark H1 700 mm from wall A.", "digest": "d".repeat(64) }),
        1 => json!({ "value": { "unit": "m", "value": 4.2 }, "not_sure": false }),
        2 => json!({ "note": "dust \"sheet\"\nup 💡", "list": [1, 2.0, "three"] }),
        _ => json!({}),
    };
    let body = body.as_object().unwrap().clone();
    Record { kind, at, person: person.into(), key: format!("mark/H{number}"), body }
}

/// A ledger as a file, with what it holds and where every block ends: the header's end first.
struct Sample {
    header: Header,
    records: Vec<Record>,
    bytes: Vec<u8>,
    ends: Vec<usize>,
}

impl Sample {
    fn new(run: RunKind, person: &str, count: usize) -> Self {
        let disk = FailingStorage::new();
        let length = || disk.files()[LEDGER_FILE].len();
        let records: Vec<_> = (0..count).map(|number| record(number, person)).collect();
        let mut ledger = Ledger::create(Box::new(disk.clone()), header(run)).unwrap();
        let mut ends = vec![length()];
        for record in &records {
            ledger.append(record.clone()).unwrap();
            ends.push(length());
        }
        Self { header: header(run), records, bytes: disk.files()[LEDGER_FILE].clone(), ends }
    }

    fn of(count: usize) -> Self {
        Self::new(RunKind::Job, "A", count)
    }

    /// The header's block for 0, then the records'.
    fn block(&self, number: usize) -> &[u8] {
        let start = if number == 0 { 0 } else { self.ends[number - 1] };
        &self.bytes[start..self.ends[number]]
    }

    fn joined(&self, blocks: impl IntoIterator<Item = usize>) -> Vec<u8> {
        blocks.into_iter().flat_map(|number| self.block(number)).copied().collect()
    }

    /// The number of the block that this byte belongs to.
    fn block_of(&self, byte: usize) -> usize {
        self.ends.iter().filter(|&&end| end <= byte).count()
    }

    /// Checks that a reading has the first `whole` records and nothing else.
    fn check_records(&self, reading: &Reading, whole: usize, case: &str) {
        assert_eq!(reading.header, self.header, "{case}");
        assert!(reading.records == self.records[..whole], "{case}: {} records, not {whole}", reading.records.len());
    }

    /// Checks that these bytes are found to be damaged in this block, with all before it readable.
    fn check_damaged(&self, bytes: &[u8], block: usize, case: &str) {
        let damage = match read(bytes) {
            Err(LedgerError::Damaged { damage }) => damage,
            Err(error) => panic!("{case}: {error}"),
            Ok(reading) => {
                let damage = reading.damage.unwrap_or_else(|| panic!("{case}: not found"));
                assert_eq!(reading.torn, None, "{case}");
                self.check_records(&reading, damage.record - 1, case);
                damage
            }
        };
        assert_eq!(damage.record, block, "{case}");
        if block == 0 {
            assert_eq!((damage.line, damage.byte), (1, 0), "{case}");
        } else {
            let byte = self.ends[block - 1];
            let line = self.bytes[..byte].iter().filter(|&&byte| byte == b'\n').count() + 2;
            assert_eq!((damage.line, damage.byte), (line, byte), "{case}");
        }
    }
}

/// A small generator of numbers, so that a failing case can be run again from its seed.
struct Dice(u64);

impl Dice {
    /// A number below `bound`.
    fn below(&mut self, bound: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        usize::try_from((mixed ^ (mixed >> 31)) % bound as u64).unwrap()
    }
}

/// A folder that goes away with its test.
struct Folder(PathBuf);

impl Folder {
    fn new() -> Self {
        static COUNT: AtomicUsize = AtomicUsize::new(0);
        let name = format!("ledger-faults-{}-{}", std::process::id(), COUNT.fetch_add(1, Ordering::Relaxed));
        let path = std::env::temp_dir().join(name);
        fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    fn storage(&self) -> Box<FileStorage> {
        Box::new(FileStorage::new(&self.0))
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

// Cut and changed files.

#[test]
fn cut_at_any_byte_a_ledger_keeps_its_longest_whole_part() {
    let sample = Sample::of(extent(50, 10));
    for cut in 0..=sample.bytes.len() {
        let case = format!("cut at byte {cut}");
        let bytes = &sample.bytes[..cut];
        if cut < sample.ends[0] {
            let error = read(bytes).unwrap_err();
            assert!(
                matches!(error, LedgerError::TornHeader { length_bytes } if length_bytes == cut),
                "{case}: {error}"
            );
            continue;
        }
        let whole = sample.block_of(cut) - 1;
        let reading = read(bytes).unwrap();
        sample.check_records(&reading, whole, &case);
        assert_eq!(reading.damage, None, "{case}");
        let start = sample.ends[whole];
        let torn = reading.torn.map(|torn| (torn.byte, torn.length_bytes, torn.kept_as));
        assert_eq!(torn, (start < cut).then(|| (start, cut - start, None)), "{case}");
    }
}

#[test]
fn opening_sets_a_torn_record_aside_and_goes_on() {
    let sample = Sample::of(4);
    for cut in sample.ends[2] + 1..sample.ends[3] {
        for zeros in [0, 5] {
            let torn_bytes = [&sample.bytes[sample.ends[2]..cut], &vec![0; zeros]].concat();
            let bytes = [&sample.bytes[..sample.ends[2]], &torn_bytes].concat();
            let disk = FailingStorage::with_file(LEDGER_FILE, &bytes);
            let mut ledger = Ledger::open(Box::new(disk.clone())).unwrap();
            assert_eq!(ledger.records(), &sample.records[..2]);
            let kept_as = ledger.torn().unwrap().kept_as.clone().unwrap();
            let safe = disk.crash_images(b"x").swap_remove(0).files();
            assert_eq!(safe[&kept_as], torn_bytes);
            assert_eq!(safe[LEDGER_FILE], sample.bytes[..sample.ends[2]]);
            for record in &sample.records[2..] {
                ledger.append(record.clone()).unwrap();
            }
            assert_eq!(disk.files()[LEDGER_FILE], sample.bytes, "cut at byte {cut}, {zeros} zeros");
            assert_eq!(Ledger::open(Box::new(disk)).unwrap().torn(), None);
        }
    }
}

#[test]
fn a_torn_record_behind_a_damaged_hash_line_is_damage() {
    let sample = Sample::of(3);
    for byte in sample.ends[2] - HASH_LINE_BYTES..sample.ends[2] {
        for cut in sample.ends[2] + 13..sample.ends[3] {
            let mut bytes = sample.bytes[..cut].to_vec();
            bytes[byte] ^= 1;
            sample.check_damaged(&bytes, 2, &format!("byte {byte} changed, cut at byte {cut}"));
        }
    }
}

#[test]
fn any_single_bit_changed_is_found_and_located() {
    let sample = Sample::of(extent(50, 5));
    for bit in 0..sample.bytes.len() * 8 {
        let mut bytes = sample.bytes.clone();
        bytes[bit / 8] ^= 1 << (bit % 8);
        sample.check_damaged(&bytes, sample.block_of(bit / 8), &format!("bit {bit}"));
        if bit % 997 == 0 {
            let before = FailingStorage::with_file(LEDGER_FILE, &bytes);
            let error = Ledger::open(Box::new(before.clone())).unwrap_err();
            assert!(matches!(error, LedgerError::Damaged { .. }), "{error}");
            assert_eq!(before.files()[LEDGER_FILE], bytes, "damage is never written over");
        }
    }
}

#[test]
fn many_bytes_changed_at_once_never_pass_and_never_make_up_a_record() {
    let sample = Sample::of(12);
    let rounds = if nightly() { 1_000_000 } else { 1_000 };
    for seed in 0..rounds {
        let mut dice = Dice(seed);
        let mut bytes = sample.bytes.clone();
        for _ in 0..=dice.below(8) {
            let place = dice.below(bytes.len());
            bytes[place] = u8::try_from(dice.below(256)).unwrap();
        }
        let Some(first) = (0..bytes.len()).find(|&byte| bytes[byte] != sample.bytes[byte]) else { continue };
        let block = sample.block_of(first);
        match read(&bytes) {
            Ok(reading) => {
                assert!(reading.damage.is_some() || reading.torn.is_some(), "seed {seed}");
                sample.check_records(&reading, block - 1, &format!("seed {seed}"));
            }
            Err(_) => assert_eq!(block, 0, "seed {seed}"),
        }
    }
}

#[test]
fn records_moved_repeated_or_removed_are_found() {
    let sample = Sample::of(8);
    for number in 1..8 {
        let swapped = (0..9).map(|block| match block {
            block if block == number => number + 1,
            block if block == number + 1 => number,
            block => block,
        });
        sample.check_damaged(&sample.joined(swapped), number, "swapped");
        let repeated = (0..=number).chain(number..9);
        sample.check_damaged(&sample.joined(repeated), number + 1, "repeated");
        let removed = (0..number).chain(number + 1..9);
        sample.check_damaged(&sample.joined(removed), number, "removed");
    }
    sample.check_damaged(&sample.joined((0..=8).chain([8])), 9, "last repeated");
    sample.check_damaged(&sample.joined((0..=8).chain(0..=8)), 9, "whole ledger twice");
    sample.check_damaged(&sample.joined(1..9), 0, "header removed");
}

#[test]
fn a_record_of_another_run_does_not_fit_in() {
    let sample = Sample::of(6);
    let spliced = |other: &Sample, number: usize| -> Vec<u8> {
        (0..7)
            .flat_map(|block| if block == number { other.block(block) } else { sample.block(block) })
            .copied()
            .collect()
    };
    for run in [RunKind::Drill, RunKind::Rehearsal] {
        // The same words, the same moments, the same person: only the kind of run differs.
        let other = Sample::new(run, "A", 6);
        assert_eq!(other.records, sample.records);
        for number in 1..7 {
            sample.check_damaged(&spliced(&other, number), number, "from another kind of run");
        }
        let error = match read(&spliced(&other, 0)) {
            Ok(reading) => reading.damage.expect("a header of another kind was taken"),
            Err(error) => panic!("{error}"),
        };
        assert_eq!(error.record, 1);
        let renamed = String::from_utf8(sample.bytes.clone()).unwrap().replace("\"job\"", &format!("\"{run}\""));
        sample.check_damaged(renamed.as_bytes(), 0, "kind of run edited");
    }
    let other = Sample::new(RunKind::Job, "B", 6);
    for number in 2..7 {
        sample.check_damaged(&spliced(&other, number), number, "from another job");
    }
    // The first record of another job with the same header is in place; what was built on the true one is not.
    let reading = read(&spliced(&other, 1)).unwrap();
    assert_eq!((reading.records.len(), reading.damage.unwrap().record), (1, 2));
}

#[test]
fn another_file_is_not_taken_for_a_ledger() {
    for bytes in ["hello", "[package]\nname = \"x\"\n", "[ledgers]\n", "\n[[record]]\n", "\u{feff}[ledger]\n"] {
        assert!(matches!(read(bytes.as_bytes()), Err(LedgerError::NotALedger)), "{bytes:?}");
    }
    for bytes in ["", "[led", "[ledger]\nformat = 1\nrun", "\0\0\0", "[ledger]\n\0\0"] {
        assert!(matches!(read(bytes.as_bytes()), Err(LedgerError::TornHeader { .. })), "{bytes:?}");
    }
}

// A disk that fails.

/// Creates a ledger with three records, tears a fourth, opens again and adds two: every operation there is. Returns
/// the acknowledged records and the error that ended it, if one did, together with the ledger that met it.
fn session(disk: &FailingStorage) -> (Vec<Record>, Option<(LedgerError, Option<Ledger>)>) {
    let mut acknowledged = Vec::new();
    let mut ledger = match Ledger::create(Box::new(disk.clone()), header(RunKind::Job)) {
        Ok(ledger) => ledger,
        Err(error) => return (acknowledged, Some((error, None))),
    };
    for number in 0..5 {
        if number == 3 {
            tear(disk);
            ledger = match Ledger::open(Box::new(disk.clone())) {
                Ok(ledger) => ledger,
                Err(error) => return (acknowledged, Some((error, None))),
            };
        }
        if let Err(error) = ledger.append(record(number, "A")) {
            return (acknowledged, Some((error, Some(ledger))));
        }
        acknowledged.push(record(number, "A"));
    }
    (acknowledged, None)
}

/// Leaves half a record at the end, as a killed writer would. What happens to this write itself is of no interest.
fn tear(disk: &FailingStorage) {
    let _ = disk.clone().append(LEDGER_FILE, b"\n[[record]]\nkind = \"do");
}

fn check_kind(error: &LedgerError, mishap: Mishap, case: &str) {
    let fits = match mishap {
        Mishap::DiskFull => matches!(error, LedgerError::Full { .. }),
        Mishap::DiskError | Mishap::Interrupted => matches!(error, LedgerError::Io { .. }),
        Mishap::ShortWrite => false,
    };
    assert!(fits, "{case}: {error}");
    assert!(error.hint().ends_with('.'), "{case}");
}

#[test]
fn a_record_costs_one_write_and_one_sync() {
    let disk = FailingStorage::new();
    let mut ledger = Ledger::create(Box::new(disk.clone()), header(RunKind::Job)).unwrap();
    for number in 0..5 {
        let before = disk.log().len();
        ledger.append(record(number, "A")).unwrap();
        let file = LEDGER_FILE.to_owned();
        assert_eq!(disk.log()[before..], [(Operation::Append, file.clone()), (Operation::Sync, file)]);
    }
}

#[test]
fn any_operation_may_fail_without_losing_or_inventing_a_record() {
    let undisturbed = FailingStorage::new();
    let all = session(&undisturbed).0;
    let mut failed = BTreeSet::new();
    for (index, (operation, _)) in undisturbed.log().into_iter().enumerate() {
        for (mishap, lasting) in Mishap::ALL.into_iter().flat_map(|mishap| [(mishap, false), (mishap, true)]) {
            let case = format!("{mishap:?} at {operation:?} {}, lasting: {lasting}", index + 1);
            let disk = FailingStorage::new();
            disk.set_fault(Some(Fault { at: index + 1, lasting, mishap }));
            let (acknowledged, end) = session(&disk);
            assert_eq!(acknowledged, all[..acknowledged.len()], "{case}");
            let invisible = mishap == Mishap::ShortWrite || (mishap == Mishap::Interrupted && !lasting);
            if invisible {
                assert!(end.is_none(), "{case}: {:?}", end.map(|(error, _)| error));
                assert_eq!(disk.files()[LEDGER_FILE], undisturbed.files()[LEDGER_FILE], "{case}");
            }
            let Some((error, ledger)) = end else { continue };
            check_kind(&error, mishap, &case);
            if !lasting {
                failed.insert(format!("{operation:?}"));
            }
            if let Some(mut ledger) = ledger {
                check_closed(&mut ledger, &disk, &acknowledged, &case);
            }
            disk.set_fault(None);
            check_reopened(&disk, &acknowledged, &all, lasting, &case);
        }
    }
    // Only removing a draft is a courtesy whose failure nobody needs to hear of.
    let expected = ["Append", "Create", "Publish", "Read", "Sync", "SyncFolder", "Truncate"];
    assert_eq!(failed, expected.map(String::from).into());
}

/// After an error a ledger keeps what it has, takes no more, and leaves the disk alone: no second try of a sync.
fn check_closed(ledger: &mut Ledger, disk: &FailingStorage, acknowledged: &[Record], case: &str) {
    let log = disk.log();
    let failed_sync = log.iter().rposition(|(operation, _)| *operation == Operation::Sync).unwrap_or(0);
    assert!(log[failed_sync + 1..].iter().all(|(operation, _)| *operation != Operation::Sync), "{case}");
    let error = ledger.append(record(9, "A")).unwrap_err();
    assert!(matches!(error, LedgerError::ReadOnlySinceError { .. }), "{case}: {error}");
    assert_eq!(disk.log().len(), log.len(), "{case}: the disk was touched");
    assert_eq!(ledger.records(), acknowledged, "{case}");
}

/// Once the disk is well again, the job goes on with all that was acknowledged; and what is acknowledged from now on
/// survives a power cut.
fn check_reopened(disk: &FailingStorage, acknowledged: &[Record], all: &[Record], lasting: bool, case: &str) {
    let mut ledger = match Ledger::open(Box::new(disk.clone())) {
        Ok(ledger) => ledger,
        Err(LedgerError::Missing { .. }) if acknowledged.is_empty() => return,
        Err(error) => panic!("{case}: {error}"),
    };
    let found = ledger.records().len();
    // A disk that goes on failing may keep the one whole record whose sync it refused.
    let most = acknowledged.len() + usize::from(lasting);
    assert!((acknowledged.len()..=most).contains(&found), "{case}: {found} records");
    assert_eq!(ledger.records(), &all[..found], "{case}");
    if found < all.len() && !lasting {
        ledger.append(all[found].clone()).unwrap();
        let mut safe = disk.crash_images(b"x").swap_remove(0);
        assert_eq!(look(&mut safe).unwrap().records, all[..=found], "{case}: after a power cut");
    }
}

#[test]
fn a_failed_sync_is_tried_once() {
    let clean = FailingStorage::new();
    session(&clean);
    let syncs: Vec<_> =
        (1..).zip(clean.log()).filter(|(_, (operation, _))| *operation == Operation::Sync).map(|(at, _)| at).collect();
    assert_eq!(syncs.len(), 1 + 5 + 2, "a draft, five records, the torn copy and the opened ledger");
    for at in syncs {
        let disk = FailingStorage::new();
        disk.set_fault(Some(Fault { at, lasting: false, mishap: Mishap::DiskError }));
        let (_, end) = session(&disk);
        assert!(end.is_some(), "sync {at}");
        let later = disk.log()[at..].iter().filter(|(operation, _)| *operation == Operation::Sync).count();
        assert_eq!(later, 0, "sync {at}");
    }
}

// A power cut.

#[test]
fn every_disk_that_a_power_cut_may_leave_opens_to_what_was_acknowledged() {
    let count = if nightly() { 50 } else { extent(20, 3) };
    let sample = Sample::of(count);
    let old_ledger = Sample::new(RunKind::Drill, "B", 3).bytes;
    let clean = FailingStorage::new();
    assert_eq!(append_until_cut(&clean, &sample), Some(count));
    for at in 1..=clean.log().len() + 1 {
        let disk = FailingStorage::new();
        disk.set_fault(Some(Fault { at, lasting: true, mishap: Mishap::DiskError }));
        let acknowledged = append_until_cut(&disk, &sample);
        let mut seen = BTreeSet::new();
        for stale in [&b"\xa5"[..], b"old text\n", &old_ledger] {
            for image in disk.crash_images(stale) {
                if seen.insert(image.files()) {
                    check_image(image, acknowledged, &sample, &format!("power cut at operation {at}"));
                }
            }
        }
    }
}

/// Begins the sample's job and goes on until the power is cut. How many records were acknowledged; `None` if not even
/// the beginning was.
fn append_until_cut(disk: &FailingStorage, sample: &Sample) -> Option<usize> {
    let mut ledger = Ledger::create(Box::new(disk.clone()), sample.header.clone()).ok()?;
    Some(sample.records.iter().take_while(|record| ledger.append((*record).clone()).is_ok()).count())
}

fn check_image(image: FailingStorage, acknowledged: Option<usize>, sample: &Sample, case: &str) {
    let reading = match look(&mut image.clone()) {
        Ok(reading) => reading,
        Err(LedgerError::Missing { .. }) if acknowledged.is_none() => return,
        Err(error) => panic!("{case}: {error}"),
    };
    let (acknowledged, found) = (acknowledged.unwrap_or(0), reading.records.len());
    assert!(found == acknowledged || found == acknowledged + 1, "{case}: {found} records");
    sample.check_records(&reading, found, case);
    let bytes = &image.files()[LEDGER_FILE];
    match Ledger::open(Box::new(image.clone())) {
        Ok(mut ledger) => {
            assert!(ledger.records() == reading.records, "{case}");
            if let Some(next) = sample.records.get(found) {
                ledger.append(next.clone()).unwrap();
                let safe = image.crash_images(b"x").swap_remove(0);
                assert_eq!(safe.files()[LEDGER_FILE], sample.bytes[..sample.ends[found + 1]], "{case}");
            }
        }
        Err(LedgerError::Damaged { damage }) => {
            assert_eq!(damage.record, found + 1, "{case}");
            // Refused only where old bytes make the end look like a whole record: an old record's end, or all but the
            // last half of a hash line in place.
            let torn_late = sample.bytes.starts_with(&bytes[..bytes.len() - HASH_LINE_BYTES.div_ceil(2)]);
            let end = String::from_utf8_lossy(&bytes[sample.ends[found]..]);
            let looks_old = end.contains("\nhash = \"") || end.matches("[[record]]").count() > 1;
            assert!(torn_late || looks_old, "{case}: {end}");
        }
        Err(error) => panic!("{case}: {error}"),
    }
}

#[test]
fn what_a_killed_writer_left_behind_is_made_safe_before_anyone_builds_on_it() {
    let sample = Sample::of(2);
    let disk = FailingStorage::new();
    let mut ledger = Ledger::create(Box::new(disk.clone()), sample.header.clone()).unwrap();
    ledger.append(sample.records[0].clone()).unwrap();
    disk.clone().append(LEDGER_FILE, sample.block(2)).unwrap();
    assert_eq!(Ledger::open(Box::new(disk.clone())).unwrap().records(), sample.records);
    let safe = disk.crash_images(b"x").swap_remove(0).files();
    assert_eq!(safe[LEDGER_FILE], sample.bytes);
}

#[test]
fn a_torn_record_is_never_lost_by_a_power_cut_while_it_is_set_aside() {
    let sample = Sample::of(2);
    let (cut, torn_bytes) = (sample.ends[1], &sample.block(2)[..40]);
    for at in 1.. {
        let disk = FailingStorage::with_file(LEDGER_FILE, &sample.bytes[..cut + 40]);
        disk.set_fault(Some(Fault { at, lasting: true, mishap: Mishap::DiskError }));
        let opened = Ledger::open(Box::new(disk.clone())).is_ok();
        for image in disk.crash_images(b"x") {
            let files = image.files();
            let in_place = files[LEDGER_FILE].len() == cut + 40;
            let aside = files.iter().any(|(name, bytes)| name.starts_with("torn-") && bytes == torn_bytes);
            assert!(in_place || aside, "power cut at operation {at}");
            assert_eq!(look(&mut image.clone()).unwrap().records, sample.records[..1]);
        }
        if opened {
            break;
        }
    }
}

// Against a plain list.

#[test]
fn any_history_agrees_with_a_plain_list() {
    let sequences = if nightly() { 100_000 } else { extent(10_000, 500) };
    for seed in 0..sequences {
        check_history(seed as u64);
    }
}

fn check_history(seed: u64) {
    let mut dice = Dice(seed);
    let mut disk = FailingStorage::new();
    let mut ledger = Ledger::create(Box::new(disk.clone()), header(RunKind::Job)).unwrap();
    let mut list: Vec<Record> = Vec::new();
    for step in 0..=dice.below(10) {
        let case = format!("seed {seed}, step {step}");
        let next = record(dice.below(100), "A");
        let mut powerless = false;
        let mut in_doubt = false;
        match dice.below(6) {
            0..=2 => {
                ledger.append(next.clone()).unwrap();
                list.push(next.clone());
            }
            3 => {
                // A lasting fault ends with the power: see the note on taking back in the ledger itself.
                powerless = dice.below(2) == 0;
                let at = disk.log().len() + 1 + dice.below(2);
                let mishap = Mishap::ALL[dice.below(4)];
                disk.set_fault(Some(Fault { at, lasting: powerless, mishap }));
                match ledger.append(next.clone()) {
                    Ok(()) => list.push(next.clone()),
                    Err(_) => in_doubt = powerless,
                }
            }
            4 => powerless = true,
            _ => tear(&disk),
        }
        assert!(in_doubt || ledger.records() == list, "{case}");
        disk.set_fault(None);
        if powerless {
            let mut images = disk.crash_images(b"\xa5");
            disk = images.swap_remove(dice.below(images.len()));
        }
        ledger = match Ledger::open(Box::new(disk.clone())) {
            Ok(ledger) => ledger,
            Err(LedgerError::Damaged { damage }) if in_doubt => {
                assert_eq!(damage.record, list.len() + 1, "{case}");
                assert!(look(&mut disk).unwrap().records == list, "{case}");
                return;
            }
            Err(error) => panic!("{case}: {error}"),
        };
        if in_doubt && ledger.records().len() == list.len() + 1 {
            list.push(next);
        }
        assert!(ledger.records() == list, "{case}: {} records, not {}", ledger.records().len(), list.len());
    }
}

// Several at once, on a real disk.

#[test]
fn of_many_beginning_at_once_one_succeeds() {
    for _ in 0..20 {
        let folder = Folder::new();
        let outcomes: Vec<_> = thread::scope(|scope| {
            let begin = || scope.spawn(|| Ledger::create(folder.storage(), header(RunKind::Job)).map(|_| ()));
            let threads: Vec<_> = (0..8).map(|_| begin()).collect();
            threads.into_iter().map(|thread| thread.join().unwrap()).collect()
        });
        assert_eq!(outcomes.iter().filter(|outcome| outcome.is_ok()).count(), 1, "{outcomes:?}");
        assert!(
            outcomes.iter().all(|outcome| matches!(outcome, Ok(()) | Err(LedgerError::Exists { .. }))),
            "{outcomes:?}"
        );
        assert_eq!(Ledger::open(folder.storage()).unwrap().header(), &header(RunKind::Job));
    }
}

#[test]
fn of_many_writers_one_writes_at_a_time() {
    let folder = Folder::new();
    Ledger::create(folder.storage(), header(RunKind::Job)).unwrap();
    let (written, refused) = (AtomicUsize::new(0), AtomicUsize::new(0));
    let deadline = Instant::now() + Duration::from_secs(20);
    thread::scope(|scope| {
        for name in ["A", "B", "C", "D", "E", "F"] {
            let (folder, written, refused) = (&folder, &written, &refused);
            scope.spawn(move || {
                while written.load(Ordering::SeqCst) < 60 && Instant::now() < deadline {
                    match Lock::take(&folder.0, name) {
                        Ok(_lock) => {
                            let mut ledger = Ledger::open(folder.storage()).unwrap();
                            assert_eq!(ledger.torn(), None);
                            ledger.append(record(ledger.records().len(), name)).unwrap();
                            written.fetch_add(1, Ordering::SeqCst);
                        }
                        Err(LedgerError::Held { .. }) => {
                            refused.fetch_add(1, Ordering::SeqCst);
                            thread::yield_now();
                        }
                        Err(error) => panic!("{error}"),
                    }
                }
            });
        }
    });
    let reading = look(folder.storage().as_mut()).unwrap();
    assert_eq!((reading.damage, reading.torn), (None, None));
    assert_eq!(reading.records.len(), written.load(Ordering::SeqCst));
    assert!(60 <= reading.records.len());
    assert!(0 < refused.load(Ordering::SeqCst), "they never met");
}

#[test]
fn a_reader_beside_a_writer_sees_whole_records_only() {
    let folder = Folder::new();
    let sample = Sample::of(80);
    let _lock = Lock::take(&folder.0, "the writer").unwrap();
    let mut ledger = Ledger::create(folder.storage(), sample.header.clone()).unwrap();
    let finished = AtomicBool::new(false);
    let looks = thread::scope(|scope| {
        let reader = scope.spawn(|| {
            let (mut looks, mut seen) = (0, 0);
            loop {
                let last = finished.load(Ordering::SeqCst);
                let reading = look(folder.storage().as_mut()).unwrap();
                assert_eq!(reading.damage, None);
                assert!(seen <= reading.records.len(), "a record vanished");
                seen = reading.records.len();
                sample.check_records(&reading, seen, "beside a writer");
                looks += 1;
                if last {
                    assert_eq!(seen, sample.records.len());
                    return looks;
                }
            }
        });
        for record in &sample.records {
            ledger.append(record.clone()).unwrap();
        }
        finished.store(true, Ordering::SeqCst);
        reader.join().unwrap()
    });
    assert!(1 < looks);
    assert_eq!(fs::read(folder.0.join(LEDGER_FILE)).unwrap(), sample.bytes);
}

/// The folder in which the next test, run as a process of its own, writes until it is killed.
const CHILD_FOLDER: &str = "LAMPWRIGHT_TEST_LEDGER_FOLDER";

/// Does nothing, except as the child of the test below.
#[test]
fn child_that_writes_until_killed() {
    let Some(folder) = std::env::var_os(CHILD_FOLDER).map(PathBuf::from) else { return };
    let _lock = Lock::take(&folder, &format!("process {}", std::process::id())).unwrap();
    let storage = || Box::new(FileStorage::new(&folder));
    let mut ledger = match Ledger::open(storage()) {
        Err(LedgerError::Missing { .. }) => Ledger::create(storage(), header(RunKind::Job)).unwrap(),
        opened => opened.unwrap(),
    };
    let deadline = Instant::now() + Duration::from_secs(20);
    while Instant::now() < deadline {
        ledger.append(record(ledger.records().len(), "A")).unwrap();
        writeln!(std::io::stderr(), "{}", ledger.records().len()).unwrap();
    }
}

fn start_child(folder: &Path) -> Child {
    let module = module_path!().split_once("::").map_or("", |(_, module)| module);
    Command::new(std::env::current_exe().unwrap())
        .args([&format!("{module}::child_that_writes_until_killed"), "--exact", "--nocapture"])
        .env(CHILD_FOLDER, folder)
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap()
}

#[test]
fn a_killed_writer_loses_nothing_and_frees_the_lock() {
    let kills = if nightly() { 200 } else { 12 };
    let folder = Folder::new();
    let mut dice = Dice(1);
    for kill in 0..kills {
        let mut child = start_child(&folder.0);
        let mut lines = BufReader::new(child.stderr.take().unwrap()).lines().map_while(Result::ok);
        let mut acknowledged = 0;
        for _ in 0..=dice.below(8) {
            acknowledged = lines.next().unwrap().parse().unwrap();
        }
        let refusal = Lock::take(&folder.0, "the test").map(|_| ());
        thread::sleep(Duration::from_micros(dice.below(900) as u64));
        child.kill().unwrap();
        child.wait().unwrap();
        let expected = format!("process {}", child.id());
        assert!(matches!(&refusal, Err(LedgerError::Held { holder }) if *holder == expected), "{refusal:?}");
        // The last line may itself have been cut off.
        for line in lines {
            acknowledged = line.parse().unwrap_or(acknowledged).max(acknowledged);
        }
        let _lock = Lock::take(&folder.0, "the test").expect("a killed holder holds nothing");
        let ledger = Ledger::open(folder.storage()).unwrap();
        let found = ledger.records().len();
        assert!((acknowledged..=acknowledged + 1).contains(&found), "kill {kill}: {found}, not {acknowledged}");
        assert!((0..found).all(|number| ledger.records()[number] == record(number, "A")), "kill {kill}");
    }
}

#[test]
fn ten_thousand_records_read_in_a_moment() {
    let sample = Sample::of(extent(10_000, 1_000));
    let start = Instant::now();
    let reading = read(&sample.bytes).unwrap();
    let taken = start.elapsed();
    assert_eq!(reading.records.len(), sample.records.len());
    // A reader whose time grows with the square of the length would take many times this.
    assert!(taken < Duration::from_secs(2), "{taken:?} for {} bytes", sample.bytes.len());
}
