//! When a piece was made: a range of years.

use std::fmt;

use super::names::fold;

/// The years in which a piece may have been made, both ends included.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct YearRange {
    /// First year.
    pub from: i16,
    /// Last year.
    pub to: i16,
}

/// Why a text is no year or range of years.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum NotADate {
    /// None of the known forms.
    #[error(
        "not a date of making; expected 1934, 1931-1938, 1930s or c. 1934 (5 years either way), or an empty cell"
    )]
    Form,
    /// A range that runs backwards.
    #[error("reversed: write {to}-{from}")]
    Reversed {
        /// The year that stands first.
        from: i16,
        /// The earlier year, which stands last.
        to: i16,
    },
}

/// Whether a text says that nobody knows when: `unknown`, `undated`, `n.d.`, `no date`.
pub fn is_undated(text: &str) -> bool {
    matches!(&*fold(text), "unknown" | "undated" | "nd" | "nodate")
}

impl YearRange {
    /// Half-width of `c. 1934`, in years.
    const CIRCA: i16 = 5;

    /// Reads `1934`, `1931-1938`, `1931-38`, `c. 1934` (5 years either way) or `1930s`.
    ///
    /// # Errors
    /// [`NotADate`] for anything else, also for a range that runs backwards.
    pub fn parse(text: &str) -> Result<YearRange, NotADate> {
        let text = text.trim();
        if let Some(year) = year(text) {
            return Ok(YearRange {
                from: year,
                to: year,
            });
        }
        let lower = text.to_ascii_lowercase();
        for circa in ["circa", "ca.", "ca", "c.", "c"] {
            if let Some(rest) = lower.strip_prefix(circa) {
                let year = year(rest.trim()).ok_or(NotADate::Form)?;
                return Ok(YearRange {
                    from: year - Self::CIRCA,
                    to: year + Self::CIRCA,
                });
            }
        }
        if let Some(decade) = lower.strip_suffix('s') {
            let from = year(decade.trim_end_matches('\'')).filter(|y| y % 10 == 0);
            return from
                .map(|from| YearRange { from, to: from + 9 })
                .ok_or(NotADate::Form);
        }
        let (from, to) = text
            .split_once(['-', '–', '—', '/'])
            .ok_or(NotADate::Form)?;
        let (from, to) = (year(from.trim()).ok_or(NotADate::Form)?, to.trim());
        let to = match to.len() {
            2 if to.bytes().all(|b| b.is_ascii_digit()) => {
                from - from % 100 + to.parse::<i16>().map_err(|_| NotADate::Form)?
            }
            _ => year(to).ok_or(NotADate::Form)?,
        };
        if from <= to {
            Ok(YearRange { from, to })
        } else {
            Err(NotADate::Reversed { from, to })
        }
    }
}

/// Four digits.
fn year(text: &str) -> Option<i16> {
    (text.len() == 4 && text.bytes().all(|b| b.is_ascii_digit())).then(|| text.parse().ok())?
}

impl fmt::Display for YearRange {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.from == self.to {
            write!(f, "{}", self.from)
        } else {
            write!(f, "{}-{}", self.from, self.to)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_as_people_write_them() {
        for (text, from, to) in [
            ("1934", 1934, 1934),
            ("1931-1938", 1931, 1938),
            ("1931 – 1938", 1931, 1938),
            ("1931-38", 1931, 1938),
            ("c. 1934", 1929, 1939),
            ("ca 1934", 1929, 1939),
            ("C1934", 1929, 1939),
            ("1950s", 1950, 1959),
        ] {
            assert_eq!(YearRange::parse(text), Ok(YearRange { from, to }), "{text}");
        }
        for text in [
            "",
            "193",
            "19345",
            "1934-",
            "before 1940",
            "1955s",
            "c.",
            "12-13",
        ] {
            assert_eq!(YearRange::parse(text), Err(NotADate::Form), "{text}");
        }
    }
}
