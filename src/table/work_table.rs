//! Works done on one piece: a table with one row a dimension, or what was typed.

use super::column::{has_sense, without_sense};
use super::doubt::Slip;
use super::fault::{Fault, FaultKind, Place, TableError, short, suggestion};
use super::long::{cell_count, standard_uncertainty};
use super::source_text::{Marks, SourceText};
use super::wide::missing_as_empty;
use super::{csv_reader, header, heading, next_record};
use crate::catalogue::{Catalogue, Day, Dimension, NotADay, State, YearRange, fold, nearest};
use crate::notation::{Context, DecimalMark, Unit, is_uncertainty_of, read_cell};

/// The columns of a table of works.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WorkColumn {
    /// What was worked on.
    Dimension,
    /// Its size after the work.
    AsLeft,
    /// Its size before, where the collection does not know it.
    AsFound,
    /// The unit of both sizes.
    Unit,
    /// Standard uncertainty of the size as left, in its unit.
    Uncertainty,
    /// With what.
    Tool,
    /// What for.
    Why,
    /// By whom.
    DoneBy,
    /// On which day.
    DoneOn,
    /// Files of pictures, separated by `;`.
    Picture,
    /// Whether the part is another one now.
    Replaced,
}

impl WorkColumn {
    /// All of them; a table needs the first two.
    pub const ALL: [WorkColumn; 11] = [
        WorkColumn::Dimension,
        WorkColumn::AsLeft,
        WorkColumn::AsFound,
        WorkColumn::Unit,
        WorkColumn::Uncertainty,
        WorkColumn::Tool,
        WorkColumn::Why,
        WorkColumn::DoneBy,
        WorkColumn::DoneOn,
        WorkColumn::Picture,
        WorkColumn::Replaced,
    ];
    const NEEDED: usize = 2;

    /// Its heading.
    pub fn name(self) -> &'static str {
        match self {
            WorkColumn::Dimension => "dimension",
            WorkColumn::AsLeft => "as_left",
            WorkColumn::AsFound => "as_found",
            WorkColumn::Unit => "unit",
            WorkColumn::Uncertainty => "uncertainty",
            WorkColumn::Tool => "tool",
            WorkColumn::Why => "why",
            WorkColumn::DoneBy => "done_by",
            WorkColumn::DoneOn => "done_on",
            WorkColumn::Picture => "picture",
            WorkColumn::Replaced => "replaced",
        }
    }
}

/// A size as somebody wrote it.
#[derive(Clone, Debug, PartialEq)]
pub struct WrittenSize {
    /// In the dimension's unit.
    pub value: f64,
    /// Standard uncertainty, in the dimension's unit.
    pub uncertainty: f64,
    /// The unit it was written in.
    pub unit: Unit,
    /// Verbatim.
    pub text: String,
}

/// A picture, which is kept elsewhere: its name and the SHA-256 of its bytes tell it.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Picture {
    /// Name of its file, without the folder.
    pub name: String,
    /// In hexadecimal.
    pub sha256: String,
}

/// What is said of all works that do not say it themselves.
#[derive(Clone, Debug)]
pub struct WorkDefaults {
    /// By whom.
    pub done_by: String,
    /// On which day.
    pub done_on: Day,
    /// With what; may be empty.
    pub tool: String,
    /// What for; may be empty.
    pub why: String,
    /// Whether the parts are others now.
    pub replaced: bool,
    /// Pictures of all of them.
    pub pictures: Vec<Picture>,
}

/// One work as written: what was done to one dimension of a piece.
#[derive(Clone, Debug)]
pub struct Work {
    /// What was worked on.
    pub dimension: Dimension,
    /// The size after it.
    pub left: WrittenSize,
    /// The size before it, where it is given, with its state where that is given.
    pub found: Option<(WrittenSize, Option<State>)>,
    /// With what; may be empty.
    pub tool: String,
    /// What for; may be empty.
    pub why: String,
    /// By whom.
    pub done_by: String,
    /// On which day.
    pub done_on: Day,
    /// Whether the part is another one now.
    pub replaced: bool,
    /// Pictures of it.
    pub pictures: Vec<Picture>,
    cells: Cells,
}

impl Work {
    /// Something wrong with one of its cells.
    pub fn fault(&self, column: WorkColumn, kind: WorkFault) -> Fault {
        let mut fault = self.cells.fault(column, FaultKind::from(kind));
        if fault.text.is_empty() && column == WorkColumn::DoneOn {
            fault.text = self.done_on.to_string();
        }
        fault
    }
}

