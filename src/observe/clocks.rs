//! Timers and clocks: how fast they ran against a watch or against the machine's own clock.
//!
//! A time-of-day clock counts mains ticks, five to a tenth of a second on 50 Hz and six on 60 Hz (`facts/published.md` 4.2,
//! S20, S6b); a timer counts cycles of the machine's clock. So the ratio q = shown / real tells what is wrong:
//!
//! | q | cause |
//! | --- | --- |
//! | 1 | nothing, within the mains' tolerance |
//! | 5/6 | fed with 50 Hz, counting six ticks: the setting, or the divider of one adapter |
//! | 6/5 | fed with 60 Hz, counting five |
//! | 1.03804, 1/1.03804 | the clock of the machine's other version, counted by or counting |
//! | 0 | no ticks, or a dead counter |
//! | other | a divider that counts wrong, another crystal |
//!
//! Reading of q: Normal(q, q · √(jitter² + mains²)), on the grid of what can be typed ([`super::spread`]).

use super::Observer;
use super::aspect::Aspect;
use super::spread::{Grid, Mixture, Shape};
use super::valued::{
    MAINS_SETTING, SystemClock, Value, Way, strongest, system_clock, version_ratio,
};
use crate::faultmap::model::{BoardModel, Kind, ModeId, Read};
use crate::faultmap::raw::Class;
use crate::infer::network::Outcome;
use crate::sheet::{Finding, State, Subject};

/// Six ticks counted where five make a tenth of a second, and the reverse.
pub const SLOW_SETTING: f64 = 5.0 / 6.0;
/// See [`SLOW_SETTING`].
pub const FAST_SETTING: f64 = 6.0 / 5.0;

/// EN 50160, synchronous: 50 Hz ± 1 % in 99.5 % of the year (10 s means; S22). A normal distribution with 99.5 % within ± 1 % has
/// the standard deviation 1 % / 2.807.
const MAINS_SD: f64 = 0.01 / 2.807;
/// The other 0.5 %: within −6 % and +4 % always (EN 50160, S22).
const MAINS_FAR: (f64, f64, f64) = (0.005, 0.94, 1.04);

/// A hand on a watch, start and stop, seconds (guess: reaction times of 0.15 s that partly cancel).
const WATCH: f64 = 0.2;
/// A percentage is worked out by the test, from counts: half of the last typed digit.
const COUNTED: f64 = 0.0005;
/// A clock shows tenths of a second; whole seconds of half a minute or more were read to the second (guess).
const TENTH: f64 = 0.1;
/// See [`TENTH`].
const WHOLE_FROM: f64 = 30.0;

/// Slowest and fastest that a counter with a fault is taken to run (guess).
const SLOWEST: f64 = 0.02;
/// See [`SLOWEST`].
const FASTEST: f64 = 20.0;

/// How often a clock that stands shows a step or two all the same (guess).
const FIRST_STEPS: f64 = 0.1;
/// Of a wrong setting, how often it is not the one of the mains (guess).
const OTHER_SETTING: f64 = 0.02;
/// Of an adapter that divides its ticks wrong, how often it is not by six for five or the reverse (guess).
const OTHER_DIVIDER: f64 = 0.2;
/// Of a part of the machine's clock that is wrong for this board, how often it is not that of the other version (guess).
const OTHER_CRYSTAL: f64 = 0.3;
/// A timer that is called dead counts wrong so often (guess), a clock so often.
const COUNTS_WRONG: (f64, f64) = (0.2, 0.02);
/// How probable it is that the line `mains` of a sheet tells the setting and not what the machine is fed with (guess).
const HEADER_IS_SETTING: f64 = 0.05;
/// How probable it is that seconds 'by the watch' were in truth counted by the machine (guess).
const NO_WATCH: f64 = 0.4;
/// How probable it is that the test times a timer by the time-of-day clock (guess).
const TIMED_BY_CLOCK: f64 = 0.5;

/// P(a clock called good or bad without a number was held against the machine's own clock by the test, closely enough for another
/// crystal to show); else it was only seen to tick, or held against a watch, which the crystal does not touch (guess).
const HELD_AGAINST: f64 = 0.5;

/// A ratio that was read: its grid, its place on it and how it spreads.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ratio {
    /// The ratio as typed.
    pub q: f64,
    /// Distance of two ratios that can be typed.
    step: f64,
    /// Relative standard deviation of the reading itself.
    jitter: f64,
    /// Whether seconds were typed (else a percentage).
    seconds: bool,
    /// Whether it counts mains ticks: then their rare far values count too.
    mains: bool,
}

impl Ratio {
    /// Of a state that tells one.
    pub fn of(state: &State) -> Option<Self> {
        match *state {
            State::Rate { shown, real } if real > 0.0 => {
                let whole = shown.fract() == 0.0 && real.fract() == 0.0 && real >= WHOLE_FROM;
                let step = if whole { 1.0 } else { TENTH };
                let jitter = WATCH.hypot(if whole { step } else { 0.0 }) / real;
                Some(Self {
                    q: shown / real,
                    step: step / real,
                    jitter,
                    seconds: true,
                    mains: true,
                })
            }
            State::OffBy(percent) => Some(Self {
                q: 1.0 + percent / 100.0,
                step: 0.001,
                jitter: COUNTED,
                seconds: false,
                mains: true,
            }),
            _ => None,
        }
    }

