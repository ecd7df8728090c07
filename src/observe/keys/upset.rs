//! Keys that stop the machine when they are pressed.
//!
//! Pressing a key only joins two lines of the matrix by its contact. If the machine falls over then, the contact closes and the lines
//! lead on to the chips, and something gives way under what little more hangs on one of the two lines: the output that drives it,
//! where it is weak; what stands between the two, where it passes more than it should; or a machine that runs on the edge anyhow.
//! Keys that share a line speak of that line, keys of no common line of what all lines have in common. All figures are guesses
//! (common practice, no source).

use super::{LEAST, Line, NAMED_ALL, Said};
use crate::faultmap::expand;
use crate::faultmap::model::{BoardModel, Kind, ModeId, Position, UnitKind};
use crate::faultmap::raw::{Across, Class, is_ground};
use crate::infer::network::Outcome;
use crate::observe::aspect::Aspect;
use crate::observe::{CheckReading, Evidence, Observer, effects};
use crate::sheet::Upset;
use std::collections::{BTreeMap, BTreeSet};

/// P(a press stops the machine | the output that drives the line, of a chip that the program needs, gives way): some are just good
/// enough for one more pull-up.
const GIVES_WAY: f64 = 0.7;
/// P(the same | a port pin on the line is weak): the processor does not hang on a port pin, so only by way of the supply, or of an
/// adapter that takes it amiss.
const WEAK_PORT: f64 = 0.05;
/// P(the same | what parts the line from the chip is shorted): then whatever comes back over the contact reaches the chip; with one
/// key that is little more than with a good diode.
const SHORTED: f64 = 0.05;
/// P(the same | the machine falls over now and then, or its supply is low or noisy): a press is hardly more than any other moment.
const UNSTEADY: f64 = 0.02;
/// A mode that does this much to the running of the machine stops it.
const STOPS: f32 = 0.5;
/// P(another key that would do it as well is named, too | nothing is said of the others): each try costs a start.
const GOES_ON: f64 = 0.7;

/// What makes pressing a key stop the machine.
#[derive(Debug, Default)]
pub(in crate::observe) struct Upsets {
    /// For each key of the matrix how surely each mode does it, in the order of the modes.
    each: Vec<Vec<(ModeId, f64)>>,
    /// Modes of outputs that give way: what they do to a key is all that they do.
    gives_way: BTreeSet<ModeId>,
    /// Modes by which any key may do it, for it only looks so.
    unsteady: BTreeSet<ModeId>,
}

impl Upsets {
    /// Works it out for a board with these keys.
    pub(super) fn of(model: &BoardModel, keys: &[(usize, usize, String)]) -> Self {
        let Some(kb) = &model.keyboard else {
            return Self::default();
        };
        let unsteady = unsteady(model);
        let of_lines = |list: &String| -> Vec<BTreeMap<ModeId, f64>> {
            let lines = expand::list(list);
            lines.iter().map(|l| at_line(model, l)).collect()
        };
        let (columns, rows) = (of_lines(&kb.columns), of_lines(&kb.rows));
        let of_key = |(column, row, _): &(usize, usize, String)| {
            let mut all: BTreeMap<ModeId, f64> = unsteady.iter().map(|m| (*m, UNSTEADY)).collect();
            for line in [columns.get(*column), rows.get(*row)].into_iter().flatten() {
                for (mode, s) in line {
                    let slot = all.entry(*mode).or_insert(0.0);
                    *slot = slot.max(*s);
                }
            }
            all.into_iter().collect()
        };
        let gives = (model.modes.iter().enumerate()).filter(|(_, m)| !m.gives_way.is_empty());
        Self {
            each: keys.iter().map(of_key).collect(),
            gives_way: gives.map(|(i, _)| i as ModeId).collect(),
            unsteady,
        }
    }

    /// How surely outputs that give way make it known when this key is pressed: a key that works speaks against them.
    pub(super) fn of_outputs(&self, key: usize) -> impl Iterator<Item = (ModeId, f64)> + '_ {
        let all = self.each.get(key).into_iter().flatten().copied();
        all.filter(|(mode, _)| self.gives_way.contains(mode))
    }
}

