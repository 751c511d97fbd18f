//! Traces: read from CSV, stored, corrected, withdrawn, exported, and given with any source.

use calibriar::catalogue::State;
use calibriar::collection::Collection;
use calibriar::source::{Request, open};
use calibriar::table::{SpotColour, Trace, TraceReading, White};
use rusqlite::Connection;

use super::{APPLES, Desk};

/// Invented traces of three pieces; rows of different traces stand among each other.
const TRACES: &str = "\
specimen,feature,station,reading,unit,uncertainty,state,repeat,instrument,note
A1,stem_top,0,0.00,mm,0.02,factory,1,dial gauge,
A2,bowl_section@25,0,18.1,,,worn,,,
A1,Stem Top,10,0.12,mm,,factory,1,dial gauge,by the chip
A2,bowl_section@25,120,18.30,,,worn,,,
A1,stem_top,20,-0.05,mm,0.02,factory,,,
A2,bowl_section@25,240,18.2,,,worn,,,
A1,stem_top,0,0.01,,,factory,2,,
A1,stem_top,1,0.02,,,factory,2,,
A3,finish colour,1,#5b3a21,,,unknown,,,
A3,finish colour,2,91 58 33,sRGB,,unknown,,,
A3,finish colour,card@96.5,96.1 0.2 -1.5,Lab D50,,unknown,,,
";

fn desk() -> Desk {
    let desk = Desk::with("apples.csv", APPLES);
    desk.write("traces.csv", TRACES);
    desk
}

fn added() -> Desk {
    let desk = desk();
    let out = desk.run("add traces.csv apples.csv --to c.db").done().out;
    assert!(out.contains("4 new traces"), "{out}");
    desk
}

#[track_caller]
fn traces(desk: &Desk, collection: &str) -> Vec<Trace> {
    let collection = Collection::open(&desk.path(collection)).unwrap();
    collection.table().unwrap().traces
}

#[track_caller]
fn one<'t>(traces: &'t [Trace], feature: &str, repeat: u32) -> &'t Trace {
    let is = |t: &&Trace| t.feature.to_string() == feature && t.repeat == repeat;
    let found: Vec<&Trace> = traces.iter().filter(is).collect();
    assert_eq!(found.len(), 1, "{feature} {repeat} in {traces:?}");
    found[0]
}

/// The specimens, features and repeats of traces.
fn names(traces: &[Trace]) -> Vec<String> {
    traces
        .iter()
        .map(|t| format!("{} {} {}", t.specimen, t.feature, t.repeat))
        .collect()
}

/// The words of a command line with a reason that holds a blank.
fn with_reason<'a>(line: &'a str, why: &'a str) -> Vec<&'a str> {
    line.split_whitespace().chain(["--why", why]).collect()
}

#[test]
fn a_collection_gives_the_numbers_that_were_written() {
    let desk = added();
    let traces = traces(&desk, "c.db");
    assert_eq!(
        names(&traces),
        [
            "A1 stem_top 1",
            "A1 stem_top 2",
            "A2 bowl_section@25 1",
            "A3 finish_colour 1"
        ]
    );
    let stem = one(&traces, "stem_top", 1);
    assert_eq!((stem.specimen.as_str(), stem.state), ("A1", State::Factory));
    let points = TraceReading::Points {
        stations: vec![0.0, 10.0, 20.0],
        readings: vec![0.0, 0.12, -0.05],
        uncertainty: 0.02,
    };
    assert_eq!(stem.reading, points);
    let section = one(&traces, "bowl_section@25", 1);
    assert_eq!(section.state, State::Worn);
    let points = TraceReading::Points {
        stations: vec![0.0, 120.0, 240.0],
        readings: vec![18.1, 18.3, 18.2],
        // The finest step that was written is 0.01 mm.
        uncertainty: 0.01 / 12f64.sqrt(),
    };
    assert_eq!(section.reading, points);
    let colour = one(&traces, "finish_colour", 1);
    assert_eq!(colour.state, State::Unknown);
    let TraceReading::Spots(spots) = &colour.reading else {
        panic!("spots, not {:?}", colour.reading)
    };
    let brown = SpotColour::Srgb([91.0, 58.0, 33.0]);
    assert_eq!((spots[0].colour, spots[1].colour), (brown, brown));
    assert_eq!((spots[1].name.as_str(), spots[1].card), ("2", None));
    let card = SpotColour::Lab {
        lab: [96.1, 0.2, -1.5],
        white: White::D50,
    };
    assert_eq!((spots[2].card, spots[2].colour), (Some(96.5), card));
}

