//! Broken lines against exact optima (see `tests/data/SOURCES.md`, "segmented").

use calibriar::form::Point;
use calibriar::form::two_lines::{BreakPlace, TwoLines, two_lines};

use crate::common::{assert_rel_at, number, rows};

/// 15 digits are stored; the data are decimals read as `f64`.
const TOLERANCE: f64 = 1e-10;

fn fit(case: &str) -> TwoLines {
    let of_case = rows(include_str!("../data/segmented/data.csv")).filter(|row| row[0] == case);
    let point = |row: Vec<&str>| Point {
        x: number(row[1]),
        y: number(row[2]),
    };
    let points: Vec<Point> = of_case.map(point).collect();
    two_lines(&points, 0.95).unwrap()
}

fn results() -> Vec<Vec<&'static str>> {
    let results: Vec<_> = rows(include_str!("../data/segmented/results.csv")).collect();
    assert_eq!(results.len(), 9);
    results
}

#[test]
fn the_best_broken_line_is_exact() {
    for row in results() {
        let got = fit(row[0]);
        let place = match row[7] {
            "at_a_datum" => BreakPlace::AtDatum,
            _ => BreakPlace::Between,
        };
        assert_eq!(
            (got.n, got.place),
            (number(row[1]) as usize, place),
            "{}",
            row[0]
        );
        assert_rel_at(row[0], got.at, number(row[6]), TOLERANCE);
        let near = |got: f64, want: &str| {
            let miss = (got - number(want)).abs();
            assert!(miss < 1e-10, "{}: got {got}, want {want}", row[0]);
        };
        near(got.slope_before, row[9]);
        near(got.slope_after, row[10]);
        // The height at station 0 lies 1900 years off.
        let far = 1.0 + number(row[3]).abs();
        assert!(
            (got.intercept - number(row[8])).abs() < 1e-11 * far,
            "{}",
            row[0]
        );
        assert_rel_at(row[0], got.rss_one_line, number(row[12]), TOLERANCE);
        if row[11] == "0" {
            assert!(
                got.rss < 1e-24 * got.rss_one_line,
                "{}: {}",
                row[0],
                got.rss
            );
        } else {
            assert_rel_at(row[0], got.rss, number(row[11]), TOLERANCE);
        }
    }
}

#[test]
fn the_break_is_as_firm_as_stated() {
    for row in results().into_iter().filter(|row| !row[15].is_empty()) {
        let got = fit(row[0]);
        let check = |got: f64, want: f64| assert_rel_at(row[0], got, want, 1e-9);
        check(got.residual_sd, number(row[15]));
        let either = number(row[16]).max(number(row[17]));
        check(got.standard_error.unwrap(), either);
        // The stored interval counts the datum before the break.
        let half = got.delta_half_width.unwrap() * number(row[16]) / either;
        check(got.at - half, number(row[18]));
        check(got.at + half, number(row[19]));
        let region = &got.region;
        check(region.low, number(row[20]));
        check(region.high, number(row[21]));
        assert_eq!(region.pieces.len(), number(row[22]) as usize, "{}", row[0]);
        let open = (region.open_low, region.open_high);
        assert_eq!(open, (row[23] == "yes", row[24] == "yes"), "{}", row[0]);
    }
}

/// Davies' test with ten candidates of the package is an approximation by another path; both agree
/// to a fifth of the logarithm, and see no break where there is none.
#[test]
fn the_test_of_a_break_goes_with_davies() {
    for row in results() {
        let p = fit(row[0]).kink.p;
        if row[27].is_empty() {
            assert!(p < 1e-12, "{}: {p}", row[0]);
            continue;
        }
        let davies = number(row[27]);
        // The search costs something: never under the tail of a break known beforehand.
        assert!(p >= 0.5 * number(row[26]), "{}: {p:e}", row[0]);
        if davies > 0.5 {
            assert!(p > 0.5, "{}: {p}", row[0]);
        } else {
            let ratio = p.ln() / davies.ln();
            assert!((0.8..1.2).contains(&ratio), "{}: {ratio}", row[0]);
        }
    }
}
