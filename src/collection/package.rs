//! Data packages out and in (the open Frictionless standard: a descriptor and CSV files, the
//! large tables as Parquet where that is asked for).
//!
//! An exported package holds the whole history; reading it back gives the same collection, which
//! the digests of its revisions prove. A package of other origin is read as the tables it holds.

use std::collections::HashMap;
use std::fs;
use std::path::{Component, Path, PathBuf};

use csv::StringRecord;
use rusqlite::{Transaction, TransactionBehavior, params};
use serde_json::{Value, json};

use super::digest::{Digester, RevisionHead, revision_digest};
use super::load::Description;
use super::record::{WorkRow, insert_picture, insert_work};
use super::rows::{circumstance_id, insert_description, insert_dimension, state_of, unit_number};
use super::traces::{NewTrace, TraceKey, insert_withdrawal};
use super::{Collection, CollectionError, newest_revision, schema};
use crate::catalogue::{Dimension, State};
#[cfg(feature = "frame")]
use crate::frame::{ParquetRecords, ParquetTable};
use crate::notation::Unit;
use crate::table::{Circumstance, Picture, TableError};

const DESCRIPTOR: &str = "datapackage.json";
/// The descriptor's own property that tells an exported collection from other packages.
const MARK: &str = "calibriar";
/// A resource's own property: `measurements`, `periods` or `traces`.
const HOLDS: &str = "holds";

/// The tables that grow with the pieces, which `--parquet` writes as Parquet.
const LARGE: [&str; 2] = ["specimens", "readings"];

/// What an edited package is refused with.
const CHANGED: &str = "the package was changed after it was written; to change readings, add a \
                       corrected table";

/// One file of an exported package: name, columns with their Table Schema types, and the query
/// whose columns they are.
struct Resource {
    name: &'static str,
    title: &'static str,
    fields: &'static [(&'static str, &'static str)],
    key: &'static [&'static str],
    query: &'static str,
}

impl Resource {
    fn is_parquet(&self, parquet: bool) -> bool {
        parquet && LARGE.contains(&self.name)
    }

    fn file(&self, parquet: bool) -> String {
        let ending = if self.is_parquet(parquet) {
            "parquet"
        } else {
            "csv"
        };
        format!("{}.{ending}", self.name)
    }
}

const RESOURCES: [Resource; 6] = [
    Resource {
        name: "revisions",
        title: "Who changed the collection, when and why",
        fields: &[
            ("revision", "integer"),
            ("made_on", "string"),
            ("made_by", "string"),
            ("action", "string"),
            ("why", "string"),
            ("sha256", "string"),
        ],
        key: &["revision"],
        query: "SELECT id, made_on, made_by, action, why, sha256 FROM revision ORDER BY id",
    },
    Resource {
        name: "files",
        title: "The files that were added",
        fields: &[
            ("file", "integer"),
            ("revision", "integer"),
            ("name", "string"),
            ("sha256", "string"),
            ("options", "string"),
        ],
        key: &["file"],
        query: "SELECT id, revision, name, sha256, options FROM file ORDER BY id",
    },
    Resource {
        name: "dimensions",
        title: "What was measured",
        fields: &[
            ("key", "string"),
            ("label", "string"),
            ("unit", "string"),
            ("synonyms", "string"),
            ("how_measured", "string"),
            ("credible_low", "number"),
            ("credible_high", "number"),
            ("wear_moves", "string"),
            ("tool_moves", "string"),
            ("revision", "integer"),
        ],
        key: &["key"],
        query: "SELECT key, label, unit, synonyms, how_measured, credible_low, credible_high,
                wear_moves, tool_moves, revision FROM dimension ORDER BY id",
    },
    Resource {
        name: "periods",
        title: "Production periods and their standing",
        fields: &[
            ("maker", "string"),
            ("period", "string"),
            ("from", "integer"),
            ("to", "integer"),
            ("standing", "string"),
            ("note", "string"),
            ("revision", "integer"),
            ("withdrawn_in", "integer"),
        ],
        key: &[],
        query: "SELECT maker, name, year_from, year_to, standing, note, p.revision, w.revision
                FROM period p LEFT JOIN period_withdrawal w ON w.period = p.id ORDER BY p.id",
    },
    Resource {
        name: "specimens",
        title: "The specimens as each revision describes them; the newest counts",
        fields: &[
            ("specimen", "string"),
            ("revision", "integer"),
            ("maker", "string"),
            ("pattern", "string"),
            ("finish", "string"),
            ("made", "string"),
            ("period", "string"),
            ("source", "string"),
            ("note", "string"),
        ],
        key: &["specimen", "revision"],
        query: "SELECT s.name, revision, maker, pattern, finish, made, period, source, note
                FROM description d JOIN specimen s ON s.id = d.specimen
                ORDER BY specimen, revision",
    },
    Resource {
        name: "readings",
        title: "Every reading, withdrawn ones included",
        fields: &[
            ("specimen", "string"),
            ("dimension", "string"),
            ("value", "number"),
            ("unit", "string"),
            ("uncertainty", "number"),
            ("state", "string"),
            ("text", "string"),
            ("written_in", "string"),
            ("instrument", "string"),
            ("measured_by", "string"),
            ("measured_on", "string"),
            ("source", "string"),
            ("note", "string"),
            ("number", "integer"),
            ("file", "integer"),
            ("withdrawn_in", "integer"),
        ],
        key: &["specimen", "dimension", "number"],
        query: "SELECT s.name, d.key, r.value, d.unit, r.uncertainty, r.state, r.text, r.unit,
                c.instrument, c.measured_by, c.measured_on, c.source, c.note, r.seq, r.file,
                w.revision
                FROM reading r JOIN specimen s ON s.id = r.specimen
                JOIN dimension d ON d.id = r.dimension
                LEFT JOIN circumstance c ON c.id = r.circumstance
                LEFT JOIN withdrawal w ON w.specimen = r.specimen
                AND w.dimension = r.dimension AND w.seq = r.seq
                ORDER BY r.specimen, r.dimension, r.seq",
    },
];

