//! What the readings do to each mode: factors of those that passed, and which of the others it shows in.

use super::course::{Course, Item};
use super::keys;
use crate::faultmap::model::{BoardModel, ModeId};
use crate::infer::lattice::Pair;
use crate::infer::network::Outcome;
use crate::observe::Became;
use crate::rank::network::{COMPLAINT, SEVERE, is_of_memory, is_shared, split};
use std::ops::Range;

/// A mode, or a part of it: acting, idle; severe, mild.
pub(super) struct Part {
    pub(super) mode: ModeId,
    /// Share of the prior of the mode.
    pub(super) share: f64,
    /// What passing readings leave of it.
    pub(super) left: f64,
    /// What it does to the readings that need an explanation: which of [`Parts::pairs`].
    pub(super) pairs: Range<usize>,
    /// It was put right since.
    pub(super) past: bool,
}

/// The parts of some modes.
#[derive(Default)]
pub(super) struct Parts {
    pub(super) list: Vec<Part>,
    pub(super) pairs: Vec<Pair>,
}

impl Parts {
    /// None again; the room stays.
    pub(super) fn clear(&mut self) {
        self.list.clear();
        self.pairs.clear();
    }
}

/// How a mode shows in a reading that did not pass.
#[derive(Clone, Copy)]
struct Hit {
    /// Index among those that did not pass.
    reading: u32,
    strength: f64,
}

/// Where a mode is kept: its number, and beyond those of the board what came out or was put right.
type Slot = usize;

/// A unit that was changed: where its modes of before are kept.
struct Old {
    unit: usize,
    /// The slot of its first mode.
    first: Slot,
    /// Readings before this stage are of it.
    stage: usize,
    /// Nothing of it is left in the machine; else it is there as well as before.
    gone: bool,
}

/// No entry.
const NONE: u16 = u16::MAX;

/// What the readings do to each mode.
pub(super) struct Marks<'a> {
    model: &'a BoardModel,
    course: &'a Course<'a>,
    /// Items that did not pass.
    pub(super) failed: Vec<&'a Item<'a>>,
    /// By slot, and within a slot in the order of the readings.
    hits: Vec<Hit>,
    /// Where the hits of each slot are.
    at: Vec<u32>,
    /// Factors of the readings that passed, by run and slot.
    left: Vec<Vec<f64>>,
    /// The same while the mode is idle, within one run; empty while all are one.
    left_idle: Vec<f64>,
    /// Of data bits of the memory: readings touched, and the largest strength; empty without a reading of one.
    bits: Vec<(u32, f64)>,
    /// Factors of the data bits that passed, when the trouble is severe; by run, empty while all are one.
    left_severe: Vec<Vec<f64>>,
    old: Vec<Old>,
    /// Which of [`Self::old`] each mode was; empty when nothing was changed.
    was: Vec<u16>,
}

impl<'a> Marks<'a> {
    pub(super) fn of(model: &'a BoardModel, course: &'a Course<'a>, runs: usize) -> Self {
        let mut n = model.modes.len();
        let (mut old, mut was) = (Vec::new(), Vec::new());
        for change in &course.changes {
            was.resize(model.modes.len(), NONE);
            let modes = model.units[change.unit].modes.clone();
            for m in modes.clone() {
                was[m as usize] = old.len() as u16;
            }
            old.push(Old {
                unit: change.unit,
                first: n,
                stage: change.stage,
                gone: matches!(change.became, Became::Renewed(_)),
            });
            n += modes.len();
        }
        let mut m = Self {
            model,
            course,
            failed: Vec::new(),
            hits: Vec::new(),
            at: Vec::new(),
            left: vec![vec![1.0; n]; runs],
            left_idle: Vec::new(),
            bits: Vec::new(),
            left_severe: vec![Vec::new(); runs],
            old,
            was,
        };
        m.count_bits(n);
        let mut items = &course.items[..];
        while let Some(item) = items.first() {
            let keys = m.keys_that_work(items);
            match item.outcome {
                _ if keys > 0 || !item.seen => {}
                Outcome::Pass => m.passed(item, n),
                _ => m.failed.push(item),
            }
            items = &items[keys.max(1)..];
        }
        m.put_hits(n);
        m
    }

