//! Standard twist drill sizes: number, letter and inch fraction.
//!
//! Source: nominal sizes of ASME B94.11M as two independent open tables print them; the table
//! is `twist_drills.csv` beside this file.

use std::sync::LazyLock;

/// How a drill size is named.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum DrillSeries {
    /// `#80` (smallest) to `#1`.
    Number,
    /// `A` to `Z`.
    Letter,
    /// `1/64` to `1/2` inch.
    Fraction,
}

/// One drill.
#[derive(Clone, Debug, PartialEq)]
pub struct Drill {
    /// How it is named.
    pub series: DrillSeries,
    /// Its name in the series: `22`, `F`, `11/64`.
    pub size: String,
    /// Diameter in inches.
    pub inches: f64,
    /// Half the distance between the next smaller and the next larger drill of the series, in
    /// inches: the step in which a hole is read when only the drill that fits it is written down.
    pub step_inches: f64,
}

static DRILLS: LazyLock<Vec<Drill>> = LazyLock::new(|| {
    let mut all: Vec<Drill> = include_str!("twist_drills.csv")
        .lines()
        .skip(1)
        .filter_map(|line| {
            let mut cells = line.split(',');
            let series = match cells.next()? {
                "number" => DrillSeries::Number,
                "letter" => DrillSeries::Letter,
                _ => DrillSeries::Fraction,
            };
            let size = cells.next()?.to_owned();
            let inches = cells.next()?.parse().ok()?;
            Some(Drill {
                series,
                size,
                inches,
                step_inches: 0.0,
            })
        })
        .collect();
    for series in [
        DrillSeries::Number,
        DrillSeries::Letter,
        DrillSeries::Fraction,
    ] {
        let mut of_series: Vec<&mut Drill> =
            all.iter_mut().filter(|d| d.series == series).collect();
        of_series.sort_by(|a, b| a.inches.total_cmp(&b.inches));
        let sizes: Vec<f64> = of_series.iter().map(|d| d.inches).collect();
        for (i, drill) in of_series.iter_mut().enumerate() {
            let below = i.saturating_sub(1);
            let above = (i + 1).min(sizes.len() - 1);
            drill.step_inches = (sizes[above] - sizes[below]) / (above - below) as f64;
        }
    }
    all
});

/// All standard drills, as the table lists them (smallest first).
pub fn drills() -> &'static [Drill] {
    &DRILLS
}

/// The drill of that name, such as `22` or `F` (letters in either case).
pub(super) fn find(series: DrillSeries, size: &str) -> Option<&'static Drill> {
    DRILLS
        .iter()
        .find(|d| d.series == series && d.size.eq_ignore_ascii_case(size))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_whole_and_ordered() {
        let count = |series| drills().iter().filter(|d| d.series == series).count();
        assert_eq!(count(DrillSeries::Number), 80);
        assert_eq!(count(DrillSeries::Letter), 26);
        assert_eq!(count(DrillSeries::Fraction), 32);
        assert!(drills().windows(2).all(|w| w[0].inches <= w[1].inches));
        assert!(
            drills()
                .iter()
                .all(|d| d.step_inches > 0.0 && d.step_inches < 0.02)
        );
    }
}
