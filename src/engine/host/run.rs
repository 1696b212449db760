//! The state of one replay, and the latch that stops it.
//!
//! The script engine swallows stops in several places (a sort's comparer, a callback), so nothing is read from its
//! result: the first host call that must stop the run sets the latch, every later one refuses to do anything, and the
//! progress hook ends the run at the next operation.

use std::cell::{Cell, RefCell};
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use rhai::{EvalAltResult, NativeCallContext, Position};

use super::memo::Memo;
use crate::engine::answers::{Answer, Answers, Says, sign};
use crate::engine::interaction::{self, Interaction, Kind, Shown, Site, Verdict};
use crate::engine::replay::{Former, Frontier, Oracle, Passed, PointSpec, Signpost};
use crate::engine::scripterror::ScriptError;

/// Whether a signpost holds at this moment, given what the run knows of the plan.
pub type Holds = Arc<dyn Fn(&Signpost, &crate::gate::Scene) -> bool + Send + Sync>;

/// Why a run was stopped.
pub enum Latch {
    /// It has reached the frontier.
    Frontier(Box<Frontier>),
    /// It goes back to a stage.
    Return {
        /// The stage's file or title.
        stage: String,
        /// Why.
        because: String,
    },
    /// The script is refused.
    Broken(ScriptError),
}

/// Script time allowed in one run, host calls not counted.
const SCRIPT_TIME: Duration = Duration::from_millis(200);
/// Operations allowed in one run, counted by ourselves: callbacks start from a copy of the engine's own counter.
const OPERATIONS: u64 = 2_000_000;

thread_local! {
    static RUN: RefCell<Option<Run>> = const { RefCell::new(None) };
    static STOPPED: Cell<bool> = const { Cell::new(false) };
    static COUNT: Cell<u64> = const { Cell::new(0) };
    static LEFT: Cell<Duration> = const { Cell::new(Duration::ZERO) };
    static SINCE: Cell<Option<Duration>> = const { Cell::new(None) };
    static LOADING: Cell<bool> = const { Cell::new(false) };
}

/// The state of one replay.
pub struct Run {
    /// What the ledger says.
    pub answers: Arc<Answers>,
    /// Answers for what the ledger leaves open, when looking ahead.
    pub oracle: Option<Box<dyn Oracle>>,
    /// Signposts that hold at this moment, whatever the ledger's history.
    pub holds: Holds,
    /// The results of calculators.
    pub memo: Memo,
    /// Facts of the bundle.
    pub facts: Arc<crate::facts::Facts>,
    /// Index of the stage that runs.
    pub stage: usize,
    /// The open window; empty outside windows.
    pub window: String,
    /// The round, from 1.
    pub round: u32,
    /// Keys asked so far, and where.
    pub asked: BTreeMap<String, Site>,
    /// Everything shown so far.
    pub shown: Vec<Shown>,
    /// How many of those the last interaction has seen.
    pub shown_before: usize,
    /// Interactions with a valid answer, in order.
    pub trail: Vec<Passed>,
    /// Verdicts on the trail: what, of what.
    pub findings: BTreeMap<(String, String), Verdict>,
    /// Work points as described last.
    pub points: BTreeMap<String, PointSpec>,
    /// The last stage is running, where a hand-over may be asked.
    pub last_stage: bool,
    latch: Option<Latch>,
}

impl Run {
    /// A run at the start of the first stage.
    #[must_use]
    pub fn new(
        answers: Arc<Answers>,
        oracle: Option<Box<dyn Oracle>>,
        holds: Holds,
        memo: Memo,
        facts: Arc<crate::facts::Facts>,
    ) -> Self {
        Self {
            answers,
            oracle,
            holds,
            memo,
            facts,
            stage: 0,
            window: String::new(),
            round: 1,
            asked: BTreeMap::new(),
            shown: Vec::new(),
            shown_before: 0,
            trail: Vec::new(),
            findings: BTreeMap::new(),
            points: BTreeMap::new(),
            last_stage: false,
            latch: None,
        }
    }

