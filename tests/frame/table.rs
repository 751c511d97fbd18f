//! Data frames and Parquet files as tables.

use std::fs::File;
use std::path::{Path, PathBuf};

use calibriar::catalogue::Catalogue;
use calibriar::cohort::{Choice, Cohort};
use calibriar::frame::{FrameError, read_parquet, table_from_frame};
use calibriar::norm::{Borrowing, Evidence, Settings, norms};
use calibriar::table::{Content, Options, Table, Uncertainty, read};
use calibriar::verdict::flag;
use polars::df;
use polars::prelude::{DataFrame, NamedFrom as _, ParquetWriter, Series};

/// Two patterns of invented pieces, one of them with a bit that is too thick; sizes to 0.01 mm.
fn pieces() -> DataFrame {
    let rows = 40;
    let wobble = |row: usize, k: usize| f64::from(((row * k) % 17) as u32) - 8.0;
    let hundredths = |size: f64| (size * 100.0).round() / 100.0;
    let bits = (0..rows).map(|row| match row {
        7 => Some(4.93),
        11 => None,
        _ => Some(hundredths(4.05 + 0.01 * wobble(row, 5))),
    });
    let bowls = (0..rows).map(|row| hundredths(44.1 + 0.07 * wobble(row, 7)));
    let weights = (0..rows).map(|row| match row {
        3 => f64::NAN,
        _ => hundredths(1.45 + 0.01 * wobble(row, 3)),
    });
    df![
        "specimen" => (0..rows).map(|row| format!("P{row}")).collect::<Vec<_>>(),
        "pattern" => (0..rows).map(|row| ["apple", "prince"][row % 2]).collect::<Vec<_>>(),
        "made" => (0..rows).map(|row| 1921 + row as i64 % 18).collect::<Vec<_>>(),
        "bit thickness" => bits.collect::<Vec<_>>(),
        "Bowl-Height (mm)" => bowls.collect::<Vec<_>>(),
        "weight (oz)" => weights.collect::<Vec<_>>(),
        "bit width" => (0..rows).map(|row| ["11/16", "17.5"][row % 2]).collect::<Vec<_>>(),
    ]
    .unwrap()
}

/// The CSV file that a frame would be written to.
fn csv(frame: &DataFrame) -> String {
    let names: Vec<String> = frame
        .columns()
        .iter()
        .map(|c| c.name().to_string())
        .collect();
    let mut text = names.join(",") + "\n";
    for row in 0..frame.height() {
        let cells = frame.columns().iter().map(|column| {
            let value = column.get(row).unwrap();
            match (value.get_str(), value.extract::<f64>()) {
                (Some(text), _) => text.to_owned(),
                (None, Some(number)) if !number.is_nan() => number.to_string(),
                _ => String::new(),
            }
        });
        text += &(cells.collect::<Vec<_>>().join(",") + "\n");
    }
    text
}

fn parquet(frame: &mut DataFrame, folder: &Path) -> PathBuf {
    // The name says nothing: the file is told by its first bytes.
    let path = folder.join("pieces.dat");
    ParquetWriter::new(File::create(&path).unwrap())
        .finish(frame)
        .unwrap();
    path
}

fn from_csv(text: String) -> Table {
    let read = read(
        "pieces.csv",
        text.into(),
        &Options::default(),
        Catalogue::standard(),
    );
    match read {
        Ok(Content::Measurements(sheet)) if sheet.faults.is_empty() => sheet.table,
        other => panic!("expected measurements without a fault, got {other:?}"),
    }
}

fn from_frame(frame: &DataFrame) -> Result<Table, FrameError> {
    table_from_frame(frame, &Options::default(), Catalogue::standard())
}

#[track_caller]
fn faults(frame: &DataFrame) -> Vec<String> {
    match from_frame(frame) {
        Err(FrameError::Faults { faults, .. }) => faults.iter().map(ToString::to_string).collect(),
        other => panic!("expected faults, got {other:?}"),
    }
}

/// Everything that a table holds, as one text, for NaN does not equal NaN.
fn content(table: &Table) -> String {
    let of = &table.specimens;
    let rows = (0..of.len()).map(|row| {
        let words = [of.names.get(row), of.makers.get(row), of.patterns.get(row)];
        format!("{words:?} {:?}\n", of.made[row])
    });
    rows.collect::<String>() + &format!("{:?}", table.columns)
}

