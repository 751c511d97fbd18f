//! What a reader should take from the verdict on one piece.

use crate::catalogue::{Catalogue, Kind, nearest};
use crate::cohort::Cohort;
use crate::norm::{SetAside, Settings};
use crate::traced::Sides;
use crate::verdict::{
    Caution, Check, DimensionCheck, Excursion, Finish, Joint, OutlineCheck, Verdict,
};

use super::{
    SCOPE, counted, grain, hint, maker_shown, not_credible, probability, shown, signed, sized,
    strength, verdict_words, whose,
};

/// What the sentences on checks are made from.
#[derive(Clone, Copy, Debug)]
pub struct CheckWords<'a> {
    /// The cohort that pieces are judged by.
    pub cohort: &'a Cohort<'a>,
    /// The catalogue of the pieces' table.
    pub catalogue: &'a Catalogue,
    /// What they were judged with.
    pub settings: &'a Settings,
}

impl CheckWords<'_> {
    /// The verdict in one line, and what is out of norm besides the dimensions.
    pub fn headline(&self, check: &Check) -> String {
        format!("{}: {}", shown(&check.specimen), self.standing(check))
    }

    /// The same without the name.
    pub fn standing(&self, check: &Check) -> String {
        verdict_words(check.verdict).to_owned() + &besides(check)
    }

    /// What a reader should take from one outline.
    pub fn outline(&self, outline: &OutlineCheck) -> String {
        outline_words(outline)
    }

    /// What the colour as a whole says.
    pub fn finish(&self, of: &Finish) -> String {
        finish(of)
    }

    /// Whether anything of it is out of norm: a dimension, an outline, the finish, or its size or shape as a
    /// whole.
    pub fn is_out_of_norm(&self, check: &Check) -> bool {
        check.verdict == Verdict::OutOfNorm || !besides(check).is_empty()
    }

    /// Where the strength of the norms comes from.
    pub fn strength(&self, check: &Check) -> Option<String> {
        strength(check.dimensions.iter().map(|d| (d.n, d.loan)))
    }

    /// All that a reader should take from the numbers, a sentence each.
    pub fn sentences(&self, check: &Check) -> Vec<String> {
        self.told(check, true)
    }

    /// The same but for what stands beside pictures of size and shape and of the finish, and for other pieces'
    /// readings to correct, which are no matter of who is shown this piece.
    pub fn beside_pictures(&self, check: &Check) -> Vec<String> {
        self.told(check, false)
    }

    fn told(&self, check: &Check, all: bool) -> Vec<String> {
        let dimensions = check.dimensions.iter();
        let mut lines: Vec<String> = dimensions
            .filter_map(|d| words(d, self.catalogue))
            .collect();
        lines.extend(self.borderline(check));
        lines.extend(self.states(check));
        lines.extend(self.undecided(check));
        let joint = check.joint.iter().filter(|_| all);
        lines.extend(joint.flat_map(|joint| self.whole(check, joint)));
        lines.extend(outlines(&check.outlines));
        lines.extend(not_compared(check));
        lines.extend(check.sides.iter().map(sides_words));
        lines.extend(check.finish.as_ref().filter(|_| all).map(finish));
        lines.extend(self.set_aside(check));
        if all {
            lines.extend(self.others_to_correct(check));
        }
        lines
    }

    /// What a borderline dimension means.
    fn borderline(&self, check: &Check) -> Option<String> {
        let is_borderline = |d: &DimensionCheck| d.verdict == Verdict::Borderline;
        let some = check.dimensions.iter().any(is_borderline);
        some.then(|| {
            format!(
                "borderline: about one dimension in {} of a good piece reads this far out by chance, so by \
                 itself it decides nothing",
                (1.0 / self.settings.alpha()).round()
            )
        })
    }

    /// The pattern that a piece is of, where the source has it and only one maker does.
    fn pattern_of(&self, check: &Check) -> Option<usize> {
        let maker = Some(check.maker.as_str()).filter(|maker| !maker.is_empty());
        match self
            .cohort
            .find_groups(Some(&check.pattern), maker)
            .as_slice()
        {
            [group] if !check.pattern.is_empty() => Some(*group),
            _ => None,
        }
    }

    /// Readings of other pieces of the pattern that somebody should correct.
    fn others_to_correct(&self, check: &Check) -> Vec<String> {
        let (pattern, maker) = (Some(check.pattern.as_str()), Some(check.maker.as_str()));
        let groups = self.cohort.find_groups(pattern, maker);
        let own = Some(check.specimen.as_str());
        let group = groups.first();
        group.map_or(Vec::new(), |&group| not_credible(self.cohort, group, own))
    }

    /// What the words of the table mean.
    pub fn legend(&self) -> Vec<String> {
        let share = 100.0 * self.settings.coverage();
        vec![
            format!(
                "typical range: where a reading as fine as this one falls, of a good piece, with \
                 {share} %"
            ),
            "score: how many steps of the usual spread from the centre, counted as for a normal law"
                .to_owned(),
            "p adj.: how often a good piece would look this odd in any dimension by chance".to_owned(),
            "n, lent: references of that dimension, the piece itself left out, and degrees of freedom \
             borrowed from the maker's other patterns: each is worth about one reference more for the \
             spread; - is none"
                .to_owned(),
            "size, shape, outlines: judged apart from the dimensions and from each other".to_owned(),
            SCOPE.to_owned(),
        ]
    }

    /// What the states of the piece's places mean, each with the dimensions that it concerns.
    fn states(&self, check: &Check) -> Vec<String> {
        let mut told: Vec<(String, Vec<&str>)> = Vec::new();
        for dimension in &check.dimensions {
            let label = self.catalogue.at(dimension.dimension).label.as_str();
            for caution in dimension.cautions.iter().filter(|c| c.is_of_state()) {
                let caution = caution.to_string();
                match told.iter_mut().find(|(text, _)| *text == caution) {
                    Some((_, labels)) => labels.push(label),
                    None => told.push((caution, vec![label])),
                }
            }
        }
        let line = |(caution, labels): (String, Vec<&str>)| {
            let all = labels.len() > 1 && labels.len() == check.dimensions.len();
            let which = match all {
                true => "all dimensions".to_owned(),
                false => labels.join(", "),
            };
            format!("{which}: {caution}")
        };
        told.into_iter().map(line).collect()
    }

    /// The references that do not speak, because they are unlike their fellows.
    fn set_aside(&self, check: &Check) -> Option<String> {
        let table = self.cohort.table();
        let some = check.dimensions.iter().filter(|d| !d.set_aside.is_empty());
        let named: Vec<String> = some
            .map(|d| {
                let known = self.catalogue.at(d.dimension);
                let columns = table.columns.iter();
                let reading = |aside: &SetAside| {
                    let row = aside.reference.row();
                    let column = columns
                        .clone()
                        .find(|c| table.dimension(c).key == known.key && c.value(row).is_some())?;
                    Some(whose(table, column, row, ""))
                };
                let readings: Vec<String> = d.set_aside.iter().filter_map(reading).collect();
                format!("{} of {}", known.label, readings.join(", "))
            })
            .collect();
        (!named.is_empty()).then(|| {
            format!(
                "references set aside, because unlike their fellows: {}",
                named.join("; ")
            )
        })
    }

    /// What would decide the undecided dimensions; of a piece that has no pattern to be judged by no piece
    /// more would.
    fn undecided(&self, check: &Check) -> Option<String> {
        let judged = check.dimensions.iter().any(|d| d.n > 0);
        if !judged && self.pattern_of(check).is_none() {
            return None;
        }
        let undecided = check.dimensions.iter();
        let wants: Vec<String> = undecided
            .filter(|d| d.verdict == Verdict::Undecided)
            .map(|d| self.want(d))
            .collect();
        (!wants.is_empty()).then(|| format!("not enough evidence: {}", wants.join("; ")))
    }

    /// What would decide one dimension: more pieces, or a larger fault.
    fn want(&self, d: &DimensionCheck) -> String {
        let known = self.catalogue.at(d.dimension);
        let fault = d.judged.as_ref().map(|j| {
            let least = sized(j.least_noticeable, j.least_noticeable);
            format!("a fault of {least} {}", known.unit)
        });
        let usual = match (&d.judged, &d.loan) {
            (None, Some(loan)) => {
                let spread = loan.spread.s2.sqrt();
                let spread = match known.kind {
                    Kind::Ratio => format!("{:.1} %", 100.0 * spread),
                    Kind::Interval => format!("{} {}", sized(spread, spread), known.unit),
                };
                format!("; the other patterns' usual spread is {spread}")
            }
            _ => String::new(),
        };
        let coarse = d.cautions.contains(&Caution::CoarseReading);
        let decides = match (d.more_references, fault) {
            _ if d.disagree => "its references disagree".to_owned(),
            (_, Some(fault)) if coarse => format!("a finer reading, or {fault}"),
            (Some(0), Some(fault)) => format!("only {fault} would show"),
            (None, Some(fault)) => format!("read too coarsely; a finer reading, or {fault}"),
            (None, None) => "read too coarsely: measure again".to_owned(),
            (Some(more), None) => counted(more, "more piece", "more pieces"),
            (Some(more), Some(fault)) => {
                format!("{}, or {fault}", counted(more, "more piece", "more pieces"))
            }
        };
        format!("{} ({decides}{usual})", known.label)
    }

    /// What all sizes say together.
    pub fn whole(&self, check: &Check, joint: &Joint) -> Vec<String> {
        let p = |p: f64| format!("p {}", probability(p));
        let score = |z: f64| signed((10.0 * z).round() / 10.0, 1.0);
        let odd: Vec<String> = joint
            .shape
            .iter()
            .filter(|s| s.verdict == Verdict::OutOfNorm)
            .map(|s| {
                let label = &self.catalogue.at(s.dimension).label;
                format!("{label} ({}, {})", score(s.score), p(s.p_adjusted))
            })
            .collect();
        let side = if joint.size_score > 0.0 {
            "large"
        } else {
            "small"
        };
        let faulty = check.verdict == Verdict::OutOfNorm;
        let shapely = odd.is_empty() && joint.misfit_p > self.settings.alpha();
        let size = match joint.size_verdict {
            Verdict::OutOfNorm if faulty => {
                format!("{side}, but the dimensions out of norm have their part in it")
            }
            Verdict::OutOfNorm if shapely => format!("{side} as a whole, not misshapen"),
            Verdict::OutOfNorm => format!("{side} as a whole"),
            verdict => verdict_words(verdict).to_owned(),
        };
        let shape = match odd.as_slice() {
            [] => "nothing out of norm for its size".to_owned(),
            odd => format!("out of norm for its size: {}", odd.join(", ")),
        };
        vec![
            format!(
                "size ({} together): {size} (score {}, {})",
                counted(joint.shape.len(), "dimension", "dimensions"),
                score(joint.size_score),
                p(joint.size_p)
            ),
            format!(
                "shape: {shape}; misfit of all shapes together {:.1} (1 is usual), {}",
                joint.misfit,
                p(joint.misfit_p)
            ),
        ]
    }
}

