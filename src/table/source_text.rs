//! From a file's bytes to text: encoding, delimiter, decimal mark, and where a byte stands.

use std::borrow::Cow;
use std::fs::{File, Metadata};
use std::io::{self, Read as _};
use std::path::Path;

use encoding_rs::Encoding;
use memchr::{memchr, memchr_iter};

use super::TableError;
use crate::notation::DecimalMark;
use crate::parallel;

/// Reads a whole file, and notices when it changes meanwhile.
///
/// # Errors
/// [`TableError::Read`], [`TableError::Changed`].
pub fn read_bytes(path: &Path) -> Result<Vec<u8>, TableError> {
    let file_name = || path.display().to_string();
    let failed = |source| TableError::Read {
        file: file_name(),
        source,
    };
    let mut file = File::open(path).map_err(failed)?;
    let before = file.metadata().map_err(failed)?;
    let long = usize::try_from(before.len()).unwrap_or(0);
    let bytes = if before.is_file() && long >= LONG {
        read_in_parts(&file, long).map_err(failed)?
    } else {
        let mut bytes = Vec::with_capacity(long + 1);
        file.read_to_end(&mut bytes).map_err(failed)?;
        Some(bytes)
    };
    let after = file.metadata().map_err(failed)?;
    // A pipe has no length of its own; a plain file must give what it promised.
    let stood_still = |bytes: &Vec<u8>| {
        !before.is_file() || (bytes.len() as u64 == before.len() && is_same(&before, &after))
    };
    match bytes.filter(stood_still) {
        Some(bytes) => Ok(bytes),
        None => Err(TableError::Changed { file: file_name() }),
    }
}

/// From so many bytes on a file is read by several threads.
const LONG: usize = 1 << 22;

/// The bytes of a plain file of that length; `None` where it is shorter now.
#[cfg(unix)]
fn read_in_parts(file: &File, long: usize) -> io::Result<Option<Vec<u8>>> {
    use std::os::unix::fs::FileExt as _;
    let mut bytes = vec![0; long];
    let mut parts: Vec<&mut [u8]> = bytes.chunks_mut(LONG).collect();
    let read = |at: usize, part: &mut &mut [u8]| match file.read_exact_at(part, (at * LONG) as u64)
    {
        Err(error) if error.kind() == io::ErrorKind::UnexpectedEof => Ok(false),
        done => done.map(|()| true),
    };
    let read: io::Result<Vec<bool>> = parallel::each(&mut parts, long, read).into_iter().collect();
    let is_whole = read?.into_iter().all(|whole| whole);
    Ok(is_whole.then_some(bytes))
}

/// The same where threads cannot read in several places of one open file.
#[cfg(not(unix))]
fn read_in_parts(mut file: &File, long: usize) -> io::Result<Option<Vec<u8>>> {
    let mut bytes = Vec::with_capacity(long + 1);
    file.read_to_end(&mut bytes)?;
    Ok(Some(bytes))
}

/// Whether a file has the length and the time of change that it had.
fn is_same(before: &Metadata, now: &Metadata) -> bool {
    now.len() == before.len() && now.modified().ok() == before.modified().ok()
}

/// A decoded file with its name.
#[derive(Debug)]
pub(super) struct SourceText {
    pub(super) file: String,
    text: String,
    /// Bytes before the first character of the table (a byte-order mark).
    start: usize,
    /// How it was written.
    pub(super) encoding: &'static Encoding,
}

