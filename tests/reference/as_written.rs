//! Whole verdicts against the method as it is written, piece by piece.
//!
//! Truth: `docs/methods.md`, put together here from the public parts of `stats`, which the worked
//! cases hold. Nothing is kept from one piece to the next, interpolated, or taken out of sums:
//! for every piece all sets are gathered afresh without it.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use calibriar::catalogue::State;
use calibriar::cohort::{Choice, Cohort, from_scale, on_scale};
use calibriar::norm::{Borrowing, Evidence, Norm, Settings, norms};
use calibriar::notation::Quantity;
use calibriar::stats::{
    Borrowed, BorrowedSpread, Coverage, Predictive, Prior, Rated, benjamini_hochberg,
    borrowed_from_readings, holm, median, misfit, period_share, screen, shrunk_correlation,
    size_and_shape, t_upper_quantile, two_sided_factor,
};
use calibriar::table::{Column, Table};
use calibriar::verdict::{Check, Verdict, check, check_against, flag, working};

use crate::common::draw::Draw;
use crate::common::tables::table;
use crate::common::{assert_rel_at, relative_error};

/// What is left out of sums and what is interpolated differ from sums made afresh by rounding.
const CLOSE: f64 = 1e-8;

const ALPHA: f64 = 0.05;

fn settings() -> Settings {
    Settings::new(0.95, 0.95, ALPHA).unwrap()
}

/// An invented source: makers' patterns of such sizes, three periods, four sizes and an angle. Some
/// readings are coarse, worn, missing or far off.
fn invented(makers: &[(&str, &[usize])], seed: u64) -> String {
    let mut draw = Draw::seeded(seed);
    let mut csv = String::from("specimen,maker,pattern,period,a_mm,b_mm,c_mm,d_mm,tilt_deg\n");
    let mut number = 0;
    for (maker, sizes) in makers {
        for (pattern, &size) in sizes.iter().enumerate() {
            let spread: [f64; 5] = std::array::from_fn(|_| {
                let chi2: f64 = (0..8).map(|_| draw.normal().powi(2)).sum();
                (8.0 / chi2).sqrt()
            });
            let effects: [[f64; 5]; 3] =
                std::array::from_fn(|_| std::array::from_fn(|_| 0.6 * draw.normal()));
            for _ in 0..size {
                let period = (draw.uniform() * 3.0) as usize;
                let name = if draw.once_in(10.0) {
                    ""
                } else {
                    ["early", "middle", "late"][period]
                };
                write!(csv, "s{number},{maker},p{pattern},{name}").unwrap();
                number += 1;
                for d in 0..5 {
                    let mut off = spread[d] * (effects[period][d] + draw.normal());
                    if draw.once_in(14.0) {
                        off += (2.0 + 6.0 * draw.uniform()) * spread[d];
                    }
                    let (coarse, worn) = (draw.once_in(9.0), draw.once_in(14.0));
                    if draw.once_in(25.0) {
                        csv.push(',');
                        continue;
                    }
                    let value = if d == 4 {
                        format!("{:.1}", 4.0 + off)
                    } else {
                        let usual = [40.0, 20.0, 16.0, 60.0][d];
                        format!("{:.2}", usual * (0.02 * off).exp())
                    };
                    let half_width = if d == 4 { 2 } else { 1 };
                    match (coarse, worn) {
                        (true, _) => write!(csv, ",{value} ± {half_width}"),
                        (false, true) => write!(csv, ",{value} {{worn}}"),
                        _ => write!(csv, ",{value}"),
                    }
                    .unwrap();
                }
                csv.push('\n');
            }
        }
    }
    csv
}

/// The method, without any thrift.
struct Naive<'t> {
    table: &'t Table,
    borrowing: &'t Borrowing,
}

/// A piece that is judged.
struct Piece<'t> {
    table: &'t Table,
    row: usize,
    /// Its own rows in the source.
    own: Vec<usize>,
}

type Group = (String, String);

fn group_of(table: &Table, row: usize) -> Group {
    let specimens = &table.specimens;
    let (maker, pattern) = (specimens.makers.get(row), specimens.patterns.get(row));
    (maker.to_owned(), pattern.to_owned())
}

fn reading(table: &Table, column: &Column, row: usize) -> Option<Rated> {
    let (x, u) = on_scale(
        table.dimension(column).kind,
        column.value(row)?,
        column.uncertainty(row),
    );
    let period = ["early", "middle", "late"]
        .iter()
        .position(|name| *name == table.specimens.periods.get(row));
    let period = period.map(|at| at as u32);
    Some(Rated { x, u, period })
}