/// Whose readings the piece is judged by, or why by nobody's.
pub fn judged_by(check: &Check, cohort: &Cohort<'_>) -> String {
    let groups = cohort.groups();
    let known = cohort.find_groups(Some(&check.pattern), None);
    if check.dimensions.iter().any(|d| d.n > 0) {
        let by = match check.periods.as_slice() {
            [] => "all pieces of its pattern, whatever their date".to_owned(),
            periods => periods.join(", "),
        };
        let dated = check
            .dimensions
            .iter()
            .any(|d| d.judged.is_some_and(|j| j.dated));
        let own_period = match &check.period {
            Some(period) if dated && check.periods.len() > 1 => {
                format!(", those of {} (its own) most", shown(period))
            }
            _ => String::new(),
        };
        let left_out = match cohort.namesakes(&check.specimen) {
            [] => "",
            _ => "; its own readings left out",
        };
        return format!("judged by {by}{own_period}{left_out}");
    }
    if check.pattern.is_empty() {
        return "no pattern given: it cannot be judged".to_owned();
    }
    if known.is_empty() {
        let near = nearest(&check.pattern, groups.iter().map(|g| g.pattern.as_str()));
        return format!(
            "no pattern `{}` in the source{}",
            check.pattern,
            hint(&near)
        );
    }
    if known.len() > 1 && check.maker.is_empty() {
        let makers: Vec<&str> = known
            .iter()
            .map(|&g| maker_shown(&groups[g].maker))
            .collect();
        return format!(
            "several makers have this pattern ({}): name one",
            makers.join(", ")
        );
    }
    "no other piece of its pattern in the chosen periods has a factory reading".to_owned()
}

