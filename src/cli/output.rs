//! Tables, CSV and JSON on standard output.

use std::collections::BTreeMap;
use std::io::{self, IsTerminal as _, Write};

use calibriar::norm::Loan;
use calibriar::table;
use calibriar::verdict::Verdict;
use clap::ValueEnum;
use comfy_table::{
    Attribute, Cell, CellAlignment, Color, ContentArrangement, LineStyle, Table, TableStyle,
};
use serde::Serialize;

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

/// A verdict as a cell: always in words, coloured where colours may be used.
pub(super) fn verdict_cell(verdict: Verdict) -> Cell {
    let cell = Cell::new(verdict_words(verdict));
    match verdict {
        Verdict::OutOfNorm => cell.fg(Color::Red).add_attribute(Attribute::Bold),
        Verdict::Borderline => cell.fg(Color::Yellow),
        Verdict::Typical | Verdict::Undecided => cell,
    }
}

/// A verdict for people.
pub(super) fn verdict_words(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Typical => "typical",
        Verdict::Borderline => "borderline",
        Verdict::OutOfNorm => "OUT OF NORM",
        Verdict::Undecided => "undecided",
    }
}

/// A number with as many decimals as its spread makes meaningful: two digits of the spread, and
/// never finer than a caliper reads.
pub(super) fn sized(value: f64, spread: f64) -> String {
    /// A number of more digits than that is no size of a pipe: a band without an end.
    const ENDLESS: f64 = 1e7;
    if value.abs() >= ENDLESS {
        return format!("{value:.0e}");
    }
    let decimals = decimals_for(spread);
    let text = format!("{value:.decimals$}");
    // -0.0 is 0.0 to people.
    if text
        .trim_start_matches('-')
        .chars()
        .all(|c| c == '0' || c == '.')
    {
        text.trim_start_matches('-').to_owned()
    } else {
        text
    }
}

/// A small number for people, such as an uncertainty: two digits that mean something.
pub(super) fn fine(value: f64) -> String {
    let magnitude = value.abs().log10().floor();
    match magnitude.is_finite() && magnitude < 7.0 {
        true => format!("{value:.*}", (1.0 - magnitude).clamp(0.0, 9.0) as usize),
        false if value == 0.0 => "0".to_owned(),
        false => format!("{value:.0e}"),
    }
}

/// A reading for people: all the digits that were read, and as many as what it is compared with.
pub(super) fn reading(value: f64, uncertainty: f64, spread: f64) -> String {
    let step = uncertainty * 12f64.sqrt();
    let read = (-step.log10() - 1e-9).ceil();
    let read = if read.is_finite() {
        read.clamp(0.0, 3.0) as usize
    } else {
        0
    };
    let decimals = read.max(decimals_for(spread));
    match value.abs() < 1e7 {
        true => format!("{value:.decimals$}"),
        false => sized(value, spread),
    }
}

fn decimals_for(spread: f64) -> usize {
    let magnitude = spread.abs().log10().floor();
    if magnitude.is_finite() {
        (1.0 - magnitude).clamp(0.0, 2.0) as usize
    } else {
        2
    }
}

/// A band for people: `3.91 to 4.38`.
pub(super) fn band(low: f64, high: f64, spread: f64) -> String {
    format!("{} to {}", sized(low, spread), sized(high, spread))
}

/// A number with its sign: `+0.21`, `0.00`.
pub(super) fn signed(value: f64, spread: f64) -> String {
    let text = sized(value, spread);
    let zero = text.chars().all(|c| c == '0' || c == '.');
    if text.starts_with('-') || zero {
        text
    } else {
        format!("+{text}")
    }
}

/// A name of the user's as people see it: control characters must not reach the terminal.
pub(super) fn shown(name: &str) -> String {
    name.chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect()
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

/// A probability for people.
pub(super) fn probability(p: f64) -> String {
    if p < 0.0001 {
        "<0.0001".to_owned()
    } else {
        format!("{p:.4}")
    }
}

/// Whose reading it is, and what: `HR0013 (5.70 mm)`; `more` is said beside the unit.
pub(super) fn whose(
    table: &table::Table,
    column: &table::Column,
    row: usize,
    more: &str,
) -> String {
    let (name, value) = (table.specimens.names.get(row), column.values[row]);
    let unit = &table.dimension(column).unit;
    format!(
        "{} ({} {unit}{more})",
        shown(name),
        sized(value, 0.01 * value)
    )
}

/// Where the strength of some norms comes from: `3 pieces of this pattern + 11 degrees of freedom
/// borrowed from 7 other patterns`; nothing where nobody speaks.
pub(super) fn strength(of: impl Iterator<Item = (usize, Option<Loan>)>) -> Option<String> {
    let (mut pieces, mut freedom, mut lenders) = (Extent::new(), Extent::new(), Extent::new());
    let mut all_borrow = true;
    for (n, loan) in of.filter(|(n, _)| *n > 0) {
        pieces.add(n as f64);
        match loan {
            Some(loan) => {
                freedom.add(loan.spread.df);
                lenders.add(loan.spread.lenders as f64);
            }
            None => all_borrow = false,
        }
    }
    let own = format!("{} of this pattern", pieces.of("piece", "pieces", 0)?);
    let borrowed = freedom.of("degree of freedom", "degrees of freedom", 1);
    let Some((borrowed, from)) = borrowed.zip(lenders.of("other pattern", "other patterns", 0))
    else {
        return Some(format!("strength: {own}, nothing borrowed"));
    };
    let some = if all_borrow {
        ""
    } else {
        " for some dimensions"
    };
    Some(format!(
        "strength: {own} + {borrowed} borrowed from {from}{some}"
    ))
}

/// The least and greatest of some numbers.
struct Extent(f64, f64);

impl Extent {
    fn new() -> Extent {
        Extent(f64::INFINITY, f64::NEG_INFINITY)
    }

    fn add(&mut self, value: f64) {
        *self = Extent(self.0.min(value), self.1.max(value));
    }

    /// `3 pieces`, `3 to 5 pieces`; nothing of no numbers.
    fn of(&self, one: &str, many: &str, decimals: usize) -> Option<String> {
        let (low, high) = (
            format!("{:.decimals$}", self.0),
            format!("{:.decimals$}", self.1),
        );
        (self.0 <= self.1).then(|| match low == high {
            true if self.1 == 1.0 => format!("1 {one}"),
            true => format!("{high} {many}"),
            false => format!("{low} to {high} {many}"),
        })
    }
}

/// `1 reference`, `3 references`.
pub(super) fn counted(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
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
