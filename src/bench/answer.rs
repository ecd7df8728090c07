//! An answer, bare or in full, to the line of the sheet that it means.

use super::lists::{example, example_leg, felt, joined, lowest, still};
use crate::next::Ask;
use crate::sheet::{
    Effect, Finding, HandsOn, Place, RunSheet, State, Statement, Subject, Warmth, parse,
    print_statement,
};

/// What became of an answer.
#[derive(Debug, Clone, PartialEq)]
pub enum Understood {
    /// Statements, and words that were read as others.
    Line(Vec<Statement>, Vec<(String, String)>),
    /// Not understood: what to type.
    Not(String),
}

/// Reads an answer: as the rest of what was asked, else as a line of a sheet.
pub fn understand(ask: Option<&Ask>, answer: &str) -> Understood {
    // Of several things at once what is not named is as it should be.
    let listed = match ask {
        Some(Ask::Supply) => supplies(answer),
        Some(Ask::Feel { places, .. }) => felt(places, answer),
        Some(Ask::Lines { lines }) => still(lines, answer),
        Some(Ask::Drop { places, .. }) => lowest(places, answer),
        Some(Ask::Joined { legs }) => joined(legs, answer),
        _ => None,
    };
    if let Some(all) = listed {
        return Understood::Line(all, Vec::new());
    }
    // Who types what was asked as well has typed a line.
    let line = answer.trim_start().to_lowercase().starts_with("rail ");
    if let Some(statement) = ask
        .filter(|_| !line)
        .and_then(|ask| in_context(ask, answer))
    {
        if let (Some(Ask::Rail { .. }), Statement::Finding(f)) = (ask, &statement)
            && matches!(f.state, State::Ok | State::Bad | State::Wrong)
        {
            return Understood::Not("type the volts, as in 4.98; or missing, low, high".into());
        }
        return Understood::Line(vec![statement], Vec::new());
    }
    match (full(answer), loops(answer)) {
        // Loops are counted whatever is asked.
        (Understood::Not(_), Some(counted)) => Understood::Line(vec![counted], Vec::new()),
        (read, _) => read,
    }
}

/// What a question takes, in a few words.
pub fn takes(ask: &Ask) -> Option<String> {
    Some(match ask {
        Ask::Rail { ac, .. } => format!("volts{}, as in 4.98", if *ac { " AC" } else { "" }),
        Ask::Line { .. } => "pulsing, high, low".into(),
        Ask::Lines { lines } => format!(
            "what does not pulse, as in '{} high'; or all",
            example(lines)
        ),
        Ask::Check { .. } => "ok or bad".into(),
        Ask::Test { .. } => "lines of a sheet, as in 'memory bit 3 bad; rest fine'".into(),
        Ask::Remedy { seen: true, .. } => "cured, no change, changed".into(),
        Ask::Remedy { seen: false, .. } => "done".into(),
        Ask::Supply => "a rail and its volts, as in +5V 5.1".into(),
        Ask::Resistance { .. } => "ohms, as in 350".into(),
        Ask::Across { .. } => "ohms, as in 0.3; or open, ok".into(),
        Ask::Joined { legs } => format!(
            "the legs that touch nothing, as in '{}'; or all joined",
            example_leg(legs)
        ),
        Ask::Drop { places, .. } => format!(
            "the part at which it is lowest, as in '{}'",
            places.first().map_or("", |p| p.name.as_str())
        ),
        Ask::Feel { .. } => "the hot one, as in 'M3 hot'; or none".into(),
        Ask::Loops => "failed loops of loops run, as in 0 of 14 warm".into(),
    })
}

