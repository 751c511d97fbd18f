//! The form of outlines and sections, and the colour of a finish.
//!
//! | file | holds |
//! |---|---|
//! | `straightness` | straight lines through an outline: least squares, minimum zone |
//! | `roundness` | circles through a section: least squares, minimum zone, inscribed, circumscribed |
//! | `lobes` | undulations of a section: how many sides it has |
//! | `cone` | the cone that several walls lie on |
//! | `two_lines` | where a line breaks into two |
//! | `departures` | where a trace leaves the line that it should keep |
//! | `filter` | mean line and envelope: form without grain |
//! | `stock` | what comes off between an outline and the line that takes least |
//! | `colour` | CIELAB, colour differences, colours from photographs |
//!
//! Geometry here is in any one unit of length (think mm) and knows nothing of pipes.

mod checked;
mod error;
mod scaled;

pub mod colour;
pub mod cone;
pub mod departures;
pub mod filter;
pub mod lobes;
pub mod roundness;
pub mod stock;
pub mod straightness;
pub mod two_lines;

pub use error::FormError;

/// A point of an outline (station, height) or of a section in the plane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Station, or the first coordinate.
    pub x: f64,
    /// Height, or the second coordinate.
    pub y: f64,
}
