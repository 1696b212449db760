//! How strongly a fitting shines in any direction.
//!
//! Directions are given as the cosine of the angle from straight down and the angle in plan from the fitting's own C0,
//! anticlockwise seen from above. All figures are in candela, lumens and degrees.

use std::f64::consts::PI;

use super::table::Table;

/// The exponent of the broad second lobe where nothing speaks against it: between a diffuser and a soft reflector.
const BROAD_EXPONENT: f64 = 1.5;
/// How much steeper than the plain lobe the inner lobe may become before the broad one is widened instead.
const STEEPEST: f64 = 6.0;

/// The light of one fitting.
#[derive(Debug, Clone, PartialEq)]
pub struct Photometry {
    shape: Shape,
}

#[derive(Debug, Clone, PartialEq)]
enum Shape {
    /// A sum of lobes `candela · cos^exponent`, below the horizontal only.
    Lobes(Vec<Lobe>),
    /// Even out to an edge, then falling as a lobe, and dark beyond a cut-off.
    Shaped { candela: f64, edge_cos: f64, exponent: f64, dark_cos: f64 },
    /// The same in every direction.
    Isotropic { candela: f64 },
    /// Measured values.
    Table(Table),
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Lobe {
    candela: f64,
    exponent: f64,
}

/// Figures of a fitting that describe no light.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PhotometryError {
    /// The flux, intensity or beam angle is out of range.
    #[error("{value} is no {what}; expected {expected}")]
    OutOfRange {
        /// What the figure is.
        what: &'static str,
        /// The figure.
        value: f64,
        /// What would do.
        expected: &'static str,
    },
    /// Centre intensity, beam and flux cannot belong to one fitting.
    #[error(
        "a centre of {centre_cd} cd with a beam of {beam_deg}° goes with {least_lm:.0} to {most_lm:.0} lm, not with \
         {flux_lm} lm; check the three figures, or leave the centre out"
    )]
    Contradiction {
        /// The centre intensity as given.
        centre_cd: f64,
        /// The beam angle as given.
        beam_deg: f64,
        /// The flux as given.
        flux_lm: f64,
        /// The least flux that would go with the other two.
        least_lm: f64,
        /// The most.
        most_lm: f64,
    },
}

impl Photometry {
    /// One lobe `cosᵐ` from the flux and the beam angle (full angle to half of the centre intensity).
    ///
    /// `m = ln ½ / ln cos(β/2)` and `I₀ = Φ(m+1)/2π`, so that 90° gives m = 2 and 120° a perfect diffuser.
    ///
    /// # Errors
    /// [`PhotometryError::OutOfRange`] for a flux that is not above 0 and at most 10⁶ lm, a beam not within 1° to 178°.
    pub fn beam(flux_lm: f64, beam_deg: f64) -> Result<Self, PhotometryError> {
        check(flux_lm, beam_deg)?;
        let exponent = exponent_of(beam_deg);
        let lobe = Lobe { candela: flux_lm * (exponent + 1.0) / (2.0 * PI), exponent };
        Ok(Self { shape: Shape::Lobes(vec![lobe]) })
    }

    /// The model that also meets a stated centre intensity: centre, half of it at the beam's edge, and flux are exact.
    ///
    /// Where the flux is more than one lobe of that centre and beam holds, a second, broad lobe takes the rest. Where it
    /// is less, the beam is flat out to an edge and falls off more steeply, or it is cut off before the horizontal. From
    /// about 132° on, one lobe is already as broad as a falling light can be, and a lower centre is refused.
    ///
    /// # Errors
    /// As [`Photometry::beam`], and [`PhotometryError::Contradiction`] where no such light exists.
    pub fn beam_with_centre(flux_lm: f64, beam_deg: f64, centre_cd: f64) -> Result<Self, PhotometryError> {
        check(flux_lm, beam_deg)?;
        if !(centre_cd > 0.0 && centre_cd <= 1e7) {
            let expected = "more than 0 and at most 10000000 cd";
            return Err(PhotometryError::OutOfRange { what: "centre intensity", value: centre_cd, expected });
        }
        let relative = flux_lm / (2.0 * PI * centre_cd);
        let exponent = exponent_of(beam_deg);
        let of_one_lobe = relative * (exponent + 1.0);
        let shape = match of_one_lobe >= 1.0 {
            // Figures that are one lobe's own, but for the last digits of a double.
            _ if (of_one_lobe - 1.0).abs() <= 1e-9 => Some(Shape::Lobes(vec![Lobe { candela: 1.0, exponent }])),
            true => two_lobes(relative, beam_deg),
            false => flat_top(relative, beam_deg).or_else(|| cut_off(relative, beam_deg)),
        };
        let shape = shape.ok_or(PhotometryError::Contradiction {
            centre_cd,
            beam_deg,
            flux_lm,
            least_lm: 2.0 * PI * centre_cd * least_relative(beam_deg),
            most_lm: 2.0 * PI * centre_cd * most_relative(beam_deg),
        })?;
        Ok(Self { shape: shape.scaled(centre_cd) })
    }

