//! The reflected light that arrives at points, gathered from all patches.
//!
//! A patch's part is exact where the point sees all of it: antiderivatives at its edges for points that face up,
//! Lambert's sum over its edges for any other surface. What lies below a point's surface gives nothing.

use std::collections::HashMap;

use super::exchange::{Vector, dot, minus, point_parallel, point_perpendicular, point_to_quad};
use super::fine::PARTS;
use super::illuminance::Grid;
use super::mesh::{Mesh, Patch};
use super::sight::{Target, targets};
use crate::calc::plan::Plan;
use crate::case::CaseError;

/// With more points than this, reflected light, which changes slowly, is gathered on a coarser grid and drawn straight
/// between its points.
const MOST_GATHERED: usize = 4000;
/// Kernels beyond this many numbers are computed anew each time instead of being kept.
const MOST_KEPT: usize = 2_000_000;
/// A patch counts part by part from points nearer than this many times the longest edge of a patch.
const NEAR: f64 = 2.5;
/// Lengths that agree to this are one, in metres.
const SAME_M: f64 = 1e-8;

/// What the patches of a room give off.
pub struct Gather<'a> {
    plan: &'a Plan,
    mesh: &'a Mesh,
    exitance: &'a [f64],
    /// The exitance of the parts of each patch; those near a point are looked at one by one.
    fine: &'a [f64],
    /// Within this distance in metres the parts count.
    near_m: f64,
    cells: Vec<Target>,
    columns: Vec<Target>,
}

impl<'a> Gather<'a> {
    /// From the exitance of every patch in lm/m², in the order of the mesh, and that of their parts.
    #[must_use]
    pub fn new(plan: &'a Plan, mesh: &'a Mesh, exitance: &'a [f64], fine: &'a [f64]) -> Self {
        let (cells, columns) = targets(mesh);
        let near_m = NEAR * mesh.patches().map(|patch| patch.longest()).fold(0.0, f64::max);
        Self { plan, mesh, exitance, fine, near_m, cells, columns }
    }

    /// The reflected illuminance at the points of a grid on a horizontal plane that faces up, in lux.
    ///
    /// # Errors
    /// [`CaseError`] as [`Grid::axes`] has it.
    pub fn on_grid(&self, plane_z_m: f64, grid: &Grid, points: &[[f64; 2]]) -> Result<Vec<f64>, CaseError> {
        if points.len() <= MOST_GATHERED {
            return Ok(self.on_plane(plane_z_m, points));
        }
        let share = (MOST_GATHERED as f64 / points.len() as f64).sqrt();
        let axes = grid.axes(self.plan)?.map(|places| thinned(&places, share));
        let nodes: Vec<[f64; 2]> = axes[1].iter().flat_map(|y| axes[0].iter().map(|x| [*x, *y])).collect();
        let inside: Vec<[f64; 2]> = nodes.iter().copied().filter(|[x, y]| self.plan.contains(*x, *y)).collect();
        let mut values = self.on_plane(plane_z_m, &inside).into_iter();
        let at_nodes: Vec<Option<f64>> =
            nodes.iter().map(|[x, y]| if self.plan.contains(*x, *y) { values.next() } else { None }).collect();
        Ok(points.iter().map(|point| between(&axes, &at_nodes, *point)).collect())
    }

    /// The reflected illuminance at places of a horizontal plane that faces up, in lux.
    #[must_use]
    pub fn on_plane(&self, plane_z_m: f64, points: &[[f64; 2]]) -> Vec<f64> {
        let mut kernels = Kernels::new(self.mesh, plane_z_m);
        points.iter().map(|point| self.at_place(*point, &mut kernels)).collect()
    }

    fn at_place(&self, point: [f64; 2], kernels: &mut Kernels) -> f64 {
        let place = Target::place(point);
        let seen = |target: &Target| if self.plan.is_rectangle() { 1.0 } else { place.share_seen(target, self.plan) };
        let ceiling = &self.exitance[self.mesh.cells.len()..self.mesh.walls_from()];
        let along = [0, 1].map(|axis| kernels.along(axis, point[axis]));
        let mut sum = 0.0;
        for ((cell, exitance), target) in self.mesh.cells.iter().zip(ceiling).zip(&self.cells) {
            if *exitance > 0.0 {
                let pair = [0, 1].map(|axis| along[axis][cell.interval[axis]]);
                sum += exitance * seen(target) * kernels.cell(pair, point, cell);
            }
        }
        let levels = self.mesh.level_count();
        for (index, (column, target)) in self.mesh.columns.iter().zip(&self.columns).enumerate() {
            let away = (point[1 - column.axis] - column.place) * column.inward;
            let share = if away > SAME_M { seen(target) } else { 0.0 };
            if share > 0.0 {
                let first = self.mesh.walls_from() + index * levels;
                let span = column.span.map(|end| end - point[column.axis]);
                sum += share * self.column_gives(first, span, away, kernels);
            }
        }
        sum
    }

