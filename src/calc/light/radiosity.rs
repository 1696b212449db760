//! Light reflected to and fro between diffuse surfaces, until nothing more changes.
//!
//! Each patch is taken to be evenly bright. What two patches exchange is exact where they see each other fully, and the
//! share of sight lines in plan of that where they do not. A room is a right prism: floor and ceiling are alike, and a
//! wall's levels are equal, so that few of the exchanges differ. Each different one is computed once: for two cells one
//! figure, for a cell and a column one figure per level, for two columns one figure per difference of levels.

use std::collections::HashMap;

use super::exchange::{over_both, parallel_rectangles, perpendicular};
use super::mesh::{Column, Mesh};
use super::sight::{Target, targets};
use crate::calc::plan::Plan;

/// The solution is taken as found when its residual is this small against its first.
const RESIDUAL: f64 = 1e-8;
/// More rounds than this are never needed for reflectances below 0.999.
const MOST_ROUNDS: usize = 400;
/// Lengths that agree to this are one, in metres.
const SAME_M: f64 = 1e-8;

/// What two parts of the mesh exchange.
#[derive(Debug, Clone, Copy)]
struct Link {
    a: u32,
    b: u32,
    /// Where the exchange areas begin in the list of kernels.
    kernel: u32,
    /// The share of sight lines.
    seen: f32,
}

/// The exchange areas of all pairs of patches.
#[derive(Debug, Clone)]
pub struct Exchange {
    cells: usize,
    levels: usize,
    /// For two cells one figure, floor of the one to ceiling of the other; for a cell and a column one per level from
    /// the cell's plane; for two columns one per difference of levels.
    kernels: Vec<f64>,
    cell_to_cell: Vec<Link>,
    cell_to_column: Vec<Link>,
    column_to_column: Vec<Link>,
    areas: Vec<f64>,
    /// Factors that close the rows where sight is partly blocked; empty where all rows are closed by themselves.
    closing: Vec<f64>,
    /// The greatest error of a row sum before closing.
    row_error: f64,
}

/// The illuminance of every patch after all reflections.
#[derive(Debug, Clone)]
pub struct Solution {
    /// Illuminance in lux, in the order of the mesh.
    pub illuminance_lx: Vec<f64>,
    /// What each patch gives off in lm/m².
    pub exitance: Vec<f64>,
    /// Rounds of the solver.
    pub rounds: usize,
}

impl Exchange {
    /// All exchange areas of a mesh.
    #[must_use]
    pub fn new(plan: &Plan, mesh: &Mesh) -> Self {
        let mut build = Build::new(mesh);
        let (cells, columns) = targets(mesh);
        let seen = |a: &Target, b: &Target| if plan.is_rectangle() { 1.0 } else { a.share_seen(b, plan) as f32 };
        let mut exchange = Self {
            cells: mesh.cells.len(),
            levels: mesh.level_count(),
            kernels: Vec::new(),
            cell_to_cell: Vec::new(),
            cell_to_column: Vec::new(),
            column_to_column: Vec::new(),
            areas: mesh.areas(),
            closing: Vec::new(),
            row_error: 0.0,
        };
        let link = |a: usize, b: usize, kernel: u32, seen: f32| Link { a: a as u32, b: b as u32, kernel, seen };
        for a in 0..cells.len() {
            for b in a..cells.len() {
                let share = seen(&cells[a], &cells[b]);
                if share > 0.0 {
                    exchange.cell_to_cell.push(link(a, b, build.cell_to_cell(a, b), share));
                }
            }
            for (b, column) in columns.iter().enumerate() {
                let Some(kernel) = build.cell_to_column(a, &mesh.columns[b]) else { continue };
                let share = seen(&cells[a], column);
                if share > 0.0 {
                    exchange.cell_to_column.push(link(a, b, kernel, share));
                }
            }
        }
        for a in 0..columns.len() {
            for b in a + 1..columns.len() {
                let Some(kernel) = build.column_to_column(&mesh.columns[a], &mesh.columns[b]) else { continue };
                let share = seen(&columns[a], &columns[b]);
                if share > 0.0 {
                    exchange.column_to_column.push(link(a, b, kernel, share));
                }
            }
        }
        exchange.kernels = build.kernels;
        exchange.close(plan);
        exchange
    }

