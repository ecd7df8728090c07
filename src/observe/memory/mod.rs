//! Lists of failing cells: many lines, one state of the board.
//!
//! However many cells a sheet lists, they become one reading a data bit. How well each failure mode of the board explains the lines is
//! worked out from what it does to the cells (`theory`, `effect`) and from how such lists come about (`signature`); the wiring is
//! that of the map (`layout`, `modes`).

pub mod effect;
mod few;
pub mod layout;
pub mod modes;
pub mod pattern;
mod range;
mod seen;
pub mod signature;
mod tell;
pub mod theory;
mod walk;
pub mod weigh;

use super::{Aspect, CheckReading, Evidence, Observer, Trust, stepped};
use crate::faultmap::model::ModeId;
use crate::infer::network::Outcome;
use layout::Bank;
use signature::{Line, List};
use std::collections::BTreeMap;
use weigh::{BitReading, weigh};

/// What the check of a data bit that fails in listed cells begins with, before the name of that bit's own.
pub const CELLS: &str = "cells.";

/// A line of the list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cell {
    /// Address.
    pub address: u32,
    /// Byte written.
    pub wrote: u8,
    /// Byte read back.
    pub read: u8,
    /// Sheet and line that says so.
    pub place: (usize, usize),
}

/// A range of addresses that fails.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Range {
    /// First address.
    pub from: u32,
    /// Last address.
    pub to: u32,
    /// Sheet and line that says so.
    pub place: (usize, usize),
}

/// What the lines of a run say of its memory.
#[derive(Debug, Clone, Default)]
pub struct Typed {
    /// Cells.
    pub cells: Vec<Cell>,
    /// `n more`.
    pub more: Option<u32>,
    /// Ranges.
    pub ranges: Vec<Range>,
}

impl Typed {
    /// Whether nothing was typed.
    pub fn is_empty(&self) -> bool {
        self.cells.is_empty() && self.ranges.is_empty()
    }
}

/// Whether a check stands for what the chips of a bank share (strobes, write, refresh): no test shows it by itself.
pub fn shared(check: &str) -> bool {
    let ends = [".strobe.ras", ".strobe.cas", ".write", ".refresh"];
    ends.iter().any(|e| check.ends_with(e))
}

