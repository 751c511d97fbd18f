//! `calibriar check --show-working`: a verdict step by step.

use std::fmt::Write as _;

use calibriar::catalogue::{Catalogue, Kind};
use calibriar::cohort::{Cohort, Reference, from_scale};
use calibriar::norm::{Settings, deviation_in_unit};
use calibriar::source::Provenance;
use calibriar::stats::{Prior, holm, noticing};
use calibriar::verdict::{DimensionWorking, Finish, Joint, Steps, Working};

use super::norms::provenance_line;
use super::output::{self, shown, wrapped};
use calibriar::words::group_title;

/// The working of some verdicts, for people.
pub(super) fn page(
    all: &[Working],
    cohort: &Cohort<'_>,
    catalogue: &Catalogue,
    settings: &Settings,
    provenance: &Provenance,
) -> String {
    let page = Page {
        cohort,
        catalogue,
        settings,
    };
    let mut text: String = all.iter().map(|w| page.piece(w) + "\n").collect();
    text.push_str(&provenance_line(provenance));
    text
}

struct Page<'a> {
    cohort: &'a Cohort<'a>,
    catalogue: &'a Catalogue,
    settings: &'a Settings,
}

/// Six digits that mean something, as many as a calculator wants.
fn number(value: f64) -> String {
    const DIGITS: i32 = 6;
    if value == 0.0 || !value.is_finite() {
        return match value {
            f64::INFINITY => "infinite".to_owned(),
            _ => format!("{value}"),
        };
    }
    let magnitude = value.abs().log10().floor();
    if !(-4.0..7.0).contains(&magnitude) {
        return format!("{value:.5e}");
    }
    let decimals = (DIGITS - 1 - magnitude as i32).max(0) as usize;
    format!("{value:.decimals$}")
}

/// A reading in its unit, without the noughts that nobody read.
fn as_read(value: f64) -> String {
    let text = number(value);
    match text.contains('.') && !text.contains('e') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text,
    }
}

/// A step: what it is called, and what it comes to.
fn step(text: &mut String, name: &str, what: &str) {
    text.push_str(&wrapped(&format!("{name}: {what}"), "    "));
}

