//! Every rehearsal of every procedure that comes with the program: as written, to its golden transcript, and through
//! kills, prefixes and attacks on its ledger.

use std::collections::BTreeMap;

use lampwright::cli::golden;
use lampwright::engine::Engine;
use lampwright::engine::bundle::{Bundle, embedded_rehearsals};
use lampwright::engine::fold::fold;
use lampwright::engine::rehearsal::Rehearsal;
use lampwright::engine::rehearse::{Watcher, begun, rehearse};
use lampwright::engine::turn::{Ask, Turn};
use lampwright::gate::{self, Level};
use lampwright::ledger::failing::FailingStorage;
use lampwright::ledger::{self, Header, Kind, Ledger, Record, RunKind};

/// Each procedure's engine and rehearsals, made once.
fn with_all(mut look: impl FnMut(&Engine, &str, &Rehearsal, Option<&String>)) {
    for (name, _) in Bundle::shipped() {
        let engine = Engine::new(Bundle::open(&name).unwrap()).unwrap();
        let files: BTreeMap<String, String> = embedded_rehearsals(&name);
        assert!(files.contains_key("sample.toml"), "{name} has no sample");
        for (file, text) in files.iter().filter(|(file, _)| file.ends_with(".toml")) {
            let rehearsal = Rehearsal::read(text).unwrap_or_else(|error| panic!("{name}/{file}: {error}"));
            let transcript = files.get(&format!("{}.txt", file.trim_end_matches(".toml")));
            look(&engine, &format!("{name}/{file}"), &rehearsal, transcript);
        }
    }
}

/// A watcher that looks at nothing.
struct Quiet;

impl Watcher for Quiet {
    fn turn(&mut self, _: &Turn) {}
    fn typed(&mut self, _: &str) {}
    fn happened(&mut self, _: &str) {}
    fn record(&mut self, _: &Record) -> Result<(), String> {
        Ok(())
    }
}

fn records_of(engine: &Engine, name: &str, rehearsal: &Rehearsal) -> Vec<Record> {
    rehearse(engine, rehearsal, &mut Quiet).unwrap_or_else(|failed| panic!("{name}: {failed}")).records
}

#[test]
fn rehearsals_end_as_meant_and_read_as_golden() {
    let mut count = 0;
    with_all(|engine, name, rehearsal, transcript| {
        let text = golden(engine, rehearsal).unwrap_or_else(|failed| panic!("{name}: {failed}"));
        let golden = transcript.unwrap_or_else(|| panic!("{name} has no golden transcript; write it with --update"));
        if text != *golden {
            let differs = text.lines().zip(golden.lines()).find(|(now, then)| now != then);
            panic!("{name} differs from its golden transcript: {differs:?}");
        }
        let screens = || text.lines().filter(|line| !line.starts_with(['>', '!']) && !line.contains(" = "));
        assert!(screens().all(|line| console::measure_text_width(line) <= 80), "{name} is wider than 80 columns");
        count += 1;
    });
    assert!(count >= 7, "only {count} rehearsals were found");
}

/// Whether no circuit, proof or coating stands higher in one world than in another.
fn is_no_higher(one: &gate::World, other: &gate::World) -> bool {
    let circuits = ["light", gate::MAIN_SWITCH, gate::VOID];
    circuits.iter().all(|circuit| one.level(circuit) <= other.level(circuit))
}

fn resumed(engine: &Engine, records: &[Record], minutes: i64) -> Vec<Record> {
    let last = records.last().unwrap();
    let mut record = begun(engine, &last.person, last.at.plus_minutes(minutes));
    record.kind = Kind::Resumed;
    let mut all = records.to_vec();
    all.push(record);
    all
}

#[test]
fn after_any_prefix_a_restart_gives_no_higher_world_and_no_proof() {
    with_all(|engine, name, rehearsal, _| {
        let records = records_of(engine, name, rehearsal);
        let stride = if records.len() > 100 { 7 } else { 1 };
        for length in (1..=records.len()).step_by(stride) {
            let before = fold(&records[..length]);
            assert!(before.broken_at.is_none(), "{name}: {:?}", before.broken_at);
            let after = fold(&resumed(engine, &records[..length], 1));
            assert!(is_no_higher(&after.world, &before.world), "{name}: higher after record {length}");
            assert!(after.world.started().is_none(), "{name}: a step is in hand after record {length}");
            let secured = ["light", gate::MAIN_SWITCH, gate::VOID]
                .iter()
                .any(|circuit| before.world.level(circuit) == Level::Secured);
            assert_eq!(
                after.world.in_doubt(),
                secured || before.world.in_doubt(),
                "{name}: doubt after record {length}"
            );
        }
    });
}

