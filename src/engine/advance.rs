//! `advance`: the next thing to do, as a pure function of bundle, ledger and moment.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use serde_json::Value;

use super::answers::Answers;
use super::bundle::Bundle;
use super::fold::{self, Folded};
use super::host::{Host, Job};
use super::interaction::{self, Hazardous, Interaction, Kind, Site, Verdict};
use super::replay::{Former, Frontier, Oracle, Passed, PointSpec, Replay, Sign, Signpost};
use super::scripterror::ScriptError;
use super::turn::{Ask, Ending, Turn};
use crate::calc;
use crate::gate::{self, Demand, Risk, Scene};
use crate::ledger::Record;
use crate::moment::Moment;

/// A bundle made ready: the engine of one job.
pub struct Engine {
    /// The bundle.
    pub bundle: Bundle,
    host: Host,
}

impl Engine {
    /// Compiles a bundle.
    ///
    /// # Errors
    /// [`ScriptError`] when a script is refused.
    pub fn new(bundle: Bundle) -> Result<Self, ScriptError> {
        let host = Host::new(&bundle)?;
        Ok(Self { bundle, host })
    }

    /// Where a job stands and what is next.
    #[must_use]
    pub fn advance(&self, records: &[Record], now: Moment) -> Turn {
        let folded = fold::fold(records);
        let replay = self.replay(records, &folded, now, None);
        self.turn(records, folded, replay, now)
    }

    /// Runs the stages against a ledger, with an oracle for what it leaves open.
    #[must_use]
    pub fn replay(&self, records: &[Record], folded: &Folded, now: Moment, oracle: Option<Box<dyn Oracle>>) -> Replay {
        let mut answers = Answers::of(records);
        answers.met.clone_from(&folded.met);
        let world = folded.world.at(now);
        self.host.replay(Job {
            answers: Arc::new(answers),
            oracle,
            holds: Arc::new(move |signpost: &Signpost, scene: &Scene| {
                gate::signpost(&world, &sign_of(signpost), scene, now) == Demand::Open
            }),
        })
    }

    fn turn(&self, records: &[Record], folded: Folded, replay: Replay, now: Moment) -> Turn {
        let world = folded.world.at(now);
        let ask = self.ask(records, &folded, &replay, &world, now);
        let answered: BTreeSet<&str> = replay.asked.keys().map(String::as_str).collect();
        let known = Answers::of(records);
        let set_aside = known
            .keys()
            .filter(|key| !answered.contains(key) && !key.starts_with("duty."))
            .map(str::to_owned)
            .collect();
        let mut turn = Turn {
            key: String::new(),
            ask,
            facts: replay.facts,
            fresh: replay.shown_before,
            shown: replay.shown,
            world,
            set_aside,
            findings: replay.findings,
            points: replay.points,
            stage: replay.stage,
            window: replay.window,
            round: replay.round,
            person: folded.person,
            returns: replay.returns,
            trail: replay.trail,
            now,
        };
        turn.key = turn.keys().into_iter().next().unwrap_or_default();
        turn
    }

    /// In the order that binds: stopped, lock in doubt, exposed without proof, started and not done, frontier.
    fn ask(&self, records: &[Record], folded: &Folded, replay: &Replay, world: &gate::World, now: Moment) -> Ask {
        if let Some((number, why)) = &folded.broken_at {
            let message = format!("record {} of the ledger cannot be: {why}", number + 1);
            return Ask::Broken(ScriptError::new(Site::default(), message, "the ledger was changed by something else"));
        }
        if let Some(ending) = &folded.ended {
            return Ask::Ended(ending.clone());
        }
        let scene = scene_of(replay);
        if let Some(trouble) = gate::trouble(world, &scene, now) {
            return Ask::Trouble(trouble);
        }
        if let Some(started) = world.started() {
            let here = matches!(&replay.frontier, Frontier::Ask { interaction, .. } if interaction.key == started);
            if !here {
                return Ask::Unfinished { key: started.to_owned(), text: text_of_start(records, started) };
            }
        }
        self.at_frontier(records, replay, world, now)
    }

