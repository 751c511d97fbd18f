//! Change points of series of exact years against plain least squares, Pettitt's statistic and the
//! segmentations of another program (`tests/data/change_points/`, see SOURCES.md there).

use calibriar::stats::{Dated, shift_contrasts, shifts};

use crate::common::{assert_rel_at, number, rows};

const POINTS: &str = include_str!("../data/change_points/change_points.csv");
const SERIES: &str = include_str!("../data/change_points/change_point_series.csv");

fn series(name: &str) -> Vec<Dated> {
    let of = rows(SERIES).filter(|row| row[0] == name);
    of.map(|row| {
        let year = row[2].parse().unwrap();
        Dated {
            x: number(row[3]),
            set: 0,
            from: year,
            to: year,
        }
    })
    .collect()
}

/// Source: SOURCES.md, least-squares split with at least 2 points on each side, in exact sums.
#[test]
fn least_squares_split_and_largest_f() {
    for row in rows(POINTS) {
        let (name, n) = (row[0], number(row[1]));
        let pieces = series(name);
        assert_eq!(pieces.len() as f64, n, "{name}");
        let mean = pieces.iter().map(|p| p.x).sum::<f64>() / n;
        let total: f64 = pieces.iter().map(|p| (p.x - mean).powi(2)).sum();
        assert_rel_at(name, total, number(row[6]), 1e-10);
        let contrasts = shift_contrasts(&pieces).unwrap();
        // A single point on a side is none of the source's splits.
        let inner = &contrasts[1..contrasts.len() - 1];
        let taken = |c: &calibriar::stats::ShiftContrast| c.sum * c.sum / c.information;
        let best = inner
            .iter()
            .max_by(|a, b| taken(a).total_cmp(&taken(b)))
            .unwrap();
        // The source gives the last time before the change, calibriar the first after it.
        assert_eq!(f64::from(best.years.0), number(row[3]) + 1.0, "{name}");
        assert_eq!(best.years.0, best.years.1, "{name}");
        let rss = total - taken(best);
        assert_rel_at(name, rss, number(row[7]), 1e-10);
        assert_rel_at(
            name,
            (total - rss) / (rss / (n - 2.0)),
            number(row[8]),
            1e-10,
        );
        let size = best.sum / best.information;
        assert_rel_at(name, size, number(row[5]) - number(row[4]), 1e-10);
    }
}

/// Source: SOURCES.md; A. N. Pettitt, Applied Statistics 28 (1979) 126-135: K = max |U| with U twice the
/// sum of centred ranks.
#[test]
fn pettitts_statistic_is_the_contrast_of_ranks() {
    for row in rows(POINTS) {
        let mut pieces = series(row[0]);
        let values: Vec<f64> = pieces.iter().map(|p| p.x).collect();
        for piece in &mut pieces {
            let below = values.iter().filter(|&&v| v < piece.x).count() as f64;
            let equal = values.iter().filter(|&&v| v == piece.x).count() as f64;
            piece.x = below + 0.5 * (equal + 1.0);
        }
        let contrasts = shift_contrasts(&pieces).unwrap();
        // Of equal ones the first, as the source has it.
        let largest = contrasts.iter().map(|c| c.sum.abs()).fold(0.0, f64::max);
        let mut largest_ones = contrasts.iter().filter(|c| c.sum.abs() > largest - 1e-9);
        let most = largest_ones.next().unwrap();
        assert_eq!(
            (2.0 * most.sum.abs()).round(),
            number(row[13]),
            "{}",
            row[0]
        );
        assert!((2.0 * most.sum.abs() - number(row[13])).abs() < 1e-9);
        assert_eq!(f64::from(most.years.0), number(row[15]) + 1.0, "{}", row[0]);
    }
}

/// Numbers of breaks beside those of strucchange's BIC (SOURCES.md) and beside the truth. They agree
/// but for two. `step_early`: the BIC sees a second break after index 43 of 50 that is not in the
/// truth; nothing bounds its rate of false alarms. `step_small`: a step of 1.2 spreads of which the
/// largest F is 10.9 only; at an alpha of 0.05, of which each of two questions gets half, it is not
/// told, at 0.1 it is.
#[test]
fn numbers_of_shifts_beside_those_of_strucchange() {
    for row in rows(POINTS) {
        let name = row[0];
        let alpha = if name == "step_small" { 0.1 } else { 0.05 };
        let found = shifts(&series(name), alpha).unwrap().location.shifts;
        let (theirs, truth) = (number(row[10]) as usize, usize::from(row[17] != "none"));
        assert_eq!(found.len(), truth, "{name}: {found:?}");
        match name {
            "step_early" => assert_eq!(theirs, 2),
            _ => assert_eq!(found.len(), theirs, "{name}"),
        }
        if name == "step_small" {
            let strict = shifts(&series(name), 0.05).unwrap().location;
            assert!(strict.shifts.is_empty(), "{strict:?}");
        }
        for shift in &found {
            let first_after = match name {
                "nile" => 1899,
                _ => number(row[17]) as i16 + 1,
            };
            let mut years = shift.years.iter();
            let held = years.any(|y| (y.0..=y.1).contains(&first_after));
            assert!(held, "{name}: {:?}", shift.years);
        }
    }
}

/// Source: Cobb, Biometrika 65 (1978) 243-251: the flow fell after 1898. Bai and Perron's 95 % interval,
/// as strucchange prints it, is 1895 to 1902 (from memory).
#[test]
fn the_years_of_the_nile_are_few_and_hold_1898_as_the_last() {
    let found = shifts(&series("nile"), 0.05).unwrap();
    let shift = &found.location.shifts[0];
    let (first, last) = (shift.years[0].0, shift.years[shift.years.len() - 1].1);
    assert!(first <= 1899 && 1899 <= last, "{:?}", shift.years);
    assert!(last - first <= 8, "{:?}", shift.years);
    assert_eq!(shift.year, 1899);
    // 1097.75 to 849.97 by the source's means.
    let (size, low, high) = (
        shift.size * found.spread,
        shift.low * found.spread,
        shift.high * found.spread,
    );
    assert!(low < -247.78 && -247.78 < high, "{low} to {high}");
    assert!((size + 247.78).abs() < 25.0, "{size}");
    assert!(shift.p < 1e-4);
}
