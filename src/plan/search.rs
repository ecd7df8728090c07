//! The search: every step and every outcome to a growing depth, closed by the simple policies.

use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hasher};
use std::time::Instant;

use super::model::{Act, Model, State};
use super::problem::{Options, StepId};
use super::rollout::Order;

/// Plans are taken as equally dear when they differ by less than this share.
pub(super) const TIE: f64 = 1e-9;

/// What is known of a state.
#[derive(Clone, Copy)]
struct Known {
    /// The best plan found costs this.
    minutes: f64,
    /// Looked ahead so far along every step.
    wide: u8,
    /// Looked ahead so far along the promising steps.
    narrow: u8,
    /// Whether the simple policies that observe have been tried.
    observed: bool,
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

/// Which steps are followed.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Width {
    Narrow,
    Wide,
}

/// Steps looked ahead.
struct Reached {
    wide: u8,
    narrow: u8,
}

/// Effort of the first turn.
const FIRST_TURN: u64 = 50_000;
/// At the root, looking narrowly follows so many ways.
const NARROW_WAYS: usize = 12;
/// Effort of a step and of an estimate besides going through the belief.
const ACT: u64 = 20;
const ESTIMATE: u64 = 100;

/// The ways to go on from the state in question.
struct Root {
    ways: Vec<Way>,
    acts: Vec<Act>,
    /// By way: what it at least leads to.
    lower: Vec<f64>,
    /// The ways by minutes, then in their order.
    order: Vec<usize>,
    /// Whether the first is proven to be best.
    exact: bool,
}

impl Root {
    fn new(model: &Model, ways: Vec<Way>, state: &State) -> Self {
        let nothing = |minutes| Act {
            minutes,
            branches: Vec::new(),
        };
        let act = |way: &Way| match way.step {
            Some(step) => model.act(state, step),
            None => nothing(way.minutes),
        };
        let acts: Vec<Act> = ways.iter().map(act).collect();
        Self {
            lower: acts.iter().map(|act| model.lower_after(act)).collect(),
            order: (0..ways.len()).collect(),
            exact: ways.is_empty(),
            ways,
            acts,
        }
    }

    /// Takes over the simple policies: a way that begins like one of them is at least as good. So no plan is
    /// worse than them, and following a plan never costs more than it promised.
    fn simple(&mut self, model: &Model, state: &State, effort: &mut u64) {
        let Some(stop) = model.stop() else { return };
        let rank = model.sequence(state, Order::Rank, (stop, Some(stop)), effort);
        let simple = model.simple(state, true, effort);
        for (minutes, first) in [(rank.best, rank.first), (simple.minutes, simple.first)] {
            let same = |way: &&mut Way| way.step.is_some() && way.step == first;
            if minutes < stop
                && let Some(way) = self.ways.iter_mut().find(same)
            {
                way.minutes = way.minutes.min(minutes);
            }
        }
    }

    fn best(&self) -> f64 {
        self.ways
            .iter()
            .map(|way| way.minutes)
            .fold(f64::INFINITY, f64::min)
    }

    fn sort(&mut self) {
        let ways = &self.ways;
        self.order
            .sort_by(|&a, &b| ways[a].minutes.total_cmp(&ways[b].minutes).then(a.cmp(&b)));
        let best = above(self.best());
        self.exact = self
            .ways
            .iter()
            .zip(&self.lower)
            .all(|(way, lower)| way.exact || *lower > best);
    }

