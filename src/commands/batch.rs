//! `batch`: a folder of machines, and which parts finish the most of them.

use super::desk::Desk;
use super::machines::{self, Source};
use super::{BAD, Console, DONE, NOT_UNDERSTOOD, input, parallel, rates};
use crate::batch::machine::{Surveyed, survey};
use crate::batch::stock::{self, Stock};
use crate::batch::view::{BatchView, RefusedSheets};
use crate::batch::{batch, report};
use crate::cli::{BatchArgs, BatchFormat as Format};
use crate::faultmap::load::LARGEST_MAP;
use crate::shipped::Library;
use std::path::Path;

/// Runs `batch`.
///
/// # Errors
/// Only of writing.
pub fn run(args: &BatchArgs, console: &mut Console) -> std::io::Result<u8> {
    let view = match look(args) {
        Ok(view) => view,
        Err(message) => {
            for line in message.lines() {
                writeln!(console.err, "whichsocket: {line}")?;
            }
            return Ok(BAD);
        }
    };
    for refused in &view.refused {
        writeln!(console.err, "whichsocket: {}", refused.error)?;
    }
    match if args.json { Format::Json } else { args.format } {
        Format::Text => write!(console.out, "{}", report::text(&view))?,
        Format::Md => write!(console.out, "{}", report::markdown(&view))?,
        Format::Csv => write!(console.out, "{}", report::csv(&view))?,
        Format::Html => write!(console.out, "{}", report::html_page(&view))?,
        Format::Json => writeln!(console.out, "{}", serde_json::to_string(&view)?)?,
    }
    let strict = args.strict && view.machines.iter().any(|m| m.not_understood > 0);
    Ok(match view.machines.len() {
        0 => BAD,
        _ if strict => NOT_UNDERSTOOD,
        _ => DONE,
    })
}

fn look(args: &BatchArgs) -> Result<BatchView, String> {
    let mut library = Library::open(args.maps.as_deref()).map_err(|e| e.to_string())?;
    let learned = rates::learned(&args.learned, &library)?;
    library.learned = learned;
    let desk = Desk::open(args.maps.as_deref(), None)?;
    let stock = args.stock.as_deref().map(read_stock).transpose()?;
    let mut refused = Vec::new();
    let mut files = Vec::new();
    for found in machines::files(std::slice::from_ref(&args.dir)) {
        match found {
            Ok(path) if path.exists() => files.push(path),
            Ok(path) => return Err(format!("{}: no such folder", path.display())),
            Err((_, message)) => return Err(message),
        }
    }
    let ticket = |path: &Path| {
        let sheet = input::sheet(path).ok()?;
        input::ticket_of(&sheet).map(String::from)
    };
    let sources = machines::by_ticket(files, ticket);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let mut surveyed: Vec<Surveyed> = Vec::new();
    let all = parallel::ordered(
        sources.iter(),
        threads,
        |source| one(args, &library, &desk, source),
        |source, result| -> Result<(), std::convert::Infallible> {
            match result {
                Ok(machine) => surveyed.push(machine),
                Err(error) => refused.push(RefusedSheets {
                    sheets: source.names(),
                    error,
                }),
            }
            Ok(())
        },
    );
    let Ok(()) = all;
    surveyed.sort_by(|a, b| a.view.machine.cmp(&b.view.machine));
    let with = stock.as_ref().map(|(name, stock)| (name.as_str(), stock));
    batch(&surveyed, refused, with).map_err(|e| e.to_string())
}

fn read_stock(path: &Path) -> Result<(String, Stock), String> {
    let name = path.display().to_string();
    let size = std::fs::metadata(path)
        .map_err(|e| format!("{name}: {e}"))?
        .len();
    if size > LARGEST_MAP {
        return Err(format!(
            "{name}: larger than {LARGEST_MAP} bytes: this is no stock file"
        ));
    }
    let text = std::fs::read_to_string(path).map_err(|e| format!("{name}: {e}"))?;
    let stock = stock::read(&name, &text).map_err(|errors| {
        let all: Vec<String> = errors.iter().map(ToString::to_string).collect();
        all.join("\n")
    })?;
    Ok((name, stock))
}

fn one(
    args: &BatchArgs,
    library: &Library,
    desk: &Desk,
    source: &Source,
) -> Result<Surveyed, String> {
    let sheets = source.read(&desk.bench(false, None))?;
    let named = args.board.as_deref();
    let board = named.or_else(|| sheets.iter().rev().find_map(input::board_of));
    let name = board.ok_or_else(|| {
        format!(
            "{}: which board is it? Add a line such as 'board dunlin-64', or --board",
            sheets[0].name
        )
    })?;
    let plain = library
        .shared(name)
        .map_err(|e| format!("{}: {e}", sheets[0].name))?;
    let learned = library.learned.as_ref();
    let model = learned.map_or_else(|| plain.clone(), |l| l.applied(&plain).into());
    survey(&model, &sheets)
}
