//! Which candidate is best, and which others are worth offering.

use std::cmp::{Ordering, Reverse};

use super::case::{Case, MOST_LIGHTS};
use super::light::{self, Lamp, Nearby};
use super::search::{self, Among, Found, KEPT, Shape};
use super::site::Site;
use crate::calc::light::illuminance::PlaneFigures;
use crate::case::CaseError;

/// How many layouts are offered in all, the best among them.
const OFFERED: usize = 6;
/// How many lights fewer or more are tried where nothing fits.
const FEWER_OR_MORE: u32 = 4;
/// How far lights may move from half-spacing in a change that is proposed, in millimetres.
const MOST_PROPOSED_MOVE_MM: i64 = 320;

/// How many lights in what rows the case asks for.
#[derive(Debug, Clone, Copy)]
pub(super) struct Asked {
    /// The number of lights.
    pub count: Option<u32>,
    /// The number of rows, where it is fixed.
    rows: Option<u32>,
    /// The number of columns, where it is fixed.
    columns: Option<u32>,
}

impl Asked {
    /// What a case asks for; without any number, the target decides.
    ///
    /// # Errors
    /// [`CaseError`] where the numbers contradict each other, or nothing says how many.
    pub fn new(case: &Case, site: &Site) -> Result<Self, CaseError> {
        let fitting = &case.fitting;
        let (rows, columns) = (fitting.rows, fitting.columns);
        let grid = rows.zip(columns).map(|(rows, columns)| rows * columns);
        let asked = Self { count: fitting.count.or(grid.filter(|_| site.notches.is_empty())), rows, columns };
        if asked.count.is_none() && grid.is_none() {
            if case.target.is_none() {
                let message = "expected `count`, or `rows` and `columns`, or a `target` for the light";
                return Err(CaseError::at("fitting", message));
            }
            if fitting.lumens.is_none() && fitting.photometry_text.is_none() {
                let message = "is needed to find the number of fittings that meet the target";
                return Err(CaseError::at("fitting.lumens", message));
            }
        }
        if asked.count.is_some() && asked.shapes(site, asked.count).is_empty() {
            let message = "the number of lights can't be set out in straight rows of this number";
            return Err(CaseError::at("fitting.count", message));
        }
        Ok(asked)
    }

    /// Whether nothing but the target says how many lights.
    pub fn is_open(&self) -> bool {
        self.count.is_none() && self.rows.zip(self.columns).is_none()
    }

    /// The same with other numbers of lights, the nearest first: fewer before more.
    pub fn nearby(&self, count: Option<u32>) -> Vec<Self> {
        let nearby = |number: u32| {
            (1..=FEWER_OR_MORE).flat_map(move |by| [number.checked_sub(by), number.checked_add(by)]).flatten()
        };
        let within = |asked: &Self| {
            let lights = asked.count.or(asked.rows.zip(asked.columns).map(|(rows, columns)| rows * columns));
            lights.is_some_and(|lights| (1..=MOST_LIGHTS).contains(&lights))
        };
        let others: Vec<Self> = match (self.rows, self.columns, count) {
            (Some(rows), Some(columns), _) => {
                let fewer_or_more = |number: u32| [number.saturating_sub(1), number + 1];
                let by_columns = fewer_or_more(columns).map(|columns| (rows, columns));
                let by_rows = fewer_or_more(rows).map(|rows| (rows, columns));
                let grid = |(rows, columns): (u32, u32)| Self {
                    count: self.count.map(|_| rows * columns),
                    rows: Some(rows),
                    columns: Some(columns),
                };
                let mut grids: Vec<Self> = by_columns.into_iter().chain(by_rows).map(grid).collect();
                grids.sort_by_key(|asked| {
                    let lights = asked.rows.zip(asked.columns).map_or(0, |(rows, columns)| rows * columns);
                    (lights.abs_diff(rows * columns), lights)
                });
                grids
            }
            (_, _, Some(count)) => nearby(count).map(|count| Self { count: Some(count), ..*self }).collect(),
            _ => Vec::new(),
        };
        others.into_iter().filter(within).collect()
    }

