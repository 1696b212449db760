//! A drawing as SVG text: true to scale on paper, light or dark on a screen, readable aloud.
//!
//! One unit of the view box is a millimetre of the real thing, x as in the drawing and y turned over (SVG counts
//! downward), so every figure of the input can be read back. Nothing is referred to by an id, so several drawings can
//! stand in one page. All text goes through the writer below, which escapes it: a label can't become markup.

use super::{
    Anchor, Area, CoreColour, Drawing, EM_PER_COLUMN, Form, NoteKind, Point, Role, Shape, Side, Size, Tag, Text, words,
};

/// Where the style rules of an SVG stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Style {
    /// In the SVG itself: a file of its own.
    Own,
    /// In the page around it, which must hold [`STYLE`] once.
    OfPage,
}

/// The style rules of all drawings. Colours are those of cores and sleeves only; everything else takes the colour of the
/// text around it.
pub const STYLE: &str = "\
.drawing{color:#1a1a1a;font-family:sans-serif}\
.drawing .paper{fill:#fff;stroke:none}\
.drawing text{fill:currentColor;stroke:#fff;stroke-width:.22em;stroke-linejoin:round;paint-order:stroke}\
.drawing .heading,.drawing .title,.drawing .warning{font-weight:bold}\
.drawing .figures{font-family:monospace;white-space:pre}\
.drawing .ink{fill:none;stroke:currentColor}\
.drawing .faint{fill:none;stroke:currentColor;stroke-opacity:.45}\
.drawing .solid{fill:currentColor;stroke:none}\
.drawing .case{fill:none;stroke:currentColor}\
.drawing .light{fill:currentColor;stroke:none}\
.drawing .core{fill:none}\
.drawing .brown{stroke:#7b4a1e}.drawing .blue{stroke:#1f6fd0}.drawing .green{stroke:#1f8f3a}.drawing .yellow{stroke:#f2cf1d}\
.drawing .red{stroke:#c62828}.drawing .black{stroke:#111}.drawing .grey{stroke:#8a8a8a}.drawing .bare{stroke:#c08457}\
.drawing .plain{stroke:currentColor}\
@media screen and (prefers-color-scheme:dark){\
.drawing{color:#eee}.drawing .paper{fill:#1b1b1b}.drawing text{stroke:#1b1b1b}}";

/// Narrowest paper that notes are set on, mm.
const LEAST_PAPER_MM: f64 = 120.0;

/// Narrowest paper on which notes are set in two columns, mm.
const LEAST_FOR_TWO_MM: f64 = 160.0;

/// From one line of notes to the next, mm of paper.
const LINE_MM: f64 = 4.6;

/// Room for the title, mm of paper.
const TITLE_MM: f64 = 9.0;

/// Writes a drawing as SVG.
#[must_use]
pub fn render(drawing: &Drawing, style: Style) -> String {
    let scale = drawing.scale;
    let (placed, unplaced) = place_tags(drawing);
    let mut sheet = drawing.sheet.grown(scale, scale, scale, (TITLE_MM + 1.0) * scale);
    sheet.high[0] = sheet.high[0].max(sheet.low[0] + LEAST_PAPER_MM * scale);
    let paper_mm = sheet.width() / scale;
    let columns = if paper_mm >= LEAST_FOR_TWO_MM { 2 } else { 1 };
    let column_mm = paper_mm / f64::from(columns);
    let columns = in_columns(note_lines(drawing, &unplaced, column_mm), columns);
    let notes_top = sheet.low[1];
    let longest = columns.iter().map(Vec::len).max().unwrap_or(0);
    sheet.low[1] -= (longest as f64 + 0.5) * LINE_MM * scale;

    let mut out = Writer::default();
    open_page(&mut out, sheet, scale, style, [&drawing.title, &spoken(drawing)]);
    let title_at = [sheet.low[0] + scale, sheet.high[1] - TITLE_MM / 2.0 * scale];
    let title_columns = (sheet.width() / scale / (Size::Large.paper_mm() * EM_PER_COLUMN)).floor();
    let title = words::cut(&drawing.title, title_columns as usize);
    let title = Text { at: title_at, anchor: Anchor::Start, size: Size::Large, text: title };
    write_text(&mut out, &title, "title", scale);
    for shape in &drawing.shapes {
        write_shape(&mut out, shape, scale);
    }
    for text in &placed {
        write_text(&mut out, text, "tag", scale);
    }
    for (column, lines) in columns.iter().enumerate() {
        for (index, line) in lines.iter().enumerate() {
            let x = sheet.low[0] + (1.0 + column as f64 * column_mm + line.indent_mm) * scale;
            let at = [x, notes_top - (index as f64 + 0.5) * LINE_MM * scale];
            let text = Text { at, anchor: Anchor::Start, size: Size::Normal, text: line.text.clone() };
            write_text(&mut out, &text, line.class, scale);
        }
    }
    out.close();
    out.text
}

