//! Borrowed spreads at the outside of the program: a whole worked case, the working, the self-check,
//! and the options that say what to borrow.

use serde_json::Value;

use super::{APPLES, Desk, demo_collection, entry};

/// The whole method from sheet to label: five patterns, three sizes, an undated piece.
///
/// Source: worked case 19 (`tests/data/methods_cases`), by another program; 1e-7 where roots are
/// iterated, and what 12 printed digits allow.
#[test]
fn a_whole_collection_as_another_program_worked_it_out() {
    let case: Value =
        serde_json::from_str(include_str!("../data/methods_cases/case19-collection.json")).unwrap();
    let input = &case["input"];
    // Names that no catalogue knows: a bore of 4 mm is no pipe's chamber.
    let name = |d: usize| ["first", "second", "third"][d];
    let mut csv = String::from("specimen,pattern,period,dimension,value,uncertainty\n");
    for (g, pattern) in input["patterns"].as_array().unwrap().iter().enumerate() {
        for (d, set) in pattern.as_array().unwrap().iter().enumerate() {
            let count = set["y"].as_array().unwrap().len();
            for i in 0..count {
                let period = set["period"][i].as_str().unwrap();
                let (y, u) = (&set["y"][i], &set["u"][i]);
                csv.push_str(&format!("s{g}x{i},p{g},{period},{},{y},{u}\n", name(d)));
            }
        }
    }
    let target = &input["target_pattern"];
    let mut piece = String::from("specimen,pattern,dimension,value,uncertainty\n");
    for d in 0..3 {
        let (y, u) = (&input["specimen"]["y"][d], &input["specimen"]["u"][d]);
        piece.push_str(&format!("new,p{target},{},{y},{u}\n", name(d)));
    }
    let desk = Desk::with("source.csv", csv);
    desk.write("piece.csv", piece);
    let line = "check --file piece.csv --from source.csv --new-dimensions --format json";
    let json = desk.run(line).ends(1).json();
    let check = &json["checks"][0];
    for (d, want) in case["expected"]["dims"]
        .as_array()
        .unwrap()
        .iter()
        .enumerate()
    {
        let got = entry(&check["dimensions"], "dimension", name(d));
        let near = |key: &str, want: &Value| {
            let (got, want) = (got[key].as_f64().unwrap(), want.as_f64().unwrap());
            assert!(
                (got - want).abs() <= 1e-7 * want.abs(),
                "{d} {key}: {got} {want}"
            );
        };
        near("centre", &want["norm_mm"]);
        near("spread", &want["within_sd"]);
        near("df", &want["norm"]["nu"]);
        near("borrowed_df", &want["d0"]);
        near("typical_low", &want["band_mm"][0]);
        near("typical_high", &want["band_mm"][1]);
        near("p", &want["p"]);
        near("score", &want["z"]);
        near("p_adjusted", &want["p_holm"]);
        near("sharpness", &want["sharpness"]);
        assert_eq!(got["n"], want["norm"]["n"]);
        assert_eq!(got["borrowed_from"], 4);
        let label = want["label"].as_str().unwrap().replace(' ', "_");
        assert_eq!(got["verdict"], label.as_str());
    }
}

/// The number after some words of a text.
#[track_caller]
fn number_after(text: &str, words: &str) -> f64 {
    let one_line = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let (_, rest) = one_line
        .split_once(words)
        .unwrap_or_else(|| panic!("no `{words}` in {text}"));
    let number = rest.trim_start().split([' ', ';', ',']).next().unwrap();
    number
        .parse()
        .unwrap_or_else(|_| panic!("`{number}` after `{words}`"))
}