/// Written only where a collection has any: a package without is as before there were traces.
const TRACES: Resource = Resource {
    name: "traces",
    title: "Outlines, sections and colours as written, withdrawn ones included",
    fields: &[
        ("specimen", "string"),
        ("feature", "string"),
        ("repeat", "integer"),
        ("state", "string"),
        ("uncertainty", "number"),
        ("instrument", "string"),
        ("measured_by", "string"),
        ("measured_on", "string"),
        ("source", "string"),
        ("note", "string"),
        ("decimal_mark", "string"),
        ("unit", "string"),
        ("points", "string"),
        ("number", "integer"),
        ("file", "integer"),
        ("withdrawn_in", "integer"),
    ],
    key: &["specimen", "feature", "repeat", "number"],
    query: "SELECT s.name, t.feature, t.repeat, t.state, t.uncertainty, c.instrument,
            c.measured_by, c.measured_on, c.source, c.note, t.decimal_mark, t.unit, t.points,
            t.seq, t.file, w.revision
            FROM trace t JOIN specimen s ON s.id = t.specimen
            LEFT JOIN circumstance c ON c.id = t.circumstance
            LEFT JOIN trace_withdrawal w ON w.specimen = t.specimen AND w.feature = t.feature
            AND w.repeat = t.repeat AND w.seq = t.seq
            ORDER BY t.specimen, t.feature, t.repeat, t.seq",
};

/// Written only where a collection has any, as the traces are.
const WORKS: Resource = Resource {
    name: "works",
    title: "Works done on specimens, each with the numbers of its readings as found and as left",
    fields: &[
        ("specimen", "string"),
        ("dimension", "string"),
        ("number", "integer"),
        ("found_number", "integer"),
        ("tool", "string"),
        ("done_by", "string"),
        ("done_on", "date"),
        ("why", "string"),
        ("revision", "integer"),
    ],
    key: &["specimen", "dimension", "number"],
    query: "SELECT s.name, d.key, k.seq, k.found, k.tool, k.done_by, k.done_on, k.why, k.revision
            FROM work k JOIN specimen s ON s.id = k.specimen JOIN dimension d ON d.id = k.dimension
            ORDER BY k.specimen, k.dimension, k.seq",
};

const PICTURES: Resource = Resource {
    name: "pictures",
    title: "Pictures of the works, which are kept elsewhere, by the SHA-256 of their bytes",
    fields: &[
        ("specimen", "string"),
        ("dimension", "string"),
        ("number", "integer"),
        ("picture", "integer"),
        ("name", "string"),
        ("sha256", "string"),
    ],
    key: &["specimen", "dimension", "number", "picture"],
    query: "SELECT s.name, d.key, p.seq, p.number, p.name, p.sha256
            FROM picture p JOIN specimen s ON s.id = p.specimen
            JOIN dimension d ON d.id = p.dimension
            ORDER BY p.specimen, p.dimension, p.seq, p.number",
};

/// Whether a path is the folder of a data package.
pub fn is_package(path: &Path) -> bool {
    path.is_dir() && path.join(DESCRIPTOR).is_file()
}

