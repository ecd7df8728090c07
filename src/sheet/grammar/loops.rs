//! Loops of the test as they are told in prose: how many, how many of them failed, warm or cold, in any order.

use nom::Parser;
use nom::branch::alt;
use nom::combinator::{map, opt};

use super::base::*;
use super::result::finding;
use crate::sheet::concept::Concept::{self, *};
use crate::sheet::statement::{State, Statement, Subject, Warmth};
use crate::sheet::toks::{E, P, Toks};

/// One thing said about the loops.
#[derive(Debug, Clone, Copy)]
enum Said {
    /// That loops are spoken of.
    Loops,
    /// So many were run.
    Run(u32),
    /// So many of so many.
    Of(u32, u32),
    /// So many failed.
    Failed(u32),
    /// They failed.
    Bad,
    /// They passed.
    Good,
    At(Warmth),
}

/// A number in digits or as a word.
fn count<'a>(input: Toks<'a>) -> P<'a, u32> {
    const WORDS: [(&str, u32); 14] = [
        ("one", 1),
        ("two", 2),
        ("three", 3),
        ("four", 4),
        ("five", 5),
        ("six", 6),
        ("seven", 7),
        ("eight", 8),
        ("nine", 9),
        ("ten", 10),
        ("twelve", 12),
        ("twenty", 20),
        ("fifty", 50),
        ("hundred", 100),
    ];
    let worded = after_gap(|i: Toks<'a>| {
        let typed = i.first().map_or("", |a| &*a.lower);
        match WORDS.iter().find(|(word, _)| *word == typed) {
            Some((_, n)) => Ok((i.skip(1), *n)),
            None => Err(nom::Err::Error(E::silent(i))),
        }
    });
    alt((uint, worded)).parse(input)
}

/// `1bad`: a number stuck to its verdict; elsewhere it may be hex.
fn glued_count<'a>(input: Toks<'a>) -> P<'a, u32> {
    after_gap(|i: Toks<'a>| {
        let number = i.first().and_then(|a| a.lower.strip_suffix("bad"));
        match number.and_then(|n| n.parse().ok()) {
            Some(n) => Ok((i.skip(1), n)),
            None => Err(nom::Err::Error(E::silent(i))),
        }
    })(input)
}

/// `cold starts`: the warmth, and that starts are counted.
fn starts(input: Toks<'_>) -> P<'_, Said> {
    let (rest, warmth) = warmth(input)?;
    Ok((rest, Said::At(warmth)))
}

fn said(input: Toks<'_>) -> P<'_, Said> {
    let slash = after_gap(mark(&["/"]));
    alt((
        map(
            (count, alt((word(Of), slash)), count, opt(word(Loop))),
            |(n, (), m, _)| Said::Of(n, m),
        ),
        map((opt(word(Each)), count, word(Loop)), |(_, n, ())| {
            Said::Run(n)
        }),
        map((word(Ran), count, opt(word(Loop))), |((), n, _)| {
            Said::Run(n)
        }),
        map(
            alt((glued_count, map((count, word(Bad)), |(n, ())| n))),
            Said::Failed,
        ),
        map(word(NoFails), |()| Said::Failed(0)),
        starts,
        map(alt((word(Ran), word(Loop))), |()| Said::Loops),
        map((opt(word(Each)), word(Good)), |_| Said::Good),
        map(word(Bad), |()| Said::Bad),
    ))
    .parse(input)
}

/// What was said, put together; `None` when it is not enough or contradicts itself.
fn together(all: &[Said]) -> Option<(Option<Warmth>, u32, u32)> {
    let one = |pick: &dyn Fn(&Said) -> Option<u32>| -> Option<Option<u32>> {
        let mut found = all.iter().filter_map(pick);
        let first = found.next();
        found.next().is_none().then_some(first)
    };
    let run = one(&|s| match s {
        Said::Run(m) | Said::Of(_, m) => Some(*m),
        _ => None,
    })??;
    let of = one(&|s| match s {
        Said::Of(n, _) => Some(*n),
        _ => None,
    })?;
    let failed = one(&|s| match s {
        Said::Failed(n) => Some(*n),
        _ => None,
    })?;
    let good = all.iter().any(|s| matches!(s, Said::Good));
    let bad = all.iter().any(|s| matches!(s, Said::Bad));
    let failed = match (of, failed, good, bad) {
        (Some(n), None, false, true) => n,
        (None, Some(n), false, _) => n,
        (None, Some(0), true, false) | (None, None, true, false) => 0,
        _ => return None,
    };
    let mut warmths = all.iter().filter_map(|s| match s {
        Said::At(w) => Some(*w),
        _ => None,
    });
    let warmth = warmths.next();
    let fits = warmths.next().is_none() && failed <= run && run > 0;
    fits.then_some((warmth, failed, run))
}

/// `ran 14 warm no fails`, `412 loops, 1bad`, `cold starts: 2 out of 5 failed`, `all ten loops clean, warm`.
pub fn loop_run(input: Toks<'_>) -> P<'_, Vec<Statement>> {
    let (mut rest, mut all) = (input, Vec::new());
    while end(rest).is_err() && all.len() < 8 {
        let (after, one) = said(rest)?;
        all.push(one);
        rest = after;
    }
    let of_loops = |i: usize| {
        let concept = |c: Concept| input.lexed.longest(i, c).is_some();
        concept(Loop) || concept(Ran) || input.lexed.atoms[i].lower == "starts"
    };
    let told = (input.from..rest.from).any(of_loops);
    match together(&all) {
        Some((warmth, failed, run)) if told => {
            let state = if failed == 0 { State::Ok } else { State::Bad };
            let mut whole = finding(Subject::Test, state);
            (whole.loops, whole.warmth) = (Some((failed, run)), warmth);
            Ok((rest, vec![Statement::Finding(whole)]))
        }
        _ => fail(
            input,
            "how many of the loops failed, as in 3 of 20 loops failed",
        ),
    }
}
