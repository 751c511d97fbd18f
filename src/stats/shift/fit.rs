//! Centres and spreads of sets, steps that they share, and scores that no single slip rules.

use super::design::Design;
use crate::stats::median;
use crate::stats::normal_cdf;
use crate::stats::tails::normal_density;

/// Residuals count up to so many spreads.
pub(super) const CUT: f64 = 2.5;
/// Degrees of freedom with which a set's spread is drawn to that of all sets.
const PRIOR_DF: f64 = 4.0;

/// What a set's readings are compared with.
#[derive(Clone, Debug)]
pub(super) struct Fit {
    /// Centre of each set before the first step.
    pub(super) centre: Vec<f64>,
    /// Spread of each set.
    pub(super) spread: Vec<f64>,
    /// Size of each step, in spreads.
    pub(super) steps: Vec<f64>,
    /// Each piece's distance from its centre and steps, in spreads (and widths).
    pub(super) residuals: Vec<f64>,
}

impl Fit {
    /// Fits steps at some candidates (given by the pieces' shares), common to all sets in spreads.
    /// `width` is how many spreads wide each piece's time is. `None` where all readings are equal.
    pub(super) fn new(
        design: &Design,
        x: &[f64],
        shares: &[Vec<f64>],
        width: Option<&[f64]>,
    ) -> Option<Fit> {
        let (centre, spread) = start(design, x)?;
        let k = shares.len();
        let mut fit = Fit {
            centre,
            spread,
            steps: vec![0.0; k],
            residuals: vec![0.0; x.len()],
        };
        let weight = |i: usize| width.map_or(1.0, |width| 1.0 / width[i]);
        let means = weighted_means(design, shares, weight);
        let products = products(design, shares, &means, weight);
        for round in 0..40 {
            fit.set_residuals(design, x, shares, width);
            let mut sums = vec![0.0; k];
            let mut drift = vec![0.0; design.sets.len()];
            for (set, of) in design.sets.iter().enumerate() {
                let mut weights = 0.0;
                for i in of.clone() {
                    let cut = fit.residuals[i].clamp(-CUT, CUT);
                    drift[set] += cut;
                    weights += weight(i);
                    for (sum, (share, mean)) in sums.iter_mut().zip(shares.iter().zip(&means)) {
                        *sum += cut * (share[i] - mean[set]);
                    }
                }
                drift[set] /= weights;
            }
            let moves = solve(products.clone(), sums);
            let mut moved = 0.0_f64;
            for (set, drift) in drift.iter().enumerate() {
                let by_steps: f64 = moves
                    .iter()
                    .zip(&means)
                    .map(|(m, mean)| m * mean[set])
                    .sum();
                fit.centre[set] += fit.spread[set] * (drift - by_steps);
                moved = moved.max((drift - by_steps).abs());
            }
            for (step, by) in fit.steps.iter_mut().zip(&moves) {
                *step += by;
                moved = moved.max(by.abs());
            }
            // Spreads follow a first settling of the steps.
            if round % 3 == 2 {
                moved = moved.max(fit.rescale(design, x, shares, width));
            }
            if moved < 1e-5 && round >= 5 {
                break;
            }
        }
        fit.set_residuals(design, x, shares, width);
        Some(fit)
    }

    fn set_residuals(
        &mut self,
        design: &Design,
        x: &[f64],
        shares: &[Vec<f64>],
        width: Option<&[f64]>,
    ) {
        for (set, of) in design.sets.iter().enumerate() {
            let (centre, spread) = (self.centre[set], self.spread[set]);
            for i in of.clone() {
                let by_steps: f64 = self.steps.iter().zip(shares).map(|(s, of)| s * of[i]).sum();
                let residual = (x[i] - centre) / spread - by_steps;
                self.residuals[i] = residual / width.map_or(1.0, |width| width[i]);
            }
        }
    }

    /// Sets' spreads by their residuals, drawn together, so that residuals have a variance of 1;
    /// by how much they moved at most.
    fn rescale(
        &mut self,
        design: &Design,
        x: &[f64],
        shares: &[Vec<f64>],
        width: Option<&[f64]>,
    ) -> f64 {
        self.set_residuals(design, x, shares, width);
        let clear = clear(design, &self.steps, shares);
        let squares = design.sets.iter().map(|of| {
            let (mut n, mut sum) = (0.0, 0.0);
            for i in of.clone().filter(|&i| clear[i]) {
                n += 1.0;
                sum += self.residuals[i].clamp(-CUT, CUT).powi(2);
            }
            // The set's centre takes the share of one piece.
            let whole = of.len() as f64;
            (n * (whole - 1.0) / whole, sum / cut_variance())
        });
        let squares: Vec<(f64, f64)> = squares.collect();
        let (df, sum) = squares
            .iter()
            .fold((0.0, 0.0), |all, of| (all.0 + of.0, all.1 + of.1));
        let mean = sum / (df - self.steps.len() as f64).max(1.0);
        if mean <= 0.0 {
            return 0.0;
        }
        let mut most = 0.0_f64;
        for (&(own, square), spread) in squares.iter().zip(&mut self.spread) {
            let variance = (PRIOR_DF * mean + square) / (PRIOR_DF + own);
            *spread *= variance.sqrt();
            most = most.max((variance.sqrt() - 1.0).abs());
        }
        most
    }

    /// Scores for a shift of location: cut residuals, centred in each set.
    pub(super) fn scores(&self, design: &Design) -> Vec<f64> {
        let cut = self.residuals.iter().map(|r| r.clamp(-CUT, CUT));
        centred(design, cut.collect())
    }

