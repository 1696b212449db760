//! Where joists stand, from both faces of two joists or more.

use serde::{Deserialize, Serialize};

use super::between;
use crate::case::CaseError;
use crate::facts::Facts;
use crate::quantity::{Length, round_up};

/// Far more joists than anybody measures.
const MOST_JOISTS: usize = 60;
/// Steps of regular centres tried, and how wide joists may stand (mm).
const CENTRES_MM: std::ops::RangeInclusive<f64> = 200.0..=700.0;

/// Faces as measured from one wall, square to the joists.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MeasuredFaces {
    /// Both faces of each joist, from the wall; joists in any order.
    pub faces: Vec<[Length; 2]>,
    /// How many bays lie between the first and the last measured joist, where it was counted.
    #[serde(default)]
    pub bays: Option<u32>,
}

/// Regular joists fitted to what was measured.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct JoistSurvey {
    /// Mean thickness.
    pub width_mm: f64,
    /// Centre to centre.
    pub centres_mm: f64,
    /// Centre of the joist nearest to the wall that regular spacing gives.
    pub first_centre_mm: f64,
    /// Bays between the first and the last measured joist, as counted or as the spacing gives them.
    pub bays: u32,
    /// The centre of each measured joist, from the wall outward.
    pub measured_mm: Vec<f64>,
    /// Largest distance of a measured centre from regular spacing; with only two joists, from the nearest common spacing.
    pub residual_mm: f64,
    /// What to allow for when setting out: the residual or half the difference in thickness, whichever is more, rounded
    /// up to a whole millimetre.
    pub tolerance_mm: f64,
    /// Common spacing nearest to the one found.
    pub common_centres_mm: f64,
    /// Other spacings that fit too, where the bays were not counted.
    pub also_mm: Vec<f64>,
    /// The residual is small enough to rely on, and no other spacing fits.
    pub regular: bool,
    /// What to do next, where it is not.
    pub next: String,
}

/// Fits regular centres to measured faces.
///
/// Measured faces say nothing of how many bays lie between them: unless those were counted, it is the number that
/// brings the spacing nearest to a common one, and among equals the closer spacing, which expects more timber. Other
/// spacings that fit are named, and the survey is not called regular.
///
/// # Errors
/// [`CaseError`] when fewer than two joists are given, faces are no joist's, or joists overlap.
pub fn joists_from_faces(case: &MeasuredFaces, facts: &Facts) -> Result<JoistSurvey, CaseError> {
    let joists = joists(case)?;
    let centres: Vec<f64> = joists.iter().map(|[near, far]| (near + far) / 2.0).collect();
    let widths: Vec<f64> = joists.iter().map(|[near, far]| far - near).collect();
    let width_mm = widths.iter().sum::<f64>() / widths.len() as f64;
    let common: Vec<f64> =
        facts.table("joist.centres").rows.iter().filter_map(|row| row.number("centres_mm")).collect();
    let mut fits = candidates(case, &centres, &common)?;
    fits.sort_by(|a, b| a.badness.total_cmp(&b.badness));
    let allowed = facts.value("joist.residual");
    let Some(least) = fits.first().map(|fit| fit.badness) else {
        let [from, to] = [CENTRES_MM.start(), CENTRES_MM.end()];
        return Err(CaseError::at("faces", format!("no spacing from {from} mm to {to} mm fits; check the faces")));
    };
    let equals = fits.iter().enumerate().filter(|(_, fit)| fit.badness <= least + 0.5);
    let closest = equals.max_by_key(|(_, fit)| fit.bays).map_or(0, |(at, _)| at);
    let best = fits.swap_remove(closest);
    let mut also_mm: Vec<f64> = fits.iter().filter(|fit| fit.badness <= allowed).map(|fit| fit.spacing).collect();
    also_mm.sort_by(f64::total_cmp);
    let uneven = widths.iter().map(|width| (width - width_mm).abs()).fold(0.0, f64::max);
    let next = match also_mm.first() {
        _ if best.residual > allowed => "Measure both faces of one more joist, by another method.".to_owned(),
        Some(other) => format!("Count the bays between the measured joists: {other:.0} mm centres would fit too."),
        None => String::new(),
    };
    Ok(JoistSurvey {
        width_mm,
        centres_mm: best.spacing,
        first_centre_mm: first_inside(best.first, best.spacing, width_mm),
        bays: best.bays,
        residual_mm: best.residual,
        tolerance_mm: round_up(best.residual.max(uneven), 0) + 0.0,
        common_centres_mm: nearest(&common, best.spacing),
        measured_mm: centres,
        also_mm,
        regular: next.is_empty(),
        next,
    })
}

