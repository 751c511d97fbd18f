//! Files and cells that must be refused: with status 2, a clear word, and nothing changed.

use std::time::{Duration, Instant};

use super::{APPLES, Answer, Desk};

/// Refused by every command that could read it; each refusal holds all these words.
#[track_caller]
fn refused(content: impl AsRef<[u8]>, words: &[&str]) -> String {
    let desk = Desk::with("bad.csv", content);
    desk.write("apples.csv", APPLES);
    desk.run("add apples.csv --to c.db").done();
    let mut last = String::new();
    for line in [
        "norms --from bad.csv",
        "flag --from bad.csv",
        "check A --from bad.csv",
        "check --file bad.csv --from c.db",
        "add bad.csv --to c.db",
        "add apples.csv bad.csv --to new.db",
    ] {
        let said = desk.refuses(line);
        for word in words {
            assert!(said.contains(word), "{line}: no `{word}` in {said}");
        }
        assert!(
            said.lines().all(|l| l.chars().count() < 600),
            "too long: {said}"
        );
        last = said;
    }
    last
}

#[test]
fn an_empty_file() {
    for content in ["", "\n", " \r\n\t\n", "\u{feff}", "\u{feff}\n"] {
        refused(content, &["bad.csv", "empty"]);
    }
}

#[test]
fn a_header_and_nothing_below() {
    for content in [
        "specimen,bit width",
        "specimen,bit width\n\n\n",
        "specimen,bit width\n,\n ,\n",
    ] {
        refused(content, &["bad.csv", "no rows"]);
    }
    refused("specimen,dimension,value\n", &["bad.csv", "no rows"]);
}

#[test]
fn no_column_of_specimens() {
    let words = ["bad.csv", "`specimen`", "name, pattern, bit width"];
    refused("name,pattern,bit width\nA,p,16\n", &words);
    refused(
        "just some text\nof several lines\n",
        &["bad.csv", "`specimen`", "just some text"],
    );
}

#[test]
fn a_title_above_the_header() {
    for (title, row) in [
        ("My pipes\n", 2),
        ("My pipes,,\nas of spring,,\n", 3),
        ("My pipes\n\n", 3),
        ("\nMy pipes\n\n\n", 5),
        ("\"My pipes\nof two lines\"\n", 2),
    ] {
        let text = format!("{title}specimen,pattern,bit width\nA,p,16\n");
        refused(
            &text,
            &["bad.csv", "`specimen`", &format!("row {row} looks like")],
        );
    }
}

#[test]
fn a_specimen_twice() {
    let place = ["bad.csv, row 5, column 1 (specimen): `A`", "row 2"];
    refused(
        "specimen,pattern,bit width\nA,p,16\nB,p,16\n\nA,p,17\n",
        &place,
    );
    // Blanks about a name do not make another one.
    refused(
        "specimen,pattern,bit width\nA,p,16\n A ,p,17\n",
        &["row 3", "row 2"],
    );
    refused(
        "specimen,pattern,bit width\nA,p,16\n,p,17\n",
        &["row 3, column 1 (specimen)", "name"],
    );
}

#[test]
fn an_unknown_dimension_names_the_nearest() {
    refused(
        "specimen,pattern,bit thicknes\nA,p,4\n",
        &[
            "bad.csv, row 1, column 3 (bit thicknes)",
            "bit thickness",
            "--new-dimensions",
        ],
    );
    refused(
        "specimen,dimension,value\nA,bit width,16\nA,bowl hight,45\n",
        &[
            "bad.csv, row 3, column 2 (dimension): `bowl hight`",
            "bowl height",
        ],
    );
    refused(
        "specimen,speciment\nA,4\n",
        &["row 1, column 2 (speciment)", "specimen"],
    );
    // A column without a heading must be empty.
    refused(
        "specimen,bit width,\nA,16,17\n",
        &["row 2, column 3", "`17`"],
    );
}

#[test]
fn two_columns_for_one_thing() {
    refused(
        "specimen,airway,draught diameter (mm)\nA,4,4.1\n",
        &[
            "row 1, column 3 (draught diameter (mm))",
            "column 2 (airway)",
        ],
    );
    refused(
        "specimen,pattern,Pattern\nA,p,p\n",
        &["row 1, column 3 (Pattern)", "column 2"],
    );
}

#[test]
fn a_unit_that_does_not_fit() {
    refused(
        "specimen,bit width (g)\nA,16\n",
        &["row 1, column 2 (bit width (g))", "mm"],
    );
    refused(
        "specimen,weight (in)\nA,16\n",
        &["row 1, column 2 (weight (in))", "g"],
    );
    refused(
        "specimen,bit width\nA,16 g\n",
        &["row 2, column 2 (bit width): `16 g`", "mm"],
    );
    refused(
        "specimen,dimension,value,unit\nA,bit width,16,furlong\n",
        &["row 2, column 4 (unit): `furlong`", "mm"],
    );
    refused(
        "specimen,dimension,value,unit\nA,bit width,16,g\n",
        &["row 2, column 4 (unit): `g`", "mm"],
    );
}

