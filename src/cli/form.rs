//! `calibriar form`

use std::path::{Path, PathBuf};

use calibriar::catalogue::Catalogue;
use calibriar::report::{FORM_COLUMNS, FormRow, cone_rows, form_rows};
use calibriar::source::{STANDARD_INPUT, read_standard_input};
use calibriar::table::{Content, Options, Trace, TraceSheet, read, read_bytes};
use calibriar::traced::{DEFAULT_TOLERANCE, Form, TracedError, bowl_cones, form};
use clap::Args;

use super::json::{FormOut, FormsOut};
use super::output::{self, Format, FormatArgument, shown, signed, sized, wrapped};
use super::source::{AsideFile, TableArguments};
use super::{CliError, Outcome, remark};

/// Straightness, cone, roundness, sides and elbow of traced outlines and sections, and colours of
/// finishes
///
/// Needs no collection: each trace is told by itself. `check` and `flag` judge pieces by their traces
/// (--traces, or traces in the collection).
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// Tables of traces: CSV specimen,feature,station,reading[,unit,...]; - is standard input
    #[arg(required = true, value_name = "TRACE.csv")]
    files: Vec<PathBuf>,
    /// How far an outline may stray from its line before that is told, in mm; never less than four
    /// standard uncertainties of a reading
    #[arg(long, value_name = "MM", default_value_t = DEFAULT_TOLERANCE, value_parser = tolerance)]
    tolerance: f64,
    #[command(flatten)]
    format: FormatArgument,
    #[command(flatten)]
    table: TableArguments,
}

fn tolerance(text: &str) -> Result<f64, String> {
    let text = text.trim_end_matches("mm").trim_end();
    let value = text.parse::<f64>().ok().filter(|v| *v > 0.0);
    value
        .filter(|v| v.is_finite())
        .ok_or_else(|| "expected a length over 0 in mm".to_owned())
}