    /// Closes the rows: each patch must exchange its whole area. Both ends of a pair are scaled alike, so that light
    /// still goes both ways the same.
    fn close(&mut self, plan: &Plan) {
        let ones = vec![1.0; self.areas.len()];
        let error = |sums: &[f64], areas: &[f64]| {
            sums.iter().zip(areas).map(|(sum, area)| (sum / area - 1.0).abs()).fold(0.0, f64::max)
        };
        let sums = self.raw(&ones);
        self.row_error = error(&sums, &self.areas);
        if plan.is_rectangle() {
            return;
        }
        let mut closing = ones;
        let mut sums = sums;
        for _ in 0..40 {
            // The new factor is the geometric mean of the old one and the one that would close this row alone.
            for (index, factor) in closing.iter_mut().enumerate() {
                *factor = if sums[index] > 0.0 { *factor * (self.areas[index] / sums[index]).sqrt() } else { 0.0 };
            }
            sums = self.raw(&closing);
            for (sum, factor) in sums.iter_mut().zip(&closing) {
                *sum *= factor;
            }
            if error(&sums, &self.areas) < 1e-6 {
                break;
            }
        }
        self.closing = closing;
    }

    /// The greatest relative error of a patch's row sum, before the rows were closed.
    #[must_use]
    pub fn row_error(&self) -> f64 {
        self.row_error
    }

    /// The flux that each patch receives, in lumens, when each gives off `exitance` (lm/m²).
    #[must_use]
    pub fn received(&self, exitance: &[f64]) -> Vec<f64> {
        if self.closing.is_empty() {
            return self.raw(exitance);
        }
        let scaled: Vec<f64> = exitance.iter().zip(&self.closing).map(|(value, factor)| value * factor).collect();
        let mut flux = self.raw(&scaled);
        flux.iter_mut().zip(&self.closing).for_each(|(value, factor)| *value *= factor);
        flux
    }

    fn raw(&self, given: &[f64]) -> Vec<f64> {
        let mut flux = vec![0.0; given.len()];
        self.between_cells(given, &mut flux);
        self.between_cells_and_columns(given, &mut flux);
        self.between_columns(given, &mut flux);
        flux
    }

    fn between_cells(&self, given: &[f64], flux: &mut [f64]) {
        let cells = self.cells;
        let (floor, rest) = given.split_at(cells);
        let (floor_flux, rest_flux) = flux.split_at_mut(cells);
        let (ceiling, ceiling_flux) = (&rest[..cells], &mut rest_flux[..cells]);
        for link in &self.cell_to_cell {
            let (a, b) = (link.a as usize, link.b as usize);
            let area = self.kernels[link.kernel as usize] * f64::from(link.seen);
            ceiling_flux[a] += area * floor[b];
            floor_flux[a] += area * ceiling[b];
            if a != b {
                ceiling_flux[b] += area * floor[a];
                floor_flux[b] += area * ceiling[a];
            }
        }
    }

