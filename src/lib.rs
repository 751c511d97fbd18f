//! Norms and verdicts for briar pipes, from many people's measurements, by pattern and production
//! period.
#![allow(missing_docs)]

pub mod catalogue;
pub mod cohort;
#[cfg(feature = "store")]
pub mod collection;
pub mod norm;
pub mod notation;
#[cfg(feature = "store")]
pub mod source;
pub mod stats;
pub mod table;
pub mod verdict;
