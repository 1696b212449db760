//! What a reading should be, and what a measured one means.

use serde::{Deserialize, Serialize};

use super::circuit::case::{Case as Circuit, Device, Earthing, RcdDelay, Run, Supply, SupplyKind, bounded};
use super::circuit::finding::source_of;
use super::circuit::mains::Study;
use super::circuit::{Side, cable};
use crate::case::CaseError;
use crate::facts::Facts;
use crate::quantity::{Dimension, Measured, Share, Temperature, measured, parse, plain, shown_inert};

mod judge;

/// A reading on a circuit.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Case {
    /// What is measured.
    pub quantity: Quantity,
    /// The reading with its unit (`>999 MΩ` over range), or a word for polarity; absent while only the range is asked.
    #[serde(default)]
    pub measured: Option<String>,
    /// Where: a run's name, for its far end, or `far end`, which is also the default.
    #[serde(default)]
    pub at: Option<String>,
    /// Name of the run at whose far end the measured part begins; the board if absent.
    #[serde(default)]
    pub from: Option<String>,
    /// Temperature of the conductors while measuring; 20 °C if absent.
    #[serde(default)]
    pub conductor_temperature: Option<Temperature>,
    /// What the instrument may be off by.
    #[serde(default)]
    pub instrument: Option<Instrument>,
    /// Insulation: new cable by itself, or a circuit with whatever else hangs on it.
    #[serde(default)]
    pub part: Part,
    /// Residual current device: multiple of the rated residual current; 1 if absent.
    #[serde(default)]
    pub times: Option<f64>,
    /// Edition and amendments to judge against.
    #[serde(default)]
    pub edition: Option<String>,
    /// As in a circuit.
    #[serde(default)]
    pub supply: Supply,
    /// As in a circuit; without it there is no limit to judge a resistance by.
    #[serde(default)]
    pub device: Option<Device>,
    /// As in a circuit.
    #[serde(default)]
    pub run: Vec<Run>,
}

/// Quantities that are measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Quantity {
    /// Line and protective conductor in series.
    #[serde(rename = "r1_r2")]
    R1R2,
    /// The line conductor alone.
    R1,
    /// The protective conductor alone.
    R2,
    /// Line and neutral in series.
    #[serde(rename = "r1_rn")]
    R1Rn,
    /// Insulation resistance.
    Insulation,
    /// Earth-fault loop impedance.
    Zs,
    /// Operating time of the residual current device.
    RcdTime,
    /// Line and neutral each where they belong.
    Polarity,
}

impl Quantity {
    fn dimension(self) -> Dimension {
        match self {
            Self::RcdTime => Dimension::Time,
            Self::Polarity => Dimension::Number,
            _ => Dimension::Resistance,
        }
    }

    /// Unit of the range and the reading, and its size in the base unit.
    fn unit(self) -> (&'static str, f64) {
        match self {
            Self::Insulation => ("MΩ", 1e6),
            Self::RcdTime => ("ms", 1e-3),
            Self::Polarity => ("", 1.0),
            _ => ("Ω", 1.0),
        }
    }
}

/// What an insulation reading covers.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Part {
    /// Cable that was there before, appliances and all.
    #[default]
    Whole,
    /// New cable with nothing connected.
    New,
}

/// What an instrument may be off by.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Instrument {
    /// Share of the reading.
    #[serde(default)]
    pub accuracy: Option<Share>,
    /// Steps of its resolution on top.
    #[serde(default)]
    pub digits: Option<f64>,
    /// One step, with its unit.
    #[serde(default)]
    pub resolution: Option<String>,
}

/// What a reading should be: a number, or a word.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Expected {
    /// A figure in the range's unit.
    Figure(f64),
    /// A word.
    Word(&'static str),
}

/// What a reading should be.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Range {
    /// What is measured.
    pub quantity: Quantity,
    /// The reading if everything is as described; absent where only a limit can be named.
    pub expected: Option<Expected>,
    /// A lower reading is looked at again.
    pub low: Option<f64>,
    /// A higher reading is looked at again.
    pub high: Option<f64>,
    /// On the wrong side of this a reading fails, for most quantities.
    pub limit: Option<f64>,
    /// The side of the limit on which a reading has to be.
    pub side: Side,
    /// Unit of all figures.
    pub unit: &'static str,
    /// Where they come from.
    pub source: String,
}

/// What a measured value means.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Verdict {
    /// As expected and within the limit.
    #[serde(rename = "pass")]
    Pass,
    /// Not as expected, or above a screen that has a fuller check behind it.
    #[serde(rename = "look again")]
    LookAgain,
    /// Outside the limit.
    #[serde(rename = "fail")]
    Fail,
}

