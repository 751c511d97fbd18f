//! By how much is one sample larger than another, whatever the law of their values?

use super::groups_of;
use super::ranks::arrangements;
use crate::stats::error::inner_probability;
use crate::stats::{StatsError, normal_upper_quantile};

/// Hodges and Lehmann's shift: the median of all differences.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shift {
    /// First less second.
    pub shift: f64,
    /// The interval; `None` where no two differences are far enough apart for the confidence.
    pub interval: Option<(f64, f64)>,
}

/// Exact interval up to so many pairs.
const MOST_PAIRS: usize = 400;

/// The median of the differences of all pairs of two samples, and the distribution-free interval of
/// the shift between them.
///
/// # Method
/// The differences are never all formed: the one of a given rank is found by halving, and each
/// halving counts, in two sorted samples, how many differences are no larger; `O(na + nb)` steps
/// each, at most 64 times. The interval runs from the k-th smallest to the k-th largest difference;
/// k by Mann and Whitney's law, counted up to 400 pairs, else normal.
/// # Errors
/// [`StatsError::TooFew`] for an empty sample; [`StatsError::NotFinite`];
/// [`StatsError::NotAProbability`] for a confidence outside 0 to 1; [`StatsError::Overflow`] where
/// a difference leaves the range of an `f64`.
/// # Accuracy
/// The median is exact up to one rounding; against R 4.2.2 and SciPy 1.17.1.
/// # Source
/// J. L. Hodges and E. L. Lehmann, Ann. Math. Stat. 34 (1963) 598-611 (details from memory).
/// # Example
/// ```
/// use calibriar::stats::hodges_lehmann;
///
/// let shift = hodges_lehmann(&[5.0, 6.0, 7.5], &[4.0, 4.5], 0.5)?;
/// assert_eq!(shift.shift, 1.75);
/// # Ok::<(), calibriar::stats::StatsError>(())
/// ```
pub fn hodges_lehmann(a: &[f64], b: &[f64], confidence: f64) -> Result<Shift, StatsError> {
    groups_of(1, &[a, b])?;
    inner_probability(confidence)?;
    let sorted = |values: &[f64]| {
        let mut values = values.to_vec();
        values.sort_unstable_by(f64::total_cmp);
        values
    };
    let pairs = Pairs {
        a: sorted(a),
        b: sorted(b),
    };
    let (least, most) = pairs.ends();
    if !(least.is_finite() && most.is_finite()) {
        return Err(StatsError::Overflow);
    }
    let n = a.len() * b.len();
    let lower = pairs.ranked(n.div_ceil(2));
    let upper = if n % 2 == 1 {
        lower
    } else {
        pairs.ranked(n / 2 + 1)
    };
    let k = rank_of_end(a.len(), b.len(), (1.0 - confidence) / 2.0);
    Ok(Shift {
        shift: lower / 2.0 + upper / 2.0,
        interval: (k > 0).then(|| (pairs.ranked(k), pairs.ranked(n + 1 - k))),
    })
}

/// The largest k with P(U < k) at most `tail`.
fn rank_of_end(na: usize, nb: usize, tail: f64) -> usize {
    let n = na * nb;
    if n <= MOST_PAIRS {
        let counts = arrangements(na, nb);
        let total = counts.iter().sum::<u64>() as f64;
        let mut below = 0;
        let enough = |count: &&u64| {
            below += **count;
            below as f64 / total <= tail
        };
        return counts.iter().take_while(enough).count();
    }
    let (pairs, all) = (n as f64, (na + nb) as f64);
    let sd = (pairs * (all + 1.0) / 12.0).sqrt();
    // Half a step of continuity.
    let k = pairs / 2.0 - normal_upper_quantile(tail) * sd + 0.5;
    k.floor().clamp(0.0, pairs / 2.0) as usize
}

/// The differences of all pairs, not formed.
struct Pairs {
    a: Vec<f64>,
    b: Vec<f64>,
}

impl Pairs {
    /// The least and the greatest difference.
    fn ends(&self) -> (f64, f64) {
        let (a, b) = (&self.a, &self.b);
        (a[0] - b[b.len() - 1], a[a.len() - 1] - b[0])
    }

    /// How many differences are no larger, the largest of these and the least of the others (infinite where
    /// there is none). Rounding keeps their order, so the count is exact.
    fn up_to(&self, limit: f64) -> (usize, f64, f64) {
        let (mut from, mut count) = (self.b.len(), 0);
        let (mut below, mut above) = (f64::NEG_INFINITY, f64::INFINITY);
        for &a in &self.a {
            // The larger a is, the larger b must be.
            while from > 0 && a - self.b[from - 1] <= limit {
                from -= 1;
            }
            // All from there on fit `a`, but with the next, larger a fewer may.
            while from < self.b.len() && a - self.b[from] > limit {
                from += 1;
            }
            count += self.b.len() - from;
            if let Some(b) = self.b.get(from) {
                below = below.max(a - b);
            }
            if from > 0 {
                above = above.min(a - self.b[from - 1]);
            }
        }
        (count, below, above)
    }

    /// The difference of that rank, from 1.
    fn ranked(&self, rank: usize) -> f64 {
        let (least, most) = self.ends();
        /// Halving the way between two numbers is quicker than halving how many lie between them, but
        /// where one is far off it may never end.
        const BY_VALUE: usize = 24;
        let (mut low, mut high) = (ordered(least), ordered(most));
        // The smallest number that has so many differences up to it is one of them.
        for step in 0.. {
            if low >= high {
                break;
            }
            let middle = match step < BY_VALUE {
                true => ordered(f64::midpoint(from_ordered(low), from_ordered(high))),
                false => low + (high - low) / 2,
            };
            let middle = middle.clamp(low, high - 1);
            let (count, below, above) = self.up_to(from_ordered(middle));
            if count >= rank {
                high = middle.min(ordered(below));
            } else {
                low = (middle + 1).max(ordered(above));
            }
        }
        // -0.0 is 0.0.
        from_ordered(low) + 0.0
    }
}

/// Whole numbers in the order of the finite numbers that they stand for.
fn ordered(x: f64) -> u64 {
    const SIGN: u64 = 1 << 63;
    let bits = x.to_bits();
    if bits & SIGN == 0 { bits | SIGN } else { !bits }
}

/// The way back.
fn from_ordered(number: u64) -> f64 {
    const SIGN: u64 = 1 << 63;
    f64::from_bits(if number & SIGN == 0 {
        !number
    } else {
        number & !SIGN
    })
}
