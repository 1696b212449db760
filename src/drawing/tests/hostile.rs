//! Whatever is handed in: nothing breaks, nothing runs over, and text stays text.

use proptest::prelude::*;
use serde_json::json;

use super::junction::{Cable, Core, Group, Sleeve, Switch};
use super::plan::{KeepOut, LaserLine, LightMap, Spot};
use super::room::{Along, Hole, Joists};
use super::scene::overlap;
use super::*;

const HOSTILE: &str = "</text><script>alert(1)</script>\u{1b}[2J\u{202e}&\"'\n]]>";

/// Reads XML far enough to know that it is well formed and has no elements but ours.
fn well_formed(text: &str) -> Result<(), String> {
    let mut open: Vec<&str> = Vec::new();
    let mut rest = text;
    while let Some(at) = rest.find('<') {
        let outside = &rest[..at];
        entities(outside)?;
        let end = rest[at..].find('>').ok_or("a tag without an end")? + at;
        let tag = &rest[at + 1..end];
        rest = &rest[end + 1..];
        if let Some(name) = tag.strip_prefix('/') {
            if open.pop() != Some(name) {
                return Err(format!("</{name}> closes another element"));
            }
            continue;
        }
        let (tag, empty) = tag.strip_suffix('/').map_or((tag, false), |tag| (tag, true));
        let name = tag.split(' ').next().unwrap_or_default();
        let known = ["svg", "title", "desc", "style", "rect", "circle", "polyline", "polygon", "line", "text"];
        if !known.contains(&name) || tag.matches('"').count() % 2 != 0 {
            return Err(format!("<{tag}>"));
        }
        entities(tag)?;
        if !empty {
            open.push(name);
        }
    }
    if open.is_empty() && rest.trim().is_empty() { Ok(()) } else { Err(format!("left open: {open:?} {rest:?}")) }
}

fn entities(text: &str) -> Result<(), String> {
    let known = ["&amp;", "&lt;", "&gt;", "&quot;", "&#39;"];
    let sound = text.match_indices('&').all(|(at, _)| known.iter().any(|entity| text[at..].starts_with(entity)));
    let clean = !text.chars().any(|c| c.is_control() && c != '\n' || matches!(c, '\u{202a}'..='\u{202e}'));
    if sound && clean { Ok(()) } else { Err(format!("text that isn't inert: {text:?}")) }
}

/// All that holds of every drawing.
fn holds(drawing: &Drawing) -> Result<(), TestCaseError> {
    for style in [Style::Own, Style::OfPage] {
        let text = svg::render(drawing, style);
        prop_assert_eq!(well_formed(&text), Ok(()));
        prop_assert!(!text.contains("NaN") && !text.contains("inf"), "a figure that is none");
    }
    for width in [20, 40, 80] {
        for glyphs in [Glyphs::Ascii, Glyphs::Boxes] {
            for line in characters::render(drawing, width, glyphs) {
                prop_assert!(words::columns(&line) <= width, "{} columns: {:?}", width, line);
                prop_assert!(!line.chars().any(char::is_control), "{line:?}");
                prop_assert!(glyphs == Glyphs::Boxes || line.is_ascii(), "{line:?}");
            }
        }
    }
    prop_assert_eq!(overlap(drawing), None);
    Ok(())
}

#[test]
fn hostile_text_stays_text_in_every_label() {
    let mut plan = demo::kitchen();
    plan.title = Some(HOSTILE.into());
    plan.holes[0].tag = HOSTILE.into();
    plan.keep_outs[0].name = HOSTILE.into();
    plan.chain.push(HOSTILE.into());
    plan.light.as_mut().unwrap().plane = Some(HOSTILE.into());
    let mut cut_list = demo::cut_list();
    cut_list.feed_name = Some(HOSTILE.into());
    cut_list.lengths[0].tag = HOSTILE.into();
    cut_list.lengths[1].to = HOSTILE.into();
    let mut joint = demo::joint();
    joint.cables[0].name = HOSTILE.into();
    joint.cables[1].role = HOSTILE.into();
    joint.cables[2].cores[0].colour = HOSTILE.into();
    joint.groups[0].name = HOSTILE.into();
    joint.groups[0].connector = Some(HOSTILE.into());
    joint.groups[1].cores.push(HOSTILE.into());
    joint.switch.as_mut().unwrap().name = HOSTILE.into();
    for drawing in [ceiling_plan(&plan), chain(&cut_list), junction(&joint)] {
        holds(&drawing).unwrap();
    }
    let page = Discs { bezel_mm: 85.0, cut_out_mm: 70.0, tags: vec![HOSTILE.into()] };
    well_formed(&discs(&page, Style::Own).unwrap()[0]).unwrap();
}

