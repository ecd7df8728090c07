//! Readings and priors put together into one network.
//!
//! Variables are *instances*: each unit as it came, and each part that a swap or replacement put in its place. A reading
//! links to what was fitted when it was taken; what had failed before a swap and failed after it still is one reading of
//! the board with the new part in.

pub use super::priors::{Priors, priors};
use super::together;
use crate::faultmap::model::{BoardModel, ModeId};
use crate::infer::network::{Cause, Check, CheckId, Effect, Mode, Network, Outcome, Posterior};
use crate::observe::{Became, CheckReading, Evidence, Observed, Reading, Redone, stops_all};
use crate::prior::common::CommonTable;
use std::collections::BTreeMap;

/// The check that a complaint is.
pub(super) const COMPLAINT: &str = "complaint";

/// Of a mode that shows, how often it shows in some loops only: a steady fault hardly ever, a flaky one half the time.
const STEADY_INTERMITTENT: f64 = 0.05;
const FLAKY_INTERMITTENT: f64 = 0.5;

/// One variable: a unit, as it came (0) or as fitted later (1, 2 …).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Instance {
    /// Index of the unit.
    pub unit: usize,
    /// 0 for the one the machine came with.
    pub fitted: usize,
}

/// A network with what its parts stand for.
pub struct Assembled {
    /// The network.
    pub net: Network,
    /// What each cause is.
    pub instances: Vec<Instance>,
    /// Modes of the model that the modes of each cause are (one that comes and goes may stand twice: acting and idle).
    pub modes: Vec<Vec<ModeId>>,
    /// Checks of the network by reading (index into the readings).
    pub checks: Vec<Vec<CheckId>>,
    /// The unit in whose place each cause sits now, or sat last: another than it came from after an exchange.
    pub place: Vec<usize>,
    /// Whether each cause is still in the machine.
    pub current: Vec<bool>,
    /// What passing readings do that went into the likelihoods instead of the network.
    pub(super) folded: Vec<Folded>,
}

/// What a passing reading does to a mode, where the network does not list it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Folded {
    pub(super) cause: usize,
    pub(super) mode: ModeId,
    pub(super) effect: Effect,
    /// Which mode of the cause it was.
    at: usize,
}

impl Assembled {
    /// Whether what a cause stands for is still in the machine: no later part took its place.
    pub fn is_current(&self, cause: usize) -> bool {
        self.current[cause]
    }

    /// Modes of a cause that it may be in now, each with its probability: none when a later part took its place; not what was put
    /// right since.
    pub fn now<'a>(
        &'a self,
        posterior: &'a Posterior,
        cause: usize,
    ) -> impl Iterator<Item = (ModeId, f64)> + 'a {
        // What was ranked by readings alone has no network, and no remedies.
        let past = move |k: usize| {
            let modes = self.net.causes.get(cause).map(|c| &c.modes);
            modes.is_some_and(|m| m[k].past)
        };
        let all = self.modes[cause].iter().zip(&posterior.modes[cause]);
        let now = all
            .enumerate()
            .filter(move |&(k, _)| self.current[cause] && !past(k));
        now.map(|(_, (&mode, &p))| (mode, p))
    }

    /// P(a cause is at fault now | readings): [`Posterior::cause`] without what is out of the machine and what was put right.
    pub fn still(&self, posterior: &Posterior, cause: usize) -> f64 {
        self.now(posterior, cause).map(|m| m.1).sum()
    }

    /// The cause that an instance is.
    pub fn cause_of(&self, instance: Instance) -> Option<usize> {
        self.instances.iter().position(|i| *i == instance)
    }

    /// The unit in whose place an instance sits now, or sat last.
    pub fn place_of(&self, instance: Instance) -> usize {
        self.cause_of(instance)
            .map_or(instance.unit, |c| self.place[c])
    }
}

/// Puts the readings together; those that `include` refuses are left out.
pub fn assemble(
    model: &BoardModel,
    observed: &Observed,
    common: &CommonTable,
    priors: &Priors,
    include: impl Fn(usize) -> bool,
) -> Assembled {
    let mut b = Builder::new(model, observed, common, priors, false);
    for (i, reading) in (observed.readings.iter().enumerate()).filter(|(i, _)| include(*i)) {
        b.reading(i, reading);
    }
    b.finish()
}

