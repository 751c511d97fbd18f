//! Several pieces, each read by some of several measurers: how far each measurer is off, and how
//! much of the scatter lies between measurers.

use nalgebra::{DMatrix, DVector};

use super::error::{all_finite, inner_probability};
use super::variance_ratio::{At, Best, Ratio, best, golden, total_interval};
use super::{StatsError, f_sf, t_two_sided, t_upper_quantile};

/// One reading: of which piece, by whom. Both are counted from 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crossed {
    /// Which piece.
    pub piece: usize,
    /// Which measurer.
    pub measurer: usize,
    /// What was read.
    pub value: f64,
}

/// Measurers for whom a matrix of their pairs is still a small thing.
const MOST_MEASURERS: usize = 400;

/// How far one measurer is off.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeasurerBias {
    /// Readings by that measurer of pieces that were read more than once.
    pub n: usize,
    /// Effect; those of all measurers add up to 0.
    pub bias: f64,
    /// Its standard error.
    pub se: f64,
    /// Two-sided p of no effect, by Student's t; `None` where nothing scatters.
    pub p: Option<f64>,
}

/// Pieces and measurers as fixed effects.
#[derive(Clone, Debug, PartialEq)]
pub struct MeasurerEffects {
    /// By number of the measurer.
    pub biases: Vec<MeasurerBias>,
    /// Variance of what is left after pieces and measurers.
    pub residual: f64,
    /// Its degrees of freedom.
    pub df: usize,
    /// F of the measurers after the pieces, and its p; `None` for one measurer or where nothing
    /// scatters.
    pub f_test: Option<(f64, f64)>,
}

impl MeasurerEffects {
    /// Confidence interval of a bias by Student's t.
    ///
    /// # Errors
    /// [`StatsError::NotAProbability`] for the confidence.
    pub fn interval(&self, of: &MeasurerBias, confidence: f64) -> Result<(f64, f64), StatsError> {
        let tail = (1.0 - inner_probability(confidence)?) / 2.0;
        let half = t_upper_quantile(tail, self.df as f64) * of.se;
        Ok((of.bias - half, of.bias + half))
    }
}

/// Which measurers can be compared at all: the part of each one, counted from 0 in the order of the
/// first measurer; two are of one part where a chain of pieces that both ends were read by joins
/// them. A measurer none of whose pieces was read again is alone.
pub fn connected_measurers(readings: &[Crossed]) -> Vec<usize> {
    let measurers = readings.iter().map(|r| r.measurer + 1).max().unwrap_or(0);
    let pieces = readings.iter().map(|r| r.piece + 1).max().unwrap_or(0);
    let mut parent: Vec<usize> = (0..measurers).collect();
    fn root(parent: &mut [usize], mut at: usize) -> usize {
        while parent[at] != at {
            parent[at] = parent[parent[at]];
            at = parent[at];
        }
        at
    }
    let mut first: Vec<Option<usize>> = vec![None; pieces];
    for reading in readings {
        match first[reading.piece] {
            None => first[reading.piece] = Some(reading.measurer),
            Some(other) => {
                let (a, b) = (
                    root(&mut parent, other),
                    root(&mut parent, reading.measurer),
                );
                parent[a.max(b)] = a.min(b);
            }
        }
    }
    // The root of a part is its first measurer, so its number is known before the others ask.
    let mut numbers = vec![0; measurers];
    let mut parts = 0;
    for measurer in 0..measurers {
        let root = root(&mut parent, measurer);
        if root == measurer {
            numbers[measurer] = parts;
            parts += 1;
        } else {
            numbers[measurer] = numbers[root];
        }
    }
    numbers
}

/// What pieces and measurers have to do with each other, sums already taken.
struct Design {
    /// How many readings each piece has, and their mean.
    sizes: Vec<f64>,
    means: Vec<f64>,
    /// Readings of each measurer of pieces that were read more than once.
    by_measurer: Vec<usize>,
    /// How often each measurer read each piece: (piece, measurer, times).
    cells: Vec<(usize, usize, f64)>,
    /// Sum of each measurer's deviations from the means of the pieces.
    sums: DVector<f64>,
    /// Squares about the means of the pieces.
    squares: f64,
}