    /// What comes from a column whose patches begin at `first`; `span` is where it lies along its wall from the point.
    fn column_gives(&self, first: usize, span: [f64; 2], away: f64, kernels: &mut Kernels) -> f64 {
        let levels = self.mesh.level_count();
        let beside = span[0].max(-span[1]).max(0.0);
        if beside.hypot(away) > self.near_m {
            let kernel = kernels.column(false, span, away);
            return kernel.iter().zip(&self.exitance[first..first + levels]).map(|(a, b)| a * b).sum();
        }
        let mut sum = 0.0;
        for i in 0..PARTS {
            let end = |part: usize| span[0] + (span[1] - span[0]) * part as f64 / PARTS as f64;
            let kernel = kernels.column(true, [end(i), end(i + 1)], away);
            for (part, factor) in kernel.iter().enumerate() {
                sum += factor * self.fine[(first + part / PARTS) * PARTS * PARTS + part % PARTS * PARTS + i];
            }
        }
        sum
    }

    /// The reflected illuminance in lux at any point of the room, on a surface with the unit normal `normal`.
    #[must_use]
    pub fn at_point(&self, point: Vector, normal: Vector) -> f64 {
        let place = Target::place([point[0], point[1]]);
        let levels = self.mesh.level_count();
        let share = |target: &Target| if self.plan.is_rectangle() { 1.0 } else { place.share_seen(target, self.plan) };
        let of_cells: Vec<f64> = self.cells.iter().map(share).collect();
        let of_columns: Vec<f64> = self.columns.iter().map(share).collect();
        let seen = of_cells.iter().chain(&of_cells).copied();
        let seen = seen.chain(of_columns.iter().flat_map(|share| std::iter::repeat_n(*share, levels)));
        let patches = self.mesh.patches().zip(seen).enumerate();
        patches
            .filter(|(index, (patch, seen))| {
                self.exitance[*index] > 0.0 && *seen > 0.0 && dot(minus(point, patch.corner), patch.normal) > SAME_M
            })
            .map(|(index, (patch, seen))| seen * self.patch_gives(index, &patch, point, normal))
            .sum()
    }

    fn patch_gives(&self, index: usize, patch: &Patch, point: Vector, normal: Vector) -> f64 {
        let reach = minus(patch.at(0.5, 0.5), point);
        if dot(reach, reach).sqrt() - patch.longest() > self.near_m {
            return self.exitance[index] * point_to_quad(point, normal, &patch.corners());
        }
        let end = |part: usize| part as f64 / PARTS as f64;
        let parts = (0..PARTS).flat_map(|j| (0..PARTS).map(move |i| (i, j)));
        let of_part = |(i, j): (usize, usize)| {
            let corners = patch.part([end(i), end(i + 1)], [end(j), end(j + 1)]).corners();
            self.fine[(index * PARTS + j) * PARTS + i] * point_to_quad(point, normal, &corners)
        };
        parts.map(of_part).sum()
    }
}

/// About `share` of the places of an axis, evenly chosen, the first and the last among them.
fn thinned(places: &[f64], share: f64) -> Vec<f64> {
    let last = places.len() - 1;
    let gaps = ((last as f64 * share).floor() as usize).max(1).min(last.max(1));
    let mut chosen: Vec<f64> = (0..=gaps).map(|gap| places[gap * last / gaps]).collect();
    chosen.dedup();
    chosen
}

