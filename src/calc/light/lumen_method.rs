//! The lumen method by the zonal-cavity equations: a second opinion on the average, and how many fittings to start from.
//!
//! It supposes a large, even array of fittings, and reads low by 5 to 15 % in a small room.

use super::photometry::Photometry;
use crate::calc::plan::Plan;
use crate::facts::Facts;

/// Reflectances above this are taken as this: the equations divide by what a surface absorbs.
const MOST_REFLECTANCE: f64 = 0.99;

/// Reflectances of a room's surfaces, 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reflectances {
    /// Of the ceiling.
    pub ceiling: f64,
    /// Of the walls.
    pub walls: f64,
    /// Of the floor.
    pub floor: f64,
}

/// The room as the method sees it: three cavities, one above the other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cavities {
    area_m2: f64,
    perimeter_m: f64,
    /// Ceiling to fittings, in metres.
    above_m: f64,
    /// Fittings to work plane, in metres.
    room_m: f64,
    /// Work plane to floor, in metres.
    below_m: f64,
}

impl Cavities {
    /// The cavities of a room of `height_m` with fittings at `fittings_m` over a work plane at `plane_m`; `None` where
    /// the fittings are not above the plane.
    #[must_use]
    pub fn new(plan: &Plan, height_m: f64, fittings_m: f64, plane_m: f64) -> Option<Self> {
        let (above_m, room_m, below_m) = (height_m - fittings_m, fittings_m - plane_m, plane_m);
        let (area_m2, perimeter_m) = (plan.area(), plan.perimeter());
        (room_m > 1e-6).then_some(Self { area_m2, perimeter_m, above_m, room_m, below_m })
    }

    /// The room index K: twice the area over height times perimeter, which is LW / H(L + W) in a rectangle.
    #[must_use]
    pub fn room_index(&self) -> f64 {
        2.0 * self.area_m2 / (self.room_m * self.perimeter_m)
    }

    /// The room cavity ratio, five over the room index.
    #[must_use]
    pub fn ratio(&self) -> f64 {
        5.0 / self.room_index()
    }

    /// What a cavity of some depth reflects, seen through its opening.
    fn effective(&self, depth_m: f64, base: f64, walls: f64) -> f64 {
        let side = self.perimeter_m * depth_m.max(0.0);
        let inner = self.area_m2 + side;
        let mean = (base * self.area_m2 + walls * side) / inner;
        mean * self.area_m2 / (inner * (1.0 - mean) + mean * self.area_m2)
    }

    /// Flux on the work plane over the flux of the fittings.
    #[must_use]
    pub fn utilisation_factor(&self, surfaces: Reflectances, light: &ZonalFlux, facts: &Facts) -> f64 {
        let bounded = |rho: f64| rho.clamp(0.0, MOST_REFLECTANCE);
        let walls = bounded(surfaces.walls);
        let ceiling = self.effective(self.above_m, bounded(surfaces.ceiling), walls);
        let floor = self.effective(self.below_m, bounded(surfaces.floor), walls);
        let ratio = self.ratio();
        let (down, up) = (light.down(), light.up);
        let direct = light.direct_ratio(ratio, facts);
        let f = 0.026 + 0.503 * (-0.270 * ratio).exp() + 0.470 * (-0.119 * ratio).exp();
        let open = 1.0 - f * f;
        // C1 over (1 − walls), so that white walls are no special case.
        let c1 = open * ratio / (2.5 * walls * open + ratio * f * (1.0 - walls));
        let c2 = (1.0 - ceiling) * (1.0 + f) / (1.0 + ceiling * f);
        let c3 = (1.0 - floor) * (1.0 + f) / (1.0 + floor * f);
        let whole_c1 = c1 * (1.0 - walls);
        let c0 = whole_c1 + c2 + c3;
        2.5 * walls * c1 * c3 * (1.0 - direct) * down / (ratio * (1.0 - floor) * c0)
            + ceiling * c2 * c3 * up / ((1.0 - ceiling) * (1.0 - floor) * c0)
            + (1.0 - floor * c3 * (whole_c1 + c2) / ((1.0 - floor) * c0)) * direct * down / (1.0 - floor)
    }

    /// The maintained average on the work plane in lux from the flux of all fittings.
    #[must_use]
    pub fn average_lx(&self, flux_lm: f64, utilisation_factor: f64, maintenance_factor: f64) -> f64 {
        flux_lm * utilisation_factor * maintenance_factor / self.area_m2
    }
}

/// A light's flux by zones of 10°, over its whole flux.
#[derive(Debug, Clone, PartialEq)]
pub struct ZonalFlux {
    zones: [f64; 9],
    up: f64,
}

impl ZonalFlux {
    /// The zones of several fittings together; `up` is left out for those in the ceiling.
    #[must_use]
    pub fn of<'a>(fittings: impl IntoIterator<Item = (&'a Photometry, bool)>) -> Self {
        let (mut zones, mut up, mut whole) = ([0.0; 9], 0.0, 0.0);
        for (photometry, in_ceiling) in fittings {
            for (index, zone) in zones.iter_mut().enumerate() {
                *zone += photometry.flux_between(10.0 * index as f64, 10.0 * (index + 1) as f64);
            }
            up += if in_ceiling { 0.0 } else { photometry.flux_between(90.0, 180.0) };
            whole += photometry.flux_lm();
        }
        let share = if whole > 0.0 { 1.0 / whole } else { 0.0 };
        Self { zones: zones.map(|zone| zone * share), up: up * share }
    }

    /// The share of the flux that goes down.
    #[must_use]
    pub fn down(&self) -> f64 {
        self.zones.iter().sum()
    }

    /// The share of the downward flux that reaches the work plane straight.
    #[must_use]
    pub fn direct_ratio(&self, cavity_ratio: f64, facts: &Facts) -> f64 {
        let rows = &facts.table("light.zonal_multiplier").rows;
        let reaching = self.zones.iter().zip(rows).map(|(zone, row)| {
            let (a, b) = (row.number("a").unwrap_or(0.0), row.number("b").unwrap_or(0.0));
            zone * (-a * cavity_ratio.powf(b)).exp()
        });
        let down = self.down();
        if down > 0.0 { reaching.sum::<f64>() / down } else { 0.0 }
    }
}

