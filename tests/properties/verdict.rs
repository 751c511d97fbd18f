//! What must hold of verdicts whatever the readings are.

use calibriar::cohort::{Choice, Cohort, Selection};
use calibriar::norm::{Borrowing, Evidence, Settings, norms};
use calibriar::table::Table;
use calibriar::verdict::{Check, Verdict, check, flag};
use proptest::collection::vec;
use proptest::prelude::*;

use crate::common::assert_rel;
use crate::common::tables::table;

fn settings() -> Settings {
    Settings::new(0.95, 0.95, 0.05).unwrap()
}

fn checks(table: &Table, choice: &Choice) -> Vec<Check> {
    let cohort = Cohort::new(table, choice).unwrap();
    let evidence = Evidence::gather(&cohort, &Borrowing::default());
    let rows = 0..table.specimens.len();
    rows.map(|row| check(&evidence, row, &settings())).collect()
}

/// One piece: pattern, period, and up to four readings in hundredths of a millimetre.
type Piece = (u8, u8, [Option<u16>; 4]);

fn pieces() -> impl Strategy<Value = Vec<Piece>> {
    // Mostly near 40 mm with a few strays, some missing.
    let reading = prop_oneof![
        6 => (3950u16..4050).prop_map(Some),
        1 => (3000u16..6000).prop_map(Some),
        1 => Just(None),
    ];
    vec(
        (
            0u8..3,
            0u8..3,
            [reading.clone(), reading.clone(), reading.clone(), reading],
        ),
        1..40,
    )
}

fn csv(pieces: &[Piece], unit: &str, scale: f64) -> String {
    let mut text = format!("specimen,pattern,period,a_{unit},b_{unit},c_{unit},d_{unit}\n");
    for (i, (pattern, period, readings)) in pieces.iter().enumerate() {
        text.push_str(&format!("s{i},p{pattern},t{period}"));
        for reading in readings {
            let cell = reading.map_or(String::new(), |r| format!("{}", f64::from(r) / scale));
            text.push_str(&format!(",{cell}"));
        }
        text.push('\n');
    }
    text
}

fn chosen() -> Choice {
    let periods = Selection::Named(vec!["t0".to_owned(), "t1".to_owned()]);
    Choice {
        periods,
        unknown_state: false,
    }
}

/// Whether the source has a period of that choice at all.
fn has_periods(pieces: &[Piece]) -> bool {
    [0, 1].iter().all(|t| pieces.iter().any(|p| p.1 == *t))
}

