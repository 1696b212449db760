//! The exact search: every first place and spacing along both axes, at 1 mm, without looking at every pair.
//!
//! A candidate is one [`Places`] along x and one along y. How far it moves from half-spacing splits into the two axes;
//! whether it is legal splits too, but for the rectangles in plan. Those see an axis only through its [`Footprint`], so
//! the places of an axis fall into groups of one footprint and one number of joist crossings, inside which the better
//! place always makes the better pair. Keeping the best [`KEPT`] of each group and joining group with group therefore
//! finds the best [`KEPT`] candidates of all, as the tests prove against plain enumeration.

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use super::footprint::Footprints;
use super::quick::QuickMap;
use super::site::{Axis, Site, UM_PER_MM};

/// How many candidates are kept for the light to decide among.
pub(super) const KEPT: usize = 200;
/// Breadth of a class of moves, in micrometres: within it, light decides.
const MOVE_CLASS: u128 = 10_000;
/// How many places along one axis are looked at before the search says that it has looked far enough.
const MOST_PLACES: i64 = 20_000_000;
/// How many places along one axis go into a sieve.
const SIEVE: usize = 15;
/// How far from half-spacing a sieve goes along an axis without a middle, in millimetres.
const SIEVE_REACH_MM: i64 = 200;
/// How far from half-spacing the search looks first, in millimetres.
const FIRST_REACH_MM: i64 = 20;

/// How many columns (along x) and rows (along y).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Shape {
    /// Counted along x.
    pub columns: u32,
    /// Counted along y.
    pub rows: u32,
}

impl Shape {
    /// How many holes lie along an axis.
    pub fn along(self, axis: Axis) -> i64 {
        i64::from(if axis == 0 { self.columns } else { self.rows })
    }

    /// How far from equal the spacings of the half-spacing layout are, as a fraction that can be compared exactly.
    pub fn inequality(self, site: &Site) -> (i128, i128) {
        let [columns, rows] = [i128::from(self.columns), i128::from(self.rows)];
        let [length, width] = site.extent.map(i128::from);
        ((length * rows - width * columns).abs(), columns * rows)
    }
}

/// Holes along one axis: the first place and the spacing, in whole millimetres.
///
/// Ordered by the move, then by the lower place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Places {
    /// Largest move from half-spacing, in micrometres ÷ (2 × number of holes).
    pub moved: i64,
    /// Place of the first hole.
    pub first: i64,
    /// From hole to hole; 0 where there is only one.
    pub spacing: i64,
}

impl Places {
    /// The places for `count` holes, with their move from half-spacing.
    pub fn new(site: &Site, axis: Axis, count: i64, first: i64, spacing: i64) -> Self {
        let extent = site.extent[axis];
        let scaled = |place: i64, of: i64| (2 * count * UM_PER_MM * place - of * extent).abs();
        let last = first + (count - 1) * spacing;
        // The distance from half-spacing changes evenly from hole to hole, so that it is largest at an end.
        Self { moved: scaled(first, 1).max(scaled(last, 2 * count - 1)), first, spacing }
    }

    /// Every place, in whole millimetres.
    pub fn each(self, count: i64) -> impl Iterator<Item = i64> {
        (0..count).map(move |index| self.first + index * self.spacing)
    }
}

/// A straight-line move, held exactly.
#[derive(Debug, Clone, Copy)]
pub(super) struct Move {
    squared: u128,
    per_um: u128,
    class: u64,
}

impl Move {
    fn new(shape: Shape, x: Places, y: Places) -> Self {
        let part = |places: Places, other: i64| u128::from((places.moved * other).unsigned_abs()).pow(2);
        let squared = part(x, shape.along(1)) + part(y, shape.along(0));
        let per_um = u128::from(2 * shape.columns * shape.rows);
        let step = (per_um * MOVE_CLASS).pow(2);
        // The root of floats is the quick guess, whole numbers have the last word.
        let mut class = (squared as f64 / step as f64).sqrt() as u64;
        while u128::from(class + 1).pow(2) * step <= squared {
            class += 1;
        }
        while u128::from(class).pow(2) * step > squared {
            class -= 1;
        }
        Self { squared, per_um, class }
    }

    /// The class of 10 mm that the move falls into.
    pub fn class(self) -> u64 {
        self.class
    }

