//! The likelihoods of lists of failing cells sum to one: every list of a 16-cell memory is enumerated.

use proptest::prelude::*;
use whichsocket::faultmap::model::Kind;
use whichsocket::faultmap::raw::MemoryRaw;
use whichsocket::observe::memory::effect::{Effect, How, Reads, predict};
use whichsocket::observe::memory::layout::{Bank, banks};
use whichsocket::observe::memory::pattern::Pattern;
use whichsocket::observe::memory::signature::{Line, List, Theory, ln_likelihood};
use whichsocket::observe::memory::theory::{Cause, Where, theories};

/// 16 cells of two bits: two address lines, rows A0 and A1, columns A2 and A3.
fn bank() -> Bank {
    let raw = MemoryRaw {
        bits: "M0..1".into(),
        width: 1,
        from: 0,
        to: 15,
        column: None,
        lines: String::new(),
        others: Default::default(),
    };
    banks(&raw).remove(0)
}

/// The sum over all lists that a person who types `most` lines could hand in: so many lines in any order, or fewer, and then all.
fn sum(theory: Theory, pattern: Pattern, most: usize) -> f64 {
    let bank = bank();
    let mut total = 0.0;
    let mut lists: Vec<Vec<Line>> = vec![Vec::new()];
    for length in 0..=most {
        for lines in &lists {
            let list = List {
                lines: lines.clone(),
                more: None,
                complete: length < most,
            };
            total += ln_likelihood(theory, pattern, &bank, &list).exp();
        }
        if length < most {
            lists = lists
                .iter()
                .flat_map(|l| longer(l, theory, pattern))
                .collect();
        }
    }
    total
}

fn longer(lines: &[Line], theory: Theory, pattern: Pattern) -> Vec<Vec<Line>> {
    let mut out = Vec::new();
    for address in 0..16 {
        let wrote = pattern.at(address).unwrap() & 3;
        for read in (0..4).filter(|r| (r ^ wrote) & theory.lanes != 0) {
            // Bits that the theory does not reach are as written.
            if (read ^ wrote) & !theory.lanes & 3 == 0 {
                let mut more = lines.to_vec();
                more.push(Line {
                    address,
                    wrote,
                    read,
                });
                out.push(more);
            }
        }
    }
    out
}

fn any_effect() -> impl Strategy<Value = (u8, Effect)> {
    let reads = || prop_oneof![Just(Reads::Low), Just(Reads::High), Just(Reads::Any)];
    let how = prop_oneof![Just(How::Frozen), Just(How::Restless)];
    let lanes = prop_oneof![Just(1u8), Just(2), Just(3)];
    let effect = prop_oneof![
        (0u8..4).prop_map(Effect::Same),
        Just(Effect::Float),
        Just(Effect::Echo),
        (1u32..16, how).prop_map(|(bits, how)| Effect::Alias(bits, how)),
        any::<bool>().prop_map(|high| Effect::Joined {
            pairs: [3, 12],
            high
        }),
        (1u32..16, 0u32..16, reads()).prop_map(|(mask, v, reads)| Effect::Block {
            mask,
            value: v & mask,
            reads
        }),
        (0.001..0.9).prop_map(Effect::Scattered),
        Just(Effect::Late),
        (prop_oneof![Just(0u32), Just(1), Just(2)], any::<bool>())
            .prop_map(|(mask, high)| Effect::Decay { mask, high }),
        Just(Effect::Unknown),
    ];
    (lanes, effect)
}

fn any_pattern() -> impl Strategy<Value = Pattern> {
    prop_oneof![
        any::<u8>().prop_map(Pattern::Constant),
        any::<u8>().prop_map(Pattern::MarchUp),
        any::<u8>().prop_map(Pattern::MarchDown),
        any::<u8>().prop_map(Pattern::Checker),
        any::<u8>().prop_map(Pattern::MarchChecker),
        Just(Pattern::Low),
        Just(Pattern::High),
        any::<u8>().prop_map(Pattern::Mixed),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// P(byte read | what is wrong) over all bytes.
    #[test]
    fn a_cell_reads_something((lanes, effect) in any_effect(), pattern in any_pattern(), address in 0u32..16, wrote: u8) {
        let p = predict(effect, lanes, pattern, &bank(), address, wrote);
        let total: f64 = (0..=255).map(|r| p.of(r, 0xFF)).sum();
        prop_assert!((total - 1.0).abs() < 1e-9, "{effect:?} {total}");
    }

    /// P(list | what is wrong) over all lists.
    #[test]
    fn lists_of_two_lines_sum_to_one((lanes, effect) in any_effect(), pattern in any_pattern()) {
        let total = sum(Theory { lanes, effect }, pattern, 2);
        prop_assert!((total - 1.0).abs() < 1e-9, "{effect:?} {pattern:?} {total}");
    }
}

#[test]
fn joined_data_bits_sum_to_one() {
    for high in [false, true] {
        let effect = Effect::Bridge { lanes: 3, high };
        for pattern in [Pattern::Low, Pattern::Constant(1), Pattern::Checker(2)] {
            let total = sum(Theory { lanes: 3, effect }, pattern, 2);
            assert!((total - 1.0).abs() < 1e-9, "{total}");
        }
    }
}

/// The shares of what a failure mode can look like: together they are the whole, in a memory small enough to spell out.
#[test]
fn shares_of_every_cause_sum_to_one() {
    let chip = |contacts, flaky| Where::Chip { contacts, flaky };
    let places = [
        chip(false, false),
        chip(true, false),
        chip(false, true),
        Where::Data,
        Where::Lines(1),
        Where::Lines(2),
        Where::Lines(3),
        Where::Strobe,
        Where::Write,
        Where::Refresh,
    ];
    for place in places {
        for kind in whichsocket::faultmap::model::KINDS {
            for lanes in [1, 3] {
                let cause = Cause {
                    lanes,
                    place: place.clone(),
                    kind,
                };
                let all = theories(&cause, &bank(), &List::default());
                let total: f64 = all.iter().map(|t| t.0).sum();
                assert!((total - 1.0).abs() < 1e-9, "{cause:?} {total}");
            }
        }
    }
    assert!(Kind::Lost < Kind::Noisy, "all kinds are in order");
}
