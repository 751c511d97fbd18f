//! `calibriar periods`

use calibriar::cohort::Cohort;
use calibriar::norm::Settings;
use calibriar::periods::comparison::{Comparison, compare};
use calibriar::periods::{FEWEST_DATED, Scope, ShiftYears, Untold, shift_years};
use calibriar::report::{
    AGAINST_COLUMNS, AGREEMENT_COLUMNS, AgainstRow, AgreementRow, PERIOD_COLUMNS,
    POOLED_AGREEMENT_COLUMNS, POOLED_COLUMNS, PeriodRow, PooledAgreementRow, PooledRow, joined,
};
use calibriar::source::Source;
use clap::{Args, ValueEnum};

use super::json::PeriodsOut;
use super::norms::{chosen, provenance_line};
use super::output::{self, Format};
use super::period_page::Page;
use super::source::Question;
use super::{CliError, Outcome, remark};

/// Whether the good periods agree among themselves, and in which dimensions and by how much each
/// other period left them
///
/// A period is compared with what one more good period would measure: good periods differ a little
/// among themselves, and only what is beyond that counts. Without PATTERN all patterns of a maker are
/// taken together; with it the pattern's own numbers are given. A test tells how rare a difference
/// is under chance. Survivors and collectors' choices are no random sample of a works' output, and no
/// test can see that.
#[derive(Debug, Args)]
#[command(after_help = "Exit status: 0 answered, whatever is found; 2 wrong use or bad input.")]
pub(super) struct Arguments {
    /// One pattern, in any spelling: its numbers in full; all patterns together if left out
    pattern: Option<String>,
    /// Its maker, where two makers share the pattern's name; without a pattern, all of that maker's
    #[arg(long)]
    maker: Option<String>,
    /// Which rows --format csv gives
    #[arg(long, value_enum, default_value_t = Part::AgainstGood)]
    part: Part,
    #[command(flatten)]
    question: Question,
}

/// One kind of row.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Part {
    /// The pieces of each period, pattern by pattern
    Periods,
    /// Whether the good periods agree, pattern by pattern
    Agreement,
    /// Each period against the good ones, pattern by pattern
    AgainstGood,
    /// Each period against the good ones, all patterns of a maker together
    Pooled,
    /// Whether the good periods agree, all patterns of a maker together
    PooledAgreement,
    /// In which years each dimension shifted
    ShiftYears,
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, CliError> {
    let (settings, format, source) = arguments.question.open()?;
    let good = arguments.question.judge.cohort(&source)?;
    let groups = chosen(
        &good,
        arguments.pattern.as_deref(),
        arguments.maker.as_deref(),
    )?;
    let every = good.of_every_period()?;
    // One part in CSV does not wait for the others.
    let part = (format == Format::Csv).then_some(arguments.part);
    let comparison = match part {
        Some(Part::ShiftYears) => Comparison::default(),
        _ => {
            let evidence = arguments.question.judge.evidence(&good)?;
            compare(&evidence, &every, &groups, &settings)
        }
    };
    let mut scopes = Scope::of(&every, &groups, arguments.pattern.is_some());
    if format == Format::Table && arguments.pattern.is_some() {
        // Those of all patterns together are on the page without a pattern.
        scopes.retain(|scope| matches!(scope, Scope::Pattern(_)));
    }
    let shifts = match part {
        None | Some(Part::ShiftYears) => shift_years(&every, &scopes, settings.alpha())?,
        Some(_) => Vec::new(),
    };
    arguments.question.source.write_set_aside(&source)?;
    let page = Page {
        comparison: &comparison,
        every: &every,
        groups: &groups,
        settings: &settings,
        in_full: arguments.pattern.is_some(),
    };
    match format {
        Format::Json => output::write_json(&PeriodsOut {
            shift_years: super::shift_years::rows(&shifts, &every),
            ..json(&comparison, &every, &source, &settings)
        })?,
        Format::Csv if arguments.part == Part::ShiftYears => {
            super::shift_years::write_csv(&shifts, &every)?;
        }
        Format::Csv => {
            if comparison.sets.is_empty() {
                remark(page.nothing());
            }
            write_part(arguments.part, &comparison, &every, &settings)?;
        }
        Format::Table => {
            let mut text = page.text();
            text.push('\n');
            let few = |f: &ShiftYears| f.found == Err(Untold::TooFew);
            match !shifts.is_empty() && shifts.iter().all(few) {
                true => text.push_str(&output::wrapped(
                    &format!(
                        "Years in which a dimension shifted: too few dated pieces to tell; that takes \
                         {FEWEST_DATED} dated pieces with the same dimension, from patterns with two of \
                         them or more."
                    ),
                    "",
                )),
                false => text.push_str(&super::shift_years::section(&shifts, &every, &settings)),
            }
            text.push_str(&provenance_line(&source.provenance));
            output::write_text(&text)?;
        }
    }
    Ok(Outcome::Done)
}

