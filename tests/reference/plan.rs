//! Plans of least removal: against HiGHS (`plan_linprog.py`), and against every plan of a fine grid.

use calibriar::refit::{Interval, Problem, Quantity, Want, plan};
use calibriar::stats::{LinearLimit, least_cost};

#[test]
fn least_costs_are_those_of_another_solver() {
    let text = include_str!("../data/plan_linprog.jsonl");
    let (mut solved, mut impossible) = (0, 0);
    for (case, line) in text.lines().enumerate() {
        let json: serde_json::Value = serde_json::from_str(line).unwrap();
        let numbers = |value: &serde_json::Value| -> Vec<f64> {
            let all = value.as_array().unwrap().iter();
            all.map(|v| v.as_f64().unwrap()).collect()
        };
        let open = |value: &serde_json::Value, none: f64| value.as_f64().unwrap_or(none);
        let costs = numbers(&json["costs"]);
        let bounds: Vec<(f64, f64)> = numbers(&json["to"]).iter().map(|&to| (0.0, to)).collect();
        let rows = json["rows"].as_array().unwrap().iter().enumerate();
        let limits: Vec<LinearLimit> = rows
            .map(|(at, row)| LinearLimit {
                coefficients: numbers(row),
                low: open(&json["low"][at], f64::NEG_INFINITY),
                high: open(&json["high"][at], f64::INFINITY),
            })
            .collect();
        let found = least_cost(&costs, &bounds, &limits).unwrap();
        let cost = |x: &Vec<f64>| x.iter().zip(&costs).map(|(x, c)| x * c).sum::<f64>();
        match json["least"].as_f64() {
            None => {
                assert_eq!(found, None, "case {case}");
                impossible += 1;
            }
            Some(least) => {
                let found = cost(&found.unwrap());
                // Relative above 1.
                assert!(
                    (found - least).abs() < 1e-9 * least.max(1.0),
                    "case {case}: {found} against {least}"
                );
                solved += 1;
            }
        }
    }
    assert!(solved > 50 && impossible > 20, "{solved} {impossible}");
}

/// Two works on a grid of 0.01: none that keeps all limits and meets the wants costs less.
#[test]
fn no_plan_of_a_grid_takes_less() {
    let free = Interval {
        low: f64::NEG_INFINITY,
        high: f64::INFINITY,
    };
    let mut met = 0;
    for seed in 0..60_u32 {
        // A small fixed spread of numbers, no draw.
        let at = |k: u32| f64::from((seed * 7919 + k * 104_729) % 1000) / 1000.0;
        let quantity = |k: u32, stay: Interval| Quantity {
            value: 1.0,
            effects: vec![-0.2 - at(k), -1.2 + 1.6 * at(k + 1)],
            stay,
            floor: false,
        };
        let keeps = Interval {
            low: 1.0 - 0.9 * at(9),
            high: 1.0 + 0.5 * at(10),
        };
        let problem = Problem {
            costs: vec![0.5 + at(20), 0.5 + at(21)],
            free: vec![true, true],
            quantities: vec![quantity(0, free), quantity(3, keeps)],
            wants: vec![Want {
                quantity: 0,
                reach: Interval {
                    low: 0.2,
                    high: 0.6,
                },
                settled: None,
            }],
        };
        let found = plan(&problem).unwrap();
        let cost = |x: &[f64]| x[0] * problem.costs[0] + x[1] * problem.costs[1];
        let keeps_all = |x: &[f64], slack: f64| {
            let first = problem.quantities[0].after(x);
            let second = problem.quantities[1].after(x);
            (0.2 - slack..=0.6 + slack).contains(&first)
                && (keeps.low - slack..=keeps.high + slack).contains(&second)
        };
        let steps = || (0..=400).map(|i| f64::from(i) * 0.01);
        let best = steps()
            .flat_map(|a| steps().map(move |b| [a, b]))
            .filter(|x| keeps_all(x, 1e-9))
            .map(|x| cost(&x))
            .fold(f64::INFINITY, f64::min);
        if found.met.is_empty() {
            assert_eq!(best, f64::INFINITY, "seed {seed}: the grid has a plan");
            assert_eq!(found.amounts, [0.0, 0.0]);
        } else {
            assert!(keeps_all(&found.amounts, 1e-7), "seed {seed}: {found:?}");
            assert!(
                cost(&found.amounts) <= best + 1e-7,
                "seed {seed}: {found:?} {best}"
            );
            met += 1;
        }
    }
    assert!((10..60).contains(&met), "{met}");
}
