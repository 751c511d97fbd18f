//! Norms and verdicts of one revision beside those of another.
//!
//! # Order of the decomposition
//! A norm is made of the pattern's own references and of what is known beforehand: the spread that the
//! maker's other patterns lend and the period share, which all patterns teach together. First the new
//! references are put in, with what was known beforehand left as it was: `own`. Then what is known
//! beforehand is made new as well: `after`. A limit's movement `after - before` is so the sum of
//! `own - before` and `after - own`. Where nothing is borrowed, all of it is the pattern's own.
//!
//! # One piece alone
//! All stays as it is after, but that piece is put back as it was before. What the limit has moved
//! from there is the piece's doing. These parts need not add up: pieces that are alike vouch for each
//! other in the screening, and a spread is no sum.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::fmt;

use super::{Limit, Limits, limits, rated};
use crate::catalogue::{Dimension, Standing as PeriodStanding, State, fold};
use crate::cohort::{Cohort, Group, Reference};
use crate::norm::{Beforehand, Evidence, Settings};
use crate::parallel;
use crate::stats::{Prior, Rated, StatsError};
use crate::table::Column;
use crate::verdict::{DimensionCheck, Flag, Verdict, check_dimensions, flag};

/// Effects of so many changed pieces are told, each alone: those that stand farthest from the earlier
/// centre.
const PIECES_ALONE: usize = 20;

/// One norm at two revisions.
#[derive(Clone, Debug, PartialEq)]
pub struct Movement {
    /// Maker, as spelt now; empty where none is given.
    pub maker: String,
    /// Pattern, likewise.
    pub pattern: String,
    /// What is measured.
    pub dimension: Dimension,
    /// The finish of its pieces, for a dimension that depends on it.
    pub finish: Option<String>,
    /// The norm as it was; `None` where there was none.
    pub before: Option<Limits>,
    /// The norm as it is; `None` where it is gone.
    pub after: Option<Limits>,
    /// The norm of the references as they are and of what was known beforehand as it was.
    pub own: Option<Limits>,
    /// The pieces whose voice in it has changed, those first that alone moved it farthest.
    pub changes: Vec<PieceChange>,
}

impl Movement {
    /// How far a limit moved, in the unit; `None` where it was not there on both sides.
    pub fn moved(&self, limit: Limit) -> Option<f64> {
        self.before.as_ref()?.distance(limit, self.value(limit))
    }

    /// The same in spreads of the norm as it was, on the scale of judgement.
    pub fn moved_in_spreads(&self, limit: Limit) -> Option<f64> {
        let before = self.before.as_ref()?;
        before.distance_in_spreads(limit, self.value(limit))
    }

    /// How far it moved by the pattern's own references, in the unit.
    pub fn own_part(&self, limit: Limit) -> Option<f64> {
        let own = self.own.as_ref()?.get(limit);
        self.before.as_ref()?.distance(limit, own)
    }

    /// How far it moved by what is known beforehand; with the own part it makes up the whole.
    pub fn other_part(&self, limit: Limit) -> Option<f64> {
        Some(self.moved(limit)? - self.own_part(limit)?)
    }

    fn value(&self, limit: Limit) -> Option<f64> {
        self.after.as_ref()?.get(limit)
    }
}

/// A piece whose voice in a norm has changed.
#[derive(Clone, Debug, PartialEq)]
pub struct PieceChange {
    /// Its name.
    pub specimen: String,
    /// What happened to it.
    pub change: Change,
    /// How far it alone moved the centre and the two limits of the typical range
    /// ([`Limit::TYPICAL`]), in the unit; `None` where that was not worked out.
    pub alone: Option<[Option<f64>; 3]>,
}

impl PieceChange {
    /// The farthest that it alone moved any of the three.
    pub fn farthest(&self) -> Option<f64> {
        let moved = self.alone.iter().flatten().flatten();
        moved.copied().map(f64::abs).reduce(f64::max)
    }
}

