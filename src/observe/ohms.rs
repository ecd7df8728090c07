//! Ohms across a part of two legs, and from leg to leg along a line, on a board without power.
//!
//! It is the cheapest way to clear a joint, a contact, a bead, a fuse or a resistor before anything is soldered out. What reads
//! open or shorted across a part its family says (`across` of a mode); which pins are open with bad contacts and joints the map
//! works out by itself.

use super::{Effects, Observer, board, noticed, stepped};
use crate::diag::code;
use crate::faultmap::model::{BoardModel, ModeId, Position};
use crate::faultmap::raw::{Across, Class};
use crate::infer::network::Outcome;
use crate::quantity::{Unit, parse};
use crate::sheet::{Place, State};

/// Ohms up to which two legs are joined, and a bead, coil, fuse or closed switch is whole; with the leads of the meter a few tenths
/// are usual (common practice, no source).
pub const JOINED: f64 = 10.0;
/// Ohms below which a part that should not be is shorted.
const SHORTED: f64 = 3.0;
/// A resistor in the board reads its value or, with other ways beside it, less: more than this many times its value is open or has
/// drifted (guess).
const TOO_HIGH: f64 = 1.5;
/// Ohms from which a part of unknown value counts as open.
const OPEN: f64 = 1e6;
/// P(it reads open across an open part, shorted across a shorted one): other ways of the board lie beside it, and some only break
/// down with voltage on them (guess).
const SEEN_ACROSS: f64 = 0.9;
/// P(it reads open from leg to leg | one of them touches nothing): a cracked joint may touch while it is pressed (guess).
const SEEN_ALONG: f64 = 0.9;

/// A pin of the board: index of its position, and of the pin there.
pub type Leg = (usize, usize);

/// The check that a part reads open or shorted across its legs.
pub fn across_id(part: &str, how: Across) -> String {
    match how {
        Across::Open => format!("ohms.{part}.open"),
        Across::Shorted => format!("ohms.{part}.shorted"),
    }
}

/// The check that two legs of a line are joined, whichever was named first.
pub fn along_id(model: &BoardModel, a: Leg, b: Leg) -> String {
    let (a, b) = if a <= b { (a, b) } else { (b, a) };
    let name = |(position, pin): Leg| {
        let p = &model.positions[position];
        format!("{}.{}", p.name, p.pins[pin].label)
    };
    format!("ohms.{}-{}", name(a), name(b))
}

/// How surely each mode of a part shows across its legs, before anything is missed by a reader; nothing where none does.
pub fn across_effects(model: &BoardModel, position: usize, how: Across) -> Vec<(ModeId, f64)> {
    // A sound capacitor or crystal reads open as well.
    let class = model.positions[position].class;
    if how == Across::Open && matches!(class, Class::Capacitor | Class::Clock) {
        return Vec::new();
    }
    let modes = modes_across(model, position, how).into_iter();
    modes.map(|m| (m, stepped(SEEN_ACROSS))).collect()
}

/// The modes of a part that make it so from leg to leg.
pub fn modes_across(model: &BoardModel, position: usize, how: Across) -> Vec<ModeId> {
    let modes = model.units_of(position).flat_map(|(_, u)| u.modes.clone());
    modes
        .filter(|&m| model.modes[m as usize].across == Some(how))
        .collect()
}

/// How surely each mode of contacts and joints shows from leg to leg, before anything is missed by a reader.
pub fn along_effects(model: &BoardModel, legs: [Leg; 2]) -> Vec<(ModeId, f64)> {
    let mut out = Vec::new();
    for (position, pin) in legs {
        for mode in model.units_of(position).flat_map(|(_, u)| u.modes.clone()) {
            let opens = &model.modes[mode as usize].opens;
            if opens.iter().any(|&o| usize::from(o) == pin) {
                out.push((mode, stepped(SEEN_ALONG / opens.len() as f64)));
            }
        }
    }
    out.sort_unstable_by_key(|e| e.0);
    out
}

/// Ohms that are expected across a part, where that is known.
pub fn expected(position: &Position) -> Option<f64> {
    match position.class {
        Class::Fuse | Class::Setting | Class::Switch => Some(0.0),
        // A bead or a coil has no value in ohms, and next to none.
        Class::Passive if !position.family.starts_with("resistor") => Some(0.0),
        Class::Passive => {
            let value = position.value.as_deref()?;
            parse(value, &[Unit::Ohm], Some(Unit::Ohm)).ok()
        }
        _ => None,
    }
}

