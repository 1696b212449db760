//! The light that ranks layouts: on the work plane, direct and reflected, under fittings that aim straight down.

use serde::Serialize;

use super::case::Case;
use super::site::UM_PER_MM;
use crate::calc::light::fine;
use crate::calc::light::gather::Gather;
use crate::calc::light::illuminance::{Grid, Placed, PlaneFigures, direct_values};
use crate::calc::light::lm63;
use crate::calc::light::mesh::Mesh;
use crate::calc::light::photometry::Photometry;
use crate::calc::light::radiosity::Exchange;
use crate::calc::light::scene::Scene;
use crate::calc::plan::Plan;
use crate::case::CaseError;

/// Breadth of a class of minimum ÷ average: within it, other things decide.
const UNIFORMITY_CLASS: f64 = 0.02;
/// How many points the ranking looks at; in rooms with more, it takes a coarser grid, and only the answer the full one.
const MOST_RANKING_POINTS: f64 = 3000.0;

/// Light on the work plane, maintained.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Light {
    /// The total in short.
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
    /// By way of the room's surfaces.
    pub reflected: PlaneFigures,
    /// Both together.
    pub total: PlaneFigures,
}

/// The class of minimum ÷ average that figures fall into; the higher, the evener.
pub(super) fn class(figures: &PlaneFigures) -> u32 {
    // The allowance keeps a uniformity of exactly 0.42 out of the class below.
    (figures.uniformity / UNIFORMITY_CLASS + 1e-9) as u32
}

/// Points of the work plane with the grid that they belong to.
struct Points {
    grid: Grid,
    at: Vec<[f64; 2]>,
}

impl Points {
    fn new(grid: Grid, plan: &Plan) -> Result<Self, CaseError> {
        Ok(Self { grid, at: grid.points(plan)? })
    }
}

/// A fitting's light in its room.
pub(super) struct Lamp {
    plan: Plan,
    photometry: Photometry,
    turn_deg: f64,
    ceiling_m: f64,
    work_plane_m: f64,
    maintenance: f64,
    points: Points,
    /// Where the ranking looks, if not at all points.
    ranking_points: Option<Points>,
    mesh: Mesh,
    exchange: Exchange,
    reflectance: Vec<f64>,
}

/// The light of layouts near to one whose reflected light is known: moving fittings a little hardly moves what comes by
/// way of all surfaces.
pub(super) struct Nearby<'a> {
    lamp: &'a Lamp,
    reflected: Vec<f64>,
}

impl Nearby<'_> {
    /// The figures on the work plane of fittings at these points, in micrometres, as the ranking sees them.
    pub fn figures(&self, at: &[[i64; 2]]) -> PlaneFigures {
        let direct = self.lamp.direct(at, self.lamp.ranking_points());
        PlaneFigures::of(&sums(&direct, &self.reflected))
    }
}

