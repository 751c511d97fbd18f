//! The years of shifts over a large source: 100,000 pieces of 500 patterns of one maker, 20 dimensions.

#![allow(missing_docs, clippy::unwrap_used)]

use calibriar::catalogue::Catalogue;
use calibriar::cohort::{Choice, Cohort};
use calibriar::periods::{Scope, shift_years};
use calibriar::table::{Content, Options, Table, read};
use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

const ROWS: usize = 100_000;

/// Half of the dates are 5 years either way; in 1960 half of the dimensions shift by a spread.
fn table(shifted: bool) -> Table {
    use std::fmt::Write as _;
    let mut random = Xoshiro256PlusPlus::seed_from_u64(1);
    let mut uniform = move || (random.next_u64() >> 11) as f64 / (1u64 << 53) as f64;
    let mut text = String::from("specimen,pattern,made");
    for d in 1..=20 {
        let _ = write!(text, ",d{d:02}");
    }
    text.push('\n');
    for row in 0..ROWS {
        let pattern = (uniform() * 500.0) as usize;
        let year = 1906 + (uniform() * 110.0) as usize;
        let circa = if uniform() < 0.5 { "c. " } else { "" };
        let _ = write!(text, "S{row:07},P{pattern:04},{circa}{year}");
        for d in 0..20 {
            // The sum of four uniforms is near enough to a bell for a stopwatch.
            let bell = (uniform() + uniform() + uniform() + uniform() - 2.0) * 3.0_f64.sqrt();
            let shift = f64::from(u8::from(shifted && d % 2 == 0 && year >= 1960));
            let centre = 10.0 + 7.0 * d as f64 + pattern as f64 * 0.01;
            let _ = write!(text, ",{:.3}", centre * (1.0 + 0.01 * (bell + shift)));
        }
        text.push('\n');
    }
    let options = Options {
        new_dimensions: true,
        ..Options::default()
    };
    match read("bench.csv", text.into(), &options, Catalogue::standard()) {
        Ok(Content::Measurements(sheet)) => sheet.table,
        other => panic!("the sheet is a table of measurements, not {other:?}"),
    }
}

fn whole_source(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("shift_years");
    group
        .throughput(Throughput::Elements(ROWS as u64 * 20))
        .sample_size(10);
    for (name, shifted) in [("nothing shifted", false), ("half shifted", true)] {
        let table = table(shifted);
        let cohort = Cohort::new(&table, &Choice::default()).unwrap();
        let scopes = Scope::of(&cohort, &[0], false);
        group.bench_function(name, |b| {
            b.iter(|| shift_years(&cohort, &scopes, 0.05).unwrap());
        });
    }
    group.finish();
}

criterion_group!(benches, whole_source);
criterion_main!(benches);
