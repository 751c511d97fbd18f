//! How sure to be: checked once, so that nothing later can fail because of it.

use std::collections::BTreeMap;

use crate::stats::{Coverage, StatsError};

/// Coverage, confidence and error rate, each strictly between 0 and 1, and which deviations matter.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    tolerance: Coverage,
    alpha: f64,
    matters: BTreeMap<String, f64>,
    true_size: bool,
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
        Ok(Settings {
            tolerance,
            alpha,
            matters: BTreeMap::new(),
            true_size: false,
        })
    }

    /// The same with the deviations that matter, by the dimension's key, in its unit: silence about
    /// such a dimension means something once a deviation of that size would be noticed.
    #[must_use]
    pub fn with_matters(self, matters: BTreeMap<String, f64>) -> Settings {
        Settings { matters, ..self }
    }

    /// The same with norms that are about the pieces themselves instead of their readings.
    #[must_use]
    pub fn with_true_size(self, true_size: bool) -> Settings {
        Settings { true_size, ..self }
    }

    /// Whether spreads, typical ranges and tolerance bands of norms are those of the pieces
    /// themselves, reading errors taken out. Verdicts are always about readings.
    pub fn true_size(&self) -> bool {
        self.true_size
    }

    /// The deviation of a dimension that matters, where the user says so.
    pub fn matters(&self, key: &str) -> Option<f64> {
        self.matters.get(key).copied()
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
