//! The exact two-sided factor.
//!
//! The band misses its content when the spread S comes out too small for the error Z of the centre:
//! k S < r(Z).  The chance of that is an integral over Z of the lower tail of S, or over S of the
//! upper tail of |Z|.  Where one of the two is by far the surer, its tail is nearly a step, and only
//! the integral over itself is smooth.

use super::Coverage;
use crate::stats::tails::{
    ChiSquare, normal_density, normal_quantile, normal_sf, normal_upper_quantile,
};

/// The factor, from a start of the right size; `df` and `n_effective` are positive.
pub(super) fn factor(coverage: Coverage, df: f64, n_effective: f64, start: f64) -> f64 {
    if n_effective == f64::INFINITY {
        return start; // Howe's factor is exact for a known centre.
    }
    let content = Content::new(coverage.content());
    let miss = 1.0 - coverage.confidence();
    // A known spread: the content must be held with the centre at the limit of its error.
    let limit = normal_upper_quantile(0.5 * miss);
    let known = content.half_width(limit / n_effective.sqrt());
    if df == f64::INFINITY {
        return known;
    }
    // Beyond this many standard deviations lie less than 1e-18 of the chance to miss.
    let end = (2.0 * (41.0 - miss.ln())).sqrt();
    let owed_to_centre = (known - content.least) / known;
    let sd_of_ln_spread = 1.0 / (2.0 * df).sqrt();
    if owed_to_centre > end * sd_of_ln_spread {
        return refine(sd_of_ln_spread, known, |step, k| {
            let nodes = spread_nodes(df, miss, step);
            root(k, miss, |k| over_spread(&nodes, k, &content, n_effective))
        });
    }
    // The width of the tail's step in standard errors of the centre.
    let width = 0.5 * limit * sd_of_ln_spread / owed_to_centre.max(f64::EPSILON);
    let step = width.clamp(0.01, 0.5).min(0.5 * n_effective.sqrt());
    let chi_square = ChiSquare::new(df);
    refine(step, start, |step, k| {
        let nodes = centre_nodes(&content, n_effective, end, step);
        root(k, miss, |k| over_centre(&nodes, k, df, &chi_square))
    })
}

/// Halves the step of the trapezoidal rule until the factor stands still.
fn refine(step: f64, start: f64, at_step: impl Fn(f64, f64) -> f64) -> f64 {
    let mut step = step;
    let mut k = at_step(step, start);
    for _ in 0..8 {
        step *= 0.5;
        let finer = at_step(step, k);
        // Each halving about squares the error of the rule.
        let settled = (finer - k).abs() <= 1e-9 * finer;
        k = finer;
        if settled {
            break;
        }
    }
    k
}

/// The k at which the chance to miss is `miss`.  `chance` gives it at some k, and how fast it falls
/// with ln k: Newton's iteration in logarithms, where the chance is nearly a straight line, kept
/// between what is known to be too small and too large.
fn root(start: f64, miss: f64, chance: impl Fn(f64) -> (f64, f64)) -> f64 {
    let (mut k, mut low, mut high) = (start, 0.0, f64::INFINITY);
    for _ in 0..100 {
        let (chance, fall) = chance(k);
        let newton = k * ((chance / miss).ln() * chance / fall).exp();
        if (newton - k).abs() <= 1e-9 * k {
            return newton;
        }
        // Where the chance is flat the iteration may leap: at most to the double or the half.
        if chance > miss {
            low = k;
            k = newton.min(2.0 * k);
        } else {
            high = k;
            k = newton.max(0.5 * k);
        }
        if !(low < k && k < high) {
            k = 0.5 * (low + high);
        }
    }
    k
}

/// A place of the trapezoidal rule and its weight.
struct Node {
    place: f64,
    weight: f64,
}

/// Squared half-widths over the centre's error; its sign does not matter, so the positive half
/// stands for both.
fn centre_nodes(content: &Content, n_effective: f64, end: f64, step: f64) -> Vec<Node> {
    let scale = 1.0 / n_effective.sqrt();
    let node = |i: i32| {
        let w = f64::from(i) * step;
        let both = if i == 0 { 1.0 } else { 2.0 };
        let place = content.half_width(w * scale).powi(2);
        Node {
            place,
            weight: both * step * normal_density(w),
        }
    };
    (0..=(end / step) as i32).map(node).collect()
}

/// The chance to miss, and its fall with ln k, from the lower tail of the spread at each error of the
/// centre.
fn over_centre(nodes: &[Node], k: f64, df: f64, chi_square: &ChiSquare) -> (f64, f64) {
    nodes.iter().fold((0.0, 0.0), |(chance, fall), node| {
        let at = chi_square.at(df * node.place / (k * k));
        // The argument goes with k^-2, hence the 2.
        (
            chance + node.weight * at.lower,
            fall + 2.0 * node.weight * at.density,
        )
    })
}

/// Spreads in units of the true one, evenly in their logarithm.
fn spread_nodes(df: f64, miss: f64, step: f64) -> Vec<Node> {
    let chi_square = ChiSquare::new(df);
    let node = |i: f64| {
        let u = i * step;
        Node {
            place: u.exp(),
            weight: 2.0 * step * chi_square.density_at_log(2.0 * u),
        }
    };
    let negligible = 1e-18 * miss;
    let walk = |first: i32, way: f64| {
        (first..)
            .map(move |i| node(way * f64::from(i)))
            .take_while(move |n| n.weight > negligible)
    };
    walk(0, 1.0).chain(walk(1, -1.0)).collect()
}

