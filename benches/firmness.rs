//! Norms without one source at a time, and beside those of half the pieces.

#![allow(missing_docs, clippy::unwrap_used)]

mod common;

use calibriar::cohort::{Choice, Cohort};
use calibriar::firmness::{Leaving, Whose, left_out, moved, turned};
use calibriar::norm::{Borrowing, Evidence, Settings};
use calibriar::traced::ready;
use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};

/// The sheet of the other benches, its rows of thirty sources.
fn sheet(rows: usize) -> String {
    let text = common::sheet(rows);
    let mut lines = text.lines();
    let header = lines.next().unwrap();
    let rows = lines
        .zip(0..)
        .map(|(line, i)| format!("{line},Source {}\n", i % 30));
    format!("{header},source\n{}", rows.collect::<String>())
}

fn firmness(criterion: &mut Criterion) {
    let settings = Settings::new(0.95, 0.95, 0.05).unwrap();
    let choice = Choice::default();
    for rows in [1_000usize, 10_000] {
        let text = sheet(rows);
        let table = common::table(&text, true);
        let half: Vec<&str> = text.lines().take(1 + rows / 2).collect();
        let earlier = common::table(&(half.join("\n") + "\n"), true);
        let cohorts = [&earlier, &table].map(|table| Cohort::new(table, &choice).unwrap());
        let [before, after] = [0, 1].map(|s| Evidence::gather(&cohorts[s], &Borrowing::default()));
        let groups: Vec<usize> = (0..cohorts[1].groups().len()).collect();
        let mut group = criterion.benchmark_group("firmness");
        group.sample_size(10);
        group.bench_function(BenchmarkId::new("left out, 30 sources", rows), |b| {
            let leaving = Leaving {
                whose: Whose::Source,
                groups: &groups,
                choice: &choice,
                settings: &settings,
            };
            b.iter(|| left_out(&table, &after, &leaving, ready, || ()).unwrap());
        });
        group.bench_function(BenchmarkId::new("moved", rows), |b| {
            b.iter(|| moved(&before, &after, |_| true, &settings).unwrap());
        });
        group.bench_function(BenchmarkId::new("turned", rows), |b| {
            b.iter(|| turned(&before, &after, |_| true, &settings));
        });
        group.finish();
    }
}

criterion_group!(benches, firmness);
criterion_main!(benches);
