//! The short way for nearly all machines: one run or two, parts renewed or contacts refitted on the way, few readings that need an
//! explanation.
//!
//! No network is put together: a passing reading is a factor on the modes that it touches, and what is left goes through
//! [`lattice`]. The result holds the causes that may be listed, and no others.

mod columns;
mod course;
mod keys;
mod marks;

pub(super) use columns::Columns;

use super::network::{Assembled, Instance, Priors};
use super::{LISTED, together};
use crate::faultmap::model::{BoardModel, ModeId};
use crate::infer::lattice::{self, Causes, MOST_READINGS, Row, SETTINGS};
use crate::infer::network::{Cause, Mode, Network, Outcome, Posterior};
use crate::observe::Became;
use crate::observe::{Evidence, Observed, Reading};
use crate::prior::common::CommonTable;
use course::{Change, Course, Item};
use marks::{Marks, Part, Parts, Weight, bears};

/// Probes from which on their readings hang together (see [`together`]).
const PROBES: usize = 3;
/// Most runs: a fault that comes and goes is, in each of them, there or not.
const MOST_RUNS: usize = 2;

/// What the short way found.
pub(super) struct Lean<'a> {
    pub(super) assembled: Assembled,
    pub(super) posterior: Posterior,
    course: Course<'a>,
}

/// Whether the readings of these checks may be taken so.
fn suits(observed: &Observed, common: &CommonTable) -> bool {
    let other = |r: &Reading| {
        !matches!(
            r.evidence,
            Evidence::Check(_) | Evidence::Unit { .. } | Evidence::Remedy { .. }
        )
    };
    observed.runs <= MOST_RUNS
        && !observed.readings.iter().any(other)
        && common.settings().len() == SETTINGS
}

/// The same once it is known what is left of them.
fn few(items: &[Item], runs: usize) -> bool {
    let probe = |i: &&Item| together::sort(&i.reading.check) == together::Sort::Probe;
    let seen = || items.iter().filter(|i| i.seen);
    items.iter().all(|i| i.reading.run < runs)
        && seen().filter(|i| i.outcome != Outcome::Pass).count() <= MOST_READINGS
        && seen().filter(probe).count() < PROBES
}

/// A unit, or what was in its place before, with where it is in the sum.
struct OfUnit {
    unit: usize,
    fitted: usize,
    what: What,
    /// P(at fault), without the shares of its modes, by setting.
    at: Row,
    /// Readings about it alone.
    alone: (f64, f64),
    place: Place,
}

/// Which modes stand for it.
#[derive(Clone, Copy)]
enum What {
    /// Those of the board.
    Plain,
    /// A part that was taken out.
    CameOut,
    /// A part that was put in, with the sum of the rates of its modes.
    PutIn(f64),
    /// Contacts or joints that were put right, but for this probability.
    Refitted(f64),
}

/// Where a unit is in the sum.
enum Place {
    /// This one among the causes that touch a reading that did not pass; the weight of those of its modes that touch none.
    Live(usize, Row),
    /// It touches none: its weight, fine or not, in each setting.
    Outside(Row),
}

/// The sum as it is put together.
struct Sum<'a> {
    model: &'a BoardModel,
    priors: &'a Priors,
    course: &'a Course<'a>,
    marks: Marks<'a>,
    causes: Causes,
    /// The weight of each setting from what touches no reading that did not pass.
    outer: Row,
    units: Vec<OfUnit>,
    /// Room for the parts of a unit.
    parts: Parts,
    /// Room for a number for each state of a unit.
    scales: Vec<f64>,
}

/// The ranking of a machine, as [`super::brief`] needs it. `None` when the machine asks for more.
pub(super) fn lean<'a>(
    model: &'a BoardModel,
    observed: &'a Observed,
    common: &CommonTable,
    priors: &Priors,
) -> Option<Lean<'a>> {
    if !suits(observed, common) {
        return None;
    }
    let course = Course::of(model, observed, common, priors)?;
    let runs = observed.runs.max(1);
    if !few(&course.items, runs) {
        return None;
    }
    let mut sum = Sum {
        model,
        priors,
        course: &course,
        marks: Marks::of(model, &course, runs),
        causes: Causes::with_capacity(model.units.len()),
        outer: std::array::from_fn(|s| common.probability(s)),
        units: Vec::with_capacity(model.units.len() + course.changes.len()),
        parts: Parts::default(),
        scales: Vec::new(),
    };
    sum.all();
    let leak = |i: &&Item| {
        let leak = i.reading.leak;
        let (part, fail) = if i.reading.looped {
            (0.2, 0.8)
        } else {
            (0.0, 1.0)
        };
        bears(i.outcome, part * leak, fail * leak)
    };
    let leaks: Vec<(f64, f64)> = sum.marks.failed.iter().map(leak).collect();
    let found = lattice::solve(&leaks, &sum.causes, &sum.outer)?;
    let (assembled, posterior) = sum.told(common, &found);
    Some(Lean {
        assembled,
        posterior,
        course,
    })
}

