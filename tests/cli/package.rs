//! Data packages: a collection leaves and comes back whole, and nobody changes it on the way.

use super::{APPLES, Csv, Desk, PERIODS, demo, demo_collection};

/// A collection that has everything: two makers, periods replaced, corrections, withdrawals,
/// circumstances, a new dimension, names that need quoting.
fn rich() -> Desk {
    let desk = Desk::with("apples.csv", APPLES);
    desk.write("periods.csv", PERIODS);
    desk.run("add apples.csv periods.csv --to c.db --by Maria")
        .done();
    desk.write(
        "long.csv",
        "specimen,maker,pattern,dimension,value,unit,uncertainty,state,instrument,measured_by,measured_on,source,note\n\
         \"Q, \"\"1\"\"\",Hill,poker,airway,#22,,,factory,gauge,M,2001-02-03,club,\"two\nlines\"\n\
         A1,Row Works,apple,weight,1.5,oz,0.01,worn,,,,,\n\
         A2,Row Works,apple,airway,5/32..11/64,,,unknown,,,,,ä é\n\
         A3,Row Works,apple,cant angle,-3.5,,,,,N,,,\n",
    );
    desk.write(
        "new.csv",
        "specimen,pattern,flange (cm),bit width\nA9,apple,0.31,16.3 ± 0.1\n",
    );
    desk.write(
        "corrected.csv",
        "specimen,bit width,cant angle\nA8,16.40,2.0\n",
    );
    desk.write("later.csv", "maker,period,from,to,standing,note\nRow Works,Lean Years,1939,1948,poor,\"a, b\"\n,Any Shop,1949,1960,unrated,\n");
    desk.run("add long.csv --to c.db").done();
    desk.run("add new.csv --new-dimensions --to c.db").done();
    desk.run("add corrected.csv --correct --why slip --to c.db")
        .done();
    desk.run("add later.csv --to c.db --correct --why books")
        .done();
    desk.run("withdraw A7 --why lost --to c.db").done();
    desk
}

const FILES: [&str; 7] = [
    "datapackage.json",
    "dimensions.csv",
    "files.csv",
    "periods.csv",
    "readings.csv",
    "revisions.csv",
    "specimens.csv",
];

#[track_caller]
fn assert_same_folder(desk: &Desk, a: &str, b: &str) {
    for file in FILES {
        let (left, right) = (
            desk.read(&format!("{a}/{file}")),
            desk.read(&format!("{b}/{file}")),
        );
        assert_eq!(left, right, "{file}");
    }
    // Traces have a file of their own where there are any.
    let traces = usize::from(desk.has(&format!("{a}/traces.csv")));
    if traces > 0 {
        let of = |folder: &str| desk.read(&format!("{folder}/traces.csv"));
        assert_eq!(of(a), of(b));
    }
    let count = std::fs::read_dir(desk.path(a)).unwrap().count();
    assert_eq!(count, FILES.len() + traces);
}

#[test]
fn out_and_in_and_out_again_gives_the_same_bytes() {
    let desk = rich();
    desk.run("export one --from c.db").done();
    let out = desk.run("add one --to copy.db").done().out;
    assert!(out.contains("revision 6"), "{out}");
    desk.run("export two --from copy.db").done();
    assert_same_folder(&desk, "one", "two");
    // The copy answers, and remembers, as the original does.
    for command in ["norms", "flag", "check A1 A8 A9", "history", "history A8"] {
        let of = |source: &str| {
            let answer = desk.run(&format!("{command} --from {source}"));
            (answer.out, answer.status)
        };
        assert_eq!(of("copy.db"), of("c.db"), "{command}");
    }
    // It goes on from there.
    desk.write(
        "more.csv",
        "specimen,maker,pattern,made,bit width\nZ,Row Works,apple,1930,16.3\n",
    );
    desk.run("add more.csv --to copy.db").done();
    assert_eq!(
        desk.run("history --from copy.db").done().csv().rows.len(),
        7
    );
}

