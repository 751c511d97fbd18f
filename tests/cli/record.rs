//! Works that are recorded: what is refused, what they leave alone, and that nobody changes them
//! unseen.

use std::collections::HashMap;
use std::process::Command;

use rusqlite::Connection;
use serde_json::Value;

use super::{APPLES, Answer, Csv, Desk, PERIODS, demo_collection, passed_over};

fn desk() -> Desk {
    let desk = Desk::with("apples.csv", APPLES);
    desk.write("periods.csv", PERIODS);
    desk.run("add apples.csv periods.csv --to c.db --by Maria")
        .done();
    desk
}

/// A desk with a record of two works on A8.
fn recorded() -> Desk {
    let desk = desk();
    desk.write("before.png", "not looked at, only its bytes count");
    desk.write("after.png", "others");
    let words = [
        "record",
        "A8",
        "--set",
        "bit width=16.30",
        "--set",
        "cant_angle=2.5 deg",
        "--tool",
        "file, felt",
        "--why",
        "too wide for its slot",
        "--by",
        "Jo",
        "--on",
        "2024-05-01",
        "--picture",
        "before.png",
        "--picture",
        "after.png",
        "--to",
        "c.db",
    ];
    let said = desk.run_words(&words).done().out;
    for word in [
        "revision 2",
        "2 works on A8",
        "bit width: 18.40 (factory) -> 16.30 (reworked)",
    ] {
        assert!(said.contains(word), "no {word} in {said}");
    }
    desk
}

/// The rows of `history A8` that tell of works.
fn worked(csv: &Csv) -> Vec<HashMap<String, String>> {
    let row = |row: usize| {
        let cells = csv
            .header
            .iter()
            .map(|h| (h.clone(), csv.cell(row, h).to_owned()));
        cells.collect::<HashMap<String, String>>()
    };
    (0..csv.rows.len())
        .filter(|&r| csv.cell(r, "what") == "worked")
        .map(row)
        .collect()
}

/// The numbers without the revision that they come from.
fn norms(desk: &Desk) -> Value {
    let mut json = desk.run("norms --from c.db --format json").done().json();
    json["norms"].take()
}

#[test]
fn a_work_is_told_with_all_that_was_said_of_it() {
    let desk = recorded();
    let works = worked(&desk.run("history A8 --from c.db").done().csv());
    assert_eq!(works.len(), 2);
    for (column, says) in [
        ("revision", "2"),
        ("made_by", "Jo"),
        ("dimension", "bit_width"),
        ("as_found", "18.40"),
        ("text", "16.30"),
        ("value", "16.3"),
        ("state", "reworked"),
        ("tool", "file, felt"),
        ("done_by", "Jo"),
        ("done_on", "2024-05-01"),
        ("why", "too wide for its slot"),
        ("pictures", "before.png; after.png"),
        ("file", "--set"),
    ] {
        assert_eq!(works[0][column], says, "{column}");
    }
    let revisions = desk.run("history --from c.db").done().csv();
    assert_eq!(revisions.column("action"), ["add", "record"]);
    assert_eq!(revisions.column("works"), ["0", "2"]);
    assert_eq!(revisions.column("readings"), ["16", "2"]);
    let json = desk
        .run("history A8 --from c.db --format json")
        .done()
        .json();
    let of = super::entry(&json["history"], "what", "worked");
    assert_eq!(of["pictures"][1], "after.png");
    // The very same again is nothing new.
    let before = desk.everything();
    let words = [
        "record",
        "A8",
        "--set",
        "bit width=16.30",
        "--set",
        "cant_angle=2.5 deg",
        "--tool",
        "file, felt",
        "--why",
        "too wide for its slot",
        "--by",
        "Jo",
        "--on",
        "2024-05-01",
        "--picture",
        "before.png",
        "--picture",
        "after.png",
        "--to",
        "c.db",
    ];
    let out = desk.run_words(&words).done().out;
    assert!(out.contains("already (revision 2)"), "{out}");
    assert_eq!(desk.changes_since(&before), "");
}

#[test]
fn what_was_left_has_no_voice_and_what_was_found_keeps_its_own() {
    let desk = desk();
    let before = norms(&desk);
    let verdict = |line: &str| {
        let csv = desk.run(line).csv();
        let row = csv
            .column("dimension")
            .iter()
            .position(|d| *d == "bit_width");
        let row = row.unwrap();
        ["value", "state", "verdict", "n"].map(|h| csv.cell(row, h).to_owned())
    };
    let found = verdict("check A8 --from c.db");
    assert_eq!(found, ["18.4", "factory", "out_of_norm", "7"]);
    for (size, day) in [("17.0", "2024-05-01"), ("16.3", "2024-05-02")] {
        desk.run(&format!(
            "record A8 --set bit_width={size} --on {day} --to c.db"
        ))
        .done();
        assert_eq!(norms(&desk), before, "{size}");
        assert_eq!(verdict("check A8 --from c.db"), found, "{size}");
    }
    // The piece as it stands: its last state, by the same norm.
    let left = verdict("check A8 --as-left --from c.db");
    assert_eq!(left, ["16.3", "reworked", "typical", "7"]);
    let untouched = desk.run("check A1 --as-left --from c.db").done().out;
    assert_eq!(untouched, desk.run("check A1 --from c.db").done().out);
    // A plan starts from the one or from the other.
    let off = |more: &str| {
        let json = desk
            .run(&format!("refit A8 {more} --from c.db --format json"))
            .json();
        let plan = &json["plans"][0];
        let count = |list: &str| plan[list].as_array().unwrap().len();
        count("steps") + count("left_alone")
    };
    assert_eq!((off("--as-found"), off("")), (1, 0));
    // A work on a reference leaves its factory reading where it is.
    desk.run("record A1 --set bit_width=15.0 --on 2024-05-01 --to c.db")
        .done();
    assert_eq!(norms(&desk), before);
    // Nor is it a repeat, a slip, or a piece that moved a norm.
    let since = desk
        .run("norms --since 1 --from c.db --format json")
        .done()
        .json();
    let moved = since["moved"].as_array().unwrap();
    let still = |m: &Value| m["because"].as_array().is_none_or(Vec::is_empty);
    assert!(moved.iter().all(still), "{since}");
    // The package answers the same.
    desk.run("export p --from c.db").done();
    assert_eq!(verdict("check A8 --as-left --from p"), left);
    // A table records no works.
    let said = desk.refuses("check A8 --as-left --from apples.csv");
    assert!(said.contains("apples.csv is no collection"), "{said}");
}

