//! Hands-on tests: what was done, to which positions, and what it did to the fault.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt};
use nom::multi::many0;
use nom::sequence::{preceded, terminated};

use super::base::*;
use super::keys::keys;
use crate::sheet::concept::Concept::{self, *};
use crate::sheet::correct::is_position;
use crate::sheet::statement::{Action, Effect, HandsOn, Place, Statement};
use crate::sheet::toks::{E, P, Toks};

/// Words for what was done.
pub const ACTIONS: &[(Concept, Action)] = &[
    (Swap, Action::Swap),
    (Replace, Action::Replace),
    (Piggyback, Action::Piggyback),
    (Bridge, Action::Bridge),
    (Pull, Action::Pull),
    (Press, Action::Press),
    (Reseat, Action::Reseat),
    (Cool, Action::Cool),
    (HeatUp, Action::WarmUp),
    (Clean, Action::Clean),
    (Resolder, Action::Resolder),
];

/// Words for what it did.
pub const EFFECTS: &[(Concept, Effect)] = &[
    (Cured, Effect::Cured),
    (NoChange, Effect::NoChange),
    (Changed, Effect::Changed),
    (Moved, Effect::Moved),
    (Worse, Effect::Worse),
];

/// Words for what was done that are orders as well.
pub const ORDERS: [&str; 12] = [
    "swap", "replace", "pull", "press", "reseat", "clean", "remove", "resolder", "reflow", "cool",
    "freeze", "renew",
];

const PLACES: &str = "the position, as in swapped U17, or all";
pub const EFFECT_WORDS: &str = "what it did: cured, no change, changed, worse";

/// Whether a known good or a new part was used, as far as it was said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Donor {
    /// Known to be good.
    Good,
    /// New or untested.
    New,
}

/// Words for the part that was put in.
pub const DONORS: &[(Concept, Donor)] = &[(KnownGood, Donor::Good), (WithNew, Donor::New)];

