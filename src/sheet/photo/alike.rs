//! Characters that character recognition takes for each other, and what a line may be because of them.
//!
//! The groups are those of [`super::super::correct::LOOK_ALIKE`] (the user manual of a machine-vision system names 0/O, 1/I,
//! 2/Z, 5/S, 8/B as the most ambiguous, and C/O, E/F, O/Q among letters), with 0/D, 6/G, 9/g, 3/8 (common practice, no source)
//! and 0/6, 0/8, 0/@ for zeros with a dot or stroke (met in `tests/photo.rs`).

use std::collections::HashSet;

use super::align::Row;
use crate::sheet::correct::is_position;
use crate::sheet::statement::Statement;
use crate::sheet::{Line, Vocabulary};

/// Characters that may stand for each other.
pub const GROUPS: &[&str] = &[
    "0OoQD@68", "1Il|!", "2Zz", "5Ss", "8B3", "6Gb", "9gq", "3E", "CG", "EF", "4A", "7T", "MN",
    "UV",
];

/// Characters that stand in no value, and what was there when character recognition gave them (met in `tests/photo.rs`).
const NEVER_MEANT: &[(char, &str)] = &[
    ('i', "1"),
    ('\u{a9}', "0OC"),
    ('\u{20ac}', "CE"),
    ('\u{a3}', "EF"),
    ('$', "S5"),
    ('&', "8B"),
    ('\u{b0}', "0"),
];

/// Characters of the groups that stand in no value either: they are read for others, never the other way round.
const NO_VALUE: &str = "|!";

/// The characters that `c` may really be, itself left out.
pub fn others(c: char) -> Vec<char> {
    let meant = NEVER_MEANT.iter().filter(|(sign, _)| *sign == c);
    let mut all: Vec<char> = meant.flat_map(|(_, meant)| meant.chars()).collect();
    for group in GROUPS.iter().filter(|g| g.contains(c)) {
        all.extend(
            group
                .chars()
                .filter(|o| *o != c && !all.contains(o) && !NO_VALUE.contains(*o))
                .collect::<Vec<_>>(),
        );
    }
    all
}

/// A token that is a value or a name: digits, capitals, signs; a slip in it is another value.
fn is_value(token: &str) -> bool {
    let bare = token.trim_matches(|c: char| ",.;:()".contains(c));
    let digit = bare.chars().any(|c| c.is_ascii_digit());
    let capitals = bare.chars().count() >= 2
        && !bare.chars().any(char::is_lowercase)
        && bare.chars().any(char::is_alphabetic);
    let sign = |c: char| !c.is_ascii() && !others(c).is_empty();
    digit
        || capitals
        || bare.chars().count() == 1
        || bare.contains(['_', '"', '$', '@', '+'])
        || bare.contains(sign)
        || hides_value(bare)
}

/// `Al`, `Sv`, `la`: short, no word of the sheet, and a position or number when its letters are the digits they look like.
fn hides_value(bare: &str) -> bool {
    let digits: String = bare
        .chars()
        .map(|c| {
            others(c)
                .into_iter()
                .find(char::is_ascii_digit)
                .unwrap_or(c)
        })
        .collect();
    let lower = bare.to_lowercase();
    let short = (2..=4).contains(&bare.chars().count());
    short && digits != bare && !Vocabulary::english().knows(&lower) && {
        // One letter of a position stands as it is: `Il` is I1, `Bl` is B1.
        let named: String = bare.chars().take(1).chain(digits.chars().skip(1)).collect();
        is_position(&named.to_lowercase()) || digits.starts_with(|c: char| c.is_ascii_digit())
    }
}

/// Whether a line holds a value at all.
pub fn has_value(line: &str) -> bool {
    line.split_whitespace().any(is_value)
}

/// Whether a line holds a value with characters that are easily taken for others.
pub fn has_doubtful_value(line: &str) -> bool {
    line.split_whitespace()
        .filter(|t| is_value(t))
        .any(|t| t.chars().any(|c| !others(c).is_empty()))
}

