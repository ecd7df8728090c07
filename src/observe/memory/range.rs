//! Ranges of failing addresses: `memory C000-FFFF bad`.

use super::Range;
use super::effect::fails;
use super::layout::Bank;
use super::modes::reaching;
use super::pattern::Pattern;
use super::signature::{Line, List, Theory};
use super::theory::theories;
use crate::infer::network::Outcome;
use crate::observe::{CheckReading, Evidence, Observer, stepped};
use std::collections::BTreeMap;

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
        let best = sums.values().copied().fold(f64::MIN_POSITIVE, f64::max);
        let kept = 1.0 - self.trust.missed;
        let scaled = sums.into_iter().map(|(m, s)| (m, stepped(s / best) * kept));
        let text = format!("memory {:04X}-{:04X} fails", range.from, range.to);
        let reading = CheckReading {
            check: format!("range.{}", bank.check(&format!("{:04X}", range.from))),
            outcome: Outcome::Fail,
            run: self.run,
            looped: false,
            leak: self.trust.false_fail,
            effects: scaled.filter(|e| e.1 > 1e-6).collect(),
        };
        let prefix = bank.check("");
        let all = self.model.checks.iter().map(|c| c.id.clone());
        let ids: Vec<String> = all.filter(|id| id.starts_with(&prefix)).collect();
        ids.iter().for_each(|id| self.mark(id));
        self.push(text, Evidence::Check(reading));
    }
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
