//! How unusual several scores are taken together, when they hang together.
//!
//! # Method
//! Pooled residuals give an uncentred correlation C with N degrees of freedom; it is drawn towards
//! the identity, `R = (1 - a) C + a I`, by as much as its own uncertainty asks. The sum of squared
//! scores is then a scaled chi-square: `q / c ~ chi^2(f)`, `c = tr(R^2) / p`, `f = p^2 / tr(R^2)`. No
//! inverse is needed, so there may be more dimensions than residuals.
//!
//! # Source
//! J. Schäfer and K. Strimmer, Stat. Appl. Genet. Mol. Biol. 4 (2005) article 32; G. E. P. Box, Ann.
//! Math. Stat. 25 (1954) 290-302.

use super::chi_square_sf;
use super::predictive::Prior;

/// A correlation matrix drawn towards the identity.
#[derive(Clone, Debug, PartialEq)]
pub struct ShrunkCorrelation {
    /// Rows and columns are dimensions.
    pub matrix: Vec<Vec<f64>>,
    /// How far it was drawn: 0 not at all, 1 to the identity.
    pub shrinkage: f64,
}

/// The correlation of residuals, one row a piece and one column a dimension, with `freedom` degrees
/// of freedom in all. A dimension without any residual is unrelated to the others.
pub fn shrunk_correlation(residuals: &[Vec<f64>], freedom: f64) -> ShrunkCorrelation {
    let p = residuals.first().map_or(0, Vec::len);
    shrunk(residuals.iter().map(Vec::as_slice), p, freedom)
}

fn shrunk<'r>(rows: impl Iterator<Item = &'r [f64]>, p: usize, freedom: f64) -> ShrunkCorrelation {
    let mut products = vec![0.0; p * p];
    for row in rows {
        for (i, x) in row.iter().enumerate() {
            let sums = &mut products[i * p + i..(i + 1) * p];
            for (sum, y) in sums.iter_mut().zip(&row[i..]) {
                *sum += x * y;
            }
        }
    }
    let product = |i: usize, j: usize| products[i.min(j) * p + i.max(j)];
    let scale: Vec<f64> = (0..p).map(|i| product(i, i).sqrt()).collect();
    let raw = |i: usize, j: usize| match scale[i] * scale[j] {
        _ if i == j => 1.0,
        scales if scales > 0.0 => product(i, j) / scales,
        _ => 0.0,
    };
    let raw: Vec<Vec<f64>> = (0..p)
        .map(|i| (0..p).map(|j| raw(i, j)).collect())
        .collect();
    let off_diagonal = |f: &dyn Fn(f64) -> f64| -> f64 {
        let each = raw.iter().enumerate();
        each.flat_map(|(i, row)| row.iter().enumerate().filter(move |(j, _)| *j != i))
            .map(|(_, c)| f(*c))
            .sum()
    };
    let squares = off_diagonal(&|c| c * c);
    let shrinkage = if squares > 0.0 && freedom > 0.0 {
        (off_diagonal(&|c| (1.0 - c * c).powi(2)) / (freedom * squares)).min(1.0)
    } else {
        1.0
    };
    let matrix = raw
        .iter()
        .enumerate()
        .map(|(i, row)| {
            let drawn = row.iter().enumerate();
            drawn
                .map(|(j, c)| if i == j { 1.0 } else { (1.0 - shrinkage) * c })
                .collect()
        })
        .collect();
    ShrunkCorrelation { matrix, shrinkage }
}

/// Residuals of several sets of pieces about their own means, standardised by spreads that are
/// partly borrowed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Residuals {
    /// Row by row: one a piece, one column a dimension.
    values: Vec<f64>,
    dimensions: usize,
    freedom: f64,
}

impl Residuals {
    /// Adds a set of so many pieces: `value(piece, dimension)`, with the prior of each dimension. A set
    /// of one has no residuals.
    pub fn add(&mut self, pieces: usize, value: impl Fn(usize, usize) -> f64, priors: &[Prior]) {
        if pieces < 2 {
            return;
        }
        let (n, p, start) = (pieces as f64, priors.len(), self.values.len());
        self.dimensions = p;
        self.freedom += n - 1.0;
        self.values.resize(start + pieces * p, 0.0);
        for (d, prior) in priors.iter().enumerate() {
            let mean = (0..pieces).map(|i| value(i, d)).sum::<f64>() / n;
            let apart = |i: usize| value(i, d) - mean;
            let squares: f64 = (0..pieces).map(|i| apart(i) * apart(i)).sum();
            let borrowed = match prior.df > 0.0 {
                true => prior.df * prior.variance,
                false => 0.0,
            };
            let s = match prior.df.is_finite() {
                true => ((borrowed + squares) / (prior.df + n - 1.0)).sqrt(),
                // A spread that is known for certain.
                false => prior.variance.sqrt(),
            };
            for i in 0..pieces {
                let standard = if s > 0.0 { apart(i) / s } else { 0.0 };
                self.values[start + i * p + d] = standard;
            }
        }
    }

    /// Their correlation, drawn towards the identity.
    pub fn correlation(&self) -> ShrunkCorrelation {
        let p = self.dimensions;
        shrunk(self.values.chunks_exact(p.max(1)), p, self.freedom)
    }
}

/// How unusual some scores are as a whole.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Misfit {
    /// Sum of the squared scores (q).
    pub q: f64,
    /// Scale (c) and degrees of freedom (f) of its chi-square.
    pub scale: f64,
    /// See `scale`.
    pub df: f64,
    /// Probability of a sum at least as large.
    pub p: f64,
    /// Root mean square of the scores.
    pub rms: f64,
}

/// The misfit of normal scores whose correlation is known; `None` for no scores, or where their
/// number is not that of the matrix.
pub fn misfit(scores: &[f64], correlation: &ShrunkCorrelation) -> Option<Misfit> {
    let p = scores.len() as f64;
    if scores.is_empty() || correlation.matrix.len() != scores.len() {
        return None;
    }
    let q: f64 = scores.iter().map(|z| z * z).sum();
    let trace: f64 = correlation.matrix.iter().flatten().map(|r| r * r).sum();
    let (scale, df) = (trace / p, p * p / trace);
    Some(Misfit {
        q,
        scale,
        df,
        p: chi_square_sf(q / scale, df),
        rms: (q / p).sqrt(),
    })
}