impl Sum<'_> {
    fn all(&mut self) {
        let became = |unit: usize| {
            let mut all = self.course.changes.iter();
            all.find(|c| c.unit == unit)
        };
        let changed: Vec<Option<&Change>> = match self.course.changes.is_empty() {
            true => Vec::new(),
            false => (0..self.model.units.len()).map(became).collect(),
        };
        for unit in 0..self.model.units.len() {
            let alone = self.course.alone[unit];
            let (what, alone) = match changed.get(unit).copied().flatten() {
                None => (What::Plain, alone),
                Some(change) => match change.became {
                    Became::Renewed(_) => (What::CameOut, change.alone),
                    Became::Refitted { left, .. } => (What::Refitted(left), alone),
                },
            };
            self.add(unit, 0, what, *self.priors.of_unit(unit), alone);
        }
        for change in &self.course.changes {
            if let Became::Renewed(bad) = change.became {
                let (modes, unit) = (&self.model.modes, &self.model.units[change.unit]);
                let total = modes[unit.modes.start as usize..unit.modes.end as usize]
                    .iter()
                    .map(|m| m.rate.max(0.0))
                    .sum();
                let alone = self.course.alone[change.unit];
                let what = What::PutIn(total);
                self.add(change.unit, 1, what, [bad; SETTINGS], alone);
            }
        }
    }

    fn add(&mut self, unit: usize, fitted: usize, what: What, at: Row, alone: (f64, f64)) {
        let mut of = OfUnit {
            unit,
            fitted,
            what,
            at,
            alone,
            place: Place::Outside([1.0; SETTINGS]),
        };
        let range = self.model.units[unit].modes.clone();
        let now = range.start as usize..range.end as usize;
        let before = self.marks.before(unit);
        let untouched = match (what, before) {
            (What::Plain | What::PutIn(_), _) => self.marks.untouched(now),
            (What::CameOut, Some(before)) => self.marks.untouched(before),
            (_, Some(before)) => self.marks.untouched(now) && self.marks.untouched(before),
            (_, None) => self.marks.untouched(now),
        };
        if untouched {
            let weight = self.outside(&of);
            self.outer
                .iter_mut()
                .zip(&weight)
                .for_each(|(o, w)| *o *= w);
            of.place = Place::Outside(weight);
        } else {
            let idle = self.states(&of);
            of.place = Place::Live(self.causes.len() - 1, idle);
        }
        self.units.push(of);
    }

    /// Calls `f` for each mode that something may be in, with what it counts and where it is kept. The prior of a mode is its
    /// share of that of the unit, or a row of its own.
    fn each(&self, of: &OfUnit, mut f: impl FnMut(ModeId, usize, Weight)) {
        let (_, faulty) = of.alone;
        let range = self.model.units[of.unit].modes.clone();
        let before = |m: ModeId| {
            let old = self.marks.before(of.unit).map_or(0, |r| r.start);
            old + (m - range.start) as usize
        };
        for m in range.clone() {
            let weight = |share: f64, past: bool| Weight {
                share,
                left: faulty,
                past,
            };
            let share = match of.what {
                What::PutIn(total) => self.model.modes[m as usize].rate / total,
                _ => self.priors.share(m),
            };
            // A unit without rates has no share that is a number.
            if share.is_nan() || share <= 0.0 {
                continue;
            }
            match of.what {
                What::Plain | What::PutIn(_) => f(m, m as usize, weight(share, false)),
                What::CameOut => f(m, before(m), weight(share, false)),
                What::Refitted(left) => {
                    f(m, m as usize, weight(share * left, false));
                    f(m, before(m), weight(share * (1.0 - left), true));
                }
            }
        }
    }

    /// The prior of a mode that does not go by that of the unit.
    fn own(&self, of: &OfUnit, mode: ModeId) -> Option<&Row> {
        match of.what {
            What::PutIn(_) => None,
            _ => self.priors.own(mode),
        }
    }

    /// The weights of a unit: fine, and in a mode that touches no reading which did not pass. `touched` gets the others.
    fn weights(&self, of: &OfUnit, mut touched: impl FnMut(ModeId, usize, Weight)) -> (Row, Row) {
        // Of modes that go by the prior of the unit the shares are added up first.
        let (mut sum, mut left) = (0.0, 0.0);
        let (mut prior, mut idle) = ([0.0; SETTINGS], [0.0; SETTINGS]);
        self.each(of, |mode, slot, by| {
            let share = by.share;
            let remains = if self.marks.untouched(slot..slot + 1) {
                share * self.marks.left(mode, slot) * by.left
            } else {
                touched(mode, slot, by);
                0.0
            };
            match self.own(of, mode) {
                Some(own) => {
                    plus(&mut prior, own, share);
                    plus(&mut idle, own, remains);
                }
                None => (sum, left) = (sum + share, left + remains),
            }
        });
        plus(&mut prior, &of.at, sum);
        plus(&mut idle, &of.at, left);
        (prior.map(|p| (1.0 - p).max(0.0) * of.alone.0), idle)
    }

    /// The weight of what touches no reading that did not pass.
    fn outside(&self, of: &OfUnit) -> Row {
        let (fine, idle) = self.weights(of, |_, _, _| {});
        std::array::from_fn(|s| fine[s] + idle[s])
    }

    /// Adds the states of a unit, the first that of all that touches no reading which did not pass; gives of that the part at
    /// fault.
    fn states(&mut self, of: &OfUnit) -> Row {
        let mut causes = std::mem::take(&mut self.causes);
        let mut parts = std::mem::take(&mut self.parts);
        let mut scales = std::mem::take(&mut self.scales);
        parts.clear();
        let (fine, mut idle) = self.weights(of, |mode, slot, by| {
            self.marks.parts(mode, slot, by, &mut parts);
        });
        causes.begin();
        let first = causes.range(causes.len() - 1).start;
        // Of parts that go by the prior of the unit the shares are added up first.
        scales.clear();
        for part in &parts.list {
            let at = causes.put(&parts.pairs[part.pairs.clone()]);
            let by = part.share * part.left;
            match self.own(of, part.mode) {
                Some(own) if at == first => plus(&mut idle, own, by),
                Some(own) => plus(&mut causes.state_mut(at).weight, own, by),
                None => {
                    scales.resize(scales.len().max(at - first + 1), 0.0);
                    scales[at - first] += by;
                }
            }
        }
        for (at, &by) in scales.iter().enumerate() {
            match at {
                0 => plus(&mut idle, &of.at, by),
                _ => plus(&mut causes.state_mut(first + at).weight, &of.at, by),
            }
        }
        causes.state_mut(first).weight = std::array::from_fn(|s| fine[s] + idle[s]);
        (self.causes, self.parts, self.scales) = (causes, parts, scales);
        idle
    }

    /// P(at fault | readings).
    fn at_fault(&self, of: &OfUnit, found: &lattice::Found) -> f64 {
        match &of.place {
            Place::Outside(weight) => self.p_outside(of, &outside_worth(weight, found)),
            Place::Live(cause, idle) => {
                let worth = &found.worth[self.causes.range(*cause)];
                let states = self.causes.of(*cause).iter().zip(worth).skip(1);
                let rest: f64 = states.map(|(s, worth)| dot(&s.weight, worth)).sum();
                dot(idle, &worth[0]) + rest
            }
        }
    }

    /// All parts of a unit, each with its posterior.
    fn posteriors(&self, of: &OfUnit, found: &lattice::Found) -> (Vec<Part>, Vec<f64>) {
        let mut parts = self.marks.room(of.unit);
        self.each(of, |mode, slot, by| {
            self.marks.parts(mode, slot, by, &mut parts);
        });
        let outside;
        let worth = match &of.place {
            Place::Outside(weight) => {
                outside = [outside_worth(weight, found)];
                &outside[..]
            }
            Place::Live(cause, _) => &found.worth[self.causes.range(*cause)],
        };
        // What the prior of the unit is worth in each state.
        let usual: Vec<f64> = worth.iter().map(|worth| dot(&of.at, worth)).collect();
        let p = |part: &Part| {
            let at = match &of.place {
                Place::Outside(_) => 0,
                Place::Live(cause, _) => {
                    let pairs = &parts.pairs[part.pairs.clone()];
                    let mut states = self.causes.of(*cause).iter();
                    let state = states.position(|s| self.causes.pairs(s) == pairs);
                    state.expect("it was put together of these parts")
                }
            };
            let own = self.own(of, part.mode);
            let sum = own.map_or(usual[at], |own| dot(own, &worth[at]));
            (sum * part.share * part.left).min(1.0)
        };
        let each = parts.list.iter().map(p).collect();
        (parts.list, each)
    }

    /// Puts down what was found: the causes that may be listed, without a network.
    fn told(&self, common: &CommonTable, found: &lattice::Found) -> (Assembled, Posterior) {
        let mut a = empty(self.course, common);
        let mut modes = Vec::new();
        for of in &self.units {
            if self.at_fault(of, found) < 0.99 * LISTED {
                continue;
            }
            let (list, posterior) = self.posteriors(of, found);
            if posterior.iter().sum::<f64>() < 0.999 * LISTED {
                continue;
            }
            a.instances.push(Instance {
                unit: of.unit,
                fitted: of.fitted,
            });
            a.modes.push(list.iter().map(|p| p.mode).collect());
            a.place.push(of.unit);
            a.current.push(!matches!(of.what, What::CameOut));
            if !self.course.changes.is_empty() {
                a.net.causes.push(over(&list));
            }
            modes.push(posterior);
        }
        let present = |b: usize| -> f64 {
            let with = (0..SETTINGS).filter(|s| s >> b & 1 == 1);
            with.map(|s| found.share[s]).sum::<f64>().min(1.0)
        };
        let passed = self.course.items.iter();
        let passed = passed.filter(|i| i.seen && i.outcome == Outcome::Pass);
        let unleaked: f64 = passed.map(|i| 1.0 - i.reading.leak).product();
        let posterior = Posterior {
            log_evidence: found.evidence.ln() + unleaked.ln(),
            modes,
            common: (0..common.causes().len()).map(present).collect(),
            unexplored_mass: 0.0,
        };
        (a, posterior)
    }

    /// P(at fault | readings) of what touches no reading that did not pass.
    fn p_outside(&self, of: &OfUnit, worth: &Row) -> f64 {
        let mut all = 0.0;
        let usual = dot(&of.at, worth);
        self.each(of, |mode, slot, by| {
            let own = self.own(of, mode);
            let sum = own.map_or(usual, |own| dot(own, worth));
            all += sum * by.share * self.marks.left(mode, slot) * by.left;
        });
        all
    }
}

