//! Small tables that say what can be done and what must remain: rows with a key, which a table of the
//! user's own may replace cell by cell, or add to.

use std::fmt;

use super::names::{fold, nearest};

/// One thing wrong in a table of works or floors, with its place as a spreadsheet counts it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RowFault {
    /// The file, as it was named.
    pub file: String,
    /// The row, header and blank rows included.
    pub row: usize,
    /// The column, 0 for the row as a whole.
    pub column: usize,
    /// The column's heading, also of one that the file has not.
    pub heading: String,
    /// The cell as it stands there.
    pub text: String,
    /// What should stand there.
    pub expected: String,
}

impl fmt::Display for RowFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}, row {}", shown(&self.file), self.row)?;
        if self.column > 0 {
            write!(f, ", column {} ({})", self.column, shown(&self.heading))?;
        } else if !self.heading.is_empty() {
            write!(f, ", no column ({})", shown(&self.heading))?;
        }
        write!(
            f,
            ": `{}`: expected {}",
            shown(&self.text),
            shown(&self.expected)
        )
    }
}

/// A text for a message: neither endless nor with control characters.
fn shown(text: &str) -> String {
    /// Longer cells are no works and no floors.
    const LONGEST: usize = 160;
    let mut short: String = text.chars().take(LONGEST).collect();
    if short.len() < text.len() {
        short.push('…');
    }
    short.replace(char::is_control, " ")
}

/// A table of works or floors that cannot be used; nothing of it is.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{file} has {}; nothing was done", match faults.len() { 1 => "1 fault".to_owned(), n => format!("{n} faults") })]
pub struct RowFaults {
    /// The file, as it was named.
    pub file: String,
    /// Each of them.
    pub faults: Vec<RowFault>,
}

/// The columns of such a table; the first is the key.
pub(super) type Columns = &'static [&'static str];

/// One row, a cell a column, and where it stands.
#[derive(Clone, Debug)]
pub(super) struct Row<'f> {
    columns: Columns,
    cells: Vec<String>,
    file: &'f str,
    row: usize,
    /// Where each column stands in the file, counted from 1; 0 where it has none.
    places: Vec<usize>,
}

impl Row<'_> {
    /// The cell of a column.
    pub(super) fn cell(&self, column: &'static str) -> &str {
        let at = self.columns.iter().position(|c| *c == column);
        at.map_or("", |at| &self.cells[at])
    }

    /// What is wrong with the cell of a column.
    pub(super) fn fault(&self, column: &'static str, expected: impl Into<String>) -> RowFault {
        let at = self.columns.iter().position(|c| *c == column);
        RowFault {
            file: self.file.to_owned(),
            row: self.row,
            column: at.map_or(0, |at| self.places[at]),
            heading: column.to_owned(),
            text: self.cell(column).to_owned(),
            expected: expected.into(),
        }
    }

    /// The cell as a number in these limits.
    pub(super) fn number(
        &self,
        column: &'static str,
        (least, most): (f64, f64),
    ) -> Result<f64, RowFault> {
        number_within(self.cell(column), (least, most))
            .ok_or_else(|| self.fault(column, format!("a number from {least} to {most}")))
    }

    /// The cell's parts between semicolons.
    pub(super) fn list(&self, column: &'static str) -> Vec<&str> {
        let parts = self.cell(column).split(';').map(str::trim);
        parts.filter(|part| !part.is_empty()).collect()
    }
}

/// A finite number in these limits, ends included.
pub(super) fn number_within(text: &str, (least, most): (f64, f64)) -> Option<f64> {
    let number: f64 = text.trim().parse().ok()?;
    (number >= least && number <= most).then_some(number)
}

/// The rows of the built-in table, each replaced cell by cell by the user's row of its key, and the
/// user's new ones after them. An empty cell, or a column that is not there, leaves what is known.
pub(super) fn overlaid<'f>(
    columns: Columns,
    built_in: &'f str,
    user: Option<(&'f str, &[u8])>,
) -> Result<Vec<Row<'f>>, RowFaults> {
    let mut rows = read(columns, ("built-in", built_in.as_bytes()))?;
    let Some((file, bytes)) = user else {
        return Ok(rows);
    };
    let own = read(columns, (file, bytes))?;
    let mut faults = Vec::new();
    let mut seen: Vec<(String, usize)> = Vec::new();
    for new in own {
        let key = fold(&new.cells[0]);
        if key.is_empty() {
            faults.push(new.fault(columns[0], "a key"));
            continue;
        }
        if let Some((_, row)) = seen.iter().find(|(known, _)| *known == key) {
            let expected = format!("one row a key; row {row} has it already");
            faults.push(new.fault(columns[0], expected));
            continue;
        }
        seen.push((key.clone(), new.row));
        match rows.iter_mut().find(|row| fold(&row.cells[0]) == key) {
            Some(known) => {
                let cells = known.cells.iter().zip(&new.cells).enumerate();
                let cells = cells.map(|(at, (known, new))| match at == 0 || new.is_empty() {
                    true => known.clone(),
                    false => new.clone(),
                });
                *known = Row {
                    cells: cells.collect(),
                    ..new
                };
            }
            None => rows.push(new),
        }
    }
    match faults.is_empty() {
        true => Ok(rows),
        false => Err(RowFaults {
            file: file.to_owned(),
            faults,
        }),
    }
}

