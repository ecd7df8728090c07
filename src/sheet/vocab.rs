//! The words of the bench: which word or phrase stands for which concept. The words are data
//! (`faultmaps/words/english.yaml`, compiled in); this module reads that form and looks words up.
//!
//! ```text
//! file    = line*
//! line    = blank | comment | entry
//! entry   = concept ":" words continuation*      (a continuation starts with a space)
//! concept = name | "name" place | "spelt" word
//! words   = phrase ("," phrase)*
//! ```

use std::borrow::Cow;
use std::ops::Range;
use std::sync::OnceLock;

use super::plain::Plain;

use foldhash::{HashMap, HashMapExt, HashSet};
use nom::bytes::complete::take_while1;
use nom::character::complete::{char, space0, space1};
use nom::combinator::opt;
use nom::sequence::{preceded, terminated};
use nom::{IResult, Parser};
use std::collections::hash_map::Entry;

pub use super::concept::{Concept, Concepts};

/// The words that the program ships with.
pub const ENGLISH: &str = include_str!("../../faultmaps/words/english.yaml");

/// Short forms and turns of phrase of people in a hurry; shipped as well.
pub const HURRY: &str = include_str!("../../faultmaps/words/hurry.yaml");

/// A word of the shipped file, or of a bench's own.
type Word = Cow<'static, str>;

/// Turns of phrase and slips of people who type as they speak; shipped as well.
pub const PROSE: &str = include_str!("../../faultmaps/words/prose.yaml");

/// Positions of the shipped boards whose names would not be seen to be positions; shipped as well.
pub const PLACES: &str = include_str!("../../faultmaps/words/places.yaml");

/// All files that are shipped, in the order in which they are read.
const SHIPPED: [&str; 4] = [ENGLISH, HURRY, PROSE, PLACES];

/// One phrase of the vocabulary and what it stands for.
#[derive(Debug, Clone)]
struct Phrase {
    /// The words after the first, among all of [`Vocabulary::rests`]: lower case; punctuation marks count as words, hyphens are
    /// left out.
    rest: Range<u32>,
    means: Meaning,
    /// The next phrase with the same first word, or [`NONE`].
    next: u32,
}

/// No phrase.
const NONE: u32 = u32::MAX;

/// The phrases that begin with a word: the first and the last of them, or [`NONE`].
#[derive(Debug, Clone, Copy)]
struct Begins {
    first: u32,
    last: u32,
}

impl Default for Begins {
    fn default() -> Self {
        Self {
            first: NONE,
            last: NONE,
        }
    }
}

/// A word that a misspelt one may be read as, or that turns a meaning around.
#[derive(Debug, Clone)]
pub struct Target {
    /// The word, lower case.
    pub word: Word,
    /// Its characters as [`super::correct::mask`] counts them.
    pub mask: u64,
}

/// What a phrase stands for: a concept, or a place by another name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Meaning {
    Concept(Concept),
    Name(u32),
}

/// What stands before the colon of an entry.
enum Head {
    Means(Meaning),
    /// Another spelling of this word.
    Spelt(Word),
}

/// A phrase found in a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Match {
    /// What it stands for; `None` for another name of a place.
    pub concept: Option<Concept>,
    /// For another name of a place: what [`Vocabulary::name`] takes.
    pub name: u32,
    /// How many atoms it covers.
    pub len: usize,
}

/// Words and what they stand for.
#[derive(Debug, Default)]
pub struct Vocabulary {
    /// Every single word of every phrase, which is spelt right, with the phrases that begin with it. The program makes all of
    /// this at each start: so it is one table, with the phrases and their further words each in one run.
    known: HashMap<Word, Begins>,
    phrases: Vec<Phrase>,
    rests: Vec<Word>,
    /// Words that a misspelt word may be read as, by length in characters.
    targets: Vec<Vec<Target>>,
    /// Words that turn a meaning around.
    changers: Vec<Target>,
    /// The places that have other names.
    names: Vec<String>,
    /// Other spellings of words.
    spelt: HashMap<Word, Word>,
    /// What was read with these words and may come again.
    pub(super) plain: Plain,
}

/// What is wrong with a words file.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum WordsError {
    /// A line is not `concept: word, word`.
    #[error("line {line}: expected `concept: word, word`, found `{text}`")]
    Form {
        /// Line number from 1.
        line: usize,
        /// The line.
        text: String,
    },
    /// A concept that the program does not have.
    #[error("line {line}: there is no concept `{name}`{}", did_you_mean(.near))]
    Concept {
        /// Line number from 1.
        line: usize,
        /// The name as written.
        name: String,
        /// The nearest concept, if one is near.
        near: Option<&'static str>,
    },
}

fn did_you_mean(near: &Option<&'static str>) -> String {
    near.map(|n| format!("; did you mean `{n}`?"))
        .unwrap_or_default()
}