    /// The move in millimetres.
    pub fn mm(self) -> f64 {
        (self.squared as f64).sqrt() / (self.per_um as f64 * UM_PER_MM as f64)
    }
}

impl PartialEq for Move {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Move {}

impl PartialOrd for Move {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Move {
    fn cmp(&self, other: &Self) -> Ordering {
        (self.squared * other.per_um.pow(2)).cmp(&(other.squared * self.per_um.pow(2)))
    }
}

/// A legal candidate; the lesser is the better, as far as no light is needed to say so.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Found {
    /// Rows and columns.
    pub shape: Shape,
    /// Joists that the chain of cable crosses, where that costs an opening; else 0.
    pub crossings: u32,
    /// Whether a rose that a light may cover stays uncovered.
    pub uncovered: bool,
    /// Largest move of a hole from half-spacing.
    pub moved: Move,
    /// Places of the columns.
    pub x: Places,
    /// Places of the rows.
    pub y: Places,
}

impl Found {
    /// The candidate of these places, legal or not.
    fn of(site: &Site, shape: Shape, x: Places, y: Places) -> Self {
        let crossings = |axis: Axis, places: Places| {
            let last = places.first + (shape.along(axis) - 1) * places.spacing;
            Crossings::new(site, axis).between(places.first, last)
        };
        let moved = Move::new(shape, x, y);
        let found = Self { shape, crossings: crossings(0, x).max(crossings(1, y)), uncovered: false, moved, x, y };
        let uncovered = site.coverable_rose.is_some() && !found.points(site).iter().any(|at| site.covers_rose(*at));
        Self { uncovered, ..found }
    }

    /// The even half-spacing layout of a shape, to the nearest millimetre at which it is symmetrical, legal or not.
    pub fn at_half_spacing(site: &Site, shape: Shape) -> Self {
        let room = Site { radius: 0, twice_centre: site.extent, ..site.clone() };
        let [x, y] = [0, 1].map(|axis| {
            let count = shape.along(axis);
            let mut best: Option<Places> = None;
            each_places(&room, axis, count, Pick::Symmetrical, &mut |places| {
                best = Some(best.map_or(places, |best| best.min(places)));
                true
            });
            best.unwrap_or_else(|| Places::new(site, axis, count, 0, 0))
        });
        Self::of(site, shape, x, y)
    }
    /// Everything after the light's turn: crossings, rose, then the exact move, so that nothing is moved for nothing,
    /// then lower x and lower y.
    pub fn after_light(&self, other: &Self) -> Ordering {
        let rank = |found: &Self| {
            let (x, y) = (found.x, found.y);
            (found.crossings, found.uncovered, found.moved, x.first, x.spacing, y.first, y.spacing)
        };
        rank(self).cmp(&rank(other))
    }

