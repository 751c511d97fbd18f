//! `screen`: slips in the source, and the cautions that `add` gives.

use super::{Desk, PERIODS, demo_collection};

const HEADER: &str = "code,specimens,maker,pattern,dimensions,unit,count,texts,value,proposed,\
                      evidence,p,measured_by,sentence";

/// Twelve invented pieces of two patterns; `bit` is the width of A1's bit, as written.
fn sheet(bit: &str) -> String {
    let mut text =
        String::from("specimen,maker,pattern,bit width,bowl height,chamber depth,stem bore\n");
    for (pattern, scale) in [("apple", 1.0), ("pear", 1.1)] {
        for (i, e) in [
            0.13, -0.41, 0.62, -0.17, 0.88, -0.93, 0.29, -0.66, 0.47, 0.05, -0.3, 0.71,
        ]
        .iter()
        .enumerate()
        {
            let size = |centre: f64, turn: usize| {
                let e: f64 = *e;
                let e = [e, -e * 0.7, e * e - 0.3, 0.5 - e.abs()][(turn + i) % 4];
                centre * scale * (1.0 + 0.02 * e)
            };
            let width = match (pattern, i) {
                ("apple", 0) => bit.to_owned(),
                _ => format!("{:.2}", size(16.0, 0)),
            };
            text.push_str(&format!(
                "{}{i},Row Works,{pattern},{width},{:.2},{:.2},{:.2}\n",
                pattern[..1].to_uppercase(),
                size(45.0, 1),
                size(38.0, 2),
                size(3.0, 3),
            ));
        }
    }
    text
}

#[test]
fn the_demo_world_has_the_slips_that_were_planted_and_no_other() {
    let truth = include_str!("../../data/truth/planted.csv");
    let true_value = |specimen: &str, dimension: &str| -> f64 {
        let start = format!("{specimen},{dimension},");
        let row = truth.lines().find(|row| row.starts_with(&start));
        row.unwrap().rsplit(',').next().unwrap().parse().unwrap()
    };
    let desk = Desk::new();
    let json = desk
        .run_words(&["screen", "--from", &demo_collection(), "--format", "json"])
        .ends(1)
        .json();
    let findings = json["findings"].as_array().unwrap();
    let codes: Vec<&str> = findings
        .iter()
        .map(|f| f["code"].as_str().unwrap())
        .collect();
    let planted = ["unit_inch", "columns_exchanged"];
    assert!(planted.iter().all(|code| codes.contains(code)), "{codes:?}");
    assert_eq!(codes.len(), planted.len(), "{findings:#?}");
    for finding in findings {
        assert!(finding["evidence"].as_f64().unwrap() > 7.0);
        for reading in finding["readings"].as_array().unwrap() {
            let (specimen, dimension) = (&reading["specimen"], &reading["dimension"]);
            let truth = true_value(specimen.as_str().unwrap(), dimension.as_str().unwrap());
            let proposed = reading["proposed"].as_f64().unwrap();
            assert!((proposed / truth - 1.0).abs() < 0.005, "{reading}");
        }
    }
    assert_eq!(json["alpha"], 0.05);
}

#[test]
fn csv_has_exactly_these_columns() {
    let desk = Desk::with("s.csv", sheet("0.63"));
    let answer = desk.run("screen --from s.csv").ends(1);
    assert_eq!(answer.out.lines().next(), Some(HEADER));
    let csv = answer.csv();
    assert_eq!(csv.rows.len(), 1);
    for (heading, cell) in [
        ("code", "unit_inch"),
        ("specimens", "A0"),
        ("maker", "Row Works"),
        ("pattern", "apple"),
        ("dimensions", "bit_width"),
        ("unit", "mm"),
        ("count", "1"),
        ("texts", "0.63"),
        ("value", "0.63"),
    ] {
        assert_eq!(csv.cell(0, heading), cell);
    }
    assert!((csv.cell(0, "proposed").parse::<f64>().unwrap() - 16.002).abs() < 1e-9);
}

#[test]
fn a_clean_sheet_ends_in_silence() {
    let desk = Desk::with("s.csv", sheet("16.02"));
    let answer = desk.run("screen --from s.csv --format csv").ends(0);
    assert_eq!(answer.out.trim_end(), HEADER);
    let table = desk.run("screen --from s.csv --format table").ends(0);
    assert!(table.out.starts_with("no slip found among 96 readings"));
}

#[test]
fn a_column_in_another_unit_is_one_finding() {
    let text = sheet("16.02");
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    for line in lines.iter_mut().skip(1) {
        let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
        let value: f64 = cells[3].parse().unwrap();
        cells[3] = format!("{:.3}", value / 25.4);
        *line = cells.join(",");
    }
    let desk = Desk::with("s.csv", lines.join("\n"));
    let csv = desk.run("screen --from s.csv --format csv").ends(1).csv();
    assert_eq!(csv.rows.len(), 1);
    assert_eq!(csv.cell(0, "code"), "unit_inch");
    assert_eq!(csv.cell(0, "count"), "24");
}

#[test]
fn only_the_codes_that_are_asked_for() {
    let desk = Desk::with("s.csv", sheet("0.63"));
    desk.run("screen --from s.csv --only columns_exchanged,copied_down")
        .ends(0);
    desk.run("screen --from s.csv --only unit_inch").ends(1);
    let said = desk.refuses("screen --from s.csv --only inch");
    assert!(said.contains("unit_inch"), "{said}");
    for alpha in ["0", "1", "-1", "NaN", "two"] {
        desk.refuses(&format!("screen --from s.csv --alpha={alpha}"));
    }
}

