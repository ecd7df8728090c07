//! Sound: the pitch of a voice in hertz, cents or by ear, the parts of a voice, and the type that is fitted.
//!
//! All voices of a chip divide the machine's clock, so a wrong clock shifts all of them by the same interval:
//! 1200 · log2(1.03804) = 64.63 cents for the clock of the machine's other version (`facts/published.md` 5.1). A bad chip shifts one
//! voice, and by anything. Reading of the interval: Normal(0, √(ear² + rounding²)) cents on a grid of one cent.

use super::aspect::Aspect;
use super::spread::{Grid, Mixture, Shape, weigh};
use super::valued::{SystemClock, Value, Way, strongest, system_clock, version_ratio};
use super::{Evidence, Observer};
use crate::diag::code;
use crate::faultmap::model::{Kind, ModeId, Read};
use crate::faultmap::raw::Class;
use crate::faultmap::supply::{Mismatch, mismatches};
use crate::infer::network::Outcome;
use crate::sheet::{Finding, State, Subject};
use crate::tones::{Generator, cents};

/// Standard deviation of a pitch read by ear or off a counter or tuner, cents (from memory: about the smallest difference heard).
const EAR: f64 = 5.0;
/// How far a voice with a wrong number in its register may be off, cents (guess: two octaves).
const OFF: f64 = 2400.0;
/// Lowest value of the grid, cents: no tone at all.
const NO_TONE: i64 = -4800;
/// Of a voice with a wrong waveform or envelope, how often its pitch is wrong as well (guess).
const WRONG_PITCH: f64 = 0.3;
/// Of a part of the clock that is wrong for this board, how often it is not that of the other version (guess).
const OTHER_CRYSTAL: f64 = 0.3;
/// Flat or sharp to the ear without a number: from so many cents on (guess: three standard deviations).
const HEARD: f64 = 15.0;
/// Clock of the sound chip, hertz, where only its order counts: the rounding of its number (5.1, 5.2).
const CLOCK: f64 = 1.0e6;

/// A part of another voltage that is typed by mistake, the right one being fitted; and P(typed | it is fitted).
const TYPE_MISTYPED: (f64, f64) = (0.01, 0.95);
/// The same where the map knows what that type does in this place: of all types that may be mistyped it would have to be just this
/// (guess).
const JUST_THAT_MISTYPED: f64 = 1e-4;
/// A modern substitute that was judged before it had started: P(no sound | nothing wrong) (guess).
pub(super) const STARTING: f64 = 0.05;

/// How a pitch spreads.
#[derive(Debug, Clone, Copy)]
pub struct Pitch {
    sd: f64,
}

impl Pitch {
    /// Of a tone that should have so many hertz.
    pub fn of(expected: f64, generator: Generator) -> Self {
        Self {
            sd: EAR.hypot(generator.rounding(CLOCK, expected)),
        }
    }

    /// The grid: one cent a step.
    pub fn grid() -> Grid {
        Grid {
            step: 1.0,
            lowest: NO_TONE,
        }
    }

    /// A voice that is off by this interval.
    pub fn near(self, interval: f64) -> Mixture {
        Mixture::of(Shape::Normal(interval, self.sd))
    }

    /// Any pitch.
    pub fn any(self) -> Mixture {
        Mixture::of(Shape::Even(-OFF, OFF))
    }

    /// Under trouble of this kind in the voice.
    pub fn under(self, kind: Kind) -> Mixture {
        match kind {
            Kind::Lost | Kind::Low | Kind::High => {
                let low = NO_TONE as f64;
                Mixture::of(Shape::Even(low - 0.5, low + 0.4))
            }
            Kind::Wrong => self.near(0.0).or(WRONG_PITCH, &self.any()),
            Kind::Slow => Mixture::of(Shape::Even(-OFF, 0.0)),
            Kind::Fast => Mixture::of(Shape::Even(0.0, OFF)),
            Kind::Noisy => self.near(0.0),
        }
    }

    /// Under a machine's clock that is wrong.
    pub fn system(self, part: &SystemClock, version: Option<f64>) -> Mixture {
        match version.filter(|_| part.version) {
            Some(ratio) => {
                let interval = cents(ratio, 1.0);
                let other = self.near(interval).or(0.5, &self.near(-interval));
                other.or(OTHER_CRYSTAL, &self.any())
            }
            None => self.any(),
        }
    }
}

