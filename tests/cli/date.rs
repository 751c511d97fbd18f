//! `date`: keys, columns, exit statuses, words and refusals.

use super::Holds::{Count, Number, One, Text, TextOrNull};
use super::{Answer, Desk, assert_keys, demo_collection};

const HEADER: &str = "specimen,maker,pattern,period,period_from,period_to,standing,n,prior,posterior,\
                      log_likelihood,fits_p,answer";

const PERIODS: &str = "\
maker,period,from,to,standing,note
Row Works,Old Shop,1921,1938,good,
Row Works,Lean Years,1939,1947,poor,
Row Works,Last Bench,1948,1960,unrated,
";

/// Invented: bits grow from 14 to 16 mm between two periods; of a third there is no piece.
fn sheet() -> String {
    let mut text = String::from("specimen,maker,pattern,made,state,bit width,shank width,weight\n");
    for i in 0..8 {
        let (off, shank) = (0.05 * f64::from(i % 4), 12.0 + 0.1 * f64::from((3 * i) % 5));
        let year = 1930 + i;
        text += &format!(
            "A{i},Row Works,apple,{year},factory,{:.2},{shank:.2},30\n",
            14.0 + off
        );
        let year = 1940 + i % 7;
        text += &format!(
            "B{i},Row Works,apple,{year},factory,{:.2},{shank:.2},31\n",
            16.0 + off
        );
    }
    text += "X,Row Works,apple,,factory,16.1,12.2,\n";
    text += "HALF,Row Works,apple,,factory,15.00,16.00,\n";
    text += "WORN,Row Works,apple,,factory,16.1 {worn},12.2,\n";
    text += "LOST,Row Works,apple,,,16.1,12.2,\n";
    text += "BARE,Row Works,apple,,,,,\n";
    text += "NOPAT,Row Works,,,factory,16.1,12.2,\n";
    text
}

fn desk() -> Desk {
    let desk = Desk::with("apples.csv", sheet());
    desk.write("periods.csv", PERIODS);
    desk
}

const FROM: &str = "--from apples.csv --periods-from periods.csv";

fn date(desk: &Desk, line: &str) -> Answer {
    desk.run(&format!("date {line} {FROM}")).done()
}

#[test]
fn csv_has_a_row_for_each_period() {
    let desk = desk();
    let answer = date(&desk, "X");
    let header = format!("{HEADER},why,recorded,typical_posterior");
    assert_eq!(answer.out.lines().next(), Some(header.as_str()));
    let csv = answer.csv();
    assert_eq!(
        csv.column("period"),
        ["Old Shop", "Lean Years", "Last Bench"]
    );
    assert_eq!(csv.column("standing"), ["good", "poor", "unrated"]);
    assert_eq!(csv.column("period_from"), ["1921", "1939", "1948"]);
    assert_eq!(csv.column("n"), ["8", "8", "0"]);
    assert_eq!(csv.column("answer"), ["Lean Years"; 3]);
    let sum: f64 = (0..3).map(|row| csv.number(row, "posterior")).sum();
    assert!((sum - 1.0).abs() < 1e-12);
    assert!((csv.number(0, "prior") - 1.0 / 3.0).abs() < 1e-12);
    assert!(csv.number(1, "posterior") > 0.9);
    assert!(csv.number(0, "fits_p") < 0.001 && csv.number(1, "fits_p") > 0.05);
}