    /// The full key: window, key, tag, round.
    #[must_use]
    pub fn full_key(&self, key: &str, of: &str) -> String {
        let mut full = String::new();
        if !self.window.is_empty() {
            full.push_str(&self.window);
            full.push(':');
        }
        full.push_str(key);
        if !of.is_empty() {
            full.push('/');
            full.push_str(of);
        }
        if self.round > 1 {
            full.push_str(&format!("@{}", self.round));
        }
        full
    }

    /// Looks the answer to an interaction up, or stops the run there.
    fn resolve(&mut self, interaction: Interaction) -> Result<Answer, Latch> {
        if let Some(first) = self.asked.get(&interaction.key) {
            let (first, key) = (format!("{}:{}", first.file, first.line), &interaction.key);
            return Err(Latch::Broken(ScriptError::new(
                interaction.site.clone(),
                format!("the key `{key}` is asked twice in one run; first at {first}"),
                "give it a key of its own, or in a loop add `of:` with the tag of the thing",
            )));
        }
        self.asked.insert(interaction.key.clone(), interaction.site.clone());
        let digest = interaction::digest(&interaction, &self.shown[self.shown_before..]);
        let latest = self.answers.latest(&interaction.key);
        let valid = if interaction.is_done_kind() {
            latest.filter(|answer| answer.says == Says::Done && answer.digest == digest)
        } else {
            self.answers.said(&interaction.key, &digest)
        };
        let answer = match (valid, &mut self.oracle) {
            (Some(answer), _) => answer.clone(),
            (None, Some(oracle)) => match oracle.answer(&interaction, &digest, latest) {
                Some(answer) => answer,
                None => return Err(self.frontier_at(interaction, digest)),
            },
            (None, None) => return Err(self.frontier_at(interaction, digest)),
        };
        self.shown_before = self.shown.len();
        self.trail.push(Passed { interaction, answer: answer.clone(), digest });
        Ok(answer)
    }

    fn frontier_at(&self, interaction: Interaction, digest: String) -> Latch {
        let former = self.answers.latest(&interaction.key).cloned();
        let review = matches!(interaction.kind, Kind::Step(_))
            && former.as_ref().is_some_and(|former| former.says == Says::Done && former.digest != digest);
        let former = former.map(Former);
        Latch::Frontier(Box::new(Frontier::Ask { interaction: Box::new(interaction), digest, former, review }))
    }

    /// What the gate is told of the plan so far.
    fn scene(&self) -> crate::gate::Scene {
        crate::engine::advance::scene_from(&self.points, &self.trail, &self.findings)
    }

    /// Whether a signpost is met; stops the run there if not.
    fn meet(&mut self, signpost: Signpost) -> Result<(), Latch> {
        let sign = sign(signpost.what.word(), &signpost.about, &signpost.window, signpost.round);
        if self.answers.met.contains(&sign) || self.oracle.is_some() || (self.holds)(&signpost, &self.scene()) {
            return Ok(());
        }
        Err(Latch::Frontier(Box::new(Frontier::Signpost(signpost))))
    }
}

/// Places a run on this thread for the scripts that run next.
pub fn begin(run: Run) {
    STOPPED.set(false);
    COUNT.set(0);
    LEFT.set(SCRIPT_TIME);
    SINCE.set(None);
    RUN.set(Some(run));
}

/// Takes the run off this thread, with the latch if one was set.
#[must_use]
pub fn end() -> Option<(Run, Option<Latch>)> {
    let mut run = RUN.take()?;
    let latch = run.latch.take();
    Some((run, latch))
}

/// Uses the run of this thread.
///
/// # Panics
/// If a host function is called outside a run, which the engine never does.
pub fn with<T>(use_it: impl FnOnce(&mut Run) -> T) -> T {
    RUN.with_borrow_mut(|run| use_it(run.as_mut().expect("a script runs only within a run")))
}

/// Processor time that this thread has used: a busy machine does not make a script slower.
fn thread_time() -> Duration {
    let now = rustix::time::clock_gettime(rustix::time::ClockId::ThreadCPUTime);
    Duration::new(now.tv_sec.try_into().unwrap_or(0), now.tv_nsec.try_into().unwrap_or(0))
}

/// Starts the script clock.
pub fn clock_on() {
    SINCE.set(Some(thread_time()));
}

fn clock_off() {
    if let Some(since) = SINCE.take() {
        LEFT.set(LEFT.get().saturating_sub(thread_time().saturating_sub(since)));
    }
}