/// The root element with title, description and style, and the paper under everything.
fn open_page(out: &mut Writer, sheet: Area, scale: f64, style: Style, [title, spoken]: [&str; 2]) {
    let top = -sheet.high[1];
    let view = [sheet.low[0], top, sheet.width(), sheet.height()].map(number).join(" ");
    let (width, height) = (number(sheet.width() / scale) + "mm", number(sheet.height() / scale) + "mm");
    out.open(
        "svg",
        &[
            ("xmlns", "http://www.w3.org/2000/svg"),
            ("class", "drawing"),
            ("role", "img"),
            ("width", &width),
            ("height", &height),
            ("viewBox", &view),
        ],
    );
    out.element("title", &[], title);
    out.element("desc", &[], spoken);
    if style == Style::Own {
        out.element("style", &[], STYLE);
    }
    let corner = [number(sheet.low[0]), number(top), number(sheet.width()), number(sheet.height())];
    out.empty(
        "rect",
        &[("class", "paper"), ("x", &corner[0]), ("y", &corner[1]), ("width", &corner[2]), ("height", &corner[3])],
    );
}

/// What a person hears who can't see the drawing: the description and every note.
fn spoken(drawing: &Drawing) -> String {
    let notes = drawing.notes.iter().map(|note| note.text.as_str());
    std::iter::once(drawing.description.as_str()).chain(notes).collect::<Vec<_>>().join("\n")
}

/// Finds a place for every tag: beside what it names, clear of marks and other text, and off the cable if that can be.
/// Returns the texts, and the tags for which there was no room.
pub(super) fn place_tags(drawing: &Drawing) -> (Vec<Text>, Vec<&Tag>) {
    let scale = drawing.scale;
    let mut taken: Vec<Area> = drawing.shapes.iter().filter_map(|shape| obstacle(shape, scale)).collect();
    let cables: Vec<Area> = drawing.shapes.iter().flat_map(|shape| cable(shape, scale)).collect();
    let (mut placed, mut unplaced) = (Vec::new(), Vec::new());
    for tag in &drawing.tags {
        let places = candidates(tag, scale);
        let clear_of = |text: &Text, areas: &[Area]| !areas.iter().any(|other| other.overlaps(text.area(scale)));
        let free = |text: &&Text| {
            let area = text.area(scale);
            drawing.sheet.holds(area.low) && drawing.sheet.holds(area.high) && clear_of(text, &taken)
        };
        let best = places.iter().filter(free).find(|text| clear_of(text, &cables));
        match best.or_else(|| places.iter().find(free)) {
            Some(text) => {
                taken.push(text.area(scale));
                placed.push(text.clone());
            }
            None => unplaced.push(tag),
        }
    }
    (placed, unplaced)
}

/// What no tag may cover.
fn obstacle(shape: &Shape, scale: f64) -> Option<Area> {
    match shape {
        Shape::Circle { centre, radius, .. } => {
            Some(Area { low: *centre, high: *centre }.grown(*radius, *radius, *radius, *radius))
        }
        Shape::Rect { role: Role::Joint | Role::Spot, area } => Some(*area),
        Shape::Text(text) => Some(text.area(scale)),
        Shape::Dimension { figure, .. } => Some(figure.area(scale)),
        _ => None,
    }
}

