//! What moved since a revision of a collection, and what moves without one source, measurer or
//! period.

use std::collections::BTreeMap;

use serde_json::Value;

use super::{Answer, Desk, PERIODS, demo, demo_collection, entry};

/// Seven pieces that are alike, X1, whose stem is bent a little more, and A8, which was misread.
const FIRST: &str = "\
specimen,maker,pattern,made,source,bit width,cant angle
A1,Row Works,apple,1930,Bench One,16.10,2.0
A2,Row Works,apple,1931,Bench One,16.22,2.5
A3,Row Works,apple,1932,Bench One,15.95,1.5
A4,Row Works,apple,1933,Bench One,16.05,2.2
A5,Row Works,apple,1934,Bench One,16.18,1.8
A6,Row Works,apple,1935,Bench Two,16.00,2.1
A7,Row Works,apple,1936,Bench Two,16.12,1.9
A8,Row Works,apple,1937,Bench Two,18.40,2.0
X1,Row Works,apple,1937,,16.15,3.0
L1,Row Works,apple,1941,,15.70,2.3
L2,Row Works,apple,1942,,15.80,2.6
";

/// More apples, of a wider spread, and pears.
const SECOND: &str = "\
specimen,maker,pattern,made,source,bit width,cant angle
A9,Row Works,apple,1930,Visitor,15.60,1.1
A10,Row Works,apple,1931,Visitor,16.60,2.9
A11,Row Works,apple,1932,Visitor,15.75,1.2
A12,Row Works,apple,1933,Visitor,16.55,2.8
P1,Row Works,pear,1934,Visitor,14.08,1.0
P2,Row Works,pear,1935,Visitor,14.30,1.1
P3,Row Works,pear,1936,Visitor,14.12,0.9
P4,Row Works,pear,1937,Visitor,14.02,1.4
";

/// A collection of five revisions; `c1.db` to `c5.db` are what it was after each.
fn story() -> Desk {
    let desk = Desk::with("first.csv", FIRST);
    desk.write("second.csv", SECOND);
    desk.write("periods.csv", PERIODS);
    desk.write("corrected.csv", "specimen,bit width\nA8,16.14\n");
    desk.write(
        "standing.csv",
        PERIODS.replace("Lean Years,1939,1947,poor", "Lean Years,1939,1947,good"),
    );
    let mut revision = 0;
    let mut step = |words: &[&str]| {
        desk.run_words(words).done();
        revision += 1;
        let copy = desk.path(&format!("c{revision}.db"));
        std::fs::copy(desk.path("c.db"), copy).unwrap();
    };
    step(&[
        "add",
        "first.csv",
        "periods.csv",
        "--to",
        "c.db",
        "--by",
        "Maria",
        "--why",
        "a start",
    ]);
    step(&["add", "second.csv", "--to", "c.db", "--by", "Jo"]);
    step(&[
        "add",
        "corrected.csv",
        "--to",
        "c.db",
        "--correct",
        "--why",
        "8 for 6",
        "--by",
        "Jo",
    ]);
    step(&[
        "withdraw",
        "A2",
        "bit width",
        "--to",
        "c.db",
        "--why",
        "a burr",
        "--by",
        "Jo",
    ]);
    step(&[
        "add",
        "standing.csv",
        "--to",
        "c.db",
        "--correct",
        "--why",
        "well made",
        "--by",
        "Jo",
    ]);
    desk
}

const LIMITS: [&str; 5] = [
    "centre",
    "typical_low",
    "typical_high",
    "tolerance_low",
    "tolerance_high",
];

/// The limits of all norms by pattern, dimension and name.
fn limits(answer: &Answer) -> BTreeMap<[String; 3], Option<f64>> {
    let json = answer.json();
    let norms = json["norms"].as_array().unwrap();
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    let of = |norm: &Value| {
        LIMITS.map(|what| {
            let key = [
                text(&norm["pattern"]),
                text(&norm["dimension"]),
                what.to_owned(),
            ];
            (key, norm[what].as_f64())
        })
    };
    norms.iter().flat_map(of).collect()
}

