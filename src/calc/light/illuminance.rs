//! Direct light: from any number of fittings, aimed straight down, onto points and planes.

use serde::Serialize;

use super::photometry::Photometry;
use crate::calc::plan::Plan;
use crate::case::CaseError;

/// The most points that a plane may have.
pub const MOST_POINTS: usize = 200_000;
/// Nearer to a fitting than this, a point is taken to be this far away, in metres: a fitting is no mathematical point.
const NEAREST_M: f64 = 0.001;

/// A fitting in its place, aimed straight down.
#[derive(Debug, Clone, Copy)]
pub struct Placed<'a> {
    /// Its light.
    pub photometry: &'a Photometry,
    /// Where it is: x, y, z in metres.
    pub at_m: [f64; 3],
    /// How far its C0 is turned from +x, anticlockwise seen from above, in degrees.
    pub turn_deg: f64,
}

impl Placed<'_> {
    /// The illuminance in lux on a surface at `point_m` with the unit normal `normal`, if nothing stands between.
    #[must_use]
    pub fn lux_at(&self, point_m: [f64; 3], normal: [f64; 3]) -> f64 {
        let [dx, dy, dz] = std::array::from_fn(|axis| point_m[axis] - self.at_m[axis]);
        let facing = -(dx * normal[0] + dy * normal[1] + dz * normal[2]);
        if facing <= 0.0 {
            return 0.0;
        }
        let distance = (dx * dx + dy * dy + dz * dz).sqrt();
        let round_deg = if self.photometry.is_round() { 0.0 } else { dy.atan2(dx).to_degrees() - self.turn_deg };
        let candela = self.photometry.candela(-dz / distance, round_deg);
        let reach = distance.max(NEAREST_M);
        candela * facing / distance / (reach * reach)
    }
}

/// Where the points of a plane lie: the centres of equal cells.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grid {
    /// The largest side of a cell, in metres.
    pub step_m: f64,
    /// The band along the walls that is left out, in metres.
    pub border_m: f64,
}

impl Default for Grid {
    fn default() -> Self {
        Self { step_m: 0.1, border_m: 0.0 }
    }
}

impl Grid {
    /// The places along both axes of the box around a plan.
    ///
    /// # Errors
    /// [`CaseError`] at `grid.step` or `grid.border` for values that leave no points, or too many.
    pub fn axes(&self, plan: &Plan) -> Result<[Vec<f64>; 2], CaseError> {
        if !(self.step_m >= 1e-3 && self.step_m.is_finite()) {
            return Err(CaseError::at("grid.step", "expected a distance between points of at least 1 mm"));
        }
        if !(self.border_m >= 0.0 && self.border_m.is_finite()) {
            return Err(CaseError::at("grid.border", "expected 0 m or more"));
        }
        let (low, high) = plan.bounds();
        let counts = [0, 1].map(|axis| cells(high[axis] - low[axis] - 2.0 * self.border_m, self.step_m));
        if counts.contains(&0) {
            return Err(CaseError::at("grid.border", "the border leaves nothing of the room"));
        }
        if counts[0] * counts[1] > MOST_POINTS {
            let message = format!("{} points are more than {MOST_POINTS}; take a larger step", counts[0] * counts[1]);
            return Err(CaseError::at("grid.step", message));
        }
        Ok([0, 1].map(|axis| {
            let from = low[axis] + self.border_m;
            let cell = (high[axis] - low[axis] - 2.0 * self.border_m) / counts[axis] as f64;
            (0..counts[axis]).map(|index| from + (index as f64 + 0.5) * cell).collect()
        }))
    }

