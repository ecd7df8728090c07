//! A trace as text of eighty columns.

use super::view::{Does, PathView, PinView, StepView, TraceView};
use crate::boardinfo::page::Page;

/// At most so many other pins of a line are listed.
const OTHERS: usize = 8;

/// The whole trace.
pub fn text(v: &TraceView) -> String {
    let mut p = Page::default();
    p.head(&format!("{} on {}", v.what, v.board));
    p.hang("", &v.says);
    for path in &v.paths {
        way(&mut p, path);
    }
    if !v.beside.is_empty() {
        p.head("Beside the way");
        let rows = v.beside.iter().map(|b| {
            let from = match b.from.is_empty() {
                true => "no single source in the map".to_string(),
                false => format!("from {}", b.from.join("; ")),
            };
            vec![
                b.pin.pin.clone(),
                b.pin.signal.clone(),
                b.pin.line.clone(),
                from,
            ]
        });
        p.table(&[], rows.collect());
    }
    if !v.lines.is_empty() {
        p.head("Where to measure");
        let rows = v.lines.iter().map(|l| {
            let expect = l
                .expect
                .clone()
                .unwrap_or_else(|| "not in the map".to_string());
            let mut about = l.what.clone().unwrap_or_default();
            if let Some(c) = &l.caution {
                about += &format!(". Careful: {c}");
            }
            if !l.others.is_empty() {
                let more = l.others.len().saturating_sub(OTHERS);
                let gap = if about.is_empty() { "" } else { "; " };
                let shown = l
                    .others
                    .iter()
                    .take(OTHERS)
                    .cloned()
                    .collect::<Vec<_>>()
                    .join(" ");
                let rest = if more > 0 {
                    format!(" and {more} more")
                } else {
                    String::new()
                };
                about += &format!("{gap}also on it: {shown}{rest}");
            }
            let at = l.at.iter().take(3).cloned().collect::<Vec<_>>().join(" ");
            vec![l.line.clone(), expect, at, about]
        });
        p.table(&["line", "expect", "at", ""], rows.collect());
    }
    if !v.cautions.is_empty() {
        p.head("Careful");
        for c in &v.cautions {
            p.hang("  - ", c);
        }
    }
    p.out
}

fn way(p: &mut Page, path: &PathView) {
    p.head(&path.title);
    let mut before: Option<&Vec<String>> = None;
    for (n, step) in path.steps.iter().enumerate() {
        p.hang(&format!("{:>3}  ", n + 1), &told(step));
        let shows = match step.breaks.is_empty() {
            true => "nothing that a test run or the eye shows".to_string(),
            false if before == Some(&step.breaks) => "the same".to_string(),
            false => step.breaks.join("; "),
        };
        p.hang("       if it ends here: ", &shows);
        before = Some(&step.breaks);
    }
}

/// One step as a sentence: `A1.2 (pa0) drives KC0 - 6526, adapter 1 …`.
fn told(s: &StepView) -> String {
    let pin = |p: &PinView| format!("{} ({})", p.pin, p.signal);
    let line = |p: &PinView| match p.line.is_empty() {
        true => "nothing".to_string(),
        false => p.line.clone(),
    };
    let way = match (&s.enters, &s.leaves, s.does) {
        (Some(a), Some(b), Does::Passes) if a.pin == b.pin => {
            format!("{} passes {} on", pin(a), line(a))
        }
        (Some(a), Some(b), Does::Inverts) => format!(
            "{} in, {} out, upside down: {} to {}",
            pin(a),
            pin(b),
            line(a),
            line(b)
        ),
        (Some(a), Some(b), _) => {
            format!("{} in, {} out: {} to {}", pin(a), pin(b), line(a), line(b))
        }
        (None, Some(b), _) => format!("{} drives {}", pin(b), line(b)),
        (Some(a), None, _) => format!("{} reads {}", pin(a), line(a)),
        (None, None, _) => s.socket.clone(),
    };
    let function = s
        .function
        .as_ref()
        .map_or(String::new(), |f| format!(", its {f}"));
    format!("{way}. {}, {}{function}", s.part, s.role)
}
