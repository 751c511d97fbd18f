//! Standard twist drill sizes: number, letter, inch fraction and metric.
//!
//! Sources: for inch drills the nominal sizes of ASME B94.11M as two independent open tables print
//! them (`twist_drills.csv` beside this file); for metric ones, 0.5 to 13 mm, a public list that cites
//! ISO 235 and DIN 338 (`metric_drills.csv`). Sizes that only the older rule of BS 328 gives, such as
//! 0.52 or 10.1 mm, are left out: few shops have them. The standards themselves were not seen.

use std::sync::LazyLock;

/// How a drill size is named.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum DrillSeries {
    /// `1/64` to `1/2` inch.
    Fraction,
    /// `#80` (smallest) to `#1`.
    Number,
    /// `A` to `Z`.
    Letter,
    /// 0.5 to 13 mm.
    Metric,
}

impl DrillSeries {
    const ALL: [DrillSeries; 4] = [
        DrillSeries::Fraction,
        DrillSeries::Number,
        DrillSeries::Letter,
        DrillSeries::Metric,
    ];
}

/// The drills that somebody has.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum DrillSet {
    /// `all`: inch and metric.
    #[default]
    All,
    /// `inch`: number, letter and fraction.
    Inch,
    /// `metric`
    Metric,
}

impl DrillSet {
    /// Reads a set's name, in any letter case.
    pub fn parse(text: &str) -> Option<DrillSet> {
        Some(match text.trim().to_lowercase().as_str() {
            "all" => DrillSet::All,
            "inch" => DrillSet::Inch,
            "metric" => DrillSet::Metric,
            _ => return None,
        })
    }

    fn holds(self, series: DrillSeries) -> bool {
        match self {
            DrillSet::All => true,
            DrillSet::Inch => series != DrillSeries::Metric,
            DrillSet::Metric => series == DrillSeries::Metric,
        }
    }
}

/// One drill.
#[derive(Clone, Debug, PartialEq)]
pub struct Drill {
    /// How it is named.
    pub series: DrillSeries,
    /// Its name in the series: `22`, `F`, `11/64`, `4.3`.
    pub size: String,
    /// Diameter in inches.
    pub inches: f64,
    /// Half the distance between the next smaller and the next larger drill of the series, in
    /// inches: the step in which a hole is read when only the drill that fits it is written down.
    pub step_inches: f64,
    millimetres: f64,
}

impl Drill {
    fn new(series: DrillSeries, size: String, inches: f64, millimetres: f64) -> Drill {
        Drill {
            series,
            size,
            inches,
            step_inches: 0.0,
            millimetres,
        }
    }

    fn of_inches(line: &str) -> Option<Drill> {
        let mut cells = line.split(',');
        let series = match cells.next()? {
            "number" => DrillSeries::Number,
            "letter" => DrillSeries::Letter,
            _ => DrillSeries::Fraction,
        };
        let size = cells.next()?.to_owned();
        let inches = cells.next()?.parse().ok()?;
        Some(Drill::new(series, size, inches, inches * 25.4))
    }

    fn of_millimetres(line: &str) -> Option<Drill> {
        let mm: f64 = line.parse().ok()?;
        Some(Drill::new(
            DrillSeries::Metric,
            mm.to_string(),
            mm / 25.4,
            mm,
        ))
    }

    /// Its name as people write it: `11/64 in`, `#22`, `letter F`, `4.3 mm`.
    ///
    /// # Example
    /// ```
    /// use calibriar::notation::{DrillSet, drill_for};
    ///
    /// let drill = drill_for(DrillSet::Inch, 4.31, 4.4).expect("there is one");
    /// assert_eq!((drill.name().as_str(), drill.mm()), ("11/64 in", 4.365625));
    /// ```
    pub fn name(&self) -> String {
        let size = &self.size;
        match self.series {
            DrillSeries::Fraction => format!("{size} in"),
            DrillSeries::Number => format!("#{size}"),
            DrillSeries::Letter => format!("letter {size}"),
            DrillSeries::Metric => format!("{size} mm"),
        }
    }

