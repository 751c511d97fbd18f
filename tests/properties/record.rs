//! What works leave never speaks for the works that made the piece, whatever else happens.

use calibriar::catalogue::Day;
use calibriar::cohort::{Choice, Cohort};
use calibriar::collection::{Author, Collection, NewContent, NewFile, NewRecord, View, sha256_hex};
use calibriar::norm::{Borrowing, Evidence, Settings, norms};
use calibriar::table::{Table, Typed, WorkDefaults, typed_works};
use proptest::collection::vec;
use proptest::prelude::*;

use crate::common::tables::sheet;

const PIECES: usize = 5;
const DIMENSIONS: [&str; 3] = ["bit width", "airway", "cant angle"];
const STATES: [&str; 5] = ["factory", "worn", "reworked", "replaced", "unknown"];

/// One thing that somebody does to a collection.
#[derive(Clone, Debug)]
enum Step {
    Add {
        piece: usize,
        dimension: usize,
        value: u32,
        state: usize,
    },
    Correct {
        piece: usize,
        dimension: usize,
        value: u32,
    },
    Withdraw {
        piece: usize,
        dimension: Option<usize>,
    },
    Record {
        piece: usize,
        dimension: usize,
        take: u32,
        replaced: bool,
        found: Option<u32>,
        day: u8,
    },
    WithdrawWork {
        piece: usize,
        dimension: Option<usize>,
    },
}

fn step() -> impl Strategy<Value = Step> {
    let (piece, dimension) = (0..PIECES, 0..DIMENSIONS.len());
    let maybe = || proptest::option::of(0..DIMENSIONS.len());
    prop_oneof![
        4 => (piece.clone(), dimension.clone(), 0u32..300, 0..STATES.len())
            .prop_map(|(piece, dimension, value, state)| Step::Add { piece, dimension, value, state }),
        1 => (piece.clone(), dimension.clone(), 0u32..300)
            .prop_map(|(piece, dimension, value)| Step::Correct { piece, dimension, value }),
        1 => (piece.clone(), maybe())
            .prop_map(|(piece, dimension)| Step::Withdraw { piece, dimension }),
        4 => (piece.clone(), dimension, 0u32..40, any::<bool>(), proptest::option::of(0u32..300), 1u8..29)
            .prop_map(|(piece, dimension, take, replaced, found, day)| {
                Step::Record { piece, dimension, take, replaced, found, day }
            }),
        1 => (piece, maybe()).prop_map(|(piece, dimension)| Step::WithdrawWork { piece, dimension }),
    ]
}

fn author() -> Author {
    Author {
        by: "test".to_owned(),
        on: "2025-02-03T04:05:06Z".to_owned(),
        why: String::new(),
    }
}

fn add(store: &mut Collection, csv: &str, correct: bool) {
    let file = NewFile {
        name: "a.csv".to_owned(),
        sha256: sha256_hex(csv.as_bytes()),
        options: "{}".to_owned(),
        content: NewContent::from(sheet(csv).table),
    };
    // A contradiction is refused with and without records alike.
    let _ = store.add(&[file], &author(), correct, &mut |_| {});
}

/// Sizes that a work leaves have three decimals, no others do.
fn record(store: &mut Collection, at: usize, step: &Step) -> Option<f64> {
    let Step::Record {
        piece,
        dimension,
        take,
        replaced,
        found,
        day,
    } = step
    else {
        return None;
    };
    let specimen = format!("s{piece}");
    let key = store.catalogue().unwrap();
    let key = key
        .at(key.find(DIMENSIONS[*dimension]).unwrap())
        .key
        .clone();
    let standing = store.replay(&specimen, None, None).ok()?;
    let stands = standing.places.iter().find(|p| p.dimension == key);
    let from = match (found, stands) {
        (Some(found), _) => base(*dimension) + f64::from(*found) / 100.0,
        (None, Some(place)) => place.value,
        (None, None) => base(*dimension),
    };
    // Holes grow, bits shrink; now and then the wrong way, to be refused.
    let way = if *dimension == 0 { -1.0 } else { 1.0 };
    let left = format!("{:.2}7", from + way * (f64::from(*take) - 5.0) / 50.0);
    let found = found.map(|f| format!("{:.2} {{worn}}", base(*dimension) + f64::from(f) / 100.0));
    let defaults = WorkDefaults {
        done_by: "Jo".to_owned(),
        done_on: Day::parse(&format!("2024-05-{day:02}")).unwrap(),
        tool: "file".to_owned(),
        why: format!("step {at}"),
        replaced: *replaced,
        pictures: Vec::new(),
    };
    let typed = Typed {
        dimension: DIMENSIONS[*dimension],
        left: &left,
        found: found.as_deref().unwrap_or(""),
    };
    let sheet = typed_works(&[typed], &store.catalogue().unwrap(), &defaults);
    let record = NewRecord {
        specimen,
        name: "--set".to_owned(),
        sha256: sha256_hex(left.as_bytes()),
        options: format!("step {at}"),
        works: sheet.works,
    };
    let latest = Day::parse("2025-01-01").unwrap();
    if record.works.is_empty() {
        return None;
    }
    store.record(&record, &author(), latest).ok()?;
    Some(left.parse().unwrap())
}

fn base(dimension: usize) -> f64 {
    [15.0, 3.0, 1.0][dimension]
}

