//! A machine with one known fault, and a technician who answers every question with what that fault shows on the board map.

use std::io::Result;
use whichsocket::bench::answer;
use whichsocket::bench::talk::Talk;
use whichsocket::faultmap::model::{BoardModel, Kind, ModeId, UnitKind};
use whichsocket::faultmap::raw::{Across, Expect};
use whichsocket::next::Ask;
use whichsocket::observe::board;
use whichsocket::sheet::{Action, Effect, HandsOn, Statement};

/// What is known of a machine before the session.
pub struct Machine {
    pub board: &'static str,
    /// Unit at fault, and its mode as the map words it.
    pub unit: &'static str,
    pub mode: &'static str,
    /// Answers of the intake after the board: how it came in, complaint, history, each line of what is fitted, supply.
    pub intake: &'static [&'static str],
    /// What the screen and the test showed.
    pub first_look: &'static [&'static str],
    /// Answers given in place of the first proposals, before the technician follows them.
    pub own_way: &'static [&'static str],
    /// Clean loops run at the end.
    pub loops: &'static [&'static str],
}

/// Answers for a [`Machine`].
pub struct Technician<'m> {
    machine: &'m Machine,
    model: &'m BoardModel,
    unit: usize,
    pub mode: ModeId,
    listed: Vec<String>,
    loops: Vec<&'static str>,
    pub dialogue: String,
    asked: usize,
}

impl<'m> Technician<'m> {
    pub fn new(machine: &'m Machine, model: &'m BoardModel) -> Self {
        let unit = model
            .units
            .iter()
            .position(|u| u.name == machine.unit)
            .expect("the unit");
        let mut modes = model.units[unit].modes.clone();
        let mode = modes
            .find(|&m| model.modes[m as usize].what == machine.mode)
            .expect("the mode");
        let mut listed: Vec<String> = vec![String::new(), machine.board.into()];
        listed.extend(machine.intake.iter().map(|s| s.to_string()));
        listed.extend(machine.first_look.iter().map(|s| s.to_string()));
        listed.push(String::new());
        listed.extend(machine.own_way.iter().map(|s| s.to_string()));
        Self {
            machine,
            model,
            unit,
            mode,
            listed: listed.into_iter().rev().collect(),
            loops: machine.loops.iter().rev().copied().collect(),
            dialogue: String::new(),
            asked: 0,
        }
    }

    /// What the fault does to a line: the kind that it does most surely.
    fn shows(&self, line: &str) -> Option<Kind> {
        let node = self.model.node(line)?;
        let touches = self.model.nodes[node as usize]
            .touches
            .iter()
            .filter(|t| t.mode == self.mode);
        touches
            .filter(|t| t.strength > 0.5)
            .max_by(|a, b| a.strength.total_cmp(&b.strength))
            .map(|t| t.kind)
    }

    fn rail(&self, name: &str) -> String {
        let rail = &self.model.rails[name];
        match self.shows(&rail.line) {
            Some(Kind::Lost) => "missing".into(),
            Some(Kind::Low) => format!("{:.1}", rail.low * 0.8),
            Some(Kind::High) => format!("{:.1}", rail.high * 1.1),
            _ => format!("{:.2}", (rail.low + rail.high) / 2.0),
        }
    }

    fn line(&self, name: &str) -> String {
        let def = self
            .model
            .lines
            .iter()
            .find(|l| l.line == name)
            .expect("a line of the map");
        let fine = match def.expect {
            Expect::Pulsing => "pulsing",
            Expect::High => "high",
            Expect::Low => "low",
        };
        match self.shows(name) {
            Some(Kind::Lost | Kind::Low) => "low".into(),
            Some(Kind::High) => "high".into(),
            _ => fine.into(),
        }
    }

    /// Whether a check of the test fails: the fault shows in it more often than not.
    fn check(&self, id: &str) -> String {
        let check = self.model.check(id).expect("a check");
        let mut scratch = vec![0.0; self.model.modes.len()];
        let aspect = whichsocket::observe::Aspect::Trouble;
        let effects = whichsocket::observe::effects(self.model, &check.reads, aspect, &mut scratch);
        let bad = effects.iter().any(|&(m, s)| m == self.mode && s > 0.5);
        if bad { "bad".into() } else { "ok".into() }
    }

    fn remedy(&self, done: &HandsOn) -> String {
        let unit = &self.model.units[self.unit];
        let here = done
            .places
            .iter()
            .any(|p| board::position(self.model, &p.name).is_some_and(|(i, _)| i == unit.position));
        let mode = &self.model.modes[self.mode as usize];
        let tried = match done.action {
            Action::Bridge => Some(mode.across == Some(Across::Open)),
            Action::Lift => done.places[0].pin.as_ref().map(|pin| {
                whichsocket::observe::holds(self.model, unit.position, pin).contains(&self.mode)
            }),
            _ => None,
        };
        if let Some(changes) = tried {
            return if here && changes {
                "changed"
            } else {
                "no change"
            }
            .into();
        }
        let cures = match unit.kind {
            UnitKind::Part => {
                matches!(done.action, Action::Swap | Action::Replace)
                    || done.action == Action::Reseat && self.machine.mode.contains("plug")
            }
            UnitKind::Contacts => matches!(
                done.action,
                Action::Swap | Action::Replace | Action::Clean | Action::Reseat
            ),
            UnitKind::Joints => matches!(done.action, Action::Resolder | Action::Replace),
            UnitKind::Contact { .. } => matches!(done.action, Action::Clean | Action::Reseat),
            UnitKind::Key { .. } => done.action == Action::Clean,
        };
        if here && cures {
            "cured".into()
        } else {
            "no change".into()
        }
    }