/// Cells that are no length, and a word of what is said of them.
const NO_LENGTHS: [(&str, &str); 27] = [
    ("about four", "expected a length"),
    ("x", "expected a length"),
    ("4.6.1", "expected a length"),
    ("4.6 kg", "expected a length"),
    ("0x1F", "expected a length"),
    ("٣", "expected a length"),
    ("-4.6", "greater than 0"),
    ("0", "greater than 0"),
    ("0.00", "greater than 0"),
    ("0/64", "greater than 0"),
    ("-1/2", "expected"),
    ("1/0", "zero denominator"),
    ("1 2/0", "zero denominator"),
    ("1 9/8", "less than 1"),
    ("4,6", "decimal comma"),
    ("1,234.5", "decimal comma"),
    ("4.6 4.7", "more than one number"),
    ("5 1/2 1/4", "more than one number"),
    ("NaN", "finite"),
    ("nan", "finite"),
    ("inf", "finite"),
    ("-Infinity", "finite"),
    ("1e999", "finite"),
    ("22#", "#22"),
    ("#99", "no such drill"),
    ("11/64..5/32", "smaller first"),
    ("4.6 {polished}", "not a state"),
];

#[test]
fn no_faulty_cell_becomes_a_number() {
    let mut wide = String::from("specimen,pattern,bit width\n");
    let mut long = String::from("specimen,dimension,value\n");
    for (i, (cell, _)) in NO_LENGTHS.iter().enumerate() {
        wide.push_str(&format!("S{i},p,\"{cell}\"\n"));
        long.push_str(&format!("S{i},bit width,\"{cell}\"\n"));
    }
    for (text, heading) in [(wide, "bit width"), (long, "value")] {
        let said = refused(text, &["27 faults"]);
        for (i, (cell, reason)) in NO_LENGTHS.iter().enumerate() {
            let place = format!("bad.csv, row {}, column 3 ({heading}): `{cell}`: ", i + 2);
            let line = said.lines().find(|l| l.starts_with(&place));
            let line = line.unwrap_or_else(|| panic!("no `{place}` in {said}"));
            assert!(line.contains(reason), "no `{reason}` in {line}");
        }
        // In the order of the file.
        let rows: Vec<&str> = said
            .lines()
            .filter(|l| l.starts_with("bad.csv, row"))
            .collect();
        assert_eq!(rows.len(), NO_LENGTHS.len());
    }
}

/// Quoted decimal commas are read where no number has a point and they cannot be thousands.
#[test]
fn decimal_commas_in_a_comma_separated_file() {
    let desk = Desk::with(
        "s.csv",
        "specimen,pattern,bit width,weight\nA,p,\"16,1\",\"41,725\"\nB,p,16,\"40,25 {worn}\"\n",
    );
    let json = desk
        .run("check A B --from s.csv --format json")
        .ends(3)
        .json();
    let value = |piece: usize, at: usize| json["checks"][piece]["dimensions"][at]["value"].clone();
    // In the order of the catalogue.
    assert_eq!([value(0, 1), value(0, 0)], [16.1, 41.725]);
    assert_eq!([value(1, 1), value(1, 0)], [16.0, 40.25]);
    let faulty = ["`16,1`", "decimal comma"];
    refused(
        "specimen,bit width,wall\nA,\"16,1\",7.1\nB,\"16,2\",7\n",
        &faulty,
    );
    refused(
        "specimen,weight\nA,\"1,250\"\nB,41\n",
        &["`1,250`", "decimal comma"],
    );
}

#[test]
fn sizes_of_other_kinds() {
    refused("specimen,weight\nA,#22\n", &["`#22`", "read as inches"]);
    refused("specimen,weight\nA,1/2\n", &["`1/2`", "read as inches"]);
    refused("specimen,cant angle\nA,4 mm\n", &["`4 mm`", "deg"]);
    refused(
        "specimen;bit width\nA;4.6\nB;4,6\nC;4,7\n",
        &["row 2", "`4.6`", "decimal point"],
    );
    refused(
        "specimen,bit width\nA,4.6 ± -0.1\nB,4.6 ± x\n",
        &["row 2", "row 3", "half-width"],
    );
    refused(
        "specimen,dimension,value,uncertainty\nA,bit width,16,-1\nA,airway,4,0\nA,wall,7,x\n",
        &[
            "row 2, column 4",
            "row 3, column 4",
            "row 4, column 4",
            "standard uncertainty",
        ],
    );
    refused(
        "specimen,state,bit width\nA,shiny,16\n",
        &["column 2 (state): `shiny`", "worn"],
    );
    refused(
        "specimen,made,bit width\nA,long ago,16\n",
        &["column 2 (made): `long ago`", "1934"],
    );
    refused(
        "specimen,made,bit width\nA,1938-1931,16\n",
        &["`1938-1931`"],
    );
}