impl SourceText {
    /// Decodes UTF-8 (with or without a byte-order mark), UTF-16 with one, else Windows-1252.
    pub(super) fn decode(file: &str, bytes: Vec<u8>) -> Result<SourceText, TableError> {
        let not_text = |found| TableError::NotText {
            file: file.to_owned(),
            found,
        };
        if bytes.is_empty() {
            return Err(TableError::Empty {
                file: file.to_owned(),
            });
        }
        if bytes.starts_with(b"SQLite format 3\0") {
            return Err(not_text("it is a collection or another SQLite file"));
        }
        if bytes.starts_with(b"PAR1") {
            return Err(not_text("it is a Parquet file"));
        }
        if bytes.starts_with(b"PK\x03\x04") {
            return Err(not_text(
                "it is a spreadsheet or archive: save the sheet as CSV first",
            ));
        }
        let mut found = encoding_rs::UTF_8;
        let text = match Encoding::for_bom(&bytes) {
            Some((encoding, _)) if encoding != encoding_rs::UTF_8 => {
                let (text, _, malformed) = encoding.decode(&bytes);
                if malformed {
                    return Err(not_text(
                        "its byte-order mark promises UTF-16 that is not there",
                    ));
                }
                text.into_owned()
            }
            _ => match String::from_utf8(bytes) {
                Ok(text) => text,
                Err(error) => {
                    found = encoding_rs::WINDOWS_1252;
                    found
                        .decode_without_bom_handling(error.as_bytes())
                        .0
                        .into_owned()
                }
            },
        };
        if has(text.as_bytes(), 0) {
            return Err(not_text("it holds NUL bytes"));
        }
        let start = if text.starts_with('\u{feff}') {
            '\u{feff}'.len_utf8()
        } else {
            0
        };
        if text[start..].trim().is_empty() {
            return Err(TableError::Empty {
                file: file.to_owned(),
            });
        }
        Ok(SourceText {
            file: file.to_owned(),
            text,
            start,
            encoding: found,
        })
    }

    /// The table's text, from its first character.
    pub(super) fn table(&self) -> &str {
        &self.text[self.start..]
    }

    /// The delimiter, whichever of comma, semicolon and tab the first written line has most of, and
    /// how many columns that makes.
    pub(super) fn delimiter(&self) -> (u8, usize) {
        let first = self.table().trim_start_matches(['\r', '\n']);
        let mut counts = [(b',', 0usize), (b';', 0), (b'\t', 0)];
        let mut quoted = false;
        for byte in first.bytes() {
            match byte {
                b'"' => quoted = !quoted,
                b'\n' | b'\r' if !quoted => break,
                _ if !quoted => {
                    if let Some((_, n)) = counts.iter_mut().find(|(d, _)| *d == byte) {
                        *n += 1;
                    }
                }
                _ => {}
            }
        }
        // The first of equals, so a header of one column is read as comma-separated.
        counts
            .iter()
            .rev()
            .max_by_key(|(_, n)| n)
            .map_or((b',', 1), |&(d, n)| (d, n + 1))
    }

    /// Whether a quotation mark stands at an offset into [`Self::table`] or below.
    pub(super) fn is_quoted(&self, from: usize) -> bool {
        has(&self.table().as_bytes()[from..], b'"')
    }

    /// The parts that so many threads can read apart from each other: cut at line ends, and only where no
    /// quotation mark could make a line end part of a cell. Offsets into [`Self::table`]. The first is the
    /// better part of a thread's work, because what it becomes can stay where it is; the others are short: where
    /// one is slow, others take over what is left.
    pub(super) fn parts(
        &self,
        from: usize,
        is_quoted: bool,
        threads: usize,
    ) -> Vec<(usize, usize)> {
        /// Below this a second thread costs more than it saves.
        const WORTH_IT: usize = 1 << 20;
        /// Short parts for each further thread.
        const SHORT: usize = 10;
        let bytes = self.table().as_bytes();
        let body = &bytes[from..];
        if threads < 2 || body.len() < WORTH_IT || is_quoted {
            return vec![(from, bytes.len())];
        }
        let first = body.len() / threads / 5 * 4;
        let short = (body.len() - first) / (SHORT * (threads - 1));
        let mut cuts = vec![from];
        for middle in (from + first..bytes.len()).step_by(short.max(1)) {
            let rest = &bytes[middle..];
            let cut = rest.iter().position(|&b| b == b'\n');
            let cut = cut.map(|at| middle + at + 1);
            cuts.extend(cut.filter(|cut| *cut > cuts[cuts.len() - 1]));
        }
        cuts.push(bytes.len());
        cuts.windows(2).map(|w| (w[0], w[1])).collect()
    }