    /// The points of a plane, row by row: those whose place is in the room and outside the border.
    ///
    /// # Errors
    /// As [`Grid::axes`].
    pub fn points(&self, plan: &Plan) -> Result<Vec<[f64; 2]>, CaseError> {
        let [xs, ys] = self.axes(plan)?;
        let all = ys.iter().flat_map(|y| xs.iter().map(|x| [*x, *y]));
        let points: Vec<[f64; 2]> = all.filter(|point| self.takes(plan, *point)).collect();
        if points.is_empty() {
            return Err(CaseError::at("grid.border", "the border leaves no point of the room"));
        }
        Ok(points)
    }

    /// Whether a place is in the room and outside the border. In a rectangle every place of [`Grid::axes`] is.
    fn takes(&self, plan: &Plan, [x, y]: [f64; 2]) -> bool {
        plan.is_rectangle() || plan.contains(x, y) && plan.distance_to_walls(x, y) >= (self.border_m - 1e-9).max(1e-9)
    }
}

/// How many cells of at most `step` make up `side`: the nearest whole number if it is within a millionth, else the next
/// above. 0 where there is no side.
fn cells(side: f64, step: f64) -> usize {
    if side <= 0.0 {
        return 0;
    }
    let ratio = side / step;
    let nearest = ratio.round();
    let count = if (ratio - nearest).abs() <= 1e-6 { nearest } else { ratio.ceil() };
    count.max(1.0) as usize
}

/// What the values at the points of a plane come to.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct PlaneFigures {
    /// How many points there are.
    pub points: usize,
    /// Their mean in lux.
    pub average_lx: f64,
    /// The darkest, in lux.
    pub minimum_lx: f64,
    /// The brightest, in lux.
    pub maximum_lx: f64,
    /// Minimum over average; 0 where all is dark.
    pub uniformity: f64,
    /// Minimum over maximum; 0 where all is dark.
    pub diversity: f64,
}

impl PlaneFigures {
    /// The figures of a plane's values in lux.
    #[must_use]
    pub fn of(values_lx: &[f64]) -> Self {
        if values_lx.is_empty() {
            return Self::default();
        }
        let average_lx = values_lx.iter().sum::<f64>() / values_lx.len() as f64;
        let minimum_lx = values_lx.iter().copied().fold(f64::INFINITY, f64::min);
        let maximum_lx = values_lx.iter().copied().fold(0.0, f64::max);
        let ratio = |whole: f64| if whole > 0.0 { minimum_lx / whole } else { 0.0 };
        let (uniformity, diversity) = (ratio(average_lx), ratio(maximum_lx));
        Self { points: values_lx.len(), average_lx, minimum_lx, maximum_lx, uniformity, diversity }
    }
}

/// The direct illuminance in lux at points of a horizontal plane that faces up, in the order of the points.
#[must_use]
pub fn direct_values(plan: &Plan, fittings: &[Placed], plane_z_m: f64, points: &[[f64; 2]]) -> Vec<f64> {
    let up = [0.0, 0.0, 1.0];
    let lux = |[x, y]: [f64; 2]| {
        fittings
            .iter()
            .filter(|fitting| plan.sees([fitting.at_m[0], fitting.at_m[1]], [x, y]))
            .map(|fitting| fitting.lux_at([x, y, plane_z_m], up))
            .sum()
    };
    points.iter().map(|point| lux(*point)).collect()
}

