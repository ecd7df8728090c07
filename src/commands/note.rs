//! `note`: the repair note of a ticket.

use super::{BAD, Console, DONE, input};
use crate::cli::{NoteArgs, NoteFormat};
use crate::note::{Note, build_with, html, markdown, text};
use crate::shipped::Library;

/// Runs `note`.
///
/// # Errors
/// Only of writing to the streams.
pub fn note(args: &NoteArgs, console: &mut Console) -> std::io::Result<u8> {
    let written = match made(args) {
        Ok(note) => render(&note, args.format)?,
        Err(message) => return refuse(&message, console),
    };
    match &args.output {
        None => write!(console.out, "{written}")?,
        Some(file) => {
            if let Err(e) = std::fs::write(file, written) {
                return refuse(
                    &format!("{}: cannot be written: {e}", file.display()),
                    console,
                );
            }
        }
    }
    Ok(DONE)
}

fn refuse(message: &str, console: &mut Console) -> std::io::Result<u8> {
    writeln!(console.err, "whichsocket: {message}")?;
    Ok(BAD)
}

fn made(args: &NoteArgs) -> Result<Note, String> {
    let library = Library::open(args.maps.as_deref()).map_err(|e| e.to_string())?;
    let ticket = input::ticket(&args.ticket)?;
    let sheets = std::slice::from_ref(&ticket.sheet);
    let model = input::board(&library, args.board.as_deref(), sheets)?;
    let learned = super::rates::learned(&args.learned, &library)?;
    build_with(&model, &ticket, learned.as_ref()).map_err(|e| format!("{}: {e}", ticket.sheet.name))
}

/// The note in a format.
///
/// # Errors
/// None that a note can cause; JSON writing has an error type.
pub fn render(note: &Note, format: NoteFormat) -> std::io::Result<String> {
    Ok(match format {
        NoteFormat::Text => text::render(note),
        NoteFormat::Md => markdown::render(note),
        NoteFormat::Html => html::render(note),
        NoteFormat::Json => serde_json::to_string_pretty(note)? + "\n",
    })
}
