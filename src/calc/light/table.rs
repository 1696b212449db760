//! A table of measured intensities: straight from value to value, first along the vertical angle, then round.

use std::f64::consts::PI;

/// Intensities over vertical angles (0° straight down) in half-planes round the fitting (0° is C0, anticlockwise seen
/// from above). What is outside the listed vertical angles is dark.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    vertical_deg: Vec<f64>,
    /// Half-planes from 0° to 360°, both included, each with its row of `rows`.
    planes: Vec<(f64, usize)>,
    rows: Vec<Vec<f64>>,
    /// The mean over all directions round, at each vertical angle.
    mean: Vec<f64>,
}

/// Angles or values that make no table.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum TableError {
    /// Too few vertical angles, or not ascending within 0° to 180°.
    #[error("the vertical angles must be two or more, ascending, from 0° to 180°")]
    Vertical,
    /// Horizontal angles that fit no symmetry.
    #[error(
        "the horizontal angles run from {first}° to {last}°; expected ascending from 0° to 0°, 90°, 180° or up to 360°, \
         or from 90° to 270°"
    )]
    Horizontal {
        /// The first angle listed.
        first: f64,
        /// The last.
        last: f64,
    },
    /// The number of values is not the number of angles.
    #[error("{found} values found where the angles ask for {expected}")]
    Count {
        /// Values found.
        found: usize,
        /// Values expected.
        expected: usize,
    },
    /// A value below 0, or no number.
    #[error("an intensity of {value} cd is none")]
    Negative {
        /// The value.
        value: f64,
    },
}

impl Table {
    /// A table from listed angles and one row of intensities per horizontal angle; the angles listed say which symmetry
    /// the light has, and the table is completed by it.
    ///
    /// # Errors
    /// [`TableError`] where angles and values make no table.
    pub fn new(vertical_deg: Vec<f64>, horizontal_deg: &[f64], rows: Vec<Vec<f64>>) -> Result<Self, TableError> {
        let ascending = |angles: &[f64]| angles.windows(2).all(|pair| pair[0] < pair[1]);
        let sound = vertical_deg.len() >= 2 && ascending(&vertical_deg);
        if !sound || vertical_deg[0] < 0.0 || vertical_deg[vertical_deg.len() - 1] > 180.0 {
            return Err(TableError::Vertical);
        }
        let planes = completed(horizontal_deg).filter(|_| ascending(horizontal_deg)).ok_or_else(|| {
            let end = |angle: Option<&f64>| angle.copied().unwrap_or(f64::NAN);
            TableError::Horizontal { first: end(horizontal_deg.first()), last: end(horizontal_deg.last()) }
        })?;
        let expected = vertical_deg.len() * horizontal_deg.len();
        let found = rows.iter().map(Vec::len).sum();
        if rows.len() != horizontal_deg.len() || rows.iter().any(|row| row.len() != vertical_deg.len()) {
            return Err(TableError::Count { found, expected });
        }
        if let Some(value) = rows.iter().flatten().find(|value| !(value.is_finite() && **value >= 0.0)) {
            return Err(TableError::Negative { value: *value });
        }
        let mean_at = |index: usize| {
            let round = planes
                .windows(2)
                .map(|pair| (pair[1].0 - pair[0].0) * (rows[pair[0].1][index] + rows[pair[1].1][index]) / 2.0);
            round.sum::<f64>() / 360.0
        };
        let mean = (0..vertical_deg.len()).map(mean_at).collect();
        Ok(Self { vertical_deg, planes, rows, mean })
    }

    /// The intensity at a vertical angle and an angle round, in degrees.
    #[must_use]
    pub fn candela(&self, theta_deg: f64, c_deg: f64) -> f64 {
        let Some((index, share)) = place(&self.vertical_deg, theta_deg, |angle| *angle) else { return 0.0 };
        let along = |row: usize| {
            let row = &self.rows[row];
            row[index] + share * (row[index + 1] - row[index])
        };
        if self.is_round() {
            return along(0);
        }
        let Some((plane, turn)) = place(&self.planes, c_deg.rem_euclid(360.0), |plane| plane.0) else { return 0.0 };
        let (here, next) = (along(self.planes[plane].1), along(self.planes[plane + 1].1));
        here + turn * (next - here)
    }

    /// Whether one row serves all round.
    #[must_use]
    pub fn is_round(&self) -> bool {
        self.rows.len() == 1
    }

