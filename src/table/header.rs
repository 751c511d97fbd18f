//! From headings to what each column holds.

use std::collections::HashMap;

use super::fault::{Fault, FaultKind, Place, TableError};
use super::trace_cells::TraceFault;
use super::{Options, short};
use crate::catalogue::{Catalogue, Dimension, fold, nearest};
use crate::notation::{Unit, split_heading};

/// More columns than this is no table of measurements.
const MOST_COLUMNS: usize = 4096;

/// The known columns that are no dimensions.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) enum Known {
    Specimen,
    Maker,
    Pattern,
    Finish,
    Made,
    Period,
    State,
    Source,
    Note,
    Dimension,
    Value,
    Unit,
    Uncertainty,
    Instrument,
    MeasuredBy,
    MeasuredOn,
    Feature,
    Station,
    /// The reading of a trace.
    Reading,
    Repeat,
}

impl Known {
    /// How many there are.
    pub(super) const COUNT: usize = Known::Repeat as usize + 1;
}

/// Those of tables of measurements; the last seven belong to long ones alone.
const KNOWN: [(&str, Known); 16] = [
    ("specimen", Known::Specimen),
    ("maker", Known::Maker),
    ("pattern", Known::Pattern),
    ("finish", Known::Finish),
    ("made", Known::Made),
    ("period", Known::Period),
    ("state", Known::State),
    ("source", Known::Source),
    ("note", Known::Note),
    ("dimension", Known::Dimension),
    ("value", Known::Value),
    ("unit", Known::Unit),
    ("uncertainty", Known::Uncertainty),
    ("instrument", Known::Instrument),
    ("measured_by", Known::MeasuredBy),
    ("measured_on", Known::MeasuredOn),
];
const KNOWN_IN_WIDE: usize = 9;

/// The columns of a table of traces; a header with the first four is one.
const OF_TRACES: [(&str, Known); 13] = [
    ("specimen", Known::Specimen),
    ("feature", Known::Feature),
    ("station", Known::Station),
    ("reading", Known::Reading),
    ("unit", Known::Unit),
    ("uncertainty", Known::Uncertainty),
    ("state", Known::State),
    ("repeat", Known::Repeat),
    ("instrument", Known::Instrument),
    ("measured_by", Known::MeasuredBy),
    ("measured_on", Known::MeasuredOn),
    ("source", Known::Source),
    ("note", Known::Note),
];
const NEEDED_OF_TRACES: usize = 4;

/// Heading of the column that [`super::SetAside`] adds.
pub(super) const REASONS: &str = "reasons";

/// What one column of the file holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Target {
    Known(Known),
    /// Readings: an index into [`Plan::dimensions`].
    Reading(usize),
    /// Left out on request.
    Skipped,
    /// A column without a heading: its cells must be empty.
    Nameless,
}

/// A dimension column of a wide table.
#[derive(Clone, Debug)]
pub(super) struct DimensionColumn {
    /// Index in the catalogue.
    pub(super) dimension: usize,
    /// The unit of bare decimals.
    pub(super) unit: Unit,
    /// Position in the file, from 0.
    pub(super) position: usize,
}

/// How to read the rows below a header.
#[derive(Clone, Debug)]
pub(super) struct Plan {
    pub(super) headings: Vec<String>,
    pub(super) targets: Vec<Target>,
    pub(super) dimensions: Vec<DimensionColumn>,
    pub(super) long: bool,
}

impl Plan {
    /// The position of a known column.
    pub(super) fn position(&self, known: Known) -> Option<usize> {
        self.targets.iter().position(|&t| t == Target::Known(known))
    }

    /// A fault's heading.
    pub(super) fn heading(&self, position: usize) -> &str {
        self.headings.get(position).map_or("", String::as_str)
    }
}

/// Whether a header has a `specimen` column, by itself or by `--column`.
pub(super) fn names_specimens(headings: &[String], options: &Options) -> bool {
    headings
        .iter()
        .any(|h| fold(read_as(h, options)) == "specimen")
}

/// The needed columns that a header of traces lacks, renamed and skipped ones allowed for; `None`
/// where a header is none of traces: those have features and at least one of station and reading.
pub(super) fn lacking_of_traces(
    headings: &[String],
    options: &Options,
) -> Option<Vec<&'static str>> {
    let has = |name: &str| {
        let mut shown = headings.iter().filter(|h| !is_skipped(h, options));
        shown.any(|h| fold(read_as(h, options)) == name)
    };
    let needed = OF_TRACES.iter().take(NEEDED_OF_TRACES);
    let lacking = needed.map(|(name, _)| *name).filter(|name| !has(name));
    (has("feature") && (has("station") || has("reading"))).then(|| lacking.collect())
}

