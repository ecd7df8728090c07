//! A probe on a leg of a part touches the leg, not the line: a signal that is as it should be there does not say that the leg
//! touches its line, and a leg that touches nothing shows no signal.

use super::aspect::Aspect;
use super::{Effects, Evidence, Observer, board, odds};
use crate::faultmap::model::{BoardModel, ModeId, Unit, UnitKind};
use crate::infer::network::Outcome;
use crate::sheet::Place;
use std::collections::BTreeMap;

/// Of a part that is not known to drive a line, how probably it only listens there (guess: data lines go both ways).
const LISTENS: f64 = 0.5;

impl Observer<'_> {
    /// The readings of a line from `first` on were taken at this leg.
    pub(super) fn at_leg(&mut self, place: &Place, pin: &str, aspect: Aspect, first: usize) {
        let Some((position, at)) = board::position(self.model, &place.name) else {
            return;
        };
        let leg = at.pin(pin);
        let own: Vec<(ModeId, f64)> = of_own_contacts(self.model, position, leg, aspect)
            .map(|(mode, strength)| (mode, self.noticed(mode, strength)))
            .collect();
        for reading in &mut self.out.readings[first..] {
            if let Evidence::Check(c) = &mut reading.evidence {
                c.effects = as_seen_there(&c.effects, &own, c.outcome);
            }
        }
    }
}

/// All modes of the contacts or joints of the part in a position, each with how surely the part's leg shows this aspect.
fn of_own_contacts(
    model: &BoardModel,
    position: usize,
    leg: Option<usize>,
    aspect: Aspect,
) -> impl Iterator<Item = (ModeId, f64)> {
    let own = |u: &Unit| matches!(u.kind, UnitKind::Contacts | UnitKind::Joints);
    let modes = (model.units_of(position)).filter(move |u| own(u.1));
    modes.flat_map(|u| u.1.modes.clone()).map(move |mode| {
        let opens = &model.modes[mode as usize].opens;
        let this = leg.is_some_and(|leg| opens.iter().any(|&o| usize::from(o) == leg));
        let share = match this {
            true => 1.0 / opens.len() as f64,
            false => 0.0,
        };
        (mode, share * odds::of_an_open_leg(aspect))
    })
}

/// The effects on a line as they are at the leg of a part on it, with those of its own contacts or joints. A part that drives the
/// line moves its leg though the leg touches nothing; one that only listens does not, and which of the two it is, is not known.
fn as_seen_there(effects: &Effects, own: &[(ModeId, f64)], outcome: Outcome) -> Effects {
    let mut all: BTreeMap<ModeId, f64> = effects.iter().copied().collect();
    for &(mode, strength) in own {
        // Without this pin the line is lost: the part drives it.
        let drives = all.get(&mode).copied();
        let seen = match (outcome, drives) {
            (Outcome::Pass, Some(_)) => 0.0,
            (Outcome::Pass, None) => LISTENS * strength,
            (_, drives) => drives.unwrap_or(0.0).max(strength),
        };
        all.insert(mode, seen);
    }
    all.into_iter().filter(|e| e.1 > 0.0).collect()
}
