//! The plan of a room: a rectangle or a rectilinear outline, with what stands in the way of a look across it.
//!
//! All figures are metres. A plan is checked once, when it is made; everything after that can rely on it.

use crate::case::CaseError;
use crate::quantity::{Length, plain};

/// The longest side of a room that is accepted, in metres.
pub const MOST_SIDE_M: f64 = 40.0;
/// The shortest wall, and the shortest side of a room, that is accepted, in metres.
const LEAST_WALL_M: f64 = 0.01;
/// The most corners that an outline may have.
const MOST_CORNERS: usize = 40;
/// Two places nearer than this are one place, in metres.
const TOLERANCE_M: f64 = 1e-6;
/// How far a look may graze along a wall without being stopped, in metres.
const GRAZE_M: f64 = 1e-9;

/// A checked plan with axis-parallel walls, its corners anticlockwise.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    corners: Vec<[f64; 2]>,
    low: [f64; 2],
    high: [f64; 2],
    blockers: Vec<Block>,
}

/// A rectangle in plan that is no room.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Block {
    low: [f64; 2],
    high: [f64; 2],
}

/// One wall in plan; the room is on its left when walked from `from` to `to`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wall {
    /// Where the wall begins.
    pub from: [f64; 2],
    /// Where it ends.
    pub to: [f64; 2],
}

impl Wall {
    /// The axis that the wall runs along: 0 for x, 1 for y.
    #[must_use]
    pub fn axis(&self) -> usize {
        usize::from(self.from[0] == self.to[0])
    }

    /// The sign of the wall's normal, which points into the room, along the other axis.
    #[must_use]
    pub fn inward(&self) -> f64 {
        match self.axis() {
            0 => (self.to[0] - self.from[0]).signum(),
            _ => -(self.to[1] - self.from[1]).signum(),
        }
    }

    /// The wall's lower and upper end along its axis, in metres.
    #[must_use]
    pub fn span(&self) -> [f64; 2] {
        let axis = self.axis();
        [self.from[axis].min(self.to[axis]), self.from[axis].max(self.to[axis])]
    }

    /// The wall's place along the other axis, in metres.
    #[must_use]
    pub fn place(&self) -> f64 {
        self.from[1 - self.axis()]
    }

    /// The wall's length in metres.
    #[must_use]
    pub fn length(&self) -> f64 {
        let [low, high] = self.span();
        high - low
    }

    fn distance(&self, x: f64, y: f64) -> f64 {
        let at = [x, y];
        let axis = self.axis();
        let [low, high] = self.span();
        let along = (low - at[axis]).max(at[axis] - high).max(0.0);
        along.hypot(at[1 - axis] - self.place())
    }
}

impl Plan {
    /// The plan of a case's room: `length` and `width`, or `outline`.
    ///
    /// # Errors
    /// [`CaseError`] at the key below `room`, where the plan is missing, given twice, or makes no sense.
    pub fn of_room(
        length: Option<Length>,
        width: Option<Length>,
        outline: Option<&[[Length; 2]]>,
    ) -> Result<Self, CaseError> {
        match (length, width, outline) {
            (Some(length), Some(width), None) => Self::rectangle(length.0, width.0),
            (None, None, Some(outline)) => {
                let corners: Vec<[f64; 2]> = outline.iter().map(|corner| corner.map(|length| length.0)).collect();
                Self::outline(&corners)
            }
            (_, _, Some(_)) => Err(CaseError::at("room", "give `length` and `width`, or `outline`, not both")),
            _ => Err(CaseError::at("room", "expected `length` and `width`, or `outline`")),
        }
    }

