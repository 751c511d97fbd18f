//! Where readings come from and whose count: the options that most commands share.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use calibriar::catalogue::{Catalogue, Kind, Standing, nearest};
use calibriar::cohort::{Choice, Cohort, Selection};
use calibriar::collection::{Collection, Entry};
use calibriar::measurers::{ReadingError, ReadingErrors};
use calibriar::norm::{Borrowing, Evidence, Settings};
use calibriar::source::{Request, Source, give_traces, is_table, open};
use calibriar::table::{Options, SetAside, Table};
use calibriar::traced::ready;
use calibriar::words::hint;
use clap::builder::NonEmptyStringValueParser;
use clap::{Args, ValueEnum};

use super::output::{Format, FormatArgument, fine, shown};
use super::{CliError, remark};

/// How to read a table.
#[derive(Clone, Debug, Args)]
#[command(next_help_heading = "Reading tables")]
pub(super) struct TableArguments {
    /// Read the column HEADER as a known one, such as --column year=made (repeatable)
    #[arg(long, value_name = "HEADER=NAME", value_parser = renamed)]
    column: Vec<(String, String)>,
    /// Leave these columns out
    #[arg(long, value_name = "HEADER,...", value_delimiter = ',')]
    skip: Vec<String>,
    /// Take unknown columns as plain dimensions of their heading's unit (millimetres if none)
    #[arg(long)]
    new_dimensions: bool,
    /// Go on with the good rows; write the faulty ones here, unchanged, with the reasons
    #[arg(long, value_name = "FILE.csv")]
    pub(super) set_aside: Option<PathBuf>,
}

fn renamed(text: &str) -> Result<(String, String), String> {
    match text.split_once('=') {
        Some((header, name)) if !header.trim().is_empty() && !name.trim().is_empty() => {
            Ok((header.trim().to_owned(), name.trim().to_owned()))
        }
        _ => Err("expected HEADER=NAME, such as year=made".to_owned()),
    }
}

impl TableArguments {
    pub(super) fn options(&self, details: bool) -> Options {
        Options {
            columns: self.column.clone(),
            skip: self.skip.clone(),
            new_dimensions: self.new_dimensions,
            details,
            details_of_repeats: false,
        }
    }
}

/// Where the readings come from.
#[derive(Clone, Debug, Args)]
pub(super) struct SourceArguments {
    /// A collection, a data package's folder, a CSV or Parquet file, or - for standard input
    #[arg(long, value_name = "PATH", env = "CALIBRIAR_COLLECTION", default_value = DEFAULT, value_parser = collection_name)]
    from: String,
    /// Production periods for a source that carries none: CSV maker,period,from,to,standing,note
    #[arg(long, value_name = "FILE")]
    periods_from: Option<PathBuf>,
    /// Outlines, sections and colours that go with the source: CSV
    /// specimen,feature,station,reading[,unit,...]
    #[arg(long, value_name = "FILE.csv")]
    traces: Option<PathBuf>,
    /// What a reading without an uncertainty of its own is worth: as repeats of other places show,
    /// where they do, or as it was written
    #[arg(long, value_name = "HOW", value_enum, default_value_t = ReadingErrorArgument::Estimated)]
    reading_error: ReadingErrorArgument,
    #[command(flatten)]
    table: TableArguments,
}

/// `--reading-error`
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum ReadingErrorArgument {
    /// By how far readings of one place differ, where enough places were read more than once
    Estimated,
    /// By the step that it was written to
    AsWritten,
}

/// The collection that is meant when none is named.
pub(super) const DEFAULT: &str = "collection.db";

/// A source as typed; an empty environment variable is none.
fn collection_name(text: &str) -> Result<String, std::convert::Infallible> {
    Ok(if text.is_empty() { DEFAULT } else { text }.to_owned())
}

/// A collection's path as typed; an empty environment variable is none.
pub(super) fn collection_path(text: &str) -> Result<PathBuf, std::convert::Infallible> {
    collection_name(text).map(PathBuf::from)
}

impl SourceArguments {
    /// Opens the source and says what the user should know of it.
    pub(super) fn open(&self, digest: bool) -> Result<Source, CliError> {
        let source = told(open(&Request {
            digest,
            options: self.table.options(false),
            set_aside: self.table.set_aside.is_some(),
            traces_from: self.traces.as_deref(),
            ..self.estimating()
        })?)?;
        let errors = self.errors(&source.table);
        Ok(prepared(source, &errors, Told::Aloud))
    }