    /// Calls `f` with each slot that an item is about, and how surely it shows there.
    fn each(&self, item: &Item, mut f: impl FnMut(Slot, f64)) {
        if self.was.is_empty() {
            for &(mode, strength) in &item.reading.effects {
                f(mode as Slot, strength);
            }
            return;
        }
        for &(mode, strength) in &item.reading.effects {
            let Some(old) = self.old.get(usize::from(self.was[mode as usize])) else {
                f(mode as Slot, strength);
                continue;
            };
            let strength = strength * Course::scale(item, old.unit);
            let before = item.stage < old.stage;
            if before {
                let first = self.model.units[old.unit].modes.start;
                f(old.first + (mode - first) as Slot, strength);
            }
            if !(before && old.gone) {
                f(mode as Slot, strength);
            }
        }
    }

    /// How many data bits of the memory each mode touches, and how surely; what was said again counts twice, as in the network.
    fn count_bits(&mut self, slots: usize) {
        let of_memory = |i: &&Item| is_of_memory(i.reading);
        if !self.course.items.iter().any(|i| of_memory(&i)) {
            return;
        }
        let mut bits = vec![(0, 0.0f64); slots];
        for item in self.course.items.iter().filter(of_memory) {
            self.each(item, |slot, strength| {
                let bits = &mut bits[slot];
                *bits = (bits.0 + 1, bits.1.max(strength));
            });
        }
        self.bits = bits;
    }

    /// What is hit by the readings that did not pass, counted first and then put where it belongs.
    fn put_hits(&mut self, slots: usize) {
        // Of a slot: first how many come before it, two places on, then where its next hit goes, one place on.
        let mut at = vec![0u32; slots + 2];
        for item in &self.failed {
            self.each(item, |slot, _| at[slot + 2] += 1);
        }
        for slot in 2..at.len() {
            at[slot] += at[slot - 1];
        }
        let none = Hit {
            reading: 0,
            strength: 0.0,
        };
        let mut hits = vec![none; at[slots + 1] as usize];
        for (reading, item) in (0..).zip(&self.failed) {
            self.each(item, |slot, strength| {
                let next = &mut at[slot + 1];
                hits[*next as usize] = Hit { reading, strength };
                *next += 1;
            });
        }
        (self.at, self.hits) = (at, hits);
    }

    /// Takes the first of these items if they are many keys that work, and says how many it took.
    fn keys_that_work(&mut self, items: &[Item]) -> usize {
        let keys = match self.was.is_empty() {
            true => keys::working(items),
            false => 0,
        };
        if keys > 0 {
            let left = &mut self.left[items[0].reading.run];
            for &(mode, factor) in keys::left(self.model, &items[..keys]).iter() {
                left[mode as usize] *= factor;
            }
        }
        keys
    }

    fn passed(&mut self, item: &Item, slots: usize) {
        let run = item.reading.run;
        let mut left = std::mem::take(&mut self.left[run]);
        if is_of_memory(item.reading) {
            let mut severe = std::mem::take(&mut self.left_severe[run]);
            severe.resize(slots, 1.0);
            self.each(item, |slot, strength| match self.severe_most(slot) {
                Some(most) => severe[slot] *= 1.0 - SEVERE * strength / most,
                None => left[slot] *= (1.0 - strength).max(0.0),
            });
            self.left_severe[run] = severe;
        } else {
            self.each(item, |slot, strength| {
                left[slot] *= (1.0 - strength).max(0.0)
            });
        }
        if item.reading.check == COMPLAINT {
            let mut idle = std::mem::take(&mut self.left_idle);
            idle.resize(slots, 1.0);
            self.each(item, |slot, strength| {
                idle[slot] *= (1.0 - strength).max(0.0)
            });
            self.left_idle = idle;
        }
        self.left[run] = left;
    }

    /// The largest strength of a mode that is severe or mild to the data bits of the memory (see the network).
    fn severe_most(&self, slot: Slot) -> Option<f64> {
        let &(bits, most) = self.bits.get(slot)?;
        is_shared(bits as usize, most).then_some(most)
    }

