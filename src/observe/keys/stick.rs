//! The directions and the button of a control port. On some boards they hang on lines of the key matrix, so that a stuck one
//! and a stuck row of keys are one fault; the line at the pin of the socket tells.

use crate::diag::code;
use crate::faultmap::model::{ModeId, Read};
use crate::faultmap::raw::Class;
use crate::infer::network::Outcome;
use crate::observe::Observer;
use crate::observe::aspect::Aspect;
use crate::sheet::{Direction, State};
use std::collections::BTreeMap;

/// P(a fault of the port as a whole shows at this one of its five lines and no other was named) (guess: about one in five, and
/// some take more than one).
const ONE_OF_FIVE: f64 = 0.25;

/// The pin of a nine-way control port that a direction or the button closes to ground (common practice, no source).
pub fn pin(direction: Direction) -> &'static str {
    match direction {
        Direction::Up => "1",
        Direction::Down => "2",
        Direction::Left => "3",
        Direction::Right => "4",
        Direction::Fire => "6",
    }
}

impl Observer<'_> {
    /// One line of a control port.
    pub(in crate::observe) fn stick(&mut self, port: u8, direction: Direction, state: &State) {
        let whole = format!("port.control-{port}");
        let Some(reads) = self.model.check(&whole).map(|c| c.reads.clone()) else {
            let message = format!("board {} has no control port {port}", self.model.board);
            return self.warn(code::NO_SUCH_CHECK, message, String::new());
        };
        let (aspect, outcome, word) = match state {
            State::Ok => (Aspect::Trouble, Outcome::Pass, "fine"),
            State::Dead => (Aspect::Dead, Outcome::Fail, "dead"),
            State::Stuck => (Aspect::Pressed, Outcome::Fail, "stuck"),
            _ => (Aspect::Trouble, Outcome::Fail, "bad"),
        };
        self.test_ran(self.run);
        let text = format!("control port {port}: {} {word}", direction.word());
        let id = format!("{whole}.{}", direction.word());
        let line = self.line_of_stick(port, direction);
        if outcome == Outcome::Pass {
            // Only what is on this line and at its pin is cleared.
            if let Some(node) = line {
                self.check(&id, &[Read { node, weight: 1.0 }], aspect, outcome, text);
            }
            return;
        }
        self.mark(&whole);
        let mut effects: BTreeMap<ModeId, f64> = self
            .effects(&reads, aspect)
            .into_iter()
            .map(|(m, s)| (m, s * ONE_OF_FIVE))
            .collect();
        if let Some(node) = line {
            for (m, s) in self.effects(&[Read { node, weight: 1.0 }], aspect) {
                let slot = effects.entry(m).or_insert(0.0);
                *slot = slot.max(s);
            }
        }
        let effects: Vec<_> = effects.into_iter().collect();
        self.line_of_keys(std::slice::from_ref(&id), id.clone(), text, effects);
    }

    /// The line that a direction closes, at the socket of the port.
    fn line_of_stick(&self, port: u8, direction: Direction) -> Option<u32> {
        let role = format!("control port {port}");
        let socket = (self.model.positions.iter())
            .find(|p| p.class == Class::Connector && p.role.eq_ignore_ascii_case(&role))?;
        self.model.node(socket.line_at(pin(direction))?)
    }
}
