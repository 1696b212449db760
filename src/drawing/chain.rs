//! The chain of cable: which length goes from where to where, on its way over the plan, and the cut list.

use serde::{Deserialize, Serialize};

use super::room::{self, Given, Hole, Joists, MOST, Room};
use super::{Area, Drawing, Note, NoteKind, Point, Role, Shape, Side, Tag, words};

/// A chain of cable lengths. Places in mm, as in the ceiling plan.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Chain {
    /// The title; "Chain and cut list" without one.
    pub title: Option<String>,
    /// Where the chain is fed from, mm.
    #[serde(alias = "feed_mm")]
    pub feed: Point,
    /// Name of that place in `from` and `to`; "feed" without one.
    pub feed_name: Option<String>,
    /// The lights that the lengths join, by name. A name that is only in `lengths` is drawn in a row beside the plan's
    /// other places, and said.
    pub holes: Vec<Hole>,
    /// The lengths in the order of the chain.
    pub lengths: Vec<Length>,
    /// Spare cable left hanging at each end of a length, already in its length, mm.
    pub tail_mm: Option<f64>,
    /// Reels to buy, with what is cut from each.
    pub reels: Vec<Reel>,
    /// Joists above.
    pub joists_mm: Option<Joists>,
    /// Length of a rectangular room, m; without a room the plan is as large as the chain.
    pub length_m: Option<f64>,
    /// Width of a rectangular room, m.
    pub width_m: Option<f64>,
    /// Corners of a room of another shape, m.
    pub outline_m: Vec<Point>,
}

/// One length of cable.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Length {
    /// Its tag: `L1`.
    pub tag: String,
    /// Where it begins: a hole's tag or the feed's name.
    pub from: String,
    /// Where it ends.
    pub to: String,
    /// What to cut, m, everything included.
    pub length_m: f64,
    /// Its way, mm, if it isn't along the joists and then across.
    #[serde(default)]
    pub route_mm: Vec<Point>,
}

/// A reel of cable.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reel {
    /// Cable on it, m.
    pub reel_m: f64,
    /// What is cut from it, m.
    pub cuts_m: Vec<f64>,
    /// The tags of those lengths, in the same order.
    #[serde(default)]
    pub tags: Vec<String>,
    /// What is left on it, m; computed without it.
    #[serde(default)]
    pub left_m: Option<f64>,
}

/// Draws the chain over the plan, with the cut list in its notes.
#[must_use]
pub fn chain(chain: &Chain) -> Drawing {
    let title = words::inert(chain.title.as_deref().unwrap_or("Chain and cut list"));
    let room = Room::new(Given { length_m: chain.length_m, width_m: chain.width_m, outline_m: &chain.outline_m });
    let places = Places::of(chain);
    let points: Vec<Point> = places.all().filter(|place| place.iter().all(|value| value.abs() <= 1e5)).collect();
    let around = Area::around(&points).unwrap_or(Area { low: [0.0, 0.0], high: [0.0, 0.0] });
    let area = room.as_ref().map_or_else(|| around.grown(300.0, 300.0, 300.0, 300.0), |room| room.area);
    let mut drawing = room::sheet(title, area);
    let number = words::count(chain.lengths.len(), "length", "lengths");
    drawing.description = format!("Chain of {number} from the {}.", words::inert(&places.feed_name));
    if let Some(joists) = &chain.joists_mm {
        room::draw_joists(&mut drawing, joists, room.as_ref());
    }
    if let Some(room) = &room {
        room.draw(&mut drawing);
    }
    if !places.invented.is_empty() {
        let names = places.invented.iter().map(|hole| words::inert(&hole.tag)).collect::<Vec<_>>().join(", ");
        room::warn(&mut drawing, format!("No place was given for {names}: drawn in a row, not where they are."));
    }
    draw_places(&mut drawing, chain, &places);
    cut_list(&mut drawing, chain, &places, room.as_ref());
    reels(&mut drawing, chain);
    drawing
}

/// Where every name of the chain is.
struct Places<'a> {
    feed_name: String,
    feed: Point,
    holes: &'a [Hole],
    invented: Vec<Hole>,
}

impl<'a> Places<'a> {
    fn of(chain: &'a Chain) -> Self {
        let feed_name = chain.feed_name.clone().unwrap_or_else(|| "feed".to_owned());
        let holes = &chain.holes[..chain.holes.len().min(MOST)];
        let mut places = Self { feed_name, feed: chain.feed, holes, invented: Vec::new() };
        for name in chain.lengths.iter().take(MOST).flat_map(|length| [&length.from, &length.to]) {
            if places.find(name).is_none() {
                let x_mm = chain.feed[0] + 600.0 * (places.invented.len() + 1) as f64;
                places.invented.push(Hole { tag: name.clone(), x_mm, y_mm: chain.feed[1], ..Hole::default() });
            }
        }
        places
    }