impl Design {
    fn new(readings: &[Crossed]) -> Result<Design, StatsError> {
        let values: Vec<f64> = readings.iter().map(|r| r.value).collect();
        all_finite(&values)?;
        let pieces = readings.iter().map(|r| r.piece + 1).max().unwrap_or(0);
        let measurers = readings.iter().map(|r| r.measurer + 1).max().unwrap_or(0);
        if measurers > MOST_MEASURERS {
            return Err(StatsError::TooMany {
                most: MOST_MEASURERS,
                got: measurers,
            });
        }
        let (mut sizes, mut rough) = (vec![0.0; pieces], vec![0.0; pieces]);
        for r in readings {
            sizes[r.piece] += 1.0;
            rough[r.piece] += (r.value - rough[r.piece]) / sizes[r.piece];
        }
        let mut means = rough.clone();
        for r in readings {
            means[r.piece] += (r.value - rough[r.piece]) / sizes[r.piece];
        }
        let mut by_measurer = vec![0; measurers];
        let mut sums = DVector::zeros(measurers);
        let mut squares = 0.0;
        let mut places: Vec<(usize, usize)> = Vec::with_capacity(readings.len());
        for r in readings {
            by_measurer[r.measurer] += usize::from(sizes[r.piece] > 1.0);
            sums[r.measurer] += r.value - means[r.piece];
            squares += (r.value - means[r.piece]).powi(2);
            places.push((r.piece, r.measurer));
        }
        places.sort_unstable();
        let cells = places.chunk_by(|a, b| a == b);
        let cells = cells.map(|c| (c[0].0, c[0].1, c.len() as f64)).collect();
        if !squares.is_finite() {
            return Err(StatsError::Overflow);
        }
        Ok(Design {
            sizes,
            means,
            by_measurer,
            cells,
            sums,
            squares,
        })
    }

    /// Readings less pieces: the contrasts within pieces.
    fn contrasts(&self) -> f64 {
        let read = self.sizes.iter().filter(|&&n| n > 0.0);
        read.map(|n| n - 1.0).sum()
    }

    /// `Z' M Z` of the measurers, `M` taking out of each piece all of its mean but the share
    /// `keep / (n + keep)`: none where `keep` is 0 (fixed pieces).
    fn normal(&self, keep: f64) -> DMatrix<f64> {
        let mut a = DMatrix::zeros(self.sums.len(), self.sums.len());
        for of_piece in self.cells.chunk_by(|a, b| a.0 == b.0) {
            let whole = self.sizes[of_piece[0].0] + keep;
            for &(_, j, n) in of_piece {
                a[(j, j)] += n;
                for &(_, k, m) in of_piece {
                    a[(j, k)] -= n * m / whole;
                }
            }
        }
        a
    }

    /// Squares that are left after the measurers' effects, from the single readings.
    fn left_after(&self, readings: &[Crossed], effects: &DVector<f64>) -> f64 {
        let mut shift = vec![0.0; self.sizes.len()];
        for &(piece, measurer, n) in &self.cells {
            shift[piece] += effects[measurer] * n / self.sizes[piece];
        }
        // What a difference of readings keeps of their rounding is no scatter.
        const ROUNDING: f64 = 32.0 * f64::EPSILON;
        let left = |r: &Crossed| {
            let mean = self.means[r.piece];
            let left = (r.value - mean) - (effects[r.measurer] - shift[r.piece]);
            match left.abs() > ROUNDING * r.value.abs().max(mean.abs()) {
                true => left,
                false => 0.0,
            }
        };
        readings.iter().map(|r| left(r).powi(2)).sum()
    }
}