    /// The hole's centres in micrometres, row by row from the wall at y = 0, each from the wall at x = 0; places that are no room left out.
    pub fn points(&self, site: &Site) -> Vec<[i64; 2]> {
        let rows = self.y.each(self.shape.along(1));
        rows.flat_map(|y| self.x.each(self.shape.along(0)).map(move |x| [x * UM_PER_MM, y * UM_PER_MM]))
            .filter(|point| !site.outside(*point))
            .collect()
    }
}

impl PartialOrd for Found {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Found {
    fn cmp(&self, other: &Self) -> Ordering {
        self.moved.class().cmp(&other.moved.class()).then_with(|| self.after_light(other))
    }
}

/// Which candidates are looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Among {
    /// Those that are symmetrical along every axis along which the room has a middle.
    Symmetrical,
    /// All.
    All,
}

/// The best legal candidates of a shape, best first: all of the best class of moves, up to [`KEPT`].
///
/// Without a number of `lights`, any that remain in the room will do.
pub(super) fn best(site: &Site, shape: Shape, lights: Option<u32>, among: Among) -> Vec<Found> {
    search(site, shape, lights, among, i64::MAX, &|_| true)
}

/// The same among candidates that move no further than `limit_mm` along an axis without symmetry.
pub(super) fn nearby(site: &Site, shape: Shape, lights: Option<u32>, among: Among, limit_mm: i64) -> Vec<Found> {
    search(site, shape, lights, among, limit_mm, &|_| true)
}

/// The best symmetrical candidate that crosses fewer joists than `crossings`, if there is one.
pub(super) fn with_fewer_crossings(site: &Site, shape: Shape, lights: Option<u32>, crossings: u32) -> Option<Found> {
    let fewer = |found: &Found| found.crossings < crossings;
    search(site, shape, lights, Among::Symmetrical, i64::MAX, &fewer).first().copied()
}

/// The best symmetrical candidate with a hole over a rose that may be covered, if there is one.
pub(super) fn over_the_rose(site: &Site, shape: Shape, lights: Option<u32>) -> Option<Found> {
    let covers = |found: &Found| site.coverable_rose.is_some() && !found.uncovered;
    search(site, shape, lights, Among::Symmetrical, i64::MAX, &covers).first().copied()
}

/// Looks further and further from half-spacing, until the best class of moves is complete.
fn search(
    site: &Site,
    shape: Shape,
    lights: Option<u32>,
    among: Among,
    limit_mm: i64,
    wanted: &dyn Fn(&Found) -> bool,
) -> Vec<Found> {
    let picked = [0, 1].map(|axis| match among {
        Among::Symmetrical if site.has_middle[axis] => Pick::Symmetrical,
        _ => Pick::Within(farthest_mm(site, axis, shape.along(axis)).min(limit_mm)),
    });
    if (0..2).any(|axis| !possible(site, axis, shape.along(axis), picked[axis])) {
        return Vec::new();
    }
    let farthest = picked.iter().map(|pick| pick.reach()).max().unwrap_or(0);
    let mut reach = FIRST_REACH_MM;
    loop {
        let reach_now = reach.min(farthest);
        let found = joined(site, shape, lights, picked.map(|pick| pick.no_further_than(reach_now)), wanted);
        match found.first().map(|best| 10 * (best.moved.class() as i64 + 1)) {
            // A pair outside these places moves further along one axis alone than the whole of the best class.
            Some(complete) if complete > reach_now && reach_now < farthest => reach = complete,
            None if reach_now < farthest => reach *= 4,
            _ => return found,
        }
    }
}

/// Which places along one axis are looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Pick {
    /// Those that are symmetrical.
    Symmetrical,
    /// All whose move is at most this many millimetres.
    Within(i64),
}

impl Pick {
    fn reach(self) -> i64 {
        match self {
            Self::Symmetrical => 0,
            Self::Within(reach) => reach,
        }
    }

    fn no_further_than(self, reach: i64) -> Self {
        match self {
            Self::Symmetrical => Self::Symmetrical,
            Self::Within(limit) => Self::Within(limit.min(reach)),
        }
    }
}

/// The furthest move that the search looks at along an axis: all of it, or as far as [`MOST_PLACES`] allows.
pub(super) fn farthest_mm(site: &Site, axis: Axis, count: i64) -> i64 {
    let all = site.most_mm(axis) + 1;
    if count == 1 || all * all / (2 * (count - 1)) <= MOST_PLACES {
        return all;
    }
    // (2 m)² ÷ (n − 1) places lie within a move of m.
    ((MOST_PLACES * (count - 1)) as f64).sqrt() as i64 / 2
}

/// Whether an axis has any legal places at all.
fn possible(site: &Site, axis: Axis, count: i64, pick: Pick) -> bool {
    let free = site.free(axis);
    if (free.iter().filter(|free| **free).count() as i64) < count {
        return false;
    }
    let mut found = false;
    each_places(site, axis, count, pick, &mut |places| {
        found = found || places.each(count).all(|place| free[place as usize]);
        !found
    });
    found
}

