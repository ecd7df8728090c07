//! Text with places in it: every statement of a sheet or a map keeps where it was typed.

/// A half-open range of bytes in a source text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash)]
pub struct Span {
    /// First byte.
    pub start: usize,
    /// One past the last byte.
    pub end: usize,
}

impl Span {
    /// The span from `start` to `end`.
    pub fn new(start: usize, end: usize) -> Self {
        Self { start, end }
    }
}

/// A value with the place it was read from.
#[derive(Debug, Clone, PartialEq)]
pub struct Spanned<T> {
    /// What was read.
    pub value: T,
    /// Where.
    pub span: Span,
}