/// Direct contact or a gauge: 0.12 mm, half a degree.
fn is_fine(table: &Table, column: &Column, row: usize) -> bool {
    let limit = match table.dimension(column).quantity {
        Quantity::Angle => 0.5,
        _ => 0.12,
    };
    column.uncertainty(row) <= limit
}

/// References judged against: how many stay and go, whether they disagree, what they expect.
struct Judged {
    n: usize,
    set_aside: usize,
    disagree: bool,
    norm: Option<Predictive>,
}

fn judge(references: &[Rated], prior: Prior, own: Rated) -> Judged {
    let (mut kept, mut set_aside, mut disagree) = (references.to_vec(), 0, false);
    if prior.df > 0.0 {
        let screened = screen(references, &prior);
        kept = screened.kept.iter().map(|&i| references[i]).collect();
        (set_aside, disagree) = (screened.set_aside.len(), screened.disagree);
    }
    Judged {
        n: kept.len(),
        set_aside,
        disagree,
        norm: Predictive::new(&kept, &prior).map(|norm| norm.dated(own.period)),
    }
}

fn label(p: f64, adjusted: f64, tells: bool) -> Verdict {
    match (adjusted <= ALPHA, p <= ALPHA, tells) {
        (true, ..) => Verdict::OutOfNorm,
        (_, true, _) => Verdict::Borderline,
        (_, _, true) => Verdict::Typical,
        _ => Verdict::Undecided,
    }
}

fn slices(sets: &[Vec<Vec<Rated>>]) -> Vec<Vec<&[Rated]>> {
    sets.iter()
        .map(|d| d.iter().map(Vec::as_slice).collect())
        .collect()
}

