//! The search against plain enumeration, and the answers against what can be worked out by hand.

use serde_json::{Value, json};

use super::*;

fn case(value: &Value) -> Case {
    crate::case::read(value).unwrap()
}

fn answer(value: &Value) -> Answer {
    figure(&case(value), Facts::embedded()).unwrap()
}

/// The kitchen with a fitting whose light is known; coarse, so that a test is quick.
fn lit_kitchen() -> Value {
    let value = with(with(kitchen(), "fitting.lumens", json!(650)), "fitting.beam_deg", json!(60));
    with(with(value, "grid.step", json!("0.25 m")), "grid.patch", json!("1 m"))
}

/// The kitchen of the examples: 4.2 × 3.1 m, joists along y at 400 mm.
fn kitchen() -> Value {
    json!({
        "room": { "length": "4.2 m", "width": "3.1 m", "height": "2.4 m" },
        "joists": { "along": "y", "centres": "400 mm", "width": "47 mm", "first_centre": "210 mm" },
        "fitting": { "count": 6, "cut_out": "70 mm", "side_clearance": "25 mm" },
        "wall": { "least": "300 mm" },
        "rose": { "x": "2.1 m", "y": "1.55 m", "fixed_to": "unknown" },
    })
}

fn with(mut value: Value, path: &str, new: Value) -> Value {
    let (table, key) = path.split_once('.').unwrap();
    if value.get(table).is_none() {
        value[table] = json!({});
    }
    value[table][key] = new;
    value
}

mod enumeration {
    //! A second method: every candidate, one after the other, judged point by point in plain millimetres.

    use super::*;
    use crate::calc::set_out::search::{Among, Found, best};

    /// The longest side of a room in which every pair is enumerated, however far, in millimetres.
    const MOST_FOR_ALL: f64 = 400.0;

    /// What the enumeration needs of a case, in millimetres.
    pub struct Plain {
        pub extent: [f64; 2],
        pub radius: f64,
        pub wall: f64,
        pub side: f64,
        pub joists: Vec<f64>,
        pub joist_width: f64,
        pub noggings: Vec<f64>,
        pub areas: Vec<[f64; 4]>,
        pub rose: Option<([f64; 2], bool)>,
        pub costly: bool,
        pub centre: [f64; 2],
        /// Lower corner of the part at the upper end of both axes that is no room, and the number of lights.
        pub notch: Option<([f64; 2], usize)>,
    }

    /// A candidate as enumerated: class, crossings, uncovered, move, first and spacing along x, and along y.
    type Key = (u64, usize, bool, f64, i64, i64, i64, i64);

    impl Plain {
        fn axis_is_free(&self, axis: usize, place: f64) -> bool {
            let bands = if axis == 0 { &self.joists } else { &self.noggings };
            place.min(self.extent[axis] - place) >= self.wall
                && bands.iter().all(|band| (place - band).abs() >= self.joist_width / 2.0 + self.radius + self.side)
        }

        fn area_is_free(&self, x: f64, y: f64) -> bool {
            let clear = |[x0, x1, y0, y1]: &[f64; 4]| {
                let (dx, dy) = ((x0 - x).max(x - x1).max(0.0), (y0 - y).max(y - y1).max(0.0));
                dx * dx + dy * dy >= self.radius * self.radius
            };
            let off_rose = match self.rose {
                Some(([rx, ry], false)) => (x - rx).powi(2) + (y - ry).powi(2) >= self.radius * self.radius,
                _ => true,
            };
            off_rose && self.areas.iter().all(clear)
        }

        fn is_room(&self, x: f64, y: f64) -> bool {
            !self.notch.is_some_and(|([from_x, from_y], _)| x > from_x && y > from_y)
        }

        fn off_notch(&self, x: f64, y: f64) -> bool {
            let near = |([from_x, from_y], _): ([f64; 2], usize)| {
                (from_x - x).max(0.0).powi(2) + (from_y - y).max(0.0).powi(2) < self.wall * self.wall
            };
            !self.notch.is_some_and(near)
        }