    fn between_cells_and_columns(&self, given: &[f64], flux: &mut [f64]) {
        let (cells, levels) = (self.cells, self.levels);
        // The ceiling sees a column as the floor does, from the other end: its levels are turned round for it.
        let turned = |values: &[f64]| -> Vec<f64> {
            values.chunks(levels).flat_map(|column| column.iter().rev().copied()).collect()
        };
        let (flat, upright) = given.split_at(2 * cells);
        let (flat_flux, upright_flux) = flux.split_at_mut(2 * cells);
        let upright_turned = turned(upright);
        let mut turned_flux = vec![0.0; upright.len()];
        for link in &self.cell_to_column {
            let (cell, at) = (link.a as usize, link.b as usize * levels);
            let kernel = &self.kernels[link.kernel as usize..link.kernel as usize + levels];
            let seen = f64::from(link.seen);
            let (floor, ceiling) = (flat[cell] * seen, flat[cells + cell] * seen);
            let column = &upright[at..at + levels];
            let column_turned = &upright_turned[at..at + levels];
            let [to_floor, to_ceiling] = dots(kernel, column, column_turned);
            flat_flux[cell] += seen * to_floor;
            flat_flux[cells + cell] += seen * to_ceiling;
            add(&mut upright_flux[at..at + levels], kernel, floor);
            add(&mut turned_flux[at..at + levels], kernel, ceiling);
        }
        for (flux, more) in upright_flux.iter_mut().zip(turned(&turned_flux)) {
            *flux += more;
        }
    }

    fn between_columns(&self, given: &[f64], flux: &mut [f64]) {
        let levels = self.levels;
        let upright = &given[2 * self.cells..];
        let upright_flux = &mut flux[2 * self.cells..];
        // The figures by difference of levels, from the most below to the most above: a window of it is a row.
        let mut row = vec![0.0; 2 * levels - 1];
        for link in &self.column_to_column {
            let kernel = &self.kernels[link.kernel as usize..link.kernel as usize + levels];
            for (difference, value) in kernel.iter().enumerate() {
                row[levels - 1 - difference] = value * f64::from(link.seen);
                row[levels - 1 + difference] = value * f64::from(link.seen);
            }
            let (a, b) = (link.a as usize * levels, link.b as usize * levels);
            for level in 0..levels {
                let window = &row[levels - 1 - level..2 * levels - 1 - level];
                let [to_a, to_b] = dots(window, &upright[b..b + levels], &upright[a..a + levels]);
                upright_flux[a + level] += to_a;
                upright_flux[b + level] += to_b;
            }
        }
    }

