//! Traces: outlines, sections and colours of specimens, as columns of numbers.

use crate::catalogue::{FeatureName, State};

/// One trace of one feature of one specimen.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace {
    /// Name of its specimen.
    pub specimen: String,
    /// What was traced, and where.
    pub feature: FeatureName,
    /// Which of several traces of the same feature; 1 where that is not said.
    pub repeat: u32,
    /// State of the surface that was traced.
    pub state: State,
    /// What was read.
    pub reading: TraceReading,
}

/// What a trace holds.
#[derive(Clone, Debug, PartialEq)]
pub enum TraceReading {
    /// An outline (stations and heights in mm) or a section (angles in degrees, radii in mm), in
    /// the order of the file.
    Points {
        /// Stations or angles.
        stations: Vec<f64>,
        /// Heights or radii, as many.
        readings: Vec<f64>,
        /// Standard uncertainty of one reading, in mm: as given, else that of the step in which
        /// the readings are written.
        uncertainty: f64,
    },
    /// Spots of a finish.
    Spots(Vec<Spot>),
}

/// The colour of one spot.
#[derive(Clone, Debug, PartialEq)]
pub struct Spot {
    /// Its name or number.
    pub name: String,
    /// For a spot on a neutral reference card in the same light: the card's own lightness L*.
    pub card: Option<f64>,
    /// Its colour.
    pub colour: SpotColour,
}

/// How a colour was given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SpotColour {
    /// L*, a*, b* under a named light.
    Lab {
        /// L*, a*, b*.
        lab: [f64; 3],
        /// The light that they are for.
        white: White,
    },
    /// Red, green and blue of a photograph in sRGB, 0 to 255.
    Srgb([f64; 3]),
}

/// The white of the light that a colour was measured under (2 degree observer).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum White {
    /// Daylight, 6504 K: the light of the finish dimensions.
    #[default]
    D65,
    /// Horizon light, 5003 K: the light of most spectrophotometers.
    D50,
    /// Mid-morning daylight, 5503 K.
    D55,
    /// A filament lamp, 2856 K.
    A,
}