#[test]
fn json_has_every_key_and_the_note() {
    let desk = desk();
    let json = date(&desk, "X HALF --format json").json();
    let note = json["note"].as_str().unwrap();
    assert!(note.contains("neither date nor authenticate"));
    assert!(json["provenance"]["version"].is_string());
    let dating = &json["datings"][0];
    assert_keys(
        dating,
        &[
            ("specimen", Text),
            ("maker", TextOrNull),
            ("pattern", TextOrNull),
            ("answer", One("Lean Years")),
            ("why", TextOrNull),
            ("recorded", TextOrNull),
            ("n_set_aside", Count),
        ],
    );
    let period = &dating["periods"][0];
    for key in [
        "n",
        "prior",
        "posterior",
        "log_likelihood",
        "log_likelihood_together",
        "fits_p",
    ] {
        assert_keys(period, &[(key, Number)]);
    }
    let dimension = super::entry(&dating["dimensions"], "dimension", "bit_width");
    for key in ["value", "uncertainty", "log_odds"] {
        assert_keys(dimension, &[(key, Number)]);
    }
    for key in ["centre", "score", "p", "log_likelihood"] {
        assert_keys(&dimension["periods"][2], &[(key, Number)]);
    }
    // The parts add up to the whole.
    for at in 0..3 {
        let part = |d: &serde_json::Value| d["periods"][at]["log_likelihood"].as_f64().unwrap();
        let singly: f64 = dating["dimensions"]
            .as_array()
            .unwrap()
            .iter()
            .map(part)
            .sum();
        let period = &dating["periods"][at];
        let together = period["log_likelihood_together"].as_f64().unwrap();
        let whole = period["log_likelihood"].as_f64().unwrap();
        assert!((singly + together - whole).abs() < 1e-9);
    }
    assert_eq!(json["datings"][1]["answer"], "fits none");
}

#[test]
fn words_for_people() {
    let desk = desk();
    let text = date(&desk, "X HALF WORN BARE NOPAT LOST A0 --format table").out;
    for words in [
        "X: resembles Lean Years (1939-1947), share",
        "bit width speaks most for Lean Years",
        "HALF: fits none of the periods",
        "bit width (worn)",
        "LOST: cannot be compared: none of its readings",
        "--unknown-state lets them speak",
        "BARE: cannot be compared: nothing was measured on it",
        "NOPAT: cannot be compared: no pattern given",
        "by its date on record Old Shop, not used here; its dimensions agree",
        "as likely as a stranger",
        "neither date nor authenticate",
    ] {
        assert!(text.contains(words), "no `{words}` in {text}");
    }
    assert!(text.lines().all(|l| l.chars().count() <= 98), "{text}");
    let help = desk.run("date --help").done().out;
    assert!(
        help.replace("\n", " ")
            .contains("neither date nor authenticate")
    );
    assert!(!help.contains("--periods <"), "{help}");
}

/// A piece is dated as if it were not in the collection, wherever it is filed.
#[test]
fn the_same_from_another_table() {
    let desk = desk();
    desk.write(
        "one.csv",
        "specimen,maker,pattern,bit width,shank width\nX,Row Works,apple,16.10,12.20\n\
         Y,Row Works,pear,16.10,12.20\n",
    );
    let inside = date(&desk, "X").csv();
    let outside = date(&desk, "--file one.csv").csv();
    for heading in HEADER.split(',') {
        for row in 0..3 {
            assert_eq!(
                outside.cell(row, heading),
                inside.cell(row, heading),
                "{heading}"
            );
        }
    }
    assert_eq!(outside.rows.len(), 4);
    assert_eq!(outside.cell(3, "answer"), "undecided");
    assert!(outside.cell(3, "why").contains("no such pattern"));
    // Its own date changes nothing.
    desk.write(
        "dated.csv",
        sheet().replace("X,Row Works,apple,,", "X,Row Works,apple,1930,"),
    );
    let dated = desk
        .run("date X --from dated.csv --periods-from periods.csv")
        .done()
        .csv();
    assert_eq!(dated.column("posterior"), inside.column("posterior"));
    assert_eq!(dated.cell(0, "recorded"), "Old Shop");
}