    /// The illuminance after all reflections, from the direct one and each patch's reflectance (below 1).
    ///
    /// Conjugate gradients on the symmetric form of the balance.
    #[must_use]
    pub fn solve(&self, direct_lx: &[f64], reflectance: &[f64]) -> Solution {
        let root = |of: fn(f64, f64) -> f64| -> Vec<f64> {
            reflectance.iter().zip(&self.areas).map(|(rho, area)| of(*rho, *area).sqrt()).collect()
        };
        let scale = root(|rho, area| rho / area);
        let weight = root(|rho, area| rho * area);
        let times = |a: &[f64], b: &[f64]| -> Vec<f64> { a.iter().zip(b).map(|(a, b)| a * b).collect() };
        // One round: x less what comes back from one reflection of it.
        let less_one_reflection = |x: &[f64]| -> Vec<f64> {
            let back = times(&scale, &self.received(&times(&scale, x)));
            x.iter().zip(back).map(|(x, back)| x - back).collect()
        };
        let mut residual = times(&weight, direct_lx);
        let mut found = vec![0.0; residual.len()];
        let mut step = residual.clone();
        let mut square = dot(&residual, &residual);
        let enough = square * RESIDUAL * RESIDUAL;
        let mut rounds = 0;
        while square > enough && rounds < MOST_ROUNDS {
            let changed = less_one_reflection(&step);
            let length = square / dot(&step, &changed);
            add(&mut found, &step, length);
            add(&mut residual, &changed, -length);
            let next = dot(&residual, &residual);
            let keep = next / square;
            step.iter_mut().zip(&residual).for_each(|(step, residual)| *step = residual + keep * *step);
            square = next;
            rounds += 1;
        }
        let exitance = times(&scale, &found);
        let reflected = self.received(&exitance);
        let illuminance_lx = direct_lx
            .iter()
            .zip(reflected)
            .zip(&self.areas)
            .map(|((direct, flux), area)| direct + flux / area)
            .collect();
        Solution { illuminance_lx, exitance, rounds }
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    dots(a, b, b)[0]
}

/// The products of one list with two others at once.
fn dots(of: &[f64], a: &[f64], b: &[f64]) -> [f64; 2] {
    // Four sums side by side: their order is fixed, and they need not wait for each other.
    let mut sums = [[0.0; 4]; 2];
    let whole = of.len() / 4 * 4;
    for ((of, a), b) in of.chunks_exact(4).zip(a.chunks_exact(4)).zip(b.chunks_exact(4)) {
        for lane in 0..4 {
            sums[0][lane] += of[lane] * a[lane];
            sums[1][lane] += of[lane] * b[lane];
        }
    }
    let rest = |other: &[f64]| of[whole..].iter().zip(&other[whole..]).map(|(a, b)| a * b).sum::<f64>();
    [sums[0].iter().sum::<f64>() + rest(a), sums[1].iter().sum::<f64>() + rest(b)]
}

fn add(to: &mut [f64], what: &[f64], times: f64) {
    to.iter_mut().zip(what).for_each(|(to, what)| *to += times * what);
}

/// A pair of intervals, or an interval and a place, by what the exchange depends on: in units of [`SAME_M`].
type Key = [i64; 3];

fn key(values: [f64; 3]) -> Key {
    values.map(|value| (value / SAME_M).round() as i64)
}

/// Numbers for things that are alike.
#[derive(Debug, Default)]
struct Alike<K>(HashMap<K, u32>);

impl<K: std::hash::Hash + Eq> Alike<K> {
    /// The number of a thing, and whether it is new.
    fn number(&mut self, thing: K) -> (u32, bool) {
        let next = self.0.len() as u32;
        let number = *self.0.entry(thing).or_insert(next);
        (number, number == next)
    }
}

/// Computes each different exchange once.
struct Build<'a> {
    mesh: &'a Mesh,
    kernels: Vec<f64>,
    /// For each axis, the number of each pair of its intervals: alike are those of equal sizes and distance.
    along: [Vec<Vec<u32>>; 2],
    cells: HashMap<[u32; 2], u32>,
    columns: HashMap<(usize, u32, u32), u32>,
    facing: HashMap<(usize, u32, i64), u32>,
    corners: HashMap<[u32; 2], u32>,
    from_wall: Alike<Key>,
}

impl<'a> Build<'a> {
    fn new(mesh: &'a Mesh) -> Self {
        let along = [0, 1].map(|axis| {
            let mut alike = Alike::default();
            let intervals = &mesh.intervals[axis];
            let number = |a: &[f64; 2], b: &[f64; 2]| {
                let (one, other) = (a[1] - a[0], b[1] - b[0]);
                let apart = ((a[0] + a[1]) - (b[0] + b[1])).abs() / 2.0;
                alike.number(key([one.min(other), one.max(other), apart])).0
            };
            pairs(intervals, number)
        });
        Self {
            mesh,
            kernels: Vec::new(),
            along,
            cells: HashMap::new(),
            columns: HashMap::new(),
            facing: HashMap::new(),
            corners: HashMap::new(),
            from_wall: Alike::default(),
        }
    }

    fn start(&self) -> u32 {
        self.kernels.len() as u32
    }

    fn cell_to_cell(&mut self, a: usize, b: usize) -> u32 {
        let (a, b) = (&self.mesh.cells[a], &self.mesh.cells[b]);
        let pair = [0, 1].map(|axis| self.along[axis][a.interval[axis]][b.interval[axis]]);
        if let Some(known) = self.cells.get(&pair) {
            return *known;
        }
        let start = self.start();
        self.cells.insert(pair, start);
        let edges = |cell: &super::mesh::Cell| [0, 1].map(|axis| [cell.low[axis], cell.high[axis]]);
        self.kernels.push(parallel_rectangles(edges(a), edges(b), self.mesh.height()));
        start
    }

