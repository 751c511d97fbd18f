//! Who was made when: the shares of pieces made in a year or later, and the sums that follow.

use std::collections::HashMap;
use std::ops::Range;

use super::Dated;

/// More candidates than that are thinned out: each then stands for several years.
const MOST_CANDIDATES: usize = 160;

/// The dates of pieces in sets, and the candidates for the first year of a new practice.
///
/// Only years that some date covers count: where none does, all years of the gap mean the same.
pub(super) struct Design {
    /// Each set's pieces; those of sets of one are left out.
    pub(super) sets: Vec<Range<usize>>,
    /// Place in the input of each piece.
    pub(super) source: Vec<u32>,
    /// First and last covered year (by its number) of each distinct date.
    spans: Vec<(u32, u32)>,
    /// Share of all pieces made before each covered year, as the dates together tell it.
    before: Vec<f64>,
    /// One over the share of all pieces that was made within each distinct date.
    per_own: Vec<f64>,
    span_of: Vec<u32>,
    /// Pieces of each distinct date.
    counts: Vec<f64>,
    covered: usize,
    /// The covered year that each candidate begins with.
    begins: Vec<u32>,
    /// First and last year of each distinct date.
    dates: Vec<(i16, i16)>,
    /// The years that each candidate stands for.
    pub(super) stretches: Vec<(i16, i16)>,
    /// Mean share of each set's pieces (a row) made at each candidate or later.
    means: Vec<f64>,
    /// How many pieces were made at each candidate or later.
    pub(super) after: Vec<f64>,
}

impl Design {
    pub(super) fn new(pieces: &[Dated]) -> Design {
        let mut order: Vec<u32> = (0..pieces.len() as u32).collect();
        if !pieces.is_sorted_by_key(|piece| piece.set) {
            order.sort_by_key(|&i| pieces[i as usize].set);
        }
        let (mut sets, mut source): (Vec<Range<usize>>, Vec<u32>) = Default::default();
        for of_set in order.chunk_by(|&a, &b| pieces[a as usize].set == pieces[b as usize].set) {
            if of_set.len() > 1 {
                sets.push(source.len()..source.len() + of_set.len());
                source.extend(of_set);
            }
        }
        let years = covered(source.iter().map(|&i| &pieces[i as usize]));
        let number: HashMap<i16, u32> = (0..).zip(&years).map(|(at, &year)| (year, at)).collect();
        let mut known: HashMap<(i16, i16), u32> = HashMap::new();
        let (mut spans, mut dates) = (Vec::new(), Vec::new());
        let span_of = source.iter().map(|&i| {
            let Dated { from, to, .. } = pieces[i as usize];
            *known.entry((from, to)).or_insert_with(|| {
                spans.push((number[&from], number[&to]));
                dates.push((from, to));
                spans.len() as u32 - 1
            })
        });
        let span_of: Vec<u32> = span_of.collect();
        let step = years
            .len()
            .saturating_sub(1)
            .div_ceil(MOST_CANDIDATES)
            .max(1);
        let begins: Vec<u32> = (1..years.len()).step_by(step).map(|at| at as u32).collect();
        let stretches = begins.iter().map(|&at| {
            let end = (at as usize + step - 1).min(years.len() - 1);
            (years[at as usize - 1] + 1, years[end])
        });
        let mut counts = vec![0.0; spans.len()];
        for &span in &span_of {
            counts[span as usize] += 1.0;
        }
        let before = made_before(&spans, &counts, years.len());
        let own = spans.iter().map(|&(first, last): &(u32, u32)| {
            1.0 / (before[last as usize + 1] - before[first as usize])
        });
        let mut design = Design {
            stretches: stretches.collect(),
            sets,
            source,
            per_own: own.collect(),
            before,
            spans,
            dates,
            span_of,
            counts,
            covered: years.len(),
            begins,
            means: Vec::new(),
            after: Vec::new(),
        };
        let (mut changes, mut sums) = (design.buffer(), Vec::new());
        design.sums_of_dates(&design.counts, &mut changes, &mut sums);
        design.after.extend(&sums);
        for of_set in &design.sets {
            design.sums_into(of_set.clone(), |_| 1.0, &mut changes, &mut sums);
            let n = of_set.len() as f64;
            design.means.extend(sums.iter().map(|sum| sum / n));
        }
        design
    }

    /// How many pieces.
    pub(super) fn len(&self) -> usize {
        self.source.len()
    }

