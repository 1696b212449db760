//! What a case of the light calculator holds, key by key, and the checks that make it a scene.

use std::collections::BTreeMap;

use serde::Deserialize;

use super::exchange::{Vector, cross, dot};
use super::illuminance::{Grid as Points, Placed};
use super::lm63;
use super::photometry::Photometry;
use super::scene::{Panel, Scene};
use crate::calc::plan::Plan;
use crate::case::CaseError;
use crate::quantity::{Angle, Exitance, Flux, Intensity, Length};

const MOST_SOURCES: usize = 400;
const MOST_ASKED: usize = 500;
/// Sources times points beyond this would take too long.
const MOST_LOOKS: usize = 40_000_000;
/// Two fittings nearer than this, in metres, would be one inside the other.
const OVERLAP_M: f64 = 0.01;
/// A source must be this far off a wall, in metres: half its light would go into it.
const OFF_WALL_M: f64 = 0.001;
/// Surfaces that all reflect more than this would never let the light settle.
const MOST_REFLECTANCE: f64 = 0.999;

/// A case of the light calculator.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Case {
    /// The room.
    pub room: Room,
    /// The points at which light is judged.
    #[serde(default)]
    pub grid: Grid,
    /// Kinds of fittings by name.
    #[serde(default)]
    pub fitting_type: BTreeMap<String, FittingType>,
    /// The fittings, aimed straight down.
    #[serde(default)]
    pub fitting: Vec<Fitting>,
    /// Textbook sources that shine the same all round.
    #[serde(default)]
    pub isotropic: Vec<Isotropic>,
    /// Textbook diffuse panels.
    #[serde(default)]
    pub area_source: Vec<AreaSource>,
    /// Points that are asked for by themselves.
    #[serde(default)]
    pub point: Vec<Point>,
    /// What age and dirt leave of the light.
    #[serde(default)]
    pub maintenance: Maintenance,
}

/// The room: `length` and `width`, or `outline`.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Room {
    /// Along x.
    pub length: Option<Length>,
    /// Along y.
    pub width: Option<Length>,
    /// Floor to ceiling.
    pub height: Length,
    /// Corners anticlockwise.
    pub outline: Option<Vec<[Length; 2]>>,
    /// Reflectances, 0 to 1.
    #[serde(default)]
    pub reflectance: Reflectance,
}

/// Reflectances, 0 to 1; a usual light room where none are given.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reflectance {
    /// Of the ceiling.
    pub ceiling: f64,
    /// Of the walls.
    pub walls: f64,
    /// Of the floor.
    pub floor: f64,
}

impl Default for Reflectance {
    fn default() -> Self {
        Self { ceiling: 0.7, walls: 0.5, floor: 0.2 }
    }
}

/// Where the points lie.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Grid {
    /// Height of the work plane.
    pub work_plane: Length,
    /// Largest distance between points.
    pub step: Length,
    /// Band along the walls that is left out.
    pub border: Length,
    /// About how large the patches are between which reflected light is exchanged.
    pub patch: Length,
}

impl Default for Grid {
    fn default() -> Self {
        Self { work_plane: Length(0.85), step: Length(0.1), border: Length(0.0), patch: Length(0.15) }
    }
}

/// A kind of fitting: flux and beam angle, with or without the centre intensity; or a photometric file.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FittingType {
    /// Flux in lumens; a bare number will do.
    #[serde(default, deserialize_with = "crate::case::bare_flux")]
    pub lumens: Option<Flux>,
    /// Full angle to half of the centre intensity.
    pub beam: Option<Angle>,
    /// Centre intensity.
    pub centre: Option<Intensity>,
    /// Name of a photometric file; the caller puts its text into `photometry_text`.
    pub photometry: Option<String>,
    /// Text of the photometric file.
    pub photometry_text: Option<String>,
    /// Turn of C0 from +x, anticlockwise seen from above, for every fitting of this kind.
    #[serde(default)]
    pub turn: Angle,
}