        fn places(&self, axis: usize, count: i64, symmetrical: bool) -> Vec<(f64, i64, i64)> {
            let most = self.extent[axis] as i64;
            let mut all = Vec::new();
            let off_centre = |first: i64, last: i64| ((first + last) as f64 - 2.0 * self.centre[axis]).abs();
            // As symmetrical as whole millimetres allow, whatever is legal: one hole at `p` sums to 2 p, three likewise.
            let odd_step = if count % 2 == 1 { 2 } else { 1 };
            let nearest = (0..=2 * most).step_by(odd_step).map(|sum| off_centre(sum, 0)).fold(f64::MAX, f64::min);
            for first in 0..=most {
                let spacings = if count == 1 { 0..=0 } else { 1..=(most - first) / (count - 1) };
                for spacing in spacings {
                    let last = first + (count - 1) * spacing;
                    if count > 1 && spacing as f64 <= 2.0 * self.radius {
                        continue;
                    }
                    if symmetrical && off_centre(first, last) > nearest {
                        continue;
                    }
                    if !(0..count).all(|index| self.axis_is_free(axis, (first + index * spacing) as f64)) {
                        continue;
                    }
                    let ideal = |index: i64| self.extent[axis] * (index as f64 + 0.5) / count as f64;
                    let moves = (0..count).map(|index| ((first + index * spacing) as f64 - ideal(index)).abs());
                    all.push((moves.fold(0.0, f64::max), first, spacing));
                }
            }
            all.sort_by(|one, two| one.partial_cmp(two).unwrap());
            all
        }

        fn crossings(&self, first: i64, last: i64) -> usize {
            if !self.costly {
                return 0;
            }
            let between = |a: f64, b: f64| self.joists.iter().filter(|at| a.min(b) < **at && **at < a.max(b)).count();
            let (first, last) = (first as f64, last as f64);
            let start = self.rose.map_or(0, |([x, _], _)| between(x, first).min(between(x, last)));
            between(first, last) + start
        }

        /// The best candidate of all.
        pub fn best(&self, columns: i64, rows: i64, symmetrical: bool) -> Option<Key> {
            let (xs, ys) = (self.places(0, columns, symmetrical), self.places(1, rows, symmetrical));
            let mut best: Option<Key> = None;
            for (mx, fx, sx) in &xs {
                if best.is_some_and(|best| *mx >= 10.0 * (best.0 + 1) as f64) {
                    break;
                }
                for (my, fy, sy) in &ys {
                    let moved = mx.hypot(*my);
                    // The allowance keeps a move of exactly 10 mm out of the class below.
                    let class = (moved / 10.0 + 1e-9) as u64;
                    if best.is_some_and(|best| class > best.0) {
                        break;
                    }
                    let xs = (0..columns).map(|index| (fx + index * sx) as f64);
                    let points: Vec<[f64; 2]> =
                        xs.flat_map(|x| (0..rows).map(move |index| [x, (fy + index * sy) as f64])).collect();
                    let points: Vec<[f64; 2]> = points.into_iter().filter(|[x, y]| self.is_room(*x, *y)).collect();
                    let free = |x: f64, y: f64| self.area_is_free(x, y) && self.off_notch(x, y);
                    let as_asked = self.notch.is_none_or(|(_, lights)| points.len() == lights);
                    if !as_asked || !points.iter().all(|[x, y]| free(*x, *y)) {
                        continue;
                    }
                    let covers =
                        |rose: [f64; 2]| points.iter().any(|[x, y]| (x - rose[0]).hypot(y - rose[1]) < self.radius);
                    let uncovered = self.rose.is_some_and(|(rose, clear)| clear && !covers(rose));
                    let crossed = self.crossings(*fx, fx + (columns - 1) * sx);
                    let moved = (moved * 1e6).round();
                    let key = (class, crossed, uncovered, moved, *fx, *sx, *fy, *sy);
                    if best.is_none_or(|best| key < best) {
                        best = Some(key);
                    }
                }
            }
            best
        }

