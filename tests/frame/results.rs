//! Results as data frames against what the program prints as CSV.

use std::path::Path;

use calibriar::catalogue::{Catalogue, Workshop};
use calibriar::cohort::{Choice, Cohort};
use calibriar::frame::{
    checks_frame, flags_frame, forms_frame, norms_frame, rates_frame, refits_frame, stock_frame,
    what_ifs_frame,
};
use calibriar::norm::{Borrowing, Evidence, Settings, norms};
use calibriar::notation::DrillSet;
use calibriar::rates::{Plan, rates};
use calibriar::refit::{Aim, Goal, Proposal, Refit, WhatIf, refit_against, what_if};
use calibriar::report::FORM_COLUMNS;
use calibriar::source::{Request, open};
use calibriar::table::{Content, Options, Table, read};
use calibriar::traced::{forms, ready};
use calibriar::verdict::{Check, check, flag};
use polars::prelude::{DataFrame, DataType};

/// Two patterns (invented); one piece has a bit that is too thick, one pattern few pieces, one of
/// them not measured.
const SHEET: &str = "\
specimen,maker,pattern,bit thickness (mm),bowl height (mm)
A,Harbour Row Works,apple,4.02,44.1
B,Harbour Row Works,apple,4.10,43.6
C,Harbour Row Works,apple,3.95,44.8
D,Harbour Row Works,apple,4.05,44.3
E,Harbour Row Works,apple,4.08,43.9
F,Harbour Row Works,apple,5.20,44.2
G,,prince,4.4 {worn},
H,,prince,4.1,38.2
I,,prince,,
";

fn table() -> Table {
    let read = read(
        "sheet.csv",
        SHEET.into(),
        &Options::default(),
        Catalogue::standard(),
    );
    match read {
        Ok(Content::Measurements(sheet)) if sheet.faults.is_empty() => sheet.table,
        other => panic!("expected measurements without a fault, got {other:?}"),
    }
}

/// What the program prints, row by row, the header first.
fn printed(arguments: &[&str]) -> Vec<Vec<String>> {
    let output = assert_cmd::cargo::cargo_bin_cmd!("calibriar")
        .args(arguments)
        .args(["--from", "-", "--format", "csv"])
        .write_stdin(SHEET)
        .output()
        .unwrap();
    rows_of(&output.stdout)
}

fn rows_of(csv: &[u8]) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .from_reader(csv);
    let rows = reader
        .records()
        .map(|row| row.unwrap().iter().map(str::to_owned).collect());
    rows.collect()
}

/// Same columns, same rows; numbers to the last bit, and nulls where the program prints nothing.
#[track_caller]
fn assert_same(frame: &DataFrame, printed: &[Vec<String>]) {
    let names: Vec<&str> = frame.columns().iter().map(|c| c.name().as_str()).collect();
    assert_eq!(names, printed[0]);
    assert_eq!(frame.height(), printed.len() - 1);
    assert!(frame.height() > 0);
    for (row, cells) in printed[1..].iter().enumerate() {
        for (column, cell) in frame.columns().iter().zip(cells) {
            let value = column.get(row).unwrap();
            let at = format!("{}, row {row}", column.name());
            if column.dtype() == &DataType::Boolean {
                assert_eq!(value.to_string(), *cell, "{at}");
                continue;
            }
            match value.extract::<f64>() {
                Some(number) => assert_eq!(Ok(number), cell.parse(), "{at}"),
                None => assert_eq!(value.get_str().unwrap_or(""), cell, "{at}"),
            }
        }
    }
}

#[test]
fn frames_hold_what_the_program_prints() {
    let table = table();
    let cohort = Cohort::new(&table, &Choice::default()).unwrap();
    let evidence = Evidence::gather(&cohort, &Borrowing::default());
    let settings = Settings::new(0.95, 0.95, 0.05).unwrap();

    let groups: Vec<usize> = (0..cohort.groups().len()).rev().collect();
    let of_groups = norms(&evidence, &groups, &settings).unwrap();
    let frame = norms_frame(&of_groups, &cohort, &settings).unwrap();
    assert_same(&frame, &printed(&["norms"]));

    let rows = 0..table.specimens.len();
    let checks: Vec<Check> = rows.map(|row| check(&evidence, row, &settings)).collect();
    let frame = checks_frame(&checks, &table.catalogue).unwrap();
    let names: Vec<&str> = table.specimens.names.iter().collect();
    assert_same(&frame, &printed(&[&["check"], names.as_slice()].concat()));

    let flags = flag(&evidence, &settings);
    assert_same(&flags_frame(&flags, &cohort).unwrap(), &printed(&["flag"]));

    let plan = Plan { worlds: 3, seed: 1 };
    let groups: Vec<usize> = cohort.find_groups(None, None);
    let found = rates(&evidence, &groups, &settings, plan, || ()).unwrap();
    let frame = rates_frame(&found, &cohort).unwrap();
    assert_same(&frame, &printed(&["rates", "--worlds", "3"]));
}

