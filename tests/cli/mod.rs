//! The outside of the program: what people and scripts get for what they type.
//!
//! | file | asks |
//! |---|---|
//! | `norms`, `check`, `flag` | keys, columns, numbers and exit statuses of the three answers |
//! | `date` | which periods a piece resembles |
//! | `sources` | what `--from` may name, and where production periods come from |
//! | `formats` | every dialect of a table and every form of a cell |
//! | `bad_input` | files and cells that must be refused, and what the refusal says |
//! | `borrowing` | borrowed spreads: a worked case, the working, the self-check, the options |
//! | `measurers` | repeats: who is off, and what a reading is worth |
//! | `screen` | slips in the source, and the cautions that `add` gives |
//! | `finish` | colours: one finish is never measured by another |
//! | `firmness` | what moved since a revision, and what moves without a source, measurer or period |
//! | `add` | adding, adding again, setting faulty rows aside |
//! | `periods` | periods compared: columns, words, thin evidence, the invented truth |
//! | `history` | corrections, withdrawals, and that nothing is ever overwritten |
//! | `record` | works that are recorded, the chain proved, a piece replayed |
//! | `disclose` | what a buyer or a museum is told, in words and as linked data |
//! | `refit` | what to take off, what to leave alone, outlines, proposals |
//! | `page` | pages: numbers, marks in their places, nothing that runs or is fetched |
//! | `package` | data packages out and in |
//! | `traces` | outlines, sections and colours: read, stored, exported, given with any source |
//! | `store` | files that are no collection, full disks, folders that may not be written |
//! | `crash` | killed programs, two at once, files that change under the reader |
//! | `shift_years` | the years in which a dimension shifted |
//! | `people` | tables, help, completions, the manual |
//!
//! What is asserted is the contract (`docs/formats.md`), not what the code happens to do.

mod add;
mod bad_input;
mod borrowing;
mod check;
#[cfg(unix)]
mod crash;
mod date;
mod disclose;
mod finish;
mod firmness;
mod flag;
mod form;
mod formats;
mod history;
mod measurers;
mod norms;
mod package;
mod page;
mod people;
mod periods;
mod record;
mod refit;
mod screen;
mod shift_years;
mod sources;
mod store;
mod traces;
mod wording;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use std::time::Duration;

use assert_cmd::Command;
use serde_json::Value;
use tempfile::TempDir;

/// Nothing that a test asks for takes longer; a program that hangs fails its test.
const LONGEST: Duration = Duration::from_secs(60);

/// Seven pieces of one invented pattern that are alike, and one, A8, whose bit is too wide.
const APPLES: &str = "\
specimen,maker,pattern,made,bit width,cant angle
A1,Row Works,apple,1930,16.10,2.0
A2,Row Works,apple,1931,16.22,2.5
A3,Row Works,apple,1932,15.95,1.5
A4,Row Works,apple,1933,16.05,2.2
A5,Row Works,apple,1934,16.18,1.8
A6,Row Works,apple,1935,16.00,2.1
A7,Row Works,apple,1936,16.12,1.9
A8,Row Works,apple,1937,18.40,2.0
";

/// Invented periods that hold the pieces above.
const PERIODS: &str = "\
maker,period,from,to,standing,note
Row Works,Old Shop,1921,1938,good,
Row Works,Lean Years,1939,1947,poor,
,Any Shop,1948,1960,unrated,
";

/// A folder to work in.
struct Desk {
    folder: TempDir,
}

impl Desk {
    fn new() -> Desk {
        let folder = tempfile::tempdir().unwrap();
        Desk { folder }
    }