    fn at_frontier(&self, records: &[Record], replay: &Replay, world: &gate::World, now: Moment) -> Ask {
        match &replay.frontier {
            Frontier::Broken(error) => Ask::Broken(error.clone()),
            Frontier::Stop(stop) => Ask::Stop(stop.clone()),
            Frontier::Finish => finish(records, replay, world),
            Frontier::Signpost(signpost) => {
                let scene = scene_of(replay);
                match gate::signpost(world, &sign_of(signpost), &scene, now) {
                    Demand::Ask(ask) => Ask::Evidence(ask),
                    Demand::Refused(refusal) => Ask::Refused(refusal),
                    Demand::Open => broken_at(signpost, "a signpost that is met was not passed"),
                }
            }
            Frontier::Ask { interaction, digest, former, review } => {
                if *review && let Some(former) = former {
                    return Ask::Review {
                        interaction: interaction.clone(),
                        digest: digest.clone(),
                        former: former.clone(),
                    };
                }
                let started = world.started() == Some(interaction.key.as_str());
                if !started {
                    match self.demand(interaction, replay, world, now) {
                        Ok(Demand::Open) => {}
                        Ok(Demand::Ask(ask)) => return Ask::Evidence(ask),
                        Ok(Demand::Refused(refusal)) => return Ask::Refused(refusal),
                        Err(error) => return Ask::Broken(error),
                    }
                }
                Ask::Plan {
                    keep: self.keep(interaction, former.as_ref()),
                    interaction: interaction.clone(),
                    digest: digest.clone(),
                    former: former.clone(),
                    started,
                }
            }
        }
    }

    /// What the gate wants before an interaction may be begun.
    fn demand(
        &self,
        interaction: &Interaction,
        replay: &Replay,
        world: &gate::World,
        now: Moment,
    ) -> Result<Demand, ScriptError> {
        let mut scene = scene_of(replay);
        scene.minutes = interaction.minutes();
        let handles = |risk: &Hazardous| matches!(risk, Hazardous::Conductors { .. });
        let begun = replay.trail.iter().any(|passed| {
            let same = passed.interaction.stage == interaction.stage && passed.interaction.round == interaction.round;
            same && passed.interaction.risk().iter().any(handles)
        });
        if !begun && interaction.risk().iter().any(handles) {
            scene.stage_minutes = self.bundle.procedure.stage.get(interaction.stage).map_or(0.0, |stage| stage.minutes);
        }
        let mut risks = risks_of(interaction, &replay.points)?;
        // Footing and masks come before a cover does: a proof's minutes are for the work.
        risks.sort_by_key(|risk| matches!(risk, Risk::Conductors { .. }));
        for risk in risks {
            let demand = gate::demand(world, &risk, &scene, now);
            if demand != Demand::Open {
                return Ok(demand);
            }
        }
        Ok(Demand::Open)
    }

    /// The former choice, where its calculator says that it still holds.
    fn keep(&self, interaction: &Interaction, former: Option<&Former>) -> Option<(Value, String)> {
        let Kind::Choice { among } = &interaction.kind else { return None };
        let former = former?.0.value();
        if !former.is_object() || among.contains(former) {
            return None;
        }
        let offer = among.first()?.get("offer")?.as_str()?;
        let case = self.host.memo.input(offer)?;
        calc::judged(offer, &case, former)
    }
}

fn broken_at(signpost: &Signpost, message: &str) -> Ask {
    Ask::Broken(ScriptError::new(signpost.site.clone(), message, ""))
}

fn text_of_start(records: &[Record], key: &str) -> String {
    let found = records.iter().rev().find(|record| record.kind == crate::ledger::Kind::Started && record.key == key);
    found.and_then(|record| record.body.get("text")?.as_str()).unwrap_or("").to_owned()
}

/// The end: duties still open, last opened first; then the word *finished*.
fn finish(records: &[Record], replay: &Replay, world: &gate::World) -> Ask {
    let left = Answers::of(records);
    let duties = world.duties();
    let open =
        duties.iter().rev().find(|duty| left.latest(&duty_key(&duty.name)).is_none_or(|a| a.text("left").is_empty()));
    if let Some(duty) = open {
        let interaction = Interaction {
            key: duty_key(&duty.name),
            text: duty.closing.clone(),
            of: String::new(),
            kind: Kind::Duty { name: duty.name.clone() },
            site: Site::default(),
            card: None,
            stage: replay.stage,
            window: String::new(),
            round: replay.round,
        };
        let digest = interaction::digest(&interaction, &[]);
        return Ask::Plan { interaction: Box::new(interaction), digest, former: None, keep: None, started: false };
    }
    let open_readings = replay.findings.values().any(|verdict| *verdict == Verdict::Open);
    let ending = match (duties.is_empty(), open_readings) {
        (false, _) => Ending::LeftDead,
        (true, true) => Ending::TestsOutstanding,
        (true, false) => Ending::Finished,
    };
    Ask::Finish { ending }
}

