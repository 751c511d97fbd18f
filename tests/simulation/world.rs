//! An invented collection of patterns, drawn from the model that the method assumes.

use calibriar::stats::{Rated, normal_quantile};
use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

/// Draws from a generator fixed by name, so that a seed means the same for ever.
pub(crate) struct Draw(Xoshiro256PlusPlus);

impl Draw {
    pub(crate) fn seeded(seed: u64) -> Draw {
        Draw(Xoshiro256PlusPlus::seed_from_u64(seed))
    }

    fn uniform(&mut self) -> f64 {
        // Strictly between 0 and 1: the middle of one of 2^53 cells.
        ((self.0.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    fn below(&mut self, n: usize) -> usize {
        ((self.uniform() * n as f64) as usize).min(n - 1)
    }

    pub(crate) fn normal(&mut self) -> f64 {
        normal_quantile(self.uniform())
    }

    /// Chi-square with a whole number of degrees of freedom.
    fn chi_square(&mut self, df: u32) -> f64 {
        (0..df).map(|_| self.normal().powi(2)).sum()
    }
}

/// How a world is drawn.
#[derive(Clone, Copy)]
pub(crate) struct Shape {
    /// Other patterns (G).
    pub(crate) others: usize,
    /// Degrees of freedom of the spread between patterns (d0*).
    pub(crate) d0: u32,
    /// Variance between periods over variance within (lambda*).
    pub(crate) lambda: f64,
    /// Dimensions (D).
    pub(crate) dimensions: usize,
}

/// The readings of one pattern's dimension, and its true sizes.
pub(crate) struct Set {
    pub(crate) readings: Vec<Rated>,
    /// True spread within a period.
    pub(crate) sigma: f64,
}

/// A collection: other patterns by dimension, and the target pattern.
pub(crate) struct World {
    pub(crate) others: Vec<Vec<Set>>,
    pub(crate) target: Vec<Set>,
}

impl Shape {
    /// Draws a world whose target has `n` references, reference i in period i mod min(3, n).
    pub(crate) fn draw(&self, n: usize, draw: &mut Draw) -> World {
        const SIZES: [usize; 9] = [2, 2, 3, 3, 3, 4, 4, 5, 6];
        let others = (0..self.others)
            .map(|_| {
                let (size, periods) = (SIZES[draw.below(SIZES.len())], 1 + draw.below(4));
                let of: Vec<u32> = (0..size).map(|_| draw.below(periods) as u32).collect();
                (0..self.dimensions).map(|_| self.set(&of, draw)).collect()
            })
            .collect();
        let of: Vec<u32> = (0..n).map(|i| (i % n.min(3)) as u32).collect();
        let target = (0..self.dimensions).map(|_| self.set(&of, draw)).collect();
        World { others, target }
    }

    fn set(&self, periods: &[u32], draw: &mut Draw) -> Set {
        let sigma = (f64::from(self.d0) / draw.chi_square(self.d0)).sqrt();
        let between = sigma * self.lambda.sqrt();
        let effects: Vec<f64> = (0..4).map(|_| between * draw.normal()).collect();
        let readings = periods
            .iter()
            .map(|&period| Rated {
                x: effects[period as usize] + sigma * draw.normal(),
                u: 0.0,
                period: Some(period),
            })
            .collect();
        Set { readings, sigma }
    }
}