/// The line at the other end of a part of two legs that stands between a line of the matrix and a chip: no pull-up.
fn behind<'m>(model: &'m BoardModel, position: &'m Position, line: &str) -> Option<&'m str> {
    let parts = matches!(position.class, Class::Passive | Class::Semiconductor);
    let [one, other] = &position.pins[..] else {
        return None;
    };
    let at = |pin: &crate::faultmap::model::Pin| pin.line.as_deref() == Some(line);
    let far = match (at(one), at(other)) {
        (true, false) => other,
        (false, true) => one,
        _ => return None,
    };
    let far = far.line.as_deref()?;
    let rail = is_ground(far) || model.rails.values().any(|r| r.line == far);
    (parts && !rail).then_some(far)
}

/// What makes a press stop the machine by way of this line of the matrix.
fn at_line(model: &BoardModel, line: &str) -> BTreeMap<ModeId, f64> {
    let mut all = BTreeMap::new();
    let mut put = |mode: ModeId, s: f64| {
        let slot = all.entry(mode).or_insert(0.0_f64);
        *slot = slot.max(s);
    };
    let mut lines = vec![line];
    for (at, position) in model.positions.iter().enumerate() {
        let Some(far) = behind(model, position, line) else {
            continue;
        };
        lines.push(far);
        let modes = model.units_of(at).flat_map(|(_, u)| u.modes.clone());
        modes
            .filter(|m| model.modes[*m as usize].across == Some(Across::Shorted))
            .for_each(|m| put(m, SHORTED));
    }
    for (id, mode) in model.modes.iter().enumerate() {
        let position = &model.positions[model.units[mode.unit as usize].position];
        let on = |pin: &u16| {
            let line = position
                .pins
                .get(usize::from(*pin))
                .and_then(|p| p.line.as_deref());
            line.is_some_and(|l| lines.contains(&l))
        };
        if mode.gives_way.iter().any(on) {
            put(id as ModeId, GIVES_WAY);
        }
    }
    let Some(node) = model.node(line) else {
        return all;
    };
    for touch in &model.nodes[node as usize].touches {
        let unit = &model.units[model.modes[touch.mode as usize].unit as usize];
        let position = &model.positions[unit.position];
        let chip = unit.kind == UnitKind::Part && position.pins.len() >= 8 && !position.outside;
        let there = position
            .pins
            .iter()
            .any(|p| p.line.as_deref() == Some(line));
        if touch.kind == Kind::Noisy && chip && there {
            put(touch.mode, WEAK_PORT * f64::from(touch.strength));
        }
    }
    all
}

/// Modes that let the machine fall over now and then: they come and go and stop it, or leave what the program runs on a supply that is
/// low or noisy.
fn unsteady(model: &BoardModel) -> BTreeSet<ModeId> {
    let mut all = BTreeSet::new();
    let run = model.node("run").into_iter();
    for touch in run.flat_map(|n| &model.nodes[n as usize].touches) {
        let comes_and_goes = model.modes[touch.mode as usize].flaky.is_some();
        if touch.strength >= STOPS && (comes_and_goes || touch.kind == Kind::Noisy) {
            all.insert(touch.mode);
        }
    }
    let feeds_program = |line: &str| {
        let chips = model.positions.iter();
        let mut chips =
            chips.filter(|p| matches!(p.class, Class::Processor | Class::Memory | Class::Rom));
        chips.any(|p| p.pins.iter().any(|pin| pin.line.as_deref() == Some(line)))
    };
    let rails = model.rails.values().filter(|r| feeds_program(&r.line));
    let rails = rails.filter_map(|r| model.node(&r.line));
    for touch in rails.flat_map(|n| &model.nodes[n as usize].touches) {
        let unit = &model.units[model.modes[touch.mode as usize].unit as usize];
        let feeds = matches!(unit.class, Class::Supply | Class::Regulator);
        let low = touch.kind == Kind::Low && feeds;
        if touch.strength >= STOPS && (low || touch.kind == Kind::Noisy) {
            all.insert(touch.mode);
        }
    }
    all
}

