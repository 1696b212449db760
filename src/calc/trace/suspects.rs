//! The suspects, and how probable each is after what was seen and measured.

use super::model::{Circuit, Conductor, Fault, Live, Setting, Terminal};
use super::{Case, CheckResult, DeviceSeen, LightState, Parted, Quantity};
use crate::case::CaseError;
use crate::facts::Facts;
use crate::quantity::{Dimension, measured, shown_inert};

/// A reading falls into another class than the fault predicts this often: a slip, a contact that comes and goes.
const SLIP: f64 = 0.02;
/// What a person sees differs from what the fault predicts this often.
const MISSEEN: f64 = 0.06;
/// The upper ends of the classes of a resistance, in ohms: a conductor, a bad joint or a load, a leak.
const OHM_CLASSES: [f64; 3] = [3.0, 1_000.0, 1e6];
/// The upper ends of the classes of a voltage, as shares of the supply's.
const VOLT_CLASSES: [f64; 2] = [0.1, 0.85];

/// Up to this share of the supply's voltage a light counts as dead; a project choice.
const DEAD_TO: f64 = 0.15;
/// From this share of the supply's voltage a light counts as lit; a project choice.
const LIT_FROM: f64 = 0.85;

/// A suspect.
#[derive(Debug, Clone, PartialEq)]
pub struct Suspect {
    /// The fault.
    pub fault: Fault,
    /// In words.
    pub says: String,
    /// Where it is.
    pub place: String,
    /// Weight before anything was seen.
    pub weight: f64,
    /// Where the weight comes from.
    pub source: String,
}

impl Suspect {
    /// Fault and place in one line.
    #[must_use]
    pub fn in_words(&self) -> String {
        if self.place.is_empty() { self.says.clone() } else { format!("{}: {}", self.place, self.says) }
    }

    /// Comes and goes: a joint or driver that is loose.
    fn intermittent(&self, circuit: &Circuit, light: usize) -> bool {
        match self.fault {
            Fault::Loose(run, conductor) => conductor != Conductor::E && circuit.passes(light, run),
            Fault::FailingDriver(at) => at == light,
            _ => false,
        }
    }
}

/// Every suspect of a circuit.
#[must_use]
pub fn all(circuit: &Circuit, facts: &Facts) -> Vec<Suspect> {
    let table = facts.table("trace.fault");
    let mut suspects = Vec::new();
    let mut add = |kind: &str, place: String, fault: Fault| {
        if let Some(row) = table.row_named("fault", kind) {
            let says = row.text("says").unwrap_or(kind).to_owned();
            let weight = row.number("weight").unwrap_or(1.0);
            suspects.push(Suspect { fault, says, place, weight, source: row.source.to_string() });
        }
    };
    add("none", String::new(), Fault::None);
    add("detector", String::from("meter"), Fault::Detector);
    for (at, run) in circuit.runs.iter().enumerate() {
        let joint = || format!("where {} begins", run.name);
        for (conductor, open) in
            [(Conductor::L, "open line"), (Conductor::N, "open neutral"), (Conductor::E, "open cpc")]
        {
            add(open, joint(), Fault::Open(at, conductor));
        }
        add("loose line", joint(), Fault::Loose(at, Conductor::L));
        add("loose neutral", joint(), Fault::Loose(at, Conductor::N));
        add("swapped", joint(), Fault::Swapped(at));
        let names = ["line to neutral", "line to cpc", "neutral to cpc"];
        for (pair, name) in Conductor::PAIRS.into_iter().zip(names) {
            add(&format!("short {name}"), run.name.clone(), Fault::Touch(at, pair));
            add(&format!("damaged {name}"), run.name.clone(), Fault::Damaged(at, pair));
        }
    }
    for (at, group) in circuit.groups.iter().enumerate() {
        let name =
            group.switches.iter().map(|switch| circuit.switches[*switch].as_str()).collect::<Vec<_>>().join(" and ");
        add("switch never closes", name.clone(), Fault::NeverCloses(at));
        add("switch never opens", name.clone(), Fault::NeverOpens(at));
        let joint = format!("joint of {name}");
        add("return in neutral", joint.clone(), Fault::ReturnInNeutral(at));
        add("light on permanent line", joint.clone(), Fault::LightOnPermanent(at));
        add("borrowed neutral", joint.clone(), Fault::BorrowedNeutral(at));
        let onward = |run: &&usize| circuit.runs[**run].group.is_none() && circuit.runs[**run].from == group.from;
        let later: Vec<usize> = (group.first_run + 1..circuit.runs.len()).collect();
        for run in later.iter().filter(onward) {
            add("onward on switch line", joint.clone(), Fault::OnwardOnSwitched(at, *run));
        }
    }
    for (at, light) in circuit.lights.iter().enumerate() {
        add("dead driver", light.name.clone(), Fault::DeadDriver(at));
        add("failing driver", light.name.clone(), Fault::FailingDriver(at));
    }
    suspects
}

