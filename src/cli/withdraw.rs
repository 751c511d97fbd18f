//! `calibriar withdraw`

use std::path::PathBuf;

use calibriar::catalogue::nearest;
use calibriar::collection::{Collection, CollectionError};
use clap::Args;
use clap::builder::NonEmptyStringValueParser;

use super::add::author;
use super::norms::hint;
use super::output::{counted, report};
use super::source::{DEFAULT, collection_path};
use super::{CliError, Outcome};

/// Withdraw readings from a collection: they stay readable in the history but count no more
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// The specimen
    specimen: String,
    /// One dimension; all its readings if left out
    dimension: Option<String>,
    /// The collection
    #[arg(long, value_name = "COLLECTION", env = "CALIBRIAR_COLLECTION", default_value = DEFAULT, value_parser = collection_path)]
    to: PathBuf,
    /// Who withdraws [default: the name of the user]
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
    /// Why, for the history
    #[arg(long, value_name = "REASON", value_parser = NonEmptyStringValueParser::new())]
    why: String,
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, CliError> {
    let author = author(arguments.by.as_deref(), Some(&arguments.why));
    if !arguments.to.exists() {
        let file = arguments.to.display().to_string();
        return Err(CollectionError::Missing { file }.into());
    }
    let catalogue = Collection::open(&arguments.to)?.catalogue()?;
    let key = match &arguments.dimension {
        None => None,
        Some(name) => {
            let found = catalogue
                .find(name)
                .map(|index| catalogue.at(index).key.clone());
            Some(found.ok_or_else(|| {
                let near = nearest(name, catalogue.names());
                CliError::Usage(format!("no dimension `{name}`{}", hint(&near)))
            })?)
        }
    };
    let mut collection = Collection::open_or_create(&arguments.to)?;
    let (revision, count) = collection.withdraw(&arguments.specimen, key.as_deref(), &author)?;
    report(&format!(
        "{}, revision {revision}: {} withdrawn\n",
        arguments.to.display(),
        counted(count, "reading", "readings")
    ))
}
