//! Draws of the studies that are examples as well as tests: their figures stand in `docs/`.

use calibriar::stats::normal_quantile;
use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

/// Draws from a generator fixed by name, so that a seed means the same for ever.
pub(crate) struct Draw(Xoshiro256PlusPlus);

impl Draw {
    pub(crate) fn seeded(seed: u64) -> Draw {
        Draw(Xoshiro256PlusPlus::seed_from_u64(seed))
    }

    /// Strictly between 0 and 1: the middle of one of 2^53 cells.
    pub(crate) fn uniform(&mut self) -> f64 {
        ((self.0.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    /// A whole number under `n`.
    pub(crate) fn below(&mut self, n: usize) -> usize {
        ((self.uniform() * n as f64) as usize).min(n - 1)
    }

    /// By the normal quantile.
    pub(crate) fn normal(&mut self) -> f64 {
        normal_quantile(self.uniform())
    }

    /// Chi-square with a whole number of degrees of freedom.
    pub(crate) fn chi_square(&mut self, df: u32) -> f64 {
        (0..df).map(|_| self.normal().powi(2)).sum()
    }

    /// Student's t with 5 degrees of freedom, scaled to variance 1.
    pub(crate) fn t5(&mut self) -> f64 {
        self.normal() / (self.chi_square(5) / 5.0).sqrt() * (3.0_f64 / 5.0).sqrt()
    }
}
