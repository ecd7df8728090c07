//! Levels that were read while the supply of the chips on the line was gone: they say that it is gone, and nothing else. Forty
//! lines that float behind a shorted rail are one finding, not forty. Where the rail is there and too low, lines that float say no more
//! than that: outputs that are fed less than they are made for may let go.

use super::levels::is_chip;
use super::{Aspect, Evidence, Observer, Reading};
use crate::diag::code;
use crate::faultmap::model::{BoardModel, Position};
use crate::faultmap::raw::RailRaw;
use crate::infer::network::Outcome;
use crate::sheet::State;

/// Below this share of its nominal voltage a rail carries no logic (guess: LS and NMOS parts are specified from 4.5 or 4.75 V on, and
/// nobody says what they do so far below).
const GONE: f64 = 0.6;

/// How much of its supply is gone from a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Gone {
    /// It is as good as missing: no level says anything.
    All,
    /// It is too low: that a line floats says nothing.
    Part,
}

/// How much of a rail is gone that reads so.
fn gone(rail: &RailRaw, state: &State) -> Option<Gone> {
    let volts = match state {
        State::Dead => 0.0,
        State::Volts(v) => v.abs(),
        _ => return None,
    };
    match volts {
        v if v < GONE * rail.nominal.abs() => Some(Gone::All),
        // Below what its parts are specified for nobody answers for what an output does.
        v if v < rail.low.abs() => Some(Gone::Part),
        _ => None,
    }
}

impl Observer<'_> {
    /// Remembers a rail that is gone in this run, or that it is there.
    pub(super) fn supply_read(&mut self, name: &str, rail: &RailRaw, state: &State) {
        match gone(rail, state) {
            Some(much) => (self.gone).insert(name.to_string(), (much, (self.sheet, self.span))),
            None => self.gone.remove(name),
        };
    }

    /// At the end of a run: what a line without supply reads is left out, whichever of the two was typed first.
    pub(super) fn levels_without_supply(&mut self) {
        for (rail, (much, at)) in std::mem::take(&mut self.gone) {
            let (model, run) = (self.model, self.run);
            let supply = &model.rails[&rail].line;
            let stands = &self.stands;
            let counts = |line: &str| {
                let floats = stands.get(line) == Some(&(run, Aspect::Floating));
                (much == Gone::All || floats) && feeds(model, supply, line)
            };
            let idle = |r: &Reading| match &r.evidence {
                Evidence::Check(c) if c.run == run && c.outcome != Outcome::Pass => {
                    c.check.strip_prefix("line.").is_some_and(counts)
                }
                _ => false,
            };
            let left_out: Vec<Reading> = self.out.readings.extract_if(.., |r| idle(r)).collect();
            let Some(first) = left_out.first() else {
                continue;
            };
            for r in &left_out {
                if let Evidence::Check(c) = &r.evidence {
                    self.out.read.remove(&c.check);
                }
            }
            let which = match left_out.len() {
                1 => first.text.clone(),
                2 => format!("{} and one more level", first.text),
                n => format!("{} and {} more levels", first.text, n - 1),
            };
            let help = format!(
                "kept, but without its supply a line says nothing more: read it again when {rail} is right"
            );
            let how = match much {
                Gone::All => "gone",
                Gone::Part => "too low",
            };
            let message = format!("{which}: read while rail {rail} was {how}");
            let here = (self.sheet, self.span);
            (self.sheet, self.span) = at;
            self.warn(code::NOTHING_FOLLOWS, message, help);
            (self.sheet, self.span) = here;
        }
    }
}

/// Whether a rail is what the logic of a line lives on: most chips of the board have it, and most on the line. A memory or sound chip
/// without its 12 V leaves the lines that it reads to those that drive them.
fn feeds(model: &BoardModel, rail: &str, line: &str) -> bool {
    let on = |p: &Position, line: &str| p.pins.iter().any(|pin| pin.line.as_deref() == Some(line));
    let most = |wanted: &dyn Fn(&Position) -> bool| {
        let chips = model
            .positions
            .iter()
            .filter(|p| is_chip(p.class) && wanted(p));
        let (fed, others): (Vec<&Position>, Vec<&Position>) = chips.partition(|p| on(p, rail));
        fed.len() > others.len()
    };
    most(&|_| true) && most(&|p| on(p, line))
}