/// A measurement to be weighed, or one that could be made.
#[derive(Debug, Clone, PartialEq)]
pub struct Measurement {
    /// Between these.
    pub between: (Terminal, Terminal),
    /// Of what kind.
    pub quantity: Quantity,
    /// Under these circumstances.
    pub setting: Setting,
}

/// What was found out, checked.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Evidence {
    lights: Vec<(usize, Vec<bool>, LightState)>,
    device: Vec<DeviceSeen>,
    /// Each with the first class that its value may belong to, and whether it may belong to every one above.
    measured: Vec<(Measurement, usize, bool)>,
    meter: Vec<CheckResult>,
    exchanged: Vec<(usize, CheckResult)>,
}

impl Evidence {
    /// Checks what a case says was found out.
    ///
    /// # Errors
    /// [`CaseError`] with the path of the key.
    pub fn read(case: &Case, circuit: &Circuit) -> Result<Self, CaseError> {
        let mut evidence = Self::default();
        for (index, seen) in case.seen.iter().enumerate() {
            let path = format!("seen[{index}]");
            match (&seen.light, seen.state, seen.device) {
                (Some(light), Some(state), None) => {
                    let light = light_at(circuit, &format!("{path}.light"), light)?;
                    let on = positions(circuit, &format!("{path}.switches"), &seen.switches)?;
                    evidence.lights.push((light, on, state));
                }
                (None, None, Some(device)) => evidence.device.push(device),
                _ => return Err(CaseError::at(path, "either `light` and `state`, or `device` is expected")),
            }
        }
        for (index, measured) in case.measured.iter().enumerate() {
            let path = format!("measured[{index}]");
            let terminal = |at: usize| circuit.terminal(&format!("{path}.between[{at}]"), &measured.between[at]);
            let mut setting = Setting {
                on: positions(circuit, &format!("{path}.switches"), &measured.switches)?,
                board_parted: false,
                parted: Vec::new(),
            };
            part(circuit, &format!("{path}.parted"), &measured.parted, &mut setting)?;
            let measurement =
                Measurement { between: (terminal(0)?, terminal(1)?), quantity: measured.quantity, setting };
            let (class, over) =
                value_class(&format!("{path}.value"), measured.quantity, &measured.value, circuit.volts)?;
            evidence.measured.push((measurement, class, over));
        }
        for (index, checked) in case.checked.iter().enumerate() {
            if checked.what == "meter" {
                evidence.meter.push(checked.result);
            } else {
                let light = light_at(circuit, &format!("checked[{index}].what"), &checked.what)?;
                evidence.exchanged.push((light, checked.result));
            }
        }
        Ok(evidence)
    }

    /// Whether anything at all was found out.
    #[must_use]
    pub fn says_anything(&self) -> bool {
        !(self.lights.is_empty()
            && self.device.is_empty()
            && self.measured.is_empty()
            && self.meter.is_empty()
            && self.exchanged.is_empty())
    }

    /// How probable all of it is, if this suspect is the one.
    fn likelihood(&self, circuit: &Circuit, suspect: &Suspect) -> f64 {
        let mut live = Lives { circuit, fault: suspect.fault, solved: Vec::new() };
        let mut odds = 1.0;
        for (light, on, state) in &self.lights {
            let share = live.at(on).lights[*light];
            odds *= state_odds(share, suspect.intermittent(circuit, *light))[*state as usize];
        }
        for seen in &self.device {
            odds *= device_odds(&mut live, *seen);
        }
        for result in &self.meter {
            odds *= meter_odds(suspect)[*result as usize];
        }
        for (light, result) in &self.exchanged {
            odds *= exchange_odds(suspect, *light)[*result as usize];
        }
        for (measurement, class, over) in &self.measured {
            let classes = &measurement_odds(circuit, suspect, std::slice::from_ref(measurement))[0];
            odds *= if *over { classes[*class..].iter().sum() } else { classes[*class] };
        }
        odds
    }
}

