//! What must hold of traces whatever the file is.

use calibriar::catalogue::{Catalogue, Feature, FeatureName};
use calibriar::collection::{Author, Collection, NewContent, NewFile, sha256_hex};
use calibriar::table::{Content, Options, Trace, TraceReading, TraceSheet, WrittenTrace, read};
use proptest::collection::vec;
use proptest::prelude::*;

use crate::common::tables::sheet;

const HEADER: &str = "specimen,feature,station,reading,unit,uncertainty,state,repeat,note";

fn traces(text: &str) -> Option<TraceSheet> {
    let options = Options {
        details: true,
        ..Options::default()
    };
    match read(
        "t.csv",
        text.as_bytes().to_vec(),
        &options,
        Catalogue::standard(),
    ) {
        Ok(Content::Traces(sheet)) => Some(sheet),
        _ => None,
    }
}

/// A number as somebody might write it, of any size.
fn number() -> impl Strategy<Value = String> {
    prop_oneof![
        (-99i32..99, 0u32..100).prop_map(|(a, b)| format!("{a}.{b:02}")),
        Just("0".to_owned()),
        Just("-0".to_owned()),
        any::<f64>().prop_map(|v| format!("{v:e}")),
        Just("1e300".to_owned()),
        Just("1e-300".to_owned()),
        (1u32..64).prop_map(|a| format!("{a}/64 in")),
        "[0-9./ ,;#a-fNin\"@±{}-]{0,8}",
    ]
}

/// A row of a trace, good or bad.
fn row() -> impl Strategy<Value = String> {
    let feature = prop_oneof![
        Just("stem_top"),
        Just("Stem left"),
        Just("bowl_section@25"),
        Just("finish colour"),
        Just("ferrule section@1e300"),
        Just("stem_tpo"),
    ];
    let unit = prop_oneof![
        Just(""),
        Just("mm"),
        Just("in"),
        Just("Lab"),
        Just("sRGB"),
        Just("g")
    ];
    let words = (
        prop_oneof![Just(""), Just("0.02"), Just("x")],
        prop_oneof![Just("factory"), Just("worn")],
    );
    ("[AB]", feature, number(), number(), unit, words, 1u32..3).prop_map(
        |(specimen, feature, station, reading, unit, (uncertainty, state), repeat)| {
            let quoted = |text: String| format!("\"{}\"", text.replace('"', "\"\""));
            let (station, reading) = (quoted(station), quoted(reading));
            format!(
                "{specimen},{feature},{station},{reading},{unit},{uncertainty},{state},{repeat},"
            )
        },
    )
}

/// A good row of the trace with that number.
fn good_row() -> impl Strategy<Value = (usize, String)> {
    let number = (0i32..99, 0u32..100).prop_map(|(a, b)| format!("{a}.{b:02}"));
    (0usize..6, number.clone(), number, "[ -~äß]{0,6}").prop_map(
        |(trace, station, reading, note)| {
            let (specimen, feature, repeat) = [
                ("A", "stem_top", 1),
                ("A", "stem_top", 2),
                ("B", "stem_top", 1),
                ("A", "bowl_section@25", 1),
                ("A", "bowl_section@30", 1),
                ("B", "finish colour", 1),
            ][trace];
            let note = note.replace('"', "\"\"");
            let (reading, unit) = match trace {
                3 | 4 => (format!("1{reading}"), "mm"),
                5 => (format!("{reading} 1 -2"), "Lab D50"),
                _ => (reading, "in"),
            };
            let row = format!(
                "{specimen},{feature},{station},{reading},{unit},,worn,{repeat},\"{note}\""
            );
            (trace, row)
        },
    )
}

fn name(trace: &Trace) -> String {
    format!("{} {} {}", trace.specimen, trace.feature, trace.repeat)
}

fn sorted(mut traces: Vec<Trace>) -> Vec<Trace> {
    traces.sort_by_key(name);
    traces
}

fn file(name: &str, text: &str, content: NewContent) -> NewFile {
    NewFile {
        name: name.to_owned(),
        sha256: sha256_hex(text.as_bytes()),
        options: "{}".to_owned(),
        content,
    }
}

fn author() -> Author {
    Author {
        by: "test".to_owned(),
        on: "2001-02-03T04:05:06Z".to_owned(),
        why: String::new(),
    }
}

fn of_file(name: &str, text: &str) -> NewFile {
    file(name, text, traces(text).unwrap().written.into())
}

