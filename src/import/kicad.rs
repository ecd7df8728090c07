//! Parts, pins and nets of a KiCad netlist (`(export …)`) or board (`(kicad_pcb …)`), both open formats.
//!
//! Format: "S-Expression Format" and "Netlist" of the KiCad developer documentation, read from memory; a board of
//! version 4 calls a footprint `module` and a reference `fp_text reference`.

use super::sexp::{Sexp, SexpError, parse};
use std::collections::BTreeMap;

/// A drawing with what a map can take from it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Drawing {
    /// Parts in the order of the file.
    pub parts: Vec<Component>,
    /// Whether the places are those of a board.
    pub placed: bool,
}

/// A part.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Component {
    /// Designator.
    pub reference: String,
    /// Value, as a rule the type number.
    pub value: String,
    /// Footprint.
    pub footprint: String,
    /// What its library says of it.
    pub description: String,
    /// Pin → net; a net that is empty is none.
    pub pins: BTreeMap<Label, String>,
    /// Middle of its pads, millimetres, y down.
    pub at: Option<(f64, f64)>,
    /// Turned by a quarter.
    pub turned: bool,
    /// Extent of its pads before turning, millimetres.
    pub size: Option<(f64, f64)>,
}

/// A pin's number or name; numbers sort as numbers, before names.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Label {
    /// A number.
    Number(u32),
    /// A name.
    Name(String),
}

impl Label {
    fn new(text: &str) -> Self {
        match text.parse() {
            Ok(n) if !text.starts_with('+') => Label::Number(n),
            _ => Label::Name(text.to_string()),
        }
    }
}

impl std::fmt::Display for Label {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        match self {
            Label::Number(n) => write!(f, "{n}"),
            Label::Name(n) => write!(f, "{n}"),
        }
    }
}

/// Why a file gives no drawing.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum KicadError {
    /// It is no S-expression.
    #[error("{0}")]
    Form(#[from] SexpError),
    /// It is another kind of file.
    #[error("this begins with '({0}': a netlist begins with '(export', a board with '(kicad_pcb'")]
    Kind(String),
    /// It holds no parts.
    #[error("there are no parts with connected pins in it")]
    Empty,
}

/// Reads a netlist or board.
///
/// # Errors
/// What is wrong with the file.
pub fn read(text: &str) -> Result<Drawing, KicadError> {
    let root = parse(text.trim_start_matches('\u{feff}'))?;
    let drawing = match root.head() {
        Some("export") => netlist(&root),
        Some("kicad_pcb") => board(&root),
        other => {
            return Err(KicadError::Kind(
                other.unwrap_or_default().chars().take(40).collect(),
            ));
        }
    };
    match drawing.parts.iter().any(|p| !p.pins.is_empty()) {
        true => Ok(drawing),
        false => Err(KicadError::Empty),
    }
}

fn netlist(root: &Sexp) -> Drawing {
    let mut parts: Vec<Component> = Vec::new();
    let mut index: BTreeMap<String, usize> = BTreeMap::new();
    for comp in root.all("components").flat_map(|c| c.all("comp")) {
        let text = |head: &str| comp.value(head).unwrap_or_default().to_string();
        let library = comp.all("libsource").next();
        let said = library.and_then(|l| l.value("description"));
        let reference = text("ref");
        index.insert(reference.clone(), parts.len());
        parts.push(Component {
            reference,
            value: text("value"),
            footprint: text("footprint"),
            description: said.unwrap_or_default().to_string(),
            ..Component::default()
        });
    }
    for net in root.all("nets").flat_map(|n| n.all("net")) {
        let name = net.value("name").unwrap_or_default();
        for node in net.all("node") {
            let part = node.value("ref").and_then(|r| index.get(r));
            if let (Some(&part), Some(pin)) = (part, node.value("pin")) {
                parts[part].pins.insert(Label::new(pin), name.to_string());
            }
        }
    }
    Drawing {
        parts,
        placed: false,
    }
}

fn board(root: &Sexp) -> Drawing {
    let footprints = root.all("footprint").chain(root.all("module"));
    Drawing {
        parts: footprints.map(footprint).collect(),
        placed: true,
    }
}

/// `(property "Reference" "U1" …)` of today, `(fp_text reference U1 …)` of earlier versions.
fn field<'a>(footprint: &'a Sexp, property: &str, text: &str) -> &'a str {
    let named = |head: &'a str, name: &str| {
        let found = footprint
            .all(head)
            .find(|s| s.list().get(1).and_then(Sexp::atom) == Some(name))?;
        found.list().get(2)?.atom()
    };
    named("property", property)
        .or_else(|| named("fp_text", text))
        .unwrap_or_default()
}

fn footprint(f: &Sexp) -> Component {
    let place = f.all("at").next().map(Sexp::numbers).unwrap_or_default();
    let mut pads: Vec<(f64, f64)> = Vec::new();
    let mut pins = BTreeMap::new();
    for pad in f.all("pad") {
        let label = pad.list().get(1).and_then(Sexp::atom).unwrap_or_default();
        if label.is_empty() {
            continue;
        }
        // (net 3 "GND") with the number of the net first, or (net "GND") without.
        let net = pad
            .all("net")
            .next()
            .and_then(|n| n.list().iter().skip(1).rev().find_map(Sexp::atom));
        pins.insert(Label::new(label), net.unwrap_or_default().to_string());
        if let [x, y, ..] = pad.all("at").next().map(Sexp::numbers).unwrap_or_default()[..] {
            pads.push((x, y));
        }
    }
    let angle = place.get(2).copied().unwrap_or(0.0).rem_euclid(360.0);
    let span = |of: fn(&(f64, f64)) -> f64| {
        let (low, high) = pads
            .iter()
            .map(of)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| {
                (l.min(x), h.max(x))
            });
        (low <= high).then_some((low, high))
    };
    let middle = span(|p| p.0).zip(span(|p| p.1));
    let at = middle.zip(place.get(..2)).map(|((x, y), origin)| {
        let (dx, dy) = ((x.0 + x.1) / 2.0, (y.0 + y.1) / 2.0);
        let (sin, cos) = angle.to_radians().sin_cos();
        // y goes down, angles go against the clock.
        (
            origin[0] + dx * cos + dy * sin,
            origin[1] - dx * sin + dy * cos,
        )
    });
    Component {
        reference: field(f, "Reference", "reference").to_string(),
        value: field(f, "Value", "value").to_string(),
        footprint: f
            .list()
            .get(1)
            .and_then(Sexp::atom)
            .unwrap_or_default()
            .to_string(),
        description: f.value("descr").unwrap_or_default().to_string(),
        pins,
        at,
        turned: (angle - 90.0).abs() < 45.0 || (angle - 270.0).abs() < 45.0,
        size: middle.map(|(x, y)| (x.1 - x.0 + PAD, y.1 - y.0 + PAD)),
    }
}

/// The body reaches about so far beyond the middles of its outer pads, both sides together, millimetres.
const PAD: f64 = 2.5;
