//! Tables, CSV and JSON on standard output.

use std::collections::BTreeMap;
use std::io::{self, IsTerminal as _, Write};

use calibriar::verdict::Verdict;
use clap::ValueEnum;
use comfy_table::{
    Attribute, Cell, CellAlignment, Color, ColumnConstraint, ContentArrangement, LineStyle, Table,
    TableStyle,
};
use serde::Serialize;

pub(super) use calibriar::words::{
    band, counted, fine, probability, reading, shown, signed, sized, strength, verdict_words, whose,
};

use super::CliError;

/// How a result is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum Format {
    /// For people.
    Table,
    /// For programs: one object.
    Json,
    /// For spreadsheets and scripts.
    Csv,
}

/// `--format`, by default a table for a terminal and CSV for a pipe.
#[derive(Clone, Copy, Debug, clap::Args)]
pub(super) struct FormatArgument {
    /// How to write the result [default: table to a terminal, csv to a pipe]
    #[arg(long, value_enum)]
    format: Option<Format>,
}

impl FormatArgument {
    pub(super) fn choose(self) -> Format {
        self.format.unwrap_or(if io::stdout().is_terminal() {
            Format::Table
        } else {
            Format::Csv
        })
    }
}

/// Whoever reads our output may stop when they have seen enough: that is no error.
fn seen_enough(result: io::Result<()>) -> Result<(), CliError> {
    match result {
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        result => Ok(result?),
    }
}

/// Writes one JSON object and a line end.
pub(super) fn write_json(value: &impl Serialize) -> Result<(), CliError> {
    let mut out = io::BufWriter::new(io::stdout().lock());
    let written = serde_json::to_writer_pretty(&mut out, value)
        .map_err(io::Error::from)
        .and_then(|()| out.write_all(b"\n"))
        .and_then(|()| out.flush());
    // What is left in the buffer of a closed pipe must not be tried again on dropping.
    drop(out.into_parts());
    seen_enough(written)
}

/// Writes rows as CSV under a header that their fields name.
pub(super) fn write_csv<T: Serialize>(
    header: &[&str],
    rows: impl IntoIterator<Item = T>,
) -> Result<(), CliError> {
    let mut writer = csv::WriterBuilder::new()
        .has_headers(false)
        .from_writer(io::stdout().lock());
    let written = (|| {
        writer.write_record(header).map_err(csv_error)?;
        for row in rows {
            writer.serialize(row).map_err(csv_error)?;
        }
        writer.flush()
    })();
    seen_enough(written)
}

/// The failure of the output behind a CSV error: a closed pipe must be seen as one.
pub(super) fn csv_error(error: csv::Error) -> io::Error {
    match error.into_kind() {
        csv::ErrorKind::Io(error) => error,
        other => io::Error::other(format!("{other:?}")),
    }
}

/// Writes numbered parts after a first one in their order; they may come in any other.
pub(super) fn write_parts(
    first: Vec<u8>,
    parts: impl Iterator<Item = (usize, io::Result<Vec<u8>>)>,
) -> Result<(), CliError> {
    let mut out = io::stdout().lock();
    let write = || {
        out.write_all(&first)?;
        let (mut waiting, mut due) = (BTreeMap::new(), 0);
        for (number, part) in parts {
            waiting.insert(number, part?);
            while let Some(part) = waiting.remove(&due) {
                out.write_all(&part)?;
                due += 1;
            }
        }
        out.flush()
    };
    seen_enough(write())
}

/// Writes lines of text.
pub(super) fn write_text(text: &str) -> Result<(), CliError> {
    let mut out = io::stdout().lock();
    let written = out.write_all(text.as_bytes());
    seen_enough(written.and_then(|()| out.flush()))
}

/// Tells what was stored. It is stored, so a failure to tell it is no failure of the command.
pub(super) fn report(text: &str) -> Result<super::Outcome, CliError> {
    if let Err(error) = write_text(text) {
        super::remark(format!("{error}; but it was done: {}", text.trim_end()));
    }
    Ok(super::Outcome::Done)
}

/// Whether colours may be used (<https://no-color.org>).
fn colours() -> bool {
    io::stdout().is_terminal() && std::env::var_os("NO_COLOR").is_none_or(|v| v.is_empty())
}

/// One line under the headings; nothing else that is not text.
const STYLE: TableStyle =
    TableStyle::new().header_separator(LineStyle::none().fill('─').junction('─'));

/// An empty table for people. Columns whose heading begins with `>` are aligned to the right.
pub(super) fn table(headings: &[&str]) -> Table {
    let mut table = Table::new();
    table
        .load_style(STYLE)
        .set_content_arrangement(ContentArrangement::Disabled);
    if colours() {
        table.enforce_styling();
    } else {
        table.force_no_tty();
    }
    let titles = headings.iter().map(|h| h.trim_start_matches('>'));
    table.set_header(titles.map(|t| Cell::new(t).add_attribute(Attribute::Bold)));
    for (at, heading) in headings.iter().enumerate() {
        if let Some(column) = table.column_mut(at) {
            column.set_padding((0, 1));
            if heading.starts_with('>') {
                column.set_cell_alignment(CellAlignment::Right);
            }
        }
    }
    table
}

/// The lines of a table whose last column is of strips, and whether these are shown: not where none was
/// drawn, nor where a terminal would break the lines.
pub(super) fn with_strips(mut table: Table, drawn: bool) -> (String, bool) {
    let widths = table.column_max_content_widths();
    // A blank after each column.
    let width: usize = widths.iter().map(|&width| usize::from(width) + 1).sum();
    let room = terminal_size::terminal_size_of(io::stdout());
    let fits = room.is_none_or(|(room, _)| width <= usize::from(room.0));
    let shown = drawn && fits;
    if let Some(last) = table.column_mut(widths.len() - 1).filter(|_| !shown) {
        last.set_constraint(ColumnConstraint::Hidden);
    }
    (lines(&table), shown)
}

/// A verdict as a cell: always in words, coloured where colours may be used.
pub(super) fn verdict_cell(verdict: Verdict) -> Cell {
    let cell = Cell::new(verdict_words(verdict));
    match verdict {
        Verdict::OutOfNorm => cell.fg(Color::Red).add_attribute(Attribute::Bold),
        Verdict::Borderline => cell.fg(Color::Yellow),
        Verdict::Typical | Verdict::Undecided => cell,
    }
}

/// Adds a row of texts to a table.
pub(super) fn add_row(table: &mut Table, cells: impl IntoIterator<Item = String>) {
    table.add_row(
        cells
            .into_iter()
            .map(|cell| shown(&cell))
            .collect::<Vec<String>>(),
    );
}

/// A table's lines, without blanks at their ends.
pub(super) fn lines(table: &Table) -> String {
    table
        .lines()
        .map(|line| line.trim_end().to_owned() + "\n")
        .collect()
}

/// Breaks a text into lines of at most 98 columns, each after an indent.
pub(super) fn wrapped(text: &str, indent: &str) -> String {
    const WIDTH: usize = 98;
    let mut out = String::new();
    let mut line = String::from(indent);
    for word in text.split_whitespace() {
        if line.chars().count() + 1 + word.chars().count() > WIDTH && line.trim() != "" {
            out.push_str(line.trim_end());
            out.push('\n');
            line = format!("{indent}  ");
        }
        line.push_str(word);
        line.push(' ');
    }
    out.push_str(line.trim_end());
    out.push('\n');
    out
}
