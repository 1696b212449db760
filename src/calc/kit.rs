//! Kit: the small parts of a job, each with its quantity and why.
//!
//! Counts and lengths come as set-out, cable and joints give them. Every quantity is rounded up: what is left over can
//! go back, what is missing stops the work with a ceiling open.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::calc::cable::Access;
use crate::calc::making_good::{Surface, making_good};
use crate::case::CaseError;
use crate::facts::{Facts, Row};
use crate::quantity::{Area, Length, plain, round_up};

#[cfg(test)]
mod tests;

/// More of anything than one room has.
const MOST: usize = 1000;

/// A job whose parts are to be listed.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Case {
    /// Its counts and lengths.
    pub job: Job,
}

/// Counts and lengths of a job.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Job {
    /// New fittings.
    #[serde(alias = "lights", alias = "fittings")]
    pub count: u32,
    /// Diameter of the hole saw.
    #[serde(default)]
    pub hole_saw: Option<Length>,
    /// How a cable reaches a fitting.
    #[serde(default)]
    pub terminals: Terminals,
    /// Protection class of the fittings: 1 is earthed, 2 is not.
    #[serde(default)]
    pub class: Option<u32>,
    /// Lengths of new cable, in the order of the chain.
    #[serde(default)]
    pub lengths: Vec<Length>,
    /// Area of the new cable's lines; 1.5 mm² if not said.
    #[serde(default)]
    pub cable_area: Option<Area>,
    /// Cores of the new cable beside its protective conductor: 2 if not said.
    #[serde(default)]
    pub cable_cores: Option<u32>,
    /// How much of the new cable runs upright.
    #[serde(default)]
    pub upright: Option<Length>,
    /// What opens above the ceiling; where nothing does, cable can't be clipped.
    #[serde(default)]
    pub access: Option<Access>,
    /// Joists crossed, as `cable` counts them.
    #[serde(default)]
    pub crossings: u32,
    /// What `cable` says to buy.
    #[serde(default)]
    pub reels: Vec<Reel>,
    /// Old cables at the rose.
    #[serde(default)]
    pub old_cables: u32,
    /// What `joints` says to join.
    #[serde(default)]
    pub groups: Vec<Group>,
    /// Where the join to the old cables lives.
    #[serde(default)]
    pub joint: Option<Joint>,
    /// The old rose's hole.
    #[serde(default)]
    pub rose_hole: Option<Length>,
    /// Other holes to be closed.
    #[serde(default)]
    pub spare_holes: Vec<Length>,
    /// What the ceiling is.
    #[serde(default)]
    pub surface: Option<Surface>,
    /// How thick the ceiling is; 12.5 mm if not said.
    #[serde(default)]
    pub thickness: Option<Length>,
}

/// How a cable reaches a fitting.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
pub enum Terminals {
    /// Terminals that take the cable in and the cable out.
    #[default]
    #[serde(rename = "two cables")]
    TwoCables,
    /// Terminals for one cable only.
    #[serde(rename = "one cable")]
    OneCable,
    /// A lead without a plug.
    #[serde(rename = "flying lead")]
    FlyingLead,
    /// A plug, whose socket takes one cable.
    #[serde(rename = "plug")]
    Plug,
}

/// Where the join to the old cables lives.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub enum Joint {
    /// In the loft, where it can be reached.
    #[serde(rename = "loft")]
    Loft,
    /// Behind a blank plate over the old rose's hole.
    #[serde(rename = "plate")]
    Plate,
    /// Above a light, reached through its hole.
    #[serde(rename = "above a light")]
    AboveALight,
}

/// A reel, as `cable` gives it.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reel {
    /// Its length.
    pub reel: Length,
    /// What is cut from it.
    #[serde(default)]
    pub cuts: Vec<Length>,
    /// Tags of those cuts.
    #[serde(default)]
    pub tags: Vec<String>,
    /// What is left on it.
    #[serde(default)]
    pub left: Option<Length>,
}

