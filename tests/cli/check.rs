//! `check`: keys, verdicts, exit statuses, and that no piece is judged by itself.

use serde_json::Value;

use super::Holds::{Count, CountOrNull, Null, Number, Text, TextOrNull, Texts};
use super::{APPLES, Answer, Desk, Holds, PERIODS, assert_keys, demo_collection, entry};

const PIECE: [(&str, Holds); 5] = [
    ("specimen", Text),
    ("maker", TextOrNull),
    ("pattern", TextOrNull),
    ("periods", Texts),
    ("verdict", Text),
];

/// What stands for every dimension.
const ALWAYS: [(&str, Holds); 8] = [
    ("dimension", Text),
    ("unit", Text),
    ("value", Number),
    ("uncertainty", Number),
    ("state", Text),
    ("n", Count),
    ("verdict", Text),
    ("cautions", Texts),
];

/// What needs references.
const JUDGED: [&str; 11] = [
    "centre",
    "spread",
    "df",
    "typical_low",
    "typical_high",
    "deviation",
    "score",
    "p",
    "p_adjusted",
    "sharpness",
    "least_noticeable",
];

const VERDICTS: [&str; 4] = ["typical", "borderline", "out_of_norm", "undecided"];

fn desk() -> Desk {
    let desk = Desk::with("apples.csv", APPLES);
    desk.write("periods.csv", PERIODS);
    desk.run("add apples.csv periods.csv --to c.db").done();
    desk
}

/// Size, shape and misfit taken together: all of them, or `null` where nothing can be said.
#[track_caller]
fn assert_joint(piece: &Value) {
    let joint = &piece["joint"];
    assert!(piece.get("joint").is_some(), "no key `joint` in {piece}");
    if joint.is_null() {
        return;
    }
    assert_keys(joint, &[("n_dimensions", Count)]);
    for key in [
        "size_score",
        "size_p",
        "size_verdict",
        "shape",
        "misfit",
        "misfit_p",
    ] {
        assert!(joint.get(key).is_some(), "no key `{key}` in {joint}");
    }
    for shape in joint["shape"].as_array().unwrap() {
        assert_keys(shape, &[("dimension", Text), ("verdict", Text)]);
        for key in ["score", "p", "p_adjusted"] {
            assert!(shape.get(key).is_some(), "no key `{key}` in {shape}");
        }
    }
}

#[track_caller]
fn dimension<'a>(json: &'a Value, specimen: &str, key: &str) -> &'a Value {
    entry(
        &entry(&json["checks"], "specimen", specimen)["dimensions"],
        "dimension",
        key,
    )
}

#[test]
fn json_has_every_key_with_its_type() {
    let desk = desk();
    let json = desk
        .run("check A8 A1 --from c.db --format json")
        .ends(1)
        .json();
    for key in ["source", "revision", "sha256", "version"] {
        assert!(json["provenance"].get(key).is_some(), "{key}");
    }
    assert_eq!(json["checks"].as_array().unwrap().len(), 2);
    for piece in json["checks"].as_array().unwrap() {
        assert_keys(piece, &PIECE);
        assert_joint(piece);
        assert_eq!(piece["periods"], serde_json::json!(["Old Shop"]));
        assert!(VERDICTS.contains(&piece["verdict"].as_str().unwrap()));
        for dimension in piece["dimensions"].as_array().unwrap() {
            assert_keys(dimension, &ALWAYS);
            assert_keys(dimension, &JUDGED.map(|key| (key, Number)));
            assert_keys(dimension, &[("more_references", CountOrNull)]);
            assert!(VERDICTS.contains(&dimension["verdict"].as_str().unwrap()));
        }
    }
    let names: Vec<&Value> = json["checks"]
        .as_array()
        .unwrap()
        .iter()
        .map(|c| &c["specimen"])
        .collect();
    assert_eq!(names, ["A8", "A1"], "in the order asked for");
}

#[test]
fn what_is_missing_is_null_and_an_empty_cell() {
    let desk = Desk::with("s.csv", "specimen,bit width\nA,16.1\n");
    let json = desk
        .run("check A --from s.csv --format json")
        .ends(3)
        .json();
    let piece = &json["checks"][0];
    assert_keys(piece, &PIECE);
    assert_joint(piece);
    assert_keys(piece, &[("maker", Null), ("pattern", Null)]);
    let width = &piece["dimensions"][0];
    assert_keys(width, &ALWAYS);
    assert_keys(width, &JUDGED.map(|key| (key, Null)));
    assert_keys(
        width,
        &[
            ("more_references", Count),
            ("verdict", Holds::One("undecided")),
        ],
    );
    assert_eq!(width["n"], 0, "its own reading does not count");
    let csv = desk.run("check A --from s.csv --format csv").ends(3).csv();
    for key in JUDGED {
        assert_eq!(csv.cell(0, key), "", "{key}");
    }
}

