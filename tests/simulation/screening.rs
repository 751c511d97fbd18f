//! The promise of the screening, and what it finds, on a few invented sources: the whole study is the
//! example `screened`. Limits are those that a right program crosses once in a million times.

use calibriar::screen::Code;

use super::slips::{ONE_SHEET, PLAIN, Plant, World, false_alarms, found};

/// The probability of `k` or more of `n`, each with probability `p`.
fn at_least(k: usize, n: usize, p: f64) -> f64 {
    let (mut term, mut sum) = ((1.0 - p).powi(n as i32), 0.0);
    for i in 0..=n {
        if i >= k {
            sum += term;
        }
        term *= (n - i) as f64 / (i + 1) as f64 * p / (1.0 - p);
    }
    sum
}

#[track_caller]
fn is_silent(world: World, sources: usize, seed: u64) {
    let alarms = false_alarms(&world, sources, seed);
    let loud = alarms.iter().filter(|found| !found.is_empty()).count();
    assert!(
        at_least(loud, sources, 0.05) > 1e-6,
        "{loud} of {sources} clean sources: {alarms:?}"
    );
}

const SMALL: World = World {
    patterns: (3, 10),
    pieces: (1, 25),
    ..PLAIN
};

#[test]
fn clean_sources_are_screened_in_silence() {
    is_silent(SMALL, 40, 1);
}

#[test]
fn heavy_tails_do_not_flood_it() {
    is_silent(
        World {
            heavy: true,
            ..SMALL
        },
        40,
        2,
    );
}

#[test]
fn inches_marked_as_such_are_no_slip() {
    is_silent(
        World {
            inches: true,
            ..SMALL
        },
        30,
        3,
    );
}

#[test]
fn rounded_readings_and_missing_dates_are_no_slip() {
    is_silent(
        World {
            rounded: true,
            ..SMALL
        },
        30,
        4,
    );
    is_silent(
        World {
            undated: 0.5,
            ..SMALL
        },
        30,
        5,
    );
}

#[test]
fn coarse_readings_are_no_habit_of_rounding() {
    is_silent(
        World {
            narrow: 0.3,
            ..ONE_SHEET
        },
        20,
        6,
    );
    is_silent(
        World {
            whole: true,
            ..ONE_SHEET
        },
        20,
        7,
    );
}

/// Ten other patterns of twelve pieces.
const WORLD: World = World {
    patterns: (10, 10),
    pieces: (12, 12),
    ..PLAIN
};

/// `rate` is what the study found, or somewhat less.
#[track_caller]
fn finds(plant: Plant, n: usize, rate: f64) {
    const SOURCES: usize = 20;
    let (hits, tried) = found(&WORLD, plant, n, SOURCES, 11);
    // As many misses or more.
    let p = at_least(tried - hits, tried, 1.0 - rate);
    assert!(
        p > 1e-6,
        "{plant:?} found in {hits} of {tried}, not in {rate}"
    );
}

#[test]
fn units_and_decimal_points_are_found() {
    finds(Plant::Times(7, 1.0 / 25.4), 3, 0.99);
    finds(Plant::Times(6, 0.1), 12, 0.99);
    finds(Plant::Times(8, 10.0), 12, 0.99);
}

#[test]
fn exchanged_columns_and_digits_are_found() {
    finds(Plant::Exchanged(3, 4), 12, 0.7);
    finds(Plant::Digits(6), 30, 0.8);
}

#[test]
fn a_text_copied_down_and_a_lone_stray_are_found() {
    finds(Plant::Copied(2, 9), 30, 0.9);
    finds(Plant::Off(1, 40.0), 30, 0.9);
}

#[test]
fn a_row_entered_twice_is_found() {
    finds(Plant::Twice(true), 6, 0.99);
    finds(Plant::Twice(false), 12, 0.6);
}

#[test]
fn habits_of_rounding_are_found_with_their_step() {
    finds(Plant::Round(2), 12, 0.99);
}

#[test]
fn every_code_has_its_name_and_words() {
    for code in Code::ALL {
        assert_eq!(Code::parse(code.name()), Some(code));
        assert!(!code.words().is_empty());
    }
}
