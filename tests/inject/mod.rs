//! A simulated bench: a board with a fault in it, what a test run and hand measurements would show, what a remedy does.
//!
//! It takes nothing of the ranking's model but the wiring (positions, type numbers, pins, lines, key crossings, names
//! of units, names of rails and where lines are measured). What chips do is written here once more, from
//! their data sheets, as a network of levels that is settled bus cycle by bus cycle: multiplexers multiplex, memories
//! store, decoders decode, and a fault is a pin that does not touch, an output that is held, a block that is dead.
//!
//! Use, for whoever compares plans:
//! ```text
//! let bench = Bench::of(&model);
//! let fault = &bench.faults()[17];                       // or bench.visible(): those that some check sees
//! bench.results(&[fault.clone()], seed)                  // a run sheet (text), as typed, with noise
//! bench.check(&[fault.clone()], "memory.bit.3")          // one check of the run: Some("memory bit 3 bad"), None: it did not run
//! bench.measure(&[fault.clone()], "U7", "40", Reading::Level, seed)  // "U7.40 low": a pin, by position and label
//! bench.measure(&[fault.clone()], "", "RESET_N", Reading::Level, seed) // "line RESET_N high": a line by name
//! bench.measure(&[fault.clone()], "", "+5V", Reading::Volts, seed)   // "rail 5V 5.02 V"
//! bench.remedy(fault, "U7 contacts", Remedy::Reseat)     // whether that cures it
//!
//! // or a machine that is being repaired:
//! let mut machine = Patient::new(&bench, vec![fault.clone()], seed);
//! machine.results()                                      // a run sheet of it as it is now
//! machine.measure("U7", "40", Reading::Level)            // "U7.40 low"
//! machine.check("memory.bit.3")                          // Some("memory bit 3 bad"), None: the run does not come to it
//! machine.remedy("U7", Remedy::Swap)                     // new part (or Reseat, Resolder): how many faults that cured
//! machine.works()                                        // whether everything is right now
//! ```
//! The same seed gives the same text. `fault.unit` is the name of the unit of the map, as the ranking names suspects;
//! it is empty for faults that the map has no unit for.

#![allow(dead_code)]

pub mod array;
pub mod boards;
pub mod clocks;
pub mod config;
pub mod faults;
pub mod machine;
pub mod measure;
pub mod misses;
pub mod overlay;
pub mod patient;
pub mod picture;
pub mod pins;
pub mod program;
pub mod score;
pub mod sheet;
pub mod steps;
pub mod supply;
pub mod supply_boost;
pub mod supply_five;
pub mod system;
pub mod touch;
pub mod wiring;

use faults::{Fault, Remedy};
use machine::Machine;
use measure::Reading;
use overlay::Overlay;
use program::{Outcome, Results, Test};
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};
use system::System;
use whichsocket::faultmap::model::BoardModel;
use wiring::Wired;

/// How surely a measuring point is tried on a machine that shows nothing, and on one that runs its test.
const PROBED: (f64, f64) = (0.6, 0.08);

/// Chance of a mistyped word in a line (two letters turned around).
const SLIPS: f64 = 0.015;

/// All that can be seen of a machine.
#[derive(Debug, Clone)]
pub struct Seen {
    /// The test run and the screen.
    pub results: Results,
    /// Rails with their volts.
    pub rails: Vec<(String, f64)>,
    /// Measuring points with the probe's word.
    pub levels: Vec<(String, &'static str)>,
    /// Share of the loops in which the fault shows.
    pub share: Option<f64>,
    /// Volts of the supply at its plug, off the board; measured where the 5 V on the board are not right.
    pub plug: Option<f64>,
}

impl Seen {
    /// Whether the run, the picture or a rail shows that something is wrong.
    pub fn shows(&self, w: &Wired) -> bool {
        let nominal = |name: &str| w.rails.iter().find(|r| r.0 == name).map_or(1.0, |r| r.2);
        self.results.shows()
            || self
                .rails
                .iter()
                .any(|(name, volts)| (volts / nominal(name) - 1.0).abs() > 0.15)
    }
}

/// A board on the bench.
pub struct Bench {
    /// The wiring.
    pub w: Wired,
    /// What machine it makes.
    pub system: Box<dyn System>,
    /// Chance of a mistyped word in a line of a sheet.
    pub slips: f64,
}

impl Bench {
    /// A board, of which only the wiring is taken.
    pub fn of(model: &BoardModel) -> Self {
        let w = Wired::of(model);
        let system = system::of(&w);
        Self {
            w,
            system,
            slips: SLIPS,
        }
    }

