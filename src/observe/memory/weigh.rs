//! A list of failing cells against every cause that the board has, and what comes of it for each data bit.
//!
//! Failing bits are independent readings: two bad chips are two faults. What reaches several bits at once explains them
//! together, with one probability, which is shared out evenly: the product over the bits is what counts.

use super::effect::Effect;
use super::layout::Bank;
use super::modes::{Reaching, causes};
use super::pattern::{Pattern, candidates};
use super::seen::Seen;
use super::signature::{Bytes, Ends, List, NO_DIGIT, Theory, ln_sum};
use super::theory::{Cause, Trouble, theories, troubles};
use crate::faultmap::model::ModeId;
use foldhash::{HashMap, HashMapExt};
use std::collections::BTreeMap;

/// How well a cause explains the list.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// ln P(the list, as far as the bits of the cause go | cause).
    pub ln: f64,
    /// The theory that explains it best, and the pattern.
    pub best: (Theory, Pattern),
}

/// The list weighed.
#[derive(Debug, Clone)]
pub struct Weighed {
    /// Data bits that fail in some line.
    pub bits: u8,
    /// Causes that reach one of them, but for those that are out of the question.
    pub fits: BTreeMap<Cause, Fit>,
    /// For each failing bit: strengths of the modes, and of no known cause.
    pub readings: Vec<BitReading>,
}

/// What the list says of one data bit.
#[derive(Debug, Clone)]
pub struct BitReading {
    /// The data bit.
    pub bit: u8,
    /// How surely each mode shows in this bit as listed, relative to the best.
    pub effects: Vec<(ModeId, f64)>,
    /// The same for nothing that the map knows, before the trust in the typing.
    pub leak: f64,
}

/// Lines that are looked at: more say the same.
const MOST_LINES: usize = 24;
/// What the number of lines says of a cause that does not reach all failing bits: about as much as of one that does.
const COUNT_UNKNOWN: f64 = -1.5;
/// What is so much less probable (in nats) than the best theory of the same cause changes no digit of their sum.
const NO_MATTER: f64 = 40.0;
/// What strikes several failing bits is out of the question when it is so much less probable than the best explanation of each
/// by itself: those are as many faults at once, so this is more than the above.
const OUT_OF_THE_QUESTION: f64 = 60.0;
/// Below this a strength is nothing.
const NOTHING: f64 = 1e-12;
/// Below this its logarithm changes no digit of a sum that is something.
const NEXT_TO_NOTHING: f64 = -80.0;

/// Weighs a list against the modes that reach the bank, in their order.
pub fn weigh(bank: &Bank, reaching: &[Reaching], list: &List) -> Weighed {
    let mut list = list.clone();
    list.lines.truncate(MOST_LINES);
    let bits = list.lines.iter().fold(0, |m, l| m | (l.read ^ l.wrote)) & bank.all_lanes();
    let wrote: Vec<(u32, u8)> = list.lines.iter().map(|l| (l.address, l.wrote)).collect();
    let mut patterns = candidates(&wrote);
    let sum = ln_sum(patterns.iter().map(|p| p.0));
    patterns.iter_mut().for_each(|p| p.0 -= sum);
    let mut weigher = Weigher {
        bank,
        list: &list,
        bits,
        patterns: &patterns,
        seen: Seen::new(bank, &list.lines),
        walked: HashMap::new(),
        fitted: Vec::new(),
    };
    let unknown: [f64; 8] = std::array::from_fn(|i| match bits >> i & 1 {
        1 => weigher.unknown(i as u8),
        _ => 0.0,
    });
    // The best explanation of each bit by itself: what strikes one bit only, or nothing that is known. It says which other
    // causes are out of the question.
    let mut norm = unknown;
    let causes = causes(reaching);
    let mut fits: Vec<Option<Fit>> = vec![None; causes.len()];
    let hits = |c: &Cause| (c.lanes & bits).count_ones();
    for single in [true, false] {
        for (cause, found) in causes.iter().zip(&mut fits) {
            if hits(cause) == 0 || (hits(cause) == 1) != single {
                continue;
            }
            let hit = (0..8).filter(|i| (cause.lanes & bits) >> i & 1 == 1);
            let least: f64 = hit.clone().map(|i| norm[i] - OUT_OF_THE_QUESTION).sum();
            *found = weigher.fit_once(cause, least);
            let Some(fit) = found else { continue };
            if single {
                hit.for_each(|i| norm[i] = norm[i].max(fit.ln));
            }
        }
    }
    let readings = readings(bits, &norm, &unknown, reaching, &causes, &fits);
    let fits = causes.into_iter().zip(fits);
    let fits = fits.filter_map(|(c, f)| Some((c.clone(), f?))).collect();
    Weighed {
        bits,
        fits,
        readings,
    }
}

