//! Real measured specimens, through the same rooms as pipes: penguins, crabs, Bronze Age cups.
//!
//! Truth: descriptions by R 4.2.2 (`*_summary.csv`), and for the bands an independent computation
//! here: textbook formulas on plain vectors, quantiles by statrs.

use std::collections::HashMap;

use calibriar::catalogue::{Catalogue, Period, Periods, Standing, YearRange};
use calibriar::cohort::{Choice, Cohort, Selection};
use calibriar::norm::{Borrowing, Evidence, Norm, Settings, norms};
use calibriar::table::{Content, Options, Table, read};
use statrs::distribution::{ContinuousCDF, StudentsT};

use crate::common::assert_rel;

fn data(name: &str) -> String {
    let path = format!(
        "{}/tests/data/real_tables/{name}.csv",
        env!("CARGO_MANIFEST_DIR")
    );
    std::fs::read_to_string(path).unwrap()
}

fn table(name: &str, columns: &[(&str, &str)], skip: &[&str]) -> Table {
    let options = Options {
        columns: columns
            .iter()
            .map(|(h, n)| ((*h).to_owned(), (*n).to_owned()))
            .collect(),
        skip: skip.iter().map(|&s| s.to_owned()).collect(),
        new_dimensions: true,
        ..Options::default()
    };
    let content = read(
        name,
        data(name).into_bytes(),
        &options,
        Catalogue::standard(),
    )
    .unwrap();
    let Content::Measurements(sheet) = content else {
        panic!("{name} holds measurements")
    };
    assert!(sheet.faults.is_empty(), "{:?}", sheet.faults);
    sheet.table
}

/// R's description of each cell and dimension: (cell, dimension) to column to number.
fn summary(name: &str) -> HashMap<(String, String), HashMap<String, f64>> {
    let text = data(&format!("{name}_summary"));
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let headings = reader.headers().unwrap().clone();
    reader
        .records()
        .map(|record| {
            let record = record.unwrap();
            let cells = headings.iter().zip(record.iter());
            let numbers = cells
                .filter_map(|(h, c)| Some((h.to_owned(), c.parse().ok()?)))
                .collect();
            ((record[0].to_owned(), record[1].to_owned()), numbers)
        })
        .collect()
}

/// The raw values of a cell, straight from the file.
fn raw_values(name: &str, keep: impl Fn(&HashMap<&str, &str>) -> bool, column: &str) -> Vec<f64> {
    let text = data(name);
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let headings = reader.headers().unwrap().clone();
    let records: Vec<csv::StringRecord> = reader.records().map(|r| r.unwrap()).collect();
    records
        .iter()
        .filter_map(|record| {
            let row: HashMap<&str, &str> = headings.iter().zip(record.iter()).collect();
            if keep(&row) {
                row[column].parse().ok()
            } else {
                None
            }
        })
        .collect()
}

#[track_caller]
fn agrees_with_r(norm: &Norm, want: &HashMap<String, f64>) {
    // R prints 15 digits.
    let tolerance = 1e-13;
    let d = norm.described;
    assert_eq!(norm.basis.kept.len() as f64, want["n"]);
    assert_rel(d.mean, want["mean"], tolerance);
    assert_rel(d.sd.unwrap(), want["sd"], tolerance);
    assert_rel(d.median, want["median"], tolerance);
    assert_rel(1.4826 * d.mad, want["mad_1.4826"], tolerance);
    assert_rel(d.min, want["min"], tolerance);
    assert_rel(d.max, want["max"], tolerance);
}

/// The prediction band by the textbook, on logarithms.
#[track_caller]
fn agrees_with_textbook(norm: &Norm, values: &[f64]) {
    let n = values.len() as f64;
    let logs: Vec<f64> = values.iter().map(|v| v.ln()).collect();
    let mean = logs.iter().sum::<f64>() / n;
    let variance = logs.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (n - 1.0);
    // statrs' own accuracy at everyday points: 1e-11 (its figures in tests/reference/statrs.rs).
    let t = StudentsT::new(0.0, 1.0, n - 1.0)
        .unwrap()
        .inverse_cdf(0.975);
    let half = t * (variance * (1.0 + 1.0 / n)).sqrt();
    let firm = norm.firm.unwrap();
    assert_rel(norm.centre, mean.exp(), 1e-12);
    assert_rel(firm.spread, variance.sqrt(), 1e-11);
    assert_rel(firm.typical.low, (mean - half).exp(), 1e-9);
    assert_rel(firm.typical.high, (mean + half).exp(), 1e-9);
    let half_centre = t * (variance / n).sqrt();
    assert_rel(firm.centre.low, (mean - half_centre).exp(), 1e-9);
    assert_rel(firm.centre.high, (mean + half_centre).exp(), 1e-9);
}

