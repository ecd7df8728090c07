//! What the planner supposes: sets of units that explain what failed, with their probabilities.

use crate::infer::network::{Network, Outcome};
use crate::infer::{
    Explanations, InferError, Limits, leading_explanations, posterior, small_explanations,
};
use crate::observe::Evidence;
use crate::plan::{self, Hypothesis, UnitId};
use crate::rank::Ranking;
use std::collections::BTreeMap;

/// Share of the probability that the hypotheses given to the planner cover, and how many they are at most.
const COVERED: f64 = 0.95;
const HYPOTHESES: usize = 40;

/// Parts of the hypotheses that are opened at most. Each costs a sum over the board, and the sums grow with the failing
/// readings: with many of them few are looked at, so that a step is proposed at once, and sets of one or two causes are added.
const PARTS: usize = 60;
const MANY_FAILING: usize = 5;
const PARTS_OF_MANY: usize = 4;

/// Causes that the hypotheses are made of: the likeliest, down to this probability.
const CAUSES: usize = 24;
const LEAST: f64 = 0.004;

/// With nothing at fault any more as probably as this, the machine is to be proved rather than repaired.
const NOTHING_LEFT: f64 = 0.75;

/// What may be behind the failing readings.
pub(crate) enum Suppositions {
    /// These, each with its probability, what it covers of all in which something is at fault.
    Faults(Vec<Supposed>),
    /// Most probably nothing is at fault any more.
    NothingLeft,
    /// None can be named.
    None,
}

/// The leading explanations of a ranking.
pub(crate) fn suppositions(ranking: &Ranking) -> Suppositions {
    if cured_since(ranking) {
        return Suppositions::NothingLeft;
    }
    let many = failing(ranking) > MANY_FAILING;
    let accused = leading_causes(ranking, CAUSES);
    let causes: Vec<usize> = accused.keys().copied().collect();
    let rest = without_the_unlikely(ranking);
    let left = rest.left;
    let found = match many {
        false => leading(&rest, &causes, PARTS),
        true => of_many(&rest, &causes),
    };
    let Ok(mut leading) = found else {
        return Suppositions::None;
    };
    leading.list.iter_mut().for_each(|h| h.1 *= left);
    faulty_ones(ranking, &accused, &leading)
}

/// Whether a remedy cured the machine and nothing failed after it: what was refitted may still be called at fault, but
/// there is nothing left to put right.
fn cured_since(ranking: &Ranking) -> bool {
    let readings = &ranking.observed.readings;
    let cured = |e: &Evidence| {
        matches!(
            e,
            Evidence::Remedy {
                cured: Some(true),
                ..
            }
        )
    };
    let failed = |e: &Evidence| match e {
        Evidence::Check(c) => c.outcome != Outcome::Pass,
        Evidence::Remedy { cured, .. } => *cured == Some(false),
        Evidence::Moved { .. } | Evidence::PutBack { .. } => true,
        Evidence::Unit { .. } | Evidence::Modes { .. } => false,
    };
    let last = readings.iter().rposition(|r| cured(&r.evidence));
    last.is_some_and(|at| !readings[at + 1..].iter().any(|r| failed(&r.evidence)))
}

/// The causes that hypotheses for the planner are made of, those that most probably explain a failing reading, each with
/// the modes that may (probabilities that add up to 1); the others are summed out.
fn leading_causes(ranking: &Ranking, most: usize) -> BTreeMap<usize, Modes> {
    let net = &ranking.assembled.net;
    let failed = failed(net);
    let mut causes: Vec<(f64, usize, Modes)> = Vec::new();
    for (c, cause) in net.causes.iter().enumerate() {
        let bears = |m: &usize| cause.modes[*m].effects.iter().any(|e| failed[e.check]);
        let p = &ranking.posterior.modes[c];
        let modes: Modes = (0..p.len()).filter(bears).map(|m| (m, p[m])).collect();
        let sum: f64 = modes.iter().map(|m| m.1).sum();
        if sum >= LEAST {
            let shares = modes.iter().map(|&(m, p)| (m, p / sum));
            causes.push((sum, c, shares.collect()));
        }
    }
    causes.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    causes.truncate(most);
    causes.into_iter().map(|(_, c, modes)| (c, modes)).collect()
}

/// Modes of a cause with how probable each is if the cause is behind a failing reading.
pub(crate) type Modes = Vec<(usize, f64)>;

/// Whether each check failed.
fn failed(net: &Network) -> Vec<bool> {
    (net.checks.iter())
        .map(|c| c.seen.is_some_and(|o| o != Outcome::Pass))
        .collect()
}

/// A mode below this that bears on a failing reading is left out of the hypotheses: each such mode makes every sum of the
/// search dearer, and all of them together are a few percent.
const UNLIKELY: f64 = 5e-4;

/// The network without its unlikely explanations.
struct Rest {
    net: Network,
    /// How much of the probability it still has.
    left: f64,
    log_evidence: f64,
    /// Whether a sum over it is within reach.
    exact: bool,
}