    /// Every single fault.
    pub fn faults(&self) -> Vec<Fault> {
        faults::all(&self.w)
    }

    /// The single faults that the run, the picture or a rail shows.
    pub fn visible(&self) -> Vec<Fault> {
        let mut all = self.faults();
        all.retain(|f| self.shows(std::slice::from_ref(f)));
        all
    }

    /// What a run shows.
    pub fn run(&self, faults: &[Fault], seed: u64) -> Results {
        let all: Vec<&Fault> = faults.iter().collect();
        self.system.run(&mut Machine::new(&self.w, &all, seed))
    }

    /// Whether the run, the picture or a rail shows that something is wrong.
    pub fn shows(&self, faults: &[Fault]) -> bool {
        self.observe(faults).shows(&self.w)
    }

    /// All that can be seen of a machine with these faults. One machine, so one state of what floats.
    pub fn observe(&self, faults: &[Fault]) -> Seen {
        let all: Vec<&Fault> = faults.iter().collect();
        let mut m = Machine::new(&self.w, &all, salt(faults));
        let results = self.system.run(&mut m);
        let rails = self
            .w
            .rails
            .iter()
            .map(|(name, ..)| (name.clone(), measure::rail(&m, name)))
            .collect();
        self.system.exercise(&mut m);
        let levels = self
            .w
            .points
            .iter()
            .map(|(_, part, pin)| {
                let k = self.w.part(part);
                let word = measure::at_leg(&m, &*self.system, faults, k, self.w.pin(k, pin));
                (format!("{part}.{pin}"), word)
            })
            .collect();
        Seen {
            results,
            rails,
            levels,
            share: faults.iter().find_map(|f| f.share),
            plug: (!m.supply.good(self.w.line("+5V"))).then(|| supply::at_plug(&self.w, &m.o)),
        }
    }

    /// A run sheet of what was seen.
    pub fn sheet(&self, seen: &Seen, seed: u64) -> String {
        let mut rng = StdRng::seed_from_u64(seed);
        let (rails, levels) = if seen.results.ran {
            (0.4, PROBED.1)
        } else {
            (0.95, PROBED.0)
        };
        let hand = sheet::Hand {
            plug: seen.plug.filter(|_| rng.random_bool(0.8)),
            rails: seen
                .rails
                .iter()
                .filter(|_| rng.random_bool(rails))
                .map(|(name, volts)| (self.w.rail_word(name), *volts))
                .collect(),
            levels: seen
                .levels
                .iter()
                .filter(|_| rng.random_bool(levels))
                .cloned()
                .collect(),
        };
        sheet::write(
            &mut rng,
            &self.w.board,
            &seen.results,
            &hand,
            seen.share,
            self.slips,
        )
    }

    /// The run sheet of a machine with these faults.
    pub fn results(&self, faults: &[Fault], seed: u64) -> String {
        self.sheet(&self.observe(faults), seed)
    }

    /// One check of the test run or one look at the picture, by the identifier of the map; `None` when the run did not
    /// come to it, or it is no check of a run.
    pub fn check(&self, faults: &[Fault], id: &str) -> Option<String> {
        let mut rng = StdRng::seed_from_u64(1);
        let r = self.run(faults, salt(faults));
        if id.starts_with("picture.") || id == "start-text" {
            return Some(sheet::picture(&mut rng, r.screen));
        }
        let tested = r.tests.iter().find(|t| id_of(&t.0) == id);
        let tested = tested.map(|(t, o)| sheet::result(&mut rng, t, *o));
        tested.or_else(|| {
            let all: Vec<&Fault> = faults.iter().collect();
            let mut m = Machine::new(&self.w, &all, salt(faults));
            let good = self.system.own(&mut m, id)?;
            Some(format!("check {id} {}", if good { "ok" } else { "dead" }))
        })
    }