#[test]
fn the_demo_collection_goes_out_and_in() {
    let desk = Desk::new();
    let path = demo_collection();
    desk.run_words(&["export", "one", "--from", &path]).done();
    desk.run("add one --to copy.db").done();
    desk.run("export two --from copy.db").done();
    assert_same_folder(&desk, "one", "two");
    let ask = |source: &str| desk.run_words(&["flag", "--from", source]).ends(1).out;
    assert_eq!(ask("one"), ask(&path));
}

#[test]
fn a_package_answers_as_its_collection() {
    let desk = rich();
    desk.run("export package --from c.db").done();
    let before = desk.everything();
    for command in [
        "norms --format json",
        "flag --format json",
        "check A1 A9 --format json",
    ] {
        let of = |source: &str| {
            let answer = desk.run(&format!("{command} --from {source}"));
            (
                answer.out.replace(&format!("\"{source}\""), "\"\""),
                answer.status,
            )
        };
        // Revision and digest of the provenance included.
        assert_eq!(of("package"), of("c.db"), "{command}");
    }
    assert_eq!(desk.changes_since(&before), "", "asking changes nothing");
}

#[test]
fn a_package_describes_itself() {
    let desk = rich();
    desk.run("export package --from c.db").done();
    let json: serde_json::Value =
        serde_json::from_str(&desk.read("package/datapackage.json")).unwrap();
    let resources = json["resources"].as_array().unwrap();
    assert_eq!(resources.len(), 6);
    for resource in resources {
        let path = resource["path"].as_str().unwrap();
        let table = Csv::parse(&desk.read(&format!("package/{path}")));
        let fields: Vec<&str> = resource["schema"]["fields"]
            .as_array()
            .unwrap()
            .iter()
            .map(|f| f["name"].as_str().unwrap())
            .collect();
        assert_eq!(table.header, fields, "{path}");
        assert!(!table.rows.is_empty(), "{path}");
        // Cells are of the type that the schema promises.
        for field in resource["schema"]["fields"].as_array().unwrap() {
            let name = field["name"].as_str().unwrap();
            for cell in table.column(name).into_iter().filter(|c| !c.is_empty()) {
                match field["type"].as_str().unwrap() {
                    "integer" => assert!(cell.parse::<i64>().is_ok(), "{path} {name}: {cell}"),
                    "number" => assert!(cell.parse::<f64>().unwrap().is_finite()),
                    other => assert_eq!(other, "string"),
                }
            }
        }
    }
}

#[test]
fn export_writes_only_into_a_new_or_empty_folder() {
    let desk = rich();
    desk.run("export package --from c.db").done();
    let said = desk.refuses("export package --from c.db");
    assert!(said.contains("package") && said.contains("empty"), "{said}");
    std::fs::create_dir(desk.path("empty")).unwrap();
    desk.run("export empty --from c.db").done();
    assert_same_folder(&desk, "package", "empty");
    // A file is no folder; what is above it must be there or be made.
    desk.refuses("export apples.csv --from c.db");
    desk.refuses("export other --from nowhere.db");
    desk.refuses("export other --from apples.csv");
}

/// Every cell of every file, one after the other: no change by hand goes in.
#[test]
fn a_package_edited_by_hand_is_refused() {
    let desk = rich();
    desk.run("export package --from c.db").done();
    let mut accepted = Vec::new();
    for file in FILES.iter().filter(|f| f.ends_with(".csv")) {
        let whole = desk.read(&format!("package/{file}"));
        let table = Csv::parse(&whole);
        let path = format!("package/{file}");
        for heading in &table.header {
            // The row with most in it, so that there is something to change.
            let row = (0..table.rows.len())
                .max_by_key(|&r| table.cell(r, heading).len())
                .unwrap();
            let mut edited = Csv::parse(&whole);
            let at = table.header.iter().position(|h| h == heading).unwrap();
            let cell = &mut edited.rows[row][at];
            *cell = match cell.parse::<i64>() {
                Ok(number) if number > 1 => (number - 1).to_string(),
                Ok(number) => (number + 1).to_string(),
                Err(_) if cell == "mm" => "in".to_owned(),
                Err(_) if cell == "factory" => "worn".to_owned(),
                Err(_) if cell.parse::<f64>().is_ok() => format!("{cell}1"),
                Err(_) => format!("{cell}x"),
            };
            assert_ne!(edited, table);
            desk.write(&path, text(&edited));
            if !is_refused(&desk) {
                accepted.push(format!("{file}, {heading}"));
            }
        }
        // A row gone, and a row twice.
        let mut shorter = Csv::parse(&whole);
        shorter.rows.pop();
        desk.write(&path, text(&shorter));
        if !is_refused(&desk) {
            accepted.push(format!("{file}, last row gone"));
        }
        let mut longer = Csv::parse(&whole);
        longer.rows.push(table.rows[table.rows.len() - 1].clone());
        desk.write(&path, text(&longer));
        if !is_refused(&desk) {
            accepted.push(format!("{file}, last row twice"));
        }
        desk.write(&path, whole);
    }
    assert!(
        accepted.is_empty(),
        "accepted though changed: {accepted:#?}"
    );
    desk.run("norms --from package").done();
}

