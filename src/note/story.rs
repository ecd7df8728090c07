//! A ticket as a story: what it says, in order, with line, run and time.

use crate::sheet::{Moment, RunSheet, Statement, moment_text, print_statement};
use crate::ticket::Ticket;

/// One thing that the ticket says.
#[derive(Debug, Clone)]
pub struct Entry<'s> {
    /// Line number from 1.
    pub line: usize,
    /// Run, from 1.
    pub run: usize,
    /// The last time stamp before it.
    pub at: Option<Moment>,
    /// What it says.
    pub says: &'s Statement,
}

impl Entry<'_> {
    /// What it says, in the words of a sheet.
    pub fn text(&self) -> String {
        let text = print_statement(self.says);
        text.strip_prefix('$').map_or(text.clone(), str::to_string)
    }

    /// The time stamp as written.
    pub fn when(&self) -> Option<String> {
        self.at.map(moment_text)
    }
}

/// Everything that the ticket says and that was not struck.
pub fn entries(ticket: &Ticket) -> Vec<Entry<'_>> {
    let all = ticket.statements();
    all.map(|(e, says)| Entry {
        line: e.line,
        run: e.run,
        at: e.at,
        says,
    })
    .collect()
}

/// Whether a statement is a reading of the machine.
pub fn reads(s: &Statement) -> bool {
    matches!(
        s,
        Statement::Finding(_) | Statement::RestFine | Statement::NotReached(_)
    )
}

/// Whether a statement can change a ranking.
pub fn tells(s: &Statement) -> bool {
    reads(s)
        || matches!(
            s,
            Statement::HandsOn(_) | Statement::Fitted { .. } | Statement::Empty(_)
        )
}

/// A line as it was typed.
pub fn typed(sheet: &RunSheet, number: usize) -> &str {
    let line = sheet.lines.iter().find(|l| l.number == number);
    line.map_or("", |l| sheet.text[l.span.start..l.span.end].trim())
}