/// What a tag covers only where there is no other room: the parts of a cable's way, and crossings.
fn cable(shape: &Shape, scale: f64) -> Vec<Area> {
    let points = match shape {
        Shape::Polyline { role: Role::Cable, points, .. } => points.clone(),
        Shape::Line { role: Role::Crossing, from, to } => vec![*from, *to],
        _ => Vec::new(),
    };
    let half = 0.3 * scale;
    points.windows(2).filter_map(Area::around).map(|area| area.grown(half, half, half, half)).collect()
}

/// The places for a tag, the best first.
fn candidates(tag: &Tag, scale: f64) -> Vec<Text> {
    const AROUND: [[f64; 2]; 8] =
        [[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0], [1.0, 1.0], [-1.0, 1.0], [1.0, -1.0], [-1.0, -1.0]];
    let ways: &[[f64; 2]] = match tag.side {
        Side::Any | Side::On => &AROUND,
        Side::Left => &[[-1.0, 0.0]],
        Side::Right => &[[1.0, 0.0]],
        Side::Above => &[[0.0, 1.0]],
        Side::Below => &[[0.0, -1.0]],
    };
    let text = |at: Point, anchor: Anchor| Text { at, anchor, size: Size::Normal, text: words::cut(&tag.text, 14) };
    let half_height = Size::Normal.paper_mm() * scale * 0.55;
    let mut texts = Vec::new();
    if tag.side == Side::On {
        texts.push(text(tag.of, Anchor::Middle));
    }
    for gap_mm in [0.8, 2.8, 5.2] {
        let gap = tag.clear_mm + gap_mm * scale;
        for way in ways {
            let anchor = match way[0] {
                0.0 => Anchor::Middle,
                x if x > 0.0 => Anchor::Start,
                _ => Anchor::End,
            };
            // Towards a corner the text stands level with the thing's own edge.
            let rise = if way[0] == 0.0 { gap + half_height } else { tag.clear_mm + half_height };
            texts.push(text([tag.of[0] + way[0] * gap, tag.of[1] + way[1] * rise], anchor));
        }
    }
    texts
}

/// A line of notes as it is set.
struct Line {
    class: &'static str,
    indent_mm: f64,
    text: String,
}

/// The notes, the key, and the names that found no place, wrapped to the paper.
fn note_lines(drawing: &Drawing, unplaced: &[&Tag], paper_mm: f64) -> Vec<Line> {
    let mut lines = Vec::new();
    let mut add = |class: &'static str, indent_mm: f64, text: &str| {
        // At least 70 mm of paper are left, so the number of columns is small and positive.
        let columns = ((paper_mm - 3.0 - indent_mm) / (Size::Normal.paper_mm() * EM_PER_COLUMN)).floor() as usize;
        for part in textwrap::wrap(text, columns) {
            lines.push(Line { class, indent_mm, text: part.trim_end().replace("  ", "\u{a0}\u{a0}") });
        }
    };
    for note in &drawing.notes {
        match note.kind {
            NoteKind::Warning => add("warning", 0.0, &format!("! {}", note.text)),
            _ if drawing.form == Form::Diagram => {}
            NoteKind::Heading => add("heading", 0.0, &note.text),
            NoteKind::Figures => add("figures", 4.0, &note.text),
            NoteKind::Line => add("note", 4.0, &note.text),
            NoteKind::Branch | NoteKind::LastBranch => add("note", 8.0, &note.text),
        }
    }
    let key = key(drawing);
    if !key.is_empty() {
        add("heading", 0.0, "Key");
        add("note", 4.0, &key);
    }
    if !unplaced.is_empty() {
        let names = unplaced.iter().map(|tag| tag.text.as_str()).collect::<Vec<_>>().join(", ");
        add("warning", 0.0, &format!("! No room in the picture for the names {names}."));
    }
    lines
}

/// The lines in columns of about the same length, parted before a heading.
fn in_columns(mut lines: Vec<Line>, columns: i32) -> Vec<Vec<Line>> {
    let half = lines.len() / 2;
    let headings = lines.iter().enumerate().filter(|(_, line)| line.class == "heading").map(|(index, _)| index);
    match headings.min_by_key(|index| index.abs_diff(half)).filter(|index| columns == 2 && *index > 0) {
        Some(index) => {
            let right = lines.split_off(index);
            vec![lines, right]
        }
        None => vec![lines],
    }
}

