//! Every assignment of functions to the cores that fits the evidence.
//!
//! A cable has one of a few *shapes* (a feed, a drop to the switch, …), and a shape says what each of its cores is. A
//! shape is kept for a cable if the terminals and the readings inside the cable allow it; the shapes of all cables
//! together have to make an arrangement that can work (one thing that switches, something that feeds it) and agree with
//! the readings from cable to cable.
//!
//! Some differences can be seen by no dead reading and change nothing: which core of a switch drop goes down and which
//! comes back, or which of two strappers is which. Assignments that differ in nothing else count as one.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use serde::Serialize;

use super::Terminal;
use super::evidence::{At, Evidence, Reading, Shows, Use};

/// Search stops counting here; so many assignments mean that next to nothing is known.
pub const MOST_FITS: usize = 1_000;
/// The most partial assignments that a search tries: several times what any rose needs of which half is known.
const MOST_TRIED: usize = 60_000;

/// What a core is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub enum Function {
    /// Always live while the circuit is on.
    #[serde(rename = "permanent line")]
    Permanent,
    /// Live when the light is on.
    #[serde(rename = "switch line")]
    Switched,
    /// Neutral.
    #[serde(rename = "neutral")]
    Neutral,
    /// Protective conductor.
    #[serde(rename = "cpc")]
    Protective,
    /// One of the pair between two two-way switches.
    #[serde(rename = "first strapper")]
    StrapperOne,
    /// The other of the pair.
    #[serde(rename = "second strapper")]
    StrapperTwo,
    /// Joined to nothing at the rose.
    #[serde(rename = "spare")]
    Spare,
}

impl fmt::Display for Function {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Permanent => "permanent line",
            Self::Switched => "switch line",
            Self::Neutral => "neutral",
            Self::Protective => "cpc",
            Self::StrapperOne => "first strapper",
            Self::StrapperTwo => "second strapper",
            Self::Spare => "spare core",
        })
    }
}

/// What a cable is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub enum Role {
    /// Brings or takes on permanent line and neutral.
    #[serde(rename = "feed")]
    Feed,
    /// Goes to the switch and back.
    #[serde(rename = "switch")]
    Switch,
    /// Brings or takes on switch line and neutral.
    #[serde(rename = "switched feed")]
    SwitchedFeed,
    /// Goes to one or both of a pair of two-way switches.
    #[serde(rename = "two-way")]
    TwoWay,
    /// Goes nowhere known.
    #[serde(rename = "spare")]
    Spare,
}

/// What a cable does in the circuit; finer than its role.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Shape {
    /// Permanent line and neutral, in or onward.
    Feed,
    /// A feed onward that carries the switch line too, for another light on the same switch.
    LinkedFeed,
    /// Down to the switch and back, perhaps with a neutral.
    Drop,
    /// Switch line and neutral, perhaps with the permanent line.
    SwitchedFeed,
    /// To the two-way switch on the permanent line's side, with both strappers.
    TwoWayLine,
    /// To the two-way switch on the lamp's side, with both strappers.
    TwoWayLamp,
    /// Joined to nothing.
    Spare,
}

/// When a contact made of one or more switches is closed: while the number of them that are on (or up) is odd, or even.
/// That covers a plain switch, two-way and intermediate switching.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Law {
    /// Which switches act on it, one bit each.
    pub switches: u32,
    /// Closed while an odd number of them is on.
    pub closed_at_odd: bool,
}

impl Law {
    /// Whether the contact is closed; `None` where the position of a switch that matters is not known.
    #[must_use]
    pub fn closed(self, positions: &[Option<bool>]) -> Option<bool> {
        let mut odd = false;
        for (at, position) in positions.iter().enumerate() {
            if self.switches >> at & 1 == 1 {
                odd ^= (*position)?;
            }
        }
        Some(odd == self.closed_at_odd)
    }
}

/// One cable's part of an assignment.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Part {
    /// What the cable does.
    pub shape: Shape,
    /// What each core is, all cores of the cable in order.
    pub functions: Vec<Function>,
    /// When its contact is closed, for a drop; when the common is on the first strapper, for a two-way cable.
    pub law: Option<Law>,
}

/// An assignment that fits.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fit {
    /// The parts, cable by cable.
    pub parts: Vec<Part>,
}

impl Fit {
    /// What a core is.
    #[must_use]
    pub fn function(&self, (cable, core): At) -> Function {
        self.parts[cable].functions[core]
    }