#[test]
fn every_movement_is_that_between_two_tables_of_norms() {
    let desk = story();
    for (since, more) in [
        (1, ""),
        (2, ""),
        (3, ""),
        (4, ""),
        (2, " --no-borrowing"),
        (1, " --coverage 0.9"),
        (2, " --true-size"),
    ] {
        let norms = |file: &str| {
            limits(
                &desk
                    .run(&format!("norms --from {file} --format json{more}"))
                    .done(),
            )
        };
        let (was, is) = (norms(&format!("c{since}.db")), norms("c5.db"));
        let line = format!("norms --since {since} --all --from c.db --format json{more}");
        let json = desk.run(&line).done().json();
        assert_eq!(json["since"]["revision"], since);
        assert_eq!(json["provenance"]["revision"], 5);
        let rows = json["moved"].as_array().unwrap();
        let mut keys: Vec<&[String; 3]> = was.keys().chain(is.keys()).collect();
        keys.sort();
        keys.dedup();
        assert_eq!(rows.len(), keys.len(), "{line}");
        for row in rows {
            let key = ["pattern", "dimension", "what"].map(|k| row[k].as_str().unwrap().to_owned());
            let before = was.get(&key).copied().flatten();
            let after = is.get(&key).copied().flatten();
            assert_eq!(row["before"].as_f64(), before, "{key:?}");
            assert_eq!(row["after"].as_f64(), after, "{key:?}");
            let moved = after.zip(before).map(|(after, before)| after - before);
            assert_eq!(row["moved"].as_f64(), moved, "{key:?}");
            if let Some(moved) = moved {
                let parts = row["own_part"].as_f64().unwrap() + row["other_part"].as_f64().unwrap();
                assert!((parts - moved).abs() < 1e-14, "{key:?}: {parts} {moved}");
                if more.contains("no-borrowing") {
                    assert_eq!(row["other_part"], 0.0);
                }
            }
        }
    }
}

#[test]
fn each_change_is_told_by_its_name() {
    let desk = story();
    let because = |since: u8| -> BTreeMap<String, (String, String)> {
        let line = format!("norms apple --since {since} --all --from c.db --format json");
        let json = desk.run(&line).done().json();
        let rows = json["moved"].as_array().unwrap();
        let row = rows
            .iter()
            .find(|r| r["dimension"] == "bit_width" && r["what"] == "typical_high");
        let text = |value: &Value| value.as_str().unwrap().to_owned();
        let of = |of: &Value| {
            assert!(of["alone"].is_number(), "{of}");
            (
                text(&of["specimen"]),
                (text(&of["change"]), text(&of["words"])),
            )
        };
        row.unwrap()["because"]
            .as_array()
            .unwrap()
            .iter()
            .map(of)
            .collect()
    };
    let pair = |a: &str, b: &str| (a.to_owned(), b.to_owned());
    let standing = pair("standing", "standing of Lean Years poor -> good");
    let mut want = BTreeMap::from([
        ("L1".to_owned(), standing.clone()),
        ("L2".to_owned(), standing),
    ]);
    assert_eq!(because(4), want);
    want.insert("A2".to_owned(), pair("reading_went", "reading went"));
    assert_eq!(because(3), want);
    want.insert("A8".to_owned(), pair("value", "18.4 -> 16.14"));
    assert_eq!(because(2), want);
    for new in ["A9", "A10", "A11", "A12"] {
        want.insert(new.to_owned(), pair("new_piece", "new piece"));
    }
    assert_eq!(because(1), want);
}