/// Effects of the measurers, pieces taken out: both fixed, effects adding up to 0, readings of any
/// number in any cell.
///
/// # Errors
/// [`StatsError::TooFew`] without a piece that was read again or without freedom left;
/// [`StatsError::Disconnected`] where some measurers cannot be compared with others
/// ([`connected_measurers`]); [`StatsError::TooMany`] measurers; [`StatsError::NotFinite`] and
/// [`StatsError::Overflow`].
/// # Example
/// ```
/// use calibriar::stats::{Crossed, measurer_effects};
///
/// let read = |piece, measurer, value| Crossed { piece, measurer, value };
/// let of = measurer_effects(&[
///     read(0, 0, 4.00), read(0, 1, 4.10), read(1, 0, 7.01), read(1, 1, 7.09),
/// ])?;
/// assert!((of.biases[1].bias - 0.045).abs() < 1e-12);
/// assert_eq!(of.df, 1);
/// # Ok::<(), calibriar::stats::StatsError>(())
/// ```
pub fn measurer_effects(readings: &[Crossed]) -> Result<MeasurerEffects, StatsError> {
    let design = Design::new(readings)?;
    let parts = connected_measurers(readings);
    let parts = parts.iter().max().map_or(0, |last| last + 1);
    if parts > 1 {
        return Err(StatsError::Disconnected { parts });
    }
    let measurers = design.sums.len();
    let needed = design.sizes.len() + measurers;
    let df = design.contrasts() - (measurers as f64 - 1.0);
    if measurers == 0 || df < 1.0 {
        let got = readings.len();
        return Err(StatsError::TooFew { needed, got });
    }
    // The null direction, all effects alike, is given a root of its own: the inverse then differs
    // from the generalized one by a known constant.
    let count = measurers as f64;
    let mut a = design.normal(0.0);
    let filler = match measurers {
        1 => 1.0,
        _ => a.trace() / (count * count),
    };
    a.add_scalar_mut(filler);
    let Some(factor) = a.cholesky() else {
        return Err(StatsError::ZeroSpread);
    };
    let inverse = factor.inverse();
    let mut effects = &inverse * &design.sums;
    if measurers == 1 {
        effects.fill(0.0);
    }
    let residual = design.left_after(readings, &effects) / df;
    let explained = effects.dot(&design.sums);
    let scatters = residual > 0.0;
    let bias = |(measurer, &n): (usize, &usize)| {
        let share = (inverse[(measurer, measurer)] - 1.0 / (filler * count * count)).max(0.0);
        let (bias, se) = (effects[measurer], (residual * share).sqrt());
        MeasurerBias {
            n,
            bias,
            se,
            p: (scatters && measurers > 1).then(|| t_two_sided(bias / se, df)),
        }
    };
    let f = explained / (count - 1.0) / residual;
    Ok(MeasurerEffects {
        biases: design.by_measurer.iter().enumerate().map(bias).collect(),
        residual,
        df: df as usize,
        f_test: (scatters && measurers > 1).then(|| (f, f_sf(f, count - 1.0, df))),
    })
}

/// What pieces are to the model.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pieces {
    /// Whatever they measure: only differences within pieces speak.
    Fixed,
    /// Drawn from a population with a variance of its own.
    Random,
}

/// Variances of the crossed model.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CrossedVariances {
    /// Between pieces; `None` where these are fixed.
    pub piece: Option<f64>,
    /// Between measurers; 0 at the border, and where there is one measurer.
    pub measurer: f64,
    /// What is left.
    pub residual: f64,
}

impl CrossedVariances {
    /// Variance of a reading of a piece by just any measurer.
    pub fn reading(&self) -> f64 {
        self.measurer + self.residual
    }
}

/// One direction of the measurers' effects.
struct Mode {
    /// How firmly the readings hold it.
    root: f64,
    /// Squares that it explains.
    squares: f64,
}

/// The restricted likelihood in the ratio of the measurers' variance to the residual.
struct Modes {
    contrasts: f64,
    /// Squares that no effect of measurers explains.
    left: f64,
    modes: Vec<Mode>,
}