#[test]
fn the_check_for_well_formed_text_can_fail() {
    for broken in
        ["<svg>", "<svg></text></svg>", "<svg><script></script></svg>", "<svg>&nbsp;</svg>", "<svg>\u{1b}</svg>"]
    {
        assert!(well_formed(broken).is_err(), "{broken}");
    }
}

#[test]
fn unknown_keys_are_named_with_their_place() {
    let error =
        read::<CeilingPlan>(&json!({ "holes": [{ "tag": "H1", "x_mm": 1, "y_mm": 2, "z_mm": 3 }] })).unwrap_err();
    assert_eq!(error.path, "holes[0].z_mm");
    assert!(error.message.contains("unknown field `z_mm`"), "{error}");
    let error = read::<Junction>(&json!({ "cables": [{ "cores": [{ "color": "red" }] }] })).unwrap_err();
    assert_eq!(error.path, "cables[0].cores[0].color");
    assert!(read::<Chain>(&json!({ "feed": [1, "2"] })).is_err());
}

#[test]
fn what_lies_outside_is_said_and_not_drawn() {
    let mut plan = demo::kitchen();
    plan.holes[5].x_mm = 5000.0;
    plan.holes[4].y_mm = f64::NAN;
    plan.rose_mm = Some([-1.0, 0.0]);
    plan.spots[0].x_mm = f64::INFINITY;
    let drawing = ceiling_plan(&plan);
    let warnings: Vec<&str> =
        drawing.notes.iter().filter(|note| note.kind == NoteKind::Warning).map(|note| note.text.as_str()).collect();
    for name in ["H6", "H5", "Rose", "D1"] {
        let text = format!("{name}: its place lies outside the room. Not drawn.");
        assert!(warnings.contains(&text.as_str()), "{name}: {warnings:?}");
    }
    assert!(warnings.contains(&"The chain names H6, which is no hole of this plan."));
    holds(&drawing).unwrap();
    holds(&ceiling_plan(&CeilingPlan::default())).unwrap();
    holds(&chain(&Chain::default())).unwrap();
    holds(&junction(&Junction::default())).unwrap();
}

#[test]
fn more_than_anyone_draws_is_cut_short_and_said() {
    let many = 100_000;
    let hole =
        |number: usize| Hole { tag: format!("H{number}"), x_mm: (number % 4000) as f64, y_mm: 50.0, ..Hole::default() };
    let plan = CeilingPlan {
        length_m: Some(4.0),
        width_m: Some(3.0),
        holes: (0..many).map(hole).collect(),
        ..CeilingPlan::default()
    };
    let drawing = ceiling_plan(&plan);
    assert!(drawing.notes.iter().any(|note| note.text.contains("only the first")));
    let core = Core { colour: "red".into(), ..Core::default() };
    let cable = Cable { name: "C".into(), cores: vec![core; 1000], ..Cable::default() };
    let group = Group { cores: vec!["C.red".into(); 1000], ..Group::default() };
    let joint = Junction { cables: vec![cable; 100], groups: vec![group; 100], ..Junction::default() };
    assert!(junction(&joint).notes.iter().any(|note| note.text.contains("More than 40")));
}

/// Any number: mostly sensible, sometimes not.
fn any_mm() -> impl Strategy<Value = f64> {
    prop_oneof![12 => -200.0..6000.0_f64, 1 => prop::num::f64::ANY, 1 => Just(0.0)]
}

fn any_name() -> impl Strategy<Value = String> {
    prop_oneof!["[A-Z][0-9]{1,2}", ".{0,12}", Just(HOSTILE.to_owned()), "灯{0,30}", "e\u{301}{0,40}"]
}

fn any_joists() -> impl Strategy<Value = Option<Joists>> {
    let along = prop_oneof![Just(Along::X), Just(Along::Y)];
    let joists = (along, prop::collection::vec(any_mm(), 0..12), prop::option::of(any_mm()));
    prop::option::of(joists.prop_map(|(along, centres, width)| Joists { along, centres, width }))
}

fn any_holes() -> impl Strategy<Value = Vec<Hole>> {
    let hole =
        (any_name(), any_mm(), any_mm()).prop_map(|(tag, x_mm, y_mm)| Hole { tag, x_mm, y_mm, ..Hole::default() });
    prop::collection::vec(hole, 0..16)
}

fn any_size() -> impl Strategy<Value = Option<f64>> {
    prop::option::weighted(0.95, prop_oneof![8 => 0.5..20.0_f64, 1 => prop::num::f64::ANY])
}

