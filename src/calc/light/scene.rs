//! The sources of a room's light, and what each throws straight onto points and patches.

use super::exchange::{Vector, cross, dot, minus, point_to_quad};
use super::illuminance::Placed;
use super::mesh::{Mesh, Patch};
use crate::calc::plan::Plan;

/// Places and weights of three-point Gauss integration over a unit interval.
const GAUSS: [(f64, f64); 3] =
    [(0.112_701_665_379_258_3, 5.0 / 18.0), (0.5, 8.0 / 18.0), (0.887_298_334_620_741_7, 5.0 / 18.0)];
/// The most parts per side that a patch near a source is cut into.
const MOST_PARTS: f64 = 8.0;
/// Parts per side of a panel, where corners may hide some of it.
const PANEL_PARTS: usize = 8;
/// Nearer to a surface than this, a source counts as in it, in metres.
const IN_SURFACE_M: f64 = 1e-6;

/// An evenly bright, diffuse parallelogram.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Panel {
    /// A corner, in metres.
    pub corner: Vector,
    /// The edge `u` from that corner.
    pub edge_u: Vector,
    /// The edge `v`; the panel shines to the side of u × v.
    pub edge_v: Vector,
    /// Its exitance in lm/m².
    pub exitance: f64,
}

impl Panel {
    /// Its area in square metres.
    #[must_use]
    pub fn area(&self) -> f64 {
        let turn = cross(self.edge_u, self.edge_v);
        dot(turn, turn).sqrt()
    }

    fn at(&self, u: f64, v: f64) -> Vector {
        std::array::from_fn(|axis| self.corner[axis] + u * self.edge_u[axis] + v * self.edge_v[axis])
    }

    fn quad(&self, u: [f64; 2], v: [f64; 2]) -> [Vector; 4] {
        [self.at(u[0], v[0]), self.at(u[1], v[0]), self.at(u[1], v[1]), self.at(u[0], v[1])]
    }

    fn lux_at(&self, plan: &Plan, point: Vector, normal: Vector) -> f64 {
        if dot(minus(point, self.corner), cross(self.edge_u, self.edge_v)) <= 1e-9 * self.area() {
            return 0.0;
        }
        if plan.is_rectangle() {
            return self.exitance * point_to_quad(point, normal, &self.quad([0.0, 1.0], [0.0, 1.0]));
        }
        let ends = |part: usize| [part as f64 / PANEL_PARTS as f64, (part + 1) as f64 / PANEL_PARTS as f64];
        let parts = (0..PANEL_PARTS).flat_map(|i| (0..PANEL_PARTS).map(move |j| (ends(i), ends(j))));
        let seen = parts.filter(|(u, v)| {
            let [x, y, _] = self.at((u[0] + u[1]) / 2.0, (v[0] + v[1]) / 2.0);
            plan.sees([x, y], [point[0], point[1]])
        });
        self.exitance * seen.map(|(u, v)| point_to_quad(point, normal, &self.quad(u, v))).sum::<f64>()
    }
}

/// A room and its sources.
#[derive(Debug, Clone)]
pub struct Scene<'a> {
    /// The plan.
    pub plan: &'a Plan,
    /// Floor to ceiling, in metres.
    pub height_m: f64,
    /// Fittings and textbook point sources.
    pub fittings: Vec<Placed<'a>>,
    /// Diffuse panels.
    pub panels: Vec<Panel>,
}

impl Scene<'_> {
    /// The direct illuminance in lux at a point of a surface with the unit normal `normal`.
    #[must_use]
    pub fn direct_lx(&self, point: Vector, normal: Vector) -> f64 {
        let at = [point[0], point[1]];
        let fittings = self.fittings.iter().filter(|f| self.plan.sees([f.at_m[0], f.at_m[1]], at));
        let of_fittings: f64 = fittings.map(|fitting| fitting.lux_at(point, normal)).sum();
        of_fittings + self.panels.iter().map(|panel| panel.lux_at(self.plan, point, normal)).sum::<f64>()
    }

    /// The mean direct illuminance of every patch of a mesh, in lux.
    #[must_use]
    pub fn direct_on_patches(&self, mesh: &Mesh) -> Vec<f64> {
        // The half width of the narrowest beam that matters to how finely a patch must be looked at.
        let spread: Vec<f64> = self
            .fittings
            .iter()
            .map(|fitting| (fitting.photometry.beam_deg().unwrap_or(90.0).min(90.0) / 2.0).to_radians().tan())
            .collect();
        let on = |patch: Patch| {
            let fittings = self.fittings.iter().zip(&spread);
            let of_fittings: f64 = fittings
                .map(|(fitting, spread)| {
                    let parts = parts(&patch, fitting.at_m, spread.min(0.5));
                    mean_over(&patch, parts, |point| {
                        let seen = self.plan.sees([fitting.at_m[0], fitting.at_m[1]], [point[0], point[1]]);
                        if seen { fitting.lux_at(point, patch.normal) } else { 0.0 }
                    })
                })
                .sum();
            let panels = self.panels.iter();
            let of_panels: f64 =
                panels.map(|panel| mean_over(&patch, 1, |point| panel.lux_at(self.plan, point, patch.normal))).sum();
            of_fittings + of_panels
        };
        mesh.patches().map(on).collect()
    }

    /// The flux that the sources send into the room, in lumens: what a fitting in the ceiling sends upward stays there.
    #[must_use]
    pub fn emitted_lm(&self) -> f64 {
        let of_fitting = |fitting: &Placed| {
            let from_deg = if fitting.at_m[2] < IN_SURFACE_M { 90.0 } else { 0.0 };
            let to_deg = if fitting.at_m[2] > self.height_m - IN_SURFACE_M { 90.0 } else { 180.0 };
            fitting.photometry.flux_between(from_deg, to_deg)
        };
        let of_panels: f64 = self.panels.iter().map(|panel| panel.area() * panel.exitance).sum();
        self.fittings.iter().map(of_fitting).sum::<f64>() + of_panels
    }
}