    fn find(&self, name: &str) -> Option<Point> {
        if name == self.feed_name {
            return Some(self.feed);
        }
        self.holes.iter().chain(&self.invented).find(|hole| hole.tag == name).map(Hole::at)
    }

    fn all(&self) -> impl Iterator<Item = Point> {
        std::iter::once(self.feed).chain(self.holes.iter().chain(&self.invented).map(Hole::at))
    }
}

fn draw_places(drawing: &mut Drawing, chain: &Chain, places: &Places) {
    let radius = 35.0;
    for hole in places.holes.iter().chain(&places.invented) {
        let tag = words::inert(&hole.tag);
        if !drawing.subject.holds(hole.at()) {
            room::warn(drawing, format!("{tag}: its place lies outside the drawing. Not drawn."));
            continue;
        }
        drawing.shapes.push(Shape::Circle { role: Role::Hole, centre: hole.at(), radius });
        drawing.tags.push(Tag { role: Role::Hole, text: tag, of: hole.at(), clear_mm: radius, side: Side::Any });
    }
    if drawing.subject.holds(chain.feed) {
        let area = Area { low: chain.feed, high: chain.feed }.grown(40.0, 40.0, 40.0, 40.0);
        drawing.shapes.push(Shape::Rect { role: Role::Joint, area });
        let text = words::inert(&places.feed_name);
        drawing.tags.push(Tag { role: Role::Joint, text, of: chain.feed, clear_mm: 40.0, side: Side::Any });
    } else {
        room::warn(drawing, "The feed's place lies outside the drawing. Not drawn.");
    }
}

fn cut_list(drawing: &mut Drawing, chain: &Chain, places: &Places, room: Option<&Room>) {
    let tails =
        chain.tail_mm.map_or_else(String::new, |mm| format!(", with a tail of {} mm at each end", words::mm(mm)));
    drawing.notes.push(Note::new(NoteKind::Heading, format!("Cut list{tails}")));
    let mut total_m = 0.0;
    for length in chain.lengths.iter().take(MOST) {
        let crossed = draw_length(drawing, chain, places, length);
        let (tag, from, to) = (words::inert(&length.tag), words::inert(&length.from), words::inert(&length.to));
        let crosses = crossing_words(chain.joists_mm.as_ref(), &crossed, room);
        let note = format!("{tag}  {}  {from} to {to}{crosses}", metres(length.length_m));
        drawing.notes.push(Note::new(NoteKind::Line, note));
        if is_length(length.length_m) {
            total_m += length.length_m;
        } else {
            room::warn(drawing, format!("{tag} has no length that can be cut: not in the sum."));
        }
    }
    let number = words::count(chain.lengths.len().min(MOST), "length", "lengths");
    drawing.notes.push(Note::new(NoteKind::Line, format!("In all {} in {number}", metres(total_m))));
    if chain.lengths.len() > MOST {
        room::warn(drawing, format!("{} lengths were given: only the first {MOST} are shown.", chain.lengths.len()));
    }
}

/// Draws one length and gives the places where it crosses joists.
fn draw_length(drawing: &mut Drawing, chain: &Chain, places: &Places, length: &Length) -> Vec<Point> {
    let ends = (places.find(&length.from), places.find(&length.to));
    let joists = chain.joists_mm.as_ref();
    let way = match ends {
        _ if length.route_mm.len() >= 2 => length.route_mm.iter().take(MOST).copied().collect(),
        (Some(from), Some(to)) => room::dog_leg(from, to, joists),
        _ => Vec::new(),
    };
    let tag = words::inert(&length.tag);
    if way.is_empty() || !way.iter().all(|point| drawing.subject.holds(*point)) {
        room::warn(drawing, format!("{tag}: its way leaves the drawing. Not drawn."));
        return Vec::new();
    }
    let of = halfway(&way);
    drawing.tags.push(Tag { role: Role::Cable, text: tag, of, clear_mm: 0.0, side: Side::Any });
    room::draw_cable(drawing, &way, joists)
}

/// The place halfway along a way.
fn halfway(way: &[Point]) -> Point {
    let whole: f64 = way.windows(2).map(|part| room::length(part[0], part[1])).sum();
    let mut left = whole / 2.0;
    for part in way.windows(2) {
        let length = room::length(part[0], part[1]);
        if length >= left && length > 0.0 {
            let share = left / length;
            return [part[0][0] + share * (part[1][0] - part[0][0]), part[0][1] + share * (part[1][1] - part[0][1])];
        }
        left -= length;
    }
    way.first().copied().unwrap_or([0.0, 0.0])
}