    /// A rectangular room with one corner at the origin; sides in metres.
    ///
    /// # Errors
    /// [`CaseError`] at `room.length` or `room.width` for a side that is no length of a room.
    pub fn rectangle(length_m: f64, width_m: f64) -> Result<Self, CaseError> {
        for (key, side) in [("room.length", length_m), ("room.width", width_m)] {
            if !(LEAST_WALL_M..=MOST_SIDE_M).contains(&side) {
                let message = format!("{} m is no side of a room: expected 0.01 m to 40 m", plain(side, 3));
                return Err(CaseError::at(key, message));
            }
        }
        let corners = vec![[0.0, 0.0], [length_m, 0.0], [length_m, width_m], [0.0, width_m]];
        Ok(Self { corners, low: [0.0; 2], high: [length_m, width_m], blockers: Vec::new() })
    }

    /// A rectilinear room from its corners, anticlockwise, in metres.
    ///
    /// # Errors
    /// [`CaseError`] at `room.outline` for too few or too many corners, a wall that is not parallel to an axis, walls
    /// that cross or touch, corners that run clockwise, or a room longer than 40 m.
    pub fn outline(corners: &[[f64; 2]]) -> Result<Self, CaseError> {
        let refuse = |message: String| Err(CaseError::at("room.outline", message));
        if !(4..=MOST_CORNERS).contains(&corners.len()) {
            return refuse(format!("{} corners found; expected 4 to {MOST_CORNERS}", corners.len()));
        }
        if let Some(index) = corners.iter().position(|corner| corner.iter().any(|c| c.is_nan() || c.abs() > 1000.0)) {
            return refuse(format!("corner {} is no place within 1000 m of the origin", index + 1));
        }
        let corners = match true_corners(corners) {
            Ok(corners) => corners,
            Err(message) => return refuse(message),
        };
        if let Some((a, b)) = crossing(&corners) {
            return refuse(format!("the walls after corners {} and {} cross or touch", a + 1, b + 1));
        }
        if signed_area(&corners) < 0.0 {
            return refuse(String::from("the corners run clockwise; list them anticlockwise"));
        }
        let bound =
            |pick: fn(f64, f64) -> f64, axis: usize| corners.iter().map(|c| c[axis]).reduce(pick).unwrap_or(0.0);
        let low = [bound(f64::min, 0), bound(f64::min, 1)];
        let high = [bound(f64::max, 0), bound(f64::max, 1)];
        if (0..2).any(|axis| high[axis] - low[axis] > MOST_SIDE_M) {
            return refuse(String::from("the room is longer than 40 m"));
        }
        let mut plan = Self { corners, low, high, blockers: Vec::new() };
        plan.blockers = plan.find_blockers();
        Ok(plan)
    }

    /// The corners, anticlockwise; corners in the middle of a straight wall are left out.
    #[must_use]
    pub fn corners(&self) -> &[[f64; 2]] {
        &self.corners
    }

    /// The lower and the upper corner of the box around the plan.
    #[must_use]
    pub fn bounds(&self) -> ([f64; 2], [f64; 2]) {
        (self.low, self.high)
    }