#[test]
fn nothing_to_judge_is_said_in_words() {
    let desk = Desk::new();
    for sheet in [
        "specimen,pattern,bit width\nA,apple,16.1\n",
        "specimen,bit width\nA,16.1\nB,16.3\nC,15.9\n",
        "specimen,pattern,bit width\nA,apple,16\nB,apple,16\nC,apple,16\nD,apple,16\nE,apple,16\n\
         F,apple,16\nG,apple,16\n",
        "specimen,pattern,bit width,bowl height\nA,apple,?,\nB,apple,,-\n",
        "specimen,pattern,note\nA,apple,fine\nB,apple,worn\n",
        "specimen,pattern,cant angle\nA,apple,2.1\nB,apple,-1.3\nC,apple,0\nD,apple,1.7\nE,apple,0.4\n\
         F,apple,3.3\n",
        "specimen,pattern,L*,a*\nA,apple,41.2,16\nB,apple,40.3,17\nC,apple,44.0,15\nD,apple,39.9,18\n",
    ] {
        desk.write("s.csv", sheet);
        let answer = desk.run("screen --from s.csv --format table").ends(0);
        assert!(answer.out.starts_with("no slip found"), "{}", answer.out);
        assert!(!answer.out.contains("NaN"));
    }
}

#[test]
fn huge_and_tiny_values_are_told_in_words_and_without_nan() {
    for bit in ["1e300", "1e-300", "160000000", "0.00001", "1.7e308"] {
        let desk = Desk::with("s.csv", sheet(bit));
        for format in ["table", "csv", "json"] {
            let answer = desk
                .run(&format!("screen --from s.csv --format {format}"))
                .ends(1);
            assert!(!answer.out.contains("NaN") && !answer.out.contains("inf"));
        }
    }
}

#[test]
fn the_page_for_people_is_narrow_and_says_what_to_do() {
    let desk = Desk::with("s.csv", sheet("0.63"));
    let page = desk.run("screen --from s.csv --format table").ends(1).out;
    assert!(
        page.lines().all(|line| line.chars().count() <= 98),
        "{page}"
    );
    for words in [
        "A0",
        "0.630 mm",
        "inches",
        "16.00 mm",
        "--correct",
        "withdraw",
    ] {
        assert!(page.contains(words), "{words}: {page}");
    }
}

#[test]
fn add_cautions_of_what_it_brought_and_stores_it_all_the_same() {
    let desk = Desk::with("s.csv", sheet("0.63"));
    desk.write("periods.csv", PERIODS);
    let added = desk.run("add s.csv --to c.db").done();
    // No pipe has such a bit: that is said of it, once.
    assert_eq!(added.err.matches("looks like").count(), 1, "{}", added.err);
    assert!(added.out.contains("96 new readings"), "{}", added.out);
    desk.write("half.csv", sheet("8.02"));
    let half = desk.run("add half.csv --to half.db").done();
    let told = "looks like a slip (half_for_whole)";
    assert!(half.err.contains(told), "{}", half.err);
    // Another sheet's slips are no news of this one.
    desk.write(
        "more.csv",
        "specimen,maker,pattern,bit width\nB1,Row Works,apple,16.05\n",
    );
    let more = desk.run("add more.csv --to c.db").done();
    assert!(!more.err.contains("slip"), "{}", more.err);
    let periods = desk.run("add periods.csv --to c.db").done();
    assert!(!periods.err.contains("slip"), "{}", periods.err);
}

#[test]
fn a_row_entered_many_times_is_one_finding() {
    let mut text = String::from(
        "specimen,maker,pattern,overall length,bowl height,chamber depth,slot width,bit width,weight\n",
    );
    for i in 0..60u32 {
        // Any spread will do: multiples of an irrational number, by their fraction.
        let e =
            |k: u32| (f64::from(i * 7 + k + 1) * 0.618_033_988_7 * f64::from(k + 1)).fract() - 0.5;
        let of = |k: u32, size: f64| format!("{:.2}", size * (1.0 + 0.06 * e(k)));
        text.push_str(&format!(
            "P{i},Row Works,apple,{},{},{},{},{},{}\n",
            of(0, 145.0),
            of(1, 45.0),
            of(2, 38.0),
            of(3, 9.0),
            of(4, 16.0),
            of(5, 40.0)
        ));
    }
    let row = text.lines().nth(5).unwrap().to_owned();
    for i in 0..5 {
        text.push_str(&format!("Z{i}{}\n", &row[2..]));
    }
    let desk = Desk::with("s.csv", text);
    let json = desk
        .run("screen --from s.csv --only same_piece_twice --format json")
        .ends(1)
        .json();
    let findings = json["findings"].as_array().unwrap();
    assert_eq!(findings.len(), 1, "{findings:#?}");
    let sentence = findings[0]["sentence"].as_str().unwrap();
    assert!(
        sentence.contains("P4, Z0, Z1 and 3 more: 6 names"),
        "{sentence}"
    );
}

#[test]
fn at_a_loose_alpha_nothing_is_promised() {
    let desk = Desk::with("s.csv", sheet("0.63"));
    let page = desk
        .run("screen --from s.csv --alpha 0.9 --format table")
        .ends(1)
        .out;
    assert!(!page.contains("at most"), "{page}");
}