/// What the ink of a plan means, for the roles that it has.
fn key(drawing: &Drawing) -> String {
    if drawing.form == Form::Diagram {
        return String::new();
    }
    let roles: Vec<Role> = drawing.shapes.iter().filter_map(role_of).collect();
    let entries = [
        (roles.contains(&Role::Hole), "circle: hole"),
        (roles.contains(&Role::Rose), "circle with a dot: rose"),
        (roles.contains(&Role::Joint), "filled square: joint or feed"),
        (roles.contains(&Role::Joist), "pale lines: joist"),
        (roles.contains(&Role::KeepOut), "slanting lines: keep clear"),
        (roles.contains(&Role::Cable), "long dashes: cable"),
        (roles.contains(&Role::Crossing), "cross: the cable crosses a joist"),
        (roles.contains(&Role::LaserLine), "dots: laser line"),
        (roles.contains(&Role::Spot), "open square: one of the darkest places"),
        (
            roles.iter().any(|role| matches!(role, Role::Light(_))),
            "shading: the deeper, the less light, in fifths of the greatest figure",
        ),
    ];
    entries.iter().filter(|(shown, _)| *shown).map(|(_, words)| *words).collect::<Vec<_>>().join(" · ")
}

/// What a shape stands for, if it is more than lettering.
pub(super) fn role_of(shape: &Shape) -> Option<Role> {
    match shape {
        Shape::Line { role, .. }
        | Shape::Polyline { role, .. }
        | Shape::Rect { role, .. }
        | Shape::Hatch { role, .. }
        | Shape::Circle { role, .. } => Some(*role),
        Shape::Text(_) => None,
        Shape::Dimension { .. } => Some(Role::Measure),
    }
}

/// How a role is inked: class, width of the stroke in mm of paper, dashes in mm of paper, opacity of a fill.
struct Ink {
    class: &'static str,
    width_mm: f64,
    dashes_mm: &'static [f64],
    opacity: Option<f64>,
}

fn ink(role: Role) -> Ink {
    let line = |class, width_mm, dashes_mm| Ink { class, width_mm, dashes_mm, opacity: None };
    match role {
        Role::Wall => line("ink wall", 0.7, &[]),
        Role::Joist => line("faint joist", 0.2, &[]),
        Role::KeepOut => line("faint keep-out", 0.2, &[]),
        Role::Hole => line("ink hole", 0.4, &[]),
        Role::Rose => line("ink rose", 0.4, &[]),
        Role::Joint => line("solid joint", 0.0, &[]),
        Role::Cable => line("ink cable", 0.5, &[3.0, 1.0]),
        Role::LaserLine => line("ink laser-line", 0.25, &[0.3, 1.2]),
        Role::Crossing => line("ink crossing", 0.35, &[]),
        Role::Spot => line("ink spot", 0.35, &[]),
        Role::Light(band) => {
            let opacity = 0.06 * f64::from(4 - band.min(4));
            Ink { class: "light", width_mm: 0.0, dashes_mm: &[], opacity: Some(opacity) }
        }
        Role::Measure => line("ink measure", 0.18, &[]),
        Role::Sheath => line("ink sheath", 0.4, &[]),
        Role::Connector => line("ink connector", 0.7, &[]),
        Role::Unjoined => line("ink unjoined", 0.35, &[1.0, 1.0]),
        Role::Switch => line("ink switch", 0.4, &[]),
        Role::Core(colour) => core_ink(colour, 0.9),
        Role::Sleeve(colour) => core_ink(colour, 2.0),
    }
}

/// Colours of cores, each with a dash pattern of its own.
fn core_ink(colour: CoreColour, width_mm: f64) -> Ink {
    let (class, dashes_mm): (_, &'static [f64]) = match colour {
        CoreColour::Brown => ("core brown", &[]),
        CoreColour::Blue => ("core blue", &[6.0, 1.0]),
        CoreColour::GreenAndYellow => ("core yellow", &[2.0, 2.0]),
        CoreColour::Bare => ("core bare", &[0.6, 0.6]),
        CoreColour::Red => ("core red", &[10.0, 1.0]),
        CoreColour::Black => ("core black", &[4.0, 1.0, 1.0, 1.0]),
        CoreColour::Yellow => ("core yellow", &[]),
        CoreColour::Grey => ("core grey", &[1.5, 0.8]),
        CoreColour::Green => ("core green", &[]),
        CoreColour::Other => ("core plain", &[1.0, 2.0]),
    };
    Ink { class, width_mm, dashes_mm, opacity: None }
}

