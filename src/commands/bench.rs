//! `bench`: the guided session.

use super::{BAD, Console, DONE};
use crate::bench::talk::Plain;
use crate::bench::{Bench, Ended};
use crate::cli::SessionArgs;
use crate::sheet::Moment;
use crate::shipped::Library;
use crate::ticket::store::FileStore;
use std::io::IsTerminal;
use std::path::{Path, PathBuf};

/// The minute that the clock of this machine shows, where it is.
pub fn now() -> Moment {
    let t = jiff::ZonedDateTime::now();
    // The calendar has no negative fields in the years that a clock can show.
    let field = |n: i8| u8::try_from(n).unwrap_or(0);
    Moment {
        year: u16::try_from(t.year()).unwrap_or(0),
        month: field(t.month()),
        day: field(t.day()),
        hour: field(t.hour()),
        minute: field(t.minute()),
    }
}

/// The file of a ticket: as named, or with `.ticket` behind a name that has no ending and is not there.
fn file_of(named: &Path) -> PathBuf {
    if named.extension().is_none() && !named.exists() {
        return named.with_extension("ticket");
    }
    named.to_path_buf()
}

/// Runs a session on standard input.
///
/// # Errors
/// Only of writing.
pub fn bench(args: &SessionArgs, console: &mut Console) -> std::io::Result<u8> {
    let library = match Library::open(args.maps.as_deref()) {
        Ok(library) => library,
        Err(e) => {
            writeln!(console.err, "whichsocket: {e}")?;
            return Ok(BAD);
        }
    };
    let learned = match super::rates::learned(&args.learned, &library) {
        Ok(learned) => learned,
        Err(message) => {
            writeln!(console.err, "whichsocket: {message}")?;
            return Ok(BAD);
        }
    };
    // Who waits for the next step has the machine to himself.
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    crate::infer::use_threads(cores);
    let path = file_of(&args.ticket);
    let name = path
        .file_stem()
        .map_or_else(String::new, |s| s.to_string_lossy().into_owned());
    // Found now, not when the first answer is to be saved.
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty());
    if let Some(folder) = folder.filter(|f| !f.is_dir()) {
        writeln!(
            console.err,
            "whichsocket: {}: no such folder",
            folder.display()
        )?;
        return Ok(BAD);
    }
    let stdin = std::io::stdin();
    let echo = !stdin.is_terminal();
    let mut input = stdin.lock();
    let mut store = FileStore::new(&path);
    let ended = Bench {
        library: &library,
        store: &mut store,
        talk: &mut Plain::new(&mut input, console.out, echo),
        now: &now,
        name: &name,
        learned: learned.as_ref(),
        has: &args.bench.bench(),
    }
    .run();
    match ended {
        Ok(Ended::Unusable) => Ok(BAD),
        Ok(_) => Ok(DONE),
        Err(e) if e.kind() == std::io::ErrorKind::BrokenPipe => Err(e),
        Err(e) => {
            writeln!(console.err, "whichsocket: {}: {e}", path.display())?;
            Ok(BAD)
        }
    }
}
