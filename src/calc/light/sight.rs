//! How much of a strip or cell can be seen in plan: shares of sight lines between a few places of each.
//!
//! Walls reach from floor to ceiling, so that plan alone decides who sees whom.

use super::mesh::{Cell, Column, Mesh};
use crate::calc::plan::Plan;

/// Places along a unit interval, evenly spread: the middles of its thirds.
const THIRDS: [f64; 3] = [1.0 / 6.0, 0.5, 5.0 / 6.0];

/// Something in plan that is looked at: a cell, the strip of a column, or a place.
#[derive(Debug, Clone)]
pub struct Target {
    low: [f64; 2],
    high: [f64; 2],
    places: Vec<[f64; 2]>,
}

impl Target {
    /// A single place.
    #[must_use]
    pub fn place(at: [f64; 2]) -> Self {
        Self { low: at, high: at, places: vec![at] }
    }

    /// A cell, looked at in nine places.
    #[must_use]
    pub fn cell(cell: &Cell) -> Self {
        let at = |axis: usize, share: f64| cell.low[axis] + share * (cell.high[axis] - cell.low[axis]);
        let places = THIRDS.iter().flat_map(|u| THIRDS.iter().map(|v| [at(0, *u), at(1, *v)])).collect();
        Self { low: cell.low, high: cell.high, places }
    }

    /// A column, looked at in three places.
    #[must_use]
    pub fn column(column: &Column) -> Self {
        let at = |share: f64| {
            let mut place = [column.place; 2];
            place[column.axis] = column.span[0] + share * (column.span[1] - column.span[0]);
            place
        };
        Self { low: at(0.0), high: at(1.0), places: THIRDS.iter().map(|share| at(*share)).collect() }
    }

    /// The share of sight lines between two targets that nothing stops.
    #[must_use]
    pub fn share_seen(&self, other: &Self, plan: &Plan) -> f64 {
        let low = [0, 1].map(|axis| self.low[axis].min(other.low[axis]));
        let high = [0, 1].map(|axis| self.high[axis].max(other.high[axis]));
        if plan.is_clear(low, high) {
            return 1.0;
        }
        let looks = self.places.iter().flat_map(|a| other.places.iter().map(|b| plan.sees(*a, *b)));
        looks.filter(|seen| *seen).count() as f64 / (self.places.len() * other.places.len()) as f64
    }
}

/// The targets of a mesh: its cells and its columns, in order.
#[must_use]
pub fn targets(mesh: &Mesh) -> (Vec<Target>, Vec<Target>) {
    (mesh.cells.iter().map(Target::cell).collect(), mesh.columns.iter().map(Target::column).collect())
}
