//! `calibriar refit`

use std::path::PathBuf;

use calibriar::catalogue::{Catalogue, Feature, FeatureName, Workshop};
use calibriar::cohort::Cohort;
use calibriar::norm::{Evidence, Settings};
use calibriar::notation::{Context, DecimalMark, DrillSet, Quantity, Unit, read_cell};
use calibriar::refit::outline::OutlineStock;
use calibriar::refit::{
    Aim, Goal, Proposal, Reach, Refit, Walls, WhatIf, refit, refit_against, what_if,
};
use calibriar::report::{
    REFIT_COLUMNS, STOCK_COLUMNS, WHAT_IF_COLUMNS, refit_rows, stock_rows, what_if_rows,
};
use calibriar::source::Source;
use calibriar::table::{TableError, read_bytes};
use calibriar::verdict::Verdict;
use clap::{Args, ValueEnum};

use super::check::rows_of;
use super::output::{self, Format};
use super::refit_json::{AimOut, RefitOut, RefitsOut, WhatIfOut, WhatIfsOut};
use super::refit_outlines::{OutlinesOut, PieceOut, outlines_page};
use super::refit_page;
use super::source::{Question, assignment, key_of};
use super::{CliError, Outcome};

/// What to take off a piece, to which size, and what to leave alone
///
/// Every size that is out of norm or borderline is to end in the range of good pieces with the
/// probability of --probability, by taking off as little as possible, while every other size stays where
/// good pieces are, the fit of the tenon is kept, and what must remain of wood and stem does remain. A
/// traced outline that stands out is made straight, where good ones are. What cannot be put right so is
/// left alone, with the reason. Material is only ever taken off.
///
/// The sheet is advice from a few readings and rules of thumb. The safety rules of the place where you
/// work and the judgement of a licensed or experienced hand come first.
#[derive(Debug, Args)]
#[command(
    after_help = "Exit status: 0 nothing to do, or something can be done (see the sheet for what is left alone), \
    1 something is off and none of it can be put right, 2 wrong use or bad input, 3 nothing could be decided. \
    With --outlines: 1 where an outline stands out and must not be taken down, 3 where nothing was traced. \
    With --what-if: 0 nothing out of norm afterwards, 1 something out of norm, a size that taking off does not \
    reach, less left than must remain, or a work that a plan would refuse; 2 and 3 as above."
)]
pub(super) struct Arguments {
    /// Names of specimens in the source, or in FILE
    #[arg(required_unless_present = "file")]
    specimens: Vec<String>,
    /// Plan for the rows of this CSV file instead (- is standard input): all, or those that are named
    #[arg(long, value_name = "FILE")]
    file: Option<PathBuf>,
    /// Plan from the pieces of a collection as they were found, before the works that are recorded. Without
    /// this a plan goes on from where these left them, and outlines of pieces that were worked on are left
    /// out: they were traced before. What pieces are judged by is the same either way
    #[arg(long, conflicts_with = "file")]
    as_found: bool,
    /// Probability with which a size is to end in the range of good pieces, and no less is left than must
    /// remain: from 0.5 up to, but not including, 1
    #[arg(long, value_name = "SHARE", default_value_t = 0.95)]
    probability: f64,
    /// Where in that range a size should end: just far enough inside, or at the centre
    #[arg(long, value_name = "WHERE", value_enum, default_value_t = GoalArgument::Near)]
    to: GoalArgument,
    /// The drills that there are
    #[arg(long, value_name = "SET", value_enum, default_value_t = DrillsArgument::All)]
    drills: DrillsArgument,
    /// What must remain, in rows that replace those of docs/refit.md or add to them: CSV
    /// key, label, of, least, made_of, if_unknown, source
    #[arg(long, value_name = "FILE.csv")]
    floors: Option<PathBuf>,
    /// What can be done, likewise: CSV
    /// key, label, how, of, material, tool, uncertainty, order, moves, solid, cautions, source
    #[arg(long, value_name = "FILE.csv")]
    works: Option<PathBuf>,
    /// Judge the piece as it would be with this size (`bit_thickness=4.1mm`, `draught diameter=11/64`) and
    /// what moves with it; plans nothing; may be given more than once
    #[arg(long, value_name = "DIMENSION=SIZE", value_parser = assignment,
        conflicts_with_all = ["probability", "to", "drills"])]
    what_if: Vec<(String, String)>,
    /// Of the same plan the drawing: what comes off each traced outline, station by station
    #[arg(long, conflicts_with = "what_if")]
    outlines: bool,
    /// The drawing of this outline also where it is left alone (`stem_top`); may be given more than once
    #[arg(long, value_name = "FEATURE", requires = "outlines")]
    show: Vec<String>,
    /// All walls that were read from the bowl's axis are made straight together, as one cone
    #[arg(long, conflicts_with = "what_if")]
    cone: bool,
    #[command(flatten)]
    question: Question,
}

/// `--to`
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum GoalArgument {
    /// Just so far inside that it is there with that probability
    Near,
    /// At the centre
    Centre,
}