/// The key under which a duty is closed at the end.
#[must_use]
pub fn duty_key(name: &str) -> String {
    format!("duty.{}", name.replace(' ', "-"))
}

/// A work point as the gate takes it.
#[must_use]
pub fn point_of(spec: &PointSpec) -> gate::Point {
    gate::Point {
        name: spec.name.clone(),
        circuit: spec.circuit.clone(),
        terminals: spec.terminals.clone(),
        ends: spec.ends.clone(),
        switches: spec.switches.clone(),
        unconnected: spec.unconnected,
        wide: spec.wide,
    }
}

/// What the gate is told of the plan: points as described, and which readings passed. A step done on a hole, such as
/// its pilot, counts as a finding under the last part of its key.
#[must_use]
pub fn scene_from(
    points: &BTreeMap<String, PointSpec>,
    trail: &[Passed],
    findings: &BTreeMap<(String, String), Verdict>,
) -> Scene {
    let mut scene =
        Scene { points: points.values().map(|spec| (spec.name.clone(), point_of(spec))).collect(), ..Scene::default() };
    for passed in trail {
        for risk in passed.interaction.risk() {
            if let (Kind::Step(_), Hazardous::Probe { hole }) = (&passed.interaction.kind, risk) {
                scene.findings.insert((String::from("pilot"), hole.clone()), true);
            }
        }
    }
    for ((what, of), verdict) in findings {
        scene.findings.insert((what.clone(), of.clone()), *verdict == Verdict::Pass);
    }
    scene
}

fn scene_of(replay: &Replay) -> Scene {
    scene_from(&replay.points, &replay.trail, &replay.findings)
}

/// The gate's risks of an interaction.
///
/// # Errors
/// [`ScriptError`] for a work point that was not described, or an unknown way to give the supply back.
pub fn risks_of(interaction: &Interaction, points: &BTreeMap<String, PointSpec>) -> Result<Vec<Risk>, ScriptError> {
    interaction
        .risk()
        .iter()
        .map(|risk| {
            Ok(match risk.clone() {
                Hazardous::Conductors { point, unmoved } => {
                    let spec = points.get(&point).ok_or_else(|| {
                        let message = format!("the work point `{point}` has not been described");
                        let advice = "describe it first: work_point(\"rose\", #{ circuit: \"light\", terminals: […] })";
                        ScriptError::new(interaction.site.clone(), message, advice)
                    })?;
                    Risk::Conductors { point: point_of(spec), unmoved }
                }
                Hazardous::Probe { hole } => Risk::Probe { hole },
                Hazardous::Cut { hole } => Risk::Cut { hole },
                Hazardous::Coating => Risk::Coating,
                Hazardous::Timber { hole } => Risk::Timber { hole },
                Hazardous::Height => Risk::Height,
                Hazardous::Loft => Risk::Loft,
                Hazardous::Dust => Risk::Dust,
                Hazardous::LiveReading => Risk::LiveReading,
                Hazardous::Restore { circuit, how } => {
                    let how = gate::Return::from_words(&how).ok_or_else(|| {
                        let message = format!("`{how}` is no way to give the supply back");
                        let advice = "it is one of: unaltered, remade as found, altered, others";
                        ScriptError::new(interaction.site.clone(), message, advice)
                    })?;
                    Risk::Restore { circuit, how }
                }
            })
        })
        .collect()
}

fn sign_of(signpost: &Signpost) -> gate::Sign {
    let about = signpost.about.clone();
    match signpost.what {
        Sign::Isolated => gate::Sign::Isolated { circuit: about },
        Sign::Restored => gate::Sign::Restored { circuit: about },
        Sign::CoatingClear => gate::Sign::CoatingClear,
        Sign::HoleClear => gate::Sign::HoleClear { hole: about },
    }
}