/// Works as read: the good ones, and everything wrong with the others.
#[derive(Debug, Default)]
pub struct WorkSheet {
    /// In the order of the rows, each of another dimension.
    pub works: Vec<Work>,
    /// Every fault.
    pub faults: Vec<Fault>,
}

/// What can be wrong with a work that is to be recorded.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum WorkFault {
    /// A heading that is none.
    #[error("no column of a table of works{}", suggestion(nearest))]
    UnknownColumn {
        /// The known columns that look most like it.
        nearest: Vec<String>,
    },
    /// No size after the work.
    #[error("expected the size as it was left, such as 4.1 mm")]
    NoSize,
    /// A state where the work itself tells it.
    #[error("the state of what was left follows from the work; expected a size without braces")]
    StateOfLeft,
    /// No day.
    #[error(transparent)]
    NotADay(#[from] NotADay),
    /// Neither yes nor no.
    #[error("expected yes or no")]
    NotYesOrNo,
    /// A dimension that was named before.
    #[error("{}; expected each dimension once, a second work goes into a record of its own", twice(*first_row))]
    Twice {
        /// The row of its first appearance; 0 where it was typed.
        first_row: usize,
    },
    /// A picture that cannot be read.
    #[error("the picture cannot be read: {why}")]
    Picture {
        /// Why not.
        why: String,
    },
    /// A size that no real pipe has.
    #[error("no pipe measures that; expected {} to {} {unit}{}", credible.0, credible.1, slip.map_or(String::new(), |s| format!(" (looks like {})", s.words())))]
    NotCredible {
        /// Least and greatest credible size, in the unit.
        credible: (f64, f64),
        /// The dimension's unit.
        unit: String,
        /// The slip that would explain it.
        slip: Option<Slip>,
    },
    /// A work of tomorrow.
    #[error("the day is still to come; expected the day on which the work was done")]
    Future,
    /// A work on a piece that was not made yet.
    #[error("the piece was made later: {made}")]
    BeforeMade {
        /// The years in which it was made.
        made: YearRange,
    },
    /// A work before the reading that it starts from.
    #[error(
        "the reading `{}` that the work starts from was taken later: {measured_on}",
        short(text)
    )]
    BeforeReading {
        /// The reading, verbatim.
        text: String,
        /// When it was taken.
        measured_on: Day,
    },
    /// A work before one that is recorded.
    #[error(
        "revision {revision} records a later work on it, of {done_on}; expected works in the order of their days"
    )]
    BeforeWork {
        /// When the later one was done.
        done_on: String,
        /// The revision that recorded it.
        revision: i64,
    },
    /// Nothing to start from.
    #[error(
        "no reading of it counts that the work could start from; expected its size as found \
         (--found DIMENSION=SIZE, or the column as_found)"
    )]
    NothingFound,
    /// Another state as found than the last work left.
    #[error(
        "revision {revision} records a work there: the place is {}, not {}; expected the size without a state",
        left.name(),
        said.name()
    )]
    FoundState {
        /// As the last work left it.
        left: State,
        /// As it is said to have been found.
        said: State,
        /// The revision that recorded the work.
        revision: i64,
    },
    /// A place that has got more material.
    #[error(
        "it was found at {found} {unit}; a tool can only make it {}, and reading error explains no more \
         than {allowed} {unit}; another part than before is recorded with --replaced (or replaced = yes)",
        if *up { "larger" } else { "smaller" }
    )]
    NotRemoval {
        /// The size as found, in the unit.
        found: f64,
        /// The farthest that passes for no change.
        allowed: String,
        /// The dimension's unit.
        unit: String,
        /// Whether a tool makes the size larger.
        up: bool,
    },
}

fn twice(first_row: usize) -> String {
    match first_row {
        0 => "the dimension is given twice".to_owned(),
        row => format!("the dimension stands in row {row} already"),
    }
}

/// The cells of one work with their places, by [`WorkColumn`].
#[derive(Clone, Debug)]
struct Cells(Vec<(Place, String)>);

impl Cells {
    fn text(&self, column: WorkColumn) -> &str {
        self.0.get(column as usize).map_or("", |(_, text)| text)
    }

    fn fault(&self, column: WorkColumn, kind: FaultKind) -> Fault {
        let (place, text) = self.0.get(column as usize).cloned().unwrap_or_default();
        Fault { place, text, kind }
    }
}

