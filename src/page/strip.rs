//! One dimension as a strip: each reference a mark by its period, the ranges, the piece itself.

use std::collections::HashMap;

use maud::{Markup, html};

use super::document::picture;
use super::mark::{crowd, mark, piece, struck};
use super::scale::{Scale, label, px};
use crate::norm::Band;
use crate::words::{band, counted, grain_or, sized};

/// A reference in the picture.
#[derive(Clone, Debug)]
pub(super) struct Mark {
    /// In the unit.
    pub(super) value: f64,
    /// Place of its period among those of the page.
    pub(super) period: usize,
    /// Its specimen.
    pub(super) name: String,
    /// Whether it was set aside.
    pub(super) set_aside: bool,
}

/// What a strip shows.
#[derive(Debug)]
pub(super) struct Strip<'a> {
    /// Names the picture within the page.
    pub(super) id: String,
    pub(super) label: &'a str,
    pub(super) unit: &'a str,
    /// The piece's reading; none on the page of a pattern.
    pub(super) value: Option<f64>,
    pub(super) centre: Option<f64>,
    pub(super) typical: Option<Band>,
    pub(super) tolerance: Option<Band>,
    pub(super) marks: &'a [Mark],
    /// The page's periods.
    pub(super) periods: &'a [String],
}

const WIDTH: f64 = 540.0;
/// Room for half a number at either end.
const LEFT: f64 = 24.0;
/// Room above for the head of the piece's bar, below for numbers.
const TOP: f64 = 10.0;
const LANE: f64 = 13.0;
const NUMBERS: f64 = 17.0;
const SIZE: f64 = 3.6;
/// Marks of more references than this lie on top of each other: no reader picks out one by its name.
const MANY: usize = 60;

