//! Without the feature `frame`: Parquet is refused in words, and nothing is written.

use std::fs;

use assert_cmd::cargo::cargo_bin_cmd;
use predicates::str::contains;

#[test]
fn a_parquet_file_is_refused_in_words() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("pieces.csv");
    fs::write(&path, b"PAR1 and what follows").unwrap();
    for command in ["norms", "flag"] {
        cargo_bin_cmd!("calibriar")
            .args([command, "--from"])
            .arg(&path)
            .assert()
            .code(2)
            .stderr(contains(
                "reading Parquet needs calibriar built with --features frame",
            ));
    }
}

#[test]
fn an_export_with_parquet_is_refused_in_words_and_writes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::write(at.join("sheet.csv"), "specimen,bit thickness\nA,4.1\n").unwrap();
    let run = |arguments: &str| {
        cargo_bin_cmd!("calibriar")
            .current_dir(at)
            .args(arguments.split_whitespace())
            .assert()
    };
    run("add sheet.csv --to c.db").success();
    let before = fs::read_dir(at).unwrap().count();
    run("export package --parquet --from c.db")
        .code(2)
        .stderr(contains(
            "writing Parquet needs calibriar built with --features frame",
        ));
    assert_eq!(fs::read_dir(at).unwrap().count(), before);

    // A package that has Parquet files is not read either.
    run("export package --from c.db").success();
    fs::rename(
        at.join("package/readings.csv"),
        at.join("package/readings.parquet"),
    )
    .unwrap();
    run("norms --from package").code(2).stderr(contains(
        "reading Parquet needs calibriar built with --features frame",
    ));
}
