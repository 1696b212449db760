//! Why there is no joint, and the reading that would decide.

use std::collections::BTreeMap;

use serde::Serialize;

use super::Terminal;
use super::evidence::{At, Evidence, Reading, Shows};
use super::search::{Expected, Fit, Found, Function, expected, search};

/// A refusal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Refused {
    /// What is not settled, or does not agree.
    pub why: String,
    /// The one thing to do next, in words.
    pub reading: String,
    /// The two cores to measure between, where it is a continuity reading.
    pub between: Option<[String; 2]>,
    /// The switch positions for that reading.
    pub switches: Option<BTreeMap<String, String>>,
}

impl Refused {
    fn without_reading(why: String, reading: String) -> Self {
        Self { why, reading, between: None, switches: None }
    }
}

/// The refusal for a search that left none or several.
#[must_use]
pub fn refuse(evidence: &Evidence, found: &Found) -> Refused {
    if let Some(at) = evidence.misused.first() {
        return Refused::without_reading(
            format!(
                "{} is marked as a protective conductor and sat in a live terminal. Nothing here can be told by its looks.",
                evidence.written(*at)
            ),
            String::from("None decides this: leave the rose as it is, covered and dead, and have the circuit traced."),
        );
    }
    match found.fits.as_slice() {
        [] if found.complete => none_fits(evidence),
        [] => Refused::without_reading(
            String::from("Too little is known of so many cables."),
            String::from(
                "Measure across each cable in every switch position, and note the terminals from the photograph.",
            ),
        ),
        fits => several_fit(evidence, fits, found.complete),
    }
}

/// A reading that could be taken, and what each fit expects of it.
struct Candidate {
    reading: Reading,
    positions: Vec<bool>,
    /// Fits left if it shows a closed contact, and if it does not.
    left: [usize; 2],
}

impl Candidate {
    /// Fits left on average, if each is as likely as the others, times their number; lower is better.
    fn score(&self) -> usize {
        self.left[0] * self.left[0] + self.left[1] * self.left[1]
    }
}

fn several_fit(evidence: &Evidence, fits: &[Fit], complete: bool) -> Refused {
    let count = if complete { fits.len().to_string() } else { format!("{} or more", fits.len()) };
    let why = format!("{count} assignments fit the terminals, colours and readings; no core may be joined on a guess.");
    // Many fits answer alike; a sample keeps the choice quick and does not change what is a good question.
    let sample: Vec<&Fit> = fits.iter().step_by(fits.len().div_ceil(200)).collect();
    let best = candidates(evidence, &sample).into_iter().min_by_key(Candidate::score);
    match best {
        Some(best) if best.left.iter().all(|left| *left < sample.len()) => in_words(evidence, &sample, &best, why),
        _ => from_terminals(evidence, fits, why),
    }
}

fn candidates(evidence: &Evidence, fits: &[&Fit]) -> Vec<Candidate> {
    let every_position = evidence.every_position();
    let mut all = Vec::new();
    for (cable, held) in evidence.cables.iter().enumerate() {
        let live = &held.live;
        let pairs = live.iter().enumerate().flat_map(|(at, a)| live[at + 1..].iter().map(move |b| (*a, *b)));
        for (a, b) in pairs {
            for positions in &every_position {
                all.push(candidate(fits, [(cable, a), (cable, b)], positions, false));
            }
        }
        let earth = (0..held.cores.len()).find(|core| !live.contains(core));
        if let (Some(earth), Some(positions)) = (earth, every_position.first()) {
            all.extend(live.iter().map(|core| candidate(fits, [(cable, *core), (cable, earth)], positions, true)));
        }
    }
    all
}

fn candidate(fits: &[&Fit], between: [At; 2], positions: &[bool], board_link: bool) -> Candidate {
    let stated = positions.iter().map(|on| Some(*on)).collect();
    let reading = Reading { between, positions: stated, board_link, shows: Shows::Nothing };
    let count = |excluded: Expected| fits.iter().filter(|fit| expected(fit, &reading) != excluded).count();
    let left = [count(Expected::Apart), count(Expected::Closed)];
    Candidate { positions: positions.to_vec(), left, reading }
}

