//! Words typed without the space between them: `bit3`, `17more`, `row3dead`, `bit6stuckhi`, `basicrom`.

use super::concept::{Concept, Concepts};
use super::vocab::Vocabulary;

/// Things and states: only these are found inside a longer word.
#[rustfmt::skip]
const PARTS: Concepts = Concepts::of(&[
    Concept::Memory, Concept::Bit, Concept::Rom, Concept::RomOs, Concept::RomLanguage, Concept::RomCharacter, Concept::Keyboard,
    Concept::Row, Concept::Column, Concept::Port, Concept::Timer, Concept::Clock, Concept::Voice, Concept::Sound, Concept::Picture,
    Concept::Fuse, Concept::Pin, Concept::Socket, Concept::Key, Concept::SerialPort, Concept::UserPort, Concept::CassettePort,
    Concept::Good, Concept::Bad, Concept::Low, Concept::High, Concept::Dead, Concept::Missing, Concept::Stuck, Concept::Stopped,
    Concept::Hot, Concept::Black,
]);

/// Longer words are none of a bench.
const LONGEST: usize = 24;

/// Shorter pieces are chance, these apart.
const SHORT: [&str; 3] = ["hi", "lo", "ok"];

/// Where a word falls apart, as byte positions in order; empty when it does not.
pub fn seams(word: &str, words: &Vocabulary) -> Vec<usize> {
    // `4BED` and `BAD3` may be hex.
    if word.len() > LONGEST || !word.is_ascii() || word.bytes().all(|b| b.is_ascii_hexdigit()) {
        return Vec::new();
    }
    if words.knows(&word.to_ascii_lowercase()) {
        return Vec::new();
    }
    if let Some(at) = seam(word, words) {
        return vec![at];
    }
    several(&word.to_ascii_lowercase(), words).unwrap_or_default()
}

/// A word and a number, either first; `timer1a` has a letter behind.
fn seam(word: &str, words: &Vocabulary) -> Option<usize> {
    let letters = |s: &str| s.len() >= 3 && s.bytes().all(|b| b.is_ascii_alphabetic());
    let known = |s: &str| {
        let s = s.to_ascii_lowercase();
        words.knows(&s) && !words.is(&s, Concept::PartLetters)
    };
    let digit = |c: char| c.is_ascii_digit();
    if word.starts_with(digit) {
        let at = word.find(|c| !digit(c))?;
        return (letters(&word[at..]) && known(&word[at..])).then_some(at);
    }
    let at = word.find(digit)?;
    let tail = word[at..].trim_start_matches(digit);
    let tail_fits = tail.is_empty() || matches!(tail, "a" | "b" | "A" | "B");
    (tail_fits && letters(&word[..at]) && known(&word[..at])).then_some(at)
}

/// Runs of letters and digits in turn, the first of letters, every run of letters one thing or state, or two.
fn several(word: &str, words: &Vocabulary) -> Option<Vec<usize>> {
    let bytes = word.as_bytes();
    let mut bounds: Vec<usize> = (1..bytes.len())
        .filter(|i| bytes[*i].is_ascii_digit() != bytes[i - 1].is_ascii_digit())
        .collect();
    bounds.push(bytes.len());
    if !word.bytes().all(|b| b.is_ascii_alphanumeric())
        || bounds.len() > 4
        || bytes[0].is_ascii_digit()
    {
        return None;
    }
    let (mut all, mut start) = (Vec::new(), 0);
    for end in bounds {
        let run = &word[start..end];
        if start > 0 {
            all.push(start);
        }
        if !run.starts_with(|c: char| c.is_ascii_digit()) && !is_part(run, words) {
            all.push(start + in_two(run, words)?);
        } else if start == 0 && run.len() < 3 {
            return None;
        }
        start = end;
    }
    Some(all)
}

fn is_part(word: &str, words: &Vocabulary) -> bool {
    (word.len() >= 3 || SHORT.contains(&word)) && words.concepts_of(word).meets(&PARTS)
}

/// The one place where a word falls into two parts.
fn in_two(word: &str, words: &Vocabulary) -> Option<usize> {
    let mut fits = (2..word.len().saturating_sub(1))
        .filter(|at| is_part(&word[..*at], words) && is_part(&word[*at..], words));
    let only = fits.next()?;
    fits.next().is_none().then_some(only)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cut(word: &str) -> Vec<&str> {
        let mut bounds = seams(word, Vocabulary::english());
        bounds.push(word.len());
        let mut start = 0;
        bounds
            .into_iter()
            .map(|end| &word[std::mem::replace(&mut start, end)..end])
            .collect()
    }

    #[test]
    fn words_fall_apart_where_both_sides_mean_something() {
        for (word, parts) in [
            ("bit3", vec!["bit", "3"]),
            ("17more", vec!["17", "more"]),
            ("timer1a", vec!["timer", "1a"]),
            ("row3dead", vec!["row", "3", "dead"]),
            ("bit6stuckhi", vec!["bit", "6", "stuck", "hi"]),
            ("basicrom", vec!["basic", "rom"]),
            ("membits", vec!["mem", "bits"]),
        ] {
            assert_eq!(cut(word), parts, "{word}");
        }
    }

    #[test]
    fn other_words_stay_whole() {
        for word in [
            "U17", "R5", "LED1", "5v", "4BED", "bad3", "deadline", "blackout", "together",
            "redone", "74ls257", "userport", "keyboard", "PHI2", "1bad", "reset_n", "x3",
        ] {
            assert_eq!(cut(word), [word]);
        }
    }
}
