//! Dating one piece, reading the source aside.

#![allow(missing_docs, clippy::unwrap_used)]

use std::fmt::Write as _;

use calibriar::catalogue::{Catalogue, Period, Periods, Standing, YearRange};
use calibriar::cohort::{Choice, Cohort, Selection};
use calibriar::norm::{Borrowing, Evidence, Settings};
use calibriar::periods::{Dater, Grounds};
use calibriar::source::{Request, open};
use calibriar::table::{Content, Options, Table, read};
use calibriar::traced::ready;
use criterion::{Criterion, criterion_group, criterion_main};
use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

/// 10,000 pieces of 115 patterns in twelve dimensions, over five periods.
fn many() -> Table {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(1);
    let mut uniform = move || (random.next_u64() >> 11) as f64 / (1u64 << 53) as f64;
    let mut text = String::from("specimen,pattern,made");
    for d in 1..=12 {
        let _ = write!(text, ",d{d:02}");
    }
    text.push('\n');
    for row in 0..10_000 {
        let pattern = (uniform() * 115.0) as usize;
        let decade = (uniform() * 5.0) as usize;
        let _ = write!(text, "S{row:05},P{pattern:03},{}", 1921 + 10 * decade);
        for d in 0..12 {
            // The sum of four uniforms is near enough to a bell for a stopwatch.
            let bell = uniform() + uniform() + uniform() + uniform() - 2.0;
            let shift = 0.01 * ((decade * (d + 3)) % 7) as f64;
            let centre = (10.0 + 7.0 * d as f64) * (1.0 + 0.001 * pattern as f64);
            let _ = write!(text, ",{:.2}", centre * (1.0 + 0.01 * bell + shift));
        }
        text.push('\n');
    }
    let options = Options {
        new_dimensions: true,
        ..Options::default()
    };
    let content = read("bench.csv", text.into(), &options, Catalogue::standard());
    let mut table = match content {
        Ok(Content::Measurements(sheet)) => sheet.table,
        other => panic!("the sheet is a table of measurements, not {other:?}"),
    };
    let mut periods = Periods::default();
    for decade in 0..5 {
        let from = 1921 + 10 * decade;
        let period = Period {
            maker: None,
            name: format!("decade {decade}"),
            years: YearRange { from, to: from + 9 },
            standing: Standing::Good,
            note: String::new(),
        };
        periods.add(period).unwrap();
    }
    table.periods = periods;
    table
}

fn demo() -> Table {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/data");
    let request = Request {
        from: folder,
        ..Request::default()
    };
    ready(open(&request).unwrap().table)
}

fn date(criterion: &mut Criterion) {
    let settings = Settings::new(0.95, 0.95, 0.05).unwrap();
    let choice = Choice {
        periods: Selection::Every,
        unknown_state: false,
    };
    let mut group = criterion.benchmark_group("date");
    group.sample_size(10);
    for (name, table) in [("demo data", demo()), ("10,000 pieces", many())] {
        let cohort = Cohort::new(&table, &choice).unwrap();
        let evidence = Evidence::gather(&cohort, &Borrowing::default());
        let dater = Dater::new(&evidence, Grounds::default(), &settings);
        group.bench_function(format!("{name}, from the table"), |b| {
            b.iter(|| {
                let cohort = Cohort::new(&table, &choice).unwrap();
                let evidence = Evidence::gather(&cohort, &Borrowing::default());
                Dater::new(&evidence, Grounds::default(), &settings).date(7)
            });
        });
        group.bench_function(format!("{name}, one more piece"), |b| {
            b.iter(|| dater.date(7));
        });
    }
    group.finish();
}

criterion_group!(benches, date);
criterion_main!(benches);
