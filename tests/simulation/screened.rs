//! How often clean sources are screened in silence, and how often planted slips are found:
//! `cargo run --release --example screened` prints the tables of `docs/screening.md`;
//! `-- 100` draws 100 sources a world and 25 a cell of planted slips, `-- 100 7` the worlds from seed 7 on.

#![allow(clippy::print_stdout, clippy::print_stderr)]
#![expect(clippy::expect_used, reason = "an example may stop")]

#[expect(dead_code, reason = "shared with studies that draw more")]
mod draw;
mod slips;

use std::collections::BTreeMap;
use std::thread;

use slips::{ONE_SHEET, PLAIN, Plant, World, false_alarms, found};

fn main() {
    let sources: usize = (std::env::args().nth(1))
        .and_then(|text| text.parse().ok())
        .unwrap_or(400);
    let first_seed: u64 = (std::env::args().nth(2))
        .and_then(|text| text.parse().ok())
        .unwrap_or(50_000);
    let worlds = [
        ("normal", PLAIN),
        (
            "t5 tails",
            World {
                heavy: true,
                ..PLAIN
            },
        ),
        (
            "rounded",
            World {
                rounded: true,
                ..PLAIN
            },
        ),
        (
            "mm and inches",
            World {
                inches: true,
                ..PLAIN
            },
        ),
        (
            "t5, mm and inches",
            World {
                heavy: true,
                inches: true,
                ..PLAIN
            },
        ),
        (
            "nothing dated",
            World {
                undated: 1.0,
                ..PLAIN
            },
        ),
        (
            "half undated",
            World {
                undated: 0.5,
                ..PLAIN
            },
        ),
        (
            "all of one period",
            World {
                shift: 0.0,
                undated: 1.0,
                ..PLAIN
            },
        ),
        (
            "3 patterns of 1 to 8",
            World {
                patterns: (3, 3),
                pieces: (1, 8),
                ..PLAIN
            },
        ),
        (
            "3 patterns of 1 to 8, t5",
            World {
                patterns: (3, 3),
                pieces: (1, 8),
                heavy: true,
                ..PLAIN
            },
        ),
        (
            "40 patterns of 1 to 5",
            World {
                patterns: (40, 40),
                pieces: (1, 5),
                ..PLAIN
            },
        ),
        (
            "large pieces large",
            World {
                common: 0.5,
                ..PLAIN
            },
        ),
        (
            "coarse gauges",
            World {
                drills: true,
                sixty_fourths: true,
                ..PLAIN
            },
        ),
        (
            "coarse gauges, sorted by period",
            World {
                drills: true,
                sixty_fourths: true,
                sorted: true,
                ..PLAIN
            },
        ),
        (
            "coarse gauges, sorted, nothing dated",
            World {
                drills: true,
                sixty_fourths: true,
                sorted: true,
                undated: 1.0,
                ..PLAIN
            },
        ),
        ("one pattern of 200, to 0.1 mm", ONE_SHEET),
        (
            "the same, spreads of a few steps",
            World {
                narrow: 0.3,
                ..ONE_SHEET
            },
        ),
        (
            "the same, in whole mm",
            World {
                whole: true,
                ..ONE_SHEET
            },
        ),
    ];
    println!("| clean sources | with a finding | of | by code |\n|---|---|---|---|");
    for (at, (name, world)) in worlds.iter().enumerate() {
        let seed = first_seed + 10 * at as u64;
        let half = thread::spawn({
            let world = *world;
            move || false_alarms(&world, sources / 2, seed + 1)
        });
        let mut all = false_alarms(world, sources / 2, seed);
        all.extend(half.join().expect("no panic"));
        let loud = all.iter().filter(|f| !f.is_empty()).count();
        let mut codes: BTreeMap<&str, usize> = BTreeMap::new();
        for (code, sentence) in all.iter().flatten() {
            *codes.entry(code.name()).or_default() += 1;
            eprintln!("{name}: {}: {sentence}", code.name());
        }
        println!("| {name} | {loud} | {} | {codes:?} |", all.len());
    }
    let small = World {
        patterns: (10, 10),
        pieces: (12, 12),
        ..PLAIN
    };
    println!("\n| slip | n = 3 | 6 | 12 | 30 |\n|---|---|---|---|---|");
    let plants = [
        (
            "inches read as mm, bit thickness",
            Plant::Times(7, 1.0 / 25.4),
        ),
        ("ten times too small, bit width", Plant::Times(6, 0.1)),
        ("ten times too large, slot width", Plant::Times(8, 10.0)),
        ("half for whole, chamber diameter", Plant::Times(3, 0.5)),
        ("twice, slot width", Plant::Times(8, 2.0)),
        (
            "chamber diameter and depth exchanged",
            Plant::Exchanged(3, 4),
        ),
        (
            "bowl height and chamber depth exchanged",
            Plant::Exchanged(2, 4),
        ),
        ("first digits exchanged, bowl height", Plant::Digits(2)),
        ("first digits exchanged, bit width", Plant::Digits(6)),
        ("one off by 8 sd", Plant::Off(1, 8.0)),
        ("one off by 12 sd", Plant::Off(1, 12.0)),
        ("one off by 20 sd", Plant::Off(1, 20.0)),
        ("two off by 12 sd, both found", Plant::Off(2, 12.0)),
        ("two off by 20 sd, both found", Plant::Off(2, 20.0)),
        ("a row copied", Plant::Twice(true)),
        ("a piece measured twice", Plant::Twice(false)),
        ("3 equal texts in a run", Plant::Copied(2, 3)),
        ("4 equal texts in a run", Plant::Copied(2, 4)),
        ("6 equal texts in a run", Plant::Copied(2, 6)),
        ("9 equal texts in a run", Plant::Copied(2, 9)),
        (
            "bowl height in steps of 0.05 written to 0.01",
            Plant::Round(2),
        ),
    ];
    for heavy in [false, true] {
        let world = World { heavy, ..small };
        for (at, (name, plant)) in plants.iter().enumerate() {
            let cells: Vec<String> = [3usize, 6, 12, 30]
                .iter()
                .map(|&n| {
                    let fits = match *plant {
                        Plant::Copied(_, length) => length < n,
                        Plant::Off(2, _) => n > 4,
                        _ => true,
                    };
                    if !fits {
                        return "-".to_owned();
                    }
                    let (hits, tried) = found(
                        &world,
                        *plant,
                        n,
                        sources / 4,
                        7_000 + 100 * at as u64 + n as u64,
                    );
                    format!("{:.2}", hits as f64 / tried as f64)
                })
                .collect();
            let tails = if heavy { ", t5" } else { "" };
            println!("| {name}{tails} | {} |", cells.join(" | "));
        }
    }
}
