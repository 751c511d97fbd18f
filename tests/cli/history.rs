//! Corrections and withdrawals: nothing is overwritten, and old answers can be had again.

use rusqlite::Connection;

use super::{APPLES, Csv, Desk, PERIODS};

fn desk() -> Desk {
    let desk = Desk::with("apples.csv", APPLES);
    desk.write("periods.csv", PERIODS);
    desk.run("add apples.csv periods.csv --to c.db --by Maria")
        .done();
    // A8 was misread: 18.40 was 16.40.
    desk.write("corrected.csv", "specimen,bit width\nA8,16.40\n");
    desk
}

/// The numbers and their provenance.
fn norms(desk: &Desk) -> String {
    desk.run("norms --from c.db --format json").done().out
}

#[test]
fn a_contradiction_is_refused_until_it_is_called_a_correction() {
    let desk = desk();
    let said = desk.refuses("add corrected.csv --to c.db");
    for word in ["A8", "bit_width", "18.40", "16.40", "--correct"] {
        assert!(said.contains(word), "no {word} in {said}");
    }
    // A correction needs its reason.
    desk.refuses("add corrected.csv --to c.db --correct");
    desk.refuses("add corrected.csv --to c.db --why slip");
    let words = [
        "add",
        "corrected.csv",
        "--to",
        "c.db",
        "--correct",
        "--why",
        "a slip, 8 for 6",
    ];
    let out = desk.run_words(&words).done().out;
    assert!(
        out.contains("revision 2") && out.contains("1 correction"),
        "{out}"
    );
    let csv = desk.run("norms --from c.db").done().csv();
    let row = csv
        .column("dimension")
        .iter()
        .position(|d| *d == "bit_width")
        .unwrap();
    assert_eq!((csv.cell(row, "n"), csv.cell(row, "max")), ("8", "16.4"));
    // The same correction again is nothing new.
    let before = desk.everything();
    desk.run_words(&words).done();
    assert_eq!(desk.changes_since(&before), "");
}

#[test]
fn the_history_of_a_piece_shows_the_old_reading() {
    let desk = desk();
    let words = [
        "add",
        "corrected.csv",
        "--to",
        "c.db",
        "--correct",
        "--why",
        "8 for 6",
        "--by",
        "Jo",
    ];
    desk.run_words(&words).done();
    let csv = desk.run("history A8 --from c.db").done().csv();
    for heading in [
        "revision",
        "made_on",
        "made_by",
        "what",
        "dimension",
        "text",
        "value",
        "unit",
        "state",
        "file",
        "why",
    ] {
        csv.column(heading);
    }
    let of_width: Vec<[&str; 8]> = (0..csv.rows.len())
        .filter(|&row| csv.cell(row, "dimension") == "bit_width")
        .map(|row| {
            [
                "revision", "made_by", "what", "text", "value", "state", "file", "why",
            ]
            .map(|heading| csv.cell(row, heading))
        })
        .collect();
    assert_eq!(
        of_width,
        [
            [
                "1",
                "Maria",
                "added",
                "18.40",
                "18.4",
                "factory",
                "apples.csv",
                ""
            ],
            [
                "2",
                "Jo",
                "withdrawn",
                "18.40",
                "18.4",
                "factory",
                "apples.csv",
                "8 for 6"
            ],
            [
                "2",
                "Jo",
                "added",
                "16.40",
                "16.4",
                "factory",
                "corrected.csv",
                "8 for 6"
            ],
        ]
    );
    let json = desk
        .run("history A8 --from c.db --format json")
        .done()
        .json();
    assert_eq!(json["specimen"], "A8");
    assert_eq!(json["history"].as_array().unwrap().len(), csv.rows.len());
    let said = desk.refuses("history Nobody --from c.db");
    assert!(said.contains("Nobody"), "{said}");
}