fn any_plan() -> impl Strategy<Value = CeilingPlan> {
    let points = || prop::option::of([any_mm(), any_mm()]);
    let keep_out = (any_name(), [any_mm(), any_mm()], [any_mm(), any_mm()]).prop_map(|(name, x_mm, y_mm)| KeepOut {
        name,
        x_mm,
        y_mm,
    });
    let line = any_mm().prop_map(|at_mm| LaserLine { along: if at_mm > 900.0 { Along::X } else { Along::Y }, at_mm });
    let spot = (any_mm(), any_mm(), any_mm()).prop_map(|(x_mm, y_mm, lx)| Spot { x_mm, y_mm, lx });
    let light = (0..12_usize, 0..12_usize, prop::collection::vec(prop::option::of(0.0..900.0_f64), 0..144));
    let light = light.prop_map(|(columns, rows, mut lx)| {
        lx.truncate(columns * rows);
        LightMap { columns, rows, lx, plane: None }
    });
    let outline = prop::collection::vec([0.0..9.0_f64, 0.0..9.0_f64], 3..8);
    let outline = prop_oneof![4 => Just(Vec::new()), 1 => outline];
    let sizes = (any_size(), any_size(), outline, prop::option::of(any_mm()));
    let places = (any_holes(), any_joists(), points(), points());
    let rest = (
        prop::collection::vec(keep_out, 0..4),
        prop::collection::vec(line, 0..4),
        prop::option::of(light),
        prop::collection::vec(spot, 0..4),
    );
    (sizes, places, rest).prop_map(|(sizes, places, rest)| CeilingPlan {
        title: None,
        length_m: sizes.0,
        width_m: sizes.1,
        outline_m: sizes.2,
        cut_out_mm: sizes.3,
        chain: places.0.iter().map(|hole| hole.tag.clone()).collect(),
        holes: places.0,
        joists_mm: places.1,
        rose_mm: places.2,
        joint_mm: places.3,
        keep_outs: rest.0,
        lines: rest.1,
        light: rest.2,
        spots: rest.3,
    })
}

fn any_chain() -> impl Strategy<Value = Chain> {
    let route = prop_oneof![3 => Just(Vec::new()), 1 => prop::collection::vec([any_mm(), any_mm()], 0..5)];
    let length = (any_name(), any_name(), any_name(), any_mm(), route);
    let length =
        length.prop_map(|(tag, from, to, length_m, route_mm)| chain::Length { tag, from, to, length_m, route_mm });
    let reel = (any_mm(), prop::collection::vec(any_mm(), 0..4)).prop_map(|(reel_m, cuts_m)| chain::Reel {
        reel_m,
        cuts_m,
        tags: vec![],
        left_m: None,
    });
    let lists = (any_holes(), prop::collection::vec(length, 0..8), prop::collection::vec(reel, 0..3));
    ([any_mm(), any_mm()], any_size(), any_size(), any_joists(), lists).prop_map(
        |(feed, length_m, width_m, joists_mm, (holes, lengths, reels))| Chain {
            feed,
            length_m,
            width_m,
            joists_mm,
            holes,
            lengths,
            reels,
            ..Chain::default()
        },
    )
}

fn any_junction() -> impl Strategy<Value = Junction> {
    let colour = prop_oneof![
        4 => prop::sample::select(vec!["brown", "blue", "bare", "red", "black", "grey", "green-and-yellow"])
            .prop_map(str::to_owned),
        1 => any_name(),
    ];
    let reference = prop_oneof!["C[1-4]\\.(brown|blue|bare|red|black)", any_name()];
    let core = (prop::option::weighted(0.2, any_name()), colour.clone(), prop::option::weighted(0.3, colour.clone()))
        .prop_map(|(name, colour, sleeve)| Core { name, colour, sleeve });
    let cable = (prop_oneof!["C[1-4]", any_name()], any_name(), any::<bool>(), prop::collection::vec(core, 0..5))
        .prop_map(|(name, role, new, cores)| Cable { name, role, new, cores });
    let sleeve = (reference.clone(), colour).prop_map(|(core, colour)| Sleeve { core, colour });
    let cores = prop::collection::vec(reference, 0..6);
    let sleeves = prop::collection::vec(sleeve, 0..3);
    let group = (any_name(), prop::option::of(any_name()), cores.clone(), sleeves)
        .prop_map(|(name, connector, cores, sleeves)| Group { name, connector, cores, sleeves });
    let switch = prop::option::of((any_name(), cores).prop_map(|(name, cores)| Switch { name, cores }));
    (prop::collection::vec(cable, 0..5), prop::collection::vec(group, 0..5), switch, any::<bool>())
        .prop_map(|(cables, groups, switch, before)| Junction { title: None, cables, groups, switch, before })
}

/// Few cases by day, many by night.
fn cases() -> u32 {
    if std::env::var_os("LAMPWRIGHT_NIGHTLY").is_some() { 3000 } else { 24 }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: cases(), failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_plan_can_be_drawn(plan in any_plan()) {
        holds(&ceiling_plan(&plan))?;
    }

    #[test]
    fn any_chain_can_be_drawn(input in any_chain()) {
        holds(&chain(&input))?;
    }

    #[test]
    fn any_joint_can_be_drawn(input in any_junction()) {
        holds(&junction(&input))?;
    }
}
