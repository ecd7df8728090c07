//! Entries that make a ticket of a run sheet: when, photos, where parts came from, what is struck, how it ended.
//!
//! ```text
//! entry    = whole | segment
//! whole    = "history" text | "photo" file [caption] | "old part" position text | "skip" [text] | "proved" text
//! segment  = "at" moment | "undo" | "reopened" | "closed" outcome | "origin" positions origin
//!          | fitted "from" origin
//! moment   = yyyy "-" mm "-" dd (" " | "T") hh ":" mm
//! origin   = "shelf" | "new" | "ticket" number
//! outcome  = "cured and proved" | "sent out, cause unknown" | "used for parts"
//! ```
//!
//! A whole entry takes the rest of the line as it stands.

use super::concept::Concept;
use super::divide::toks;
use super::grammar::statement;
use super::statement::{Moment, Origin, Outcome, Place, Statement};
use super::token::{Kind, Lexed};
use super::vocab::Vocabulary;
use crate::source::Span;

/// What ends a line that was cut off while it was written; such a line counts as a comment.
pub const TORN: &str = "# torn: not used";

/// How many bytes are looked at to see which entry a line is.
const HEAD: usize = 60;

/// An entry of a ticket.
pub enum Entry {
    /// It takes the rest of the line.
    Whole(Statement),
    /// It ends at the semicolon.
    Part(Vec<Statement>),
    /// It starts as one; what to type.
    Incomplete(&'static str),
}

/// Reads an entry that starts at `segment`; the line goes on to `end`. `None`: it is none.
pub fn read(text: &str, segment: Span, end: usize, words: &Vocabulary) -> Option<Entry> {
    let mut cut = segment.start + HEAD.min(segment.end - segment.start);
    while !text.is_char_boundary(cut) {
        cut -= 1;
    }
    let lexed = Lexed::new(text, Span::new(segment.start, cut), words, None);
    let opens = |c: Concept| lexed.longest(0, c);
    // What stands behind the words that open the entry, to the end of the line or of the segment.
    let behind = |length: usize, to: usize| {
        let start = lexed.atoms[length - 1].span.end;
        let rest = text.get(start..to).unwrap_or("");
        rest.trim_start_matches(|c: char| c.is_whitespace() || ":=".contains(c))
            .trim_end()
    };
    if let Some(length) = opens(Concept::Moment) {
        return moment(behind(length, segment.end)).map(|m| Entry::Part(vec![Statement::At(m)]));
    }
    if let Some(m) = moment(&text[segment.start..segment.end]) {
        return Some(Entry::Part(vec![Statement::At(m)]));
    }
    if let Some((m, rest)) = spoken_moment(&text[segment.start..segment.end]) {
        let remark = (!rest.is_empty()).then_some(Statement::Note(rest));
        return Some(Entry::Part(
            [Statement::At(m)].into_iter().chain(remark).collect(),
        ));
    }
    if let Some(length) = opens(Concept::PhotoFile) {
        return photo(behind(length, end)).map(Entry::Whole);
    }
    if let Some(length) = opens(Concept::History) {
        return history(text, segment, behind(length, end), words);
    }
    if let Some(length) = opens(Concept::Proved) {
        let what = behind(length, end);
        return Some(match what.is_empty() {
            true => Entry::Incomplete("type what was at fault, as in `proved U10 dead`"),
            false => Entry::Whole(Statement::Proved(what.to_string())),
        });
    }
    if let Some(length) = opens(Concept::Skip) {
        return Some(Entry::Whole(Statement::Skip(
            behind(length, end).to_string(),
        )));
    }
    if let Some(length) = opens(Concept::OldPart) {
        return Some(old_part(behind(length, end)));
    }
    if let Some(length) = opens(Concept::Undo).filter(|l| *l == lexed.atoms.len()) {
        debug_assert!(length > 0);
        return Some(Entry::Part(vec![Statement::Undo]));
    }
    if opens(Concept::Reopened).is_some_and(|l| l == lexed.atoms.len()) {
        return Some(Entry::Part(vec![Statement::Outcome(Outcome::Reopened)]));
    }
    if let Some(length) = opens(Concept::Closed) {
        return Some(match outcome(&lexed, length) {
            Some(outcome) => Entry::Part(vec![Statement::Outcome(outcome)]),
            None => Entry::Incomplete(
                "type how it ended: `closed: cured and proved`, `closed: sent out, cause unknown` or `closed: used for parts`",
            ),
        });
    }
    if let Some(length) = opens(Concept::Origin) {
        return Some(origin_of(behind(length, segment.end), words));
    }
    fitted_from(text, segment, words)
}

/// `2026-11-25 14:03`, nothing else.
///
/// ```
/// use whichsocket::sheet::moment;
/// assert_eq!(moment("2026-11-25 14:03").unwrap().minute, 3);
/// assert_eq!(moment("2026-02-30 14:03"), None);
/// ```
pub fn moment(text: &str) -> Option<Moment> {
    let (date, time) = text.trim().split_once([' ', 'T', 't'])?;
    let number = |s: &str, digits: usize| -> Option<u16> {
        (s.len() == digits && s.bytes().all(|b| b.is_ascii_digit())).then(|| s.parse().ok())?
    };
    let mut ymd = date.split('-');
    let (year, month, day) = (ymd.next()?, ymd.next()?, ymd.next()?);
    let (hour, minute) = time.trim().split_once(':')?;
    let (year, month, day) = (number(year, 4)?, number(month, 2)?, number(day, 2)?);
    let (hour, minute) = (number(hour, 2)?, number(minute, 2)?);
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let days = match month {
        2 if leap => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        1..=12 => 31,
        _ => return None,
    };
    let fits = (1..=days).contains(&day) && hour < 24 && minute < 60 && ymd.next().is_none();
    fits.then_some(Moment {
        year,
        month: month as u8,
        day: day as u8,
        hour: hour as u8,
        minute: minute as u8,
    })
}

/// `25 nov 2026 14.20 started`: the month by its name, and a word or two of remark.
fn spoken_moment(text: &str) -> Option<(Moment, String)> {
    const MONTHS: [&str; 12] = [
        "jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec",
    ];
    let mut words = text.split_whitespace();
    let mut next = || words.next().map(|w| w.trim_end_matches(','));
    let (day, name, year, time) = (next()?, next()?, next()?, next()?);
    let day = day.trim_end_matches(|c: char| c.is_ascii_alphabetic());
    let name = name.to_lowercase();
    let month = MONTHS.iter().position(|m| {
        name.starts_with(m)
            && name
                .trim_end_matches('.')
                .bytes()
                .all(|b| b.is_ascii_alphabetic())
    })?;
    let time = time.replace('.', ":");
    let day: u8 = day.parse().ok()?;
    let found = moment(&format!("{year}-{:02}-{day:02} {time:0>5}", month + 1))?;
    let rest: Vec<&str> = words.collect();
    let plain = |w: &&str| w.chars().all(char::is_alphabetic);
    (rest.len() <= 2 && rest.iter().all(plain)).then(|| (found, rest.join(" ")))
}

/// The name of a file (with a point in it, or in quotes), and a caption.
fn photo(text: &str) -> Option<Statement> {
    let (file, caption) = match text.strip_prefix('"') {
        Some(quoted) => quoted.split_once('"')?,
        None => text.split_once(char::is_whitespace).unwrap_or((text, "")),
    };
    let file = file.trim_end_matches(':');
    let extension = file.rsplit_once('.').map_or("", |(_, e)| e);
    let named = (2..=5).contains(&extension.len())
        && extension.bytes().all(|b| b.is_ascii_alphanumeric())
        && file.len() > extension.len() + 1;
    named.then(|| Statement::Photo {
        file: file.to_string(),
        caption: caption.trim().to_string(),
    })
}

/// `history unknown` and `history faulty` say how it came in; anything else is a story.
fn history(text: &str, segment: Span, said: &str, words: &Vocabulary) -> Option<Entry> {
    if said.is_empty() {
        return Some(Entry::Incomplete(
            "type what is known, as in `history ten years in a shed`",
        ));
    }
    let lexed = Lexed::new(text, segment, words, None);
    if statement(toks(&lexed, 0, lexed.atoms.len())).is_some() {
        return None;
    }
    Some(Entry::Whole(Statement::History(said.to_string())))
}

const OLD_PART: &str = "type the position and what came out of it, as in `old part U18 6581`";

fn old_part(text: &str) -> Entry {
    let Some((place, what)) = text.split_once(|c: char| c.is_whitespace() || c == ':') else {
        return Entry::Incomplete(OLD_PART);
    };
    let what = what.trim_start_matches([' ', ':']).trim();
    let fits = place.chars().all(|c| c.is_ascii_alphanumeric())
        && place.starts_with(|c: char| c.is_ascii_alphabetic());
    if !fits || what.is_empty() {
        return Entry::Incomplete(OLD_PART);
    }
    let place = Place {
        name: place.to_uppercase(),
        pin: None,
    };
    Entry::Whole(Statement::OldPart {
        place,
        what: what.to_string(),
    })
}

/// The one outcome that the words from atom `at` on name; small words and marks between them are passed over.
fn outcome(lexed: &Lexed, mut at: usize) -> Option<Outcome> {
    const OUTCOMES: [(Concept, Outcome); 3] = [
        (Concept::CuredProved, Outcome::CuredProved),
        (Concept::CauseUnknown, Outcome::CauseUnknown),
        (Concept::UsedForParts, Outcome::UsedForParts),
    ];
    let mut found = None;
    while at < lexed.atoms.len() {
        let named = OUTCOMES
            .iter()
            .filter_map(|(c, o)| Some((lexed.longest(at, *c)?, *o)));
        if let Some((length, outcome)) = named.max_by_key(|(length, _)| *length) {
            if found.is_some_and(|f| f != outcome) {
                return None;
            }
            found = Some(outcome);
            at += length;
        } else if lexed.atoms[at].kind == Kind::Mark {
            at += 1;
        } else {
            at += lexed.longest(at, Concept::Filler)?;
        }
    }
    found
}

const ORIGIN: &str = "type where the part came from, as in `origin U18 shelf`, `origin U18 new` or `origin U18 ticket 0398`";

/// `positions origin`
fn origin_of(text: &str, words: &Vocabulary) -> Entry {
    let mut places = Vec::new();
    let mut rest = text;
    while let Some((word, after)) = rest.split_once([' ', ',', ':']) {
        if !super::correct::is_position(&word.to_lowercase()) {
            break;
        }
        places.push(Place {
            name: word.to_uppercase(),
            pin: None,
        });
        rest = after.trim_start_matches([' ', ',', ':']);
    }
    match origin(rest, words) {
        Some(from) if !places.is_empty() => Entry::Part(vec![Statement::Origin { places, from }]),
        _ => Entry::Incomplete(ORIGIN),
    }
}

fn origin(text: &str, words: &Vocabulary) -> Option<Origin> {
    let lexed = Lexed::new(text, Span::new(0, text.len()), words, None);
    let count = lexed.atoms.len();
    let whole = |c: Concept| count > 0 && lexed.longest(0, c) == Some(count);
    if whole(Concept::FromShelf) {
        return Some(Origin::Shelf);
    }
    if whole(Concept::FromNew) {
        return Some(Origin::New);
    }
    let donor = lexed
        .longest(0, Concept::FromDonor)
        .filter(|l| *l < count)?;
    let ticket = text[lexed.atoms[donor].span.start..].trim();
    let one = !ticket.is_empty() && !ticket.contains(|c: char| c.is_whitespace() || c == ';');
    one.then(|| Origin::Donor(ticket.to_string()))
}

/// `fitted U18 8580 from shelf`: what is fitted, and where it came from.
fn fitted_from(text: &str, segment: Span, words: &Vocabulary) -> Option<Entry> {
    let said = &text[segment.start..segment.end];
    let at = said.to_ascii_lowercase().rfind(" from ")?;
    let from = origin(said[at + " from ".len()..].trim(), words)?;
    let before = Span::new(segment.start, segment.start + at);
    let lexed = Lexed::new(text, before, words, None);
    let mut all = statement(toks(&lexed, 0, lexed.atoms.len()))?;
    let mut places = Vec::new();
    for s in &all {
        match s {
            Statement::Fitted { place, .. } => places.push(place.clone()),
            _ => return None,
        }
    }
    all.push(Statement::Origin { places, from });
    Some(Entry::Part(all))
}

#[cfg(test)]
mod tests {
    use crate::sheet::{RunSheet, parse, print_statement};

