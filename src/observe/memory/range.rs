//! Ranges of failing addresses: `memory C000-FFFF bad`.

use super::Range;
use super::effect::{Effect, SLIP, fails, predict};
use super::layout::{Bank, banks};
use super::modes::reaching;
use super::pattern::Pattern;
use super::signature::{Line, List, Theory};
use super::theory::theories;
use crate::faultmap::model::ModeId;
use crate::infer::network::Outcome;
use crate::observe::{CheckReading, Evidence, Observer, stepped};
use std::collections::BTreeMap;

/// Cells below this are the start-up's own (from memory: its variables, stack and screen in the first kilobyte).
const OWN_CELLS: u32 = 0x400;
/// What it writes into each cell, one after the other (from memory: common practice).
const COUNTED_WITH: [u8; 2] = [0x55, 0xAA];
/// P(the count ends | it overwrites the start-up's own numbers); else the machine does not start (guess).
const OVERWRITES: f64 = 0.5;
/// Addresses looked at inside the range, and as many outside.
const SAMPLE: u32 = 32;
/// A range says nothing about the pattern: any of these (guesses).
const PATTERNS: [(f64, Pattern); 3] = [
    (0.5, Pattern::Low),
    (0.25, Pattern::MarchUp(0)),
    (0.25, Pattern::Checker(0x55)),
];

impl Observer<'_> {
    /// A failing range: one reading of whatever fails inside it and not outside.
    pub(super) fn range(&mut self, bank: &Bank, range: Range) {
        let ends = [range.from.max(bank.from), range.to.min(bank.to)];
        let line = |address| Line {
            address,
            wrote: 0x55,
            read: 0xAA,
        };
        let list = List {
            lines: ends.map(line).to_vec(),
            ..List::default()
        };
        let mut known = BTreeMap::new();
        let mut sums = BTreeMap::new();
        for r in reaching(self.model, bank).iter() {
            let p = *known.entry(r.cause.clone()).or_insert_with(|| {
                let all = theories(&r.cause, bank, &list);
                all.iter()
                    .map(|&(w, t)| w * fit(t, bank, ends))
                    .sum::<f64>()
            });
            *sums.entry(r.mode).or_insert(0.0) += r.strength * p;
        }
        let text = format!("memory {:04X}-{:04X} fails", range.from, range.to);
        self.struck(bank, range.from, sums, self.trust.false_fail, text);
        let prefix = bank.check("");
        let all = self.model.checks.iter().map(|c| c.id.clone());
        let ids: Vec<String> = all.filter(|id| id.starts_with(&prefix)).collect();
        ids.iter().for_each(|id| self.mark(id));
    }

    /// One failing reading of a bank, with P(reading | mode) up to one common factor. `leak` is that of nothing wrong, beside them.
    fn struck(
        &mut self,
        bank: &Bank,
        from: u32,
        sums: BTreeMap<ModeId, f64>,
        leak: f64,
        text: String,
    ) {
        let best = sums.values().copied().fold(f64::MIN_POSITIVE, f64::max);
        let kept = 1.0 - self.trust.missed;
        let scaled = sums.into_iter().map(|(m, s)| (m, stepped(s / best) * kept));
        let reading = CheckReading {
            check: format!("range.{}", bank.check(&format!("{from:04X}"))),
            outcome: Outcome::Fail,
            run: self.run,
            looped: false,
            leak,
            effects: scaled.filter(|e| e.1 > 1e-6).collect(),
        };
        self.push(text, Evidence::Check(reading));
    }

    /// P(of a count that begins so many cells below `at` and writes and reads back one after the other, this one is the first that
    /// fails | mode), for the modes that reach the memory; `None` when no bank has the address.
    pub(in crate::observe) fn first_failing(
        &self,
        at: u32,
        below: u32,
    ) -> Option<(Bank, BTreeMap<ModeId, f64>)> {
        let raw = self.model.memory.as_ref()?;
        let bank = banks(raw).into_iter().find(|b| b.contains(at))?;
        let start = at.saturating_sub(below).max(bank.from);
        let line = Line {
            address: at,
            wrote: 0x55,
            read: 0xAA,
        };
        let list = List {
            lines: vec![line],
            ..List::default()
        };
        let mut known = BTreeMap::new();
        let mut sums = BTreeMap::new();
        for r in reaching(self.model, &bank).iter() {
            let p = *known.entry(r.cause.clone()).or_insert_with(|| {
                let all = theories(&r.cause, &bank, &list);
                let of = |&(w, t): &(f64, Theory)| w * first(t, &bank, start, at);
                all.iter().map(of).sum::<f64>()
            });
            *sums.entry(r.mode).or_insert(0.0) += r.strength * p;
        }
        Some((bank, sums))
    }

    /// The reading of [`Self::first_failing`], with P(reading | nothing wrong).
    pub(in crate::observe) fn failed_at(
        &mut self,
        bank: Bank,
        sums: BTreeMap<ModeId, f64>,
        nothing: f64,
        text: String,
    ) {
        let best = sums.values().copied().fold(f64::MIN_POSITIVE, f64::max);
        self.struck(&bank, bank.from, sums, (nothing / best).min(0.5), text);
    }
}

