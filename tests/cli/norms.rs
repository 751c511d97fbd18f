//! `norms`: keys, columns, numbers, whose pieces count.

use std::path::Path;

use calibriar::cohort::{Choice, Cohort};
use calibriar::measurers::ReadingErrors;
use calibriar::norm::{Borrowing, Evidence, Settings, norms};
use calibriar::source::{Request, open};
use calibriar::traced::ready;
use serde_json::Value;

use super::Holds::{Count, Null, Number, One, Text, Texts};
use super::{APPLES, Desk, Holds, PERIODS, assert_keys, demo, demo_collection, entry};

/// The keys that `docs/formats.md` fixes, in their order.
const KEYS: [&str; 27] = [
    "maker",
    "pattern",
    "periods",
    "dimension",
    "unit",
    "kind",
    "n",
    "n_set_aside",
    "centre",
    "centre_low",
    "centre_high",
    "spread",
    "df",
    "borrowed_df",
    "mean",
    "sd",
    "median",
    "mad",
    "min",
    "max",
    "typical_low",
    "typical_high",
    "coverage",
    "tolerance_low",
    "tolerance_high",
    "confidence",
    "least_noticeable",
];

fn desk() -> Desk {
    let desk = Desk::with("apples.csv", APPLES);
    desk.write("periods.csv", PERIODS);
    desk
}

#[track_caller]
fn the_norms(desk: &Desk, line: &str) -> Value {
    desk.run(&format!("norms {line} --format json"))
        .done()
        .json()["norms"]
        .clone()
}

#[test]
fn json_has_every_key_with_its_type() {
    let desk = desk();
    let json = desk
        .run("norms --from apples.csv --periods-from periods.csv --format json")
        .done()
        .json();
    let provenance = [
        ("source", One("apples.csv")),
        ("revision", Null),
        ("sha256", Text),
        ("version", One(env!("CARGO_PKG_VERSION"))),
    ];
    assert_keys(&json["provenance"], &provenance);
    let digest = calibriar::collection::sha256_hex(APPLES.as_bytes());
    assert_eq!(json["provenance"]["sha256"], digest);
    let all = json["norms"].as_array().unwrap();
    assert_eq!(all.len(), 2);
    let texts = ["maker", "pattern", "dimension", "unit", "kind"];
    let counts = ["n", "n_set_aside"];
    for norm in all {
        for key in KEYS {
            let holds = match key {
                "periods" => Texts,
                key if texts.contains(&key) => Text,
                key if counts.contains(&key) => Count,
                _ => Number,
            };
            assert_keys(norm, &[(key, holds)]);
        }
    }
    let width = entry(&json["norms"], "dimension", "bit_width");
    let angle = entry(&json["norms"], "dimension", "cant_angle");
    assert_keys(width, &[("unit", One("mm")), ("kind", One("ratio"))]);
    assert_keys(angle, &[("unit", One("deg")), ("kind", One("interval"))]);
    assert_eq!(width["periods"], serde_json::json!(["Old Shop"]));
    assert_eq!(width["n"], 8);
}

#[test]
fn what_is_missing_is_null_and_an_empty_cell() {
    let desk = Desk::with("one.csv", "specimen,bit width\nA,16.1\n");
    let norms = the_norms(&desk, "--from one.csv");
    let absent = [
        "maker",
        "pattern",
        "centre_low",
        "centre_high",
        "spread",
        "df",
        "sd",
        "typical_low",
        "typical_high",
        "tolerance_low",
        "tolerance_high",
        "least_noticeable",
    ];
    assert_eq!(norms[0]["n"], 1);
    assert_keys(&norms[0], &absent.map(|key| (key, Null)));
    for present in [
        "centre",
        "mean",
        "median",
        "min",
        "max",
        "borrowed_df",
        "coverage",
    ] {
        assert_keys(&norms[0], &[(present, Number)]);
    }
    let csv = desk.run("norms --from one.csv --format csv").done().csv();
    for key in absent {
        assert_eq!(csv.cell(0, key), "", "{key}");
    }
}