/// What was put in: `4164-15`, `4164-15 from shelf`, `4164-15, new`, `4164-15 ticket 0398`.
///
/// # Errors
/// What to type instead.
pub fn fitted(place: &Place, text: &str) -> Result<Vec<Statement>, String> {
    let known = |line: &str| match full(line) {
        Understood::Line(all, _) if !all.is_empty() => Ok(all),
        Understood::Line(..) => Err(FITTED.to_string()),
        Understood::Not(_) => Err(FITTED.to_string()),
    };
    if let Ok(all) = known(&format!("fitted {} {text}", place.name)) {
        return Ok(all);
    }
    let words = text.replace(',', " ");
    let (part, from) = words.trim().split_once(' ').ok_or(FITTED)?;
    let from = from.trim().trim_start_matches("from ").trim();
    let from = from.strip_prefix("the ").unwrap_or(from);
    let mut all = known(&format!("fitted {} {part}", place.name))?;
    all.extend(known(&format!("origin {} {from}", place.name))?);
    Ok(all)
}

const FITTED: &str = "type the part and where it is from, as in '4164-15 from shelf', '4164-15 new', '4164-15 from ticket 0398'";

/// What came out.
///
/// # Errors
/// What to type instead.
pub fn old_part(place: &Place, text: &str) -> Result<Vec<Statement>, String> {
    match full(&format!("old part {} {text}", place.name)) {
        Understood::Line(all, _) if matches!(all[..], [Statement::OldPart { .. }]) => Ok(all),
        _ => Err("type what is printed on it, as in '4164-20', or an empty line".into()),
    }
}

/// Whether a text is a command, a count of loops, or a line about the machine rather than about one part.
pub fn is_of_the_machine(text: &str) -> bool {
    let commands = ["close", "skip", "why", "more", "safety"];
    let word = text.to_lowercase();
    let lines = |s: &Statement| {
        matches!(
            s,
            Statement::Finding(_)
                | Statement::HandsOn(_)
                | Statement::RestFine
                | Statement::NewRun
                | Statement::Outcome(_)
        )
    };
    commands.contains(&&*word)
        || super::command(text).is_some()
        || word.strip_prefix("did").is_some_and(|w| w.starts_with(' '))
        || loops(text).is_some()
        || matches!(full(text), Understood::Line(all, _) if !all.is_empty() && all.iter().all(lines))
}

/// Several readings of the supply by itself.
pub fn supplies(answer: &str) -> Option<Vec<Statement>> {
    let parts = answer.split(',').map(str::trim).filter(|p| !p.is_empty());
    let all: Option<Vec<Statement>> = parts.map(supply).collect();
    all.filter(|a| !a.is_empty())
}

/// Reads a line of a sheet.
pub fn full(answer: &str) -> Understood {
    let Ok(sheet) = parse("answer", answer.as_bytes()) else {
        return Understood::Not("type an answer, or 'help'".into());
    };
    if let Some(not) = sheet.lines.iter().find_map(|l| l.not_understood.as_ref()) {
        return Understood::Not(not.hint.clone());
    }
    let read_as = sheet
        .corrections
        .iter()
        .map(|c| (c.typed.clone(), c.read_as.clone()))
        .collect();
    Understood::Line(said(&sheet), read_as)
}

fn said(sheet: &RunSheet) -> Vec<Statement> {
    sheet.statements().map(|s| s.value.clone()).collect()
}

/// The one statement that a text is, without anything to be said about it.
fn one(text: &str) -> Option<Statement> {
    let sheet = parse("answer", text.as_bytes()).ok()?;
    match &said(&sheet)[..] {
        [one] if sheet.diags.is_empty() => Some(one.clone()),
        _ => None,
    }
}

fn in_context(ask: &Ask, answer: &str) -> Option<Statement> {
    match ask {
        Ask::Remedy { action, place, .. } => {
            let done = HandsOn {
                action: *action,
                places: vec![place.clone()],
                result: Effect::Unknown,
            };
            let said = answer.trim().to_lowercase();
            let effect = match said.as_str() {
                "done" | "did it" => Effect::Unknown,
                _ => effect_of(&done, answer)?,
            };
            let done = Statement::HandsOn(HandsOn {
                result: effect,
                ..done
            });
            // Where the sheet has no name for the place, the line would not read back.
            (one(&print_statement(&done))? == done).then_some(done)
        }
        Ask::Loops => loops(answer),
        Ask::Test { .. } => {
            let all = [
                "ok", "fine", "good", "all ok", "all fine", "all good", "passes", "all pass",
            ];
            let said = answer.trim().to_lowercase();
            all.contains(&said.as_str()).then(|| one("rest fine"))?
        }
        // A sheet may leave the sign of a rail out, and of some names it must.
        Ask::Rail { rail, .. } => {
            let plain = rail.trim_start_matches('+');
            let is =
                |s: &Subject| matches!(s, Subject::Rail(n) if n.trim_start_matches('+') == plain);
            finding(&format!("rail {rail}"), answer, is)
                .or_else(|| finding(&format!("rail {plain}"), answer, is))
        }
        Ask::Supply => supply(answer),
        _ => {
            let subject = ask.subject()?;
            finding(&head(&subject), answer, |s| *s == subject)
        }
    }
}

