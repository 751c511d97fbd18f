//! `flag`: every out-of-norm reading, the same as `check` finds.

use super::Holds::{Number, One, Text, TextOrNull};
use super::{APPLES, Desk, PERIODS, assert_keys, demo_collection};

const HEADER: &str = "specimen,maker,pattern,period,dimension,unit,value,centre,typical_low,\
                      typical_high,score,p,p_adjusted,verdict";

fn desk() -> Desk {
    let desk = Desk::with("apples.csv", APPLES);
    desk.write("periods.csv", PERIODS);
    desk
}

#[test]
fn csv_has_exactly_these_columns() {
    let desk = desk();
    let answer = desk
        .run("flag --from apples.csv --periods-from periods.csv")
        .ends(1);
    let header = format!("{HEADER},look_first");
    assert_eq!(answer.out.lines().next(), Some(header.as_str()));
    let csv = answer.csv();
    assert_eq!(csv.rows.len(), 1);
    for (heading, cell) in [
        ("specimen", "A8"),
        ("maker", "Row Works"),
        ("pattern", "apple"),
        ("period", "Old Shop"),
        ("dimension", "bit_width"),
        ("unit", "mm"),
        ("value", "18.4"),
        ("verdict", "out_of_norm"),
    ] {
        assert_eq!(csv.cell(0, heading), cell);
    }
}

#[test]
fn json_has_every_key_with_its_type() {
    let desk = desk();
    let json = desk
        .run("flag --from apples.csv --format json")
        .ends(1)
        .json();
    for key in ["source", "revision", "sha256", "version"] {
        assert!(json["provenance"].get(key).is_some(), "{key}");
    }
    let flag = &json["flags"][0];
    for key in HEADER.split(',') {
        let holds = match key {
            "specimen" | "dimension" | "unit" => Text,
            "maker" | "pattern" | "period" => TextOrNull,
            "verdict" => One("out_of_norm"),
            _ => Number,
        };
        assert_keys(flag, &[(key, holds)]);
    }
    assert!(flag["look_first"].is_boolean());
    assert!(flag["period"].is_null(), "no period is known here");
    let csv = desk.run("flag --from apples.csv").ends(1).csv();
    assert_eq!(csv.cell(0, "period"), "");
}

#[test]
fn exit_statuses() {
    let desk = desk();
    desk.run("flag --from apples.csv").ends(1);
    desk.write("good.csv", APPLES.replace("18.40", "16.08"));
    let answer = desk.run("flag --from good.csv").done();
    assert_eq!(answer.out, format!("{HEADER},look_first\n"));
    let json = desk.run("flag --from good.csv --format json").done().json();
    assert_eq!(json["flags"], serde_json::json!([]));
    // Nothing that could be judged is nothing found.
    desk.write("one.csv", "specimen,pattern,bit width\nA,apple,16\n");
    desk.run("flag --from one.csv").done();
    desk.refuses("flag --from nowhere.csv");
    desk.refuses("flag A8 --from apples.csv");
}

/// What `check` calls out of norm over all pieces, and nothing else, to the last bit.
#[test]
fn the_same_as_check_finds() {
    let desk = Desk::new();
    let path = demo_collection();
    let flags = desk.run_words(&["flag", "--from", &path]).ends(1).csv();
    assert!(flags.rows.len() > 25);
    let names: Vec<String> = (1..=600).map(|i| format!("HR{i:04}")).collect();
    let mut words = vec!["check"];
    words.extend(names.iter().map(String::as_str));
    words.extend(["--from", &path]);
    let checks = desk.run_words(&words).ends(1).csv();
    let shared: Vec<&str> = HEADER.split(',').filter(|h| *h != "period").collect();
    let mut found: Vec<Vec<&str>> = (0..checks.rows.len())
        .filter(|&row| checks.cell(row, "verdict") == "out_of_norm")
        .map(|row| shared.iter().map(|h| checks.cell(row, h)).collect())
        .collect();
    let mut flagged: Vec<Vec<&str>> = (0..flags.rows.len())
        .map(|row| shared.iter().map(|h| flags.cell(row, h)).collect())
        .collect();
    found.sort();
    flagged.sort();
    assert_eq!(flagged, found);
}

/// The demo data were made with faults on purpose (`data/truth/planted.csv`); most must be found.
#[test]
fn planted_faults_of_the_demo_data_are_found() {
    let desk = Desk::new();
    let flags = desk
        .run_words(&["flag", "--from", &demo_collection()])
        .ends(1)
        .csv();
    let planted = std::fs::read_to_string(super::demo("truth/planted.csv")).unwrap();
    let planted = super::Csv::parse(&planted);
    let outliers: Vec<(&str, &str)> = (0..planted.rows.len())
        .map(|row| {
            (
                planted.cell(row, "specimen"),
                planted.cell(row, "dimension"),
            )
        })
        .collect();
    assert!(outliers.len() >= 25);
    let flagged = |specimen: &str| flags.column("specimen").contains(&specimen);
    let found = outliers
        .iter()
        .filter(|(specimen, _)| flagged(specimen))
        .count();
    assert!(
        10 * found >= 8 * outliers.len(),
        "{found} of {}",
        outliers.len()
    );
}

#[test]
fn whoever_stops_reading_is_no_error() {
    use std::io::Read as _;
    use std::process::{Command, Stdio};
    let path = demo_collection();
    let mut child = Command::new(env!("CARGO_BIN_EXE_calibriar"))
        .args(["norms", "--from", &path, "--format", "json"])
        // Else it would say what readings are worth.
        .args(["--reading-error", "as-written"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut first = [0u8; 1];
    let mut stdout = child.stdout.take().unwrap();
    stdout.read_exact(&mut first).unwrap();
    drop(stdout);
    let output = child.wait_with_output().unwrap();
    let err = String::from_utf8_lossy(&output.stderr);
    assert_eq!((output.status.code(), err.as_ref()), (Some(0), ""));
}