/// `--drills`
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum DrillsArgument {
    /// Inch fractions, numbers and letters, and metric ones
    All,
    /// Inch fractions, numbers and letters
    Inch,
    /// Metric ones
    Metric,
}

impl DrillsArgument {
    fn set(self) -> (DrillSet, &'static str) {
        match self {
            DrillsArgument::All => (DrillSet::All, "all"),
            DrillsArgument::Inch => (DrillSet::Inch, "inch"),
            DrillsArgument::Metric => (DrillSet::Metric, "metric"),
        }
    }
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, CliError> {
    let question = &arguments.question;
    let settings = question.judge.settings()?;
    let format = question.format.choose();
    let (drills, drills_name) = arguments.drills.set();
    let goal = match arguments.to {
        GoalArgument::Near => Goal::Near,
        GoalArgument::Centre => Goal::Centre,
    };
    let mut aim = Aim::new(arguments.probability, goal, drills)
        .map_err(|error| CliError::Usage(format!("--probability: {error}")))?;
    if arguments.cone {
        aim.walls = Walls::Cone;
    }
    let digest = format != Format::Csv;
    let file = arguments.file.as_deref();
    let as_left = !arguments.as_found && question.source.keeps_works();
    let (source, other) = question.source.open_for(file, as_left, digest)?;
    let judged = other.as_ref().unwrap_or(&source);
    let catalogue = &judged.table.catalogue;
    let workshop = workshop(arguments, catalogue)?;
    let proposals = proposals(&arguments.what_if, catalogue)?;
    let cohort = question.judge.cohort(&source)?;
    let evidence = question.judge.evidence(&cohort)?;
    let rows = rows_of(judged, file, &arguments.specimens)?;
    for read in [Some(&source), other.as_ref()].into_iter().flatten() {
        question.source.write_set_aside(read)?;
    }
    let bench = Bench {
        source: &source,
        other: other.as_ref(),
        cohort: &cohort,
        evidence: &evidence,
        settings: &settings,
        workshop: &workshop,
        format,
    };
    if !proposals.is_empty() {
        return bench.proposals(&rows, &proposals);
    }
    let plans = bench.plan(&rows, &aim)?;
    match arguments.outlines {
        true => bench.outlines(&plans, &shown_too(&arguments.show, &plans)?),
        false => bench.plans(&plans, &aim, drills_name),
    }
}

/// All that the answers are made from.
struct Bench<'a> {
    source: &'a Source,
    other: Option<&'a Source>,
    cohort: &'a Cohort<'a>,
    evidence: &'a Evidence<'a>,
    settings: &'a Settings,
    workshop: &'a Workshop,
    format: Format,
}

impl Bench<'_> {
    fn catalogue(&self) -> &Catalogue {
        &self.other.unwrap_or(self.source).table.catalogue
    }

    fn plan(&self, rows: &[usize], aim: &Aim) -> Result<Vec<Refit>, CliError> {
        let (evidence, settings, workshop) = (self.evidence, self.settings, self.workshop);
        let plan = |&row: &usize| match self.other {
            None => refit(evidence, row, settings, workshop, aim),
            Some(other) => refit_against(evidence, &other.table, row, settings, workshop, aim),
        };
        Ok(rows.iter().map(plan).collect::<Result<_, _>>()?)
    }

    fn plans(&self, plans: &[Refit], aim: &Aim, drills: &'static str) -> Result<Outcome, CliError> {
        let catalogue = self.catalogue();
        match self.format {
            Format::Json => output::write_json(&RefitsOut {
                provenance: &self.source.provenance,
                aim: AimOut::new(aim, drills),
                plans: plans.iter().map(|p| RefitOut::new(p, catalogue)).collect(),
            })?,
            Format::Csv => output::write_csv(REFIT_COLUMNS, refit_rows(plans, catalogue))?,
            Format::Table => {
                let page =
                    refit_page::plans(plans, aim, self.cohort, catalogue, &self.source.provenance);
                output::write_text(&page)?;
            }
        }
        let decided = |p: &Refit| p.check.verdict != Verdict::Undecided;
        let off = |p: &Refit| {
            !p.left_alone.is_empty() || p.outlines.iter().any(OutlineStock::is_left_alone)
        };
        Ok(if !plans.iter().any(decided) {
            Outcome::NothingDecided
        } else if plans.iter().any(off) && plans.iter().all(|p| p.steps.is_empty()) {
            Outcome::Found
        } else {
            Outcome::Done
        })
    }

    fn outlines(&self, plans: &[Refit], show: &[FeatureName]) -> Result<Outcome, CliError> {
        let provenance = &self.source.provenance;
        match self.format {
            Format::Json => output::write_json(&OutlinesOut {
                provenance,
                pieces: plans.iter().map(PieceOut::new).collect(),
            })?,
            Format::Csv => output::write_csv(STOCK_COLUMNS, stock_rows(plans))?,
            Format::Table => output::write_text(&outlines_page(plans, show, provenance))?,
        }
        let traced = || plans.iter().flat_map(|plan| &plan.outlines);
        Ok(if traced().next().is_none() {
            Outcome::NothingDecided
        } else if traced().any(OutlineStock::is_left_alone) {
            Outcome::Found
        } else {
            Outcome::Done
        })
    }

    fn proposals(&self, rows: &[usize], proposals: &[Proposal]) -> Result<Outcome, CliError> {
        let table = &self.other.unwrap_or(self.source).table;
        let judge = |&row: &usize| {
            what_if(
                self.evidence,
                table,
                row,
                self.settings,
                self.workshop,
                proposals,
            )
        };
        let all: Result<Vec<WhatIf>, _> = rows.iter().map(judge).collect();
        let (all, catalogue) = (all?, self.catalogue());
        match self.format {
            Format::Json => output::write_json(&WhatIfsOut {
                provenance: &self.source.provenance,
                what_if: all.iter().map(|w| WhatIfOut::new(w, catalogue)).collect(),
            })?,
            Format::Csv => output::write_csv(WHAT_IF_COLUMNS, what_if_rows(&all, catalogue))?,
            Format::Table => {
                let page =
                    refit_page::what_ifs(&all, self.cohort, catalogue, &self.source.provenance);
                output::write_text(&page)?;
            }
        }
        let objection = |w: &WhatIf| {
            w.after.verdict == Verdict::OutOfNorm
                || w.floors.iter().any(|f| f.is_broken())
                || !w.contradictions.is_empty()
                || !w.refused.is_empty()
                || w.proposals
                    .iter()
                    .any(|(_, reach)| !matches!(reach, Reach::TakingOff | Reach::AsItIs))
        };
        Ok(if all.iter().any(objection) {
            Outcome::Found
        } else if all.iter().all(|w| w.after.verdict == Verdict::Undecided) {
            Outcome::NothingDecided
        } else {
            Outcome::Done
        })
    }
}