/// The figures of the direct light on a horizontal plane: average, minimum, maximum, uniformity.
#[must_use]
pub fn direct_on_plane(plan: &Plan, fittings: &[Placed], plane_z_m: f64, points: &[[f64; 2]]) -> PlaneFigures {
    PlaneFigures::of(&direct_values(plan, fittings, plane_z_m, points))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    #[test]
    fn a_diffuse_source_follows_the_closed_form_of_cie_171() {
        // CIE 171:2006, 5.2: 1000 cd diffuser 3 m up, E = I₀h²/d⁴.
        let light = Photometry::beam(1000.0 * PI, 120.0).unwrap();
        let placed = Placed { photometry: &light, at_m: [0.0, 0.0, 3.0], turn_deg: 0.0 };
        for (x, y) in [(0.0, 0.0), (0.5, 0.0), (1.5, 1.0), (1.5, 1.5f64)] {
            let exact = 9000.0 / (x * x + y * y + 9.0f64).powi(2);
            assert!((placed.lux_at([x, y, 0.0], [0.0, 0.0, 1.0]) / exact - 1.0).abs() < 1e-12);
        }
        assert_eq!(placed.lux_at([0.0, 0.0, 0.0], [0.0, 0.0, -1.0]), 0.0);
        assert!(placed.lux_at([0.0, 0.0, 3.0], [0.0, 0.0, 1.0]).is_finite());
    }

    #[test]
    fn the_grid_counts_cells_by_its_rule() {
        let plan = Plan::rectangle(4.2, 3.1).unwrap();
        let [xs, ys] = Grid { step_m: 0.1, border_m: 0.0 }.axes(&plan).unwrap();
        assert_eq!((xs.len(), ys.len()), (42, 31));
        assert!((xs[0] - 0.05).abs() < 1e-12 && (ys[30] - 3.05).abs() < 1e-12);
        // (4.2 − 1) / 0.3 = 10.67 gives 11, (3.1 − 1) / 0.3 = 7 exactly.
        assert_eq!(Grid { step_m: 0.3, border_m: 0.5 }.points(&plan).unwrap().len(), 77);
        let wide = Grid { step_m: 0.1, border_m: 1.6 };
        assert_eq!(wide.points(&plan).unwrap_err().path, "grid.border");
        assert_eq!(Grid { step_m: f64::NAN, border_m: 0.0 }.points(&plan).unwrap_err().path, "grid.step");
        assert_eq!(Grid { step_m: 0.001, border_m: 0.0 }.points(&plan).unwrap_err().path, "grid.step");
    }

    #[test]
    fn an_outline_takes_the_cells_inside_and_off_its_walls() {
        let corners = [[0.0, 0.0], [3.0, 0.0], [3.0, 1.0], [1.0, 1.0], [1.0, 2.0], [0.0, 2.0]];
        let plan = Plan::outline(&corners).unwrap();
        assert_eq!(Grid { step_m: 0.5, border_m: 0.0 }.points(&plan).unwrap().len(), 16);
        // Centres at 0.25 steps of 0.5 from a border of 0.25: x 0.5 … 2.5, y 0.5 … 1.5 in cells of 0.5.
        let bordered = Grid { step_m: 0.5, border_m: 0.25 }.points(&plan).unwrap();
        assert!(
            bordered.iter().all(|p| plan.contains(p[0], p[1]) && plan.distance_to_walls(p[0], p[1]) >= 0.25 - 1e-9)
        );
        assert_eq!(bordered.len(), 7);
    }

    #[test]
    fn a_corner_shades_a_point_from_a_fitting() {
        let corners = [[0.0, 0.0], [3.0, 0.0], [3.0, 1.0], [1.0, 1.0], [1.0, 3.0], [0.0, 3.0]];
        let plan = Plan::outline(&corners).unwrap();
        let light = Photometry::beam(650.0, 60.0).unwrap();
        let fittings = [Placed { photometry: &light, at_m: [0.5, 2.8, 2.4], turn_deg: 0.0 }];
        let values = direct_values(&plan, &fittings, 0.0, &[[0.5, 0.5], [2.9, 0.5]]);
        assert!(values[0] > 0.0 && values[1] == 0.0);
    }

    #[test]
    fn one_point_and_darkness_make_figures_too() {
        let figures = PlaneFigures::of(&[0.0, 0.0]);
        assert_eq!((figures.points, figures.uniformity, figures.diversity), (2, 0.0, 0.0));
        let figures = PlaneFigures::of(&[100.0, 50.0]);
        assert_eq!((figures.average_lx, figures.minimum_lx, figures.diversity), (75.0, 50.0, 0.5));
    }
}
