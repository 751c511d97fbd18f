//! `calibriar rates`

use calibriar::cohort::Cohort;
use calibriar::norm::Settings;
use calibriar::rates::{FAULTS, PatternRates, Plan, Rate, rates};
use calibriar::report::{RATE_COLUMNS, RateRow};
use calibriar::words::group_title;
use clap::Args;

use super::json::RatesOut;
use super::norms::{chosen, provenance_line};
use super::output::{self, Format};
use super::progress::Bar;
use super::source::Question;
use super::{CliError, Outcome};

/// How far the verdicts on this very collection can be trusted: false flags, faults found and the
/// contents of bands, by simulation
///
/// Invented collections with the same patterns, numbers of pieces, periods and reading errors are
/// drawn from the fitted spreads and judged. What the model leaves out is left out here as well:
/// with sizes of heavier tails than the normal law, a single dimension keeps its rate, but more good
/// pieces are called out of norm.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// One pattern, in any spelling; all patterns if left out
    pattern: Option<String>,
    /// Its maker, where two makers share the pattern's name
    #[arg(long)]
    maker: Option<String>,
    /// Invented collections to judge
    #[arg(long, value_name = "NUMBER", default_value_t = 400,
        value_parser = clap::value_parser!(u64).range(2..1_000_000_000))]
    worlds: u64,
    /// The same seed gives the same numbers
    #[arg(long, value_name = "NUMBER", default_value_t = 1)]
    seed: u64,
    #[command(flatten)]
    question: Question,
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, CliError> {
    let (settings, format, source) = arguments.question.open()?;
    let cohort = arguments.question.judge.cohort(&source)?;
    let groups = chosen(
        &cohort,
        arguments.pattern.as_deref(),
        arguments.maker.as_deref(),
    )?;
    let evidence = arguments.question.judge.evidence(&cohort)?;
    let plan = Plan {
        worlds: arguments.worlds as usize,
        seed: arguments.seed,
    };
    let bar = Bar::new(Some(plan.worlds as u64), "{wide_bar} {pos} of {len} worlds");
    let found = rates(&evidence, &groups, &settings, plan, || bar.step())?;
    bar.finish();
    let rows: Vec<RateRow<'_>> = found
        .iter()
        .filter_map(|of| RateRow::new(of, &cohort))
        .collect();
    arguments.question.source.write_set_aside(&source)?;
    match format {
        Format::Json => output::write_json(&RatesOut {
            provenance: &source.provenance,
            worlds: plan.worlds,
            seed: plan.seed,
            alpha: settings.alpha(),
            coverage: settings.coverage(),
            confidence: settings.confidence(),
            rates: rows,
        })?,
        Format::Csv => output::write_csv(RATE_COLUMNS, rows)?,
        Format::Table => {
            let mut text = page(&found, &cohort, &settings, plan);
            text.push_str(&provenance_line(&source.provenance));
            output::write_text(&text)?;
        }
    }
    Ok(Outcome::Done)
}

/// A share in per cent.
fn percent(rate: Rate) -> String {
    format!("{:.1}", 100.0 * rate.value)
}

/// What the rates mean, in a sentence.
fn summary(found: &[PatternRates], settings: &Settings) -> String {
    let told = || found.iter().filter(|of| of.out_of_norm.value.is_finite());
    let extent = |of: fn(&PatternRates) -> Rate| {
        let values = || told().map(|p| 100.0 * of(p).value);
        let (low, high) = (
            values().fold(f64::INFINITY, f64::min),
            values().fold(0.0, f64::max),
        );
        match format!("{low:.0}") == format!("{high:.0}") {
            true => format!("{high:.0} %"),
            false => format!("{low:.0} to {high:.0} %"),
        }
    };
    let alpha = settings.alpha();
    let above = told().filter(|of| of.out_of_norm.value > alpha + 2.0 * of.out_of_norm.error);
    let above = match above.count() {
        0 => String::new(),
        n => format!(
            " For {} that is more than promised: count on the figure of its own line.",
            output::counted(n, "pattern", "patterns")
        ),
    };
    format!(
        "Of good pieces {} are called out of norm somewhere (promised: about {} % at most).{above} Of \
         dimensions that are off by four times the usual spread {} are noticed; of good ones, {} stay \
         undecided.",
        extent(|p| p.out_of_norm),
        100.0 * alpha,
        extent(|p| p.noticed[3]),
        extent(|p| p.undecided),
    )
}

fn page(found: &[PatternRates], cohort: &Cohort<'_>, settings: &Settings, plan: Plan) -> String {
    let faults = FAULTS.map(|times| format!(">{times}x"));
    let mut headings = vec!["pattern", ">pieces", ">unusual", ">out"];
    headings.extend(faults.iter().map(String::as_str));
    headings.extend([">typical", ">tolerance", ">undecided"]);
    let mut table = output::table(&headings);
    let mut silent = Vec::new();
    let makers = cohort.groups().iter().map(|g| g.maker.as_str());
    let one_maker = makers
        .clone()
        .all(|maker| Some(maker) == makers.clone().next());
    for of in found {
        let group = &cohort.groups()[of.group];
        let maker = if one_maker { "" } else { &group.maker };
        let title = group_title(maker, &group.pattern);
        if !of.unusual.value.is_finite() {
            silent.push(title);
            continue;
        }
        let pieces = match of.references {
            (least, most) if least == most => least.to_string(),
            (least, most) => format!("{least} to {most}"),
        };
        let mut cells = vec![title, pieces];
        let found = of.noticed.iter().copied();
        let rates = [of.unusual, of.out_of_norm].into_iter().chain(found);
        let rates = rates.chain([of.typical, of.tolerance, of.undecided]);
        cells.extend(rates.map(percent));
        output::add_row(&mut table, cells);
    }
    let mut text = String::new();
    if silent.len() < found.len() {
        text.push_str(&output::wrapped(&summary(found, settings), ""));
        text.push('\n');
        text.push_str(&output::lines(&table));
    }
    if !silent.is_empty() {
        let line = format!(
            "too little evidence to simulate (no two fine references of any dimension): {}",
            silent.join("; ")
        );
        text.push_str(&output::wrapped(&line, "  "));
    }
    if silent.len() == found.len() {
        return text;
    }
    let errors = found.iter().flat_map(|of| {
        let rates = [
            of.unusual,
            of.out_of_norm,
            of.typical,
            of.tolerance,
            of.undecided,
        ];
        rates.into_iter().chain(of.noticed).map(|rate| rate.error)
    });
    let worst = errors.filter(|e| e.is_finite()).fold(0.0, f64::max);
    let share = |x: f64| format!("{} %", 100.0 * x);
    let alpha = share(settings.alpha());
    for line in [
        format!(
            "All in per cent, by {} invented collections (seed {}); standard errors up to {:.1} \
             (all of them in csv and json).",
            plan.worlds,
            plan.seed,
            100.0 * worst
        ),
        format!("unusual: dimensions of good pieces with p of {alpha} or less; wanted {alpha}"),
        format!("out: good pieces with any dimension out of norm; wanted {alpha} at most"),
        format!(
            "1x to 4x: dimensions with p of {alpha} or less, when off by so many times the usual spread \
             of good pieces (norms shows it)"
        ),
        format!(
            "typical: good readings within the typical range; wanted {}",
            share(settings.coverage())
        ),
        format!(
            "tolerance: tolerance bands that hold {} of the good pieces; wanted {}",
            share(settings.coverage()),
            share(settings.confidence())
        ),
        "undecided: dimensions for which silence means nothing".to_owned(),
    ] {
        text.push_str(&output::wrapped(&line, "  "));
    }
    text
}
