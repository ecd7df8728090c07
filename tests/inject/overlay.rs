//! Faults laid over the wiring: pin by pin, part by part.

use super::faults::{Fault, What};
use super::machine::V;
use super::wiring::{Kind, Wired};
use std::collections::HashSet;

/// Faults laid over the wiring.
pub struct Overlay {
    pub(super) open: Vec<Vec<bool>>,
    pub(super) stuck: Vec<Vec<Option<V>>>,
    pub(super) dead: Vec<bool>,
    blocks: HashSet<(usize, &'static str)>,
    broken: HashSet<(usize, String)>,
    pub keys: HashSet<(usize, usize, bool)>,
    pub break_key: bool,
    pub(super) held: Vec<(usize, V)>,
    pub(super) bridged: Vec<(usize, usize)>,
    pub shorted: Vec<usize>,
}

impl Overlay {
    /// Of the faults that act.
    pub fn of(w: &Wired, faults: &[&Fault]) -> Self {
        let mut o = Self {
            open: w.parts.iter().map(|p| vec![false; p.pins.len()]).collect(),
            stuck: w.parts.iter().map(|p| vec![None; p.pins.len()]).collect(),
            dead: vec![false; w.parts.len()],
            blocks: HashSet::new(),
            broken: HashSet::new(),
            keys: HashSet::new(),
            break_key: false,
            held: Vec::new(),
            bridged: Vec::new(),
            shorted: Vec::new(),
        };
        for f in faults {
            match &f.what {
                What::PinOpen { part, pin } => o.open[*part][*pin] = true,
                What::Stuck { part, pin, high } => o.stuck[*part][*pin] = Some(V::of(*high)),
                What::Dead { part } => o.dead[*part] = true,
                What::Short { part } => {
                    o.dead[*part] = true;
                    o.shorted.push(*part);
                }
                What::Block { part, block } => {
                    o.blocks.insert((*part, block));
                }
                What::Broken { part, how } => {
                    o.broken.insert((*part, how.clone()));
                }
                What::Key { column, row, stuck } => {
                    o.keys.insert((*column, *row, *stuck));
                }
                What::BreakKey => o.break_key = true,
                What::LineHeld { line, high } => o.held.push((*line, V::of(*high))),
                What::Bridged { a, b } => o.bridged.push((*a, *b)),
            }
        }
        o
    }

    /// Whether a pin (index) is open.
    pub fn is_open(&self, part: usize, pin: usize) -> bool {
        self.open[part][pin]
    }

    /// Whether a block of a chip is gone.
    pub fn block(&self, part: usize, block: &'static str) -> bool {
        self.blocks.contains(&(part, block))
    }

    /// Whether a passive part is broken in this way.
    pub fn broken(&self, part: usize, how: &str) -> bool {
        self.broken.contains(&(part, how.to_string()))
    }

    /// Pairs of pins (indices) that a part joins for direct current and is still joining.
    pub fn joins(&self, w: &Wired, part: usize) -> Vec<(usize, usize)> {
        let pairs: &[(usize, usize, &str)] = match w.parts[part].kind {
            Kind::Wire => &[(0, 1, "open")],
            Kind::Filter => &[(0, 2, "open")],
            Kind::FourWire => &[(0, 1, "open 1"), (4, 5, "open 3"), (6, 7, "open 4")],
            Kind::TwoWire => &[(0, 1, "open 1"), (2, 3, "open 2")],
            Kind::Switch => &[(0, 1, "open 1"), (3, 4, "open 2")],
            Kind::LinkSelect if super::machine::array5c112::fitted(&w.parts[part].name) => {
                &[(0, 1, "open")]
            }
            Kind::LinkRom if !self.broken(part, "wrong") => &[(0, 2, "open 1"), (1, 3, "open 2")],
            Kind::PackIsolated => &[
                (0, 1, "open 1"),
                (2, 3, "open 2"),
                (4, 5, "open 3"),
                (6, 7, "open 4"),
            ],
            _ => &[],
        };
        pairs
            .iter()
            .filter(|(a, b, how)| {
                let pin = |k: usize| w.parts[part].pins[k].1.is_some() && !self.open[part][k];
                pin(*a) && pin(*b) && !self.broken(part, how)
            })
            .map(|&(a, b, _)| (a, b))
            .collect()
    }
}