#[test]
fn csv_has_the_same_columns_and_the_same_numbers() {
    let desk = Desk::new();
    let path = demo_collection();
    let ask = |format| {
        let words = [
            "check", "HR0512", "HR0014", "--from", &path, "--format", format,
        ];
        desk.run_words(&words).ends(1)
    };
    let (json, csv) = (ask("json").json(), ask("csv").csv());
    let mut row = 0;
    for piece in json["checks"].as_array().unwrap() {
        for dimension in piece["dimensions"].as_array().unwrap() {
            assert_eq!(csv.cell(row, "specimen"), piece["specimen"]);
            assert_eq!(csv.cell(row, "piece_verdict"), piece["verdict"]);
            for (key, value) in dimension.as_object().unwrap() {
                match value {
                    Value::Number(n) => assert_eq!(
                        csv.number(row, key).to_bits(),
                        n.as_f64().unwrap().to_bits(),
                        "{key}"
                    ),
                    Value::Null => assert_eq!(csv.cell(row, key), "", "{key}"),
                    Value::String(text) => assert_eq!(csv.cell(row, key), text),
                    Value::Array(texts) => {
                        let texts: Vec<&str> = texts.iter().filter_map(Value::as_str).collect();
                        assert_eq!(csv.cell(row, key), texts.join("; "));
                    }
                    other => panic!("{key}: {other}"),
                }
            }
            row += 1;
        }
    }
    assert!(row > 20);
    assert_eq!(csv.rows.len(), row);
    let plain = desk
        .run_words(&["check", "HR0512", "HR0014", "--from", &path])
        .ends(1);
    assert_eq!(plain.out, ask("csv").out, "to a pipe the default is CSV");
}

/// The centre is worked out here from the other seven alone.
#[test]
fn a_pieces_own_readings_never_count() {
    let desk = desk();
    let names = ["A1", "A2", "A3", "A4", "A5", "A6", "A7", "A8"];
    let widths = [16.10, 16.22, 15.95, 16.05, 16.18, 16.00, 16.12, 18.40];
    let angles = [2.0, 2.5, 1.5, 2.2, 1.8, 2.1, 1.9, 2.0];
    for source in ["c.db", "apples.csv"] {
        let line = format!("check {} --from {source} --format json", names.join(" "));
        let json = desk.run(&line).ends(1).json();
        for (own, name) in names.iter().enumerate() {
            let others = |values: &[f64; 8], scale: fn(f64) -> f64| {
                let rest = values.iter().enumerate().filter(|(i, _)| *i != own);
                rest.map(|(_, v)| scale(*v)).sum::<f64>() / 7.0
            };
            let width = dimension(&json, name, "bit_width");
            let angle = dimension(&json, name, "cant_angle");
            for (got, centre, value) in [
                (width, others(&widths, f64::ln).exp(), widths[own]),
                (angle, others(&angles, |x| x), angles[own]),
            ] {
                let number = |key: &str| got[key].as_f64().unwrap();
                assert_eq!(got["n"], 7, "{name}");
                assert_eq!(number("value"), value);
                assert!((number("centre") - centre).abs() < 1e-10, "{name}: {got}");
                assert!(
                    (number("deviation") - (value - centre)).abs() < 1e-10,
                    "{name}: {got}"
                );
                assert_eq!(number("score") > 0.0, number("deviation") > 0.0);
            }
        }
    }
}

/// A piece of the source is judged as if it had come from outside, and the other way round.
#[test]
fn a_piece_is_judged_the_same_from_within_and_from_without() {
    let desk = desk();
    let header = APPLES.lines().next().unwrap();
    let rest: String = APPLES
        .lines()
        .filter(|l| !l.starts_with("A8"))
        .fold(String::new(), |t, l| t + l + "\n");
    let alone = APPLES.lines().find(|l| l.starts_with("A8")).unwrap();
    desk.write("rest.csv", rest);
    desk.write("alone.csv", format!("{header}\n{alone}\n"));
    let checks = |line: &str| {
        let line = format!("check {line} --periods-from periods.csv --format json");
        desk.run(&line).ends(1).json()["checks"].clone()
    };
    let within = checks("A8 --from apples.csv");
    // Leaving a piece out and never having had it differ by rounding alone.
    let without = checks("--file alone.csv --from rest.csv");
    for key in [
        "centre",
        "typical_low",
        "typical_high",
        "score",
        "p",
        "p_adjusted",
    ] {
        for at in 0..2 {
            let number = |checks: &Value| checks[0]["dimensions"][at][key].as_f64().unwrap();
            let (a, b) = (number(&without), number(&within));
            assert!((a - b).abs() <= 1e-9 * b.abs(), "{key}: {a} and {b}");
        }
    }
    // Of the same name: its twin in the source is left out.
    assert_eq!(checks("--file alone.csv --from apples.csv"), within);
    let stored = desk
        .run("check --file alone.csv --from c.db --format json")
        .ends(1)
        .json();
    assert_eq!(stored["checks"], within);
}

