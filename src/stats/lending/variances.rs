//! One dimension's variances over patterns: their scaled F likelihood, and its best `s0^2`.
//!
//! Patterns keep their places: one without a set has no degrees of freedom and adds nothing.
//! Variances are held over a usual one, so that sums keep their digits at any scale.

use std::sync::{Arc, LazyLock};

use libm::lgamma;

use crate::stats::borrowed::BorrowedSpread;
use crate::stats::period_share::GRID;

/// The largest `phi`: spreads that differ so much that they lend two degrees of freedom at most.
const PHI_MAX: f64 = 0.5;

/// Logarithm of the least `s0^2` over the unit of the variances. Where sets without any spread outweigh
/// the others, the likelihood grows without end as `s0^2` falls to 0: there the search stops, and
/// the dimension lends nothing.
pub(super) const LEAST_ROOT: f64 = -300.0;

/// A variance so many times the unit counts as this: it pulls no less.
const MOST: f64 = 1e150;

/// Part of the pooled variance that is far from usual.
const TINY: f64 = 1e-8;

/// Newton's error is at most half the square of its last step here (the sum's curvature is at most
/// its slope), so that a step of this size is the last one needed.
pub(super) const LAST_STEP: f64 = 1e-8;

/// Lanes of the sums: independent, so that the processor can add several at a time, and fixed, so
/// that the result is the same everywhere.
pub(super) const LANES: usize = 4;

pub(in crate::stats) fn phi_at(j: usize) -> f64 {
    PHI_MAX * (j as f64 + 0.5) / GRID as f64
}

/// `ln Gamma(d0 / 2)` and `ln(d0 / 2)` at the grid points.
static GRID_TERMS: LazyLock<[(f64, f64); GRID]> = LazyLock::new(|| {
    std::array::from_fn(|j| {
        let half = 0.5 / phi_at(j);
        (lgamma(half), half.ln())
    })
});

/// The part of a set's log likelihood at grid point `j` that only its degrees of freedom decide.
fn constant(df: f64, j: usize) -> f64 {
    let (ln_gamma, ln_half) = GRID_TERMS[j];
    lgamma(0.5 * (df + 1.0 / phi_at(j))) - ln_gamma - 0.5 * df * ln_half
}

/// Information in `s0^2` that a set holds.
pub(super) fn information(df: f64, d0: f64) -> f64 {
    df * d0 / (df + d0 + 2.0)
}

/// `df + d0` of a set, 0 for no set.
pub(super) fn whole(df: f64, d0: f64) -> f64 {
    if df > 0.0 { df + d0 } else { 0.0 }
}

/// The degrees of freedom of one dimension's sets, and what follows from them alone.
#[derive(Clone, Debug)]
pub(in crate::stats) struct Freedoms {
    /// Per pattern; 0 for no usable set.
    pub(super) df: Vec<f64>,
    /// Their sum.
    pub(super) total: f64,
    /// Patterns with a usable set.
    pub(super) lenders: usize,
    /// The distinct positive values, rising, and how many sets have each.
    pub(super) distinct: Vec<(f64, f64)>,
    /// The constants of a set with each of them.
    pub(super) of_distinct: Arc<[[f64; GRID]]>,
    /// Sum of the sets' constants at the grid points.
    pub(super) constants: [f64; GRID],
}

impl Freedoms {
    pub(in crate::stats) fn new(df: Vec<f64>) -> Self {
        let mut sorted: Vec<f64> = df.iter().copied().filter(|&df| df > 0.0).collect();
        sorted.sort_unstable_by(f64::total_cmp);
        let mut distinct: Vec<(f64, f64)> = Vec::new();
        for &df in &sorted {
            match distinct.last_mut() {
                Some((value, count)) if *value == df => *count += 1.0,
                _ => distinct.push((df, 1.0)),
            }
        }
        let of_distinct: Arc<[[f64; GRID]]> = distinct
            .iter()
            .map(|&(df, _)| std::array::from_fn(|j| constant(df, j)))
            .collect();
        let constants = std::array::from_fn(|j| {
            let counted = distinct.iter().zip(&*of_distinct);
            counted.map(|((_, count), of)| count * of[j]).sum()
        });
        Freedoms {
            total: distinct.iter().map(|(df, count)| df * count).sum(),
            lenders: sorted.len(),
            df,
            distinct,
            of_distinct,
            constants,
        }
    }

