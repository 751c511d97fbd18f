//! `measurers`, and what repeats make of readings without an uncertainty of their own.
//!
//! Data are made here with known errors; the demo's truth is `data/README.md` ("The true model").

use super::{Csv, Desk, demo, demo_collection, entry};
use crate::common::draw::Draw;

/// The error of one reading, always the same.
fn error(i: usize) -> f64 {
    Draw::seeded(i as u64).normal()
}

/// 30 pieces read by A and C; B reads the same 0.10 mm thicker. Errors of 0.02 mm.
fn sheet() -> String {
    let mut csv = String::from("specimen,maker,pattern,dimension,value,unit,measured_by\n");
    for piece in 0..30 {
        let size = 4.0 + 0.1 * error(piece);
        for (j, (name, bias)) in [("Ann", 0.0), ("Ben", 0.1), ("Cleo", 0.0)]
            .iter()
            .enumerate()
        {
            let value = size + bias + 0.02 * error(31 + 3 * piece + j);
            // Nobody spells a name twice alike.
            let name = if piece % 2 == 0 {
                name.to_uppercase()
            } else {
                format!("{name}.")
            };
            csv.push_str(&format!(
                "P{piece},Row,apple,bit thickness,{value:.3},mm,{name}\n"
            ));
        }
    }
    csv
}

fn row(csv: &Csv, column: &str, value: &str) -> usize {
    csv.column(column).iter().position(|v| *v == value).unwrap()
}

#[test]
fn a_measurer_who_is_off_is_named() {
    let desk = Desk::with("readings.csv", sheet());
    let line = "measurers --from readings.csv --format";
    let page = desk.run(&format!("{line} table")).done().out;
    let words = page.replace("\n  ", " ");
    assert!(words.contains("BEN reads 0."), "{page}");
    assert!(
        words.contains(" mm more than the others in bit thickness ("),
        "{page}"
    );
    assert!(page.lines().all(|l| l.chars().count() <= 98), "{page}");

    let biases = desk.run(&format!("{line} csv --part biases")).done().csv();
    assert_eq!(biases.rows.len(), 3);
    let ben = row(&biases, "name", "BEN");
    let (low, high) = (
        biases.number(ben, "bias_low"),
        biases.number(ben, "bias_high"),
    );
    assert!(low < 0.1 && 0.1 < high && high - low < 0.03, "{low} {high}");
    assert!(biases.number(ben, "p_adjusted") < 1e-6);

    let json = desk.run(&format!("{line} json")).done().json();
    let of = entry(&json["dimensions"], "dimension", "bit_thickness");
    assert_eq!(
        (&of["pieces"], &of["readings"], &of["measurers"]),
        (&30.into(), &90.into(), &3.into())
    );
    assert_eq!(of["df"], 58);
    let number = |key: &str| of[key].as_f64().unwrap();
    assert!(number("repeatability_low") < 0.02 && 0.02 < number("repeatability_high"));
    // 0.1 of one among three: a variance of 0.01 / 3 between them.
    let truth = (0.01f64 / 3.0 + 0.0004).sqrt();
    assert!(
        (number("reproducibility") / truth - 1.0).abs() < 0.2,
        "{of}"
    );
    assert!(number("reproducibility_low") < truth && truth < number("reproducibility_high"));
    assert_eq!(number("reading_error"), number("reproducibility"));
    assert!((number("reproducibility_limit") - 2.8 * number("reproducibility")).abs() < 1e-12);
    assert_eq!(json["biases"].as_array().unwrap().len(), 3);
}

