//! What `--from` may name, and where production periods come from.

use super::{APPLES, Desk, PERIODS, demo, demo_collection};

fn desk() -> Desk {
    let desk = Desk::with("apples.csv", APPLES);
    desk.write("periods.csv", PERIODS);
    desk.run("add apples.csv periods.csv --to c.db").done();
    desk
}

#[test]
fn one_question_of_every_kind_of_source() {
    let desk = desk();
    desk.run("export package --from c.db").done();
    let of_file = desk
        .run("norms --from apples.csv --periods-from periods.csv")
        .done()
        .out;
    assert!(of_file.lines().count() == 3);
    for source in ["c.db", "package"] {
        let out = desk.run(&format!("norms --from {source}")).done().out;
        assert_eq!(out, of_file, "{source}");
    }
    let piped = desk
        .run_on("norms --from - --periods-from periods.csv", APPLES)
        .done();
    assert_eq!(piped.out, of_file);
}

#[test]
fn every_reading_command_takes_standard_input() {
    let desk = desk();
    for command in ["norms", "flag", "check A8"] {
        let from = |source: &str| format!("{command} --from {source} --periods-from periods.csv");
        let of_file = desk.run(&from("apples.csv"));
        let piped = desk.run_on(&from("-"), APPLES);
        assert_eq!(
            (piped.out, piped.status),
            (of_file.out, of_file.status),
            "{command}"
        );
    }
    let json = desk
        .run_on("flag --from - --format json", APPLES)
        .ends(1)
        .json();
    assert_eq!(json["provenance"]["source"], "-");
    let file = desk.run_on(
        "check --from c.db --file -",
        "specimen,maker,pattern,bit width\nX,Row Works,apple,19.0\n",
    );
    assert_eq!(file.ends(1).csv().column("specimen"), ["X"]);
}

/// A pipe can be read only once: `<(...)` of a shell, a named pipe, `/dev/stdin`.
#[cfg(unix)]
#[test]
fn a_pipe_with_a_name_is_read_from_its_first_byte() {
    if !std::path::Path::new("/dev/stdin").exists() {
        return super::passed_over("no /dev/stdin here");
    }
    let desk = desk();
    for line in [
        "norms --from FILE --periods-from periods.csv",
        "flag --from FILE --periods-from periods.csv",
        "check --file FILE --from c.db",
        "add FILE --to new.db",
    ] {
        let of_file = desk.run(&line.replace("FILE", "apples.csv").replace("new", "file"));
        let piped = desk.run_on(&line.replace("FILE", "/dev/stdin"), APPLES);
        let piped = piped.ends(of_file.status);
        assert_eq!(
            piped.out.replace("new.db", "file.db"),
            of_file.out,
            "{line}"
        );
    }
}

#[test]
fn standard_input_is_refused_as_a_file_is() {
    let desk = Desk::new();
    let said = desk
        .run_on("norms --from -", "specimen,bit width\nA,thick\n")
        .ends(2)
        .err;
    for word in ["standard input", "row 2", "column 2", "`thick`"] {
        assert!(said.contains(word), "no {word} in {said}");
    }
    let said = desk.run_on("norms --from -", "").ends(2).err;
    assert!(
        said.contains("standard input") && said.contains("empty"),
        "{said}"
    );
}

#[test]
fn the_environment_names_the_collection() {
    let desk = desk();
    let asked = |words: &[&str], collection: Option<&str>| {
        let mut command = desk.command();
        if let Some(collection) = collection {
            command.env("CALIBRIAR_COLLECTION", collection);
        }
        super::Answer::of(command.args(words))
    };
    let named = asked(&["norms", "--from", "c.db"], None).done().out;
    assert_eq!(asked(&["norms"], Some("c.db")).done().out, named);
    for words in [&["flag"][..], &["check", "A8"]] {
        assert_eq!(
            asked(words, Some("c.db")).ends(1).csv().cell(0, "specimen"),
            "A8"
        );
    }
    // `add` puts into it, `history` and `export` read it, and a named one goes before it.
    asked(&["add", "apples.csv"], Some("other.db")).done();
    assert_eq!(
        asked(&["history"], Some("other.db"))
            .done()
            .csv()
            .rows
            .len(),
        1
    );
    asked(&["export", "out"], Some("other.db")).done();
    assert!(desk.has("out/datapackage.json"));
    assert_eq!(
        asked(&["norms", "--from", "c.db"], Some("nowhere.db"))
            .done()
            .out,
        named
    );
    // Set but empty is as good as not set.
    asked(&["add", "apples.csv"], None).done();
    assert!(desk.has("collection.db"));
    let of_default = asked(&["norms"], None).done().out;
    assert_eq!(asked(&["norms"], Some("")).done().out, of_default);
}

#[test]
fn without_a_name_it_is_the_collection_here() {
    let desk = desk();
    let said = desk.refuses("norms");
    assert!(
        said.contains("collection.db") && said.contains("calibriar add"),
        "{said}"
    );
    std::fs::copy(desk.path("c.db"), desk.path("collection.db")).unwrap();
    assert_eq!(
        desk.run("norms").done().out,
        desk.run("norms --from c.db").done().out
    );
}

