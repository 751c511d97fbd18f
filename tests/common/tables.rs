//! Small tables made in tests.

use calibriar::catalogue::Catalogue;
use calibriar::table::{Content, Options, Sheet, Table, read};

/// A sheet of measurements from CSV text; unknown columns are plain dimensions.
#[track_caller]
pub(crate) fn sheet(csv: &str) -> Sheet {
    let options = Options {
        new_dimensions: true,
        details: true,
        ..Options::default()
    };
    match read(
        "test.csv",
        csv.as_bytes().to_vec(),
        &options,
        Catalogue::standard(),
    ) {
        Ok(Content::Measurements(sheet)) => *sheet,
        other => panic!("expected measurements, got {other:?}"),
    }
}

/// The table of a sheet without faults.
#[track_caller]
pub(crate) fn table(csv: &str) -> Table {
    let sheet = sheet(csv);
    assert!(sheet.faults.is_empty(), "{:?}", sheet.faults);
    sheet.table
}