#[test]
fn the_working_can_be_done_again() {
    let desk = Desk::new();
    let path = demo_collection();
    let words = ["check", "HR0522", "--from", &path, "--show-working"];
    let working = desk.run_words(&words).ends(1).out;
    let from = working.find("stem bore, mm:").unwrap();
    let section = &working[from..working[from..].find("\n\n").unwrap() + from];
    // Without the heading, which has the formula of u_x.
    let (_, section) = section.split_once("the piece:").unwrap();
    let after = |words: &str| number_after(section, words);
    // From the printed numbers alone, with six digits each.
    let (d0, s02, q) = (
        after("1 / (phi + 1/D) ="),
        after("s0^2 ="),
        after("sum (mean - mu)^2 / v ="),
    );
    let w = after("w = 1 / (1 + mean r)^2 =");
    let nu = d0 + 2.0 * w;
    let s2 = (d0 * s02 + w * q) / nu;
    let near =
        |got: f64, want: f64| assert!((got - want).abs() <= 2e-5 * want.abs(), "{got} {want}");
    near(s2, after("(d0 s0^2 + w Q) / nu ="));
    let h0 = after("h0 = 1 + lambda + V =");
    let (x, m, u) = (after("(factory): x ="), after("m = mu ="), after("u_x ="));
    let variance = s2 * (h0 + u * u / s02);
    let t = (x - m) / variance.sqrt();
    near(t, after("(x - m) / sqrt W ="));
    let line = ["check", "HR0522", "--from", &path, "--format", "json"];
    let json = desk.run_words(&line).ends(1).json();
    let bore = entry(&json["checks"][0]["dimensions"], "dimension", "stem_bore");
    near(after("P(t_nu > |T|) ="), bore["p"].as_f64().unwrap());
    near(nu, bore["df"].as_f64().unwrap());
}

#[test]
fn the_working_goes_with_faulty_rows_set_aside() {
    let desk = Desk::with("s.csv", APPLES.replace("16.22", "wide"));
    desk.run("check A8 --from s.csv --set-aside out.csv --show-working")
        .ends(1);
    assert!(desk.read("out.csv").contains("wide"));
    let said = desk.refuses("check A8 --from s.csv --show-working --format json");
    assert!(said.contains("--format"), "{said}");
}

#[test]
fn the_self_check_gives_the_same_numbers_again_on_any_number_of_threads() {
    let desk = Desk::new();
    let path = demo_collection();
    let line = |seed: &'static str| {
        [
            "rates",
            "author H97",
            "--from",
            &path,
            "--worlds",
            "6",
            "--seed",
            seed,
        ]
    };
    let first = desk.run_words(&line("7")).done();
    assert_eq!(first.out, desk.run_words(&line("7")).done().out);
    assert_ne!(first.out, desk.run_words(&line("8")).done().out);
    let csv = first.csv();
    assert_eq!(csv.column("pattern"), ["author H97"]);
    for share in [
        "unusual",
        "out_of_norm",
        "noticed_4",
        "typical",
        "tolerance",
        "undecided",
    ] {
        assert!((0.0..=1.0).contains(&csv.number(0, share)), "{share}");
        assert!(csv.number(0, &format!("{share}_error")) >= 0.0);
    }
    // Larger faults are noticed more often.
    let noticed: Vec<f64> = (1..=4)
        .map(|k| csv.number(0, &format!("noticed_{k}")))
        .collect();
    assert!(
        noticed.is_sorted() && noticed[3] > noticed[0] + 0.3,
        "{noticed:?}"
    );
    let said = desk.refuses(&format!("rates --from {path} --worlds 1"));
    assert!(said.contains("--worlds"), "{said}");
    // One processor, one thread.
    let program = assert_cmd::cargo::cargo_bin("calibriar");
    let alone = std::process::Command::new("taskset")
        .args(["-c", "0"])
        .arg(program)
        .args(line("7"))
        .output();
    match alone {
        Ok(output) if output.status.success() => {
            assert_eq!(String::from_utf8(output.stdout).unwrap(), first.out);
        }
        _ => super::passed_over("no taskset to run on one processor"),
    }
}

