//! Plans and proposals for people: the sheet that lies on the bench.

use calibriar::catalogue::{Catalogue, Dimension, FloorKind, Precaution, State, Tool};
use calibriar::cohort::Cohort;
use calibriar::norm::Band;
use calibriar::notation::{Drill, Quantity, drills, inches};
use calibriar::refit::{Aim, Contradiction, FloorLeft, Goal, Reach, Refit, SizePlan, WhatIf};
use calibriar::source::Provenance;
use calibriar::verdict::{Check, Verdict};
use calibriar::words::{SCOPE, group_title, judged_by, work_words};
use comfy_table::Cell;

use super::norms::provenance_line;
use super::output::{add_row, lines, shown, signed, table, verdict_cell, verdict_words, wrapped};

/// The sheets of some pieces.
pub(super) fn plans(
    plans: &[Refit],
    aim: &Aim,
    cohort: &Cohort<'_>,
    catalogue: &Catalogue,
    provenance: &Provenance,
) -> String {
    let page = Page { cohort, catalogue };
    // Each sheet with its own cautions: it may be printed and taken to the bench alone.
    let sheet = |p: &Refit| page.sheet(p, aim) + "\n" + &cautions(&p.precautions);
    let mut text: String = plans.iter().map(sheet).collect();
    text.push_str(&legend());
    text.push_str(&provenance_line(provenance));
    text
}

/// Some pieces before and after.
pub(super) fn what_ifs(
    all: &[WhatIf],
    cohort: &Cohort<'_>,
    catalogue: &Catalogue,
    provenance: &Provenance,
) -> String {
    let page = Page { cohort, catalogue };
    let sheet = |w: &WhatIf| page.what_if(w) + "\n" + &cautions(&w.precautions);
    let mut text: String = all.iter().map(sheet).collect();
    text.push_str(&legend());
    text.push_str(&provenance_line(provenance));
    text
}

fn legend() -> String {
    [
        "good pieces: where the good periods' pieces themselves lie, their readings' errors taken out; \
         inside: probability of lying there, and what must remain of being there",
        "The sheet knows a few sizes and rules of thumb, not this piece of wood.",
        SCOPE,
    ]
    .map(|line| wrapped(line, "  "))
    .concat()
}

/// What to mind.
pub(super) fn cautions(all: &[Precaution]) -> String {
    if all.is_empty() {
        return String::new();
    }
    let mut text = "  mind:\n".to_owned();
    for precaution in all {
        let line = format!(
            "{}: {} [{}]",
            precaution.label, precaution.text, precaution.source
        );
        text.push_str(&wrapped(&line, "    "));
    }
    text + "\n"
}

/// What the sheets are made from.
struct Page<'a> {
    cohort: &'a Cohort<'a>,
    catalogue: &'a Catalogue,
}

