//! What is measured by hand or seen on the board: rails, levels, heat, damage.

use super::aspect::Aspect;
use super::hands::mended_by;
use super::ohms::across_effects;
use super::shorts::{resistance_effects, resistance_id, shorts};
use super::{Evidence, Observer, Stop, board, noticed, odds};
use crate::diag::code;
use crate::faultmap::model::{ModeId, Read, Unit, UnitKind};
use crate::faultmap::raw::{Across, Class, Expect, RailRaw, Warmth};
use crate::infer::network::Outcome;
use crate::sheet::{ADDED_BOARD, Action, Finding, HandsOn, Place, State, Subject};

/// A rail below this share of its nominal voltage is called missing (guess: a meter on a dead rail reads stray tenths).
const MISSING: f64 = 0.1;

/// Two frequencies within this share are the same: hand-held counters and crystals are far better (guess).
const SAME_FREQUENCY: f64 = 0.02;

/// Resistance of a logic rail to ground below which it counts as shorted, ohms (common practice, no source).
const SHORTED: f64 = 5.0;

/// P(a voltage past its stop limit is typed though the rail is right): whoever reads that looks twice (a guess of ours).
const PAST_BY_MISTAKE: f64 = 2e-5;

/// Share of its nominal voltage that a part which shorts a rail hardly leaves it, and what is left of its strength then (guesses: what
/// makes the rail is overloaded by far, or gives up).
const SHORT_LEAVES: f64 = 0.5;
const SOFT_SHORT: f64 = 0.15;