impl Observer<'_> {
    /// The cells and ranges of the run that ends, as readings.
    pub(super) fn memory_lists(&mut self, run: usize) {
        let typed = std::mem::take(&mut self.memory);
        let Some(raw) = &self.model.memory else {
            return;
        };
        let keep = (self.sheet, self.line);
        let wrong = |c: &&Cell| c.wrote != c.read;
        for bank in layout::banks(raw) {
            let of_bank = |c: &&Cell| bank.contains(c.address);
            let cells: Vec<Cell> = typed.cells.iter().filter(of_bank).copied().collect();
            if let Some(first) = cells.iter().find(wrong) {
                (self.sheet, self.line) = first.place;
                self.test_ran(run);
                self.cells(&bank, &cells, typed.more);
            }
            for range in &typed.ranges {
                if range.from <= bank.to && range.to >= bank.from {
                    (self.sheet, self.line) = range.place;
                    self.test_ran(run);
                    self.range(&bank, *range);
                }
            }
        }
        (self.sheet, self.line) = keep;
        for bank in layout::banks(raw) {
            self.named_bits(&bank, run);
        }
    }

    /// One or two data bits named as bad and none as good (a code, or a line typed in haste). Trouble of all bits would have named any of them: that it named
    /// just these has a chance of their number in all, which is no news of what strikes one bit.
    fn named_bits(&mut self, bank: &Bank, run: usize) {
        if self.rest_fine.iter().any(|r| r.2 == run) {
            return;
        }
        let prefix = bank.check("bit.");
        let mut named = Vec::new();
        for (i, r) in self.out.readings.iter().enumerate() {
            let Evidence::Check(c) = &r.evidence else {
                continue;
            };
            if c.run == run && c.check.starts_with(&prefix) {
                match c.outcome {
                    Outcome::Pass => return,
                    _ => named.push(i),
                }
            }
        }
        if named.is_empty() || named.len() > 2 {
            return;
        }
        self.no_longer_named(&prefix, run);
        let several: BTreeMap<ModeId, u32> = modes::reaching(self.model, bank)
            .iter()
            .map(|r| (r.mode, r.cause.lanes.count_ones()))
            .filter(|m| m.1 > 2)
            .collect();
        for i in &named {
            if let Evidence::Check(c) = &mut self.out.readings[*i].evidence {
                for (mode, strength) in &mut c.effects {
                    if let Some(&lanes) = several.get(mode) {
                        *strength *= named.len() as f64 / f64::from(lanes);
                    }
                }
            }
        }
    }

    /// A code names the first failure that it meets. What it named in an earlier run and does not name now has passed: it came
    /// before what is named now, which had failed then as well. Of what comes later nothing is known.
    fn no_longer_named(&mut self, prefix: &str, run: usize) {
        let mut earlier: Vec<String> = Vec::new();
        let mut now: Vec<&str> = Vec::new();
        for r in &self.out.readings {
            if let Evidence::Check(c) = &r.evidence
                && c.check.starts_with(prefix)
                && c.outcome != Outcome::Pass
            {
                if c.run == run {
                    now.push(&c.check);
                } else if !earlier.contains(&c.check) {
                    earlier.push(c.check.clone());
                }
            }
        }
        earlier.retain(|id| !now.contains(&id.as_str()));
        for id in earlier {
            let Some(check) = self.model.check(&id) else {
                continue;
            };
            let (reads, text) = (
                check.reads.clone(),
                format!("{} is no longer named", check.what),
            );
            self.check(&id, &reads, Aspect::Trouble, Outcome::Pass, text);
        }
    }

    fn cells(&mut self, bank: &Bank, cells: &[Cell], more: Option<u32>) {
        let line = |c: &Cell| Line {
            address: c.address,
            wrote: c.wrote,
            read: c.read,
        };
        let list = List {
            lines: cells.iter().map(line).collect(),
            more: more.filter(|&n| n > 0),
            complete: more == Some(0),
        };
        let reaching = modes::reaching(self.model, bank);
        let weighed = weigh(bank, &reaching, &list);
        for reading in &weighed.readings {
            self.bit(bank, cells, reading);
        }
        // One failing bit leaves what all bits share to 'rest fine'; several do not.
        if weighed.bits.count_ones() > 1 {
            let prefix = bank.check("");
            let all = self.model.checks.iter().map(|c| c.id.clone());
            let ids: Vec<String> = all.filter(|id| id.starts_with(&prefix)).collect();
            ids.iter().for_each(|id| self.mark(id));
        }
        let place = (self.sheet, self.line);
        let hints = tell::hints(self.model, bank, &reaching, &weighed, &list);
        let at = |h: tell::Hint| super::Hint {
            sheet: place.0,
            line: place.1,
            text: h.text,
            pattern: h.pattern.map(str::to_string),
        };
        self.out.hints.extend(hints.into_iter().map(at));
    }

    fn bit(&mut self, bank: &Bank, cells: &[Cell], reading: &BitReading) {
        let bit = reading.bit;
        let id = bank.check(&format!("bit.{bit}"));
        let shows = |c: &&Cell| (c.wrote ^ c.read) >> bit & 1 == 1;
        let (ones, all) = cells.iter().filter(shows).fold((0, 0), |(ones, all), c| {
            (ones + usize::from(c.read >> bit & 1), all + 1)
        });
        if let Some(first) = cells.iter().find(shows) {
            (self.sheet, self.line) = first.place;
        }
        let word = match all - ones {
            0 => "reads 1 for 0",
            n if n == all => "reads 0 for 1",
            _ => "reads wrong both ways",
        };
        let cell = if all == 1 { "cell" } else { "cells" };
        let text = format!("data bit {bit} {word} in {all} {cell}");
        let Trust {
            false_fail, missed, ..
        } = self.trust;
        let effects = reading
            .effects
            .iter()
            .map(|&(m, s)| (m, stepped(s) * (1.0 - missed)))
            .collect();
        // 'bit 3 bad' and cells that say how are one reading: the cells say it better. It is no plain 'bit bad': what reaches several bits has
        // its strength shared out already.
        let run = self.run;
        let better = CheckReading {
            check: format!("{CELLS}{id}"),
            outcome: Outcome::Fail,
            run,
            looped: false,
            leak: false_fail * reading.leak,
            effects,
        };
        self.mark(&id);
        let same = |r: &&mut super::Reading| matches!(&r.evidence, Evidence::Check(c) if c.check == id && c.run == run && c.outcome == Outcome::Fail);
        match self.out.readings.iter_mut().find(same) {
            Some(earlier) => earlier.evidence = Evidence::Check(better),
            None => self.push(text, Evidence::Check(better)),
        }
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use crate::faultmap::raw::MemoryRaw;

    /// A single bank from address 0.
    pub fn raw(bits: &str, width: u8, to: u32) -> MemoryRaw {
        MemoryRaw {
            bits: bits.into(),
            width,
            from: 0,
            to,
            column: None,
            lines: String::new(),
            others: Default::default(),
        }
    }
}
