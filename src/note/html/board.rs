//! The board with its suspects, by shade and by number.

use super::svg::*;
use crate::note::model::{BoardDrawing, Note, PlacedNote, SuspectNote};
use crate::report::words::chance;
use maud::{Markup, html};

/// Units of the drawing: its width, the strip for what is not on the board, the edge around the parts.
const WIDE: f64 = 720.0;
const STRIP: f64 = 84.0;
const EDGE: f64 = 8.0;
const RIM: f64 = 30.0;
/// Heights of the board, whatever its map says.
const LOW: f64 = 200.0;
const TALL: f64 = 900.0;

/// Letters of parts that the note speaks of are at least so high; those of others are left out below the second.
const LEGIBLE: f64 = 17.0;
const SMALLEST: f64 = 12.0;

/// The drawing and its caption.
pub fn draw(note: &Note, board: &BoardDrawing) -> (Markup, String) {
    let outside: Vec<&PlacedNote> = board.places.iter().filter(|p| p.outside).collect();
    let scale = Scale::of(board);
    let high = scale.high + if outside.is_empty() { 0.0 } else { STRIP };
    let end = |s: &SuspectNote| chance(s.probability.last().copied().unwrap_or(0.0));
    let accused = note
        .course
        .suspects
        .iter()
        .filter(|s| s.is_listed())
        .map(|s| format!("{}: {}, {}", s.number, s.unit, end(s)));
    let accused = accused.collect::<Vec<_>>().join("; ");
    let about = format!(
        "Positions of board {} seen from above. Suspects by number: {accused}.",
        note.machine.board
    );
    let on_board = || board.places.iter().filter(|p| !p.outside);
    let inside = html! {
        rect.frame x=(n(EDGE)) y=(n(EDGE)) width=(n(WIDE - 2.0 * EDGE)) height=(n(scale.high - 2.0 * EDGE)) rx="10" {}
        @for p in on_board().filter(|p| !marked(p)) { (place(p, scale.frame(p))) }
        // Last, so that their numbers lie on top.
        @for p in on_board().filter(|p| marked(p)) { (place(p, scale.frame(p))) }
        @for (i, p) in outside.iter().enumerate() { (place(p, beside(i, outside.len(), scale.high))) }
        @for p in on_board() { (number(p, scale.frame(p))) }
        @for (i, p) in outside.iter().enumerate() { (number(p, beside(i, outside.len(), scale.high))) }
    };
    let mut caption =
        vec!["Numbers are those of the table; the darker, the more likely.".to_string()];
    let mut say = |when: bool, what: &str| caption.extend(when.then(|| what.to_string()));
    say(
        board.places.iter().any(|p| p.worked_on),
        "Double outline: renewed or worked on.",
    );
    say(
        board.places.iter().any(|p| p.empty),
        "Broken outline: empty.",
    );
    say(
        !outside.is_empty(),
        "Below the board: what is connected to it.",
    );
    say(
        board.schematic,
        &format!("Not as on the board: {}.", board.remark),
    );
    (
        drawing(
            "board",
            (WIDE, high),
            "The board with its suspects",
            &about,
            &inside,
        ),
        caption.join(" "),
    )
}

fn marked(p: &PlacedNote) -> bool {
    p.worked_on || p.empty || !p.numbers.is_empty()
}

/// A box: middle and size.
#[derive(Debug, Clone, Copy)]
struct Frame {
    x: f64,
    y: f64,
    wide: f64,
    high: f64,
}

/// From the unit of the map to that of the drawing.
struct Scale {
    left: f64,
    top: f64,
    across: f64,
    down: f64,
    high: f64,
}

