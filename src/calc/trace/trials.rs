//! The tests that could be done next, and what each would tell.
//!
//! A test is worth what it is expected to tell about the suspects, in bits, divided by its minutes. Tests on a dead circuit
//! come first; a live one is proposed only where it is allowed and no dead one tells enough.

use std::collections::BTreeMap;

use serde::Serialize;

use super::Quantity;
use super::model::{Circuit, Conductor, Setting, Terminal};
use super::suspects::{Measurement, Suspect, Weighed, class_in_words, exchange_odds, measurement_odds, meter_odds};
use crate::facts::Facts;

/// Suspects below this share of the likeliest are left out when tests are compared; they change no choice.
const COUNTS_FROM: f64 = 0.002;

/// The test to do next.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Next {
    /// What to do.
    pub test: String,
    /// Where.
    pub place: String,
    /// How it is done.
    pub how: String,
    /// What each result would mean.
    pub results: Vec<ResultMeans>,
    /// What it is expected to tell, in bits.
    pub bits: f64,
    /// How long it takes.
    pub minutes: f64,
    /// Whether it is done live.
    pub live: bool,
    /// The entry that the result makes: a `[[measured]]` or `[[checked]]` of a case without its value.
    pub entry: Entry,
    /// Where the minutes come from.
    pub source: String,
}

/// One result and what it would mean.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ResultMeans {
    /// What the meter, or the light, shows.
    pub shows: String,
    /// How probable that is.
    pub probability: f64,
    /// The suspects that would then be likeliest.
    pub means: Vec<String>,
}

/// The entry of a case that a test's result makes.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Entry {
    /// A measurement.
    Measured {
        /// The two terminals.
        between: [String; 2],
        /// What is measured.
        quantity: Quantity,
        /// Positions of the switches.
        switches: BTreeMap<String, String>,
        /// Where the circuit is parted.
        parted: Vec<String>,
    },
    /// A check.
    Checked {
        /// The meter or the light.
        what: String,
    },
}

