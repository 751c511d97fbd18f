//! How often a straight line seems broken: the bound of the test holds, and is not far off.

use calibriar::form::Point;
use calibriar::form::two_lines::two_lines;
use calibriar::stats::normal_upper_quantile;

use crate::common::draw::Draw;

const LINES: usize = 4_000;

/// Stations that get denser towards one end, in steps that vary.
fn unequal(n: usize, draw: &mut Draw) -> Vec<f64> {
    (0..n).map(|_| draw.uniform().powi(3) * 50.0).collect()
}

fn equal(n: usize) -> Vec<f64> {
    (0..n).map(|i| i as f64).collect()
}

/// Share of straight lines with a break at p <= 0.05.
fn rate(stations: &[f64], draw: &mut Draw) -> f64 {
    let mut broken = 0;
    for _ in 0..LINES {
        let mut at = |&x: &f64| Point {
            x,
            y: 20.0 + 0.03 * x + 0.05 * draw.normal(),
        };
        let points: Vec<Point> = stations.iter().map(&mut at).collect();
        broken += usize::from(two_lines(&points, 0.95).unwrap().kink.p <= 0.05);
    }
    broken as f64 / LINES as f64
}

/// Above the nominal rate only by chance (binomial limit at 1e-6); the bound gives away a third
/// of it at most.
#[test]
fn straight_lines_seem_broken_as_rarely_as_stated() {
    let mut draw = Draw::seeded(19_870_301);
    let chance = normal_upper_quantile(1e-6) * (0.05 * 0.95 / LINES as f64).sqrt();
    for n in [7, 12, 30, 100] {
        for stations in [equal(n), unequal(n, &mut draw)] {
            let rate = rate(&stations, &mut draw);
            assert!(rate <= 0.05 + chance, "n {n}: {rate}");
            assert!(rate >= 0.033 - chance, "n {n}: {rate}");
        }
    }
}
