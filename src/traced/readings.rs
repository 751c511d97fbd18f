//! Readings of dimensions, made of traces.
//!
//! | dimension | made of |
//! |---|---|
//! | `bowl_wall_straightness` | the worst of the walls traced |
//! | `bowl_wall_angle` | the mean of opposite walls' lean, so that a leaning axis cancels |
//! | `bowl_roundness` | the section at mid height |
//! | `stem_top_straightness`, `stem_bottom_straightness` | that line |
//! | `finish_lightness`, `finish_red_green`, `finish_yellow_blue` | the spots of the finish |
//!
//! Several traces of one feature count as one: the mean of those in the state that says most about
//! the works. A reading made of several features has the state that says least among them. It
//! stands in the place of a typed one whose state says no more.

use std::collections::HashMap;

use super::outline::{Straight, straight};
use super::section::roundness;
use crate::catalogue::{Catalogue, State};
use crate::form::colour::spots;
use crate::stats::normal_upper_quantile;
use crate::table::{Column, Table, Trace, TraceReading, Uncertainty};

/// A value and its standard uncertainty, in the unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Figure {
    pub(super) value: f64,
    pub(super) uncertainty: f64,
}

impl Figure {
    /// A form error of `n` points, of which each is known to the standard uncertainty `point`;
    /// `uncertainty` is that of the width by the points that decide it.
    ///
    /// The width of a zone is a range, and noise alone has one: about
    /// 2 z((n - 0.375) / (n + 0.25)) standard deviations (the expected extremes of n normal values,
    /// Blom 1958, from memory). It is taken off in quadrature. Where it makes up most of the width,
    /// form cannot be told from noise: anything between nothing and the width is as likely.
    pub(super) fn form_error(width: f64, uncertainty: f64, n: usize, point: f64) -> Figure {
        let n = n as f64;
        let noise = 2.0 * point * normal_upper_quantile(0.625 / (n + 0.25));
        let form = (width * width - noise * noise).max(0.0).sqrt();
        match form > width / 2.0 {
            true => Figure {
                value: form,
                // The less form is in the width, the more its uncertainty weighs.
                uncertainty: uncertainty * width / form,
            },
            false => Figure {
                value: width.max(noise) / 2.0,
                uncertainty: width.max(noise) / 12f64.sqrt(),
            },
        }
    }

    /// The mean of some figures; `None` of none.
    fn mean(of: &[Figure]) -> Option<Figure> {
        let n = of.len() as f64;
        let squares: f64 = of.iter().map(|f| f.uncertainty.powi(2)).sum();
        (!of.is_empty()).then(|| Figure {
            value: of.iter().map(|f| f.value).sum::<f64>() / n,
            uncertainty: squares.sqrt() / n,
        })
    }
}