fn sums(one: &[f64], two: &[f64]) -> Vec<f64> {
    one.iter().zip(two).map(|(one, two)| one + two).collect()
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
        let grid = Grid { step_m: case.grid.step.0, border_m: case.grid.border.0 };
        let points = Points::new(grid, &plan)?;
        let coarser = (points.at.len() as f64 / MOST_RANKING_POINTS).sqrt();
        let coarse = || Points::new(Grid { step_m: grid.step_m * coarser, ..grid }, &plan);
        let ranking_points = if coarser > 1.0 { Some(coarse()?) } else { None };
        let mesh = Mesh::new(&plan, ceiling_m, case.grid.patch.0);
        let rho = case.room.reflectance;
        let mut reflectance = vec![rho.walls; mesh.patch_count()];
        let cells = mesh.cells.len();
        reflectance[..cells].fill(rho.floor);
        reflectance[cells..2 * cells].fill(rho.ceiling);
        Ok(Some(Self {
            photometry,
            turn_deg: case.fitting.turn.0,
            ceiling_m,
            work_plane_m,
            maintenance: case.maintenance.factor,
            points,
            ranking_points,
            exchange: Exchange::new(&plan, &mesh),
            mesh,
            reflectance,
            plan,
        }))
    }

    /// The light of fittings at these points, in micrometres.
    pub fn light(&self, at: &[[i64; 2]]) -> Light {
        let direct = self.direct(at, &self.points);
        let reflected = self.reflected(at, &self.points);
        let total = PlaneFigures::of(&sums(&direct, &reflected));
        let work = Plane { direct: PlaneFigures::of(&direct), reflected: PlaneFigures::of(&reflected), total };
        let (model, likely_error) = (self.photometry.model(), self.photometry.likely_error());
        Light { figures: total, planes: Planes { work }, model, likely_error }
    }

    /// The light of layouts near to fittings at these points, in micrometres.
    pub fn near(&self, at: &[[i64; 2]]) -> Nearby<'_> {
        Nearby { lamp: self, reflected: self.reflected(at, self.ranking_points()) }
    }

    /// The fewest fittings that could give this average: no fewer can, wherever they go.
    pub fn fewest_for(&self, average_lx: f64) -> u32 {
        if self.points.grid.border_m > 0.0 {
            // With a band left out, a few fittings can light the rest beyond the mean of the room.
            return 1;
        }
        let lumens = self.photometry.flux_lm() * self.maintenance;
        // What all reflections add up to is bounded by the lightest surface; the mean of points may be a little above
        // that of the plane, which the 0.8 allows for.
        let absorbed = 1.0 - self.reflectance.iter().copied().fold(0.0, f64::max);
        (0.8 * average_lx * self.plan.area() * absorbed / lumens).clamp(1.0, f64::from(u32::MAX)) as u32
    }

    fn ranking_points(&self) -> &Points {
        self.ranking_points.as_ref().unwrap_or(&self.points)
    }

    fn fittings(&self, at: &[[i64; 2]]) -> Vec<Placed<'_>> {
        let metres = |um: i64| um as f64 / (1000 * UM_PER_MM) as f64;
        let placed = |point: &[i64; 2]| Placed {
            photometry: &self.photometry,
            at_m: [metres(point[0]), metres(point[1]), self.ceiling_m],
            turn_deg: self.turn_deg,
        };
        at.iter().map(placed).collect()
    }

    fn direct(&self, at: &[[i64; 2]], points: &Points) -> Vec<f64> {
        let mut values = direct_values(&self.plan, &self.fittings(at), self.work_plane_m, &points.at);
        values.iter_mut().for_each(|value| *value *= self.maintenance);
        values
    }

    fn reflected(&self, at: &[[i64; 2]], points: &Points) -> Vec<f64> {
        let (plan, height_m, fittings) = (&self.plan, self.ceiling_m, self.fittings(at));
        let scene = Scene { plan, height_m, fittings, panels: Vec::new() };
        let direct = scene.direct_on_patches(&self.mesh);
        let solution = self.exchange.solve(&direct, &self.reflectance);
        let parts = fine::exitance(&scene, &self.mesh, &direct, &solution.illuminance_lx, &self.reflectance);
        let gather = Gather::new(plan, &self.mesh, &solution.exitance, &parts);
        // The grid was found good when its points were made.
        let gathered = gather.on_grid(self.work_plane_m, &points.grid, &points.at);
        let mut values = gathered.unwrap_or_else(|_| vec![0.0; points.at.len()]);
        values.iter_mut().for_each(|value| *value *= self.maintenance);
        values
    }
}

/// The photometry that a case describes; `None` where it describes none.
fn photometry(case: &Case) -> Result<Option<Photometry>, CaseError> {
    let fitting = &case.fitting;
    if let Some(text) = &fitting.photometry_text {
        if fitting.lumens.is_some() || fitting.beam.is_some() || fitting.centre.is_some() {
            let message = "a photometric file says all of the light; leave lumens, beam and centre out";
            return Err(CaseError::at("fitting.photometry", message));
        }
        let file = lm63::read(text).map_err(|error| CaseError::at("fitting.photometry", error.to_string()))?;
        return Ok(Some(Photometry::table(file.table)));
    }
    if fitting.photometry.is_some() {
        return Err(CaseError::at("fitting.photometry", "the file was not read by the caller"));
    }
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