        /// The same room as a case.
        pub fn case(&self, columns: i64, rows: i64) -> Case {
            let areas: Vec<Value> =
                self.areas.iter().map(|[x0, x1, y0, y1]| json!({ "x_mm": [x0, x1], "y_mm": [y0, y1] })).collect();
            let mut value = json!({
                "room": { "length_mm": self.extent[0], "width_mm": self.extent[1] },
                "fitting": { "rows": rows, "columns": columns, "cut_out_mm": 2.0 * self.radius,
                             "side_clearance_mm": self.side },
                "wall": { "least_mm": self.wall },
                "joists": { "along": "y", "list_mm": self.joists, "width_mm": self.joist_width },
                "line": [{ "along": "x", "list_mm": self.noggings }],
                "keep_out": areas,
                "centre_line": { "x_mm": self.centre[0], "y_mm": self.centre[1] },
            });
            if let Some(([x, y], _)) = self.notch {
                let [length, width] = self.extent;
                let outline = [[0.0, 0.0], [length, 0.0], [length, y], [x, y], [x, width], [0.0, width]];
                value["room"] = json!({ "outline_mm": outline });
                value.as_object_mut().unwrap().remove("centre_line");
            }
            if let Some(([x, y], clear)) = self.rose {
                let fixed_to = if clear { "clear" } else { "unknown" };
                value["rose"] = json!({ "x_mm": x, "y_mm": y, "fixed_to": fixed_to });
            }
            if self.costly {
                value["access"] = json!("none");
            }
            super::case(&value)
        }
    }

    pub fn key(found: &Found) -> Key {
        let moved = (found.moved.mm() * 1e6).round();
        let (x, y) = (found.x, found.y);
        let class = found.moved.class();
        (class, found.crossings as usize, found.uncovered, moved, x.first, x.spacing, y.first, y.spacing)
    }

    /// Compares search and enumeration for one room; says whether anything was legal.
    pub fn agree(room: &Plain, columns: i64, rows: i64) -> bool {
        let site = Site::new(&room.case(columns, rows), 0).unwrap();
        let shape = Shape { columns: columns as u32, rows: rows as u32 };
        let lights = room.notch.map(|(_, lights)| lights as u32);
        let mut legal = false;
        for among in [Among::Symmetrical, Among::All] {
            if room.notch.is_some() && among == Among::Symmetrical {
                continue;
            }
            let found = best(&site, shape, lights, among).first().map(key);
            let far = found.is_none_or(|found| found.0 > 2);
            if among == Among::All && far && room.extent.iter().any(|side| *side > MOST_FOR_ALL) {
                // Enumeration would look at some 10¹³ pairs; in rooms this large it proves what lies near.
                continue;
            }
            let enumerated = room.best(columns, rows, among == Among::Symmetrical);
            assert_eq!(found, enumerated, "{columns} × {rows}, {lights:?}, {among:?}, {:?}", room.case(columns, rows));
            legal = legal || found.is_some();
        }
        legal
    }
}

/// Numbers that look random and are the same in every run.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, from: i64, to: i64) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (from + ((self.0 >> 33) % (to - from + 1) as u64) as i64) as f64
    }
}

