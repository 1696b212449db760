//! The joint: every cable and core with colour, sleeve and tag, every connector with its cores, the switch and the
//! onward feeds; as it was found, or as it is made.
//!
//! Cables stand on the left, connectors on the right, and each core runs in a lane of its own. Colours are those of the
//! cores, and the words stand beside them at both ends.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use super::room::warn;
use super::{Anchor, Area, CoreColour, Drawing, Form, Note, NoteKind, Role, Shape, Size, Text, words};

/// What a junction drawing shows. A core is written `cable.core`, as in `C1.brown`.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Junction {
    /// The title; by `before` without one.
    pub title: Option<String>,
    /// The cables that come to the joint.
    pub cables: Vec<Cable>,
    /// The connectors, or the rose's terminals.
    pub groups: Vec<Group>,
    /// The switch at the end of a cable.
    pub switch: Option<Switch>,
    /// Whether this is what was found, rather than what is made.
    pub before: bool,
}

/// A cable.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Cable {
    /// Its tag: `C1`.
    pub name: String,
    /// What it is, in words: "feed", "onward feed", "to the switch", "to the lights".
    pub role: String,
    /// Whether it is new.
    pub new: bool,
    /// Its cores.
    pub cores: Vec<Core>,
}

/// A core of a cable.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Core {
    /// Its name in the cable; its colour without one.
    pub name: Option<String>,
    /// Colour of its insulation, or "bare".
    pub colour: String,
    /// Colour of the sleeve over its end.
    pub sleeve: Option<String>,
}

/// Cores that one connector holds.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Group {
    /// What the group is: "permanent line", "neutral", "switched line", "earth".
    pub name: String,
    /// The connector, in trade terms.
    pub connector: Option<String>,
    /// Its cores, each `cable.core`.
    pub cores: Vec<String>,
    /// Sleeves that its cores get. They count before a core's own.
    pub sleeves: Vec<Sleeve>,
}

/// A sleeve on a core.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sleeve {
    /// The core, `cable.core`.
    pub core: String,
    /// The sleeve's colour.
    pub colour: String,
}

/// A wall switch at the far end of a cable.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Switch {
    /// Its name: `S1`.
    pub name: String,
    /// The cores that it joins when on, each `cable.core`.
    pub cores: Vec<String>,
}

impl Cable {
    fn find(&self, core: &str) -> Option<&Core> {
        self.cores.iter().find(|candidate| candidate.called() == core)
    }
}

impl Core {
    fn called(&self) -> &str {
        self.name.as_deref().unwrap_or(&self.colour)
    }

    /// Name and colour in words, the colour once.
    fn words(&self) -> String {
        let (name, colour) = (words::inert(self.called()), words::inert(&self.colour));
        if name == colour || name.starts_with(&format!("{colour} ")) { name } else { format!("{name} ({colour})") }
    }
}

/// Most cables, cores of a cable, connectors, and cores of a connector that are drawn.
const MOST: usize = 40;

// The picture is 190 mm wide, the width of an upright A4 page between its margins. All of these are mm of paper.
const PITCH: f64 = 7.0;
const SWITCH_X: f64 = 20.0;
const SHEATH_X: [f64; 2] = [28.0, 50.0];
const LANES_X: [f64; 2] = [76.0, 102.0];
const CONNECTOR_X: [f64; 2] = [150.0, 190.0];
const PICTURE_WIDTH: f64 = 190.0;

/// Draws the joint.
#[must_use]
pub fn junction(junction: &Junction) -> Drawing {
    let usual = if junction.before { "As found" } else { "The joint as made" };
    let sheet = Area { low: [0.0, 0.0], high: [PICTURE_WIDTH, 0.0] };
    let drawing = Drawing {
        title: words::inert(junction.title.as_deref().unwrap_or(usual)),
        description: String::new(),
        form: Form::Diagram,
        scale: 1.0,
        subject: sheet,
        sheet,
        shapes: Vec::new(),
        tags: Vec::new(),
        notes: Vec::new(),
    };
    let mut bench = Bench { drawing, slots: Vec::new(), shortened: Vec::new() };
    bench.say(junction);
    let below_cables = bench.draw_cables(junction);
    bench.draw_switch(junction);
    let below_groups = bench.draw_groups(junction);
    let low = below_cables.min(below_groups) - 2.0;
    bench.drawing.sheet.low[1] = low;
    bench.drawing.subject = bench.drawing.sheet;
    if !bench.shortened.is_empty() {
        let text = format!("In full: {}.", bench.shortened.join("; "));
        warn(&mut bench.drawing, text);
    }
    bench.drawing
}

