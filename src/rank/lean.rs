//! The short way for most machines: one run, nothing renewed, few readings that need an explanation.
//!
//! No network is put together: a passing reading is a factor on the modes that it touches, and what is left goes through
//! [`lattice`]. The result holds the causes that may be listed, and no others.

use super::network::{
    Assembled, COMPLAINT, Instance, Priors, SEVERE, is_of_memory, is_shared, split,
};
use super::{LISTED, together};
use crate::faultmap::model::{BoardModel, ModeId};
use crate::infer::lattice::{self, Live, MOST_READINGS, Pair, Row, SETTINGS, State};
use crate::infer::network::{Network, Outcome, Posterior};
use crate::observe::{CheckReading, Evidence, Observed, Reading};
use crate::prior::common::CommonTable;
use std::ops::Range;

/// Probes from which on their readings hang together (see [`together`]).
const PROBES: usize = 3;

/// A mode, or a part of it: acting, idle; severe, mild.
struct Part {
    mode: ModeId,
    /// Share of the prior of the mode.
    share: f64,
    /// What passing readings leave of it.
    left: f64,
    /// What it does to the readings that need an explanation: which of [`Parts::pairs`].
    pairs: Range<usize>,
    /// Which state of its cause it is.
    state: usize,
}

/// The parts of all modes.
#[derive(Default)]
struct Parts {
    list: Vec<Part>,
    pairs: Vec<Pair>,
}

/// How a mode shows in a reading that did not pass.
#[derive(Clone, Copy)]
struct Hit {
    mode: ModeId,
    /// Index among those that did not pass.
    reading: usize,
    strength: f64,
}

/// What the readings do to each mode.
struct Marks<'a> {
    model: &'a BoardModel,
    /// Readings that did not pass.
    failed: Vec<&'a CheckReading>,
    hits: Vec<Hit>,
    /// Where the hits of each mode are, once sorted.
    at: Vec<u32>,
    /// Factors of the readings that passed, by mode.
    left: Vec<f64>,
    /// The same while the mode is idle.
    left_idle: Vec<f64>,
    /// Of data bits of the memory: readings touched, and the largest strength.
    bits: Vec<(u32, f64)>,
    /// Factors of the data bits that passed, when the trouble is severe.
    left_severe: Vec<f64>,
    /// P(readings about a unit alone | fine) and (| at fault), by unit.
    alone: Vec<(f64, f64)>,
}

fn checks(observed: &Observed) -> impl Iterator<Item = &CheckReading> {
    observed.readings.iter().filter_map(|r| match &r.evidence {
        Evidence::Check(c) => Some(c),
        _ => None,
    })
}

/// Whether the readings of these checks may be taken so.
fn suits(observed: &Observed, common: &CommonTable) -> bool {
    let other = |r: &Reading| !matches!(r.evidence, Evidence::Check(_) | Evidence::Unit { .. });
    let probe = |c: &&CheckReading| together::sort(&c.check) == together::Sort::Probe;
    let failed = checks(observed).filter(|c| c.outcome != Outcome::Pass);
    observed.runs <= 1
        && !observed.readings.iter().any(other)
        && common.settings().len() == SETTINGS
        && failed.count() <= MOST_READINGS
        && checks(observed).filter(probe).count() < PROBES
}

impl<'a> Marks<'a> {
    fn of(model: &'a BoardModel, observed: &'a Observed) -> Self {
        let n = model.modes.len();
        let mut m = Self {
            model,
            failed: Vec::new(),
            hits: Vec::new(),
            at: vec![0; n + 1],
            left: vec![1.0; n],
            left_idle: vec![1.0; n],
            bits: vec![(0, 0.0); n],
            left_severe: vec![1.0; n],
            alone: vec![(1.0, 1.0); model.units.len()],
        };
        for reading in &observed.readings {
            if let Evidence::Unit { unit, fine, faulty } = reading.evidence {
                let alone = &mut m.alone[unit];
                *alone = (alone.0 * fine, alone.1 * faulty);
            }
        }
        let failed = checks(observed).filter(|c| c.outcome != Outcome::Pass);
        m.hits.reserve_exact(failed.map(|c| c.effects.len()).sum());
        for (mode, strength) in checks(observed)
            .filter(|c| is_of_memory(c))
            .flat_map(|c| c.effects.iter())
        {
            let bits = &mut m.bits[*mode as usize];
            *bits = (bits.0 + 1, bits.1.max(*strength));
        }
        for c in checks(observed) {
            m.reading(c);
        }
        m.sort();
        m
    }

    fn reading(&mut self, c: &'a CheckReading) {
        let complaint = c.check == COMPLAINT;
        if c.outcome != Outcome::Pass {
            let reading = self.failed.len();
            self.failed.push(c);
            let hit = |&(mode, strength): &(ModeId, f64)| Hit {
                mode,
                reading,
                strength,
            };
            return self.hits.extend(c.effects.iter().map(hit));
        }
        let of_memory = is_of_memory(c);
        for &(mode, strength) in &c.effects {
            let mode = mode as usize;
            if of_memory && self.is_split(mode) {
                self.left_severe[mode] *= 1.0 - SEVERE * strength / self.bits[mode].1;
                continue;
            }
            let spared = (1.0 - strength).max(0.0);
            self.left[mode] *= spared;
            if complaint {
                self.left_idle[mode] *= spared;
            }
        }
    }

