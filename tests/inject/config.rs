//! What each board is, in the words of its circuit: where its memory map puts things and which socket a port comes out at.

use super::boards;
use super::machine::{Machine, V};
use super::wiring::{Kind, Wired};

/// A thing in an analogue or special path that must be whole.
#[derive(Debug, Clone)]
pub enum Stage {
    /// A part passes a signal from one pin (index) to another: powered if it is a chip, both pins touching, not broken.
    Through { part: usize, from: usize, to: usize },
    /// A part is there and whole (not `open`).
    Whole(usize),
    /// A part does not short.
    NotShorted(usize),
    /// A block of a chip works.
    Block(usize, &'static str),
    /// A contact of a connector touches.
    Touches(usize, usize),
    /// The cable carries this.
    Cable(&'static str),
    /// A line is not held by anything.
    Free(usize),
}

/// One wire of a port.
#[derive(Debug, Clone)]
pub enum Wire {
    /// A port bit of an adapter that drives a contact of a socket (indices).
    Out {
        adapter: usize,
        port: u8,
        bit: u8,
        socket: usize,
        pin: usize,
        inverted: bool,
    },
    /// A port bit that reads a contact.
    In {
        adapter: usize,
        port: u8,
        bit: u8,
        socket: usize,
        pin: usize,
    },
    /// A bit at an address that reads a contact.
    InAt {
        address: u16,
        bit: u8,
        socket: usize,
        pin: usize,
    },
    /// Something else on the way.
    Stage(Stage),
}

/// A port with its test plug.
#[derive(Debug, Clone)]
pub struct Port {
    pub name: &'static str,
    pub plug: Option<usize>,
    pub wires: Vec<Wire>,
}

/// An interface adapter and where it stands in the memory map.
#[derive(Debug, Clone)]
pub struct Adapter {
    pub part: usize,
    pub base: u16,
}

/// The machine that the board makes.
pub struct Config {
    pub adapters: Vec<Adapter>,
    /// Word of the sheet, position, base, size; the operating system first, then the language.
    pub roms: Vec<(&'static str, usize, u16, u32)>,
    pub cartridge_base: u16,
    pub cartridge_first: (V, V),
    pub memory_top: u32,
    pub banked: bool,
    pub colour: Option<u16>,
    pub columns_on_a: bool,
    pub ports: Vec<Port>,
    pub paddles: Vec<Vec<Stage>>,
    pub sound: usize,
    pub sound_base: u16,
    pub voices: Vec<Vec<Stage>>,
    pub filter: Option<Vec<Stage>>,
    pub video: usize,
    pub video_base: u16,
    /// How the picture gets to the display; colours by themselves.
    pub picture: Vec<Stage>,
    pub colours: Vec<Vec<Stage>>,
    pub break_key: Vec<Stage>,
    pub(super) interrupts: Vec<Vec<Stage>>,
    /// A 6510-based machine, else the invented one.
    pub by_6510: bool,
    /// What differs between the 6510-based boards.
    pub analogue: Analogue,
    /// The processor's port as the system leaves it.
    pub port_at_rest: u8,
}

/// Supplies and clocks by which the 6510-based boards differ.
#[derive(Debug, Clone, Default)]
pub struct Analogue {
    /// A capacitor that starts the reset.
    pub reset_trigger: Option<usize>,
    /// The second supply of the sound chip, and that of the audio stage.
    pub sound_rail: &'static str,
    pub voice_rail: &'static str,
    /// What the picture stage runs off, and the least volts.
    pub stage_rail: (&'static str, f64),
    /// Chips that hold the dot clock to the colour clock; every used pin of them matters.
    pub lock: Vec<usize>,
    /// Parts that hold its frequency.
    pub tuned: Vec<usize>,
    /// A supply whose ripple shows in the picture.
    pub ripple_line: Option<&'static str>,
}

/// Looks positions and pins of a board up by name.
pub struct Builder<'a>(pub(super) &'a Wired);

impl Builder<'_> {
    pub(super) fn p(&self, name: &str) -> usize {
        self.0.part(name)
    }
    /// `part a b`: from pin a to pin b.
    pub(super) fn through(&self, text: &str) -> Vec<Stage> {
        text.split(',')
            .map(|item| {
                let words: Vec<&str> = item.split_whitespace().collect();
                let part = self.p(words[0]);
                match words[..] {
                    [_] => Stage::Whole(part),
                    [_, a] => Stage::Touches(part, self.0.pin(part, a)),
                    [_, a, b] => Stage::Through {
                        part,
                        from: self.0.pin(part, a),
                        to: self.0.pin(part, b),
                    },
                    _ => panic!("{item}"),
                }
            })
            .collect()
    }
    pub(super) fn socket(&self, socket: &str, line: &str) -> (usize, usize) {
        let part = self.p(socket);
        (part, self.0.pins_on(part, self.0.line(line))[0])
    }
    pub(super) fn out(
        &self,
        adapter: usize,
        port: u8,
        bit: u8,
        socket: &str,
        line: &str,
        inverted: bool,
    ) -> Wire {
        let (socket, pin) = self.socket(socket, line);
        Wire::Out {
            adapter,
            port,
            bit,
            socket,
            pin,
            inverted,
        }
    }
    pub(super) fn input(
        &self,
        adapter: usize,
        port: u8,
        bit: u8,
        socket: &str,
        line: &str,
    ) -> Wire {
        let (socket, pin) = self.socket(socket, line);
        Wire::In {
            adapter,
            port,
            bit,
            socket,
            pin,
        }
    }
    pub(super) fn stages(&self, text: &str) -> Vec<Wire> {
        self.through(text).into_iter().map(Wire::Stage).collect()
    }
}

/// What differs at the ports of the 6510-based boards: what the cassette port and the slot go through, in the words of
/// [`Builder::through`], and the lines of both control ports.
pub struct Ports6510<'a> {
    pub cassette: &'a str,
    pub slot: &'a str,
    pub control: [[&'a str; 5]; 2],
}

/// The ports of a 6510-based machine.
pub fn ports_6510(b: &Builder, of: &Ports6510) -> Vec<Port> {
    let (u1, u2) = (b.p("U1"), b.p("U2"));
    let pb = ["PB0", "PB1", "PB2", "PB3", "PB4", "PB5", "PB6", "PB7"];
    let mut user = user_lines(b, "CN2", 1, 1, &pb);
    user.push(b.out(1, 0, 2, "CN2", "PA2", false));
    user.extend(b.stages("U2 18 18, U2 24 24, U2 39 39, U2 40 40, U1 39 39, U1 40 40, CN2 4, CN2 5, CN2 6, CN2 7, CN2 8, CN2 B"));
    user.extend(
        [(u2, "flag"), (u2, "shift"), (u1, "shift")].map(|(p, k)| Wire::Stage(Stage::Block(p, k))),
    );
    let mut serial = vec![
        b.out(1, 0, 3, "CN4", "SER_ATN", true),
        b.out(1, 0, 4, "CN4", "SER_CLK", true),
        b.out(1, 0, 5, "CN4", "SER_DATA", true),
        b.input(1, 0, 6, "CN4", "SER_CLK"),
        b.input(1, 0, 7, "CN4", "SER_DATA"),
    ];
    serial.extend(b.stages("CN4 2"));
    let mut cassette = b.stages(of.cassette);
    cassette.push(Wire::Stage(Stage::Block(u1, "flag")));
    // Its supplies have several contacts each.
    let contacts = b.0.parts[b.p("CN6")].pins.iter().map(|p| p.0.as_str());
    let single: Vec<String> = contacts
        .filter(|p| !["1", "22", "A", "Z", "2", "3"].contains(p))
        .map(|p| format!("CN6 {p}"))
        .collect();
    let mut slot = b.stages(&single.join(", "));
    slot.extend(b.stages(of.slot));
    let port = |name, plug: Option<&str>, wires| Port {
        name,
        plug: plug.map(|p| b.p(p)),
        wires,
    };
    let one = control(b, 0, 1, "CN9", of.control[0]);
    let two = control(b, 0, 0, "CN8", of.control[1]);
    vec![
        port("control port 1", Some("LOOP-CONTROL"), one),
        port("control port 2", Some("LOOP-CONTROL"), two),
        port("serial port", Some("LOOP-SERIAL"), serial),
        port("user port", Some("LOOP-USER"), user),
        port("cassette port", Some("LOOP-CASSETTE"), cassette),
        port("cartridge port", None, slot),
    ]
}

/// The chips of a 6510-based machine by position: adapters, ROMs (system, language, characters), sound, video.
pub(super) struct By6510<'a> {
    pub adapters: [&'a str; 2],
    pub roms: [&'a str; 3],
    pub sound: &'a str,
    pub video: &'a str,
}

impl Config {
    /// The memory map that all 6510-based machines have; ports, paths and supplies are the board's.
    pub(super) fn with_6510(b: &Builder, of: &By6510) -> Self {
        let adapter = |k: usize, base| Adapter {
            part: b.p(of.adapters[k]),
            base,
        };
        let [os, language, characters] = of.roms.map(|n| b.p(n));
        Self {
            adapters: vec![adapter(0, 0xDC00), adapter(1, 0xDD00)],
            roms: vec![
                ("os", os, 0xE000, 0x2000),
                ("language", language, 0xA000, 0x2000),
                ("character", characters, 0xD000, 0x1000),
            ],
            cartridge_base: 0xE000,
            cartridge_first: (V::L, V::Z),
            memory_top: 0x10000,
            banked: false,
            colour: Some(0xD800),
            columns_on_a: true,
            ports: Vec::new(),
            paddles: Vec::new(),
            sound: b.p(of.sound),
            sound_base: 0xD400,
            voices: Vec::new(),
            filter: None,
            video: b.p(of.video),
            video_base: 0xD000,
            picture: Vec::new(),
            colours: Vec::new(),
            break_key: Vec::new(),
            interrupts: vec![Vec::new(), Vec::new()],
            by_6510: true,
            port_at_rest: 0x27,
            analogue: Analogue::default(),
        }
    }

    /// The machine of a board.
    pub fn of(w: &Wired) -> Self {
        match w.board.as_str() {
            "dunlin-64" => boards::dunlin::config(&Builder(w)),
            "64k-6510-wide" => boards::wide::config(&Builder(w)),
            "64k-6510-narrow" => boards::narrow::config(&Builder(w)),
            other => panic!("no simulated machine for {other}"),
        }
    }

    /// The processor's interrupt pin.
    pub fn irq_pin(&self) -> usize {
        if self.by_6510 { 3 } else { 4 }
    }

    /// Banks of the memory.
    pub fn banks(&self, _: &Machine) -> Vec<bool> {
        if self.banked {
            vec![false, true]
        } else {
            vec![false]
        }
    }

    /// Port bits that stay outputs while a port is tested: the serial lines let go only if their drivers are told to.
    pub fn rest_direction(&self, adapter: usize, port: u8) -> u8 {
        if self.by_6510 && adapter == 1 && port == 0 {
            0x38
        } else {
            0
        }
    }

    /// Sets the port bit that chooses the bank.
    pub fn choose_bank(&self, m: &mut Machine, bank: bool) {
        if self.banked {
            let base = self.adapters[1].base;
            m.access(base + 3, Some(0x10));
            m.access(base + 1, Some(u8::from(bank) << 4));
        }
    }

    /// A reset that is not made at power-on.
    pub fn reset_doubtful(&self, m: &Machine) -> bool {
        let caps = m.w.of_kind(Kind::TimingCap).any(|c| m.o.broken(c, "open"));
        let trigger = (self.analogue.reset_trigger).is_some_and(|c| m.o.broken(c, "open"));
        caps || trigger
    }

    /// The mains frequency that the program was told, where it is wrong.
    pub fn mains_set(&self, m: &Machine) -> Option<&'static str> {
        let mains = m.w.of_kind(Kind::Mains).next()?;
        ["slow", "fast"]
            .into_iter()
            .find(|how| m.o.broken(mains, how))
    }

    /// Whether an adapter's interrupt reaches the processor.
    pub fn interrupt_arrives(&self, m: &mut Machine, adapter: usize) -> bool {
        let a = self.adapters[adapter].part;
        let line = m.w.parts[a].pins[20].1.expect("wired");
        let touching = !m.o.is_open(a, 20);
        let (cpu, pin) = (
            m.cpu(),
            if self.by_6510 && adapter == 1 {
                4
            } else {
                self.irq_pin()
            },
        );
        let rest = m.level_at(cpu, pin) == V::H;
        if touching {
            m.outside = vec![(line, V::L)];
        }
        m.idle();
        let low = m.level_at(cpu, pin) == V::L;
        m.outside.clear();
        m.idle();
        let block = if pin == 4 && self.by_6510 {
            "nmi"
        } else {
            "interrupts"
        };
        rest && low
            && !m.o.block(cpu, block)
            && self.interrupts[adapter]
                .iter()
                .all(|s| self.stage_works(m, s))
    }

    /// Whether the key outside the matrix interrupts.
    pub fn break_key_works(&self, m: &mut Machine) -> bool {
        !m.o.break_key
            && !m.o.broken(
                m.w.of_kind(Kind::Keyboard).next().expect("keys"),
                "unplugged",
            )
            && self.break_key.iter().all(|s| self.stage_works(m, s))
            && (self.by_6510 || m.level_at(m.cpu(), 6) == V::H)
    }

    /// Whether a stage of a path passes.
    pub fn stage_works(&self, m: &Machine, stage: &Stage) -> bool {
        stage_works(m, stage)
    }

    /// Whether the sound chip hears the processor: select, write strobe, data and clock.
    pub fn sound_reached(&self, m: &mut Machine) -> bool {
        if !m.powered[self.sound] {
            return false;
        }
        if self.by_6510 {
            m.supply.good(m.w.line(self.analogue.sound_rail)) && self.sound_write_wide(m)
        } else {
            self.sound_write_dunlin(m)
        }
    }

    fn sound_write_wide(&self, m: &mut Machine) -> bool {
        let s = self.sound;
        if !m.running_pin(s, 6) || m.level_at(s, 5) != V::H {
            return false;
        }
        (0..5u16).chain([24]).all(|reg| {
            [0x55u8, 0xAA].iter().all(|&v| {
                let (chosen, write, address, data) = m.watch(
                    self.sound_base + reg,
                    v,
                    s,
                    8,
                    Some(7),
                    &[9, 10, 11, 12, 13],
                    &[15, 16, 17, 18, 19, 20, 21, 22],
                );
                chosen && write && address == reg && data == u16::from(v)
            })
        })
    }

    fn sound_write_dunlin(&self, m: &mut Machine) -> bool {
        let s = self.sound;
        if !m.running_pin(s, 22) || m.level_at(s, 23) != V::H {
            return false;
        }
        // BDIR high writes; BC1 tells the register number from its contents.
        [(0u16, true), (1, false)].iter().all(|&(reg, latch)| {
            [0x55u8, 0xAA].iter().all(|&v| {
                let data = m.watch(
                    self.sound_base + reg,
                    v,
                    s,
                    0,
                    None,
                    &[27, 29],
                    &[37, 36, 35, 34, 33, 32, 31, 30],
                );
                data.3 == u16::from(v) && data.2 & 1 == 1 && (data.2 >> 1 & 1 == 1) == latch
            })
        })
    }

    /// Whether a voice gets from the chip to the ear.
    pub fn voice_path(&self, m: &Machine, voice: usize) -> bool {
        self.voices[voice].iter().all(|s| self.stage_works(m, s))
            && (!self.by_6510 || m.supply.good(m.w.line(self.analogue.voice_rail)))
            && (self.by_6510
                || m.supply
                    .volts
                    .get(&m.w.line("+12V"))
                    .is_some_and(|v| *v > 6.0))
    }
}

/// Whether a stage of a path passes.
pub fn stage_works(m: &Machine, stage: &Stage) -> bool {
    match stage {
        Stage::Through { part, from, to } => {
            let chip = super::pins::is_chip(m.w.parts[*part].kind);
            let whole =
                !m.o.is_open(*part, *from) && !m.o.is_open(*part, *to) && !m.held(*part, *to);
            let on = [*from, *to].iter().all(|&k| {
                m.w.parts[*part].pins[k]
                    .1
                    .is_none_or(|l| m.line_held(l).is_none())
            });
            whole
                && on
                && (!chip || m.powered[*part])
                && !m.o.broken(*part, "open")
                && !m.o.broken(*part, "dead")
        }
        Stage::Whole(part) => {
            let pins = (0..m.w.parts[*part].pins.len()).all(|k| !m.o.is_open(*part, k));
            !m.o.broken(*part, "open") && !m.o.broken(*part, "short") && pins
        }
        Stage::NotShorted(part) => !m.o.broken(*part, "short"),
        Stage::Block(part, block) => !m.o.block(*part, block) && m.powered[*part],
        Stage::Touches(part, pin) => {
            !m.o.is_open(*part, *pin)
                && m.w.parts[*part].pins[*pin]
                    .1
                    .is_none_or(|l| m.line_held(l).is_none())
        }
        Stage::Cable(what) => m.w.parts.iter().enumerate().all(|(k, p)| {
            !matches!(p.kind, Kind::Cable | Kind::CableRgb | Kind::CableComponents)
                || !m.o.broken(k, what)
        }),
        Stage::Free(line) => m.line_held(*line).is_none(),
    }
}

pub(super) fn user_lines(
    b: &Builder,
    socket: &str,
    adapter: usize,
    port: u8,
    names: &[&str],
) -> Vec<Wire> {
    let mut out = Vec::new();
    for (bit, line) in names.iter().enumerate() {
        out.push(b.out(adapter, port, bit as u8, socket, line, false));
        out.push(b.input(adapter, port, bit as u8, socket, line));
    }
    out
}

pub(super) fn control(
    b: &Builder,
    adapter: usize,
    port: u8,
    socket: &str,
    lines: [&str; 5],
) -> Vec<Wire> {
    let ground = b.socket(socket, "GND");
    let mut out: Vec<Wire> = lines
        .iter()
        .enumerate()
        .map(|(bit, line)| b.input(adapter, port, bit as u8, socket, line))
        .collect();
    out.push(Wire::Stage(Stage::Touches(ground.0, ground.1)));
    out
}
