//! Looking ahead: the procedure run onward from the present answers, so that the kit list forgets nothing.
//!
//! Every option of every question and every verdict of every reading met on any run is tried at least once; each number
//! stands at its sample. Within its time the search is a bound from below, and says so.

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use super::advance::Engine;
use super::answers::Answer;
use super::assume::{assumed, is_assumed, ways};
use super::fold;
use super::interaction::{Hazardous, Interaction, Kind};
use super::replay::{Frontier, Oracle};
use crate::ledger::Record;
use crate::moment::Moment;

/// What lies ahead.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Ahead {
    /// Tools and materials over all runs, with the keys that need them.
    pub kit: BTreeMap<String, BTreeSet<String>>,
    /// Fewest and most interactions still to come, over the runs that finish.
    pub steps: (usize, usize),
    /// Fewest and most minutes still to come, over the runs that finish.
    pub minutes: (f64, f64),
    /// Pause points ahead on the usual run, in order.
    pub pauses: Vec<String>,
    /// Risky steps ahead on the usual run.
    pub risky: usize,
    /// Endings met: `finished`, and the codes of stops.
    pub endings: BTreeSet<String>,
    /// Script errors met, each once.
    pub broken: BTreeSet<String>,
    /// Runs made.
    pub runs: usize,
    /// Every option was tried; if not, the figures are *at least*.
    pub complete: bool,
}

/// The way taken at each key: an index into its ways.
type Path = BTreeMap<String, usize>;

struct Along {
    path: Path,
    met: Arc<Mutex<Vec<(String, usize)>>>,
}

impl Oracle for Along {
    fn answer(&mut self, interaction: &Interaction, digest: &str, _latest: Option<&Answer>) -> Option<Answer> {
        let ways = ways(interaction);
        let way = self.path.get(&interaction.key).copied().unwrap_or(0).min(ways.len() - 1);
        if let Ok(mut met) = self.met.lock() {
            met.push((interaction.key.clone(), ways.len()));
        }
        Some(assumed(interaction, digest, &ways[way]))
    }
}

impl Engine {
    /// Explores onward from a ledger, for at most `time`.
    #[must_use]
    pub fn look_ahead(&self, records: &[Record], now: Moment, time: Duration) -> Ahead {
        let began = Instant::now();
        let folded = fold::fold(records);
        let mut ahead = Ahead { steps: (usize::MAX, 0), minutes: (f64::INFINITY, 0.0), ..Ahead::default() };
        let mut tried: BTreeSet<(String, usize)> = BTreeSet::new();
        let mut queue = VecDeque::from([Path::new()]);
        while let Some(path) = queue.pop_front() {
            if began.elapsed() > time {
                queue.push_back(path);
                break;
            }
            let met = Arc::new(Mutex::new(Vec::new()));
            let oracle = Along { path: path.clone(), met: Arc::clone(&met) };
            let replay = self.replay(records, &folded, now, Some(Box::new(oracle)));
            let usual = ahead.runs == 0;
            ahead.runs += 1;
            ahead.note(&replay, usual);
            let met = met.lock().map(|met| met.clone()).unwrap_or_default();
            for (key, count) in met {
                for way in 1..count {
                    if tried.insert((key.clone(), way)) {
                        let mut next = path.clone();
                        next.insert(key.clone(), way);
                        queue.push_back(next);
                    }
                }
            }
        }
        ahead.complete = queue.is_empty();
        if ahead.steps.0 == usize::MAX {
            ahead.steps = (0, 0);
            ahead.minutes = (0.0, 0.0);
        }
        ahead
    }
}

impl Ahead {
    fn note(&mut self, replay: &super::replay::Replay, usual: bool) {
        let coming: Vec<&Interaction> =
            replay.trail.iter().filter(|passed| is_assumed(&passed.answer)).map(|passed| &passed.interaction).collect();
        for interaction in &coming {
            for item in interaction.kit() {
                self.kit.entry(item.to_owned()).or_default().insert(interaction.key.clone());
            }
        }
        if usual {
            let pause = |interaction: &&&Interaction| matches!(interaction.kind, Kind::Pause { .. });
            self.pauses = coming.iter().filter(pause).map(|interaction| interaction.text.clone()).collect();
            let risky = |interaction: &&&Interaction| {
                interaction.risk().iter().any(|risk| !matches!(risk, Hazardous::Height | Hazardous::Dust))
            };
            self.risky = coming.iter().filter(risky).count();
        }
        match &replay.frontier {
            Frontier::Finish => {
                self.endings.insert(String::from("finished"));
                let minutes: f64 = coming.iter().map(|interaction| interaction.minutes()).sum();
                self.steps = (self.steps.0.min(coming.len()), self.steps.1.max(coming.len()));
                self.minutes = (self.minutes.0.min(minutes), self.minutes.1.max(minutes));
            }
            Frontier::Stop(stop) => {
                self.endings.insert(stop.code.clone());
            }
            Frontier::Broken(error) => {
                self.broken.insert(error.to_string());
            }
            Frontier::Ask { .. } | Frontier::Signpost(_) => {}
        }
    }
}