#[test]
fn a_row_of_a_file_is_judged_and_not_stored() {
    let desk = desk();
    desk.write(
        "new.csv",
        "specimen,maker,pattern,bit width,airway\nX,Row Works,apple,16.1,4\nY,row works,APPLE,19.5,\n\
         Z,Row Works,poker,16.1,4\n",
    );
    let before = desk.everything();
    let json = desk
        .run("check --file new.csv --from c.db --format json")
        .ends(1)
        .json();
    assert_eq!(desk.changes_since(&before), "");
    assert_eq!(
        entry(&json["checks"], "specimen", "X")["verdict"],
        "typical"
    );
    assert_eq!(
        entry(&json["checks"], "specimen", "Y")["verdict"],
        "out_of_norm"
    );
    assert_eq!(
        entry(&json["checks"], "specimen", "Z")["verdict"],
        "undecided"
    );
    assert_eq!(
        dimension(&json, "X", "draught_diameter")["verdict"],
        "undecided"
    );
    assert_eq!(dimension(&json, "X", "bit_width")["n"], 8);
    assert_eq!(dimension(&json, "Z", "bit_width")["n"], 0);
    assert_eq!(json["provenance"]["source"], "c.db");
}

/// Of the rows of a file those that are named, in that order; of all commands that judge such rows.
#[test]
fn named_rows_of_a_file() {
    let desk = desk();
    desk.write(
        "new.csv",
        "specimen,maker,pattern,bit width\nX,Row Works,apple,16.1\nY,Row Works,apple,19.5\n\
         Z,Row Works,apple,16.2\n",
    );
    for (command, pieces) in [("check", "checks"), ("refit", "plans"), ("date", "datings")] {
        let line = format!("{command} Z X --file new.csv --from c.db");
        let answer = desk.run(&format!("{line} --format json")).done();
        let json = answer.json();
        let named = json[pieces].as_array().unwrap();
        let named: Vec<&str> = named
            .iter()
            .map(|of| of["specimen"].as_str().unwrap())
            .collect();
        assert_eq!(named, ["Z", "X"], "{command}");
        let said = desk.refuses(&line.replace(" Z X ", " Zz X "));
        assert!(
            said.contains("no specimen `Zz`") && said.contains("in new.csv"),
            "{said}"
        );
    }
}

/// `--column`, `--skip` and `--new-dimensions` are about the file where the source is a collection.
#[test]
fn a_file_to_judge_is_read_by_the_options_for_csv() {
    let desk = desk();
    desk.write(
        "odd.csv",
        "name,maker,type,width of bit,price\nX,Row Works,apple,16.1,10\n",
    );
    let words = [
        "check",
        "--file",
        "odd.csv",
        "--from",
        "c.db",
        "--column",
        "name=specimen",
        "--column",
        "type=pattern",
        "--column",
        "width of bit=bit width",
        "--skip",
        "price",
        "--format",
        "json",
    ];
    let json = desk.run_words(&words).done().json();
    assert_eq!(dimension(&json, "X", "bit_width")["verdict"], "typical");
    // A dimension that the collection brought along is known when a file is judged by it.
    desk.write("base.csv", "specimen,maker,pattern,made,flange\nA,Row Works,poker,1930,3.0\nB,Row Works,poker,1931,3.1\nC,Row Works,poker,1932,3.2\nD,Row Works,poker,1933,3.0\nE,Row Works,poker,1934,3.1\n");
    desk.run("add base.csv --new-dimensions --to c.db").done();
    desk.write("new.csv", "specimen,pattern,flange\nX,poker,3.1\n");
    let json = desk
        .run("check --file new.csv --from c.db --format json")
        .done()
        .json();
    assert_eq!(dimension(&json, "X", "flange")["n"], 5);
}

