//! A decision tree as text and as a drawing.

use super::view::{BranchView, TreeView};
use super::words::{chance, minutes};
use std::fmt::Write;

/// Width of a line.
const WIDTH: usize = 80;

/// The tree as indented text, at most 80 columns wide.
pub fn text(tree: &TreeView) -> String {
    let mut out = String::new();
    step(&mut out, tree, 1);
    out
}

fn hang(out: &mut String, depth: usize, first: &str, text: &str) {
    // Deep trees keep a readable width.
    let indent = "  ".repeat(depth.min(12));
    let rest = format!("{indent}{}", " ".repeat(first.len()));
    let options = textwrap::Options::new(WIDTH)
        .initial_indent(&indent)
        .subsequent_indent(&rest);
    out.push_str(&textwrap::fill(&format!("{first}{text}"), options));
    out.push('\n');
}

fn step(out: &mut String, tree: &TreeView, depth: usize) {
    let text = format!("{} (about {} from here)", tree.step, minutes(tree.minutes));
    hang(out, depth, "", &text);
    for branch in &tree.branches {
        let then = match (&branch.then, branch.works) {
            (Some(_), _) => "",
            (None, true) => ": done",
            (None, false) => ": go on from there",
        };
        let text = format!("{} ({}){then}", branch.outcome, chance(branch.probability));
        hang(out, depth, "- ", &text);
        if let Some(tree) = &branch.then {
            step(out, tree, depth + 2);
        }
    }
}

/// Sizes of the drawing, in its own units.
const COLUMN: f64 = 300.0;
const BOX: f64 = 220.0;
const ROW: f64 = 14.0;
const GAP: f64 = 14.0;

/// The tree as a drawing that stands by itself: SVG, steps as boxes from left to right, outcomes on the lines.
pub fn svg(tree: &TreeView) -> String {
    let mut d = Drawing {
        body: String::new(),
        low: GAP,
        right: 0.0,
    };
    d.step(tree, 0);
    let (width, height) = (d.right + GAP, d.low + GAP);
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width:.0} {height:.0}\" width=\"{width:.0}\" \
         height=\"{height:.0}\" role=\"img\" font-family=\"sans-serif\" font-size=\"11\">\n\
         <title>Decision tree: {}</title>\n<rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\n{}</svg>\n",
        escape(&tree.step),
        d.body
    )
}

struct Drawing {
    body: String,
    /// Where free room begins.
    low: f64,
    /// The rightmost edge.
    right: f64,
}

/// Text for XML.
fn escape(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}

impl Drawing {
    /// Draws a step and all after it; gives the height of its middle.
    fn step(&mut self, tree: &TreeView, column: usize) -> f64 {
        let lines = textwrap::wrap(&tree.step, 38);
        let height = ROW * (lines.len() as f64 + 1.0) + 10.0;
        let top = self.low;
        let ends: Vec<(f64, &BranchView)> = tree
            .branches
            .iter()
            .map(|b| (self.end(b, column + 1), b))
            .collect();
        let middle = match (ends.first(), ends.last()) {
            (Some(first), Some(last)) => ((first.0 + last.0) / 2.0).max(top + height / 2.0),
            _ => top + height / 2.0,
        };
        self.low = self.low.max(middle + height / 2.0 + GAP);
        let left = GAP + column as f64 * COLUMN;
        self.right = self.right.max(left + BOX);
        for (y, branch) in ends {
            self.line(left + BOX, middle, left + COLUMN, y, branch);
        }
        self.boxed(left, middle - height / 2.0, height, &lines, tree.minutes);
        middle
    }

    fn end(&mut self, branch: &BranchView, column: usize) -> f64 {
        if let Some(tree) = &branch.then {
            return self.step(tree, column);
        }
        let left = GAP + column as f64 * COLUMN;
        let y = self.low + ROW;
        let word = if branch.works { "done" } else { "go on" };
        let _ = writeln!(
            self.body,
            "<circle cx=\"{:.0}\" cy=\"{y:.0}\" r=\"6\" fill=\"#fff\" stroke=\"#222\"/>\
             <text x=\"{:.0}\" y=\"{:.0}\">{word}</text>",
            left + 6.0,
            left + 18.0,
            y + 4.0
        );
        self.right = self.right.max(left + 60.0);
        self.low = y + ROW + GAP;
        y
    }

    fn line(&mut self, x1: f64, y1: f64, x2: f64, y2: f64, branch: &BranchView) {
        let label = format!("{} ({:.0} %)", branch.outcome, branch.probability * 100.0);
        let label: Vec<_> = textwrap::wrap(&label, 13)
            .into_iter()
            .map(|l| escape(&l))
            .collect();
        let _ = writeln!(
            self.body,
            "<path d=\"M{x1:.0} {y1:.0}L{:.0} {y2:.0}H{x2:.0}\" fill=\"none\" stroke=\"#666\"/>",
            x1 + 10.0
        );
        for (k, l) in label.iter().enumerate() {
            let y = y2 - 3.0 - ROW * 0.8 * (label.len() - 1 - k) as f64;
            let _ = writeln!(
                self.body,
                "<text x=\"{:.0}\" y=\"{y:.0}\" font-size=\"9\">{l}</text>",
                x1 + 13.0
            );
        }
    }

    fn boxed(&mut self, x: f64, y: f64, height: f64, lines: &[std::borrow::Cow<str>], left: f64) {
        let _ = writeln!(
            self.body,
            "<rect x=\"{x:.0}\" y=\"{y:.0}\" width=\"{BOX:.0}\" height=\"{height:.0}\" rx=\"4\" fill=\"#f4f1e8\" stroke=\"#222\"/>"
        );
        let about = format!("about {} from here", minutes(left));
        let all = lines.iter().map(|l| l.as_ref()).chain([about.as_str()]);
        for (k, line) in all.enumerate() {
            let _ = writeln!(
                self.body,
                "<text x=\"{:.0}\" y=\"{:.0}\">{}</text>",
                x + 6.0,
                y + 5.0 + ROW * (k as f64 + 0.8),
                escape(line)
            );
        }
    }
}
