//! One dimension through the years: every dated piece, the typical range, the periods, the years in which
//! it shifted.

use maud::{Markup, html};

use super::document::picture;
use super::mark::mark;
use super::scale::{Scale, label, px};
use crate::catalogue::YearRange;
use crate::norm::Band;
use crate::words::{band, counted, grain_or, shown, sized};

/// A piece with a date.
#[derive(Clone, Debug)]
pub(super) struct DatedMark {
    pub(super) years: YearRange,
    pub(super) value: f64,
    /// Place of its period among those of the page.
    pub(super) period: usize,
    pub(super) name: String,
}

/// A period on the scale of years.
#[derive(Clone, Debug)]
pub(super) struct Span<'a> {
    pub(super) name: &'a str,
    pub(super) years: (i16, i16),
    /// Whether pieces are judged by it.
    pub(super) speaks: bool,
}

/// A year in which something shifted.
#[derive(Clone, Debug)]
pub(super) struct ShiftMark {
    pub(super) year: i16,
    /// The years that it may be.
    pub(super) years: Vec<(i16, i16)>,
    /// What is said of it, and whether it may well be chance.
    pub(super) words: String,
    pub(super) is_doubtful: bool,
}

/// What the picture shows.
#[derive(Debug)]
pub(super) struct Years<'a> {
    pub(super) id: String,
    pub(super) label: &'a str,
    pub(super) unit: &'a str,
    pub(super) typical: Option<Band>,
    pub(super) marks: &'a [DatedMark],
    pub(super) spans: &'a [Span<'a>],
    pub(super) shifts: &'a [ShiftMark],
}

const WIDTH: f64 = 640.0;
const LEFT: f64 = 46.0;
const RIGHT: f64 = 12.0;
/// Room for the periods' names, and for the years of shifts.
const TOP: f64 = 60.0;
/// Without periods only the years of shifts stand above.
const BARE_TOP: f64 = 20.0;
const HEIGHT: f64 = 224.0;
const BOTTOM: f64 = 24.0;
/// About the width of a letter of a period's name.
const LETTER: f64 = 5.6;

/// A name with a sign where it had to be cut.
fn shortened(name: &str, letters: usize) -> String {
    let name = shown(name);
    match name.chars().count() > letters {
        true => name
            .chars()
            .take(letters.saturating_sub(1))
            .chain(['…'])
            .collect(),
        false => name,
    }
}

