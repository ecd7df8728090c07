//! How surely each mode shows in a level read at a line.
//!
//! An output that has power drives one of two levels, whatever comes in (TTL totem pole and MOS push-pull outputs: 74LS and 6526
//! data sheets). So what stands farther up the path hardly ever leaves a line floating, unless it takes away the power, or the line
//! is a bus which is nobody's turn then. Nor does it always stop a line: a processor that reads nonsense still reads, and the video
//! chip fetches on. Without power or clock all stands still.

use super::shown::absent;
use super::{Aspect, Effects, effects, stepped};
use crate::faultmap::model::{BoardModel, Kind, LineDef, ModeId};
use crate::faultmap::raw::{Class, Expect};
use std::collections::{HashMap, HashSet};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

/// What is left of the strength, in a line that does not move, for a mode farther up the path (a guess: as often as not).
const STILL: f64 = 0.5;
/// A line that nobody moves is low, or high (a guess: which of the two it is, no map says).
const RESTS: f64 = 0.5;
/// What is left in a line that floats (a guess: probes and those who read them err).
const FLOATS: f64 = 0.1;
/// In a line that floats, for a mode that takes away power (a guess: a rail that is only low leaves outputs driving).
const NO_POWER: f64 = 0.5;
/// In a bus that floats (a guess).
const BUS: f64 = 0.5;
/// So many chips on a line make a bus.
const CHIPS_OF_BUS: usize = 3;
/// A processor that lost so many of its lines moves nothing.
const LINES_OF_MASTER: usize = 5;
/// Hertz of the slowest clock of a board (processors of this kind run from 0.5 MHz on: data sheets of the 6502 and Z80; frame interrupts
/// and mains ticks have 50 or 60).
const SLOWEST_CLOCK: f64 = 100_000.0;
/// A mode that does this much to a rail or a clock takes it away.
const TAKES_AWAY: f64 = 0.5;

/// The effects on a level of this line, when described by this aspect, before anything is missed by a reader. `None` for a line
/// that the map does not have. `scratch` as in [`effects`].
pub fn level_effects(
    model: &BoardModel,
    line: &str,
    aspect: Aspect,
    scratch: &mut Vec<f64>,
) -> Option<Effects> {
    #[derive(Default)]
    struct Known(Mutex<HashMap<(u32, Aspect), Effects>>);
    let node = model.node(line)?;
    let memo = model.memo.of::<Known>();
    let mut known = memo.0.lock().unwrap_or_else(PoisonError::into_inner);
    let found = known
        .entry((node, aspect))
        .or_insert_with(|| work_out(model, line, aspect, scratch));
    Some(found.clone())
}

fn work_out(model: &BoardModel, line: &str, aspect: Aspect, scratch: &mut Vec<f64>) -> Effects {
    let reads = model.reads_of_line(line).unwrap_or_default();
    let (direct, moved_by) = reads.split_at(1.min(reads.len()));
    let mut all = effects(model, direct, aspect, scratch);
    let def = model.lines.iter().find(|l| l.line == line);
    let mut floats = 1.0;
    if let Some(farther) = Farther::of(model, line, def, aspect) {
        for (mode, strength) in &mut all {
            *strength = stepped(*strength * farther.share(model, *mode));
        }
        if farther.floats {
            floats = farther.share;
        }
    }
    // What makes the line move has its weight from the map.
    let unset = def.is_some_and(|d| unset(d, aspect));
    let (aspect, share) = not_reached(aspect, unset.then_some(1.0), floats);
    for (mode, strength) in effects(model, moved_by, aspect, scratch) {
        let strength = stepped(strength * share);
        match all.binary_search_by_key(&mode, |e| e.0) {
            Ok(at) => all[at].1 = all[at].1.max(strength),
            Err(at) => all.insert(at, (mode, strength)),
        }
    }
    all.into()
}

/// Whether a line stands as it does before a program sets it, and would be left at the other level by it.
pub(super) fn unset(def: &LineDef, aspect: Aspect) -> bool {
    let other = match aspect {
        Aspect::Low => Expect::High,
        Aspect::High => Expect::Low,
        _ => return false,
    };
    def.expect == other && !def.moved_by.is_empty()
}