/// Whether two recognitions have the same values in the same order.
pub fn same_values(a: &str, b: &str) -> bool {
    let values = |line: &str| -> Vec<String> {
        line.split_whitespace()
            .filter(|t| is_value(t))
            .map(str::to_lowercase)
            .collect()
    };
    a.split_whitespace().count() == b.split_whitespace().count() && values(a) == values(b)
}

/// Whether a garbled line has the letters and digits of another one in their order, marks and spaces aside. A letter or sign may
/// stand for the digit that it looks like (`Sv` for `5v`), never a digit for another.
pub fn same_letters(garbled: &str, line: &str) -> bool {
    let meant = |c: char| c.is_alphanumeric() || NEVER_MEANT.iter().any(|(sign, _)| *sign == c);
    let kept = |text: &str| -> Vec<char> {
        let letters = text.chars().filter(|c| meant(*c));
        letters.map(|c| c.to_ascii_lowercase()).collect()
    };
    let (a, b) = (kept(garbled), kept(line));
    let stands_for = |(x, y): (&char, &char)| {
        let digit = !x.is_ascii_digit() && y.is_ascii_digit();
        x == y
            || (digit
                && [*x, x.to_ascii_uppercase()]
                    .iter()
                    .any(|c| others(*c).contains(y)))
    };
    a.len() == b.len() && !a.is_empty() && a.iter().zip(&b).all(stands_for)
}

/// Whether a line gives a ticket or name in which a letter stands among digits that may be a digit, or the other way round:
/// nothing there says which.
pub fn mixed_name(line: &Line) -> bool {
    line.statements.iter().any(|s| match &s.value {
        Statement::Ticket(name) => {
            let digits = name.chars().any(|c| c.is_ascii_digit());
            digits && name.chars().any(|c| "OoQDIlSZB@".contains(c))
        }
        _ => false,
    })
}

/// Spaces are looked for in tokens of at most so many characters.
const MOST_SPACED: usize = 10;
/// So many spaces of a line may be none.
const MOST_JOINED: usize = 40;
/// A longer token is no value.
const LONGEST_TOKEN: usize = 32;
/// So many single tokens are tried for one place.
const MOST_TOKENS: usize = 40;
/// A recognition with so many more marks than another one of the same line is garbled.
const MARKS: usize = 3;
/// So many of what a recognition may be by itself are tried before those of the next.
const TURN: usize = 12;
/// At most so many lines are tried.
const MOST_LINES: usize = 400;

/// What a row may be: the recognitions themselves, then mixtures of them, then what look-alike characters allow, the fewest
/// changes first. At most `most` of the mixtures and of what may be.
pub fn candidates(row: &Row, base: &str, most: usize) -> Vec<String> {
    let variants: Vec<&String> = row.variants.iter().flatten().collect();
    let mut out: Vec<String> = Vec::new();
    let mut known: HashSet<String> = HashSet::new();
    let mut push = |line: String| {
        if known.insert(line.clone()) {
            out.push(line);
        }
    };
    let mut all: Vec<&str> = vec![base];
    for v in &variants {
        if !all.contains(&v.as_str()) {
            all.push(v);
        }
    }
    // What is full of marks is garbled, and costly to read: it comes last.
    let marks = |line: &str| line.chars().filter(|c| c.is_ascii_punctuation()).count();
    let fewest = all.iter().map(|v| marks(v)).min().unwrap_or(0);
    let (clean, garbled): (Vec<&str>, Vec<&str>) =
        (all.iter()).partition(|v| marks(v) <= fewest + MARKS);
    let most = most.min(MOST_LINES);
    // Recognitions that divide the words in another way are mixed among themselves.
    let width = |line: &str| line.split_whitespace().count();
    let mut bases: Vec<&str> = Vec::new();
    for line in clean.iter().chain(&garbled) {
        if bases.iter().all(|b| width(b) != width(line)) {
            bases.push(line);
        }
    }
    let share = most.div_ceil(bases.len() + all.len());
    for some in [clean, garbled] {
        some.iter().for_each(|line| push(line.to_string()));
        if most == 0 {
            continue;
        }
        some.iter().flat_map(|v| joined(v)).for_each(&mut push);
        // What each may be by itself comes before the mixtures, which are many; in turn, for one would use up what may be tried.
        let alone: Vec<Vec<String>> = some.iter().map(|v| mixed(&[], v, share)).collect();
        for turn in (0..share).step_by(TURN) {
            let next = alone
                .iter()
                .flat_map(|list| list.iter().skip(turn).take(TURN));
            next.for_each(|line| push(line.clone()));
        }
    }
    if most > 0 {
        let mixtures = bases.iter().flat_map(|b| mixed(&variants, b, share));
        mixtures.for_each(&mut push);
    }
    out
}