/// An angle or an offset may be zero or less: what is refused of a size is right here.
#[test]
fn an_angle_may_be_negative() {
    let desk = Desk::with(
        "s.csv",
        "specimen,pattern,cant angle\nA,p,-3.5\nB,p,0\nC,p,−2°\n",
    );
    let csv = desk.run("norms --from s.csv").done().csv();
    assert_eq!(
        (csv.cell(0, "n"), csv.number(0, "min"), csv.number(0, "max")),
        ("3", -3.5, 0.0)
    );
}

/// Nothing is perfectly straight or round: a form error of zero has no place among ratios.
#[test]
fn a_form_error_of_zero_is_refused_with_advice() {
    refused(
        "specimen,bowl roundness\nA,0.12\nB,0.00\n",
        &["row 3, column 2", "`0.00`", "half its limit"],
    );
    refused(
        "specimen,dimension,value\nA,stem top straightness,0\n",
        &["row 2, column 3", "form error greater than 0"],
    );
}

#[test]
fn rows_too_short_or_too_long() {
    refused(
        "specimen,pattern,bit width\nA,p\n",
        &["bad.csv, row 2", "2 cells", "3"],
    );
    refused(
        "specimen,pattern,bit width\nA,p,16,17\n",
        &["bad.csv, row 2", "4 cells", "3"],
    );
    let open = "specimen,pattern,bit width\nA,\"p,16\nB,p,16\nC,p,16\n";
    refused(open, &["bad.csv, row 2", "quotation mark"]);
}

#[test]
fn rows_of_one_specimen_that_disagree() {
    refused(
        "specimen,maker,pattern,dimension,value\nA,Row,apple,airway,4\nB,Row,poker,airway,4\n\
         A,Row,poker,bit width,16\n",
        &[
            "bad.csv, row 4, column 3 (pattern): `poker`",
            "row 2",
            "`apple`",
        ],
    );
}

/// All faults of all files are listed at once.
#[test]
fn every_fault_of_every_file_is_told() {
    let desk = Desk::with("one.csv", "specimen,bit width\nA,x\nB,y\n");
    desk.write("two.csv", "specimen,bit width,frob\nA,1\n");
    desk.write("good.csv", APPLES);
    let said = desk.refuses("add good.csv one.csv two.csv nowhere.csv --to c.db");
    for word in [
        "one.csv, row 2",
        "one.csv, row 3",
        "two.csv, row 1",
        "(frob)",
        "nowhere.csv",
    ] {
        assert!(said.contains(word), "no {word} in {said}");
    }
}

#[test]
fn values_that_no_real_pipe_has_are_kept_and_told() {
    for (heading, cell, told) in [
        (
            "bit width",
            "0.63",
            "looks like inches or centimetres read as millimetres",
        ),
        (
            "bit width (in)",
            "16.1",
            "looks like millimetres read as inches",
        ),
        (
            "overall length",
            "14.2",
            "looks like inches or centimetres read as millimetres",
        ),
        ("weight", "1.45", "looks like ounces read as grams"),
        ("bit width", "161", "decimal point"),
    ] {
        let desk = Desk::with(
            "s.csv",
            format!("specimen,pattern,{heading}\nA,p,{cell}\n\nB,p,{cell}\n"),
        );
        for line in ["norms --from s.csv", "add s.csv --to c.db"] {
            let answer = desk.run(line).done();
            for word in [
                &format!("s.csv, row 2, column 3 ({heading}): `{cell}`"),
                "credible",
                told,
            ] {
                assert!(
                    answer.err.contains(word),
                    "{line}: no {word} in {}",
                    answer.err
                );
            }
            assert!(!answer.out.contains("credible"), "a warning is no result");
        }
        // It is stored, and has no say.
        let csv = desk.run("norms --from c.db").done().csv();
        assert!(csv.rows.is_empty(), "{heading} {cell}");
        let csv = desk.run("check A --from c.db").ends(3).csv();
        assert_eq!(csv.cell(0, "verdict"), "undecided", "{heading} {cell}");
        assert!(csv.cell(0, "cautions").contains("credible"));
    }
    let desk = Desk::with("s.csv", "specimen,pattern,bit width\nA,p,16.1\n");
    assert!(
        !desk
            .run("norms --from s.csv")
            .done()
            .err
            .contains("credible")
    );
}

