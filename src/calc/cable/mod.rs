//! Cable: the order in which to chain the lights, how each length runs, what to cut, and which reels to buy.
//!
//! The chain is an open path: it starts at the feed, where the join to the old wiring is, and ends anywhere. How a
//! length runs is told in `route`. The chain of least length is wanted, and among equals the one that crosses the
//! fewest joists. Where nothing above opens, it is the other way round, because each crossing is then an opening to
//! cut and to patch.
//!
//! A length to cut is (way + both tails + drop) and the share for waste on all of it.

use serde::{Deserialize, Serialize};

use crate::case::CaseError;
use crate::facts::Facts;
use crate::quantity::{Length, Share, round_up};

pub use order::{Costs, MOST_EXACT, cheapest};
pub use reels::{Purchase, buy};
pub use route::{Axis, Floor, Joists, Route};

use route::between;

mod order;
mod reels;
mod route;
#[cfg(test)]
mod tests;

/// More lights than any room has.
const MOST_POINTS: usize = 200;
/// More kinds of reel than any shop has.
const MOST_SIZES: usize = 12;
/// Micrometres in a millimetre: ways and cuts are compared in whole micrometres.
const UM_IN_MM: f64 = 1000.0;

/// A chain to be planned.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Case {
    /// Where the chain starts: the join at the old rose.
    pub feed: [Length; 2],
    /// The lights, numbered from 0.
    pub points: Vec<[Length; 2]>,
    /// The joists; without them no crossing is counted.
    #[serde(default)]
    pub joists: Option<Joists>,
    /// What opens above.
    #[serde(default)]
    pub ceiling: Option<Ceiling>,
    /// Slack at each end of a length; the usual tail if not said.
    #[serde(default)]
    pub tail: Option<Length>,
    /// How far one length goes up and down on its way, both ends together; none if not said.
    #[serde(default)]
    pub drop: Option<Length>,
    /// Waste, as a share of a length with its tails and drop; none if not said.
    #[serde(default)]
    pub waste: Option<Share>,
    /// Lengths of the reels that can be bought; the common ones if not said.
    #[serde(default)]
    pub reels: Option<Vec<Length>>,
}

/// The ceiling that the cable goes into.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Ceiling {
    /// What opens above it.
    pub access: Access,
}

/// What opens above the ceiling; it decides how a joist is crossed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Access {
    /// A loft: cable goes over the joists, no joist is drilled.
    #[serde(rename = "loft")]
    Loft,
    /// Boards lift: each joist is drilled on its mark.
    #[serde(rename = "floor above")]
    FloorAbove,
    /// Nothing: each crossing is an opening in the ceiling, to be cut and patched.
    #[serde(rename = "none")]
    Nothing,
}

/// The planned chain.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Answer {
    /// Numbers of the points in the order of the chain.
    pub order: Vec<usize>,
    /// Length to cut to each point of `order` from the one before, the first from the feed.
    pub lengths_m: Vec<f64>,
    /// Sum of the lengths.
    pub total_m: f64,
    /// Joists crossed, each as often as a length crosses it.
    pub crossings: usize,
    /// The order is proved the best.
    pub optimal: bool,
    /// What was made least first: `length` or `crossings`.
    pub least: &'static str,
    /// A chain that is better in the other of the two, if there is one.
    pub other: Option<Other>,
    /// What to buy, longest reel first; empty when a length is longer than every reel.
    pub reels: Vec<Reel>,
    /// No other choice of reels needs fewer metres, or as many on fewer reels.
    pub reels_optimal: bool,
    /// Metres bought in all.
    pub bought_m: f64,
    /// Each length with how it runs.
    pub runs: Vec<Run>,
    /// Each place where a joist is crossed: the list to mark and drill by.
    pub crossed: Vec<Crossed>,
    /// What was reckoned with at each length.
    pub allowances: Allowances,
    /// What can't be done as asked, in words.
    pub notes: Vec<String>,
}

/// Another order worth knowing of.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Other {
    /// Numbers of the points.
    pub order: Vec<usize>,
    /// Sum of its lengths to cut.
    pub total_m: f64,
    /// Joists that it crosses.
    pub crossings: usize,
}

/// A reel and the lengths cut from it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Reel {
    /// Length of the reel.
    pub reel_m: f64,
    /// Lengths cut from it.
    pub cuts_m: Vec<f64>,
    /// Tags of those lengths.
    pub tags: Vec<String>,
    /// What remains on it.
    pub left_m: f64,
}