/// A test that could be done.
#[derive(Debug, Clone, PartialEq)]
enum Trial {
    /// A measurement, with its row in the table of tests.
    Measure(Measurement, &'static str),
    /// Proving the meter.
    Meter,
    /// Exchanging a light with one that works.
    Exchange(usize),
}

/// The best test, if any tells enough.
#[must_use]
pub fn next(circuit: &Circuit, weighed: &Weighed, live_allowed: bool, facts: &Facts) -> Option<Next> {
    let likeliest = weighed.probability.iter().fold(0.0_f64, |held, probability| held.max(*probability));
    let counts: Vec<usize> =
        weighed.order().into_iter().take_while(|at| weighed.probability[*at] >= COUNTS_FROM * likeliest).collect();
    let choose = |live: bool| {
        let settings = if live { live_measurements(circuit) } else { dead_measurements(circuit) };
        let mut best: Option<(f64, Judged)> = None;
        let mut consider = |judged: Judged| {
            let worth = judged.bits / judged.minutes(facts).max(0.1);
            if judged.bits >= facts.value("trace.least_bits") && best.as_ref().is_none_or(|held| worth > held.0 + 1e-12)
            {
                best = Some((worth, judged));
            }
        };
        for (kind, measurements) in settings {
            for judged in judge_measurements(circuit, weighed, &counts, kind, measurements) {
                consider(judged);
            }
        }
        if !live {
            consider(judge(weighed, &counts, Trial::Meter, |suspect| meter_odds(suspect).to_vec()));
            for light in 0..circuit.lights.len() {
                let odds = |suspect: &Suspect| exchange_odds(suspect, light).to_vec();
                consider(judge(weighed, &counts, Trial::Exchange(light), odds));
            }
        }
        best.map(|(_, judged)| judged)
    };
    let best = choose(false).or_else(|| if live_allowed { choose(true) } else { None })?;
    Some(best.in_words(circuit, weighed, &counts, facts))
}

/// Measurements under one setting, with their row in the table of tests.
type Batch = (&'static str, Vec<Measurement>);

fn batch(kind: &'static str, quantity: Quantity, setting: &Setting, pairs: Vec<(Terminal, Terminal)>) -> Batch {
    let measurement = |between| Measurement { between, quantity, setting: setting.clone() };
    (kind, pairs.into_iter().map(measurement).collect())
}

fn dead_measurements(circuit: &Circuit) -> Vec<Batch> {
    let (on, off) = (Setting::all(circuit, true), Setting::all(circuit, false));
    let along = |conductors: &[Conductor]| {
        let to = |run: usize, conductor: Conductor| (Terminal::Board(conductor), Terminal::Run(run, conductor));
        (0..circuit.runs.len()).flat_map(|run| conductors.iter().map(move |held| to(run, *held))).collect::<Vec<_>>()
    };
    let across = || Conductor::PAIRS.map(|(a, b)| (Terminal::Board(a), Terminal::Board(b))).to_vec();
    let board_out = |setting: &Setting| Setting { board_parted: true, ..setting.clone() };
    let resistance = Quantity::Resistance;
    let mut batches = vec![
        batch("continuity", resistance, &on, along(&Conductor::ALL)),
        batch("continuity", resistance, &off, along(&[Conductor::L])),
        // With the neutral out of its terminal, a neutral that belongs elsewhere is no longer continuous with it.
        batch("continuity", resistance, &board_out(&on), along(&[Conductor::N])),
        batch("insulation", Quantity::Insulation, &board_out(&on), across()),
        batch("insulation", Quantity::Insulation, &board_out(&off), across()),
    ];
    for run in 0..circuit.runs.len() {
        let setting = Setting { parted: vec![run], ..board_out(&on) };
        batches.push(batch("insulation of a part", Quantity::Insulation, &setting, across()));
    }
    for (at, group) in circuit.groups.iter().enumerate() {
        for setting in [&on, &off] {
            let setting = Setting { parted: vec![group.first_run], ..setting.clone() };
            let pair = (Terminal::SwitchLine(at), Terminal::SwitchReturn(at));
            batches.push(batch("switch", resistance, &setting, vec![pair]));
        }
    }
    batches
}

fn live_measurements(circuit: &Circuit) -> Vec<Batch> {
    let pairs = || {
        let at = |run: usize, (a, b)| (Terminal::Run(run, a), Terminal::Run(run, b));
        (0..circuit.runs.len()).flat_map(|run| Conductor::PAIRS.map(|pair| at(run, pair))).collect::<Vec<_>>()
    };
    [true, false].map(|on| batch("voltage", Quantity::Voltage, &Setting::all(circuit, on), pairs())).to_vec()
}

/// A test and what it would tell.
struct Judged {
    trial: Trial,
    /// For each counting suspect, how probable each result is.
    odds: Vec<Vec<f64>>,
    bits: f64,
}

fn judge_measurements(
    circuit: &Circuit,
    weighed: &Weighed,
    counts: &[usize],
    kind: &'static str,
    measurements: Vec<Measurement>,
) -> Vec<Judged> {
    let odds: Vec<Vec<[f64; 4]>> =
        counts.iter().map(|at| measurement_odds(circuit, &weighed.suspects[*at], &measurements)).collect();
    measurements
        .into_iter()
        .enumerate()
        .map(|(index, measurement)| {
            let odds: Vec<Vec<f64>> = odds.iter().map(|suspect| suspect[index].to_vec()).collect();
            let bits = information(weighed, counts, &odds);
            Judged { trial: Trial::Measure(measurement, kind), odds, bits }
        })
        .collect()
}

fn judge(weighed: &Weighed, counts: &[usize], trial: Trial, odds: impl Fn(&Suspect) -> Vec<f64>) -> Judged {
    let odds: Vec<Vec<f64>> = counts.iter().map(|at| odds(&weighed.suspects[*at])).collect();
    let bits = information(weighed, counts, &odds);
    Judged { trial, odds, bits }
}

/// The probability of each result.
fn results(weighed: &Weighed, counts: &[usize], odds: &[Vec<f64>]) -> Vec<f64> {
    let all: f64 = counts.iter().map(|at| weighed.probability[*at]).sum();
    let classes = odds.first().map_or(0, Vec::len);
    let of = |class: usize| {
        counts.iter().zip(odds).map(|(at, odds)| weighed.probability[*at] * odds[class]).sum::<f64>() / all.max(1e-300)
    };
    (0..classes).map(of).collect()
}

fn entropy(probabilities: &[f64]) -> f64 {
    probabilities.iter().filter(|held| **held > 0.0).map(|held| -held * held.log2()).sum()
}

/// What a result is expected to tell about the suspects: the entropy of the results, less what remains of it once the
/// suspect is known.
fn information(weighed: &Weighed, counts: &[usize], odds: &[Vec<f64>]) -> f64 {
    let all: f64 = counts.iter().map(|at| weighed.probability[*at]).sum();
    let noise: f64 = counts.iter().zip(odds).map(|(at, odds)| weighed.probability[*at] * entropy(odds)).sum();
    (entropy(&results(weighed, counts, odds)) - noise / all.max(1e-300)).max(0.0)
}

impl Judged {
    fn kind(&self) -> &'static str {
        match self.trial {
            Trial::Measure(_, kind) => kind,
            Trial::Meter => "meter",
            Trial::Exchange(_) => "exchange of lights",
        }
    }

    fn minutes(&self, facts: &Facts) -> f64 {
        facts.table("trace.test").row_named("test", self.kind()).and_then(|row| row.number("minutes")).unwrap_or(5.0)
    }

    fn shows(&self, class: usize) -> &'static str {
        match &self.trial {
            Trial::Measure(measurement, _) => class_in_words(measurement.quantity, class),
            Trial::Meter => ["the meter is sound", "the meter or its leads are at fault"][class.min(1)],
            Trial::Exchange(_) => ["the trouble stays where it was", "the trouble goes with the light"][class.min(1)],
        }
    }