impl Page<'_> {
    fn label(&self, dimension: usize) -> &str {
        &self.catalogue.at(dimension).label
    }

    fn headline(&self, check: &Check, words: &str) -> String {
        let title = group_title(&check.maker, &check.pattern);
        let line = format!("{}: {words}", shown(&check.specimen));
        let mut text = format!("{}  {title}\n", wrapped(&line, ""));
        if check.dimensions.is_empty() {
            text.push_str("  no reading that counts\n");
        } else {
            text.push_str(&wrapped(&judged_by(check, self.cohort), "  "));
        }
        text
    }

    fn sheet(&self, plan: &Refit, aim: &Aim) -> String {
        let check = &plan.check;
        let mut text = self.headline(check, verdict_words(check.verdict));
        let end = match aim.goal {
            Goal::Near => "just inside the range of good pieces",
            Goal::Centre => "at the centre of good pieces",
        };
        let share = format!("{:.4}", 100.0 * aim.probability());
        let share = share.trim_end_matches('0').trim_end_matches('.');
        if plan.steps.is_empty() {
            text.push_str(&wrapped(&nothing(plan), "  "));
        } else {
            let line = format!(
                "aim: {end}, and what must remain, with {share} % each; the least taken off"
            );
            text.push_str(&wrapped(&line, "  "));
            text.push_str("\n  in the order of work:\n");
            text.push_str(&lines(&self.steps(plan)));
            text.push('\n');
            for (at, step) in plan.steps.iter().enumerate() {
                let how = work_words(step, plan, self.catalogue);
                let line = format!("{}. {}: {how}", at + 1, step.work.label);
                text.push_str(&wrapped(&line, "  "));
            }
            text.push_str("\n  sizes before and after:\n");
            let moved = plan.sizes.iter().filter(|s| s.moves() || s.corrected);
            text.push_str(&lines(&self.sizes(moved)));
            let touched = plan.steps.iter().flat_map(|step| step.floors.clone());
            let touched: Vec<usize> = touched.collect();
            let floors = plan.floors.iter().enumerate();
            let floors = floors.filter(|(at, _)| touched.contains(at));
            let floors: Vec<&FloorLeft> = floors.map(|(_, floor)| floor).collect();
            text.push_str(&what_remains(&floors));
        }
        let crooked = plan.outlines.iter().filter(|o| o.is_left_alone());
        if !plan.left_alone.is_empty() || crooked.clone().next().is_some() {
            text.push_str("\n  left alone:\n");
            for left in &plan.left_alone {
                let dimension = self.catalogue.at(left.dimension);
                let good = left.good.map_or(String::new(), |good| {
                    format!(" (good pieces {})", band(good, dimension))
                });
                let line = format!(
                    "{} {} {}{good}: {}",
                    dimension.label,
                    number(left.found, dimension),
                    dimension.unit,
                    shown(&left.reason.to_string())
                );
                text.push_str(&wrapped(&line, "    "));
            }
            for outline in crooked {
                let reason = outline.reason.as_ref().map(ToString::to_string);
                let name = outline.feature.words();
                let line = format!("outline of the {name}: {}", reason.unwrap_or_default());
                text.push_str(&wrapped(&shown(&line), "    "));
            }
        }
        text.push_str(&contradictions(&plan.contradictions));
        text.push_str(&self.remarks(plan));
        text
    }

    /// The works, one a row.
    fn steps(&self, plan: &Refit) -> comfy_table::Table {
        let mut table = table(&[
            ">", "work", "size", ">found", ">target", ">off mm", ">in", ">64ths", "tool",
        ]);
        for (at, step) in plan.steps.iter().enumerate() {
            let tool = match &step.drill {
                Some(drill) => drill.name(),
                None => step.work.tool.name().to_owned(),
            };
            let cells = [
                (at + 1).to_string(),
                step.work.label.clone(),
                match step.dimension {
                    Some(dimension) => self.label(dimension).to_owned(),
                    None => "above the line".to_owned(),
                },
                format!("{:.2}", step.from),
                format!("{:.2}", step.to),
                format!("{:.2}", step.amount),
                format!("{:.3}", inches(step.amount)),
                format!("{:.1}", 64.0 * inches(step.amount)),
                tool,
            ];
            add_row(&mut table, cells);
        }
        table
    }

    fn sizes<'s>(&self, sizes: impl Iterator<Item = &'s SizePlan>) -> comfy_table::Table {
        let mut table = table(&[
            "size",
            ">found",
            ">end",
            ">+/-",
            "unit",
            ">good pieces",
            ">inside before",
            ">after",
            "",
        ]);
        for size in sizes {
            let dimension = self.catalogue.at(size.dimension);
            let cells = [
                dimension.label.clone(),
                number(size.found, dimension),
                number(size.left, dimension),
                format!("{:.2}", size.left_uncertainty),
                dimension.unit.clone(),
                size.good
                    .map_or("-".to_owned(), |good| band(good, dimension)),
                size.probability_found.map_or("-".to_owned(), share),
                size.probability.map_or("-".to_owned(), share),
                match (size.corrected, size.good) {
                    (true, _) => "put right".to_owned(),
                    (false, None) => "undecided".to_owned(),
                    (false, Some(_)) => String::new(),
                },
            ];
            add_row(&mut table, cells);
        }
        table
    }

    /// The states of what is worked on.
    fn remarks(&self, plan: &Refit) -> String {
        let worked = plan.sizes.iter().filter(|s| s.moves());
        let mut text = String::new();
        for state in [
            State::Worn,
            State::Reworked,
            State::Replaced,
            State::Unknown,
        ] {
            let of_state = worked.clone().filter(|s| s.state == state);
            let labels: Vec<&str> = of_state.map(|s| self.label(s.dimension)).collect();
            if !labels.is_empty() {
                let line = format!(
                    "{}: read in state {}; the plan begins with the sizes as they are",
                    labels.join(", "),
                    state.name()
                );
                text.push_str(&wrapped(&line, "  "));
            }
        }
        match text.is_empty() {
            true => text,
            false => format!("\n{text}"),
        }
    }

    fn what_if(&self, what_if: &WhatIf) -> String {
        let (before, after) = (&what_if.before, &what_if.after);
        let words = format!(
            "{} now, {} as proposed",
            verdict_words(before.verdict),
            verdict_words(after.verdict)
        );
        let mut text = self.headline(before, &words);
        text.push('\n');
        for (proposal, reach) in &what_if.proposals {
            let dimension = self.catalogue.at(proposal.dimension);
            let line = format!(
                "{} {} {}: {}",
                dimension.label,
                number(proposal.value, dimension),
                dimension.unit,
                reach_words(*reach)
            );
            text.push_str(&wrapped(&line, "  "));
        }
        for (work, amount) in &what_if.works {
            let mind = work.precautions.iter().map(|p| p.label.as_str());
            let line = format!(
                "by: {}, {amount:.2} mm ({:.3} in, {:.1}/64): {}. Mind: {}",
                work.label,
                inches(*amount),
                64.0 * inches(*amount),
                work.how,
                mind.collect::<Vec<&str>>().join(", ")
            );
            text.push_str(&wrapped(&line, "  "));
            if work.tool == Tool::Drill
                && let Some(after) = what_if.size_after(&work.of[0], self.catalogue)
                && let Some(drill) = nearest_drill(after)
            {
                let line = format!("nearest drill: {}, {:.3} mm", drill.name(), drill.mm());
                text.push_str(&wrapped(&line, "    "));
            }
        }
        for (work, reason) in &what_if.refused {
            let line = format!("A PLAN WOULD REFUSE THIS: {}: {reason}", work.label);
            text.push_str(&wrapped(&shown(&line), "  "));
        }
        text.push('\n');
        text.push_str(&lines(&self.before_and_after(before, after)));
        let changed = what_if.floors.iter();
        let floors = changed.filter(|f| f.left != f.found || f.left < f.floor.least);
        text.push_str(&what_remains(&floors.collect::<Vec<&FloorLeft>>()));
        text.push_str(&contradictions(&what_if.contradictions));
        text
    }

    fn before_and_after(&self, before: &Check, after: &Check) -> comfy_table::Table {
        let mut table = table(&[
            "size",
            ">now",
            ">then",
            "unit",
            ">good pieces",
            ">score now",
            ">then",
            "verdict now",
            "then",
        ]);
        for then in &after.dimensions {
            let dimension = self.catalogue.at(then.dimension);
            let mut all = before.dimensions.iter();
            let now = all.find(|d| d.dimension == then.dimension);
            let score = |judged: Option<f64>| judged.map_or("-".to_owned(), |s| signed(s, 1.0));
            let good = then.judged.map(|j| j.good_sizes);
            table.add_row(vec![
                Cell::new(shown(&dimension.label)),
                Cell::new(now.map_or("-".to_owned(), |d| number(d.value, dimension))),
                Cell::new(number(then.value, dimension)),
                Cell::new(shown(&dimension.unit)),
                Cell::new(good.map_or("-".to_owned(), |good| band(good, dimension))),
                Cell::new(score(now.and_then(|d| d.judged).map(|j| j.score))),
                Cell::new(score(then.judged.map(|j| j.score))),
                now.map_or(Cell::new("-"), |d| verdict_cell(d.verdict)),
                verdict_cell(then.verdict),
            ]);
        }
        table
    }
}

