//! Which group of references a piece is most like, against another program's worked case, against
//! discriminant analysis of real specimens, and against a published table of dated pieces.

use std::collections::HashMap;

use calibriar::catalogue::Catalogue;
use calibriar::cohort::{Choice, Cohort, Selection};
use calibriar::norm::{Borrowing, Evidence, Settings};
use calibriar::periods::{Dater, Dating, Grounds};
use calibriar::stats::{
    Copula, GroupLikelihood, PairedResiduals, Predictive, Prior, Rated, ShrunkCorrelation,
    posterior, shrunk_correlation, t_ln_density,
};
use calibriar::table::{Content, Options, Table, read};
use statrs::distribution::{Continuous, StudentsT};

use super::methods_cases::{case, numbers};
use crate::common::assert_rel;

fn matrix(value: &serde_json::Value) -> Vec<Vec<f64>> {
    value.as_array().unwrap().iter().map(numbers).collect()
}

#[test]
fn case25_posterior_over_three_periods() {
    let case = case("case25-period-attribution");
    let (input, want) = (&case["input"], &case["expected"]);
    let number = |key: &str| input[key].as_f64().unwrap();
    let labels: Vec<u32> = input["period"]
        .as_array()
        .unwrap()
        .iter()
        .map(|p| u32::from(p.as_str().unwrap().as_bytes()[0]))
        .collect();
    let prior = Prior {
        df: number("d0"),
        variance: number("s02"),
        lambda: number("lambda_"),
    };
    let norms: Vec<Predictive> = matrix(&input["x"])
        .iter()
        .map(|x| {
            let rated = x.iter().zip(&labels).map(|(&x, &label)| Rated {
                x,
                u: number("u"),
                period: Some(label),
            });
            Predictive::new(&rated.collect::<Vec<Rated>>(), &prior).unwrap()
        })
        .collect();
    let copula = Copula::new(ShrunkCorrelation {
        matrix: matrix(&input["R"]),
        shrinkage: 0.0,
    });
    assert_eq!(copula.correlation().shrinkage, 0.0);
    let under = |label: char| {
        let stand = |(norm, y): (&Predictive, f64)| {
            let period = Some(u32::from(label));
            let u = number("u_new");
            (norm.judge_dated(Rated { x: y, u, period }).1, norm.df())
        };
        let standpoints: Vec<_> = norms.iter().zip(numbers(&input["y"])).map(stand).collect();
        let scores: Vec<f64> = standpoints.iter().map(|s| s.0.z).collect();
        (scores, GroupLikelihood::new(&standpoints, &copula).ln())
    };
    let found: Vec<(Vec<f64>, f64)> = ['A', 'B', 'C'].into_iter().map(under).collect();
    for ((scores, ln), (z, want)) in found
        .iter()
        .zip(matrix(&want["z"]).iter().zip(numbers(&want["loglik"])))
    {
        assert_rel(*ln, want, 1e-9);
        for (got, want) in scores.iter().zip(z) {
            assert_rel(*got, *want, 1e-9);
        }
    }
    let ln: Vec<f64> = found.iter().map(|f| f.1).collect();
    let shares = posterior(&ln, &[1.0; 3]).unwrap();
    for (got, want) in shares.iter().zip(numbers(&want["posterior"])) {
        assert_rel(*got, want, 1e-9);
    }
}

/// Truth: statrs, at everyday points.
#[test]
fn density_of_t() {
    for df in [0.5, 1.0, 2.5, 7.0, 30.0, 99.5, 100.5, 3000.0] {
        let t = StudentsT::new(0.0, 1.0, df).unwrap();
        for x in [-40.0, -3.0, -0.1, 0.0, 1.0, 2.5, 12.0] {
            assert_rel(t_ln_density(x, df), t.ln_pdf(x), 1e-10);
        }
    }
}

/// Where every piece has every dimension and periods do not differ, the paired residuals are those of
/// the shapes' misfit, whose correlation other checks hold.
#[test]
fn correlation_of_complete_pieces_is_that_of_the_misfit() {
    let rows = [
        [1.0, 2.0, 0.5],
        [1.3, 2.4, 0.1],
        [0.8, 1.7, 0.9],
        [1.1, 2.3, 0.6],
        [0.7, 1.9, 0.2],
        [1.6, 2.2, 0.4],
    ];
    let priors = [0.1, 0.2, 0.3].map(|variance| Prior {
        df: 5.0,
        variance,
        lambda: 0.0,
    });
    let mut paired = PairedResiduals::new(3);
    let mut residuals: Vec<Vec<f64>> = Vec::new();
    for set in rows.chunks(3) {
        let pieces: Vec<(Option<u32>, Vec<Option<f64>>)> = set
            .iter()
            .map(|row| (Some(1), row.iter().copied().map(Some).collect()))
            .collect();
        paired.add(&pieces, &priors);
        let mut complete = vec![Vec::new(); 3];
        for (d, prior) in priors.iter().enumerate() {
            let mean = set.iter().map(|row| row[d]).sum::<f64>() / 3.0;
            let squares: f64 = set.iter().map(|row| (row[d] - mean).powi(2)).sum();
            let s = ((5.0 * prior.variance + squares) / 7.0).sqrt();
            for (row, piece) in set.iter().zip(&mut complete) {
                piece.push((row[d] - mean) / s);
            }
        }
        residuals.extend(complete);
    }
    let (got, want) = (paired.correlation(), shrunk_correlation(&residuals, 4.0));
    assert_rel(got.shrinkage, want.shrinkage, 1e-12);
    for (got, want) in got.matrix.iter().flatten().zip(want.matrix.iter().flatten()) {
        assert!((got - want).abs() < 1e-12);
    }
}

