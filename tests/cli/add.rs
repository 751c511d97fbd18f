//! `add`: what is stored, what is there already, and what is set aside.

use super::{APPLES, Desk, PERIODS, demo, demo_collection};

#[test]
fn a_collection_is_made_and_says_what_it_got() {
    let desk = Desk::with("apples.csv", APPLES);
    desk.write("periods.csv", PERIODS);
    let out = desk.run("add apples.csv periods.csv --to c.db").done().out;
    for words in [
        "c.db, revision 1",
        "8 new specimens",
        "16 new readings",
        "3 periods",
    ] {
        assert!(out.contains(words), "no {words} in {out}");
    }
    // Nothing but the collection is left behind.
    let files: Vec<String> = desk
        .everything()
        .into_keys()
        .map(|p| p.file_name().unwrap().to_string_lossy().into_owned())
        .collect();
    assert_eq!(files, ["apples.csv", "c.db", "periods.csv"]);
}

#[test]
fn the_same_file_twice_adds_nothing_and_says_so() {
    let desk = Desk::with("apples.csv", APPLES);
    desk.run("add apples.csv --to c.db").done();
    let before = desk.everything();
    for line in [
        "add apples.csv --to c.db",
        "add ./apples.csv apples.csv --to c.db",
    ] {
        let out = desk.run(line).done().out;
        assert!(
            out.contains("apples.csv") && out.contains("already"),
            "{out}"
        );
        assert!(out.contains("nothing new"), "{out}");
        assert_eq!(desk.changes_since(&before), "");
    }
    // Nor under another name.
    desk.write("copy.csv", APPLES);
    let before = desk.everything();
    assert!(
        desk.run("add copy.csv --to c.db")
            .done()
            .out
            .contains("already")
    );
    assert_eq!(desk.changes_since(&before), "");
    // Twice on one line is once.
    desk.run("add apples.csv apples.csv --to twice.db").done();
    assert_eq!(
        desk.run("norms --from twice.db").done().out,
        desk.run("norms --from c.db").done().out
    );
    assert_eq!(
        desk.run("history --from twice.db")
            .done()
            .csv()
            .column("readings"),
        ["16"]
    );
}

#[test]
fn a_longer_file_adds_what_is_new() {
    let desk = Desk::with("apples.csv", APPLES);
    desk.run("add apples.csv --to c.db").done();
    desk.write(
        "apples.csv",
        format!("{APPLES}A9,Row Works,apple,1937,16.08,2.1\n"),
    );
    let out = desk.run("add apples.csv --to c.db").done().out;
    for words in [
        "1 new specimen,",
        "2 new readings",
        "16 readings there already",
    ] {
        assert!(out.contains(words), "no {words} in {out}");
    }
    assert_eq!(desk.run("norms --from c.db").done().csv().cell(0, "n"), "9");
}

#[test]
fn a_collection_answers_as_the_file_does() {
    let desk = Desk::with("apples.csv", APPLES);
    desk.write("periods.csv", PERIODS);
    desk.run("add periods.csv apples.csv --to c.db").done();
    for command in ["norms", "flag", "check A1 A8"] {
        let stored = desk.run(&format!("{command} --from c.db"));
        let file = desk.run(&format!(
            "{command} --from apples.csv --periods-from periods.csv"
        ));
        assert_eq!(
            (stored.out, stored.status),
            (file.out, file.status),
            "{command}"
        );
    }
}

/// One file with faults refuses all, the good ones and the collection's making included.
#[test]
fn one_fault_refuses_every_file() {
    let desk = Desk::with("apples.csv", APPLES);
    desk.write(
        "bad.csv",
        "specimen,pattern,bit width\nB1,poker,12\nB2,poker,twelve\n",
    );
    desk.refuses("add apples.csv bad.csv --to new.db");
    desk.run("add apples.csv --to c.db").done();
    desk.refuses("add bad.csv --to c.db");
    let out = desk.run("norms --from c.db").done().out;
    assert!(!out.contains("poker"), "{out}");
    let said = desk.refuses("add - --to c.db");
    assert!(said.contains("standard input"), "{said}");
}

const MESSY: &str = "specimen,maker,pattern,note,bit width,airway\r\n\
    M1,Row,apple, plain ,16.1,4\r\n\
    M2,Row,apple,\"with \"\"marks\"\", and comma\",wide,4\r\n\
    \r\n\
    M3,Row,apple,\"two\r\nlines\",16.2,x\r\n\
    M1,Row,apple,again,16.3,4\r\n\
    M4,Row,apple,  blanks kept  , 16.25 ,4.1\r\n\
    M5,Row,apple,,-3,0\r\n";

