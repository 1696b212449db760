//! Conductors and flat cables: resistance, current rating with its factors, volt drop.

use serde::Serialize;

use super::case::{Cable, Conductor, Method, Run};
use crate::case::CaseError;
use crate::facts::{Facts, Row, Table};

const INCH_MM: f64 = 25.4;

/// Cross-section of a conductor in mm².
#[must_use]
pub fn area_mm2(conductor: Conductor) -> f64 {
    match conductor {
        Conductor::Metric(area) => area,
        Conductor::Imperial(strands, inch) => {
            f64::from(strands) * std::f64::consts::FRAC_PI_4 * (inch * INCH_MM).powi(2)
        }
    }
}

/// Resistance per metre at 20 °C in ohms, at most: the standard's for metric sizes, from the copper for imperial ones.
///
/// # Errors
/// [`CaseError`] at `path` for a size that is no cable's.
pub fn ohm_per_m(conductor: Conductor, path: &str, facts: &Facts) -> Result<f64, CaseError> {
    match conductor {
        Conductor::Metric(area) => {
            let table = facts.table("conductor.resistance");
            let row = table.row_where("area", area).ok_or_else(|| no_size(path, area, table))?;
            Ok(row.number("ohm_per_km").unwrap_or(f64::NAN) / 1000.0)
        }
        Conductor::Imperial(..) => {
            imperial_row(conductor, path, facts)?;
            Ok(facts.value("conductor.copper_resistivity") / 1000.0 / area_mm2(conductor))
        }
    }
}

/// Resistance per metre at 20 °C in ohms of one flexible conductor, at most.
///
/// # Errors
/// [`CaseError`] at `path` for a size that the table does not hold.
pub fn flexible_ohm_per_m(area: f64, path: &str, facts: &Facts) -> Result<f64, CaseError> {
    let table = facts.table("conductor.flexible_resistance");
    let row = table.row_where("area", area).ok_or_else(|| no_size(path, area, table))?;
    Ok(row.number("ohm_per_km").unwrap_or(f64::NAN) / 1000.0)
}

fn no_size(path: &str, area: f64, table: &Table) -> CaseError {
    let sizes: Vec<String> =
        table.rows.iter().filter_map(|row| row.number("area")).map(|size| size.to_string()).collect();
    CaseError::at(path, format!("{area} mm² is no size of this cable; the sizes are {}", sizes.join(", ")))
}

fn imperial_row<'f>(conductor: Conductor, path: &str, facts: &'f Facts) -> Result<&'f Row, CaseError> {
    let Conductor::Imperial(strands, inch) = conductor else {
        return Err(CaseError::at(path, "no imperial conductor"));
    };
    let table = facts.table("conductor.imperial");
    let fits = |row: &&Row| {
        row.number("strands") == Some(f64::from(strands))
            && row.number("diameter_inch").is_some_and(|diameter| (diameter - inch).abs() < 5e-5)
    };
    table.rows.iter().find(fits).ok_or_else(|| {
        let names: Vec<&str> = table.rows.iter().filter_map(|row| row.text("name")).collect();
        CaseError::at(path, format!("no such imperial conductor; known are {}", names.join(", ")))
    })
}

/// What resistance at 20 °C is multiplied by at another temperature.
#[must_use]
pub fn temperature_factor(celsius: f64, facts: &Facts) -> f64 {
    1.0 + facts.value("conductor.temperature_coefficient") * (celsius - 20.0)
}

/// Rating factor for an ambient temperature.
///
/// At the table's own temperatures it is the table's. Between them above 30 °C it follows the heat balance
/// √((70 − T)/40); below, the form limited by overload that the standard uses there.
#[must_use]
pub fn ambient_factor(celsius: f64, facts: &Facts) -> f64 {
    if let Some(factor) =
        facts.table("cable.ambient").row_where("celsius", celsius).and_then(|row| row.number("factor"))
    {
        return factor;
    }
    let (hot, rated) = (facts.value("conductor.hot_temperature"), facts.value("conductor.rating_temperature"));
    if celsius > rated {
        ambient_factor_by_heat_balance(celsius, facts)
    } else {
        let ratio = facts.value("conductor.overload_ratio");
        let overloaded = rated + ratio.powi(2) * (hot - rated);
        ((overloaded - celsius) / (hot - rated)).sqrt() / ratio
    }
}

/// Rating factor for an ambient temperature where overload can't occur: √((70 − T)/40) throughout.
#[must_use]
pub fn ambient_factor_by_heat_balance(celsius: f64, facts: &Facts) -> f64 {
    let (hot, rated) = (facts.value("conductor.hot_temperature"), facts.value("conductor.rating_temperature"));
    ((hot - celsius) / (hot - rated)).max(0.0).sqrt()
}

