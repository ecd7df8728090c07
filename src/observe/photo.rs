//! How easily a result off a photograph is another one: its misreading probability enters the likelihood.
//!
//! Every character of a value may be one that it is taken for ([`alike::others`]). Where the line would then say something else,
//! the result may be false (or a fault missed) with that probability.

use std::cell::RefCell;
use std::collections::HashMap;

use super::Trust;
use crate::sheet::photo::{alike, well_read};
use crate::sheet::{
    Bench, Finding, RunSheet, State, Statement, Subject, parse_at, print_statement,
};

/// P(one character that is easily taken for another was), where one recognition alone was read: `tests/photo.rs` counts
/// between 1 and 3 in a hundred at its middle strength.
const MISREAD: f64 = 0.02;
/// The same where at least two recognitions agreed on a photograph that can be read well ([`agreed`]): at its mild and middle
/// strength `tests/photo.rs` counts none wrong among 3,999 such characters (seeds 20 and 7), so about half a one in so many.
const MISREAD_AGREED: f64 = 0.0001;
/// The same where two agreed and nothing could be read of what a third has: none wrong among 271 such characters there.
const MISREAD_MOST: f64 = 0.002;
/// Whether several recognitions of a photograph agree well enough that what they agree on is hardly ever misread.
pub fn agreed(sheet: &RunSheet) -> bool {
    let differ = sheet.lines.iter().filter(|l| !l.alternatives.is_empty());
    sheet.agreed && well_read(differ.count(), sheet.lines.len())
}

/// Results remembered, so that a sheet that is ranked again and again is looked at once.
const MOST_REMEMBERED: usize = 4_000;

thread_local! {
    static SEEN: RefCell<HashMap<(String, Read), f64>> = RefCell::new(HashMap::new());
}

/// How a value was read off a photograph.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Read {
    /// By one recognition, or by several that differ much.
    Alone,
    /// By most of several, with alternatives.
    Most,
    /// By several that agree.
    Agreed,
}

/// P(this result is a misreading of another).
pub fn misread(finding: &Finding, read: Read) -> f64 {
    let printed = print_statement(&Statement::Finding(finding.clone()));
    let key = (printed, read);
    if let Some(known) = SEEN.with_borrow(|seen| seen.get(&key).copied()) {
        return known;
    }
    let found = worked_out(finding, &key.0, read);
    SEEN.with_borrow_mut(|seen| {
        if seen.len() < MOST_REMEMBERED {
            seen.insert(key, found);
        }
    });
    found
}

fn worked_out(finding: &Finding, printed: &str, read: Read) -> f64 {
    let each = match read {
        Read::Alone => MISREAD,
        Read::Most => MISREAD_MOST,
        Read::Agreed => MISREAD_AGREED,
    };
    let mut right = 1.0;
    for (at, c) in printed
        .char_indices()
        .filter(|(_, c)| c.is_ascii_digit() || c.is_ascii_uppercase())
    {
        let another = alike::others(c).into_iter().any(|other| {
            let mut text = printed.to_string();
            text.replace_range(at..at + c.len_utf8(), &other.to_string());
            let read = parse_at("misread", text.as_bytes(), &Bench::default());
            read.is_ok_and(|s| {
                s.lines.iter().all(|l| l.not_understood.is_none()) && !same(&s, finding)
            })
        });
        if another {
            right *= 1.0 - each;
        }
    }
    1.0 - right
}

fn same(sheet: &crate::sheet::RunSheet, finding: &Finding) -> bool {
    sheet
        .statements()
        .all(|s| matches!(&s.value, Statement::Finding(f) if f == finding))
}

/// The trust in a finding that is misread with this probability. A failure whose place was misread is the failure of another
/// place, which needs a fault of its own: it is not false more often than one that was read right. A value may be misread into
/// one that is as it should be.
pub fn trust(trust: Trust, finding: &Finding, misread: f64) -> Trust {
    let lowered = lowered(trust, misread);
    match says_failure(finding) {
        true => Trust {
            false_fail: trust.false_fail,
            ..lowered
        },
        false => lowered,
    }
}

/// Whether a finding says by a word that something failed: words are not misread for each other. Never a level, which may be as
/// it should be.
pub fn says_failure(finding: &Finding) -> bool {
    let level = matches!(finding.subject, Subject::Level(_));
    !level
        && matches!(
            finding.state,
            State::Bad
                | State::Dead
                | State::Stopped
                | State::Stuck
                | State::Upsets(_)
                | State::Slow
                | State::Fast
                | State::Jumps
                | State::Drifts
                | State::Wrong
                | State::Noisy
        )
}

/// The trust in a result that is misread with this probability, whatever it is.
pub fn lowered(trust: Trust, misread: f64) -> Trust {
    Trust {
        false_fail: 1.0 - (1.0 - trust.false_fail) * (1.0 - misread),
        missed: 1.0 - (1.0 - trust.missed) * (1.0 - misread),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::observe::TYPED;
    use crate::sheet::Place;

    fn of(subject: Subject, state: State) -> f64 {
        misread(
            &Finding {
                subject,
                state,
                loops: None,
                warmth: None,
            },
            Read::Alone,
        )
    }

    #[test]
    fn values_are_misread_and_words_are_not() {
        assert_eq!(of(Subject::Memory, State::Bad), 0.0);
        let bit = of(Subject::MemoryBit(3), State::Bad);
        let place = of(
            Subject::MemorySocket(Place {
                name: "U12".into(),
                pin: None,
            }),
            State::Bad,
        );
        let cell = of(
            Subject::MemoryCell {
                address: 0x4000,
                wrote: 0x55,
                read: 0x5D,
            },
            State::Bad,
        );
        // No bit 8: a 3 is no misread 8 there. Two characters of U12 have a double.
        assert!(bit < place && place < cell, "{bit} {place} {cell}");
        let trust = |state| {
            let subject = Subject::MemoryBit(3);
            let (loops, warmth) = (None, None);
            let finding = Finding {
                subject,
                state,
                loops,
                warmth,
            };
            trust(TYPED, &finding, place)
        };
        let (bad, value) = (trust(State::Bad), trust(State::OffBy(3.0)));
        assert_eq!(bad.false_fail, TYPED.false_fail);
        assert!(value.false_fail > TYPED.false_fail + 0.9 * place);
        assert!(bad.missed == value.missed && bad.missed > TYPED.missed);
    }
}