/// A collection with the two pieces, no traces.
fn pieces() -> Collection {
    let mut store = Collection::in_memory().unwrap();
    let text = "specimen,pattern,bit width\nA,p,16\nB,p,16\n";
    let pieces = file("a.csv", text, sheet(text).table.into());
    store.add(&[pieces], &author(), false, &mut |_| {}).unwrap();
    store
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn any_bytes_below_the_header_give_traces_or_a_named_error(
        bytes in vec(any::<u8>(), 0..300)
    ) {
        let mut text = format!("{HEADER}\n").into_bytes();
        text.extend(bytes);
        let _ = read("any.csv", text, &Options::default(), Catalogue::standard());
    }

    #[test]
    fn any_cells_give_finite_points_or_located_faults(rows in vec(row(), 1..24)) {
        let text = format!("{HEADER}\n{}\n", rows.join("\n"));
        let sheet = traces(&text).expect("the header is that of traces");
        for fault in &sheet.faults {
            prop_assert!(fault.place.row >= 2 && fault.place.row <= rows.len() + 1);
            prop_assert!(fault.place.column <= 9);
            prop_assert!(!fault.to_string().is_empty());
        }
        prop_assert_eq!(sheet.traces.len(), sheet.written.len());
        for (trace, written) in sheet.traces.iter().zip(&sheet.written) {
            // The texts give the same numbers again: this is what the store relies on.
            prop_assert_eq!(Some(trace.clone()), written.read().ok());
            let (unit, lines) = written.lines();
            let points = WrittenTrace::points_of(&unit, &lines);
            prop_assert_eq!(Some(&written.points), points.as_ref());
            match &trace.reading {
                TraceReading::Points { stations, readings, uncertainty } => {
                    prop_assert_eq!(stations.len(), readings.len());
                    prop_assert!(!stations.is_empty());
                    prop_assert!(stations.iter().chain(readings).all(|v| v.is_finite()));
                    prop_assert!(uncertainty.is_finite() && *uncertainty > 0.0);
                }
                TraceReading::Spots(spots) => prop_assert!(!spots.is_empty()),
            }
        }
    }

    #[test]
    fn a_feature_is_read_from_its_own_name_again(
        name in "\\PC{0,12}[_ -]{1,2}section(@-?[0-9]{1,3}([.,][0-9]{1,3})?)?",
    ) {
        let known = Feature::standard();
        if let Ok(feature) = FeatureName::parse(&name, &known) {
            let again = FeatureName::parse(&feature.to_string(), &known);
            prop_assert_eq!(again.map(|f| f.to_string()), Ok(feature.to_string()));
        }
    }

    #[test]
    fn a_trace_is_the_same_wherever_its_rows_stand(rows in vec(good_row(), 1..40)) {
        let text = |rows: &[(usize, String)]| {
            let lines: Vec<&str> = rows.iter().map(|(_, row)| row.as_str()).collect();
            format!("{HEADER}\n{}\n", lines.join("\n"))
        };
        let mixed = traces(&text(&rows)).unwrap();
        prop_assert!(mixed.faults.is_empty(), "{:?}", mixed.faults);
        let mut apart = rows.clone();
        // Stable: each trace keeps the order of its own rows.
        apart.sort_by_key(|(trace, _)| *trace);
        let apart = traces(&text(&apart)).unwrap();
        prop_assert_eq!(sorted(mixed.traces), sorted(apart.traces));
    }

    #[test]
    fn what_is_stored_comes_back_and_again_adds_nothing(rows in vec(good_row(), 1..30)) {
        let lines: Vec<&str> = rows.iter().map(|(_, row)| row.as_str()).collect();
        let text = format!("{HEADER}\n{}\n", lines.join("\n"));
        let mut store = pieces();
        let sheet = traces(&text).unwrap();
        let added = store.add(&[of_file("t.csv", &text)], &author(), false, &mut |_| {}).unwrap();
        prop_assert_eq!(added.new_traces, sheet.traces.len());
        prop_assert_eq!(sorted(store.table().unwrap().traces), sorted(sheet.traces));
        let mut again = of_file("u.csv", &text);
        again.sha256.push('0');
        let added = store.add(&[again], &author(), false, &mut |_| {}).unwrap();
        prop_assert_eq!((added.revision, added.new_traces), (None, 0));
    }

    #[test]
    fn a_package_gives_the_same_collection(
        rows in vec(good_row(), 1..20),
        later in vec(good_row(), 1..20),
    ) {
        let text = |rows: &[(usize, String)]| {
            let lines: Vec<&str> = rows.iter().map(|(_, row)| row.as_str()).collect();
            format!("{HEADER}\n{}\n", lines.join("\n"))
        };
        let mut store = pieces();
        let before = store.revision().unwrap();
        store.add(&[of_file("t.csv", &text(&rows))], &author(), false, &mut |_| {}).unwrap();
        // Corrections and a withdrawal, so that the history holds withdrawn traces as well.
        store.add(&[of_file("u.csv", &text(&later))], &author(), true, &mut |_| {}).unwrap();
        if store.table().unwrap().traces.iter().any(|t| t.specimen == "A") {
            store.withdraw("A", None, &author()).unwrap();
        }
        prop_assert_ne!(store.revision().unwrap(), before);
        let folder = tempfile::tempdir().unwrap();
        let (first, second) = (folder.path().join("first"), folder.path().join("second"));
        store.export(&first, "test").unwrap();
        let mut copy = Collection::in_memory().unwrap();
        copy.import(&first).unwrap();
        prop_assert_eq!(copy.revision().unwrap(), store.revision().unwrap());
        prop_assert_eq!(copy.table().unwrap().traces, store.table().unwrap().traces);
        copy.export(&second, "test").unwrap();
        for entry in std::fs::read_dir(&first).unwrap() {
            let name = entry.unwrap().file_name();
            let (a, b) = (std::fs::read(first.join(&name)), std::fs::read(second.join(&name)));
            prop_assert_eq!(a.unwrap(), b.unwrap());
        }
    }
}