/// Rating factor for circuits bunched together: the table's, or that of the next larger group.
#[must_use]
pub fn grouping_factor(circuits: u32, facts: &Facts) -> f64 {
    next_above(facts.table("cable.grouping"), "circuits", f64::from(circuits))
}

/// Rating factor for a stretch surrounded by thermal insulation: the table's, or that of the next longer stretch.
#[must_use]
pub fn insulation_factor(length_mm: f64, facts: &Facts) -> f64 {
    next_above(facts.table("cable.insulation"), "length_mm", length_mm)
}

/// The factor of the first row that covers `value`; rows stand in rising order, and the last covers all beyond.
fn next_above(table: &Table, column: &str, value: f64) -> f64 {
    let covers = |row: &&Row| row.number(column).is_some_and(|end| value <= end + 1e-9);
    table.rows.iter().find(covers).or(table.rows.last()).and_then(|row| row.number("factor")).unwrap_or(0.0)
}

/// What a run's cable is, and what it may carry.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Rating {
    /// Cross-section of line and neutral, mm².
    pub line_mm2: f64,
    /// Cross-section of the protective conductor, mm²; absent where there is none.
    pub cpc_mm2: Option<f64>,
    /// Tabulated rating, A.
    pub tabulated_a: f64,
    /// Factor for ambient temperature.
    pub ambient_factor: f64,
    /// Factor for grouping.
    pub grouping_factor: f64,
    /// Factor for thermal insulation.
    pub insulation_factor: f64,
    /// Factor for a rewireable fuse; 1 for any other device.
    pub fuse_factor: f64,
    /// The rating with all factors, A.
    pub rating_a: f64,
    /// Volt drop in millivolts per ampere and metre.
    pub millivolts: f64,
    /// The method was not given, or the cable is imperial: the rating is the worst that fits.
    #[serde(skip)]
    pub is_worst: bool,
    /// Where the tabulated rating comes from.
    #[serde(skip)]
    pub source: String,
}

/// The rating of a run's cable behind a device of which `rewireable` says whether it is a rewireable fuse.
///
/// # Errors
/// [`CaseError`] below `path` for a size that is no cable's.
pub fn rating(run: &Run, cable: Cable, rewireable: bool, path: &str, facts: &Facts) -> Result<Rating, CaseError> {
    let path = format!("{path}.cable");
    let rated_as = match cable.line {
        Conductor::Metric(area) => area,
        imperial @ Conductor::Imperial(..) => {
            imperial_row(imperial, &path, facts)?.number("rated_as").unwrap_or(f64::NAN)
        }
    };
    let table = facts.table("cable.flat");
    let row = table.row_where("area", rated_as).ok_or_else(|| no_size(&path, rated_as, table))?;
    let method = run.method.unwrap_or(Method::StudWall);
    let tabulated_a = row.number(method.name()).unwrap_or(0.0);
    let ambient_factor = run.ambient.map_or(1.0, |ambient| ambient_factor(ambient.0, facts));
    let grouping_factor = grouping_factor(run.grouped.unwrap_or(1), facts);
    let insulation_factor = run.in_insulation.map_or(1.0, |length| insulation_factor(length.mm(), facts));
    let fuse_factor = if rewireable { facts.value("cable.rewireable_factor") } else { 1.0 };
    let millivolts = match (run.millivolts, cable.line) {
        (Some(millivolts), _) => millivolts,
        (None, Conductor::Metric(_)) => row.number("millivolts").unwrap_or(f64::NAN),
        (None, imperial) => 2000.0 * ohm_per_m(imperial, &path, facts)? * facts.value("conductor.hot_factor"),
    };
    Ok(Rating {
        line_mm2: area_mm2(cable.line),
        cpc_mm2: cable.cpc.map(area_mm2),
        tabulated_a,
        ambient_factor,
        grouping_factor,
        insulation_factor,
        fuse_factor,
        rating_a: tabulated_a * ambient_factor * grouping_factor * insulation_factor * fuse_factor,
        millivolts,
        is_worst: run.method.is_none() || matches!(cable.line, Conductor::Imperial(..)),
        source: row.source.to_string(),
    })
}

/// What the tabulated volt drop is multiplied by because the conductors run below their highest temperature.
///
/// `current_a` flows in the cable; with a rewireable fuse the standard takes ambient and grouping factors as 1.
#[must_use]
pub fn volt_drop_factor(rating: &Rating, current_a: f64, facts: &Facts) -> f64 {
    let (hot, rated) = (facts.value("conductor.hot_temperature"), facts.value("conductor.rating_temperature"));
    let factors = if rating.fuse_factor < 1.0 { 1.0 } else { rating.ambient_factor * rating.grouping_factor };
    let share = current_a / rating.tabulated_a;
    (230.0 + hot - (factors.powi(2) - share.powi(2)) * (hot - rated)) / (230.0 + hot)
}