/// Goes over the places of an axis that lie within it, until `take` says to stop.
pub(super) fn each_places(site: &Site, axis: Axis, count: i64, pick: Pick, take: &mut dyn FnMut(Places) -> bool) {
    let (most, least_spacing) = (site.most_mm(axis), site.least_spacing_mm());
    let gaps = count - 1;
    match pick {
        Pick::Symmetrical => {
            let spacings = if gaps == 0 { 0..=0 } else { least_spacing..=most / gaps };
            for total in even_totals(site.twice_centre[axis], count) {
                for spacing in spacings.clone() {
                    let twice_first = total - gaps * spacing;
                    let last = twice_first / 2 + gaps * spacing;
                    if twice_first < 0 || twice_first % 2 != 0 || last > most {
                        continue;
                    }
                    if !take(Places::new(site, axis, count, twice_first / 2, spacing)) {
                        return;
                    }
                }
            }
        }
        Pick::Within(move_mm) => {
            let half_spacing = |of: i64| of * site.extent[axis] / (2 * count * UM_PER_MM);
            let (near, far) = (half_spacing(1), half_spacing(2 * count - 1));
            let limit = move_mm * 2 * count * UM_PER_MM;
            for first in (near - move_mm).max(0)..=(near + move_mm + 1).min(most) {
                let spacings = if gaps == 0 {
                    0..=0
                } else {
                    let least = (far - move_mm - first).div_euclid(gaps).max(least_spacing);
                    least..=((far + move_mm + 1).min(most) - first).div_euclid(gaps)
                };
                for spacing in spacings {
                    let places = Places::new(site, axis, count, first, spacing);
                    if places.moved <= limit && !take(places) {
                        return;
                    }
                }
            }
        }
    }
}

/// The sums of first and last place, in whole millimetres, that count as symmetrical about half of `twice_centre`.
///
/// They are as near to it as whole millimetres allow: an odd number of holes has its middle one on a whole millimetre,
/// so that its sum is even; an even number reaches every sum. Two sums can be equally near.
pub(super) fn even_totals(twice_centre: i64, count: i64) -> Vec<i64> {
    let step = if count % 2 == 1 { 2 } else { 1 };
    let below = twice_centre.div_euclid(step * UM_PER_MM) * step;
    let (down, up) = (twice_centre - below * UM_PER_MM, (below + step) * UM_PER_MM - twice_centre);
    match down.cmp(&up) {
        Ordering::Less => vec![below],
        Ordering::Equal => vec![below, below + step],
        Ordering::Greater => vec![below + step],
    }
}

/// Whether places are symmetrical about the site's middle, or the stated line, as far as whole millimetres allow; any
/// are where there is no middle.
pub(super) fn is_symmetrical(site: &Site, axis: Axis, count: i64, places: Places) -> bool {
    let total = 2 * places.first + (count - 1) * places.spacing;
    !site.has_middle[axis] || even_totals(site.twice_centre[axis], count).contains(&total)
}

/// Places of one axis that share a footprint and a number of crossings: the best [`KEPT`], best first.
struct Group {
    footprint: u32,
    crossings: u32,
    places: Vec<Places>,
}

/// The legal places of an axis in groups, the group with the least move first.
fn groups(site: &Site, axis: Axis, count: i64, pick: Pick, footprints: &mut Footprints) -> Vec<Group> {
    let free = site.free(axis);
    let crossings = Crossings::new(site, axis);
    let mut by_key: QuickMap<u64, BinaryHeap<Places>> = QuickMap::default();
    each_places(site, axis, count, pick, &mut |places| {
        if places.each(count).all(|place| free[place as usize]) {
            let footprint = footprints.of(places.each(count));
            let last = places.first + (count - 1) * places.spacing;
            let key = u64::from(footprint) << 32 | u64::from(crossings.between(places.first, last));
            keep_best(by_key.entry(key).or_default(), places);
        }
        true
    });
    let mut groups: Vec<Group> = by_key
        .into_iter()
        .map(|(key, places)| Group {
            footprint: (key >> 32) as u32,
            crossings: key as u32,
            places: places.into_sorted_vec(),
        })
        .collect();
    groups.sort_unstable_by_key(|group| (group.places[0], group.footprint, group.crossings));
    groups
}

/// Adds to a heap whose top is the worst, and drops the worst beyond [`KEPT`].
fn keep_best<T: Ord>(heap: &mut BinaryHeap<T>, item: T) {
    if heap.len() < KEPT {
        heap.push(item);
    } else if let Some(mut worst) = heap.peek_mut()
        && item < *worst
    {
        *worst = item;
    }
}