/// What is said of the supply by itself: a rail and how it is, or a state alone.
pub fn supply(answer: &str) -> Option<Statement> {
    let is = |s: &Subject| matches!(s, Subject::Supply(_));
    // A supply is measured by itself when it is off the board; that has to be said.
    let off = |volts: &str| finding("psu rail", &format!("{answer}{volts} off the board"), is);
    off("")
        .or_else(|| off(" V"))
        .or_else(|| finding("supply", answer, is))
}

/// The finding about what was asked that an answer is, behind the words of the question.
fn finding(head: &str, answer: &str, is: impl Fn(&Subject) -> bool) -> Option<Statement> {
    let read = |text: &str| match one(text)? {
        Statement::Finding(f) if is(&f.subject) => Some(Statement::Finding(f)),
        _ => None,
    };
    read(&format!("{head} {answer}")).or_else(|| read(&format!("{head} {answer} V")))
}

/// The line up to the state.
fn head(subject: &Subject) -> String {
    let ok = Finding {
        subject: subject.clone(),
        state: State::Ok,
        loops: None,
        warmth: None,
    };
    let text = print_statement(&Statement::Finding(ok));
    text.strip_suffix(" ok").unwrap_or(&text).to_string()
}

/// `cured`, `no change` …; `ok` and `bad` are said of the machine.
pub fn effect_of(done: &HandsOn, answer: &str) -> Option<Effect> {
    let line = print_statement(&Statement::HandsOn(done.clone()));
    if let Some(Statement::HandsOn(h)) = one(&format!("{line}: {answer}"))
        && h.result != Effect::Unknown
        && h.action == done.action
    {
        return Some(h.result);
    }
    match one(&format!("test {answer}"))? {
        Statement::Finding(f) if f.loops.is_none() => match f.state {
            State::Ok => Some(Effect::Cured),
            State::Bad => Some(Effect::NoChange),
            _ => None,
        },
        _ => None,
    }
}

/// `0 of 14`, `1 of 5 cold`: failing loops of loops run.
fn loops(answer: &str) -> Option<Statement> {
    let mut words = answer.split_whitespace();
    let failed: u32 = words.next()?.parse().ok()?;
    let of = match words.next()? {
        "of" | "in" | "/" => words.next()?.parse().ok()?,
        _ => return None,
    };
    let mut warmth = None;
    for word in words {
        match word {
            "loops" | "loop" | "starts" | "start" | "when" | "failed" => {}
            "cold" => warmth = Some(Warmth::Cold),
            "warm" | "hot" => warmth = Some(Warmth::Warm),
            _ => return None,
        }
    }
    let state = if failed == 0 { State::Ok } else { State::Bad };
    (failed <= of && of > 0).then_some(Statement::Finding(Finding {
        subject: Subject::Test,
        state,
        loops: Some((failed, of)),
        warmth,
    }))
}

