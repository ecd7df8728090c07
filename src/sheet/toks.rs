//! A range of atoms as nom reads it, and the error of its rules.

use std::borrow::Cow;
use std::iter::Enumerate;
use std::ops::Range;

use nom::error::{ContextError, ErrorKind, ParseError};
use nom::{IResult, Input, Needed};

use super::concept::{Concept, Concepts};
use super::token::{Atom, Lexed};
use super::vocab::Match;

/// A range of atoms: what the grammar reads.
#[derive(Debug, Clone, Copy)]
pub struct Toks<'a> {
    /// The line.
    pub lexed: &'a Lexed<'a>,
    /// First atom.
    pub from: usize,
    /// One past the last atom.
    pub to: usize,
    /// Whether errors are to say what was expected; that costs time and is only done for what was not read.
    pub explain: bool,
}

impl<'a> Toks<'a> {
    /// The first atom of the range.
    pub fn first(self) -> Option<&'a Atom<'a>> {
        (self.from < self.to).then(|| &self.lexed.atoms[self.from])
    }

    /// The atom `n` places on.
    pub fn nth(self, n: usize) -> Option<&'a Atom<'a>> {
        (self.from + n < self.to).then(|| &self.lexed.atoms[self.from + n])
    }

    /// The first atom as typed.
    pub fn typed(self) -> &'a str {
        if self.from < self.to {
            self.lexed.typed(self.from)
        } else {
            ""
        }
    }

    /// The range without its first `n` atoms.
    pub fn skip(self, n: usize) -> Self {
        Self {
            from: (self.from + n).min(self.to),
            ..self
        }
    }

    /// All concepts that start in the range, and whether it holds a part of a name or number.
    pub fn contents(self) -> (Concepts, bool) {
        let mut all = Concepts::default();
        let atoms = &self.lexed.atoms[self.from.min(self.to)..self.to];
        atoms.iter().for_each(|a| all.join(&a.heads));
        (all, atoms.iter().any(|a| a.signs))
    }

    /// Whether nothing is left.
    pub fn is_empty(self) -> bool {
        self.from >= self.to
    }

    /// The text from the first atom to the end of the last.
    pub fn rest_text(self) -> &'a str {
        let span = self.lexed.span(self.from, self.to);
        &self.lexed.text[span.start..span.end]
    }

    /// Length of the longest phrase for `concept` that starts here and ends in the range.
    pub fn concept(self, concept: Concept) -> Option<usize> {
        if self.is_empty() {
            return None;
        }
        let fits = |m: &&Match| m.concept == Some(concept) && self.from + m.len <= self.to;
        self.lexed
            .found(self.from)
            .iter()
            .filter(fits)
            .map(|m| m.len)
            .max()
    }
}

impl<'a> Input for Toks<'a> {
    type Item = usize;
    type Iter = Range<usize>;
    type IterIndices = Enumerate<Range<usize>>;

    fn input_len(&self) -> usize {
        self.to - self.from
    }

    fn take(&self, index: usize) -> Self {
        Self {
            to: (self.from + index).min(self.to),
            ..*self
        }
    }

    fn take_from(&self, index: usize) -> Self {
        self.skip(index)
    }

    fn take_split(&self, index: usize) -> (Self, Self) {
        (self.take_from(index), self.take(index))
    }

    fn position<P: Fn(usize) -> bool>(&self, predicate: P) -> Option<usize> {
        (self.from..self.to).position(predicate)
    }

    fn iter_elements(&self) -> Self::Iter {
        self.from..self.to
    }

    fn iter_indices(&self) -> Self::IterIndices {
        (self.from..self.to).enumerate()
    }

    fn slice_index(&self, count: usize) -> Result<usize, Needed> {
        if count <= self.input_len() {
            Ok(count)
        } else {
            Err(Needed::new(count - self.input_len()))
        }
    }
}

/// Why a rule of the grammar does not fit, with the place where it stopped.
#[derive(Debug, Clone, PartialEq)]
pub struct E {
    /// The atom where the rule stopped.
    pub at: usize,
    /// What was expected there.
    pub wants: Vec<Cow<'static, str>>,
    /// A line that the rule would accept.
    pub example: Option<&'static str>,
    /// Something is wrong with what stands there; not just that the rule does not start there.
    pub told: bool,
}

impl E {
    /// Nothing fits at the start of `input`; nothing is said about what was expected.
    pub fn silent(input: Toks) -> Self {
        Self {
            at: input.from,
            wants: Vec::new(),
            example: None,
            told: false,
        }
    }

    /// `what` was expected at the start of `input`.
    pub fn want(input: Toks, what: impl Into<Cow<'static, str>>) -> Self {
        if !input.explain {
            return Self::silent(input);
        }
        Self {
            at: input.from,
            wants: vec![what.into()],
            example: None,
            told: false,
        }
    }
}

impl ParseError<Toks<'_>> for E {
    fn from_error_kind(input: Toks<'_>, _: ErrorKind) -> Self {
        Self::silent(input)
    }

    fn append(_: Toks<'_>, _: ErrorKind, other: Self) -> Self {
        other
    }

    /// Keeps the error that got furthest of those that say what was expected; at the same place, both expectations,
    /// unless one of them names what is wrong.
    fn or(mut self, mut other: Self) -> Self {
        use std::cmp::Ordering::{Equal, Greater, Less};
        let rank = |e: &Self| (!e.wants.is_empty(), e.at, e.told);
        match rank(&self).cmp(&rank(&other)) {
            Greater => self,
            Less => other,
            Equal => {
                for want in other.wants.drain(..) {
                    if !self.wants.contains(&want) {
                        self.wants.push(want);
                    }
                }
                self.example = self.example.or(other.example);
                self
            }
        }
    }
}

impl ContextError<Toks<'_>> for E {
    /// What stands at the start of a rule names what it expects as a whole.
    fn add_context(input: Toks<'_>, what: &'static str, other: Self) -> Self {
        if other.at <= input.from {
            Self {
                wants: vec![what.into()],
                ..other
            }
        } else {
            other
        }
    }
}

/// Result of a rule.
pub type P<'a, T> = IResult<Toks<'a>, T, E>;