/// A group of cores to be joined, as `joints` gives it.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct Group {
    /// Its name.
    pub name: String,
    /// Its cores.
    pub cores: Vec<String>,
    /// Cores of it to be sleeved: the colour, or an object with a `colour`.
    #[serde(default)]
    pub sleeves: Vec<Value>,
}

/// The list of parts.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Answer {
    /// Each part once.
    pub items: Vec<Item>,
}

/// One part.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Item {
    /// Its trade name, with the size that matters.
    pub name: String,
    /// How many, or how much, in `unit`.
    pub quantity: f64,
    /// `pieces`, `m`, `ml`.
    pub unit: &'static str,
    /// What it is for, and what the quantity is made of.
    pub why: String,
}

/// Lists the parts of a job.
///
/// # Errors
/// [`CaseError`] with the key whose value can't be.
pub fn figure(case: &Case, facts: &Facts) -> Result<Answer, CaseError> {
    let job = &case.job;
    check(job)?;
    let mut items = fittings(job, facts);
    items.extend(reels(job));
    items.extend(connectors(job, facts));
    items.extend(enclosures(job));
    items.extend(cable_ends(job, facts));
    items.extend(clips(job, facts)?);
    items.extend(closing_holes(job, facts)?);
    Ok(Answer { items })
}

fn pieces(name: impl Into<String>, quantity: usize, why: impl Into<String>) -> Item {
    Item { name: name.into(), quantity: quantity as f64, unit: "pieces", why: why.into() }
}

fn fittings(job: &Job, facts: &Facts) -> Vec<Item> {
    let spare = facts.value("spare.fittings") as usize;
    let mut items = vec![
        pieces("downlight", job.count as usize, "one for each place"),
        pieces("spare downlight of the same batch", spare, "one that can't be matched later costs a new ceiling"),
    ];
    if let Some(saw) = job.hole_saw {
        items.push(pieces(
            format!("hole saw {} mm", plain(saw.mm(), 1)),
            1,
            "the cut-outs, after a trial in a board offcut",
        ));
    }
    if job.crossings > 0 && job.access == Some(Access::FloorAbove) {
        let why = format!("{} joists to drill, on the centre line", job.crossings);
        items.push(pieces("wood bit that passes the cable freely", 1, why));
    }
    items
}

fn reels(job: &Job) -> Vec<Item> {
    let mut by_length: BTreeMap<u64, (usize, usize)> = BTreeMap::new();
    for reel in &job.reels {
        let entry = by_length.entry((reel.reel.mm()).round() as u64).or_default();
        *entry = (entry.0 + 1, entry.1 + reel.cuts.len());
    }
    let item = |(mm, (count, cuts)): (u64, (usize, usize))| {
        let name = format!("reel of {} cable, {} m", cable_name(job), plain(mm as f64 / 1000.0, 2));
        pieces(name, count, format!("{cuts} lengths of the cut list come off {count}"))
    };
    by_length.into_iter().rev().map(item).collect()
}

fn cable_name(job: &Job) -> String {
    let kind = if job.cable_cores == Some(3) { "three-core and earth" } else { "twin and earth" };
    format!("{} mm² flat {kind}", plain(cable_area(job), 2))
}

fn cable_area(job: &Job) -> f64 {
    job.cable_area.map_or(1.5, |area| area.0)
}

/// Connectors by ways: at the joint as its groups want, at each light as its terminals want.
fn connectors(job: &Job, facts: &Facts) -> Vec<Item> {
    let table = facts.table("connector.ways");
    let sizes: Vec<usize> = table.rows.iter().filter_map(|row| row.number("ways")).map(|ways| ways as usize).collect();
    let mut by_ways: BTreeMap<usize, [usize; 2]> = BTreeMap::new();
    for group in &job.groups {
        for ways in ways_for(group.cores.len(), &sizes) {
            by_ways.entry(ways).or_default()[0] += 1;
        }
    }
    for cores in groups_at_lights(job) {
        for ways in ways_for(cores, &sizes) {
            by_ways.entry(ways).or_default()[1] += 1;
        }
    }
    let spare_share = facts.value("spare.connector_share") / 100.0;
    let item = |(ways, [joint, lights]): (usize, [usize; 2])| {
        let needed = joint + lights;
        let spare = round_up(needed as f64 * spare_share, 0) as usize;
        let why = format!("{joint} at the joint, {lights} at the lights, {spare} spare");
        pieces(format!("connector, {ways} ways"), needed + spare, why)
    };
    by_ways.into_iter().map(item).collect()
}

