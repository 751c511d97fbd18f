//! Straightness, roundness and undulations of many points.

#![allow(missing_docs, clippy::unwrap_used)]

use std::hint::black_box;

use calibriar::form::Point;
use calibriar::form::lobes::lobes;
use calibriar::form::roundness::{
    from_polar, least_squares_circle, maximum_inscribed, minimum_circumscribed,
    minimum_zone_circles,
};
use calibriar::form::straightness::minimum_zone;
use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};

/// Noise of 0 to 1, the same on every run.
fn noise(i: usize) -> f64 {
    (i.wrapping_mul(2_654_435_761) % 1_000_003) as f64 / 1_000_003.0
}

fn outline(n: usize) -> Vec<Point> {
    let at = |i: usize| {
        let x = 80.0 * i as f64 / n as f64;
        let y = 0.2 * (x / 25.0).sin() + 0.01 * noise(i);
        Point { x, y }
    };
    (0..n).map(at).collect()
}

/// Radii of a bowl, oval by 0.1 mm.
fn section(n: usize) -> (Vec<f64>, Vec<f64>) {
    let at = |i: usize| {
        let angle = 360.0 * i as f64 / n as f64;
        let oval = 0.05 * (2.0 * angle).to_radians().cos();
        (angle, 20.0 + oval + 0.02 * noise(i))
    };
    (0..n).map(at).unzip()
}

fn forms(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("form");
    group.sample_size(20);
    for n in [1_000usize, 100_000, 1_000_000] {
        let points = outline(n);
        group.bench_function(BenchmarkId::new("straight zone", n), |b| {
            b.iter(|| minimum_zone(black_box(&points)).unwrap());
        });
        let mut mixed = points;
        mixed.sort_by(|a, b| a.y.total_cmp(&b.y));
        group.bench_function(BenchmarkId::new("straight zone, unsorted", n), |b| {
            b.iter(|| minimum_zone(black_box(&mixed)).unwrap());
        });
    }
    for n in [36usize, 360, 3_600] {
        let (angles, radii) = section(n);
        let polar = angles.iter().zip(&radii);
        let points: Vec<Point> = polar.map(|(&a, &r)| from_polar(a, r)).collect();
        group.bench_function(BenchmarkId::new("least-squares circle", n), |b| {
            b.iter(|| least_squares_circle(black_box(&points)).unwrap());
        });
        group.bench_function(BenchmarkId::new("zone of circles", n), |b| {
            b.iter(|| minimum_zone_circles(black_box(&points)).unwrap());
        });
        group.bench_function(BenchmarkId::new("inscribed circle", n), |b| {
            b.iter(|| maximum_inscribed(black_box(&points)).unwrap());
        });
        group.bench_function(BenchmarkId::new("circumscribed circle", n), |b| {
            b.iter(|| minimum_circumscribed(black_box(&points)).unwrap());
        });
    }
    for n in [12usize, 100, 1_000] {
        let (angles, radii) = section(n);
        group.bench_function(BenchmarkId::new("undulations", n), |b| {
            b.iter(|| lobes(black_box(&angles), black_box(&radii), 2..=15, 0.05).unwrap());
        });
    }
    group.finish();
}

criterion_group!(benches, forms);
criterion_main!(benches);
