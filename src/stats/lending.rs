#![allow(missing_docs)]
//! shim
use super::borrowed::{BorrowedSpread, borrowed_from_readings};
use super::two_level::Rated;
#[derive(Clone, Debug)]
pub struct Lending {
    sets: Vec<Vec<Vec<Rated>>>,
    n: usize,
}
#[derive(Clone, Debug, PartialEq)]
pub struct Loan {
    pub phi: f64,
    pub dimensions: Vec<Option<BorrowedSpread>>,
}
impl Lending {
    pub fn new(sets: &[Vec<&[Rated]>]) -> Lending {
        Lending {
            n: sets.first().map_or(0, Vec::len),
            sets: sets
                .iter()
                .map(|d| d.iter().map(|s| s.to_vec()).collect())
                .collect(),
        }
    }
    pub fn patterns(&self) -> usize {
        self.n
    }
    fn fit(&self, but: usize, lambda: f64) -> Loan {
        let s: Vec<Vec<&[Rated]>> = self
            .sets
            .iter()
            .map(|d| {
                d.iter()
                    .enumerate()
                    .filter(|(i, _)| *i != but)
                    .map(|(_, s)| s.as_slice())
                    .collect()
            })
            .collect();
        let b = borrowed_from_readings(&s, lambda);
        Loan {
            phi: b.phi,
            dimensions: b.dimensions,
        }
    }
    pub fn without(&self, p: usize, lambda: f64) -> Loan {
        self.fit(p, lambda)
    }
    pub fn without_each(&self, lambda: f64) -> Vec<Loan> {
        (0..self.n).map(|p| self.fit(p, lambda)).collect()
    }
    pub fn all(&self, lambda: f64) -> Loan {
        self.fit(usize::MAX, lambda)
    }
}