    /// Whether a mode is severe or mild to the data bits of the memory (see the network).
    fn is_split(&self, mode: usize) -> bool {
        let (bits, most) = self.bits[mode];
        is_shared(bits as usize, most)
    }

    /// Puts the hits in the order of the modes.
    fn sort(&mut self) {
        for h in &self.hits {
            self.at[h.mode as usize + 1] += 1;
        }
        for m in 1..self.at.len() {
            self.at[m] += self.at[m - 1];
        }
        let mut next = self.at.clone();
        let mut sorted = self.hits.clone();
        for h in &self.hits {
            let at = &mut next[h.mode as usize];
            sorted[*at as usize] = *h;
            *at += 1;
        }
        self.hits = sorted;
    }

    fn hits(&self, mode: ModeId) -> &[Hit] {
        let of = |m: ModeId| self.at[m as usize] as usize;
        &self.hits[of(mode)..of(mode + 1)]
    }

    /// Adds the parts of a mode, in the order of the network.
    fn parts(&self, mode: ModeId, faulty: f64, to: &mut Parts) {
        let m = &self.model.modes[mode as usize];
        let acts = m.flaky.unwrap_or(1.0);
        let left = self.left[mode as usize] * faulty;
        if self.is_split(mode as usize) {
            let most = self.bits[mode as usize].1;
            let severe = left * self.left_severe[mode as usize];
            self.part(mode, (acts * most, severe, SEVERE / most), |_| true, to);
            let mild = (acts * (1.0 - most), left, 1.0);
            self.part(mode, mild, |c| !is_of_memory(c), to);
        } else {
            self.part(mode, (acts, left, 1.0), |_| true, to);
        }
        if m.flaky.is_some() {
            let idle = (1.0 - acts, self.left_idle[mode as usize] * faulty, 1.0);
            self.part(mode, idle, |c| c.check == COMPLAINT, to);
        }
    }

    /// Adds a part of a mode (share, what is left of it, scale of the strengths in memory bits) with what it does to the wanted
    /// readings that did not pass.
    fn part(
        &self,
        mode: ModeId,
        (share, mut left, scale): (f64, f64, f64),
        wanted: impl Fn(&CheckReading) -> bool,
        to: &mut Parts,
    ) {
        let first = to.pairs.len();
        for hit in self.hits(mode) {
            let c = self.failed[hit.reading];
            if !wanted(c) {
                continue;
            }
            let (mut part, mut fail) = split(self.model, c, mode, hit.strength);
            if scale != 1.0 && is_of_memory(c) {
                (part, fail) = (part * scale, fail * scale);
            }
            let (u, e) = bears(c.outcome, part, fail);
            let sum = u + e;
            left *= sum;
            if e > 0.0 {
                to.pairs.push(Pair {
                    reading: hit.reading,
                    u: u / sum,
                    e: e / sum,
                });
            }
        }
        to.list.push(Part {
            mode,
            share,
            left,
            pairs: first..to.pairs.len(),
            state: 0,
        });
    }
}

/// (u, e) of what shows so in a reading that did not pass.
fn bears(outcome: Outcome, part: f64, fail: f64) -> (f64, f64) {
    match outcome {
        Outcome::Intermittent => ((1.0 - part - fail).max(0.0), part),
        _ => ((1.0 - fail).max(0.0), fail),
    }
}

/// A unit with its parts, and where it is in the sum.
struct OfUnit {
    unit: usize,
    parts: Range<usize>,
    /// Index among the causes that touch a reading that did not pass.
    live: Option<usize>,
    /// Weight in each setting, of a cause that touches none.
    weight: Row,
}

/// The ranking of a machine, as [`super::brief`] needs it. `None` when the machine asks for more.
pub(super) fn lean(
    model: &BoardModel,
    observed: &Observed,
    common: &CommonTable,
    priors: &Priors,
) -> Option<(Assembled, Posterior)> {
    if !suits(observed, common) {
        return None;
    }
    let marks = Marks::of(model, observed);
    let mut outer: Row = std::array::from_fn(|s| common.probability(s));
    // A mode has one part or two, rarely more; each hit is in as many.
    let mut parts = Parts {
        list: Vec::with_capacity(2 * model.modes.len()),
        pairs: Vec::with_capacity(2 * marks.hits.len()),
    };
    let mut units = Vec::with_capacity(model.units.len());
    let mut causes: Vec<Live> = Vec::new();
    for unit in 0..model.units.len() {
        let first = parts.list.len();
        let states = of_unit(&marks, priors, unit, &mut parts);
        let mut weight = [1.0; SETTINGS];
        let live = (states.len() > 1).then_some(causes.len());
        match live {
            Some(_) => causes.push(states),
            None => {
                weight = states[0].weight;
                outer.iter_mut().zip(&weight).for_each(|(o, w)| *o *= w);
            }
        }
        units.push(OfUnit {
            unit,
            parts: first..parts.list.len(),
            live,
            weight,
        });
    }
    let leak = |c: &&CheckReading| {
        let (part, fail) = if c.looped { (0.2, 0.8) } else { (0.0, 1.0) };
        bears(c.outcome, part * c.leak, fail * c.leak)
    };
    let leaks: Vec<(f64, f64)> = marks.failed.iter().map(leak).collect();
    let found = lattice::solve(&leaks, &causes, &outer)?;
    Some(told(observed, common, priors, &parts.list, &units, &found))
}

