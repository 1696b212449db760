//! First prompt of a new job, next prompt after a thousand answers, and the sync beside them.
//!
//! Run with `cargo bench`. Each figure is the median of several runs on this machine; the targets stand beside it.

use std::collections::BTreeMap;
use std::hint::black_box;
use std::time::{Duration, Instant};

use lampwright::engine::Engine;
use lampwright::engine::bundle::{Bundle, embedded_facts, embedded_modules};
use lampwright::engine::rehearse::begun;
use lampwright::engine::turn::Ask;
use lampwright::engine::typed::reply_of;
use lampwright::ledger::{FileStorage, Header, Ledger, Record, RunKind};
use lampwright::moment::Moment;

fn median(mut run: impl FnMut() -> Duration, times: usize) -> Duration {
    let mut all: Vec<_> = (0..times).map(|_| run()).collect();
    all.sort();
    all[times / 2]
}

fn show(what: &str, time: Duration, target_ms: f64) {
    let ms = time.as_secs_f64() * 1000.0;
    let verdict = if ms <= target_ms { "within" } else { "ABOVE" };
    eprintln!("{what:<48} {ms:>8.2} ms   target {target_ms} ms   {verdict}");
}

/// A procedure that asks a thousand counts.
fn thousand() -> Bundle {
    let mut toml = String::from("title = \"t\"\nrevision = 1\n");
    let mut files = BTreeMap::new();
    for stage in 0..10 {
        toml.push_str(&format!(
            "[[stage]]\nfile = \"s{stage}.rhai\"\ntitle = \"S{stage}\"\nplace = \"here\"\nstop_if = [\"x\"]\n"
        ));
        let end = if stage == 9 { "ask::count(\"last\", #{ text: \"Last?\" }); finish();" } else { "" };
        let script = format!(
            "fn stage() {{ for i in range(0, 100, 1) {{ ask::count(\"s{stage}.q\", #{{ of: `T${{i}}`, text: \"How many?\", least: 0, most: 9 }}); }} {end} }}"
        );
        files.insert(format!("s{stage}.rhai"), script);
    }
    files.insert(String::from("procedure.toml"), toml);
    Bundle::from_files("thousand", files, embedded_modules(), embedded_facts()).expect("the bundle reads")
}

fn main() {
    let now: Moment = "2026-03-02T09:00".parse().expect("a moment");
    let names: Vec<String> = Bundle::shipped().into_iter().map(|(name, _)| name).collect();
    for name in names {
        let first = median(
            || {
                let began = Instant::now();
                let engine = Engine::new(Bundle::open(&name).expect("it opens")).expect("it compiles");
                let records = vec![begun(&engine, "A", now)];
                black_box(engine.advance(&records, now));
                began.elapsed()
            },
            15,
        );
        show(&format!("first prompt of a new job: {name}"), first, 30.0);
    }

    let engine = Engine::new(thousand()).expect("it compiles");
    let mut records: Vec<Record> = vec![begun(&engine, "A", now)];
    for stage in 0..10 {
        for i in 0..100 {
            // Each answer is made by the engine itself, on a ledger that is a hundred answers behind at the most.
            let turn = engine.advance(&records, now);
            let Ask::Plan { .. } = &turn.ask else { panic!("no question at {}", turn.key) };
            assert_eq!(turn.key, format!("s{stage}.q/T{i}"));
            let reply = reply_of(&turn, &turn.key, &[String::from("3")]);
            records.push(engine.accept(&records, &turn, &reply, "A", now).expect("it is taken"));
        }
    }
    let next = median(
        || {
            let began = Instant::now();
            black_box(engine.advance(&records, now));
            began.elapsed()
        },
        31,
    );
    show("next prompt after 1,000 answers", next, 20.0);

    let folder = std::env::temp_dir().join(format!("lampwright-bench-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("a folder");
    let header = Header {
        run: RunKind::Rehearsal,
        procedure: String::from("thousand"),
        scripts: String::from("0"),
        modules: String::from("0"),
        facts: String::from("0"),
    };
    let mut ledger = Ledger::create(Box::new(FileStorage::new(&folder)), header).expect("a ledger");
    let mut left = records.iter().cycle();
    let sync = median(
        || {
            let record = left.next().expect("records").clone();
            let began = Instant::now();
            ledger.append(record).expect("it is written");
            began.elapsed()
        },
        101,
    );
    show("one durable answer (write and sync)", sync, 20.0);
    let _ = std::fs::remove_dir_all(&folder);
}
