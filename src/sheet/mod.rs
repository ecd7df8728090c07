//! Text to run sheet: what was typed, every line kept with its place.

pub mod statement;

use crate::diag::Diag;
use crate::source::{Span, Spanned};
pub use statement::*;

/// A run sheet as read: all lines in order, and what is to be said about them.
#[derive(Debug, Clone, PartialEq)]
pub struct RunSheet {
    /// Name for messages: a file's path or `stdin`.
    pub name: String,
    /// The whole text.
    pub text: String,
    /// Every line that is not blank and not only a comment.
    pub lines: Vec<Line>,
    /// Everything not understood, corrected or doubtful, in order of place.
    pub diags: Vec<Diag>,
    /// Words that were read as others.
    pub corrections: Vec<Correction>,
}

/// A word that was read as another.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Correction {
    /// Line number from 1.
    pub line: usize,
    /// As typed.
    pub typed: String,
    /// As read.
    pub read_as: String,
}

/// One line of a sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Line number from 1.
    pub number: usize,
    /// The line in the text, without its end.
    pub span: Span,
    /// What was understood; empty when nothing was.
    pub statements: Vec<Spanned<Statement>>,
    /// Set when (part of) the line was not understood: what was expected and what to type.
    pub not_understood: Option<NotUnderstood>,
}

/// The part of a line that was not understood.
#[derive(Debug, Clone, PartialEq)]
pub struct NotUnderstood {
    /// Which part of the text.
    pub span: Span,
    /// What was expected there, and what to type.
    pub hint: String,
}