impl Observer<'_> {
    /// Sound that is more than good or bad; whether it was that.
    pub(super) fn sound(&mut self, f: &Finding) -> bool {
        match (&f.subject, &f.state) {
            (Subject::Voice(n), State::Pitch { heard, expected }) => {
                if *heard > 0.0 && *expected > 0.0 {
                    self.pitch(*n, cents(*heard, *expected), *expected);
                }
            }
            (Subject::Voice(n), State::Cents(c)) => self.pitch(*n, *c, 440.0),
            (Subject::Voice(n), State::Flat) => self.by_ear(*n, false),
            (Subject::Voice(n), State::Sharp) => self.by_ear(*n, true),
            (Subject::Waveform(n), state) => self.of_voice(*n, "waveform", Aspect::Wrong, state),
            (Subject::Envelope(n), state) => match self.chip_function("envelope") {
                Some(reads) => self.of_chip("envelope", &reads, state),
                None => self.of_voice(*n, "envelope", Aspect::Wrong, state),
            },
            (Subject::NoiseSource, state) => match self.chip_function("noise") {
                Some(reads) => self.of_chip("noise", &reads, state),
                None => (1..=3).for_each(|n| self.of_voice(n, "noise", Aspect::Wrong, state)),
            },
            (Subject::Loudness, state) => self.loudness(state),
            _ => return false,
        }
        true
    }

    fn generator(&self) -> Generator {
        let chip = self
            .model
            .positions
            .iter()
            .find(|p| p.class == Class::Sound);
        match chip.is_some_and(|p| p.family.contains("8910")) {
            true => Generator::Divider,
            false => Generator::Accumulator,
        }
    }

    /// The voice's check: identifier, what it reads, its name.
    fn voice(&mut self, n: u8) -> Option<(String, Vec<Read>, String)> {
        let found = self
            .model
            .check(&format!("voice.{n}"))
            .map(|c| (c.id.clone(), c.reads.clone(), c.what.clone()));
        if found.is_none() {
            let message = format!("board {} has no check for voice {n}", self.model.board);
            self.warn(
                code::NO_SUCH_CHECK,
                message,
                "the line is kept for the ticket but does not enter the ranking".into(),
            );
        }
        found
    }

    fn pitch_ways(&self, reads: &[Read], pitch: Pitch) -> Vec<Way> {
        let system = system_clock(self.model);
        let version = version_ratio(self.model);
        let own = strongest(self.model, reads)
            .into_iter()
            .filter(|w| system.iter().all(|s| s.mode != w.0));
        let mut ways: Vec<Way> = own
            .map(|(mode, kind, strength)| Way {
                mode,
                strength,
                value: pitch.under(kind),
            })
            .collect();
        ways.extend(system.iter().map(|part| Way {
            mode: part.mode,
            strength: part.strength,
            value: pitch.system(part, version),
        }));
        ways
    }

    fn pitch(&mut self, n: u8, interval: f64, expected: f64) {
        let Some((id, reads, what)) = self.voice(n) else {
            return;
        };
        self.test_ran(self.run);
        let pitch = Pitch::of(expected, self.generator());
        let grid = Pitch::grid();
        let value = Value {
            grid,
            at: grid.at(interval),
            nominal: pitch.near(0.0),
            any: pitch.any(),
        };
        let ways = self.pitch_ways(&reads, pitch);
        let text = match interval {
            c if c.abs() < 0.05 => format!("{what} in tune"),
            c if c < 0.0 => format!("{what} {:.1} cents low", -c),
            c => format!("{what} {c:.1} cents high"),
        };
        if self.valued(&id, &value, &ways, text) {
            self.heard(n, &reads, &what);
            self.tell_interval(interval, pitch);
        }
    }

    /// A tone that is off still comes out: nothing on its way is silent.
    fn heard(&mut self, n: u8, reads: &[Read], what: &str) {
        self.check(
            &format!("heard.voice.{n}"),
            reads,
            Aspect::Dead,
            Outcome::Pass,
            format!("{what} can be heard"),
        );
    }

    /// Flat or sharp without a number: the share of each cause's values that lies beyond what is heard.
    fn by_ear(&mut self, n: u8, sharp: bool) {
        let Some((id, reads, what)) = self.voice(n) else {
            return;
        };
        self.test_ran(self.run);
        let pitch = Pitch::of(440.0, self.generator());
        let grid = Grid {
            step: 2.0 * HEARD,
            lowest: -1,
        };
        let value = Value {
            grid,
            at: -1,
            nominal: pitch.near(0.0),
            any: pitch.any(),
        };
        let share = |m: &Mixture| {
            let p = if sharp {
                grid.p_above(0, m)
            } else {
                grid.p(-1, m)
            };
            p.clamp(0.0, 1.0)
        };
        let fine = value.fine(self.trust.false_fail);
        let missed = self.trust.missed;
        let ways: Vec<Way> = self
            .pitch_ways(&reads, pitch)
            .into_iter()
            .filter(|w| !silences(w))
            .collect();
        let under: Vec<f64> = ways
            .iter()
            .map(|w| share(&value.under(w, &fine, missed)))
            .collect();
        let weighed = weigh(share(&fine), &under);
        let effects = ways
            .iter()
            .map(|w| w.mode)
            .zip(weighed.strengths.iter().map(|s| super::stepped(*s)));
        self.mark(&id);
        let reading = super::CheckReading {
            check: id,
            outcome: if weighed.failed {
                Outcome::Fail
            } else {
                Outcome::Pass
            },
            run: self.run,
            looped: false,
            leak: weighed.leak.max(f64::MIN_POSITIVE),
            effects: effects.filter(|e| e.1 > 1e-12).collect(),
        };
        let word = if sharp { "sharp" } else { "flat" };
        self.push(format!("{what} {word}"), Evidence::Check(reading));
        self.heard(n, &reads, &what);
    }

    /// A part of one voice.
    fn of_voice(&mut self, n: u8, part: &str, aspect: Aspect, state: &State) {
        let Some((id, reads, what)) = self.voice(n) else {
            return;
        };
        self.test_ran(self.run);
        // 'rest fine' does not mean the voice that this is a part of.
        self.mark(&id);
        let (outcome, word) = good_or_bad(state);
        let aspect = if *state == State::Dead {
            Aspect::Dead
        } else {
            aspect
        };
        self.check(
            &format!("voice.{n}.{part}"),
            &reads,
            aspect,
            outcome,
            format!("{what}: {part} {word}"),
        );
    }

    /// What a function of the sound chip's own is called in the map, where a check reads it.
    fn chip_function(&self, function: &str) -> Option<Vec<Read>> {
        let chip = self
            .model
            .positions
            .iter()
            .find(|p| p.class == Class::Sound)?;
        let node = self.model.node(&format!("{}.{function}", chip.name))?;
        Some(vec![Read { node, weight: 1.0 }])
    }

    fn of_chip(&mut self, part: &str, reads: &[Read], state: &State) {
        self.test_ran(self.run);
        self.mark("sound");
        let (outcome, word) = good_or_bad(state);
        self.check(
            &format!("sound.{part}"),
            reads,
            Aspect::Trouble,
            outcome,
            format!("{part} {word}"),
        );
    }

    /// Too low a level is a weak or distorted output; nothing at all is no sound.
    fn loudness(&mut self, state: &State) {
        let Some((reads, what)) = self
            .model
            .check("sound")
            .map(|c| (c.reads.clone(), c.what.clone()))
        else {
            return;
        };
        self.test_ran(self.run);
        self.mark("sound");
        let (outcome, word) = good_or_bad(state);
        let aspect = match state {
            State::Dead => Aspect::Dead,
            State::Ok => Aspect::TroubleOrSpeed,
            _ => Aspect::Noisy,
        };
        self.check(
            "sound.level",
            &reads,
            aspect,
            outcome,
            format!("{what}: level {word}"),
        );
    }

    fn tell_interval(&mut self, interval: f64, pitch: Pitch) {
        let Some(ratio) = version_ratio(self.model) else {
            return;
        };
        let wanted = cents(ratio, 1.0);
        let grid = Pitch::grid();
        let at = grid.at(interval);
        let p = |i: f64| grid.p(at, &pitch.near(i));
        if p(wanted).max(p(-wanted)) <= grid.p(at, &pitch.any()) {
            return;
        }
        let text = format!(
            "{wanted:.1} cents are the ratio {ratio:.3} of the clocks of the two versions of this machine: when all voices are off by it, \
             look at crystal and version setting, or a tune made for the other version; when one is, at the sound chip."
        );
        self.hint_once(text);
    }

    /// A fitted type against the supply of its position, and a substitute that may start slowly. `line` is where it was typed.
    pub(super) fn fitted(&mut self, place: &crate::sheet::Place, part: &str) {
        let Some((i, position)) =
            super::board::position(self.model, &place.name).map(|(i, p)| (i, p.clone()))
        else {
            return;
        };
        // What was fitted first and replaced since is no matter now.
        if self.out.facts.fitted.get(&i).is_none_or(|now| now != part) {
            return;
        }
        let known = position.types.iter().find(|(t, _)| same_type(t, part));
        match known {
            Some((_, raw)) => {
                for m in mismatches(self.model, &position, &raw.supply) {
                    self.wrong_supply(i, &position, part, &m, raw.note.as_deref());
                }
            }
            None if position.class == Class::Sound => {
                self.substitute = true;
                let text = format!(
                    "{}: the map does not know the type {part}. A modern substitute may need some seconds after power-on: judge the sound \
                     after that, and look in its own paper which supply it wants.",
                    position.name
                );
                self.hint_once(text);
            }
            None => {}
        }
    }

    fn wrong_supply(
        &mut self,
        at: usize,
        position: &crate::faultmap::model::Position,
        part: &str,
        m: &Mismatch,
        note: Option<&str>,
    ) {
        let pin = m.signal.to_uppercase();
        let made_for = position
            .part_type
            .as_deref()
            .unwrap_or("the type that the board is made for");
        let what = format!(
            "{} {part} needs {} V at {pin}, this board gives it {} V",
            position.name, m.needs, m.gets
        );
        let note = note.map(|n| format!(" ({n})")).unwrap_or_default();
        if m.gets > m.needs && self.out.stop.is_none() {
            self.out.stop = Some(super::Stop {
                reason: what.clone(),
                remedy: format!(
                    "switch off; take {part} out of {} before the board is powered again, fit {made_for}, and take the part that stood on \
                     too many volts for bad until it is proved on its own voltage",
                    position.name
                ),
                rail: format!("{} supply", position.name),
                other_supply: false,
            });
        }
        let todo = if m.gets > m.needs {
            "It is likely to be destroyed."
        } else {
            "It stays weak or silent, which is no fault of the rest."
        };
        self.hint_once(format!(
            "{what}. {todo} Fit {made_for}, or change the supply and what goes with the type{note}."
        ));
        let Some((u, unit)) = self.model.units_of(at).next() else {
            return;
        };
        let (fine, faulty) = TYPE_MISTYPED;
        let modes = unit.modes.clone();
        let is = |m: &ModeId| {
            let of_type = self.model.modes[*m as usize].of_type.as_deref();
            of_type.is_some_and(|t| same_type(t, part))
        };
        // Weak on too few volts is no dead chip, and no weak supply.
        let Some(mode) = modes.into_iter().find(is) else {
            return self.push(
                what,
                Evidence::Unit {
                    unit: u,
                    fine,
                    faulty,
                },
            );
        };
        let reading = super::CheckReading {
            check: format!("fitted.{}", position.name),
            outcome: Outcome::Fail,
            run: self.run,
            looped: false,
            leak: JUST_THAT_MISTYPED,
            effects: [(mode, faulty)].into_iter().collect(),
        };
        self.push(what, Evidence::Check(reading));
    }
}

/// Whether a way makes the voice silent.
fn silences(way: &Way) -> bool {
    Pitch::grid().p(NO_TONE, &way.value) > 0.5
}

fn good_or_bad(state: &State) -> (Outcome, &'static str) {
    match state {
        State::Ok => (Outcome::Pass, "fine"),
        State::Dead => (Outcome::Fail, "dead"),
        State::Low => (Outcome::Fail, "too low"),
        _ => (Outcome::Fail, "wrong"),
    }
}

/// `8580` is meant by `8580R5` too: the digits of the type, whatever letters stand around.
fn same_type(known: &str, typed: &str) -> bool {
    let typed = typed.to_uppercase();
    let known = known.to_uppercase();
    typed.find(&known).is_some_and(|at| {
        let digit = |c: Option<char>| c.is_some_and(|c| c.is_ascii_digit());
        !digit(typed[..at].chars().next_back()) && !digit(typed[at + known.len()..].chars().next())
    })
}
