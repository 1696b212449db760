//! One drawing model, and the three drawings that a lighting job needs: the ceiling plan, the chain of cable with its
//! cut list, and the joint with every core.
//!
//! A builder ([`ceiling_plan`], [`chain()`], [`junction()`]) turns a plain input, such as a script's map, into a
//! [`Drawing`]: shapes in millimetres of the real thing, tags that ask for a place beside what they name, and notes that
//! hold every measure in words. A renderer ([`svg`], [`characters`]) turns the drawing into text. Builders know nothing
//! of ink, renderers nothing of lighting.
//!
//! Builders are total. What can't be drawn (a hole outside the room, a core that no cable has) is said in a note of the
//! drawing itself: whoever stands under the ceiling must see that something is missing.

pub mod chain;
pub mod characters;
pub mod discs;
mod grid;
pub mod junction;
pub mod page;
pub mod plan;
pub mod room;
pub mod svg;
mod words;

#[cfg(test)]
mod tests;

pub use chain::{Chain, chain};
pub use discs::{Discs, discs};
pub use junction::{Junction, junction};
pub use plan::{CeilingPlan, ceiling_plan};

use serde::de::DeserializeOwned;

use crate::case::CaseError;

/// A place in millimetres: x to the right, y up the page, as in a room whose corner is the origin.
pub type Point = [f64; 2];

/// Reads one of the inputs of this module ([`CeilingPlan`], [`Chain`], [`Junction`], [`Discs`]) from a JSON tree.
///
/// # Errors
/// [`CaseError`] with the path of the key (`holes[2].x_mm`) and what was expected there; an unknown key is an error.
pub fn read<T: DeserializeOwned>(input: &serde_json::Value) -> Result<T, CaseError> {
    serde_path_to_error::deserialize(input).map_err(|error| {
        let path = error.path().to_string();
        CaseError::at(if path == "." { String::new() } else { path }, error.into_inner().to_string())
    })
}

/// An upright rectangle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Area {
    /// Corner of least x and y, mm.
    pub low: Point,
    /// Corner of greatest x and y, mm.
    pub high: Point,
}

impl Area {
    /// The least area around some points; `None` without any.
    #[must_use]
    pub fn around(points: &[Point]) -> Option<Self> {
        let first = *points.first()?;
        Some(points.iter().fold(Self { low: first, high: first }, |area, point| Self {
            low: [area.low[0].min(point[0]), area.low[1].min(point[1])],
            high: [area.high[0].max(point[0]), area.high[1].max(point[1])],
        }))
    }

    /// The area with a margin added on the left, the right, below and above, mm.
    #[must_use]
    pub fn grown(self, left: f64, right: f64, below: f64, above: f64) -> Self {
        Self { low: [self.low[0] - left, self.low[1] - below], high: [self.high[0] + right, self.high[1] + above] }
    }

    /// Extent along x, mm.
    #[must_use]
    pub fn width(self) -> f64 {
        self.high[0] - self.low[0]
    }

    /// Extent along y, mm.
    #[must_use]
    pub fn height(self) -> f64 {
        self.high[1] - self.low[1]
    }

    /// Whether a point lies inside or on the edge.
    #[must_use]
    pub fn holds(self, point: Point) -> bool {
        (0..2).all(|axis| self.low[axis] <= point[axis] && point[axis] <= self.high[axis])
    }

    /// Whether two areas share more than an edge.
    #[must_use]
    pub fn overlaps(self, other: Self) -> bool {
        (0..2).all(|axis| self.low[axis] < other.high[axis] && other.low[axis] < self.high[axis])
    }

    /// The part common to both areas, if there is any.
    #[must_use]
    pub fn within(self, other: Self) -> Option<Self> {
        self.overlaps(other).then(|| Self {
            low: [self.low[0].max(other.low[0]), self.low[1].max(other.low[1])],
            high: [self.high[0].min(other.high[0]), self.high[1].min(other.high[1])],
        })
    }
}

