//! A page about one board, to print and lay on the bench.

use super::effect;
use super::page::Page;
use crate::faultmap::model::{BoardModel, LineDef, Position};
use crate::faultmap::raw::{Expect, LayoutKind, RailRaw};
use schemars::JsonSchema;
use serde::Serialize;

/// Which sockets belong under a heading.
type Wanted<'a> = &'a dyn Fn(&SocketView) -> bool;

/// What `board show --json` prints.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct ShowView {
    /// 1.
    pub schema: u32,
    /// Identifier.
    pub board: String,
    /// One line.
    pub what: String,
    /// Type numbers that tell it from others.
    pub known_by: Vec<String>,
    /// Mains frequencies, hertz.
    pub mains: Vec<f64>,
    /// `real`, `schematic` or nothing: what the places of its parts are worth.
    pub layout: Option<String>,
    /// Positions, those outside the board last.
    pub sockets: Vec<SocketView>,
    /// Rails in the order to measure them.
    pub rails: Vec<RailView>,
    /// Lines with what to expect there.
    pub lines: Vec<PointView>,
    /// Data bit → position.
    pub memory: Vec<String>,
    /// Columns of the key matrix.
    pub keys: Vec<ColumnView>,
    /// What an empty socket shows.
    pub empty: Vec<EmptyView>,
    /// Cautions, each with the positions that it is about.
    pub cautions: Vec<CautionView>,
    /// Where the wiring is from.
    pub sources: Vec<String>,
}

/// A position.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct SocketView {
    /// Designator.
    pub socket: String,
    /// Type number, value or family.
    pub part: String,
    /// Other types that fit, with their conditions.
    pub also: Vec<String>,
    /// What it does here.
    pub role: String,
    /// In a socket.
    pub socketed: bool,
    /// Whether the machine needs it.
    pub required: bool,
    /// Not on the board.
    pub outside: bool,
    /// Normal warmth.
    pub warmth: Option<String>,
    /// Place on the drawing.
    pub at: Option<(f64, f64)>,
}

/// A rail.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct RailView {
    /// Name.
    pub rail: String,
    /// Line.
    pub line: String,
    /// Nominal volts; negative for a negative rail.
    pub nominal: f64,
    /// Lowest and highest good value, volts, by magnitude.
    pub good: (f64, f64),
    /// Highest value unloaded that is no fault, volts.
    pub unloaded: Option<f64>,
    /// From here on the board must not stay powered, volts.
    pub stop: f64,
    /// Alternating.
    pub ac: bool,
    /// Pins, best first.
    pub at: Vec<String>,
    /// Pin for the meter's other lead, where that is not ground.
    pub against: Option<String>,
    /// Where the limits are from.
    pub source: String,
}

/// A line to measure.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct PointView {
    /// The line.
    pub line: String,
    /// What a probe shows.
    pub expect: String,
    /// Pins, best first.
    pub at: Vec<String>,
    /// What the line is.
    pub what: String,
    /// Caution.
    pub caution: Option<String>,
}

/// A column of the key matrix.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct ColumnView {
    /// Line of the column.
    pub line: String,
    /// Its keys, by row; `-` where there is none.
    pub keys: Vec<String>,
}

/// What an empty socket shows.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct EmptyView {
    /// Designators: several when they show the same.
    pub sockets: Vec<String>,
    /// What is seen.
    pub shows: Vec<String>,
}

/// A caution.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct CautionView {
    /// The caution.
    pub caution: String,
    /// Positions or lines it is about.
    pub about: Vec<String>,
}

/// What a line should read, in words.
pub fn expected(line: &LineDef) -> String {
    let state = match line.expect {
        Expect::Low => "low",
        Expect::High => "high",
        Expect::Pulsing => "pulsing",
    };
    match line.hz {
        Some(hz) => format!("{state}, {}", hertz(hz)),
        None => state.to_string(),
    }
}

/// `1 MHz`, `15.6 kHz`, `50 Hz`.
fn hertz(hz: f64) -> String {
    let (value, unit) = match hz {
        f if f >= 1e6 => (hz / 1e6, "MHz"),
        f if f >= 1e3 => (hz / 1e3, "kHz"),
        _ => (hz, "Hz"),
    };
    let digits = format!("{value:.3}");
    let plain = digits.trim_end_matches('0').trim_end_matches('.');
    format!("{plain} {unit}")
}

