//! Hands-on tests and what is fitted, as they are told in prose.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt};
use nom::multi::many0;
use nom::sequence::{preceded, terminated};

use super::base::*;
use super::handson::{ACTIONS, DONORS, Donor, EFFECTS, deed, settle};
use super::header::part_number;
use crate::sheet::concept::Concept::*;
use crate::sheet::correct::is_position;
use crate::sheet::statement::{Action, Effect, HandsOn, Place, State, Statement};
use crate::sheet::toks::{P, Toks};

pub fn done(action: Action, places: Vec<Place>, result: Effect) -> Statement {
    Statement::HandsOn(HandsOn {
        action,
        places,
        result,
    })
}

/// `and its alive`, `-> runs`, `, didn't help`: what came of it.
pub fn outcome(input: Toks<'_>) -> P<'_, Effect> {
    let (rest, _) = many0(alt((word(And), list_mark))).parse(input)?;
    let (rest, arrow) = opt(after_gap(super::picture::arrow)).parse(rest)?;
    if arrow.is_some()
        && let Ok((after, ())) = word(Good)(rest)
    {
        return Ok((after, Effect::Cured));
    }
    one_of(EFFECTS)(rest)
}

fn list_mark(input: Toks<'_>) -> P<'_, ()> {
    mark(&[",", ":"])(input)
}

/// A type number: letters and digits as makers print them, or four digits and more.
pub fn type_number<'a>(input: Toks<'a>) -> P<'a, String> {
    after_gap(|i: Toks<'a>| {
        let (rest, part) = part_number(i).or_else(|_| silent(i))?;
        let plain = part.bytes().all(|b| b.is_ascii_alphanumeric());
        let digit = part.starts_with(|c: char| c.is_ascii_digit());
        if plain && digit && part.len() >= 4 && !is_position(&part.to_lowercase()) {
            Ok((rest, part))
        } else {
            silent(i)
        }
    })(input)
}

/// `74LS258`: digits, letters, digits; no number with a unit looks so.
fn certain_type(part: &str) -> bool {
    let after = part.trim_start_matches(|c: char| c.is_ascii_digit());
    let digits = after.trim_start_matches(|c: char| c.is_ascii_alphabetic());
    part.len() - after.len() == 2
        && (1..=4).contains(&(after.len() - digits.len()))
        && digits
            .trim_end_matches(|c: char| c.is_ascii_alphabetic())
            .bytes()
            .all(|b| b.is_ascii_digit())
        && digits.len() >= 2
}

/// `new 4164 in U12 and its alive`
fn new_part(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, donor) =
        alt((map(lit(&["new", "fresh"]), |()| Donor::New), one_of(DONORS))).parse(input)?;
    let (rest, part) = type_number(rest)?;
    let (rest, _) = opt(alt((word(InPlace), word(By), lit(&["into"])))).parse(rest)?;
    let (rest, places) = positions(rest)?;
    let (rest, _) = opt(super::plainly::with_socket).parse(rest)?;
    let (rest, result) = match end(rest) {
        Ok(_) => (rest, Effect::Unknown),
        Err(_) => outcome(rest)?,
    };
    let fitted = places.iter().map(|place| Statement::Fitted {
        place: place.clone(),
        part: part.clone(),
    });
    let fitted: Vec<Statement> = fitted.collect();
    let action = settle(Action::Replace, Some(donor));
    let mut all = vec![done(action, places, result)];
    all.extend(fitted);
    Ok((rest, all))
}

/// `U2 for a known good one, didn't help`
fn for_another(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, places) = positions(input)?;
    let told = rest
        .first()
        .is_some_and(|a| matches!(&*a.lower, "for" | "with" | "by"));
    if !told {
        return silent(rest);
    }
    let (rest, donor) = one_of(DONORS)(rest)?;
    let (rest, result) = outcome(rest)?;
    Ok((
        rest,
        vec![done(settle(Action::Swap, Some(donor)), places, result)],
    ))
}

/// `U1<->U2 swapped over, fault moved to the other`
fn exchanged(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let both = map((mark(&["<"]), mark(&["-"]), mark(&[">"])), |_| ());
    let plain = map((mark(&["<"]), mark(&[">"])), |_| ());
    let both_equal = map((mark(&["<"]), mark(&["="]), mark(&[">"])), |_| ());
    let mut pair = (position, alt((both, both_equal, plain)), direct_position);
    let (rest, _) = opt(word(Swap)).parse(input)?;
    let (rest, (one, (), other)) = pair.parse(rest)?;
    let (rest, _) = opt(word(Swap)).parse(rest)?;
    let (rest, result) = outcome(rest)?;
    let rest = match result {
        Effect::Moved => {
            opt((opt(word(To)), lit(&["other"]), opt(lit(&["one"]))))
                .parse(rest)?
                .0
        }
        _ => rest,
    };
    let places = [one, other].map(|name| Place { name, pin: None });
    Ok((rest, vec![done(Action::Swap, places.into(), result)]))
}

/// `freezer on U19, ok for a min then dies again`: cured as long as it lasts.
fn for_a_while(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, (action, places)) = deed(input)?;
    if !matches!(action, Action::Cool | Action::Press) {
        return silent(input);
    }
    let (rest, _) = (
        opt(list_mark),
        alt((word(Good), word(Cured))),
        word(ForAWhile),
    )
        .parse(rest)?;
    let (rest, _) = opt((many0(word(And)), word(DiesAgain))).parse(rest)?;
    Ok((rest, vec![done(action, places, Effect::Cured)]))
}