/// A value between the nodes of a grid; nodes that lie outside the room are left out.
fn between(axes: &[Vec<f64>; 2], at_nodes: &[Option<f64>], point: [f64; 2]) -> f64 {
    let sides = [0, 1].map(|axis| {
        let list = &axes[axis];
        let upper = list.partition_point(|value| *value < point[axis]).clamp(1, list.len().max(2) - 1);
        let (low, high) = (list[upper - 1], list.get(upper).copied().unwrap_or(list[upper - 1] + 1.0));
        let share = ((point[axis] - low) / (high - low)).clamp(0.0, 1.0);
        [(upper - 1, 1.0 - share), (upper.min(list.len() - 1), share)]
    });
    let (mut sum, mut weight) = (0.0, 0.0);
    for (i, weight_x) in sides[0] {
        for (j, weight_y) in sides[1] {
            if let Some(value) = at_nodes[j * axes[0].len() + i] {
                // A trace of weight keeps a point whose only inner node is the far one.
                let share = weight_x * weight_y + 1e-9;
                sum += share * value;
                weight += share;
            }
        }
    }
    if weight > 0.0 { sum / weight } else { nearest(axes, at_nodes, point) }
}

fn nearest(axes: &[Vec<f64>; 2], at_nodes: &[Option<f64>], point: [f64; 2]) -> f64 {
    let count = axes[0].len();
    let far = |index: usize| (axes[0][index % count] - point[0]).hypot(axes[1][index / count] - point[1]);
    let known = at_nodes.iter().enumerate().filter_map(|(index, value)| Some((far(index), (*value)?)));
    known.min_by(|a, b| a.0.total_cmp(&b.0)).map_or(0.0, |(_, value)| value)
}

/// Configuration factors from points of one plane, each different one computed once.
struct Kernels<'a> {
    mesh: &'a Mesh,
    plane_z_m: f64,
    /// For each axis and place, the number of the place and each interval: alike are those of equal size and distance.
    along: [HashMap<u64, Vec<u32>>; 2],
    alike: [HashMap<[i64; 2], u32>; 2],
    cells: HashMap<[u32; 2], f64>,
    columns: HashMap<(bool, [i64; 3]), u32>,
    /// The level lines with those of the parts between them.
    fine_levels: Vec<f64>,
    kept: Vec<f64>,
    fresh: Vec<f64>,
}

impl<'a> Kernels<'a> {
    fn new(mesh: &'a Mesh, plane_z_m: f64) -> Self {
        let count = mesh.level_count() * PARTS;
        let fine_levels = (0..=count).map(|line| mesh.height() * line as f64 / count as f64).collect();
        Self {
            mesh,
            plane_z_m,
            along: Default::default(),
            alike: Default::default(),
            cells: HashMap::new(),
            columns: HashMap::new(),
            fine_levels,
            kept: Vec::new(),
            fresh: Vec::new(),
        }
    }

    fn along(&mut self, axis: usize, place: f64) -> Vec<u32> {
        let alike = &mut self.alike[axis];
        let number = |interval: &[f64; 2]| {
            let apart = (place - (interval[0] + interval[1]) / 2.0).abs();
            let key = [interval[1] - interval[0], apart].map(|value| (value / SAME_M).round() as i64);
            let next = alike.len() as u32;
            *alike.entry(key).or_insert(next)
        };
        let intervals = &self.mesh.intervals[axis];
        self.along[axis].entry(place.to_bits()).or_insert_with(|| intervals.iter().map(number).collect()).clone()
    }

    /// The factor of a cell of the ceiling.
    fn cell(&mut self, pair: [u32; 2], point: [f64; 2], cell: &super::mesh::Cell) -> f64 {
        if let Some(known) = self.cells.get(&pair) {
            return *known;
        }
        let rise = self.mesh.height() - self.plane_z_m;
        let [low, high] = [cell.low, cell.high].map(|corner| [corner[0] - point[0], corner[1] - point[1]]);
        let at = |dx: f64, dy: f64| point_parallel(dx, dy, rise);
        let factor = at(high[0], high[1]) - at(low[0], high[1]) - at(high[0], low[1]) + at(low[0], low[1]);
        if self.cells.len() < MOST_KEPT / 4 {
            self.cells.insert(pair, factor);
        }
        factor
    }

