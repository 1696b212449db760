//! An extra-low voltage line, such as an LED strip, fed at one end or at both.

use super::case::{Case, FedFrom};
use super::finding::{Footing, source_of};
use super::ladder::{self, Section};
use super::{Answer, Finding, Longest, RunFigures, Side, cable, edition, taken};
use crate::case::CaseError;
use crate::facts::Facts;

/// Judges an extra-low voltage line whose case has been checked. Lengths are one way; both conductors lose volts.
///
/// # Errors
/// [`CaseError`] for a key that is missing or has no meaning at extra-low voltage.
pub fn figure(case: &Case, facts: &Facts) -> Result<Answer, CaseError> {
    let edition = edition(case, facts)?;
    let volts = case.supply.volts.ok_or_else(|| CaseError::at("supply.volts", "needed: 12 or 24, say"))?;
    refuse_mains_keys(case)?;
    let (mut sections, mut assumed) = (Vec::new(), Vec::new());
    let (mut load_w, mut load_a) = (0.0, 0.0);
    for (index, run) in case.run.iter().enumerate() {
        let (mut at_end_a, mut spread_a) = (0.0, 0.0);
        for load in &run.load {
            let (current, power) = taken(load, volts, false, facts, &mut assumed);
            load_w += power;
            load_a += current;
            *(if load.spread { &mut spread_a } else { &mut at_end_a }) += current;
        }
        sections.push(Section { ohm: ohm_per_m(case, index, facts)? * run.length.0, at_end_a, spread_a });
    }
    let drops = ladder::drops(&sections, case.supply.fed_from == FedFrom::BothEnds);
    let length: f64 = case.run.iter().map(|run| run.length.0).sum();
    let good = facts.value("elv.volt_drop_good");
    let mut findings = vec![design_current(case, volts, load_a)];
    findings.extend(volt_drop(volts, drops.worst_v, facts));
    findings.extend(case.supply.rating.map(|rating| {
        Finding::judged("supply_load_w", "W", Some(load_w), Side::Most, Some(rating.0))
            .from_source("rating of the supply by its maker")
    }));
    let mut to_end_m = 0.0;
    let runs = case.run.iter().enumerate().map(|(index, run)| {
        to_end_m += run.length.0;
        let (current_a, volt_drop_v) = (drops.entering_a[index], drops.at_ends_v[index]);
        in_volts_only(run.name.clone(), to_end_m, current_a, volt_drop_v)
    });
    Ok(Answer {
        edition: edition.text("edition").unwrap_or_default().to_owned(),
        edition_note: edition.text("note").unwrap_or_default().to_owned(),
        findings,
        runs: runs.collect(),
        longest_m: Longest {
            volt_drop: (drops.worst_v > 0.0).then(|| length * volts * good / 100.0 / drops.worst_v),
            ..Longest::default()
        },
        drivers: Vec::new(),
        assumed,
    })
}

fn refuse_mains_keys(case: &Case) -> Result<(), CaseError> {
    let keys = [
        ("device", case.device.is_some()),
        ("driver", case.driver.is_some()),
        ("dimmer", case.dimmer.is_some()),
        ("fault", case.fault.is_some()),
        ("supply.earthing", case.supply.earthing.is_some()),
        ("supply.ze", case.supply.ze.is_some()),
        ("supply.other_leakage", case.supply.other_leakage.is_some()),
    ];
    match keys.iter().find(|(_, is_given)| *is_given) {
        Some((key, _)) => Err(CaseError::at(*key, "has no meaning on an extra-low voltage line; leave it out")),
        None => Ok(()),
    }
}

/// Volts lost per ampere and metre of the line, both conductors.
fn ohm_per_m(case: &Case, index: usize, facts: &Facts) -> Result<f64, CaseError> {
    let (run, path) = (&case.run[index], format!("run[{index}]"));
    match (run.millivolts, run.conductor, run.cable) {
        (Some(millivolts), _, None) => Ok(millivolts / 1000.0),
        (None, Some(area), None) => Ok(2.0 * cable::flexible_ohm_per_m(area.0, &format!("{path}.conductor"), facts)?),
        (_, _, Some(_)) => Err(CaseError::at(format!("{path}.cable"), "give `conductor_mm2` at extra-low voltage")),
        (None, None, None) => {
            Err(CaseError::at(format!("{path}.conductor"), "needed: cross-section of each conductor, such as 1.5 mm2"))
        }
    }
}

fn design_current(case: &Case, volts: f64, load_a: f64) -> Finding {
    let limit = case.supply.rating.map(|rating| rating.0 / volts);
    let note = if limit.is_none() { "the supply's rating is not given" } else { "" };
    Finding::judged("design_current_a", "A", Some(load_a), Side::Most, limit)
        .from_source("rating of the supply by its maker")
        .noted(note)
}

/// No rule is written for extra-low voltage: above good practice it is a question, above the most that anybody
/// quotes it is outside.
fn volt_drop(volts: f64, drop_v: f64, facts: &Facts) -> [Finding; 2] {
    let percent = drop_v / volts * 100.0;
    let (good, most) = (facts.value("elv.volt_drop_good"), facts.value("elv.volt_drop_most"));
    let footing = if percent > most { Footing::Known } else { Footing::Worst };
    let source = format!("{}; {}", source_of(facts, "elv.volt_drop_good"), source_of(facts, "elv.volt_drop_most"));
    let note = if percent > good { "light at the far end falls off; feed it nearer or at both ends" } else { "" };
    let finished = |finding: Finding| finding.with_footing(footing).from_source(source.clone()).noted(note);
    [
        finished(Finding::judged("volt_drop_v", "V", Some(drop_v), Side::Most, Some(volts * good / 100.0))),
        finished(Finding::judged("volt_drop_percent", "%", Some(percent), Side::Most, Some(good))),
    ]
}

fn in_volts_only(name: String, to_end_m: f64, current_a: f64, volt_drop_v: f64) -> RunFigures {
    RunFigures {
        name,
        to_end_m,
        current_a,
        volt_drop_v,
        volt_drop_corrected_v: None,
        r1_ohm: None,
        r2_ohm: None,
        r1_r2_to_end_ohm: None,
        zs_to_end_ohm: None,
        cable: None,
    }
}
