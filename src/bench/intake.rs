//! A new machine: what is asked before anything is ranked. Each question is asked as long as the ticket has no answer to
//! it, so that an interrupted intake goes on where it was.

use super::answer::{Understood, full};
use crate::sheet::{Statement, Subject};
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

/// All questions, in order.
const QUESTIONS: [Question; 8] = {
    use Question::*;
    [
        Number, Board, CameIn, Complaint, History, Fitted, Supply, FirstLook,
    ]
};

/// The first question that a ticket has no answer to; `None` when the work may go on.
pub fn open_question(ticket: Option<&Ticket>) -> Option<Question> {
    let Some(ticket) = ticket else {
        return Some(Question::Number);
    };
    let statements: Vec<&Statement> = ticket.statements().map(|(_, s)| s).collect();
    let begun = statements.iter().any(|s| is_work(s));
    let any = |is: &dyn Fn(&Statement) -> bool| statements.iter().any(|s| is(s));
    let noted = |text: &str| any(&|s| matches!(s, Statement::Note(n) if n == text));
    let handled = any(&|s| {
        matches!(
            s,
            Statement::HandsOn(_) | Statement::Skip(_) | Statement::Outcome(_)
        )
    });
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

/// What only stands on a ticket when the work has begun.
fn is_work(s: &Statement) -> bool {
    match s {
        Statement::HandsOn(_)
        | Statement::RestFine
        | Statement::Skip(_)
        | Statement::Outcome(_) => true,
        Statement::Finding(_) => !is_supply(s),
        Statement::Note(n) => n == LOOKED,
        _ => false,
    }
}

/// How a question is asked.
pub fn prompt(q: Question, name: &str, boards: &[String]) -> String {
    match q {
        Question::Number => format!("ticket number (empty: {name}):"),
        Question::Board => format!("board ({}):", boards.join(", ")),
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
            "what it shows ('black screen', 'memory bit 3 bad', 'rest fine'; empty: no more):"
                .into()
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
            expect(full(&format!("ticket {id}")), "a number, as in 0412")
        }
        Question::Board => {
            let board = said
                .strip_prefix("board")
                .unwrap_or(said)
                .trim()
                .to_lowercase();
            if boards.contains(&board) {
                Ok(vec![Statement::Board(board)])
            } else {
                Err(format!(
                    "there is no map '{board}'; type one of: {}",
                    boards.join(", ")
                ))
            }
        }
        Question::CameIn => {
            let came = full(&format!("came in {said}"));
            let found = if matches!(came, Understood::Line(..)) {
                came
            } else {
                full(said)
            };
            expect(found, "faulty, works please check, or unknown")
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
        Question::Fitted => expect(full(said), "'empty T1', 'fitted T1 8912', or an empty line"),
        Question::Supply if said.is_empty() => note(NO_SUPPLY),
        Question::Supply => supply(said),
        Question::FirstLook if said.is_empty() => note(LOOKED),
        Question::FirstLook => expect(full(said), "a line of a sheet, or an empty line"),
    }
}

/// `+5V 5.1, 9VAC 10.2`: each said of the supply by itself.
fn supply(said: &str) -> Result<Vec<Statement>, String> {
    let mut all = Vec::new();
    for part in said.split(',').map(str::trim).filter(|p| !p.is_empty()) {
        match super::answer::supply(part) {
            Some(found) => all.push(found),
            None => return Err("expected a rail and its volts, as in +5V 5.1".into()),
        }
    }
    Ok(all)
}

fn expect(found: Understood, what: &str) -> Result<Vec<Statement>, String> {
    match found {
        Understood::Line(all, _) if !all.is_empty() => Ok(all),
        Understood::Line(..) => Err(format!("expected {what}")),
        Understood::Not(hint) => Err(format!("expected {what}; {hint}")),
    }
}
