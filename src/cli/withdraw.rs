//! `calibriar withdraw`

use std::path::PathBuf;

use calibriar::collection::{Collection, CollectionError};
use clap::Args;

use super::add::AuthorArguments;
use super::output::{counted, write_text};
use super::source::DEFAULT;
use super::{CliError, Outcome};

/// Withdraw readings from a collection: they stay readable in the history but count no more
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// The specimen
    specimen: String,
    /// One dimension; all its readings if left out
    dimension: Option<String>,
    /// The collection
    #[arg(long, value_name = "COLLECTION", env = "CALIBRIAR_COLLECTION", default_value = DEFAULT)]
    to: PathBuf,
    #[command(flatten)]
    author: AuthorArguments,
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, CliError> {
    let author = arguments.author.author();
    if author.why.is_empty() {
        return Err(CliError::Usage(
            "a withdrawal needs its reason: --why REASON".to_owned(),
        ));
    }
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
            Some(found.ok_or_else(|| CliError::Usage(format!("no dimension `{name}`")))?)
        }
    };
    let mut collection = Collection::open_or_create(&arguments.to)?;
    let (revision, count) = collection.withdraw(&arguments.specimen, key.as_deref(), &author)?;
    write_text(&format!(
        "{}, revision {revision}: {} withdrawn\n",
        arguments.to.display(),
        counted(count, "reading", "readings")
    ))?;
    Ok(Outcome::Done)
}