/// A reading: its dimension's key, its figure and its state.
type Reading = (&'static str, Figure, State);

/// A table ready to be judged: readings made of its traces stand in its columns, and colours are
/// taken apart by finish.
pub fn ready(mut table: Table) -> Table {
    add_readings(&mut table);
    table.by_finish()
}

/// Puts readings made of a table's traces into its columns.
fn add_readings(table: &mut Table) {
    if table.traces.is_empty() {
        return;
    }
    let mut of: HashMap<&str, Vec<&Trace>> = HashMap::new();
    for trace in &table.traces {
        of.entry(&trace.specimen).or_default().push(trace);
    }
    let names = table.specimens.names.iter().enumerate();
    let traced: Vec<(usize, &Vec<&Trace>)> = names
        .filter_map(|(row, name)| Some((row, of.get(name)?)))
        .collect();
    let height = table.catalogue.find("bowl_height");
    let height = height.and_then(|dimension| table.column(dimension));
    let made: Vec<(usize, Vec<Reading>)> = crate::parallel::map(traced.len(), |at| {
        let (row, traces) = traced[at];
        let bowl_height = height.and_then(|column| column.value(row));
        (row, readings(traces, bowl_height))
    });
    for (row, readings) in made {
        for reading in readings {
            put(table, row, reading);
        }
    }
    table.columns.sort_by_key(|column| column.dimension);
}

/// Writes one reading into its column, which is made where there is none.
fn put(table: &mut Table, row: usize, (key, figure, state): Reading) {
    let rows = table.specimens.len();
    let Some(dimension) = index_of(&mut table.catalogue, key) else {
        return;
    };
    let at = table.columns.iter().position(|c| c.dimension == dimension);
    let at = at.unwrap_or_else(|| {
        table.columns.push(Column {
            dimension,
            values: vec![f64::NAN; rows],
            uncertainty: Uncertainty::Each(vec![0.0; rows]),
            states: None,
            finish: None,
        });
        table.columns.len() - 1
    });
    let column = &mut table.columns[at];
    // What is typed of the works is not put aside for a trace of a worn place.
    if column.value(row).is_some() && column.state(row).rank() < state.rank() {
        return;
    }
    if let Uncertainty::Step(_) = column.uncertainty {
        let each = (0..rows).map(|row| column.uncertainty(row)).collect();
        column.uncertainty = Uncertainty::Each(each);
    }
    column.values[row] = figure.value;
    if let Uncertainty::Each(each) = &mut column.uncertainty {
        each[row] = figure.uncertainty;
    }
    if state != State::Factory || column.states.is_some() {
        let states = &mut column.states;
        states.get_or_insert_with(|| vec![State::Factory; rows])[row] = state;
    }
}

/// The dimension of a key; one of the trade's that a source does not know is added.
fn index_of(catalogue: &mut Catalogue, key: &str) -> Option<usize> {
    catalogue.find(key).or_else(|| {
        let standard = Catalogue::standard();
        let dimension = standard.at(standard.find(key)?).clone();
        Some(catalogue.add(dimension))
    })
}

/// What the traces of one piece say; `bowl_height` in mm tells which section is at mid height.
fn readings(traces: &[&Trace], bowl_height: Option<f64>) -> Vec<Reading> {
    let mut out = Vec::new();
    let walls = SIDES.map(|side| straights(traces, &format!("bowl_wall_{side}")));
    let worst: Vec<(Figure, State)> = walls.iter().filter_map(|of| straightness(of)).collect();
    let figures = worst.iter().map(|&(figure, _)| figure);
    if let Some(figure) = figures.max_by(|a, b| a.value.total_cmp(&b.value)) {
        out.push(("bowl_wall_straightness", figure, saying_least(&worst)));
    }
    out.extend(wall_angle(&walls));
    let sections = at_mid_height(&of_feature(traces, "bowl_section"), bowl_height);
    let round = figure(&measured(&sections, |trace| roundness(trace).ok()));
    out.extend(round.map(|(figure, state)| ("bowl_roundness", figure, state)));
    for (feature, key) in [
        ("stem_top", "stem_top_straightness"),
        ("stem_bottom", "stem_bottom_straightness"),
    ] {
        let line = straightness(&straights(traces, feature));
        out.extend(line.map(|(figure, state)| (key, figure, state)));
    }
    out.extend(colour(traces));
    out
}

const SIDES: [&str; 4] = ["front", "left", "back", "right"];

/// Straightness and lean of the traces of one feature, each with its state.
fn straights(traces: &[&Trace], key: &str) -> Vec<(Straight, State)> {
    measured(&of_feature(traces, key), |trace| straight(trace).ok())
}

fn straightness(of: &[(Straight, State)]) -> Option<(Figure, State)> {
    figure(
        &of.iter()
            .map(|(s, state)| (s.straightness, *state))
            .collect::<Vec<_>>(),
    )
}

/// The mean lean of opposite walls; a wall without its opposite tells of the axis as well.
fn wall_angle(walls: &[Vec<(Straight, State)>; 4]) -> Option<Reading> {
    let lean = |of: &Vec<(Straight, State)>| {
        figure(
            &of.iter()
                .map(|(s, state)| (s.angle, *state))
                .collect::<Vec<_>>(),
        )
    };
    let leans = walls.each_ref().map(lean);
    let pairs = [(0, 2), (1, 3)].map(|(one, other)| leans[one].zip(leans[other]));
    let both = pairs.into_iter().flatten();
    let used: Vec<(Figure, State)> = both.flat_map(|(one, other)| [one, other]).collect();
    let figures: Vec<Figure> = used.iter().map(|&(figure, _)| figure).collect();
    Some((
        "bowl_wall_angle",
        Figure::mean(&figures)?,
        saying_least(&used),
    ))
}

fn colour(traces: &[&Trace]) -> Vec<Reading> {
    let of = of_feature(traces, "finish_colour");
    let component = |key: &'static str, at: usize| {
        let of_trace = |trace: &Trace| match &trace.reading {
            TraceReading::Spots(of) => {
                let colour = spots(of).ok()?;
                Some(Figure {
                    value: colour.lab.components()[at],
                    uncertainty: colour.uncertainty[at],
                })
            }
            TraceReading::Points { .. } => None,
        };
        let (figure, state) = figure(&measured(&of, of_trace))?;
        Some((key, figure, state))
    };
    let keys = ["finish_lightness", "finish_red_green", "finish_yellow_blue"];
    let components = keys.into_iter().enumerate();
    components
        .filter_map(|(at, key)| component(key, at))
        .collect()
}

