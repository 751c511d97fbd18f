//! The best small step of a centre: a linear programme, solved by exchange of contacts.
//!
//! Near a centre a radius grows like `d + u step`, u being the unit vector from the point to the
//! centre. With that the minimum zone, and the maximum inscribed circle as well, is a linear
//! programme in the step and the radii. Its dual weighs the contacts, and is solved by the simplex
//! method: four contacts at a time, the worst violator exchanged for one of them.

use nalgebra::{Matrix4, Vector4};

/// What is sought.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sought {
    /// The least difference of outer and inner radius.
    Zone,
    /// The greatest inner radius.
    Inscribed,
}

/// What may hold a step back.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Hold {
    /// A point that the outer circle touches.
    Outer(usize),
    /// A point that the inner circle touches.
    Inner(usize),
    /// The limit of the step along one axis.
    Limit([f64; 2]),
    /// Nothing outside, where only the inner circle is sought.
    Free,
}

/// The best step, what it promises and what holds it.
pub(super) struct Step {
    pub(super) by: [f64; 2],
    /// Width of the zone, or the inner radius with its sign turned, in the linear model.
    pub(super) promised: f64,
    pub(super) holds: [(Hold, f64); 4],
}

/// Radii about a centre, how they grow, and how far a step may go.
pub(super) struct Model<'a> {
    pub(super) radii: &'a [f64],
    pub(super) growth: &'a [[f64; 2]],
    pub(super) sought: Sought,
    pub(super) limit: f64,
}

/// Violations below this are rounding; radii are about 1.
const TOLERANCE: f64 = 4e-15;
/// A dual simplex takes some tens of exchanges; this bounds the time of a pathological case.
const MOST_EXCHANGES: usize = 2_000;
/// So many exchanges without progress, and the choice is made so that it cannot go in circles.
const PATIENCE: usize = 60;

impl Model<'_> {
    /// `None` where rounding keeps the exchange from ending.
    pub(super) fn best_step(&self) -> Option<Step> {
        let mut basis = self.start();
        let mut stalled = 0;
        for _ in 0..MOST_EXCHANGES {
            let columns = basis.map(|hold| self.column(hold));
            let matrix = Matrix4::from_columns(&columns.map(|(column, _)| column));
            let costs = Vector4::from(columns.map(|(_, cost)| cost));
            let solver = matrix.lu();
            let weights = solver.solve(&Vector4::new(0.0, 0.0, 1.0, 1.0))?;
            let prices = matrix.transpose().lu().solve(&costs)?;
            let Some(entering) = self.violator(&prices, stalled > PATIENCE) else {
                let weight = |i: usize| (basis[i], weights[i].max(0.0));
                return Some(Step {
                    by: [-prices[0], -prices[1]],
                    promised: prices[2] + prices[3],
                    holds: [weight(0), weight(1), weight(2), weight(3)],
                });
            };
            let (column, _) = self.column(entering);
            let uses = solver.solve(&column)?;
            let (leaving, length) = leaving(&weights, &uses)?;
            stalled = if length > 1e-14 { 0 } else { stalled + 1 };
            basis[leaving] = entering;
        }
        None
    }

    /// Outermost and innermost point, and the limits that balance them.
    fn start(&self) -> [Hold; 4] {
        let by_radius = |a: &usize, b: &usize| self.radii[*a].total_cmp(&self.radii[*b]);
        let all = 0..self.radii.len();
        let outermost = all.clone().max_by(by_radius).unwrap_or(0);
        let innermost = all.min_by(by_radius).unwrap_or(0);
        let outer = match self.sought {
            Sought::Zone => Hold::Outer(outermost),
            Sought::Inscribed => Hold::Free,
        };
        let inner = Hold::Inner(innermost);
        let pull = self.column(outer).0 + self.column(inner).0;
        let against = |v: f64| if v > 0.0 { -1.0 } else { 1.0 };
        let x = Hold::Limit([against(pull[0]), 0.0]);
        let y = Hold::Limit([0.0, against(pull[1])]);
        [outer, inner, x, y]
    }

    fn column(&self, hold: Hold) -> (Vector4<f64>, f64) {
        match hold {
            Hold::Outer(i) => {
                let [x, y] = self.growth[i];
                (Vector4::new(x, y, 1.0, 0.0), self.radii[i])
            }
            Hold::Inner(i) => {
                let [x, y] = self.growth[i];
                (Vector4::new(-x, -y, 0.0, 1.0), -self.radii[i])
            }
            Hold::Limit([x, y]) => (Vector4::new(x, y, 0.0, 0.0), -self.limit),
            Hold::Free => (Vector4::new(0.0, 0.0, 1.0, 0.0), 0.0),
        }
    }

    /// What violates the prices most, or the first that violates them at all.
    fn violator(&self, prices: &Vector4<f64>, first: bool) -> Option<Hold> {
        let (mut worst, mut found) = (TOLERANCE, None);
        let (x, y) = (prices[0], prices[1]);
        for (i, (&radius, growth)) in self.radii.iter().zip(self.growth).enumerate() {
            let after = radius - x * growth[0] - y * growth[1];
            if self.sought == Sought::Zone && after - prices[2] > worst {
                (worst, found) = (after - prices[2], Some(Hold::Outer(i)));
            }
            if -after - prices[3] > worst {
                (worst, found) = (-after - prices[3], Some(Hold::Inner(i)));
            }
            if first && found.is_some() {
                return found;
            }
        }
        for axis in [[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]] {
            let beyond = -self.limit - (axis[0] * x + axis[1] * y);
            if beyond > worst {
                (worst, found) = (beyond, Some(Hold::Limit(axis)));
            }
        }
        found
    }
}

/// Which of four contacts runs out first, and after what length.
fn leaving(weights: &Vector4<f64>, uses: &Vector4<f64>) -> Option<(usize, f64)> {
    let ratio = |i: usize| (i, weights[i].max(0.0) / uses[i]);
    (0..4)
        .filter(|&i| uses[i] > 1e-12)
        .map(ratio)
        .min_by(|a, b| a.1.total_cmp(&b.1))
}