#[test]
fn killed_at_every_record_of_the_sample_every_answer_is_there_again() {
    let engine = Engine::new(Bundle::open("isolate").unwrap()).unwrap();
    let rehearsal = Rehearsal::read(&embedded_rehearsals("isolate")["sample.toml"]).unwrap();
    let records = records_of(&engine, "isolate/sample", &rehearsal);
    for length in 1..=records.len() {
        let all = resumed(&engine, &records[..length], 1);
        let turn = engine.advance(&all, all.last().unwrap().at);
        let on_trail: Vec<&str> = turn.trail.iter().map(|passed| passed.interaction.key.as_str()).collect();
        let answered = records[..length].iter().filter(|record| matches!(record.kind, Kind::Said | Kind::Done));
        for record in answered {
            let there = on_trail.contains(&record.key.as_str()) || record.key.starts_with("duty.");
            assert!(there, "after record {length} the answer to {} is not there", record.key);
        }
        assert!(!matches!(turn.ask, Ask::Broken(_)), "after record {length}: {:?}", turn.ask);
    }
}

fn bytes_of(run: RunKind, procedure: &str, records: &[Record]) -> Vec<u8> {
    let storage = FailingStorage::new();
    let header =
        Header { run, procedure: procedure.into(), scripts: "00".into(), modules: "00".into(), facts: "00".into() };
    let mut ledger = Ledger::create(Box::new(storage.clone()), header).unwrap();
    for record in records {
        ledger.append(record.clone()).unwrap();
    }
    storage.files()[ledger::LEDGER_FILE].clone()
}

/// The file cut into its header and its records.
fn blocks_of(bytes: &[u8]) -> Vec<String> {
    let text = String::from_utf8(bytes.to_vec()).unwrap();
    let mut blocks = Vec::new();
    let mut rest = text.as_str();
    while let Some(next) = rest[1..].find("[[record]]") {
        blocks.push(rest[..=next].to_owned());
        rest = &rest[next + 1..];
    }
    blocks.push(rest.to_owned());
    blocks
}

/// What an attacked file reads as: damaged, or a world that is no higher than the untouched prefix of that length.
fn holds(attacked: &str, untouched: &[Record], what: &str) {
    let Ok(reading) = ledger::read(attacked.as_bytes()) else { return };
    assert!(reading.records.len() <= untouched.len(), "{what}: a record was invented");
    let world = fold(&reading.records).world;
    let prefix = fold(&untouched[..reading.records.len()]).world;
    assert!(is_no_higher(&world, &prefix), "{what}: higher than the untouched prefix");
    let whole = reading.damage.is_none() && reading.torn.is_none();
    assert!(!whole || reading.records == untouched[..reading.records.len()], "{what}: passed as sound");
}

#[test]
fn no_edit_of_the_sample_ledger_raises_anything() {
    let engine = Engine::new(Bundle::open("isolate").unwrap()).unwrap();
    let rehearsal = Rehearsal::read(&embedded_rehearsals("isolate")["sample.toml"]).unwrap();
    let records = records_of(&engine, "isolate/sample", &rehearsal);
    let own = blocks_of(&bytes_of(RunKind::Job, "isolate", &records));
    assert_eq!(own.len(), records.len() + 1);
    let strangers = [
        blocks_of(&bytes_of(RunKind::Rehearsal, "isolate", &records)),
        blocks_of(&bytes_of(RunKind::Drill, "isolate", &records)),
        blocks_of(&bytes_of(RunKind::Job, "another", &records)),
    ];
    for at in 1..own.len() {
        let mut removed = own.clone();
        removed.remove(at);
        holds(&removed.concat(), &records, &format!("record {at} removed"));
        let mut repeated = own.clone();
        repeated.insert(at, own[at].clone());
        holds(&repeated.concat(), &records, &format!("record {at} repeated"));
        if at + 1 < own.len() {
            let mut swapped = own.clone();
            swapped.swap(at, at + 1);
            holds(&swapped.concat(), &records, &format!("records {at} and {} swapped", at + 1));
        }
        for stranger in &strangers {
            let mut spliced = own.clone();
            spliced[at].clone_from(&stranger[at]);
            holds(&spliced.concat(), &records, &format!("record {at} taken from another ledger"));
        }
    }
}

#[test]
fn a_conductors_step_never_starts_without_a_proof() {
    let mut tried = 0;
    with_all(|engine, name, rehearsal, _| {
        // The small procedure has every kind of start, and is short enough for every place of every one.
        if !name.starts_with("isolate/") {
            return;
        }
        let records = records_of(engine, name, rehearsal);
        // Every start of a step with hands on conductors, put right after each earlier record: only where a proof
        // stands does the fold take it.
        let starts: Vec<&Record> = records.iter().filter(|record| record.kind == Kind::Started).collect();
        for length in 1..records.len() {
            for start in &starts {
                let mut forged = records[..length].to_vec();
                let mut record = (*start).clone();
                record.at = forged.last().unwrap().at;
                forged.push(record);
                if fold(&forged).broken_at.is_some() {
                    continue;
                }
                let risks: Vec<gate::Risk> = serde_json::from_value(forged[length].body["risk"].clone()).unwrap();
                let before = fold(&records[..length]).world.at(forged[length].at);
                for risk in risks {
                    if let gate::Risk::Conductors { point, .. } = risk
                        && !point.unconnected
                    {
                        let proved = before.proved_until(&point, forged[length].at);
                        assert!(proved.is_some(), "{name}: hands on the {} after record {length}", point.name);
                        tried += 1;
                    }
                }
            }
        }
    });
    assert!(tried > 10, "only {tried} starts stood behind a proof");
}
