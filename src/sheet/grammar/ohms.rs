//! Ohms between two points of the board, the power off: across a part of two legs, from one leg to another.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt};

use super::base::*;
use super::result::found;
use crate::quantity::Unit;
use crate::sheet::concept::Concept::*;
use crate::sheet::statement::{Place, State, Statement, Subject};
use crate::sheet::toks::{E, P, Toks};

const OHMS: &str = "ohms, or open, ok: as in 0.3 ohm";

/// `ohms = [lead] (leg "to" leg | part) reading | reading [lead] (leg "to" leg | part)`
pub fn ohms(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    match points_first(input) {
        Ok(done) => Ok(done),
        Err(first) => reading_first(input)
            .or_else(|_: nom::Err<E>| drop_along(input))
            .map_err(|_: nom::Err<E>| first),
    }
}

/// `drop at U21 lowest`, `lowest drop at U21`, `drop at U9 U10 higher`: the rail is pulled down, and followed with millivolts.
fn drop_along(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    const HOW: &[(crate::sheet::concept::Concept, State)] =
        &[(Lowest, State::Low), (NotLowest, State::High)];
    let drop = |i| {
        let (rest, ()) = word(DropAlong)(i)?;
        let (rest, _) = opt(word_of).parse(rest)?;
        Ok((rest, ()))
    };
    let drop_first = |i| {
        let (rest, ()) = drop(i)?;
        let (rest, places) = positions(rest)?;
        let (rest, state) = want("lowest or higher", one_of(HOW))(rest)?;
        Ok((rest, (places, state)))
    };
    let how_first = |i| {
        let (rest, state) = one_of(HOW)(i)?;
        let (rest, ()) = drop(rest)?;
        let (rest, places) = positions(rest)?;
        Ok((rest, (places, state)))
    };
    let (rest, (places, state)) = alt((drop_first, how_first)).parse(input)?;
    let all = places
        .into_iter()
        .map(|p| found(Subject::Drop(p), state.clone()));
    Ok((rest, all.collect()))
}

/// What was measured between, and whether the words say that it was a meter.
struct Points {
    subject: Subject,
    said: bool,
    /// A resistor by its designator: a number is its ohms.
    resistor: bool,
}

