//! What the machine does while a probe is held to it, and what the probe says.

use super::super::super::machine::{Machine, V};
use super::super::super::measure::seen_word;
use super::super::super::program::Start;
use super::super::super::supply;
use super::{
    COLUMN, PRINTER, REST, ROWS, SLOTS, SYSTEM, VIDEO_MODE, Vdp, sound_read, sound_write,
    video_read, video_write,
};

/// Slots as seen with main memory in the lower half of the memory: 8000 is slot 1 for once.
const MIXED: u8 = 0xD4;

impl Vdp {
    /// The test program plays and scans when it runs; else the system does; else the processor runs through nonsense.
    pub(super) fn do_something(&self, m: &mut Machine) {
        let runs = self.program_runs(m);
        let start = if runs { Start::Full } else { self.start(m) };
        m.aside.words.clear();
        m.forget();
        // Now and then it comes upon the code that halts it; more often it goes round and round.
        let halted = start == Start::Nothing && m.chance().is_multiple_of(12);
        for k in 0..16u16 {
            match start {
                Start::Nothing if halted => {
                    m.fetch_instruction(0x38, k as u8);
                }
                Start::Nothing => nonsense(m, k),
                _ => busy(m, k),
            }
            m.video_memory(k.wrapping_mul(0x0333) & 0x3FFF, None);
            if start != Start::Nothing {
                m.frame();
                m.port(VIDEO_MODE, None);
            }
        }
        // Somebody plays a tape meanwhile.
        for high in [false, true, false, true] {
            m.aside.tape = self.ports.tape_comes(m).then_some(high);
            m.idle();
        }
        m.aside.tape = None;
        self.analogue(m, runs);
        if start != Start::Nothing {
            held_keys(m);
        }
    }

    fn analogue(&self, m: &mut Machine, runs: bool) {
        let plays = runs && self.sound_reached(m) && m.running_pin(self.sound, 22);
        let voice = |k: usize| {
            let block = ["voice 1", "voice 2", "voice 3"][k];
            let pin = [3, 2, 37][k];
            !m.o.block(self.sound, block) && !m.o.is_open(self.sound, pin)
        };
        let out = plays && (0..3).any(voice) && m.powered[self.sound];
        let heard = out && ["C77", "R42", "C76"].iter().all(|n| whole(m, n));
        let alive = m.vdp_alive();
        let luma = alive && !m.o.block(self.video, "luma") && !m.o.is_open(self.video, 35);
        let colour =
            |pin: usize| alive && !m.o.block(self.video, "colour") && !m.o.is_open(self.video, pin);
        let moves = [
            ("PSG_OUT", out),
            ("AUDIO", heard),
            ("Y", luma),
            ("B-Y", colour(34)),
            ("R-Y", colour(37)),
            ("VDP_XTAL1", m.aside.crystal && m.powered[self.video]),
        ];
        for (name, moves) in moves {
            let line = m.w.line(name);
            let word = match m.line_held(line) {
                Some(V::H) => "high",
                Some(_) => "low",
                None if moves => "pulsing",
                None => "low",
            };
            m.aside.words.insert(line, word);
        }
    }
}

fn whole(m: &Machine, name: &str) -> bool {
    let part = m.w.part(name);
    !m.o.broken(part, "open") && !m.o.is_open(part, 0) && !m.o.is_open(part, 1)
}

/// A processor that reads wrong things: it fetches here and there, often calls, so that it writes, and seldom asks for a port.
fn nonsense(m: &mut Machine, k: u16) {
    m.fetch_instruction(k.wrapping_mul(0x1A57), (k as u8).wrapping_mul(9));
    m.access(k.wrapping_mul(0x2B31) ^ 0x4A5A, None);
    m.access(
        0xFFFF - k.wrapping_mul(0x0111),
        Some((k as u8).wrapping_mul(37)),
    );
    if m.chance().is_multiple_of(3) {
        m.port(k.wrapping_mul(0x35) & 0x7F, Some(k as u8));
    }
}

fn busy(m: &mut Machine, k: u16) {
    m.port(
        SLOTS,
        Some(if k.is_multiple_of(2) { SYSTEM } else { MIXED }),
    );
    m.fetch_instruction(k.wrapping_mul(0x0A57) & 0x3FFF, (k as u8).wrapping_mul(9));
    m.fetch_instruction(0x4000 | k.wrapping_mul(0x0B31) & 0x3FFF, k as u8);
    m.access(0x8000 | k.wrapping_mul(0x0333) & 0x3FFF, None);
    m.access(
        0xC000 | k.wrapping_mul(0x1A53) & 0x3FFF,
        Some((k as u8).wrapping_mul(37)),
    );
    m.access(0xC000 | k.wrapping_mul(0x1A53) & 0x3FFF, None);
    video_write(m, k.wrapping_mul(0x0333), (k as u8).wrapping_mul(29));
    video_read(m, k.wrapping_mul(0x0333));
    m.port(
        COLUMN,
        Some((REST ^ (0x20 * (k as u8 & 1))) | (k as u8 % 11)),
    );
    m.port(ROWS, None);
    sound_write(m, 7, 0x80 | k as u8 & 0x3F);
    sound_read(m, 14);
    if k == 3 {
        m.port(PRINTER, None);
    }
}

/// Columns are seen to move only while a key brings the pull-up of a row to them.
fn held_keys(m: &mut Machine) {
    let before = m.remember();
    for column in 0..m.w.columns.len() {
        let (line, row) = (m.w.columns[column], m.w.rows[1]);
        let pulled_up = m.level(row) == V::H;
        m.pressed = vec![(column, 1)];
        m.forget();
        for k in 0..11 {
            m.port(COLUMN, Some(REST | k));
            m.port(ROWS, None);
        }
        // The key joins them: what the row is pulled up by, the column is.
        let joined = m.seen(line).0 && m.seen(row).0;
        let (low, high, _) = m.seen(row);
        let word = match joined {
            true if pulled_up && low && high => "pulsing",
            _ => seen_word(m, line),
        };
        m.aside.words.insert(line, word);
        m.pressed.clear();
    }
    m.recall(before);
}

/// The probe's word at a line.
pub fn word(m: &Machine, line: usize) -> &'static str {
    if supply::is_power(m.w, line) {
        return if m.supply.good(line) { "high" } else { "low" };
    }
    if let Some(word) = m.aside.words.get(&line) {
        return word;
    }
    if m.line_runs(line) {
        return "pulsing";
    }
    seen_word(m, line)
}