    /// The shapes that can hold so many lights, in classes of equal spacing, the nearest to equal first.
    ///
    /// In an outline some places of the grid are no room, so that larger grids count too.
    pub fn shapes(&self, site: &Site, count: Option<u32>) -> Vec<Vec<Shape>> {
        let fits = |shape: &Shape| {
            let places = shape.columns * shape.rows;
            let holds = count.is_none_or(|count| match site.notches.is_empty() {
                true => places == count,
                false => (count..=(2 * count + 4).min(4 * MOST_LIGHTS)).contains(&places),
            });
            holds
                && self.rows.is_none_or(|rows| rows == shape.rows)
                && self.columns.is_none_or(|columns| columns == shape.columns)
        };
        let mut shapes: Vec<Shape> = (1..=MOST_LIGHTS)
            .flat_map(|columns| (1..=MOST_LIGHTS).map(move |rows| Shape { columns, rows }))
            .filter(fits)
            .collect();
        let order = |one: &Shape, two: &Shape| by_inequality(site, *one, *two);
        shapes.sort_by(order);
        shapes.chunk_by(|one, two| order(one, two) == Ordering::Equal).map(<[Shape]>::to_vec).collect()
    }
}

/// Orders shapes by how far from equal their spacings are.
fn by_inequality(site: &Site, one: Shape, two: Shape) -> Ordering {
    let ((one_top, one_below), (two_top, two_below)) = (one.inequality(site), two.inequality(site));
    (one_top * two_below).cmp(&(two_top * one_below))
}

/// A candidate with what the ranking knows of it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ranked {
    /// The candidate.
    pub found: Found,
    /// Whether it is symmetrical along both axes.
    pub symmetrical: bool,
    /// How many lights it has.
    lights: usize,
    /// The class of its light, the higher the evener; 0 where nothing is known of the light.
    light_class: u32,
}

impl Ranked {
    fn new(site: &Site, light: Option<&Nearby>, found: Found) -> Self {
        let symmetrical = [found.x, found.y]
            .into_iter()
            .enumerate()
            .all(|(axis, places)| search::is_symmetrical(site, axis, found.shape.along(axis), places));
        let light_class = light.map_or(0, |light| light::class(&light.figures(&found.points(site))));
        Self { found, symmetrical, lights: found.points(site).len(), light_class }
    }

    /// The whole ranking among legal candidates; the lesser is the better. Their numbers of lights are equal where a
    /// number was asked for, else the fewest are the best.
    fn by_rank(&self, other: &Self, site: &Site) -> Ordering {
        self.lights
            .cmp(&other.lights)
            .then_with(|| other.symmetrical.cmp(&self.symmetrical))
            .then_with(|| by_inequality(site, self.found.shape, other.found.shape))
            .then_with(|| self.found.moved.class().cmp(&other.found.moved.class()))
            .then_with(|| Reverse(self.light_class).cmp(&Reverse(other.light_class)))
            .then_with(|| self.found.after_light(&other.found))
    }
}

/// The best layout for so many lights; `None` where nothing is legal.
pub(super) fn best(site: &Site, asked: &Asked, count: Option<u32>, lamp: Option<&Lamp>) -> Option<Ranked> {
    let classes = asked.shapes(site, count);
    amongs(site).iter().find_map(|&among| {
        classes.iter().find_map(|shapes| {
            let found = shapes.iter().flat_map(|shape| search::best(site, *shape, count, among)).collect();
            best_by_light(site, lamp, found)
        })
    })
}

/// What to look among, in this order; a room without any middle has no symmetrical layouts to look among first.
fn amongs(site: &Site) -> &'static [Among] {
    if site.has_middle.contains(&true) { &[Among::Symmetrical, Among::All] } else { &[Among::All] }
}

/// A shape with a legal layout for so many lights that is symmetrical or moves little; `None` where there is none.
pub(super) fn some_legal(site: &Site, asked: &Asked, count: Option<u32>) -> Option<Shape> {
    let shapes = asked.shapes(site, count).concat();
    amongs(site).iter().find_map(|&among| {
        let legal = |shape: &&Shape| !search::nearby(site, **shape, count, among, MOST_PROPOSED_MOVE_MM).is_empty();
        shapes.iter().find(legal).copied()
    })
}

/// The best of candidates that differ in their moves and what ranks below: light decides among those of one class.
fn best_by_light(site: &Site, lamp: Option<&Lamp>, mut found: Vec<Found>) -> Option<Ranked> {
    found.sort_unstable();
    let first = *found.first()?;
    let class = first.moved.class();
    let light = lamp.map(|lamp| lamp.near(&first.points(site)));
    let equals = found.into_iter().take_while(|candidate| candidate.moved.class() == class).take(KEPT);
    equals.map(|candidate| Ranked::new(site, light.as_ref(), candidate)).min_by(|one, two| one.by_rank(two, site))
}

/// The even half-spacing layout to the nearest millimetre, legal or not.
pub(super) fn half_spacing(site: &Site, shape: Shape) -> Ranked {
    Ranked::new(site, None, Found::at_half_spacing(site, shape))
}