fn write_shape(out: &mut Writer, shape: &Shape, scale: f64) {
    match shape {
        Shape::Text(text) => write_text(out, text, "fixed", scale),
        Shape::Dimension { from, to, offset, figure } => write_dimension(out, [*from, *to], *offset, figure, scale),
        Shape::Hatch { role, area } => write_hatch(out, *role, *area, scale),
        Shape::Line { role, from, to } => write_stroke(out, *role, &[*from, *to], false, scale),
        Shape::Polyline { role, points, closed } => write_stroke(out, *role, points, *closed, scale),
        Shape::Rect { role, area } => write_rect(out, &ink(*role), *area, scale),
        Shape::Circle { role, centre, radius } => {
            write_circle(out, &ink(*role), *centre, *radius, scale);
            if *role == Role::Rose {
                let dot = Ink { class: "solid rose-centre", width_mm: 0.0, dashes_mm: &[], opacity: None };
                write_circle(out, &dot, *centre, radius / 5.0, scale);
            }
        }
    }
}

/// A line in the ink of its role. A core has a thin casing, so that a black one shows on a dark page, and a green one
/// under the yellow of a protective conductor.
fn write_stroke(out: &mut Writer, role: Role, points: &[Point], closed: bool, scale: f64) {
    let top = ink(role);
    if let Role::Core(colour) | Role::Sleeve(colour) = role {
        let case = Ink { class: "case", width_mm: top.width_mm + 0.4, dashes_mm: &[], opacity: None };
        write_path(out, &case, points, closed, scale);
        if colour == CoreColour::GreenAndYellow {
            let green = Ink { class: "core green", width_mm: top.width_mm, dashes_mm: &[], opacity: None };
            write_path(out, &green, points, closed, scale);
        }
    }
    write_path(out, &top, points, closed, scale);
}

fn write_path(out: &mut Writer, ink: &Ink, points: &[Point], closed: bool, scale: f64) {
    let list = points.iter().map(|point| format!("{},{}", number(point[0]), number(-point[1])));
    let list = list.collect::<Vec<_>>().join(" ");
    inked(out, if closed { "polygon" } else { "polyline" }, ink, scale, &[("points", list)]);
}

fn write_rect(out: &mut Writer, ink: &Ink, area: Area, scale: f64) {
    let place = [
        ("x", number(area.low[0])),
        ("y", number(-area.high[1])),
        ("width", number(area.width())),
        ("height", number(area.height())),
    ];
    inked(out, "rect", ink, scale, &place);
}

fn write_circle(out: &mut Writer, ink: &Ink, centre: Point, radius: f64, scale: f64) {
    let place = [("cx", number(centre[0])), ("cy", number(-centre[1])), ("r", number(radius))];
    inked(out, "circle", ink, scale, &place);
}

/// An element with its place and its ink.
fn inked(out: &mut Writer, name: &'static str, ink: &Ink, scale: f64, place: &[(&str, String)]) {
    let mut all: Vec<(&str, String)> = vec![("class", ink.class.to_owned())];
    all.extend(place.iter().map(|(key, value)| (*key, value.clone())));
    if ink.width_mm > 0.0 {
        all.push(("stroke-width", number(ink.width_mm * scale)));
    }
    if !ink.dashes_mm.is_empty() {
        let dashes = ink.dashes_mm.iter().map(|mm| number(mm * scale)).collect::<Vec<_>>().join(" ");
        all.push(("stroke-dasharray", dashes));
    }
    if let Some(opacity) = ink.opacity {
        all.push(("fill-opacity", number(opacity)));
    }
    let all: Vec<(&str, &str)> = all.iter().map(|(key, value)| (*key, value.as_str())).collect();
    out.empty(name, &all);
}