type Res<'a, T> = IResult<&'a str, T>;

/// `concept = name | "name" place`
fn head(input: &str) -> Res<'_, (&str, Option<&str>)> {
    let name = take_while1(|c: char| c.is_ascii_lowercase() || c == '-');
    let place = take_while1(|c: char| c.is_ascii_alphanumeric() || "_+-.".contains(c));
    terminated((name, opt(preceded(space1, place))), (space0, char(':'))).parse(input)
}

/// `words = phrase ("," phrase)*`, with a comma after the last one allowed. All shipped phrases are cut out at each start of the
/// program, so no parser is put together for it.
fn words(input: &str) -> Option<impl Iterator<Item = &str>> {
    let mut begun = false;
    for b in input.bytes() {
        match b {
            b',' if !begun && input.trim() != "," => return None,
            b',' => begun = false,
            b' ' | b'\t' => {}
            _ => begun = true,
        }
    }
    let mut rest = input;
    Some(std::iter::from_fn(move || {
        let blank = rest.bytes().position(|b| !matches!(b, b' ' | b'\t' | b','));
        let from = &rest[blank?..];
        let end = from.bytes().position(|b| b == b',');
        let (phrase, after) = from.split_at(end.unwrap_or(from.len()));
        rest = after;
        Some(phrase)
    }))
}

impl Vocabulary {
    /// Empty, with room for the shipped words.
    fn roomy() -> Self {
        Self {
            known: HashMap::with_capacity(2_500),
            phrases: Vec::with_capacity(3_500),
            rests: Vec::with_capacity(3_500),
            ..Self::default()
        }
    }