/// Does a step; gives the size that a work left.
fn take(store: &mut Collection, at: usize, step: &Step, with_records: bool) -> Option<f64> {
    let key = |dimension: &Option<usize>| {
        dimension.map(|d| ["bit_width", "draught_diameter", "cant_angle"][d])
    };
    let size = |dimension: usize, value: u32| base(dimension) + f64::from(value) / 100.0;
    match step {
        Step::Add {
            piece,
            dimension,
            value,
            state,
        } => {
            let csv = format!(
                "specimen,pattern,dimension,value,state,measured_by\ns{piece},p,{},{:.2},{},m{at}\n",
                DIMENSIONS[*dimension],
                size(*dimension, *value),
                STATES[*state]
            );
            add(store, &csv, false);
        }
        Step::Correct {
            piece,
            dimension,
            value,
        } => {
            let csv = format!(
                "specimen,pattern,{}\ns{piece},p,{:.2}\n",
                DIMENSIONS[*dimension],
                size(*dimension, *value)
            );
            add(store, &csv, true);
        }
        Step::Withdraw { piece, dimension } => {
            let _ = store.withdraw(&format!("s{piece}"), key(dimension), &author());
        }
        Step::Record { .. } if with_records => return record(store, at, step),
        Step::WithdrawWork { piece, dimension } if with_records => {
            let _ = store.withdraw_work(&format!("s{piece}"), key(dimension), &author());
        }
        _ => {}
    }
    None
}

/// Every reference of a table, to the last bit, and the norms that they make.
fn references(table: &Table, unknown_state: bool) -> (Vec<String>, String) {
    let choice = Choice {
        unknown_state,
        ..Choice::default()
    };
    let cohort = Cohort::new(table, &choice).unwrap();
    let mut all = Vec::new();
    for column in &table.columns {
        let dimension = table.dimension(column);
        for row in 0..table.specimens.len() {
            if let Some(reference) = cohort.reference(column, dimension.kind, row) {
                let rated = reference.rated();
                all.push(format!(
                    "{} {row} {:x} {:x}",
                    dimension.key,
                    rated.x.to_bits(),
                    rated.u.to_bits()
                ));
            }
        }
    }
    let settings = Settings::new(0.95, 0.95, 0.05).unwrap();
    let evidence = Evidence::gather(&cohort, &Borrowing::default());
    let groups: Vec<usize> = (0..cohort.groups().len()).collect();
    (all, format!("{:?}", norms(&evidence, &groups, &settings)))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn norms_know_nothing_of_records(steps in vec(step(), 1..30)) {
        let first: String = (0..PIECES)
            .map(|i| format!("s{i},p,{:.2},3.{i}0,1.{i}0\n", 15.5 + i as f64 / 10.0))
            .collect();
        let first = format!("specimen,pattern,bit width,airway,cant angle\n{first}");
        let (mut with, mut without) = (
            Collection::in_memory().unwrap(),
            Collection::in_memory().unwrap(),
        );
        add(&mut with, &first, false);
        add(&mut without, &first, false);
        let mut left = Vec::new();
        for (at, step) in steps.iter().enumerate() {
            left.extend(take(&mut with, at, step, true));
            take(&mut without, at, step, false);
        }
        let view = View { details: true, ..View::default() };
        let table = with.table_as(view).unwrap();
        for unknown_state in [false, true] {
            let ours = references(&table, unknown_state);
            prop_assert_eq!(&ours, &references(&without.table().unwrap(), unknown_state));
        }
        // Nothing that a work left is among the readings that can become references at all.
        let details = table.details.as_ref().unwrap();
        for reading in &details.readings {
            let text = details.texts.get(reading.text as usize);
            let number = text.split_once(' ').map_or(text, |(number, _)| number);
            let decimals = number.rsplit_once('.').map_or(0, |(_, d)| d.len());
            prop_assert!(decimals < 3, "{} was left by a work", text);
        }
        // The pieces as they stand have, where a work counts, the size that the last one left.
        let as_left = with.table_as(View { as_left: true, ..view }).unwrap();
        for (row, specimen) in as_left.specimens.names.iter().enumerate() {
            let replay = with.replay(specimen, None, None).unwrap();
            for place in replay.places.iter().filter(|place| place.works > 0) {
                let column = as_left.columns.iter().find(|c| {
                    as_left.dimension(c).key == place.dimension
                });
                prop_assert_eq!(column.and_then(|c| c.value(row)), Some(place.value));
                prop_assert!(left.contains(&place.value));
                prop_assert!(matches!(
                    column.unwrap().state(row),
                    calibriar::catalogue::State::Reworked | calibriar::catalogue::State::Replaced
                ));
                // Of a place that was worked on nothing else is left to be judged.
                let last = replay.works.iter().rfind(|w| w.dimension == place.dimension);
                prop_assert_eq!(&last.unwrap().left.text, &place.text);
            }
        }
        // The chain holds, and goes out and in.
        let verified = with.verify().unwrap();
        prop_assert_eq!(&verified.misfit, &None);
        prop_assert_eq!(verified.newest, with.revision().unwrap());
        let folder = tempfile::tempdir().unwrap();
        with.export(&folder.path().join("p"), "test").unwrap();
        let mut copy = Collection::in_memory().unwrap();
        copy.import(&folder.path().join("p")).unwrap();
        prop_assert_eq!(copy.revision().unwrap(), with.revision().unwrap());
    }
}