/// P(a cell holds both bytes that are written and read back there at once).
fn holds(theory: Theory, bank: &Bank, address: u32) -> f64 {
    let Theory { lanes, effect } = theory;
    let right = (1.0 - SLIP).powi(lanes.count_ones() as i32);
    let of = |byte: &u8| {
        let pattern = Pattern::Constant(*byte);
        let cell = predict(effect, lanes, pattern, bank, address, *byte);
        (cell.of(*byte, lanes) / right).min(1.0)
    };
    COUNTED_WITH.iter().map(of).product()
}

/// P(this cell fails and none from `start` up to it does), each written and read back before the next.
fn first(theory: Theory, bank: &Bank, start: u32, at: u32) -> f64 {
    let below = at - start;
    let before = match theory.effect {
        // What the map does not know can be anywhere.
        Effect::Unknown => return 1.0 / f64::from(bank.cells()),
        // Read at once, nothing has been forgotten.
        Effect::Decay { .. } => return 0.0,
        // Written and read in one go, a shared cell reads right; the count ends where it overwrites the first page, where the start-up
        // itself keeps its numbers.
        Effect::Alias(bits, _) => {
            let lowest = bits & bits.wrapping_neg();
            let stops = lowest >= OWN_CELLS && at == lowest;
            return if stops { OVERWRITES } else { 0.0 };
        }
        Effect::Block { mask, value, .. } => {
            let met = (start..at).filter(|a| a & mask == value);
            met.map(|a| holds(theory, bank, a)).product()
        }
        _ if below <= SAMPLE => (start..at).map(|a| holds(theory, bank, a)).product(),
        _ => {
            let sample = (start..at).step_by((below / SAMPLE) as usize);
            let all: Vec<f64> = sample.map(|a| holds(theory, bank, a)).collect();
            (all.iter().sum::<f64>() / all.len() as f64).powf(f64::from(below))
        }
    };
    (1.0 - holds(theory, bank, at)) * before
}

/// P(cells inside fail) · P(cells outside do not).
fn fit(theory: Theory, bank: &Bank, [from, to]: [u32; 2]) -> f64 {
    let mean = |pattern, inside: bool| {
        let n = bank.cells();
        let step = if inside { to - from + 1 } else { n }
            .div_ceil(SAMPLE)
            .max(1);
        let first = if inside { from } else { bank.from };
        let at = (0..SAMPLE).map(|i| first + i * step + (i * 0x35) % step);
        let kept: Vec<u32> = at
            .filter(|a| bank.contains(*a) && (from..=to).contains(a) == inside)
            .collect();
        let sum: f64 = kept
            .iter()
            .map(|&a| fails(theory.effect, theory.lanes, pattern, bank, a))
            .sum();
        sum / (kept.len().max(1)) as f64
    };
    PATTERNS
        .iter()
        .map(|&(w, p)| w * mean(p, true) * (1.0 - mean(p, false)).max(1e-3))
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::observe::memory::effect::{How, Reads};
    use crate::observe::memory::tests::raw;

    /// A count stops at one cell, or at none: enumerated over 16 cells.
    #[test]
    fn where_a_count_stops_sums_to_one() {
        let bank = &banks(&raw("M0..7", 1, 15))[0];
        let block = |mask, value, reads| Effect::Block { mask, value, reads };
        for effect in [
            Effect::Same(0),
            Effect::Same(0xFF),
            Effect::Float,
            Effect::Echo,
            Effect::Late,
            Effect::Scattered(0.03),
            block(3, 2, Reads::Low),
            block(12, 8, Reads::High),
            block(15, 9, Reads::Any),
            block(3, 1, Reads::Any),
            Effect::Bridge {
                lanes: 3,
                high: true,
            },
        ] {
            for lanes in [1, 3, 0xFF] {
                let theory = Theory { lanes, effect };
                let stops: f64 = (0..16).map(|at| first(theory, bank, 0, at)).sum();
                let never: f64 = (0..16).map(|a| holds(theory, bank, a)).product();
                assert!(
                    (stops + never - 1.0).abs() < 1e-9,
                    "{effect:?} {lanes}: {stops} {never}"
                );
            }
        }
        // These stop somewhere or nowhere.
        for effect in [Effect::Unknown, Effect::Alias(1, How::Frozen)] {
            let theory = Theory { lanes: 1, effect };
            let stops: f64 = (0..16).map(|at| first(theory, bank, 0, at)).sum();
            assert!(stops <= 1.0 + 1e-9, "{effect:?}: {stops}");
        }
    }

    /// A dead column of the 4164 holds 256 cells in a row: the count stops at the first of them, at no other.
    #[test]
    fn a_dead_column_stops_the_count_where_it_begins() {
        let bank = &banks(&raw("M0..7", 1, 0xFFFF))[0];
        let effect = Effect::Block {
            mask: 0xFF00,
            value: 0x8000,
            reads: Reads::Low,
        };
        let theory = Theory { lanes: 8, effect };
        assert!(first(theory, bank, 0x801, 0x8000) > 0.99);
        // But for a bit typed wrong.
        assert!(first(theory, bank, 0x801, 0x8001) < 2.0 * SLIP);
        assert!(first(theory, bank, 0x801, 0x7FFF) < 1e-9);
    }
}