/// A faulty circuit solved once for each set of switch positions that is asked for.
struct Lives<'a> {
    circuit: &'a Circuit,
    fault: Fault,
    solved: Vec<(Vec<bool>, Live)>,
}

impl Lives<'_> {
    fn at(&mut self, on: &[bool]) -> &Live {
        let held = self.solved.iter().position(|(positions, _)| positions == on);
        let at = held.unwrap_or_else(|| {
            self.solved.push((on.to_vec(), self.circuit.live(self.fault, on)));
            self.solved.len() - 1
        });
        &self.solved[at].1
    }
}

/// The suspects of a circuit with their probabilities.
#[derive(Debug, Clone, PartialEq)]
pub struct Weighed {
    /// The suspects.
    pub suspects: Vec<Suspect>,
    /// The probability of each; they add up to 1.
    pub probability: Vec<f64>,
}

impl Weighed {
    /// Weighs every suspect by the evidence.
    #[must_use]
    pub fn new(circuit: &Circuit, evidence: &Evidence, facts: &Facts) -> Self {
        let suspects = all(circuit, facts);
        let weight = |suspect: &Suspect| suspect.weight * evidence.likelihood(circuit, suspect);
        let mut probability: Vec<f64> = suspects.iter().map(weight).collect();
        let sum: f64 = probability.iter().sum();
        if sum > 0.0 {
            probability.iter_mut().for_each(|held| *held /= sum);
        }
        Self { suspects, probability }
    }

    /// The suspects from the likeliest to the least.
    #[must_use]
    pub fn order(&self) -> Vec<usize> {
        let mut order: Vec<usize> = (0..self.suspects.len()).collect();
        order.sort_by(|a, b| self.probability[*b].total_cmp(&self.probability[*a]).then(a.cmp(b)));
        order
    }
}

/// How probable each state of a light is: dead, lit, dim, flickers.
fn state_odds(share: f64, intermittent: bool) -> [f64; 4] {
    if intermittent && share > DEAD_TO {
        return [0.03, 0.22, 0.12, 0.63];
    }
    let mut odds = [MISSEEN / 3.0; 4];
    let state = if share <= DEAD_TO {
        LightState::Dead
    } else if share >= LIT_FROM {
        LightState::Lit
    } else {
        LightState::Dim
    };
    odds[state as usize] = 1.0 - MISSEEN;
    odds
}

fn device_odds(live: &mut Lives<'_>, seen: DeviceSeen) -> f64 {
    let count = live.circuit.switches.len();
    let [off, on] = [false, true].map(|on| {
        let live = live.at(&vec![on; count]);
        (live.overcurrent || live.residual, live.residual)
    });
    let predicted = match seen {
        DeviceSeen::AtOnce => off.0,
        DeviceSeen::WhenSwitchedOn => on.0 && !off.0,
        DeviceSeen::Rcd => on.1 || off.1,
        DeviceSeen::Holds => !(on.0 || off.0),
    };
    if predicted { 1.0 - MISSEEN } else { MISSEEN / 3.0 }
}

/// How probable each class is for each of several measurements under one setting.
#[must_use]
pub fn measurement_odds(circuit: &Circuit, suspect: &Suspect, measurements: &[Measurement]) -> Vec<[f64; 4]> {
    let Some(first) = measurements.first() else { return Vec::new() };
    if suspect.fault == Fault::Detector {
        return vec![[0.25; 4]; measurements.len()];
    }
    let pairs: Vec<(Terminal, Terminal)> = measurements.iter().map(|held| held.between).collect();
    let values = if first.quantity == Quantity::Voltage {
        circuit.volts_between(suspect.fault, &first.setting, &pairs)
    } else {
        circuit.ohm_between(suspect.fault, &first.setting, &pairs)
    };
    let class = |value: &f64| class_of(first.quantity, *value, circuit.volts);
    values.iter().map(|value| odds_around(class(value), suspect)).collect()
}

/// Nearly always the class itself; what is loose or half broken wanders into the neighbours.
fn odds_around(class: usize, suspect: &Suspect) -> [f64; 4] {
    let mut odds = [SLIP / 3.0; 4];
    odds[class] = 1.0 - SLIP;
    if matches!(suspect.fault, Fault::Loose(..) | Fault::Damaged(..)) && (1..=2).contains(&class) {
        odds = [0.05; 4];
        odds[class] = 0.85;
    }
    odds
}