/// What was done is recorded, but a wall that cannot be so thin is pointed at.
#[test]
fn less_than_must_remain_is_pointed_at() {
    let desk = Desk::new();
    desk.write(
        "x.csv",
        "specimen,bowl_height_mm,chamber_depth_mm\nX,45.0,38.0\n",
    );
    desk.run("add x.csv --to c.db").done();
    let fine = desk.run("record X --set chamber_depth=38.5 --on 2024-05-01 --to c.db");
    assert!(!fine.err.contains("wood under the chamber"), "{}", fine.err);
    let thin = desk.run("record X --set chamber_depth=43 --on 2024-05-02 --to c.db");
    assert_eq!(thin.status, 0);
    let said = "X: wood under the chamber: 2.00 mm now, at least 5 mm should be";
    assert!(thin.err.contains(said), "{}", thin.err);
}

#[test]
fn works_from_a_file() {
    let desk = desk();
    std::fs::create_dir(desk.path("notes")).unwrap();
    desk.write("notes/one.jpg", "a picture");
    desk.write("notes/two.jpg", "another");
    // As a spreadsheet of the continent writes it, in another order and with blank lines.
    desk.write(
        "notes/works.csv",
        "why;Dimension;as left;unit;uncertainty;tool;done by;done on;picture;replaced;as found\n\
         \n\
         thin enough;bit thickness;4,1;;0,02;file;Ann;2024-04-30;one.jpg; no;4,6 {worn}\n\
         ;airway;0,16;in;;;;;one.jpg; ;#22\n\
         new stem;bit width;17,9;;;;;;one.jpg; two.jpg;yes;\n"
            .replace("one.jpg; no", "one.jpg;no")
            .replace("one.jpg; ;", "one.jpg;;")
            .replace("one.jpg; two.jpg;yes", "\"one.jpg; two.jpg\";yes"),
    );
    let line = "record A8 --done notes/works.csv --by Jo --on 2024-05-01 --tool rasp --to c.db";
    let out = desk.run(line).done().out;
    assert!(out.contains("3 works on A8"), "{out}");
    let works = worked(&desk.run("history A8 --from c.db").done().csv());
    let of = |dimension: &str| {
        let of = works.iter().find(|w| w["dimension"] == dimension).unwrap();
        [
            "as_found", "text", "state", "tool", "done_by", "done_on", "why", "pictures", "file",
        ]
        .map(|column| of[column].clone())
    };
    assert_eq!(
        of("bit_thickness"),
        [
            "4,6 {worn}",
            "4,1",
            "reworked",
            "file",
            "Ann",
            "2024-04-30",
            "thin enough",
            "one.jpg",
            "works.csv"
        ]
    );
    assert_eq!(
        of("draught_diameter"),
        [
            "#22",
            "0,16",
            "reworked",
            "rasp",
            "Jo",
            "2024-05-01",
            "",
            "one.jpg",
            "works.csv"
        ]
    );
    assert_eq!(
        of("bit_width"),
        [
            "18.40",
            "17,9",
            "replaced",
            "rasp",
            "Jo",
            "2024-05-01",
            "new stem",
            "one.jpg; two.jpg",
            "works.csv"
        ]
    );
    // As found by the record: worn as said, else of unknown state; never as made.
    let json = desk
        .run("history A8 --on 2024-01-01 --from c.db --format json")
        .done()
        .json();
    let places = &json["places"];
    assert_eq!(
        super::entry(places, "dimension", "bit_thickness")["state"],
        "worn"
    );
    let airway = super::entry(places, "dimension", "draught_diameter");
    assert_eq!(airway["state"], "unknown");
    assert_eq!(airway["value"], 0.157 * 25.4);
    // The stated uncertainty, in the unit of the row.
    let now = desk
        .run("history A8 --on 2024-06-01 --from c.db")
        .done()
        .csv();
    let row = now
        .column("dimension")
        .iter()
        .position(|d| *d == "bit_thickness");
    assert_eq!(now.number(row.unwrap(), "uncertainty"), 0.02);
    assert!(desk.run(line).done().out.contains("already (revision 2)"));
}