/// The core that a reference means: its cable, the core, and the reference itself without stray characters.
fn resolve<'a>(junction: &'a Junction, reference: &str) -> Option<(&'a Cable, &'a Core)> {
    junction.cables.iter().take(MOST).find_map(|cable| {
        let core = reference.strip_prefix(cable.name.as_str())?.strip_prefix('.')?;
        Some((cable, cable.find(core)?))
    })
}

/// The sleeve that a core has in a group.
fn sleeve_in<'a>(group: &'a Group, reference: &str, core: &'a Core) -> Option<&'a str> {
    let given = group.sleeves.iter().find(|sleeve| sleeve.core == reference).map(|sleeve| sleeve.colour.as_str());
    given.or(core.sleeve.as_deref())
}

/// A core at a connector, in words: `C2 blue, brown sleeve`.
fn core_words(junction: &Junction, group: &Group, reference: &str) -> String {
    match resolve(junction, reference) {
        Some((cable, core)) => {
            let sleeve = sleeve_in(group, reference, core).map(|colour| format!(", {} sleeve", words::inert(colour)));
            format!("{} {}{}", words::inert(&cable.name), core.words(), sleeve.unwrap_or_default())
        }
        None => format!("{}: no such core", words::inert(reference)),
    }
}

/// All cores that no group holds, as references.
fn unjoined(junction: &Junction) -> Vec<String> {
    let joined: BTreeSet<&String> = junction.groups.iter().take(MOST).flat_map(|group| &group.cores).collect();
    let cables = junction.cables.iter().take(MOST);
    let all = cables.flat_map(|cable| cable.cores.iter().map(move |core| format!("{}.{}", cable.name, core.called())));
    all.filter(|reference| !joined.contains(reference)).take(MOST).collect()
}

/// A cable's role and whether it is new, in words.
fn cable_words(cable: &Cable) -> String {
    let role = words::inert(&cable.role);
    match (cable.new, role.is_empty()) {
        (true, true) => "new".to_owned(),
        (true, false) => format!("{role}, new"),
        (false, _) => role,
    }
}

/// A core's place on the left side of the picture.
struct Slot {
    reference: String,
    y: f64,
}

/// The drawing while it is made.
struct Bench {
    drawing: Drawing,
    slots: Vec<Slot>,
    shortened: Vec<String>,
}

impl Bench {
    fn note(&mut self, kind: NoteKind, text: impl Into<String>) {
        self.drawing.notes.push(Note::new(kind, text));
    }

    /// A heading and what hangs from it.
    fn branches(&mut self, heading: String, lines: Vec<String>) {
        self.note(NoteKind::Heading, heading);
        let last = lines.len().saturating_sub(1);
        for (index, line) in lines.into_iter().enumerate() {
            self.note(if index == last { NoteKind::LastBranch } else { NoteKind::Branch }, line);
        }
    }

    /// The whole drawing in words.
    fn say(&mut self, junction: &Junction) {
        for cable in junction.cables.iter().take(MOST) {
            let role = cable_words(cable);
            let heading = format!("{}{}{role}", words::inert(&cable.name), if role.is_empty() { "" } else { ": " });
            let at_switch = |core: &Core| {
                let reference = format!("{}.{}", cable.name, core.called());
                junction.switch.as_ref().filter(|switch| switch.cores.contains(&reference))
            };
            let line = |core: &Core| match at_switch(core) {
                Some(switch) => format!("{}, to switch {}", core.words(), words::inert(&switch.name)),
                None => core.words(),
            };
            self.branches(heading, cable.cores.iter().take(MOST).map(line).collect());
        }
        for group in junction.groups.iter().take(MOST) {
            let connector =
                group.connector.as_deref().map_or_else(String::new, |name| format!("{}, ", words::inert(name)));
            let number = words::count(group.cores.len(), "core", "cores");
            let heading = format!("[{}] {connector}{number}", words::inert(&group.name));
            let line = |reference: &String| match resolve(junction, reference) {
                Some((cable, _)) if !cable_words(cable).is_empty() => {
                    format!("{} ({})", core_words(junction, group, reference), cable_words(cable))
                }
                _ => core_words(junction, group, reference),
            };
            self.branches(heading, group.cores.iter().take(MOST).map(line).collect());
        }
        let left = unjoined(junction);
        if !left.is_empty() {
            let lines = left.iter().map(|reference| core_words(junction, &Group::default(), reference)).collect();
            self.branches("Not in any connector".to_owned(), lines);
        }
        self.warn_of_slips(junction);
        let number = words::count(junction.cables.len(), "cable", "cables");
        let groups = words::count(junction.groups.len(), "connector", "connectors");
        self.drawing.description = format!("{}: {number}, {groups}.", self.drawing.title);
    }

