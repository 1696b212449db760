//! Timber: whether a hole or a notch in a joist is allowed and where, and where joists stand.
//!
//! The rules hold for solid floor joists, simply supported. Where two sources differ, both are shown and the verdict
//! takes the narrower of each. Engineered joists are their maker's matter: the answer is *ask*, with what to use instead.

use serde::{Deserialize, Serialize};

use crate::case::CaseError;
use crate::facts::{Facts, Row, Source};
use crate::quantity::Length;

pub use faces::{JoistSurvey, MeasuredFaces, joists_from_faces};

mod faces;
#[cfg(test)]
mod tests;

/// More holes or notches than this in one joist is a slip in the case, not a joist.
const MOST_CUTS: usize = 200;
/// Figures this near to a limit (mm) count as on it, so that 48.75 mm read from metres still fits 48.75 mm.
const TOUCHING_MM: f64 = 1e-6;

/// A joist and what is to be cut in it.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Case {
    /// The joist.
    pub joist: Joist,
    /// The holes, all measured from the same support.
    #[serde(default)]
    pub hole: Vec<Hole>,
    /// The notches, measured from that support too.
    #[serde(default)]
    pub notch: Vec<Notch>,
}

/// A joist.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Joist {
    /// Depth, top to bottom.
    pub depth: Length,
    /// Thickness; no rule depends on it.
    #[serde(default)]
    pub width: Option<Length>,
    /// Clear span between supports.
    pub span: Length,
    /// What kind of joist; solid if not said.
    #[serde(default)]
    pub kind: Kind,
}

/// What kind of joist.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub enum Kind {
    /// Sawn timber, simply supported.
    #[default]
    #[serde(rename = "solid")]
    Solid,
    /// Flanges with a board web between.
    #[serde(rename = "I")]
    I,
    /// Flanges with an open metal web between.
    #[serde(rename = "metal web")]
    MetalWeb,
    /// A member of a trussed rafter.
    #[serde(rename = "truss")]
    Truss,
}

impl Kind {
    fn name(self) -> &'static str {
        match self {
            Self::Solid => "solid",
            Self::I => "I",
            Self::MetalWeb => "metal web",
            Self::Truss => "truss",
        }
    }
}

/// A round hole through a joist.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Hole {
    /// Diameter.
    pub diameter: Length,
    /// From the face of one support to the centre.
    pub from_support: Length,
    /// From the top of the joist to the centre; on the centre line if not said.
    #[serde(default)]
    pub centre_from_top: Option<Length>,
}

/// A notch in the top or bottom edge of a joist.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Notch {
    /// Depth of the cut.
    pub depth: Length,
    /// From the face of one support to the middle of the notch.
    pub from_support: Length,
    /// Which edge.
    #[serde(default)]
    pub edge: Edge,
}

/// An edge of a joist.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Edge {
    /// The upper edge.
    #[default]
    Top,
    /// The lower edge.
    Bottom,
}

/// What a rule, or all rules together, say of a cut.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// Allowed.
    Within,
    /// Somebody else must say: the joist's maker, or an engineer.
    Ask,
    /// Not allowed.
    Outside,
}

/// One rule put to one cut.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Rule {
    /// Name of the rule.
    pub id: String,
    /// The cut's figure, in `unit`; `null` where the rule is no matter of a figure.
    pub value: Option<f64>,
    /// What is allowed, in `unit`.
    pub limit: Option<f64>,
    /// Unit of both; empty where there is no figure.
    pub unit: &'static str,
    /// `least` or `most`; empty where there is no figure.
    pub side: &'static str,
    /// What this rule says.
    pub verdict: Verdict,
    /// Where the rule comes from.
    pub source: String,
}

/// A stretch of a joist, from the nearer support.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Zone {
    /// Where it begins (mm).
    pub from: f64,
    /// Where it ends (mm).
    pub to: f64,
}

/// All rules put to one cut.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Judged {
    /// The worst that any rule says.
    pub verdict: Verdict,
    /// Each rule.
    pub rules: Vec<Rule>,
    /// Where such a cut may be; `null` where no table holds for this joist.
    pub zone_mm: Option<Zone>,
}

