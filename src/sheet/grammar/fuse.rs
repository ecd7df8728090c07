//! Fuses.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt};
use nom::sequence::preceded;

use super::base::*;
use super::result::{all_found, found};
use crate::sheet::concept::Concept::{self, *};
use crate::sheet::statement::{Place, State, Statement, Subject};
use crate::sheet::toks::{E, P, Toks};

const FUSE_STATES: &[(Concept, State)] =
    &[(Good, State::Ok), (Blown, State::Dead), (Open, State::Dead)];

/// `fuse = "fuse" [positions] state | F-positions ("blown" | "missing" | "ok")`
fn with_state(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, told) = opt(word(Fuse)).parse(input)?;
    let (rest, places) = opt(positions).parse(rest)?;
    let is_fuse =
        |p: &Place| p.name.starts_with('F') && p.name[1..].bytes().all(|b| b.is_ascii_digit());
    let places = match (told, places) {
        (Some(()), places) => places.unwrap_or_else(|| {
            vec![Place {
                name: "FUSE".into(),
                pin: None,
            }]
        }),
        (None, Some(places)) if places.iter().all(is_fuse) => places,
        _ => return Err(nom::Err::Error(E::silent(input))),
    };
    let missing = map(word(Missing), |()| State::Seen("missing".into()));
    let plain = alt((one_of(FUSE_STATES), missing));
    let (rest, state) = if told.is_some() {
        want("ok, blown or missing", alt_bad(plain))(rest)?
    } else {
        // `F1 dead` may be the key: only words that fit a fuse alone are taken.
        want_fuse(rest)?
    };
    Ok((
        rest,
        all_found(places.into_iter().map(Subject::Fuse).collect(), &state),
    ))
}

fn want_fuse(input: Toks<'_>) -> P<'_, State> {
    let missing = map(word(Missing), |()| State::Seen("missing".into()));
    let mut rule = alt((one_of(FUSE_STATES), missing));
    want(
        "ok, blown or missing for the fuse; for a key write `key F1 dead`",
        move |i| rule.parse(i),
    )(input)
}

fn alt_bad<'a>(
    mut rule: impl Parser<Toks<'a>, Output = State, Error = E>,
) -> impl FnMut(Toks<'a>) -> P<'a, State> {
    const MORE: &[(Concept, State)] = &[(Bad, State::Dead), (Dead, State::Dead)];
    move |i| rule.parse(i).or_else(|_| one_of(MORE)(i))
}

/// A fuse and how it is, or `no fuse`.
pub fn fuse(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let no_fuse = map(preceded(word(No), word(Fuse)), |()| {
        vec![found(
            Subject::Fuse(Place {
                name: "FUSE".into(),
                pin: None,
            }),
            State::Seen("missing".into()),
        )]
    });
    alt((with_state, no_fuse)).parse(input)
}
