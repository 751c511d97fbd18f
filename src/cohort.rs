//! The readings that may speak for a pattern's chosen periods.
//!
//! A [`Cohort`] is a view of a table: which rows belong to which pattern of which maker, when each
//! was made, and which of them are references. The readings that reach a norm leave this room as
//! [`Reference`]s; no other room can make one, so that a worn, reworked or replaced part can never
//! speak for the works.

use std::hash::Hash;
use std::sync::OnceLock;

use foldhash::{HashMap, HashMapExt as _};

use crate::catalogue::{Kind, Periods, Standing, State, fold};
use crate::stats::Rated;
use crate::table::{Column, Table, first_spellings};
use crate::{parallel, sorting};

/// Which periods' pieces to measure by.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Selection {
    /// All periods of good standing; in a source without a table of periods, every piece.
    #[default]
    Good,
    /// The periods of these names.
    Named(Vec<String>),
    /// Every period, whatever its standing; a piece of no single period is no reference.
    Every,
}

/// Whose readings may speak, and when.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Choice {
    /// The periods.
    pub periods: Selection,
    /// Let readings of unknown state speak as well.
    pub unknown_state: bool,
}

/// A choice that fits nothing.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum CohortError {
    /// A period that the source does not know.
    #[error("no period `{wanted}`; the source has: {}", if known.is_empty() { "none".to_owned() } else { known.join(", ") })]
    NoSuchPeriod {
        /// As asked for.
        wanted: String,
        /// The periods there are.
        known: Vec<String>,
    },
}

/// A period as it occurs in a source.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PeriodInUse {
    /// Its name.
    pub name: String,
    /// Its standing; `None` where the source names the period but does not define it.
    pub standing: Option<Standing>,
    /// Whether its pieces are references.
    pub chosen: bool,
}

/// A pattern of a maker.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Group {
    /// The maker's name; empty where none is given.
    pub maker: String,
    /// The pattern's name; empty where none is given.
    pub pattern: String,
    /// Names of the chosen periods that its references come from.
    pub periods: Vec<String>,
    /// How many pieces it has.
    pub pieces: usize,
    /// How many of them are of the chosen periods.
    pub references: usize,
}

/// A table seen by pattern and period.
#[derive(Debug)]
pub struct Cohort<'t> {
    table: &'t Table,
    groups: Vec<Group>,
    group_of: Vec<u32>,
    periods: Vec<PeriodInUse>,
    /// Number of each row's period; [`NO_PERIOD`] for none.
    period_of: Vec<u32>,
    identities: Vec<Identity>,
    reference: Vec<bool>,
    /// Rows of the references, by group and period, and where each group's begin.
    reference_rows: Vec<u32>,
    /// Number of each one's period, beside it because rows are far apart.
    reference_periods: Vec<u32>,
    reference_starts: Vec<u32>,
    unknown_state: bool,
    everything: bool,
    /// Rows by name, whatever its spelling; made when first asked for.
    namesakes: OnceLock<HashMap<String, Vec<usize>>>,
}

const NO_PERIOD: u32 = u32::MAX;

/// A reading that may speak for the works, on the scale of judgement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reference {
    row: u32,
    rated: Rated,
}

impl Reference {
    /// Row of its piece.
    pub fn row(&self) -> usize {
        self.row as usize
    }

    /// Its value (the logarithm of a size), standard uncertainty and period.
    pub fn rated(&self) -> Rated {
        self.rated
    }
}

impl From<Reference> for Rated {
    fn from(reference: Reference) -> Rated {
        reference.rated()
    }
}

/// A value and its standard uncertainty on the scale of judgement: the logarithm for a ratio.
pub fn on_scale(kind: Kind, value: f64, uncertainty: f64) -> (f64, f64) {
    match kind {
        Kind::Ratio => (value.ln(), uncertainty / value),
        Kind::Interval => (value, uncertainty),
    }
}

/// The way back from the scale of judgement to the unit.
pub fn from_scale(kind: Kind, x: f64) -> f64 {
    match kind {
        Kind::Ratio => x.exp(),
        Kind::Interval => x,
    }
}

/// Whether a reading of that state says what left the works.
fn speaks_for_the_works(state: State, unknown_state: bool) -> bool {
    match state {
        State::Factory => true,
        State::Unknown => unknown_state,
        State::Worn | State::Reworked | State::Replaced => false,
    }
}

