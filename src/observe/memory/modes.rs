//! The failure modes of a board that reach its memory, and what each does there, read off the map.

use super::layout::Bank;
use super::theory::{Cause, Where};
use crate::faultmap::model::{BoardModel, KINDS, Kind, ModeId, Touch, Touches, UnitKind};
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

/// A mode that reaches the memory.
#[derive(Debug, Clone, PartialEq)]
pub struct Reaching {
    /// The mode.
    pub mode: ModeId,
    /// How surely it shows.
    pub strength: f64,
    /// Its logarithm.
    pub ln_strength: f64,
    /// What it does.
    pub cause: Cause,
    /// Which cause of the bank that is, by the order in which they come first.
    pub number: usize,
}

/// The causes among these, in the order of their numbers.
pub fn causes(reaching: &[Reaching]) -> Vec<&Cause> {
    let mut all: Vec<&Cause> = Vec::new();
    for r in reaching {
        if r.number == all.len() {
            all.push(&r.cause);
        }
    }
    all
}

/// Strength below which a mode does not count as reaching the memory.
const FAINT: f64 = 0.02;
/// A mode reaches what it strikes at least this surely, relative to what it strikes most.
const AS_WELL: f64 = 0.25;
/// From this strength on a strobe or address line is what the mode is about.
const ABOUT: f64 = 0.5;
/// More address lines than one multiplexer has outputs.
const MANY_LINES: u32 = 5;

/// Strengths by place, and the kind of trouble there.
#[derive(Default, Clone)]
struct Reach {
    lanes: [f64; 8],
    lane_kinds: [f64; KINDS.len()],
    lines: [f64; 16],
    line_kinds: [f64; KINDS.len()],
    strobe: f64,
    write: f64,
    refresh: f64,
}

/// The modes that reach each bank of a board, as far as asked for: name in check identifiers, and what reaches it.
#[derive(Default)]
struct Known(Mutex<Vec<OfBank>>);

/// A bank by its name, with what reaches it.
type OfBank = (Option<String>, Arc<Vec<Reaching>>);

/// All modes that reach a bank, in order; worked out once for a board.
pub fn reaching(model: &BoardModel, bank: &Bank) -> Arc<Vec<Reaching>> {
    let memo = model.memo.of::<Known>();
    let mut known = memo.0.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some((_, found)) = known.iter().find(|(name, _)| *name == bank.name) {
        return Arc::clone(found);
    }
    let found = Arc::new(numbered(work_out(model, bank)));
    known.push((bank.name.clone(), Arc::clone(&found)));
    found
}

fn numbered(mut all: Vec<Reaching>) -> Vec<Reaching> {
    let mut numbers: BTreeMap<Cause, usize> = BTreeMap::new();
    for r in &mut all {
        let next = numbers.len();
        r.number = *numbers.entry(r.cause.clone()).or_insert(next);
    }
    all
}

/// Where in [`Reach`] a node that a check of the memory reads counts.
#[derive(Clone, Copy)]
enum Place {
    Lane(usize),
    Line(usize),
    Strobe,
    Write,
    Refresh,
}

/// The touches of a node, by mode, as far as they were looked at.
struct Source<'m> {
    place: Place,
    weight: f64,
    next: Option<Touch>,
    rest: <&'m Touches as IntoIterator>::IntoIter,
}

/// Beyond every mode.
const NO_MODE: ModeId = ModeId::MAX;

/// All modes in order, each with what it does to the bank: touches of a node come by mode, so all nodes are gone through side by
/// side, and nothing is kept of a mode but what it comes to.
fn work_out(model: &BoardModel, bank: &Bank) -> Vec<Reaching> {
    let mut sources = Vec::new();
    let mut read = |what: &str, place: Place| {
        let reads = model.check(&bank.check(what)).map_or(&[][..], |c| &c.reads);
        sources.extend(reads.iter().map(|read| Source {
            place,
            weight: f64::from(read.weight),
            next: None,
            rest: model.nodes[read.node as usize].touches.iter(),
        }));
    };
    for i in 0..8 {
        read(&format!("bit.{i}"), Place::Lane(i));
    }
    for k in 0..bank.lines.len().min(16) {
        read(&format!("address.{k}"), Place::Line(k));
    }
    read("strobe.ras", Place::Strobe);
    read("strobe.cas", Place::Strobe);
    read("write", Place::Write);
    read("refresh", Place::Refresh);
    // The mode that each comes to next, side by side.
    let step = |s: &mut Source| {
        s.next = s.rest.next();
        s.next.map_or(NO_MODE, |t| t.mode)
    };
    let mut modes: Vec<ModeId> = sources.iter_mut().map(step).collect();
    let mut out = Vec::new();
    loop {
        let mode = modes.iter().copied().fold(NO_MODE, ModeId::min);
        if mode == NO_MODE {
            return out;
        }
        let mut reach = Reach::default();
        for (next, source) in modes.iter_mut().zip(&mut sources) {
            while *next == mode {
                if let Some(t) = source.next {
                    let strength = f64::from(t.strength) * source.weight;
                    reach.put(source.place, t.kind, strength);
                }
                *next = step(source);
            }
        }
        out.extend(judge(model, bank, mode, &reach));
    }
}

