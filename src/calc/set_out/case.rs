//! What a setting-out case holds, key by key, and the first look at whether its figures make sense.

use serde::Deserialize;

use crate::calc::light::case::{Grid, Maintenance, Reflectance};
use crate::case::CaseError;
use crate::quantity::{Angle, Flux, Illuminance, Intensity, Length, plain};

/// The most lights that one layout may hold.
pub const MOST_LIGHTS: u32 = 64;
/// The longest room side that is accepted, in metres.
const MOST_SIDE_M: f64 = 40.0;
/// One surface at least must absorb a little, or light would pile up for ever.
const MOST_REFLECTANCE: f64 = 0.999;
/// The most obstacles of one kind (keep-outs, joists in a list, lines) that are accepted.
const MOST_OBSTACLES: usize = 200;

/// A setting-out case: the room, what is above its ceiling, and the fittings that are to go in.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Case {
    /// The room.
    pub room: Room,
    /// The joists above the ceiling; without them there is no timber to miss.
    pub joists: Option<Joists>,
    /// The fitting and how many of it.
    pub fitting: Fitting,
    /// How near to a wall a hole may be.
    pub wall: Option<Wall>,
    /// Rectangles in plan that no hole may touch: services, beams, a loft hatch.
    #[serde(default)]
    pub keep_out: Vec<KeepOut>,
    /// The old ceiling rose.
    pub rose: Option<Rose>,
    /// The light that is wanted; decides the number of fittings where none is given.
    pub target: Option<Target>,
    /// How the space above can be reached; with `none`, crossing a joist costs an opening.
    pub access: Option<Access>,
    /// The space above the ceiling board.
    pub void: Option<Void>,
    /// The ceiling board.
    pub board: Option<Board>,
    /// Further families of lines to miss: struts, noggings, bars, board joints.
    #[serde(default)]
    pub line: Vec<LineFamily>,
    /// The line about which the layout is to be symmetrical, where that is not the middle of the room.
    pub centre_line: Option<CentreLine>,
    /// Where the light is judged.
    #[serde(default)]
    pub grid: Grid,
    /// What age and dirt leave of the light.
    #[serde(default)]
    pub maintenance: Maintenance,
}

/// The room: a rectangle, or a rectilinear outline.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Room {
    /// Along x.
    pub length: Option<Length>,
    /// Along y.
    pub width: Option<Length>,
    /// Floor to ceiling; needed for the light.
    pub height: Option<Length>,
    /// Corners anticlockwise, instead of length and width.
    pub outline: Option<Vec<[Length; 2]>>,
    /// Reflectances of the surfaces; a usual light room where none are given.
    #[serde(default)]
    pub reflectance: Reflectance,
}

/// Joists, regular or as a list of centre lines.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Joists {
    /// The axis that the joists run along; they stand at places along the other one.
    pub along: AxisName,
    /// Distance from centre line to centre line.
    pub centres: Option<Length>,
    /// Breadth of a joist.
    pub width: Length,
    /// Centre line of the first joist, from the wall at 0.
    pub first_centre: Option<Length>,
    /// Centre lines as found, instead of `centres` and `first_centre`.
    pub list: Option<Vec<Length>>,
    /// How far a joist may be from where it was found; added to the side clearance.
    #[serde(default)]
    pub tolerance: Length,
}

/// A horizontal axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum AxisName {
    /// Along the room's length.
    X,
    /// Along the room's width.
    Y,
}

/// The fitting: how many, its hole, and its light.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fitting {
    /// How many; or `rows` and `columns`.
    pub count: Option<u32>,
    /// Rows, counted along y.
    pub rows: Option<u32>,
    /// Columns, counted along x.
    pub columns: Option<u32>,
    /// Diameter of the hole: one size, or least and most.
    pub cut_out: CutOut,
    /// Least distance from the hole's edge to timber.
    #[serde(default)]
    pub side_clearance: Length,
    /// Flux of one fitting.
    #[serde(default, deserialize_with = "crate::case::bare_flux")]
    pub lumens: Option<Flux>,
    /// Beam angle, to half of the centre intensity.
    pub beam: Option<Angle>,
    /// Centre intensity, where it is known beside the beam.
    pub centre: Option<Intensity>,
    /// Name of a photometric file; the caller puts its text into `photometry_text`.
    pub photometry: Option<String>,
    /// Text of the photometric file.
    pub photometry_text: Option<String>,
    /// Turn of the fitting, anticlockwise seen from above, for light that is not round.
    #[serde(default)]
    pub turn: Angle,
    /// Height that the fitting needs above the board's underside.
    pub height: Option<Length>,
    /// Least and most board thickness that the clips hold.
    pub clip_range: Option<[Length; 2]>,
}

/// A cut-out as printed: one size, or a range.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(untagged, expecting = "expected a diameter such as \"70 mm\", or [least, most]")]
pub enum CutOut {
    /// One size.
    Size(Length),
    /// Least and most.
    Range([Length; 2]),
}