impl Modes {
    /// The likelihood, and the measurers' effects by least squares.
    fn new(
        a: DMatrix<f64>,
        sums: &DVector<f64>,
        contrasts: f64,
        squares: f64,
    ) -> (Modes, DVector<f64>) {
        let eigen = a.symmetric_eigen();
        let greatest = eigen.eigenvalues.iter().fold(0.0_f64, |m, &x| m.max(x));
        let mut effects = DVector::zeros(sums.len());
        let mut modes = Vec::new();
        for (&root, direction) in eigen
            .eigenvalues
            .iter()
            .zip(eigen.eigenvectors.column_iter())
        {
            // Directions that nothing is known of come out as rounding errors.
            if root > 1e-10 * greatest {
                let along = direction.dot(sums);
                effects += direction * (along / root);
                let squares = along * along / root;
                modes.push(Mode { root, squares });
            }
        }
        let explained: f64 = modes.iter().map(|m| m.squares).sum();
        let modes = Modes {
            contrasts,
            left: (squares - explained).max(0.0),
            modes,
        };
        (modes, effects)
    }

    /// Measurers random, pieces fixed.
    fn fixed(design: &Design, readings: &[Crossed]) -> Modes {
        let (a, contrasts) = (design.normal(0.0), design.contrasts());
        let (modes, effects) = Modes::new(a, &design.sums, contrasts, design.squares);
        // A difference loses digits where measurers explain most; residuals do not.
        Modes {
            left: design.left_after(readings, &effects),
            ..modes
        }
    }

    /// The variance within at a ratio, and that of measurers.
    fn variances(&self) -> (f64, f64) {
        match best(self) {
            Best::At(ratio) => {
                let residual = self.at(ratio).q / self.contrasts;
                (ratio * residual, residual)
            }
            Best::Endless => {
                let free = self.contrasts - self.modes.len() as f64;
                let of = self.modes.iter().map(|m| m.squares / m.root);
                let measurer = of.sum::<f64>() / self.modes.len() as f64;
                (measurer, if free > 0.0 { self.left / free } else { 0.0 })
            }
        }
    }
}

impl Ratio for Modes {
    fn contrasts(&self) -> f64 {
        self.contrasts
    }

    fn at(&self, ratio: f64) -> At {
        let mut at = At {
            q: self.left,
            q_slope: 0.0,
            d: 0.0,
            d_slope: 0.0,
        };
        for mode in &self.modes {
            let grown = 1.0 + ratio * mode.root;
            at.q += mode.squares / grown;
            at.q_slope -= mode.squares * mode.root / (grown * grown);
            at.d += (ratio * mode.root).ln_1p();
            at.d_slope += mode.root / grown;
        }
        at
    }

    fn scales(&self) -> (f64, f64) {
        let ends = |(low, high): (f64, f64), m: &Mode| (m.root.min(low), m.root.max(high));
        let (low, high) = self.modes.iter().fold((f64::INFINITY, 0.0), ends);
        match high > 0.0 {
            true => (1.0 / high, 1.0 / low),
            false => (1.0, 1.0),
        }
    }
}

/// Variances between measurers and of what is left (and between pieces, where these are random) by
/// restricted likelihood. With fixed pieces the ratio is one root; with random ones the pieces' ratio
/// is searched around it. Measurers that cannot be compared do no harm.
///
/// # Errors
/// [`StatsError::TooFew`] without freedom left; [`StatsError::ZeroSpread`] where all readings of each
/// piece are equal; else as [`measurer_effects`].
/// # Source
/// Patterson and Thompson 1971, Biometrika 58, 545-554; Harville 1977, J. Am. Stat. Assoc. 72.
pub fn crossed_variances(
    readings: &[Crossed],
    pieces: Pieces,
) -> Result<CrossedVariances, StatsError> {
    let design = Design::new(readings)?;
    check_freedom(&design, readings)?;
    if pieces == Pieces::Fixed {
        let (measurer, residual) = Modes::fixed(&design, readings).variances();
        return Ok(CrossedVariances {
            piece: None,
            measurer,
            residual,
        });
    }
    if design.sizes.iter().filter(|&&n| n > 0.0).count() < 2 {
        return Err(StatsError::TooFew { needed: 2, got: 1 });
    }
    let of = |log_ratio: f64| RandomPieces::new(&design, log_ratio.exp());
    let deviance = |log_ratio: f64| of(log_ratio).deviance();
    // Nodes first: a second, lower maximum is no trap.
    let nodes: Vec<f64> = (-36..=72).map(|i| f64::from(i) * 0.5).collect();
    let values: Vec<f64> = nodes.iter().map(|&u| deviance(u)).collect();
    let least = (0..nodes.len()).min_by(|&a, &b| values[a].total_cmp(&values[b]));
    let least = least.unwrap_or(0);
    let (low, high) = (least.saturating_sub(1), (least + 1).min(nodes.len() - 1));
    let log_ratio = golden(nodes[low], nodes[high], deviance);
    let at = of(log_ratio);
    let (measurer, residual) = at.modes.variances();
    Ok(CrossedVariances {
        // At the least node it is nothing.
        piece: Some(if least == 0 {
            0.0
        } else {
            log_ratio.exp() * residual
        }),
        measurer,
        residual,
    })
}

