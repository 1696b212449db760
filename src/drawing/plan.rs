//! The ceiling plan: walls, joists, holes, rose, joint, keep-outs, laser lines, the way of the cable, the light map, and
//! every measure from two walls.

use serde::{Deserialize, Serialize};

use super::room::{self, Along, Given, Hole, Joists, MOST, Room};
use super::{Anchor, Area, Drawing, Note, NoteKind, Point, Role, Shape, Side, Size, Tag, Text, words};

/// What a ceiling plan shows. Lengths in mm from the walls at x = 0 and y = 0, unless the key says metres.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct CeilingPlan {
    /// The title; "Ceiling plan" without one.
    pub title: Option<String>,
    /// Length of a rectangular room, m.
    pub length_m: Option<f64>,
    /// Width of a rectangular room, m.
    pub width_m: Option<f64>,
    /// Corners of a room of another shape, m, instead of length and width.
    pub outline_m: Vec<Point>,
    /// Holes for the lights.
    pub holes: Vec<Hole>,
    /// Diameter of the holes, mm; drawn at 70 mm without it.
    pub cut_out_mm: Option<f64>,
    /// Joists above.
    pub joists_mm: Option<Joists>,
    /// The old rose.
    pub rose_mm: Option<Point>,
    /// The place of the joint.
    pub joint_mm: Option<Point>,
    /// Rectangles that no hole may touch, and strips that nobody may drill into.
    pub keep_outs: Vec<KeepOut>,
    /// Tags of the holes in the order of the chain, from the joint, else from the rose.
    pub chain: Vec<String>,
    /// Laser or string lines to mark along.
    pub lines: Vec<LaserLine>,
    /// The light map.
    pub light: Option<LightMap>,
    /// The darkest places.
    pub spots: Vec<Spot>,
}

/// A rectangle to keep clear.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KeepOut {
    /// What is there.
    pub name: String,
    /// From and to along the length, mm.
    pub x_mm: Point,
    /// From and to along the width, mm.
    pub y_mm: Point,
}

/// A laser or string line across the room.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LaserLine {
    /// The axis that it runs along.
    pub along: Along,
    /// Its place across that axis, mm.
    pub at_mm: f64,
}

/// Illuminance over a grid of equal patches that fills the room's rectangle.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LightMap {
    /// Patches along the length.
    pub columns: usize,
    /// Patches along the width.
    pub rows: usize,
    /// Lux at each patch, row by row from y = 0, each from x = 0; null where a patch lies outside the room.
    pub lx: Vec<Option<f64>>,
    /// The plane that it holds for; "work plane" without a name.
    #[serde(default)]
    pub plane: Option<String>,
}

/// One of the darkest places.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Spot {
    /// Along the length, mm.
    pub x_mm: f64,
    /// Along the width, mm.
    pub y_mm: f64,
    /// Illuminance, lx.
    pub lx: f64,
}

/// Diameter that holes are drawn with where none is given, mm: a common cut-out (common practice, no source).
const USUAL_CUT_OUT_MM: f64 = 70.0;

/// Illuminances from here on are no indoor light, lx.
const GREATEST_LX: f64 = 1e6;

/// Diameter that a rose is drawn with, mm (common practice, no source).
const ROSE_MM: f64 = 75.0;

