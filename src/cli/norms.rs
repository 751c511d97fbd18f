//! `calibriar norms`

use calibriar::catalogue::{Kind, nearest};
use calibriar::cohort::Cohort;
use calibriar::norm::{Norm, Settings, norms};
use calibriar::source::{Provenance, Source};
use clap::Args;

use super::json::{NORM_COLUMNS, NormOut, NormsOut};
use super::output::{self, Format, FormatArgument, band, sized};
use super::source::{JudgeArguments, SourceArguments, group_title};
use super::{CliError, Outcome};

/// Typical ranges by pattern and dimension: what the good periods' pieces measure, and how firm
/// that is
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// One pattern, in any spelling; all patterns if left out
    pattern: Option<String>,
    /// Its maker, where two makers share the pattern's name
    #[arg(long)]
    maker: Option<String>,
    #[command(flatten)]
    format: FormatArgument,
    #[command(flatten)]
    source: SourceArguments,
    #[command(flatten)]
    judge: JudgeArguments,
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, CliError> {
    let settings = arguments.judge.settings()?;
    let format = arguments.format.choose();
    let source = arguments.source.open(None, format != Format::Csv)?;
    let cohort = arguments.judge.cohort(&source)?;
    let groups = chosen(
        &cohort,
        arguments.pattern.as_deref(),
        arguments.maker.as_deref(),
    )?;
    let norms = norms(&cohort, &groups, &settings)?;
    let out = norms.iter().map(|n| NormOut::new(n, &cohort, &settings));
    match format {
        Format::Json => output::write_json(&NormsOut {
            provenance: &source.provenance,
            norms: out.collect(),
        })?,
        Format::Csv => output::write_csv(&NORM_COLUMNS, out.map(NormOut::into_row))?,
        Format::Table => output::write_text(&page(&source, &cohort, &groups, &norms, &settings))?,
    }
    Ok(Outcome::Done)
}

/// The patterns to show: one where a name is given, else all.
fn chosen(
    cohort: &Cohort<'_>,
    pattern: Option<&str>,
    maker: Option<&str>,
) -> Result<Vec<usize>, CliError> {
    let all = cohort.groups();
    let found = cohort.find_groups(pattern, maker);
    match (found.len(), pattern, maker) {
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
            let makers: Vec<&str> = found.iter().map(|&g| all[g].maker.as_str()).collect();
            Err(CliError::Usage(format!(
                "several makers have a pattern `{pattern}`: {}; choose one with --maker",
                makers.join(", ")
            )))
        }
        _ => Ok(found),
    }
}

fn hint(nearest: &[&str]) -> String {
    match nearest {
        [] => String::new(),
        names => format!("; nearest: {}", names.join(", ")),
    }
}

/// The table for people.
fn page(
    source: &Source,
    cohort: &Cohort<'_>,
    groups: &[usize],
    norms: &[Norm],
    settings: &Settings,
) -> String {
    let mut text = String::new();
    for &group in groups {
        let of = &cohort.groups()[group];
        let rows: Vec<&Norm> = norms.iter().filter(|n| n.group == group).collect();
        text.push_str(&group_title(&of.maker, &of.pattern));
        text.push('\n');
        let pieces = output::counted(of.references, "piece", "pieces");
        if rows.is_empty() {
            text.push_str("  no factory reading of the chosen periods: nothing can be said\n\n");
            continue;
        }
        text.push_str(&output::wrapped(
            &match of.periods.is_empty() {
                true => pieces,
                false => format!("{pieces} of {}", of.periods.join(", ")),
            },
            "  ",
        ));
        text.push_str(&strips(cohort, &rows));
        text.push('\n');
    }
    text.push_str(&legend(settings));
    text.push_str(&provenance_line(&source.provenance));
    text
}

fn strips(cohort: &Cohort<'_>, rows: &[&Norm]) -> String {
    let headings = [
        "dimension",
        ">n",
        ">centre",
        ">±",
        ">spread",
        "typical range",
        "tolerance band",
        "range seen",
    ];
    let mut table = output::table(&headings);
    for norm in rows {
        let dimension = cohort.table().catalogue.at(norm.dimension);
        let label = format!("{}, {}", dimension.label, dimension.unit);
        let seen = norm.described;
        let Some(firm) = &norm.firm else {
            let scale = seen.max - seen.min;
            let mut cells = vec![label, norm.n.to_string(), sized(norm.centre, scale)];
            cells.extend(["-", "-", "too few", "too few"].map(str::to_owned));
            cells.push(band(seen.min, seen.max, scale));
            table.add_row(cells);
            continue;
        };
        let in_unit = (firm.typical.high - firm.typical.low) / 4.0;
        let spread = match norm.kind {
            Kind::Ratio => format!("{:.1} %", 100.0 * firm.spread),
            Kind::Interval => sized(firm.spread, firm.spread),
        };
        table.add_row(vec![
            label,
            norm.n.to_string(),
            sized(norm.centre, in_unit),
            sized((firm.centre.high - firm.centre.low) / 2.0, in_unit),
            spread,
            band(firm.typical.low, firm.typical.high, in_unit),
            band(firm.tolerance.low, firm.tolerance.high, in_unit),
            band(seen.min, seen.max, in_unit),
        ]);
    }
    output::lines(&table)
}

fn legend(settings: &Settings) -> String {
    let percent = |share: f64| format!("{} %", 100.0 * share);
    let (coverage, confidence) = (percent(settings.coverage()), percent(settings.confidence()));
    [
        format!("typical range: the next good piece falls in it with probability {coverage}"),
        format!(
            "tolerance band: holds at least {coverage} of all good pieces, with confidence \
             {confidence}"
        ),
        format!("±: half of the centre's confidence interval, {confidence}"),
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