    /// What repeats say of readings that were written without an uncertainty, where that is asked.
    fn errors(&self, table: &Table) -> ReadingErrors {
        match self.reading_error {
            ReadingErrorArgument::Estimated => ReadingErrors::of(table),
            ReadingErrorArgument::AsWritten => ReadingErrors::default(),
        }
    }

    /// A table of [`SourceArguments::open_in_detail`], or some of its readings, ready to be judged as
    /// [`SourceArguments::open`] has it.
    pub(super) fn ready(&self, table: Table) -> Table {
        let errors = self.errors(&table);
        ready(errors.applied(table).0)
    }

    /// Opens the source with its single readings as they were written, and as it stood at a
    /// revision where one is named. Nothing is made of its traces yet.
    pub(super) fn open_in_detail(
        &self,
        digest: bool,
        revision: Option<i64>,
    ) -> Result<Source, CliError> {
        told(open(&Request {
            digest,
            details: true,
            revision,
            options: self.table.options(true),
            set_aside: self.table.set_aside.is_some(),
            traces_from: self.traces.as_deref(),
            ..self.request()
        })?)
    }

    /// The revisions of the source, where it is a collection's file.
    pub(super) fn history(&self) -> Vec<Entry> {
        // It was opened a moment ago; a package, or a file that is gone, has none to tell.
        let collection = Collection::open(Path::new(&self.from)).ok();
        let history = collection.and_then(|collection| collection.history().ok());
        history.unwrap_or_default()
    }

    /// The files that are read.
    pub(super) fn files(&self) -> Vec<PathBuf> {
        let others = [&self.periods_from, &self.traces].into_iter().flatten();
        let from = std::iter::once(PathBuf::from(&self.from));
        from.chain(others.cloned()).collect()
    }

    /// Whether works can be recorded in the source: a table has none.
    pub(super) fn keeps_works(&self) -> bool {
        !is_table(&self.from)
    }

    /// Opens the source, and where the pieces to be judged are not its own as they were found, these: those of
    /// a file, or its own as recorded works left them.
    pub(super) fn open_for(
        &self,
        file: Option<&Path>,
        as_left: bool,
        digest: bool,
    ) -> Result<(Source, Option<Source>), CliError> {
        let (source, other) = match (file, as_left) {
            (Some(file), _) => self.open_with(file, digest)?,
            (None, true) => self.open_with_left(digest)?,
            (None, false) => return Ok((self.open(digest)?, None)),
        };
        Ok((source, Some(other)))
    }

    /// Opens the source, and another table whose pieces are to be judged by it. Where the source
    /// is no table itself, the options for reading CSV are meant for the other. Traces go to
    /// whichever of the two has their specimens.
    fn open_with(&self, other: &Path, digest: bool) -> Result<(Source, Source), CliError> {
        let mut request = Request {
            digest,
            ..self.estimating()
        };
        if is_table(&self.from) {
            request.options = self.table.options(false);
            request.set_aside = self.table.set_aside.is_some();
        }
        let mut source = told(open(&request)?)?;
        let errors = self.errors(&source.table);
        let other = other.display().to_string();
        let mut other = told(open(&Request {
            from: &other,
            options: self.table.options(false),
            set_aside: self.table.set_aside.is_some() && !is_table(&self.from),
            details: !errors.is_empty(),
            catalogue: Some(&source.table.catalogue),
            ..Request::default()
        })?)?;
        if let Some(path) = &self.traces {
            let cautions = give_traces(path, &mut [&mut source.table, &mut other.table])?;
            cautions.iter().for_each(remark);
        }
        let source = prepared(source, &errors, Told::Aloud);
        Ok((source, prepared(other, &errors, Told::Already)))
    }

