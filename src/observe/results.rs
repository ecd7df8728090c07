//! Results of the test run and what the eye sees on the screen.

use super::aspect::Aspect;
use super::memory::{Cell, Range};
use super::{Evidence, Observer, board, whole};
use crate::diag::code;
use crate::faultmap::model::Read;
use crate::infer::network::Outcome;
use crate::prior::exposure::COMPLAINT_LEAK;
use crate::sheet::{Finding, Intake, LOWER, PictureState, State, Subject};

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

/// Pictures on which no test shows anything.
pub const SHOWS_NOTHING: [&str; 5] = [
    "picture.no-signal",
    "picture.black",
    "picture.dark",
    "picture.one-colour",
    "picture.garbage",
];

/// Whether a finding is that nothing came at all: no sound, no key. A test need not run for that.
fn is_absence(f: &Finding) -> bool {
    f.loops.is_none() && matches!(f.subject, Subject::Sound | Subject::AllKeys) && is_bad(&f.state)
}

impl Observer<'_> {
    /// At the end of a run: that nothing came is a result of a test, unless the picture shows that none ran. On a black screen
    /// 'no sound' is one more thing that is dead, and neither opens steps under power nor clears what a test needs.
    pub(super) fn nothing_came(&mut self) {
        let Some(place) = self.nothing_came.take() else {
            return;
        };
        let run = self.run;
        let shows_nothing = self.out.readings.iter().any(|r| {
            matches!(&r.evidence, Evidence::Check(c)
                if c.run == run && c.outcome != Outcome::Pass && SHOWS_NOTHING.contains(&&*c.check))
        });
        if !shows_nothing {
            (self.sheet, self.line) = place;
            self.test_ran(run);
        }
    }

    pub(super) fn finding(&mut self, f: &Finding) {
        match &f.subject {
            Subject::Rail(name) => self.rail(name, &f.state),
            Subject::Ripple(name) => self.ripple(name, &f.state),
            Subject::Resistance(name) => self.resistance(name, &f.state),
            Subject::Drop(place) => self.drop_at(place, &f.state),
            Subject::Across(place) => self.across(place, &f.state),
            Subject::Along(legs) => self.along(&legs[0], &legs[1], &f.state),
            Subject::Supply(name) => self.supply(name.as_deref(), &f.state),
            Subject::Fuse(place) => self.fuse(place, &f.state),
            Subject::Level(place) => self.level(place, &f.state),
            Subject::Heat(place) => self.heat(place, &f.state),
            Subject::Looks(place) => self.looks(place, &f.state),
            Subject::Picture => self.picture(&f.state),
            Subject::StartText => self.start_text(&f.state),
            Subject::BlindTyping => self.blind_typing(&f.state),
            Subject::Part(place) => self.part(place, &f.state),
            Subject::Stick(port, direction) => self.stick(*port, *direction, &f.state),
            Subject::Key(name) if matches!(f.state, State::Ohms(_)) => {
                if let State::Ohms(ohms) = f.state {
                    self.contact(name, ohms);
                }
            }
            Subject::Key(name) if matches!(f.state, State::Ghost(_)) => {
                if let State::Ghost(with) = &f.state {
                    self.ghost(name, with);
                }
            }
            subject if matches!(f.state, State::DeadUntil(_) | State::StuckUntil(_)) => {
                let ids = self.checks_of(subject);
                match &f.state {
                    _ if ids.is_empty() => self.result(f),
                    State::DeadUntil(held) => self.keys_until(&ids, false, held),
                    State::StuckUntil(held) => self.keys_until(&ids, true, held),
                    _ => {}
                }
            }
            Subject::OtherKeys => self
                .other_keys
                .push((self.sheet, self.line, f.state.clone())),
            Subject::Capacitance(place) => self.capacitance(place, &f.state),
            Subject::SeriesResistance(place) => self.series_resistance(place, &f.state),
            Subject::Capacitor(place) => {
                if let State::Capacitor(reading) = &f.state {
                    self.capacitor(place, reading);
                }
            }
            Subject::Current(_) => self.warn(
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
            _ if f.loops.is_none() && self.sound(f) => {}
            _ => match super::clocks::Ratio::of(&f.state).filter(|_| f.loops.is_none()) {
                Some(ratio) => self.speed(f, ratio),
                None => self.result(f),
            },
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
            Subject::OtherMemory(bank, None) if bank == LOWER => starting("memory."),
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
            Subject::Voice(n) | Subject::Waveform(n) | Subject::Envelope(n) => {
                of(format!("voice.{n}"))
            }
            Subject::NoiseSource | Subject::Loudness => of("sound".into()),
            Subject::Filter => of("filter".into()),
            Subject::Paddles(n) => numbered("paddles.", *n),
            Subject::Picture => PICTURES
                .iter()
                .flat_map(|(_, word)| of(format!("picture.{word}")))
                .collect(),
            Subject::StartText => of("start-text".into()),
            Subject::Own(name) => of(name.clone()),
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
    pub(super) fn result(&mut self, f: &Finding) {
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
        if is_absence(f) {
            self.nothing_came.get_or_insert((self.sheet, self.line));
        } else if ids
            .iter()
            .any(|id| self.model.check(id).is_some_and(|c| c.test))
        {
            self.test_ran(self.run);
        }
        if f.subject == Subject::Memory && is_bad(&f.state) {
            return self.memory_bad(&known, f.loops, "memory", "main memory bad");
        }
        if let (Subject::OtherMemory(bank, None), true) = (&f.subject, is_bad(&f.state)) {
            return self.memory_bad(
                &known,
                f.loops,
                &format!("{bank} memory"),
                &format!("{bank} memory bad"),
            );
        }
        if f.subject == Subject::Test && is_bad(&f.state) {
            return self.test_bad(&known, f.loops);
        }
        self.looped = f.loops.is_some();
        for (id, reads, what) in known {
            if self.key_said(&id, f) {
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
            let trust = self.trust;
            if self.substitute && aspect == Aspect::Dead && of_sound(&id) {
                self.trust.false_fail = trust.false_fail.max(super::sound::STARTING);
            }
            self.check(&id, &reads, aspect, outcome, format!("{what} {word}"));
            self.trust = trust;
        }
        self.looped = false;
    }

    /// 'memory bad' without saying which bit is one reading of the whole array (or bank), not eight.
    fn memory_bad(
        &mut self,
        known: &[(String, Vec<Read>, String)],
        loops: Option<(u32, u32)>,
        check: &str,
        text: &str,
    ) {
        let mut reads: Vec<Read> = known
            .iter()
            .flat_map(|(_, reads, _)| reads.clone())
            .collect();
        reads.sort_by_key(|r| r.node);
        reads.dedup_by_key(|r| r.node);
        for (id, ..) in known {
            self.here.insert(id.clone());
        }
        let (outcome, text) = in_loops(text, loops);
        self.looped = loops.is_some();
        self.check(check, &reads, Aspect::Trouble, outcome, text);
        self.looped = false;
    }

    /// 'test bad' without saying what failed is one reading of everything that the test looks at.
    fn test_bad(&mut self, known: &[(String, Vec<Read>, String)], loops: Option<(u32, u32)>) {
        let mut reads: Vec<Read> = known
            .iter()
            .flat_map(|(_, reads, _)| reads.clone())
            .collect();
        reads.sort_by_key(|r| r.node);
        reads.dedup_by_key(|r| r.node);
        let (outcome, text) = in_loops("test bad", loops);
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

/// A failure that was seen in some loops of those run, and how to say it.
fn in_loops(text: &str, loops: Option<(u32, u32)>) -> (Outcome, String) {
    match loops {
        Some((failed, of)) if failed < of => (
            Outcome::Intermittent,
            format!("{text} in {failed} of {of} loops"),
        ),
        _ => (Outcome::Fail, text.to_string()),
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

/// Whether a check is one of the sound chip.
fn of_sound(id: &str) -> bool {
    ["sound", "voice.", "filter"]
        .iter()
        .any(|p| id.starts_with(p))
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
        State::Jumps | State::Drifts => Observer::uneven(&f.state),
        State::Flat => fail(Aspect::Slow, "flat"),
        State::Sharp => fail(Aspect::Fast, "sharp"),
        State::Wrong | State::Value(_) | State::Ghost(_) => fail(Aspect::Wrong, "wrong"),
        State::Noisy => fail(Aspect::Noisy, "noisy"),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use crate::observe::observe;
    use crate::sheet::parse;
    use crate::shipped::Library;

    /// On a dark screen nothing heard and no key that works are no results of a test; with a picture they are.
    #[test]
    fn nothing_came_is_no_test_on_a_dark_screen() {
        let model = Library::default()
            .board("64k-6510-wide")
            .expect("a shipped board");
        let ran = |text: &str| {
            let text = format!("board 64k-6510-wide\n{text}\n");
            observe(&model, &[parse("t", text.as_bytes()).expect("a text")]).test_ran
        };
        for dark in ["black screen", "picture garbage", "no signal"] {
            assert!(!ran(&format!("{dark}\nno sound")), "{dark}");
            assert!(!ran(&format!("no sound\n{dark}")), "{dark}");
            assert!(!ran(&format!("{dark}\nno keys work")), "{dark}");
            assert!(
                ran(&format!("{dark}\nno sound\nmemory bit 3 bad")),
                "{dark}"
            );
            // The run before it did show something.
            assert!(ran(&format!("no sound\nnew run\n{dark}")), "{dark}");
        }
        assert!(ran("no sound") && ran("picture ok\nno sound"));
        assert!(ran("black screen\nsound dead in 3 of 5 loops"));
    }
}
