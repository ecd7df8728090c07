//! Answers about several things at once: which part is hot, which line stands still, which leg touches nothing. What is not named
//! is as it should be.

use super::answer::{Understood, full};
use crate::sheet::{Finding, Place, State, Statement, Subject};

/// Which part got hot, `M3` or `M3 hot`, or `none`: the others that were asked about did not get hotter than usual.
pub(super) fn felt(places: &[Place], answer: &str) -> Option<Vec<Statement>> {
    const NONE: [&str; 8] = [
        "none",
        "no",
        "nothing",
        "none hot",
        "nothing hot",
        "no chip hot",
        "all the same",
        "all cold",
    ];
    let of = |place: &Place, state: State| {
        Statement::Finding(Finding {
            subject: Subject::Heat(place.clone()),
            state,
            loops: None,
            warmth: None,
        })
    };
    let heat = |text: &str| -> Option<Vec<Statement>> {
        let Understood::Line(all, read_as) = full(text) else {
            return None;
        };
        let is = |s: &Statement| matches!(s, Statement::Finding(f) if matches!(f.subject, Subject::Heat(_)));
        (!all.is_empty() && read_as.is_empty() && all.iter().all(is)).then_some(all)
    };
    let said = answer.trim().trim_end_matches('.').to_lowercase();
    let mut all = match NONE.contains(&said.as_str()) {
        true => Vec::new(),
        false => heat(answer).or_else(|| heat(&format!("{answer} hot")))?,
    };
    let named = |place: &Place| {
        let is = |s: &Statement| matches!(s, Statement::Finding(f) if matches!(&f.subject, Subject::Heat(p) if p == place));
        all.iter().any(is)
    };
    let others: Vec<Statement> = (places.iter())
        .filter(|p| !named(p))
        .map(|p| of(p, State::Warm))
        .collect();
    all.extend(others);
    Some(all)
}

/// A pin as an example of an answer.
pub(super) fn example(lines: &[(String, Place)]) -> String {
    let pin = lines.first().and_then(|(_, place)| place.pin.clone());
    pin.unwrap_or_default()
}

/// Which lines do not pulse, `13 high`, `U9.13 high` or `MA6 high`, or `all pulse`: the others that were asked about do.
pub(super) fn still(lines: &[(String, Place)], answer: &str) -> Option<Vec<Statement>> {
    const ALL: [&str; 9] = [
        "all",
        "all pulse",
        "all pulsing",
        "pulsing",
        "all ok",
        "ok",
        "all good",
        "none",
        "all move",
    ];
    let pin = |place: &Place| {
        format!(
            "{}.{}",
            place.name,
            place.pin.as_deref().unwrap_or_default()
        )
    };
    let level = |text: &str| -> Option<Statement> {
        let Understood::Line(all, read_as) = full(text) else {
            return None;
        };
        let is = |s: &Statement| matches!(s, Statement::Finding(f) if matches!(f.subject, Subject::Level(_)));
        match &all[..] {
            [one] if read_as.is_empty() && is(one) => Some(one.clone()),
            _ => None,
        }
    };
    let said = answer.trim().trim_end_matches('.').to_lowercase();
    let mut states: Vec<Option<Statement>> = vec![None; lines.len()];
    if let Some(how) = said
        .strip_prefix("all ")
        .filter(|how| ["low", "high", "floating"].contains(how))
    {
        for (state, (_, place)) in states.iter_mut().zip(lines) {
            *state = Some(level(&format!("{} {how}", pin(place)))?);
        }
    } else if !ALL.contains(&said.as_str()) {
        for part in said
            .split([',', ';'])
            .map(str::trim)
            .filter(|p| !p.is_empty())
        {
            let (name, how) = part.split_once(char::is_whitespace)?;
            let is = |(line, place): &(String, Place)| {
                [
                    line.clone(),
                    pin(place),
                    place.pin.clone().unwrap_or_default(),
                ]
                .iter()
                .any(|n| n.eq_ignore_ascii_case(name))
            };
            let at = lines.iter().position(is)?;
            states[at] = Some(level(&format!("{} {how}", pin(&lines[at].1)))?);
        }
    }
    let pulsing = |place: &Place| level(&format!("{} pulsing", pin(place)));
    let each = states.into_iter().zip(lines);
    each.map(|(state, (_, place))| state.or_else(|| pulsing(place)))
        .collect()
}

/// A pin as typed: `U9.13`.
fn pin_text(place: &Place) -> String {
    format!(
        "{}.{}",
        place.name,
        place.pin.as_deref().unwrap_or_default()
    )
}

/// The first leg as an example of an answer.
pub(super) fn example_leg(legs: &[(Place, Place)]) -> String {
    let pin = legs.first().and_then(|(leg, _)| leg.pin.clone());
    pin.unwrap_or_default()
}

