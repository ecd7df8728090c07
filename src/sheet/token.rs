//! A line cut into atoms: words, marks and quoted texts, each with its place and with every phrase of the
//! vocabulary that starts there. The grammar reads ranges of them ([`super::toks`]).

use std::borrow::Cow;
use std::cell::RefCell;
use std::collections::HashMap;

use super::correct::{self, Reading};
use super::statement::Statement;
use super::vocab::{Concept, Concepts, Match, Vocabulary};
use crate::source::Span;

/// What an atom is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Letters, digits, underscores; an apostrophe between letters belongs to the word.
    Word,
    /// One other character.
    Mark,
    /// Text in double quotes, the quotes included.
    Quoted,
}

/// A piece of a line.
#[derive(Debug, Clone)]
pub struct Atom<'t> {
    /// What it is.
    pub kind: Kind,
    /// Place in the whole text.
    pub span: Span,
    /// Lower case; of a corrected word, the word that it is read as.
    pub lower: Cow<'t, str>,
    /// No space stands before it.
    pub stuck: bool,
    /// How an unknown word was read.
    pub reading: Reading,
    /// What starts here.
    pub heads: Concepts,
    /// Part of a name or number: a digit, an underscore, a slash, or another name of a place.
    pub signs: bool,
    /// Range of its matches in [`Lexed::matches`].
    found: (u32, u32),
}

/// A line cut into atoms.
#[derive(Debug)]
pub struct Lexed<'t> {
    /// The whole text of the sheet.
    pub text: &'t str,
    /// The atoms in order.
    pub atoms: Vec<Atom<'t>>,
    /// The words used.
    pub words: &'t Vocabulary,
    /// The statement before this line was a failing memory cell, so that `17 more` means more of them.
    pub after_cell: bool,
    /// What the grammar made of ranges of atoms: many ways of dividing a line try the same ones.
    pub(super) tried: Tried,
    matches: Vec<Match>,
}

/// For each range of atoms that was tried, the statements it makes, if it makes any.
pub(super) type Tried = RefCell<HashMap<(usize, usize), Option<Vec<Statement>>>>;

/// Whether a character belongs to a word.
pub fn is_word_char(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

fn is_apostrophe(c: char) -> bool {
    c == '\'' || c == '\u{2019}'
}

/// The pieces of a text without its spaces: words and single marks, as byte ranges.
pub fn pieces(text: &str) -> impl Iterator<Item = (usize, usize)> + '_ {
    let mut at = 0;
    std::iter::from_fn(move || {
        at += text[at..].find(|c: char| !c.is_whitespace())?;
        let start = at;
        let mut chars = text[start..].char_indices().peekable();
        let (_, first) = chars.next()?;
        let mut end = start + first.len_utf8();
        if is_word_char(first) {
            let mut before = first;
            while let Some((offset, c)) = chars.next() {
                let inside = is_apostrophe(c)
                    && before.is_alphabetic()
                    && chars.peek().is_some_and(|(_, next)| next.is_alphabetic());
                if !(is_word_char(c) || inside) {
                    break;
                }
                end = start + offset + c.len_utf8();
                before = c;
            }
        }
        at = end;
        Some((start, end))
    })
}

/// Lower case, with a plain apostrophe; borrowed when nothing changes.
fn lower(word: &str) -> Cow<'_, str> {
    if word
        .bytes()
        .all(|b| b.is_ascii() && !b.is_ascii_uppercase())
    {
        return Cow::Borrowed(word);
    }
    Cow::Owned(word.to_lowercase().replace('\u{2019}', "'"))
}

impl<'t> Lexed<'t> {
    /// Cuts the part `span` of `text` into atoms and looks up the words.
    pub fn new(
        text: &'t str,
        span: Span,
        words: &'t Vocabulary,
        memo: Option<&mut correct::Memo>,
    ) -> Self {
        let mut lexed = Lexed {
            text,
            atoms: Vec::new(),
            words,
            after_cell: false,
            tried: Tried::default(),
            matches: Vec::new(),
        };
        lexed.cut(span);
        if let Some(memo) = memo {
            for i in 0..lexed.atoms.len() {
                lexed.correct(i, memo);
            }
        }
        for i in 0..lexed.atoms.len() {
            let start = lexed.matches.len() as u32;
            let mut found = std::mem::take(&mut lexed.matches);
            words.matches(
                i,
                |k| lexed.atoms.get(k).map(|a| (&*a.lower, a.stuck)),
                &mut found,
            );
            lexed.matches = found;
            let mut heads = Concepts::default();
            let mut signs = lexed.atoms[i]
                .lower
                .bytes()
                .any(|b| b.is_ascii_digit() || matches!(b, b'_' | b'/' | b'*'));
            for found in &lexed.matches[start as usize..] {
                match found.concept {
                    Some(concept) => heads.insert(concept),
                    None => signs = true,
                }
            }
            let end = lexed.matches.len() as u32;
            let atom = &mut lexed.atoms[i];
            (atom.found, atom.heads, atom.signs) = ((start, end), heads, signs);
        }
        lexed
    }

