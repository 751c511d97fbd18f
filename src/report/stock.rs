//! Rows of outlines taken down: one a station.

use super::named;
use crate::refit::Refit;

row! {
    /// What comes off an outline at one station.
    StockRow, STOCK_COLUMNS;
    /// The piece.
    specimen: &'a str,
    /// Its maker.
    maker: Option<&'a str>,
    /// Its pattern.
    pattern: Option<&'a str>,
    /// What was traced.
    feature: String,
    /// Whether taking it down is advised.
    advised: bool,
    /// Why it is left alone, in one word.
    reason: Option<&'static str>,
    /// Station of the trace, in mm.
    station: f64,
    /// Outline as found, in mm.
    found: f64,
    /// The target line, in mm.
    target: f64,
    /// What lies between, in mm; never negative.
    take_off_mm: f64,
    /// Lower limit of good pieces' outlines there, in mm.
    low: Option<f64>,
    /// Upper limit.
    high: Option<f64>,
}

/// All stations of the outlines of some pieces.
pub fn stock_rows(plans: &[Refit]) -> impl Iterator<Item = StockRow<'_>> {
    plans.iter().flat_map(|piece| {
        piece.outlines.iter().flat_map(move |outline| {
            let work = outline.stock.as_ref().ok();
            let points = work
                .into_iter()
                .flat_map(|w| w.stock.outline.iter().map(move |p| (w, p)));
            points.map(move |(work, &point)| {
                let band = work.band_at(point.x);
                StockRow {
                    specimen: &piece.check.specimen,
                    maker: named(&piece.check.maker),
                    pattern: named(&piece.check.pattern),
                    feature: outline.feature.to_string(),
                    advised: outline.is_advised(),
                    reason: outline.reason.as_ref().map(|r| r.name()),
                    station: point.x,
                    found: point.y,
                    target: work.stock.target(point.x),
                    take_off_mm: work.stock.take_off(point),
                    low: band.map(|b| b.0),
                    high: band.map(|b| b.1),
                }
            })
        })
    })
}