/// What no work can do, or nobody can mean: refused with its place, and nothing is written.
#[test]
fn what_cannot_be_is_refused() {
    let desk = recorded();
    desk.write("empty.png", "");
    for (line, says) in [
        // Wood does not grow, holes do not shrink.
        (
            "record A1 --set bit_width=16.9 --to c.db",
            &[
                "--set bit_width",
                "`16.9`",
                "16.1 mm",
                "smaller",
                "--replaced",
            ][..],
        ),
        (
            "record A1 --set airway=3.9 --found airway=4.1 --to c.db",
            &["--set airway", "`3.9`", "4.1 mm", "larger"],
        ),
        // After the first work it is that one's size that counts.
        (
            "record A8 --set bit_width=17 --to c.db",
            &["16.3 mm", "smaller"],
        ),
        (
            "record A1 --set airway=3.9 --to c.db",
            &["no reading of it", "--found", "as_found"],
        ),
        ("record A9 --set bit_width=15 --to c.db", &["`A9`"]),
        (
            "record A1 --set bitt=15 --to c.db",
            &["no dimension `bitt`", "bit"],
        ),
        (
            "record A1 --set bit_width=0.6 --to c.db",
            &["`0.6`", "6 to 30 mm", "inches"],
        ),
        (
            "record A1 --set bit_width=wide --to c.db",
            &["`wide`", "expected a length"],
        ),
        ("record A1 --set bit_width=-15 --to c.db", &["`-15`"]),
        (
            "record A1 --set bit_width= --to c.db",
            &["expected the size"],
        ),
        (
            "record A1 --set bit_width=15{worn} --to c.db",
            &["without braces"],
        ),
        (
            "record A1 --set bit_width=15 --set bit-width=14 --to c.db",
            &["twice"],
        ),
        (
            "record A1 --set bit_width=15 --found airway=4 --to c.db",
            &["draught_diameter", "--set"],
        ),
        (
            "record A1 --set bit_width=15 --found bit_width=16 --found bite.width=16 --to c.db",
            &["bite.width"],
        ),
        (
            "record A1 --set bit_width=15 --found bit_width=99 --to c.db",
            &["--found bit_width", "`99`", "6 to 30 mm"],
        ),
        (
            "record A1 --set bit_width=15 --found bit_width=16{new} --to c.db",
            &["not a state"],
        ),
        (
            "record A1 --set bit_width=15 --on 2999-01-01 --to c.db",
            &["--on", "2999-01-01", "still to come"],
        ),
        (
            "record A1 --set bit_width=15 --on 1929-12-31 --to c.db",
            &["1929-12-31", "made later: 1930"],
        ),
        (
            "record A8 --set bit_width=16 --on 2024-04-30 --to c.db",
            &["revision 2", "2024-05-01"],
        ),
        (
            "record A1 --set bit_width=15 --on 30.4.2024 --to c.db",
            &["not a day", "2024-05-31"],
        ),
        (
            "record A1 --set bit_width=15 --on 2023-02-29 --to c.db",
            &["not a day"],
        ),
        (
            "record A8 --set bit_width=16 --found bit_width=16.3{factory} --to c.db",
            &["revision 2", "reworked, not factory"],
        ),
        (
            "record A1 --set bit_width=15 --picture gone.png --to c.db",
            &["gone.png", "cannot be read"],
        ),
        (
            "record A1 --set bit_width=15 --picture empty.png --to c.db",
            &["empty.png", "empty"],
        ),
        (
            "record A1 --set bit_width=15 --picture . --to c.db",
            &["folder"],
        ),
        ("record A1 --to c.db", &["--done", "--set"]),
        ("record A1 --set bit_width --to c.db", &["--set"]),
        (
            "record A1 --done apples.csv --set bit_width=15 --to c.db",
            &["--set"],
        ),
        (
            "record A1 --set bit_width=15 --to nowhere.db",
            &["nowhere.db"],
        ),
        (
            "record A1 --set bit_width=15 --to apples.csv",
            &["no collection"],
        ),
        ("record A1 --done gone.csv --to c.db", &["gone.csv"]),
        ("record A1 --done - --to c.db", &["standard input"]),
    ] {
        let said = desk.refuses(line);
        for word in says {
            assert!(said.contains(word), "{line}: no {word} in {said}");
        }
    }
}

