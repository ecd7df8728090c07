//! The wiring of a board: positions, type numbers, pins and lines. Nothing else is taken over from the map.

use std::collections::BTreeMap;
use whichsocket::faultmap::model::BoardModel;

/// What a part is, by its type number or by what it is called in any catalogue.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    P6502,
    P6510,
    Z80,
    A6526,
    /// The logic array with memory multiplexers and latch of 64 pins.
    Combined,
    K8701,
    V6569,
    V6845,
    S6581,
    S8910,
    /// The 8910 with its bus and its ports at work.
    S8910Ports,
    V9918,
    Ppi8255,
    C311,
    R2364,
    R2332,
    R27128,
    R23128,
    R27256,
    M4116,
    M4532,
    M4816,
    M4164,
    M41464,
    M2114,
    Array,
    L00,
    L02,
    L04,
    L06,
    L07,
    L08,
    L14,
    L32,
    L74,
    /// The 74 as two flip-flops of their own; [`Kind::L74`] only divides.
    Flip,
    L138,
    L139,
    L145,
    L153,
    L157,
    L166,
    L193,
    L245,
    L257,
    L258,
    L273,
    L367,
    L368,
    L373,
    L629,
    L4044,
    C4050,
    C4066,
    T556,
    Osc,
    Crystal,
    CrystalTwo,
    /// Two ends joined for direct current: beads, chokes, series resistors, fuses.
    Wire,
    /// Chokes with two windings, switches with two poles: pins 1-2 and 4-5 or 3-4.
    TwoWire,
    FourWire,
    /// A coil in a line (first to last pin) with a capacitor to the pin between.
    Filter,
    /// Diodes from lines to a supply or to ground.
    Clamp,
    Trimmer,
    Jumper,
    Switch,
    PackIsolated,
    PackBussed,
    PullUp,
    PullDown,
    Load,
    Cap,
    CouplingCap,
    Reservoir,
    PumpCap,
    TimingCap,
    Zener,
    /// A zener diode and a transistor that set a supply.
    ZenerReference,
    PassTransistor,
    Diode,
    Bridge,
    Regulator,
    Follower,
    PowerFollower,
    SwitchTransistor,
    /// Collector, base, emitter: pulls its collector low while its base is high.
    Inverter,
    /// A diode from a line to the supply.
    Relay,
    PushSwitch,
    Modulator,
    Connector,
    PowerConnector,
    /// Power socket for 5 V alone, with the plug as its last pin.
    PowerJack,
    Keyboard,
    CableComponents,
    CableRgb,
    Cable,
    Cartridge,
    Loop,
    Adapter,
    /// Mains adapter that gives 5 V and nothing else.
    AdapterFive,
    Mains,
    Speaker,
    /// Custom array of 40 pins.
    A5C112,
    E1889,
    /// A resistor that parts two lines: the side that is driven brings the other along.
    Series,
    LinkSelect,
    LinkRom,
    SmallDiode,
    SmallTransistor,
    /// Collector on the supply: pulls its emitter high while its base is high.
    PullTransistor,
    Coil,
    ModulatorRf,
    CableAerial,
    /// 9 V direct: socket and mains adapter.
    NineSocket,
    AdapterNine,
    Other,
}

/// One position.
#[derive(Debug, Clone)]
pub struct Part {
    /// Designator.
    pub name: String,
    /// What it is.
    pub kind: Kind,
    /// Type number, when it has one.
    pub part_type: String,
    /// Labels of the pins with the line each is on.
    pub pins: Vec<(String, Option<usize>)>,
    /// A resistor: what shorts behind it does not pull down what feeds it.
    pub resistor: bool,
    /// In a socket.
    pub socket: bool,
}