/// What the colour as a whole says.
fn finish(finish: &Finish) -> String {
    let end = match finish.difference_at_limit {
        Some(end) => format!("; good pieces stay within about {end:.1} in that direction"),
        None => String::new(),
    };
    format!(
        "finish: {} (colour difference dE00 {:.1} from the centre of {}{end}; p {})",
        verdict_words(finish.verdict),
        finish.difference,
        counted(finish.n, "piece", "pieces"),
        probability(finish.whole.p)
    )
}

/// What a reader should take from a section with sides.
fn sides_words(of: &Sides) -> String {
    let what = match of.sides {
        2 => "oval, no circle".to_owned(),
        sides => format!("{sides} sides stand out"),
    };
    format!(
        "{}: {what} (amplitude {:.2} mm; p {})",
        feature_words(&of.feature),
        of.amplitude,
        probability(of.p)
    )
}

/// What is out of norm besides the dimensions: the verdict on a piece is theirs alone, and who reads
/// no further must not miss it.
fn besides(check: &Check) -> String {
    let out = |verdict: Verdict| verdict == Verdict::OutOfNorm;
    let outlines = check.outlines.iter().filter(|o| out(o.verdict));
    let mut what: Vec<String> = outlines.map(|o| feature_words(&o.feature)).collect();
    if check.finish.as_ref().is_some_and(|f| out(f.verdict)) {
        what.push("finish".to_owned());
    }
    // A dimension out of norm shows in size and shape as well.
    if let Some(joint) = check.joint.as_ref().filter(|_| !out(check.verdict)) {
        let shape = joint.shape.iter().any(|s| out(s.verdict));
        let of_whole = [
            (out(joint.size_verdict), "size as a whole"),
            (shape, "shape"),
        ];
        what.extend(
            of_whole
                .iter()
                .filter(|(is_out, _)| *is_out)
                .map(|(_, what)| (*what).to_owned()),
        );
    }
    match what.as_slice() {
        [] => String::new(),
        what => format!(
            " in its dimensions; OUT OF NORM besides: {}",
            what.join(", ")
        ),
    }
}