/// Where a length crosses joists, in words.
fn crossing_words(joists: Option<&Joists>, crossed: &[Point], room: Option<&Room>) -> String {
    let Some(joists) = joists.filter(|_| !crossed.is_empty()) else { return String::new() };
    // A drill goes through at a place along the joist: that is what the person measures.
    let axis = joists.along;
    let origin = room.map_or(0.0, |room| room.area.low[axis.index()]);
    let wall = room.map_or_else(|| "the origin".to_owned(), |room| room.origin_wall(axis).to_owned());
    let mut places: Vec<String> = crossed.iter().map(|point| words::mm(point[axis.index()] - origin)).collect();
    places.dedup();
    let number = words::count(crossed.len(), "joist", "joists");
    format!("; crosses {number} at {} from {wall}", places.join(", "))
}

/// Whether a number can be a length of cable, m.
fn is_length(length_m: f64) -> bool {
    (0.0..=10_000.0).contains(&length_m)
}

/// A length of cable, rounded up to a centimetre: a cut that is too long can be shortened.
fn metres(length_m: f64) -> String {
    if !is_length(length_m) {
        return "no length".to_owned();
    }
    format!("{:.2} m", (length_m * 100.0 - 1e-6).ceil() / 100.0)
}

fn reels(drawing: &mut Drawing, chain: &Chain) {
    if chain.reels.is_empty() {
        return;
    }
    drawing.notes.push(Note::new(NoteKind::Heading, "Reels"));
    for reel in chain.reels.iter().take(MOST) {
        let tag = |index: usize| reel.tags.get(index).map_or_else(String::new, |tag| words::inert(tag) + "\u{a0}");
        let cuts = reel.cuts_m.iter().take(MOST).enumerate();
        let cuts: Vec<String> = cuts.map(|(index, cut)| tag(index) + &metres(*cut).replace(' ', "\u{a0}")).collect();
        let left = reel.left_m.unwrap_or_else(|| reel.reel_m - reel.cuts_m.iter().sum::<f64>());
        let rest = if is_length(left) { format!("{left:.2} m left") } else { "the cuts don't fit on it".to_owned() };
        let note = format!("{} reel: {}; {rest}", metres(reel.reel_m), cuts.join(", "));
        drawing.notes.push(Note::new(NoteKind::Line, note));
    }
}

#[cfg(test)]
mod tests {
    use super::super::room::Along;
    use super::*;

    #[test]
    fn a_cut_is_never_rounded_down() {
        assert_eq!(metres(2.301), "2.31 m");
        assert_eq!(metres(2.3), "2.30 m");
        assert_eq!(metres(0.1 + 0.2), "0.30 m");
    }

    #[test]
    fn what_is_no_length_is_said_and_left_out_of_the_sum() {
        let length = |tag: &str, length_m: f64| Length {
            tag: tag.into(),
            from: "feed".into(),
            to: "feed".into(),
            length_m,
            route_mm: vec![],
        };
        let lengths = vec![length("L1", 1.5), length("L2", f64::NAN), length("L3", 2.0), length("L4", -1.0)];
        let reels = vec![Reel { reel_m: 3.0, cuts_m: vec![1.5, 2.0], tags: vec!["L1".into()], left_m: None }];
        let drawn = chain(&Chain { lengths, reels, ..Chain::default() });
        let said: Vec<&str> = drawn.notes.iter().map(|note| note.text.as_str()).collect();
        assert!(said.contains(&"In all 3.50 m in 4 lengths"), "{said:?}");
        assert!(said.contains(&"L2 has no length that can be cut: not in the sum."));
        assert!(said.contains(&"L4 has no length that can be cut: not in the sum."));
        assert!(said.contains(&"3.00 m reel: L1\u{a0}1.50\u{a0}m, 2.00\u{a0}m; the cuts don't fit on it"));
    }

    #[test]
    fn the_tag_of_a_length_stands_halfway_along_its_way() {
        assert_eq!(halfway(&[[0.0, 0.0], [600.0, 0.0], [600.0, 200.0]]), [400.0, 0.0]);
        assert_eq!(halfway(&[[5.0, 5.0]]), [5.0, 5.0]);
    }

    #[test]
    fn crossings_are_counted_once_each() {
        let joists = Joists { along: Along::Y, centres: vec![210.0, 610.0, 1010.0, 1410.0], width: Some(47.0) };
        let chain_of = Chain {
            feed: [400.0, 500.0],
            holes: vec![Hole { tag: "H1".into(), x_mm: 1200.0, y_mm: 900.0, ..Hole::default() }],
            lengths: vec![Length {
                tag: "L1".into(),
                from: "feed".into(),
                to: "H1".into(),
                length_m: 2.0,
                route_mm: vec![],
            }],
            joists_mm: Some(joists),
            length_m: Some(3.0),
            width_m: Some(2.0),
            ..Chain::default()
        };
        let drawn = chain(&chain_of);
        let said: Vec<&str> = drawn.notes.iter().map(|note| note.text.as_str()).collect();
        assert!(said.contains(&"L1  2.00 m  feed to H1; crosses 2 joists at 900 from B"), "{said:?}");
    }
}