fn without_the_unlikely(ranking: &Ranking) -> Rest {
    let mut net = ranking.assembled.net.clone();
    let failed = failed(&net);
    for (cause, p) in net.causes.iter_mut().zip(&ranking.posterior.modes) {
        for (mode, &p) in cause.modes.iter_mut().zip(p) {
            if p < UNLIKELY && mode.effects.iter().any(|e| failed[e.check]) {
                // Ruled out rather than taken away: what is fine stays as probable as it was.
                mode.likelihood = 0.0;
                mode.effects.clear();
            }
        }
    }
    match posterior(&net, &Limits::default()) {
        Ok(p) => Rest {
            net,
            left: (p.log_evidence - ranking.posterior.log_evidence)
                .exp()
                .min(1.0),
            log_evidence: p.log_evidence,
            exact: p.unexplored_mass == 0.0,
        },
        Err(_) => Rest {
            net: ranking.assembled.net.clone(),
            left: 1.0,
            log_evidence: ranking.posterior.log_evidence,
            exact: false,
        },
    }
}

/// The leading explanations of all sizes, so many parts opened.
fn leading(rest: &Rest, causes: &[usize], parts: usize) -> Result<Explanations, InferError> {
    let limits = Limits {
        max_steps: parts,
        ..Limits::default()
    };
    leading_explanations(&rest.net, &limits, causes, COVERED, HYPOTHESES)
}

/// Explanations of many failing readings: the few leading ones of all sizes, if a sum over the board is within reach, and those by
/// one or two causes.
fn of_many(rest: &Rest, causes: &[usize]) -> Result<Explanations, InferError> {
    let mut sets: BTreeMap<Vec<usize>, f64> = BTreeMap::new();
    for (set, p) in small_explanations(&rest.net, causes, rest.log_evidence)? {
        sets.insert(set, p.min(1.0));
    }
    if rest.exact {
        sets.extend(leading(rest, causes, PARTS_OF_MANY)?.list);
    }
    let mut list: Vec<(Vec<usize>, f64)> = sets.into_iter().collect();
    list.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    list.truncate(HYPOTHESES);
    // Of an estimated total the parts may be more than the whole.
    let covered: f64 = list.iter().map(|l| l.1).sum();
    let over = covered.max(1.0);
    list.iter_mut().for_each(|l| l.1 /= over);
    Ok(Explanations {
        covered: covered / over,
        list,
    })
}

/// Number of failing readings.
fn failing(ranking: &Ranking) -> usize {
    let failed = failed(&ranking.assembled.net);
    failed.into_iter().filter(|f| *f).count()
}

/// A hypothesis for the planner, with what shows of what is at fault in it (cause of the network, and its modes).
pub(crate) type Supposed = (Hypothesis, Vec<(usize, Modes)>);

/// With less than this covered by the leading explanations, the others are stood in for.
const WELL_COVERED: f64 = 0.8;
/// What is kept for what nobody thought of when others are stood in for.
const UNTHOUGHT_OF: f64 = 0.05;

/// The leading explanations in which something is at fault, probabilities made to sum to what they cover of that.
fn faulty_ones(
    ranking: &Ranking,
    accused: &BTreeMap<usize, Modes>,
    leading: &Explanations,
) -> Suppositions {
    let optional = |cause: usize, modes: &Modes| {
        let is = |m: &(usize, f64)| {
            let mode = ranking.assembled.modes[cause][m.0];
            ranking.optional_missing.contains(&mode)
        };
        modes.iter().filter(|m| is(m)).map(|m| m.1).sum::<f64>() > 0.5
    };
    // What was replaced since is out of the machine, and what need not be fitted is no fault.
    let can_be = |c: usize| ranking.assembled.is_current(c) && !optional(c, &accused[&c]);
    let net = &ranking.assembled.net;
    let now: BTreeMap<usize, (f64, Modes)> = (accused.iter())
        .map(|(&c, modes)| (c, still_there(net, c, modes)))
        .collect();
    let still: BTreeMap<usize, f64> = now.iter().map(|(&c, n)| (c, n.0)).collect();
    let shows: BTreeMap<usize, f64> = (now.iter())
        .map(|(&c, (_, modes))| (c, shows(net, c, modes)))
        .collect();
    let mut sets: BTreeMap<Vec<UnitId>, f64> = BTreeMap::new();
    let mut nothing = 0.0;
    for (causes, probability) in &leading.list {
        let faults: Vec<usize> = causes.iter().copied().filter(|&c| can_be(c)).collect();
        for (faults, left) in subsets(&faults, &still) {
            if faults.is_empty() {
                nothing += probability * left;
                continue;
            }
            for (seen, share) in seen_of(&faults, &shows) {
                *sets.entry(seen).or_default() += probability * left * share;
            }
        }
    }
    if nothing > NOTHING_LEFT {
        return Suppositions::NothingLeft;
    }
    let current: Vec<usize> = accused.keys().copied().filter(|&c| can_be(c)).collect();
    stand_in(ranking, &current, &mut sets, 1.0 - nothing);
    let mut out: Vec<Supposed> = (sets.into_iter())
        .filter(|(faulty, _)| faulty.len() <= plan::MOST_UNITS_AT_FAULT)
        .map(|(faulty, probability)| {
            let modes = |&u: &UnitId| (u as usize, now[&(u as usize)].1.clone());
            let faults = faulty.iter().map(modes).collect();
            let hypothesis = Hypothesis {
                probability: probability / (1.0 - nothing),
                faulty,
            };
            (hypothesis, faults)
        })
        .collect();
    if out.is_empty() {
        return Suppositions::None;
    }
    out.sort_by(|a, b| {
        let order = b.0.probability.total_cmp(&a.0.probability);
        order.then_with(|| a.0.faulty.cmp(&b.0.faulty))
    });
    Suppositions::Faults(out)
}

