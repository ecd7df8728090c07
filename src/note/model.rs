//! The repair note as JSON: **a contract**, of which every other form of the note is made.
//!
//! Probabilities are 0..1. Fields may be added; none is renamed or removed while `schema` stays.

use schemars::JsonSchema;
use serde::Serialize;

/// Number of the contract.
pub const SCHEMA: u32 = 1;

/// The repair note of one machine.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[schemars(title = "whichsocket note")]
pub struct Note {
    /// Number of this contract.
    pub schema: u32,
    /// Ticket, when the sheet gives one.
    pub ticket: Option<String>,
    /// What was wrong, what was done, is it proved.
    pub glance: Glance,
    /// The machine and what is fitted.
    pub machine: MachineNote,
    /// Complaint, history and remarks, as typed.
    pub said: Vec<Said>,
    /// What was seen and measured, run by run.
    pub runs: Vec<RunNote>,
    /// The ranking over time.
    pub course: Course,
    /// What was done, and what each remedy changed.
    pub remedies: Vec<RemedyNote>,
    /// Loops after the last remedy.
    pub proof: ProofNote,
    /// What is not settled.
    pub doubts: Vec<DoubtNote>,
    /// Parts that were put in.
    pub parts: Vec<PartNote>,
    /// What may be fitted in the positions this repair was about.
    pub advice: Vec<AdviceNote>,
    /// Cautions for whoever opens the machine next.
    pub cautions: Vec<String>,
    /// The board with its suspects, when there are any.
    pub board: Option<BoardDrawing>,
    /// The key matrix, when keys were read.
    pub keys: Option<KeyDrawing>,
    /// The bits of main memory, when memory was read as failing.
    pub memory: Option<MemoryDrawing>,
}

/// The first screen.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Glance {
    /// How the ticket stands.
    pub status: Status,
    /// The same in words.
    pub status_said: String,
    /// What was wrong, one or two sentences.
    pub wrong: String,
    /// What was done, one or two sentences.
    pub done: String,
    /// Whether that is proved, one or two sentences.
    pub proof: String,
    /// Set when the board must not be powered, or was last read past a limit of its supply: what to do.
    pub stop: Option<String>,
    /// The next step, on a ticket that is open.
    pub next: Option<String>,
}

/// How a ticket stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Status {
    /// Not closed.
    Open,
    /// Closed: cured, and the loops prove it.
    CuredAndProved,
    /// Closed as cured, without enough clean loops behind it.
    CuredNotProved,
    /// Closed: sent out with the cause unknown.
    CauseUnknown,
    /// Closed: used for parts.
    UsedForParts,
    /// Closed once, open again.
    Reopened,
    /// The board must not be powered.
    SwitchedOff,
}

/// The machine.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct MachineNote {
    /// Board map.
    pub board: String,
    /// One line about it.
    pub what: String,
    /// Why it is on the bench.
    pub intake: String,
    /// Mains frequency, hertz.
    pub mains: Option<f64>,
    /// Test cartridge.
    pub cartridge: Option<String>,
    /// What is fitted where, as far as the ticket says.
    pub fitted: Vec<FittedNote>,
    /// Positions without a chip.
    pub empty: Vec<String>,
    /// First time stamp of the ticket.
    pub opened: Option<String>,
    /// Time stamp of the end, or the last one.
    pub closed: Option<String>,
    /// How it ended before, when it was opened again: each end and each opening, in order.
    pub ends: Vec<String>,
}

/// What sits in a position.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct FittedNote {
    /// Designator.
    pub socket: String,
    /// Type number.
    pub part: String,
    /// What it does there.
    pub role: String,
}

/// Something a person said.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Said {
    /// What it is.
    pub kind: SaidKind,
    /// As typed.
    pub text: String,
    /// Line of the ticket.
    pub line: usize,
}

/// What a text is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum SaidKind {
    /// What the owner complained of.
    Complaint,
    /// What happened before.
    History,
    /// A remark of the bench.
    Remark,
}

/// One run of the machine.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct RunNote {
    /// Number from 1.
    pub run: usize,
    /// Time of the first line, as typed.
    pub at: Option<String>,
    /// One line: how it went.
    pub summary: String,
    /// What was seen, in order.
    pub lines: Vec<SeenNote>,
    /// Names of photographs.
    pub photos: Vec<String>,
}

/// One reading.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SeenNote {
    /// Line of the ticket.
    pub line: usize,
    /// What it says, in the words of a sheet.
    pub text: String,
    /// How it was.
    pub result: SeenResult,
    /// Said more about it: lines like it that are not listed, what it means.
    pub more: Option<String>,
}

