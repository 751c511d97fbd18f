//! One dimension as a few signs in a row of a table: where the references lie about the typical range,
//! and where the piece.

use std::io::{self, IsTerminal as _};

use calibriar::norm::Band;

/// Signs inside the typical range, and on either side of it.
const INSIDE: usize = 9;
const BESIDE: usize = 5;
/// The place of the upper limit's sign; that of the lower one is [`BESIDE`].
const UPPER: usize = BESIDE + 1 + INSIDE;
const WIDTH: usize = UPPER + 1 + BESIDE;

/// The signs that strips are drawn with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Pen {
    /// Blocks and marks of Unicode.
    Blocks,
    /// Letters and figures only.
    Plain,
}

impl Pen {
    /// Blocks where the output is a terminal that shows them, as far as it tells.
    pub(super) fn choose() -> Pen {
        match io::stdout().is_terminal() && shows_blocks(|name| std::env::var(name).ok()) {
            true => Pen::Blocks,
            false => Pen::Plain,
        }
    }

    /// What the signs mean.
    pub(super) fn legend(self, piece: bool) -> String {
        let (references, mark) = match self {
            Pen::Blocks => ("blocks: references, the taller the more of them", "◆"),
            Pen::Plain => ("figures: how many references (+: ten or more)", "X"),
        };
        let of_piece = match piece {
            true => {
                format!("; {mark}: the piece, before any reference there (< or >: further out)")
            }
            false => String::new(),
        };
        format!(
            "strip: [ ]: the typical range; {references}, those set aside included, at the ends those further \
             out as well{of_piece}"
        )
    }

    /// So many references in one place, of at most so many in any.
    fn references(self, count: usize, most: usize) -> char {
        const BLOCKS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
        match (self, count) {
            (_, 0) => ' ',
            // The tallest stands for the most, one of few is seen as well.
            (Pen::Blocks, _) => BLOCKS[(count * BLOCKS.len()).div_ceil(most.max(count)) - 1],
            (Pen::Plain, _) => u32::try_from(count)
                .ok()
                .and_then(|count| char::from_digit(count, 10))
                .unwrap_or('+'),
        }
    }

    fn piece(self) -> char {
        match self {
            Pen::Blocks => '◆',
            Pen::Plain => 'X',
        }
    }
}

/// Whether the locale's letters are those of Unicode and the terminal can place them (POSIX: LC_ALL
/// comes before LC_CTYPE before LANG, and an empty one counts as not set).
fn shows_blocks(variable: impl Fn(&str) -> Option<String>) -> bool {
    let mut locales = ["LC_ALL", "LC_CTYPE", "LANG"].into_iter();
    let locale = locales.find_map(|name| variable(name).filter(|value| !value.is_empty()));
    let codeset = locale.unwrap_or_default().to_ascii_lowercase();
    let is_unicode = codeset.contains("utf-8") || codeset.contains("utf8");
    is_unicode && variable("TERM").is_none_or(|terminal| terminal != "dumb")
}

/// The strip of a dimension: its typical range in the middle, always as wide, and on either side
/// of it a little more than half of that. All in the unit.
pub(super) fn strip(
    typical: Band,
    references: impl IntoIterator<Item = f64>,
    piece: Option<f64>,
    pen: Pen,
) -> String {
    let width = typical.high - typical.low;
    // Limits that rounding has pressed together, or pushed beyond all numbers, show nothing.
    if !(width > 0.0 && width.is_finite()) {
        return String::new();
    }
    let mut counts = [0usize; WIDTH];
    for value in references {
        counts[place(typical, value)] += 1;
    }
    let most = counts.iter().copied().max().unwrap_or(0);
    let mut signs = counts.map(|count| pen.references(count, most));
    signs[BESIDE] = '[';
    signs[UPPER] = ']';
    if let Some(value) = piece {
        signs[place(typical, value)] = match share(typical, value) {
            share if share < -BEYOND => '<',
            share if share > 1.0 + BEYOND => '>',
            _ => pen.piece(),
        };
    }
    signs.into_iter().collect()
}