    /// The walls, in the order of the corners.
    pub fn walls(&self) -> impl Iterator<Item = Wall> + '_ {
        let next = self.corners.iter().cycle().skip(1);
        self.corners.iter().zip(next).map(|(from, to)| Wall { from: *from, to: *to })
    }

    /// The floor area in square metres.
    #[must_use]
    pub fn area(&self) -> f64 {
        signed_area(&self.corners)
    }

    /// The length of all walls in metres.
    #[must_use]
    pub fn perimeter(&self) -> f64 {
        self.walls().map(|wall| wall.length()).sum()
    }

    /// Whether the room is a plain rectangle, where every place sees every other.
    #[must_use]
    pub fn is_rectangle(&self) -> bool {
        self.blockers.is_empty()
    }

    /// Whether a place lies in the room or on its walls.
    #[must_use]
    pub fn contains(&self, x: f64, y: f64) -> bool {
        let within = |low: [f64; 2], high: [f64; 2], margin: f64| {
            x > low[0] - margin && x < high[0] + margin && y > low[1] - margin && y < high[1] + margin
        };
        within(self.low, self.high, GRAZE_M)
            && !self.blockers.iter().any(|block| within(block.low, block.high, -GRAZE_M))
    }

    /// The distance from a place to the nearest wall in metres, whichever side of it the place is on.
    #[must_use]
    pub fn distance_to_walls(&self, x: f64, y: f64) -> f64 {
        self.walls().map(|wall| wall.distance(x, y)).fold(f64::INFINITY, f64::min)
    }

    /// Whether two places of the room see each other; a look along a wall counts as seeing.
    #[must_use]
    pub fn sees(&self, a: [f64; 2], b: [f64; 2]) -> bool {
        !self.blockers.iter().any(|block| block.stops(a, b))
    }

    /// Whether everything in a box sees everything else in it, because nothing stands in the box.
    ///
    /// A cheap test that spares most of the looks: `false` only says that the looks have to be tried.
    #[must_use]
    pub fn is_clear(&self, low: [f64; 2], high: [f64; 2]) -> bool {
        !self
            .blockers
            .iter()
            .any(|block| (0..2).all(|axis| block.low[axis] < high[axis] && low[axis] < block.high[axis]))
    }

    /// The places along an axis where a wall across it stands, ascending, in metres.
    #[must_use]
    pub fn breaks(&self, axis: usize) -> Vec<f64> {
        let mut places: Vec<f64> = self.corners.iter().map(|corner| corner[axis]).collect();
        places.sort_by(f64::total_cmp);
        places.dedup();
        places
    }

    /// The largest rectangles of the box around the plan that hold no room. They overlap, so that a look along the edge
    /// of one through the middle of the solid runs through the inside of another.
    fn find_blockers(&self) -> Vec<Block> {
        let (xs, ys) = (self.breaks(0), self.breaks(1));
        let mid = |places: &[f64], index: usize| (places[index] + places[index + 1]) / 2.0;
        let solid: Vec<Vec<bool>> = (0..xs.len() - 1)
            .map(|i| (0..ys.len() - 1).map(|j| !self.surrounds(mid(&xs, i), mid(&ys, j))).collect())
            .collect();
        let all_solid = |x: [usize; 2], y: [usize; 2]| (x[0]..x[1]).all(|i| (y[0]..y[1]).all(|j| solid[i][j]));
        let mut found = Vec::new();
        for i in 0..xs.len() - 1 {
            for j in 0..ys.len() - 1 {
                // From each lower corner, one rectangle per width, as high as it goes.
                let mut top = ys.len() - 1;
                for right in i + 1..xs.len() {
                    let reach = (j..top).find(|row| !solid[right - 1][*row]).unwrap_or(top);
                    if reach == j {
                        break;
                    }
                    top = reach;
                    let wider = right < xs.len() - 1 && all_solid([right, right + 1], [j, top]);
                    let further = i > 0 && all_solid([i - 1, i], [j, top]);
                    let lower = j > 0 && all_solid([i, right], [j - 1, j]);
                    if !(wider || further || lower) {
                        found.push(Block { low: [xs[i], ys[j]], high: [xs[right], ys[top]] });
                    }
                }
            }
        }
        found
    }

    /// Whether the outline goes round a place that is on no wall (by counting walls to its right).
    fn surrounds(&self, x: f64, y: f64) -> bool {
        let right = self.walls().filter(|wall| {
            let [low, high] = wall.span();
            wall.axis() == 1 && wall.place() > x && low < y && y < high
        });
        right.count() % 2 == 1
    }
}

impl Block {
    /// Whether the straight line from `a` to `b` runs through the inside (Liang and Barsky's clipping).
    fn stops(&self, a: [f64; 2], b: [f64; 2]) -> bool {
        let (mut enter, mut leave) = (0.0f64, 1.0f64);
        for axis in 0..2 {
            let (low, high) = (self.low[axis] + GRAZE_M, self.high[axis] - GRAZE_M);
            let (from, step) = (a[axis], b[axis] - a[axis]);
            if step == 0.0 {
                if from <= low || from >= high {
                    return false;
                }
            } else {
                let (first, last) = ((low - from) / step, (high - from) / step);
                enter = enter.max(first.min(last));
                leave = leave.min(first.max(last));
            }
        }
        enter < leave
    }
}