fn table(csv: Vec<u8>, columns: &[(&str, &str)], skip: &[&str]) -> Table {
    let options = Options {
        columns: columns
            .iter()
            .map(|(h, n)| ((*h).to_owned(), (*n).to_owned()))
            .collect(),
        skip: skip.iter().map(|&s| s.to_owned()).collect(),
        new_dimensions: true,
        details: false,
    };
    match read("table", csv, &options, Catalogue::standard()).unwrap() {
        Content::Measurements(sheet) => sheet.table,
        other => panic!("expected measurements, got {other:?}"),
    }
}

fn data(name: &str) -> Vec<u8> {
    let path = format!("{}/tests/data/{name}", env!("CARGO_MANIFEST_DIR"));
    std::fs::read(path).unwrap()
}

/// Every piece that has readings dated as if undated, with the name of its true period.
fn dated(table: &Table) -> Vec<(Dating, String)> {
    let choice = Choice {
        periods: Selection::Every,
        unknown_state: false,
    };
    let cohort = Cohort::new(table, &choice).unwrap();
    let evidence = Evidence::gather(&cohort, &Borrowing::default());
    let settings = Settings::new(0.95, 0.95, 0.05).unwrap();
    let dater = Dater::new(&evidence, Grounds::default(), &settings);
    (0..table.specimens.len())
        .map(|row| {
            let dating = dater.date(row);
            let own = dating.recorded.clone().unwrap();
            (dating, own)
        })
        .filter(|(dating, _)| !dating.dimensions.is_empty())
        .collect()
}

/// Pieces, right ones, and Brier's score summed over the groups.
fn scored(datings: &[(Dating, String)]) -> (usize, usize, f64) {
    let (mut right, mut brier) = (0, 0.0);
    for (dating, own) in datings {
        let top = &dating.candidates[dating.ranking()[0]];
        right += usize::from(top.name == *own);
        let miss = |of: &calibriar::periods::Candidate| {
            (of.posterior - f64::from(u8::from(of.name == *own))).powi(2)
        };
        brier += dating.candidates.iter().map(miss).sum::<f64>();
    }
    (datings.len(), right, brier / datings.len() as f64)
}

/// What discriminant analysis reaches, leave-one-out: by table and method, right ones and Brier's
/// score. Source: `classification.csv` (scikit-learn 1.9.1; MASS 7.3-58.2 agrees).
fn others() -> HashMap<(String, String, String), (usize, f64)> {
    let text = String::from_utf8(data("classification.csv")).unwrap();
    crate::common::rows(&text)
        .map(|row| {
            let key = (row[0].to_owned(), row[1].to_owned(), row[2].to_owned());
            (key, (row[7].parse().unwrap(), row[9].parse().unwrap()))
        })
        .collect()
}

#[track_caller]
fn compare(name: &str, found: (usize, usize, f64), n: usize) {
    let (pieces, right, brier) = found;
    assert_eq!(pieces, n);
    println!("{name}: {right} of {n}, Brier {brier:.6}");
    let of = |scale: &str, method: &str| {
        others()[&(
            format!("{name}_{scale}"),
            method.to_owned(),
            "divisor_n".to_owned(),
        )]
    };
    for method in ["LDA", "QDA"] {
        println!("  {method} raw {:?}, log {:?}", of("raw", method), of("log", method));
    }
}

#[test]
fn penguins_species_as_periods() {
    let csv = data("real_tables/penguins.csv");
    let table = table(csv, &[("group", "period")], &["year", "island", "sex"]);
    compare("penguins_species", scored(&dated(&table)), 342);
}

#[test]
fn crabs_four_groups_as_periods() {
    let csv = data("real_tables/crabs.csv");
    let table = table(csv, &[("group", "period")], &["species", "sex", "index"]);
    compare("crabs_four_groups", scored(&dated(&table)), 200);
}
