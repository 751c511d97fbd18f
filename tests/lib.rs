//! All checks from outside the rooms, in one binary: it links once and shares its helpers.
//!
//! Sorted by where the truth comes from: `published` (a printed page), `reference` (another
//! program), `properties` (algebra), `simulation` (probability), `cli` (the promise to scripts),
//! `frame` (data frames), `regression` (faults once seen).

#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

mod common;

mod regression;

mod published {
    mod drills;
    mod multiple;
    mod nist_univariate;
    mod tolerance;
    mod wilks;
}

mod reference {
    mod as_written;
    mod attribution;
    mod borrowing_cases;
    mod colour;
    mod comparison;
    mod cone;
    mod conformity;
    mod edges;
    mod filter;
    mod finish;
    mod form;
    mod lending;
    mod methods_cases;
    mod moderated;
    mod multiple;
    mod noncentral;
    mod outline_band;
    mod plan;
    mod prediction_t;
    mod real_tables;
    mod reproducibility;
    mod shift;
    mod statrs;
    mod stock;
    mod tails;
    mod tolerance;
    mod two_lines;
}

mod simulation;

mod properties {
    mod borrowing;
    #[cfg(feature = "store")]
    mod collection;
    mod colour;
    mod firmness;
    mod fits;
    mod form;
    mod leaving_out;
    #[cfg(feature = "store")]
    mod record;
    mod refit;
    mod shift;
    mod stats;
    mod table;
    #[cfg(feature = "store")]
    mod traces;
    mod verdict;
}

mod frame {
    #[cfg(all(feature = "cli", not(feature = "frame")))]
    mod missing;
    #[cfg(all(feature = "cli", feature = "frame"))]
    mod package;
    #[cfg(feature = "frame")]
    mod results;
    #[cfg(feature = "frame")]
    mod table;
}

#[cfg(feature = "cli")]
mod cli;
