//! Overcurrent devices: the current that opens one in time, and the energy it lets through before.

use super::case::{Curve, Device, DeviceKind, Standard};
use crate::case::CaseError;
use crate::facts::{Facts, Row};

/// The current that opens a device within a time.
#[derive(Debug, Clone, PartialEq)]
pub struct Trip {
    /// Current that opens it for certain, A.
    pub current_a: f64,
    /// Curve or standard is not known: the current is the highest of those that fit.
    pub is_worst: bool,
    /// Where it comes from.
    pub source: String,
}

/// Families of breakers and standards of fuses that a kind may belong to.
fn standards(kind: DeviceKind) -> &'static [Standard] {
    match kind {
        DeviceKind::CircuitBreaker => &[Standard::En60898],
        DeviceKind::Rcbo => &[Standard::En61009, Standard::En60898],
        DeviceKind::OldCircuitBreaker => &[Standard::Bs3871],
        DeviceKind::PlugInBreaker => &[Standard::En60898, Standard::Bs3871],
        DeviceKind::RewireableFuse => &[Standard::Bs3036],
        DeviceKind::CartridgeFuse => &[Standard::Bs1361, Standard::Bs88Part3, Standard::Bs88Part2, Standard::Bs1362],
    }
}

/// Refuses a standard or a curve that the kind of device can't have.
///
/// # Errors
/// [`CaseError`] at the key, with what fits.
pub fn check(device: &Device, facts: &Facts) -> Result<(), CaseError> {
    let fitting = standards(device.kind);
    if let Some(standard) = device.standard
        && !fitting.contains(&standard)
    {
        let names: Vec<&str> = fitting.iter().map(|standard| standard.name()).collect();
        let message = format!("{} does not fit this kind; it would be {}", standard.name(), names.join(" or "));
        return Err(CaseError::at("device.standard", message));
    }
    if let Some(curve) = device.curve
        && curve_rows(device, facts).is_empty()
    {
        let message = format!("this kind of breaker has no curve `{}`", curve.name());
        return Err(CaseError::at("device.curve", message));
    }
    Ok(())
}

/// Rows of the curve table that fit a breaker.
fn curve_rows<'f>(device: &Device, facts: &'f Facts) -> Vec<&'f Row> {
    let families: Vec<&str> = match device.standard {
        Some(Standard::En61009) => vec![Standard::En60898.name()],
        Some(standard) => vec![standard.name()],
        None => standards(device.kind).iter().map(|standard| standard.name()).collect(),
    };
    let fits = |row: &&Row| {
        row.text("family").is_some_and(|family| families.contains(&family))
            && device.curve.is_none_or(|curve| row.text("curve") == Some(curve.name()))
    };
    facts.table("device.curve").rows.iter().filter(fits).collect()
}

/// Rows of the fuse table that fit a fuse, for one time or for all.
fn fuse_rows<'f>(device: &Device, seconds: Option<f64>, facts: &'f Facts) -> Vec<&'f Row> {
    let fitting = device.standard.map_or_else(|| standards(device.kind).to_vec(), |standard| vec![standard]);
    let fits = |row: &&Row| {
        row.text("standard").is_some_and(|name| fitting.iter().any(|standard| standard.name() == name))
            && row.number("rating").is_some_and(|rating| (rating - device.rating.0).abs() < 1e-6)
            && seconds.is_none_or(|seconds| row.number("time").is_some_and(|time| (time - seconds).abs() < 1e-6))
    };
    facts.table("device.fuse").rows.iter().filter(fits).collect()
}

/// The current that opens the device within `seconds`; nothing where no table tells.
#[must_use]
pub fn trip(device: &Device, seconds: f64, facts: &Facts) -> Option<Trip> {
    let (rows, column, scale) = if device.kind.is_fuse() {
        (fuse_rows(device, Some(seconds), facts), "current", 1.0)
    } else {
        (curve_rows(device, facts), "upper", device.rating.0)
    };
    let worst = rows.iter().max_by(|a, b| cell(a, column).total_cmp(&cell(b, column)))?;
    let currents_differ = rows.iter().any(|row| cell(row, column) < cell(worst, column));
    Some(Trip { current_a: cell(worst, column) * scale, is_worst: currents_differ, source: worst.source.to_string() })
}

fn cell(row: &Row, column: &str) -> f64 {
    row.number(column).unwrap_or(f64::INFINITY)
}

/// A time within which `current_a` opens the device, on the safe side: the shortest that a table or the adiabatic
/// equation knows of. Nothing where the current is too small for any.
#[must_use]
pub fn opening_time_s(device: &Device, current_a: f64, facts: &Facts) -> Option<f64> {
    if !device.kind.is_fuse() {
        let reached = trip(device, 0.0, facts).is_some_and(|trip| current_a >= trip.current_a);
        return reached.then(|| facts.value("circuit.instantaneous_time"));
    }
    let mut times: Vec<f64> = fuse_rows(device, None, facts).iter().filter_map(|row| row.number("time")).collect();
    times.sort_by(f64::total_cmp);
    times.into_iter().find(|time| trip(device, *time, facts).is_some_and(|trip| current_a >= trip.current_a))
}

/// What a breaker stays closed at in a short surge, as a multiple of its rating, at least.
#[must_use]
pub fn holds_at(device: &Device, facts: &Facts) -> Option<f64> {
    if device.kind.is_fuse() {
        return None;
    }
    curve_rows(device, facts).iter().filter_map(|row| row.number("lower")).min_by(f64::total_cmp)
}

/// Energy that a breaker of today lets through at a fault current, A²s, at most, with its source: the limit of its
/// energy class, which the device itself stays far below.
#[must_use]
pub fn energy_class_limit(device: &Device, fault_a: f64, facts: &Facts) -> Option<(f64, String)> {
    let is_of_today = matches!(device.kind, DeviceKind::CircuitBreaker | DeviceKind::Rcbo);
    let curve = device.curve.filter(|_| is_of_today && device.rating.0 <= 16.0)?;
    let fits = |row: &&Row| {
        row.text("curve") == Some(curve.name()) && row.number("fault_ka").is_some_and(|most| fault_a <= most * 1000.0)
    };
    let row = facts.table("device.energy").rows.iter().find(fits)?;
    Some((row.number("energy")?, row.source.to_string()))
}

/// Drivers that a breaker can start relative to a C16, per cent, with the source.
#[must_use]
pub fn relative_drivers(curve: Curve, rating_a: f64, facts: &Facts) -> Option<(f64, String)> {
    let table = facts.table("driver.relative");
    let fits = |row: &&Row| row.text("curve") == Some(curve.name()) && row.number("rating") == Some(rating_a);
    let row = table.rows.iter().find(fits)?;
    Some((row.number("percent")?, row.source.to_string()))
}
