//! The restricted likelihood of two variance components, profiled in their ratio.
//!
//! With `g` = variance between over variance within, `-2 log L` is, but for a constant,
//! `n ln Q(g) + D(g)` at its best variance within, `Q(g) / n`: a function of one number.

use super::chi_square_upper_quantile;

/// `Q` and `D` at some `g`, and their slopes.
#[derive(Clone, Copy, Debug)]
pub(super) struct At {
    /// Weighted squares of what is left.
    pub(super) q: f64,
    /// dQ/dg.
    pub(super) q_slope: f64,
    /// Logarithm of the determinants.
    pub(super) d: f64,
    /// dD/dg.
    pub(super) d_slope: f64,
}

/// A likelihood in the ratio of two variances.
pub(super) trait Ratio {
    /// How many contrasts (restricted likelihood) or readings (full likelihood) it is of.
    fn contrasts(&self) -> f64;
    /// Its parts at a ratio of 0 or more.
    fn at(&self, ratio: f64) -> At;
    /// The ratios between which something happens: the least and the greatest scale on which it
    /// is seen.
    fn scales(&self) -> (f64, f64);

    /// `-2 log L` at the best variance within.
    fn deviance(&self, ratio: f64) -> f64 {
        let at = self.at(ratio);
        self.contrasts() * at.q.ln() + at.d
    }

    /// Its slope.
    fn slope(&self, ratio: f64) -> f64 {
        let at = self.at(ratio);
        self.contrasts() * at.q_slope / at.q + at.d_slope
    }
}

/// Where the likelihood is greatest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Best {
    /// At this ratio; 0 at the border.
    At(f64),
    /// It grows without end: nothing is left within.
    Endless,
}

/// Nodes of a grid of ratios, evenly in the logarithm, with 0 before them.
fn grid(scales: (f64, f64)) -> Vec<f64> {
    /// Below and above these multiples of the scales nothing changes any more.
    const BEYOND: (f64, f64) = (1e-8, 1e8);
    const NODES: usize = 160;
    let (low, high) = ((scales.0 * BEYOND.0).ln(), (scales.1 * BEYOND.1).ln());
    let node = |i: usize| (low + (high - low) * i as f64 / (NODES - 1) as f64).exp();
    std::iter::once(0.0).chain((0..NODES).map(node)).collect()
}

/// The ratio of greatest likelihood: the best node of a grid, then the root of the slope beside
/// it. So a second, lower maximum is no trap, and the border 0 needs no special care.
pub(super) fn best(of: &impl Ratio) -> Best {
    let nodes = grid(of.scales());
    let deviances: Vec<f64> = nodes.iter().map(|&g| of.deviance(g)).collect();
    let least = (0..nodes.len()).min_by(|&a, &b| deviances[a].total_cmp(&deviances[b]));
    let least = least.unwrap_or(0);
    if least + 1 == nodes.len() {
        return Best::Endless;
    }
    let (mut low, mut high) = (nodes[least.saturating_sub(1)], nodes[least + 1]);
    if least == 0 && of.slope(0.0) >= 0.0 {
        return Best::At(0.0);
    }
    // Halved in the ratio near 0, else in its logarithm.
    for _ in 0..200 {
        let middle = if low > 0.0 {
            (low * high).sqrt()
        } else {
            high / 2.0
        };
        if !(low < middle && middle < high) {
            break;
        }
        match of.slope(middle) < 0.0 {
            true => low = middle,
            false => high = middle,
        }
    }
    Best::At(high)
}

/// Interval of the sum of both variances by the profile of the likelihood: all sums whose
/// `-2 log L`, at their best ratio, is within the chi-square quantile (1 degree of freedom) of the
/// least. `None` where the likelihood has no greatest value.
///
/// # Source
/// Venzon and Moolgavkar 1988, Applied Statistics 37, 87-94 (from memory).
pub(super) fn total_interval(of: &impl Ratio, confidence: f64) -> Option<(f64, f64)> {
    let Best::At(ratio) = best(of) else {
        return None;
    };
    let n = of.contrasts();
    let total = of.at(ratio).q / n * (1.0 + ratio);
    let mut nodes = grid(of.scales());
    nodes.push(ratio);
    nodes.sort_by(f64::total_cmp);
    // With the sum t the variance within is t / (1 + g).
    let at = |log_total: f64, g: f64, at: At| {
        n * (log_total - g.ln_1p()) + at.q * (1.0 + g) / log_total.exp() + at.d
    };
    let known: Vec<At> = nodes.iter().map(|&g| of.at(g)).collect();
    let profile = |log_total: f64| {
        let value = |i: usize| at(log_total, nodes[i], known[i]);
        let least = (0..nodes.len()).min_by(|&a, &b| value(a).total_cmp(&value(b)));
        let least = least.unwrap_or(0);
        let low = nodes[least.saturating_sub(1)];
        let high = nodes[(least + 1).min(nodes.len() - 1)];
        let deviance = |g: f64| at(log_total, g, of.at(g));
        deviance(golden(low, high, deviance)).min(value(least))
    };
    let limit = profile(total.ln()) + chi_square_upper_quantile(1.0 - confidence, 1.0);
    let end = |direction: f64| {
        let (mut inside, mut step) = (total.ln(), 0.1);
        // No interval of a spread is wider than a factor of e^100.
        while step < 100.0 && profile(total.ln() + direction * step) < limit {
            inside = total.ln() + direction * step;
            step *= 2.0;
        }
        let mut outside = total.ln() + direction * step;
        for _ in 0..40 {
            let middle = f64::midpoint(inside, outside);
            match profile(middle) < limit {
                true => inside = middle,
                false => outside = middle,
            }
        }
        outside.exp()
    };
    let (low, high) = (end(-1.0), end(1.0));
    (low > 0.0 && high.is_finite()).then_some((low, high))
}

/// Where a function with one valley between two points is least, to about the root of the
/// precision of its values.
pub(super) fn golden(mut low: f64, mut high: f64, f: impl Fn(f64) -> f64) -> f64 {
    let part = (5f64.sqrt() - 1.0) / 2.0;
    let (mut a, mut b) = (high - part * (high - low), low + part * (high - low));
    let (mut at_a, mut at_b) = (f(a), f(b));
    for _ in 0..60 {
        if at_a <= at_b {
            (high, b, at_b) = (b, a, at_a);
            a = high - part * (high - low);
            at_a = f(a);
        } else {
            (low, a, at_a) = (a, b, at_b);
            b = low + part * (high - low);
            at_b = f(b);
        }
    }
    f64::midpoint(low, high)
}
