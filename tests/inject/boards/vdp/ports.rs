//! Control ports, tape, printer and cartridge slot, each with what the test plugs in.

use super::super::super::config::{Builder, Stage, stage_works};
use super::super::super::machine::{Machine, V};
use super::super::super::program::{Results, Test};
use super::{COLUMN, PLUGGED, PRINTER, REST, SLOTS, sound_read, sound_write, verdict};

/// What stands in the ways of the ports.
pub struct Ports {
    control: [usize; 2],
    printer: usize,
    slot: usize,
    tape: Vec<Stage>,
    motor: Vec<Stage>,
    slot_sound: Vec<Stage>,
    plugs: [usize; 3],
    tape_out: usize,
    motor_out: usize,
    cpu: usize,
}

/// Contacts of a control port by bit of port A of the sound chip.
const DIRECTIONS: [&str; 6] = ["1", "2", "3", "4", "6", "7"];

impl Ports {
    pub fn of(b: &Builder) -> Self {
        Self {
            control: [b.p("J3"), b.p("J4")],
            printer: b.p("J5"),
            slot: b.p("SLOT1"),
            // From the output to the input through a lead in the socket that has the motor as well.
            tape: b.through(
                "C1 1 2, R30 1 2, R25 1 2, J8 4, J8 5, C6 1 2, R11 1 2, R9 1 2, R10, R13, R14, U48 2, U48 3",
            ),
            motor: b.through("R29 1 2, Q1, RY1, J8 6, J8 7"),
            slot_sound: b.through("SLOT1 49, C78 1 2, R43 1 2, C76 1 2, J6 1"),
            plugs: ["LOOP-CONTROL", "LOOP-CASSETTE", "LOOP-PRINTER"].map(|n| b.p(n)),
            tape_out: b.p("C1"),
            motor_out: b.p("R29"),
            cpu: b.p("U3"),
        }
    }

    pub fn run(&self, m: &mut Machine, r: &mut Results) {
        let plugged = self.plugs.map(|p| !m.o.broken(p, "missing"));
        for (k, name) in ["control port 1", "control port 2"].into_iter().enumerate() {
            let good = plugged[0] && self.control_works(m, k);
            r.tests.push((Test::Port(name), verdict(good)));
        }
        let tape = plugged[1] && self.tape_works(m);
        r.tests.push((Test::Port("cassette port"), verdict(tape)));
        let printer = plugged[2] && self.printer_works(m);
        r.tests.push((Test::Port("user port"), verdict(printer)));
        let slot = self.slot_works(m);
        r.tests.push((Test::Port("cartridge port"), verdict(slot)));
    }

    fn control_works(&self, m: &mut Machine, port: usize) -> bool {
        let socket = self.control[port];
        let choose = (port as u8) << 6;
        sound_write(m, 7, 0x80);
        sound_write(m, 15, choose | 0x3F);
        let mut good = m.level_at(socket, 9) == V::L;
        for (bit, contact) in DIRECTIONS.into_iter().enumerate() {
            let pin = m.w.pin(socket, contact);
            good &= pulled(m, socket, pin, |m| sound_read(m, 14) >> bit & 1 == 1);
        }
        // The pin that the plug feeds its inputs from, and both trigger outputs, which pull the buttons low.
        let strobe = 0x10 << port;
        let triggers: [(u8, usize); 2] = if port == 0 {
            [(3, 4), (2, 5)]
        } else {
            [(1, 4), (0, 5)]
        };
        for high in [false, true] {
            let value = choose | 0x0F | if high { strobe } else { 0 };
            sound_write(m, 15, value);
            good &= m.level_at(socket, 8) == V::of(high);
        }
        for (bit, back) in triggers {
            sound_write(m, 15, choose | 0x3F & !(1 << bit));
            good &= sound_read(m, 14) >> back & 1 == 0;
            sound_write(m, 15, choose | 0x3F);
            good &= sound_read(m, 14) >> back & 1 == 1;
        }
        good
    }