#[test]
fn faults_of_a_file_are_told_with_their_places() {
    let desk = recorded();
    desk.write("pic.png", "x");
    for (text, says) in [
        (
            "dimension,as_left\nbit width,16.9\n",
            &["w.csv, row 2, column 2 (as_left): `16.9`", "smaller"][..],
        ),
        (
            "dimension,as_left\nbit width,15\n\n\"bit\nwidth\",14\n",
            &["w.csv, row 4, column 1 (dimension): `bit width`", "row 2"],
        ),
        (
            "dimension,as_left\nfrob,3\nbit width,x\n",
            &[
                "row 2, column 1",
                "no known dimension",
                "row 3, column 2",
                "2 works",
            ],
        ),
        (
            "dimension,as_left\nbit width,\n",
            &["row 2, column 2", "as it was left"],
        ),
        ("dimension,as_left\nbit width,15,3\n", &["row 2", "3 cells"]),
        (
            "dimension,as_left,done_on\nbit width,15,May\n",
            &["column 3 (done_on): `May`", "not a day"],
        ),
        (
            "dimension,as_left,done_on\nbit width,15,2999-05-05\n",
            &["column 3 (done_on): `2999-05-05`", "to come"],
        ),
        (
            "dimension,as_left,as_found\nbit width,15,#99\n",
            &["column 3 (as_found): `#99`"],
        ),
        (
            "dimension,as_left,replaced\nbit width,19,perhaps\n",
            &["column 3 (replaced): `perhaps`", "yes or no"],
        ),
        (
            "dimension,as_left,uncertainty\nbit width,15,20\n",
            &["column 3 (uncertainty): `20`"],
        ),
        (
            "dimension,as_left,unit\nbit width,15,g\n",
            &["column 3 (unit): `g`"],
        ),
        (
            "dimension,as_left,unit\nbit width,15,ell\n",
            &["column 3 (unit): `ell`", "mm, cm, in"],
        ),
        (
            "dimension,as_left,picture\nbit width,15,pic.png;gone.png\n",
            &["column 3 (picture): `gone.png`", "cannot be read"],
        ),
        (
            "dimension,as_left,toool\nbit width,15,\n",
            &["column 3 (toool)", "nearest: tool"],
        ),
        (
            "dimension,as_left,as-left\nbit width,15,\n",
            &["column 3", "column 2 (as_left) holds this already"],
        ),
        ("dimension,as_left,\nbit width,15,what\n", &["no heading"]),
        (
            "dimension,size\nbit width,15\n",
            &["lacks the column as_left", "size"],
        ),
        ("dimension,as_left\n", &["no rows"]),
        ("", &["empty"]),
        ("SQLite format 3\0", &["w.csv"]),
    ] {
        desk.write("w.csv", text);
        let said = desk.refuses("record A1 --done w.csv --to c.db");
        for word in says {
            assert!(said.contains(word), "{text:?}: no {word} in {said}");
        }
    }
}

#[test]
fn reading_error_is_no_growth() {
    let desk = desk();
    // Found at 16.10, left at 16.12: steps of 0.01 each have 2 sqrt(2 * 0.01^2 / 12) = 0.0082.
    desk.refuses("record A1 --set bit_width=16.11 --to c.db");
    // A coarse ruler after a fine calliper: 2 hypot(0.01, 0.1) / sqrt 12 = 0.058.
    desk.refuses("record A1 --set bit_width=16.2 --to c.db");
    desk.run("record A2 --set bit_width=16.2 --to c.db").done();
    desk.write(
        "w.csv",
        "dimension,as_left,uncertainty\nbit width,16.2,0.06\n",
    );
    desk.run("record A1 --done w.csv --to c.db").done();
}

#[test]
fn another_part_may_have_any_size_and_stays_another_part() {
    let desk = desk();
    desk.run("record A1 --set bit_width=19 --replaced --on 2024-01-01 --to c.db")
        .done();
    desk.run("record A1 --set bit_width=18 --on 2024-01-02 --to c.db")
        .done();
    let states: Vec<String> = worked(&desk.run("history A1 --from c.db").done().csv())
        .iter()
        .map(|w| w["state"].clone())
        .collect();
    assert_eq!(states, ["replaced", "replaced"]);
}

/// A place that was worked on never speaks for the works again, not even as found, not even with
/// `--unknown-state`.
#[test]
fn as_found_after_a_work_is_not_as_made() {
    let desk = recorded();
    let line = "norms --from c.db --unknown-state --format json";
    let norms = |desk: &Desk| desk.run(line).done().json()["norms"].clone();
    let before = norms(&desk);
    desk.run("record A8 --set bit_width=16 --found bit_width=16.28 --on 2024-06-01 --to c.db")
        .done();
    assert_eq!(norms(&desk), before);
    let works = worked(&desk.run("history A8 --from c.db").done().csv());
    assert_eq!(works.last().unwrap()["as_found"], "16.28");
}

#[test]
fn the_piece_at_any_day_and_as_known_at_any_revision() {
    let desk = recorded();
    desk.run("record A8 --set bit_width=16.1 --on 2024-07-01 --to c.db")
        .done();
    let width = |options: &str| {
        let csv = desk
            .run(&format!("history A8 --from c.db {options}"))
            .done()
            .csv();
        let row = csv
            .column("dimension")
            .iter()
            .position(|d| *d == "bit_width");
        ["text", "state", "since", "works", "revision"]
            .map(|h| csv.cell(row.unwrap(), h).to_owned())
    };
    assert_eq!(width("--on 1990-01-01"), ["18.40", "factory", "", "0", "1"]);
    assert_eq!(width("--on 2024-04-30"), ["18.40", "factory", "", "0", "1"]);
    assert_eq!(
        width("--on 2024-05-01"),
        ["16.30", "reworked", "2024-05-01", "1", "2"]
    );
    assert_eq!(
        width("--on 2024-06-30"),
        ["16.30", "reworked", "2024-05-01", "1", "2"]
    );
    assert_eq!(
        width("--on 2024-07-01"),
        ["16.1", "reworked", "2024-07-01", "2", "3"]
    );
    // What was known, whenever it was done.
    assert_eq!(width("--revision 1")[0], "18.40");
    assert_eq!(width("--revision 2")[0], "16.30");
    assert_eq!(width("--revision 2 --on 2024-12-31")[0], "16.30");
    assert_eq!(width("--revision 3 --on 2024-06-30")[0], "16.30");
    let json = desk
        .run("history A8 --on 2024-06-30 --from c.db --format json")
        .done()
        .json();
    assert_eq!(
        (&json["on"], &json["revision"]),
        (&"2024-06-30".into(), &3.into())
    );
    assert_eq!(json["works"].as_array().unwrap().len(), 2);
    let works = json["works"].as_array().unwrap();
    let width = works
        .iter()
        .find(|w| w["dimension"] == "bit_width")
        .unwrap();
    assert_eq!(width["as_found"], "18.40");
    assert_eq!(width["pictures"][0]["name"], "before.png");
    desk.run("history A8 --on 2024-06-30 --from c.db --format table")
        .done();
    for (line, word) in [
        ("history A8 --on May --from c.db", "2024-05-31"),
        ("history A8 --revision 9 --from c.db", "1 to 3"),
        ("history A9 --on 2024-05-01 --from c.db", "A9"),
        ("history --on 2024-05-01 --from c.db", "specimen"),
        ("history A8 --verify --from c.db", "--verify"),
    ] {
        assert!(
            desk.refuses(line)
                .to_lowercase()
                .contains(&word.to_lowercase()),
            "{line}"
        );
    }
}

