//! What a reader says about what it did not read, corrected or passed over.

use super::correct::Reading;
use super::divide::toks;
use super::grammar::{explain, statement};
use super::hint;
use super::line::Reader;
use super::statement::Statement;
use super::token::Lexed;
use super::{Correction, Line, NotUnderstood};
use crate::diag::{Diag, Severity, code};
use crate::source::Span;

/// After so many parts that were not read, lines are only tried as a whole.
const PATIENCE: usize = 1_000;
/// So many messages of one code are shown.
const MOST_ALIKE: usize = 100;

impl Reader<'_> {
    /// Whether lines are still looked at closely: a text with very many lines that are no statements is no sheet.
    pub(super) fn is_patient(&self) -> bool {
        self.unread < PATIENCE
    }

    pub(super) fn note_corrections(
        &mut self,
        lexed: &Lexed,
        from: usize,
        to: usize,
        read: &[Statement],
        number: usize,
    ) {
        if self.quiet {
            return;
        }
        let corrected = |i: &usize| matches!(lexed.atoms[*i].reading, Reading::As(_));
        if !(from..to).any(|i| corrected(&i)) || self.reads_as_typed(lexed.span(from, to), read) {
            return;
        }
        // Names are taken as typed, whatever they look like.
        let named = matches!(
            read.first(),
            Some(Statement::Ticket(_) | Statement::Board(_) | Statement::Cartridge(_))
        );
        let to = if named { from + 1 } else { to };
        for i in from..to {
            let Reading::As(word) = &lexed.atoms[i].reading else {
                continue;
            };
            let typed = lexed.typed(i).to_string();
            self.say(
                code::CORRECTED_WORD,
                Severity::Warning,
                format!("`{typed}` was read as `{word}`"),
                (lexed.atoms[i].span, format!("read as `{word}`")),
                format!("type `{word}`, or another word if that is not what was meant"),
            );
            self.corrections.push(Correction {
                line: number,
                typed,
                read_as: word.clone(),
            });
        }
    }

    /// Whether a part says the same without corrections: what was corrected is a name there, taken as typed.
    fn reads_as_typed(&self, part: Span, read: &[Statement]) -> bool {
        let plain = Lexed::new(self.text, part, self.words, None);
        statement(toks(&plain, 0, plain.atoms.len())).is_some_and(|all| all == read)
    }

    /// The segment up to atom `to` is not read, because of the word at `at`.
    pub(super) fn turned_around(&mut self, lexed: &Lexed, at: usize, to: usize, line: &mut Line) {
        let whole = lexed.span(0, to);
        let word = lexed.typed(at);
        let (message, help) = match &lexed.atoms[at].reading {
            _ if word == "?" => (
                "a question is no result".to_string(),
                "type what was seen, or `note` before a remark".to_string(),
            ),
            Reading::NearChanger(meant) => (
                format!("`{word}` may be `{meant}`, which would change what the line says"),
                "type the result in plain words, as in `memory bad`, or `note` before a remark"
                    .to_string(),
            ),
            _ => (
                format!("`{word}` may change what the line says, so it is not read"),
                format!(
                    "say it without `{word}`, as in `memory bad`, each result on a line of its own; or type `note` before a remark"
                ),
            ),
        };
        self.unread(
            line,
            whole,
            lexed.atoms[at].span,
            code::TURNED_AROUND,
            &message,
            "this word",
            &help,
        );
    }

    pub(super) fn not_understood(
        &mut self,
        lexed: &Lexed,
        from: usize,
        to: usize,
        line: &mut Line,
    ) {
        let whole = lexed.span(from, to);
        if self.quiet || !self.is_patient() {
            self.unread(
                line,
                whole,
                whole,
                code::NOT_UNDERSTOOD,
                "not understood",
                "no statement",
                "see the lines above",
            );
            return;
        }
        let part = toks(lexed, from, to);
        let said = hint::explain(part, &explain(part));
        self.unread(
            line,
            whole,
            said.place,
            said.code,
            &said.message,
            &said.label,
            &said.help,
        );
    }

    /// A question about what stands last in a line.
    pub(super) fn doubted(&mut self, lexed: &Lexed, from: usize, to: usize, line: &mut Line) {
        let place = lexed.atoms[to - 1].span;
        self.unread(
            line,
            lexed.span(from, to),
            place,
            code::TURNED_AROUND,
            "a question is no result",
            "this mark",
            "type what was seen, or `note` before a remark",
        );
    }

    /// Keeps a part that was not read, with what to say about it.
    #[allow(clippy::too_many_arguments)] // the parts of one message
    pub(super) fn unread(
        &mut self,
        line: &mut Line,
        whole: Span,
        place: Span,
        code: &'static str,
        message: &str,
        label: &str,
        help: &str,
    ) {
        self.unread += 1;
        match &mut line.not_understood {
            Some(kept) => {
                kept.span.end = kept.span.end.max(whole.end);
                kept.pieces.push(whole);
            }
            none => {
                *none = Some(NotUnderstood {
                    span: whole,
                    pieces: vec![whole],
                    hint: help.to_string(),
                })
            }
        }
        self.say(
            code,
            Severity::Error,
            message.to_string(),
            (place, label.to_string()),
            help.to_string(),
        );
    }

    /// Adds a message, unless there are already very many of its code.
    pub(super) fn say(
        &mut self,
        code: &'static str,
        severity: Severity,
        message: String,
        label: (Span, String),
        help: String,
    ) {
        if self.quiet {
            return;
        }
        let count = self.said.entry(code).or_insert(0);
        *count += 1;
        if *count <= MOST_ALIKE {
            self.diags.push(Diag {
                code,
                severity,
                message,
                label: Some(label),
                help: Some(help),
            });
        }
    }

    /// What was said and corrected; messages that were left out are counted.
    pub fn finish(mut self) -> (Vec<Diag>, Vec<Correction>) {
        let mut more: Vec<(&str, usize)> = self
            .said
            .into_iter()
            .filter(|(_, n)| *n > MOST_ALIKE)
            .collect();
        more.sort_unstable();
        for (code, count) in more {
            self.diags.push(Diag {
                code: code::MORE_ALIKE,
                severity: Severity::Note,
                message: format!(
                    "{} more messages `{code}` are not shown",
                    count - MOST_ALIKE
                ),
                label: None,
                help: Some("put the first ones right, or leave out what is no statement".into()),
            });
        }
        (self.diags, self.corrections)
    }
}

/// A text cut to what fits a message.
pub fn short(text: &str) -> String {
    if text.chars().count() <= 40 {
        return text.to_string();
    }
    let head: String = text.chars().take(37).collect();
    format!("{head}...")
}
