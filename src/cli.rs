//! The command line.

use crate::next::{Bench, Tool};
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
    #[command(after_help = "Example:\n  whichsocket read samples/typed-in-haste.run")]
    Read(ReadArgs),
    /// Propose the next steps only, with what each outcome would mean.
    #[command(after_help = "Example:\n  whichsocket next samples/black-screen.run")]
    Next(RankArgs),
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
    /// Run sheets, or folders of them; `-` is standard input: a sheet, or one machine a line as JSON
    /// ({"name": ..., "sheet": ...} or "sheets": [...]). Several with the same ticket are the runs of one machine, in order.
    #[arg(required = true, value_name = "SHEET")]
    pub sheets: Vec<PathBuf>,
    /// Board map to use, whatever the sheet says.
    #[arg(long, value_name = "ID")]
    pub board: Option<String>,
    /// Folder with maps of your own (parts/, boards/), which add to the shipped ones or override them.
    #[arg(long, value_name = "DIR")]
    pub maps: Option<PathBuf>,
    /// List at most so many suspects.
    #[arg(long, value_name = "N", default_value_t = 8)]
    pub top: usize,
    /// Show what each line did to each suspect.
    #[arg(long)]
    pub why: bool,
    /// Do not work out the next step.
    #[arg(long)]
    pub no_next: bool,
    /// What the bench has, for the next step.
    #[command(flatten)]
    pub bench: BenchArgs,
    /// Exit with 1 when something was not understood.
    #[arg(long)]
    pub strict: bool,
    /// Print JSON: one object a machine. Reasons are in it with --why, and when there is one machine only.
    #[arg(long)]
    pub json: bool,
    /// Machines ranked at the same time (one for each core, when not said).
    #[arg(long, value_name = "N")]
    pub threads: Option<usize>,
}

/// What the bench has.
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "Next step")]
pub struct BenchArgs {
    /// Tools at hand: multimeter, probe, scope, spray, donor (all, when not said). Steps that need another are not proposed.
    #[arg(long, value_name = "LIST", value_delimiter = ',')]
    pub tools: Option<Vec<Tool>>,
    /// Types of the parts at hand, such as 4164,74LS257 (any, when not said). Others are not proposed for a swap.
    #[arg(long, value_name = "LIST", value_delimiter = ',')]
    pub parts: Option<Vec<String>>,
    /// Think so long about the plan.
    #[arg(long, value_name = "S")]
    pub seconds: Option<f64>,
    /// Show the decision tree so many steps deep.
    #[arg(long, value_name = "DEPTH", num_args = 0..=1, default_missing_value = "6", default_value_t = 0, hide_default_value = true)]
    pub tree: u8,
    /// Draw the decision tree into this file (SVG).
    #[arg(long, value_name = "FILE")]
    pub tree_svg: Option<PathBuf>,
}

impl BenchArgs {
    /// As the planner takes it.
    pub fn bench(&self) -> Bench {
        let all = Bench::default();
        Bench {
            tools: self.tools.clone().unwrap_or(all.tools),
            parts: self.parts.clone(),
            seconds: self.seconds.filter(|s| s.is_finite() && *s > 0.0),
            tree: match (&self.tree_svg, self.tree) {
                (Some(_), 0) => 6,
                (_, depth) => depth,
            },
        }
    }
}

/// Options of `read`.
#[derive(Debug, Args)]
pub struct ReadArgs {
    /// Run sheet; `-` is standard input.
    #[arg(value_name = "SHEET")]
    pub sheet: PathBuf,
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
