//! What people are told about their own slips of the keyboard, and what is left unsaid.

use std::fmt::Write as _;

use super::{Desk, demo, demo_collection};

/// What wrapping broke, in one line.
fn unwrapped(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn an_error_of_the_spreadsheet_is_called_one() {
    for cell in ["#N/A", "#DIV/0!", "#REF!", "#VALUE!", "#NAME?", "Err:502"] {
        let desk = Desk::with("s.csv", format!("specimen,bit width\nA,16.1\nB,{cell}\n"));
        let said = desk.refuses("norms --from s.csv");
        assert!(said.contains("an error of the spreadsheet"), "{said}");
        assert!(said.contains("row 3"), "{said}");
    }
    let desk = Desk::with("s.csv", "specimen,draught diameter\nA,#22\nB,#x\n");
    assert!(desk.refuses("norms --from s.csv").contains("row 3"));
}

#[test]
fn a_date_is_reversed_or_not_known() {
    let desk = Desk::with("s.csv", "specimen,made,bit width\nA,1938-1931,16\n");
    let said = desk.refuses("norms --from s.csv");
    assert!(said.contains("reversed: write 1931-1938"), "{said}");
    let long = "specimen,made,dimension,value\nA,Unknown,bit width,16\nA,1931,bit width,16.1\n";
    for text in [
        "specimen,made,bit width\nA,unknown,16\nB,n.d.,16.1\nC,Undated,16.2\nD,no date,16.1\n",
        long,
    ] {
        let desk = Desk::with("s.csv", text);
        desk.run("norms --from s.csv").done();
        desk.run("add s.csv --to c.db").done();
        desk.run("norms --from c.db").done();
    }
}

/// The same words in another order come first.
#[test]
fn a_heading_in_another_order_is_near() {
    for heading in ["Width of bit", "width, bit", "Diameter of the bowl"] {
        let desk = Desk::with("s.csv", format!("specimen,\"{heading}\"\nA,16\n"));
        let said = desk.refuses("norms --from s.csv");
        let near = match heading.contains("bowl") {
            true => "bowl diameter",
            false => "bit width",
        };
        assert!(said.contains(&format!("nearest: {near}")), "{said}");
        assert!(
            said.contains(&format!("--column '{heading}={near}'")),
            "{said}"
        );
    }
}

#[test]
fn columns_of_single_readings_are_sent_to_their_own_shape() {
    for column in [
        "measured_by",
        "Measured On",
        "instrument",
        "uncertainty",
        "unit",
        "value",
    ] {
        let desk = Desk::with("s.csv", format!("specimen,bit width,{column}\nA,16,x\n"));
        let said = desk.refuses("norms --from s.csv");
        for words in ["goes with one row a reading", "docs/formats.md", "--skip"] {
            assert!(said.contains(words), "no `{words}` in {said}");
        }
        assert!(!said.contains("--new-dimensions"), "{said}");
    }
}

/// Another person's readings of the same pieces in a wide sheet: not all of them line by line, and not
/// only the advice to overwrite the first one's.
#[test]
fn many_contradictions_are_counted() {
    let sheet = |add: f64| {
        let mut csv = String::from("specimen,bit width,bowl diameter\n");
        for i in 0..15 {
            let size = f64::from(i) * 0.1 + add;
            writeln!(csv, "P{i},{:.2},{:.2}", 16.0 + size, 42.0 + size).unwrap();
        }
        csv
    };
    let desk = Desk::with("one.csv", sheet(0.0));
    desk.write("two.csv", sheet(0.15));
    desk.run("add one.csv --to c.db").done();
    let said = desk.refuses("add two.csv --to c.db");
    let lines = said.lines().filter(|l| l.contains("the collection has"));
    assert_eq!(lines.count(), 20, "{said}");
    for words in [
        "and 10 more",
        "30 entries contradict",
        "measured_by",
        "--correct",
    ] {
        assert!(said.contains(words), "no `{words}` in {said}");
    }
    // Of what is no reading nobody else's could stand beside it.
    desk.write("maker.csv", "specimen,maker,bit width\nQ,Row,16\n");
    desk.run("add maker.csv --to c.db").done();
    desk.write("other.csv", "specimen,maker,bit width\nQ,Lane,16\n");
    let said = desk.refuses("add other.csv --to c.db");
    assert!(!said.contains("measured_by"), "{said}");
}

#[test]
fn a_row_of_sums_is_remarked() {
    let csv = "specimen,bit width\nA,16.1\nB,16.2\nAverage,16.15\nTotal:,32.3\nSummer,16.1\n";
    let desk = Desk::with("s.csv", csv);
    for line in ["norms --from s.csv", "add s.csv --to c.db"] {
        let said = desk.run(line).done().err;
        assert!(
            said.contains("row 4: `Average` is taken as a pipe"),
            "{said}"
        );
        assert!(said.contains("row 5: `Total:` is taken"), "{said}");
        assert!(!said.contains("`Summer`"), "{said}");
    }
    let said = Desk::new()
        .run(&format!("norms --from {}", demo_collection()))
        .err;
    assert!(!said.contains("is taken as a pipe"), "{said}");
}

#[test]
fn spellings_of_one_pattern_are_remarked() {
    let mut csv = String::from("specimen,maker,pattern,bit width\n");
    let names = [
        ("Row", "apple", 4),
        ("Row", "Apples", 3),
        ("Row", "apel", 2),
        ("Row", "pear", 3),
        ("Row", "no. 12", 3),
        ("Row", "no. 13", 3),
        ("Lane", "appel", 3),
    ];
    for (maker, pattern, pieces) in names {
        for i in 0..pieces {
            writeln!(csv, "{maker} {pattern} {i},{maker},{pattern},16.{i}").unwrap();
        }
    }
    let desk = Desk::with("s.csv", csv);
    let want = "patterns `apple` (4), `Apples` (3) and `apel` (2) look like one: mend the sheet";
    for line in [
        "norms --from s.csv",
        "norms apel --from s.csv",
        "add s.csv --to c.db",
    ] {
        let said = desk.run(line).done().err;
        assert_eq!(said.matches(want).count(), 1, "{line}: {said}");
        assert_eq!(said.matches("look like one").count(), 1, "{line}: {said}");
    }
    for line in [
        "norms pear --from s.csv".to_owned(),
        format!("norms --from {}", demo_collection()),
    ] {
        let said = desk.run(&line).done().err;
        assert!(!said.contains("look like one"), "{said}");
    }
}

#[test]
fn the_page_of_forms_fits() {
    let line = format!("form {} --format table", demo("sheets/traces.csv"));
    let out = Desk::new().run(&line).done().out;
    let wide: Vec<&str> = out.lines().filter(|l| l.chars().count() > 98).collect();
    assert!(wide.is_empty(), "{wide:#?}");
}

#[test]
fn a_revision_is_a_number() {
    let said = Desk::new().refuses("norms --since yesterday --from c.db");
    for words in ["the number of a revision", "calibriar history"] {
        assert!(unwrapped(&said).contains(words), "{said}");
    }
}

/// Of all patterns only what stands or falls with one part is told; of one, what moves.
#[test]
fn what_does_not_move_is_counted() {
    let desk = Desk::new();
    let file = demo_collection();
    let page = |pattern: &[&str]| {
        let line = format!("norms --leave-out measured_by --from {file} --format table");
        let words: Vec<&str> = line.split_whitespace().collect();
        desk.run_words(&[&words, pattern].concat()).done().out
    };
    let all = page(&[]);
    assert!(!all.contains("lower limit  "), "{all}");
    assert!(unwrapped(&all).contains("more: none falls without one measurer"));
    assert!(!unwrapped(&all).contains("readings of no named"), "{all}");
    let one = page(&["apple H34"]);
    assert!(one.contains("lower limit"), "{one}");
    for line in one.lines().filter(|l| l.contains(" to ")) {
        assert!(
            !line.contains("lower 0.0,") && !line.contains("upper 0.0,"),
            "{line}"
        );
    }
}
