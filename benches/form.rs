//! Straightness, roundness and undulations of many points.

#![allow(missing_docs, clippy::unwrap_used)]

use std::hint::black_box;

use calibriar::catalogue::{Feature, FeatureName, State};
use calibriar::form::Point;
use calibriar::form::lobes::lobes;
use calibriar::form::roundness::{
    from_polar, least_squares_circle, maximum_inscribed, minimum_circumscribed,
    minimum_zone_circles,
};
use calibriar::form::straightness::minimum_zone;
use calibriar::table::{Trace, TraceReading};
use calibriar::traced;
use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};

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

/// Six traces of 100 points of each of some pieces, readings to 0.01 mm: five outlines, one of
/// them with a step, and one section.
fn pieces(count: usize) -> Vec<Trace> {
    const FEATURES: [&str; 5] = [
        "bowl_wall_front",
        "bowl_wall_left",
        "bowl_wall_back",
        "stem_top",
        "stem_bottom",
    ];
    let known = Feature::standard();
    let rounded = |x: f64| (100.0 * x).round() / 100.0;
    let trace = |piece: usize, feature: &str, points: Vec<(f64, f64)>| {
        let (stations, readings) = points.into_iter().unzip();
        Trace {
            specimen: format!("P{piece}"),
            feature: FeatureName::parse(feature, &known).unwrap(),
            repeat: 1,
            state: State::Factory,
            reading: TraceReading::Points {
                stations,
                readings,
                uncertainty: 0.003,
            },
        }
    };
    let of_piece = |piece: usize| {
        let scatter = move |at: usize, i: usize| 0.02 * noise(1_000 * piece + 100 * at + i);
        let outline = move |at: usize| {
            let height = move |i: usize| {
                let x = 0.4 * i as f64;
                let step = if at == 4 && i >= 80 { 0.3 } else { 0.0 };
                (x, rounded(15.0 + 0.12 * x + step + scatter(at, i)))
            };
            (0..100).map(height).collect()
        };
        let (angles, radii) = section(100);
        let radii = radii.iter().enumerate();
        let radii = radii.map(|(i, r)| rounded(r + scatter(5, i)));
        let around = trace(
            piece,
            "bowl_section@22",
            angles.into_iter().zip(radii).collect(),
        );
        let outlines = FEATURES.iter().enumerate();
        let mut traces: Vec<Trace> = outlines
            .map(|(at, feature)| trace(piece, feature, outline(at)))
            .collect();
        traces.push(around);
        traces
    };
    (0..count).flat_map(of_piece).collect()
}

fn whole_pieces(criterion: &mut Criterion) {
    const PIECES: usize = 1_000;
    let traces = pieces(PIECES);
    let mut group = criterion.benchmark_group("form");
    group.sample_size(10);
    group.throughput(Throughput::Elements(PIECES as u64));
    group.bench_function(BenchmarkId::new("forms of pieces", PIECES), |b| {
        b.iter(|| traced::forms(black_box(&traces), traced::DEFAULT_TOLERANCE));
    });
    group.finish();
}

criterion_group!(benches, forms, whole_pieces);
criterion_main!(benches);
