//! The base world: eight other patterns, spread differing with 8 degrees of freedom, a period share
//! of 0.3 / 1.3; an undated new good piece, and one that is off by four true standard deviations.

use calibriar::stats::{
    Predictive, Prior, Rated, borrowed_from_readings, normal_upper_quantile, period_share, screen,
};

use super::world::{Draw, Set, Shape};

/// One world's dimensions: whether a good piece, and one that is four sd off, had p <= 0.05.
struct Outcome {
    good: usize,
    off: usize,
    dimensions: usize,
}

fn run(shape: &Shape, n: usize, worlds: usize, seed: u64) -> Outcome {
    let mut draw = Draw::seeded(seed);
    let mut outcome = Outcome {
        good: 0,
        off: 0,
        dimensions: 0,
    };
    for _ in 0..worlds {
        let world = shape.draw(n, &mut draw);
        let sets = world
            .others
            .iter()
            .flatten()
            .map(|s: &Set| s.readings.as_slice());
        let lambda = period_share(sets).lambda();
        let lending: Vec<Vec<&[Rated]>> = (0..shape.dimensions)
            .map(|d| {
                world
                    .others
                    .iter()
                    .map(|g| g[d].readings.as_slice())
                    .collect()
            })
            .collect();
        let borrowed = borrowed_from_readings(&lending, lambda);
        for (set, spread) in world.target.iter().zip(&borrowed.dimensions) {
            let spread = spread.unwrap();
            let prior = Prior {
                df: spread.df,
                variance: spread.s2,
                lambda,
            };
            let kept: Vec<Rated> = screen(&set.readings, &prior)
                .kept
                .iter()
                .map(|&i| set.readings[i])
                .collect();
            let norm = Predictive::new(&kept, &prior).unwrap();
            let total = set.sigma * (1.0 + shape.lambda).sqrt();
            let piece = total * draw.normal();
            outcome.good += usize::from(norm.judge(piece, 0.0).p <= 0.05);
            outcome.off += usize::from(norm.judge(piece + 4.0 * total, 0.0).p <= 0.05);
            outcome.dimensions += 1;
        }
    }
    outcome
}

/// A count is within the limits that the binomial law gives a rate at a false-alarm rate of 1e-6
/// (normal approximation), the rate itself known to `slack` from the study.
#[track_caller]
fn within_limits(what: &str, count: usize, of: usize, rate: f64, slack: f64) {
    let n = of as f64;
    let z = normal_upper_quantile(0.5e-6);
    let half = z * (rate * (1.0 - rate) * n).sqrt() + slack * n;
    assert!(
        (count as f64 - rate * n).abs() <= half,
        "{what}: {count} of {of} ({:.4}), want {rate} +- {:.4}",
        count as f64 / n,
        half / n
    );
}

/// Source: the method's own simulation, base world, undated: FF5 and pow4 for n = 1, 2, 3, 6.
/// Its Monte Carlo error is 0.004 (FF5) and 0.01 (pow4).
#[test]
fn good_pieces_and_faults_are_flagged_at_the_stated_rates() {
    let shape = Shape {
        others: 8,
        d0: 8,
        lambda: 0.3,
        dimensions: 12,
    };
    for (n, good, off) in [
        (1, 0.036, 0.56),
        (2, 0.041, 0.73),
        (3, 0.048, 0.81),
        (6, 0.049, 0.89),
    ] {
        let outcome = run(&shape, n, 300, 20_011_125 + n as u64);
        let of = outcome.dimensions;
        within_limits(&format!("n = {n}, good"), outcome.good, of, good, 0.004);
        within_limits(&format!("n = {n}, 4 sd off"), outcome.off, of, off, 0.01);
    }
}
