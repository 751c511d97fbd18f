//! Which periods a piece resembles, by its dimensions alone.
//!
//! Every period of the piece's maker is a candidate, whatever its standing. The piece is judged as
//! one of each in turn, as if it were not in the collection; how likely its readings are under each,
//! times the prior, is the share of that period. Dimensions alone neither date nor authenticate a
//! piece.

use std::collections::HashMap;
use std::fmt;

use crate::catalogue::{Standing, State, YearRange, fold};
use crate::cohort::from_scale;
use crate::norm::{Basis, Beforehand, Evidence, Settings};
use crate::notation::{Quantity, Unit};
use crate::stats::{
    Copula, GroupLikelihood, PairedResiduals, PeriodShare, Prior, Rated, ShareEvidence, Standpoint,
    holm, posterior, shares_by_dimension,
};
use crate::table::{Column, Slip, Table};
use crate::verdict::Piece;

/// A period is named where its share is at least this.
pub const DECIDED: f64 = 0.9;

/// How likely each period is before any dimension speaks.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum Weighing {
    /// All alike.
    #[default]
    Equal,
    /// By the number of the maker's pieces known of each, and one: a period of which no piece is
    /// known is not ruled out (the rule of succession).
    Known,
    /// By numbers over 0, say of pieces made; a period that is not named is ruled out.
    Numbers(Vec<(String, f64)>),
}

/// What a dating goes by.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Grounds {
    /// How likely each period is beforehand.
    pub weighing: Weighing,
    /// Let colours of the finish speak as well: a piece that was refinished misleads then.
    pub colours: bool,
}

/// Which periods one piece resembles.
#[derive(Clone, Debug, PartialEq)]
pub struct Dating {
    /// Its name.
    pub specimen: String,
    /// Its maker; empty where none is given.
    pub maker: String,
    /// Its pattern; empty where none is given.
    pub pattern: String,
    /// Name of the period in which it was made by its date on record, which is not used.
    pub recorded: Option<String>,
    /// The maker's periods, in order of time; those without years last.
    pub candidates: Vec<Candidate>,
    /// The answer.
    pub answer: Answer,
    /// The dimensions that spoke, in the order of the catalogue.
    pub dimensions: Vec<DimensionSays>,
    /// Of each candidate what all dimensions say together beyond what each says by itself, a
    /// logarithm.
    pub together: Vec<f64>,
    /// The readings that did not speak.
    pub left_out: Vec<LeftOut>,
    /// References set aside because unlike their fellows: how many, over all dimensions.
    pub set_aside: usize,
}

/// A period in question.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidate {
    /// Its name.
    pub name: String,
    /// Its years, where the source defines them.
    pub years: Option<YearRange>,
    /// Its standing, where the source defines it.
    pub standing: Option<Standing>,
    /// Pieces of this pattern that speak for it, the piece itself left out; with none it is as likely
    /// as a stranger.
    pub references: usize,
    /// Its share beforehand.
    pub prior: f64,
    /// Its share by the dimensions.
    pub posterior: f64,
    /// Logarithm of how likely the piece is under it, but for what all candidates share.
    pub ln_likelihood: f64,
    /// The piece's least p under it, adjusted for the number of dimensions (Holm).
    pub fits_p: f64,
    /// The share that a piece at its very centre would reach with equal prior; `None` for one without
    /// references, or far down a long list.
    pub typical: Option<f64>,
}

/// What the dimensions say.
#[derive(Clone, Debug, PartialEq)]
pub enum Answer {
    /// One period has a share of [`DECIDED`] or more; its place among the candidates.
    Period(usize),
    /// None has.
    Undecided,
    /// None has, nor would a typical piece of any period: they do not differ enough. Not told where
    /// the periods are not alike beforehand.
    TooAlike,
    /// Under every period the piece is out of norm.
    FitsNone,
    /// Nothing could be compared.
    Nothing(Nothing),
}