/// With many failing readings the explanations can be so many that those found cover little. For the others stand all causes
/// together that are more probably at fault than not, and each cause alone, by how much of its probability is missing. `whole`:
/// what all of them should add up to.
fn stand_in(
    ranking: &Ranking,
    current: &[usize],
    sets: &mut BTreeMap<Vec<UnitId>, f64>,
    whole: f64,
) {
    let covered: f64 = sets.values().sum();
    if covered >= WELL_COVERED * whole {
        return;
    }
    let mut rest = (whole - covered) * (1.0 - UNTHOUGHT_OF);
    let probability = |c: usize| ranking.still(c);
    let together: Vec<UnitId> = (current.iter())
        .filter(|&&c| probability(c) > 0.5)
        .map(|&c| c as UnitId)
        .collect();
    if together.len() > 1 && together.len() <= plan::MOST_UNITS_AT_FAULT {
        *sets.entry(together).or_default() += rest / 2.0;
        rest /= 2.0;
    }
    let missing: Vec<(UnitId, f64)> = (current.iter())
        .map(|&c| {
            let with = |set: &(&Vec<UnitId>, &f64)| set.0.contains(&(c as UnitId));
            let known: f64 = sets.iter().filter(with).map(|s| s.1).sum();
            (c as UnitId, (probability(c) - known).max(0.0))
        })
        .collect();
    let sum: f64 = missing.iter().map(|m| m.1).sum();
    if sum > 0.0 {
        for (unit, p) in missing {
            *sets.entry(vec![unit]).or_default() += rest * p / sum;
        }
    }
}

/// Of a cause that is behind failing readings in one of these modes: P(it is at fault still), and the modes that it may be in then.
fn still_there(net: &Network, cause: usize, modes: &Modes) -> (f64, Modes) {
    let there = |m: &&(usize, f64)| !net.causes[cause].modes[m.0].past;
    let p: f64 = modes.iter().filter(there).map(|m| m.1).sum();
    let shares = modes.iter().filter(there).map(|&(m, share)| (m, share / p));
    (p, shares.filter(|m| m.1.is_finite()).collect())
}

/// P(a cause at fault in one of these modes fails one of the failing checks again by itself).
fn shows(net: &Network, cause: usize, modes: &Modes) -> f64 {
    let failed = failed(net);
    let one = |&(mode, share): &(usize, f64)| {
        let hidden: f64 = (net.causes[cause].modes[mode].effects.iter())
            .filter(|e| failed[e.check])
            .map(|e| 1.0 - e.intermittent - e.fail)
            .product();
        share * (1.0 - hidden)
    };
    modes.iter().map(one).sum::<f64>().clamp(0.0, 1.0)
}

/// Faults that would show by themselves more often than this are seen, and more rarely than one less this are not.
const ALMOST: f64 = 0.95;
/// So many faults of a set are split into 'shows' and 'does not'; beyond, the likelier of the two is taken.
const SPLIT: usize = 4;

/// Of faults that are there together, those that would be seen without the others, with the probability of each such set: a
/// machine in which only what does not show is left over passes its test. They do not add up to less than one: when none would
/// show, it takes all of them.
fn seen_of(faults: &[usize], shows: &BTreeMap<usize, f64>) -> Vec<(Vec<UnitId>, f64)> {
    let sets = subsets(faults, shows).into_iter();
    sets.map(|(mut set, share)| {
        if set.is_empty() {
            set = faults.to_vec();
        }
        (set.into_iter().map(|f| f as UnitId).collect(), share)
    })
    .collect()
}

/// Subsets of faults, when each is in with its own probability.
fn subsets(faults: &[usize], p: &BTreeMap<usize, f64>) -> Vec<(Vec<usize>, f64)> {
    let mut sets: Vec<(Vec<usize>, f64)> = vec![(Vec::new(), 1.0)];
    let mut split = 0;
    for &fault in faults {
        let mut p = p[&fault];
        let sure = !(1.0 - ALMOST..=ALMOST).contains(&p) || split == SPLIT;
        if sure {
            p = p.round();
        } else {
            split += 1;
        }
        let mut with = sets.clone();
        with.iter_mut().for_each(|(set, share)| {
            set.push(fault);
            *share *= p;
        });
        sets.iter_mut().for_each(|(_, share)| *share *= 1.0 - p);
        sets.extend(with);
        sets.retain(|(_, share)| *share > 0.0);
    }
    sets
}