    /// A reading by hand in words of the sheet: at a pin (`position` and its label), or with an empty position on a line or
    /// a rail by name.
    pub fn measure(
        &self,
        faults: &[Fault],
        position: &str,
        at: &str,
        kind: Reading,
        seed: u64,
    ) -> String {
        let mut rng = StdRng::seed_from_u64(seed);
        let all: Vec<&Fault> = faults.iter().collect();
        let mut m = Machine::new(&self.w, &all, salt(faults));
        match kind {
            Reading::Volts => {
                let volts =
                    measure::rail(&m, at) * (1.0 + 0.01 * (rng.random::<f64>() - 0.5)) + 0.01;
                format!("{} {volts:.2} V", sheet::rail(&self.w.rail_word(at)))
            }
            Reading::Ripple => {
                let line = self.w.rails.iter().find(|r| r.0 == at).map(|r| r.1);
                let true_volts = line
                    .and_then(|l| m.supply.ripple.get(&l).copied())
                    .unwrap_or(0.03);
                format!(
                    "{at} ripple {:.0} mV",
                    true_volts * 1000.0 * rng.random_range(0.8..1.2)
                )
            }
            Reading::Level => {
                self.system.exercise(&mut m);
                if position.is_empty() {
                    let line = self.w.line(at);
                    let word = self.system.word(&m, line);
                    return format!("line {at} {word}");
                }
                let part = self.w.part(position);
                let word = measure::at_leg(&m, &*self.system, faults, part, self.w.pin(part, at));
                format!("{position}.{at} {word}")
            }
        }
    }

    /// Whether a fault shorts the rail at this leg of a part.
    pub fn shorts_at(&self, fault: &Fault, (part, pin): (usize, usize)) -> bool {
        let line = self.w.parts[part].pins[pin].1;
        let shorted = supply::shorted(&self.w, &Overlay::of(&self.w, &[fault]));
        let here = |(p, lines): &(usize, Vec<usize>)| {
            *p == part && line.is_some_and(|l| lines.contains(&l))
        };
        shorted.iter().any(here)
    }

    /// Volts of the supply at its plug, off the board.
    pub fn plug(&self, faults: &[Fault]) -> f64 {
        let all: Vec<&Fault> = faults.iter().collect();
        supply::at_plug(&self.w, &Overlay::of(&self.w, &all))
    }

    /// Ohms from a rail to ground with the board off, in words of the sheet.
    pub fn resistance(&self, faults: &[Fault], rail: &str, seed: u64) -> String {
        let mut rng = StdRng::seed_from_u64(seed);
        let all: Vec<&Fault> = faults.iter().collect();
        let ohms = touch::ohms(&self.w, &Overlay::of(&self.w, &all), rail, &mut rng);
        format!("resistance {} {ohms:.1} ohm", rail.trim_start_matches('+'))
    }

    /// Ohms across a part of two legs, in words of the sheet.
    pub fn across(&self, faults: &[Fault], part: &str, seed: u64) -> String {
        let mut rng = StdRng::seed_from_u64(seed);
        let read = touch::across(&self.w, faults, self.w.part(part), &mut rng);
        format!("ohms across {part} {read}")
    }

    /// Ohms from leg to leg, in words of the sheet.
    pub fn along(&self, faults: &[Fault], a: (&str, &str), b: (&str, &str), seed: u64) -> String {
        let mut rng = StdRng::seed_from_u64(seed);
        let leg = |(part, pin): (&str, &str)| {
            let part = self.w.part(part);
            (part, self.w.pin(part, pin))
        };
        let read = match touch::along(faults, [leg(a), leg(b)], &self.w, &mut rng) {
            Some(ohms) => format!("{ohms:.1} ohm"),
            None => "open".into(),
        };
        format!("{}.{} to {}.{} {read}", a.0, a.1, b.0, b.1)
    }