/// A table within a package of other origin.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PackagedTable {
    /// Its path within the package, for messages.
    pub name: String,
    /// Where it is.
    pub path: PathBuf,
}

/// What the folder of a data package holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Package {
    /// An exported collection.
    Collection,
    /// Tables of other origin.
    Tables(Vec<PackagedTable>),
}

/// Reads a package's descriptor.
///
/// # Errors
/// [`CollectionError::Package`] for a descriptor that is none, or names no CSV files.
pub fn read_package(folder: &Path) -> Result<Package, CollectionError> {
    let bad = |what: &str| CollectionError::Package {
        file: folder.join(DESCRIPTOR).display().to_string(),
        what: what.to_owned(),
    };
    let descriptor: Value =
        serde_json::from_str(&read_text(&folder.join(DESCRIPTOR))?).map_err(|error| {
            bad(&format!(
                "not JSON ({error}); expected a data package descriptor"
            ))
        })?;
    if descriptor.get(MARK).is_some() {
        return Ok(Package::Collection);
    }
    let resources = descriptor
        .get("resources")
        .and_then(Value::as_array)
        .filter(|r| !r.is_empty())
        .ok_or_else(|| bad("no resources; expected at least one"))?;
    // Where a package says which resources hold measurements, the others are not ours to read.
    let says = resources.iter().any(|r| r.get(HOLDS).is_some());
    let mut tables = Vec::new();
    for resource in resources.iter().filter(|r| !says || r.get(HOLDS).is_some()) {
        let name = resource
            .get("path")
            .and_then(Value::as_str)
            .ok_or_else(|| bad("a resource has no path; expected one file a resource"))?;
        // The standard forbids paths that lead out of the package.
        let inside = Path::new(name)
            .components()
            .all(|part| matches!(part, Component::Normal(_) | Component::CurDir));
        if !inside {
            return Err(bad(&format!("the path `{name}` leads out of the package")));
        }
        tables.push(PackagedTable {
            name: name.to_owned(),
            path: folder.join(name),
        });
    }
    Ok(Package::Tables(tables))
}

fn read_descriptor(folder: &Path) -> Result<Value, CollectionError> {
    let path = folder.join(DESCRIPTOR);
    serde_json::from_str(&read_text(&path)?).map_err(|error| CollectionError::Package {
        file: path.display().to_string(),
        what: format!("not JSON ({error}); expected a data package descriptor"),
    })
}

fn read_text(path: &Path) -> Result<String, CollectionError> {
    fs::read_to_string(path).map_err(|source| CollectionError::File {
        verb: "read",
        file: path.display().to_string(),
        source,
    })
}

impl Collection {
    /// Writes the whole collection as a data package into a new or empty folder. The folder
    /// appears only when it is complete.
    ///
    /// # Errors
    /// [`CollectionError::File`] and failures of the store.
    pub fn export(&self, folder: &Path, version: &str) -> Result<(), CollectionError> {
        self.export_as(folder, version, false)
    }

    /// As [`Collection::export`], with the specimens and the readings as Parquet files.
    ///
    /// # Errors
    /// Those of [`Collection::export`]; [`TableError::NoParquet`] without the feature `frame`.
    pub fn export_parquet(&self, folder: &Path, version: &str) -> Result<(), CollectionError> {
        if cfg!(feature = "frame") {
            self.export_as(folder, version, true)
        } else {
            Err(no_parquet(folder, "writing"))
        }
    }

    fn export_as(
        &self,
        folder: &Path,
        version: &str,
        parquet: bool,
    ) -> Result<(), CollectionError> {
        let occupied = folder.exists()
            && !fs::read_dir(folder).is_ok_and(|mut entries| entries.next().is_none());
        if occupied {
            let source = std::io::Error::new(
                std::io::ErrorKind::AlreadyExists,
                "it exists already; expected a new or empty folder",
            );
            return Err(not_written(folder, source));
        }
        let parent = folder.parent().filter(|p| !p.as_os_str().is_empty());
        let parent = parent.unwrap_or(Path::new("."));
        let mut name = std::ffi::OsString::from(".");
        name.push(folder.file_name().unwrap_or("package".as_ref()));
        name.push(format!(".{}.partial", std::process::id()));
        let partial = parent.join(name);
        fs::create_dir_all(&partial).map_err(|e| not_written(folder, e))?;
        let written = self.export_files(&partial, version, parquet);
        let written = written.and_then(|()| {
            // What was written must fit its digests: another program may have changed the store.
            Collection::in_memory()?.import(&partial)?;
            if folder.exists() {
                fs::remove_dir(folder).map_err(|e| not_written(folder, e))?;
            }
            fs::rename(&partial, folder).map_err(|e| not_written(folder, e))
        });
        if written.is_err() {
            let _ = fs::remove_dir_all(&partial);
        }
        written
    }

