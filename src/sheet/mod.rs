//! Text to run sheet: what was typed, every line kept with its place.

pub mod concept;
pub mod correct;
mod decode;
mod divide;
mod entry;
mod grammar;
mod hint;
mod line;
mod print;
pub mod statement;
pub mod token;
pub mod toks;
pub mod vocab;

use crate::diag::{Diag, Severity, code};
use crate::source::{Span, Spanned};
pub use decode::{MOST_BYTES, SheetError, read_limited};
pub use entry::{TORN, moment};
pub use print::{moment_text, origin_text, outcome_text, print, print_statement};
pub use statement::*;
pub use vocab::Vocabulary;

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
    /// Misspelt words that were read as words of the bench; each has a diagnostic too.
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
    /// What a later `undo` struck: kept, but no longer said.
    pub struck: Vec<Spanned<Statement>>,
    /// The line of the `undo` that struck it.
    pub struck_by: Option<usize>,
    /// Set when (part of) the line was not understood: what was expected and what to type.
    pub not_understood: Option<NotUnderstood>,
}

/// The part of a line that was not understood.
#[derive(Debug, Clone, PartialEq)]
pub struct NotUnderstood {
    /// Which part of the text, from the first piece to the last.
    pub span: Span,
    /// The pieces that were not read, in order; what stands between them was.
    pub pieces: Vec<Span>,
    /// What was expected there, and what to type.
    pub hint: String,
}

impl RunSheet {
    /// The statements of all lines in order.
    pub fn statements(&self) -> impl Iterator<Item = &Spanned<Statement>> {
        self.lines.iter().flat_map(|line| &line.statements)
    }
}

/// Reads a run sheet with the shipped vocabulary. `name` is what messages call it.
///
/// A line that is not understood never stops the rest: it is kept with its place and a hint.
///
/// ```
/// let sheet = whichsocket::sheet::parse("stdin", b"memory bit 3 bad\nblorp\nrest fine").unwrap();
/// assert_eq!(sheet.lines.len(), 3);
/// assert!(sheet.lines[1].not_understood.is_some());
/// ```
///
/// # Errors
/// [`SheetError`] when the bytes are no text, hold nothing but blanks and comments, or are more than 8 MB.
pub fn parse(name: &str, bytes: &[u8]) -> Result<RunSheet, SheetError> {
    parse_with(name, bytes, Vocabulary::english())
}

/// [`parse`] with a vocabulary of the bench's own ([`Vocabulary::with`]).
///
/// # Errors
/// As [`parse`].
pub fn parse_with(name: &str, bytes: &[u8], words: &Vocabulary) -> Result<RunSheet, SheetError> {
    let (text, repaired) = decode::decode(bytes)?;
    let mut reader = line::Reader::new(&text, words);
    if repaired {
        reader.diags.push(Diag {
            code: code::NOT_UTF8,
            severity: Severity::Warning,
            message: "this text is not UTF-8; it was read as Latin-1".into(),
            label: None,
            help: Some("save the file as UTF-8 if a sign looks wrong".into()),
        });
    }
    let mut lines = Vec::new();
    for (index, span) in line_spans(&text).enumerate() {
        lines.extend(reader.line(index + 1, span));
    }
    strike(&mut lines);
    let (diags, corrections) = reader.finish();
    if lines.is_empty() {
        return Err(SheetError::Empty);
    }
    Ok(RunSheet {
        name: name.to_string(),
        lines,
        diags,
        corrections,
        text,
    })
}

/// Each `undo` strikes the nearest line above it that still says something; an `undo` struck by none is left alone. The
/// ticket, its board and the time stamps are not struck: without them the rest would mean nothing.
fn strike(lines: &mut [Line]) {
    let lasting = |s: &Statement| {
        matches!(
            s,
            Statement::Ticket(_) | Statement::Board(_) | Statement::At(_) | Statement::Undo
        )
    };
    for i in 0..lines.len() {
        let (above, from) = lines.split_at_mut(i);
        if !from[0]
            .statements
            .iter()
            .any(|s| s.value == Statement::Undo)
        {
            continue;
        }
        let says = |l: &&mut Line| l.statements.iter().any(|s| !lasting(&s.value));
        if let Some(line) = above.iter_mut().rev().find(says) {
            let (keep, struck) = std::mem::take(&mut line.statements)
                .into_iter()
                .partition(|s| lasting(&s.value));
            line.statements = keep;
            line.struck = struck;
            line.struck_by = Some(from[0].number);
        }
    }
}

/// Lines end with LF, CR or both.
fn line_spans(text: &str) -> impl Iterator<Item = Span> + '_ {
    let mut start = 0;
    std::iter::from_fn(move || {
        if start > text.len() {
            return None;
        }
        let length = text[start..]
            .find(['\n', '\r'])
            .unwrap_or(text.len() - start);
        let end = start + length;
        let both = text[end..].starts_with("\r\n");
        let span = Span::new(start, end);
        start = end + if both { 2 } else { 1 };
        Some(span)
    })
}

/// Findings that a complaint in the customer's words amounts to, where it says something that a line of the sheet
/// could say (`black screen`); empty otherwise. Misspelt words are not corrected here.
pub fn findings_in(complaint: &str) -> Vec<Finding> {
    let mut reader = line::Reader::new(complaint, Vocabulary::english());
    let Some(line) = reader.line(1, Span::new(0, complaint.len())) else {
        return Vec::new();
    };
    if line.not_understood.is_some() || !reader.corrections.is_empty() {
        return Vec::new();
    }
    let found = line.statements.into_iter().filter_map(|s| match s.value {
        Statement::Finding(f) => Some(f),
        _ => None,
    });
    found.collect()
}