/// A room with joists, noggings and keep-outs where they fall; its sides are even numbers of millimetres.
fn rolled(dice: &mut Dice, most_side: i64) -> enumeration::Plain {
    let extent = [2.0 * dice.roll(most_side / 4, most_side / 2), 2.0 * dice.roll(most_side / 4, most_side / 2)];
    let radius = dice.roll(10, most_side / 12);
    let pitch = most_side / 4;
    let joists = (0..8).map(|index| (index * pitch) as f64 + dice.roll(0, pitch / 3)).collect();
    let spot = |dice: &mut Dice| {
        let (x, y) = (dice.roll(0, extent[0] as i64), dice.roll(0, extent[1] as i64));
        [x, x + dice.roll(0, most_side / 5), y, y + dice.roll(0, most_side / 5)]
    };
    let areas = (0..dice.roll(0, 3) as usize).map(|_| spot(dice)).collect();
    let rose = (dice.roll(0, 2) > 0.0).then(|| ([extent[0] / 2.0, (extent[1] / 2.0).floor()], dice.roll(0, 1) > 0.0));
    enumeration::Plain {
        extent,
        radius,
        wall: radius + dice.roll(0, 20),
        side: dice.roll(0, 5),
        joists,
        joist_width: 2.0 * dice.roll(2, 6),
        noggings: vec![dice.roll(0, extent[1] as i64)],
        areas,
        rose,
        costly: dice.roll(0, 1) > 0.0,
        centre: [extent[0] / 2.0, extent[1] / 2.0 + dice.roll(0, 1) * 0.5],
        notch: None,
    }
}

#[test]
fn the_search_finds_what_plain_enumeration_finds() {
    let nightly = std::env::var_os("LAMPWRIGHT_NIGHTLY").is_some();
    let (rooms, most_side) = if nightly { (30, 3000) } else { (30, 240) };
    let mut dice = Dice(1);
    let mut legal = 0;
    for _ in 0..rooms {
        let room = rolled(&mut dice, most_side);
        let (columns, rows) = (dice.roll(1, 3) as i64, dice.roll(1, 3) as i64);
        legal += usize::from(enumeration::agree(&room, columns, rows));
    }
    // Both kinds of room must have come up, or the comparison says little.
    assert!(legal > rooms / 4 && legal < rooms, "{legal} of {rooms}");
}

#[test]
fn the_search_finds_what_plain_enumeration_finds_in_l_shaped_rooms() {
    let nightly = std::env::var_os("LAMPWRIGHT_NIGHTLY").is_some();
    let (rooms, most_side) = if nightly { (80, 180) } else { (24, 160) };
    let mut dice = Dice(7);
    let mut legal = 0;
    for _ in 0..rooms {
        let mut room = rolled(&mut dice, most_side);
        // Small holes, so that many layouts are legal.
        (room.radius, room.wall, room.areas) = (6.0, 9.0, room.areas.into_iter().take(1).collect());
        let corner = room.extent.map(|side| dice.roll(side as i64 / 3, side as i64 - 20));
        let (columns, rows) = (dice.roll(2, 3) as i64, dice.roll(1, 3) as i64);
        let lights = (columns * rows) as usize - dice.roll(0, 2).min((columns * rows - 1) as f64) as usize;
        room.notch = Some((corner, lights));
        legal += usize::from(enumeration::agree(&room, columns, rows));
    }
    assert!(legal > rooms / 8 && legal < rooms, "{legal} of {rooms}");
}

#[test]
fn without_obstacles_the_lights_stand_at_half_spacing() {
    for (length, places) in [("4.2 m", [700, 2100, 3500]), ("4.1 m", [683, 2050, 3417])] {
        let value =
            json!({ "room": { "length": length, "width": "3.1 m" }, "fitting": { "count": 6, "cut_out_mm": 70 } });
        let answer = answer(&value);
        let xs: Vec<i64> = answer.layout.positions[..3].iter().map(|at| at[0]).collect();
        assert_eq!(xs, places);
        assert_eq!((answer.layout.rows, answer.layout.columns), (2, 3));
        assert_eq!(answer.layout.positions.last(), Some(&[places[2], 2325]));
        assert!(answer.layout.moved_mm < 0.5 && answer.why_not.is_none());
    }
}