/// The rows of one file.
fn read<'f>(columns: Columns, (file, bytes): (&'f str, &[u8])) -> Result<Vec<Row<'f>>, RowFaults> {
    let all = |faults: Vec<RowFault>| RowFaults {
        file: file.to_owned(),
        faults,
    };
    let fault = |row, column, heading: &str, text: &str, expected: String| RowFault {
        file: file.to_owned(),
        row,
        column,
        heading: heading.to_owned(),
        text: text.to_owned(),
        expected,
    };
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    let text = std::str::from_utf8(bytes).map_err(|error| {
        let line = 1 + bytes[..error.valid_up_to()]
            .iter()
            .filter(|&&b| b == b'\n')
            .count();
        all(vec![fault(line, 0, "", "", "UTF-8 text".to_owned())])
    })?;
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut record = csv::StringRecord::new();
    let mut places: Option<Vec<usize>> = None;
    let mut headings: Vec<String> = Vec::new();
    let (mut rows, mut faults) = (Vec::new(), Vec::new());
    // A row is one line more wherever a quoted cell holds a line end.
    let mut inside_cells = 0;
    // Reading a text cannot fail: it is in memory and UTF-8.
    while reader.read_record(&mut record).is_ok_and(|more| more) {
        let start = record.position().map_or(0, |p| p.byte() as usize);
        let blank = text[start..].len() - text[start..].trim_start_matches(['\r', '\n']).len();
        let line = 1 + text[..start + blank].matches('\n').count();
        let row = line - inside_cells;
        inside_cells += record
            .iter()
            .map(|cell| cell.matches('\n').count())
            .sum::<usize>();
        if record.iter().all(str::is_empty) {
            continue;
        }
        let Some(places) = &places else {
            headings = record.iter().map(str::to_owned).collect();
            let (found, wrong) = columns_of(columns, &headings);
            faults.extend(wrong.into_iter().map(|(column, expected)| {
                let text = headings
                    .get(column.wrapping_sub(1))
                    .map_or("", String::as_str);
                fault(row, column, text, text, expected)
            }));
            if !faults.is_empty() {
                return Err(all(faults));
            }
            places = Some(found);
            continue;
        };
        if record.len() != headings.len() {
            let expected = format!("{} cells, as in the header", headings.len());
            let text = format!("{} cells", record.len());
            faults.push(fault(row, 0, "", &text, expected));
            continue;
        }
        let cell = |&place: &usize| match place {
            0 => String::new(),
            place => record[place - 1].to_owned(),
        };
        rows.push(Row {
            columns,
            cells: places.iter().map(cell).collect(),
            file,
            row,
            places: places.clone(),
        });
    }
    if places.is_none() {
        let expected = format!("a header with {}", columns.join(","));
        faults.push(fault(1, 0, "", "", expected));
    }
    match faults.is_empty() {
        true => Ok(rows),
        false => Err(all(faults)),
    }
}

/// Where each column stands among the headings, and the headings that are none, or come twice.
fn columns_of(columns: Columns, headings: &[String]) -> (Vec<usize>, Vec<(usize, String)>) {
    let mut places = vec![0; columns.len()];
    let mut wrong = Vec::new();
    for (at, heading) in headings.iter().enumerate() {
        match columns.iter().position(|c| fold(c) == fold(heading)) {
            Some(column) if places[column] > 0 => {
                wrong.push((at + 1, "each column once".to_owned()));
            }
            Some(column) => places[column] = at + 1,
            None => {
                let near = nearest(heading, columns.iter().copied());
                let expected = match near.first() {
                    Some(near) => format!("a known column, such as {near}"),
                    None => format!("one of the columns {}", columns.join(", ")),
                };
                wrong.push((at + 1, expected));
            }
        }
    }
    if wrong.is_empty() && places[0] == 0 {
        wrong.push((0, format!("a column {}", columns[0])));
    }
    (places, wrong)
}

#[cfg(test)]
mod tests {
    use super::*;

    const COLUMNS: Columns = &["key", "label", "least"];
    const BUILT_IN: &str = "key,label,least\nwall,bowl wall,4\nheel,the heel,5\n";

    fn over(user: &str) -> Result<Vec<Vec<String>>, String> {
        let rows = overlaid(COLUMNS, BUILT_IN, Some(("mine.csv", user.as_bytes())));
        match rows {
            Ok(rows) => Ok(rows.into_iter().map(|row| row.cells).collect()),
            Err(faults) => Err(faults.faults[0].to_string()),
        }
    }

    #[test]
    fn own_rows_replace_cells_and_add_rows() {
        let rows = over("least,key\n3.5,wall\n1,new one\n").unwrap();
        assert_eq!(rows[0], ["wall", "bowl wall", "3.5"]);
        assert_eq!(rows[1], ["heel", "the heel", "5"]);
        assert_eq!(rows[2], ["new one", "", "1"]);
        assert_eq!(over("\u{feff}key,least\n\nHEEL,\n").unwrap()[1][2], "5");
    }

    #[test]
    fn faults_are_told_with_their_place() {
        let said = |user| over(user).unwrap_err();
        assert_eq!(
            said("key,leest\nwall,3\n"),
            "mine.csv, row 1, column 2 (leest): `leest`: expected a known column, such as least"
        );
        assert_eq!(
            said("key,least\nwall,3\n\nwall,4\n"),
            "mine.csv, row 4, column 1 (key): `wall`: expected one row a key; row 2 has it already"
        );
        assert_eq!(
            said("key,label,least\n\"wall\",\"two\nlines\",3\nheel,4\n"),
            "mine.csv, row 3: `2 cells`: expected 3 cells, as in the header"
        );
        assert!(said("least\n3\n").contains("expected a column key"));
        assert!(said("").contains("a header with key,label,least"));
        assert!(said("key,least\n,3\n").contains("row 2, column 1 (key): ``: expected a key"));
        let bad = overlaid(COLUMNS, BUILT_IN, Some(("mine.csv", b"key\nwall\n\xff\n")));
        assert!(bad.unwrap_err().faults[0].to_string().contains("row 3"));
    }
}
