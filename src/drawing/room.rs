//! The room seen from above, as the plan and the chain both draw it: walls, joists, places, and measures from two walls.

use serde::{Deserialize, Serialize};

use super::{Anchor, Area, Drawing, Note, NoteKind, Point, Role, Shape, Side, Size, Tag, Text, words};

/// Greatest room that is drawn, mm.
const GREATEST_MM: f64 = 100_000.0;

/// Most things of one kind that are drawn.
pub(super) const MOST: usize = 400;

/// What is printed when scaled drawings meet A4 upright: paper width and height left for the drawing itself, mm.
const PAPER_MM: [f64; 2] = [190.0, 200.0];

/// Margins around the room, in mm of paper: left (figures along y), right (joist names), below (figures along x, scale
/// bar), above.
const MARGINS_MM: [f64; 4] = [15.0, 7.0, 25.0, 9.0];

/// Scales to choose from: those of common scale rules, then greater ones.
const SCALES: [f64; 11] = [5.0, 10.0, 20.0, 25.0, 50.0, 75.0, 100.0, 125.0, 200.0, 500.0, 1000.0];

/// An axis of the plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Along {
    /// Along the length.
    X,
    /// Along the width.
    Y,
}

impl Along {
    /// The axis as an index into a [`Point`].
    #[must_use]
    pub fn index(self) -> usize {
        match self {
            Self::X => 0,
            Self::Y => 1,
        }
    }

    /// A point from its places along this axis and across it.
    #[must_use]
    pub fn point(self, along: f64, across: f64) -> Point {
        match self {
            Self::X => [along, across],
            Self::Y => [across, along],
        }
    }
}

/// A hole for a light, or another named place.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Hole {
    /// Its name: `H1`.
    pub tag: String,
    /// Centre along the length, mm from the wall at x = 0.
    pub x_mm: f64,
    /// Centre along the width, mm from the wall at y = 0.
    pub y_mm: f64,
    /// Measure from wall A, mm, if one was given out already; a different place is said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from_a_mm: Option<f64>,
    /// Measure from wall B, mm, if one was given out already; a different place is said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from_b_mm: Option<f64>,
}

impl Hole {
    /// Whether the measures that were given out are those of the place, to a millimetre.
    pub(super) fn agrees(&self, room: &Room) -> bool {
        let given = [self.from_a_mm, self.from_b_mm];
        (0..2).all(|axis| given[axis].is_none_or(|given| (given - (self.at()[axis] - room.area.low[axis])).abs() < 1.0))
    }

    /// The centre.
    #[must_use]
    pub fn at(&self) -> Point {
        [self.x_mm, self.y_mm]
    }
}

/// Joists above the ceiling.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Joists {
    /// The axis that they run along.
    pub along: Along,
    /// Centre lines, mm across that axis.
    pub centres: Vec<f64>,
    /// Width of the timber, mm; without it only centre lines are drawn.
    #[serde(default)]
    pub width: Option<f64>,
}

/// The size of a room as it was given.
#[derive(Debug, Clone, Copy)]
pub(super) struct Given<'a> {
    /// Length, m.
    pub length_m: Option<f64>,
    /// Width, m.
    pub width_m: Option<f64>,
    /// Corners, m.
    pub outline_m: &'a [Point],
}

/// A wall and its letter.
#[derive(Debug, Clone, PartialEq)]
pub struct Wall {
    /// `A`, `B` …
    pub letter: String,
    /// Its beginning, mm.
    pub from: Point,
    /// Its end, mm, anticlockwise round the room.
    pub to: Point,
}

impl Wall {
    /// Whether a place lies on the wall.
    fn passes(&self, place: Point) -> bool {
        (length(self.from, place) + length(place, self.to) - length(self.from, self.to)).abs() < 1e-6
    }
}

/// A room with lettered walls.
#[derive(Debug, Clone, PartialEq)]
pub struct Room {
    /// Walls, anticlockwise as seen from above, from wall A at the least x.
    pub walls: Vec<Wall>,
    /// The rectangle around it, mm.
    pub area: Area,
}

