//! Traces: outlines, sections and colours of specimens, as columns of numbers and as written.

use super::column::Circumstance;
use super::fault::{FaultKind, Place};
use super::text::Texts;
use super::trace_cells::{assemble, read_point};
use crate::catalogue::{FeatureName, State};
use crate::form::colour::Spot;
use crate::notation::DecimalMark;

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

/// The points of an outline or a section.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Points<'t> {
    /// Stations in mm, or angles in degrees.
    pub stations: &'t [f64],
    /// Heights or radii in mm, as many.
    pub readings: &'t [f64],
    /// Standard uncertainty of one reading, in mm.
    pub uncertainty: f64,
}

impl TraceReading {
    /// The points, or none of the spots of a finish.
    pub fn points(&self) -> Points<'_> {
        match self {
            TraceReading::Points {
                stations,
                readings,
                uncertainty,
            } => Points {
                stations,
                readings,
                uncertainty: *uncertainty,
            },
            TraceReading::Spots(_) => Points {
                stations: &[],
                readings: &[],
                uncertainty: 0.0,
            },
        }
    }
}

/// A trace as somebody wrote it, as a collection keeps it.
#[derive(Clone, Debug, PartialEq)]
pub struct WrittenTrace {
    /// Where its first row stands; of a stored trace nothing.
    pub place: Place,
    /// Name of its specimen.
    pub specimen: String,
    /// What was traced, and where.
    pub feature: FeatureName,
    /// Which of several traces of the same feature.
    pub repeat: u32,
    /// State of the surface that was traced.
    pub state: State,
    /// Standard uncertainty of one reading in mm, where it was given.
    pub uncertainty: Option<f64>,
    /// How it was traced.
    pub circumstance: Circumstance,
    /// The decimal mark of the points.
    pub mark: DecimalMark,
    /// The points, in the order of the file.
    pub points: WrittenPoints,
}

/// One point of a trace, verbatim, but for blanks around its cells.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct WrittenPoint<'a> {
    /// Station, angle, or a spot's name.
    pub station: &'a str,
    /// Height, radius or colour.
    pub reading: &'a str,
    /// The unit as written; may be empty.
    pub unit: &'a str,
}

/// The points of a trace, verbatim: many short texts in few allocations.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct WrittenPoints {
    /// Three cells a point.
    cells: Texts,
}

impl WrittenPoints {
    /// Appends one point.
    pub fn push(&mut self, point: WrittenPoint<'_>) {
        for cell in [point.station, point.reading, point.unit] {
            self.cells.push(cell);
        }
    }

    /// How many.
    pub fn len(&self) -> usize {
        self.cells.len() / 3
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.cells.is_empty()
    }

    /// All, in order.
    pub fn iter(&self) -> impl Iterator<Item = WrittenPoint<'_>> {
        (0..self.len()).map(|point| WrittenPoint {
            station: self.cells.get(3 * point),
            reading: self.cells.get(3 * point + 1),
            unit: self.cells.get(3 * point + 2),
        })
    }

    /// Leaves out the points that are not to be kept.
    pub(super) fn retain(&mut self, keep: &[bool]) {
        let keep: Vec<bool> = keep.iter().flat_map(|&keep| [keep; 3]).collect();
        self.cells.retain(&keep);
    }
}

impl Trace {
    /// `stem_top`, or `stem_top (2)` for a second trace of it.
    pub fn name(&self) -> String {
        trace_name(&self.feature.to_string(), self.repeat)
    }
}

impl WrittenTrace {
    /// The trace as numbers.
    ///
    /// # Errors
    /// What is wrong with the first cell that cannot be read; none of a trace that was read from
    /// a table.
    pub fn read(&self) -> Result<Trace, FaultKind> {
        let kind = self.feature.feature.kind;
        let (mut points, mut bad) = (Vec::with_capacity(self.points.len()), Vec::new());
        for point in self.points.iter() {
            points.extend(read_point(kind, point, self.mark, &mut bad));
            if let Some((_, fault)) = bad.pop() {
                return Err(fault);
            }
        }
        Ok(Trace {
            specimen: self.specimen.clone(),
            feature: self.feature.clone(),
            repeat: self.repeat,
            state: self.state,
            reading: assemble(kind, points.into_iter(), self.uncertainty),
        })
    }

    /// The unit that all points share, and the points as lines of CSV: `station,reading`, with
    /// the unit as a third cell where they share none.
    pub fn lines(&self) -> (String, String) {
        let first = self.points.iter().next().map_or("", |p| p.unit);
        let shared = self.points.iter().all(|p| p.unit == first);
        let mut writer = csv::WriterBuilder::new()
            .flexible(true)
            .from_writer(Vec::new());
        for point in self.points.iter() {
            let cells = [point.station, point.reading, point.unit];
            // Writing to memory cannot fail.
            let _ = writer.write_record(&cells[..if shared { 2 } else { 3 }]);
        }
        let lines = writer.into_inner().unwrap_or_default();
        let unit = if shared { first } else { "" };
        (
            unit.to_owned(),
            String::from_utf8_lossy(&lines).into_owned(),
        )
    }

    /// The points that [`WrittenTrace::lines`] wrote; `None` for other lines.
    pub fn points_of(unit: &str, lines: &str) -> Option<WrittenPoints> {
        let mut reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .from_reader(lines.as_bytes());
        let mut record = csv::StringRecord::new();
        let mut points = WrittenPoints::default();
        while reader.read_record(&mut record).ok()? {
            let unit = match record.len() {
                2 => unit,
                3 => &record[2],
                _ => return None,
            };
            points.push(WrittenPoint {
                station: &record[0],
                reading: &record[1],
                unit,
            });
        }
        Some(points)
    }

    /// `stem_top`, or `stem_top (2)` for a second trace of it.
    pub fn name(&self) -> String {
        trace_name(&self.feature.to_string(), self.repeat)
    }
}

/// The feature of a trace, with its repeat where that is not the first.
pub(crate) fn trace_name(feature: &str, repeat: u32) -> String {
    match repeat {
        1 => feature.to_owned(),
        repeat => format!("{feature} ({repeat})"),
    }
}
