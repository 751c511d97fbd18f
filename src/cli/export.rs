//! `calibriar export`

use std::path::PathBuf;

use calibriar::collection::Collection;
use clap::Args;

use super::output::write_text;
use super::source::{DEFAULT, collection_path};
use super::{CliError, Outcome};

/// Write a collection, history and all, as a data package: open CSV files and their description
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// A new or empty folder
    folder: PathBuf,
    /// The collection
    #[arg(long, value_name = "COLLECTION", env = "CALIBRIAR_COLLECTION", default_value = DEFAULT, value_parser = collection_path)]
    from: PathBuf,
    /// Write the specimens and the readings as Parquet (needs the feature `frame`)
    #[arg(long)]
    parquet: bool,
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, CliError> {
    let collection = Collection::open(&arguments.from)?;
    let version = env!("CARGO_PKG_VERSION");
    if arguments.parquet {
        collection.export_parquet(&arguments.folder, version)?;
    } else {
        collection.export(&arguments.folder, version)?;
    }
    let revision = collection.revision()?;
    write_text(&format!(
        "{}: the collection at revision {}\n",
        arguments.folder.display(),
        revision.id
    ))?;
    Ok(Outcome::Done)
}
