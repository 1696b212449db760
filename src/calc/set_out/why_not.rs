//! Why nothing fits, and the nearest change that would make a layout legal.

use serde::Serialize;

use super::case::{Case, CutOut, Wall};
use super::rank::{self, Asked};
use super::search::Shape;
use super::site::{Site, UM_PER_MM, mm_words};
use crate::quantity::Length;

/// The smallest hole that is tried, in millimetres.
const LEAST_CUT_OUT_MM: i64 = 10;

/// Why no layout is legal.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WhyNot {
    /// What stands in the way of each hole of the even half-spacing layout, and of the fitting as such.
    pub blocks: Vec<String>,
    /// The nearest change that makes a layout legal; none where no single change of those tried does.
    pub nearest: Option<String>,
    /// All single changes that were found, the nearest first.
    pub changes: Vec<String>,
}

/// What keeps the fitting out of this ceiling wherever it goes: void and clips.
pub(super) fn misfits(case: &Case) -> Vec<String> {
    let mut found = Vec::new();
    if let Some((height, void)) = case.fitting.height.zip(case.void)
        && height.0 > void.depth.0 + 1e-9
    {
        let (height, depth) = (height.mm(), void.depth.mm());
        found.push(format!("the fitting needs {height:.0} mm above the ceiling, the void has {depth:.0} mm"));
    }
    if let Some(([least, most], board)) = case.fitting.clip_range.zip(case.board)
        && !(least.0 - 1e-9..=most.0 + 1e-9).contains(&board.thickness.0)
    {
        let [least, most, thickness] = [least, most, board.thickness].map(|length| length.mm());
        found.push(format!("the clips hold boards of {least:.1} mm to {most:.1} mm, this one has {thickness:.1} mm"));
    }
    found
}

/// What stands in the way of each of these points, in micrometres, by its tag.
pub(super) fn blocks_at(site: &Site, points: &[[i64; 2]]) -> Vec<String> {
    let against = |(index, point): (usize, &[i64; 2])| {
        let mut words = site.against(*point);
        if site.outside(*point) {
            words = vec!["lies outside the room".to_owned()];
        }
        let touches = |other: &[i64; 2]| {
            let [dx, dy] = [point[0] - other[0], point[1] - other[1]];
            dx * dx + dy * dy <= (2 * site.radius).pow(2)
        };
        if let Some(other) = points[..index].iter().position(touches) {
            words.push(format!("touches H{}", other + 1));
        }
        (!words.is_empty()).then(|| format!("H{} {}", index + 1, words.join(", ")))
    };
    points.iter().enumerate().filter_map(against).collect()
}

/// The single changes that make a layout legal: other numbers of lights, then a smaller hole, then nearer to the walls.
pub(super) fn changes(case: &Case, site: &Site, asked: &Asked, count: Option<u32>, edge_to_wall: i64) -> Vec<String> {
    let other_numbers = asked.nearby(count).into_iter().find_map(|other| rank::some_legal(site, &other, other.count));
    let number = other_numbers.map(|Shape { columns, rows }| match (rows, columns) {
        (1, _) => format!("{columns} lights in one row fit"),
        (_, 1) => format!("{rows} lights in one column fit"),
        _ => format!("{} lights fit, in {rows} rows of {columns}", rows * columns),
    });
    let fits = |change: &dyn Fn(&mut Case)| {
        let mut changed = case.clone();
        change(&mut changed);
        Site::new(&changed, edge_to_wall).is_ok_and(|site| rank::some_legal(&site, asked, count).is_some())
    };
    let metres = |mm: i64| Length(mm as f64 / 1000.0);
    let cut_out = most_that_fits(site.radius * 2 / UM_PER_MM - 1, LEAST_CUT_OUT_MM, |mm| {
        fits(&|case| case.fitting.cut_out = CutOut::Size(metres(mm)))
    });
    let wall = most_that_fits(site.wall / UM_PER_MM - 1, site.radius / UM_PER_MM + 1, |mm| {
        fits(&|case| case.wall = Some(Wall { least: metres(mm) }))
    });
    let cut_out = cut_out.map(|mm| format!("a cut-out of {mm} mm or less fits"));
    let wall = wall.map(|mm| format!("hole centres {mm} mm from the walls fit"));
    [number, cut_out, wall].into_iter().flatten().collect()
}

/// The largest whole number from `most` down to `least` that fits, where everything below one that fits does too.
fn most_that_fits(most: i64, least: i64, fits: impl Fn(i64) -> bool) -> Option<i64> {
    if most < least || !fits(least) {
        return None;
    }
    let (mut fitting, mut beyond) = (least, most + 1);
    while beyond - fitting > 1 {
        let middle = (fitting + beyond) / 2;
        if fits(middle) {
            fitting = middle;
        } else {
            beyond = middle;
        }
    }
    Some(fitting)
}

/// That a layout is still legal, and where its margins have become uneven.
pub(super) fn still_legal(site: &Site, points: &[[i64; 2]]) -> String {
    let gap = |axis: usize| {
        let places = points.iter().map(|point| point[axis]);
        let first = places.clone().min().unwrap_or(0);
        (first, site.extent[axis] - places.max().unwrap_or(0))
    };
    let words = |(axis, along): (usize, &str)| {
        let (first, last) = gap(axis);
        // An odd number of millimetres can't be halved, so that 1 mm is even.
        let uneven = (first - last).abs() > UM_PER_MM;
        uneven.then(|| format!("last gap{along} {} mm instead of {} mm", mm_words(last), mm_words(first)))
    };
    match (words((0, "")), words((1, " along the width"))) {
        (None, None) => "still legal, gaps to facing walls equal".to_owned(),
        (one, two) => {
            let uneven: Vec<String> = [one, two].into_iter().flatten().collect();
            format!("still legal, {}", uneven.join(", "))
        }
    }
}
