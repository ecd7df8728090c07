//! How surely each mode shows in a check: worked out once for a board, shared by all readings of that check.

use super::aspect::Aspect;
use crate::faultmap::model::{BoardModel, ModeId, Read};
use std::collections::HashMap;
use std::hash::Hash;
use std::ops::{Deref, DerefMut};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

/// How surely each mode shows in a reading, in the order of the modes. Copies share their numbers until one is changed.
#[derive(Debug, Clone, PartialEq)]
pub struct Effects(Arc<Vec<(ModeId, f64)>>);

impl Effects {
    /// Whether these are the very same numbers, kept once: a quick look, which may say no of equal ones.
    pub(crate) fn is_same(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.0, &other.0)
    }

    /// Whether somebody else has these very numbers as well: most are kept with the board, those of one sheet alone are not.
    pub(crate) fn is_shared(&self) -> bool {
        Arc::strong_count(&self.0) > 1
    }

    /// What is said of one mode.
    pub(crate) fn of(&self, mode: ModeId) -> &[(ModeId, f64)] {
        let from = self.0.partition_point(|e| e.0 < mode);
        let own = self.0[from..].iter().take_while(|e| e.0 == mode);
        &self.0[from..from + own.count()]
    }

    /// Leaves out those that are not wanted.
    pub fn retain(&mut self, wanted: impl Fn(&(ModeId, f64)) -> bool) {
        if !self.0.iter().all(&wanted) {
            self.0 = Arc::new(self.0.iter().filter(|e| wanted(e)).copied().collect());
        }
    }
}

impl Deref for Effects {
    type Target = [(ModeId, f64)];
    fn deref(&self) -> &Self::Target {
        &self.0
    }
}

impl DerefMut for Effects {
    fn deref_mut(&mut self) -> &mut Self::Target {
        Arc::<Vec<_>>::make_mut(&mut self.0)
    }
}

impl From<Vec<(ModeId, f64)>> for Effects {
    fn from(mut list: Vec<(ModeId, f64)>) -> Self {
        // Nearly all are in order.
        list.sort_by_key(|e| e.0);
        Self(Arc::new(list))
    }
}

impl FromIterator<(ModeId, f64)> for Effects {
    fn from_iter<I: IntoIterator<Item = (ModeId, f64)>>(list: I) -> Self {
        Self::from(list.into_iter().collect::<Vec<_>>())
    }
}

impl<'e> IntoIterator for &'e Effects {
    type Item = &'e (ModeId, f64);
    type IntoIter = std::slice::Iter<'e, (ModeId, f64)>;
    fn into_iter(self) -> Self::IntoIter {
        self.0.iter()
    }
}

impl<'e> IntoIterator for &'e mut Effects {
    type Item = &'e mut (ModeId, f64);
    type IntoIter = std::slice::IterMut<'e, (ModeId, f64)>;
    fn into_iter(self) -> Self::IntoIter {
        self.deref_mut().iter_mut()
    }
}

/// Of each mode of a board whether it is an empty position.
pub(super) fn absent(model: &BoardModel) -> Arc<[bool]> {
    #[derive(Default)]
    struct Absent(OnceLock<Arc<[bool]>>);
    let memo = model.memo.of::<Absent>();
    let work_out = || model.modes.iter().map(|m| m.missing).collect();
    Arc::clone(memo.0.get_or_init(work_out))
}

/// Effects less what a reader misses. An empty position shows with certainty: nothing can be misread into a chip.
pub fn noticed(model: &BoardModel, plain: &[(ModeId, f64)], missed: f64) -> Vec<(ModeId, f64)> {
    let mut effects = plain.to_vec();
    notice(model, &mut effects, missed);
    effects
}

/// [`noticed`] in place.
pub(super) fn notice(model: &BoardModel, effects: &mut [(ModeId, f64)], missed: f64) {
    let absent = absent(model);
    let seen = 1.0 - missed;
    for (mode, strength) in effects {
        if !absent[*mode as usize] {
            *strength *= seen;
        }
    }
}