/// The words of a line with one space left out between values, or behind a mark in a value.
fn joined(line: &str) -> Vec<String> {
    let words: Vec<&str> = line.split_whitespace().collect();
    // A word run into a value is no value but a misspelt word: `swappedAl` would be read as `swapped`.
    let marked = |word: &str| word.ends_with(['.', '-', '_']);
    let beside =
        |i: &usize| is_value(words[i - 1]) && (is_value(words[*i]) || marked(words[i - 1]));
    let without = |i: usize| format!("{}{}", words[..i].join(" "), words[i..].join(" "));
    (1..words.len().min(MOST_JOINED))
        .filter(beside)
        .map(without)
        .collect()
}

/// What a line may be, mixed out of the recognitions that have as many words, and of what their characters look like.
fn mixed(variants: &[&String], base: &str, most: usize) -> Vec<String> {
    let split: Vec<Vec<&str>> = variants
        .iter()
        .map(|v| v.split_whitespace().collect::<Vec<_>>())
        .collect();
    let width = base.split_whitespace().count();
    let fitting: Vec<&Vec<&str>> = split.iter().filter(|s| s.len() == width).collect();
    // For each place of a word: what it may be, with the number of characters changed.
    let places: Vec<Vec<(usize, String)>> = base
        .split_whitespace()
        .enumerate()
        .map(|(i, own)| {
            let seen: Vec<&str> = fitting.iter().map(|s| s[i]).collect();
            options(own, &seen)
        })
        .collect();
    let line = |picks: Vec<usize>| {
        let words: Vec<&str> = picks.iter().zip(&places).map(|(k, p)| &*p[*k].1).collect();
        words.join(" ")
    };
    cheapest(&places, most).into_iter().map(line).collect()
}

/// The cheapest ways to take one option at every place, at most `most`, cheapest first: indices into the options.
fn cheapest(places: &[Vec<(usize, String)>], most: usize) -> Vec<Vec<usize>> {
    // A way: its cost, which way it goes on with, and the option taken.
    let mut layers: Vec<Vec<(usize, usize, usize)>> = vec![vec![(0, 0, 0)]];
    for place in places {
        let before = layers.last().map_or(&[][..], Vec::as_slice);
        let mut next = Vec::new();
        for (way, (cost, ..)) in before.iter().enumerate() {
            next.extend(
                place
                    .iter()
                    .enumerate()
                    .map(|(k, (more, _))| (cost + more, way, k)),
            );
        }
        next.sort_by_key(|(cost, ..)| *cost);
        next.truncate(most);
        layers.push(next);
    }
    let last = layers.last().map_or(0, Vec::len);
    let trace = |mut way: usize| {
        let mut picks: Vec<usize> = Vec::new();
        for layer in layers.iter().skip(1).rev() {
            let (_, before, option) = layer[way];
            picks.push(option);
            way = before;
        }
        picks.reverse();
        picks
    };
    (0..last).map(trace).collect()
}

