//! calibriar
#![allow(missing_docs)]
pub mod catalogue;
pub mod cohort;
#[cfg(feature = "store")]
pub mod collection;
pub mod norm;
pub mod notation;
pub mod stats;
pub mod table;
pub mod verdict;
