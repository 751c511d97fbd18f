//! A line chart of rates against the number of references, written as SVG by hand: fewer lines
//! than a plotting library would need, and no fonts to be found.

use std::fmt::{self, Display, Formatter};

/// A line of a chart.
pub(crate) struct Line {
    pub(crate) name: &'static str,
    /// Number of references and rate.
    pub(crate) points: Vec<(usize, f64)>,
}

/// A chart; its `Display` is the SVG file.
pub(crate) struct Chart {
    pub(crate) title: &'static str,
    pub(crate) rate: &'static str,
    /// Marks of the rate axis, which ends at the last.
    pub(crate) marks: &'static [f64],
    /// A rate to compare with, and what it is.
    pub(crate) level: Option<(f64, &'static str)>,
    pub(crate) lines: Vec<Line>,
}

/// Marks of the axis of references, which is logarithmic.
const REFERENCES: [usize; 7] = [1, 2, 3, 4, 6, 10, 30];
// Plotting area; names stand to its right.
const LEFT: f64 = 70.0;
const RIGHT: f64 = 500.0;
const TOP: f64 = 50.0;
const BOTTOM: f64 = 350.0;
/// Okabe and Ito's colours, told apart by colour-blind readers too.
const COLOURS: [&str; 4] = ["#0072b2", "#d55e00", "#009e73", "#8a5a9e"];

impl Chart {
    fn y(&self, rate: f64) -> f64 {
        let most = self.marks.last().copied().unwrap_or(1.0);
        BOTTOM - (BOTTOM - TOP) * rate / most
    }

    /// Heights of the lines' names: beside the last point, but never closer than a line of text.
    fn name_heights(&self) -> Vec<f64> {
        const APART: f64 = 19.0;
        let end = |line: &Line| line.points.last().map_or(BOTTOM, |&(_, rate)| self.y(rate));
        let wanted: Vec<f64> = self.lines.iter().map(end).collect();
        let mut order: Vec<usize> = (0..wanted.len()).collect();
        order.sort_by(|&a, &b| wanted[a].total_cmp(&wanted[b]));
        let mut heights = wanted.clone();
        for pair in order.windows(2) {
            heights[pair[1]] = heights[pair[1]].max(heights[pair[0]] + APART);
        }
        heights
    }
}

fn x(references: usize) -> f64 {
    let (first, last) = (
        REFERENCES[0] as f64,
        REFERENCES[REFERENCES.len() - 1] as f64,
    );
    let inset = 14.0;
    let along = (references as f64 / first).ln() / (last / first).ln();
    LEFT + inset + (RIGHT - LEFT - 2.0 * inset) * along
}

impl Display for Chart {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        let middle = f64::midpoint(LEFT, RIGHT);
        writeln!(
            f,
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 660 410\" width=\"660\" \
             height=\"410\" font-family=\"sans-serif\" font-size=\"14\" fill=\"#222\">\n\
             <title>{0}</title>\n\
             <rect width=\"660\" height=\"410\" fill=\"#fff\"/>\n\
             <text x=\"{LEFT}\" y=\"28\" font-size=\"16\" font-weight=\"bold\">{0}</text>",
            self.title
        )?;
        for &mark in self.marks {
            let y = self.y(mark);
            writeln!(
                f,
                "<path d=\"M{LEFT} {y:.1}H{RIGHT}\" stroke=\"#e2e2e2\"/>\n\
                 <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{:.0} %</text>",
                LEFT - 8.0,
                y + 5.0,
                100.0 * mark
            )?;
        }
        for n in REFERENCES {
            writeln!(
                f,
                "<path d=\"M{0:.1} {BOTTOM}v6\" stroke=\"#888\"/>\n\
                 <text x=\"{0:.1}\" y=\"{1:.1}\" text-anchor=\"middle\">{n}</text>",
                x(n),
                BOTTOM + 22.0
            )?;
        }
        writeln!(
            f,
            "<path d=\"M{LEFT} {TOP}V{BOTTOM}H{RIGHT}\" fill=\"none\" stroke=\"#888\"/>\n\
             <text x=\"{middle}\" y=\"{:.1}\" text-anchor=\"middle\">references (n)</text>\n\
             <text transform=\"translate(20 {}) rotate(-90)\" text-anchor=\"middle\">{}</text>",
            BOTTOM + 46.0,
            f64::midpoint(TOP, BOTTOM),
            self.rate
        )?;
        if let Some((level, name)) = self.level {
            let y = self.y(level);
            writeln!(
                f,
                "<path d=\"M{LEFT} {y:.1}H{RIGHT}\" stroke=\"#222\" stroke-dasharray=\"6 4\"/>\n\
                 <text x=\"{:.1}\" y=\"{:.1}\" font-style=\"italic\">{name}</text>",
                LEFT + 6.0,
                y - 6.0
            )?;
        }
        let named = self.lines.iter().zip(self.name_heights());
        for ((line, height), colour) in named.zip(COLOURS) {
            let point = |&(n, rate): &(usize, f64)| format!("{:.1},{:.1}", x(n), self.y(rate));
            let points: Vec<String> = line.points.iter().map(point).collect();
            writeln!(
                f,
                "<polyline points=\"{}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"2.5\"/>",
                points.join(" ")
            )?;
            for &(n, rate) in &line.points {
                let (x, y) = (x(n), self.y(rate));
                writeln!(
                    f,
                    "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"4\" fill=\"{colour}\"/>"
                )?;
            }
            writeln!(
                f,
                "<text x=\"{:.1}\" y=\"{:.1}\" fill=\"{colour}\">{}</text>",
                RIGHT + 8.0,
                height + 5.0,
                line.name
            )?;
        }
        writeln!(f, "</svg>")
    }
}
