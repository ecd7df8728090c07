//! A trace as a drawing: the board from above with the way marked, step by step.

use super::view::{PathView, TraceView};
use crate::faultmap::model::{BoardModel, Position};
use crate::faultmap::raw::{Class, LayoutKind};
use maud::{Markup, PreEscaped, html};
use std::collections::BTreeMap;

/// Colours of the ways, told apart by dashes as well.
const COLOURS: [(&str, &str); 4] = [
    ("#0a5fb4", "none"),
    ("#b4370a", "1.2 0.6"),
    ("#1d7a34", "0.4 0.5"),
    ("#7a1d6f", "2 0.5 0.4 0.5"),
];

/// Height of a line of text, in units of the drawing.
const TEXT: f64 = 1.6;

struct Frame {
    left: f64,
    top: f64,
    width: f64,
    height: f64,
}

/// Draws a trace. Parts without a place (a cable, the supply) stand in a row below the board.
pub fn svg(v: &TraceView, model: &BoardModel) -> String {
    let places = places(v, model);
    let frame = frame(places.values(), v);
    let on_way = |name: &str| {
        v.paths
            .iter()
            .flat_map(|p| &p.steps)
            .any(|s| s.socket == name)
    };
    let view_box = format!(
        "{:.1} {:.1} {:.1} {:.1}",
        frame.left, frame.top, frame.width, frame.height
    );
    let title = format!("{} on {}", v.what, v.board);
    let drawn = html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox=(view_box) width=(format!("{:.0}", frame.width * 9.0)) height=(format!("{:.0}", frame.height * 9.0)) font-family="sans-serif" font-size=(num(TEXT)) {
            title { (title) }
            rect x=(num(frame.left)) y=(num(frame.top)) width=(num(frame.width)) height=(num(frame.height)) fill="#ffffff" {}
            @for (name, place) in &places {
                (part(name, place, on_way(name)))
            }
            @for (n, path) in v.paths.iter().enumerate() {
                (way(path, &places, COLOURS[n % COLOURS.len()]))
            }
            (legend(v, model, &frame))
        }
    };
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{}\n",
        drawn.into_string()
    )
}

/// A part as it is drawn.
struct Place<'a> {
    position: Option<&'a Position>,
    x: f64,
    y: f64,
    w: f64,
    h: f64,
    turned: bool,
}

fn places<'a>(v: &TraceView, model: &'a BoardModel) -> BTreeMap<String, Place<'a>> {
    let mut out = BTreeMap::new();
    for p in &model.positions {
        if let Some((x, y)) = p.at {
            let (w, h) = if p.turned {
                (p.size.1, p.size.0)
            } else {
                p.size
            };
            let place = Place {
                position: Some(p),
                x,
                y,
                w,
                h,
                turned: p.turned,
            };
            out.insert(p.name.clone(), place);
        }
    }
    let bottom = out.values().map(|p| p.y + p.h / 2.0).fold(0.0, f64::max);
    let mut x = out
        .values()
        .map(|p| p.x - p.w / 2.0)
        .fold(f64::INFINITY, f64::min);
    if !x.is_finite() {
        x = 0.0;
    }
    for step in v.paths.iter().flat_map(|p| &p.steps) {
        if !out.contains_key(&step.socket) {
            let w = (step.socket.chars().count() as f64 * TEXT * 0.7).max(8.0);
            let place = Place {
                position: model.position(&step.socket).map(|p| p.1),
                x: x + w / 2.0,
                y: bottom + 5.0,
                w,
                h: 4.0,
                turned: false,
            };
            x += w + 3.0;
            out.insert(step.socket.clone(), place);
        }
    }
    out
}

fn frame<'a>(places: impl Iterator<Item = &'a Place<'a>>, v: &TraceView) -> Frame {
    let (mut left, mut top, mut right, mut bottom) =
        (f64::INFINITY, f64::INFINITY, 40.0f64, 10.0f64);
    for p in places {
        left = left.min(p.x - p.w / 2.0);
        top = top.min(p.y - p.h / 2.0);
        right = right.max(p.x + p.w / 2.0);
        bottom = bottom.max(p.y + p.h / 2.0);
    }
    let (left, top) = (
        if left.is_finite() { left } else { 0.0 },
        if top.is_finite() { top } else { 0.0 },
    );
    let rows = v.paths.iter().map(|p| p.steps.len() + 1).sum::<usize>() + 4;
    Frame {
        left: left - 3.0,
        top: top - 4.0,
        width: right - left + 6.0,
        height: bottom - top + 8.0 + rows as f64 * TEXT * 1.3,
    }
}

