//! Cones against SciPy (see `tests/data/SOURCES.md`, "cone").

use calibriar::form::Point;
use calibriar::form::cone::{Wall, cone};

use crate::common::{assert_rel_at, number, rows};

fn walls(case: &str) -> Vec<Wall> {
    let mut walls: Vec<Wall> = Vec::new();
    for row in rows(include_str!("../data/cone_walls.csv")).filter(|row| row[0] == case) {
        let azimuth = number(row[1]);
        if walls.last().is_none_or(|wall| wall.azimuth != azimuth) {
            let points = Vec::new();
            walls.push(Wall { azimuth, points });
        }
        let (x, y) = (number(row[2]), number(row[3]));
        walls.last_mut().unwrap().points.push(Point { x, y });
    }
    walls
}

/// SciPy's own iteration stops at about 1e-9, its numerical Jacobian is good to about 1e-6.
#[test]
fn noisy_walls_against_scipy() {
    let results: Vec<_> = rows(include_str!("../data/cone_results.csv")).collect();
    assert_eq!(results.len(), 5);
    for row in results {
        let got = cone(&walls(row[0])).unwrap();
        let errors = got.errors.unwrap();
        let values = [
            (got.axis.0, errors.axis.0),
            (got.axis.1, errors.axis.1),
            (got.slopes.0, errors.slopes.0),
            (got.slopes.1, errors.slopes.1),
            (got.radius, errors.radius),
            (got.half_angle, errors.half_angle),
        ];
        for (i, (value, error)) in values.into_iter().enumerate() {
            let want = number(row[1 + i]);
            let miss = (value - want).abs();
            assert!(miss < 1e-7, "{}, {i}: got {value}, want {want}", row[0]);
            assert_rel_at(row[0], error, number(row[8 + i]), 1e-5);
        }
        assert_rel_at(row[0], got.rss, number(row[7]), 1e-10);
        assert_eq!(got.plane.is_some(), row[0] == "two_opposite");
    }
}