fn text(table: &Csv) -> Vec<u8> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(&table.header).unwrap();
    table
        .rows
        .iter()
        .for_each(|row| writer.write_record(row).unwrap());
    writer.into_inner().unwrap()
}

/// Both ways in agree, and a refusal leaves nothing behind.
#[track_caller]
fn is_refused(desk: &Desk) -> bool {
    let taken = desk.run("add package --to new.db");
    let asked = desk.run("norms --from package");
    assert_eq!(
        taken.status == 0,
        asked.status == 0,
        "{} {}",
        taken.err,
        asked.err
    );
    if taken.status == 0 {
        std::fs::remove_file(desk.path("new.db")).unwrap();
        return false;
    }
    assert!(!desk.has("new.db"), "left behind: {}", taken.err);
    assert_eq!((taken.status, asked.status), (2, 2));
    true
}

#[test]
fn the_refusal_of_an_edited_package_says_what_to_do() {
    let desk = rich();
    desk.run("export package --from c.db").done();
    let readings = desk.read("package/readings.csv");
    assert!(readings.contains("16.22"));
    desk.write("package/readings.csv", readings.replace("16.22", "16.20"));
    let said = desk.refuses("add package --to new.db");
    for word in ["digest", "changed", "add a corrected table"] {
        assert!(said.contains(word), "no {word} in {said}");
    }
}

/// Cutting off the last revision, a withdrawal, leaves a chain of digests that fits; the package
/// still says which revision it holds.
#[test]
fn a_package_without_its_last_revision_is_refused() {
    let desk = rich();
    desk.run("export package --from c.db").done();
    let without = |file: &str, heading: &str, whole_row: bool| {
        let path = format!("package/{file}");
        let mut table = Csv::parse(&desk.read(&path));
        let at = table.header.iter().position(|h| h == heading).unwrap();
        let before = text(&table);
        if whole_row {
            table.rows.retain(|row| row[at] != "6");
        } else {
            table
                .rows
                .iter_mut()
                .filter(|row| row[at] == "6")
                .for_each(|row| row[at].clear());
        }
        assert_ne!(text(&table), before);
        desk.write(&path, text(&table));
    };
    without("revisions.csv", "revision", true);
    without("readings.csv", "withdrawn_in", false);
    desk.refuses("norms --from package");
    desk.refuses("add package --to new.db");
}

#[test]
fn a_collection_takes_over_a_package_only_while_it_is_new() {
    let desk = rich();
    desk.run("export package --from c.db").done();
    let said = desk.refuses("add package --to c.db");
    assert!(said.contains("new collection"), "{said}");
    let said = desk.refuses("add package apples.csv --to new.db");
    assert!(said.contains("alone"), "{said}");
}

