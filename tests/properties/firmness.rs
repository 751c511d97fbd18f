//! What moved, and what moves without somebody: against the same norms and checks of other tables.

use std::collections::BTreeMap;

use calibriar::cohort::{Choice, Cohort, Selection, from_scale};
use calibriar::firmness::{
    Change, Leaving, LeftOut, LeftOutError, Limit, Limits, Movement, Whose, left_out, moved, turned,
};
use calibriar::norm::{Band, Basis, Beforehand, Borrowing, Evidence, Norm, Settings, norms};
use calibriar::table::Table;
use calibriar::traced::ready;
use calibriar::verdict::{Verdict, check};
use proptest::collection::vec;
use proptest::prelude::*;

use crate::common::relative_error;
use crate::common::tables::table;

fn settings() -> Settings {
    Settings::new(0.9, 0.95, 0.05).unwrap()
}

fn named(periods: &[&str]) -> Choice {
    Choice {
        periods: Selection::Named(periods.iter().map(|p| (*p).to_owned()).collect()),
        unknown_state: false,
    }
}

/// The limits of a norm, in the order of [`Limit::ALL`].
fn of_norm(norm: &Norm) -> [Option<f64>; 5] {
    let firm = norm.firm.as_ref();
    let finite = |band: Band| band.low.is_finite() && band.high.is_finite();
    let typical = firm.map(|f| f.typical).filter(|b| finite(*b));
    let tolerance = firm.map(|f| f.tolerance).filter(|b| finite(*b));
    [
        Some(norm.centre),
        typical.map(|b| b.low),
        typical.map(|b| b.high),
        tolerance.map(|b| b.low),
        tolerance.map(|b| b.high),
    ]
}

/// Every norm of a table by pattern and dimension: how many references speak, and the limits.
type Norms = BTreeMap<(String, String), (usize, [Option<f64>; 5])>;

fn all_norms(table: &Table, choice: &Choice, borrowing: &Borrowing) -> Norms {
    let cohort = Cohort::new(table, choice).unwrap();
    let evidence = Evidence::gather(&cohort, borrowing);
    let groups: Vec<usize> = (0..cohort.groups().len()).collect();
    let all = norms(&evidence, &groups, &settings()).unwrap();
    let key = |norm: &Norm| {
        let pattern = cohort.groups()[norm.group].pattern.clone();
        (pattern, table.catalogue.at(norm.dimension).key.clone())
    };
    let entry = |norm: &Norm| (key(norm), (norm.basis.kept.len(), of_norm(norm)));
    all.iter().map(entry).collect()
}

/// Both or neither, and as near as a sum in another order.
fn near(got: Option<f64>, want: Option<f64>) -> bool {
    match (got, want) {
        (Some(got), Some(want)) => relative_error(got, want) < 1e-10,
        (got, want) => got == want,
    }
}

fn without_each(
    table: &Table,
    choice: &Choice,
    whose: Whose,
) -> Result<(LeftOut, Vec<String>), LeftOutError> {
    let whole = ready(table.of_readings(|reading| Some(reading.uncertainty)));
    let cohort = Cohort::new(&whole, choice).unwrap();
    let evidence = Evidence::gather(&cohort, &Borrowing::default());
    let groups: Vec<usize> = (0..cohort.groups().len()).collect();
    let leaving = Leaving {
        whose,
        groups: &groups,
        choice,
        settings: &settings(),
    };
    let found = left_out(table, &evidence, &leaving, ready, || ())?;
    let patterns = cohort.groups().iter().map(|g| g.pattern.clone());
    Ok((found, patterns.collect()))
}