/// What a rail should read, in words.
pub fn rail_expected(rail: &RailRaw) -> String {
    let ac = if rail.ac { " AC" } else { "" };
    let unloaded = match rail.unloaded {
        Some(u) => format!(" (unloaded to {u})"),
        None => String::new(),
    };
    let sign = if rail.nominal < 0.0 { "-" } else { "" };
    format!(
        "{sign}{} to {sign}{} V{ac}{unloaded}",
        rail.low.abs(),
        rail.high.abs()
    )
}

/// The part in a position in a few words.
pub fn part_name(p: &Position) -> String {
    let named = p.part_type.clone().or_else(|| p.value.clone());
    named.unwrap_or_else(|| p.family.replace('-', " "))
}

fn socket(p: &Position) -> SocketView {
    let also = p
        .types
        .iter()
        .filter(|(t, _)| Some(*t) != p.part_type.as_ref());
    SocketView {
        socket: p.name.clone(),
        part: part_name(p),
        also: also
            .map(|(t, raw)| match &raw.note {
                Some(note) => format!("{t}: {note}"),
                None => t.clone(),
            })
            .collect(),
        role: p.role.clone(),
        socketed: p.socket,
        required: p.required,
        outside: p.outside,
        warmth: p.warmth.map(|w| format!("{w:?}").to_lowercase()),
        at: p.at,
    }
}

/// What an empty socket shows, positions that show the same together.
fn empties(model: &BoardModel) -> Vec<EmptyView> {
    let mut out: Vec<EmptyView> = Vec::new();
    for (i, p) in model.positions.iter().enumerate().filter(|(_, p)| p.socket) {
        let missing = model
            .units_of(i)
            .flat_map(|(_, u)| u.modes.clone())
            .find(|&m| model.modes[m as usize].missing);
        let Some(mode) = missing else { continue };
        let shows = effect::of_mode(model, mode);
        match out.iter_mut().find(|e| e.shows == shows) {
            Some(same) => same.sockets.push(p.name.clone()),
            None => out.push(EmptyView {
                sockets: vec![p.name.clone()],
                shows,
            }),
        }
    }
    out
}

fn cautions(model: &BoardModel) -> Vec<CautionView> {
    let mut out: Vec<CautionView> = Vec::new();
    let of_parts = model.positions.iter().map(|p| (&p.name, &p.caution));
    let of_lines = model.lines.iter().map(|l| (&l.line, &l.caution));
    for (name, caution) in of_parts.chain(of_lines) {
        let Some(caution) = caution else { continue };
        match out.iter_mut().find(|c| &c.caution == caution) {
            Some(same) => same.about.push(name.clone()),
            None => out.push(CautionView {
                caution: caution.clone(),
                about: vec![name.clone()],
            }),
        }
    }
    out
}

/// Everything the page says.
pub fn view(model: &BoardModel) -> ShowView {
    let mut rails: Vec<_> = model.rails.iter().collect();
    rails.sort_by_key(|(_, r)| r.order);
    let rails = rails.into_iter().map(|(name, r)| RailView {
        rail: name.clone(),
        line: r.line.clone(),
        nominal: r.nominal,
        good: (r.low, r.high),
        against: r.against.clone(),
        unloaded: r.unloaded,
        stop: r.stop,
        ac: r.ac,
        at: crate::faultmap::expand::list(&r.measure),
        source: r.source.clone(),
    });
    let lines = model.lines.iter().map(|l| PointView {
        line: l.line.clone(),
        expect: expected(l),
        at: l.at.clone(),
        what: l.what.clone(),
        caution: l.caution.clone(),
    });
    let mut sockets: Vec<SocketView> = model.positions.iter().map(socket).collect();
    sockets.sort_by_key(|s| (s.outside, natural(&s.socket)));
    let keys = model.keyboard.iter().flat_map(|kb| {
        let columns = crate::faultmap::expand::list(&kb.columns);
        columns.into_iter().zip(kb.matrix.clone())
    });
    let memory = model.memory.as_ref();
    let bits = memory.map_or_else(Vec::new, |m| {
        let chips = crate::faultmap::expand::list(&m.bits);
        let each = usize::from(m.width.max(1));
        chips.iter().flat_map(|c| vec![c.clone(); each]).collect()
    });
    ShowView {
        schema: 1,
        board: model.board.clone(),
        what: model.what.clone(),
        known_by: model.known_by.clone(),
        mains: model.mains.clone(),
        layout: model.layout.as_ref().map(|l| match l.kind {
            LayoutKind::Real => "real".to_string(),
            LayoutKind::Schematic => "schematic".to_string(),
        }),
        sockets,
        rails: rails.collect(),
        lines: lines.collect(),
        memory: bits,
        keys: keys.map(|(line, keys)| ColumnView { line, keys }).collect(),
        empty: empties(model),
        cautions: cautions(model),
        sources: model.sources.clone(),
    }
}