impl<'t> Cohort<'t> {
    /// Sorts a table by pattern and period.
    ///
    /// # Errors
    /// [`CohortError::NoSuchPeriod`] for a named period that the source does not know.
    pub fn new(table: &'t Table, choice: &Choice) -> Result<Cohort<'t>, CohortError> {
        let (periods, identities, period_of) = assign_periods(table);
        let mut cohort = Cohort {
            table,
            groups: Vec::new(),
            group_of: Vec::new(),
            periods,
            period_of,
            identities,
            reference: Vec::new(),
            reference_rows: Vec::new(),
            reference_periods: Vec::new(),
            reference_starts: Vec::new(),
            unknown_state: choice.unknown_state,
            everything: false,
            namesakes: OnceLock::new(),
        };
        cohort.choose(&choice.periods)?;
        cohort.reference = cohort
            .period_of
            .iter()
            .map(|&p| match cohort.periods.get(p as usize) {
                Some(period) => period.chosen || cohort.everything,
                None => cohort.everything,
            })
            .collect();
        cohort.group();
        cohort.sort_references();
        Ok(cohort)
    }

    /// The same table with every period chosen, whatever its standing; its groups and periods have the
    /// same numbers.
    ///
    /// # Errors
    /// None: no period is named.
    pub fn of_every_period(&self) -> Result<Cohort<'t>, CohortError> {
        self.choosing(Selection::Every)
    }

