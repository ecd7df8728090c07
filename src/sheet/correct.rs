//! Misspelt words: read as the one word of the bench that they must be, or not at all.
//!
//! The distance is Damerau–Levenshtein in the restricted form (F. Damerau, "A technique for computer detection and
//! correction of spelling errors", Communications of the ACM 7(3), 1964, pages 171–176: one wrong, missing, extra letter or
//! two neighbours exchanged), in tenths: an edit costs 10, an exchange of characters that look alike in many
//! fonts ([`LOOK_ALIKE`]) costs 3.

use std::collections::HashMap;

use super::vocab::{Target, Vocabulary};

/// Cost of one edit, in tenths.
const EDIT: u32 = 10;
/// Cost of confusing two characters that look alike, in tenths.
const LOOKS_ALIKE: u32 = 3;

/// Groups of characters that are taken for each other, by eye and by character recognition.
///
/// 0/O, 1/I, 2/Z, 5/S, 8/B, lower-case l/1 and the letter pairs C/O, E/F, O/Q are the pairs that the user manual of a
/// machine-vision system calls the most ambiguous; 6/G and U/V are common practice, no source.
pub const LOOK_ALIKE: &[&str] = &["0oq", "1il|!", "5s", "8b", "2z", "6g", "vu", "co", "ef"];

/// One bit for each letter and digit; look-alike characters share a bit. A word one edit away differs in at most
/// two bits, so that most words need no comparison.
pub fn mask(word: &str) -> u64 {
    word.chars().fold(0, |bits, c| {
        let same = match c {
            '0' | 'q' | 'c' => 'o',
            '1' | 'l' | '|' | '!' => 'i',
            '5' => 's',
            '8' => 'b',
            '2' => 'z',
            '6' => 'g',
            'v' => 'u',
            'f' => 'e',
            other => other,
        };
        bits | 1 << (u32::from(same) % 61)
    })
}

/// Whether a word may be within `limit` of one with another mask.
fn mask_fits(typed: u64, word: u64, limit: u32) -> bool {
    (typed ^ word).count_ones() <= 2 * (limit / EDIT)
}

/// How an unknown word was read.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Reading {
    /// As typed: it is known, or nothing is near it.
    #[default]
    AsTyped,
    /// As this word of the vocabulary: it alone is near.
    As(String),
    /// Several words are near: none is taken, they are offered.
    OneOf(Vec<String>),
    /// Near a word that turns a meaning around: the line is not read.
    NearChanger(String),
}

/// What was found for words seen before, so that a long sheet of the same slips costs one search each.
#[derive(Debug, Default)]
pub struct Memo {
    seen: HashMap<String, Reading>,
}

/// After so many different unknown words a text is not a run sheet, and words are no longer compared.
const MOST_UNKNOWN: usize = 2_000;

impl Memo {
    /// How the unknown `word` (lower case) is to be read.
    pub fn read(&mut self, word: &str, words: &Vocabulary) -> Reading {
        if let Some(reading) = self.seen.get(word) {
            return reading.clone();
        }
        if self.seen.len() >= MOST_UNKNOWN {
            return Reading::AsTyped;
        }
        let reading = read(word, words);
        self.seen.insert(word.to_string(), reading.clone());
        reading
    }
}

/// Whether a word may be a misspelt word at all: numbers, hex, positions (`U12`), type numbers and single
/// letters never are.
pub fn may_be_misspelt(word: &str) -> bool {
    let count = word.chars().count();
    if !(2..=20).contains(&count) || word.contains('_') {
        return false;
    }
    let digits = word.chars().filter(char::is_ascii_digit).count();
    let hex = word.chars().all(|c| c.is_ascii_hexdigit());
    if digits == 0 {
        // `CE` and `FADE` may be hex; words of two letters are too short to tell.
        return count >= 3 && !hex && word.chars().all(|c| c.is_alphabetic() || c == '\'');
    }
    let only_look_alike = word
        .chars()
        .all(|c| c.is_alphabetic() || "012586".contains(c));
    only_look_alike
        && !hex
        && !is_position(word)
        && !starts_like_number(word)
        && digits * 2 <= count
}

