//! A straight line that nearly half of the points cannot move.

use super::median;

/// A straight line `y = intercept + slope x`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MedianLine {
    /// Change of y by x.
    pub slope: f64,
    /// Height at x = 0.
    pub intercept: f64,
}

impl MedianLine {
    /// Height at `x`.
    pub fn at(&self, x: f64) -> f64 {
        self.intercept + self.slope * x
    }
}

/// The repeated median line: the median over the points of the median slope from each to all others,
/// then the median of `y - slope x`. Points at the same x have no slope between them; without any
/// slope the line is level. `None` without points.
///
/// Half of the points less one may be anywhere before the line is lost. The time grows as the square
/// of their number.
///
/// # Source
/// A. F. Siegel, Biometrika 69 (1982) 242-244, from memory; equal to `scipy.stats.siegelslopes`
/// (SciPy 1.17.1) with its hierarchical intercept where no two x are equal.
pub fn repeated_median_line(points: &[(f64, f64)]) -> Option<MedianLine> {
    let mut from_one = Vec::with_capacity(points.len());
    let mut of_points = Vec::with_capacity(points.len());
    for &(x, y) in points {
        from_one.clear();
        let others = points.iter().filter(|other| other.0 != x);
        from_one.extend(others.map(|other| (other.1 - y) / (other.0 - x)));
        of_points.extend(median(&from_one));
    }
    let slope = median(&of_points).unwrap_or(0.0);
    let rest: Vec<f64> = points.iter().map(|&(x, y)| y - slope * x).collect();
    Some(MedianLine {
        slope,
        intercept: median(&rest).ok()?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(line: Option<MedianLine>, slope: f64, intercept: f64) {
        let line = line.unwrap();
        assert!((line.slope - slope).abs() < 1e-12, "{line:?}");
        assert!((line.intercept - intercept).abs() < 1e-12, "{line:?}");
    }

    #[test]
    fn nearly_half_of_the_points_cannot_move_it() {
        let line = |x: f64| (x, 2.0 + 0.5 * x);
        let mut points: Vec<(f64, f64)> = (0..21).map(|i| line(f64::from(i))).collect();
        for point in points.iter_mut().skip(12) {
            point.1 += 40.0;
        }
        close(repeated_median_line(&points), 0.5, 2.0);
    }

    #[test]
    fn the_same_as_another_program() {
        // scipy.stats.siegelslopes(y, x), SciPy 1.17.1: 0.9883333333333333, 0.3
        let x = [0.0, 1.0, 2.5, 3.0, 4.5, 6.0, 7.0];
        let y = [0.3, 1.1, 2.9, 2.7, 9.0, 6.4, 6.6];
        let points: Vec<(f64, f64)> = x.into_iter().zip(y).collect();
        close(repeated_median_line(&points), 0.9883333333333333, 0.3);
    }

    #[test]
    fn points_that_tell_no_slope() {
        close(repeated_median_line(&[(1.0, 3.0)]), 0.0, 3.0);
        close(repeated_median_line(&[(1.0, 3.0), (1.0, 5.0)]), 0.0, 4.0);
        assert_eq!(repeated_median_line(&[]), None);
    }
}