    /// A source that shines evenly in every direction.
    #[must_use]
    pub fn isotropic(candela: f64) -> Self {
        Self { shape: Shape::Isotropic { candela } }
    }

    /// Measured intensities.
    #[must_use]
    pub fn table(table: Table) -> Self {
        Self { shape: Shape::Table(table) }
    }

    /// The intensity in a direction: `cos_theta` is 1 straight down, `c_deg` any angle in plan.
    #[must_use]
    pub fn candela(&self, cos_theta: f64, c_deg: f64) -> f64 {
        match &self.shape {
            Shape::Lobes(_) if cos_theta <= 0.0 => 0.0,
            Shape::Shaped { dark_cos, .. } if cos_theta <= *dark_cos => 0.0,
            Shape::Lobes(lobes) => lobes.iter().map(|lobe| lobe.candela * cos_theta.powf(lobe.exponent)).sum(),
            Shape::Shaped { candela, edge_cos, exponent, .. } => {
                candela * (cos_theta / edge_cos).min(1.0).powf(*exponent)
            }
            Shape::Isotropic { candela } => *candela,
            Shape::Table(table) => table.candela(cos_theta.clamp(-1.0, 1.0).acos().to_degrees(), c_deg),
        }
    }

    /// Whether the intensity is the same all round, so that turning the fitting changes nothing.
    #[must_use]
    pub fn is_round(&self) -> bool {
        match &self.shape {
            Shape::Table(table) => table.is_round(),
            _ => true,
        }
    }

    /// The flux between two angles from straight down, exact for the model (for a table: for intensities that run
    /// straight from value to value).
    #[must_use]
    pub fn flux_between(&self, from_deg: f64, to_deg: f64) -> f64 {
        let (inner, outer) = (from_deg.to_radians().cos(), to_deg.to_radians().cos());
        let below = |cos: f64| if cos < 1e-15 { 0.0 } else { cos };
        let lobe = |exponent: f64, inner: f64, outer: f64| {
            (below(inner).powf(exponent + 1.0) - below(outer).powf(exponent + 1.0)) / (exponent + 1.0)
        };
        2.0 * PI
            * match &self.shape {
                Shape::Lobes(lobes) => lobes.iter().map(|l| l.candela * lobe(l.exponent, inner, outer)).sum(),
                Shape::Shaped { candela, edge_cos, exponent, dark_cos } => {
                    let (inner, outer) = (inner.max(*dark_cos), outer.max(*dark_cos));
                    let even = inner.max(*edge_cos) - outer.max(*edge_cos);
                    let (inner, outer) = (inner.min(*edge_cos) / edge_cos, outer.min(*edge_cos) / edge_cos);
                    candela * (even + edge_cos * lobe(*exponent, inner, outer))
                }
                Shape::Isotropic { candela } => candela * (inner - outer),
                Shape::Table(table) => return table.flux_between(from_deg, to_deg),
            }
    }

    /// The flux in all directions, in lumens.
    #[must_use]
    pub fn flux_lm(&self) -> f64 {
        self.flux_between(0.0, 180.0)
    }