#[test]
fn the_kitchen_is_set_out_between_its_joists() {
    // Half-spacing 700, 2100, 3500 against joist centres 210 + 400 k: nearest faces 610 + 23.5 and 3410 + 23.5,
    // so that the least gap is 3500 − 35 − 3433.5 = 31.5.
    let answer = answer(&kitchen());
    assert_eq!(answer.layout.least_timber_gap_mm, Some(31.5));
    assert_eq!(answer.layout.moved_mm, 0.0);
    assert_eq!(answer.layout.hole_saw_mm, Some(70.0));
    let tags: Vec<&str> = answer.measurements.iter().map(|hole| hole.tag.as_str()).collect();
    assert_eq!(tags, ["H1", "H2", "H3", "H4", "H5", "H6"]);
    assert_eq!((answer.measurements[4].from_a_mm, answer.measurements[4].from_b_mm), (2100, 2325));
    assert_eq!(answer.layout.closing[1], Closing { row: 2, to_far_wall_mm: 700.0 });
    assert_eq!(answer.layout.laser_lines[0], LaserLine { row: 1, from_b_mm: 775 });
}

#[test]
fn whole_columns_move_off_a_joist_and_stay_symmetrical() {
    // Joists at 300 + 400 k: columns at 700 and 3500 would stand on one, the middle is free. A column on a joist has to
    // move 23.5 + 25 + 35 = 83.5 mm, in whole millimetres 84, and the lower x is taken.
    let answer = answer(&with(kitchen(), "joists.first_centre", json!("300 mm")));
    let layout = &answer.layout;
    let xs: Vec<i64> = layout.positions[..3].iter().map(|at| at[0]).collect();
    assert_eq!(xs, [616, 2100, 3584]);
    assert!(layout.legal && layout.symmetrical && layout.moved_mm == 84.0);
    assert_eq!(layout.least_timber_gap_mm, Some(25.5));
}

#[test]
fn a_rose_is_missed_unless_it_is_clear_and_then_it_is_covered() {
    let single = with(with(kitchen(), "fitting.count", json!(1)), "joists.first_centre", json!("300 mm"));
    let single = with(single, "joists.centres", json!("600 mm"));
    let missed = answer(&single);
    assert!(!missed.layout.rose_covered && missed.layout.moved_mm >= 35.0);
    let clear = with(single, "rose.fixed_to", json!("clear"));
    // The joist at 2100 forbids the middle; without it the light goes over the rose.
    let covered = answer(&with(clear, "joists.first_centre", json!("0 mm")));
    assert!(covered.layout.rose_covered, "{:?}", covered.layout);
}

#[test]
fn when_nothing_fits_the_answer_says_what_blocks_and_what_would_fit() {
    let tight = with(kitchen(), "fitting.side_clearance", json!("150 mm"));
    let answer = answer(&tight);
    assert!(!answer.layout.legal && answer.alternatives.is_empty());
    let why_not = answer.why_not.unwrap();
    assert!(why_not.blocks.iter().any(|words| words.contains("joist")), "{why_not:?}");
    // 400 − 47 − 2 × 150 leaves 53 mm for the hole.
    assert_eq!(why_not.nearest.as_deref(), Some("a cut-out of 53 mm or less fits"));
    assert!(rank(&case(&tight), Facts::embedded()).unwrap().is_empty());
}

#[test]
fn a_void_too_shallow_or_a_board_too_thick_is_said() {
    let value = with(with(kitchen(), "fitting.height", json!("90 mm")), "void.depth", json!("70 mm"));
    assert!(answer(&value).why_not.unwrap().blocks[0].contains("70 mm"));
    let value = with(kitchen(), "fitting.clip_range", json!(["1 mm", "20 mm"]));
    let value = with(value, "board.thickness", json!("25 mm"));
    assert!(answer(&value).why_not.unwrap().blocks[0].contains("clips"));
}

