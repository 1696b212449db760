//! The script host: one engine on a thread of its own, set up so that a script can ask, compute and show, and nothing
//! else: no file, clock, network, randomness or sleep; bounded in operations, time, memory and depth.
//!
//! The engine's values never leave the thread. A [`Host`] sends it jobs and gets plain data back.

mod calculators;
pub mod memo;
mod resolver;
pub mod run;
pub mod values;
mod words;

use std::sync::Arc;
use std::sync::mpsc::{Sender, channel};

use rhai::packages::{
    ArithmeticPackage, BasicArrayPackage, BasicFnPackage, BasicIteratorPackage, BasicMapPackage, BasicMathPackage,
    BasicStringPackage, LogicPackage, MoreStringPackage, Package,
};
use rhai::{AST, CallFnOptions, Dynamic, Engine, EvalAltResult, ImmutableString, Map, Position, Scope, Token};
use serde_json::Value;

use self::memo::Memo;
use self::run::{Latch, Run};
use super::answers::Answers;
use super::bundle::Bundle;
use super::interaction::Site;
use super::replay::{Frontier, MOST_ROUNDS, Oracle, Replay};
use super::scripterror::ScriptError;
use crate::facts::Facts;

/// Stack of the script thread. The worst nesting that the limits allow takes 19 MB in a debug build.
const STACK: usize = 64 * 1024 * 1024;

/// What a replay needs.
pub struct Job {
    /// What the ledger says.
    pub answers: Arc<Answers>,
    /// Answers beyond the ledger.
    pub oracle: Option<Box<dyn Oracle>>,
    /// Signposts that hold at this moment.
    pub holds: run::Holds,
}

type Envelope = (Job, Sender<Replay>);

/// A compiled bundle, ready to be replayed.
pub struct Host {
    jobs: Sender<Envelope>,
    /// Results of calculators, shared by all replays of this host.
    pub memo: Memo,
}

impl Host {
    /// Compiles a bundle on a new script thread.
    ///
    /// # Errors
    /// [`ScriptError`] for a script that does not compile or is refused before it runs.
    ///
    /// # Panics
    /// Only if the system gives no thread.
    pub fn new(bundle: &Bundle) -> Result<Self, ScriptError> {
        let (jobs, inbox) = channel::<Envelope>();
        let (ready, is_ready) = channel::<Result<(), ScriptError>>();
        let memo = Memo::default();
        let (bundle, kept) = (bundle.clone(), memo.clone());
        std::thread::Builder::new()
            .name(String::from("script"))
            .stack_size(STACK)
            .spawn(move || {
                let compiled = match Compiled::new(&bundle) {
                    Ok(compiled) => compiled,
                    Err(error) => return drop(ready.send(Err(error))),
                };
                let _ = ready.send(Ok(()));
                for (job, reply) in inbox {
                    let _ = reply.send(compiled.replay(job, kept.clone()));
                }
            })
            .expect("the system gives a thread");
        match is_ready.recv() {
            Ok(Ok(())) => Ok(Self { jobs, memo }),
            Ok(Err(error)) => Err(error),
            Err(_) => Err(ScriptError::new(Site::default(), "the script engine failed while it compiled", "")),
        }
    }

    /// Runs the stages against the answers.
    #[must_use]
    pub fn replay(&self, job: Job) -> Replay {
        let (reply, result) = channel();
        let _ = self.jobs.send((job, reply));
        result.recv().unwrap_or_else(|_| {
            let error = ScriptError::new(Site::default(), "the script engine failed", "this is a fault of the program");
            empty_replay(Frontier::Broken(error))
        })
    }
}

fn empty_replay(frontier: Frontier) -> Replay {
    Replay {
        frontier,
        trail: Vec::new(),
        shown: Vec::new(),
        shown_before: 0,
        facts: Value::Null,
        findings: Default::default(),
        points: Default::default(),
        stage: 0,
        window: String::new(),
        round: 1,
        asked: Default::default(),
        returns: Vec::new(),
    }
}