    /// What would be likeliest after a result.
    fn means(&self, weighed: &Weighed, counts: &[usize], class: usize) -> Vec<String> {
        let mut after: Vec<(f64, usize)> =
            counts.iter().zip(&self.odds).map(|(at, odds)| (weighed.probability[*at] * odds[class], *at)).collect();
        let sum: f64 = after.iter().map(|held| held.0).sum();
        after.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        let telling = after.into_iter().take(4).filter(|held| held.0 >= 0.05 * sum);
        telling
            .map(|(share, at)| format!("{} ({:.0} %)", weighed.suspects[at].in_words(), 100.0 * share / sum))
            .collect()
    }

    fn in_words(&self, circuit: &Circuit, weighed: &Weighed, counts: &[usize], facts: &Facts) -> Next {
        let row = facts.table("trace.test").row_named("test", self.kind());
        let results = results(weighed, counts, &self.odds)
            .into_iter()
            .enumerate()
            .filter(|(_, probability)| *probability >= 0.01)
            .map(|(class, probability)| ResultMeans {
                shows: self.shows(class).to_owned(),
                probability,
                means: self.means(weighed, counts, class),
            })
            .collect();
        let (test, place, entry) = described(circuit, &self.trial);
        Next {
            test,
            place,
            how: row.and_then(|row| row.text("how")).unwrap_or_default().to_owned(),
            results,
            bits: self.bits,
            minutes: self.minutes(facts),
            live: self.kind() == "voltage",
            entry,
            source: row.map_or_else(String::new, |row| row.source.to_string()),
        }
    }
}

fn described(circuit: &Circuit, trial: &Trial) -> (String, String, Entry) {
    match trial {
        Trial::Meter => {
            (String::from("Prove the meter."), String::from("meter"), Entry::Checked { what: String::from("meter") })
        }
        Trial::Exchange(light) => {
            let name = circuit.lights[*light].name.clone();
            (format!("Exchange {name} with a light that works."), name.clone(), Entry::Checked { what: name })
        }
        Trial::Measure(measurement, _) => {
            let (a, b) = (circuit.written(measurement.between.0), circuit.written(measurement.between.1));
            let setting = &measurement.setting;
            let on = |on: bool| String::from(if on { "on" } else { "off" });
            let switches: BTreeMap<String, String> =
                circuit.switches.iter().zip(&setting.on).map(|(name, held)| (name.clone(), on(*held))).collect();
            let board = setting.board_parted.then(|| String::from("board"));
            let runs = setting.parted.iter().map(|run| circuit.runs[*run].name.clone());
            let parted: Vec<String> = board.into_iter().chain(runs).collect();
            let what = match measurement.quantity {
                Quantity::Resistance => "resistance",
                Quantity::Insulation => "insulation",
                Quantity::Voltage => "voltage",
            };
            let mut test = format!("Measure {what} from {a} to {b}");
            if !switches.is_empty() {
                let words: Vec<String> = switches.iter().map(|(name, position)| format!("{name} {position}")).collect();
                test += &format!(", {}", words.join(", "));
            }
            if !parted.is_empty() {
                test += &format!(", parted at {}", parted.join(" and "));
            }
            let place = if matches!(measurement.between.1, Terminal::Board(_)) { a.clone() } else { b.clone() };
            let entry = Entry::Measured { between: [a, b], quantity: measurement.quantity, switches, parted };
            (test + ".", place, entry)
        }
    }
}
