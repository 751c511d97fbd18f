//! One piece against its pattern's good periods, every dimension.

use std::borrow::Cow;

use super::{Caution, Finish, Joint, OutlineCheck, Verdict, finish, joint, outline};
use crate::catalogue::{State, TraceKind};
use crate::cohort::{Reference, from_scale, on_scale};
use crate::norm::{
    Band, Basis, Beforehand, Evidence, Loan, SetAside, Settings, deviation_in_unit, tolerance_band,
};
use crate::stats::{Prior, Rated, StatsError, holm, references_needed};
use crate::table::{Column, Table, Trace};
use crate::traced::{Sides, sides};

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
    /// The period in which it was made, where that is one of the cohort's.
    pub period: Option<String>,
    /// The worst of its dimensions.
    pub verdict: Verdict,
    /// Every dimension that was measured, in the order of the catalogue.
    pub dimensions: Vec<DimensionCheck>,
    /// Size, shape and misfit, where enough sizes were measured on piece and references.
    pub joint: Option<Joint>,
    /// Its colour as a whole, where piece and references have one.
    pub finish: Option<Finish>,
    /// Its traced outlines, where references were traced as well.
    pub outlines: Vec<OutlineCheck>,
    /// Features of its traced outlines that have no band to be compared with.
    pub outlines_not_compared: Vec<String>,
    /// Its traced sections in which a number of sides stands out; no verdict, as some patterns have
    /// sides.
    pub sides: Vec<Sides>,
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
    /// References that speak, the piece itself left out.
    pub n: usize,
    /// References set aside because they are unlike their fellows.
    pub set_aside: Vec<SetAside>,
    /// Whether those that speak disagree all the same.
    pub disagree: bool,
    /// What the maker's other patterns lend.
    pub loan: Option<Loan>,
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
    /// Whether references of the piece's own period say more than the others.
    pub dated: bool,
    /// The band in which such a reading of a good piece falls with the settings' coverage.
    pub typical: Band,
    /// The band in which a good piece itself, not a reading of it, falls with that coverage.
    pub good_sizes: Band,
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
pub fn check(evidence: &Evidence<'_>, row: usize, settings: &Settings) -> Check {
    Piece::of_cohort(evidence, row).check(settings)
}

/// The verdicts on the dimensions alone of a piece of the cohort's own table: size and shape, colours
/// as a whole and outlines take much longer.
pub(crate) fn check_dimensions(
    evidence: &Evidence<'_>,
    row: usize,
    settings: &Settings,
) -> Vec<DimensionCheck> {
    let piece = Piece::of_cohort(evidence, row);
    piece.dimensions(piece.known().as_ref(), settings)
}

/// The verdict on a piece of another table. Where the cohort has specimens of the same name, in any
/// spelling, their readings do not count in the norm.
pub fn check_against(
    evidence: &Evidence<'_>,
    table: &Table,
    row: usize,
    settings: &Settings,
) -> Check {
    Piece::of_another(evidence, table, row).check(settings)
}

/// Tolerance bands of the dimensions of a piece of the cohort's own table that are judged, in the unit: each
/// holds at least the settings' coverage of all good pieces, with their confidence. By index in the
/// catalogue; the piece's own readings do not count.
///
/// # Errors
/// [`StatsError`] for what an `f64` cannot describe.
pub fn tolerances(
    evidence: &Evidence<'_>,
    row: usize,
    settings: &Settings,
) -> Result<Vec<(usize, Band)>, StatsError> {
    Piece::of_cohort(evidence, row).tolerances(settings)
}

/// The same for a piece of another table.
///
/// # Errors
/// [`StatsError`] for what an `f64` cannot describe.
pub fn tolerances_against(
    evidence: &Evidence<'_>,
    table: &Table,
    row: usize,
    settings: &Settings,
) -> Result<Vec<(usize, Band)>, StatsError> {
    Piece::of_another(evidence, table, row).tolerances(settings)
}