impl Naive<'_> {
    fn groups(&self) -> Vec<Group> {
        let mut groups = Vec::new();
        for row in 0..self.table.specimens.len() {
            let group = group_of(self.table, row);
            if !groups.contains(&group) {
                groups.push(group);
            }
        }
        groups
    }

    fn rows(&self, group: &Group, piece: &Piece<'_>) -> Vec<usize> {
        let rows = 0..self.table.specimens.len();
        rows.filter(|&row| group_of(self.table, row) == *group && !piece.own.contains(&row))
            .collect()
    }

    fn reference(&self, column: &Column, row: usize) -> Option<Rated> {
        reading(self.table, column, row).filter(|_| column.state(row) == State::Factory)
    }

    /// The references of a pattern; the fine ones only, where they are to teach.
    fn set(&self, column: &Column, group: &Group, piece: &Piece<'_>, fine: bool) -> Vec<Rated> {
        self.rows(group, piece)
            .into_iter()
            .filter(|&row| !fine || is_fine(self.table, column, row))
            .filter_map(|row| self.reference(column, row))
            .collect()
    }

    /// All sets that may tell the period share.
    fn share_sets(&self, group: &Group, piece: &Piece<'_>) -> Vec<Vec<Rated>> {
        let mut sets = Vec::new();
        for of in self.groups() {
            if of == *group || !self.borrowing.nothing {
                let columns = self.table.columns.iter();
                sets.extend(columns.map(|column| self.set(column, &of, piece, true)));
            }
        }
        sets
    }

    fn lambda(&self, group: &Group, piece: &Piece<'_>) -> f64 {
        let sets = self.share_sets(group, piece);
        period_share(sets.iter().map(Vec::as_slice)).lambda()
    }

    /// Sets with a period of two readings or more and a second period; an undated reading is one by
    /// itself.
    fn telling_sets(&self, group: &Group, piece: &Piece<'_>) -> usize {
        let tells = |set: &Vec<Rated>| {
            let mut dated: Vec<u32> = set.iter().filter_map(|r| r.period).collect();
            let (all, undated) = (dated.len(), set.len() - dated.len());
            dated.sort_unstable();
            dated.dedup();
            dated.len() + undated >= 2 && dated.len() < all
        };
        self.share_sets(group, piece)
            .iter()
            .filter(|set| tells(set))
            .count()
    }

    /// The maker's other patterns.
    fn lenders(&self, group: &Group) -> Vec<Group> {
        let mut groups = self.groups();
        groups.retain(|g| g.0 == group.0 && g != group && !self.borrowing.nothing);
        groups
    }

    fn lending(&self, columns: &[usize], group: &Group, piece: &Piece<'_>) -> Vec<Vec<Vec<Rated>>> {
        let of_column = |&c: &usize| {
            let lenders = self.lenders(group).into_iter();
            lenders
                .map(|g| self.set(&self.table.columns[c], &g, piece, true))
                .collect()
        };
        columns.iter().map(of_column).collect()
    }

    /// The columns of each family; the first is that of those that none names.
    fn families(&self) -> Vec<Vec<usize>> {
        let named = |column: usize| {
            let key = &self.table.dimension(&self.table.columns[column]).key;
            let families = &self.borrowing.families;
            families
                .iter()
                .position(|f| f.contains(key))
                .map_or(0, |at| at + 1)
        };
        (0..=self.borrowing.families.len())
            .map(|f| {
                (0..self.table.columns.len())
                    .filter(|&c| named(c) == f)
                    .collect()
            })
            .collect()
    }

    fn priors(&self, group: &Group, lambda: f64, piece: &Piece<'_>) -> Vec<Prior> {
        let mut priors = vec![Prior::none(lambda); self.table.columns.len()];
        for columns in self.families() {
            let sets = self.lending(&columns, group, piece);
            let lent = borrowed_from_readings(&slices(&sets), lambda);
            let told = columns.iter().zip(self::priors(&lent, lambda)).zip(&sets);
            for ((&column, prior), sets) in told {
                // Lenders too coarse to tell lend nothing (docs/methods.md, "At the edges").
                let errors = sets.iter().filter(|set| set.len() > 1).map(|set| {
                    let (n, u2) = (set.len() as f64, set.iter().map(|r| r.u * r.u));
                    (u2.sum::<f64>() / n * (n - 1.0), n - 1.0)
                });
                let (sum, df) = errors.fold((0.0, 0.0), |(a, b), (v, df)| (a + v, b + df));
                if sum / df <= 4.0 * prior.variance {
                    priors[column] = prior;
                }
            }
        }
        for (column, prior) in self.table.columns.iter().zip(&mut priors) {
            if let Some(s) = self.borrowing.stated.get(&self.table.dimension(column).key) {
                let (df, variance) = (f64::INFINITY, s * s);
                *prior = Prior {
                    df,
                    variance,
                    lambda,
                };
            }
        }
        priors
    }

    /// Compares a norm with that of its references (docs/methods.md, "Bands and their right
    /// names").
    #[track_caller]
    fn compare_norm(&self, group: &Group, got: &Norm) {
        let nobody = Piece {
            table: self.table,
            row: 0,
            own: Vec::new(),
        };
        let columns = &self.table.columns;
        let at = columns
            .iter()
            .position(|c| c.dimension == got.dimension)
            .unwrap();
        let lambda = self.lambda(group, &nobody);
        let set = self.set(&columns[at], group, &nobody, false);
        let prior = self.priors(group, lambda, &nobody)[at];
        let undated = Rated {
            x: 0.0,
            u: 0.0,
            period: None,
        };
        let of = judge(&set, prior, undated);
        let case = format!("{group:?}, dimension {}", got.dimension);
        assert_eq!(
            (got.basis.kept.len(), got.basis.disagree),
            (of.n, of.disagree),
            "{case}"
        );
        assert_eq!(
            got.loan.is_some(),
            prior.df > 0.0 && prior.df.is_finite(),
            "{case}"
        );
        let (Some(norm), Some(firm)) = (of.norm, got.firm) else {
            assert!(
                got.firm.is_none() && got.basis.predictive.is_none(),
                "{case}"
            );
            return;
        };
        let kept: Vec<f64> = got.basis.kept.iter().map(|r| r.rated().u).collect();
        let mean_square = kept.iter().map(|u| u * u).sum::<f64>() / kept.len() as f64;
        let usual = median(&kept).unwrap().min(mean_square.sqrt());
        let t = |tail: f64| t_upper_quantile(tail, norm.df());
        let s = norm.spread();
        let w = s * s * (norm.h0() + norm.r_new(usual));
        let n_effective = norm.n_effective();
        let v = (1.0 + lambda) / n_effective;
        let k = two_sided_factor(Coverage::new(0.95, 0.95).unwrap(), norm.df(), n_effective);
        let (typical, centre) = (t(0.025) * w.sqrt(), t(0.025) * s * v.sqrt());
        let tolerance = k.unwrap() * s * (1.0 + lambda).sqrt();
        let m = norm.centre();
        let in_unit = |x: f64| from_scale(got.kind, x);
        let least = (t(0.025) + t(0.2)) * w.sqrt();
        for (got, want) in [
            (got.centre, in_unit(m)),
            (firm.spread, s * (1.0 + norm.r_new(usual)).sqrt()),
            (firm.spread_between_periods, s * lambda.sqrt()),
            (firm.centre.low, in_unit(m - centre)),
            (firm.centre.high, in_unit(m + centre)),
            (firm.typical.low, in_unit(m - typical)),
            (firm.typical.high, in_unit(m + typical)),
            (firm.tolerance.low, in_unit(m - tolerance)),
            (firm.tolerance.high, in_unit(m + tolerance)),
            (firm.least_noticeable, in_unit(m + least) - in_unit(m)),
        ] {
            assert_rel_at(&case, got, want, CLOSE);
        }
    }

    /// Compares a verdict; answers how many dimensions were judged and whether there was a joint
    /// one.
    #[track_caller]
    fn compare(&self, piece: &Piece<'_>, check: &Check) -> (usize, bool) {
        let group = group_of(piece.table, piece.row);
        let lambda = self.lambda(&group, piece);
        let priors = self.priors(&group, lambda, piece);
        let mut judged = Vec::new();
        for (at, column) in self.table.columns.iter().enumerate() {
            let of_piece = piece.table.column(column.dimension);
            let Some((of_piece, own)) =
                of_piece.and_then(|c| Some((c, reading(piece.table, c, piece.row)?)))
            else {
                continue;
            };
            let set = self.set(column, &group, piece, false);
            judged.push((of_piece, own, judge(&set, priors[at], own)));
        }
        judged.sort_by_key(|(column, ..)| column.dimension);
        let p: Vec<f64> = judged
            .iter()
            .filter_map(|(_, own, of)| Some(of.norm.as_ref()?.judge(own.x, own.u).p))
            .collect();
        let mut adjusted = holm(&p).into_iter();
        assert_eq!(check.dimensions.len(), judged.len(), "{}", check.specimen);
        let mut worst = Vec::new();
        for ((column, own, of), got) in judged.iter().zip(&check.dimensions) {
            let case = format!("{}, dimension {}", check.specimen, column.dimension);
            assert_eq!(got.dimension, column.dimension, "{case}");
            assert_eq!((got.n, got.disagree), (of.n, of.disagree), "{case}");
            assert_eq!(got.set_aside.len(), of.set_aside, "{case}");
            let (Some(norm), Some(values)) = (&of.norm, &got.judged) else {
                assert!(of.norm.is_none() && got.judged.is_none(), "{case}");
                assert_eq!(got.verdict, Verdict::Undecided, "{case}");
                continue;
            };
            let kind = piece.table.dimension(column).kind;
            let at = norm.judge(own.x, own.u);
            let half = norm.half_width(at.variance, 0.95);
            let p_adjusted = adjusted.next().unwrap();
            let tells = norm.sharpness(own.u) >= 0.5 && !of.disagree;
            let want = label(at.p, p_adjusted, tells);
            assert_eq!(got.verdict, want, "{case}");
            worst.push(want);
            for (got, want) in [
                (values.centre, from_scale(kind, norm.centre())),
                (values.spread, norm.spread()),
                (values.df, norm.df()),
                (values.typical.low, from_scale(kind, norm.centre() - half)),
                (values.typical.high, from_scale(kind, norm.centre() + half)),
                (values.score, at.z),
                (values.p, at.p),
                (values.p_adjusted, p_adjusted),
                (values.sharpness, norm.sharpness(own.u)),
            ] {
                // Degrees of freedom may be infinite.
                assert!(
                    got == want || relative_error(got, want) <= CLOSE,
                    "{case}: {got}, {want}"
                );
            }
            assert_eq!(got.more_references, norm.references_needed(own.u), "{case}");
        }
        let joint = check.joint.is_some();
        if joint {
            self.compare_joint(piece, check, &group, lambda);
        }
        (p.len(), joint)
    }

    /// Size, shape and misfit, of the sizes that were taken.
    #[track_caller]
    fn compare_joint(&self, piece: &Piece<'_>, check: &Check, group: &Group, lambda: f64) {
        let case = &check.specimen;
        let joint = check.joint.as_ref().unwrap();
        let taken: Vec<&Column> = joint
            .shape
            .iter()
            .map(|shape| self.table.column(shape.dimension).unwrap())
            .collect();
        let period = |row| reading(self.table, taken[0], row).and_then(|r: Rated| r.period);
        // Size, then shapes.
        let apart = |parts: Vec<Rated>, period: Option<u32>| -> Vec<Rated> {
            let logs: Vec<(f64, f64)> = parts.iter().map(|r| (r.x, r.u)).collect();
            let apart = size_and_shape(&logs).unwrap();
            let size = Rated {
                x: apart.size,
                u: apart.size_uncertainty,
                period,
            };
            let shapes = apart.shape.iter().zip(&apart.shape_uncertainty);
            let shapes = shapes.map(|(&x, &u)| Rated { x, u, period });
            std::iter::once(size).chain(shapes).collect()
        };
        let references = |group: &Group, fine: bool| -> Vec<Vec<Rated>> {
            self.rows(group, piece)
                .into_iter()
                .filter(|&row| !fine || taken.iter().all(|c| is_fine(self.table, c, row)))
                .filter_map(|row| {
                    let parts = taken.iter().map(|c| self.reference(c, row));
                    Some(apart(parts.collect::<Option<_>>()?, period(row)))
                })
                .collect()
        };
        let own_parts = taken.iter().map(|column| {
            let column = piece.table.column(column.dimension).unwrap();
            reading(piece.table, column, piece.row).unwrap()
        });
        let own_parts: Vec<Rated> = own_parts.collect();
        let own_period = own_parts[0].period;
        let own = apart(own_parts, own_period);
        let lent: Vec<Vec<Vec<Rated>>> = self
            .lenders(group)
            .iter()
            .map(|g| references(g, true))
            .collect();
        let of = |d: usize| -> Vec<Vec<Rated>> {
            let sets = lent.iter();
            sets.map(|set| set.iter().map(|piece| piece[d]).collect())
                .collect()
        };
        let mut sizes = self.lending(&self.families()[0], group, piece);
        sizes.push(of(0));
        let size_prior = priors(&borrowed_from_readings(&slices(&sizes), lambda), lambda).pop();
        let shapes: Vec<Vec<Vec<Rated>>> = (1..own.len()).map(of).collect();
        let shape_priors = priors(&borrowed_from_readings(&slices(&shapes), lambda), lambda);
        let set = references(group, false);
        let judged = |d: usize, prior: Prior| {
            let set: Vec<Rated> = set.iter().map(|piece| piece[d]).collect();
            judge(&set, prior, own[d])
        };

        let size = judged(0, size_prior.unwrap());
        let norm = size.norm.unwrap();
        let at = norm.judge(own[0].x, own[0].u);
        assert_eq!(joint.size_steps.norm.n(), size.n, "{case}");
        assert_rel_at(case, joint.size_steps.norm.df(), norm.df(), CLOSE);
        assert_rel_at(case, joint.size_p, at.p, CLOSE);
        assert_rel_at(case, joint.size_score, at.z, CLOSE);
        let tells = norm.is_sharp(own[0].u) && !size.disagree;
        assert_eq!(joint.size_verdict, label(at.p, at.p, tells), "{case}");

        let each: Vec<Judged> = (1..own.len())
            .map(|d| judged(d, shape_priors[d - 1]))
            .collect();
        let at = each.iter().zip(&own[1..]);
        let at: Vec<_> = at
            .map(|(of, own)| of.norm.as_ref().unwrap().judge(own.x, own.u))
            .collect();
        let adjusted = holm(&at.iter().map(|at| at.p).collect::<Vec<f64>>());
        for (d, got) in joint.shape.iter().enumerate() {
            assert_eq!(got.steps.norm.n(), each[d].n, "{case}");
            assert_rel_at(case, got.p, at[d].p, CLOSE);
            assert_rel_at(case, got.p_adjusted, adjusted[d], CLOSE);
            let norm = each[d].norm.as_ref().unwrap();
            let tells = norm.is_sharp(own[d + 1].u) && !each[d].disagree;
            assert_eq!(got.verdict, label(at[d].p, adjusted[d], tells), "{case}");
        }

        // Residuals about plain means, over the moderated spread, of every pattern.
        let (mut residuals, mut freedom) = (Vec::new(), 0.0);
        let all_lent = self
            .lenders(group)
            .into_iter()
            .map(|g| references(&g, false));
        for set in all_lent.chain([set]).filter(|set| set.len() >= 2) {
            let n = set.len() as f64;
            freedom += n - 1.0;
            let mean = |d: usize| set.iter().map(|piece| piece[d].x).sum::<f64>() / n;
            let spread = |d: usize| {
                let squares: f64 = set.iter().map(|piece| (piece[d].x - mean(d)).powi(2)).sum();
                let Prior { df, variance, .. } = shape_priors[d - 1];
                let borrowed = if df > 0.0 { df * variance } else { 0.0 };
                ((borrowed + squares) / (df + n - 1.0)).sqrt()
            };
            for piece in &set {
                let row = (1..own.len()).map(|d| (piece[d].x - mean(d)) / spread(d));
                residuals.push(row.collect::<Vec<f64>>());
            }
        }
        let z: Vec<f64> = at.iter().map(|at| at.z).collect();
        let whole = misfit(&z, &shrunk_correlation(&residuals, freedom)).unwrap();
        assert_rel_at(case, joint.misfit, whole.rms, CLOSE);
        assert_rel_at(case, joint.misfit_scale, whole.scale, CLOSE);
        assert_rel_at(case, joint.misfit_p, whole.p, CLOSE);
    }
}

