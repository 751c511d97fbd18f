//! Periods compared, from a cohort on.

#![allow(missing_docs, clippy::unwrap_used)]

mod common;

use calibriar::catalogue::{Period, Standing, YearRange};
use calibriar::cohort::{Choice, Cohort};
use calibriar::norm::{Borrowing, Evidence, Settings};
use calibriar::periods::comparison::compare;
use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};

fn stages(criterion: &mut Criterion) {
    let settings = Settings::new(0.95, 0.95, 0.05).unwrap();
    for rows in [1_000usize, 10_000, 100_000] {
        let mut table = common::table(&common::sheet(rows), false);
        for (name, from, to, standing) in [
            ("first", 1906, 1927, Standing::Good),
            ("second", 1928, 1949, Standing::Unrated),
            ("third", 1950, 1971, Standing::Good),
            ("fourth", 1972, 1993, Standing::Poor),
            ("fifth", 1994, 2016, Standing::Good),
        ] {
            let period = Period {
                maker: None,
                name: name.to_owned(),
                years: YearRange { from, to },
                standing,
                note: String::new(),
            };
            table.periods.add(period).unwrap();
        }
        let good = Cohort::new(&table, &Choice::default()).unwrap();
        let every = good.of_every_period().unwrap();
        let evidence = Evidence::gather(&good, &Borrowing::default());
        let groups: Vec<usize> = (0..good.groups().len()).collect();
        let mut group = criterion.benchmark_group("periods");
        group
            .throughput(Throughput::Elements(rows as u64))
            .sample_size(10);
        group.bench_function(BenchmarkId::new("compare", rows), |b| {
            b.iter(|| compare(&evidence, &every, &groups, &settings));
        });
        group.finish();
    }
}

criterion_group!(benches, stages);
criterion_main!(benches);
