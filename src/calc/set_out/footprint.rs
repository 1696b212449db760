//! How the places of one axis meet the rectangles in plan.

use std::collections::HashMap;
use std::ops::Index;

use super::quick::QuickMap;
use super::search::Shape;
use super::site::{Axis, Rect, Site, UM_PER_MM};

/// What the rectangles in plan see of the holes along one axis: how near the nearest comes.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(super) struct Footprint {
    /// To each keep-out, up to its clearance, beyond which it makes no difference.
    to_keep_outs: Vec<i64>,
    /// To each part of the box that is no room: how many holes lie along its extent, and how near the others come.
    to_notches: Vec<(i64, i64)>,
    /// To a rose that may be covered, up to the hole's radius.
    to_rose: i64,
}

impl Footprint {
    fn far(site: &Site) -> Self {
        Self {
            to_keep_outs: site.keep_outs.iter().map(|area| area.clearance).collect(),
            to_notches: site.notches.iter().map(|notch| (0, notch.clearance)).collect(),
            to_rose: site.coverable_rose.map_or(0, |_| site.radius),
        }
    }

    fn of_place(site: &Site, axis: Axis, place: i64) -> Self {
        let near = |area: &Rect| area.distance(axis, place).min(area.clearance);
        Self {
            to_keep_outs: site.keep_outs.iter().map(near).collect(),
            to_notches: site
                .notches
                .iter()
                .map(|notch| if notch.spans(axis, place) { (1, notch.clearance) } else { (0, near(notch)) })
                .collect(),
            to_rose: site.coverable_rose.map_or(0, |rose| (rose[axis] - place).abs().min(site.radius)),
        }
    }

    /// The footprint of both sets of holes together.
    fn with(&self, other: &Self) -> Self {
        let pairs = self.to_keep_outs.iter().zip(&other.to_keep_outs);
        let notches = self.to_notches.iter().zip(&other.to_notches);
        Self {
            to_keep_outs: pairs.map(|(one, two)| *one.min(two)).collect(),
            to_notches: notches.map(|(one, two)| (one.0 + two.0, one.1.min(two.1))).collect(),
            to_rose: self.to_rose.min(other.to_rose),
        }
    }

    /// Whether columns of this footprint and rows of the other make a legal layout with as many lights as asked.
    pub fn legal_with(&self, rows: &Self, site: &Site, shape: Shape, lights: Option<u32>) -> bool {
        let mut keep_outs = site.keep_outs.iter().zip(self.to_keep_outs.iter().zip(&rows.to_keep_outs));
        let clear = keep_outs.all(|(area, (dx, dy))| dx * dx + dy * dy >= area.clearance * area.clearance);
        let mut left_out = 0;
        let mut notches = site.notches.iter().zip(self.to_notches.iter().zip(&rows.to_notches));
        let off_walls = notches.all(|(notch, ((inside_x, dx), (inside_y, dy)))| {
            left_out += inside_x * inside_y;
            let near = notch.clearance;
            let beside = (*inside_x > 0 && *dy < near) || (*inside_y > 0 && *dx < near);
            !beside && dx * dx + dy * dy >= near * near
        });
        let left = i64::from(shape.columns * shape.rows) - left_out;
        clear && off_walls && left > 0 && lights.is_none_or(|lights| left == i64::from(lights))
    }

    /// Whether one of the holes covers the rose.
    pub fn covers_rose_with(&self, rows: &Self, site: &Site) -> bool {
        self.to_rose * self.to_rose + rows.to_rose * rows.to_rose < site.radius * site.radius
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
        footprints.far = footprints.number_of(Footprint::far(site));
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
