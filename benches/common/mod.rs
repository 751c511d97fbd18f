//! Seeded sheets to measure with: patterns, years and twelve dimensions, a few pieces off.

use std::fmt::Write as _;

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

/// A wide sheet of `rows` pieces of `rows / 200` patterns, in hundredths of a millimetre.
pub(crate) fn sheet(rows: usize) -> String {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(1);
    let mut uniform = move || (random.next_u64() >> 11) as f64 / (1u64 << 53) as f64;
    let patterns = (rows / 200).max(1);
    let mut text = String::from("specimen,pattern,made");
    for d in 1..=12 {
        let _ = write!(text, ",d{d:02}");
    }
    text.push('\n');
    for row in 0..rows {
        let pattern = (uniform() * patterns as f64) as usize;
        let year = 1906 + (uniform() * 110.0) as usize;
        let _ = write!(text, "S{row:07},P{pattern:04},{year}");
        for d in 0..12 {
            // The sum of four uniforms is near enough to a bell for a stopwatch.
            let bell = uniform() + uniform() + uniform() + uniform() - 2.0;
            let off = if uniform() < 0.005 { 10.0 } else { 1.0 };
            let centre = 10.0 + 7.0 * d as f64 + pattern as f64 * 0.01;
            let _ = write!(text, ",{:.2}", centre * (1.0 + 0.01 * bell * off));
        }
        text.push('\n');
    }
    text
}

/// Options that take the sheet's columns as they are.
pub(crate) fn options(details: bool) -> calibriar::table::Options {
    calibriar::table::Options {
        new_dimensions: true,
        details,
        ..calibriar::table::Options::default()
    }
}

/// The sheet as a table.
pub(crate) fn table(text: &str, details: bool) -> calibriar::table::Table {
    use calibriar::catalogue::Catalogue;
    use calibriar::table::{Content, read};
    match read(
        "bench.csv",
        text.into(),
        &options(details),
        Catalogue::standard(),
    ) {
        Ok(Content::Measurements(sheet)) => sheet.table,
        other => panic!("the sheet is a table of measurements, not {other:?}"),
    }
}
