//! The note as text of 80 columns.

use super::figure_text::figure;
use super::model::Note;
use super::page::*;
use std::fmt::Write as _;
use textwrap::core::display_width;

/// Columns.
pub const WIDTH: usize = 80;

/// Columns that labels take at most.
const LABEL: usize = 22;

/// The note as text.
pub fn render(note: &Note) -> String {
    let page = Page::of(note);
    let mut p = Text { out: String::new() };
    p.hang("", &page.title);
    p.hang("", &page.under);
    p.rule('=');
    p.facts("", &[("Status".into(), page.status.1.clone())], 16);
    if let Some(stop) = &page.stop {
        p.facts("", &[("SWITCH OFF".into(), stop.clone())], 16);
    }
    if let Some(complaint) = &page.complaint {
        p.facts("", &[("Complaint".into(), complaint.clone())], 16);
    }
    let next: Vec<_> = page
        .next
        .iter()
        .map(|n| ("Next".to_string(), n.clone()))
        .collect();
    p.facts("", &next, 16);
    let glance: Vec<_> = page
        .glance
        .iter()
        .map(|(l, t)| (l.to_string(), t.clone()))
        .collect();
    p.facts("", &glance, 16);
    p.rule('=');
    for section in &page.sections {
        p.blank();
        p.hang("", &section.title.to_uppercase());
        for block in &section.blocks {
            p.block(note, block);
        }
    }
    p.out
}

struct Text {
    out: String,
}

impl Text {
    fn blank(&mut self) {
        self.out.push('\n');
    }

    fn rule(&mut self, sign: char) {
        let _ = writeln!(self.out, "{}", sign.to_string().repeat(WIDTH));
    }

    /// A paragraph that begins with `first` and goes on indented as far.
    fn hang(&mut self, first: &str, text: &str) {
        let indent = " ".repeat(display_width(first));
        let options = textwrap::Options::new(WIDTH)
            .initial_indent(first)
            .subsequent_indent(&indent);
        for line in textwrap::wrap(&plain(text), options) {
            let _ = writeln!(self.out, "{}", line.trim_end());
        }
    }

    fn facts(&mut self, indent: &str, facts: &[(String, String)], least: usize) {
        let longest = facts.iter().map(|(l, _)| display_width(l) + 2).max();
        let wide = longest.unwrap_or(0).clamp(least, LABEL);
        for (label, text) in facts {
            let pad = wide.saturating_sub(display_width(label)).max(1);
            self.hang(&format!("{indent}{label}{}", " ".repeat(pad)), text);
        }
    }

    fn block(&mut self, note: &Note, block: &Block) {
        match block {
            Block::Head(text) => {
                self.blank();
                self.hang("  ", text);
            }
            Block::Para(text) => self.hang("  ", text),
            Block::Caution(text) => self.hang("  ! ", text),
            Block::Facts(facts) => self.facts("  ", facts, 0),
            Block::List(all) => all.iter().for_each(|t| self.hang("  - ", t)),
            Block::Seen(all) => {
                let wide = all.iter().map(|s| s.word.len()).max().unwrap_or(0);
                all.iter().for_each(|s| self.seen(s, wide));
            }
            Block::Steps(all) => {
                for (i, s) in all.iter().enumerate() {
                    if i > 0 {
                        self.blank();
                    }
                    self.hang(&format!("  {}. ", i + 1), &s.what);
                    self.hang("     = ", &s.verdict);
                    self.facts("       ", &s.facts, 0);
                }
            }
            Block::Table(t) => self.table(t),
            Block::Figure(f) => {
                if let Some(text) = figure(note, *f) {
                    self.blank();
                    text.lines().for_each(|l| {
                        let _ = writeln!(self.out, "{}", format!("    {l}").trim_end());
                    });
                }
            }
        }
    }

    fn seen(&mut self, s: &Seen, wide: usize) {
        let more = s
            .more
            .as_ref()
            .map(|m| format!(" ({m})"))
            .unwrap_or_default();
        let word = if s.tone == Tone::Bad { "BAD" } else { s.word };
        self.hang(&format!("  {word:<wide$}  "), &format!("{}{more}", s.text));
    }

    /// Columns as wide as they need where that fits, else the widest give way.
    fn table(&mut self, t: &Table) {
        let columns = t.head.len();
        let all = || std::iter::once(&t.head).chain(&t.rows);
        let mut widths: Vec<usize> = (0..columns)
            .map(|c| all().map(|r| display_width(&r[c])).max().unwrap_or(0))
            .collect();
        let room = WIDTH - 2 - 2 * (columns - 1);
        while widths.iter().sum::<usize>() > room {
            let Some(widest) = (0..columns)
                .max_by_key(|&c| widths[c])
                .filter(|&c| widths[c] > 6)
            else {
                break;
            };
            widths[widest] -= 1;
        }
        self.blank();
        self.row(&t.head, &widths);
        let rule: Vec<String> = widths.iter().map(|w| "-".repeat(*w)).collect();
        self.row(&rule, &widths);
        t.rows.iter().for_each(|r| self.row(r, &widths));
    }

    fn row(&mut self, cells: &[String], widths: &[usize]) {
        let wrapped: Vec<Vec<String>> = cells
            .iter()
            .zip(widths)
            .map(|(c, w)| {
                textwrap::wrap(&plain(c), *w)
                    .iter()
                    .map(|l| l.to_string())
                    .collect()
            })
            .collect();
        let high = wrapped.iter().map(Vec::len).max().unwrap_or(0);
        for k in 0..high {
            let mut line = String::from(" ");
            for (cell, w) in wrapped.iter().zip(widths) {
                let text = cell.get(k).map_or("", String::as_str);
                let pad = w.saturating_sub(display_width(text));
                let _ = write!(line, " {text}{} ", " ".repeat(pad));
            }
            let _ = writeln!(self.out, "{}", line.trim_end());
        }
    }
}

/// Signs that move the cursor are no text.
fn plain(text: &str) -> String {
    let clean = |c: char| if c.is_control() { ' ' } else { c };
    text.chars().map(clean).collect()
}
