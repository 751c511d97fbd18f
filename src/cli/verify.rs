//! `calibriar history --verify`

use std::collections::{HashMap, HashSet};
use std::path::Path;

use calibriar::collection::{Collection, Misfit, RecordedPicture, Verified, read_picture};
use serde::Serialize;

use super::output::{self, counted, shown};
use super::{CliError, Outcome};

/// What is to be proved of which collection.
pub(super) struct Asked<'a> {
    pub(super) collection: &'a Collection,
    pub(super) file: &'a Path,
    /// A digest that was noted elsewhere.
    pub(super) expect: Option<&'a str>,
    /// Where the pictures are.
    pub(super) pictures: Option<&'a Path>,
    pub(super) json: bool,
}

#[derive(Serialize)]
struct VerifyOut<'a> {
    source: String,
    whole: bool,
    /// Revisions that fit, from the first on.
    revisions: i64,
    /// The digest of the newest of them.
    sha256: &'a str,
    misfit: Option<MisfitOut<'a>>,
    /// The revision of the digest that was expected; 0 where there is none, null where none was
    /// named.
    expected_revision: Option<i64>,
    pictures: Vec<PictureOut<'a>>,
}

#[derive(Serialize)]
struct MisfitOut<'a> {
    revision: Option<i64>,
    what: &'a str,
    brought: &'a str,
    files: &'a [String],
}

#[derive(Serialize)]
struct PictureOut<'a> {
    name: &'a str,
    sha256: &'a str,
    specimen: &'a str,
    dimension: &'a str,
    revision: i64,
    /// `same`, `differs` or `missing`.
    found: &'static str,
}

pub(super) fn run(asked: &Asked<'_>) -> Result<Outcome, CliError> {
    let verified = asked.collection.verify()?;
    let expected = match asked.expect {
        None => None,
        Some(digest) => Some(revision_of(asked.collection, &verified, digest)?),
    };
    let recorded = asked.collection.pictures();
    // A damaged file need not give its pictures.
    let recorded = match verified.misfit {
        None => recorded?,
        Some(_) => recorded.unwrap_or_default(),
    };
    let pictures = match asked.pictures {
        None => Vec::new(),
        Some(folder) => compared(&recorded, folder)?,
    };
    let whole = verified.misfit.is_none()
        && expected != Some(0)
        && pictures.iter().all(|p| p.found != "differs");
    if asked.json {
        output::write_json(&VerifyOut {
            source: asked.file.display().to_string(),
            whole,
            revisions: verified.fitting,
            sha256: &verified.newest.sha256,
            misfit: verified.misfit.as_ref().map(|misfit| MisfitOut {
                revision: misfit.revision,
                what: &misfit.what,
                brought: &misfit.brought,
                files: &misfit.files,
            }),
            expected_revision: expected,
            pictures,
        })?;
    } else {
        output::write_text(&text(asked, &verified, expected, &pictures))?;
    }
    Ok(match whole {
        true => Outcome::Done,
        false => Outcome::Found,
    })
}

/// The fitting revision that has a digest; 0 where none has.
fn revision_of(
    collection: &Collection,
    verified: &Verified,
    digest: &str,
) -> Result<i64, CliError> {
    let is_digest = digest.len() == 64 && digest.bytes().all(|b| b.is_ascii_hexdigit());
    if !is_digest {
        return Err(CliError::Usage(format!(
            "--expect: `{}` is no digest; expected the 64 digits that record, history or --verify print",
            shown(digest)
        )));
    }
    for id in 1..=verified.fitting {
        if collection
            .revision_at(id)?
            .sha256
            .eq_ignore_ascii_case(digest)
        {
            return Ok(id);
        }
    }
    Ok(0)
}

/// Each recorded picture beside the files of a folder. A picture that got another name is found by its
/// digest.
fn compared<'a>(
    recorded: &'a [RecordedPicture],
    folder: &Path,
) -> Result<Vec<PictureOut<'a>>, CliError> {
    let failed = |error: std::io::Error| {
        let folder = shown(&folder.display().to_string());
        CliError::Usage(format!("--pictures {folder}: {error}"))
    };
    let mut there: HashMap<String, String> = HashMap::new();
    for entry in std::fs::read_dir(folder).map_err(failed)? {
        let path = entry.map_err(failed)?.path();
        let name = path.file_name().map(|n| n.to_string_lossy().into_owned());
        if path.is_file() {
            // One that cannot be read, or is empty, differs from every picture.
            let digest = read_picture(&path).map_or(String::new(), |picture| picture.sha256);
            there.insert(name.unwrap_or_default(), digest);
        }
    }
    let compare = |of: &'a RecordedPicture| PictureOut {
        name: &of.picture.name,
        sha256: &of.picture.sha256,
        specimen: &of.specimen,
        dimension: &of.dimension,
        revision: of.revision,
        found: match there.values().any(|digest| *digest == of.picture.sha256) {
            true => "same",
            false if there.contains_key(&of.picture.name) => "differs",
            false => "missing",
        },
    };
    Ok(recorded.iter().map(compare).collect())
}

fn text(
    asked: &Asked<'_>,
    verified: &Verified,
    expected: Option<i64>,
    pictures: &[PictureOut<'_>],
) -> String {
    let file = shown(&asked.file.display().to_string());
    let revisions = |n: i64| counted(usize::try_from(n).unwrap_or(0), "revision", "revisions");
    let mut text = match &verified.misfit {
        None => format!(
            "{file}: {}, chain whole: newest digest {}\n",
            revisions(verified.fitting),
            verified.newest.sha256
        ),
        Some(misfit) => broken(&file, verified, misfit),
    };
    match (expected, asked.expect) {
        (Some(0), Some(digest)) => text.push_str(&format!(
            "{file}: no revision of it has the digest {digest}: it was noted of another collection, or \
             this one was written anew or cut short\n"
        )),
        (Some(id), Some(digest)) => {
            text.push_str(&format!("revision {id} has the digest {digest}\n"));
        }
        _ => {}
    }
    for picture in pictures.iter().filter(|p| p.found != "same") {
        let what = match picture.found {
            "differs" => "is not the picture that was recorded",
            _ => "is not there",
        };
        text.push_str(&format!(
            "{}: {what} (revision {}, {}, {}, digest {})\n",
            shown(picture.name),
            picture.revision,
            shown(picture.specimen),
            picture.dimension,
            picture.sha256
        ));
    }
    if !pictures.is_empty() && pictures.iter().all(|p| p.found == "same") {
        let distinct: HashSet<&str> = pictures.iter().map(|p| p.sha256).collect();
        let n = counted(distinct.len(), "picture", "pictures");
        text.push_str(&format!("{n}: as recorded\n"));
    }
    text
}

fn broken(file: &str, verified: &Verified, misfit: &Misfit) -> String {
    let mut text = match misfit.revision {
        Some(revision) => format!("{file} was changed: revision {revision}: {}\n", misfit.what),
        None => format!("{file} was changed: {}\n", misfit.what),
    };
    if !misfit.brought.is_empty() {
        text.push_str(&format!("it brought {}", misfit.brought));
        if !misfit.files.is_empty() {
            text.push_str(&format!(", from {}", shown(&misfit.files.join(", "))));
        }
        text.push('\n');
    }
    match verified.fitting {
        0 => text.push_str("no revision before it fits\n"),
        n => text.push_str(&format!(
            "revisions 1 to {n} fit; the digest of revision {n} is {}\n",
            verified.newest.sha256
        )),
    }
    text
}