/// How far beside the typical range the strip reaches, in widths of it.
const BEYOND: f64 = BESIDE as f64 / INSIDE as f64;

/// Where a value lies: 0 at the lower limit, 1 at the upper.
fn share(typical: Band, value: f64) -> f64 {
    (value - typical.low) / (typical.high - typical.low)
}

/// The place of a value's sign. Never that of a limit: a value is seen to be in or out. What is further
/// out stands at the end.
fn place(typical: Band, value: f64) -> usize {
    let steps = |share: f64, most: usize| ((share * INSIDE as f64) as usize).min(most - 1);
    match share(typical, value) {
        share if share < 0.0 => BESIDE - 1 - steps(-share, BESIDE),
        share if share > 1.0 => UPPER + 1 + steps(share - 1.0, BESIDE),
        share => BESIDE + 1 + steps(share, INSIDE),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TYPICAL: Band = Band {
        low: 10.0,
        high: 19.0,
    };

    #[test]
    fn a_sign_where_each_value_lies() {
        let drawn = |references: &[f64], piece| {
            strip(TYPICAL, references.iter().copied(), piece, Pen::Plain)
        };
        // Nine signs for nine units, so one a unit.
        assert_eq!(
            drawn(&[10.5, 14.2, 14.9, 18.5], None),
            "     [1   2   1]     "
        );
        // A value at a limit is inside; the next one is out.
        assert_eq!(drawn(&[10.0, 19.0], Some(19.001)), "     [1       1]X    ");
        assert_eq!(drawn(&[], Some(9.999)), "    X[         ]     ");
        // As far as the strip reaches, and further.
        assert_eq!(drawn(&[], Some(23.9)), "     [         ]    X");
        assert_eq!(drawn(&[], Some(24.1)), "     [         ]    >");
        assert_eq!(drawn(&[1e300], Some(4.9)), "<    [         ]    1");
        // A piece stands before the references of its place.
        assert_eq!(drawn(&[12.5; 30], Some(15.5)), "     [  +  X   ]     ");
        assert_eq!(drawn(&[12.5; 30], Some(12.5)), "     [  X      ]     ");
    }

    #[test]
    fn blocks_grow_with_their_references() {
        let references = [[10.5; 8].as_slice(), &[12.5; 4], &[14.5]].concat();
        assert_eq!(
            strip(TYPICAL, references, Some(30.0), Pen::Blocks),
            "     [█ ▄ ▁    ]    >"
        );
        assert_eq!(
            strip(TYPICAL, [12.5; 3], Some(15.5), Pen::Blocks),
            "     [  █  ◆   ]     "
        );
    }

    #[test]
    fn any_range_and_value() {
        for typical in [
            (1.0, 1.0),
            (0.0, f64::INFINITY),
            (f64::NAN, 1.0),
            (-1e308, 1e308),
        ] {
            let (low, high) = typical;
            assert_eq!(strip(Band { low, high }, [1.0], Some(2.0), Pen::Plain), "");
        }
        for value in [f64::NAN, f64::INFINITY, -f64::MAX, 1e-320] {
            let drawn = strip(TYPICAL, [value], Some(value), Pen::Blocks);
            assert_eq!(drawn.chars().count(), WIDTH);
        }
    }

    #[test]
    fn blocks_in_a_locale_of_unicode_only() {
        let shown = |set: &[(&str, &str)]| {
            shows_blocks(|name| {
                let of = set.iter().find(|(of, _)| *of == name);
                of.map(|(_, value)| (*value).to_owned())
            })
        };
        assert!(shown(&[("LANG", "de_AT.UTF-8"), ("TERM", "xterm")]));
        assert!(shown(&[("LC_ALL", ""), ("LC_CTYPE", "C.utf8")]));
        assert!(!shown(&[("LC_ALL", "C"), ("LANG", "en_GB.UTF-8")]));
        assert!(!shown(&[("LANG", "en_GB.UTF-8"), ("TERM", "dumb")]));
        assert!(!shown(&[]));
    }
}
