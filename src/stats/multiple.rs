//! Adjusted p-values: many comparisons, one error rate.
//!
//! A pipe is judged on many dimensions at once; some of them look odd by chance.  An adjusted
//! p-value is compared with the wanted error rate directly.

/// Holm's step-down adjusted p-values, in the order of the input.  They hold the chance of any
/// false alarm among all comparisons, whatever their dependence.
///
/// # Method
/// With `p_(1) <= ... <= p_(m)`, the i-th is `max over j <= i of min(1, (m - j + 1) p_(j))`.
/// # Input
/// `p`: p-values of one family, in any order; may be empty.  Numbers outside 0 to 1 are moved to
/// the nearer end, NaN counts as 1: it can raise no alarm, and it still counts as a comparison.
/// # Output
/// As many numbers as `p` has, none below its `p`.
/// # Source
/// Holm (1979), Scandinavian Journal of Statistics 6, 65-70.
/// # Example
/// ```
/// use calibriar::stats::holm;
///
/// assert_eq!(holm(&[0.25, 0.0625, 0.5]), [0.5, 0.1875, 0.5]);
/// ```
#[must_use]
pub fn holm(p: &[f64]) -> Vec<f64> {
    let m = p.len();
    // Every place is written.
    let mut adjusted = p.to_vec();
    let mut running = 0.0_f64;
    for (rank, (p, index)) in ranked(p).into_iter().enumerate() {
        running = running.max((p * (m - rank) as f64).min(1.0));
        adjusted[index] = running;
    }
    adjusted
}

/// Benjamini and Hochberg's step-up adjusted p-values, in the order of the input.  They hold the
/// expected share of false alarms among the alarms, for independent (or positively dependent)
/// comparisons.  Use [`holm`] where a single false alarm is already too much.
///
/// # Method
/// With `p_(1) <= ... <= p_(m)`, the i-th is `min over j >= i of min(1, m p_(j) / j)`.
/// # Input
/// As for [`holm`].
/// # Output
/// As many numbers as `p` has, none below its `p`, none above that of [`holm`].
/// # Source
/// Benjamini and Hochberg (1995), Journal of the Royal Statistical Society B 57, 289-300.
/// # Example
/// ```
/// use calibriar::stats::benjamini_hochberg;
///
/// assert_eq!(benjamini_hochberg(&[0.25, 0.0625, 0.5]), [0.375, 0.1875, 0.5]);
/// ```
#[must_use]
pub fn benjamini_hochberg(p: &[f64]) -> Vec<f64> {
    benjamini_hochberg_among(p, p.len())
}

/// [`benjamini_hochberg`] for the smallest p-values of `comparisons` in all: the others count as 1.
#[must_use]
pub fn benjamini_hochberg_among(p: &[f64], comparisons: usize) -> Vec<f64> {
    let m = comparisons.max(p.len());
    let mut adjusted = vec![0.0; p.len()];
    let mut running = 1.0_f64;
    for (rank, (p, index)) in ranked(p).into_iter().enumerate().rev() {
        running = running.min(p * m as f64 / (rank + 1) as f64);
        adjusted[index] = running;
    }
    adjusted
}

/// The largest of some p-values whose adjusted one ([`benjamini_hochberg_among`]) is `level` at most, and so is
/// that of all smaller ones; `None` where there is none. Nothing is sorted.
pub(crate) fn benjamini_hochberg_cut(p: &[f64], comparisons: usize, level: f64) -> Option<f64> {
    let m = comparisons.max(p.len()) as f64;
    let fits = |p: f64, rank: usize| p * m / rank as f64 <= level;
    // The least rank at which one is small enough.
    let least_rank = |p: f64| {
        let about = (p * m / level).ceil().max(1.0) as usize;
        let ranks = about.saturating_sub(1).max(1)..=about.saturating_add(1);
        ranks.into_iter().find(|&rank| fits(p, rank))
    };
    let mut of_rank = vec![0usize; p.len() + 1];
    for rank in p.iter().filter_map(|&p| least_rank(usable(p))) {
        if let Some(of_rank) = of_rank.get_mut(rank) {
            *of_rank += 1;
        }
    }
    let mut so_far = 0;
    let enough = of_rank.iter().enumerate().map(|(rank, &of)| {
        so_far += of;
        (rank, so_far)
    });
    let (rank, _) = enough
        .filter(|&(rank, so_far)| rank > 0 && so_far >= rank)
        .last()?;
    let p = p.iter().map(|&p| usable(p)).filter(|&p| fits(p, rank));
    p.reduce(f64::max)
}

/// A number outside 0 to 1 moved to the nearer end; NaN counts as 1.
fn usable(p: f64) -> f64 {
    if p.is_nan() { 1.0 } else { p.clamp(0.0, 1.0) }
}

/// The p-values made usable, from the smallest to the largest, each with its place.
fn ranked(p: &[f64]) -> Vec<(f64, usize)> {
    let mut ranked: Vec<(f64, usize)> = p.iter().map(|&p| usable(p)).zip(0..).collect();
    // Of equal ones one decides for all: their order does not matter.
    ranked.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    ranked
}

#[cfg(test)]
mod tests {
    use super::{benjamini_hochberg, benjamini_hochberg_among, benjamini_hochberg_cut, holm};

    /// Against the adjusted values themselves: numbers that are random, equal, 0, 1 or no numbers.
    #[test]
    fn the_cut_is_where_adjusted_values_pass_the_level() {
        let mut state = 7u64;
        let mut random = || {
            state = state
                .wrapping_mul(6364136223846793005)
                .wrapping_add(1442695040888963407);
            (state >> 11) as f64 / (1u64 << 53) as f64
        };
        for case in 0..600 {
            let n = case % 40;
            let p: Vec<f64> = (0..n)
                .map(|_| match (random() * 8.0) as u32 {
                    0 => 0.0,
                    1 => (random() * 4.0).floor() / 100.0,
                    2 => f64::NAN,
                    3 => 1.0,
                    _ => random().powi(4),
                })
                .collect();
            for (among, level) in [(n, 0.05), (3 * n, 0.05), (n, 0.5), (n, 1.0)] {
                let adjusted = benjamini_hochberg_among(&p, among);
                let cut = benjamini_hochberg_cut(&p, among, level);
                for (&p, adjusted) in p.iter().zip(adjusted) {
                    let is_under = cut.is_some_and(|cut| super::usable(p) <= cut);
                    assert_eq!(is_under, adjusted <= level, "{p} of {n}, {cut:?}");
                }
            }
        }
    }

    #[test]
    fn an_empty_family_stays_empty() {
        assert!(holm(&[]).is_empty());
        assert!(benjamini_hochberg(&[]).is_empty());
    }

    #[test]
    fn one_comparison_needs_no_adjustment() {
        assert_eq!(holm(&[0.03]), [0.03]);
        assert_eq!(benjamini_hochberg(&[0.03]), [0.03]);
    }

    #[test]
    fn ties_share_the_adjusted_value() {
        assert_eq!(holm(&[0.25, 0.25]), [0.5, 0.5]);
        assert_eq!(benjamini_hochberg(&[0.25, 0.25]), [0.25, 0.25]);
    }

    #[test]
    fn what_is_no_probability_raises_no_alarm_of_its_own() {
        assert_eq!(holm(&[f64::NAN, 0.125]), [1.0, 0.25]);
        assert_eq!(benjamini_hochberg(&[7.0, -0.5]), [1.0, 0.0]);
    }
}
