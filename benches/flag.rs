//! From CSV bytes to flags, stage by stage.

#![allow(missing_docs, clippy::unwrap_used)]

mod common;

use calibriar::cohort::{Choice, Cohort};
use calibriar::norm::{Borrowing, Evidence, Settings, norms};
use calibriar::verdict::flag;
use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};

fn stages(criterion: &mut Criterion) {
    let settings = Settings::new(0.95, 0.95, 0.05).unwrap();
    for rows in [1_000usize, 10_000, 100_000] {
        let text = common::sheet(rows);
        let table = common::table(&text, false);
        let cohort = Cohort::new(&table, &Choice::default()).unwrap();
        let evidence = Evidence::gather(&cohort, &Borrowing::default());
        let groups: Vec<usize> = (0..cohort.groups().len()).collect();
        let mut group = criterion.benchmark_group("flag");
        group
            .throughput(Throughput::Elements(rows as u64))
            .sample_size(10);
        group.bench_function(BenchmarkId::new("read", rows), |b| {
            b.iter(|| common::table(&text, false));
        });
        group.bench_function(BenchmarkId::new("cohort", rows), |b| {
            b.iter(|| {
                Cohort::new(&table, &Choice::default())
                    .unwrap()
                    .groups()
                    .len()
            });
        });
        group.bench_function(BenchmarkId::new("evidence", rows), |b| {
            b.iter(|| Evidence::gather(&cohort, &Borrowing::default()));
        });
        group.bench_function(BenchmarkId::new("judge", rows), |b| {
            b.iter(|| flag(&evidence, &settings));
        });
        group.bench_function(BenchmarkId::new("norms", rows), |b| {
            b.iter(|| norms(&evidence, &groups, &settings).unwrap());
        });
        group.finish();
    }
}

criterion_group!(benches, stages);
criterion_main!(benches);
