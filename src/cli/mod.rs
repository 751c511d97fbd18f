//! The command line: what was typed, what it means, and what is printed.

mod add;
mod check;
mod date;
mod disclose;
mod export;
mod flag;
mod folder;
mod form;
mod history;
mod json;
mod left_out;
mod manual;
mod measurers;
mod moved;
mod norms;
mod output;
mod page;
mod period_page;
mod periods;
mod progress;
mod rates;
mod record;
mod refit;
mod refit_json;
mod refit_outlines;
mod refit_page;
mod screen;
mod shift_years;
mod source;
mod strip;
mod verify;
mod withdraw;
mod working;

use std::fmt;

use calibriar::catalogue::RowFaults;
use calibriar::cohort::CohortError;
use calibriar::collection::CollectionError;
use calibriar::firmness::LeftOutError;
use calibriar::norm::SettingsError;
use calibriar::source::SourceError;
use calibriar::stats::StatsError;
use calibriar::table::TableError;
use clap::{Parser, Subcommand};

/// Norms and verdicts for briar pipes, from many people's measurements, by pattern and production
/// period.
#[derive(Debug, Parser)]
#[command(
    name = "calibriar",
    version,
    about,
    max_term_width = 100,
    disable_help_subcommand = true
)]
#[command(after_help = calibriar::words::SCOPE)]
pub(crate) struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Add(add::Arguments),
    Norms(norms::Arguments),
    Check(check::Arguments),
    Date(date::Arguments),
    Flag(flag::Arguments),
    Form(form::Arguments),
    Page(page::Arguments),
    Periods(periods::Arguments),
    Refit(refit::Arguments),
    Rates(rates::Arguments),
    Measurers(measurers::Arguments),
    Screen(screen::Arguments),
    Withdraw(withdraw::Arguments),
    Record(Box<record::Arguments>),
    History(history::Arguments),
    Disclose(disclose::Arguments),
    Export(export::Arguments),
    Completions(manual::Completions),
    Manual(manual::Manual),
}

/// How a command ended that did its work.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Outcome {
    /// Nothing out of norm.
    Done,
    /// Something out of norm.
    Found,
    /// No evidence for any verdict.
    NothingDecided,
}

/// Runs a command.
pub(crate) fn run(arguments: Arguments) -> Result<Outcome, CliError> {
    match arguments.command {
        Command::Add(arguments) => add::run(&arguments),
        Command::Norms(arguments) => norms::run(&arguments),
        Command::Check(arguments) => check::run(&arguments),
        Command::Date(arguments) => date::run(&arguments),
        Command::Flag(arguments) => flag::run(&arguments),
        Command::Form(arguments) => form::run(&arguments),
        Command::Page(arguments) => page::run(&arguments),
        Command::Periods(arguments) => periods::run(&arguments),
        Command::Refit(arguments) => refit::run(&arguments),
        Command::Rates(arguments) => rates::run(&arguments),
        Command::Measurers(arguments) => measurers::run(&arguments),
        Command::Screen(arguments) => screen::run(&arguments),
        Command::Withdraw(arguments) => withdraw::run(&arguments),
        Command::Record(arguments) => record::run(&arguments),
        Command::History(arguments) => history::run(&arguments),
        Command::Disclose(arguments) => disclose::run(&arguments),
        Command::Export(arguments) => export::run(&arguments),
        Command::Completions(arguments) => manual::completions(&arguments),
        Command::Manual(arguments) => manual::manual(&arguments),
    }
}

/// Why a command could not do its work.
#[derive(Debug, thiserror::Error)]
pub(crate) enum CliError {
    #[error(transparent)]
    Source(#[from] SourceError),
    #[error(transparent)]
    Table(#[from] TableError),
    #[error(transparent)]
    Collection(#[from] CollectionError),
    #[error(transparent)]
    Cohort(#[from] CohortError),
    #[error(transparent)]
    Workshop(#[from] RowFaults),
    #[error(transparent)]
    LeftOut(#[from] LeftOutError),
    #[error(transparent)]
    Settings(#[from] SettingsError),
    #[error("the readings cannot be described")]
    Stats(#[from] StatsError),
    #[error("cannot write the result")]
    Output(#[from] std::io::Error),
    #[error("{0}")]
    Usage(String),
}

impl CliError {
    /// The single faults behind an error, one a line.
    fn details(&self) -> Vec<String> {
        fn lines<T: fmt::Display>(all: &[T]) -> Vec<String> {
            all.iter().map(T::to_string).collect()
        }
        match self {
            CliError::Source(SourceError::Faults { faults, .. }) => lines(faults),
            CliError::Workshop(RowFaults { faults, .. }) => lines(faults),
            CliError::Source(SourceError::Table(TableError::Header { faults, .. }))
            | CliError::Table(TableError::Header { faults, .. }) => lines(faults),
            CliError::Source(SourceError::Collection(error)) | CliError::Collection(error) => {
                match error {
                    CollectionError::Contradictions { contradictions } => {
                        const SHOWN: usize = 20;
                        let more = contradictions.len().saturating_sub(SHOWN);
                        let mut told = lines(&contradictions[..contradictions.len() - more]);
                        if more > 0 {
                            told.push(format!("and {more} more"));
                        }
                        told
                    }
                    CollectionError::UnknownSpecimens { faults }
                    | CollectionError::Works { faults } => lines(faults),
                    _ => Vec::new(),
                }
            }
            _ => Vec::new(),
        }
    }
}

/// Says on standard error what went wrong: each fault on its line, then the whole and its causes.
#[expect(clippy::print_stderr, reason = "this is the program's voice")]
pub(crate) fn complain(error: &CliError) {
    for line in error.details() {
        eprintln!("{line}");
    }
    let mut message = format!("calibriar: {error}");
    let mut cause = std::error::Error::source(error);
    while let Some(deeper) = cause {
        let text = deeper.to_string();
        if !message.ends_with(&text) {
            message.push_str(": ");
            message.push_str(&text);
        }
        cause = deeper.source();
    }
    eprintln!("{message}");
}

/// Says something on standard error that is no error.
#[expect(clippy::print_stderr, reason = "this is the program's voice")]
fn remark(text: impl fmt::Display) {
    eprintln!("calibriar: {text}");
}