#[test]
fn exit_statuses() {
    let desk = desk();
    let check = |line: &str| desk.run(&format!("check {line} --from c.db"));
    let verdict = |answer: &Answer| answer.csv().cell(0, "piece_verdict").to_owned();
    let good = check("A1").done();
    assert_eq!(verdict(&good), "typical");
    assert_eq!(verdict(&check("A8").ends(1)), "out_of_norm");
    check("A1 A8").ends(1);
    // Without references nothing can be decided; one decided piece is enough for 0.
    desk.write(
        "lone.csv",
        "specimen,maker,pattern,bit width\nL1,Row Works,poker,12\n",
    );
    desk.run("add lone.csv --to c.db").done();
    assert_eq!(verdict(&check("L1").ends(3)), "undecided");
    check("L1 A1").done();
    check("L1 A8").ends(1);
    // Wrong use.
    for line in [
        "check --from c.db",
        "check A11 --file apples.csv --from c.db",
        "check A1 --from c.db --format yaml",
        "check A1 --from c.db --no-such-option",
        "chek A1",
        "check A1 --from c.db --periods Nowhen",
    ] {
        desk.refuses(line);
    }
}

/// Two equal halves of a borderline: unusual by itself, not among so many dimensions.
#[test]
fn borderline_is_no_finding() {
    let mut sheet = String::from("specimen,pattern,bit width,bit thickness,airway,wall\n");
    let spread = [-0.02, -0.012, -0.006, 0.0, 0.003, 0.008, 0.012, 0.018];
    for (i, s) in spread.iter().enumerate() {
        let of = |size: f64| format!("{:.3}", size * (1.0 + s));
        sheet.push_str(&format!(
            "P{i},p,{},{},{},{}\n",
            of(16.0),
            of(4.2),
            of(4.0),
            of(7.0)
        ));
    }
    sheet.push_str("X,p,16.6,4.2,4.0,7.0\n");
    let desk = Desk::with("s.csv", sheet);
    let json = desk.run("check X --from s.csv --format json").done().json();
    let width = dimension(&json, "X", "bit_width");
    let number = |key: &str| width[key].as_f64().unwrap();
    assert!(
        number("p") <= 0.05 && number("p_adjusted") > 0.05,
        "{width}"
    );
    assert_eq!(width["verdict"], "borderline");
    assert_eq!(json["checks"][0]["verdict"], "borderline");
}

/// Holm's step-down, worked out here from the p of each dimension.
#[test]
fn p_adjusted_is_holms_over_the_pieces_dimensions() {
    let desk = Desk::new();
    let path = demo_collection();
    let words = ["check", "HR0512", "--from", &path, "--format", "json"];
    let json = desk.run_words(&words).ends(1).json();
    let dimensions = json["checks"][0]["dimensions"].as_array().unwrap();
    let mut pairs: Vec<(f64, f64)> = dimensions
        .iter()
        .filter_map(|d| Some((d["p"].as_f64()?, d["p_adjusted"].as_f64()?)))
        .collect();
    assert!(pairs.len() >= 10);
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let m = pairs.len();
    let mut running = 0.0f64;
    for (rank, (p, adjusted)) in pairs.into_iter().enumerate() {
        running = running.max(p * (m - rank) as f64).min(1.0);
        assert!(
            (adjusted - running).abs() <= 1e-12 * running,
            "{adjusted} is not {running}"
        );
    }
    for d in dimensions {
        let out = d["verdict"] == "out_of_norm";
        assert_eq!(
            out,
            d["p_adjusted"].as_f64().is_some_and(|p| p <= 0.05),
            "{d}"
        );
    }
}

#[test]
fn a_stricter_alpha_finds_less() {
    let desk = desk();
    desk.write(
        "s.csv",
        format!("{APPLES}A9,Row Works,apple,1937,16.45,2.0\n").replace("18.40", "16.08"),
    );
    let ends = |alpha: &str| {
        desk.run(&format!("check A9 --from s.csv --alpha {alpha}"))
            .status
    };
    assert_eq!((ends("0.5"), ends("0.0000001")), (1, 0));
}

#[test]
fn unknown_specimens_are_all_named_with_the_nearest() {
    let desk = Desk::with(
        "s.csv",
        "specimen,pattern,bit width\nHR0512,apple,16\nHR0513,apple,16\nB,poker,3\n",
    );
    desk.run("add s.csv --to c.db").done();
    for source in ["s.csv", "c.db"] {
        let said = desk.refuses(&format!("check HR512 B Zzz --from {source}"));
        for word in ["HR512", "Zzz", "HR0512"] {
            assert!(said.contains(word), "{source}: no {word} in {said}");
        }
        assert!(!said.contains("`B`"), "{said}");
    }
}

