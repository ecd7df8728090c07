//! What the planner supposes: sets of units that explain what failed, with their probabilities.

use crate::infer::network::{Network, Outcome};
use crate::infer::{
    Explanations, Extent, InferError, Limits, leading_explanations, small_explanations,
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
    let found = with_likely(ranking, |net| match many {
        false => leading(net, &causes).map(|found| (found, Alone::default())),
        true => of_many(net, &causes, &|c| ranking.assembled.is_current(c)),
    });
    let Ok((mut leading, alone)) = found else {
        return Suppositions::None;
    };
    // What is ruled out has its part of the probability.
    let left = (leading.evidence.log - ranking.posterior.log_evidence).exp();
    leading.list.iter_mut().for_each(|h| h.1 *= left.min(1.0));
    faulty_ones(ranking, &accused, &leading, &alone)
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

/// What is found in the network without its unlikely explanations; in all of it, should they be what the readings need.
fn with_likely<T>(
    ranking: &Ranking,
    find: impl Fn(&Network) -> Result<T, InferError>,
) -> Result<T, InferError> {
    let whole = &ranking.assembled.net;
    let failed = failed(whole);
    let mut net = whole.clone();
    for (cause, p) in net.causes.iter_mut().zip(&ranking.posterior.modes) {
        for (mode, &p) in cause.modes.iter_mut().zip(p) {
            if p < UNLIKELY && mode.effects.iter().any(|e| failed[e.check]) {
                // Ruled out rather than taken away: what is fine stays as probable as it was.
                mode.likelihood = 0.0;
                mode.effects.clear();
            }
        }
    }
    find(&net).or_else(|_| find(whole))
}

/// How many explanations are asked for.
fn extent(at_any_rate: bool) -> Extent {
    Extent {
        mass: COVERED,
        most: HYPOTHESES,
        at_any_rate,
    }
}

/// The leading explanations of all sizes.
fn leading(net: &Network, causes: &[usize]) -> Result<Explanations, InferError> {
    let limits = Limits {
        max_steps: PARTS,
        ..Limits::default()
    };
    leading_explanations(net, &limits, causes, extent(true))
}

/// Of the explanations by one or two causes in which each cause is, the share in which nothing else of what is fitted now is with it.
/// A cause that is not listed is mostly by itself.
type Alone = BTreeMap<usize, f64>;

fn alone(sets: &BTreeMap<Vec<usize>, f64>, is_current: &dyn Fn(usize) -> bool) -> Alone {
    let mut sums: BTreeMap<usize, (f64, f64)> = BTreeMap::new();
    for (set, p) in sets {
        let now = || set.iter().copied().filter(|&c| is_current(c));
        let only = now().count() == 1;
        for cause in now() {
            let sum = sums.entry(cause).or_default();
            sum.0 += if only { *p } else { 0.0 };
            sum.1 += p;
        }
    }
    let share = |(own, all): (f64, f64)| if all > 0.0 { own / all } else { 0.0 };
    sums.into_iter().map(|(c, sum)| (c, share(sum))).collect()
}

/// Explanations of many failing readings: the few leading ones of all sizes, if a sum over the board is within reach, and those by
/// one or two causes. `is_current`: whether a cause is in the machine now.
fn of_many(
    net: &Network,
    causes: &[usize],
    is_current: &dyn Fn(usize) -> bool,
) -> Result<(Explanations, Alone), InferError> {
    let limits = Limits {
        max_steps: PARTS_OF_MANY,
        ..Limits::default()
    };
    let few = leading_explanations(net, &limits, causes, extent(false))?;
    let mut sets: BTreeMap<Vec<usize>, f64> = BTreeMap::new();
    for (set, p) in small_explanations(net, causes, few.evidence.log)? {
        sets.insert(set, p.min(1.0));
    }
    let alone = alone(&sets, is_current);
    sets.extend(few.list);
    let mut list: Vec<(Vec<usize>, f64)> = sets.into_iter().collect();
    list.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    // What there is no room for counts with the likelier of its causes, where that is an explanation by itself: the other is one
    // fault more on the machine, of which there are many, each of them improbable.
    for (set, p) in list.split_off(list.len().min(HYPOTHESES)) {
        let alone = |l: &&mut (Vec<usize>, f64)| {
            l.0.len() == 1 && set.contains(&l.0[0]) && is_current(l.0[0])
        };
        if let Some(kept) = list.iter_mut().find(alone) {
            kept.1 += p;
        }
    }
    // Of an estimated total the parts may be more than the whole.
    let covered: f64 = list.iter().map(|l| l.1).sum();
    let over = covered.max(1.0);
    list.iter_mut().for_each(|l| l.1 /= over);
    let found = Explanations {
        evidence: few.evidence,
        covered: covered / over,
        list,
    };
    Ok((found, alone))
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
    alone: &Alone,
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
    stand_in(ranking, &current, alone, &mut sets, 1.0 - nothing);
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
/// together that are more probably at fault than not, and each cause by how much of its probability is missing: by itself as far as it
/// is an explanation by itself (a keyboard may well be bad, but that alone keeps no machine dark), else with the others that it is known
/// with. `whole`: what all of them should add up to.
fn stand_in(
    ranking: &Ranking,
    current: &[usize],
    alone: &Alone,
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
    let mut missing: Vec<(Vec<UnitId>, f64)> = Vec::new();
    for &c in current {
        let of: Vec<_> = (sets.iter())
            .filter(|(set, _)| set.contains(&(c as UnitId)))
            .collect();
        let known: f64 = of.iter().map(|s| s.1).sum();
        let more = (probability(c) - known).max(0.0);
        let by_itself = alone.get(&c).copied().unwrap_or(1.0);
        missing.push((vec![c as UnitId], more * by_itself));
        // What it explains with others only goes to what is known of it and others.
        let with_others = || of.iter().filter(|s| s.0.len() > 1);
        let all: f64 = with_others().map(|s| s.1).sum();
        let part = |p: f64| more * (1.0 - by_itself) * p / all;
        missing.extend(with_others().map(|(set, p)| ((*set).clone(), part(**p))));
    }
    let sum: f64 = missing.iter().map(|m| m.1).sum();
    if sum > 0.0 {
        for (set, p) in missing {
            *sets.entry(set).or_default() += rest * p / sum;
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sampled::ranked;

    /// A black screen of a board with eight like memory chips, a hundred levels probed: written by the simulated bench for a row that
    /// is gone.
    const DARK: &str = "board z80-ppi-vdp\ncame in faulty\n\
         U20.6 pulsing; U3.35 pulsing; U3.2 pulsing; U30.27 pulsing; U30.16 high; U20.7 pulsing; U3.1 pulsing; U30.11 \
         high; U53.8 pulsing; U3.30 pulsing; SLOT1.4 high; U19.6 floating; U30.7 pulsing; U20.27 pulsing; U20.2 \
         pulsing; test does not run; U49.5 pulsing; U8.6 pulsing; U8.9 pulsing; U24.14 pulsing; U3.9 pulsing; U53.11 \
         pulsing; U3.34 pulsing; U3.5 pulsing; J7.7 high; U20.5 pulsing; U6.1 pulsing; U19.1 low; U18.16 low; U18.17 \
         low; U23.1 pulsing; U3.12 pulsing; U3.4 pulsing; U2.3 pulsing; U30.2 pulsing; U20.25 pulsing; U17.9 pulsing; \
         U18.14 low; U20.3 pulsing; U30.10 pulsing; U8.13 pulsing; SLOT1.7 high; U30.15 high; U20.9 pulsing; U3.36 \
         pulsing; U19.10 floating; U3.39 pulsing; U3.31 pulsing; U30.39 pulsing; U30.6 pulsing; U19.7 high; U3.22 \
         pulsing; U20.22 pulsing; U3.38 pulsing; U4.7 pulsing; U20.26 pulsing; U20.13 pulsing; U20.20 pulsing; U8.4 \
         pulsing; U3.19 pulsing; U8.15 pulsing; J7.11 high; U3.16 high; U18.18 high; U3.8 pulsing; U24.29 low; U3.6 \
         pulsing; U3.27 pulsing; U18.36 high; U16.9 pulsing; U3.20 high; U17.7 pulsing; U30.9 pulsing; U22.11 high; \
         black screen; U3.21 pulsing; J6.1 low; U18.35 low; U20.8 pulsing; U3.24 pulsing; J7.15 high; U22.12 high; \
         U30.28 pulsing; J7.1 high; U8.12 pulsing; U20.19 pulsing; U20.16 pulsing; U8.3 pulsing; U30.4 pulsing; U19.5 \
         floating; J7.13 high; U8.10 pulsing; U17.1 low; J7.5 high; U30.32 pulsing; rail 5V 5.02 V\n";

    /// A keyboard may be bad as well, at its rate; no machine stays dark for that, so it is nothing to look for first.
    #[test]
    fn what_cannot_be_all_of_it_is_supposed_with_something_else_only() {
        let ranking = ranked(DARK);
        let Suppositions::Faults(sets) = suppositions(&ranking) else {
            panic!("something failed");
        };
        let names = |s: &Supposed| -> Vec<&str> {
            let of = |u: &UnitId| ranking.assembled.instances[*u as usize];
            let name = |u: &UnitId| {
                let found = ranking.suspects.iter().find(|s| s.instance == of(u));
                found.map_or("", |s| s.name.as_str())
            };
            s.0.faulty.iter().map(name).collect()
        };
        let sum = |fits: &dyn Fn(&[&str]) -> bool| -> f64 {
            let those = sets.iter().filter(|s| fits(&names(s)));
            those.map(|s| s.0.probability).sum()
        };
        let memory = ["U8", "U9", "U10", "U11", "U12", "U13", "U14", "U15"];
        assert!(sum(&|s| *s == ["KEYBOARD"]) < 0.001);
        assert!(sum(&|s| s.iter().any(|u| memory.contains(u))) > 0.5);
        // At fault it is as probably as ever.
        let keyboard = ranking.suspects.iter().find(|s| s.name == "KEYBOARD");
        assert!(keyboard.is_some_and(|s| s.probability > 0.02));
    }

    /// A link that sets the upper memory for another make strikes all its bits at once: one matter, as in the main memory.
    #[test]
    fn bits_of_an_upper_memory_fail_together() {
        let text =
            "board 48k-z80-ula\ncame in faulty\nupper memory bits 0 1 2 3 4 5 6 7 bad\nrest fine\n";
        let ranking = ranked(text);
        let link = ranking.assembled.instances.iter().position(|i| {
            let model = crate::sampled::board(text);
            model.units[i.unit].name == "LK3"
        });
        assert!(ranking.still(link.expect("on the board")) > 0.004);
    }
}
