//! The start-up text: right, wrong characters, bytes free.
//!
//! A character that is shown for another differs from it in some bits of its code: expected XOR seen. A data bit of memory that reads
//! wrong gives the same bit in every character that has the other value there, always in one direction (stuck) or in both (a bit that
//! is not written, or noise). All wrong characters of a run are one piece of evidence about each bit.
//!
//! The number of bytes free is what the start-up counted before a cell did not hold what it wrote: it walks upwards, writes and reads
//! back, and stops at the first that fails. All cells below held, so what takes the whole of the memory away, or a bit of it
//! everywhere, cannot be it; a dead column stops the count where it begins, a single cell where it is (`memory::range`). A cartridge
//! that takes room at the top shortens the count by just that, and nothing is wrong.

use super::aspect::Aspect;
use super::{Observer, Trust};
use crate::diag::code;
use crate::faultmap::model::Read;
use crate::infer::network::Outcome;
use crate::sheet::State;

/// A wrong character with the line that tells it.
#[derive(Debug, Clone, Copy)]
pub struct Wrong {
    expected: u8,
    seen: u8,
    place: (usize, usize),
    trust: Trust,
}

/// What the characters of a run say of one bit of their codes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BitSays {
    /// In every wrong character it is as it should be.
    Right,
    /// Where it is wrong, it is always 0.
    Low,
    /// Where it is wrong, it is always 1.
    High,
    /// It is wrong in both directions.
    Both,
}

/// How surely a chip that is bad in a bit shows it in a text of a few characters (guess: half of them have the other value there).
const SHOWS: f32 = 0.7;
/// How surely a memory that the start-up found short is bad, where the map does not say up to which address it counts (guess: or the
/// address of its top, or a cartridge that takes room).
const SHORT: f32 = 0.9;
/// P(the count is short by what a cartridge takes | nothing is wrong): one was in (guess).
const CARTRIDGE_IN: f64 = 0.02;

/// What all characters together (expected, seen) say of each bit.
pub fn bits(all: &[(u8, u8)]) -> [BitSays; 8] {
    let mut out = [BitSays::Right; 8];
    for (expected, seen) in all {
        for (bit, says) in out.iter_mut().enumerate() {
            if (expected ^ seen) >> bit & 1 == 0 {
                continue;
            }
            let now = if seen >> bit & 1 == 1 {
                BitSays::High
            } else {
                BitSays::Low
            };
            *says = match *says {
                BitSays::Right => now,
                same if same == now => now,
                _ => BitSays::Both,
            };
        }
    }
    out
}