    /// What a cable is.
    #[must_use]
    pub fn role(&self, cable: usize) -> Role {
        let part = &self.parts[cable];
        match part.shape {
            Shape::Feed | Shape::LinkedFeed => Role::Feed,
            Shape::Drop if part.law.is_some_and(|law| law.switches.count_ones() > 1) => Role::TwoWay,
            Shape::Drop => Role::Switch,
            Shape::SwitchedFeed => Role::SwitchedFeed,
            Shape::TwoWayLine | Shape::TwoWayLamp => Role::TwoWay,
            Shape::Spare => Role::Spare,
        }
    }

    /// How many of its cables are of a kind that few roses have.
    fn unusual(&self) -> usize {
        self.parts.iter().filter(|part| matches!(part.shape, Shape::SwitchedFeed | Shape::LinkedFeed)).count()
    }

    /// Whether a reading shows the contact of a cable closed.
    #[must_use]
    pub fn shown_by_reading(&self, evidence: &Evidence, cable: usize) -> bool {
        let inside = |reading: &&Reading| reading.between.iter().all(|at| at.0 == cable);
        evidence.readings.iter().filter(inside).any(|reading| reading.shows == Shows::Closed)
    }
}

/// What the search found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// The assignments that fit, at most [`MOST_FITS`].
    pub fits: Vec<Fit>,
    /// Whether the search came to its end; if not, there may be more assignments than were found.
    pub complete: bool,
    /// Only with on and off exchanged does anything fit.
    pub labels_reversed: bool,
    /// Colours chose between assignments that terminals and readings leave open.
    pub by_colour: bool,
}

impl Found {
    /// The one assignment that fits, if there is one only.
    #[must_use]
    pub fn settled(&self) -> Option<&Fit> {
        match self.fits.as_slice() {
            [fit] if self.complete => Some(fit),
            _ => None,
        }
    }
}

/// How far the search may go from what is usual.
#[derive(Debug, Clone, Copy)]
struct Reach {
    /// A cable may be a switched feed although no terminal says so.
    any_switched_feed: bool,
    /// A plain switch may be closed with its position written as off.
    labels_reversed: bool,
}

/// Finds every assignment that fits, nearest to the usual first: what no terminal supports is thought of only where
/// nothing else fits.
#[must_use]
pub fn search(evidence: &Evidence) -> Found {
    let nothing = Found { fits: Vec::new(), complete: true, labels_reversed: false, by_colour: false };
    if !evidence.misused.is_empty() {
        return nothing;
    }
    for (any_switched_feed, labels_reversed) in [(false, false), (true, false), (false, true), (true, true)] {
        let (mut fits, complete) = all_fits(evidence, Reach { any_switched_feed, labels_reversed });
        if !fits.is_empty() || !complete {
            let before = fits.len();
            if complete {
                by_colour(evidence, &mut fits);
            }
            let by_colour = fits.len() < before;
            return Found { fits, complete, labels_reversed, by_colour };
        }
    }
    nothing
}

/// The fits, and whether the search came to its end.
fn all_fits(evidence: &Evidence, reach: Reach) -> (Vec<Fit>, bool) {
    let alone = evidence.cables.len() == 1;
    let options =
        (0..evidence.cables.len()).map(|cable| parts_of(evidence, cable, reach, alone)).collect::<Vec<Vec<Part>>>();
    let mut walk = Walk { evidence, options, chosen: Vec::new(), classes: BTreeMap::new(), tried: 0 };
    walk.extend();
    let complete = walk.tried < MOST_TRIED && walk.classes.len() < MOST_FITS;
    (walk.classes.into_values().map(|(_, fit)| fit).collect(), complete)
}

/// How far a fit is from the usual: unusual cables first, then colours that it contradicts.
type Rank = (usize, usize);

/// A walk over all combinations of the parts that each cable can play.
struct Walk<'a> {
    evidence: &'a Evidence,
    options: Vec<Vec<Part>>,
    chosen: Vec<Part>,
    /// Assignments that no reading can tell apart, by their functions; the most usual is kept, then the one that its
    /// colours suit best.
    classes: BTreeMap<Vec<Vec<Function>>, (Rank, Fit)>,
    tried: usize,
}

