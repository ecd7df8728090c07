//! The bits of main memory: which chip is which bit, and how the listed cells read.

use super::svg::*;
use crate::note::figure_text::wrong_bit;
use crate::note::model::{BitNote, CellNote, MemoryDrawing};
use maud::{Markup, html};

const WIDE: f64 = 720.0;
const LABEL: f64 = 84.0;
const CHIP_HIGH: f64 = 62.0;
const HEAD: f64 = 34.0;
const ROW: f64 = 34.0;

/// The drawing and its caption.
pub fn draw(m: &MemoryDrawing) -> (Markup, String) {
    let column = (WIDE - LABEL) / m.bits.len().max(1) as f64;
    let at = |i: usize| LABEL + column * (i as f64 + 0.5);
    let high = HEAD + CHIP_HIGH + 20.0 + ROW * m.cells.len() as f64;
    let inside = html! {
        text.line-name x=(n(LABEL / 2.0)) y="22" { "bit" }
        @for (i, b) in m.bits.iter().enumerate() {
            text.line-name x=(n(at(i))) y="22" { (b.bit) }
            (chip(at(i), column, b))
        }
        @for (r, c) in m.cells.iter().enumerate() { (cell(m, c, HEAD + CHIP_HIGH + 12.0 + ROW * r as f64, &at, column)) }
    };
    let mut caption = vec![format!("Run {}.", m.run)];
    if !m.cells.is_empty() {
        caption.push(
            "Each row is a listed cell: a dot where the bit reads as written, else what it reads."
                .into(),
        );
    }
    if m.more > 0 {
        caption.push(format!("{} more cells were counted.", m.more));
    }
    (
        drawing(
            "memory",
            (WIDE, high),
            "The bits of main memory",
            &m.said,
            &inside,
        ),
        caption.join(" "),
    )
}

fn chip(x: f64, column: f64, b: &BitNote) -> Markup {
    let wide = (column - 16.0).min(64.0);
    let fill = if b.bad { ACCENT } else { CHIP };
    let ink = if b.bad { ACCENT.text_on() } else { GREY };
    let size = (wide / (b.socket.chars().count() as f64 * 0.7)).min(20.0);
    html! {
        rect class=(if b.bad { "chip accused" } else { "chip" }) x=(n(x - wide / 2.0)) y=(n(HEAD)) width=(n(wide)) height=(n(CHIP_HIGH)) rx="5" fill=(fill) {}
        text x=(n(x)) y=(n(HEAD + 26.0)) font-size=(n(size)) font-weight="600" fill=(ink) { (b.socket) }
        text x=(n(x)) y=(n(HEAD + 50.0)) font-size="17" fill=(ink) { (if b.bad { "✕ bad" } else { "–" }) }
    }
}

fn cell(
    m: &MemoryDrawing,
    c: &CellNote,
    top: f64,
    at: &dyn Fn(usize) -> f64,
    column: f64,
) -> Markup {
    let base = top + ROW / 2.0 + 6.0;
    html! {
        text.address x=(n(LABEL / 2.0)) y=(n(base)) { (format!("{:04X}", c.address)) }
        @for (i, b) in m.bits.iter().enumerate() {
            @let read = wrong_bit(c, b.bit);
            @if read == "." {
                circle.as-written cx=(n(at(i))) cy=(n(base - 6.0)) r="3" {}
            } @else {
                rect.wrong x=(n(at(i) - column * 0.3)) y=(n(top + 2.0)) width=(n(column * 0.6)) height=(n(ROW - 4.0)) rx="4" {}
                text.wrong x=(n(at(i))) y=(n(base)) { (read) }
            }
        }
    }
}