#[test]
fn a_verdict_that_turns_has_both_its_p() {
    let desk = story();
    let check = |piece: &str, dimension: &str, file: &str| {
        let answer = desk.run(&format!("check {piece} --from {file} --format json"));
        let check = answer.json()["checks"][0].clone();
        entry(&check["dimensions"], "dimension", dimension).clone()
    };
    let json = desk
        .run("norms --since 1 --from c.db --format json")
        .done()
        .json();
    for (piece, dimension) in [("X1", "cant_angle"), ("A8", "bit_width")] {
        let turned = entry(&json["turned"], "specimen", piece);
        assert_eq!(turned["dimension"], dimension);
        assert_eq!(turned["verdict_before"], "out_of_norm");
        assert_ne!(turned["verdict_after"], "out_of_norm");
        for (side, file) in [("before", "c1.db"), ("after", "c.db")] {
            let want = check(piece, dimension, file);
            for key in ["value", "p", "p_adjusted", "verdict"] {
                assert_eq!(
                    turned[format!("{key}_{side}")],
                    want[key],
                    "{piece} {key} {side}"
                );
            }
        }
    }
    // A pattern that holds neither.
    let json = desk
        .run("norms pear --since 1 --from c.db --format json")
        .done()
        .json();
    assert_eq!(json["turned"], serde_json::json!([]));
    assert!(
        json["moved"]
            .as_array()
            .unwrap()
            .iter()
            .all(|row| row["before"].is_null())
    );
}

#[test]
fn the_page_says_what_moved_and_why() {
    let desk = story();
    let out = desk
        .run("norms --since 2 --from c.db --format table")
        .done()
        .out;
    for words in [
        "since revision 2 (",
        "add by Jo",
        "revision 3: ",
        "correct by Jo: 8 for 6",
        "bit width, mm",
        "A8 (18.4 -> 16.14)",
        "upper limit",
        "readings: ",
        "pear, Row Works",
        "only by what all patterns teach together",
    ] {
        assert!(out.contains(words), "no `{words}` in\n{out}");
    }
    assert!(!out.contains("NaN") && !out.contains("inf"), "{out}");
    assert!(out.lines().all(|line| line.chars().count() <= 98), "{out}");
    // Once for a pattern, not for each of its dimensions.
    let told = out.matches("only by what all patterns teach").count();
    let patterns = out.matches(", Row Works").count();
    assert!(0 < told && told <= patterns, "{out}");
    let out = desk
        .run("norms --since 5 --from c.db --format table")
        .done()
        .out;
    assert!(
        out.starts_with("revision 5 is the newest: nothing moved\n"),
        "{out}"
    );
    let json = desk
        .run("norms --since 5 --from c.db --format json")
        .done()
        .json();
    assert_eq!(json["moved"], serde_json::json!([]));
    let csv = desk.run("norms --since 2 --from c.db").done().csv();
    assert_eq!(
        csv.header.join(","),
        "maker,pattern,dimension,unit,finish,what,before,after,moved,moved_in_spreads,n_before,n_after,\
         own_part,other_part,n_changed,because"
    );
    assert!(
        csv.column("because")
            .iter()
            .any(|of| of.contains("A8 (18.4 -> 16.14)"))
    );
    // A movement that does not show is told when all are asked for.
    let all = desk.run("norms --since 2 --all --from c.db").done().csv();
    assert!(all.rows.len() > csv.rows.len());
}

/// The same piece twice, a table of periods after the pieces, a pattern that is corrected.
#[test]
fn pieces_that_are_filed_otherwise() {
    let desk = Desk::with("first.csv", FIRST);
    desk.write("periods.csv", PERIODS);
    desk.write(
        "moved.csv",
        "specimen,maker,pattern,made\nA3,Row Works,pear,1932\nA4,Row Works,apple,1958\n",
    );
    desk.run("add first.csv --to c.db").done();
    desk.run("add periods.csv --to c.db").done();
    desk.run("add moved.csv --to c.db --correct --why misfiled")
        .done();
    let changes = |pattern: &str, since: u8| -> Vec<String> {
        let line = format!("norms {pattern} --since {since} --all --from c.db");
        let csv = desk.run(&line).done().csv();
        let row = csv
            .column("dimension")
            .iter()
            .position(|d| *d == "bit_width")
            .unwrap();
        let mut pieces: Vec<String> = csv
            .cell(row, "because")
            .split("; ")
            .map(str::to_owned)
            .collect();
        pieces.sort();
        pieces
    };
    let a3 = "A3 (apple by Row Works -> pear by Row Works)";
    assert_eq!(changes("pear", 2), [a3]);
    assert_eq!(
        changes("apple", 2),
        [a3, "A4 (period Old Shop -> Any Shop)"]
    );
    let since = changes("apple", 1);
    for of in ["L1 (standing of Lean Years none -> poor)", a3] {
        // At first no period was defined: the years alone say nothing.
        let told = since.iter().any(|s| s == of)
            || since
                .iter()
                .any(|s| s.starts_with("L1 (period none -> Lean"));
        assert!(told, "{of} in {since:?}");
    }
}