    /// Where in `distinct` a pattern's value is; `None` without a usable set.
    pub(super) fn place(&self, pattern: usize) -> Option<usize> {
        let df = self.df.get(pattern)?;
        let found = self.distinct.binary_search_by(|(d, _)| d.total_cmp(df));
        found.ok()
    }

    /// The same without one pattern.
    pub(super) fn without(&self, pattern: usize) -> Self {
        let mut without = self.clone();
        if let Some(place) = self.place(pattern) {
            without.df[pattern] = 0.0;
            without.total -= self.df[pattern];
            without.lenders -= 1;
            without.distinct[place].1 -= 1.0;
            for (sum, own) in without.constants.iter_mut().zip(self.of_distinct[place]) {
                *sum -= own;
            }
        }
        without
    }

    /// Information in `s0^2` (D).
    pub(super) fn information(&self, d0: f64) -> f64 {
        self.distinct
            .iter()
            .map(|&(df, count)| count * information(df, d0))
            .sum()
    }
}

/// Variances of one dimension over a usual one.
#[derive(Clone, Debug, Default)]
pub(in crate::stats) struct Scaled {
    /// That variance: the pooled one, or the geometric mean where a few sets alone make the pooled
    /// one what it is.
    pub(super) unit: f64,
    /// `df s^2` over the unit.
    pub(super) sums: Vec<f64>,
}

/// `df s^2` over the unit.
pub(super) fn in_units(sum: f64, unit: f64) -> f64 {
    (sum / unit).min(MOST)
}

impl Scaled {
    /// `None` where there is no spread to lend.
    pub(in crate::stats) fn new(freedoms: &Freedoms, s2: Vec<f64>) -> Option<Scaled> {
        let mut sums = s2;
        let mut total = 0.0;
        for (sum, &df) in sums.iter_mut().zip(&freedoms.df) {
            *sum = if df > 0.0 { *sum * df } else { 0.0 };
            total += *sum;
        }
        let mut unit = total / freedoms.total;
        if !(unit > 0.0 && unit.is_finite()) {
            return None;
        }
        let some = || sums.iter().zip(&freedoms.df).filter(|(sum, _)| **sum > 0.0);
        let tiny = some().filter(|&(&sum, df)| sum < TINY * unit * df).count();
        if tiny > 0 && 2 * tiny > some().count() {
            let logs: f64 = some().map(|(sum, df)| (sum / df).ln()).sum();
            unit = (logs / some().count() as f64).exp();
        }
        for sum in &mut sums {
            *sum = in_units(*sum, unit);
        }
        Some(Scaled { unit, sums })
    }

    /// The adjusted log likelihood at the wanted grid points, less [`Scaled::offset`]; minus
    /// infinity elsewhere. `roots` has the best `ln(s0^2 / unit)`: a start (or NaN) before, the
    /// answer after.
    pub(in crate::stats) fn over_grid(
        &self,
        freedoms: &Freedoms,
        roots: &mut [f64; GRID],
        wanted: &[bool; GRID],
    ) -> [f64; GRID] {
        let mut log_likelihood = [f64::NEG_INFINITY; GRID];
        let mut neighbour = 0.0;
        for j in (0..GRID).filter(|&j| wanted[j]) {
            let d0 = 1.0 / phi_at(j);
            let start = if roots[j].is_nan() {
                neighbour
            } else {
                roots[j]
            };
            let root = self.root(freedoms, d0, start);
            roots[j] = root;
            neighbour = root;
            log_likelihood[j] = self.log_likelihood(freedoms, j, root);
        }
        log_likelihood
    }

    /// The adjusted log likelihood at grid point `j`, less [`Scaled::offset`].
    pub(super) fn log_likelihood(&self, freedoms: &Freedoms, j: usize, root: f64) -> f64 {
        let d0 = 1.0 / phi_at(j);
        freedoms.constants[j]
            - 0.5 * freedoms.information(d0).ln()
            - 0.5 * freedoms.total * root
            - 0.5 * deviance(&freedoms.df, &self.sums, d0, (-root).exp())
    }

