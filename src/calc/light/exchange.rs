//! Closed forms for the exchange of diffuse light: between rectangles, and from a rectangle or polygon to a point.
//!
//! Between two rectangles the figure is the exchange area: area times configuration factor, the same both ways. Each is
//! an alternating sum of one antiderivative over the rectangles' edges. Lengths are in metres.

use std::f64::consts::PI;

/// A place or direction in space.
pub type Vector = [f64; 3];

/// Antiderivative for two rectangles in parallel planes at the distance `gap`: differences along both axes.
#[must_use]
pub fn parallel(dx: f64, dy: f64, gap: f64) -> f64 {
    let square = gap * gap;
    let (across, along) = ((dx * dx + square).sqrt(), (dy * dy + square).sqrt());
    let logarithm = square / 2.0 * (dx * dx + dy * dy + square).ln();
    (dy * across * (dy / across).atan() + dx * along * (dx / along).atan() - logarithm) / (2.0 * PI)
}

/// Antiderivative for two rectangles in perpendicular planes: the difference along the line where the planes meet, and
/// the sum of the squares of the two distances from that line.
#[must_use]
pub fn perpendicular(along: f64, squares: f64) -> f64 {
    let times_log = |value: f64| if value > 0.0 { value * value.ln() } else { 0.0 };
    let (u, v) = (along * along, squares);
    let root = v.sqrt();
    let angle = if root > 0.0 { along * root * (along / root).atan() } else { 0.0 };
    let joint = if u + v > 0.0 { (v - u) * (u + v).ln() } else { 0.0 };
    (angle - 0.25 * (joint - times_log(v) + times_log(u))) / (2.0 * PI)
}

/// The sum of `of` over the differences of two pairs of edges, with the signs of an integral over both intervals.
#[must_use]
pub fn over_both(a: [f64; 2], b: [f64; 2], of: impl Fn(f64) -> f64) -> f64 {
    of(a[1] - b[0]) + of(a[0] - b[1]) - of(a[0] - b[0]) - of(a[1] - b[1])
}

/// The exchange area of two rectangles in parallel planes that face each other at the distance `gap`; each rectangle is
/// given by its edges along the two common axes.
#[must_use]
pub fn parallel_rectangles(a: [[f64; 2]; 2], b: [[f64; 2]; 2], gap: f64) -> f64 {
    over_both(a[0], b[0], |dx| over_both(a[1], b[1], |dy| parallel(dx, dy, gap)))
}

/// The exchange area of two rectangles in perpendicular planes: edges along the line where the planes meet, and edges
/// in distance from that line.
#[must_use]
pub fn perpendicular_rectangles(along: [[f64; 2]; 2], from_line: [[f64; 2]; 2]) -> f64 {
    let [a, b] = from_line;
    let at = |p: f64, q: f64| over_both(along[0], along[1], |step| perpendicular(step, p * p + q * q));
    // The inner sum is that of an integral over both intervals with its sign turned.
    at(a[1], b[0]) + at(a[0], b[1]) - at(a[0], b[0]) - at(a[1], b[1])
}

/// Antiderivative for a point and a rectangle in a plane parallel to its surface, `distance` away.
#[must_use]
pub fn point_parallel(dx: f64, dy: f64, distance: f64) -> f64 {
    let square = distance * distance;
    let (across, along) = ((dx * dx + square).sqrt(), (dy * dy + square).sqrt());
    (dx / across * (dy / across).atan() + dy / along * (dx / along).atan()) / (2.0 * PI)
}

/// Antiderivative for a point and a rectangle in a plane perpendicular to its surface, `distance` away: the difference
/// along the rectangle, and the rise above the point's surface.
#[must_use]
pub fn point_perpendicular(along: f64, rise: f64, distance: f64) -> f64 {
    let slant = (distance * distance + rise * rise).sqrt();
    if slant == 0.0 { 0.0 } else { -distance / slant * (along / slant).atan() / (2.0 * PI) }
}

/// The configuration factor of a flat polygon of four corners, seen from a point with the unit normal `normal`
/// (Lambert's sum over the edges); what lies behind the point's surface is cut away.
///
/// The corners may run either way round; whether the polygon faces the point is the caller's question.
#[must_use]
pub fn point_to_quad(point: Vector, normal: Vector, corners: &[Vector; 4]) -> f64 {
    let mut kept = [[0.0; 3]; 8];
    let mut count = 0;
    let reach = corners.map(|corner| minus(corner, point));
    for index in 0..4 {
        let (here, next) = (reach[index], reach[(index + 1) % 4]);
        let (above, next_above) = (dot(here, normal), dot(next, normal));
        if above >= 0.0 {
            kept[count] = here;
            count += 1;
        }
        if (above > 0.0 && next_above < 0.0) || (above < 0.0 && next_above > 0.0) {
            let share = above / (above - next_above);
            kept[count] = std::array::from_fn(|axis| here[axis] + share * (next[axis] - here[axis]));
            count += 1;
        }
    }
    let sum: f64 = (0..count)
        .map(|index| {
            let (from, to) = (kept[index], kept[(index + 1) % count]);
            let turn = cross(from, to);
            let size = dot(turn, turn).sqrt();
            if size > 0.0 { size.atan2(dot(from, to)) * dot(normal, turn) / size } else { 0.0 }
        })
        .sum();
    sum.abs() / (2.0 * PI)
}