/// What one token may be, given what the recognitions have there.
fn options(own: &str, seen: &[&str]) -> Vec<(usize, String)> {
    let mut out: Vec<(usize, String)> = vec![(0, own.to_string())];
    let add = |cost: usize, token: String, out: &mut Vec<(usize, String)>| {
        if out.len() < MOST_TOKENS && !out.iter().any(|(_, t)| *t == token) {
            out.push((cost, token));
        }
    };
    for other in seen {
        add(0, other.to_string(), &mut out);
    }
    for token in seen.iter().chain([&own]).filter(|t| has_colon(t)) {
        add(0, token.replacen(':', ".", 1), &mut out);
    }
    if own.len() > LONGEST_TOKEN || !seen.iter().chain([&own]).any(|t| is_value(t)) {
        return out;
    }
    // A word is not easily another one: what may be a number comes first.
    let dear = usize::from(is_word(own));
    // Characters that the recognitions have in each place, mixed; spaces that got lost; one character read as two.
    let starts: Vec<String> = out.iter().map(|(_, t)| t.clone()).collect();
    let more = |t: &String| [as_hex(t), spaced(t), single(t)].concat();
    out.extend(starts.iter().flat_map(more).map(|t| (1, t)));
    for depth in 1..=2 {
        let from: Vec<String> = match depth {
            1 => starts.clone(),
            _ => out.iter().map(|(_, t)| t.clone()).collect(),
        };
        for token in from {
            let chars: Vec<char> = token.chars().collect();
            for (i, c) in chars.iter().enumerate() {
                for other in others(*c) {
                    let mut changed = chars.clone();
                    changed[i] = other;
                    add(depth + dear, changed.into_iter().collect(), &mut out);
                }
            }
        }
    }
    out.sort_by_key(|(cost, _)| *cost);
    out
}

/// Letters only, four or more, one of which is not taken for a hexadecimal digit.
fn is_word(token: &str) -> bool {
    let bare = token.trim_matches(|c: char| ",.;:()".contains(c));
    let hex = |c: char| c.is_ascii_hexdigit() || others(c).iter().any(char::is_ascii_hexdigit);
    bare.len() >= 4 && bare.chars().all(char::is_alphabetic) && !bare.chars().all(hex)
}

/// A token of hexadecimal digits and what looks like them, read as digits: `OBES` for `0BE5`.
fn as_hex(token: &str) -> Vec<String> {
    let digit = |c: char| match c.is_ascii_hexdigit() {
        true => Some(c),
        false => others(c).into_iter().find(char::is_ascii_hexdigit),
    };
    let digits: Option<String> = token.chars().map(digit).collect();
    let changed = digits.filter(|d| d != token && token.len() <= MOST_SPACED);
    changed.into_iter().collect()
}

/// A token with one of two neighbours left out that look like each other: `5s` for `s`, `160.0` for `10.0`.
fn single(token: &str) -> Vec<String> {
    let letters: Vec<char> = token.chars().collect();
    if !is_value(token) || letters.len() > MOST_SPACED {
        return Vec::new();
    }
    let alike = |i: &usize| others(letters[*i]).contains(&letters[i + 1]);
    let without = |at: usize| -> String {
        let kept = letters.iter().enumerate().filter(|(k, _)| *k != at);
        kept.map(|(_, c)| c).collect()
    };
    (0..letters.len().saturating_sub(1))
        .filter(alike)
        .flat_map(|i| [without(i), without(i + 1)])
        .collect()
}

/// Whether a colon stands between digits, and nothing else: `11:5`, where a point was.
fn has_colon(token: &str) -> bool {
    let digits = |part: &str| !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
    token.len() <= LONGEST_TOKEN
        && (token.split_once(':')).is_some_and(|(a, b)| digits(a) && digits(b))
}

