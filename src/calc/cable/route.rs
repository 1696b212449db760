//! How a length of cable runs from one place to another between and across joists.
//!
//! A length runs along bays and square across joists, never askew: askew it can't be clipped to timber, drawn through
//! holes that a straight rod passes, or found again by the next person. So its way is the distance along the joists
//! plus the distance across them, whatever opens above, and every joist between its ends is crossed once. Where the
//! joists are drilled and their span is known, they are crossed only in the stretch that the timber rules allow, and
//! the way there and back counts.

use serde::{Deserialize, Serialize};

use crate::calc::timber::Zone;
use crate::case::CaseError;
use crate::quantity::Length;

/// More joists than any room has.
const MOST_JOISTS: usize = 400;

/// An axis of the room.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Axis {
    /// Along the length.
    X,
    /// Along the width.
    Y,
}

/// Where the joists stand, as a case gives it.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Joists {
    /// The axis that they run along.
    pub along: Axis,
    /// Centre to centre.
    #[serde(default)]
    pub centres: Option<Length>,
    /// Thickness, drilled through at each crossing.
    #[serde(default)]
    pub width: Option<Length>,
    /// First centre line from the wall.
    #[serde(default)]
    pub first_centre: Option<Length>,
    /// Centre lines one by one, instead of `centres` and `first_centre`.
    #[serde(default)]
    pub list: Option<Vec<Length>>,
    /// How far a joist may stand off its place; told with each crossing.
    #[serde(default)]
    pub tolerance: Option<Length>,
    /// Clear span of the joists; with it, drilled crossings keep to the stretch that timber allows.
    #[serde(default)]
    pub span: Option<Length>,
    /// Where the span begins along the joists; 0 if not said.
    #[serde(default)]
    pub support: Option<Length>,
}

/// Joists in the joists' own axes: centre lines across them, allowed stretches along them.
#[derive(Debug, Clone, PartialEq)]
pub struct Floor {
    /// The axis the joists run along.
    pub along: Axis,
    /// Centre lines (mm), rising.
    pub lines_mm: Vec<f64>,
    /// Where along the joists they may be drilled; empty: anywhere.
    pub zones_mm: Vec<Zone>,
}

/// One length's way over the ceiling.
#[derive(Debug, Clone, PartialEq)]
pub struct Route {
    /// Distance along the joists (mm), with the way to and from the crossing.
    pub along_mm: f64,
    /// Distance across them (mm).
    pub across_mm: f64,
    /// The joists crossed, as places in [`Floor::lines_mm`].
    pub crossed: std::ops::Range<usize>,
    /// Where along the joists they are crossed (mm).
    pub cross_at_mm: f64,
    /// The corners of the way (mm, room axes), both ends included.
    pub path_mm: Vec<[f64; 2]>,
}

impl Floor {
    /// A ceiling of which no joist is known: ways run along the walls.
    #[must_use]
    pub fn without_joists() -> Self {
        Self { along: Axis::Y, lines_mm: Vec::new(), zones_mm: Vec::new() }
    }

    /// Joists as the case gives them, as far as `reach_mm` across.
    ///
    /// # Errors
    /// [`CaseError`] with the key under `joists` that can't be.
    pub fn new(joists: &Joists, reach_mm: f64, drilled: Option<[f64; 2]>) -> Result<Self, CaseError> {
        let lines_mm = match (&joists.list, joists.centres, joists.first_centre) {
            (Some(list), None, None) => listed(list)?,
            (None, Some(centres), Some(first)) => regular(centres, first, reach_mm)?,
            _ => return Err(CaseError::at("joists", "either `centres` with `first_centre`, or `list`, is expected")),
        };
        for (key, length, most) in [("width", joists.width, 0.5), ("tolerance", joists.tolerance, 0.5)] {
            length.map_or(Ok(()), |length| between(&format!("joists.{key}"), length, 0.0, most))?;
        }
        joists.span.map_or(Ok(()), |span| between("joists.span", span, 0.3, 20.0))?;
        joists.support.map_or(Ok(()), |support| between("joists.support", support, -40.0, 40.0))?;
        let zones_mm = match (drilled, joists.span) {
            (Some([from, to]), Some(span)) => {
                let (start, span) = (joists.support.unwrap_or_default().mm(), span.mm());
                let zone = |a: f64, b: f64| Zone { from: start + a * span, to: start + b * span };
                vec![zone(from, to), zone(1.0 - to, 1.0 - from)]
            }
            _ => Vec::new(),
        };
        Ok(Self { along: joists.along, lines_mm, zones_mm })
    }

