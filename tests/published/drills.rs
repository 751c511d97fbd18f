//! Drill sizes as cells write them.

use calibriar::notation::{
    Context, DecimalMark, Drill, DrillSeries, DrillSet, Quantity, Unit, drill_for, drills,
    read_cell,
};

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

/// Every metric drill of the trade's table (`tests/data/metric_drills.csv`) that can be bought is
/// found by its size, and the others are not there. Written in a cell it is a plain size.
#[test]
fn every_metric_drill_that_is_sold() {
    let table = include_bytes!("../data/metric_drills.csv").as_slice();
    let (mut seen, mut left_out) = (0, 0);
    for record in csv::Reader::from_reader(table).into_records() {
        let record = record.unwrap();
        let mm: f64 = record[0].parse().unwrap();
        let Some(drill) = drill_for(DrillSet::Metric, mm, mm) else {
            assert_eq!(&record[4], "no", "{mm}");
            left_out += 1;
            continue;
        };
        assert_eq!(&record[4], "yes", "{mm}");
        assert_eq!((drill.mm(), drill.name()), (mm, format!("{mm} mm")));
        // Printed with ten digits.
        assert_rel(drill.inches, record[1].parse().unwrap(), 5e-10);
        let name = drill.name();
        let written = read_cell(&name, &MILLIMETRES).unwrap().unwrap();
        let decimals = drill.size.split_once('.').map_or(0, |(_, d)| d.len());
        assert_eq!((written.value, written.unit), (mm, Unit::Millimetre));
        assert_rel(written.step, 10f64.powi(-(decimals as i32)), 1e-15);
        seen += 1;
    }
    assert_eq!((seen, left_out), (137, 30));
}

/// The next drill up, by hand from the two printed tables.
#[test]
fn the_smallest_drill_that_serves() {
    let name = |set, least, most| drill_for(set, least, most).map(Drill::name);
    for (least, most, all, inch, metric) in [
        (3.9, 4.0, "3.9 mm", "#23", "3.9 mm"),
        (4.35, 4.45, "11/64 in", "11/64 in", "4.4 mm"),
        (6.5, 6.6, "6.5 mm", "letter F", "6.5 mm"),
        (6.52, 6.6, "letter F", "letter F", "6.6 mm"),
        (12.7, 12.8, "1/2 in", "1/2 in", "12.75 mm"),
    ] {
        assert_eq!(name(DrillSet::All, least, most).as_deref(), Some(all));
        assert_eq!(name(DrillSet::Inch, least, most).as_deref(), Some(inch));
        assert_eq!(name(DrillSet::Metric, least, most).as_deref(), Some(metric));
    }
    // #17 is 4.3942 mm, 11/64 in 4.3656, #18 4.3053.
    assert_eq!(name(DrillSet::Inch, 4.31, 4.36), None);
}

/// By its own name in a cell, every inch drill measures what it says.
#[test]
fn names_read_back() {
    for drill in drills() {
        assert_rel(millimetres(&drill.name()), drill.mm(), 1e-15);
    }
}
