//! The skeleton of a map from a drawing: sockets, lines, guessed families, guessed rails. What could not be guessed stands
//! in comments, complete, so that it need only be filled in.

use super::guess::{NoGuess, guess, labels};
use super::kicad::{Component, Drawing};
use crate::faultmap::raw::FamilyRaw;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::fmt::Write as _;

/// A map as text, with what happened on the way.
#[derive(Debug, Clone, PartialEq)]
pub struct Skeleton {
    /// YAML of the map format.
    pub text: String,
    /// Parts in the map.
    pub guessed: usize,
    /// Parts left in comments, each with the reason.
    pub left: Vec<String>,
}

/// Makes the skeleton. `board` is the identifier to give it, `file` the name to say where it is from.
pub fn skeleton(
    drawing: &Drawing,
    families: &BTreeMap<String, FamilyRaw>,
    board: &str,
    file: &str,
) -> Skeleton {
    let mut lines = Lines::default();
    let (mut parts, mut comments, mut left) = (String::new(), String::new(), Vec::new());
    let mut taken = BTreeSet::new();
    let mut used: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for c in &drawing.parts {
        let name = designator(&c.reference, &mut taken);
        match guess(c, families) {
            Ok(g) => {
                let order = labels(&families[&g.family]);
                let pins: Vec<(String, String)> = (order.iter())
                    .map(|l| (l.clone(), lines.at(c, l, &name)))
                    .collect();
                for (label, line) in pins.iter().filter(|p| p.1 != "-") {
                    used.entry(line.clone())
                        .or_default()
                        .push(format!("{name}.{label}"));
                }
                let _ = writeln!(parts, "  {}:\n    family: {}", key(&name), g.family);
                if let Some(t) = &g.part_type {
                    let _ = writeln!(parts, "    type: {}", quote(t));
                }
                about(&mut parts, c, drawing.placed);
                let listed: Vec<&str> = pins.iter().map(|p| p.1.as_str()).collect();
                let _ = writeln!(parts, "    pins: {}", quote(&listed.join(" ")));
            }
            Err(why) => {
                let reason = match why {
                    NoGuess::OtherPins(family) => {
                        format!("its pins are not those of family {family}")
                    }
                    NoGuess::Unknown => "no family fits".to_string(),
                };
                left.push(format!("{name} ({}): {reason}", printable(&c.value)));
                let _ = writeln!(
                    comments,
                    "  # {name}: {}, {reason}. Pins:",
                    printable(&c.value)
                );
                for (label, _) in c.pins.iter().take(200) {
                    let line = lines.at(c, &label.to_string(), &name);
                    let _ = writeln!(
                        comments,
                        "  #   {}: {}",
                        printable(&label.to_string()),
                        line
                    );
                }
            }
        }
    }
    let guessed = drawing.parts.len() - left.len();
    let text = map(board, file, drawing.placed, &parts, &comments, &used);
    Skeleton {
        text,
        guessed,
        left,
    }
}

fn about(out: &mut String, c: &Component, placed: bool) {
    let role = match (c.description.trim(), c.value.trim()) {
        ("", "") => "fill in what it does here".to_string(),
        ("", value) => format!("fill in what it does here ({value})"),
        (said, _) => format!("fill in what it does here ({said})"),
    };
    let _ = writeln!(out, "    role: {}", quote(&role));
    if !c.value.is_empty() {
        let _ = writeln!(out, "    value: {}", quote(&c.value));
    }
    if c.footprint.to_lowercase().contains("socket") {
        let _ = writeln!(out, "    socket: true");
    }
    if let (Some((x, y)), true) = (c.at, placed) {
        let _ = writeln!(out, "    at: [{x:.2}, {y:.2}]");
        if c.turned {
            let _ = writeln!(out, "    turned: true");
        }
        if let Some((w, h)) = c.size {
            let _ = writeln!(out, "    size: [{w:.2}, {h:.2}]");
        }
    }
}

fn map(
    board: &str,
    file: &str,
    placed: bool,
    parts: &str,
    comments: &str,
    used: &BTreeMap<String, Vec<String>>,
) -> String {
    let mut out = String::new();
    let _ = writeln!(
        out,
        "# Skeleton from {}: fill in roles, functions and checks.",
        printable(file)
    );
    let _ = writeln!(out, "board: {}", quote(board));
    let _ = writeln!(out, "what: {}", quote(&format!("imported from {file}")));
    let _ = writeln!(
        out,
        "sources:\n  - {}",
        quote(&format!("wiring: {file}; families guessed by type number"))
    );
    let places = parts.contains("\n    at: [");
    if placed && places {
        let remark = quote(&format!("places from {file}, millimetres"));
        let _ = writeln!(out, "layout: {{kind: real, remark: {remark}}}");
    }
    let parts_text = if parts.is_empty() { " {}\n" } else { "\n" };
    let _ = write!(out, "\nparts:{parts_text}{parts}");
    if !comments.is_empty() {
        let _ = write!(
            out,
            "  # Not in the map: give these a family, or leave them out.\n{comments}"
        );
    }
    let rails = rails(used);
    let rails_text = if rails.is_empty() { " {}\n" } else { "\n" };
    let _ = write!(out, "\nrails:{rails_text}{rails}");
    out += "\n# What the board must do, beyond what its parts do, and what a test run or the eye can see.\n";
    out += "functions: {}\nchecks: {}\n";
    out
}