/// `to += row · by`.
fn plus(to: &mut Row, row: &Row, by: f64) {
    to.iter_mut().zip(row).for_each(|(to, r)| *to += r * by);
}

/// Σ row · worth.
fn dot(row: &Row, worth: &Row) -> f64 {
    row.iter().zip(worth).map(|(r, w)| r * w).sum()
}

/// What a weight of a unit is worth that touches no reading which did not pass.
fn outside_worth(weight: &Row, found: &lattice::Found) -> Row {
    std::array::from_fn(|s| found.share[s] / weight[s].max(f64::MIN_POSITIVE))
}

/// A cause of the result that says of each of its parts whether it was put right, and nothing else.
fn over(parts: &[Part]) -> Cause {
    let mode = |p: &Part| Mode {
        prior: Vec::new(),
        effects: Vec::new(),
        shows: None,
        likelihood: 1.0,
        past: p.past,
    };
    Cause {
        modes: parts.iter().map(mode).collect(),
        likelihood_fine: 1.0,
    }
}

fn empty(course: &Course, common: &CommonTable) -> Assembled {
    Assembled {
        net: Network {
            common: common.causes().iter().map(|c| c.prior).collect(),
            causes: Vec::new(),
            checks: Vec::new(),
        },
        instances: Vec::new(),
        modes: Vec::new(),
        checks: course.checks.clone(),
        place: Vec::new(),
        current: Vec::new(),
        folded: Vec::new(),
    }
}

impl<'a> Lean<'a> {
    /// The result, and what the [columns](Columns::columns) are made of.
    pub(super) fn parts(self) -> ((Assembled, Posterior), Columns<'a>) {
        ((self.assembled, self.posterior), Columns(self.course))
    }
}
