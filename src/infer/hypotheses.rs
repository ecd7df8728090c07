//! The most probable joint states, in order, with the share of the probability they cover.
//!
//! The states are split into parts. Of a part, an upper bound of its probability is known; the part with the
//! largest is opened: its exact probability and marginals are summed (one run of the plan with the other states
//! taken out), the state made of the most probable mode of each cause becomes a hypothesis with its own exact
//! probability, and the rest is split by the first cause in which it differs (after Lawler, A procedure for computing
//! the k best solutions, Management Science 18, 1972, from memory). The probability of such a part is at most that of
//! its parent times the probability that this cause differs. A hypothesis that reaches the head of the queue is
//! therefore at least as probable as everything not listed yet.

use std::cell::RefCell;
use std::cmp::Ordering;
use std::collections::BinaryHeap;
use std::rc::Rc;

use super::enumerate::bound;
use super::fold::{Folded, Seen, fold};
use super::network::{CauseId, Network};
use super::order::Vars;
use super::plan::{Depends, Plan};
use super::posterior::{Evidence, InferError, Limits, make_plan, posterior};
use super::run::{Keep, Problem, Which};
use super::solve::{Solved, Spaces, run_in};
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

/// The most probable sets of causes that explain the failing readings.
#[derive(Debug, Clone, PartialEq)]
pub struct Explanations {
    /// P(readings), which the probabilities are relative to.
    pub evidence: Evidence,
    /// In falling order of probability: the causes in a mode that may explain a failing reading, ascending, and
    /// P(exactly these of the causes asked about | readings). In whatever mode they are is summed out, and so is
    /// every fault that explains nothing.
    pub list: Vec<(Vec<CauseId>, f64)>,
    /// Sum of their probabilities.
    pub covered: f64,
}

/// The most probable sets of causes that explain the failing readings, of those in `causes`; all others are summed out.
///
/// # Errors
/// As [`leading_hypotheses_of`].
pub fn leading_explanations(
    net: &Network,
    limits: &Limits,
    causes: &[CauseId],
    extent: Extent,
) -> Result<Explanations, InferError> {
    let (found, evidence) = search(net, limits, causes, Grain::Explains, extent)?;
    let causes_of = |h: Hypothesis| {
        let causes = h.active.into_iter().map(|(cause, _)| cause);
        (causes.collect(), h.probability)
    };
    Ok(Explanations {
        evidence,
        list: found.list.into_iter().map(causes_of).collect(),
        covered: found.covered,
    })
}

/// What states are told apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Grain {
    /// Every mode.
    Mode,
    /// Modes that may explain a failing reading from all others.
    Explains,
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
    let extent = Extent {
        mass,
        most,
        at_any_rate: true,
    };
    Ok(search(net, limits, causes, Grain::Mode, extent)?.0)
}

/// How far to search.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Extent {
    /// Until this share of the probability is covered,
    pub mass: f64,
    /// or so many are listed.
    pub most: usize,
    /// Also where a sum over the network is not within the limits; else nothing is listed there, and P(readings) alone is told.
    pub at_any_rate: bool,
}

/// The search for either grain, and P(readings).
fn search(
    net: &Network,
    limits: &Limits,
    causes: &[CauseId],
    grain: Grain,
    mut extent: Extent,
) -> Result<(Hypotheses, Evidence), InferError> {
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
    let mut search = Search {
        net,
        limits,
        folded: &folded,
        vars: &vars,
        plan: plan.as_ref(),
        causes,
        grain,
        again: None,
        spaces: RefCell::default(),
    };
    let (total, unexplored_mass, whole) = match &plan {
        Some(plan) => {
            let whole = search.open(&[], true).ok_or(InferError::Impossible)?;
            // From here on only the weights of these causes change.
            search.again = Some(plan.depends_on(causes));
            (whole.evidence, 0.0, Some(whole))
        }
        None => {
            let all = posterior(net, limits)?;
            if !extent.at_any_rate {
                extent.most = 0;
            }
            (Wide::exp(all.log_evidence), all.unexplored_mass, None)
        }
    };
    let evidence = Evidence {
        log: total.ln(),
        unexplored_mass,
    };
    let found = search.run((total, whole), unexplored_mass, extent);
    Ok((found, evidence))
}

/// What all parts share.
struct Search<'p> {
    net: &'p Network,
    limits: &'p Limits,
    folded: &'p Folded,
    vars: &'p Vars,
    plan: Option<&'p Plan>,
    causes: &'p [CauseId],
    grain: Grain,
    /// What depends on the causes: `None` before the first run, which computes everything.
    again: Option<Depends>,
    /// Tables of the last run.
    spaces: RefCell<Spaces>,
}