/// A fitting in its place.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fitting {
    /// Its kind.
    #[serde(rename = "type")]
    pub kind: String,
    /// Along the length.
    pub x: Length,
    /// Along the width.
    pub y: Length,
    /// Above the floor; at the ceiling where it is left out.
    pub z: Option<Length>,
    /// Turn of C0 from +x beyond that of its kind, anticlockwise seen from above.
    #[serde(default)]
    pub turn: Angle,
}

/// A source that shines the same all round.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Isotropic {
    /// Along the length.
    pub x: Length,
    /// Along the width.
    pub y: Length,
    /// Above the floor.
    pub z: Length,
    /// Its intensity.
    pub intensity: Intensity,
}

/// A diffuse parallelogram, shining to the side of u × v.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AreaSource {
    /// A corner.
    pub corner: [Length; 3],
    /// One edge from it.
    pub edge_u: [Length; 3],
    /// The other edge. (A key that ends in `_v` is read as volts elsewhere; here the stem alone arrives.)
    #[serde(alias = "edge")]
    pub edge_v: [Length; 3],
    /// Its exitance.
    pub exitance: Exitance,
}

/// A point that is asked for.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Point {
    /// Along the length.
    pub x: Length,
    /// Along the width.
    pub y: Length,
    /// Above the floor.
    pub z: Length,
    /// The direction that the surface at the point faces; up where it is left out.
    #[serde(default = "up")]
    pub normal: [f64; 3],
}

/// What age and dirt leave of the light.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Maintenance {
    /// The factor, above 0 and at most 1.
    pub factor: f64,
}

impl Default for Maintenance {
    fn default() -> Self {
        Self { factor: 1.0 }
    }
}

fn up() -> [f64; 3] {
    [0.0, 0.0, 1.0]
}

/// A kind of fitting with its light.
#[derive(Debug, Clone)]
pub struct Kind {
    /// Its light.
    pub photometry: Photometry,
    /// Turn of C0 from +x in degrees.
    pub turn_deg: f64,
    /// The file that the light comes from.
    pub file: Option<lm63::File>,
}

/// All that a checked case says.
#[derive(Debug, Clone)]
pub struct Checked {
    /// The plan.
    pub plan: Plan,
    /// Floor to ceiling in metres.
    pub height_m: f64,
    /// Where the points lie.
    pub points: Points,
    /// The kinds of fittings.
    pub kinds: BTreeMap<String, Kind>,
    /// The light of each textbook source.
    pub isotropic: Vec<Photometry>,
}

impl Case {
    /// Checks every figure of the case.
    ///
    /// # Errors
    /// [`CaseError`] with the key and what was expected.
    pub fn check(&self) -> Result<Checked, CaseError> {
        let room = &self.room;
        let plan = Plan::of_room(room.length, room.width, room.outline.as_deref())?;
        let height_m = room.height.0;
        require((0.1..=20.0).contains(&height_m), "room.height", "expected 0.1 m to 20 m, floor to ceiling")?;
        self.check_surfaces()?;
        let grid = &self.grid;
        let plane_fits = grid.work_plane.0 >= 0.0 && grid.work_plane.0 < height_m;
        require(plane_fits, "grid.work_plane", "expected a height from the floor to below the ceiling")?;
        require((0.02..=10.0).contains(&grid.patch.0), "grid.patch", "expected 20 mm to 10 m")?;
        let points = Points { step_m: grid.step.0, border_m: grid.border.0 };
        let [columns, rows] = points.axes(&plan)?.map(|axis| axis.len());
        let sources = self.fitting.len() + self.isotropic.len() + self.area_source.len();
        require(sources > 0, "fitting", "expected at least one fitting, isotropic source or area source")?;
        require(sources <= MOST_SOURCES, "fitting", "expected at most 400 sources")?;
        require(sources * columns * rows <= MOST_LOOKS, "grid.step", "too many points for so many sources")?;
        require(self.point.len() <= MOST_ASKED, "point", "expected at most 500 points")?;
        let kinds = self.fitting_type.iter().map(|(name, kind)| Ok((name.clone(), kind.light(name)?)));
        let kinds: BTreeMap<String, Kind> = kinds.collect::<Result<_, CaseError>>()?;
        self.check_places(&plan, &kinds)?;
        self.check_panels(&plan)?;
        self.check_asked(&plan)?;
        let isotropic = self.isotropic.iter().map(|source| Photometry::isotropic(source.intensity.0)).collect();
        Ok(Checked { plan, height_m, points, kinds, isotropic })
    }

