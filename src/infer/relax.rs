//! The bounds of the search: readings replaced by products over the causes (formulas in `enumerate`).

use super::fold::{Folded, FoldedCause, Pair, Shape};
use super::wide::{Num, Wide};

/// Which bound.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Side {
    /// Nothing free explains a reading that is not summed exactly.
    Below,
    /// As much as anything free could.
    Above,
}

/// Below this a reading is so little explained that 1 is the better upper bound.
pub(crate) const UNEXPLAINED: f64 = 1e-5;

/// Replaces the readings that are not summed exactly by their bound. The structure is the same on both sides.
pub(crate) fn relax(cell: &Folded, exact: &[bool], side: Side) -> Folded {
    let mut relaxed = cell.clone();
    let mut renumber = vec![usize::MAX; exact.len()];
    relaxed.readings.clear();
    let mut odds = vec![0.0; exact.len()];
    for (j, reading) in cell.readings.iter().enumerate() {
        if exact[j] {
            renumber[j] = relaxed.readings.len();
            relaxed.readings.push(*reading);
        } else if side == Side::Below || reading.e >= UNEXPLAINED {
            odds[j] = reading.u / reading.e;
            relaxed.scale = relaxed.scale.times(Wide::new(reading.e));
        }
    }
    for cause in &mut relaxed.causes {
        relax_cause(
            cause,
            &renumber,
            if side == Side::Above {
                Some(&odds)
            } else {
                None
            },
        );
    }
    relaxed
}

fn relax_cause(cause: &mut FoldedCause, renumber: &[usize], odds: Option<&[f64]>) {
    if cause.touched.iter().all(|&j| renumber[j] == j) {
        return;
    }
    let factor = |pair: &Pair| match odds {
        Some(odds) if renumber[pair.reading] == usize::MAX => {
            Wide::ONE.plus(pair.e.times(Wide::new(odds[pair.reading])))
        }
        _ => Wide::ONE,
    };
    let mut gains = Vec::with_capacity(cause.states.len());
    for state in &mut cause.states {
        let mut gain = state.pairs.iter().map(factor).fold(Wide::ONE, Wide::times);
        for group in &mut state.groups {
            let acts = group.pairs.iter().map(factor).fold(group.acts, Wide::times);
            let total = acts.plus(group.idle);
            gain = gain.times(total);
            group.idle = group.idle.over(total);
            group.acts = acts.over(total);
            renumbered(&mut group.pairs, renumber);
        }
        state.groups.retain(|g| !g.pairs.is_empty());
        renumbered(&mut state.pairs, renumber);
        gains.push(gain);
    }
    for member in &mut cause.members {
        member.left = member.left.times(gains[member.state]);
    }
    let most = cause
        .members
        .iter()
        .fold(Wide::ZERO, |most, m| most.plus(m.left));
    if !most.is_zero() {
        cause
            .members
            .iter_mut()
            .for_each(|m| m.left = m.left.over(most));
        cause.scale = cause.scale.times(most);
    }
    merge_empty(cause);
    cause.touched.retain(|&j| renumber[j] != usize::MAX);
    cause.touched.iter_mut().for_each(|j| *j = renumber[*j]);
    cause.runs.retain(|run| {
        cause
            .states
            .iter()
            .flat_map(|s| &s.groups)
            .any(|g| g.run == *run)
    });
}

/// Makes all states that touch nothing any more one state, the first.
fn merge_empty(cause: &mut FoldedCause) {
    let is_empty = |s: &Shape| s.pairs.is_empty() && s.groups.is_empty();
    let mut states = vec![Shape::default()];
    let mut place = Vec::with_capacity(cause.states.len());
    for shape in std::mem::take(&mut cause.states) {
        if is_empty(&shape) {
            place.push(0);
        } else {
            place.push(states.len());
            states.push(shape);
        }
    }
    cause
        .members
        .iter_mut()
        .for_each(|m| m.state = place[m.state]);
    cause.states = states;
}

/// Keeps the pairs of the readings that are left, under their new numbers.
fn renumbered(pairs: &mut Vec<Pair>, renumber: &[usize]) {
    pairs.retain(|p| renumber[p.reading] != usize::MAX);
    pairs
        .iter_mut()
        .for_each(|p| p.reading = renumber[p.reading]);
}