    /// How many candidates.
    pub(super) fn candidates(&self) -> usize {
        self.begins.len()
    }

    /// How many distinct dates.
    pub(super) fn dates(&self) -> usize {
        self.spans.len()
    }

    /// The distinct date of each piece, by its number.
    pub(super) fn date_of(&self) -> &[u32] {
        &self.span_of
    }

    /// Pieces of each distinct date.
    pub(super) fn counts(&self) -> &[f64] {
        &self.counts
    }

    /// First and last year of a piece's date.
    pub(super) fn date(&self, piece: usize) -> (i16, i16) {
        self.dates[self.span_of[piece] as usize]
    }

    fn share_of_span(&self, span: usize, begin: u32) -> f64 {
        let (first, last) = self.spans[span];
        if begin <= first {
            1.0
        } else if begin > last {
            0.0
        } else {
            (self.before[last as usize + 1] - self.before[begin as usize]) * self.per_own[span]
        }
    }

    /// The distribution of years as the dates alone tell it, for a candidate to move.
    pub(super) fn made(&self) -> Made<'_> {
        let mut made = Made {
            design: self,
            before: self.before.clone(),
            changes: vec![0.0; self.covered + 1],
        };
        // No year is first for any piece: all of each range counts.
        for _ in 0..Made::ROUNDS {
            made.move_to(0, &[]);
        }
        made
    }

    /// The share of each distinct date at one candidate.
    pub(super) fn shares(&self, candidate: usize) -> Vec<f64> {
        let begin = self.begins[candidate];
        (0..self.spans.len())
            .map(|span| self.share_of_span(span, begin))
            .collect()
    }

    /// Sum of scores, each by its piece's share, at each candidate.
    pub(super) fn sums(&self, scores: &[f64]) -> Vec<f64> {
        let mut of_dates = vec![0.0; self.spans.len()];
        for (&span, score) in self.span_of.iter().zip(scores) {
            of_dates[span as usize] += score;
        }
        let mut sums = Vec::new();
        self.sums_of_dates(&of_dates, &mut self.buffer(), &mut sums);
        sums
    }

    /// The same of sums of each distinct date's scores.
    fn sums_of_dates(&self, of_dates: &[f64], changes: &mut [f64], sums: &mut Vec<f64>) {
        changes.fill(0.0);
        for (span, score) in of_dates.iter().enumerate() {
            self.change(span, *score, changes);
        }
        self.add_up(changes, sums);
    }

    /// The same of some pieces, into buffers; `changes` has one place more than there are covered years.
    pub(super) fn sums_into(
        &self,
        pieces: Range<usize>,
        score: impl Fn(usize) -> f64,
        changes: &mut [f64],
        sums: &mut Vec<f64>,
    ) {
        changes.fill(0.0);
        for piece in pieces {
            self.change(self.span_of[piece] as usize, score(piece), changes);
        }
        self.add_up(changes, sums);
    }

    /// What a score adds to each year from the first of its date on, and takes after the last.
    fn change(&self, span: usize, score: f64, changes: &mut [f64]) {
        let (first, last) = self.spans[span];
        let a_year = score * self.per_own[span];
        changes[first as usize] += a_year;
        changes[last as usize + 1] -= a_year;
    }

    /// Sums at each candidate from the changes from year to year.
    fn add_up(&self, changes: &mut [f64], sums: &mut Vec<f64>) {
        let mut a_year = 0.0;
        for (change, made) in changes.iter_mut().zip(self.before.windows(2)) {
            a_year += *change;
            *change = a_year * (made[1] - made[0]);
        }
        sums.clear();
        sums.resize(self.begins.len(), 0.0);
        let (mut sum, mut year) = (0.0, self.covered);
        for (sum_at, &begin) in sums.iter_mut().zip(&self.begins).rev() {
            while year > begin as usize {
                year -= 1;
                sum += changes[year];
            }
            *sum_at = sum;
        }
    }

    /// Room for [`Design::sums_into`].
    pub(super) fn buffer(&self) -> Vec<f64> {
        vec![0.0; self.covered + 1]
    }
}

/// The covariance of the sums at all pairs of candidates, when scores of some variances (a number a set)
/// are dealt out at random within each set.
pub(super) struct Covariance<'d> {
    design: &'d Design,
    /// Sum of the variances of each distinct date's pieces.
    of_dates: Vec<f64>,
    /// Variance of each set's sum of scores, were they independent.
    of_sets: Vec<f64>,
}