/// Colour of a core or a sleeve, as the trade uses colours. The word always stands beside the ink.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CoreColour {
    /// Line, since 2004.
    Brown,
    /// Neutral, since 2004.
    Blue,
    /// Protective conductor.
    GreenAndYellow,
    /// Protective conductor without a sleeve.
    Bare,
    /// Line before 2006.
    Red,
    /// Neutral before 2006; a line colour of three-core cables since.
    Black,
    /// Second core of the old three-core cable.
    Yellow,
    /// Third line colour of three-core cables.
    Grey,
    /// Protective conductor's sleeve of old.
    Green,
    /// Any other word: drawn without colour.
    Other,
}

impl CoreColour {
    /// The colour that a word names, whatever its case; [`CoreColour::Other`] for a word that isn't a core colour.
    #[must_use]
    pub fn named(word: &str) -> Self {
        match word.trim().to_lowercase().as_str() {
            "brown" => Self::Brown,
            "blue" => Self::Blue,
            "green-and-yellow" | "green and yellow" | "green/yellow" | "green-yellow" => Self::GreenAndYellow,
            "bare" => Self::Bare,
            "red" => Self::Red,
            "black" => Self::Black,
            "yellow" => Self::Yellow,
            "grey" => Self::Grey,
            "green" => Self::Green,
            _ => Self::Other,
        }
    }
}

/// What a shape stands for. Renderers choose ink by it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// A wall of the room.
    Wall,
    /// A joist above the ceiling.
    Joist,
    /// A rectangle that no hole may touch.
    KeepOut,
    /// A hole for a light.
    Hole,
    /// The old ceiling rose.
    Rose,
    /// The joint, or where the chain is fed from.
    Joint,
    /// The new cable.
    Cable,
    /// A laser or string line to mark along.
    LaserLine,
    /// A place where the cable crosses a joist.
    Crossing,
    /// One of the darkest places.
    Spot,
    /// A patch of the light map: 0 is the darkest of five bands, 4 the brightest.
    Light(u8),
    /// A measure.
    Measure,
    /// A cable's sheath.
    Sheath,
    /// A connector, or a terminal block of the rose.
    Connector,
    /// Cores that no connector holds.
    Unjoined,
    /// The wall switch.
    Switch,
    /// A core, in its colour.
    Core(CoreColour),
    /// A sleeve over a core's end, in its colour.
    Sleeve(CoreColour),
}

/// Size of lettering, as printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Size {
    /// 2.2 mm: measures, light figures, core names.
    Small,
    /// 3 mm: tags and notes.
    Normal,
    /// 4.5 mm: the title.
    Large,
}

impl Size {
    /// Height of the lettering on paper, mm.
    #[must_use]
    pub fn paper_mm(self) -> f64 {
        match self {
            Self::Small => 2.2,
            Self::Normal => 3.0,
            Self::Large => 4.5,
        }
    }
}

/// Which end of a text its place is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// The text begins there.
    Start,
    /// The text is centred there.
    Middle,
    /// The text ends there.
    End,
}

/// A text at a fixed place.
#[derive(Debug, Clone, PartialEq)]
pub struct Text {
    /// Place, halfway up the lettering, mm.
    pub at: Point,
    /// Which end of the text stands there.
    pub anchor: Anchor,
    /// Size on paper.
    pub size: Size,
    /// The words.
    pub text: String,
}

impl Text {
    /// The room that the text takes, mm, in a drawing of the given scale: an upper bound for common fonts.
    #[must_use]
    pub fn area(&self, scale: f64) -> Area {
        let height = self.size.paper_mm() * scale;
        let width = words::columns(&self.text) as f64 * height * EM_PER_COLUMN;
        let left = match self.anchor {
            Anchor::Start => self.at[0],
            Anchor::Middle => self.at[0] - width / 2.0,
            Anchor::End => self.at[0] - width,
        };
        let low = [left, self.at[1] - height * 0.55];
        Area { low, high: [left + width, low[1] + height * 1.1] }
    }
}

