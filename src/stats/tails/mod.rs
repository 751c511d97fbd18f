//! Tail probabilities and quantiles of the normal, t, chi-square, F and noncentral t families.
//!
//! Verdicts live in the tails, so every tail is computed as itself, never as one less the other,
//! and keeps its relative precision down to 1e-300.
//!
//! For each family: `_cdf` is the lower tail P(X <= x), `_sf` the upper tail P(X > x), `_quantile`
//! the point with a given lower tail, `_upper_quantile` the point with a given upper tail.  Use the
//! upper ones for small upper tails: 1 - 1e-20 is 1.
//!
//! # Precondition
//! Degrees of freedom are positive, probabilities from 0 to 1.  These leaf functions return NaN for
//! anything else, and for NaN; the functions of this library that call them check first.
//!
//! # How it is done
//! The incomplete beta and gamma functions take their front factor from the saddle-point form of
//! Loader, the rest from a power series or a continued fraction, whichever converges quickly; a
//! quantile is found by Halley's iteration on the logarithm of the smaller tail.
//! The files: `normal`, `student`, `chi_square`, `fisher`, `noncentral` are the families; `saddle`
//! is the front factor, `beta` and `gamma` the two incomplete functions, `invert` the iteration.

mod beta;
mod chi_square;
mod fisher;
mod gamma;
mod invert;
mod noncentral;
mod normal;
mod saddle;
mod student;

pub use chi_square::{
    chi_square_cdf, chi_square_quantile, chi_square_sf, chi_square_upper_quantile,
};
pub use fisher::{f_cdf, f_quantile, f_sf, f_upper_quantile};
pub use noncentral::{noncentral_t_cdf, noncentral_t_quantile, noncentral_t_sf};
pub use normal::{normal_cdf, normal_quantile, normal_sf, normal_upper_quantile};
pub use student::{t_cdf, t_quantile, t_sf, t_two_sided, t_upper_quantile};

pub(super) use beta::Beta;
pub(super) use chi_square::ChiSquare;
pub(super) use normal::normal_density;

/// Degrees of freedom from here on are no different from infinitely many in 64-bit arithmetic.
const ENDLESS: f64 = 1e22;

/// True for degrees of freedom that name a distribution.
fn usable(df: f64) -> bool {
    df > 0.0
}

/// True for numbers from 0 to 1.
fn is_probability(p: f64) -> bool {
    (0.0..=1.0).contains(&p)
}
