//! The ranking for a terminal of 80 columns. Colour only supports what the words say.

use super::build::REST_FINE_COUNTS_LESS;
use super::tree;
use super::view::*;
use super::words::{chance, minutes};
use owo_colors::{OwoColorize, Style};
use std::fmt::Write as _;

/// Columns of the text.
pub const WIDTH: usize = 80;

/// Members of a group that are named.
const NAMED: usize = 8;

/// Draws with styles; a printer that strips them makes plain text of it.
struct Page {
    out: String,
}

const HEAD: Style = Style::new().bold();
const FAINT: Style = Style::new().dimmed();
const ALARM: Style = Style::new().red().bold();

impl Page {
    fn head(&mut self, text: &str) {
        let _ = writeln!(self.out, "\n{}", text.style(HEAD));
    }

    /// A paragraph that begins with `first` and goes on indented as far.
    fn hang(&mut self, first: &str, text: &str) {
        let indent = " ".repeat(textwrap::core::display_width(first));
        let options = textwrap::Options::new(WIDTH)
            .initial_indent(first)
            .subsequent_indent(&indent);
        let _ = writeln!(self.out, "{}", textwrap::fill(text, options));
    }
}

/// The whole report.
pub fn ranking(v: &RankingView, why: bool) -> String {
    let mut p = Page { out: String::new() };
    heading(&mut p, v);
    stop(&mut p, v);
    suspects(&mut p, v);
    next(&mut p, v);
    decisions(&mut p, v);
    if why {
        reasons(&mut p, v);
    }
    remarks(&mut p, v);
    p.out
}

fn heading(p: &mut Page, v: &RankingView) {
    let ticket = v
        .ticket
        .as_ref()
        .map(|t| format!("ticket {t}, "))
        .unwrap_or_default();
    let runs = if v.run == 1 {
        "1 run".to_string()
    } else {
        format!("{} runs", v.run)
    };
    let _ = writeln!(
        p.out,
        "{}",
        format!("{ticket}board {}, {runs}", v.board).style(HEAD)
    );
}

fn stop(p: &mut Page, v: &RankingView) {
    let Some(stop) = &v.stop else { return };
    let _ = writeln!(p.out, "\n{}", "SWITCH OFF".style(ALARM));
    p.hang("  ", &stop.reason);
    p.hang("  ", &stop.remedy);
}

fn suspects(p: &mut Page, v: &RankingView) {
    p.head("Suspects");
    let shown: Vec<&SuspectView> = v
        .suspects
        .iter()
        .filter(|s| s.probability >= 0.01)
        .collect();
    if shown.is_empty() {
        p.hang("  ", "nothing read so far accuses any part of this board");
    }
    for (i, s) in shown.iter().enumerate() {
        let part = s
            .part
            .as_ref()
            .map(|t| format!("{t}, "))
            .unwrap_or_default();
        let name = format!("{:>3}  {:<16}", i + 1, s.unit);
        let _ = writeln!(
            p.out,
            "{} {:<18} {}",
            name.style(HEAD),
            chance(s.probability),
            bar(s.probability).style(FAINT)
        );
        if let Some(since) = since(s) {
            p.hang("       ", &since);
        }
        p.hang("       ", &format!("{part}{}", s.role));
        let mode = s
            .modes
            .first()
            .map(|m| m.fault.as_ref())
            .unwrap_or_default();
        p.hang("       ", &format!("most likely: {mode}"));
    }
    let leaders: Vec<&str> = shown.iter().take(3).map(|s| s.unit.as_str()).collect();
    for group in v
        .groups
        .iter()
        .filter(|g| g.iter().any(|n| leaders.contains(&n.as_str())))
    {
        let more = group.len().saturating_sub(NAMED);
        let more = if more > 0 {
            format!(" and {more} more")
        } else {
            String::new()
        };
        let names = group[..group.len().min(NAMED)].join(", ");
        p.hang(
            "     ",
            &format!("No reading so far tells these apart: {names}{more}."),
        );
    }
    for e in &v.explained_by {
        p.hang(
            "     ",
            &format!(
                "Explained by the empty socket ({}): {} (line {}).",
                e.fact, e.reading, e.line
            ),
        );
    }
    for c in &v.common_causes {
        p.hang(
            "     ",
            &format!("May lie behind it: {}, {}.", c.cause, chance(c.probability)),
        );
    }
    if let Some(learned) = &v.learned {
        p.hang("     ", learned);
    }
    for h in &v.hints {
        p.hang("     ", &h.text);
    }
    if v.unexplored_mass > 0.0 {
        p.hang(
            "     ",
            &crate::report::words::not_looked_at(v.unexplored_mass),
        );
    }
}

