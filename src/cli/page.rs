//! `calibriar page`

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::thread;

use calibriar::catalogue::{Workshop, fold, nearest};
use calibriar::cohort::Cohort;
use calibriar::norm::{Evidence, Settings, norms};
use calibriar::notation::DrillSet;
use calibriar::page::{
    IndexEntry, IndexPage, Left, MeasuredBy, Names, Origin, PatternEntry, PatternPage,
    SpecimenPage, pictures,
};
use calibriar::periods::{Scope, shift_years};
use calibriar::refit::{Aim, Goal, refit, refit_against};
use calibriar::source::Source;
use calibriar::table::{Details, KeptReading, Table};
use calibriar::verdict::{tolerances, tolerances_against};
use calibriar::words::{CheckWords, group_title, hint, shown};
use clap::Args;

use super::check::rows_of;
use super::folder::{Folder, write_page};
use super::norms::chosen;
use super::progress::Bar;
use super::source::{JudgeArguments, SourceArguments};
use super::{CliError, Outcome, output, remark};

/// A page to look at, to print or to show: one HTML file that needs no other and no network
///
/// Of a piece: it against its pattern's good periods, the pipe to scale with what is out of norm called out,
/// each dimension with its references and ranges, traced outlines and sections, the finish, size against
/// shape, and what can be put right, as found, as planned and as left. Of a pattern: what its good periods'
/// pieces measure, each dimension through the years with the years in which it shifted, who measured, and how
/// many more pieces are needed.
#[derive(Debug, Args)]
#[command(after_help = "Exit status: 0 the page is written, 2 wrong use or bad input.")]
pub(super) struct Arguments {
    /// Name of a specimen in the source or in FILE, or of a pattern in any spelling; a FILE of one row needs
    /// none
    #[arg(
        value_name = "SPECIMEN|PATTERN",
        required_unless_present_any = ["all", "file"],
        conflicts_with = "all",
        default_value = "",
        hide_default_value = true
    )]
    name: String,
    /// A page of every piece and of every pattern, and an index of them, in a new or empty folder
    #[arg(long, conflicts_with_all = ["file", "maker"])]
    all: bool,
    /// The specimen is a row of this CSV file instead (- is standard input)
    #[arg(long, value_name = "FILE")]
    file: Option<PathBuf>,
    /// The pattern's maker, where two makers share its name
    #[arg(long, conflicts_with = "file")]
    maker: Option<String>,
    /// Where to write the page (- is standard output); with --all or --pictures a new or empty folder
    #[arg(short, long, value_name = "FILE.html|DIR")]
    output: PathBuf,
    /// The pictures of the page instead, an SVG file each, for a document
    #[arg(long, conflicts_with = "all")]
    pictures: bool,
    #[command(flatten)]
    judge: JudgeArguments,
    #[command(flatten)]
    source: SourceArguments,
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, CliError> {
    let to_reader = arguments.output.as_os_str() == "-";
    if to_reader && (arguments.all || arguments.pictures) {
        let what = "a folder cannot go to standard output: name one that is not there yet";
        return Err(CliError::Usage(what.to_owned()));
    }
    arguments.spares_what_it_reads()?;
    if arguments.all {
        return arguments.of_all();
    }
    let folder = arguments.pictures.then(|| Folder::new(&arguments.output));
    let folder = folder.transpose()?;
    let page = match &arguments.file {
        Some(file) => arguments.of_row(file)?,
        None => arguments.of_name()?,
    };
    match folder {
        None if to_reader => output::write_text(&page)?,
        None => write_page(&arguments.output, &page)?,
        Some(folder) => {
            for (name, svg) in pictures(&page) {
                folder.write(&format!("{name}.svg"), &svg)?;
            }
            folder.done()?;
        }
    }
    Ok(Outcome::Done)
}

impl Arguments {
    /// A page must not be written over what it is made from.
    fn spares_what_it_reads(&self) -> Result<(), CliError> {
        let Ok(output) = self.output.canonicalize() else {
            return Ok(());
        };
        let read = self.source.files().into_iter().chain(self.file.clone());
        let is_read = |path: PathBuf| path.canonicalize().is_ok_and(|path| path == output);
        match read.into_iter().any(is_read) {
            true => Err(CliError::Usage(format!(
                "{} is what the page is made from; nothing was done",
                self.output.display()
            ))),
            false => Ok(()),
        }
    }

    /// The source, and its single readings as they were written.
    fn open(&self) -> Result<(Source, Option<Details>), CliError> {
        let mut source = self.source.open_in_detail(true, None)?;
        let details = source.table.details.clone();
        source.table = self.source.ready(source.table);
        Ok((source, details))
    }

