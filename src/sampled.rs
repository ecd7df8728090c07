//! What unit tests of readings and steps start from: a ranking of a typed sheet, and what is offered next.

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

/// The ranking of a sheet of a shipped board that is read whole.
pub(crate) fn ranked(text: &str) -> Ranking {
    let named = text.lines().find_map(|l| l.strip_prefix("board "));
    let model = Library::default()
        .board(named.unwrap_or("64k-6510-wide"))
        .expect("a shipped board");
    let sheet = parse("t", text.as_bytes()).expect("a text");
    assert!(sheet.diags.is_empty(), "{text}{:?}", sheet.diags);
    rank(&model, &[sheet]).expect("possible")
}

/// How probably a unit is at fault; 0 when it is not listed.
pub(crate) fn probability(ranking: &Ranking, unit: &str) -> f64 {
    let found = ranking.suspects.iter().find(|s| s.name == unit);
    found.map_or(0.0, |s| s.probability)
}

/// What can be done next by a sheet of the wide board.
pub(crate) fn offered(text: &str, bench: &Bench) -> Vec<Candidate> {
    let model = Library::default()
        .board("64k-6510-wide")
        .expect("a shipped board");
    offered_of(&model, &ranked(text), bench)
}
