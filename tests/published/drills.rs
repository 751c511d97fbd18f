//! Drill sizes as cells write them.

use calibriar::notation::{Context, DecimalMark, DrillSeries, Quantity, Unit, drills, read_cell};

use crate::common::assert_rel;

const MILLIMETRES: Context = Context {
    quantity: Quantity::Length,
    unit: Unit::Millimetre,
    mark: DecimalMark::Point,
};

fn millimetres(text: &str) -> f64 {
    read_cell(text, &MILLIMETRES).unwrap().unwrap().value
}

/// Source: sizes of ASME B94.11M as widely reprinted in decimal-equivalent charts, inches.
#[test]
fn well_known_sizes() {
    for (text, inches) in [
        ("#80", 0.0135),
        ("#60", 0.040),
        ("#40", 0.098),
        ("no. 29", 0.136),
        ("#22", 0.157),
        ("#7", 0.201),
        ("#1", 0.228),
        ("letter A", 0.234),
        ("letter E", 0.250),
        ("letter f", 0.257),
        ("letter Z", 0.413),
        ("11/64", 0.171875),
    ] {
        assert_rel(millimetres(text), inches * 25.4, 1e-15);
    }
}

/// Every drill of the table, by the name a person would write, in the millimetres that the table
/// of the trade prints (`tests/data/twist_drills.csv`).
#[test]
fn every_drill_by_its_name() {
    let table = include_str!("../data/twist_drills.csv");
    let mut seen = 0;
    for row in crate::common::rows(table) {
        let text = match row[0] {
            "number" => format!("#{}", row[1]),
            "letter" => format!("letter {}", row[1]),
            _ => row[1].to_owned(),
        };
        assert_rel(millimetres(&text), row[3].parse().unwrap(), 1e-12);
        seen += 1;
    }
    assert_eq!(seen, 80 + 26 + 32);
    // A fraction is its own definition.
    for drill in drills()
        .iter()
        .filter(|d| d.series == DrillSeries::Fraction)
    {
        let (above, below) = drill.size.split_once('/').unwrap();
        let exact = above.parse::<f64>().unwrap() / below.parse::<f64>().unwrap();
        assert_rel(drill.inches, exact, 1e-15);
    }
}