impl Page<'_> {
    fn piece(&self, working: &Working) -> String {
        let check = &working.check;
        let mut text = format!(
            "{}: the working\n  {}\n",
            shown(&check.specimen),
            group_title(&check.maker, &check.pattern)
        );
        text.push_str(&wrapped(
            "Numbers are rounded for print; the program reckons with all digits. ln is the natural \
             logarithm, t(nu, q) the quantile of Student's t. docs/methods.md says why.",
            "  ",
        ));
        text.push_str("\n  for all dimensions\n");
        let share = working.share;
        step(
            &mut text,
            "period share",
            &match working.telling_sets {
                0 => "rho = 0, lambda = 0: nothing has a period with two references and a second \
                      period (with --no-borrowing only the piece's own pattern counts)"
                    .to_owned(),
                sets => format!(
                    "rho = {} by {} of one pattern and dimension; lambda = rho / (1 - rho) = {}",
                    number(share.rho),
                    output::counted(sets, "set", "sets"),
                    number(share.lambda())
                ),
            },
        );
        if working.dimensions.iter().any(|d| d.loan.is_some()) {
            step(
                &mut text,
                "borrowing",
                "phi, how much spreads differ between patterns, is one number for a family of \
                 dimensions; s0^2 solves sum [(f + 1/phi) q / (1/phi + q) - f] = 0 over the lenders, \
                 f = n - 1, q = f s2 / s0^2",
            );
        }
        for dimension in &working.dimensions {
            text.push('\n');
            text.push_str(&self.dimension(dimension));
        }
        text.push_str(&self.together(working));
        if let Some(joint) = &working.check.joint {
            text.push_str(&self.whole(joint));
        }
        if let Some(finish) = &working.check.finish {
            text.push_str(&self.finish(finish));
        }
        text
    }

    /// The colour as a whole.
    fn finish(&self, finish: &Finish) -> String {
        let mut text = String::from("\n  finish, L*, a* and b* together\n");
        let table = self.cohort.table();
        let names = finish
            .rows
            .iter()
            .map(|&row| shown(table.specimens.names.get(row)));
        step(
            &mut text,
            "references",
            &format!(
                "those of the same finish that have all three: {}",
                names.collect::<Vec<String>>().join(", ")
            ),
        );
        let headings = ["of", ">n", ">x", ">m", ">W", ">nu", ">T", ">p", ">z"];
        let mut rows = output::table(&headings);
        for (name, of) in ["L*", "a*", "b*"].into_iter().zip(&finish.steps) {
            let at = &of.standpoint;
            let mut cells = vec![name.to_owned(), of.norm.n().to_string()];
            let (m, nu) = (of.norm.centre(), of.norm.df());
            cells.extend([of.own.x, m, at.variance, nu, at.t, at.p, at.z].map(number));
            output::add_row(&mut rows, cells);
        }
        text.push_str(&indented(&rows));
        let whole = &finish.whole;
        step(
            &mut text,
            "together",
            &format!(
                "q = sum z^2 = {}; with the correlation R of the three among all patterns' references \
                 c = tr(R^2) / 3 = {}, f = 9 / tr(R^2) = {}; p = P(chi-square of f > q / c) = {}; rms z \
                 = sqrt(q / 3) = {}",
                number(whole.q),
                number(whole.scale),
                number(whole.df),
                number(whole.p),
                number(whole.rms)
            ),
        );
        let end = match finish.difference_at_limit {
            Some(end) => format!(
                "; on the line through the reading p = {} is reached at {}",
                self.settings.alpha(),
                number(end)
            ),
            None => String::new(),
        };
        step(
            &mut text,
            "difference",
            &format!(
                "CIEDE2000 between centre and reading = {}{end}",
                number(finish.difference)
            ),
        );
        text
    }

    /// Size, shape and misfit.
    fn whole(&self, joint: &Joint) -> String {
        let mut text = String::from("\n  size and shape\n");
        let labels: Vec<&str> = joint
            .shape
            .iter()
            .map(|s| self.catalogue.at(s.dimension).label.as_str())
            .collect();
        step(
            &mut text,
            "size",
            &format!("the mean of x over {}", labels.join(", ")),
        );
        let names = joint.rows.iter().map(|&row| {
            let names = &self.cohort.table().specimens.names;
            shown(names.get(row))
        });
        let names: Vec<String> = names.collect();
        step(
            &mut text,
            "shape",
            &format!(
                "x less the size. References are those that have all of these: {}",
                names.join(", ")
            ),
        );
        let shapes = joint.shape.iter().map(|s| &s.steps);
        let all: Vec<(&str, &Steps)> = std::iter::once("size")
            .chain(labels.iter().copied())
            .zip(std::iter::once(&joint.size_steps).chain(shapes))
            .collect();
        step(
            &mut text,
            "spreads",
            "nu = d0 + (n - 1) / (1 + mean r)^2, s^2 = (d0 s0^2 + Q / (1 + mean r)^2) / nu, as above",
        );
        let mut table =
            output::table(&["of", ">n", ">d0", ">s0^2", ">Q", ">mean r", ">nu", ">s^2"]);
        for (name, of) in &all {
            let mut cells = vec![(*name).to_owned(), of.norm.n().to_string()];
            let numbers = [
                of.prior.df,
                of.prior.variance,
                of.norm.sums().q,
                of.norm.sums().mean_r,
                of.norm.df(),
                of.norm.variance_within(),
            ];
            cells.extend(numbers.map(number));
            output::add_row(&mut table, cells);
        }
        text.push_str(&indented(&table));
        step(
            &mut text,
            "scores",
            "W = s^2 (h0 + r), r = u_x^2 / s0^2; T = (x - m) / sqrt W; p = 2 P(t_nu > |T|); the shapes' p \
             are then adjusted among themselves (Holm)",
        );
        let headings = ["of", ">x", ">m", ">h0", ">r", ">T", ">p", ">adjusted", ">z"];
        let mut table = output::table(&headings);
        let adjusted = joint.shape.iter().map(|s| Some(s.p_adjusted));
        for ((name, of), adjusted) in all.iter().zip(std::iter::once(None).chain(adjusted)) {
            let mut cells = vec![(*name).to_owned()];
            let at = &of.standpoint;
            let (m, h0, r) = (of.norm.centre(), of.norm.h0(), of.norm.r_new(of.own.u));
            cells.extend([of.own.x, m, h0, r, at.t, at.p].map(number));
            cells.push(adjusted.map_or("-".to_owned(), number));
            cells.push(number(at.z));
            output::add_row(&mut table, cells);
        }
        text.push_str(&indented(&table));
        step(
            &mut text,
            "misfit",
            &format!(
                "q = sum z^2 over the shapes = {}; with the shapes' correlation R among all patterns' \
                 references c = tr(R^2) / p = {}, f = p^2 / tr(R^2) = {}; p = P(chi-square of f > q / \
                 c) = {}; rms z = sqrt(q / p) = {}",
                number(joint.misfit_q),
                number(joint.misfit_scale),
                number(joint.misfit_df),
                number(joint.misfit_p),
                number(joint.misfit)
            ),
        );
        text
    }

    fn dimension(&self, working: &DimensionWorking) -> String {
        let known = self.catalogue.at(working.check.dimension);
        let (kind, unit) = (known.kind, &known.unit);
        let mut text = String::new();
        let scale = match kind {
            Kind::Ratio => format!("a size, so x = ln({unit}) and u_x = u / {unit}"),
            Kind::Interval => "judged as it is, so x is the reading".to_owned(),
        };
        let _ = writeln!(text, "  {}, {unit}: {scale}", shown(&known.label));
        step(
            &mut text,
            "the piece",
            &format!(
                "reads {} with u = {} ({}): x = {}, u_x = {}",
                as_read(working.check.value),
                number(working.check.uncertainty),
                working.check.state.name(),
                number(working.own.x),
                number(working.own.u)
            ),
        );
        self.borrowed(&mut text, working);
        self.references(&mut text, working);
        match &working.steps {
            Some(steps) => self.steps(&mut text, working, steps),
            None => step(&mut text, "so", "nothing can be said of this dimension"),
        }
        text
    }

    /// What the other patterns lend.
    fn borrowed(&self, text: &mut String, working: &DimensionWorking) {
        let Prior { df, variance, .. } = working.prior;
        let Some(loan) = working.loan else {
            let what = if df.is_infinite() {
                format!(
                    "the user states it: s0 = {}, so nu is infinite",
                    number(variance.sqrt())
                )
            } else {
                "nothing is borrowed: d0 = 0, and r counts as 0".to_owned()
            };
            return step(text, "spread beforehand", &what);
        };
        let groups = self.cohort.groups();
        let sets = working.lenders.iter().map(|lender| {
            let pattern = shown(&groups[lender.group].pattern);
            format!("{pattern} n {} s2 {}", lender.n, number(lender.s2))
        });
        step(text, "lenders", &sets.collect::<Vec<String>>().join("; "));
        step(
            text,
            "spread beforehand",
            &format!(
                "phi = {}, s0^2 = {}",
                number(loan.phi),
                number(loan.spread.s2)
            ),
        );
        step(
            text,
            "borrowed",
            &format!(
                "D = sum f / (1 + phi (f + 2)) = {}; d0 = 1 / (phi + 1/D) = {} degrees of freedom",
                number(loan.spread.information),
                number(df)
            ),
        );
    }

    fn reading(&self, reference: Reference, dimension: usize) -> (String, String, String) {
        let table = self.cohort.table();
        let name = shown(table.specimens.names.get(reference.row()));
        let key = &self.catalogue.at(dimension).key;
        let mut columns = table.columns.iter();
        let value = columns.find_map(|c| {
            let is_its = table.dimension(c).key == *key;
            c.value(reference.row()).filter(|_| is_its)
        });
        let period = match reference.rated().period {
            Some(label) => shown(self.cohort.period_name(label)),
            None => "undated".to_owned(),
        };
        (name, period, value.map_or(String::new(), as_read))
    }

    fn references(&self, text: &mut String, working: &DimensionWorking) {
        let dimension = working.check.dimension;
        for aside in &working.set_aside {
            let (name, period, value) = self.reading(aside.reference, dimension);
            step(
                text,
                "set aside",
                &format!(
                    "{name} ({period}) reads {value}, by the others p = {}",
                    number(aside.p)
                ),
            );
        }
        if working.references.is_empty() {
            return step(text, "references", "none");
        }
        let mut table = output::table(&["reference", "period", ">reads", ">x", ">u_x", ">r", ">w"]);
        for of in &working.references {
            let (name, period, value) = self.reading(of.reference, dimension);
            let rated = of.reference.rated();
            let numbers = [rated.x, rated.u, of.r, of.weight].map(number);
            let mut cells = vec![name, period, value];
            cells.extend(numbers);
            output::add_row(&mut table, cells);
        }
        let rule = match working.prior.df {
            0.0 => "nothing borrowed: r counts as 0, so every weight w is 1",
            _ => "r = u_x^2 / s0^2, weight w = 1 / (1 + r)",
        };
        step(text, "references", rule);
        text.push_str(&indented(&table));
    }

    fn steps(&self, text: &mut String, working: &DimensionWorking, steps: &Steps) {
        let known = self.catalogue.at(working.check.dimension);
        let norm = &steps.norm;
        let sums = steps.norm.sums();
        let undated = sums.periods.iter().filter(|p| p.period.is_none()).count();
        for period in &sums.periods {
            let Some(label) = period.period else { continue };
            step(
                text,
                &shown(self.cohort.period_name(label)),
                &format!(
                    "S = sum w = {}, mean = sum w x / S = {}, v = lambda + 1/S = {}",
                    number(period.weight),
                    number(period.mean),
                    number(sums.lambda + 1.0 / period.weight)
                ),
            );
        }
        if undated > 0 {
            step(
                text,
                "undated",
                "each is a period by itself: S = w, mean = x, v = lambda + 1/w",
            );
        }
        step(
            text,
            "sums",
            &format!(
                "V = 1 / sum(1/v) = {}; mu = V sum(mean / v) = {}; Q = sum w (x - mean)^2 + sum (mean \
                 - mu)^2 / v = {}",
                number(sums.v),
                number(sums.mu),
                number(sums.q)
            ),
        );
        self.spread(text, working, steps);
        let expected = match steps.own_period() {
            None => format!(
                "of a new period, m = mu = {}, h0 = 1 + lambda + V = {}",
                number(norm.centre()),
                number(norm.h0())
            ),
            Some(period) => format!(
                "of {}, B = lambda / (lambda + 1/S) = {}; m = mu + B (mean - mu) = {}; h0 = 1 + \
                 lambda (1 - B) + (1 - B)^2 V = {}",
                period
                    .period
                    .map_or(String::new(), |label| shown(self.cohort.period_name(label))),
                number(sums.lambda / (sums.lambda + 1.0 / period.weight)),
                number(norm.centre()),
                number(norm.h0())
            ),
        };
        step(text, "expected", &expected);
        let at = &steps.standpoint;
        let beyond = if working.prior.df > 0.0 {
            "u_x^2 / s0^2"
        } else {
            "max(0, u_x^2 - mean u^2) / s^2"
        };
        step(
            text,
            "this reading",
            &format!(
                "W = s^2 (h0 + {beyond}) = {} x ({} + {}) = {}; T = (x - m) / sqrt W = {}",
                number(norm.variance_within()),
                number(norm.h0()),
                number(norm.r_new(steps.own.u)),
                number(at.variance),
                number(at.t)
            ),
        );
        step(
            text,
            "p",
            &format!(
                "2 P(t_nu > |T|) = {}; score z, the normal deviate with that p, = {}",
                number(at.p),
                number(at.z)
            ),
        );
        let root = at.variance.sqrt();
        let back = |x: f64| number(from_scale(known.kind, x));
        let half = norm.half_width(at.variance, self.settings.coverage());
        step(
            text,
            "typical range",
            &format!(
                "m ± t(nu, {}) sqrt W = m ± {} x {}: {} to {} {}",
                1.0 - (1.0 - self.settings.coverage()) / 2.0,
                number(half / root),
                number(root),
                back(norm.centre() - half),
                back(norm.centre() + half),
                known.unit
            ),
        );
        let (level, power) = noticing(norm.df());
        let known_level = noticing(f64::INFINITY);
        let least = norm.least_noticeable(at.variance);
        step(
            text,
            "least noticeable",
            &format!(
                "(t(nu, 0.975) + t(nu, 0.80)) sqrt W = ({} + {}) x {} = {}, in {} {}; sharpness {} s \
                 sqrt({}) / that = {}",
                number(level),
                number(power),
                number(root),
                number(least),
                known.unit,
                number(deviation_in_unit(known.kind, norm.centre(), least)),
                number(known_level.0 + known_level.1),
                number(norm.h_ideal()),
                number(norm.sharpness(steps.own.u))
            ),
        );
    }

    fn spread(&self, text: &mut String, working: &DimensionWorking, steps: &Steps) {
        let norm = &steps.norm;
        let sums = steps.norm.sums();
        let own = (sums.n - 1) as f64;
        let share = (1.0 + sums.mean_r).powi(-2);
        let what = if working.prior.df == 0.0 {
            format!(
                "nu = n - 1 = {}; s^2 = max(Q / nu, mean u_x^2) = max({}, {}) = {}",
                number(norm.df()),
                number(sums.q / own),
                number(sums.mean_u2),
                number(norm.variance_within())
            )
        } else if working.prior.df.is_infinite() {
            format!("s^2 = s0^2 = {}", number(norm.variance_within()))
        } else {
            format!(
                "mean r = {}, so of Q counts w = 1 / (1 + mean r)^2 = {}; nu = d0 + w (n - 1) = {} + \
                 {} x {} = {}; s^2 = (d0 s0^2 + w Q) / nu = {}",
                number(sums.mean_r),
                number(share),
                number(working.prior.df),
                number(share),
                own,
                number(norm.df()),
                number(norm.variance_within())
            )
        };
        step(text, "spread", &what);
    }

    /// Holm's steps over the dimensions that were judged.
    fn together(&self, working: &Working) -> String {
        let dimensions = working.check.dimensions.iter();
        let mut judged: Vec<(f64, &str, &str)> = dimensions
            .filter_map(|d| {
                let label = &self.catalogue.at(d.dimension).label;
                let p = d.judged.as_ref()?.p;
                Some((p, label.as_str(), output::verdict_words(d.verdict)))
            })
            .collect();
        judged.sort_by(|a, b| a.0.total_cmp(&b.0));
        let adjusted = holm(&judged.iter().map(|j| j.0).collect::<Vec<f64>>());
        let mut text = String::from("\n  all dimensions together (Holm)\n");
        let m = judged.len();
        if m == 0 {
            text.push_str("    none could be judged\n");
            return text;
        }
        let alpha = self.settings.alpha();
        let rule = format!(
            "From the smallest p on: times {m}, then one less each, never less than the one before, at \
             most 1. Out of norm up to {alpha}; else borderline where p alone is up to {alpha}; else \
             typical where the references do not disagree and the sharpness is 0.5 or more (with \
             --matters: the least noticeable deviation is not more than that)."
        );
        text.push_str(&wrapped(&rule, "    "));
        let mut table = output::table(&["dimension", ">p", ">times", ">adjusted", "verdict"]);
        for (i, ((p, label, verdict), adjusted)) in judged.iter().zip(&adjusted).enumerate() {
            let cells = vec![
                (*label).to_owned(),
                number(*p),
                (m - i).to_string(),
                number(*adjusted),
                (*verdict).to_owned(),
            ];
            output::add_row(&mut table, cells);
        }
        text.push_str(&indented(&table));
        text
    }
}

/// A table's lines, under the steps.
fn indented(table: &comfy_table::Table) -> String {
    let lines = output::lines(table);
    lines
        .lines()
        .map(|line| format!("      {line}\n"))
        .collect()
}