#[cfg(test)]
mod tests {
    use super::super::observe;
    use super::*;
    use crate::sheet::parse;
    use crate::shipped::Library;

    /// Readings of lines, and the warnings, of a sheet of the wide board.
    fn of(text: &str) -> (Vec<String>, Vec<String>) {
        let model = Library::default()
            .board("64k-6510-wide")
            .expect("a shipped board");
        let sheet = parse("t", text.as_bytes()).expect("a text");
        let seen = observe(&model, &[sheet]);
        let is_line = |r: &&Reading| match &r.evidence {
            Evidence::Check(c) => c.check.starts_with("line."),
            _ => false,
        };
        let lines = seen.readings.iter().filter(is_line).map(|r| r.text.clone());
        let warned = seen.diags.iter().map(|d| d.1.message.clone());
        (lines.collect(), warned.collect())
    }

    #[test]
    fn what_floats_without_a_supply_is_no_finding() {
        let levels = "U7.9 floating\nU7.10 floating\nU19.17 pulsing\n";
        for text in [
            format!("black screen\n{levels}rail 5V 0.3 V\n"),
            format!("black screen\nrail 5V 0.3 V\n{levels}"),
            format!("black screen\nrail 5V dead\n{levels}"),
        ] {
            let (lines, warned) = of(&text);
            assert_eq!(lines.len(), 1, "{lines:?}");
            assert!(lines[0].ends_with("pulsing"), "{lines:?}");
            assert_eq!(warned.len(), 1, "{warned:?}");
            assert!(
                warned[0].contains("and one more level: read while rail +5V was gone"),
                "{warned:?}"
            );
        }
    }

    #[test]
    fn what_floats_on_a_rail_that_is_too_low_is_no_finding_what_stands_is() {
        let levels = "U7.9 floating\nU7.10 low\n";
        let (lines, warned) = of(&format!("black screen\nrail 5V 4.6 V\n{levels}"));
        assert_eq!(lines.len(), 1, "{lines:?}");
        assert!(lines[0].ends_with("low"), "{lines:?}");
        assert!(
            warned[0].ends_with("read while rail +5V was too low"),
            "{warned:?}"
        );
        let (lines, _) = of(&format!("black screen\nrail 5V 4.8 V\n{levels}"));
        assert_eq!(lines.len(), 2, "{lines:?}");
    }

    /// The memory chips of this board have 12 V beside the 5 V of all others, and are most of those on their address lines.
    #[test]
    fn a_rail_of_the_memory_alone_is_not_what_lines_live_on() {
        let model = Library::default()
            .board("48k-z80-ula")
            .expect("a shipped board");
        let rail = |name: &str| model.rails[name].line.as_str();
        assert!(!feeds(&model, rail("+12V"), "LA0"));
        assert!(feeds(&model, rail("+5V"), "LA0"));
    }

    /// The video chip has a 5 V of its own: where it is half of a line, that may still be driven.
    #[test]
    fn most_chips_of_a_line_decide() {
        let model = Library::default()
            .board("64k-6510-wide")
            .expect("a shipped board");
        let rail = model.rails["+5V"].line.as_str();
        assert!(feeds(&model, rail, "A0"));
        assert!(!feeds(&model, rail, "VIDEO_CS_N"));
    }

    /// With its supply there, or in a run of its own, or behind another supply, a level is what it is.
    #[test]
    fn with_its_supply_a_line_counts() {
        for text in [
            "black screen\nU7.9 floating\nrail 5V 4.8 V\n",
            "black screen\nrail 5V 0.3 V\nreplaced U21: changed\nnew run\nrail 5V 5.0 V\nU7.9 floating\n",
            "black screen\nrail 5V 0.3 V\nrail 5V 5.0 V\nU7.9 floating\n",
            "black screen\nrail 12V 0.3 V\nU7.9 floating\n",
            "black screen\nrail 12V 0.3 V\nU18.15 floating\n",
            "black screen\nrail 9VAC 0.1 V\nU2.10 floating\n",
        ] {
            let (lines, warned) = of(text);
            assert_eq!(lines.len(), 1, "{text}: {lines:?}");
            assert!(warned.is_empty(), "{text}: {warned:?}");
        }
    }
}