    /// The kernel of a cell and a column that faces it; one figure per level, from the floor.
    fn cell_to_column(&mut self, cell: usize, column: &Column) -> Option<u32> {
        let cell = &self.mesh.cells[cell];
        let (axis, across) = (column.axis, 1 - column.axis);
        let away = distances(column, [cell.low[across], cell.high[across]])?;
        let along = self.along[axis][cell.interval[axis]][column.interval];
        let (number, _) = self.from_wall.number(key([away[0], away[1], 0.0]));
        if let Some(known) = self.columns.get(&(axis, along, number)) {
            return Some(*known);
        }
        let start = self.start();
        self.columns.insert((axis, along, number), start);
        let edges = [cell.low[axis], cell.high[axis]];
        let at = |away: f64, z: f64| over_both(edges, column.span, |step| perpendicular(step, away * away + z * z));
        let line = |z: f64| at(away[1], z) - at(away[0], z);
        let lines: Vec<f64> = self.mesh.levels.iter().map(|z| line(*z)).collect();
        self.kernels.extend(lines.windows(2).map(|pair| (pair[0] - pair[1]).max(0.0)));
        Some(start)
    }

    /// The kernel of two columns that face each other; one figure per difference of levels.
    fn column_to_column(&mut self, a: &Column, b: &Column) -> Option<u32> {
        let levels = &self.mesh.levels;
        if a.axis != b.axis {
            let (from_b, from_a) = (distances(b, a.span)?, distances(a, b.span)?);
            let pair = [from_b, from_a].map(|away| self.from_wall.number(key([away[0], away[1], 0.0])).0);
            if let Some(known) = self.corners.get(&pair) {
                return Some(*known);
            }
            let start = self.start();
            self.corners.insert(pair, start);
            let square = |i: usize, j: usize| from_b[i] * from_b[i] + from_a[j] * from_a[j];
            let [inner, outer, mixed, other] = [square(0, 0), square(1, 1), square(1, 0), square(0, 1)];
            self.by_difference(levels, |step| {
                perpendicular(step, mixed) + perpendicular(step, other)
                    - perpendicular(step, inner)
                    - perpendicular(step, outer)
            });
            return Some(start);
        }
        let gap = (b.place - a.place) * a.inward;
        if a.inward == b.inward || gap <= 0.0 {
            return None;
        }
        let along = self.along[a.axis][a.interval][b.interval];
        let this = (a.axis, along, (gap / SAME_M).round() as i64);
        if let Some(known) = self.facing.get(&this) {
            return Some(*known);
        }
        let start = self.start();
        self.facing.insert(this, start);
        self.by_difference(levels, |step| {
            over_both(a.span, b.span, |along| super::exchange::parallel(along, step, gap))
        });
        Some(start)
    }

    /// Figures by difference of levels from an antiderivative over the difference of heights.
    fn by_difference(&mut self, levels: &[f64], of: impl Fn(f64) -> f64) {
        let lines: Vec<f64> = levels.iter().map(|z| of(*z)).collect();
        let count = levels.len() - 1;
        let line = |index: usize| lines[index];
        let figures = (0..count).map(|difference| {
            let below = if difference == 0 { line(1) } else { line(difference - 1) };
            (line(difference + 1) + below - 2.0 * line(difference)).max(0.0)
        });
        self.kernels.extend(figures);
    }
}

/// The distances of an interval's ends from a column's wall, nearer first; `None` where the interval is not in front.
fn distances(column: &Column, interval: [f64; 2]) -> Option<[f64; 2]> {
    let [a, b] = interval.map(|end| (end - column.place) * column.inward);
    let (near, far) = (a.min(b), a.max(b));
    (far > SAME_M).then_some([near.max(0.0), far])
}

fn pairs(intervals: &[[f64; 2]], mut number: impl FnMut(&[f64; 2], &[f64; 2]) -> u32) -> Vec<Vec<u32>> {
    intervals.iter().map(|a| intervals.iter().map(|b| number(a, b)).collect()).collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
#[path = "radiosity_tests.rs"]
mod tests;
