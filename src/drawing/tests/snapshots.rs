//! What people see in a terminal, kept whole. `LAMPWRIGHT_UPDATE_GOLDEN=1` writes the files anew.

use super::*;

fn same_as(name: &str, golden: &str, drawing: &Drawing, width: usize, glyphs: Glyphs) {
    let lines = characters::render(drawing, width, glyphs);
    assert!(lines.iter().all(|line| words::columns(line) <= width), "{name}");
    let text = lines.join("\n") + "\n";
    if std::env::var_os("LAMPWRIGHT_UPDATE_GOLDEN").is_some() {
        let path = format!("{}/golden/{name}.txt", file!().rsplit_once("/tests/").unwrap().0);
        std::fs::write(path, &text).unwrap();
    } else {
        assert_eq!(text, golden, "{name}");
    }
}

macro_rules! golden {
    ($test:ident, $drawing:expr, $width:expr, $glyphs:expr) => {
        #[test]
        fn $test() {
            let golden = include_str!(concat!("../golden/", stringify!($test), ".txt"));
            same_as(stringify!($test), golden, &$drawing, $width, $glyphs);
        }
    };
}

golden!(plan_80_boxes, ceiling_plan(&demo::kitchen()), 80, Glyphs::Boxes);
golden!(plan_80_ascii, ceiling_plan(&demo::kitchen()), 80, Glyphs::Ascii);
golden!(plan_40_boxes, ceiling_plan(&demo::kitchen()), 40, Glyphs::Boxes);
golden!(plan_40_ascii, ceiling_plan(&demo::kitchen()), 40, Glyphs::Ascii);
golden!(chain_80_boxes, chain(&demo::cut_list()), 80, Glyphs::Boxes);
golden!(chain_40_ascii, chain(&demo::cut_list()), 40, Glyphs::Ascii);
golden!(joint_80_boxes, junction(&demo::joint()), 80, Glyphs::Boxes);
golden!(joint_40_ascii, junction(&demo::joint()), 40, Glyphs::Ascii);
golden!(rose_40_boxes, junction(&demo::rose()), 40, Glyphs::Boxes);
