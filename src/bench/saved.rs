//! Saving an answer, and saying what became of it.

use super::answer::{self, Understood};
use super::{Bench, Scene, Then, screen};
use crate::diag::Severity;
use crate::faultmap::model::BoardModel;
use crate::infer::network::Outcome as Seen;
use crate::next::Ask;
use crate::observe::{Evidence, Observed, Reading, exchange, observe};
use crate::sheet::{Action, Effect, HandsOn, Statement, print_statement};
use crate::ticket::Ticket;
use crate::ticket::compare::{alters, is_remedy};
use std::io::Result;

impl Bench<'_> {
    /// Saves an answer.
    pub(super) fn take(
        &mut self,
        scene: &Scene,
        understood: Understood,
        ask: Option<&Ask>,
    ) -> Result<Then> {
        let (mut statements, read_as) = match understood {
            Understood::Line(statements, read_as) if !statements.is_empty() => {
                (statements, read_as)
            }
            Understood::Line(..) => return self.not_understood("type an answer, or 'help'", ask),
            Understood::Not(hint) => return self.not_understood(&hint, ask),
        };
        for (typed, word) in &read_as {
            self.talk.say(&format!("Read '{typed}' as '{word}'.\n"))?;
        }
        // With the supply unplugged nobody can know.
        if scene.ranking.observed.stop.is_none() {
            self.ask_for_the_result(scene.model, &mut statements)?;
        }
        let Some(before) = self.save_if_unchanged(scene, &statements)? else {
            return Ok(Then::Again);
        };
        self.tell_saved(Some(&before), &statements, "")?;
        let cured = statements.iter().find_map(|s| match s {
            Statement::HandsOn(h) if h.result == Effect::Cured => Some(h.clone()),
            _ => None,
        });
        let Some(done) = cured else {
            return Ok(Then::Again);
        };
        Ok(match self.what_was_fitted(&done)? {
            About::Next(text) => Then::Next(text),
            _ => Then::Again,
        })
    }

    /// Saves an answer to what the screen shows. When the ticket has grown by then it is composed again; when it has grown by
    /// something that makes the machine another one, nothing is saved. The ticket as it was just before the write.
    fn save_if_unchanged(
        &mut self,
        scene: &Scene,
        statements: &[Statement],
    ) -> Result<Option<Ticket>> {
        let (mut ticket, mut seen) = (scene.ticket.clone(), scene.seen);
        loop {
            let mut all = statements.to_vec();
            // What is seen after a remedy is seen of another machine than before.
            let reads = |s: &Statement| matches!(s, Statement::Finding(_) | Statement::RestFine);
            if all.iter().any(reads)
                && changed_in_this_run(&ticket)
                && !all.contains(&Statement::NewRun)
            {
                all.insert(0, Statement::NewRun);
            }
            let lines = self.lines(Some(&ticket), &all);
            if self.store.append_if(seen, &lines)? {
                return Ok(Some(ticket));
            }
            let bytes = self.store.read()?;
            let Ok(now) = Ticket::parse(self.name, &bytes) else {
                return Ok(None);
            };
            if let Some(other) = made_another(&ticket, &now) {
                let said = format!(
                    "Not saved: another session wrote '{other}' in the meantime. Look again, then answer."
                );
                self.talk.say(&screen::hang("", &said))?;
                return Ok(None);
            }
            (ticket, seen) = (now, bytes.len());
        }
    }

    /// Says how an answer was kept, what of it is of no use on this board, and what it contradicts. `typed` is the answer,
    /// where it need not be repeated when it says the same.
    pub(super) fn tell_saved(
        &mut self,
        before: Option<&Ticket>,
        statements: &[Statement],
        typed: &str,
    ) -> Result<()> {
        let kept: Vec<String> = statements
            .iter()
            .filter(|s| !as_typed(s))
            .map(print_statement)
            .collect();
        let kept = kept.join("; ");
        if !kept.is_empty() && !kept.eq_ignore_ascii_case(typed) {
            self.talk
                .say(&screen::hang("", &format!("Saved: {kept}")))?;
        }
        let Some(now) = self.read()? else {
            return Ok(());
        };
        let Some(model) = self.board_of(&now) else {
            return Ok(());
        };
        let from = before.map_or(0, |t| t.sheet.text.len());
        let observed = observe(&model, std::slice::from_ref(&now.sheet));
        for (_, d) in &observed.diags {
            let at = d.label.as_ref().map_or(0, |l| l.0.start);
            if at < from || d.severity == Severity::Note {
                continue;
            }
            let help = d.help.as_deref().filter(|h| !h.is_empty());
            let help = help.map_or(String::new(), |h| format!("; {h}"));
            let said = format!(
                "Kept, but not used: {}{help}. If it was a slip: 'undo'.",
                d.message
            );
            self.talk.say(&screen::hang("", &said))?;
        }
        let last = before.map_or(0, |t| t.entries.last().map_or(0, |e| e.line));
        if let Some(said) = contradicted(&model, &now, &observed, last) {
            self.talk.say(&screen::hang("", &said))?;
        }
        Ok(())
    }

    /// What was not understood, with what the question takes.
    fn not_understood(&mut self, hint: &str, ask: Option<&Ask>) -> Result<Then> {
        let takes = ask.and_then(answer::takes);
        let takes = takes.map_or(String::new(), |t| format!("this question takes {t}; or "));
        self.talk.say(&screen::hang(
            "",
            &format!("Not understood, not saved: {takes}{hint}."),
        ))?;
        Ok(Then::Ask)
    }

    /// A remedy without a word of what came of it: asked, so that the next person need not guess.
    fn ask_for_the_result(&mut self, model: &BoardModel, all: &mut [Statement]) -> Result<()> {
        for s in all {
            let Statement::HandsOn(h) = s else { continue };
            let lasting = is_remedy(h.action) && h.action != Action::Pull;
            if h.result != Effect::Unknown || !lasting {
                continue;
            }
            let hint = match exchange::alike(model, h) {
                Some(_) => {
                    "cured, no change, moved if they changed places and the fault went along; empty: the next run tells"
                }
                None => "cured, no change, changed; empty: the next run tells",
            };
            loop {
                let Some(text) = self.talk.ask(&format!("what came of it ({hint}):"))? else {
                    return Ok(());
                };
                if text.is_empty() {
                    break;
                }
                if let Some(effect) = answer::effect_of(h, &text) {
                    h.result = effect;
                    break;
                }
                self.talk
                    .say("Type cured, no change, changed, moved, worse, or an empty line.\n")?;
            }
        }
        Ok(())
    }

    /// After a cure by another part: which, and where from, and what came out.
    fn what_was_fitted(&mut self, done: &HandsOn) -> Result<About> {
        let [place] = &done.places[..] else {
            return Ok(About::Nothing);
        };
        let on_board = print_statement(&Statement::Fitted {
            place: place.clone(),
            part: "0000".into(),
        });
        if !matches!(done.action, Action::Swap | Action::Replace)
            || !matches!(answer::full(&on_board), Understood::Line(..))
        {
            return Ok(About::Nothing);
        }
        let prompt = format!(
            "fitted {}: type and from where ('4164-15 from shelf'; empty: not said):",
            place.name
        );
        match self.asked_part(&prompt, |text| answer::fitted(place, text))? {
            About::Saved => {
                let prompt = format!("old part {}: its marking (empty: not said):", place.name);
                self.asked_part(&prompt, |text| answer::old_part(place, text))
            }
            other => Ok(other),
        }
    }

    /// Asks about a part until it is understood or left.
    fn asked_part(
        &mut self,
        prompt: &str,
        read: impl Fn(&str) -> std::result::Result<Vec<Statement>, String>,
    ) -> Result<About> {
        loop {
            let Some(text) = self.talk.ask(prompt)? else {
                return Ok(About::Nothing);
            };
            if text.is_empty() {
                return Ok(About::Nothing);
            }
            // The cure is saved; what is no answer to this belongs to the screen behind it.
            if answer::is_of_the_machine(&text) {
                return Ok(About::Next(text));
            }
            match read(&text) {
                Ok(all) => {
                    self.save_afresh(&all)?;
                    return Ok(About::Saved);
                }
                Err(hint) => {
                    self.not_understood(&hint, None)?;
                }
            }
        }
    }
}