/// What a check reads.
type Nodes = Vec<(u32, u32)>;

/// What a check reads, how it is described, and whether it passed.
type Key = (Nodes, Aspect, bool);

/// More are not kept: a board has some hundred checks and lines.
const MOST: usize = 4096;

/// What 'rest fine' says of each check of a board to a reader who misses so much, as far as it was asked for.
pub(super) struct Rest(Vec<OnceLock<Effects>>);

/// How many shares of what a reader misses are kept of a board: that of whatever is typed, and those of sheets of which a line or two
/// of so many were not understood.
const MOST_SHARES: usize = 6;

impl Rest {
    /// Of a board, for this share.
    pub(super) fn of(model: &BoardModel, missed: f64) -> Arc<Self> {
        #[derive(Default)]
        struct Kept(Mutex<Vec<(u64, Arc<Rest>)>>);
        let kept = model.memo.of::<Kept>();
        let mut kept = kept.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, rest)) = kept.iter().find(|k| k.0 == missed.to_bits()) {
            return Arc::clone(rest);
        }
        let rest = Arc::new(Rest(vec![OnceLock::new(); model.checks.len()]));
        if kept.len() < MOST_SHARES {
            kept.push((missed.to_bits(), Arc::clone(&rest)));
        }
        rest
    }

    /// The effects of the check with this index: kept, or those that `work_out` gives, which must depend on the board alone.
    pub(super) fn get(&self, check: usize, work_out: impl FnOnce() -> Effects) -> Effects {
        self.0[check].get_or_init(work_out).clone()
    }
}

/// The effects that were asked for so far.
#[derive(Default)]
pub(super) struct Shown {
    /// As typed results show them.
    typed: Mutex<HashMap<Key, Effects>>,
    /// As if no reader missed anything; whoever holds both locks took another one first.
    plain: Mutex<HashMap<(Nodes, Aspect), Effects>>,
    /// Of keys and lines of keys of which the same is said.
    keys: Mutex<HashMap<OfKeys, Effects>>,
}

/// Name of the check, what is said, and what a reader misses.
type OfKeys = (String, Aspect, u64);

impl Shown {
    /// The effects of a typed result of a check that reads these nodes: those kept, or those that `work_out` gives.
    pub(super) fn get(
        &self,
        reads: &[Read],
        aspect: Aspect,
        pass: bool,
        work_out: impl FnOnce() -> Vec<(ModeId, f64)>,
    ) -> Effects {
        kept(&self.typed, (nodes(reads), aspect, pass), work_out)
    }

    /// The same before anything is missed by a reader, whatever the outcome.
    pub(super) fn plain(
        &self,
        reads: &[Read],
        aspect: Aspect,
        work_out: impl FnOnce() -> Vec<(ModeId, f64)>,
    ) -> Effects {
        kept(&self.plain, (nodes(reads), aspect), work_out)
    }

    /// The effects of what is said of a key, or of a line of keys, which has this name.
    pub(super) fn keys(
        &self,
        check: &str,
        aspect: Aspect,
        missed: f64,
        work_out: impl FnOnce() -> Vec<(ModeId, f64)>,
    ) -> Effects {
        let key = (check.to_string(), aspect, missed.to_bits());
        kept(&self.keys, key, work_out)
    }
}

fn nodes(reads: &[Read]) -> Nodes {
    let nodes = reads.iter().map(|r| (r.node, r.weight.to_bits()));
    nodes.collect()
}

fn kept<K: Hash + Eq>(
    all: &Mutex<HashMap<K, Effects>>,
    key: K,
    work_out: impl FnOnce() -> Vec<(ModeId, f64)>,
) -> Effects {
    let mut all = all.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(known) = all.get(&key) {
        return known.clone();
    }
    let effects = Effects::from(work_out());
    if all.len() < MOST {
        all.insert(key, effects.clone());
    }
    effects
}
