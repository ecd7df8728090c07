//! `trace`.

use super::{BAD, Console, DONE};
use crate::cli::TraceArgs;
use crate::shipped::Library;
use crate::trace::{svg, text, trace};

/// Runs `trace`.
///
/// # Errors
/// Only of writing to the console.
pub fn run(args: &TraceArgs, console: &mut Console) -> std::io::Result<u8> {
    match traced(args) {
        Ok(out) => {
            write!(console.out, "{out}")?;
            Ok(DONE)
        }
        Err(message) => {
            writeln!(console.err, "whichsocket: {message}")?;
            Ok(BAD)
        }
    }
}

fn traced(args: &TraceArgs) -> Result<String, String> {
    let library = Library::open(args.maps.as_deref()).map_err(|e| e.to_string())?;
    let known: Vec<String> = library.list().into_iter().map(|b| b.0).collect();
    let board = match (&args.board, &known[..]) {
        (Some(board), _) => board.clone(),
        (None, [only]) => only.clone(),
        (None, _) => {
            return Err(format!(
                "which board is it? Add --board ID; there are: {}",
                known.join(", ")
            ));
        }
    };
    let model = library.board(&board).map_err(|e| e.to_string())?;
    let (raw, families) = library.typed(&board).map_err(|e| e.to_string())?;
    let view = trace(&raw, &families, &model, &args.what.join(" "))?;
    if let Some(file) = &args.svg {
        let drawing = svg::svg(&view, &model);
        if file.as_os_str() == "-" {
            return Ok(drawing);
        }
        std::fs::write(file, drawing).map_err(|e| format!("{}: {e}", file.display()))?;
    }
    if args.json {
        let json = serde_json::to_string(&view).map_err(|e| e.to_string())?;
        return Ok(format!("{json}\n"));
    }
    Ok(text::text(&view))
}