impl Observer<'_> {
    pub(super) fn rail(&mut self, name: &str, state: &State) {
        if name == "all" {
            let all: Vec<String> = self.model.rails.keys().cloned().collect();
            all.iter().for_each(|n| self.rail(n, state));
            return;
        }
        let Some((name, rail)) = self.find_rail(name) else {
            return;
        };
        let (aspect, outcome, text) = match judge_rail(&rail, state) {
            Judged::Good(text) => (Aspect::TroubleOrSpeed, Outcome::Pass, text),
            Judged::Bad(aspect, text) => (aspect, Outcome::Fail, text),
            Judged::Nothing(why) => {
                let help = "kept, but it neither accuses nor clears anything".to_string();
                return self.warn(code::NOTHING_FOLLOWS, format!("rail {name}: {why}"), help);
            }
        };
        if outcome == Outcome::Pass {
            self.stop_ended(&name);
        }
        self.stop_if_needed(&name, &rail, state);
        self.supply_read(&name, &rail, state);
        let past = matches!(state, State::Volts(v) if v.abs() >= rail.stop);
        let before = self.out.readings.len();
        self.rail_check(&name, aspect, outcome, format!("rail {name} {text}"));
        let half = matches!(state, State::Volts(v) if v.abs() >= SHORT_LEAVES * rail.nominal.abs());
        if outcome == Outcome::Fail && half {
            self.hardly_shorted(&name, before);
        }
        if past {
            for reading in &mut self.out.readings[before..] {
                if let Evidence::Check(c) = &mut reading.evidence {
                    c.leak = c.leak.min(PAST_BY_MISTAKE);
                }
            }
        }
    }

    /// What shorts a rail hardly leaves it this voltage: of the readings from here on.
    fn hardly_shorted(&mut self, rail: &str, from: usize) {
        let shorts = shorts(self.model);
        let pulls = |mode: &ModeId| {
            let rails = shorts.get(mode);
            rails.is_some_and(|rails| rails.iter().any(|r| r == rail))
        };
        for reading in &mut self.out.readings[from..] {
            if let Evidence::Check(c) = &mut reading.evidence {
                let less = |&(mode, s): &(ModeId, f64)| match pulls(&mode) {
                    true => (mode, s * SOFT_SHORT),
                    false => (mode, s),
                };
                c.effects = c.effects.iter().map(less).collect();
            }
        }
    }

    fn rail_check(&mut self, name: &str, aspect: Aspect, outcome: Outcome, text: String) {
        let reads = self.rail_reads(name);
        let measured = self.measured_trust();
        let trust = std::mem::replace(&mut self.trust, measured);
        self.check(&format!("rail.{name}"), &reads, aspect, outcome, text);
        self.trust = trust;
    }

    /// The lines between which a rail is measured.
    fn rail_reads(&self, name: &str) -> Vec<Read> {
        let check = self.model.check(&format!("rail.{name}"));
        check.map(|c| c.reads.clone()).unwrap_or_default()
    }

    fn find_rail(&mut self, name: &str) -> Option<(String, RailRaw)> {
        let plain = |s: &str| {
            s.to_uppercase()
                .replace(['+', ' ', '_'], "")
                .replace("VOLTS", "V")
        };
        let rails = &self.model.rails;
        let found = rails
            .iter()
            .find(|(n, _)| plain(n) == plain(name))
            .map(|(n, r)| (n.clone(), r.clone()));
        if found.is_none() {
            let known: Vec<&str> = rails.keys().map(String::as_str).collect();
            let message = format!("board {} has no rail '{name}'", self.model.board);
            self.warn(
                code::UNKNOWN_RAIL,
                message,
                format!("its rails are {}", known.join(", ")),
            );
        }
        found
    }

    /// Stops at a rail past its limit, whatever else is made of the reading.
    pub(super) fn stop_if_past(&mut self, finding: &Finding) {
        if let (Subject::Rail(name), State::Volts(_)) = (&finding.subject, &finding.state)
            && let Some((name, rail)) = self.find_rail(name)
        {
            self.stop_if_needed(&name, &rail, &finding.state);
        }
    }

    fn stop_if_needed(&mut self, name: &str, rail: &RailRaw, state: &State) {
        let reason = match state {
            State::Volts(v) if v.abs() >= rail.stop => {
                format!(
                    "rail {name} reads {v} V; the limit for leaving the board powered is {} V",
                    rail.stop
                )
            }
            _ if rail.guards_memory && self.missing(rail, state) => {
                format!(
                    "rail {name} is missing, and the memory must not be without it while the others are there"
                )
            }
            _ => return,
        };
        let remedy = format!(
            "switch off; do not power this board again until the supply or regulator feeding {name} is put right"
        );
        if self.out.stop.is_none() {
            let rail = name.to_string();
            self.out.stops.push(reason.clone());
            self.out.stop = Some(Stop {
                reason,
                remedy,
                rail,
                other_supply: false,
            });
        }
    }

    /// The rail was put right: read within its limits, on the board or at the plug of another supply.
    fn stop_ended(&mut self, rail: &str) {
        self.out.stop.take_if(|stop| stop.rail == rail);
    }

    fn missing(&self, rail: &RailRaw, state: &State) -> bool {
        match state {
            State::Volts(v) => v.abs() < MISSING * rail.nominal.abs(),
            State::Dead => true,
            _ => false,
        }
    }

    pub(super) fn ripple(&mut self, name: &str, state: &State) {
        let Some((name, rail)) = self.find_rail(name) else {
            return;
        };
        let (outcome, text) = match state {
            State::Ok => (Outcome::Pass, "without ripple".to_string()),
            // 2 % of the nominal voltage peak to peak (common practice, no source).
            State::Volts(v) if *v <= 0.02 * rail.nominal.abs() => {
                (Outcome::Pass, format!("ripple {v} V"))
            }
            State::Volts(v) => (Outcome::Fail, format!("ripple {v} V")),
            _ => (Outcome::Fail, "ripples".to_string()),
        };
        self.rail_check(&name, Aspect::Noisy, outcome, format!("rail {name} {text}"));
    }

    pub(super) fn resistance(&mut self, name: &str, state: &State) {
        let Some((name, _)) = self.find_rail(name) else {
            return;
        };
        let (outcome, text) = match state {
            State::Ohms(r) if *r < SHORTED => (Outcome::Fail, format!("{r} ohm to ground")),
            State::Ohms(r) => (Outcome::Pass, format!("{r} ohm to ground")),
            State::Low | State::Bad | State::Shorted => {
                (Outcome::Fail, "shorted to ground".to_string())
            }
            State::Ok => (Outcome::Pass, "not shorted to ground".to_string()),
            _ => return,
        };
        let measured = self.measured_trust();
        let trust = std::mem::replace(&mut self.trust, measured);
        let plain = resistance_effects(self.model, &name);
        let effects = noticed(self.model, &plain, self.trust.missed);
        let text = format!("rail {name}: {text}");
        self.reading(&resistance_id(&name), outcome, text, effects.into());
        self.trust = trust;
    }

    /// The supply measured off the board speaks of the supply alone.
    pub(super) fn supply(&mut self, rail: Option<&str>, state: &State) {
        let named = rail
            .map(str::to_string)
            .or_else(|| self.meant_at_plug(state));
        let Some((name, rail)) = named.and_then(|n| self.find_rail(&n)) else {
            return;
        };
        let judged = judge_rail(&rail, state);
        // With nothing on it a supply may give more than under load.
        let tells = matches!(judged, Judged::Good(_)) || matches!(state, State::Volts(_));
        let (good, text) = match judged {
            Judged::Good(text) | Judged::Nothing(text) => (true, text),
            Judged::Bad(_, text) => (false, text),
        };
        // That the supply is good by itself does not make the board good: only with another one the reason is gone.
        let other = self.out.stop.as_ref().is_some_and(|s| s.other_supply);
        if good && tells && other {
            self.stop_ended(&name);
        } else if !good {
            self.stop_if_needed(&name, &rail, state);
        }
        self.supply_gives(&name, *state == State::Ok, good);
        let supplies: Vec<usize> = self
            .model
            .units
            .iter()
            .enumerate()
            .filter(|(_, u)| u.class == Class::Supply && self.model.positions[u.position].outside)
            .map(|(i, _)| i)
            .collect();
        for unit in supplies {
            let (fine, faulty) = odds::SUPPLY_ALONE[usize::from(!good)];
            self.push(
                format!("supply off the board: {name} {text}"),
                Evidence::Unit { unit, fine, faulty },
            );
        }
    }

    /// Which of its voltages is meant when none was named: the one that the value is nearest to.
    fn meant_at_plug(&self, state: &State) -> Option<String> {
        let mut rails: Vec<_> = self.model.rails.iter().collect();
        rails.sort_by_key(|(_, r)| (!r.at_plug, r.order));
        rails.retain({
            let any = rails.iter().any(|(_, r)| r.at_plug);
            move |(_, r)| r.at_plug || !any
        });
        if let State::Volts(volts) = state {
            let away = |nominal: f64| (volts.abs().max(0.01) / nominal.abs()).ln().abs();
            rails.sort_by(|a, b| away(a.1.nominal).total_cmp(&away(b.1.nominal)));
        }
        rails.first().map(|(name, _)| (*name).clone())
    }

    /// Keeps what the supply gives by itself; 'ok' alone is said of all that comes out of it. What was bad once stays bad until
    /// another supply is there.
    fn supply_gives(&mut self, rail: &str, whole: bool, good: bool) {
        let mut names = vec![rail.to_string()];
        if whole {
            let all = self.model.rails.iter().filter(|(_, r)| r.at_plug);
            names.extend(all.map(|(n, _)| n.clone()));
        }
        for name in names {
            let known = self.out.supply.entry(name).or_insert(true);
            *known &= good;
        }
    }

    /// Another supply: nothing is known of it yet.
    pub(super) fn supply_changed(&mut self, h: &HandsOn) {
        let is_supply = |place: &Place| {
            board::position(self.model, &place.name)
                .is_some_and(|(_, p)| p.outside && p.class == Class::Supply)
        };
        if matches!(h.action, Action::Swap | Action::Replace) && h.places.iter().any(is_supply) {
            self.out.supply.clear();
            if let Some(stop) = &mut self.out.stop {
                stop.other_supply = true;
            }
        }
    }

    pub(super) fn fuse(&mut self, place: &Place, state: &State) {
        let (found, word) = match state {
            State::Ok => (0, "good"),
            State::Bad | State::Dead | State::Wrong => (1, "blown"),
            // A missing one is a fact (`facts`).
            _ => return,
        };
        let (fine, faulty) = odds::FUSE[found];
        self.about_part(place, fine, faulty, &format!("fuse {} {word}", place.name));
    }

    /// `U10 bad` without saying how that is known: a result about the part, if it is memory about its bits.
    pub(super) fn part(&mut self, place: &Place, state: &State) {
        // Of a fuse that is seen, not judged by what the machine does.
        if board::position(self.model, &place.name).is_some_and(|(_, p)| p.class == Class::Fuse) {
            return self.fuse(place, state);
        }
        let found = board::position(self.model, &place.name);
        // `PHI2 dead`: a line by its name.
        if found.is_none() && board::line(self.model, place).is_some() {
            return self.level(place, state);
        }
        // A part of two legs that is called open or shorted was measured.
        let across = match state {
            State::Dead => Some(Across::Open),
            State::Shorted => Some(Across::Shorted),
            _ => None,
        };
        if let (Some((index, _)), Some(how)) = (found, across)
            && !across_effects(self.model, index, how).is_empty()
        {
            return self.across(place, state);
        }
        let (said, word) = match state {
            State::Ok => (0, "good"),
            State::Bad | State::Dead | State::Wrong | State::Shorted => (1, "bad"),
            _ => return,
        };
        let (fine, faulty) = odds::SAID[said];
        self.about_part(
            place,
            fine,
            faulty,
            &format!("{} said to be {word}", place.name),
        );
    }

    pub(super) fn heat(&mut self, place: &Place, state: &State) {
        let Some((_, position)) = self.find_position(place) else {
            return;
        };
        let normal = position.warmth.unwrap_or(Warmth::Warm);
        let Some(felt) = odds::feels(state) else {
            return;
        };
        let (fine, faulty) = odds::felt(normal)[felt];
        let word = odds::FELT[felt];
        self.about_part(place, fine, faulty, &format!("{} {word}", place.name));
        self.felt(felt, normal);
    }

    pub(super) fn looks(&mut self, place: &Place, state: &State) {
        let State::Seen(what) = state else { return };
        if what == ADDED_BOARD {
            return self.added_board(place);
        }
        if let Some((fine, faulty)) = odds::at_pins(what) {
            let text = format!("{} looks {what}", place.name);
            if what == "loose" && self.looks_loose(place, fine, &text) {
                return;
            }
            return self.about_contacts(place, fine, faulty, &text);
        }
        let (fine, faulty) = match what.as_str() {
            "missing" => (0.0, 1.0),
            other => odds::at_part(other),
        };
        self.about_part(place, fine, faulty, &format!("{} looks {what}", place.name));
    }

    /// A board between a chip and its socket: more contacts that may fail.
    pub(super) fn added_board(&mut self, place: &Place) {
        let Some((i, _)) = self.find_position(place) else {
            return;
        };
        let of = |u: &Unit| matches!(u.kind, UnitKind::Contacts | UnitKind::Joints);
        let Some((unit, _)) = self.model.units_of(i).find(|(_, u)| of(u)) else {
            let message = format!("no board fits between {} and a socket", place.name);
            let help = "kept, but it neither accuses nor clears anything";
            return self.warn(code::NOTHING_FOLLOWS, message, help.into());
        };
        let (fine, faulty) = odds::ADDED_BOARD[1];
        let text = format!("added board in {}", place.name);
        self.push(text, Evidence::Unit { unit, fine, faulty });
    }

    /// What is seen at the pins or joints of a part speaks of those, not of the part in them.
    fn about_contacts(&mut self, place: &Place, fine: f64, faulty: f64, text: &str) {
        let Some((i, _)) = self.find_position(place) else {
            return;
        };
        let of = |u: &Unit| matches!(u.kind, UnitKind::Contacts | UnitKind::Joints);
        let own = self.model.units_of(i).find(|(_, u)| of(u)).map(|(u, _)| u);
        match own {
            Some(unit) => self.push(text.to_string(), Evidence::Unit { unit, fine, faulty }),
            None => self.about_part(place, fine, faulty, text),
        }
    }

    /// That a part is loose which can be so and has no contacts of its own on the map: a fuse that is loose in its holder is not
    /// blown. Gives whether it is such a part.
    fn looks_loose(&mut self, place: &Place, without: f64, text: &str) -> bool {
        let model = self.model;
        let Some((position, _)) = board::position(model, &place.name) else {
            return false;
        };
        let own = |u: &Unit| matches!(u.kind, UnitKind::Contacts | UnitKind::Joints);
        if model.units_of(position).any(|(_, u)| own(u)) {
            return false;
        }
        let Some((unit, _)) = model.units_of(position).next() else {
            return false;
        };
        // What pushing it home would mend.
        let modes = mended_by(model, unit, Action::Reseat);
        if modes.is_empty() {
            return false;
        }
        let with = odds::SEEN_LOOSE;
        self.push(
            text.to_string(),
            Evidence::Modes {
                unit,
                modes,
                without,
                with,
            },
        );
        true
    }

    fn about_part(&mut self, place: &Place, fine: f64, faulty: f64, text: &str) {
        let Some((i, _)) = self.find_position(place) else {
            return;
        };
        let Some((unit, _)) = self.model.units_of(i).next() else {
            return;
        };
        self.push(text.to_string(), Evidence::Unit { unit, fine, faulty });
    }

    pub(super) fn find_position(
        &mut self,
        place: &Place,
    ) -> Option<(usize, crate::faultmap::model::Position)> {
        let found = board::position(self.model, &place.name).map(|(i, p)| (i, p.clone()));
        if found.is_none() {
            let message = format!("board {} has no position {}", self.model.board, place.name);
            let help = match board::line(self.model, place) {
                Some(line) => format!(
                    "{line} is a line: type its level, as in `{line} low` or `line {line} dead`"
                ),
                None => match board::of_type(self.model, &place.name) {
                    all if all.is_empty() => "write the designator as printed on the board".into(),
                    all => format!("which of {}? write the designator", all.join(", ")),
                },
            };
            self.warn(code::UNKNOWN_POSITION, message, help);
        }
        found
    }

    /// A level or signal at a pin, against what the map expects on that line.
    pub(super) fn level(&mut self, place: &Place, state: &State) {
        let Some(line) = board::line(self.model, place).map(str::to_string) else {
            let leg = place.pin.as_deref().is_some_and(|pin| {
                board::position(self.model, &place.name).is_some_and(|p| p.1.pin(pin).is_some())
            });
            let (is, help) = match leg {
                true => (
                    "leads nowhere in the map",
                    "write a pin of the line that was measured",
                ),
                false => (
                    "is no pin or line",
                    "write position and pin, U7.40, or a line of the map",
                ),
            };
            let (place, name) = (board::written(place), &self.model.board);
            let message = format!("{place} {is} of board {name}");
            return self.warn(code::UNKNOWN_PLACE, message, help.into());
        };
        if let Some(rail) = self
            .model
            .rails
            .iter()
            .find(|(_, r)| r.line == line)
            .map(|(n, _)| n.clone())
        {
            return self.rail(&rail, state);
        }
        let expected = self.model.lines.iter().find(|l| l.line == line);
        let (expect, hz) = (expected.map(|l| l.expect), expected.and_then(|l| l.hz));
        let Some((aspect, outcome, word)) = judge_level(expect, hz, state) else {
            let message = format!(
                "{line} at {}: no expected state is known for this reading",
                board::written(place)
            );
            return self.warn(
                code::NOTHING_FOLLOWS,
                message,
                "kept, but it neither accuses nor clears anything".into(),
            );
        };
        let text = format!("{} ({line}) {word}", board::written(place));
        let measured = self.measured_trust();
        let trust = std::mem::replace(&mut self.trust, measured);
        let first = self.out.readings.len();
        self.level_check(&line, aspect, outcome, text);
        self.trust = trust;
        if outcome == Outcome::Fail {
            self.stands.insert(line.clone(), (self.run, aspect));
        }
        if let Some(pin) = &place.pin {
            self.at_leg(place, pin, aspect, first);
            self.probed(&line, place, first);
        }
    }
}

