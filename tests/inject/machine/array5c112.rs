//! The custom array of 40 pins that makes the picture, owns the lower memory, reads the keys and makes the processor's clock; and what
//! stands around it: resistors that part two lines, diodes of the keys, the cartridge on the card edge. Written from what its pins
//! do on the board (published schematic) and from memory.

use super::*;

/// Data pins, bit 0 first; keyboard rows; addresses of the lower memory.
pub const DATA: [usize; 8] = [18, 21, 22, 25, 27, 29, 30, 31];
const ROWS: [usize; 5] = [19, 20, 23, 24, 26];
const ADDRESS: [usize; 7] = [5, 6, 7, 8, 9, 10, 11];
const KEYS: [&str; 5] = ["keys 0", "keys 1", "keys 2", "keys 3", "keys 4"];
const ROW_LOW: [&str; 5] = [
    "row 0 low",
    "row 1 low",
    "row 2 low",
    "row 3 low",
    "row 4 low",
];

/// Parts that pass levels one way or weakly, as nets.
#[derive(Default)]
pub struct Beside {
    /// Resistors between two lines: the driven side brings the other along, both driven keep their own.
    links: Vec<(usize, usize)>,
    /// Diodes that pull their second net low with the first.
    diodes: Vec<(usize, usize)>,
    /// Transistors that pull their second net high while the first is high.
    pullers: Vec<(usize, usize)>,
    /// The card edge.
    edge: Option<Edge>,
    /// The tape input behind its capacitor.
    tape: Option<usize>,
    /// A frame begins: the array asks for an interrupt.
    frame: bool,
}

/// The cartridge on the card edge: nets, `NONE` where no contact touches.
struct Edge {
    cart: usize,
    supply: [usize; 2],
    /// Low together: A15, A14, memory request, read.
    selects: [usize; 4],
    rom_off: usize,
    address: [usize; 14],
    data: [usize; 8],
}