impl<'d> Covariance<'d> {
    pub(super) fn new(design: &'d Design, variances: &[f64]) -> Covariance<'d> {
        let mut of_dates = vec![0.0; design.spans.len()];
        for (of_set, variance) in design.sets.iter().zip(variances) {
            for &span in &design.span_of[of_set.clone()] {
                of_dates[span as usize] += variance;
            }
        }
        let sets = design.sets.iter().zip(variances);
        Covariance {
            design,
            of_dates,
            of_sets: sets
                .map(|(of, variance)| variance * of.len() as f64)
                .collect(),
        }
    }

    /// Variance of the sum at each candidate.
    pub(super) fn variances(&self) -> Vec<f64> {
        self.weighed(|shares, to| {
            for (to, share) in to.iter_mut().zip(shares) {
                *to = share * share;
            }
        })
    }

    /// Covariances of one candidate's sum with all.
    pub(super) fn row(&self, candidate: usize) -> Vec<f64> {
        self.weighed(|shares, to| {
            let own = shares[candidate];
            for (to, share) in to.iter_mut().zip(shares) {
                *to = own * share;
            }
        })
    }

    /// Products of shares, of dates less those of sets' means, weighed and added up.
    fn weighed(&self, product: impl Fn(&[f64], &mut [f64])) -> Vec<f64> {
        let m = self.design.candidates();
        let (mut sums, mut products) = (vec![0.0; m], vec![0.0; m]);
        self.each(|shares, mass| {
            product(shares, &mut products);
            for (sum, product) in sums.iter_mut().zip(&products) {
                *sum += mass * product;
            }
        });
        sums
    }

    /// All of them, row by row.
    pub(super) fn whole(&self) -> Vec<f64> {
        let m = self.design.candidates();
        let mut covariance = vec![0.0; m * m];
        self.each(|shares, mass| add_outer(&mut covariance, shares, mass));
        for row in 0..m {
            for column in row + 1..m {
                covariance[row * m + column] = covariance[column * m + row];
            }
        }
        covariance
    }

    /// Shares at all candidates with their weight: of each date, then of each set's mean, which is taken off.
    fn each(&self, mut add: impl FnMut(&[f64], f64)) {
        let design = self.design;
        let m = design.candidates();
        let mut shares = Vec::with_capacity(m);
        for (span, mass) in self.of_dates.iter().enumerate() {
            let of_span = design.begins.iter();
            shares.clear();
            shares.extend(of_span.map(|&begin| design.share_of_span(span, begin)));
            add(&shares, *mass);
        }
        for (means, mass) in design.means.chunks(m.max(1)).zip(&self.of_sets) {
            add(means, -mass);
        }
    }
}

/// The distribution of years that fits dates and readings best, when pieces of a range are of the old
/// or the new practice as their readings tell.
///
/// The dates alone do not tell it well: within a gap between bunches its masses are spikes of chance.
/// Each candidate for the first year gets the distribution that suits it, at the price of how well
/// that suits the dates.
#[derive(Clone)]
pub(super) struct Made<'d> {
    design: &'d Design,
    before: Vec<f64>,
    changes: Vec<f64>,
}