struct Fit {
    first: f64,
    spacing: f64,
    bays: u32,
    residual: f64,
    /// Residual, and a little for every millimetre off a common spacing, so that two equal fits are told apart.
    badness: f64,
}

/// Faces in millimetres, near face first, ordered from the wall outward.
fn joists(case: &MeasuredFaces) -> Result<Vec<[f64; 2]>, CaseError> {
    if case.faces.len() < 2 || case.faces.len() > MOST_JOISTS {
        return Err(CaseError::at("faces", format!("both faces of 2 to {MOST_JOISTS} joists are expected")));
    }
    let mut joists = Vec::new();
    for (at, faces) in case.faces.iter().enumerate() {
        faces.iter().try_for_each(|face| between(&format!("faces[{at}]"), *face, 0.0, 40.0))?;
        let [a, b] = faces.map(Length::mm);
        let joist = [a.min(b), a.max(b)];
        if !(15.0..=150.0).contains(&(joist[1] - joist[0])) {
            return Err(CaseError::at(
                format!("faces[{at}]"),
                "two faces of one joist, 15 mm to 150 mm apart, are expected",
            ));
        }
        joists.push(joist);
    }
    joists.sort_by(|a, b| a[0].total_cmp(&b[0]));
    if joists.windows(2).any(|pair| pair[1][0] < pair[0][1]) {
        return Err(CaseError::at("faces", "two of the joists overlap; each joist is to be given once"));
    }
    Ok(joists)
}

/// One fit for each number of bays that is possible.
fn candidates(case: &MeasuredFaces, centres: &[f64], common: &[f64]) -> Result<Vec<Fit>, CaseError> {
    let reach = centres[centres.len() - 1] - centres[0];
    let least = (reach / CENTRES_MM.end()).ceil().max(1.0) as u32;
    let most = (reach / CENTRES_MM.start()).floor().max(0.0) as u32;
    let bays = match case.bays {
        Some(bays) if (least..=most).contains(&bays) => bays..=bays,
        Some(bays) => {
            let found = if bays == 0 { 0.0 } else { reach / f64::from(bays) };
            return Err(CaseError::at(
                "bays",
                format!("{bays} bays would stand {found:.0} mm apart; 200 to 700 mm is expected"),
            ));
        }
        None => least..=most,
    };
    Ok(bays.filter_map(|bays| fit(centres, reach, bays, common)).collect())
}

/// Least squares through the centres, each taken as the joist number that `bays` makes it.
fn fit(centres: &[f64], reach: f64, bays: u32, common: &[f64]) -> Option<Fit> {
    let step = reach / f64::from(bays);
    let numbers: Vec<f64> = centres.iter().map(|centre| ((centre - centres[0]) / step).round()).collect();
    if numbers.windows(2).any(|pair| pair[0] == pair[1]) {
        return None;
    }
    let count = centres.len() as f64;
    let (mean_number, mean_centre) = (numbers.iter().sum::<f64>() / count, centres.iter().sum::<f64>() / count);
    let pairs = || numbers.iter().map(|n| n - mean_number).zip(centres.iter().map(|c| c - mean_centre));
    let spacing = pairs().map(|(n, c)| n * c).sum::<f64>() / pairs().map(|(n, _)| n * n).sum::<f64>();
    let first = mean_centre - spacing * mean_number;
    let off_common = (spacing - nearest(common, spacing)).abs();
    let off = numbers.iter().zip(centres).map(|(n, c)| (first + n * spacing - c).abs()).fold(0.0, f64::max);
    let residual = if centres.len() == 2 { off_common } else { off };
    // More bays always fit measured centres better, so a spacing nobody builds must weigh against them.
    Some(Fit { first, spacing, bays, residual, badness: off + off_common })
}

fn nearest(common: &[f64], spacing: f64) -> f64 {
    common.iter().copied().min_by(|a, b| (a - spacing).abs().total_cmp(&(b - spacing).abs())).unwrap_or(spacing)
}

/// The centre nearest to the wall at which a joist still stands inside the room.
fn first_inside(first: f64, spacing: f64, width: f64) -> f64 {
    let steps = ((first - width / 2.0) / spacing).floor().max(0.0);
    first - steps * spacing
}