/// Why nothing could be compared.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Nothing {
    /// No pattern given.
    NoPattern,
    /// The source has no such pattern.
    UnknownPattern,
    /// Several makers have the pattern, and the piece names none.
    SeveralMakers(Vec<String>),
    /// No period of the maker is known.
    NoPeriods,
    /// Only this one is known.
    OnePeriod(String),
    /// The weights name none or one of its periods.
    RuledOut,
    /// Nothing was measured.
    NoReadings,
    /// Nothing that was measured says what left the works.
    NothingSpeaks,
    /// No real pipe has any of its values; a slip of the unit that would explain all of them.
    NotCredible(Option<Slip>),
    /// No other piece of the pattern of a known period has these dimensions.
    NoReferences,
}

/// What one dimension says.
#[derive(Clone, Debug, PartialEq)]
pub struct DimensionSays {
    /// Index in the catalogue of the piece's table.
    pub dimension: usize,
    /// The reading, in the unit.
    pub value: f64,
    /// Its standard uncertainty, in the unit.
    pub uncertainty: f64,
    /// Its state.
    pub state: State,
    /// Under each candidate.
    pub under: Vec<Under>,
}

/// How a reading stands to one period.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Under {
    /// What a piece of the period is expected to measure, in the unit.
    pub centre: f64,
    /// The signed normal score, by the spread of the period's own pieces.
    pub score: f64,
    /// Two-sided probability of a deviation at least as large, by that spread.
    pub p: f64,
    /// How likely the reading is, a logarithm, but for what all candidates share.
    pub ln_likelihood: f64,
}

/// A reading that did not speak.
#[derive(Clone, Debug, PartialEq)]
pub struct LeftOut {
    /// Index in the catalogue of the piece's table.
    pub dimension: usize,
    /// Why.
    pub why: Why,
}

/// Why a reading did not speak.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Why {
    /// The place is not as it left the works, or nobody knows.
    State(State),
    /// No real pipe has this value.
    NotCredible,
    /// A colour, and colours were not asked for.
    Colour,
    /// No reference of the pattern has the dimension, or too few to tell a spread.
    NoReferences,
}

/// To be said with every dating.
pub const NOTE: &str = "Dimensions alone neither date nor authenticate a piece.";

impl fmt::Display for Nothing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Nothing::NoPattern => f.write_str("no pattern given"),
            Nothing::UnknownPattern => f.write_str("no such pattern in the source"),
            Nothing::SeveralMakers(makers) => {
                write!(
                    f,
                    "several makers have this pattern ({}): name one",
                    makers.join(", ")
                )
            }
            Nothing::NoPeriods => f.write_str("no period of its maker is known"),
            Nothing::OnePeriod(name) => {
                write!(
                    f,
                    "only one period is known, {name}: nothing to choose from"
                )
            }
            Nothing::RuledOut => f.write_str(
                "fewer than two of its maker's periods have a number: nothing to choose from",
            ),
            Nothing::NoReadings => f.write_str("nothing was measured on it"),
            Nothing::NothingSpeaks => f.write_str("none of its readings says what left the works"),
            Nothing::NotCredible(slip) => {
                f.write_str(
                    "all its readings are outside the credible ranges of their dimensions",
                )?;
                match slip {
                    Some(slip) => write!(f, "; they look like {}", slip.words()),
                    None => Ok(()),
                }
            }
            Nothing::NoReferences => f.write_str(
                "no other piece of its pattern and of a known period has the same dimensions in \
                 factory state, or too few to tell a spread",
            ),
        }
    }
}

impl fmt::Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Why::State(State::Unknown) => f.write_str("state unknown"),
            Why::State(state) => write!(f, "{state}"),
            Why::NotCredible => f.write_str("no real pipe has this value"),
            Why::Colour => f.write_str("a colour, and a finish may be renewed"),
            Why::NoReferences => f.write_str("no reference has it, or too few"),
        }
    }
}

impl Dating {
    /// The answer as scripts know it: the name of a period, `undecided` or `fits none`.
    pub fn answer_name(&self) -> &str {
        match self.answer {
            Answer::Period(at) => &self.candidates[at].name,
            Answer::FitsNone => "fits none",
            Answer::Undecided | Answer::TooAlike | Answer::Nothing(_) => "undecided",
        }
    }

    /// Why there is no better answer, where the shares do not tell it.
    pub fn why(&self) -> Option<String> {
        match &self.answer {
            Answer::Period(_) | Answer::Undecided => None,
            Answer::TooAlike => Some(
                "the periods do not differ enough here: no piece of this pattern could be dated by \
                 these dimensions"
                    .to_owned(),
            ),
            Answer::FitsNone => Some("out of norm as a piece of any of them".to_owned()),
            Answer::Nothing(nothing) => Some(nothing.to_string()),
        }
    }

