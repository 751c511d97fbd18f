//! Data packages with Parquet files.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use assert_cmd::cargo::cargo_bin_cmd;
use polars::prelude::{DataType, ParquetReader, SerReader as _};
use serde_json::Value;

/// Runs the program in a folder; it must end well.
#[track_caller]
fn run(folder: &Path, arguments: &str) {
    cargo_bin_cmd!("calibriar")
        .current_dir(folder)
        .args(arguments.split_whitespace())
        .assert()
        .success();
}

/// Name and bytes of each file in a folder.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    fs::read_dir(folder)
        .unwrap()
        .map(|entry| {
            let entry = entry.unwrap();
            let name = entry.file_name().into_string().unwrap();
            (name, fs::read(entry.path()).unwrap())
        })
        .collect()
}

/// A collection (invented) with a withdrawal, a correction, circumstances, and texts that CSV has
/// to quote; exported as CSV to `csv` and with Parquet to `parquet`.
fn collection() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let wide = "specimen,pattern,made,note,bit thickness,bowl height (in)\n\
                \"A, 1\",apple,c. 1934,\"two\nlines, \"\"quoted\"\"\",4.10,1 3/4\n\
                B,apple,,ärger ½,4.0 +- 0.1 {worn},\n";
    let long = "specimen,dimension,value,unit,uncertainty,instrument,measured_by,measured_on\n\
                B,weight,1.5,oz,0.01,scale,N. N.,2024-05-01\n\
                B,cant angle,-2.5,deg,,,,\n\
                B,weight,42.0,g,,,,\n";
    fs::write(at.join("wide.csv"), wide).unwrap();
    fs::write(at.join("long.csv"), long).unwrap();
    fs::write(
        at.join("again.csv"),
        "specimen,bowl height\n\"A, 1\",44.4\n",
    )
    .unwrap();
    run(at, "add wide.csv long.csv --to c.db --by tester");
    run(at, "withdraw B weight --to c.db --why doubtful");
    run(at, "add again.csv --to c.db --correct --why remeasured");
    run(at, "export csv --from c.db");
    run(at, "export parquet --parquet --from c.db");
    folder
}

#[test]
fn an_export_with_parquet_comes_back_to_the_byte_equal_export() {
    let folder = collection();
    let at = folder.path();
    run(at, "add parquet --to copy.db");
    run(at, "export csv-again --from copy.db");
    run(at, "export parquet-again --parquet --from copy.db");
    assert_eq!(files(&at.join("csv")), files(&at.join("csv-again")));
    assert_eq!(files(&at.join("parquet")), files(&at.join("parquet-again")));
}

#[test]
fn a_package_with_parquet_describes_its_files() {
    let folder = collection();
    let package = folder.path().join("parquet");
    let files = files(&package);
    let descriptor: Value = serde_json::from_slice(&files["datapackage.json"]).unwrap();
    assert_eq!(descriptor["profile"], "data-package");
    let resources = descriptor["resources"].as_array().unwrap();
    assert_eq!(resources.len() + 1, files.len());
    for resource in resources {
        let name = resource["name"].as_str().unwrap();
        let path = resource["path"].as_str().unwrap();
        assert!(files.contains_key(path), "{path}");
        if !["specimens", "readings"].contains(&name) {
            assert_eq!(resource["format"], "csv");
            continue;
        }
        assert_eq!(resource["format"], "parquet");
        assert_eq!(resource["mediatype"], "application/vnd.apache.parquet");
        let bytes = std::io::Cursor::new(files[path].as_slice());
        let frame = ParquetReader::new(bytes).finish().unwrap();
        let fields = resource["schema"]["fields"].as_array().unwrap();
        assert_eq!(frame.width(), fields.len());
        for (column, field) in frame.columns().iter().zip(fields) {
            assert_eq!(field["name"], column.name().as_str());
            let expected = match field["type"].as_str().unwrap() {
                "integer" => DataType::Int64,
                "number" => DataType::Float64,
                _ => DataType::String,
            };
            assert_eq!(column.dtype(), &expected, "{}", column.name());
        }
    }
}

#[test]
fn a_package_with_parquet_is_a_source() {
    let folder = collection();
    let norms = |from: &str| {
        let output = cargo_bin_cmd!("calibriar")
            .current_dir(folder.path())
            .args(["norms", "--from", from, "--format", "csv"])
            .output()
            .unwrap();
        assert!(output.status.success());
        String::from_utf8(output.stdout).unwrap()
    };
    assert_eq!(norms("csv"), norms("parquet"));
    assert!(norms("parquet").lines().count() > 1);
}

#[test]
fn a_changed_parquet_file_is_refused() {
    let folder = collection();
    let at = folder.path();
    // Another valid file in its place: the digests tell.
    run(at, "add wide.csv --to other.db --by tester");
    run(at, "export other --parquet --from other.db");
    fs::copy(
        at.join("other/readings.parquet"),
        at.join("parquet/readings.parquet"),
    )
    .unwrap();
    cargo_bin_cmd!("calibriar")
        .current_dir(at)
        .args(["add", "parquet", "--to", "copy.db"])
        .assert()
        .code(2)
        .stderr(predicates::str::contains("does not fit the digest"));
}

#[test]
fn a_parquet_file_is_added_like_its_csv() {
    let folder = collection();
    let at = folder.path();
    // The readings of the export are a long table themselves.
    run(
        at,
        "add parquet/readings.parquet --skip text,written_in,number,file,withdrawn_in --to a.db",
    );
    run(
        at,
        "add csv/readings.csv --skip text,written_in,number,file,withdrawn_in --to b.db",
    );
    run(at, "export a --from a.db");
    run(at, "export b --from b.db");
    // The texts differ: a number has no memory of being written 42.0.
    let readings = |name: &str| {
        let mut reader = csv::Reader::from_path(at.join(name).join("readings.csv")).unwrap();
        let rows = reader.deserialize::<BTreeMap<String, String>>();
        let rows = rows.map(|row| {
            let mut row = row.unwrap();
            row.remove("text");
            row
        });
        rows.collect::<Vec<_>>()
    };
    assert_eq!(readings("a").len(), 7);
    assert_eq!(readings("a"), readings("b"));
}