fn priors(lent: &Borrowed, lambda: f64) -> Vec<Prior> {
    let prior = |spread: &Option<BorrowedSpread>| {
        spread.map_or(Prior::none(lambda), |spread| Prior {
            df: spread.df,
            variance: spread.s2,
            lambda,
        })
    };
    lent.dimensions.iter().map(prior).collect()
}

/// One large maker, so that loans are interpolated, and one small.
const MAKERS: [(&str, &[usize]); 2] = [
    (
        "Row Works",
        &[4, 30, 12, 18, 25, 9, 40, 16, 14, 22, 7, 35, 20, 1],
    ),
    ("Hill", &[6, 12, 3, 9]),
];

/// As [`agreement`]; most pieces must have been judged as a whole.
#[track_caller]
fn all_agree(csv: &str, borrowing: &Borrowing, step: usize) {
    let (judged, joints, pieces) = agreement(csv, borrowing, step);
    assert!(
        judged > 3 * pieces && 2 * joints > pieces,
        "{judged} {joints} {pieces}"
    );
}

/// Compares every one of so many pieces of a source, and all norms; counts dimensions judged,
/// pieces judged as a whole, and pieces.
#[track_caller]
fn agreement(csv: &str, borrowing: &Borrowing, step: usize) -> (usize, usize, usize) {
    let source = table(csv);
    let cohort = Cohort::new(&source, &Choice::default()).unwrap();
    let evidence = Evidence::gather(&cohort, borrowing);
    let naive = Naive {
        table: &source,
        borrowing,
    };
    let (mut judged, mut joints, mut pieces) = (0, 0, 0);
    for row in (0..source.specimens.len()).step_by(step) {
        let piece = Piece {
            table: &source,
            row,
            own: vec![row],
        };
        let check = check(&evidence, row, &settings());
        let (n, joint) = naive.compare(&piece, &check);
        judged += n;
        joints += usize::from(joint);
        pieces += 1;
        let working = working(&evidence, row, &settings());
        let telling = naive.telling_sets(&group_of(&source, row), &piece);
        assert_eq!(working.telling_sets, telling, "{}", check.specimen);
    }
    for (number, of) in cohort.groups().iter().enumerate() {
        for norm in norms(&evidence, &[number], &settings()).unwrap() {
            naive.compare_norm(&(of.maker.clone(), of.pattern.clone()), &norm);
        }
    }
    (judged, joints, pieces)
}