/// The range, and the reading judged by it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Answer {
    /// What the reading should be.
    #[serde(flatten)]
    pub range: Range,
    /// The reading, in the range's unit; absent for polarity and where none was given.
    pub measured: Option<f64>,
    /// What it means; absent where no reading was given.
    pub verdict: Option<Verdict>,
    /// What to do now.
    pub next: String,
    /// Edition and amendments that it is judged against.
    pub edition: String,
}

/// What a reading should be. Scripts call this before the reading is taken.
///
/// # Errors
/// [`CaseError`] for a case that can't be worked out.
pub fn range(case: &Case, facts: &Facts) -> Result<Range, CaseError> {
    Ok(Reading::new(case, facts)?.range)
}

/// What a reading should be at one place of a chain.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Place {
    /// Name of the run at whose far end it is.
    pub at: String,
    /// What the reading should be there.
    #[serde(flatten)]
    pub range: Range,
}

/// What a reading should be at the far end of each run from `from` to `at`, in order.
///
/// # Errors
/// [`CaseError`] for a case that can't be worked out.
pub fn along(case: &Case, facts: &Facts) -> Result<Vec<Place>, CaseError> {
    let ranges = part_measured(case)?.map(|index| {
        let shorter = Case { run: case.run[..=index].to_vec(), at: None, ..case.clone() };
        Ok(Place { at: case.run[index].name.clone(), range: range(&shorter, facts)? })
    });
    ranges.collect()
}

/// Judges a reading.
///
/// # Errors
/// [`CaseError`] for a case that can't be worked out, or a reading that is none of this quantity.
pub fn figure(case: &Case, facts: &Facts) -> Result<Answer, CaseError> {
    let reading = Reading::new(case, facts)?;
    let row = super::circuit::edition(&reading.circuit, facts)?;
    let edition = row.text("edition").unwrap_or_default().to_owned();
    let (measured, judged) = match (&case.measured, case.quantity) {
        (None, _) => (None, None),
        (Some(text), Quantity::Polarity) => (None, Some(judge::polarity(text)?)),
        (Some(text), quantity) => {
            let found = reading_of(text, quantity)?;
            (Some(found.value), Some(reading.judge(found)?))
        }
    };
    let (verdict, next) = match judged {
        Some((verdict, next)) => (Some(verdict), next),
        None => (None, String::from("Take the reading.")),
    };
    Ok(Answer { range: reading.range, measured, verdict, next, edition })
}

/// A reading in the unit of its quantity.
fn reading_of(text: &str, quantity: Quantity) -> Result<Measured, CaseError> {
    let (unit, size) = quantity.unit();
    let found =
        measured(text, quantity.dimension(), None).map_err(|error| CaseError::at("measured", error.to_string()))?;
    let found = Measured { value: found.value / size, over: found.over };
    bounded("measured", found.value, 0.0, 1e9, unit)?;
    Ok(found)
}

/// A case worked out as far as its quantity needs.
struct Reading<'a> {
    case: &'a Case,
    facts: &'a Facts,
    circuit: Circuit,
    range: Range,
}

impl<'a> Reading<'a> {
    fn new(case: &'a Case, facts: &'a Facts) -> Result<Self, CaseError> {
        if case.supply.kind != SupplyKind::Mains {
            return Err(CaseError::at("supply.kind", "readings are judged on mains circuits only"));
        }
        if let Some(temperature) = case.conductor_temperature {
            bounded("conductor_temperature", temperature.0, -20.0, 70.0, "°C")?;
        }
        if let Some(times) = case.times
            && ![0.5, 1.0, 2.0, 5.0].contains(&times)
        {
            return Err(CaseError::at(
                "times",
                "a residual current device is timed at 0.5, 1, 2 or 5 times its rating",
            ));
        }
        if case.times.is_some() && case.quantity != Quantity::RcdTime {
            return Err(CaseError::at("times", "belongs to `rcd_time` only; leave it out"));
        }
        if case.quantity != Quantity::Polarity {
            instrument_error(case, 0.0, facts)?;
        }
        let circuit = Circuit {
            edition: case.edition.clone(),
            ..Circuit::plain(case.supply.clone(), case.device.clone(), case.run.clone())
        };
        let range = match case.quantity {
            Quantity::R1R2 | Quantity::R1 | Quantity::R2 | Quantity::R1Rn => resistance(case, &circuit, facts)?,
            Quantity::Zs => loop_impedance(case, &circuit, facts)?,
            Quantity::Insulation => insulation(case, facts),
            Quantity::RcdTime => rcd_time(case, facts)?,
            Quantity::Polarity => {
                Range { expected: Some(Expected::Word("correct")), ..empty(case.quantity, Side::Most) }
            }
        };
        Ok(Self { case, facts, circuit, range })
    }
}

