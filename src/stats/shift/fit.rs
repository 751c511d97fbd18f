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

    /// Sets' spreads within their times, drawn to the usual one, so that pieces have a variance of 1;
    /// by how much they moved at most.
    fn rescale(
        &mut self,
        design: &Design,
        x: &[f64],
        shares: &[Vec<f64>],
        width: Option<&[f64]>,
    ) -> f64 {
        self.set_residuals(design, x, shares, width);
        let cells = Cells::new(design, self, shares);
        // By set: degrees of freedom, and variance in the unit of the readings.
        let of_set = |(set, of): (usize, &std::ops::Range<usize>)| {
            let (mut df, mut sum) = (0.0, 0.0);
            for deviation in cells.deviations[of.clone()].iter().flatten() {
                df += deviation.freedom;
                sum += deviation.from_centre.clamp(-CUT, CUT).powi(2) * deviation.freedom;
            }
            let variance = if df > 0.0 {
                sum / cut_variance() / df
            } else {
                0.0
            };
            (df, variance * self.spread[set].powi(2))
        };
        let own: Vec<(f64, f64)> = design.sets.iter().enumerate().map(of_set).collect();
        let mut seen: Vec<(f64, f64)> = own.iter().copied().filter(|o| o.1 > 0.0).collect();
        seen.sort_unstable_by(|a, b| a.1.total_cmp(&b.1));
        let half = 0.5 * seen.iter().map(|o| o.0).sum::<f64>();
        let mut below = 0.0;
        let middle = seen.iter().find(|o| {
            below += o.0;
            below >= half
        });
        let Some(&(_, usual)) = middle else {
            return 0.0;
        };
        let drawn: Vec<f64> = own
            .iter()
            .map(|(df, variance)| (PRIOR_DF * usual + df * variance) / (PRIOR_DF + df))
            .collect();
        let all: f64 = own.iter().map(|o| o.0).sum();
        let relative = own
            .iter()
            .zip(&drawn)
            .map(|((df, own), drawn)| df * own / drawn);
        let mean = relative.sum::<f64>() / all;
        let mut most = 0.0_f64;
        for (spread, drawn) in self.spread.iter_mut().zip(&drawn) {
            let next = (drawn * mean).sqrt();
            most = most.max((next / *spread - 1.0).abs());
            *spread = next;
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

/// A piece's distance from the centre of its cell: its set's pieces between two steps. Steps are alike
/// in all sets only roughly, and what they leave must not pass for spread.
#[derive(Clone, Copy, Debug)]
pub(super) struct Deviation {
    /// In spreads (and widths).
    pub(super) from_centre: f64,
    /// The share of a piece that the cell's centre leaves it: `1 - 1 / n`.
    pub(super) freedom: f64,
}

/// The cells of all pieces; `None` for one that may be of either side of a large step, or alone.
pub(super) struct Cells {
    pub(super) deviations: Vec<Option<Deviation>>,
}

impl Cells {
    pub(super) fn new(design: &Design, fit: &Fit, shares: &[Vec<f64>]) -> Cells {
        let clear = clear(design, &fit.steps, shares);
        let segment = |i: usize| shares.iter().filter(|of| of[i] >= 0.5).count();
        let mut cells = Cells {
            deviations: vec![None; design.len()],
        };
        let mut of_cells: Vec<Vec<usize>> = vec![Vec::new(); shares.len() + 1];
        for of in &design.sets {
            of_cells.iter_mut().for_each(Vec::clear);
            for i in of.clone().filter(|&i| clear[i]) {
                of_cells[segment(i)].push(i);
            }
            for cell in of_cells.iter().filter(|cell| cell.len() > 1) {
                let residuals: Vec<f64> = cell.iter().map(|&i| fit.residuals[i]).collect();
                let Ok(mut centre) = median(&residuals) else {
                    continue;
                };
                let n = residuals.len() as f64;
                for _ in 0..3 {
                    let cut = residuals.iter().map(|r| (r - centre).clamp(-CUT, CUT));
                    centre += cut.sum::<f64>() / n;
                }
                for (&i, residual) in cell.iter().zip(&residuals) {
                    cells.deviations[i] = Some(Deviation {
                        // As large as if the centre had been known.
                        from_centre: (residual - centre) * (n / (n - 1.0)).sqrt(),
                        freedom: (n - 1.0) / n,
                    });
                }
            }
        }
        cells
    }
}

/// Whether each piece is clearly before or after every large step: one that may be either would make
/// the spread look wide. All are, where few would be left.
fn clear(design: &Design, steps: &[f64], shares: &[Vec<f64>]) -> Vec<bool> {
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
