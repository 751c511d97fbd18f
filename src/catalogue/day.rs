//! A day of the calendar.

use std::fmt;

/// A day as ISO 8601 writes it: `2024-05-31`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Day {
    year: i16,
    month: u8,
    day: u8,
}

/// A text that is no day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("not a day; expected year, month and day, such as 2024-05-31")]
pub struct NotADay;

impl Day {
    /// Reads `2024-05-31`.
    ///
    /// # Errors
    /// [`NotADay`] for anything else, also for a day that the calendar does not have.
    ///
    /// # Example
    /// ```
    /// use calibriar::catalogue::Day;
    ///
    /// assert!(Day::parse("2024-02-29")? < Day::parse("2024-03-01")?);
    /// assert!(Day::parse("2023-02-29").is_err());
    /// # Ok::<(), calibriar::catalogue::NotADay>(())
    /// ```
    pub fn parse(text: &str) -> Result<Day, NotADay> {
        let text = text.trim();
        let shape = text.len() == 10
            && text.bytes().enumerate().all(|(at, byte)| match at {
                4 | 7 => byte == b'-',
                _ => byte.is_ascii_digit(),
            });
        if !shape {
            return Err(NotADay);
        }
        let year: i16 = text[..4].parse().map_err(|_| NotADay)?;
        let month: u8 = text[5..7].parse().map_err(|_| NotADay)?;
        let day: u8 = text[8..].parse().map_err(|_| NotADay)?;
        if (1..=days_of(year, month)).contains(&day) {
            Ok(Day { year, month, day })
        } else {
            Err(NotADay)
        }
    }

    /// The year.
    pub fn year(self) -> i16 {
        self.year
    }
}

/// How many days a month has; none where there is no such month.
fn days_of(year: i16, month: u8) -> u8 {
    match month {
        4 | 6 | 9 | 11 => 30,
        2 if year % 4 == 0 && (year % 100 != 0 || year % 400 == 0) => 29,
        2 => 28,
        1..=12 => 31,
        _ => 0,
    }
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Day { year, month, day } = self;
        write!(f, "{year:04}-{month:02}-{day:02}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_that_are_none() {
        for text in [
            "",
            "2024",
            "2024-05",
            "2024-5-31",
            "31.5.2024",
            "2024-13-01",
            "2024-00-10",
            "2024-04-31",
            "1900-02-29",
            "2024-05-31T10:00",
            "２024-05-31",
            "2024/05/31",
        ] {
            assert_eq!(Day::parse(text), Err(NotADay), "{text}");
        }
        for text in ["2024-05-31", "2000-02-29", "1899-12-31"] {
            assert_eq!(Day::parse(text).unwrap().to_string(), text);
        }
    }
}