/// Draws the ceiling plan as seen from above: with wall D ahead, wall A is on the left.
#[must_use]
pub fn ceiling_plan(plan: &CeilingPlan) -> Drawing {
    let title = words::inert(plan.title.as_deref().unwrap_or("Ceiling plan"));
    let given = Given { length_m: plan.length_m, width_m: plan.width_m, outline_m: &plan.outline_m };
    let Some(room) = Room::new(given) else {
        let mut drawing = room::sheet(title, Area { low: [0.0, 0.0], high: [1000.0, 1000.0] });
        room::warn(&mut drawing, "No size of the room that could be drawn: nothing is shown.");
        return drawing;
    };
    let mut drawing = room::sheet(title, room.area);
    drawing.description = format!(
        "Ceiling plan seen from above, {:.2} by {:.2} m, with {}.",
        room.area.width() / 1000.0,
        room.area.height() / 1000.0,
        words::count(plan.holes.len(), "hole", "holes")
    );
    let view = "Seen from above: face the top of the plan, and wall A is on your left.";
    drawing.notes.push(Note::new(NoteKind::Line, view));
    draw_light(&mut drawing, plan);
    draw_keep_outs(&mut drawing, plan, &room);
    if let Some(joists) = &plan.joists_mm {
        room::draw_joists(&mut drawing, joists, Some(&room));
    }
    room.draw(&mut drawing);
    draw_lines(&mut drawing, plan, &room);
    draw_way(&mut drawing, plan, &room);
    draw_places(&mut drawing, plan, &room);
    draw_holes(&mut drawing, plan, &room);
    draw_spots(&mut drawing, plan, &room);
    drawing
}

fn draw_light(drawing: &mut Drawing, plan: &CeilingPlan) {
    let Some(light) = &plan.light else { return };
    let figures: Vec<f64> = light.lx.iter().flatten().copied().collect();
    let fits = light.columns.checked_mul(light.rows) == Some(light.lx.len());
    let sound = figures.iter().all(|lx| (0.0..GREATEST_LX).contains(lx)) && !figures.is_empty();
    if !fits || !sound || light.lx.len() > 1_000_000 {
        room::warn(drawing, "The light map's figures don't fit its rows and columns: not drawn.");
        return;
    }
    let brightest = figures.iter().copied().fold(0.0, f64::max);
    let patches = Patches::of(light, [7, 6]);
    let area = drawing.subject;
    for row in 0..patches.rows {
        for column in 0..patches.columns {
            let Some(lx) = patches.lx[row * patches.columns + column] else { continue };
            // The band is between 0 and 4, whatever the figures.
            let band = if brightest > 0.0 { (lx / brightest * 5.0).floor().clamp(0.0, 4.0) as u8 } else { 0 };
            let corner = |column: usize, row: usize| {
                [
                    area.low[0] + area.width() * column as f64 / patches.columns as f64,
                    area.low[1] + area.height() * row as f64 / patches.rows as f64,
                ]
            };
            let patch = Area { low: corner(column, row), high: corner(column + 1, row + 1) };
            drawing.shapes.push(Shape::Rect { role: Role::Light(band), area: patch });
        }
    }
    let plane = words::inert(light.plane.as_deref().unwrap_or("work plane"));
    drawing.notes.push(Note::new(NoteKind::Heading, format!("Light on the {plane}, lx, the lowest of each patch")));
    for row in (0..patches.rows).rev() {
        let cells = &patches.lx[row * patches.columns..(row + 1) * patches.columns];
        let figures: String =
            cells.iter().map(|lx| lx.map_or_else(|| "    .".to_owned(), |lx| format!("{:>5.0}", lx.floor()))).collect();
        drawing.notes.push(Note::new(NoteKind::Figures, figures));
    }
}

/// A light map brought down to a few patches, each with its lowest figure: the safe side.
struct Patches {
    columns: usize,
    rows: usize,
    lx: Vec<Option<f64>>,
}

impl Patches {
    fn of(light: &LightMap, most: [usize; 2]) -> Self {
        let (columns, rows) = (light.columns.min(most[0]), light.rows.min(most[1]));
        let mut lx: Vec<Option<f64>> = vec![None; columns * rows];
        for row in 0..light.rows {
            for column in 0..light.columns {
                let patch = &mut lx[(row * rows / light.rows) * columns + column * columns / light.columns];
                if let Some(value) = light.lx[row * light.columns + column] {
                    *patch = Some(patch.map_or(value, |lowest| lowest.min(value)));
                }
            }
        }
        Self { columns, rows, lx }
    }
}