fn of_feature<'t>(traces: &[&'t Trace], key: &str) -> Vec<&'t Trace> {
    let is = |trace: &&&Trace| trace.feature.feature.key == key;
    traces.iter().filter(is).copied().collect()
}

/// The sections that count as at mid height: those that do not say where they were taken, else
/// those nearest to half the bowl's height, if within a sixth of it; without a bowl height the
/// middle one.
fn at_mid_height<'t>(sections: &[&'t Trace], bowl_height: Option<f64>) -> Vec<&'t Trace> {
    let mut places: Vec<f64> = sections.iter().filter_map(|s| s.feature.at).collect();
    places.sort_by(f64::total_cmp);
    let taken = |place: Option<f64>| -> Vec<&'t Trace> {
        let is = |s: &&&Trace| s.feature.at == place;
        sections.iter().filter(is).copied().collect()
    };
    if places.len() < sections.len() {
        return taken(None);
    }
    let place = match bowl_height {
        Some(height) => {
            let off = |place: &f64| (place - height / 2.0).abs();
            let nearest = places.iter().min_by(|a, b| off(a).total_cmp(&off(b)));
            nearest.copied().filter(|place| off(place) <= height / 6.0)
        }
        None => places.get(places.len() / 2).copied(),
    };
    place.map_or_else(Vec::new, |place| taken(Some(place)))
}

/// What was measured of some traces, each with its state; those that tell nothing are left out.
fn measured<T>(traces: &[&Trace], measure: impl Fn(&Trace) -> Option<T>) -> Vec<(T, State)> {
    let traces = traces.iter();
    traces
        .filter_map(|trace| Some((measure(trace)?, trace.state)))
        .collect()
}

/// One figure of several traces of a feature: the mean of those in the state that says most about
/// the works.
fn figure(measured: &[(Figure, State)]) -> Option<(Figure, State)> {
    let state = measured.iter().map(|&(_, state)| state);
    let state = state.min_by_key(|state| state.rank())?;
    let of_state = measured.iter().filter(|(_, s)| *s == state);
    let figures: Vec<Figure> = of_state.map(|&(figure, _)| figure).collect();
    Some((Figure::mean(&figures)?, state))
}

/// The state that says least about the works.
fn saying_least(of: &[(Figure, State)]) -> State {
    let states = of.iter().map(|&(_, state)| state);
    states
        .max_by_key(|state| state.rank())
        .unwrap_or(State::Unknown)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 30 points read to 0.05 mm have a zone of about 2 x 0.05 x 2.0 = 0.2 mm from noise alone.
    #[test]
    fn noise_is_no_form() {
        let noise = Figure::form_error(0.21, 0.05, 30, 0.05);
        assert!((noise.value - 0.105).abs() < 1e-12);
        assert!((noise.uncertainty - 0.21 / 12f64.sqrt()).abs() < 1e-12);
        let clear = Figure::form_error(0.80, 0.05, 30, 0.05);
        assert!((0.76..0.80).contains(&clear.value), "{clear:?}");
        assert!((0.05..0.06).contains(&clear.uncertainty), "{clear:?}");
        let fine = Figure::form_error(0.10, 0.004, 30, 0.0);
        assert_eq!((fine.value, fine.uncertainty), (0.10, 0.004));
        // Never zero: it has no logarithm.
        assert!(Figure::form_error(0.0, 0.0, 5, 0.003).value > 0.0);
    }

    #[test]
    fn every_reading_is_a_dimension_of_the_trade() {
        let standard = Catalogue::standard();
        for key in [
            "bowl_wall_straightness",
            "bowl_wall_angle",
            "bowl_roundness",
            "stem_top_straightness",
            "stem_bottom_straightness",
            "finish_lightness",
            "finish_red_green",
            "finish_yellow_blue",
        ] {
            assert!(standard.find(key).is_some(), "{key}");
        }
    }
}
