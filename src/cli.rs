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
    propagate_version = true,
    after_help = HELP
)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
    /// When to colour the output.
    #[arg(long, global = true, value_enum, default_value_t = Colour::Auto, value_name = "WHEN")]
    pub color: Colour,
    /// No remarks on standard error, and no progress bar; what makes a command fail is still told.
    #[arg(short, long, global = true)]
    pub quiet: bool,
}

impl Cli {
    /// Whether rankings are printed as JSON.
    pub fn json(&self) -> bool {
        matches!(&self.command, Command::Rank(args) | Command::Next(args) if args.json)
    }
}

const HELP: &str = "Examples:
  whichsocket rank samples/one-memory-bit.run
  whichsocket bench 0412.ticket
  whichsocket help rank

Exit status: 0 done; 1 something was not understood, or there are warnings, with --strict;
2 bad input or usage. Results go to standard output, messages to standard error.
Colours are off with `--color never`, with NO_COLOR set, and when the output is no terminal.";

const SCHEMA_HELP: &str = "Examples:
  whichsocket schema
  whichsocket schema map >map.schema.json";

const MAN_HELP: &str = "Examples:
  whichsocket man ~/.local/share/man/man1
  whichsocket man /tmp/man && man /tmp/man/whichsocket-rank.1";

const COMPLETIONS_HELP: &str = "Examples:
  whichsocket completions bash >~/.local/share/bash-completion/completions/whichsocket
  whichsocket completions zsh >~/.zfunc/_whichsocket
  whichsocket completions fish >~/.config/fish/completions/whichsocket.fish";

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
    /// Work through a machine step by step at the terminal; every answer goes onto its ticket at once.
    #[command(after_help = BENCH_HELP)]
    Bench(SessionArgs),
    /// Say whether clean loops prove a cure, and how many more are needed.
    #[command(after_help = SOAK_HELP)]
    Soak(SoakArgs),
    /// Say which capacitors of a list to keep and which to replace, and why.
    #[command(after_help = CAP_HELP)]
    Cap(CapArgs),
    /// Count what failed on the closed tickets of a folder: the bench's own failure rates.
    #[command(after_help = RATES_HELP)]
    Rates(RatesArgs),
    /// Show how every machine of a folder stands, and which parts finish the most of them.
    #[command(after_help = BATCH_HELP)]
    Batch(BatchArgs),
    /// Print the language of run sheets on one page.
    #[command(after_help = "Example:\n  whichsocket guide | less")]
    Guide,
    /// Write the repair note of a ticket.
    #[command(after_help = NOTE_HELP)]
    Note(NoteArgs),
    /// Look at the board maps.
    #[command(subcommand)]
    Board(BoardCommand),
    /// Follow a signal over the board, pin by pin.
    #[command(after_help = TRACE_HELP)]
    Trace(TraceArgs),
    /// Print the JSON schema of what a command prints with --json.
    #[command(after_help = SCHEMA_HELP)]
    Schema {
        /// Which output.
        #[arg(value_enum, default_value_t = SchemaOf::Rank)]
        of: SchemaOf,
    },
    /// Write the manual pages into a folder, one for each command.
    #[command(after_help = MAN_HELP)]
    Man {
        /// The folder, made if it is not there.
        #[arg(value_name = "DIR")]
        dir: PathBuf,
    },
    /// Print the completions of a shell.
    #[command(after_help = COMPLETIONS_HELP)]
    Completions {
        /// Which shell.
        #[arg(value_enum, value_name = "SHELL")]
        shell: clap_complete::Shell,
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

const BENCH_HELP: &str = "Examples:
  whichsocket bench 0412.ticket
  whichsocket bench --tickets closed 0412.ticket
  whichsocket bench 0412.ticket < answers.txt";

const SOAK_HELP: &str = "Examples:
  whichsocket soak --failed 1 --of 5 --clean 6
  whichsocket soak --rate 0.2 --clean 10
  whichsocket soak --failed 1 --of 5 --clean 20 --cold-failed 4 --cold-of 20 --cold-clean 3
  whichsocket soak --failed 1 --hours 10 --clean-hours 12

Loops and hours after the repair are 'clean'; 'failed' of 'of' were before it. Cold starts
are counted apart from warm loops. The formula and its source are printed below the result.";

const CAP_HELP: &str = "Examples:
  whichsocket cap capacitors.txt
  echo 'C88 100uF/16V: 71 uF, esr 2.1, loss 6 %' | whichsocket cap -

A line: the name, what is printed on it (value, volts, tolerance letter; np for non-polar,
'class B' for 85 degrees, 'class D' for low leakage), a colon, and what was measured: value,
esr, loss (per cent after a pulse), leakage; bulged, leaking, old.

Exit status: 0 done; 1 something was not understood, with --strict; 2 nothing was read.";

const RATES_HELP: &str = "Examples:
  whichsocket rates closed
  whichsocket rates closed --export bench-rates.yaml
  whichsocket rank --rates bench-rates.yaml samples/one-memory-bit.run

A ticket counts when it was closed as cured and proved, names what was proved, and its clean loops prove it.
Deleting the exported file, or leaving the option out, resets the rates to the handbook's.";

const BATCH_HELP: &str = "Examples:
  whichsocket batch samples/batch
  whichsocket batch --stock samples/batch/stock.yaml samples/batch
  whichsocket batch --stock stock.yaml --format html bench > plan.html

A stock file, every key of which may be left out:
  budget: 40
  worth: 120        # of a complete machine; without it their number counts
  minute: 0.5       # what a minute of work costs, with 'worth'
  shelf:
    - {type: 8910, count: 1, good: 0.9}
  donors:
    - {ticket: 0503, only: [T1, KB]}
  buy:
    - {type: 74LS138, price: 2.50, good: 0.98, most: 4}

Exit status: 0 done; 1 something was not understood, with --strict; 2 bad input or usage.";

/// Outputs with a schema.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum SchemaOf {
    /// `rank` and `next`.
    Rank,
    /// `read`.
    Read,
    /// `note --format json`.
    Note,
    /// `batch`.
    Batch,
    /// The map format, for editors: `boards/*.yaml`.
    Map,
    /// The map format: `parts/*.yaml`.
    Part,
    /// The map format: `cartridges/*.yaml`.
    Cartridge,
    /// `trace`.
    Trace,
    /// `board show`.
    Show,
    /// `board find`.
    Find,
    /// `board check`.
    Check,
}