/// How a reading was.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum SeenResult {
    /// As it should be.
    Good,
    /// Not as it should be.
    Bad,
    /// Comes and goes.
    Intermittent,
    /// Neither: a fact, a remedy, something not reached.
    Neutral,
}

/// The ranking over time.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Course {
    /// After which lines the ranking was worked out.
    pub points: Vec<PointNote>,
    /// The main suspects, likeliest at the end first.
    pub suspects: Vec<SuspectNote>,
    /// Suspects that no reading separates.
    pub groups: Vec<Vec<String>>,
    /// The bench's own failure rates, when the ranking used them.
    pub rates: Option<RatesNote>,
}

/// A bench's own failure rates.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct RatesNote {
    /// Closed tickets that they were counted from.
    pub tickets: usize,
    /// What they changed in the order of the suspects, if anything.
    pub changed: Option<String>,
}

/// A moment of the session.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct PointNote {
    /// Number from 0; 0 is before any reading.
    pub number: usize,
    /// Line of the ticket; 0 before any reading.
    pub line: usize,
    /// Run it belongs to, from 1.
    pub run: usize,
    /// What was read or done.
    pub text: String,
    /// A remedy, not a reading.
    pub remedy: bool,
}

/// A suspect over the session.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SuspectNote {
    /// Number in the drawings, from 1.
    pub number: usize,
    /// Unit at fault.
    pub unit: String,
    /// Position.
    pub socket: String,
    /// Type number, where it has one.
    pub part: Option<String>,
    /// What it does there.
    pub role: String,
    /// Likeliest failure mode.
    pub fault: String,
    /// Probability that it is (or was) at fault, at each point.
    pub probability: Vec<f64>,
}

impl SuspectNote {
    /// Whether it still counts at the end: those that led on the way and were cleared are in the course only. Someone is
    /// always listed.
    pub fn is_listed(&self) -> bool {
        self.number == 1 || self.probability.last().is_some_and(|p| *p >= 0.01)
    }
}

/// One thing that was done.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct RemedyNote {
    /// Line of the ticket.
    pub line: usize,
    /// Time, as typed.
    pub at: Option<String>,
    /// What was done.
    pub what: String,
    /// What it changed.
    pub verdict: Verdict,
    /// The same in words.
    pub verdict_said: String,
    /// Failed before, good afterwards.
    pub gone: Vec<String>,
    /// Failed before and afterwards.
    pub still: Vec<String>,
    /// Fails only since.
    pub new: Vec<String>,
    /// Fails, and was not read before.
    pub first: Vec<String>,
    /// Came and went before and was good since, but not for long enough to say anything.
    pub early: Vec<String>,
    /// Failed before, not read since.
    pub unread: Vec<String>,
}

/// What a remedy changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// What failed before is good now.
    Fixed,
    /// Some of what failed is good now, not all.
    PartlyFixed,
    /// The fault went with the part, or to another place.
    Moved,
    /// Something else fails since.
    NewFault,
    /// What came and went before is good so far: too few clean loops to say anything.
    TooEarly,
    /// Nothing changed: it never was the fault.
    NeverTheFault,
    /// Not said, and no run afterwards tells.
    Unclear,
}

/// Loops since the last remedy, and how many it takes.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ProofNote {
    /// Whether it is proved: every kind of loops that failed before has run clean for long enough.
    pub proved: bool,
    /// It failed again after the last remedy.
    pub failed_again: bool,
    /// Cold starts and warm loops, each counted for itself.
    pub kinds: Vec<LoopsNote>,
    /// One paragraph.
    pub said: String,
    /// The formula and where it is from.
    pub formula: Option<String>,
}

/// Loops of one kind.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LoopsNote {
    /// `cold starts` or `warm loops`.
    pub kind: String,
    /// Failing loops before the last remedy.
    pub failed_before: u64,
    /// Loops before it.
    pub loops_before: u64,
    /// Clean loops since.
    pub clean: u64,
    /// Clean loops needed for 95 %; none when it never failed, or too rarely.
    pub needed: Option<u64>,
    /// Of those still to run.
    pub to_go: Option<u64>,
    /// Probability that an uncured fault stays unseen for so long.
    pub unseen: Option<f64>,
    /// Where it never failed: what the failing rate of a loop is below, 95 % sure.
    pub rate_below: Option<f64>,
}

/// Something that is not settled.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct DoubtNote {
    /// What kind.
    pub kind: DoubtKind,
    /// Line of the ticket; 0 for the ticket as a whole.
    pub line: usize,
    /// As typed.
    pub text: String,
    /// What is doubtful about it.
    pub doubt: String,
}