    /// Places of the candidates, the likeliest first.
    pub fn ranking(&self) -> Vec<usize> {
        let mut order: Vec<usize> = (0..self.candidates.len()).collect();
        let key = |&at: &usize| {
            let candidate = &self.candidates[at];
            (candidate.posterior, candidate.ln_likelihood)
        };
        // Shares and likelihoods are numbers.
        order.sort_by(|a, b| {
            key(b)
                .partial_cmp(&key(a))
                .unwrap_or(std::cmp::Ordering::Equal)
        });
        order
    }
}

impl DimensionSays {
    /// How much more likely the reading is under one candidate than under another, a logarithm.
    pub fn ln_odds(&self, one: usize, other: usize) -> f64 {
        self.under[one].ln_likelihood - self.under[other].ln_likelihood
    }
}

/// What all datings of one cohort share. The cohort is one of every period
/// ([`Selection::Every`](crate::cohort::Selection::Every)).
#[derive(Debug)]
pub struct Dater<'e> {
    evidence: &'e Evidence<'e>,
    grounds: Grounds,
    alpha: f64,
    /// Pieces of each maker, in any spelling, by period label.
    known: HashMap<String, HashMap<u32, usize>>,
}

/// A candidate before it is compared.
struct Named {
    label: Option<u32>,
    name: String,
    years: Option<YearRange>,
    standing: Option<Standing>,
    /// Pieces of the maker known of it.
    known: usize,
}