    /// Diameter in millimetres.
    pub fn mm(&self) -> f64 {
        self.millimetres
    }
}

static DRILLS: LazyLock<Vec<Drill>> = LazyLock::new(|| {
    let inch = include_str!("twist_drills.csv").lines().skip(1);
    let metric = include_str!("metric_drills.csv").lines().skip(1);
    let mut all: Vec<Drill> = inch
        .filter_map(Drill::of_inches)
        .chain(metric.filter_map(Drill::of_millimetres))
        .collect();
    // 1/4 in and letter E are one size: the fraction, which every shop sells, comes first.
    all.sort_by(|a, b| {
        let sizes = a.millimetres.total_cmp(&b.millimetres);
        sizes.then(a.series.cmp(&b.series))
    });
    for series in DrillSeries::ALL {
        let mut of_series: Vec<&mut Drill> =
            all.iter_mut().filter(|d| d.series == series).collect();
        let sizes: Vec<f64> = of_series.iter().map(|d| d.inches).collect();
        for (i, drill) in of_series.iter_mut().enumerate() {
            let below = i.saturating_sub(1);
            let above = (i + 1).min(sizes.len() - 1);
            drill.step_inches = (sizes[above] - sizes[below]) / (above - below) as f64;
        }
    }
    all
});

/// All standard drills, inch and metric, smallest first.
pub fn drills() -> &'static [Drill] {
    &DRILLS
}

/// The smallest drill of a set whose diameter, in millimetres, is at least `least_mm` and at most
/// `most_mm`; of two of one size (1/4 in and letter E) the fraction. `None` where there is none.
///
/// # Example
/// ```
/// use calibriar::notation::{DrillSet, drill_for};
///
/// let name = |set| drill_for(set, 4.25, 4.4).map(|drill| drill.name());
/// assert_eq!(name(DrillSet::Metric).as_deref(), Some("4.3 mm"));
/// assert_eq!(name(DrillSet::Inch).as_deref(), Some("#18"));
/// assert_eq!(drill_for(DrillSet::All, 13.1, 14.0), None);
/// ```
pub fn drill_for(set: DrillSet, least_mm: f64, most_mm: f64) -> Option<&'static Drill> {
    DRILLS
        .iter()
        .find(|d| set.holds(d.series) && d.millimetres >= least_mm)
        .filter(|d| d.millimetres <= most_mm)
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
        assert_eq!(count(DrillSeries::Metric), 137);
        assert!(drills().windows(2).all(|w| w[0].mm() <= w[1].mm()));
        assert!(
            drills()
                .iter()
                .all(|d| d.step_inches > 0.0 && d.step_inches < 0.02)
        );
    }

    #[test]
    fn the_ends_count_and_of_one_size_the_fraction_is_named() {
        let name = |set, least, most| drill_for(set, least, most).map(Drill::name);
        assert_eq!(
            name(DrillSet::All, 6.35, 6.35).as_deref(),
            Some("1/4 in"),
            "letter E is as large"
        );
        assert_eq!(
            name(DrillSet::Metric, 4.3, 4.3).as_deref(),
            Some("4.3 mm"),
            "4.3 is 4.3, not 4.3 through inches"
        );
        assert_eq!(
            name(DrillSet::Metric, 0.0, f64::INFINITY).as_deref(),
            Some("0.5 mm")
        );
        assert_eq!(name(DrillSet::All, 4.31, 4.305), None);
        assert_eq!(name(DrillSet::All, f64::NAN, 5.0), None);
        assert_eq!(name(DrillSet::All, 4.0, f64::NAN), None);
    }

    #[test]
    fn sets_by_name() {
        assert_eq!(DrillSet::parse(" Inch"), Some(DrillSet::Inch));
        assert_eq!(DrillSet::parse("metric"), Some(DrillSet::Metric));
        assert_eq!(DrillSet::parse("ALL"), Some(DrillSet::All));
        assert_eq!(DrillSet::parse("letter"), None);
    }
}
