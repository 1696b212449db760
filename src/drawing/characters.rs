//! A drawing in characters, for a terminal of 80 or 40 columns: the plan as a picture with its names, then every measure
//! in words. A joint is drawn as its cables and connectors, each with its cores hanging from it.

use super::grid::{Grid, Ink, Place};
use super::{Area, Drawing, Form, NoteKind, Point, Role, Shape, Side, Tag, svg, words};

pub use super::grid::Glyphs;

/// Narrowest text that is set, columns.
pub const NARROWEST: usize = 20;

/// Most rows that a plan takes; a long room is drawn smaller instead.
const MOST_ROWS: usize = 36;

/// A character cell is about twice as high as it is wide.
const CELL_RATIO: f64 = 2.0;

/// Cells around the plan for the names of walls and joists: left, right, above and below.
const MARGINS: [usize; 3] = [2, 4, 2];

/// Longest name in the picture, columns.
const LONGEST_NAME: usize = 8;

/// Sets a drawing in lines of at most `width` columns ([`NARROWEST`] at least).
#[must_use]
pub fn render(drawing: &Drawing, width: usize, glyphs: Glyphs) -> Vec<String> {
    let width = width.clamp(NARROWEST, 400);
    let mut lines = wrapped(&drawing.title, "", "", width);
    lines.push(String::new());
    let mut unplaced = Vec::new();
    if drawing.form == Form::Plan {
        let (picture, left) = picture(drawing, width, glyphs);
        lines.extend(picture);
        lines.extend(wrapped(&key(drawing, glyphs), "", "", width));
        unplaced = left;
    }
    set_notes(&mut lines, drawing, width, glyphs);
    if !unplaced.is_empty() {
        let text = format!("No room in the picture for the names {}.", unplaced.join(", "));
        lines.extend(wrapped(&text, "! ", "  ", width));
    }
    if glyphs == Glyphs::Ascii {
        lines = lines.iter().map(|line| ascii(line)).collect();
    }
    lines
}

fn set_notes(lines: &mut Vec<String>, drawing: &Drawing, width: usize, glyphs: Glyphs) {
    let [branch, last, trunk] = match glyphs {
        Glyphs::Ascii => ["|- ", "`- ", "|  "],
        Glyphs::Boxes => ["├─ ", "└─ ", "│  "],
    };
    for note in &drawing.notes {
        let (first, rest) = match note.kind {
            NoteKind::Heading => {
                if lines.last().is_some_and(|line| !line.is_empty()) {
                    lines.push(String::new());
                }
                ("", "  ")
            }
            NoteKind::Line => ("  ", "      "),
            NoteKind::Figures => ("", ""),
            NoteKind::Branch => (branch, trunk),
            NoteKind::LastBranch => (last, "   "),
            NoteKind::Warning => ("! ", "  "),
        };
        lines.extend(wrapped(&note.text, first, rest, width));
    }
}

/// A text in lines, with what stands before the first line and before the others. No-break spaces have done their work
/// then and are set as spaces.
fn wrapped(text: &str, first: &str, rest: &str, width: usize) -> Vec<String> {
    if text.is_empty() {
        return Vec::new();
    }
    let options = textwrap::Options::new(width).initial_indent(first).subsequent_indent(rest);
    textwrap::wrap(text, options).iter().map(|line| line.trim_end().replace('\u{a0}', " ")).collect()
}

/// The text in ASCII: signs that have a plain form take it, other characters show as `?`, one for each column.
fn ascii(text: &str) -> String {
    let plain = |c: char| match c {
        ' '..='~' => String::from(c),
        '·' => ",".to_owned(),
        '×' => "x".to_owned(),
        '–' | '—' => "-".to_owned(),
        '…' => "~".to_owned(),
        other => "?".repeat(words::columns(other.encode_utf8(&mut [0; 4]))),
    };
    text.chars().map(plain).collect::<String>().replace(" ,", ",")
}

/// How millimetres become cells.
struct Mapping {
    area: Area,
    mm_per_column: f64,
    columns: usize,
    rows: usize,
}

impl Mapping {
    fn of(area: Area, width: usize) -> Self {
        let [left, right, edge] = MARGINS;
        let steps = |cells: usize| (cells - 1) as f64;
        let by_width = area.width() / steps(width - left - right);
        let by_height = area.height() / CELL_RATIO / steps(MOST_ROWS - 2 * edge);
        let mm_per_column = by_width.max(by_height).max(f64::MIN_POSITIVE);
        // Both quotients are bounded by the width and by MOST_ROWS.
        let columns = (area.width() / mm_per_column).round() as usize + 1 + left + right;
        let rows = (area.height() / mm_per_column / CELL_RATIO).round() as usize + 1 + 2 * edge;
        Self { area, mm_per_column, columns: columns.min(width), rows: rows.min(MOST_ROWS) }
    }

