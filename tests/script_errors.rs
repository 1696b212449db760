//! Mistakes that authors make: each refused with its place, and with what to write instead.

use std::collections::BTreeMap;

use lampwright::engine::Engine;
use lampwright::engine::assume::AsBefore;
use lampwright::engine::bundle::{Bundle, embedded_facts, embedded_modules};
use lampwright::engine::fold::fold;
use lampwright::engine::replay::Frontier;
use lampwright::engine::scripterror::ScriptError;
use lampwright::moment::Moment;

const PROCEDURE: &str =
    "title = \"t\"\nrevision = 1\n[[stage]]\nfile = \"a.rhai\"\ntitle = \"A\"\nplace = \"here\"\nstop_if = [\"x\"]\n";

/// What happens to a stage with this body, every question answered with its sample.
fn refusal(body: &str) -> Option<ScriptError> {
    let script = format!("fn stage() {{\n{body}\n}}\n");
    let files =
        BTreeMap::from([(String::from("procedure.toml"), PROCEDURE.to_owned()), (String::from("a.rhai"), script)]);
    let bundle = Bundle::from_files("t", files, embedded_modules(), embedded_facts()).unwrap();
    let engine = match Engine::new(bundle) {
        Ok(engine) => engine,
        Err(error) => return Some(error),
    };
    let replay = engine.replay(&[], &fold(&[]), Moment::START, Some(Box::new(AsBefore)));
    match replay.frontier {
        Frontier::Broken(error) => Some(error),
        _ => None,
    }
}

#[test]
fn mistakes_are_named_where_they_stand() {
    let cases: &[(&str, usize, &str)] = &[
        ("stp(\"a\", #{ text: \"x\" }); finish();", 2, "Function not found"),
        ("step(\"a\", #{ txt: \"x\" }); finish();", 2, "unknown field `txt`"),
        ("step(\"a\", #{ text: \"\" }); finish();", 2, "empty text"),
        ("step(\"a\", #{}); finish();", 2, "missing field `text`"),
        ("step(\"A\", #{ text: \"x\" }); finish();", 2, "small letters"),
        ("step(\"a\", #{ text: \"x\", tools: 3 }); finish();", 2, "tools"),
        ("step(\"a\", #{ text: \"x\", minutes: \"five\" }); finish();", 2, "minutes"),
        ("step(\"a\", #{ text: \"x\", risk: \"hight\" }); finish();", 2, "hight"),
        ("step(\"a\", #{ text: \"x\", cautions: #{ hazard: \"h\" } }); finish();", 2, "consequence"),
        ("step(\"a\", #{ text: \"x\", place: \"roof\" }); finish();", 2, "roof"),
        ("step(\"a\", #{ text: \"x\" });\nstep(\"a\", #{ text: \"y\" }); finish();", 3, "asked twice"),
        ("let k = \"a\"; step(k, #{ text: \"x\" }); finish();", 2, "not written out"),
        ("ask::one_of(\"a\", #{ text: \"x\", options: [\"one\"] }); finish();", 2, "fewer than two"),
        ("ask::amount(\"a\", #{ text: \"x\" }); finish();", 2, "without a unit"),
        ("ask::length(\"a\", #{ text: \"x\", least: 3.0, most: 2.0 }); finish();", 2, "more than most"),
        ("ask::lenght(\"a\", #{ text: \"x\" }); finish();", 2, "Function not found"),
        ("choose(\"a\", #{ text: \"x\", among: [] }); finish();", 2, "no maps"),
        ("choose(\"a\", #{ text: \"x\", among: [1] }); finish();", 2, "no maps"),
        ("read(\"a\", #{ text: \"x\", what: \"w\" }); finish();", 2, "neither a unit nor options"),
        ("read(\"a\", #{ text: \"x\", what: \"w\", unit: \"Ω\", limit: 3 }); finish();", 2, "never a bare number"),
        (
            "read(\"a\", #{ text: \"x\", what: \"w\", unit: \"Ω\", limit: fact(\"job.short\") }); finish();",
            2,
            "when it fails",
        ),
        ("read(\"a\", #{ text: \"x\", unit: \"Ω\" }); finish();", 2, "missing field `what`"),
        ("pause(\"a\", #{ items: [] }); finish();", 2, "0 items"),
        ("pause(\"a\", #{ items: [1,2,3,4,5,6,7,8,9,0] }); finish();", 2, "items"),
        ("fact(\"no.such\"); finish();", 2, "no fact called"),
        ("let x = 5 / 2; finish();", 2, "drop the remainder"),
        ("let x = this.nothing; finish();", 2, "nothing"),
        ("let x = y; finish();", 2, "y"),
        ("while true { } finish();", 2, "while"),
        ("loop { } finish();", 2, "loop"),
        ("try { } catch { } finish();", 2, "try"),
        ("print(\"x\"); finish();", 2, "print"),
        ("eval(\"x\"); finish();", 2, "eval"),
        ("import \"lib/nothing\" as n; finish();", 2, "no module"),
        ("let m = \"lib/isolation\"; import m as n; finish();", 2, "literal name"),
        ("work_point(\"rose\", #{ circuit: \"light\" }); finish();", 2, "neither terminals nor ends"),
        ("work_point(\"rose\", #{ terminals: [\"loop\"] }); finish();", 2, "circuit"),
        ("set_out::rank(#{ room: #{ length: 4.2 } }); finish();", 2, "length"),
        ("circuit::figure(#{ suply: 1 }); finish();", 2, "suply"),
        ("show::table(#{ title: \"t\" }); finish();", 2, "columns"),
        ("stop(\"S-x\", #{ text: \"t\" });", 2, "leave_safe"),
        ("return_to(\"nowhere\", \"x\");", 0, "no earlier stage"),
        ("let x = 1;", 1, "without `finish()`"),
        ("let f = |x| x + 1; finish(f);", 2, "finish"),
        ("step(\"a\", #{ text: \"x\" ); finish();", 2, ""),
    ];
    assert!(cases.len() >= 40);
    for (body, line, words) in cases {
        let error = refusal(body).unwrap_or_else(|| panic!("not refused: {body}"));
        assert_eq!(error.site.line, *line, "{body}: {error}");
        assert!(error.message.contains(words), "{body}: {error}");
        assert_eq!(error.site.file, "a.rhai", "{body}: {error}");
    }
}

#[test]
fn scripts_that_run_away_are_stopped() {
    for body in [
        "for i in range(0, 9_000_000, 1) { } finish();",
        "let s = \"xxxxxxxx\"; for i in range(0, 60, 1) { s += s; } finish();",
        "let a = [0, 0, 0, 0]; for i in range(0, 60, 1) { a += a; } finish();",
        "let a = []; for i in range(0, 1500, 1) { a.push(i); } for i in range(0, 100000, 1) { a.contains(-1); } finish();",
        "let a = []; for i in range(0, 1500, 1) { a.push(i); } for i in range(0, 1000, 1) { a.map(|x| x + 1); } finish();",
        "[3, 1, 2].sort(|a, b| { finish(); 0 }); stp();",
    ] {
        let began = std::time::Instant::now();
        let refused = refusal(body);
        let quick = began.elapsed() < std::time::Duration::from_secs(3);
        assert!(quick, "{body} took {:?}", began.elapsed());
        assert!(refused.is_some() || body.contains("sort"), "{body} was not stopped");
    }
}