impl CutOut {
    /// The least diameter that the fitting goes through.
    #[must_use]
    pub fn least(self) -> Length {
        match self {
            Self::Size(size) => size,
            Self::Range([least, _]) => least,
        }
    }

    /// The largest diameter that is printed.
    #[must_use]
    pub fn most(self) -> Length {
        match self {
            Self::Size(size) => size,
            Self::Range([_, most]) => most,
        }
    }
}

/// Distance from the walls.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Wall {
    /// Least distance from a hole's centre to any wall.
    pub least: Length,
}

/// A rectangle in plan that no hole may touch.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KeepOut {
    /// From and to along x.
    pub x: [Length; 2],
    /// From and to along y.
    pub y: [Length; 2],
    /// What it is, for the words of the answer.
    pub name: Option<String>,
}

/// The old ceiling rose.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rose {
    /// Along x.
    pub x: Length,
    /// Along y.
    pub y: Length,
    /// What it is screwed to.
    #[serde(default)]
    pub fixed_to: FixedTo,
    /// Diameter to keep clear about its centre where it is not clear; a point unless given.
    #[serde(default)]
    pub diameter: Length,
}

/// What a rose is screwed to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum FixedTo {
    /// Nobody has looked: kept clear.
    #[default]
    Unknown,
    /// To the board alone: a light may go over it.
    Clear,
    /// To a batten between joists.
    Batten,
    /// To a joist.
    Joist,
}

/// The light that is wanted.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Target {
    /// Average on the work plane.
    pub average: Illuminance,
}

/// How the space above the ceiling can be reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub enum Access {
    /// From a loft.
    #[serde(rename = "loft")]
    Loft,
    /// By lifting the floor above.
    #[serde(rename = "floor above")]
    FloorAbove,
    /// Nothing above opens.
    #[serde(rename = "none")]
    None,
}

/// The space above the ceiling board.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Void {
    /// Free depth above the underside of the ceiling.
    pub depth: Length,
}

/// The ceiling board.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Board {
    /// Its thickness, all layers together.
    pub thickness: Length,
}

/// A family of parallel lines to miss.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LineFamily {
    /// The axis that the lines run along.
    pub along: AxisName,
    /// Their places along the other axis.
    pub list: Vec<Length>,
    /// Breadth of each; that of the joists unless given, for a nogging is cut from the same timber.
    pub width: Option<Length>,
    /// Least distance from the hole's edge; the side clearance unless given.
    pub clearance: Option<Length>,
    /// What they are, for the words of the answer.
    pub name: Option<String>,
}

/// A line to be symmetrical about, per axis.
#[derive(Debug, Clone, Copy, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CentreLine {
    /// Place along x.
    pub x: Option<Length>,
    /// Place along y.
    pub y: Option<Length>,
}

impl Case {
    /// Refuses figures that can't be meant, naming the key.
    ///
    /// # Errors
    /// [`CaseError`] with the key and what was expected.
    pub(super) fn check(&self) -> Result<(), CaseError> {
        self.check_fitting()?;
        self.check_timber()?;
        self.check_light()?;
        if let Some(wall) = self.wall {
            length_within("wall.least", wall.least, 0.0, MOST_SIDE_M)?;
        }
        few("keep_out", self.keep_out.len())?;
        for (index, keep_out) in self.keep_out.iter().enumerate() {
            for (name, [from, to]) in [("x", keep_out.x), ("y", keep_out.y)] {
                let path = format!("keep_out[{index}].{name}");
                length_within(&path, from, -MOST_SIDE_M, 2.0 * MOST_SIDE_M)?;
                length_within(&path, to, -MOST_SIDE_M, 2.0 * MOST_SIDE_M)?;
                if from.0 > to.0 {
                    return Err(CaseError::at(
                        path,
                        "the first figure is more than the second; expected from, then to",
                    ));
                }
            }
        }
        if let Some(rose) = self.rose {
            length_within("rose.x", rose.x, 0.0, MOST_SIDE_M)?;
            length_within("rose.y", rose.y, 0.0, MOST_SIDE_M)?;
            length_within("rose.diameter", rose.diameter, 0.0, 1.0)?;
        }
        let centre = self.centre_line.unwrap_or_default();
        for (path, line) in [("centre_line.x", centre.x), ("centre_line.y", centre.y)] {
            line.map_or(Ok(()), |line| length_within(path, line, 0.0, MOST_SIDE_M))?;
        }
        if let Some(void) = self.void {
            length_within("void.depth", void.depth, 0.0, 5.0)?;
        }
        board_within(self.board)
    }