/// What happened to a piece's voice in a norm.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Change {
    /// The piece is new.
    NewPiece,
    /// A known piece has a reading now.
    ReadingCame,
    /// Its reading was withdrawn.
    ReadingWent,
    /// It reads otherwise: corrected, or measured once more.
    Value {
        /// As it read.
        before: f64,
        /// As it reads.
        after: f64,
    },
    /// The state of its reading is another.
    State {
        /// As it was.
        before: State,
        /// As it is.
        after: State,
    },
    /// It is filed under another pattern or maker.
    Pattern {
        /// Pattern and maker as they were.
        before: String,
        /// As they are.
        after: String,
    },
    /// It has another finish.
    Finish {
        /// As it was.
        before: String,
        /// As it is.
        after: String,
    },
    /// It was made in another period; a name is empty where no single period is known.
    Period {
        /// As it was.
        before: String,
        /// As it is.
        after: String,
    },
    /// Its period has another standing, or periods have one only now.
    Standing {
        /// The period; empty where no single one is known.
        period: String,
        /// As it was; `None` where none was known.
        before: Option<PeriodStanding>,
        /// As it is.
        after: Option<PeriodStanding>,
    },
    /// Its reading is known more, or less, finely.
    Uncertainty {
        /// Standard uncertainty as it was, in the unit.
        before: f64,
        /// As it is.
        after: f64,
    },
}

impl Change {
    /// The name for scripts.
    pub fn name(&self) -> &'static str {
        match self {
            Change::NewPiece => "new_piece",
            Change::ReadingCame => "reading_came",
            Change::ReadingWent => "reading_went",
            Change::Value { .. } => "value",
            Change::State { .. } => "state",
            Change::Pattern { .. } => "pattern",
            Change::Finish { .. } => "finish",
            Change::Period { .. } => "period",
            Change::Standing { .. } => "standing",
            Change::Uncertainty { .. } => "uncertainty",
        }
    }
}

impl fmt::Display for Change {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let or_none = |name: &str| match name.is_empty() {
            true => "none".to_owned(),
            false => name.to_owned(),
        };
        match self {
            Change::NewPiece => f.write_str("new piece"),
            Change::ReadingCame => f.write_str("reading came"),
            Change::ReadingWent => f.write_str("reading went"),
            // As many digits as tell it, not the rounding of a mean.
            Change::Value { before, after } => {
                let tidy = |value: &f64| (value * 1e4).round() / 1e4;
                write!(f, "{} -> {}", tidy(before), tidy(after))
            }
            Change::State { before, after } => {
                write!(f, "state {} -> {}", before.name(), after.name())
            }
            Change::Pattern { before, after } => write!(f, "{before} -> {after}"),
            Change::Finish { before, after } => {
                write!(f, "finish {} -> {}", or_none(before), or_none(after))
            }
            Change::Period { before, after } => {
                write!(f, "period {} -> {}", or_none(before), or_none(after))
            }
            Change::Standing {
                period,
                before,
                after,
            } => {
                let name =
                    |standing: &Option<PeriodStanding>| standing.map_or("none", |s| s.name());
                match period.is_empty() {
                    true => {
                        f.write_str("of no known period, and periods have a standing otherwise")
                    }
                    false => write!(
                        f,
                        "standing of {period} {} -> {}",
                        name(before),
                        name(after)
                    ),
                }
            }
            Change::Uncertainty { before, after } => {
                // Two digits that mean something, however small.
                let two = |value: f64| {
                    let decimals = 1.0 - value.abs().log10().floor();
                    let decimals = if decimals.is_finite() { decimals } else { 0.0 };
                    format!("{value:.*}", decimals.clamp(0.0, 9.0) as usize)
                };
                write!(f, "uncertainty {} -> {}", two(*before), two(*after))
            }
        }
    }
}

/// Maker and pattern in one spelling.
type PatternKey = (String, String);

fn pattern_key(group: &Group) -> PatternKey {
    (fold(&group.maker), fold(&group.pattern))
}