/// The class of a value in ohms or volts.
#[must_use]
pub fn class_of(quantity: Quantity, value: f64, volts: f64) -> usize {
    if quantity == Quantity::Voltage {
        VOLT_CLASSES.iter().filter(|end| value > **end * volts).count()
    } else {
        OHM_CLASSES.iter().filter(|end| value > **end).count()
    }
}

/// What a meter shows in each class.
#[must_use]
pub fn class_in_words(quantity: Quantity, class: usize) -> &'static str {
    match (quantity, class) {
        (Quantity::Voltage, 0) => "next to nothing",
        (Quantity::Voltage, 1) => "less than the supply's voltage",
        (Quantity::Voltage, _) => "the supply's voltage",
        (_, 0) => "near 0 Ω",
        (_, 1) => "more than 3 Ω, up to 1 kΩ",
        (_, 2) => "1 kΩ to 1 MΩ",
        _ => "open, or more than 1 MΩ",
    }
}

/// How probable it is that the meter proves sound, and faulty.
#[must_use]
pub fn meter_odds(suspect: &Suspect) -> [f64; 2] {
    if suspect.fault == Fault::Detector { [SLIP, 1.0 - SLIP] } else { [1.0 - SLIP, SLIP] }
}

/// How probable it is that a light put in another's place is sound, and takes the trouble with it.
#[must_use]
pub fn exchange_odds(suspect: &Suspect, light: usize) -> [f64; 2] {
    let unit = matches!(suspect.fault, Fault::DeadDriver(at) | Fault::FailingDriver(at) if at == light);
    if unit { [SLIP, 1.0 - SLIP] } else { [1.0 - SLIP, SLIP] }
}

fn light_at(circuit: &Circuit, path: &str, name: &str) -> Result<usize, CaseError> {
    circuit.lights.iter().position(|light| light.name == name.trim()).ok_or_else(|| {
        let known: Vec<&str> = circuit.lights.iter().map(|light| light.name.as_str()).collect();
        CaseError::at(path, format!("no light is named `{}`; there are {}", shown_inert(name), known.join(", ")))
    })
}

fn positions(
    circuit: &Circuit,
    path: &str,
    stated: &std::collections::BTreeMap<String, String>,
) -> Result<Vec<bool>, CaseError> {
    let mut on = vec![true; circuit.switches.len()];
    for (name, position) in stated {
        let at = circuit
            .switches
            .iter()
            .position(|switch| switch == name.trim())
            .ok_or_else(|| CaseError::at(path, format!("no switch is named `{}`", shown_inert(name))))?;
        on[at] = match position.trim().to_lowercase().as_str() {
            "on" | "up" => true,
            "off" | "down" => false,
            _ => return Err(CaseError::at(format!("{path}.{name}"), "`on` or `off` is expected, or `up` or `down`")),
        };
    }
    Ok(on)
}

fn part(circuit: &Circuit, path: &str, parted: &Parted, setting: &mut Setting) -> Result<(), CaseError> {
    let places = match parted {
        Parted::One(place) => std::slice::from_ref(place),
        Parted::Many(places) => places.as_slice(),
    };
    for place in places {
        if place == "board" {
            setting.board_parted = true;
        } else {
            let run =
                circuit.runs.iter().position(|run| run.name == place.trim()).ok_or_else(|| {
                    CaseError::at(path, format!("`{}` is neither `board` nor a run", shown_inert(place)))
                })?;
            setting.parted.push(run);
        }
    }
    Ok(())
}

fn value_class(path: &str, quantity: Quantity, value: &str, volts: f64) -> Result<(usize, bool), CaseError> {
    if quantity != Quantity::Voltage && value.trim() == "open" {
        return Ok((OHM_CLASSES.len(), false));
    }
    let dimension = if quantity == Quantity::Voltage { Dimension::Voltage } else { Dimension::Resistance };
    let found = measured(value, dimension, None).map_err(|error| CaseError::at(path, error.to_string()))?;
    if !found.value.is_finite() || found.value < -0.1 {
        return Err(CaseError::at(path, "a value of nought or more is expected"));
    }
    Ok((class_of(quantity, found.value, volts), found.over))
}