struct CompiledStage {
    file: String,
    title: String,
    takes: Option<Vec<String>>,
    gives: Option<Vec<String>>,
    ast: AST,
}

struct Compiled {
    engine: Engine,
    stages: Vec<CompiledStage>,
    facts: Arc<Facts>,
}

/// An engine with the limits and the surface that scripts get, and nothing registered on it yet.
fn bare_engine() -> Engine {
    // Anonymous functions would otherwise be named by a seed that changes from build to build.
    let _ = rhai::config::hashing::set_hashing_seed(Some([1, 2, 3, 4]));
    let mut engine = Engine::new_raw();
    ArithmeticPackage::new().register_into_engine(&mut engine);
    BasicStringPackage::new().register_into_engine(&mut engine);
    BasicIteratorPackage::new().register_into_engine(&mut engine);
    BasicFnPackage::new().register_into_engine(&mut engine);
    LogicPackage::new().register_into_engine(&mut engine);
    BasicMathPackage::new().register_into_engine(&mut engine);
    BasicArrayPackage::new().register_into_engine(&mut engine);
    BasicMapPackage::new().register_into_engine(&mut engine);
    MoreStringPackage::new().register_into_engine(&mut engine);
    engine
        .set_max_operations(2_000_000)
        .set_max_call_levels(32)
        .set_max_expr_depths(128, 64)
        .set_max_string_size(8 * 1024)
        .set_max_array_size(4_000)
        .set_max_map_size(4_000)
        .set_max_variables(256)
        .set_max_functions(300)
        .set_max_modules(32)
        .set_max_strings_interned(256);
    for symbol in ["eval", "try", "catch", "throw", "curry", "Fn", "is_shared", "debug", "print", "while", "loop", "do"]
    {
        engine.disable_symbol(symbol);
    }
    engine.set_strict_variables(true);
    engine.set_allow_shadowing(false);
    engine.set_fail_on_invalid_map_property(true);
    engine.set_fast_operators(false);
    engine.on_progress(|_| run::progress());
    // `call` is a word of the engine for function values, which procedures do not have; here it is a key of `stop`.
    #[expect(deprecated, reason = "volatile, not deprecated; the engine's version is pinned")]
    engine.on_parse_token(|token, _, _| match token {
        Token::Reserved(word) if *word == "call" => Token::Identifier(word),
        other => other,
    });
    engine
}

/// The engine with all words.
fn engine_with(bundle: &Bundle) -> Engine {
    let mut engine = bare_engine();
    engine.register_fn("to_json", |_: &mut Map| -> Result<(), Box<EvalAltResult>> {
        Err("to_json is not available in procedures".into())
    });
    for operator in ["/", "/="] {
        engine.register_fn(operator, |_: i64, _: i64| -> Result<i64, Box<EvalAltResult>> {
            Err("dividing two whole numbers would drop the remainder; write one of them as a decimal, 5.0 / 2".into())
        });
    }
    words::register(&mut engine);
    calculators::register(&mut engine);
    engine.set_module_resolver(resolver::Modules::new(bundle));
    engine
}

impl Compiled {
    fn new(bundle: &Bundle) -> Result<Self, ScriptError> {
        let engine = engine_with(bundle);
        let mut stages = Vec::new();
        for stage in &bundle.procedure.stage {
            let text = bundle.text_of(&stage.file).unwrap_or("");
            let mut ast = engine.compile(text).map_err(|error| from_parse(&stage.file, &error))?;
            ast.set_source(stage.file.as_str());
            resolver::check(&ast, &stage.file)?;
            if !ast.iter_functions().any(|function| function.name == "stage" && function.params.is_empty()) {
                let site = Site { file: stage.file.clone(), line: 1, column: 1 };
                return Err(ScriptError::new(
                    site,
                    "there is no `fn stage()`",
                    "a stage is written `fn stage() { … }`",
                ));
            }
            stages.push(CompiledStage {
                file: stage.file.clone(),
                title: stage.title.clone(),
                takes: stage.takes.clone(),
                gives: stage.gives.clone(),
                ast,
            });
        }
        Ok(Self { engine, stages, facts: Arc::new(bundle.facts.clone()) })
    }