    /// The files that a package of this collection has.
    fn resources(&self) -> Result<Vec<&'static Resource>, CollectionError> {
        let mut resources: Vec<&Resource> = RESOURCES.iter().collect();
        for (table, resource) in [("trace", &TRACES), ("work", &WORKS), ("picture", &PICTURES)] {
            if schema::has_rows(&self.connection, table)? {
                resources.push(resource);
            }
        }
        Ok(resources)
    }

    fn export_files(
        &self,
        folder: &Path,
        version: &str,
        parquet: bool,
    ) -> Result<(), CollectionError> {
        let revision = self.revision()?;
        let resources = self.resources()?;
        for resource in &resources {
            let mut writer = TableWriter::create(folder, resource, parquet)?;
            let mut statement = self.connection.prepare(resource.query)?;
            let mut rows = statement.query([])?;
            while let Some(row) = rows.next()? {
                let mut record = StringRecord::new();
                for (column, (name, _)) in resource.fields.iter().enumerate() {
                    record.push_field(&cell_text(name, row.get_ref(column)?));
                }
                writer.write(record)?;
            }
            writer.finish()?;
        }
        let descriptor = descriptor(&resources, &revision, version, parquet);
        let path = folder.join(DESCRIPTOR);
        fs::write(&path, descriptor).map_err(|source| not_written(&path, source))
    }

    /// Takes over an exported collection, history and all. This collection must be new.
    ///
    /// # Errors
    /// [`CollectionError::Package`] for a package that is damaged or does not fit its digests,
    /// or when this collection has revisions already.
    pub fn import(&mut self, folder: &Path) -> Result<(), CollectionError> {
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        schema::bring_up_to_date(&transaction)?;
        let revisions: i64 =
            transaction.query_row("SELECT count(*) FROM revision", [], |row| row.get(0))?;
        if revisions > 0 {
            return Err(CollectionError::Package {
                file: folder.display().to_string(),
                what: "an exported collection with its history; it goes into a new collection"
                    .to_owned(),
            });
        }
        Importing {
            folder,
            transaction: &transaction,
        }
        .all()?;
        let dangling = transaction
            .prepare("PRAGMA foreign_key_check")?
            .exists([])?;
        if dangling {
            return Err(CollectionError::Package {
                file: folder.display().to_string(),
                what: format!("a row refers to one that is not there: {CHANGED}"),
            });
        }
        let newest = newest_revision(&transaction)?;
        let promised = read_descriptor(folder)?;
        let promised = promised.get(MARK).cloned().unwrap_or_default();
        if promised["revision"] != json!(newest.id) || promised["sha256"] != json!(newest.sha256) {
            return Err(CollectionError::Package {
                file: folder.join(DESCRIPTOR).display().to_string(),
                what: format!(
                    "it promises another revision or digest than its files have (revision {}): \
                     the package is not whole",
                    newest.id
                ),
            });
        }
        transaction.commit()?;
        Ok(())
    }
}

fn no_parquet(file: &Path, verb: &'static str) -> CollectionError {
    CollectionError::Table(TableError::NoParquet {
        file: file.display().to_string(),
        verb,
    })
}

/// A table on its way into a package.
enum TableWriter {
    Csv(PathBuf, Box<csv::Writer<fs::File>>),
    #[cfg(feature = "frame")]
    Parquet(Box<ParquetTable>),
}

impl TableWriter {
    fn create(
        folder: &Path,
        resource: &Resource,
        parquet: bool,
    ) -> Result<TableWriter, CollectionError> {
        let path = folder.join(resource.file(parquet));
        #[cfg(feature = "frame")]
        if resource.is_parquet(parquet) {
            let table = ParquetTable::create(&path, resource.fields)?;
            return Ok(TableWriter::Parquet(Box::new(table)));
        }
        let writer = csv::Writer::from_path(&path).map_err(|e| not_written(&path, e.into()))?;
        let mut table = TableWriter::Csv(path, Box::new(writer));
        table.write(resource.fields.iter().map(|(name, _)| *name).collect())?;
        Ok(table)
    }

