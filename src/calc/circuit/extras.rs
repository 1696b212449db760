//! What LED lights add to a circuit: drivers starting together, standing leakage, a dimmer.

use serde::Serialize;

use super::case::{Case, Device, Driver};
use super::device::{holds_at, relative_drivers};
use super::finding::{Footing, source_of};
use super::{Finding, Side, unknown_power_factor};
use crate::facts::Facts;
use crate::quantity::Current;

/// How many drivers a device can start, by one way of finding out.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DriverCount {
    /// The way: `running current`, `maker's count`, `inrush peak`, `inrush energy`.
    pub way: &'static str,
    /// The number, rounded down.
    pub count: f64,
    /// What it rests on.
    pub source: String,
}

/// The number by every way that the case gives the figures for.
#[must_use]
pub fn driver_counts(case: &Case, device: &Device, volts: f64, facts: &Facts) -> Vec<DriverCount> {
    let Some(driver) = &case.driver else { return Vec::new() };
    let factor = driver.power_factor.unwrap_or_else(|| unknown_power_factor(driver.power.0, facts));
    let running = DriverCount {
        way: "running current",
        count: whole(device.rating.0 * volts * factor / driver.power.0),
        source: String::from("rating over the running current of one"),
    };
    let mut counts = vec![running];
    counts.extend(by_maker(driver, device, facts));
    counts.extend(by_peak(driver, device, facts));
    counts.extend(by_energy(driver));
    counts
}

fn whole(count: f64) -> f64 {
    // The allowance keeps an exact quotient from falling to the number below by the last bit.
    (count + 1e-9).floor()
}

fn by_maker(driver: &Driver, device: &Device, facts: &Facts) -> Option<DriverCount> {
    let count = f64::from(driver.maker_count?);
    let rating = driver.maker_rating.unwrap_or(device.rating).0;
    let curve = driver.maker_curve.or(device.curve);
    let is_this_device = curve == device.curve && (rating - device.rating.0).abs() < 1e-9;
    if is_this_device {
        return Some(DriverCount { way: "maker's count", count, source: String::from("the maker's table") });
    }
    let (here, source) = relative_drivers(device.curve?, device.rating.0, facts)?;
    let (there, _) = relative_drivers(curve?, rating, facts)?;
    let source = format!("the maker's table, carried over by {source}");
    Some(DriverCount { way: "maker's count", count: whole(count * here / there), source })
}

fn by_peak(driver: &Driver, device: &Device, facts: &Facts) -> Option<DriverCount> {
    let peak = driver.inrush?.0;
    let (multiple, source) = match driver.short_time_multiple {
        Some(multiple) => (multiple, String::from("the breaker maker's curve for short pulses")),
        // A breaker stands more in a pulse under a half-wave; without its curve the lower end of its band is safe.
        None => (holds_at(device, facts)?, String::from("lower end of the breaker's instantaneous band")),
    };
    Some(DriverCount { way: "inrush peak", count: whole(multiple * device.rating.0 / peak), source })
}

fn by_energy(driver: &Driver) -> Option<DriverCount> {
    let (peak, pulse, energy) = (driver.inrush?.0, driver.pulse?.0, driver.no_trip_energy?);
    // Pulses that coincide add up as currents, so the energy goes with the square of the number.
    let count = whole((energy / (0.5 * peak.powi(2) * pulse)).sqrt());
    let source = String::from("half the peak squared times the width, against the breaker maker's figure");
    Some(DriverCount { way: "inrush energy", count, source })
}