enum Judged {
    Good(String),
    Bad(Aspect, String),
    Nothing(String),
}

fn judge_rail(rail: &RailRaw, state: &State) -> Judged {
    let volts = match state {
        State::Ok => return Judged::Good("good".into()),
        State::Low => return Judged::Bad(Aspect::Low, "low".into()),
        State::High => return Judged::Bad(Aspect::OverVoltage, "high".into()),
        State::Dead => return Judged::Bad(Aspect::Dead, "missing".into()),
        State::Noisy => return Judged::Bad(Aspect::Noisy, "noisy".into()),
        State::Shorted => return Judged::Bad(Aspect::Low, "shorted".into()),
        State::Bad | State::Wrong => return Judged::Bad(Aspect::Trouble, "bad".into()),
        State::Volts(v) => *v,
        _ => return Judged::Nothing("this state says nothing about a rail".into()),
    };
    let (size, nominal) = (volts.abs(), rail.nominal.abs());
    let text = format!("{volts} V");
    if size < MISSING * nominal {
        Judged::Bad(Aspect::Dead, text)
    } else if size < rail.low.abs() {
        Judged::Bad(Aspect::Low, text)
    } else if size <= rail.high.abs() {
        Judged::Good(text)
    } else if rail.unloaded.is_some_and(|u| size <= u.abs()) {
        Judged::Nothing(format!(
            "{text} is high, but no fault as long as little hangs on this rail"
        ))
    } else {
        Judged::Bad(Aspect::OverVoltage, text)
    }
}

