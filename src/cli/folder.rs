//! Files and folders that appear whole or not at all.

use std::fs;
use std::io::{self, Read as _, Write as _};
use std::path::{Path, PathBuf};

use super::CliError;

fn cannot_write(path: &Path, error: &io::Error) -> CliError {
    CliError::Usage(format!("cannot write {}: {error}", path.display()))
}

/// A place beside another, for what is not whole yet.
fn beside(path: &Path) -> PathBuf {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    path.with_file_name(format!(".{name}.{}", std::process::id()))
}

/// Writes a page whole or not at all. A page that is there, or an empty file, is replaced, with its
/// permissions; anything else that is there stays.
pub(super) fn write_page(path: &Path, text: &str) -> Result<(), CliError> {
    let old = fs::metadata(path).ok();
    if old.as_ref().is_some_and(fs::Metadata::is_file) && !is_page(path) {
        return Err(CliError::Usage(format!(
            "{} is there and is no page; nothing was done: choose another name",
            path.display()
        )));
    }
    if old.as_ref().is_some_and(|old| !old.is_file()) {
        return Err(CliError::Usage(format!(
            "{} is there and is no file; nothing was done",
            path.display()
        )));
    }
    // Where a link leads.
    let path = &path.canonicalize().unwrap_or_else(|_| path.to_owned());
    let unfinished = beside(path);
    let written = fs::File::create(&unfinished)
        .and_then(|mut file| {
            file.write_all(text.as_bytes())
                .and_then(|()| file.sync_all())
        })
        .and_then(|()| match &old {
            Some(old) => fs::set_permissions(&unfinished, old.permissions()),
            None => Ok(()),
        })
        .and_then(|()| fs::rename(&unfinished, path));
    written.map_err(|error| {
        // It may not be there at all.
        let _ = fs::remove_file(&unfinished);
        cannot_write(path, &error)
    })
}

/// Whether a file is a page of ours, or empty. What cannot be read counts as none.
fn is_page(path: &Path) -> bool {
    let mut start = Vec::new();
    let read = fs::File::open(path).and_then(|file| {
        let most = calibriar::page::START.len() as u64;
        file.take(most).read_to_end(&mut start)
    });
    read.is_ok() && (start.is_empty() || start == calibriar::page::START.as_bytes())
}

/// A folder that is filled beside its place.
pub(super) struct Folder {
    path: PathBuf,
    unfinished: PathBuf,
    is_done: bool,
}

impl Folder {
    /// A folder to fill; there may be an empty one in its place.
    pub(super) fn new(path: &Path) -> Result<Folder, CliError> {
        if path.file_name().is_none() {
            return Err(CliError::Usage(format!(
                "{} has no name: name a folder that is not there yet",
                path.display()
            )));
        }
        let is_free = match fs::read_dir(path) {
            Ok(mut entries) => entries.next().is_none(),
            Err(error) => error.kind() == io::ErrorKind::NotFound,
        };
        if !is_free {
            return Err(CliError::Usage(format!(
                "{} is there already and is no empty folder; nothing was done",
                path.display()
            )));
        }
        let unfinished = beside(path);
        fs::create_dir(&unfinished).map_err(|error| cannot_write(path, &error))?;
        Ok(Folder {
            path: path.to_owned(),
            unfinished,
            is_done: false,
        })
    }

    /// Writes a file of it.
    pub(super) fn write(&self, file: &str, text: &str) -> Result<(), CliError> {
        let path = self.unfinished.join(file);
        let written = match path.parent() {
            Some(folder) => fs::create_dir_all(folder),
            None => Ok(()),
        };
        written
            .and_then(|()| fs::write(&path, text))
            .map_err(|error| cannot_write(&self.path.join(file), &error))
    }

    /// Puts it in its place.
    pub(super) fn done(mut self) -> Result<(), CliError> {
        fs::rename(&self.unfinished, &self.path)
            .map_err(|error| cannot_write(&self.path, &error))?;
        self.is_done = true;
        Ok(())
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        if !self.is_done {
            // What cannot be taken away stays under a name that tells it is not whole.
            let _ = fs::remove_dir_all(&self.unfinished);
        }
    }
}