    fn read(text: &str) -> (String, RunSheet) {
        let sheet = parse("t", text.as_bytes()).unwrap();
        let said: Vec<String> = sheet
            .statements()
            .map(|s| print_statement(&s.value))
            .collect();
        (said.join(" | "), sheet)
    }

    #[test]
    fn entries_as_people_type_them() {
        for (typed, said) in [
            ("2026-11-25 14:03", "at 2026-11-25 14:03"),
            (
                "at 2026-11-25T14:03; memory ok",
                "at 2026-11-25 14:03 | memory ok",
            ),
            ("Photo: board front.jpg", ""),
            (
                "photo front.jpg: solder side",
                "photo front.jpg solder side",
            ),
            ("photo \"board front.jpg\" x", "photo \"board front.jpg\" x"),
            (
                "story: bought at a flea market; no supply",
                "history bought at a flea market; no supply",
            ),
            (
                "fitted U18 8580 from the shelf",
                "fitted U18 8580 | origin U18 shelf",
            ),
            (
                "U18 is a 8580 from new stock",
                "fitted U18 8580 | origin U18 new",
            ),
            ("origin M3, M5: donor 0398", "origin M3 M5 ticket 0398"),
            (
                "old chip u18: 6581, date 3287",
                "old part U18 6581, date 3287",
            ),
            (
                "closed, sent out, cause unknown",
                "closed: sent out, cause unknown",
            ),
            ("close: used for parts", "closed: used for parts"),
            ("re-opened", ""),
            ("reopened", "reopened"),
            ("proved: M3 contacts dirty", "proved M3 contacts dirty"),
        ] {
            assert_eq!(read(typed).0, said, "{typed}");
        }
    }

    #[test]
    fn other_lines_are_left_alone() {
        for (typed, said) in [
            ("from photo", "from photo"),
            ("photo", "from photo"),
            ("history unknown", "untested"),
            ("old", ""),
            ("memory bit 3 bad", "memory bit 3 bad"),
            ("fitted U18 8580", "fitted U18 8580"),
        ] {
            assert_eq!(read(typed).0, said, "{typed}");
        }
    }

    #[test]
    fn half_an_entry_says_what_to_type() {
        for typed in [
            "closed",
            "closed: somehow",
            "closed: cured and proved, sent out",
            "proved",
            "origin M3",
            "old part M3",
            "history:",
        ] {
            let (said, sheet) = read(typed);
            assert_eq!(said, "", "{typed}");
            let hint = &sheet.lines[0].not_understood.as_ref().expect(typed).hint;
            assert!(hint.starts_with("type "), "{typed}: {hint}");
        }
    }
}