/// What is left of each norm without a part is the norm of the table without those rows.
fn assert_without(
    found: &(LeftOut, Vec<String>),
    part: usize,
    want: &Norms,
) -> Result<(), TestCaseError> {
    let (found, patterns) = found;
    let mut left = want.clone();
    for norm in &found.norms {
        let key = (patterns[norm.group].clone(), norm.dimension.key.clone());
        let want = left.remove(&key);
        let got: Option<&Limits> = norm.without[part].as_ref();
        prop_assert_eq!(got.map(|of| of.n), want.map(|of| of.0), "{:?}", key);
        for limit in Limit::TYPICAL {
            let got = got.and_then(|of| of.get(limit));
            let want = want.and_then(|of| of.1[limit as usize]);
            prop_assert!(
                near(got, want),
                "{:?} {:?}: {:?} {:?}",
                key,
                limit,
                got,
                want
            );
        }
    }
    prop_assert!(left.is_empty(), "{left:?}");
    Ok(())
}

/// One piece: pattern, period, source, and three readings in hundredths of a millimetre.
type Piece = (u8, u8, u8, [Option<u16>; 3]);

fn pieces(many: std::ops::Range<usize>) -> impl Strategy<Value = Vec<Piece>> {
    let reading = prop_oneof![
        8 => (3950u16..4050).prop_map(Some),
        1 => (3600u16..4400).prop_map(Some),
        1 => Just(None),
    ];
    let readings = [reading.clone(), reading.clone(), reading];
    vec((0u8..3, 0u8..3, 0u8..4, readings), many)
}