/// The states of a unit, with its parts: the first is that of all that touches no reading.
fn of_unit(marks: &Marks, priors: &Priors, unit: usize, parts: &mut Parts) -> Live {
    let u = &marks.model.units[unit];
    let (fine, faulty) = marks.alone[unit];
    let first = parts.list.len();
    let mut sum = [0.0; SETTINGS];
    for mode in u.modes.clone() {
        let prior = &priors[mode as usize];
        if prior.iter().all(|&p| p <= 0.0) {
            continue;
        }
        sum.iter_mut().zip(prior).for_each(|(sum, p)| *sum += p);
        marks.parts(mode, faulty, parts);
    }
    let mut states = vec![State {
        pairs: Vec::new(),
        weight: sum.map(|p| (1.0 - p).max(0.0) * fine),
    }];
    for part in &mut parts.list[first..] {
        let pairs = &parts.pairs[part.pairs.clone()];
        let same = states.iter().position(|s| s.pairs == pairs);
        part.state = same.unwrap_or_else(|| {
            states.push(State {
                pairs: pairs.to_vec(),
                weight: [0.0; SETTINGS],
            });
            states.len() - 1
        });
        let (weight, prior) = (&mut states[part.state].weight, &priors[part.mode as usize]);
        let by = part.share * part.left;
        weight.iter_mut().zip(prior).for_each(|(w, p)| *w += p * by);
    }
    states
}

/// Puts down what was found: the causes that may be listed, without a network.
fn told(
    observed: &Observed,
    common: &CommonTable,
    priors: &Priors,
    parts: &[Part],
    units: &[OfUnit],
    found: &lattice::Found,
) -> (Assembled, Posterior) {
    let mut a = empty(observed, common);
    let of_check = |(_, r): &(usize, &Reading)| matches!(r.evidence, Evidence::Check(_));
    let readings = observed.readings.iter().enumerate().filter(of_check);
    for (check, (reading, _)) in readings.enumerate() {
        a.checks[reading].push(check);
    }
    let mut modes = Vec::new();
    for of in units {
        let of_part = |part: &Part| {
            let prior = &priors[part.mode as usize];
            let worth: Row = match of.live {
                // The worths of a cause are in the order of its states.
                Some(live) => found.worth[live][part.state],
                None => {
                    std::array::from_fn(|s| found.share[s] / of.weight[s].max(f64::MIN_POSITIVE))
                }
            };
            let sum: f64 = prior.iter().zip(&worth).map(|(p, w)| p * w).sum();
            (sum * part.share * part.left).min(1.0)
        };
        let own = &parts[of.parts.clone()];
        let posterior: Vec<f64> = own.iter().map(of_part).collect();
        if posterior.iter().sum::<f64>() < 0.999 * LISTED {
            continue;
        }
        a.instances.push(Instance {
            unit: of.unit,
            fitted: 0,
        });
        a.modes.push(own.iter().map(|p| p.mode).collect());
        a.place.push(of.unit);
        a.current.push(true);
        modes.push(posterior);
    }
    let present = |b: usize| -> f64 {
        let with = (0..SETTINGS).filter(|s| s >> b & 1 == 1);
        with.map(|s| found.share[s]).sum::<f64>().min(1.0)
    };
    let passed = checks(observed).filter(|c| c.outcome == Outcome::Pass);
    let unleaked: f64 = passed.map(|c| 1.0 - c.leak).product();
    let posterior = Posterior {
        log_evidence: found.evidence.ln() + unleaked.ln(),
        modes,
        common: (0..common.causes().len()).map(present).collect(),
        unexplored_mass: 0.0,
    };
    (a, posterior)
}

fn empty(observed: &Observed, common: &CommonTable) -> Assembled {
    Assembled {
        net: Network {
            common: common.causes().iter().map(|c| c.prior).collect(),
            causes: Vec::new(),
            checks: Vec::new(),
        },
        instances: Vec::new(),
        modes: Vec::new(),
        checks: vec![Vec::new(); observed.readings.len()],
        place: Vec::new(),
        current: Vec::new(),
        folded: Vec::new(),
    }
}