impl Years<'_> {
    fn grain(&self) -> f64 {
        grain_or(self.typical, 1.0)
    }

    fn told(&self) -> String {
        let grain = self.grain();
        let values = self.marks.iter().map(|m| m.value);
        let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
            (low.min(v), high.max(v))
        });
        let mut told = format!(
            "{} with a date, {} {}.",
            counted(self.marks.len(), "piece", "pieces"),
            band(low, high, grain),
            self.unit
        );
        if let Some(typical) = self.typical {
            told += &format!(" Typical range {}.", band(typical.low, typical.high, grain));
        }
        for shift in self.shifts {
            told += &format!(" {}.", shift.words);
        }
        told
    }

    /// The picture; nothing without a dated piece.
    pub(super) fn picture(&self) -> Option<Markup> {
        if self.marks.is_empty() {
            return None;
        }
        let top = if self.spans.is_empty() { BARE_TOP } else { TOP };
        let height = HEIGHT - TOP + top;
        let dates = self.marks.iter().flat_map(|m| [m.years.from, m.years.to]);
        let years = dates.map(f64::from);
        let x = Scale::over(years, LEFT, WIDTH - RIGHT);
        let ends = self.typical.iter().flat_map(|t| [t.low, t.high]);
        let y = Scale::over(
            self.marks.iter().map(|m| m.value).chain(ends),
            height - BOTTOM,
            top,
        );
        let at = |year: i16| x.at(f64::from(year));
        let (up, up_decimals) = y.ticks(4);
        let (across, _) = x.ticks(8);
        let across = across.into_iter().filter(|tick| tick.fract() == 0.0);
        let drawn = html! {
            @for (number, span) in self.spans.iter().enumerate() {
                // A period lasts to the end of its last year.
                @let (from, to) = (at(span.years.0), x.at(f64::from(span.years.1) + 1.0));
                @if to - from > 1.0 {
                    rect class=(if span.speaks { "span good" } else { "span" }) x=(px(from)) width=(px(to - from)) y=(px(top))
                        height=(px(height - BOTTOM - top)) data-from=(span.years.0) data-to=(span.years.1) {}
                    // Neighbours' names stand in two rows, so that they do not run into each other.
                    @let row = (number % 2) as f64;
                    @let next = self.spans.get(number + 2).map_or(WIDTH, |next| at(next.years.0));
                    @let room = ((next - from) / LETTER).max(0.0) as usize;
                    @let name = shortened(span.name, room);
                    @if room > 3 { text class="tick start" x=(px(from + 2.0)) y=(px(16.0 + 18.0 * row)) { (name) } }
                }
            }
            @if let Some(typical) = self.typical {
                rect class="typical" x=(px(LEFT)) width=(px(WIDTH - RIGHT - LEFT)) y=(px(y.at(typical.high)))
                    height=(px(y.at(typical.low) - y.at(typical.high))) data-low=(typical.low) data-high=(typical.high) {}
            }
            @for tick in up {
                line class="axis" x1=(px(LEFT - 4.0)) x2=(px(LEFT)) y1=(px(y.at(tick))) y2=(px(y.at(tick))) {}
                text class="tick end" x=(px(LEFT - 7.0)) y=(px(y.at(tick) + 4.0)) { (label(tick, up_decimals)) }
            }
            @for tick in across {
                line class="axis" x1=(px(x.at(tick))) x2=(px(x.at(tick))) y1=(px(height - BOTTOM)) y2=(px(height - BOTTOM + 4.0)) {}
                text class="tick" x=(px(x.at(tick))) y=(px(height - BOTTOM + 16.0)) { (tick) }
            }
            line class="axis" x1=(px(LEFT)) x2=(px(WIDTH - RIGHT)) y1=(px(height - BOTTOM)) y2=(px(height - BOTTOM)) {}
            line class="axis" x1=(px(LEFT)) x2=(px(LEFT)) y1=(px(top)) y2=(px(height - BOTTOM)) {}
            @for shift in self.shifts {
                @for (from, to) in &shift.years {
                    rect class="excursion" x=(px(at(*from))) width=(px((x.at(f64::from(*to) + 1.0) - at(*from)).max(2.0)))
                        y=(px(top - 16.0)) height=(px(height - BOTTOM - top + 16.0)) data-from=(from) data-to=(to) {}
                }
                line class="piece" x1=(px(at(shift.year))) x2=(px(at(shift.year))) y1=(px(top - 16.0)) y2=(px(height - BOTTOM))
                    data-year=(shift.year) {}
                text class="called start" x=(px(at(shift.year) + 4.0)) y=(px(top - 6.0)) { (shift.year) }
            }
            g data-x-low=(x.low) data-x-high=(x.high) data-y-low=(y.low) data-y-high=(y.high) {
                @for of in self.marks {
                    @let level = y.at(of.value);
                    @let middle = (f64::from(of.years.from) + f64::from(of.years.to)) / 2.0;
                    g data-value=(of.value) data-from=(of.years.from) data-to=(of.years.to) {
                        @if of.years.from < of.years.to {
                            line class="axis" x1=(px(at(of.years.from))) x2=(px(at(of.years.to))) y1=(px(level)) y2=(px(level)) {}
                        }
                        (mark(of.period, (x.at(middle), level), 3.2, &format!(
                            "{}: {} {}, {}", of.name, sized(of.value, self.grain()), self.unit, of.years
                        )))
                    }
                }
            }
        };
        let name = format!("{} in {} through the years", self.label, self.unit);
        Some(picture(
            &self.id,
            &name,
            &self.told(),
            (WIDTH, height),
            &drawn,
        ))
    }
}