#[test]
fn without_a_source_as_if_its_rows_were_deleted() {
    let desk = Desk::with(
        "all.csv",
        format!("{FIRST}{}", SECOND.split_once('\n').unwrap().1),
    );
    let whole = desk.read("all.csv");
    let json = desk
        .run("norms --leave-out source --from all.csv --format json")
        .done()
        .json();
    assert_eq!(json["whose"], "source");
    let parts = json["parts"].as_array().unwrap();
    let names: Vec<&str> = parts.iter().map(|p| p["name"].as_str().unwrap()).collect();
    assert_eq!(names, ["Bench One", "Bench Two", "(not named)", "Visitor"]);
    let left: Vec<BTreeMap<[String; 3], Option<f64>>> = names
        .iter()
        .map(|name| {
            let cell = format!(",{},", if *name == "(not named)" { "" } else { name });
            let rows: String = whole
                .lines()
                .filter(|l| !l.contains(&cell))
                .map(|l| format!("{l}\n"))
                .collect();
            desk.write("left.csv", rows);
            limits(&desk.run("norms --from left.csv --format json").done())
        })
        .collect();
    let rows = json["left_out"].as_array().unwrap();
    assert_eq!(rows.len(), 2 * 2 * 3);
    for row in rows {
        let key = ["pattern", "dimension", "what"].map(|k| row[k].as_str().unwrap().to_owned());
        let values = left.iter().map(|of| of.get(&key).copied().flatten());
        let named: Vec<(f64, &str)> = values
            .zip(&names)
            .filter_map(|(value, name)| Some((value?, *name)))
            .collect();
        let least = named.iter().copied().min_by(|a, b| a.0.total_cmp(&b.0));
        let most = named.iter().copied().max_by(|a, b| a.0.total_cmp(&b.0));
        for (what, want) in [("least", least), ("greatest", most)] {
            let got = row[what].as_f64();
            match want {
                Some((value, _)) => assert!((got.unwrap() - value).abs() < 1e-10, "{key:?} {what}"),
                None => assert_eq!(got, None, "{key:?}"),
            }
        }
        // All pears are the visitor's.
        let falls: Vec<&str> = row["falls_without"]
            .as_array()
            .unwrap()
            .iter()
            .map(|v| v.as_str().unwrap())
            .collect();
        assert_eq!(
            falls,
            if key[0] == "pear" {
                vec!["Visitor"]
            } else {
                vec![]
            },
            "{key:?}"
        );
    }
    let out = desk
        .run("norms --leave-out source --from all.csv --format table")
        .done()
        .out;
    for words in [
        "one source left out at a time: ",
        "without Visitor too little is left for a typical range of: ",
        " references)",
    ] {
        assert!(out.contains(words), "no `{words}` in\n{out}");
    }
    let csv = desk
        .run("norms apple --leave-out source --from all.csv")
        .done()
        .csv();
    assert_eq!(
        csv.header.join(","),
        "maker,pattern,dimension,unit,finish,what,n,value,least,least_without,greatest,\
         greatest_without,moved_by,moved,moved_in_spreads,n_theirs,falls_without"
    );
    assert_eq!(csv.rows.len(), 6);
}