/// How to ask for the answer to a step, in the words of a sheet.
pub fn prompt(ask: Option<&Ask>) -> String {
    match ask {
        None => "answer:".into(),
        Some(Ask::Rail { rail, place, ac }) => {
            let volts = if *ac { "volts AC" } else { "volts" };
            format!("rail {rail} at {place} ({volts}, or missing):")
        }
        Some(Ask::Line { line, place }) => {
            let pin = place
                .pin
                .as_deref()
                .map_or(String::new(), |p| format!(" pin {p}"));
            format!("line {line} at {}{pin} (pulsing, high, low):", place.name)
        }
        Some(ask @ Ask::Check { what, .. }) => match ask.subject() {
            Some(subject) => format!("{} (ok, bad ...):", head(&subject)),
            None => format!("{what} (as a line of a sheet):"),
        },
        Some(Ask::Test { .. }) => {
            "what the test shows (lines of a sheet, ';' between; 'rest fine'):".into()
        }
        Some(ask @ Ask::Remedy { action, place, .. }) => {
            let done = HandsOn {
                action: *action,
                places: vec![place.clone()],
                result: Effect::Unknown,
            };
            let line = print_statement(&Statement::HandsOn(done.clone()));
            // A place that no sheet has a word for: only what is seen afterwards can be said.
            if one(&line) != Some(Statement::HandsOn(done)) {
                return "what it shows now (a line of a sheet), or skip:".into();
            }
            format!("{line} ({}):", takes(ask).unwrap_or_default())
        }
        Some(Ask::Supply) => {
            "supply by itself, unplugged (rail and volts, as in '+5V 5.1'):".into()
        }
        Some(Ask::Resistance { rail }) => {
            format!("resistance {rail} to ground, unplugged (ohms, as in '350', or shorted):")
        }
        Some(Ask::Across { place }) => {
            format!(
                "ohms across {}, the power off (as in '0.3', or open):",
                place.name
            )
        }
        Some(Ask::Joined { legs }) => format!(
            "which leg touches nothing (as in '{}'; or all joined):",
            example_leg(legs)
        ),
        Some(Ask::Drop { rail, places }) => format!(
            "rail {rail} is lowest at (as in '{}'):",
            places.first().map_or("", |p| p.name.as_str())
        ),
        Some(Ask::Feel { .. }) => "which one is hot (as in 'M3 hot'; or none):".into(),
        Some(Ask::Lines { lines }) => {
            let example = example(lines);
            format!(
                "which one does not pulse, and how it is (as in '{example} high'); or all pulse:"
            )
        }
        Some(Ask::Loops) => "loops (failed of run, cold or warm, as in '0 of 14 warm'):".into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::Action;

    fn line(ask: &Ask, answer: &str) -> String {
        match understand(Some(ask), answer) {
            Understood::Line(all, _) => all
                .iter()
                .map(print_statement)
                .collect::<Vec<_>>()
                .join("; "),
            Understood::Not(hint) => format!("? {hint}"),
        }
    }

    fn at(name: &str, pin: Option<&str>) -> Place {
        Place {
            name: name.into(),
            pin: pin.map(String::from),
        }
    }

    #[test]
    fn a_bare_answer_is_said_of_what_was_asked() {
        let rail = Ask::Rail {
            rail: "+5V".into(),
            place: "C1 pin 1".into(),
            ac: false,
        };
        assert_eq!(line(&rail, "4.98"), "rail +5V 4.98 V");
        assert_eq!(line(&rail, "5"), "rail +5V 5.0 V");
        assert_eq!(line(&rail, "missing"), "rail +5V dead");
        assert!(line(&rail, "ok").starts_with("? type the volts"));
        assert_eq!(line(&rail, "rail +5V ok"), "rail +5V ok");
        assert_eq!(
            line(&rail, "2 of 20 warm"),
            "test bad in 2 of 20 loops when warm"
        );
        let pin = Ask::Line {
            line: "PHI0".into(),
            place: at("P1", Some("37")),
        };
        assert_eq!(line(&pin, "pulsing"), "P1.37 pulsing");
        assert_eq!(line(&pin, "1.02 MHz"), "P1.37 1.02 MHz");
        let check = Ask::Check {
            id: "clock.2".into(),
            what: "clock 2".into(),
        };
        assert_eq!(line(&check, "stopped"), "clock 2 stopped");
        let swap = Ask::Remedy {
            unit: "M3".into(),
            action: Action::Swap,
            place: at("M3", None),
            seen: true,
        };
        assert_eq!(line(&swap, "no change"), "swapped M3: no change");
        assert_eq!(line(&swap, "ok"), "swapped M3: cured");
        assert_eq!(line(&swap, "still bad"), "swapped M3: no change");
        assert_eq!(
            line(&Ask::Loops, "0 of 14 cold"),
            "test ok in 0 of 14 loops when cold"
        );
        assert_eq!(line(&Ask::Loops, "2 of 9"), "test bad in 2 of 9 loops");
        assert_eq!(
            line(&Ask::Supply, "+5V 5.1, 9VAC 10.2"),
            "psu rail +5V 5.1 V off the board; psu rail 9VAC 10.2 V off the board"
        );
    }

    /// The hot one is named, or none; the others that were asked about did not get hot.
    #[test]
    fn the_hot_part_is_named_and_the_others_are_not_hot() {
        let feel = Ask::Feel {
            rail: "+5V".into(),
            places: vec![at("U10", None), at("U1", None)],
        };
        for none in ["none", "Nothing hot.", "no"] {
            assert_eq!(line(&feel, none), "U10 warm; U1 warm");
        }
        assert_eq!(line(&feel, "U1"), "U1 hot; U10 warm");
        assert_eq!(line(&feel, "u1 too hot"), "U1 too hot; U10 warm");
        assert_eq!(line(&feel, "U7 hot"), "U7 hot; U10 warm; U1 warm");
        assert_eq!(line(&feel, "memory bit 3 bad"), "memory bit 3 bad");
        assert!(line(&feel, "blorp").starts_with('?'));
    }

    /// What stands still is named, by pin, line or number; the others pulse.
    #[test]
    fn the_still_line_is_named_and_the_others_pulse() {
        let lines = Ask::Lines {
            lines: vec![
                ("MA0".into(), at("U9", Some("5"))),
                ("MA1".into(), at("U9", Some("7"))),
            ],
        };
        for all in ["all pulse", "OK", "none."] {
            assert_eq!(line(&lines, all), "U9.5 pulsing; U9.7 pulsing");
        }
        for one in ["7 high", "U9.7 high", "ma1 high."] {
            assert_eq!(line(&lines, one), "U9.5 pulsing; U9.7 high", "{one}");
        }
        assert_eq!(line(&lines, "5 low, 7 floating"), "U9.5 low; U9.7 floating");
        assert_eq!(line(&lines, "all low"), "U9.5 low; U9.7 low");
        assert_eq!(line(&lines, "U7.40 low"), "U7.40 low");
        assert!(line(&lines, "blorp").starts_with('?'));
        assert!(line(&lines, "7 blorp").starts_with('?'));
    }

    #[test]
    fn what_was_fitted_is_read_as_people_say_it() {
        let said = |text: &str| {
            let all = fitted(&at("M3", None), text).map_err(|e| e.to_string())?;
            Ok::<_, String>(
                all.iter()
                    .map(print_statement)
                    .collect::<Vec<_>>()
                    .join("; "),
            )
        };
        for (text, line) in [
            ("4164-15", "fitted M3 4164-15"),
            ("4164-15 from shelf", "fitted M3 4164-15; origin M3 shelf"),
            ("4164-15 shelf", "fitted M3 4164-15; origin M3 shelf"),
            ("4164-15, new", "fitted M3 4164-15; origin M3 new"),
            ("4164-15 new", "fitted M3 4164-15; origin M3 new"),
            (
                "4164-15, from ticket 0398",
                "fitted M3 4164-15; origin M3 ticket 0398",
            ),
        ] {
            assert_eq!(said(text), Ok(line.to_string()), "{text}");
        }
        assert!(said("what is it").is_err());
    }

    #[test]
    fn a_full_line_is_taken_for_what_it_says() {
        let rail = Ask::Rail {
            rail: "9VAC".into(),
            place: "F1 pin 2".into(),
            ac: true,
        };
        assert_eq!(line(&rail, "memory bit 3 bad"), "memory bit 3 bad");
        assert_eq!(line(&rail, "rail +5V 4.9"), "rail +5V 4.9 V");
        assert_eq!(line(&rail, "swapped M3: cured"), "swapped M3: cured");
        assert!(line(&rail, "blorp").starts_with('?'));
        assert!(line(&rail, "").starts_with('?'));
    }
}
