//! What lending costs: all patterns at once, and one fit for comparison.

#![allow(missing_docs, clippy::unwrap_used)]

use std::f64::consts::TAU;
use std::hint::black_box;

use calibriar::stats::{Lending, Rated, borrowed_from_readings};
use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

const DIMENSIONS: usize = 12;
const LAMBDA: f64 = 0.3;

/// Invented readings: three periods, two kinds of readers, whose uncertainties go with the size.
fn invented(patterns: usize, readings: usize) -> Vec<Vec<Vec<Rated>>> {
    let mut generator = Xoshiro256PlusPlus::seed_from_u64(5);
    let mut uniform = || ((generator.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64;
    let mut set = || {
        let mut normal = || (-2.0 * uniform().ln()).sqrt() * (TAU * uniform()).cos();
        let chi_square: f64 = (0..8).map(|_| normal().powi(2)).sum();
        let spread = 0.02 * (8.0 / chi_square).sqrt();
        let effects = [(); 3].map(|()| 0.5 * spread * normal());
        let reading = |i: usize| {
            let true_x = 3.0 + effects[i % 3] + spread * normal();
            let u = if i.is_multiple_of(2) { 0.003 } else { 0.001 } * (3.0 - true_x).exp();
            Rated {
                x: true_x + u * normal(),
                u,
                period: Some((i % 3) as u32),
            }
        };
        (0..readings).map(reading).collect()
    };
    (0..DIMENSIONS)
        .map(|_| (0..patterns).map(|_| set()).collect())
        .collect()
}

fn lending(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("lending");
    group.sample_size(10);
    for (patterns, readings) in [
        (3, 6),
        (10, 6),
        (50, 115),
        (1250, 115),
        (2500, 115),
        (5000, 115),
    ] {
        let sets = invented(patterns, readings);
        let sets: Vec<Vec<&[Rated]>> = sets
            .iter()
            .map(|d| d.iter().map(Vec::as_slice).collect())
            .collect();
        let lending = Lending::new(&sets);
        group.bench_function(BenchmarkId::new("taking in", patterns), |b| {
            b.iter(|| Lending::new(black_box(&sets)));
        });
        group.bench_function(BenchmarkId::new("without each", patterns), |b| {
            b.iter(|| lending.without_each(black_box(LAMBDA)));
        });
        group.bench_function(BenchmarkId::new("without one", patterns), |b| {
            b.iter(|| lending.without(1, black_box(LAMBDA)));
        });
        if patterns <= 50 {
            group.bench_function(BenchmarkId::new("from readings", patterns), |b| {
                b.iter(|| borrowed_from_readings(black_box(&sets), LAMBDA));
            });
        }
    }
    group.finish();
}

criterion_group!(benches, lending);
criterion_main!(benches);