/// The sheet of some pieces; a fourth source has no name, and the first is spelt in two ways.
fn csv(pieces: &[Piece], keep: impl Fn(usize, &Piece) -> bool) -> String {
    let mut text = "specimen,pattern,period,source,a_mm,b_mm,c_mm\n".to_owned();
    for (i, piece) in pieces
        .iter()
        .enumerate()
        .filter(|(i, piece)| keep(*i, piece))
    {
        let (pattern, period, source, readings) = piece;
        let source = match source {
            0 if i % 2 == 0 => "Bench One",
            0 => "bench-one",
            1 => "Bench Two",
            2 => "Visitor",
            _ => "",
        };
        text.push_str(&format!("s{i},p{pattern},t{period},{source}"));
        for reading in readings {
            let cell = reading.map_or(String::new(), |r| format!("{:.2}", f64::from(r) / 100.0));
            text.push_str(&format!(",{cell}"));
        }
        text.push('\n');
    }
    text
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    #[test]
    fn without_a_source_is_the_sheet_without_its_rows(some in pieces(12..40)) {
        let choice = Choice::default();
        let all = table(&csv(&some, |_, _| true));
        let found = match without_each(&all, &choice, Whose::Source) {
            Ok(found) => found,
            Err(error) => {
                // Then no two sources have a reading.
                let read = some.iter().filter(|p| p.3.iter().any(Option::is_some));
                let mut sources: Vec<u8> = read.map(|p| p.2).collect();
                sources.dedup();
                prop_assert!(sources.len() < 2, "{error}");
                return Ok(());
            }
        };
        for (part, of) in found.0.parts.iter().enumerate() {
            let source = match of.name.as_deref() {
                Some("Bench One" | "bench-one") => 0,
                Some("Bench Two") => 1,
                Some("Visitor") => 2,
                None => 3,
                other => panic!("{other:?}"),
            };
            let left = csv(&some, |_, piece| piece.2 != source);
            prop_assume!(left.lines().count() > 1);
            let want = all_norms(&table(&left), &choice, &Borrowing::default());
            assert_without(&found, part, &want)?;
        }
    }

    #[test]
    fn without_a_period_is_the_choice_of_the_others(some in pieces(12..40)) {
        let all = table(&csv(&some, |_, _| true));
        let here: Vec<&str> = ["t0", "t1", "t2"].into_iter().enumerate()
            .filter(|(t, _)| some.iter().any(|p| usize::from(p.1) == *t && p.3.iter().any(Option::is_some)))
            .map(|(_, name)| name)
            .collect();
        prop_assume!(here.len() > 1);
        let found = without_each(&all, &named(&here), Whose::Period).unwrap();
        prop_assert_eq!(found.0.parts.len(), here.len());
        for (part, of) in found.0.parts.iter().enumerate() {
            let others: Vec<&str> =
                here.iter().copied().filter(|t| Some(*t) != of.name.as_deref()).collect();
            let want = all_norms(&all, &named(&others), &Borrowing::default());
            assert_without(&found, part, &want)?;
        }
    }

    /// Pieces that several people measured keep what the others read.
    #[test]
    fn without_a_measurer_is_the_sheet_without_their_readings(
        rows in vec((0u8..14, 0u8..2, 0u8..3, 3950u16..4050), 20..80),
    ) {
        let sheet = |but: Option<u8>| {
            let mut text = "specimen,pattern,dimension,value,unit,uncertainty,measured_by\n".to_owned();
            let mut sorted: Vec<_> = rows.iter().filter(|row| Some(row.2) != but).collect();
            sorted.sort_by_key(|row| (row.0, row.1));
            for (piece, dimension, by, value) in sorted {
                let by = ["Measurer A", "Measurer B", ""][usize::from(*by)];
                let (value, dimension) = (f64::from(*value) / 100.0, ["bowl_height", "bit_width"][usize::from(*dimension)]);
                text.push_str(&format!("s{piece},p{},{dimension},{value:.2},mm,0.02,{by}\n", piece % 2));
            }
            text
        };
        let all = table(&sheet(None));
        let found = match without_each(&all, &Choice::default(), Whose::MeasuredBy) {
            Ok(found) => found,
            Err(_) => return Err(TestCaseError::reject("one measurer")),
        };
        for (part, of) in found.0.parts.iter().enumerate() {
            let by = match of.name.as_deref() {
                Some("Measurer A") => 0,
                Some("Measurer B") => 1,
                _ => 2,
            };
            let want = all_norms(&table(&sheet(Some(by))), &Choice::default(), &Borrowing::default());
            assert_without(&found, part, &want)?;
        }
    }

    /// The same table twice: its norms, digit for digit, and nothing moves.
    #[test]
    fn nothing_moves_between_a_table_and_itself(some in pieces(1..40)) {
        let all = table(&csv(&some, |_, _| true));
        let choice = Choice::default();
        let cohort = Cohort::new(&all, &choice).unwrap();
        let evidence = Evidence::gather(&cohort, &Borrowing::default());
        let found = moved(&evidence, &evidence, |_| true, &settings()).unwrap();
        let mut want = all_norms(&all, &choice, &Borrowing::default());
        for of in &found {
            let key = (of.pattern.clone(), of.dimension.key.clone());
            let (n, limits) = want.remove(&key).unwrap();
            prop_assert_eq!(of.after.as_ref().map(|after| after.n), Some(n));
            prop_assert!(of.changes.is_empty());
            for limit in Limit::ALL {
                prop_assert_eq!(of.after.as_ref().and_then(|a| a.get(limit)), limits[limit as usize]);
                prop_assert_eq!(of.before.as_ref().and_then(|b| b.get(limit)), limits[limit as usize]);
                prop_assert!(of.moved(limit).is_none_or(|moved| moved == 0.0));
                prop_assert!(of.own_part(limit).is_none_or(|own| own == 0.0));
            }
        }
        prop_assert!(want.is_empty());
        prop_assert!(turned(&evidence, &evidence, |_| true, &settings()).is_empty());
    }

    /// Some pieces come, some read otherwise: every number from two tables of norms, and every
    /// verdict from checks of all pieces.
    #[test]
    fn movements_and_turns_from_two_tables(
        some in pieces(20..50),
        earlier in 10usize..30,
        shift in -400i32..400,
    ) {
        let earlier = earlier.min(some.len());
        let mut old = some[..earlier].to_vec();
        for piece in old.iter_mut().step_by(7) {
            piece.3[0] = piece.3[0].map(|r| u16::try_from(i32::from(r) + shift).unwrap());
        }
        let (then, now) = (table(&csv(&old, |_, _| true)), table(&csv(&some, |_, _| true)));
        let choice = Choice::default();
        let cohorts = [Cohort::new(&then, &choice).unwrap(), Cohort::new(&now, &choice).unwrap()];
        let evidences = [0, 1].map(|s| Evidence::gather(&cohorts[s], &Borrowing::default()));
        let found = moved(&evidences[0], &evidences[1], |_| true, &settings()).unwrap();
        let want = [&then, &now].map(|t| all_norms(t, &choice, &Borrowing::default()));
        for of in &found {
            let key = (of.pattern.clone(), of.dimension.key.clone());
            for limit in Limit::ALL {
                let [was, is] = [0, 1].map(|s| want[s].get(&key).and_then(|n| n.1[limit as usize]));
                prop_assert_eq!(of.before.as_ref().and_then(|b| b.get(limit)), was);
                prop_assert_eq!(of.after.as_ref().and_then(|a| a.get(limit)), is);
                prop_assert_eq!(of.moved(limit), is.zip(was).map(|(is, was)| is - was));
                if let (Some(moved), Some(own), Some(other)) =
                    (of.moved(limit), of.own_part(limit), of.other_part(limit))
                {
                    prop_assert!((own + other - moved).abs() <= 4.0 * f64::EPSILON * (own.abs() + moved.abs()));
                }
            }
            own_by_hand(of, &evidences)?;
        }
        let all: usize = want[1].keys().chain(want[0].keys())
            .collect::<std::collections::BTreeSet<_>>().len();
        prop_assert_eq!(found.len(), all);

        // Verdicts.
        let got = turned(&evidences[0], &evidences[1], |_| true, &settings());
        let mut expected = Vec::new();
        for row in 0..old.len() {
            let both = [0, 1].map(|s| check(&evidences[s], row, &settings()));
            for key in ["a", "b", "c"] {
                let of = |s: usize| {
                    let catalogue = &cohorts[s].table().catalogue;
                    let dimension = both[s].dimensions.iter()
                        .find(|d| catalogue.at(d.dimension).key == key)?;
                    Some((dimension.verdict, dimension.judged.as_ref()?.p))
                };
                let is_out = |of: Option<(Verdict, f64)>| of.is_some_and(|of| of.0 == Verdict::OutOfNorm);
                if is_out(of(0)) != is_out(of(1)) {
                    expected.push((format!("s{row}"), key, of(0), of(1), both[0].verdict, both[1].verdict));
                }
            }
        }
        let got: Vec<_> = got.iter().map(|t| {
            let side = |s: &Option<calibriar::firmness::Standing>| s.map(|s| (s.verdict, s.p));
            (t.specimen.clone(), t.dimension.key.as_str(), side(&t.before), side(&t.after), t.piece_before, t.piece_after)
        }).collect();
        prop_assert_eq!(got, expected);
    }

    /// Without loans and periods, a piece put back as it was is the table in which it is as it was.
    #[test]
    fn a_piece_alone_is_the_table_with_it_put_back(
        some in pieces(12..24),
        earlier in 8usize..12,
        shift in -400i32..400,
    ) {
        let timeless = |text: String| text.replace(",t0,", ",,").replace(",t1,", ",,").replace(",t2,", ",,");
        let mut old = some[..earlier].to_vec();
        old[0].3[0] = old[0].3[0].map(|r| u16::try_from(i32::from(r) + shift).unwrap());
        let (then, now) = (table(&timeless(csv(&old, |_, _| true))), table(&timeless(csv(&some, |_, _| true))));
        let choice = Choice::default();
        let alone = Borrowing { nothing: true, ..Borrowing::default() };
        let cohorts = [Cohort::new(&then, &choice).unwrap(), Cohort::new(&now, &choice).unwrap()];
        let evidences = [0, 1].map(|s| Evidence::gather(&cohorts[s], &alone));
        let found = moved(&evidences[0], &evidences[1], |_| true, &settings()).unwrap();
        for of in found.iter().filter(|of| of.before.is_some() && of.after.is_some()) {
            let key = (of.pattern.clone(), of.dimension.key.clone());
            for piece in &of.changes {
                let number: usize = piece.specimen[1..].parse().unwrap();
                let back = match &piece.change {
                    Change::NewPiece => csv(&some, |i, _| i != number),
                    Change::Value { .. } => {
                        let mut put = some.clone();
                        put[number].3[0] = old[number].3[0];
                        csv(&put, |_, _| true)
                    }
                    other => panic!("{other:?}"),
                };
                let want = all_norms(&table(&timeless(back)), &choice, &alone);
                let want = want.get(&key).map(|n| n.1);
                let Some(got) = piece.alone else {
                    prop_assert!(want.is_none());
                    continue;
                };
                for (limit, got) in Limit::TYPICAL.into_iter().zip(got) {
                    let is = of.after.as_ref().and_then(|a| a.get(limit));
                    let want = want.and_then(|n| n[limit as usize]);
                    let want = is.zip(want).map(|(is, without)| is - without);
                    match (got, want) {
                        (Some(got), Some(want)) => prop_assert!((got - want).abs() < 1e-10 * is.unwrap().abs().max(1.0)),
                        (got, want) => prop_assert_eq!(got, want),
                    }
                }
            }
        }
    }
}

