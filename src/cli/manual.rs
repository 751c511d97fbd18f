//! `calibriar completions` and `calibriar manual`: made from the parser, so always true.

use clap::{Args, CommandFactory as _};
use clap_complete::Shell;

use super::output::write_text;
use super::{CliError, Outcome};

/// Print the completion script of a shell
#[derive(Debug, Args)]
pub(super) struct Completions {
    /// The shell
    #[arg(value_enum)]
    shell: Shell,
}

/// Print the manual page
#[derive(Debug, Args)]
pub(super) struct Manual {}

pub(super) fn completions(arguments: &Completions) -> Result<Outcome, CliError> {
    let mut text = Vec::new();
    let mut command = super::Arguments::command();
    clap_complete::generate(arguments.shell, &mut command, "calibriar", &mut text);
    write_text(&String::from_utf8_lossy(&text))?;
    Ok(Outcome::Done)
}

pub(super) fn manual(_: &Manual) -> Result<Outcome, CliError> {
    let mut text = Vec::new();
    let command = super::Arguments::command();
    clap_mangen::Man::new(command.clone()).render(&mut text)?;
    for subcommand in command.get_subcommands() {
        let page = clap_mangen::Man::new(subcommand.clone());
        page.render_synopsis_section(&mut text)?;
        page.render_description_section(&mut text)?;
        page.render_options_section(&mut text)?;
    }
    write_text(&String::from_utf8_lossy(&text))?;
    Ok(Outcome::Done)
}
