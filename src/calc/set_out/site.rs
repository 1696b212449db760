//! The ceiling as the search sees it: whole micrometres, bands to miss along each axis, rectangles to miss in plan.
//!
//! Everything that stands in the way of a hole is one of two kinds. A [`Band`] (joist, nogging, bar) forbids places
//! along one axis, whatever the other. A [`Rect`] (keep-out, rose, missing corner of the room) couples the axes, but
//! only through the distance of the nearest column along x and of the nearest row along y: that is what lets the search
//! look at the axes apart and still be exact.

use super::case::{Access, AxisName, Case, FixedTo};
use super::outline;
use crate::case::CaseError;
use crate::quantity::Length;

/// Micrometres in a millimetre, the step of the search.
pub(super) const UM_PER_MM: i64 = 1000;

/// The most rectangles that a site may hold: keep-outs, the rose, and the parts of the box that are no room.
pub(super) const MOST_AREAS: usize = 256;

/// An axis of the plan as an index into pairs: x is 0, y is 1.
pub(super) type Axis = usize;

/// Timber or another line across an axis.
#[derive(Debug, Clone)]
pub(super) struct Band {
    /// Centre line.
    pub centre: i64,
    /// Centre line to face, rounded up.
    pub half_width: i64,
    /// Least distance from face to the hole's edge.
    pub clearance: i64,
    /// What it is.
    pub name: String,
    /// A joist, as against another line to miss.
    pub joist: bool,
}

/// A rectangle in plan.
#[derive(Debug, Clone)]
pub(super) struct Rect {
    /// Lower x and y.
    pub low: [i64; 2],
    /// Upper x and y.
    pub high: [i64; 2],
    /// Least distance from it to a hole's centre.
    pub clearance: i64,
    /// What it is.
    pub name: String,
}

impl Rect {
    /// How far a place along one axis is from the rectangle's extent; 0 within it.
    pub fn distance(&self, axis: Axis, place: i64) -> i64 {
        (self.low[axis] - place).max(place - self.high[axis]).max(0)
    }

    /// Whether a place lies strictly between the rectangle's edges along one axis.
    pub fn spans(&self, axis: Axis, place: i64) -> bool {
        self.low[axis] < place && place < self.high[axis]
    }
}

/// The ceiling with all that a hole must miss.
#[derive(Debug, Clone)]
pub(super) struct Site {
    /// Length and width of the room, or of the box around its outline.
    pub extent: [i64; 2],
    /// Radius of the hole, rounded up.
    pub radius: i64,
    /// Least distance from a hole's centre to a wall.
    pub wall: i64,
    /// Bands across x, and across y.
    pub bands: [Vec<Band>; 2],
    /// Rectangles that no hole may touch.
    pub keep_outs: Vec<Rect>,
    /// Parts of the box that are no room; a light that would fall there is left out.
    pub notches: Vec<Rect>,
    /// Centre of a rose that a light may cover.
    pub coverable_rose: Option<[i64; 2]>,
    /// Where the chain of cable begins, if that is known: at the rose.
    pub feed: Option<[i64; 2]>,
    /// Twice the place to be symmetrical about.
    pub twice_centre: [i64; 2],
    /// Whether symmetry means anything along an axis: not where the room itself has no middle line there.
    pub has_middle: [bool; 2],
    /// The axis along which a run of cable crosses joists, where a crossing costs an opening.
    pub costly_crossings: Option<Axis>,
}

/// A length in whole micrometres.
pub(super) fn um(length: Length) -> i64 {
    // Lengths are bounded by the checks of the case, so that the cast never saturates.
    (length.0 * 1e6).round() as i64
}

/// Half of a size, rounded up: the safe side for everything that a hole must miss.
fn half_up(size: i64) -> i64 {
    (size + 1).div_euclid(2)
}

