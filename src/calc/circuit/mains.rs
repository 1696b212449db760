//! A mains circuit: the study of its runs, and the findings on it.

use super::case::{Case, Device, DeviceKind, Earthing, RcdType};
use super::device::{self, Trip};
use super::finding::{Footing, source_of};
use super::ladder::{self, Drops, Section};
use super::{Answer, Finding, Longest, RunFigures, Side, cable, edition, extras, taken};
use crate::case::CaseError;
use crate::facts::{Facts, Row};
use crate::quantity::plain;

/// Everything that the findings on a mains circuit are drawn from.
#[derive(Debug, Clone)]
pub struct Study<'a> {
    /// The case.
    pub case: &'a Case,
    /// The facts it is judged by.
    pub facts: &'a Facts,
    /// The device at the board.
    pub device: &'a Device,
    edition: &'a Row,
    /// Earthing system; as TN-C-S where the case does not say.
    pub earthing: Earthing,
    /// Nominal voltage to earth, V.
    pub volts: f64,
    /// Loop impedance outside the circuit, Ω; absent on TT where nobody measured it.
    pub ze_ohm: Option<f64>,
    /// The runs, worked out.
    pub runs: Vec<RunFigures>,
    /// Design current, A.
    pub design_current_a: f64,
    /// Power of all loads, W.
    pub load_w: f64,
    /// Line and protective conductor to the far end at 20 °C, Ω.
    pub r1_r2_ohm: Option<f64>,
    drops: Drops,
    drops_corrected: Drops,
    /// The longest time that a fault to earth may last, s.
    pub time_s: f64,
    /// What opens the overcurrent device in time.
    pub trip: Option<Trip>,
    /// What was taken because the case does not say it.
    pub assumed: Vec<String>,
}

/// Judges a mains circuit whose case has been checked.
///
/// # Errors
/// [`CaseError`] for a key that is missing or a size that no cable has.
pub fn figure(case: &Case, facts: &Facts) -> Result<Answer, CaseError> {
    let study = Study::new(case, facts)?;
    let mut findings = vec![
        study.design_current(),
        study.device_rating(),
        study.cable_rating(),
        study.line_area(),
        study.volt_drop(),
        study.volt_drop_percent(),
        study.volt_drop_corrected(),
        study.r1_r2(),
        study.zs(),
        study.zs_limit(),
        study.zs_measured_limit(),
        study.fault_current(),
        study.cpc_area(),
    ];
    findings.extend(study.cpc_energy());
    findings.push(study.rcd());
    findings.extend(extras::leakage(case, study.device.rcd, facts));
    let drivers = extras::driver_counts(case, study.device, study.volts, facts);
    findings.extend(extras::drivers(case, study.device, &drivers, facts));
    findings.extend(extras::dimmer(case, study.load_w, facts));
    Ok(Answer {
        edition: study.edition.text("edition").unwrap_or_default().to_owned(),
        edition_note: study.edition.text("note").unwrap_or_default().to_owned(),
        findings,
        longest_m: study.longest(),
        runs: study.runs,
        drivers,
        assumed: study.assumed,
    })
}