    /// Its pieces as recorded works left them, where it keeps works.
    fn left(&self) -> Result<Option<Source>, CliError> {
        Ok(match self.source.keeps_works() {
            true => self.source.open_for(None, true, false)?.1,
            false => None,
        })
    }

    /// The page of a row of a file.
    fn of_row(&self, file: &Path) -> Result<String, CliError> {
        let (source, other) = self.source.open_for(Some(file), false, true)?;
        let judged = other.as_ref().unwrap_or(&source);
        if judged.table.specimens.is_empty() {
            self.source.write_set_aside(judged)?;
            return Err(no_piece(judged));
        }
        let named: Vec<String> = Some(self.name.clone())
            .filter(|name| !name.is_empty())
            .into_iter()
            .collect();
        let rows = rows_of(judged, Some(file), &named)?;
        let [row] = rows[..] else {
            return Err(CliError::Usage(format!(
                "{} has {} specimens: name the one to make a page of",
                file.display(),
                rows.len()
            )));
        };
        let (page, _) = self.at_bench(&source, judged, |bench| {
            bench.specimen(other.as_ref().map(|other| &other.table), row, None)
        })?;
        for read in [Some(&source), other.as_ref()].into_iter().flatten() {
            self.source.write_set_aside(read)?;
        }
        Ok(page)
    }

    /// The page of a specimen or a pattern of the source.
    fn of_name(&self) -> Result<String, CliError> {
        let (source, details) = self.open()?;
        let specimens = &source.table.specimens;
        let row = specimens.find(&self.name).filter(|_| self.maker.is_none());
        let patterns = specimens.patterns.names();
        let name = fold(&self.name);
        let is_pattern = patterns.iter().any(|pattern| fold(pattern) == name);
        let page = match row {
            Some(row) => {
                if is_pattern {
                    let named = specimens
                        .makers
                        .names()
                        .iter()
                        .any(|maker| !maker.is_empty());
                    let how = match named {
                        true => "--maker shows the pattern",
                        false => "give one of them another name to see the pattern",
                    };
                    remark(format!(
                        "`{}` is a piece and a pattern: this is the piece; {how}",
                        shown(&self.name)
                    ));
                }
                let left = self.left()?;
                let left = left.as_ref().and_then(|left| left_of(left, &self.name));
                let of_piece = |bench: &Bench<'_>| bench.specimen(None, row, left);
                self.at_bench(&source, &source, of_piece)?.0
            }
            None if is_pattern => self.at_bench(&source, &source, |bench| {
                let group = self.group(bench.evidence.cohort())?;
                let every = bench.evidence.cohort().of_all_pieces()?;
                bench.pattern(&every, group, details.as_ref())
            })?,
            None => {
                let known = specimens.names.iter();
                let near = nearest(&self.name, known.chain(patterns.iter().map(String::as_str)));
                return Err(CliError::Usage(format!(
                    "no specimen and no pattern `{}` in the source{}",
                    shown(&self.name),
                    hint(&near)
                )));
            }
        };
        self.source.write_set_aside(&source)?;
        Ok(page)
    }

    /// A page of every piece and pattern, in a folder.
    fn of_all(&self) -> Result<Outcome, CliError> {
        let folder = Folder::new(&self.output)?;
        let (source, details) = self.open()?;
        if source.table.specimens.is_empty() {
            self.source.write_set_aside(&source)?;
            return Err(no_piece(&source));
        }
        let left = self.left()?;
        self.at_bench(&source, &source, |bench| {
            write_all(bench, &folder, left.as_ref(), details.as_ref())
        })?;
        folder.done()?;
        self.source.write_set_aside(&source)?;
        Ok(Outcome::Done)
    }

    /// Gets all ready that pages are made from; the pieces are those of `judged`.
    fn at_bench<T>(
        &self,
        source: &Source,
        judged: &Source,
        work: impl FnOnce(&Bench<'_>) -> Result<T, CliError>,
    ) -> Result<T, CliError> {
        let settings = self.judge.settings()?;
        let cohort = self.judge.cohort(source)?;
        let evidence = self.judge.evidence(&cohort)?;
        let evidence = match self.all {
            true => evidence.for_many(),
            false => evidence,
        };
        work(&Bench {
            evidence: &evidence,
            settings: &settings,
            workshop: &Workshop::new(&judged.table.catalogue, None, None)?,
            aim: &Aim::new(0.95, Goal::Near, DrillSet::All)
                .map_err(|error| CliError::Usage(error.to_string()))?,
            origin: origin(source, &today()?),
        })
    }

    /// The pattern that was named; of several makers' one must be named, which `chosen` asks for.
    fn group(&self, cohort: &Cohort<'_>) -> Result<usize, CliError> {
        let groups = chosen(cohort, Some(&self.name), self.maker.as_deref())?;
        let first = groups.first().copied();
        first.ok_or_else(|| {
            CliError::Usage(format!("no pattern `{}` in the source", shown(&self.name)))
        })
    }
}

/// How a piece stands, for the index.
struct Standing {
    words: String,
    is_out: bool,
}

/// All that pages are made from.
struct Bench<'a> {
    evidence: &'a Evidence<'a>,
    settings: &'a Settings,
    workshop: &'a Workshop,
    aim: &'a Aim,
    origin: Origin<'a>,
}

