//! The light that ranks layouts: direct, on the work plane, under fittings that aim straight down.

use serde::Serialize;

use super::case::Case;
use super::site::UM_PER_MM;
use crate::calc::light::illuminance::{Grid, Placed, PlaneFigures, direct_on_plane};
use crate::calc::light::photometry::Photometry;
use crate::calc::plan::Plan;
use crate::case::CaseError;

/// Breadth of a class of minimum ÷ average: within it, other things decide.
const UNIFORMITY_CLASS: f64 = 0.02;
/// How many points the ranking looks at; in rooms with more, it takes a coarser grid, and only the answer the full one.
const MOST_RANKING_POINTS: usize = 3000;

/// Direct light on the work plane, maintained.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Light {
    /// The figures in short.
    #[serde(flatten)]
    pub figures: PlaneFigures,
    /// The same where the light calculator has them.
    pub planes: Planes,
    /// The photometric model that the figures rest on.
    pub model: &'static str,
    /// Its likely error.
    pub likely_error: &'static str,
}

/// The planes on which the light was judged.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Planes {
    /// The work plane.
    pub work: Plane,
}

/// The light on a plane.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Plane {
    /// Straight from the fittings.
    pub direct: PlaneFigures,
}

/// The class of minimum ÷ average that figures fall into; the higher, the evener.
pub(super) fn class(figures: &PlaneFigures) -> u32 {
    // The allowance keeps a uniformity of exactly 0.42 out of the class below.
    (figures.uniformity / UNIFORMITY_CLASS + 1e-9) as u32
}

/// A fitting's light in its room.
pub(super) struct Lamp {
    plan: Plan,
    photometry: Photometry,
    turn_deg: f64,
    ceiling_m: f64,
    work_plane_m: f64,
    maintenance: f64,
    border: bool,
    points: Vec<[f64; 2]>,
    ranking_points: Vec<[f64; 2]>,
}

impl Lamp {
    /// The light of a case's fitting; `None` where the case says nothing of it.
    ///
    /// # Errors
    /// [`CaseError`] at the key that is missing or makes no sense.
    pub fn new(case: &Case, plan: Plan) -> Result<Option<Self>, CaseError> {
        let Some(photometry) = photometry(case)? else { return Ok(None) };
        let needed = || CaseError::at("room.height", "is needed for the light; expected such as \"2.4 m\"");
        let (ceiling_m, work_plane_m) = (case.room.height.ok_or_else(needed)?.0, case.grid.work_plane.0);
        if work_plane_m >= ceiling_m {
            return Err(CaseError::at("grid.work_plane", "must lie below the ceiling"));
        }
        let mut grid = Grid { step_m: case.grid.step.0, border_m: case.grid.border.0 };
        let points = grid.points(&plan)?;
        let coarser = (points.len() as f64 / MOST_RANKING_POINTS as f64).sqrt();
        let ranking_points = if coarser > 1.0 {
            grid.step_m *= coarser;
            grid.points(&plan)?
        } else {
            points.clone()
        };
        Ok(Some(Self {
            plan,
            photometry,
            turn_deg: case.fitting.turn.0,
            ceiling_m,
            work_plane_m,
            maintenance: case.maintenance.factor,
            border: case.grid.border.0 > 0.0,
            points,
            ranking_points,
        }))
    }

    /// The light of fittings at these points, in micrometres.
    pub fn light(&self, at: &[[i64; 2]]) -> Light {
        let direct = self.figures(at, &self.points);
        let (model, likely_error) = (self.photometry.model(), self.photometry.likely_error());
        Light { figures: direct, planes: Planes { work: Plane { direct } }, model, likely_error }
    }

    /// The light as the ranking sees it.
    pub fn ranking_figures(&self, at: &[[i64; 2]]) -> PlaneFigures {
        self.figures(at, &self.ranking_points)
    }

    /// The fewest fittings that could give this average: no fewer can, wherever they go.
    pub fn fewest_for(&self, average_lx: f64) -> u32 {
        if self.border {
            // With a band left out, a few fittings can light the rest beyond the mean of the room.
            return 1;
        }
        let lumens = self.photometry.flux_lm() * self.maintenance;
        // The mean of points can be a little above the mean of the plane.
        (0.8 * average_lx * self.plan.area() / lumens).clamp(1.0, f64::from(u32::MAX)) as u32
    }

    fn figures(&self, at: &[[i64; 2]], points: &[[f64; 2]]) -> PlaneFigures {
        let metres = |um: i64| um as f64 / (1000 * UM_PER_MM) as f64;
        let placed = |point: &[i64; 2]| Placed {
            photometry: &self.photometry,
            at_m: [metres(point[0]), metres(point[1]), self.ceiling_m],
            turn_deg: self.turn_deg,
        };
        let fittings: Vec<Placed> = at.iter().map(placed).collect();
        let new = direct_on_plane(&self.plan, &fittings, self.work_plane_m, points);
        PlaneFigures {
            average_lx: new.average_lx * self.maintenance,
            minimum_lx: new.minimum_lx * self.maintenance,
            maximum_lx: new.maximum_lx * self.maintenance,
            ..new
        }
    }
}

/// The photometry that a case describes; `None` where it describes none.
fn photometry(case: &Case) -> Result<Option<Photometry>, CaseError> {
    let fitting = &case.fitting;
    let Some(lumens) = fitting.lumens else { return Ok(None) };
    let Some(beam) = fitting.beam else {
        return Err(CaseError::at("fitting.beam", "is needed beside the lumens; expected such as \"60 deg\""));
    };
    let model = match fitting.centre {
        Some(centre) => Photometry::beam_with_centre(lumens.0, beam.0, centre.0),
        None => Photometry::beam(lumens.0, beam.0),
    };
    model.map(Some).map_err(|error| CaseError::at("fitting", error.to_string()))
}
