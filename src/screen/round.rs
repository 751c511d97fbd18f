//! Round numbers that come too often: what a reading's last digit is worth.
//!
//! The last digits of readings that spread over many steps are nearly uniform. How nearly, the spread
//! says: a law of characteristic function f meets every m-th step with a probability of at most
//! (1 + 2 sum |f(2 pi j s / m)|) / m, whatever its centre, its scale being s steps (Poisson's
//! summation). Taken are the greater of those of the normal law and of t with 5 degrees of freedom, at
//! a lower confidence limit of the spread. Readings that spread over few steps say nothing: their
//! digits hang on where the centre lies. The number of round ones among n independent readings has the tail of the binomial law with the mean of these
//! probabilities, at most (Hoeffding 1956, Annals of Mathematical Statistics 27, 713-721; from memory).

use std::collections::HashMap;

use super::fellows::Fellows;
use super::reading::Readings;
use super::written::{decimal, fraction};
use super::{Code, Family, Finding, Settings, by_words, number};
use crate::catalogue::Kind;
use crate::notation::Unit;
use crate::stats::holm;
use crate::table::Table;

/// So few readings say nothing of habits.
const LEAST: usize = 20;
/// Every so many steps of the last decimal: hardly read to half of them, to fives, not at all.
const DECIMAL: [u64; 3] = [2, 5, 10];
/// The same of parts of an inch.
const PARTS: [u64; 5] = [2, 4, 8, 16, 32];
/// Of spreads below so many times m steps any share may be round.
const NARROW: f64 = 0.25;

#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
enum Written {
    Decimals(u8),
    Parts,
}

/// Readings of one dimension by one measurer, written alike: number of steps and parts, the set, and
/// what one of the unit as written is on the scale of judgement.
type Habit = Vec<(u64, u64, u32, f64)>;

/// Habits of rounding, by measurer and dimension.
pub(super) fn find(
    table: &Table,
    readings: &Readings<'_>,
    fellows: &Fellows,
    settings: &Settings,
) -> Vec<Finding> {
    if !readings.has_texts() {
        return Vec::new();
    }
    let mut habits: HashMap<(u32, u32, Unit, Written), Habit> = HashMap::new();
    for r in &readings.all {
        if !settings.judges(r.row as usize) {
            continue;
        }
        if !r.credible || fellows.spread(r.set as usize).is_none() {
            continue;
        }
        let text = readings.text(r);
        let (written, steps, parts) = match decimal(text) {
            Some(d) => match d.steps() {
                Some(steps) => (Written::Decimals(d.decimals as u8), steps, 1),
                None => continue,
            },
            None => match fraction(text) {
                Some((above, parts)) => (Written::Parts, above, parts),
                None => continue,
            },
        };
        let unit = match table.catalogue.at(r.dimension as usize).kind {
            Kind::Ratio => r.unit.in_base_units() / r.value,
            Kind::Interval => 1.0,
        };
        let key = (r.by, r.dimension, r.unit, written);
        habits
            .entry(key)
            .or_default()
            .push((steps, parts, r.set, unit));
    }
    let mut tests: Vec<Test> = habits
        .into_iter()
        .filter(|(_, habit)| habit.len() >= LEAST)
        .flat_map(|(key, habit)| tests_of(key, &habit, fellows))
        .collect();
    tests.sort_by_key(|t| (t.key, t.every));
    let adjusted = holm(&tests.iter().map(|t| t.p).collect::<Vec<f64>>());
    let mut best: Vec<(&Test, f64)> = Vec::new();
    for (test, p) in tests.iter().zip(adjusted) {
        if p > settings.level(Family::Round) {
            continue;
        }
        match best.last_mut().filter(|(other, _)| other.key == test.key) {
            Some(other) if other.0.log_p > test.log_p => *other = (test, p),
            Some(_) => {}
            None => best.push((test, p)),
        }
    }
    best.into_iter()
        .map(|(test, p)| told(table, readings, test, p))
        .collect()
}

struct Test {
    key: (u32, u32, Unit, Written),
    /// Round is every so many steps.
    every: u64,
    /// The step as written, in its unit.
    step: f64,
    round: usize,
    n: usize,
    expected: f64,
    p: f64,
    log_p: f64,
}

fn tests_of(key: (u32, u32, Unit, Written), habit: &Habit, fellows: &Fellows) -> Vec<Test> {
    let finest = habit.iter().map(|h| h.1).max().unwrap_or(1);
    let (steps, step): (&[u64], f64) = match key.3 {
        Written::Decimals(decimals) => (&DECIMAL, 10f64.powi(-i32::from(decimals))),
        Written::Parts => (&PARTS, 1.0 / finest as f64),
    };
    let of = |&every: &u64| {
        let (mut round, mut expected) = (0usize, 0.0);
        for &(steps, parts, set, unit) in habit {
            let steps = steps * (finest / parts);
            round += usize::from(steps % every == 0);
            let spread = fellows.sure_spread(set as usize, step * unit) / unit;
            expected += chance(spread / step, every as f64);
        }
        let n = habit.len();
        let log_p = binomial_upper(round, n, expected / n as f64);
        Test {
            key,
            every,
            step,
            round,
            n,
            expected,
            p: log_p.exp().max(f64::MIN_POSITIVE),
            log_p,
        }
    };
    let possible = |every: &&u64| key.3 != Written::Parts || **every < finest;
    steps.iter().filter(possible).map(of).collect()
}