/// Kinds of doubt.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum DoubtKind {
    /// Nothing on the board explains the reading well.
    NothingExplains,
    /// Not understood, so not used.
    NotUnderstood,
    /// A line was cut off while it was written.
    CutOff,
    /// A word was read as another.
    Corrected,
    /// Something else about the line.
    Remark,
    /// No reading separates suspects.
    Ambiguous,
    /// Too many possibilities to look at all of them.
    NotLookedAt,
    /// Failed in the last run and not since proved good.
    StillFailing,
    /// Left out: a step that was skipped, a supply that was not measured.
    LeftOut,
}

/// A part that was put in.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct PartNote {
    /// Line of the ticket.
    pub line: usize,
    /// Designator.
    pub socket: String,
    /// Type number, when known.
    pub part: Option<String>,
    /// Where it came from.
    pub origin: String,
    /// What came out, when the ticket says.
    pub old: Option<String>,
}

/// What may be fitted in a position.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct AdviceNote {
    /// Designator.
    pub socket: String,
    /// What it does there.
    pub role: String,
    /// Type that the board is made for.
    pub made_for: Option<String>,
    /// Type fitted now, when the ticket says.
    pub fitted: Option<String>,
    /// In a socket.
    pub in_socket: bool,
    /// Types that may be fitted.
    pub may: Vec<TypeNote>,
    /// Types that fit if something is checked first.
    pub unsure: Vec<TypeNote>,
    /// Types of the family that must not go in here, with the reason.
    pub not: Vec<TypeNote>,
    /// Room above the board, when it matters.
    pub clearance: Option<String>,
}

/// One type and its conditions.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct TypeNote {
    /// Type number.
    pub part: String,
    /// Conditions, in order of importance; empty when there are none known.
    pub conditions: Vec<String>,
    /// Known from memory only.
    pub from_memory: bool,
}

/// Where the parts sit, and which are accused.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct BoardDrawing {
    /// Places, in the unit of the map, x to the right and y down.
    pub places: Vec<PlacedNote>,
    /// Not as on the board: arranged for the eye.
    pub schematic: bool,
    /// What the places are worth.
    pub remark: String,
}

/// One position of the drawing.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct PlacedNote {
    /// Designator.
    pub socket: String,
    /// Middle.
    pub x: f64,
    /// Middle.
    pub y: f64,
    /// Width.
    pub wide: f64,
    /// Height.
    pub high: f64,
    /// Worth a name in the drawing: a chip, a connector, or what the note speaks of.
    pub named: bool,
    /// Not on the board: drawn below it.
    pub outside: bool,
    /// Numbers of the suspects here, likeliest first.
    pub numbers: Vec<usize>,
    /// Probability that something here is or was at fault.
    pub probability: f64,
    /// Renewed, refitted or otherwise worked on.
    pub worked_on: bool,
    /// Nothing is fitted.
    pub empty: bool,
}

/// The key matrix.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct KeyDrawing {
    /// Run that is drawn, from 1: the last one in which keys failed.
    pub run: usize,
    /// Lines of the columns, in order.
    pub columns: Vec<String>,
    /// Lines of the rows, in order.
    pub rows: Vec<String>,
    /// Keys by column, then row; `None` where there is none.
    pub keys: Vec<Vec<Option<KeyNote>>>,
    /// Keys outside the matrix.
    pub outside: Vec<KeyNote>,
    /// What the picture says.
    pub said: String,
}

/// One key.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct KeyNote {
    /// Name.
    pub key: String,
    /// How it was.
    pub state: KeyState,
}

/// How a key was.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum KeyState {
    /// Nothing said about it.
    Unsaid,
    /// Works.
    Good,
    /// Does nothing.
    Dead,
    /// Reported without being pressed.
    Stuck,
    /// Appears when others are pressed.
    Ghost,
    /// Fails in another way.
    Bad,
}

/// Main memory, bit by bit.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct MemoryDrawing {
    /// Run that is drawn, from 1: the last one that lists failing cells, else the last in which bits failed.
    pub run: usize,
    /// Bits, most significant first.
    pub bits: Vec<BitNote>,
    /// Cells as listed, at most as many as are drawn.
    pub cells: Vec<CellNote>,
    /// Cells that were listed or counted beyond those drawn.
    pub more: u32,
    /// What the picture says.
    pub said: String,
}

/// One data bit.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct BitNote {
    /// 0 is the least significant.
    pub bit: u8,
    /// Position of its chip.
    pub socket: String,
    /// Fails.
    pub bad: bool,
    /// Listed cells that read 1 where 0 was written.
    pub read_1: u32,
    /// Listed cells that read 0 where 1 was written.
    pub read_0: u32,
}

/// One listed cell.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct CellNote {
    /// Address.
    pub address: u32,
    /// Byte written.
    pub wrote: u8,
    /// Byte read.
    pub read: u8,
}
