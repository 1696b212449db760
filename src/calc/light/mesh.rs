//! The surfaces of a room cut into patches: floor and ceiling into cells, walls into columns of equal levels.
//!
//! Cells and columns are cut along the same lines, and every wall stands on one of them, so that no patch reaches past
//! the plane of a wall. The vertical walls are cut into equal levels, which the exchange of light makes use of.

use std::collections::HashMap;

use super::exchange::Vector;
use crate::calc::plan::Plan;

/// More patches than this are made coarser: cells of the floor, columns of the walls, levels of a column.
const MOST_CELLS: f64 = 1600.0;
const MOST_COLUMNS: f64 = 200.0;
const MOST_LEVELS: f64 = 30.0;

/// A cell of the floor, and of the ceiling above it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// Its interval along x and along y.
    pub interval: [usize; 2],
    /// Lower corner in metres.
    pub low: [f64; 2],
    /// Upper corner in metres.
    pub high: [f64; 2],
}

/// A strip of wall from floor to ceiling.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Column {
    /// The axis that its wall runs along.
    pub axis: usize,
    /// Its interval along that axis.
    pub interval: usize,
    /// Its ends along that axis, in metres.
    pub span: [f64; 2],
    /// Where the wall stands on the other axis, in metres.
    pub place: f64,
    /// The sign of the wall's normal into the room along the other axis.
    pub inward: f64,
}

/// One patch in space.
#[derive(Debug, Clone, Copy)]
pub struct Patch {
    /// A corner.
    pub corner: Vector,
    /// The edges from that corner.
    pub edges: [Vector; 2],
    /// The unit normal into the room.
    pub normal: Vector,
}

impl Patch {
    /// The place at shares `u` and `v` of the edges.
    #[must_use]
    pub fn at(&self, u: f64, v: f64) -> Vector {
        std::array::from_fn(|axis| self.corner[axis] + u * self.edges[0][axis] + v * self.edges[1][axis])
    }

    /// The part between shares `u` of the first edge and `v` of the second.
    #[must_use]
    pub fn part(&self, u: [f64; 2], v: [f64; 2]) -> Self {
        let [first, second] = self.edges;
        let edges = [first.map(|e| e * (u[1] - u[0])), second.map(|e| e * (v[1] - v[0]))];
        Self { corner: self.at(u[0], v[0]), edges, normal: self.normal }
    }

    /// The four corners in turn.
    #[must_use]
    pub fn corners(&self) -> [Vector; 4] {
        [self.at(0.0, 0.0), self.at(1.0, 0.0), self.at(1.0, 1.0), self.at(0.0, 1.0)]
    }

    /// The longer edge, in metres; the edges of a patch run along the axes.
    #[must_use]
    pub fn longest(&self) -> f64 {
        self.edges.iter().flatten().copied().fold(0.0, |most, part| most.max(part.abs()))
    }
}

/// The patches of a room. Values over all patches are kept in one list: floor cells, ceiling cells, then the levels of
/// each column from the floor up.
#[derive(Debug, Clone)]
pub struct Mesh {
    /// The intervals along x and along y.
    pub intervals: [Vec<[f64; 2]>; 2],
    /// Heights of the level lines, from 0 to the ceiling.
    pub levels: Vec<f64>,
    /// The cells inside the plan.
    pub cells: Vec<Cell>,
    /// The columns of all walls.
    pub columns: Vec<Column>,
}