/// What a solid joist of this size allows, before any cut is planned.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Limits {
    /// Largest hole that the timber allows.
    pub hole_most_mm: f64,
    /// Largest hole on the centre line that also keeps the cover a cable needs; 0 where no hole does.
    pub cable_hole_most_mm: f64,
    /// Where holes may be.
    pub hole_zone_mm: Zone,
    /// Deepest notch, by the narrower source.
    pub notch_most_mm: f64,
    /// Where notches may be, by the narrower source.
    pub notch_zone_mm: Zone,
}

/// The joist's limits and what they say of each cut.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Answer {
    /// Each hole, in order.
    pub holes: Vec<Judged>,
    /// Each notch, in order.
    pub notches: Vec<Judged>,
    /// What the joist allows; `null` where the rules for solid timber don't hold.
    pub limits: Option<Limits>,
    /// What to do about it, in words.
    pub advice: Vec<String>,
}

/// Judges holes and notches in a joist.
///
/// # Errors
/// [`CaseError`] names the key whose value no joist can have.
pub fn figure(case: &Case, facts: &Facts) -> Result<Answer, CaseError> {
    check(case)?;
    if case.joist.kind != Kind::Solid {
        return Ok(not_solid(case, facts));
    }
    let holes: Vec<_> = (0..case.hole.len()).map(|at| judge_hole(case, at, facts)).collect();
    let notches: Vec<_> = (0..case.notch.len()).map(|at| judge_notch(case, at, facts)).collect();
    let limits = limits(&case.joist, facts);
    let mut advice = Vec::new();
    if limits.cable_hole_most_mm <= 0.0 {
        advice.push(
            "No hole in this joist keeps the cover a cable needs: run along the bay, over the joists in a loft, \
             or put mechanical protection over the cable."
                .to_owned(),
        );
    }
    if !case.notch.is_empty() {
        advice.push(
            "A lighting cable seldom needs a notch: a hole on the centre line weakens the joist less.".to_owned(),
        );
    }
    if holes.iter().chain(&notches).any(|cut| cut.verdict != Verdict::Within) {
        advice.push("Where a rule is not met, choose another route or ask a structural engineer.".to_owned());
    }
    Ok(Answer { holes, notches, limits: Some(limits), advice })
}

/// What a solid joist of this depth and span allows.
#[must_use]
pub fn limits(joist: &Joist, facts: &Facts) -> Limits {
    let (depth, span) = (joist.depth.mm(), joist.span.mm());
    let hole_most_mm = (facts.value("timber.hole_depth_share") * depth).min(facts.value("timber.hole_cap"));
    let narrowest = |column: &str| figures(facts, column).fold(f64::INFINITY, f64::min);
    let latest = |column: &str| figures(facts, column).fold(0.0, f64::max);
    Limits {
        hole_most_mm,
        cable_hole_most_mm: hole_most_mm.min(depth - 2.0 * facts.value("timber.cover")).max(0.0),
        hole_zone_mm: Zone {
            from: facts.value("timber.hole_from_share") * span,
            to: facts.value("timber.hole_to_share") * span,
        },
        notch_most_mm: (narrowest("depth_share") * depth).min(facts.value("timber.notch_cap")),
        notch_zone_mm: Zone { from: latest("from_share") * span, to: narrowest("to_share") * span },
    }
}

/// The figures in a column of the table of notches.
fn figures(facts: &Facts, column: &str) -> impl Iterator<Item = f64> {
    facts.table("timber.notch").rows.iter().filter_map(move |row| row.number(column))
}

