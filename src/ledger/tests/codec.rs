//! The written form: a ledger fixed byte for byte, exact reading back, and what is refused.

use proptest::prelude::*;
use serde_json::{Map, Number, Value, json};
use sha2::{Digest, Sha256};

use crate::ledger::failing::FailingStorage;
use crate::ledger::{
    FORMAT, Header, Kind, LEDGER_FILE, Ledger, LedgerError, RECORD_BYTES_MAX, Record, RunKind, Storage, Trouble, read,
};

/// A ledger of format 1 whose hashes were computed outside this project, with Python's hashlib, over the rule
/// "SHA-256 of the hash before and the block's bytes up to its hash line; before the header, that of the text
/// `lampwright ledger`". This file must stay readable for good.
const FORMAT_1: &str = include_str!("format-1.toml");

pub(super) fn header() -> Header {
    Header {
        run: RunKind::Job,
        procedure: "rose-to-downlights".into(),
        scripts: "aa".into(),
        modules: "bb".into(),
        facts: "cc".into(),
    }
}

fn record(kind: Kind, at: &str, key: &str, body: Value) -> Record {
    let Value::Object(body) = body else { panic!("a body is a table") };
    Record { kind, at: at.parse().unwrap(), person: "A".into(), key: key.into(), body }
}

fn two_records() -> Vec<Record> {
    let body = json!({
        "sign": "\u{0}\u{1b}💡",
        "seat": { "depth_mm": 55, "nothing": {}, "free air": true, "none": [] },
        "limits": [0.1, 2.0, 1e300],
        "count": -3,
        "because of": "joist, \"too near\"\n[[record]]",
    });
    vec![
        record(Kind::Begun, "2026-03-02T09:00", "", json!({})),
        record(Kind::CouldNot, "2026-03-02T09:12:30", "cut/H3", body),
    ]
}

fn written(header: Header, records: &[Record]) -> Vec<u8> {
    let disk = FailingStorage::new();
    let mut ledger = Ledger::create(Box::new(disk.clone()), header).unwrap();
    for record in records {
        ledger.append(record.clone()).unwrap();
    }
    assert_eq!(ledger.records(), records);
    disk.clone().read(LEDGER_FILE).unwrap()
}

/// What a refused record comes back with, having changed nothing and closed nothing.
fn refusal(record: Record) -> LedgerError {
    let disk = FailingStorage::new();
    let mut ledger = Ledger::create(Box::new(disk.clone()), header()).unwrap();
    let before = disk.files();
    let error = ledger.append(record).unwrap_err();
    assert_eq!(disk.files(), before, "{error}");
    ledger.append(two_records().remove(0)).expect("a refusal leaves the ledger open for writing");
    error
}

/// Joins blocks (without their hash lines) to a chain by the published rule, apart from the writer under test.
fn chained(blocks: &[&str]) -> Vec<u8> {
    let mut chain = Sha256::digest(b"lampwright ledger").to_vec();
    let mut file = String::new();
    for block in blocks {
        chain = Sha256::digest([&chain, block.as_bytes()].concat()).to_vec();
        let digits: String = chain.iter().map(|byte| format!("{byte:02x}")).collect();
        file += &format!("{block}hash = \"{digits}\"\n");
    }
    file.into_bytes()
}

const HEADER_BLOCK: &str =
    "[ledger]\nformat = 1\nrun = \"job\"\nprocedure = \"p\"\nscripts = \"\"\nmodules = \"\"\nfacts = \"\"\n";

#[test]
fn the_written_form_is_fixed_byte_for_byte() {
    assert_eq!(String::from_utf8(written(header(), &two_records())).unwrap(), FORMAT_1);
}

#[test]
fn a_ledger_of_format_1_reads() {
    let reading = read(FORMAT_1.as_bytes()).unwrap();
    assert_eq!(reading.header, header());
    assert_eq!(reading.records, two_records());
    assert_eq!((reading.torn, reading.damage), (None, None));
}

#[test]
fn every_kind_of_record_and_of_run_reads_back() {
    for run in [RunKind::Job, RunKind::Rehearsal, RunKind::Drill] {
        let records: Vec<_> =
            Kind::ALL.into_iter().map(|kind| record(kind, "2026-03-02T09:00", "k", json!({}))).collect();
        let reading = read(&written(Header { run, ..header() }, &records)).unwrap();
        assert_eq!((reading.header.run, reading.records), (run, records));
    }
}