    fn check_surfaces(&self) -> Result<(), CaseError> {
        let rho = &self.room.reflectance;
        for (name, value) in [("ceiling", rho.ceiling), ("walls", rho.walls), ("floor", rho.floor)] {
            require((0.0..=1.0).contains(&value), &format!("room.reflectance.{name}"), "expected 0 to 1")?;
        }
        let absorbs = rho.ceiling.min(rho.walls).min(rho.floor) <= MOST_REFLECTANCE;
        require(absorbs, "room.reflectance", "no surface absorbs: expected one at 0.999 or below")?;
        let factor = self.maintenance.factor;
        require(factor > 0.0 && factor <= 1.0, "maintenance.factor", "expected more than 0 and at most 1")
    }

    fn check_places(&self, plan: &Plan, kinds: &BTreeMap<String, Kind>) -> Result<(), CaseError> {
        let height = self.room.height.0;
        let place = |path: String, [x, y, z]: [f64; 3]| {
            let inside = plan.contains(x, y) && plan.distance_to_walls(x, y) >= OFF_WALL_M;
            require(inside, &path, "expected a place inside the room, off the walls")?;
            require(
                (0.0..=height).contains(&z),
                &format!("{path}.z"),
                "expected a height from the floor to the ceiling",
            )
        };
        for (index, fitting) in self.fitting.iter().enumerate() {
            let path = format!("fitting[{index}]");
            let known = kinds.contains_key(&fitting.kind);
            let message = format!("`{}` is no [fitting_type] of this case", fitting.kind);
            require(known, &format!("{path}.type"), &message)?;
            require(fitting.turn.0.is_finite(), &format!("{path}.turn"), "expected an angle")?;
            let at = self.place(fitting);
            require(at[2] > 0.0, &format!("{path}.z"), "expected a height above the floor")?;
            place(path.clone(), at)?;
            let near = |other: &Fitting| {
                let other = self.place(other);
                (0..3).map(|axis| (at[axis] - other[axis]).powi(2)).sum::<f64>().sqrt() < OVERLAP_M
            };
            if let Some(other) = self.fitting[..index].iter().position(near) {
                return Err(CaseError::at(path, format!("is in the same place as fitting[{other}]")));
            }
        }
        for (index, source) in self.isotropic.iter().enumerate() {
            let path = format!("isotropic[{index}]");
            place(path.clone(), [source.x.0, source.y.0, source.z.0])?;
            let sound = source.intensity.0 > 0.0 && source.intensity.0 <= 1e7;
            require(sound, &format!("{path}.intensity"), "expected more than 0 and at most 10000000 cd")?;
        }
        Ok(())
    }

