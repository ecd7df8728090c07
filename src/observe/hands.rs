//! Hands-on tests: what follows from a swap, a push, some cold spray.

use super::ohms::modes_across;
use super::{Became, Evidence, Observer, Redone, board, odds};
use crate::diag::code;
use crate::faultmap::model::{BoardModel, Kind, ModeId, Unit, UnitKind};
use crate::faultmap::raw::{Across, Class, Refit};
use crate::sheet::{Action, Effect, HandsOn, Place};

/// P(a part known to be good, from a machine that works, is bad all the same) (guess).
const DONOR_BAD: f64 = 0.002;
/// P(a part out of the drawer or from a seller is bad, or not what it says) (guess).
const NEW_PART_BAD: f64 = 0.03;
/// P(a bad contact is still bad after the part was taken out and put back) (guess).
const RESEAT_FAILS: f64 = 0.2;
/// P(a bad contact is still bad after cleaning) (guess).
const CLEAN_FAILS: f64 = 0.1;
/// P(a bad contact is still bad after an added board was taken out and the chip put straight into its socket): it was in the socket
/// itself, in its share of the contacts that were there, and pushing the chip home did not mend it.
const DIRECT_FAILS: f64 = RESEAT_FAILS * odds::ADDED_BOARD[1].0 / odds::ADDED_BOARD[1].1;
/// P(a bad joint is still bad after resoldering) (guess).
const RESOLDER_FAILS: f64 = 0.1;
/// Of what changes by a trial, how often all is well then though the part is sound (guess).
const BY_CHANCE: f64 = 0.1;
/// A mode that moves a line at least this surely holds it.
const HOLDS: f64 = 0.5;

impl Observer<'_> {
    pub(super) fn hands_on(&mut self, h: &HandsOn) {
        self.supply_changed(h);
        self.note_handled(h);
        if h.result == Effect::Moved && matches!(h.action, Action::Swap | Action::Replace) {
            let names: Vec<&str> = h.places.iter().map(|p| p.name.as_str()).collect();
            let text = format!("{} {}", names.join(", "), words(h.action, h.result));
            return self.moved(h, text);
        }
        if h.action == Action::Direct {
            self.had_added_board(h);
        }
        match h.action {
            Action::PutBack => return self.put_back(h),
            Action::Bridge => return self.bridged(h),
            Action::Lift => return self.lifted(h),
            _ => {}
        }
        let mut renewed = Vec::new();
        for unit in self.units_of(h) {
            let u = &self.model.units[unit];
            if let Some(became) = became(self.model, unit, h.action) {
                renewed.push(Redone { unit, became });
            } else if let (UnitKind::Part, Some((fine, faulty))) =
                (&u.kind, likelihood(h.action, h.result))
            {
                let name = &self.model.positions[u.position].name;
                let text = format!("{name} {}", words(h.action, h.result));
                self.push(text, Evidence::Unit { unit, fine, faulty });
            }
        }
        if renewed.is_empty() {
            return;
        }
        let names: Vec<String> = h.places.iter().map(board::written).collect();
        let which = if names.is_empty() {
            "all".into()
        } else {
            names.join(", ")
        };
        let text = format!("{which} {}", words(h.action, h.result));
        match h.result {
            Effect::Cured => self.push(
                text,
                Evidence::Remedy {
                    units: renewed,
                    cured: Some(true),
                },
            ),
            Effect::NoChange => self.push(
                text,
                Evidence::Remedy {
                    units: renewed,
                    cured: Some(false),
                },
            ),
            // Something is different: the part that was changed had a hand in it, and is not all of it.
            Effect::Changed | Effect::Worse => {
                let (fine, faulty) = (0.15, 0.6);
                for &Redone { unit, .. } in &renewed {
                    self.push(text.clone(), Evidence::Unit { unit, fine, faulty });
                }
                // What the next run shows is about the new part.
                let units = renewed;
                self.push(text, Evidence::Remedy { units, cured: None });
            }
            // Not said what came of it: the next run tells.
            Effect::Unknown => {
                let units = renewed;
                self.push(text, Evidence::Remedy { units, cured: None });
            }
            _ => {}
        }
    }
}

