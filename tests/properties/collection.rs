//! What must hold of the store whatever is stored.

use calibriar::collection::{Author, Collection, NewContent, NewFile, View, sha256_hex};
use calibriar::table::{Details, KeptReading};
use proptest::collection::vec;
use proptest::prelude::*;

use crate::common::tables::sheet;

fn author() -> Author {
    Author {
        by: "test".to_owned(),
        on: "2001-02-03T04:05:06Z".to_owned(),
        why: String::new(),
    }
}

fn file(name: &str, csv: &str) -> NewFile {
    NewFile {
        name: name.to_owned(),
        sha256: sha256_hex(csv.as_bytes()),
        options: "{}".to_owned(),
        content: NewContent::from(sheet(csv).table),
    }
}

/// A cell that reads as a size, in many of the forms.
fn cell() -> impl Strategy<Value = String> {
    prop_oneof![
        (1u32..99, 0u32..100).prop_map(|(a, b)| format!("{a}.{b:02}")),
        (1u32..64).prop_map(|a| format!("{a}/64")),
        (1u32..80).prop_map(|n| format!("#{n}")),
        (1u32..20, 1u32..9).prop_map(|(a, b)| format!("{a}.{b} ± 0.1")),
        (1u32..9).prop_map(|a| format!("{a}.5 mm {{worn}}")),
        (1u32..20).prop_map(|a| format!("{a}/64..{}/64", a + 1)),
        Just(String::new()),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn what_comes_out_is_what_went_in(rows in vec((cell(), cell(), "[ -~äß]{0,12}"), 1..12)) {
        let mut csv = String::from("specimen,pattern,bit width,airway,note\n");
        for (i, (a, b, note)) in rows.iter().enumerate() {
            csv.push_str(&format!("s{i},p,{a},{b},\"{}\"\n", note.replace('"', "\"\"")));
        }
        let table = sheet(&csv).table;
        let mut store = Collection::in_memory().unwrap();
        let added = store.add(&[file("a.csv", &csv)], &author(), false, &mut |_| {}).unwrap();
        prop_assert_eq!(added.new_readings, table.count_readings());
        let back = store.table().unwrap();
        prop_assert_eq!(&back.specimens.names, &table.specimens.names);
        for column in &table.columns {
            for row in 0..table.specimens.len() {
                let other = back.column(column.dimension);
                let value = other.and_then(|c| c.value(row));
                prop_assert_eq!(column.value(row), value);
                if let (Some(_), Some(other)) = (value, other) {
                    let (a, b) = (column.uncertainty(row), other.uncertainty(row));
                    prop_assert_eq!(a.to_bits(), b.to_bits());
                    prop_assert_eq!(column.state(row), other.state(row));
                }
            }
        }
        let again = store.add(&[file("b.csv", &csv)], &author(), false, &mut |_| {}).unwrap();
        prop_assert_eq!(again.revision, None);
    }

    #[test]
    fn a_package_gives_the_same_collection(rows in vec((cell(), cell()), 1..8), later in cell()) {
        let mut csv = String::from("specimen,pattern,bit width,airway\n");
        for (i, (a, b)) in rows.iter().enumerate() {
            csv.push_str(&format!("s{i},p,{a},{b}\n"));
        }
        let mut store = Collection::in_memory().unwrap();
        store.add(&[file("a.csv", &csv)], &author(), false, &mut |_| {}).unwrap();
        // A correction, so that the history holds a withdrawn reading as well.
        let correction = format!("specimen,bit width\ns0,{later}\n");
        store.add(&[file("b.csv", &correction)], &author(), true, &mut |_| {}).unwrap();
        let folder = tempfile::tempdir().unwrap();
        let (first, second) = (folder.path().join("first"), folder.path().join("second"));
        store.export(&first, "test").unwrap();
        let mut copy = Collection::in_memory().unwrap();
        copy.import(&first).unwrap();
        prop_assert_eq!(copy.revision().unwrap(), store.revision().unwrap());
        copy.export(&second, "test").unwrap();
        for entry in std::fs::read_dir(&first).unwrap() {
            let name = entry.unwrap().file_name();
            let (a, b) = (std::fs::read(first.join(&name)), std::fs::read(second.join(&name)));
            prop_assert_eq!(a.unwrap(), b.unwrap());
        }
    }

    #[test]
    fn single_readings_come_back_as_they_were_written(
        rows in vec((cell(), cell(), "[a-z]{0,3}"), 1..8),
        later in cell(),
    ) {
        let mut csv = String::from("specimen,dimension,value,uncertainty,measured_by\n");
        for (i, (a, b, who)) in rows.iter().enumerate() {
            for (dimension, value) in [("bit width", a), ("bit width", b), ("airway", b)] {
                csv.push_str(&format!("s{i},{dimension},{value},,{who}\n"));
            }
            csv.push_str(&format!("s{i},airway,4.2,0.03,{who}\n"));
        }
        let table = sheet(&csv).table;
        let mut store = Collection::in_memory().unwrap();
        store.add(&[file("a.csv", &csv)], &author(), false, &mut |_| {}).unwrap();
        let view = View { details: true, ..View::default() };
        let back = store.table_as(view).unwrap();
        let (first, second) = (table.details.as_ref().unwrap(), back.details.as_ref().unwrap());
        let mut were: Vec<_> = first.readings.iter().map(|r| said(first, r)).collect();
        let mut are: Vec<_> = second.readings.iter().map(|r| said(second, r)).collect();
        were.sort();
        are.sort();
        prop_assert_eq!(&were, &are);
        // All readings again give the same columns; the later revision does not touch the first.
        let again = back.of_readings(|reading| Some(reading.uncertainty));
        prop_assert_eq!(format!("{:?}", again.columns), format!("{:?}", back.columns));
        let correction = format!("specimen,bit width\ns0,{later}\ns99,3.3\n");
        store.add(&[file("b.csv", &correction)], &author(), true, &mut |_| {}).unwrap();
        store.withdraw("s99", None, &author()).unwrap();
        let earlier = store.table_as(View { revision: Some(1), ..view }).unwrap();
        prop_assert_eq!(format!("{:?}", earlier.columns), format!("{:?}", back.columns));
        prop_assert_eq!(&earlier.specimens.names, &back.specimens.names);
        let middle = store.table_as(View { revision: Some(2), ..view }).unwrap();
        prop_assert_eq!(middle.specimens.find("s99").is_some_and(|row| {
            middle.columns.iter().any(|c| c.value(row) == Some(3.3))
        }), true);
        let beyond = store.table_as(View { revision: Some(4), ..view });
        prop_assert!(beyond.is_err());
    }
}

/// A single reading with all that was said of it.
fn said(details: &Details, reading: &KeptReading) -> String {
    let text = details.texts.get(reading.text as usize);
    let circumstance = reading
        .circumstance
        .map(|c| &details.circumstances[c as usize]);
    format!(
        "{} {} {text} {} {} {} {:?} {:?} {circumstance:?}",
        reading.specimen,
        reading.dimension,
        reading.value,
        reading.uncertainty,
        reading.given,
        reading.unit,
        reading.state
    )
}
