//! A guided session on one ticket: the ranking, the next step, its answer, and round again.
//!
//! The file is all the state there is: it is read afresh before every screen, and every answer is in it before the next
//! screen is shown. So a session can be left, killed and started again at any moment, and two of them on one ticket see
//! what the other wrote.

pub mod answer;
pub mod intake;
pub mod proof;
mod screen;
pub mod talk;

use crate::faultmap::model::BoardModel;
use crate::learn::Learned;
use crate::next::Ask;
use crate::rank::{Ranking, rank};
use crate::report::build::{Wanted, view};
use crate::report::term;
use crate::report::view::RankingView;
use crate::sheet::{
    Action, Effect, HandsOn, Moment, Outcome, Statement, moment_text, print_statement,
};
use crate::shipped::Library;
use crate::ticket::compare::{compare, is_remedy};
use crate::ticket::store::Store;
use crate::ticket::{Status, Ticket};
use answer::Understood;
use std::io::Result;
use talk::Talk;

/// A session.
pub struct Bench<'a> {
    /// Where boards come from.
    pub library: &'a Library,
    /// The ticket.
    pub store: &'a mut dyn Store,
    /// Who sits there.
    pub talk: &'a mut dyn Talk,
    /// The clock.
    pub now: &'a dyn Fn() -> Moment,
    /// Name of the ticket, for messages and as its number when none is given.
    pub name: &'a str,
    /// The bench's own failure rates.
    pub learned: Option<&'a Learned>,
    /// Tools and parts at hand.
    pub has: &'a crate::next::Bench,
}

/// How a session ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ended {
    /// Left, by command or because no more answers came.
    Left,
    /// The ticket is closed.
    Closed,
    /// The file is no ticket that can be worked on; why was said.
    Unusable,
}

/// What to do after an answer.
enum Then {
    /// Show the screen again.
    Again,
    /// Ask again.
    Ask,
    /// End.
    End(Ended),
}

/// What is on the screen.
struct Scene<'s> {
    model: &'s BoardModel,
    ticket: &'s Ticket,
    view: &'s RankingView,
    ranking: &'s Ranking,
}