/// Bits, effect and index of the pattern.
type Walked = (u8, (u8, u64), usize);

struct Weigher<'a> {
    bank: &'a Bank,
    list: &'a List,
    bits: u8,
    patterns: &'a [(f64, Pattern)],
    seen: Seen<'a>,
    /// Likelihoods worked out so far: several causes have the same theories.
    walked: HashMap<Walked, f64>,
    /// Causes fitted so far: the bits that they reach, what they stand for, and how that fits.
    fitted: Vec<Fitted>,
}

/// Causes that look the same in any list, with how they fit.
type Fitted = (u8, Vec<(f64, Trouble)>, Option<Fit>);

impl Weigher<'_> {
    /// How the list ends for a cause that reaches these bits, and what is left open by that.
    fn ends_for(&self, lanes: u8) -> (Ends, f64) {
        let (more, complete) = (self.list.more, self.list.complete);
        if self.bits & !lanes != 0 && more.is_some() {
            let open = Ends {
                more: None,
                complete: false,
            };
            let reached = f64::from((lanes & self.bits).count_ones());
            let offset = COUNT_UNKNOWN * reached / f64::from(self.bits.count_ones());
            return (open, offset);
        }
        (Ends { more, complete }, 0.0)
    }

    /// [`Bytes::ln_likelihood`], worked out once: how the list ends depends on the bits alone.
    fn walked(&mut self, bytes: &Bytes, pattern: usize, ends: Ends) -> f64 {
        let key = (bytes.theory.lanes, bytes.theory.effect.code(), pattern);
        let seen = &mut self.seen;
        let work_out = || bytes.ln_likelihood(seen, ends);
        *self.walked.entry(key).or_insert_with(work_out)
    }

    /// [`Self::fit`]; what was found for a cause that looks the same is taken over, unless the higher limit of now may cut
    /// something off.
    fn fit_once(&mut self, cause: &Cause, least: f64) -> Option<Fit> {
        let troubles = troubles(cause);
        let mut all = self.fitted.iter();
        let known = all.find(|(lanes, of, _)| *lanes == cause.lanes && *of == troubles);
        match known {
            Some((_, _, None)) => None,
            Some((_, _, Some(fit))) if fit.ln - NO_DIGIT > least => Some(fit.clone()),
            _ => {
                let fit = self.fit(cause, least);
                self.fitted.push((cause.lanes, troubles, fit.clone()));
                fit
            }
        }
    }

    /// `None` when all that the cause could do lies below `least`.
    fn fit(&mut self, cause: &Cause, least: f64) -> Option<Fit> {
        let (ends, offset) = self.ends_for(cause.lanes);
        let theories = theories(cause, self.bank, self.list);
        let shares: Vec<f64> = theories.iter().map(|t| t.0.ln()).collect();
        let mut found = Best::new(theories.len() * self.patterns.len(), least - offset);
        // What the bytes leave open waits: the best of the others may settle it without a look at the cells passed over.
        let mut waiting: Vec<(usize, f64, Bytes)> = Vec::new();
        let mut top = f64::NEG_INFINITY;
        let patterns = self.patterns;
        let pairs = patterns
            .iter()
            .flat_map(|p| theories.iter().zip(&shares).map(move |t| (p, t)));
        for (at, (&(ln_pattern, pattern), (&(_, theory), share))) in pairs.enumerate() {
            let before = ln_pattern + share;
            let least = found.least() - before;
            let Some(bytes) = Bytes::of(theory, pattern, &mut self.seen, least) else {
                continue;
            };
            let at_most = before + bytes.at_most();
            if at_most > top {
                top = at_most;
                found.put(at, before + self.walked(&bytes, at / theories.len(), ends));
            } else {
                waiting.push((at, before, bytes));
            }
        }
        let most = |w: &(usize, f64, Bytes)| w.1 + w.2.at_most();
        // The likeliest first, of equal ones the earlier.
        let order = waiting.iter().enumerate().map(|(i, w)| (most(w), i));
        let mut order: Vec<(f64, usize)> = order.filter(|o| o.0 >= found.least()).collect();
        order.sort_unstable_by(|x, y| y.0.total_cmp(&x.0).then(x.1.cmp(&y.1)));
        for (most, i) in order {
            if most < found.least() {
                break;
            }
            let (at, before, bytes) = &waiting[i];
            found.put(*at, before + self.walked(bytes, at / theories.len(), ends));
        }
        if found.ln == f64::NEG_INFINITY {
            return None;
        }
        let (pattern, theory) = (found.at / theories.len(), found.at % theories.len());
        let matter = found.terms.into_iter().filter(|t| *t > f64::NEG_INFINITY);
        Some(Fit {
            ln: ln_sum(matter) + offset,
            best: (theories[theory].1, self.patterns[pattern].1),
        })
    }

    /// ln P(lines as far as this bit goes | no known cause).
    fn unknown(&mut self, bit: u8) -> f64 {
        let lanes = 1 << bit;
        let (ends, offset) = self.ends_for(lanes);
        let theory = Theory {
            lanes,
            effect: Effect::Unknown,
        };
        let seen = &mut self.seen;
        let mut of = |&(ln, p): &(f64, Pattern)| {
            let bytes = Bytes::of(theory, p, seen, f64::NEG_INFINITY);
            ln + bytes.map_or(f64::NEG_INFINITY, |b| b.ln_likelihood(seen, ends))
        };
        let each: Vec<f64> = self.patterns.iter().map(&mut of).collect();
        ln_sum(each.into_iter()).max(-1e4) + offset
    }
}