/// [`assemble`] for a posterior and nothing else: what a passing reading does to a mode goes into the likelihood of the mode,
/// and the network does not list it. Several times as fast, with the same posterior (but for rounding) and the same checks.
pub(super) fn assemble_brief(
    model: &BoardModel,
    observed: &Observed,
    common: &CommonTable,
    priors: &Priors,
) -> Assembled {
    let mut b = Builder::new(model, observed, common, priors, true);
    for (i, reading) in observed.readings.iter().enumerate() {
        b.reading(i, reading);
    }
    b.finish()
}

/// Whether a check is of a data bit of some bank of the memory, as the test says it; lists of cells share out what strikes several
/// bits themselves.
pub(super) fn is_of_memory(c: &CheckReading) -> bool {
    c.check.contains(".bit.") && !c.check.starts_with(crate::observe::memory::CELLS)
}

/// Whether [`assemble_brief`] folds a reading.
pub(super) fn is_folded(c: &CheckReading) -> bool {
    let together = together::sort(&c.check) == together::Sort::Probe;
    c.outcome == Outcome::Pass && !is_of_memory(c) && !together && c.check != COMPLAINT
}

/// How surely a mode shows in some loops of a check, and in all, when it shows with this strength.
pub(super) fn split(
    model: &BoardModel,
    c: &CheckReading,
    mode: ModeId,
    strength: f64,
) -> (f64, f64) {
    // A single result is good or bad.
    if !c.looped {
        return (0.0, strength);
    }
    let m = &model.modes[mode as usize];
    let part = match m.flaky {
        // What is not there is not there in every loop.
        _ if m.missing => 0.0,
        Some(_) => FLAKY_INTERMITTENT,
        None => STEADY_INTERMITTENT,
    };
    (strength * part, strength * (1.0 - part))
}

/// A likelihood is not folded further below this: it would underflow.
const SMALLEST: f64 = 1e-200;

/// Fewest data bits that a mode must touch for its strength in them to be one matter rather than several.
const SHARED: usize = 3;
/// From this strength in them on a mode is severe anyhow.
const SURE: f64 = 0.95;
/// How surely a severe one shows: it is overlooked now and then, as any other.
pub(super) const SEVERE: f64 = 0.97;

/// Whether a mode that touches so many data bits of the memory, at most this surely, is severe or mild to all of them. What shows
/// nowhere (all lines lost, 'rest fine' says nothing) has nothing to share.
pub(super) fn is_shared(bits: usize, most: f64) -> bool {
    bits >= SHARED && most < SURE && most > 0.0
}

/// What strikes many data bits of the memory at once (a lost strobe, a low rail) shows in all of them or in none: its strength
/// is how probable the first is, not an independent chance for each bit. So such a mode is split into two, exactly:
///
/// severe, with prior p·s and strengths s_k / s;   mild, with prior p·(1 − s) and none;   s = the largest s_k
fn share_severity(mut a: Assembled, of_memory: &[bool]) -> Assembled {
    let touches = |m: &Mode| m.effects.iter().filter(|e| of_memory[e.check]).count() >= SHARED;
    for (cause, ids) in a.net.causes.iter_mut().zip(&mut a.modes) {
        if !cause.modes.iter().any(touches) {
            continue;
        }
        let mut split: Vec<(ModeId, Mode)> = Vec::new();
        for (&id, mode) in ids.iter().zip(std::mem::take(&mut cause.modes)) {
            let shared: Vec<&Effect> = mode.effects.iter().filter(|e| of_memory[e.check]).collect();
            let most = shared
                .iter()
                .map(|e| e.fail + e.intermittent)
                .fold(0.0, f64::max);
            if !is_shared(shared.len(), most) {
                split.push((id, mode));
                continue;
            }
            let (mut severe, mut mild) = (mode.clone(), mode);
            severe.prior.iter_mut().for_each(|p| *p *= most);
            mild.prior.iter_mut().for_each(|p| *p *= 1.0 - most);
            for e in severe.effects.iter_mut().filter(|e| of_memory[e.check]) {
                (e.fail, e.intermittent) = (SEVERE * e.fail / most, SEVERE * e.intermittent / most);
            }
            mild.effects.retain(|e| !of_memory[e.check]);
            split.extend([(id, severe), (id, mild)]);
        }
        (*ids, cause.modes) = split.into_iter().unzip();
    }
    a
}

