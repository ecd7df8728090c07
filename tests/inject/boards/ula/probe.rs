//! What goes over the lines of this board while a probe is held to them, and what the probe says.

use super::super::super::measure::seen_word;
use super::super::super::supply;
use super::{Machine, PORT, Start, Ula, V};

impl Ula {
    pub(super) fn do_something(&self, m: &mut Machine, start: Start) {
        m.forget();
        let alive = m.cpu_alive();
        // A processor that runs into nonsense stops now and then at a code that halts it: it then reads one address for ever.
        let halted = start == Start::Nothing && m.salt % 10 < 3;
        for k in 0..24u16 {
            match () {
                () if !alive => {}
                () if halted => {
                    m.fetch_instruction(0x2A55, k as u8 * 5);
                }
                () => self.some_steps(m, k, start),
            }
            m.look(k.wrapping_mul(0x0333) & 0x1FFF);
            m.look_away();
            m.array_frame(k % 4 == 0);
        }
        m.array_frame(false);
        self.analogue(m);
    }

    /// A piece of the system's main loop, or of nonsense, which comes by everywhere.
    fn some_steps(&self, m: &mut Machine, k: u16, start: Start) {
        let spread = k.wrapping_mul(0x1A57);
        let lost = start == Start::Nothing;
        let code = if lost { 0xFFFF } else { 0x3FFF };
        m.fetch_instruction(spread & code, k as u8 * 5);
        m.access(spread.wrapping_mul(3) & 0x3FFF, None);
        let low = 0x4000 | spread & 0x3FFF;
        m.access(low, Some(k as u8 ^ 0x5A));
        m.access(low ^ 0x0155, None);
        let high = 0x8000 | spread.wrapping_mul(5) & 0x7FFF;
        m.access(high, Some(k as u8 ^ 0xA5));
        m.access(high ^ 0x4000, None);
        let column = !(1u16 << (k % 8)) & 0xFF;
        m.port(column << 8 | 0xFE, None);
        if k.is_multiple_of(6) {
            m.port(PORT, Some(if k.is_multiple_of(12) { 0x0F } else { 0x07 }));
        }
    }

    fn analogue(&self, m: &mut Machine) {
        let counts = m.array_counts();
        let out = |m: &Machine, n: usize| {
            counts && !m.o.is_open(self.array, n - 1) && !m.held(self.array, n - 1)
        };
        let stage = ["R48", "R51", "R52"].iter().all(|n| m.passes(n))
            && ["TR1", "TR2"].iter().all(|n| m.whole(n))
            && m.supply.good(m.w.line("+5V_VIDEO_STAGE"));
        let video = stage && out(m, 17);
        let carrier = self.carrier(m);
        let encoder = self.encoder;
        let chroma = carrier && !m.o.is_open(encoder, 12) && !m.held(encoder, 12);
        let swings = m.supply.alternating.contains_key(&m.w.line("BOOST_AC"));
        for (line, moves) in [
            ("Y", out(m, 17)),
            ("U", out(m, 15)),
            ("V", out(m, 16)),
            ("VIDEO", video),
            ("n.IC14.17-CHROMA_OSC_OUTPUT", carrier),
            ("n.C65.1", chroma),
            ("BOOST_AC", swings),
        ] {
            m.special.insert(m.w.line(line), moves);
        }
        for line in ["ARRAY_OSC", "CPUCLK_ARRAY", "CPUCLK"] {
            let line = m.w.line(line);
            m.special.insert(line, m.line_runs(line));
        }
    }
}

/// The probe's word at a line.
pub(super) fn word(m: &Machine, line: usize) -> &'static str {
    let name = m.w.lines[line].as_str();
    if supply::is_power(m.w, line) {
        return if m.supply.good(line) { "high" } else { "low" };
    }
    let volts = |n: &str| m.supply.volts.get(&m.w.line(n)).copied().unwrap_or(0.0);
    if let Some(&moves) = m.special.get(&line) {
        return match m.line_held(line) {
            Some(V::H) => "high",
            Some(_) => "low",
            None if moves => "pulsing",
            // Still, the coil brings the 9 V there; pulled up, the clock rests high.
            None if name == "BOOST_AC" && volts("+12V") > 5.0 => "high",
            None if name == "CPUCLK" && rests_high(m) => "high",
            None => "low",
        };
    }
    // The base of TR5 is never far below the 5 V at its emitter.
    if name == "n.C74.2" {
        return if volts("+5V") > 3.0 { "high" } else { "low" };
    }
    // A column that a diode pulls low and nothing pulls up: the probe itself brings it up again in between.
    if m.w.columns.contains(&line) && m.seen(line).0 && m.seen(line).2 {
        return "pulsing";
    }
    seen_word(m, line)
}

/// The processor's clock with its transistor off.
fn rests_high(m: &Machine) -> bool {
    let shorted = m.o.broken(m.w.part("TR3"), "short");
    m.passes("R25") && !shorted && m.supply.good(m.w.line("+5V"))
}
