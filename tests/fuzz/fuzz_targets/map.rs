//! Maps, parts, profiles and words: every text is read or refused.
#![no_main]

mod bounded;

use libfuzzer_sys::fuzz_target;
use std::collections::BTreeMap;
use whichsocket::faultmap::compile::compile;
use whichsocket::faultmap::load::parse;
use whichsocket::faultmap::raw::{BoardRaw, CartridgeRaw, FamilyRaw};
use whichsocket::prior::rates::Handbook;
use whichsocket::sheet::{Profile, Vocabulary};

fuzz_target!(|bytes: &[u8]| bounded::bounded(|| one(bytes)));

fn one(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    let family = parse::<FamilyRaw>("fuzz", text);
    if let Ok(raw) = parse::<CartridgeRaw>("fuzz", text) {
        if let Ok(profile) = Profile::new(raw) {
            let _ = profile.translate(text);
        }
    }
    if let Ok(board) = parse::<BoardRaw>("fuzz", text) {
        let families: BTreeMap<String, FamilyRaw> =
            family.into_iter().map(|f| (f.family.clone(), f)).collect();
        let _ = compile("fuzz", &board, &families, &Handbook);
    }
    let _ = Vocabulary::with(text);
}