#[test]
fn the_same_traces_again_add_nothing() {
    let desk = added();
    // Another file that says the same in other words.
    let reworded = TRACES
        .replace("0.12,mm", "0.120,")
        .replace(",,,worn", ",mm,,worn");
    desk.write("again.csv", reworded);
    let before = desk.everything();
    let out = desk.run("add traces.csv --to c.db").done().out;
    assert!(out.contains("nothing new"), "{out}");
    let out = desk.run("add again.csv --to c.db").done().out;
    assert!(out.contains("nothing new"), "{out}");
    assert_eq!(desk.changes_since(&before), "");
}

#[test]
fn a_contradiction_is_refused_until_it_is_called_a_correction() {
    let desk = added();
    desk.write("other.csv", TRACES.replace("0.12", "0.21"));
    let said = desk.refuses("add other.csv --to c.db");
    for part in ["other.csv", "A1", "stem_top", "0.12", "0.21", "--correct"] {
        assert!(said.contains(part), "no {part} in {said}");
    }
    for (old, new, told) in [
        (",worn,", ",factory,", ["`worn`", "`factory`"]),
        (
            "dial gauge",
            "height gauge",
            ["`dial gauge`", "`height gauge`"],
        ),
        (
            "0.02,factory,1",
            "0.03,factory,1",
            ["uncertainty 0.02", "uncertainty 0.03"],
        ),
    ] {
        let text = TRACES.replace("mm,0.02,factory,,", "mm,,factory,,");
        desk.write("other.csv", text.replace(old, new));
        let said = desk.refuses("add other.csv --to c.db");
        for part in told {
            assert!(said.contains(part), "no {part} in {said}");
        }
    }
    desk.write(
        "short.csv",
        TRACES.replace("A1,stem_top,20,-0.05,mm,0.02,factory,,,\n", ""),
    );
    let said = desk.refuses("add short.csv --to c.db");
    assert!(
        said.contains("`3 points`") && said.contains("`2 points`"),
        "{said}"
    );

    desk.write("other.csv", TRACES.replace("0.12", "0.21"));
    let words = with_reason("add other.csv --to c.db --correct", "1 and 2 swapped");
    let out = desk.run_words(&words).done().out;
    assert!(
        out.contains("1 new trace,") && out.contains("1 correction"),
        "{out}"
    );
    let now = traces(&desk, "c.db");
    assert_eq!(now.len(), 4);
    let TraceReading::Points { readings, .. } = &one(&now, "stem_top", 1).reading else {
        panic!("an outline")
    };
    assert_eq!(readings, &[0.0, 0.21, -0.05]);
    // The old one stays withdrawn, in whatever file it comes again.
    let before = desk.everything();
    desk.write("old.csv", format!("{TRACES}\n"));
    let out = desk.run("add old.csv --to c.db").done().out;
    assert!(out.contains("nothing new"), "{out}");
    std::fs::remove_file(desk.path("old.csv")).unwrap();
    assert_eq!(desk.changes_since(&before), "");
}

#[test]
fn the_history_names_traces() {
    let desk = added();
    desk.write("other.csv", TRACES.replace("0.12", "0.21"));
    let words = with_reason("add other.csv --to c.db --correct", "swapped");
    desk.run_words(&words).done();
    let csv = desk.run("history --from c.db").done().csv();
    assert_eq!(csv.column("traces"), ["4", "1"]);
    assert_eq!(csv.column("withdrawn"), ["0", "1"]);
    assert_eq!(csv.column("action"), ["add", "correct"]);
    let csv = desk.run("history A1 --from c.db").done().csv();
    let traced: Vec<[&str; 6]> = (0..csv.rows.len())
        .map(|row| {
            ["revision", "what", "dimension", "text", "state", "file"]
                .map(|heading| csv.cell(row, heading))
        })
        .filter(|row| row[2].starts_with("stem"))
        .collect();
    assert_eq!(
        traced,
        [
            [
                "1",
                "added",
                "stem_top",
                "3 points",
                "factory",
                "traces.csv"
            ],
            [
                "1",
                "added",
                "stem_top (2)",
                "2 points",
                "factory",
                "traces.csv"
            ],
            [
                "2",
                "withdrawn",
                "stem_top",
                "3 points",
                "factory",
                "traces.csv"
            ],
            ["2", "added", "stem_top", "3 points", "factory", "other.csv"],
        ]
    );
}

