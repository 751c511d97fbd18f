//! Centres and spreads of sets, steps that they share, and scores that no single slip rules.

use super::design::Design;
use crate::stats::location::median_in_place;
use crate::stats::tails::normal_density;
use crate::stats::{median, normal_cdf};

/// Residuals count up to so many spreads.
pub(super) const CUT: f64 = 2.5;
/// Degrees of freedom with which a set's spread is drawn to that of all sets.
const PRIOR_DF: f64 = 4.0;

/// A round that moves centres, steps (in spreads) and spreads (relatively) by less is the last; and one of a
/// fit that only has to tell where a step fits best.
const SETTLED: f64 = 1e-5;
const NEAR: f64 = 1e-3;

/// What a fit begins with.
pub(super) struct Start {
    pub(super) centre: Vec<f64>,
    pub(super) spread: Vec<f64>,
    pub(super) steps: Vec<f64>,
}

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
    /// Fits steps at some candidates (given by the dates' shares), common to all sets in spreads.
    /// `width` is how many spreads wide the time of each date is. `None` where all readings are equal.
    /// It begins where it is told, else with the readings alone; `near` is only as near as tells where a step
    /// fits best.
    pub(super) fn new(
        design: &Design,
        x: &[f64],
        shares: &[Vec<f64>],
        width: Option<&[f64]>,
        from: Option<Start>,
        near: bool,
    ) -> Option<Fit> {
        let k = shares.len();
        let from = match from {
            Some(from) => from,
            None => Start::new(design, x, k)?,
        };
        let mut fit = Fit {
            centre: from.centre,
            spread: from.spread,
            steps: from.steps,
            residuals: vec![0.0; x.len()],
        };
        let weight: Vec<f64> = match width {
            Some(width) => width.iter().map(|width| 1.0 / width).collect(),
            None => vec![1.0; design.dates()],
        };
        let weighing = Weighing::new(design, shares, &weight);
        let mut of_dates = vec![0.0; design.dates()];
        for round in 0..40 {
            let mut drift = fit.set_residuals(design, x, shares, &weight, &mut of_dates);
            let sum_of = |(share, mean): (&Vec<f64>, &Vec<f64>)| {
                let at_dates = share.iter().zip(&of_dates).map(|(share, sum)| share * sum);
                let at_means = mean.iter().zip(&drift).map(|(mean, sum)| mean * sum);
                at_dates.sum::<f64>() - at_means.sum::<f64>()
            };
            let sums = shares.iter().zip(&weighing.means).map(sum_of).collect();
            let moves = solve(weighing.products.clone(), sums);
            let mut moved = 0.0_f64;
            for (set, drift) in drift.iter_mut().enumerate() {
                *drift /= weighing.of_sets[set];
                let by_steps: f64 = moves
                    .iter()
                    .zip(&weighing.means)
                    .map(|(m, mean)| m * mean[set])
                    .sum();
                fit.centre[set] += fit.spread[set] * (*drift - by_steps);
                moved = moved.max((*drift - by_steps).abs());
            }
            for (step, by) in fit.steps.iter_mut().zip(&moves) {
                *step += by;
                moved = moved.max(by.abs());
            }
            // Spreads follow a first settling of the steps.
            if round % 3 == 2 {
                fit.set_residuals(design, x, shares, &weight, &mut of_dates);
                moved = moved.max(fit.rescale(design, shares));
            }
            let settled = match near {
                true => round % 3 == 2 && moved < NEAR,
                false => round >= 5 && moved < SETTLED,
            };
            if settled {
                break;
            }
        }
        fit.set_residuals(design, x, shares, &weight, &mut of_dates);
        Some(fit)
    }

    /// Sets residuals; the sums of what counts of them by set, and by date into `of_dates`. A piece is
    /// looked at once, however many steps there are: these depend on its date alone.
    fn set_residuals(
        &mut self,
        design: &Design,
        x: &[f64],
        shares: &[Vec<f64>],
        weight: &[f64],
        of_dates: &mut [f64],
    ) -> Vec<f64> {
        let mut by_steps = vec![0.0; design.dates()];
        for (size, share) in self.steps.iter().zip(shares) {
            for (by_steps, share) in by_steps.iter_mut().zip(share) {
                *by_steps += size * share;
            }
        }
        of_dates.fill(0.0);
        let of_set = |(set, of): (usize, &std::ops::Range<usize>)| {
            let (centre, spread) = (self.centre[set], self.spread[set]);
            let dates = &design.date_of()[of.clone()];
            let mut sum = 0.0;
            for ((residual, x), date) in self.residuals[of.clone()]
                .iter_mut()
                .zip(&x[of.clone()])
                .zip(dates)
            {
                let date = *date as usize;
                *residual = ((x - centre) / spread - by_steps[date]) * weight[date];
                let cut = residual.clamp(-CUT, CUT);
                sum += cut;
                of_dates[date] += cut;
            }
            sum
        };
        design.sets.iter().enumerate().map(of_set).collect()
    }

    /// Sets' spreads within their times, drawn to the usual one, so that pieces have a variance of 1;
    /// by how much they moved at most.
    fn rescale(&mut self, design: &Design, shares: &[Vec<f64>]) -> f64 {
        // By set: degrees of freedom, and sum of squares.
        let mut squares = vec![(0.0, 0.0); design.sets.len()];
        each_cell(design, self, shares, |cell| {
            let (freedom, larger) = cell.freedom();
            let (df, sum) = &mut squares[cell.set];
            for residual in cell.residuals {
                let far = ((residual - cell.centre) * larger).clamp(-CUT, CUT);
                *df += freedom;
                *sum += far * far * freedom;
            }
        });
        let of_set = |(set, (df, sum)): (usize, &(f64, f64))| {
            let variance = if *df > 0.0 {
                sum / cut_variance() / df
            } else {
                0.0
            };
            (*df, variance * self.spread[set].powi(2))
        };
        let own: Vec<(f64, f64)> = squares.iter().enumerate().map(of_set).collect();
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

/// The pieces of a set between two steps. Steps are alike in all sets only roughly, and what they leave
/// must not pass for spread.
pub(super) struct Cell<'c> {
    pub(super) set: usize,
    pub(super) pieces: &'c [usize],
    /// Their residuals.
    pub(super) residuals: &'c [f64],
    /// The centre of these.
    pub(super) centre: f64,
}

