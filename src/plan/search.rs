//! The search: every step and every outcome to a growing depth, closed by the simple policies.

use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hasher};
use std::time::Instant;

use super::model::{Act, Model, State};
use super::problem::{Options, StepId};

/// Plans are taken as equally dear when they differ by less than this share.
pub(super) const TIE: f64 = 1e-9;

/// What is known of a state.
#[derive(Clone, Copy)]
struct Known {
    /// The best plan found costs this.
    minutes: f64,
    /// Looked ahead so far.
    depth: u8,
    /// Nothing can be better.
    exact: bool,
}

/// What the search found for one way to go on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Way {
    /// The step; `None`: stop.
    pub step: Option<StepId>,
    /// Minutes of the best plan found that begins so.
    pub minutes: f64,
    /// Whether no plan that begins so is better.
    exact: bool,
}

/// All ways to go on, with the best first.
pub(super) struct Decision {
    /// By minutes, then in the order of the steps, stopping last.
    pub ways: Vec<Way>,
    /// Whether the first is proven to be best.
    pub exact: bool,
    /// Steps looked ahead throughout.
    pub depth: u8,
}

/// Hashes a key that is a fingerprint already.
#[derive(Default)]
pub(super) struct Fingerprint(u64);

impl Hasher for Fingerprint {
    fn finish(&self) -> u64 {
        self.0
    }
    fn write(&mut self, bytes: &[u8]) {
        bytes
            .iter()
            .for_each(|&b| self.0 = self.0.rotate_left(8) ^ u64::from(b));
    }
    fn write_u128(&mut self, key: u128) {
        self.0 = key as u64;
    }
}

pub(super) struct Search<'m, 'a> {
    model: &'m Model<'a>,
    known: HashMap<u128, Known, BuildHasherDefault<Fingerprint>>,
    spent: u64,
    limit: u64,
    deadline: Option<Instant>,
    late: bool,
    /// States looked at.
    pub states: u64,
}

impl<'m, 'a> Search<'m, 'a> {
    pub fn new(model: &'m Model<'a>) -> Self {
        Self {
            model,
            known: HashMap::default(),
            spent: 0,
            limit: 0,
            deadline: None,
            late: false,
            states: 0,
        }
    }

    /// Compares all ways to go on from here, deeper and deeper until the best is proven, the effort is spent
    /// or the time is up.
    pub fn decide(&mut self, state: &State, options: &Options, effort: u64) -> Decision {
        self.limit = self.spent.saturating_add(effort);
        self.deadline = options.time.map(|time| Instant::now() + time);
        self.late = false;
        let mut ways = self.ways(state);
        let nothing = || Act {
            minutes: 0.0,
            branches: Vec::new(),
        };
        let act = |way: &Way| way.step.map_or_else(nothing, |s| self.model.act(state, s));
        let acts: Vec<Act> = ways.iter().map(act).collect();
        let mut order: Vec<usize> = (0..ways.len()).collect();
        let (mut exact, mut reached) = (false, 0);
        for depth in 1..=options.depth.max(1) {
            let complete = self.deepen(&mut ways, &acts, &order, depth);
            order.sort_by(|&a, &b| ways[a].minutes.total_cmp(&ways[b].minutes).then(a.cmp(&b)));
            let best = order.first().map_or(0.0, |&i| ways[i].minutes);
            let out =
                |(way, act): (&Way, &Act)| way.exact || self.model.lower_after(act) > above(best);
            exact = complete && ways.iter().zip(&acts).all(out);
            reached = if complete { depth } else { reached };
            if exact || self.exhausted() {
                break;
            }
        }
        // Ties with the best go to the earlier step.
        let best = order.first().map_or(0.0, |&i| ways[i].minutes);
        let tied = order.partition_point(|&i| ways[i].minutes <= above(best));
        order[..tied].sort_unstable();
        Decision {
            ways: order.into_iter().map(|i| ways[i]).collect(),
            exact,
            depth: reached,
        }
    }

