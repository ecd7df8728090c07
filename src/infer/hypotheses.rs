//! The most probable joint states, in order, with the share of the probability they cover.
//!
//! The states are split into parts. Of a part, an upper bound of its probability is known; the part with the
//! largest is opened: its exact probability and marginals are summed (one run of the plan with the other states
//! taken out), the state made of the most probable mode of each cause becomes a hypothesis with its own exact
//! probability, and the rest is split by the first cause in which it differs (after Lawler, A procedure for computing
//! the k best solutions, Management Science 18, 1972, from memory). The probability of such a part is at most that of
//! its parent times the probability that this cause differs. A hypothesis that reaches the head of the queue is
//! therefore at least as probable as everything not listed yet.

use std::cmp::Ordering;
use std::collections::BinaryHeap;
use std::rc::Rc;

use super::enumerate::bound;
use super::fold::{Folded, Seen, fold};
use super::network::{CauseId, Network};
use super::order::Vars;
use super::plan::Plan;
use super::posterior::{InferError, Limits, make_plan, posterior};
use super::run::{Keep, Problem};
use super::solve::{Solved, solve};
use super::validate::validate;
use super::wide::{Num, Wide};

/// A joint state of the causes.
#[derive(Debug, Clone, PartialEq)]
pub struct Hypothesis {
    /// The causes at fault, each with its mode, ascending; all others are fine.
    pub active: Vec<(CauseId, usize)>,
    /// P(exactly this | readings), the common causes summed out.
    pub probability: f64,
}

/// The most probable joint states.
#[derive(Debug, Clone, PartialEq)]
pub struct Hypotheses {
    /// In falling order of probability.
    pub list: Vec<Hypothesis>,
    /// Sum of their probabilities.
    pub covered: f64,
    /// As [`super::network::Posterior::unexplored_mass`], of the total that the probabilities are relative to.
    pub unexplored_mass: f64,
}

/// The most probable joint states of all causes, until `mass` is covered or `most` are listed (or
/// `limits.max_steps` parts were opened).
///
/// # Errors
/// As [`posterior`].
pub fn leading_hypotheses(
    net: &Network,
    limits: &Limits,
    mass: f64,
    most: usize,
) -> Result<Hypotheses, InferError> {
    let all: Vec<CauseId> = (0..net.causes.len()).collect();
    leading_hypotheses_of(net, limits, &all, mass, most)
}

/// The most probable joint states of some of the causes; the others are summed out (their faults are not in
/// [`Hypothesis::active`], and a hypothesis says nothing of them).
///
/// # Errors
/// As [`posterior`]; [`InferError::Invalid`] also when a cause does not exist.
pub fn leading_hypotheses_of(
    net: &Network,
    limits: &Limits,
    causes: &[CauseId],
    mass: f64,
    most: usize,
) -> Result<Hypotheses, InferError> {
    validate(net)?;
    if let Some(cause) = causes.iter().find(|&&c| c >= net.causes.len()) {
        return Err(InferError::Invalid(vec![format!(
            "cause {cause} does not exist"
        )]));
    }
    let seen: Vec<Seen> = net.checks.iter().map(Seen::of).collect();
    let folded = fold(net, &seen);
    let vars = Vars::new(&folded);
    let plan = make_plan(&vars, limits, net.settings()).ok();
    let search = Search {
        net,
        limits,
        folded: &folded,
        vars: &vars,
        plan: plan.as_ref(),
        causes,
    };
    let (total, unexplored_mass) = match &plan {
        Some(_) => (
            search.open(&[]).ok_or(InferError::Impossible)?.evidence,
            0.0,
        ),
        None => {
            let all = posterior(net, limits)?;
            (Wide::exp(all.log_evidence), all.unexplored_mass)
        }
    };
    Ok(search.run(total, unexplored_mass, mass, most))
}

/// What all parts share.
struct Search<'p> {
    net: &'p Network,
    limits: &'p Limits,
    folded: &'p Folded,
    vars: &'p Vars,
    plan: Option<&'p Plan>,
    causes: &'p [CauseId],
}

/// A part that was opened: its restrictions, then the causes in the order they are split by, each with the mode of
/// the hypothesis.
struct Opened {
    keep: Vec<Keep>,
    split: Vec<(CauseId, Option<usize>)>,
}

/// What the queue holds.
enum Item {
    /// A state with its exact probability.
    State(Vec<(CauseId, usize)>),
    /// The states of an opened part that agree with its hypothesis in the first so many causes and differ in the
    /// next; `None` for all states.
    Part(Option<(Rc<Opened>, usize)>),
}

struct Queued {
    bound: Wide,
    age: usize,
    item: Item,
}