impl Observer<'_> {
    /// What was worked at may behave otherwise from here on.
    fn note_handled(&mut self, h: &HandsOn) {
        let at = (self.sheet, self.line);
        let model = self.model;
        let all = model.positions.iter().enumerate();
        let sockets = all
            .filter(|(_, p)| h.places.is_empty() && p.socket)
            .map(|p| p.0);
        let named = h.places.iter();
        let named = named.filter_map(|p| board::position(model, &p.name));
        self.handled
            .extend(sockets.chain(named.map(|p| p.0)).map(|p| (at, p)));
    }

    /// Who takes an added board out says that there was one.
    fn had_added_board(&mut self, h: &HandsOn) {
        let here = (self.sheet, self.line);
        for place in &h.places {
            let at = board::position(self.model, &place.name);
            let added = at.and_then(|(i, _)| self.out.facts.added.get(&i));
            if added.is_some_and(|a| a.since == here) {
                self.added_board(place);
            }
        }
    }

    /// A part put where there was none: from here on another machine, as after a swap.
    pub(super) fn filled(&mut self, place: &Place) {
        let at = board::position(self.model, &place.name)
            .and_then(|(i, _)| self.out.facts.filled.get(&i));
        if at == Some(&(self.sheet, self.line)) {
            self.hands_on(&HandsOn {
                action: Action::Swap,
                places: vec![place.clone()],
                result: Effect::Unknown,
            });
        }
    }

    /// The part that was there before is in again: what is read from here on is of the old one.
    fn put_back(&mut self, h: &HandsOn) {
        let (mut parts, mut refitted) = (Vec::new(), Vec::new());
        for position in self.positions_of(h) {
            for (unit, u) in self.model.units_of(position) {
                let again = match u.kind {
                    UnitKind::Part => {
                        parts.push(unit);
                        continue;
                    }
                    UnitKind::Joints => Action::Resolder,
                    _ => Action::Reseat,
                };
                refitted.extend(persists(again, &u.kind).map(|left| (unit, left)));
            }
        }
        let names: Vec<&str> = h.places.iter().map(|p| p.name.as_str()).collect();
        let text = format!("{} old part back in", names.join(", "));
        self.push(text, Evidence::PutBack { parts, refitted });
    }

    /// A good part held across one of two legs makes up for it where it is open.
    fn bridged(&mut self, h: &HandsOn) {
        for position in self.positions_of(h) {
            let modes = modes_across(self.model, position, Across::Open);
            self.tried(position, modes, odds::BRIDGED, h);
        }
    }

    /// With its leg out of the board a part no longer holds the line there.
    fn lifted(&mut self, h: &HandsOn) {
        for place in &h.places {
            let Some((position, pin)) = self.leg(place) else {
                continue;
            };
            let label = &self.model.positions[position].pins[pin].label;
            let modes = holds(self.model, position, label);
            self.tried(position, modes, odds::LIFTED, h);
        }
    }

    /// What a trial says of these modes of a part; P(no change), P(change) without and with one of them.
    fn tried(&mut self, position: usize, modes: Vec<ModeId>, odds: [(f64, f64); 2], h: &HandsOn) {
        let of = |u: &Unit| modes.iter().any(|m| u.modes.contains(m));
        let unit = self.model.units_of(position).find(|(_, u)| of(u));
        let Some((unit, _)) = unit else {
            let name = &self.model.positions[position].name;
            let message = format!("nothing is known of {name} that this could tell");
            let help = "kept, but it neither accuses nor clears anything";
            return self.warn(code::NOTHING_FOLLOWS, message, help.into());
        };
        let (without, with) = match h.result {
            Effect::NoChange => odds[0],
            Effect::Changed | Effect::Worse => odds[1],
            // A sound part that is tried makes something different now and then; it hardly makes all well.
            Effect::Cured => (odds[1].0 * BY_CHANCE, odds[1].1 * (1.0 - BY_CHANCE)),
            _ => return,
        };
        let text = format!(
            "{} {}",
            self.model.positions[position].name,
            words(h.action, h.result)
        );
        self.push(
            text,
            Evidence::Modes {
                unit,
                modes,
                without,
                with,
            },
        );
    }

    /// The units that were handled: of a position all of them, of a key that is named its contact alone.
    fn units_of(&mut self, h: &HandsOn) -> Vec<usize> {
        let model = self.model;
        let mut units = Vec::new();
        let whole = HandsOn {
            places: (h.places.iter().filter(|p| p.key().is_none()))
                .cloned()
                .collect(),
            ..h.clone()
        };
        if h.places.is_empty() || !whole.places.is_empty() {
            let positions = self.positions_of(&whole).into_iter();
            units.extend(positions.flat_map(|p| model.units_of(p).map(|(i, _)| i)));
        }
        for typed in h.places.iter().filter_map(Place::key) {
            let name = board::key(model, typed);
            let is =
                |u: &Unit| matches!(&u.kind, UnitKind::Key { key } if Some(key) == name.as_ref());
            let of = model.units.iter().position(is);
            if of.is_none() {
                let message = format!("board {} has no key {typed}", model.board);
                let help = "`board show` lists the keys of a board";
                self.warn(code::NO_SUCH_CHECK, message, help.into());
            }
            units.extend(of);
        }
        units
    }

    /// The positions that were handled; all that are in sockets, when none is named.
    pub(super) fn positions_of(&mut self, h: &HandsOn) -> Vec<usize> {
        if h.places.is_empty() {
            let all = self.model.positions.iter().enumerate();
            return all.filter(|(_, p)| p.socket).map(|(i, _)| i).collect();
        }
        h.places
            .iter()
            .filter_map(|place| self.find_position(place).map(|(i, _)| i))
            .collect()
    }
}

