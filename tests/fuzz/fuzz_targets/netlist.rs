//! Drawings of boards: every text is read or refused, and what is made of it is a map that is read again.
#![no_main]

mod bounded;

use libfuzzer_sys::fuzz_target;
use std::collections::BTreeMap;
use std::sync::LazyLock;
use whichsocket::faultmap::compile::compile;
use whichsocket::faultmap::load::parse;
use whichsocket::faultmap::raw::{BoardRaw, FamilyRaw};
use whichsocket::import::{kicad, skeleton::skeleton};
use whichsocket::prior::rates::Handbook;
use whichsocket::shipped;

static FAMILIES: LazyLock<BTreeMap<String, FamilyRaw>> =
    LazyLock::new(|| shipped::maps().expect("the shipped maps").families);

fuzz_target!(|bytes: &[u8]| bounded::bounded(|| one(bytes)));

fn one(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    let Ok(drawing) = kicad::read(text) else {
        return;
    };
    let made = skeleton(&drawing, &FAMILIES, "fuzz", "fuzz.net");
    if made.guessed > 0 {
        let board = parse::<BoardRaw>("fuzz", &made.text);
        let board = board.unwrap_or_else(|e| panic!("{e:?}\n{}", made.text));
        let _ = compile("fuzz", &board, &FAMILIES, &Handbook);
    }
}