#[test]
fn a_specimen_in_another_letter_case() {
    let desk = Desk::with(
        "s.csv",
        "specimen,pattern,bit width\nHr1,apple,16\nab,apple,16\nAB,apple,17\n",
    );
    desk.run("add s.csv --to c.db").done();
    for source in ["s.csv", "c.db"] {
        let csv = desk.run(&format!("check HR1 AB --from {source}")).csv();
        assert_eq!(csv.column("specimen"), ["Hr1", "AB"], "{source}");
        // Two names fit `Ab`: which one is meant cannot be told.
        desk.refuses(&format!("check Ab --from {source}"));
    }
}

#[test]
fn names_with_blanks_commas_and_breaks_come_back_whole() {
    let name = "Uncle's \"best\", 2nd\npiece é";
    let quoted = name.replace('"', "\"\"");
    let desk = Desk::with(
        "s.csv",
        format!("specimen,pattern,bit width\n\"{quoted}\",apple,16\nB,apple,16\n"),
    );
    desk.run("add s.csv --to c.db").done();
    for source in ["s.csv", "c.db"] {
        let csv = desk
            .run_words(&["check", name, "--from", source])
            .ends(3)
            .csv();
        assert_eq!(csv.column("specimen"), [name]);
        let json = desk.run_words(&["check", name, "--from", source, "--format", "json"]);
        assert_eq!(json.ends(3).json()["checks"][0]["specimen"], name);
    }
}

#[test]
fn the_state_of_a_reading_is_told_with_a_caution() {
    let desk = Desk::with(
        "s.csv",
        format!(
            "{APPLES}W,Row Works,apple,1930,16.0 {{worn}},2\nR,Row Works,apple,1930,16.0 {{replaced}},2\nU,Row Works,apple,1930,16.0 {{unknown}},2\n"
        ),
    );
    let json = desk.run("check W R U A1 --from s.csv --format json").json();
    for (name, state, cautions) in [
        ("W", "worn", 1),
        ("R", "replaced", 1),
        ("U", "unknown", 1),
        ("A1", "factory", 0),
    ] {
        let width = dimension(&json, name, "bit_width");
        assert_eq!(width["state"], state);
        assert_eq!(
            width["cautions"].as_array().unwrap().len(),
            cautions,
            "{width}"
        );
    }
}

/// A reading as uncertain as that says little: it is judged more mildly, never more harshly.
#[test]
fn an_uncertain_reading_is_judged_mildly() {
    let desk = desk();
    desk.write(
        "new.csv",
        "specimen,maker,pattern,bit width\nF,Row Works,apple,17.4\nC,Row Works,apple,17.4 ± 3\n",
    );
    let rest: String = APPLES
        .lines()
        .filter(|l| !l.starts_with("A8"))
        .fold(String::new(), |t, l| t + l + "\n");
    desk.write("rest.csv", rest);
    let json = desk
        .run("check --file new.csv --from rest.csv --format json")
        .ends(1)
        .json();
    let (fine, coarse) = (
        dimension(&json, "F", "bit_width"),
        dimension(&json, "C", "bit_width"),
    );
    assert_eq!(fine["verdict"], "out_of_norm");
    assert_ne!(coarse["verdict"], "out_of_norm");
    let u = coarse["uncertainty"].as_f64().unwrap();
    assert!((u - 3.0 / 3f64.sqrt()).abs() < 1e-12);
    assert!(coarse["p"].as_f64() > fine["p"].as_f64());
}

#[test]
fn a_pattern_of_two_makers_is_not_guessed() {
    let desk = Desk::with(
        "s.csv",
        "specimen,maker,pattern,bit width\nA,Row,apple,16\nB,Row,apple,16.1\nC,Row,apple,16.2\nD,Row,apple,16.1\nE,Row,apple,16\n\
         F,Hill,apple,12\nG,Hill,apple,12.1\nH,Hill,apple,12.2\nI,Hill,apple,12\nJ,Hill,apple,12.1\n",
    );
    desk.write(
        "new.csv",
        "specimen,maker,pattern,bit width\nX,,apple,12.1\nY,Hill,apple,12.1\n",
    );
    let json = desk
        .run("check --file new.csv --from s.csv --format json")
        .done()
        .json();
    assert_eq!(
        entry(&json["checks"], "specimen", "X")["verdict"],
        "undecided"
    );
    assert_eq!(
        entry(&json["checks"], "specimen", "Y")["verdict"],
        "typical"
    );
}