/// One length of cable.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Run {
    /// Tag for both its ends: `L1` is the length from the feed.
    pub tag: String,
    /// Number of the point where it starts; `null` for the feed.
    pub from: Option<usize>,
    /// Number of the point where it ends.
    pub to: usize,
    /// Way along the joists.
    pub along_mm: f64,
    /// Way across them.
    pub across_mm: f64,
    /// Joists crossed.
    pub crossings: usize,
    /// Length to cut, rounded up to the next 10 mm: too short is the error that can't be mended.
    pub cut_m: f64,
    /// Corners of the way over the ceiling, [x, y] each.
    pub path_mm: Vec<[f64; 2]>,
}

/// A joist crossed by a length.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Crossed {
    /// Number of the joist, 1 at the wall where the axis begins.
    pub joist: usize,
    /// Place of the crossing, on the joist's centre line.
    pub x_mm: f64,
    /// Place of the crossing.
    pub y_mm: f64,
    /// How far the joist may stand off that place.
    pub tolerance_mm: f64,
    /// Tags of the lengths that cross here.
    pub tags: Vec<String>,
    /// How: `drill`, `over`, `open up` or, where nothing was said of what opens above, `decide`.
    pub how: &'static str,
    /// Distance to the nearest other crossing of this joist; `null` where there is none. Holes want three diameters.
    pub apart_mm: Option<f64>,
}

/// What each length got beyond its way.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Allowances {
    /// Slack at each of both ends.
    pub tail_mm: f64,
    /// Up and down, both ends together.
    pub drop_mm: f64,
    /// Waste on all of it.
    pub waste_percent: f64,
    /// Where the tail comes from.
    pub tail_source: String,
}

/// Plans the chain.
///
/// # Errors
/// [`CaseError`] with the key whose value can't be.
pub fn figure(case: &Case, facts: &Facts) -> Result<Answer, CaseError> {
    let access = case.ceiling.as_ref().map(|ceiling| ceiling.access);
    let allowances = allowances(case, facts)?;
    let sizes = reel_sizes(case, facts)?;
    let places = places(case)?;
    let floor = floor(case, &places, facts)?;
    let crossings_first = access == Some(Access::Nothing);
    let (order, optimal) = cheapest(&costs(&floor, &places, crossings_first));
    let chain = Chain::new(&floor, &places, &order);
    let lengths_m = chain.lengths_m(&allowances);
    let other = chain.other(&floor, &places, crossings_first, &allowances);
    let bought = bought(&lengths_m, &sizes);
    let mut notes = Vec::new();
    if bought.is_none() {
        notes.push(too_long(&lengths_m, &sizes));
    }
    let (reels, reels_optimal) = bought.unwrap_or_default();
    Ok(Answer {
        total_m: lengths_m.iter().sum(),
        crossings: chain.crossings(),
        optimal,
        least: if crossings_first { "crossings" } else { "length" },
        other,
        bought_m: reels.iter().map(|reel| reel.reel_m).sum(),
        reels,
        reels_optimal,
        runs: chain.runs(&lengths_m),
        crossed: chain.crossed(&floor, access, case.joists.as_ref().and_then(|joists| joists.tolerance)),
        order: chain.order,
        lengths_m,
        allowances,
        notes,
    })
}

/// An order with each of its ways.
struct Chain {
    order: Vec<usize>,
    routes: Vec<Route>,
}

impl Chain {
    /// `order` numbers places, the feed being 0; the chain's own order numbers points.
    fn new(floor: &Floor, places: &[[f64; 2]], order: &[usize]) -> Self {
        let before = std::iter::once(0).chain(order.iter().copied());
        let routes = before.zip(order).map(|(from, to)| floor.route(places[from], places[*to])).collect();
        Self { order: order.iter().map(|place| place - 1).collect(), routes }
    }

    fn crossings(&self) -> usize {
        self.routes.iter().map(|route| route.crossed.len()).sum()
    }

    fn way_mm(&self) -> f64 {
        self.routes.iter().map(Route::length_mm).sum()
    }

    /// The best chain with length and crossings counting the other way round, if it gains anything.
    fn other(&self, floor: &Floor, places: &[[f64; 2]], crossings_first: bool, given: &Allowances) -> Option<Other> {
        if self.crossings() == 0 {
            return None;
        }
        let (order, _) = cheapest(&costs(floor, places, !crossings_first));
        let other = Self::new(floor, places, &order);
        let gains =
            if crossings_first { other.way_mm() < self.way_mm() - 0.01 } else { other.crossings() < self.crossings() };
        gains.then(|| Other {
            total_m: other.lengths_m(given).iter().sum(),
            crossings: other.crossings(),
            order: other.order,
        })
    }

