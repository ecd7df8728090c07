//! Run sheets: nothing panics, every line is kept or told, and what is printed reads the same.
#![no_main]

mod bounded;

use libfuzzer_sys::fuzz_target;
use whichsocket::diag::render;
use whichsocket::sheet::{Statement, parse, print};

fuzz_target!(|bytes: &[u8]| bounded::bounded(|| one(bytes)));

fn one(bytes: &[u8]) {
    let Ok(sheet) = parse("fuzz", bytes) else {
        return;
    };
    let said: Vec<&Statement> = sheet.statements().map(|s| &s.value).collect();
    for line in &sheet.lines {
        assert!(line.span.end <= sheet.text.len());
    }
    let _ = render(&sheet.diags, "fuzz", &sheet.text, false);
    // A photograph is held against itself when it is read; the text that it was is not kept.
    if sheet.photo {
        return;
    }
    let printed = print(&sheet);
    let again = parse("fuzz", printed.as_bytes()).expect("what was printed is a text");
    let back: Vec<&Statement> = again.statements().map(|s| &s.value).collect();
    assert_eq!(back, said, "{printed}");
}