/// Legal symmetrical candidates spread evenly over all that there are: at most [`SIEVE`] places along each axis.
pub(super) fn symmetrical_sieve(site: &Site, shape: Shape, lights: Option<u32>) -> Vec<Found> {
    let [columns, rows] = [0, 1].map(|axis| {
        let (count, free) = (shape.along(axis), site.free(axis));
        let pick = if site.has_middle[axis] { Pick::Symmetrical } else { Pick::Within(SIEVE_REACH_MM) };
        let mut legal = Vec::new();
        each_places(site, axis, count, pick, &mut |places| {
            if places.each(count).all(|place| free[place as usize]) {
                legal.push(places);
            }
            true
        });
        let step = legal.len().div_ceil(SIEVE).max(1);
        legal.into_iter().step_by(step).collect::<Vec<_>>()
    });
    let pairs = columns.iter().flat_map(|x| rows.iter().map(move |y| Found::of(site, shape, *x, *y)));
    let is_legal = |found: &Found| {
        let points = found.points(site);
        let as_asked = lights.is_none_or(|lights| points.len() == lights as usize);
        as_asked && !points.is_empty() && points.iter().all(|point| site.against(*point).is_empty())
    };
    pairs.filter(is_legal).collect()
}

/// Whether a full heap holds nothing worse than the item.
fn is_no_better<T: Ord>(best: &BinaryHeap<T>, item: &T) -> bool {
    best.len() == KEPT && best.peek().is_some_and(|worst| item >= worst)
}

/// Joins the groups of both axes to the best candidates of all.
///
/// `wanted` may look at the crossings and the rose, which all candidates of two groups share, and at nothing else.
fn joined(
    site: &Site,
    shape: Shape,
    lights: Option<u32>,
    picked: [Pick; 2],
    wanted: &dyn Fn(&Found) -> bool,
) -> Vec<Found> {
    let mut footprints = [Footprints::new(site, 0), Footprints::new(site, 1)];
    let [along_x, along_y] = &mut footprints;
    let columns = groups(site, 0, shape.along(0), picked[0], along_x);
    let rows = groups(site, 1, shape.along(1), picked[1], along_y);
    let mut best: BinaryHeap<Found> = BinaryHeap::new();
    for column in &columns {
        for row in &rows {
            let least = Move::new(shape, column.places[0], row.places[0]);
            if best.len() == KEPT && best.peek().is_some_and(|worst| least.class() > worst.moved.class()) {
                // Groups come with the least move first, so that no later row can do better with this column.
                break;
            }
            let (seen_x, seen_y) = (&footprints[0][column.footprint], &footprints[1][row.footprint]);
            if !seen_x.legal_with(seen_y, site, shape, lights) {
                continue;
            }
            let crossings = column.crossings.max(row.crossings);
            let uncovered = site.coverable_rose.is_some() && !seen_x.covers_rose_with(seen_y, site);
            let found = |x: Places, y: Places| {
                let moved = Move::new(shape, x, y);
                Found { shape, crossings, uncovered, moved, x, y }
            };
            if !wanted(&found(column.places[0], row.places[0])) {
                continue;
            }
            for x in &column.places {
                for y in &row.places {
                    let candidate = found(*x, *y);
                    if is_no_better(&best, &candidate) {
                        break;
                    }
                    keep_best(&mut best, candidate);
                }
            }
        }
    }
    best.into_sorted_vec()
}

/// Counts the joists that a chain of cable crosses along an axis.
struct Crossings {
    joists: Vec<i64>,
    feed: Option<i64>,
}

impl Crossings {
    /// Counts nothing unless crossings cost something along this axis.
    fn new(site: &Site, axis: Axis) -> Self {
        let joists = if site.costly_crossings == Some(axis) {
            let mut centres: Vec<i64> =
                site.bands[axis].iter().filter(|band| band.joist).map(|band| band.centre).collect();
            centres.sort_unstable();
            centres
        } else {
            Vec::new()
        };
        Self { joists, feed: site.feed.map(|feed| feed[axis]) }
    }

    /// Joists crossed by the shortest chain from the feed over all holes from `first` to `last`, in millimetres.
    fn between(&self, first: i64, last: i64) -> u32 {
        if self.joists.is_empty() {
            return 0;
        }
        let below = |place: i64| self.joists.partition_point(|joist| *joist < place) as u32;
        let [from, to] = [first * UM_PER_MM, last * UM_PER_MM].map(below);
        // The chain goes to the nearer end first, then sweeps over to the other.
        let to_nearer_end = self.feed.map_or(0, |feed| below(feed).abs_diff(from).min(below(feed).abs_diff(to)));
        to - from + to_nearer_end
    }
}
