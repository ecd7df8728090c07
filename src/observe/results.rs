//! Results of the test run and what the eye sees on the screen.

use super::aspect::Aspect;
use super::memory::{Cell, Range};
use super::{Evidence, Observer, board, whole};
use crate::diag::code;
use crate::faultmap::model::Read;
use crate::infer::network::Outcome;
use crate::prior::exposure::COMPLAINT_LEAK;
use crate::sheet::{Finding, Intake, PictureState, State, Subject};

/// The words of the picture checks.
const PICTURES: [(PictureState, &str); 8] = [
    (PictureState::NoSignal, "no-signal"),
    (PictureState::Black, "black"),
    (PictureState::OneColour, "one-colour"),
    (PictureState::Garbage, "garbage"),
    (PictureState::WrongCharacters, "wrong-characters"),
    (PictureState::Unstable, "unstable"),
    (PictureState::WrongColours, "wrong-colours"),
    (PictureState::NoText, "no-text"),
];

impl Observer<'_> {
    pub(super) fn finding(&mut self, f: &Finding) {
        match &f.subject {
            Subject::Rail(name) => self.rail(name, &f.state),
            Subject::Ripple(name) => self.ripple(name, &f.state),
            Subject::Resistance(name) => self.resistance(name, &f.state),
            Subject::Supply(name) => self.supply(name.as_deref(), &f.state),
            Subject::Fuse(place) => self.fuse(place, &f.state),
            Subject::Level(place) => self.level(place, &f.state),
            Subject::Heat(place) => self.heat(place, &f.state),
            Subject::Looks(place) => self.looks(place, &f.state),
            Subject::Picture => self.picture(&f.state),
            Subject::StartText => self.start_text(&f.state),
            Subject::BlindTyping => self.blind_typing(&f.state),
            Subject::Part(place) => self.part(place, &f.state),
            Subject::OtherKeys => self
                .other_keys
                .push((self.sheet, self.line, f.state.clone())),
            Subject::Capacitance(place) => self.capacitance(place, &f.state),
            Subject::Current(_) | Subject::SeriesResistance(_) => self.warn(
                code::NOTHING_FOLLOWS,
                "no limit is known for this value".into(),
                "kept, but it neither accuses nor clears anything".into(),
            ),
            Subject::MemoryCell {
                address,
                wrote,
                read,
            } => {
                if wrote == read {
                    self.test_ran(self.run);
                }
                self.memory.cells.push(Cell {
                    address: *address,
                    wrote: *wrote,
                    read: *read,
                    place: (self.sheet, self.line),
                });
            }
            Subject::Memory if matches!(f.state, State::More(_)) => {
                if let State::More(n) = f.state {
                    self.memory.more = Some(n.saturating_add(self.memory.more.unwrap_or(0)));
                }
            }
            Subject::MemoryRange(from, to) if is_bad(&f.state) && self.model.memory.is_some() => {
                self.memory.ranges.push(Range {
                    from: *from,
                    to: *to,
                    place: (self.sheet, self.line),
                });
            }
            _ => self.result(f),
        }
    }

    /// The checks of the board that a subject stands for.
    pub(super) fn checks_of(&self, subject: &Subject) -> Vec<String> {
        let m = self.model;
        let starting = |prefix: &str| -> Vec<String> {
            m.checks
                .iter()
                .filter(|c| c.test && c.id.starts_with(prefix))
                .map(|c| c.id.clone())
                .collect()
        };
        let of = |id: String| m.check(&id).map(|c| vec![c.id.clone()]).unwrap_or_default();
        let numbered = |stem: &str, n: Option<u8>| match n {
            Some(n) => of(format!("{stem}{n}")),
            None => starting(stem),
        };
        let keys = |keys: Vec<String>| keys.into_iter().map(|k| format!("key.{k}")).collect();
        match subject {
            Subject::Test => m
                .checks
                .iter()
                .filter(|c| c.test)
                .map(|c| c.id.clone())
                .collect(),
            Subject::Memory => {
                let banks = m.memory.iter().flat_map(super::memory::layout::banks);
                let all: Vec<String> = banks.flat_map(|b| starting(&b.check(""))).collect();
                if all.is_empty() {
                    starting("memory.")
                } else {
                    all
                }
            }
            Subject::MemoryBit(n) => of(format!("memory.bit.{n}")),
            Subject::MemorySocket(place) => {
                self.bits_of(&place.name).into_iter().flat_map(of).collect()
            }
            Subject::Rom(word) if word == "all" => starting("rom."),
            Subject::Rom(word) => self.roms(word),
            Subject::ColourMemory => starting("colour."),
            Subject::ColourBit(n) => of(format!("colour.bit.{n}")),
            Subject::OtherMemory(bank, Some(n)) => of(format!("{bank}.bit.{n}")),
            Subject::OtherMemory(bank, None) => starting(&format!("{bank}.")),
            Subject::Timer(n, letter) => {
                let fits = |id: &String| {
                    letter.is_none_or(|l| id.ends_with(&format!(".{}", l.to_ascii_lowercase())))
                };
                let stem = n.map_or("timer.".to_string(), |n| format!("timer.{n}."));
                starting(&stem).into_iter().filter(fits).collect()
            }
            Subject::Clock(n) => numbered("clock.", *n),
            Subject::Interrupt(n) => numbered("interrupt.", *n),
            Subject::Key(name) => board::key(m, name)
                .map(|k| of(format!("key.{k}")))
                .unwrap_or_default(),
            Subject::AllKeys => keys(board::keys(m)),
            Subject::KeyColumn(n) => keys(self.matrix(|c, _| c == usize::from(*n))),
            Subject::KeyRow(n) => keys(self.matrix(|_, r| r == usize::from(*n))),
            Subject::Port(word) if word == "all" => starting("port."),
            Subject::Port(word) if word == "control" => starting("port.control-"),
            Subject::Port(word) => self.port(word).map(&of).unwrap_or_default(),
            Subject::Sound => of("sound".into()),
            Subject::Voice(n) => of(format!("voice.{n}")),
            Subject::Filter => of("filter".into()),
            Subject::Paddles(n) => numbered("paddles.", *n),
            Subject::Picture => PICTURES
                .iter()
                .flat_map(|(_, word)| of(format!("picture.{word}")))
                .collect(),
            Subject::StartText => of("start-text".into()),
            _ => Vec::new(),
        }
    }

    fn matrix(&self, wanted: impl Fn(usize, usize) -> bool) -> Vec<String> {
        let Some(kb) = &self.model.keyboard else {
            return Vec::new();
        };
        let cells = kb
            .matrix
            .iter()
            .enumerate()
            .flat_map(|(c, col)| col.iter().enumerate().map(move |(r, k)| (c, r, k)));
        cells
            .filter(|&(c, r, k)| k != "-" && wanted(c, r))
            .map(|(_, _, k)| k.clone())
            .collect()
    }

    /// Data bits of the memory chip in a socket, as numbers of the `bit` checks of its bank.
    fn bits_of(&self, socket: &str) -> Vec<String> {
        let banks = self
            .model
            .memory
            .iter()
            .flat_map(super::memory::layout::banks);
        let of = |bank: super::memory::layout::Bank| {
            let lanes = bank.lanes_of(socket);
            let bits = (0..8).filter(move |i| lanes >> i & 1 == 1);
            bits.map(move |i| bank.check(&format!("bit.{i}")))
                .collect::<Vec<_>>()
        };
        banks.flat_map(of).collect()
    }

    /// The ROM checks that a word means: `os`, or a socket, which may hold more than one ROM.
    fn roms(&self, word: &str) -> Vec<String> {
        let known = |id: String| self.model.check(&id).map(|c| c.id.clone());
        if let Some(id) = known(format!("rom.{}", word.to_lowercase())) {
            return vec![id];
        }
        let Some((i, _)) = board::position(self.model, word) else {
            return Vec::new();
        };
        let here = |to: &str| self.model.position(to).is_some_and(|(p, _)| p == i);
        let words = self.model.words.iter().filter(|(_, to)| here(to));
        words
            .filter_map(|(w, _)| known(format!("rom.{w}")))
            .collect()
    }

    fn port(&self, word: &str) -> Option<String> {
        let id = format!("port.{}", word.trim().to_lowercase().replace(' ', "-"));
        self.model.check(&id).map(|c| c.id.clone())
    }

    /// Any result that is a check with a state.
    fn result(&mut self, f: &Finding) {
        if f.subject == Subject::Test && matches!(f.state, State::Dead | State::Stopped) {
            return self.test_did_not_run();
        }
        let ids = self.checks_of(&f.subject);
        if let (true, Subject::MemorySocket(place)) = (ids.is_empty(), &f.subject) {
            // A memory chip whose bits the test does not tell apart: what is said of it is said of the chip.
            return self.part(place, &f.state);
        }
        if ids.is_empty() {
            let message = format!("board {} has no check for this", self.model.board);
            let help = "the line is kept for the ticket but does not enter the ranking";
            return self.warn(code::NO_SUCH_CHECK, message, help.into());
        }
        let known: Vec<(String, Vec<Read>, String)> = ids
            .iter()
            .filter_map(|id| self.model.check(id))
            .map(|c| (c.id.clone(), c.reads.clone(), c.what.clone()))
            .collect();
        if matches!(f.state, State::More(_)) {
            // So many more of the same: how many were not typed says nothing new.
            return;
        }
        self.test_ran(self.run);
        if f.subject == Subject::Memory && is_bad(&f.state) {
            return self.memory_bad(&known);
        }
        if f.subject == Subject::Test && is_bad(&f.state) {
            return self.test_bad(&known, f.loops);
        }
        self.looped = f.loops.is_some();
        for (id, reads, what) in known {
            if id.starts_with("key.") && matches!(f.state, State::Bad | State::Dead) {
                self.dead_keys.push((id, (self.sheet, self.line)));
                continue;
            }
            let Some((aspect, outcome, word)) = reading_of(&id, f) else {
                self.warn(
                    code::NOTHING_FOLLOWS,
                    format!("{what}: this state says nothing about it"),
                    String::new(),
                );
                continue;
            };
            self.check(&id, &reads, aspect, outcome, format!("{what} {word}"));
        }
        self.looped = false;
    }

    /// 'memory bad' without saying which bit is one reading of the whole array, not eight.
    fn memory_bad(&mut self, known: &[(String, Vec<Read>, String)]) {
        let mut reads: Vec<Read> = known
            .iter()
            .flat_map(|(_, reads, _)| reads.clone())
            .collect();
        reads.sort_by_key(|r| r.node);
        reads.dedup_by_key(|r| r.node);
        for (id, ..) in known {
            self.out.read.insert(format!("{}/{id}", self.run));
        }
        self.check(
            "memory",
            &reads,
            Aspect::Trouble,
            Outcome::Fail,
            "main memory bad".into(),
        );
    }

    /// 'test bad' without saying what failed is one reading of everything that the test looks at.
    fn test_bad(&mut self, known: &[(String, Vec<Read>, String)], loops: Option<(u32, u32)>) {
        let mut reads: Vec<Read> = known
            .iter()
            .flat_map(|(_, reads, _)| reads.clone())
            .collect();
        reads.sort_by_key(|r| r.node);
        reads.dedup_by_key(|r| r.node);
        let (outcome, text) = match loops {
            Some((failed, of)) if failed < of => (
                Outcome::Intermittent,
                format!("test bad in {failed} of {of} loops"),
            ),
            _ => (Outcome::Fail, "test bad".to_string()),
        };
        self.looped = loops.is_some();
        self.check("test", &reads, Aspect::Trouble, outcome, text);
        self.looped = false;
    }

    /// 'Test does not run': no results, whatever the picture.
    fn test_did_not_run(&mut self) {
        let Some(node) = self.model.node("report") else {
            return;
        };
        let reads = [Read { node, weight: 1.0 }];
        let text = "the test does not run".to_string();
        self.check("report", &reads, Aspect::Trouble, Outcome::Fail, text);
    }

    /// Commands typed blind that do something: the machine runs, whatever the picture.
    fn blind_typing(&mut self, state: &State) {
        let Some(node) = self.model.node("run") else {
            return;
        };
        let (outcome, text) = match state {
            State::Ok => (Outcome::Pass, "blind typing works"),
            _ => (Outcome::Fail, "blind typing does nothing"),
        };
        self.check(
            "run",
            &[Read { node, weight: 0.9 }],
            Aspect::Trouble,
            outcome,
            text.into(),
        );
    }

    fn picture(&mut self, state: &State) {
        let State::Picture(seen) = state else {
            return match state {
                State::Ok => self.picture(&State::Picture(PictureState::Normal)),
                State::Dead => self.no_picture(),
                State::Noisy => self.picture(&State::Picture(PictureState::Unstable)),
                State::Wrong | State::Bad => self.picture(&State::Picture(PictureState::Garbage)),
                _ => {}
            };
        };
        for (which, word) in PICTURES {
            let Some(check) = self.model.check(&format!("picture.{word}")) else {
                continue;
            };
            let (id, reads) = (check.id.clone(), check.reads.clone());
            if rules_out(*seen, which) {
                let text = format!("picture not {}", word.replace('-', " "));
                self.check(&id, &reads, Aspect::Trouble, Outcome::Pass, text);
            } else if *seen == PictureState::Normal {
                self.check(
                    &id,
                    &reads,
                    Aspect::Trouble,
                    Outcome::Pass,
                    "picture normal".into(),
                );
            } else if *seen == which {
                let text = check_words(word);
                self.check(&id, &reads, Aspect::TroubleOrSpeed, Outcome::Fail, text);
            }
        }
    }

    /// 'No picture' without saying whether there is sync: one reading of both states.
    fn no_picture(&mut self) {
        let checks = ["picture.no-signal", "picture.black"].map(|id| self.model.check(id));
        let reads: Vec<Read> = checks
            .into_iter()
            .flatten()
            .flat_map(|c| c.reads.clone())
            .collect();
        let text = "no picture, or a black one".to_string();
        self.check(
            "picture.dark",
            &reads,
            Aspect::TroubleOrSpeed,
            Outcome::Fail,
            text,
        );
    }

    fn start_text(&mut self, state: &State) {
        let Some(check) = self.model.check("start-text") else {
            return;
        };
        let reads = check.reads.clone();
        let expected = self
            .model
            .words
            .get("bytes free")
            .and_then(|n| n.parse::<u32>().ok());
        let (outcome, text) = match state {
            State::Ok => (Outcome::Pass, "start text as it should be".to_string()),
            State::BytesFree(n) => match expected {
                Some(e) if e == *n => (Outcome::Pass, format!("{n} bytes free, as it should be")),
                Some(e) => (Outcome::Fail, format!("{n} bytes free instead of {e}")),
                None => {
                    return self.warn(
                        code::NO_SUCH_CHECK,
                        "the map does not say how many bytes are free".into(),
                        String::new(),
                    );
                }
            },
            State::WrongCharacter(expected, seen) => {
                for bit in 0..8 {
                    if (expected ^ seen) >> bit & 1 == 1 {
                        self.character_bit(bit, seen >> bit & 1 == 1);
                    } else {
                        self.character_bit_right(bit);
                    }
                }
                (
                    Outcome::Fail,
                    format!("character code {seen} for {expected}"),
                )
            }
            _ => (Outcome::Fail, "start text wrong".to_string()),
        };
        if matches!(
            state,
            State::Ok | State::BytesFree(_) | State::WrongCharacter(..)
        ) {
            self.text_shown();
        }
        self.check("start-text", &reads, Aspect::Trouble, outcome, text);
    }

    /// The character agrees in this bit: what shows the text carries it, though a chip may still be bad elsewhere.
    fn character_bit_right(&mut self, bit: u8) {
        let Some(check) = self.model.check(&format!("memory.bit.{bit}")) else {
            return;
        };
        let (id, mut reads) = (check.id.clone(), check.reads.clone());
        reads.iter_mut().for_each(|r| r.weight *= 0.7);
        let text = format!("characters agree in data bit {bit}");
        self.check(&id, &reads, Aspect::Trouble, Outcome::Pass, text);
    }

    /// A text on the screen, right or wrong: the machine ran far enough to write it, and a picture shows it.
    fn text_shown(&mut self) {
        for word in ["no-signal", "black", "one-colour", "no-text"] {
            let id = format!("picture.{word}");
            let Some(reads) = self.model.check(&id).map(|c| c.reads.clone()) else {
                continue;
            };
            let text = "a text is on the screen".to_string();
            self.check(&id, &reads, Aspect::Trouble, Outcome::Pass, text);
        }
        // Not the whole of it: a machine with one bad bit runs badly, and still writes its text.
        if let Some(node) = self.model.node("run") {
            let reads = [Read { node, weight: 0.7 }];
            let text = "the machine wrote its text".to_string();
            self.check("run", &reads, Aspect::Trouble, Outcome::Pass, text);
        }
    }

    /// A wrong character on the screen: its code differs in this bit, which is the data bit of a memory chip.
    fn character_bit(&mut self, bit: u8, high: bool) {
        let Some(check) = self.model.check(&format!("memory.bit.{bit}")) else {
            return;
        };
        let (id, reads) = (check.id.clone(), check.reads.clone());
        let aspect = if high { Aspect::High } else { Aspect::Low };
        self.check(
            &id,
            &reads,
            aspect,
            Outcome::Fail,
            format!("characters differ in data bit {bit}"),
        );
    }

    /// The complaint: caused by every fault as surely as its owner notices it.
    pub(super) fn intake(&mut self, intake: Intake) {
        let (outcome, text) = match intake {
            Intake::Faulty => (Outcome::Fail, "came in faulty"),
            Intake::Works | Intake::Untested => return,
        };
        let effects = self
            .model
            .modes
            .iter()
            .enumerate()
            .map(|(i, m)| (i as u32, m.notice))
            .collect();
        let (check, leak, run) = ("complaint".to_string(), COMPLAINT_LEAK, self.run);
        let reading = super::CheckReading {
            looped: false,
            check,
            outcome,
            run,
            leak,
            effects,
        };
        self.push(text.into(), Evidence::Check(reading));
    }
}

