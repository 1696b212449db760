//! A layout as it is handed out: where the holes go and how to measure them out.

use serde::Serialize;

use super::light::Light;
use super::search::{Found, Places, Shape};
use super::site::{Site, UM_PER_MM};

/// A legal layout, or for want of one the even half-spacing layout.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Layout {
    /// Why this one is offered, in a few words.
    pub reason: String,
    /// Whether every hole is clear of timber, lines, walls and keep-outs.
    pub legal: bool,
    /// Rows, counted along y.
    pub rows: u32,
    /// Columns, counted along x.
    pub columns: u32,
    /// Centres of the holes, row by row, each as x and y in millimetres.
    pub positions: Vec<[i64; 2]>,
    /// The same holes with their tags and their distances from two walls.
    pub holes: Vec<Hole>,
    /// From hole to hole along each axis; none along an axis with one hole.
    pub spacing_mm: PerAxis<Option<i64>>,
    /// From the wall at 0 to the first hole.
    pub margin_mm: PerAxis<i64>,
    /// From the last hole to the far wall.
    pub far_margin_mm: PerAxis<f64>,
    /// Least distance from a hole's edge to a joist's face; none without joists, less than 0 for a hole in timber.
    pub least_timber_gap_mm: Option<f64>,
    /// Largest straight-line distance of a hole from its place in the even half-spacing layout.
    pub moved_mm: f64,
    /// Whether it is symmetrical about the room's middle, or the stated line, along both axes.
    pub symmetrical: bool,
    /// The direct light on the work plane; none where the case says nothing of the fitting's light.
    pub light: Option<Light>,
    /// What the move from half-spacing costs in light.
    pub light_lost: Option<LightLost>,
    /// Joists that the chain of cable crosses, where nothing above can be opened.
    pub crossings: Option<u32>,
    /// The saw to cut with; none where no usual size fits the cut-out.
    pub hole_saw_mm: Option<f64>,
    /// Whether a hole takes away the place of the old rose.
    pub rose_covered: bool,
    /// A laser or string line for each row.
    pub laser_lines: Vec<LaserLine>,
    /// A check for each row: what must be left beyond its last hole.
    pub closing: Vec<Closing>,
}

/// A figure along each axis.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PerAxis<T> {
    /// Along the room's length.
    pub x: T,
    /// Along the room's width.
    pub y: T,
}

/// A hole, with the measures that mark it out.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Hole {
    /// `H1`, `H2` … row by row, each row in the same direction.
    pub tag: String,
    /// From wall A, the wall at x = 0, to the centre.
    pub from_a_mm: i64,
    /// From wall B, the wall at y = 0, to the centre.
    pub from_b_mm: i64,
    /// The centre along x.
    pub x_mm: i64,
    /// The centre along y.
    pub y_mm: i64,
}

/// A line to strike along a row.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LaserLine {
    /// The row, from 1.
    pub row: u32,
    /// From wall B.
    pub from_b_mm: i64,
}

/// The closing measure of a row.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Closing {
    /// The row, from 1.
    pub row: u32,
    /// From the centre of its last hole to the wall opposite wall A.
    pub to_far_wall_mm: f64,
}

/// What a move costs in light: half-spacing less this layout, so that more than 0 is a loss.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LightLost {
    /// Of the average on the work plane.
    pub average_lx: f64,
    /// Of minimum ÷ average on the work plane.
    pub uniformity: f64,
}

/// What belongs to a candidate beside its places.
pub(super) struct About {
    pub reason: String,
    pub legal: bool,
    pub symmetrical: bool,
    pub light: Option<Light>,
    pub half_spacing_light: Option<Light>,
    pub hole_saw_mm: Option<f64>,
}

/// Whole micrometres as millimetres.
fn mm(um: i64) -> f64 {
    um as f64 / UM_PER_MM as f64
}

impl Layout {
    /// The layout of a candidate.
    pub(super) fn new(site: &Site, found: &Found, about: About) -> Self {
        let points = found.points(site);
        let whole: Vec<[i64; 2]> = points.iter().map(|point| point.map(|place| place / UM_PER_MM)).collect();
        let shape = found.shape;
        let light_lost = about.light.zip(about.half_spacing_light).map(|(here, there)| LightLost {
            average_lx: there.figures.average_lx - here.figures.average_lx,
            uniformity: there.figures.uniformity - here.figures.uniformity,
        });
        let spacing = |places: Places, count: u32| (count > 1).then_some(places.spacing);
        Self {
            reason: about.reason,
            legal: about.legal,
            rows: shape.rows,
            columns: shape.columns,
            holes: holes(&whole),
            spacing_mm: PerAxis { x: spacing(found.x, shape.columns), y: spacing(found.y, shape.rows) },
            margin_mm: PerAxis { x: found.x.first, y: found.y.first },
            far_margin_mm: PerAxis { x: mm(beyond(site, 0, shape, found.x)), y: mm(beyond(site, 1, shape, found.y)) },
            least_timber_gap_mm: points.iter().filter_map(|point| site.timber_gap(*point)).min().map(mm),
            moved_mm: found.moved.mm(),
            symmetrical: about.symmetrical,
            light: about.light,
            light_lost,
            crossings: site.costly_crossings.map(|_| found.crossings),
            hole_saw_mm: about.hole_saw_mm,
            rose_covered: points.iter().any(|point| site.covers_rose(*point)),
            laser_lines: rows_of(&whole).map(|(row, y, _)| LaserLine { row, from_b_mm: y }).collect(),
            closing: rows_of(&whole)
                .map(|(row, y, last)| Closing { row, to_far_wall_mm: to_far_wall(site, last, y) })
                .collect(),
            positions: whole,
        }
    }
}

/// From the last place along an axis to the end of the box, in micrometres.
fn beyond(site: &Site, axis: usize, shape: Shape, places: Places) -> i64 {
    site.extent[axis] - (places.first + (shape.along(axis) - 1) * places.spacing) * UM_PER_MM
}

/// From a hole along x to the wall that a tape would meet, which in an outline may stand before the end of the box.
fn to_far_wall(site: &Site, x_mm: i64, y_mm: i64) -> f64 {
    let [x, y] = [x_mm * UM_PER_MM, y_mm * UM_PER_MM];
    let ahead = site.notches.iter().filter(|notch| notch.spans(1, y) && notch.low[0] >= x).map(|notch| notch.low[0]);
    mm(ahead.min().unwrap_or(site.extent[0]) - x)
}

fn holes(positions: &[[i64; 2]]) -> Vec<Hole> {
    let hole = |(index, [x, y]): (usize, &[i64; 2])| Hole {
        tag: format!("H{}", index + 1),
        from_a_mm: *x,
        from_b_mm: *y,
        x_mm: *x,
        y_mm: *y,
    };
    positions.iter().enumerate().map(hole).collect()
}

/// Each row that has a hole: its number, its place along y, and the place of its last hole.
fn rows_of(positions: &[[i64; 2]]) -> impl Iterator<Item = (u32, i64, i64)> + '_ {
    let rows = positions.chunk_by(|one, next| one[1] == next[1]);
    rows.zip(1..).filter_map(|(row, number)| row.last().map(|[x, y]| (number, *y, *x)))
}