    /// The same, with all pieces where the source has no table of periods.
    ///
    /// # Errors
    /// None: no period is named.
    pub fn of_all_pieces(&self) -> Result<Cohort<'t>, CohortError> {
        match self.table.periods.is_empty() {
            true => self.choosing(Selection::Good),
            false => self.choosing(Selection::Every),
        }
    }

    fn choosing(&self, periods: Selection) -> Result<Cohort<'t>, CohortError> {
        let choice = Choice {
            periods,
            unknown_state: self.unknown_state,
        };
        Cohort::new(self.table, &choice)
    }

    /// Marks the chosen periods.
    fn choose(&mut self, selection: &Selection) -> Result<(), CohortError> {
        match selection {
            Selection::Good => {
                self.everything = self.table.periods.is_empty();
                for period in &mut self.periods {
                    period.chosen = period.standing == Some(Standing::Good) || self.everything;
                }
            }
            Selection::Every => {
                for period in &mut self.periods {
                    period.chosen = true;
                }
            }
            Selection::Named(names) => {
                for name in names {
                    let wanted = fold(name);
                    let mut found = self
                        .table
                        .periods
                        .all()
                        .iter()
                        .any(|p| fold(&p.name) == wanted);
                    for period in self.periods.iter_mut().filter(|p| fold(&p.name) == wanted) {
                        period.chosen = true;
                        found = true;
                    }
                    if !found {
                        let mut known: Vec<String> = self
                            .table
                            .periods
                            .all()
                            .iter()
                            .map(|p| p.name.clone())
                            .collect();
                        known.extend(self.periods.iter().map(|p| p.name.clone()));
                        let mut seen = Vec::new();
                        known.retain(|name| {
                            let new = !seen.contains(name);
                            seen.push(name.clone());
                            new
                        });
                        return Err(CohortError::NoSuchPeriod {
                            wanted: name.clone(),
                            known,
                        });
                    }
                }
            }
        }
        Ok(())
    }

    /// Gives each row its pattern's number; spellings of one name are one pattern. A piece without
    /// a pattern is no reference where the source has patterns: a blank cell must not make one.
    fn group(&mut self) {
        let specimens = &self.table.specimens;
        let makers = first_spellings(&specimens.makers);
        let patterns = first_spellings(&specimens.patterns);
        let nameless: Vec<bool> = specimens
            .patterns
            .names()
            .iter()
            .map(|n| n.is_empty())
            .collect();
        let has_patterns = specimens
            .patterns
            .codes
            .iter()
            .any(|&code| !nameless[code as usize]);
        let (first_rows, group_of) = number(specimens.len(), |row| {
            (
                makers[specimens.makers.codes[row] as usize],
                patterns[specimens.patterns.codes[row] as usize],
            )
        });
        // Its references are told when they are sorted.
        let group = |&row: &usize| Group {
            maker: specimens.makers.get(row).to_owned(),
            pattern: specimens.patterns.get(row).to_owned(),
            periods: Vec::new(),
            pieces: 0,
            references: 0,
        };
        self.groups = first_rows.iter().map(group).collect();
        for (row, &number) in group_of.iter().enumerate() {
            let pattern = specimens.patterns.codes[row] as usize;
            self.reference[row] &= !(has_patterns && nameless[pattern]);
            self.groups[number as usize].pieces += 1;
        }
        self.group_of = group_of;
    }

    /// The table behind it.
    pub fn table(&self) -> &'t Table {
        self.table
    }

    /// All patterns, in order of appearance.
    pub fn groups(&self) -> &[Group] {
        &self.groups
    }

    /// Number of a row's pattern.
    pub fn group_of(&self, row: usize) -> usize {
        self.group_of[row] as usize
    }

    /// The period in which a row's piece was made, where it is known.
    pub fn period_of(&self, row: usize) -> Option<&PeriodInUse> {
        self.periods.get(self.period_of[row] as usize)
    }

    /// The periods that occur.
    pub fn periods(&self) -> &[PeriodInUse] {
        &self.periods
    }

    /// Whether every piece counts as good because the source has no table of periods.
    pub fn takes_everything(&self) -> bool {
        self.everything
    }

    /// The groups of that pattern, of that maker, in any spelling; all groups where neither is
    /// named. Sorted by maker, then pattern.
    pub fn find_groups(&self, pattern: Option<&str>, maker: Option<&str>) -> Vec<usize> {
        let (pattern, maker) = (pattern.map(fold), maker.map(fold));
        let fits = |wanted: &Option<String>, name: &str| {
            wanted.as_ref().is_none_or(|wanted| fold(name) == *wanted)
        };
        let mut found: Vec<usize> = (0..self.groups.len())
            .filter(|&g| {
                fits(&pattern, &self.groups[g].pattern) && fits(&maker, &self.groups[g].maker)
            })
            .collect();
        found.sort_by_key(|&g| (&self.groups[g].maker, &self.groups[g].pattern));
        found
    }

    /// The reading at a row of a column, if it may speak for the works.
    pub fn reference(&self, column: &Column, kind: Kind, row: usize) -> Option<Reference> {
        if !self.is_reference(column, row) {
            return None;
        }
        let period = self.period_of[row];
        Some(self.reference_of(column, kind, row, period, column.value(row)?))
    }

    /// The reading of a column that is known to speak for the works, at one of
    /// [`Cohort::all_reference_rows`].
    pub(crate) fn reference_at(
        &self,
        column: &Column,
        kind: Kind,
        at: usize,
        value: f64,
    ) -> Reference {
        let (row, period) = (self.reference_rows[at], self.reference_periods[at]);
        self.reference_of(column, kind, row as usize, period, value)
    }

    fn reference_of(
        &self,
        column: &Column,
        kind: Kind,
        row: usize,
        period: u32,
        value: f64,
    ) -> Reference {
        let (x, u) = on_scale(kind, value, column.uncertainty(row));
        let period = Some(period).filter(|&p| p != NO_PERIOD);
        Reference {
            row: row as u32,
            rated: Rated { x, u, period },
        }
    }

    /// The rows of the specimens of that name, in any spelling.
    pub fn namesakes(&self, name: &str) -> &[usize] {
        let rows = self.namesakes.get_or_init(|| {
            let mut rows: HashMap<String, Vec<usize>> = HashMap::new();
            for (row, name) in self.table.specimens.names.iter().enumerate() {
                rows.entry(fold(name)).or_default().push(row);
            }
            rows
        });
        rows.get(&fold(name)).map_or(&[], Vec::as_slice)
    }

    /// Whether a row's piece is of the chosen periods.
    pub fn is_chosen(&self, row: usize) -> bool {
        self.reference[row]
    }

    /// Whether the reading at a row of a column, if there is one, may speak for the works: its piece
    /// is of the chosen periods, its place as it left the works, and its value one that a real pipe
    /// can have.
    pub fn is_reference(&self, column: &Column, row: usize) -> bool {
        self.would_speak(column, row) && self.is_credible(column, row)
    }

    /// Whether it may, were it a value that a real pipe can have.
    pub(crate) fn would_speak(&self, column: &Column, row: usize) -> bool {
        self.reference[row] && self.state_speaks(column.state(row))
    }

    /// Whether a place in that state says what left the works.
    pub(crate) fn state_speaks(&self, state: State) -> bool {
        speaks_for_the_works(state, self.unknown_state)
    }

    /// The value at a row of a column, if its place is as it left the works and a real pipe can have it;
    /// of whatever period.
    pub(crate) fn as_made(&self, column: &Column, row: usize) -> Option<f64> {
        let speaks = self.state_speaks(column.state(row)) && self.is_credible(column, row);
        column.value(row).filter(|_| speaks)
    }

    fn is_credible(&self, column: &Column, row: usize) -> bool {
        self.table.dimension(column).is_credible(column.values[row])
    }

    /// Readings of a group that would speak, were they credible: slips that somebody should correct
    /// or withdraw. Rows of a column.
    pub fn not_credible(&self, column: &Column, group: usize) -> Vec<usize> {
        let rows = self.reference_rows(group).iter().map(|&row| row as usize);
        rows.filter(|&row| self.would_speak(column, row) && !self.is_credible(column, row))
            .collect()
    }

    /// The rows of a group's pieces of the chosen periods, by period, then in their order.
    pub fn reference_rows(&self, group: usize) -> &[u32] {
        &self.reference_rows[self.reference_range(group)]
    }

    /// Those of all groups, one group after the other.
    pub(crate) fn all_reference_rows(&self) -> &[u32] {
        &self.reference_rows
    }

    /// Where a group's are among those of all groups.
    pub(crate) fn reference_range(&self, group: usize) -> std::ops::Range<usize> {
        self.reference_starts[group] as usize..self.reference_starts[group + 1] as usize
    }

    /// Where the row of a piece of the chosen periods is among [`Cohort::all_reference_rows`].
    pub(crate) fn reference_place(&self, row: usize) -> Option<usize> {
        let key = |&row: &u32| (self.period_of[row as usize], row);
        let range = self.reference_range(self.group_of(row));
        let found =
            self.reference_rows[range.clone()].binary_search_by_key(&key(&(row as u32)), key);
        Some(range.start + found.ok()?)
    }

    /// Label of the period in which a row's piece was made: the one its [`Reference`]s have.
    pub fn period_label(&self, row: usize) -> Option<u32> {
        Some(self.period_of[row]).filter(|&p| p != NO_PERIOD)
    }

    /// The same for a piece of another table, by this one's periods, as a piece of that maker.
    pub fn period_label_of(&self, other: &Table, row: usize, maker: &str) -> Option<u32> {
        let (identity, _) = period_at(other, row, maker, &self.table.periods)?;
        let number = self.identities.iter().position(|i| *i == identity)?;
        Some(number as u32)
    }

    /// Name of a period by its label.
    pub fn period_name(&self, label: u32) -> &str {
        &self.periods[label as usize].name
    }

    /// Sorts the pieces of the chosen periods by group and period, and tells each group of its own.
    fn sort_references(&mut self) {
        let rows: Vec<u32> = (0..self.reference.len() as u32)
            .filter(|&row| self.reference[row as usize])
            .collect();
        // Of one period after the other, those without one last; then of one pattern after the other.
        let period_of = |row: u32| self.period_of[row as usize];
        let last = self.periods.len();
        let rows = sorting::by_key(&rows, last + 1, |row| last.min(period_of(row) as usize));
        let rows = sorting::by_key(&rows, self.groups.len(), |row| self.group_of(row as usize));
        let (periods, defined) = (&self.periods, self.table.periods.all());
        let place = |name: &String| defined.iter().position(|p| p.name == *name);
        for of_group in
            rows.chunk_by(|&a, &b| self.group_of[a as usize] == self.group_of[b as usize])
        {
            let group = &mut self.groups[self.group_of[of_group[0] as usize] as usize];
            group.references = of_group.len();
            let of_periods = of_group.chunk_by(|&a, &b| period_of(a) == period_of(b));
            let mut first: Vec<u32> = of_periods.map(|of_period| of_period[0]).collect();
            first.sort_unstable();
            for row in first {
                if let Some(period) = periods.get(period_of(row) as usize)
                    && !group.periods.contains(&period.name)
                {
                    group.periods.push(period.name.clone());
                }
            }
            // In the order in which the source defines them, else of appearance.
            group.periods.sort_by_key(|name| place(name));
        }
        self.reference_starts = vec![0; self.groups.len() + 1];
        for (group, of) in self.groups.iter().enumerate() {
            self.reference_starts[group + 1] = self.reference_starts[group] + of.references as u32;
        }
        self.reference_periods = rows.iter().map(|&row| period_of(row)).collect();
        self.reference_rows = rows;
    }
}

