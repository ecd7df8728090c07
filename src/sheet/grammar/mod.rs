//! The grammar of a statement, one rule a function; each rule stands in the doc of its function. [`statement`] reads
//! one statement and demands that every word of it is accounted for.

mod base;
mod handson;
mod header;
mod keys;
mod picture;
mod places;
mod rails;
mod result;
mod subject;

use super::statement::{Statement, Subject};
use super::token::{E, P, Toks};
use nom::error::ParseError;

type Rule = for<'a> fn(Toks<'a>) -> P<'a, Vec<Statement>>;

/// The kinds of statement, each with a line that it accepts. The order decides when two kinds would accept the
/// same words.
const KINDS: &[(Rule, &str)] = &[
    (header::header, "ticket 0412"),
    (result::rest_fine, "rest fine"),
    (result::not_reached, "not reached: sound, ports"),
    (keys::key_line, "keys dead Q W E"),
    (picture::texts, "4000 wrote 55 read 5D"),
    (rails::supplies, "+5V 4.98"),
    (picture::picture, "screen black"),
    (result::result, "memory bit 3 bad"),
    (handson::hands_on, "swapped U17: no change"),
    (places::place_line, "U7.40 low"),
];

/// Reads the whole of `input` as one statement (which may say the same of several things).
///
/// # Errors
/// The error of the kind that got furthest, with what was expected there and a line that would have been read.
pub fn statement(input: Toks<'_>) -> Result<Vec<Statement>, E> {
    let mut furthest = E::silent(input);
    for (rule, example) in KINDS {
        let error = match rule(input) {
            Ok((rest, found)) => match base::end(rest) {
                Ok(_) => return Ok(found),
                Err(e) => e,
            },
            Err(e) => e,
        };
        if let nom::Err::Error(mut error) | nom::Err::Failure(mut error) = error {
            if error.at > input.from && error.example.is_none() && !error.wants.is_empty() {
                error.example = Some(example);
            }
            furthest = furthest.or(error);
        }
    }
    Err(furthest)
}

/// Reads the whole of `input` as a result that leaves out what the one `before` it was about: `2 missing` behind
/// `voice 1 ok`.
pub fn continued(input: Toks<'_>, before: &Subject) -> Option<Vec<Statement>> {
    let (rest, found) = result::continued(input, before).ok()?;
    base::end(rest).is_ok().then_some(found)
}
