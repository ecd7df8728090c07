//! What can be wrong with a board, pin by pin, block by block; and what a remedy does about it.

use super::pins;
use super::wiring::{Kind, Wired};

/// What is wrong.
#[derive(Debug, Clone, PartialEq)]
pub enum What {
    /// A pin does not touch its line: at the contact or joint, or inside the part.
    PinOpen { part: usize, pin: usize },
    /// An output holds its line.
    Stuck { part: usize, pin: usize, high: bool },
    /// No output works.
    Dead { part: usize },
    /// The part shorts its supply.
    Short { part: usize },
    /// One block of the part does not work.
    Block { part: usize, block: &'static str },
    /// A passive part, or a thing outside the board: `open`, `short`, `open 2`, `5V low` …
    Broken { part: usize, how: String },
    /// A key without contact, or pressed all the time.
    Key {
        column: usize,
        row: usize,
        stuck: bool,
    },
    /// The key outside the matrix.
    BreakKey,
    /// A line touches ground or the supply: no unit of the map.
    LineHeld { line: usize, high: bool },
    /// Two lines touch: no unit of the map.
    Bridged { a: usize, b: usize },
}

/// A fault with what it is called and where it belongs.
#[derive(Debug, Clone, PartialEq)]
pub struct Fault {
    /// Name of the unit of the map; empty for a fault that the map does not have.
    pub unit: String,
    /// What is wrong.
    pub what: What,
    /// Comes and goes: the share of loops it shows in.
    pub share: Option<f64>,
    /// Only on a warm machine.
    pub warm: bool,
}

impl Fault {
    fn new(unit: &str, what: What) -> Self {
        Self {
            unit: unit.into(),
            what,
            share: None,
            warm: false,
        }
    }

    /// The same, shown in this share of the loops.
    pub fn coming_and_going(mut self, share: f64) -> Self {
        self.share = Some(share);
        self
    }