impl Walk<'_> {
    fn extend(&mut self) {
        let cable = self.chosen.len();
        if cable == self.options.len() {
            self.take();
            return;
        }
        for at in 0..self.options[cable].len() {
            if self.tried >= MOST_TRIED || self.classes.len() >= MOST_FITS {
                return;
            }
            self.tried += 1;
            self.chosen.push(self.options[cable][at].clone());
            if at_most_one_switching(&self.chosen) && cross_readings_agree(self.evidence, &self.chosen) {
                self.extend();
            }
            self.chosen.pop();
        }
    }

    fn take(&mut self) {
        if !arrangement_works(self.evidence, &self.chosen) {
            return;
        }
        let fit = Fit { parts: self.chosen.clone() };
        let against = self.evidence.all_cores().filter(|at| contradicts(self.evidence, *at, fit.function(*at))).count();
        let rank = (fit.unusual(), against);
        let held = self.classes.entry(class(self.evidence, &fit)).or_insert_with(|| (rank, fit.clone()));
        if rank < held.0 {
            *held = (rank, fit);
        }
    }
}

/// The functions of a fit, brought to one form where an exchange shows in no dead reading and changes nothing: the two
/// cores of a drop, the two strappers, the two ends of a two-way pair.
fn class(evidence: &Evidence, fit: &Fit) -> Vec<Vec<Function>> {
    let mut form: Vec<Vec<Function>> = fit.parts.iter().map(|part| part.functions.clone()).collect();
    let place = |cable: usize, wanted: Function| fit.parts[cable].functions.iter().position(|held| *held == wanted);
    let free = |cable: usize, core: usize, other: Function| {
        evidence.may_be(evidence.cables[cable].cores[core].terminal, other)
    };
    let mut ends = Vec::new();
    for (cable, part) in fit.parts.iter().enumerate() {
        let (line, lamp) = (place(cable, Function::Permanent), place(cable, Function::Switched));
        match (part.shape, line, lamp) {
            (Shape::Drop, Some(line), Some(lamp))
                if free(cable, line, Function::Switched) && free(cable, lamp, Function::Permanent) =>
            {
                form[cable][line.min(lamp)] = Function::Permanent;
                form[cable][line.max(lamp)] = Function::Switched;
            }
            (Shape::TwoWayLine, Some(common), _) => ends.push((cable, common, Function::Switched)),
            (Shape::TwoWayLamp, _, Some(common)) => ends.push((cable, common, Function::Permanent)),
            _ => {}
        }
        if matches!(part.shape, Shape::TwoWayLine | Shape::TwoWayLamp) {
            let mut strappers = [Function::StrapperOne, Function::StrapperTwo].into_iter();
            for function in &mut form[cable] {
                if matches!(function, Function::StrapperOne | Function::StrapperTwo) {
                    *function = strappers.next().unwrap_or(*function);
                }
            }
        }
    }
    if let [a, b] = ends.as_slice()
        && [a, b].iter().all(|(cable, common, other)| free(*cable, *common, *other))
    {
        form[a.0][a.1] = Function::Permanent;
        form[b.0][b.1] = Function::Switched;
    }
    form
}

/// The parts that a cable can play by its terminals and by the readings inside it.
fn parts_of(evidence: &Evidence, cable: usize, reach: Reach, alone: bool) -> Vec<Part> {
    let held = &evidence.cables[cable];
    let mut seen = BTreeSet::new();
    for (shape, template) in templates(held.live.len()) {
        for order in orders(held.live.len()) {
            let mut functions = vec![Function::Protective; held.cores.len()];
            for (place, core) in order.iter().zip(&held.live) {
                functions[*core] = template[*place];
            }
            let allowed = (0..held.cores.len()).all(|core| evidence.may_be(held.cores[core].terminal, functions[core]))
                && (*shape != Shape::SwitchedFeed
                    || alone
                    || reach.any_switched_feed
                    || supported(evidence, cable, &functions));
            if allowed {
                seen.extend(with_laws(evidence, cable, *shape, functions, reach));
            }
        }
    }
    seen.into_iter().collect()
}

fn templates(live: usize) -> &'static [(Shape, &'static [Function])] {
    use Function::{Neutral, Permanent, Spare, StrapperOne, StrapperTwo, Switched};
    match live {
        2 => &[
            (Shape::Feed, &[Permanent, Neutral]),
            (Shape::Drop, &[Permanent, Switched]),
            (Shape::SwitchedFeed, &[Switched, Neutral]),
            (Shape::Spare, &[Spare, Spare]),
        ],
        _ => &[
            (Shape::Feed, &[Permanent, Neutral, Spare]),
            (Shape::LinkedFeed, &[Permanent, Neutral, Switched]),
            (Shape::Drop, &[Permanent, Switched, Neutral]),
            (Shape::Drop, &[Permanent, Switched, Spare]),
            (Shape::SwitchedFeed, &[Switched, Neutral, Permanent]),
            (Shape::SwitchedFeed, &[Switched, Neutral, Spare]),
            (Shape::TwoWayLine, &[Permanent, StrapperOne, StrapperTwo]),
            (Shape::TwoWayLamp, &[Switched, StrapperOne, StrapperTwo]),
            (Shape::Spare, &[Spare, Spare, Spare]),
        ],
    }
}

