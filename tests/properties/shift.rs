//! What must hold of shifts whatever the readings.

use calibriar::stats::{Dated, StatsError, shifts};

use crate::common::draw::Draw;

/// Four sets, dates exact and not, a shift of 2 spreads in 1950, wider after 1965.
fn world(seed: u64, n: usize) -> Vec<Dated> {
    let mut draw = Draw::seeded(seed);
    let one = |i: usize| {
        let year = 1921 + (draw.uniform() * 64.0) as i16;
        let half = if draw.once_in(3.0) { 4 } else { 0 };
        let width = if year >= 1965 { 2.5 } else { 1.0 };
        let shift = if year >= 1950 { 2.0 } else { 0.0 };
        Dated {
            x: 10.0 * (i % 4) as f64 + shift + width * draw.normal(),
            set: (i % 4) as u32,
            from: year - half,
            to: year + half,
        }
    };
    (0..n).map(one).collect()
}

#[test]
fn both_kinds_of_shift_are_found_and_told_apart() {
    let found = shifts(&world(1, 600), 0.05).unwrap();
    let [location] = &found.location.shifts[..] else {
        panic!("{:?}", found.location)
    };
    assert!((location.year - 1950).abs() <= 1, "{location:?}");
    let [width] = &found.width.shifts[..] else {
        panic!("{:?}", found.width)
    };
    assert!((width.year - 1965).abs() <= 4, "{width:?}");
    assert!(width.low < 2.5 && 2.5 < width.high, "{width:?}");
}

#[test]
fn unit_and_zero_do_not_matter_but_for_the_spread() {
    let pieces = world(2, 120);
    let found = shifts(&pieces, 0.05).unwrap();
    let moved: Vec<Dated> = pieces
        .iter()
        .map(|p| Dated {
            x: 64.0 * p.x + 1024.0,
            from: p.from - 100,
            to: p.to - 100,
            ..*p
        })
        .collect();
    let other = shifts(&moved, 0.05).unwrap();
    assert!((other.spread / found.spread - 64.0).abs() < 1e-6);
    assert_eq!(other.location.shifts.len(), found.location.shifts.len());
    for (a, b) in found.location.shifts.iter().zip(&other.location.shifts) {
        assert_eq!(a.year - 100, b.year);
        assert!((a.size - b.size).abs() < 1e-6);
        assert!((a.p - b.p).abs() < 1e-9);
    }
}

#[test]
fn a_mirrored_world_shifts_the_other_way() {
    let pieces = world(3, 120);
    let mirrored: Vec<Dated> = pieces.iter().map(|p| Dated { x: -p.x, ..*p }).collect();
    let (a, b) = (
        shifts(&pieces, 0.05).unwrap().location,
        shifts(&mirrored, 0.05).unwrap().location,
    );
    assert_eq!(a.shifts.len(), b.shifts.len());
    for (a, b) in a.shifts.iter().zip(&b.shifts) {
        assert_eq!(a.years, b.years);
        assert!((a.size + b.size).abs() < 1e-6, "{a:?} {b:?}");
    }
}

/// Of 40 quiet worlds 2 are expected to give an alarm, 11 are passed with a probability of 1e-6; a slip
/// of 8 spreads in the last year but one, where few others dilute it, must not change that.
#[test]
fn one_slip_makes_no_shift() {
    for n in [12, 30, 100] {
        let mut alarms = 0;
        for seed in 0..40 {
            let mut draw = Draw::seeded(100 + seed);
            let one = |i: i16| Dated {
                x: if i == n - 2 { 8.0 } else { draw.normal() },
                set: 0,
                from: 1900 + i,
                to: 1900 + i,
            };
            let pieces: Vec<Dated> = (0..n).map(one).collect();
            let found = shifts(&pieces, 0.05).unwrap();
            let any = !found.location.shifts.is_empty() || !found.width.shifts.is_empty();
            alarms += u32::from(any);
        }
        // More than 11 of 40 at a rate of 5 % happen once in a million.
        assert!(alarms <= 11, "{n}: {alarms} of 40");
    }
}