/// How a picture is read: its name as written gives the picture, or why it cannot be read.
pub type ReadPicture<'a> = &'a dyn Fn(&str) -> Result<Picture, String>;

/// Reads a table of works on one piece; `file` is its name for messages.
///
/// # Errors
/// [`TableError`] where the table as a whole is unusable; single bad cells are in the result.
pub fn read_works(
    file: &str,
    bytes: Vec<u8>,
    catalogue: &Catalogue,
    defaults: &WorkDefaults,
    picture: ReadPicture<'_>,
) -> Result<WorkSheet, TableError> {
    let source = SourceText::decode(file, bytes)?;
    let (delimiter, columns) = source.delimiter();
    header::check_count(file, columns)?;
    let mut reader = csv_reader(source.table(), delimiter);
    let mut record = csv::StringRecord::new();
    next_record(&mut reader, &mut record);
    let headings: Vec<String> = record.iter().map(heading).collect();
    let place = |row: usize, line: usize, position: Option<usize>| Place {
        file: file.to_owned(),
        row,
        line,
        column: position.map_or(0, |p| p + 1),
        heading: position
            .and_then(|p| headings.get(p))
            .cloned()
            .unwrap_or_default(),
    };
    let at = source.locate(&[0], delimiter);
    let (row, line) = at.first().map_or((1, 1), |at| (at.row, at.line));
    let positions = positions(file, row, &headings, |position| {
        place(row, line, Some(position))
    })?;
    let mut records = Vec::new();
    while next_record(&mut reader, &mut record) {
        if !record.iter().all(|cell| cell.trim().is_empty()) {
            let offset = record.position().map_or(0, |p| p.byte() as usize);
            records.push((offset, record.clone()));
        }
    }
    if records.is_empty() {
        return Err(TableError::NoRows {
            file: file.to_owned(),
        });
    }
    let sizes = [
        WorkColumn::AsLeft,
        WorkColumn::AsFound,
        WorkColumn::Uncertainty,
    ]
    .map(|column| positions[column as usize]);
    let mut marks = Marks::default();
    for (_, record) in &records {
        let of_row = sizes.iter().flatten().filter_map(|&at| record.get(at));
        of_row.for_each(|cell| marks.add(cell));
    }
    let mark = marks.decimal(delimiter);
    let offsets: Vec<usize> = records.iter().map(|(offset, _)| *offset).collect();
    let places = source.locate(&offsets, delimiter);
    let mut sheet = WorkSheet::default();
    for ((_, record), here) in records.iter().zip(places) {
        let place = |position| place(here.row, here.line, position);
        if let Some(kind) = cell_count(record, headings.len()) {
            sheet.faults.push(Fault {
                place: place(None),
                text: record.get(0).unwrap_or("").to_owned(),
                kind,
            });
            continue;
        }
        for (position, text) in record.iter().enumerate() {
            if !text.trim().is_empty() && headings.get(position).is_none_or(String::is_empty) {
                sheet.faults.push(Fault {
                    place: place(Some(position)),
                    text: text.to_owned(),
                    kind: FaultKind::NoHeading,
                });
            }
        }
        let cell = |column: &WorkColumn| {
            let position = positions[*column as usize];
            let text = position.and_then(|p| record.get(p)).map_or("", str::trim);
            (place(position), text.to_owned())
        };
        let cells = Cells(WorkColumn::ALL.iter().map(cell).collect());
        sheet.read(cells, mark, catalogue, defaults, picture);
    }
    Ok(sheet)
}

/// Where each column stands in a header.
fn positions(
    file: &str,
    row: usize,
    headings: &[String],
    place: impl Fn(usize) -> Place,
) -> Result<[Option<usize>; WorkColumn::ALL.len()], TableError> {
    let mut positions = [None; WorkColumn::ALL.len()];
    let mut faults = Vec::new();
    for (position, heading) in headings.iter().enumerate() {
        if heading.is_empty() {
            continue;
        }
        let named = |column: &&WorkColumn| fold(column.name()) == fold(heading);
        let kind = match WorkColumn::ALL.iter().find(named) {
            None => {
                let names = WorkColumn::ALL.iter().map(|column| column.name());
                let near = nearest(heading, names).into_iter().map(str::to_owned);
                FaultKind::from(WorkFault::UnknownColumn {
                    nearest: near.collect(),
                })
            }
            Some(&column) => match positions[column as usize].replace(position) {
                None => continue,
                Some(first) => FaultKind::DuplicateColumn {
                    first: first + 1,
                    first_heading: headings[first].clone(),
                },
            },
        };
        faults.push(Fault {
            place: place(position),
            text: heading.clone(),
            kind,
        });
    }
    let needed = WorkColumn::ALL.iter().take(WorkColumn::NEEDED);
    let lacking = needed.filter(|column| positions[**column as usize].is_none());
    let lacking: Vec<&'static str> = lacking.map(|column| column.name()).collect();
    if !lacking.is_empty() {
        return Err(TableError::LackingOfWorks {
            file: file.to_owned(),
            row,
            lacking,
            found: headings.to_vec(),
        });
    }
    match faults.is_empty() {
        true => Ok(positions),
        false => Err(TableError::Header {
            file: file.to_owned(),
            faults,
        }),
    }
}