/// Every norm of some patterns at either revision, by maker and pattern, then in the order of the
/// catalogue; those that did not move included. `wanted` says of which patterns.
///
/// # Errors
/// [`StatsError`] for readings beyond what an `f64` can describe.
pub fn moved(
    before: &Evidence<'_>,
    after: &Evidence<'_>,
    wanted: impl Fn(&Group) -> bool,
    settings: &Settings,
) -> Result<Vec<Movement>, StatsError> {
    let sides = [Side::new(before, &wanted), Side::new(after, &wanted)];
    let mut keys: BTreeSet<&PatternKey> = sides[0].groups.keys().collect();
    keys.extend(sides[1].groups.keys());
    let keys: Vec<&PatternKey> = keys.into_iter().collect();
    let of_keys = parallel::map(keys.len(), |at| of_pattern(&sides, keys[at], settings));
    let mut all = Vec::new();
    for of_key in of_keys {
        all.extend(of_key?);
    }
    Ok(all)
}

/// One revision.
struct Side<'a> {
    evidence: &'a Evidence<'a>,
    cohort: &'a Cohort<'a>,
    groups: BTreeMap<PatternKey, usize>,
    rows: HashMap<&'a str, usize>,
    /// Every column by its name, in the order of the catalogue.
    columns: Vec<(ColumnName, usize)>,
}

/// Key of the dimension, and finish in one spelling: the numbers of two catalogues need not be the
/// same.
type ColumnName = (String, Option<String>);

impl<'a> Side<'a> {
    fn new(evidence: &'a Evidence<'a>, wanted: impl Fn(&Group) -> bool) -> Side<'a> {
        let cohort = evidence.cohort();
        let groups = cohort.groups().iter().enumerate();
        let table = cohort.table();
        let mut columns: Vec<usize> = (0..table.columns.len()).collect();
        columns.sort_by_key(|&at| table.columns[at].dimension);
        let named = |at: usize| {
            let of = &table.columns[at];
            let finish = of.finish.as_deref().map(fold);
            ((table.dimension(of).key.clone(), finish), at)
        };
        Side {
            evidence,
            cohort,
            groups: groups
                .filter(|(_, group)| wanted(group))
                .map(|(at, group)| (pattern_key(group), at))
                .collect(),
            rows: rows(cohort),
            columns: columns.into_iter().map(named).collect(),
        }
    }

    fn name(&self, row: usize) -> &'a str {
        self.cohort.table().specimens.names.get(row)
    }

    fn column(&self, name: &ColumnName) -> Option<usize> {
        let mut columns = self.columns.iter();
        columns.find(|(of, _)| of == name).map(|(_, at)| *at)
    }
}

fn rows<'a>(cohort: &'a Cohort<'_>) -> HashMap<&'a str, usize> {
    cohort.table().specimens.names.iter().zip(0..).collect()
}

/// What one side says of one norm.
struct Says {
    column: usize,
    references: Vec<Reference>,
    prior: Prior,
}

