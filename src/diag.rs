//! Everything the program has to say about a text: one value per finding, drawn later.

use crate::source::Span;

/// How serious a finding is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Worth knowing.
    Note,
    /// Something was corrected, doubted or ignored.
    Warning,
    /// Something was not understood.
    Error,
}

/// One finding about a text.
#[derive(Debug, Clone, PartialEq)]
pub struct Diag {
    /// Stable kebab-case code, documented in DEVELOPERS.md.
    pub code: &'static str,
    /// How serious.
    pub severity: Severity,
    /// One line: what is wrong.
    pub message: String,
    /// The place, with what to write beside it.
    pub label: Option<(Span, String)>,
    /// What to type instead.
    pub help: Option<String>,
}
