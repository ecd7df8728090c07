//! A line cut into atoms: words, marks and quoted texts, each with its place and with every phrase of the
//! vocabulary that starts there. The grammar reads a range of atoms ([`Toks`]) with nom.

use std::borrow::Cow;
use std::iter::Enumerate;
use std::ops::Range;

use nom::error::{ContextError, ErrorKind, ParseError};
use nom::{IResult, Input, Needed};

use super::correct::{self, Reading};
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
    heads: Concepts,
    /// Part of a name or number: a digit, an underscore, a slash, or another name of a place.
    signs: bool,
    /// Range of its matches in [`Lexed::matches`].
    found: (u32, u32),
}

impl Atom<'_> {
    /// The concepts of the phrases that start here.
    pub fn heads(&self) -> Concepts {
        self.heads
    }
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
    matches: Vec<Match>,
}

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

/// Where a word such as `bit3`, `17more` or `timer1a` falls apart, if its letters are a word of the bench.
fn seam(word: &str, words: &Vocabulary) -> Option<usize> {
    let letters = |s: &str| s.len() >= 3 && s.bytes().all(|b| b.is_ascii_alphabetic());
    let known = |s: &str| {
        let s = s.to_ascii_lowercase();
        words.knows(&s) && !words.is(&s, Concept::PartLetters)
    };
    let digit = |c: char| c.is_ascii_digit();
    if word.starts_with(digit) {
        let at = word.find(|c| !digit(c))?;
        return (letters(&word[at..]) && known(&word[at..])).then_some(at);
    }
    let at = word.find(digit)?;
    let tail = word[at..].trim_start_matches(digit);
    let tail_fits = tail.is_empty() || matches!(tail, "a" | "b" | "A" | "B");
    (tail_fits && letters(&word[..at]) && known(&word[..at])).then_some(at)
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
            match (kind == Kind::Word)
                .then(|| seam(piece, self.words))
                .flatten()
            {
                Some(at) => {
                    self.push(kind, span.start, (start, start + at), stuck);
                    self.push(kind, span.start, (start + at, end), true);
                }
                None => self.push(kind, span.start, (start, end), stuck),
            }
            last_end = end;
        }
    }

    fn push(&mut self, kind: Kind, base: usize, (start, end): (usize, usize), stuck: bool) {
        let span = Span::new(base + start, base + end);
        let lower = lower(&self.text[span.start..span.end]);
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
            atoms("timer1a U17 R5 LED1 5v"),
            ["timer", "1a", "U17", "R5", "LED1", "5v"]
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