/// Which legs touch nothing, `9`, `U15.9`, `9 open, 10 25 ohm`, or `all joined`: the others that were asked about do.
pub(super) fn joined(legs: &[(Place, Place)], answer: &str) -> Option<Vec<Statement>> {
    const ALL: [&str; 9] = [
        "all",
        "all joined",
        "joined",
        "all ok",
        "ok",
        "all good",
        "all beep",
        "none",
        "none open",
    ];
    let of = |(from, to): &(Place, Place), state: State| {
        Statement::Finding(Finding {
            subject: Subject::Along(Box::new([from.clone(), to.clone()])),
            state,
            loops: None,
            warmth: None,
        })
    };
    let said = answer.trim().trim_end_matches('.').to_lowercase();
    let mut states = vec![State::Ok; legs.len()];
    if said == "all open" {
        states.fill(State::Ohms(f64::INFINITY));
    } else if !ALL.contains(&said.as_str()) {
        let parts = said.split([',', ';']).map(str::trim);
        for part in parts.filter(|p| !p.is_empty()) {
            let (name, how) = part
                .split_once(char::is_whitespace)
                .unwrap_or((part, "open"));
            let is = |(leg, _): &(Place, Place)| {
                [pin_text(leg), leg.pin.clone().unwrap_or_default()]
                    .iter()
                    .any(|n| n.eq_ignore_ascii_case(name))
            };
            let at = legs.iter().position(is)?;
            let (from, to) = &legs[at];
            let line = format!("{} to {} {how}", pin_text(from), pin_text(to));
            let Understood::Line(all, read_as) = full(&line) else {
                return None;
            };
            states[at] = match &all[..] {
                [Statement::Finding(f)]
                    if read_as.is_empty() && matches!(f.subject, Subject::Along(..)) =>
                {
                    f.state.clone()
                }
                _ => return None,
            };
        }
    }
    let each = legs.iter().zip(states);
    Some(each.map(|(leg, state)| of(leg, state)).collect())
}

/// The part at which a rail is lowest, `U21` or `lowest at U21`: at the others it is higher.
pub(super) fn lowest(places: &[Place], answer: &str) -> Option<Vec<Statement>> {
    let said = answer.trim().trim_end_matches('.').to_lowercase();
    let named = |p: &&Place| {
        let name = p.name.to_lowercase();
        said.split_whitespace().any(|word| word == name)
    };
    let mut found = places.iter().filter(named);
    let (Some(lowest), None) = (found.next(), found.next()) else {
        return None;
    };
    let of = |place: &Place| {
        let state = match place == lowest {
            true => State::Low,
            false => State::High,
        };
        Statement::Finding(Finding {
            subject: Subject::Drop(place.clone()),
            state,
            loops: None,
            warmth: None,
        })
    };
    Some(places.iter().map(of).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::print_statement;

    fn said(all: Option<Vec<Statement>>) -> String {
        let text = |all: Vec<Statement>| {
            all.iter()
                .map(print_statement)
                .collect::<Vec<_>>()
                .join("; ")
        };
        all.map_or("?".into(), text)
    }

    fn leg(name: &str, pin: &str) -> Place {
        Place {
            name: name.into(),
            pin: Some(pin.into()),
        }
    }

    #[test]
    fn legs_that_are_not_named_touch() {
        let legs = [
            (leg("U15", "9"), leg("CN6", "10")),
            (leg("U15", "10"), leg("CN6", "7")),
        ];
        for (answer, meant) in [
            ("all joined", "U15.9 to CN6.10 ok; U15.10 to CN6.7 ok"),
            ("9", "U15.9 to CN6.10 open; U15.10 to CN6.7 ok"),
            ("10 open", "U15.9 to CN6.10 ok; U15.10 to CN6.7 open"),
            (
                "u15.10 25 ohm",
                "U15.9 to CN6.10 ok; U15.10 to CN6.7 25 ohm",
            ),
            (
                "9 open, 10 open",
                "U15.9 to CN6.10 open; U15.10 to CN6.7 open",
            ),
            ("11 open", "?"),
            ("9 hot", "?"),
        ] {
            assert_eq!(said(joined(&legs, answer)), meant, "{answer}");
        }
    }

    #[test]
    fn a_rail_is_lowest_at_one_part() {
        let places = ["U9", "U21"].map(|name| Place {
            name: name.into(),
            pin: None,
        });
        for (answer, meant) in [
            ("U21", "drop at U9 higher; drop at U21 lowest"),
            ("lowest at u9.", "drop at U9 lowest; drop at U21 higher"),
            ("U9 U21", "?"),
            ("U5", "?"),
        ] {
            assert_eq!(said(lowest(&places, answer)), meant, "{answer}");
        }
    }
}