#[test]
fn csv_has_the_same_columns_and_the_same_numbers() {
    let desk = desk();
    let norms = the_norms(&desk, "--from apples.csv --periods-from periods.csv");
    let csv = desk
        .run("norms --from apples.csv --periods-from periods.csv --format csv")
        .done()
        .csv();
    assert_eq!(csv.header[..KEYS.len()], KEYS);
    assert_eq!(csv.rows.len(), norms.as_array().unwrap().len());
    for (row, norm) in norms.as_array().unwrap().iter().enumerate() {
        for key in KEYS {
            match &norm[key] {
                Value::Number(number) => {
                    let (csv, json) = (csv.number(row, key), number.as_f64().unwrap());
                    assert_eq!(csv.to_bits(), json.to_bits(), "{key}");
                }
                Value::String(text) => assert_eq!(csv.cell(row, key), text),
                Value::Array(_) => assert_eq!(csv.cell(row, key), "Old Shop"),
                other => panic!("{key}: {other}"),
            }
        }
    }
}

/// The library is the truth here: what it computes must arrive to the last bit.
#[test]
fn numbers_read_back_to_the_f64_of_the_library() {
    let path = demo_collection();
    let source = open(&Request {
        from: &path,
        details_of_repeats: true,
        ..Request::default()
    })
    .unwrap();
    let errors = ReadingErrors::of(&source.table);
    let table = ready(errors.applied(source.table).0);
    let cohort = Cohort::new(&table, &Choice::default()).unwrap();
    let groups: Vec<usize> = (0..cohort.groups().len()).collect();
    let settings = Settings::new(0.9, 0.95, 0.05).unwrap();
    let evidence = Evidence::gather(&cohort, &Borrowing::default());
    let want = norms(&evidence, &groups, &settings).unwrap();
    assert!(want.len() > 100);
    let desk = Desk::new();
    let words = [
        "norms",
        "--from",
        &path,
        "--coverage",
        "0.9",
        "--format",
        "json",
    ];
    let json = desk.run_words(&words).done().json();
    let got = json["norms"].as_array().unwrap();
    assert_eq!(got.len(), want.len());
    for norm in &want {
        let group = &cohort.groups()[norm.group];
        let key = &table.catalogue.at(norm.dimension).key;
        let got = got
            .iter()
            .find(|g| {
                g["maker"] == *group.maker
                    && g["pattern"] == *group.pattern
                    && g["dimension"] == **key
                    && g["finish"].as_str() == norm.finish.as_deref()
            })
            .unwrap();
        let firm = norm.firm.as_ref();
        let seen = norm.described;
        for (name, want) in [
            ("centre", Some(norm.centre)),
            ("borrowed_df", Some(norm.loan.map_or(0.0, |l| l.spread.df))),
            ("mean", Some(seen.mean)),
            ("sd", seen.sd),
            ("median", Some(seen.median)),
            ("mad", Some(seen.mad)),
            ("min", Some(seen.min)),
            ("max", Some(seen.max)),
            ("centre_low", firm.map(|f| f.centre.low)),
            ("centre_high", firm.map(|f| f.centre.high)),
            ("spread", firm.map(|f| f.spread)),
            ("df", firm.map(|f| f.df)),
            ("typical_low", firm.map(|f| f.typical.low)),
            ("typical_high", firm.map(|f| f.typical.high)),
            ("tolerance_low", firm.map(|f| f.tolerance.low)),
            ("tolerance_high", firm.map(|f| f.tolerance.high)),
            ("least_noticeable", firm.map(|f| f.least_noticeable)),
            ("coverage", Some(0.9)),
            ("confidence", Some(0.95)),
        ] {
            let got = got[name].as_f64();
            let bits = |x: Option<f64>| x.map(f64::to_bits);
            assert_eq!(
                bits(got),
                bits(want),
                "{key} {name}: {got:?} is not {want:?}"
            );
        }
    }
}

