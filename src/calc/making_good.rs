//! Making good: how a hole in a ceiling is closed, and how long that takes to dry.

use serde::{Deserialize, Serialize};

use crate::facts::Facts;

/// What the ceiling is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Surface {
    /// Plasterboard.
    #[serde(rename = "board")]
    Board,
    /// Plaster on timber laths.
    #[serde(rename = "lath and plaster")]
    LathAndPlaster,
    /// A ceiling that resists fire, of any make-up.
    #[serde(rename = "fire-resisting")]
    FireResisting,
}

impl Surface {
    /// The word that cases and tables use.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Board => "board",
            Self::LathAndPlaster => "lath and plaster",
            Self::FireResisting => "fire-resisting",
        }
    }
}

/// How one hole is closed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Method {
    /// The method in a few words: `fill`, `backed patch` …
    pub method: String,
    /// What is done, in a sentence.
    pub how: String,
    /// Coats of filler or compound.
    pub coats: u32,
    /// Drying of one coat (h).
    pub coat_dry_h: f64,
    /// Drying of all coats (h), before the last is sanded.
    pub dry_h: f64,
    /// Days from the first coat to paint, rounded up.
    pub days: u32,
    /// Coats of paint over the whole ceiling, after a thinned first coat.
    pub paint_coats: u32,
    /// Where the method comes from.
    pub source: String,
}

/// The method for a hole of this size (mm, across); `None` for a size that is no hole in a ceiling (not above 0, or
/// larger than any patch: that is a new ceiling).
#[must_use]
pub fn making_good(hole_mm: f64, surface: Surface, facts: &Facts) -> Option<Method> {
    if hole_mm.is_nan() || hole_mm <= 0.0 {
        return None;
    }
    let rows = facts.table("making_good.method").rows.iter();
    let row = rows
        .filter(|row| row.text("surface") == Some(surface.name()))
        .find(|row| row.number("up_to_mm").is_some_and(|most| hole_mm <= most))?;
    let coats = row.number("coats")?;
    let coat_dry_h = row.number("dry_h")?;
    let dry_h = coats * coat_dry_h;
    let days = (dry_h / 24.0 + facts.value("making_good.extra_days")).ceil();
    Some(Method {
        method: row.text("method")?.to_owned(),
        how: row.text("how")?.to_owned(),
        coats: coats as u32,
        coat_dry_h,
        dry_h,
        days: days as u32,
        paint_coats: facts.value("making_good.paint_coats") as u32,
        source: row.source.to_string(),
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn the_method_goes_by_size_and_surface() {
        let facts = Facts::embedded();
        let method = |hole, surface| making_good(hole, surface, facts).unwrap().method;
        assert_eq!(method(6.0, Surface::Board), "fill");
        assert_eq!(method(10.0, Surface::Board), "fill");
        assert_eq!(method(10.1, Surface::Board), "fill in layers");
        assert_eq!(method(100.0, Surface::Board), "backed patch");
        assert_eq!(method(200.0, Surface::Board), "cut back to joists");
        assert_eq!(method(100.0, Surface::LathAndPlaster), "board patch of matching thickness");
        assert_eq!(method(100.0, Surface::FireResisting), "patch of the same thickness and layers");
    }

    #[test]
    fn drying_is_coats_times_hours_and_a_day() {
        // Three coats at 24 h and one day more: common practice, no source.
        let patch = making_good(100.0, Surface::Board, Facts::embedded()).unwrap();
        assert_eq!((patch.coats, patch.dry_h, patch.days), (3, 72.0, 4));
        let screw_hole = making_good(5.0, Surface::Board, Facts::embedded()).unwrap();
        assert_eq!((screw_hole.coats, screw_hole.days), (1, 2));
    }

    #[test]
    fn sizes_that_are_no_hole_have_no_method() {
        for hole in [0.0, -3.0, f64::NAN, f64::INFINITY, 5000.0] {
            assert!(making_good(hole, Surface::Board, Facts::embedded()).is_none(), "{hole}");
        }
    }

    #[test]
    fn a_larger_hole_never_dries_sooner() {
        for surface in [Surface::Board, Surface::LathAndPlaster, Surface::FireResisting] {
            let hours: Vec<f64> = (1..=600)
                .filter_map(|hole| making_good(f64::from(hole), surface, Facts::embedded()))
                .map(|m| m.dry_h)
                .collect();
            assert_eq!(hours.len(), 600);
            assert!(hours.windows(2).all(|pair| pair[0] <= pair[1]));
        }
    }
}
