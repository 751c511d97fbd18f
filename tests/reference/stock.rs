//! The line that takes least off, against the simplex method of HiGHS (`stock_linprog.py`).

use calibriar::form::Point;
use calibriar::form::stock::{Slopes, least_stock_of_cone};

#[test]
fn least_areas_are_those_of_linear_programs() {
    let text = include_str!("../data/stock_linprog.csv");
    let rows: Vec<Vec<&str>> = text
        .lines()
        .filter(|line| !line.starts_with(['#', 'c']))
        .map(|line| line.split(',').collect())
        .collect();
    let mut cases = 0;
    for case in rows.chunk_by(|a, b| a[0] == b[0]) {
        let number = |row: &[&str], at: usize| row[at].parse::<f64>().unwrap();
        let walls: Vec<Vec<Point>> = case
            .chunk_by(|a, b| a[3] == b[3])
            .map(|wall| {
                let point = |row: &Vec<&str>| Point {
                    x: number(row, 4),
                    y: number(row, 5),
                };
                wall.iter().map(point).collect()
            })
            .collect();
        let slopes = match case[0][1] {
            "" => Slopes::ANY,
            _ => Slopes {
                from: number(&case[0], 1),
                to: number(&case[0], 2),
            },
        };
        let found = least_stock_of_cone(&walls, slopes).unwrap();
        let area: f64 = found.iter().map(|stock| stock.area).sum();
        let expected = number(&case[0], 7);
        // The solver keeps its limits to 1e-10, times stations up to 60 and lengths as long.
        assert!(
            (area - expected).abs() <= 1e-9 * expected.abs().max(100.0),
            "case {}: {area} against {expected}",
            case[0][0]
        );
        assert!(slopes.from <= found[0].slope && found[0].slope <= slopes.to);
        cases += 1;
    }
    assert_eq!(cases, 60);
}