#[test]
fn a_record_made_by_mistake_is_withdrawn() {
    let desk = recorded();
    desk.run("record A8 --set bit_width=15 --on 2024-07-01 --to c.db")
        .done();
    let width = || {
        let csv = desk.run("check A8 --as-left --from c.db").csv();
        let row = csv
            .column("dimension")
            .iter()
            .position(|d| *d == "bit_width");
        csv.cell(row.unwrap(), "value").to_owned()
    };
    assert_eq!(width(), "15.0");
    desk.run("withdraw A8 bit_width --work --why slip --to c.db")
        .done();
    assert_eq!(width(), "16.3");
    // An earlier day is free again, and the same record may come again.
    desk.run("record A8 --set bit_width=16 --on 2024-06-01 --to c.db")
        .done();
    desk.run("withdraw A8 bit_width --work --why slip --to c.db")
        .done();
    let out = desk
        .run("record A8 --set bit_width=16 --on 2024-06-01 --to c.db")
        .done()
        .out;
    assert!(out.contains("1 work"), "{out}");
    assert_eq!(width(), "16.0");
    for _ in 0..2 {
        desk.run("withdraw A8 bit_width --work --why slip --to c.db")
            .done();
    }
    assert_eq!(width(), "18.4");
    let said = desk.refuses("withdraw A8 bit_width --work --why slip --to c.db");
    assert!(said.contains("no work"), "{said}");
    // The reading as found was never touched.
    assert_eq!(desk.run("check A8 --from c.db").csv().rows.len(), 2);
    desk.run("history --verify --from c.db").done();
}

/// What a sheet says stands beside what works left, and does not contradict it.
#[test]
fn sheets_and_records_do_not_meet() {
    let desk = recorded();
    let out = desk.run("add apples.csv --to c.db").done().out;
    assert!(out.contains("already"), "{out}");
    desk.write("later.csv", "specimen,dimension,value,state,measured_by,measured_on\nA8,bit width,16.20,reworked,Jo,2024-05-01\nA8,bit width,16.31,,Mo,2024-06-01\n");
    desk.run("add later.csv --to c.db").done();
    // Measured after the work and called as made: told.
    desk.write(
        "slip.csv",
        "specimen,dimension,value,measured_by\nA8,bit width,16.31,Mo\n",
    );
    let said = desk.run("add slip.csv --to c.db").done().err;
    for word in ["A8, bit width", "2024-05-01", "reworked"] {
        assert!(said.contains(word), "no {word} in {said}");
    }
    let csv = desk.run("check A8 --as-left --from c.db").csv();
    let row = csv
        .column("dimension")
        .iter()
        .position(|d| *d == "bit_width");
    assert_eq!(csv.cell(row.unwrap(), "value"), "16.3");
}

#[test]
fn a_whole_chain_is_called_whole() {
    let desk = recorded();
    let out = desk.run("history --verify --from c.db").done().out;
    let digest = desk
        .run("history --from c.db")
        .done()
        .csv()
        .cell(1, "sha256")
        .to_owned();
    assert_eq!(
        out,
        format!("c.db: 2 revisions, chain whole: newest digest {digest}\n")
    );
    let json = desk
        .run("history --verify --from c.db --format json")
        .done()
        .json();
    assert_eq!(json["whole"], true);
    assert_eq!(
        (&json["revisions"], &json["sha256"]),
        (&2.into(), &digest.clone().into())
    );
    // A digest that was noted earlier is found again, in any letter case.
    let first = desk
        .run("history --from c.db")
        .done()
        .csv()
        .cell(0, "sha256")
        .to_uppercase();
    let out = desk
        .run(&format!("history --verify --expect {first} --from c.db"))
        .done()
        .out;
    assert!(out.contains("revision 1 has the digest"), "{out}");
    let other = "0".repeat(64);
    let out = desk
        .run(&format!("history --verify --expect {other} --from c.db"))
        .ends(1)
        .out;
    assert!(out.contains("no revision of it has the digest"), "{out}");
    desk.refuses("history --verify --expect abc --from c.db");
    // Large and rich collections too.
    desk.run_words(&["history", "--verify", "--from", &demo_collection()])
        .done();
}