#[test]
fn what_is_not_there_is_named() {
    let desk = desk();
    for missing in ["nowhere.csv", "nowhere.db", "nowhere", "no/where.csv"] {
        for command in ["norms", "flag", "check A1"] {
            let said = desk.refuses(&format!("{command} --from {missing}"));
            assert!(said.contains(missing), "{said}");
        }
    }
    let said = desk.refuses("norms --from apples.csv --periods-from nowhere.csv");
    assert!(said.contains("nowhere.csv"), "{said}");
    let said = desk.refuses("check --file nowhere.csv --from c.db");
    assert!(said.contains("nowhere.csv"), "{said}");
    // A folder that is no data package.
    std::fs::create_dir(desk.path("folder")).unwrap();
    let said = desk.refuses("norms --from folder");
    assert!(said.contains("folder"), "{said}");
}

#[test]
fn periods_come_from_one_place() {
    let desk = desk();
    let said = desk.refuses("norms --from c.db --periods-from periods.csv");
    assert!(
        said.contains("c.db") && said.contains("--periods-from"),
        "{said}"
    );
    // A collection without periods takes them.
    desk.run("add apples.csv --to bare.db").done();
    let out = desk
        .run("norms --from bare.db --periods-from periods.csv")
        .done()
        .out;
    assert_eq!(out, desk.run("norms --from c.db").done().out);
}

#[test]
fn measurements_and_periods_are_not_taken_for_each_other() {
    let desk = desk();
    let said = desk.refuses("norms --from periods.csv");
    assert!(
        said.contains("periods.csv") && said.contains("--periods-from"),
        "{said}"
    );
    let said = desk.refuses("norms --from apples.csv --periods-from apples.csv");
    assert!(
        said.contains("maker,period,from,to,standing,note"),
        "{said}"
    );
}

/// Rows of a table of periods that must be refused, the column they are wrong in, and a word of
/// the reason.
const BAD_PERIODS: [(&str, &str, &str); 8] = [
    (",,1921,1938,good,", "column 2 (period)", "name"),
    (",Early,192,1938,good,", "column 3 (from)", "four digits"),
    (",Early,1921,c. 1938,good,", "column 4 (to)", "four digits"),
    (",Early,1938,1921,good,", "column 4 (to)", "before"),
    (
        ",Early,1921,1938,fine,",
        "column 5 (standing)",
        "good, poor or unrated",
    ),
    (
        ",Early,1921,1938,,",
        "column 5 (standing)",
        "good, poor or unrated",
    ),
    (
        ",Early,1921,1938,good,\n,Late,1930,1940,good,",
        "row 3",
        "overlap",
    ),
    (
        ",Early,1921,1938,good,\n,early,1950,1960,good,",
        "row 3",
        "twice",
    ),
];

#[test]
fn faulty_periods_are_refused_with_their_place() {
    let desk = desk();
    for (rows, place, reason) in BAD_PERIODS {
        desk.write(
            "bad.csv",
            format!("maker,period,from,to,standing,note\n{rows}\n"),
        );
        let lines = [
            "norms --from apples.csv --periods-from bad.csv",
            "add bad.csv --to c.db",
            "add bad.csv --to new.db",
        ];
        for line in lines {
            let said = desk.refuses(line);
            for word in ["bad.csv", place, reason] {
                assert!(said.contains(word), "{rows}: no {word} in {said}");
            }
        }
    }
}

#[test]
fn a_makers_own_period_goes_before_any_makers() {
    let desk = Desk::with(
        "s.csv",
        "specimen,maker,pattern,made,bit width\nA,Row,apple,1930,16\nB,Hill,apple,1930,12\n",
    );
    desk.write(
        "p.csv",
        "maker,period,from,to,standing,note\n,Any,1900,1950,poor,\nrow,Own,1921,1938,good,\n",
    );
    let csv = desk
        .run("norms --from s.csv --periods-from p.csv")
        .done()
        .csv();
    assert_eq!(
        (csv.column("maker"), csv.column("periods")),
        (vec!["Row"], vec!["Own"])
    );
}

#[test]
fn options_for_csv_are_refused_where_they_would_do_nothing() {
    let desk = desk();
    for option in ["--column a=b", "--skip a", "--set-aside x.csv"] {
        let said = desk.refuses(&format!("norms --from c.db {option}"));
        let name = option.split(' ').next().unwrap();
        assert!(said.contains(name) && said.contains("c.db"), "{said}");
    }
}

#[test]
fn a_folder_of_open_data_is_a_source() {
    let desk = Desk::new();
    let folder = demo("");
    let package = desk.run_words(&["norms", "--from", &folder]).done();
    let collection = desk
        .run_words(&["norms", "--from", &demo_collection()])
        .done();
    assert!(package.csv().rows.len() > 100);
    assert_eq!(package.csv().rows.len(), collection.csv().rows.len());
    let counts = |csv: super::Csv| {
        let mut counts: Vec<String> = (0..csv.rows.len())
            .map(|r| {
                ["pattern", "dimension", "n", "median"]
                    .map(|h| csv.cell(r, h))
                    .join("|")
            })
            .collect();
        counts.sort();
        counts
    };
    assert_eq!(counts(package.csv()), counts(collection.csv()));
}

#[test]
fn pieces_of_which_nothing_was_measured_are_no_trouble() {
    let desk = Desk::with(
        "names.csv",
        "specimen,maker,pattern\nA,Row,apple\nB,Row,prince\n",
    );
    desk.run("add names.csv --to c.db").done();
    for from in ["names.csv", "c.db"] {
        for line in [
            "norms",
            "flag",
            "rates",
            "periods",
            "screen",
            "measurers",
            "check A",
            "date A",
            "norms --leave-out source",
        ] {
            let answer = desk.run(&format!("{line} --from {from}"));
            assert!([0, 2, 3].contains(&answer.status), "{line}: {}", answer.err);
        }
    }
}