#[test]
fn pieces_of_a_source() {
    all_agree(&invented(&MAKERS, 1), &Borrowing::default(), 5);
}

/// Enough patterns that loans are interpolated, and so few pieces that one of them moves the period
/// ratio farther than interpolation goes.
#[test]
fn pieces_of_many_small_patterns() {
    let makers: [(&str, &[usize]); 1] =
        [("Row Works", &[3, 2, 4, 3, 3, 2, 5, 3, 4, 2, 3, 3, 2, 4])];
    for seed in 40..43 {
        agreement(&invented(&makers, seed), &Borrowing::default(), 2);
    }
}

/// So few that the piece itself may be all that tells periods apart, or all that lends.
#[test]
fn pieces_of_very_small_sources() {
    let alone = Borrowing {
        nothing: true,
        ..Borrowing::default()
    };
    for seed in 100..130 {
        for sizes in [&[5][..], &[3, 3], &[2, 4, 3]] {
            let csv = invented(&[("Hill", sizes)], seed);
            agreement(&csv, &Borrowing::default(), 1);
            agreement(&csv, &alone, 1);
        }
    }
}

#[test]
fn pieces_of_a_source_without_borrowing() {
    let borrowing = Borrowing {
        nothing: true,
        ..Borrowing::default()
    };
    all_agree(&invented(&MAKERS, 2), &borrowing, 5);
}

