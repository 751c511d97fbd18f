//! The program: parse, call, print.

mod cli;

use std::process::ExitCode;

use clap::Parser as _;

fn main() -> ExitCode {
    match cli::run(cli::Arguments::parse()) {
        Ok(outcome) => exit_code(outcome),
        Err(error) => {
            cli::complain(&error);
            ExitCode::from(2)
        }
    }
}

/// The exit statuses that scripts rely on (`docs/formats.md`).
fn exit_code(outcome: cli::Outcome) -> ExitCode {
    ExitCode::from(match outcome {
        cli::Outcome::Done => 0,
        cli::Outcome::Found => 1,
        cli::Outcome::NothingDecided => 3,
    })
}
