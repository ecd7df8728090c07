//! What suspects do to the readings: those that do the same are not told apart.

use super::course::{Course, Item};
use crate::faultmap::model::BoardModel;
use crate::infer::network::Outcome;
use crate::observe::Became;
use crate::rank::network::{Instance, SEVERE, is_of_memory, is_shared, split};
use crate::rank::{Column, Suspect, rounded};

/// Check, chance that it fails, whether it is a data bit of the memory.
type Told = (usize, f64, bool);

/// The readings of a machine, to see what they tell apart.
pub(in crate::rank) struct Columns<'a>(pub(super) Course<'a>);

/// What a suspect was found to do.
#[derive(Default, Clone)]
struct Does {
    told: Vec<Told>,
    /// Data bits of the memory that it touches, and how surely at most.
    bits: (usize, f64),
}

impl Columns<'_> {
    /// What the leading modes of suspects do, by the readings; of those that no other is like, as much as tells them apart.
    pub(in crate::rank) fn columns(
        &self,
        model: &BoardModel,
        suspects: &[&Suspect],
    ) -> Vec<Column> {
        // Most are told apart by the few readings that did not pass. How severe a mode is rests on the memory as a whole.
        let first = |i: &Item| i.outcome != Outcome::Pass || is_of_memory(i.reading);
        let mut all = vec![Does::default(); suspects.len()];
        let everyone: Vec<usize> = (0..suspects.len()).collect();
        if suspects.len() > 1 {
            self.add(model, suspects, &everyone, first, &mut all);
        }
        let mut columns: Vec<Column> = all.iter().map(Does::column).collect();
        let is_like = |i: &usize| {
            let mut others = columns.iter().enumerate().filter(|(j, _)| j != i);
            others.any(|(_, c)| *c == columns[*i])
        };
        let alike: Vec<usize> = everyone.into_iter().filter(is_like).collect();
        self.add(model, suspects, &alike, |i| !first(i), &mut all);
        for i in alike {
            columns[i] = all[i].column();
        }
        columns
    }

    /// Adds what some of the suspects do to the wanted readings.
    fn add(
        &self,
        model: &BoardModel,
        suspects: &[&Suspect],
        some: &[usize],
        wanted: impl Fn(&Item) -> bool,
        to: &mut [Does],
    ) {
        let wanted = |i: &(usize, &Item)| wanted(i.1) && !some.is_empty();
        for (id, item) in self.0.items.iter().enumerate().filter(wanted) {
            let of_memory = is_of_memory(item.reading);
            for &at in some {
                let (suspect, does) = (suspects[at], &mut to[at]);
                for &(mode, strength) in item.reading.effects.of(suspect.modes[0].0) {
                    let Some(scale) = self.was_in(item, suspect.instance) else {
                        continue;
                    };
                    let (part, fail) = split(model, item.reading, mode, strength * scale);
                    if of_memory {
                        does.bits = (does.bits.0 + 1, does.bits.1.max(fail + part));
                    }
                    if item.seen {
                        does.told.push((id, fail, of_memory));
                    }
                }
            }
        }
    }

    /// Factor on what an instance does to an item; `None` when it was not in the machine.
    fn was_in(&self, item: &Item, instance: Instance) -> Option<f64> {
        let mut changes = self.0.changes.iter();
        let Some(change) = changes.find(|c| c.unit == instance.unit) else {
            return Some(1.0);
        };
        let there = match change.became {
            Became::Refitted { .. } => true,
            Became::Renewed(_) => (item.stage < change.stage) == (instance.fitted == 0),
        };
        there.then(|| Course::scale(item, instance.unit))
    }
}

impl Does {
    fn column(&self) -> Column {
        let (bits, most) = self.bits;
        let shared = is_shared(bits, most);
        let one = |&(check, fail, of_memory): &Told| match of_memory && shared {
            true => (check, rounded(SEVERE * fail / most)),
            false => (check, rounded(fail)),
        };
        self.told.iter().map(one).filter(|c| c.1 > 0).collect()
    }
}
