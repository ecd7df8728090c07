//! A list of failing cells against every cause that the board has, and what comes of it for each data bit.
//!
//! Failing bits are independent readings: two bad chips are two faults. What reaches several bits at once explains them
//! together, with one probability, which is shared out evenly: the product over the bits is what counts.

use super::effect::Effect;
use super::layout::Bank;
use super::modes::Reaching;
use super::pattern::{Pattern, candidates};
use super::signature::{Bytes, List, Theory, ln_likelihood, ln_sum};
use super::theory::{Cause, theories};
use crate::faultmap::model::ModeId;
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
    /// Causes that reach one of them.
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
/// What is so much less probable (in nats) than the best theory of the same cause changes no digit of the sum.
const NO_MATTER: f64 = 60.0;
/// Below this a strength is nothing.
const NOTHING: f64 = 1e-12;

/// Weighs a list against the modes that reach the bank.
pub fn weigh(bank: &Bank, reaching: &[Reaching], list: &List) -> Weighed {
    let mut list = list.clone();
    list.lines.truncate(MOST_LINES);
    let bits = list.lines.iter().fold(0, |m, l| m | (l.read ^ l.wrote)) & bank.all_lanes();
    let wrote: Vec<(u32, u8)> = list.lines.iter().map(|l| (l.address, l.wrote)).collect();
    let mut patterns = candidates(&wrote);
    let sum = ln_sum(patterns.iter().map(|p| p.0));
    patterns.iter_mut().for_each(|p| p.0 -= sum);
    let weigher = Weigher {
        bank,
        list: &list,
        bits,
        patterns: &patterns,
    };
    let mut fits = BTreeMap::new();
    for r in reaching.iter().filter(|r| r.cause.lanes & bits != 0) {
        if !fits.contains_key(&r.cause) {
            fits.insert(r.cause.clone(), weigher.fit(&r.cause));
        }
    }
    let readings = readings(&weigher, reaching, &fits);
    Weighed {
        bits,
        fits,
        readings,
    }
}

struct Weigher<'a> {
    bank: &'a Bank,
    list: &'a List,
    bits: u8,
    patterns: &'a [(f64, Pattern)],
}

impl Weigher<'_> {
    fn list_for(&self, lanes: u8) -> (List, f64) {
        let mut list = self.list.clone();
        if self.bits & !lanes != 0 && list.more.is_some() {
            (list.more, list.complete) = (None, false);
            return (
                list,
                COUNT_UNKNOWN * f64::from((lanes & self.bits).count_ones())
                    / f64::from(self.bits.count_ones()),
            );
        }
        (list, 0.0)
    }

    fn fit(&self, cause: &Cause) -> Fit {
        let (list, offset) = self.list_for(cause.lanes);
        let theories = theories(cause, self.bank, &list);
        let mut found = Best::new(theories.len() * self.patterns.len());
        // What the bytes leave open waits: the best of the others may settle it without a look at the cells passed over.
        let mut waiting: Vec<(usize, f64, Bytes)> = Vec::new();
        let mut top = f64::NEG_INFINITY;
        let pairs = self
            .patterns
            .iter()
            .flat_map(|p| theories.iter().map(move |t| (p, t)));
        for (at, (&(ln_pattern, pattern), &(share, theory))) in pairs.enumerate() {
            let before = ln_pattern + share.ln();
            let least = found.least() - before;
            let Some(bytes) = Bytes::of(theory, pattern, self.bank, &list, least) else {
                continue;
            };
            let at_most = before + bytes.at_most();
            if at_most > top {
                top = at_most;
                found.put(at, before + bytes.ln_likelihood(&list));
            } else {
                waiting.push((at, before, bytes));
            }
        }
        let most = |w: &(usize, f64, Bytes)| w.1 + w.2.at_most();
        waiting.retain(|w| most(w) >= found.least());
        waiting.sort_by(|x, y| most(y).total_cmp(&most(x)));
        for (at, before, bytes) in &waiting {
            if before + bytes.at_most() < found.least() {
                break;
            }
            found.put(*at, before + bytes.ln_likelihood(&list));
        }
        let (pattern, theory) = (found.at / theories.len(), found.at % theories.len());
        let matter = found.terms.into_iter().filter(|t| *t > f64::NEG_INFINITY);
        Fit {
            ln: ln_sum(matter).max(-1e4) + offset,
            best: match found.ln > f64::NEG_INFINITY {
                true => (theories[theory].1, self.patterns[pattern].1),
                false => (theories[0].1, Pattern::Unknown),
            },
        }
    }

    /// ln P(lines as far as this bit goes | no known cause).
    fn unknown(&self, bit: u8) -> f64 {
        let lanes = 1 << bit;
        let (list, offset) = self.list_for(lanes);
        let theory = Theory {
            lanes,
            effect: Effect::Unknown,
        };
        let of = |&(ln, p): &(f64, Pattern)| ln + ln_likelihood(theory, p, self.bank, &list);
        ln_sum(self.patterns.iter().map(of)).max(-1e4) + offset
    }
}