#[test]
fn a_moment_that_would_not_read_back_is_refused() {
    for year in [-1, -9_999] {
        let at = jiff::civil::date(year, 1, 1).at(0, 0, 0, 0).into();
        let error = refusal(Record { at, ..two_records().remove(0) });
        assert!(matches!(error, LedgerError::MomentOutOfRange { at: found } if found == at), "{error}");
    }
    let at = jiff::civil::DateTime::MAX.into();
    assert!(matches!(refusal(Record { at, ..two_records().remove(0) }), LedgerError::MomentOutOfRange { .. }));
}

#[test]
fn what_has_no_notation_is_refused_by_name() {
    let body = |key: &str, value: Value| record(Kind::Said, "2026-03-02T09:00", "k", json!({ key: value }));
    for value in [Value::Null, json!([1, null]), json!({ "a": [{ "b": null }] })] {
        assert!(matches!(refusal(body("x", value)), LedgerError::NullValue { key } if key == "x"));
    }
    for field in ["kind", "at", "person", "key", "hash"] {
        assert!(matches!(refusal(body(field, json!(1))), LedgerError::ReservedKey { key } if key == field));
    }
    let large = i64::MAX as u64 + 1;
    assert!(
        matches!(refusal(body("x", json!([large]))), LedgerError::NumberTooLarge { number, .. } if number == large)
    );
}

#[test]
fn a_body_nests_to_a_limit_that_its_reader_still_follows() {
    let nested = |levels: usize| (0..levels).fold(json!(1), |inner, _| json!([{ "in": inner }]));
    let body = |levels| record(Kind::Said, "2026-03-02T09:00", "k", json!({ "x": nested(levels) }));
    let deepest = vec![body(16)];
    assert_eq!(read(&written(header(), &deepest)).unwrap().records, deepest);
    assert!(matches!(refusal(body(17)), LedgerError::TooDeep { key } if key == "x"));
}

#[test]
fn a_record_is_as_long_as_the_limit_and_no_longer() {
    let of_length = |length| record(Kind::Noted, "2026-03-02T09:00", "k", json!({ "text": "a".repeat(length) }));
    let rest = written(header(), &[of_length(0)]).len() - written(header(), &[]).len();
    let longest = vec![of_length(RECORD_BYTES_MAX - rest)];
    assert_eq!(read(&written(header(), &longest)).unwrap().records, longest);
    let error = refusal(of_length(RECORD_BYTES_MAX - rest + 1));
    assert!(matches!(error, LedgerError::TooLarge { length_bytes } if length_bytes == RECORD_BYTES_MAX + 1));
}

#[test]
fn a_newer_format_is_named_and_a_damaged_format_number_is_not_taken_for_one() {
    let newer = HEADER_BLOCK.replace("format = 1", "format = 2").replace("run = \"job\"", "way = \"other\"");
    let error = read(&chained(&[&newer])).unwrap_err();
    assert!(matches!(error, LedgerError::NewerFormat { found: 2, known: FORMAT }), "{error}");
    let changed = FORMAT_1.replace("format = 1", "format = 2");
    let error = read(changed.as_bytes()).unwrap_err();
    assert!(matches!(error, LedgerError::Damaged { damage } if damage.record == 0), "{error}");
}

#[test]
fn a_block_that_agrees_with_its_hash_but_is_no_record_is_damage() {
    let good = "\n[[record]]\nkind = \"said\"\nat = \"2026-03-02T09:00:00\"\nperson = \"A\"\nkey = \"k\"\n";
    assert_eq!(read(&chained(&[HEADER_BLOCK, good])).unwrap().records.len(), 1);
    let wrong = [
        good.replace("said", "signed"),
        good.replace("2026-03-02", "2026-02-30"),
        good.replace("\"A\"", "1"),
        good.replace("key = \"k\"\n", ""),
        good.replace("key = \"k\"\n", "key = \"k\"\nkey = \"k\"\n"),
        good.replace("[[record]]", "[[other]]"),
        good.replace("\n[[", "[["),
        good.replace("\"k\"", "\"k"),
    ];
    for block in wrong {
        let reading = read(&chained(&[HEADER_BLOCK, good, &block, good])).unwrap();
        let damage = reading.damage.unwrap();
        assert_eq!((reading.records.len(), damage.record, damage.trouble), (1, 2, Trouble::Content), "{block}");
    }
    for header in [HEADER_BLOCK.replace("job", "jab"), HEADER_BLOCK.replace("facts", "fakts")] {
        let error = read(&chained(&[&header])).unwrap_err();
        assert!(matches!(error, LedgerError::Damaged { damage } if damage.trouble == Trouble::Content));
    }
}