/// A state against the expected one: aspect, outcome and word; `None` when nothing follows.
fn judge_level(
    expect: Option<Expect>,
    hz: Option<f64>,
    state: &State,
) -> Option<(Aspect, Outcome, String)> {
    let pass = |word: &str| Some((Aspect::TroubleOrSpeed, Outcome::Pass, word.to_string()));
    // A level clears only what would have read otherwise.
    let only = |aspect, word: &str| Some((aspect, Outcome::Pass, word.to_string()));
    let fail = |aspect, word: &str| Some((aspect, Outcome::Fail, word.to_string()));
    match (state, expect) {
        (State::Ok, _) => pass("as it should be"),
        (State::Bad | State::Wrong, _) => fail(Aspect::Trouble, "wrong"),
        (State::Dead, _) => fail(Aspect::Dead, "dead"),
        (State::Floating, _) => fail(Aspect::Floating, "floating"),
        (State::Noisy, _) => fail(Aspect::Noisy, "noisy"),
        (State::Slow, _) => fail(Aspect::Slow, "too slow"),
        (State::Fast, _) => fail(Aspect::Fast, "too fast"),
        (State::Pulsing, Some(Expect::Pulsing)) => only(Aspect::NotMoving, "pulsing"),
        (State::Pulsing, Some(_)) => fail(Aspect::Noisy, "pulsing"),
        (State::Low, Some(Expect::Low)) => only(Aspect::NotLow, "low"),
        (State::Low, Some(_)) => fail(Aspect::Low, "low"),
        (State::High, Some(Expect::High)) => only(Aspect::NotHigh, "high"),
        (State::High, Some(_)) => fail(Aspect::High, "high"),
        (State::Hertz(f), _) => {
            let expected = hz?;
            let word = format!("{f} Hz");
            if (f / expected - 1.0).abs() <= SAME_FREQUENCY {
                pass(&word)
            } else if *f < 0.02 * expected {
                fail(Aspect::Dead, &word)
            } else {
                fail(
                    if *f < expected {
                        Aspect::Slow
                    } else {
                        Aspect::Fast
                    },
                    &word,
                )
            }
        }
        // TTL levels: VIL max 0.8 V, VIH min 2.0 V (74LS, 6510, 6526, 6581, 8255 data sheets).
        (State::Volts(v), Some(e)) => {
            let level = if *v <= 0.8 {
                State::Low
            } else if *v >= 2.0 {
                State::High
            } else {
                State::Floating
            };
            judge_level(Some(e), hz, &level).map(|(a, o, _)| (a, o, format!("{v} V")))
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn levels_against_expectation() {
        let judge = |e, hz, s: State| judge_level(e, hz, &s).map(|(a, o, _)| (a, o));
        assert_eq!(
            judge(Some(Expect::High), None, State::Volts(0.3)),
            Some((Aspect::Low, Outcome::Fail))
        );
        assert_eq!(
            judge(Some(Expect::High), None, State::Volts(4.1))
                .unwrap()
                .1,
            Outcome::Pass
        );
        assert_eq!(
            judge(Some(Expect::Pulsing), None, State::Volts(1.4)),
            Some((Aspect::Floating, Outcome::Fail))
        );
        assert_eq!(
            judge(None, None, State::Low),
            None,
            "nothing follows without an expectation"
        );
        assert_eq!(
            judge(None, Some(50.0), State::Hertz(50.4)).unwrap().1,
            Outcome::Pass
        );
        assert_eq!(
            judge(None, Some(50.0), State::Hertz(60.0)),
            Some((Aspect::Fast, Outcome::Fail))
        );
        assert_eq!(
            judge(None, Some(50.0), State::Hertz(0.0)),
            Some((Aspect::Dead, Outcome::Fail))
        );
    }
}