    /// A desk with one sheet on it.
    fn with(name: &str, content: impl AsRef<[u8]>) -> Desk {
        let desk = Desk::new();
        desk.write(name, content);
        desk
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn write(&self, name: &str, content: impl AsRef<[u8]>) {
        std::fs::write(self.path(name), content).unwrap();
    }

    #[track_caller]
    fn read(&self, name: &str) -> String {
        String::from_utf8(std::fs::read(self.path(name)).unwrap()).unwrap()
    }

    fn has(&self, name: &str) -> bool {
        self.path(name).exists()
    }

    /// The program, started here, knowing nothing of the user's own settings.
    fn command(&self) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_calibriar"));
        command
            .current_dir(self.folder.path())
            .timeout(LONGEST)
            .env("USER", "tester")
            .env_remove("CALIBRIAR_COLLECTION")
            .env_remove("NO_COLOR");
        command
    }

    /// Runs a command line whose words hold no blanks.
    #[track_caller]
    fn run(&self, line: &str) -> Answer {
        self.run_words(&line.split_whitespace().collect::<Vec<_>>())
    }

    #[track_caller]
    fn run_words(&self, words: &[&str]) -> Answer {
        Answer::of(self.command().args(words))
    }

    /// The same with a text on standard input.
    #[track_caller]
    fn run_on(&self, line: &str, input: impl Into<Vec<u8>>) -> Answer {
        let words: Vec<&str> = line.split_whitespace().collect();
        Answer::of(self.command().args(words).write_stdin(input))
    }

    /// A command line that must end with status 2, print no result and change nothing; gives what
    /// it says on standard error.
    #[track_caller]
    fn refuses(&self, line: &str) -> String {
        let before = self.everything();
        let answer = self.run(line).ends(2);
        assert_eq!(answer.out, "", "a refusal prints no result");
        assert_eq!(
            self.changes_since(&before),
            "",
            "`{line}` changed something"
        );
        assert!(
            answer
                .err
                .lines()
                .any(|l| l.starts_with("calibriar: ") || l.starts_with("error: ")),
            "no message in {:?}",
            answer.err
        );
        answer.err
    }

    /// Every file below the folder with its bytes.
    fn everything(&self) -> BTreeMap<PathBuf, Vec<u8>> {
        let mut found = BTreeMap::new();
        let mut folders = vec![self.folder.path().to_owned()];
        while let Some(folder) = folders.pop() {
            for entry in std::fs::read_dir(folder).unwrap() {
                let path = entry.unwrap().path();
                if path.is_dir() {
                    folders.push(path);
                } else {
                    let bytes = std::fs::read(&path).unwrap();
                    found.insert(path, bytes);
                }
            }
        }
        found
    }

    /// Names of the files that are new, gone or different; empty where there are none.
    fn changes_since(&self, before: &BTreeMap<PathBuf, Vec<u8>>) -> String {
        let now = self.everything();
        let mut names: Vec<String> = now
            .iter()
            .filter(|(path, bytes)| before.get(*path) != Some(bytes))
            .map(|(path, _)| path)
            .chain(before.keys().filter(|path| !now.contains_key(*path)))
            .map(|path| path.display().to_string())
            .collect();
        names.sort();
        names.join(", ")
    }
}

/// What a run of the program gave.
struct Answer {
    status: i32,
    out: String,
    err: String,
}

impl Answer {
    #[track_caller]
    fn of(command: &mut Command) -> Answer {
        let output = command.output().unwrap();
        let err = String::from_utf8_lossy(&output.stderr).into_owned();
        let status = output.status.code();
        assert!(
            status.is_some(),
            "ended by a signal or too slow: {}\n{err}",
            output.status
        );
        assert!(!err.contains("panicked"), "{err}");
        Answer {
            status: status.unwrap(),
            out: String::from_utf8(output.stdout).expect("the result is UTF-8"),
            err,
        }
    }

    #[track_caller]
    fn ends(self, status: i32) -> Answer {
        assert_eq!(
            self.status, status,
            "exit status\nstdout: {}\nstderr: {}",
            self.out, self.err
        );
        self
    }

    #[track_caller]
    fn done(self) -> Answer {
        self.ends(0)
    }

    #[track_caller]
    fn json(&self) -> Value {
        serde_json::from_str(&self.out).unwrap_or_else(|e| panic!("{e}: {}", self.out))
    }