/// How a line is described that a program does not come to move, with the share of those of which that is said. Whether the program
/// is gone or goes astray is the same to the line: it stands as it was left at power-on, and a line that stands still hardly floats.
/// `rests`: the share for the level at which it stands, where that is known.
fn not_reached(aspect: Aspect, rests: Option<f64>, floats: f64) -> (Aspect, f64) {
    match aspect {
        Aspect::Dead | Aspect::NotMoving => (Aspect::Trouble, 1.0),
        Aspect::Low | Aspect::High => (Aspect::Trouble, rests.unwrap_or(RESTS)),
        Aspect::Floating => (Aspect::Trouble, floats),
        other => (other, 1.0),
    }
}

/// What of the strength is left for modes that stand farther up the path than what is on the line.
struct Farther {
    /// Positions with a pin on the line.
    there: HashSet<usize>,
    floats: bool,
    share: f64,
    vital: Arc<Vital>,
}

impl Farther {
    fn of(model: &BoardModel, line: &str, def: Option<&LineDef>, aspect: Aspect) -> Option<Self> {
        use Aspect::{Dead, Floating, High, Low, NotMoving};
        let moves = def.is_some_and(|d| d.expect == Expect::Pulsing);
        let floats = aspect == Floating;
        if !(floats || moves && matches!(aspect, Dead | High | Low | NotMoving)) {
            return None;
        }
        let on_line = |position: &usize| {
            let pins = &model.positions[*position].pins;
            pins.iter().any(|p| p.line.as_deref() == Some(line))
        };
        let there: HashSet<usize> = (0..model.positions.len()).filter(on_line).collect();
        let chips = there.iter().filter(|&&p| is_chip(model.positions[p].class));
        let share = match (floats, chips.count() >= CHIPS_OF_BUS) {
            (false, _) => STILL,
            (true, true) => BUS,
            (true, false) => FLOATS,
        };
        Some(Self {
            there,
            floats,
            share,
            vital: vital(model),
        })
    }

    fn share(&self, model: &BoardModel, mode: ModeId) -> f64 {
        let unit = &model.units[model.modes[mode as usize].unit as usize];
        if self.there.contains(&unit.position) || absent(model)[mode as usize] {
            return 1.0;
        }
        let (power, clock) = (&self.vital.power, &self.vital.clock);
        match self.floats {
            true if power.contains(&mode) => self.share.max(NO_POWER),
            false if power.contains(&mode) || clock.contains(&mode) => 1.0,
            _ => self.share,
        }
    }
}

/// Modes that take away what everything needs.
struct Vital {
    power: HashSet<ModeId>,
    /// Clocks, and processors that do nothing at all.
    clock: HashSet<ModeId>,
}

fn vital(model: &BoardModel) -> Arc<Vital> {
    #[derive(Default)]
    struct Known(OnceLock<Arc<Vital>>);
    let work_out = || {
        let rails = model.rails.values().map(|r| r.line.as_str());
        // A line with a frequency is a clock; ticks, and syncs that a program must set up first, are none.
        let is_clock =
            |l: &&LineDef| l.hz.is_some_and(|hz| hz >= SLOWEST_CLOCK) && l.moved_by.is_empty();
        let clocks = model.lines.iter().filter(is_clock);
        Arc::new(Vital {
            power: taken_away(model, rails),
            clock: taken_away(model, clocks.map(|l| l.line.as_str()))
                .union(&masters(model))
                .copied()
                .collect(),
        })
    };
    Arc::clone(model.memo.of::<Known>().0.get_or_init(work_out))
}