/// A board's wiring.
#[derive(Debug, Clone)]
pub struct Wired {
    /// Identifier of the board.
    pub board: String,
    /// Names of all lines.
    pub lines: Vec<String>,
    /// All positions.
    pub parts: Vec<Part>,
    /// Measuring points: line, and a pin to measure it at (`U7`, `40`).
    pub points: Vec<(usize, String, String)>,
    /// Rails: name, line, nominal volts, the pin they are measured at.
    pub rails: Vec<(String, usize, f64)>,
    /// Names of the units that can be put right by one remedy.
    pub units: Vec<String>,
    /// Key names by column and row.
    pub matrix: Vec<Vec<String>>,
    /// Key outside the matrix.
    pub break_key: String,
    /// Column and row lines.
    pub columns: Vec<usize>,
    /// See `columns`.
    pub rows: Vec<usize>,
    lines_by_name: BTreeMap<String, usize>,
    parts_by_name: BTreeMap<String, usize>,
}

/// What a family is on a board with a picture chip of the 9918 type, whose flip-flops and sound chip do more than those of the
/// other boards.
fn kind_beside_9918(family: &str) -> Kind {
    match family {
        "logic-74ls74" => Kind::Flip,
        "sound-8910" => Kind::S8910Ports,
        other => kind_of(other),
    }
}

fn kind_of(family: &str) -> Kind {
    use Kind::*;
    match family {
        "processor-6502" => P6502,
        "processor-6510" => P6510,
        "logic-array-251715" => Combined,
        "clock-8701" => K8701,
        "memory-41464" => M41464,
        "choke-common-mode-4" => FourWire,
        "filter-3" => Filter,
        "diode-clamp-supply"
        | "diode-clamp-ground"
        | "diode-array-common-anode"
        | "diode-array-common-cathode" => Clamp,
        "capacitor-trimmer" => Trimmer,
        "jumper-2" => Jumper,
        "zener-reference" => ZenerReference,
        "transistor-regulator-bce" => PassTransistor,
        "processor-z80" => Z80,
        "adapter-6526" => A6526,
        "video-6569" | "video-8565" => V6569,
        "crtc-6845" => V6845,
        "sound-6581" | "sound-8580" => S6581,
        "sound-8910" => S8910,
        "video-9918" => V9918,
        "ppi-8255" => Ppi8255,
        "comparator-311" => C311,
        "rom-2364" => R2364,
        "rom-2332" => R2332,
        "rom-27128" | "rom-23128" => R27128,
        "rom-23128-16k" => R23128,
        "rom-27256" => R27256,
        "memory-4116" => M4116,
        "memory-4532" => M4532,
        "memory-4816" => M4816,
        "memory-4164" => M4164,
        "sram-2114" => M2114,
        "logic-array-82s100" => Array,
        "logic-74ls00" => L00,
        "logic-74ls02" => L02,
        "logic-74ls04" => L04,
        "driver-7407" => L07,
        "logic-74ls14" => L14,
        "logic-74ls145" => L145,
        "logic-74ls153" => L153,
        "logic-74ls157" => L157,
        "logic-74ls273" => L273,
        "logic-74ls367" => L367,
        "logic-74ls368" => L368,
        "cmos-4050" => C4050,
        "driver-7406" => L06,
        "logic-74ls08" => L08,
        "logic-74ls32" => L32,
        "logic-74ls74" => L74,
        "logic-74ls138" => L138,
        "logic-74ls139" => L139,
        "logic-74ls166" => L166,
        "logic-74ls193" => L193,
        "logic-74ls245" => L245,
        "logic-74ls257" => L257,
        "logic-74ls258" => L258,
        "logic-74ls373" => L373,
        "oscillator-74ls629" => L629,
        "phase-detector-4044" => L4044,
        "cmos-4066" => C4066,
        "timer-556" => T556,
        "oscillator-module" => Osc,
        "crystal" => Crystal,
        "crystal-two-pin" => CrystalTwo,
        "bead" | "choke" | "resistor" | "fuse" => Wire,
        "choke-common-mode" => TwoWire,
        "switch-power" => Switch,
        "pack-isolated-4" => PackIsolated,
        "pack-bussed-5" | "pack-bussed-6" | "pack-bussed-8" | "pack-bussed-9"
        | "pack-bussed-10" => PackBussed,
        "resistor-pull-up" => PullUp,
        "resistor-pull-down" => PullDown,
        "resistor-load" => Load,
        "capacitor" | "capacitor-smoothing" => Cap,
        "capacitor-coupling" | "capacitor-coupling-film" => CouplingCap,
        "capacitor-electrolytic" => Reservoir,
        "capacitor-pump" | "capacitor-pump-headroom" => PumpCap,
        "capacitor-timing" => TimingCap,
        "zener" => Zener,
        "diode" => Diode,
        "bridge" => Bridge,
        "regulator-78xx" => Regulator,
        "transistor-follower" | "transistor-follower-bce" => Follower,
        "transistor-power-follower" | "transistor-power-follower-bce" => PowerFollower,
        "transistor-switch" | "transistor-switch-bce" | "transistor-switch-ebc" => SwitchTransistor,
        "transistor-inverter-cbe" => Inverter,
        "relay" => Relay,
        "switch-push" => PushSwitch,
        "modulator" | "modulator-5v" => Modulator,
        "connector-power-7" | "connector-power-7-shell" => PowerConnector,
        "connector-power-5v" => PowerJack,
        f if f.starts_with("connector-") => Connector,
        "keyboard-unit" | "keyboard-unit-72" => Keyboard,
        "picture-cable-components" => CableComponents,
        "picture-cable-rgb" => CableRgb,
        "picture-cable" => Cable,
        "test-cartridge" => Cartridge,
        "loopback-plug" => Loop,
        "mains-adapter-5v-9vac" => Adapter,
        "mains-adapter-5v-dc" => AdapterFive,
        "setting-mains" => Mains,
        "loudspeaker" => Speaker,
        _ => Other,
    }
}