/// The corners proper, each snapped to the walls it stands on: corners along a straight wall are dropped.
fn true_corners(corners: &[[f64; 2]]) -> Result<Vec<[f64; 2]>, String> {
    let mut snapped: Vec<[f64; 2]> = corners.to_vec();
    let count = snapped.len();
    let mut axes = Vec::with_capacity(count);
    for index in 0..count {
        let (from, to) = (snapped[index], snapped[(index + 1) % count]);
        let step = [to[0] - from[0], to[1] - from[1]];
        let axis = usize::from(step[0].abs() < step[1].abs());
        if step[1 - axis].abs() > TOLERANCE_M {
            return Err(format!("the wall after corner {} is parallel to neither axis", index + 1));
        }
        if step[axis].abs() < LEAST_WALL_M {
            return Err(format!("the wall after corner {} is shorter than 10 mm", index + 1));
        }
        snapped[(index + 1) % count][1 - axis] = from[1 - axis];
        axes.push(axis);
    }
    for index in 0..count {
        let (before, here, after) =
            (snapped[(index + count - 1) % count], snapped[index], snapped[(index + 1) % count]);
        let axis = axes[index];
        if axis == axes[(index + count - 1) % count] && (here[axis] - before[axis]) * (after[axis] - here[axis]) < 0.0 {
            return Err(format!("the outline turns back on itself at corner {}", index + 1));
        }
    }
    let turns = |index: &usize| axes[*index] != axes[(*index + count - 1) % count];
    let proper: Vec<[f64; 2]> = (0..count).filter(turns).map(|index| snapped[index]).collect();
    // Snapping the first corner last may have moved it; the walls that meet there must still be straight.
    let straight = (0..proper.len()).all(|index| {
        let (from, to) = (proper[index], proper[(index + 1) % proper.len()]);
        from[0] == to[0] || from[1] == to[1]
    });
    match (proper.len() >= 4, straight) {
        (true, true) => Ok(proper),
        (true, false) => Err(String::from("the walls do not meet at the first corner")),
        (false, _) => Err(String::from("the outline encloses no room")),
    }
}

/// The first two walls that are no neighbours and yet share a place.
fn crossing(corners: &[[f64; 2]]) -> Option<(usize, usize)> {
    let count = corners.len();
    let extent = |index: usize| {
        let (from, to) = (corners[index], corners[(index + 1) % count]);
        ([from[0].min(to[0]), from[1].min(to[1])], [from[0].max(to[0]), from[1].max(to[1])])
    };
    (0..count).flat_map(|a| (a + 2..count).map(move |b| (a, b))).find(|(a, b)| {
        let neighbours = *a == 0 && *b == count - 1;
        let ((low_a, high_a), (low_b, high_b)) = (extent(*a), extent(*b));
        let share =
            (0..2).all(|axis| low_a[axis] <= high_b[axis] + TOLERANCE_M && low_b[axis] <= high_a[axis] + TOLERANCE_M);
        !neighbours && share
    })
}

