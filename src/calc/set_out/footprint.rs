//! How the places of one axis meet the rectangles in plan.

use std::collections::HashMap;
use std::ops::Index;

use super::quick::QuickMap;
use super::search::Shape;
use super::site::{Axis, MOST_AREAS, Rect, Site, UM_PER_MM};

/// A bit for each rectangle of a site.
type Bits = [u64; MOST_AREAS / 64];

/// What the rectangles in plan see of the holes along one axis.
///
/// Holes are taken together by the parts of the box, no room, whose extent they share: a column and a row that share one
/// cross outside the room, where there is no light. Of holes taken together only the nearest to each rectangle counts.
/// What is far from everything is left out.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default)]
pub(super) struct Footprint(Vec<Together>);

/// Holes that lie along the same notches.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
struct Together {
    /// A bit for each notch along whose extent they lie.
    notches: u64,
    /// How many they are; 0 where they lie along none.
    count: i64,
    /// To each keep-out, then to each notch, up to its clearance, beyond which it makes no difference.
    near: Vec<i64>,
    /// Which of these they are level with, distance 0.
    level: Bits,
    /// Which of these they are nearer to than its clearance.
    close: Bits,
    /// To a rose that may be covered, up to the hole's radius.
    to_rose: i64,
}

impl Together {
    fn of_place(site: &Site, axis: Axis, place: i64) -> Self {
        let spans = |(bit, notch): (usize, &Rect)| u64::from(notch.spans(axis, place)) << bit;
        let notches: u64 = site.notches.iter().enumerate().map(spans).sum();
        let near: Vec<i64> = site.areas().map(|area| area.distance(axis, place).min(area.clearance)).collect();
        let bits = |holds: &dyn Fn(i64, &Rect) -> bool| {
            let mut bits: Bits = [0; MOST_AREAS / 64];
            for (index, (near, area)) in near.iter().zip(site.areas()).enumerate() {
                bits[index / 64] |= u64::from(holds(*near, area)) << (index % 64);
            }
            bits
        };
        Self {
            notches,
            count: i64::from(notches != 0),
            level: bits(&|near, _| near == 0),
            close: bits(&|near, area| near < area.clearance),
            near,
            to_rose: site.coverable_rose.map_or(0, |rose| (rose[axis] - place).abs().min(site.radius)),
        }
    }

    fn is_far(&self, site: &Site) -> bool {
        self.notches == 0
            && self.close == Bits::default()
            && (site.coverable_rose.is_none() || self.to_rose == site.radius)
    }

    fn take(&mut self, other: &Self) {
        self.count += other.count;
        self.near.iter_mut().zip(&other.near).for_each(|(one, two)| *one = (*one).min(*two));
        self.level = std::array::from_fn(|word| self.level[word] | other.level[word]);
        self.close = std::array::from_fn(|word| self.close[word] | other.close[word]);
        self.to_rose = self.to_rose.min(other.to_rose);
    }

    /// Whether lights where these columns and rows cross are clear of all rectangles.
    fn clear_with(&self, rows: &Self, site: &Site) -> bool {
        let shared = |one: Bits, two: Bits| one.iter().zip(two).any(|(one, two)| one & two != 0);
        if shared(self.level, rows.level) {
            return false;
        }
        if !shared(self.close, rows.close) {
            return true;
        }
        // Only at a rectangle's corner do both distances matter.
        let mut near = site.areas().zip(self.near.iter().zip(&rows.near));
        near.all(|(area, (dx, dy))| dx * dx + dy * dy >= area.clearance * area.clearance)
    }
}

impl Footprint {
    fn of_place(site: &Site, axis: Axis, place: i64) -> Self {
        let hole = Together::of_place(site, axis, place);
        Self(if hole.is_far(site) { Vec::new() } else { vec![hole] })
    }

    /// The footprint of both sets of holes together.
    fn with(&self, other: &Self) -> Self {
        let mut all = self.0.clone();
        for holes in &other.0 {
            match all.binary_search_by_key(&holes.notches, |known| known.notches) {
                Ok(index) => all[index].take(holes),
                Err(index) => all.insert(index, holes.clone()),
            }
        }
        Self(all)
    }

    /// The columns and rows that meet: whether there is a light, and who they are.
    fn crossings<'a>(&'a self, rows: &'a Self) -> impl Iterator<Item = (bool, &'a Together, &'a Together)> {
        let pairs = self.0.iter().flat_map(|columns| rows.0.iter().map(move |rows| (columns, rows)));
        pairs.map(|(columns, rows)| (columns.notches & rows.notches == 0, columns, rows))
    }

    /// Whether columns of this footprint and rows of the other make a legal layout with as many lights as asked.
    pub fn legal_with(&self, rows: &Self, site: &Site, shape: Shape, lights: Option<u32>) -> bool {
        let mut left = i64::from(shape.columns * shape.rows);
        for (lit, columns, rows) in self.crossings(rows) {
            if !lit {
                left -= columns.count * rows.count;
            } else if !columns.clear_with(rows, site) {
                return false;
            }
        }
        left > 0 && lights.is_none_or(|lights| left == i64::from(lights))
    }

    /// Whether one of the lights covers the rose.
    pub fn covers_rose_with(&self, rows: &Self, site: &Site) -> bool {
        let within = site.radius * site.radius;
        self.crossings(rows).any(|(lit, columns, rows)| lit && columns.to_rose.pow(2) + rows.to_rose.pow(2) < within)
    }
}

/// The footprints of an axis, numbered, so that the search handles numbers.
pub(super) struct Footprints {
    known: Vec<Footprint>,
    number: HashMap<Footprint, u32>,
    of_place: Vec<u32>,
    /// The footprint of a hole that is far from everything, which changes no other.
    far: u32,
    together: QuickMap<u64, u32>,
}

impl Footprints {
    /// The footprints of single holes at each whole millimetre of an axis.
    pub fn new(site: &Site, axis: Axis) -> Self {
        let mut footprints = Self {
            known: Vec::new(),
            number: HashMap::new(),
            of_place: Vec::new(),
            far: 0,
            together: QuickMap::default(),
        };
        footprints.far = footprints.number_of(Footprint::default());
        for mm in 0..=site.most_mm(axis) {
            let number = footprints.number_of(Footprint::of_place(site, axis, mm * UM_PER_MM));
            footprints.of_place.push(number);
        }
        footprints
    }

    fn number_of(&mut self, footprint: Footprint) -> u32 {
        if let Some(number) = self.number.get(&footprint) {
            return *number;
        }
        let number = self.known.len() as u32;
        self.known.push(footprint.clone());
        self.number.insert(footprint, number);
        number
    }

    /// The number of the footprint that holes at these places, in whole millimetres, have together.
    pub fn of(&mut self, mut places: impl Iterator<Item = i64>) -> u32 {
        let first = places.next().map_or(self.far, |place| self.of_place[place as usize]);
        places.fold(first, |so_far, place| {
            let next = self.of_place[place as usize];
            if next == self.far {
                return so_far;
            }
            let key = u64::from(so_far) << 32 | u64::from(next);
            if let Some(number) = self.together.get(&key) {
                return *number;
            }
            let number = self.number_of(self.known[so_far as usize].with(&self.known[next as usize]));
            self.together.insert(key, number);
            number
        })
    }
}

impl Index<u32> for Footprints {
    type Output = Footprint;

    fn index(&self, number: u32) -> &Footprint {
        &self.known[number as usize]
    }
}
