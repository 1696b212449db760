//! Setting out: where the fittings go.
//!
//! A candidate is a number of rows and columns with a first place and a spacing along each axis, at 1 mm. All legal ones
//! are ranked, in this order: as many lights as asked, or the fewest that meet the target · symmetrical · spacings
//! nearest to equal · least largest move from even half-spacing, in classes of 10 mm · evenest light on the work plane,
//! in classes of 0.02 · fewest joists crossed, where nothing above opens · the old rose covered, where it is clear ·
//! least move after all · lower x, then y. What needs no light is exact over all candidates; light decides among the
//! best 200 of the best class.

mod case;
mod footprint;
mod layout;
mod light;
mod outline;
mod quick;
mod rank;
mod search;
mod site;
#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests;
mod why_not;

use serde::Serialize;

pub use case::{
    Access, AxisName, Board, Case, CentreLine, CutOut, Fitting, FixedTo, Joists, KeepOut, LineFamily, MOST_LIGHTS,
    Room, Rose, Target, Void, Wall,
};
pub use layout::{Closing, Hole, LaserLine, Layout, LightLost, PerAxis};
pub use light::{Light, Plane, Planes};
pub use why_not::WhyNot;

use crate::case::CaseError;
use crate::facts::Facts;
use crate::quantity::{Length, plain};
use layout::About;
use light::Lamp;
use rank::{Asked, Ranked};
use search::{Found, Shape};
use site::{Site, um};

/// The answer of the setting-out calculator: the best layout, others, and what was taken into account.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Answer {
    /// The best layout; where nothing is legal, even half-spacing with `legal` false.
    #[serde(flatten)]
    pub layout: Layout,
    /// Other legal layouts, ranked, each with its reason.
    pub alternatives: Vec<Layout>,
    /// The measures of each hole from two walls.
    pub measurements: Vec<Hole>,
    /// Why nothing is legal; none where something is.
    pub why_not: Option<WhyNot>,
    /// Whether the average on the work plane meets the target; none without a target or light.
    pub meets_target: Option<bool>,
    /// What was assumed, and what to mind.
    pub notes: Vec<String>,
}

/// Whether a layout chosen earlier is still legal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Judgement {
    /// Every hole is clear of timber, lines, walls and keep-outs.
    pub legal: bool,
    /// The same in words: what changed, or what stands in the way.
    pub words: String,
}

/// Sets out the lights of a case.
///
/// # Errors
/// [`CaseError`] with the key of the case that makes no sense.
pub fn figure(case: &Case, facts: &Facts) -> Result<Answer, CaseError> {
    let question = Question::new(case, facts)?;
    let mut layouts = question.layouts();
    let notes = question.notes();
    let (layout, why_not) = if layouts.is_empty() {
        let (layout, why_not) = question.nothing_fits();
        (layout, Some(why_not))
    } else {
        (layouts.remove(0), None)
    };
    let meets_target =
        case.target.zip(layout.light).map(|(target, light)| light.figures.average_lx >= target.average.0);
    Ok(Answer { measurements: layout.holes.clone(), layout, alternatives: layouts, why_not, meets_target, notes })
}

/// The legal layouts worth offering, the best first, each with its reason; empty where nothing is legal.
///
/// # Errors
/// As [`figure`].
pub fn rank(case: &Case, facts: &Facts) -> Result<Vec<Layout>, CaseError> {
    Ok(Question::new(case, facts)?.layouts())
}

/// Judges a layout that was chosen earlier, its holes in millimetres, against the case as it is now.
///
/// A case that can't be read makes no layout legal, and the words say why.
#[must_use]
pub fn judge(case: &Case, former: &[[f64; 2]]) -> Judgement {
    let refused = |words: String| Judgement { legal: false, words };
    let facts = Facts::embedded();
    let site = match case.check().and_then(|()| Site::new(case, edge_to_wall(facts))) {
        Ok(site) => site,
        Err(error) => return refused(error.to_string()),
    };
    if former.is_empty() {
        return refused("no holes were given".to_owned());
    }
    if !former.iter().flatten().all(|place| place.abs() <= 1e6) {
        return refused("a hole is no place in a room".to_owned());
    }
    let points: Vec<[i64; 2]> = former.iter().map(|hole| hole.map(|place| um(Length(place / 1000.0)))).collect();
    let mut against = why_not::misfits(case);
    against.extend(why_not::blocks_at(&site, &points));
    if against.is_empty() {
        Judgement { legal: true, words: why_not::still_legal(&site, &points) }
    } else {
        refused(format!("no longer legal: {}", against.join("; ")))
    }
}

/// Least distance from a hole's edge to a wall where the case names none, in micrometres.
fn edge_to_wall(facts: &Facts) -> i64 {
    um(Length(facts.value("set_out.edge_to_wall") / 1000.0))
}

/// A case made ready for the search.
struct Question<'a> {
    case: &'a Case,
    facts: &'a Facts,
    site: Site,
    asked: Asked,
    lamp: Option<Lamp>,
}

impl<'a> Question<'a> {
    fn new(case: &'a Case, facts: &'a Facts) -> Result<Self, CaseError> {
        case.check()?;
        let site = Site::new(case, edge_to_wall(facts))?;
        let asked = Asked::new(case, &site)?;
        let lamp = Lamp::new(case, outline::plan(&case.room)?)?;
        Ok(Self { case, facts, site, asked, lamp })
    }

