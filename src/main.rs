//! The command line program; see the library for everything it does.

use anstream::ColorChoice;
use clap::Parser;
use std::process::ExitCode;
use whichsocket::cli::{Cli, Colour};
use whichsocket::commands::{self, Console};

/// Rankings ask for many small pieces of memory on all threads at once.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    let cli = Cli::parse();
    match cli.color {
        Colour::Auto => {}
        Colour::Always => ColorChoice::Always.write_global(),
        Colour::Never => ColorChoice::Never.write_global(),
    }
    let (stdout, stderr) = (anstream::stdout(), anstream::stderr());
    let colour = stderr.current_choice() != ColorChoice::Never;
    // What has no colours is not searched for them: a stream of rankings is long.
    let (mut plain, mut coloured) = (std::io::stdout().lock(), stdout.lock());
    let mut console = Console {
        out: if cli.json() {
            &mut plain
        } else {
            &mut coloured
        },
        err: &mut stderr.lock(),
        colour,
        quiet: cli.quiet,
    };
    match commands::run(&cli, &mut console) {
        Ok(status) => ExitCode::from(status),
        // Whoever reads the output has seen enough.
        Err(e) if e.kind() == std::io::ErrorKind::BrokenPipe => ExitCode::SUCCESS,
        Err(e) => {
            eprintln!("whichsocket: {e}");
            ExitCode::from(commands::BAD)
        }
    }
}