/// Into how many parts per side a patch is cut, so that each is small against its distance from a source and against
/// the width of the beam there.
fn parts(patch: &Patch, source: Vector, spread: f64) -> usize {
    let reach = minus(patch.at(0.5, 0.5), source);
    let distance = dot(reach, reach).sqrt().max(1e-3);
    (patch.longest() / (distance * spread)).ceil().clamp(1.0, MOST_PARTS) as usize
}

/// The mean of a function over a patch by three-point Gauss integration in each of `parts` × `parts` pieces.
fn mean_over(patch: &Patch, parts: usize, of: impl Fn(Vector) -> f64) -> f64 {
    let share = 1.0 / parts as f64;
    let mut sum = 0.0;
    for i in 0..parts {
        for j in 0..parts {
            for (u, weight_u) in GAUSS {
                for (v, weight_v) in GAUSS {
                    sum += weight_u * weight_v * of(patch.at((i as f64 + u) * share, (j as f64 + v) * share));
                }
            }
        }
    }
    sum * share * share
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::calc::light::photometry::Photometry;
    use std::f64::consts::PI;

    const UP: Vector = [0.0, 0.0, 1.0];

    fn cie_panel() -> Panel {
        Panel { corner: [1.5, 1.5, 3.0], edge_u: [0.0, 1.0, 0.0], edge_v: [1.0, 0.0, 0.0], exitance: 1000.0 * PI }
    }

    #[test]
    fn an_area_source_meets_cie_171_on_wall_and_floor() {
        // CIE 171:2006, 5.3 (as quoted), 0.25 % off the closed form at most.
        let plan = Plan::rectangle(4.0, 4.0).unwrap();
        let scene = Scene { plan: &plan, height_m: 3.0, fittings: Vec::new(), panels: vec![cie_panel()] };
        for (z, lx) in [(2.75, 32.68), (2.25, 75.09), (1.75, 81.38), (1.25, 69.12), (0.75, 53.41), (0.25, 39.90)] {
            let found = scene.direct_lx([2.0, 0.0, z], [0.0, 1.0, 0.0]);
            assert!((found / lx - 1.0).abs() < 0.0035, "{z}: {found}");
        }
        for (y, lx) in [(0.25, 61.27), (0.75, 79.18), (1.25, 95.52), (1.75, 105.89)] {
            let found = scene.direct_lx([2.0, y, 0.0], UP);
            assert!((found / lx - 1.0).abs() < 0.0035, "{y}: {found}");
        }
        assert_eq!(scene.direct_lx([2.0, 2.0, 3.0], [0.0, 0.0, -1.0]), 0.0, "nothing behind the panel");
    }

    #[test]
    fn a_panel_in_an_l_room_is_hidden_part_by_part() {
        let plan = Plan::outline(&[[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [1.0, 4.0], [1.0, 4.5], [0.0, 4.5]]).unwrap();
        let whole = Plan::rectangle(4.0, 4.5).unwrap();
        let lux = |plan: &Plan, point: Vector| {
            Scene { plan, height_m: 3.0, fittings: Vec::new(), panels: vec![cie_panel()] }.direct_lx(point, UP)
        };
        assert!((lux(&plan, [2.0, 1.0, 0.0]) - lux(&whole, [2.0, 1.0, 0.0])).abs() < 1e-9);
        let nook = [0.9, 4.45, 0.0];
        assert!(lux(&plan, nook) < lux(&whole, nook));
    }

    #[test]
    fn all_the_flux_of_a_source_lands_on_the_patches() {
        // CIE 171:2006, 5.4: flux is conserved.
        let plan = Plan::rectangle(4.0, 4.0).unwrap();
        let even = Photometry::isotropic(10_000.0 / (4.0 * PI));
        let narrow = Photometry::beam(10_000.0, 10.0).unwrap();
        let wide = Photometry::beam(10_000.0, 120.0).unwrap();
        for (light, z) in [(&even, 1.5), (&even, 2.8), (&narrow, 3.0), (&wide, 3.0), (&wide, 2.9)] {
            let fittings = vec![Placed { photometry: light, at_m: [0.5, 1.3, z], turn_deg: 0.0 }];
            let scene = Scene { plan: &plan, height_m: 3.0, fittings, panels: Vec::new() };
            let mesh = Mesh::new(&plan, 3.0, 0.4);
            let direct = scene.direct_on_patches(&mesh);
            let landed: f64 = direct.iter().zip(mesh.areas()).map(|(lux, area)| lux * area).sum();
            assert!((landed / 10_000.0 - 1.0).abs() < 1e-3, "{z}: {landed}");
            assert!((scene.emitted_lm() - 10_000.0).abs() < 1e-6);
        }
        let in_ceiling = vec![Placed { photometry: &even, at_m: [2.0, 2.0, 3.0], turn_deg: 0.0 }];
        let scene = Scene { plan: &plan, height_m: 3.0, fittings: in_ceiling, panels: vec![cie_panel()] };
        assert!((scene.emitted_lm() - 5000.0 - 1000.0 * PI).abs() < 1e-6);
    }
}