/// Two families named, one dimension left to the third; a spread that the user states.
#[test]
fn pieces_of_a_source_with_families_and_a_stated_spread() {
    let name = |key: &str| key.to_owned();
    let borrowing = Borrowing {
        nothing: false,
        families: vec![vec![name("a"), name("tilt")], vec![name("b")]],
        stated: BTreeMap::from([(name("c"), 0.021)]),
    };
    all_agree(&invented(&MAKERS[1..], 3), &borrowing, 2);
    all_agree(&invented(&MAKERS, 4), &borrowing, 17);
}

/// Pieces of another table; some bear the names of pieces of the source, of their own and of
/// another pattern, which then do not speak.
#[test]
fn pieces_of_another_table() {
    let source = table(&invented(&MAKERS, 5));
    let cohort = Cohort::new(&source, &Choice::default()).unwrap();
    let borrowing = Borrowing::default();
    let evidence = Evidence::gather(&cohort, &borrowing);
    let naive = Naive {
        table: &source,
        borrowing: &borrowing,
    };
    // The same names, in other patterns.
    let others = table(&invented(&[("Row Works", &[9, 5, 9, 2, 30, 3])], 6));
    let mut elsewhere = 0;
    for row in (0..others.specimens.len()).step_by(3) {
        let own = source
            .specimens
            .find(others.specimens.names.get(row))
            .unwrap();
        let foreign = group_of(&source, own) != group_of(&others, row);
        elsewhere += usize::from(foreign);
        let piece = Piece {
            table: &others,
            row,
            own: vec![own],
        };
        naive.compare(&piece, &check_against(&evidence, &others, row, &settings()));
    }
    assert!(elsewhere > 5);
}