    /// Ties with the best go to the earlier step.
    fn decision(mut self, depth: u8) -> Decision {
        let best = above(self.best());
        let tied = self
            .order
            .partition_point(|&i| self.ways[i].minutes <= best);
        self.order[..tied].sort_unstable();
        Decision {
            ways: self.order.iter().map(|&i| self.ways[i]).collect(),
            exact: self.exact,
            depth,
        }
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
    ///
    /// Looking along the promising steps only and looking along every step take turns, for twice the effort
    /// each round. The turns do not depend on `effort`: with more of it the same is done, and then more.
    pub fn decide(&mut self, state: &State, options: &Options, effort: u64) -> Decision {
        let end = self.spent.saturating_add(effort);
        self.deadline = options.time.map(|time| Instant::now() + time);
        self.late = false;
        let mut root = Root::new(self.model, self.ways(state), state);
        root.simple(self.model, state, &mut self.spent);
        let deepest = options.depth.max(1);
        self.glance(&mut root);
        let mut reached = Reached { wide: 1, narrow: 0 };
        let mut turn = FIRST_TURN;
        while !root.exact {
            for width in [Width::Narrow, Width::Wide] {
                self.limit = self.spent.saturating_add(turn).min(end);
                self.take_turn(&mut root, width, &mut reached, deepest);
            }
            let done = reached.wide >= deepest && reached.narrow >= deepest;
            if done || self.late || self.spent >= end {
                break;
            }
            turn = turn.saturating_mul(2);
        }
        root.decision(reached.wide)
    }

    /// Looks deeper in one of the two ways until this turn's effort is spent.
    fn take_turn(&mut self, root: &mut Root, width: Width, reached: &mut Reached, deepest: u8) {
        let depth = match width {
            Width::Narrow => &mut reached.narrow,
            Width::Wide => &mut reached.wide,
        };
        while *depth < deepest && !root.exact {
            let before = self.spent;
            let complete = self.deepen(root, *depth + 1, width);
            if complete {
                *depth += 1;
            }
            if complete && width == Width::Narrow && self.spent == before {
                // Nothing is left to be found along the promising steps.
                *depth = deepest;
            }
            if self.exhausted() {
                return;
            }
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

    /// Looks one step ahead along every way, closed by remedies alone, whatever it takes.
    fn glance(&mut self, root: &mut Root) {
        self.limit = 0;
        (0..root.ways.len()).for_each(|i| self.follow(root, i, 1, Width::Wide));
        root.sort();
    }

    /// Looks so deep along every way that can still be best (narrow: along the best few); returns whether the
    /// effort sufficed.
    fn deepen(&mut self, root: &mut Root, depth: u8, width: Width) -> bool {
        let few = match width {
            Width::Narrow if depth > 1 => NARROW_WAYS,
            _ => usize::MAX,
        };
        let order: Vec<usize> = root.order.iter().copied().take(few).collect();
        for i in order {
            if self.exhausted() {
                break;
            }
            if root.lower[i] <= above(root.best()) {
                self.follow(root, i, depth, width);
            }
        }
        root.sort();
        !self.exhausted()
    }

    fn follow(&mut self, root: &mut Root, way: usize, depth: u8, width: Width) {
        if root.ways[way].exact {
            return;
        }
        let (mut minutes, mut exact) = (root.acts[way].minutes, true);
        for branch in &root.acts[way].branches {
            if let Some(next) = &branch.state {
                let found = self.value(next, depth - 1, width);
                minutes += branch.probability * found.minutes;
                exact &= found.exact;
            }
        }
        let Way { minutes: best, .. } = root.ways[way];
        root.ways[way].minutes = best.min(minutes);
        root.ways[way].exact = exact;
    }

    fn exhausted(&mut self) -> bool {
        self.late = self.late
            || self
                .deadline
                .is_some_and(|deadline| Instant::now() >= deadline);
        self.late || self.spent >= self.limit
    }

    /// Minutes of the best plan found from here, looking so many steps ahead.
    fn value(&mut self, state: &State, depth: u8, width: Width) -> Known {
        let model = self.model;
        let key = model.key(state);
        let known = match self.known.get(&key) {
            Some(&known) => known,
            None => self.estimate(key, state),
        };
        let enough = known.wide >= depth || (width == Width::Narrow && known.narrow >= depth);
        if known.exact || self.exhausted() {
            return known;
        }
        let known = self.observe(key, state, known);
        if known.exact || enough || self.exhausted() {
            return known;
        }
        let mut best = Known {
            exact: true,
            ..known
        };
        match width {
            Width::Wide => {
                best.wide = depth;
                self.try_steps(state, model.moves(state), (depth, width), &mut best);
            }
            Width::Narrow => {
                best.narrow = depth;
                let promising = model.promising(state, &mut self.spent);
                self.try_steps(state, promising.into_iter(), (depth, width), &mut best);
            }
        }
        if self.exhausted() {
            (best.wide, best.narrow) = (known.wide, known.narrow);
        }
        best.exact &= width == Width::Wide && !self.exhausted();
        self.known.insert(key, best);
        best
    }

    fn try_steps(
        &mut self,
        state: &State,
        steps: impl Iterator<Item = StepId>,
        look: (u8, Width),
        best: &mut Known,
    ) {
        let lower = self.model.lower(&state.belief);
        for step in steps {
            if self.exhausted() {
                return;
            }
            // An observation leaves the bound as it is in the mean; only a remedy needs its branches for it.
            let cost = self.model.cost(state.power, step);
            if self.model.steps[step].remedy || cost + lower < best.minutes {
                self.try_step(state, step, look, best);
            }
        }
    }

    /// Follows one step; improves `best` if it turns out better.
    fn try_step(&mut self, state: &State, step: StepId, look: (u8, Width), best: &mut Known) {
        let act = self.model.act(state, step);
        self.spent += (act.branches.len() * state.belief.len()) as u64 + ACT;
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
            let found = self.value(next, look.0 - 1, look.1);
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

    /// First knowledge of a state: the simple policy of remedies, and whether it meets the lower bound.
    fn estimate(&mut self, key: u128, state: &State) -> Known {
        self.states += 1;
        self.spent += ESTIMATE;
        let minutes = self.model.simple(state, false, &mut self.spent).minutes;
        let lower = self.model.lower(&state.belief);
        let exact = minutes <= above(lower) || state.open == 0 || self.model.identified(state);
        let known = Known {
            minutes,
            wide: 0,
            narrow: 0,
            observed: self.model.stop().is_none(),
            exact,
        };
        self.known.insert(key, known);
        known
    }

    /// Tries the simple policies that observe, once.
    fn observe(&mut self, key: u128, state: &State, mut known: Known) -> Known {
        if !known.observed {
            let found = self.model.simple(state, true, &mut self.spent);
            known.minutes = known.minutes.min(found.minutes);
            known.exact = known.minutes <= above(self.model.lower(&state.belief));
            known.observed = true;
            self.known.insert(key, known);
        }
        known
    }
}

/// A little above a number of minutes: what still counts as a tie.
pub(super) fn above(minutes: f64) -> f64 {
    minutes + TIE * minutes.abs() + 1e-12
}
