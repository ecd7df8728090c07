//! What the commands do: arguments in, text and exit status out.

pub mod batch;
pub mod bench;
pub mod board;
pub mod cap;
pub mod desk;
pub mod guide;
pub mod input;
pub mod machines;
pub mod note;
pub mod parallel;
pub mod rank;
pub mod rates;
pub mod read;
pub mod shell;
pub mod soak;
pub mod trace;

use crate::cli::{Cli, Command, SchemaOf};
use crate::report::view::RankingView;
use std::io::Write;

/// Exit status: done.
pub const DONE: u8 = 0;
/// Exit status: read, but something was not understood, and that matters (`--strict`).
pub const NOT_UNDERSTOOD: u8 = 1;
/// Exit status: bad input or usage.
pub const BAD: u8 = 2;

/// Where results and messages go.
pub struct Console<'a> {
    /// Results.
    pub out: &'a mut dyn Write,
    /// Messages.
    pub err: &'a mut dyn Write,
    /// Whether messages may be coloured.
    pub colour: bool,
    /// Only what makes a command fail is told.
    pub quiet: bool,
}

/// Runs a command.
///
/// # Errors
/// Only of writing.
pub fn run(cli: &Cli, console: &mut Console) -> std::io::Result<u8> {
    match &cli.command {
        Command::Rank(args) => rank::rank(args, rank::Show::Ranking, console),
        Command::Next(args) => rank::rank(args, rank::Show::Next, console),
        Command::Read(args) => read::read(args, console),
        Command::Bench(args) => bench::bench(args, console),
        Command::Soak(args) => soak::soak(args, console),
        Command::Cap(args) => cap::cap(args, console),
        Command::Rates(args) => rates::rates(args, console),
        Command::Batch(args) => batch::run(args, console),
        Command::Guide => guide::guide(console),
        Command::Note(args) => note::note(args, console),
        Command::Board(command) => board::board(command, console),
        Command::Trace(args) => trace::run(args, console),
        Command::Man { dir } => shell::man(dir, console),
        Command::Completions { shell } => shell::completions(*shell, console),
        Command::Schema { of } => {
            let schema = schema(*of);
            writeln!(console.out, "{}", serde_json::to_string_pretty(&schema)?)?;
            Ok(DONE)
        }
    }
}

fn schema(of: SchemaOf) -> schemars::Schema {
    use crate::faultmap::raw::{BoardRaw, CartridgeRaw, FamilyRaw};
    match of {
        SchemaOf::Rank => schemars::schema_for!(RankingView),
        SchemaOf::Read => schemars::schema_for!(read::ReadView),
        SchemaOf::Note => schemars::schema_for!(crate::note::Note),
        SchemaOf::Batch => schemars::schema_for!(crate::batch::view::BatchView),
        SchemaOf::Map => schemars::schema_for!(BoardRaw),
        SchemaOf::Part => schemars::schema_for!(FamilyRaw),
        SchemaOf::Cartridge => schemars::schema_for!(CartridgeRaw),
        SchemaOf::Trace => schemars::schema_for!(crate::trace::view::TraceView),
        SchemaOf::Show => schemars::schema_for!(crate::boardinfo::show::ShowView),
        SchemaOf::Find => schemars::schema_for!(crate::boardinfo::find::FindView),
        SchemaOf::Check => schemars::schema_for!(board::CheckView),
    }
}