/// Modes that take away a supply or a clock, or leave a processor that does nothing at all, with how surely at most they leave a line
/// without what should move it: a rail that is low does less than one that is gone.
pub fn stops_all(model: &BoardModel) -> Arc<HashMap<ModeId, f64>> {
    #[derive(Default)]
    struct Known(OnceLock<Arc<HashMap<ModeId, f64>>>);
    let work_out = || {
        let Vital { power, clock } = &*vital(model);
        let mut all: HashMap<ModeId, f64> = power.union(clock).map(|m| (*m, 0.0)).collect();
        let moving = model.lines.iter().filter(|l| l.expect == Expect::Pulsing);
        let nodes = moving.filter_map(|l| model.node(&l.line));
        let touches = nodes.flat_map(|n| &model.nodes[n as usize].touches);
        for touch in touches.filter(|t| t.kind == Kind::Lost) {
            if let Some(most) = all.get_mut(&touch.mode) {
                *most = most.max(f64::from(touch.strength));
            }
        }
        Arc::new(all)
    };
    Arc::clone(model.memo.of::<Known>().0.get_or_init(work_out))
}

fn taken_away<'l>(model: &BoardModel, lines: impl Iterator<Item = &'l str>) -> HashSet<ModeId> {
    let nodes = lines.filter_map(|line| model.node(line));
    let touches = nodes.flat_map(|n| &model.nodes[n as usize].touches);
    touches
        .filter(|t| matches!(t.kind, Kind::Lost | Kind::Low | Kind::High))
        .filter(|t| f64::from(t.strength) >= TAKES_AWAY)
        .map(|t| t.mode)
        .collect()
}

/// Modes that leave a processor without most of its lines, its own or those of what holds it in reset: whoever moves nothing has
/// nothing moved.
fn masters(model: &BoardModel) -> HashSet<ModeId> {
    let mut lines: HashMap<ModeId, usize> = HashMap::new();
    let processors = model
        .positions
        .iter()
        .filter(|p| p.class == Class::Processor);
    for position in processors {
        let own: HashSet<u32> = (position.pins.iter())
            .filter_map(|p| model.node(p.line.as_deref()?))
            .collect();
        for touch in own.iter().flat_map(|&n| &model.nodes[n as usize].touches) {
            if touch.kind == Kind::Lost && f64::from(touch.strength) >= TAKES_AWAY {
                *lines.entry(touch.mode).or_default() += 1;
            }
        }
    }
    let many = lines.into_iter().filter(|l| l.1 >= LINES_OF_MASTER);
    many.map(|l| l.0).collect()
}

