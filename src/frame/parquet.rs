//! Parquet bytes to frames and back.

use std::io::Cursor;
use std::panic::{AssertUnwindSafe, catch_unwind};

use polars::datatypes::ArrowDataType;
use polars::error::PolarsError;
use polars::prelude::{Column, DataFrame, DataType, ParquetReader, SerReader as _};

use super::FrameError;
use crate::table::{Options, is_skipped};

/// Reads a Parquet file; `file` is its name for messages. Skipped columns that hold neither
/// numbers nor texts come out empty.
pub(super) fn read(file: &str, bytes: Vec<u8>, options: &Options) -> Result<DataFrame, FrameError> {
    // polars panics on some damaged files. All that it may have left half done is dropped here.
    let read = AssertUnwindSafe(|| read_undamaged(file, bytes, options));
    catch_unwind(read).unwrap_or_else(|_| {
        Err(FrameError::Parquet {
            verb: "read",
            file: file.to_owned(),
            source: PolarsError::ComputeError("the file is damaged".into()),
        })
    })
}

fn read_undamaged(file: &str, bytes: Vec<u8>, options: &Options) -> Result<DataFrame, FrameError> {
    let failed = |source| FrameError::Parquet {
        verb: "read",
        file: file.to_owned(),
        source,
    };
    let mut reader = ParquetReader::new(Cursor::new(bytes));
    let schema = reader.schema().map_err(failed)?;
    let (mut readable, mut left_out) = (Vec::new(), Vec::new());
    for (position, (heading, field)) in schema.iter().enumerate() {
        if is_readable(field.dtype()) {
            readable.push(position);
        } else if is_skipped(heading, options) {
            left_out.push((position, heading));
        } else {
            return Err(FrameError::ColumnType {
                file: file.to_owned(),
                heading: heading.to_string(),
                found: format!("{:?}", field.dtype()),
            });
        }
    }
    let mut frame = reader
        .with_projection(Some(readable))
        // One piece a column, or each cell would have to be looked for.
        .set_rechunk(true)
        .finish()
        .map_err(failed)?;
    for (position, heading) in left_out {
        let empty = Column::full_null(heading.clone(), frame.height(), &DataType::Null);
        frame.insert_column(position, empty).map_err(failed)?;
    }
    Ok(frame)
}

/// Whether a column of that type holds numbers or texts, and polars can read it without further
/// features, each of which would lengthen the build. On some other types it would panic.
fn is_readable(dtype: &ArrowDataType) -> bool {
    use ArrowDataType::{
        Boolean, Dictionary, Float32, Float64, Int32, Int64, LargeUtf8, Null, UInt32, UInt64, Utf8,
        Utf8View,
    };
    match dtype {
        Dictionary(_, values, _) => matches!(**values, Utf8 | LargeUtf8 | Utf8View),
        Null | Boolean | Int32 | Int64 | UInt32 | UInt64 | Float32 | Float64 | Utf8 | LargeUtf8
        | Utf8View => true,
        _ => false,
    }
}

#[cfg(feature = "store")]
pub(crate) use package::{ParquetRecords, ParquetTable};

/// The tables of a data package.
#[cfg(feature = "store")]
mod package {
    use std::fs::File;
    use std::io::BufWriter;
    use std::path::Path;

    use csv::StringRecord;
    use polars::error::PolarsResult;
    use polars::prelude::{BatchedWriter, ParquetWriter};

    use super::*;
    use crate::frame::table::FrameCells;
    use crate::table::{Cells as _, read_bytes};

    /// Columns with their Table Schema types.
    type Fields = &'static [(&'static str, &'static str)];

    /// A table on its way into a Parquet file. Empty cells become nulls.
    pub(crate) struct ParquetTable {
        file: String,
        fields: Fields,
        rows: Vec<StringRecord>,
        writer: BatchedWriter<BufWriter<File>>,
        /// The same open file, to see it safely on the disk.
        handle: File,
    }

    impl ParquetTable {
        /// Rows that wait to be written: enough to compress well, few enough for memory.
        const ROW_GROUP: usize = 1 << 17;

        /// A new file.
        pub(crate) fn create(path: &Path, fields: Fields) -> Result<ParquetTable, FrameError> {
            let file = path.display().to_string();
            let create = || {
                let handle = File::create(path)?;
                let writer = ParquetWriter::new(BufWriter::new(handle.try_clone()?));
                PolarsResult::Ok((writer.batched(batch(fields, &[])?.schema())?, handle))
            };
            let (writer, handle) = create().map_err(|source| failed(&file, source))?;
            Ok(ParquetTable {
                file,
                fields,
                rows: Vec::new(),
                writer,
                handle,
            })
        }

        /// Adds a row.
        pub(crate) fn push(&mut self, row: StringRecord) -> Result<(), FrameError> {
            self.rows.push(row);
            match self.rows.len() {
                Self::ROW_GROUP => self.write(),
                _ => Ok(()),
            }
        }

        /// Writes the rest.
        pub(crate) fn finish(mut self) -> Result<(), FrameError> {
            self.write()?;
            let written = self.writer.finish();
            written
                .and_then(|_| Ok(self.handle.sync_all()?))
                .map_err(|source| failed(&self.file, source))
        }

        fn write(&mut self) -> Result<(), FrameError> {
            let rows = std::mem::take(&mut self.rows);
            let batch = batch(self.fields, &rows);
            batch
                .and_then(|batch| self.writer.write_batch(&batch))
                .map_err(|source| failed(&self.file, source))
        }
    }

    fn failed(file: &str, source: PolarsError) -> FrameError {
        FrameError::Parquet {
            verb: "write",
            file: file.to_owned(),
            source,
        }
    }

    fn batch(fields: Fields, rows: &[StringRecord]) -> PolarsResult<DataFrame> {
        let column = |(at, (name, kind)): (usize, &(&str, &str))| {
            let cells = rows.iter().map(|row| row.get(at).filter(|c| !c.is_empty()));
            let name = (*name).into();
            match *kind {
                "integer" => {
                    let numbers = cells.map(|cell| cell?.parse::<i64>().ok());
                    Column::new(name, numbers.collect::<Vec<_>>())
                }
                "number" => {
                    let numbers = cells.map(|cell| cell?.parse::<f64>().ok());
                    Column::new(name, numbers.collect::<Vec<_>>())
                }
                _ => Column::new(name, cells.collect::<Vec<_>>()),
            }
        };
        DataFrame::new_infer_height(fields.iter().enumerate().map(column).collect())
    }

    /// A Parquet file, row by row as CSV would have it.
    pub(crate) struct ParquetRecords(DataFrame);

    impl ParquetRecords {
        pub(crate) fn open(path: &Path) -> Result<ParquetRecords, FrameError> {
            let file = path.display().to_string();
            let frame = read(&file, read_bytes(path)?, &Options::default())?;
            Ok(ParquetRecords(frame))
        }

        pub(crate) fn headings(&self) -> StringRecord {
            let columns = self.0.columns().iter();
            columns.map(|column| column.name().as_str()).collect()
        }

        pub(crate) fn rows(&self) -> impl Iterator<Item = StringRecord> {
            let cells = FrameCells::new(&self.0);
            (0..cells.rows()).map(move |row| cells.record(row))
        }
    }
}