/// Marks a mode that is in no cause now.
const NOWHERE: (usize, usize) = (usize::MAX, 0);

struct Builder<'a> {
    model: &'a BoardModel,
    a: Assembled,
    /// How many effects each mode of the model will have, about.
    room: Vec<u32>,
    /// Passing readings go into the likelihoods.
    brief: bool,
    /// Whether all readings are of one run.
    one_run: bool,
    /// Whether each check of the network is a data bit of the memory.
    of_memory: Vec<bool>,
    /// What each check is, for what hangs together.
    sorts: Vec<together::Sort>,
    /// Where each mode of the model is now: cause and mode of the network.
    slot: Vec<(usize, usize)>,
    /// The cause that sits in the place of each unit now.
    occupant: Vec<usize>,
    /// Failing readings so far: index, check, and the reading.
    failed: Vec<(usize, CheckId, CheckReading)>,
    /// What came out of the place of each unit.
    came_out: BTreeMap<usize, Vec<CameOut>>,
}

/// A part that came out.
struct CameOut {
    cause: usize,
    /// Where its modes were.
    slots: Vec<(usize, usize)>,
    /// What failed with it in.
    failed: Vec<(usize, CheckReading)>,
}

impl<'a> Builder<'a> {
    fn new(
        model: &'a BoardModel,
        observed: &Observed,
        common: &CommonTable,
        priors: &Priors,
        brief: bool,
    ) -> Self {
        let checks = |r: &'_ Reading| match &r.evidence {
            Evidence::Check(c) if !(brief && is_folded(c)) => Some(c.effects.clone()),
            _ => None,
        };
        let mut room = vec![0; model.modes.len()];
        for effects in observed.readings.iter().filter_map(checks) {
            effects.iter().for_each(|e| room[e.0 as usize] += 1);
        }
        let mut b = Builder {
            model,
            a: Assembled {
                net: Network {
                    common: common.causes().iter().map(|c| c.prior).collect(),
                    causes: Vec::with_capacity(model.units.len()),
                    checks: Vec::new(),
                },
                instances: Vec::with_capacity(model.units.len()),
                modes: Vec::with_capacity(model.units.len()),
                checks: vec![Vec::new(); observed.readings.len()],
                place: Vec::with_capacity(model.units.len()),
                current: Vec::new(),
                folded: Vec::new(),
            },
            room,
            brief,
            occupant: vec![0; model.units.len()],
            slot: vec![NOWHERE; model.modes.len()],
            one_run: observed.runs <= 1,
            of_memory: Vec::new(),
            sorts: Vec::new(),
            failed: Vec::new(),
            came_out: BTreeMap::new(),
        };
        for (i, unit) in model.units.iter().enumerate() {
            let modes = unit.modes.clone().filter(|m| priors.possible(*m));
            let prior = modes.map(|m| (m, priors.of(m)));
            b.add(Instance { unit: i, fitted: 0 }, prior);
        }
        b
    }

    fn reading(&mut self, at: usize, reading: &Reading) {
        match &reading.evidence {
            Evidence::Check(c) => self.check(at, c),
            Evidence::Unit { unit, fine, faulty } => self.about_unit(*unit, *fine, *faulty),
            Evidence::Modes {
                unit,
                modes,
                without,
                with,
            } => self.about_modes(*unit, modes, *without, *with),
            Evidence::Remedy { units, cured } => self.remedy(at, units, *cured),
            Evidence::PutBack { parts, refitted } => self.put_back(parts, refitted),
            Evidence::Moved {
                went,
                exchanged,
                refitted,
            } => self.moved(at, went, *exchanged, refitted),
        }
    }

    fn finish(mut self) -> Assembled {
        let sits = |cause: usize| self.occupant[self.a.place[cause]] == cause;
        self.a.current = (0..self.a.instances.len()).map(sits).collect();
        // Last of all: what a renewed part was doubted for (`doubts`) rests on its prior and what was said of it alone.
        let causes = &mut self.a.net.causes;
        self.a.folded.retain(|f| {
            let mode = &mut causes[f.cause].modes[f.at];
            let folds = mode.likelihood > SMALLEST;
            match folds {
                true => mode.likelihood *= (1.0 - f.effect.intermittent - f.effect.fail).max(0.0),
                false => mode.effects.push(f.effect),
            }
            folds
        });
        let stops_all = stops_all(self.model);
        together::split(
            share_severity(self.a, &self.of_memory),
            &self.sorts,
            |mode| stops_all.get(&mode).copied(),
        )
    }

    fn add(&mut self, instance: Instance, modes: impl Iterator<Item = (ModeId, Vec<f64>)>) {
        let cause = self.a.net.causes.len();
        let all = self.model.units[instance.unit].modes.clone();
        // Those that come and go may stand twice.
        let most = 2 * all.len();
        for m in all {
            self.slot[m as usize] = NOWHERE;
        }
        let (mut ids, mut list) = (Vec::with_capacity(most), Vec::with_capacity(most));
        for (m, prior) in modes {
            self.slot[m as usize] = (cause, list.len());
            let shows = self.model.modes[m as usize].flaky;
            let room = self.room[m as usize] as usize;
            let mut add = |prior: Vec<f64>, shows: Option<f64>, room: usize| {
                ids.push(m);
                list.push(Mode {
                    prior,
                    effects: Vec::with_capacity(room),
                    shows,
                    likelihood: 1.0,
                    past: false,
                });
            };
            match shows.filter(|_| self.one_run) {
                // Within one run a mode that comes and goes is one of two steady ones: it acts, or it is idle.
                Some(shows) => {
                    add(prior.iter().map(|p| p * shows).collect(), None, room);
                    add(prior.iter().map(|p| p * (1.0 - shows)).collect(), None, 0);
                }
                None => add(prior, shows, room),
            }
        }
        self.a.net.causes.push(Cause {
            modes: list,
            likelihood_fine: 1.0,
        });
        self.a.instances.push(instance);
        self.a.modes.push(ids);
        self.a.place.push(instance.unit);
        self.occupant[instance.unit] = cause;
    }

    fn check(&mut self, reading: usize, c: &CheckReading) {
        let id = self.add_check(c, c.outcome);
        self.a.checks[reading].push(id);
        if c.outcome != Outcome::Pass {
            self.failed.push((reading, id, c.clone()));
        }
    }

    /// A check of the board as it is now.
    fn add_check(&mut self, c: &CheckReading, outcome: Outcome) -> CheckId {
        let check = self.a.net.checks.len();
        self.of_memory.push(is_of_memory(c));
        let sort = together::sort_of(self.model, &c.check, outcome);
        self.sorts.push(sort);
        self.a.net.checks.push(Check {
            run: c.run,
            leak_intermittent: if c.looped { 0.2 * c.leak } else { 0.0 },
            leak_fail: if c.looped { 0.8 * c.leak } else { c.leak },
            seen: Some(outcome),
        });
        let folded = self.brief && outcome == Outcome::Pass && is_folded(c);
        for &(mode, strength) in &c.effects {
            let (cause, k) = self.slot[mode as usize];
            if cause == NOWHERE.0 {
                continue;
            }
            let m = &self.model.modes[mode as usize];
            let (intermittent, fail) = split(self.model, c, mode, strength);
            let modes = &mut self.a.net.causes[cause].modes;
            let effect = Effect {
                check,
                intermittent,
                fail,
            };
            // One that comes and goes from run to run has what it did in each to itself.
            if folded && modes[k].shows.is_none() {
                self.a.folded.push(Folded {
                    cause,
                    mode,
                    effect,
                    at: k,
                });
                continue;
            }
            modes[k].effects.push(effect);
            // An owner complains of what comes and goes whether or not it acts today.
            let idle = self.one_run && m.flaky.is_some() && c.check == COMPLAINT;
            if let Some(idle) = modes.get_mut(k + 1).filter(|_| idle) {
                idle.effects.push(effect);
            }
        }
        check
    }

    fn about_unit(&mut self, unit: usize, fine: f64, faulty: f64) {
        let cause = &mut self.a.net.causes[self.occupant[unit]];
        cause.likelihood_fine *= fine;
        for mode in &mut cause.modes {
            mode.likelihood *= faulty;
        }
    }

    fn about_modes(&mut self, unit: usize, modes: &[ModeId], without: f64, with: f64) {
        let at = self.occupant[unit];
        let cause = &mut self.a.net.causes[at];
        cause.likelihood_fine *= without;
        for (mode, id) in cause.modes.iter_mut().zip(&self.a.modes[at]) {
            mode.likelihood *= if modes.contains(id) { with } else { without };
        }
    }

    fn remedy(&mut self, reading: usize, units: &[Redone], cured: Option<bool>) {
        let before = self.occupant.clone();
        for Redone { unit, became } in units {
            match became {
                Became::Renewed(bad) => self.renew(*unit, *bad),
                Became::Refitted { left, only } => self.refit(*unit, *left, only.as_deref()),
            }
        }
        let doubt = self.doubts(units, &before);
        let failed = std::mem::take(&mut self.failed);
        // Not said: what failed before speaks of the old part, what the next run shows of the new one.
        let Some(cured) = cured else { return };
        for (at, old, c) in failed {
            if cured {
                let id = self.add_check(&c, Outcome::Pass);
                self.a.checks[reading].push(id);
            } else {
                // The same reading again, with the new part in: it takes the place of the old one.
                let mut again = c.clone();
                self.only_after_the_old(&mut again, &doubt);
                let id = self.add_check(&again, again.outcome);
                self.a.net.checks[old].seen = None;
                self.a.checks[at].push(id);
                self.failed.push((at, id, again));
            }
        }
    }

    /// The parts that were put in new, each with the strengths that its old one had: mode by mode its prior.
    fn doubts(&self, units: &[Redone], before: &[usize]) -> BTreeMap<usize, Vec<(ModeId, f64)>> {
        let mut out = BTreeMap::new();
        for &Redone { unit, .. } in units {
            let old = before[unit];
            if self.occupant[unit] == old {
                continue;
            }
            let cause = &self.a.net.causes[old];
            let prior = |m: &Mode| {
                let settings = 0..self.a.net.settings();
                let sum = |s| self.a.net.setting_prior(s) * m.prior.get(s).copied().unwrap_or(0.0);
                m.likelihood * settings.map(sum).sum::<f64>()
            };
            let bad: f64 = cause.modes.iter().map(prior).sum();
            let whole = bad + cause.likelihood_fine * (1.0 - bad).max(0.0);
            let modes = self.a.modes[old].iter().zip(&cause.modes);
            // A part that had come from another place acts by the modes of the place where it was.
            let from = self.model.units[self.a.instances[old].unit].modes.start;
            let here = self.model.units[unit].modes.start;
            let at_place = |id: ModeId| id - from + here;
            let each =
                modes.map(|(&id, m)| (at_place(id), prior(m) / whole.max(f64::MIN_POSITIVE)));
            out.insert(unit, each.collect());
        }
        out
    }

    /// What failed before a part was renewed fails still. If the new part is to be the reason now, the old one must have been
    /// the reason before: nothing else is taken to have come and gone between. So through a new part the reading counts
    ///
    /// s(new) · Σ over modes of the old part of P(mode) · s(mode)
    ///
    /// and through everything else as it did: a part that was renewed without a change is cleared, not accused.
    fn only_after_the_old(
        &self,
        c: &mut CheckReading,
        doubts: &BTreeMap<usize, Vec<(ModeId, f64)>>,
    ) {
        for (&unit, old) in doubts {
            let strength = |mode: ModeId| {
                let effect = c.effects.iter().find(|e| e.0 == mode);
                effect.map_or(0.0, |e| e.1)
            };
            let before: f64 = old.iter().map(|&(m, p)| p * strength(m)).sum();
            for e in &mut c.effects {
                if self.model.modes[e.0 as usize].unit as usize == unit {
                    e.1 *= before.min(1.0);
                }
            }
        }
    }

    /// Parts were moved and the fault went along; two that changed places act there from now on.
    fn moved(
        &mut self,
        reading: usize,
        went: &CheckReading,
        exchanged: Option<(usize, usize)>,
        refitted: &[(usize, f64)],
    ) {
        let id = self.add_check(went, Outcome::Fail);
        self.a.checks[reading].push(id);
        for &(unit, left) in refitted {
            self.refit(unit, left, None);
        }
        let Some((one, other)) = exchanged else {
            return;
        };
        // What failed before is said of the parts where they were, and what came out does not fit its place any longer.
        self.failed.clear();
        for unit in [one, other] {
            self.came_out.remove(&unit);
        }
        let modes = |unit: usize| self.model.units[unit].modes.clone();
        for (x, y) in modes(one).zip(modes(other)) {
            self.slot.swap(x as usize, y as usize);
        }
        let (first, second) = (self.occupant[one], self.occupant[other]);
        (self.a.place[first], self.a.place[second]) = (other, one);
        self.occupant.swap(one, other);
    }

    /// The parts that came out last are in again. What failed with them in and was not cured since fails with them again.
    fn put_back(&mut self, parts: &[usize], refitted: &[(usize, f64)]) {
        for unit in parts {
            let Some(old) = self.came_out.get_mut(unit).and_then(Vec::pop) else {
                continue;
            };
            self.occupant[*unit] = old.cause;
            let modes = self.model.units[*unit].modes.clone();
            for (mode, slot) in modes.zip(old.slots) {
                self.slot[mode as usize] = slot;
            }
            for (at, _, c) in &mut self.failed {
                if let Some((_, before)) = old.failed.iter().find(|f| f.0 == *at) {
                    *c = before.clone();
                }
            }
        }
        for &(unit, left) in refitted {
            self.refit(unit, left, None);
        }
    }

    /// Contacts cleaned, joints made anew: each fault that they may have is still there with probability `left`, or over. So each
    /// mode is split in two, exactly: the one shows in what is read from now on, the other only in what was read before. `only`
    /// these modes, if not all.
    fn refit(&mut self, unit: usize, left: f64, only: Option<&[ModeId]>) {
        let at = self.occupant[unit];
        let (cause, ids) = (&mut self.a.net.causes[at], &mut self.a.modes[at]);
        for k in 0..ids.len() {
            if cause.modes[k].past || only.is_some_and(|o| !o.contains(&ids[k])) {
                continue;
            }
            let mut over = cause.modes[k].clone();
            over.past = true;
            over.prior.iter_mut().for_each(|p| *p *= 1.0 - left);
            cause.modes[k].prior.iter_mut().for_each(|p| *p *= left);
            let folded: Vec<Folded> = (self.a.folded.iter())
                .filter(|f| f.cause == at && f.at == k)
                .map(|f| Folded {
                    at: ids.len(),
                    ..*f
                })
                .collect();
            self.a.folded.extend(folded);
            ids.push(ids[k]);
            cause.modes.push(over);
        }
    }

    /// A new part in the place of the old one, with its own small risk of being bad.
    fn renew(&mut self, unit: usize, bad: f64) {
        let slot = |m: ModeId| self.slot[m as usize];
        let old = CameOut {
            cause: self.occupant[unit],
            slots: self.model.units[unit].modes.clone().map(slot).collect(),
            failed: self.failed.iter().map(|f| (f.0, f.2.clone())).collect(),
        };
        self.came_out.entry(unit).or_default().push(old);
        let fitted = self.a.instances.iter().filter(|i| i.unit == unit).count();
        let modes: Vec<ModeId> = self.model.units[unit]
            .modes
            .clone()
            .filter(|&m| self.model.modes[m as usize].rate > 0.0)
            .collect();
        let total: f64 = modes
            .iter()
            .map(|&m| self.model.modes[m as usize].rate)
            .sum();
        let settings = self.a.net.settings();
        let share = |m: &ModeId| bad * self.model.modes[*m as usize].rate / total;
        let each = modes.iter().map(|m| (*m, vec![share(m); settings]));
        self.add(Instance { unit, fitted }, each);
    }
}
