//! The demonstration: the kitchen at Wren Cottage, 4.2 by 3.1 m, six lights, joists at 400 mm. All invented.

use serde_json::json;

use super::junction::{Cable, Core};
use super::*;

pub fn kitchen() -> CeilingPlan {
    let mut lx = Vec::new();
    for row in 0..31_i32 {
        for column in 0..42_i32 {
            let near = |at: i32, lights: [i32; 3]| lights.iter().map(|light| (at - light).abs()).min().unwrap();
            let far = near(column, [7, 21, 35]) + near(row, [8, 8, 23]);
            lx.push(f64::from(310 - 9 * far));
        }
    }
    read(&json!({
        "title": "Kitchen at Wren Cottage",
        "length_m": 4.2, "width_m": 3.1,
        "cut_out_mm": 70,
        "holes": [
            { "tag": "H1", "x_mm": 700, "y_mm": 775 }, { "tag": "H2", "x_mm": 2100, "y_mm": 775 },
            { "tag": "H3", "x_mm": 3500, "y_mm": 775 }, { "tag": "H4", "x_mm": 3500, "y_mm": 2325 },
            { "tag": "H5", "x_mm": 2100, "y_mm": 2325 }, { "tag": "H6", "x_mm": 700, "y_mm": 2325 }
        ],
        "joists_mm": { "along": "y", "centres": joists(), "width": 47 },
        "rose_mm": [2100, 1550],
        "joint_mm": [2060, 1480],
        "keep_outs": [{ "name": "pipe chase", "x_mm": [3900, 4200], "y_mm": [1200, 1900] }],
        "chain": ["H2", "H1", "H6", "H5", "H4", "H3"],
        "lines": [{ "along": "x", "at_mm": 775 }, { "along": "x", "at_mm": 2325 }],
        "light": { "columns": 42, "rows": 31, "lx": lx },
        "spots": [{ "x_mm": 1400, "y_mm": 3050, "lx": 118.6 }]
    }))
    .unwrap()
}

pub fn joists() -> Vec<f64> {
    (0..10).map(|number| f64::from(210 + 400 * number)).collect()
}

pub fn cut_list() -> Chain {
    let holes: Vec<_> =
        kitchen().holes.iter().map(|hole| json!({ "tag": hole.tag, "x_mm": hole.x_mm, "y_mm": hole.y_mm })).collect();
    let ends = ["joint", "H2", "H1", "H6", "H5", "H4", "H3"];
    let metres = [1.3, 2.0, 2.2, 2.0, 2.0, 2.2];
    let lengths: Vec<_> = metres
        .iter()
        .enumerate()
        .map(|(index, length)| {
            json!({ "tag": format!("L{}", index + 1), "from": ends[index], "to": ends[index + 1], "length_m": length })
        })
        .collect();
    read(&json!({
        "title": "Chain for the kitchen at Wren Cottage",
        "length_m": 4.2, "width_m": 3.1,
        "feed": [2060, 1480], "feed_name": "joint",
        "holes": holes, "lengths": lengths, "tail_mm": 300,
        "joists_mm": { "along": "y", "centres": joists(), "width": 47 },
        "reels": [{ "reel_m": 25, "cuts_m": metres, "tags": ["L1", "L2", "L3", "L4", "L5", "L6"], "left_m": 13.3 }]
    }))
    .unwrap()
}

pub fn joint() -> Junction {
    read(&json!({
        "title": "Joint at the old rose, as made",
        "cables": [
            { "name": "C1", "role": "feed", "cores": [{ "colour": "red" }, { "colour": "black" }, { "colour": "bare", "sleeve": "green-and-yellow" }] },
            { "name": "C2", "role": "to the switch", "cores": [{ "colour": "red" }, { "colour": "black" }, { "colour": "bare", "sleeve": "green-and-yellow" }] },
            { "name": "C3", "role": "onward feed", "cores": [{ "colour": "brown" }, { "colour": "blue" }, { "colour": "bare", "sleeve": "green-and-yellow" }] },
            { "name": "L1", "role": "to the lights", "new": true, "cores": [{ "colour": "brown" }, { "colour": "blue" }, { "colour": "bare", "sleeve": "green-and-yellow" }] }
        ],
        "groups": [
            { "name": "earth", "connector": "five-way lever connector", "cores": ["C1.bare", "C2.bare", "C3.bare", "L1.bare"] },
            { "name": "neutral", "cores": ["C1.black", "C3.blue", "L1.blue"] },
            { "name": "switched line", "cores": ["C2.black", "L1.brown"], "sleeves": [{ "core": "C2.black", "colour": "brown" }] },
            { "name": "permanent line", "cores": ["C1.red", "C2.red", "C3.brown"] }
        ],
        "switch": { "name": "S1", "cores": ["C2.red", "C2.black"] }
    }))
    .unwrap()
}

/// The same joint before the work: the rose's terminals.
pub fn rose() -> Junction {
    let mut found = joint();
    found.title = None;
    found.before = true;
    found.cables[3] = Cable {
        name: "P".into(),
        role: "pendant flex".into(),
        cores: ["brown", "blue"].map(|colour| Core { colour: colour.into(), ..Core::default() }).into(),
        ..Cable::default()
    };
    for group in &mut found.groups {
        group.connector = None;
        for core in &mut group.cores {
            *core = core.replace("L1.", "P.");
        }
    }
    found.groups[0].cores.pop();
    found
}
