//! Screening a table in memory.

#![allow(missing_docs, clippy::unwrap_used)]

mod common;

use calibriar::cohort::{Choice, Cohort, Selection};
use calibriar::screen::{Settings, screen};
use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};

fn screening(criterion: &mut Criterion) {
    let settings = Settings::new(0.05, &[]).unwrap();
    let every = Choice {
        periods: Selection::Every,
        unknown_state: false,
    };
    for rows in [1_000usize, 10_000, 100_000] {
        let text = common::sheet(rows);
        let table = common::table(&text, true);
        let cohort = Cohort::new(&table, &every).unwrap();
        let mut group = criterion.benchmark_group("screen");
        group
            .throughput(Throughput::Elements(12 * rows as u64))
            .sample_size(10);
        group.bench_function(BenchmarkId::new("read in detail", rows), |b| {
            b.iter(|| common::table(&text, true));
        });
        group.bench_function(BenchmarkId::new("screen", rows), |b| {
            b.iter(|| screen(&cohort, &settings).findings.len());
        });
        group.finish();
    }
}

criterion_group!(benches, screening);
criterion_main!(benches);