fn draw_keep_outs(drawing: &mut Drawing, plan: &CeilingPlan, room: &Room) {
    if !plan.keep_outs.is_empty() {
        drawing.notes.push(Note::new(NoteKind::Heading, "Keep clear, mm"));
    }
    for (index, keep_out) in plan.keep_outs.iter().take(MOST).enumerate() {
        let name = words::inert(&keep_out.name);
        let corners = [[keep_out.x_mm[0], keep_out.y_mm[0]], [keep_out.x_mm[1], keep_out.y_mm[1]]];
        let area = Area::around(&corners).filter(|_| corners.iter().flatten().all(|value| value.is_finite()));
        let Some(inside) = area.and_then(|area| area.within(room.area)) else {
            room::warn(drawing, format!("{name}: no part of it lies in the room. Not drawn."));
            continue;
        };
        drawing.shapes.push(Shape::Hatch { role: Role::KeepOut, area: inside });
        let of = [f64::midpoint(inside.low[0], inside.high[0]), f64::midpoint(inside.low[1], inside.high[1])];
        let text = format!("K{}", index + 1);
        drawing.tags.push(Tag { role: Role::KeepOut, text, of, clear_mm: 0.0, side: Side::On });
        let span = |axis: Along| {
            let at = |value: f64| words::mm(value - room.area.low[axis.index()]);
            let (low, high) = (inside.low[axis.index()], inside.high[axis.index()]);
            format!("{} to {} from {}", at(low), at(high), room.origin_wall(axis))
        };
        let note = format!("K{}  {name}: {}, {}", index + 1, span(Along::X), span(Along::Y));
        drawing.notes.push(Note::new(NoteKind::Line, note));
    }
    say_too_many(drawing, plan.keep_outs.len(), "rectangles to keep clear");
}

fn draw_lines(drawing: &mut Drawing, plan: &CeilingPlan, room: &Room) {
    let mut said = Vec::new();
    for line in plan.lines.iter().take(MOST) {
        let across = 1 - line.along.index();
        if !(room.area.low[across]..=room.area.high[across]).contains(&line.at_mm) {
            room::warn(drawing, "A laser line lies outside the room: not drawn.");
            continue;
        }
        for [from, to] in room.spans(line.along, line.at_mm) {
            let (from, to) = (line.along.point(from, line.at_mm), line.along.point(to, line.at_mm));
            drawing.shapes.push(Shape::Line { role: Role::LaserLine, from, to });
        }
        let axis = if line.along == Along::X { Along::Y } else { Along::X };
        said.push(format!("{} from {}", words::mm(line.at_mm - room.area.low[across]), room.origin_wall(axis)));
    }
    if !said.is_empty() {
        drawing.notes.push(Note::new(NoteKind::Heading, "Laser lines, mm"));
        drawing.notes.push(Note::new(NoteKind::Line, said.join(" · ")));
    }
    say_too_many(drawing, plan.lines.len(), "laser lines");
}

fn draw_way(drawing: &mut Drawing, plan: &CeilingPlan, room: &Room) {
    let mut here = plan.joint_mm.or(plan.rose_mm).filter(|place| room.holds(*place));
    for tag in plan.chain.iter().take(MOST) {
        let hole = plan.holes.iter().find(|hole| hole.tag == *tag && room.holds(hole.at()));
        let Some(hole) = hole else {
            room::warn(drawing, format!("The chain names {}, which is no hole of this plan.", words::inert(tag)));
            continue;
        };
        if let Some(from) = here {
            let way = room::dog_leg(from, hole.at(), plan.joists_mm.as_ref());
            room::draw_cable(drawing, &way, plan.joists_mm.as_ref());
        }
        here = Some(hole.at());
    }
    if !plan.chain.is_empty() {
        let order: Vec<String> = plan.chain.iter().take(MOST).map(|tag| words::inert(tag)).collect();
        drawing.notes.push(Note::new(NoteKind::Heading, "Order of the chain"));
        drawing.notes.push(Note::new(NoteKind::Line, order.join(", ")));
    }
    say_too_many(drawing, plan.chain.len(), "links of the chain");
}