    /// What a joint must not have: a core in two places, or one that no cable has. Core counts in and out must agree.
    fn warn_of_slips(&mut self, junction: &Junction) {
        let mut seen = BTreeSet::new();
        for reference in junction.groups.iter().take(MOST).flat_map(|group| group.cores.iter().take(MOST)) {
            let shown = words::inert(reference);
            if resolve(junction, reference).is_none() {
                warn(&mut self.drawing, format!("{shown} is named, but no cable has it."));
            } else if !seen.insert(reference) {
                warn(&mut self.drawing, format!("{shown} is in more than one place."));
            }
        }
        let mut names = BTreeSet::new();
        for cable in &junction.cables {
            if !names.insert(&cable.name) {
                warn(&mut self.drawing, format!("Two cables are called {}.", words::inert(&cable.name)));
            }
            let mut called = BTreeSet::new();
            if !cable.cores.iter().all(|core| called.insert(core.called())) {
                warn(&mut self.drawing, format!("Two cores of {} have one name.", words::inert(&cable.name)));
            }
        }
        let most = [junction.cables.len(), junction.groups.len()].into_iter().max().unwrap_or(0);
        if most > MOST || junction.cables.iter().any(|cable| cable.cores.len() > MOST) {
            warn(&mut self.drawing, format!("More than {MOST} of a kind were given: the rest isn't shown."));
        }
    }

    /// Adds a text that has a certain width of paper, and remembers it whole if it had to be cut.
    fn text(&mut self, text: &str, at: [f64; 2], anchor: Anchor, size: Size, width: f64) {
        // The width is a constant of this page, so the number of columns is small and positive.
        let columns = (width / (size.paper_mm() * super::EM_PER_COLUMN)).floor() as usize;
        let cut = words::cut(text, columns);
        if cut != text {
            self.shortened.push(text.to_owned());
        }
        self.drawing.shapes.push(Shape::Text(Text { at, anchor, size, text: cut }));
    }

    /// Cables with their cores on the left. Returns the y below them.
    fn draw_cables(&mut self, junction: &Junction) -> f64 {
        let mut y = -4.0;
        for cable in junction.cables.iter().take(MOST) {
            let number = cable.cores.len().min(MOST);
            self.text(&cable_words(cable), [SHEATH_X[0], y], Anchor::Start, Size::Small, LANES_X[0] - SHEATH_X[0]);
            let high = y - 2.5;
            let low = high - PITCH * number.max(1) as f64;
            let area = Area { low: [SHEATH_X[0], low], high: [SHEATH_X[1], high] };
            self.drawing.shapes.push(Shape::Rect { role: Role::Sheath, area });
            let middle = [f64::midpoint(SHEATH_X[0], SHEATH_X[1]), f64::midpoint(low, high)];
            let width = SHEATH_X[1] - SHEATH_X[0] - 2.0;
            self.text(&words::inert(&cable.name), middle, Anchor::Middle, Size::Normal, width);
            for (index, core) in cable.cores.iter().take(MOST).enumerate() {
                let slot_y = high - PITCH * (index as f64 + 0.5);
                let at = [SHEATH_X[1] + 1.5, slot_y + 2.0];
                self.text(&core.words(), at, Anchor::Start, Size::Small, LANES_X[0] - at[0]);
                self.slots.push(Slot { reference: format!("{}.{}", cable.name, core.called()), y: slot_y });
            }
            // A block is a whole number of pitches high, so that all slots keep step.
            y = low - (PITCH - 2.5);
        }
        y
    }