/// What came of a question about a part.
enum About {
    /// Nothing was said.
    Nothing,
    /// The answer is in the ticket.
    Saved,
    /// Something else was typed.
    Next(String),
}

/// What is kept as it was typed, or is no answer of the technician's.
fn as_typed(s: &Statement) -> bool {
    matches!(
        s,
        Statement::Note(_)
            | Statement::Complaint(_)
            | Statement::History(_)
            | Statement::Ticket(_)
            | Statement::Board(_)
            | Statement::Photo { .. }
    )
}

/// Whether something was changed on the board since the last run mark.
fn changed_in_this_run(ticket: &Ticket) -> bool {
    let run = ticket.entries.last().map_or(1, |e| e.run);
    let mut done = ticket.hands_on().into_iter().filter(|(e, _)| e.run == run);
    done.any(|(_, h)| alters(h.action))
}

/// The line by which the machine, or what is known of it, is another than on the screen.
fn made_another(screen: &Ticket, now: &Ticket) -> Option<String> {
    let last = screen.entries.last().map_or(0, |e| e.line);
    let new = now.entries.iter().filter(|e| e.line > last);
    let changes = |s: &Statement| match s {
        Statement::HandsOn(h) => alters(h.action),
        Statement::NewRun | Statement::Undo | Statement::Outcome(_) => true,
        _ => false,
    };
    new.into_iter()
        .find(|e| e.says.iter().any(changes))
        .map(|e| e.text.clone())
}

