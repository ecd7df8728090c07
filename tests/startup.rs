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

/// More characters with the same difference are one piece of evidence about one chip; one with another difference brings the second
/// chip in.
#[test]
fn several_characters_are_weighed_together() {
    let one = ranked("came in faulty\nshows I for A\n");
    let three = ranked("came in faulty\nshows I for A\nshows K for C\nshows M for E\n");
    assert_eq!(leader(&three), "U10");
    // The chip with its joints, which show alike. Between the two, the chip loses a little: three characters clear the other seven
    // better, so a poor make of memory chips, which raises the rate of the chips only, is less probable.
    let place = |r: &Ranking| p(r, "U10") + p(r, "U10 joints");
    assert!(
        place(&three) >= place(&one),
        "{} {}",
        place(&one),
        place(&three)
    );
    assert!(p(&three, "U10") > 0.85, "{}", p(&three, "U10"));
    let poor_make = |r: &Ranking| {
        let others = BITS.iter().filter(|b| **b != "U10");
        others.map(|b| p(r, b)).sum::<f64>()
    };
    assert!(poor_make(&three) < poor_make(&one));
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
    // Whatever the number, the eight chips lead and share it; what takes all memory away would not have let it count so far.
    for missing in [1, 777, 4096, 8191, 8193, 20000] {
        let short = ranked(&format!(
            "came in faulty\n{} bytes free\n",
            expected - missing
        ));
        let leaders: Vec<&str> = short
            .suspects
            .iter()
            .take(8)
            .map(|s| s.name.as_str())
            .collect();
        assert!(
            leaders.iter().all(|l| BITS.contains(l)),
            "{missing} short: {leaders:?}"
        );
        let memory: f64 = BITS.iter().map(|b| p(&short, b)).sum();
        assert!(memory > 0.9, "{missing} short: {memory}");
        assert!(
            p(&short, "U17") < 0.06,
            "{missing} short: U17 {}",
            p(&short, "U17")
        );
        let told = format!("{missing} short");
        assert!(short.observed.hints.iter().any(|h| h.text.contains(&told)));
    }
    let more = parse("test", format!("{} bytes free\n", expected + 1).as_bytes()).unwrap();
    let o = observe(&model, &[more]);
    assert!(o.diags.iter().any(|(_, d)| d.message.contains("more than")));
    assert!(o.readings.is_empty());
}

/// A cartridge that holds EXROM_N low takes 8192 bytes (from memory): far more probable than a column of cells that begins just there.
#[test]
fn short_by_a_cartridge_asks_for_it() {
    for board in [WIDE, "64k-6510-narrow"] {
        let model = Library::default().board(board).unwrap();
        let chips = whichsocket::faultmap::expand::list(&model.memory.as_ref().unwrap().bits);
        let short = |missing: u32| {
            let r = ranked::ranked(
                board,
                &format!("came in faulty\n{} bytes free\n", 38911 - missing),
            );
            let asked = r.observed.hints.iter().any(|h| h.text.contains("EXROM_N"));
            (chips.iter().map(|c| p(&r, c)).sum::<f64>(), asked)
        };
        let (with, asked) = short(8192);
        assert!(asked && with < 0.3, "{board}: {with}");
        let (without, asked) = short(8448);
        assert!(!asked && without > 0.9, "{board}: {without}");
    }
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
    // The number of a bit and a count of loops behind it.
    for line in [
        "memory bit 3: 3 of 20 loops bad",
        "memory bit 3 3 of 20 loops bad",
        "memory bit 3, 3 of 20 loops bad",
        "memory bit 3: 3/20 loops bad",
        "bit 3: 3 of 20 loops bad",
    ] {
        assert_eq!(outcome(line), first, "{line}");
    }
    let two = outcome("memory bits 3 and 5: 3 of 20 loops bad");
    assert_eq!(two.len(), 2);
    assert!(two.iter().all(|c| c.1 == Outcome::Intermittent && c.2));
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

/// What the characters say of a bit is exactly one of four things, whatever was typed; a bit in which all agree is right.
#[test]
fn each_bit_says_one_thing() {
    use whichsocket::observe::startup::{BitSays, bits};
    for expected in 0u8..=255 {
        for seen in 0u8..=255 {
            let said = bits(&[(expected, seen), (!expected, !seen)]);
            for (bit, says) in said.iter().enumerate() {
                let differs = (expected ^ seen) >> bit & 1 == 1;
                let wanted = if differs {
                    BitSays::Both
                } else {
                    BitSays::Right
                };
                assert_eq!(*says, wanted, "{expected:02X} {seen:02X} bit {bit}");
            }
            let one = bits(&[(expected, seen)]);
            for (bit, says) in one.iter().enumerate() {
                let (e, s) = (expected >> bit & 1, seen >> bit & 1);
                let wanted = match (e, s) {
                    (0, 1) => BitSays::High,
                    (1, 0) => BitSays::Low,
                    _ => BitSays::Right,
                };
                assert_eq!(*says, wanted);
            }
        }
    }
}