fn of_pattern(
    sides: &[Side<'_>; 2],
    key: &PatternKey,
    settings: &Settings,
) -> Result<Vec<Movement>, StatsError> {
    let groups = [0, 1].map(|s| sides[s].groups.get(key).copied());
    let known = [0, 1].map(|s| groups[s].map(|g| Beforehand::new(sides[s].evidence, g, &[])));
    let mut order: Vec<&ColumnName> = Vec::new();
    for (name, _) in sides[1].columns.iter().chain(&sides[0].columns) {
        if !order.contains(&name) {
            order.push(name);
        }
    }
    let mut movements = Vec::new();
    for name in order {
        let says = [0, 1].map(|s| -> Option<Says> {
            let (column, known) = (sides[s].column(name)?, known[s].as_ref()?);
            Some(Says {
                column,
                references: sides[s].evidence.references(column, groups[s]?, &[]),
                prior: known.prior(column),
            })
        });
        movements.extend(of_norm(sides, groups, &says, settings)?);
    }
    Ok(movements)
}

/// One norm; `None` where neither side has a reference.
fn of_norm(
    sides: &[Side<'_>; 2],
    groups: [Option<usize>; 2],
    says: &[Option<Says>; 2],
    settings: &Settings,
) -> Result<Option<Movement>, StatsError> {
    let Some((side, of)) = [1, 0]
        .into_iter()
        .find_map(|s| Some((s, says[s].as_ref()?)))
    else {
        return Ok(None);
    };
    let table = sides[side].cohort.table();
    let column = &table.columns[of.column];
    let dimension = table.dimension(column);
    let kind = dimension.kind;
    let make = |readings: &[Rated], prior: &Prior, tolerance: bool| {
        limits(readings, prior, kind, settings, tolerance)
    };
    let whole = |of: &Option<Says>| match of {
        Some(of) => make(&rated(&of.references), &of.prior, true),
        None => Ok(None),
    };
    let (before, after) = (whole(&says[0])?, whole(&says[1])?);
    if before.is_none() && after.is_none() {
        return Ok(None);
    }
    let own = match (&says[0], &says[1]) {
        _ if before.is_none() || after.is_none() => None,
        // What is known beforehand comes from the pattern alone.
        _ if sides[1].evidence.borrowing().nothing => after,
        (Some(old), Some(new)) => make(&rated(&new.references), &old.prior, true)?,
        _ => None,
    };
    let mut changes = changes(sides, says);
    if let (Some(before), Some(after), Some(new)) = (&before, &after, &says[1]) {
        alone(sides, &mut changes, before, new, |left: &[Rated]| {
            let without = make(left, &new.prior, false)?;
            Ok(without.map(|without| {
                Limit::TYPICAL.map(|limit| without.distance(limit, after.get(limit)))
            }))
        })?;
    }
    let group = groups[side].map(|group| &sides[side].cohort.groups()[group]);
    Ok(group.map(|group| Movement {
        maker: group.maker.clone(),
        pattern: group.pattern.clone(),
        dimension: dimension.clone(),
        finish: column.finish.clone(),
        before,
        after,
        own,
        changes: changes.into_iter().map(|of| of.told).collect(),
    }))
}

/// A changed piece with its voices.
struct Changed {
    told: PieceChange,
    before: Option<Reference>,
    after: Option<Reference>,
}

/// The pieces whose voice is not the same on both sides, by name.
fn changes(sides: &[Side<'_>; 2], says: &[Option<Says>; 2]) -> Vec<Changed> {
    let mut voices: BTreeMap<&str, [Option<Reference>; 2]> = BTreeMap::new();
    for (s, of) in says.iter().enumerate() {
        for reference in of.iter().flat_map(|of| &of.references) {
            voices.entry(sides[s].name(reference.row())).or_default()[s] = Some(*reference);
        }
    }
    let columns = [0, 1].map(|s| {
        let column = says[s].as_ref().map(|of| of.column)?;
        Some(&sides[s].cohort.table().columns[column])
    });
    let period = |s: usize, of: &Reference| {
        let label = of.rated().period?;
        Some(fold(sides[s].cohort.period_name(label)))
    };
    let same = |of: &[Option<Reference>; 2]| match of {
        [Some(a), Some(b)] => {
            let (x, y) = (a.rated(), b.rated());
            x.x == y.x && x.u == y.u && period(0, a) == period(1, b)
        }
        _ => false,
    };
    let changed = voices.into_iter().filter(|(_, of)| !same(of));
    changed
        .map(|(name, [before, after])| Changed {
            told: PieceChange {
                specimen: name.to_owned(),
                change: change(sides, columns, name),
                alone: None,
            },
            before,
            after,
        })
        .collect()
}

/// What happened to a piece.
fn change(sides: &[Side<'_>; 2], columns: [Option<&Column>; 2], name: &str) -> Change {
    let [Some(old), Some(new)] = [0, 1].map(|s| sides[s].rows.get(name).copied()) else {
        return match sides[0].rows.contains_key(name) {
            true => Change::ReadingWent,
            false => Change::NewPiece,
        };
    };
    let cohorts = [sides[0].cohort, sides[1].cohort];
    let rows = [old, new];
    let filed = [0, 1].map(|s| &cohorts[s].groups()[cohorts[s].group_of(rows[s])]);
    if pattern_key(filed[0]) != pattern_key(filed[1]) {
        let [before, after] = filed.map(|group| match group.maker.is_empty() {
            true => group.pattern.clone(),
            false => format!("{} by {}", group.pattern, group.maker),
        });
        return Change::Pattern { before, after };
    }
    let finishes = [0, 1].map(|s| cohorts[s].table().specimens.finishes.get(rows[s]));
    let by_finish = columns
        .iter()
        .flatten()
        .any(|column| column.finish.is_some());
    if by_finish && fold(finishes[0]) != fold(finishes[1]) {
        let [before, after] = finishes.map(str::to_owned);
        return Change::Finish { before, after };
    }
    let values = [0, 1].map(|s| columns[s].and_then(|column| column.value(rows[s])));
    match values {
        [None, _] => return Change::ReadingCame,
        [_, None] => return Change::ReadingWent,
        [Some(before), Some(after)] if before != after => return Change::Value { before, after },
        _ => {}
    }
    let states = [0, 1].map(|s| columns[s].map(|column| column.state(rows[s])));
    if let [Some(before), Some(after)] = states
        && before != after
    {
        return Change::State { before, after };
    }
    let periods = [0, 1].map(|s| cohorts[s].period_of(rows[s]));
    let [before, after] = periods.map(|p| p.map_or(String::new(), |p| p.name.clone()));
    if fold(&before) != fold(&after) {
        return Change::Period { before, after };
    }
    if cohorts[0].is_chosen(old) != cohorts[1].is_chosen(new) {
        return Change::Standing {
            period: after,
            before: periods[0].and_then(|p| p.standing),
            after: periods[1].and_then(|p| p.standing),
        };
    }
    let [before, after] =
        [0, 1].map(|s| columns[s].map_or(0.0, |column| column.uncertainty(rows[s])));
    Change::Uncertainty { before, after }
}

/// Works out what each of the farthest pieces did alone, and puts those first that did most.
fn alone(
    sides: &[Side<'_>; 2],
    changes: &mut [Changed],
    before: &Limits,
    new: &Says,
    effect: impl Fn(&[Rated]) -> Result<Option<[Option<f64>; 3]>, StatsError>,
) -> Result<(), StatsError> {
    let centre = before.get(Limit::Centre).unwrap_or(0.0);
    let centre = crate::cohort::on_scale(before.kind, centre, 0.0).0;
    let far = |of: &Changed| {
        let voices = [of.before, of.after].into_iter().flatten();
        voices
            .map(|r| (r.rated().x - centre).abs())
            .fold(0.0, f64::max)
    };
    changes.sort_by(|a, b| far(b).total_cmp(&far(a)));
    for of in changes.iter_mut().take(PIECES_ALONE) {
        let stays = |r: &&Reference| Some(r.row()) != of.after.map(|after| after.row());
        let others = new.references.iter().filter(stays);
        let mut left: Vec<Rated> = others.map(Reference::rated).collect();
        if let Some(old) = of.before {
            let mut old = old.rated();
            old.period = old.period.map(|label| in_the_other(sides, label));
            // References come by period; the order within one does not matter.
            let at = left.partition_point(|r| place(r.period) <= place(old.period));
            left.insert(at, old);
        }
        of.told.alone = effect(&left)?;
    }
    let farthest = |of: &Changed| of.told.farthest().unwrap_or(-1.0);
    changes.sort_by(|a, b| farthest(b).total_cmp(&farthest(a)));
    Ok(())
}

/// Pieces without a period come last.
fn place(period: Option<u32>) -> u64 {
    period.map_or(u64::MAX, u64::from)
}

/// The label of an earlier period among the later ones; one of its own where there is none.
fn in_the_other(sides: &[Side<'_>; 2], label: u32) -> u32 {
    let name = fold(sides[0].cohort.period_name(label));
    let later = sides[1].cohort.periods();
    let found = later.iter().position(|p| fold(&p.name) == name);
    found.map_or(later.len() as u32 + label, |at| at as u32)
}

/// A reading that is out of norm at one of two revisions, of a piece that both have.
#[derive(Clone, Debug, PartialEq)]
pub struct Turned {
    /// The piece.
    pub specimen: String,
    /// Its maker, as filed now.
    pub maker: String,
    /// Its pattern, likewise.
    pub pattern: String,
    /// What is measured.
    pub dimension: Dimension,
    /// How it stood; `None` where it was not read, or could not be judged.
    pub before: Option<Standing>,
    /// How it stands.
    pub after: Option<Standing>,
    /// The verdict on the piece as it was.
    pub piece_before: Verdict,
    /// As it is.
    pub piece_after: Verdict,
}

/// How one reading stands to its norm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Standing {
    /// The reading, in the unit.
    pub value: f64,
    /// Two-sided probability of a deviation at least as large.
    pub p: f64,
    /// The same, adjusted for the piece's other dimensions (Holm).
    pub p_adjusted: f64,
    /// The verdict.
    pub verdict: Verdict,
}

/// The readings that were out of norm and are not, and the reverse, of pieces that both revisions
/// have, by piece in their order now; `wanted` says of which patterns, at either revision.
pub fn turned(
    before: &Evidence<'_>,
    after: &Evidence<'_>,
    wanted: impl Fn(&Group) -> bool,
    settings: &Settings,
) -> Vec<Turned> {
    let evidences = [before, after];
    let cohorts = evidences.map(Evidence::cohort);
    let rows = [rows(cohorts[0]), rows(cohorts[1])];
    // Each flag as the piece's row now, its row then, and the dimension's key.
    let flagged = [0, 1].map(|s| -> BTreeSet<(usize, usize, &str)> {
        let table = cohorts[s].table();
        let both = |flag: &Flag| {
            let name = table.specimens.names.get(flag.row);
            let (old, new) = (*rows[0].get(name)?, *rows[1].get(name)?);
            let key = table.catalogue.at(flag.dimension).key.as_str();
            let filed = |s: usize, row: usize| &cohorts[s].groups()[cohorts[s].group_of(row)];
            (wanted(filed(0, old)) || wanted(filed(1, new))).then_some((new, old, key))
        };
        flag(evidences[s], settings)
            .iter()
            .filter_map(both)
            .collect()
    });
    let turned: Vec<(usize, usize, &str)> = flagged[0]
        .symmetric_difference(&flagged[1])
        .copied()
        .collect();
    let pieces: Vec<&[(usize, usize, &str)]> = turned.chunk_by(|a, b| a.0 == b.0).collect();
    let of_pieces = parallel::map(pieces.len(), |at| {
        let (new, old, _) = pieces[at][0];
        let checks = [(before, old), (after, new)]
            .map(|(evidence, row)| check_dimensions(evidence, row, settings));
        let piece = |s: usize| Verdict::of_piece(checks[s].iter().map(|d| d.verdict));
        let specimens = &cohorts[1].table().specimens;
        let of = |&(_, _, key): &(usize, usize, &str)| {
            let sides = [0, 1].map(|s| stands(&checks[s], cohorts[s], key));
            let catalogue = &cohorts[1].table().catalogue;
            Some(Turned {
                specimen: specimens.names.get(new).to_owned(),
                maker: specimens.makers.get(new).to_owned(),
                pattern: specimens.patterns.get(new).to_owned(),
                dimension: catalogue.at(catalogue.find(key)?).clone(),
                before: sides[0],
                after: sides[1],
                piece_before: piece(0),
                piece_after: piece(1),
            })
        };
        pieces[at].iter().filter_map(of).collect::<Vec<Turned>>()
    });
    of_pieces.into_iter().flatten().collect()
}

/// How a dimension of a piece stands.
fn stands(checks: &[DimensionCheck], cohort: &Cohort<'_>, key: &str) -> Option<Standing> {
    let catalogue = &cohort.table().catalogue;
    let mut of = checks.iter();
    let of = of.find(|d| catalogue.at(d.dimension).key == key)?;
    let judged = of.judged.as_ref()?;
    Some(Standing {
        value: of.value,
        p: judged.p,
        p_adjusted: judged.p_adjusted,
        verdict: of.verdict,
    })
}
