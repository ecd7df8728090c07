//! The words of the bench: which word or phrase stands for which concept. The words are data
//! (`faultmaps/words/english.yaml`, compiled in); this module reads that form and looks words up.
//!
//! ```text
//! file    = line*
//! line    = blank | comment | entry
//! entry   = concept ":" words continuation*      (a continuation starts with a space)
//! concept = name | "name" place
//! words   = phrase ("," phrase)*
//! ```

use std::borrow::Cow;
use std::collections::{HashMap, HashSet};
use std::sync::OnceLock;

use nom::bytes::complete::{take_till1, take_while1};
use nom::character::complete::{char, space0, space1};
use nom::combinator::{all_consuming, opt};
use nom::multi::separated_list0;
use nom::sequence::{preceded, terminated};
use nom::{IResult, Parser};

/// The words that the program ships with.
pub const ENGLISH: &str = include_str!("../../faultmaps/words/english.yaml");

macro_rules! concepts {
    ($($variant:ident = $name:literal),* $(,)?) => {
        /// What a word or phrase stands for. The names in the words file are the kebab-case forms.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
        #[allow(missing_docs)] // every variant is described by its line in the words file
        pub enum Concept { $($variant),* }

        impl Concept {
            /// All concepts, in the order of the words file.
            pub const ALL: &[Concept] = &[$(Concept::$variant),*];

            /// The name in the words file.
            pub fn name(self) -> &'static str {
                match self { $(Concept::$variant => $name),* }
            }

            fn from_name(name: &str) -> Option<Self> {
                match name { $($name => Some(Concept::$variant),)* _ => None }
            }
        }
    };
}

concepts! {
    Ticket = "ticket", Board = "board", Mains = "mains", Cartridge = "cartridge", From = "from", Photo = "photo",
    Typed = "typed", Fitted = "fitted", Empty = "empty", Missing = "missing", Socket = "socket", CameIn = "came-in",
    Faulty = "faulty", WorksCheck = "works-check", Untested = "untested", Complaint = "complaint", Note = "note",
    Run = "run", NewRun = "new-run", Test = "test", Rest = "rest", Memory = "memory", Bit = "bit", Address = "address",
    Rom = "rom", RomOs = "rom-os", RomLanguage = "rom-language", RomCharacter = "rom-character", Checksum = "checksum",
    ColourMemory = "colour-memory", ColourBit = "colour-bit", Timer = "timer", Adapter = "adapter", Clock = "clock",
    Interrupt = "interrupt", Key = "key", Keyboard = "keyboard", Row = "row", Column = "column", Port = "port",
    AllPorts = "all-ports", ControlPort = "control-port", SerialPort = "serial-port", UserPort = "user-port",
    CassettePort = "cassette-port", CartridgePort = "cartridge-port", Sound = "sound", Voice = "voice",
    Filter = "filter", Paddle = "paddle", Picture = "picture", StartText = "start-text", BlindTyping = "blind-typing",
    BytesFree = "bytes-free", More = "more", Rail = "rail", Supply = "supply", OffBoard = "off-board", Fuse = "fuse",
    Ripple = "ripple", Resistance = "resistance", Unregulated = "unregulated", Pin = "pin", Line = "line",
    Joint = "joint", PinsOf = "pins-of", Good = "ok", Bad = "bad", Low = "low", High = "high", Dead = "dead",
    Stuck = "stuck", Ghost = "ghost", NoKeys = "no-keys", Stopped = "stopped", Slow = "slow", Fast = "fast",
    Wrong = "wrong", Noisy = "noisy", Pulsing = "pulsing", Floating = "floating", Shorted = "shorted", Open = "open",
    Blown = "blown", Hot = "hot", TooHot = "too-hot", Cold = "cold", Warm = "warm", WhenCold = "when-cold",
    WhenWarm = "when-warm", Loop = "loop", Of = "of", NoPicture = "no-picture", NoSignal = "no-signal",
    Black = "black", ColourWord = "colour-word", Blue = "blue", OneColour = "one-colour", Garbage = "garbage",
    WrongCharacters = "wrong-characters", Unstable = "unstable", NoColour = "no-colour", NoText = "no-text",
    Shows = "shows", InsteadOf = "instead-of", SpaceWord = "space-word", Swap = "swap", Replace = "replace",
    Piggyback = "piggyback", Pull = "pull", Press = "press", Reseat = "reseat", Cool = "cool", HeatUp = "heat-up",
    Clean = "clean", Resolder = "resolder", Tester = "tester", Tested = "tested", KnownGood = "known-good",
    WithNew = "with-new", AllSocketed = "all-socketed", Cured = "cured", NoChange = "no-change", Changed = "changed",
    Moved = "moved", Worse = "worse", By = "by", NotReached = "not-reached", LookBulged = "look-bulged",
    LookLeaking = "look-leaking", LookBurnt = "look-burnt", LookCorroded = "look-corroded",
    LookCracked = "look-cracked", LookDry = "look-dry", LookReworked = "look-reworked",
    LookModified = "look-modified", LookBent = "look-bent", LookDirty = "look-dirty", LookLoose = "look-loose",
    LookReversed = "look-reversed", LookTorn = "look-torn", LookFine = "look-fine", KeyName = "key-name",
    Both = "both", Each = "each", First = "first", Second = "second", Third = "third", OneWord = "one-word",
    TwoWord = "two-word", ThreeWord = "three-word", Wrote = "wrote", ReadBack = "read-back", To = "to", And = "and",
    InTime = "in-time", SecondsShown = "seconds-shown", No = "no", Filler = "filler", Changer = "changer",
    Plain = "plain", LineName = "line-name", PartLetters = "part-letters", Cable = "cable", Arrow = "arrow",
}

