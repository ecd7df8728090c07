//! What unit tests of readings and steps start from: a ranking of a typed sheet, and what is offered next.

use crate::faultmap::model::BoardModel;
use crate::next::{Bench, Candidate, offered_of};
use crate::rank::{Ranking, rank};
use crate::sheet::parse;
use crate::shipped::Library;

/// A wide board whose rails are good, with nothing on the screen.
pub(crate) const BLACK: &str = "board 64k-6510-wide\ncame in faulty\nrail 5V 5.0 V\nrail 9VAC 9.2 V\nrail 9V_UNREG 10.5 V\n\
                                rail 12V 12.0 V\nrail 5V_VIDEO 5.0 V\nrail 5V_CLK 5.0 V\nblack screen\n";

/// The same board, of which the cartridge port fails its test alone.
pub(crate) const PORT: &str =
    "board 64k-6510-wide\ncame in faulty\ncartridge port bad\nrest fine\n";

/// A small Z80 board that its test says has no good lower memory, -5 V measured and gone, the supply by itself in order, and no short
/// on the rail.
pub(crate) const NO_MINUS_FIVE: &str = "board 48k-z80-ula\ncame in faulty\nmemory bits 0 1 2 3 4 5 6 7 bad\nrail 9V 9.8 V\n\
                                        rail 5V 5.0 V\nrail -5V 0.03 V\npsu rail 9V 13.9 V off the board\nresistance -5V 600 ohm\n";

/// The shipped board that a sheet names.
pub(crate) fn board(text: &str) -> BoardModel {
    let named = text.lines().find_map(|l| l.strip_prefix("board "));
    Library::default()
        .board(named.unwrap_or("64k-6510-wide"))
        .expect("a shipped board")
}

/// The ranking of a sheet of a shipped board that is read whole.
pub(crate) fn ranked(text: &str) -> Ranking {
    let model = board(text);
    let sheet = parse("t", text.as_bytes()).expect("a text");
    assert!(sheet.diags.is_empty(), "{text}{:?}", sheet.diags);
    rank(&model, &[sheet]).expect("possible")
}

/// How probably a unit is at fault; 0 when it is not listed.
pub(crate) fn probability(ranking: &Ranking, unit: &str) -> f64 {
    let found = ranking.suspects.iter().find(|s| s.name == unit);
    found.map_or(0.0, |s| s.probability)
}

/// What can be done next by a sheet.
pub(crate) fn offered(text: &str, bench: &Bench) -> Vec<Candidate> {
    offered_of(&board(text), &ranked(text), bench)
}

/// The steps that are proposed by a sheet, the first first.
pub(crate) fn proposed(text: &str) -> Vec<String> {
    let steps = crate::next::steps(&board(text), &ranked(text));
    steps.into_iter().map(|v| v.step).collect()
}

/// How properties are tested: what was found to break one stands beside the source, as of the tests in `tests/`, not in a folder of its own.
pub(crate) fn properties() -> proptest::test_runner::Config {
    use proptest::test_runner::FileFailurePersistence::WithSource;
    proptest::test_runner::Config {
        failure_persistence: Some(Box::new(WithSource("proptest-regressions"))),
        ..Default::default()
    }
}