    fn replay(&self, job: Job, memo: Memo) -> Replay {
        run::begin(Run::new(job.answers, job.oracle, job.holds, memo, Arc::clone(&self.facts)));
        let mut facts = Map::new();
        let mut at = 0;
        let mut returns = Vec::new();
        let frontier = loop {
            let latch = self.run_stage(at, &mut facts);
            match latch {
                None if at + 1 == self.stages.len() => {
                    let site = Site { file: self.stages[at].file.clone(), line: 1, column: 1 };
                    let advice = "the last stage calls `finish()` on every way through it";
                    break Frontier::Broken(ScriptError::new(site, "the last stage ended without `finish()`", advice));
                }
                None => at += 1,
                Some(Latch::Frontier(frontier)) => break *frontier,
                Some(Latch::Broken(error)) => break Frontier::Broken(error),
                Some(Latch::Return { stage, because }) => match self.back_to(&stage, at) {
                    Ok(back) => {
                        at = back;
                        returns.push(because);
                        if let Some(stop) = too_many_rounds() {
                            break stop;
                        }
                    }
                    Err(error) => break Frontier::Broken(error),
                },
            }
        };
        let (run, _) = run::end().expect("the run was begun above");
        Replay {
            frontier,
            trail: run.trail,
            shown: run.shown,
            shown_before: run.shown_before,
            facts: values::map_to_json(&facts).unwrap_or(Value::Null),
            findings: run.findings,
            points: run.points,
            stage: run.stage,
            window: run.window,
            round: run.round,
            asked: run.asked,
            returns,
        }
    }

    /// The index of a stage named by file or title; it must lie behind or be the present one.
    fn back_to(&self, stage: &str, at: usize) -> Result<usize, ScriptError> {
        let wanted = |candidate: &CompiledStage| {
            candidate.file == stage || candidate.file.trim_end_matches(".rhai") == stage || candidate.title == stage
        };
        match self.stages.iter().position(wanted) {
            Some(back) if back <= at => Ok(back),
            _ => {
                let site = Site { file: self.stages[at].file.clone(), line: 0, column: 0 };
                let message = format!("return_to: `{stage}` is no earlier stage");
                Err(ScriptError::new(site, message, "name a stage's file or title as in procedure.toml"))
            }
        }
    }

    /// Runs one stage; nothing if it ended by itself.
    fn run_stage(&self, at: usize, facts: &mut Map) -> Option<Latch> {
        let stage = &self.stages[at];
        run::with(|run| {
            run.stage = at;
            run.last_stage = at + 1 == self.stages.len();
        });
        let before = facts.clone();
        if let Some(takes) = &stage.takes {
            facts.retain(|name, _| takes.iter().any(|taken| taken == name.as_str()));
        }
        let mut this = Dynamic::from(std::mem::take(facts));
        let mut scope = Scope::new();
        let options = CallFnOptions::new().eval_ast(true).bind_this_ptr(&mut this);
        run::clock_on();
        let called = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
            self.engine.call_fn_with_options::<Dynamic>(options, &mut scope, &stage.ast, "stage", ())
        }));
        let after = this.try_cast::<Map>().unwrap_or_default();
        *facts = merged(before, after, stage);
        if let Some(latch) = run::take_latch() {
            return Some(latch);
        }
        match called {
            Ok(Ok(_)) => None,
            Ok(Err(error)) => Some(Latch::Broken(from_run(&stage.file, &error))),
            Err(_) => {
                let site = Site { file: stage.file.clone(), line: 0, column: 0 };
                Some(Latch::Broken(ScriptError::new(site, "the script engine failed in this stage", "")))
            }
        }
    }
}