fn in_words(evidence: &Evidence, fits: &[&Fit], best: &Candidate, why: String) -> Refused {
    let between = best.reading.between.map(|at| evidence.written(at));
    let how = if best.reading.board_link {
        String::from("with the circuit's line linked to its protective conductor at the board")
    } else if evidence.switches.len() > 1 {
        format!("with the switches at {}", evidence.positions_in_words(&best.positions))
    } else {
        format!("with the switch {}", evidence.positions_in_words(&best.positions))
    };
    let outcome = |closed: bool| {
        let excluded = if closed { Expected::Apart } else { Expected::Closed };
        let left: Vec<&&Fit> = fits.iter().filter(|fit| expected(fit, &best.reading) != excluded).collect();
        let cable = best.reading.between[0].0;
        let said = left.first().map(|fit| fit.role(cable));
        match said {
            Some(role) if left.iter().all(|fit| fit.role(cable) == role) && !best.reading.board_link => {
                let role = serde_json::to_value(role).ok().and_then(|role| role.as_str().map(String::from));
                format!("{} is the {} cable", evidence.cables[cable].name, role.unwrap_or_default())
            }
            _ => format!("{} left of {}", left.len(), fits.len()),
        }
    };
    let reading = format!(
        "Dead and with every core parted, measure {} to {} {how}. Near 0 Ω: {}. Open or a load: {}.",
        between[0],
        between[1],
        outcome(true),
        outcome(false)
    );
    let switches = (!best.reading.board_link).then(|| evidence.positions_by_name(&best.positions));
    Refused { why, reading, between: Some(between), switches }
}

/// No reading tells them apart; the terminal of the core on which they differ most does.
fn from_terminals(evidence: &Evidence, fits: &[Fit], why: String) -> Refused {
    let spread = |at: At| {
        let mut counts: BTreeMap<Function, usize> = BTreeMap::new();
        for fit in fits {
            *counts.entry(fit.function(at)).or_default() += 1;
        }
        counts.into_values().max().unwrap_or(0)
    };
    let core = evidence.all_cores().min_by_key(|at| spread(*at)).map_or_else(String::new, |at| evidence.written(at));
    Refused::without_reading(
        why,
        format!("No dead reading tells them apart. Find on the photograph which terminal {core} came out of."),
    )
}

fn none_fits(evidence: &Evidence) -> Refused {
    let mut blamed = Vec::new();
    for at in 0..evidence.readings.len() {
        let mut without = evidence.clone();
        let reading = without.readings.remove(at);
        if !search(&without).fits.is_empty() {
            blamed.push(format!("the reading {}", reading_in_words(evidence, &reading)));
        }
    }
    for at in evidence.all_cores() {
        let terminal = evidence.core(at).terminal;
        if matches!(terminal, Terminal::Unknown | Terminal::Earth) {
            continue;
        }
        let mut without = evidence.clone();
        without.cables[at.0].cores[at.1].terminal = Terminal::Unknown;
        if !search(&without).fits.is_empty() {
            blamed.push(format!("the terminal of {}", evidence.written(at)));
        }
    }
    let mut why = String::from("No assignment fits the terminals and the readings together.");
    for cable in 0..evidence.cables.len() {
        why.push_str(&always_closed(evidence, cable));
    }
    if !evidence.readings.is_empty() && evidence.readings.iter().all(|reading| reading.shows != Shows::Closed) {
        why.push_str(" No cable answers to the switch in what has been read.");
    }
    let reading = if blamed.is_empty() {
        String::from(
            "No single reading would settle it: check tags and photograph, then measure across each cable in every switch position.",
        )
    } else {
        format!("Take again, or check on the photograph: {}. Without it something fits.", blamed.join("; or "))
    };
    Refused::without_reading(why, reading)
}

/// A pair of cores that is closed in both positions of a switch points to a stuck switch or a shorted cable.
fn always_closed(evidence: &Evidence, cable: usize) -> String {
    let closed: Vec<&Reading> = evidence
        .readings
        .iter()
        .filter(|reading| reading.shows == Shows::Closed && reading.between.iter().all(|at| at.0 == cable))
        .collect();
    let both = closed.iter().any(|a| {
        closed.iter().any(|b| a.between == b.between && a.positions != b.positions) && evidence.switches.len() == 1
    });
    if both {
        format!(" {} is closed in both positions: a stuck switch, or a shorted cable.", evidence.cables[cable].name)
    } else {
        String::new()
    }
}

fn reading_in_words(evidence: &Evidence, reading: &Reading) -> String {
    let [a, b] = reading.between.map(|at| evidence.written(at));
    let known: Option<Vec<bool>> = reading.positions.iter().copied().collect();
    match known {
        Some(positions) => format!("{a} to {b} at {}", evidence.positions_in_words(&positions)),
        None => format!("{a} to {b}"),
    }
}