/// Plain descriptions, worked out by hand: 15.95 16.00 16.05 16.10 16.12 16.18 16.22 18.40.
#[test]
fn plain_descriptions_are_those_of_the_readings() {
    let desk = desk();
    let norms = the_norms(&desk, "--from apples.csv");
    let width = entry(&norms, "dimension", "bit_width");
    let number = |key: &str| width[key].as_f64().unwrap();
    let near = |key: &str, want: f64| {
        let got = number(key);
        assert!((got - want).abs() < 1e-12, "{key}: {got} is not {want}");
    };
    near("mean", 131.02 / 8.0);
    near("median", 16.11);
    near("min", 15.95);
    near("max", 18.40);
    // Deviations from 16.11: 0.01 0.01 0.06 0.07 0.11 0.11 0.16 2.29.
    near("mad", 0.09);
    assert!(number("centre_low") < number("centre"));
    assert!(number("centre") < number("centre_high"));
    assert!(number("typical_low") < number("centre_low"));
    assert!(number("tolerance_low") < number("typical_low"));
    assert!(
        number("centre") < number("mean"),
        "the geometric centre is below the mean"
    );
}

#[test]
fn a_pattern_in_any_spelling() {
    let desk = Desk::with(
        "s.csv",
        "specimen,maker,pattern,bit width\nA,Row,Bent Apple,16\nB,Row,Bent Apple,17\nC,Row,poker,12\n",
    );
    for spelling in ["Bent Apple", "bent apple", "BENT-APPLE", "bent_apple"] {
        let words = ["norms", spelling, "--from", "s.csv", "--format", "csv"];
        let csv = desk.run_words(&words).done().csv();
        assert_eq!(csv.column("pattern"), ["Bent Apple"], "{spelling}");
    }
    let all = desk.run("norms --from s.csv --format csv").done().csv();
    assert_eq!(all.rows.len(), 2);
}

/// Two contributors spell one pattern of one maker in two ways: it is one pattern.
#[test]
fn spellings_of_a_pattern_in_the_source_are_one_pattern() {
    let desk = Desk::with(
        "s.csv",
        "specimen,maker,pattern,bit width\nA,Row,apple,16\nB,row,Apple,16.1\nC,ROW,APPLE,16.2\n",
    );
    let norms = the_norms(&desk, "apple --from s.csv");
    assert_eq!(norms.as_array().unwrap().len(), 1);
    assert_eq!(norms[0]["n"], 3);
}

#[test]
fn an_unknown_pattern_names_the_nearest() {
    let desk = desk();
    let said = desk.refuses("norms aple --from apples.csv");
    assert!(said.contains("`aple`") && said.contains("apple"), "{said}");
    let said = desk.refuses("norms apple --maker Roe --from apples.csv");
    assert!(said.contains("Roe"), "the maker is what is wrong: {said}");
}

#[test]
fn a_pattern_of_two_makers_needs_its_maker() {
    let desk = Desk::with(
        "two.csv",
        "specimen,maker,pattern,bit width\nA,Row Works,apple,16\nB,Row Works,apple,16.1\n\
         C,Hill Works,apple,12\nD,Hill Works,apple,12.1\nE,Hill Works,apple,12.2\n",
    );
    let said = desk.refuses("norms apple --from two.csv");
    for word in ["apple", "Row Works", "Hill Works", "--maker"] {
        assert!(said.contains(word), "no {word} in {said}");
    }
    let words = [
        "norms",
        "apple",
        "--maker",
        "hill works",
        "--from",
        "two.csv",
    ];
    let csv = desk.run_words(&words).done().csv();
    assert_eq!(
        (csv.rows.len(), csv.cell(0, "maker"), csv.cell(0, "n")),
        (1, "Hill Works", "3")
    );
    // All patterns: each with its maker, none mixed.
    let all = desk.run("norms --from two.csv").done().csv();
    assert_eq!(all.column("n"), ["3", "2"]);
}

#[test]
fn to_a_pipe_the_default_is_csv() {
    let desk = desk();
    let plain = desk.run("norms --from apples.csv").done();
    assert_eq!(
        plain.out,
        desk.run("norms --from apples.csv --format csv").done().out
    );
    assert!(plain.out.starts_with("maker,pattern,periods,"));
}

