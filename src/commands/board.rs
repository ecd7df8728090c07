//! `board …`.

use super::{BAD, Console, DONE};
use crate::cli::BoardCommand;
use crate::shipped::Library;

/// Runs a `board` command.
///
/// # Errors
/// Only of writing.
pub fn board(command: &BoardCommand, console: &mut Console) -> std::io::Result<u8> {
    match command {
        BoardCommand::List { maps, json } => match Library::open(maps.as_deref()) {
            Ok(library) => list(&library, *json, console),
            Err(e) => {
                writeln!(console.err, "whichsocket: {e}")?;
                Ok(BAD)
            }
        },
    }
}

fn list(library: &Library, json: bool, console: &mut Console) -> std::io::Result<u8> {
    let boards = library.list();
    if json {
        let list: Vec<_> = boards
            .iter()
            .map(|(board, what)| serde_json::json!({ "board": board, "what": what }))
            .collect();
        writeln!(
            console.out,
            "{}",
            serde_json::json!({ "schema": 1, "boards": list })
        )?;
        return Ok(DONE);
    }
    for (board, what) in boards {
        let first = format!("{board:<16} ");
        let indent = " ".repeat(first.len());
        let options = textwrap::Options::new(80)
            .initial_indent(&first)
            .subsequent_indent(&indent);
        writeln!(console.out, "{}", textwrap::fill(&what, options))?;
    }
    Ok(DONE)
}
