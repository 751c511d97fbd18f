//! Colour differences, sRGB and chromatic adaptation against other programs.

use crate::common::{assert_printed, number, rows};
use calibriar::form::colour::{Lab, difference, from_srgb, from_white};
use calibriar::table::White;

/// Source: see data/SOURCES.md.
const PAIRS: &str = include_str!("../data/ciede2000_pairs.csv");
const SRGB: &str = include_str!("../data/colour_srgb.csv");
const ADAPTATION: &str = include_str!("../data/colour_adaptation.csv");

#[track_caller]
fn three(cells: &[&str]) -> [f64; 3] {
    [number(cells[0]), number(cells[1]), number(cells[2])]
}

#[track_caller]
fn assert_near(case: &str, got: Lab, want: [f64; 3], tol: f64) {
    for (got, want) in got.components().into_iter().zip(want) {
        assert!((got - want).abs() <= tol, "{case}: got {got}, want {want}");
    }
}

/// Pairs 10 and 14, whose hues are exactly opposite, among them.
#[test]
fn colour_differences_of_the_34_published_pairs() {
    let mut pairs = 0;
    for row in rows(PAIRS) {
        let (one, other) = (Lab::from(three(&row[1..4])), Lab::from(three(&row[4..7])));
        for got in [difference(one, other), difference(other, one)] {
            assert_printed(row[0], got, row[7]);
            // The column has 15 digits.
            let want = number(row[8]);
            assert!((got - want).abs() <= 1e-9, "{}: {got}, {want}", row[0]);
        }
        pairs += 1;
    }
    assert_eq!(pairs, 34);
}

/// 0.03: the matrices of the standard (4 decimals) and of two programs differ by 0.025.
#[test]
fn srgb_against_colour_science() {
    for row in rows(SRGB) {
        let lab = from_srgb(three(&row[..3])).unwrap();
        assert_near(&row.join(","), lab, three(&row[3..]), 0.03);
    }
    // IEC 61966-2-1: its white is that of D65; greys are neutral.
    assert_near(
        "white",
        from_srgb([255.0; 3]).unwrap(),
        [100.0, 0.0, 0.0],
        0.01,
    );
    assert_near("black", from_srgb([0.0; 3]).unwrap(), [0.0; 3], 1e-12);
}

/// The table has 6 decimals; the transform's printed coefficients have 7 and their inverse is
/// rounded.
#[test]
fn chromatic_adaptation_against_colour_science() {
    let mut seen = 0;
    for row in rows(ADAPTATION) {
        let white = match row[0] {
            "D50" => White::D50,
            "D55" => White::D55,
            "A" => White::A,
            other => panic!("no white {other}"),
        };
        let lab = from_white(three(&row[1..4]), white).unwrap();
        assert_near(&row.join(","), lab, three(&row[4..]), 1e-4);
        seen += 1;
    }
    assert_eq!(seen, 27);
    let same = from_white([34.2, 12.1, 20.5], White::D65).unwrap();
    assert_eq!(same.components(), [34.2, 12.1, 20.5]);
}