#[test]
fn settings_move_the_bands_and_nonsense_is_refused() {
    let desk = desk();
    let band = |options: &str| {
        let csv = desk
            .run(&format!("norms --from apples.csv {options}"))
            .done()
            .csv();
        let wide = |what: &str| {
            csv.number(0, &format!("{what}_high")) - csv.number(0, &format!("{what}_low"))
        };
        (wide("typical"), wide("tolerance"), wide("centre"))
    };
    let usual = band("");
    assert_eq!(band("--coverage 0.95 --confidence 0.95"), usual);
    let (typical, tolerance, centre) = band("--coverage 0.99");
    assert!(typical > usual.0 && tolerance > usual.1 && centre == usual.2);
    let (typical, tolerance, centre) = band("--confidence 0.99");
    assert!(typical == usual.0 && tolerance > usual.1 && centre > usual.2);
    for option in ["--coverage", "--confidence", "--alpha"] {
        for value in ["0", "1", "1.5", "NaN", "inf", "much"] {
            let said = desk.refuses(&format!("norms --from apples.csv {option} {value}"));
            let name = option.trim_start_matches("--");
            assert!(said.contains(name) && said.contains(value), "{said}");
        }
        let said = desk.refuses(&format!("norms --from apples.csv {option}=-0.1"));
        assert!(said.contains("-0.1"), "{said}");
    }
}

/// Numbers too wide for an f64 are no numbers: never `inf` or `NaN` in a result.
#[test]
fn no_infinity_leaves_the_program() {
    let desk = Desk::with(
        "s.csv",
        "specimen,pattern,crack width\nA,apple,0.001\nB,apple,30000\n",
    );
    let line = "norms --from s.csv --new-dimensions --coverage 0.999999 --confidence 0.999999";
    let csv = desk.run(&format!("{line} --format csv")).done().csv();
    for (heading, cell) in csv.header.iter().zip(&csv.rows[0]) {
        let lower = cell.to_lowercase();
        assert!(
            !lower.contains("inf") && !lower.contains("nan"),
            "{heading}: {cell}"
        );
    }
    let norm = &desk.run(&format!("{line} --format json")).done().json()["norms"][0];
    // Both limits of a band are there, or neither.
    for band in ["centre", "typical", "tolerance"] {
        let limit = |side: &str| norm[format!("{band}_{side}")].is_null();
        assert_eq!(limit("low"), limit("high"), "{band} in {norm}");
    }
}

#[test]
fn only_good_periods_count_unless_others_are_named() {
    let desk = Desk::with("periods.csv", PERIODS);
    desk.write(
        "s.csv",
        "specimen,maker,pattern,made,bit width\nA,Row Works,apple,1930,16\n\
         B,Row Works,apple,1938,16.1\nC,Row Works,apple,1940,12\nD,Row Works,apple,1950,20\n\
         E,Row Works,apple,,30\nF,Row Works,apple,1937-1940,8\nG,Row Works,apple,c. 1926,16.2\n\
         H,Row Works,apple,c. 1935,9\nI,Row Works,apple,1921-1938,16.3\nJ,Row Works,apple,?,7\n",
    );
    let count = |options: &str| {
        let line = format!("norms --from s.csv --periods-from periods.csv {options}");
        let csv = desk.run(&line).done().csv();
        csv.rows.first().map(|_| {
            let n: usize = csv.cell(0, "n").parse().unwrap();
            (n, csv.cell(0, "periods").to_owned())
        })
    };
    // F and H straddle two periods, E and J have no date: they belong to none.
    assert_eq!(count(""), Some((4, "Old Shop".to_owned())));
    assert_eq!(count("--periods good"), count(""));
    let named = |line: &[&str]| {
        let mut words = vec!["norms", "--from", "s.csv", "--periods-from", "periods.csv"];
        words.extend(line);
        let csv = desk.run_words(&words).done().csv();
        (
            csv.cell(0, "n").to_owned(),
            csv.cell(0, "periods").to_owned(),
        )
    };
    assert_eq!(
        named(&["--periods", "lean years"]),
        ("1".to_owned(), "Lean Years".to_owned())
    );
    let (n, periods) = named(&["--periods", "Old Shop,Any Shop"]);
    assert_eq!((n.as_str(), periods.as_str()), ("5", "Old Shop; Any Shop"));
    let said = desk.refuses("norms --from s.csv --periods-from periods.csv --periods Nowhen");
    for word in ["Nowhen", "Old Shop", "Lean Years"] {
        assert!(said.contains(word), "no {word} in {said}");
    }
}

