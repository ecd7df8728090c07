//! `man` and `completions`: what a shell and `man` want, from the one definition of the command line.

use super::{BAD, Console, DONE};
use crate::cli::Cli;
use clap::CommandFactory;
use clap_complete::Shell;
use std::io;
use std::path::Path;

/// Writes a manual page for each command into a folder.
///
/// # Errors
/// Only of writing to the console.
pub fn man(dir: &Path, console: &mut Console) -> io::Result<u8> {
    let written =
        std::fs::create_dir_all(dir).and_then(|()| clap_mangen::generate_to(Cli::command(), dir));
    match written {
        Ok(()) => Ok(DONE),
        Err(e) => {
            writeln!(console.err, "whichsocket: {}: {e}", dir.display())?;
            Ok(BAD)
        }
    }
}

/// Prints the completions of a shell.
///
/// # Errors
/// Only of writing.
pub fn completions(shell: Shell, console: &mut Console) -> io::Result<u8> {
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut Cli::command(), "whichsocket", &mut script);
    console.out.write_all(&script)?;
    Ok(DONE)
}