impl<'e> Dater<'e> {
    /// Counts the makers' pieces by period.
    pub fn new(evidence: &'e Evidence<'e>, grounds: Grounds, settings: &Settings) -> Dater<'e> {
        let cohort = evidence.cohort();
        let makers = &cohort.table().specimens.makers;
        let mut by_code: HashMap<(u32, u32), usize> = HashMap::new();
        for (row, &maker) in makers.codes.iter().enumerate() {
            if let Some(label) = cohort.period_label(row) {
                *by_code.entry((maker, label)).or_default() += 1;
            }
        }
        let mut known: HashMap<String, HashMap<u32, usize>> = HashMap::new();
        for ((maker, label), count) in by_code {
            let of_maker = known
                .entry(fold(&makers.names()[maker as usize]))
                .or_default();
            *of_maker.entry(label).or_default() += count;
        }
        Dater {
            evidence,
            grounds,
            alpha: settings.alpha(),
            known,
        }
    }

    /// Whether the source knows any period.
    pub fn knows_periods(&self) -> bool {
        let cohort = self.evidence.cohort();
        !cohort.table().periods.is_empty() || !cohort.periods().is_empty()
    }

    /// The periods that a piece of the cohort's own table resembles.
    pub fn date(&self, row: usize) -> Dating {
        self.piece(&Piece::of_cohort(self.evidence, row))
    }

    /// Those that a piece of another table resembles; specimens of the cohort that have its name do
    /// not speak.
    pub fn date_of(&self, table: &Table, row: usize) -> Dating {
        self.piece(&Piece::of_another(self.evidence, table, row))
    }

    /// The periods of a maker: those defined for it or for any maker, and those that only its pieces
    /// name; in order of time. Pieces at some rows do not count.
    fn periods_of(&self, maker: &str, own: &[usize]) -> Vec<Named> {
        let cohort = self.evidence.cohort();
        let table = cohort.table();
        let maker = fold(maker);
        let nobody = HashMap::new();
        let in_use = self.known.get(&maker).unwrap_or(&nobody);
        let defined_at = |label: u32| {
            let period = &cohort.periods()[label as usize];
            // A name without a standing is one that the source does not define.
            period
                .standing
                .and_then(|_| table.periods.named(&maker, &period.name))
        };
        let mut labels: Vec<(u32, usize, Option<usize>)> = in_use
            .iter()
            .map(|(&label, &known)| {
                let own = own.iter().filter(|&&row| {
                    let of_maker = fold(table.specimens.makers.get(row)) == maker;
                    of_maker && cohort.period_label(row) == Some(label)
                });
                (label, known - own.count(), defined_at(label))
            })
            .collect();
        labels.sort_unstable();
        let defined = table.periods.all().iter().enumerate();
        let of_maker = defined.filter(|(at, period)| match &period.maker {
            Some(of) => fold(of) == maker,
            // The maker's own period of the name goes first.
            None => table.periods.named(&maker, &period.name) == Some(*at),
        });
        let mut named: Vec<Named> = of_maker
            .map(|(at, period)| {
                let used = labels.iter().find(|(_, _, defined)| *defined == Some(at));
                Named {
                    label: used.map(|u| u.0),
                    name: period.name.clone(),
                    years: Some(period.years),
                    standing: Some(period.standing),
                    known: used.map_or(0, |u| u.1),
                }
            })
            .collect();
        let written = labels.iter().filter(|(_, _, defined)| defined.is_none());
        // A name that only the piece itself has is no candidate.
        named.extend(
            written
                .filter(|(_, known, _)| *known > 0)
                .map(|&(label, known, _)| Named {
                    label: Some(label),
                    name: cohort.period_name(label).to_owned(),
                    years: None,
                    standing: None,
                    known,
                }),
        );
        named.sort_by_key(|n| match n.years {
            Some(years) => (false, years.from, years.to),
            None => (true, 0, 0),
        });
        named
    }

    /// The weight of each candidate.
    fn weights(&self, named: &[Named]) -> Vec<f64> {
        let weight = |of: &Named| match &self.grounds.weighing {
            Weighing::Equal => 1.0,
            Weighing::Known => of.known as f64 + 1.0,
            Weighing::Numbers(numbers) => {
                let name = fold(&of.name);
                let own = numbers.iter().find(|(of, _)| fold(of) == name);
                own.map_or(0.0, |(_, number)| *number)
            }
        };
        named.iter().map(weight).collect()
    }

    fn piece(&self, piece: &Piece<'_>) -> Dating {
        let cohort = self.evidence.cohort();
        let specimens = &piece.table.specimens;
        let mut dating = Dating {
            specimen: specimens.names.get(piece.row).to_owned(),
            maker: specimens.makers.get(piece.row).to_owned(),
            pattern: specimens.patterns.get(piece.row).to_owned(),
            recorded: piece
                .period
                .map(|label| cohort.period_name(label).to_owned()),
            candidates: Vec::new(),
            answer: Answer::Undecided,
            dimensions: Vec::new(),
            together: Vec::new(),
            left_out: Vec::new(),
            set_aside: 0,
        };
        if let Err(nothing) = self.compare(piece, &mut dating) {
            dating.candidates.clear();
            dating.dimensions.clear();
            dating.answer = Answer::Nothing(nothing);
        }
        dating
    }

    /// Fills in a dating, or says why it cannot be.
    fn compare(&self, piece: &Piece<'_>, dating: &mut Dating) -> Result<(), Nothing> {
        let cohort = self.evidence.cohort();
        let has_patterns = cohort.groups().iter().any(|g| !g.pattern.is_empty());
        if dating.pattern.is_empty() && has_patterns {
            return Err(Nothing::NoPattern);
        }
        let group = piece.group.ok_or_else(|| {
            let makers = cohort.find_groups(Some(&dating.pattern), None);
            let makers = makers.iter().map(|&g| cohort.groups()[g].maker.clone());
            match makers.len() {
                0 | 1 => Nothing::UnknownPattern,
                _ => Nothing::SeveralMakers(makers.collect()),
            }
        })?;
        let named = self.periods_of(&cohort.groups()[group].maker, &piece.own);
        match named.as_slice() {
            [] => return Err(Nothing::NoPeriods),
            [one] => return Err(Nothing::OnePeriod(one.name.clone())),
            _ => {}
        }
        let weights = self.weights(&named);
        if weights.iter().filter(|&&w| w > 0.0).count() < 2 {
            return Err(Nothing::RuledOut);
        }
        let known = Beforehand::new(self.evidence, group, &piece.own);
        let speaking = self.speaking(piece, group, &known, &mut dating.left_out)?;
        let residuals = self.residuals(piece, group, &speaking);
        let variances = residuals.relative_variances();
        let periods = named.iter().map(|n| {
            let own = n.label.and_then(|label| variances.get(&label).copied());
            (n.label, own.unwrap_or(1.0))
        });
        let comparison = Comparison {
            copula: Copula::new(residuals.correlation()),
            speaking,
            periods: periods.collect(),
        };
        self.conclude(piece, &named, &weights, &comparison, dating);
        Ok(())
    }

    /// The readings that speak, in the order of the catalogue.
    fn speaking(
        &self,
        piece: &Piece<'_>,
        group: usize,
        known: &Beforehand<'_>,
        left_out: &mut Vec<LeftOut>,
    ) -> Result<Vec<Speaking>, Nothing> {
        let cohort = self.evidence.cohort();
        let columns = piece.table.columns.iter().enumerate();
        let mut measured: Vec<(usize, &Column)> = columns
            .filter(|(_, column)| column.value(piece.row).is_some())
            .collect();
        measured.sort_by_key(|(_, column)| column.dimension);
        if measured.is_empty() {
            return Err(Nothing::NoReadings);
        }
        let (mut speaking, mut unheard) = (Vec::new(), false);
        for (at, column) in measured {
            let dimension = piece.table.dimension(column);
            let state = column.state(piece.row);
            let silent = if column.finish.is_some() && !self.grounds.colours {
                Some(Why::Colour)
            } else if !cohort.state_speaks(state) {
                Some(Why::State(state))
            } else if !dimension.is_credible(column.values[piece.row]) {
                Some(Why::NotCredible)
            } else {
                None
            };
            let heard = match silent {
                Some(why) => Err(why),
                None => piece.position(column).ok_or(Why::NoReferences),
            };
            match heard {
                Ok(position) => speaking.push((at, position)),
                Err(why) => {
                    unheard |= why == Why::NoReferences;
                    left_out.push(LeftOut {
                        dimension: column.dimension,
                        why,
                    });
                }
            }
        }
        let shares = self.shares(piece, group, &speaking);
        let with_share = |((column, position), share): ((usize, usize), PeriodShare)| {
            let references = self.evidence.references(position, group, &piece.own);
            let prior = Prior {
                lambda: share.lambda(),
                ..known.prior(position)
            };
            Speaking {
                column,
                position,
                reading: piece.rated(&piece.table.columns[column]),
                basis: Basis::new(references, prior),
            }
        };
        let speaking = speaking.into_iter().zip(shares).map(with_share);
        let (heard, silent): (Vec<Speaking>, Vec<Speaking>) =
            speaking.partition(|s| s.basis.predictive.is_some());
        unheard |= !silent.is_empty();
        left_out.extend(silent.iter().map(|of| LeftOut {
            dimension: piece.table.columns[of.column].dimension,
            why: Why::NoReferences,
        }));
        match heard.is_empty() {
            true if unheard => Err(Nothing::NoReferences),
            true if left_out.iter().all(|of| of.why == Why::NotCredible) => {
                Err(Nothing::NotCredible(slip(piece)))
            }
            true => Err(Nothing::NothingSpeaks),
            false => Ok(heard),
        }
    }

    /// How much of the spread of each dimension lies between periods, by the patterns of the maker.
    fn shares(
        &self,
        piece: &Piece<'_>,
        group: usize,
        positions: &[(usize, usize)],
    ) -> Vec<PeriodShare> {
        let groups = self.patterns(group);
        let of_dimension = |&(_, position): &(usize, usize)| {
            let mut said = ShareEvidence::default();
            for &group in &groups {
                let fine = self.evidence.fine(position, group, &piece.own);
                said.add(&ShareEvidence::of(&fine));
            }
            said
        };
        let said: Vec<ShareEvidence> = positions.iter().map(of_dimension).collect();
        shares_by_dimension(&said)
    }

    /// The patterns of the maker; without borrowing the piece's own alone.
    fn patterns(&self, group: usize) -> Vec<usize> {
        let mut groups = match self.evidence.borrowing().nothing {
            true => Vec::new(),
            false => self.evidence.lenders().to(group),
        };
        groups.push(group);
        groups
    }

    /// What the pieces of all patterns differ by in the dimensions that speak, the piece's own rows
    /// left out.
    fn residuals(&self, piece: &Piece<'_>, group: usize, speaking: &[Speaking]) -> PairedResiduals {
        let cohort = self.evidence.cohort();
        let groups = self.patterns(group);
        let priors: Vec<Prior> = speaking.iter().map(|s| s.basis.prior).collect();
        let mut residuals = PairedResiduals::new(speaking.len());
        for group in groups {
            let rows = cohort.reference_rows(group).iter().map(|&row| row as usize);
            let rows: Vec<usize> = rows.filter(|row| !piece.own.contains(row)).collect();
            let mut pieces: Vec<(Option<u32>, Vec<Option<f64>>)> = rows
                .iter()
                .map(|&row| (cohort.period_label(row), vec![None; speaking.len()]))
                .collect();
            for (d, of) in speaking.iter().enumerate() {
                // References come in the order of the rows.
                let mut at = 0;
                for reference in self.evidence.references(of.position, group, &piece.own) {
                    while rows.get(at).is_some_and(|&row| row != reference.row()) {
                        at += 1;
                    }
                    if let Some((_, readings)) = pieces.get_mut(at) {
                        readings[d] = Some(reference.rated().x);
                    }
                }
            }
            residuals.add(&pieces, &priors);
        }
        residuals
    }

    /// The answer, once the piece is compared with each candidate.
    fn conclude(
        &self,
        piece: &Piece<'_>,
        named: &[Named],
        weights: &[f64],
        comparison: &Comparison,
        dating: &mut Dating,
    ) {
        let speaking = &comparison.speaking;
        let readings: Vec<Rated> = speaking.iter().map(|s| s.reading).collect();
        let compared: Vec<Compared> = comparison
            .periods
            .iter()
            .map(|&(label, _)| comparison.under(&readings, label))
            .collect();
        let fits: Vec<Vec<Standpoint>> = comparison
            .periods
            .iter()
            .map(|&p| comparison.fit(p))
            .collect();
        let ln_likelihood: Vec<f64> = compared.iter().map(|c| c.likelihood.ln()).collect();
        let sum: f64 = weights.iter().sum();
        let prior: Vec<f64> = weights.iter().map(|w| w / sum).collect();
        // Readings so far off that no number holds how unlikely they are say nothing.
        let shares = posterior(&ln_likelihood, &prior).unwrap_or_else(|| prior.clone());
        for (at, of) in named.iter().enumerate() {
            let mut rows: Vec<usize> = speaking
                .iter()
                .flat_map(|s| &s.basis.kept)
                .filter(|r| of.label.is_some() && r.rated().period == of.label)
                .map(|r| r.row())
                .collect();
            rows.sort_unstable();
            rows.dedup();
            dating.candidates.push(Candidate {
                name: of.name.clone(),
                years: of.years,
                standing: of.standing,
                references: rows.len(),
                prior: prior[at],
                posterior: shares[at],
                ln_likelihood: ln_likelihood[at],
                fits_p: least_p(&fits[at]),
                typical: None,
            });
        }
        dating.together = compared.iter().map(|c| c.likelihood.together).collect();
        dating.set_aside = speaking.iter().map(|s| s.basis.set_aside.len()).sum();
        dating.dimensions = speaking
            .iter()
            .enumerate()
            .map(|(d, of)| {
                let column = &piece.table.columns[of.column];
                let kind = piece.table.dimension(column).kind;
                let under = |(c, fits): (&Compared, &Vec<Standpoint>)| Under {
                    centre: from_scale(kind, c.centres[d]),
                    score: fits[d].z,
                    p: fits[d].p,
                    ln_likelihood: c.likelihood.margins[d],
                };
                DimensionSays {
                    dimension: column.dimension,
                    value: column.values[piece.row],
                    uncertainty: column.uncertainty(piece.row),
                    state: column.state(piece.row),
                    under: compared.iter().zip(&fits).map(under).collect(),
                }
            })
            .collect();
        let ranking = dating.ranking();
        comparison.typical(&ranking, &compared, dating);
        let possible = || dating.candidates.iter().filter(|c| c.prior > 0.0);
        let best = ranking[0];
        dating.answer = if possible().all(|c| c.fits_p <= self.alpha) {
            Answer::FitsNone
        } else if dating.candidates[best].posterior >= DECIDED {
            Answer::Period(best)
        } else if weights.iter().all(|&w| w == weights[0])
            && possible().all(|c| c.typical.is_none_or(|share| share < DECIDED))
        {
            // Where something is known beforehand that may decide.
            Answer::TooAlike
        } else {
            Answer::Undecided
        };
    }
}