#[test]
fn a_written_period_overrules_the_date() {
    let desk = Desk::with("periods.csv", PERIODS);
    desk.write(
        "s.csv",
        "specimen,maker,pattern,made,period,bit width\n\
         A,Row Works,apple,1930,,16\n\
         B,Row Works,apple,1930,Lean Years,12\n\
         C,Row Works,apple,1940,old shop,16.2\n\
         D,Row Works,apple,1940,,11\n\
         E,Row Works,apple,1930,-,16.4\n",
    );
    let csv = desk
        .run("norms --from s.csv --periods-from periods.csv")
        .done()
        .csv();
    assert_eq!(
        (csv.cell(0, "n"), csv.cell(0, "min"), csv.cell(0, "max")),
        ("3", "16.0", "16.4")
    );
}

#[test]
fn without_any_standing_every_piece_counts_and_that_is_said() {
    let desk = desk();
    let answer = desk.run("norms --from apples.csv --format csv").done();
    assert_eq!(answer.csv().cell(0, "n"), "8");
    assert!(
        answer.err.contains("every piece counts as good"),
        "{}",
        answer.err
    );
    let answer = desk
        .run("norms --from apples.csv --periods-from periods.csv")
        .done();
    assert!(!answer.err.contains("every piece counts"), "{}", answer.err);
}

/// Values that would show at once if they were let in.
const STATES: &str = "\
specimen,pattern,state,bit width
A,apple,factory,16.0
B,apple,factory,16.2
C,apple,worn,9
D,apple,reworked,8
E,apple,replaced,25
F,apple,unknown,14
G,apple,,14.5
H,apple,Factory,16.1 {WORN}
I,apple,worn,16.4 {factory}
J,apple,factory,9.5 {replaced}
K,apple,factory,9.6 {reworked}
L,apple,factory,13 {unknown}
";

#[test]
fn only_what_left_the_works_speaks_for_the_works() {
    let desk = Desk::with("s.csv", STATES);
    let of = |options: &str| {
        let csv = desk
            .run(&format!("norms --from s.csv {options}"))
            .done()
            .csv();
        let cell = |heading: &str| csv.cell(0, heading).to_owned();
        (cell("n"), cell("min"), cell("max"))
    };
    let triple = |n: &str, min: &str, max: &str| (n.to_owned(), min.to_owned(), max.to_owned());
    assert_eq!(of(""), triple("3", "16.0", "16.4"));
    // F, G and L are unknown; the others stay out whatever is asked.
    assert_eq!(of("--unknown-state"), triple("6", "13.0", "16.4"));
    desk.run("add s.csv --to c.db").done();
    let stored = |options: &str| {
        let csv = desk
            .run(&format!("norms --from c.db {options}"))
            .done()
            .csv();
        csv.cell(0, "n").to_owned()
    };
    assert_eq!(
        (stored("").as_str(), stored("--unknown-state").as_str()),
        ("3", "6")
    );
}

#[test]
fn without_a_state_column_a_reading_is_of_the_works() {
    let desk = Desk::with(
        "s.csv",
        "specimen,pattern,bit width\nA,apple,16\nB,apple,17 {worn}\n",
    );
    let csv = desk.run("norms --from s.csv").done().csv();
    assert_eq!((csv.cell(0, "n"), csv.cell(0, "max")), ("1", "16.0"));
}

