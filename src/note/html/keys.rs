//! The key matrix: every key with its own mark.

use super::svg::*;
use crate::note::figure_text::{legend, mark};
use crate::note::model::{KeyDrawing, KeyNote, KeyState};
use maud::{Markup, html};

const WIDE: f64 = 720.0;
const LABEL: f64 = 62.0;
const HEAD: f64 = 34.0;
const ROW: f64 = 46.0;

/// The drawing and its caption.
pub fn draw(k: &KeyDrawing) -> (Markup, String) {
    let column = (WIDE - LABEL) / k.columns.len().max(1) as f64;
    let rows = k.rows.len() + usize::from(!k.outside.is_empty());
    let high = HEAD + ROW * rows as f64 + 6.0;
    let inside = html! {
        (hatch())
        @for (c, name) in k.columns.iter().enumerate() {
            (label(LABEL + column * (c as f64 + 0.5), 22.0, column, name))
        }
        @for (r, name) in k.rows.iter().enumerate() {
            (label(LABEL / 2.0, HEAD + ROW * (r as f64 + 0.5) + 6.0, LABEL, name))
        }
        @for (c, keys) in k.keys.iter().enumerate() {
            @for (r, cell) in keys.iter().enumerate() {
                @if let Some(cell) = cell { (key(LABEL + column * c as f64, HEAD + ROW * r as f64, column, cell)) }
            }
        }
        @for (i, cell) in k.outside.iter().enumerate() {
            (key(LABEL + column * i as f64, HEAD + ROW * k.rows.len() as f64, column, cell))
        }
    };
    let legend: Vec<String> = legend(k)
        .into_iter()
        .map(|(s, what)| format!("{} {what}", sign(s)))
        .collect();
    let outside = if k.outside.is_empty() {
        ""
    } else {
        " Last row: keys outside the matrix."
    };
    let caption = format!("Run {}. {}.{outside}", k.run, legend.join("; "));
    (
        drawing("keys", (WIDE, high), "The key matrix", &k.said, &inside),
        caption,
    )
}

/// The mark of a state, drawn large.
fn sign(state: KeyState) -> &'static str {
    match mark(state) {
        "x" => "✕",
        other => other,
    }
}

fn label(x: f64, y: f64, room: f64, text: &str) -> Markup {
    let size = (room / (text.chars().count() as f64 * 0.68)).min(16.0);
    html! { text.line-name x=(n(x)) y=(n(y)) font-size=(n(size)) { (text) } }
}

fn hatch() -> Markup {
    html! {
        defs {
            pattern id="hatch" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)" {
                rect width="7" height="7" fill=(PAPER) {}
                line x1="0" y1="0" x2="0" y2="7" stroke=(ACCENT.shade(0.35)) stroke-width="2.5" {}
            }
        }
    }
}

fn key(left: f64, top: f64, wide: f64, key: &KeyNote) -> Markup {
    let (class, fill) = match key.state {
        KeyState::Dead => ("key dead", "url(#hatch)".to_string()),
        KeyState::Stuck => ("key stuck", ACCENT.to_string()),
        KeyState::Ghost => ("key ghost", PAPER.to_string()),
        KeyState::Bad => ("key dead", PAPER.to_string()),
        KeyState::Good | KeyState::Unsaid => ("key", CHIP.to_string()),
    };
    let ink = match key.state {
        KeyState::Stuck => ACCENT.text_on(),
        KeyState::Good | KeyState::Unsaid => GREY,
        _ => INK,
    };
    let mark = sign(key.state);
    let room = wide - 14.0 - if mark.is_empty() { 0.0 } else { 13.0 };
    let size = (room / (key.key.chars().count() as f64 * 0.66)).min(18.0);
    let middle = left
        + 3.0
        + if mark.is_empty() {
            (wide - 6.0) / 2.0
        } else {
            (wide - 19.0) / 2.0
        };
    html! {
        rect class=(class) x=(n(left + 3.0)) y=(n(top + 3.0)) width=(n(wide - 6.0)) height=(n(ROW - 6.0)) rx="5" fill=(fill) {}
        text.cap x=(n(middle)) y=(n(top + ROW / 2.0 + size * 0.36)) font-size=(n(size)) fill=(ink) { (key.key) }
        @if !mark.is_empty() {
            text.mark x=(n(left + wide - 14.0)) y=(n(top + 20.0)) fill=(ink) { (mark) }
        }
    }
}
