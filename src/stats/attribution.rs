//! Which of several groups of references is one piece most like?
//!
//! # Method
//! Each dimension's reading is judged by each group in turn: a predictive t with its `T`, `nu` and
//! `W`, and the normal score `z` of its tail. How likely the piece is under a group is
//!
//! `ln l = sum [ln t_nu(T) - 1/2 ln W] - 1/2 z' (R^-1 - I) z`,
//!
//! t margins joined by a Gaussian copula of correlation R. Times the prior, and made to add up to 1,
//! that is the posterior.
//!
//! R is the correlation of what pieces of one pattern and period differ by. With `lambda = 0` the
//! residuals are about the plain mean of each set, as in `misfit`; else about the expectation of
//! each piece's own period, as the predictive t is: what separates the periods must not count as what
//! ties the dimensions of one piece together.
//!
//! # Source
//! Gaussian copula: R. B. Nelsen, An Introduction to Copulas (2006), 2.3 and 3.1 (from memory);
//! shrinkage of R: J. Schäfer and K. Strimmer, Stat. Appl. Genet. Mol. Biol. 4 (2005) article 32, its
//! variance by normal theory; `docs/dating.md`.

use std::collections::BTreeMap;

use super::misfit::ShrunkCorrelation;
use super::period_share::{PeriodShare, ShareEvidence};
use super::predictive::{Prior, Standpoint};
use super::two_level::{PeriodSums, Rated, TwoLevel, two_level};

/// Logarithm of the density of Student's t at `t`, for `df > 0` degrees of freedom (infinite: the
/// normal).
///
/// # Source
/// NIST Digital Library of Mathematical Functions 5.11.13 for the ratio of gamma functions at many
/// degrees of freedom; the terms left out are under 2e-15.
pub fn t_ln_density(t: f64, df: f64) -> f64 {
    const LN_TAU: f64 = 1.837_877_066_409_345_3;
    if df.is_infinite() {
        return -0.5 * (LN_TAU + t * t);
    }
    // ln [Gamma(x + 1/2) / (Gamma(x) sqrt x)].
    let x = df / 2.0;
    let ratio = if df < 100.0 {
        libm::lgamma(x + 0.5) - libm::lgamma(x) - 0.5 * x.ln()
    } else {
        let y = 1.0 / (x * x);
        (-1.0 / 8.0 + y * (1.0 / 192.0 - y / 640.0)) / x
    };
    // T^2 / nu may be beyond all numbers where T is not.
    let off = (t / df.sqrt()).abs();
    let tail = if off < 1e150 {
        (off * off).ln_1p()
    } else {
        2.0 * off.ln()
    };
    ratio - 0.5 * LN_TAU - 0.5 * (df + 1.0) * tail
}

/// How the dimensions of one piece hang together: a correlation that has an inverse.
#[derive(Clone, Debug, PartialEq)]
pub struct Copula {
    correlation: ShrunkCorrelation,
    /// Lower triangle L of the Cholesky factor, `R = L L'`.
    factor: Vec<Vec<f64>>,
}

impl Copula {
    /// Draws the correlation a step of 0.1 nearer to the identity as often as it takes for a Cholesky
    /// factor to exist.
    pub fn new(correlation: ShrunkCorrelation) -> Copula {
        const STEP: f64 = 0.1;
        let mut correlation = correlation;
        loop {
            if let Some(factor) = cholesky(&correlation.matrix) {
                return Copula {
                    correlation,
                    factor,
                };
            }
            let shrinkage = (correlation.shrinkage + STEP).min(1.0);
            let rest = (1.0 - shrinkage) / (1.0 - correlation.shrinkage);
            // Drawn all the way it is the identity, whatever it was.
            let rest = if rest.is_finite() { rest } else { 0.0 };
            for (i, row) in correlation.matrix.iter_mut().enumerate() {
                for (j, c) in row.iter_mut().enumerate() {
                    *c = match i == j {
                        true => 1.0,
                        false if rest > 0.0 => *c * rest,
                        false => 0.0,
                    };
                }
            }
            correlation.shrinkage = shrinkage;
        }
    }

    /// Dimensions that have nothing to do with each other.
    pub fn independent(dimensions: usize) -> Copula {
        let unit = |i: usize| (0..dimensions).map(move |j| f64::from(u8::from(i == j)));
        Copula::new(ShrunkCorrelation {
            matrix: (0..dimensions).map(|i| unit(i).collect()).collect(),
            shrinkage: 1.0,
        })
    }

