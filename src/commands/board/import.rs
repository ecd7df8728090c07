//! `board import`.

use super::{BAD, Console, DONE};
use crate::cli::ImportArgs;
use crate::import::kicad::read;
use crate::import::sexp::LARGEST;
use crate::import::skeleton::{Skeleton, skeleton};
use crate::shipped;
use std::io::Read as _;

/// Prints the skeleton of a map.
pub(super) fn import(args: &ImportArgs, console: &mut Console) -> std::io::Result<u8> {
    match imported(args) {
        Ok(made) => {
            write!(console.out, "{}", made.text)?;
            if console.quiet {
                return Ok(DONE);
            }
            let left = made.left.len();
            writeln!(
                console.err,
                "{} parts in the map, {left} left in comments",
                made.guessed
            )?;
            for part in made.left.iter().take(20) {
                writeln!(console.err, "  {part}")?;
            }
            if left > 20 {
                writeln!(console.err, "  and {} more", left - 20)?;
            }
            Ok(DONE)
        }
        Err(message) => {
            writeln!(console.err, "whichsocket: {message}")?;
            Ok(BAD)
        }
    }
}

fn imported(args: &ImportArgs) -> Result<Skeleton, String> {
    let name = args.file.display().to_string();
    let mut bytes = Vec::new();
    let file = std::fs::File::open(&args.file).map_err(|e| format!("{name}: {e}"))?;
    // One byte more than allowed, to see that there is more.
    file.take(LARGEST as u64 + 1)
        .read_to_end(&mut bytes)
        .map_err(|e| format!("{name}: {e}"))?;
    let text = String::from_utf8(bytes).map_err(|_| format!("{name}: this is no text in UTF-8"))?;
    let drawing = read(&text).map_err(|e| format!("{name}: {e}"))?;
    let families = shipped::maps().map_err(|e| e.to_string())?.families;
    let file = args
        .file
        .file_name()
        .map_or(name, |f| f.to_string_lossy().into_owned());
    let board = args.name.clone().unwrap_or_else(|| identifier(&file));
    Ok(skeleton(&drawing, &families, &board, &file))
}

/// `My Board v2.kicad_pcb` → `my-board-v2`.
fn identifier(file: &str) -> String {
    let stem = file.rsplit_once('.').map_or(file, |(stem, _)| stem);
    let plain: String = stem
        .chars()
        .map(|c| {
            if c.is_ascii_alphanumeric() {
                c.to_ascii_lowercase()
            } else {
                '-'
            }
        })
        .collect();
    let joined: Vec<&str> = plain.split('-').filter(|w| !w.is_empty()).collect();
    if joined.is_empty() {
        "imported".to_string()
    } else {
        joined.join("-")
    }
}