    fn cut(&mut self, span: Span) {
        let line = &self.text[span.start..span.end];
        let mut skip_to = 0;
        let mut last_end = usize::MAX;
        for (start, end) in pieces(line) {
            if start < skip_to {
                continue;
            }
            let piece = &line[start..end];
            let quoted = matches!(piece, "\"" | "\u{201c}")
                .then(|| closing_quote(line, end))
                .flatten();
            if let Some(close) = quoted {
                self.push(Kind::Quoted, span.start, (start, close), start == last_end);
                (skip_to, last_end) = (close, close);
                continue;
            }
            let kind = if piece.starts_with(is_word_char) {
                Kind::Word
            } else {
                Kind::Mark
            };
            let stuck = start == last_end;
            let seams = match kind {
                Kind::Word => super::glued::seams(piece, self.words),
                _ => Vec::new(),
            };
            let (mut from, mut stuck) = (start, stuck);
            for to in seams.into_iter().map(|at| start + at).chain([end]) {
                self.push(kind, span.start, (from, to), stuck);
                (from, stuck) = (to, true);
            }
            last_end = end;
        }
    }

    fn push(&mut self, kind: Kind, base: usize, (start, end): (usize, usize), stuck: bool) {
        let span = Span::new(base + start, base + end);
        let lower = lower(&self.text[span.start..span.end]);
        let lower = match self.words.spelling(&lower) {
            Some(word) => Cow::Borrowed(&**word),
            None => lower,
        };
        self.atoms.push(Atom {
            kind,
            span,
            lower,
            stuck,
            reading: Reading::AsTyped,
            heads: Concepts::default(),
            signs: false,
            found: (0, 0),
        });
    }

    /// Reads a misspelt word as the one it must be; positions, numbers and hex are left alone.
    fn correct(&mut self, i: usize, memo: &mut correct::Memo) {
        let atom = &self.atoms[i];
        if atom.kind != Kind::Word
            || self.words.knows(&atom.lower)
            || !correct::may_be_misspelt(&atom.lower)
        {
            return;
        }
        let reading = memo.read(&atom.lower, self.words);
        if let Reading::As(word) = &reading {
            self.atoms[i].lower = Cow::Owned(word.clone());
        }
        self.atoms[i].reading = reading;
    }

    /// The words of all ranges that the grammar was tried on.
    pub(super) fn work(&self) -> usize {
        self.tried
            .borrow()
            .keys()
            .map(|(from, to)| to.saturating_sub(*from))
            .sum()
    }

    /// The matches that start at atom `i`.
    pub fn found(&self, i: usize) -> &[Match] {
        self.atoms.get(i).map_or(&[], |a| {
            &self.matches[a.found.0 as usize..a.found.1 as usize]
        })
    }

    /// How many atoms the longest phrase for `concept` at atom `i` covers.
    pub fn longest(&self, i: usize, concept: Concept) -> Option<usize> {
        self.found(i)
            .iter()
            .filter(|m| m.concept == Some(concept))
            .map(|m| m.len)
            .max()
    }

    /// Text of atom `i` as typed.
    pub fn typed(&self, i: usize) -> &'t str {
        self.atoms
            .get(i)
            .map_or("", |a| &self.text[a.span.start..a.span.end])
    }

    /// The place of the atoms `from..to`.
    pub fn span(&self, from: usize, to: usize) -> Span {
        match (
            self.atoms.get(from),
            to.checked_sub(1).and_then(|last| self.atoms.get(last)),
        ) {
            (Some(a), Some(b)) if from < to => Span::new(a.span.start, b.span.end),
            (Some(a), _) => Span::new(a.span.start, a.span.start),
            _ => {
                let end = self.atoms.last().map_or(0, |a| a.span.end);
                Span::new(end, end)
            }
        }
    }
}

fn closing_quote(line: &str, from: usize) -> Option<usize> {
    let rest = &line[from..];
    let at = rest.find(['"', '\u{201d}'])?;
    let c = rest[at..].chars().next()?;
    (at > 0).then_some(from + at + c.len_utf8())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn atoms(text: &str) -> Vec<String> {
        let mut memo = correct::Memo::default();
        let lexed = Lexed::new(
            text,
            Span::new(0, text.len()),
            Vocabulary::english(),
            Some(&mut memo),
        );
        lexed
            .atoms
            .iter()
            .enumerate()
            .map(|(i, _)| lexed.typed(i).to_string())
            .collect()
    }

    #[test]
    fn words_marks_quotes_and_seams() {
        assert_eq!(atoms("U7.40 isn't low"), ["U7", ".", "40", "isn't", "low"]);
        assert_eq!(atoms("bit3 bad 17more"), ["bit", "3", "bad", "17", "more"]);
        assert_eq!(
            atoms("key \"left shift\" dead"),
            ["key", "\"left shift\"", "dead"]
        );
        assert_eq!(
            atoms("timer1a U17 R5 LED1 5v 4BED"),
            ["timer", "1a", "U17", "R5", "LED1", "5v", "4BED"]
        );
        assert_eq!(atoms("\"open"), ["\"", "open"]);
    }

    #[test]
    fn phrases_are_found_across_hyphens() {
        let mut memo = correct::Memo::default();
        let text = "known-good too hot to touch";
        let lexed = Lexed::new(
            text,
            Span::new(0, text.len()),
            Vocabulary::english(),
            Some(&mut memo),
        );
        assert_eq!(lexed.longest(0, Concept::KnownGood), Some(3));
        assert_eq!(lexed.longest(3, Concept::TooHot), Some(4));
        assert_eq!(lexed.longest(3, Concept::Hot), None);
    }
}