/// What was set aside was not kept, so nothing may say that it was.
#[test]
fn a_doubt_about_a_row_that_is_set_aside() {
    let desk = Desk::with("s.csv", "specimen,bit width,airway\nA,0.63,x\nB,16.1,4\n");
    let answer = desk.run("add s.csv --set-aside aside.csv --to c.db").done();
    assert!(!answer.err.contains("kept as written"), "{}", answer.err);
}

#[test]
fn files_that_are_no_tables() {
    refused(
        b"PK\x03\x04\x14\x00\x06\x00\x08\x00[Content_Types].xml",
        &["bad.csv", "CSV"],
    );
    refused(b"PAR1\x15\x04\x15\x10", &["bad.csv"]);
    refused(
        b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR",
        &["bad.csv", "no text table"],
    );
    refused(
        b"specimen,bit width\nA,16\0\n",
        &["bad.csv", "no text table"],
    );
    refused(b"\xff\xfes\x00p", &["bad.csv"]);
    refused(b"\xff\xfe\x00\xd8\x00\xd8\n\x00", &["bad.csv"]);
    // Pseudo-random bytes without a NUL: they decode as Windows-1252, but to no header.
    let mut state = 1u32;
    let noise: Vec<u8> = (0..5000)
        .map(|_| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            ((state >> 24) as u8).max(1)
        })
        .collect();
    refused(noise, &["bad.csv"]);
}

/// A message must not be able to steer the terminal it is shown on.
#[test]
fn control_characters_of_a_file_do_not_reach_the_terminal() {
    for content in [
        "\u{1b}[2J\u{1b}]0;title\u{7}name,x\nA,1\n",
        "specimen,bit \u{1b}[31mwidth\nA,1\n",
        "specimen,bit width\nA,\u{1b}[2J16\n",
        "specimen,bit width\n\u{9b}31mA,x\n",
        "specimen,made,bit width\nA,\u{1b}[2J,16\n",
    ] {
        let desk = Desk::with("s.csv", content);
        let said = desk.refuses("norms --from s.csv");
        let control = said.chars().find(|c| c.is_control() && *c != '\n');
        assert_eq!(control, None, "{said:?}");
    }
}

/// Too large a line is told in a word, in seconds, without a mountain of memory.
#[test]
fn a_single_line_of_100_megabytes() {
    const WHOLE: usize = 100_000_000;
    const SECONDS: Duration = Duration::from_secs(10);
    let filled = |head: &str, with: u8, size: usize| {
        let mut bytes = head.as_bytes().to_vec();
        bytes.resize(size, with);
        bytes
    };
    let desk = Desk::new();
    for (name, head, with, size) in [
        ("letters", "", b'a', WHOLE),
        ("commas", "", b',', WHOLE),
        ("row", "specimen,bit width\nA,", b'9', WHOLE),
        // Slower only by the same factor, so a tenth shows as much.
        ("heading", "specimen,pattern,", b'b', WHOLE / 10),
        ("open quote", "specimen,bit width\n\"", b'c', WHOLE / 10),
    ] {
        desk.write("long.csv", filled(head, with, size));
        let start = Instant::now();
        let mut command = desk.command();
        command
            .args(["norms", "--from", "long.csv"])
            .timeout(2 * SECONDS);
        let output = command.output().unwrap();
        let took = start.elapsed();
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{name}, {took:?}: {said}");
        assert!(
            said.contains("long.csv") && said.len() < 2000,
            "{name}: {} bytes",
            said.len()
        );
        assert!(took < SECONDS, "{name} took {took:?}");
    }
}

#[test]
fn more_columns_than_any_table_has() {
    let header: String = (0..5000).map(|i| format!(",c{i}")).collect();
    let said = refused(format!("specimen{header}\nA\n"), &["bad.csv", "5001"]);
    assert!(said.len() < 1000, "{said}");
}

#[test]
fn wrong_use_of_the_command_line() {
    let desk = Desk::with("s.csv", APPLES);
    for line in [
        "",
        "frobnicate",
        "norms a b --from s.csv",
        "norms --from",
        "norms --from s.csv --format xml",
        "norms --from s.csv --column specimen",
        "norms --from s.csv --column =made",
        "norms --from s.csv --coverage",
        "add",
        "add s.csv --to c.db --correct",
        "export",
        "withdraw",
        "completions klingon",
    ] {
        let answer: Answer = desk.run(line).ends(2);
        assert!(!answer.err.is_empty() && answer.out.is_empty(), "{line}");
    }
    assert!(!desk.has("c.db"));
}
