//! What a reader remembers of the lines above: the number of the ticket, and what was named, which `others ok` does not mean.

use super::Line;
use super::concept::Concept;
use super::line::Reader;
use super::statement::{State, Statement, Subject};
use super::token::Lexed;
use crate::diag::code;
use crate::source::{Span, Spanned};

/// How many bytes behind a number are looked at for words that turn a meaning around.
const HEAD: usize = 200;

impl Reader<'_> {
    /// Whether a statement passes what this line or one above it names.
    pub(super) fn named_before(&self, statement: &Statement, line: &Line) -> bool {
        let Statement::Finding(f) = statement else {
            return false;
        };
        let here = |s: &Spanned<Statement>| matches!(&s.value, Statement::Finding(g) if g.subject == f.subject);
        f.state == State::Ok
            && is_counted(&f.subject)
            && (self.named.contains(&f.subject) || line.statements.iter().any(here))
    }

    /// What `others ok` further down does not mean.
    pub(super) fn remember(&mut self, line: &Line) {
        for statement in &line.statements {
            match &statement.value {
                Statement::NewRun => self.named.clear(),
                Statement::Finding(f)
                    if is_counted(&f.subject) && !self.named.contains(&f.subject) =>
                {
                    self.named.push(f.subject.clone());
                }
                _ => {}
            }
        }
    }

    /// `#736`: the first of them numbers the ticket, when it has three digits or more and nothing behind it says otherwise; else
    /// it may be a comment as well, and is asked about. Returns whether the rest of the line is to be read.
    pub(super) fn numbered(
        &mut self,
        digits: &str,
        place: Span,
        rest: Span,
        line: &mut Line,
    ) -> bool {
        // A few words tell; the line may be as long as it likes.
        let mut end = rest.end.min(rest.start + HEAD);
        while !self.text.is_char_boundary(end) {
            end -= 1;
        }
        let lexed = Lexed::new(self.text, Span::new(rest.start, end), self.words, None);
        let turned = (0..lexed.atoms.len())
            .any(|i| lexed.longest(i, Concept::Changer).is_some() || lexed.atoms[i].lower == "?");
        let glued = lexed
            .atoms
            .first()
            .is_some_and(|a| a.span.start == place.end);
        if !self.ticketed && digits.len() >= 3 && !turned && !glued {
            line.statements.push(Spanned {
                value: Statement::Ticket(digits.to_string()),
                span: place,
            });
            return true;
        }
        let help = "type `ticket` and the number, or a blank behind `#` for a comment";
        let message = "a number behind `#` may be a ticket or a comment";
        let whole = Span::new(place.start, rest.end.max(place.end));
        self.unread(
            line,
            whole,
            place,
            code::NOT_UNDERSTOOD,
            message,
            "here",
            help,
        );
        false
    }
}

/// Things of which there are a few, so that `others` can mean the rest of them.
fn is_counted(subject: &Subject) -> bool {
    matches!(
        subject,
        Subject::MemoryBit(_)
            | Subject::ColourBit(_)
            | Subject::OtherMemory(_, Some(_))
            | Subject::Voice(_)
            | Subject::Timer(..)
            | Subject::Clock(_)
    )
}