/// Plans, proposals and outlines of the invented bench.
#[test]
fn frames_of_plans_hold_what_the_program_prints() {
    let root = env!("CARGO_MANIFEST_DIR");
    let path = |name: &str| format!("{root}/data{name}");
    let traces = path("/bench/bench_traces.csv");
    let read = |from: &str, traces: Option<&str>| {
        let request = Request {
            from,
            traces_from: traces.map(Path::new),
            ..Request::default()
        };
        ready(open(&request).unwrap().table)
    };
    let good = read(&path(""), None);
    let bench = read(&path("/bench/bench.csv"), Some(&traces));
    let cohort = Cohort::new(&good, &Choice::default()).unwrap();
    let evidence = Evidence::gather(&cohort, &Borrowing::default());
    let settings = Settings::new(0.95, 0.95, 0.05).unwrap();
    let catalogue = &bench.catalogue;
    let workshop = Workshop::new(catalogue, None, None).unwrap();
    let aim = Aim::new(0.95, Goal::Near, DrillSet::All).unwrap();
    let plan = |row| refit_against(&evidence, &bench, row, &settings, &workshop, &aim).unwrap();
    let plans: Vec<Refit> = (0..bench.specimens.len()).map(plan).collect();
    let printed = |more: &[&str]| {
        let output = assert_cmd::cargo::cargo_bin_cmd!("calibriar")
            .args([
                "refit",
                "--from",
                &path(""),
                "--file",
                &path("/bench/bench.csv"),
            ])
            .args([
                "--traces",
                &traces,
                "--reading-error",
                "as-written",
                "--format",
                "csv",
            ])
            .args(more)
            .output()
            .unwrap();
        rows_of(&output.stdout)
    };
    assert_same(&refits_frame(&plans, catalogue).unwrap(), &printed(&[]));
    assert_same(&stock_frame(&plans).unwrap(), &printed(&["--outlines"]));
    let proposal = Proposal {
        dimension: catalogue.find("bit_thickness").unwrap(),
        value: 4.1,
        uncertainty: None,
        step: 0.1,
    };
    let judge = |row| what_if(&evidence, &bench, row, &settings, &workshop, &[proposal]).unwrap();
    let all: Vec<WhatIf> = (0..bench.specimens.len()).map(judge).collect();
    let frame = what_ifs_frame(&all, catalogue).unwrap();
    assert_same(&frame, &printed(&["--what-if", "bit_thickness=4.1mm"]));
}

/// What traces tell, with and without a value.
#[test]
fn a_frame_of_forms_has_the_columns_and_rows_of_what_they_tell() {
    let sheet = "specimen,feature,station,reading\nA,stem_top,0,9\nA,stem_top,10,8.1\n\
                 A,stem_top,20,7\nA,stem_top,30,6\nB,stem_top,5,1\n";
    let read = read(
        "t.csv",
        sheet.into(),
        &Options::default(),
        Catalogue::standard(),
    )
    .unwrap();
    let Content::Traces(sheet) = read else {
        panic!("these are traces")
    };
    let told = forms(&sheet.traces, 0.1);
    let frame = forms_frame(&sheet.traces, &told, &[]).unwrap();
    assert_eq!(frame.width(), FORM_COLUMNS.len());
    let names: Vec<&str> = frame
        .get_column_names()
        .into_iter()
        .map(|n| n.as_str())
        .collect();
    assert_eq!(names, FORM_COLUMNS);
    assert!(frame.height() > 5);
    let values = frame.column("value").unwrap();
    // The second trace tells nothing.
    assert_eq!(
        (values.dtype(), values.null_count()),
        (&DataType::Float64, 1)
    );
}

#[test]
fn empty_results_keep_their_columns_and_types() {
    let table = table();
    let cohort = Cohort::new(&table, &Choice::default()).unwrap();
    let frame = flags_frame(&[], &cohort).unwrap();
    assert_eq!((frame.height(), frame.width()), (0, 15));
    assert_eq!(frame.column("specimen").unwrap().dtype(), &DataType::String);
    assert_eq!(frame.column("p").unwrap().dtype(), &DataType::Float64);
    let frame = checks_frame(&[], &table.catalogue).unwrap();
    assert_eq!((frame.height(), frame.width()), (0, 27));
    assert_eq!(frame.column("n").unwrap().dtype(), &DataType::UInt64);
}