    /// The intensity straight down.
    #[must_use]
    pub fn centre_cd(&self) -> f64 {
        match &self.shape {
            Shape::Table(table) => table.centre_cd(),
            _ => self.candela(1.0, 0.0),
        }
    }

    /// The greatest intensity in any direction.
    #[must_use]
    pub fn peak_cd(&self) -> f64 {
        match &self.shape {
            Shape::Table(table) => table.peak_cd(),
            _ => self.centre_cd(),
        }
    }

    /// The full angle between the directions where the intensity has first fallen to `share` of `reference_cd`, as a
    /// mean over the planes; `None` where it never falls so far, or does not begin above it.
    ///
    /// The beam angle is this with a half of the centre intensity, the field angle with a tenth.
    #[must_use]
    pub fn full_angle(&self, share: f64, reference_cd: f64) -> Option<f64> {
        let level = share * reference_cd;
        match &self.shape {
            Shape::Table(table) => table.full_angle(level),
            Shape::Isotropic { .. } => None,
            _ if level <= 0.0 || level >= self.centre_cd() => None,
            _ => {
                let half = bisect(0.0, 90.0, |theta: f64| self.candela(theta.to_radians().cos(), 0.0) > level);
                Some(2.0 * half)
            }
        }
    }

    /// The beam angle: full angle to half of the centre intensity (CIE).
    #[must_use]
    pub fn beam_deg(&self) -> Option<f64> {
        self.full_angle(0.5, self.centre_cd())
    }

    /// The field angle: full angle to a tenth of the centre intensity.
    #[must_use]
    pub fn field_deg(&self) -> Option<f64> {
        self.full_angle(0.1, self.centre_cd())
    }

    /// The model in words.
    #[must_use]
    pub fn model(&self) -> &'static str {
        match &self.shape {
            Shape::Lobes(lobes) if lobes.len() > 1 => "two lobes from flux, beam angle and centre intensity",
            Shape::Lobes(_) => "one lobe from flux and beam angle",
            Shape::Shaped { .. } => "flat top or cut-off from flux, beam angle and centre intensity",
            Shape::Isotropic { .. } => "even in every direction",
            Shape::Table(_) => "measured intensities",
        }
    }

    /// The likely error of the light computed from this model, in words; a judgement, not a bound.
    #[must_use]
    pub fn likely_error(&self) -> &'static str {
        let narrow = self.beam_deg().is_some_and(|beam| beam < 50.0);
        match &self.shape {
            Shape::Lobes(lobes) if lobes.len() == 1 && narrow => {
                "50 % too bright straight below is usual for a narrow fitting; averages within 10 %"
            }
            Shape::Lobes(lobes) if lobes.len() == 1 => "within 10 % straight below and on average",
            Shape::Lobes(_) | Shape::Shaped { .. } => {
                "within 10 % between the beam's edge and the walls, less elsewhere"
            }
            Shape::Isotropic { .. } => "a textbook source; no fitting shines so",
            Shape::Table(_) => "within 5 % of the fitting that was measured",
        }
    }
}

impl Shape {
    fn scaled(self, by: f64) -> Self {
        match self {
            Self::Lobes(lobes) => {
                Self::Lobes(lobes.into_iter().map(|lobe| Lobe { candela: lobe.candela * by, ..lobe }).collect())
            }
            Self::Shaped { candela, edge_cos, exponent, dark_cos } => {
                Self::Shaped { candela: candela * by, edge_cos, exponent, dark_cos }
            }
            other => other,
        }
    }
}

fn check(flux_lm: f64, beam_deg: f64) -> Result<(), PhotometryError> {
    if !(flux_lm > 0.0 && flux_lm <= 1e6) {
        let expected = "more than 0 and at most 1000000 lm";
        return Err(PhotometryError::OutOfRange { what: "flux", value: flux_lm, expected });
    }
    if !(1.0..=178.0).contains(&beam_deg) {
        let expected = "1° to 178°, the full angle to half of the centre intensity";
        return Err(PhotometryError::OutOfRange { what: "beam angle", value: beam_deg, expected });
    }
    Ok(())
}