/// The finding on the drivers, where the case describes one.
#[must_use]
pub fn drivers(case: &Case, device: &Device, counts: &[DriverCount], facts: &Facts) -> Option<Finding> {
    let driver = case.driver.as_ref()?;
    let of_loads: u32 = case.run.iter().flat_map(|run| &run.load).map(|load| load.count.unwrap_or(1)).sum();
    let count = f64::from(driver.count.unwrap_or(of_loads));
    let lowest = counts.iter().min_by(|a, b| a.count.total_cmp(&b.count))?;
    let maker_spoke = counts.iter().any(|count| count.way == "maker's count");
    let ask_above = facts.value("driver.ask_above");
    let is_open = !maker_spoke && count > ask_above && device.rating.0 <= 6.0;
    let finding = Finding::judged("drivers_per_device", "", Some(count), Side::Most, Some(lowest.count))
        .from_source(format!("{}: {}", lowest.way, lowest.source));
    Some(if is_open && finding.margin.is_some_and(|margin| margin >= 0.0) {
        finding.with_footing(Footing::Open).noted("more than ten on a 6 A device: ask the maker for its count")
    } else {
        finding
    })
}

/// The finding on standing protective conductor current, where the case gives any.
#[must_use]
pub fn leakage(case: &Case, rcd: Option<Current>, facts: &Facts) -> Option<Finding> {
    let of_loads: Vec<f64> = case
        .run
        .iter()
        .flat_map(|run| &run.load)
        .filter_map(|load| Some(load.leakage?.0 * f64::from(load.count.unwrap_or(1))))
        .collect();
    let others = case.supply.other_leakage.map(|leakage| leakage.0);
    if of_loads.is_empty() && others.is_none() {
        return None;
    }
    let value_ma = (of_loads.iter().sum::<f64>() + others.unwrap_or(0.0)) * 1000.0;
    let limit_ma = rcd.map(|rcd| rcd.0 * 1000.0 * facts.value("circuit.leakage_share") / 100.0);
    let note = if rcd.is_none() { "no residual current device to open by it" } else { "" };
    let finding = Finding::judged("leakage_ma", "mA", Some(value_ma), Side::Most, limit_ma);
    Some(finding.from_source(source_of(facts, "circuit.leakage_share")).noted(note))
}

/// The findings on a dimmer: its greatest load after derating, and its least.
#[must_use]
pub fn dimmer(case: &Case, load_w: f64, facts: &Facts) -> Vec<Finding> {
    let Some(dimmer) = &case.dimmer else { return Vec::new() };
    let load = Some(dimmer.load.map_or(load_w, |load| load.0));
    let over_warm = dimmer.ambient.map_or(0.0, |ambient| ambient.0 - facts.value("dimmer.warm_from"));
    let warm_steps = (over_warm / 5.0).ceil().max(0.0);
    let warm = (1.0 - warm_steps * facts.value("dimmer.warm_loss") / 100.0).max(0.0);
    let shared = dimmer.in_box.is_some_and(|count| count > 1);
    let box_factor = if shared { 1.0 - facts.value("dimmer.gang_loss") / 100.0 } else { 1.0 };
    let is_derated = warm * box_factor < 1.0;
    let (limit, footing, source, note) = match (dimmer.led_rating, dimmer.rating) {
        (Some(led), _) => (Some(led.0), Footing::Known, String::from("the maker's LED rating"), ""),
        (None, Some(rating)) => (
            Some(rating.0 * facts.value("dimmer.led_share") / 100.0),
            Footing::Worst,
            source_of(facts, "dimmer.led_share"),
            "a rule of thumb; the maker's LED rating decides",
        ),
        (None, None) => (None, Footing::Known, String::new(), ""),
    };
    let source = if is_derated { format!("{source}; {}", source_of(facts, "dimmer.gang_loss")) } else { source };
    let limit = limit.map(|limit| limit * warm * box_factor);
    let most = Finding::judged("dimmer_load_w", "W", load, Side::Most, limit).with_footing(footing);
    let mut findings = vec![most.from_source(source).noted(note)];
    if let Some(least) = dimmer.least {
        let finding = Finding::judged("dimmer_least_w", "W", load, Side::Least, Some(least.0));
        findings.push(finding.from_source("the maker's least load"));
    }
    findings
}