/// Forms of the report of a batch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum BatchFormat {
    /// For a terminal of 80 columns.
    Text,
    /// Markdown.
    Md,
    /// One row a machine.
    Csv,
    /// A page by itself.
    Html,
    /// As 'schema batch' says.
    Json,
}

/// Options of `cap`.
#[derive(Debug, Args)]
pub struct CapArgs {
    /// File with a capacitor a line; - is stdin.
    #[arg(value_name = "LIST")]
    pub list: PathBuf,
    /// Print JSON.
    #[arg(long)]
    pub json: bool,
    /// Exit with 1 when a line was not understood.
    #[arg(long)]
    pub strict: bool,
}

/// Options of `batch`.
#[derive(Debug, Args)]
pub struct BatchArgs {
    /// Folder with run sheets and tickets (.run, .ticket); those with the same ticket are the runs of one machine.
    #[arg(value_name = "DIR")]
    pub dir: PathBuf,
    /// What the bench has and what things cost (YAML): with it a plan is made.
    #[arg(long, value_name = "FILE")]
    pub stock: Option<PathBuf>,
    /// Form of the report.
    #[arg(long, value_enum, default_value_t = BatchFormat::Text, value_name = "FORM")]
    pub format: BatchFormat,
    /// The same as --format json.
    #[arg(long, conflicts_with = "format")]
    pub json: bool,
    /// Board map to use, whatever the sheets say.
    #[arg(long, value_name = "ID")]
    pub board: Option<String>,
    /// Folder with maps of your own.
    #[arg(long, value_name = "DIR")]
    pub maps: Option<PathBuf>,
    /// The bench's own failure rates.
    #[command(flatten)]
    pub learned: LearnedArgs,
    /// Exit with 1 when something was not understood.
    #[arg(long)]
    pub strict: bool,
}