/// Nothing of it may be NaN, and nothing may panic.
#[test]
fn odd_dates_and_readings_are_answered() {
    let piece = |x: f64, from: i16, to: i16| Dated {
        x,
        set: 0,
        from,
        to,
    };
    let all_one_year: Vec<Dated> = (0..20).map(|i| piece(f64::from(i), 1950, 1950)).collect();
    let told = shifts(&all_one_year, 0.05).unwrap();
    assert_eq!((told.years, told.location.p), (0, 1.0));
    let all_wide: Vec<Dated> = (0..20).map(|i| piece(f64::from(i), 1, 9999)).collect();
    let told = shifts(&all_wide, 0.05).unwrap();
    assert_eq!((told.years, told.location.p), (0, 1.0));
    let equal: Vec<Dated> = (0..20).map(|i| piece(4.0, 1900 + i, 1900 + i)).collect();
    assert_eq!(shifts(&equal, 0.05), Err(StatsError::ZeroSpread));
    let far_apart: Vec<Dated> = (0..20)
        .map(|i| {
            piece(
                f64::from(i / 10) * 5.0 + f64::from(i % 3),
                if i < 10 { i16::MIN + i } else { i16::MAX - i },
                i16::MAX - i,
            )
        })
        .collect();
    let far: Vec<Dated> = far_apart
        .iter()
        .map(|p| Dated { to: p.from, ..*p })
        .collect();
    for pieces in [&far_apart, &far] {
        let told = shifts(pieces, 0.05).unwrap();
        assert!(told.location.p.is_finite() && told.spread.is_finite());
    }
    assert_eq!(shifts(&far, 0.05).unwrap().location.shifts.len(), 1);
    let huge: Vec<Dated> = (0..20)
        .map(|i| piece(if i % 2 == 0 { 1e300 } else { -1e300 }, 1900 + i, 1900 + i))
        .collect();
    if let Ok(told) = shifts(&huge, 0.05) {
        assert!(told.location.p.is_finite() && told.width.p.is_finite());
    }
    assert!(matches!(
        shifts(&[], 0.05),
        Err(StatsError::TooFew { got: 0, .. })
    ));
    let broken = [piece(f64::NAN, 1900, 1900)];
    assert!(matches!(
        shifts(&broken, 0.05),
        Err(StatsError::NotFinite { .. })
    ));
    assert!(matches!(
        shifts(&far, 0.0),
        Err(StatsError::NotAProbability { .. })
    ));
}

/// Rows in another order and sets under other labels are the same pieces.
#[test]
fn the_order_of_pieces_and_the_labels_of_sets_do_not_matter() {
    for seed in 0..6 {
        let pieces = world(seed, 40 + 20 * seed as usize);
        let told = shifts(&pieces, 0.05).unwrap();
        let mut draw = Draw::seeded(900 + seed);
        let mut others: Vec<Dated> = pieces
            .iter()
            .map(|p| Dated {
                set: 7 - p.set,
                ..*p
            })
            .collect();
        for last in (1..others.len()).rev() {
            others.swap(last, (draw.uniform() * (last + 1) as f64) as usize);
        }
        assert_eq!(shifts(&others, 0.05), Ok(told), "seed {seed}");
    }
}

/// Steps that pass each other while they are fitted come out in order and with their numbers.
#[test]
fn many_shifts_at_once_come_out_in_order() {
    for seed in 0..40 {
        let mut draw = Draw::seeded(40_000 + seed);
        let pieces: Vec<Dated> = (0..90)
            .map(|i| {
                let year = 1900 + (draw.uniform() * 80.0) as i16;
                let half = (draw.uniform() * 4.0) as i16;
                let spell = (year - 1900) / 11;
                let width = [1.0, 4.0, 0.6, 3.0, 1.0, 5.0, 0.8, 2.5][spell as usize];
                let shift = [0.0, 1.5, -1.0, 2.5][spell as usize % 4];
                Dated {
                    x: shift + width * draw.normal(),
                    set: i % 3,
                    from: year - half,
                    to: year + half,
                }
            })
            .collect();
        // A level that lets many steps in.
        let found = shifts(&pieces, 0.9).unwrap();
        for question in [&found.location, &found.width] {
            let years: Vec<i16> = question.shifts.iter().map(|s| s.year).collect();
            assert!(years.is_sorted(), "seed {seed}: {years:?}");
            for shift in &question.shifts {
                let numbers = [shift.size, shift.low, shift.high, shift.p];
                assert!(
                    numbers.iter().all(|x| x.is_finite()),
                    "seed {seed}: {shift:?}"
                );
                assert!(shift.low <= shift.size && shift.size <= shift.high);
                assert!(!shift.years.is_empty());
            }
        }
    }
}
