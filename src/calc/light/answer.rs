//! What the light calculator answers.

use std::collections::BTreeMap;

use serde::Serialize;

use super::illuminance::PlaneFigures;

/// The answer to a case of the light calculator; all lux are maintained.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Answer {
    /// The light on the floor and the work plane.
    pub planes: Planes,
    /// The light on the room's surfaces, as means by area.
    pub surfaces: Surfaces,
    /// Flux absorbed by the surfaces over flux sent out by the sources; 1 but for what the patches blur.
    pub energy_balance: f64,
    /// The lumen method's opinion; absent where no fitting hangs above the work plane.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lumen_method: Option<LumenMethod>,
    /// The light of each kind of fitting.
    pub photometry: BTreeMap<String, KindOfLight>,
    /// The darkest places of the work plane, darkest first, well apart.
    pub spots: Vec<Spot>,
    /// The points that were asked for, in order.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub asked: Vec<Asked>,
    /// Levels that the result is held against; for a home they are advice.
    pub findings: Vec<Finding>,
    /// How reflected light was computed.
    pub radiosity: Radiosity,
    /// The factor in all lux.
    pub maintenance_factor: f64,
    /// What should be known about these figures, in words.
    pub notes: Vec<String>,
}

/// The two planes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Planes {
    /// The floor.
    pub floor: Plane,
    /// The work plane.
    pub work: Plane,
}

/// The light on a plane, by where it comes from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Plane {
    /// Height above the floor in metres.
    pub height_m: f64,
    /// Straight from the sources.
    pub direct: PlaneFigures,
    /// From the surfaces.
    pub reflected: PlaneFigures,
    /// Both.
    pub total: PlaneFigures,
}

/// Means by area, in lux.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Surfaces {
    /// The floor.
    pub floor_average_lx: f64,
    /// The ceiling.
    pub ceiling_average_lx: f64,
    /// All walls.
    pub walls_average_lx: f64,
    /// All surfaces, reflected light alone.
    pub reflected_average_lx: f64,
}

/// The lumen method.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LumenMethod {
    /// Room index.
    pub room_index: f64,
    /// Flux on the work plane over flux of the fittings.
    pub utilisation_factor: f64,
    /// Maintained average on the work plane in lux.
    pub average_lx: f64,
    /// Where the equations come from.
    pub source: String,
}

/// What a kind of fitting shines like.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct KindOfLight {
    /// Flux in lumens, integrated from the intensities.
    pub flux_lm: f64,
    /// Greatest intensity in candela.
    pub peak_cd: f64,
    /// Intensity straight down in candela.
    pub centre_cd: f64,
    /// Full angle to half of the centre intensity (CIE), in degrees.
    pub beam_deg: Option<f64>,
    /// Full angle to half of the greatest intensity (the American reading), in degrees.
    pub beam_of_peak_deg: Option<f64>,
    /// Full angle to a tenth of the centre intensity, in degrees.
    pub field_deg: Option<f64>,
    /// Edition of a photometric file.
    pub edition: Option<&'static str>,
    /// Lumens of the lamps that a file states; absent where its intensities are absolute.
    pub stated_lm: Option<f64>,
    /// The model in words.
    pub model: &'static str,
    /// Its likely error, in words.
    pub likely_error: &'static str,
}

/// A place on the work plane.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Spot {
    /// Along the length, in metres.
    pub x: f64,
    /// Along the width, in metres.
    pub y: f64,
    /// Illuminance in lux.
    pub lx: f64,
}

/// A point that was asked for.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Asked {
    /// Along the length, in metres.
    pub x: f64,
    /// Along the width, in metres.
    pub y: f64,
    /// Above the floor, in metres.
    pub z: f64,
    /// Straight from the sources, in lux.
    pub direct_lx: f64,
    /// From the surfaces, in lux.
    pub reflected_lx: f64,
    /// Both, in lux.
    pub total_lx: f64,
}

/// A figure held against a level.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Finding {
    /// Which figure.
    pub id: &'static str,
    /// The figure.
    pub value: f64,
    /// The level.
    pub limit: f64,
    /// Unit of both.
    pub unit: String,
    /// Whether the level is the least or the most.
    pub side: String,
    /// *within* or *outside*.
    pub verdict: &'static str,
    /// Where the level comes from.
    pub source: String,
}

/// How reflected light was computed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Radiosity {
    /// Number of patches.
    pub patches: usize,
    /// Rounds of the solver.
    pub rounds: usize,
    /// Greatest relative error of a patch's row sum before the rows were closed.
    pub row_sum_error: f64,
}