/// Counts a new round; a stop when there have been too many.
fn too_many_rounds() -> Option<Frontier> {
    let round = run::with(|run| {
        run.round += 1;
        run.round
    });
    (round > MOST_ROUNDS).then(|| {
        Frontier::Stop(super::replay::StopSpec {
            code: String::from("too-many-rounds"),
            text: format!("This has been tried {MOST_ROUNDS} times. Something here is not what it seems."),
            leave_safe: String::from("Leave the circuit off and locked, with every end closed."),
            call: String::from("A registered electrician: find the fault with the record of all rounds."),
            site: Site::default(),
        })
    })
}

/// The facts after a stage: those it did not take stay, those it may give are taken over, rounded.
fn merged(before: Map, after: Map, stage: &CompiledStage) -> Map {
    let given = |name: &str| stage.gives.as_ref().is_none_or(|gives| gives.iter().any(|given| given == name));
    let mut facts = if stage.takes.is_some() || stage.gives.is_some() { before } else { Map::new() };
    for (name, value) in after {
        if given(&name) {
            let plain = values::to_json(&value).map(|value| values::to_dynamic(&values::rounded(&value)));
            facts.insert(name, plain.unwrap_or(Dynamic::UNIT));
        }
    }
    facts
}

fn place(file: &str, position: Position) -> Site {
    Site { file: file.to_owned(), line: position.line().unwrap_or(0), column: position.position().unwrap_or(0) }
}

fn from_parse(file: &str, error: &rhai::ParseError) -> ScriptError {
    let message = error.err_type().to_string();
    let advice = advice_for(&message);
    ScriptError::new(place(file, error.position()), message, advice)
}

/// Walks the chain of a run-time error down to its innermost place.
fn from_run(file: &str, error: &EvalAltResult) -> ScriptError {
    let (mut file, mut error) = (file.to_owned(), error);
    let mut through = Vec::new();
    loop {
        match error {
            EvalAltResult::ErrorInFunctionCall(_, source, inner, position) => {
                through.insert(0, place(&file, *position));
                if !source.is_empty() {
                    file.clone_from(&source.to_string());
                }
                error = inner;
            }
            EvalAltResult::ErrorInModule(name, inner, position) => {
                through.insert(0, place(&file, *position));
                if !name.is_empty() {
                    file.clone_from(&name.to_string());
                }
                error = inner;
            }
            other => {
                let text = other.to_string();
                let message = text.split(" (line ").next().unwrap_or(&text).to_owned();
                let advice = advice_for(&message);
                let mut found = ScriptError::new(place(&file, other.position()), message, advice);
                found.through = through;
                return found;
            }
        }
    }
}

/// What to write instead, for the messages that authors meet most.
fn advice_for(message: &str) -> &'static str {
    let known: &[(&str, &str)] = &[
        (
            "Undefined variable",
            "an answer can be used only after it was asked; a closure cannot use outer variables: write a `for` loop",
        ),
        ("Function not found", "`lampwright words` lists every word with its fields"),
        ("Property not found", "`this` holds only what an earlier stage left there; check the spelling and `takes`"),
        ("Unknown property", "`this` holds only what an earlier stage left there; check the spelling and `takes`"),
        ("'try'", "procedures have no `try`: every error stops the author, none stops the person"),
        ("'while'", "use `for` over a list"),
        ("'loop'", "use `for` over a list"),
        ("'print'", "use `show::say(…)`"),
        ("'eval'", "write the script out"),
    ];
    known.iter().find(|(sign, _)| message.contains(sign)).map_or("", |(_, advice)| advice)
}

/// Names of all functions that scripts can call, for the reference and for the check of calls.
#[must_use]
pub fn visible_surface() -> Vec<String> {
    let mut engine = bare_engine();
    words::register(&mut engine);
    calculators::register(&mut engine);
    let mut names: Vec<String> = engine.gen_fn_signatures(false);
    names.sort();
    names
}

/// A rhai string of ours, for the resolver.
pub(super) fn text(text: &str) -> ImmutableString {
    ImmutableString::from(text)
}
