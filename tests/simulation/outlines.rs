//! How often a good outline leaves the band that its fellows make.

use calibriar::stats::{
    SetVariance, band_threshold, borrowed_spread, median, moments, normal_upper_quantile, roughness,
};

use crate::common::draw::Draw;

const STATIONS: usize = 50;
const WORLDS: usize = 2_000;
/// Other patterns, of three to six outlines, that lend their roughness and spread.
const OTHERS: usize = 8;

/// A smooth outline of standard deviation 1 and correlation exp(-d^2 / (2 0.1^2)), d in lengths of
/// the outline: white noise under a Gaussian weight.
fn outline(draw: &mut Draw) -> Vec<f64> {
    const REACH: usize = 18;
    let step = 1.0 / (STATIONS - 1) as f64;
    let weight = |k: usize| (-((k as f64 - REACH as f64) * step / 0.1).powi(2)).exp();
    let weights: Vec<f64> = (0..=2 * REACH).map(weight).collect();
    let size = weights.iter().map(|w| w * w).sum::<f64>().sqrt();
    let noise: Vec<f64> = (0..STATIONS + 2 * REACH).map(|_| draw.normal()).collect();
    let under = |window: &[f64]| {
        let products = window.iter().zip(&weights).map(|(a, b)| a * b);
        products.sum::<f64>() / size
    };
    noise.windows(2 * REACH + 1).map(under).collect()
}

/// A pattern's outlines, of a spread of its own: variances as 8 over chi-square with 8.
fn pattern(size: usize, draw: &mut Draw) -> (Vec<Vec<f64>>, f64) {
    let squares: f64 = (0..8).map(|_| draw.normal().powi(2)).sum();
    let sd = (8.0 / squares).sqrt();
    let scaled = |outline: Vec<f64>| outline.iter().map(|y| sd * y).collect();
    ((0..size).map(|_| scaled(outline(draw))).collect(), sd)
}

fn at(set: &[Vec<f64>], station: usize) -> (f64, f64) {
    let column: Vec<f64> = set.iter().map(|outline| outline[station]).collect();
    let of = moments(&column).unwrap();
    (of.mean, of.sd.unwrap().powi(2))
}

/// Shares of good outlines outside anywhere: with a spread partly lent, and with each station's
/// own.
fn outside_anywhere(n: usize, draw: &mut Draw) -> (f64, f64) {
    let (mut lent, mut own) = (0, 0);
    for _ in 0..WORLDS {
        let (set, sd) = pattern(n, draw);
        let piece: Vec<f64> = outline(draw).iter().map(|y| sd * y).collect();
        let mut sets: Vec<Vec<Vec<f64>>> =
            (0..OTHERS).map(|k| pattern(3 + k % 4, draw).0).collect();
        let variance = |set: &Vec<Vec<f64>>, s: usize| SetVariance {
            df: (set.len() - 1) as f64,
            s2: at(set, s).1,
        };
        let of_station = |s: usize| sets.iter().map(|set| variance(set, s)).collect();
        let stations: Vec<Vec<SetVariance>> = (0..STATIONS).map(of_station).collect();
        let borrowed = borrowed_spread(&stations);
        let df = (n - 1) as f64;
        let mut freedoms = Vec::new();
        let (mut most, mut most_own) = (0.0_f64, 0.0_f64);
        for (s, loan) in borrowed.dimensions.iter().enumerate() {
            let (mean, s2) = at(&set, s);
            let loan = loan.unwrap();
            let nu = loan.df + df;
            freedoms.push(nu);
            let t = |variance: f64| {
                (piece[s] - mean).abs() / (variance * (1.0 + 1.0 / n as f64)).sqrt()
            };
            most = most.max(t((loan.df * loan.s2 + df * s2) / nu));
            most_own = most_own.max(t(s2));
        }
        sets.push(set);
        let rough = roughness(&sets).unwrap();
        let nu = median(&freedoms).unwrap();
        lent += usize::from(most > band_threshold(nu, rough, 0.05).unwrap());
        own += usize::from(most_own > band_threshold(df, rough, 0.05).unwrap());
    }
    let share = |count: usize| count as f64 / WORLDS as f64;
    (share(lent), share(own))
}

/// Nominal 0.05; the method's own study found 0.032 to 0.045. Limits of the binomial law at 1e-6
/// about that. Where nothing is lent, few outlines at each station make single stations with
/// far too small a spread, and the band does not hold: that is stated where it stands.
#[test]
fn good_outlines_leave_their_band_as_rarely_as_stated() {
    let mut draw = Draw::seeded(20_230_109);
    let chance = |p: f64| normal_upper_quantile(1e-6) * (p * (1.0 - p) / WORLDS as f64).sqrt();
    for n in [3, 5, 8] {
        let (lent, own) = outside_anywhere(n, &mut draw);
        assert!(lent <= 0.045 + chance(0.045), "n {n}: {lent}");
        assert!(lent >= 0.032 - chance(0.032), "n {n}: {lent}");
        assert!(own > 0.05, "n {n}: {own}");
    }
}