/// The modes of the part in a position that hold the line at a pin of it low or high.
pub fn holds(model: &BoardModel, position: usize, pin: &str) -> Vec<ModeId> {
    let p = &model.positions[position];
    let at = p.pin(pin).map(|at| &p.pins[at]);
    let Some(node) = at
        .and_then(|pin| pin.line.as_deref())
        .and_then(|line| model.node(line))
    else {
        return Vec::new();
    };
    let part = (model.units_of(position)).find(|(_, u)| u.kind == UnitKind::Part);
    let own = part.map_or(0..0, |(_, u)| u.modes.clone());
    let mut modes: Vec<ModeId> = (model.nodes[node as usize].touches.iter())
        .filter(|t| own.contains(&t.mode) && f64::from(t.strength) >= HOLDS)
        .filter(|t| matches!(t.kind, Kind::Low | Kind::High))
        .map(|t| t.mode)
        .collect();
    modes.sort_unstable();
    modes.dedup();
    modes
}

/// What an action makes of a unit, if it renews or refits it.
fn became(model: &BoardModel, unit: usize, action: Action) -> Option<Became> {
    let u = &model.units[unit];
    let plug = model.positions[u.position].class == Class::Connector;
    let refitted = |left, only| Became::Refitted { left, only };
    if u.kind != UnitKind::Part {
        return persists(action, &u.kind).map(|left| refitted(left, None));
    }
    if plug && let Some(left) = refits(action) {
        return Some(refitted(left, None));
    }
    if let Some(bad) = persists(action, &u.kind) {
        // Another plug or socket has the same leads and joints behind it.
        return Some(match plug {
            true => refitted(bad, None),
            false => Became::Renewed(bad),
        });
    }
    let left = refits(action)?;
    let only = mended_by(model, unit, action);
    (!only.is_empty()).then(|| refitted(left, Some(only)))
}

/// The modes of a unit that an action puts right while the part stays in.
pub(super) fn mended_by(model: &BoardModel, unit: usize, action: Action) -> Vec<ModeId> {
    let helps = |mode: &ModeId| match model.modes[*mode as usize].refit {
        Some(Refit::Solder) => action == Action::Resolder,
        Some(Refit::Either) => action != Action::Resolder,
        Some(Refit::Clean) => action == Action::Clean,
        Some(Refit::Seat) => matches!(action, Action::Reseat | Action::Press),
        None => false,
    };
    model.units[unit].modes.clone().filter(helps).collect()
}

/// P(the unit is bad afterwards, a new part for reasons of its own), for actions that renew or refit; a swap always reseats too.
fn persists(action: Action, kind: &UnitKind) -> Option<f64> {
    use Action::*;
    match (action, kind) {
        // Another keyboard has other keys.
        (Swap, UnitKind::Part | UnitKind::Key { .. }) => Some(DONOR_BAD),
        (Replace, UnitKind::Part | UnitKind::Key { .. }) => Some(NEW_PART_BAD),
        (Swap | Replace | Reseat | Press, UnitKind::Contacts) => Some(RESEAT_FAILS),
        (Replace | Resolder, UnitKind::Joints) | (Resolder, UnitKind::Contact { .. }) => {
            Some(RESOLDER_FAILS)
        }
        // Where the map has joints somebody fitted a socket.
        (Direct, UnitKind::Contacts | UnitKind::Joints) => Some(DIRECT_FAILS),
        (Reseat | Clean | Press, UnitKind::Contact { .. })
        | (Clean, UnitKind::Contacts | UnitKind::Key { .. }) => Some(CLEAN_FAILS),
        _ => None,
    }
}