/// Whether a part reads open, and whether shorted; `None` for what the reading does not say.
fn judge(position: &Position, state: &State) -> [Option<bool>; 2] {
    let expected = expected(position);
    match *state {
        State::Ok => [Some(false), Some(false)],
        State::Dead | State::Bad => [Some(true), None],
        State::Shorted => [Some(false), Some(true)],
        State::Ohms(r) => {
            let limit = expected.map_or(OPEN, |e| (TOO_HIGH * e).max(JOINED));
            let zero = expected.is_some_and(|e| e <= JOINED);
            let shorted = (!zero).then_some(r < SHORTED);
            [Some(r > limit), shorted]
        }
        _ => [None, None],
    }
}

impl Observer<'_> {
    /// Ohms across the legs of a part.
    pub(super) fn across(&mut self, place: &Place, state: &State) {
        let Some((index, position)) = self.find_position(place) else {
            return;
        };
        let [open, shorted] = judge(&position, state);
        let said = in_words(state);
        let mut told = false;
        for (how, fails) in [(Across::Open, open), (Across::Shorted, shorted)] {
            let plain = across_effects(self.model, index, how);
            let Some(fails) = fails.filter(|_| !plain.is_empty()) else {
                continue;
            };
            let text = format!("across {}: {said}", position.name);
            self.ohms(&across_id(&position.name, how), fails, text, &plain);
            told = true;
        }
        if !told {
            self.warn(
                code::NOTHING_FOLLOWS,
                format!("nothing is known of {} by its ohms", position.name),
                "kept, but it neither accuses nor clears anything; a part out of its place: `R5 bad` or `R5 ok`".into(),
            );
        }
    }

    /// Ohms from one leg to another.
    pub(super) fn along(&mut self, from: &Place, to: &Place, state: &State) {
        let (Some(a), Some(b)) = (self.leg(from), self.leg(to)) else {
            return;
        };
        let line = |(position, pin): Leg| self.model.positions[position].pins[pin].line.as_deref();
        let fails = match *state {
            State::Ok => false,
            State::Dead | State::Bad => true,
            State::Ohms(r) => r > JOINED,
            _ => return,
        };
        let (from, to) = (board::written(from), board::written(to));
        if line(a).is_none() || line(a) != line(b) {
            let message = match fails {
                true => format!(
                    "{from} and {to} are not on one line: nothing joins them, as it should be"
                ),
                false => format!("{from} and {to} are not on one line, and should not touch"),
            };
            let help = "kept, but it neither accuses nor clears anything; measure between two pins of one line, or across one part";
            return self.warn(code::NOTHING_FOLLOWS, message, help.into());
        }
        let plain = along_effects(self.model, [a, b]);
        let text = format!("{from} to {to}: {}", in_words(state));
        self.ohms(&along_id(self.model, a, b), fails, text, &plain);
    }

    /// The pin that a place names; said when there is none.
    pub(super) fn leg(&mut self, place: &Place) -> Option<Leg> {
        let (index, position) = self.find_position(place)?;
        let label = place.pin.as_deref().unwrap_or_default();
        let pin = position.pin(label);
        if pin.is_none() {
            let message = format!("{} has no pin {label}", position.name);
            let help = "type the number or letter of the pin as on the board, as in `U7.40 to U1.34 0.3 ohm`";
            self.warn(code::UNKNOWN_POSITION, message, help.into());
        }
        pin.map(|pin| (index, pin))
    }

    fn ohms(&mut self, id: &str, fails: bool, text: String, plain: &[(ModeId, f64)]) {
        let measured = self.measured_trust();
        let trust = std::mem::replace(&mut self.trust, measured);
        let effects: Effects = noticed(self.model, plain, self.trust.missed).into();
        let outcome = match fails {
            true => Outcome::Fail,
            false => Outcome::Pass,
        };
        self.reading(id, outcome, text, effects);
        self.trust = trust;
    }
}

