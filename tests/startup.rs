//! The start-up text: wrong characters as bit patterns of memory, bytes free, loops typed in any order.
//!
//! Sources: ASCII codes (ISO/IEC 646, from memory) and the places of the data bits (pin tables of the maps, `tests/wiring.rs`).

#[path = "common/ranked.rs"]
mod ranked;

use ranked::{leader, p};
use whichsocket::infer::network::Outcome;
use whichsocket::observe::{Evidence, observe};
use whichsocket::rank::Ranking;
use whichsocket::sheet::parse;
use whichsocket::shipped::Library;

const WIDE: &str = "64k-6510-wide";
/// Data bit → socket on the wide board (pin tables of two independent drawings).
const BITS: [&str; 8] = ["U21", "U9", "U22", "U10", "U23", "U11", "U24", "U12"];

fn ranked(text: &str) -> Ranking {
    ranked::ranked(WIDE, text)
}

/// Two characters that differ in one bit accuse the chip of that bit: `A` is 41, `C` 43, `E` 45, `I` 49, `Q` 51 (hex).
#[test]
fn the_difference_of_two_characters_is_the_data_bit() {
    for (bit, seen) in [(1, 'C'), (2, 'E'), (3, 'I'), (4, 'Q')] {
        let r = ranked(&format!("came in faulty\nshows {seen} for A\n"));
        assert_eq!(leader(&r), BITS[bit], "bit {bit}");
    }
}

/// More characters with the same difference are one piece of evidence about one chip; one with another
/// difference brings the second chip in.
#[test]
fn several_characters_are_weighed_together() {
    let one = ranked("came in faulty\nshows I for A\n");
    let three = ranked("came in faulty\nshows I for A\nshows K for C\nshows M for E\n");
    assert_eq!(leader(&three), "U10");
    assert!(
        p(&three, "U10") > 0.5,
        "{} {}",
        p(&one, "U10"),
        p(&three, "U10")
    );
    let failed = |r: &Ranking| {
        r.observed.readings.iter().filter(|x| matches!(&x.evidence, Evidence::Check(c) if c.check == "memory.bit.3" && c.outcome == Outcome::Fail)).count()
    };
    assert_eq!((failed(&one), failed(&three)), (1, 1));
    let two = ranked("came in faulty\nshows I for A\nshows C for A\n");
    assert!(
        p(&two, "U10") > 0.3 && p(&two, "U9") > 0.3,
        "{} {}",
        p(&two, "U10"),
        p(&two, "U9")
    );
}

/// 38911 bytes are free on this board (its map); fewer mean memory, more cannot be.
#[test]
fn bytes_free_speak_of_memory() {
    let model = Library::default().board(WIDE).unwrap();
    let expected: u32 = model.words["bytes free"].parse().unwrap();
    let fine = ranked(&format!("works, please check\n{expected} bytes free\n"));
    assert!(fine.observed.hints.is_empty());
    let short = ranked(&format!("came in faulty\n{} bytes free\n", expected - 8192));
    let memory: f64 = BITS.iter().map(|b| p(&short, b)).sum();
    assert!(memory > BITS.iter().map(|b| p(&fine, b)).sum::<f64>());
    assert!(
        short
            .observed
            .hints
            .iter()
            .any(|h| h.text.contains("8192 short"))
    );
    let more = parse("test", format!("{} bytes free\n", expected + 1).as_bytes()).unwrap();
    let o = observe(&model, &[more]);
    assert!(o.diags.iter().any(|(_, d)| d.message.contains("more than")));
    assert!(o.readings.is_empty());
}

/// `memory 3 of 20 loops bad` says the same in any order, and is a fault that comes and goes.
#[test]
fn loops_may_stand_anywhere() {
    let model = Library::default().board(WIDE).unwrap();
    let outcome = |line: &str| {
        let s = parse("test", line.as_bytes()).unwrap();
        assert!(s.lines[0].not_understood.is_none(), "{line}");
        let o = observe(&model, &[s]);
        let checks = o.readings.iter().filter_map(|r| match &r.evidence {
            Evidence::Check(c) if c.check.starts_with("memory") => {
                Some((c.check.clone(), c.outcome, c.looped))
            }
            _ => None,
        });
        checks.collect::<Vec<_>>()
    };
    let first = outcome("memory bit 3 bad in 3 of 20 loops");
    assert_eq!(
        first,
        [("memory.bit.3".to_string(), Outcome::Intermittent, true)]
    );
    for line in [
        "memory 3 of 20 loops bad",
        "memory bad 3 of 20 loops",
        "memory 3/20 loops bad",
    ] {
        assert_eq!(
            outcome(line),
            [("memory".to_string(), Outcome::Intermittent, true)],
            "{line}"
        );
    }
}