/// Why there are no works.
fn nothing(plan: &Refit) -> String {
    let off = plan.check.dimensions.iter();
    let mut off = off.filter(|d| d.verdict != Verdict::Undecided);
    match (plan.left_alone.is_empty(), off.next()) {
        (false, _) => {
            "nothing is taken off: as things stand none of what is off can be put right that way"
                .to_owned()
        }
        (true, Some(_)) => "nothing is to be taken off".to_owned(),
        (true, None) => "nothing could be decided, so nothing is advised".to_owned(),
    }
}

fn contradictions(all: &[Contradiction]) -> String {
    let lines = all.iter().map(|contradiction| {
        let line = format!("{contradiction}; no work that they concern is advised");
        wrapped(&shown(&line), "  ")
    });
    let text: String = lines.collect();
    match text.is_empty() {
        true => text,
        false => format!("\n{text}"),
    }
}

/// What must remain, as a table under its heading; nothing of none.
fn what_remains(floors: &[&FloorLeft]) -> String {
    if floors.is_empty() {
        return String::new();
    }
    let mut rows = table(&["what must remain", ">found", ">end", ">at least", ">inside"]);
    for floor in floors {
        let short = match floor.left < floor.floor.least {
            true if floor.left < 0.0 && floor.floor.of != FloorKind::Fit => " GOES THROUGH",
            true if floor.is_broken() => " TOO LITTLE",
            true => " (too little already)",
            false => "",
        };
        let cells = [
            format!("{}{short}", floor.floor.label_on(floor.side.as_ref())),
            format!("{:.2}", floor.found),
            format!("{:.2}", floor.left),
            format!("{:.2}", floor.floor.least),
            share(floor.probability),
        ];
        add_row(&mut rows, cells);
    }
    let mut sources: Vec<&str> = floors.iter().map(|f| &*f.floor.source).collect();
    sources.sort_unstable();
    sources.dedup();
    let line = format!("what must remain, by: {}", shown(&sources.join("; ")));
    format!("\n{}{}", lines(&rows), wrapped(&line, "  "))
}