fn judge_hole(case: &Case, at: usize, facts: &Facts) -> Judged {
    let hole = &case.hole[at];
    let (depth, diameter) = (case.joist.depth.mm(), hole.diameter.mm());
    let centre = hole.centre_from_top.map_or(depth / 2.0, Length::mm);
    let place = from_nearer(hole.from_support, &case.joist);
    let zone = limits(&case.joist, facts).hole_zone_mm;
    let fact = Limit { facts };
    let share = facts.value("timber.hole_depth_share");
    let mut rules = vec![
        joist_depth(depth, facts),
        fact.most("diameter", diameter, share * depth, "timber.hole_depth_share"),
        fact.most("diameter_cap", diameter, facts.value("timber.hole_cap"), "timber.hole_cap"),
        fact.least("zone_from", place, zone.from, "timber.hole_from_share"),
        fact.most("zone_to", place, zone.to, "timber.hole_to_share"),
        fact.most(
            "centre_line",
            (centre - depth / 2.0).abs(),
            facts.value("timber.hole_off_centre"),
            "timber.hole_off_centre",
        ),
        fact.least("cover_top", centre - diameter / 2.0, facts.value("timber.cover"), "timber.cover"),
        fact.least("cover_bottom", depth - centre - diameter / 2.0, facts.value("timber.cover"), "timber.cover"),
    ];
    rules.extend(spacing(case, at, facts));
    let to_notch = case
        .notch
        .iter()
        .map(|notch| (notch.from_support.mm() - hole.from_support.mm()).abs() - diameter / 2.0)
        .min_by(f64::total_cmp);
    rules.extend(
        to_notch.map(|gap| {
            fact.least("to_notch", gap.max(0.0), facts.value("timber.hole_to_notch"), "timber.hole_to_notch")
        }),
    );
    judged(rules, zone)
}

/// The hole's distance to the other hole that comes nearest to being too close.
fn spacing(case: &Case, at: usize, facts: &Facts) -> Option<Rule> {
    let hole = &case.hole[at];
    let diameters = facts.value("timber.hole_spacing_diameters");
    let others = case.hole.iter().enumerate().filter(|(other, _)| *other != at).map(|(_, other)| other);
    let (value, limit) = others
        .map(|other| {
            let apart = (other.from_support.mm() - hole.from_support.mm()).abs();
            (apart, diameters * hole.diameter.mm().max(other.diameter.mm()))
        })
        .min_by(|a, b| (a.0 - a.1).total_cmp(&(b.0 - b.1)))?;
    Some(Limit { facts }.least("spacing", value, limit, "timber.hole_spacing_diameters"))
}

fn judge_notch(case: &Case, at: usize, facts: &Facts) -> Judged {
    let notch = &case.notch[at];
    let (depth, span) = (case.joist.depth.mm(), case.joist.span.mm());
    let (cut, place) = (notch.depth.mm(), from_nearer(notch.from_support, &case.joist));
    let fact = Limit { facts };
    let mut rules = vec![
        joist_depth(depth, facts),
        fact.most("depth_cap", cut, facts.value("timber.notch_cap"), "timber.notch_cap"),
    ];
    for row in &facts.table("timber.notch").rows {
        rules.extend(notch_by_source(row, notch.edge, [cut, place], [depth, span]));
    }
    let both_edges = case.notch.iter().any(|other| other.edge != notch.edge);
    let one_edge = if both_edges { Verdict::Outside } else { Verdict::Within };
    rules.push(worded("one_edge", one_edge, &facts.table("timber.notch").rows[0].source));
    let gap = |hole: &Hole| (notch.from_support.mm() - hole.from_support.mm()).abs() - hole.diameter.mm() / 2.0;
    rules.extend(
        case.hole.iter().map(gap).min_by(f64::total_cmp).map(|gap| {
            fact.least("to_hole", gap.max(0.0), facts.value("timber.hole_to_notch"), "timber.hole_to_notch")
        }),
    );
    judged(rules, limits(&case.joist, facts).notch_zone_mm)
}

/// The rules of one source for a notch: its depth, its zone, its edge.
fn notch_by_source(row: &Row, edge: Edge, [cut, place]: [f64; 2], [depth, span]: [f64; 2]) -> Vec<Rule> {
    let id = row.text("id").unwrap_or_default();
    let share = |column: &str| row.number(column).unwrap_or(0.0);
    let allowed = edge == Edge::Top || row.text("edge") != Some("top");
    vec![
        bounded(format!("depth_{id}"), cut, share("depth_share") * depth, "most", &row.source),
        bounded(format!("zone_from_{id}"), place, share("from_share") * span, "least", &row.source),
        bounded(format!("zone_to_{id}"), place, share("to_share") * span, "most", &row.source),
        worded(&format!("edge_{id}"), if allowed { Verdict::Within } else { Verdict::Outside }, &row.source),
    ]
}

/// A joist deeper than the tables go is an engineer's matter, whatever the cut.
fn joist_depth(depth: f64, facts: &Facts) -> Rule {
    let mut rule = Limit { facts }.most("joist_depth", depth, facts.value("timber.joist_depth"), "timber.joist_depth");
    if rule.verdict == Verdict::Outside {
        rule.verdict = Verdict::Ask;
    }
    rule
}