/// U2 before U10.
fn natural(name: &str) -> (String, u32) {
    let letters = name.trim_end_matches(|c: char| c.is_ascii_digit());
    let number = name[letters.len()..].parse().unwrap_or(0);
    (letters.to_string(), number)
}

/// The page as text, at most eighty columns wide.
pub fn page(v: &ShowView) -> String {
    let mut p = Page::default();
    p.head(&v.board);
    p.hang("", &v.what);
    if !v.known_by.is_empty() {
        p.hang("Known by ", &v.known_by.join(", "));
    }
    if !v.mains.is_empty() {
        let hz: Vec<String> = v.mains.iter().map(f64::to_string).collect();
        p.hang("Mains ", &format!("{} Hz", hz.join(" or ")));
    }
    safety(&mut p, v);
    p.head("Rails, in the order to measure them");
    let rails = v.rails.iter().map(|r| {
        let ac = if r.ac { " AC" } else { "" };
        let sign = if r.nominal < 0.0 { "-" } else { "" };
        let unloaded = r.unloaded.map_or(String::new(), |u| {
            format!(", unloaded to {sign}{}", u.abs())
        });
        let (low, high) = (r.good.0.abs(), r.good.1.abs());
        let good = format!("{sign}{low} to {sign}{high} V{ac}{unloaded}");
        let at = match &r.against {
            Some(pin) => format!("{} against {pin}", r.at.join(" ")),
            None => r.at.join(" "),
        };
        vec![
            r.rail.clone(),
            good,
            format!("{sign}{} V", r.stop.abs()),
            at,
        ]
    });
    p.table(
        &["rail", "good", "switch off at", "measure at"],
        rails.collect(),
    );
    parts(&mut p, v);
    p.head("Measuring points");
    let lines = v.lines.iter().map(|l| {
        let what = match &l.caution {
            Some(c) => format!("{}. Careful: {c}", l.what),
            None => l.what.clone(),
        };
        vec![l.line.clone(), l.expect.clone(), l.at.join(" "), what]
    });
    p.table(&["line", "expect", "at", ""], lines.collect());
    if !v.memory.is_empty() {
        let bits: Vec<String> = v
            .memory
            .iter()
            .enumerate()
            .map(|(n, s)| format!("{n} {s}"))
            .collect();
        p.head("Main memory by data bit");
        p.hang("  ", &bits.join(", "));
    }
    if !v.keys.is_empty() {
        p.head("Keys by column line, in the order of the rows");
        for c in &v.keys {
            p.hang(&format!("  {:<8} ", c.line), &c.keys.join("  "));
        }
    }
    p.head("What an empty socket shows (and, as a rule, a dead chip in it)");
    for e in &v.empty {
        let shows = match e.shows.is_empty() {
            true => "nothing that a test run or the eye shows".to_string(),
            false => e.shows.join("; "),
        };
        p.hang("  ", &format!("{}:", e.sockets.join(" ")));
        p.hang("      ", &shows);
    }
    p.head("Where this is from");
    for s in &v.sources {
        p.hang("  - ", s);
    }
    p.out
}

fn safety(p: &mut Page, v: &ShowView) {
    p.head("Careful");
    p.hang("  - ", "A rail at or above its limit: switch off, and do not power the board again until the supply or regulator that feeds it is put right.");
    p.hang("  - ", "Mains work is for those licensed to do it, by the rules of the place; leave adapters and picture tubes closed.");
    for c in &v.cautions {
        p.hang("  - ", &format!("{}: {}", c.about.join(" "), c.caution));
    }
}

fn parts(p: &mut Page, v: &ShowView) {
    let row = |s: &SocketView| {
        let mut role = s.role.clone();
        if !s.required {
            role += " (the machine runs without it)";
        }
        if !s.also.is_empty() && s.socketed {
            role += &format!(". Also: {}", s.also.join("; "));
        }
        vec![
            s.socket.clone(),
            s.part.clone(),
            s.warmth.clone().unwrap_or_default(),
            role,
        ]
    };
    let all: [(&str, Wanted<'_>); 3] = [
        ("Sockets", &|s| s.socketed && !s.outside),
        ("Soldered", &|s| !s.socketed && !s.outside),
        ("Outside the board", &|s| s.outside),
    ];
    for (title, wanted) in all {
        let rows: Vec<_> = v.sockets.iter().filter(|s| wanted(s)).map(row).collect();
        if !rows.is_empty() {
            p.head(title);
            p.table(&[], rows);
        }
    }
}