/// A stated spread is a normal law: by hand, 16.08 to 16.12 of bits with 1 %.
#[test]
fn what_the_user_knows_better() {
    let desk = Desk::with(
        "s.csv",
        "specimen,pattern,bit width\nA,apple,16.00\nB,apple,16.20\nC,apple,16.60\n",
    );
    let check = |options: &str| {
        let json = desk.run(&format!("check C --from s.csv --format json {options}"));
        let json: Value = serde_json::from_str(&json.out).unwrap();
        json["checks"][0]["dimensions"][0].clone()
    };
    let stated = check("--spread bit_width=1%");
    assert!(stated["df"].is_null() && stated["borrowed_df"] == 0.0);
    // Centre the geometric mean of two, h = 1.5 (and the reading's own step, 3e-6 of it).
    let centre = (16.0f64 * 16.2).sqrt();
    let half = 1.959964 * 0.01 * 1.5f64.sqrt();
    let near = |got: &Value, want: f64| {
        assert!((got.as_f64().unwrap() - want).abs() < 0.002, "{got} {want}")
    };
    near(&stated["centre"], centre);
    near(&stated["typical_low"], centre * (-half).exp());
    near(&stated["typical_high"], centre * half.exp());

    assert_eq!(check("--matters bit_width=100")["verdict"], "typical");
    assert_eq!(check("--matters bit_width=0.01mm")["verdict"], "undecided");
    for (options, word) in [
        ("--spread bit_width=2", "2%"),
        ("--spread bit_width=much", "number over 0"),
        (
            "--spread bit_width=1% --no-borrowing",
            "cannot be used with",
        ),
        ("--matters bit_width=0.01in", "in mm"),
        ("--matters bite=1", "bit"),
        ("--family bit_width --family bit_width", "named twice"),
    ] {
        let said = desk.refuses(&format!("check C --from s.csv {options}"));
        assert!(said.contains(word), "{options}: {said}");
    }
}

/// Families borrow apart: a dimension by itself has a phi of its own.
#[test]
fn families_borrow_apart() {
    let desk = Desk::new();
    let path = demo_collection();
    let lent = |options: &[&str]| {
        let words = [
            &["check", "HR0522", "--from", &path, "--format", "json"][..],
            options,
        ]
        .concat();
        let json = desk.run_words(&words).ends(1).json();
        let dimensions = &json["checks"][0]["dimensions"];
        let of = |key| {
            entry(dimensions, "dimension", key)["borrowed_df"]
                .as_f64()
                .unwrap()
        };
        (of("slot_width"), of("bit_width"), of("stem_bore"))
    };
    let together = lent(&[]);
    let apart = lent(&["--family", "slot width,bit width"]);
    assert!(apart.0 != together.0 && apart.2 != together.2);
    // The two share their family's phi, so that their loans differ by their lenders alone.
    assert!((apart.0 - apart.1).abs() < 0.2 * apart.0, "{apart:?}");
}

/// Size and shape of the whole piece: present where sizes were shared, and consistent.
#[test]
fn size_and_shape_of_a_piece() {
    let desk = Desk::new();
    let path = demo_collection();
    let words = [
        "check", "HR0522", "HR0100", "--from", &path, "--format", "json",
    ];
    let json = desk.run_words(&words).ends(1).json();
    for check in json["checks"].as_array().unwrap() {
        let joint = &check["joint"];
        let shape = joint["shape"].as_array().unwrap();
        assert_eq!(joint["n_dimensions"], shape.len());
        let scores = shape.iter().map(|s| s["score"].as_f64().unwrap());
        let rms = (scores.map(|z| z * z).sum::<f64>() / shape.len() as f64).sqrt();
        assert!((rms - joint["misfit"].as_f64().unwrap()).abs() < 1e-12);
        for p in [&joint["size_p"], &joint["misfit_p"]] {
            assert!((0.0..=1.0).contains(&p.as_f64().unwrap()));
        }
    }
    // Planted faults misshape HR0522; HR0100 is a sound prince.
    let p = |at: usize| json["checks"][at]["joint"]["misfit_p"].as_f64().unwrap();
    assert!(p(0) < 1e-4 && p(1) > 0.05, "{} {}", p(0), p(1));
}
