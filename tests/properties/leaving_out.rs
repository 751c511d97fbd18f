//! What is taken out of sums is what sums without it have: one reading of a set, one set of many.

use calibriar::stats::{
    LeftOut, Predictive, Prior, Rated, Screened, ShareEvidence, ShareSet, screen, two_level,
};
use proptest::collection::vec;
use proptest::prelude::*;

use crate::common::relative_error;

/// Readings of up to three periods and undated ones; some far off, some very uncertain.
fn readings(sizes: std::ops::Range<usize>) -> impl Strategy<Value = Vec<Rated>> {
    let far = prop_oneof![8 => Just(1.0), 1 => Just(12.0), 1 => Just(1e7)];
    let u = prop_oneof![3 => Just(0.0), 6 => 0.05..0.8_f64, 1 => Just(30.0)];
    let period = prop_oneof![1 => Just(None), 3 => (0_u32..3).prop_map(Some)];
    let reading = (-3.0..3.0_f64, far, u, period).prop_map(|(x, far, u, period)| Rated {
        x: x * far,
        u,
        period,
    });
    vec(reading, sizes)
}

fn others(readings: &[Rated], at: usize) -> Vec<Rated> {
    let mut others = readings.to_vec();
    others.remove(at);
    others
}

/// Each reference by the rest, the rest summed up afresh: place, p and |T|.
fn by_the_rest(readings: &[Rated], prior: &Prior) -> Vec<(usize, f64, f64)> {
    let judged = |at: usize| {
        let own = readings[at];
        let norm = Predictive::new(&others(readings, at), prior)?.dated(own.period);
        let standpoint = norm.judge(own.x, own.u);
        Some((at, standpoint.p, standpoint.t.abs()))
    };
    (0..readings.len()).filter_map(judged).collect()
}

/// Screening as the method has it: what stays, what goes with its p, whether the rest disagree; and
/// whether some p came so near to a limit that rounding decides.
fn slowly(readings: &[Rated], prior: &Prior) -> (Screened, bool) {
    let mut kept: Vec<usize> = (0..readings.len()).collect();
    let (mut screened, mut near) = (Screened::default(), false);
    loop {
        let left: Vec<Rated> = kept.iter().map(|&i| readings[i]).collect();
        let m = left.len();
        let times = if m > 2 { m as f64 } else { 1.0 };
        let judged = by_the_rest(&left, prior);
        near |= judged
            .iter()
            .any(|j| (j.1 * times / 0.02 - 1.0).abs() < 1e-6);
        // Of two that are both impossible the one further off.
        let worst = judged
            .into_iter()
            .min_by(|a, b| a.1.total_cmp(&b.1).then(b.2.total_cmp(&a.2)))
            .filter(|worst| worst.1 * times < 0.02);
        match worst {
            Some((at, p, _)) if m >= 3 && screened.set_aside.len() < (readings.len() - 1) / 2 => {
                screened
                    .set_aside
                    .push(calibriar::stats::SetAsideReference {
                        index: kept.remove(at),
                        p,
                        deviation: f64::NAN,
                        by_far: p * times * 10.0 <= 0.02,
                    });
            }
            _ => {
                screened.disagree = worst.is_some();
                screened.kept = kept;
                return (screened, near);
            }
        }
    }
}

fn prior() -> impl Strategy<Value = Prior> {
    let df = prop_oneof![4 => 0.5..30.0_f64, 1 => Just(f64::INFINITY)];
    (df, 0.05..2.0_f64, 0.0..1.5_f64).prop_map(|(df, variance, lambda)| Prior {
        df,
        variance,
        lambda,
    })
}

