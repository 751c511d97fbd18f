//! Pure numerics on slices: what norms, verdicts and periods are computed with.
//!
//! Plain `f64` throughout, in the unit of the readings.  Nothing here knows of pipes, files or
//! people; nothing here reads a clock; `shift` alone draws random numbers, by a
//! generator fixed by name and seed.
//!
//! # Map
//! - [`StatsError`]: what can be wrong with the numbers handed in.
//! - `comparison`: groups compared: centres, spreads, ranks, with and without a borrowed spread.
//! - `attribution`: which of several groups of references one piece is most like.
//! - `conformity`: whether a value known with an error lies within its limits, and what to aim at.
//! - `interpolation`: values between nodes.
//! - `least_cost`: the unknowns of least cost that keep linear limits.
//! - `lending`: the same for many patterns at once, each without itself.
//! - `location`: mean, standard deviation, median, median absolute deviation, quantiles.
//! - `borrowed`: the spread that other sets lend, and what the loan is worth.
//! - `measurer_effects`: how far measurers differ, pieces taken out.
//! - `misfit`: how unusual several scores are together.
//! - `multiple`: adjusted p-values for many comparisons.
//! - `one_way`: repeatability and reproducibility of readings of one thing.
//! - `outline_band`: one band for a whole outline.
//! - `period_share`: how much of the spread lies between periods.
//! - `predictive`: what the next piece will measure, given some references.
//! - `range`: what the range of a sample holds, whatever its distribution.
//! - `repeated_median`: a straight line that nearly half of the points cannot move.
//! - `screening`: references unlike their fellows.
//! - `shift`: change points along dates that are ranges.
//! - `size_shape`: what several sizes of one piece say together.
//! - `tail_weight`: how often readings stray, as a t law.
//! - `tails`: tail probabilities and quantiles of normal, t, chi-square, F and noncentral t.
//! - `tolerance`: factors of normal tolerance bands, exact for small samples.
//! - `two_level`: readings in periods: centre, period effect, piece effect, reading error.
//! - `variance_ratio`: two variances by restricted likelihood, one root.

mod attribution;
mod borrowed;
mod comparison;
mod conformity;
mod deletion;
mod error;
mod interpolation;
mod least_cost;
mod lending;
mod location;
mod measurer_effects;
mod misfit;
mod multiple;
mod one_way;
mod outline_band;
mod period_share;
mod predictive;
mod range;
mod repeated_median;
mod screening;
mod shift;
mod size_shape;
mod tail_weight;
mod tails;
mod tolerance;
mod two_level;
mod variance_ratio;

pub use attribution::{
    Copula, GroupLikelihood, PairedResiduals, posterior, shares_by_dimension, t_ln_density,
};
pub use borrowed::{
    Borrowed, BorrowedSpread, SetVariance, borrowed_from_readings, borrowed_spread,
};
pub use comparison::{
    Agreement, AndersonDarling, Departure, Effect, FTest, KruskalWallis, Law, MannWhitney, Pooled,
    Shift, SpreadRatio, Ties, VarianceRatio, WelchT, agreement, anderson_darling,
    anderson_darling_p, brown_forsythe_means, brown_forsythe_spread, combined_p, departure,
    digamma, hodges_lehmann, kruskal_wallis, log_spread_ratio, mann_whitney, pooled, spread_ratio,
    trigamma, variance_ratio, welch_anova, welch_t,
};
pub use conformity::{conformity, guarded};
pub use error::StatsError;
pub use interpolation::interpolation_weights;
pub use least_cost::{LinearLimit, least_cost};
pub use lending::{Lending, LendingDimension, Loan};
pub use location::{
    Description, Moments, describe, mean, median, median_absolute_deviation, moments,
    quantile_type7,
};
pub use measurer_effects::{
    Crossed, CrossedVariances, MeasurerBias, MeasurerEffects, Pieces, connected_measurers,
    crossed_variances, measurer_effects, reading_interval,
};
pub use misfit::{Misfit, Residuals, ShrunkCorrelation, misfit, shrunk_correlation};
pub(crate) use multiple::benjamini_hochberg_cut;
pub use multiple::{benjamini_hochberg, benjamini_hochberg_among, holm};
pub use one_way::{
    Consistency, Likelihood, OneWay, OneWayFit, ReferenceBias, consistency, one_way, one_way_fit,
    reference_bias, reproducibility_interval, sd_interval,
};
pub use outline_band::{band_p, band_threshold, roughness};
pub use period_share::{PeriodShare, ShareEvidence, ShareSet, period_share};
pub use predictive::{Predictive, Prior, Standpoint, noticing, references_needed};
pub use range::{Sides, expected_range_content, range_confidence, wilks_sample_size};
pub use repeated_median::{MedianLine, repeated_median_line};
pub use screening::{Screened, SetAsideReference, screen};
pub(crate) use screening::{ScreenedSet, all_but, loose};
pub use shift::{Dated, ShiftContrast, ShiftQuestion, Shifts, YearShift, shift_contrasts, shifts};
pub use size_shape::{SizeShape, size_and_shape};
pub use tail_weight::{TailWeight, tail_weight};
pub use tails::{
    chi_square_cdf, chi_square_quantile, chi_square_sf, chi_square_upper_quantile, f_cdf,
    f_quantile, f_sf, f_upper_quantile, noncentral_t_cdf, noncentral_t_quantile, noncentral_t_sf,
    normal_cdf, normal_quantile, normal_sf, normal_upper_quantile, t_cdf, t_quantile, t_sf,
    t_two_sided, t_upper_quantile,
};
pub use tolerance::{
    Coverage, howe_factor, normal_tolerance_factor, one_sided_factor, two_sided_factor,
};
pub use two_level::{LeftOut, PeriodSums, Rated, TwoLevel, two_level};