    /// The best layout and its alternatives; empty where nothing is legal.
    fn layouts(&self) -> Vec<Layout> {
        if !why_not::misfits(self.case).is_empty() {
            return Vec::new();
        }
        let lamp = self.lamp.as_ref();
        let Some((count, best)) = self.best() else { return Vec::new() };
        let others = rank::alternatives(&self.site, &self.asked, count, lamp, &best);
        let best = (best, self.reason(&best));
        std::iter::once(best).chain(others).map(|(ranked, reason)| self.layout(&ranked, reason, true)).collect()
    }

    /// The best layout, with the number of lights that it holds.
    fn best(&self) -> Option<(Option<u32>, Ranked)> {
        let lamp = self.lamp.as_ref();
        match (self.asked.count, self.case.target, lamp) {
            (None, Some(target), Some(lamp)) if self.asked.is_open() => {
                let fewest = lamp.fewest_for(target.average.0);
                let meets = |ranked: &Ranked| {
                    lamp.light(&ranked.found.points(&self.site)).figures.average_lx >= target.average.0
                };
                (fewest..=MOST_LIGHTS).find_map(|count| {
                    let best = rank::best(&self.site, &self.asked, Some(count), Some(lamp)).filter(meets)?;
                    Some((Some(count), best))
                })
            }
            (count, _, _) => rank::best(&self.site, &self.asked, count, lamp).map(|best| (count, best)),
        }
    }

    fn reason(&self, best: &Ranked) -> String {
        let even = match (self.site.has_middle.contains(&true), best.symmetrical) {
            (false, _) => "best of all legal",
            (_, true) => "symmetrical",
            (_, false) => "nothing symmetrical is legal",
        };
        let moved = best.found.moved.mm();
        if moved < 1.0 {
            return format!("{even}, at even half-spacing");
        }
        format!("{even}, {moved:.0} mm at most from even half-spacing")
    }

    fn layout(&self, ranked: &Ranked, reason: String, legal: bool) -> Layout {
        let half_spacing = Found::at_half_spacing(&self.site, ranked.found.shape);
        let light = |found: &Found| self.lamp.as_ref().map(|lamp| lamp.light(&found.points(&self.site)));
        let about = About {
            reason,
            legal,
            symmetrical: ranked.symmetrical && self.site.has_middle.contains(&true),
            light: light(&ranked.found),
            half_spacing_light: light(&half_spacing),
            hole_saw_mm: hole_saw_mm(self.case.fitting.cut_out, self.facts),
        };
        Layout::new(&self.site, &ranked.found, about)
    }

    /// The even half-spacing layout, with what stands in its way and what would help.
    fn nothing_fits(&self) -> (Layout, WhyNot) {
        let fewest = self.lamp.as_ref().zip(self.case.target).map(|(lamp, target)| lamp.fewest_for(target.average.0));
        let open = self.asked.is_open();
        let count = self.asked.count.or(fewest.filter(|_| open).map(|count| count.min(MOST_LIGHTS)));
        let shapes = self.asked.shapes(&self.site, count);
        let shape = shapes.first().and_then(|class| class.first()).copied().unwrap_or(Shape { columns: 1, rows: 1 });
        let ideal = rank::half_spacing(&self.site, shape);
        let misfits = why_not::misfits(self.case);
        let changes = if misfits.is_empty() {
            why_not::changes(self.case, &self.site, &self.asked, count, edge_to_wall(self.facts))
        } else {
            Vec::new()
        };
        let mut blocks = misfits;
        blocks.extend(why_not::blocks_at(&self.site, &ideal.found.points(&self.site)));
        if blocks.is_empty() {
            blocks.push(format!("no layout of up to {MOST_LIGHTS} lights meets the target"));
        }
        let layout = self.layout(&ideal, "even half-spacing, which is not legal here".to_owned(), false);
        (layout, WhyNot { blocks, nearest: changes.first().cloned(), changes })
    }

    fn notes(&self) -> Vec<String> {
        let case = self.case;
        let mut notes = Vec::new();
        if case.wall.is_none() {
            let edge = self.facts.value("set_out.edge_to_wall");
            notes.push(format!("no distance to walls was given: the hole's edge is kept {} mm off", plain(edge, 0)));
        }
        if case.joists.is_none() {
            notes.push("no joists were given: nothing here keeps a hole off timber".to_owned());
        } else if case.fitting.side_clearance.0 == 0.0 {
            notes.push("no side clearance was given: only the hole itself is kept off timber".to_owned());
        }
        if case.rose.is_some_and(|rose| rose.fixed_to != FixedTo::Clear && rose.diameter.0 == 0.0) {
            notes.push(
                "only the centre of the old rose is kept clear: give its diameter to keep its base clear".to_owned(),
            );
        }
        notes
    }
}

/// The saw to cut with: the smallest usual size from the least cut-out up, never above the most.
///
/// Where a single size is printed, clips still hold in a hole a little larger; how much is a fact with its source.
#[must_use]
pub fn hole_saw_mm(cut_out: CutOut, facts: &Facts) -> Option<f64> {
    let least = cut_out.least().mm();
    let most = match cut_out {
        CutOut::Size(size) => size.mm() + facts.value("set_out.cut_out_over"),
        CutOut::Range([_, most]) => most.mm(),
    };
    let sizes = facts.table("hole_saw.size").rows.iter().filter_map(|row| row.number("diameter_mm"));
    sizes.filter(|size| (least - 1e-6..=most + 1e-6).contains(size)).reduce(f64::min)
}