    #[track_caller]
    fn csv(&self) -> Csv {
        Csv::parse(&self.out)
    }
}

/// A CSV result.
#[derive(Debug, PartialEq)]
struct Csv {
    header: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl Csv {
    #[track_caller]
    fn parse(text: &str) -> Csv {
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let owned = |r: &csv::StringRecord| r.iter().map(str::to_owned).collect();
        Csv {
            header: owned(reader.headers().unwrap()),
            rows: reader.records().map(|r| owned(&r.unwrap())).collect(),
        }
    }

    /// The cell of a column, by its heading.
    #[track_caller]
    fn cell(&self, row: usize, heading: &str) -> &str {
        let at = self.header.iter().position(|h| h == heading);
        let at = at.unwrap_or_else(|| panic!("no column {heading} in {:?}", self.header));
        &self.rows[row][at]
    }

    #[track_caller]
    fn number(&self, row: usize, heading: &str) -> f64 {
        let cell = self.cell(row, heading);
        cell.parse()
            .unwrap_or_else(|_| panic!("{heading} is `{cell}`"))
    }

    /// A whole column.
    #[track_caller]
    fn column(&self, heading: &str) -> Vec<&str> {
        (0..self.rows.len())
            .map(|row| self.cell(row, heading))
            .collect()
    }
}

/// The entry of a JSON array whose `key` is `value`.
#[track_caller]
fn entry<'a>(array: &'a Value, key: &str, value: &str) -> &'a Value {
    array
        .as_array()
        .and_then(|all| all.iter().find(|e| e[key] == value))
        .unwrap_or_else(|| panic!("no entry with {key} = {value} in {array}"))
}

/// What a key of a JSON object must hold.
#[derive(Clone, Copy, Debug)]
enum Holds {
    Text,
    Number,
    Count,
    Texts,
    Null,
    TextOrNull,
    CountOrNull,
    One(&'static str),
}

/// Every key is there and holds what it should; others may be there besides.
#[track_caller]
fn assert_keys(object: &Value, keys: &[(&str, Holds)]) {
    for (key, holds) in keys {
        let value = object
            .get(key)
            .unwrap_or_else(|| panic!("no key `{key}` in {object}"));
        let right = match holds {
            Holds::Text => value.is_string(),
            Holds::Number => value.is_number(),
            Holds::Count => value.is_u64(),
            Holds::Texts => value
                .as_array()
                .is_some_and(|all| all.iter().all(Value::is_string)),
            Holds::Null => value.is_null(),
            Holds::TextOrNull => value.is_string() || value.is_null(),
            Holds::CountOrNull => value.is_u64() || value.is_null(),
            Holds::One(text) => value == text,
        };
        assert!(right, "`{key}` holds {value}, expected {holds:?}");
    }
}

/// A path of the invented demo data.
fn demo(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("data")
        .join(name);
    path.display().to_string()
}

/// A collection of all the demo data. Made once; tests only read it.
fn demo_collection() -> String {
    static MADE: OnceLock<Desk> = OnceLock::new();
    let desk = MADE.get_or_init(|| {
        let desk = Desk::new();
        let files = [
            "sheets/ledger.csv",
            "sheets/inch_bench.csv",
            "sheets/visiting_cards.csv",
            "sheets/club_evening.csv",
            "sheets/traces.csv",
            "sheets/colours.csv",
            "periods.csv",
        ]
        .map(demo);
        let mut words = vec!["add"];
        words.extend(files.iter().map(String::as_str));
        words.extend(["--to", "demo.db"]);
        desk.run_words(&words).done();
        desk
    });
    desk.path("demo.db").display().to_string()
}

/// Says why a test could not ask its question here.
#[expect(
    clippy::print_stderr,
    reason = "a test that is passed over must say so"
)]
fn passed_over(why: &str) {
    eprintln!("passed over: {why}");
}