/// A set of concepts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Concepts([u64; 3]);

impl Concepts {
    /// The set of all in `list`.
    pub const fn of(list: &[Concept]) -> Self {
        let mut set = [0; 3];
        let mut i = 0;
        while i < list.len() {
            let bit = list[i] as usize;
            set[bit / 64] |= 1 << (bit % 64);
            i += 1;
        }
        Self(set)
    }

    /// Adds a concept.
    pub fn insert(&mut self, concept: Concept) {
        let bit = concept as usize;
        self.0[bit / 64] |= 1 << (bit % 64);
    }

    /// Adds all of another set.
    pub fn join(&mut self, other: &Concepts) {
        self.0
            .iter_mut()
            .zip(other.0)
            .for_each(|(mine, theirs)| *mine |= theirs);
    }

    /// Whether the sets share a concept.
    pub fn meets(&self, other: &Concepts) -> bool {
        self.0
            .iter()
            .zip(other.0)
            .any(|(mine, theirs)| mine & theirs != 0)
    }
}

/// A word of the shipped file, or of a bench's own.
type Word = Cow<'static, str>;

/// One phrase of the vocabulary and what it stands for.
#[derive(Debug, Clone)]
struct Phrase {
    /// The words after the first, lower case; punctuation marks count as words, hyphens are left out.
    rest: Vec<Word>,
    means: Meaning,
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
#[derive(Debug, Clone, PartialEq, Eq)]
enum Meaning {
    Concept(Concept),
    Name(u32),
}

/// A phrase found in a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Match {
    /// What it stands for; `None` for another name of a place.
    pub concept: Option<Concept>,
    /// Index into [`Vocabulary::names`] for another name of a place.
    pub name: u32,
    /// How many atoms it covers.
    pub len: usize,
}

/// Words and what they stand for.
#[derive(Debug, Default)]
pub struct Vocabulary {
    phrases: HashMap<Word, Vec<Phrase>>,
    /// Every single word of every phrase: words that are spelt right.
    known: HashSet<Word>,
    /// Words that a misspelt word may be read as, by length in characters.
    targets: Vec<Vec<Target>>,
    /// Words that turn a meaning around.
    changers: Vec<Target>,
    /// The places that have other names.
    names: Vec<String>,
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

/// `words = phrase ("," phrase)*`
fn words(input: &str) -> Res<'_, Vec<&str>> {
    let phrase = preceded(space0, take_till1(|c| c == ','));
    all_consuming(terminated(
        separated_list0(char(','), phrase),
        (opt(char(',')), space0),
    ))
    .parse(input)
}