    /// The cell of a point; a point outside the plan goes to its edge.
    fn place(&self, point: Point) -> Place {
        let [left, _, edge] = MARGINS;
        let column = (point[0].clamp(self.area.low[0], self.area.high[0]) - self.area.low[0]) / self.mm_per_column;
        let row = (self.area.high[1] - point[1].clamp(self.area.low[1], self.area.high[1]))
            / (self.mm_per_column * CELL_RATIO);
        [left + column.round() as usize, edge + row.round() as usize]
    }

    /// The cell of something in the room: never one of the outermost, where the walls are.
    fn inside(&self, point: Point) -> Place {
        let [left, right, edge] = MARGINS;
        let [column, row] = self.place(point);
        let between = |at: usize, low: usize, high: usize| if low <= high { at.clamp(low, high) } else { at };
        [between(column, left + 1, self.columns - right - 2), between(row, edge + 1, self.rows - edge - 2)]
    }
}

/// The picture of a plan, and the names that found no place in it.
fn picture(drawing: &Drawing, width: usize, glyphs: Glyphs) -> (Vec<String>, Vec<String>) {
    let map = Mapping::of(drawing.subject, width);
    let mut grid = Grid::new(map.columns, map.rows, glyphs);
    for shape in &drawing.shapes {
        draw(&mut grid, &map, shape, glyphs);
    }
    // Walls and holes first: their names matter most.
    let mut tags: Vec<&Tag> = drawing.tags.iter().filter(|tag| tag.role != Role::Rose).collect();
    tags.sort_by_key(|tag| match tag.role {
        Role::Wall => 0,
        Role::Hole => 1,
        Role::Joint | Role::Spot => 2,
        Role::Cable => 3,
        Role::KeepOut => 4,
        _ => 5,
    });
    let mut unplaced = Vec::new();
    for tag in tags {
        let name = words::cut(&tag.text, LONGEST_NAME);
        let of = if matches!(tag.side, Side::Any | Side::On) { map.inside(tag.of) } else { map.place(tag.of) };
        if !place_name(&mut grid, of, tag, &name) {
            unplaced.push(name);
        }
    }
    (grid.rows(), unplaced)
}

/// Puts a name beside a cell: first on blank paper or joists, then, if it must, over a way of cable.
fn place_name(grid: &mut Grid, [column, row]: Place, tag: &Tag, name: &str) -> bool {
    let width = words::columns(name);
    let half = width / 2;
    let right = |by: usize, row: Option<usize>| Some([column + by, row?]);
    let left = |by: usize, row: Option<usize>| Some([column.checked_sub(width - 1 + by)?, row?]);
    let middle = |row: Option<usize>| Some([column.checked_sub(half)?, row?]);
    let (here, above, below) = (Some(row), row.checked_sub(1), Some(row + 1));
    if width == 0 {
        return true;
    }
    let mut places: Vec<Option<Place>> = match tag.side {
        // The name of a wall stands in the outer row, that of a joist in the inner.
        Side::Above if tag.role == Role::Wall => vec![middle(row.checked_sub(2)), middle(above)],
        Side::Above => vec![middle(above), middle(row.checked_sub(2))],
        Side::Below => vec![middle(below), middle(Some(row + 2))],
        Side::Left => vec![left(1, here), left(2, here)],
        Side::Right => vec![right(1, here), right(2, here), right(3, here)],
        Side::Any | Side::On => vec![
            right(1, here),
            left(1, here),
            middle(above),
            middle(below),
            right(1, above),
            right(1, below),
            left(1, above),
            left(1, below),
            right(2, here),
            left(2, here),
        ],
    };
    if tag.side == Side::On {
        places.insert(0, middle(here));
    }
    let over = if tag.side == Side::On { Ink::Fill } else { Ink::Faint };
    [over, Ink::Fill, Ink::Way]
        .into_iter()
        .any(|over| places.iter().flatten().any(|place| grid.name(*place, name, over)))
}