    /// The switch, left of the cable that leads to it.
    fn draw_switch(&mut self, junction: &Junction) {
        let Some(switch) = &junction.switch else { return };
        let mut terminals = Vec::new();
        for reference in switch.cores.iter().take(MOST) {
            let Some(y) = self.slots.iter().find(|slot| slot.reference == *reference).map(|slot| slot.y) else {
                let text = format!("{} at the switch is named, but no cable has it.", words::inert(reference));
                warn(&mut self.drawing, text);
                continue;
            };
            let colour =
                resolve(junction, reference).map_or(CoreColour::Other, |(_, core)| CoreColour::named(&core.colour));
            let (from, to) = ([SHEATH_X[0], y], [SWITCH_X, y]);
            self.drawing.shapes.push(Shape::Line { role: Role::Core(colour), from, to });
            self.drawing.shapes.push(Shape::Circle { role: Role::Switch, centre: to, radius: 1.0 });
            terminals.push(y);
        }
        if let [first, second, ..] = terminals[..] {
            // The lever stands open, as a switch is drawn.
            let to = [SWITCH_X - 3.0, second + (first - second) * 0.15];
            self.drawing.shapes.push(Shape::Line { role: Role::Switch, from: [SWITCH_X, first], to });
        }
        if let Some(first) = terminals.first() {
            let middle = f64::midpoint(*first, terminals.iter().copied().fold(*first, f64::min));
            let name = format!("switch {}", words::inert(&switch.name));
            self.text(&name, [SWITCH_X - 4.0, middle], Anchor::End, Size::Small, SWITCH_X - 4.0);
        }
    }

    /// Connectors with their cores on the right, and the cores' ways to them. Returns the y below.
    fn draw_groups(&mut self, junction: &Junction) -> f64 {
        let left = unjoined(junction);
        let rest = Group { name: "in no connector".to_owned(), cores: left, ..Group::default() };
        let groups: Vec<(&Group, Role)> = junction
            .groups
            .iter()
            .take(MOST)
            .map(|group| (group, Role::Connector))
            .chain((!rest.cores.is_empty()).then_some((&rest, Role::Unjoined)))
            .collect();
        let cores: usize = groups.iter().map(|(group, _)| group.cores.len().min(MOST)).sum();
        let lane_step = (LANES_X[1] - LANES_X[0]) / cores.max(1) as f64;
        // Half a pitch lower than the cables' slots, so that no two cores share a level.
        let mut y = -4.0 - 2.5 - PITCH / 2.0;
        let mut lane = 0;
        for (group, role) in groups {
            let number = group.cores.len().min(MOST);
            let low = y - PITCH * number.max(1) as f64;
            let area = Area { low: [CONNECTOR_X[0], low], high: [CONNECTOR_X[1], y] };
            self.drawing.shapes.push(Shape::Rect { role, area });
            let middle = [f64::midpoint(CONNECTOR_X[0], CONNECTOR_X[1]), f64::midpoint(low, y)];
            let width = CONNECTOR_X[1] - CONNECTOR_X[0] - 2.0;
            let rise = if group.connector.is_some() { 1.6 } else { 0.0 };
            let name_at = [middle[0], middle[1] + rise];
            self.text(&words::inert(&group.name), name_at, Anchor::Middle, Size::Normal, width);
            if let Some(connector) = &group.connector {
                let at = [middle[0], middle[1] - 1.8];
                self.text(&words::inert(connector), at, Anchor::Middle, Size::Small, width);
            }
            for (index, reference) in group.cores.iter().take(MOST).enumerate() {
                let slot_y = y - PITCH * (index as f64 + 0.5);
                let lane_x = LANES_X[0] + lane_step * (f64::from(lane) + 0.5);
                self.draw_core(junction, group, reference, lane_x, slot_y);
                lane += 1;
            }
            y = low - PITCH;
        }
        y
    }

    /// One core from its cable over its lane to its connector.
    fn draw_core(&mut self, junction: &Junction, group: &Group, reference: &str, lane_x: f64, to_y: f64) {
        let at = [CONNECTOR_X[0] - 2.0, to_y + 2.7];
        let width = at[0] - LANES_X[1];
        self.text(&core_words(junction, group, reference), at, Anchor::End, Size::Small, width);
        let Some((_, core)) = resolve(junction, reference) else { return };
        let Some(from_y) = self.slots.iter().find(|slot| slot.reference == reference).map(|slot| slot.y) else {
            return;
        };
        let points = vec![[SHEATH_X[1], from_y], [lane_x, from_y], [lane_x, to_y], [CONNECTOR_X[0], to_y]];
        let role = Role::Core(CoreColour::named(&core.colour));
        self.drawing.shapes.push(Shape::Polyline { role, points, closed: false });
        if let Some(colour) = sleeve_in(group, reference, core) {
            let (from, to) = ([CONNECTOR_X[0] - 8.0, to_y], [CONNECTOR_X[0] - 1.0, to_y]);
            self.drawing.shapes.push(Shape::Line { role: Role::Sleeve(CoreColour::named(colour)), from, to });
        }
    }
}
