//! Why a form cannot be told.

/// Why a form cannot be told from its points.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum FormError {
    /// Fewer different points than the form needs.
    #[error("{found} different points; {form} needs at least {needed}")]
    TooFewPoints {
        /// The form that was asked for.
        form: &'static str,
        /// How many it needs.
        needed: usize,
        /// How many there are.
        found: usize,
    },
    /// A coordinate that is no finite number, or too large to reckon with.
    #[error("a coordinate is not finite or beyond 1e100")]
    NotFinite,
    /// Angles and radii that do not pair.
    #[error("{angles} angles and {radii} radii do not pair")]
    Unpaired {
        /// How many angles.
        angles: usize,
        /// How many radii.
        radii: usize,
    },
    /// All points at one station.
    #[error("all points lie at one station; a line along the axis cannot be told")]
    OneStation,
    /// The points do not tell the form: an arc too short for a radius, walls too alike for a cone.
    #[error("the points do not tell {form}: {reason} (condition of the fit {condition:.1e})")]
    IllConditioned {
        /// The form that was asked for.
        form: &'static str,
        /// Why, for a person.
        reason: &'static str,
        /// Condition number of the fit.
        condition: f64,
    },
    /// A number that should be positive (and not beyond 1e100) is not.
    #[error("{what} must be a positive number, got {value}")]
    NotPositive {
        /// What the number stands for.
        what: &'static str,
        /// The number given.
        value: f64,
    },
    /// A confidence that does not lie strictly between 0 and 1.
    #[error("a confidence lies between 0 and 1, got {value}")]
    NotAConfidence {
        /// The number given.
        value: f64,
    },
}