    /// The factors of a column's levels, or of the parts of its levels; those below the plane are 0, the one that the
    /// plane cuts counts above it. `span` is where the column lies along its wall from the point.
    fn column(&mut self, fine: bool, span: [f64; 2], away: f64) -> &[f64] {
        let levels = if fine { &self.fine_levels } else { &self.mesh.levels };
        let count = levels.len() - 1;
        let lengths = [span[1] - span[0], (span[0] + span[1]).abs(), away];
        let key = (fine, lengths.map(|length| (length / SAME_M).round() as i64));
        if let Some(start) = self.columns.get(&key) {
            return &self.kept[*start as usize..*start as usize + count];
        }
        let line = |z: f64| {
            let rise = (z - self.plane_z_m).max(0.0);
            point_perpendicular(span[1], rise, away) - point_perpendicular(span[0], rise, away)
        };
        self.fresh.clear();
        let mut below = line(levels[0]);
        for z in &levels[1..] {
            let here = line(*z);
            self.fresh.push((here - below).max(0.0));
            below = here;
        }
        if self.kept.len() < MOST_KEPT {
            self.columns.insert(key, self.kept.len() as u32);
            self.kept.extend_from_slice(&self.fresh);
        }
        &self.fresh
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    const UP: Vector = [0.0, 0.0, 1.0];

    fn l_room() -> Plan {
        Plan::outline(&[[0.0, 0.0], [4.0, 0.0], [4.0, 1.2], [1.6, 1.2], [1.6, 3.0], [0.0, 3.0]]).unwrap()
    }

    /// Parts as bright as their patch.
    fn alike(exitance: &[f64]) -> Vec<f64> {
        exitance.iter().flat_map(|value| [*value; PARTS * PARTS]).collect()
    }

    #[test]
    fn an_evenly_bright_room_gives_every_point_its_exitance() {
        for plan in [Plan::rectangle(4.0, 3.0).unwrap(), l_room()] {
            let mesh = Mesh::new(&plan, 2.4, 0.2);
            let ones = vec![1.0; mesh.patch_count()];
            let parts = alike(&ones);
            let gather = Gather::new(&plan, &mesh, &ones, &parts);
            for z in [0.0, 0.85, 1.2] {
                for value in gather.on_plane(z, &[[0.1, 0.1], [2.0, 0.7], [1.0, 1.03], [0.3, 2.9]]) {
                    assert!((value - 1.0).abs() < if plan.is_rectangle() { 1e-9 } else { 0.03 }, "{z}: {value}");
                }
            }
            let slanted = [0.6, 0.0, 0.8];
            let value = gather.at_point([0.5, 0.5, 1.0], slanted);
            assert!((value - 1.0).abs() < if plan.is_rectangle() { 1e-9 } else { 0.03 }, "{value}");
        }
    }

    #[test]
    fn both_ways_of_gathering_agree() {
        for plan in [Plan::rectangle(4.0, 3.0).unwrap(), l_room()] {
            let mesh = Mesh::new(&plan, 2.4, 0.3);
            let exitance: Vec<f64> = (0..mesh.patch_count()).map(|index| ((index * 7919) % 13) as f64).collect();
            let parts = alike(&exitance);
            let gather = Gather::new(&plan, &mesh, &exitance, &parts);
            for z in [0.0, 0.85] {
                let point = [0.47, 0.61];
                let wanted = gather.at_point([point[0], point[1], z], UP);
                let found = gather.on_plane(z, &[point])[0];
                assert!((found / wanted - 1.0).abs() < 1e-9, "{found} {wanted}");
            }
        }
    }

    #[test]
    fn many_points_are_drawn_between_fewer_with_little_error() {
        for plan in [Plan::rectangle(4.0, 3.0).unwrap(), l_room()] {
            let mesh = Mesh::new(&plan, 2.4, 0.5);
            let exitance: Vec<f64> = mesh.patches().map(|patch| 1.0 + patch.corner[0] + patch.corner[2]).collect();
            let parts = alike(&exitance);
            let gather = Gather::new(&plan, &mesh, &exitance, &parts);
            let grid = Grid { step_m: 0.03, border_m: 0.0 };
            let points = grid.points(&plan).unwrap();
            assert!(points.len() > MOST_GATHERED);
            let drawn = gather.on_grid(0.85, &grid, &points).unwrap();
            for index in (0..points.len()).step_by(97) {
                let exact = gather.on_plane(0.85, &points[index..=index])[0];
                assert!((drawn[index] / exact - 1.0).abs() < 0.01, "{:?}: {} {exact}", points[index], drawn[index]);
            }
        }
    }
}