#[test]
fn a_withdrawn_trace_counts_no_more() {
    let desk = added();
    // A feature's place must be named, and a feature that is none is not taken.
    let said = desk.refuses("withdraw A2 bowl_section --to c.db --why worn");
    assert!(said.contains("it has bowl_section@25"), "{said}");
    let said = desk.refuses("withdraw A1 stem_tpo --to c.db --why worn");
    assert!(said.contains("stem_top"), "{said}");
    let out = desk
        .run("withdraw A2 bowl_section@25 --to c.db --why worn")
        .done()
        .out;
    assert!(out.contains("revision 2: 1 trace withdrawn"), "{out}");
    assert_eq!(traces(&desk, "c.db").len(), 3);
    desk.refuses("withdraw A2 bowl_section@25 --to c.db --why worn");
    // Both repeats.
    let out = desk
        .run("withdraw A1 stem_top --to c.db --why bent")
        .done()
        .out;
    assert!(out.contains("2 traces withdrawn"), "{out}");
    // A dimension takes no trace with it; a whole piece does.
    let out = desk.run_words(&["withdraw", "A3", "bit width", "--to", "c.db", "--why", "x"]);
    assert!(out.done().out.contains("1 reading withdrawn"));
    let out = desk.run("withdraw A3 --to c.db --why lost").done().out;
    assert!(out.contains("1 reading and 1 trace withdrawn"), "{out}");
    assert!(traces(&desk, "c.db").is_empty());
    // It comes back as a correction only.
    desk.write("again.csv", format!("{TRACES}\n"));
    let out = desk.run("add again.csv --to c.db").done().out;
    assert!(out.contains("nothing new"), "{out}");
    let words = with_reason("add again.csv --to c.db --correct", "found again");
    let out = desk.run_words(&words).done().out;
    assert!(out.contains("4 new traces"), "{out}");
    assert_eq!(traces(&desk, "c.db").len(), 4);
}

#[test]
fn traces_of_nobody_are_refused_whole() {
    let desk = Desk::with("bench.csv", APPLES.replace("A8", "Bench 17"));
    let lost = TRACES
        .replace("A3,", "Bench 71,")
        .replace("A2,", "Quite another,");
    desk.write("traces.csv", lost);
    let told = |said: &str| {
        for part in [
            "traces.csv, row 3, column 1 (specimen): `Quite another`: no such specimen",
            "traces.csv, row 10, column 1 (specimen): `Bench 71`: no such specimen; nearest: \
             Bench 17",
        ] {
            assert!(said.contains(part), "no {part} in {said}");
        }
    };
    // Neither the traces nor the pieces beside them go in.
    told(&desk.refuses("add traces.csv bench.csv --to c.db"));
    desk.run("add bench.csv --to c.db").done();
    told(&desk.refuses("add traces.csv --to c.db"));
    told(&desk.refuses("norms apple --from bench.csv --traces traces.csv"));
    told(&desk.refuses("norms apple --from c.db --traces traces.csv"));
}

