//! Conformity with limits against the cases of JCGM 106 and others at 40 digits.

use calibriar::stats::{conformity, guarded};

use crate::common::{assert_printed, assert_rel_at, number};

struct Case {
    name: String,
    low: Option<f64>,
    high: Option<f64>,
    mean: f64,
    u: f64,
    cells: Vec<String>,
}

fn cases() -> Vec<Case> {
    let table = include_bytes!("../data/decision_rules.csv").as_slice();
    csv::Reader::from_reader(table)
        .into_records()
        .map(|record| {
            let cells: Vec<String> = record.unwrap().iter().map(str::to_owned).collect();
            let limit = |cell: &str| (!cell.is_empty()).then(|| number(cell));
            Case {
                name: cells[0].clone(),
                low: limit(&cells[1]),
                high: limit(&cells[2]),
                mean: number(&cells[3]),
                u: number(&cells[4]),
                cells,
            }
        })
        .collect()
}

/// Probabilities below 1e-300 are stored as 0. The quotient (limit - mean) / u of decimals is off by
/// some units of the mean's last digit over u, which the far tail feels: 1e-12 there.
#[test]
fn probabilities_at_40_digits() {
    for case in cases() {
        let Case {
            low, high, mean, u, ..
        } = case;
        let name = &case.name;
        assert_rel_at(
            name,
            conformity(low, high, mean, u),
            number_or_0(&case, 5),
            5e-13,
        );
        let tails = [
            (low.map(|low| conformity(None, Some(low), mean, u)), 6),
            (high.map(|high| conformity(Some(high), None, mean, u)), 7),
        ];
        for (tail, column) in tails {
            let stored = number_or_0(&case, column);
            match tail {
                Some(tail) if stored > 0.0 => assert_rel_at(name, tail, stored, 1e-11),
                Some(tail) => assert!(tail < 1e-300, "{name}: {tail:e}"),
                None => assert_eq!(stored, 0.0, "{name}"),
            }
        }
    }
}

fn number_or_0(case: &Case, column: usize) -> f64 {
    number(&case.cells[column])
}

/// Source: JCGM 106:2012, 7.3.3 and 7.4. The table says that limits and readings of 7.4 are confirmed
/// by a public article, and that the printed probabilities are from memory.
#[test]
fn probabilities_as_jcgm_106_prints_them() {
    let mut seen = 0;
    for case in cases().iter().filter(|case| !case.cells[14].is_empty()) {
        assert!(case.cells[15].contains("from memory, unconfirmed"));
        let p = conformity(case.low, case.high, case.mean, case.u);
        assert_printed(&case.name, p, &case.cells[14]);
        seen += 1;
    }
    assert_eq!(seen, 3);
}

/// With one limit the guard band is the tabled multiple of u; far limits add nothing to it.
#[test]
fn guard_bands_of_one_limit() {
    for row in crate::common::rows(include_str!("../data/decision_guard_bands.csv")) {
        let (p, multiple) = (number(row[0]), number(row[1]));
        let u = 0.05;
        let case = format!("p = {p}");
        let (low, high) = guarded(Some(0.0), None, u, p).unwrap();
        assert_rel_at(&case, low, multiple * u, 1e-12);
        assert_eq!(high, f64::INFINITY);
        let (low, high) = guarded(None, Some(0.0), u, p).unwrap();
        assert_rel_at(&case, -high, multiple * u, 1e-12);
        assert_eq!(low, f64::NEG_INFINITY);
        let (low, high) = guarded(Some(0.0), Some(4.0), u, p).unwrap();
        assert_rel_at(&case, low + 1.0, multiple * u + 1.0, 1e-12);
        assert_rel_at(&case, high, 4.0 - multiple * u, 1e-12);
    }
    for case in cases() {
        let one_sided = case.low.is_none() || case.high.is_none();
        let Some((low, high)) = guarded(case.low, case.high, case.u, 0.95) else {
            continue;
        };
        let within = case.mean >= low && case.mean <= high;
        assert_eq!(within, case.cells[13] == "yes", "{}", case.name);
        if one_sided {
            let width = case
                .low
                .map_or_else(|| case.high.unwrap() - high, |limit| low - limit);
            // Rounding of the limit itself, up to 490, is shared out over the width.
            assert_rel_at(&case.name, width, number(&case.cells[12]), 1e-12);
        }
    }
}

/// Both tails count: at either end the probability is what was asked, however close the limits.
#[test]
fn guarded_ends_hold_what_was_asked() {
    let mut fell_short = 0;
    for width in [0.5, 1.0, 2.0, 3.0, 3.5, 4.0, 5.0, 8.0, 20.0, 1e6] {
        for p in [1e-6, 0.01, 0.3, 0.5, 0.68, 0.9, 0.95, 0.99, 1.0 - 1e-9] {
            let (low, high) = (10.0, 10.0 + width);
            let best = conformity(Some(low), Some(high), f64::midpoint(low, high), 1.0);
            match guarded(Some(low), Some(high), 1.0, p) {
                Some((from, to)) => {
                    assert!(best >= p && from <= to);
                    for mean in [from, to] {
                        let got = conformity(Some(low), Some(high), mean, 1.0);
                        // A mean of a million u is written to 1e-10 of them.
                        let written = f64::EPSILON * mean;
                        assert!((got - p).abs() < 1e-12 + written, "{width} {p}: {got}");
                    }
                }
                None => {
                    assert!(best < p, "{width} {p}");
                    fell_short += 1;
                }
            }
        }
    }
    assert!(fell_short > 10, "{fell_short}");
}