impl Room {
    /// The room of a length and a width, or of an outline; `None` if no room of a drawable size was given.
    pub(super) fn new(given: Given) -> Option<Self> {
        let corners: Vec<Point> = match (given.outline_m, given.length_m, given.width_m) {
            ([], Some(length), Some(width)) => vec![[0.0, 0.0], [length, 0.0], [length, width], [0.0, width]],
            (outline, ..) => outline.iter().take(MOST).copied().collect(),
        };
        let corners: Vec<Point> = corners.iter().map(|[x, y]| [x * 1000.0, y * 1000.0]).collect();
        if corners.len() < 3 || !corners.iter().flatten().all(|value| value.abs() <= GREATEST_MM) {
            return None;
        }
        let area = Area::around(&corners)?;
        (area.width() >= 1.0 && area.height() >= 1.0).then(|| Self { walls: lettered(corners, area), area })
    }

    /// Letter of the wall that distances along an axis are measured from: the longest at the least x, or least y.
    #[must_use]
    pub fn origin_wall(&self, axis: Along) -> &str {
        let index = axis.index();
        self.walls
            .iter()
            .filter(|wall| wall.from[index] == self.area.low[index] && wall.to[index] == self.area.low[index])
            .max_by(|a, b| length(a.from, a.to).total_cmp(&length(b.from, b.to)))
            .map_or("the room's corner", |wall| &wall.letter)
    }

    /// Whether a place lies in the room or on a wall.
    #[must_use]
    pub fn holds(&self, place: Point) -> bool {
        let inside = |[from, to]: &[f64; 2]| *from <= place[0] && place[0] <= *to;
        self.walls.iter().any(|wall| wall.passes(place)) || self.spans(Along::X, place[1]).iter().any(inside)
    }

    /// The parts of a straight line along an axis that lie in the room: from and to, mm.
    #[must_use]
    pub fn spans(&self, along: Along, across_mm: f64) -> Vec<[f64; 2]> {
        let (index, across) = (along.index(), 1 - along.index());
        let crossing = |wall: &Wall| {
            let (from, to) = (wall.from[across] - across_mm, wall.to[across] - across_mm);
            // A corner on the line belongs to the wall that lies beyond it, so that each is counted once.
            let crosses = (from <= 0.0) != (to <= 0.0);
            crosses.then(|| wall.from[index] + from / (from - to) * (wall.to[index] - wall.from[index]))
        };
        let mut places: Vec<f64> = self.walls.iter().filter_map(crossing).collect();
        places.sort_by(f64::total_cmp);
        places.chunks_exact(2).map(|pair| [pair[0], pair[1]]).collect()
    }

    /// The wall that a tape along x from a place meets, and where it meets it; `None` for a place outside.
    #[must_use]
    pub fn ahead(&self, [x, y]: Point) -> Option<(&Wall, f64)> {
        let [_, end] = self.spans(Along::X, y).into_iter().find(|[from, to]| (*from..=*to).contains(&x))?;
        self.walls.iter().find(|wall| wall.passes([end, y])).map(|wall| (wall, end))
    }

    /// A place in words, measured from two walls, whole mm: `700 from A, 775 from B`.
    #[must_use]
    pub fn measured(&self, place: Point) -> String {
        let from = |axis: Along| {
            let distance = place[axis.index()] - self.area.low[axis.index()];
            format!("{} from {}", words::mm(distance), self.origin_wall(axis))
        };
        format!("{}, {}", from(Along::X), from(Along::Y))
    }

    /// Adds the walls and their letters to a drawing.
    pub(super) fn draw(&self, drawing: &mut Drawing) {
        let points = self.walls.iter().map(|wall| wall.from).collect();
        drawing.shapes.push(Shape::Polyline { role: Role::Wall, points, closed: true });
        for wall in &self.walls {
            let (dx, dy) = (wall.to[0] - wall.from[0], wall.to[1] - wall.from[1]);
            // Anticlockwise, the outside lies to the right of the way along the wall.
            let side = match (dx.abs() >= dy.abs(), dx >= 0.0, dy >= 0.0) {
                (true, true, _) => Side::Below,
                (true, false, _) => Side::Above,
                (false, _, true) => Side::Right,
                (false, _, false) => Side::Left,
            };
            let of = [f64::midpoint(wall.from[0], wall.to[0]), f64::midpoint(wall.from[1], wall.to[1])];
            drawing.tags.push(Tag { role: Role::Wall, text: wall.letter.clone(), of, clear_mm: 0.0, side });
        }
    }
}