/// Whether `--skip` leaves a column out.
pub(crate) fn is_skipped(heading: &str, options: &Options) -> bool {
    options.skip.iter().any(|s| fold(s) == fold(heading))
}

/// The name that a heading is to be read as: its own, or the one `--column` gives it.
fn read_as<'a>(heading: &'a str, options: &'a Options) -> &'a str {
    options
        .columns
        .iter()
        .find(|(from, _)| fold(from) == fold(heading))
        .map_or(heading, |(_, name)| name)
}

/// Reads a header. New dimensions go into `catalogue`.
pub(super) fn plan(
    file: &str,
    row: (usize, usize),
    headings: Vec<String>,
    options: &Options,
    catalogue: &mut Catalogue,
) -> Result<Plan, TableError> {
    check_count(file, headings.len())?;
    let has = |name: &str| {
        let mut names = headings.iter().map(|h| read_as(h, options));
        names.any(|n| fold(n) == fold(name))
    };
    let long = has("dimension") && has("value");
    let known_here = known_columns(long);
    let mut plan = columns(
        file,
        row,
        headings,
        options,
        &mut |name| match known_column(name, known_here) {
            Some(known) => Ok(Column::Known(known)),
            None => dimension_column(name, options, catalogue, known_here),
        },
    )?;
    plan.long = long;
    Ok(plan)
}

/// Reads the header of a table of traces.
pub(super) fn plan_of_traces(
    file: &str,
    row: (usize, usize),
    headings: Vec<String>,
    options: &Options,
) -> Result<Plan, TableError> {
    columns(file, row, headings, options, &mut |name| {
        let unknown = || TraceFault::UnknownColumn {
            heading: name.to_owned(),
            nearest: owned(nearest(name, OF_TRACES.iter().map(|(k, _)| *k))),
        };
        let known = known_column(name, &OF_TRACES);
        Ok(Column::Known(known.ok_or_else(unknown)?))
    })
}

fn known_column(name: &str, known: &[(&str, Known)]) -> Option<Known> {
    let found = known.iter().find(|(k, _)| fold(k) == fold(name));
    found.map(|&(_, known)| known)
}

fn owned(names: Vec<&str>) -> Vec<String> {
    names.into_iter().map(str::to_owned).collect()
}

/// What each column holds, by the name that it is to be read as.
fn columns(
    file: &str,
    row: (usize, usize),
    headings: Vec<String>,
    options: &Options,
    column_of: &mut dyn FnMut(&str) -> Result<Column, FaultKind>,
) -> Result<Plan, TableError> {
    let names: Vec<&str> = headings.iter().map(|h| read_as(h, options)).collect();
    let mut plan = Plan {
        headings: headings.clone(),
        targets: Vec::new(),
        dimensions: Vec::new(),
        long: false,
    };
    let mut faults = Vec::new();
    let mut holders: HashMap<Holder, usize> = HashMap::new();
    for (position, (heading, name)) in headings.iter().zip(&names).enumerate() {
        // The last column of a file that --set-aside wrote.
        let reasons = position + 1 == headings.len() && fold(heading) == REASONS;
        let column = if is_skipped(heading, options) || reasons {
            Ok(Column::Skipped)
        } else if heading.trim().is_empty() {
            Ok(Column::Nameless)
        } else {
            column_of(name)
        };
        let column = column.and_then(|column| {
            let holder = match column {
                Column::Known(known) => Holder::Known(known),
                Column::Dimension(dimension, _) => Holder::Dimension(dimension),
                Column::Skipped | Column::Nameless => return Ok(column),
            };
            match holders.insert(holder, position) {
                Some(first) => Err(FaultKind::DuplicateColumn {
                    first: first + 1,
                    first_heading: headings[first].clone(),
                }),
                None => Ok(column),
            }
        });
        plan.targets.push(match column {
            Ok(Column::Known(known)) => Target::Known(known),
            Ok(Column::Skipped) => Target::Skipped,
            Ok(Column::Nameless) => Target::Nameless,
            Ok(Column::Dimension(dimension, unit)) => {
                plan.dimensions.push(DimensionColumn {
                    dimension,
                    unit,
                    position,
                });
                Target::Reading(plan.dimensions.len() - 1)
            }
            Err(kind) => {
                let place = Place {
                    file: file.to_owned(),
                    row: row.0,
                    line: row.1,
                    column: position + 1,
                    heading: short(heading),
                };
                faults.push(Fault {
                    place,
                    text: heading.clone(),
                    kind,
                });
                Target::Nameless
            }
        });
    }
    if !faults.is_empty() {
        return Err(TableError::Header {
            file: file.to_owned(),
            faults,
        });
    }
    if plan.position(Known::Specimen).is_none() {
        return Err(TableError::NoSpecimenColumn {
            file: file.to_owned(),
            found: headings,
            header_row: None,
        });
    }
    Ok(plan)
}