/// A token with the spaces that may have been lost in it: `19.2` may be `1 9.2`, `QWE` may be `Q W E`.
fn spaced(token: &str) -> Vec<String> {
    let letters: Vec<char> = token.chars().collect();
    if !is_value(token) || !(2..=MOST_SPACED).contains(&letters.len()) {
        return Vec::new();
    }
    let text = |part: &[char]| part.iter().collect::<String>();
    let mut all: Vec<String> = Vec::new();
    if letters.len() > 2 && letters.iter().all(char::is_ascii_uppercase) {
        let apart: Vec<String> = letters.iter().map(char::to_string).collect();
        all.push(apart.join(" "));
    }
    let whole = |part: &[char]| part.iter().any(char::is_ascii_alphanumeric);
    let cuts = (1..letters.len()).filter(|at| whole(&letters[..*at]) && whole(&letters[*at..]));
    all.extend(cuts.map(|at| format!("{} {}", text(&letters[..at]), text(&letters[at..]))));
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_told_from_words() {
        assert!(
            ["4.98", "5D", "U12", "RES_N", "FF", "A", "\"Q\"", "@60C"]
                .iter()
                .all(|t| is_value(t))
        );
        assert!(
            !["memory", "Rest", "fine", "wrote"]
                .iter()
                .any(|t| is_value(t))
        );
        assert!(same_values("mem0ry bit 3 bad", "memory bit 3 bad") == is_value("memory"));
    }

    #[test]
    fn recognitions_that_divide_the_words_otherwise_do_not_hide_each_other() {
        let may_be = |variants: &[&str], truth: &str| {
            let variants = variants.iter().map(|v| Some(v.to_string())).collect();
            let row = Row { variants };
            let base = row.variants[0].clone().unwrap();
            assert!(
                candidates(&row, &base, 400).iter().any(|l| l == truth),
                "{base}"
            );
        };
        let three = [
            "clock 19.7 s in 10.0 s",
            "clock 1 9:7 s in 10.6 s",
            "clock 1 9:7s in 10.6 s",
        ];
        may_be(&three, "clock 1 9.7 s in 10.0 s");
        may_be(&["clock 1 8.3 s in 10.0 5s"; 3], "clock 1 8.3 s in 10.0 s");
        may_be(
            &["STORE: OBES GIVEN 55 TAKEN BE"; 3],
            "STORE: 0BE5 GIVEN 55 TAKEN BE",
        );
    }

    #[test]
    fn a_garbled_line_with_the_same_letters_speaks_for_nothing_else() {
        for (garbled, line) in [
            (
                "Clock:2::12:0\u{b4}-s::in''10-0.'s",
                "clock 2 12.0 s in 10.0 s",
            ),
            ("clock 18.3 s in 10.0 s", "clock 1 8.3 s in 10.0 s"),
            ("Sv rail 4.62", "5v rail 4.62"),
            ("timer ib bad", "timer 1b bad"),
            ("memory bit \u{a9} bad", "memory bit 0 bad"),
        ] {
            assert!(same_letters(garbled, line), "{garbled}");
        }
        for (garbled, line) in [
            ("5v rail 4.82", "5v rail 4.62"),
            ("5v rail 4.6", "5v rail 4.62"),
            ("clock 1 10-37s-in 10.0 s", "clock 1 10.3 s in 10.0 s"),
            ("4C2D wrote AA read B0", "4C2D wrote AA read B8"),
            ("timer 1d bad", "timer 1b bad"),
            ("?!", "!?"),
        ] {
            assert!(!same_letters(garbled, line), "{garbled}");
        }
    }

    #[test]
    fn a_colon_between_digits_may_be_a_point() {
        let line = "clock 1 11:5 s in 10.6 s";
        let row = Row {
            variants: vec![Some(line.into()); 2],
        };
        let all = candidates(&row, line, 400);
        let meant = all.iter().position(|l| l == "clock 1 11.5 s in 10.0 s");
        assert!(meant.is_some_and(|at| at < 100), "{meant:?}");
    }

    #[test]
    fn the_recognitions_come_before_what_may_be() {
        let row = Row {
            variants: vec![Some("read 5D".into()), Some("read 50".into())],
        };
        let all = candidates(&row, "read 5D", 400);
        assert_eq!(&all[..2], ["read 5D", "read 50"]);
        assert!(all.iter().any(|l| l == "read SD"));
    }
}