/// The slip of the unit that would explain all sizes of a piece, none of which is credible.
fn slip(piece: &Piece<'_>) -> Option<Slip> {
    let measured = piece.table.columns.iter();
    let sizes: Vec<(f64, (f64, f64))> = measured
        .filter(|column| piece.table.dimension(column).quantity == Quantity::Length)
        .filter_map(|column| {
            let credible = piece.table.dimension(column).credible?;
            Some((column.value(piece.row)?, credible))
        })
        .collect();
    match sizes.is_empty() {
        true => None,
        false => Slip::of(Unit::Millimetre, &sizes),
    }
}

/// The least of the p, adjusted for their number.
fn least_p(standpoints: &[Standpoint]) -> f64 {
    let p: Vec<f64> = standpoints.iter().map(|at| at.p).collect();
    holm(&p).into_iter().fold(1.0, f64::min)
}

/// A reading of the piece that speaks, with what it is judged by.
struct Speaking {
    /// Position in the piece's table.
    column: usize,
    /// Position in the cohort's.
    position: usize,
    reading: Rated,
    basis: Basis,
}

/// What readings are compared by.
struct Comparison {
    speaking: Vec<Speaking>,
    copula: Copula,
    /// Of each candidate its label and the relative variance of its pieces.
    periods: Vec<(Option<u32>, f64)>,
}