#[test]
fn long_and_wide_form_give_the_same_norms() {
    let desk = Desk::with("periods.csv", PERIODS);
    let wide = "specimen,maker,pattern,made,state,bit width,weight (oz),cant angle\n\
         A,Row Works,apple,1930,factory,16.10,1.25,2.0\n\
         B,Row Works,apple,1931,factory,16.20,1.30,2.5\n\
         C,Row Works,apple,1932,worn,15.10,1.20,1.5\n\
         D,Row Works,apple,1933,factory,16.05,1.35,1.0\n";
    let mut long = String::from("dimension,value,specimen,unit,maker,pattern,made,state\n");
    for row in wide.lines().skip(1) {
        let c: Vec<&str> = row.split(',').collect();
        for (dimension, unit, value) in [
            ("Bit-Width", "mm", c[5]),
            ("weight", "oz", c[6]),
            ("rake", "", c[7]),
        ] {
            let piece = [c[0], unit, c[1], c[2], c[3], c[4]].join(",");
            long.push_str(&format!("{dimension},{value},{piece}\n"));
        }
    }
    desk.write("wide.csv", wide);
    desk.write("long.csv", long);
    let of = |file: &str| {
        let answer = desk.run(&format!("norms --from {file} --periods-from periods.csv"));
        answer.done().csv()
    };
    let (wide, long) = (of("wide.csv"), of("long.csv"));
    assert_eq!(wide.column("n"), ["3", "3", "3"]);
    assert_eq!(wide, long);
}

#[test]
fn exit_status_is_0_also_where_nothing_can_be_said() {
    let desk = Desk::with(
        "s.csv",
        "specimen,pattern,state,bit width\nA,apple,worn,16\n",
    );
    let csv = desk.run("norms --from s.csv").done().csv();
    assert_eq!(csv.rows.len(), 0);
    assert_eq!(the_norms(&desk, "--from s.csv"), serde_json::json!([]));
}

#[test]
fn provenance_names_the_revision_of_a_collection() {
    let desk = desk();
    desk.run("add apples.csv periods.csv --to c.db").done();
    desk.write(
        "more.csv",
        "specimen,maker,pattern,made,bit width\nZ,Row Works,apple,1930,16.3\n",
    );
    desk.run("add more.csv --to c.db").done();
    let json = desk.run("norms --from c.db --format json").done().json();
    assert_eq!(json["provenance"]["source"], "c.db");
    assert_eq!(json["provenance"]["revision"], 2);
    let history = desk.run("history --from c.db --format json").done().json();
    assert_eq!(
        json["provenance"]["sha256"],
        history["revisions"][1]["sha256"]
    );
    assert_keys(
        &json["provenance"],
        &[("version", Holds::One(env!("CARGO_PKG_VERSION")))],
    );
}

/// The same question gets the same digits, whatever the number of threads and of askings.
#[test]
fn the_same_answer_digit_for_digit() {
    let desk = Desk::new();
    let path = demo_collection();
    let ask = || {
        desk.run_words(&["norms", "--from", &path, "--format", "json"])
            .done()
            .out
    };
    let first = ask();
    assert!(first.len() > 10_000);
    assert_eq!(ask(), first);
    let ledger = demo("sheets/ledger.csv");
    assert!(Path::new(&ledger).exists());
    let ask = || {
        desk.run_words(&["norms", "--from", &ledger, "--format", "json"])
            .done()
            .out
    };
    assert_eq!(ask(), ask());
}

/// Source: Wilks (1941): 93 readings for 95 % of the pieces with 95 % confidence.
#[test]
fn a_range_of_93_pieces_says_something_by_itself() {
    for (pieces, speaks) in [(92, false), (93, true)] {
        let mut csv = String::from("specimen,pattern,bit width\n");
        for i in 0..pieces {
            csv.push_str(&format!("s{i},apple,16.{:02}\n", (i * 37) % 100));
        }
        let desk = Desk::with("s.csv", csv);
        let table = desk.run("norms --from s.csv --format table").done().out;
        let words: Vec<&str> = table.split_whitespace().collect();
        let told = words.join(" ").contains("whatever their distribution");
        assert_eq!(told, speaks, "{table}");
        let csv = desk.run("norms --from s.csv").done().csv();
        assert_eq!(csv.number(0, "range_confidence") >= 0.95, speaks);
    }
}