#[test]
fn damaged_packages_are_refused_in_words() {
    let desk = rich();
    desk.run("export package --from c.db").done();
    let descriptor = desk.read("package/datapackage.json");
    for (text, word) in [
        ("", "JSON"),
        ("{", "JSON"),
        ("[]", "resources"),
        ("{\"resources\": []}", "resources"),
        ("{\"resources\": [{\"name\": \"x\"}]}", "path"),
        (
            "{\"resources\": [{\"path\": \"../secret.csv\"}]}",
            "../secret.csv",
        ),
        (
            "{\"resources\": [{\"path\": \"/etc/hostname\"}]}",
            "/etc/hostname",
        ),
        (
            "{\"resources\": [{\"path\": \"missing.csv\"}]}",
            "missing.csv",
        ),
    ] {
        desk.write("package/datapackage.json", text);
        for line in ["norms --from package", "add package --to new.db"] {
            let said = desk.refuses(line);
            assert!(said.contains(word), "{text}: no {word} in {said}");
        }
    }
    desk.write("package/datapackage.json", descriptor);
    for file in FILES.iter().filter(|f| f.ends_with(".csv")) {
        let whole = desk.read(&format!("package/{file}"));
        std::fs::remove_file(desk.path(&format!("package/{file}"))).unwrap();
        let said = desk.refuses("norms --from package");
        assert!(said.contains(file), "no {file} in {said}");
        let half: String = whole.chars().take(whole.chars().count() / 2).collect();
        desk.write(&format!("package/{file}"), half);
        desk.refuses("norms --from package");
        desk.write(&format!("package/{file}"), "no,such,columns\n1,2,3\n");
        desk.refuses("add package --to new.db");
        desk.write(&format!("package/{file}"), whole);
    }
    desk.run("norms --from package").done();
}

#[test]
fn a_package_of_other_origin_is_read_as_its_tables() {
    let desk = Desk::new();
    std::fs::create_dir_all(desk.path("foreign/data")).unwrap();
    desk.write("foreign/data/pipes.csv", APPLES);
    desk.write("foreign/periods.csv", PERIODS);
    desk.write(
        "foreign/datapackage.json",
        r#"{"name": "foreign", "resources": [{"name": "a", "path": "data/pipes.csv"},
            {"name": "b", "path": "periods.csv"}]}"#,
    );
    desk.run("add foreign --to c.db").done();
    let stored = desk.run("norms --from c.db").done();
    assert_eq!(desk.run("norms --from foreign").done().out, stored.out);
    assert_eq!(stored.csv().cell(0, "periods"), "Old Shop");
    // Where resources say what they hold, the others are not touched.
    desk.write("foreign/prose.csv", "this is no table of pipes\n");
    let descriptor = r#"{"resources": [{"path": "data/pipes.csv", "holds": "measurements"},
        {"path": "periods.csv", "holds": "periods"}, {"path": "prose.csv"}]}"#;
    desk.write("foreign/datapackage.json", descriptor);
    assert_eq!(desk.run("norms --from foreign").done().out, stored.out);
    // Faults in it are told as in any file.
    desk.write("foreign/data/pipes.csv", APPLES.replace("16.05", "x"));
    let said = desk.refuses("norms --from foreign");
    assert!(
        said.contains("data/pipes.csv, row 5, column 5 (bit width): `x`"),
        "{said}"
    );
}

#[test]
fn the_demo_folder_is_such_a_package() {
    let desk = Desk::new();
    desk.run_words(&["add", &demo(""), "--to", "c.db"]).done();
    let of = |source: &str| {
        let csv = desk.run_words(&["norms", "--from", source]).done().csv();
        let mut rows: Vec<String> = (0..csv.rows.len())
            .map(|r| {
                ["pattern", "dimension", "n", "median"]
                    .map(|h| csv.cell(r, h))
                    .join("|")
            })
            .collect();
        rows.sort();
        rows
    };
    assert!(of("c.db").len() > 100);
    assert_eq!(of("c.db"), of(&demo_collection()));
}

#[test]
fn a_zero_with_a_sign_is_a_zero() {
    let desk = Desk::with("z.csv", "specimen,cant angle\nX1,-0.0\nX2,-0\nX3,0.0\n");
    desk.run("add z.csv --to z.db").done();
    desk.run("export p --from z.db").done();
    desk.run("add p --to again.db").done();
}
