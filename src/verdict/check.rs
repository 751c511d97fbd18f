//! One piece against its pattern's good periods, every dimension.

use super::{Caution, Verdict};
use crate::catalogue::State;
use crate::cohort::{Cohort, from_scale, on_scale};
use crate::norm::{Band, Evidence, Settings, deviation_in_unit};
use crate::stats::{Predictive, Sums, holm, references_needed};
use crate::table::{Column, Table};

/// The verdict on one piece.
#[derive(Clone, Debug, PartialEq)]
pub struct Check {
    /// Its name.
    pub specimen: String,
    /// Its maker; empty where none is given.
    pub maker: String,
    /// Its pattern; empty where none is given.
    pub pattern: String,
    /// The chosen periods that its references come from.
    pub periods: Vec<String>,
    /// The worst of its dimensions.
    pub verdict: Verdict,
    /// Every dimension that was measured, in the order of the catalogue.
    pub dimensions: Vec<DimensionCheck>,
}

/// The verdict on one dimension of one piece.
#[derive(Clone, Debug, PartialEq)]
pub struct DimensionCheck {
    /// Index in the catalogue of the piece's table.
    pub dimension: usize,
    /// The reading, in the unit.
    pub value: f64,
    /// Its standard uncertainty, in the unit.
    pub uncertainty: f64,
    /// Its state.
    pub state: State,
    /// References without the piece itself.
    pub n: usize,
    /// The label.
    pub verdict: Verdict,
    /// The numbers behind it; `None` where the references say nothing.
    pub judged: Option<Judged>,
    /// How many more references would let silence mean something; 0 = enough; `None` where the
    /// reading itself is too uncertain for any number.
    pub more_references: Option<usize>,
    /// What to bear in mind.
    pub cautions: Vec<Caution>,
}

/// The numbers behind a verdict, in the unit of the dimension where they have one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Judged {
    /// Centre of the references.
    pub centre: f64,
    /// Their spread: relative for a ratio.
    pub spread: f64,
    /// Degrees of freedom of the spread.
    pub df: f64,
    /// The band in which such a reading of a good piece falls with the settings' coverage.
    pub typical: Band,
    /// Value less centre.
    pub deviation: f64,
    /// The signed normal score.
    pub score: f64,
    /// Two-sided probability of a deviation at least as large.
    pub p: f64,
    /// The same, adjusted for the piece's other dimensions (Holm).
    pub p_adjusted: f64,
    /// 1 = as sharp as if the norm were perfectly known.
    pub sharpness: f64,
    /// The smallest true deviation that is flagged about four times in five.
    pub least_noticeable: f64,
}

/// The verdict on a piece of the cohort's own table; its own readings do not count in its norm.
pub fn check(cohort: &Cohort<'_>, evidence: &Evidence, row: usize, settings: &Settings) -> Check {
    let source = Piece {
        table: cohort.table(),
        row,
        group: Some(cohort.group_of(row)),
        own: &[row],
    };
    source.check(cohort, evidence, settings)
}

/// The verdict on a piece of another table. Where the cohort has specimens of the same name, in any
/// spelling, their readings do not count in the norm.
pub fn check_against(
    cohort: &Cohort<'_>,
    evidence: &Evidence,
    table: &Table,
    row: usize,
    settings: &Settings,
) -> Check {
    let specimens = &table.specimens;
    let maker = Some(specimens.makers.get(row)).filter(|m| !m.is_empty());
    let groups = cohort.find_groups(Some(specimens.patterns.get(row)), maker);
    // A pattern that several makers have is judged only where the piece names its maker.
    let group = groups.first().copied().filter(|_| groups.len() == 1);
    let own = cohort.namesakes(specimens.names.get(row));
    Piece {
        table,
        row,
        group,
        own,
    }
    .check(cohort, evidence, settings)
}

struct Piece<'a> {
    table: &'a Table,
    row: usize,
    group: Option<usize>,
    /// The piece's own rows in the cohort.
    own: &'a [usize],
}