/// `flag` tells what `check` finds out of norm, to the last bit, where references are many (its
/// quick limits are for these), worn, coarse or far off, and pieces lack readings.
#[test]
fn flags_are_the_out_of_norm_readings_of_all_checks() {
    for seed in 7..13 {
        let mut csv = invented(&MAKERS, seed);
        if seed > 8 {
            // All readings of a column alike: only then are the limits of a reference quick.
            csv = csv.replace(" ± 1", "").replace(" ± 2", "");
        }
        let source = table(&csv);
        let cohort = Cohort::new(&source, &Choice::default()).unwrap();
        let evidence = Evidence::gather(&cohort, &Borrowing::default());
        let flags = flag(&evidence, &settings());
        let mut left = flags.iter();
        // Each judged piece's least p, and whether its flags say to look at it first.
        let (mut least, mut first) = (Vec::new(), Vec::new());
        for row in 0..source.specimens.len() {
            let check = check(&evidence, row, &settings());
            let p = check.dimensions.iter().filter_map(|d| d.judged);
            if let Some(p) = p.map(|j| j.p_adjusted).min_by(f64::total_cmp) {
                least.push(p);
                let of_row = flags.iter().find(|flag| flag.row == row);
                first.push(of_row.is_some_and(|flag| flag.look_first));
            }
            for d in check
                .dimensions
                .iter()
                .filter(|d| d.verdict == Verdict::OutOfNorm)
            {
                let (flag, judged) = (left.next().unwrap(), d.judged.unwrap());
                assert_eq!((flag.row, flag.dimension), (row, d.dimension));
                assert_eq!(flag.p.to_bits(), judged.p.to_bits());
                assert_eq!(flag.p_adjusted.to_bits(), judged.p_adjusted.to_bits());
            }
        }
        let adjusted = benjamini_hochberg(&least);
        let wanted: Vec<bool> = adjusted.iter().map(|&p| p <= ALPHA).collect();
        assert_eq!(first, wanted);
        assert!(left.next().is_none() && flags.len() > 20, "{}", flags.len());
    }
}
