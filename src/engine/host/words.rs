//! The words of a stage: what a script can ask, do, show and end.
//!
//! Every word takes a literal key and one map. The map is read into a typed form that knows all its fields, so that a
//! slip of the pen is an error with the field's name, not something ignored.

use rhai::{Array, Dynamic, Engine, EvalAltResult, FuncRegistration, Map, Module, NativeCallContext};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};

use super::run::{self, Latch, broken, word};
use super::values::{map_to_json, rounded, to_dynamic, to_json, without_nothing};
use crate::engine::interaction::{
    Card, Caution, Duty, Form, Hazardous, Interaction, Kind, Limit, Place, Question, Reading, Shown, Site, Step,
    Verdict,
};
use crate::engine::replay::{Frontier, PointSpec, Sign, Signpost, StopSpec};

type Call<T> = Result<T, Box<EvalAltResult>>;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct StepSpec {
    text: String,
    #[serde(default)]
    of: String,
    #[serde(default)]
    cautions: Vec<Caution>,
    #[serde(default)]
    tools: Vec<String>,
    #[serde(default)]
    materials: Vec<String>,
    #[serde(default = "one")]
    minutes: f64,
    #[serde(default)]
    risk: Vec<Hazardous>,
    #[serde(default)]
    opens: Vec<Duty>,
    #[serde(default)]
    closes: Vec<String>,
    #[serde(default = "alone")]
    people: u32,
    #[serde(default)]
    place: Place,
}

fn one() -> f64 {
    1.0
}