impl Site {
    /// The site of a case whose figures were checked; `edge_to_wall` is the least distance from the hole's edge to a
    /// wall where the case names no distance.
    ///
    /// # Errors
    /// [`CaseError`] where the room's outline or size makes no sense.
    pub fn new(case: &Case, edge_to_wall: i64) -> Result<Self, CaseError> {
        let plan = outline::plan(&case.room)?;
        let extent = outline::extent(&plan);
        let fitting = &case.fitting;
        let radius = half_up(um(fitting.cut_out.most()));
        let wall = case.wall.map_or(radius + edge_to_wall, |wall| um(wall.least).max(radius));
        let centre = case.centre_line.unwrap_or_default();
        let twice = |line: Option<Length>, axis: Axis| line.map_or(extent[axis], |line| 2 * um(line));
        let rose = case.rose.map(|rose| ([um(rose.x), um(rose.y)], rose));
        let mut keep_outs: Vec<Rect> = case
            .keep_out
            .iter()
            .enumerate()
            .map(|(index, area)| Rect {
                low: [um(area.x[0]), um(area.y[0])],
                high: [um(area.x[1]), um(area.y[1])],
                clearance: radius,
                name: area.name.clone().unwrap_or_else(|| format!("keep-out {}", index + 1)),
            })
            .collect();
        let coverable_rose = match rose {
            Some((at, rose)) if rose.fixed_to == FixedTo::Clear => Some(at),
            Some((at, rose)) => {
                let clearance = radius + half_up(um(rose.diameter));
                keep_outs.push(Rect { low: at, high: at, clearance, name: "the old rose".to_owned() });
                None
            }
            None => None,
        };
        let notches: Vec<Rect> = outline::notches(&plan)
            .into_iter()
            .map(|[low, high]| Rect { low, high, clearance: wall, name: "the wall".to_owned() })
            .collect();
        let costly_crossings = match (&case.joists, case.access) {
            (Some(joists), Some(Access::None)) => Some(across(joists.along)),
            _ => None,
        };
        if keep_outs.len() + notches.len() > MOST_AREAS {
            return Err(CaseError::at("keep_out", "too many keep-outs for so winding an outline"));
        }
        let has_middle = [centre.x, centre.y].map(|line| line.is_some());
        let has_middle = [0, 1].map(|axis| has_middle[axis] || mirrors(&notches, axis, extent[axis]));
        Ok(Self {
            extent,
            radius,
            wall,
            bands: bands(case, extent),
            keep_outs,
            notches,
            coverable_rose,
            feed: rose.map(|(at, _)| at),
            has_middle,
            twice_centre: [twice(centre.x, 0), twice(centre.y, 1)],
            costly_crossings,
        })
    }

    /// The most whole millimetres that lie within the site along an axis.
    pub fn most_mm(&self, axis: Axis) -> i64 {
        self.extent[axis].div_euclid(UM_PER_MM)
    }

    /// The least spacing at which two holes don't touch, in whole millimetres.
    pub fn least_spacing_mm(&self) -> i64 {
        (2 * self.radius).div_euclid(UM_PER_MM) + 1
    }

    /// Everything that a light must miss in plan: keep-outs, then the parts of the box that are no room.
    pub fn areas(&self) -> impl Iterator<Item = &Rect> {
        self.keep_outs.iter().chain(&self.notches)
    }

    /// For each whole millimetre along an axis, whether walls and bands leave it free for a hole's centre.
    pub fn free(&self, axis: Axis) -> Vec<bool> {
        (0..=self.most_mm(axis)).map(|mm| self.blocker(axis, mm * UM_PER_MM).is_none()).collect()
    }