/// The most that a reading whose spread is `s` steps may meet every m-th of them.
fn chance(s: f64, m: f64) -> f64 {
    let s = s / m;
    if s < NARROW {
        return 1.0;
    }
    let term = |j: u32| {
        let t = std::f64::consts::TAU * f64::from(j) * s;
        // Of the same median absolute deviation: the upper quartiles are 0.7267 and 0.6745.
        let root = 5f64.sqrt() * t * 0.6745 / 0.7267;
        let of_t5 = (-root).exp() * (1.0 + root + root * root / 3.0);
        (-0.5 * t * t).exp().max(of_t5)
    };
    ((1.0 + 2.0 * (1..=12).map(term).sum::<f64>()) / m).min(1.0)
}

/// Natural logarithm of the probability of `k` or more of `n` where each has probability `p`; 0
/// where that many are expected anyway.
fn binomial_upper(k: usize, n: usize, p: f64) -> f64 {
    let (k, n) = (k as f64, n as f64);
    if p >= 1.0 || k <= n * p + 1.0 {
        return 0.0;
    }
    let log_of = |k: f64| {
        libm::lgamma(n + 1.0) - libm::lgamma(k + 1.0) - libm::lgamma(n - k + 1.0)
            + k * p.ln()
            + (n - k) * (-p).ln_1p()
    };
    let first = log_of(k);
    // Beyond the mean each term is less than the one before.
    let (mut sum, mut term, mut at) = (1.0, 1.0, k);
    while at < n && term > 1e-17 * sum {
        term *= (n - at) / (at + 1.0) * p / (1.0 - p);
        sum += term;
        at += 1.0;
    }
    first + f64::ln(sum)
}

fn told(table: &Table, readings: &Readings<'_>, test: &Test, p: f64) -> Finding {
    let (by, dimension, unit, written) = test.key;
    let step = test.step * test.every as f64;
    let show = |step: f64| match written {
        Written::Decimals(_) => number(step)
            .trim_end_matches('0')
            .trim_end_matches('.')
            .to_owned(),
        Written::Parts => format!("1/{}", (1.0 / step).round()),
    };
    let by = &readings.by[by as usize];
    let sentence = format!(
        "{}{}: {} of {} readings written to {} are multiples of {} {}, about {:.0} are expected; \
         take the rest of the digits as guessed",
        table.catalogue.at(dimension as usize).label,
        by_words(by),
        test.round,
        test.n,
        show(test.step),
        show(step),
        unit.symbol(),
        test.expected.ceil(),
    );
    Finding {
        code: Code::RoundNumbers,
        rows: Vec::new(),
        dimensions: vec![dimension as usize],
        suspects: Vec::new(),
        count: test.n,
        by: by.name.clone(),
        evidence: Some(-test.log_p * std::f64::consts::LOG10_E),
        p: Some(p),
        step: Some((step, unit)),
        sentence,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bound_of_round_readings() {
        // Narrow laws say nothing, wide ones 1 in m.
        assert_eq!(chance(0.4, 2.0), 1.0);
        assert!((chance(40.0, 10.0) - 0.1).abs() < 1e-9);
        // A normal law about the middle of a step of 5, its spread 2 steps: the sum of its own steps.
        let below = |x: f64| 0.5 * libm::erfc(-x / 2f64.sqrt());
        let meets = |s: f64, m: f64| -> f64 {
            let step =
                |k: i32| below((f64::from(k) * m + 0.5) / s) - below((f64::from(k) * m - 0.5) / s);
            (-50..=50).map(step).sum()
        };
        for (s, m) in [(2.0, 5.0), (0.6, 2.0), (3.0, 10.0), (9.0, 32.0)] {
            assert!(meets(s, m) <= chance(s, m), "{s} {m}");
        }
    }

    #[test]
    fn the_upper_tail_of_a_binomial() {
        // 10 of 10 heads, and 9 or more.
        assert!((binomial_upper(10, 10, 0.5) - 0.5f64.powi(10).ln()).abs() < 1e-12);
        assert!((binomial_upper(9, 10, 0.5) - (11.0 / 1024.0f64).ln()).abs() < 1e-12);
        assert_eq!(binomial_upper(5, 10, 0.5), 0.0);
        assert_eq!(binomial_upper(10, 10, 1.0), 0.0);
    }
}
