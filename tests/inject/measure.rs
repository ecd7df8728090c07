//! What a hand with a meter or a logic probe reads at a pin, on a line, on a rail.

use super::config::Config;
use super::faults::{Fault, What};
use super::machine::{Machine, V};
use super::pins;
use super::program::{self, Start};
use super::system::System;

/// What kind of reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reading {
    /// Level or activity by a logic probe.
    Level,
    /// Volts by a meter.
    Volts,
    /// Ripple by an oscilloscope or the meter's alternating range, in millivolts.
    Ripple,
}

/// Lets the machine do what it does on the bench while a probe is held to it.
pub fn exercise(m: &mut Machine, c: &Config) {
    // Voices sound while the test plays them; the system of its own is silent.
    let plays = !c.by_6510 && program::program_runs(m, c);
    m.set_port(c.port_at_rest);
    m.idle();
    let start = program::start(m, c);
    if c.by_6510 && start != Start::Nothing {
        // The system lets the serial lines go and takes the lowest quarter of the memory for the picture.
        m.access(c.adapters[1].base + 2, Some(0x3F));
        m.access(c.adapters[1].base, Some(0x07));
    }
    m.picture_set = start != Start::Nothing && super::picture::registers(m, c);
    m.forget();
    // A processor that runs into nonsense stops now and then at a code that halts it.
    let halted = start == Start::Nothing && m.salt % 10 < 3;
    for k in 0..24u16 {
        if !halted {
            for base in [0xE000u16, 0xA000, 0x0000, 0xC000] {
                // Nothing asks for what is plugged in outside, which the last quarter of the input and output area selects.
                let outside = c.by_6510 && base == 0xC000;
                let within = if outside { 0x0FFF } else { 0x1FFF };
                m.access(base ^ (k.wrapping_mul(0x1A57) & within), None);
            }
            m.access(k.wrapping_mul(0x0A53) & 0x7FFF, Some(k as u8 ^ 0x5A));
            io(m, c, k);
        }
        m.look(k.wrapping_mul(0x0333) & 0x3FFF);
        m.look_away();
    }
    if !halted && start == Start::Full {
        scan(m, c);
    }
    if !c.by_6510 {
        special(m, c, plays && !halted && start != Start::Nothing);
    }
}

/// Voices sound while the test program plays them; dots come while the picture is read.
fn special(m: &mut Machine, c: &Config, plays: bool) {
    let reached = plays && c.sound_reached(m);
    for (k, name) in ["ANA_1", "ANA_2", "ANA_3"].into_iter().enumerate() {
        let block = ["voice 1", "voice 2", "voice 3"][k];
        let moves = reached && !m.o.block(c.sound, block);
        m.special.insert(m.w.line(name), moves);
    }
    let dots = super::picture::shift(m);
    m.special.insert(m.w.line("DOT"), dots);
}

fn io(m: &mut Machine, c: &Config, k: u16) {
    for a in &c.adapters {
        m.access(a.base + k % 16 / 4 * 4 + 4, None);
    }
    m.access(c.sound_base + k % 2, Some(k as u8 ^ 0xC3));
    m.access(c.video_base + k % 2, None);
    if let Some(colour) = c.colour {
        m.access(colour + k, None);
    }
}

fn scan(m: &mut Machine, c: &Config) {
    let base = c.adapters[0].base;
    m.access(base + 2, Some(0xFF));
    for k in 0..8 {
        m.access(base, Some(!(1u8 << k)));
        m.access(base + 1, None);
    }
    m.access(base, Some(0xFF));
    m.access(base + 2, Some(0));
}

/// The probe's word at a line after [`exercise`].
pub fn level_word(m: &Machine, c: &Config, line: usize) -> &'static str {
    if super::supply::is_power(m.w, line) {
        return if m.supply.good(line) { "high" } else { "low" };
    }
    if let Some(&moves) = m.special.get(&line) {
        return match m.line_held(line) {
            Some(V::H) => "high",
            Some(_) => "low",
            None if moves => "pulsing",
            None => "low",
        };
    }
    if clocklike(m, c, line) {
        return if m.line_runs(line) {
            "pulsing"
        } else if m.level(line) == V::H {
            "high"
        } else {
            "low"
        };
    }
    seen_word(m, line)
}

/// The probe's word for the levels that were seen on a line.
pub fn seen_word(m: &Machine, line: usize) -> &'static str {
    match m.seen(line) {
        (true, true, _) => "pulsing",
        (true, false, false) => "low",
        (false, true, false) => "high",
        (true, false, true) => "low",
        (false, true, true) => "high",
        _ => "floating",
    }
}

/// Lines that pulse by themselves, without a bus cycle: clocks, and the mains tick.
fn clocklike(m: &Machine, _: &Config, line: usize) -> bool {
    let n = m.w.lines[line].as_str();
    n.starts_with("CLK")
        || n.ends_with("_CLK") && !n.starts_with('+')
        || n.starts_with("DOT_CLK")
        || n == "COLOR_CLK_OSC"
}

/// The mains tick: moves if it reaches the line.
pub fn tick_word(m: &Machine, c: &Config, line: usize) -> Option<&'static str> {
    let n = m.w.lines[line].as_str();
    if !n.starts_with("TICK") && n != "TOD_TICK" {
        return None;
    }
    let alive = if m.supply.alternating.contains_key(&line) {
        m.supply.circuit && super::clocks::line_ticks(m, line)
    } else {
        c.adapters.iter().any(|a| super::clocks::tick(m, a.part))
            || super::clocks::line_ticks(m, line)
    };
    Some(if alive { "pulsing" } else { "low" })
}

/// What the probe says at the leg of a part: behind an open contact the leg is on its own.
pub fn at_leg(
    m: &Machine,
    system: &dyn System,
    faults: &[Fault],
    part: usize,
    pin: usize,
) -> &'static str {
    let Some(line) = m.w.parts[part].pins[pin].1 else {
        return "floating";
    };
    let loose = faults
        .iter()
        .any(|f| f.what == What::PinOpen { part, pin } && f.unit != m.w.parts[part].name);
    if loose {
        let number = m.w.parts[part].pins[pin].0.parse().unwrap_or(0);
        return if pins::outputs(m.w.parts[part].kind).contains(&number) && m.powered[part] {
            "pulsing"
        } else {
            "floating"
        };
    }
    system.word(m, line)
}

/// Volts on a rail, true value without the meter's error.
pub fn rail(m: &Machine, name: &str) -> f64 {
    let Some((_, line, nominal)) = m.w.rails.iter().find(|r| r.0 == name) else {
        return 0.0;
    };
    if name == "9VAC" {
        return if m.supply.circuit {
            nominal * 1.02
        } else {
            0.03
        };
    }
    m.supply.volts.get(line).copied().unwrap_or(0.02)
}