/// Outlines that were traced and have no band to be compared with.
fn not_compared(check: &Check) -> Option<String> {
    let mut names: Vec<String> = Vec::new();
    for feature in &check.outlines_not_compared {
        let name = feature_words(feature);
        if !names.contains(&name) {
            names.push(name);
        }
    }
    (!names.is_empty()).then(|| {
        format!(
            "outlines not compared: {} (that takes good pieces traced there, of this pattern and of \
             others of the maker, and a trace without long gaps)",
            names.join(", ")
        )
    })
}

/// `bowl wall left`, `bowl section at 23 mm`
pub fn feature_words(key: &str) -> String {
    let (name, at) = key.split_once('@').unwrap_or((key, ""));
    let name = name.replace('_', " ");
    match at {
        "" => shown(&name),
        at => shown(&format!("{name} at {at} mm")),
    }
}

/// What a reader should take from the outlines: those that are typical all together.
fn outlines(all: &[OutlineCheck]) -> Vec<String> {
    let typical = |o: &&OutlineCheck| o.verdict == Verdict::Typical;
    let told = all.iter().filter(|o| !typical(o)).map(outline_words);
    let mut lines: Vec<String> = told.collect();
    let inside: Vec<String> = all
        .iter()
        .filter(typical)
        .map(|o| feature_words(&o.feature))
        .collect();
    if !inside.is_empty() {
        lines.push(format!(
            "outlines inside the band of the good pieces all along: {}",
            inside.join(", ")
        ));
    }
    lines
}