    /// The part at which a rail that is pulled down is lowest.
    pub fn lowest(&self, faults: &[Fault], parts: &[String], seed: u64) -> String {
        let mut rng = StdRng::seed_from_u64(seed);
        let all: Vec<&Fault> = faults.iter().collect();
        touch::lowest(&self.w, &Overlay::of(&self.w, &all), parts, &mut rng)
    }

    /// Which of these parts a finger calls hot after some seconds of power.
    pub fn hot(&self, faults: &[Fault], parts: &[String], seed: u64) -> Vec<String> {
        let mut rng = StdRng::seed_from_u64(seed);
        let all: Vec<&Fault> = faults.iter().collect();
        touch::hot(&self.w, &Overlay::of(&self.w, &all), parts, &mut rng)
    }

    /// Whether a remedy at a unit cures a fault.
    pub fn remedy(&self, fault: &Fault, unit: &str, remedy: Remedy) -> bool {
        faults::cures(&self.w, fault, unit, remedy)
    }
}

/// What floats reads one way on one machine, however often somebody looks: from the faults that it has.
fn salt(faults: &[Fault]) -> u64 {
    faults
        .iter()
        .flat_map(|f| f.unit.bytes())
        .fold(7u64, |a, b| a.wrapping_mul(31) + u64::from(b))
}

/// The map's identifier of a test.
fn id_of(test: &Test) -> String {
    match test {
        Test::MemoryBit(k) => format!("memory.bit.{k}"),
        Test::UpperBit(k) => format!("upper.bit.{k}"),
        Test::Rom(word) => format!("rom.{word}"),
        Test::VideoBit(k) => format!("video.bit.{k}"),
        Test::ColourBit(k) => format!("colour.bit.{k}"),
        Test::Timer(a, l) => format!("timer.{a}.{l}"),
        Test::Clock(a) => format!("clock.{a}"),
        Test::Interrupt(a) => format!("interrupt.{a}"),
        Test::Key(k) => format!("key.{k}"),
        Test::Port(p) => format!(
            "port.{}",
            p.trim_end_matches(" port").replace(" port ", "-")
        ),
        Test::Voice(k) => format!("voice.{k}"),
        Test::Sound => "sound".into(),
        Test::Filter => "filter".into(),
        Test::Paddles(k) => format!("paddles.{k}"),
    }
}

/// Whether two faults both show, each as if the other were not there: neither hides the other.
pub fn neither_masks(bench: &Bench, a: &Fault, b: &Fault) -> bool {
    let failing = |f: &[Fault]| -> Option<Vec<(Test, Outcome)>> {
        let r = bench.run(f, 1);
        (r.ran && !r.stopped).then(|| r.failing().cloned().collect())
    };
    let (Some(x), Some(y), Some(both)) = (
        failing(std::slice::from_ref(a)),
        failing(std::slice::from_ref(b)),
        failing(&[a.clone(), b.clone()]),
    ) else {
        return false;
    };
    let own = |p: &[(Test, Outcome)], q: &[(Test, Outcome)]| {
        p.iter().any(|t| !q.contains(t) && both.contains(t))
    };
    own(&x, &y) && own(&y, &x)
}

/// Work on a list in as many threads as the machine has cores, results in order.
pub fn spread<T: Sync, R: Send>(list: &[T], work: impl Fn(usize, &T) -> R + Sync) -> Vec<R> {
    let threads = std::thread::available_parallelism().map_or(2, std::num::NonZero::get);
    let next = std::sync::atomic::AtomicUsize::new(0);
    let mut all: Vec<(usize, R)> = std::thread::scope(|s| {
        let one = || {
            let mut out = Vec::new();
            loop {
                let k = next.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
                let Some(item) = list.get(k) else {
                    return out;
                };
                out.push((k, work(k, item)));
            }
        };
        let handles: Vec<_> = (0..threads).map(|_| s.spawn(one)).collect();
        handles
            .into_iter()
            .flat_map(|h| h.join().expect("a thread that works"))
            .collect()
    });
    all.sort_by_key(|r| r.0);
    all.into_iter().map(|r| r.1).collect()
}