impl<'a> Study<'a> {
    /// Works out the runs of a mains circuit whose case has been checked.
    ///
    /// # Errors
    /// [`CaseError`] for a key that is missing or a size that no cable has.
    pub fn new(case: &'a Case, facts: &'a Facts) -> Result<Self, CaseError> {
        let device = case.device.as_ref().ok_or_else(|| CaseError::at("device", "a mains circuit needs its device"))?;
        device::check(device, facts)?;
        let edition = edition(case, facts)?;
        let mut assumed = Vec::new();
        let volts = case.supply.volts.unwrap_or(230.0);
        let earthing = case.supply.earthing.unwrap_or_else(|| {
            assumed.push(String::from("earthing TN-C-S"));
            Earthing::TnCS
        });
        let ze_ohm = external_loop(case, earthing, facts, &mut assumed);
        let mut runs = lay_out(case, device.kind, facts, &mut assumed)?;
        let (mut sections, load_w) = loaded(case, &runs, volts, facts, &mut assumed);
        let drops = ladder::drops(&sections, false);
        for ((section, run), current) in sections.iter_mut().zip(&runs).zip(&drops.entering_a) {
            section.ohm *= run.cable.as_ref().map_or(1.0, |cable| cable::volt_drop_factor(cable, *current, facts));
        }
        let drops_corrected = ladder::drops(&sections, false);
        let hot = facts.value("conductor.hot_factor");
        for (index, run) in runs.iter_mut().enumerate() {
            run.current_a = drops.entering_a[index];
            run.volt_drop_v = drops.at_ends_v[index];
            run.volt_drop_corrected_v = Some(drops_corrected.at_ends_v[index]);
            run.zs_to_end_ohm = ze_ohm.zip(run.r1_r2_to_end_ohm).map(|(ze, r1_r2)| ze + hot * r1_r2);
        }
        let time_s = facts.value(if earthing == Earthing::Tt { "circuit.time_tt" } else { "circuit.time_tn" });
        Ok(Self {
            case,
            facts,
            device,
            edition,
            earthing,
            volts,
            ze_ohm,
            design_current_a: drops.entering_a.first().copied().unwrap_or(0.0),
            load_w,
            r1_r2_ohm: runs.last().and_then(|run| run.r1_r2_to_end_ohm),
            runs,
            drops,
            drops_corrected,
            time_s,
            trip: device::trip(device, time_s, facts),
            assumed,
        })
    }

    /// Whether a fault to earth is cleared by the residual current device: on TT, where there is one.
    #[must_use]
    pub fn rcd_clears(&self) -> bool {
        self.earthing == Earthing::Tt && self.device.rcd.is_some()
    }

    /// Greatest loop impedance with hot conductors, Ω, not rounded; absent where no table tells.
    #[must_use]
    pub fn zs_limit_ohm(&self) -> Option<f64> {
        match self.device.rcd {
            Some(rcd) if self.rcd_clears() => Some(self.facts.value("circuit.touch_voltage") / rcd.0),
            _ => self.trip.as_ref().map(|trip| self.fault_volts() / trip.current_a),
        }
    }

    /// Greatest loop impedance as measured cold, Ω, not rounded: the screen, with the fuller check behind it.
    #[must_use]
    pub fn zs_measured_limit_ohm(&self) -> Option<f64> {
        let share = if self.rcd_clears() { 1.0 } else { self.facts.value("circuit.measured_share") };
        self.zs_limit_ohm().map(|limit| limit * share)
    }

    /// Greatest R1+R2 at 20 °C, Ω, that keeps the hot loop within its limit.
    #[must_use]
    pub fn r1_r2_limit_ohm(&self) -> Option<f64> {
        let hot = self.facts.value("conductor.hot_factor");
        self.zs_limit_ohm().zip(self.ze_ohm).map(|(limit, ze)| ((limit - ze) / hot).max(0.0))
    }

    /// Loop impedance at the far end with hot conductors, Ω.
    #[must_use]
    pub fn zs_ohm(&self) -> Option<f64> {
        self.runs.last().and_then(|run| run.zs_to_end_ohm)
    }

    /// Where the limit of the loop impedance comes from.
    #[must_use]
    pub fn zs_source(&self) -> String {
        match &self.trip {
            _ if self.rcd_clears() => source_of(self.facts, "circuit.touch_voltage"),
            Some(trip) => format!("{}; {}", self.edition_source(), trip.source),
            None => self.edition_source(),
        }
    }

    /// The same, with where the temperature of the conductors comes from.
    fn hot_source(&self) -> String {
        format!("{}; {}", self.zs_source(), source_of(self.facts, "conductor.hot_factor"))
    }

    fn edition_source(&self) -> String {
        let cmin = self.edition.number("cmin").unwrap_or(1.0);
        if cmin < 1.0 { source_of(self.facts, "circuit.cmin") } else { self.edition.source.to_string() }
    }

    /// Voltage that drives a fault when the supply is at its lowest, V.
    #[must_use]
    pub fn fault_volts(&self) -> f64 {
        self.volts * self.edition.number("cmin").unwrap_or(1.0)
    }

    fn trip_footing(&self) -> Footing {
        let is_worst = !self.rcd_clears() && self.trip.as_ref().is_some_and(|trip| trip.is_worst);
        if is_worst { Footing::Worst } else { Footing::Known }
    }