/// Supplies by their names: `+5V`, `-12V`, `VCC`. Limits are guesses and say so.
fn rails(used: &BTreeMap<String, Vec<String>>) -> String {
    let mut out = String::new();
    let mut order = 0;
    for (line, pins) in used {
        let Some(volts) = volts(line) else { continue };
        order += 1;
        let v = volts.abs();
        let (low, high, stop) = match (v - 5.0).abs() < 1e-9 {
            true => (4.75, 5.25, 5.5),
            false => (v * 0.95, v * 1.05, v * 1.125),
        };
        let measure: Vec<&str> = pins.iter().take(3).map(String::as_str).collect();
        let _ = writeln!(
            out,
            "  {}: {{line: {}, nominal: {volts}, low: {low:.2}, high: {high:.2}, stop: {stop:.2}, measure: {}, order: {order}, source: \"guess: 5 % either way\"}}",
            quote(line),
            quote(line),
            quote(&measure.join(" "))
        );
    }
    out
}

fn volts(line: &str) -> Option<f64> {
    if ["VCC", "VDD", "5V"].contains(&line) {
        return Some(5.0);
    }
    let body = line
        .strip_suffix('V')
        .filter(|b| b.starts_with(['+', '-']))?;
    body.parse::<f64>()
        .ok()
        .filter(|v| v.abs() >= 1.0 && v.abs() <= 60.0)
}

/// Nets to lines: names that the map format can hold, each its own.
#[derive(Default)]
struct Lines {
    by_net: HashMap<String, String>,
    taken: BTreeSet<String>,
}

impl Lines {
    /// The line at a pin of a part; `-` where nothing is connected.
    fn at(&mut self, c: &Component, label: &str, name: &str) -> String {
        let net = c
            .pins
            .iter()
            .find(|(l, _)| l.to_string() == label)
            .map_or("", |(_, n)| n.as_str());
        if net.is_empty() || net.to_lowercase().starts_with("unconnected-") {
            return "-".to_string();
        }
        if let Some(line) = self.by_net.get(net) {
            return line.clone();
        }
        let wanted = match net.starts_with("Net-(") {
            true => format!("n.{name}.{}", word(label)),
            false => line_name(net),
        };
        let mut line = wanted.clone();
        let mut n = 2;
        while line == "-" || line.is_empty() || !self.taken.insert(line.clone()) {
            line = format!("{wanted}_{n}");
            n += 1;
        }
        self.by_net.insert(net.to_string(), line.clone());
        line
    }
}

/// `/~{RESET}` → `RESET_N`, `/bus/A0` → `bus/A0`; blanks, commas and the signs of the format become `_`.
fn line_name(net: &str) -> String {
    let net = net.trim_start_matches('/');
    let low = net.strip_prefix("~{").and_then(|n| n.strip_suffix('}'));
    match low {
        Some(name) => format!("{}_N", word(name)),
        None => word(net),
    }
}

fn word(text: &str) -> String {
    let kept = |c: char| match c {
        _ if c.is_ascii_alphanumeric() => c,
        '+' | '-' | '_' | '/' | '.' => c,
        _ => '_',
    };
    let plain: String = text.chars().take(60).map(kept).collect();
    // Two dots are a range.
    plain.replace("..", "._").replace("..", "._")
}

/// A designator that can be a key and is not there yet.
fn designator(reference: &str, taken: &mut BTreeSet<String>) -> String {
    let plain: String = reference
        .chars()
        .filter(|c| c.is_ascii_alphanumeric() || *c == '-')
        .take(40)
        .collect();
    let starts = plain.starts_with(|c: char| c.is_ascii_alphabetic());
    let plain = if starts { plain } else { format!("X{plain}") };
    let mut name = plain.clone();
    let mut n = 2;
    while !taken.insert(name.clone()) {
        name = format!("{plain}-{n}");
        n += 1;
    }
    name
}

/// A designator as a key of YAML: in quotes when it might be read as a word of YAML (`Y`, `no`, `null`).
fn key(name: &str) -> String {
    let plain = name.ends_with(|c: char| c.is_ascii_digit()) && name.len() > 1;
    if plain { name.to_string() } else { quote(name) }
}

/// A text in double quotes; those of JSON are those of YAML.
fn quote(text: &str) -> String {
    serde_json::to_string(&printable(text)).unwrap_or_else(|_| "\"\"".to_string())
}

/// Without line ends and control characters, of a length that fits on a page.
fn printable(text: &str) -> String {
    let plain: String = text
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .take(160)
        .collect();
    plain.trim().to_string()
}
