//! Recognitions of a photograph: nothing panics, and nothing is taken that they do not agree on.
#![no_main]

mod bounded;

use libfuzzer_sys::fuzz_target;
use whichsocket::sheet::{Bench, parse_photo};

fuzz_target!(|bytes: &[u8]| bounded::bounded(|| one(bytes)));

fn one(bytes: &[u8]) {
    let Ok(sheet) = parse_photo("fuzz", bytes, &Bench::default()) else {
        return;
    };
    for line in sheet.lines.iter().filter(|l| l.not_understood.is_some()) {
        assert!(line.span.end <= sheet.text.len());
    }
}