#[test]
fn revisions_say_who_when_what_why() {
    let desk = desk();
    let words = [
        "add",
        "corrected.csv",
        "--to",
        "c.db",
        "--correct",
        "--why",
        "8 for 6",
    ];
    desk.run_words(&words).done();
    let words = [
        "withdraw",
        "A7",
        "bit-width",
        "--to",
        "c.db",
        "--why",
        "stem is new",
        "--by",
        "Jo",
    ];
    let out = desk.run_words(&words).done().out;
    assert!(
        out.contains("revision 3") && out.contains("1 reading"),
        "{out}"
    );
    let csv = desk.run("history --from c.db").done().csv();
    assert_eq!(
        csv.header,
        [
            "revision",
            "made_on",
            "made_by",
            "action",
            "why",
            "files",
            "readings",
            "withdrawn",
            "sha256",
            "traces",
            "works"
        ]
    );
    assert_eq!(csv.column("revision"), ["1", "2", "3"]);
    assert_eq!(csv.column("made_by"), ["Maria", "tester", "Jo"]);
    assert_eq!(csv.column("action"), ["add", "correct", "withdraw"]);
    assert_eq!(csv.column("why"), ["", "8 for 6", "stem is new"]);
    assert_eq!(
        csv.column("files"),
        ["apples.csv; periods.csv", "corrected.csv", ""]
    );
    assert_eq!(csv.column("readings"), ["16", "1", "0"]);
    assert_eq!(csv.column("withdrawn"), ["0", "1", "1"]);
    for (made_on, digest) in csv.column("made_on").into_iter().zip(csv.column("sha256")) {
        // 2001-02-03T04:05:06Z
        let shape: String = made_on
            .chars()
            .map(|c| if c.is_ascii_digit() { '9' } else { c })
            .collect();
        assert_eq!(shape, "9999-99-99T99:99:99Z");
        assert!(
            digest.len() == 64 && digest.chars().all(|c| c.is_ascii_hexdigit()),
            "{digest}"
        );
    }
    let json = desk.run("history --from c.db --format json").done().json();
    let revisions = json["revisions"].as_array().unwrap();
    assert_eq!(revisions.len(), 3);
    for (row, revision) in revisions.iter().enumerate() {
        assert_eq!(revision["sha256"], csv.cell(row, "sha256"));
        assert!(revision["revision"].is_u64() && revision["files"].is_array());
    }
}

#[test]
fn a_withdrawn_reading_counts_no_more() {
    let desk = desk();
    let n = |key: &str| {
        let csv = desk.run("norms --from c.db").done().csv();
        let row = csv.column("dimension").iter().position(|d| *d == key);
        row.map_or(0, |row| csv.cell(row, "n").parse::<usize>().unwrap())
    };
    desk.run("withdraw A8 bit_width --to c.db --why slip")
        .done();
    assert_eq!((n("bit_width"), n("cant_angle")), (7, 8));
    desk.run("withdraw A7 --to c.db --why lost").done();
    assert_eq!((n("bit_width"), n("cant_angle")), (6, 7));
    // It cannot be judged either, but it stays readable.
    let check = desk.run("check A7 --from c.db").ends(3).csv();
    assert_eq!((check.rows.len(), check.cell(0, "dimension")), (1, ""));
    let history = desk.run("history A7 --from c.db").done().csv();
    assert_eq!(
        history
            .column("text")
            .iter()
            .filter(|t| **t == "16.12")
            .count(),
        2
    );
}

#[test]
fn a_withdrawal_of_nothing_is_refused() {
    let desk = desk();
    for (line, word) in [
        ("withdraw Nobody --to c.db --why x", "Nobody"),
        ("withdraw A1 airway --to c.db --why x", "draught_diameter"),
        ("withdraw A1 frob --to c.db --why x", "frob"),
        ("withdraw A1 bit_width --to c.db", "--why"),
        ("withdraw A1 --to nowhere.db --why x", "nowhere.db"),
    ] {
        let said = desk.refuses(line);
        assert!(said.contains(word), "{line}: no {word} in {said}");
    }
    desk.run("withdraw A1 bit_width --to c.db --why x").done();
    desk.refuses("withdraw A1 bit_width --to c.db --why x");
}