impl Scale {
    fn of(board: &BoardDrawing) -> Self {
        let all = || board.places.iter().filter(|p| !p.outside);
        let least = |f: &dyn Fn(&PlacedNote) -> f64| all().map(f).fold(f64::INFINITY, f64::min);
        let most = |f: &dyn Fn(&PlacedNote) -> f64| all().map(f).fold(f64::NEG_INFINITY, f64::max);
        let (left, right) = (
            least(&|p| p.x - p.wide / 2.0),
            most(&|p| p.x + p.wide / 2.0),
        );
        let (top, bottom) = (
            least(&|p| p.y - p.high / 2.0),
            most(&|p| p.y + p.high / 2.0),
        );
        if !(left.is_finite() && right > left && bottom > top) {
            return Self {
                left: 0.0,
                top: 0.0,
                across: 1.0,
                down: 1.0,
                high: LOW,
            };
        }
        let across = (WIDE - 2.0 * RIM) / (right - left);
        let high = (across * (bottom - top) + 2.0 * RIM).clamp(LOW, TALL);
        Self {
            left,
            top,
            across,
            down: (high - 2.0 * RIM) / (bottom - top),
            high,
        }
    }

    fn frame(&self, p: &PlacedNote) -> Frame {
        Frame {
            x: RIM + (p.x - self.left) * self.across,
            y: RIM + (p.y - self.top) * self.down,
            wide: p.wide * self.across,
            high: p.high * self.down,
        }
    }
}

fn beside(i: usize, of: usize, below: f64) -> Frame {
    let step = (WIDE - 2.0 * EDGE) / of as f64;
    Frame {
        x: EDGE + step * (i as f64 + 0.5),
        y: below + STRIP / 2.0,
        wide: (step - 12.0).min(110.0),
        high: 40.0,
    }
}

fn place(p: &PlacedNote, f: Frame) -> Markup {
    let accused = !p.numbers.is_empty();
    let fill = match (p.empty, accused) {
        (true, _) => PAPER,
        (_, true) => ACCENT.shade(0.12 + 0.88 * p.probability),
        _ => CHIP,
    };
    let ink = if accused { fill.text_on() } else { GREY };
    let (left, top) = (f.x - f.wide / 2.0, f.y - f.high / 2.0);
    let class = match (p.empty, accused) {
        (true, _) => "chip empty",
        (_, false) => "chip",
        _ => "chip accused",
    };
    // Narrow upright parts have their names written upwards.
    let upright = f.high > f.wide * 1.25;
    let (along, across) = if upright {
        (f.high, f.wide)
    } else {
        (f.wide, f.high)
    };
    // What the note speaks of is named large enough for a phone, beyond its outline where need be; the others where they have
    // room for letters that can be read.
    let marked = marked(p);
    let size = (along * 0.92 / (p.socket.chars().count() as f64 * 0.62))
        .min(across * 0.72)
        .min(if marked { 24.0 } else { 17.0 });
    let size = if marked { size.max(LEGIBLE) } else { size };
    let turn = upright.then(|| format!("rotate(-90 {} {})", n(f.x), n(f.y)));
    html! {
        @if p.worked_on {
            rect.worked x=(n(left - 4.0)) y=(n(top - 4.0)) width=(n(f.wide + 8.0)) height=(n(f.high + 8.0)) rx="5" {}
        }
        rect class=(class) x=(n(left)) y=(n(top)) width=(n(f.wide)) height=(n(f.high)) rx="3" fill=(fill) {}
        @if p.named && (marked || size >= SMALLEST) {
            text.name.marked[marked] x=(n(f.x)) y=(n(f.y + size * 0.36)) font-size=(n(size)) fill=(ink) transform=[turn] { (p.socket) }
        }
    }
}

/// The numbers of the suspects here, at the corner.
fn number(p: &PlacedNote, f: Frame) -> Markup {
    let numbers: Vec<String> = p.numbers.iter().map(usize::to_string).collect();
    let half = 14.0 + 9.0 * numbers.len().saturating_sub(1) as f64;
    let x = (f.x + f.wide / 2.0 + half - 11.0).min(WIDE - half - 3.0);
    let y = (f.y - f.high / 2.0 - 3.0).max(17.0);
    html! {
        @if !numbers.is_empty() {
            rect.number x=(n(x - half)) y=(n(y - 14.0)) width=(n(2.0 * half)) height="28" rx="14" {}
            text.number x=(n(x)) y=(n(y + 6.5)) { (numbers.join(" ")) }
        }
    }
}