impl Machine<'_> {
    /// The custom array, on boards that have it.
    pub fn array_40(&self) -> Option<usize> {
        self.w.of_kind(Kind::A5C112).next()
    }

    /// Whether a part neither is open nor has an open leg.
    pub fn passes(&self, name: &str) -> bool {
        let part = self.w.part(name);
        !self.o.broken(part, "open")
            && (0..self.w.parts[part].pins.len()).all(|k| !self.o.is_open(part, k))
    }

    /// The same, and not shorted either.
    pub fn whole(&self, name: &str) -> bool {
        self.passes(name) && !self.o.broken(self.w.part(name), "short")
    }

    /// Finds what passes levels beside the chips.
    pub(super) fn prepare_beside(&mut self) {
        if self.array_40().is_none() {
            return;
        }
        let mut b = Beside::default();
        for (part, p) in self.w.parts.iter().enumerate() {
            if self.o.broken(part, "open") {
                continue;
            }
            let net = |k: usize| self.nets[part][k];
            let power = |k: usize| p.pins[k].1.is_none_or(|l| supply::is_power(self.w, l));
            match p.kind {
                Kind::Series if net(0) != NONE && net(1) != NONE && !power(0) && !power(1) => {
                    b.links.push((net(0), net(1)));
                }
                Kind::SmallDiode
                    if net(0) != NONE
                        && net(1) != NONE
                        && p.pins[1].1.is_some_and(|l| self.w.columns.contains(&l)) =>
                {
                    b.diodes.push((net(0), net(1)));
                    if self.o.broken(part, "short") {
                        b.links.push((net(0), net(1)));
                    }
                }
                // A clamp to ground that is shorted.
                Kind::SmallDiode
                    if self.o.broken(part, "short")
                        && net(0) != NONE
                        && net(1) != NONE
                        && power(1)
                        && !power(0) =>
                {
                    self.fixed.push((net(0), V::L));
                }
                Kind::PullTransistor if (0..3).all(|k| net(k) != NONE) => {
                    b.pullers.push((net(1), net(2)));
                    if self.o.broken(part, "short") {
                        self.fixed.push((net(2), V::H));
                    }
                }
                // A link that is fitted, with one end on a supply.
                Kind::LinkSelect if fitted(&p.name) && (power(0) || power(1)) => {
                    let (from, to) = if power(0) { (0, 1) } else { (1, 0) };
                    let low = p.pins[from].1.is_some_and(|l| self.w.lines[l] == "GND");
                    if net(from) != NONE && net(to) != NONE {
                        self.fixed.push((net(to), V::of(!low)));
                    }
                }
                _ => {}
            }
        }
        b.tape = (self.passes("C32")).then(|| self.root[self.w.line("n.C32.2")]);
        b.edge = self.find_edge();
        self.hold_rows();
        self.beside = b;
    }

    fn hold_rows(&mut self) {
        let Some(a) = self.array_40() else { return };
        for (k, n) in ROWS.into_iter().enumerate() {
            let net = self.nets[a][n - 1];
            if self.o.block(a, ROW_LOW[k]) && net != NONE {
                self.fixed.push((net, V::L));
            }
        }
    }

    fn find_edge(&self) -> Option<Edge> {
        let cart = self.w.of_kind(Kind::Cartridge).next()?;
        let edge = self
            .w
            .of_kind(Kind::Connector)
            .find(|&c| self.w.parts[c].pins.len() > 50)?;
        let net = |line: &str| {
            let pins = self.w.pins_on(edge, self.w.line(line));
            let touching = pins.into_iter().map(|k| self.nets[edge][k]);
            touching.into_iter().find(|n| *n != NONE).unwrap_or(NONE)
        };
        Some(Edge {
            cart,
            supply: ["+5V", "GND"].map(net),
            selects: ["A15", "A14", "MREQ_N", "RD_N"].map(net),
            rom_off: net("ROMCS_N"),
            address: std::array::from_fn(|k| net(&format!("A{k}"))),
            data: std::array::from_fn(|k| net(&format!("D{k}"))),
        })
    }

    /// The cartridge: takes the place of the ROM while it is plugged in.
    pub(super) fn edge_cartridge(&self) -> Option<Vec<(usize, V)>> {
        let edge = self.beside.edge.as_ref()?;
        let mut out = Vec::new();
        let level = |net: usize| self.net.get(net).copied().unwrap_or(V::Z);
        let fed = level(edge.supply[0]) == V::H && level(edge.supply[1]) == V::L;
        if self.cartridge_mode.0 != V::H || !fed {
            return Some(out);
        }
        if edge.rom_off != NONE {
            out.push((edge.rom_off, V::H));
        }
        if edge.selects.iter().any(|n| level(*n) != V::L) {
            return Some(out);
        }
        let bits = edge.address.iter().enumerate();
        let address = bits.fold(0u16, |a, (k, n)| a | u16::from(level(*n) != V::L) << k);
        let mut value = content(edge.cart, address);
        if self.o.broken(edge.cart, "bad") {
            value ^= 0x21;
        }
        for (k, &net) in edge.data.iter().enumerate().filter(|d| *d.1 != NONE) {
            out.push((net, V::of(value >> k & 1 == 1)));
        }
        Some(out)
    }

    /// Levels that small parts pass on from what chips drive.
    pub(super) fn pass_strong(&self, new: &mut [V]) {
        for &(base, emitter) in &self.beside.pullers {
            if self.net[base] == V::H && new[emitter] == V::Z {
                new[emitter] = V::H;
            }
        }
        self.pass_weak(new);
        for &(from, to) in &self.beside.diodes {
            if new[from] == V::L && new[to] == V::Z {
                new[to] = V::L;
            }
        }
    }

    /// Resistors: what one side has and the other has not.
    pub(super) fn pass_weak(&self, new: &mut [V]) {
        for &(a, b) in &self.beside.links {
            match (new[a], new[b]) {
                (V::Z, v) => new[a] = v,
                (v, V::Z) => new[b] = v,
                _ => {}
            }
        }
    }

    /// Whether the array counts dots and lines.
    pub fn array_counts(&self) -> bool {
        self.array_40()
            .is_some_and(|a| self.powered[a] && self.running_pin(a, 39) && !self.o.block(a, "warm"))
    }

    /// A frame begins or its interrupt ends.
    pub fn array_frame(&mut self, begins: bool) {
        self.beside.frame = begins;
        self.idle();
    }

    /// What was last written to the array's port.
    pub fn array_port(&self) -> u8 {
        self.array_40().map_or(0, |a| self.memory[a].regs[0])
    }

    /// The row that a memory chip took with its last row strobe.
    pub fn row_of(&self, part: usize) -> u16 {
        self.memory[part].row
    }

    pub(super) fn drive_5c112(&self, a: usize, out: &mut Vec<(usize, V)>) {
        let low = |n: usize| self.pin(a, n) == V::L;
        let (a14, a15) = (self.high(a, 36), self.high(a, 37));
        let request = low(38);
        out.push((34, V::of(a14 || a15 || !request)));
        if !self.o.block(a, "tape") {
            out.push((28, V::of(self.memory[a].regs[0] & 0x10 != 0)));
        }
        let counts = self.array_counts();
        let frame = self.beside.frame && counts && !self.o.block(a, "interrupt");
        out.push((12, V::of(!frame)));
        let picture = self.fetch.filter(|_| !self.step.cpu && counts);
        let (ras, cas, write) = match picture {
            Some(_) => (self.step.stage > 0, self.step.stage == 2, false),
            None => {
                let here = counts && a14 && !a15 && request;
                // The column strobe comes some dots after the row strobe.
                let column = (low(2) || low(3)) && self.step.stage == 2;
                (here, here && column, here && low(2))
            }
        };
        for (n, on) in [(35, ras), (1, cas), (4, write)] {
            out.push((n, V::of(!on)));
        }
        if let Some(address) = picture {
            // Rows by the lower address bits, as the multiplexers have it for the processor.
            let part = if self.step.stage < 2 {
                address
            } else {
                address >> 7
            };
            for (k, n) in ADDRESS.into_iter().enumerate() {
                out.push((n, V::of(part >> k & 1 == 1)));
            }
        }
        if low(33) && low(3) && self.step.stage > 0 {
            self.drive_port(a, out);
        }
    }

    /// Rows of the keys on bits 0-4, the tape on bit 6.
    fn drive_port(&self, a: usize, out: &mut Vec<(usize, V)>) {
        for (k, n) in DATA.into_iter().enumerate() {
            let high = match k {
                0..=4 => self.high(a, ROWS[k]) || self.o.block(a, KEYS[k]),
                6 => self.tape_level(a),
                _ => true,
            };
            out.push((n, V::of(high)));
        }
    }

    fn tape_level(&self, a: usize) -> bool {
        let here = self.nets[a][27];
        if here == NONE || self.o.block(a, "tape") {
            return true;
        }
        let line = self.w.parts[a].pins[27].1.expect("wired");
        let shorted = self.caps.iter().any(|c| c.0 == here && c.1);
        match self.line_held(line).or(shorted.then_some(V::L)) {
            Some(v) => v == V::H,
            // Without a signal it reads its own output.
            None => match self.beside.tape.map_or(V::Z, |n| self.net[n]) {
                V::Z => self.net[here] != V::L,
                v => v == V::H,
            },
        }
    }

    /// The port takes border, tape and loudspeaker bits with the write strobe.
    pub(super) fn latch_5c112(&mut self, a: usize) {
        let low = |n: usize| self.pin(a, n) == V::L;
        if self.powered[a] && self.step.stage == 2 && low(33) && low(2) {
            let data = self.word(a, &DATA[..5], 21) as u8;
            self.memory[a].regs[0] = data;
        }
    }

    /// Clock lines of this board that run.
    pub fn array_clocks(&self) -> HashSet<usize> {
        let mut out = HashSet::new();
        let Some(a) = self.array_40().filter(|&a| self.powered[a]) else {
            return out;
        };
        let free = |name: &str| self.line_held(self.w.line(name)).is_none();
        let net = |name: &str| self.root[self.w.line(name)];
        // The capacitor stands between crystal and ground: shorted it pulls the frequency a little, open nothing swings.
        let swings = self.passes("X1") && self.passes("C73") && !self.o.is_open(a, 38);
        if !swings || !free("ARRAY_OSC") {
            return out;
        }
        out.insert(net("ARRAY_OSC"));
        if self.o.is_open(a, 31) || !free("CPUCLK_ARRAY") || self.o.block(a, "warm") {
            return out;
        }
        out.insert(net("CPUCLK_ARRAY"));
        let pulled = self.passes("R25") && self.supply.good(self.w.line("+5V"));
        let driven = self.passes("R24") && self.whole("TR3") && free("n.TR3.2-B");
        if pulled && driven && free("CPUCLK") {
            out.insert(net("CPUCLK"));
        }
        out
    }
}

/// Of the links for the make of the upper memory, those that are fitted: A14 with the row, the column's highest bit low.
pub fn fitted(link: &str) -> bool {
    matches!(link, "LK1" | "LK3")
}