    /// What to say where the loop can't be judged or is judged by the worst.
    fn loop_note(&self) -> &'static str {
        if self.trip.is_none() && !self.rcd_clears() {
            "no table tells what opens this device in time; ask its maker"
        } else if self.trip_footing() == Footing::Worst {
            "curve or standard not given: judged by the slowest that fits"
        } else if self.ze_ohm.is_none() {
            "loop impedance with the electrode has to be measured"
        } else if self.r1_r2_ohm.is_none() {
            "a run has no protective conductor"
        } else {
            ""
        }
    }

    fn design_current(&self) -> Finding {
        let rating = Some(self.device.rating.0);
        Finding::judged("design_current_a", "A", Some(self.design_current_a), Side::Most, rating)
            .from_source(source_of(self.facts, "circuit.overload"))
    }

    fn device_rating(&self) -> Finding {
        let design_current = Some(self.design_current_a);
        Finding::judged("device_rating_a", "A", Some(self.device.rating.0), Side::Least, design_current)
            .from_source(source_of(self.facts, "circuit.overload"))
    }

    fn cable_rating(&self) -> Finding {
        let id = "cable_rating_a";
        let ratings = self.runs.iter().filter_map(|run| run.cable.as_ref().map(|cable| (run, cable)));
        let Some((run, lowest)) = ratings.min_by(|a, b| a.1.rating_a.total_cmp(&b.1.rating_a)) else {
            return Finding::judged(id, "A", None, Side::Least, Some(self.device.rating.0));
        };
        let mut source = format!("{}; {}", source_of(self.facts, "circuit.overload"), lowest.source);
        if lowest.fuse_factor < 1.0 {
            source = format!("{source}; {}", source_of(self.facts, "cable.rewireable_factor"));
        }
        let note = match (lowest.is_worst, run.name.is_empty()) {
            (true, _) => String::from("method or metric size not given: the worst that fits"),
            (false, false) => format!("lowest on run `{}`", crate::quantity::shown_inert(&run.name)),
            (false, true) => String::new(),
        };
        Finding::judged(id, "A", Some(lowest.rating_a), Side::Least, Some(self.device.rating.0))
            .with_footing(if lowest.is_worst { Footing::Worst } else { Footing::Known })
            .from_source(source)
            .noted(note)
    }

    fn line_area(&self) -> Finding {
        let areas = self.runs.iter().filter_map(|run| run.cable.as_ref().map(|cable| cable.line_mm2));
        let limit = Some(self.facts.value("circuit.least_area"));
        let is_imperial = areas.clone().any(|area| area.fract() != 0.0 && area < 1.0);
        Finding::judged("line_area_mm2", "mm²", areas.min_by(f64::total_cmp), Side::Least, limit)
            .with_footing(if is_imperial { Footing::Worst } else { Footing::Known })
            .from_source(source_of(self.facts, "circuit.least_area"))
    }

    fn volt_drop_limit(&self) -> f64 {
        self.volts * self.facts.value("circuit.volt_drop_lighting") / 100.0
    }

    fn volt_drop(&self) -> Finding {
        let (value, limit) = (Some(self.drops.worst_v), Some(self.volt_drop_limit()));
        Finding::judged("volt_drop_v", "V", value, Side::Most, limit)
            .from_source(source_of(self.facts, "circuit.volt_drop_lighting"))
    }

    fn volt_drop_percent(&self) -> Finding {
        let limit = Some(self.facts.value("circuit.volt_drop_lighting"));
        let value = Some(self.drops.worst_v / self.volts * 100.0);
        Finding::judged("volt_drop_percent", "%", value, Side::Most, limit)
            .from_source(source_of(self.facts, "circuit.volt_drop_lighting"))
    }

    fn volt_drop_corrected(&self) -> Finding {
        let (value, limit) = (Some(self.drops_corrected.worst_v), Some(self.volt_drop_limit()));
        let limit_source = source_of(self.facts, "circuit.volt_drop_lighting");
        Finding::judged("volt_drop_corrected_v", "V", value, Side::Most, limit)
            .from_source(format!("{limit_source}; {}", source_of(self.facts, "conductor.overload_ratio")))
            .noted("conductors at the temperature that this current gives them")
    }

    fn r1_r2(&self) -> Finding {
        Finding::judged("r1_r2_ohm", "Ω", self.r1_r2_ohm, Side::Most, self.r1_r2_limit_ohm())
            .with_footing(self.trip_footing())
            .from_source(self.hot_source())
            .noted(self.loop_note())
    }

    fn zs(&self) -> Finding {
        Finding::judged("zs_ohm", "Ω", self.zs_ohm(), Side::Most, self.zs_limit_ohm())
            .with_footing(self.trip_footing())
            .from_source(self.hot_source())
            .noted(self.loop_note())
    }

    /// The limit itself, with the verdict on the loop.
    fn zs_limit(&self) -> Finding {
        let limit = self.zs_limit_ohm();
        let verdict = self.zs().verdict;
        let finding = Finding::judged("zs_limit_ohm", "Ω", limit, Side::Most, limit).from_source(self.zs_source());
        Finding { verdict, ..finding }.noted(self.loop_note())
    }

    /// The reduced limit for a loop measured cold. Above it nothing has failed yet: the fuller check decides.
    fn zs_measured_limit(&self) -> Finding {
        let limit = self.zs_measured_limit_ohm();
        let cold = self.ze_ohm.zip(self.r1_r2_ohm).map(|(ze, r1_r2)| ze + r1_r2);
        let screened = Finding::judged("zs_measured_limit_ohm", "Ω", cold, Side::Most, limit);
        let passes = screened.margin.is_some_and(|margin| margin >= 0.0);
        let (verdict, note) = match self.zs() {
            zs if passes => (zs.verdict, ""),
            zs if zs.verdict == super::Verdict::Within => {
                (super::Verdict::Ask, "above the screen; Ze + 1.2 × (R1+R2) is within the table's limit")
            }
            zs => (zs.verdict, self.loop_note()),
        };
        let source = format!("{}; {}", source_of(self.facts, "circuit.measured_share"), self.zs_source());
        let source = if self.rcd_clears() { self.zs_source() } else { source };
        Finding { value: limit, margin: limit.map(|_| 0.0), verdict, ..screened }.from_source(source).noted(note)
    }

    /// Current of a fault at the far end, beside what opens the device in time.
    fn fault_current(&self) -> Finding {
        let current = self.zs_ohm().map(|zs| self.fault_volts() / zs);
        let needed = match self.device.rcd {
            Some(rcd) if self.rcd_clears() => Some(rcd.0),
            _ => self.trip.as_ref().map(|trip| trip.current_a),
        };
        Finding::judged("fault_current_a", "A", current, Side::Least, needed)
            .with_footing(self.trip_footing())
            .from_source(self.hot_source())
            .noted(self.loop_note())
    }

    /// Smallest protective conductor, mm².
    fn least_cpc_mm2(&self) -> Option<f64> {
        let areas: Option<Vec<f64>> =
            self.runs.iter().map(|run| run.cable.as_ref().and_then(|cable| cable.cpc_mm2)).collect();
        areas.and_then(|areas| areas.into_iter().min_by(f64::total_cmp))
    }

    fn k(&self) -> f64 {
        let given = self.case.fault.as_ref().and_then(|fault| fault.k);
        given.unwrap_or_else(|| self.facts.value("circuit.k_in_cable"))
    }

    /// The adiabatic check with the caller's fault, or with the fault at the far end.
    fn cpc_area(&self) -> Finding {
        let fault = self.case.fault.clone().unwrap_or_default();
        // The full voltage gives the largest current: the safe side for heating, as the lowest is for opening.
        let current = fault.current.map(|current| current.0).or_else(|| self.zs_ohm().map(|zs| self.volts / zs));
        let time = fault.time.map(|time| time.0).or_else(|| {
            let by_device = device::opening_time_s(self.device, current?, self.facts);
            by_device.or_else(|| self.rcd_clears().then_some(self.time_s))
        });
        let least = current.zip(time).map(|(current, time)| adiabatic_mm2(current, time, self.k()));
        let too_short = time.is_some_and(|time| time < self.facts.value("circuit.instantaneous_time"));
        let note = match (current, time) {
            (Some(_), Some(_)) if too_short => {
                String::from("under 0.1 s the equation is not exact; compare the energy let through")
            }
            (Some(current), Some(time)) => format!("{} A for {} s", plain(current, 0), plain(time, 3)),
            (Some(_), None) => String::from("the fault current opens the device in no time that a table knows"),
            (None, _) => self.loop_note().to_owned(),
        };
        Finding::judged("cpc_area_mm2", "mm²", self.least_cpc_mm2(), Side::Least, least)
            .with_footing(if too_short { Footing::Open } else { Footing::Known })
            .from_source(format!(
                "{}; {}",
                source_of(self.facts, "circuit.instantaneous_time"),
                source_of(self.facts, "circuit.k_in_cable")
            ))
            .noted(note)
    }

    /// Energy let through by a breaker at the near end, where the current is highest, beside what the smallest
    /// protective conductor stands.
    fn cpc_energy(&self) -> Option<Finding> {
        let given = self.case.fault.as_ref().and_then(|fault| fault.let_through);
        if self.device.kind.is_fuse() && given.is_none() {
            return None;
        }
        let at_board = self.ze_ohm.filter(|ze| *ze > 0.0).map(|ze| self.volts / ze);
        let class_limit = at_board.and_then(|current| device::energy_class_limit(self.device, current, self.facts));
        let (value, source) = match (given, class_limit) {
            (Some(energy), _) => (Some(energy), String::from("the maker's data")),
            (None, Some((energy, source))) => (Some(energy), source),
            (None, None) => (None, String::new()),
        };
        let stands = self.least_cpc_mm2().map(|area| (self.k() * area).powi(2));
        let rule = source_of(self.facts, "circuit.cpc_energy");
        let source = if source.is_empty() { rule } else { format!("{rule}; {source}") };
        let note = match (given, value) {
            (Some(_), _) => "",
            (None, Some(_)) => {
                "the most that its energy class allows; ask the maker what it lets through at this current"
            }
            (None, None) => "needs the maker's figure for the energy let through",
        };
        let finding = Finding::judged("cpc_energy_a2s", "A²s", value, Side::Most, stands)
            .with_footing(if given.is_some() { Footing::Known } else { Footing::Worst });
        Some(finding.from_source(source).noted(note))
    }

    fn rcd(&self) -> Finding {
        let most = self.facts.value("circuit.rcd_most");
        let source = source_of(self.facts, "circuit.rcd_most");
        // Milliamperes of a device come in round figures; this takes off the last bit of the conversion.
        let value = self.device.rcd.map(|rcd| (rcd.0 * 1e6).round() / 1e3);
        let finding = Finding::judged("rcd", "mA", value, Side::Most, Some(most));
        let Some(_) = value else {
            return Finding { verdict: super::Verdict::Outside, ..finding }
                .from_source(source)
                .noted("no residual current device protects these lights");
        };
        if self.device.rcd_type == Some(RcdType::Ac) {
            let row = self.facts.table("circuit.rcd_type").row_named("type", "AC");
            let (led, type_source) = row
                .map(|row| (row.text("led").unwrap_or_default().to_owned(), row.source.to_string()))
                .unwrap_or_default();
            return finding
                .with_footing(Footing::Open)
                .from_source(format!("{source}; {type_source}"))
                .noted(format!("type AC: {led}"));
        }
        finding.from_source(source)
    }

    fn longest(&self) -> Longest {
        let length: f64 = self.case.run.iter().map(|run| run.length.0).sum();
        let by_drop = |drop: f64| (drop > 0.0).then(|| length * self.volt_drop_limit() / drop);
        let by_loop = |limit: Option<f64>, factor: f64| {
            let (limit, ze, r1_r2) = (limit?, self.ze_ohm?, self.r1_r2_ohm?);
            (r1_r2 > 0.0).then(|| (length * (limit - ze) / (factor * r1_r2)).max(0.0))
        };
        Longest {
            volt_drop: by_drop(self.drops.worst_v),
            volt_drop_corrected: by_drop(self.drops_corrected.worst_v),
            loop_impedance: by_loop(self.zs_limit_ohm(), self.facts.value("conductor.hot_factor")),
            loop_impedance_measured: by_loop(self.zs_measured_limit_ohm(), 1.0),
        }
    }
}

