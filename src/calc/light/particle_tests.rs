//! A second method that shares nothing with the balance of patches but the room: light followed particle by particle.

use std::f64::consts::PI;

use serde_json::{Value, json};

use super::{Case, figure};
use crate::case::read;
use crate::facts::Facts;

/// A small generator of even numbers (SplitMix64), so that a run repeats.
struct Chance(u64);

impl Chance {
    fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    /// A direction about an axis with the density cosᵐ.
    fn lobe(&mut self, exponent: f64) -> [f64; 3] {
        let cos = self.even().powf(1.0 / (exponent + 1.0));
        let (sin, round) = ((1.0 - cos * cos).sqrt(), 2.0 * PI * self.even());
        [sin * round.cos(), sin * round.sin(), cos]
    }
}

struct Room<'a> {
    walls: &'a [[f64; 2]],
    height: f64,
    /// Floor, ceiling, walls.
    rho: [f64; 3],
}

impl Room<'_> {
    /// Where a particle next lands: the distance, the surface (0 floor, 1 ceiling, 2 wall) and the normal there.
    fn next(&self, at: [f64; 3], to: [f64; 3]) -> (f64, usize, [f64; 3]) {
        let mut best =
            if to[2] < 0.0 { (-at[2] / to[2], 0, [0.0, 0.0, 1.0]) } else { (f64::INFINITY, 1, [0.0, 0.0, -1.0]) };
        if to[2] > 0.0 {
            best = ((self.height - at[2]) / to[2], 1, [0.0, 0.0, -1.0]);
        }
        for (index, from) in self.walls.iter().enumerate() {
            let end = self.walls[(index + 1) % self.walls.len()];
            // Anticlockwise: the room lies to the left of the wall.
            let normal = [
                -(end[1] - from[1]).signum() * f64::from(end[1] != from[1]),
                (end[0] - from[0]).signum() * f64::from(end[0] != from[0]),
            ];
            let towards = to[0] * normal[0] + to[1] * normal[1];
            if towards >= 0.0 {
                continue;
            }
            let away = (at[0] - from[0]) * normal[0] + (at[1] - from[1]) * normal[1];
            let distance = -away / towards;
            let hit = [at[0] + distance * to[0], at[1] + distance * to[1]];
            let along = usize::from(normal[0] != 0.0);
            let within = hit[along] >= from[along].min(end[along]) && hit[along] <= from[along].max(end[along]);
            if within && distance > 1e-9 && distance < best.0 {
                best = (distance, 2, [normal[0], normal[1], 0.0]);
            }
        }
        best
    }
}

/// The flux that lands on floor, ceiling and walls, over the flux sent out.
fn landed(room: &Room, fittings: &[[f64; 2]], exponent: f64, particles: u32) -> [f64; 3] {
    let mut chance = Chance(2026);
    let mut landed = [0u64; 3];
    for particle in 0..particles {
        let [x, y] = fittings[particle as usize % fittings.len()];
        let [dx, dy, dz] = chance.lobe(exponent);
        let (mut at, mut to) = ([x, y, room.height], [dx, dy, -dz]);
        loop {
            let (distance, surface, normal) = room.next(at, to);
            landed[surface] += 1;
            if chance.even() >= room.rho[surface] {
                break;
            }
            at = std::array::from_fn(|axis| at[axis] + distance * to[axis] + 1e-9 * normal[axis]);
            let [a, b, c] = chance.lobe(1.0);
            // Any two directions across an axis-parallel normal will do.
            let axis = (0..3).find(|axis| normal[*axis] != 0.0).unwrap_or(2);
            to = [0.0; 3];
            to[axis] = c * normal[axis];
            to[(axis + 1) % 3] = a;
            to[(axis + 2) % 3] = b;
        }
    }
    landed.map(|count| count as f64 / f64::from(particles))
}

#[test]
fn particles_land_where_the_balance_says() {
    let nightly = std::env::var_os("LAMPWRIGHT_NIGHTLY").is_some();
    let (particles, tolerance) = if nightly { (4_000_000, 0.0025) } else { (60_000, 0.02) };
    type Sketch<'a> = (&'a [[f64; 2]], &'a [[f64; 2]], f64, [f64; 3]);
    let rooms: [Sketch<'_>; 3] = [
        (
            &[[0.0, 0.0], [4.2, 0.0], [4.2, 3.1], [0.0, 3.1]],
            &[[0.7, 0.775], [2.1, 2.325], [3.5, 0.775]],
            60.0,
            [0.2, 0.7, 0.5],
        ),
        (
            &[[0.0, 0.0], [6.0, 0.0], [6.0, 3.5], [0.0, 3.5]],
            &[[1.0, 1.0], [3.0, 1.75], [5.0, 3.0]],
            100.0,
            [0.4, 0.8, 0.7],
        ),
        (
            &[[0.0, 0.0], [4.2, 0.0], [4.2, 2.0], [1.8, 2.0], [1.8, 4.6], [0.0, 4.6]],
            &[[0.9, 0.8], [2.8, 1.0], [0.9, 3.4]],
            90.0,
            [0.3, 0.7, 0.6],
        ),
    ];
    for (walls, fittings, beam, rho) in rooms {
        let exponent = 0.5f64.ln() / (beam / 2.0f64).to_radians().cos().ln();
        let room = Room { walls, height: 2.4, rho };
        let counted = landed(&room, fittings, exponent, particles);
        let places: Vec<Value> = fittings.iter().map(|at| json!({"type": "a", "x_m": at[0], "y_m": at[1]})).collect();
        let case: Case = read(&json!({
            "room": {"outline_m": walls, "height": "2.4 m",
                "reflectance": {"floor": rho[0], "ceiling": rho[1], "walls": rho[2]}},
            "grid": {"step": "1 m", "patch": "0.3 m"},
            "fitting_type": {"a": {"lumens": 1000, "beam_deg": beam}},
            "fitting": places,
        }))
        .unwrap();
        let found = figure(&case, Facts::embedded()).unwrap();
        let plan = case.check().unwrap().plan;
        let areas = [plan.area(), plan.area(), 2.4 * plan.perimeter()];
        let lux = [found.surfaces.floor_average_lx, found.surfaces.ceiling_average_lx, found.surfaces.walls_average_lx];
        for surface in 0..3 {
            let balanced = lux[surface] * areas[surface] / (1000.0 * fittings.len() as f64);
            let ratio = counted[surface] / balanced;
            assert!((ratio - 1.0).abs() < tolerance, "{beam}° surface {surface}: {ratio}");
        }
    }
}