/// Norms of the pieces themselves are left out and moved as such, not as those of readings.
#[test]
fn true_sizes_are_left_out_as_norms_have_them() {
    let desk = Desk::with("first.csv", FIRST);
    let of = |more: &str| {
        let line = format!("norms --from first.csv --format json{more}");
        limits(&desk.run(&line).done())
    };
    let (readings, pieces) = (of(""), of(" --true-size"));
    let line = "norms --leave-out source --true-size --from first.csv --format json";
    let json = desk.run(line).done().json();
    for row in json["left_out"].as_array().unwrap() {
        let key = ["pattern", "dimension", "what"].map(|k| row[k].as_str().unwrap().to_owned());
        assert_eq!(row["value"].as_f64(), pieces[&key], "{key:?}");
        if key[2] != "centre" {
            assert_ne!(pieces[&key], readings[&key], "{key:?}");
        }
    }
}

#[test]
fn pages_about_the_demo_data_fit_and_hold_no_nonsense() {
    let desk = Desk::new();
    let file = demo_collection();
    for whose in ["source", "measured_by", "period"] {
        let out = desk
            .run(&format!(
                "norms --leave-out {whose} --from {file} --format table"
            ))
            .done()
            .out;
        assert!(
            out.lines()
                .all(|line| line.chars().count() <= 98 || line.contains(&file)),
            "{out}"
        );
        assert!(!out.contains("NaN") && !out.contains("inf "), "{out}");
    }
}

#[test]
fn what_cannot_be_asked_is_refused_in_words() {
    let desk = story();
    let refused = |line: &str, words: &[&str]| {
        let said = desk.refuses(line);
        for word in words {
            assert!(said.contains(word), "no `{word}` in {said}");
        }
    };
    refused("norms --since 0 --from c.db", &["no revision 0", "1 to 5"]);
    refused("norms --since 6 --from c.db", &["no revision 6", "1 to 5"]);
    refused("norms --since never --from c.db", &["--since"]);
    refused(
        "norms --since 1 --from first.csv",
        &["first.csv", "earlier revisions"],
    );
    refused(
        "norms --since 1 --leave-out source --from c.db",
        &["cannot be used with"],
    );
    refused("norms --all --from c.db", &["--since"]);
    refused(
        "norms quince --since 1 --from c.db",
        &["no pattern `quince`"],
    );
    refused(
        "norms --leave-out everybody --from c.db",
        &["source", "measured_by", "period"],
    );
    refused(
        "norms --leave-out measured_by --from c.db",
        &["nobody is named", "measured_by"],
    );
    desk.write(
        "one.csv",
        "specimen,source,bit width\nA,Bench,16.0\nB,Bench,16.1\nC,bench,16.2\n",
    );
    refused(
        "norms --leave-out source --from one.csv",
        &["all readings are of one source, `Bench`"],
    );
    refused(
        "norms --leave-out period --from one.csv",
        &["no piece that speaks is of a period"],
    );
    desk.write(
        "two.csv",
        "specimen,source,bit width\nA,Bench,16.0\nB,Shed,16.1\nC,,16.2\n",
    );
    let out = desk
        .run("norms --leave-out source --from two.csv --format table")
        .done()
        .out;
    assert!(!out.contains("NaN"), "{out}");
    // A period that the earlier revision does not know.
    desk.run("add first.csv --to d.db").done();
    desk.run("add periods.csv --to d.db").done();
    let words = [
        "norms",
        "--since",
        "1",
        "--from",
        "d.db",
        "--periods",
        "Old Shop",
    ];
    let answer = desk.run_words(&words).ends(2);
    assert!(
        answer.err.contains("at revision 1: no period `Old Shop`"),
        "{}",
        answer.err
    );
    // A sheet on standard input, and a broken one.
    let answer = desk
        .run_on("norms --leave-out source --from -", SECOND)
        .ends(2);
    assert!(
        answer.err.contains("one source, `Visitor`"),
        "{}",
        answer.err
    );
    let broken = demo("sheets/broken.csv");
    desk.refuses(&format!("norms --leave-out source --from {broken}"));
}