/// `5v`, `12ohm`: a number with its unit.
fn starts_like_number(word: &str) -> bool {
    let rest = word.trim_start_matches(|c: char| c.is_ascii_digit());
    rest.len() < word.len()
        && crate::quantity::quantity(word).is_ok_and(|(left, q)| left.is_empty() && q.value != 0.0)
}

/// One to three letters, a number, at most one letter: `U12`, `IC6`, `U7A`.
pub fn is_position(word: &str) -> bool {
    let letters = word.chars().take_while(char::is_ascii_alphabetic).count();
    let digits = word[letters.min(word.len())..]
        .chars()
        .take_while(char::is_ascii_digit)
        .count();
    let tail = &word[letters + digits..];
    let tail_fits =
        tail.is_empty() || (tail.len() == 1 && tail.starts_with(|c: char| c.is_ascii_alphabetic()));
    (1..=3).contains(&letters) && (1..=4).contains(&digits) && tail_fits
}

/// How far a word of `length` letters may be from the word it is read as, in tenths: short words only by characters that
/// look alike, long ones by one edit, very long ones by two.
fn reach(length: usize) -> u32 {
    match length {
        0..=3 => 2 * LOOKS_ALIKE,
        4..=8 => EDIT,
        _ => 2 * EDIT,
    }
}

/// A slip at the very first letter is rare, and most words that differ there are other words (`effective`,
/// `defective`): it must look like the right one, or be exchanged with the second.
fn starts_alike(typed: &[char], word: &str) -> bool {
    let mut letters = word.chars();
    match (letters.next(), letters.next(), typed) {
        (Some(first), second, [t, rest @ ..]) => {
            *t == first
                || looks_alike(*t, first)
                || (second == Some(*t) && rest.first() == Some(&first))
        }
        _ => false,
    }
}

fn read(word: &str, words: &Vocabulary) -> Reading {
    let letters: Vec<char> = word.chars().collect();
    let reach = reach(letters.len());
    // A slip of a word such as `not` must never be passed over, however short it is.
    let changer_reach = reach.max(EDIT);
    let bits = mask(word);
    let close = |target: &Target, limit: u32| {
        mask_fits(bits, target.mask, limit)
            .then(|| distance(&letters, &target.word, limit))
            .flatten()
    };
    let near_changer = words
        .changers()
        .iter()
        .filter_map(|c| Some((close(c, changer_reach)?, &c.word)))
        .min_by_key(|(cost, _)| *cost);
    let span = (reach / EDIT).max(1) as usize;
    let mut near: Vec<(u32, &str)> = Vec::new();
    for length in letters.len().saturating_sub(span)..=letters.len() + span {
        near.extend(
            words
                .targets(length)
                .iter()
                .filter_map(|t| Some((close(t, reach)?, &*t.word))),
        );
    }
    near.sort();
    near.dedup();
    let best = near.first().map(|(cost, _)| *cost);
    if let Some((cost, changer)) = near_changer
        && best.is_none_or(|b| cost <= b)
        && (letters.len() >= 3 || best.is_none())
    {
        return Reading::NearChanger(changer.to_string());
    }
    let Some(best) = best else {
        return Reading::AsTyped;
    };
    // Unique means: nothing else within half an edit of the best.
    let mut rivals: Vec<String> = near
        .iter()
        .filter(|(c, _)| *c < best + EDIT / 2)
        .map(|(_, w)| w.to_string())
        .collect();
    // Words that mean the same are no rivals.
    if rivals
        .iter()
        .skip(1)
        .all(|other| words.same_meaning(&rivals[0], other))
    {
        rivals.truncate(1);
    }
    if rivals.len() == 1 && starts_alike(&letters, &rivals[0]) {
        return Reading::As(rivals.swap_remove(0));
    }
    Reading::OneOf(rivals.into_iter().take(3).collect())
}

fn looks_alike(a: char, b: char) -> bool {
    LOOK_ALIKE
        .iter()
        .any(|group| group.contains(a) && group.contains(b))
}