#[test]
fn priors() {
    let desk = desk();
    let prior = |words: &str| {
        let mut all = vec!["date", "X", "--prior", words];
        all.extend(FROM.split_whitespace());
        desk.run_words(&all)
    };
    let csv = prior("made").done().csv();
    for (row, known) in [9.0, 9.0, 1.0].into_iter().enumerate() {
        assert!((csv.number(row, "prior") - known / 19.0).abs() < 1e-12);
    }
    let csv = prior("old shop = 3, Last Bench=1").done().csv();
    assert_eq!(csv.column("prior"), ["0.75", "0.0", "0.25"]);
    assert_eq!(csv.cell(1, "posterior"), "0.0");
    for (words, said) in [
        ("Old Shop=0,Last Bench=1", "over 0"),
        ("Old Shop=-1,Last Bench=1", "over 0"),
        ("Old Shop=inf,Last Bench=1", "over 0"),
        ("Old Shop=nan,Last Bench=1", "over 0"),
        ("Old Shop=1,5", "expected"),
        ("Old Shop", "expected"),
        ("", "expected"),
        ("Old Shop=1,old shop=2", "named twice"),
        ("Old Shap=1,Bench=2", "nearest: Old Shop"),
        ("Old Shop=1", "nothing to choose from"),
        ("Old Shop=1e308,Last Bench=1e308", "too large"),
    ] {
        let answer = prior(words).ends(2);
        assert!(
            answer.err.contains(said) && answer.out.is_empty(),
            "{words}: {}",
            answer.err
        );
    }
}

#[test]
fn refusals() {
    let desk = desk();
    let said = desk.refuses(&format!("date X9 A00 {FROM}"));
    assert!(
        said.contains("no specimen `X9`") && said.contains("`A00` (nearest: "),
        "{said}"
    );
    let said = desk.refuses("date X --from apples.csv");
    assert!(said.contains("no production periods"), "{said}");
    desk.write(
        "one.csv",
        "maker,period,from,to,standing,note\n,Only,1921,1960,good,\n",
    );
    let said = desk.refuses("date X --from apples.csv --periods-from one.csv");
    assert!(said.contains("only one period is known"), "{said}");
    let said = desk.refuses(&format!("date X {FROM} --periods Old"));
    assert!(said.contains("every period"), "{said}");
    desk.refuses(&format!("date {FROM}"));
}

/// References that are all alike, one reference a period, three rows in all.
#[test]
fn little_evidence_is_no_decision() {
    let desk = Desk::new();
    let rows = "A,old,16.1\nB,new,16.3\nC,,16.2\n";
    desk.write("three.csv", format!("specimen,period,bit width\n{rows}"));
    let csv = desk.run("date C --from three.csv").done().csv();
    assert_eq!(csv.column("answer"), ["undecided"; 2]);
    assert!(
        csv.cell(0, "why").contains("do not differ enough"),
        "{:?}",
        csv.rows
    );
    desk.write(
        "alike.csv",
        "specimen,period,bit width\nA,old,16\nB,old,16\nD,new,16\nE,new,16\nC,,16\n",
    );
    let csv = desk.run("date C --from alike.csv").done().csv();
    assert_eq!(csv.column("answer"), ["undecided"; 2]);
    desk.write(
        "none.csv",
        "specimen,period,bit width,weight\nA,old,16,\nD,new,16.2,\nC,,,30\n",
    );
    let csv = desk.run("date C --from none.csv").done().csv();
    assert!(
        csv.cell(0, "why").contains("no other piece"),
        "{:?}",
        csv.rows
    );
}

/// Where something is known beforehand, that no piece could be dated with equal chances is not told.
#[test]
fn a_prior_is_not_overlooked() {
    let desk = Desk::new();
    let rows = "A,old,16.1\nB,new,16.2\nD,old,16.2\nE,new,16.1\nC,,16.2\n";
    desk.write("few.csv", format!("specimen,period,bit width\n{rows}"));
    let table = "date C --from few.csv --format table";
    let equal = desk.run(table).done().out;
    assert!(
        equal.contains("the periods do not differ enough here"),
        "{equal}"
    );
    let prior = desk
        .run(&format!("{table} --prior old=200,new=50"))
        .done()
        .out;
    assert!(!prior.contains("do not differ enough"), "{prior}");
    assert!(prior.contains("C: undecided: old 8"), "{prior}");
}

