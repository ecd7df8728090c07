//! Sheets from files and standard input.

use crate::faultmap::model::BoardModel;
use crate::sheet::{Bench, RunSheet, Statement, parse_at, read_limited};
use crate::shipped::Library;
use crate::ticket::Ticket;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Reads and parses a sheet; `-` is standard input.
///
/// # Errors
/// One clear message: not there, not text, empty, too large.
pub fn sheet(path: &Path) -> Result<RunSheet, String> {
    sheet_at(std::slice::from_ref(&path.to_path_buf()), &Bench::default())
}

/// Reads and parses a sheet with what a bench brings. Several paths are recognitions of one photograph.
///
/// # Errors
/// As [`sheet`].
pub fn sheet_at(paths: &[PathBuf], bench: &Bench) -> Result<RunSheet, String> {
    let (mut all, mut names) = (Vec::new(), Vec::new());
    for path in paths {
        let (name, bytes) = bytes_of(path)?;
        if !all.is_empty() {
            // What stands between the pages of a recognition stands between recognitions too.
            all.push(0x0c);
        }
        all.extend(bytes);
        names.push(name);
    }
    let is_ticket = |p: &PathBuf| p.extension().is_some_and(|e| e == "ticket");
    if let [path] = paths
        && is_ticket(path)
    {
        // A last line that was cut off while it was written is none.
        let ticket = Ticket::parse(&names[0], &all).map_err(|e| format!("{}: {e}", names[0]))?;
        return Ok(ticket.sheet);
    }
    let shown = names.join(" ");
    let name = if shown == STDIN { "stdin" } else { &*shown };
    parse_at(name, &all, bench).map_err(|e| format!("{shown}: {e}"))
}

const STDIN: &str = "standard input";

fn bytes_of(path: &Path) -> Result<(String, Vec<u8>), String> {
    let name = if path.as_os_str() == "-" {
        STDIN.to_string()
    } else {
        path.display().to_string()
    };
    if path.is_dir() {
        return Err(format!("{name}: a folder, not a file"));
    }
    let bytes = if path.as_os_str() == "-" {
        read_limited(std::io::stdin().lock())
    } else {
        read_limited(std::fs::File::open(path).map_err(|e| format!("{name}: {}", plain(&e)))?)
    };
    let bytes = bytes.map_err(|e| format!("{name}: {e}"))?;
    Ok((name, bytes))
}

/// Reads a ticket; `-` is standard input.
///
/// # Errors
/// As [`sheet`].
pub fn ticket(path: &Path) -> Result<Ticket, String> {
    let (name, bytes) = bytes_of(path)?;
    Ticket::parse(&name, &bytes).map_err(|e| format!("{name}: {e}"))
}

/// Why a file cannot be read, in plain words.
pub(super) fn plain(e: &std::io::Error) -> String {
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

/// The board that is asked for, or that the sheets of a machine name last.
///
/// # Errors
/// One clear message: none named, or no such board.
pub fn board(
    library: &Library,
    asked: Option<&str>,
    sheets: &[RunSheet],
) -> Result<Arc<BoardModel>, String> {
    let named = asked.or_else(|| sheets.iter().rev().find_map(board_of));
    let Some(name) = named else {
        let known: Vec<String> = library.list().into_iter().map(|b| b.0).collect();
        let file = &sheets[0].name;
        return Err(match mentioned(sheets, &known) {
            Some((id, line)) => format!(
                "{file}: which board is it? '{line}' names {id}, but was not understood: type 'board {id}' on a line of its own, \
                 or add --board {id}"
            ),
            None => format!(
                "{file}: which board is it? Add a line such as 'board {}', or --board; there are: {}",
                known.first().map_or("NAME", String::as_str),
                known.join(", ")
            ),
        });
    };
    library
        .shared(name)
        .map_err(|e| format!("{}: {e}", sheets[0].name))
}

/// A board whose identifier stands somewhere in the sheets, hyphens aside, with the line that it stands in.
fn mentioned<'k>(sheets: &'k [RunSheet], known: &'k [String]) -> Option<(&'k str, &'k str)> {
    let bare = |s: &str| s.to_lowercase().replace('-', "");
    let stands = |line: &str, id: &str| {
        let mut words = line.split(|c: char| c.is_whitespace() || ",;".contains(c));
        words.any(|word| bare(word) == bare(id))
    };
    let mut lines = sheets.iter().flat_map(|s| s.text.lines());
    lines.find_map(|line| {
        let id = known.iter().find(|id| stands(line, id))?;
        Some((id.as_str(), line.trim()))
    })
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