/// A suspect that is less than half as probably at fault as it was: what became of it.
fn since(s: &SuspectView) -> Option<String> {
    match s.still {
        still if still >= 0.5 * s.probability => None,
        still if still > 0.0 => Some(format!(
            "was at fault, and was worked at since; still at fault: {}",
            chance(still)
        )),
        _ => Some("was at fault, and is out of the machine since".into()),
    }
}

/// Ten steps of a bar, for the eye; the words beside it say the same.
fn bar(p: f64) -> String {
    let n = (p * 20.0).round() as usize;
    "#".repeat(n.min(20))
}

/// Lines that were not understood, with what to type.
fn not_used(p: &mut Page, v: &RankingView) {
    let lost = || v.not_understood.iter().filter(|n| n.counts_as.is_none());
    if lost().next().is_none() {
        return;
    }
    p.head("Not understood (kept, not used)");
    if v.facts_used.iter().any(|f| f == REST_FINE_COUNTS_LESS) {
        p.hang("  ", &format!("{REST_FINE_COUNTS_LESS}."));
    }
    for n in lost() {
        p.hang(&format!("  line {:>3}  ", n.line), &n.text);
        p.hang("            ", &n.hint);
    }
}

/// Only the next steps.
pub fn next_only(v: &RankingView) -> String {
    let mut p = Page { out: String::new() };
    heading(&mut p, v);
    stop(&mut p, v);
    next(&mut p, v);
    for (i, n) in v.next.iter().enumerate() {
        p.head(&format!("{}. {}", i + 1, n.r#where));
        p.hang("  ", &n.step);
        outcomes(&mut p, n);
    }
    decisions(&mut p, v);
    not_used(&mut p, v);
    p.out
}

/// What each outcome of a step would make of the ranking; those that make the same of it are told once.
fn outcomes(p: &mut Page, n: &NextView) {
    let then = |o: &OutcomeView| {
        let units = o.then.iter();
        let units = units.map(|t| format!("{} {}", t.unit, chance(t.probability)));
        (chance(o.probability), units.collect::<Vec<_>>().join(", "))
    };
    let same = |a: &OutcomeView, b: &OutcomeView| !a.then.is_empty() && then(a) == then(b);
    for alike in n.outcomes.chunk_by(same) {
        let (often, units) = then(&alike[0]);
        let seen = match alike {
            [one] => format!("{} ({often})", one.outcome),
            [one, other] => format!("{}, or {} ({often} each)", one.outcome, other.outcome),
            [first, more @ ..] => format!(
                "{}, or {} like it ({often} each)",
                first.outcome,
                more.len()
            ),
            [] => continue,
        };
        let units = if units.is_empty() {
            units
        } else {
            format!(": {units}")
        };
        p.hang("    ", &format!("{seen}{units}"));
    }
}

/// The decision tree, when there is one.
fn decisions(p: &mut Page, v: &RankingView) {
    if let Some(t) = &v.tree {
        p.head("What then");
        p.out.push_str(&tree::text(t));
    }
}

/// Only the reasons.
pub fn why_only(v: &RankingView) -> String {
    let mut p = Page { out: String::new() };
    reasons(&mut p, v);
    p.out
}

fn next(p: &mut Page, v: &RankingView) {
    let Some(n) = v.next.first() else { return };
    p.head("Next");
    if n.ask == Some(crate::next::Ask::Loops) && !v.not_understood.is_empty() {
        p.hang(
            "  ",
            &match v.not_understood.len() {
                1 => "A line was not understood (below): put it right first, it may accuse a part."
                    .to_string(),
                lines => format!(
                    "{lines} lines were not understood (below): put them right first, they may accuse a part."
                ),
            },
        );
    }
    p.hang("  ", &n.step);
    p.hang("  ", &format!("Where: {}", n.r#where));
    if !n.expect.is_empty() {
        p.hang("  ", &format!("Expect: {}", n.expect));
    }
    if let Some(h) = &n.hazard {
        p.hang("  ", &format!("Careful: {h}"));
    }
    let saves = match n.saves_minutes {
        m if m >= 1.5 => format!(
            "; saves about {} against renewing parts in order of rank",
            minutes(m)
        ),
        _ => String::new(),
    };
    p.hang("  ", &format!("Takes about {}{saves}.", minutes(n.minutes)));
    let others: Vec<&str> = v.next.iter().skip(1).map(|n| n.r#where.as_str()).collect();
    if !others.is_empty() {
        p.hang("  ", &format!("Else: {}", others.join("; ")));
    }
}

/// Decibans beyond which a thing is as good as sure: a part that was not there before a line comes out of nothing.
const SURE: f64 = 60.0;

fn weight(decibans: f64, signed: bool) -> String {
    match decibans {
        x if x >= SURE => format!("> {SURE:.0}"),
        x if x <= -SURE => format!("< -{SURE:.0}"),
        x if signed => format!("{x:+.1}"),
        x => format!("{x:.1}"),
    }
}

fn reasons(p: &mut Page, v: &RankingView) {
    for s in v
        .suspects
        .iter()
        .filter(|s| !s.evidence.is_empty() && s.probability >= 0.01)
    {
        p.head(&format!("Why {}", s.unit));
        let before = s.before.unwrap_or(0.0);
        let _ = writeln!(p.out, "  {:>8}  {:>9}  line", "decibans", "without");
        let _ = writeln!(
            p.out,
            "  {:>8}  {:>9}  before any line",
            weight(log_odds(before), false),
            ""
        );
        for e in s
            .evidence
            .iter()
            .filter(|e| e.decibans.abs() >= 0.05 || (e.without - s.probability).abs() >= 0.005)
        {
            let first = format!(
                "  {:>8}  {:>9.3}  {:>3}: ",
                weight(e.decibans, true),
                e.without,
                e.line
            );
            p.hang(&first, &e.reading);
        }
        let _ = writeln!(
            p.out,
            "  {:>8}  {:>9.3}  all lines",
            weight(log_odds(s.probability), false),
            s.probability
        );
        let _ = writeln!(p.out, "  (10 decibans: ten times as likely)");
    }
    if let Some(r) = &v.robustness {
        let text = match r.prior_too_high_by {
            Some(f) => format!(
                "{} would still lead if its failure rate were {f:.1} times lower.",
                r.leader
            ),
            None => format!("{} leads whatever its failure rate.", r.leader),
        };
        p.head("How firm");
        p.hang("  ", &text);
    }
}

fn log_odds(p: f64) -> f64 {
    10.0 * (p / (1.0 - p)).log10()
}

fn remarks(p: &mut Page, v: &RankingView) {
    if !v.doubtful.is_empty() {
        p.head("Check these lines");
        for d in &v.doubtful {
            let mut text = format!(
                "{}: nothing on this board would give it, as far as the other lines go",
                d.reading
            );
            if let Some(slip) = &d.slip {
                text += &format!(". Was it '{}'? That would fit.", slip.instead);
            }
            p.hang(&format!("  line {:>3}  ", d.line), &text);
        }
    }
    if !v.corrections.is_empty() {
        p.head("Read as");
        for c in &v.corrections {
            p.hang(
                &format!("  line {:>3}  ", c.line),
                &format!("'{}' as '{}'", c.typed, c.read_as),
            );
        }
    }
    let uncertain = || (v.not_understood.iter()).filter_map(|n| Some((n, n.counts_as.as_ref()?)));
    if uncertain().next().is_some() {
        p.head("Not certain (off the photograph; counts for less until you type what is right)");
        for (n, first) in uncertain() {
            p.hang(&format!("  line {:>3}  ", n.line), &n.text);
            p.hang("            ", &format!("counts as `{first}`; {}", n.hint));
        }
    }
    not_used(p, v);
    if !v.remarks.is_empty() {
        p.head("Understood, but not used");
        for n in &v.remarks {
            p.hang(&format!("  line {:>3}  ", n.line), &n.text);
            p.hang("            ", &n.hint);
        }
    }
}