/// Twice-signed trapezium sum, halved: positive where the corners run anticlockwise.
fn signed_area(corners: &[[f64; 2]]) -> f64 {
    let next = corners.iter().cycle().skip(1);
    corners.iter().zip(next).map(|(a, b)| a[0] * b[1] - b[0] * a[1]).sum::<f64>() / 2.0
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn l_room() -> Plan {
        Plan::outline(&[[0.0, 0.0], [5.0, 0.0], [5.0, 2.0], [2.0, 2.0], [2.0, 4.0], [0.0, 4.0]]).unwrap()
    }

    #[test]
    fn a_rectangle_has_four_walls_that_face_inward() {
        let plan = Plan::rectangle(4.2, 3.1).unwrap();
        assert!((plan.area() - 13.02).abs() < 1e-12 && (plan.perimeter() - 14.6).abs() < 1e-12);
        let walls: Vec<Wall> = plan.walls().collect();
        let inward: Vec<f64> = walls.iter().map(Wall::inward).collect();
        assert_eq!(inward, [1.0, -1.0, -1.0, 1.0]);
        assert!((plan.distance_to_walls(1.0, 2.9) - 0.2).abs() < 1e-12);
        assert!(plan.is_rectangle() && plan.sees([0.0, 0.0], [4.2, 3.1]));
    }

    #[test]
    fn an_l_room_hides_one_arm_from_the_other() {
        let plan = l_room();
        assert!((plan.area() - 14.0).abs() < 1e-12);
        assert!(plan.contains(1.0, 3.0) && !plan.contains(3.0, 3.0) && plan.contains(2.0, 3.0));
        assert!(!plan.sees([1.9, 3.9], [4.9, 1.9]));
        assert!(plan.sees([1.0, 3.0], [3.0, 1.0]), "the look that touches the corner passes");
        assert!(plan.sees([0.1, 0.1], [4.9, 0.1]));
        assert!((plan.distance_to_walls(2.5, 1.5) - 0.5).abs() < 1e-12);
        assert!((plan.distance_to_walls(1.5, 1.5) - 0.5f64.hypot(0.5)).abs() < 1e-12);
    }

    #[test]
    fn a_look_along_the_seam_of_two_solid_parts_is_stopped() {
        // A chimney breast beside a nib: solid on both sides of x = 2 up to y = 1, and the look runs along x = 2.
        let plan = Plan::outline(&[
            [0.0, 0.0],
            [1.0, 0.0],
            [1.0, 1.0],
            [2.0, 1.0],
            [2.0, 1.5],
            [3.0, 1.5],
            [3.0, 0.0],
            [4.0, 0.0],
            [4.0, 3.0],
            [0.0, 3.0],
        ])
        .unwrap();
        assert!(!plan.sees([0.5, 0.5], [3.5, 0.5]) && plan.sees([0.5, 2.0], [3.5, 2.0]));
        assert!(!plan.sees([0.0, 1.0], [4.0, 1.0]));
    }

    #[test]
    fn a_corner_in_a_straight_wall_is_no_corner() {
        let plan = Plan::outline(&[[0.0, 0.0], [2.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.0, 3.0]]).unwrap();
        assert_eq!(plan.corners().len(), 4);
        assert!(plan.is_rectangle());
    }

    #[test]
    fn plans_that_make_no_sense_are_refused_in_words() {
        let refused = |corners: &[[f64; 2]]| Plan::outline(corners).unwrap_err().to_string();
        assert!(refused(&[[0.0, 0.0], [4.0, 0.0], [4.0, 3.0]]).contains("3 corners"));
        assert!(refused(&[[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.5, 3.0]]).contains("neither axis"));
        assert!(refused(&[[0.0, 0.0], [0.0, 3.0], [4.0, 3.0], [4.0, 0.0]]).contains("clockwise"));
        assert!(refused(&[[0.0, 0.0], [4.0, 0.0], [4.0, f64::NAN], [0.0, 3.0]]).contains("corner 3"));
        assert!(refused(&[[0.0, 0.0], [400.0, 0.0], [400.0, 3.0], [0.0, 3.0]]).contains("40 m"));
        let crossed = [[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [1.0, 3.0], [1.0, -1.0], [0.0, -1.0]];
        assert!(refused(&crossed).contains("cross"));
        let back = [[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [2.0, 3.0], [3.0, 3.0], [3.0, 4.0], [0.0, 4.0]];
        assert!(refused(&back).contains("turns back"));
        assert!(Plan::rectangle(0.0, 3.0).is_err() && Plan::rectangle(f64::NAN, 3.0).is_err());
        assert!(Plan::rectangle(1000.0, 3.0).unwrap_err().path == "room.length");
    }
}
