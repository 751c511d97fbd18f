//! `calibriar norms`

use calibriar::catalogue::{Kind, fold, look_like_one, nearest};
use calibriar::cohort::Cohort;
use calibriar::norm::{Norm, Settings, norms};
use calibriar::report::{NORM_COLUMNS, NormRow, joined};
use calibriar::source::{Provenance, Source};
use calibriar::words::{dimension_label, grain, group_title, hint, maker_shown, not_credible};
use clap::Args;

use super::json::{NormOut, NormsOut};
use super::left_out::LeaveOut;
use super::output::{self, Format, band, probability, sized};
use super::source::Question;
use super::strip::{Pen, strip};
use super::{CliError, Outcome, left_out, moved, remark};

/// Typical ranges by pattern and dimension: what the good periods' pieces measure, and how firm
/// that is
#[derive(Debug, Args)]
#[command(after_help = "Exit status: 0 answered, 2 wrong use or bad input.")]
pub(super) struct Arguments {
    /// One pattern, in any spelling; all patterns if left out
    pub(super) pattern: Option<String>,
    /// Its maker, where two makers share the pattern's name
    #[arg(long)]
    pub(super) maker: Option<String>,
    /// What has moved since that revision of a collection, because of which pieces, and which
    /// verdicts turn
    #[arg(long, value_name = "REVISION", conflicts_with = "leave_out", value_parser = revision)]
    since: Option<i64>,
    /// With --since and csv or json: movements that do not show in the printed digits as well
    #[arg(long, requires = "since")]
    pub(super) all: bool,
    /// How far each limit moves without one source, one measurer or one period at a time
    #[arg(long, value_name = "WHOSE")]
    leave_out: Option<LeaveOut>,
    /// Ranges and spreads of the pieces themselves, reading errors taken out; by default they are
    /// those of a reading of the usual uncertainty
    #[arg(long)]
    pub(super) true_size: bool,
    #[command(flatten)]
    pub(super) question: Question,
}