    /// How many records of so many cells a part has at most: one a line end, and a last one without; and each has
    /// its delimiters.
    pub(super) fn most_records(&self, (from, to): (usize, usize), cells: usize) -> usize {
        let bytes = &self.table().as_bytes()[from..to];
        // In stretches that are at hand for the second look.
        let counted = bytes.chunks(1 << 16).map(|some| {
            let returns = memchr(b'\r', some).map_or(0, |first| {
                // Of a line that ends in `\r` alone; at the end of a stretch perhaps one too many.
                let returns = memchr_iter(b'\r', &some[first..]);
                let alone = returns.filter(|at| some[first..].get(at + 1) != Some(&b'\n'));
                alone.count()
            });
            memchr_iter(b'\n', some).count() + returns
        });
        let last = !matches!(bytes.last(), None | Some(b'\n' | b'\r'));
        let lines = counted.sum::<usize>() + usize::from(last);
        lines.min(bytes.len() / cells.max(1) + 1)
    }

    /// Where the records at these offsets (ascending) stand, and their raw text.
    pub(super) fn locate(&self, offsets: &[usize], delimiter: u8) -> Vec<Located<'_>> {
        let text = self.table();
        let mut found = Vec::with_capacity(offsets.len());
        let mut scan = Scan {
            bytes: text.as_bytes(),
            at: 0,
            row: 1,
            line: 1,
        };
        for &offset in offsets {
            while scan.at < offset {
                scan.skip_record(delimiter);
            }
            // The csv reader counts the blank lines before a record as part of it.
            while scan.at_line_end() {
                scan.skip_record(delimiter);
            }
            let (start, row, line) = (scan.at, scan.row, scan.line);
            let mut ahead = Scan { ..scan };
            ahead.skip_record(delimiter);
            let raw = Cow::Borrowed(text[start..ahead.at].trim_end_matches(['\r', '\n']));
            found.push(Located { row, line, raw });
        }
        found
    }
}

/// Whether a byte stands somewhere among others.
fn has(bytes: &[u8], byte: u8) -> bool {
    let found = parallel::stretches(bytes.len(), LONG, |part| {
        memchr(byte, &bytes[part]).is_some()
    });
    found.contains(&true)
}

/// A record's place and its text as it stands in the file.
#[derive(Debug)]
pub(super) struct Located<'a> {
    pub(super) row: usize,
    pub(super) line: usize,
    pub(super) raw: Cow<'a, str>,
}

/// Walks a text record by record, counting rows as a spreadsheet does and lines as an editor does.
#[derive(Clone, Copy)]
struct Scan<'a> {
    bytes: &'a [u8],
    at: usize,
    row: usize,
    line: usize,
}

impl Scan<'_> {
    fn at_line_end(&self) -> bool {
        matches!(self.bytes.get(self.at), Some(b'\r' | b'\n'))
    }

    /// Steps over one line end, `\r\n` counting as one.
    fn skip_line_end(&mut self) {
        let pair = self.bytes[self.at..].starts_with(b"\r\n");
        self.at += if pair { 2 } else { 1 };
        self.line += 1;
    }

    /// Steps over the record that begins here and its line end.
    fn skip_record(&mut self, delimiter: u8) {
        let (mut quoted, mut cell_start) = (false, true);
        while let Some(&byte) = self.bytes.get(self.at) {
            match byte {
                b'\r' | b'\n' if !quoted => {
                    self.skip_line_end();
                    self.row += 1;
                    return;
                }
                b'\r' | b'\n' => {
                    self.skip_line_end();
                    continue;
                }
                b'"' if cell_start => quoted = true,
                b'"' if quoted => {
                    // A doubled mark is one mark inside the cell.
                    if self.bytes.get(self.at + 1) == Some(&b'"') {
                        self.at += 1;
                    } else {
                        quoted = false;
                    }
                }
                _ => {}
            }
            cell_start = byte == delimiter && !quoted;
            self.at += 1;
        }
        self.row += 1;
    }
}