enum Column {
    Known(Known),
    Dimension(usize, Unit),
    Skipped,
    Nameless,
}

#[derive(PartialEq, Eq, Hash)]
enum Holder {
    Known(Known),
    Dimension(usize),
}

/// A heading that is no known column: a dimension, a new one where that is allowed, or a fault.
fn dimension_column(
    name: &str,
    options: &Options,
    catalogue: &mut Catalogue,
    known_here: &[(&str, Known)],
) -> Result<Column, FaultKind> {
    if let Some((dimension, unit)) = catalogue.find_heading(name) {
        let quantity = catalogue.at(dimension).quantity;
        let unit = unit.unwrap_or(quantity.base_unit());
        if unit.quantity() != quantity {
            let expected = format!(
                "{} is measured in {}",
                catalogue.at(dimension).label,
                catalogue.at(dimension).unit
            );
            return Err(FaultKind::HeadingUnit { expected });
        }
        return Ok(Column::Dimension(dimension, unit));
    }
    let (bare, unit) = split_heading(name);
    if options.new_dimensions && !bare.is_empty() {
        let unit = unit.unwrap_or(Unit::Millimetre);
        return Ok(Column::Dimension(
            catalogue.add(Dimension::plain(bare, unit)),
            unit,
        ));
    }
    if let Some((column, _)) = KNOWN.iter().find(|(k, _)| fold(k) == fold(bare)) {
        return Err(FaultKind::OfLongTables {
            heading: name.to_owned(),
            column,
        });
    }
    let columns = known_here.iter().map(|(k, _)| *k);
    let nearest = nearest(bare, columns.chain(catalogue.names()));
    Err(FaultKind::UnknownColumn {
        heading: name.to_owned(),
        nearest: nearest.into_iter().map(str::to_owned).collect(),
    })
}

/// Refuses a header that no table of measurements has.
pub(super) fn check_count(file: &str, columns: usize) -> Result<(), TableError> {
    if columns > MOST_COLUMNS {
        return Err(TableError::TooManyColumns {
            file: file.to_owned(),
            got: columns,
            most: MOST_COLUMNS,
        });
    }
    Ok(())
}

fn known_columns(long: bool) -> &'static [(&'static str, Known)] {
    if long {
        &KNOWN
    } else {
        &KNOWN[..KNOWN_IN_WIDE]
    }
}

/// A misspelt `--column` or `--skip` must not pass unseen.
pub(super) fn check_options(
    file: &str,
    headings: &[String],
    options: &Options,
    catalogue: &Catalogue,
) -> Result<(), TableError> {
    check_headings(file, headings, options)?;
    let known = |name: &str| {
        known_column(name, known_columns(true)).is_some() || catalogue.find_heading(name).is_some()
    };
    let unknown = options.columns.iter().find(|(_, name)| !known(name));
    if let Some((_, name)) = unknown.filter(|_| !options.new_dimensions) {
        let columns = known_columns(true).iter().map(|(k, _)| *k);
        return Err(TableError::NoSuchName {
            name: name.clone(),
            nearest: owned(nearest(name, columns.chain(catalogue.names()))),
        });
    }
    Ok(())
}

/// As [`check_options`], for a table of traces.
pub(super) fn check_options_of_traces(
    file: &str,
    headings: &[String],
    options: &Options,
) -> Result<(), TableError> {
    check_headings(file, headings, options)?;
    let unknown = |(_, name): &&(String, String)| known_column(name, &OF_TRACES).is_none();
    match options.columns.iter().find(unknown) {
        Some((_, name)) => Err(TableError::NoSuchTraceColumn {
            name: name.clone(),
            nearest: owned(nearest(name, OF_TRACES.iter().map(|(k, _)| *k))),
        }),
        None => Ok(()),
    }
}

/// Every heading that an option names must be there.
fn check_headings(file: &str, headings: &[String], options: &Options) -> Result<(), TableError> {
    let renamed = options.columns.iter().map(|(from, _)| (from, "--column"));
    let skipped = options.skip.iter().map(|name| (name, "--skip"));
    for (wanted, option) in renamed.chain(skipped) {
        if !headings.iter().any(|h| fold(h) == fold(wanted)) {
            return Err(TableError::NoSuchColumn {
                file: file.to_owned(),
                heading: wanted.clone(),
                option,
                found: headings.to_vec(),
            });
        }
    }
    Ok(())
}