#[test]
fn pictures_are_held_against_their_digests() {
    let desk = recorded();
    std::fs::create_dir(desk.path("pics")).unwrap();
    let line = "history --verify --pictures pics --from c.db";
    let out = desk.run(line).done().out;
    assert!(out.contains("before.png: is not there"), "{out}");
    for name in ["before.png", "after.png"] {
        std::fs::copy(desk.path(name), desk.path(&format!("pics/{name}"))).unwrap();
    }
    let out = desk.run(line).done().out;
    assert!(out.contains("2 pictures: as recorded"), "{out}");
    // Another name is no other picture; one byte is.
    std::fs::rename(desk.path("pics/after.png"), desk.path("pics/x.png")).unwrap();
    assert!(desk.run(line).done().out.contains("as recorded"));
    desk.write("pics/before.png", "not looked at, only its bytes counT");
    let out = desk.run(line).ends(1).out;
    assert!(
        out.contains("before.png: is not the picture") && out.contains("A8"),
        "{out}"
    );
    assert!(!out.contains("x.png"), "{out}");
    desk.refuses("history --verify --pictures nowhere --from c.db");
}

/// A collection with a row in every table.
fn with_everything() -> Desk {
    let desk = recorded();
    desk.write(
        "t.csv",
        "specimen,feature,station,reading,note\nA1,stem_top,0,0.1,n\nA1,stem_top,1,0.2,\n",
    );
    desk.run("add t.csv --to c.db").done();
    desk.run("withdraw A1 stem_top --why lost --to c.db").done();
    desk.run("withdraw A2 bit_width --why lost --to c.db")
        .done();
    desk.write(
        "later.csv",
        "maker,period,from,to,standing,note\nRow Works,Old Shop,1921,1937,good,\n",
    );
    desk.run("add later.csv --to c.db --correct --why books")
        .done();
    desk
}

/// The triggers hold no one back who has another SQLite program: whatever is changed, row by row and
/// column by column, is noticed, and the file and the revision are named.
#[test]
fn every_tampering_is_noticed() {
    let desk = with_everything();
    desk.run("history --verify --from c.db").done();
    std::fs::copy(desk.path("c.db"), desk.path("whole.db")).unwrap();
    let tables: Vec<(String, Vec<(String, String)>)> = {
        let connection = Connection::open(desk.path("c.db")).unwrap();
        let names = texts(
            &connection,
            "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite%'",
        );
        let columns = |table: &String| {
            let mut statement = connection
                .prepare("SELECT name, type FROM pragma_table_info(?1)")
                .unwrap();
            let rows = statement.query_map([table], |row| Ok((row.get(0)?, row.get(1)?)));
            rows.unwrap().map(Result::unwrap).collect()
        };
        names
            .into_iter()
            .map(|t| (t.clone(), columns(&t)))
            .collect()
    };
    assert_eq!(tables.len(), 14);
    let mut unseen = Vec::new();
    for (table, columns) in &tables {
        let mut changes = vec![format!(
            "DELETE FROM {table} WHERE {}",
            last_row(&columns[0].0, table)
        )];
        for (column, kind) in columns {
            let other = match kind.as_str() {
                "INTEGER" => format!("{column} + 17"),
                "REAL" => format!("coalesce({column}, 1) * 1.5"),
                _ => format!("{column} || 'x'"),
            };
            changes.push(format!(
                "UPDATE {table} SET {column} = {other} WHERE {}",
                last_row(&columns[0].0, table)
            ));
        }
        // A number that nothing refers to says nothing: of the newest file and period here.
        let number = format!("UPDATE {table} SET id = ");
        let says_nothing =
            |sql: &String| ["file", "period"].contains(&table.as_str()) && sql.starts_with(&number);
        changes.retain(|sql| !says_nothing(sql));
        for sql in changes {
            std::fs::copy(desk.path("whole.db"), desk.path("c.db")).unwrap();
            tamper(&desk, &sql);
            let answer = desk.run("history --verify --from c.db");
            if answer.status != 1 || !answer.out.starts_with("c.db was changed: ") {
                unseen.push(format!(
                    "{sql}: {} {} {}",
                    answer.status, answer.out, answer.err
                ));
            }
        }
    }
    assert!(unseen.is_empty(), "{unseen:#?}");
}

/// The last row by its first column.
fn last_row(column: &str, table: &str) -> String {
    format!("{column} = (SELECT max({column}) FROM {table})")
}

#[track_caller]
fn texts(connection: &Connection, sql: &str) -> Vec<String> {
    let mut statement = connection.prepare(sql).unwrap();
    let rows = statement.query_map([], |row| row.get(0)).unwrap();
    rows.map(Result::unwrap).collect()
}

/// Changes a collection as its program never does.
#[track_caller]
fn tamper(desk: &Desk, sql: &str) {
    let connection = Connection::open(desk.path("c.db")).unwrap();
    connection
        .execute_batch("PRAGMA foreign_keys = OFF; PRAGMA ignore_check_constraints = ON;")
        .unwrap();
    for trigger in texts(
        &connection,
        "SELECT name FROM sqlite_schema WHERE type = 'trigger'",
    ) {
        connection
            .execute_batch(&format!("DROP TRIGGER \"{trigger}\""))
            .unwrap();
    }
    let changed = connection.execute(sql, []).expect(sql);
    assert!(changed > 0, "{sql}");
}