impl Mesh {
    /// Cuts a room of the given height into patches of about `patch_m`, or larger ones where there would be too many.
    #[must_use]
    pub fn new(plan: &Plan, height_m: f64, patch_m: f64) -> Self {
        let coarse = (plan.area() / MOST_CELLS).sqrt().max(plan.perimeter() / MOST_COLUMNS);
        let patch = patch_m.max(coarse);
        let intervals = [0, 1].map(|axis| cut(&plan.breaks(axis), patch));
        let level_count = (height_m / patch.max(height_m / MOST_LEVELS) - 1e-6).ceil().max(2.0) as usize;
        let levels = (0..=level_count).map(|index| height_m * index as f64 / level_count as f64).collect();
        let mut cells = Vec::new();
        for (j, y) in intervals[1].iter().enumerate() {
            for (i, x) in intervals[0].iter().enumerate() {
                if plan.contains((x[0] + x[1]) / 2.0, (y[0] + y[1]) / 2.0) {
                    cells.push(Cell { interval: [i, j], low: [x[0], y[0]], high: [x[1], y[1]] });
                }
            }
        }
        let mut columns = Vec::new();
        for wall in plan.walls() {
            let (axis, [low, high]) = (wall.axis(), wall.span());
            for (interval, span) in intervals[axis].iter().enumerate() {
                if span[0] >= low - 1e-9 && span[1] <= high + 1e-9 {
                    let (place, inward) = (wall.place(), wall.inward());
                    columns.push(Column { axis, interval, span: *span, place, inward });
                }
            }
        }
        Self { intervals, levels, cells, columns }
    }

    /// How many levels a column has.
    #[must_use]
    pub fn level_count(&self) -> usize {
        self.levels.len() - 1
    }

    /// How many patches there are.
    #[must_use]
    pub fn patch_count(&self) -> usize {
        2 * self.cells.len() + self.columns.len() * self.level_count()
    }

    /// The height of the ceiling, in metres.
    #[must_use]
    pub fn height(&self) -> f64 {
        self.levels[self.levels.len() - 1]
    }

    /// Where in the list of values the walls begin.
    #[must_use]
    pub fn walls_from(&self) -> usize {
        2 * self.cells.len()
    }

    /// All patches in the order of the values.
    pub fn patches(&self) -> impl Iterator<Item = Patch> + '_ {
        let flat = |z: f64, up: f64| {
            self.cells.iter().map(move |cell| Patch {
                corner: [cell.low[0], cell.low[1], z],
                edges: [[cell.high[0] - cell.low[0], 0.0, 0.0], [0.0, cell.high[1] - cell.low[1], 0.0]],
                normal: [0.0, 0.0, up],
            })
        };
        let upright = self.columns.iter().flat_map(|column| {
            let across = 1 - column.axis;
            self.levels.windows(2).map(move |level| {
                let (mut corner, mut along, mut normal) = ([0.0, 0.0, level[0]], [0.0; 3], [0.0; 3]);
                corner[column.axis] = column.span[0];
                corner[across] = column.place;
                along[column.axis] = column.span[1] - column.span[0];
                normal[across] = column.inward;
                Patch { corner, edges: [along, [0.0, 0.0, level[1] - level[0]]], normal }
            })
        });
        flat(0.0, 1.0).chain(flat(self.height(), -1.0)).chain(upright)
    }

    /// For every patch the patches before and after it on its own surface, along its first and its second edge.
    #[must_use]
    pub fn neighbours(&self) -> Vec<[[Option<usize>; 2]; 2]> {
        let (cells, levels) = (self.cells.len(), self.level_count());
        let at: HashMap<[usize; 2], usize> =
            self.cells.iter().zip(0..).map(|(cell, index)| (cell.interval, index)).collect();
        let mut all = Vec::with_capacity(self.patch_count());
        for surface in 0..2 {
            all.extend(self.cells.iter().map(|cell| {
                [0, 1].map(|axis| {
                    [-1, 1].map(|step| {
                        let mut interval = cell.interval;
                        interval[axis] = interval[axis].checked_add_signed(step)?;
                        at.get(&interval).map(|index| surface * cells + index)
                    })
                })
            }));
        }
        let column = |index: Option<usize>| index.and_then(|index| Some((index, self.columns.get(index)?)));
        for (index, here) in self.columns.iter().enumerate() {
            let same_wall = |(other, column): (usize, &Column)| {
                let alike = (column.axis, column.place, column.inward) == (here.axis, here.place, here.inward);
                (alike && column.interval.abs_diff(here.interval) == 1).then_some(other)
            };
            let beside = [column(index.checked_sub(1)), column(index.checked_add(1))].map(|c| c.and_then(same_wall));
            all.extend((0..levels).map(|level| {
                let patch = |column: usize, level: usize| self.walls_from() + column * levels + level;
                let vertical = [level.checked_sub(1), (level + 1 < levels).then_some(level + 1)];
                [beside.map(|c| c.map(|c| patch(c, level))), vertical.map(|l| l.map(|l| patch(index, l)))]
            }));
        }
        all
    }

    /// The areas of all patches, in square metres.
    #[must_use]
    pub fn areas(&self) -> Vec<f64> {
        let edge = |edge: Vector| edge.iter().sum::<f64>();
        self.patches().map(|patch| edge(patch.edges[0]) * edge(patch.edges[1])).collect()
    }
}

