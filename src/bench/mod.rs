//! A guided session on one ticket: the ranking, the next step, its answer, and round again.
//!
//! The file is all the state there is: it is read afresh before every screen, and every answer is in it before the next
//! screen is shown. So a session can be left, killed and started again at any moment, and two of them on one ticket see
//! what the other wrote.

pub mod answer;
mod close;
pub mod intake;
mod lists;
pub mod proof;
mod saved;
mod screen;
pub mod talk;

pub use close::TEST_ITS_PARTS;

use crate::faultmap::model::BoardModel;
use crate::learn::Learned;
use crate::next::Ask;
use crate::observe::{exchange, observe};
use crate::rank::{Ranking, rank};
use crate::report::build::{Wanted, view};
use crate::report::term;
use crate::report::view::RankingView;
use crate::sheet::{Action, Effect, Moment, Place, Statement, moment_text, print_statement};
use crate::shipped::Library;
use crate::ticket::compare::{Change, Verdict, compare};
use crate::ticket::store::Store;
use crate::ticket::{Entry, Status, Ticket};
use answer::Understood;
use std::collections::BTreeMap;
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
    /// Show the screen again, and take this as what is answered to it.
    Next(String),
    /// End.
    End(Ended),
}

/// What was told in this session and is not told twice.
#[derive(Default)]
struct Told {
    /// That the last line was cut off.
    torn: bool,
    /// How the ticket stood at the start.
    stands: bool,
    /// What the last remedy changed.
    change: String,
    /// Cautions that were said in full.
    cautions: Vec<&'static str>,
    /// What was typed at another question and belongs to the next screen.
    typed: Option<String>,
}

/// What is on the screen.
struct Scene<'s> {
    model: &'s BoardModel,
    ticket: &'s Ticket,
    /// Bytes that the ticket had when it was read.
    seen: usize,
    view: &'s RankingView,
    ranking: &'s Ranking,
}

/// The commands of every prompt.
enum Command {
    Quit,
    Help,
    Undo,
}

fn command(text: &str) -> Option<Command> {
    match text.to_lowercase().as_str() {
        "quit" | "q" | "exit" => Some(Command::Quit),
        "help" | "?" => Some(Command::Help),
        "undo" => Some(Command::Undo),
        _ => None,
    }
}