fn in_words(state: &State) -> String {
    match state {
        State::Ohms(r) if r.is_finite() => format!("{r} ohm"),
        State::Ok => "joined".into(),
        State::Shorted => "shorted".into(),
        _ => "open".into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rank::Ranking;
    use crate::sampled::{PORT, probability as of, ranked};
    use crate::shipped::Library;

    #[test]
    fn ohms_across_a_bead_clear_it_or_accuse_it() {
        let before = of(&ranked(PORT), "FB4");
        let whole = of(&ranked(&format!("{PORT}FB4 0.3 ohm\n")), "FB4");
        let open = of(&ranked(&format!("{PORT}FB4 18k ohm\n")), "FB4");
        assert!(
            before > 0.01 && whole < before / 5.0 && open > 0.8,
            "{before} {whole} {open}"
        );
    }

    #[test]
    fn ohms_from_leg_to_leg_speak_of_their_joints_alone() {
        let (a, b) = ("U15.9 to CN6.10", "CN6.10 to U15.9");
        let before = ranked(PORT);
        for pair in [a, b] {
            let open = ranked(&format!("{PORT}{pair} open\n"));
            let joined = ranked(&format!("{PORT}{pair} 0.4 ohm\n"));
            let units = ["U15 joints", "CN6 pin 10"];
            let sum = |r: &Ranking| units.iter().map(|u| of(r, u)).sum::<f64>();
            assert!(sum(&open) > 0.8, "{}", sum(&open));
            assert!(sum(&joined) < sum(&before) / 2.0);
            // The chip at one end, and joints of other pins, are not spoken of.
            let rest = |r: &Ranking| of(r, "U15") / of(r, "FB4");
            assert!((rest(&joined) / rest(&before) - 1.0).abs() < 0.05);
        }
    }

    /// `FB4 open` says what `ohms across FB4 open` says; of a part with more legs it is only said to be bad.
    #[test]
    fn a_part_of_two_legs_that_is_called_open_was_measured() {
        let by = |line: &str| of(&ranked(&format!("{PORT}{line}\n")), "FB4");
        assert_eq!(by("FB4 open"), by("ohms across FB4 open"));
        assert!(by("FB4 open") > 0.5 && by("FB4 bad") < by("FB4 open"));
        let chip = ranked(&format!("{PORT}U15 open\n"));
        assert!(
            chip.observed
                .readings
                .iter()
                .any(|r| r.text.contains("said to be bad"))
        );
    }

    /// A resistor reads its value or less; what is far above it is open. Its value is in the map.
    #[test]
    fn a_resistor_is_judged_by_its_value() {
        let model = Library::default()
            .board("64k-6510-wide")
            .expect("a shipped board");
        let (_, pull_up) = model.position("R41").expect("on the board");
        assert_eq!(expected(pull_up), Some(1e6));
        let open = |r: f64| judge(pull_up, &State::Ohms(r))[0];
        assert_eq!(
            [1e6, 2e5, 1.4e6, 4e6, f64::INFINITY].map(open),
            [
                Some(false),
                Some(false),
                Some(false),
                Some(true),
                Some(true)
            ]
        );
        let (_, bead) = model.position("FB4").expect("on the board");
        assert_eq!(judge(bead, &State::Ohms(0.2)), [Some(false), None]);
        assert_eq!(judge(bead, &State::Ohms(300.0)), [Some(true), None]);
    }

    #[test]
    fn two_lines_that_should_not_touch_are_told() {
        // The metal of a connector is a leg, however it is written; on this map it leads nowhere.
        let text = format!(
            "{PORT}U15.9 to CN6.7 0.3 ohm\nU15.9 to CN6.99 open\nC10 0.2 ohm\nCN8.shell floating\nU15.9 to CN8.SHELL open\n"
        );
        let r = ranked(&text);
        let told: Vec<&str> = r
            .observed
            .diags
            .iter()
            .map(|d| d.1.message.as_str())
            .collect();
        assert!(
            told.iter().any(|t| t.contains("should not touch")),
            "{told:?}"
        );
        assert!(told.iter().any(|t| t.contains("has no pin 99")), "{told:?}");
        assert!(told.iter().any(|t| t.contains("leads nowhere")), "{told:?}");
        assert!(
            !told.iter().any(|t| t.contains("has no pin SHELL")),
            "{told:?}"
        );
    }
}