impl Observer<'_> {
    pub(super) fn start_text(&mut self, state: &State) {
        let Some(check) = self.model.check("start-text") else {
            return;
        };
        let reads = check.reads.clone();
        let (outcome, text) = match state {
            State::Ok => {
                self.text_shown();
                (Outcome::Pass, "start text as it should be".to_string())
            }
            State::BytesFree(n) => return self.bytes_free(*n, &reads),
            State::WrongCharacter(expected, seen) => {
                self.characters.push(Wrong {
                    expected: *expected,
                    seen: *seen,
                    place: (self.sheet, self.line),
                    trust: self.trust,
                });
                return;
            }
            _ => (Outcome::Fail, "start text wrong".to_string()),
        };
        self.check("start-text", &reads, Aspect::Trouble, outcome, text);
    }

    /// The number of bytes free against the one of the map.
    fn bytes_free(&mut self, n: u32, reads: &[Read]) {
        let expected = self
            .model
            .words
            .get("bytes free")
            .and_then(|n| n.parse::<u32>().ok());
        let Some(expected) = expected else {
            return self.warn(
                code::NO_SUCH_CHECK,
                "the map does not say how many bytes are free".into(),
                String::new(),
            );
        };
        if n > expected {
            let message = format!("{n} bytes free, more than the {expected} of this board");
            let help = "type it again if that was read right; nothing is made of it".to_string();
            return self.warn(code::NO_SENSE, message, help);
        }
        self.text_shown();
        if n == expected {
            let text = format!("{n} bytes free, as it should be");
            return self.check("start-text", reads, Aspect::Trouble, Outcome::Pass, text);
        }
        let text = format!("{n} bytes free instead of {expected}");
        let short = expected - n;
        if !self.count_stopped(n, short, &text) {
            let memory: Vec<Read> = self.memory_reads();
            let reads = if memory.is_empty() { reads } else { &memory };
            self.check("start-text", reads, Aspect::Trouble, Outcome::Fail, text);
            if memory.is_empty() {
                return;
            }
        }
        self.hint_once(format!(
            "The start-up counted {n} bytes and stopped {short} short: list the failing addresses from there with a memory test."
        ));
    }

    /// The count that stopped at a cell, where the map says up to which address it goes; whether it does.
    fn count_stopped(&mut self, n: u32, short: u32, text: &str) -> bool {
        let number = |word: &str| -> Option<u32> { self.model.words.get(word)?.parse().ok() };
        let Some(top) = number("memory top").filter(|top| *top > short) else {
            return false;
        };
        let Some((bank, causes)) = self.first_failing(top - short, n) else {
            return false;
        };
        // Any number may be typed wrong.
        let mut leak = self.trust.false_fail / f64::from(n + short);
        if number("cartridge bytes") == Some(short) {
            leak = CARTRIDGE_IN;
            let line = self
                .model
                .words
                .get("cartridge line")
                .cloned()
                .unwrap_or_default();
            self.hint_once(format!(
                "{short} bytes are just what a cartridge takes: was one in? Without one, measure {line}, which should be high."
            ));
        }
        self.mark("start-text");
        self.failed_at(bank, causes, leak, text.to_string());
        true
    }

    /// All that the bits of main memory read.
    fn memory_reads(&self) -> Vec<Read> {
        let bits = self
            .model
            .checks
            .iter()
            .filter(|c| c.id.starts_with("memory.bit."));
        let mut reads: Vec<Read> = bits.flat_map(|c| c.reads.clone()).collect();
        reads.sort_by_key(|r| r.node);
        reads.dedup_by_key(|r| r.node);
        reads.iter_mut().for_each(|r| r.weight *= SHORT);
        reads
    }

    /// The wrong characters of the run that ends, as one piece of evidence.
    pub(super) fn wrong_characters(&mut self) {
        let all = std::mem::take(&mut self.characters);
        let Some(first) = all.first() else {
            return;
        };
        let (keep, trust) = ((self.sheet, self.line), self.trust);
        ((self.sheet, self.line), self.trust) = (first.place, first.trust);
        let pairs: Vec<(u8, u8)> = all.iter().map(|w| (w.expected, w.seen)).collect();
        for (bit, says) in bits(&pairs).into_iter().enumerate() {
            self.character_bit(bit, says, pairs.len());
        }
        self.text_shown();
        if let Some(reads) = self.model.check("start-text").map(|c| c.reads.clone()) {
            let said: Vec<String> = pairs
                .iter()
                .map(|(e, s)| format!("character code {s} for {e}"))
                .collect();
            let text = said.join(", ");
            self.check("start-text", &reads, Aspect::Trouble, Outcome::Fail, text);
        }
        ((self.sheet, self.line), self.trust) = (keep, trust);
    }

    /// One bit of the codes, which is the data bit of a memory chip.
    fn character_bit(&mut self, bit: usize, says: BitSays, characters: usize) {
        let Some(check) = self.model.check(&format!("memory.bit.{bit}")) else {
            return;
        };
        let (id, mut reads) = (check.id.clone(), check.reads.clone());
        let (aspect, word) = match says {
            BitSays::Right => {
                // The characters agree in this bit, though a chip may still be bad elsewhere.
                let hidden = (1.0 - SHOWS).powi(characters.min(3) as i32);
                reads.iter_mut().for_each(|r| r.weight *= 1.0 - hidden);
                let text = format!("characters agree in data bit {bit}");
                return self.check(&id, &reads, Aspect::Trouble, Outcome::Pass, text);
            }
            BitSays::Low => (Aspect::Low, "always 0"),
            BitSays::High => (Aspect::High, "always 1"),
            BitSays::Both => (Aspect::Wrong, "either way"),
        };
        let word = if characters > 1 {
            format!(", {word}")
        } else {
            String::new()
        };
        let text = format!("characters differ in data bit {bit}{word}");
        self.check(&id, &reads, aspect, Outcome::Fail, text);
    }

    /// A text on the screen, right or wrong: the machine ran far enough to write it, and a picture shows it.
    fn text_shown(&mut self) {
        for word in ["no-signal", "black", "one-colour", "no-text"] {
            let id = format!("picture.{word}");
            let Some(reads) = self.model.check(&id).map(|c| c.reads.clone()) else {
                continue;
            };
            let text = "a text is on the screen".to_string();
            self.check(&id, &reads, Aspect::Trouble, Outcome::Pass, text);
        }
        // Not the whole of it: a machine with one bad bit runs badly, and still writes its text.
        if let Some(node) = self.model.node("run") {
            let reads = [Read { node, weight: 0.7 }];
            let text = "the machine wrote its text".to_string();
            self.check("run", &reads, Aspect::Trouble, Outcome::Pass, text);
        }
    }
}