/// The difference of two places.
#[must_use]
pub fn minus(a: Vector, b: Vector) -> Vector {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

/// The scalar product.
#[must_use]
pub fn dot(a: Vector, b: Vector) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// The vector product.
#[must_use]
pub fn cross(a: Vector, b: Vector) -> Vector {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn facing(a: f64, b: f64, gap: f64) -> f64 {
        let rectangle = [[0.0, a], [0.0, b]];
        parallel_rectangles(rectangle, rectangle, gap) / (a * b)
    }

    #[test]
    fn parallel_rectangles_meet_the_published_factors() {
        // Siegel and Howell, Thermal Radiation Heat Transfer, 4th edition, p. 843 (as quoted): 1 × 1.5 at 0.5.
        assert!((facing(1.0, 1.5, 0.5) - 0.4756).abs() < 5e-5);
        // A unit cube, from an open package of exact polygon factors: 0.199824896.
        assert!((facing(1.0, 1.0, 1.0) - 0.199_824_896).abs() < 1e-9);
        assert!((facing(4.0, 3.2, 2.4) - 0.316_319_8).abs() < 1e-7);
        // Howell's catalogue, C-13 (as quoted): squares of 0.1 over the corner of squares of 0.2.
        let (small, large) = ([[0.0, 0.1]; 2], [[0.0, 0.2]; 2]);
        assert!((parallel_rectangles(small, small, 0.05) / 0.01 - 0.415_253).abs() < 1e-6);
        assert!(parallel_rectangles(small, large, 0.05) > parallel_rectangles(small, small, 0.05));
    }

    #[test]
    fn perpendicular_rectangles_meet_the_published_factors() {
        let factor = |along: [[f64; 2]; 2], from: [[f64; 2]; 2]| {
            let area = (along[0][1] - along[0][0]) * (from[0][1] - from[0][0]);
            perpendicular_rectangles(along, from) / area
        };
        assert!((factor([[0.0, 1.0]; 2], [[0.0, 1.0]; 2]) - 0.200_043_8).abs() < 1e-7);
        // Chapman, Fundamentals of Heat Transfer, 1987, pp. 734 and 736 (as quoted): 0.07235 and 0.0605.
        assert!((factor([[0.0, 0.5]; 2], [[0.0, 0.5], [0.2, 0.5]]) - 0.07235).abs() < 5e-6);
        assert!((factor([[0.0, 0.2], [0.2, 0.5]], [[0.0, 0.1], [0.0, 0.5]]) - 0.0605).abs() < 1e-5);
    }

    #[test]
    fn a_box_is_closed() {
        let floor = [[0.0, 4.0], [0.0, 3.2]];
        let ceiling = parallel_rectangles(floor, floor, 2.4) / 12.8;
        let long = perpendicular_rectangles([[0.0, 4.0]; 2], [[0.0, 3.2], [0.0, 2.4]]) / 12.8;
        let short = perpendicular_rectangles([[0.0, 3.2]; 2], [[0.0, 4.0], [0.0, 2.4]]) / 12.8;
        assert!((ceiling + 2.0 * (long + short) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_point_sees_rectangles_by_two_methods() {
        let up = [0.0, 0.0, 1.0];
        let over = [[0.0, 0.0, 1.0], [1.0, 0.0, 1.0], [1.0, 1.0, 1.0], [0.0, 1.0, 1.0]];
        let beside = [[1.0, 0.0, 0.0], [1.0, 1.0, 0.0], [1.0, 1.0, 1.0], [1.0, 0.0, 1.0]];
        let origin = [0.0; 3];
        // Howell's catalogue: 0.138532 for the parallel, 0.055734 for the perpendicular unit square (as quoted).
        assert!((point_to_quad(origin, up, &over) - 0.138_532).abs() < 1e-6);
        assert!((point_parallel(1.0, 1.0, 1.0) - 0.138_532).abs() < 1e-6);
        assert!((point_to_quad(origin, up, &beside) - 0.055_734).abs() < 1e-6);
        let sum = |rise: f64| point_perpendicular(1.0, rise, 1.0) - point_perpendicular(0.0, rise, 1.0);
        assert!((sum(1.0) - sum(0.0) - 0.055_734).abs() < 1e-6);
        // The part of a wall below the point's surface gives nothing.
        let through = beside.map(|[x, y, z]| [x, y, if z == 0.0 { -5.0 } else { z }]);
        assert!((point_to_quad(origin, up, &through) - 0.055_734).abs() < 1e-6);
        // Under the middle of a unit square 1 m up: 4/(π√5)·atan(1/√5).
        let exact = 4.0 / (PI * 5f64.sqrt()) * (1.0 / 5f64.sqrt()).atan();
        assert!((point_to_quad([0.5, 0.5, 0.0], up, &over) - exact).abs() < 1e-12);
    }
}
