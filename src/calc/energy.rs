//! What the new lights use and cost in a year, and what they save against the old ones.

use serde::{Deserialize, Deserializer, Serialize};

use super::circuit::case::bounded;
use crate::case::CaseError;
use crate::facts::Facts;
use crate::quantity::Power;

/// Old and new lights, and how long they burn.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Case {
    /// Power of the old lights together; 0 where there were none.
    #[serde(default)]
    pub old: Power,
    /// Power of the new lights together.
    pub new: Power,
    /// Hours that they burn in a year; the default of the facts if absent.
    #[serde(default, alias = "hours_a_year")]
    pub hours_per_year: Option<f64>,
    /// Price of a kilowatt hour, in pounds (or in whatever the costs are wanted in); the default of the facts if absent.
    // `price_per_kwh` arrives here as `price_per`, its ending read as a unit.
    #[serde(default, alias = "price_per", deserialize_with = "price")]
    pub price: Option<f64>,
    /// The day from which that price holds; needed with a price of one's own.
    #[serde(default, alias = "date")]
    pub price_date: Option<String>,
}

/// Energy and money of a year.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Answer {
    /// Energy of the new lights in a year.
    pub kwh_per_year: f64,
    /// Cost of the new lights in a year.
    pub cost_per_year: f64,
    /// Energy of the old lights in a year.
    pub old_kwh_per_year: f64,
    /// Cost of the old lights in a year.
    pub old_cost_per_year: f64,
    /// What the new lights save in a year, in money; negative where they cost more.
    pub saving: f64,
    /// Energy saved in a year.
    pub saving_kwh: f64,
    /// Hours that were reckoned with.
    pub hours_per_year: f64,
    /// Price of a kilowatt hour that was reckoned with.
    pub price: f64,
    /// The day from which that price holds.
    pub price_date: String,
    /// Where hours and price come from.
    pub source: String,
}

/// Reckons energy and cost of a year.
///
/// # Errors
/// [`CaseError`] for a figure out of its bounds, or a price without its date.
pub fn figure(case: &Case, facts: &Facts) -> Result<Answer, CaseError> {
    bounded("old", case.old.0, 0.0, 100_000.0, "W")?;
    bounded("new", case.new.0, 0.0, 100_000.0, "W")?;
    let shown = |name: &str| facts.get(name).map(|fact| fact.source.to_string()).unwrap_or_default();
    let (hours, hours_source) = match case.hours_per_year {
        Some(hours) => (hours, String::from("hours as given")),
        None => (facts.value("energy.hours_per_year"), shown("energy.hours_per_year")),
    };
    bounded("hours_per_year", hours, 0.0, 8784.0, "h")?;
    let (price, price_date, price_source) = match (case.price, &case.price_date) {
        (Some(price), Some(date)) => (price, date.clone(), String::from("price as given")),
        (Some(_), None) => {
            return Err(CaseError::at("price_date", "needed with a price, such as \"2026-07-01\": prices move"));
        }
        (None, Some(_)) => return Err(CaseError::at("price", "a date is given, but no price that it belongs to")),
        (None, None) => {
            let date = facts.get("energy.price").map(|fact| fact.note.clone()).unwrap_or_default();
            (facts.value("energy.price"), date, shown("energy.price"))
        }
    };
    bounded("price", price, 0.0, 1000.0, "")?;
    let kwh = |power: Power| power.0 * hours / 1000.0;
    let (old_kwh, new_kwh) = (kwh(case.old), kwh(case.new));
    Ok(Answer {
        kwh_per_year: new_kwh,
        cost_per_year: new_kwh * price,
        old_kwh_per_year: old_kwh,
        old_cost_per_year: old_kwh * price,
        saving: (old_kwh - new_kwh) * price,
        saving_kwh: old_kwh - new_kwh,
        hours_per_year: hours,
        price,
        price_date,
        source: format!("{hours_source}; {price_source}"),
    })
}

fn price<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<f64>, D::Error> {
    #[derive(Deserialize)]
    #[serde(untagged, expecting = "a price of a kilowatt hour, such as 0.2611")]
    enum Either {
        Number(f64),
        Text(String),
    }
    match Either::deserialize(deserializer)? {
        Either::Number(price) => Ok(Some(price)),
        Either::Text(text) => {
            let number = text.trim().trim_end_matches("kWh").trim_end();
            let refused = || serde::de::Error::custom("a price is a number, such as 0.2611");
            number.parse().map(Some).map_err(|_| refused())
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use serde_json::json;

    use super::*;
    use crate::case::read;

    fn answer(case: serde_json::Value) -> Answer {
        figure(&read(&case).unwrap(), Facts::embedded()).unwrap()
    }

    #[test]
    fn six_downlights_instead_of_six_halogens_save_a_hundred_pounds() {
        // By hand: 300 W and 36 W, 1460 h, 26.11 p.
        let found = answer(json!({"old_w": 300, "new_w": 36}));
        assert!((found.kwh_per_year - 52.56).abs() < 1e-9);
        assert!((found.saving - 100.64).abs() < 0.005, "{found:?}");
        assert_eq!(found.price_date, "2026-07-01");
    }

    #[test]
    fn more_light_may_cost_more() {
        assert!(answer(json!({"old_w": 9, "new_w": 36})).saving < 0.0);
    }

    #[test]
    fn a_price_is_read_with_and_without_its_unit() {
        for key in ["price", "price_per_kwh"] {
            let found = answer(json!({"old_w": 0, "new_w": 1000, "hours_per_year": 10, key: 0.3, "price_date": "x"}));
            assert!((found.cost_per_year - 3.0).abs() < 1e-12);
        }
        let case = json!({"old_w": 0, "new_w": 10, "price": 0.3});
        assert_eq!(figure(&read(&case).unwrap(), Facts::embedded()).unwrap_err().path, "price_date");
    }
}