#[test]
fn a_value_that_looks_like_a_hash_line_does_not_end_a_record() {
    let digits = "0123456789abcdef".repeat(4);
    let text = format!("\nhash = \"{digits}\"\n\n[[record]]\n");
    let body = json!({ "digest": digits, "hush": digits, "the_hash": digits, "hash ": digits, "text": text });
    let records = vec![record(Kind::Said, "2026-03-02T09:00", &text, body); 3];
    let file = written(header(), &records);
    assert_eq!(read(&file).unwrap().records, records);
    // Cut right after each of these lines: torn, never damaged, and never a record made up from half of one.
    let second = file.len() - (file.len() - written(header(), &[]).len()) / 3;
    for cut in second + 1..file.len() {
        let reading = read(&file[..cut]).unwrap();
        assert_eq!((reading.records.len(), reading.damage), (2, None), "cut at byte {cut}");
        assert_eq!(reading.torn.unwrap().byte, second);
    }
}

fn hostile_text() -> impl Strategy<Value = String> {
    let pieces = prop_oneof![
        any::<char>().prop_map(String::from),
        prop::sample::select(vec![
            "\"",
            "\\",
            "\n",
            "\r\n",
            "\t",
            "\u{0}",
            "\u{7f}",
            "\u{85}",
            "\u{2028}",
            "\u{feff}",
            "\u{202e}",
            "'''",
            "\"\"\"",
            "[[record]]",
            "\n[[record]]\n",
            "hash = \"",
            "\nhash = \"",
            "💡",
            "#",
            " = ",
            "\u{1b}[2J",
            "{",
            "]",
            ".",
            "",
            "$__toml_private_datetime",
            "1979-05-27",
            "inf",
            "nan",
        ])
        .prop_map(String::from),
    ];
    prop::collection::vec(pieces, 0..6).prop_map(|pieces| pieces.concat())
}

fn hostile_value() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        any::<bool>().prop_map(Value::from),
        any::<i64>().prop_map(Value::from),
        any::<f64>().prop_filter_map("a number", |real| Number::from_f64(real).map(Value::from)),
        prop::sample::select(vec![0.0, -0.0, 1.0, 1e15, 1e16, 1e17, 5e-324, f64::MAX, 0.1 + 0.2]).prop_map(Value::from),
        hostile_text().prop_map(Value::from),
    ];
    leaf.prop_recursive(4, 16, 4, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..4).prop_map(Value::from),
            prop::collection::btree_map(hostile_text(), inner, 0..4)
                .prop_map(|map| Value::Object(map.into_iter().collect())),
        ]
    })
}

fn hostile_record() -> impl Strategy<Value = Record> {
    let body = prop::collection::btree_map(hostile_text(), hostile_value(), 0..5)
        .prop_map(|map| map.into_iter().collect::<Map<_, _>>());
    (prop::sample::select(Kind::ALL.to_vec()), -1_000_000_i64..1_000_000_000, hostile_text(), hostile_text(), body)
        .prop_map(|(kind, seconds, person, key, body)| {
            let at = two_records()[0].at.plus_seconds(seconds);
            Record { kind, at, person, key, body }
        })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 150, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn records_read_back_exactly_and_the_file_is_toml(
        procedure in hostile_text(),
        records in prop::collection::vec(hostile_record(), 0..4),
    ) {
        let header = Header { procedure, ..header() };
        let file = written(header.clone(), &records);
        let reading = read(&file).unwrap();
        prop_assert_eq!(&reading.header, &header);
        prop_assert_eq!(&reading.records, &records);
        prop_assert_eq!((reading.torn, reading.damage), (None, None));

        let text = String::from_utf8(file).unwrap();
        prop_assert!(text.chars().all(|character| character == '\n' || !character.is_control()));
        let whole: Value = toml::from_str(&text).unwrap();
        let tables = whole.get("record").and_then(|value| value.as_array()).map_or(0, Vec::len);
        prop_assert_eq!(tables, records.len());
        prop_assert_eq!(whole["ledger"]["procedure"].as_str(), Some(header.procedure.as_str()));
    }

    #[test]
    fn any_bytes_at_all_are_read_without_a_panic(
        start in prop::sample::select(vec!["", "[ledger]\n", HEADER_BLOCK, FORMAT_1]),
        bytes in prop::collection::vec(any::<u8>(), 0..300),
    ) {
        let _ = read(&[start.as_bytes(), &bytes].concat());
    }
}