/// `resistance`, `ohms across`, `continuity`: whether there was such a word.
fn lead(input: Toks<'_>) -> P<'_, bool> {
    let word = alt((word(AcrossPart), word(Resistance), word(Joined)));
    let (rest, lead) = opt(word).parse(input)?;
    let (rest, _) = opt(word_of).parse(rest)?;
    Ok((rest, lead.is_some()))
}

fn word_of(input: Toks<'_>) -> P<'_, ()> {
    alt((word(Of), word(AcrossPart), word(By))).parse(input)
}

/// `U15.9 to CN6.10`
fn legs(input: Toks<'_>) -> P<'_, (Subject, bool)> {
    let (rest, from) = pin_place(input)?;
    let arrow = after_gap(super::picture::arrow);
    let (rest, between) = opt(alt((arrow, word(To), word(And), mark(&["-", ">"])))).parse(rest)?;
    let (rest, to) = want("the other pin, as in U15.9 to CN6.10", pin_place)(rest)?;
    Ok((
        rest,
        (Subject::Along(Box::new([from, to])), between.is_some()),
    ))
}

fn points(input: Toks<'_>) -> P<'_, Points> {
    let (rest, lead) = lead(input)?;
    if let Ok((rest, (subject, between))) = legs(rest) {
        let said = lead || between;
        let points = Points {
            subject,
            said,
            resistor: false,
        };
        return Ok((rest, points));
    }
    let (rest, name) = position(rest)?;
    let of_r = name.strip_prefix('R').unwrap_or_default();
    let resistor = !of_r.is_empty() && of_r.bytes().all(|b| b.is_ascii_digit());
    let subject = Subject::Across(Place { name, pin: None });
    let points = Points {
        subject,
        said: lead,
        resistor,
    };
    Ok((rest, points))
}

fn points_first(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, points) = points(input)?;
    let named = points.said || matches!(points.subject, Subject::Along(..));
    let (rest, state) = match named {
        true => want(OHMS, |i| reading(i, &points))(rest)?,
        // Of a part alone anything may be said.
        false => reading(rest, &points)?,
    };
    let (rest, _) = opt(alt((word(Resistance), word(AcrossPart)))).parse(rest)?;
    Ok((rest, vec![found(points.subject, state)]))
}

/// `no continuity U15.9 to CN6.10`, `0.3 ohm across FB4`, `continuity U15.9 to CN6.10` and no more.
fn reading_first(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (rest, state) = alt((value, words)).parse(input)?;
    let (rest, across) = opt(word_of).parse(rest)?;
    let (rest, points) = points(rest)?;
    // `open U5`, `4.7 ohm U5` may be said of anything.
    if across.is_none() && !points.said {
        return Err(nom::Err::Error(E::silent(input)));
    }
    Ok((rest, vec![found(points.subject, state)]))
}

fn value(input: Toks<'_>) -> P<'_, State> {
    map(measured(&[Unit::Ohm], None), |(r, _)| State::Ohms(r)).parse(input)
}

/// Words of a meter that say nothing else: `open`, `continuity`.
fn words(input: Toks<'_>) -> P<'_, State> {
    let open = map(word(Open), |()| State::Ohms(f64::INFINITY));
    alt((open, map(word(Joined), |()| State::Ok))).parse(input)
}

/// A reading behind the points; what may be said of other things as well only when a meter was named.
fn reading<'a>(input: Toks<'a>, points: &Points) -> P<'a, State> {
    let legs = matches!(points.subject, Subject::Along(..));
    let (said, resistor) = (points.said, points.resistor);
    const STATES: &[(crate::sheet::concept::Concept, State)] = &[
        (Good, State::Ok),
        (Bad, State::Dead),
        (Dead, State::Dead),
        (Shorted, State::Shorted),
    ];
    if let Ok((rest, ())) = word(Joined)(input) {
        let (rest, how) = opt(one_of(STATES)).parse(rest)?;
        return Ok((rest, open_if(how.unwrap_or(State::Ok))));
    }
    let default = (said || resistor).then_some(Unit::Ohm);
    let ohms = |i| {
        let (rest, (r, _)) = measured(&[Unit::Ohm], default)(i)?;
        // `1M ohm`: the unit behind a number that has its prefix already.
        let (rest, _) = opt(lit(&["ohm", "ohms", "\u{3c9}"])).parse(rest)?;
        Ok::<_, nom::Err<E>>((rest, State::Ohms(r)))
    };
    match ohms(input) {
        Ok((rest, State::Ohms(r))) if r >= 0.0 => return Ok((rest, State::Ohms(r))),
        Ok(_) => return fail(input, "a resistance, not below 0"),
        Err(_) => {}
    }
    // Two legs and `open` say it all; of one part it may be a part that is called open.
    if (said || legs)
        && let Ok(done) = words(input)
    {
        return Ok(done);
    }
    if !said {
        return Err(nom::Err::Error(E::silent(input)));
    }
    map(one_of(STATES), open_if).parse(input)
}

/// Bad between two points is open.
fn open_if(state: State) -> State {
    match state {
        State::Dead => State::Ohms(f64::INFINITY),
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use crate::sheet::{parse, print_statement};

    /// What a line is read as; `?` when it is not.
    fn read(line: &str) -> String {
        let sheet = parse("t", line.as_bytes()).expect("a text");
        match sheet.diags.is_empty() {
            true => sheet
                .statements()
                .map(|s| print_statement(&s.value))
                .collect::<Vec<_>>()
                .join("; "),
            false => "?".into(),
        }
    }

    #[test]
    fn ohms_are_read_as_they_are_typed() {
        for (typed, meant) in [
            ("FB4 0.2 ohm", "ohms across FB4 0.2 ohm"),
            ("resistance FB4 0.2", "ohms across FB4 0.2 ohm"),
            ("R5 4k7", "ohms across R5 4.7 kohm"),
            ("R41 1M ohm", "ohms across R41 1 Mohm"),
            ("0.3 ohm across FB4", "ohms across FB4 0.3 ohm"),
            ("FB4 continuity ok", "ohms across FB4 ok"),
            ("ohms across D1 shorted", "ohms across D1 shorted"),
            ("U15.9 to CN6.10 open", "U15.9 to CN6.10 open"),
            ("U15.9-CN6.10 open", "U15.9 to CN6.10 open"),
            ("u15 pin 9 to cn6 pin 10 0.3R", "U15.9 to CN6.10 0.3 ohm"),
            ("no continuity U15.9 to CN6.10", "U15.9 to CN6.10 open"),
            ("beeps U15.9 to CN6.10", "U15.9 to CN6.10 ok"),
            ("U15.9 CN6.10 open", "U15.9 to CN6.10 open"),
            ("U15.9-CN6.10 ok", "U15.9 to CN6.10 ok"),
            ("U15.9 -> CN6.10 open", "U15.9 to CN6.10 open"),
            ("track U15.9 CN6.10 broken", "U15.9 to CN6.10 open"),
            ("no connection U15.9 to CN6.10", "U15.9 to CN6.10 open"),
            ("drop at U21 lowest", "drop at U21 lowest"),
            ("lowest drop at U21", "drop at U21 lowest"),
            (
                "drop at U9 U10 higher",
                "drop at U9 higher; drop at U10 higher",
            ),
            // Nothing of these is ohms between two points.
            ("U7.40 12 ohm", "U7.40 12 ohm"),
            ("resistance +5V 12 ohm", "resistance rail +5V 12 ohm"),
            ("U12.3, U13.4 low", "U12.3 low; U13.4 low"),
        ] {
            assert_eq!(read(typed), meant, "{typed}");
        }
        for typed in [
            "FB4 0.2",
            "U15.9 to CN6 open",
            "drop at U21",
            "ohms across FB4 -3",
        ] {
            assert_eq!(read(typed), "?", "{typed}");
        }
    }

    #[test]
    fn what_was_held_across_or_lifted_is_read() {
        for (typed, meant) in [
            ("bridged C70: no change", "bridged C70: no change"),
            ("C70 bridged with a good one: cured", "bridged C70: cured"),
            ("jumpered FB5, no change", "bridged FB5: no change"),
            ("lifted U13.4: changed", "lifted U13.4: changed"),
            ("lifted leg 4 of U13: no change", "lifted U13.4: no change"),
            ("U13 pin 4 lifted: no change", "lifted U13.4: no change"),
        ] {
            assert_eq!(read(typed), meant, "{typed}");
        }
        assert_eq!(read("lifted U13: changed"), "?");
    }
}