/// What the lines behind `last` say otherwise than earlier lines of the same run.
fn contradicted(
    model: &BoardModel,
    ticket: &Ticket,
    observed: &Observed,
    last: usize,
) -> Option<String> {
    // Rails are read again and again; what comes and goes does; 'rest fine' is about what no one named.
    let plain = |r: &&Reading| match &r.evidence {
        Evidence::Check(c) => {
            let kind = ["rail.", "complaint", "report"];
            !kind.iter().any(|k| c.check.starts_with(k)) && !c.looped && r.text != "rest fine"
        }
        _ => false,
    };
    let said: Vec<&Reading> = observed.readings.iter().filter(plain).collect();
    let check = |r: &Reading| match &r.evidence {
        Evidence::Check(c) => Some((c.check.clone(), c.outcome == Seen::Pass, c.run)),
        _ => None,
    };
    let keys = crate::observe::board::keys(model).len();
    let all_keys_pass = |line: usize, run: usize| {
        let of_line = said.iter().filter(|r| r.line == line);
        let passing = of_line
            .filter_map(|r| check(r))
            .filter(|(id, pass, at)| id.starts_with("key.") && *pass && *at == run);
        keys > 0 && passing.count() >= keys
    };
    let new = said.iter().filter(|r| r.line > last);
    for r in new {
        let (id, pass, run) = check(r)?;
        let against = said.iter().find(|o| {
            check(o).is_some_and(|(other, passed, at)| {
                let keys = other.starts_with("keys ") && all_keys_pass(r.line, run);
                o.line <= last && at == run && ((other == id && passed != pass) || keys)
            })
        });
        if let Some(o) = against {
            let line = |n: usize| {
                let e = ticket.entries.iter().find(|e| e.line == n);
                e.map_or("", |e| e.text.as_str()).to_string()
            };
            return Some(format!(
                "Line {} says '{}', line {} says '{}', both of run {}. A slip: 'undo'. If the machine changed in between: \
                 'undo', then 'new run', then type it again.",
                o.line,
                line(o.line),
                r.line,
                line(r.line),
                run + 1
            ));
        }
    }
    None
}