impl Piece<'_> {
    fn check(&self, cohort: &Cohort<'_>, evidence: &Evidence, settings: &Settings) -> Check {
        let mut dimensions: Vec<DimensionCheck> = self
            .table
            .columns
            .iter()
            .filter(|column| column.value(self.row).is_some())
            .map(|column| self.dimension(cohort, evidence, settings, column))
            .collect();
        dimensions.sort_by_key(|d| d.dimension);
        let judged = || dimensions.iter().filter_map(|d| d.judged.as_ref());
        let adjusted = holm(&judged().map(|j| j.p).collect::<Vec<f64>>());
        let of_judged = dimensions.iter_mut().filter(|d| d.judged.is_some());
        for (check, p_adjusted) in of_judged.zip(adjusted) {
            // Enough references: the norm is sharp for this reading.
            let sharp = check.more_references == Some(0);
            if let Some(judged) = &mut check.judged {
                judged.p_adjusted = p_adjusted;
                check.verdict =
                    Verdict::of_dimension(judged.p, p_adjusted, settings.alpha(), sharp);
            }
        }
        let specimens = &self.table.specimens;
        Check {
            specimen: specimens.names.get(self.row).to_owned(),
            maker: specimens.makers.get(self.row).to_owned(),
            pattern: specimens.patterns.get(self.row).to_owned(),
            periods: self
                .group
                .map_or(Vec::new(), |g| cohort.groups()[g].periods.clone()),
            verdict: Verdict::of_piece(dimensions.iter().map(|d| d.verdict)),
            dimensions,
        }
    }

    /// The references of one dimension, without the piece itself.
    fn references(&self, cohort: &Cohort<'_>, evidence: &Evidence, dimension: usize) -> Sums {
        let Some(group) = self.group else {
            return Sums::default();
        };
        let key = &self.table.catalogue.at(dimension).key;
        let table = cohort.table();
        let Some(position) = table
            .columns
            .iter()
            .position(|c| table.dimension(c).key == *key)
        else {
            return Sums::default();
        };
        evidence.without(cohort, position, group, self.own)
    }

    /// One dimension, but for what depends on the others.
    fn dimension(
        &self,
        cohort: &Cohort<'_>,
        evidence: &Evidence,
        settings: &Settings,
        column: &Column,
    ) -> DimensionCheck {
        let known = self.table.catalogue.at(column.dimension);
        let (value, state) = (column.values[self.row], column.state(self.row));
        let uncertainty = column.uncertainty(self.row);
        let sums = self.references(cohort, evidence, column.dimension);
        let (x, u) = on_scale(known.kind, value, uncertainty);
        let mut check = DimensionCheck {
            dimension: column.dimension,
            value,
            uncertainty,
            state,
            n: sums.n(),
            verdict: Verdict::Undecided,
            judged: None,
            more_references: references_needed(sums.n(), 0.0),
            cautions: Caution::of_credibility(known, value).into_iter().collect(),
        };
        let Some(predictive) = Predictive::new(&sums) else {
            check.cautions.extend(Caution::of_state(state, known, 0.0));
            return check;
        };
        let standpoint = predictive.judge(x, u);
        let (kind, centre) = (known.kind, predictive.centre());
        check
            .cautions
            .extend(Caution::of_state(state, known, standpoint.deviation));
        if standpoint.variance > 2.0 * predictive.variance_like_references() {
            check.cautions.push(Caution::CoarseReading);
        }
        if sums.squares() == 0.0 {
            check.cautions.push(Caution::ReferencesAgree);
        }
        let least = predictive.least_noticeable(standpoint.variance);
        let half_width = predictive.half_width(standpoint.variance, settings.coverage());
        check.more_references = predictive.references_needed(u);
        check.judged = Some(Judged {
            centre: from_scale(kind, centre),
            spread: predictive.spread(),
            df: predictive.df(),
            typical: Band::about(kind, centre, half_width),
            deviation: value - from_scale(kind, centre),
            score: standpoint.z,
            p: standpoint.p,
            p_adjusted: standpoint.p,
            sharpness: predictive.sharpness(u),
            least_noticeable: deviation_in_unit(kind, centre, least),
        });
        check
    }
}