proptest! {
    #[test]
    fn flag_finds_exactly_what_check_finds(pieces in pieces()) {
        prop_assume!(has_periods(&pieces));
        let table = table(&csv(&pieces, "mm", 100.0));
        let cohort = Cohort::new(&table, &chosen()).unwrap();
        let evidence = Evidence::gather(&cohort, &Borrowing::default());
        let flags = flag(&evidence, &settings());
        let mut left = flags.iter();
        for (row, check) in checks(&table, &chosen()).iter().enumerate() {
            for d in check.dimensions.iter().filter(|d| d.verdict == Verdict::OutOfNorm) {
                let (flag, judged) = (left.next().unwrap(), d.judged.unwrap());
                prop_assert_eq!((flag.row, flag.dimension), (row, d.dimension));
                // The same numbers to the last digit, not nearly the same.
                prop_assert_eq!(flag.p.to_bits(), judged.p.to_bits());
                prop_assert_eq!(flag.p_adjusted.to_bits(), judged.p_adjusted.to_bits());
                prop_assert_eq!(flag.centre.to_bits(), judged.centre.to_bits());
                prop_assert_eq!(flag.typical, judged.typical);
                prop_assert_eq!(flag.score.to_bits(), judged.score.to_bits());
            }
        }
        prop_assert!(left.next().is_none());
    }

    #[test]
    fn verdicts_do_not_depend_on_the_unit(pieces in pieces()) {
        prop_assume!(has_periods(&pieces));
        // Written as 4.012 cm and as 40.12 mm: the same sizes, the same steps.
        let mm = checks(&table(&csv(&pieces, "mm", 100.0)), &chosen());
        let cm = checks(&table(&csv(&pieces, "cm", 1000.0)), &chosen());
        for (a, b) in mm.iter().zip(&cm) {
            for (a, b) in a.dimensions.iter().zip(&b.dimensions) {
                prop_assert_eq!(a.verdict, b.verdict);
                if let (Some(a), Some(b)) = (a.judged, b.judged) {
                    assert_rel(a.p_adjusted.max(1e-300), b.p_adjusted.max(1e-300), 1e-7);
                    assert_rel(a.typical.high, b.typical.high, 1e-11);
                }
            }
        }
    }

    #[test]
    fn verdicts_do_not_depend_on_order_or_names(pieces in pieces()) {
        prop_assume!(has_periods(&pieces));
        let forward = checks(&table(&csv(&pieces, "mm", 100.0)), &chosen());
        let turned: Vec<Piece> = pieces.iter().rev().cloned().collect();
        let backward = checks(&table(&csv(&turned, "mm", 100.0)), &chosen());
        for (a, b) in forward.iter().zip(backward.iter().rev()) {
            prop_assert_eq!(a.verdict, b.verdict);
            for (a, b) in a.dimensions.iter().zip(&b.dimensions) {
                prop_assert_eq!(a.verdict, b.verdict);
                prop_assert_eq!(a.n, b.n);
            }
        }
    }

    #[test]
    fn a_piece_has_no_voice_in_its_own_norm(
        fellows in vec(3950u32..4050, 4..12),
        one in 100u32..100_000,
        other in 100u32..100_000,
    ) {
        let with = |own: u32| {
            let mut text = String::from("specimen,pattern,a_mm\n");
            for (i, reading) in fellows.iter().chain([&own]).enumerate() {
                text.push_str(&format!("s{i},p,{}.{:02}\n", reading / 100, reading % 100));
            }
            checks(&table(&text), &Choice::default()).pop().unwrap().dimensions[0].clone()
        };
        let (a, b) = (with(one), with(other));
        let (x, y) = (a.judged.unwrap(), b.judged.unwrap());
        prop_assert_eq!(a.n, fellows.len());
        assert_rel(x.centre, y.centre, 1e-12);
        assert_rel(x.spread, y.spread, 1e-10);
    }

    #[test]
    fn only_factory_readings_reach_a_norm(
        readings in vec((0usize..5, 3950u32..4050), 3..30),
        strange in 1u32..1000,
    ) {
        const STATES: [&str; 5] = ["factory", "worn", "reworked", "replaced", "unknown"];
        // Whatever the touched pieces measure, the norm is that of the others.
        let norm_of = |touched: Option<u32>, unknown_state: bool| {
            let mut text = String::from("specimen,pattern,a_mm\n");
            for (i, &(state, reading)) in readings.iter().enumerate() {
                let counts = state == 0 || (unknown_state && state == 4);
                let value = match touched {
                    Some(factor) if !counts => reading * factor,
                    _ => reading,
                };
                let cell = format!("{}.{:02} {{{}}}", value / 100, value % 100, STATES[state]);
                text.push_str(&format!("s{i},p,{cell}\n"));
            }
            let table = table(&text);
            let choice = Choice { unknown_state, ..Choice::default() };
            let cohort = Cohort::new(&table, &choice).unwrap();
            norms(&Evidence::gather(&cohort, &Borrowing::default()), &[0], &settings()).unwrap()
        };
        for unknown_state in [false, true] {
            let counted = readings
                .iter()
                .filter(|(state, _)| *state == 0 || (unknown_state && *state == 4))
                .count();
            let plain = norm_of(None, unknown_state);
            prop_assert_eq!(plain.first().map_or(0, |n| n.basis.kept.len() + n.basis.set_aside.len()), counted);
            prop_assert_eq!(plain, norm_of(Some(strange), unknown_state));
        }
    }

    #[test]
    fn a_size_has_a_positive_band(readings in vec(1u32..100_000, 2..10)) {
        let mut text = String::from("specimen,pattern,a_mm\n");
        for (i, reading) in readings.iter().enumerate() {
            text.push_str(&format!("s{i},p,{}.{:02}\n", reading / 100, reading % 100 + 1));
        }
        let table = table(&text);
        let cohort = Cohort::new(&table, &Choice::default()).unwrap();
        let norm = norms(&Evidence::gather(&cohort, &Borrowing::default()), &[0], &settings()).unwrap().remove(0);
        let firm = norm.firm.unwrap();
        // 0 where the band reaches below the least number there is.
        prop_assert!(firm.typical.low >= 0.0 && firm.typical.low <= norm.centre);
        prop_assert!(firm.typical.high >= norm.centre && !firm.typical.high.is_nan());
        prop_assert!(firm.centre.low <= norm.centre && norm.centre <= firm.centre.high);
    }
}