#[test]
fn set_aside_takes_the_good_rows_and_keeps_the_others_unchanged() {
    let desk = Desk::with("messy.csv", MESSY);
    let answer = desk
        .run("add messy.csv --to c.db --set-aside aside.csv")
        .done();
    assert!(answer.out.contains("2 new specimens"), "{}", answer.out);
    assert!(answer.err.contains("4 faulty rows") && answer.err.contains("aside.csv"));
    assert_eq!(
        desk.read("messy.csv"),
        MESSY,
        "the file itself is not touched"
    );
    let aside = desk.read("aside.csv");
    assert!(
        aside.starts_with("specimen,maker,pattern,note,bit width,airway,"),
        "{aside}"
    );
    for row in [
        "\nM2,Row,apple,\"with \"\"marks\"\", and comma\",wide,4,",
        "\nM3,Row,apple,\"two\r\nlines\",16.2,x,",
        "\nM1,Row,apple,again,16.3,4,",
        "\nM5,Row,apple,,-3,0,",
    ] {
        assert!(aside.contains(row), "no {row:?} in {aside:?}");
    }
    let csv = super::Csv::parse(&aside);
    assert_eq!(csv.column("specimen"), ["M2", "M3", "M1", "M5"]);
    let reasons: Vec<&String> = csv.rows.iter().map(|row| row.last().unwrap()).collect();
    for (reason, words) in reasons.iter().zip([
        &["bit width", "expected a length"][..],
        &["airway", "expected a length"],
        &["specimen", "row 2"],
        &["bit width", "airway", "greater than 0"],
    ]) {
        for word in words {
            assert!(reason.contains(word), "no {word} in {reason}");
        }
    }
}

#[test]
fn rows_set_aside_come_back_once_they_are_mended() {
    let desk = Desk::with("messy.csv", MESSY);
    desk.run("add messy.csv --to c.db --set-aside aside.csv")
        .done();
    let mended = desk
        .read("aside.csv")
        .replace(",wide,4,", ",16.4,4,")
        .replace(",16.2,x,", ",16.2,4,")
        .replace("\nM1,", "\nM6,")
        .replace(",-3,0,", ",16.3,4,");
    desk.write("mended.csv", mended);
    desk.run("add mended.csv --to c.db").done();
    assert_eq!(
        desk.run("norms --from c.db").done().csv().column("n"),
        ["6", "6"]
    );
}

/// Rows of another encoding are not rewritten.
#[test]
fn rows_set_aside_are_unchanged_to_the_byte() {
    let row = b"B;caf\xe9 \xb1;wide";
    let mut sheet = b"specimen;note;bit width\r\nA;caf\xe9;16,1\r\n".to_vec();
    sheet.extend(row);
    sheet.extend(b"\r\n");
    let desk = Desk::with("western.csv", sheet);
    desk.run("add western.csv --to c.db --set-aside aside.csv")
        .done();
    let aside = std::fs::read(desk.path("aside.csv")).unwrap();
    assert!(
        aside.windows(row.len()).any(|w| w == row),
        "{}",
        String::from_utf8_lossy(&aside)
    );
}

#[test]
fn set_aside_never_overwrites() {
    let desk = Desk::with("messy.csv", MESSY);
    desk.write("aside.csv", "somebody's work\n");
    for line in [
        "add messy.csv --to c.db --set-aside aside.csv",
        "add messy.csv --to c.db --set-aside messy.csv",
        "norms --from messy.csv --set-aside aside.csv",
        "flag --from messy.csv --set-aside messy.csv",
    ] {
        let said = desk.refuses(line);
        let name = line.rsplit(' ').next().unwrap();
        assert!(said.contains(name) && said.contains("exists"), "{said}");
    }
    // Nor where only the second of two files meets one.
    desk.write("more.csv", "specimen,bit width\nX,y\n");
    desk.write("out-more.csv", "somebody's work\n");
    desk.refuses("add messy.csv more.csv --to c.db --set-aside out.csv");
}

#[test]
fn set_aside_of_several_files_and_of_none() {
    let desk = Desk::with("messy.csv", MESSY);
    desk.write("more.csv", "specimen,bit width\nX,y\nZ,16\n");
    desk.write("good.csv", APPLES);
    desk.run("add messy.csv more.csv good.csv --to c.db --set-aside out.csv")
        .done();
    assert!(desk.read("out-messy.csv").contains("M2"));
    assert!(desk.read("out-more.csv").contains("X,y,"));
    assert!(!desk.has("out-good.csv") && !desk.has("out.csv"));
    desk.run("add good.csv --to other.db --set-aside none.csv")
        .done();
    assert!(!desk.has("none.csv"), "nothing to set aside, no file");
}

/// What was not stored was not set aside either.
#[test]
fn nothing_is_set_aside_where_nothing_is_stored() {
    let desk = Desk::with("apples.csv", APPLES);
    desk.run("add apples.csv --to c.db").done();
    desk.write(
        "other.csv",
        "specimen,pattern,bit width\nA1,apple,17\nB,apple,x\n",
    );
    desk.refuses("add other.csv --to c.db --set-aside aside.csv");
}