    /// Opens the source, and its pieces as recorded works left them, to be judged by it. Only the first
    /// is ever made into a cohort.
    fn open_with_left(&self, digest: bool) -> Result<(Source, Source), CliError> {
        let source = open(&Request {
            digest,
            options: self.table.options(false),
            set_aside: self.table.set_aside.is_some(),
            traces_from: self.traces.as_deref(),
            ..self.estimating()
        })?;
        let left = open(&Request {
            options: self.table.options(false),
            set_aside: self.table.set_aside.is_some(),
            as_left: true,
            details: true,
            revision: source.provenance.revision,
            ..self.estimating()
        })?;
        let source = told(source)?;
        let errors = self.errors(&source.table);
        let source = prepared(source, &errors, Told::Aloud);
        Ok((source, prepared(left, &errors, Told::Already)))
    }

    /// A request that keeps what tells reading errors, where these are asked for.
    fn estimating(&self) -> Request<'_> {
        Request {
            details_of_repeats: self.reading_error == ReadingErrorArgument::Estimated,
            ..self.request()
        }
    }

    fn request(&self) -> Request<'_> {
        Request {
            from: &self.from,
            periods_from: self.periods_from.as_deref(),
            ..Request::default()
        }
    }

    /// Writes the faulty rows of a source, once all else has gone well.
    pub(super) fn write_set_aside(&self, source: &Source) -> Result<(), CliError> {
        match &self.table.set_aside {
            Some(path) => {
                AsideFile::prepare(&source.set_aside, path)?.map_or(Ok(()), AsideFile::keep)
            }
            None => Ok(()),
        }
    }
}

/// Whether the user knows already what readings are worth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Told {
    Aloud,
    Already,
}

/// The source with its table ready to be judged: reading errors first, for what is made of traces
/// has uncertainties of its own.
fn prepared(source: Source, errors: &ReadingErrors, told: Told) -> Source {
    let (table, used) = errors.applied(source.table);
    if told == Told::Aloud && !used.is_empty() {
        remark(worth(&table.catalogue, &used));
    }
    Source {
        table: ready(table),
        ..source
    }
}

/// What readings without an uncertainty of their own are taken to be worth, in words.
fn worth(catalogue: &Catalogue, used: &[&ReadingError]) -> String {
    let one = |error: &&ReadingError| {
        let dimension = catalogue.find(&error.dimension).map(|d| catalogue.at(d));
        let (label, unit) = dimension.map_or((&*error.dimension, ""), |d| (&*d.label, &*d.unit));
        let with = error
            .instrument
            .as_deref()
            .map(|i| format!(" by {}", shown(i)));
        let worth = fine(error.standard_uncertainty());
        format!("{label}{} {worth} {unit}", with.unwrap_or_default())
    };
    format!(
        "readings written without an uncertainty, by how far repeats differ: {} (calibriar measurers)",
        used.iter().map(one).collect::<Vec<_>>().join(", ")
    )
}

/// Says what the user should know of a source.
fn told(source: Source) -> Result<Source, CliError> {
    source.doubts.iter().for_each(remark);
    source.cautions.iter().for_each(remark);
    Ok(source)
}

/// Faulty rows on their way to a file, which appears only when they are kept.
pub(super) struct AsideFile {
    written: PathBuf,
    target: PathBuf,
    rows: usize,
}

impl AsideFile {
    /// Writes rows under a passing name beside the target; nothing where there are none.
    pub(super) fn prepare(rows: &SetAside, target: &Path) -> Result<Option<AsideFile>, CliError> {
        if rows.is_empty() {
            return Ok(None);
        }
        let shown = target.display();
        if target.exists() {
            return Err(CliError::Usage(format!(
                "{shown} exists already and is not overwritten: name another file"
            )));
        }
        let mut name = target.file_name().unwrap_or_default().to_owned();
        name.push(format!(".{}.partial", std::process::id()));
        let aside = AsideFile {
            written: target.with_file_name(name),
            target: target.to_owned(),
            rows: rows.len(),
        };
        let failed = |error| CliError::Usage(format!("cannot write {shown}: {error}"));
        // What a killed program left under this name is nobody's.
        let mut file = std::fs::File::create(&aside.written).map_err(failed)?;
        let mut text = Vec::new();
        rows.write(&mut text)?;
        file.write_all(&text)
            .and_then(|()| file.sync_all())
            .map_err(failed)?;
        Ok(Some(aside))
    }