    /// The flux between two vertical angles: the integral of the straight pieces, without further error.
    #[must_use]
    pub fn flux_between(&self, from_deg: f64, to_deg: f64) -> f64 {
        let pieces = self.vertical_deg.windows(2).zip(self.mean.windows(2)).map(|(angles, values)| {
            let (from, to) = (angles[0].max(from_deg), angles[1].min(to_deg));
            if from >= to {
                return 0.0;
            }
            let slope_per_deg = (values[1] - values[0]) / (angles[1] - angles[0]);
            let slope = slope_per_deg.to_degrees();
            let antiderivative = |angle: f64| {
                let value = values[0] + slope_per_deg * (angle - angles[0]);
                slope * angle.to_radians().sin() - value * angle.to_radians().cos()
            };
            antiderivative(to) - antiderivative(from)
        });
        2.0 * PI * pieces.sum::<f64>()
    }

    /// The intensity straight down, as a mean over the planes.
    #[must_use]
    pub fn centre_cd(&self) -> f64 {
        if self.vertical_deg[0] > 0.0 { 0.0 } else { self.mean[0] }
    }

    /// The greatest intensity listed.
    #[must_use]
    pub fn peak_cd(&self) -> f64 {
        self.rows.iter().flatten().copied().fold(0.0, f64::max)
    }

    /// The full angle to where the intensity has first fallen to `level`, as a mean round the fitting.
    #[must_use]
    pub fn full_angle(&self, level: f64) -> Option<f64> {
        let halves: Option<Vec<f64>> = self.rows.iter().map(|row| self.half_angle(row, level)).collect();
        let halves = halves?;
        let round =
            self.planes.windows(2).map(|pair| (pair[1].0 - pair[0].0) * (halves[pair[0].1] + halves[pair[1].1]) / 2.0);
        Some(2.0 * round.sum::<f64>() / 360.0)
    }

    fn half_angle(&self, row: &[f64], level: f64) -> Option<f64> {
        if self.vertical_deg[0] > 0.0 || level <= 0.0 || row[0] < level {
            return None;
        }
        let index = (1..row.len()).find(|index| row[*index] <= level);
        let Some(index) = index else {
            // Dark beyond the last angle: the intensity falls there at once, unless that is straight up.
            let last = self.vertical_deg[row.len() - 1];
            return (last < 180.0).then_some(last);
        };
        let (before, here) = (row[index - 1], row[index]);
        let share = if before > here { (before - level) / (before - here) } else { 1.0 };
        Some(self.vertical_deg[index - 1] + share * (self.vertical_deg[index] - self.vertical_deg[index - 1]))
    }

    /// The first and the last vertical angle, in degrees.
    #[must_use]
    pub fn vertical_range_deg(&self) -> [f64; 2] {
        [self.vertical_deg[0], self.vertical_deg[self.vertical_deg.len() - 1]]
    }
}

/// The piece of an ascending list that holds `at`, and how far along it: 0 at its start, 1 at its end.
fn place<T>(list: &[T], at: f64, angle: impl Fn(&T) -> f64) -> Option<(usize, f64)> {
    let (first, last) = (angle(list.first()?), angle(list.last()?));
    if !(first..=last).contains(&at) {
        return None;
    }
    let index = list.partition_point(|item| angle(item) <= at).clamp(1, list.len() - 1) - 1;
    let (from, to) = (angle(&list[index]), angle(&list[index + 1]));
    Some((index, (at - from) / (to - from)))
}

