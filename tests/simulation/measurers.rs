//! How often the interval of the reproducibility holds the truth, how often a bias is found where
//! there is none, and how often honest repeats are taken for slips.

use calibriar::measurers::{ReadingErrors, measurers};
use calibriar::table::{Circumstance, KeptReading, Table};

use crate::common::draw::Draw;

/// Measurers of so many places each read once by each: who is off by `between`, and errors of 1, in
/// steps of 0.01 mm.
fn evening(draw: &mut Draw, places: usize, people: usize, between: f64) -> Table {
    let mut table = crate::common::tables::table("specimen,bit width\nA,16.1\n");
    let mut details = table.details.take().unwrap();
    let blank = details.readings[0];
    let off: Vec<f64> = (0..people).map(|_| between * draw.normal()).collect();
    details.circumstances = (0..people)
        .map(|j| Circumstance {
            measured_by: format!("M{j}"),
            ..Circumstance::default()
        })
        .collect();
    details.readings.clear();
    for place in 0..places {
        let size = 16.0 + draw.normal();
        table.specimens.names.push(&format!("P{place}"));
        for (j, off) in off.iter().enumerate() {
            let value = size + 0.05 * (off + draw.normal());
            details.readings.push(KeptReading {
                specimen: place as u32 + 1,
                value: (value * 100.0).round() / 100.0,
                circumstance: Some(j as u32),
                ..blank
            });
        }
    }
    Table {
        details: Some(details),
        ..table
    }
}

/// 400 evenings each. Limits are three standard errors about 95 and 5 %; with two or three measurers
/// the profile is known to be too narrow (its chi-square is that of many), so there only a floor is
/// asked for.
#[test]
fn intervals_and_false_alarms_over_many_evenings() {
    // Places, measurers, their spread, least and greatest share of intervals that hold the truth.
    let cells = [
        (12, 3, 0.0, 0.93, 1.0),
        (12, 3, 1.0, 0.85, 1.0),
        (12, 8, 1.0, 0.91, 0.985),
        (30, 2, 0.5, 0.85, 1.0),
    ];
    for (cell, (places, people, between, low, high)) in cells.into_iter().enumerate() {
        let mut draw = Draw::seeded(2_811 + cell as u64);
        let worlds = 400;
        let (mut held, mut alarms, mut slips) = (0, 0, 0);
        let truth = 0.05 * f64::hypot(between, 1.0);
        for _ in 0..worlds {
            let table = evening(&mut draw, places, people, between);
            let found = measurers(&table, 0.95).unwrap();
            let study = &found.studies[0];
            slips += usize::from(!study.set_aside.is_empty());
            let (from, to) = study.reproducibility.unwrap().interval.unwrap();
            held += usize::from(from <= truth && truth <= to);
            let biased = |p: Option<f64>| p.is_some_and(|p| p < 0.05);
            alarms += usize::from(found.biases.iter().any(|b| biased(b.p_adjusted)));
            assert!(!ReadingErrors::of(&table).is_empty());
        }
        let share = |n: usize| n as f64 / worlds as f64;
        let seen = format!(
            "{places} places, {people} measurers, {between}: held {}, alarms {}, slips {}",
            share(held),
            share(alarms),
            share(slips)
        );
        assert!((low..=high).contains(&share(held)), "{seen}");
        assert!(share(slips) <= 0.01, "{seen}");
        assert!(between > 0.0 || share(alarms) < 0.083, "{seen}");
    }
}