/// Ways of the connectors that join so many cores: one where one is large enough, else several, each linked to the next.
fn ways_for(cores: usize, sizes: &[usize]) -> Vec<usize> {
    let largest = sizes.last().copied().unwrap_or(usize::MAX);
    let mut ways = Vec::new();
    let mut left = cores;
    // A full connector gives one way to the link onward, and the link takes one way in the next.
    while left > largest && largest > 2 {
        ways.push(largest);
        left = left + 2 - largest;
    }
    if left > 0 {
        ways.extend(sizes.iter().copied().find(|size| *size >= left));
    }
    ways
}

/// How many cores each connector at the lights joins, along the chain.
fn groups_at_lights(job: &Job) -> Vec<usize> {
    let live = job.cable_cores.unwrap_or(2) as usize;
    let earthed = job.class == Some(1);
    (1..=job.count)
        .flat_map(|light| {
            let cables = if light < job.count { 2 } else { 1 };
            if job.terminals == Terminals::TwoCables {
                // The fitting has no use for the protective conductor in class II; the next light may.
                return if earthed { Vec::new() } else { vec![cables] };
            }
            let mut groups = vec![cables + 1; live];
            groups.push(if earthed { cables + 1 } else { cables });
            groups
        })
        .collect()
}

fn enclosures(job: &Job) -> Vec<Item> {
    let mut items = Vec::new();
    if job.terminals != Terminals::TwoCables {
        let why = "the fitting has no terminals for two cables, so each light's connectors need a box with cord grips";
        items.push(pieces("joint box that passes the cut-out", job.count as usize, why));
    }
    items.extend(job.joint.map(|joint| match joint {
        Joint::Loft => pieces("joint box with cord grips", 1, "the join, screwed to a joist where it can be reached"),
        Joint::Plate => pieces("blank plate and back box", 1, "the join, behind the plate over the old rose's hole"),
        Joint::AboveALight => pieces(
            "maintenance-free joint box (BS 5733, marked MF)",
            1,
            "the join, where it is no longer easily reached",
        ),
    }));
    items
}

/// What the ends of cables want: caps, tags, sleeves.
fn cable_ends(job: &Job, facts: &Facts) -> Vec<Item> {
    let new_ends = 2 * job.lengths.len();
    let ends = new_ends + job.old_cables as usize;
    let mut items = Vec::new();
    if new_ends > 0 {
        items.push(pieces("cable end cap", new_ends, "both ends of each new length, until it is connected"));
    }
    if ends > 0 {
        let why = format!("{new_ends} ends of new cable, {} old cables", job.old_cables);
        items.push(pieces("cable tag", ends, why));
        items.push(sleeve("green-and-yellow sleeve", ends, "bare protective conductors", facts));
    }
    let mut by_colour: BTreeMap<String, usize> = BTreeMap::new();
    for mark in job.groups.iter().flat_map(|group| &group.sleeves) {
        *by_colour.entry(colour(mark)).or_default() += 1;
    }
    // The protective conductors of the joint are among the cable ends already.
    by_colour.retain(|colour, _| !colour.is_empty() && !colour.contains("green"));
    items.extend(by_colour.into_iter().map(|(colour, count)| {
        sleeve(&format!("{colour} sleeve"), count, "cores whose colour doesn't say what they are", facts)
    }));
    items
}

fn colour(mark: &Value) -> String {
    mark.as_str().or_else(|| mark.get("colour")?.as_str()).unwrap_or_default().trim().to_lowercase()
}