fn alone() -> u32 {
    1
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct QuestionSpec {
    text: String,
    #[serde(default)]
    of: String,
    least: Option<f64>,
    most: Option<f64>,
    #[serde(default)]
    unit: String,
    #[serde(default)]
    options: Vec<String>,
    #[serde(default)]
    why: String,
    #[serde(default)]
    sample: Value,
    #[serde(default)]
    must: bool,
    #[serde(default)]
    place: Place,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ReadSpec {
    text: String,
    what: String,
    #[serde(default)]
    of: String,
    #[serde(default)]
    unit: String,
    #[serde(default)]
    method: String,
    #[serde(default)]
    limit: Value,
    #[serde(default)]
    options: Vec<String>,
    #[serde(default)]
    on_fail: String,
    #[serde(default)]
    may_stay_open: bool,
    #[serde(default)]
    cautions: Vec<Caution>,
    #[serde(default)]
    tools: Vec<String>,
    #[serde(default)]
    risk: Vec<Hazardous>,
    #[serde(default = "one")]
    minutes: f64,
    #[serde(default)]
    sample: Value,
    #[serde(default)]
    place: Place,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ChoiceSpec {
    text: String,
    among: Vec<Value>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PauseSpec {
    #[serde(default)]
    text: String,
    items: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WaitSpec {
    text: String,
    who: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TableSpec {
    title: String,
    columns: Vec<String>,
    rows: Vec<Vec<Value>>,
}

/// The most items of a pause point.
const MOST_ITEMS: usize = 9;

/// Reads the map of a word into its typed form; single entries stand for lists of one.
fn spec<T: DeserializeOwned>(site: &Site, word: &str, map: &Map) -> Result<T, Latch> {
    let mut value = map_to_json(map).map_err(|message| broken(site, format!("{word}: {message}"), ""))?;
    if let Value::Object(entries) = &mut value {
        for list in ["risk", "opens", "closes", "tools", "materials", "cautions"] {
            if let Some(entry) = entries.get_mut(list)
                && !entry.is_array()
            {
                *entry = json!([entry.take()]);
            }
        }
        if let Some(Value::Array(risks)) = entries.get_mut("risk") {
            for risk in risks.iter_mut().filter(|risk| risk.is_string()) {
                *risk = json!({ "risk": risk.take() });
            }
        }
    }
    serde_path_to_error::deserialize(value).map_err(|error| {
        let path = error.path().to_string();
        let place = if path == "." { String::new() } else { format!("`{path}`: ") };
        let advice = format!("`lampwright words {word}` lists the fields of `{word}`");
        broken(site, format!("{word}: {place}{}", error.into_inner()), advice)
    })
}

fn interaction(site: &Site, key: &str, of: &str, text: String, kind: Kind) -> Result<Interaction, Latch> {
    let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '.' || c == '_' || c == '-';
    if key.is_empty() || !key.chars().all(plain) {
        let message = format!("the key `{key}` is not made of small letters, digits, points, `_` and `-`");
        return Err(broken(site, message, "write a permanent dotted key such as \"room.length\""));
    }
    if text.trim().is_empty() {
        return Err(broken(site, format!("`{key}` has an empty text"), "say what the person does or tells"));
    }
    Ok(run::with(|run| Interaction {
        key: run.full_key(key, of),
        text,
        of: of.to_owned(),
        kind,
        site: site.clone(),
        card: None,
        stage: run.stage,
        window: run.window.clone(),
        round: run.round,
    }))
}

fn step_of(site: &Site, key: &str, spec: StepSpec) -> Result<Interaction, Latch> {
    let kind = Kind::Step(Step {
        cautions: spec.cautions,
        tools: spec.tools,
        materials: spec.materials,
        minutes: spec.minutes,
        risk: spec.risk,
        opens: spec.opens,
        closes: spec.closes,
        people: spec.people,
        place: spec.place,
    });
    interaction(site, key, &spec.of, spec.text, kind)
}

fn reading_of(site: &Site, key: &str, spec: ReadSpec) -> Result<Interaction, Latch> {
    let limit = limit_of(site, &spec.limit)?;
    if limit.is_some() && spec.on_fail.trim().is_empty() {
        let advice = "add `on_fail:` with what the person does when the reading fails";
        return Err(broken(site, format!("`{key}` has a limit and does not say what happens when it fails"), advice));
    }
    if spec.unit.is_empty() && spec.options.is_empty() {
        let message = format!("`{key}` has neither a unit nor options");
        return Err(broken(site, message, "give `unit: \"Ω\"`, or `options:` with the passing word first"));
    }
    let kind = Kind::Reading(Box::new(Reading {
        what: spec.what,
        unit: spec.unit,
        method: spec.method,
        limit,
        options: spec.options,
        on_fail: spec.on_fail,
        may_stay_open: spec.may_stay_open,
        cautions: spec.cautions,
        tools: spec.tools,
        risk: spec.risk,
        minutes: spec.minutes,
        sample: spec.sample,
        place: spec.place,
    }));
    interaction(site, key, &spec.of, spec.text, kind)
}

/// A limit out of a fact, a finding or a range of `verify`; a bare number is refused.
fn limit_of(site: &Site, value: &Value) -> Result<Option<Limit>, Latch> {
    let number = |name: &str| value.get(name).and_then(Value::as_f64);
    let text = |name: &str| value.get(name).and_then(Value::as_str).unwrap_or("").to_owned();
    let entries = match value {
        Value::Null => return Ok(None),
        Value::Object(entries) => entries,
        _ => {
            let advice = "take it from `fact(…)`, from a finding, or from `verify::range(…)`";
            return Err(broken(site, "a limit is a fact or a finding, never a bare number", advice));
        }
    };
    let mut limit = Limit { unit: text("unit"), source: text("source"), ..Limit::default() };
    let bound = if entries.contains_key("limit") { number("limit") } else { number("value") };
    match text("side").as_str() {
        "least" => limit.least = bound,
        "most" => limit.most = bound,
        _ => {
            limit.least = number("least");
            limit.most = number("most");
        }
    }
    limit.expected = number("expected");
    limit.low = number("low");
    limit.high = number("high");
    if limit == (Limit { unit: limit.unit.clone(), source: limit.source.clone(), ..Limit::default() }) {
        return Err(broken(site, "this fact or finding is no limit: it names no least or most value", ""));
    }
    Ok(Some(limit))
}

fn step(context: &NativeCallContext, key: &str, map: &Map) -> Call<()> {
    word(context, |site| {
        let asked = step_of(site, key, spec(site, "step", map)?)?;
        run::ask(asked).map(|_| ())
    })
}

fn read(context: &NativeCallContext, key: &str, map: &Map) -> Call<Dynamic> {
    word(context, |site| take_reading(reading_of(site, key, spec(site, "read", map)?)?))
}

/// Asks a reading and remembers its verdict on the trail.
fn take_reading(asked: Interaction) -> Result<Dynamic, Latch> {
    let (what, of) = match &asked.kind {
        Kind::Reading(reading) => (reading.what.clone(), asked.of.clone()),
        _ => (String::new(), String::new()),
    };
    let answer = run::ask(asked)?;
    let verdict = answer
        .body
        .get("verdict")
        .and_then(|verdict| serde_json::from_value::<Verdict>(verdict.clone()).ok())
        .unwrap_or(Verdict::Noted);
    run::found(&what, &of, verdict);
    Ok(to_dynamic(&json!({ "value": rounded(answer.value()), "verdict": verdict.word() })))
}

fn question(context: &NativeCallContext, word_name: &str, form: Form, key: &str, map: &Map) -> Call<Dynamic> {
    word(context, |site| {
        let spec: QuestionSpec = spec(site, word_name, map)?;
        if form == Form::OneOf && spec.options.len() < 2 {
            return Err(broken(site, format!("`{key}` offers fewer than two options"), "add them under `options:`"));
        }
        if form == Form::Amount && spec.unit.is_empty() {
            return Err(broken(site, format!("`{key}` asks for an amount without a unit"), "add `unit: \"Ω\"`, say"));
        }
        if let (Some(least), Some(most)) = (spec.least, spec.most)
            && least > most
        {
            return Err(broken(site, format!("`{key}`: least {least} is more than most {most}"), "swap them"));
        }
        let kind = Kind::Question(Question {
            form,
            least: spec.least,
            most: spec.most,
            unit: spec.unit,
            options: spec.options,
            why: spec.why,
            sample: spec.sample,
            must: spec.must,
            place: spec.place,
        });
        let answer = run::ask(interaction(site, key, &spec.of, spec.text, kind)?)?;
        // *Not sure* comes out as its own words where words are expected, and as nothing where a number is.
        let unsure_number = matches!(form, Form::Length | Form::Count | Form::Amount) && answer.value().is_string();
        Ok(if unsure_number { Dynamic::UNIT } else { to_dynamic(&rounded(answer.value())) })
    })
}

fn choose(context: &NativeCallContext, key: &str, map: &Map) -> Call<Dynamic> {
    word(context, |site| {
        let spec: ChoiceSpec = spec(site, "choose", map)?;
        if spec.among.is_empty() || !spec.among.iter().all(Value::is_object) {
            let message = format!("`{key}`: `among` holds no maps to choose from");
            return Err(broken(site, message, "test for an empty list first and stop with a reason"));
        }
        let among = spec.among.iter().map(|offer| without_nothing(&rounded(offer))).collect();
        let answer = run::ask(interaction(site, key, "", spec.text, Kind::Choice { among })?)?;
        Ok(to_dynamic(answer.value()))
    })
}

fn pause(context: &NativeCallContext, key: &str, map: &Map, hand_over: bool) -> Call<()> {
    word(context, |site| {
        let name = if hand_over { "hand_over" } else { "pause" };
        let spec: PauseSpec = spec(site, name, map)?;
        if spec.items.is_empty() || spec.items.len() > MOST_ITEMS {
            let message = format!("`{key}` has {} items; a pause point holds 1 to {MOST_ITEMS}", spec.items.len());
            return Err(broken(site, message, "leave out what is not checked at this moment"));
        }
        if hand_over && !run::with(|run| run.last_stage) {
            return Err(broken(site, "a hand-over belongs to the last stage only", "use `pause` here"));
        }
        let text = if spec.text.is_empty() { String::from("Pause.") } else { spec.text };
        run::ask(interaction(site, key, "", text, Kind::Pause { items: spec.items, hand_over })?).map(|_| ())
    })
}

fn wait_for(context: &NativeCallContext, code: &str, map: &Map) -> Call<()> {
    word(context, |site| {
        let spec: WaitSpec = spec(site, "wait_for", map)?;
        let key = code.to_ascii_lowercase();
        let kind = Kind::Wait { code: code.to_owned(), who: spec.who };
        run::ask(interaction(site, &key, "", spec.text, kind)?).map(|_| ())
    })
}

fn stop(context: &NativeCallContext, code: &str, map: &Map) -> Call<()> {
    word(context, |site| {
        let mut stop: StopSpec = spec(site, "stop", map)?;
        code.clone_into(&mut stop.code);
        stop.site = site.clone();
        Err(Latch::Frontier(Box::new(Frontier::Stop(stop))))
    })
}

fn card_for(context: &NativeCallContext, tag: &str, rows: &Array) -> Call<Dynamic> {
    word(context, |site| {
        let mut asked = Vec::new();
        for row in rows {
            let mut map = row.clone().try_cast::<Map>().ok_or_else(|| broken(site, "card_for: a row is no map", ""))?;
            let key = map.remove("key").and_then(|key| key.into_string().ok()).unwrap_or_default();
            map.insert("of".into(), Dynamic::from(tag.to_owned()));
            let reading = map.contains_key("what");
            let interaction = if reading {
                reading_of(site, &key, spec(site, "read", &map)?)?
            } else {
                step_of(site, &key, spec(site, "step", &map)?)?
            };
            asked.push((key, interaction));
        }
        let texts: Vec<_> = asked.iter().map(|(_, interaction)| interaction.text.clone()).collect();
        let mut results = Map::new();
        for (at, (key, mut interaction)) in asked.into_iter().enumerate() {
            interaction.card = Some(Card { tag: tag.to_owned(), rows: texts.clone(), at });
            let result = if matches!(interaction.kind, Kind::Reading(_)) {
                take_reading(interaction)?
            } else {
                run::ask(interaction).map(|_| Dynamic::UNIT)?
            };
            results.insert(key.into(), result);
        }
        Ok(Dynamic::from(results))
    })
}

fn work_point(context: &NativeCallContext, name: &str, map: &Map) -> Call<()> {
    word(context, |site| {
        let mut point: PointSpec = spec(site, "work_point", map)?;
        name.clone_into(&mut point.name);
        if point.terminals.is_empty() && point.ends.is_empty() {
            let advice = "list its `terminals:`, or the parted `ends:` as \"C1.brown\"";
            return Err(broken(site, format!("the work point `{name}` has neither terminals nor ends"), advice));
        }
        run::with(|run| run.points.insert(name.to_owned(), point));
        Ok(())
    })
}

fn signpost(context: &NativeCallContext, what: Sign, about: &str) -> Call<()> {
    word(context, |site| {
        let signpost = run::with(|run| Signpost {
            what,
            about: about.to_owned(),
            window: run.window.clone(),
            round: run.round,
            stage: run.stage,
            site: site.clone(),
        });
        run::pass(signpost)
    })
}

fn show(context: &NativeCallContext, make: impl FnOnce(Value) -> Shown, map: &Map) -> Call<()> {
    word(context, |site| {
        let value = map_to_json(map).map_err(|message| broken(site, message, ""))?;
        run::show(make(rounded(&value)));
        Ok(())
    })
}

fn show_table(context: &NativeCallContext, map: &Map) -> Call<()> {
    word(context, |site| {
        let table: TableSpec = spec(site, "show::table", map)?;
        let cell = |cell: &Value| cell.as_str().map_or_else(|| cell.to_string(), str::to_owned);
        let rows = table.rows.iter().map(|row| row.iter().map(cell).collect()).collect();
        run::show(Shown::Table { title: table.title, columns: table.columns, rows });
        Ok(())
    })
}

fn fact(context: &NativeCallContext, name: &str) -> Call<Dynamic> {
    word(context, |site| {
        let found = run::with(|run| run.facts.get(name).cloned());
        let fact = found.ok_or_else(|| {
            broken(site, format!("there is no fact called `{name}`"), "`lampwright words facts` lists them")
        })?;
        Ok(to_dynamic(&json!({
            "name": fact.name, "value": fact.value, "unit": fact.unit, "side": fact.side,
            "source": fact.source.to_string(), "note": fact.note,
        })))
    })
}

/// Registers the words.
pub fn register(engine: &mut Engine) {
    engine
        .register_fn("step", |c: NativeCallContext, key: &str, map: Map| step(&c, key, &map))
        .register_fn("read", |c: NativeCallContext, key: &str, map: Map| read(&c, key, &map))
        .register_fn("choose", |c: NativeCallContext, key: &str, map: Map| choose(&c, key, &map))
        .register_fn("pause", |c: NativeCallContext, key: &str, map: Map| pause(&c, key, &map, false))
        .register_fn("hand_over", |c: NativeCallContext, key: &str, map: Map| pause(&c, key, &map, true))
        .register_fn("wait_for", |c: NativeCallContext, code: &str, map: Map| wait_for(&c, code, &map))
        .register_fn("stop", |c: NativeCallContext, code: &str, map: Map| stop(&c, code, &map))
        .register_fn("card_for", |c: NativeCallContext, tag: &str, rows: Array| card_for(&c, tag, &rows))
        .register_fn("work_point", |c: NativeCallContext, name: &str, map: Map| work_point(&c, name, &map))
        .register_fn("isolated", |c: NativeCallContext, circuit: &str| signpost(&c, Sign::Isolated, circuit))
        .register_fn("restored", |c: NativeCallContext, circuit: &str| signpost(&c, Sign::Restored, circuit))
        .register_fn("coating_clear", |c: NativeCallContext| signpost(&c, Sign::CoatingClear, "ceiling"))
        .register_fn("hole_clear", |c: NativeCallContext, tag: &str| signpost(&c, Sign::HoleClear, tag))
        .register_fn("fact", |c: NativeCallContext, name: &str| fact(&c, name))
        .register_fn("card", |c: NativeCallContext, name: &str| {
            word(&c, |_| {
                run::show(Shown::Card { name: name.to_owned() });
                Ok(())
            })
        })
        .register_fn("window", |c: NativeCallContext, name: &str| {
            word(&c, |_| {
                run::with(|run| name.clone_into(&mut run.window));
                Ok(())
            })
        })
        .register_fn("return_to", |c: NativeCallContext, stage: &str, because: &str| -> Call<()> {
            word(&c, |_| Err(Latch::Return { stage: stage.to_owned(), because: because.to_owned() }))
        })
        .register_fn("finish", |c: NativeCallContext| -> Call<()> {
            word(&c, |site| {
                if run::with(|run| run.last_stage) {
                    return Err(Latch::Frontier(Box::new(Frontier::Finish)));
                }
                Err(broken(site, "`finish()` belongs to the last stage only", "leave the stage by returning from it"))
            })
        });
    register_risks(engine);
    register_plain(engine);
    register_namespaces(engine);
}

/// Risks that are about something, and duties, as small maps.
fn register_risks(engine: &mut Engine) {
    let risk = |value: Value| to_dynamic(&value);
    engine
        .register_fn("conductors", move |point: &str| risk(json!({"risk": "conductors", "point": point})))
        .register_fn("unmoved_conductors", move |point: &str| {
            risk(json!({"risk": "conductors", "point": point, "unmoved": true}))
        })
        .register_fn("probe", move |hole: &str| risk(json!({"risk": "probe", "hole": hole})))
        .register_fn("cut", move |hole: &str| risk(json!({"risk": "cut", "hole": hole})))
        .register_fn("timber", move |hole: &str| risk(json!({"risk": "timber", "hole": hole})))
        .register_fn("restore", move |circuit: &str, how: &str| {
            risk(json!({"risk": "restore", "circuit": circuit, "how": how}))
        })
        .register_fn("duty", move |name: &str, closing: &str| risk(json!({"name": name, "closing": closing})));
}

/// Helpers that compute nothing of the trade: numbers and lists into words.
fn register_plain(engine: &mut Engine) {
    fn shown(value: f64, decimals: i64) -> String {
        crate::quantity::plain(value, usize::try_from(decimals.clamp(0, 9)).unwrap_or(0))
    }
    engine
        .register_fn("shown", shown)
        .register_fn("shown", |value: i64, _decimals: i64| value.to_string())
        .register_fn("joined", |c: NativeCallContext, list: Array, between: &str| -> Call<String> {
            word(&c, |site| {
                let texts = list.iter().map(|item| match to_json(item) {
                    Ok(Value::String(text)) => Ok(text),
                    Ok(other) => Ok(other.to_string()),
                    Err(message) => Err(broken(site, message, "")),
                });
                Ok(texts.collect::<Result<Vec<_>, _>>()?.join(between))
            })
        });
}

fn register_namespaces(engine: &mut Engine) {
    let mut ask = Module::new();
    let forms = [
        ("length", Form::Length),
        ("count", Form::Count),
        ("amount", Form::Amount),
        ("one_of", Form::OneOf),
        ("yes_no", Form::YesNo),
        ("text", Form::Text),
        ("name", Form::Name),
    ];
    for (name, form) in forms {
        FuncRegistration::new(name).set_into_module(&mut ask, move |c: NativeCallContext, key: &str, map: Map| {
            question(&c, &format!("ask::{name}"), form, key, &map)
        });
    }
    engine.register_static_module("ask", ask.into());

    let mut shows = Module::new();
    FuncRegistration::new("plan").set_into_module(&mut shows, |c: NativeCallContext, map: Map| {
        show(&c, |drawing| Shown::Plan { drawing }, &map)
    });
    FuncRegistration::new("chain").set_into_module(&mut shows, |c: NativeCallContext, map: Map| {
        show(&c, |drawing| Shown::Chain { drawing }, &map)
    });
    FuncRegistration::new("junction").set_into_module(&mut shows, |c: NativeCallContext, map: Map| {
        show(&c, |drawing| Shown::Junction { drawing }, &map)
    });
    FuncRegistration::new("finding").set_into_module(&mut shows, |c: NativeCallContext, map: Map| {
        show(&c, |finding| Shown::Finding { finding }, &map)
    });
    FuncRegistration::new("table").set_into_module(&mut shows, |c: NativeCallContext, map: Map| show_table(&c, &map));
    FuncRegistration::new("say").set_into_module(&mut shows, |c: NativeCallContext, text: &str| {
        word(&c, |_| {
            run::show(Shown::Say { text: text.to_owned() });
            Ok(())
        })
    });
    engine.register_static_module("show", shows.into());
}