/// The drill whose diameter is nearest to a size, in mm.
fn nearest_drill(mm: f64) -> Option<&'static Drill> {
    let off = |drill: &&Drill| (drill.mm() - mm).abs();
    drills().iter().min_by(|a, b| off(a).total_cmp(&off(b)))
}

fn reach_words(reach: Reach) -> &'static str {
    match reach {
        Reach::TakingOff => "taking off leads there",
        Reach::Unknown => "it was not measured, so nobody knows whether taking off leads there",
        Reach::AsItIs => "so it is already",
        Reach::Adding => "MATERIAL WOULD HAVE TO BE ADDED; judged as said, its neighbours unmoved",
        Reach::NoWork => "no work moves it; judged as said",
        Reach::NotTogether => {
            "taking off does not lead there together with what stands before it; judged as said"
        }
    }
}

/// A size for people.
fn number(value: f64, dimension: &Dimension) -> String {
    match dimension.quantity {
        Quantity::Mass | Quantity::Angle | Quantity::Colour => format!("{value:.1}"),
        Quantity::Length => format!("{value:.2}"),
    }
}

fn band(band: Band, dimension: &Dimension) -> String {
    match band.low.is_finite() && band.high.is_finite() {
        true => format!(
            "{} to {}",
            number(band.low, dimension),
            number(band.high, dimension)
        ),
        false => "-".to_owned(),
    }
}

/// A probability in per cent.
fn share(p: f64) -> String {
    match p {
        p if p >= 0.9995 => ">99.9 %".to_owned(),
        p if p < 0.0005 => "<0.1 %".to_owned(),
        p => format!("{:.1} %", 100.0 * p),
    }
}