/// Distance of `typed` and `word` in tenths, or `None` when it is more than `limit`.
fn distance(typed: &[char], word: &str, limit: u32) -> Option<u32> {
    const LONGEST: usize = 24;
    let word: Vec<char> = word.chars().collect();
    if word.len() > LONGEST || typed.len() > LONGEST {
        return None;
    }
    if (typed.len().abs_diff(word.len()) as u32) * EDIT > limit {
        return None;
    }
    let mut before = [0u32; LONGEST + 1];
    let mut last: [u32; LONGEST + 1] = std::array::from_fn(|j| j as u32 * EDIT);
    for (i, &t) in typed.iter().enumerate() {
        let mut row = [0u32; LONGEST + 1];
        row[0] = (i as u32 + 1) * EDIT;
        let mut least = row[0];
        for (j, &w) in word.iter().enumerate() {
            let change = if t == w {
                0
            } else if looks_alike(t, w) {
                LOOKS_ALIKE
            } else {
                EDIT
            };
            let mut cost = (last[j] + change)
                .min(last[j + 1] + EDIT)
                .min(row[j] + EDIT);
            if i > 0 && j > 0 && t == word[j - 1] && typed[i - 1] == w {
                cost = cost.min(before[j - 1] + EDIT);
            }
            row[j + 1] = cost;
            least = least.min(cost);
        }
        if least > limit {
            return None;
        }
        before = last;
        last = row;
    }
    (last[word.len()] <= limit).then_some(last[word.len()])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read_as(word: &str) -> Reading {
        Memo::default().read(word, Vocabulary::english())
    }

    #[test]
    fn near_and_alone_is_read() {
        for (typed, word) in [
            ("memroy", "memory"),
            ("keybaord", "keyboard"),
            ("vioce", "voice"),
            ("langauge", "language"),
            ("c0lour", "colour"),
            ("t1mer", "timer"),
            ("0k", "ok"),
            ("swaped", "swapped"),
            ("replcaed", "replaced"),
            ("adaptre", "adapter"),
        ] {
            assert_eq!(read_as(typed), Reading::As(word.into()), "{typed}");
        }
    }

    #[test]
    fn what_must_never_be_corrected() {
        for typed in [
            "u12", "u21", "5d", "5v", "12", "4000", "7f0", "q", "ce", "fade", "a0", "ic15",
            "reset_n", "74ls257", "50hz",
        ] {
            assert!(!may_be_misspelt(typed), "{typed}");
        }
    }

    #[test]
    fn near_several_is_asked_about() {
        assert!(
            !matches!(read_as("hod"), Reading::As(_)),
            "{:?}",
            read_as("hod")
        );
        assert!(
            !matches!(read_as("dold"), Reading::As(_)),
            "{:?}",
            read_as("dold")
        );
    }

    #[test]
    fn slips_of_words_that_turn_a_meaning_around() {
        for typed in ["nto", "nit", "dosnt", "unles", "excpet", "mabye"] {
            assert!(
                matches!(read_as(typed), Reading::NearChanger(_)),
                "{typed}: {:?}",
                read_as(typed)
            );
        }
    }

    #[test]
    fn the_mask_never_hides_a_near_word() {
        for (a, b) in [
            ("0k", "ok"),
            ("vio1e", "voice"),
            ("memroy", "memory"),
            ("fai1", "fail"),
            ("qoid", "cold"),
            ("s1ow", "5low"),
        ] {
            let letters: Vec<char> = a.chars().collect();
            for limit in [LOOKS_ALIKE * 2, EDIT, 2 * EDIT] {
                let near = distance(&letters, b, limit).is_some();
                assert!(
                    !near || mask_fits(mask(a), mask(b), limit),
                    "{a} {b} {limit}"
                );
            }
        }
    }

    #[test]
    fn published_distances() {
        let d = |a: &str, b: &str| distance(&a.chars().collect::<Vec<_>>(), b, 100);
        // Counted by hand; `strsim` gives the same for words without look-alike characters.
        assert_eq!(d("kitten", "mitten"), Some(10));
        assert_eq!(d("0k", "ok"), Some(3));
        for (a, b) in [
            ("memory", "memroy"),
            ("port", "prt"),
            ("row", "rwo"),
            ("flat", "that"),
        ] {
            let other = strsim::osa_distance(a, b) as u32 * 10;
            assert_eq!(d(a, b), Some(other), "{a} {b}");
        }
    }
}