/// What a set says of the period share by the formula: `-1/2 [ln|A| - ln V + (n - 1) ln Q]` with
/// `ln|A| = sum ln(S v)` for readings without error.
fn said(set: &[Rated], j: usize) -> f64 {
    let rho = (j as f64 + 0.5) / ShareEvidence::GRID as f64;
    let lambda = rho / (1.0 - rho);
    let sums = two_level(set, lambda, f64::INFINITY).unwrap();
    let of_period = |weight: f64| (weight * (lambda + 1.0 / weight)).ln();
    let determinant: f64 = sums.periods.iter().map(|p| of_period(p.weight)).sum();
    -0.5 * (determinant - sums.v.ln() + (sums.n as f64 - 1.0) * sums.q.ln())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn a_reading_seen_from_the_others(set in readings(2..9), lambda in 0.0..2.0_f64) {
        let sums = two_level(&set, lambda, 0.7).unwrap();
        for (at, &own) in set.iter().enumerate() {
            let Some(LeftOut { deviation, h, n, q, mean_r, mean_u2 }) = sums.without(own) else {
                // The caller adds up afresh.
                continue;
            };
            let rest = two_level(&others(&set, at), lambda, 0.7).unwrap();
            let want = rest.seen_from(own);
            // By hand: the expected centre and variance of the rest, and the own error on top.
            let (centre, h0) = rest.expected(own.period);
            let largest = set.iter().map(|r| r.x.abs()).fold(1.0, f64::max);
            prop_assert!((deviation - (own.x - centre)).abs() <= 1e-6 * largest);
            prop_assert!(relative_error(h, h0 + own.u * own.u / 0.7) < 1e-6);
            prop_assert!(relative_error(want.h, h0 + own.u * own.u / 0.7) < 1e-12);
            prop_assert_eq!(n, rest.n);
            // Of one reading exactly 0.
            let exact = if rest.n == 1 { 0.0 } else { 1e-6 * rest.q };
            prop_assert!((q - rest.q).abs() <= exact, "{} {}", q, rest.q);
            prop_assert!((mean_r - rest.mean_r).abs() <= 1e-9 * rest.mean_r);
            prop_assert!((mean_u2 - rest.mean_u2).abs() <= 1e-9 * rest.mean_u2);
        }
    }

    #[test]
    fn references_screened_one_by_one(set in readings(1..9), prior in prior()) {
        let got = screen(&set, &prior);
        let (want, near) = slowly(&set, &prior);
        prop_assume!(!near);
        prop_assert_eq!(&got.kept, &want.kept);
        prop_assert_eq!(got.disagree, want.disagree);
        prop_assert_eq!(got.set_aside.len(), want.set_aside.len());
        for (got, want) in got.set_aside.iter().zip(&want.set_aside) {
            prop_assert_eq!(got.index, want.index);
            prop_assert!((got.p - want.p).abs() <= 1e-6 * want.p.max(1e-300));
        }
    }

    #[test]
    fn a_set_says_of_the_period_share_what_the_formula_has(set in readings(2..12)) {
        let evidence = ShareEvidence::of(&set);
        let sums = two_level(&set, 0.0, f64::INFINITY).unwrap();
        let tells = sums.periods.len() > 1 && sums.periods.len() < set.len();
        prop_assert_eq!(evidence.telling(), usize::from(tells));
        for (j, &got) in evidence.log_likelihood().iter().enumerate().filter(|_| tells) {
            prop_assert!((got - said(&set, j)).abs() <= 1e-9 * got.abs().max(1.0));
        }
        // Without one of them.
        let whole = ShareSet::new(&set);
        for (at, &own) in set.iter().enumerate().filter(|_| tells) {
            let Some(left) = whole.without(own) else { continue };
            let (got, rest) = (left.evidence(0..ShareEvidence::GRID), others(&set, at));
            let want = ShareEvidence::of(&rest);
            prop_assert_eq!(got.telling(), want.telling());
            for (got, want) in got.log_likelihood().iter().zip(want.log_likelihood()) {
                prop_assert!((got - want).abs() <= 1e-7 * want.abs().max(1.0), "{} {}", got, want);
            }
        }
    }

    #[test]
    fn grid_points_that_count_give_the_share_of_all(sets in vec(readings(2..30), 1..40)) {
        let mut all = ShareEvidence::default();
        sets.iter().for_each(|set| all.add(&ShareEvidence::of(set)));
        let share = all.share().rho;
        let close = |rho: f64| (rho - share).abs() <= 1e-13;
        prop_assert!(all.share_within(all.support()).is_some_and(|part| close(part.rho)));
        // Any other cut is noticed where it matters.
        for start in 0..ShareEvidence::GRID {
            for end in start + 1..=ShareEvidence::GRID {
                if let Some(part) = all.share_within(start..end) {
                    prop_assert!(close(part.rho), "{}..{}: {} {}", start, end, part.rho, share);
                }
            }
        }
    }
}

/// So many periods that a product of their terms passes the largest number.
#[test]
fn a_set_of_very_many_periods() {
    let reading = |i: u32| Rated {
        x: f64::from(i * 37 % 101) + 0.1 * f64::from(i % 7),
        u: 0.0,
        period: Some(i / 2),
    };
    let set: Vec<Rated> = (0..900).map(reading).collect();
    for (j, got) in ShareEvidence::of(&set).log_likelihood().iter().enumerate() {
        assert!(relative_error(*got, said(&set, j)) < 1e-11, "{j}: {got}");
    }
}

/// One reference moves away from its fellows, whose errors are as large as the pieces' spread and
/// whose scatter is larger than both.
#[test]
fn a_reference_that_moves_away_is_set_aside_in_time() {
    let (mut stays, mut goes) = (0, 0);
    for (df, scatter) in [
        (3.0, 3.0),
        (8.0, 20.0),
        (20.0, 6.0),
        (20.0, 20.0),
        (f64::INFINITY, 0.3),
    ] {
        let prior = Prior {
            df,
            variance: 1.0,
            lambda: 0.3,
        };
        for step in 0..400 {
            let reading = |i: u32| Rated {
                // No two equally far off.
                x: scatter * (f64::from(i * 5 % 13) - 6.0 + 0.01 * f64::from(i * i)) / 4.0,
                u: 1.0,
                period: Some(i % 3),
            };
            let mut set: Vec<Rated> = (0..13).map(reading).collect();
            set[0].x = 0.03 * f64::from(step) * f64::max(scatter, 3.0);
            let (want, near) = slowly(&set, &prior);
            let got = screen(&set, &prior);
            assert!(
                near || got.kept == want.kept,
                "{df} {step}: {got:?} {want:?}"
            );
            match want.kept.len() {
                13 => stays += 1,
                _ => goes += 1,
            }
        }
    }
    assert!(stays > 100 && goes > 100, "{stays} {goes}");
}