    /// The way from one place to another (mm, room axes).
    #[must_use]
    pub fn route(&self, from: [f64; 2], to: [f64; 2]) -> Route {
        let (start, end) = (self.turned(from), self.turned(to));
        let (near, far) = (start[1].min(end[1]), start[1].max(end[1]));
        // A place right under a joist lies on neither side: the cable comes down on the side that it arrives from.
        let first = self.lines_mm.partition_point(|line| *line <= near);
        let past = self.lines_mm.partition_point(|line| *line < far).max(first);
        let cross_at_mm = if first == past { start[0] } else { self.crossing(start[0], end[0]) };
        let corners = [start, [cross_at_mm, start[1]], [cross_at_mm, end[1]], end];
        let mut path_mm: Vec<[f64; 2]> = corners.iter().map(|place| self.turned(*place)).collect();
        path_mm.dedup();
        Route {
            along_mm: (start[0] - cross_at_mm).abs() + (cross_at_mm - end[0]).abs(),
            across_mm: far - near,
            crossed: first..past,
            cross_at_mm,
            path_mm,
        }
    }

    /// The allowed place along the joists that costs the least way, as near to the start as that leaves.
    fn crossing(&self, start: f64, end: f64) -> f64 {
        let detour = |at: f64| (start - at).abs() + (at - end).abs();
        self.zones_mm
            .iter()
            .map(|zone| start.clamp(zone.from, zone.to))
            .min_by(|a, b| detour(*a).total_cmp(&detour(*b)).then((a - start).abs().total_cmp(&(b - start).abs())))
            .unwrap_or(start)
    }

    /// Between room axes and (along, across); its own inverse.
    fn turned(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        match self.along {
            Axis::X => [x, y],
            Axis::Y => [y, x],
        }
    }

    /// Where a joist is crossed, in room axes (mm).
    #[must_use]
    pub fn place(&self, along_mm: f64, across_mm: f64) -> [f64; 2] {
        self.turned([along_mm, across_mm])
    }
}

impl Route {
    /// Length of the way (mm).
    #[must_use]
    pub fn length_mm(&self) -> f64 {
        self.along_mm + self.across_mm
    }
}

fn listed(list: &[Length]) -> Result<Vec<f64>, CaseError> {
    if list.len() > MOST_JOISTS {
        return Err(CaseError::at("joists.list", format!("at most {MOST_JOISTS} joists are expected")));
    }
    for (at, line) in list.iter().enumerate() {
        between(&format!("joists.list[{at}]"), *line, -40.0, 40.0)?;
    }
    let mut lines: Vec<f64> = list.iter().map(|line| line.mm()).collect();
    lines.sort_by(f64::total_cmp);
    if lines.windows(2).any(|pair| pair[0] == pair[1]) {
        return Err(CaseError::at("joists.list", "two joists stand in one place"));
    }
    Ok(lines)
}

fn regular(centres: Length, first: Length, reach_mm: f64) -> Result<Vec<f64>, CaseError> {
    between("joists.centres", centres, 0.1, 3.0)?;
    between("joists.first_centre", first, 0.0, 3.0)?;
    let steps = ((reach_mm - first.mm()) / centres.mm()).ceil().clamp(0.0, MOST_JOISTS as f64) as usize;
    Ok((0..=steps).map(|step| first.mm() + step as f64 * centres.mm()).collect())
}

/// Refuses a length outside `least` to `most` (m), and what is no number.
pub(super) fn between(path: &str, length: Length, least: f64, most: f64) -> Result<(), CaseError> {
    if length.0 >= least && length.0 <= most {
        return Ok(());
    }
    let found = crate::quantity::plain(length.0, 4);
    Err(CaseError::at(path, format!("{found} m; expected {least} m to {most} m")))
}