/// How far an outline of a feature is off the centre of good ones, and where.
pub fn excursion_words(feature: &str, excursion: &Excursion) -> String {
    let counted_from = match feature {
        wall if wall.starts_with("bowl_wall") => " above the heel",
        stem if stem.starts_with("stem_") => " from the stem face",
        _ => "",
    };
    let Excursion { deviation, at, .. } = *excursion;
    let side = if deviation > 0.0 { "outward" } else { "inward" };
    format!(
        "{} mm {side} at {at:.1} mm{counted_from}",
        sized(deviation.abs(), 0.5)
    )
}

/// What a reader should take from one outline.
fn outline_words(outline: &OutlineCheck) -> String {
    let where_it_is = |e: &Excursion| {
        let words = excursion_words(&outline.feature, e);
        format!(
            "{words}, outside the band from {:.1} to {:.1} mm",
            e.from, e.to
        )
    };
    let excursions: Vec<String> = outline.excursions.iter().map(where_it_is).collect();
    let stands = match excursions.as_slice() {
        [] => "inside the band of the good pieces all along".to_owned(),
        some => some.join("; "),
    };
    format!(
        "outline of {}: {} ({}; p adj. {}; {})",
        feature_words(&outline.feature),
        verdict_words(outline.verdict),
        stands,
        probability(outline.p_adjusted),
        counted(outline.n, "reference", "references")
    )
}

/// Which way a reading is off, in a word.
fn side(key: &str, up: bool) -> &'static str {
    let (more, less) = match key {
        "finish_lightness" => ("lighter", "darker"),
        "finish_red_green" => ("redder", "greener"),
        "finish_yellow_blue" => ("yellower", "bluer"),
        _ => ("large", "small"),
    };
    if up { more } else { less }
}

/// What a reader should take from one dimension, where there is something to take.
fn words(check: &DimensionCheck, catalogue: &Catalogue) -> Option<String> {
    let dimension = catalogue.at(check.dimension);
    let unit = &dimension.unit;
    let mut parts = Vec::new();
    match (&check.judged, check.verdict) {
        (Some(j), Verdict::OutOfNorm | Verdict::Borderline) => {
            let scale = grain(j.typical);
            let side = side(&dimension.key, j.deviation > 0.0);
            let beyond = if j.deviation > 0.0 {
                check.value - j.typical.high
            } else {
                j.typical.low - check.value
            };
            let beyond = if beyond > 0.0 {
                format!(", {} {unit} beyond the typical range", sized(beyond, scale))
            } else {
                String::new()
            };
            let off = sized(j.deviation.abs(), scale);
            parts.push(match check.verdict {
                Verdict::OutOfNorm => format!("{side} by {off} {unit}{beyond}"),
                _ => format!("{side} by {off} {unit}, borderline"),
            });
        }
        // What is undecided is told together, for the dimensions that want the same.
        (_, Verdict::Undecided) | (_, Verdict::Typical) | (None, _) => {}
    }
    // What was set aside, and what a place's state means, is told together for all dimensions.
    let told = check
        .cautions
        .iter()
        .filter(|c| !c.is_of_state() && !matches!(c, Caution::ReferencesSetAside { .. }));
    parts.extend(told.map(ToString::to_string));
    (!parts.is_empty()).then(|| format!("{}: {}", dimension.label, parts.join("; ")))
}
