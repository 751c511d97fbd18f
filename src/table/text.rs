//! Many short texts in few allocations.

use foldhash::{HashMap, HashMapExt as _};

use crate::catalogue::fold;

/// A column of texts in one buffer.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Texts {
    buffer: String,
    ends: Vec<usize>,
}

impl Texts {
    /// Appends one text.
    pub fn push(&mut self, text: &str) {
        self.buffer.push_str(text);
        self.ends.push(self.buffer.len());
    }

    /// The text at a row; panics past the end, as a slice does.
    pub fn get(&self, row: usize) -> &str {
        let start = if row == 0 { 0 } else { self.ends[row - 1] };
        &self.buffer[start..self.ends[row]]
    }

    /// How many.
    pub fn len(&self) -> usize {
        self.ends.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.ends.is_empty()
    }

    /// All, in order.
    pub fn iter(&self) -> impl Iterator<Item = &str> {
        (0..self.len()).map(|row| self.get(row))
    }

    /// The length of all together, in bytes.
    pub(super) fn bytes(&self) -> usize {
        self.buffer.len()
    }

    pub(super) fn reserve(&mut self, rows: usize, bytes: usize) {
        self.ends.reserve(rows);
        self.buffer.reserve(bytes);
    }

    pub(super) fn pop(&mut self) {
        self.ends.pop();
        self.buffer.truncate(self.ends.last().copied().unwrap_or(0));
    }

    pub(super) fn append(&mut self, other: &Texts) {
        let shift = self.buffer.len();
        self.buffer.push_str(&other.buffer);
        self.ends.extend(other.ends.iter().map(|end| end + shift));
    }

    pub(super) fn retain(&mut self, keep: &[bool]) {
        let mut kept = Texts::default();
        for (text, _) in self.iter().zip(keep).filter(|&(_, &keep)| keep) {
            kept.push(text);
        }
        *self = kept;
    }
}

impl<'a> FromIterator<&'a str> for Texts {
    fn from_iter<I: IntoIterator<Item = &'a str>>(texts: I) -> Texts {
        let mut all = Texts::default();
        for text in texts {
            all.push(text);
        }
        all
    }
}

/// A column in which few texts come again and again: each row holds a number, each number a name.
#[derive(Clone, Debug, Default)]
pub struct Coded {
    /// The number of each row's name.
    pub codes: Vec<u32>,
    names: Vec<String>,
    numbers: HashMap<String, u32>,
}

impl Coded {
    /// Appends one row.
    pub fn push(&mut self, name: &str) {
        let code = self.code(name);
        self.codes.push(code);
    }

    /// The number of a name, given now where it is new.
    pub fn code(&mut self, name: &str) -> u32 {
        if let Some(&known) = self.numbers.get(name) {
            return known;
        }
        let code = self.names.len() as u32;
        self.names.push(name.to_owned());
        self.numbers.insert(name.to_owned(), code);
        code
    }

    /// The name at a row.
    pub fn get(&self, row: usize) -> &str {
        &self.names[self.codes[row] as usize]
    }

    /// All names, by number.
    pub fn names(&self) -> &[String] {
        &self.names
    }

    pub(super) fn append(&mut self, other: &Coded) {
        let mine: Vec<u32> = other.names.iter().map(|name| self.code(name)).collect();
        self.codes
            .extend(other.codes.iter().map(|&code| mine[code as usize]));
    }
}

/// For each name's number, the number of the first name that is the same but for its spelling.
pub(crate) fn first_spellings(names: &Coded) -> Vec<u32> {
    let mut first: HashMap<String, u32> = HashMap::new();
    let number = |(code, name): (usize, &String)| *first.entry(fold(name)).or_insert(code as u32);
    names.names().iter().enumerate().map(number).collect()
}