#[test]
fn set_aside_goes_with_every_reading_command() {
    let desk = Desk::with("messy.csv", MESSY);
    let norms = desk
        .run("norms --from messy.csv --set-aside one.csv")
        .done();
    assert_eq!(norms.csv().column("n"), ["2", "2"]);
    desk.run("flag --from messy.csv --set-aside two.csv").done();
    desk.run("check M1 --from messy.csv --set-aside three.csv")
        .ends(3);
    assert_eq!(desk.read("one.csv"), desk.read("two.csv"));
    assert_eq!(desk.read("one.csv"), desk.read("three.csv"));
}

#[test]
fn the_demo_sheets_go_in_and_the_broken_one_does_not() {
    let desk = Desk::new();
    let json = desk.run_words(&["history", "--from", &demo_collection(), "--format", "json"]);
    let json = json.done().json();
    assert_eq!(json["revisions"].as_array().unwrap().len(), 1);
    assert_eq!(json["revisions"][0]["files"].as_array().unwrap().len(), 7);
    let broken = demo("sheets/broken.csv");
    let said = desk.refuses(&format!("add {broken} --to c.db"));
    for cell in ["`about four`", "`1 2/0`", "`5 1/2 1/4`"] {
        assert!(said.contains(cell), "no {cell} in {said}");
    }
    desk.run_words(&["add", &broken, "--to", "c.db", "--set-aside", "aside.csv"])
        .done();
    assert!(desk.read("aside.csv").contains("about four"));
}

#[test]
fn a_piece_described_otherwise_is_a_contradiction() {
    let desk = Desk::with("apples.csv", APPLES);
    desk.run("add apples.csv --to c.db").done();
    desk.write(
        "other.csv",
        "specimen,pattern,made,finish\nA1,poker,1931,smooth\n",
    );
    let said = desk.refuses("add other.csv --to c.db");
    for word in [
        "A1",
        "pattern",
        "`apple`",
        "`poker`",
        "made",
        "`1930`",
        "`1931`",
        "--correct",
    ] {
        assert!(said.contains(word), "no {word} in {said}");
    }
    assert!(!said.contains("finish"), "a gap may be filled: {said}");
    desk.write("fill.csv", "specimen,finish\nA1,smooth\n");
    desk.run("add fill.csv --to c.db").done();
}

/// Another measurer, day or instrument makes another reading; the same cannot read two values.
#[test]
fn a_second_reading_is_no_contradiction() {
    let desk = Desk::with(
        "one.csv",
        "specimen,pattern,dimension,value,measured_by\nA,p,airway,4.0,M\n",
    );
    desk.write(
        "two.csv",
        "specimen,pattern,dimension,value,measured_by\nA,p,airway,4.2,N\n",
    );
    desk.write(
        "three.csv",
        "specimen,pattern,dimension,value,measured_by\nA,p,airway,4.4,M\n",
    );
    desk.run("add one.csv two.csv --to c.db").done();
    let csv = desk.run("norms --from c.db").done().csv();
    assert_eq!((csv.cell(0, "n"), csv.number(0, "mean")), ("1", 4.1));
    let said = desk.refuses("add three.csv --to c.db");
    for word in ["A", "draught_diameter", "4.0", "4.4"] {
        assert!(said.contains(word), "no {word} in {said}");
    }
}

#[test]
fn later_periods_replace_earlier_ones_of_the_same_name() {
    let desk = Desk::with("apples.csv", APPLES);
    desk.write(
        "one.csv",
        "maker,period,from,to,standing,note\nRow Works,Old,1921,1938,good,\n",
    );
    desk.write(
        "two.csv",
        "maker,period,from,to,standing,note\nRow Works,Old,1921,1933,good,\n",
    );
    desk.write(
        "three.csv",
        "maker,period,from,to,standing,note\nRow Works,New,1930,1940,good,\n",
    );
    desk.run("add apples.csv one.csv --to c.db").done();
    assert_eq!(desk.run("norms --from c.db").done().csv().cell(0, "n"), "8");
    // As with readings: what contradicts the collection needs a reason.
    let said = desk.refuses("add two.csv --to c.db");
    assert!(
        said.contains("1921-1938") && said.contains("1921-1933"),
        "{said}"
    );
    desk.run("add two.csv --to c.db --correct --why books")
        .done();
    assert_eq!(desk.run("norms --from c.db").done().csv().cell(0, "n"), "4");
    let said = desk.refuses("add three.csv --to c.db");
    assert!(
        said.contains("Old") && said.contains("New") && said.contains("overlap"),
        "{said}"
    );
}