/// Walls in letters, anticlockwise, beginning with the longest wall at the least x.
fn lettered(mut corners: Vec<Point>, area: Area) -> Vec<Wall> {
    let next = |corners: &[Point], index: usize| corners[(index + 1) % corners.len()];
    let doubled_area: f64 = (0..corners.len())
        .map(|index| corners[index][0] * next(&corners, index)[1] - next(&corners, index)[0] * corners[index][1])
        .sum();
    if doubled_area < 0.0 {
        corners.reverse();
    }
    let at_left = |index: &usize| [corners[*index], next(&corners, *index)].iter().all(|point| point[0] == area.low[0]);
    let span = |index: &usize| length(corners[*index], next(&corners, *index));
    let first = (0..corners.len()).filter(at_left).max_by(|a, b| span(a).total_cmp(&span(b))).unwrap_or(0);
    corners.rotate_left(first);
    (0..corners.len())
        .map(|index| Wall { letter: letter(index), from: corners[index], to: next(&corners, index) })
        .collect()
}

/// `A` to `Z`, then `A2` and so on.
fn letter(index: usize) -> String {
    let letter = char::from(b'A' + u8::try_from(index % 26).unwrap_or(0));
    if index < 26 { letter.to_string() } else { format!("{letter}{}", index / 26 + 1) }
}

/// Straight distance, mm.
pub(super) fn length(from: Point, to: Point) -> f64 {
    (to[0] - from[0]).hypot(to[1] - from[1])
}

/// The smallest scale of a scale rule at which a thing of this size, with its margins, fits the page.
fn scale_for(area: Area) -> f64 {
    let [left, right, below, above] = MARGINS_MM;
    let fits = |scale: &&f64| {
        area.width() / **scale + left + right <= PAPER_MM[0] && area.height() / **scale + below + above <= PAPER_MM[1]
    };
    SCALES.iter().find(fits).copied().unwrap_or(SCALES[SCALES.len() - 1])
}

/// An empty plan over an area, with its margins, scale and scale bar.
pub(super) fn sheet(title: String, area: Area) -> Drawing {
    let scale = scale_for(area);
    let [left, right, below, above] = MARGINS_MM.map(|margin| margin * scale);
    let sheet = area.grown(left, right, below, above);
    let mut drawing = Drawing {
        title,
        description: String::new(),
        form: super::Form::Plan,
        scale,
        subject: area,
        sheet,
        shapes: Vec::new(),
        tags: Vec::new(),
        notes: Vec::new(),
    };
    scale_bar(&mut drawing);
    drawing
}

/// A bar of a round length under the plan: it shows the scale even where print or screen has changed the size.
fn scale_bar(drawing: &mut Drawing) {
    let scale = drawing.scale;
    let bar_mm = if scale >= 100.0 {
        5000.0
    } else if scale >= 20.0 {
        1000.0
    } else {
        200.0
    };
    let y = drawing.sheet.low[1] + 3.0 * scale;
    let x = drawing.subject.low[0];
    let (from, to) = ([x, y], [x + bar_mm, y]);
    drawing.shapes.push(Shape::Line { role: Role::Measure, from, to });
    for end in [from, to] {
        drawing.shapes.push(Shape::Line { role: Role::Measure, from: [end[0], y - scale], to: [end[0], y + scale] });
    }
    let text = format!("{} m, drawn 1:{} on A4", bar_mm / 1000.0, scale);
    let at = [to[0] + 2.0 * scale, y];
    drawing.shapes.push(Shape::Text(Text { at, anchor: Anchor::Start, size: Size::Small, text }));
}

/// Joist centre lines that lie in an area, with their numbers from 1.
pub(super) fn joists_in(joists: &Joists, area: Area) -> Vec<(usize, f64)> {
    let across = 1 - joists.along.index();
    let inside = |(_, centre): &(usize, f64)| area.low[across] <= *centre && *centre <= area.high[across];
    let numbered = joists.centres.iter().enumerate().map(|(index, centre)| (index + 1, *centre));
    numbered.take(MOST).filter(inside).collect()
}

