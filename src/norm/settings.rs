//! How sure to be: checked once, so that nothing later can fail because of it.

use crate::stats::{Coverage, StatsError};

/// Coverage, confidence and error rate, each strictly between 0 and 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    tolerance: Coverage,
    alpha: f64,
}

/// A setting that is no probability.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error("{what} must lie between 0 and 1, ends excluded (0.95 is 95 %); got {value}")]
pub struct SettingsError {
    /// `coverage`, `confidence` or `alpha`.
    pub what: &'static str,
    /// As given.
    pub value: f64,
}

impl Settings {
    /// Checks the three.
    ///
    /// # Errors
    /// [`SettingsError`] for a number that is not strictly between 0 and 1.
    pub fn new(coverage: f64, confidence: f64, alpha: f64) -> Result<Settings, SettingsError> {
        for (what, value) in [
            ("coverage", coverage),
            ("confidence", confidence),
            ("alpha", alpha),
        ] {
            if !(value > 0.0 && value < 1.0) {
                return Err(SettingsError { what, value });
            }
        }
        let tolerance =
            Coverage::new(coverage, confidence).map_err(|_: StatsError| SettingsError {
                what: "coverage",
                value: coverage,
            })?;
        Ok(Settings { tolerance, alpha })
    }

    /// The share of good pieces that a band is meant to hold.
    pub fn coverage(&self) -> f64 {
        self.tolerance.content()
    }

    /// Confidence of the tolerance band and of the centre's interval.
    pub fn confidence(&self) -> f64 {
        self.tolerance.confidence()
    }

    /// Probability with which a wholly good piece gets any `out_of_norm`.
    pub fn alpha(&self) -> f64 {
        self.alpha
    }

    /// Coverage and confidence together.
    pub fn tolerance(&self) -> Coverage {
        self.tolerance
    }
}
