//! The end of a ticket: what was at fault, whether that is proved, how it ends; and opening it again.

use super::answer::{self, Understood};
use super::{Bench, Command, Ended, Scene, Then, command, proof, screen};
use crate::learn::tickets::unit_of;
use crate::observe::observe;
use crate::sheet::{Outcome, Statement};
use crate::ticket::Ticket;
use std::io::Result;

const HELP: &str = "\
Say which unit was at fault and what was wrong with it ('M3 always reads 1'), then
how the ticket ends. 'undo' goes back to the work, 'quit' leaves; nothing of the end
is saved before it is whole.
";

/// Said of a board that saw too much.
pub const TEST_ITS_PARTS: &str =
    "its parts were past their limit: test each before it goes into another machine";

/// What came of a question of the end.
enum End<T> {
    Answer(T),
    Leave(Then),
}

impl Bench<'_> {
    /// The end of the ticket: what was proved, and how it ends.
    pub(super) fn close(&mut self, scene: &Scene) -> Result<Then> {
        let mut lines = match self.at_fault(scene)? {
            End::Answer(lines) => lines,
            End::Leave(then) => return Ok(then),
        };
        let outcome = match self.outcome()? {
            End::Answer(Some(outcome)) => outcome,
            End::Answer(None) => return Ok(Then::Again),
            End::Leave(then) => return Ok(then),
        };
        let kinds = proof::standing(scene.ticket, &scene.ranking.observed);
        let stop = scene.ranking.observed.stop.as_ref();
        let doubt = match outcome {
            Outcome::CuredProved | Outcome::CauseUnknown if stop.is_some() => Some(
                "SWITCH OFF still stands: the rail was not read within its limits again".into(),
            ),
            Outcome::CuredProved => proof::missing(&kinds).map(|m| format!("Not proved: {m}")),
            _ => None,
        };
        if let Some(doubt) = doubt {
            match self.sure(&doubt)? {
                End::Answer(true) => {}
                End::Answer(false) => return Ok(Then::Again),
                End::Leave(then) => return Ok(then),
            }
        }
        lines.push(Statement::Outcome(outcome));
        self.save_afresh(&lines)?;
        Ok(Then::Again)
    }

    /// A question of the end: its answer, or that the end is left.
    fn end_question(&mut self, prompt: &str) -> Result<End<String>> {
        loop {
            let Some(text) = self.talk.ask(prompt)? else {
                return Ok(End::Leave(Then::End(Ended::Left)));
            };
            match command(&text) {
                Some(Command::Quit) => return self.leave().map(End::Leave),
                Some(Command::Undo) => {
                    self.talk.say("Nothing of the end was saved.\n")?;
                    return Ok(End::Leave(Then::Again));
                }
                Some(Command::Help) => self.talk.say(HELP)?,
                None => return Ok(End::Answer(text)),
            }
        }
    }

    fn at_fault(&mut self, scene: &Scene) -> Result<End<Vec<Statement>>> {
        if !scene.ticket.proved().is_empty() {
            return Ok(End::Answer(Vec::new()));
        }
        let suggested = proof::proved(scene.model, scene.ticket, scene.ranking);
        let prompt = match &suggested {
            Some(unit) => format!("at fault (empty: {unit}; '-': not known):"),
            None => "at fault (unit and what was wrong; empty: not known):".into(),
        };
        loop {
            let text = match self.end_question(&prompt)? {
                End::Answer(text) => text,
                End::Leave(then) => return Ok(End::Leave(then)),
            };
            let text = text.strip_prefix("proved ").unwrap_or(&text);
            if text.is_empty() {
                let lines = suggested.into_iter().map(Statement::Proved).collect();
                return Ok(End::Answer(lines));
            }
            if text == "-" {
                return Ok(End::Answer(Vec::new()));
            }
            if unit_of(scene.model, text).is_some() {
                return Ok(End::Answer(vec![Statement::Proved(text.to_string())]));
            }
            let said = format!(
                "'{text}' names no unit of {}: begin with a position, as in 'M3 dead', or type '-'.",
                scene.model.board
            );
            self.talk.say(&screen::hang("", &said))?;
        }
    }

    fn outcome(&mut self) -> Result<End<Option<Outcome>>> {
        let prompt = "closed (cured and proved, cause unknown, used for parts; empty: not yet):";
        loop {
            let text = match self.end_question(prompt)? {
                End::Answer(text) => text,
                End::Leave(then) => return Ok(End::Leave(then)),
            };
            if text.is_empty() {
                return Ok(End::Answer(None));
            }
            let text = text
                .strip_prefix("closed")
                .unwrap_or(&text)
                .trim_start_matches([':', ' ']);
            if let Understood::Line(all, _) = answer::full(&format!("closed: {text}"))
                && let [Statement::Outcome(outcome)] = all[..]
                && outcome != Outcome::Reopened
            {
                return Ok(End::Answer(Some(outcome)));
            }
            self.talk
                .say("Type cured and proved, cause unknown, used for parts, or an empty line.\n")?;
        }
    }

    /// Whether it is to be closed all the same.
    fn sure(&mut self, doubt: &str) -> Result<End<bool>> {
        self.talk.say(&screen::hang("", &format!("{doubt}.")))?;
        loop {
            let text = match self.end_question("close all the same (yes, no):")? {
                End::Answer(text) => text.to_lowercase(),
                End::Leave(then) => return Ok(End::Leave(then)),
            };
            match text.as_str() {
                "yes" | "y" => return Ok(End::Answer(true)),
                "no" | "n" | "" => return Ok(End::Answer(false)),
                _ => self.talk.say("Type yes or no.\n")?,
            }
        }
    }

    /// A closed ticket: that it is, and whether to open it again.
    pub(super) fn closed(&mut self, ticket: &Ticket, outcome: Outcome) -> Result<Then> {
        let id = ticket.id().unwrap_or_else(|| self.name.to_string());
        let proved = match ticket.proved()[..] {
            [] => String::new(),
            ref all => format!(" At fault: {}.", all.join("; ")),
        };
        let said = format!(
            "Ticket {id} {}.{proved}{}",
            crate::sheet::outcome_text(outcome),
            self.reserve(ticket, outcome)
        );
        self.talk.say(&format!("\n{}", screen::hang("", &said)))?;
        loop {
            let Some(text) = self.talk.ask("reopen, or quit:")? else {
                return Ok(Then::End(Ended::Closed));
            };
            match text.to_lowercase().as_str() {
                "quit" | "q" | "exit" | "" => return Ok(Then::End(Ended::Closed)),
                "undo" => {
                    return Ok(if self.undo(Some(ticket))? {
                        Then::Again
                    } else {
                        Then::Ask
                    });
                }
                "reopen" | "reopened" => {
                    // What is read from here on is not of the run that proved it.
                    let again = [Statement::Outcome(Outcome::Reopened), Statement::NewRun];
                    self.save(Some(ticket), &again)?;
                    return Ok(Then::Again);
                }
                _ => self.talk.say("Type 'reopen' or 'quit'.\n")?,
            }
        }
    }

    /// What has to be said beside how it ended: a limit of the supply that still stands, a cure that is not proved.
    fn reserve(&self, ticket: &Ticket, outcome: Outcome) -> String {
        let Some(model) = self.board_of(ticket) else {
            return String::new();
        };
        let observed = observe(&model, std::slice::from_ref(&ticket.sheet));
        let mut out = String::new();
        if let Some(stop) = &observed.stop {
            out += &format!(" SWITCH OFF: {}.", stop.reason);
            if outcome == Outcome::UsedForParts {
                out += &format!(" Before any part is used: {TEST_ITS_PARTS}.");
            }
        }
        if outcome == Outcome::CuredProved
            && let Some(missing) = proof::missing(&proof::standing(ticket, &observed))
        {
            out += &format!(" Not proved by loops: {missing}.");
        }
        out
    }
}