#[test]
fn a_package_brings_the_traces_back() {
    let desk = added();
    desk.write("other.csv", TRACES.replace("0.12", "0.21"));
    let words = with_reason("add other.csv --to c.db --correct", "swapped");
    desk.run_words(&words).done();
    desk.run("withdraw A3 --to c.db --why lost").done();
    // Decimal commas, and cells that need quotation marks.
    desk.write(
        "comma.csv",
        "specimen;feature;station;reading;unit\nA4;stem_left;0;0,5;\nA4;stem_left;1,5;\"1/8\"\"\";\n\
         A5;finish colour;rim, left;34,2 12,1 20,5;Lab\n",
    );
    let answer = desk.run("add comma.csv --to c.db");
    // 0,5 does not say its unit beside 1/8".
    assert!(answer.ends(2).err.contains("row 2, column 4"));
    let text = desk.read("comma.csv").replace("0;0,5;", "0;0,5;mm");
    desk.write("comma.csv", text);
    desk.run("add comma.csv --to c.db").done();
    let stored = traces(&desk, "c.db");
    let left = TraceReading::Points {
        stations: vec![0.0, 1.5 * 25.4],
        readings: vec![0.5, 3.175],
        uncertainty: 0.1 / 12f64.sqrt(),
    };
    assert_eq!(one(&stored, "stem_left", 1).reading, left);

    desk.run("export package --from c.db").done();
    let json: serde_json::Value =
        serde_json::from_str(&desk.read("package/datapackage.json")).unwrap();
    let resources = json["resources"].as_array().unwrap();
    let described = resources.iter().find(|r| r["name"] == "traces").unwrap();
    let fields = described["schema"]["fields"].as_array().unwrap();
    let csv = super::Csv::parse(&desk.read("package/traces.csv"));
    let headings: Vec<&str> = fields.iter().map(|f| f["name"].as_str().unwrap()).collect();
    assert_eq!(csv.header, headings);
    assert_eq!(csv.rows.len(), 7);

    desk.run("add package --to d.db").done();
    assert_eq!(traces(&desk, "d.db"), stored);
    let digests = |collection: &str| {
        let csv = desk
            .run(&format!("history --from {collection}"))
            .done()
            .csv();
        csv.column("sha256")
            .iter()
            .map(|d| (*d).to_owned())
            .collect::<Vec<_>>()
    };
    assert_eq!(digests("d.db"), digests("c.db"));
    let source = open(&Request {
        from: &desk.path("package").display().to_string(),
        ..Request::default()
    });
    assert_eq!(source.unwrap().table.traces, stored);

    // No change by hand goes in.
    let whole = desk.read("package/traces.csv");
    for (old, new) in [
        ("0.21", "0.22"),
        ("factory,0.02", "factory,0.03"),
        ("factory,0.02", "factory,"),
        ("dial gauge", "a ruler"),
        ("A1,stem_top,2", "A1,stem_top,3"),
        ("A1,stem_top,2", "A2,stem_top,2"),
        ("bowl_section@25", "bowl_section@26"),
        (",worn,", ",factory,"),
        ("\",\",", ".,"),
        ("by the chip", ""),
    ] {
        assert!(whole.contains(old), "{old} in {whole}");
        desk.write("package/traces.csv", whole.replacen(old, new, 1));
        desk.refuses("add package --to e.db");
    }
    std::fs::remove_file(desk.path("package/traces.csv")).unwrap();
    desk.refuses("add package --to e.db");
}

/// A collection of version 1 as the program wrote it before there were traces.
#[test]
fn a_collection_of_version_1_is_read_and_brought_up_to_date() {
    let desk = desk();
    let old = Connection::open(desk.path("old.db")).unwrap();
    old.execute_batch(include_str!("../data/collection_version_1.sql"))
        .unwrap();
    drop(old);
    let version = |desk: &Desk| -> i64 {
        let connection = Connection::open(desk.path("old.db")).unwrap();
        connection
            .pragma_query_value(None, "user_version", |row| row.get(0))
            .unwrap()
    };
    assert!(traces(&desk, "old.db").is_empty());
    let csv = desk.run("history --from old.db").done().csv();
    assert_eq!(csv.column("traces"), ["0", "0", "0"]);
    desk.run("history A1 --from old.db").done();
    desk.run("norms apple --from old.db").done();
    // Export computes every digest again, as the older program did.
    desk.run("export package --from old.db").done();
    assert!(!desk.has("package/traces.csv"));
    assert_eq!(version(&desk), 1, "reading changes nothing");
    desk.write(
        "two.csv",
        TRACES.lines().take(8).collect::<Vec<_>>().join("\n"),
    );
    desk.run("add two.csv --to old.db").done();
    assert_eq!(version(&desk), 3);
    assert_eq!(traces(&desk, "old.db").len(), 3);
    let refused = Connection::open(desk.path("old.db")).unwrap();
    for change in ["DELETE FROM trace", "UPDATE trace SET points = ''"] {
        assert!(refused.execute_batch(change).is_err(), "{change}");
    }
    drop(refused);
    desk.run("export again --from old.db").done();
    desk.run("add again --to new.db").done();
    assert_eq!(traces(&desk, "new.db"), traces(&desk, "old.db"));
}