impl Observer<'_> {
    /// Keys that stop the machine: one reading of all of them, and one of those that were not named.
    pub(super) fn keys_upset(&mut self, said: &[(String, Said, Line)]) {
        let mut named: BTreeMap<String, (Upset, Line)> = BTreeMap::new();
        for (id, said, line) in said.iter().rev() {
            if let Said::Upsets(upset) = said {
                named.insert(id.clone(), (*upset, *line));
            }
        }
        let Some(&(upset, line)) = named.values().min_by_key(|n| n.1) else {
            return;
        };
        (self.sheet, self.line) = line;
        let known = std::sync::Arc::clone(&self.known);
        let upsets = known.upsets(self.model);
        let ids: Vec<String> = named.keys().cloned().collect();
        let key = |id: &str| known.scan.matrix.key(id.trim_start_matches("key."));
        let seen = 1.0 - self.trust.missed;
        // Of keys that are wired by themselves nothing is known here.
        let inside: Vec<String> = (ids.iter().filter(|id| key(id).is_some()))
            .cloned()
            .collect();
        let does = self.least(&inside, |_, id| {
            let of = key(id).and_then(|k| upsets.each.get(k));
            of.into_iter()
                .flatten()
                .map(|&(m, s)| (m, s * seen))
                .collect()
        });
        let what = match &ids[..] {
            [one] => one.replace('.', " "),
            several => self.line_name(several),
        };
        let text = format!("{what} {}", upset.words());
        let leak = self.trust.false_fail
            * if ids.len() >= LEAST {
                super::LINE_SLIP
            } else {
                1.0
            };
        if !inside.is_empty() {
            self.upset_hint(&inside, &does);
            self.others_do_not(&inside, &does, leak);
        }
        self.contacts_close(&ids);
        self.line_of_keys(&ids, format!("keys {what} stop it"), text, does);
    }

    /// The contact of a key that does something when it is pressed closes, and its lines are whole.
    fn contacts_close(&mut self, ids: &[String]) {
        for id in ids {
            let Some(reads) = self.model.check(id).map(|c| c.reads.clone()) else {
                continue;
            };
            let mut dead = effects(self.model, &reads, Aspect::Dead, &mut self.scratch);
            // Lines that touch leave the contact as it is.
            dead.retain(|(m, _)| self.model.modes[*m as usize].joins.is_none());
            let most = 1.0 - self.trust.missed;
            dead.iter_mut().for_each(|(_, s)| *s = s.min(most));
            let name = id.replace('.', " ");
            let reading = CheckReading {
                looped: false,
                check: format!("contact of {name}"),
                outcome: Outcome::Pass,
                run: self.run,
                leak: self.trust.false_fail,
                effects: dead.into(),
            };
            self.push(
                format!("the contact of {name} closes"),
                Evidence::Check(reading),
            );
        }
    }

    /// What would do it with other keys of the same line as well is the less probable for those that were not named; and keys that it
    /// strikes by chance hardly have a line in common.
    fn others_do_not(&mut self, ids: &[String], does: &[(ModeId, f64)], leak: f64) {
        let known = std::sync::Arc::clone(&self.known);
        let upsets = known.upsets(self.model);
        let others = known.ids.iter().zip(&upsets.each);
        let others: BTreeSet<ModeId> = others
            .filter(|(id, _)| !ids.contains(id))
            .flat_map(|(_, modes)| modes.iter().map(|m| m.0))
            .collect();
        let told = !self.rest_fine.is_empty() || !self.other_keys.is_empty();
        let of_line = match told || ids.len() >= LEAST {
            true => NAMED_ALL,
            false => GOES_ON,
        };
        // Of two keys one in three pairs shares a line, of more hardly any.
        let by_chance = match (self.common_lines(ids).is_empty(), ids.len()) {
            (true, _) | (_, 1) => 0.0,
            (_, 2) => GOES_ON,
            _ => NAMED_ALL,
        };
        let also = does.iter().filter(|(m, _)| others.contains(m));
        let share = |m: &ModeId| match upsets.unsteady.contains(m) {
            true => by_chance,
            false => of_line,
        };
        let also = also.map(|(m, _)| (*m, share(m))).filter(|e| e.1 > 0.0);
        let also: Vec<(ModeId, f64)> = also.collect();
        if also.is_empty() {
            return;
        }
        let reading = CheckReading {
            looped: false,
            check: "other keys do not stop it".into(),
            outcome: Outcome::Pass,
            run: self.run,
            leak,
            effects: also.into(),
        };
        let text = "the other keys do not stop the machine".to_string();
        self.push(text, Evidence::Check(reading));
    }

    /// The lines of the matrix that all of these keys are on.
    fn common_lines(&self, ids: &[String]) -> Vec<String> {
        let matrix = &self.known.scan.matrix;
        let at = |id: &String| matrix.key(id.trim_start_matches("key."));
        let at: Option<Vec<usize>> = ids.iter().map(at).collect();
        let (Some(at), Some(kb)) = (at, &self.model.keyboard) else {
            return Vec::new();
        };
        let at: Vec<(usize, usize)> = at
            .iter()
            .map(|&k| (matrix.keys[k].0, matrix.keys[k].1))
            .collect();
        let Some(&(column, row)) = at.first() else {
            return Vec::new();
        };
        let line = |list: &String, n: usize| expand::list(list).get(n).cloned();
        let columns = at
            .iter()
            .all(|k| k.0 == column)
            .then(|| line(&kb.columns, column));
        let rows = at.iter().all(|k| k.1 == row).then(|| line(&kb.rows, row));
        [columns, rows].into_iter().flatten().flatten().collect()
    }

    /// Says what the keys have in common.
    fn upset_hint(&mut self, ids: &[String], does: &[(ModeId, f64)]) {
        let common = self.common_lines(ids);
        let outputs: Vec<String> = (does.iter())
            .flat_map(|(mode, _)| self.giving_way(*mode))
            .collect();
        let text = match (&common[..], &outputs[..]) {
            ([], _) => "a press only joins two lines, and these keys have none in common: what all lines hang on gives way, the \
                        supply or the processor, and hardly the keyboard"
                .to_string(),
            (lines, []) => format!(
                "a press only joins two lines: something on {} gives way when more hangs on it, and hardly the keyboard",
                lines.join(" or ")
            ),
            (lines, outputs) => format!(
                "a press only joins two lines: what drives {} may give way when more hangs on it ({}: look at its level while the \
                 key is held), and hardly the keyboard",
                lines.join(" or "),
                outputs.join(", ")
            ),
        };
        self.hint_once(text);
    }

    /// The pins that give way by a mode, as they are measured.
    fn giving_way(&self, mode: ModeId) -> Vec<String> {
        let mode = &self.model.modes[mode as usize];
        let position = &self.model.positions[self.model.units[mode.unit as usize].position];
        let pins = mode
            .gives_way
            .iter()
            .filter_map(|p| position.pins.get(usize::from(*p)));
        pins.map(|p| format!("{}.{}", position.name, p.label))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::super::Known;
    use super::*;
    use crate::rank::Ranking;
    use crate::sampled::{probability, proposed, ranked};
    use crate::shipped::Library;

    const ULA: &str = "board 48k-z80-ula\ncame in faulty\npicture ok\n";
    const HALF_ROW: &str = "keys CAPS SHIFT Z X C V reset the machine\n";

    fn hints(r: &Ranking) -> String {
        let all = r.observed.hints.iter().map(|h| h.text.clone());
        all.collect::<Vec<_>>().join("\n")
    }

    fn place(r: &Ranking, unit: &str) -> usize {
        let at = r.suspects.iter().position(|s| s.name == unit);
        at.map_or(usize::MAX, |i| i + 1)
    }

    /// A half row of the small Z80 board hangs on one address line: whoever drives it, or the diode between; the keyboard only where
    /// the same keys are called dead or bad.
    #[test]
    fn keys_of_a_half_row_speak_of_what_drives_it() {
        let resets = ranked(&format!("{ULA}{HALF_ROW}"));
        assert!(place(&resets, "IC2") <= 2 && place(&resets, "D6") <= 2);
        assert!(probability(&resets, "KEYBOARD") < 0.01);
        let bad = ranked(&format!("{ULA}keys CAPS SHIFT Z X C V bad\n"));
        assert!(
            probability(&bad, "KEYBOARD") > 0.3,
            "the old way to type it"
        );
        // The pin is that of A8, and no other diode is spoken of.
        let told = hints(&resets);
        assert!(told.contains("KB_A8") && told.contains("IC2.38"), "{told}");
        for other in ["D1", "D2", "D3", "D4", "D5", "D7", "D8"] {
            assert!(probability(&resets, other) < 0.01, "{other}");
        }
        let most = resets.suspects.iter().find(|s| s.name == "IC2");
        let mode = most.expect("a suspect").modes[0].0 as usize;
        let model = Library::default().board("48k-z80-ula").expect("a board");
        assert!(model.modes[mode].what.starts_with("address pin 8 weak"));
    }

    /// The board must go somewhere from there.
    #[test]
    fn there_is_a_next_step() {
        let steps = proposed(&format!("{ULA}{HALF_ROW}"));
        assert!(!steps.is_empty());
    }

    /// Keys that share no line: no single output explains them.
    #[test]
    fn keys_of_no_common_line_speak_of_what_all_lines_have() {
        let model = Library::default().board("48k-z80-ula").expect("a board");
        let r = ranked(&format!("{ULA}keys Z G P reset the machine\n"));
        assert!(hints(&r).contains("none in common"), "{}", hints(&r));
        let weak = |s: &crate::rank::Suspect| {
            let of = s
                .modes
                .iter()
                .filter(|m| !model.modes[m.0 as usize].gives_way.is_empty());
            of.map(|m| m.1).sum::<f64>()
        };
        let all: f64 = r.suspects.iter().map(weak).sum();
        assert!(all < 0.01, "{all}");
        for common in unsteady(&model) {
            let unit = &model.units[model.modes[common as usize].unit as usize];
            assert_ne!(unit.class, Class::Keyboard, "{}", unit.name);
        }
        // The supply or the processor gain by it.
        let before = ranked(ULA);
        let sum = |r: &Ranking| {
            probability(r, "ADAPTER") + probability(r, "IC2") + probability(r, "REG1")
        };
        assert!(sum(&r) > sum(&before), "{} {}", sum(&r), sum(&before));
    }

    /// A contact whose key does something when it is pressed closes.
    #[test]
    fn the_contact_is_not_at_fault() {
        let one = "board 64k-6510-wide\ncame in faulty\npicture ok\n";
        let dead = ranked(&format!("{one}key Q dead\n"));
        let resets = ranked(&format!("{one}key Q resets the machine\n"));
        assert!(probability(&dead, "key Q") > 0.3);
        assert!(probability(&resets, "key Q") < 0.02);
        // Where adapters drive the columns, it is their port pins.
        let column = ranked(&format!("{one}column 7 resets the machine\n"));
        assert!(probability(&column, "U1") > 2.0 * probability(&ranked(one), "U1"));
    }

    /// Of a machine that came in faulty the key may be what was meant, but not one that does something when it is pressed.
    #[test]
    fn a_contact_that_closes_is_cleared() {
        let still = |text: &str| {
            let r = ranked(&format!("{ULA}{text}"));
            let model = crate::sampled::board(ULA);
            let is = |i: &crate::rank::network::Instance| model.units[i.unit].name == "key Q";
            let cause = r.assembled.instances.iter().position(is);
            cause.map_or(0.0, |c| r.still(c))
        };
        let (before, after) = (still(""), still("key Q resets the machine\n"));
        assert!(before > 0.0 && after < 0.3 * before, "{before} {after}");
    }

    /// Naming fewer keys than the line has makes its output less probable, and what the sheet says of the others more so.
    #[test]
    fn keys_that_do_not_do_it_count() {
        let of = |more: &str| probability(&ranked(&format!("{ULA}{more}")), "IC2");
        let (all, some) = (of(HALF_ROW), of("keys Z X C reset the machine\n"));
        let told = of("keys Z X C reset the machine\nother keys ok\n");
        assert!(all > some && some > told, "{all} {some} {told}");
    }

    /// Keys that work speak against an output that gives way.
    #[test]
    fn keys_that_work_clear_weak_outputs() {
        let model = Library::default().board("48k-z80-ula").expect("a board");
        let upsets = Upsets::of(&model, &Known::of(&model).scan.matrix.keys);
        assert_eq!(upsets.gives_way.len(), 16);
        let first: Vec<(ModeId, f64)> = upsets.of_outputs(0).collect();
        assert_eq!(first.len(), 1, "one address line a key");
        assert!((first[0].1 - GIVES_WAY).abs() < 1e-12);
    }

    /// Some, not all, of the loops: it is the same fault.
    #[test]
    fn now_and_then_is_read_as_well() {
        let r = ranked(&format!(
            "{ULA}keys CAPS SHIFT Z X C V reset the machine in 3 of 5 loops\n"
        ));
        assert!(place(&r, "IC2") <= 2 && probability(&r, "KEYBOARD") < 0.01);
    }
}
