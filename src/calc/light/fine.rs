//! How bright a patch is part by part.
//!
//! The balance of reflected light takes each patch as evenly bright. A point close to a patch must know better: the
//! direct light is computed anew in each part, and the reflected light is drawn on from patch to patch.

use super::mesh::Mesh;
use super::scene::Scene;

/// Parts per side of a patch.
pub const PARTS: usize = 4;

/// The exitance in lm/m² of every part of every patch: the parts along the first edge run fastest.
///
/// `direct` and `illuminance_lx` are means over the patches; each patch's parts keep its mean.
#[must_use]
pub fn exitance(scene: &Scene, mesh: &Mesh, direct: &[f64], illuminance_lx: &[f64], reflectance: &[f64]) -> Vec<f64> {
    let beside = mesh.neighbours();
    let reflected: Vec<f64> = illuminance_lx.iter().zip(direct).map(|(total, direct)| total - direct).collect();
    let middle = |part: usize| (part as f64 + 0.5) / PARTS as f64;
    let mut all = Vec::with_capacity(PARTS * PARTS * direct.len());
    for (index, patch) in mesh.patches().enumerate() {
        let slopes = beside[index].map(|pair| slope(&reflected, index, pair));
        let places = (0..PARTS).flat_map(|j| (0..PARTS).map(move |i| (middle(i), middle(j))));
        let straight: Vec<f64> = places.clone().map(|(u, v)| scene.direct_lx(patch.at(u, v), patch.normal)).collect();
        let mean = straight.iter().sum::<f64>() / straight.len() as f64;
        let level = if mean > 0.0 { direct[index] / mean } else { 0.0 };
        all.extend(places.zip(&straight).map(|((u, v), straight)| {
            let drawn = reflected[index] + slopes[0] * (u - 0.5) + slopes[1] * (v - 0.5);
            reflectance[index] * (straight * level + drawn.max(0.0))
        }));
    }
    all
}

/// The change over one patch, from the patches before and after it.
fn slope(values: &[f64], index: usize, beside: [Option<usize>; 2]) -> f64 {
    match beside {
        [Some(before), Some(after)] => (values[after] - values[before]) / 2.0,
        [Some(before), None] => values[index] - values[before],
        [None, Some(after)] => values[after] - values[index],
        [None, None] => 0.0,
    }
}