    fn write(&mut self, record: StringRecord) -> Result<(), CollectionError> {
        match self {
            TableWriter::Csv(path, writer) => writer
                .write_record(&record)
                .map_err(|e| not_written(path, e.into())),
            #[cfg(feature = "frame")]
            TableWriter::Parquet(table) => Ok(table.push(record)?),
        }
    }

    fn finish(self) -> Result<(), CollectionError> {
        match self {
            TableWriter::Csv(path, writer) => {
                let file = writer.into_inner().map_err(|e| e.into_error());
                let synced = file.and_then(|file| file.sync_all());
                synced.map_err(|e| not_written(&path, e))
            }
            #[cfg(feature = "frame")]
            TableWriter::Parquet(table) => Ok(table.finish()?),
        }
    }
}

fn not_written(path: &Path, source: std::io::Error) -> CollectionError {
    CollectionError::File {
        verb: "write",
        file: path.display().to_string(),
        source,
    }
}

/// A stored value as a package's cell.
fn cell_text(field: &str, value: rusqlite::types::ValueRef<'_>) -> String {
    use rusqlite::types::ValueRef;
    match value {
        ValueRef::Null => String::new(),
        ValueRef::Integer(number) if field == "state" => state_of(number).name().to_owned(),
        ValueRef::Integer(number) if field == "written_in" => {
            let unit = usize::try_from(number)
                .ok()
                .and_then(|at| super::rows::UNITS.get(at));
            unit.map_or("", |unit| unit_name(*unit)).to_owned()
        }
        ValueRef::Integer(number) => number.to_string(),
        ValueRef::Real(value) => format!("{value:?}"),
        ValueRef::Text(text) | ValueRef::Blob(text) => String::from_utf8_lossy(text).into_owned(),
    }
}

fn unit_name(unit: Unit) -> &'static str {
    if unit == Unit::Plain {
        "1"
    } else {
        unit.symbol()
    }
}

fn descriptor(
    resources: &[&Resource],
    revision: &super::Revision,
    version: &str,
    parquet: bool,
) -> String {
    let resources: Vec<Value> = resources
        .iter()
        .map(|resource| {
            let fields: Vec<Value> = resource
                .fields
                .iter()
                .map(|(name, kind)| json!({ "name": name, "type": kind }))
                .collect();
            let mut schema = json!({ "fields": fields, "missingValues": [""] });
            if !resource.key.is_empty() {
                schema["primaryKey"] = json!(resource.key);
            }
            // The standard's tabular profiles are of CSV alone.
            let (profile, format, mediatype, encoding) = if resource.is_parquet(parquet) {
                let mediatype = "application/vnd.apache.parquet";
                ("data-resource", "parquet", mediatype, None)
            } else {
                ("tabular-data-resource", "csv", "text/csv", Some("utf-8"))
            };
            let mut described = json!({
                "name": resource.name,
                "title": resource.title,
                "path": resource.file(parquet),
                "profile": profile,
                "format": format,
                "mediatype": mediatype,
                "schema": schema,
            });
            if let Some(encoding) = encoding {
                described["encoding"] = json!(encoding);
            }
            described
        })
        .collect();
    let descriptor = json!({
        "name": "collection",
        "title": "A collection of pipe measurements",
        "profile": if parquet { "data-package" } else { "tabular-data-package" },
        MARK: { "version": version, "revision": revision.id, "sha256": revision.sha256 },
        "resources": resources,
    });
    // A value built here from texts and numbers always has a JSON form.
    serde_json::to_string_pretty(&descriptor).unwrap_or_default() + "\n"
}

/// An exported collection on its way in.
struct Importing<'a> {
    folder: &'a Path,
    transaction: &'a Transaction<'a>,
}

/// A row of a package's file, by column name.
struct PackageRow<'a> {
    file: &'a str,
    line: u64,
    headings: &'a StringRecord,
    cells: &'a StringRecord,
}

