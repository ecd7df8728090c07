//! `cap C88 100uF/16V: 71 uF, esr 2.1, loss 6 %`: the whole text is read by [`crate::caps::entry`].

use super::base::*;
use super::meter::capacitor;
use super::result::found;
use crate::sheet::concept::Concept::Capacitor;
use crate::sheet::statement::{State, Statement, Subject};
use crate::sheet::toks::P;
use crate::sheet::toks::Toks;

/// `cap = "cap" C entry`
pub fn cap(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, ()) = word(Capacitor)(input)?;
    let (after, place) = want(
        "the capacitor, as in cap C88 100uF/16V: 71 uF",
        after_gap(capacitor),
    )(rest)?;
    match crate::caps::parse(after.rest_text()) {
        Ok((None, reading)) => {
            let one = found(
                Subject::Capacitor(place),
                State::Capacitor(Box::new(reading)),
            );
            Ok((after.skip(after.to - after.from), vec![one]))
        }
        Ok((Some(_), _)) => fail(after, "one capacitor a line"),
        Err(fault) => fail(
            after,
            format!(
                "a capacitor as in {} ({fault})",
                crate::caps::entry::EXAMPLE
            ),
        ),
    }
}