    /// For a report: what is wrong, in words.
    pub fn words(&self, w: &Wired) -> String {
        let pin = |part: usize, pin: usize| {
            let p = &w.parts[part];
            let line = p.pins[pin].1.map_or("-", |l| &w.lines[l]);
            format!("{} {} pin {} ({line})", p.name, p.part_type, p.pins[pin].0)
        };
        let name = |part: usize| format!("{} {}", w.parts[part].name, w.parts[part].part_type);
        match &self.what {
            What::PinOpen { part, pin: k } => format!("{} open [{}]", pin(*part, *k), self.unit),
            What::Stuck { part, pin: k, high } => {
                format!(
                    "{} stuck {}",
                    pin(*part, *k),
                    if *high { "high" } else { "low" }
                )
            }
            What::Dead { part } => format!("{} dead", name(*part)),
            What::Short { part } => format!("{} shorts its supply", name(*part)),
            What::Block { part, block } => format!("{} {block}", name(*part)),
            What::Broken { part, how } => format!("{} {how}", name(*part)),
            What::Key { column, row, stuck } => {
                format!(
                    "key {} {}",
                    w.matrix[*column][*row],
                    if *stuck { "stuck" } else { "dead" }
                )
            }
            What::BreakKey => format!("key {} dead", w.break_key),
            What::LineHeld { line, high } => {
                format!(
                    "line {} held {}",
                    w.lines[*line],
                    if *high { "high" } else { "low" }
                )
            }
            What::Bridged { a, b } => format!("lines {} and {} touch", w.lines[*a], w.lines[*b]),
        }
    }
}

/// Every single fault of a board: each mode of each part, contact, joint, connector, key, cable and supply.
pub fn all(w: &Wired) -> Vec<Fault> {
    let mut out = Vec::new();
    for part in 0..w.parts.len() {
        chip_faults(w, part, &mut out);
        pin_faults(w, part, &mut out);
        for how in ways_to_break(w, part) {
            let what = What::Broken { part, how };
            out.push(Fault::new(&w.parts[part].name, what));
        }
    }
    for (column, keys) in w.matrix.iter().enumerate() {
        for (row, key) in keys.iter().enumerate().filter(|k| k.1 != "-") {
            for stuck in [false, true] {
                let what = What::Key { column, row, stuck };
                out.push(Fault::new(&format!("key {key}"), what));
            }
        }
    }
    out.push(Fault::new(&format!("key {}", w.break_key), What::BreakKey));
    out.retain(|f| w.units.contains(&f.unit));
    out
}

fn chip_faults(w: &Wired, part: usize, out: &mut Vec<Fault>) {
    let p = &w.parts[part];
    if !pins::is_chip(p.kind) {
        return;
    }
    let outputs = pins::outputs(p.kind);
    for pin in 0..p.pins.len() {
        let number: usize = p.pins[pin].0.parse().expect("chips number their pins");
        if p.pins[pin].1.is_none() || !outputs.contains(&number) {
            continue;
        }
        // An output without power to pull is as good as open.
        out.push(Fault::new(&p.name, What::PinOpen { part, pin }));
        for high in [false, true] {
            out.push(Fault::new(&p.name, What::Stuck { part, pin, high }));
        }
    }
    out.push(Fault::new(&p.name, What::Dead { part }));
    out.push(Fault::new(&p.name, What::Short { part }));
    for block in pins::blocks(p.kind) {
        let mut fault = Fault::new(&p.name, What::Block { part, block });
        fault.warm = *block == "warm";
        out.push(fault);
    }
}

/// Open contacts of sockets and connectors, open joints.
fn pin_faults(w: &Wired, part: usize, out: &mut Vec<Fault>) {
    let p = &w.parts[part];
    let word = if p.socket { "contacts" } else { "joints" };
    for (pin, (label, line)) in p.pins.iter().enumerate() {
        if line.is_none() {
            continue;
        }
        let unit = match p.kind {
            Kind::Connector => format!("{} pin {label}", p.name),
            _ => format!("{} {word}", p.name),
        };
        out.push(Fault::new(&unit, What::PinOpen { part, pin }));
    }
}

/// How passive parts and things outside the board fail. Common practice; no source.
fn ways_to_break(w: &Wired, part: usize) -> Vec<String> {
    use Kind::*;
    let p = &w.parts[part];
    let list: &[&str] = match p.kind {
        Wire | Crystal | PullUp | PullDown | Load | Switch if p.kind != Switch => &["open"],
        CrystalTwo => &["open", "wrong"],
        Switch => &["open 1", "open 2", "low 2"],
        TwoWire => &["open 1", "open 2"],
        FourWire => &["open 1", "open 2", "open 3", "open 4"],
        Filter => &["open", "short"],
        Clamp => return clamps(w, part),
        Trimmer => &["short"],
        Jumper => &["wrong"],
        ZenerReference => &["open", "short"],
        PassTransistor => &["open", "short"],
        PackIsolated => &["open 1", "open 2", "open 3", "open 4"],
        PackBussed => return bussed(p.pins.len()),
        Cap => &["open", "short"],
        CouplingCap => &["open"],
        TimingCap => &["open", "short"],
        Reservoir => &["weak", "short"],
        PumpCap => &["open"],
        Zener => &["open", "short"],
        Diode => &["open"],
        Bridge => &["open"],
        Regulator => &["dead", "low", "high"],
        Follower | PowerFollower | SwitchTransistor => &["open"],
        Inverter => &["open", "short"],
        Relay => &["contact", "welded", "coil"],
        PushSwitch => &["stuck", "open"],
        PowerJack => &["5V low", "5V open"],
        CableComponents => &["luma", "colour", "audio"],
        AdapterFive => &["dead", "5V low", "5V high", "ripple"],
        Modulator => &["dead", "luma", "chroma"],
        PowerConnector => &["5V low", "5V open", "AC1 open", "AC2 open"],
        Keyboard => {
            let (columns, rows) = (w.columns.len(), w.rows.len());
            let column = |k| (k < columns).then(|| format!("column {k}"));
            let row = |k| (k < rows).then(|| format!("row {k}"));
            let mut all: Vec<String> = (0..columns.max(rows))
                .flat_map(|k| [column(k), row(k)].into_iter().flatten())
                .collect();
            all.push("unplugged".into());
            return all;
        }
        CableRgb => &["sync", "red", "green", "blue"],
        Cable => &["luma", "chroma", "audio"],
        Cartridge => &["bad"],
        Loop => &["missing"],
        Adapter => &["dead", "5V missing", "5V low", "5V high", "9V missing"],
        Mains => &["slow", "fast"],
        Speaker => &["open"],
        Series => &["open"],
        SmallDiode | SmallTransistor | PullTransistor => &["open", "short"],
        LinkSelect if super::machine::array5c112::fitted(&p.name) => &["open"],
        LinkRom => &["open 1", "open 2", "wrong"],
        Coil => &["open main", "open feedback", "turns"],
        ModulatorRf => &["dead", "drift", "noisy"],
        CableAerial => &["lead", "standard"],
        NineSocket => &["open", "low"],
        AdapterNine => &["dead", "9V low", "9V high", "ripple", "polarity"],
        M4116 => &["short 12", "short 5"],
        _ => &[],
    };
    list.iter().map(|s| (*s).to_string()).collect()
}

/// A clamp's diode that shorts, by the line it is at; one that is open does no harm.
fn clamps(w: &Wired, part: usize) -> Vec<String> {
    if w.parts[part].pins.len() == 2 {
        return vec!["short".into()];
    }
    let lines = w.parts[part].pins.iter().filter_map(|p| p.1);
    lines
        .filter(|&l| !["GND", "+5V"].contains(&w.lines[l].as_str()))
        .map(|l| format!("shorted at {}", w.lines[l]))
        .collect()
}

fn bussed(pins: usize) -> Vec<String> {
    let mut out: Vec<String> = (1..pins).map(|k| format!("open {k}")).collect();
    out.push("open all".into());
    out
}

/// Faults that the map has no unit for: a line that touches a supply or its neighbour.
pub fn outside_map(w: &Wired, pick: &mut dyn FnMut(usize) -> usize) -> Fault {
    let chips: Vec<usize> = (0..w.parts.len())
        .filter(|&p| pins::is_chip(w.parts[p].kind))
        .collect();
    loop {
        let part = &w.parts[chips[pick(chips.len())]];
        let pin = pick(part.pins.len() - 1);
        let (Some(a), Some(b)) = (part.pins[pin].1, part.pins[pin + 1].1) else {
            continue;
        };
        let what = match pick(3) {
            0 => What::LineHeld {
                line: a,
                high: false,
            },
            1 => What::LineHeld {
                line: a,
                high: true,
            },
            _ if a != b => What::Bridged { a, b },
            _ => continue,
        };
        let supply = |l: usize| {
            let n = &w.lines[l];
            n == "GND" || n.starts_with('+') || n.starts_with("9V") || n.starts_with("12V")
        };
        if supply(a) || supply(b) {
            continue;
        }
        return Fault::new("", what);
    }
}

/// What can be done about a fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Remedy {
    /// The part renewed; in a socket its contacts are wiped by that, and a soldered one gets new joints.
    Swap,
    /// Taken out of its socket or off its plug and put back.
    Reseat,
    /// Joints heated again.
    Resolder,
}

