//! Which group of references a piece is most like, against another program's worked case, against
//! discriminant analysis of real specimens, and against a published table of dated pieces.

use std::collections::HashMap;

use calibriar::catalogue::Catalogue;
use calibriar::cohort::{Choice, Cohort, Selection};
use calibriar::norm::{Borrowing, Evidence, Settings};
use calibriar::periods::{Candidate, Dater, Dating, Grounds};
use calibriar::stats::{
    Copula, GroupLikelihood, PairedResiduals, Predictive, Prior, Rated, ShrunkCorrelation,
    posterior, shrunk_correlation, t_ln_density,
};
use calibriar::table::{Content, Options, Table, read};
use statrs::distribution::{Continuous, StudentsT};

use super::methods_cases::{case, numbers};
use crate::common::assert_rel;
use crate::common::draw::Draw;

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
    for (got, want) in got
        .matrix
        .iter()
        .flatten()
        .zip(want.matrix.iter().flatten())
    {
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
        ..Options::default()
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
        let miss = |of: &Candidate| (of.posterior - f64::from(u8::from(of.name == *own))).powi(2);
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

/// As many right as linear discriminant analysis has, on the same scale, and a Brier score no worse.
#[track_caller]
fn at_least_as_well(name: &str, datings: &[(Dating, String)], n: usize, reached: (usize, f64)) {
    let (pieces, right, brier) = scored(datings);
    assert_eq!(pieces, n);
    let key = (
        format!("{name}_log"),
        "LDA".to_owned(),
        "divisor_n".to_owned(),
    );
    let (their_right, their_brier) = others()[&key];
    assert!(right >= their_right, "{name}: {right}, not {their_right}");
    assert!(
        brier <= their_brier,
        "{name}: Brier {brier}, not {their_brier}"
    );
    // The figures of docs/dating.md.
    assert_eq!(right, reached.0, "{name}");
    assert!((brier - reached.1).abs() < 5e-6, "{name}: Brier {brier}");
}

#[test]
fn penguins_species_as_periods() {
    let csv = data("real_tables/penguins.csv");
    let table = table(csv, &[("group", "period")], &["year", "island", "sex"]);
    at_least_as_well("penguins_species", &dated(&table), 342, (338, 0.016145));
}

#[test]
fn crabs_four_groups_as_periods() {
    let csv = data("real_tables/crabs.csv");
    let table = table(csv, &[("group", "period")], &["species", "sex", "index"]);
    at_least_as_well("crabs_four_groups", &dated(&table), 200, (191, 0.056954));
}

/// Stem fragments by bore in 64ths of an inch: of each period the shares of the bores, in per cent.
/// Source: Harrington 1954 (`stem_bore_periods.csv`; `status` says which cells were confirmed and
/// which are from memory).
fn bores() -> Vec<(String, Vec<(u32, u32)>)> {
    let text = String::from_utf8(data("stem_bore_periods.csv")).unwrap();
    let mut periods: Vec<(String, Vec<(u32, u32)>)> = Vec::new();
    for row in crate::common::rows(&text) {
        let name = format!("{}-{}", row[0], row[1]);
        if periods.last().is_none_or(|p| p.0 != name) {
            periods.push((name, Vec::new()));
        }
        let last = periods.last_mut().unwrap();
        last.1
            .push((row[2].parse().unwrap(), row[4].parse().unwrap()));
    }
    periods
}

fn fragments(rows: &str) -> Table {
    let csv = format!("specimen,period,fragment_bore (in)\n{rows}");
    table(csv.into_bytes(), &[], &[])
}

/// The pieces of one table dated by those of another.
fn dated_by(references: &Table, pieces: &Table) -> Vec<Dating> {
    let choice = Choice {
        periods: Selection::Every,
        unknown_state: false,
    };
    let cohort = Cohort::new(references, &choice).unwrap();
    let evidence = Evidence::gather(&cohort, &Borrowing::default());
    let settings = Settings::new(0.95, 0.95, 0.05).unwrap();
    let dater = Dater::new(&evidence, Grounds::default(), &settings);
    let rows = 0..pieces.specimens.len();
    rows.map(|row| dater.date_of(pieces, row)).collect()
}

fn share(dating: &Dating, period: &str) -> f64 {
    let of = dating.candidates.iter().find(|c| c.name == period);
    of.unwrap().posterior
}

/// The mean bore of the one period all of whose shares are confirmed, by the published formula
/// (Binford 1962, `stem_bore_regression.csv`), and by the fragments themselves.
#[test]
fn a_mean_bore_is_put_into_its_period() {
    let periods = bores();
    let (name, own) = &periods[1];
    assert_eq!(name, "1650-1680");
    let mean = own
        .iter()
        .map(|(b, share)| f64::from(b * share))
        .sum::<f64>()
        / 100.0;
    assert!((mean - 7.07).abs() < 1e-12);
    let date = 1931.85 - 38.26 * mean;
    assert!((date - 1661.3518).abs() < 1e-4 && (1650.0..1680.0).contains(&date));
    let (references, _) = means(&periods, 20, 10, 1);
    let piece = fragments(&format!("X,,{}\n", mean / 64.0));
    let dating = &dated_by(&references, &piece)[0];
    assert!(share(dating, name) > 0.99, "{:?}", dating.candidates);
}

/// Single fragments, a hundred of each period as the table has them: beside the exact shares by Bayes,
/// which count bores where `date` has a normal law and readings to 1/64 inch.
#[test]
fn single_fragments_get_about_their_exact_shares() {
    let periods = bores();
    let mut rows = String::new();
    for (name, of) in &periods {
        for (bore, share) in of {
            for i in 0..*share {
                rows += &format!("{name} {bore} {i},{name},{bore}/64\n");
            }
        }
    }
    let pieces: String = (3..=9)
        .map(|bore| format!("X{bore},,{bore}/64\n"))
        .collect();
    let datings = dated_by(&fragments(&rows), &fragments(&pieces));
    let (mut right, mut claimed, mut exact_right) = (0.0, 0.0, 0.0);
    for (dating, bore) in datings.iter().zip(3..=9) {
        let count = |of: &[(u32, u32)]| of.iter().find(|(b, _)| *b == bore).map_or(0, |x| x.1);
        let all: u32 = periods.iter().map(|(_, of)| count(of)).sum();
        let exact = |at: usize| f64::from(count(&periods[at].1)) / f64::from(all);
        let top = dating.ranking()[0];
        let most = (0..periods.len()).map(exact).fold(0.0, f64::max);
        let weight = f64::from(all) / 500.0;
        right += weight * exact(top);
        exact_right += weight * most;
        claimed += weight * dating.candidates[top].posterior;
    }
    assert!((right - exact_right).abs() < 1e-9, "{right}, {exact_right}");
    assert!((right - claimed).abs() < 0.05, "{right}, {claimed}");
}

/// Fragments drawn from each period, `each` assemblages of `size`: their mean bores as a table, and the
/// periods they came from.
fn means(
    periods: &[(String, Vec<(u32, u32)>)],
    each: usize,
    size: usize,
    seed: u64,
) -> (Table, Vec<String>) {
    let mut draw = Draw::seeded(seed);
    let (mut rows, mut own) = (String::new(), Vec::new());
    for (name, of) in periods {
        for i in 0..each {
            let mut sum = 0;
            for _ in 0..size {
                let mut left = draw.uniform() * 100.0;
                let drawn = of.iter().find(|(_, share)| {
                    left -= f64::from(*share);
                    left < 0.0
                });
                sum += drawn.unwrap_or(of.last().unwrap()).0;
            }
            let mean = f64::from(sum) / size as f64 / 64.0;
            rows += &format!("{seed} {name} {i},{name},{mean:.5}\n");
            own.push(name.clone());
        }
    }
    (fragments(&rows), own)
}

/// Mean bores of assemblages of four and of ten fragments: as many right as the shares say.
#[test]
fn means_of_fragments_are_right_as_often_as_claimed() {
    let periods = bores();
    for (size, least) in [(4, 0.8), (10, 0.9)] {
        let (references, _) = means(&periods, 20, size, 2);
        let (pieces, own) = means(&periods, 100, size, 3);
        let datings = dated_by(&references, &pieces);
        let (mut right, mut claimed, mut variance) = (0.0, 0.0, 0.0);
        for (dating, own) in datings.iter().zip(&own) {
            let top = &dating.candidates[dating.ranking()[0]];
            right += f64::from(u8::from(top.name == *own));
            claimed += top.posterior;
            variance += top.posterior * (1.0 - top.posterior);
        }
        assert!(right >= least * own.len() as f64);
        // The references are drawn too, once for all pieces: twice the binomial deviation at three.
        assert!((right - claimed).abs() <= 6.0 * variance.sqrt());
    }
}