impl Vocabulary {
    /// The vocabulary that the program ships with, read once.
    pub fn english() -> &'static Vocabulary {
        static ENGLISH_WORDS: OnceLock<Vocabulary> = OnceLock::new();
        ENGLISH_WORDS.get_or_init(|| {
            let mut words = Vocabulary::default();
            // The shipped file is checked by a test; a fault in it loses a line, never the program.
            let _ = words.add_text(ENGLISH, Cow::Borrowed);
            words
        })
    }

    /// The shipped vocabulary with the words of a bench's own file added.
    ///
    /// # Errors
    /// The first line of `extra` that is not understood.
    pub fn with(extra: &str) -> Result<Vocabulary, WordsError> {
        let mut words = Vocabulary::default();
        words.add_text(ENGLISH, Cow::Borrowed)?;
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
        let mut meaning: Option<Meaning> = None;
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
                meaning = Some(self.meaning(name, place, index + 1)?);
                rest
            };
            let means = meaning.clone().ok_or_else(bad_form)?;
            let (_, phrases) = words(list).map_err(|_| bad_form())?;
            for phrase in phrases {
                self.add_phrase(phrase, means.clone(), keep);
            }
        }
        Ok(())
    }

    fn meaning(
        &mut self,
        name: &str,
        place: Option<&str>,
        line: usize,
    ) -> Result<Meaning, WordsError> {
        match (Concept::from_name(name), name, place) {
            (Some(concept), _, None) => Ok(Meaning::Concept(concept)),
            (_, "name", Some(place)) => {
                self.names.push(place.to_uppercase());
                Ok(Meaning::Name(self.names.len() as u32 - 1))
            }
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

    fn add_phrase<'s>(&mut self, phrase: &'s str, means: Meaning, keep: fn(&'s str) -> Word) {
        let protected = matches!(
            means,
            Meaning::Concept(
                Concept::Filler
                    | Concept::Changer
                    | Concept::Plain
                    | Concept::Note
                    | Concept::Complaint
                    | Concept::LineName
                    | Concept::PartLetters
                    | Concept::KeyName
                    | Concept::No
            )
        );
        let pieces = crate::sheet::token::pieces(phrase).map(|(start, end)| &phrase[start..end]);
        let mut parts = pieces.filter(|word| *word != "-").map(keep);
        let Some(first) = parts.next() else { return };
        let rest: Vec<Word> = parts.collect();
        if means == Meaning::Concept(Concept::Changer) && rest.is_empty() && first.len() > 1 {
            self.changers.push(target(&first));
        }
        for part in std::iter::once(&first).chain(&rest) {
            self.learn(part, protected);
        }
        if means != Meaning::Concept(Concept::Plain) {
            self.phrases
                .entry(first)
                .or_default()
                .push(Phrase { rest, means });
        }
    }

    /// Adds a word to those that are spelt right and, unless it is `protected`, to those that slips are read as.
    fn learn(&mut self, word: &Word, protected: bool) {
        if !self.known.insert(word.clone()) || protected {
            return;
        }
        let length = word.chars().count();
        if length >= 2 && word.chars().all(|c| c.is_alphabetic() || c == '\'') {
            if self.targets.len() <= length {
                self.targets.resize(length + 1, Vec::new());
            }
            self.targets[length].push(target(word));
        }
    }

    /// Whether `word` (lower case) is part of the vocabulary.
    pub fn knows(&self, word: &str) -> bool {
        self.known.contains(word)
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
        self.phrases.get(word).is_some_and(|all| {
            all.iter()
                .any(|p| p.rest.is_empty() && p.means == Meaning::Concept(concept))
        })
    }

    /// Whether two words alone stand for the same concepts, and for some.
    pub fn same_meaning(&self, a: &str, b: &str) -> bool {
        let concepts = |word: &str| -> Option<HashSet<Concept>> {
            let single = self.phrases.get(word)?.iter().filter(|p| p.rest.is_empty());
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
        let Some(candidates) = self.phrases.get(first) else {
            return;
        };
        for phrase in candidates {
            let Some(end) = follows(&phrase.rest, at + 1, &atom) else {
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
        words.add(ENGLISH).unwrap();
        for concept in Concept::ALL.iter().filter(|c| **c != Concept::Plain) {
            let found = words
                .phrases
                .values()
                .flatten()
                .any(|p| p.means == Meaning::Concept(*concept));
            assert!(found, "no word for {}", concept.name());
        }
    }

    #[test]
    fn shipped_words_are_in_lower_case() {
        assert_eq!(
            ENGLISH
                .lines()
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
        let parsed: std::collections::BTreeMap<String, String> =
            serde_yaml::from_str(ENGLISH).unwrap();
        assert!(parsed["too-hot"].contains("too hot to touch"));
    }
}