impl Strip<'_> {
    /// The size that two digits of the picture's numbers stand for.
    fn grain(&self) -> f64 {
        grain_or(self.typical, self.value.or(self.centre).unwrap_or(1.0))
    }

    fn scale(&self) -> Scale {
        let shown = self.marks.iter().map(|m| m.value).chain(self.value);
        let range = self.typical.iter().flat_map(|b| [b.low, b.high]);
        let all: Vec<f64> = shown.chain(range).collect();
        let own = Scale::over(all.iter().copied(), LEFT, WIDTH - LEFT);
        // A band that few references leave wide must not press all else together.
        let reach = own.high - own.low;
        let wide = self.tolerance.iter().flat_map(|b| [b.low, b.high]);
        let wide = wide.map(|limit| limit.clamp(own.low - reach, own.high + reach));
        Scale::over(all.into_iter().chain(wide), LEFT, WIDTH - LEFT)
    }

    /// The same for those who do not see it.
    fn told(&self) -> String {
        let grain = self.grain();
        let piece = self.value.map(|value| sized(value, grain));
        let piece = piece.map(|value| format!("The piece: {value} {}.", self.unit));
        let mut told = piece.unwrap_or_default();
        if let Some(typical) = self.typical {
            told += &format!(
                " Typical range: {}.",
                band(typical.low, typical.high, grain)
            );
        }
        if let Some(all) = self.tolerance {
            told += &format!(" Tolerance band: {}.", band(all.low, all.high, grain));
        }
        for (at, period) in self.periods.iter().enumerate() {
            let of = self
                .marks
                .iter()
                .filter(|m| m.period == at)
                .map(|m| m.value);
            let (n, low, high) = of.fold(
                (0, f64::INFINITY, f64::NEG_INFINITY),
                |(n, low, high), v| (n + 1, f64::min(low, v), f64::max(high, v)),
            );
            if n > 0 {
                let of = counted(n, "reference", "references");
                told += &format!(" {period}: {of}, {}.", band(low, high, grain));
            }
        }
        told.trim_start().to_owned()
    }

    /// Where each mark lies, `lane` being the middle of its period's lane: equal readings must not hide each
    /// other.
    fn places(&self, scale: &Scale, lane: impl Fn(usize) -> f64) -> Vec<(f64, f64)> {
        const STEP: f64 = 1.5;
        let mut known: HashMap<(usize, u64), i32> = HashMap::new();
        let place = |of: &Mark| {
            let before = known.entry((of.period, of.value.to_bits())).or_default();
            // Above and below by turns, as far as the lane goes.
            let aside = [0.0, -STEP, STEP, -2.0 * STEP, 2.0 * STEP][(*before % 5) as usize];
            *before += 1;
            (scale.at(of.value), lane(of.period) + aside)
        };
        self.marks.iter().map(place).collect()
    }

    /// The references of a period that were not set aside.
    fn crowd(&self, period: usize, places: &[(f64, f64)]) -> Markup {
        let all = self.marks.iter().zip(places);
        let of_period = all.filter(|(of, _)| of.period == period && !of.set_aside);
        let marks: Vec<_> = of_period.map(|(of, &at)| (of.value, at)).collect();
        match marks.as_slice() {
            [] => html! {},
            // One point makes no line.
            [(value, at)] => html! {
                g data-value=(value) data-x=(px(at.0)) { (mark(period, *at, SIZE, &self.periods[period])) }
            },
            all => crowd(&format!("{}-marks-{period}", self.id), period, all, SIZE),
        }
    }

    pub(super) fn picture(&self) -> Markup {
        let scale = self.scale();
        let lanes: Vec<usize> = (0..self.periods.len())
            .filter(|&period| self.marks.iter().any(|m| m.period == period))
            .collect();
        let bottom = TOP + LANE * lanes.len().max(1) as f64 + 4.0;
        let height = bottom + NUMBERS;
        let lane = |period: usize| {
            let at = lanes.iter().position(|&p| p == period).unwrap_or(0);
            TOP + 2.0 + LANE * (at as f64 + 0.5)
        };
        let range = |band: Band, class: &str, inset: f64| {
            let (low, high) = (scale.at(band.low), scale.at(band.high));
            html! {
                rect class=(class) x=(px(low)) width=(px(high - low)) y=(px(TOP + inset))
                    height=(px(bottom - TOP - 2.0 * inset)) data-low=(band.low) data-high=(band.high) {}
            }
        };
        let (ticks, decimals) = scale.ticks(5);
        let crowded = self.marks.len() > MANY;
        let places = self.places(&scale, lane);
        let drawn = html! {
            g data-from=(px(scale.from)) data-to=(px(scale.to)) data-low=(scale.low) data-high=(scale.high) {
                @if let Some(all) = self.tolerance { (range(all, "tolerance", 0.0)) }
                @if let Some(typical) = self.typical { (range(typical, "typical", 3.0)) }
                @if let Some(centre) = self.centre {
                    line class="centre" x1=(px(scale.at(centre))) x2=(px(scale.at(centre))) y1=(px(TOP)) y2=(px(bottom))
                        data-value=(centre) {}
                }
                line class="axis" x1=(px(scale.from)) x2=(px(scale.to)) y1=(px(bottom)) y2=(px(bottom)) {}
                @for tick in ticks {
                    @let x = scale.at(tick);
                    line class="axis" x1=(px(x)) x2=(px(x)) y1=(px(bottom)) y2=(px(bottom + 3.0)) {}
                    text class="tick" x=(px(x)) y=(px(bottom + 13.0)) { (label(tick, decimals)) }
                }
                @for &period in lanes.iter().filter(|_| crowded) {
                    (self.crowd(period, &places))
                }
                @for (of, &at) in self.marks.iter().zip(&places).filter(|(of, _)| !crowded || of.set_aside) {
                    g data-value=(of.value) data-x=(px(at.0)) {
                        (mark(of.period, at, SIZE, &format!("{}: {} {}", of.name, sized(of.value, self.grain()), self.unit)))
                        @if of.set_aside { (struck(at, SIZE)) }
                    }
                }
                @if let Some(value) = self.value {
                    g data-piece=(value) data-x=(px(scale.at(value))) { (piece(scale.at(value), TOP, bottom)) }
                }
            }
        };
        let name = format!("{} in {}", self.label, self.unit);
        picture(&self.id, &name, &self.told(), (WIDTH, height), &drawn)
    }
}