/// Adds joists with their names to a drawing, and their centres to its notes.
pub(super) fn draw_joists(drawing: &mut Drawing, joists: &Joists, room: Option<&Room>) {
    let area = drawing.subject;
    let along = joists.along;
    let (index, across) = (along.index(), 1 - along.index());
    let inside = joists_in(joists, area);
    for (number, centre) in &inside {
        let whole = vec![[area.low[index], area.high[index]]];
        let spans = room.map_or(whole, |room| room.spans(along, *centre));
        for [from, to] in &spans {
            draw_joist(drawing, joists, *centre, [*from, *to]);
        }
        let Some([_, end]) = spans.last() else { continue };
        let side = if along == Along::Y { Side::Above } else { Side::Right };
        let of = along.point(*end, *centre);
        drawing.tags.push(Tag { role: Role::Joist, text: format!("J{number}"), of, clear_mm: 0.0, side });
    }
    let axis = if along == Along::X { Along::Y } else { Along::X };
    let origin = room.map_or_else(|| "the origin".to_owned(), |room| format!("wall {}", room.origin_wall(axis)));
    let from = if room.is_some() { area.low[across] } else { 0.0 };
    let list: Vec<String> =
        inside.iter().map(|(number, at)| format!("J{number}\u{a0}{}", words::mm(at - from))).collect();
    if !list.is_empty() {
        drawing.notes.push(Note::new(NoteKind::Heading, format!("Joist centres, mm from {origin}")));
        drawing.notes.push(Note::new(NoteKind::Line, list.join(" · ")));
    }
    let lost = joists.centres.len() - inside.len();
    if lost > 0 {
        warn(drawing, format!("{} outside the room: not drawn.", words::count(lost, "joist lies", "joists lie")));
    }
}

/// Draws one joist between two places along it.
fn draw_joist(drawing: &mut Drawing, joists: &Joists, centre: f64, [from, to]: [f64; 2]) {
    let along = joists.along;
    let shape = match joists.width.filter(|width| *width > 0.0 && *width <= GREATEST_MM) {
        Some(width) => {
            let timber =
                Area { low: along.point(from, centre - width / 2.0), high: along.point(to, centre + width / 2.0) };
            // A joist half over a wall shows as far as the room goes.
            timber.within(drawing.subject).map(|area| Shape::Rect { role: Role::Joist, area })
        }
        None => Some(Shape::Line { role: Role::Joist, from: along.point(from, centre), to: along.point(to, centre) }),
    };
    drawing.shapes.extend(shape);
}

/// Adds a warning to a drawing's notes.
pub(super) fn warn(drawing: &mut Drawing, text: impl Into<String>) {
    drawing.notes.push(Note::new(NoteKind::Warning, text));
}

/// A way from one place to another in two straight parts: along the joists first, so that it crosses them in one line.
pub(super) fn dog_leg(from: Point, to: Point, joists: Option<&Joists>) -> Vec<Point> {
    let along = joists.map_or(Along::X, |joists| joists.along);
    let (index, across) = (along.index(), 1 - along.index());
    let corner = along.point(to[index], from[across]);
    let mut way = vec![from, corner, to];
    way.dedup();
    way
}

/// Draws a way of cable and, where it crosses a joist's centre line, a mark. Returns the places crossed.
pub(super) fn draw_cable(drawing: &mut Drawing, way: &[Point], joists: Option<&Joists>) -> Vec<Point> {
    drawing.shapes.push(Shape::Polyline { role: Role::Cable, points: way.to_vec(), closed: false });
    let crossed = joists.map_or_else(Vec::new, |joists| crossings(way, joists, drawing.subject));
    let arm = 1.2 * drawing.scale;
    for [x, y] in &crossed {
        for slant in [arm, -arm] {
            drawing.shapes.push(Shape::Line {
                role: Role::Crossing,
                from: [x - arm, y - slant],
                to: [x + arm, y + slant],
            });
        }
    }
    crossed
}

/// Where a way crosses the centre lines of joists. A part that begins on a centre line and goes on across it counts
/// once.
fn crossings(way: &[Point], joists: &Joists, area: Area) -> Vec<Point> {
    let across = 1 - joists.along.index();
    let mut found = Vec::new();
    for part in way.windows(2) {
        let (from, to) = (part[0], part[1]);
        for (_, centre) in joists_in(joists, area) {
            let (before, after) = (from[across] - centre, to[across] - centre);
            let crosses = (before < 0.0 && after >= 0.0) || (before > 0.0 && after <= 0.0);
            if crosses {
                let share = before / (before - after);
                let step = |axis: usize| from[axis] + share * (to[axis] - from[axis]);
                found.push([step(0), step(1)]);
            }
        }
    }
    found
}
