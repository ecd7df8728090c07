//! The command line.

use clap::{Args, Parser, Subcommand, ValueEnum};
use std::path::PathBuf;

/// Reads the results of a test run of an 8-bit home computer and says which socket to suspect.
#[derive(Debug, Parser)]
#[command(
    name = "whichsocket",
    version,
    max_term_width = 80,
    propagate_version = true
)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
    /// When to colour the output.
    #[arg(long, global = true, value_enum, default_value_t = Colour::Auto, value_name = "WHEN")]
    pub color: Colour,
}

/// When to colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Colour {
    /// On a terminal, unless NO_COLOR is set.
    Auto,
    /// Always.
    Always,
    /// Never.
    Never,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Rank the suspects of one or more machines, and propose the next step.
    #[command(after_help = RANK_HELP)]
    Rank(RankArgs),
    /// Show what was understood of a sheet, line by line.
    #[command(after_help = READ_HELP)]
    Read(ReadArgs),
    /// Propose the next steps only, with what each outcome would mean.
    #[command(after_help = "Example:\n  whichsocket next samples/black-screen.run")]
    Next(RankArgs),
    /// Print the language of run sheets on one page.
    Guide,
    /// Look at the board maps.
    #[command(subcommand)]
    Board(BoardCommand),
    /// Print the JSON schema of what a command prints with --json.
    Schema {
        /// Which output.
        #[arg(value_enum, default_value_t = SchemaOf::Rank)]
        of: SchemaOf,
    },
}

const READ_HELP: &str = "Examples:
  whichsocket read samples/typed-in-haste.run
  whichsocket read --photo first.txt second.txt
  whichsocket read --words mine.yaml --ask sheet.run

`whichsocket guide` prints the whole language on one page.";

const RANK_HELP: &str = "Examples:
  whichsocket rank samples/one-memory-bit.run
  whichsocket rank --why samples/both-clocks-stopped.run
  whichsocket rank --json --no-next samples/*.run | jq .suspects[0].unit
  echo 'board dunlin-64; black screen' | whichsocket rank -

Exit status: 0 done; 1 something was not understood, with --strict; 2 bad input or usage.";

/// Outputs with a schema.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum SchemaOf {
    /// `rank` and `next`.
    Rank,
    /// `read`.
    Read,
}

/// Options of `rank` and `next`.
#[derive(Debug, Args)]
pub struct RankArgs {
    /// Run sheets; `-` is standard input. Several with the same ticket are the runs of one machine, in order.
    #[arg(required = true, value_name = "SHEET")]
    pub sheets: Vec<PathBuf>,
    /// Board map to use, whatever the sheet says.
    #[arg(long, value_name = "ID")]
    pub board: Option<String>,
    /// Folder with maps of your own (parts/, boards/), which add to the shipped ones or override them.
    #[arg(long, value_name = "DIR")]
    pub maps: Option<PathBuf>,
    /// How the sheets are read.
    #[command(flatten)]
    pub own: OwnArgs,
    /// List at most so many suspects.
    #[arg(long, value_name = "N", default_value_t = 8)]
    pub top: usize,
    /// Show what each line did to each suspect.
    #[arg(long)]
    pub why: bool,
    /// Do not work out the next step.
    #[arg(long)]
    pub no_next: bool,
    /// Exit with 1 when something was not understood.
    #[arg(long)]
    pub strict: bool,
    /// Print JSON: one object a machine.
    #[arg(long)]
    pub json: bool,
}

/// How sheets are read.
#[derive(Debug, Args, Default)]
pub struct OwnArgs {
    /// File with words and names of your own, which add to the shipped ones.
    #[arg(long, value_name = "FILE")]
    pub words: Option<PathBuf>,
    /// The text was read off a photograph; several recognitions of it, with form feeds between, are held against each other.
    #[arg(long)]
    pub photo: bool,
    /// So many lines of text were counted on the photograph; more or fewer are told.
    #[arg(long, value_name = "N")]
    pub lines: Option<usize>,
}

/// Options of `read`.
#[derive(Debug, Args)]
pub struct ReadArgs {
    /// Run sheet; `-` is standard input. With --photo, several are recognitions of the same photograph.
    #[arg(required = true, value_name = "SHEET")]
    pub sheets: Vec<PathBuf>,
    /// Folder with maps of your own: words/ and cartridges/ in it are used.
    #[arg(long, value_name = "DIR")]
    pub maps: Option<PathBuf>,
    /// How the sheets are read.
    #[command(flatten)]
    pub own: OwnArgs,
    /// Ask for the position of every name that is not known, and keep the answers in the file of --words.
    #[arg(long, requires = "words")]
    pub ask: bool,
    /// Exit with 1 when something was not understood.
    #[arg(long)]
    pub strict: bool,
    /// Print JSON.
    #[arg(long)]
    pub json: bool,
}

/// What to do with board maps.
#[derive(Debug, Subcommand)]
pub enum BoardCommand {
    /// List the boards.
    List {
        /// Folder with maps of your own.
        #[arg(long, value_name = "DIR")]
        maps: Option<PathBuf>,
        /// Print JSON.
        #[arg(long)]
        json: bool,
    },
}