fn sleeve(name: &str, ends: usize, of: &str, facts: &Facts) -> Item {
    let each_mm = facts.value("sleeve.end");
    Item {
        name: name.to_owned(),
        quantity: round_up(ends as f64 * each_mm / 1000.0, 1),
        unit: "m",
        why: format!("{ends} ends of {each_mm} mm: {of}"),
    }
}

fn clips(job: &Job, facts: &Facts) -> Result<Vec<Item>, CaseError> {
    if job.lengths.is_empty() || job.access == Some(Access::Nothing) {
        return Ok(Vec::new());
    }
    let (width_mm, spacing) = clip_spacing(job, facts)?;
    let [level_mm, upright_mm] = ["level_mm", "upright_mm"].map(|column| spacing.number(column).unwrap_or(250.0));
    let upright = job.upright.unwrap_or_default().mm();
    let total: f64 = job.lengths.iter().map(|length| length.mm()).sum();
    if upright > total {
        return Err(CaseError::at("job.upright", "more runs upright than there is cable"));
    }
    let along = round_up((total - upright) / level_mm, 0) + round_up(upright / upright_mm, 0);
    let at_ends = facts.value("clip.bend_allowance") * job.lengths.len() as f64;
    let count = round_up((along + at_ends) * (1.0 + facts.value("clip.spare_share") / 100.0), 0);
    let packs = round_up(count / facts.value("clip.pack"), 0);
    let why = format!(
        "every {level_mm} mm level and {upright_mm} mm upright for cable {width_mm} mm wide ({}), two more for each \
         length, and spares: {packs} packs of {}",
        spacing.source,
        facts.value("clip.pack")
    );
    Ok(vec![pieces(format!("clip for {} cable", cable_name(job)), count as usize, why)])
}

/// The width of the cable (mm) and the row of clip spacings that holds for it.
fn clip_spacing<'a>(job: &Job, facts: &'a Facts) -> Result<(f64, &'a Row), CaseError> {
    let (area, cores) = (cable_area(job), f64::from(job.cable_cores.unwrap_or(2)));
    let sizes = &facts.table("cable.flat_size").rows;
    let cable = sizes.iter().find(|row| row.number("area_mm2") == Some(area) && row.number("cores") == Some(cores));
    // A cable that the table doesn't hold gets the closest spacing there is.
    let width_mm = cable.and_then(|row| row.number("width_mm")).unwrap_or(0.0);
    let rows = &facts.table("clip.spacing").rows;
    let row = rows.iter().find(|row| row.number("width_up_to_mm").is_some_and(|most| width_mm <= most));
    row.map(|row| (width_mm, row))
        .ok_or_else(|| CaseError::at("job.cable_area", "no clip spacing is known for this cable"))
}