fn orders(live: usize) -> &'static [&'static [usize]] {
    match live {
        2 => &[&[0, 1], &[1, 0]],
        _ => &[&[0, 1, 2], &[0, 2, 1], &[1, 0, 2], &[1, 2, 0], &[2, 0, 1], &[2, 1, 0]],
    }
}

/// A terminal says that the cable carries the switch line.
fn supported(evidence: &Evidence, cable: usize, functions: &[Function]) -> bool {
    let held = &evidence.cables[cable];
    held.live
        .iter()
        .any(|core| functions[*core] == Function::Switched && held.cores[*core].terminal == Terminal::Switched)
}

/// The part with each law that the readings inside the cable allow; none where they allow none.
fn with_laws(evidence: &Evidence, cable: usize, shape: Shape, functions: Vec<Function>, reach: Reach) -> Vec<Part> {
    let inside: Vec<&Reading> =
        evidence.readings.iter().filter(|reading| reading.between.iter().all(|at| at.0 == cable)).collect();
    let fits = |law: Option<Law>| {
        let part = Part { shape, functions: functions.clone(), law };
        inside.iter().all(|reading| agrees(reading, expected_inside(&part, reading))).then_some(part)
    };
    match shape {
        Shape::Drop => laws(evidence, reach).into_iter().find_map(|law| fits(Some(law))).into_iter().collect(),
        Shape::TwoWayLine | Shape::TwoWayLamp => {
            single_laws(evidence).into_iter().filter_map(|law| fits(Some(law))).collect()
        }
        _ => fits(None).into_iter().collect(),
    }
}

/// The laws that a drop may follow, the likeliest first: all switches together, then fewer.
fn laws(evidence: &Evidence, reach: Reach) -> Vec<Law> {
    let count = evidence.switches.len();
    let both_ways = |switches: u32| {
        let plain = count == 1 && evidence.switches[0].positions == ["off", "on"];
        [true, false]
            .into_iter()
            .filter(move |odd| !plain || *odd != reach.labels_reversed)
            .map(move |closed_at_odd| Law { switches, closed_at_odd })
    };
    let mut subsets: Vec<u32> = (1..1_u32 << count).collect();
    subsets.sort_by_key(|subset| std::cmp::Reverse(subset.count_ones()));
    subsets.into_iter().flat_map(both_ways).collect()
}

fn single_laws(evidence: &Evidence) -> Vec<Law> {
    (0..evidence.switches.len())
        .flat_map(|at| [true, false].map(|closed_at_odd| Law { switches: 1 << at, closed_at_odd }))
        .collect()
}

/// What a reading has to show.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Expected {
    /// A closed contact.
    Closed,
    /// No closed contact.
    Apart,
    /// Either may be.
    Either,
}

fn agrees(reading: &Reading, expected: Expected) -> bool {
    !matches!((reading.shows, expected), (Shows::Closed, Expected::Apart) | (Shows::Apart, Expected::Closed))
}

fn made(closed: Option<bool>) -> Expected {
    match closed {
        Some(true) => Expected::Closed,
        Some(false) => Expected::Apart,
        None => Expected::Either,
    }
}

/// What a reading between two cores of one cable has to show.
fn expected_inside(part: &Part, reading: &Reading) -> Expected {
    use Function::{Neutral, Permanent, Protective, StrapperOne, StrapperTwo, Switched};
    let pair = reading.between.map(|at| part.functions[at.1]);
    let has = |function: Function| pair.contains(&function);
    if has(Protective) {
        return to_protective(part, pair, reading.board_link);
    }
    let closed = part.law.and_then(|law| law.closed(&reading.positions));
    match part.shape {
        Shape::Drop if has(Permanent) && has(Switched) => made(closed),
        Shape::TwoWayLine | Shape::TwoWayLamp if has(StrapperOne) && has(StrapperTwo) => Expected::Apart,
        Shape::TwoWayLine | Shape::TwoWayLamp if has(StrapperOne) => made(closed),
        Shape::TwoWayLine | Shape::TwoWayLamp => made(closed.map(|closed| !closed)),
        // With all three brought from the switch, line and switch line follow it; which position is not known here.
        Shape::SwitchedFeed if has(Permanent) && has(Switched) && !has(Neutral) => Expected::Either,
        _ => Expected::Apart,
    }
}

