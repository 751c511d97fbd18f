//! How often the procedure is right, cell by cell beside the method's own study.
//! `cargo run --release --example calibration` writes `docs/calibration.md` and its pictures in a
//! few minutes on two cores; `-- 250` draws fewer worlds a cell, which takes less and tells less.

#![allow(clippy::print_stderr)]

mod chart;
mod draw;
mod rates;
mod report;
mod stated;
mod world;

use std::path::Path;
use std::time::Instant;
use std::{env, fs, io};

use rates::{Rates, rates};
use report::{Found, worlds_of};
use stated::{BASE_ROWS, FAMILIES, HEAVY_TAILS, OWN_DATA, ROWS, Row, SIZES, families};
use world::{BASE, Scenario};

const SEED: u64 = 20_011_125;
/// Worlds a cell; with 30 other patterns half as many.
const WORLDS: usize = 2500;

fn main() -> io::Result<()> {
    let worlds = match env::args().nth(1).map(|text| text.parse()) {
        None => WORLDS,
        Some(Ok(worlds)) if worlds >= 4 => worlds,
        Some(_) => return Err(io::Error::other("expected a number of worlds, 4 or more")),
    };
    let start = Instant::now();
    let mut cell = 0;
    let mut run = |name: &str, scenario: &Scenario, sizes: &[usize]| -> Vec<(usize, Rates)> {
        let worlds = worlds_of(scenario, worlds);
        let one = |&n: &usize| {
            // A stream of its own for every cell.
            cell += 1;
            let found = rates(scenario, n, worlds, SEED + cell);
            eprintln!("{:4} s  {name}, n = {n}", start.elapsed().as_secs());
            (n, found)
        };
        sizes.iter().map(one).collect()
    };
    let all_sizes = BASE_ROWS.map(|(n, ..)| n);
    let sizes = |row: &Row| match row.name {
        // Drawn, or told of dated pieces.
        OWN_DATA | HEAVY_TAILS => all_sizes.to_vec(),
        _ => SIZES
            .into_iter()
            .filter(|&n| row.cells(n).is_some())
            .collect(),
    };
    let found = Found {
        base: run("base world", &BASE, &all_sizes),
        rows: ROWS.map(|row| run(row.name, &row.scenario, &sizes(&row))),
        families: FAMILIES.map(|(others, ..)| run("families", &families(others), &SIZES)),
        worlds,
        seed: SEED,
        seconds: start.elapsed().as_secs(),
    };
    let docs = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs");
    let pictures = docs.join("calibration");
    fs::create_dir_all(&pictures)?;
    fs::write(docs.join("calibration.md"), report::page(&found))?;
    fs::write(
        pictures.join("false-flags.svg"),
        report::false_flags(&found).to_string(),
    )?;
    fs::write(
        pictures.join("power.svg"),
        report::power(&found).to_string(),
    )
}