    /// Every way to go on: each step of use that is allowed, and stopping.
    fn ways(&self, state: &State) -> Vec<Way> {
        let mut ways: Vec<Way> = Vec::new();
        if !self.model.identified(state) {
            ways.extend(self.model.moves(state).map(|step| Way {
                step: Some(step),
                minutes: f64::INFINITY,
                exact: false,
            }));
        }
        ways.extend(self.model.stop().map(|stop| Way {
            step: None,
            minutes: stop,
            exact: true,
        }));
        ways
    }

    /// Looks one step deeper than before along every way that can still be best; returns whether the effort
    /// sufficed.
    fn deepen(&mut self, ways: &mut [Way], acts: &[Act], order: &[usize], depth: u8) -> bool {
        for &i in order {
            if ways[i].exact {
                continue;
            }
            if depth > 1 && self.exhausted() {
                return false;
            }
            let best = ways
                .iter()
                .map(|way| way.minutes)
                .fold(f64::INFINITY, f64::min);
            if depth > 1 && self.model.lower_after(&acts[i]) > above(best) {
                continue;
            }
            let (mut minutes, mut exact) = (acts[i].minutes, true);
            for branch in &acts[i].branches {
                if let Some(next) = &branch.state {
                    let found = self.value(next, depth - 1);
                    minutes += branch.probability * found.minutes;
                    exact &= found.exact;
                }
            }
            ways[i].minutes = ways[i].minutes.min(minutes);
            ways[i].exact = exact;
        }
        depth == 1 || !self.exhausted()
    }

    fn exhausted(&mut self) -> bool {
        self.late = self.late
            || self
                .deadline
                .is_some_and(|deadline| Instant::now() >= deadline);
        self.late || self.spent >= self.limit
    }

    /// Minutes of the best plan found from here, looking so many steps ahead.
    fn value(&mut self, state: &State, depth: u8) -> Known {
        let key = self.model.key(state);
        let known = match self.known.get(&key) {
            Some(&known) => known,
            None => self.estimate(key, state),
        };
        if known.exact || known.depth >= depth || self.exhausted() {
            return known;
        }
        let mut best = Known {
            depth,
            exact: true,
            ..known
        };
        let lower = self.model.lower(&state.belief);
        let model = self.model;
        for step in model.moves(state) {
            if self.exhausted() {
                break;
            }
            // An observation leaves the bound as it is in the mean; only a remedy needs its branches for it.
            let cost = self.model.cost(state.power, step);
            if !self.model.steps[step].remedy && cost + lower >= best.minutes {
                continue;
            }
            self.try_step(state, step, depth, &mut best);
        }
        if self.exhausted() {
            best.exact = false;
            best.depth = known.depth;
        }
        self.known.insert(key, best);
        best
    }

    /// Follows one step; improves `best` if it turns out better.
    fn try_step(&mut self, state: &State, step: StepId, depth: u8, best: &mut Known) {
        let act = self.model.act(state, step);
        self.spent += (act.branches.len() * state.belief.len()) as u64 + 4;
        let mut bound = self.model.lower_after(&act);
        if bound >= best.minutes {
            return;
        }
        let mut exact = true;
        for branch in &act.branches {
            let Some(next) = &branch.state else { continue };
            if self.exhausted() {
                best.exact = false;
                return;
            }
            let found = self.value(next, depth - 1);
            bound += branch.probability * (found.minutes - self.model.lower(&next.belief));
            exact &= found.exact;
            if bound >= best.minutes {
                break;
            }
        }
        // A step that is out by exact values is out for good; by estimates, a deeper look may bring it back.
        best.exact &= exact;
        best.minutes = best.minutes.min(bound);
    }

    /// First knowledge of a state: its simple policies, and whether they meet the lower bound.
    fn estimate(&mut self, key: u128, state: &State) -> Known {
        self.states += 1;
        let mut effort = 0;
        let minutes = self.model.simple(state, &mut effort);
        self.spent += effort;
        let lower = self.model.lower(&state.belief);
        let exact = minutes <= above(lower) || state.open == 0 || self.model.identified(state);
        let known = Known {
            minutes,
            depth: 0,
            exact,
        };
        self.known.insert(key, known);
        known
    }
}

/// A little above a number of minutes: what still counts as a tie.
pub(super) fn above(minutes: f64) -> f64 {
    minutes + TIE * minutes.abs() + 1e-12
}