/// Confidence interval of the standard deviation of a reading of a piece by just any measurer
/// ([`CrossedVariances::reading`], pieces fixed), by the profile of the restricted likelihood. With
/// one measurer it is that of the residual. `None` where the likelihood has no greatest value.
///
/// # Errors
/// As [`crossed_variances`]; [`StatsError::NotAProbability`].
/// # Source
/// Venzon and Moolgavkar 1988, Applied Statistics 37, 87-94 (from memory).
pub fn reading_interval(
    readings: &[Crossed],
    confidence: f64,
) -> Result<Option<(f64, f64)>, StatsError> {
    let confidence = inner_probability(confidence)?;
    let design = Design::new(readings)?;
    check_freedom(&design, readings)?;
    let modes = Modes::fixed(&design, readings);
    if modes.modes.is_empty() {
        let s2 = modes.left / modes.contrasts;
        return Ok(super::sd_interval(s2, modes.contrasts, confidence));
    }
    let interval = total_interval(&modes, confidence);
    Ok(interval.map(|(low, high)| (low.sqrt(), high.sqrt())))
}

fn check_freedom(design: &Design, readings: &[Crossed]) -> Result<(), StatsError> {
    if design.contrasts() < 1.0 {
        return Err(StatsError::TooFew {
            needed: design.sizes.len() + 1,
            got: readings.len(),
        });
    }
    match design.squares > 0.0 {
        true => Ok(()),
        false => Err(StatsError::ZeroSpread),
    }
}

/// The likelihood at one ratio of the pieces' variance.
struct RandomPieces {
    modes: Modes,
    /// Logarithms of the determinants that do not depend on the measurers' ratio.
    d: f64,
}

impl RandomPieces {
    fn new(design: &Design, ratio: f64) -> RandomPieces {
        let keep = ratio.recip();
        let read = || (0..design.sizes.len()).filter(|&i| design.sizes[i] > 0.0);
        let size = |i: usize| design.sizes[i];
        // Each piece's mean speaks with this weight for the mean of all.
        let weight = |i: usize| size(i) * keep / (size(i) + keep);
        let weights: f64 = read().map(weight).sum();
        let rough = read().next().map_or(0.0, |i| design.means[i]);
        let off = |i: usize| design.means[i] - rough;
        let mean = read().map(|i| weight(i) / weights * off(i)).sum::<f64>();
        let squares: f64 = read().map(|i| weight(i) * (off(i) - mean).powi(2)).sum();
        let mut a = design.normal(keep);
        let mut sums = design.sums.clone();
        // What each measurer has to do with the mean of all.
        let mut with_mean = DVector::<f64>::zeros(sums.len());
        for &(i, j, n) in &design.cells {
            let share = n * keep / (size(i) + keep);
            sums[j] += share * (off(i) - mean);
            with_mean[j] += share;
        }
        a -= &with_mean * with_mean.transpose() / weights;
        let contrasts = design.contrasts() + read().count() as f64 - 1.0;
        let determinants: f64 = read().map(|i| (size(i) * ratio).ln_1p()).sum();
        RandomPieces {
            modes: Modes::new(a, &sums, contrasts, design.squares + squares).0,
            d: determinants + weights.ln(),
        }
    }