    /// The same of a timer, which counts the machine's clock.
    pub fn of_timer(mut self) -> Self {
        self.mains = false;
        self
    }

    /// The grid of what can be typed, nothing below 0.
    pub fn grid(&self) -> Grid {
        Grid {
            step: self.step,
            lowest: 0,
        }
    }

    /// How a clock that runs at `q` is read.
    pub fn near(&self, q: f64) -> Mixture {
        let (share, low, high) = MAINS_FAR;
        let near = Mixture::of(Shape::Normal(q, q * self.jitter.hypot(MAINS_SD)));
        if !self.mains {
            return near;
        }
        near.or(share, &Mixture::of(Shape::Even(low * q, high * q)))
    }

    /// How a clock that stands is read.
    fn stopped(&self) -> Mixture {
        // Started and stopped by hand it may show a step or two.
        let steps = Mixture::of(Shape::Even(0.0, 2.5 * self.step));
        Mixture::of(Shape::Even(0.0, 0.5 * self.step)).or(FIRST_STEPS, &steps)
    }

    /// Anything from slowest to fastest.
    pub fn any(&self) -> Mixture {
        Mixture::of(Shape::LogEven(SLOWEST, FASTEST))
    }

    /// How it is read when trouble of this kind, of a part of this class, shows in it.
    pub fn under(&self, kind: Kind, class: Class, clock: bool) -> Mixture {
        let sharp = |q: f64, away: Shape| match class {
            Class::Setting => self.near(q).or(OTHER_SETTING, &Mixture::of(away)),
            Class::InterfaceAdapter => self.near(q).or(OTHER_DIVIDER, &Mixture::of(away)),
            _ => Mixture::of(away),
        };
        match kind {
            Kind::Lost | Kind::Low | Kind::High => {
                let share = if clock {
                    COUNTS_WRONG.1
                } else {
                    COUNTS_WRONG.0
                };
                self.stopped().or(share, &self.any())
            }
            Kind::Slow => sharp(SLOW_SETTING, Shape::LogEven(SLOWEST, 1.0)),
            Kind::Fast => sharp(FAST_SETTING, Shape::LogEven(1.0, FASTEST)),
            Kind::Wrong => self.any(),
            // Ticks lost or counted twice on a noisy line.
            Kind::Noisy => Mixture::of(Shape::LogEven(0.5, 2.0)),
        }
    }

    /// How it is read when the machine's own clock is wrong.
    pub fn system(&self, part: &SystemClock, version: Option<f64>) -> Mixture {
        match version.filter(|_| part.version) {
            Some(r) => {
                let other = self.near(r).or(0.5, &self.near(1.0 / r));
                other.or(OTHER_CRYSTAL, &self.any())
            }
            None => self.any(),
        }
    }
}

