//! The causes of a sum over a lattice, with their states.

use super::{Row, ZERO};
use std::ops::Range;

/// How a state bears on a reading; `e + u = 1`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Pair {
    /// Which reading.
    pub(crate) reading: usize,
    /// Does not explain it.
    pub(crate) u: f64,
    /// Explains it.
    pub(crate) e: f64,
}

/// A state of a cause: those of its modes that do the same to the readings.
#[derive(Debug, Clone)]
pub(crate) struct State {
    /// What it does, by reading: which of [`Causes::pairs`].
    pairs: Range<usize>,
    /// Its weight in each setting.
    pub(crate) weight: Row,
}

/// The causes that touch some reading, all their states in one list: there are hundreds, most with two or three.
#[derive(Debug, Default)]
pub(crate) struct Causes {
    states: Vec<State>,
    pairs: Vec<Pair>,
    /// Of each cause its states, and the set of the readings that it touches.
    causes: Vec<(Range<usize>, usize)>,
}

impl Causes {
    /// With room for the states of so many causes.
    pub(crate) fn with_capacity(causes: usize) -> Self {
        Self {
            states: Vec::with_capacity(3 * causes),
            pairs: Vec::with_capacity(3 * causes),
            causes: Vec::with_capacity(causes),
        }
    }

    /// Begins a cause with the state that touches nothing.
    pub(crate) fn begin(&mut self) {
        let first = self.states.len();
        self.causes.push((first..first, 0));
        self.put(&[]);
    }

    /// The state of the cause begun last that does this: found, or added without weight.
    pub(crate) fn put(&mut self, pairs: &[Pair]) -> usize {
        let (own, touched) = self.causes.last_mut().expect("a cause was begun");
        let mut known = own.clone();
        if let Some(same) = known.find(|&at| self.pairs[self.states[at].pairs.clone()] == *pairs) {
            return same;
        }
        let first = self.pairs.len();
        self.pairs.extend_from_slice(pairs);
        *touched = pairs.iter().fold(*touched, |t, p| t | 1 << p.reading);
        self.states.push(State {
            pairs: first..self.pairs.len(),
            weight: ZERO,
        });
        own.end = self.states.len();
        own.end - 1
    }

    /// Of each cause its states, and the set of the readings that it touches.
    pub(super) fn all(&self) -> impl Iterator<Item = &(Range<usize>, usize)> {
        self.causes.iter()
    }

    /// How many states there are.
    pub(super) fn states(&self) -> usize {
        self.states.len()
    }

    /// How many times these states go over a table.
    pub(super) fn passes(&self, states: Range<usize>) -> usize {
        let each = self.states[states].iter();
        each.map(|s| 1 + s.pairs.len()).sum()
    }

    /// How many causes there are.
    pub(crate) fn len(&self) -> usize {
        self.causes.len()
    }

    /// Where the states of a cause are, in the order in which they were [put](Self::put).
    pub(crate) fn range(&self, cause: usize) -> Range<usize> {
        self.causes[cause].0.clone()
    }

    /// The states of a cause.
    pub(crate) fn of(&self, cause: usize) -> &[State] {
        &self.states[self.range(cause)]
    }

    /// A state by where it is.
    pub(crate) fn state_mut(&mut self, at: usize) -> &mut State {
        &mut self.states[at]
    }

    /// What a state does.
    pub(crate) fn pairs(&self, state: &State) -> &[Pair] {
        &self.pairs[state.pairs.clone()]
    }
}
