//! A new machine: what is asked before anything is ranked. Each question is asked as long as the ticket has no answer to
//! it, so that an interrupted intake goes on where it was.

use super::answer::{Understood, full};
use crate::faultmap::model::BoardModel;
use crate::faultmap::raw::Class;
use crate::observe::board;
use crate::sheet::{Place, Statement, Subject};
use crate::ticket::Ticket;

/// A question of the intake.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Question {
    /// Number of the ticket.
    Number,
    /// Board map.
    Board,
    /// Why it is on the bench.
    CameIn,
    /// The owner's words.
    Complaint,
    /// What is known of its past.
    History,
    /// What is fitted otherwise than the map says.
    Fitted,
    /// The supply by itself.
    Supply,
    /// What the screen and the test show.
    FirstLook,
}

/// Notes that stand for 'nothing' as an answer, so that the question is not asked again.
const NO_COMPLAINT: &str = "no complaint given";
const NO_HISTORY: &str = "nothing known of its past";
const AS_BUILT: &str = "otherwise fitted as the map says";
const NO_SUPPLY: &str = "supply not measured by itself";
const LOOKED: &str = "end of the first look";

/// Whether a remark is one that only says that a question was answered with nothing.
pub fn is_mark(note: &str) -> bool {
    [NO_COMPLAINT, NO_HISTORY, AS_BUILT, NO_SUPPLY, LOOKED].contains(&note)
}

/// Whether a remark says that the supply was not measured by itself.
pub fn is_no_supply(note: &str) -> bool {
    note == NO_SUPPLY
}

/// What can be typed during the intake.
pub const HELP: &str = "\
Answer the question; an empty line says that there is nothing to say. The complaint
is only kept: what the machine shows is asked later. 'undo' strikes the last answer,
'quit' leaves, and starting again goes on here.
";

/// All questions, in order.
const QUESTIONS: [Question; 8] = {
    use Question::*;
    [
        Number, Board, CameIn, Complaint, History, Fitted, Supply, FirstLook,
    ]
};

/// The first question that a ticket has no answer to; `None` when the work may go on. `model` is its board, once it is known.
pub fn open_question(ticket: Option<&Ticket>, model: Option<&BoardModel>) -> Option<Question> {
    let Some(ticket) = ticket else {
        return Some(Question::Number);
    };
    let statements: Vec<&Statement> = ticket.statements().map(|(_, s)| s).collect();
    let any = |is: &dyn Fn(&Statement) -> bool| statements.iter().any(|s| is(s));
    let noted = |text: &str| any(&|s| matches!(s, Statement::Note(n) if n == text));
    // A supply that was put right before the first look leaves the look to be taken.
    let is_supply_itself = |p: &Place| {
        let found = model.and_then(|m| board::position(m, &p.name));
        found.is_some_and(|(_, p)| p.outside && p.class == Class::Supply)
    };
    let handled = any(&|s| match s {
        Statement::HandsOn(h) => h.places.is_empty() || !h.places.iter().all(is_supply_itself),
        Statement::Skip(_) | Statement::Outcome(_) => true,
        _ => false,
    });
    // A ticket written by hand has its readings without these questions.
    let read = any(&|s| is_reading(s)) && !noted(AS_BUILT);
    let begun = handled || read || noted(LOOKED);
    let answered = |q: &Question| match q {
        // Without a board nothing can be ranked; the rest may be missing once the work has begun.
        Question::Board => any(&|s| matches!(s, Statement::Board(_))),
        // The look goes on until an empty line ends it; a ticket written by hand has had its own.
        Question::FirstLook => noted(LOOKED) || handled || !noted(AS_BUILT),
        _ if begun => true,
        Question::Number => any(&|s| matches!(s, Statement::Ticket(_))),
        Question::CameIn => any(&|s| matches!(s, Statement::Intake(_))),
        Question::Complaint => {
            noted(NO_COMPLAINT) || any(&|s| matches!(s, Statement::Complaint(_)))
        }
        Question::History => noted(NO_HISTORY) || any(&|s| matches!(s, Statement::History(_))),
        Question::Fitted => noted(AS_BUILT),
        Question::Supply => noted(NO_SUPPLY) || any(&|s| is_supply(s)),
    };
    QUESTIONS.iter().find(|q| !answered(q)).copied()
}

fn is_supply(s: &Statement) -> bool {
    matches!(s, Statement::Finding(f) if matches!(f.subject, Subject::Supply(_)))
}

/// What is read of the machine, not of its supply.
fn is_reading(s: &Statement) -> bool {
    match s {
        Statement::RestFine => true,
        Statement::Finding(_) => !is_supply(s),
        _ => false,
    }
}

/// What is said before a question: the boards there are.
pub fn before(q: Question, boards: &[String]) -> Option<String> {
    let all = boards.iter().enumerate();
    let all: Vec<String> = all.map(|(i, b)| format!("{} {b}", i + 1)).collect();
    (q == Question::Board).then(|| format!("Boards: {}.", all.join(", ")))
}

/// How a question is asked.
pub fn prompt(q: Question, name: &str) -> String {
    match q {
        Question::Number => format!("ticket number (empty: {name}):"),
        Question::Board => "board (number, or its first letters):".into(),
        Question::CameIn => "came in (faulty, works please check, unknown):".into(),
        Question::Complaint => "complaint, in the owner's words (empty: none):".into(),
        Question::History => "history (empty: not known):".into(),
        Question::Fitted => {
            "empty sockets, other types ('empty T1', 'fitted T1 8912'; empty: no more):".into()
        }
        Question::Supply => {
            "supply by itself, unplugged ('+5V 5.1', several with commas; empty: not measured):"
                .into()
        }
        Question::FirstLook => {
            "what it shows ('black screen', 'memory bit 3 bad'; empty: no more):".into()
        }
    }
}