#[test]
fn bad_cells_are_told_with_their_place_and_what_was_expected() {
    let header = "specimen,feature,station,reading,unit,uncertainty,state,repeat,instrument";
    for (rows, place, message) in [
        (
            "A1,stem_tpo,0,1,,,,,",
            "column 2 (feature)",
            "nearest: stem_top",
        ),
        (
            "A1,bowl_section@rim,0,1,,,,,",
            "column 2 (feature)",
            "a distance in mm behind the @",
        ),
        (",stem_top,0,1,,,,,", "column 1 (specimen)", "no specimen"),
        (
            "A1,stem_top,,1,,,,,",
            "column 3 (station)",
            "the distance along the axis",
        ),
        (
            "A1,stem_top,NaN,1,,,,,",
            "column 3 (station)",
            "not a finite number",
        ),
        (
            "A1,stem_top,0,inf,,,,,",
            "column 4 (reading)",
            "not a finite number",
        ),
        (
            "A1,stem_top,0,soft,,,,,",
            "column 4 (reading)",
            "not a number",
        ),
        (
            "A1,stem_top,0,1/8,,,,,",
            "column 4 (reading)",
            "write its mark, such as 1/8 in",
        ),
        (
            "A1,stem_top,0,1 ± 0.1,,,,,",
            "column 4 (reading)",
            "expected one number",
        ),
        (
            "A1,bowl_section,0,0,,,,,",
            "column 4 (reading)",
            "greater than 0",
        ),
        (
            "A1,bowl_section,0,-2,,,,,",
            "column 4 (reading)",
            "greater than 0",
        ),
        (
            "A1,stem_top,0,1,g,,,,",
            "column 5 (unit)",
            "expected mm, cm or in",
        ),
        (
            "A1,stem_top,0,1,,0,,,",
            "column 6 (uncertainty)",
            "a positive number",
        ),
        (
            "A1,stem_top,0,1,,fair,,,",
            "column 6 (uncertainty)",
            "a positive number",
        ),
        (
            "A1,stem_top,0,1,,,mint,,",
            "column 7 (state)",
            "expected factory, worn",
        ),
        (
            "A1,stem_top,0,1,,,,0,",
            "column 8 (repeat)",
            "a whole number from 1 up",
        ),
        (
            "A1,stem_top,0,1,,,,1.5,",
            "column 8 (repeat)",
            "a whole number from 1 up",
        ),
        (
            "A1,finish colour,1,#5b3a2,,,,,",
            "column 4 (reading)",
            "expected #5b3a21",
        ),
        (
            "A1,finish colour,1,91 58 33,,,,,",
            "column 5 (unit)",
            "expected sRGB, Lab",
        ),
        (
            "A1,finish colour,1,91 58 333,sRGB,,,,",
            "column 4 (reading)",
            "blue is 333",
        ),
        (
            "A1,finish colour,1,91 58 200,Lab,,,,",
            "column 4 (reading)",
            "expected -128 to 127",
        ),
        (
            "A1,finish colour,card,#f0f0f0,,,,,",
            "column 3 (station)",
            "card@96.5",
        ),
        (
            "A1,finish colour,1,#5b3a21,,0.5,,,",
            "column 6 (uncertainty)",
            "an empty cell",
        ),
        (
            "A1,stem_top,0,1,,,worn,,\nA1,stem_top,1,1,,,factory,,",
            "row 3, column 7 (state)",
            "row 2 says `worn` of this trace",
        ),
        (
            "A1,stem_top,0,1,,0.02,,,\nA1,stem_top,1,1,,0.03,,,",
            "row 3, column 6 (uncertainty)",
            "row 2 says `0.02` of this trace",
        ),
        (
            "A1,stem_top,0,1,,,,,dial\nA1,stem_top,1,1,,,,,rule",
            "row 3, column 9 (instrument)",
            "row 2 says `dial` of this trace",
        ),
        (
            "A1,stem_top,0,1,,,,,\nA1,stem_top,1,0.1,in,,,,",
            "row 2, column 4 (reading)",
            "expected the unit in this row too, which was read as mm",
        ),
        (
            "A1,stem_top,0,1",
            "row 2",
            "the row has 4 cells; expected 9",
        ),
    ] {
        let desk = Desk::with("apples.csv", APPLES);
        desk.write("t.csv", format!("{header}\n{rows}\n"));
        let said = desk.refuses("add apples.csv t.csv --to c.db");
        let line = said
            .lines()
            .find(|l| l.starts_with("t.csv, row"))
            .unwrap_or_default();
        assert!(
            line.contains(place) && line.contains(message),
            "{rows}: {said}"
        );
        // The same with any source.
        let said = desk.refuses("norms apple --from apples.csv --traces t.csv");
        assert!(
            said.contains(place) && said.contains(message),
            "{rows}: {said}"
        );
    }
}

