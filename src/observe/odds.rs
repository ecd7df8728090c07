//! How probable it is that a part looks or feels so, when it is fine and when it is at fault. Each table goes over everything
//! that can be seen, and adds up to one. All figures are guesses (common practice, no source), except where a line says more.

use super::aspect::Aspect;
use crate::faultmap::raw::Warmth;
use crate::sheet::State;

/// What a finger says, coldest first.
pub const FELT: [&str; 4] = ["cold", "warm", "hot", "too hot to touch"];

/// P(felt | fine), P(felt | at fault), in the order of [`FELT`], by the warmth that is normal for the part. Some chips always
/// run hot; a dead one is often cold, a shorted one too hot.
pub fn felt(normal: Warmth) -> [(f64, f64); 4] {
    match normal {
        Warmth::Hot => [(0.10, 0.25), (0.20, 0.05), (0.60, 0.40), (0.10, 0.30)],
        Warmth::Warm => [(0.10, 0.25), (0.79, 0.15), (0.10, 0.30), (0.01, 0.30)],
        Warmth::Cold => [(0.80, 0.30), (0.16, 0.10), (0.03, 0.30), (0.01, 0.30)],
    }
}

/// The first of [`FELT`] that is hotter than a sound part is on a rail that reads low.
pub const HOTTER: usize = 2;

/// P(felt | it does not short its rail), P(felt | it does) of a part on a rail that reads low: not hotter than usual, then hotter.
/// Without its supply a part stays cold, unless it is the one that takes the current; a rail that is only low leaves what
/// always runs hot warm enough to be taken for it. Small capacitors take a current without getting hot all over.
pub fn felt_on_a_low_rail(normal: Option<Warmth>) -> [(f64, f64); 2] {
    match normal.unwrap_or(Warmth::Warm) {
        Warmth::Hot => [(0.85, 0.15), (0.15, 0.85)],
        Warmth::Warm => [(0.95, 0.2), (0.05, 0.8)],
        Warmth::Cold => [(0.97, 0.3), (0.03, 0.7)],
    }
}

/// Which of [`FELT`] a state is. A finger finds 60 degrees too hot to hold and 45 hot (common practice, no source).
pub fn feels(state: &State) -> Option<usize> {
    Some(match state {
        State::Cold => 0,
        State::Warm => 1,
        State::Hot => 2,
        State::TooHot => 3,
        State::Celsius(t) => [30.0, 45.0, 60.0]
            .iter()
            .filter(|&&limit| *t >= limit)
            .count(),
        _ => return None,
    })
}

/// What is seen at the pins and joints of a part, and P(seen | they make contact), P(seen | one of them does not). A bent pin that
/// was straightened mostly works again.
pub const AT_PINS: [(&str, f64, f64); 6] = [
    ("nothing wrong", 0.935, 0.28),
    ("bent pin", 0.015, 0.15),
    ("loose", 0.010, 0.12),
    ("dry joint", 0.015, 0.15),
    ("torn track", 0.005, 0.15),
    ("bad joint", 0.020, 0.15),
];

/// P(no board was added between a chip and its socket | they make contact), P(the same | one of them does not); then that one was.
/// Counted in the contacts of a plain socket, there are then six that may fail: those of the socket; the pins of the board in it, which
/// are thicker or thinner than the legs of a chip and spread its springs, for two; and the joints, tracks and switches of the board
/// itself, which taking it out mends as well, for three.
pub const ADDED_BOARD: [(f64, f64); 2] = [(0.98, 0.88), (0.02, 0.12)];

/// P(it looks loose | it makes no contact for that reason), of a part that is not soldered: a fuse in its holder.
pub const SEEN_LOOSE: f64 = 0.5;

/// What `looks` says about the pins of a part rather than the part in them.
pub fn at_pins(what: &str) -> Option<(f64, f64)> {
    let what = match what {
        "joint ok" => "nothing wrong",
        _ if what.starts_with("joint ") => "bad joint",
        other => other,
    };
    let found = AT_PINS.iter().find(|(word, ..)| *word == what);
    found.map(|&(_, fine, faulty)| (fine, faulty))
}

/// What is seen at a part itself, and P(seen | fine), P(seen | at fault): damage is rare on a good one.
pub const AT_PART: [(&str, f64, f64); 4] = [
    ("nothing wrong", 0.925, 0.55),
    ("worked at, dirty", 0.05, 0.13),
    ("corroded", 0.02, 0.14),
    ("damaged", 0.005, 0.18),
];