/// A size that was typed: the option, the dimension and the size.
#[derive(Clone, Copy, Debug)]
pub struct Typed<'a> {
    /// The dimension.
    pub dimension: &'a str,
    /// The size as left.
    pub left: &'a str,
    /// The size as found; empty where none was given.
    pub found: &'a str,
}

/// Reads works that were typed as `--set DIMENSION=SIZE`, each with its `--found DIMENSION=SIZE`.
pub fn typed_works(
    typed: &[Typed<'_>],
    catalogue: &Catalogue,
    defaults: &WorkDefaults,
) -> WorkSheet {
    let mut sheet = WorkSheet::default();
    for one in typed {
        let cell = |column: &WorkColumn| {
            let (option, text) = match column {
                WorkColumn::Dimension => ("--set", one.dimension),
                WorkColumn::AsLeft => ("--set", one.left),
                WorkColumn::AsFound => ("--found", one.found),
                WorkColumn::DoneOn => ("--on", ""),
                _ => ("--set", ""),
            };
            let place = Place {
                file: match column {
                    WorkColumn::DoneOn => option.to_owned(),
                    _ => format!("{option} {}", short(one.dimension)),
                },
                ..Place::default()
            };
            (place, text.trim().to_owned())
        };
        let cells = Cells(WorkColumn::ALL.iter().map(cell).collect());
        let no_picture = |_: &str| Err(String::new());
        sheet.read(cells, DecimalMark::Point, catalogue, defaults, &no_picture);
    }
    sheet
}

impl WorkSheet {
    /// Reads one work; whatever is wrong with it is noted, and it counts for nothing then.
    fn read(
        &mut self,
        cells: Cells,
        mark: DecimalMark,
        catalogue: &Catalogue,
        defaults: &WorkDefaults,
        picture: ReadPicture<'_>,
    ) {
        let mut faults = Vec::new();
        let work = read(cells, mark, catalogue, defaults, picture, &mut faults);
        if let Some(work) = work {
            let same = |earlier: &&Work| earlier.dimension.key == work.dimension.key;
            match self.works.iter().find(same) {
                Some(earlier) => {
                    let first_row = earlier.cells.0.first().map_or(0, |(place, _)| place.row);
                    faults.push(work.fault(WorkColumn::Dimension, WorkFault::Twice { first_row }));
                }
                None => self.works.push(work),
            }
        }
        self.faults.append(&mut faults);
    }
}

fn read(
    cells: Cells,
    mark: DecimalMark,
    catalogue: &Catalogue,
    defaults: &WorkDefaults,
    picture: ReadPicture<'_>,
    faults: &mut Vec<Fault>,
) -> Option<Work> {
    let cell = |column: WorkColumn| missing_as_empty(cells.text(column));
    let unit_of_row = match cell(WorkColumn::Unit) {
        "" => None,
        text => Unit::parse(text).or_else(|| {
            if !catalogue.all().iter().any(|d| d.unit == text) {
                faults.push(cells.fault(WorkColumn::Unit, FaultKind::NotAUnit));
            }
            None
        }),
    };
    let done_on = match cell(WorkColumn::DoneOn) {
        "" => defaults.done_on,
        text => Day::parse(text).unwrap_or_else(|error| {
            let kind = FaultKind::from(WorkFault::from(error));
            faults.push(cells.fault(WorkColumn::DoneOn, kind));
            defaults.done_on
        }),
    };
    let replaced = match cell(WorkColumn::Replaced) {
        "" => defaults.replaced,
        text if text.eq_ignore_ascii_case("yes") => true,
        text if text.eq_ignore_ascii_case("no") => false,
        _ => {
            let kind = FaultKind::from(WorkFault::NotYesOrNo);
            faults.push(cells.fault(WorkColumn::Replaced, kind));
            false
        }
    };
    let mut pictures = defaults.pictures.clone();
    let names = cell(WorkColumn::Picture).split(';').map(str::trim);
    for name in names.filter(|name| !name.is_empty()) {
        match picture(name) {
            Ok(picture) if pictures.contains(&picture) => {}
            Ok(picture) => pictures.push(picture),
            Err(why) => {
                let kind = FaultKind::from(WorkFault::Picture { why });
                faults.push(Fault {
                    text: name.to_owned(),
                    ..cells.fault(WorkColumn::Picture, kind)
                });
            }
        }
    }
    let name = cells.text(WorkColumn::Dimension);
    let Some((dimension, heading_unit)) = catalogue.find_heading(name) else {
        let near = nearest(name, catalogue.names()).into_iter();
        let nearest = near.map(str::to_owned).collect();
        let kind = FaultKind::UnknownDimension { nearest };
        faults.push(cells.fault(WorkColumn::Dimension, kind));
        return None;
    };
    let known = catalogue.at(dimension);
    let base = known.quantity.base_unit();
    let unit = unit_of_row.or(heading_unit).unwrap_or(base);
    if unit.quantity() != known.quantity {
        faults.push(cells.fault(WorkColumn::Unit, FaultKind::NotAUnit));
        return None;
    }
    let context = Context {
        quantity: known.quantity,
        unit,
        mark,
    };
    let left = size(&cells, WorkColumn::AsLeft, known, &context, faults);
    let found = size(&cells, WorkColumn::AsFound, known, &context, faults);
    let left = match left {
        Some((_, Some(_))) => {
            let kind = FaultKind::from(WorkFault::StateOfLeft);
            faults.push(cells.fault(WorkColumn::AsLeft, kind));
            None
        }
        Some((left, None)) => Some(left),
        None => {
            if cell(WorkColumn::AsLeft).is_empty() {
                let kind = FaultKind::from(WorkFault::NoSize);
                faults.push(cells.fault(WorkColumn::AsLeft, kind));
            }
            None
        }
    };
    let mut left = left?;
    match cell(WorkColumn::Uncertainty) {
        "" => {}
        text => match standard_uncertainty(text, &context) {
            Some(u) if is_uncertainty_of(u, left.value, known.quantity) => left.uncertainty = u,
            _ => faults.push(cells.fault(WorkColumn::Uncertainty, FaultKind::NotAnUncertainty)),
        },
    }
    let or = |column: WorkColumn, default: &str| match cell(column) {
        "" => default.to_owned(),
        text => text.to_owned(),
    };
    Some(Work {
        dimension: known.clone(),
        left,
        found,
        tool: or(WorkColumn::Tool, &defaults.tool),
        why: or(WorkColumn::Why, &defaults.why),
        done_by: or(WorkColumn::DoneBy, &defaults.done_by),
        done_on,
        replaced,
        pictures,
        cells,
    })
}

/// A size with what stands in its braces; nothing of an empty or a bad cell.
fn size(
    cells: &Cells,
    column: WorkColumn,
    dimension: &Dimension,
    context: &Context,
    faults: &mut Vec<Fault>,
) -> Option<(WrittenSize, Option<State>)> {
    let text = cells.text(column);
    let wrong = match read_cell(text, context) {
        Ok(None) => return None,
        Err(error) => error.into(),
        Ok(Some(written)) if !has_sense(dimension.kind, written.value) => without_sense(dimension),
        Ok(Some(written)) => {
            let state = match written.braces {
                None => Some(None),
                Some(braces) => State::parse(braces).map(Some),
            };
            match (state, dimension.credible) {
                (None, _) => FaultKind::NotAState,
                (Some(_), Some(credible)) if !dimension.is_credible(written.value) => {
                    FaultKind::from(WorkFault::NotCredible {
                        credible,
                        unit: dimension.unit.clone(),
                        slip: Slip::of(written.unit, &[(written.value, credible)]),
                    })
                }
                (Some(state), _) => {
                    let step = written.step / 12f64.sqrt();
                    let size = WrittenSize {
                        value: written.value,
                        uncertainty: written.standard_uncertainty.unwrap_or(step),
                        unit: written.unit,
                        text: text.to_owned(),
                    };
                    return Some((size, state));
                }
            }
        }
    };
    faults.push(cells.fault(column, wrong));
    None
}