/// Numbers rows by their keys in order of appearance: the first row of each number, and the number of
/// each row.
fn number<K: Copy + Eq + Hash + Send>(
    rows: usize,
    key: impl Fn(usize) -> K + Sync,
) -> (Vec<usize>, Vec<u32>) {
    const SHARE: usize = 1 << 16;
    let parts = parallel::map(rows.div_ceil(SHARE), |part| {
        let from = part * SHARE;
        let mut known: HashMap<K, u32> = HashMap::new();
        let mut first: Vec<(K, usize)> = Vec::new();
        let numbers = (from..rows.min(from + SHARE)).map(|row| {
            let key = key(row);
            *known.entry(key).or_insert_with(|| {
                first.push((key, row));
                first.len() as u32 - 1
            })
        });
        let numbers: Vec<u32> = numbers.collect();
        (first, numbers)
    });
    let mut known: HashMap<K, u32> = HashMap::new();
    let (mut first_rows, mut number_of) = (Vec::new(), Vec::with_capacity(rows));
    for (first, numbers) in parts {
        let of_part = first.into_iter().map(|(key, row)| {
            *known.entry(key).or_insert_with(|| {
                first_rows.push(row);
                first_rows.len() as u32 - 1
            })
        });
        let of_part: Vec<u32> = of_part.collect();
        number_of.extend(numbers.into_iter().map(|n| of_part[n as usize]));
    }
    (first_rows, number_of)
}