#[test]
fn what_was_slipped_in_or_cut_off_is_noticed() {
    let desk = recorded();
    std::fs::copy(desk.path("c.db"), desk.path("whole.db")).unwrap();
    let digest = desk
        .run("history --from c.db")
        .done()
        .csv()
        .cell(1, "sha256")
        .to_owned();
    let verify = |sql: &[&str]| {
        std::fs::copy(desk.path("whole.db"), desk.path("c.db")).unwrap();
        sql.iter().for_each(|sql| tamper(&desk, sql));
        desk.run("history --verify --from c.db")
    };
    // Rows that carry no revision of their own.
    for (sql, table) in [
        ("INSERT INTO specimen (name) VALUES ('GHOST')", "specimen"),
        (
            "INSERT INTO circumstance SELECT 1000, instrument || 'x', measured_by, measured_on,
             source, note FROM circumstance LIMIT 1",
            "circumstance",
        ),
    ] {
        let out = verify(&[sql]).ends(1).out;
        let said = format!("a row of its table `{table}` belongs to no revision");
        assert!(out.contains(&said), "{out}");
    }
    // Which file and which revision: a work that left less than it did.
    let out = verify(&["UPDATE reading SET value = 16.5 WHERE text = '16.30'"])
        .ends(1)
        .out;
    for word in [
        "c.db was changed: revision 2",
        "2 readings, 2 works, 4 pictures",
        "from --set",
        "revisions 1 to 1 fit",
    ] {
        assert!(out.contains(word), "no {word} in {out}");
    }
    let out = verify(&["UPDATE reading SET value = 16.5 WHERE text = '18.40'"])
        .ends(1)
        .out;
    assert!(
        out.contains("revision 1") && out.contains("apples.csv"),
        "{out}"
    );
    // A withdrawal by a revision that does not exist is in no digest.
    let out = verify(&["INSERT INTO withdrawal SELECT specimen, dimension, seq, 99 FROM reading WHERE text = '18.40'"]).ends(1).out;
    assert!(out.contains("`withdrawal`"), "{out}");
    let out = verify(&["INSERT INTO work SELECT specimen, dimension, seq, seq, 2, '', '', '', '' FROM reading WHERE text = '16.12'"]).ends(1).out;
    assert!(out.contains("revision 2"), "{out}");
    let out = verify(&["DELETE FROM revision WHERE id = 1"]).ends(1).out;
    assert!(out.contains("revision 1 is missing"), "{out}");
    // A chain that was cut off behind its first revision fits; the noted digest tells.
    let cut = [
        "DELETE FROM picture",
        "DELETE FROM work",
        "DELETE FROM reading WHERE file = 3",
        "DELETE FROM file WHERE id = 3",
        "DELETE FROM circumstance WHERE id NOT IN (SELECT circumstance FROM reading WHERE circumstance > 0)",
        "DELETE FROM revision WHERE id = 2",
    ];
    verify(&cut).done();
    let out = desk
        .run(&format!("history --verify --expect {digest} --from c.db"))
        .ends(1)
        .out;
    assert!(out.contains("cut short"), "{out}");
    let json = desk
        .run(&format!(
            "history --verify --expect {digest} --from c.db --format json"
        ))
        .ends(1)
        .json();
    assert_eq!(
        (&json["whole"], &json["expected_revision"]),
        (&false.into(), &0.into())
    );
}

/// The digests of a package, computed by another program from its files alone.
#[test]
fn the_chain_is_the_one_that_the_formats_page_describes() {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/chain.py");
    let desk = with_everything();
    desk.run("export p --from c.db").done();
    let output = match Command::new("python3")
        .arg(script)
        .arg(desk.path("p"))
        .output()
    {
        Ok(output) => output,
        Err(_) => return passed_over("no python3 to compute the digests with"),
    };
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}");
    let history = desk.run("history --from c.db").done().csv();
    let ours: String = (0..history.rows.len())
        .map(|r| {
            format!(
                "{} {}\n",
                history.cell(r, "revision"),
                history.cell(r, "sha256")
            )
        })
        .collect();
    assert_eq!(String::from_utf8_lossy(&output.stdout), ours);
}