    fn hits(&self, slot: Slot) -> &[Hit] {
        &self.hits[self.at[slot] as usize..self.at[slot + 1] as usize]
    }

    /// Room for the parts of a unit.
    pub(super) fn room(&self, unit: usize) -> Parts {
        let modes = &self.model.units[unit].modes;
        let hits = self.at[modes.end as usize] - self.at[modes.start as usize];
        // Most modes are one part, or acting and idle, or severe and mild.
        Parts {
            list: Vec::with_capacity(2 * modes.len()),
            pairs: Vec::with_capacity(2 * hits as usize),
        }
    }

    /// Whether none of these slots shows in a reading that did not pass.
    pub(super) fn untouched(&self, slots: Range<Slot>) -> bool {
        self.at[slots.start] == self.at[slots.end]
    }

    /// The slots of a unit as it was before a change.
    pub(super) fn before(&self, unit: usize) -> Option<Range<Slot>> {
        let old = self.old.iter().find(|o| o.unit == unit)?;
        let modes = &self.model.units[unit].modes;
        Some(old.first..old.first + modes.len())
    }

    /// What is left of a mode that shows in no reading which did not pass, of all its parts together.
    pub(super) fn left(&self, mode: ModeId, slot: Slot) -> f64 {
        let acts = self.model.modes[mode as usize].flaky;
        let all = |severe: bool| -> f64 {
            let of_run = |run: usize| {
                let left = self.left[run][slot];
                let left = match severe {
                    true => left * self.severe_left(slot, run),
                    false => left,
                };
                match acts {
                    Some(acts) if self.left.len() > 1 => acts * left + (1.0 - acts),
                    Some(acts) => acts * left + (1.0 - acts) * self.idle_left(slot),
                    None => left,
                }
            };
            (0..self.left.len()).map(of_run).product()
        };
        // Within one run the idle part is neither severe nor mild; that makes no difference to the sum.
        match self.severe_most(slot) {
            Some(most) => most * all(true) + (1.0 - most) * all(false),
            None => all(false),
        }
    }

    /// Adds the parts of a mode, in the order of the network.
    pub(super) fn parts(&self, mode: ModeId, slot: Slot, by: Weight, to: &mut Parts) {
        let most = self.severe_most(slot);
        let levels = [most, most.map(|m| 1.0 - m)];
        let acts = self.model.modes[mode as usize].flaky;
        let one = Asked { mode, slot, by };
        for (level, share) in levels.into_iter().enumerate() {
            let level = match (most, level, share) {
                (Some(most), 0, Some(share)) => Level::Severe { share, most },
                (Some(_), _, Some(share)) => Level::Mild { share },
                (_, 0, _) => Level::Plain,
                _ => continue,
            };
            match acts {
                Some(acts) if self.left.len() > 1 => self.by_runs(&one, acts, level, to),
                Some(acts) => {
                    self.part(&one, acts, level, |_| true, self.all_runs(slot, level), to)
                }
                None => self.part(&one, 1.0, level, |_| true, self.all_runs(slot, level), to),
            }
        }
        // Within one run what comes and goes is one of two steady ones; the idle one was complained of all the same.
        if let (Some(acts), 1) = (acts, self.left.len()) {
            let wanted = |i: &Item| i.reading.check == COMPLAINT;
            let idle = self.idle_left(slot);
            self.part(&one, 1.0 - acts, Level::Plain, wanted, idle, to);
        }
    }

    /// What passing data bits of a run leave of a slot whose trouble is severe.
    fn severe_left(&self, slot: Slot, run: usize) -> f64 {
        self.left_severe[run].get(slot).copied().unwrap_or(1.0)
    }

    /// What passing readings leave of a slot whose mode is idle.
    fn idle_left(&self, slot: Slot) -> f64 {
        self.left_idle.get(slot).copied().unwrap_or(1.0)
    }

    /// What the passing readings of a run leave of a slot.
    fn of_run(&self, slot: Slot, level: Level, run: usize) -> f64 {
        let more = match level {
            Level::Severe { .. } => self.severe_left(slot, run),
            _ => 1.0,
        };
        self.left[run][slot] * more
    }