impl Bench<'_> {
    /// Runs the session to its end.
    ///
    /// # Errors
    /// Of reading, writing or talking. What was answered before is in the ticket.
    pub fn run(&mut self) -> Result<Ended> {
        self.talk
            .say("Type an answer, 'help', or 'quit'. Every answer is saved at once.\n")?;
        let mut told_torn = false;
        loop {
            let bytes = self.store.read()?;
            let ticket = match Ticket::parse(self.name, &bytes) {
                Ok(ticket) => Some(ticket),
                Err(crate::sheet::SheetError::Empty) => None,
                Err(e) => {
                    self.talk.say(&format!("{}: {e}\n", self.name))?;
                    return Ok(Ended::Unusable);
                }
            };
            if let Some(torn) = ticket
                .as_ref()
                .and_then(|t| t.torn.clone())
                .filter(|_| !told_torn)
            {
                told_torn = true;
                let said = format!(
                    "The last line of the ticket has no end and is not used: '{torn}'. It was cut off while it was written; \
                     answer again."
                );
                self.talk.say(&screen::hang("", &said))?;
            }
            let then = match (intake::open_question(ticket.as_ref()), ticket) {
                (Some(question), ticket) => self.intake(question, ticket.as_ref())?,
                (None, Some(ticket)) => self.work(&ticket)?,
                // No ticket always has an open question.
                (None, None) => Then::End(Ended::Unusable),
            };
            if let Then::End(ended) = then {
                return Ok(ended);
            }
        }
    }

    /// One question of the intake.
    fn intake(&mut self, q: intake::Question, ticket: Option<&Ticket>) -> Result<Then> {
        let boards: Vec<String> = self.library.list().into_iter().map(|b| b.0).collect();
        let prompt = intake::prompt(q, self.name, &boards);
        loop {
            let Some(text) = self.talk.ask(&prompt)? else {
                return Ok(Then::End(Ended::Left));
            };
            match text.to_lowercase().as_str() {
                "quit" | "q" | "exit" => return self.leave(),
                "help" | "?" => self
                    .talk
                    .say("Answer the question, or 'undo', or 'quit'.\n")?,
                "undo" => return self.undo(ticket).map(|_| Then::Again),
                _ => match intake::answer(q, &text, self.name, &boards) {
                    Ok(statements) => {
                        self.save(ticket, &statements)?;
                        return Ok(Then::Again);
                    }
                    Err(hint) => self
                        .talk
                        .say(&screen::hang("", &format!("Not understood: {hint}.")))?,
                },
            }
        }
    }

    /// One screen and its answer.
    fn work(&mut self, ticket: &Ticket) -> Result<Then> {
        if let Status::Closed(outcome) = ticket.status() {
            return self.closed(ticket, outcome);
        }
        let board = ticket.board().unwrap_or_default();
        let plain = match self.library.board(&board) {
            Ok(model) => model,
            Err(e) => {
                self.talk.say(&format!("{e}\n"))?;
                return Ok(Then::End(Ended::Unusable));
            }
        };
        let model = match self.learned {
            Some(learned) => learned.applied(&plain),
            None => plain.clone(),
        };
        let sheets = std::slice::from_ref(&ticket.sheet);
        let ranking = match rank(&model, sheets) {
            Ok(ranking) => ranking,
            Err(e) => {
                let said = format!(
                    "These lines cannot all be true of this board: {e}. Type 'undo', or edit the ticket."
                );
                self.talk.say(&screen::hang("", &said))?;
                return self.undo_or_leave(ticket);
            }
        };
        let mut v = view(&model, sheets, &ranking, Wanted { top: 8, why: false });
        v.learned = self
            .learned
            .and_then(|l| crate::learn::order::changed(&plain, l, sheets, &ranking));
        let skipped = |say: &str, ask: &Ask| out_of_question(ticket, say, ask);
        v.next = crate::next::advise_but(&model, &ranking, self.has, &skipped).steps;
        let scene = Scene {
            model: &model,
            ticket,
            view: &v,
            ranking: &ranking,
        };
        self.show(&scene)?;
        let prompt = screen::prompt(v.next.first());
        loop {
            let Some(text) = self.talk.ask(&prompt)? else {
                return Ok(Then::End(Ended::Left));
            };
            match self.answer(&scene, &text)? {
                Then::Ask => {}
                then => return Ok(then),
            }
        }
    }

    fn show(&mut self, scene: &Scene) -> Result<()> {
        let a = &scene.ranking.assembled;
        let old = |s: &&crate::rank::Suspect| {
            let cause = a.instances.iter().position(|i| *i == s.instance);
            cause.is_some_and(|c| !a.is_current(c))
        };
        let renewed: Vec<String> = scene
            .ranking
            .suspects
            .iter()
            .filter(old)
            .map(|s| s.name.clone())
            .collect();
        let mut text = screen::ranking(scene.view, &renewed);
        if let Some(change) = compare(scene.model, scene.ticket).last() {
            text += &screen::change(change);
        }
        for (kind, count, proof) in proof::standing(scene.ticket, scene.ranking) {
            text += &screen::proof(kind, count, &proof);
        }
        match scene.view.next.first() {
            Some(next) => text += &screen::step(next),
            None => text += "Next\n  No step could be worked out; type what is seen, or 'close'.\n",
        }
        self.talk.say(&text)
    }

    fn answer(&mut self, scene: &Scene, text: &str) -> Result<Then> {
        let next = scene.view.next.first();
        let word = text.to_lowercase();
        match word.as_str() {
            "quit" | "q" | "exit" => return self.leave(),
            "help" | "?" => self.talk.say(screen::HELP)?,
            "why" => self.why(scene)?,
            "more" => {
                let text = term::ranking(scene.view, false);
                self.talk
                    .say(&format!("{}\n", anstream::adapter::strip_str(&text)))?;
            }
            "undo" => {
                return Ok(if self.undo(Some(scene.ticket))? {
                    Then::Again
                } else {
                    Then::Ask
                });
            }
            "skip" => {
                let step = next.map_or("", |n| n.step.trim_end_matches('.'));
                self.save(Some(scene.ticket), &[Statement::Skip(step.to_string())])?;
                return Ok(Then::Again);
            }
            "close" => return self.close(scene),
            _ => {
                let did = word
                    .strip_prefix("did ")
                    .map(|_| text["did ".len()..].trim());
                let understood = match did {
                    Some(instead) => answer::full(instead),
                    None => answer::understand(next.and_then(|n| n.ask.as_ref()), text),
                };
                return self.take(scene, understood);
            }
        }
        Ok(Then::Ask)
    }

    /// Saves an answer.
    fn take(&mut self, scene: &Scene, understood: Understood) -> Result<Then> {
        let (mut statements, read_as) = match understood {
            Understood::Line(statements, read_as) if !statements.is_empty() => {
                (statements, read_as)
            }
            Understood::Line(..) => return self.not_understood("type an answer, or 'help'"),
            Understood::Not(hint) => return self.not_understood(&hint),
        };
        for (typed, word) in &read_as {
            self.talk.say(&format!("Read '{typed}' as '{word}'.\n"))?;
        }
        // What is seen after a remedy is seen of another machine than before.
        let seen = statements
            .iter()
            .any(|s| matches!(s, Statement::Finding(_) | Statement::RestFine));
        if seen && changed_in_this_run(scene.ticket) && !statements.contains(&Statement::NewRun) {
            statements.insert(0, Statement::NewRun);
        }
        self.save(Some(scene.ticket), &statements)?;
        let cured = statements.iter().find_map(|s| match s {
            Statement::HandsOn(h) if h.result == Effect::Cured => Some(h.clone()),
            _ => None,
        });
        if let Some(done) = cured {
            self.what_was_fitted(&done)?;
        }
        Ok(Then::Again)
    }

    fn not_understood(&mut self, hint: &str) -> Result<Then> {
        self.talk.say(&screen::hang(
            "",
            &format!("Not understood, not saved: {hint}."),
        ))?;
        Ok(Then::Ask)
    }

    /// After a cure by another part: which, and where from.
    fn what_was_fitted(&mut self, done: &HandsOn) -> Result<()> {
        let [place] = &done.places[..] else {
            return Ok(());
        };
        let on_board = crate::sheet::print_statement(&Statement::Fitted {
            place: place.clone(),
            part: "0000".into(),
        });
        if !matches!(done.action, Action::Swap | Action::Replace)
            || !matches!(answer::full(&on_board), Understood::Line(..))
        {
            return Ok(());
        }
        let prompt = format!(
            "fitted {} (type, and from shelf, new or ticket; empty: not said):",
            place.name
        );
        loop {
            let Some(text) = self.talk.ask(&prompt)? else {
                return Ok(());
            };
            if text.is_empty() {
                return Ok(());
            }
            match answer::full(&format!("fitted {} {text}", place.name)) {
                Understood::Line(all, _) if !all.is_empty() => return self.save_afresh(&all),
                Understood::Line(..) => {}
                Understood::Not(hint) => {
                    self.not_understood(&hint)?;
                }
            }
        }
    }

    fn why(&mut self, scene: &Scene) -> Result<()> {
        let sheets = std::slice::from_ref(&scene.ticket.sheet);
        let mut v = view(
            scene.model,
            sheets,
            scene.ranking,
            Wanted { top: 1, why: true },
        );
        v.suspects.truncate(1);
        let text = term::why_only(&v);
        self.talk
            .say(&format!("{}\n", anstream::adapter::strip_str(&text)))
    }

    /// The end of the ticket: what was proved, and how it ends.
    fn close(&mut self, scene: &Scene) -> Result<Then> {
        let suggested = proof::proved(scene.model, scene.ticket, scene.ranking);
        let prompt = match &suggested {
            Some(unit) => format!("at fault (empty: {unit}; '-': not known):"),
            None => "at fault (unit and what was wrong; empty: not known):".into(),
        };
        let mut lines = Vec::new();
        if scene.ticket.proved().is_empty() {
            match self.talk.ask(&prompt)? {
                None => return Ok(Then::End(Ended::Left)),
                Some(text) if text.is_empty() => lines.extend(suggested.map(Statement::Proved)),
                Some(text) if text == "-" => {}
                Some(text) => lines.push(Statement::Proved(
                    text.strip_prefix("proved ").unwrap_or(&text).to_string(),
                )),
            }
        }
        loop {
            let prompt =
                "closed (cured and proved, cause unknown, used for parts; empty: not yet):";
            let Some(text) = self.talk.ask(prompt)? else {
                return Ok(Then::End(Ended::Left));
            };
            if text.is_empty() {
                return Ok(Then::Again);
            }
            let text = text
                .strip_prefix("closed")
                .unwrap_or(&text)
                .trim_start_matches([':', ' ']);
            match answer::full(&format!("closed: {text}")) {
                Understood::Line(all, _) if matches!(all[..], [Statement::Outcome(_)]) => {
                    lines.extend(all);
                    self.save_afresh(&lines)?;
                    return Ok(Then::Again);
                }
                Understood::Line(..) => self.talk.say("Type one of the three.\n")?,
                Understood::Not(hint) => self
                    .talk
                    .say(&screen::hang("", &format!("Not understood: {hint}.")))?,
            }
        }
    }

    /// A closed ticket: that it is, and whether to open it again.
    fn closed(&mut self, ticket: &Ticket, outcome: Outcome) -> Result<Then> {
        let id = ticket.id().unwrap_or_else(|| self.name.to_string());
        let proved = match ticket.proved()[..] {
            [] => String::new(),
            ref all => format!(" At fault: {}.", all.join("; ")),
        };
        let said = format!(
            "Ticket {id} {}.{proved}",
            crate::sheet::outcome_text(outcome)
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
                    self.save(Some(ticket), &[Statement::Outcome(Outcome::Reopened)])?;
                    return Ok(Then::Again);
                }
                _ => self.talk.say("Type 'reopen' or 'quit'.\n")?,
            }
        }
    }

    /// Strikes the last line that can be struck; whether there was one.
    fn undo(&mut self, ticket: Option<&Ticket>) -> Result<bool> {
        let struck = ticket.and_then(|t| {
            let lasting = |s: &Statement| {
                matches!(
                    s,
                    Statement::Ticket(_) | Statement::Board(_) | Statement::At(_) | Statement::Undo
                )
            };
            t.entries
                .iter()
                .rev()
                .find(|e| e.struck_by.is_none() && e.says.iter().any(|s| !lasting(s)))
        });
        let Some(entry) = struck else {
            self.talk.say("There is no answer to undo.\n")?;
            return Ok(false);
        };
        self.save(ticket, &[Statement::Undo])?;
        self.talk.say(&screen::hang(
            "",
            &format!("Struck line {}: {}", entry.line, entry.text),
        ))?;
        Ok(true)
    }

    fn undo_or_leave(&mut self, ticket: &Ticket) -> Result<Then> {
        loop {
            match self.talk.ask("undo, or quit:")?.as_deref() {
                None | Some("quit" | "q" | "exit") => return Ok(Then::End(Ended::Left)),
                Some("undo") => return self.undo(Some(ticket)).map(|_| Then::Again),
                Some(_) => {}
            }
        }
    }

    fn leave(&mut self) -> Result<Then> {
        self.talk
            .say("All answers are saved. Start again to go on.\n")?;
        Ok(Then::End(Ended::Left))
    }

    /// Appends what was said as one line, with the time before it when the clock has moved.
    fn save(&mut self, ticket: Option<&Ticket>, statements: &[Statement]) -> Result<()> {
        let last = ticket.and_then(|t| t.entries.last()).and_then(|e| e.at);
        let now = (self.now)();
        let mut lines = Vec::new();
        // The number stands at the top.
        let first = matches!(statements, [Statement::Ticket(_)]);
        if last != Some(now) && !first {
            lines.push(format!("at {}", moment_text(now)));
        }
        lines.extend(one_line_each(statements));
        self.store.append(&lines)
    }

    /// [`Bench::save`] when the ticket has grown since it was read.
    fn save_afresh(&mut self, statements: &[Statement]) -> Result<()> {
        let bytes = self.store.read()?;
        let ticket = Ticket::parse(self.name, &bytes).ok();
        self.save(ticket.as_ref(), statements)
    }
}