/// One who reads high makes everybody else read low; only that one is told, in one sentence.
#[test]
fn who_is_off_is_told_once_and_the_rest_agree() {
    let mut csv = String::from("specimen,maker,pattern,dimension,value,unit,measured_by\n");
    let people = [("Ann", 0.0), ("Bob", 0.0), ("Cy", 0.15)];
    for piece in 0..20 {
        for (d, (dimension, size)) in [("bit width", 16.0), ("bit thickness", 4.0)]
            .into_iter()
            .enumerate()
        {
            for (j, (name, bias)) in people.into_iter().enumerate() {
                let noise = 0.02 * error(500 + 6 * piece + 3 * d + j);
                let value = size + 0.1 * error(piece) + bias + noise;
                csv.push_str(&format!(
                    "P{piece},Row,apple,{dimension},{value:.3},mm,{name}\n"
                ));
            }
        }
    }
    let desk = Desk::with("three.csv", &csv);
    let page = desk
        .run("measurers --from three.csv --format table")
        .done()
        .out;
    let words = page.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        words.starts_with("Cy reads more than the others: bit width 0.1"),
        "{page}"
    );
    assert!(
        words.contains("Without Cy, Ann and Bob agree (within 0.0"),
        "{page}"
    );
    for name in ["Ann reads", "Bob reads"] {
        assert!(!words.contains(name), "{page}");
    }
    assert!(page.lines().all(|l| l.chars().count() <= 98), "{page}");

    let line = "measurers --from three.csv --part biases --format csv";
    let biases = desk.run(line).done().csv();
    // As if Cy had not been there: the same comparison of the two others alone.
    let two: String = csv
        .lines()
        .filter(|l| !l.ends_with(",Cy"))
        .map(|l| format!("{l}\n"))
        .collect();
    desk.write("two.csv", two);
    let without = desk
        .run("measurers --from two.csv --part biases --format csv")
        .done()
        .csv();
    let mut seen = 0;
    for at in 0..biases.rows.len() {
        let cell = |heading: &str| biases.cell(at, heading);
        if cell("name") == "Cy" {
            assert_eq!(cell("taken_out"), "1");
            assert!((biases.number(at, "bias_of_rest") - 0.15).abs() < 0.02);
            continue;
        }
        assert_eq!(cell("taken_out"), "");
        let same = (0..without.rows.len()).find(|&other| {
            without.cell(other, "name") == cell("name")
                && without.cell(other, "dimension") == cell("dimension")
        });
        for (rest, alone) in [
            ("bias_of_rest", "bias"),
            ("bias_of_rest_low", "bias_low"),
            ("bias_of_rest_high", "bias_high"),
        ] {
            let (got, want) = (
                biases.number(at, rest),
                without.number(same.unwrap(), alone),
            );
            assert!((got - want).abs() < 1e-9, "{rest} {got} {want}");
        }
        seen += 1;
    }
    assert_eq!(seen, 6);

    // Of two nobody can say which is off; with two against two neither.
    let pair: String = csv
        .lines()
        .filter(|l| !l.ends_with(",Bob"))
        .map(|l| format!("{l}\n"))
        .collect();
    desk.write("pair.csv", pair);
    let page = desk
        .run("measurers --from pair.csv --format table")
        .done()
        .out;
    let words = page.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        words.contains("Which of the two is off cannot be told"),
        "{page}"
    );
    let mut four = csv.clone();
    for line in csv.lines().filter(|l| l.ends_with(",Cy")) {
        let cells: Vec<&str> = line.split(',').collect();
        let value: f64 = cells[4].parse().unwrap();
        let piece: usize = cells[0][1..].parse().unwrap();
        four.push_str(&format!(
            "{},Row,apple,{},{:.3},mm,Di\n",
            cells[0],
            cells[3],
            value + 0.02 * error(900 + piece)
        ));
    }
    desk.write("four.csv", four);
    let page = desk
        .run("measurers --from four.csv --format table")
        .done()
        .out;
    let words = page.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("who is right cannot be told"), "{page}");
}

/// A slip of a unit among the repeats is told, and changes nothing else.
#[test]
fn a_slip_is_no_error_of_measurement() {
    let clean = Desk::with("readings.csv", sheet());
    let mut csv = sheet();
    csv.push_str(
        "Q1,Row,apple,bit thickness,4.10,mm,Ann\nQ1,Row,apple,bit thickness,5.9,mm,Cleo\n",
    );
    let slip = Desk::with("readings.csv", csv);
    let line = "measurers --from readings.csv --format";
    let numbers = |desk: &Desk| desk.run(&format!("{line} csv")).done().csv();
    let (without, with) = (numbers(&clean), numbers(&slip));
    for column in [
        "pieces",
        "repeatability",
        "reproducibility",
        "reading_error",
    ] {
        assert_eq!(without.cell(0, column), with.cell(0, column));
    }
    assert_eq!(
        (without.cell(0, "set_aside"), with.cell(0, "set_aside")),
        ("0", "1")
    );
    let page = slip.run(&format!("{line} table")).done().out;
    assert!(page.contains("Q1 (4.1 and 5.9)"), "{page}");
}