impl Bench<'_> {
    /// The page of a piece of the source, or of another table, and the verdict on it.
    fn specimen(
        &self,
        other: Option<&Table>,
        row: usize,
        left: Option<Left<'_>>,
    ) -> Result<(String, Standing), CliError> {
        let (evidence, settings, workshop) = (self.evidence, self.settings, self.workshop);
        let plan = match other {
            None => refit(evidence, row, settings, workshop, self.aim)?,
            Some(table) => refit_against(evidence, table, row, settings, workshop, self.aim)?,
        };
        let tolerances = match other {
            None => tolerances(evidence, row, settings)?,
            Some(table) => tolerances_against(evidence, table, row, settings)?,
        };
        let page = SpecimenPage {
            evidence,
            other,
            row,
            settings,
            plan: &plan,
            tolerances: &tolerances,
            left,
            origin: self.origin,
        };
        let words = CheckWords {
            cohort: evidence.cohort(),
            catalogue: &other.unwrap_or(evidence.cohort().table()).catalogue,
            settings,
        };
        let standing = Standing {
            words: words.standing(&plan.check),
            is_out: words.is_out_of_norm(&plan.check),
        };
        Ok((page.html(), standing))
    }

    /// The page of a pattern.
    fn pattern(
        &self,
        every: &Cohort<'_>,
        group: usize,
        details: Option<&Details>,
    ) -> Result<String, CliError> {
        let norms = norms(self.evidence, &[group], self.settings)?;
        let scope = [Scope::Pattern(group)];
        let page = PatternPage {
            evidence: self.evidence,
            every,
            group,
            settings: self.settings,
            norms: &norms,
            shifts: &shift_years(every, &scope, self.settings.alpha())?,
            measured_by: &details.map_or(Vec::new(), |details| measured_by(details, every, group)),
            origin: self.origin,
        };
        Ok(page.html())
    }
}

/// Writes a page of every piece and pattern, and the index.
fn write_all(
    bench: &Bench<'_>,
    folder: &Folder,
    left: Option<&Source>,
    details: Option<&Details>,
) -> Result<(), CliError> {
    let cohort = bench.evidence.cohort();
    let specimens = &cohort.table().specimens;
    let groups = cohort.find_groups(None, None);
    // Pattern by pattern, as the index has them.
    let mut of_groups: Vec<Vec<usize>> = vec![Vec::new(); cohort.groups().len()];
    (0..specimens.len()).for_each(|row| of_groups[cohort.group_of(row)].push(row));
    let rows: Vec<usize> = groups
        .iter()
        .flat_map(|&group| &of_groups[group])
        .copied()
        .collect();
    let mut names = Names::default();
    let mut file = |row: &usize| format!("pieces/{}.html", names.of(specimens.names.get(*row)));
    let files: Vec<String> = rows.iter().map(&mut file).collect();
    let bar = Bar::new(
        Some((rows.len() + groups.len()) as u64),
        "pages {pos} of {len} {wide_bar}",
    );
    let piece = |at: usize| -> Result<IndexEntry, CliError> {
        let (row, file) = (rows[at], &files[at]);
        let name = specimens.names.get(row);
        let left = left.and_then(|left| left_of(left, name));
        let (page, standing) = bench.specimen(None, row, left)?;
        folder.write(file, &page)?;
        bar.step();
        Ok(IndexEntry {
            specimen: name.to_owned(),
            group: cohort.group_of(row),
            standing: standing.words,
            is_out: standing.is_out,
            file: file.clone(),
        })
    };
    let pieces = side_by_side(rows.len(), piece)?;
    let every = cohort.of_all_pieces()?;
    let mut names = Names::default();
    let mut patterns = Vec::with_capacity(groups.len());
    for group in groups {
        let of = &cohort.groups()[group];
        let title = group_title(&of.maker, &of.pattern);
        let mut file = None;
        if !of.pattern.is_empty() {
            let path = format!("patterns/{}.html", names.of(&title));
            folder.write(&path, &bench.pattern(&every, group, details)?)?;
            file = Some(path);
        }
        patterns.push(PatternEntry { group, title, file });
        bar.step();
    }
    let index = IndexPage {
        pieces: &pieces,
        patterns: &patterns,
        origin: bench.origin,
    };
    folder.write("index.html", &index.html())?;
    bar.finish();
    Ok(())
}

