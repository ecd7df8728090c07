//! The batch as others may rely on it: the JSON contract, schema 1. Probabilities are 0..1, money is in the bench's own.

use schemars::JsonSchema;
use serde::Serialize;

/// What `batch --json` prints.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct BatchView {
    /// 1.
    pub schema: u32,
    /// The machines, by name.
    pub machines: Vec<MachineView>,
    /// Sheets that could not be used.
    pub refused: Vec<RefusedSheets>,
    /// Which parts go where; `null` without `--stock`.
    pub plan: Option<PlanView>,
    /// Parts that may be lent for a swap test.
    pub swap_tests: Vec<SwapView>,
    /// What else is to be said, such as parts in the stock file that no board of the batch has.
    pub remarks: Vec<String>,
}

/// How a machine stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    /// Its ticket is closed.
    Closed,
    /// It must not stay powered.
    Stop,
    /// Something is accused.
    Suspects,
    /// Nothing read so far accuses a part.
    NothingAccused,
}

/// A machine.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct MachineView {
    /// Its ticket, or the name of its file.
    pub machine: String,
    /// Files of its sheets, in order.
    pub sheets: Vec<String>,
    /// Board map.
    pub board: String,
    /// How it stands.
    pub state: State,
    /// Why, when it is stopped or closed.
    pub why: Option<String>,
    /// Units most probably at fault, likeliest first.
    pub suspects: Vec<UnitView>,
    /// Empty positions that the machine needs, or that its test misses.
    pub missing: Vec<PartView>,
    /// Parts that may be bad.
    pub doubtful: Vec<PartView>,
    /// Expected minutes to a working machine or to giving it up, what may be spoilt on the way counted in minutes as well, at a bench
    /// that has everything; `null` when there is no plan.
    pub minutes: Option<f64>,
    /// Rails that were not read, on a machine of which no test ran: nothing goes in before they are.
    pub unread_rails: Vec<String>,
    /// Lines that were not understood.
    pub not_understood: usize,
}

/// A unit that may be at fault.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct UnitView {
    /// `U7`, `U7 contacts`, `key Q`.
    pub unit: String,
    /// P(at fault | readings).
    pub probability: f64,
}

/// A part in its position.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct PartView {
    /// Position.
    pub socket: String,
    /// Type, or the family's name for what has none.
    pub part: String,
    /// P(at fault | readings); 1 for what is missing.
    pub probability: f64,
}

/// Sheets that could not be used.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct RefusedSheets {
    /// Files.
    pub sheets: Vec<String>,
    /// Why not.
    pub error: String,
}

/// The plan.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct PlanView {
    /// `number` or `value`.
    pub goal: String,
    /// Expected number of machines that work when all of it is done.
    pub machines: f64,
    /// The same when no part is fitted, only work that needs none is done.
    pub without_parts: f64,
    /// What the goal `value` comes to: worth less parts less work; `null` when the number counts.
    pub value: Option<f64>,
    /// Money spent on parts.
    pub spent: f64,
    /// Money there is.
    pub budget: f64,
    /// Whether it is certain that no plan is better.
    pub exact: bool,
    /// Machines that are finished, in the order of work: fewest minutes for a working machine first.
    pub work: Vec<WorkView>,
    /// What is bought.
    pub buy: Vec<BuyView>,
    /// Machines that are taken apart.
    pub stripped: Vec<String>,
    /// Machines that are left as they are, and why.
    pub left: Vec<LeftView>,
}

/// One machine to be finished.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct WorkView {
    /// The machine.
    pub machine: String,
    /// What has to be done before any part goes in.
    pub first: Option<String>,
    /// Parts that are put beside it.
    pub parts: Vec<FitView>,
    /// P(what is wrong is among these positions, or needs no part).
    pub covered: f64,
    /// P(the machine works then).
    pub works: f64,
    /// Minutes when all of it is done.
    pub minutes: f64,
    /// Minutes for one working machine: minutes / P(works).
    pub minutes_each: f64,
    /// Money for its parts.
    pub price: f64,
}

/// A part for a position.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct FitView {
    /// Position.
    pub socket: String,
    /// Type to be fitted.
    pub part: String,
    /// `shelf`, `buy`, or `ticket 0503`.
    pub from: String,
    /// Positions of the donor it may be taken from.
    pub donor_sockets: Vec<String>,
    /// P(it is good).
    pub good: f64,
    /// Price.
    pub price: f64,
    /// P(what is there now is at fault); 1 when it is missing.
    pub suspected: f64,
}

/// Parts to be bought.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct BuyView {
    /// Type.
    pub part: String,
    /// How many.
    pub count: u32,
    /// Price of one.
    pub price: f64,
    /// For which machines.
    pub machines: Vec<String>,
}

/// A machine that is left.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct LeftView {
    /// The machine.
    pub machine: String,
    /// Why.
    pub why: String,
}

/// A part lent for a swap test.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct SwapView {
    /// The machine with the suspect.
    pub machine: String,
    /// Its position.
    pub socket: String,
    /// The type.
    pub part: String,
    /// P(the suspect is at fault).
    pub suspected: f64,
    /// `shelf`, or `ticket 0503`.
    pub from: String,
    /// Position of the lender; `null` from the shelf.
    pub lender_socket: Option<String>,
    /// P(the part lent is good).
    pub good: f64,
    /// What to mind.
    pub hazard: String,
}