/// How many fittings give an average: N = E·A / (Φ·UF·MF), rounded up. `None` where the figures give no number.
#[must_use]
pub fn fittings_needed(lux: f64, area_m2: f64, flux_lm: f64, uf: f64, mf: f64) -> Option<u32> {
    let exact = lux * area_m2 / (flux_lm * uf * mf);
    (exact.is_finite() && exact >= 0.0).then(|| (exact - 1e-9).ceil().max(0.0) as u32)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    /// A square room of room index `k` whose floor cavity reflects just what the floor does.
    fn utilisation(beam: f64, k: f64, ceiling: f64, walls: f64) -> f64 {
        let plan = Plan::rectangle(4.0, 4.0).unwrap();
        let height = 4.0 * 4.0 / (k * 8.0);
        let cavities = Cavities::new(&plan, height, height, 0.0).unwrap();
        assert!((cavities.room_index() - k).abs() < 1e-12);
        let light = Photometry::beam(650.0, beam).unwrap();
        let zones = ZonalFlux::of([(&light, true)]);
        cavities.utilisation_factor(Reflectances { ceiling, walls, floor: 0.2 }, &zones, Facts::embedded())
    }

    #[test]
    fn an_independent_run_of_the_same_equations_is_met() {
        // Computed from the equations of IES LM-57 outside this program, two decimals.
        for (beam, k, ceiling, walls, factor) in [
            (60.0, 0.75, 0.7, 0.5, 0.69),
            (60.0, 1.25, 0.7, 0.3, 0.78),
            (60.0, 2.0, 0.5, 0.1, 0.85),
            (60.0, 5.0, 0.7, 0.5, 1.08),
            (38.0, 1.0, 0.7, 0.5, 0.88),
            (90.0, 1.5, 0.7, 0.5, 0.80),
            (120.0, 0.75, 0.7, 0.5, 0.50),
        ] {
            let found = utilisation(beam, k, ceiling, walls);
            assert!((found - factor).abs() < 0.006, "{beam}° K {k}: {found} {factor}");
        }
    }

    #[test]
    fn direct_ratios_are_met_too() {
        let light = Photometry::beam(650.0, 60.0).unwrap();
        let zones = ZonalFlux::of([(&light, true)]);
        for (k, ratio) in [(0.75, 0.55), (1.5, 0.74), (5.0, 0.92)] {
            assert!((zones.direct_ratio(5.0 / k, Facts::embedded()) - ratio).abs() < 0.006);
        }
    }

    #[test]
    fn an_endless_room_wastes_nothing() {
        // G → 0: CU = (down + ceiling·up) / (1 − ceiling·floor).
        let plan = Plan::rectangle(40.0, 40.0).unwrap();
        let cavities = Cavities::new(&plan, 0.02, 0.02, 0.0).unwrap();
        let light = Photometry::beam(650.0, 60.0).unwrap();
        let zones = ZonalFlux::of([(&light, true)]);
        let surfaces = Reflectances { ceiling: 0.7, walls: 0.5, floor: 0.2 };
        let found = cavities.utilisation_factor(surfaces, &zones, Facts::embedded());
        assert!((found - 1.0 / (1.0 - 0.14)).abs() < 0.01, "{found}");
    }

    #[test]
    fn published_counts_are_met_and_rounded_up() {
        // A factory of 60 × 24 m, and an examination question of 8 × 12 m (as quoted).
        assert_eq!(fittings_needed(200.0, 1440.0, 18_000.0, 0.4, 0.75), Some(54));
        assert_eq!(fittings_needed(300.0, 96.0, 6400.0, 0.60, 0.80), Some(10));
        assert_eq!(fittings_needed(300.0, 96.0, 0.0, 0.60, 0.80), None);
    }

    #[test]
    fn the_extremes_stay_finite() {
        for rho in [0.0, 1.0] {
            let found = utilisation(60.0, 1.0, rho, rho);
            assert!(found.is_finite() && found > 0.0, "{rho}: {found}");
        }
        // Black surfaces: only the direct light counts.
        let plan = Plan::rectangle(4.0, 4.0).unwrap();
        let cavities = Cavities::new(&plan, 2.4, 2.0, 0.85).unwrap();
        let light = Photometry::beam(650.0, 60.0).unwrap();
        let zones = ZonalFlux::of([(&light, false)]);
        let black = Reflectances { ceiling: 0.0, walls: 0.0, floor: 0.0 };
        let found = cavities.utilisation_factor(black, &zones, Facts::embedded());
        assert!((found - zones.direct_ratio(cavities.ratio(), Facts::embedded())).abs() < 1e-12);
        assert!(Cavities::new(&plan, 2.4, 0.8, 0.85).is_none());
    }
}
