//! The drawings in signs of equal width, for text and Markdown. What a table beside it says already has none.

use super::model::*;
use super::page::Figure;
use std::fmt::Write as _;

/// A drawing as lines of text.
pub fn figure(note: &Note, figure: Figure) -> Option<String> {
    match figure {
        Figure::Board | Figure::Course => None,
        Figure::Keys => note.keys.as_ref().map(keys),
        Figure::Memory => note.memory.as_ref().map(memory),
    }
}

/// The mark of a key.
pub fn mark(state: KeyState) -> &'static str {
    match state {
        KeyState::Dead => "x",
        KeyState::Stuck => "!",
        KeyState::Ghost => "?",
        KeyState::Bad => "*",
        KeyState::Good | KeyState::Unsaid => "",
    }
}

/// What the marks mean, for those that occur.
pub fn legend(k: &KeyDrawing) -> Vec<(KeyState, &'static str)> {
    let all = [
        (KeyState::Dead, "dead"),
        (KeyState::Stuck, "stuck: reported without being pressed"),
        (
            KeyState::Ghost,
            "ghost: appears when other keys are pressed",
        ),
        (KeyState::Bad, "bad in another way"),
    ];
    let occurs = |state: KeyState| {
        let keys = k.keys.iter().flatten().flatten().chain(&k.outside);
        keys.into_iter().any(|key| key.state == state)
    };
    all.into_iter().filter(|(s, _)| occurs(*s)).collect()
}

fn keys(k: &KeyDrawing) -> String {
    let name = |key: &KeyNote| format!("{}{}", key.key, mark(key.state));
    let cell = |key: &Option<KeyNote>| key.as_ref().map_or("-".into(), name);
    let mut rows = vec![
        std::iter::once(String::new())
            .chain(k.columns.clone())
            .collect::<Vec<_>>(),
    ];
    for (r, line) in k.rows.iter().enumerate() {
        let keys = k
            .keys
            .iter()
            .map(|column| column.get(r).map_or("-".into(), cell));
        rows.push(std::iter::once(line.clone()).chain(keys).collect());
    }
    let wide = rows.first().map_or(0, Vec::len);
    let widths: Vec<usize> = (0..wide)
        .map(|c| rows.iter().map(|r| r[c].chars().count()).max().unwrap_or(0))
        .collect();
    let mut out = String::new();
    for row in rows {
        let cells = row.iter().zip(&widths).map(|(s, w)| format!("{s:<w$}"));
        let _ = writeln!(out, "{}", cells.collect::<Vec<_>>().join("  ").trim_end());
    }
    let outside: Vec<String> = k.outside.iter().map(name).collect();
    if !outside.is_empty() {
        let _ = writeln!(out, "outside the matrix: {}", outside.join(" "));
    }
    for (state, what) in legend(k) {
        let _ = writeln!(out, "{} {what}", mark(state));
    }
    out
}

fn memory(m: &MemoryDrawing) -> String {
    let mut out = String::new();
    let mut row = |label: &str, of: &dyn Fn(&BitNote) -> String, end: &str| {
        let cells = m.bits.iter().map(|b| format!("{:>5}", of(b)));
        let _ = writeln!(
            out,
            "{}",
            format!("{label:<10}{}{end}", cells.collect::<String>()).trim_end()
        );
    };
    row("bit", &|b| b.bit.to_string(), "");
    row("chip", &|b| b.socket.clone(), "");
    row("", &|b| if b.bad { "bad".into() } else { ".".into() }, "");
    for c in &m.cells {
        let end = format!("   wrote {:02X}, read {:02X}", c.wrote, c.read);
        row(
            &format!("{:04X}", c.address),
            &|b| wrong_bit(c, b.bit).into(),
            &end,
        );
    }
    if m.more > 0 {
        let _ = writeln!(out, "and {} more cells", m.more);
    }
    if !m.cells.is_empty() {
        let _ = writeln!(
            out,
            "1: reads 1 where 0 was written; 0: reads 0 where 1 was written"
        );
    }
    out
}

/// How a bit of a cell reads: `.` as written, else what it reads.
pub fn wrong_bit(c: &CellNote, bit: u8) -> &'static str {
    match ((c.wrote ^ c.read) >> bit & 1, c.read >> bit & 1) {
        (0, _) => ".",
        (_, 1) => "1",
        _ => "0",
    }
}
