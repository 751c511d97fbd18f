//! `calibriar screen`

use calibriar::cohort::{Choice, Cohort, Selection};
use calibriar::report::{SCREEN_COLUMNS, ScreenRow};
use calibriar::screen::{Code, Finding, Screening, Settings, Suspect, screen, specimens};
use calibriar::table::Table;
use clap::Args;

use super::json::ScreenOut;
use super::norms::provenance_line;
use super::output::{self, Format, FormatArgument, counted, shown};
use super::source::SourceArguments;
use super::{CliError, Outcome, remark};

/// Readings in the source that look like slips: of the unit, the decimal point, exchanged columns or
/// digits, copied cells, pieces entered twice, habits of rounding, readings unlike their fellows
///
/// Every reading is compared with the pieces of its own pattern and time. Nothing is changed: each
/// finding says what would explain the reading and how much better that fits. Over a wholly clean
/// source anything at all is found with a probability of --alpha at most.
#[derive(Debug, Args)]
#[command(after_help = "Exit status: 0 nothing found, 1 something found, \
    2 wrong use or bad input.")]
pub(super) struct Arguments {
    #[command(flatten)]
    format: FormatArgument,
    #[command(flatten)]
    source: SourceArguments,
    /// Probability with which a wholly clean source has any finding
    #[arg(long, value_name = "SHARE", default_value_t = 0.05)]
    alpha: f64,
    /// Look for these alone, such as unit_inch,columns_exchanged
    #[arg(long, value_name = "CODE,...", value_delimiter = ',', value_parser = code)]
    only: Vec<Code>,
}

fn code(name: &str) -> Result<Code, String> {
    Code::parse(name).ok_or_else(|| {
        let known: Vec<&str> = Code::ALL.iter().map(|c| c.name()).collect();
        format!("expected one of {}", known.join(", "))
    })
}

/// The settings, or what is wrong with them.
fn settings(alpha: f64, only: &[Code]) -> Result<Settings, CliError> {
    Settings::new(alpha, only).map_err(|error| CliError::Usage(format!("--{error}")))
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, CliError> {
    let settings = settings(arguments.alpha, &arguments.only)?;
    let format = arguments.format.choose();
    let source = arguments
        .source
        .open_in_detail(format != Format::Csv, None)?;
    let table = &source.table;
    let screening = screen(&cohort(table)?, &settings);
    arguments.source.write_set_aside(&source)?;
    let findings = &screening.findings;
    match format {
        Format::Json => output::write_json(&ScreenOut::new(
            &screening,
            &source.provenance,
            table,
            settings.alpha(),
        ))?,
        Format::Csv => output::write_csv(
            SCREEN_COLUMNS,
            findings
                .iter()
                .map(|f| ScreenRow::new(f, table, |list| list.join("; "))),
        )?,
        Format::Table => {
            let mut text = page(&screening, table, &settings);
            text.push_str(&provenance_line(&source.provenance));
            output::write_text(&text)?;
        }
    }
    Ok(match findings.is_empty() {
        true => Outcome::Done,
        false => Outcome::Found,
    })
}

/// Pieces of every period: their standing does not matter to a slip.
fn cohort(table: &Table) -> Result<Cohort<'_>, CliError> {
    let every = Choice {
        periods: Selection::Every,
        unknown_state: false,
    };
    Ok(Cohort::new(table, &every)?)
}

/// So many findings of one code are told to people.
const TOLD: usize = 40;

fn page(screening: &Screening, table: &Table, settings: &Settings) -> String {
    let findings = &screening.findings;
    let judged = counted(screening.judged, "reading", "readings");
    let fellows = match screening.without_fellows {
        0 => String::new(),
        n => format!("; {} too few fellows", has(n)),
    };
    if findings.is_empty() {
        let text = format!("no slip found among {judged} compared with their fellows{fellows}");
        return output::wrapped(&text, "");
    }
    let mut text = String::new();
    for of_code in findings.chunk_by(|a, b| a.code == b.code) {
        let code = of_code[0].code;
        let mut words = code.words().to_owned();
        words[..1].make_ascii_uppercase();
        text.push_str(&format!("{words} ({}): {}\n", code.name(), of_code.len()));
        for finding in of_code.iter().take(TOLD) {
            text.push_str(&output::wrapped(&told(finding, table), "  "));
        }
        if of_code.len() > TOLD {
            text.push_str(&format!(
                "  and {} more: --format csv\n",
                of_code.len() - TOLD
            ));
        }
        text.push('\n');
    }
    let pieces = match specimens(findings) {
        0 => String::new(),
        n => format!(" about {}", counted(n, "piece", "pieces")),
    };
    let promise = match settings.alpha() {
        alpha if alpha > 0.5 => String::new(),
        alpha => format!(
            " Of a wholly clean source anything at all is found about once in {:.0} times at most.",
            1.0 / alpha
        ),
    };
    let summary = format!(
        "{}{pieces}, among {judged} compared with their fellows{fellows}.{promise}",
        counted(findings.len(), "finding", "findings"),
    );
    text.push_str(&output::wrapped(&summary, ""));
    text.push_str(&output::wrapped(
        "Nothing was changed. Look at the piece or the sheet first. Then mend the sheet and add it again \
         with `calibriar add --correct --why REASON`, or take the reading out with `calibriar \
         withdraw`; a reading that is right may stay.",
        "",
    ));
    text
}

fn has(n: usize) -> String {
    match n {
        1 => "1 has".to_owned(),
        n => format!("{n} have"),
    }
}

/// One finding: whose, what, and how strong it is.
fn told(finding: &Finding, table: &Table) -> String {
    let pattern = (finding.rows.first())
        .map(|&row| table.specimens.patterns.get(row))
        .filter(|pattern| !pattern.is_empty() && finding.rows.len() <= 2)
        .map_or(String::new(), |pattern| format!(" [{pattern}]"));
    let evidence = match (finding.p, finding.evidence) {
        (Some(p), _) => format!("p {}", output::probability(p)),
        (None, Some(e)) if e >= 6.0 => format!("fits 10^{e:.0} times better"),
        (None, Some(e)) => format!("fits {:.0} times better", 10f64.powf(e)),
        (None, None) => "outside what a real pipe can have".to_owned(),
    };
    shown(&format!("{}{pattern}; {evidence}", finding.sentence))
}

/// Says in a few remarks what looks like a slip among the pieces of these rows.
pub(super) fn caution(table: &Table, rows: Vec<bool>) -> Result<(), CliError> {
    /// More would drown what `add` has to say.
    const REMARKS: usize = 10;
    const ALPHA: f64 = 0.05;
    let settings = settings(ALPHA, &[])?.judging(rows);
    let mut findings = screen(&cohort(table)?, &settings).findings;
    // Of a value that no pipe has reading it told the slip of a unit; not what it was exchanged with.
    findings.retain(|f| {
        let credible = |s: &Suspect| table.catalogue.at(s.dimension).is_credible(s.value);
        let exchanged = matches!(f.code, Code::ColumnsExchanged | Code::DigitsExchanged);
        exchanged || f.suspects.is_empty() || f.suspects.iter().any(credible)
    });
    for finding in findings.iter().take(REMARKS) {
        remark(format!(
            "looks like a slip ({}): {}",
            finding.code.name(),
            shown(&finding.sentence)
        ));
    }
    if findings.len() > REMARKS {
        remark(format!(
            "{} more: calibriar screen",
            findings.len() - REMARKS
        ));
    }
    Ok(())
}