impl Reach {
    fn put(&mut self, place: Place, kind: Kind, strength: f64) {
        let more = |slot: &mut f64, s: f64| *slot = slot.max(s);
        // A noisy or late strobe is no lost one: that shows as scattered cells.
        let lost = match kind {
            Kind::Lost | Kind::Low | Kind::High | Kind::Wrong => strength,
            _ => 0.0,
        };
        match place {
            Place::Lane(i) => {
                more(&mut self.lanes[i], strength);
                more(&mut self.lane_kinds[kind as usize], strength);
            }
            Place::Line(k) => {
                more(&mut self.lines[k], strength);
                more(&mut self.line_kinds[kind as usize], strength);
            }
            Place::Strobe => more(&mut self.strobe, lost),
            Place::Write => more(&mut self.write, lost),
            Place::Refresh => more(&mut self.refresh, lost),
        }
    }
}

/// What a mode does; two things with half the strength each, when the map leaves open which.
fn judge(model: &BoardModel, bank: &Bank, mode: ModeId, r: &Reach) -> Vec<Reaching> {
    let most = |all: &[f64]| all.iter().copied().fold(0.0, f64::max);
    let (lanes, lines) = (most(&r.lanes), most(&r.lines));
    let mask = |all: &[f64], most: f64| {
        let hit = all
            .iter()
            .enumerate()
            .filter(|(_, s)| **s >= AS_WELL * most);
        hit.fold(0u32, |m, (i, _)| m | 1 << i)
    };
    let struck = mask(&r.lines, lines);
    let everything = struck.count_ones() >= MANY_LINES && r.strobe.max(r.write) >= ABOUT;
    let all = bank.all_lanes();
    let (place, reached, kind, strength) = if everything || most(&[lanes, lines]) < FAINT {
        (Where::Data, all, Kind::Lost, lanes)
    } else if lines >= ABOUT {
        (Where::Lines(struck), all, kind(&r.line_kinds), lines)
    } else if r.strobe >= ABOUT {
        (Where::Strobe, all, Kind::Lost, r.strobe)
    } else if r.write >= ABOUT {
        (Where::Write, all, Kind::Lost, r.write)
    } else {
        let reached = mask(&r.lanes, lanes) as u8 & all;
        (
            chip_or_data(model, bank, mode),
            reached,
            kind(&r.lane_kinds),
            lanes,
        )
    };
    let of = |place, lanes, kind, strength| {
        let cause = Cause { lanes, place, kind };
        (strength >= FAINT && lanes != 0).then_some(Reaching {
            mode,
            strength,
            ln_strength: strength.ln(),
            cause,
            number: 0,
        })
    };
    // What holds a data line stops more than the refresh.
    if r.refresh < ABOUT || (r.lanes.iter().any(|&l| l >= ABOUT) && lines < ABOUT) {
        return of(place, reached, kind, strength).into_iter().collect();
    }
    // Whoever refreshes the memory also shares its address lines, in turn with the processor: the map cannot say whose turn a fault spoils.
    let other = of(place, reached, kind, 0.5 * strength);
    let refresh = of(Where::Refresh, all, Kind::Lost, 0.5 * r.refresh);
    other.into_iter().chain(refresh).collect()
}

/// The strongest kind; one that names a level goes first when it is about as strong.
fn kind(strengths: &[f64; KINDS.len()]) -> Kind {
    let most = strengths.iter().copied().fold(0.0, f64::max);
    let levels = [Kind::Low, Kind::High].into_iter();
    let level = levels
        .filter(|&k| strengths[k as usize] >= 0.8 * most)
        .max_by(|&a, &b| strengths[a as usize].total_cmp(&strengths[b as usize]));
    let strongest = KINDS
        .into_iter()
        .rev()
        .max_by(|&a, &b| strengths[a as usize].total_cmp(&strengths[b as usize]));
    level.or(strongest).unwrap_or(Kind::Lost)
}

fn chip_or_data(model: &BoardModel, bank: &Bank, mode: ModeId) -> Where {
    let m = &model.modes[mode as usize];
    let unit = &model.units[m.unit as usize];
    if bank.lanes_of(&model.positions[unit.position].name) == 0 {
        return Where::Data;
    }
    Where::Chip {
        contacts: unit.kind != UnitKind::Part,
        flaky: m.flaky.is_some(),
    }
}
