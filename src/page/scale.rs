//! From a number to a place in a picture.

use std::fmt::Write as _;

/// A straight scale: numbers from one to another, on a stretch of a picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Scale {
    pub(super) low: f64,
    pub(super) high: f64,
    /// Where `low` and `high` lie, in the picture's units.
    pub(super) from: f64,
    pub(super) to: f64,
}

impl Scale {
    /// A scale that shows all the numbers, with a little room at both ends; numbers that are not finite
    /// are passed over.
    pub(super) fn over(numbers: impl IntoIterator<Item = f64>, from: f64, to: f64) -> Scale {
        /// Of the span, at either end.
        const ROOM: f64 = 0.06;
        let finite = numbers.into_iter().filter(|n| n.is_finite());
        let (low, high) = finite.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), n| {
            (low.min(n), high.max(n))
        });
        let (low, high) = match (low <= high, high > low) {
            (false, _) => (0.0, 1.0),
            // One number alone stands in the middle.
            (true, false) => {
                let room = (0.1 * low.abs()).max(1e-3);
                (low - room, high + room)
            }
            (true, true) => (low, high),
        };
        let room = ROOM * (high - low);
        Scale {
            low: low - room,
            high: high + room,
            from,
            to,
        }
    }

    /// Where a number lies; what is beyond the scale lies at its end.
    pub(super) fn at(&self, number: f64) -> f64 {
        let share = ((number - self.low) / (self.high - self.low)).clamp(0.0, 1.0);
        self.from + share * (self.to - self.from)
    }

    /// Round numbers on the scale, some `wanted` of them, and their decimals.
    pub(super) fn ticks(&self, wanted: usize) -> (Vec<f64>, usize) {
        let raw = (self.high - self.low) / wanted.max(1) as f64;
        let power = raw.log10().floor();
        if !power.is_finite() {
            return (Vec::new(), 0);
        }
        let unit = 10f64.powf(power);
        let step = [1.0, 2.0, 5.0, 10.0]
            .into_iter()
            .map(|times| times * unit)
            .find(|&step| step >= raw * (1.0 - 1e-9))
            .unwrap_or(10.0 * unit);
        let decimals = (-step.log10().floor()).clamp(0.0, 9.0) as usize;
        let (first, last) = ((self.low / step).ceil(), (self.high / step).floor());
        if !step.is_finite() || last - first > 100.0 {
            return (Vec::new(), 0);
        }
        let (first, last) = (first as i64, last as i64);
        ((first..=last).map(|k| k as f64 * step).collect(), decimals)
    }
}

/// A number at a tick.
pub(super) fn label(tick: f64, decimals: usize) -> String {
    /// Longer ones are no sizes of pipes.
    const ENDLESS: f64 = 1e7;
    match tick.abs() < ENDLESS {
        true => format!("{tick:.decimals$}"),
        false => format!("{tick:.0e}"),
    }
}

/// A length of the picture, as SVG is written.
pub(super) fn px(length: f64) -> String {
    let mut text = String::new();
    write_px(&mut text, length);
    text
}

/// Writes it in hundredths, which are finer than any screen shows.
fn write_px(text: &mut String, length: f64) {
    /// No picture is as long.
    const LONGEST: f64 = 1e12;
    let hundredths = match length.is_finite() {
        true => (100.0 * length.clamp(-LONGEST, LONGEST)).round() as i64,
        false => 0,
    };
    if hundredths < 0 {
        text.push('-');
    }
    let (whole, rest) = (hundredths.abs() / 100, (hundredths.abs() % 100) as u8);
    // Writing to a text cannot fail.
    let _ = write!(text, "{whole}");
    if rest > 0 {
        text.push('.');
        text.push(char::from(b'0' + rest / 10));
    }
    if !rest.is_multiple_of(10) {
        text.push(char::from(b'0' + rest % 10));
    }
}

/// Points as the `points` of a polygon or polyline.
pub(super) fn points(all: impl IntoIterator<Item = (f64, f64)>) -> String {
    let mut text = String::new();
    for (x, y) in all {
        if !text.is_empty() {
            text.push(' ');
        }
        write_px(&mut text, x);
        text.push(',');
        write_px(&mut text, y);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ends_and_what_is_beyond_them() {
        let scale = Scale {
            low: 2.0,
            high: 4.0,
            from: 100.0,
            to: 300.0,
        };
        assert_eq!(
            [2.0, 3.0, 4.0, 9.0, -1.0].map(|n| scale.at(n)),
            [100.0, 200.0, 300.0, 300.0, 100.0]
        );
        assert_eq!(scale.ticks(4), (vec![2.0, 2.5, 3.0, 3.5, 4.0], 1));
    }

    #[test]
    fn any_numbers_make_a_scale() {
        for numbers in [
            vec![],
            vec![f64::NAN],
            vec![3.0],
            vec![0.0, 0.0],
            vec![1e300, -1e300],
        ] {
            let scale = Scale::over(numbers, 0.0, 10.0);
            assert!(scale.low < scale.high);
            assert!((0.0..=10.0).contains(&scale.at(3.0)));
        }
        let scale = Scale::over([1.0, 2.0], 0.0, 112.0);
        assert!((scale.at(1.0) - 6.0).abs() < 1e-9 && (scale.at(2.0) - 106.0).abs() < 1e-9);
    }

    #[test]
    fn short_lengths() {
        assert_eq!(
            [1.0, 0.126, -0.001, 10.5, -0.05, 3.4, -12.0, 7.999, f64::NAN].map(px),
            ["1", "0.13", "0", "10.5", "-0.05", "3.4", "-12", "8", "0"]
        );
        assert_eq!(points([(0.0, 1.5), (2.0, 3.0)]), "0,1.5 2,3");
    }
}