/// Width of a column of text in heights of its lettering; most letters of a plain font are narrower.
pub(crate) const EM_PER_COLUMN: f64 = 0.6;

/// One thing drawn. All lengths in mm of the real thing.
#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    /// A straight line.
    Line {
        /// What it stands for.
        role: Role,
        /// One end.
        from: Point,
        /// The other end.
        to: Point,
    },
    /// A line through points.
    Polyline {
        /// What it stands for.
        role: Role,
        /// The points in order.
        points: Vec<Point>,
        /// Whether the last point joins the first.
        closed: bool,
    },
    /// A rectangle.
    Rect {
        /// What it stands for.
        role: Role,
        /// Its extent.
        area: Area,
    },
    /// A rectangle filled with a pattern of slanting lines.
    Hatch {
        /// What it stands for.
        role: Role,
        /// Its extent.
        area: Area,
    },
    /// A circle.
    Circle {
        /// What it stands for.
        role: Role,
        /// Its centre.
        centre: Point,
        /// Its radius.
        radius: f64,
    },
    /// A text at a fixed place.
    Text(Text),
    /// A running measure: a line beside the thing from a common origin, ending in a tick and a figure.
    Dimension {
        /// Where the measure begins (a wall).
        from: Point,
        /// Where it ends.
        to: Point,
        /// How far the line stands off to the left of the way from `from` to `to`; negative for the right.
        offset: f64,
        /// The figure, placed by the builder.
        figure: Text,
    },
}

/// Where a tag may stand, seen from what it names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Wherever there is room beside it.
    Any,
    /// On it, or else wherever there is room beside it.
    On,
    /// To the left of it.
    Left,
    /// To the right of it.
    Right,
    /// Above it.
    Above,
    /// Below it.
    Below,
}

/// A short name that asks for a place beside what it names. Each renderer finds that place for itself and says which
/// tags found none; the notes hold the measures of every tag in any case.
#[derive(Debug, Clone, PartialEq)]
pub struct Tag {
    /// What kind of thing is named.
    pub role: Role,
    /// The name: `H1`.
    pub text: String,
    /// The middle of the thing.
    pub of: Point,
    /// Half the thing's own extent, to be kept clear.
    pub clear_mm: f64,
    /// Where the tag may stand.
    pub side: Side,
}

/// How a note is set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoteKind {
    /// A heading over the lines after it.
    Heading,
    /// A line.
    Line,
    /// A row of figures in columns, to be kept as it stands (at most 40 columns wide).
    Figures,
    /// A line that hangs from the heading before it; others follow.
    Branch,
    /// The last line that hangs from the heading before it.
    LastBranch,
    /// Something that isn't as it should be. Shown with every rendering.
    Warning,
}

/// A line of words under the drawing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    /// How it is set.
    pub kind: NoteKind,
    /// The words.
    pub text: String,
}

impl Note {
    /// A note of some kind.
    #[must_use]
    pub fn new(kind: NoteKind, text: impl Into<String>) -> Self {
        Self { kind, text: text.into() }
    }
}

/// What kind of picture a drawing is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// True to scale, so that it can be drawn in characters too.
    Plan,
    /// A picture of what joins what. In characters its notes are the drawing.
    Diagram,
}

/// A drawing, ready for any renderer.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawing {
    /// Its title.
    pub title: String,
    /// What it shows, for a person who can't see it.
    pub description: String,
    /// What kind of picture it is.
    pub form: Form,
    /// Millimetres of the real thing per millimetre of paper: 25 for 1:25.
    pub scale: f64,
    /// The extent of the thing itself.
    pub subject: Area,
    /// The extent with its margins.
    pub sheet: Area,
    /// What is drawn, from the bottom up.
    pub shapes: Vec<Shape>,
    /// Names that ask for a place.
    pub tags: Vec<Tag>,
    /// The words that belong to it.
    pub notes: Vec<Note>,
}