    fn check_fitting(&self) -> Result<(), CaseError> {
        let fitting = &self.fitting;
        for (path, count) in
            [("fitting.count", fitting.count), ("fitting.rows", fitting.rows), ("fitting.columns", fitting.columns)]
        {
            if count.is_some_and(|count| count == 0 || count > MOST_LIGHTS) {
                return Err(CaseError::at(path, format!("expected a whole number from 1 to {MOST_LIGHTS}")));
            }
        }
        if let (Some(rows), Some(columns)) = (fitting.rows, fitting.columns)
            && rows * columns > MOST_LIGHTS
        {
            let message = format!("{rows} rows of {columns} are more than {MOST_LIGHTS} lights");
            return Err(CaseError::at("fitting.rows", message));
        }
        let cut_out = fitting.cut_out;
        length_within("fitting.cut_out", cut_out.least(), 0.01, 0.6)?;
        length_within("fitting.cut_out", cut_out.most(), cut_out.least().0, 0.6)?;
        length_within("fitting.side_clearance", fitting.side_clearance, 0.0, 1.0)?;
        if let Some(height) = fitting.height {
            length_within("fitting.height", height, 0.0, 2.0)?;
        }
        if let Some([least, most]) = fitting.clip_range {
            length_within("fitting.clip_range", least, 0.0, 0.5)?;
            length_within("fitting.clip_range", most, least.0, 0.5)?;
        }
        Ok(())
    }

    fn check_timber(&self) -> Result<(), CaseError> {
        if let Some(joists) = &self.joists {
            length_within("joists.width", joists.width, 0.0, 1.0)?;
            length_within("joists.tolerance", joists.tolerance, 0.0, 0.5)?;
            match (&joists.list, joists.centres, joists.first_centre) {
                (Some(list), None, None) => places("joists.list", list)?,
                (None, Some(centres), Some(first)) => {
                    length_within("joists.centres", centres, 0.05, MOST_SIDE_M)?;
                    length_within("joists.first_centre", first, -1.0, MOST_SIDE_M)?;
                }
                _ => {
                    let message = "expected `centres` and `first_centre`, or `list` alone";
                    return Err(CaseError::at("joists", message));
                }
            }
        }
        few("line", self.line.len())?;
        for (index, line) in self.line.iter().enumerate() {
            places(&format!("line[{index}].list"), &line.list)?;
            for (name, length) in [("width", line.width), ("clearance", line.clearance)] {
                length.map_or(Ok(()), |length| length_within(&format!("line[{index}].{name}"), length, 0.0, 1.0))?;
            }
        }
        Ok(())
    }

    fn check_light(&self) -> Result<(), CaseError> {
        length_within("grid.work_plane", self.grid.work_plane, 0.0, 10.0)?;
        length_within("grid.step", self.grid.step, 0.02, 5.0)?;
        length_within("grid.border", self.grid.border, 0.0, MOST_SIDE_M)?;
        let factor = self.maintenance.factor;
        if !(factor > 0.0 && factor <= 1.0) {
            return Err(CaseError::at("maintenance.factor", "expected a number above 0 and at most 1"));
        }
        length_within("grid.patch", self.grid.patch, 0.02, 10.0)?;
        let rho = self.room.reflectance;
        for (name, value) in [("ceiling", rho.ceiling), ("walls", rho.walls), ("floor", rho.floor)] {
            if !(0.0..=1.0).contains(&value) {
                return Err(CaseError::at(format!("room.reflectance.{name}"), "expected a number from 0 to 1"));
            }
        }
        if rho.ceiling.min(rho.walls).min(rho.floor) > MOST_REFLECTANCE {
            return Err(CaseError::at("room.reflectance", "no surface absorbs: expected one at 0.999 or below"));
        }
        if let Some(height) = self.room.height {
            length_within("room.height", height, 0.5, 20.0)?;
        }
        if let Some(Flux(lumens)) = self.fitting.lumens
            && !(lumens > 0.0 && lumens <= 1e6)
        {
            return Err(CaseError::at("fitting.lumens", "expected more than 0 and at most 1000000 lm"));
        }
        if let Some(target) = self.target
            && !(target.average.0 > 0.0 && target.average.0 <= 1e5)
        {
            return Err(CaseError::at("target.average", "expected more than 0 and at most 100000 lx"));
        }
        Ok(())
    }
}

fn board_within(board: Option<Board>) -> Result<(), CaseError> {
    board.map_or(Ok(()), |board| length_within("board.thickness", board.thickness, 0.001, 0.5))
}

/// Refuses a length outside metres `least..=most`, NaN included.
pub(super) fn length_within(path: &str, length: Length, least_m: f64, most_m: f64) -> Result<(), CaseError> {
    if (least_m..=most_m).contains(&length.0) {
        return Ok(());
    }
    let message =
        format!("{} m is outside the accepted {} m to {} m", plain(length.0, 4), plain(least_m, 3), plain(most_m, 3));
    Err(CaseError::at(path, message))
}

fn few(path: &str, count: usize) -> Result<(), CaseError> {
    if count <= MOST_OBSTACLES {
        return Ok(());
    }
    Err(CaseError::at(path, format!("{count} entries; at most {MOST_OBSTACLES} are accepted")))
}

fn places(path: &str, list: &[Length]) -> Result<(), CaseError> {
    few(path, list.len())?;
    list.iter()
        .enumerate()
        .try_for_each(|(index, place)| length_within(&format!("{path}[{index}]"), *place, -1.0, 2.0 * MOST_SIDE_M))
}