    /// The vocabulary that the program ships with, read once.
    pub fn english() -> &'static Vocabulary {
        static ENGLISH_WORDS: OnceLock<Vocabulary> = OnceLock::new();
        // The shipped files are checked by a test; a fault in one loses a line, never the program.
        ENGLISH_WORDS.get_or_init(Vocabulary::shipped)
    }

    /// The shipped vocabulary, to add words to.
    pub fn shipped() -> Vocabulary {
        let mut words = Vocabulary::roomy();
        for text in SHIPPED {
            let _ = words.add_text(text, Cow::Borrowed);
        }
        words
    }

    /// The shipped vocabulary with the words of a bench's own file added.
    ///
    /// # Errors
    /// The first line of `extra` that is not understood.
    pub fn with(extra: &str) -> Result<Vocabulary, WordsError> {
        let mut words = Vocabulary::roomy();
        for text in SHIPPED {
            words.add_text(text, Cow::Borrowed)?;
        }
        words.add(extra)?;
        Ok(words)
    }

    /// Adds the words of a file.
    ///
    /// # Errors
    /// The first line that is not understood; what stands before it is added.
    pub fn add(&mut self, text: &str) -> Result<(), WordsError> {
        self.add_text(&text.to_lowercase(), |word| Cow::Owned(word.to_string()))
    }

    /// [`Vocabulary::add`] for a text in lower case; `keep` makes a word last.
    fn add_text<'s>(&mut self, text: &'s str, keep: fn(&'s str) -> Word) -> Result<(), WordsError> {
        let mut meaning: Option<Head> = None;
        let mut parts: Vec<Word> = Vec::with_capacity(8);
        for (index, raw) in text.lines().enumerate() {
            if raw.trim().is_empty() || raw.starts_with('#') {
                continue;
            }
            let bad_form = || WordsError::Form {
                line: index + 1,
                text: raw.to_string(),
            };
            let list = if raw.starts_with(' ') {
                raw
            } else {
                let (rest, (name, place)) = head(raw).map_err(|_| bad_form())?;
                meaning = Some(self.meaning((name, place), index + 1, keep)?);
                rest
            };
            let head = meaning.as_ref().ok_or_else(bad_form)?;
            let phrases = words(list.trim_end()).ok_or_else(bad_form)?;
            for phrase in phrases {
                cut_up(phrase, keep, &mut parts);
                self.add_phrase(&mut parts, head);
            }
        }
        Ok(())
    }

    fn meaning<'s>(
        &mut self,
        (name, place): (&'s str, Option<&'s str>),
        line: usize,
        keep: fn(&'s str) -> Word,
    ) -> Result<Head, WordsError> {
        match (Concept::from_name(name), name, place) {
            (Some(concept), _, None) => Ok(Head::Means(Meaning::Concept(concept))),
            (_, "name", Some(place)) => {
                self.names.push(place.to_uppercase());
                Ok(Head::Means(Meaning::Name(self.names.len() as u32 - 1)))
            }
            (_, "spelt", Some(word)) => Ok(Head::Spelt(keep(word))),
            _ => {
                let near = crate::diag::did_you_mean(name, Concept::ALL.iter().map(|c| c.name()));
                Err(WordsError::Concept {
                    line,
                    name: name.to_string(),
                    near,
                })
            }
        }
    }

    /// Adds a phrase that was cut up; takes its words.
    fn add_phrase(&mut self, parts: &mut Vec<Word>, head: &Head) {
        let means = match head {
            Head::Means(means) => *means,
            Head::Spelt(word) => {
                for other in parts.drain(..) {
                    self.known.entry(other.clone()).or_default();
                    self.spelt.insert(other, word.clone());
                }
                return;
            }
        };
        // `doesn't` is typed `doesnt` as often.
        if parts.iter().any(|p| p.contains("n't")) {
            let bare = parts.iter().map(|p| Cow::Owned(p.replace('\'', "")));
            self.add_parts(bare.collect::<Vec<_>>().drain(..), means);
        }
        self.add_parts(parts.drain(..), means);
    }

    fn add_parts(&mut self, mut parts: impl ExactSizeIterator<Item = Word>, means: Meaning) {
        let protected = matches!(means, Meaning::Concept(c) if c.is_protected());
        let Some(first) = parts.next() else {
            return;
        };
        if means == Meaning::Concept(Concept::Changer) && parts.len() == 0 && first.len() > 1 {
            self.changers.push(target(&first));
        }
        self.learn(&first, protected);
        let from = self.rests.len() as u32;
        for part in parts {
            self.learn(&part, protected);
            self.rests.push(part);
        }
        if means == Meaning::Concept(Concept::Plain) {
            self.rests.truncate(from as usize);
            return;
        }
        let this = self.phrases.len() as u32;
        let begins = self.known.entry(first).or_default();
        match self.phrases.get_mut(begins.last as usize) {
            Some(last) => last.next = this,
            None => begins.first = this,
        }
        begins.last = this;
        self.phrases.push(Phrase {
            rest: from..self.rests.len() as u32,
            means,
            next: NONE,
        });
    }

    /// The phrases that begin with a word, in the order in which they were added.
    fn beginning<'v>(&'v self, word: &str) -> impl Iterator<Item = &'v Phrase> + use<'v> {
        let get = |at: u32| self.phrases.get(at as usize);
        let first = self.known.get(word).and_then(|b| get(b.first));
        std::iter::successors(first, move |p| get(p.next))
    }

    /// Adds a word to those that are spelt right and, unless it is `protected`, to those that slips are read as.
    fn learn(&mut self, word: &Word, protected: bool) {
        match self.known.entry(word.clone()) {
            Entry::Occupied(_) => return,
            Entry::Vacant(new) => new.insert(Begins::default()),
        };
        if protected {
            return;
        }
        let ascii = |b: u8| b.is_ascii_alphabetic() || b == b'\'';
        let letters = match word.is_ascii() {
            true => word.bytes().all(ascii),
            false => word.chars().all(|c| c.is_alphabetic() || c == '\''),
        };
        let length = word.chars().count();
        if length >= 2 && letters {
            if self.targets.len() <= length {
                self.targets.resize(length + 1, Vec::new());
            }
            self.targets[length].push(target(word));
        }
    }

    /// Whether `word` (lower case) is part of the vocabulary.
    pub fn knows(&self, word: &str) -> bool {
        self.known.contains_key(word)
    }

    /// The word that `word` (lower case) is another spelling of, if it is one.
    pub fn spelling(&self, word: &str) -> Option<&Word> {
        self.spelt.get(word)
    }

    /// Words of `length` characters that a misspelt word may be read as.
    pub fn targets(&self, length: usize) -> &[Target] {
        self.targets.get(length).map_or(&[], Vec::as_slice)
    }

    /// Single words that turn a meaning around.
    pub fn changers(&self) -> &[Target] {
        &self.changers
    }

    /// The place that a [`Match`] names.
    pub fn name(&self, index: u32) -> &str {
        self.names.get(index as usize).map_or("", String::as_str)
    }

    /// Whether `word` alone (lower case) stands for `concept`.
    pub fn is(&self, word: &str, concept: Concept) -> bool {
        self.beginning(word)
            .any(|p| p.rest.is_empty() && p.means == Meaning::Concept(concept))
    }

    /// All concepts that `word` alone (lower case) stands for.
    pub fn concepts_of(&self, word: &str) -> Concepts {
        let mut all = Concepts::default();
        for phrase in self.beginning(word) {
            if let (true, Meaning::Concept(c)) = (phrase.rest.is_empty(), &phrase.means) {
                all.insert(*c);
            }
        }
        all
    }

    /// Whether two words alone stand for the same concepts, and for some.
    pub fn same_meaning(&self, a: &str, b: &str) -> bool {
        let concepts = |word: &str| -> Option<HashSet<Concept>> {
            let single = self.beginning(word).filter(|p| p.rest.is_empty());
            let all: HashSet<Concept> = single
                .filter_map(|p| match p.means {
                    Meaning::Concept(c) => Some(c),
                    Meaning::Name(_) => None,
                })
                .collect();
            (!all.is_empty()).then_some(all)
        };
        concepts(a).is_some_and(|x| Some(x) == concepts(b))
    }

    /// All phrases that start with the atom `at`; `atom(i)` gives the lower-case text of atom `i` and whether it
    /// is stuck to the one before.
    pub fn matches<'t>(
        &self,
        at: usize,
        atom: impl Fn(usize) -> Option<(&'t str, bool)>,
        out: &mut Vec<Match>,
    ) {
        let Some((first, _)) = atom(at) else { return };
        for phrase in self.beginning(first) {
            let rest = &self.rests[phrase.rest.start as usize..phrase.rest.end as usize];
            let Some(end) = follows(rest, at + 1, &atom) else {
                continue;
            };
            let (concept, name) = match phrase.means {
                Meaning::Concept(c) => (Some(c), 0),
                Meaning::Name(n) => (None, n),
            };
            out.push(Match {
                concept,
                name,
                len: end - at,
            });
        }
    }
}