/// The progress hook: counts, watches the clock, and ends a run whose latch is set.
#[must_use]
pub fn progress() -> Option<rhai::Dynamic> {
    if STOPPED.get() {
        return Some(rhai::Dynamic::UNIT);
    }
    let count = COUNT.get() + 1;
    COUNT.set(count);
    let spent =
        count.is_multiple_of(64) && SINCE.get().is_some_and(|since| thread_time().saturating_sub(since) > LEFT.get());
    if count <= OPERATIONS && !spent {
        return None;
    }
    let message = if spent { "the script ran for too long" } else { "the script did too many operations" };
    let advice = "a stage should only ask, compute through calculators, and go over short lists";
    RUN.with_borrow_mut(|run| {
        if let Some(run) = run.as_mut().filter(|run| run.latch.is_none()) {
            run.latch = Some(Latch::Broken(ScriptError::new(Site::default(), message, advice)));
        }
    });
    STOPPED.set(true);
    Some(rhai::Dynamic::UNIT)
}

/// While a module loads, nothing may be asked.
pub fn loading<T>(load: impl FnOnce() -> T) -> T {
    let before = LOADING.replace(true);
    let result = load();
    LOADING.set(before);
    result
}

/// Stops the run for good.
pub fn stop(latch: Latch) -> Box<EvalAltResult> {
    RUN.with_borrow_mut(|run| {
        if let Some(run) = run.as_mut().filter(|run| run.latch.is_none()) {
            run.latch = Some(latch);
        }
    });
    STOPPED.set(true);
    Box::new(EvalAltResult::ErrorTerminated(rhai::Dynamic::UNIT, Position::NONE))
}

/// Where a host function was called.
#[must_use]
pub fn site_of(context: &NativeCallContext) -> Site {
    let position = context.call_position();
    Site {
        file: context.call_source().unwrap_or("").to_owned(),
        line: position.line().unwrap_or(0),
        column: position.position().unwrap_or(0),
    }
}

/// A host function's body: refuses after a stop, stops the script clock meanwhile, and turns a failure into a stop.
///
/// # Errors
/// The engine's own *terminated*, once the run has stopped.
pub fn word<T>(
    context: &NativeCallContext,
    body: impl FnOnce(&Site) -> Result<T, Latch>,
) -> Result<T, Box<EvalAltResult>> {
    if STOPPED.get() {
        return Err(Box::new(EvalAltResult::ErrorTerminated(rhai::Dynamic::UNIT, Position::NONE)));
    }
    let site = site_of(context);
    if LOADING.get() {
        return Err(stop(Latch::Broken(ScriptError::new(
            site,
            "words of a stage may not be used while a module loads",
            "put them inside a function of the module",
        ))));
    }
    clock_off();
    let result = body(&site).map_err(stop);
    clock_on();
    result
}

/// A refusal of the script at a place.
#[must_use]
pub fn broken(site: &Site, message: impl Into<String>, advice: impl Into<String>) -> Latch {
    Latch::Broken(ScriptError::new(site.clone(), message, advice))
}

/// Asks: looks the answer up or stops.
///
/// # Errors
/// The latch to set.
pub fn ask(interaction: Interaction) -> Result<Answer, Latch> {
    with(|run| run.resolve(interaction))
}

/// Passes a signpost or stops there.
///
/// # Errors
/// The latch to set.
pub fn pass(signpost: Signpost) -> Result<(), Latch> {
    with(|run| run.meet(signpost))
}

/// Adds something to what is shown before the next interaction.
pub fn show(shown: Shown) {
    with(|run| run.shown.push(shown));
}

/// Remembers a verdict on the trail.
pub fn found(what: &str, of: &str, verdict: Verdict) {
    with(|run| run.findings.insert((what.to_owned(), of.to_owned()), verdict));
}

/// Takes the latch of this thread's run, if one was set. The run may then go on with another stage.
#[must_use]
pub fn take_latch() -> Option<Latch> {
    let latch = RUN.with_borrow_mut(|run| run.as_mut().and_then(|run| run.latch.take()));
    if matches!(latch, Some(Latch::Return { .. })) {
        STOPPED.set(false);
    }
    latch
}