/// What makes two rows' periods the same: the definition, or else the name as written. Periods of
/// two makers may share a name and not a standing.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
enum Identity {
    Defined(usize),
    Written(String),
}

/// The periods that occur in a table with what makes each the same, and the number of each row's.
fn assign_periods(table: &Table) -> (Vec<PeriodInUse>, Vec<Identity>, Vec<u32>) {
    let specimens = &table.specimens;
    let mut in_use: Vec<PeriodInUse> = Vec::new();
    let mut identities: Vec<Identity> = Vec::new();
    let mut numbers: HashMap<Identity, u32> = HashMap::new();
    let (first_rows, keys) = number(specimens.len(), |row| {
        let (maker, period) = (specimens.makers.codes[row], specimens.periods.codes[row]);
        (maker, period, specimens.made[row])
    });
    let of_key =
        |&row: &usize| match period_at(table, row, specimens.makers.get(row), &table.periods) {
            None => NO_PERIOD,
            Some((identity, period)) => *numbers.entry(identity.clone()).or_insert_with(|| {
                in_use.push(period);
                identities.push(identity);
                in_use.len() as u32 - 1
            }),
        };
    let of_keys: Vec<u32> = first_rows.iter().map(of_key).collect();
    let of = keys.iter().map(|&key| of_keys[key as usize]).collect();
    (in_use, identities, of)
}

/// The period of one row by a table of periods: as written, else by its years.
fn period_at(
    table: &Table,
    row: usize,
    maker: &str,
    periods: &Periods,
) -> Option<(Identity, PeriodInUse)> {
    let specimens = &table.specimens;
    let written = specimens.periods.get(row);
    let defined = if written.is_empty() {
        Some(periods.holding(maker, specimens.made[row]?)?)
    } else {
        periods.named(maker, written)
    };
    Some(match defined {
        Some(at) => {
            let period = &periods.all()[at];
            let (name, standing) = (period.name.clone(), Some(period.standing));
            (
                Identity::Defined(at),
                PeriodInUse {
                    name,
                    standing,
                    chosen: false,
                },
            )
        }
        None => {
            let name = written.to_owned();
            (
                Identity::Written(fold(written)),
                PeriodInUse {
                    name,
                    standing: None,
                    chosen: false,
                },
            )
        }
    })
}
