//! All pages of a source: its patterns and their pieces, with the verdict on each.

use std::collections::HashSet;

use maud::html;

use super::document::{Origin, document, id_of};
use crate::words::{counted, shown};

/// The page that leads to all others.
#[derive(Clone, Copy, Debug)]
pub struct IndexPage<'a> {
    /// The pieces, those of one pattern together.
    pub pieces: &'a [IndexEntry],
    /// The patterns, in the order of the pieces.
    pub patterns: &'a [PatternEntry],
    /// Where the data come from.
    pub origin: Origin<'a>,
}

/// A pattern and where its page is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PatternEntry {
    /// Its number in the cohort.
    pub group: usize,
    /// Its name and its maker's.
    pub title: String,
    /// Its page, from the index; none of the pieces without a pattern.
    pub file: Option<String>,
}

/// A piece and where its page is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct IndexEntry {
    /// Its name.
    pub specimen: String,
    /// Number of its pattern in the cohort: spellings of one name are one pattern.
    pub group: usize,
    /// The verdict in words, and what is out of norm besides the dimensions.
    pub standing: String,
    /// Whether anything of it is out of norm.
    pub is_out: bool,
    /// Its page, from the index.
    pub file: String,
}

impl IndexPage<'_> {
    /// The page.
    pub fn html(&self) -> String {
        let parts = || self.pieces.chunk_by(|a, b| a.group == b.group);
        let out = |pieces: &[IndexEntry]| pieces.iter().filter(|p| p.is_out).count();
        let of = |part: &[IndexEntry]| {
            let mut patterns = self.patterns.iter();
            patterns.find(|pattern| pattern.group == part[0].group)
        };
        let title = |part: &[IndexEntry]| of(part).map_or("", |pattern| pattern.title.as_str());
        let with_pages = self.patterns.iter().filter(|p| p.file.is_some()).count();
        let body = html! {
            header {
                p class="kind" { "Every piece beside others of its pattern" }
                h1 { (shown(self.origin.source)) }
                p {
                    (counted(self.pieces.len(), "piece", "pieces")) ", "
                    (counted(with_pages, "pattern", "patterns")) ", "
                    (out(self.pieces)) " out of norm"
                }
            }
            main {
                nav aria-label="patterns" {
                    h2 { "Patterns" }
                    ul {
                        @for (at, part) in parts().enumerate() {
                            li {
                                a href=(format!("#pattern-{at}")) { (title(part)) }
                                ": " (counted(part.len(), "piece", "pieces")) ", " (out(part)) " out of norm"
                            }
                        }
                    }
                }
                @for (at, part) in parts().enumerate() {
                    section id=(format!("pattern-{at}")) {
                        h2 { (title(part)) }
                        @if let Some(file) = of(part).and_then(|pattern| pattern.file.as_ref()) {
                            p { a href=(file) { "What this pattern's good pieces measure" } }
                        }
                        ul class="pieces" {
                            @for piece in part {
                                li {
                                    a href=(piece.file) { bdi { (shown(&piece.specimen)) } } " "
                                    span class=(if piece.is_out { "verdict out_of_norm" } else { "verdict" }) { (piece.standing) }
                                }
                            }
                        }
                    }
                }
            }
        };
        document(
            &format!("{}: all pages", shown(self.origin.source)),
            &body,
            &self.origin,
        )
    }
}

/// Names of files for names of pieces: letters, digits and dashes, each once, also where a disk takes large
/// and small letters for the same.
#[derive(Debug, Default)]
pub struct Names(HashSet<String>);

impl Names {
    /// A name of a file that is not taken yet, without its ending.
    pub fn of(&mut self, name: &str) -> String {
        /// Longer ones some disks do not take.
        const LONGEST: usize = 60;
        let id: String = id_of(name).chars().take(LONGEST).collect();
        let id = match id.as_str() {
            "" => "page".to_owned(),
            name if is_device(name) => format!("{name}-page"),
            _ => id,
        };
        let free = (1..).map(|n| {
            if n == 1 {
                id.clone()
            } else {
                format!("{id}-{n}")
            }
        });
        let mut free = free.filter(|id| !self.0.contains(&id.to_ascii_lowercase()));
        // The numbers do not end.
        let free = free.next().unwrap_or_default();
        self.0.insert(free.to_ascii_lowercase());
        free
    }
}

/// Whether some systems take a name for a device's, with whatever ending.
fn is_device(name: &str) -> bool {
    let name = name.to_ascii_lowercase();
    let numbered = ["com", "lpt"].iter().any(|port| {
        let number = name.strip_prefix(port);
        number.is_some_and(|number| matches!(number.as_bytes(), [b'0'..=b'9']))
    });
    numbered || matches!(name.as_str(), "con" | "prn" | "aux" | "nul")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_piece_has_a_file_of_its_own() {
        let mut names = Names::default();
        let all = [
            "HR0001",
            "hr0001",
            "HR/0001",
            "HR 0001",
            "con",
            "LPT1",
            "K1",
            "../../etc/passwd",
            "",
            &"x".repeat(300),
        ];
        let files: Vec<String> = all.iter().map(|name| names.of(name)).collect();
        let folded: HashSet<String> = files.iter().map(|f| f.to_ascii_lowercase()).collect();
        assert_eq!(folded.len(), all.len(), "{files:?}");
        assert_eq!(files[..2], ["HR0001", "hr0001-2"]);
        assert_eq!(files[4..7], ["con-page", "LPT1-page", "K1"]);
        let plain =
            |f: &String| f.chars().all(|c| c.is_ascii_alphanumeric() || c == '-') && f.len() < 70;
        assert!(files.iter().all(plain), "{files:?}");
    }
}
