//! Squared distances of many pieces, sorted within groups, so that their capped sums are looked up.

/// Squared distances by group.
pub(super) struct Squares {
    groups: Vec<Group>,
    len: usize,
}

#[derive(Clone, Default)]
struct Group {
    /// Ascending.
    squares: Vec<f64>,
    /// Sums of the first so many, from none to all, and of their squares.
    sums: Vec<f64>,
    fourths: Vec<f64>,
}

/// Sums over a group with each square capped.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Capped {
    /// Of the squares.
    pub(super) sum: f64,
    /// Of the squares' squares.
    pub(super) fourths: f64,
    /// Of the squares under the cap.
    pub(super) inner: f64,
}

impl Squares {
    /// Each piece's distance with its group, of so many.
    pub(super) fn new(groups: usize, pieces: impl Iterator<Item = (u32, f64)>) -> Squares {
        let mut all = Squares {
            groups: vec![Group::default(); groups],
            len: 0,
        };
        for (group, distance) in pieces {
            all.groups[group as usize].squares.push(distance * distance);
            all.len += 1;
        }
        all.groups.iter_mut().for_each(Group::settle);
        all
    }

    /// How many pieces there are.
    pub(super) fn len(&self) -> usize {
        self.len
    }

    /// The squares of a group, ascending.
    pub(super) fn of(&self, group: usize) -> &[f64] {
        &self.groups[group].squares
    }

    /// Sums over a group with each square capped at `most`.
    pub(super) fn capped(&self, group: usize, most: f64) -> Capped {
        let group = &self.groups[group];
        let under = group.squares.partition_point(|square| *square < most);
        let over = (group.squares.len() - under) as f64;
        Capped {
            sum: group.sums[under] + over * most,
            fourths: group.fourths[under] + over * most * most,
            inner: group.sums[under],
        }
    }
}

impl Group {
    fn settle(&mut self) {
        self.squares.sort_unstable_by(f64::total_cmp);
        let running = |power: &dyn Fn(f64) -> f64| {
            let mut sum = 0.0;
            let sums = self.squares.iter().map(|&square| {
                sum += power(square);
                sum
            });
            std::iter::once(0.0).chain(sums).collect()
        };
        self.sums = running(&|square| square);
        self.fourths = running(&|square| square * square);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sums_are_those_of_the_pieces() {
        let pieces = [(0, 3.0), (2, -1.0), (0, 0.5), (2, 2.0), (2, 2.0)];
        let all = Squares::new(3, pieces.into_iter());
        assert_eq!(
            (all.len(), all.of(0), all.of(1).len()),
            (5, &[0.25, 9.0][..], 0)
        );
        for most in [0.1, 1.0, 4.0, 20.0] {
            for group in 0..3 {
                let own = pieces.iter().filter(|p| p.0 == group as u32);
                let squares: Vec<f64> = own.map(|p| p.1 * p.1).collect();
                let capped = all.capped(group, most);
                let of = |power: i32| squares.iter().map(|s| s.min(most).powi(power)).sum::<f64>();
                let inner: f64 = squares.iter().filter(|s| **s < most).sum();
                assert_eq!(
                    (capped.sum, capped.fourths, capped.inner),
                    (of(1), of(2), inner)
                );
            }
        }
    }
}