/// P(what pushing home, cleaning or soldering mends is still there), of a plug or socket as a whole and of parts of which some modes
/// can be mended so.
fn refits(action: Action) -> Option<f64> {
    match action {
        Action::Reseat | Action::Press => Some(RESEAT_FAILS),
        Action::Clean => Some(CLEAN_FAILS),
        Action::Resolder => Some(RESOLDER_FAILS),
        _ => None,
    }
}

/// P(result | part fine), P(result | part at fault) for tests that leave the part in place (guesses; piggybacking finds
/// open or weak outputs only, so 'no change' clears nobody).
fn likelihood(action: Action, result: Effect) -> Option<(f64, f64)> {
    use Action::*;
    use Effect::*;
    Some(match (action, result) {
        (Piggyback, Cured | Changed) => (0.02, 0.4),
        (Piggyback, NoChange) => (0.98, 0.6),
        (Cool | WarmUp, Cured | Changed | Worse) => (0.05, 0.3),
        (Cool | WarmUp, NoChange) => (0.95, 0.7),
        // Taken out, a good part leaves the fault where it was; a part that holds a line takes it along.
        (Pull, Cured | Changed) => (0.03, 0.4),
        (Pull, NoChange) => (0.97, 0.6),
        (Press, Cured | Changed) => (0.1, 0.1),
        (TestedElsewhere, TestedGood) => (0.97, 0.1),
        (TestedElsewhere, TestedBad) => (0.03, 0.9),
        (_, Moved) => (0.02, 0.9),
        _ => return None,
    })
}