#[test]
fn a_layout_chosen_earlier_is_judged_in_the_changed_room() {
    let room = |length: &str| {
        case(&json!({ "room": { "length": length, "width": "3.1 m" },
        "fitting": { "count": 6, "cut_out_mm": 70 } }))
    };
    let former: Vec<[f64; 2]> = [775.0, 2325.0].iter().flat_map(|y| [700.0, 2100.0, 3500.0].map(|x| [x, *y])).collect();
    let judgement = judge(&room("4.1 m"), &former);
    assert_eq!((judgement.legal, judgement.words.as_str()), (true, "still legal, last gap 600 mm instead of 700 mm"));
    assert!(judge(&room("4.2 m"), &former).words.starts_with("still legal, gaps"));
    let judgement = judge(&room("3.5 m"), &former);
    assert!(!judgement.legal && judgement.words.contains("H3"), "{judgement:?}");
    assert!(!judge(&room("4.2 m"), &[[f64::NAN, 0.0]]).legal);
    assert!(!judge(&room("4.2 m"), &[[700.0, 775.0], [740.0, 775.0]]).legal, "touching holes");
}

#[test]
fn an_l_shaped_room_leaves_out_what_is_no_room() {
    let value = json!({
        "room": { "outline_m": [[0, 0], [1, 0], [1, 0.45], [0.45, 0.45], [0.45, 0.9], [0, 0.9]] },
        "fitting": { "count": 6, "cut_out_mm": 70 }, "wall": { "least_mm": 100 },
    });
    let layouts = rank(&case(&value), Facts::embedded()).unwrap();
    assert!(!layouts.is_empty() && layouts.len() <= 6);
    for layout in &layouts {
        assert_eq!(layout.positions.len(), 6);
        for [x, y] in &layout.positions {
            let inside = |x: i64, y: i64| (0..=1000).contains(&x) && (0..=450).contains(&y) || x <= 450 && y <= 900;
            let corners = [[-100, 0], [100, 0], [0, -100], [0, 100], [-70, -70], [70, 70]];
            assert!(corners.iter().all(|[dx, dy]| inside(x + dx, y + dy)), "{x} {y}");
        }
        assert!(layout.closing.iter().all(|row| row.to_far_wall_mm >= 100.0));
    }
}

#[test]
fn the_target_decides_the_number_where_none_is_given() {
    let mut value = lit_kitchen();
    value["fitting"].as_object_mut().unwrap().remove("count");
    value["target"] = json!({ "average_lx": 200 });
    let answer = answer(&value);
    let lights = answer.layout.positions.len();
    assert_eq!(answer.meets_target, Some(true));
    let fewer = with(value, "fitting.count", json!(lights - 1));
    assert_eq!(super::tests::answer(&fewer).meets_target, Some(false));
}

#[test]
fn light_decides_within_a_class_of_moves_and_is_offered_beyond_it() {
    let answer = answer(&lit_kitchen());
    let light = answer.layout.light.unwrap();
    assert!(answer.layout.moved_mm < 10.0);
    let work = light.planes.work;
    assert!((work.direct.average_lx + work.reflected.average_lx - work.total.average_lx).abs() < 1e-6);
    assert!(work.reflected.average_lx > 0.0 && light.figures == work.total);
    let evener = answer.alternatives.iter().find(|layout| layout.reason.starts_with("evener")).unwrap();
    assert!(evener.light.unwrap().figures.uniformity > light.figures.uniformity);
    assert!(evener.light_lost.unwrap().uniformity < 0.0);
}

#[test]
fn fewer_joists_are_crossed_where_nothing_above_opens() {
    let mut value = kitchen();
    value["access"] = json!("none");
    let answer = answer(&value);
    // From the rose at 2100 to a column at 700 and over to 3500: joists at 1010, 1410, 1810 twice, 2210, 2610, 3010, 3410.
    assert_eq!(answer.layout.crossings, Some(10));
    assert!(answer.alternatives.iter().any(|layout| layout.crossings < Some(10)));
}