/// What was written without an uncertainty gets that of repeats; what was given stays, and so does
/// everything where the user says so.
#[test]
fn repeats_tell_what_a_reading_is_worth() {
    let mut csv = sheet()
        .replace(",unit,", ",unit,uncertainty,")
        .replace(",mm,", ",mm,,");
    csv.push_str(
        "X1,Row,apple,bit thickness,4.02,mm,,Dora\nX2,Row,apple,bit thickness,4.02,mm,0.004,Dora\n",
    );
    let desk = Desk::with("readings.csv", &csv);
    let answer = |more: &str| {
        let line = format!("check X1 X2 --from readings.csv --format json {more}");
        let answer = desk.run(&line).done();
        let json = answer.json();
        let u = |at: usize| {
            json["checks"][at]["dimensions"][0]["uncertainty"]
                .as_f64()
                .unwrap()
        };
        (u(0), u(1), answer.err)
    };
    let line = "measurers --from readings.csv --format csv";
    let used = desk.run(line).done().csv().number(0, "reading_error");
    let (unstated, stated, told) = answer("");
    assert_eq!((unstated, stated), (used, 0.004));
    assert!(
        told.contains("bit thickness 0.0")
            && told.contains("90 readings of 30 pieces by 3 measurers")
    );
    let (unstated, stated, told) = answer("--reading-error as-written");
    assert!((unstated - 0.01 / 12f64.sqrt()).abs() < 1e-12);
    assert_eq!(stated, 0.004);
    assert!(!told.contains("repeats"));

    // A piece on another sheet is read by the same people; a collection tells the same.
    desk.write(
        "piece.csv",
        "specimen,maker,pattern,bit thickness\nX1,Row,apple,4.02\n",
    );
    desk.run("add readings.csv --to all.db").done();
    for from in ["readings.csv", "all.db"] {
        let line = format!("check --file piece.csv --from {from} --format json");
        let json = desk.run(&line).done().json();
        assert_eq!(
            json["checks"][0]["dimensions"][0]["uncertainty"].as_f64(),
            Some(used)
        );
    }
    let flags = |from: &str| desk.run(&format!("flag --from {from} --format csv")).out;
    assert_eq!(flags("readings.csv"), flags("all.db"));
}

/// The mean of a person's own repeats keeps that person's error; that of two people halves it.
#[test]
fn a_mean_shrinks_by_people_not_by_repeats() {
    let mut csv = sheet();
    for (piece, one, other) in [("Y1", "Ann", "Ann"), ("Y2", "Ann", "Cleo")] {
        for (by, value) in [(one, "4.010"), (other, "4.030")] {
            csv.push_str(&format!(
                "{piece},Row,apple,bit thickness,{value},mm,{by}\n"
            ));
        }
    }
    let desk = Desk::with("readings.csv", csv);
    let spread = desk
        .run("measurers --from readings.csv --format csv")
        .done()
        .csv();
    let between = spread.number(0, "between_measurers");
    let residual = (spread.number(0, "reading_error").powi(2) - between * between).sqrt();
    let json = desk
        .run("check Y1 Y2 --from readings.csv --format json")
        .json();
    let u = |at: usize| {
        json["checks"][at]["dimensions"][0]["uncertainty"]
            .as_f64()
            .unwrap()
    };
    let own = residual * residual / 2.0;
    assert!((u(0) - (own + between * between).sqrt()).abs() < 1e-12);
    assert!((u(1) - (own + between * between / 2.0).sqrt()).abs() < 1e-12);
}