/// Least cross-section in mm² that stands a fault: √(I²t) / k.
#[must_use]
pub fn adiabatic_mm2(current_a: f64, time_s: f64, k: f64) -> f64 {
    (current_a.powi(2) * time_s).sqrt() / k
}

fn external_loop(case: &Case, earthing: Earthing, facts: &Facts, assumed: &mut Vec<String>) -> Option<f64> {
    if let Some(ze) = case.supply.ze {
        return Some(ze.0);
    }
    let declared = facts.table("circuit.declared_ze").row_named("earthing", earthing.name())?.number("ohm")?;
    assumed.push(format!("Ze {} Ω, the most that distributors declare", plain(declared, 2)));
    Some(declared)
}

/// The runs with cables and resistances, in order.
fn lay_out(
    case: &Case,
    kind: DeviceKind,
    facts: &Facts,
    assumed: &mut Vec<String>,
) -> Result<Vec<RunFigures>, CaseError> {
    let mut runs = Vec::new();
    for (index, run) in case.run.iter().enumerate() {
        let figures = conductors(case, index, kind, &runs, facts)?;
        runs.push(figures);
        if run.method.is_none() {
            assumed.push(format!("reference method 103, the worst, for `run[{index}]`"));
        }
    }
    Ok(runs)
}

/// The runs as a ladder with their loads, and the watts of all loads.
fn loaded(
    case: &Case,
    runs: &[RunFigures],
    volts: f64,
    facts: &Facts,
    assumed: &mut Vec<String>,
) -> (Vec<Section>, f64) {
    let (mut sections, mut load_w) = (Vec::new(), 0.0);
    for (run, figures) in case.run.iter().zip(runs) {
        let millivolts = figures.cable.as_ref().map_or(0.0, |cable| cable.millivolts);
        let mut section = Section { ohm: millivolts / 1000.0 * run.length.0, at_end_a: 0.0, spread_a: 0.0 };
        for load in &run.load {
            let (current, power) = taken(load, volts, true, facts, assumed);
            load_w += power;
            *(if load.spread { &mut section.spread_a } else { &mut section.at_end_a }) += current;
        }
        sections.push(section);
    }
    (sections, load_w)
}