    /// The correlation, as it is used.
    pub fn correlation(&self) -> &ShrunkCorrelation {
        &self.correlation
    }

    /// `-1/2 z' (R^-1 - I) z`: what the scores say together beyond what each says by itself. The
    /// number of scores is that of the dimensions.
    pub fn together(&self, scores: &[f64]) -> f64 {
        // L y = z, so that z' R^-1 z = y' y.
        let mut solved: Vec<f64> = Vec::with_capacity(scores.len());
        for (row, z) in self.factor.iter().zip(scores) {
            let known: f64 = row.iter().zip(&solved).map(|(l, y)| l * y).sum();
            solved.push((z - known) / row[solved.len()]);
        }
        let squares = |all: &[f64]| all.iter().map(|x| x * x).sum::<f64>();
        -0.5 * (squares(&solved) - squares(scores))
    }
}

/// The lower triangle of a symmetric matrix's Cholesky factor; `None` where it has none, or so nearly
/// none that its inverse has no digits.
fn cholesky(matrix: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    /// What must be left of a variance of 1.
    const LEAST: f64 = 1e-10;
    let mut factor: Vec<Vec<f64>> = Vec::with_capacity(matrix.len());
    for (i, row) in matrix.iter().enumerate() {
        let mut own: Vec<f64> = Vec::with_capacity(i + 1);
        for (j, &c) in row.iter().take(i).enumerate() {
            let known: f64 = factor[j].iter().zip(&own).map(|(a, b)| a * b).sum();
            own.push((c - known) / factor[j][j]);
        }
        let left = row[i] - own.iter().map(|l| l * l).sum::<f64>();
        if left.is_nan() || left < LEAST {
            return None;
        }
        own.push(left.sqrt());
        factor.push(own);
    }
    Some(factor)
}

/// How likely a piece is under one group, but for a factor that all groups share.
#[derive(Clone, Debug, PartialEq)]
pub struct GroupLikelihood {
    /// What each dimension says by itself: `ln t_nu(T) - 1/2 ln W`.
    pub margins: Vec<f64>,
    /// What all say together besides: `-1/2 z' (R^-1 - I) z`.
    pub together: f64,
}

impl GroupLikelihood {
    /// Of a piece's standpoints under the group, each with its degrees of freedom; the copula is of
    /// as many dimensions.
    pub fn new(standpoints: &[(Standpoint, f64)], copula: &Copula) -> GroupLikelihood {
        // Further off than any number says: as unlikely as can be.
        const LEAST: f64 = -1e300;
        let margin = |(at, df): &(Standpoint, f64)| {
            (t_ln_density(at.t, *df) - 0.5 * at.variance.ln()).max(LEAST)
        };
        let scores: Vec<f64> = standpoints.iter().map(|(at, _)| at.z).collect();
        GroupLikelihood {
            margins: standpoints.iter().map(margin).collect(),
            together: copula.together(&scores),
        }
    }

    /// The logarithm of the whole.
    pub fn ln(&self) -> f64 {
        self.margins.iter().sum::<f64>() + self.together
    }
}

/// The posterior of some groups from their log likelihoods and prior weights, which need not add up
/// to 1. A group of weight 0 is ruled out.
///
/// `None` where there is no weight over 0, where a weight is negative or not finite, where the numbers
/// of the two differ, or where a log likelihood is not finite.
pub fn posterior(ln_likelihood: &[f64], prior: &[f64]) -> Option<Vec<f64>> {
    let usable = |&w: &f64| w >= 0.0 && w.is_finite();
    let same = ln_likelihood.len() == prior.len();
    if !same || !prior.iter().all(usable) || !ln_likelihood.iter().all(|l| l.is_finite()) {
        return None;
    }
    let both = || ln_likelihood.iter().zip(prior);
    let weighed = |(l, w): (&f64, &f64)| {
        if *w > 0.0 {
            l + w.ln()
        } else {
            f64::NEG_INFINITY
        }
    };
    let most = both().map(weighed).fold(f64::NEG_INFINITY, f64::max);
    if !most.is_finite() {
        return None;
    }
    let shares: Vec<f64> = both().map(|pair| (weighed(pair) - most).exp()).collect();
    let sum: f64 = shares.iter().sum();
    Some(shares.into_iter().map(|share| share / sum).collect())
}