impl Observer<'_> {
    /// A timer or clock with a ratio.
    pub(super) fn speed(&mut self, f: &Finding, ratio: Ratio) {
        let ids = self.checks_of(&f.subject);
        if ids.is_empty() {
            return self.result(f);
        }
        self.test_ran(self.run);
        let clock = matches!(f.subject, Subject::Clock(_));
        let ratio = if clock { ratio } else { ratio.of_timer() };
        let mut failed = false;
        for id in ids {
            let Some(check) = self.model.check(&id) else {
                continue;
            };
            let text = format!("{} {}", check.what, told(&f.state));
            let ways = self.ways(&check.reads, clock, &ratio);
            let grid = ratio.grid();
            let value = Value {
                grid,
                at: grid.at(ratio.q),
                nominal: ratio.near(1.0),
                any: ratio.any(),
            };
            failed |= self.valued(&id, &value, &ways, text);
        }
        if failed {
            self.tell_ratio(&ratio, clock);
        }
    }

    /// How each mode reaches the ratio.
    fn ways(&self, reads: &[Read], clock: bool, ratio: &Ratio) -> Vec<Way> {
        let system = system_clock(self.model);
        let of_system = |mode| system.iter().any(|s| s.mode == mode);
        let mut out: Vec<Way> = Vec::new();
        for (mode, kind, strength) in strongest(self.model, reads) {
            if of_system(mode) {
                continue;
            }
            let class = self.class(mode);
            out.push(Way {
                mode,
                strength: strength * self.fed_for(mode, kind),
                value: ratio.under(kind, class, clock),
            });
        }
        let version = version_ratio(self.model);
        let share = if clock && ratio.seconds {
            NO_WATCH
        } else {
            1.0
        };
        out.extend(system.iter().map(|part| Way {
            mode: part.mode,
            strength: part.strength * share,
            value: ratio.system(part, version),
        }));
        if !clock && !ratio.seconds {
            out.extend(self.clock_as_measure(ratio));
        }
        out
    }

    /// Timers counted against time-of-day clocks that are set for the other mains run the other way.
    fn clock_as_measure(&self, ratio: &Ratio) -> Vec<Way> {
        let model = self.model;
        let of_clock = model.checks.iter().filter(|c| c.id.starts_with("clock."));
        let reads: Vec<Read> = of_clock.flat_map(|c| c.reads.clone()).collect();
        let settings = strongest(model, &reads)
            .into_iter()
            .filter(|w| self.is_mains_setting(w.0));
        let way = |(mode, kind, strength): (u32, Kind, f64)| {
            let q = match kind {
                Kind::Slow => FAST_SETTING,
                Kind::Fast => SLOW_SETTING,
                _ => return None,
            };
            Some(Way {
                mode,
                strength: strength * TIMED_BY_CLOCK * self.fed_for(mode, kind),
                value: ratio.near(q),
            })
        };
        settings.filter_map(way).collect()
    }

    /// What a clock called good or bad says of the machine's own clock. A time-of-day clock counts the mains and a timer the machine's
    /// clock: a wrong crystal shows where the test holds one against the other, never in the timers by themselves.
    pub(super) fn held_against_machine(&self, aspect: Aspect, effects: &mut Vec<(ModeId, f64)>) {
        let by_word = match aspect {
            Aspect::Trouble | Aspect::TroubleOrSpeed => 1.0,
            // A crystal is too slow or too fast.
            Aspect::Slow | Aspect::Fast => 0.5,
            _ => return,
        };
        // The test holds all clocks against the machine's or none: together they say it once.
        let checks = self.model.checks.iter();
        let clocks = checks.filter(|c| c.id.starts_with("clock.")).count();
        let share = by_word * (1.0 - (1.0 - HELD_AGAINST).powf(1.0 / clocks.max(1) as f64));
        for part in system_clock(self.model).iter() {
            let strength = super::stepped(part.strength * share);
            match effects.iter_mut().find(|e| e.0 == part.mode) {
                Some(known) => known.1 = known.1.max(strength),
                None => effects.push((part.mode, strength)),
            }
        }
        effects.sort_unstable_by_key(|e| e.0);
    }

    fn class(&self, mode: u32) -> Class {
        let unit = &self.model.units[self.model.modes[mode as usize].unit as usize];
        self.model.positions[unit.position].class
    }

    fn is_mains_setting(&self, mode: u32) -> bool {
        let unit = &self.model.units[self.model.modes[mode as usize].unit as usize];
        self.model.positions[unit.position].family == MAINS_SETTING
    }

    /// A setting for 60 Hz makes clocks slow only on 50 Hz mains, one for 50 Hz makes them fast only on 60 Hz: how probable that
    /// is by what the sheet says of the mains.
    fn fed_for(&self, mode: u32, kind: Kind) -> f64 {
        let needs = match kind {
            Kind::Slow => 50.0,
            Kind::Fast => 60.0,
            _ => return 1.0,
        };
        match self.out.facts.mains {
            Some(hz) if self.is_mains_setting(mode) && (hz - needs).abs() > 3.0 => {
                HEADER_IS_SETTING
            }
            _ => 1.0,
        }
    }

    /// What the ratio looks like, in words.
    fn tell_ratio(&mut self, ratio: &Ratio, clock: bool) {
        let Some(text) = looks_like(self.model, ratio, clock) else {
            return;
        };
        self.hint_once(text);
    }

    /// A clock that jumps or drifts, in words.
    pub(super) fn uneven(state: &State) -> Option<(Aspect, Outcome, String)> {
        match state {
            State::Jumps => Some((Aspect::Jumps, Outcome::Fail, "jumps".into())),
            State::Drifts => Some((Aspect::Drifts, Outcome::Fail, "drifts".into())),
            _ => None,
        }
    }
}

fn told(state: &State) -> String {
    match state {
        State::Rate { shown, real } => format!("showed {shown} s in {real} s"),
        State::OffBy(p) if *p < 0.0 => format!("{} % slow", -p),
        State::OffBy(p) => format!("{p} % fast"),
        _ => String::new(),
    }
}

/// Which of the known ratios this one is; `None` for none of them.
pub fn looks_like(model: &BoardModel, ratio: &Ratio, clock: bool) -> Option<String> {
    let grid = ratio.grid();
    let at = grid.at(ratio.q);
    let p = |q: f64| grid.p(at, &ratio.near(q));
    let version = version_ratio(model);
    let mut known: Vec<(f64, String)> = Vec::new();
    if clock {
        for (q, set, fed, name) in [(SLOW_SETTING, 60, 50, "5/6"), (FAST_SETTING, 50, 60, "6/5")] {
            let text = format!(
                "A rate of {name}: set for {set} Hz mains, fed with {fed} Hz. Look at the setting for the mains frequency first; \
                 if one clock alone does it, at the divider of its adapter."
            );
            known.push((p(q), text));
        }
    }
    if let Some(r) = version {
        let text = format!(
            "A ratio of {r:.3}: the clock of the other version of this machine (crystal or version setting), or a test made for \
             that version."
        );
        known.push((p(r).max(p(1.0 / r)), text));
    }
    let any = grid.p(at, &ratio.any());
    let best = known.into_iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
    (best.0 > any).then_some(best.1)
}