/// Whether seeing one state says that the other, which shows less, is not the case.
fn rules_out(seen: PictureState, other: PictureState) -> bool {
    use PictureState::{Black, NoSignal, Normal, OneColour};
    match other {
        NoSignal => !matches!(seen, NoSignal | Normal),
        Black => !matches!(seen, NoSignal | Black | Normal),
        OneColour => !matches!(seen, NoSignal | Black | OneColour | Normal),
        _ => false,
    }
}

fn check_words(word: &str) -> String {
    format!("picture: {}", word.replace('-', " "))
}

fn is_bad(state: &State) -> bool {
    matches!(state, State::Bad | State::Wrong | State::Dead)
}

/// Aspect, outcome and word of a result.
fn reading_of(id: &str, f: &Finding) -> Option<(Aspect, Outcome, String)> {
    if let Some((failed, of)) = f.loops {
        let outcome = match failed {
            0 => Outcome::Pass,
            n if n < of => Outcome::Intermittent,
            _ => Outcome::Fail,
        };
        return Some((whole(id), outcome, format!("bad in {failed} of {of} loops")));
    }
    let fail = |aspect, word: &str| Some((aspect, Outcome::Fail, word.to_string()));
    match &f.state {
        State::Ok => Some((whole(id), Outcome::Pass, "fine".into())),
        State::Bad => fail(whole(id), "bad"),
        State::Dead => fail(Aspect::Dead, "dead"),
        State::Stopped => fail(Aspect::Dead, "stopped"),
        State::Stuck => fail(Aspect::Low, "stuck"),
        State::Low => fail(Aspect::Low, "low"),
        State::High => fail(Aspect::High, "high"),
        State::Slow => fail(Aspect::Slow, "too slow"),
        State::Fast => fail(Aspect::Fast, "too fast"),
        State::Rate { shown, real } => Some(rate(*shown, *real)),
        State::Wrong | State::Value(_) | State::Ghost(_) => fail(Aspect::Wrong, "wrong"),
        State::Noisy => fail(Aspect::Noisy, "noisy"),
        _ => None,
    }
}

/// A clock against a watch. Mains-driven clocks follow the mains: EN 50160 allows ±1 % for 99.5 % of a year, and the display
/// has steps of 0.1 s; a hand on a watch is good to a few tenths of a second.
fn rate(shown: f64, real: f64) -> (Aspect, Outcome, String) {
    let slack = 0.01 * real + 0.3;
    let word = format!("showed {shown} s in {real} s");
    if (shown - real).abs() <= slack {
        (Aspect::TroubleOrSpeed, Outcome::Pass, word)
    } else if shown < 0.02 * real {
        (Aspect::Dead, Outcome::Fail, word)
    } else if shown < real {
        (Aspect::Slow, Outcome::Fail, word)
    } else {
        (Aspect::Fast, Outcome::Fail, word)
    }
}
