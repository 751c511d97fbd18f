//! Outlines of a pattern's good pieces: what the next one's will be, station by station.
//!
//! Spreads are borrowed from the maker's other patterns station by station, all stations being one
//! family; outlines are laid on one another first (see [`crate::traced`]).

use std::collections::HashMap;

use super::basis::Beforehand;
use super::evidence::Evidence;
use crate::cohort::Cohort;
use crate::parallel;
use crate::stats::{Predictive, Prior, Rated, borrowed_from_readings, median, roughness};
use crate::traced::{RegisteredOutline, STATIONS, registered_outlines};

/// The outlines of a cohort's pieces that may speak: by row and feature.
#[derive(Debug, Default)]
pub(super) struct ReferenceOutlines(HashMap<usize, Vec<(String, RegisteredOutline)>>);

impl ReferenceOutlines {
    pub(super) fn gather(cohort: &Cohort<'_>) -> ReferenceOutlines {
        let table = cohort.table();
        let mut traces: HashMap<&str, Vec<usize>> = HashMap::new();
        for (at, trace) in table.traces.iter().enumerate() {
            traces.entry(&trace.specimen).or_default().push(at);
        }
        let rows = cohort.all_reference_rows();
        let of = parallel::map(rows.len(), |at| {
            let row = rows[at] as usize;
            let of_piece = traces.get(table.specimens.names.get(row))?.iter();
            let speak = of_piece
                .map(|&at| &table.traces[at])
                .filter(|trace| cohort.state_speaks(trace.state));
            Some((row, registered_outlines(speak)))
        });
        ReferenceOutlines(of.into_iter().flatten().collect())
    }

    fn of(&self, row: usize, feature: &str) -> Option<&RegisteredOutline> {
        let outlines = self.0.get(&row)?.iter();
        let found = outlines.filter(|(name, _)| name == feature);
        found.map(|(_, outline)| outline).next()
    }
}

/// The outlines of a pattern's good pieces of one feature, station by station.
#[derive(Clone, Debug)]
pub struct OutlineNorm {
    /// How many references.
    pub n: usize,
    /// What they say of the next piece, at each of [`STATIONS`] stations; heights in mm.
    pub stations: Vec<Predictive>,
    /// Degrees of freedom: the median over the stations.
    pub df: f64,
    /// How rough outlines are, over all the maker's patterns.
    pub roughness: f64,
}

/// One group's outlines with the labels of their periods.
type Outlines = Vec<(RegisteredOutline, Option<u32>)>;

impl OutlineNorm {
    /// The norm of one feature of one group for a piece whose own rows must not speak; `None` where
    /// nothing is borrowed or there is too little to tell.
    pub fn new(
        evidence: &Evidence<'_>,
        known: &Beforehand<'_>,
        group: usize,
        feature: &str,
        own_rows: &[usize],
    ) -> Option<OutlineNorm> {
        let lambda = known.share.lambda();
        let own = of_group(evidence, group, feature, own_rows);
        let lenders = match evidence.borrowing().nothing {
            true => Vec::new(),
            false => evidence.lenders().to(group),
        };
        let lent = lenders.iter();
        let lent: Vec<Outlines> = lent
            .map(|&g| of_group(evidence, g, feature, own_rows))
            .collect();
        let readings: Vec<Vec<Vec<Rated>>> = (0..STATIONS)
            .map(|station| lent.iter().map(|of| rated(of, station)).collect())
            .collect();
        let sets: Vec<Vec<&[Rated]>> = readings
            .iter()
            .map(|of| of.iter().map(Vec::as_slice).collect())
            .collect();
        let spreads = borrowed_from_readings(&sets, lambda).dimensions;
        let norms: Option<Vec<Predictive>> = spreads
            .into_iter()
            .enumerate()
            .map(|(station, spread)| {
                // The threshold of a whole outline holds for one spread that all stations share, as
                // a borrowed one nearly is; by spreads of their own alone, three outlines would
                // call a fifth of good ones out of norm.
                let prior = Prior::lent(Some(spread?), lambda);
                Predictive::new(&rated(&own, station), &prior)
            })
            .collect();
        let sets: Vec<Vec<Vec<f64>>> = lent
            .iter()
            .chain([&own])
            .map(|of| of.iter().map(|(o, _)| o.heights.clone()).collect())
            .collect();
        let stations = norms?;
        let dfs: Vec<f64> = stations.iter().map(Predictive::df).collect();
        Some(OutlineNorm {
            n: own.len(),
            df: median(&dfs).ok()?,
            stations,
            roughness: roughness(&sets).ok()?,
        })
    }
}

/// The outlines of a group's pieces that may speak, each laid on their medians; those of some rows
/// left out.
fn of_group(evidence: &Evidence<'_>, group: usize, feature: &str, without: &[usize]) -> Outlines {
    let cohort = evidence.cohort();
    let rows = cohort.reference_rows(group).iter().map(|&row| row as usize);
    let outlines: Vec<(&RegisteredOutline, Option<u32>)> = rows
        .filter(|row| !without.contains(row))
        .filter_map(|row| {
            Some((
                evidence.outlines().of(row, feature)?,
                cohort.period_label(row),
            ))
        })
        .collect();
    let middle: Vec<f64> = (0..STATIONS)
        .filter_map(|station| {
            let heights = outlines.iter().map(|(outline, _)| outline.heights[station]);
            median(&heights.collect::<Vec<f64>>()).ok()
        })
        .collect();
    let laid = outlines.iter();
    laid.map(|(outline, period)| (outline.laid_on(&middle), *period))
        .collect()
}

fn rated(of: &Outlines, station: usize) -> Vec<Rated> {
    let at = |(outline, period): &(RegisteredOutline, Option<u32>)| Rated {
        x: outline.heights[station],
        u: outline.uncertainty,
        period: *period,
    };
    of.iter().map(at).collect()
}