#[test]
fn a_header_of_traces_that_lacks_a_column() {
    let desk = Desk::with("apples.csv", APPLES);
    for (header, lacking) in [
        ("specimen,feature,station,height", "reading"),
        ("specimen,feature,reading", "station"),
        ("piece,feature,station", "specimen, reading"),
    ] {
        desk.write("t.csv", format!("{header}\nA1,stem_top,0,1\n"));
        for line in [
            "add apples.csv t.csv --to c.db",
            "norms --from t.csv",
            "norms apple --from apples.csv --traces t.csv",
        ] {
            let said = desk.refuses(line);
            let told = format!("t.csv, row 1: a table of traces lacks the column {lacking};");
            assert!(said.contains(&told), "{line}: {said}");
        }
    }
}

#[test]
fn headings_that_are_none_and_how_to_read_them() {
    let desk = Desk::with("apples.csv", APPLES);
    desk.write(
        "t.csv",
        "piece,feature,station,height,colour of stem\nA1,stem_top,0,0.1,black\n",
    );
    let line = "add apples.csv t.csv --to c.db";
    desk.refuses(line);
    // Renamed columns hold for all files of an `add`, so the traces come by themselves.
    desk.run("add apples.csv --to c.db").done();
    let renamed = "add t.csv --to c.db --column piece=specimen --column height=reading";
    let said = desk.refuses(renamed);
    assert!(
        said.contains("column 5 (colour of stem)") && said.contains("--skip"),
        "{said}"
    );
    desk.write(
        "u.csv",
        "specimen,feature,station,reading,instrumnt\nA1,stem_top,0,0.1,dial\n",
    );
    let said = desk.refuses("add u.csv --to c.db");
    assert!(said.contains("nearest: instrument"), "{said}");
    let said = desk.refuses("add u.csv --to c.db --column instrumnt=gadget");
    assert!(
        said.contains("`gadget`") && said.contains("table of traces"),
        "{said}"
    );
    let said = desk.refuses("add u.csv --to c.db --skip gauge");
    assert!(said.contains("gauge") && said.contains("--skip"), "{said}");
    desk.run("add u.csv --to c.db --column instrumnt=instrument")
        .done();
    let words: Vec<&str> = renamed.split_whitespace().collect();
    let words = [
        &words[..],
        &["--skip", "colour of stem", "--correct", "--why", "gauge"],
    ]
    .concat();
    desk.run_words(&words).done();
    assert_eq!(names(&traces(&desk, "c.db")), ["A1 stem_top 1"]);
}

#[test]
fn faulty_rows_are_set_aside_unchanged() {
    let desk = desk();
    let faulty = TRACES.replace("A1,Stem Top,10,0.12,mm", "A1,Stem Top,10,lost,mm");
    desk.write("traces.csv", faulty);
    desk.refuses("add apples.csv traces.csv --to c.db");
    let answer = desk
        .run("add apples.csv traces.csv --to c.db --set-aside aside.csv")
        .done();
    assert!(
        answer.err.contains("1 faulty row set aside"),
        "{}",
        answer.err
    );
    let aside = desk.read("aside.csv");
    let row = "A1,Stem Top,10,lost,mm,,factory,1,dial gauge,by the chip,\"reading: not a number";
    assert!(aside.contains(row), "{aside}");
    let TraceReading::Points { stations, .. } =
        one(&traces(&desk, "c.db"), "stem_top", 1).reading.clone()
    else {
        panic!("an outline")
    };
    assert_eq!(stations, [0.0, 20.0]);
    // The mended rows are one more trace of it, or a correction with the whole.
    desk.write("mended.csv", aside.replace("lost", "0.12"));
    desk.refuses("add mended.csv --to c.db");
    // With another source the traces must be whole.
    let said = desk.refuses("norms apple --from apples.csv --traces traces.csv --set-aside b.csv");
    assert!(said.contains("traces.csv, row 4"), "{said}");
}

