//! What cannot be. Values outside physical sense are questioned, not used: a decimal point that was lost makes 49.8 V of 4.98 V;
//! no adapter of such a machine gives that. What names things that the board does not have is no reading of an uncertain line.

use super::{board, memory};
use crate::faultmap::model::BoardModel;
use crate::sheet::{Finding, State, Statement, Subject};

/// No more than this times the nominal voltage can stand on a rail (guess: the highest rail of such a board is its
/// unregulated input, about three times the lowest).
const MOST_OF_NOMINAL: f64 = 4.0;
/// No frequency on such a board is higher, hertz: the colour clock of such machines is below 20 MHz.
const HIGHEST_HERTZ: f64 = 60e6;
/// No level on such a board is higher, volts: the alternating supply is about 9 to 18 V, its peak 1.4 times that.
const HIGHEST_VOLTS: f64 = 40.0;
/// No meter of a bench shows more, ohms.
const HIGHEST_OHMS: f64 = 1e9;
/// A machine of this kind takes no more, amperes (guess: its fuse is far below).
const HIGHEST_AMPERES: f64 = 10.0;
/// A clock that runs more than so many times too fast is no clock.
const FASTEST: f64 = 20.0;

/// What is odd about a value, in words; `None` when it can be.
pub fn question(model: &BoardModel, finding: &Finding) -> Option<String> {
    let nominal = |name: &str| {
        let plain = |s: &str| s.to_uppercase().replace(['+', ' ', '_'], "");
        let rail = model.rails.iter().find(|(n, _)| plain(n) == plain(name));
        rail.map(|(_, r)| (r.nominal, r.ac))
    };
    match (&finding.subject, &finding.state) {
        (Subject::Rail(name), State::Volts(v)) => {
            let (n, ac) = nominal(name)?;
            // A minus sign is easily left out, and never typed by chance.
            let reversed = !ac && n > 0.0 && *v < -0.5;
            (v.abs() > MOST_OF_NOMINAL * n.abs() || reversed)
                .then(|| format!("{v} V on a rail of {n} V"))
        }
        (Subject::Supply(Some(name)), State::Volts(v)) => {
            let (n, _) = nominal(name)?;
            (v.abs() > MOST_OF_NOMINAL * n.abs()).then(|| format!("{v} V on an output of {n} V"))
        }
        (Subject::Ripple(name), State::Volts(v)) => {
            let (n, _) = nominal(name)?;
            (*v < 0.0 || *v > 2.0 * n.abs()).then(|| format!("{v} V of ripple on a rail of {n} V"))
        }
        (Subject::Level(_), State::Volts(v)) => {
            (v.abs() > HIGHEST_VOLTS).then(|| format!("{v} V on a board of this kind"))
        }
        (_, State::Hertz(f)) => (*f < 0.0 || *f > HIGHEST_HERTZ).then(|| format!("{f} Hz")),
        (_, State::Ohms(r)) => {
            (r.is_finite() && (*r < 0.0 || *r > HIGHEST_OHMS)).then(|| format!("{r} ohm"))
        }
        (_, State::Amperes(i)) => (i.abs() > HIGHEST_AMPERES).then(|| format!("{i} A")),
        (_, State::Rate { shown, real }) => {
            (*shown > FASTEST * real).then(|| format!("{shown} s shown in {real} s"))
        }
        (_, State::OffBy(p)) => {
            (*p < -100.0 || *p > 100.0 * (FASTEST - 1.0)).then(|| format!("{p} % fast"))
        }
        _ => None,
    }
}

/// Whether what statements name is on this board, and has values that can be.
pub fn possible(model: &BoardModel, statements: &[Statement]) -> bool {
    let position = |name: &str| board::position(model, name).is_some();
    let check = |id: String| model.check(&id).is_some();
    let numbered = |stem: &str, n: &Option<u8>| n.is_none_or(|n| check(format!("{stem}{n}")));
    let there = |subject: &Subject| match subject {
        Subject::Rail(name) | Subject::Ripple(name) | Subject::Resistance(name) => {
            name == "all" || model.rails.contains_key(name)
        }
        Subject::Level(place) => board::line(model, place).is_some(),
        Subject::Heat(place)
        | Subject::Looks(place)
        | Subject::Part(place)
        | Subject::Fuse(place)
        | Subject::MemorySocket(place)
        | Subject::Capacitor(place)
        | Subject::Capacitance(place)
        | Subject::Across(place)
        | Subject::Drop(place)
        | Subject::SeriesResistance(place) => position(&place.name),
        Subject::Along(legs) => legs.iter().all(|p| board::line(model, p).is_some()),
        Subject::MemoryCell { address, .. } => model.memory.as_ref().is_none_or(|raw| {
            let banks = memory::layout::banks(raw);
            banks.iter().any(|b| b.contains(*address))
        }),
        Subject::MemoryBit(n) => check(format!("memory.bit.{n}")),
        Subject::Voice(n) => check(format!("voice.{n}")),
        Subject::Clock(n) => numbered("clock.", n),
        Subject::Interrupt(n) => numbered("interrupt.", n),
        Subject::Paddles(n) => numbered("paddles.", n),
        Subject::Timer(Some(n), letter) => {
            let letters = letter.map_or(vec!['a', 'b'], |l| vec![l.to_ascii_lowercase()]);
            letters.iter().any(|l| check(format!("timer.{n}.{l}")))
        }
        Subject::Key(name) => board::key(model, name).is_some(),
        _ => true,
    };
    let of = |s: &Statement| match s {
        Statement::Finding(f) => there(&f.subject) && question(model, f).is_none(),
        Statement::HandsOn(h) => h.places.iter().all(|p| position(&p.name)),
        Statement::Fitted { place, .. } => position(&place.name),
        Statement::Empty(places) => places.iter().all(|p| position(&p.name)),
        _ => true,
    };
    statements.iter().all(of)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shipped::Library;

    fn asks(subject: Subject, state: State) -> bool {
        let model = Library::default()
            .board("dunlin-64")
            .expect("a shipped board");
        let finding = Finding {
            subject,
            state,
            loops: None,
            warmth: None,
        };
        question(&model, &finding).is_some()
    }

    #[test]
    fn lost_points_are_questioned_and_faults_are_not() {
        let rail = || Subject::Rail("+5V".into());
        assert!(asks(rail(), State::Volts(49.8)) && asks(rail(), State::Volts(498.0)));
        assert!(asks(rail(), State::Volts(-4.98)));
        assert!(!asks(rail(), State::Volts(9.4)) && !asks(rail(), State::Volts(0.0)));
        assert!(asks(
            Subject::Clock(Some(1)),
            State::Rate {
                shown: 1000.0,
                real: 12.0
            }
        ));
        assert!(!asks(
            Subject::Clock(Some(1)),
            State::Rate {
                shown: 60.0,
                real: 50.0
            }
        ));
    }
}