    /// The least and the largest variance over the unit.
    pub(super) fn range(&self, freedoms: &Freedoms) -> (f64, f64) {
        let sets = self.sums.iter().zip(&freedoms.df);
        sets.filter(|(_, df)| **df > 0.0)
            .map(|(sum, df)| sum / df)
            .fold((f64::INFINITY, 0.0), |(least, most), ratio| {
                (least.min(ratio), most.max(ratio))
            })
    }

    /// What the log likelihood owes to the unit of the readings.
    pub(in crate::stats) fn offset(&self, freedoms: &Freedoms) -> f64 {
        -0.5 * freedoms.total * self.unit.ln()
    }

    /// The loan at a given `phi`, and its root; `None` where the best `s0^2` is 0.
    pub(in crate::stats) fn spread(
        &self,
        freedoms: &Freedoms,
        phi: f64,
        start: f64,
    ) -> (f64, Option<BorrowedSpread>) {
        let root = self.root(freedoms, 1.0 / phi, start);
        (root, self.spread_at(freedoms, phi, root))
    }

    pub(super) fn spread_at(
        &self,
        freedoms: &Freedoms,
        phi: f64,
        root: f64,
    ) -> Option<BorrowedSpread> {
        let s2 = self.unit * root.exp();
        let information = freedoms.information(1.0 / phi);
        (root > LEAST_ROOT + 1.0 && s2 > 0.0 && s2.is_finite())
            .then(|| BorrowedSpread::new(s2, phi, information, freedoms.lenders))
    }

    /// Solves `sum [-df + (df + d0) q / (d0 + q)] = 0`, `q = df s^2 / e^l`, for `l`, that is
    /// `ln(s0^2 / unit)`. The sum falls as `l` grows, from the sum of `d0` over sets with a
    /// spread, less that of `df` over those without, to minus that of all `df`; Newton's steps are
    /// kept within a bracket.
    pub(super) fn root(&self, freedoms: &Freedoms, d0: f64, start: f64) -> f64 {
        let (mut low, mut high) = (LEAST_ROOT, f64::INFINITY);
        let mut l = start;
        for _ in 0..200 {
            let (whole, slope) = self.sums(&freedoms.df, d0, l);
            let value = whole - freedoms.total;
            if value > 0.0 {
                low = l;
            } else {
                high = l;
            }
            let step = value / slope;
            if step.abs() <= LAST_STEP {
                return l + step;
            }
            let mut next = l + step;
            if !(next > low && next < high) {
                next = if high.is_finite() {
                    f64::midpoint(low, high)
                } else {
                    low + 1.0
                };
            }
            if next == l {
                break;
            }
            l = next;
        }
        l
    }

    /// `sum (df + d0) q / (d0 + q)` and minus its slope.
    fn sums(&self, df: &[f64], d0: f64, l: f64) -> (f64, f64) {
        let scale = (-l).exp();
        let term = |df: f64, sum: f64| {
            let z = d0 / (d0 + sum * scale);
            let part = whole(df, d0) * (1.0 - z);
            (part, part * z)
        };
        let (mut values, mut slopes) = ([0.0; LANES], [0.0; LANES]);
        let (dfs, sums) = (df.chunks_exact(LANES), self.sums.chunks_exact(LANES));
        let rest = dfs.remainder().iter().zip(sums.remainder());
        for (df, sum) in dfs.zip(sums) {
            for k in 0..LANES {
                let (value, slope) = term(df[k], sum[k]);
                values[k] += value;
                slopes[k] += slope;
            }
        }
        let (mut value, mut slope) = (values.iter().sum(), slopes.iter().sum());
        for (&df, &sum) in rest {
            let more = term(df, sum);
            value += more.0;
            slope += more.1;
        }
        (value, slope)
    }
}

/// `sum (df + d0) ln(1 + q / d0)`, `q = sums * scale`.
pub(super) fn deviance(df: &[f64], sums: &[f64], d0: f64, scale: f64) -> f64 {
    let scale = scale / d0;
    let mut lanes = [0.0; LANES];
    for (k, (&df, &sum)) in df.iter().zip(sums).enumerate() {
        lanes[k % LANES] += whole(df, d0) * (1.0 + sum * scale).ln();
    }
    lanes.iter().sum()
}