/// The rose and the joint.
fn draw_places(drawing: &mut Drawing, plan: &CeilingPlan, room: &Room) {
    let places = [(plan.rose_mm, Role::Rose, "R", "Rose"), (plan.joint_mm, Role::Joint, "joint", "Joint")];
    if places.iter().any(|(place, ..)| place.is_some()) {
        drawing.notes.push(Note::new(NoteKind::Heading, "Rose and joint, mm from the walls"));
    }
    for (place, role, tag, name) in places {
        let Some(place) = place else { continue };
        if !room.holds(place) {
            room::warn(drawing, format!("{name}: its place lies outside the room. Not drawn."));
            continue;
        }
        let shape = match role {
            Role::Rose => Shape::Circle { role, centre: place, radius: ROSE_MM / 2.0 },
            _ => Shape::Rect { role, area: Area { low: place, high: place }.grown(40.0, 40.0, 40.0, 40.0) },
        };
        drawing.shapes.push(shape);
        drawing.tags.push(Tag { role, text: tag.to_owned(), of: place, clear_mm: 40.0, side: Side::Any });
        drawing.notes.push(Note::new(NoteKind::Line, format!("{name}  {}", room.measured(place))));
    }
}

fn draw_holes(drawing: &mut Drawing, plan: &CeilingPlan, room: &Room) {
    let cut_out = plan.cut_out_mm.filter(|mm| (1.0..=1000.0).contains(mm));
    if cut_out != plan.cut_out_mm {
        room::warn(drawing, format!("The cut-out is no size of a hole: drawn at {USUAL_CUT_OUT_MM} mm."));
    }
    let diameter = cut_out.unwrap_or(USUAL_CUT_OUT_MM);
    if !plan.holes.is_empty() {
        let heading = match cut_out {
            Some(mm) => format!("Hole centres, mm from the walls; cut-out {} mm", words::mm(mm)),
            None => "Hole centres, mm from the walls".to_owned(),
        };
        drawing.notes.push(Note::new(NoteKind::Heading, heading));
    }
    let mut drawn = Vec::new();
    for hole in plan.holes.iter().take(MOST) {
        let tag = words::inert(&hole.tag);
        if !room.holds(hole.at()) {
            room::warn(drawing, format!("{tag}: its place lies outside the room. Not drawn."));
            continue;
        }
        if !hole.agrees(room) {
            room::warn(drawing, format!("{tag}: its measures from the walls aren't those of its place."));
        }
        drawing.shapes.push(Shape::Circle { role: Role::Hole, centre: hole.at(), radius: diameter / 2.0 });
        drawing.notes.push(Note::new(NoteKind::Line, format!("{tag}  {}", room.measured(hole.at()))));
        drawing.tags.push(Tag {
            role: Role::Hole,
            text: tag,
            of: hole.at(),
            clear_mm: diameter / 2.0,
            side: Side::Any,
        });
        drawn.push(hole.at());
    }
    say_too_many(drawing, plan.holes.len(), "holes");
    closing_measures(drawing, &drawn, room);
    running_measures(drawing, &drawn, room, Along::X);
    running_measures(drawing, &drawn, room, Along::Y);
}

/// What is left from each row's last hole to the wall ahead: the measure that finds a slipped tape.
fn closing_measures(drawing: &mut Drawing, holes: &[Point], room: &Room) {
    if holes.is_empty() {
        return;
    }
    let heading = "Closing measures, mm from the last hole of a row to the wall ahead";
    drawing.notes.push(Note::new(NoteKind::Heading, heading));
    for y in distinct(holes, 1) {
        let row = holes.iter().filter(|hole| same(hole[1], y));
        let Some(last) = row.max_by(|a, b| a[0].total_cmp(&b[0])) else { continue };
        let Some((wall, x)) = room.ahead(*last) else { continue };
        let (at, left) = (words::mm(y - room.area.low[1]), words::mm(x - last[0]));
        let text = format!("Row {at} from {}: {left} to {}", room.origin_wall(Along::Y), wall.letter);
        drawing.notes.push(Note::new(NoteKind::Line, text));
    }
}