/// Cable and resistances of a run; currents and drops are filled in when all runs are known.
fn conductors(
    case: &Case,
    index: usize,
    kind: DeviceKind,
    before: &[RunFigures],
    facts: &Facts,
) -> Result<RunFigures, CaseError> {
    let (run, path) = (&case.run[index], format!("run[{index}]"));
    let flat = run.cable.ok_or_else(|| {
        CaseError::at(format!("{path}.cable"), "needed: line over protective conductor in mm2, such as \"1.5/1.0\"")
    })?;
    if run.conductor.is_some() {
        return Err(CaseError::at(
            format!("{path}.conductor"),
            "for extra-low voltage only; a mains run has a `cable`",
        ));
    }
    let cable_path = format!("{path}.cable");
    let r1_ohm = cable::ohm_per_m(flat.line, &cable_path, facts)? * run.length.0;
    let r2_ohm = match flat.cpc {
        Some(cpc) => Some(cable::ohm_per_m(cpc, &cable_path, facts)? * run.length.0),
        None => None,
    };
    let (way_before, r1_r2_before) =
        before.last().map_or((0.0, Some(0.0)), |last| (last.to_end_m, last.r1_r2_to_end_ohm));
    Ok(RunFigures {
        name: run.name.clone(),
        to_end_m: way_before + run.length.0,
        current_a: 0.0,
        volt_drop_v: 0.0,
        volt_drop_corrected_v: None,
        r1_ohm: Some(r1_ohm),
        r2_ohm,
        r1_r2_to_end_ohm: r1_r2_before.zip(r2_ohm).map(|(before, r2)| before + r1_ohm + r2),
        zs_to_end_ohm: None,
        cable: Some(cable::rating(run, flat, kind == DeviceKind::RewireableFuse, &path, facts)?),
    })
}