impl PackageRow<'_> {
    fn text(&self, name: &str) -> Result<&str, CollectionError> {
        let at = self.headings.iter().position(|h| h == name);
        at.and_then(|at| self.cells.get(at))
            .ok_or_else(|| self.bad(name, "missing"))
    }

    /// A size as `export` writes it: other digits for the same number are a change as well.
    fn size(&self, name: &str) -> Result<f64, CollectionError> {
        let size: f64 = self.number(name)?;
        let text = self.text(name)?;
        // A whole number of a Parquet file comes without its point.
        if size.is_finite() && (text == format!("{size:?}") || text == size.to_string()) {
            Ok(size)
        } else {
            Err(self.bad(
                name,
                &format!("the digest is of {size:?} in its shortest form: {CHANGED}"),
            ))
        }
    }

    fn number<T: std::str::FromStr>(&self, name: &str) -> Result<T, CollectionError> {
        let text = self.text(name)?;
        text.parse()
            .map_err(|_| self.bad(name, &format!("`{text}` is not a number")))
    }

    fn optional(&self, name: &str) -> Result<Option<i64>, CollectionError> {
        if self.text(name)?.is_empty() {
            Ok(None)
        } else {
            self.number(name).map(Some)
        }
    }

    fn circumstance(&self) -> Result<Option<Circumstance>, CollectionError> {
        let text = |name| self.text(name).map(str::to_owned);
        let circumstance = Circumstance {
            instrument: text("instrument")?,
            measured_by: text("measured_by")?,
            measured_on: text("measured_on")?,
            source: text("source")?,
            note: text("note")?,
        };
        Ok(Some(circumstance).filter(|c| *c != Circumstance::default()))
    }

    fn bad(&self, column: &str, what: &str) -> CollectionError {
        CollectionError::Package {
            file: self.file.to_owned(),
            what: format!("line {}, column {column}: {what}", self.line),
        }
    }
}