/// The rows of each kind.
struct Rows<'a> {
    comparison: &'a Comparison,
    every: &'a Cohort<'a>,
    settings: &'a Settings,
}

impl<'a> Rows<'a> {
    fn periods(&self) -> impl Iterator<Item = PeriodRow<'a>> {
        let every = self.every;
        let sets = self.comparison.sets.iter();
        sets.flat_map(move |set| PeriodRow::of_set(set, every))
    }

    fn agreement<L>(
        &self,
        list: fn(Vec<String>) -> L,
    ) -> impl Iterator<Item = AgreementRow<'a, L>> {
        let every = self.every;
        let sets = self.comparison.sets.iter();
        sets.filter_map(move |set| AgreementRow::new(set, every, list))
    }

    fn against_good(&self) -> impl Iterator<Item = AgainstRow<'a>> {
        let (every, settings) = (self.every, self.settings);
        let sets = self.comparison.sets.iter();
        sets.flat_map(move |set| {
            let all = set.against.iter();
            all.map(move |against| AgainstRow::new(set, against, every, settings))
        })
    }

    fn pooled(&self) -> impl Iterator<Item = PooledRow<'a>> {
        let (every, settings) = (self.every, self.settings);
        let pooled = self.comparison.pooled.iter();
        pooled.map(move |p| PooledRow::new(p, every, settings))
    }

    fn pooled_agreement(&self) -> impl Iterator<Item = PooledAgreementRow<'a>> {
        let every = self.every;
        let pooled = self.comparison.pooled_agreement.iter();
        pooled.map(move |p| PooledAgreementRow::new(p, every))
    }
}

fn json<'a>(
    comparison: &'a Comparison,
    every: &'a Cohort<'a>,
    source: &'a Source,
    settings: &'a Settings,
) -> PeriodsOut<'a> {
    let rows = Rows {
        comparison,
        every,
        settings,
    };
    PeriodsOut {
        provenance: &source.provenance,
        alpha: settings.alpha(),
        periods: rows.periods().collect(),
        agreement: rows.agreement(|periods| periods).collect(),
        against_good: rows.against_good().collect(),
        pooled: rows.pooled().collect(),
        pooled_agreement: rows.pooled_agreement().collect(),
        shift_years: Vec::new(),
    }
}

fn write_part(
    part: Part,
    comparison: &Comparison,
    every: &Cohort<'_>,
    settings: &Settings,
) -> Result<(), CliError> {
    let rows = Rows {
        comparison,
        every,
        settings,
    };
    match part {
        Part::Periods => output::write_csv(PERIOD_COLUMNS, rows.periods()),
        Part::Agreement => output::write_csv(AGREEMENT_COLUMNS, rows.agreement(joined)),
        Part::AgainstGood => output::write_csv(AGAINST_COLUMNS, rows.against_good()),
        Part::Pooled => output::write_csv(POOLED_COLUMNS, rows.pooled()),
        Part::PooledAgreement => {
            output::write_csv(POOLED_AGREEMENT_COLUMNS, rows.pooled_agreement())
        }
        Part::ShiftYears => Ok(()),
    }
}