/// Residuals of several sets of pieces, not all of which have every dimension: of each pair of
/// dimensions, what the pieces that have both say.
#[derive(Clone, Debug, PartialEq)]
pub struct PairedResiduals {
    /// By the first dimension, then the second.
    pairs: Vec<Vec<Pair>>,
    /// Of each period the sum of its squares about its own means, and their degrees of freedom.
    squares: BTreeMap<u32, (f64, f64)>,
}

#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Pair {
    product: f64,
    /// Squares of the first and of the second dimension.
    squares: (f64, f64),
    freedom: f64,
}

/// One set's residuals of one dimension, standardised.
struct OfDimension {
    residuals: Vec<Option<f64>>,
    /// Degrees of freedom a reading.
    freedom: f64,
    /// Of each period of two readings or more: label, squares about its mean, degrees of freedom.
    within: Vec<(u32, f64, f64)>,
}

impl PairedResiduals {
    /// Of so many dimensions; nothing said yet.
    pub fn new(dimensions: usize) -> PairedResiduals {
        PairedResiduals {
            pairs: vec![vec![Pair::default(); dimensions]; dimensions],
            squares: BTreeMap::new(),
        }
    }

    /// Adds a set: of each piece the label of its period and a reading of each dimension, where it
    /// has one, with the prior of each dimension.
    pub fn add(&mut self, pieces: &[(Option<u32>, Vec<Option<f64>>)], priors: &[Prior]) {
        let column = |(d, prior): (usize, &Prior)| {
            let readings = pieces.iter().map(|(period, readings)| {
                readings.get(d).copied().flatten().map(|x| Rated {
                    x,
                    u: 0.0,
                    period: *period,
                })
            });
            of_dimension(&readings.collect::<Vec<Option<Rated>>>(), prior)
        };
        let columns: Vec<Option<OfDimension>> = priors.iter().enumerate().map(column).collect();
        for &(label, square, freedom) in columns.iter().flatten().flat_map(|c| &c.within) {
            let sums = self.squares.entry(label).or_default();
            sums.0 += square;
            sums.1 += freedom;
        }
        for (i, first) in columns.iter().enumerate() {
            let Some(first) = first else { continue };
            for (j, second) in columns.iter().enumerate().take(i) {
                let Some(second) = second else { continue };
                let freedom = first.freedom.min(second.freedom);
                let pair = &mut self.pairs[i][j];
                for both in first.residuals.iter().zip(&second.residuals) {
                    if let (Some(a), Some(b)) = both {
                        pair.product += a * b;
                        pair.squares.0 += a * a;
                        pair.squares.1 += b * b;
                        pair.freedom += freedom;
                    }
                }
            }
        }
    }

    /// How much the variance of pieces within each period differs from that of all periods together:
    /// one factor for all dimensions and sets, drawn towards 1 where few pieces tell it; on average
    /// over the pieces it is 1. Absent for a period that says nothing.
    pub fn relative_variances(&self) -> BTreeMap<u32, f64> {
        /// Degrees of freedom that the factor 1 is worth.
        const DRAWN: f64 = 20.0;
        let drawn = |(square, freedom): &(f64, f64)| (DRAWN + square) / (DRAWN + freedom);
        let all = || self.squares.values();
        let freedom: f64 = all().map(|s| s.1).sum();
        let mean = all().map(|s| drawn(s) * s.1).sum::<f64>() / freedom;
        let relative = |(&label, s): (&u32, &(f64, f64))| (label, drawn(s) / mean);
        self.squares.iter().map(relative).collect()
    }

    /// Their correlation, drawn towards the identity by as much as its own uncertainty asks. Two
    /// dimensions that few pieces have together count as unrelated.
    pub fn correlation(&self) -> ShrunkCorrelation {
        /// Under so many degrees of freedom a correlation is near 1 by chance.
        const FEW: f64 = 3.5;
        let p = self.pairs.len();
        let raw = |i: usize, j: usize| {
            let Pair {
                product,
                squares: (first, second),
                freedom,
            } = self.pairs[i.max(j)][i.min(j)];
            let scale = first.sqrt() * second.sqrt();
            // The digits of a sum whose terms agree may go a little beyond 1.
            let c = (product / scale).clamp(-1.0, 1.0);
            (freedom >= FEW && c.is_finite()).then_some((c, freedom))
        };
        let (mut uncertain, mut squares) = (0.0, 0.0);
        for i in 0..p {
            for (c, freedom) in (0..i).filter_map(|j| raw(i, j)) {
                uncertain += (1.0 - c * c).powi(2) / freedom;
                squares += c * c;
            }
        }
        let shrinkage = match squares > 0.0 {
            true => (uncertain / squares).min(1.0),
            false => 1.0,
        };
        let drawn = |i: usize, j: usize| match i == j {
            true => 1.0,
            false => raw(i, j).map_or(0.0, |(c, _)| (1.0 - shrinkage) * c),
        };
        ShrunkCorrelation {
            matrix: (0..p)
                .map(|i| (0..p).map(|j| drawn(i, j)).collect())
                .collect(),
            shrinkage,
        }
    }
}

