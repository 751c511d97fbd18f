//! Works on a piece, and how it stood.

use serde::Serialize;

use crate::collection::{Standing, WorkDone};
use crate::table::Picture;

/// The columns of [`StandingRow`].
pub const STANDING_COLUMNS: [&str; 10] = [
    "dimension",
    "unit",
    "text",
    "value",
    "uncertainty",
    "state",
    "since",
    "works",
    "measured_on",
    "revision",
];

/// How a place stood.
#[derive(Clone, Debug, Serialize)]
pub struct StandingRow<'a> {
    dimension: &'a str,
    unit: &'a str,
    /// The reading, verbatim.
    text: &'a str,
    value: f64,
    uncertainty: f64,
    state: &'static str,
    /// The day of the work that left it so; empty where none was recorded until then.
    since: &'a str,
    works: usize,
    measured_on: &'a str,
    revision: i64,
}

impl<'a> StandingRow<'a> {
    /// The row of a place.
    pub fn new(of: &'a Standing) -> StandingRow<'a> {
        StandingRow {
            dimension: &of.dimension,
            unit: &of.unit,
            text: &of.text,
            value: of.value,
            uncertainty: of.uncertainty,
            state: of.state.name(),
            since: &of.since,
            works: of.works,
            measured_on: &of.measured_on,
            revision: of.revision,
        }
    }
}

/// A work as it is recorded.
#[derive(Clone, Debug, Serialize)]
pub struct WorkRow<'a> {
    dimension: &'a str,
    unit: &'a str,
    /// The reading before, verbatim.
    as_found: &'a str,
    found_value: f64,
    found_state: &'static str,
    /// The reading after, verbatim.
    as_left: &'a str,
    left_value: f64,
    left_state: &'static str,
    done_on: &'a str,
    done_by: &'a str,
    tool: &'a str,
    why: &'a str,
    pictures: &'a [Picture],
    revision: i64,
    recorded_on: &'a str,
    recorded_by: &'a str,
}

impl<'a> WorkRow<'a> {
    /// The row of a work.
    pub fn new(of: &'a WorkDone) -> WorkRow<'a> {
        WorkRow {
            dimension: &of.dimension,
            unit: &of.unit,
            as_found: &of.found.text,
            found_value: of.found.value,
            found_state: of.found.state.name(),
            as_left: &of.left.text,
            left_value: of.left.value,
            left_state: of.left.state.name(),
            done_on: &of.done_on,
            done_by: &of.done_by,
            tool: &of.tool,
            why: &of.why,
            pictures: &of.pictures,
            revision: of.revision,
            recorded_on: &of.recorded_on,
            recorded_by: &of.recorded_by,
        }
    }
}