/// The references of each measured dimension of the piece at a row of the cohort's table, by the
/// dimension's number: their readings in the unit, those that were set aside included.
pub fn references(evidence: &Evidence<'_>, row: usize) -> Vec<(usize, Vec<f64>)> {
    Piece::of_cohort(evidence, row).all_references()
}

/// The same for a piece of another table, as of [`check_against`].
pub fn references_against(
    evidence: &Evidence<'_>,
    table: &Table,
    row: usize,
) -> Vec<(usize, Vec<f64>)> {
    Piece::of_another(evidence, table, row).all_references()
}

/// A piece to be judged.
pub(crate) struct Piece<'a> {
    pub(crate) evidence: &'a Evidence<'a>,
    pub(crate) table: &'a Table,
    pub(crate) row: usize,
    pub(crate) group: Option<usize>,
    /// The piece's own rows in the cohort.
    pub(crate) own: Cow<'a, [usize]>,
    /// Label of its period, by the cohort's periods.
    pub(crate) period: Option<u32>,
}

impl<'a> Piece<'a> {
    pub(crate) fn of_cohort(evidence: &'a Evidence<'a>, row: usize) -> Piece<'a> {
        let cohort = evidence.cohort();
        Piece {
            evidence,
            table: cohort.table(),
            row,
            group: Some(cohort.group_of(row)),
            own: Cow::Owned(vec![row]),
            period: cohort.period_label(row),
        }
    }

    pub(crate) fn of_another(
        evidence: &'a Evidence<'a>,
        table: &'a Table,
        row: usize,
    ) -> Piece<'a> {
        let cohort = evidence.cohort();
        let specimens = &table.specimens;
        let maker = Some(specimens.makers.get(row)).filter(|m| !m.is_empty());
        let groups = cohort.find_groups(Some(specimens.patterns.get(row)), maker);
        // A pattern that several makers have is judged only where the piece names its maker.
        let group = groups.first().copied().filter(|_| groups.len() == 1);
        // A piece of an unnamed maker is one of the maker who has its pattern.
        let maker = group.map_or("", |group| cohort.groups()[group].maker.as_str());
        Piece {
            evidence,
            table,
            row,
            group,
            own: Cow::Borrowed(cohort.namesakes(specimens.names.get(row))),
            period: cohort.period_label_of(table, row, maker),
        }
    }

    pub(super) fn check(&self, settings: &Settings) -> Check {
        let known = self.known();
        let dimensions = self.dimensions(known.as_ref(), settings);
        let outlines = known
            .as_ref()
            .map_or(Vec::new(), |known| outline::outlines(self, known, settings));
        let specimens = &self.table.specimens;
        Check {
            specimen: specimens.names.get(self.row).to_owned(),
            maker: specimens.makers.get(self.row).to_owned(),
            pattern: specimens.patterns.get(self.row).to_owned(),
            periods: self.periods_of_references(),
            period: self
                .period
                .map(|label| self.evidence.cohort().period_name(label).to_owned()),
            verdict: Verdict::of_piece(dimensions.iter().map(|d| d.verdict)),
            dimensions,
            joint: known
                .as_ref()
                .and_then(|known| joint::joint(self, known, settings)),
            finish: known
                .as_ref()
                .and_then(|known| finish::finish(self, known, settings)),
            outlines_not_compared: self.not_compared(&outlines),
            outlines,
            sides: self.traces().filter_map(sides).collect(),
        }
    }

    /// What is known beforehand, where its pattern is.
    fn known(&self) -> Option<Beforehand<'a>> {
        self.group
            .map(|group| Beforehand::new(self.evidence, group, &self.own))
    }

    /// The verdicts on its dimensions, in the order of the catalogue.
    fn dimensions(
        &self,
        known: Option<&Beforehand<'_>>,
        settings: &Settings,
    ) -> Vec<DimensionCheck> {
        let mut dimensions: Vec<DimensionCheck> = self
            .measured()
            .map(|column| self.dimension(known, settings, column))
            .collect();
        dimensions.sort_by_key(|d| d.dimension);
        let judged = || dimensions.iter().filter_map(|d| d.judged.as_ref());
        let adjusted = holm(&judged().map(|j| j.p).collect::<Vec<f64>>());
        let of_judged = dimensions.iter_mut().filter(|d| d.judged.is_some());
        for (check, p_adjusted) in of_judged.zip(adjusted) {
            let key = &self.table.catalogue.at(check.dimension).key;
            if let Some(judged) = &mut check.judged {
                judged.p_adjusted = p_adjusted;
                let sharp = match settings.matters(key) {
                    Some(deviation) => judged.least_noticeable <= deviation,
                    None => check.more_references == Some(0),
                };
                // Whether silence means something.
                let tells = sharp && !check.disagree;
                check.verdict =
                    Verdict::of_dimension(judged.p, p_adjusted, settings.alpha(), tells);
            }
        }
        dimensions
    }

    /// See [`tolerances`].
    fn tolerances(&self, settings: &Settings) -> Result<Vec<(usize, Band)>, StatsError> {
        let known = self.known();
        let band = |column: &Column| {
            let predictive = self.basis(known.as_ref(), column).predictive?;
            let kind = self.table.dimension(column).kind;
            Some(tolerance_band(&predictive, kind, settings).map(|band| (column.dimension, band)))
        };
        self.measured().filter_map(band).collect()
    }

    /// What was traced of it.
    pub(crate) fn traces(&self) -> impl Iterator<Item = &'a Trace> {
        let name = self.table.specimens.names.get(self.row);
        self.table.traces.iter().filter(move |t| t.specimen == name)
    }

    /// Its traced outlines that are not among those judged.
    fn not_compared(&self, judged: &[OutlineCheck]) -> Vec<String> {
        let mut features: Vec<String> = Vec::new();
        let outlines = self.traces().map(|trace| &trace.feature);
        for name in outlines.filter(|name| name.feature.kind == TraceKind::Outline) {
            let key = name.to_string();
            if !judged.iter().any(|o| o.feature == key) && !features.contains(&key) {
                features.push(key);
            }
        }
        features
    }

    /// Names of the periods of the pattern's pieces that may speak, the piece itself left out.
    fn periods_of_references(&self) -> Vec<String> {
        let (cohort, Some(group)) = (self.evidence.cohort(), self.group) else {
            return Vec::new();
        };
        let rows = cohort.reference_rows(group).iter().map(|&row| row as usize);
        let others: Vec<u32> = rows
            .filter(|row| !self.own.contains(row))
            .filter_map(|row| cohort.period_label(row))
            .collect();
        let left = |name: &&String| others.iter().any(|&p| cohort.period_name(p) == **name);
        let all = cohort.groups()[group].periods.iter();
        all.filter(left).cloned().collect()
    }

    /// Position in the cohort's table of a column of the piece's table: the same dimension, of the
    /// same finish where it is one of colour.
    pub(crate) fn position(&self, column: &Column) -> Option<usize> {
        let table = self.evidence.cohort().table();
        let key = &self.table.dimension(column).key;
        table
            .columns
            .iter()
            .position(|c| table.dimension(c).key == *key && c.is_of_finish_of(column))
    }

    /// The piece's reading on the scale of judgement.
    pub(crate) fn rated(&self, column: &Column) -> Rated {
        let kind = self.table.dimension(column).kind;
        let value = column.values[self.row];
        let (x, u) = on_scale(kind, value, column.uncertainty(self.row));
        let period = self.period;
        Rated { x, u, period }
    }

    /// The columns in which it has a reading.
    pub(crate) fn measured(&self) -> impl Iterator<Item = &'a Column> {
        let (table, row) = (self.table, self.row);
        let columns = table.columns.iter();
        columns.filter(move |column| column.value(row).is_some())
    }

    /// The references of a column, the piece left out, and the column's position in the cohort's table;
    /// `None` where the cohort knows the dimension or the pattern not at all.
    pub(crate) fn references(&self, column: &Column) -> Option<(usize, Vec<Reference>)> {
        let (position, group) = self.position(column).zip(self.group)?;
        Some((
            position,
            self.evidence.references(position, group, &self.own),
        ))
    }

    /// See [`references`].
    fn all_references(&self) -> Vec<(usize, Vec<f64>)> {
        let columns = &self.evidence.cohort().table().columns;
        let of_column = |column: &Column| {
            let (position, references) = self.references(column)?;
            let values = references.iter().map(|r| columns[position].values[r.row()]);
            Some((column.dimension, values.collect()))
        };
        self.measured().filter_map(of_column).collect()
    }

    /// The references of a column, screened, the piece left out.
    pub(crate) fn basis(&self, known: Option<&Beforehand<'_>>, column: &Column) -> Basis {
        match self.references(column).zip(known) {
            Some(((position, references), known)) => Basis::new(references, known.prior(position)),
            None => Basis::new(Vec::new(), Prior::none(0.0)),
        }
    }

    /// One dimension, but for what depends on the others.
    fn dimension(
        &self,
        known: Option<&Beforehand<'_>>,
        settings: &Settings,
        column: &Column,
    ) -> DimensionCheck {
        let dimension = self.table.dimension(column);
        let (value, state) = (column.values[self.row], column.state(self.row));
        let basis = self.basis(known, column);
        let Rated { x, u, period } = self.rated(column);
        let mut check = DimensionCheck {
            dimension: column.dimension,
            value,
            uncertainty: column.uncertainty(self.row),
            state,
            n: basis.kept.len(),
            disagree: basis.disagree,
            loan: known
                .zip(self.position(column))
                .and_then(|(known, at)| known.loan(at)),
            verdict: Verdict::Undecided,
            judged: None,
            more_references: references_needed(
                basis.kept.len(),
                &basis.prior,
                basis.prior.relative(u),
            ),
            cautions: Caution::of_credibility(dimension, value)
                .into_iter()
                .collect(),
            set_aside: basis.set_aside.clone(),
        };
        if !check.set_aside.is_empty() {
            check.cautions.push(Caution::ReferencesSetAside {
                count: check.set_aside.len(),
            });
        }
        if check.disagree {
            check.cautions.push(Caution::ReferencesDisagree);
        }
        let usual = basis.usual_uncertainty();
        let Some(undated) = basis.predictive else {
            check
                .cautions
                .extend(Caution::of_state(state, dimension, 0.0));
            return check;
        };
        if basis.prior.df == 0.0 && undated.sums().q == 0.0 {
            check.cautions.push(Caution::ReferencesAgree);
        }
        let dated = undated.sums().period(period).is_some();
        let predictive = undated.dated(period);
        check.more_references = predictive.references_needed(u);
        let standpoint = predictive.judge(x, u);
        check
            .cautions
            .extend(Caution::of_state(state, dimension, standpoint.deviation));
        // A relative uncertainty is large where a form error is small, however fine the reading.
        let small = dimension.is_form_error() && standpoint.deviation < 0.0;
        if small && standpoint.p <= settings.alpha() {
            check.cautions.push(Caution::SmallFormError);
        }
        if !small && standpoint.variance > 2.0 * predictive.variance(usual) {
            check.cautions.push(Caution::CoarseReading);
        }
        let (kind, centre) = (dimension.kind, predictive.centre());
        let least = predictive.least_noticeable(standpoint.variance);
        let band = |variance| {
            let half_width = predictive.half_width(variance, settings.coverage());
            Band::about(kind, centre, half_width)
        };
        check.judged = Some(Judged {
            centre: from_scale(kind, centre),
            spread: predictive.spread(),
            df: predictive.df(),
            dated,
            typical: band(standpoint.variance),
            good_sizes: band(predictive.true_size_variance()),
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