/// What a reading from a core to the protective conductor of its own cable has to show. Cores that only go to a switch
/// and back lead to nothing once they are parted; a neutral may be joined to earth at the board, a line only by a link.
fn to_protective(part: &Part, pair: [Function; 2], board_link: bool) -> Expected {
    let core = if pair[0] == Function::Protective { pair[1] } else { pair[0] };
    match (part.shape, core) {
        (_, Function::Protective) => Expected::Either,
        (Shape::Drop | Shape::TwoWayLine | Shape::TwoWayLamp | Shape::Spare, _) | (_, Function::Spare) => {
            Expected::Apart
        }
        (_, Function::Neutral) if board_link => Expected::Apart,
        _ => Expected::Either,
    }
}

/// What a reading between cores of two cables has to show.
fn expected_across(a: (&Part, Function), b: (&Part, Function)) -> Expected {
    let leads_nowhere =
        |part: &Part| matches!(part.shape, Shape::Drop | Shape::TwoWayLine | Shape::TwoWayLamp | Shape::Spare);
    match (a.1, b.1) {
        (Function::Protective, Function::Protective) => Expected::Either,
        _ if (leads_nowhere(a.0) && a.1 != Function::Protective)
            || (leads_nowhere(b.0) && b.1 != Function::Protective) =>
        {
            Expected::Apart
        }
        (Function::Protective, _) | (_, Function::Protective) => Expected::Either,
        (Function::Neutral, other) | (other, Function::Neutral) if other != Function::Neutral => Expected::Apart,
        _ => Expected::Either,
    }
}

/// What a reading has to show if this fit is the truth.
#[must_use]
pub fn expected(fit: &Fit, reading: &Reading) -> Expected {
    let [a, b] = reading.between;
    if a.0 == b.0 {
        return sole_line_linked(fit, reading).unwrap_or_else(|| expected_inside(&fit.parts[a.0], reading));
    }
    expected_across((&fit.parts[a.0], fit.function(a)), (&fit.parts[b.0], fit.function(b)))
}

/// With line and protective conductor linked at the board and one feed only, its line has to show the link.
fn sole_line_linked(fit: &Fit, reading: &Reading) -> Option<Expected> {
    let pair = reading.between.map(|at| fit.function(at));
    let feeds = fit.parts.iter().filter(|part| part.shape == Shape::Feed).count();
    let own = fit.parts[reading.between[0].0].shape == Shape::Feed;
    let is_it = reading.board_link
        && own
        && feeds == 1
        && pair.contains(&Function::Permanent)
        && pair.contains(&Function::Protective);
    is_it.then_some(Expected::Closed)
}

fn at_most_one_switching(chosen: &[Part]) -> bool {
    let count = |shape: Shape| chosen.iter().filter(|part| part.shape == shape).count();
    let (drops, line, lamp) = (count(Shape::Drop), count(Shape::TwoWayLine), count(Shape::TwoWayLamp));
    line <= 1 && lamp <= 1 && drops <= usize::from(line + lamp == 0)
}

/// The readings between the cable chosen last and those before it.
fn cross_readings_agree(evidence: &Evidence, chosen: &[Part]) -> bool {
    let last = chosen.len() - 1;
    evidence
        .readings
        .iter()
        .filter(|reading| {
            let [a, b] = reading.between.map(|at| at.0);
            a != b && a.max(b) == last
        })
        .all(|reading| {
            let [a, b] = reading.between;
            let side = |at: At| (&chosen[at.0], chosen[at.0].functions[at.1]);
            agrees(reading, expected_across(side(a), side(b)))
        })
}

/// Whether the parts together can be a light that one thing switches and something feeds.
fn arrangement_works(evidence: &Evidence, parts: &[Part]) -> bool {
    let count = |shape: Shape| parts.iter().filter(|part| part.shape == shape).count();
    let two_way = count(Shape::TwoWayLine) == 1 && count(Shape::TwoWayLamp) == 1 && two_switches(parts);
    let no_half = count(Shape::TwoWayLine) == count(Shape::TwoWayLamp);
    let switching = count(Shape::Drop) + usize::from(two_way);
    let fed = if switching == 1 {
        // Switched feeds then go onward, to lights on the same switch.
        count(Shape::Feed) >= 1
    } else {
        let feeds_known = parts.iter().enumerate().all(|(cable, part)| {
            let held = &evidence.cables[cable];
            part.shape != Shape::Feed || held.cores.iter().any(|core| core.terminal == Terminal::Loop)
        });
        count(Shape::SwitchedFeed) >= 1 && count(Shape::LinkedFeed) == 0 && feeds_known
    };
    let fit = Fit { parts: parts.to_vec() };
    let linked = evidence.readings.iter().filter(|reading| reading.board_link);
    no_half && fed && linked.into_iter().all(|reading| agrees(reading, expected(&fit, reading)))
}

