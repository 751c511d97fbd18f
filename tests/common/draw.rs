//! Random numbers for tests, from a generator fixed by name.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng as _, SeedableRng as _};

pub(crate) struct Draw(Xoshiro256PlusPlus);

impl Draw {
    pub(crate) fn seeded(seed: u64) -> Draw {
        Draw(Xoshiro256PlusPlus::seed_from_u64(seed))
    }

    /// From 0 to under 1.
    pub(crate) fn uniform(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// By Box and Muller.
    pub(crate) fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.uniform()).cos()
    }

    /// One time in so many.
    pub(crate) fn once_in(&mut self, times: f64) -> bool {
        self.uniform() * times < 1.0
    }
}