fn revision(text: &str) -> Result<i64, String> {
    text.trim().parse().map_err(|_| {
        "expected the number of a revision, such as 3 (calibriar history shows them)".to_owned()
    })
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, CliError> {
    if let Some(revision) = arguments.since {
        return moved::run(arguments, revision);
    }
    if let Some(whose) = arguments.leave_out {
        return left_out::run(arguments, whose);
    }
    let (settings, format, source) = arguments.question.open()?;
    let settings = settings.with_true_size(arguments.true_size);
    let cohort = arguments.question.judge.cohort(&source)?;
    let groups = chosen(
        &cohort,
        arguments.pattern.as_deref(),
        arguments.maker.as_deref(),
    )?;
    let evidence = arguments.question.judge.evidence(&cohort)?;
    let norms = norms(&evidence, &groups, &settings)?;
    arguments.question.source.write_set_aside(&source)?;
    for line in look_alikes(&cohort, &groups) {
        remark(line);
    }
    match format {
        Format::Json => output::write_json(&NormsOut {
            provenance: &source.provenance,
            norms: norms
                .iter()
                .map(|n| NormOut::new(n, &cohort, &settings))
                .collect(),
        })?,
        Format::Csv => output::write_csv(
            NORM_COLUMNS,
            norms
                .iter()
                .map(|n| NormRow::new(n, &cohort, &settings, joined)),
        )?,
        Format::Table => output::write_text(&page(&source, &cohort, &groups, &norms, &settings))?,
    }
    Ok(Outcome::Done)
}

/// The patterns to show: one where a name is given, else all.
pub(super) fn chosen(
    cohort: &Cohort<'_>,
    pattern: Option<&str>,
    maker: Option<&str>,
) -> Result<Vec<usize>, CliError> {
    let all = cohort.groups();
    let found = cohort.find_groups(pattern, maker);
    match (found.len(), pattern, maker) {
        (0, Some(pattern), Some(maker)) if !cohort.find_groups(Some(pattern), None).is_empty() => {
            let by = cohort.find_groups(Some(pattern), None);
            let makers: Vec<&str> = by.iter().map(|&g| all[g].maker.as_str()).collect();
            Err(CliError::Usage(format!(
                "no pattern `{pattern}` by `{maker}`; it is by: {}",
                makers.join(", ")
            )))
        }
        (0, Some(pattern), _) => {
            let near = nearest(pattern, all.iter().map(|g| g.pattern.as_str()));
            Err(CliError::Usage(format!(
                "no pattern `{pattern}` in the source{}",
                hint(&near)
            )))
        }
        (0, None, Some(maker)) => {
            let near = nearest(maker, all.iter().map(|g| g.maker.as_str()));
            Err(CliError::Usage(format!(
                "no maker `{maker}` in the source{}",
                hint(&near)
            )))
        }
        (2.., Some(pattern), _) => {
            let makers: Vec<&str> = found.iter().map(|&g| maker_shown(&all[g].maker)).collect();
            Err(CliError::Usage(format!(
                "several makers have a pattern `{pattern}`: {}; choose one with --maker",
                makers.join(", ")
            )))
        }
        _ => Ok(found),
    }
}

/// Patterns of a maker that may be one, spelt in several ways: those of `groups` with few pieces.
pub(super) fn look_alikes(cohort: &Cohort<'_>, groups: &[usize]) -> Vec<String> {
    /// With more pieces each, people would have noticed.
    const FEW: usize = 10;
    /// Every pair is compared.
    const MOST: usize = 200;
    let all = cohort.groups();
    if all.len() > MOST {
        return Vec::new();
    }
    let alike = |a: usize, b: usize| {
        let (a, b) = (&all[a], &all[b]);
        let few = a.pieces.min(b.pieces) <= FEW;
        few && fold(&a.maker) == fold(&b.maker) && look_like_one(&a.pattern, &b.pattern)
    };
    let mut told = vec![false; all.len()];
    let mut lines = Vec::new();
    for &group in groups {
        if std::mem::replace(&mut told[group], true) {
            continue;
        }
        let mut of_one = vec![group];
        let mut at = 0;
        while let Some(&known) = of_one.get(at) {
            for (other, told) in told.iter_mut().enumerate() {
                if !of_one.contains(&other) && alike(known, other) {
                    of_one.push(other);
                    *told = true;
                }
            }
            at += 1;
        }
        if of_one.len() < 2 {
            continue;
        }
        of_one.sort_by_key(|&of| std::cmp::Reverse(all[of].pieces));
        let names: Vec<String> = of_one
            .iter()
            .map(|&of| format!("`{}` ({})", output::shown(&all[of].pattern), all[of].pieces))
            .collect();
        let (last, first) = names.split_last().map_or(("", &[][..]), |(l, f)| (l, f));
        lines.push(format!(
            "patterns {} and {last} look like one: mend the sheet if they are",
            first.join(", ")
        ));
    }
    lines
}

/// The table for people.
fn page(
    source: &Source,
    cohort: &Cohort<'_>,
    groups: &[usize],
    norms: &[Norm],
    settings: &Settings,
) -> String {
    let (mut text, mut draws) = (String::new(), false);
    let pen = Pen::choose();
    if cohort.table().specimens.is_empty() {
        return format!(
            "no measurements in {} yet: calibriar add SHEET.csv\n",
            source.provenance.source
        );
    }
    for &group in groups {
        let of = &cohort.groups()[group];
        let rows: Vec<&Norm> = norms.iter().filter(|n| n.group == group).collect();
        text.push_str(&group_title(&of.maker, &of.pattern));
        text.push('\n');
        text.push_str(&output::wrapped(
            &voices(cohort, group, rows.is_empty()),
            "  ",
        ));
        let strengths = rows.iter().map(|n| (n.basis.kept.len(), n.loan));
        if let Some(strength) = output::strength(strengths) {
            text.push_str(&output::wrapped(&strength, "  "));
        }
        if !rows.is_empty() {
            let (table, has_strips) = ranges(cohort, &rows, pen);
            text.push_str(&table);
            draws |= has_strips;
        }
        let ranges = whole_ranges(cohort, &rows, settings);
        let remarks = rows
            .iter()
            .flat_map(|norm| remarks(cohort, norm))
            .chain(ranges);
        for line in not_credible(cohort, group, None).into_iter().chain(remarks) {
            text.push_str(&output::wrapped(&line, "  "));
        }
        text.push('\n');
    }
    text.push_str(&legend(settings));
    if draws {
        text.push_str(&output::wrapped(&pen.legend(false), "  "));
    }
    text.push_str(&provenance_line(&source.provenance));
    text
}

/// Whose readings speak for a pattern, or why nobody's do.
fn voices(cohort: &Cohort<'_>, group: usize, silent: bool) -> String {
    let of = &cohort.groups()[group];
    let pieces = output::counted(of.pieces, "piece", "pieces");
    if !silent {
        let speaking = output::counted(of.references, "piece", "pieces");
        let others = match of.pieces - of.references {
            0 => String::new(),
            n => format!("; {n} more of other periods or of no single one"),
        };
        return match of.periods.is_empty() {
            true => speaking + &others,
            false => format!("{speaking} of {}{others}", of.periods.join(", ")),
        };
    }
    if of.references > 0 {
        return format!(
            "{pieces}, {} of the chosen periods, but none with a reading in factory state \
             (--unknown-state lets unknown ones count)",
            of.references
        );
    }
    if of.pattern.is_empty() {
        return format!("{pieces} without a pattern: judged by none, and none is judged by them");
    }
    format!("{pieces}, none dated in a chosen period: nothing can be said")
}

/// Ranges seen of so many pieces that they say something by themselves.
fn whole_ranges(cohort: &Cohort<'_>, norms: &[&Norm], settings: &Settings) -> Option<String> {
    let many = norms
        .iter()
        .filter(|n| n.range_confidence >= settings.confidence());
    let labels: Vec<&str> = many
        .map(|n| cohort.table().catalogue.at(n.dimension).label.as_str())
        .collect();
    (!labels.is_empty()).then(|| {
        format!(
            "range seen: holds at least {} % of good pieces with confidence of at least {} %, whatever \
             their distribution: {}",
            100.0 * settings.coverage(),
            100.0 * settings.confidence(),
            labels.join(", ")
        )
    })
}

/// What to know of the references of a norm.
fn remarks(cohort: &Cohort<'_>, norm: &Norm) -> Vec<String> {
    let table = cohort.table();
    let dimension = table.catalogue.at(norm.dimension);
    let column = norm.column(table).map(|(_, column)| column);
    let mut remarks = Vec::new();
    let aside: Vec<String> = norm
        .basis
        .set_aside
        .iter()
        .filter_map(|aside| {
            let p = format!(", p {}", probability(aside.p));
            Some(output::whose(table, column?, aside.reference.row(), &p))
        })
        .collect();
    if !aside.is_empty() {
        remarks.push(format!(
            "{}: set aside, because unlike the others: {}",
            dimension.label,
            aside.join(", ")
        ));
    }
    if norm.basis.disagree {
        remarks.push(format!(
            "{}: the references disagree with each other: look at them first",
            dimension.label
        ));
    }
    remarks
}

/// The table of some norms of a pattern, and whether strips are shown.
fn ranges(cohort: &Cohort<'_>, rows: &[&Norm], pen: Pen) -> (String, bool) {
    let headings = [
        "dimension",
        ">n",
        ">centre",
        ">±",
        ">spread",
        "typical range",
        "tolerance band",
        "range seen",
        "strip",
    ];
    let mut table = output::table(&headings);
    let mut draws = false;
    for norm in rows {
        let dimension = cohort.table().catalogue.at(norm.dimension);
        let label = match norm.finish {
            Some(_) => dimension_label(dimension, norm.finish.as_deref()),
            None => format!("{}, {}", dimension.label, dimension.unit),
        };
        let seen = norm.described;
        let Some(firm) = &norm.firm else {
            let scale = seen.max - seen.min;
            let mut cells = vec![
                label,
                norm.basis.kept.len().to_string(),
                sized(norm.centre, scale),
            ];
            cells.extend(["-", "-", "too few", "too few"].map(str::to_owned));
            cells.push(band(seen.min, seen.max, scale));
            output::add_row(&mut table, cells);
            continue;
        };
        let in_unit = grain(firm.typical);
        let column = norm.column(cohort.table());
        let values = column
            .iter()
            .flat_map(|(_, of)| norm.rows().map(|row| of.values[row]));
        let drawn = strip(firm.typical, values, None, pen);
        draws |= !drawn.is_empty();
        let total = firm.spread.hypot(firm.spread_between_periods);
        let spread = match norm.kind {
            Kind::Ratio => format!("{:.1} %", 100.0 * total),
            Kind::Interval => sized(total, total),
        };
        output::add_row(
            &mut table,
            vec![
                label,
                norm.basis.kept.len().to_string(),
                sized(norm.centre, in_unit),
                sized((firm.centre.high - firm.centre.low) / 2.0, in_unit),
                spread,
                band(firm.typical.low, firm.typical.high, in_unit),
                band(firm.tolerance.low, firm.tolerance.high, in_unit),
                band(seen.min, seen.max, in_unit),
                drawn,
            ],
        );
    }
    output::with_strips(table, draws)
}

fn legend(settings: &Settings) -> String {
    let percent = |share: f64| format!("{} %", 100.0 * share);
    let (next, spread) = match settings.true_size() {
        true => (
            "the size itself of the next good piece, whatever it is read as,",
            "of good pieces themselves, reading errors taken out",
        ),
        false => (
            "a reading, of the usual uncertainty, of the next good piece",
            "of such readings of good pieces (--true-size: of the pieces themselves)",
        ),
    };
    let (coverage, confidence) = (percent(settings.coverage()), percent(settings.confidence()));
    [
        format!("typical range: {next} falls in it with probability {coverage}"),
        format!(
            "tolerance band: holds at least {coverage} of all good pieces, with confidence \
             {confidence}"
        ),
        format!("±: half of the centre's confidence interval, {confidence}"),
        format!("spread: {spread}, within periods and between them"),
        "range seen: of all references, those that were set aside included".to_owned(),
    ]
    .map(|line| output::wrapped(&line, "  "))
    .concat()
}

/// Where the numbers come from, in one line.
pub(super) fn provenance_line(provenance: &Provenance) -> String {
    let revision = provenance
        .revision
        .map_or(String::new(), |r| format!(", revision {r}"));
    let digest = provenance
        .sha256
        .as_deref()
        .and_then(|d| d.get(..12))
        .map_or(String::new(), |d| format!(", sha256 {d}…"));
    format!(
        "  from {}{revision}{digest}, calibriar {}\n",
        provenance.source, provenance.version
    )
}