impl PartialEq for Queued {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}
impl Eq for Queued {}
impl PartialOrd for Queued {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Queued {
    fn cmp(&self, other: &Self) -> Ordering {
        let by_bound = if self.bound.less(other.bound) {
            Ordering::Less
        } else if other.bound.less(self.bound) {
            Ordering::Greater
        } else {
            Ordering::Equal
        };
        by_bound.then(other.age.cmp(&self.age))
    }
}

impl Search<'_> {
    fn run(&self, total: Wide, unexplored_mass: f64, mass: f64, most: usize) -> Hypotheses {
        let mut found = Hypotheses {
            list: Vec::new(),
            covered: 0.0,
            unexplored_mass,
        };
        let mut queue = BinaryHeap::new();
        let mut age = 0;
        let mut opened = 0;
        queue.push(Queued {
            bound: total,
            age,
            item: Item::Part(None),
        });
        while found.covered < mass && found.list.len() < most && opened < self.limits.max_steps {
            let Some(Queued { bound, item, .. }) = queue.pop() else {
                break;
            };
            let keep = match item {
                Item::State(active) => {
                    let probability = bound.over(total).to_f64().min(1.0);
                    found.covered = (found.covered + probability).min(1.0);
                    found.list.push(Hypothesis {
                        active,
                        probability,
                    });
                    continue;
                }
                Item::Part(None) => Vec::new(),
                Item::Part(Some((opened, at))) => restrictions(&opened, at),
            };
            opened += 1;
            let Some(part) = self.open(&keep) else {
                continue;
            };
            for (bound, item) in self.split(keep, &part) {
                age += 1;
                queue.push(Queued { bound, age, item });
            }
        }
        found
    }

    /// The probability of a part (an upper bound beyond the reach of an exact sum) and the marginals in it.
    fn open(&self, keep: &[Keep]) -> Option<Solved> {
        let (net, folded, vars) = (self.net, self.folded, self.vars);
        match self.plan {
            Some(plan) => solve(Problem {
                net,
                folded,
                vars,
                plan,
                keep,
            }),
            None => bound(net, folded, self.limits, keep).map(|cell| cell.upper),
        }
    }

    /// The hypothesis of a part and the parts that are left of it.
    fn split(&self, keep: Vec<Keep>, part: &Solved) -> Vec<(Wide, Item)> {
        let mut causes: Vec<(f64, CauseId, Option<usize>)> = self
            .causes
            .iter()
            .map(|&cause| leading_mode(part, cause))
            .collect();
        causes.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        let mut exactly = keep.clone();
        exactly.extend(causes.iter().map(|&(_, cause, mode)| Keep {
            cause,
            mode,
            only: true,
        }));
        let mut items = Vec::new();
        let mut active: Vec<(CauseId, usize)> = causes
            .iter()
            .filter_map(|&(_, cause, mode)| mode.map(|m| (cause, m)))
            .collect();
        active.sort_unstable();
        if let Some(state) = self.open(&exactly) {
            items.push((state.evidence, Item::State(active)));
        }
        let split = causes
            .iter()
            .map(|&(_, cause, mode)| (cause, mode))
            .collect();
        let opened = Rc::new(Opened { keep, split });
        for (at, &(differs, _, _)) in causes.iter().enumerate().filter(|(_, c)| c.0 > 0.0) {
            // A little more for rounding, so that the bound stays one.
            let bound = part
                .evidence
                .times(Wide::new((differs * (1.0 + 1e-9)).min(1.0)));
            items.push((bound, Item::Part(Some((Rc::clone(&opened), at)))));
        }
        items
    }
}

/// The most probable mode (or fine) of a cause, and the probability of the others.
fn leading_mode(part: &Solved, cause: CauseId) -> (f64, CauseId, Option<usize>) {
    let modes = &part.modes[cause];
    let at_fault: f64 = modes.iter().sum();
    let mut best = (1.0 - at_fault, None);
    for (m, &p) in modes.iter().enumerate() {
        if p > best.0 {
            best = (p, Some(m));
        }
    }
    let others = match best.1 {
        None => at_fault,
        Some(m) => {
            let other_modes: f64 = modes
                .iter()
                .enumerate()
                .filter(|(k, _)| *k != m)
                .map(|(_, p)| p)
                .sum();
            // Where 'fine' is all but impossible its probability is rounding; it is kept, so the part is looked at.
            other_modes + (1.0 - at_fault).max(1e-15)
        }
    };
    (others, cause, best.1)
}

/// The states that agree in the first `at` causes and differ in the next.
fn restrictions(opened: &Opened, at: usize) -> Vec<Keep> {
    let mut keep = opened.keep.clone();
    keep.extend(opened.split[..at].iter().map(|&(cause, mode)| Keep {
        cause,
        mode,
        only: true,
    }));
    let (cause, mode) = opened.split[at];
    keep.push(Keep {
        cause,
        mode,
        only: false,
    });
    keep
}