/// The own part by hand: the references of now, what was known beforehand then.
fn own_by_hand(of: &Movement, evidences: &[Evidence<'_>; 2]) -> Result<(), TestCaseError> {
    let (Some(before), Some(_)) = (&of.before, &of.after) else {
        prop_assert!(of.own.is_none());
        return Ok(());
    };
    let place = |s: usize| {
        let cohort = evidences[s].cohort();
        let table = cohort.table();
        let group = cohort.find_groups(Some(&of.pattern), None)[0];
        let is = |c: &calibriar::table::Column| table.dimension(c).key == of.dimension.key;
        (group, table.columns.iter().position(is).unwrap())
    };
    let ((then, column_then), (now, column)) = (place(0), place(1));
    let prior = Beforehand::new(&evidences[0], then, &[]).prior(column_then);
    let basis = Basis::new(evidences[1].references(column, now, &[]), prior);
    let Some(predictive) = &basis.predictive else {
        return Ok(());
    };
    let kind = of.dimension.kind;
    let half = predictive.half_width(
        predictive.variance(basis.usual_uncertainty()),
        settings().coverage(),
    );
    let band = Band::about(kind, predictive.centre(), half);
    let hand = [from_scale(kind, predictive.centre()), band.low, band.high];
    for (limit, hand) in Limit::TYPICAL.into_iter().zip(hand) {
        if let Some(own) = of.own_part(limit) {
            prop_assert_eq!(own, hand - before.get(limit).unwrap());
        }
    }
    Ok(())
}

#[test]
fn nothing_can_be_left_out_of_one_source() {
    let sheet = |source: &str, period: &str| {
        let rows = (0..5).map(|i| format!("s{i},apple,{period},{source},4{i}.00\n"));
        let text: String = rows.collect();
        table(&format!(
            "specimen,pattern,period,source,bowl height\n{text}"
        ))
    };
    let choice = Choice::default();
    let refused = |table: &Table, whose| without_each(table, &choice, whose).unwrap_err();
    let one = LeftOutError::One {
        whose: Whose::Source,
        name: "Bench".to_owned(),
    };
    assert_eq!(refused(&sheet("Bench", ""), Whose::Source), one);
    for whose in [Whose::Source, Whose::MeasuredBy, Whose::Period] {
        let error = refused(&sheet("", ""), whose);
        assert_eq!(error, LeftOutError::NothingNamed { whose });
    }
    let one = LeftOutError::One {
        whose: Whose::Period,
        name: "t0".to_owned(),
    };
    assert_eq!(refused(&sheet("", "t0"), Whose::Period), one);
}
