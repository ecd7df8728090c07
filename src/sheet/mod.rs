//! Text to run sheet: what was typed, every line kept with its place.

mod above;
pub mod concept;
pub mod correct;
mod cut;
mod decode;
mod divide;
mod entry;
mod glued;
mod grammar;
mod hint;
mod islands;
mod line;
mod meant;
mod named;
pub mod photo;
mod plain;
mod print;
pub mod profile;
mod recover;
mod say;
pub mod statement;
mod texts;
pub mod token;
pub mod toks;
pub mod vocab;

use crate::diag::{Diag, Severity, code};
use crate::faultmap::raw::CartridgeRaw;
use crate::source::{Span, Spanned};
pub use decode::{MOST_BYTES, MOST_LINES, SheetError, read_limited};
pub use entry::{TORN, moment};
pub use print::{moment_text, origin_text, outcome_text, print, print_statement};
pub use profile::Profile;
pub use statement::*;
use std::sync::Arc;
pub use vocab::Vocabulary;

/// What a sheet is read with.
#[derive(Debug, Clone, Copy)]
pub struct Bench<'a> {
    /// The words.
    pub words: &'a Vocabulary,
    /// Profiles of the bench's own, beside the shipped ones.
    pub profiles: &'a [Profile],
    /// The profile that the sheet names; found by [`parse_at`] when it is `None`.
    pub profile: Option<&'a Profile>,
    /// The text was read off a photograph by character recognition.
    pub photo: bool,
    /// Lines of text that were counted on the photograph.
    pub lines: Option<usize>,
}

impl Default for Bench<'_> {
    /// The shipped words and profiles, text typed by a person.
    fn default() -> Self {
        Self {
            words: Vocabulary::english(),
            profiles: &[],
            profile: None,
            photo: false,
            lines: None,
        }
    }
}

impl<'a> Bench<'a> {
    /// The profile of that name, the bench's own first.
    pub fn find_profile(&self, name: &str) -> Option<&'a Profile> {
        let own = self.profiles.iter().chain(Profile::shipped());
        own.into_iter()
            .find(|p| p.raw.cartridge.eq_ignore_ascii_case(name))
    }
}

/// A run sheet as read: all lines in order, and what is to be said about them.
#[derive(Debug, Clone, PartialEq)]
pub struct RunSheet {
    /// Name for messages: a file's path or `stdin`.
    pub name: String,
    /// The whole text.
    pub text: String,
    /// Every line that is not blank and not only a comment.
    pub lines: Vec<Line>,
    /// Comments, each from its sign to the end of its line: nobody reads them, but nothing that was typed is lost.
    pub comments: Vec<Span>,
    /// Everything not understood, corrected or doubtful, in order of place.
    pub diags: Vec<Diag>,
    /// Misspelt words that were read as words of the bench; each has a diagnostic too.
    pub corrections: Vec<Correction>,
    /// The text was read off a photograph.
    pub photo: bool,
    /// Several recognitions of the photograph were held against each other.
    pub agreed: bool,
    /// The profile of the cartridge that the sheet names, when there is one.
    pub profile: Option<Arc<CartridgeRaw>>,
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
    /// Off a photograph: what the line may say, printed, when that is not certain.
    pub alternatives: Vec<String>,
    /// Off a photograph: what counts for this line, which is not certain, until somebody says what is right.
    pub provisional: Option<photo::Provisional>,
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
    parse_at(
        name,
        bytes,
        &Bench {
            words,
            ..Bench::default()
        },
    )
}

/// [`parse`] for text off a photograph: one recognition, or several of the same photograph with form feeds between.
///
/// # Errors
/// As [`parse`].
pub fn parse_photo(name: &str, bytes: &[u8], bench: &Bench) -> Result<RunSheet, SheetError> {
    parse_at(
        name,
        bytes,
        &Bench {
            photo: true,
            ..*bench
        },
    )
}

/// [`parse`] with everything that a bench may bring.
///
/// # Errors
/// As [`parse`].
pub fn parse_at(name: &str, bytes: &[u8], bench: &Bench) -> Result<RunSheet, SheetError> {
    let (text, repaired) = decode::decode(bytes)?;
    let pages = bench.photo.then(|| photo::pages(&text));
    let merged = (pages.as_ref()).map(|p| photo::merge(&p[..p.len().min(photo::MOST_PAGES)]));
    let recognitions = pages.map_or(0, |p| p.len());
    let text = merged.as_ref().map_or(text, |m| m.text.clone());
    let mut sheet = read_text(name, text, repaired, bench)?;
    let said = |s: &RunSheet, photo: bool| {
        s.statements().find_map(|s| match &s.value {
            Statement::Cartridge(name) if !photo => Some(name.clone()),
            Statement::Obtained(Obtained::Photo) if photo => Some(String::new()),
            _ => None,
        })
    };
    if !bench.photo && said(&sheet, true).is_some() {
        return parse_photo(name, bytes, bench);
    }
    let profile = bench
        .profile
        .or_else(|| bench.find_profile(&said(&sheet, false)?));
    let bench = Bench { profile, ..*bench };
    if profile.is_some() {
        sheet = read_text(name, sheet.text, repaired, &bench)?;
        sheet.profile = profile.map(|p| p.raw.clone());
    }
    sheet.photo = bench.photo;
    if let Some(merged) = &merged {
        sheet.agreed = merged.rows.iter().any(|r| r.variants.len() > 1);
        photo::compare(&mut sheet, merged, &bench);
    }
    photo::count_pages(&mut sheet, recognitions);
    if let Some(expected) = bench.lines {
        photo::count_lines(&mut sheet, expected);
    }
    Ok(sheet)
}

fn read_text(
    name: &str,
    text: String,
    repaired: bool,
    bench: &Bench,
) -> Result<RunSheet, SheetError> {
    let mut reader = line::Reader::new(&text, bench);
    if repaired {
        reader.diags.push(Diag {
            code: code::NOT_UTF8,
            severity: Severity::Warning,
            message: "this text is not UTF-8; it was read as Latin-1".into(),
            label: None,
            help: Some("save the file as UTF-8 if a sign looks wrong".into()),
        });
    }
    let (mut lines, mut statements) = (Vec::new(), 0);
    for (index, span) in line_spans(&text).enumerate() {
        let Some(line) = reader.line(index + 1, span) else {
            continue;
        };
        statements += line.statements.len();
        lines.push(line);
        if lines.len() > MOST_LINES || statements > MOST_LINES {
            return Err(SheetError::TooManyLines);
        }
    }
    strike(&mut lines);
    let comments = std::mem::take(&mut reader.comments);
    let (diags, corrections) = reader.finish();
    if lines.is_empty() {
        return Err(SheetError::Empty);
    }
    Ok(RunSheet {
        name: name.to_string(),
        lines,
        comments,
        diags,
        corrections,
        text,
        photo: false,
        agreed: false,
        profile: None,
    })
}

/// Each `undo` strikes the nearest line above it that still says something that can be struck ([`Statement::lasts`]).
fn strike(lines: &mut [Line]) {
    for i in 0..lines.len() {
        let (above, from) = lines.split_at_mut(i);
        if !from[0]
            .statements
            .iter()
            .any(|s| s.value == Statement::Undo)
        {
            continue;
        }
        let says = |l: &&mut Line| l.statements.iter().any(|s| !s.value.lasts());
        if let Some(line) = above.iter_mut().rev().find(says) {
            let (keep, struck) = std::mem::take(&mut line.statements)
                .into_iter()
                .partition(|s| s.value.lasts());
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
    let mut reader = line::Reader::new(complaint, &Bench::default());
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