#[test]
fn stations_that_were_read_twice_are_named() {
    let desk = Desk::with("apples.csv", APPLES);
    desk.write(
        "t.csv",
        "specimen,feature,station,reading,unit\nA1,stem_top,0,0.1,\nA1,stem_top,5,0.1,\n\
         A1,stem_top,5,0.4,\nA1,stem_top,0,0.2,\nA1,stem_top,9,0.3,\nA1,stem_top,9.0,0.3,\n\
         A2,bowl_section,0,18,\nA2,bowl_section,360,18.2,\n\
         A3,finish colour,1,#5b3a21,\nA3,finish colour,1,#5b3a22,\n",
    );
    let answer = desk.run("add apples.csv t.csv --to c.db").done();
    for caution in [
        "t.csv: 2 stations of stem_top of A1 were read twice and differ by up to 0.3 mm",
        "t.csv: 1 station of bowl_section of A2 was read twice and differs by up to 0.2 mm",
        "t.csv: 1 spot of finish_colour of A3 was read twice, in different colours",
    ] {
        assert!(
            answer.err.contains(caution),
            "no {caution} in {}",
            answer.err
        );
    }
    let traces = traces(&desk, "c.db");
    let TraceReading::Points { stations, .. } = &one(&traces, "stem_top", 1).reading else {
        panic!("an outline")
    };
    assert_eq!(stations.len(), 6, "every point is kept");
    let answer = desk
        .run("norms apple --from apples.csv --traces t.csv")
        .done();
    assert!(
        answer.err.contains("2 stations of stem_top"),
        "{}",
        answer.err
    );
}

#[test]
fn traces_go_with_any_source() {
    let desk = desk();
    let path = desk.path("traces.csv");
    let given = |from: &str| {
        open(&Request {
            from: &desk.path(from).display().to_string(),
            traces_from: Some(&path),
            ..Request::default()
        })
    };
    let with_sheet = given("apples.csv").unwrap().table.traces;
    assert_eq!(with_sheet.len(), 4);
    desk.run("add apples.csv --to c.db").done();
    assert_eq!(given("c.db").unwrap().table.traces, with_sheet);
    desk.run("export package --from c.db").done();
    assert!(
        !desk.has("package/traces.csv"),
        "a package without traces is as before"
    );
    assert_eq!(given("package").unwrap().table.traces, with_sheet);
    // The same traces twice are the same; others would be a guess.
    desk.write(
        "traces.csv",
        format!("{TRACES}A4,Ferrule  section,0,9,,,factory,,,\n"),
    );
    desk.run("add traces.csv --to c.db").done();
    assert_eq!(given("c.db").unwrap().table.traces.len(), 5);
    desk.write("other.csv", TRACES.replace("0.12", "0.21"));
    let said = desk.refuses("norms apple --from c.db --traces other.csv");
    assert!(said.contains("another stem_top of A1 already"), "{said}");
    for line in [
        "norms apple --from apples.csv --traces traces.csv",
        "check A8 --from apples.csv --traces traces.csv",
        "flag --from apples.csv --traces traces.csv",
    ] {
        assert_ne!(desk.run(line).status, 2, "{line}");
    }
    // Pieces of a file to be judged may have traces too.
    desk.write(
        "piece.csv",
        "specimen,maker,pattern,bit width\nNew,Row Works,apple,16.1\n",
    );
    desk.write(
        "new.csv",
        "specimen,feature,station,reading\nNew,stem_top,0,1\nA1,stem_top,0,1\n",
    );
    let line = "check --file piece.csv --from apples.csv --traces new.csv";
    assert_ne!(desk.run(line).status, 2, "{}", desk.run(line).err);
    let told = desk.run(&format!("{line} --format table")).out;
    assert!(told.contains("outlines not compared: stem top"), "{told}");
    let said = desk.refuses("check A8 --from apples.csv --traces new.csv");
    assert!(said.contains("`New`: no such specimen"), "{said}");
}

#[test]
fn a_table_of_traces_where_another_was_expected_and_the_reverse() {
    let desk = desk();
    desk.write("periods.csv", super::PERIODS);
    for (line, found) in [
        (
            "norms --from traces.csv",
            "traces.csv holds traces; expected measurements",
        ),
        (
            "norms apple --from apples.csv --traces apples.csv",
            "apples.csv holds measurements",
        ),
        (
            "norms apple --from apples.csv --traces periods.csv",
            "holds production periods",
        ),
        (
            "norms apple --from apples.csv --periods-from traces.csv",
            "no production periods",
        ),
        (
            "norms apple --from apples.csv --traces nowhere.csv",
            "cannot read nowhere.csv",
        ),
    ] {
        let said = desk.refuses(line);
        assert!(said.contains(found), "{line}: {said}");
    }
}