/// Other legal layouts that somebody may have reason to prefer, ranked, each with that reason.
pub(super) fn alternatives(
    site: &Site,
    asked: &Asked,
    count: Option<u32>,
    lamp: Option<&Lamp>,
    best: &Ranked,
) -> Vec<(Ranked, String)> {
    let mut offers: Vec<(Ranked, String)> = Vec::new();
    let mut offer = |found: Option<Found>, reason: &dyn Fn(&Ranked) -> String| {
        let Some(found) = found else { return };
        let known = |other: &Found| (other.shape, other.x, other.y) == (found.shape, found.x, found.y);
        if known(&best.found) || offers.iter().any(|(ranked, _)| known(&ranked.found)) {
            return;
        }
        let light = lamp.map(|lamp| lamp.near(&found.points(site)));
        let ranked = Ranked::new(site, light.as_ref(), found);
        let reason = reason(&ranked);
        offers.push((ranked, reason));
    };
    let shape = best.found.shape;
    offer(over_the_rose(site, asked, count, best), &|_| String::from("a light covers the place of the old rose"));
    offer(search::with_fewer_crossings(site, shape, count, best.found.crossings), &|ranked| {
        format!("crosses {} joists instead of {}", ranked.found.crossings, best.found.crossings)
    });
    if best.symmetrical && best.found.moved.class() > 0 {
        let nearest = search::best(site, shape, count, Among::All).first().copied();
        let nearer = nearest.filter(|found| found.moved.class() < best.found.moved.class());
        offer(nearer, &|ranked| {
            format!("nearer to half-spacing, {:.0} mm off, but not symmetrical", ranked.found.moved.mm())
        });
    }
    if let Some((figures, found)) = lamp.and_then(|lamp| evener(site, count, lamp, best)) {
        offer(Some(found), &|ranked| {
            let (uniformity, moved) = (figures.uniformity, ranked.found.moved.mm());
            format!("evener light, minimum {uniformity:.2} of average, {moved:.0} mm off half-spacing")
        });
    }
    let others = asked.shapes(site, count).concat().into_iter().filter(|other| *other != shape);
    for other in others.take(OFFERED) {
        let found = [Among::Symmetrical, Among::All]
            .into_iter()
            .find_map(|among| search::nearby(site, other, count, among, MOST_PROPOSED_MOVE_MM).first().copied());
        offer(found, &|ranked| match ranked.symmetrical {
            true => shape_words(ranked.found.shape),
            false => format!("{}, not symmetrical", shape_words(ranked.found.shape)),
        });
    }
    if let Some(count) = count.filter(|_| asked.is_open()) {
        for more in (count + 1..=count + FEWER_OR_MORE).filter(|more| *more <= MOST_LIGHTS) {
            let shape = asked.shapes(site, Some(more)).concat().first().copied();
            let found =
                shape.and_then(|shape| search::best(site, shape, Some(more), Among::Symmetrical).first().copied());
            offer(found, &|ranked| format!("{more} lights instead of {count}, {}", shape_words(ranked.found.shape)));
        }
    }
    offers.sort_by(|(one, _), (two, _)| one.by_rank(two, site));
    offers.truncate(OFFERED - 1);
    offers
}

fn over_the_rose(site: &Site, asked: &Asked, count: Option<u32>, best: &Ranked) -> Option<Found> {
    if site.coverable_rose.is_none() || !best.found.uncovered {
        return None;
    }
    asked.shapes(site, count).concat().into_iter().find_map(|shape| search::over_the_rose(site, shape, count))
}

/// A symmetrical layout of the same shape whose light is in a better class, wherever it stands: the evenest of a sieve
/// over the legal places.
fn evener(site: &Site, count: Option<u32>, lamp: &Lamp, best: &Ranked) -> Option<(PlaneFigures, Found)> {
    let sieve = search::symmetrical_sieve(site, best.found.shape, count);
    let light = lamp.near(&best.found.points(site));
    let lit = sieve.into_iter().map(|found| (light.figures(&found.points(site)), found));
    let order = |figures: &PlaneFigures, found: &Found| (light::class(figures), Reverse(*found));
    let evenest = lit.max_by(|(one, a), (two, b)| order(one, a).cmp(&order(two, b)))?;
    // Reflected light as it is there, and not as it is near the best layout, has the last word.
    let figures = lamp.near(&evenest.1.points(site)).figures(&evenest.1.points(site));
    (light::class(&figures) > best.light_class).then_some((figures, evenest.1))
}

/// Rows and columns in words.
fn shape_words(shape: Shape) -> String {
    match (shape.rows, shape.columns) {
        (1, columns) => format!("one row of {columns} along the length"),
        (rows, 1) => format!("one row of {rows} along the width"),
        (rows, columns) => format!("{rows} rows of {columns}"),
    }
}