/// The norms of all patterns, each by itself.
fn all_norms<'t>(table: &'t Table, choice: &Choice) -> (Cohort<'t>, Vec<Norm>) {
    let cohort = Cohort::new(table, choice).unwrap();
    let alone = Borrowing {
        nothing: true,
        ..Borrowing::default()
    };
    let evidence = Evidence::gather(&cohort, &alone);
    let groups: Vec<usize> = (0..cohort.groups().len()).collect();
    let found = norms(
        &evidence,
        &groups,
        &Settings::new(0.95, 0.95, 0.05).unwrap(),
    )
    .unwrap();
    drop(evidence);
    (cohort, found)
}

/// Source: Palmer Station penguins (Horst, Hill & Gorman, CC0).
#[test]
fn penguins_by_species_and_year() {
    let columns = [("group", "pattern"), ("year", "made")];
    let mut table = table("penguins", &columns, &["island", "sex"]);
    let mut periods = Periods::default();
    for year in 2007..=2009 {
        let name = format!("season {year}");
        let years = YearRange {
            from: year,
            to: year,
        };
        let (maker, note) = (None, String::new());
        periods
            .add(Period {
                maker,
                name,
                years,
                standing: Standing::Good,
                note,
            })
            .unwrap();
    }
    table.periods = periods;
    let summary = summary("penguins");
    let mut compared = 0;
    for year in ["2007", "2008", "2009"] {
        let periods = Selection::Named(vec![format!("Season {year}")]);
        let (cohort, found) = all_norms(
            &table,
            &Choice {
                periods,
                unknown_state: false,
            },
        );
        for norm in &found {
            let pattern = &cohort.groups()[norm.group].pattern;
            let label = &table.catalogue.at(norm.dimension).label;
            let unit = if label == "body_mass" { "g" } else { "mm" };
            let column = format!("{label}_{unit}");
            agrees_with_r(
                norm,
                &summary[&(format!("{pattern}|{year}"), column.clone())],
            );
            let keep = |row: &HashMap<&str, &str>| row["group"] == pattern && row["year"] == year;
            agrees_with_textbook(norm, &raw_values("penguins", keep, &column));
            compared += 1;
        }
    }
    assert_eq!(compared, 3 * 3 * 4);
}

/// Source: Campbell & Mahon (1974), Leptograpsus variegatus.
#[test]
fn crabs_by_form_and_sex() {
    let table = table(
        "crabs",
        &[("group", "pattern")],
        &["species", "sex", "index"],
    );
    let summary = summary("crabs");
    let (cohort, found) = all_norms(&table, &Choice::default());
    assert!(cohort.takes_everything());
    assert_eq!(found.len(), 4 * 5);
    for norm in &found {
        let pattern = &cohort.groups()[norm.group].pattern;
        let column = format!("{}_mm", table.catalogue.at(norm.dimension).label);
        agrees_with_r(norm, &summary[&(pattern.clone(), column.clone())]);
        let values = raw_values("crabs", |row| row["group"] == pattern, &column);
        agrees_with_textbook(norm, &values);
    }
}

/// Source: Lukesh & Howe (1978) by Baxter (1994), cups of two phases.
#[test]
fn cups_of_one_phase() {
    // A cup is no pipe: names that only this table knows.
    let columns = [
        ("group", "pattern"),
        ("rim_diameter", "cup_rim"),
        ("height", "cup_height"),
    ];
    let table = table("bronze_age_cups", &columns, &[]);
    let summary = summary("bronze_age_cups");
    for phase in ["Protoapennine", "Subapennine"] {
        let periods = Selection::Named(vec![phase.to_owned()]);
        let (_, found) = all_norms(
            &table,
            &Choice {
                periods,
                unknown_state: false,
            },
        );
        assert_eq!(found.len(), 5);
        for norm in &found {
            let column = match table.catalogue.at(norm.dimension).label.as_str() {
                "cup_rim" => "rim_diameter",
                "cup_height" => "height",
                other => other,
            };
            agrees_with_r(norm, &summary[&(phase.to_owned(), column.to_owned())]);
            let values = raw_values("bronze_age_cups", |row| row["period"] == phase, column);
            agrees_with_textbook(norm, &values);
        }
    }
}
