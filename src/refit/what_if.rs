//! A work judged before it is done.

use super::known::{Known, NOTHING, cost};
use super::plan::{Interval, Problem, Quantity, Want, plan};
use super::reason::{Contradiction, Reason};
use super::sheet::{After, FloorLeft, to_mind};
use crate::catalogue::{Catalogue, Precaution, State, Work, Workshop};
use crate::norm::{Evidence, Settings};
use crate::stats::StatsError;
use crate::table::{Column, Table, Uncertainty};
use crate::verdict::{Check, Piece, check_against};

/// A size that somebody thinks of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Proposal {
    /// Index of the dimension in the catalogue of the piece's table.
    pub dimension: usize,
    /// The size, in the unit.
    pub value: f64,
    /// Its standard uncertainty, where one was given.
    pub uncertainty: Option<f64>,
    /// The step to which it was written, in the unit.
    pub step: f64,
}

/// A piece before and after some proposed sizes.
#[derive(Clone, Debug, PartialEq)]
pub struct WhatIf {
    /// As it is.
    pub before: Check,
    /// As it would be.
    pub after: Check,
    /// What was proposed, and whether it can be reached by taking off.
    pub proposals: Vec<(Proposal, Reach)>,
    /// The works that lead there, with mm of each, in the order of work.
    pub works: Vec<(Work, f64)>,
    /// Of these works those that a plan would refuse whatever they are for, and why.
    pub refused: Vec<(Work, Reason)>,
    /// What must remain, before and after.
    pub floors: Vec<FloorLeft>,
    /// Readings that cannot all be right, before any work.
    pub contradictions: Vec<Contradiction>,
    /// What to mind, the general first; none where nothing is done.
    pub precautions: Vec<Precaution>,
}

impl WhatIf {
    /// A size as it would be, by the key of its dimension; `catalogue` is that of the piece's table.
    pub fn size_after(&self, key: &str, catalogue: &Catalogue) -> Option<f64> {
        let mut all = self.after.dimensions.iter();
        let found = all.find(|d| catalogue.at(d.dimension).key == key);
        found.map(|d| d.value)
    }
}

/// Whether a proposed size can be reached by taking off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reach {
    /// It can.
    TakingOff,
    /// It was not measured, so nobody knows.
    Unknown,
    /// It is what it is already.
    AsItIs,
    /// Material would have to be added.
    Adding,
    /// No work in the table moves it.
    NoWork,
    /// Not together with what was proposed before it.
    NotTogether,
}

impl Reach {
    /// The name used in tables and JSON.
    pub fn name(self) -> &'static str {
        match self {
            Reach::TakingOff => "taking_off",
            Reach::Unknown => "unknown",
            Reach::AsItIs => "as_it_is",
            Reach::Adding => "adding",
            Reach::NoWork => "no_work",
            Reach::NotTogether => "not_together",
        }
    }
}