/// What a family is on the board with the custom array, whose resistors part lines that both sides drive.
fn kind_beside_array(family: &str) -> Kind {
    use Kind::*;
    match family {
        "array-5c112" => A5C112,
        "encoder-1889" => E1889,
        "resistor" => Series,
        "resistor-pull-down" => Load,
        "link-select" => LinkSelect,
        "link-rom" => LinkRom,
        "crystal-two-pin" => CrystalTwo,
        "capacitor-coupling-film" => CouplingCap,
        "capacitor-beside" | "capacitor-pump-negative" => Cap,
        "capacitor-electrolytic-negative" => Reservoir,
        "diode" | "diode-1n4148" | "diode-clamp-ground" | "diode-charge" | "zener-shunt" => {
            SmallDiode
        }
        "transistor-pull-cbe" => PullTransistor,
        f if f.starts_with("transistor-") => SmallTransistor,
        "coil-boost" => Coil,
        "regulator-7805" => Regulator,
        "modulator-rf" => ModulatorRf,
        "picture-cable-aerial" => CableAerial,
        "connector-power-9v" => NineSocket,
        "mains-adapter-9v-dc" => AdapterNine,
        "keyboard-membrane-40" => Keyboard,
        other => kind_of(other),
    }
}

/// `KC0..7` and `KR7..0` written out; blanks separate.
fn spread(text: &str) -> Vec<String> {
    let mut out = Vec::new();
    for word in text.split_whitespace() {
        let Some((head, last)) = word.split_once("..") else {
            out.push(word.to_string());
            continue;
        };
        let stem = head.trim_end_matches(|c: char| c.is_ascii_digit());
        let first: i32 = head[stem.len()..].parse().expect("a number");
        let last: i32 = last.parse().expect("a number");
        let step = if last < first { -1 } else { 1 };
        let mut k = first;
        loop {
            out.push(format!("{stem}{k}"));
            if k == last {
                break;
            }
            k += step;
        }
    }
    out
}