    /// Gives the file its name, and says so.
    pub(super) fn keep(self) -> Result<(), CliError> {
        let shown = self.target.display();
        // A link, unlike a renaming, never takes the place of another file.
        std::fs::hard_link(&self.written, &self.target)
            .map_err(|error| CliError::Usage(format!("cannot write {shown}: {error}")))?;
        let rows = if self.rows == 1 { "row" } else { "rows" };
        remark(format!("{} faulty {rows} set aside in {shown}", self.rows));
        Ok(())
    }
}

impl Drop for AsideFile {
    fn drop(&mut self) {
        // The passing name goes in any case; a file that is gone already is no trouble.
        let _ = std::fs::remove_file(&self.written);
    }
}

/// Whose readings count, and how sure to be.
#[derive(Clone, Debug, Args)]
#[command(next_help_heading = "Judging")]
pub(super) struct JudgeArguments {
    /// Periods to measure by: `good`, or names separated by commas
    #[arg(
        long,
        value_name = "NAMES",
        value_delimiter = ',',
        default_value = "good"
    )]
    periods: Vec<String>,
    /// Let readings of unknown state speak for the works as well
    #[arg(long)]
    unknown_state: bool,
    /// Share of good pieces that a band is meant to hold
    #[arg(long, value_name = "SHARE", default_value_t = 0.95)]
    coverage: f64,
    /// Confidence of tolerance bands and of the centre's interval
    #[arg(long, value_name = "SHARE", default_value_t = 0.95)]
    confidence: f64,
    /// Probability with which a wholly good piece is called out of norm
    #[arg(long, value_name = "SHARE", default_value_t = 0.05)]
    alpha: f64,
    /// Judge by the piece's own pattern alone, as if the source had no other: nothing is learned
    /// from the maker's other patterns
    #[arg(long)]
    pub(super) no_borrowing: bool,
    /// Dimensions whose spread differs between patterns in its own way (the hand-finished ones, say)
    /// and is borrowed apart from that of the others; may be given more than once
    #[arg(long, value_name = "DIMENSION,...", value_parser = NonEmptyStringValueParser::new())]
    family: Vec<String>,
    /// A spread that is known for certain, instead of a borrowed one: `bit thickness=2%`, or in the
    /// dimension's unit for an angle or an offset; may be given more than once
    #[arg(long, value_name = "DIMENSION=SPREAD", value_parser = assignment, conflicts_with = "no_borrowing")]
    spread: Vec<(String, String)>,
}

/// `NAME=VALUE` as typed.
pub(super) fn assignment(text: &str) -> Result<(String, String), String> {
    let (name, value) = text
        .split_once('=')
        .ok_or_else(|| "expected a dimension, `=` and a number".to_owned())?;
    Ok((name.trim().to_owned(), value.trim().to_owned()))
}

/// The key of a dimension as typed.
pub(super) fn key_of(catalogue: &Catalogue, name: &str) -> Result<String, CliError> {
    match catalogue.find(name) {
        Some(index) => Ok(catalogue.at(index).key.clone()),
        None => {
            let near = nearest(name, catalogue.names());
            Err(CliError::Usage(format!(
                "no dimension `{name}`{}",
                hint(&near)
            )))
        }
    }
}

/// A size over 0; per cent where the dimension is judged as a ratio and they are asked for.
pub(super) fn size(option: &str, text: &str, relative: bool) -> Result<f64, CliError> {
    let (number, scale) = match text.strip_suffix('%') {
        Some(number) if relative => (number.trim_end(), 0.01),
        _ => (text, 1.0),
    };
    match number.parse::<f64>() {
        Ok(value) if value > 0.0 && value.is_finite() => Ok(value * scale),
        _ => Err(CliError::Usage(format!(
            "{option}: expected a number over 0{}, got `{text}`",
            if relative {
                " or per cent, as 0.02 or 2%"
            } else {
                ""
            }
        ))),
    }
}

impl JudgeArguments {
    pub(super) fn settings(&self) -> Result<Settings, CliError> {
        Ok(Settings::new(self.coverage, self.confidence, self.alpha)?)
    }

    /// The evidence of a cohort, with spreads borrowed as asked.
    pub(super) fn evidence<'t>(&self, cohort: &'t Cohort<'t>) -> Result<Evidence<'t>, CliError> {
        let borrowing = self.borrowing(&cohort.table().catalogue)?;
        Ok(Evidence::gather(cohort, &borrowing))
    }