/// Whether a part of this class drives or reads lines.
pub(super) fn is_chip(class: Class) -> bool {
    use Class::{
        Driver, InterfaceAdapter, Logic, LogicArray, Memory, Processor, Rom, Sound, StaticMemory,
        Video,
    };
    matches!(
        class,
        Processor
            | Video
            | Sound
            | InterfaceAdapter
            | Memory
            | StaticMemory
            | Rom
            | LogicArray
            | Logic
            | Driver
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::observe::shorts::shorts;

    /// The largest strength of a position's part in a level of a line of the wide board.
    fn strength(position: &str, line: &str, aspect: Aspect) -> f64 {
        let model = crate::shipped::Library::open(None).unwrap();
        let model = model.board("64k-6510-wide").unwrap();
        let mut scratch = vec![0.0; model.modes.len()];
        let effects = level_effects(&model, line, aspect, &mut scratch).unwrap();
        assert!(scratch.iter().all(|s| *s == 0.0));
        let of = |mode: ModeId| {
            let unit = &model.units[model.modes[mode as usize].unit as usize];
            // Whatever shorts its supply stops everything; that is not what is asked here.
            let shorts = shorts(&model).contains_key(&mode);
            unit.name == position && !model.modes[mode as usize].missing && !shorts
        };
        let all = effects.iter().filter(|e| of(e.0)).map(|e| e.1);
        all.fold(0.0, f64::max)
    }

    #[test]
    fn a_driven_line_floats_by_its_driver_not_by_what_the_driver_waits_for() {
        let (driver, strobes) = ("U17", "U19");
        let floats = |unit| strength(unit, "CASRAM_N", Aspect::Floating);
        assert!(floats(driver) >= 0.5);
        assert!(floats(strobes) > 0.0 && floats(strobes) <= 0.1);
        // Taking away the power makes it float sooner than taking away what it waits for.
        assert!(floats("SW1") > 2.0 * floats(strobes));
        // A line of many chips floats when it is nobody's turn.
        assert!(
            strength("U31", "RW", Aspect::Floating)
                > 2.0 * strength("U31", "IO_N", Aspect::Floating)
        );
    }

    #[test]
    fn without_a_clock_all_stands_still_without_a_program_not() {
        let still = |unit| strength(unit, "IO_N", Aspect::NotMoving);
        assert!(still("U17") >= 0.9);
        assert!(still("U31") >= 0.9 && still("U7") >= 0.9);
        assert!(still("U4") > 0.0 && still("U4") <= 0.5);
    }

    /// Syncs that a program sets up and ticks of the mains are no clocks: who takes those away does not stop everything.
    #[test]
    fn what_stops_everything_takes_a_supply_or_a_clock() {
        let model = crate::shipped::Library::open(None).unwrap();
        let model = model.board("dunlin-64").unwrap();
        let all = stops_all(&model);
        let stops = |unit: &str, what: &str| -> bool {
            let mut found = model.modes.iter().zip(0..).filter(|(m, _)| {
                &*model.units[m.unit as usize].name == unit && m.what.contains(what)
            });
            let at: ModeId = found.next().expect("a mode of the map").1;
            all.contains_key(&at)
        };
        assert!(stops("X1", "no output") && stops("PSU", "no output"));
        assert!(!stops("A1", "data pin 0 shorted, holds the data line low"));
        assert!(!stops("D1", "shorted"), "the mains tick");
    }

    /// Damaged contents lead a program astray: it moves its lines no more than none does, and they stand at either level.
    #[test]
    fn a_program_gone_astray_leaves_its_lines_still() {
        let model = crate::shipped::Library::open(None).unwrap();
        let model = model.board("64k-6510-wide").unwrap();
        let mut scratch = vec![0.0; model.modes.len()];
        let mut of = |aspect| {
            let all = level_effects(&model, "KB_COL2", aspect, &mut scratch).unwrap();
            let damaged = |mode: ModeId| {
                let mode = &model.modes[mode as usize];
                let unit = &model.units[mode.unit as usize].name;
                &**unit == "U4" && mode.what.contains("contents damaged")
            };
            let found = all.iter().find(|e| damaged(e.0));
            found.map_or(0.0, |e| e.1)
        };
        assert!(of(Aspect::NotMoving) >= 0.8);
        assert!(of(Aspect::High) >= 0.4 && of(Aspect::High) <= 0.5);
        assert!(of(Aspect::Floating) > 0.0 && of(Aspect::Floating) <= 0.1);
    }

    /// What a program sets and leaves stands at the other level for certain while there is none; what it moves at either.
    #[test]
    fn without_a_program_a_line_that_it_sets_is_at_the_other_level() {
        let model = crate::shipped::Library::open(None).unwrap();
        let model = model.board("64k-6510-narrow").unwrap();
        let mut scratch = vec![0.0; model.modes.len()];
        let mut of = |line, aspect| {
            let all = level_effects(&model, line, aspect, &mut scratch).unwrap();
            let dead = |mode: ModeId| {
                let mode = &model.modes[mode as usize];
                &*model.units[mode.unit as usize].name == "U4" && &*mode.what == "dead"
            };
            all.iter().find(|e| dead(e.0)).map_or(0.0, |e| e.1)
        };
        assert!(of("SER_ATN", Aspect::Low) > 0.9);
        assert!((0.4..=0.5).contains(&of("KB_COL2", Aspect::High)));
    }

    #[test]
    fn what_rests_is_as_it_was() {
        let model = crate::shipped::Library::open(None).unwrap();
        let model = model.board("64k-6510-wide").unwrap();
        let mut scratch = vec![0.0; model.modes.len()];
        let reads = model.reads_of_line("SER_ATN_INT").unwrap();
        let plain = effects(&model, &reads, Aspect::NotHigh, &mut scratch);
        let level = level_effects(&model, "SER_ATN_INT", Aspect::NotHigh, &mut scratch);
        assert_eq!(level, Some(plain.into()));
        assert_eq!(
            level_effects(&model, "NONE", Aspect::Low, &mut scratch),
            None
        );
    }
}