/// Options of `rank` and `next`.
#[derive(Debug, Args)]
pub struct RankArgs {
    /// Run sheets, or folders of them; `-` is standard input: a sheet, or one machine a line as JSON
    /// ({"name": ..., "sheet": ...} or "sheets": [...]), as a file NAME.jsonl is. Several with the same ticket are the runs of one
    /// machine, in order.
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
    /// The bench's own failure rates.
    #[command(flatten)]
    pub learned: LearnedArgs,
    /// Do not work out the next step.
    #[arg(long)]
    pub no_next: bool,
    /// What the bench has, for the next step.
    #[command(flatten)]
    pub bench: BenchArgs,
    /// Exit with 1 when something was not understood.
    #[arg(long)]
    pub strict: bool,
    /// Print JSON: one object a machine. Reasons are in it with --why, and for a single machine whose probabilities are exact.
    #[arg(long)]
    pub json: bool,
    /// Machines ranked at the same time, or threads for a single one (one for each core, when not said).
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

const TRACE_HELP: &str = "Examples:
  whichsocket trace --board dunlin-64 Q
  whichsocket trace --board dunlin-64 memory bit 3
  whichsocket trace --board dunlin-64 clock 1
  whichsocket trace --board dunlin-64 5V
  whichsocket trace --board 64k-6510-wide U1.12 --svg way.svg";

/// Options of `trace`.
#[derive(Debug, Args)]
pub struct TraceArgs {
    /// A key ('Q'), 'memory bit 3', 'clock 1', 'voice 1', a supply ('5V'), a line, a pin ('U1.12'), a function.
    #[arg(required = true, value_name = "WHAT")]
    pub what: Vec<String>,
    /// Board map.
    #[arg(long, value_name = "ID")]
    pub board: Option<String>,
    /// Folder with maps of your own.
    #[arg(long, value_name = "DIR")]
    pub maps: Option<PathBuf>,
    /// Draw it into this file as well; `-` prints the drawing only.
    #[arg(long, value_name = "FILE")]
    pub svg: Option<PathBuf>,
    /// Print JSON.
    #[arg(long)]
    pub json: bool,
}

/// Where a bench's own failure rates come from.
#[derive(Debug, Default, Args)]
pub struct LearnedArgs {
    /// File with the bench's own failure rates, written by 'rates --export'.
    #[arg(long, value_name = "FILE", conflicts_with = "tickets")]
    pub rates: Option<PathBuf>,
    /// Folder with closed tickets to count the bench's own failure rates from.
    #[arg(long, value_name = "DIR")]
    pub tickets: Option<PathBuf>,
}

/// Options of `bench`.
#[derive(Debug, Args)]
pub struct SessionArgs {
    /// The ticket, made if it is not there: plain text that only grows.
    #[arg(value_name = "TICKET")]
    pub ticket: PathBuf,
    /// Folder with maps of your own.
    #[arg(long, value_name = "DIR")]
    pub maps: Option<PathBuf>,
    /// The bench's own failure rates.
    #[command(flatten)]
    pub learned: LearnedArgs,
    /// What the bench has, for the next step.
    #[command(flatten)]
    pub bench: BenchArgs,
}

/// Options of `soak`.
#[derive(Debug, Args)]
pub struct SoakArgs {
    /// Clean loops since the repair (warm, or of any kind).
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub clean: u64,
    /// Loops that failed before it.
    #[arg(long, value_name = "K", default_value_t = 0)]
    pub failed: u64,
    /// Loops run before it.
    #[arg(long, value_name = "M", default_value_t = 0)]
    pub of: u64,
    /// Clean cold starts since the repair.
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub cold_clean: u64,
    /// Cold starts that failed before it.
    #[arg(long, value_name = "K", default_value_t = 0)]
    pub cold_failed: u64,
    /// Cold starts tried before it.
    #[arg(long, value_name = "M", default_value_t = 0)]
    pub cold_of: u64,
    /// Failing rate of a loop, when it is known: 0.2 for one in five.
    #[arg(long, value_name = "P", conflicts_with_all = ["failed", "of", "cold_failed", "cold_of", "cold_clean"])]
    pub rate: Option<f64>,
    /// Clean hours since the repair.
    #[arg(long, value_name = "H", default_value_t = 0.0)]
    pub clean_hours: f64,
    /// Hours in which it failed --failed times before the repair: counts by time instead of loops.
    #[arg(long, value_name = "H", conflicts_with_all = ["of", "clean", "rate"])]
    pub hours: Option<f64>,
    /// Confidence asked for.
    #[arg(long, value_name = "C", default_value_t = 0.95)]
    pub confidence: f64,
    /// Print JSON.
    #[arg(long)]
    pub json: bool,
}

/// Options of `rates`.
#[derive(Debug, Args)]
pub struct RatesArgs {
    /// Folder with tickets (files that end in .ticket).
    #[arg(value_name = "DIR")]
    pub dir: PathBuf,
    /// Write the counts to this file, for --rates.
    #[arg(long, value_name = "FILE")]
    pub export: Option<PathBuf>,
    /// Folder with maps of your own.
    #[arg(long, value_name = "DIR")]
    pub maps: Option<PathBuf>,
    /// Print JSON.
    #[arg(long)]
    pub json: bool,
}

const NOTE_HELP: &str = "Examples:
  whichsocket note samples/note-memory.ticket
  whichsocket note samples/note-memory.ticket --format html -o 0431.html
  whichsocket note samples/note-memory.ticket --format md | less
  whichsocket note samples/note-memory.ticket --format json | jq .glance

The HTML is one file that needs nothing else: it prints on A4 and reads on a phone.";

/// Options of `note`.
#[derive(Debug, Args)]
pub struct NoteArgs {
    /// Ticket, or run sheet; `-` is standard input.
    #[arg(value_name = "TICKET")]
    pub ticket: PathBuf,
    /// How to write it.
    #[arg(long, value_enum, default_value_t = NoteFormat::Text)]
    pub format: NoteFormat,
    /// File to write instead of standard output.
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,
    /// Board map to use, whatever the ticket says.
    #[arg(long, value_name = "ID")]
    pub board: Option<String>,
    /// Folder with maps of your own.
    #[arg(long, value_name = "DIR")]
    pub maps: Option<PathBuf>,
    /// The bench's own failure rates.
    #[command(flatten)]
    pub learned: LearnedArgs,
}

/// Forms of a note.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum NoteFormat {
    /// Plain text, 80 columns.
    Text,
    /// Markdown.
    Md,
    /// One self-contained HTML file.
    Html,
    /// JSON.
    Json,
}

