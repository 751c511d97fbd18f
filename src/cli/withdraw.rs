//! `calibriar withdraw`

use std::path::PathBuf;

use calibriar::catalogue::{Feature, FeatureName, nearest};
use calibriar::collection::{Collection, CollectionError};
use calibriar::words::hint;
use clap::Args;
use clap::builder::NonEmptyStringValueParser;

use super::add::author;
use super::output::{counted, report};
use super::source::{DEFAULT, collection_path};
use super::{CliError, Outcome};

/// Withdraw readings or traces from a collection: they stay readable in the history but count no more
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// The specimen
    specimen: String,
    /// One dimension, or one traced feature such as stem_top or bowl_section@25; all its readings
    /// and traces if left out
    dimension: Option<String>,
    /// Only what the last work on each dimension left: a record that was made by mistake
    #[arg(long)]
    work: bool,
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
    // Opened to be read first, so that a file that is no collection stays as it is.
    let known = Collection::open(&arguments.to)?;
    let key = match &arguments.dimension {
        None => None,
        Some(name) => Some(key_of(&known, &arguments.specimen, name)?),
    };
    drop(known);
    let mut collection = Collection::open_or_create(&arguments.to)?;
    let (specimen, key) = (&arguments.specimen, key.as_deref());
    let done = match arguments.work {
        false => collection.withdraw(specimen, key, &author)?,
        true => collection.withdraw_work(specimen, key, &author)?,
    };
    let mut parts = Vec::new();
    if done.readings > 0 {
        parts.push(counted(done.readings, "reading", "readings"));
    }
    if done.traces > 0 {
        parts.push(counted(done.traces, "trace", "traces"));
    }
    report(&format!(
        "{}, revision {}: {} withdrawn\n",
        arguments.to.display(),
        done.revision,
        parts.join(" and ")
    ))
}

/// The key of a dimension, or of a feature that the specimen has a trace of, as typed.
fn key_of(collection: &Collection, specimen: &str, name: &str) -> Result<String, CliError> {
    let catalogue = collection.catalogue()?;
    if let Some(index) = catalogue.find(name) {
        return Ok(catalogue.at(index).key.clone());
    }
    let features = Feature::standard();
    let Ok(feature) = FeatureName::parse(name, &features) else {
        let keys = features.iter().map(|f| f.key.as_str());
        let near = nearest(name, catalogue.names().chain(keys));
        return Err(CliError::Usage(format!(
            "no dimension or feature `{name}`{}",
            hint(&near)
        )));
    };
    let feature = feature.to_string();
    let traced = collection.traced_features(specimen)?;
    if traced.is_empty() || traced.contains(&feature) {
        return Ok(feature);
    }
    // Which place was meant is not for the program to say.
    Err(CliError::Usage(format!(
        "`{specimen}` has no trace of {feature} that still counts; it has {}",
        traced.join(", ")
    )))
}