/// Whether a remedy at a unit cures a fault. A name is that of a unit of the map (`U7`, `U7 contacts`, `CN1 pin 3`).
pub fn cures(w: &Wired, fault: &Fault, unit: &str, remedy: Remedy) -> bool {
    let position = |u: &str| u.split(' ').next().unwrap_or_default().to_string();
    let same_place = position(&fault.unit) == position(unit) && !unit.starts_with("key ");
    let at_pin = fault.unit.ends_with("contacts") || fault.unit.ends_with("joints");
    // Another keyboard has other keys.
    let of_keyboard = fault.unit.starts_with("key ")
        && w.parts
            .iter()
            .any(|p| p.name == unit && matches!(p.kind, Kind::Keyboard));
    let socketed = w.parts.iter().any(|p| p.name == position(unit) && p.socket);
    match remedy {
        Remedy::Swap => {
            fault.unit == unit || of_keyboard || same_place && (at_pin || !fault.unit.contains(' '))
        }
        Remedy::Reseat => {
            same_place
                && (fault.unit.ends_with("contacts") && socketed
                    || fault.unit.contains(" pin ") && fault.unit == unit)
        }
        Remedy::Resolder => {
            same_place
                && (fault.unit.ends_with("joints")
                    || fault.unit.contains(" pin ") && fault.unit == unit)
        }
    }
}
