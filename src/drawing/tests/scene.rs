//! The picture's geometry is the input's, and nothing in it covers anything else.

use super::*;

/// An element of an SVG, as far as these tests read it.
fn elements<'a>(text: &'a str, class: &str) -> Vec<&'a str> {
    let wanted = format!(" class=\"{class}\"");
    text.lines().filter(|line| line.contains(&wanted)).collect()
}

fn attribute<'a>(element: &'a str, key: &str) -> &'a str {
    element.split(&format!(" {key}=\"")).nth(1).unwrap().split('"').next().unwrap()
}

fn read_number(element: &str, key: &str) -> f64 {
    attribute(element, key).parse().unwrap()
}

#[test]
fn the_svg_gives_back_the_geometry_of_the_plan() {
    let plan = demo::kitchen();
    let text = svg::render(&ceiling_plan(&plan), Style::Own);
    let holes: Vec<_> = elements(&text, "ink hole")
        .iter()
        .map(|circle| (read_number(circle, "cx"), -read_number(circle, "cy"), 2.0 * read_number(circle, "r")))
        .collect();
    let given: Vec<_> = plan.holes.iter().map(|hole| (hole.x_mm, hole.y_mm, 70.0)).collect();
    assert_eq!(holes, given);
    let rose = elements(&text, "ink rose")[0];
    assert_eq!([read_number(rose, "cx"), -read_number(rose, "cy")], plan.rose_mm.unwrap());
    let joists: Vec<_> = elements(&text, "faint joist")
        .iter()
        .map(|rect| (read_number(rect, "x") + read_number(rect, "width") / 2.0, read_number(rect, "width")))
        .collect();
    assert_eq!(joists, demo::joists().iter().map(|centre| (*centre, 47.0)).collect::<Vec<_>>());
    let walls = elements(&text, "ink wall");
    assert_eq!(attribute(walls[0], "points"), "0,-3100 0,0 4200,0 4200,-3100");
    let chase = elements(&text, "faint keep-out")[0];
    assert_eq!((read_number(chase, "x"), read_number(chase, "y")), (3900.0, -1900.0));
    assert_eq!((read_number(chase, "width"), read_number(chase, "height")), (300.0, 700.0));
}

#[test]
fn paper_and_view_box_keep_the_stated_scale_and_fit_a4() {
    for (drawing, scale) in [(ceiling_plan(&demo::kitchen()), 25.0), (junction(&demo::joint()), 1.0)] {
        let text = svg::render(&drawing, Style::Own);
        let root = text.lines().next().unwrap();
        let paper = |key: &str| attribute(root, key).strip_suffix("mm").unwrap().parse::<f64>().unwrap();
        let view: Vec<f64> = attribute(root, "viewBox").split(' ').map(|part| part.parse().unwrap()).collect();
        assert!((view[2] / paper("width") - scale).abs() < 0.01, "{root}");
        assert!((view[3] / paper("height") - scale).abs() < 0.01, "{root}");
        // A4 is 210 by 297 mm (ISO 216:2007).
        assert!(paper("width") <= 200.0 && paper("height") <= 287.0, "{root}");
    }
}

#[test]
fn running_measures_end_at_the_places_they_name() {
    let plan = ceiling_plan(&demo::kitchen());
    let measures: Vec<_> = plan
        .shapes
        .iter()
        .filter_map(|shape| match shape {
            Shape::Dimension { from, to, figure, .. } => Some((*from, *to, figure.text.as_str())),
            _ => None,
        })
        .collect();
    for (from, to, figure) in &measures {
        assert_eq!(*from, [0.0, 0.0]);
        assert_eq!(to[0].max(to[1]), figure.parse::<f64>().unwrap());
    }
    let figures: Vec<&str> = measures.iter().map(|(.., figure)| *figure).collect();
    assert_eq!(figures, ["4200", "700", "2100", "3500", "3100", "775", "2325"]);
}

/// All text of a picture: fixed, figures and placed names.
pub fn texts(drawing: &Drawing) -> Vec<Text> {
    let fixed = drawing.shapes.iter().filter_map(|shape| match shape {
        Shape::Text(text) | Shape::Dimension { figure: text, .. } => Some(text.clone()),
        _ => None,
    });
    fixed.chain(svg::place_tags(drawing).0).collect()
}

pub fn overlap(drawing: &Drawing) -> Option<(String, String)> {
    let texts = texts(drawing);
    for (index, one) in texts.iter().enumerate() {
        for other in &texts[..index] {
            if one.area(drawing.scale).overlaps(other.area(drawing.scale)) {
                return Some((one.text.clone(), other.text.clone()));
            }
        }
    }
    None
}

