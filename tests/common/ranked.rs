//! Typed lines ranked, for tests that ask who is suspected.

#![allow(dead_code)]

use whichsocket::rank::{Ranking, rank};
use whichsocket::sheet::parse;
use whichsocket::shipped::Library;

/// The ranking of a sheet of which every line must be understood.
pub fn ranked(board: &str, text: &str) -> Ranking {
    let sheet = parse("test", text.as_bytes()).unwrap();
    let lost: Vec<_> = sheet
        .lines
        .iter()
        .filter(|l| l.not_understood.is_some())
        .collect();
    assert!(lost.is_empty(), "{lost:?} of:\n{text}");
    rank(&Library::default().board(board).unwrap(), &[sheet]).unwrap()
}

/// P(at fault) of a suspect by name; 0 for one that is not listed.
pub fn p(r: &Ranking, name: &str) -> f64 {
    r.suspects
        .iter()
        .filter(|s| s.name == name)
        .map(|s| s.probability)
        .fold(0.0, f64::max)
}

/// The first suspect.
pub fn leader(r: &Ranking) -> &str {
    r.suspects.first().map_or("", |s| &s.name)
}