    /// The band, if any, that a hole's centre at this place comes too near to; a wall counts as a band.
    fn blocker(&self, axis: Axis, place: i64) -> Option<Blocker<'_>> {
        let to_wall = place.min(self.extent[axis] - place);
        if to_wall < self.wall {
            return Some(Blocker { name: "the wall", gap: to_wall, wanted: self.wall });
        }
        self.bands[axis].iter().find_map(|band| {
            let gap = (place - band.centre).abs() - band.half_width - self.radius;
            (gap < band.clearance).then_some(Blocker { name: &band.name, gap, wanted: band.clearance })
        })
    }

    /// Everything that forbids a hole at this point, each in words; empty where the hole is legal.
    pub fn against(&self, point: [i64; 2]) -> Vec<String> {
        let by_axis = (0..2).filter_map(|axis| self.blocker(axis, point[axis])).map(|blocker| blocker.words());
        let by_area = self.areas().filter_map(|area| {
            let [dx, dy] = [area.distance(0, point[0]), area.distance(1, point[1])];
            let near = dx * dx + dy * dy < area.clearance * area.clearance;
            near.then(|| format!("{} is nearer than {} mm to its centre", area.name, mm_words(area.clearance)))
        });
        by_axis.chain(by_area).collect()
    }

    /// Whether the point lies in a part of the box that is no room.
    pub fn outside(&self, point: [i64; 2]) -> bool {
        self.notches.iter().any(|notch| notch.spans(0, point[0]) && notch.spans(1, point[1]))
    }

    /// Least distance from the hole's edge to a joist's face; `None` without joists.
    pub fn timber_gap(&self, point: [i64; 2]) -> Option<i64> {
        (0..2)
            .flat_map(|axis| self.bands[axis].iter().map(move |band| (axis, band)))
            .filter(|(_, band)| band.joist)
            .map(|(axis, band)| (point[axis] - band.centre).abs() - band.half_width - self.radius)
            .min()
    }

    /// Whether a hole at this point takes away the place of a rose that may be covered.
    pub fn covers_rose(&self, point: [i64; 2]) -> bool {
        self.coverable_rose.is_some_and(|rose| {
            let [dx, dy] = [point[0] - rose[0], point[1] - rose[1]];
            dx * dx + dy * dy < self.radius * self.radius
        })
    }
}

/// What a hole comes too near to along one axis.
struct Blocker<'a> {
    name: &'a str,
    gap: i64,
    wanted: i64,
}

impl Blocker<'_> {
    fn words(&self) -> String {
        let (gap, wanted) = (mm_words(self.gap), mm_words(self.wanted));
        if self.gap < 0 {
            return format!("runs into {}", self.name);
        }
        format!("{gap} mm from {}, {wanted} mm wanted", self.name)
    }
}

/// Micrometres as millimetres for reading: `35`, `83.5`.
pub(super) fn mm_words(um: i64) -> String {
    crate::quantity::plain(um as f64 / UM_PER_MM as f64, 1)
}

/// Whether the parts that are no room lie mirrored about the middle of the box along an axis.
fn mirrors(notches: &[Rect], axis: Axis, extent: i64) -> bool {
    let across = 1 - axis;
    notches.iter().all(|notch| {
        notches.iter().any(|other| {
            let mirrored = [extent - other.high[axis], extent - other.low[axis]] == [notch.low[axis], notch.high[axis]];
            mirrored && other.low[across] == notch.low[across] && other.high[across] == notch.high[across]
        })
    })
}

/// The axis that lines running along `along` are spread over.
fn across(along: AxisName) -> Axis {
    match along {
        AxisName::X => 1,
        AxisName::Y => 0,
    }
}

fn bands(case: &Case, extent: [i64; 2]) -> [Vec<Band>; 2] {
    let mut bands = [Vec::new(), Vec::new()];
    let side = um(case.fitting.side_clearance);
    if let Some(joists) = &case.joists {
        let axis = across(joists.along);
        let half_width = half_up(um(joists.width));
        let centres = match (&joists.list, joists.centres, joists.first_centre) {
            (Some(list), _, _) => list.iter().copied().map(um).collect(),
            (None, Some(centres), Some(first)) => regular(um(first), um(centres), extent[axis] + half_width),
            _ => Vec::new(),
        };
        bands[axis].extend(centres.into_iter().map(|centre| Band {
            centre,
            half_width,
            clearance: side + um(joists.tolerance),
            name: format!("the joist at {} mm", mm_words(centre)),
            joist: true,
        }));
    }
    for family in &case.line {
        let like_joists = case.joists.as_ref().map_or(Length(0.0), |joists| joists.width);
        let half_width = half_up(um(family.width.unwrap_or(like_joists)));
        let name = family.name.as_deref().unwrap_or("line");
        bands[across(family.along)].extend(family.list.iter().map(|place| Band {
            centre: um(*place),
            half_width,
            clearance: family.clearance.map_or(side, um),
            name: format!("the {name} at {} mm", mm_words(um(*place))),
            joist: false,
        }));
    }
    bands
}

/// Centre lines from the first on, up to and including `end`.
fn regular(first: i64, centres: i64, end: i64) -> Vec<i64> {
    (0..).map(|index| first + index * centres).take_while(|centre| *centre <= end).collect()
}