/// Which line of [`AT_PART`] a word of the sheet is. `missing` is none of them: that is a fact, no look.
pub fn at_part(what: &str) -> (f64, f64) {
    let line = match what {
        "fine" => 0,
        "reworked" | "modified" | "dirty" | "dusty" => 1,
        "corroded" => 2,
        _ => 3,
    };
    (AT_PART[line].1, AT_PART[line].2)
}

/// How surely a leg that touches nothing shows as this, at a probe: as floating, or as a level that never moves (guess: an open LS
/// input floats to about 1.4 V, which probes show as either; MOS inputs keep what the probe gave them). Not as a signal.
pub fn of_an_open_leg(aspect: Aspect) -> f64 {
    use Aspect::{Dead, Floating, High, Low, NotHigh, NotLow, NotMoving, Trouble, TroubleOrSpeed};
    match aspect {
        Floating | Dead | NotMoving | Trouble | TroubleOrSpeed => 0.9,
        High | Low | NotHigh | NotLow => 0.4,
        _ => 0.0,
    }
}

/// P(found | fine), P(found | at fault) of a fuse that is good, then of one that is blown: that is seen or measured, and a good one
/// hardly ever reads open.
pub const FUSE: [(f64, f64); 2] = [(0.995, 0.02), (0.005, 0.98)];

/// P(no change | it is not open), P(no change | it is) of a good part of two legs held across a suspect; then that something changed.
pub const BRIDGED: [(f64, f64); 2] = [(0.98, 0.15), (0.02, 0.85)];

/// P(no change | it does not hold its line), P(no change | it does) of a part one leg of which was lifted; then that something
/// changed.
pub const LIFTED: [(f64, f64); 2] = [(0.97, 0.1), (0.03, 0.9)];

/// P(another part has fewer millivolts | it does not short the rail), P(the same | it does) at the supply pin of a part on a rail
/// that is pulled down; then that it has the fewest of all. The current of the short flows to it, so nowhere is the rail lower; a
/// neighbour may read the same.
pub const DROP: [(f64, f64); 2] = [(0.92, 0.15), (0.08, 0.85)];

/// P(said | fine), P(said | at fault) of a part called good, then of one called bad, without saying how that is known.
pub const SAID: [(f64, f64); 2] = [(0.95, 0.12), (0.05, 0.88)];

/// P(found | fine), P(found | at fault) of a supply measured off the board: within its limits, then not.
pub const SUPPLY_ALONE: [(f64, f64); 2] = [(0.98, 0.3), (0.02, 0.7)];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tables_add_up_to_one() {
        let mut tables: Vec<Vec<(f64, f64)>> = [Warmth::Hot, Warmth::Warm, Warmth::Cold]
            .map(|w| felt(w).to_vec())
            .into();
        tables.push(AT_PINS.iter().map(|t| (t.1, t.2)).collect());
        tables.push(AT_PART.iter().map(|t| (t.1, t.2)).collect());
        tables.extend(
            [Warmth::Hot, Warmth::Warm, Warmth::Cold].map(|w| felt_on_a_low_rail(Some(w)).to_vec()),
        );
        tables.extend(
            [FUSE, SAID, SUPPLY_ALONE, BRIDGED, LIFTED, DROP, ADDED_BOARD].map(|t| t.to_vec()),
        );
        for table in tables {
            let fine: f64 = table.iter().map(|t| t.0).sum();
            let faulty: f64 = table.iter().map(|t| t.1).sum();
            assert!((fine - 1.0).abs() < 1e-12, "fine: {table:?}");
            assert!((faulty - 1.0).abs() < 1e-12, "at fault: {table:?}");
        }
    }

    /// Every word that the grammar makes for pins and joints has its line.
    #[test]
    fn words_of_the_grammar_are_in_the_table() {
        for what in [
            "bent pin",
            "loose",
            "dry joint",
            "torn track",
            "joint cracked",
            "joint bad",
        ] {
            let (fine, faulty) = at_pins(what).expect(what);
            assert!(faulty > fine, "{what}");
        }
        let (fine, faulty) = at_pins("joint ok").expect("a good joint");
        assert!(fine > faulty);
        assert_eq!(at_pins("bulged"), None);
    }

    #[test]
    fn degrees_are_felt() {
        let of = |t| feels(&State::Celsius(t));
        assert_eq!(
            [20.0, 35.0, 50.0, 70.0].map(of),
            [Some(0), Some(1), Some(2), Some(3)]
        );
    }
}
