//! Outlines laid on a line of their own, to be compared with one another.
//!
//! How a piece lay under the gauge says nothing of its form: offset and tilt of the base line go.
//! Each outline is laid on its repeated median line, which a fault over less than half of its length
//! hardly moves, so that an elbow shows where it is and does not tilt the rest. Heights are read at
//! stations that are equal shares of the length, so that outlines of a long and of a short piece
//! can be compared; length and lean are judged as dimensions of their own.

use super::outline::points;
use crate::catalogue::{State, TraceKind};
use crate::form::{FormError, Point};
use crate::stats::{MedianLine, repeated_median_line};
use crate::table::Trace;

/// Stations at which outlines are compared.
pub const STATIONS: usize = 41;
/// Where a longer share of the outline than this has no point, nothing can be said of it.
const LARGEST_GAP: f64 = 0.25;

/// An outline on its repeated median line.
#[derive(Clone, Debug, PartialEq)]
pub struct RegisteredOutline {
    /// First and last station of the comparison, in mm.
    pub between: (f64, f64),
    /// Heights above the repeated median line at [`STATIONS`] stations, equally far
    /// apart; in mm, outward positive.
    pub heights: Vec<f64>,
    /// Standard uncertainty of a height, in mm: that of one reading.
    pub uncertainty: f64,
}

impl RegisteredOutline {
    /// The station of a place between 0 and [`STATIONS`] - 1, in mm.
    pub fn station(&self, place: f64) -> f64 {
        let (from, to) = self.between;
        from + (to - from) * place / (STATIONS - 1) as f64
    }

    /// The outline laid anew on another (heights at the same stations): less the repeated median
    /// line of its differences from it, so that only what differs in form is left.
    pub fn laid_on(&self, other: &[f64]) -> RegisteredOutline {
        let differences = self.heights.iter().zip(other).enumerate();
        let differences: Vec<(f64, f64)> = differences
            .map(|(place, (own, other))| (place as f64, own - other))
            .collect();
        let mut laid = self.clone();
        if let Some(line) = repeated_median_line(&differences) {
            for (place, height) in laid.heights.iter_mut().enumerate() {
                *height -= line.at(place as f64);
            }
        }
        laid
    }

    /// The mean of several outlines of one feature of one piece; `None` of none.
    pub fn mean(of: &[RegisteredOutline]) -> Option<RegisteredOutline> {
        let n = of.len() as f64;
        let mean = |pick: &dyn Fn(&RegisteredOutline) -> f64| of.iter().map(pick).sum::<f64>() / n;
        let squares: f64 = of.iter().map(|o| o.uncertainty.powi(2)).sum();
        (!of.is_empty()).then(|| RegisteredOutline {
            between: (mean(&|o| o.between.0), mean(&|o| o.between.1)),
            heights: (0..STATIONS).map(|s| mean(&|o| o.heights[s])).collect(),
            uncertainty: squares.sqrt() / n,
        })
    }
}

/// Lays an outline on its repeated median line.
///
/// # Errors
/// [`FormError`] where it has too few points or a gap of more than a quarter of its length.
pub fn register(trace: &Trace) -> Result<RegisteredOutline, FormError> {
    let (points, _, uncertainty) = points(trace)?;
    let too_few = FormError::TooFewPoints {
        form: "a comparison of outlines",
        needed: 5,
        found: points.len(),
    };
    let ends = points.first().zip(points.last()).map(|(a, b)| (a.x, b.x));
    let Some((first, last)) = ends.filter(|_| points.len() >= 5) else {
        return Err(too_few);
    };
    if !points.iter().all(|p| p.x.is_finite() && p.y.is_finite()) {
        return Err(FormError::NotFinite);
    }
    let length = last - first;
    if length <= 0.0 {
        return Err(FormError::OneStation);
    }
    let gap = points.windows(2).map(|pair| pair[1].x - pair[0].x);
    if gap.fold(0.0, f64::max) > LARGEST_GAP * length {
        return Err(too_few);
    }
    let between = (first, last);
    let apart = length / (STATIONS - 1) as f64;
    let Some(level) = median_line(&points) else {
        return Err(too_few);
    };
    let above = |p: &Point| Point {
        x: p.x,
        y: p.y - level.at(p.x),
    };
    let points: Vec<Point> = points.iter().map(above).collect();
    let height = |place: usize| {
        let x = between.0 + apart * place as f64;
        let near = points.iter().filter(|p| (p.x - x).abs() <= apart / 2.0);
        match near.clone().count() {
            0 => interpolated(&points, x),
            // Several points are one height with less of the digitising noise.
            _ => mean_point(near).y,
        }
    };
    Ok(RegisteredOutline {
        between,
        heights: (0..STATIONS).map(height).collect(),
        uncertainty,
    })
}