/// The listed half-planes completed to the full round by the symmetry that their ends imply.
fn completed(listed: &[f64]) -> Option<Vec<(f64, usize)>> {
    let (first, last) = (*listed.first()?, *listed.last()?);
    let rows = || listed.iter().copied().zip(0..);
    let mirrors: &[fn(f64) -> f64] = match (first, last) {
        (0.0, 0.0) => return Some(vec![(0.0, 0), (360.0, 0)]),
        (0.0, 90.0) => &[|c| c, |c| 180.0 - c, |c| 180.0 + c, |c| 360.0 - c],
        (0.0, 180.0) => &[|c| c, |c| 360.0 - c],
        (0.0, last) if last > 180.0 && last <= 360.0 => &[|c| c],
        (90.0, 270.0) => &[|c| c, |c| (540.0 - c) % 360.0],
        _ => return None,
    };
    let mut planes: Vec<(f64, usize)> =
        mirrors.iter().flat_map(|mirror| rows().map(|(c, row)| (mirror(c), row))).collect();
    planes.sort_by(|a, b| a.0.total_cmp(&b.0));
    // On a mirror line a plane meets its own image, written 0° or 360° at the seam.
    planes.dedup_by(|a, b| a.0 == b.0);
    if planes[planes.len() - 1].0 < 360.0 {
        planes.push((360.0, planes[0].1));
    }
    if planes[0].0 > 0.0 {
        planes.insert(0, (0.0, planes[planes.len() - 1].1));
    }
    Some(planes)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn table(horizontal: &[f64], factors: &[f64]) -> Table {
        let rows = factors.iter().map(|factor| vec![1000.0, 500.0 * factor, 0.0]).collect();
        Table::new(vec![0.0, 45.0, 90.0], horizontal, rows).unwrap()
    }

    #[test]
    fn every_symmetry_is_completed_as_the_standard_says() {
        let quadrant = table(&[0.0, 45.0, 90.0], &[1.0, 2.0, 3.0]);
        let half = table(&[0.0, 90.0, 180.0], &[1.0, 2.0, 3.0]);
        let side = table(&[90.0, 180.0, 270.0], &[1.0, 2.0, 3.0]);
        let open = table(&[0.0, 90.0, 180.0, 270.0], &[1.0, 2.0, 3.0, 4.0]);
        let at = |table: &Table, c: f64| table.candela(45.0, c) / 500.0;
        let round = |table: &Table| [0.0, 90.0, 180.0, 270.0, 360.0, -90.0, 315.0].map(|c| at(table, c));
        assert_eq!(round(&quadrant), [1.0, 3.0, 1.0, 3.0, 1.0, 3.0, 2.0]);
        assert_eq!(round(&half), [1.0, 2.0, 3.0, 2.0, 1.0, 2.0, 1.5]);
        // 90 to 270: mirrored in the plane through C90 and C270, so that C0 has the value of C180.
        assert_eq!(round(&side), [2.0, 1.0, 2.0, 3.0, 2.0, 3.0, 2.5]);
        assert_eq!(round(&open), [1.0, 2.0, 3.0, 4.0, 1.0, 4.0, 2.5]);
    }

    #[test]
    fn the_flux_of_straight_pieces_is_exact() {
        // I = 1000 (1 − θ/90°): ∫ over the half-sphere = 2π·1000·(1 − 2/π) by parts.
        let flux = table(&[0.0], &[1.0]).flux_between(0.0, 180.0);
        assert!((flux - 2000.0 * PI * (1.0 - 2.0 / PI)).abs() < 1e-9, "{flux}");
        // One cone and the rest are the whole.
        let parts = table(&[0.0], &[1.0]);
        let sum = parts.flux_between(0.0, 33.0) + parts.flux_between(33.0, 90.0);
        assert!((sum - flux).abs() < 1e-9);
    }

    #[test]
    fn angles_to_a_share_of_the_centre_run_straight_between_values() {
        let round = table(&[0.0], &[1.0]);
        assert!((round.full_angle(500.0).unwrap() - 90.0).abs() < 1e-12);
        assert!((round.full_angle(100.0).unwrap() - 162.0).abs() < 1e-12);
        assert_eq!(round.full_angle(1500.0), None);
    }

    #[test]
    fn what_is_no_table_is_refused() {
        let row = || vec![vec![1.0, 0.0]];
        assert_eq!(Table::new(vec![0.0], &[0.0], vec![vec![1.0]]), Err(TableError::Vertical));
        assert_eq!(Table::new(vec![0.0, 0.0], &[0.0], row()), Err(TableError::Vertical));
        assert!(matches!(Table::new(vec![0.0, 90.0], &[10.0], row()), Err(TableError::Horizontal { .. })));
        assert!(matches!(Table::new(vec![0.0, 90.0], &[], row()), Err(TableError::Horizontal { .. })));
        let short = Table::new(vec![0.0, 90.0], &[0.0], vec![vec![1.0]]);
        assert_eq!(short, Err(TableError::Count { found: 1, expected: 2 }));
        let negative = Table::new(vec![0.0, 90.0], &[0.0], vec![vec![-1.0, 0.0]]);
        assert_eq!(negative, Err(TableError::Negative { value: -1.0 }));
    }
}