/// Residuals of one dimension about what is expected of each piece's period; `None` where the set
/// has none.
fn of_dimension(readings: &[Option<Rated>], prior: &Prior) -> Option<OfDimension> {
    let known: Vec<Rated> = readings.iter().copied().flatten().collect();
    let sums = two_level(&known, prior.lambda, f64::INFINITY)?;
    let n = known.len() as f64;
    let freedom = residual_freedom(&sums);
    let residual = |reading: Rated| {
        // A piece without a period is one by itself.
        let centre = match reading.period {
            Some(_) => sums.expected(reading.period).0,
            None => {
                let share = sums.lambda / (sums.lambda + 1.0);
                sums.mu + share * (reading.x - sums.mu)
            }
        };
        reading.x - centre
    };
    let apart: Vec<Option<f64>> = readings.iter().map(|r| r.map(residual)).collect();
    let squares: f64 = apart.iter().flatten().map(|e| e * e).sum();
    let variance = if prior.df.is_infinite() {
        // A spread that is known for certain.
        prior.variance
    } else if prior.df > 0.0 {
        (prior.df * prior.variance + squares) / (prior.df + freedom)
    } else {
        squares / freedom
    };
    let s = variance.sqrt();
    let told = freedom > 1e-9 && s > 0.0 && s.is_finite();
    told.then(|| OfDimension {
        residuals: apart.into_iter().map(|e| e.map(|e| e / s)).collect(),
        freedom: freedom / n,
        within: within(&known, &sums, s),
    })
}

/// Of each period of two readings or more: label, squares of its readings about their mean in units of
/// `s`, degrees of freedom. A reading far off counts as one at the limit: it may be a slip.
fn within(readings: &[Rated], sums: &TwoLevel, s: f64) -> Vec<(u32, f64, f64)> {
    /// In units of `s`.
    const LIMIT: f64 = 4.0;
    let of_period = |period: &PeriodSums| {
        let label = period.period?;
        let freedom = period.weight - 1.0;
        let own = readings.iter().filter(|r| r.period == period.period);
        let squares = own.map(|r| {
            // Its own reading drew the mean towards it.
            let apart = (r.x - period.mean) / s * (period.weight / freedom).sqrt();
            apart.abs().min(LIMIT).powi(2)
        });
        // Each of the n squares is 1 on average.
        (freedom > 0.5).then(|| {
            (
                label,
                squares.sum::<f64>() * freedom / period.weight,
                freedom,
            )
        })
    };
    sums.periods.iter().filter_map(of_period).collect()
}

/// The expected sum of squares of the residuals about each period's expectation, in units of `s^2`:
/// `n - 1` for `lambda = 0`, and towards `n` less the number of periods as `lambda` grows.
fn residual_freedom(sums: &TwoLevel) -> f64 {
    let of_period = |weight: f64| {
        let apart = 1.0 / (1.0 + sums.lambda * weight);
        let between = weight * apart * apart * (sums.lambda + 1.0 / weight - sums.v);
        weight - 1.0 + between
    };
    sums.periods.iter().map(|p| of_period(p.weight)).sum()
}