    fn deviance(&self) -> f64 {
        let ratio = match best(&self.modes) {
            Best::At(ratio) => ratio,
            Best::Endless => self.modes.scales().1 * 1e8,
        };
        self.modes.deviance(ratio) + self.d
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(piece: usize, measurer: usize, value: f64) -> Crossed {
        Crossed {
            piece,
            measurer,
            value,
        }
    }

    #[test]
    fn who_can_be_compared() {
        let readings = [
            read(0, 0, 1.0),
            read(0, 2, 1.0),
            read(1, 1, 1.0),
            read(1, 3, 1.0),
            read(2, 4, 1.0),
        ];
        assert_eq!(connected_measurers(&readings), [0, 1, 0, 1, 2]);
        assert_eq!(
            measurer_effects(&readings),
            Err(StatsError::Disconnected { parts: 3 })
        );
        assert!(connected_measurers(&[]).is_empty());
    }

    /// Differences that are equal to the digits written differ in the last digits of a double.
    #[test]
    fn rounding_is_no_scatter() {
        let alike = [
            read(0, 0, 4.11),
            read(0, 1, 4.12),
            read(1, 0, 5.32),
            read(1, 1, 5.33),
        ];
        let of = measurer_effects(&alike).unwrap();
        assert_eq!((of.residual, of.biases[0].p), (0.0, None));
        assert!((of.biases[1].bias - 0.005).abs() < 1e-12);
    }

    #[test]
    fn too_little_is_said() {
        assert!(measurer_effects(&[]).is_err());
        assert!(crossed_variances(&[], Pieces::Fixed).is_err());
        let single = [read(0, 0, 1.0), read(1, 0, 2.0)];
        for pieces in [Pieces::Fixed, Pieces::Random] {
            assert!(crossed_variances(&single, pieces).is_err());
        }
        let pair = [read(0, 0, 1.0), read(0, 1, 2.0)];
        assert!(matches!(
            measurer_effects(&pair),
            Err(StatsError::TooFew { .. })
        ));
        let equal = [
            read(0, 0, 1.0),
            read(0, 1, 1.0),
            read(1, 0, 2.0),
            read(1, 1, 2.0),
        ];
        assert_eq!(
            crossed_variances(&equal, Pieces::Fixed),
            Err(StatsError::ZeroSpread)
        );
        let of = measurer_effects(&equal).unwrap();
        assert!(of.residual == 0.0 && of.f_test.is_none() && of.biases[0].p.is_none());
    }

    #[test]
    fn one_measurer_has_no_bias_but_a_residual() {
        let of = [
            read(0, 0, 1.0),
            read(0, 0, 1.2),
            read(1, 0, 5.0),
            read(1, 0, 5.2),
        ];
        let effects = measurer_effects(&of).unwrap();
        assert!((effects.residual - 0.02).abs() < 1e-12);
        assert_eq!((effects.biases[0].bias, effects.f_test), (0.0, None));
        let variances = crossed_variances(&of, Pieces::Fixed).unwrap();
        assert_eq!(variances.measurer, 0.0);
        let (low, high) = reading_interval(&of, 0.95).unwrap().unwrap();
        assert!(low < 0.02f64.sqrt() && 0.02f64.sqrt() < high);
    }

    #[test]
    fn measurers_who_never_scatter_leave_nothing() {
        let of: Vec<Crossed> = (0..4)
            .flat_map(|i| [read(i, 0, i as f64), read(i, 1, i as f64 + 0.5)])
            .collect();
        let variances = crossed_variances(&of, Pieces::Fixed).unwrap();
        assert!((variances.measurer - 0.125).abs() < 1e-9, "{variances:?}");
        assert!(variances.residual < 1e-20);
        assert_eq!(reading_interval(&of, 0.95), Ok(None));
    }

    #[test]
    fn huge_readings_are_refused() {
        let of = [
            read(0, 0, 1e300),
            read(0, 1, -1e300),
            read(1, 0, 1.0),
            read(1, 1, 1.0),
        ];
        assert_eq!(measurer_effects(&of), Err(StatsError::Overflow));
        assert!(crossed_variances(&of, Pieces::Random).is_err());
        let many: Vec<Crossed> = (0..500).map(|j| read(0, j, 1.0)).collect();
        assert!(matches!(
            measurer_effects(&many),
            Err(StatsError::TooMany { .. })
        ));
    }
}