#[test]
fn without_repeats_nothing_is_said_and_how_to_get_them() {
    let desk = Desk::with("wide.csv", "specimen,bit width\nA,16.1\nB,16.2\n");
    desk.write(
        "long.csv",
        "specimen,dimension,value,state\nA,bit width,16.1,factory\nA,bit width,15,worn\n",
    );
    for file in ["wide.csv", "long.csv"] {
        let line = format!("measurers --from {file} --format");
        let page = desk.run(&format!("{line} table")).done().out;
        assert!(
            page.starts_with("No piece was measured more than once"),
            "{page}"
        );
        assert!(page.contains("measured_by"));
        assert!(
            desk.run(&format!("{line} csv"))
                .done()
                .csv()
                .rows
                .is_empty()
        );
        let json = desk.run(&format!("{line} json")).done().json();
        assert_eq!(json["dimensions"].as_array().map(Vec::len), Some(0));
    }
    assert!(
        desk.refuses("measurers --from wide.csv --confidence 2")
            .contains("between 0 and 1")
    );
}

/// Words and no NaN, whatever stands there.
#[test]
fn odd_repeats_are_told_in_words() {
    let header = "specimen,dimension,value,unit,measured_by\n";
    let many = |value: &dyn Fn(usize, usize) -> String, people: &dyn Fn(usize, usize) -> String| {
        let mut csv = String::from(header);
        for piece in 0..12 {
            for j in 0..2 {
                csv.push_str(&format!(
                    "P{piece},bit width,{},mm,{}\n",
                    value(piece, j),
                    people(piece, j)
                ));
            }
        }
        csv
    };
    let one = |_: usize, _: usize| "Ann".to_owned();
    let apart = |piece: usize, j: usize| format!("M{}", 2 * (piece % 2) + j);
    let crowd = |piece: usize, j: usize| format!("M{piece}-{j}");
    let near = |piece: usize, j: usize| format!("{:.2}", 16.0 + 0.03 * error(piece + 13 * j));
    let equal = |_: usize, _: usize| "16.10".to_owned();
    let huge = |_: usize, j: usize| ["1e300", "-1e300"][j].to_owned();
    let desk = Desk::new();
    for (case, csv, words) in [
        ("one measurer", many(&near, &one), "No two measurers"),
        (
            "disconnected",
            many(&near, &apart),
            "no piece joins M2, M3 to the others",
        ),
        ("a crowd", many(&near, &crowd), "too few repeats"),
        ("all equal", many(&equal, &apart), "bit width"),
        (
            "huge",
            many(&huge, &apart).replace("bit width", "offset"),
            "offset",
        ),
    ] {
        desk.write("odd.csv", csv);
        for format in ["table", "csv", "csv --part biases", "json"] {
            let line = format!("measurers --from odd.csv --new-dimensions --format {format}");
            let answer = desk.run(&line);
            if case == "huge" && answer.status == 2 {
                assert!(answer.err.contains("calibriar:"), "{}", answer.err);
                continue;
            }
            let out = answer.done().out;
            assert!(
                !out.contains("NaN") && !out.contains("inf"),
                "{case}: {out}"
            );
            assert!(format != "table" || out.contains(words), "{case}: {out}");
            desk.run("norms --from odd.csv --new-dimensions --format csv")
                .done();
        }
    }
    // Nobody's readings ever differ: the step stands.
    desk.write("odd.csv", many(&equal, &apart));
    let csv = desk
        .run("measurers --from odd.csv --format csv")
        .done()
        .csv();
    assert_eq!(
        (csv.cell(0, "reproducibility"), csv.cell(0, "reading_error")),
        ("0.0", "")
    );
}

/// Nobody at the invented club is off; with callipers A errs by 0.02 and B by 0.05 mm (truth:
/// `data/README.md`, `data/generate.rs`), so their readings of a place scatter by 0.038 mm.
#[test]
fn the_club_evening_is_as_its_truth() {
    let page = desk_page("table");
    assert!(
        page.starts_with("No measurer or instrument is off the others beyond chance"),
        "{page}"
    );
    assert!(page.lines().all(|l| l.chars().count() <= 98), "{page}");
    let csv = Csv::parse(&desk_page("csv"));
    let truth = ((0.02f64.powi(2) + 0.05f64.powi(2)) / 2.0).sqrt();
    let mut seen = 0;
    for at in 0..csv.rows.len() {
        if csv.cell(at, "instrument") == "calliper" && !csv.cell(at, "dimension").is_empty() {
            let (low, high) = (
                csv.number(at, "repeatability_low"),
                csv.number(at, "repeatability_high"),
            );
            assert!(low < truth && truth < high, "{low} {high}");
            seen += 1;
        }
    }
    assert_eq!(seen, 8);
    // Half a step and the step itself, 0.1 g: two uniform errors.
    let weight = row(&csv, "dimension", "weight");
    let truth = 0.1 / 6f64.sqrt();
    let (low, high) = ("reproducibility_low", "reproducibility_high");
    assert!(csv.number(weight, low) < truth && truth < csv.number(weight, high));
    // Lengths were given uncertainties by those who could; the others were never read twice.
    let used = csv.column("reading_error");
    assert_eq!(used.iter().filter(|u| !u.is_empty()).count(), 2);
}