/// The outlines of `--show`.
fn shown_too(typed: &[String], plans: &[Refit]) -> Result<Vec<FeatureName>, CliError> {
    let traced = || plans.iter().flat_map(|plan| &plan.outlines);
    let known = Feature::standard();
    let find = |text: &String| {
        let named = FeatureName::parse(text, &known).ok();
        let found = named.filter(|name| traced().any(|o| o.feature == *name));
        found.ok_or_else(|| {
            let mut names: Vec<String> = traced().map(|o| o.feature.to_string()).collect();
            names.sort();
            names.dedup();
            CliError::Usage(match names.is_empty() {
                true => format!("--show {text}: no outline of these pieces was traced"),
                false => format!("--show {text}: expected one of {}", names.join(", ")),
            })
        })
    };
    typed.iter().map(find).collect()
}

/// Works and floors, with the user's own.
fn workshop(arguments: &Arguments, catalogue: &Catalogue) -> Result<Workshop, CliError> {
    let named = |path: &PathBuf| -> Result<(String, Vec<u8>), TableError> {
        Ok((path.display().to_string(), read_bytes(path)?))
    };
    let works = arguments.works.as_ref().map(named).transpose()?;
    let floors = arguments.floors.as_ref().map(named).transpose()?;
    Ok(Workshop::new(
        catalogue,
        works.as_ref().map(|(name, bytes)| (&**name, &**bytes)),
        floors.as_ref().map(|(name, bytes)| (&**name, &**bytes)),
    )?)
}

/// The sizes that were typed.
fn proposals(typed: &[(String, String)], catalogue: &Catalogue) -> Result<Vec<Proposal>, CliError> {
    let mut proposals: Vec<Proposal> = Vec::new();
    for (name, text) in typed {
        let refused = |why: String| CliError::Usage(format!("--what-if {name}: `{text}`: {why}"));
        let key = key_of(catalogue, name)?;
        let at = catalogue
            .find(&key)
            .ok_or_else(|| refused("no such dimension".to_owned()))?;
        let dimension = catalogue.at(at);
        let unit = match dimension.quantity {
            Quantity::Colour => Unit::Plain,
            quantity => quantity.base_unit(),
        };
        let context = Context {
            quantity: dimension.quantity,
            unit,
            mark: DecimalMark::Point,
        };
        let written = read_cell(text, &context)
            .map_err(|error| refused(error.to_string()))?
            .ok_or_else(|| refused("expected a size".to_owned()))?;
        if written.braces.is_some() {
            return Err(refused("expected a size without a state".to_owned()));
        }
        if !dimension.is_credible(written.value) {
            let (low, high) = dimension.credible.unwrap_or_default();
            let unit = &dimension.unit;
            return Err(refused(format!(
                "no real pipe has such a {}: {low} to {high} {unit}",
                dimension.label
            )));
        }
        if proposals.iter().any(|p| p.dimension == at) {
            return Err(refused(format!("{} is given twice", dimension.label)));
        }
        proposals.push(Proposal {
            dimension: at,
            value: written.value,
            uncertainty: written.standard_uncertainty,
            step: written.step,
        });
    }
    Ok(proposals)
}