fn words(action: Action, result: Effect) -> String {
    let done = match action {
        Action::Swap => "swapped with a good one",
        Action::Replace => "replaced",
        Action::Piggyback => "piggybacked",
        Action::Bridge => "bridged with a good one",
        Action::Lift => "leg lifted",
        Action::Pull => "pulled out",
        Action::Press => "pressed",
        Action::Reseat => "reseated",
        Action::Cool => "cooled",
        Action::WarmUp => "warmed",
        Action::Clean => "cleaned",
        Action::Resolder => "resoldered",
        Action::TestedElsewhere => "tested elsewhere",
        Action::PutBack => "put back",
        Action::Direct => "added board taken out",
    };
    let then = match result {
        Effect::Cured => "fault gone",
        Effect::NoChange => "no change",
        Effect::Changed => "fault changed",
        Effect::Moved => "fault went with it",
        Effect::Worse => "worse",
        Effect::TestedGood => "good",
        Effect::TestedBad => "bad",
        Effect::Unknown => "result not said",
    };
    format!("{done}: {then}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rank::Ranking;
    use crate::sampled::{BLACK, probability as of, ranked};

    /// Of each test that leaves the part in place: what can come of it adds up to one, for a good part and for a bad one.
    #[test]
    fn what_can_come_of_a_test_adds_up_to_one() {
        use Action::*;
        for (action, outcomes) in [
            (Piggyback, [Effect::Cured, Effect::NoChange]),
            (Cool, [Effect::Changed, Effect::NoChange]),
            (WarmUp, [Effect::Worse, Effect::NoChange]),
            (Pull, [Effect::Cured, Effect::NoChange]),
            (TestedElsewhere, [Effect::TestedGood, Effect::TestedBad]),
        ] {
            let all = outcomes.map(|o| likelihood(action, o).expect("a likelihood"));
            let fine: f64 = all.iter().map(|l| l.0).sum();
            let faulty: f64 = all.iter().map(|l| l.1).sum();
            assert!(
                (fine - 1.0).abs() < 1e-12 && (faulty - 1.0).abs() < 1e-12,
                "{action:?}"
            );
        }
    }

    /// The board of [`BLACK`] with this of its 5 V rail.
    fn with_5v(read: &str) -> String {
        BLACK.replace("rail 5V 5.0 V\n", read)
    }

    const KEYS_DEAD: &str = "board 64k-6510-wide\ncame in faulty\nrest fine\nkeyboard bad\n";

    /// Cleaning mends dirty contacts and no cracked track; what it mended was at fault, and is not any more.
    #[test]
    fn a_keyboard_that_was_cleaned_is_the_same_keyboard() {
        let cleaned = ranked(&format!("{KEYS_DEAD}cleaned keyboard: cured\n"));
        assert!(
            of(&cleaned, "KEYBOARD") > 0.8,
            "{}",
            of(&cleaned, "KEYBOARD")
        );
        let at = cleaned.suspects.iter().find(|s| s.name == "KEYBOARD");
        let instance = at.expect("a suspect").instance;
        let cause = cleaned.assembled.cause_of(instance).expect("a cause");
        assert!(cleaned.still(cause) < 0.15, "{}", cleaned.still(cause));
        // As it is typed in haste, on a board on which it is called otherwise.
        let short = ranked(&format!("{KEYS_DEAD}kb cleaned -> cured\n"));
        assert_eq!(of(&short, "KEYBOARD"), of(&cleaned, "KEYBOARD"));
        // The next run tells as well.
        let after = ranked(&format!(
            "{KEYS_DEAD}cleaned keyboard\nnew run\nkeyboard ok\n"
        ));
        assert!(of(&after, "KEYBOARD") > of(&ranked(KEYS_DEAD), "KEYBOARD"));
        let model = crate::shipped::Library::default()
            .board("64k-6510-wide")
            .expect("a board");
        let tracks = |text: &str| {
            let r = ranked(&format!("{KEYS_DEAD}{text}"));
            let at = r.suspects.iter().find(|s| s.name == "KEYBOARD");
            let what = |m: ModeId| model.modes[m as usize].what.contains("track");
            let tracks = at.expect("a suspect").modes.iter().filter(|m| what(m.0));
            tracks.map(|m| m.1).sum::<f64>()
        };
        let column = "board 64k-6510-wide\ncame in faulty\ncolumn 2 dead\nrest fine\n";
        let after = |text: &str| of(&ranked(&format!("{column}{text}")), "KEYBOARD");
        let (soldered, cleaned) = (
            after("resoldered keyboard: cured\n"),
            after("cleaned keyboard: cured\n"),
        );
        assert!(soldered > 0.98 && cleaned < 0.95, "{soldered} {cleaned}");
        assert!(tracks("cleaned keyboard: no change\n") > tracks(""));
        assert!(tracks("resoldered keyboard: cured\n") > 2.0 * tracks("cleaned keyboard: cured\n"));
    }

    /// Cleaning the contact of one key mends no other; another keyboard has other keys.
    #[test]
    fn one_key_that_was_cleaned_is_one_key() {
        let dead = "board dunlin-64\ncame in faulty\nkeys Q 7 dead\nrest fine\n";
        let still = |text: &str, name: &str| {
            let r = ranked(&format!("{dead}{text}"));
            let unit = |i: &crate::rank::network::Instance| {
                crate::sampled::board(dead).units[i.unit].name == name
            };
            let cause = r.assembled.instances.iter().rposition(unit);
            r.still(cause.unwrap_or_else(|| panic!("no {name}")))
        };
        let no_change = |what: &str| format!("{what}: no change\n");
        let before = (still("", "key Q"), still("", "key 7"));
        for one in ["cleaned key Q", "key q cleaned"] {
            let one = no_change(one);
            assert!(
                still(&one, "key Q") < 0.6 * before.0,
                "{one}: {}",
                still(&one, "key Q")
            );
            assert!(
                still(&one, "key 7") > 0.9 * before.1,
                "{one}: {}",
                still(&one, "key 7")
            );
        }
        // Whatever makes the key good again says that it was the key.
        let one = "board dunlin-64\ncame in faulty\nkey 7 dead\nrest fine\n";
        let key_7 = |done: &str| of(&ranked(&format!("{one}{done}: cured\n")), "key 7");
        let own = ["cleaned key 7", "cleaned keyboard", "swapped keyboard"].map(key_7);
        let other = key_7("cleaned key Q");
        assert!(own.iter().all(|p| *p > other + 0.05), "{own:?} {other}");
    }

    #[test]
    fn a_fuse_that_was_loose_is_not_blown() {
        let dead = "board 64k-6510-wide\ncame in faulty\nrail 9VAC 0.0 V\n";
        let of_fuse = |text: &str| of(&ranked(&format!("{dead}{text}")), "F1");
        assert!(of_fuse("F1 loose\n") > 2.0 * of_fuse(""));
        let seen = ranked(&format!("{dead}F1 loose\n"));
        let fuse = seen.suspects.iter().find(|s| s.name == "F1");
        let most = fuse.expect("a suspect").modes[0].0 as usize;
        let model = crate::shipped::Library::default();
        let model = model.board("64k-6510-wide").expect("a board");
        let what = &model.modes[most].what;
        assert!(what.contains("loose"), "{what:?}");
        let cured = of_fuse("F1 loose\ntightened F1: cured\n");
        assert!(cured > 0.8, "{cured}");
        // What the meter says afterwards is of the fuse as it sits now.
        let good = "F1 loose\ntightened F1: changed\nnew run\nrail 9VAC 9.2 V\nblack screen\n";
        assert!(of_fuse(good) > 0.5, "{}", of_fuse(good));
    }

    /// A line that two parts drive: the leg of one of them tells them apart.
    #[test]
    fn a_lifted_leg_speaks_of_what_holds_its_line() {
        let held = format!("{BLACK}U13.4 high\nU26.4 high\nU13.7 pulsing\nU13.12 pulsing\n");
        let before = ranked(&held);
        let changed = ranked(&format!("{held}lifted U13.4: changed\n"));
        let same = ranked(&format!("{held}lifted U13.4: no change\n"));
        let u13 = [&same, &before, &changed].map(|r| of(r, "U13"));
        assert!(u13[0] < u13[1] / 2.0 && u13[1] < u13[2], "{u13:?}");
        assert!(of(&same, "U14") > of(&before, "U14"));
    }

    /// A crystal that was bridged in vain is hardly open; what may be wrong with it else is not spoken of.
    #[test]
    fn a_good_part_held_across_speaks_of_open_ones() {
        let still = format!("{BLACK}U31.10 low\nU19.21 low\n");
        let before = of(&ranked(&still), "Y1");
        let same = of(&ranked(&format!("{still}bridged Y1: no change\n")), "Y1");
        let changed = of(&ranked(&format!("{still}bridged Y1: changed\n")), "Y1");
        assert!(
            before > 0.02 && same < before / 2.0 && changed > 2.0 * before,
            "{same} {before} {changed}"
        );
    }

    /// Where the rail is lowest the current goes, whatever was typed first; on a rail that is good it says nothing.
    #[test]
    fn the_drop_along_a_rail_speaks_of_what_shorts_it() {
        let drop = "drop at U21 lowest\ndrop at U9 higher\ndrop at U10 higher\n";
        let low = with_5v("rail 5V 0.3 V\nresistance +5V 1.2 ohm\n");
        let (without, with) = (ranked(&low), ranked(&format!("{low}{drop}")));
        assert!(of(&with, "U21") > 3.0 * of(&without, "U21"));
        assert!(of(&with, "U9") < of(&without, "U9") && of(&with, "U9") < of(&with, "U21") / 3.0);
        let other_order = ranked(&with_5v(&format!(
            "{drop}rail 5V 0.3 V\nresistance +5V 1.2 ohm\n"
        )));
        assert!((of(&other_order, "U21") - of(&with, "U21")).abs() < 1e-9);
        let (without, with) = (ranked(BLACK), ranked(&format!("{BLACK}{drop}")));
        assert!((of(&with, "U21") - of(&without, "U21")).abs() < 1e-9);
    }

    /// The rail may be read low in ohms; without that a drop says nothing, and that is said.
    #[test]
    fn a_drop_counts_with_a_rail_that_is_shorted_in_ohms() {
        let drop = "drop at U21 lowest\ndrop at U9 higher\n";
        let shorted = with_5v("resistance +5V 0.8 ohm\n");
        let with = ranked(&format!("{shorted}{drop}"));
        assert!(of(&with, "U21") > 2.0 * of(&ranked(&shorted), "U21"));
        let said = |r: &Ranking| r.observed.hints.iter().any(|h| h.text.contains("read low"));
        assert!(!said(&with) && said(&ranked(&with_5v(drop))));
    }

    #[test]
    fn a_leg_that_is_not_there_is_told() {
        let r = ranked(&format!("{BLACK}lifted U13.44: changed\n"));
        assert!(
            r.observed
                .diags
                .iter()
                .any(|d| d.1.message.contains("no pin 44"))
        );
    }

    /// A line that is called by its name is a line, not a part that is not there.
    #[test]
    fn a_line_may_be_called_dead_by_its_name() {
        let dead = ranked(&format!("{BLACK}PHI2 dead\n"));
        let level = ranked(&format!("{BLACK}line PHI2 dead\n"));
        let of = |r: &Ranking| -> Vec<(String, f64)> {
            let list = r.suspects.iter().take(5);
            list.map(|s| (s.name.clone(), s.probability)).collect()
        };
        assert_eq!(of(&dead), of(&level));
    }
}