#[test]
fn no_two_texts_overlap_and_every_name_has_a_place() {
    let drawings =
        [ceiling_plan(&demo::kitchen()), chain(&demo::cut_list()), junction(&demo::joint()), junction(&demo::rose())];
    for drawing in drawings {
        assert_eq!(overlap(&drawing), None, "{}", drawing.title);
        assert!(svg::place_tags(&drawing).1.is_empty(), "{}", drawing.title);
    }
}

#[test]
fn names_that_find_no_place_are_said() {
    let mut plan = demo::kitchen();
    for number in 0..40 {
        plan.holes.push(room::Hole { tag: format!("X{number}"), x_mm: 1000.0, y_mm: 1000.0, ..room::Hole::default() });
    }
    let drawing = ceiling_plan(&plan);
    assert_eq!(overlap(&drawing), None);
    assert!(svg::render(&drawing, Style::Own).contains("No room in the picture for the names"));
    for width in [40, 80] {
        let text = characters::render(&drawing, width, Glyphs::Ascii).join(" ");
        assert!(text.contains("No room in the picture"));
    }
}

#[test]
fn every_core_runs_by_itself_from_its_cable_to_its_connector() {
    let drawing = junction(&demo::joint());
    let ways: Vec<_> = drawing
        .shapes
        .iter()
        .filter_map(|shape| match shape {
            Shape::Polyline { role: Role::Core(colour), points, .. } => Some((*colour, points.clone())),
            _ => None,
        })
        .collect();
    assert_eq!(ways.len(), 12);
    let levels: Vec<f64> = ways.iter().flat_map(|(_, points)| [points[0][1], points[3][1]]).collect();
    for (index, level) in levels.iter().enumerate() {
        assert!(levels[..index].iter().all(|other| (other - level).abs() > 3.0), "two cores on one level");
    }
    let lanes: Vec<f64> = ways.iter().map(|(_, points)| points[1][0]).collect();
    for (index, lane) in lanes.iter().enumerate() {
        assert!(lanes[..index].iter().all(|other| (other - lane).abs() > 1.4), "two cores in one lane");
    }
    let of = |wanted: CoreColour| ways.iter().filter(|(colour, _)| *colour == wanted).count();
    assert_eq!([CoreColour::Red, CoreColour::Black, CoreColour::Brown, CoreColour::Blue].map(of), [2, 2, 2, 2]);
    assert_eq!(of(CoreColour::Bare), 4);
}

#[test]
fn slips_in_a_joint_are_said_in_the_drawing() {
    let mut slip = demo::joint();
    slip.groups[1].cores.push("C2.black".into());
    slip.groups[3].cores.retain(|core| core != "C3.brown");
    slip.groups[3].cores.push("C9.brown".into());
    let drawing = junction(&slip);
    for text in [svg::render(&drawing, Style::Own), characters::render(&drawing, 80, Glyphs::Boxes).join("\n")] {
        assert!(text.contains("C2.black is in more than one place."));
        assert!(text.contains("C9.brown is named, but no cable has it."));
        assert!(text.contains("C3 brown"));
        assert!(text.to_lowercase().contains("in no connector") || text.contains("Not in any connector"));
    }
}

#[test]
fn two_cores_of_one_colour_are_told_apart_by_their_names() {
    let old_twin_red: Junction = read(&serde_json::json!({
        "cables": [{ "name": "C2", "role": "to the switch",
                     "cores": [{ "name": "red a", "colour": "red" }, { "name": "return", "colour": "red", "sleeve": "brown" }] }],
        "groups": [{ "name": "permanent line", "cores": ["C2.red a"] }, { "name": "switched line", "cores": ["C2.return"] }]
    }))
    .unwrap();
    let text = characters::render(&junction(&old_twin_red), 80, Glyphs::Ascii).join("\n");
    assert!(text.contains("`- C2 red a (to the switch)"), "{text}");
    assert!(text.contains("`- C2 return (red), brown sleeve (to the switch)"), "{text}");
}

#[test]
fn walls_are_lettered_from_the_least_x_whichever_way_round_an_outline_is_given() {
    let outline = vec![[0.0, 0.0], [5.0, 0.0], [5.0, 2.0], [3.0, 2.0], [3.0, 4.0], [0.0, 4.0]];
    let mut turned = outline.clone();
    turned.reverse();
    for outline_m in [outline, turned] {
        let given = room::Given { length_m: None, width_m: None, outline_m: &outline_m };
        let room = room::Room::new(given).unwrap();
        let walls: Vec<_> = room.walls.iter().map(|wall| (wall.letter.as_str(), wall.from)).collect();
        let corners = [[0.0, 4.0], [0.0, 0.0], [5.0, 0.0], [5.0, 2.0], [3.0, 2.0], [3.0, 4.0]];
        let lettered: Vec<_> = ["A", "B", "C", "D", "E", "F"].into_iter().zip(corners).collect();
        assert_eq!(walls, lettered.iter().map(|(l, [x, y])| (*l, [x * 1000.0, y * 1000.0])).collect::<Vec<_>>());
        assert_eq!(room.measured([700.0, 775.0]), "700 from A, 775 from B");
        assert_eq!(room.ahead([1500.0, 1000.0]).map(|(wall, x)| (wall.letter.as_str(), x)), Some(("C", 5000.0)));
        assert_eq!(room.ahead([1500.0, 3000.0]).map(|(wall, x)| (wall.letter.as_str(), x)), Some(("E", 3000.0)));
        assert_eq!(room.ahead([4000.0, 3000.0]), None);
    }
}

