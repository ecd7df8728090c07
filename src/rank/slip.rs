//! The likeliest slip behind a reading that nothing on the board gives: a wrong digit, two digits changed over, a decimal
//! point in the wrong place.
//!
//! Each slip is judged as what it claims: the line is read as it would stand without the slip, the sheet so changed is
//! ranked, and the slips are compared by
//!
//! P(readings with the line corrected) / P(readings as typed)
//!
//! That a reading is false at all is what the leak of its check says already; this says which slip would make it so.

use super::{Ranking, rank};
use crate::faultmap::model::BoardModel;
use crate::observe::{Evidence, Reading};
use crate::sheet::{RunSheet, parse};

/// The most slips tried for one line.
const MOST: usize = 40;

/// A slip is worth saying when the sheet without it is so many times as probable.
const WORTH_SAYING: f64 = 10.0;

/// Digits taken for each other for their shapes, beside the neighbours on the keyboard. 3/8: common practice, no source;
/// 0/8: a slashed zero (a forum remark); the others from memory.
const ALIKE: [(char, char); 6] = [
    ('3', '8'),
    ('5', '6'),
    ('0', '8'),
    ('6', '8'),
    ('1', '7'),
    ('2', '7'),
];

/// A slip that would explain a line.
#[derive(Debug, Clone, PartialEq)]
pub struct Slip {
    /// What the line would say without it.
    pub instead: String,
    /// How many times as probable the sheet would be.
    pub times: f64,
}

/// The likeliest slip in a line, when it makes the sheet `WORTH_SAYING` (10) times as probable.
pub fn likeliest(
    model: &BoardModel,
    sheets: &[RunSheet],
    ranking: &Ranking,
    (sheet, number): (usize, usize),
) -> Option<Slip> {
    // Nobody is told that a voltage which stops the board was meant to be a harmless one.
    if let Some(stop) = &ranking.observed.stop {
        let id = format!("rail.{}", stop.rail);
        let is_it = |r: &Reading| {
            (r.sheet, r.line) == (sheet, number)
                && matches!(&r.evidence, Evidence::Check(c) if c.check == id)
        };
        if ranking.observed.readings.iter().any(is_it) {
            return None;
        }
    }
    let typed = sheets.get(sheet)?;
    // Off a photograph, what an uncertain line may say is offered with it.
    let certain = |l: &&crate::sheet::Line| l.number == number && l.provisional.is_none();
    let line = typed.lines.iter().find(certain)?;
    let text = &typed.text[line.span.start..line.span.end];
    let mut best: Option<Slip> = None;
    for instead in slips(text) {
        let Some(changed) = with_line(typed, number, (line.span.start, line.span.end), &instead)
        else {
            continue;
        };
        if changed
            .lines
            .iter()
            .find(|l| l.number == number)
            .is_some_and(|now| {
                now.statements
                    .iter()
                    .map(|s| &s.value)
                    .eq(line.statements.iter().map(|s| &s.value))
            })
        {
            continue;
        }
        let mut all = sheets.to_vec();
        all[sheet] = changed;
        let Ok(other) = rank(model, &all) else {
            continue;
        };
        // Only a reading can take the place of a reading: a line that says nothing any more explains nothing.
        let reads = |r: &Ranking| {
            let of_line = |o: &&Reading| (o.sheet, o.line) == (sheet, number);
            r.observed.readings.iter().filter(of_line).count()
        };
        if reads(&other) < reads(ranking) {
            continue;
        }
        let times = (other.posterior.log_evidence - ranking.posterior.log_evidence).exp();
        if times > best.as_ref().map_or(WORTH_SAYING, |b| b.times) {
            best = Some(Slip {
                instead: instead.trim().to_string(),
                times,
            });
        }
    }
    best
}

/// The sheet with one line replaced, when that line reads well then.
fn with_line(
    sheet: &RunSheet,
    number: usize,
    (start, end): (usize, usize),
    instead: &str,
) -> Option<RunSheet> {
    let text = format!("{}{instead}{}", &sheet.text[..start], &sheet.text[end..]);
    let changed = parse(&sheet.name, text.as_bytes()).ok()?;
    let line = changed.lines.iter().find(|l| l.number == number)?;
    let clean =
        line.not_understood.is_none() && changed.corrections.iter().all(|c| c.line != number);
    if !clean {
        return None;
    }
    if !sheet.photo {
        return Some(changed);
    }
    // The other lines are as much to be trusted as before.
    let mut photo = sheet.clone();
    let old = photo.lines.iter_mut().find(|l| l.number == number)?;
    old.statements = line.statements.clone();
    Some(photo)
}

/// What a line may have been meant to say: one digit another, two neighbouring digits changed over, or the point moved.
fn slips(text: &str) -> Vec<String> {
    let chars: Vec<char> = text.chars().collect();
    let mut out: Vec<String> = Vec::new();
    let mut add = |chars: &[char]| {
        let s: String = chars.iter().collect();
        if s != text && !out.contains(&s) {
            out.push(s);
        }
    };
    for (i, &c) in chars.iter().enumerate() {
        for other in others(c) {
            let mut changed = chars.clone();
            changed[i] = other;
            add(&changed);
        }
        let next = chars.get(i + 1).copied().unwrap_or(' ');
        if c.is_ascii_digit() && next.is_ascii_digit() {
            let mut changed = chars.clone();
            changed.swap(i, i + 1);
            add(&changed);
        }
        if (c == '.' || c == ',') && next.is_ascii_digit() {
            let mut changed = chars.clone();
            changed.swap(i, i + 1);
            add(&changed);
            if i > 0 && chars[i - 1].is_ascii_digit() {
                let mut changed = chars.clone();
                changed.swap(i - 1, i);
                add(&changed);
            }
        }
    }
    out.truncate(MOST);
    out
}

/// Digits that may have been meant for one.
fn others(c: char) -> Vec<char> {
    let Some(d) = c.to_digit(10) else {
        return Vec::new();
    };
    // The row of digits on a keyboard goes 1 to 9, then 0.
    let place = (d + 9) % 10;
    let beside = [place.checked_sub(1), (place < 9).then_some(place + 1)];
    let mut out: Vec<char> = beside
        .into_iter()
        .flatten()
        .filter_map(|p| char::from_digit((p + 1) % 10, 10))
        .collect();
    for (a, b) in ALIKE {
        if a == c && !out.contains(&b) {
            out.push(b);
        } else if b == c && !out.contains(&a) {
            out.push(a);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::slips;

    #[test]
    fn slips_of_digits_and_points() {
        let found = slips("bit 3 4.98");
        for wanted in [
            "bit 2 4.98",
            "bit 4 4.98",
            "bit 8 4.98",
            "bit 3 .498",
            "bit 3 49.8",
            "bit 3 4.89",
        ] {
            assert!(found.iter().any(|f| f == wanted), "{wanted} in {found:?}");
        }
        assert!(slips("black screen").is_empty());
        assert!(found.iter().all(|f| f.len() == "bit 3 4.98".len()));
    }
}