#[test]
fn a_package_keeps_works_and_pictures() {
    let desk = with_everything();
    desk.run("export one --from c.db").done();
    desk.run("add one --to copy.db").done();
    desk.run("export two --from copy.db").done();
    for file in [
        "works.csv",
        "pictures.csv",
        "readings.csv",
        "revisions.csv",
        "datapackage.json",
    ] {
        assert_eq!(
            desk.read(&format!("one/{file}")),
            desk.read(&format!("two/{file}")),
            "{file}"
        );
    }
    let of = |source: &str, line: &str| {
        let Answer { status, out, .. } =
            desk.run(&line.replace("FROM", &format!("--from {source}")));
        (status, out.replace(source, ""))
    };
    for line in [
        "history FROM",
        "history A8 FROM",
        "history A8 --on 2024-05-01 FROM",
        "history --verify FROM",
        "check A8 --as-left FROM",
    ] {
        assert_eq!(of("copy.db", line), of("c.db", line), "{line}");
    }
    // Every cell of both files is held by the digest.
    for file in ["works.csv", "pictures.csv"] {
        let whole = desk.read(&format!("one/{file}"));
        let table = Csv::parse(&whole);
        for (at, heading) in table.header.iter().enumerate() {
            let mut edited = Csv::parse(&whole);
            let cell = &mut edited.rows[0][at];
            *cell = match cell.parse::<i64>() {
                Ok(number) => (number + 1).to_string(),
                Err(_) => format!("{cell}x"),
            };
            let mut writer = csv::Writer::from_writer(Vec::new());
            writer.write_record(&edited.header).unwrap();
            edited
                .rows
                .iter()
                .for_each(|row| writer.write_record(row).unwrap());
            desk.write(&format!("one/{file}"), writer.into_inner().unwrap());
            let answer = desk.run("add one --to bad.db");
            assert_eq!(answer.status, 2, "{file}, {heading}: {}", answer.out);
            assert!(!desk.has("bad.db"));
        }
        desk.write(&format!("one/{file}"), &whole);
        std::fs::remove_file(desk.path(&format!("one/{file}"))).unwrap();
        desk.refuses("add one --to bad.db");
        desk.write(&format!("one/{file}"), whole);
    }
    desk.run("add one --to good.db").done();
}

/// Collections of both earlier versions, as the programs of their time wrote them.
#[test]
fn collections_of_earlier_versions_are_verified_and_recorded_in() {
    for (version, dump) in [
        (1, include_str!("../data/collection_version_1.sql")),
        (2, include_str!("../data/collection_version_2.sql")),
    ] {
        let desk = Desk::new();
        let old = Connection::open(desk.path("old.db")).unwrap();
        old.execute_batch(dump).unwrap();
        // As every program that made a collection left it.
        old.pragma_update(None, "journal_mode", "WAL").unwrap();
        drop(old);
        let stands_at = || -> i64 {
            let connection = Connection::open(desk.path("old.db")).unwrap();
            connection
                .pragma_query_value(None, "user_version", |row| row.get(0))
                .unwrap()
        };
        let history = |desk: &Desk| desk.run("history --from old.db").done().csv();
        let before = history(&desk);
        let norms = |desk: &Desk| {
            let json = desk.run("norms --from old.db --format json").done().json();
            json["norms"].clone()
        };
        let numbers = norms(&desk);
        // Their digests are those programs' own.
        desk.run("history --verify --from old.db").done();
        desk.run("history A1 --on 2024-05-01 --from old.db").done();
        desk.run("check A1 --as-left --from old.db");
        assert_eq!(stands_at(), version, "reading changes nothing");
        // A refusal changes nothing either.
        desk.refuses("record A1 --set bit_width=29 --to old.db");
        assert_eq!(stands_at(), version);
        desk.run("record A1 --set bit_width=15 --why slim --to old.db")
            .done();
        assert_eq!(stands_at(), 3);
        desk.run("history --verify --from old.db").done();
        let after = history(&desk);
        let n = before.rows.len();
        assert_eq!(&after.column("sha256")[..n], before.column("sha256"));
        assert_eq!(after.rows.len(), n + 1);
        assert_eq!(norms(&desk), numbers);
        let connection = Connection::open(desk.path("old.db")).unwrap();
        for sql in [
            "DELETE FROM revision",
            "UPDATE work SET why = ''",
            "DELETE FROM picture",
        ] {
            let refused = connection.execute_batch(sql);
            // A trigger fires for rows alone.
            assert!(refused.is_err() || sql.contains("picture"), "{sql}");
        }
        let dangling = connection
            .prepare("PRAGMA foreign_key_check")
            .unwrap()
            .exists([])
            .unwrap();
        assert!(!dangling);
    }
}

/// Whatever the sizes and names: no panic, and what is refused changes nothing.
#[test]
fn odd_texts_are_kept_or_refused() {
    let desk = desk();
    desk.write("p \u{1b}[31m\n.png", "x");
    let odd = "a \"quoted\", two-line\nreason \u{1b}[31m ä 木";
    let words = [
        "record",
        "A1",
        "--set",
        "bit_width=15",
        "--why",
        odd,
        "--tool",
        odd,
        "--by",
        odd,
        "--picture",
        "p \u{1b}[31m\n.png",
        "--to",
        "c.db",
    ];
    desk.run_words(&words).done();
    let works = worked(&desk.run("history A1 --from c.db").done().csv());
    assert_eq!(
        (&works[0]["why"], &works[0]["tool"]),
        (&odd.to_owned(), &odd.to_owned())
    );
    desk.run("export p --from c.db").done();
    desk.run("add p --to copy.db").done();
    for line in [
        "history A1 --from c.db --format table",
        "history A1 --on 2999-01-01 --from c.db --format table",
        "history --verify --pictures p --from c.db",
    ] {
        let out = desk.run(line).done().out;
        assert!(!out.contains('\u{1b}'), "{line}: {out:?}");
    }
    for size in [
        "1e308",
        "9".repeat(200).as_str(),
        "NaN",
        "inf",
        "0",
        "\u{0}",
        "15 ± 1e300",
        "#99",
    ] {
        if !size.contains('\u{0}') {
            let set = format!("bit_width={size}");
            desk.run_words(&["record", "A1", "--set", &set, "--to", "c.db"])
                .ends(2);
        }
    }
}