/// Every cut in a joist that is not solid gets the same answer, with what to use instead.
fn not_solid(case: &Case, facts: &Facts) -> Answer {
    let kind = case.joist.kind;
    let verdict = if kind == Kind::Truss { Verdict::Outside } else { Verdict::Ask };
    let table = facts.table("timber.engineered");
    let row = table.row_named("kind", kind.name()).unwrap_or(&table.rows[0]);
    let one = Judged { verdict, rules: vec![worded("kind", verdict, &row.source)], zone_mm: None };
    Answer {
        holes: vec![one.clone(); case.hole.len()],
        notches: vec![one; case.notch.len()],
        limits: None,
        advice: row.text("instead").map(str::to_owned).into_iter().collect(),
    }
}

struct Limit<'a> {
    facts: &'a Facts,
}

impl Limit<'_> {
    fn most(&self, id: &str, value: f64, limit: f64, fact: &str) -> Rule {
        self.rule(id, value, limit, "most", fact)
    }

    fn least(&self, id: &str, value: f64, limit: f64, fact: &str) -> Rule {
        self.rule(id, value, limit, "least", fact)
    }

    fn rule(&self, id: &str, value: f64, limit: f64, side: &'static str, fact: &str) -> Rule {
        let source = &self.facts.get(fact).expect("the facts of timber come with the program").source;
        bounded(id.to_owned(), value, limit, side, source)
    }
}

fn bounded(id: String, value: f64, limit: f64, side: &'static str, source: &Source) -> Rule {
    let over = if side == "most" { value - limit } else { limit - value };
    let verdict = if over <= TOUCHING_MM { Verdict::Within } else { Verdict::Outside };
    Rule { id, value: Some(value), limit: Some(limit), unit: "mm", side, verdict, source: source.to_string() }
}

fn worded(id: &str, verdict: Verdict, source: &Source) -> Rule {
    Rule { id: id.to_owned(), value: None, limit: None, unit: "", side: "", verdict, source: source.to_string() }
}

fn judged(rules: Vec<Rule>, zone: Zone) -> Judged {
    let verdict = rules.iter().map(|rule| rule.verdict).max().unwrap_or(Verdict::Within);
    Judged { verdict, rules, zone_mm: Some(zone) }
}

fn from_nearer(place: Length, joist: &Joist) -> f64 {
    place.mm().min(joist.span.mm() - place.mm())
}

fn check(case: &Case) -> Result<(), CaseError> {
    let joist = &case.joist;
    between("joist.depth", joist.depth, 0.02, 1.0)?;
    between("joist.span", joist.span, 0.3, 20.0)?;
    joist.width.map_or(Ok(()), |width| between("joist.width", width, 0.01, 0.5))?;
    if case.hole.len() > MOST_CUTS || case.notch.len() > MOST_CUTS {
        return Err(CaseError::at("hole", format!("at most {MOST_CUTS} holes and {MOST_CUTS} notches in one joist")));
    }
    let (depth, span) = (joist.depth.0, joist.span.0);
    for (at, hole) in case.hole.iter().enumerate() {
        between(&format!("hole[{at}].diameter"), hole.diameter, 0.001, depth)?;
        between(&format!("hole[{at}].from_support"), hole.from_support, 0.0, span)?;
        hole.centre_from_top
            .map_or(Ok(()), |centre| between(&format!("hole[{at}].centre_from_top"), centre, 0.0, depth))?;
    }
    for (at, notch) in case.notch.iter().enumerate() {
        between(&format!("notch[{at}].depth"), notch.depth, 0.001, depth)?;
        between(&format!("notch[{at}].from_support"), notch.from_support, 0.0, span)?;
    }
    Ok(())
}

/// Refuses a length outside `least` to `most` (m), and what is no number.
fn between(path: &str, length: Length, least: f64, most: f64) -> Result<(), CaseError> {
    if length.0 >= least && length.0 <= most {
        return Ok(());
    }
    let [found, least, most] = [length.0, least, most].map(|metres| crate::quantity::plain(metres * 1000.0, 1));
    Err(CaseError::at(path, format!("{found} mm; expected {least} mm to {most} mm")))
}