    fn lengths_m(&self, allowances: &Allowances) -> Vec<f64> {
        let with = |way_mm: f64| {
            let plain = way_mm + 2.0 * allowances.tail_mm + allowances.drop_mm;
            plain * (1.0 + allowances.waste_percent / 100.0) / 1000.0
        };
        self.routes.iter().map(|route| with(route.length_mm())).collect()
    }

    fn runs(&self, lengths_m: &[f64]) -> Vec<Run> {
        let from = std::iter::once(None).chain(self.order.iter().copied().map(Some));
        let ends = from.zip(&self.order).zip(self.routes.iter().zip(lengths_m));
        ends.enumerate()
            .map(|(at, ((from, to), (route, length_m)))| Run {
                tag: tag(at),
                from,
                to: *to,
                along_mm: route.along_mm,
                across_mm: route.across_mm,
                crossings: route.crossed.len(),
                cut_m: round_up(*length_m, 2),
                path_mm: route.path_mm.clone(),
            })
            .collect()
    }

    fn crossed(&self, floor: &Floor, access: Option<Access>, tolerance: Option<Length>) -> Vec<Crossed> {
        let how = match access {
            Some(Access::Loft) => "over",
            Some(Access::FloorAbove) => "drill",
            Some(Access::Nothing) => "open up",
            None => "decide",
        };
        let mut places: Vec<(usize, f64, String)> = Vec::new();
        for (at, route) in self.routes.iter().enumerate() {
            places.extend(route.crossed.clone().map(|joist| (joist, route.cross_at_mm, tag(at))));
        }
        places.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
        let mut crossed: Vec<(usize, f64, Vec<String>)> = Vec::new();
        for (joist, along, tag) in places {
            match crossed.last_mut() {
                // Two lengths through one place share its hole.
                Some((same, there, tags)) if *same == joist && along - *there < 1.0 => tags.push(tag),
                _ => crossed.push((joist, along, vec![tag])),
            }
        }
        let gap =
            |a: &(usize, f64, Vec<String>), b: &(usize, f64, Vec<String>)| (a.0 == b.0).then_some((a.1 - b.1).abs());
        let apart = |at: usize| {
            let before = at.checked_sub(1).and_then(|before| gap(&crossed[before], &crossed[at]));
            let after = crossed.get(at + 1).and_then(|after| gap(&crossed[at], after));
            before.into_iter().chain(after).min_by(f64::total_cmp)
        };
        let tolerance_mm = tolerance.unwrap_or_default().mm();
        let listed = crossed.iter().enumerate().map(|(at, (joist, along, tags))| {
            let [x_mm, y_mm] = floor.place(*along, floor.lines_mm[*joist]);
            Crossed { joist: joist + 1, x_mm, y_mm, tolerance_mm, tags: tags.clone(), how, apart_mm: apart(at) }
        });
        listed.collect()
    }
}

fn tag(at: usize) -> String {
    format!("L{}", at + 1)
}

/// Costs of all ways: length and crossings in one whole number, whichever counts first in its higher part.
fn costs(floor: &Floor, places: &[[f64; 2]], crossings_first: bool) -> Costs {
    // A chain of 200 ways of at most 400 m stays below 2^37 µm; its 200 × 401 crossings stay below 2^17.
    const UM_BITS: u32 = 37;
    const CROSSING_BITS: u32 = 17;
    Costs::new(places.len(), |a, b| {
        // The same way in both directions, to the last bit.
        let route = floor.route(places[a.min(b)], places[a.max(b)]);
        let (um, crossings) = (whole_um(route.length_mm()), route.crossed.len() as u64);
        if crossings_first { (crossings << UM_BITS) + um } else { (um << CROSSING_BITS) + crossings }
    })
}

fn whole_um(mm: f64) -> u64 {
    (mm * UM_IN_MM).round() as u64
}