/// A piece as recorded works left it.
fn left_of<'s>(left: &'s Source, name: &str) -> Option<Left<'s>> {
    let row = left.table.specimens.find(name)?;
    let table = &left.table;
    Some(Left { table, row })
}

/// `work(0)` to `work(n - 1)` in several threads, their answers in order; the first error ends all.
fn side_by_side<T: Send>(
    n: usize,
    work: impl Fn(usize) -> Result<T, CliError> + Sync,
) -> Result<Vec<T>, CliError> {
    let threads = thread::available_parallelism()
        .map_or(1, usize::from)
        .min(n.max(1));
    let (next, failed) = (AtomicUsize::new(0), AtomicBool::new(false));
    let some = || {
        let mut done = Vec::new();
        loop {
            let at = next.fetch_add(1, Ordering::Relaxed);
            if at >= n || failed.load(Ordering::Relaxed) {
                return Ok(done);
            }
            match work(at) {
                Ok(answer) => done.push((at, answer)),
                Err(error) => {
                    failed.store(true, Ordering::Relaxed);
                    return Err(error);
                }
            }
        }
    };
    let parts: Vec<Result<Vec<(usize, T)>, CliError>> = thread::scope(|scope| {
        let all: Vec<_> = (0..threads).map(|_| scope.spawn(some)).collect();
        // The panic of a thread goes on in this one.
        let joined = all.into_iter().map(|t| t.join());
        joined
            .map(|part| part.unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
            .collect()
    });
    let parts: Vec<Vec<(usize, T)>> = parts.into_iter().collect::<Result<_, _>>()?;
    let mut all: Vec<(usize, T)> = parts.into_iter().flatten().collect();
    all.sort_unstable_by_key(|(at, _)| *at);
    Ok(all.into_iter().map(|(_, answer)| answer).collect())
}

fn no_piece(source: &Source) -> CliError {
    let file = &source.provenance.source;
    CliError::Usage(format!(
        "no good row is left in {file}: there is no piece to make a page of"
    ))
}

fn origin<'a>(source: &'a Source, on: &'a str) -> Origin<'a> {
    let provenance = &source.provenance;
    Origin {
        source: &provenance.source,
        revision: provenance.revision,
        sha256: provenance.sha256.as_deref(),
        on,
    }
}

/// Who measured a pattern's pieces, those with most readings first.
fn measured_by(details: &Details, cohort: &Cohort<'_>, group: usize) -> Vec<MeasuredBy> {
    let mut all: BTreeMap<&str, (BTreeSet<u32>, usize)> = BTreeMap::new();
    let own = |reading: &&KeptReading| cohort.group_of(reading.specimen as usize) == group;
    for reading in details.readings.iter().filter(own) {
        let how = reading
            .circumstance
            .and_then(|at| details.circumstances.get(at as usize));
        let (pieces, readings) = all
            .entry(how.map_or("", |how| &how.measured_by))
            .or_default();
        pieces.insert(reading.specimen);
        *readings += 1;
    }
    let mut all: Vec<MeasuredBy> = all
        .into_iter()
        .map(|(who, (pieces, readings))| MeasuredBy {
            who: who.to_owned(),
            pieces: pieces.len(),
            readings,
        })
        .collect();
    all.sort_by_key(|of| std::cmp::Reverse(of.readings));
    all
}

/// Today by UTC, or the day of `SOURCE_DATE_EPOCH` (<https://reproducible-builds.org>), so that a page can be
/// made again byte for byte.
fn today() -> Result<String, CliError> {
    let set = std::env::var("SOURCE_DATE_EPOCH").ok();
    let then = match set {
        None => jiff::Timestamp::now(),
        Some(text) => {
            let seconds = text.trim().parse().ok();
            let then = seconds.and_then(|seconds| jiff::Timestamp::from_second(seconds).ok());
            then.ok_or_else(|| {
                CliError::Usage(format!(
                    "SOURCE_DATE_EPOCH is `{text}`; expected seconds since 1970"
                ))
            })?
        }
    };
    Ok(then.strftime("%Y-%m-%d").to_string())
}