#[test]
fn a_frame_its_csv_and_its_parquet_give_the_same_flags_and_norms() {
    let folder = tempfile::tempdir().unwrap();
    let mut frame = pieces();
    let path = parquet(&mut frame, folder.path());
    let settings = Settings::new(0.95, 0.95, 0.05).unwrap();
    let tables = [
        from_csv(csv(&frame)),
        from_frame(&frame).unwrap(),
        read_parquet(&path, &Options::default(), Catalogue::standard()).unwrap(),
    ];
    let results = tables.each_ref().map(|table| {
        let cohort = Cohort::new(table, &Choice::default()).unwrap();
        let groups: Vec<usize> = (0..cohort.groups().len()).collect();
        let evidence = Evidence::gather(&cohort, &Borrowing::default());
        (
            flag(&evidence, &settings),
            norms(&evidence, &groups, &settings).unwrap(),
        )
    });
    let (flags, of_csv) = &results[0];
    assert!(flags.iter().any(|flag| flag.row == 7), "{flags:?}");
    assert_eq!(of_csv.len(), 8);
    assert_eq!(results[0], results[1]);
    assert_eq!(results[0], results[2]);
    assert_eq!(content(&tables[0]), content(&tables[2]));
}

#[cfg(feature = "store")]
#[test]
fn a_source_is_parquet_by_its_bytes() {
    use calibriar::source::{Request, open};
    let folder = tempfile::tempdir().unwrap();
    let mut frame = pieces();
    let path = parquet(&mut frame, folder.path()).display().to_string();
    let source = open(&Request {
        from: &path,
        digest: true,
        ..Request::default()
    })
    .unwrap();
    assert_eq!(content(&source.table), content(&from_csv(csv(&frame))));
    let bytes = std::fs::read(&path).unwrap();
    let sha256 = calibriar::collection::sha256_hex(&bytes);
    assert_eq!(source.provenance.sha256, Some(sha256));
}

#[test]
fn nulls_and_nan_are_not_measured() {
    let frame = df![
        "specimen" => ["a", "b", "c"],
        "bit thickness" => [Some(4.1), None, Some(f64::NAN)],
        "bowl height" => [Some("44.1"), None, Some("n/a")],
        "overall length" => [None, Some(140), Some(141)],
    ]
    .unwrap();
    let table = from_frame(&frame).unwrap();
    let measured = table
        .columns
        .iter()
        .map(|c| (0..3).map(|row| c.value(row)).collect());
    assert_eq!(
        measured.collect::<Vec<Vec<_>>>(),
        [
            vec![Some(4.1), None, None],
            vec![Some(44.1), None, None],
            vec![None, Some(140.0), Some(141.0)],
        ]
    );
}

#[test]
fn every_faulty_cell_is_told_with_its_row_and_column() {
    let frame = df![
        "specimen" => ["a", "b", "c", "d", "a"],
        "bit thickness (mm)" => [4.1, 0.0, -1.5, f64::INFINITY, 4.2],
        "bowl height" => ["44.1", "tall", "44.2 {polished}", "44", "44"],
        "made" => ["1934", "c. 1934", "once", "1931-38", "1934"],
    ]
    .unwrap();
    let expected = [
        "data frame, row 3, column 2 (bit thickness (mm)): `0`: expected a size greater than 0",
        "data frame, row 3, column 3 (bowl height): `tall`: not a number",
        "data frame, row 4, column 2 (bit thickness (mm)): `-1.5`: expected a size greater than 0",
        "data frame, row 4, column 3 (bowl height): `44.2 {polished}`: not a state",
        "data frame, row 4, column 4 (made): `once`: not a date of making",
        "data frame, row 5, column 2 (bit thickness (mm)): `inf`: not a finite number",
        "data frame, row 6, column 1 (specimen): `a`: the specimen stands in row 2 already",
    ];
    let found = faults(&frame);
    assert_eq!(found.len(), expected.len(), "{found:#?}");
    for (found, expected) in found.iter().zip(expected) {
        assert!(found.starts_with(expected), "{found}, not {expected}");
    }
}

#[test]
fn an_interval_may_be_zero_or_less() {
    let frame = df!["specimen" => ["a", "b"], "cant angle" => [0.0, -2.5]].unwrap();
    let table = from_frame(&frame).unwrap();
    assert_eq!(table.columns[0].values, [0.0, -2.5]);
}

#[test]
fn the_step_of_a_numeric_column_is_the_finest_that_its_values_need() {
    let steps = |bits: [f64; 3]| {
        let frame = df!["specimen" => ["a", "b", "c"], "bit thickness" => bits].unwrap();
        from_frame(&frame).unwrap().columns[0].uncertainty.clone()
    };
    assert_eq!(steps([4.1, 4.25, 4.0]), Uncertainty::Step(0.01));
    assert_eq!(steps([4.0, 5.0, f64::NAN]), Uncertainty::Step(1.0));
    // Binary noise is no step of a gauge; a third of a millimetre stops at a millionth.
    assert_eq!(steps([4.1, 4.1 + 0.1 + 0.1, 4.0]), Uncertainty::Step(0.1));
    assert_eq!(steps([4.0, 13.0 / 3.0, 4.5]), Uncertainty::Step(1e-6));
    // In the unit of the heading: a thousandth of an inch.
    let inches = df!["specimen" => ["a"], "bit thickness (in)" => [0.181]].unwrap();
    let column = &from_frame(&inches).unwrap().columns[0];
    assert_eq!(column.uncertainty, Uncertainty::Step(0.001 * 25.4));
    assert_eq!(column.values, [0.181 * 25.4]);
}