/// Readings as those of one period.
struct Compared {
    centres: Vec<f64>,
    likelihood: GroupLikelihood,
}

impl Comparison {
    /// Readings as those of a piece of a period; one without references leaves it a stranger.
    fn under(&self, readings: &[Rated], label: Option<u32>) -> Compared {
        let (mut centres, mut standpoints) = (Vec::new(), Vec::new());
        for (of, &reading) in self.speaking.iter().zip(readings) {
            let Some(predictive) = &of.basis.predictive else {
                continue;
            };
            let period = label;
            let (centre, at) = predictive.judge_dated(Rated { period, ..reading });
            centres.push(centre);
            standpoints.push((at, predictive.df()));
        }
        Compared {
            likelihood: GroupLikelihood::new(&standpoints, &self.copula),
            centres,
        }
    }

    /// How the piece's readings stand to a period with the spread that its own pieces have. That is
    /// for telling whether they fit; how likely they are goes by one spread of all periods, as a
    /// spread of each by itself would be too uncertain across dimensions that hang together.
    fn fit(&self, (label, own): (Option<u32>, f64)) -> Vec<Standpoint> {
        let stand = |of: &Speaking| {
            let period = label;
            let predictive = of.basis.predictive.as_ref()?;
            Some(
                predictive
                    .judge_as(
                        Rated {
                            period,
                            ..of.reading
                        },
                        own,
                    )
                    .1,
            )
        };
        self.speaking.iter().filter_map(stand).collect()
    }

    /// The share that a piece at the very centre of each candidate would have, all of them alike
    /// beforehand; among the likeliest of a long list.
    fn typical(&self, ranking: &[usize], compared: &[Compared], dating: &mut Dating) {
        /// So many are compared with each other at most.
        const MOST: usize = 20;
        let possible = |&&at: &&usize| dating.candidates[at].prior > 0.0;
        let some: Vec<usize> = ranking
            .iter()
            .filter(possible)
            .take(MOST)
            .copied()
            .collect();
        let equal = vec![1.0; some.len()];
        for (place, &at) in some.iter().enumerate() {
            if dating.candidates[at].references == 0 {
                continue;
            }
            let own = self.speaking.iter().zip(&compared[at].centres);
            let central: Vec<Rated> = own.map(|(s, &x)| Rated { x, ..s.reading }).collect();
            let ln: Vec<f64> = some
                .iter()
                .map(|&other| self.under(&central, self.periods[other].0).likelihood.ln())
                .collect();
            dating.candidates[at].typical = posterior(&ln, &equal).map(|shares| shares[place]);
        }
    }
}
