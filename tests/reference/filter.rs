//! The Gaussian filter against 40 digits (see `tests/data/SOURCES.md`, "filter").

use calibriar::form::filter::{Ends, gaussian, gaussian_weights, transmission};

use crate::common::{assert_rel_at, number, rows};

const TOLERANCE: f64 = 1e-12;

#[test]
fn weights_against_40_digits() {
    let table: Vec<_> = rows(include_str!("../data/filter/weights.csv")).collect();
    assert!(table.len() > 60);
    for row in &table {
        let of = |i: usize| number(row[i]);
        let weights = gaussian_weights(of(0), of(1), of(2)).unwrap();
        let sum = weights[0] + 2.0 * weights[1..].iter().sum::<f64>();
        let k = of(3) as usize;
        // No weight more than the table has.
        let same = |other: &&Vec<&str>| other[..3] == row[..3];
        assert_eq!(weights.len(), table.iter().filter(same).count());
        assert_rel_at(&row.join(","), weights[k], of(4), TOLERANCE);
        assert_rel_at(&row.join(","), weights[k] / sum, of(5), TOLERANCE);
    }
}

#[test]
fn transmission_by_formula_and_by_a_wave_sent_through() {
    let mut formula = 0;
    for row in rows(include_str!("../data/filter/transmission.csv")) {
        let want = number(row[7]);
        if row[0] == "continuous_formula" {
            formula += 1;
            assert_rel_at(row[0], transmission(number(row[4])), want, TOLERANCE);
            continue;
        }
        let (spacing, cutoff) = (number(row[1]), number(row[2]));
        let wave = |i: i32| (std::f64::consts::TAU * f64::from(i) * spacing / cutoff).cos();
        let heights: Vec<f64> = (-200..=200).map(wave).collect();
        let mean_line = gaussian(&heights, spacing, cutoff, number(row[3]), Ends::Zero).unwrap();
        assert_rel_at(&row.join(","), mean_line[200], want, 1e-12);
    }
    assert_eq!(formula, 15);
}

#[test]
fn mean_lines_with_six_treatments_of_the_ends() {
    let table: Vec<_> = rows(include_str!("../data/filter/profile.csv")).collect();
    let heights: Vec<f64> = table.iter().map(|row| number(row[2])).collect();
    let all = [
        Ends::Zero,
        Ends::Renormalised,
        Ends::ReflectHalfSample,
        Ends::MirrorSample,
        Ends::Nearest,
        Ends::Periodic,
    ];
    for (column, ends) in all.into_iter().enumerate() {
        let mean_line = gaussian(&heights, 0.05, 0.8, 1.0, ends).unwrap();
        assert_eq!(mean_line.len(), 161);
        for (got, row) in mean_line.iter().zip(&table) {
            let want = number(row[4 + column]);
            assert!((got - want).abs() < TOLERANCE, "{ends:?} at {}", row[0]);
        }
    }
}