fn empty(quantity: Quantity, side: Side) -> Range {
    let (unit, _) = quantity.unit();
    Range { quantity, expected: None, low: None, high: None, limit: None, side, unit, source: String::new() }
}

/// The runs between `from` and `at`, as a span of indices.
fn part_measured(case: &Case) -> Result<std::ops::Range<usize>, CaseError> {
    let place = |key: &str, name: &str| {
        case.run.iter().position(|run| !run.name.is_empty() && run.name == name).ok_or_else(|| {
            let names: Vec<String> = case.run.iter().map(|run| format!("`{}`", shown_inert(&run.name))).collect();
            CaseError::at(key, format!("no run has this name; the runs are {}", names.join(", ")))
        })
    };
    let end = match case.at.as_deref() {
        None | Some("far end") => case.run.len(),
        Some(name) => place("at", name)? + 1,
    };
    let start = match case.from.as_deref() {
        None | Some("board") => 0,
        Some(name) => place("from", name)? + 1,
    };
    if start < end { Ok(start..end) } else { Err(CaseError::at("from", "no run lies between here and `at`")) }
}

/// Resistance at 20 °C of what is measured, Ω.
fn at_20(case: &Case, quantity: Quantity, facts: &Facts) -> Result<f64, CaseError> {
    let mut sum = 0.0;
    for index in part_measured(case)? {
        let (run, path) = (&case.run[index], format!("run[{index}].cable"));
        let flat = run.cable.ok_or_else(|| {
            CaseError::at(path.clone(), "needed: line over protective conductor in mm2, such as \"1.5/1.0\"")
        })?;
        let line = cable::ohm_per_m(flat.line, &path, facts)?;
        let cpc = || match flat.cpc {
            Some(cpc) => cable::ohm_per_m(cpc, &path, facts),
            None => Err(CaseError::at(path.clone(), "this cable has no protective conductor to measure")),
        };
        let per_m = match quantity {
            Quantity::R1 => line,
            Quantity::R2 => cpc()?,
            Quantity::R1Rn => 2.0 * line,
            _ => line + cpc()?,
        };
        sum += per_m * run.length.0;
    }
    Ok(sum)
}

fn temperature_factor(case: &Case, facts: &Facts) -> f64 {
    cable::temperature_factor(case.conductor_temperature.map_or(20.0, |temperature| temperature.0), facts)
}

/// What the instrument may be off by at a reading, in the quantity's unit.
fn instrument_error(case: &Case, reading: f64, facts: &Facts) -> Result<f64, CaseError> {
    let instrument = case.instrument.clone().unwrap_or_default();
    let accuracy = instrument.accuracy.map_or_else(|| facts.value("instrument.accuracy"), |share| share.0);
    let digits = instrument.digits.unwrap_or_else(|| facts.value("instrument.digits"));
    bounded("instrument.accuracy", accuracy, 0.0, 100.0, "%")?;
    bounded("instrument.digits", digits, 0.0, 1000.0, "")?;
    let step = match &instrument.resolution {
        None => facts.value("instrument.resolution"),
        Some(text) => {
            let refused =
                |error: crate::quantity::QuantityError| CaseError::at("instrument.resolution", error.to_string());
            parse(text, case.quantity.dimension(), None).map_err(refused)? / case.quantity.unit().1
        }
    };
    bounded("instrument.resolution", step, 0.0, 1000.0, case.quantity.unit().0)?;
    Ok(reading * accuracy / 100.0 + digits * step)
}

/// Expected reading with what conductors, contacts and instrument may add or take away. `fixed` is the part of it
/// that does not lie in the conductors; `fixed_low` what it is at least.
fn spread(
    case: &Case,
    range: Range,
    fixed: f64,
    fixed_low: f64,
    in_cable: f64,
    facts: &Facts,
) -> Result<Range, CaseError> {
    let expected = fixed + in_cable;
    let error = instrument_error(case, expected, facts)?;
    let low = fixed_low + in_cable * (1.0 - facts.value("reading.under") / 100.0) - error;
    let over = in_cable * (1.0 + facts.value("reading.over") / 100.0) + facts.value("reading.contacts");
    let (low, high) = (Some(low.max(0.0)), Some(fixed + over + error));
    Ok(Range { expected: Some(Expected::Figure(expected)), low, high, ..range })
}