#[test]
fn all_readings_in_another_unit_are_told_with_it() {
    let desk = desk();
    let header = "specimen,maker,pattern,state,bit width,shank width\n";
    let cases = [
        ("0.63,0.48", "they look like inches read as millimetres"),
        ("1610,1220", "outside the credible ranges"),
    ];
    for (sizes, said) in cases {
        desk.write(
            "in.csv",
            format!("{header}X,Row Works,apple,factory,{sizes}\n"),
        );
        let answer = desk
            .run(&format!("date --file in.csv {FROM} --format table"))
            .done();
        let text = answer.out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(text.contains(said), "{text}");
        assert!(!text.contains("says what left the works"), "{text}");
    }
}

#[test]
fn the_maker_that_does_not_match_is_named() {
    let desk = desk();
    desk.write(
        "strange.csv",
        "specimen,maker,pattern,bit width\nS,Unknown Shop,apple,16.1\n",
    );
    let answer = desk
        .run(&format!("date --file strange.csv {FROM} --format table"))
        .done();
    let text = answer.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        text.contains(
            "no pieces by `Unknown Shop` of the pattern `apple`; it has some by Row Works"
        ),
        "{text}"
    );
}

#[test]
fn a_piece_that_fits_none_has_no_share_in_its_sentence() {
    let desk = Desk::new();
    let from = demo_collection();
    let answer = desk.run_words(&["date", "HR0001", "--from", &from, "--format", "table"]);
    let text = answer.done().out;
    let sentence = text.split("apple H34").next().unwrap();
    assert!(sentence.contains("fits none of the periods"), "{text}");
    assert!(!sentence.contains('%'), "{text}");
}

#[test]
fn a_thousand_periods() {
    let desk = Desk::new();
    let mut text = String::from("specimen,period,d1 (mm),d2 (mm)\n");
    for i in 0..1000 {
        for k in 0..2 {
            let jitter = 0.01 * f64::from((i * 7 + k * 13) % 10);
            text += &format!(
                "S{i}.{k},p{i},{:.2},{:.2}\n",
                10.0 + f64::from(i % 50) + jitter,
                20.0 + jitter
            );
        }
    }
    desk.write("many.csv", text + "X,,12.05,20.04\n");
    let line = "date X --from many.csv --new-dimensions --format";
    let csv = desk.run(&format!("{line} csv")).done().csv();
    assert_eq!(csv.rows.len(), 1000);
    let text = desk.run(&format!("{line} table")).done().out;
    assert!(text.contains("and 988 more periods"), "{text}");
}

/// The canted dublin of the Conveyor Years; a worn piece; a piece that was made out of norm.
#[test]
fn demo_pieces() {
    let desk = Desk::new();
    let path = demo_collection();
    let words = ["date", "HR0264", "HR0300", "HR0001", "--from", &path];
    let csv = desk.run_words(&words).done().csv();
    let of = |name: &str| -> usize {
        csv.column("specimen")
            .iter()
            .position(|s| *s == name)
            .unwrap()
    };
    assert_eq!(csv.cell(of("HR0264"), "answer"), "Conveyor Years");
    assert_eq!(csv.cell(of("HR0264"), "recorded"), "Conveyor Years");
    assert_eq!(csv.cell(of("HR0001"), "answer"), "fits none");
    assert!(
        csv.cell(of("HR0300"), "why")
            .contains("none of its readings")
    );
    // Colours speak only if asked.
    let json = |more: &[&str]| {
        let mut all = vec!["date", "HR0264", "--format", "json", "--from", &path];
        all.extend(more);
        desk.run_words(&all).done().json()
    };
    let dimensions =
        |json: &serde_json::Value| json["datings"][0]["dimensions"].as_array().unwrap().len();
    assert_eq!(
        dimensions(&json(&["--colours"])),
        dimensions(&json(&[])) + 3
    );
}