/// The chance to miss, and its fall with ln k, from the upper tail of the centre's error at each
/// spread.
fn over_spread(nodes: &[Node], k: f64, content: &Content, n_effective: f64) -> (f64, f64) {
    let root = n_effective.sqrt();
    nodes.iter().fold((0.0, 0.0), |(chance, fall), node| {
        let r = k * node.place;
        if r <= content.least {
            return (chance + node.weight, fall);
        }
        let z = content.room(r);
        let w = root * z;
        // dz/dr = 1 / tanh(z r)
        let slope = 2.0 * normal_density(w) * root * r / (z * r).tanh();
        (
            chance + node.weight * 2.0 * normal_sf(w),
            fall + node.weight * slope,
        )
    })
}

/// A share of a normal population, and the bands that hold it.
struct Content {
    share: f64,
    /// Half the width of the band about the true centre.
    least: f64,
    /// The point below which the share lies.
    one_sided: f64,
}

impl Content {
    fn new(share: f64) -> Self {
        let least = normal_upper_quantile(0.5 * (1.0 - share));
        Self {
            share,
            least,
            one_sided: normal_quantile(share),
        }
    }

    /// The r with Phi(z + r) - Phi(z - r) = share, for z >= 0, by Newton's iteration.
    fn half_width(&self, z: f64) -> f64 {
        // Both are bounds from below: near the centre the first is close, far from it the second.
        let mut r = self.least.max(z + self.one_sided);
        for _ in 0..50 {
            let density = normal_density(z + r) + normal_density(z - r);
            let step = if self.share > 0.5 {
                // What lies outside of z - r to z + r, each tail as itself.
                let outside = normal_sf(z + r) + normal_sf(r - z);
                (outside / (1.0 - self.share)).ln() * outside / density
            } else {
                let inside = normal_sf(z - r) - normal_sf(z + r);
                (self.share / inside).ln() * inside / density
            };
            r += step;
            if step.abs() <= 1e-9 * r {
                break;
            }
        }
        r
    }

    /// The z > 0 with Phi(z + r) - Phi(z - r) = share, for r above the least: how far the centre may
    /// be off.
    fn room(&self, r: f64) -> f64 {
        // A bound from above, and the functions bend so that Newton's iteration stays above.
        let mut z = r - self.one_sided;
        for _ in 0..50 {
            let density = normal_density(r - z) - normal_density(r + z);
            let step = if self.share > 0.5 {
                (normal_sf(r - z) + normal_sf(r + z) - (1.0 - self.share)) / density
            } else {
                let inside = normal_sf(z - r) - normal_sf(z + r);
                (self.share / inside).ln() * inside / density
            };
            z -= step;
            if step.abs() <= 1e-9 * z {
                break;
            }
        }
        z
    }
}

#[cfg(test)]
mod tests {
    use super::{
        Content, Coverage, centre_nodes, factor, normal_density, over_centre, refine, root,
    };
    use crate::stats::normal_cdf;
    use crate::stats::tails::ChiSquare;

    #[test]
    fn the_half_width_holds_its_content() {
        for share in [0.01, 0.4, 0.51, 0.95, 0.999_999] {
            let content = Content::new(share);
            let mut last = content.least;
            for z in [0.1, 1.0, 3.0, 8.0, 30.0] {
                let r = content.half_width(z);
                let held = normal_cdf(z + r) - normal_cdf(z - r);
                assert!((held - share).abs() < 1e-13 * share, "{share} {z}: {held}");
                assert!(r > last, "{share} {z}");
                last = r;
            }
        }
    }

    #[test]
    fn a_small_content_needs_its_share_of_the_density() {
        // 2 r phi(z) = share, but for a term in r^2.
        let (share, z) = (1e-9, 1.0);
        let want = share / (2.0 * normal_density(z));
        let got = Content::new(share).half_width(z);
        assert!((got / want - 1.0).abs() < 1e-7, "{got} for {want}");
    }

    #[test]
    fn the_room_undoes_the_half_width() {
        for share in [0.1, 0.5, 0.95, 0.9999] {
            let content = Content::new(share);
            for z in [0.3, 1.0, 4.0] {
                let back = content.room(content.half_width(z));
                assert!((back / z - 1.0).abs() < 1e-10, "{share} {z}: {back}");
            }
        }
    }

    #[test]
    fn both_orders_of_integration_agree() {
        let coverage = Coverage::new(0.95, 0.9).expect("probabilities");
        // Far on the side of the integral over the spread, which `factor` takes here.
        let (df, n) = (3000.0, 4.0);
        let over_spread = factor(coverage, df, n, 3.0);
        let (content, chi_square) = (Content::new(0.95), ChiSquare::new(df));
        let over_centre = refine(0.02, 3.0, |step, k| {
            let nodes = centre_nodes(&content, n, 9.4, step);
            root(k, 1.0 - 0.9, |k| over_centre(&nodes, k, df, &chi_square))
        });
        assert!(
            (over_spread / over_centre - 1.0).abs() < 1e-12,
            "{over_spread} {over_centre}"
        );
    }
}