/// The positions that were worked on; `all` gives an empty list. What is outside the board goes by its name:
/// `KEYBOARD`, `SUPPLY`, `CARTRIDGE`, `CABLE`, `MAINS` (its setting).
fn targets(input: Toks<'_>) -> P<'_, Vec<Place>> {
    const UNITS: &[(Concept, &str)] = &[
        (Keyboard, "KEYBOARD"),
        (Supply, "SUPPLY"),
        (Cartridge, "CARTRIDGE"),
        (Cable, "CABLE"),
        (Mains, "MAINS"),
    ];
    let unit = map(terminated(one_of(UNITS), opt(word(Plug))), |name: &str| {
        vec![Place {
            name: name.into(),
            pin: None,
        }]
    });
    const ROMS: &[(Concept, &str)] = &[
        (RomOs, "OS_ROM"),
        (RomLanguage, "LANGUAGE_ROM"),
        (RomCharacter, "CHARACTER_ROM"),
    ];
    let rom = map(terminated(one_of(ROMS), opt(word(Rom))), |name: &str| {
        vec![Place {
            name: name.into(),
            pin: None,
        }]
    });
    let all = map(word(AllSocketed), |()| Vec::new());
    // `key Q`, `keys A S D`: the contacts of single keys.
    let keys = map(preceded(word(Key), keys), |keys| {
        keys.into_iter().map(Place::of_key).collect()
    });
    alt((positions, unit, keys, rom, all)).parse(input)
}

/// `(by | with | after)*`: small words between an effect and what was done.
pub fn by_words(input: Toks<'_>) -> P<'_, ()> {
    map(many0(word(By)), |_| ()).parse(input)
}

/// What was done and to what, in either order: `swapped U17 (known good)`, `U17 swapped with known good`.
pub fn deed(input: Toks<'_>) -> P<'_, (Action, Vec<Place>)> {
    let donor = |i| opt(one_of(DONORS)).parse(i);
    let action_first = |i| {
        let (rest, action) = one_of(ACTIONS)(i)?;
        let (rest, early) = donor(rest)?;
        // `piggybacked 4164 on U22`
        let pressed = |i| match action {
            Action::Piggyback => opt(super::haste_hands::type_number).parse(i),
            _ => Ok((i, None)),
        };
        let (rest, _) = pressed(rest)?;
        let (rest, _) = opt(word(By)).parse(rest)?;
        let (rest, places) = want(PLACES, targets)(rest)?;
        let (rest, late) = donor(rest)?;
        Ok((rest, (settle(action, early.or(late)), places)))
    };
    let places_first = |i| {
        let (rest, places) = targets(i)?;
        let (rest, action) = one_of(ACTIONS)(rest)?;
        let (rest, kind) = donor(rest)?;
        Ok((rest, (settle(action, kind), places)))
    };
    let donor_first = |i| {
        let (rest, kind) = one_of(DONORS)(i)?;
        let (rest, action) = opt(one_of(ACTIONS)).parse(rest)?;
        let (rest, _) = opt(word(By)).parse(rest)?;
        let (rest, places) = positions(rest)?;
        Ok((
            rest,
            (settle(action.unwrap_or(Action::Swap), Some(kind)), places),
        ))
    };
    alt((action_first, places_first, donor_first)).parse(input)
}

/// What was put in: `by a 74LS258`. A position is none: `replaced U12 by U21` says something else.
fn new_part(input: Toks<'_>) -> P<'_, String> {
    let (rest, _) = opt(word(By)).parse(input)?;
    let (rest, part) = super::header::part_number(rest)?;
    let digits = part.bytes().filter(u8::is_ascii_digit).count();
    if digits >= 3 && !is_position(&part.to_lowercase()) {
        Ok((rest, part))
    } else {
        Err(nom::Err::Error(E::silent(input)))
    }
}

/// A known good part makes a replacement a swap, an untested one makes a swap a replacement.
pub fn settle(action: Action, donor: Option<Donor>) -> Action {
    match (action, donor) {
        (Action::Replace, Some(Donor::Good)) => Action::Swap,
        (Action::Swap, Some(Donor::New)) => Action::Replace,
        _ => action,
    }
}

/// `hands-on = deed [effect] | effect (by | with | after) deed`
fn deed_effect(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let deed_first = |i| {
        let (rest, done) = deed(i)?;
        let (rest, part) = if done.0 == Action::Replace {
            terminated(opt(new_part), opt(super::plainly::with_socket)).parse(rest)?
        } else {
            (rest, None)
        };
        let (after, result) = want(EFFECT_WORDS, opt_effect)(rest)?;
        // `replace U10` without more may be what is still to be done.
        let order = input.first().is_some_and(|a| ORDERS.contains(&&*a.lower));
        if order && result == Effect::Unknown {
            return fail(rest, EFFECT_WORDS);
        }
        Ok((after, (done, result, part)))
    };
    let effect_first = |i| {
        let (rest, result) = one_of(EFFECTS)(i)?;
        let (rest, ()) = by_words(rest)?;
        let (rest, done) = deed(rest)?;
        let (rest, part) = if done.0 == Action::Replace {
            opt(new_part).parse(rest)?
        } else {
            (rest, None)
        };
        Ok((rest, (done, result, part)))
    };
    map(
        alt((deed_first, effect_first)),
        |((action, places), result, part)| {
            let fitted = part.map(|part| {
                places
                    .iter()
                    .map(|place| (place.clone(), part.clone()))
                    .collect()
            });
            let fitted: Vec<(Place, String)> = fitted.unwrap_or_default();
            let done = Statement::HandsOn(HandsOn {
                action,
                places,
                result,
            });
            let now = fitted
                .into_iter()
                .map(|(place, part)| Statement::Fitted { place, part });
            std::iter::once(done).chain(now).collect()
        },
    )
    .parse(input)
}

/// The effect, or [`Effect::Unknown`] at the end of the statement; `with the good one` and the like may stand between.
pub fn opt_effect(input: Toks<'_>) -> P<'_, Effect> {
    if end(input).is_ok() {
        return Ok((input, Effect::Unknown));
    }
    // `piggy U12 -> ok now`
    let (rest, arrow) = opt(after_gap(super::picture::arrow)).parse(input)?;
    // `pressed U8 -> runs`
    if arrow.is_some()
        && let Ok((after, ())) = word(Good)(rest)
    {
        return Ok((after, Effect::Cured));
    }
    let (rest, effect) = one_of(EFFECTS)(rest)?;
    match effect {
        // `changed, still bad`: not gone, as was said.
        Effect::Changed => map(opt(word(NoChange)), |_| effect).parse(rest),
        // `moved to bit 4`
        Effect::Moved => {
            let to = (opt(alt((word(To), word(By)))), super::subject::bits);
            map(opt(to), |_| effect).parse(rest)
        }
        // `fault in 1 min`
        Effect::Worse => map(opt(super::meter::after_minutes), |_| effect).parse(rest),
        _ => Ok((rest, effect)),
    }
}

/// `fault moved with U19`
fn moved_with(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, ()) = word(Moved)(input)?;
    let (rest, ()) = by_words(rest)?;
    let (rest, places) = positions(rest)?;
    Ok((
        rest,
        vec![Statement::HandsOn(HandsOn {
            action: Action::Swap,
            places,
            result: Effect::Moved,
        })],
    ))
}

const VERDICTS: &[(Concept, Effect)] = &[
    (Good, Effect::TestedGood),
    (Bad, Effect::TestedBad),
    (Dead, Effect::TestedBad),
    (Moved, Effect::TestedBad),
];

/// `elsewhere = positions verdict "in tester" | positions ["tested"] "in another machine" verdict`
fn elsewhere(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, _) = opt(word(Tested)).parse(input)?;
    let (rest, places) = positions(rest)?;
    let verdict = || one_of(VERDICTS);
    let verdict_first = |i| {
        let (rest, _) = opt(word(Tested)).parse(i)?;
        let (rest, result) = verdict()(rest)?;
        let (rest, ()) = word(Tester)(rest)?;
        Ok((rest, result))
    };
    let machine_first = |i| {
        let (rest, _) = opt(word(Tested)).parse(i)?;
        let (rest, ()) = word(Tester)(rest)?;
        want("good or bad", verdict())(rest)
    };
    let short = |i| {
        let (rest, ()) = word(Tested)(i)?;
        let (rest, result) = verdict()(rest)?;
        if end(rest).is_ok() {
            Ok((rest, result))
        } else {
            Err(nom::Err::Error(E::silent(rest)))
        }
    };
    let (rest, result) = alt((verdict_first, machine_first, short)).parse(rest)?;
    Ok((
        rest,
        vec![Statement::HandsOn(HandsOn {
            action: Action::TestedElsewhere,
            places,
            result,
        })],
    ))
}

/// `put-back = put-back positions | (put | fitted | swapped | replaced) positions back | positions back`
fn put_back(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    fn said_first(i: Toks<'_>) -> P<'_, Vec<Place>> {
        let (rest, ()) = word(PutBack)(i)?;
        // 'put T1' does not say where.
        if i.first().is_some_and(|a| &*a.lower == "put") && rest.from == i.from + 1 {
            return Err(nom::Err::Error(E::silent(i)));
        }
        targets(rest)
    }
    let around = |i| {
        let verb = alt((
            word(PutBack),
            word(Fitted),
            word(Swap),
            word(Replace),
            lit(&["old"]),
        ));
        let (rest, _) = opt(verb).parse(i)?;
        let (rest, places) = targets(rest)?;
        let (rest, ()) = word(PutBack)(rest)?;
        Ok((rest, places))
    };
    let (rest, places) = alt((around, said_first)).parse(input)?;
    Ok((
        rest,
        vec![Statement::HandsOn(HandsOn {
            action: Action::PutBack,
            places,
            result: Effect::Unknown,
        })],
    ))
}

/// `lifted = "lifted" pin effect | pin "lifted" effect`: of one leg, not of a part.
fn lifted(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let leg_first = |i| {
        let (rest, place) = pin_place(i)?;
        let (rest, ()) = word(LiftLeg)(rest)?;
        Ok((rest, place))
    };
    let word_first = |i| {
        let (rest, ()) = word(LiftLeg)(i)?;
        want("the leg, as in lifted U13.4: no change", pin_place)(rest)
    };
    let (rest, place) = alt((leg_first, word_first)).parse(input)?;
    let (rest, result) = want(EFFECT_WORDS, opt_effect)(rest)?;
    Ok((
        rest,
        vec![Statement::HandsOn(HandsOn {
            action: Action::Lift,
            places: vec![place],
            result,
        })],
    ))
}

/// All hands-on tests.
pub fn hands_on(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    alt((elsewhere, lifted, moved_with, put_back, deed_effect)).parse(input)
}
