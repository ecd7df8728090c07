//! What each board is, in the words of its circuit: where its memory map puts things and which socket a port comes out at.

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

pub(super) struct Builder<'a>(pub(super) &'a Wired);

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

impl Config {
    /// The machine of a board.
    pub fn of(w: &Wired) -> Self {
        match w.board.as_str() {
            "dunlin-64" => dunlin(&Builder(w)),
            "64k-6510-wide" => wide(&Builder(w)),
            "64k-6510-narrow" => super::narrow::config(&Builder(w)),
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

fn dunlin(b: &Builder) -> Config {
    let stick = |socket: &str, letter: &str, address: u16| {
        let ground = b.socket(socket, "GND");
        let mut wires: Vec<Wire> = (0..5u8)
            .map(|bit| {
                let (socket, pin) = b.socket(socket, &format!("J{letter}{bit}"));
                Wire::InAt {
                    address,
                    bit,
                    socket,
                    pin,
                }
            })
            .collect();
        wires.push(Wire::Stage(Stage::Touches(ground.0, ground.1)));
        wires
    };
    let user = ["UP0", "UP1", "UP2", "UP3", "UP4", "UP5", "UP6", "UP7"];
    let mut user_wires = user_lines(b, "J7", 1, 0, &user);
    user_wires.extend(user_lines(b, "J7", 1, 1, &["UPB0", "UPB1"]));
    user_wires.extend(b.stages("A2 18 18, A2 24 24, A2 39 39, A2 40 40, J7 3, J7 4, J7 5, J7 6"));
    let a2 = b.p("A2");
    user_wires.extend(["flag", "shift"].map(|k| Wire::Stage(Stage::Block(a2, k))));
    let a1 = b.p("A1");
    let mut cassette = b.stages(
        "J8 3, J8 2, C8 1 2, A1 24 24, A2 12 12, W14 1 2, J8 1, A2 13 13, Q2 3 2, Q2 1, J8 4",
    );
    cassette.push(Wire::Stage(Stage::Block(a1, "flag")));
    cassette.push(b.out(1, 1, 3, "Q2", "MOTOR", false));
    let mut network = b.stages("A1 39 39, A1 40 40, J10 1, J10 2, J10 3");
    network.push(Wire::Stage(Stage::Block(a1, "shift")));
    let amplifier = "C7 1 2, Q1 3 1, Q1 2, LS1";
    Config {
        adapters: vec![
            Adapter {
                part: a1,
                base: 0x8800,
            },
            Adapter {
                part: a2,
                base: 0x8C00,
            },
        ],
        roms: vec![
            ("os", b.p("R1"), 0xE000, 0x2000),
            ("language", b.p("R2"), 0xA000, 0x2000),
        ],
        cartridge_base: 0xC000,
        cartridge_first: (V::Z, V::Z),
        memory_top: 0x8000,
        banked: true,
        colour: None,
        columns_on_a: true,
        ports: vec![
            Port {
                name: "control port 1",
                plug: None,
                wires: stick("J5", "A", 0x9000),
            },
            Port {
                name: "control port 2",
                plug: None,
                wires: stick("J6", "B", 0x9400),
            },
            Port {
                name: "user port",
                plug: Some(b.p("LOOP")),
                wires: user_wires,
            },
            Port {
                name: "cassette port",
                plug: None,
                wires: cassette,
            },
            Port {
                name: "serial port",
                plug: None,
                wires: network,
            },
        ],
        paddles: Vec::new(),
        sound: b.p("T1"),
        sound_base: 0x8400,
        voices: [("4", "W11"), ("3", "W12"), ("38", "W13")]
            .iter()
            .map(|(pin, mix)| b.through(&format!("T1 {pin} {pin}, {mix} 1 2, {amplifier}")))
            .collect(),
        filter: None,
        video: b.p("V1"),
        video_base: 0x8000,
        picture: [
            b.through("V1 39 39, V1 40 40, L14 12 11, L14 13 11, W6 1 2, J2 5, J2 1"),
            vec![Stage::Cable("sync")],
        ]
        .concat(),
        colours: vec![
            [
                b.through("A2 15 15, L14 2 3, L18 2 18, W7 1 2, J2 2"),
                vec![Stage::Cable("red")],
            ]
            .concat(),
            [
                b.through("A2 16 16, L14 5 6, L18 3 17, W8 1 2, J2 3"),
                vec![Stage::Cable("green")],
            ]
            .concat(),
            [
                b.through("A2 17 17, L14 10 8, L18 4 16, W9 1 2, J2 4"),
                vec![Stage::Cable("blue")],
            ]
            .concat(),
        ],
        break_key: b.through("J3 19, J3 10, P1 6"),
        interrupts: vec![b.through("P1 4"), b.through("P1 4")],
        by_6510: false,
        analogue: Analogue::default(),
        port_at_rest: 7,
    }
}

fn wide(b: &Builder) -> Config {
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
    let mut cassette = b.stages("U7 24 24, U7 25 25, U7 26 26, R4 1 2, Q2 3 2, Q2 1, Q1 3 1, Q1 2, Q3 1 3, Q3 2, FB2 1 2, FB1 1 2, FB3 1 2, R2 1 2, U1 24 24");
    cassette.push(Wire::Stage(Stage::Block(u1, "flag")));
    let cartridge: Vec<String> = b.0.parts[b.p("CN6")]
        .pins
        .iter()
        .filter(|p| !["1", "22", "A", "Z", "2", "3"].contains(&p.0.as_str()))
        .map(|p| format!("CN6 {}", p.0))
        .collect();
    let mut slot = b.stages(&cartridge.join(", "));
    slot.extend(b.stages("U17 10 10, U17 11 11, U15 9 9, U15 10 10, FB4 1 2"));
    let audio = "FB13 1 2, R7 1 2, Q8 3 1, Q8 2, R38, C13 1 2, R6, CN5 3";
    let voice = [
        b.through(&format!("U18 27 27, {audio}")),
        vec![Stage::Cable("audio")],
    ]
    .concat();
    let pot = |pins: &str, axes: &str, port: &str| {
        b.through(&format!(
            "U18 24 24, U18 23 23, U28 {pins}, {axes}, C48, C93, {port}"
        ))
    };
    Config {
        adapters: vec![
            Adapter {
                part: u1,
                base: 0xDC00,
            },
            Adapter {
                part: u2,
                base: 0xDD00,
            },
        ],
        roms: vec![
            ("os", b.p("U4"), 0xE000, 0x2000),
            ("language", b.p("U3"), 0xA000, 0x2000),
            ("character", b.p("U5"), 0xD000, 0x1000),
        ],
        cartridge_base: 0xE000,
        cartridge_first: (V::L, V::Z),
        memory_top: 0x10000,
        banked: false,
        colour: Some(0xD800),
        columns_on_a: true,
        ports: vec![
            Port {
                name: "control port 1",
                plug: Some(b.p("LOOP-CONTROL")),
                wires: control(
                    b,
                    0,
                    1,
                    "CN9",
                    ["KB_ROW0", "KB_ROW1", "KB_ROW2", "KB_ROW3", "KB_ROW4"],
                ),
            },
            Port {
                name: "control port 2",
                plug: Some(b.p("LOOP-CONTROL")),
                wires: control(
                    b,
                    0,
                    0,
                    "CN8",
                    ["KB_COL0", "KB_COL1", "KB_COL2", "KB_COL3", "KB_COL4"],
                ),
            },
            Port {
                name: "serial port",
                plug: Some(b.p("LOOP-SERIAL")),
                wires: serial,
            },
            Port {
                name: "user port",
                plug: Some(b.p("LOOP-USER")),
                wires: user,
            },
            Port {
                name: "cassette port",
                plug: Some(b.p("LOOP-CASSETTE")),
                wires: cassette,
            },
            Port {
                name: "cartridge port",
                plug: None,
                wires: slot,
            },
        ],
        paddles: vec![
            pot("8 9, U28 11 10, U28 6, U28 12", "CN9 5, CN9 9", "CN9 7"),
            pot("1 2, U28 4 3, U28 13, U28 5", "CN8 5, CN8 9", "CN8 7"),
        ],
        sound: b.p("U18"),
        sound_base: 0xD400,
        voices: vec![voice.clone(), voice.clone(), voice],
        filter: Some(b.through("C10, C11, U18 1, U18 2, U18 3, U18 4")),
        video: b.p("U19"),
        video_base: 0xD000,
        picture: [
            b.through("U19 15 15, FB15 1 2, M1 2 5, M1 1, CN5 4, CN5 2"),
            vec![Stage::Cable("luma")],
        ]
        .concat(),
        colours: vec![
            [
                b.through("U19 14 14, FB14 1 2, M1 3"),
                vec![Stage::Cable("chroma")],
            ]
            .concat(),
        ],
        break_key: b.through("CN1 3, CN1 1, R41, C38, R35, U20 6 5, U8 5 6, U7 4"),
        interrupts: vec![Vec::new(), Vec::new()],
        by_6510: true,
        analogue: Analogue {
            reset_trigger: Some(b.p("C105")),
            sound_rail: "+12V_SOUND",
            voice_rail: "+12V",
            stage_rail: ("9V_UNREG", 7.0),
            lock: ["U29", "U30", "U32"].map(|n| b.p(n)).to_vec(),
            tuned: vec![b.p("Q7")],
            ripple_line: Some("9V_UNREG"),
        },
        port_at_rest: 0x27,
    }
}
