//! Capacitors that were measured or looked at: a reading about that unit, and advice.
//!
//! The four verdicts of [`crate::caps`] are the outcomes; P(verdict | fine) and P(verdict | at fault) each sum to one over them.

use super::{Evidence, Observer, board};
use crate::caps::{CapReading, Judged, Marking, Verdict, judge};
use crate::diag::code;
use crate::faultmap::raw::Class;
use crate::sheet::{Place, State};

/// P(verdict | capacitor fine) and P(verdict | at fault), `Measure` left out: it says nothing. Guesses: good old parts are often a little
/// past the limit of a new one; a bad one can measure well out of the circuit, cold, or at another frequency.
const LIKELIHOODS: [(Verdict, f64, f64); 3] = [
    (Verdict::Keep, 0.90, 0.20),
    (Verdict::Worn, 0.07, 0.15),
    (Verdict::Replace, 0.03, 0.65),
];

/// Likelihoods of a verdict: of a good capacitor, and of one at fault. `None` when nothing that decides was measured.
pub fn likelihoods(verdict: Verdict) -> Option<(f64, f64)> {
    let found = LIKELIHOODS.iter().find(|l| l.0 == verdict)?;
    Some((found.1, found.2))
}

impl Observer<'_> {
    /// A reading of a capacitor.
    pub(super) fn capacitor(&mut self, place: &Place, reading: &CapReading) {
        let known = board::position(self.model, &place.name).map(|(i, p)| (i, p.clone()));
        let printed = known
            .as_ref()
            .and_then(|(_, p)| marking_of(p.value.as_deref()?));
        if let Some((_, p)) = known.as_ref().filter(|(_, p)| p.class != Class::Capacitor) {
            let message = format!("{} is no capacitor on this board", p.name);
            return self.warn(
                code::NOTHING_FOLLOWS,
                message,
                "write the designator as printed on the board".into(),
            );
        }
        let judged = judge(reading, printed);
        self.advise(place, &judged, reading, printed);
        let Some((fine, faulty)) = likelihoods(judged.verdict) else {
            let help = judged
                .remarks
                .first()
                .cloned()
                .unwrap_or_else(|| "measure it: cap C5 10uF/25V: 9.8 uF, esr 1.2".into());
            return self.warn(
                code::NOTHING_FOLLOWS,
                "nothing decides about this capacitor yet".into(),
                help,
            );
        };
        let Some((i, _)) = known else {
            let message = format!(
                "{} is not in the map of board {}",
                place.name, self.model.board
            );
            return self.warn(
                code::NOTHING_FOLLOWS,
                message,
                "kept, with the advice; it does not enter the ranking".into(),
            );
        };
        let Some((unit, _)) = self.model.units_of(i).next() else {
            return;
        };
        let text = format!("{} {}", place.name, judged.reasons.join("; "));
        self.push(text, Evidence::Unit { unit, fine, faulty });
    }

    /// What to do with it, said beside the ranking.
    fn advise(
        &mut self,
        place: &Place,
        judged: &Judged,
        reading: &CapReading,
        printed: Option<Marking>,
    ) {
        if let (Some(told), Some(map)) = (reading.marking, printed)
            && (told.farads / map.farads - 1.0).abs() > 1e-6
        {
            let show = |v| crate::quantity::show(v, crate::quantity::Unit::Farad);
            let message = format!(
                "{} is {} by the map, {} by this line",
                place.name,
                show(map.farads),
                show(told.farads)
            );
            self.warn(
                code::NO_SENSE,
                message,
                "look at the print again; the line is used".into(),
            );
        }
        let word = match judged.verdict {
            Verdict::Replace => "replace",
            Verdict::Worn => "may stay, worn",
            _ => return,
        };
        let mut text = format!("{}: {word}: {}.", place.name, judged.reasons.join("; "));
        if let Some(r) = &judged.replacement {
            text.push_str(&format!(" Fit {r}. A charged capacitor is discharged through a resistor first; local rules come first."));
        }
        self.hint_once(text);
    }

    /// `C5 9.8 uF of 10 uF`.
    pub(super) fn capacitance(&mut self, place: &Place, state: &State) {
        let State::Farads(value, nominal) = state else {
            return;
        };
        let marking = nominal.map(|farads| Marking {
            farads,
            volts: None,
            letter: None,
            class: None,
        });
        let reading = CapReading {
            marking,
            farads: Some(*value),
            ..CapReading::default()
        };
        self.capacitor(place, &reading);
    }

    /// `C12 esr 6 ohm`: against the value that the map knows.
    pub(super) fn series_resistance(&mut self, place: &Place, state: &State) {
        let State::Ohms(r) = state else { return };
        let reading = CapReading {
            esr: Some(*r),
            ..CapReading::default()
        };
        self.capacitor(place, &reading);
    }
}

/// What a value of the map says: `220uF/10V`, `22 uF 16 V`.
pub fn marking_of(value: &str) -> Option<Marking> {
    crate::caps::parse(value).ok().and_then(|(_, r)| r.marking)
}