impl Made<'_> {
    /// Rounds on the dates alone.
    const ROUNDS: usize = 200;
    /// Pieces beforehand, spread evenly over all years: no year is impossible.
    const EVEN: f64 = 1.0;

    fn mass(&self, from: u32, to: u32) -> f64 {
        self.before[to as usize] - self.before[from as usize]
    }

    /// The share of each distinct date at a candidate.
    pub(super) fn shares(&self, candidate: usize, shares: &mut Vec<f64>) {
        let begin = self.design.begins[candidate];
        shares.clear();
        shares.extend(self.design.spans.iter().map(|&(first, last)| {
            if begin <= first {
                1.0
            } else if begin > last {
                0.0
            } else {
                self.mass(begin, last + 1) / self.mass(first, last + 1)
            }
        }));
    }

    /// The distinct date of each piece.
    pub(super) fn span_of(&self) -> &[u32] {
        &self.design.span_of
    }

    /// How many distinct dates.
    pub(super) fn spans(&self) -> usize {
        self.design.spans.len()
    }

    /// Logarithm of the probability of the dates.
    pub(super) fn log(&self) -> f64 {
        let spans = self.design.spans.iter().zip(&self.design.counts);
        let dates: f64 = spans
            .map(|(&(first, last), count)| count * self.mass(first, last + 1).ln())
            .sum();
        let years = self.before.windows(2);
        let each = Self::EVEN / (self.before.len() - 1) as f64;
        dates + years.map(|f| each * (f[1] - f[0]).ln()).sum::<f64>()
    }

    /// One round of expectation and maximisation: `after` is how many of each distinct date's pieces
    /// are of the new practice by date and reading.
    pub(super) fn move_to(&mut self, candidate: usize, after: &[f64]) {
        let begin = self.design.begins.get(candidate).copied().unwrap_or(0);
        let mut changes = std::mem::take(&mut self.changes);
        changes.fill(0.0);
        let mut add = |from: u32, to: u32, count: f64| {
            let a_year = count / self.mass(from, to);
            changes[from as usize] += a_year;
            changes[to as usize] -= a_year;
        };
        for (span, (&(first, last), &count)) in self
            .design
            .spans
            .iter()
            .zip(&self.design.counts)
            .enumerate()
        {
            match after.get(span) {
                Some(&after) if first < begin && begin <= last => {
                    add(first, begin, count - after);
                    add(begin, last + 1, after);
                }
                _ => add(first, last + 1, count),
            }
        }
        let years = self.before.len() - 1;
        let n = self.design.counts.iter().sum::<f64>() + Self::EVEN;
        let (mut a_year, mut sum, mut old) = (0.0, 0.0, 0.0);
        for (year, change) in changes.iter().take(years).enumerate() {
            a_year += change;
            let next = self.before[year + 1];
            let made = (next - old) * f64::max(a_year, 0.0);
            old = next;
            sum += (made + Self::EVEN / years as f64) / n;
            self.before[year + 1] = sum;
        }
        self.changes = changes;
    }
}

/// Adds the lower triangle of a vector's product with itself; its elements fall and end in zeros.
fn add_outer(to: &mut [f64], vector: &[f64], mass: f64) {
    let m = vector.len();
    for (row, &of_row) in vector.iter().enumerate() {
        if of_row == 0.0 {
            break;
        }
        let scaled = mass * of_row;
        for (to, of_column) in to[row * m..].iter_mut().zip(&vector[..=row]) {
            *to += scaled * of_column;
        }
    }
}

/// The share of all pieces made before each covered year, and at the end all: within its date a piece
/// is of the years in which others were made rather than of empty ones.
///
/// A few rounds of self-consistency (B. W. Turnbull, Journal of the Royal Statistical Society B 38
/// (1976) 290-295) from even years on; more would make spikes of chance.
fn made_before(spans: &[(u32, u32)], counts: &[f64], years: usize) -> Vec<f64> {
    const ROUNDS: usize = 30;
    /// Pieces beforehand, spread evenly over all years, for each piece there is: no year is impossible.
    const EVEN: f64 = 0.01;
    let n: f64 = counts.iter().sum();
    let even = |at: usize| at as f64 / years.max(1) as f64;
    let mut before: Vec<f64> = (0..=years).map(even).collect();
    let mut changes = vec![0.0; years + 1];
    for _ in 0..ROUNDS {
        changes.fill(0.0);
        for (&(first, last), count) in spans.iter().zip(counts) {
            let own = before[last as usize + 1] - before[first as usize];
            changes[first as usize] += count / own;
            changes[last as usize + 1] -= count / own;
        }
        let (mut a_year, mut sum) = (0.0, 0.0);
        let mut next = vec![0.0; years + 1];
        for year in 0..years {
            a_year += changes[year];
            let made = (before[year + 1] - before[year]) * a_year.max(0.0) / n;
            sum += (made + EVEN / years as f64) / (1.0 + EVEN);
            next[year + 1] = sum;
        }
        before = next;
    }
    before
}

/// The years that any date covers, ascending.
fn covered<'p>(pieces: impl Iterator<Item = &'p Dated>) -> Vec<i16> {
    let mut dates: Vec<(i16, i16)> = pieces.map(|piece| (piece.from, piece.to)).collect();
    dates.sort_unstable();
    dates.dedup();
    let mut years: Vec<i16> = Vec::new();
    for (from, to) in dates {
        let from = years
            .last()
            .map_or(from, |&last| from.max(last.saturating_add(1)));
        if years.last() != Some(&i16::MAX) {
            years.extend(from..=to);
        }
    }
    years
}