/// The same revision gives the same answer, digit for digit; a later one does not touch it.
#[test]
fn an_old_revision_can_be_had_again_digit_for_digit() {
    let desk = desk();
    let first = norms(&desk);
    assert_eq!(norms(&desk), first);
    std::fs::copy(desk.path("c.db"), desk.path("kept.db")).unwrap();
    desk.run("export first --from c.db").done();
    desk.run("add corrected.csv --to c.db --correct --why slip")
        .done();
    let second = norms(&desk);
    assert_ne!(second, first);
    let named = |source: &str| first.replace("\"c.db\"", &format!("\"{source}\""));
    let of = |source: &str| {
        desk.run(&format!("norms --from {source} --format json"))
            .done()
            .out
    };
    assert_eq!(of("kept.db"), named("kept.db"));
    assert_eq!(of("first"), named("first"));
    // Undoing a correction by another gives the numbers of before under a new revision.
    desk.write("undone.csv", "specimen,bit width\nA8,18.40\n");
    desk.run("add undone.csv --to c.db --correct --why undone")
        .done();
    let numbers =
        |json: &str| serde_json::from_str::<serde_json::Value>(json).unwrap()["norms"].clone();
    let third = norms(&desk);
    assert_eq!(numbers(&third), numbers(&first));
    assert!(third.contains("\"revision\": 3"), "{third}");
}

/// The store itself refuses what the program never does.
#[test]
fn append_only_is_enforced_by_triggers() {
    let desk = desk();
    desk.run("add corrected.csv --to c.db --correct --why slip")
        .done();
    desk.write(
        "later.csv",
        "maker,period,from,to,standing,note\nRow Works,Old Shop,1921,1937,good,\n",
    );
    desk.run("add later.csv --to c.db --correct --why books")
        .done();
    desk.write(
        "l.csv",
        "specimen,dimension,value,instrument\nA1,airway,4,gauge\n",
    );
    desk.run("add l.csv --to c.db").done();
    for (height, end) in [("0.1", ""), ("0.2", " --correct --why slip")] {
        let text = format!("specimen,feature,station,reading\nA1,stem_top,0,{height}\n");
        desk.write("t.csv", text);
        desk.run(&format!("add t.csv --to c.db{end}")).done();
    }
    desk.write("p.png", "x");
    desk.run("record A1 --set bit_width=15 --picture p.png --to c.db")
        .done();
    let before = norms(&desk);
    let connection = Connection::open(desk.path("c.db")).unwrap();
    let mut statement = connection
        .prepare("SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite%'")
        .unwrap();
    let tables: Vec<String> = statement
        .query_map([], |row| row.get(0))
        .unwrap()
        .map(Result::unwrap)
        .collect();
    assert!(tables.len() >= 10, "{tables:?}");
    for table in &tables {
        let column: String = connection
            .query_row(
                "SELECT name FROM pragma_table_info(?1) LIMIT 1",
                [table],
                |row| row.get(0),
            )
            .unwrap();
        let rows: i64 = connection
            .query_row(&format!("SELECT count(*) FROM {table}"), [], |row| {
                row.get(0)
            })
            .unwrap();
        assert!(
            rows > 0,
            "a trigger that never fires shows nothing: {table}"
        );
        for sql in [
            format!("DELETE FROM {table}"),
            format!("UPDATE {table} SET {column} = {column}"),
        ] {
            let error = connection.execute(&sql, []).expect_err(&sql).to_string();
            assert!(error.contains("append-only"), "{sql}: {error}");
        }
    }
    drop(statement);
    drop(connection);
    assert_eq!(norms(&desk), before);
}

/// In one step or in two: the same numbers.
#[test]
fn what_was_added_in_two_steps_answers_as_in_one() {
    let desk = desk();
    let (head, rows): (Vec<&str>, Vec<&str>) = {
        let lines: Vec<&str> = APPLES.lines().collect();
        (lines[..1].to_vec(), lines[1..].to_vec())
    };
    desk.write("half1.csv", [&head[..], &rows[..4]].concat().join("\n"));
    desk.write("half2.csv", [&head[..], &rows[4..]].concat().join("\n"));
    desk.run("add half1.csv periods.csv --to halves.db").done();
    desk.run("add half2.csv --to halves.db").done();
    let of = |source: &str| -> Csv { desk.run(&format!("norms --from {source}")).done().csv() };
    assert_eq!(of("halves.db"), of("c.db"));
}