/// The terms of a sum as they are found, in whatever order, and the first of the largest.
struct Best {
    /// ln of each, minus infinity where it does not matter.
    terms: Vec<f64>,
    /// The largest so far, and which it is.
    ln: f64,
    at: usize,
    /// Below this nothing matters anyhow.
    floor: f64,
}

impl Best {
    fn new(count: usize, floor: f64) -> Self {
        Self {
            floor,
            terms: vec![f64::NEG_INFINITY; count],
            ln: f64::NEG_INFINITY,
            at: 0,
        }
    }

    /// Below this nothing matters any more.
    fn least(&self) -> f64 {
        (self.ln - NO_MATTER).max(self.floor)
    }

    fn put(&mut self, at: usize, ln: f64) {
        if ln < self.floor {
            return;
        }
        self.terms[at] = ln;
        if ln > self.ln || (ln == self.ln && at < self.at) {
            (self.ln, self.at) = (ln, at);
        }
    }
}

/// What comes of it for each of the failing `bits`. `norm` has the best explanation of each by itself, `unknown` that by nothing
/// that is known.
fn readings(
    bits: u8,
    norm: &[f64; 8],
    unknown: &[f64; 8],
    reaching: &[Reaching],
    causes: &[&Cause],
    fits: &[Option<Fit>],
) -> Vec<BitReading> {
    let failing = (0..8u8).filter(|i| bits >> i & 1 == 1);
    let shared = |lanes: u8, ln: f64| {
        let hit = failing.clone().filter(|i| lanes >> i & 1 == 1);
        let sum: f64 = hit.clone().map(|i| norm[usize::from(i)]).sum();
        (ln - sum) / hit.count() as f64
    };
    let each = || causes.iter().zip(fits);
    // What explains several bits together may be better than the best of each.
    let excess = each()
        .filter_map(|(c, f)| Some(shared(c.lanes, f.as_ref()?.ln)))
        .fold(0.0, f64::max);
    let explains: Vec<Option<f64>> = each()
        .map(|(c, f)| Some(shared(c.lanes, f.as_ref()?.ln) - excess))
        .collect();
    let strength = |r: &Reaching| {
        let hit = f64::from((r.cause.lanes & bits).count_ones());
        let ln = explains[r.number].map(|ln| ln + r.ln_strength / hit);
        ln.filter(|ln| *ln > NEXT_TO_NOTHING).map_or(0.0, f64::exp)
    };
    let of = |bit: u8| {
        let mut effects: Vec<(ModeId, f64)> = Vec::new();
        for r in reaching.iter().filter(|r| r.cause.lanes >> bit & 1 == 1) {
            let more = strength(r);
            match effects.last_mut() {
                Some((mode, sum)) if *mode == r.mode => *sum += more,
                _ => effects.push((r.mode, more)),
            }
        }
        effects.retain(|e| e.1 > NOTHING);
        effects.iter_mut().for_each(|e| e.1 = e.1.min(1.0));
        BitReading {
            bit,
            effects,
            leak: (unknown[usize::from(bit)] - norm[usize::from(bit)] - excess)
                .exp()
                .min(1.0),
        }
    };
    failing.clone().map(of).collect()
}