/// What it takes to close the old rose's hole, unless a plate covers it, and the other holes.
fn closing_holes(job: &Job, facts: &Facts) -> Result<Vec<Item>, CaseError> {
    let surface = job.surface.unwrap_or(Surface::Board);
    let thickness_mm = job.thickness.map_or(12.5, Length::mm);
    let rose = job.rose_hole.filter(|_| job.joint != Some(Joint::Plate)).map(|hole| ("job.rose_hole".to_owned(), hole));
    let spare = job.spare_holes.iter().enumerate().map(|(at, hole)| (format!("job.spare_holes[{at}]"), *hole));
    let (mut filler_ml, mut tape_mm, mut holes) = (0.0, 0.0, 0);
    let mut items = Vec::new();
    for (path, hole) in rose.into_iter().chain(spare) {
        let hole_mm = hole.mm();
        let method = making_good(hole_mm, surface, facts)
            .ok_or_else(|| CaseError::at(path, "a hole above 0 mm and up to 600 mm is expected"))?;
        holes += 1;
        let area_mm2 = std::f64::consts::PI * hole_mm * hole_mm / 4.0;
        if method.method.starts_with("fill") {
            filler_ml += area_mm2 * thickness_mm / 1000.0;
            continue;
        }
        let side_mm = hole_mm + 2.0 * facts.value("making_good.board_share");
        // Coats that feather out to 100 mm beyond the patch, a millimetre thick.
        filler_ml += (side_mm + 200.0) * (side_mm + 200.0) / 1000.0;
        tape_mm += 4.0 * side_mm;
        let name = format!("board offcut {0} × {0} mm, {1} mm thick", plain(side_mm, 0), plain(thickness_mm, 1));
        items.push(pieces(name, 1, format!("{}: {}", method.method, method.how)));
        let batten = format!("batten 25 × 50 mm, {} mm long", plain(side_mm + 100.0, 0));
        items.push(pieces(batten, 2, "behind the patch, screwed through the ceiling beyond both sides"));
    }
    if holes > 0 {
        let filler_ml = round_up(filler_ml * (1.0 + facts.value("filler.cover_share") / 100.0) / 50.0, 0) * 50.0;
        let why = format!("{holes} holes to close, with half as much again for edges and sanding");
        items.push(Item { name: "filler".to_owned(), quantity: filler_ml, unit: "ml", why });
    }
    if tape_mm > 0.0 {
        let quantity = round_up(tape_mm / 1000.0, 1);
        items.push(Item {
            name: "joint tape".to_owned(),
            quantity,
            unit: "m",
            why: "the edges of each patch".to_owned(),
        });
    }
    Ok(items)
}

fn check(job: &Job) -> Result<(), CaseError> {
    let counts = [
        ("job.count", job.count as usize, 1),
        ("job.crossings", job.crossings as usize, 0),
        ("job.old_cables", job.old_cables as usize, 0),
        ("job.lengths", job.lengths.len(), 0),
        ("job.reels", job.reels.len(), 0),
        ("job.groups", job.groups.len(), 0),
        ("job.spare_holes", job.spare_holes.len(), 0),
    ];
    for (path, count, least) in counts {
        if count < least || count > MOST {
            return Err(CaseError::at(path, format!("{count}; expected {least} to {MOST}")));
        }
    }
    for (at, group) in job.groups.iter().enumerate() {
        if group.cores.is_empty() || group.cores.len() > MOST {
            return Err(CaseError::at(format!("job.groups[{at}].cores"), "at least one core is expected"));
        }
    }
    if job.class.is_some_and(|class| class != 1 && class != 2) {
        return Err(CaseError::at("job.class", "1 (earthed) or 2 (double insulated) is expected"));
    }
    if job.cable_cores.is_some_and(|cores| cores != 2 && cores != 3) {
        return Err(CaseError::at("job.cable_cores", "2 or 3 is expected, the protective conductor not counted"));
    }
    if !(0.5..=16.0).contains(&cable_area(job)) {
        return Err(CaseError::at("job.cable_area", "0.5 mm² to 16 mm² is expected"));
    }
    check_lengths(job)
}

fn check_lengths(job: &Job) -> Result<(), CaseError> {
    let named = |path: &str, lengths: &[Length]| -> Vec<(String, Length)> {
        lengths.iter().enumerate().map(|(at, length)| (format!("{path}[{at}]"), *length)).collect()
    };
    let one = |path: &str, length: Option<Length>| length.map(|length| (path.to_owned(), length));
    let mut lengths = named("job.lengths", &job.lengths);
    lengths.extend(named("job.spare_holes", &job.spare_holes));
    lengths.extend(job.reels.iter().enumerate().map(|(at, reel)| (format!("job.reels[{at}].reel"), reel.reel)));
    lengths.extend(one("job.hole_saw", job.hole_saw));
    lengths.extend(one("job.upright", job.upright));
    lengths.extend(one("job.rose_hole", job.rose_hole));
    lengths.extend(one("job.thickness", job.thickness));
    match lengths.into_iter().find(|(_, length)| !(0.0..=1000.0).contains(&length.0)) {
        Some((path, length)) => Err(CaseError::at(path, format!("{} m; expected 0 m to 1000 m", plain(length.0, 4)))),
        None => Ok(()),
    }
}