/// A part that was opened: its restrictions, then the causes in the order they are split by, each with the mode of
/// the hypothesis.
struct Opened {
    keep: Vec<Keep>,
    split: Vec<(CauseId, Which)>,
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
    /// Searches; of the whole its probability is known, and what it is like where it was opened already.
    fn run(
        &self,
        (total, mut whole): (Wide, Option<Solved>),
        unexplored_mass: f64,
        Extent { mass, most, .. }: Extent,
    ) -> Hypotheses {
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
            let Some(part) = whole.take().or_else(|| self.open(&keep, true)) else {
                continue;
            };
            for (bound, item) in self.split(keep, &part) {
                age += 1;
                queue.push(Queued { bound, age, item });
            }
        }
        found
    }

    /// The probability of a part (an upper bound beyond the reach of an exact sum) and, if wanted, the marginals of the
    /// causes in it.
    fn open(&self, keep: &[Keep], marginals: bool) -> Option<Solved> {
        let (net, folded, vars) = (self.net, self.folded, self.vars);
        let Some(plan) = self.plan else {
            return bound(net, folded, self.limits, keep).map(|cell| cell.upper);
        };
        let problem = Problem {
            net,
            folded,
            vars,
            plan,
            keep,
            again: self.again.as_ref(),
        };
        run_in(problem, marginals, &mut self.spaces.borrow_mut())
    }

    fn evidence(&self, keep: &[Keep]) -> Option<Wide> {
        self.open(keep, false).map(|part| part.evidence)
    }

    /// The hypothesis of a part and the parts that are left of it.
    fn split(&self, keep: Vec<Keep>, part: &Solved) -> Vec<(Wide, Item)> {
        let mut causes: Vec<Leading> = (self.causes.iter())
            .map(|&cause| match self.grain {
                Grain::Mode => leading_mode(part, cause),
                Grain::Explains => self.explaining(part, cause),
            })
            .collect();
        causes.sort_by(|a, b| b.others.total_cmp(&a.others).then(a.cause.cmp(&b.cause)));
        let split: Vec<(CauseId, Which)> = causes.iter().map(|l| (l.cause, l.which)).collect();
        let mut exactly = keep.clone();
        exactly.extend(split.iter().map(|&(cause, which)| Keep {
            cause,
            which,
            only: true,
        }));
        let mut items = Vec::new();
        let mut active: Vec<(CauseId, usize)> = causes
            .iter()
            .filter_map(|l| l.mode.map(|m| (l.cause, m)))
            .collect();
        active.sort_unstable();
        if let Some(evidence) = self.evidence(&exactly) {
            items.push((evidence, Item::State(active)));
        }
        let opened = Rc::new(Opened { keep, split });
        for (at, leading) in causes.iter().enumerate().filter(|(_, l)| l.others > 0.0) {
            // A little more for rounding, so that the bound stays one.
            let bound = part
                .evidence
                .times(Wide::new((leading.others * (1.0 + 1e-9)).min(1.0)));
            items.push((bound, Item::Part(Some((Rc::clone(&opened), at)))));
        }
        items
    }

    /// Whether a cause rather explains something or nothing.
    fn explaining(&self, part: &Solved, cause: CauseId) -> Leading {
        let modes = &part.modes[cause];
        let members = self.folded.causes[cause].members.iter();
        let explaining = members.filter(|m| m.explains).filter_map(|m| m.mode);
        let at_fault: f64 = explaining.clone().map(|m| modes[m]).sum::<f64>().min(1.0);
        let yes = at_fault > 0.5;
        let leading = explaining.max_by(|&a, &b| modes[a].total_cmp(&modes[b]));
        Leading {
            cause,
            which: Which::Explains(yes),
            mode: leading.filter(|_| yes),
            // Where one is all but impossible its probability is rounding; it is kept, so the part is looked at.
            others: match yes {
                true => (1.0 - at_fault).max(1e-15),
                false => at_fault,
            },
        }
    }
}

/// What a cause most probably is in a part.
struct Leading {
    cause: CauseId,
    which: Which,
    /// The mode, the most probable of several; `None` for fine or for what explains nothing.
    mode: Option<usize>,
    /// Probability of its other states.
    others: f64,
}

/// The most probable mode (or fine) of a cause, and the probability of the others.
fn leading_mode(part: &Solved, cause: CauseId) -> Leading {
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
    Leading {
        cause,
        which: Which::Mode(best.1),
        mode: best.1,
        others,
    }
}

/// The states that agree in the first `at` causes and differ in the next.
fn restrictions(opened: &Opened, at: usize) -> Vec<Keep> {
    let mut keep = opened.keep.clone();
    keep.extend(opened.split[..at].iter().map(|&(cause, which)| Keep {
        cause,
        which,
        only: true,
    }));
    let (cause, which) = opened.split[at];
    keep.push(Keep {
        cause,
        which,
        only: false,
    });
    keep
}
