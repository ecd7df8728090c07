//! `board …`.

mod check;
mod export;
mod find;
mod import;
mod show;

pub use check::CheckView;

use super::{BAD, Console, DONE};
use crate::cli::BoardCommand;
use crate::faultmap::model::BoardModel;
use crate::shipped::Library;
use std::path::Path;

/// Runs a `board` command.
///
/// # Errors
/// Only of writing.
pub fn board(command: &BoardCommand, console: &mut Console) -> std::io::Result<u8> {
    let said = match command {
        BoardCommand::List { maps, json } => open(maps.as_deref()).map(|l| list(&l, *json)),
        BoardCommand::Find(args) => find::find(args),
        BoardCommand::Show(args) => show::show(args),
        BoardCommand::Check(args) => return check::check(args, console),
        BoardCommand::Export(args) => export::export(args),
        BoardCommand::Import(args) => return import::import(args, console),
    };
    match said {
        Ok(text) => {
            write!(console.out, "{text}")?;
            Ok(DONE)
        }
        Err(message) => {
            writeln!(console.err, "whichsocket: {message}")?;
            Ok(BAD)
        }
    }
}

fn open(maps: Option<&Path>) -> Result<Library, String> {
    Library::open(maps).map_err(|e| e.to_string())
}

/// Every board of a library.
fn all(library: &Library) -> Result<Vec<BoardModel>, String> {
    let names = library.list().into_iter().map(|b| b.0);
    names
        .map(|name| library.board(&name).map_err(|e| e.to_string()))
        .collect()
}

/// One object of JSON on a line.
fn json(value: &impl serde::Serialize) -> Result<String, String> {
    serde_json::to_string(value)
        .map(|text| text + "\n")
        .map_err(|e| e.to_string())
}

fn list(library: &Library, json: bool) -> String {
    let boards = library.list();
    if json {
        let list: Vec<_> = boards
            .iter()
            .map(|(board, what)| serde_json::json!({ "board": board, "what": what }))
            .collect();
        return format!("{}\n", serde_json::json!({ "schema": 1, "boards": list }));
    }
    let mut out = String::new();
    for (board, what) in boards {
        let first = format!("{board:<16} ");
        let indent = " ".repeat(first.len());
        let options = textwrap::Options::new(80)
            .initial_indent(&first)
            .subsequent_indent(&indent);
        out += &textwrap::fill(&what, options);
        out.push('\n');
    }
    out
}