/// Judges a piece as it would be with some sizes, its neighbours moved by the works that lead there.
///
/// # Method
/// The works of least volume that give exactly the proposed sizes, each 0 or more: a linear program, in
/// which nothing else binds. A proposal that no such works reach is taken as said all the same, and moves no
/// neighbour. The piece with these sizes, in state `reworked`, is judged as any other; its own readings
/// never count in its norm.
///
/// A proposed size is as well known as its own uncertainty says, where one was given; else as the reading and
/// the work together.
/// # Errors
/// [`StatsError`] for numbers beyond what the solver can tell apart.
pub fn what_if(
    evidence: &Evidence<'_>,
    table: &Table,
    row: usize,
    settings: &Settings,
    workshop: &Workshop,
    proposals: &[Proposal],
) -> Result<WhatIf, StatsError> {
    let mut table = table.of_row(row);
    let before = check_against(evidence, &table, 0, settings);
    let (reach, works, refused, floors, changed, contradictions) = {
        let piece = Piece::of_another(evidence, &table, 0);
        let known = Known::new(&piece, &before, workshop);
        let (amounts, reach) = works(&known, proposals)?;
        let drills = vec![None; amounts.len()];
        let after = After::new(&known, &amounts, &drills);
        let mut changed: Vec<(usize, f64, f64)> = Vec::new();
        for (at, place) in known.places.iter().enumerate() {
            let (value, u) = after.value(at);
            if (value - place.value).abs() > NOTHING {
                changed.push((place.dimension, value, u));
            }
        }
        for (proposal, reach) in proposals.iter().zip(&reach) {
            let place = known.place_of(proposal.dimension);
            let by_work = changed.iter().position(|c| c.0 == proposal.dimension);
            let u = match (proposal.uncertainty, by_work, place) {
                (Some(u), _, _) => u,
                (None, Some(at), _) => changed[at].2,
                (None, None, Some(place)) => place.uncertainty,
                // As the step to which it was written tells (JCGM 100:2008, F.2.2.1).
                (None, None, None) => proposal.step / 12f64.sqrt(),
            };
            let new = (proposal.dimension, proposal.value, u);
            match by_work {
                Some(at) => changed[at] = new,
                None if *reach == Reach::AsItIs => {}
                None => changed.push(new),
            }
        }
        let all = known.works.iter().zip(amounts.iter().copied());
        let done = all
            .zip(&known.refused)
            .filter(|((_, amount), _)| *amount > NOTHING);
        let (mut works, mut refused) = (Vec::new(), Vec::new());
        for ((work, amount), reason) in done {
            works.push((work.clone(), amount));
            refused.extend(reason.clone().map(|reason| (work.clone(), reason)));
        }
        let floors = after.floors();
        (reach, works, refused, floors, changed, known.contradictions)
    };
    for (dimension, value, u) in changed {
        set(&mut table, dimension, value, u);
    }
    Ok(WhatIf {
        after: check_against(evidence, &table, 0, settings),
        before,
        proposals: proposals.iter().copied().zip(reach).collect(),
        precautions: to_mind(works.iter().map(|(work, _)| work)),
        works,
        refused,
        floors,
        contradictions,
    })
}

/// mm of every work that lead to the proposed sizes, and which can be reached.
fn works(known: &Known<'_>, proposals: &[Proposal]) -> Result<(Vec<f64>, Vec<Reach>), StatsError> {
    let mut reach = vec![Reach::Unknown; proposals.len()];
    let (mut quantities, mut wants, mut asked) = (Vec::new(), Vec::new(), Vec::new());
    for (at, proposal) in proposals.iter().enumerate() {
        let Some(place) = known.place_of(proposal.dimension) else {
            continue;
        };
        let key = &known.dimension(place).key;
        let effects: Vec<f64> = known.works.iter().map(|work| work.moves(key)).collect();
        let change = proposal.value - place.value;
        let made_for = known.works.iter().zip(&effects);
        reach[at] = if change == 0.0 {
            Reach::AsItIs
        } else if effects.iter().all(|&effect| effect == 0.0) {
            Reach::NoWork
        } else if !made_for.clone().any(|(_, &effect)| effect * change > 0.0) {
            Reach::Adding
        } else {
            Reach::NotTogether
        };
        let stays = Interval {
            low: f64::NEG_INFINITY,
            high: f64::INFINITY,
        };
        if matches!(reach[at], Reach::NotTogether | Reach::AsItIs) {
            wants.push(Want {
                quantity: quantities.len(),
                reach: Interval {
                    low: proposal.value,
                    high: proposal.value,
                },
                settled: None,
            });
            asked.push(at);
            quantities.push(Quantity {
                value: place.value,
                effects,
                stay: stays,
                floor: false,
            });
        }
    }
    let costs = known.works.iter();
    let costs = costs.map(|work| cost(work.volume_rate(|size| known.size(size))));
    let found = plan(&Problem {
        costs: costs.collect(),
        free: vec![true; known.works.len()],
        quantities,
        wants,
    })?;
    for &want in &found.met {
        let at = asked[want];
        if reach[at] == Reach::NotTogether {
            reach[at] = Reach::TakingOff;
        }
    }
    Ok((found.amounts, reach))
}

/// Writes a size into a table of one row.
fn set(table: &mut Table, dimension: usize, value: f64, uncertainty: f64) {
    let column = Column {
        dimension,
        values: vec![value],
        uncertainty: Uncertainty::Each(vec![uncertainty]),
        states: Some(vec![State::Reworked]),
        finish: None,
    };
    match table.columns.iter_mut().find(|c| c.dimension == dimension) {
        Some(old) => {
            *old = Column {
                finish: old.finish.clone(),
                ..column
            }
        }
        None => table.columns.push(column),
    }
}
