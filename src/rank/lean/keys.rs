//! Keys that work: dozens of readings on most sheets, always the same, so what they leave of each mode is multiplied once.

use super::course::Item;
use crate::faultmap::model::{BoardModel, ModeId};
use crate::infer::network::Outcome;
use crate::observe::Effects;
use std::sync::{Arc, Mutex, PoisonError};

/// Fewer are not worth it.
const LEAST: usize = 16;
/// More sets of keys are not kept of a board: each may lack another key.
const MOST: usize = 64;

/// Factors by mode.
type Factors = Arc<Vec<(ModeId, f64)>>;

/// What was multiplied so far: the effects of the readings, and what they leave.
#[derive(Default)]
struct Kept(Mutex<Vec<(Vec<Effects>, Factors)>>);

/// How many of the first items are keys that work, all in one run, as long as they are worth it.
pub(super) fn working(items: &[Item]) -> usize {
    let Some(first) = items.first() else { return 0 };
    let works = |i: &&Item| {
        i.seen
            && i.outcome == Outcome::Pass
            && i.reading.run == first.reading.run
            && i.reading.check.starts_with("key.")
    };
    match items.iter().take_while(works).count() {
        n if n < LEAST => 0,
        n => n,
    }
}

/// What these leave of each mode that they touch.
pub(super) fn left(model: &BoardModel, items: &[Item]) -> Factors {
    let kept = model.memo.of::<Kept>();
    let mut kept = kept.0.lock().unwrap_or_else(PoisonError::into_inner);
    let effects = || items.iter().map(|i| &i.reading.effects);
    let same = |of: &[Effects]| {
        of.len() == items.len() && of.iter().zip(effects()).all(|(a, b)| a.is_same(b))
    };
    if let Some((_, factors)) = kept.iter().find(|(of, _)| same(of)) {
        return Arc::clone(factors);
    }
    let mut dense = vec![f64::NAN; model.modes.len()];
    for &(mode, strength) in effects().flat_map(|e| e.iter()) {
        let left = (1.0 - strength).max(0.0);
        let all = &mut dense[mode as usize];
        *all = if all.is_nan() { left } else { *all * left };
    }
    let touched = (0..).zip(dense).filter(|(_, left)| !left.is_nan());
    let factors: Factors = Arc::new(touched.collect());
    if kept.len() < MOST && effects().all(Effects::is_shared) {
        kept.push((effects().cloned().collect(), Arc::clone(&factors)));
    }
    factors
}