#[test]
fn a_single_precision_number_is_the_decimal_that_it_stands_for() {
    let frame = df!["specimen" => ["a"], "bit thickness" => [4.6f32]].unwrap();
    assert_eq!(from_frame(&frame).unwrap().columns[0].values, [4.6]);
}

#[test]
fn names_and_years_may_be_numbers() {
    let frame = df![
        "specimen" => [9_007_199_254_740_993i64, 9_007_199_254_740_992],
        "made" => [Some(1934), None],
        "bit thickness" => [4.1, 4.2],
    ]
    .unwrap();
    let table = from_frame(&frame).unwrap();
    assert_eq!(table.specimens.names.get(0), "9007199254740993");
    let years = table.specimens.made[0].unwrap();
    assert_eq!(
        (years.from, years.to, table.specimens.made[1]),
        (1934, 1934, None)
    );
}

#[test]
fn a_long_frame_is_read_as_its_csv() {
    let frame = df![
        "specimen" => ["a", "a", "b"],
        "pattern" => [Some("apple"), None, Some("apple")],
        "dimension" => ["bit thickness", "weight", "bit thickness"],
        "value" => [4.1, 1.5, 4.25],
        "unit" => ["mm", "oz", "mm"],
    ]
    .unwrap();
    let table = from_frame(&frame).unwrap();
    assert_eq!(content(&table), content(&from_csv(csv(&frame))));
    assert_eq!(table.count_readings(), 3);
}

#[test]
fn a_column_of_another_type_is_refused_unless_it_is_skipped() {
    let lists = Series::new("spots".into(), [Series::new("".into(), [1.0, 2.0])]);
    let mut frame = df!["specimen" => ["a"], "bit thickness" => [4.1]].unwrap();
    frame.insert_column(1, lists.into()).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let path = parquet(&mut frame, folder.path());
    let skip = Options {
        skip: vec!["Spots".to_owned()],
        ..Options::default()
    };
    let read = |options: &Options| {
        [
            table_from_frame(&frame, options, Catalogue::standard()),
            read_parquet(&path, options, Catalogue::standard()),
        ]
    };
    for refused in read(&Options::default()) {
        let message = refused.unwrap_err().to_string();
        assert!(message.contains("column `spots` holds"), "{message}");
    }
    for table in read(&skip) {
        assert_eq!(table.unwrap().columns[0].values, [4.1]);
    }
}

#[test]
fn a_frame_without_names_or_with_unknown_columns_is_no_table() {
    let nameless = df!["pattern" => ["apple"], "bit thickness" => [4.1]].unwrap();
    let message = from_frame(&nameless).unwrap_err().to_string();
    assert!(
        message.starts_with("data frame, row 1: no column `specimen`"),
        "{message}"
    );
    let unknown = df!["specimen" => ["a"], "colour of box" => [4.1]].unwrap();
    let message = from_frame(&unknown).unwrap_err().to_string();
    assert_eq!(message, "data frame: 1 column of the header cannot be used");
    let empty = df!["specimen" => [""; 0], "bit thickness" => [0.0; 0]].unwrap();
    let message = from_frame(&empty).unwrap_err().to_string();
    assert_eq!(message, "data frame has a header but no rows below it");
}

/// polars panics on some damaged files; here that must come out as an error.
#[test]
fn a_damaged_file_is_an_error_or_a_table_but_never_a_panic() {
    let folder = tempfile::tempdir().unwrap();
    let path = parquet(&mut pieces(), folder.path());
    let whole = std::fs::read(&path).unwrap();
    let footer = u32::from_le_bytes(whole[whole.len() - 8..][..4].try_into().unwrap()) as usize;
    let mut refused = 0;
    for at in whole.len() - 8 - footer..whole.len() {
        let mut bytes = whole.clone();
        bytes[at] ^= 0x15;
        std::fs::write(&path, bytes).unwrap();
        let read = read_parquet(&path, &Options::default(), Catalogue::standard());
        refused += usize::from(matches!(
            read,
            Err(FrameError::Parquet { verb: "read", .. })
        ));
    }
    assert!(refused > 100, "{refused} of {footer}");
}