    /// From whom spreads are borrowed.
    fn borrowing(&self, catalogue: &Catalogue) -> Result<Borrowing, CliError> {
        let mut borrowing = Borrowing {
            nothing: self.no_borrowing,
            ..Borrowing::default()
        };
        for names in &self.family {
            let mut keys: Vec<String> = Vec::new();
            for name in names.split(',') {
                let key = key_of(catalogue, name.trim())?;
                if keys.contains(&key) || borrowing.families.iter().any(|f| f.contains(&key)) {
                    return Err(CliError::Usage(format!(
                        "--family: `{}` is named twice; a dimension has one family",
                        name.trim()
                    )));
                }
                keys.push(key);
            }
            borrowing.families.push(keys);
        }
        for (name, value) in &self.spread {
            let key = key_of(catalogue, name)?;
            let ratio = catalogue.find(&key).map(|i| catalogue.at(i).kind) == Some(Kind::Ratio);
            let spread = size("--spread", value, ratio)?;
            if spread < 1e-9 {
                return Err(CliError::Usage(format!(
                    "--spread: {value} of {name}: no spread of pieces is that small"
                )));
            }
            if ratio && spread >= 1.0 {
                return Err(CliError::Usage(format!(
                    "--spread: {value} of {name} is {} % of its size; 2 % is written 2% or 0.02",
                    100.0 * spread
                )));
            }
            borrowing.stated.insert(key, spread);
        }
        Ok(borrowing)
    }

    /// Sorts a source's readings by pattern and every period, whatever its standing.
    pub(super) fn cohort_of_every_period<'t>(
        &self,
        source: &'t Source,
    ) -> Result<Cohort<'t>, CliError> {
        if self.periods.len() != 1 || !self.periods[0].eq_ignore_ascii_case("good") {
            return Err(CliError::Usage(
                "--periods: every period of the maker is compared here, whatever its standing"
                    .to_owned(),
            ));
        }
        let choice = Choice {
            periods: Selection::Every,
            ..self.choice()
        };
        Ok(Cohort::new(&source.table, &choice)?)
    }

    /// Whose readings may speak.
    pub(super) fn choice(&self) -> Choice {
        let good = self.periods.len() == 1 && self.periods[0].eq_ignore_ascii_case("good");
        let named = || self.periods.iter().map(|p| p.trim().to_owned()).collect();
        Choice {
            periods: match good {
                true => Selection::Good,
                false => Selection::Named(named()),
            },
            unknown_state: self.unknown_state,
        }
    }

    /// Sorts a source's readings by pattern and period; warns where no standing is known.
    pub(super) fn cohort<'t>(&self, source: &'t Source) -> Result<Cohort<'t>, CliError> {
        let choice = self.choice();
        let good = choice.periods == Selection::Good;
        let cohort = Cohort::new(&source.table, &choice)?;
        if cohort.takes_everything() {
            remark(
                "the source has no table of production periods, so every piece counts as good \
                 (--periods-from names good periods, --periods chooses some)",
            );
        } else if good
            && !source
                .table
                .periods
                .all()
                .iter()
                .any(|p| p.standing == Standing::Good)
        {
            remark("no production period is of good standing: --periods chooses others");
        }
        let undefined: Vec<&str> = cohort
            .periods()
            .iter()
            .filter(|p| p.standing.is_none() && !source.table.periods.is_empty())
            .map(|p| p.name.as_str())
            .collect();
        if !undefined.is_empty() {
            remark(format!(
                "no such period in the table of periods: {}",
                undefined.join(", ")
            ));
        }
        Ok(cohort)
    }
}

/// What `norms`, `check` and `flag` all ask: from where, by whom, written how.
#[derive(Clone, Debug, Args)]
pub(super) struct Question {
    #[command(flatten)]
    pub(super) format: FormatArgument,
    #[command(flatten)]
    pub(super) source: SourceArguments,
    #[command(flatten)]
    pub(super) judge: JudgeArguments,
}

impl Question {
    /// Settings, format and the source, opened; its digest only where the format tells it.
    pub(super) fn open(&self) -> Result<(Settings, Format, Source), CliError> {
        let settings = self.judge.settings()?;
        let format = self.format.choose();
        let source = self.source.open(format != Format::Csv)?;
        Ok((settings, format, source))
    }
}