fn resistance(case: &Case, circuit: &Circuit, facts: &Facts) -> Result<Range, CaseError> {
    circuit.check()?;
    let factor = temperature_factor(case, facts);
    let in_cable = factor * at_20(case, case.quantity, facts)?;
    let mut range = empty(case.quantity, Side::Most);
    let conductors = facts.table("conductor.resistance").rows.first();
    range.source = conductors.map(|row| row.source.to_string()).unwrap_or_default();
    range.source = format!("{}; {}", range.source, source_of(facts, "reading.over"));
    // Only what is measured from the board can be held against the limit of the loop.
    if case.device.is_some() && part_measured(case)?.start == 0 {
        let study = Study::new(circuit, facts)?;
        let others = match case.quantity {
            Quantity::R2 => at_20(case, Quantity::R1, facts)?,
            Quantity::R1 => at_20(case, Quantity::R2, facts)?,
            _ => 0.0,
        };
        if case.quantity != Quantity::R1Rn {
            range.limit = study.r1_r2_limit_ohm().map(|limit| ((limit - others) * factor).max(0.0));
            range.source = format!("{}; {}", study.zs_source(), range.source);
        }
    }
    spread(case, range, 0.0, 0.0, in_cable, facts)
}

fn loop_impedance(case: &Case, circuit: &Circuit, facts: &Facts) -> Result<Range, CaseError> {
    circuit.check()?;
    if case.from.is_some() {
        return Err(CaseError::at("from", "a loop is measured from the supply; leave it out"));
    }
    let study = Study::new(circuit, facts)?;
    let limit = study.zs_measured_limit_ohm();
    let source = format!("{}; {}", source_of(facts, "circuit.measured_share"), study.zs_source());
    let source = if study.rcd_clears() { study.zs_source() } else { source };
    let range = Range { limit, source, ..empty(case.quantity, Side::Most) };
    let Some(ze) = study.ze_ohm else { return Ok(range) };
    let in_cable = temperature_factor(case, facts) * at_20(case, Quantity::R1R2, facts)?;
    // A declared maximum is no measurement: the supply may well be better.
    let ze_low = if case.supply.ze.is_some() { ze } else { 0.0 };
    spread(case, range, ze, ze_low, in_cable, facts)
}

fn insulation(case: &Case, facts: &Facts) -> Range {
    let low = match case.part {
        Part::New => "insulation.new_part",
        Part::Whole => "insulation.look",
    };
    let source = format!("{}; {}", source_of(facts, "insulation.least"), source_of(facts, low));
    let (limit, low) = (Some(facts.value("insulation.least")), Some(facts.value(low)));
    Range { low, limit, source, ..empty(case.quantity, Side::Least) }
}

fn rcd_time(case: &Case, facts: &Facts) -> Result<Range, CaseError> {
    let Some((device, _)) = case.device.as_ref().and_then(|device| Some((device, device.rcd?))) else {
        return Err(CaseError::at("device.rcd", "needed: the rated residual current, such as \"30 mA\""));
    };
    let times = case.times.unwrap_or(1.0);
    if times < 1.0 {
        let source = source_of(facts, "rcd.stay_share");
        return Ok(Range {
            expected: Some(Expected::Word("stays closed")),
            source,
            ..empty(case.quantity, Side::Least)
        });
    }
    let kind = device.rcd_delay.name();
    let table = facts.table("rcd.time");
    let row = table.rows.iter().find(|row| row.text("type") == Some(kind) && row.number("times") == Some(times));
    let row =
        row.ok_or_else(|| CaseError::at("times", format!("no time is known for this device at {times} times")))?;
    let mut range = Range {
        limit: row.number("most_ms"),
        low: row.number("least_ms"),
        source: row.source.to_string(),
        ..empty(case.quantity, Side::Most)
    };
    let is_undelayed = matches!(device.rcd_delay, RcdDelay::General | RcdDelay::Old);
    if case.supply.earthing == Some(Earthing::Tt) && is_undelayed && times <= 1.0 {
        // Here it is what clears a fault to earth, and the fault may not last as long as the product may take.
        range.high = Some(facts.value("circuit.time_tt") * 1000.0);
        range.source = format!("{}; {}", source_of(facts, "circuit.time_tt"), range.source);
    }
    Ok(range)
}

/// A figure as people read it, with its unit.
fn in_words(value: f64, unit: &str) -> String {
    let decimals = if value.abs() < 10.0 { 2 } else { 0 };
    format!("{} {unit}", plain(value, decimals))
}

#[cfg(test)]
mod tests;