/// The outlines among some traces of one piece, each feature once: the mean of those in the state
/// that says most about the works.
pub fn registered_outlines<'t>(
    traces: impl Iterator<Item = &'t Trace>,
) -> Vec<(String, RegisteredOutline)> {
    let mut of: Vec<(String, Vec<(State, RegisteredOutline)>)> = Vec::new();
    for trace in traces.filter(|t| t.feature.feature.kind == TraceKind::Outline) {
        // One with too few points says nothing here; `form` tells why.
        let Ok(outline) = register(trace) else {
            continue;
        };
        let (name, outline) = (trace.feature.to_string(), (trace.state, outline));
        match of.iter_mut().find(|(known, _)| *known == name) {
            Some((_, outlines)) => outlines.push(outline),
            None => of.push((name, vec![outline])),
        }
    }
    let means = of
        .into_iter()
        .filter_map(|(name, outlines)| Some((name, RegisteredOutline::mean(&of_best(outlines))?)));
    means.collect()
}

/// Those in the state that says most about the works.
fn of_best(outlines: Vec<(State, RegisteredOutline)>) -> Vec<RegisteredOutline> {
    let best = outlines.iter().map(|(state, _)| state.rank()).min();
    let of_best = outlines
        .into_iter()
        .filter(|(state, _)| Some(state.rank()) == best);
    of_best.map(|(_, outline)| outline).collect()
}

fn mean_point<'p>(points: impl Iterator<Item = &'p Point>) -> Point {
    let (mut n, mut x, mut y) = (0.0, 0.0, 0.0);
    for point in points {
        n += 1.0;
        x += point.x;
        y += point.y;
    }
    Point { x: x / n, y: y / n }
}

/// The repeated median line. Of many points every k-th stands for its neighbours: a few hundred tell
/// the line, and the slopes between all pairs of them are work enough.
fn median_line(points: &[Point]) -> Option<MedianLine> {
    const ENOUGH: usize = 200;
    let some = points.iter().step_by(points.len().div_ceil(ENOUGH));
    repeated_median_line(&some.map(|p| (p.x, p.y)).collect::<Vec<_>>())
}

/// Height at a station between the first and the last point.
fn interpolated(points: &[Point], x: f64) -> f64 {
    let next = points
        .partition_point(|p| p.x < x)
        .clamp(1, points.len() - 1);
    let (a, b) = (points[next - 1], points[next]);
    match b.x > a.x {
        true => a.y + (b.y - a.y) * (x - a.x) / (b.x - a.x),
        false => (a.y + b.y) / 2.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::{Feature, FeatureName};
    use crate::table::TraceReading;

    fn bowed(state: State, repeat: u32, bow: f64) -> Trace {
        let stations: Vec<f64> = (0..=30).map(|i| 2.0 * f64::from(i)).collect();
        let height = |x: &f64| 5.0 + bow * x * (60.0 - x) / 900.0;
        Trace {
            specimen: "A1".to_owned(),
            feature: FeatureName::parse("stem_top", &Feature::standard()).unwrap(),
            repeat,
            state,
            reading: TraceReading::Points {
                readings: stations.iter().map(height).collect(),
                stations,
                uncertainty: 0.01,
            },
        }
    }

    #[test]
    fn a_worn_repeat_does_not_bend_an_outline_that_left_the_works() {
        let factory = bowed(State::Factory, 1, 0.1);
        let worn = bowed(State::Worn, 2, 3.0);
        let alone = registered_outlines([&factory].into_iter());
        assert_eq!(registered_outlines([&factory, &worn].into_iter()), alone);
        assert_eq!(registered_outlines([&worn, &factory].into_iter()), alone);
        let worn = registered_outlines([&worn].into_iter());
        let heights = &worn[0].1.heights;
        assert!(heights[20] - heights[0] > 2.5, "{heights:?}");
    }
}