#[test]
fn joists_and_places_keep_to_the_outline_of_the_room() {
    let outline = [[0.0, 0.0], [5.0, 0.0], [5.0, 2.0], [3.0, 2.0], [3.0, 4.0], [0.0, 4.0]];
    let room = room::Room::new(room::Given { length_m: None, width_m: None, outline_m: &outline }).unwrap();
    for (along, across, spans) in [
        (room::Along::X, 1000.0, vec![[0.0, 5000.0]]),
        (room::Along::X, 3000.0, vec![[0.0, 3000.0]]),
        (room::Along::Y, 4000.0, vec![[0.0, 2000.0]]),
        (room::Along::Y, 1000.0, vec![[0.0, 4000.0]]),
        (room::Along::X, 4500.0, vec![]),
    ] {
        assert_eq!(room.spans(along, across), spans, "{along:?} {across}");
    }
    for inside in [[0.0, 0.0], [5000.0, 2000.0], [3000.0, 3000.0], [2999.0, 3999.0], [1500.0, 4000.0], [4000.0, 2000.0]]
    {
        assert!(room.holds(inside), "{inside:?}");
    }
    for outside in [[3001.0, 3000.0], [4000.0, 2001.0], [-1.0, 5.0], [5.0, -1.0], [5001.0, 0.0]] {
        assert!(!room.holds(outside), "{outside:?}");
    }
    // A room with an arm on either side is crossed twice.
    let pronged = [[0.0, 0.0], [5.0, 0.0], [5.0, 4.0], [3.0, 4.0], [3.0, 2.0], [2.0, 2.0], [2.0, 4.0], [0.0, 4.0]];
    let room = room::Room::new(room::Given { length_m: None, width_m: None, outline_m: &pronged }).unwrap();
    assert_eq!(room.spans(room::Along::X, 3000.0), [[0.0, 2000.0], [3000.0, 5000.0]]);
}

#[test]
fn measures_that_were_given_out_before_are_checked_against_the_place() {
    let mut plan = demo::kitchen();
    (plan.holes[0].from_a_mm, plan.holes[0].from_b_mm) = (Some(700.0), Some(775.0));
    plan.holes[1].from_b_mm = Some(785.0);
    let drawing = ceiling_plan(&plan);
    let warnings: Vec<_> = drawing.notes.iter().filter(|note| note.kind == NoteKind::Warning).collect();
    assert_eq!(warnings.len(), 1);
    assert!(warnings[0].text.starts_with("H2: its measures"));
}

#[test]
fn a_patch_of_the_light_map_shows_its_lowest_figure() {
    let mut plan = demo::kitchen();
    let light = plan.light.as_mut().unwrap();
    light.lx[0] = Some(3.9);
    let notes = ceiling_plan(&plan).notes;
    let figures: Vec<_> = notes.iter().filter(|note| note.kind == NoteKind::Figures).collect();
    assert!(
        figures[5].text.starts_with("    3"),
        "the corner at the origin is the last row's first patch, rounded down"
    );
}

#[test]
fn the_chain_runs_along_the_joists_first() {
    let joists = room::Joists { along: room::Along::Y, centres: vec![500.0], width: None };
    assert_eq!(room::dog_leg([0.0, 0.0], [900.0, 300.0], Some(&joists)), [[0.0, 0.0], [0.0, 300.0], [900.0, 300.0]]);
    assert_eq!(room::dog_leg([0.0, 0.0], [900.0, 0.0], None), [[0.0, 0.0], [900.0, 0.0]]);
}

#[test]
fn the_scale_is_the_largest_at_which_the_plan_fits_the_page() {
    for (length_m, width_m, scale) in [
        (0.7, 0.7, 5.0),
        (1.0, 1.0, 10.0),
        (4.2, 3.1, 25.0),
        (4.201, 3.1, 50.0),
        (4.0, 4.2, 50.0),
        (10.0, 8.0, 75.0),
        (100.0, 100.0, 1000.0),
    ] {
        let plan = CeilingPlan { length_m: Some(length_m), width_m: Some(width_m), ..CeilingPlan::default() };
        assert_eq!(ceiling_plan(&plan).scale, scale, "{length_m} by {width_m} m");
    }
}