#[test]
fn the_saw_is_the_next_size_up_and_never_beyond_the_most() {
    let facts = Facts::embedded();
    let mm = |size: f64| Length(size / 1000.0);
    for (least, most, saw) in [(68.0, 75.0, Some(68.0)), (71.0, 72.0, None), (80.0, 85.0, Some(83.0))] {
        assert_eq!(hole_saw_mm(CutOut::Range([mm(least), mm(most)]), facts), saw, "{least} to {most}");
    }
    for (size, saw) in [(70.0, Some(70.0)), (72.0, Some(73.0)), (90.0, Some(92.0)), (45.0, None), (200.0, None)] {
        assert_eq!(hole_saw_mm(CutOut::Size(mm(size)), facts), saw, "{size}");
    }
}

#[test]
fn swapping_length_and_width_swaps_the_layout() {
    let turned = json!({
        "room": { "length": "3.1 m", "width": "4.2 m" },
        "joists": { "along": "x", "centres": "400 mm", "width": "47 mm", "first_centre": "300 mm" },
        "fitting": { "count": 8, "cut_out": "70 mm", "side_clearance": "25 mm" },
    });
    let straight = json!({
        "room": { "length": "4.2 m", "width": "3.1 m" },
        "joists": { "along": "y", "centres": "400 mm", "width": "47 mm", "first_centre": "300 mm" },
        "fitting": { "count": 8, "cut_out": "70 mm", "side_clearance": "25 mm" },
    });
    let (turned, straight) = (answer(&turned).layout, answer(&straight).layout);
    let mut swapped: Vec<[i64; 2]> = turned.positions.iter().map(|[x, y]| [*y, *x]).collect();
    swapped.sort_unstable_by_key(|[x, y]| (*y, *x));
    assert_eq!(swapped, straight.positions);
    assert_eq!(turned.moved_mm, straight.moved_mm);
}

#[test]
fn absurd_cases_are_refused_with_their_key() {
    let refused = |path: &str, new: Value| {
        let value = with(kitchen(), path, new);
        crate::case::read::<Case>(&value).and_then(|case| figure(&case, Facts::embedded())).unwrap_err().path
    };
    assert_eq!(refused("room.length", json!("1000 m")), "room.length");
    assert_eq!(refused("room.length", json!("-4 m")), "room.length");
    assert_eq!(refused("fitting.cut_out", json!("0 mm")), "fitting.cut_out");
    assert_eq!(refused("fitting.count", json!(0)), "fitting.count");
    assert_eq!(refused("fitting.count", json!(100_000)), "fitting.count");
    assert_eq!(refused("fitting.rows", json!(4)), "fitting.count");
    assert_eq!(refused("joists.centres", json!("1 mm")), "joists.centres");
    assert_eq!(refused("joists.list", json!(["1 m"])), "joists");
    assert_eq!(refused("fitting.lumens", json!(650)), "fitting.beam");
}

#[test]
fn no_case_within_the_bounds_is_too_much() {
    let mut dice = Dice(3);
    for _ in 0..12 {
        let room = rolled(&mut dice, 1200);
        let mut case = room.case(dice.roll(1, 9) as i64, dice.roll(1, 7) as i64);
        case.room.length = Some(Length(dice.roll(30, 120) / 100.0));
        case.fitting.side_clearance = Length(dice.roll(0, 60) / 1000.0);
        match figure(&case, Facts::embedded()) {
            Ok(answer) => {
                let holes: Vec<[f64; 2]> = answer.layout.positions.iter().map(|at| at.map(|mm| mm as f64)).collect();
                assert_eq!(judge(&case, &holes).legal, answer.layout.legal, "{answer:?}");
                assert_eq!(answer.why_not.is_none(), answer.layout.legal);
                assert!(answer.alternatives.iter().all(|other| other.legal && other.reason.split(' ').count() <= 12));
            }
            Err(error) => assert!(!error.path.is_empty(), "{error}"),
        }
    }
}