/// Whether two places are the same to a tape measure.
fn same(a: f64, b: f64) -> bool {
    (a - b).abs() < 1.0
}

/// The different places along an axis, from the least.
fn distinct(holes: &[Point], axis: usize) -> Vec<f64> {
    let mut places: Vec<f64> = holes.iter().map(|hole| hole[axis]).collect();
    places.sort_by(f64::total_cmp);
    places.dedup_by(|a, b| same(*a, *b));
    places
}

/// Figures beside the plan: the room's own size and each different place of a hole, all from the same wall. Where
/// figures come too close, the next along x takes a second line; where no line is left, the notes alone have it.
fn running_measures(drawing: &mut Drawing, holes: &[Point], room: &Room, axis: Along) {
    let scale = drawing.scale;
    let (index, across) = (axis.index(), 1 - axis.index());
    let origin = room.area.low;
    let outward: &[f64] = if axis == Along::X { &[9.0, 14.5] } else { &[7.0] };
    let figure = |place: f64, outward: f64| {
        let (at, anchor) = match axis {
            Along::X => ([place, origin[across] - (outward + 1.9) * scale], Anchor::Middle),
            Along::Y => ([origin[across] - (outward + 0.8) * scale, place], Anchor::End),
        };
        Text { at, anchor, size: Size::Small, text: words::mm(place - origin[index]) }
    };
    let mut taken: Vec<Area> = Vec::new();
    for place in std::iter::once(room.area.high[index]).chain(distinct(holes, index)) {
        let free = |outward: &&f64| {
            let area = figure(place, **outward).area(scale);
            !taken.iter().any(|other| other.overlaps(area))
        };
        let Some(outward) = outward.iter().find(free) else { continue };
        taken.push(figure(place, *outward).area(scale));
        let mut to = origin;
        to[index] = place;
        // Lines stand off below (to the right of the way along x) or to the left (of the way along y).
        let offset = if axis == Along::X { -outward } else { *outward } * scale;
        drawing.shapes.push(Shape::Dimension { from: origin, to, offset, figure: figure(place, *outward) });
    }
}

fn draw_spots(drawing: &mut Drawing, plan: &CeilingPlan, room: &Room) {
    if plan.spots.is_empty() {
        return;
    }
    drawing.notes.push(Note::new(NoteKind::Heading, "Darkest places, mm from the walls"));
    for (index, spot) in plan.spots.iter().take(MOST).enumerate() {
        let (place, text) = ([spot.x_mm, spot.y_mm], format!("D{}", index + 1));
        if !(0.0..GREATEST_LX).contains(&spot.lx) {
            room::warn(drawing, format!("{text}: its figure is no illuminance. Not drawn."));
            continue;
        }
        if !room.holds(place) {
            room::warn(drawing, format!("{text}: its place lies outside the room. Not drawn."));
            continue;
        }
        let arm = 1.2 * drawing.scale;
        let area = Area { low: place, high: place }.grown(arm, arm, arm, arm);
        drawing.shapes.push(Shape::Rect { role: Role::Spot, area });
        let note = format!("{text}  {:.0} lx: {}", spot.lx.floor(), room.measured(place));
        drawing.notes.push(Note::new(NoteKind::Line, note));
        drawing.tags.push(Tag { role: Role::Spot, text, of: place, clear_mm: arm, side: Side::Any });
    }
    say_too_many(drawing, plan.spots.len(), "dark places");
}

fn say_too_many(drawing: &mut Drawing, number: usize, what: &str) {
    if number > MOST {
        room::warn(drawing, format!("{number} {what} were given: only the first {MOST} are shown."));
    }
}