/// The reels to buy; `None` when a length is longer than every reel.
fn bought(lengths_m: &[f64], sizes_mm: &[f64]) -> Option<(Vec<Reel>, bool)> {
    // To the nearest micrometre, so that five cuts of 2 m do come off a reel of 10 m.
    let um = |m: &f64| whole_um(m * 1000.0);
    let cuts: Vec<u64> = lengths_m.iter().map(um).collect();
    let sizes: Vec<u64> = sizes_mm.iter().map(|mm| whole_um(*mm)).collect();
    let purchase = buy(&cuts, &sizes)?;
    let reels = purchase.reels.into_iter().map(|(size, mut cuts)| {
        cuts.sort_unstable();
        let cuts_m: Vec<f64> = cuts.iter().map(|cut| lengths_m[*cut]).collect();
        let reel_m = size as f64 / 1e6;
        Reel {
            reel_m,
            left_m: (reel_m - cuts_m.iter().sum::<f64>()).max(0.0),
            cuts_m,
            tags: cuts.into_iter().map(tag).collect(),
        }
    });
    let mut reels: Vec<Reel> = reels.collect();
    reels.sort_by(|a, b| b.reel_m.total_cmp(&a.reel_m));
    Some((reels, purchase.proved))
}

fn too_long(lengths_m: &[f64], sizes_mm: &[f64]) -> String {
    let longest = sizes_mm.iter().copied().fold(0.0, f64::max) / 1000.0;
    let too_long = lengths_m.iter().enumerate().filter(|(_, length)| **length > longest);
    let named: Vec<String> =
        too_long.map(|(at, length)| format!("{} ({:.2} m)", tag(at), round_up(*length, 2))).collect();
    format!(
        "Longer than the longest reel ({longest} m): {}. Buy a longer reel; a length has no joint.",
        named.join(", ")
    )
}

fn allowances(case: &Case, facts: &Facts) -> Result<Allowances, CaseError> {
    let usual = facts.get("cable.tail").expect("the facts of cable come with the program");
    case.tail.map_or(Ok(()), |tail| between("tail", tail, 0.0, 5.0))?;
    case.drop.map_or(Ok(()), |drop| between("drop", drop, 0.0, 20.0))?;
    let waste_percent = case.waste.unwrap_or_default().0;
    if !(0.0..=100.0).contains(&waste_percent) {
        return Err(CaseError::at("waste", format!("{waste_percent} %; expected 0 % to 100 %")));
    }
    Ok(Allowances {
        tail_mm: case.tail.map_or(usual.value, Length::mm),
        drop_mm: case.drop.unwrap_or_default().mm(),
        waste_percent,
        tail_source: if case.tail.is_some() { "as given".to_owned() } else { usual.source.to_string() },
    })
}

/// Lengths of reels (mm).
fn reel_sizes(case: &Case, facts: &Facts) -> Result<Vec<f64>, CaseError> {
    let Some(reels) = &case.reels else {
        return Ok(facts
            .table("cable.reel")
            .rows
            .iter()
            .filter_map(|row| Some(row.number("reel_m")? * 1000.0))
            .collect());
    };
    if reels.is_empty() || reels.len() > MOST_SIZES {
        return Err(CaseError::at("reels", format!("1 to {MOST_SIZES} lengths of reel are expected")));
    }
    for (at, reel) in reels.iter().enumerate() {
        between(&format!("reels[{at}]"), *reel, 0.5, 1000.0)?;
    }
    Ok(reels.iter().map(|reel| reel.mm()).collect())
}

/// The feed, then the points (mm).
fn places(case: &Case) -> Result<Vec<[f64; 2]>, CaseError> {
    if case.points.is_empty() || case.points.len() > MOST_POINTS {
        return Err(CaseError::at("points", format!("1 to {MOST_POINTS} points are expected")));
    }
    case.feed.iter().try_for_each(|length| between("feed", *length, -40.0, 40.0))?;
    for (at, point) in case.points.iter().enumerate() {
        point.iter().try_for_each(|length| between(&format!("points[{at}]"), *length, -40.0, 40.0))?;
    }
    Ok(std::iter::once(&case.feed).chain(&case.points).map(|place| place.map(Length::mm)).collect())
}

fn floor(case: &Case, places: &[[f64; 2]], facts: &Facts) -> Result<Floor, CaseError> {
    let Some(joists) = &case.joists else { return Ok(Floor::without_joists()) };
    let reach_mm = places.iter().flatten().copied().fold(0.0, f64::max);
    let over = case.ceiling.as_ref().is_some_and(|ceiling| ceiling.access == Access::Loft);
    let drilled = (!over).then(|| [facts.value("timber.hole_from_share"), facts.value("timber.hole_to_share")]);
    Floor::new(joists, reach_mm, drilled)
}