/// How much of the spread lies between periods, of each of several dimensions: that differs where some
/// dimensions shift from period to period and others do not.
///
/// Each dimension's share is the posterior mean under a prior on the grid which all dimensions make
/// together (and one that knows nothing): empirical Bayes. Where no dimension tells, 0.
///
/// # Source
/// H. Robbins, Proc. 3rd Berkeley Symp. 1 (1956) 157-163 (from memory).
pub fn shares_by_dimension(said: &[ShareEvidence]) -> Vec<PeriodShare> {
    const GRID: usize = ShareEvidence::GRID;
    const ROUNDS: usize = 20;
    let uniform = [1.0 / GRID as f64; GRID];
    let mut prior = uniform;
    if said.iter().all(|s| s.telling() == 0) {
        return vec![PeriodShare { rho: 0.0 }; said.len()];
    }
    let weights = |said: &ShareEvidence, prior: &[f64; GRID]| -> [f64; GRID] {
        let ln = said.log_likelihood();
        let most = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let mut weights = *prior;
        for (weight, ln) in weights.iter_mut().zip(ln) {
            *weight *= (ln - most).exp();
        }
        let sum: f64 = weights.iter().sum();
        weights.map(|w| w / sum)
    };
    for _ in 0..ROUNDS {
        let (mut next, mut dimensions) = (uniform, 1.0);
        for of in said.iter().filter(|s| s.telling() > 0) {
            for (sum, weight) in next.iter_mut().zip(weights(of, &prior)) {
                *sum += weight;
            }
            dimensions += 1.0;
        }
        prior = next.map(|sum| sum / dimensions);
    }
    let rho = |of: &ShareEvidence| {
        let weights = weights(of, &prior).into_iter().enumerate();
        weights
            .map(|(j, w)| w * (j as f64 + 0.5) / GRID as f64)
            .sum()
    };
    said.iter().map(|of| PeriodShare { rho: rho(of) }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_density_is_smooth_where_its_form_changes_and_at_its_ends() {
        let below = t_ln_density(1.3, 100.0 - 1e-9);
        assert!((below - t_ln_density(1.3, 100.0)).abs() < 1e-12);
        let normal = t_ln_density(1.3, f64::INFINITY);
        assert!((t_ln_density(1.3, 1e15) - normal).abs() < 1e-13);
        // Cauchy.
        let cauchy = -(std::f64::consts::PI * (1.0 + 9.0)).ln();
        assert!((t_ln_density(3.0, 1.0) - cauchy).abs() < 1e-14);
        assert!(t_ln_density(1e300, 3.0).is_finite());
    }

    #[test]
    fn a_correlation_without_inverse_is_drawn_in_until_it_has_one() {
        let matrix = vec![vec![1.0, 1.0], vec![1.0, 1.0]];
        let copula = Copula::new(ShrunkCorrelation {
            matrix,
            shrinkage: 0.0,
        });
        assert!((copula.correlation().shrinkage - 0.1).abs() < 1e-15);
        assert!((copula.correlation().matrix[0][1] - 0.9).abs() < 1e-15);
        // From 1 to 1: nothing left to be drawn.
        let matrix = vec![vec![1.0, f64::NAN], vec![f64::NAN, 1.0]];
        let copula = Copula::new(ShrunkCorrelation {
            matrix,
            shrinkage: 1.0,
        });
        assert_eq!(copula, Copula::independent(2));
        assert_eq!(copula.together(&[2.0, -3.0]), 0.0);
        assert_eq!(Copula::independent(0).together(&[]), 0.0);
    }

    #[test]
    fn a_posterior_needs_a_weight() {
        assert_eq!(posterior(&[0.0, 0.0], &[0.0, 0.0]), None);
        assert_eq!(posterior(&[0.0, 0.0], &[1.0, -1.0]), None);
        assert_eq!(posterior(&[0.0, 0.0], &[1.0, f64::INFINITY]), None);
        assert_eq!(posterior(&[0.0], &[1.0, 1.0]), None);
        assert_eq!(posterior(&[f64::NAN, 0.0], &[1.0, 1.0]), None);
        assert_eq!(posterior(&[], &[]), None);
        let ruled_out = posterior(&[900.0, -900.0, -900.0], &[0.0, 1.0, 3.0]).unwrap();
        for (got, want) in ruled_out.iter().zip([0.0, 0.25, 0.75]) {
            assert!((got - want).abs() < 1e-12, "{got}");
        }
    }

    #[test]
    fn nothing_and_little_say_nothing() {
        let prior = [Prior::none(0.5); 2];
        let mut residuals = PairedResiduals::new(2);
        residuals.add(&[], &prior);
        residuals.add(&[(Some(1), vec![Some(1.0), Some(2.0)])], &prior);
        residuals.add(
            &[(None, vec![Some(1.0)]), (None, vec![None, Some(2.0)])],
            &prior,
        );
        let correlation = residuals.correlation();
        assert_eq!(correlation.matrix, [[1.0, 0.0], [0.0, 1.0]]);
        assert_eq!(correlation.shrinkage, 1.0);
        assert!(PairedResiduals::new(0).correlation().matrix.is_empty());
    }
}