/// Cuts each stretch between breaks into equal intervals of at most `step` (within a millionth).
fn cut(breaks: &[f64], step: f64) -> Vec<[f64; 2]> {
    let mut intervals = Vec::new();
    for pair in breaks.windows(2) {
        let count = ((pair[1] - pair[0]) / step - 1e-6).ceil().max(1.0) as usize;
        let line = |index: usize| pair[0] + (pair[1] - pair[0]) * index as f64 / count as f64;
        intervals.extend((0..count).map(|index| [line(index), line(index + 1)]));
    }
    intervals
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn the_patches_cover_every_surface_once() {
        for (plan, count) in [
            (Plan::rectangle(4.0, 3.0).unwrap(), 2 * 1200 + 140 * 24),
            (
                Plan::outline(&[[0.0, 0.0], [4.0, 0.0], [4.0, 1.0], [1.0, 1.0], [1.0, 3.0], [0.0, 3.0]]).unwrap(),
                2 * 600 + 140 * 24,
            ),
        ] {
            let mesh = Mesh::new(&plan, 2.4, 0.1);
            assert_eq!(mesh.patch_count(), count);
            let areas = mesh.areas();
            let flat: f64 = areas[..mesh.walls_from()].iter().sum();
            let walls: f64 = areas[mesh.walls_from()..].iter().sum();
            assert!((flat - 2.0 * plan.area()).abs() < 1e-9);
            assert!((walls - 2.4 * plan.perimeter()).abs() < 1e-9);
            assert!(areas.iter().all(|area| *area > 0.0));
        }
    }

    #[test]
    fn neighbours_lie_next_to_each_other() {
        let plan = Plan::outline(&[[0.0, 0.0], [4.0, 0.0], [4.0, 1.0], [1.0, 1.0], [1.0, 3.0], [0.0, 3.0]]).unwrap();
        let mesh = Mesh::new(&plan, 2.4, 0.3);
        let patches: Vec<Patch> = mesh.patches().collect();
        let mut found = 0;
        for (index, beside) in mesh.neighbours().iter().enumerate() {
            for (edge, pair) in beside.iter().enumerate() {
                for (side, other) in pair.iter().enumerate() {
                    let Some(other) = other else { continue };
                    let (here, there) = (patches[index], patches[*other]);
                    let (first, second) = if side == 0 { (there, here) } else { (here, there) };
                    let end = if edge == 0 { first.at(1.0, 0.0) } else { first.at(0.0, 1.0) };
                    assert!((0..3).all(|axis| (end[axis] - second.corner[axis]).abs() < 1e-9));
                    assert_eq!(here.normal, there.normal);
                    found += 1;
                }
            }
        }
        assert!(found > 2 * patches.len());
    }

    #[test]
    fn huge_rooms_stay_within_the_budget() {
        let mesh = Mesh::new(&Plan::rectangle(40.0, 40.0).unwrap(), 20.0, 0.01);
        assert!(mesh.patch_count() < 10_000, "{}", mesh.patch_count());
    }
}
