//! What one number costs.

#![allow(missing_docs, clippy::unwrap_used)]

use std::hint::black_box;

use calibriar::stats::{Coverage, describe, t_two_sided, t_upper_quantile, two_sided_factor};
use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};

fn numbers(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("stats");
    for df in [3.0, 30.0, 300.0] {
        group.bench_function(BenchmarkId::new("t tail", df), |b| {
            b.iter(|| t_two_sided(black_box(3.7), black_box(df)));
        });
        group.bench_function(BenchmarkId::new("t quantile", df), |b| {
            b.iter(|| t_upper_quantile(black_box(0.025), black_box(df)));
        });
        let coverage = Coverage::new(0.95, 0.95).unwrap();
        group.bench_function(BenchmarkId::new("exact tolerance factor", df), |b| {
            b.iter(|| two_sided_factor(coverage, black_box(df), black_box(df + 1.0)).unwrap());
        });
    }
    for n in [30usize, 1_000, 100_000] {
        let values: Vec<f64> = (0..n)
            .map(|i| 40.0 + (i * 7919 % 1000) as f64 * 0.01)
            .collect();
        group.bench_function(BenchmarkId::new("describe", n), |b| {
            b.iter(|| describe(black_box(&values)).unwrap());
        });
    }
    group.finish();
}

criterion_group!(benches, numbers);
criterion_main!(benches);