/// Slanting lines through a rectangle, and its edge.
fn write_hatch(out: &mut Writer, role: Role, area: Area, scale: f64) {
    let ink = ink(role);
    write_rect(out, &ink, area, scale);
    let (width, height) = (area.width(), area.height());
    // Never more than 300 lines, however large the area.
    let step = (2.5 * scale).max((width + height) / 300.0);
    let mut along = step;
    while along < width + height {
        // The line x + y = along, cut to the rectangle.
        let from = [area.low[0] + along.min(width), area.low[1] + (along - width).max(0.0)];
        let to = [area.low[0] + (along - height).max(0.0), area.low[1] + along.min(height)];
        write_path(out, &ink, &[from, to], false, scale);
        along += step;
    }
}

/// A running measure: a line that stands off from what it measures, with its figure.
fn write_dimension(out: &mut Writer, [from, to]: [Point; 2], offset: f64, figure: &Text, scale: f64) {
    let length = (to[0] - from[0]).hypot(to[1] - from[1]);
    if length > 0.0 {
        let left = [-(to[1] - from[1]) / length, (to[0] - from[0]) / length];
        let off = |point: Point, by: f64| [point[0] + left[0] * by, point[1] + left[1] * by];
        let measure = ink(Role::Measure);
        let over = offset + offset.signum() * 0.8 * scale;
        write_path(out, &measure, &[off(from, offset), off(to, offset)], false, scale);
        write_path(out, &measure, &[off(to, offset.signum() * scale), off(to, over)], false, scale);
        write_circle(out, &measure, off(from, offset), 0.7 * scale, scale);
    }
    write_text(out, figure, "figure", scale);
}

fn write_text(out: &mut Writer, text: &Text, class: &str, scale: f64) {
    let height = text.size.paper_mm() * scale;
    let anchor = match text.anchor {
        Anchor::Start => "start",
        Anchor::Middle => "middle",
        Anchor::End => "end",
    };
    // The base line lies about a third of the lettering's height below its middle.
    let (x, y) = (number(text.at[0]), number(-(text.at[1] - 0.35 * height)));
    let attributes = [("class", class), ("x", &x), ("y", &y), ("font-size", &number(height)), ("text-anchor", anchor)];
    out.element("text", &attributes, &text.text);
}

/// A number with at most three decimals.
pub(super) fn number(value: f64) -> String {
    let text = format!("{value:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// A small writer of well-formed XML: names come from this module, everything else is escaped.
#[derive(Debug, Default)]
pub(super) struct Writer {
    /// What has been written.
    pub text: String,
    open: Vec<&'static str>,
}

impl Writer {
    /// Opens an element.
    pub fn open(&mut self, name: &'static str, attributes: &[(&str, &str)]) {
        self.start(name, attributes);
        self.text.push_str(">\n");
        self.open.push(name);
    }

    /// Closes every element that is open.
    pub fn close(&mut self) {
        while let Some(name) = self.open.pop() {
            self.text.push_str("</");
            self.text.push_str(name);
            self.text.push_str(">\n");
        }
    }

    /// An element without content.
    pub fn empty(&mut self, name: &str, attributes: &[(&str, &str)]) {
        self.start(name, attributes);
        self.text.push_str("/>\n");
    }

    /// An element with text.
    pub fn element(&mut self, name: &str, attributes: &[(&str, &str)], content: &str) {
        self.start(name, attributes);
        self.text.push('>');
        self.escaped(content);
        self.text.push_str("</");
        self.text.push_str(name);
        self.text.push_str(">\n");
    }

    fn start(&mut self, name: &str, attributes: &[(&str, &str)]) {
        self.text.push('<');
        self.text.push_str(name);
        for (key, value) in attributes {
            self.text.push(' ');
            self.text.push_str(key);
            self.text.push_str("=\"");
            self.escaped(value);
            self.text.push('"');
        }
    }

    fn escaped(&mut self, text: &str) {
        for c in text.chars() {
            match c {
                '&' => self.text.push_str("&amp;"),
                '<' => self.text.push_str("&lt;"),
                '>' => self.text.push_str("&gt;"),
                '"' => self.text.push_str("&quot;"),
                '\'' => self.text.push_str("&#39;"),
                '\n' => self.text.push('\n'),
                c if c.is_control() || matches!(c, '\u{FFFE}' | '\u{FFFF}') => self.text.push('\u{FFFD}'),
                c => self.text.push(c),
            }
        }
    }
}