/// What to do with board maps.
#[derive(Debug, Subcommand)]
pub enum BoardCommand {
    /// List the boards.
    #[command(after_help = "Example:\n  whichsocket board list")]
    List {
        /// Folder with maps of your own.
        #[arg(long, value_name = "DIR")]
        maps: Option<PathBuf>,
        /// Print JSON.
        #[arg(long)]
        json: bool,
    },
    /// Find the board by what is printed on its chips.
    #[command(after_help = "Example:\n  whichsocket board find 6510 6526 8x4164 82S100")]
    Find(FindArgs),
    /// Print a page about a board.
    #[command(after_help = "Example:\n  whichsocket board show dunlin-64")]
    Show(ShowArgs),
    /// Check maps, and tell what their checks are worth.
    #[command(
        after_help = "Examples:\n  whichsocket board check\n  whichsocket board check maps/boards/mine.yaml\n  whichsocket board check --maps maps\n\nExit status: 0 done; 1 warnings, with --strict; 2 mistakes."
    )]
    Check(CheckArgs),
    /// Write a board down for other programs.
    #[command(
        after_help = "Examples:\n  whichsocket board export dunlin-64 --format dot | dot -Tsvg\n  whichsocket board export --format schema\n  whichsocket board export samples/one-memory-bit.run --format bif --top 5"
    )]
    Export(ExportArgs),
    /// Make the skeleton of a map from a KiCad netlist or board file.
    #[command(
        after_help = "Example:\n  whichsocket board import drawing.kicad_pcb >maps/boards/drawing.yaml"
    )]
    Import(ImportArgs),
}

/// Options of `board find`.
#[derive(Debug, Args)]
pub struct FindArgs {
    /// Type numbers ('6526', '8x4164') and designators ('U17') from the board.
    #[arg(required = true, value_name = "TYPES")]
    pub types: Vec<String>,
    /// Folder with maps of your own.
    #[arg(long, value_name = "DIR")]
    pub maps: Option<PathBuf>,
    /// Print JSON.
    #[arg(long)]
    pub json: bool,
}

/// Options of `board show`.
#[derive(Debug, Args)]
pub struct ShowArgs {
    /// Board map.
    #[arg(value_name = "BOARD")]
    pub board: String,
    /// Folder with maps of your own.
    #[arg(long, value_name = "DIR")]
    pub maps: Option<PathBuf>,
    /// Print JSON.
    #[arg(long)]
    pub json: bool,
}

/// Options of `board check`.
#[derive(Debug, Args)]
pub struct CheckArgs {
    /// Map files, or folders with boards/ and parts/ in them; without any, the shipped maps.
    #[arg(value_name = "FILE", conflicts_with = "maps")]
    pub files: Vec<PathBuf>,
    /// A folder of maps.
    #[arg(long, value_name = "DIR")]
    pub maps: Option<PathBuf>,
    /// Exit with 1 when there are warnings.
    #[arg(long)]
    pub strict: bool,
    /// Print JSON.
    #[arg(long)]
    pub json: bool,
}

/// Formats of `board export`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ExportFormat {
    /// The map with its part families.
    Json,
    /// Parts and lines as a graph in the DOT language.
    Dot,
    /// JSON schema of the map format; needs no board.
    Schema,
    /// The model under a sheet for general Bayesian-network tools (the interchange format they read).
    Bif,
}

/// Options of `board export`.
#[derive(Debug, Args)]
pub struct ExportArgs {
    /// Board map; or a sheet or ticket, whose model is then written (json, bif).
    #[arg(value_name = "BOARD|SHEET")]
    pub board: Option<String>,
    /// Format.
    #[arg(long, value_enum, default_value_t = ExportFormat::Json)]
    pub format: ExportFormat,
    /// Of a sheet's model: only so many leading suspects, all others taken to be fine (bif: 6 when not said, and joint tables
    /// must stay small enough for the tool that reads them).
    #[arg(long, value_name = "N")]
    pub top: Option<usize>,
    /// Folder with maps of your own.
    #[arg(long, value_name = "DIR")]
    pub maps: Option<PathBuf>,
}

/// Options of `board import`.
#[derive(Debug, Args)]
pub struct ImportArgs {
    /// KiCad netlist (.net) or board (.kicad_pcb).
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// Identifier of the map; from the file's name when not given.
    #[arg(long, value_name = "ID")]
    pub name: Option<String>,
}