fn draw(grid: &mut Grid, map: &Mapping, shape: &Shape, glyphs: Glyphs) {
    match shape {
        Shape::Polyline { role: Role::Wall, points, closed } => {
            let mut round = points.clone();
            round.extend(points.first().filter(|_| *closed));
            draw_way(grid, &round, Ink::Wall, |point| map.place(point));
        }
        Shape::Polyline { role: Role::Cable, points, .. } => {
            draw_way(grid, points, Ink::Way, |point| map.inside(point))
        }
        Shape::Rect { role: Role::Joist, area } => {
            let [width, height] = [area.width(), area.height()];
            let middle = [f64::midpoint(area.low[0], area.high[0]), f64::midpoint(area.low[1], area.high[1])];
            let half = if width >= height { [width / 2.0, 0.0] } else { [0.0, height / 2.0] };
            let end = |sign: f64| [middle[0] + sign * half[0], middle[1] + sign * half[1]];
            dotted(grid, map.place(end(-1.0)), map.place(end(1.0)), glyphs);
        }
        Shape::Line { role: Role::Joist, from, to } => dotted(grid, map.place(*from), map.place(*to), glyphs),
        Shape::Line { role: Role::LaserLine, from, to } => {
            let (from, to) = (map.place(*from), map.place(*to));
            let ends = if from[1] == to[1] { ['>', '<'] } else { ['^', 'v'] };
            grid.put(from, Ink::Mark, ends[0]);
            grid.put(to, Ink::Mark, ends[1]);
        }
        Shape::Hatch { area, .. } => fill(grid, map, *area, if glyphs == Glyphs::Ascii { '/' } else { '░' }),
        Shape::Rect { area, .. } => {
            let middle = [f64::midpoint(area.low[0], area.high[0]), f64::midpoint(area.low[1], area.high[1])];
            put_mark(grid, map, middle, shape);
        }
        Shape::Circle { centre, .. } => put_mark(grid, map, *centre, shape),
        Shape::Line { role: Role::Crossing, from, to } => {
            let middle = [f64::midpoint(from[0], to[0]), f64::midpoint(from[1], to[1])];
            put_mark(grid, map, middle, shape);
        }
        _ => {}
    }
}

/// The character of a thing that takes one cell.
fn mark(shape: &Shape) -> Option<char> {
    match svg::role_of(shape)? {
        Role::Hole => Some('o'),
        Role::Rose => Some('R'),
        Role::Joint => Some('@'),
        Role::Spot => Some('*'),
        Role::Crossing => Some('x'),
        _ => None,
    }
}

fn put_mark(grid: &mut Grid, map: &Mapping, at: Point, shape: &Shape) {
    if let Some(glyph) = mark(shape) {
        grid.put(map.inside(at), Ink::Mark, glyph);
    }
}

/// A line through points, in parts along the rows and columns.
fn draw_way(grid: &mut Grid, points: &[Point], ink: Ink, place: impl Fn(Point) -> Place) {
    for part in points.windows(2) {
        let (from, to) = (place(part[0]), place(part[1]));
        let corner = [to[0], from[1]];
        grid.line(from, corner, ink);
        grid.line(corner, to, ink);
    }
}

fn dotted(grid: &mut Grid, from: Place, to: Place, glyphs: Glyphs) {
    let upright = from[0] == to[0];
    let glyph = match (glyphs, upright) {
        (Glyphs::Ascii, true) => ':',
        (Glyphs::Ascii, false) => '.',
        (Glyphs::Boxes, true) => '┊',
        (Glyphs::Boxes, false) => '┈',
    };
    let axis = usize::from(upright);
    for at in from[axis].min(to[axis])..=from[axis].max(to[axis]) {
        let mut place = from;
        place[axis] = at;
        grid.put(place, Ink::Faint, glyph);
    }
}

fn fill(grid: &mut Grid, map: &Mapping, area: Area, glyph: char) {
    let (low, high) = (map.place([area.low[0], area.high[1]]), map.place([area.high[0], area.low[1]]));
    for row in low[1]..=high[1] {
        for column in low[0]..=high[0] {
            grid.put([column, row], Ink::Fill, glyph);
        }
    }
}

/// What the characters of the picture mean.
fn key(drawing: &Drawing, glyphs: Glyphs) -> String {
    let has = |wanted: Role| drawing.shapes.iter().any(|shape| svg::role_of(shape) == Some(wanted));
    let [joist_up, joist_along, keep, cable] = match glyphs {
        Glyphs::Ascii => [":", ".", "/", "#"],
        Glyphs::Boxes => ["┊", "┈", "░", "━"],
    };
    let along_x = |shape: &Shape| match shape {
        Shape::Rect { role: Role::Joist, area } => area.width() >= area.height(),
        Shape::Line { role: Role::Joist, from, to } => from[1] == to[1],
        _ => false,
    };
    let joist = if drawing.shapes.iter().any(along_x) { joist_along } else { joist_up };
    let entries = [
        (Role::Hole, "o", "hole"),
        (Role::Rose, "R", "rose"),
        (Role::Joint, "@", "joint or feed"),
        (Role::Cable, cable, "cable"),
        (Role::Crossing, "x", "joist crossed"),
        (Role::Joist, joist, "joist"),
        (Role::KeepOut, keep, "keep clear"),
        (Role::LaserLine, "> <", "laser line"),
        (Role::Spot, "*", "dark"),
    ];
    let used: Vec<String> = entries
        .iter()
        .filter(|(role, ..)| has(*role))
        .map(|(_, glyph, words)| format!("{glyph}\u{a0}{words}"))
        .collect();
    // A no-break space keeps a character and its meaning in one line.
    used.join("  ")
}