/// The exponent of the single lobe that has this beam angle.
fn exponent_of(beam_deg: f64) -> f64 {
    0.5f64.ln() / (beam_deg / 2.0).to_radians().cos().ln()
}

/// The most flux, over 2π times the centre intensity, that a two-lobe light of this beam can hold: the inner lobe as
/// steep as allowed, the outer even out to the horizontal.
fn most_relative(beam_deg: f64) -> f64 {
    let inner = STEEPEST * exponent_of(beam_deg);
    let (share, _) = broad_share(inner, 0.0, (beam_deg / 2.0).to_radians().cos());
    (1.0 - share) / (inner + 1.0) + share
}

/// The share of the broad lobe that puts the half exactly at the beam's edge, and the flux that comes with it.
fn broad_share(inner: f64, broad: f64, beam_cos: f64) -> (f64, f64) {
    let (steep, wide) = (beam_cos.powf(inner), beam_cos.powf(broad));
    let share = (0.5 - steep) / (wide - steep);
    (share, (1.0 - share) / (inner + 1.0) + share / (broad + 1.0))
}

/// Two lobes of unit centre whose flux is `relative` times 2π; the broad lobe as near to its usual shape as goes.
fn two_lobes(relative: f64, beam_deg: f64) -> Option<Shape> {
    let (plain, beam_cos) = (exponent_of(beam_deg), (beam_deg / 2.0).to_radians().cos());
    let usual = BROAD_EXPONENT.min(plain / 2.0);
    let broad = [usual, usual / 2.0, usual / 4.0, 0.0]
        .into_iter()
        .find(|broad| broad_share(STEEPEST * plain, *broad, beam_cos).1 >= relative)?;
    let inner = bisect(plain, STEEPEST * plain, |inner| broad_share(inner, broad, beam_cos).1 < relative);
    let (share, _) = broad_share(inner, broad, beam_cos);
    let lobes = vec![Lobe { candela: 1.0 - share, exponent: inner }, Lobe { candela: share, exponent: broad }];
    Some(Shape::Lobes(lobes))
}

/// A flat top of unit intensity whose flux is `relative` times 2π.
fn flat_top(relative: f64, beam_deg: f64) -> Option<Shape> {
    let beam_cos = (beam_deg / 2.0).to_radians().cos();
    let exponent = |edge_cos: f64| 0.5f64.ln() / (beam_cos / edge_cos).ln();
    let flux = |edge_cos: f64| (1.0 - edge_cos) + edge_cos / (exponent(edge_cos) + 1.0);
    // The edge stays a little inside the beam's edge, where the exponent would run away.
    let outermost = beam_cos + (1.0 - beam_cos) * 1e-3;
    if relative < flux(outermost) {
        return None;
    }
    let edge_cos = bisect(outermost, 1.0, |edge_cos| flux(edge_cos) < relative);
    Some(Shape::Shaped { candela: 1.0, edge_cos, exponent: exponent(edge_cos), dark_cos: 0.0 })
}

/// The plain lobe of unit intensity cut off, outside the beam, where its flux is `relative` times 2π.
fn cut_off(relative: f64, beam_deg: f64) -> Option<Shape> {
    let (exponent, beam_cos) = (exponent_of(beam_deg), (beam_deg / 2.0).to_radians().cos());
    let dark_cos = (1.0 - relative * (exponent + 1.0)).max(0.0).powf(1.0 / (exponent + 1.0));
    (dark_cos < beam_cos).then_some(Shape::Shaped { candela: 1.0, edge_cos: 1.0, exponent, dark_cos })
}

/// The least flux, over 2π times the centre intensity, that a light of this beam can have: cut off at the beam's edge.
fn least_relative(beam_deg: f64) -> f64 {
    (1.0 - (beam_deg / 2.0).to_radians().cos() / 2.0) / (exponent_of(beam_deg) + 1.0)
}

/// Where a condition that holds at `low` and not at `high` ceases to hold.
fn bisect(mut low: f64, mut high: f64, holds: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..80 {
        let middle = (low + high) / 2.0;
        if holds(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    (low + high) / 2.0
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
#[path = "photometry_tests.rs"]
mod tests;