    fn check_panels(&self, plan: &Plan) -> Result<(), CaseError> {
        for (index, source) in self.area_source.iter().enumerate() {
            let path = format!("area_source[{index}]");
            let panel = source.panel();
            let turn = cross(panel.edge_u, panel.edge_v);
            require(dot(turn, turn) > 1e-12, &path, "the two edges span no area")?;
            let sound = panel.exitance > 0.0 && panel.exitance <= 1e9;
            require(sound, &format!("{path}.exitance"), "expected more than 0 lm/m2")?;
            for (u, v) in [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)] {
                let [x, y, z]: Vector =
                    std::array::from_fn(|axis| panel.corner[axis] + u * panel.edge_u[axis] + v * panel.edge_v[axis]);
                let inside = plan.contains(x, y) && (-1e-9..=self.room.height.0 + 1e-9).contains(&z);
                require(inside, &path, "expected a panel inside the room")?;
            }
        }
        Ok(())
    }

    fn check_asked(&self, plan: &Plan) -> Result<(), CaseError> {
        for (index, point) in self.point.iter().enumerate() {
            let path = format!("point[{index}]");
            let inside = plan.contains(point.x.0, point.y.0) && (0.0..=self.room.height.0).contains(&point.z.0);
            require(inside, &path, "expected a point inside the room or on its surfaces")?;
            let length = dot(point.normal, point.normal).sqrt();
            require(
                (1e-6..=1e6).contains(&length),
                &format!("{path}.normal"),
                "expected a direction, such as [0, 0, 1]",
            )?;
        }
        Ok(())
    }

    fn place(&self, fitting: &Fitting) -> [f64; 3] {
        [fitting.x.0, fitting.y.0, fitting.z.unwrap_or(self.room.height).0]
    }

    /// The scene of the checked case.
    #[must_use]
    pub fn scene<'a>(&'a self, checked: &'a Checked) -> Scene<'a> {
        let fittings = self.fitting.iter().filter_map(|fitting| {
            let kind = checked.kinds.get(&fitting.kind)?;
            let turn_deg = kind.turn_deg + fitting.turn.0;
            Some(Placed { photometry: &kind.photometry, at_m: self.place(fitting), turn_deg })
        });
        let textbook = self.isotropic.iter().zip(&checked.isotropic).map(|(source, photometry)| Placed {
            photometry,
            at_m: [source.x.0, source.y.0, source.z.0],
            turn_deg: 0.0,
        });
        Scene {
            plan: &checked.plan,
            height_m: checked.height_m,
            fittings: fittings.chain(textbook).collect(),
            panels: self.area_source.iter().map(AreaSource::panel).collect(),
        }
    }
}

impl FittingType {
    fn light(&self, name: &str) -> Result<Kind, CaseError> {
        let path = format!("fitting_type.{name}");
        let at = |key: &str| format!("{path}.{key}");
        let turn_deg = self.turn.0;
        require(turn_deg.is_finite(), &at("turn"), "expected an angle")?;
        let fault = |error: &dyn std::fmt::Display| CaseError::at(path.clone(), error.to_string());
        match (&self.photometry, &self.photometry_text, self.lumens) {
            (Some(_) | None, Some(text), None) => {
                let alone = self.beam.is_none() && self.centre.is_none();
                require(alone, &path, "a photometric file says all of the light; leave the beam and centre out")?;
                let file = lm63::read(text).map_err(|error| CaseError::at(at("photometry"), error.to_string()))?;
                let photometry = Photometry::table(file.table.clone());
                require(photometry.flux_lm() > 0.0, &at("photometry"), "the file holds no light")?;
                Ok(Kind { photometry, turn_deg, file: Some(file) })
            }
            (Some(_), None, None) => Err(CaseError::at(at("photometry"), "the file was not read by the caller")),
            (None, None, Some(lumens)) => {
                let beam =
                    self.beam.ok_or_else(|| CaseError::at(at("beam"), "is missing; expected such as \"60 deg\""))?;
                let photometry = match self.centre {
                    Some(centre) => Photometry::beam_with_centre(lumens.0, beam.0, centre.0),
                    None => Photometry::beam(lumens.0, beam.0),
                };
                Ok(Kind { photometry: photometry.map_err(|error| fault(&error))?, turn_deg, file: None })
            }
            (None, None, None) => Err(CaseError::at(path, "expected `lumens` and `beam_deg`, or `photometry`")),
            _ => Err(CaseError::at(path, "give `lumens` and `beam_deg`, or `photometry`, not both")),
        }
    }
}

impl AreaSource {
    fn panel(&self) -> Panel {
        let metres = |vector: [Length; 3]| vector.map(|length| length.0);
        Panel {
            corner: metres(self.corner),
            edge_u: metres(self.edge_u),
            edge_v: metres(self.edge_v),
            exitance: self.exitance.0,
        }
    }
}

fn require(holds: bool, path: &str, message: &str) -> Result<(), CaseError> {
    if holds { Ok(()) } else { Err(CaseError::at(path, message)) }
}