/// `cleaned J3 w alcohol, keys all ok now`: what is good now was not before.
fn good_now<'a>(input: Toks<'a>) -> P<'a, Vec<Statement>> {
    let (rest, (action, places)) = deed(input)?;
    let (rest, _) = opt(word(WithAlcohol)).parse(rest)?;
    let (rest, _) = many0(alt((word(And), list_mark))).parse(rest)?;
    let last = rest.to.checked_sub(1).filter(|k| *k > rest.from);
    // What stands behind it may not be good.
    let whole = rest.to == rest.lexed.atoms.len();
    if !whole || last.is_none_or(|k| rest.lexed.atoms[k].lower != "now") {
        return silent(rest);
    }
    let good = |s: &Statement| matches!(s, Statement::Finding(f) if f.state == State::Ok);
    let said = Toks {
        to: rest.to - 1,
        ..rest
    };
    match super::statement(said).filter(|all| all.iter().all(good)) {
        Some(mut all) => {
            all.insert(0, done(action, places, Effect::Cured));
            Ok((rest.skip(rest.to - rest.from), all))
        }
        None => silent(rest),
    }
}

/// `pulled U18 out, still black`: nothing changed, and what is seen.
fn still_so<'a>(input: Toks<'a>) -> P<'a, Vec<Statement>> {
    let (rest, (action, places)) = deed(input)?;
    let (rest, _) = opt(lit(&["out", "off"])).parse(rest)?;
    let (rest, _) = many0(alt((word(And), list_mark))).parse(rest)?;
    if rest.first().is_none_or(|a| a.lower != "still") {
        return silent(rest);
    }
    let seen = rest.skip(1);
    let picture = super::picture::shown(seen)
        .ok()
        .filter(|(after, _)| end(*after).is_ok());
    let found = match picture {
        Some((_, state)) => vec![super::result::found(
            crate::sheet::statement::Subject::Picture,
            state,
        )],
        None => super::statement(seen).unwrap_or_default(),
    };
    let bad = |s: &Statement| {
        matches!(s, Statement::Finding(f) if f.state != State::Ok
            && f.state != State::Picture(crate::sheet::statement::PictureState::Normal))
    };
    if found.is_empty() || !found.iter().all(bad) {
        return silent(rest);
    }
    let mut all = vec![done(action, places, Effect::NoChange)];
    all.extend(found);
    Ok((rest.skip(rest.to - rest.from), all))
}

/// `wiggled the plug on J3 and the keys come and go`
fn come_and_go(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, action) = one_of(ACTIONS)(input)?;
    let (rest, _) = opt((word(Plug), opt(word(By)))).parse(rest)?;
    let (rest, places) = positions(rest)?;
    let (rest, _) = many0(alt((word(And), list_mark))).parse(rest)?;
    let what = alt((map(super::subject::subjects, |_| ()), word(Key)));
    let (rest, ()) = preceded(opt(what), word(ComeAndGo)).parse(rest)?;
    Ok((rest, vec![done(action, places, Effect::Changed)]))
}

/// `the U1 6526 works fine in other machine`: the type between the place and the verdict.
fn typed_elsewhere(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, places) = terminated(positions, type_number).parse(input)?;
    let verdict = alt((
        map(word(Good), |()| Effect::TestedGood),
        map(word(Bad), |()| Effect::TestedBad),
        map(word(Dead), |()| Effect::TestedBad),
    ));
    let (rest, result) = terminated(verdict, word(Tester)).parse(rest)?;
    Ok((rest, vec![done(Action::TestedElsewhere, places, result)]))
}

/// Positions, the later ones by their number alone: `U13 & 25`.
fn short_positions(input: Toks<'_>) -> P<'_, Vec<Place>> {
    let (mut rest, mut places) = positions(input)?;
    let letters: String = places
        .last()
        .map(|p| {
            p.name
                .chars()
                .take_while(char::is_ascii_alphabetic)
                .collect()
        })
        .unwrap_or_default();
    let and = |i| alt((mark(&["&", "+", "/", ","]), |i| direct(i, And))).parse(i);
    while let Ok((after, n)) = preceded(and, direct_uint).parse(rest) {
        places.push(Place {
            name: format!("{letters}{n}"),
            pin: None,
        });
        rest = after;
    }
    Ok((rest, places))
}

fn all_fitted(places: Vec<Place>, part: &str) -> Vec<Statement> {
    let fit = |place| Statement::Fitted {
        place,
        part: part.to_string(),
    };
    places.into_iter().map(fit).collect()
}

/// `an 8580 where U18 should have a 6581`
fn where_should(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, part) = type_number(input)?;
    let (rest, ()) = lit(&["where"])(rest)?;
    let (rest, places) = positions(rest)?;
    let (rest, _) = (word(ShouldHave), type_number).parse(rest)?;
    Ok((rest, all_fitted(places, &part)))
}

/// `74ls258 at U13 & 25 not 257`
fn type_at(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, part) = type_number(input)?;
    let (rest, ()) = alt((word(InPlace), |i| direct(i, By))).parse(rest)?;
    let (rest, places) = short_positions(rest)?;
    let other = |i| {
        let (rest, ()) = lit(&["not"])(i)?;
        after_gap(part_number)(rest)
    };
    let (rest, told) = opt(other).parse(rest)?;
    if end(rest).is_err() || told.is_none() && !certain_type(&part) {
        return silent(rest);
    }
    Ok((rest, all_fitted(places, &part)))
}

/// All of them.
pub fn hands_in_prose(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    alt((
        new_part,
        for_another,
        exchanged,
        for_a_while,
        good_now,
        still_so,
        come_and_go,
        typed_elsewhere,
        where_should,
        type_at,
    ))
    .parse(input)
}