/// The words of a phrase, lower case; punctuation marks count as words, hyphens are left out.
fn cut_up<'s>(phrase: &'s str, keep: fn(&'s str) -> Word, parts: &mut Vec<Word>) {
    let plain = |b: u8| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b' ';
    if phrase.bytes().all(plain) {
        // Nearly all are; all are cut up at each start of the program.
        parts.extend(phrase.split_ascii_whitespace().map(keep));
    } else {
        let pieces = crate::sheet::token::pieces(phrase).map(|(from, to)| &phrase[from..to]);
        parts.extend(pieces.filter(|word| *word != "-").map(keep));
    }
}

fn target(word: &Word) -> Target {
    Target {
        word: word.clone(),
        mask: super::correct::mask(word),
    }
}

/// Where the words `rest` end when they start at atom `i`; a hyphen stuck between two words is passed over.
fn follows<'t>(
    rest: &[Word],
    mut i: usize,
    atom: &impl Fn(usize) -> Option<(&'t str, bool)>,
) -> Option<usize> {
    for word in rest {
        let (mut text, _) = atom(i)?;
        if text == "-" && word != "-" && atom(i).is_some_and(|(_, stuck)| stuck) {
            i += 1;
            let next = atom(i)?;
            if !next.1 {
                return None;
            }
            text = next.0;
        }
        if text != word {
            return None;
        }
        i += 1;
    }
    Some(i)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shipped_words_are_read_whole_and_every_concept_has_words() {
        let mut words = Vocabulary::default();
        for text in SHIPPED {
            words.add(text).unwrap();
        }
        for concept in Concept::ALL.iter().filter(|c| **c != Concept::Plain) {
            let found = words
                .phrases
                .iter()
                .any(|p| p.means == Meaning::Concept(*concept));
            assert!(found, "no word for {}", concept.name());
        }
    }

    #[test]
    fn shipped_words_are_in_lower_case() {
        assert_eq!(
            SHIPPED
                .iter()
                .flat_map(|text| text.lines())
                .filter(|l| !l.starts_with('#') && *l != l.to_lowercase())
                .count(),
            0
        );
    }

    #[test]
    fn a_bench_adds_words_and_names() {
        let words = Vocabulary::with("dead: doornail, as a dodo\nname u18: noise box\n").unwrap();
        assert!(words.is("doornail", Concept::Dead));
        let line = ["noise", "box"];
        let mut found = Vec::new();
        words.matches(0, |i| line.get(i).map(|w| (*w, false)), &mut found);
        let name = found.iter().find(|m| m.concept.is_none()).unwrap();
        assert_eq!((words.name(name.name), name.len), ("U18", 2));
    }

    #[test]
    fn errors_name_the_line_and_the_nearest_concept() {
        let error = Vocabulary::with("\nmemroy: x").unwrap_err();
        assert_eq!(
            error.to_string(),
            "line 2: there is no concept `memroy`; did you mean `memory`?"
        );
        let error = Vocabulary::with("dead doornail").unwrap_err();
        assert_eq!(
            error,
            WordsError::Form {
                line: 1,
                text: "dead doornail".into()
            }
        );
    }

    #[test]
    fn the_shipped_file_is_yaml_too() {
        let of = |text| -> std::collections::BTreeMap<String, String> {
            serde_yaml::from_str(text).unwrap()
        };
        assert!(of(HURRY)["yes-no"].contains("y"));
        let parsed = of(ENGLISH);
        assert!(parsed["too-hot"].contains("too hot to touch"));
    }
}