/// A number short enough for a drawing.
fn num(x: f64) -> String {
    let text = format!("{x:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_string()
}

fn part(name: &str, p: &Place, on_way: bool) -> Markup {
    let (fill, stroke, ink) = match on_way {
        true => ("#fff4cf", "#000000", "#000000"),
        false => ("#f2f2f2", "#b8b8b8", "#8a8a8a"),
    };
    let tip = p
        .position
        .map_or(String::new(), |p| format!("{name}: {}", p.role));
    let size = TEXT.min(p.w.max(p.h) / (name.chars().count() as f64 * 0.62).max(1.0));
    let upright = p.h > p.w && p.w < name.chars().count() as f64 * size * 0.6;
    let turn = upright.then(|| format!("rotate(-90 {} {})", num(p.x), num(p.y)));
    html! {
        g {
            title { (tip) }
            rect x=(num(p.x - p.w / 2.0)) y=(num(p.y - p.h / 2.0)) width=(num(p.w)) height=(num(p.h)) rx="0.3" fill=(fill) stroke=(stroke) stroke-width="0.15" {}
            text x=(num(p.x)) y=(num(p.y + size * 0.35)) text-anchor="middle" font-size=(num(size)) fill=(ink) transform=[turn] { (name) }
        }
    }
}

/// Where a pin is drawn: two rows for chips, one for connectors, the ends for what has two or three.
fn pin_at(p: &Place, label: &str) -> (f64, f64) {
    let Some(position) = p.position else {
        return (p.x, p.y);
    };
    let n = position.pins.len();
    let Some(i) = position.pins.iter().position(|q| q.label == label) else {
        return (p.x, p.y);
    };
    let (w, h) = if p.turned { (p.h, p.w) } else { (p.w, p.h) };
    let (i, n) = (i as f64, n as f64);
    let (dx, dy) = match () {
        () if position.outside => (0.0, -h / 2.0),
        () if n <= 3.0 => (
            if n > 1.0 {
                (i / (n - 1.0) - 0.5) * w
            } else {
                0.0
            },
            0.0,
        ),
        () if position.class == Class::Connector => (0.0, ((i + 0.5) / n - 0.5) * h),
        () if i < n / 2.0 => (-w / 2.0, ((i + 0.5) / (n / 2.0).ceil() - 0.5) * h),
        () => (
            w / 2.0,
            (0.5 - (i - (n / 2.0).ceil() + 0.5) / (n / 2.0).floor().max(1.0)) * h,
        ),
    };
    // A quarter turn against the clock takes the upper left to the lower left.
    if p.turned {
        (p.x + dy, p.y - dx)
    } else {
        (p.x + dx, p.y + dy)
    }
}

fn way(path: &PathView, places: &BTreeMap<String, Place>, (colour, dash): (&str, &str)) -> Markup {
    let at = |pin: &str| -> Option<(f64, f64)> {
        let (socket, label) = pin.split_once('.')?;
        Some(pin_at(places.get(socket)?, label))
    };
    let mut points: Vec<(f64, f64)> = Vec::new();
    for step in &path.steps {
        for pin in step.enters.iter().chain(&step.leaves) {
            points.extend(at(&pin.pin).filter(|p| points.last() != Some(p)));
        }
    }
    let line: Vec<String> = points
        .iter()
        .map(|(x, y)| format!("{},{}", num(*x), num(*y)))
        .collect();
    html! {
        polyline points=(line.join(" ")) fill="none" stroke=(colour) stroke-width="0.4" stroke-dasharray=(dash) stroke-linejoin="round" {}
        @for (n, step) in path.steps.iter().enumerate() {
            @if let Some((x, y)) = step.leaves.iter().chain(&step.enters).find_map(|p| at(&p.pin)) {
                circle cx=(num(x)) cy=(num(y)) r="0.9" fill=(colour) {}
                text x=(num(x)) y=(num(y + 0.45)) text-anchor="middle" font-size="1.3" fill="#ffffff" { (n + 1) }
            }
        }
    }
}

fn legend(v: &TraceView, model: &BoardModel, frame: &Frame) -> Markup {
    let rows = v.paths.iter().map(|p| p.steps.len() + 1).sum::<usize>() + 3;
    let x = frame.left + 2.0;
    let mut y = frame.top + frame.height - rows as f64 * TEXT * 1.3;
    let mut out = String::new();
    let mut row = |text: String, colour: &str, bold: bool| {
        let weight = if bold { "bold" } else { "normal" };
        let line =
            html! { text x=(num(x)) y=(num(y)) fill=(colour) font-weight=(weight) { (text) } };
        out += &line.into_string();
        y += TEXT * 1.3;
    };
    row(format!("{} on {}", v.what, v.board), "#000000", true);
    for (n, path) in v.paths.iter().enumerate() {
        let (colour, _) = COLOURS[n % COLOURS.len()];
        row(path.title.clone(), colour, true);
        for (k, step) in path.steps.iter().enumerate() {
            let pins: Vec<&str> = step
                .enters
                .iter()
                .chain(&step.leaves)
                .map(|p| p.pin.as_str())
                .collect();
            let line = step
                .leaves
                .as_ref()
                .or(step.enters.as_ref())
                .map_or("", |p| p.line.as_str());
            let mut pins = pins;
            pins.dedup();
            row(
                format!("{}  {}  {}  {}", k + 1, pins.join(" to "), step.part, line),
                "#000000",
                false,
            );
        }
    }
    let remark = match &model.layout {
        Some(l) if l.kind == LayoutKind::Real => format!("Places as on the board: {}", l.remark),
        Some(l) => format!(
            "Not to scale, places are not those of the board: {}",
            l.remark
        ),
        None => "The map does not say where its parts are.".to_string(),
    };
    row(remark, "#555555", false);
    PreEscaped(out)
}