/// The statements that an answer is; an empty one says that there is nothing to say.
///
/// # Errors
/// What to type instead.
pub fn answer(
    q: Question,
    text: &str,
    name: &str,
    boards: &[String],
) -> Result<Vec<Statement>, String> {
    let note = |n: &str| Ok(vec![Statement::Note(n.to_string())]);
    let said = text.trim();
    match q {
        Question::Number if said.is_empty() => {
            expect(full(&format!("ticket {name}")), "a number, as in 0412")
        }
        Question::Number => {
            let id = said.strip_prefix("ticket").unwrap_or(said).trim();
            // An answer to another question is no number: 'board dunlin-64', 'no change'.
            if let Some((first, rest)) = id.split_once(char::is_whitespace) {
                let lead = first.trim_end_matches('.').to_lowercase();
                let leads = ["no", "nr", "number", "#"].contains(&lead.as_str());
                if !leads || !rest.contains(|c: char| c.is_ascii_digit()) {
                    return Err(format!(
                        "the number of the ticket is one word, as in 0412; an empty line takes {name}"
                    ));
                }
            }
            expect(full(&format!("ticket {id}")), "a number, as in 0412")
        }
        Question::Board => {
            let board = said
                .strip_prefix("board")
                .unwrap_or(said)
                .trim()
                .to_lowercase();
            match one_board(&board, boards) {
                Some(board) => Ok(vec![Statement::Board(board.clone())]),
                None => Err(format!(
                    "there is no one map '{board}'; type one of: {}",
                    boards.join(", ")
                )),
            }
        }
        Question::CameIn => {
            let said = came_in(said);
            let came = full(&format!("came in {said}"));
            let came = match came {
                Understood::Line(..) => came,
                Understood::Not(_) => full(&said),
            };
            match came {
                Understood::Line(all, _) if matches!(all[..], [Statement::Intake(_)]) => Ok(all),
                _ => Err(
                    "type faulty, works please check, or unknown; what it shows is asked later"
                        .into(),
                ),
            }
        }
        Question::Complaint if said.is_empty() => note(NO_COMPLAINT),
        Question::Complaint => Ok(vec![Statement::Complaint(
            said.strip_prefix("complaint")
                .unwrap_or(said)
                .trim()
                .to_string(),
        )]),
        Question::History if said.is_empty() => note(NO_HISTORY),
        Question::History => Ok(vec![Statement::History(
            said.strip_prefix("history")
                .unwrap_or(said)
                .trim()
                .to_string(),
        )]),
        Question::Fitted if said.is_empty() => note(AS_BUILT),
        Question::Fitted => {
            let fits = |s: &Statement| {
                matches!(
                    s,
                    Statement::Fitted { .. }
                        | Statement::Empty(_)
                        | Statement::Origin { .. }
                        | Statement::OldPart { .. }
                        | Statement::Cartridge(_)
                        | Statement::Mains(_)
                        | Statement::Photo { .. }
                )
            };
            let expected = "'empty T1', 'fitted T1 8912', or an empty line";
            let all = expect(full(said), expected)?;
            match all.iter().all(fits) {
                true => Ok(all),
                false => Err(format!(
                    "expected {expected}; what the machine shows is asked later"
                )),
            }
        }
        Question::Supply if said.is_empty() => note(NO_SUPPLY),
        Question::Supply => super::answer::supplies(said)
            .ok_or_else(|| "expected a rail and its volts, as in +5V 5.1".into()),
        Question::FirstLook if said.is_empty() => note(LOOKED),
        Question::FirstLook => expect(full(said), "a line of a sheet, or an empty line"),
    }
}

/// An answer to how it came in, written out: `f`, `yes its faulty`.
fn came_in(said: &str) -> String {
    let lower = said.to_lowercase();
    let word = ["yes", ",", " ", "it is ", "its ", "it's "]
        .iter()
        .fold(&*lower, |rest, filler| rest.trim_start_matches(filler));
    let answers = ["faulty", "works please check", "unknown"];
    let begun = answers
        .iter()
        .find(|a| !word.is_empty() && a.starts_with(word));
    begun.map_or(said, |answer| answer).to_string()
}

/// The one board that a number of the list, a name, or the beginning of one means.
fn one_board<'b>(typed: &str, boards: &'b [String]) -> Option<&'b String> {
    let exact = boards.iter().find(|b| b.as_str() == typed);
    let numbered = || {
        let number: usize = typed.parse().ok()?;
        boards.get(number.checked_sub(1)?)
    };
    let begun = || {
        let mut all = boards
            .iter()
            .filter(|b| !typed.is_empty() && b.starts_with(typed));
        all.next().filter(|_| all.next().is_none())
    };
    exact.or_else(numbered).or_else(begun)
}

fn expect(found: Understood, what: &str) -> Result<Vec<Statement>, String> {
    match found {
        Understood::Line(all, _) if !all.is_empty() => Ok(all),
        Understood::Line(..) => Err(format!("expected {what}")),
        Understood::Not(hint) => Err(format!("expected {what}; {hint}")),
    }
}