    /// Whether a tape's sound gets to the comparator.
    pub fn tape_comes(&self, m: &Machine) -> bool {
        let shorted = |name: &str| m.o.broken(m.w.part(name), "short");
        self.tape.iter().all(|s| stage_works(m, s)) && !shorted("C71") && !shorted("C7")
    }

    fn tape_works(&self, m: &mut Machine) -> bool {
        let toggles = |m: &mut Machine, bit: u8, part: usize| {
            [false, true].iter().all(|&high| {
                m.port(COLUMN, Some(REST & !bit | if high { bit } else { 0 }));
                m.at(part, 0) == V::of(high)
            })
        };
        let mut good = toggles(m, 0x20, self.tape_out) && toggles(m, 0x10, self.motor_out);
        m.port(COLUMN, Some(REST));
        let comes = self.tape_comes(m);
        sound_write(m, 7, 0x80);
        for high in [false, true] {
            m.aside.tape = comes.then_some(high);
            good &= sound_read(m, 14) >> 7 & 1 == u8::from(high);
        }
        m.aside.tape = None;
        let clamp = m.o.broken(m.w.part("D6"), "short");
        good && comes
            && !clamp
            && self.motor.iter().all(|s| stage_works(m, s))
            && !["contact", "welded", "coil"]
                .iter()
                .any(|how| m.o.broken(m.w.part("RY1"), how))
    }

    fn printer_works(&self, m: &mut Machine) -> bool {
        let socket = self.printer;
        let mut good = m.level_at(socket, 14) == V::L;
        for value in [0x55u8, 0xAA, 0x0F, 0x33] {
            m.port(PRINTER + 1, Some(value));
            m.port(PRINTER, Some(value & 1));
            // The stack moves in between.
            m.access(0xF001, Some(!value));
            m.access(0xF000, Some(!value));
            good &= (0..8).all(|k| m.level_at(socket, 2 + k) == V::of(value >> k & 1 == 1));
            good &= m.level_at(socket, 1) == V::of(value & 1 == 1);
        }
        let busy = m.w.pin(socket, "11");
        good && pulled(m, socket, busy, |m| m.port(PRINTER, None) >> 1 & 1 == 1)
    }

    /// The cartridge looks at every contact itself while the processor is busy with all its kinds of cycles.
    fn slot_works(&self, m: &mut Machine) -> bool {
        m.forget();
        m.port(SLOTS, Some(0xD4));
        for k in 0..8u16 {
            m.fetch_instruction(0x4000 | k.wrapping_mul(0x7FF), k as u8);
            m.access(0x8000 | k.wrapping_mul(0x5A5) & 0x3FFF, None);
            m.access(0xFFF0 ^ k.wrapping_mul(0x1111), Some(k as u8 ^ 0x69));
            m.port(COLUMN, Some(REST | k as u8));
        }
        m.port(SLOTS, Some(PLUGGED));
        let moves = (1..=42).filter(|n| ![5, 7, 8, 10, 15, 16, 41].contains(n));
        let mut good = true;
        for n in moves {
            let line = m.w.parts[self.slot].pins[n - 1].1.expect("wired");
            let (low, high, _) = m.seen(line);
            good &= low && high && !m.o.is_open(self.slot, n - 1);
        }
        good &= m.level_at(self.slot, 15) == V::H;
        let cpu = self.cpu;
        good &= pulled(m, self.slot, 6, |m| {
            // A clock takes the wait back.
            m.fetch_instruction(0x4000, 0);
            m.aside.waits = false;
            m.level_at(cpu, 24) != V::L
        });
        good &= pulled(m, self.slot, 7, |m| m.level_at(cpu, 16) != V::L);
        good && self.slot_sound.iter().all(|s| stage_works(m, s))
    }
}

/// Pulls a contact (index) low and looks, lets it go and looks again.
fn pulled(m: &mut Machine, socket: usize, pin: usize, look: impl Fn(&mut Machine) -> bool) -> bool {
    let line = m.w.parts[socket].pins[pin].1.expect("wired");
    if !m.o.is_open(socket, pin) {
        m.outside = vec![(line, V::L)];
    }
    m.idle();
    let low = !look(m);
    m.outside.clear();
    m.idle();
    low && look(m)
}