impl Cell<'_> {
    /// The share of a piece that the cell's centre leaves it (`1 - 1 / n`), and what makes distances from
    /// the centre as large as if it had been known.
    pub(super) fn freedom(&self) -> (f64, f64) {
        let n = self.residuals.len() as f64;
        ((n - 1.0) / n, (n / (n - 1.0)).sqrt())
    }
}

/// Goes through the cells of two pieces and more, set by set; without pieces that may be of either side
/// of a large step.
pub(super) fn each_cell(
    design: &Design,
    fit: &Fit,
    shares: &[Vec<f64>],
    mut each: impl FnMut(&Cell<'_>),
) {
    let clear = clear(design, &fit.steps, shares);
    // The cell of each date; `None` where that is not clear.
    let cell_of = |date: usize| shares.iter().filter(|of| of[date] >= 0.5).count();
    let cell_of: Vec<Option<usize>> = (0..design.dates())
        .map(|date| clear[date].then(|| cell_of(date)))
        .collect();
    let mut cells: Vec<(Vec<usize>, Vec<f64>)> = vec![Default::default(); shares.len() + 1];
    let mut work = Vec::new();
    for (set, of) in design.sets.iter().enumerate() {
        for (pieces, residuals) in &mut cells {
            pieces.clear();
            residuals.clear();
        }
        for i in of.clone() {
            if let Some(cell) = cell_of[design.date_of()[i] as usize] {
                cells[cell].0.push(i);
                cells[cell].1.push(fit.residuals[i]);
            }
        }
        for (pieces, residuals) in cells.iter().filter(|cell| cell.0.len() > 1) {
            if !residuals.iter().all(|residual| residual.is_finite()) {
                continue;
            }
            work.clone_from(residuals);
            let mut centre = median_in_place(&mut work);
            for _ in 0..3 {
                let cut = residuals.iter().map(|r| (r - centre).clamp(-CUT, CUT));
                centre += cut.sum::<f64>() / residuals.len() as f64;
            }
            each(&Cell {
                set,
                pieces,
                residuals,
                centre,
            });
        }
    }
}

/// Whether each date is clearly before or after every large step: a piece that may be either would make
/// the spread look wide. All are, where few pieces would be left.
fn clear(design: &Design, steps: &[f64], shares: &[Vec<f64>]) -> Vec<bool> {
    /// In spreads.
    const LARGE: f64 = 1.0;
    let large = steps
        .iter()
        .zip(shares)
        .filter(|(size, _)| size.abs() > LARGE);
    let large: Vec<&Vec<f64>> = large.map(|(_, shares)| shares).collect();
    let one = |date: usize| {
        large
            .iter()
            .all(|shares| shares[date] < 0.02 || shares[date] > 0.98)
    };
    let clear: Vec<bool> = (0..design.dates()).map(one).collect();
    let counts = clear.iter().zip(design.counts());
    let left: f64 = counts.map(|(clear, n)| if *clear { *n } else { 0.0 }).sum();
    match 2.0 * left >= design.len() as f64 {
        true => clear,
        false => vec![true; design.dates()],
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

impl Start {
    /// From nothing but the readings.
    fn new(design: &Design, x: &[f64], steps: usize) -> Option<Start> {
        let (centre, spread) = start(design, x)?;
        Some(Start {
            centre,
            spread,
            steps: vec![0.0; steps],
        })
    }
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

/// What pieces of some weights (by date) make of steps.
struct Weighing {
    /// Sum of weights of each set.
    of_sets: Vec<f64>,
    /// Mean share of each set (a column) at each step.
    means: Vec<Vec<f64>>,
    /// Sums of products of the steps' shares about their sets' means.
    products: Vec<Vec<f64>>,
}

impl Weighing {
    fn new(design: &Design, shares: &[Vec<f64>], weight: &[f64]) -> Weighing {
        let k = shares.len();
        let mut of_sets = vec![0.0; design.sets.len()];
        let mut means = vec![vec![0.0; design.sets.len()]; k];
        for (set, of) in design.sets.iter().enumerate() {
            for &date in &design.date_of()[of.clone()] {
                let date = date as usize;
                of_sets[set] += weight[date];
                for (mean, share) in means.iter_mut().zip(shares) {
                    mean[set] += weight[date] * share[date];
                }
            }
            means.iter_mut().for_each(|mean| mean[set] /= of_sets[set]);
        }
        let mut products = vec![vec![0.0; k]; k];
        for a in 0..k {
            for b in 0..=a {
                let dates = weight.iter().zip(design.counts()).enumerate();
                let all = dates.map(|(date, (w, n))| n * w * shares[a][date] * shares[b][date]);
                let sets = of_sets.iter().zip(means[a].iter().zip(&means[b]));
                let between = sets.map(|(weights, (a, b))| weights * a * b);
                let product = all.sum::<f64>() - between.sum::<f64>();
                products[a][b] = product;
                products[b][a] = product;
            }
        }
        Weighing {
            of_sets,
            means,
            products,
        }
    }
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