fn desk_page(format: &str) -> String {
    let line = format!(
        "measurers --from {} --format {format}",
        demo("sheets/club_evening.csv")
    );
    Desk::new().run(&line).done().out
}

/// `flag` gives what `check` gives where reading errors are estimated.
#[test]
fn flag_and_check_take_the_same_errors() {
    let (desk, from) = (Desk::new(), demo_collection());
    let flags = desk
        .run(&format!("flag --from {from} --format json"))
        .ends(1)
        .json();
    let flagged = flags["flags"].as_array().unwrap();
    for flag in flagged
        .iter()
        .filter(|f| f["dimension"] == "weight")
        .take(3)
        .chain(flagged.iter().take(3))
    {
        let name = flag["specimen"].as_str().unwrap();
        let checks = desk
            .run(&format!("check {name} --from {from} --format json"))
            .ends(1)
            .json();
        let of = entry(
            &checks["checks"][0]["dimensions"],
            "dimension",
            flag["dimension"].as_str().unwrap(),
        );
        for key in ["p", "score", "typical_low", "typical_high"] {
            assert_eq!(of[key], flag[key], "{name} {key}");
        }
    }
}

/// The square of a spread of readings is that of the pieces and that of the errors.
#[test]
fn true_sizes_spread_less_than_readings() {
    let mut csv = String::from("specimen,pattern,dimension,value,uncertainty\n");
    for (i, angle) in [2.0, 2.5, 1.5, 2.2, 1.8].iter().enumerate() {
        csv.push_str(&format!("A{i},apple,cant angle,{angle},0.2\n"));
    }
    let desk = Desk::with("angles.csv", csv);
    let norm = |more: &str| {
        let line = format!("norms --from angles.csv --no-borrowing --format json {more}");
        desk.run(&line).done().json()["norms"][0].clone()
    };
    let (reading, size) = (norm(""), norm("--true-size"));
    let square = |of: &serde_json::Value| of["spread"].as_f64().unwrap().powi(2);
    assert!((square(&reading) - square(&size) - 0.04).abs() < 1e-12);
    let width = |of: &serde_json::Value| {
        of["typical_high"].as_f64().unwrap() - of["typical_low"].as_f64().unwrap()
    };
    // W = s2 (1 + 1/5), less the new reading's own error.
    let ratio = (square(&reading) * 1.2 - 0.04) / (square(&reading) * 1.2);
    assert!((width(&size) / width(&reading) - ratio.sqrt()).abs() < 1e-9);
    for key in ["centre", "centre_low", "n", "df", "least_noticeable"] {
        assert_eq!(reading[key], size[key]);
    }
    // A borrowed spread is one of pieces: errors come on top.
    let from = demo_collection();
    let spread = |more: &str| {
        let mut words = vec!["norms", "apple H34", "--from", &from, "--format", "json"];
        words.extend(more.split_whitespace());
        let json = desk.run_words(&words).done().json();
        entry(&json["norms"], "dimension", "bit_thickness").clone()
    };
    let line_of = |of: &serde_json::Value| of["spread"].as_f64().unwrap();
    let (reading, size) = (spread(""), spread("--true-size"));
    assert!(line_of(&reading) > line_of(&size));
    assert_eq!(reading["tolerance_low"], size["tolerance_low"]);
    let page = desk
        .run("norms --from angles.csv --format table --true-size")
        .done()
        .out;
    assert!(page.contains("reading errors taken out"), "{page}");
}