impl Bench<'_> {
    /// Runs the session to its end.
    ///
    /// # Errors
    /// Of reading, writing or talking. What was answered before is in the ticket.
    pub fn run(&mut self) -> Result<Ended> {
        self.talk
            .say("Type an answer, 'help', or 'quit'. Every answer is saved at once.\n")?;
        let mut told = Told::default();
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
            self.tell_once(ticket.as_ref(), &mut told)?;
            // Past a limit of the supply nothing else is asked: a look at the running machine least of all.
            let open = match self.past_a_limit(ticket.as_ref()) {
                true => None,
                false => self.open_question(ticket.as_ref()),
            };
            let then = match (open, ticket) {
                (Some(question), ticket) => self.intake(question, ticket.as_ref())?,
                (None, Some(ticket)) => self.work(&ticket, bytes.len(), &mut told)?,
                // No ticket always has an open question.
                (None, None) => Then::End(Ended::Unusable),
            };
            match then {
                Then::End(ended) => return Ok(ended),
                Then::Next(text) => told.typed = Some(text),
                Then::Again | Then::Ask => {}
            }
        }
    }

    /// What is said at the start: a line that was cut off, and how the ticket stands.
    fn tell_once(&mut self, ticket: Option<&Ticket>, told: &mut Told) -> Result<()> {
        let torn = ticket.and_then(|t| t.torn.clone());
        if let Some(torn) = torn.filter(|_| !std::mem::replace(&mut told.torn, true)) {
            let said = format!(
                "The last line of the ticket has no end and is not used: '{torn}'. It may have been cut off while it was \
                 written: answer again, or end it with a line end if it is whole."
            );
            self.talk.say(&screen::hang("", &said))?;
        }
        if !std::mem::replace(&mut told.stands, true) {
            let stands = ticket.and_then(screen::stands).unwrap_or_default();
            self.talk.say(&stands)?;
        }
        Ok(())
    }

    /// The board of a ticket, with the handbook's rates.
    fn board_of(&self, ticket: &Ticket) -> Option<BoardModel> {
        self.library.board(&ticket.board()?).ok()
    }

    fn past_a_limit(&self, ticket: Option<&Ticket>) -> bool {
        ticket.is_some_and(|t| {
            let sheets = std::slice::from_ref(&t.sheet);
            self.board_of(t)
                .is_some_and(|model| observe(&model, sheets).stop.is_some())
        })
    }

    fn open_question(&self, ticket: Option<&Ticket>) -> Option<intake::Question> {
        let model = ticket.and_then(|t| self.board_of(t));
        intake::open_question(ticket, model.as_ref())
    }

    /// One question of the intake.
    fn intake(&mut self, q: intake::Question, ticket: Option<&Ticket>) -> Result<Then> {
        let boards: Vec<String> = self.library.list().into_iter().map(|b| b.0).collect();
        let prompt = intake::prompt(q, self.name);
        if let Some(said) = intake::before(q, &boards) {
            self.talk.say(&screen::hang("", &said))?;
        }
        loop {
            let Some(text) = self.talk.ask(&prompt)? else {
                return Ok(Then::End(Ended::Left));
            };
            match command(&text) {
                Some(Command::Quit) => return self.leave(),
                Some(Command::Help) => self.talk.say(intake::HELP)?,
                Some(Command::Undo) => return self.undo(ticket).map(|_| Then::Again),
                None => match intake::answer(q, &text, self.name, &boards) {
                    Ok(statements) => {
                        self.save(ticket, &statements)?;
                        self.tell_saved(ticket, &statements, &text)?;
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
    fn work(&mut self, ticket: &Ticket, seen: usize, told: &mut Told) -> Result<Then> {
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
        let mut v = view(
            &model,
            sheets,
            &ranking,
            Wanted {
                top: 8,
                why: false,
                slips: false,
            },
        );
        v.learned = self
            .learned
            .and_then(|l| crate::learn::order::changed(&plain, l, sheets, &ranking));
        let skipped = |say: &str, ask: &Ask| out_of_question(&model, ticket, say, ask);
        v.next = crate::next::advise_but(&model, &ranking, self.has, &skipped).steps;
        let loops = v.next.first().is_some_and(|n| n.ask == Some(Ask::Loops));
        if loops && proof::is_proved(&proof::standing(ticket, &ranking.observed)) {
            v.next = vec![crate::next::fixed::proved()];
        }
        let scene = Scene {
            model: &model,
            ticket,
            seen,
            view: &v,
            ranking: &ranking,
        };
        self.show(&scene, told)?;
        let prompt = screen::prompt(v.next.first());
        loop {
            let text = match told.typed.take() {
                Some(text) => text,
                None => match self.talk.ask(&prompt)? {
                    Some(text) => text,
                    None => return Ok(Then::End(Ended::Left)),
                },
            };
            match self.answer(&scene, &text)? {
                Then::Ask => {}
                then => return Ok(then),
            }
        }
    }

    fn show(&mut self, scene: &Scene, told: &mut Told) -> Result<()> {
        let mut text = screen::ranking(scene.view, &labels(scene.model, scene.ranking));
        let changes = compare(scene.model, scene.ticket);
        if let Some(change) = changes.last() {
            // Nothing goes back while the supply is past a limit: the old part may be what did it.
            let settled = scene.view.stop.is_some() || is_settled(scene.ticket, change);
            let said = screen::change(change, settled);
            // Once: on the screen after the remedy, and again when a later run tells more.
            if told.change != said {
                text += &said;
                told.change = said;
            }
        }
        for kind in worth_a_soak(scene, changes.last()) {
            text += &screen::proof(&kind);
        }
        match scene.view.next.first() {
            Some(next) => {
                // With the supply past a limit the caution is said in full each time.
                if scene.view.stop.is_some() {
                    told.cautions.clear();
                }
                text += &screen::step(next, &mut told.cautions);
            }
            None => text += "Next\n  No step could be worked out; type what is seen, or 'close'.\n",
        }
        if let Some(stop) = &scene.view.stop {
            text += &screen::stop_again(stop);
        }
        self.talk.say(&text)
    }

    fn answer(&mut self, scene: &Scene, text: &str) -> Result<Then> {
        let next = scene.view.next.first();
        let word = text.to_lowercase();
        match word.as_str() {
            "quit" | "q" | "exit" => return self.leave(),
            "help" | "?" => self.talk.say(screen::HELP)?,
            "safety" => self.talk.say(&screen::safety())?,
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
                    .strip_prefix("did")
                    .filter(|rest| rest.is_empty() || rest.starts_with(' '))
                    .map(|_| text["did".len()..].trim());
                let ask = next.and_then(|n| n.ask.as_ref());
                let understood = match did {
                    Some("" | "nothing") => {
                        Understood::Not("did what? as in 'did reseated U3: no change'".into())
                    }
                    Some(instead) => answer::full(instead),
                    None => answer::understand(ask, text),
                };
                // What was done in its own words is not held against the question.
                return self.take(scene, understood, ask.filter(|_| did.is_none()));
            }
        }
        Ok(Then::Ask)
    }

    fn why(&mut self, scene: &Scene) -> Result<()> {
        let sheets = std::slice::from_ref(&scene.ticket.sheet);
        let mut v = view(
            scene.model,
            sheets,
            scene.ranking,
            Wanted {
                top: 1,
                why: true,
                slips: false,
            },
        );
        v.suspects.truncate(1);
        let text = term::why_only(&v);
        self.talk
            .say(&format!("{}\n", anstream::adapter::strip_str(&text)))
    }

    /// Strikes the last answer; whether there was one. What one answer wrote in two lines goes as one: the mark of the run
    /// that it opened, what was proved beside how it ended.
    fn undo(&mut self, ticket: Option<&Ticket>) -> Result<bool> {
        let mut open = ticket.map_or(Vec::new(), |t| {
            let says = |e: &&Entry| e.struck_by.is_none() && e.says.iter().any(|s| !s.lasts());
            t.entries.iter().filter(says).collect()
        });
        let Some(entry) = open.pop() else {
            self.talk.say("There is no answer to undo.\n")?;
            return Ok(false);
        };
        let along = open.pop().filter(|above| {
            let opened = above.says == [Statement::NewRun] && entry.says != [Statement::NewRun];
            let ended = matches!(entry.says[..], [Statement::Outcome(_)])
                && matches!(above.says[..], [Statement::Proved(_)]);
            (opened || ended) && above.at == entry.at
        });
        let lines = vec![Statement::Undo; 1 + usize::from(along.is_some())];
        let lines = self.lines(ticket, &lines);
        if !self.append_unless_grown(ticket, &lines)? {
            return Ok(true);
        }
        for struck in [Some(entry), along].into_iter().flatten() {
            self.talk.say(&screen::hang(
                "",
                &format!("Struck line {}: {}", struck.line, struck.text),
            ))?;
        }
        Ok(true)
    }

    /// Appends lines that are about the last line of the ticket on the screen: not when another session has written behind it.
    fn append_unless_grown(&mut self, ticket: Option<&Ticket>, lines: &[String]) -> Result<bool> {
        let bytes = self.store.read()?;
        let now = Ticket::parse(self.name, &bytes).ok();
        let text = |t: Option<&Ticket>| t.map(|t| t.sheet.text.clone());
        if text(now.as_ref()) == text(ticket) && self.store.append_if(bytes.len(), lines)? {
            return Ok(true);
        }
        let said = "Nothing struck: another session wrote something in the meantime. Look again, then 'undo' if it is still wanted.";
        self.talk.say(&screen::hang("", said))?;
        Ok(false)
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
        let lines = self.lines(ticket, statements);
        self.store.append(&lines)
    }

    /// The lines that say this.
    fn lines(&self, ticket: Option<&Ticket>, statements: &[Statement]) -> Vec<String> {
        let last = ticket.and_then(|t| t.entries.last()).and_then(|e| e.at);
        let now = (self.now)();
        let mut lines = Vec::new();
        // The number stands at the top.
        let first = matches!(statements, [Statement::Ticket(_)]);
        if last != Some(now) && !first {
            lines.push(format!("at {}", moment_text(now)));
        }
        lines.extend(one_line_each(statements));
        lines
    }

    /// [`Bench::save`] when the ticket has grown since it was read.
    fn save_afresh(&mut self, statements: &[Statement]) -> Result<()> {
        let ticket = self.read()?;
        self.save(ticket.as_ref(), statements)
    }

    /// The ticket as it is now.
    fn read(&mut self) -> Result<Option<Ticket>> {
        let bytes = self.store.read()?;
        Ok(Ticket::parse(self.name, &bytes).ok())
    }
}

/// What is said behind the names of suspects of which there is more than one: which part it is, and whether it is in.
fn labels(model: &BoardModel, ranking: &Ranking) -> BTreeMap<String, String> {
    let a = &ranking.assembled;
    let label = |s: &crate::rank::Suspect| {
        let cause = a.cause_of(s.instance)?;
        Some((s.name.clone(), which_part(model, ranking, cause)?))
    };
    ranking.suspects.iter().filter_map(label).collect()
}

/// `M3, old part`, where a position has had more than one part, or where a part sits elsewhere than it came.
pub fn which_part(model: &BoardModel, ranking: &Ranking, cause: usize) -> Option<String> {
    let a = &ranking.assembled;
    let instance = a.instances[cause];
    let name = &model.units[instance.unit].name;
    let there = &model.positions[model.units[a.place[cause]].position].name;
    let moved = a.place[cause] != instance.unit;
    let parts = a.instances.iter().filter(|i| i.unit == instance.unit);
    let last = parts.map(|i| i.fitted).max().unwrap_or(0);
    let number = instance.fitted + 1;
    match (a.is_current(cause), moved) {
        (true, true) => Some(format!("{name}, now in {there}")),
        (false, true) => Some(format!("{name}, taken out of {there}")),
        (true, false) if instance.fitted == 0 => None,
        (true, false) => Some(format!("{name}, new part")),
        (false, false) if last <= 1 && number == 1 => Some(format!("{name}, old part")),
        (false, false) if last <= 1 => Some(format!("{name}, the part that was tried")),
        (false, false) => Some(format!("{name}, part {number}, taken out")),
    }
}

/// Loops that are worth running: not while the fault still shows.
fn worth_a_soak(scene: &Scene, change: Option<&Change>) -> Vec<proof::Kind> {
    let last = change.map(|c| c.verdict);
    let shows = matches!(
        last,
        Some(Verdict::NeverWasTheFault | Verdict::PartlyFixed | Verdict::NewFault | Verdict::Moved)
    );
    match shows {
        true => Vec::new(),
        false => proof::standing(scene.ticket, &scene.ranking.observed),
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

/// Whether it was said which part is in, where a change was made, since it was.
fn is_settled(ticket: &Ticket, change: &Change) -> bool {
    let last = change.lines.last().copied().unwrap_or(0);
    let changed = |place: &Place| change.done.iter().any(|h| h.places.contains(place));
    ticket.statements().any(|(e, s)| {
        e.line > last
            && match s {
                Statement::HandsOn(h) => {
                    h.action == Action::PutBack
                        && (h.places.is_empty() || h.places.iter().any(changed))
                }
                Statement::Fitted { place, .. } => changed(place),
                _ => false,
            }
    })
}

/// Steps that are not proposed: those skipped, and a remedy that was done and changed nothing. Where two like parts changed
/// places neither was put right.
pub(crate) fn out_of_question(model: &BoardModel, ticket: &Ticket, say: &str, ask: &Ask) -> bool {
    let said = say.trim_end_matches('.');
    let is_it = |s: &Statement| match s {
        Statement::Skip(text) => text
            .strip_prefix(said)
            .is_some_and(|rest| rest.is_empty() || rest.starts_with(':')),
        Statement::HandsOn(h) => match ask {
            Ask::Remedy { action, place, .. } => {
                h.action == *action
                    && h.places.contains(place)
                    && !matches!(h.result, Effect::Cured | Effect::Moved)
                    && exchange::alike(model, h).is_none()
            }
            _ => false,
        },
        _ => false,
    };
    let since = ticket.reopened().last().map_or(0, |e| e.line);
    ticket.statements().any(|(e, s)| e.line > since && is_it(s))
}