/// The terms of a sum as they are found, in whatever order, and the first of the largest.
struct Best {
    /// ln of each, minus infinity where it does not matter.
    terms: Vec<f64>,
    /// The largest so far, and which it is.
    ln: f64,
    at: usize,
}

impl Best {
    fn new(count: usize) -> Self {
        Self {
            terms: vec![f64::NEG_INFINITY; count],
            ln: f64::NEG_INFINITY,
            at: 0,
        }
    }

    /// Below this nothing matters any more.
    fn least(&self) -> f64 {
        self.ln - NO_MATTER
    }

    fn put(&mut self, at: usize, ln: f64) {
        self.terms[at] = ln;
        if ln > self.ln || (ln == self.ln && at < self.at) {
            (self.ln, self.at) = (ln, at);
        }
    }
}

fn readings(w: &Weigher, reaching: &[Reaching], fits: &BTreeMap<Cause, Fit>) -> Vec<BitReading> {
    let failing: Vec<u8> = (0..8).filter(|i| w.bits >> i & 1 == 1).collect();
    // The best explanation of each bit by itself ...
    let mut norm = [0.0; 8];
    for &i in &failing {
        let alone = fits.iter().filter(|(c, _)| c.lanes & w.bits == 1 << i);
        let best = alone.map(|(_, f)| f.ln).fold(f64::NEG_INFINITY, f64::max);
        norm[usize::from(i)] = best.max(w.unknown(i));
    }
    let shared = |lanes: u8, ln: f64| {
        let hit: Vec<u8> = failing
            .iter()
            .copied()
            .filter(|i| lanes >> i & 1 == 1)
            .collect();
        let sum: f64 = hit.iter().map(|&i| norm[usize::from(i)]).sum();
        (ln - sum) / hit.len() as f64
    };
    // ... or what explains several together, if that is better.
    let excess = fits
        .iter()
        .map(|(c, f)| shared(c.lanes, f.ln))
        .fold(0.0, f64::max);
    let strength = |r: &Reaching| {
        let hit = f64::from((r.cause.lanes & w.bits).count_ones());
        let ln = shared(r.cause.lanes, fits[&r.cause].ln) - excess + r.strength.ln() / hit;
        ln.exp()
    };
    let of = |&bit: &u8| {
        let mut effects: BTreeMap<ModeId, f64> = BTreeMap::new();
        for r in reaching.iter().filter(|r| r.cause.lanes >> bit & 1 == 1) {
            *effects.entry(r.mode).or_default() += strength(r);
        }
        BitReading {
            bit,
            effects: effects
                .into_iter()
                .filter(|e| e.1 > NOTHING)
                .map(|(m, s)| (m, s.min(1.0)))
                .collect(),
            leak: (w.unknown(bit) - norm[usize::from(bit)] - excess)
                .exp()
                .min(1.0),
        }
    };
    failing.iter().map(of).collect()
}
