//! Sheets from files and standard input.

use crate::sheet::{RunSheet, Statement, parse, read_limited};
use crate::ticket::Ticket;
use std::path::Path;

/// Reads and parses a sheet; `-` is standard input.
///
/// # Errors
/// One clear message: not there, not text, empty, too large.
pub fn sheet(path: &Path) -> Result<RunSheet, String> {
    if path.as_os_str() == "-" {
        let bytes =
            read_limited(std::io::stdin().lock()).map_err(|e| format!("standard input: {e}"))?;
        return parse("stdin", &bytes).map_err(|e| format!("standard input: {e}"));
    }
    let name = path.display().to_string();
    let file = std::fs::File::open(path).map_err(|e| format!("{name}: {}", plain(&e)))?;
    let bytes = read_limited(file).map_err(|e| format!("{name}: {e}"))?;
    if path.extension().is_some_and(|e| e == "ticket") {
        // A last line that was cut off while it was written is none.
        let ticket = Ticket::parse(&name, &bytes).map_err(|e| format!("{name}: {e}"))?;
        return Ok(ticket.sheet);
    }
    parse(&name, &bytes).map_err(|e| format!("{name}: {e}"))
}

fn plain(e: &std::io::Error) -> String {
    match e.kind() {
        std::io::ErrorKind::NotFound => "no such file".into(),
        std::io::ErrorKind::PermissionDenied => "may not be read".into(),
        _ => e.to_string(),
    }
}

/// The board that a sheet names.
pub fn board_of(sheet: &RunSheet) -> Option<&str> {
    statements(sheet).find_map(|s| match s {
        Statement::Board(b) => Some(b.as_str()),
        _ => None,
    })
}

/// The ticket that a sheet names.
pub fn ticket_of(sheet: &RunSheet) -> Option<&str> {
    statements(sheet).find_map(|s| match s {
        Statement::Ticket(t) => Some(t.as_str()),
        _ => None,
    })
}

fn statements(sheet: &RunSheet) -> impl Iterator<Item = &Statement> {
    sheet
        .lines
        .iter()
        .flat_map(|l| &l.statements)
        .map(|s| &s.value)
}

/// Sheets by machine: those with the same ticket are the runs of one, in order.
pub fn machines(sheets: Vec<RunSheet>) -> Vec<Vec<RunSheet>> {
    let mut out: Vec<Vec<RunSheet>> = Vec::new();
    for sheet in sheets {
        let same = out
            .iter_mut()
            .find(|m| ticket_of(&sheet).is_some() && ticket_of(&m[0]) == ticket_of(&sheet));
        match same {
            Some(machine) => machine.push(sheet),
            None => out.push(vec![sheet]),
        }
    }
    out
}