    fn all_runs(&self, slot: Slot, level: Level) -> f64 {
        let each = (0..self.left.len()).map(|run| self.of_run(slot, level, run));
        each.product()
    }

    /// Adds what a mode that comes and goes from run to run may have been: acting or idle in each run that it shows in.
    fn by_runs(&self, one: &Asked, acts: f64, level: Level, to: &mut Parts) {
        let shows: Vec<bool> = (0..self.left.len())
            .map(|run| {
                let in_run = |h: &Hit| {
                    let item = self.failed[h.reading as usize];
                    item.reading.run == run && level.wants(item)
                };
                self.hits(one.slot).iter().any(in_run)
            })
            .collect();
        for pattern in 0..1usize << self.left.len() {
            let acting = |run: usize| pattern >> run & 1 == 0;
            // Where it shows in nothing, both are one.
            if (0..self.left.len()).any(|run| !acting(run) && !shows[run]) {
                continue;
            }
            let (mut share, mut left) = (1.0, 1.0);
            for (run, shows) in shows.iter().enumerate() {
                let of_run = self.of_run(one.slot, level, run);
                match (shows, acting(run)) {
                    (true, true) => (share, left) = (share * acts, left * of_run),
                    (true, false) => share *= 1.0 - acts,
                    (false, _) => left *= acts * of_run + (1.0 - acts),
                }
            }
            self.part(one, share, level, |i| acting(i.reading.run), left, to);
        }
    }

    /// Adds a part of a mode (its share, and what the readings that passed leave of it) with what it does to the wanted readings
    /// that did not pass.
    fn part(
        &self,
        one: &Asked,
        share: f64,
        level: Level,
        wanted: impl Fn(&Item) -> bool,
        left: f64,
        to: &mut Parts,
    ) {
        let (of_level, scale) = match level {
            Level::Plain => (1.0, 1.0),
            Level::Severe { share, most } => (share, SEVERE / most),
            Level::Mild { share } => (share, 1.0),
        };
        let mut left = left * one.by.left;
        let first = to.pairs.len();
        for hit in self.hits(one.slot) {
            let item = self.failed[hit.reading as usize];
            if !wanted(item) || !level.wants(item) {
                continue;
            }
            let (mut part, mut fail) = split(self.model, item.reading, one.mode, hit.strength);
            if scale != 1.0 && is_of_memory(item.reading) {
                (part, fail) = (part * scale, fail * scale);
            }
            let (u, e) = bears(item.outcome, part, fail);
            let sum = u + e;
            left *= sum;
            if e > 0.0 {
                to.pairs.push(Pair {
                    reading: hit.reading as usize,
                    u: u / sum,
                    e: e / sum,
                });
            }
        }
        to.list.push(Part {
            mode: one.mode,
            share: share * of_level * one.by.share,
            left,
            pairs: first..to.pairs.len(),
            past: one.by.past,
        });
    }
}

/// A mode with where it is kept and what it counts.
struct Asked {
    mode: ModeId,
    slot: Slot,
    by: Weight,
}

/// What every part of a mode counts.
#[derive(Clone, Copy)]
pub(super) struct Weight {
    /// Share of the prior.
    pub(super) share: f64,
    /// What readings about the unit alone leave.
    pub(super) left: f64,
    /// It was put right since.
    pub(super) past: bool,
}

/// How what strikes many data bits of the memory strikes them.
#[derive(Clone, Copy)]
enum Level {
    /// As any other mode.
    Plain,
    /// All of them.
    Severe { share: f64, most: f64 },
    /// None of them.
    Mild { share: f64 },
}

impl Level {
    fn wants(self, item: &Item) -> bool {
        !matches!(self, Level::Mild { .. }) || !is_of_memory(item.reading)
    }
}

/// (u, e) of what shows so in a reading that did not pass.
pub(super) fn bears(outcome: Outcome, part: f64, fail: f64) -> (f64, f64) {
    match outcome {
        Outcome::Intermittent => ((1.0 - part - fail).max(0.0), part),
        _ => ((1.0 - fail).max(0.0), fail),
    }
}