    /// The usual spread of a set, each by its number of pieces.
    pub(super) fn usual_spread(&self, design: &Design) -> f64 {
        let (mut sum, mut weights) = (0.0, 0.0);
        for (of, spread) in design.sets.iter().zip(&self.spread) {
            sum += (of.len() - 1) as f64 * spread;
            weights += (of.len() - 1) as f64;
        }
        sum / weights
    }
}

/// Whether each piece is clearly before or after every large step: one that may be either would make
/// the spread look wide. All are, where few would be left.
pub(super) fn clear(design: &Design, steps: &[f64], shares: &[Vec<f64>]) -> Vec<bool> {
    /// In spreads.
    const LARGE: f64 = 1.0;
    let large = steps
        .iter()
        .zip(shares)
        .filter(|(size, _)| size.abs() > LARGE);
    let large: Vec<&Vec<f64>> = large.map(|(_, shares)| shares).collect();
    let one = |i: usize| {
        large
            .iter()
            .all(|shares| shares[i] < 0.02 || shares[i] > 0.98)
    };
    let clear: Vec<bool> = (0..design.len()).map(one).collect();
    let left = clear.iter().filter(|clear| **clear).count();
    match 2 * left >= design.len() {
        true => clear,
        false => vec![true; design.len()],
    }
}

/// Scores less their set's mean.
pub(super) fn centred(design: &Design, mut scores: Vec<f64>) -> Vec<f64> {
    for of in &design.sets {
        let mean = scores[of.clone()].iter().sum::<f64>() / of.len() as f64;
        scores[of.clone()].iter_mut().for_each(|s| *s -= mean);
    }
    scores
}

/// `E min(Z^2, CUT^2)` of a normal Z.
pub(super) fn cut_variance() -> f64 {
    let tail = 1.0 - normal_cdf(CUT);
    1.0 - 2.0 * tail - 2.0 * CUT * normal_density(CUT) + 2.0 * CUT * CUT * tail
}

/// Medians and spreads by the median absolute deviation (the mean one where that is 0), drawn
/// together by the median of the sets.
fn start(design: &Design, x: &[f64]) -> Option<(Vec<f64>, Vec<f64>)> {
    let (mut centres, mut spreads) = (Vec::new(), Vec::new());
    for of in &design.sets {
        let centre = median(&x[of.clone()]).ok()?;
        let far: Vec<f64> = x[of.clone()].iter().map(|x| (x - centre).abs()).collect();
        // 1.4826 and 1.2533 make the two as large as the standard deviation of a normal sample.
        let spread = match median(&far).ok()? {
            0.0 => 1.2533 * far.iter().sum::<f64>() / far.len() as f64,
            mad => 1.4826 * mad,
        };
        centres.push(centre);
        spreads.push(spread);
    }
    let mut seen: Vec<f64> = spreads.iter().copied().filter(|s| *s > 0.0).collect();
    seen.sort_unstable_by(f64::total_cmp);
    let usual = *seen.get(seen.len() / 2)?;
    for (of, spread) in design.sets.iter().zip(&mut spreads) {
        let n = of.len() as f64;
        *spread = ((PRIOR_DF * usual * usual + n * *spread * *spread) / (PRIOR_DF + n)).sqrt();
    }
    (usual.is_finite() && spreads.iter().all(|s| s.is_finite() && *s > 0.0))
        .then_some((centres, spreads))
}

/// Mean share of each set at each step.
fn weighted_means(
    design: &Design,
    shares: &[Vec<f64>],
    weight: impl Fn(usize) -> f64,
) -> Vec<Vec<f64>> {
    let of_step = |share: &Vec<f64>| {
        let of_set = design.sets.iter().map(|of| {
            let weights: f64 = of.clone().map(&weight).sum();
            of.clone().map(|i| weight(i) * share[i]).sum::<f64>() / weights
        });
        of_set.collect()
    };
    shares.iter().map(of_step).collect()
}

/// Sums of products of the steps' shares about their sets' means.
fn products(
    design: &Design,
    shares: &[Vec<f64>],
    means: &[Vec<f64>],
    weight: impl Fn(usize) -> f64,
) -> Vec<Vec<f64>> {
    let k = shares.len();
    let mut products = vec![vec![0.0; k]; k];
    for a in 0..k {
        for b in 0..=a {
            let mut sum = 0.0;
            for (set, of) in design.sets.iter().enumerate() {
                for i in of.clone() {
                    sum +=
                        weight(i) * (shares[a][i] - means[a][set]) * (shares[b][i] - means[b][set]);
                }
            }
            products[a][b] = sum;
            products[b][a] = sum;
        }
    }
    products
}

/// Solves a small system of normal equations; a step that the others hold already stays.
pub(super) fn solve(mut a: Vec<Vec<f64>>, mut b: Vec<f64>) -> Vec<f64> {
    let k = b.len();
    let size: Vec<f64> = (0..k).map(|i| a[i][i]).collect();
    let mut used = vec![false; k];
    for i in 0..k {
        if a[i][i] <= 1e-9 * size[i] || a[i][i].is_nan() {
            continue;
        }
        used[i] = true;
        let pivot = a[i].clone();
        let of_pivot = b[i];
        for row in (0..k).filter(|&row| row != i) {
            let factor = a[row][i] / pivot[i];
            for (to, from) in a[row].iter_mut().zip(&pivot) {
                *to -= factor * from;
            }
            b[row] -= factor * of_pivot;
        }
    }
    (0..k)
        .map(|i| if used[i] { b[i] / a[i][i] } else { 0.0 })
        .collect()
}