#[cfg(feature = "frame")]
fn parquet_rows(
    path: &Path,
    mut each: impl FnMut(&PackageRow<'_>) -> Result<(), CollectionError>,
) -> Result<(), CollectionError> {
    let file = path.display().to_string();
    let records = ParquetRecords::open(path)?;
    let headings = records.headings();
    for (line, cells) in (2..).zip(records.rows()) {
        each(&PackageRow {
            file: &file,
            line,
            headings: &headings,
            cells: &cells,
        })?;
    }
    Ok(())
}

#[cfg(not(feature = "frame"))]
fn parquet_rows(
    path: &Path,
    _: impl FnMut(&PackageRow<'_>) -> Result<(), CollectionError>,
) -> Result<(), CollectionError> {
    Err(no_parquet(path, "reading"))
}

impl Importing<'_> {
    fn rows(
        &self,
        name: &str,
        mut each: impl FnMut(&PackageRow<'_>) -> Result<(), CollectionError>,
    ) -> Result<(), CollectionError> {
        let parquet = self.folder.join(format!("{name}.parquet"));
        if parquet.exists() {
            return parquet_rows(&parquet, each);
        }
        let file = format!("{name}.csv");
        let path = self.folder.join(&file);
        let bad = |what: String| CollectionError::Package {
            file: file.clone(),
            what,
        };
        let mut reader = csv::Reader::from_path(&path).map_err(|e| bad(e.to_string()))?;
        let headings = reader.headers().map_err(|e| bad(e.to_string()))?.clone();
        let mut cells = StringRecord::new();
        while reader
            .read_record(&mut cells)
            .map_err(|e| bad(e.to_string()))?
        {
            let line = cells.position().map_or(0, csv::Position::line);
            each(&PackageRow {
                file: &file,
                line,
                headings: &headings,
                cells: &cells,
            })?;
        }
        Ok(())
    }

    fn all(&self) -> Result<(), CollectionError> {
        let mut files: Vec<(i64, i64)> = Vec::new();
        self.rows("files", |row| {
            let (id, revision) = (row.number("file")?, row.number("revision")?);
            self.transaction.execute(
                "INSERT INTO file (id, revision, name, sha256, options)
                 VALUES (?1, ?2, ?3, ?4, ?5)",
                params![
                    id,
                    revision,
                    row.text("name")?,
                    row.text("sha256")?,
                    row.text("options")?
                ],
            )?;
            files.push((id, revision));
            Ok(())
        })?;
        let dimensions = self.dimensions()?;
        self.periods()?;
        let specimens = self.specimens()?;
        let mut digests = self.readings(&dimensions, &specimens)?;
        self.traces(&specimens, &mut digests)?;
        self.works(&dimensions, &specimens)?;
        self.revisions(&files, digests)
    }

    /// Stores the traces, where the package has any, and adds them to the digests of their files.
    fn traces(
        &self,
        specimens: &HashMap<String, i64>,
        digests: &mut HashMap<i64, Digester>,
    ) -> Result<(), CollectionError> {
        if !self.folder.join("traces.csv").exists() {
            return Ok(());
        }
        self.rows("traces", |row| {
            let name = row.text("specimen")?;
            let specimen = specimens
                .get(name)
                .ok_or_else(|| row.bad("specimen", "not in the specimens"))?;
            let state =
                State::parse(row.text("state")?).ok_or_else(|| row.bad("state", "not a state"))?;
            let circumstance = row.circumstance()?;
            let uncertainty = match row.text("uncertainty")? {
                "" => None,
                _ => Some(row.size("uncertainty")?),
            };
            let decimal_mark = row.text("decimal_mark")?;
            if ![".", ","].contains(&decimal_mark) {
                return Err(row.bad("decimal_mark", "expected . or ,"));
            }
            let trace = NewTrace {
                key: TraceKey {
                    specimen: *specimen,
                    feature: row.text("feature")?.to_owned(),
                    repeat: row.number("repeat")?,
                    seq: row.number("number")?,
                },
                name,
                state: state as i64,
                uncertainty,
                circumstance: circumstance.as_ref(),
                decimal_mark,
                unit: row.text("unit")?,
                points: row.text("points")?,
            };
            let file = row.number("file")?;
            trace.insert(self.transaction, file)?;
            digests.entry(file).or_default().trace(&trace);
            if let Some(revision) = row.optional("withdrawn_in")? {
                insert_withdrawal(self.transaction, &trace.key, revision)?;
            }
            Ok(())
        })
    }

    /// Stores the works and their pictures, where the package has any.
    fn works(
        &self,
        dimensions: &HashMap<String, (i64, String)>,
        specimens: &HashMap<String, i64>,
    ) -> Result<(), CollectionError> {
        let place = |row: &PackageRow<'_>| -> Result<(i64, i64, i64), CollectionError> {
            let specimen = specimens
                .get(row.text("specimen")?)
                .ok_or_else(|| row.bad("specimen", "not in the specimens"))?;
            let (dimension, _) = dimensions
                .get(row.text("dimension")?)
                .ok_or_else(|| row.bad("dimension", "not in the dimensions"))?;
            Ok((*specimen, *dimension, row.number("number")?))
        };
        if self.folder.join("works.csv").exists() {
            self.rows("works", |row| {
                insert_work(
                    self.transaction,
                    &WorkRow {
                        place: place(row)?,
                        found: row.number("found_number")?,
                        revision: row.number("revision")?,
                        tool: row.text("tool")?,
                        done_by: row.text("done_by")?,
                        done_on: row.text("done_on")?,
                        why: row.text("why")?,
                    },
                )
            })?;
        }
        if self.folder.join("pictures.csv").exists() {
            self.rows("pictures", |row| {
                let picture = Picture {
                    name: row.text("name")?.to_owned(),
                    sha256: row.text("sha256")?.to_owned(),
                };
                insert_picture(
                    self.transaction,
                    place(row)?,
                    row.number("picture")?,
                    &picture,
                )
            })?;
        }
        Ok(())
    }

    fn dimensions(&self) -> Result<HashMap<String, (i64, String)>, CollectionError> {
        const CELLS: [&str; 9] = [
            "key",
            "label",
            "unit",
            "synonyms",
            "how_measured",
            "credible_low",
            "credible_high",
            "wear_moves",
            "tool_moves",
        ];
        let mut ids = HashMap::new();
        self.rows("dimensions", |row| {
            let cells = CELLS
                .iter()
                .map(|c| row.text(c))
                .collect::<Result<Vec<&str>, _>>()?;
            let dimension = Dimension::from_cells(&cells)
                .ok_or_else(|| row.bad("key", "not the row of a dimension"))?;
            let id = insert_dimension(self.transaction, row.number("revision")?, &dimension)?;
            ids.insert(dimension.key, (id, dimension.unit));
            Ok(())
        })?;
        Ok(ids)
    }

    fn periods(&self) -> Result<(), CollectionError> {
        self.rows("periods", |row| {
            let (from, to): (i16, i16) = (row.number("from")?, row.number("to")?);
            self.transaction.execute(
                "INSERT INTO period (revision, maker, name, year_from, year_to, standing, note)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                params![
                    row.number::<i64>("revision")?,
                    row.text("maker")?,
                    row.text("period")?,
                    from,
                    to,
                    row.text("standing")?,
                    row.text("note")?
                ],
            )?;
            let id = self.transaction.last_insert_rowid();
            if let Some(revision) = row.optional("withdrawn_in")? {
                self.transaction.execute(
                    "INSERT INTO period_withdrawal (period, revision) VALUES (?1, ?2)",
                    params![id, revision],
                )?;
            }
            Ok(())
        })
    }

    fn specimens(&self) -> Result<HashMap<String, i64>, CollectionError> {
        let mut ids: HashMap<String, i64> = HashMap::new();
        self.rows("specimens", |row| {
            let text = |name| row.text(name).map(str::to_owned);
            let description = Description {
                specimen: text("specimen")?,
                maker: text("maker")?,
                pattern: text("pattern")?,
                finish: text("finish")?,
                made: text("made")?,
                period: text("period")?,
                source: text("source")?,
                note: text("note")?,
            };
            let next = ids.len() as i64 + 1;
            let id = *ids.entry(description.specimen.clone()).or_insert(next);
            if id == next {
                self.transaction
                    .prepare_cached("INSERT INTO specimen (id, name) VALUES (?1, ?2)")?
                    .execute(params![id, description.specimen])?;
            }
            insert_description(self.transaction, id, row.number("revision")?, &description)
        })?;
        Ok(ids)
    }

    /// Stores the readings; gives the digest of each file's.
    fn readings(
        &self,
        dimensions: &HashMap<String, (i64, String)>,
        specimens: &HashMap<String, i64>,
    ) -> Result<HashMap<i64, Digester>, CollectionError> {
        let mut digests: HashMap<i64, Digester> = HashMap::new();
        let mut insert = self.transaction.prepare(
            "INSERT INTO reading (specimen, dimension, seq, file, value, uncertainty, state, unit,
             text, circumstance) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
        )?;
        self.rows("readings", |row| {
            let (name, key) = (row.text("specimen")?, row.text("dimension")?);
            let specimen = specimens
                .get(name)
                .ok_or_else(|| row.bad("specimen", "not in the specimens"))?;
            let (dimension, base_unit) = dimensions
                .get(key)
                .ok_or_else(|| row.bad("dimension", "not in the dimensions"))?;
            if row.text("unit")? != base_unit {
                return Err(row.bad(
                    "unit",
                    &format!("expected {base_unit}, as in the dimensions"),
                ));
            }
            let (value, uncertainty): (f64, f64) = (row.size("value")?, row.size("uncertainty")?);
            let state = State::parse(row.text("state")?)
                .ok_or_else(|| row.bad("state", "not a state"))? as i64;
            let unit = match row.text("written_in")? {
                "1" => Unit::Plain,
                text => Unit::parse(text).ok_or_else(|| row.bad("written_in", "not a unit"))?,
            };
            let circumstance = row.circumstance()?;
            let circumstance_id = match &circumstance {
                Some(c) => Some(circumstance_id(self.transaction, c)?),
                None => None,
            };
            let (seq, file): (i64, i64) = (row.number("number")?, row.number("file")?);
            let text = row.text("text")?;
            insert.execute(params![
                specimen,
                dimension,
                seq,
                file,
                value,
                uncertainty,
                state,
                unit_number(unit),
                text,
                circumstance_id
            ])?;
            if let Some(revision) = row.optional("withdrawn_in")? {
                self.transaction.execute(
                    "INSERT INTO withdrawal (specimen, dimension, seq, revision)
                     VALUES (?1, ?2, ?3, ?4)",
                    params![specimen, dimension, seq, revision],
                )?;
            }
            digests.entry(file).or_default().reading(
                name,
                key,
                seq,
                (value, uncertainty),
                state,
                unit_number(unit),
                text,
                circumstance.as_ref(),
            );
            Ok(())
        })?;
        Ok(digests)
    }

    /// Stores the revisions, each only if what was read fits its digest.
    fn revisions(
        &self,
        files: &[(i64, i64)],
        readings: HashMap<i64, Digester>,
    ) -> Result<(), CollectionError> {
        let mut readings: HashMap<i64, String> = readings
            .into_iter()
            .map(|(file, digest)| (file, digest.finish()))
            .collect();
        let mut previous = String::new();
        self.rows("revisions", |row| {
            let head = RevisionHead {
                id: row.number("revision")?,
                made_on: row.text("made_on")?.to_owned(),
                made_by: row.text("made_by")?.to_owned(),
                action: row.text("action")?.to_owned(),
                why: row.text("why")?.to_owned(),
            };
            let of_files: Vec<String> = files
                .iter()
                .filter(|(_, revision)| *revision == head.id)
                .map(|(file, _)| {
                    readings
                        .remove(file)
                        .unwrap_or_else(|| Digester::default().finish())
                })
                .collect();
            let sha256 = revision_digest(self.transaction, &previous, &head, &of_files)?;
            if sha256 != row.text("sha256")? {
                let what = format!(
                    "the content does not fit the digest of revision {}: {CHANGED}",
                    head.id
                );
                return Err(row.bad("sha256", &what));
            }
            head.insert(self.transaction, &sha256)?;
            previous = sha256;
            Ok(())
        })
    }
}