/// The two two-way cables go to two switches, where more than one switch is known.
fn two_switches(parts: &[Part]) -> bool {
    let law = |shape: Shape| parts.iter().find(|part| part.shape == shape).and_then(|part| part.law);
    let (line, lamp) = (law(Shape::TwoWayLine), law(Shape::TwoWayLamp));
    line.zip(lamp).is_some_and(|(line, lamp)| line.switches != lamp.switches)
}

/// Whether colour or sleeve says something else than this function. An unsleeved return of a switch drop is usual and
/// contradicts nothing.
#[must_use]
pub fn contradicts(evidence: &Evidence, at: At, function: Function) -> bool {
    let core = evidence.core(at);
    let three = evidence.cables[at.0].live.len() > 2;
    match function {
        Function::Permanent => core.says != Use::Line && !(three && core.sleeve.is_none() && core.says == Use::Phase),
        Function::Switched => core.sleeve.is_some() && core.says == Use::Neutral,
        Function::Neutral => !(core.says == Use::Neutral || (three && core.says == Use::Any)),
        Function::Protective => core.says != Use::Earth,
        Function::StrapperOne | Function::StrapperTwo | Function::Spare => false,
    }
}

/// As [`contradicts`], but only where the colour is worth something as evidence: which core of a drop goes down and which
/// comes back is not told by colours, and neither of them is always sleeved.
fn speaks_against(evidence: &Evidence, at: At, fit: &Fit) -> bool {
    let unsleeved_in_drop = fit.parts[at.0].shape == Shape::Drop && evidence.core(at).sleeve.is_none();
    let line = matches!(fit.function(at), Function::Permanent | Function::Switched);
    contradicts(evidence, at, fit.function(at)) && !(unsleeved_in_drop && line)
}

/// Lets marks and colours choose between fits. A mark (a sleeve of a line's colour, or two line colours in one cable)
/// excludes a neutral there, if that leaves anything. Plain colours choose only which core of a cable is which; what the
/// cables are is a matter for terminals and readings, for a wrong colour makes a feed look like a drop.
fn by_colour(evidence: &Evidence, fits: &mut Vec<Fit>) {
    let marked: Vec<At> = evidence.all_cores().filter(|at| marked_as_line(evidence, *at)).collect();
    let minds_marks = |fit: &Fit| marked.iter().all(|at| fit.function(*at) != Function::Neutral);
    if fits.iter().any(minds_marks) {
        fits.retain(minds_marks);
    }
    let mut by_shapes: BTreeMap<Vec<Shape>, Vec<Fit>> = BTreeMap::new();
    for fit in fits.drain(..) {
        by_shapes.entry(fit.parts.iter().map(|part| part.shape).collect()).or_default().push(fit);
    }
    for mut alike in by_shapes.into_values() {
        which_core(evidence, &mut alike);
        fits.append(&mut alike);
    }
}

fn marked_as_line(evidence: &Evidence, at: At) -> bool {
    let (core, cable) = (evidence.core(at), &evidence.cables[at.0]);
    let all_lines = cable.live.len() == 2 && cable.live.iter().all(|live| cable.cores[*live].says == Use::Line);
    core.says == Use::Line && (core.sleeve.is_some() || all_lines)
}

/// Among fits in which each cable is the same: the ones that contradict no colour, if every core that is already known
/// has a colour that agrees.
fn which_core(evidence: &Evidence, fits: &mut Vec<Fit>) {
    let Some((first, others)) = fits.split_first() else { return };
    let known = |at: &At| others.iter().all(|fit| fit.function(*at) == first.function(*at));
    let (known, open): (Vec<At>, Vec<At>) = evidence.all_cores().partition(known);
    if known.iter().any(|at| speaks_against(evidence, *at, first)) {
        return;
    }
    let agrees = |fit: &Fit| open.iter().all(|at| !speaks_against(evidence, *at, fit));
    if fits.iter().any(agrees) {
        fits.retain(agrees);
    }
}