    /// What a meter shows across a part of two legs, or of the legs of a part along their lines.
    fn ohms(&self, prompt: &str) -> Option<String> {
        let unit = &self.model.units[self.unit];
        let position = &self.model.positions[unit.position];
        let mode = &self.model.modes[self.mode as usize];
        if let Some(rest) = prompt.strip_prefix("ohms across ") {
            let here = rest.split(',').next() == Some(position.name.as_str());
            let read = match mode.across.filter(|_| here) {
                Some(Across::Open) => "open",
                Some(Across::Shorted) => "shorted",
                None => "ok",
            };
            return Some(read.into());
        }
        if prompt.starts_with("which leg touches nothing") {
            let asked = self
                .dialogue
                .rsplit("from the legs of")
                .next()
                .unwrap_or("");
            let open = mode
                .opens
                .iter()
                .map(|&pin| &position.pins[usize::from(pin)].label);
            let mut open =
                open.filter(|label| asked.contains(&format!("{}.{label} to", position.name)));
            return Some(open.next().map_or("all joined".into(), ToString::to_string));
        }
        // Nothing shorts a rail here: one part is as good as another.
        let example = prompt
            .strip_prefix("rail ")
            .filter(|p| p.contains("is lowest at"));
        example.map(|p| p.split('\'').nth(1).unwrap_or("").to_string())
    }

    fn reply(&mut self, prompt: &str) -> String {
        if let Some(answer) = self.listed.pop() {
            return answer;
        }
        if let Some(answer) = self.ohms(prompt) {
            return answer;
        }
        if let Some(name) = self
            .model
            .rails
            .keys()
            .find(|n| prompt.starts_with(&format!("rail {n} at")))
        {
            return self.rail(name);
        }
        if let Some(def) = self
            .model
            .lines
            .iter()
            .find(|l| prompt.starts_with(&format!("line {} at", l.line)))
        {
            return self.line(&def.line);
        }
        if prompt.starts_with("fitted ") {
            return "74LS04 from shelf".replace("74LS04", self.type_at(prompt));
        }
        let asks = |id: &str, what: &str| Ask::Check {
            id: id.into(),
            what: what.into(),
        };
        if let Some(c) = self
            .model
            .checks
            .iter()
            .find(|c| answer::prompt(Some(&asks(&c.id, &c.what))) == prompt)
        {
            return self.check(&c.id);
        }
        if prompt.starts_with("old part ") || prompt.starts_with("what came of it") {
            return String::new();
        }
        if prompt == "answer:"
            && self
                .dialogue
                .contains("loops ran clean since the last remedy")
        {
            return "close".into();
        }
        if prompt.starts_with("loops") {
            return self.loops.pop().unwrap_or("close").into();
        }
        if prompt.starts_with("at fault") {
            let suggested = format!("(empty: {} ", self.machine.unit);
            let fits = prompt.contains(&suggested);
            return if fits {
                String::new()
            } else {
                format!("{} {}", self.machine.unit, self.machine.mode)
            };
        }
        if prompt.starts_with("closed") {
            return "cured and proved".into();
        }
        if prompt.starts_with("reopen") {
            return "quit".into();
        }
        let head = prompt.split(" (cured").next().unwrap_or("");
        match answer::full(head) {
            answer::Understood::Line(all, _) => match &all[..] {
                [Statement::HandsOn(h)] if h.result == Effect::Unknown => self.remedy(h),
                _ => panic!("no answer to: {prompt}\n{}", self.dialogue),
            },
            _ => panic!("no answer to: {prompt}\n{}", self.dialogue),
        }
    }

    fn type_at(&self, prompt: &str) -> &'m str {
        let place = prompt.split(' ').nth(1).unwrap_or("").trim_end_matches(':');
        let position = self.model.position(place).map(|(_, p)| p);
        position
            .and_then(|p| p.part_type.as_deref())
            .unwrap_or("74LS04")
    }
}

impl Talk for Technician<'_> {
    fn say(&mut self, text: &str) -> Result<()> {
        self.dialogue += text;
        Ok(())
    }

    fn ask(&mut self, prompt: &str) -> Result<Option<String>> {
        self.asked += 1;
        assert!(
            self.asked < 80,
            "a session that does not end\n{}",
            self.dialogue
        );
        let answer = self.reply(prompt);
        self.dialogue += format!("{prompt} {answer}").trim_end();
        self.dialogue.push('\n');
        Ok(Some(answer))
    }
}