impl Wired {
    /// Takes the wiring, and only the wiring, out of a compiled board.
    pub fn of(model: &BoardModel) -> Self {
        let mut lines = BTreeMap::new();
        let mut id = |name: &str| {
            let next = lines.len();
            *lines.entry(name.to_string()).or_insert(next)
        };
        let has = |family: &str| model.positions.iter().any(|p| p.family == family);
        let kind_of = match () {
            () if has("video-9918") => kind_beside_9918,
            () if has("array-5c112") => kind_beside_array,
            () => kind_of,
        };
        let parts: Vec<Part> = model
            .positions
            .iter()
            .map(|p| Part {
                name: p.name.clone(),
                kind: kind_of(&p.family),
                resistor: p.family == "resistor",
                part_type: p.part_type.clone().unwrap_or_default(),
                pins: p
                    .pins
                    .iter()
                    .map(|n| (n.label.to_string(), n.line.as_deref().map(&mut id)))
                    .collect(),
                socket: p.socket,
            })
            .collect();
        let rails = model
            .rails
            .iter()
            .map(|(name, r)| (name.clone(), id(&r.line), r.nominal))
            .collect();
        let points = model
            .lines
            .iter()
            .filter_map(|l| {
                let (part, pin) = l.at.first()?.split_once('.')?;
                Some((id(&l.line), part.to_string(), pin.to_string()))
            })
            .collect();
        let kb = model.keyboard.as_ref().expect("boards have keys");
        let columns = spread(&kb.columns).iter().map(|l| id(l)).collect();
        let rows = spread(&kb.rows).iter().map(|l| id(l)).collect();
        let mut names = vec![String::new(); lines.len()];
        for (name, &k) in &lines {
            names[k] = name.clone();
        }
        Self {
            board: model.board.clone(),
            lines: names,
            parts_by_name: parts
                .iter()
                .enumerate()
                .map(|(k, p)| (p.name.clone(), k))
                .collect(),
            parts,
            points,
            rails,
            units: model.units.iter().map(|u| u.name.clone()).collect(),
            matrix: kb.matrix.clone(),
            break_key: kb.outside.keys().next().cloned().unwrap_or_default(),
            columns,
            rows,
            lines_by_name: lines,
        }
    }

    /// Index of a position.
    pub fn part(&self, name: &str) -> usize {
        *self
            .parts_by_name
            .get(name)
            .unwrap_or_else(|| panic!("{} has no position {name}", self.board))
    }

    /// Index of a line.
    pub fn line(&self, name: &str) -> usize {
        *self
            .lines_by_name
            .get(name)
            .unwrap_or_else(|| panic!("{} has no line {name}", self.board))
    }

    /// Index of a line, if there is one of that name.
    pub fn find_line(&self, name: &str) -> Option<usize> {
        self.lines_by_name.get(name).copied()
    }

    /// Index of the pin with this label.
    pub fn pin(&self, part: usize, label: &str) -> usize {
        self.parts[part]
            .pins
            .iter()
            .position(|p| p.0 == label)
            .unwrap_or_else(|| panic!("{} has no pin {label}", self.parts[part].name))
    }

    /// All pins of a part that are on a line.
    pub fn pins_on(&self, part: usize, line: usize) -> Vec<usize> {
        (0..self.parts[part].pins.len())
            .filter(|&k| self.parts[part].pins[k].1 == Some(line))
            .collect()
    }

    /// A rail's name, or a pin on it where the language of sheets reads no such name (`+12VA`).
    pub fn rail_word(&self, name: &str) -> String {
        let Some(rail) = self
            .rails
            .iter()
            .find(|r| r.0 == name && name.ends_with("VA"))
        else {
            return name.into();
        };
        let chip = |p: &&Part| super::pins::is_chip(p.kind);
        let at = self.parts.iter().filter(chip).find_map(|p| {
            let pin = p.pins.iter().find(|k| k.1 == Some(rail.1))?;
            Some(format!("{}.{}", p.name, pin.0))
        });
        at.unwrap_or_else(|| name.into())
    }

    /// The positions of one kind.
    pub fn of_kind(&self, kind: Kind) -> impl Iterator<Item = usize> + '_ {
        (0..self.parts.len()).filter(move |&k| self.parts[k].kind == kind)
    }
}