/// A line for each statement that cannot share one (a run mark, a text to the end of the line); the others together.
fn one_line_each(statements: &[Statement]) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut open = false;
    for s in statements {
        let alone = !matches!(
            s,
            Statement::Finding(_)
                | Statement::Fitted { .. }
                | Statement::Origin { .. }
                | Statement::HandsOn(_)
        );
        let text = print_statement(s);
        match lines.last_mut() {
            Some(line) if open && !alone => *line += &format!("; {text}"),
            _ => lines.push(text),
        }
        open = !alone;
    }
    lines
}

/// Whether something was changed on the board since the last run mark.
fn changed_in_this_run(ticket: &Ticket) -> bool {
    let run = ticket.entries.last().map_or(1, |e| e.run);
    let mut done = ticket.hands_on().into_iter().filter(|(e, _)| e.run == run);
    done.any(|(_, h)| is_remedy(h.action))
}

/// Steps that are not proposed: those skipped, and a remedy that was done and changed nothing.
fn out_of_question(ticket: &Ticket, say: &str, ask: &Ask) -> bool {
    let said = say.trim_end_matches('.');
    ticket.statements().any(|(_, s)| match s {
        Statement::Skip(text) => text == said,
        Statement::HandsOn(h) => match ask {
            Ask::Remedy { action, place, .. } => {
                h.action == *action && h.places.contains(place) && h.result != Effect::Cured
            }
            _ => false,
        },
        _ => false,
    })
}