/// The marks between digits of some cells.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Marks {
    commas: usize,
    points: usize,
    /// The commas that stand before three digits and no more, as in `1,250`.
    thousands: usize,
}

impl Marks {
    /// The decimal mark: the one that more of the numbers use; in a comma-separated file the point, unless no
    /// number has one and some commas can be nothing else.
    pub(super) fn decimal(self, delimiter: u8) -> DecimalMark {
        let is_comma = match delimiter {
            b',' => self.points == 0 && self.commas > self.thousands,
            _ => self.commas > self.points,
        };
        match is_comma {
            true => DecimalMark::Comma,
            false => DecimalMark::Point,
        }
    }

    pub(super) fn add(&mut self, cell: &str) {
        let bytes = cell.as_bytes();
        let is_digit = |at: usize| bytes.get(at).is_some_and(u8::is_ascii_digit);
        for (at, byte) in bytes.iter().enumerate().skip(1) {
            let between = is_digit(at - 1) && is_digit(at + 1);
            match byte {
                b',' if between => {
                    self.commas += 1;
                    let three = (1..=3).all(|n| is_digit(at + n)) && !is_digit(at + 4);
                    self.thousands += usize::from(three);
                }
                b'.' if between => self.points += 1,
                _ => {}
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn source(text: &str) -> SourceText {
        SourceText::decode("t.csv", text.as_bytes().to_vec()).unwrap()
    }

    #[test]
    fn rows_and_lines_after_blank_lines_and_quoted_breaks() {
        let text = "specimen,note\n\n\na,\"two\nlines\"\r\nb,x\nc,y";
        let source = source(text);
        let offsets: Vec<usize> = ["\n\na,", "b,x", "c,y"]
            .iter()
            .map(|t| text.find(t).unwrap())
            .collect();
        let found = source.locate(&offsets, b',');
        let places: Vec<(usize, usize, &str)> = found
            .iter()
            .map(|found| (found.row, found.line, &*found.raw))
            .collect();
        assert_eq!(
            places,
            [(4, 4, "a,\"two\nlines\""), (5, 6, "b,x"), (6, 7, "c,y")]
        );
    }

    #[test]
    fn delimiters_and_encodings() {
        assert_eq!(source("a,b;c,d\n").delimiter().0, b',');
        assert_eq!(source("a;b;c,d\n").delimiter().0, b';');
        assert_eq!(source("\n\na\tb\n").delimiter().0, b'\t');
        assert_eq!(source("\"a;b;c\",d\n").delimiter().0, b',');
        assert_eq!(source("specimen\nx\n").delimiter().0, b',');
        let western = SourceText::decode("t.csv", b"4,6 \xb1 0,1; caf\xe9".to_vec()).unwrap();
        assert_eq!(western.table(), "4,6 ± 0,1; café");
        let marked = SourceText::decode("t.csv", b"\xef\xbb\xbfspecimen".to_vec()).unwrap();
        assert_eq!(marked.table(), "specimen");
        let wide = SourceText::decode("t.csv", b"\xff\xfea\0;\0b\0".to_vec()).unwrap();
        assert_eq!(wide.table(), "a;b");
        for bad in [
            &b""[..],
            b"\xef\xbb\xbf",
            b" \n\n",
            b"a\0b",
            b"SQLite format 3\0",
            b"PK\x03\x04",
        ] {
            assert!(SourceText::decode("t.csv", bad.to_vec()).is_err());
        }
    }
}
