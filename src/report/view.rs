//! The ranking as others may rely on it: the JSON contract, schema 1. Probabilities are 0..1.

use schemars::JsonSchema;
use serde::Serialize;
use std::borrow::Cow;

/// Version of this form.
pub const SCHEMA: u32 = 1;

/// What `rank --json` prints for one machine.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct RankingView {
    /// 1.
    pub schema: u32,
    /// Files of the sheets, in order.
    pub sheets: Vec<String>,
    /// Ticket, when the sheet names one.
    pub ticket: Option<String>,
    /// Board map.
    pub board: String,
    /// Number of runs that the sheets hold.
    pub run: usize,
    /// Set when the board must not stay powered.
    pub stop: Option<StopView>,
    /// Units by the probability that they are at fault, likeliest first.
    pub suspects: Vec<SuspectView>,
    /// Units that no reading so far separates.
    pub groups: Vec<Vec<String>>,
    /// Failing readings that a fact explains.
    pub explained_by: Vec<ExplainedView>,
    /// Things that may have happened to the whole machine.
    pub common_causes: Vec<CommonView>,
    /// How firm the leader stands.
    pub robustness: Option<RobustnessView>,
    /// Upper bound on the share of the probability that was not looked at; 1 when the probabilities are estimates by draws.
    pub unexplored_mass: f64,
    /// Next steps, best first; empty with `--no-next`.
    pub next: Vec<NextView>,
    /// The decision tree, with `--tree`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tree: Option<TreeView>,
    /// Lines that were not understood.
    pub not_understood: Vec<NotUnderstoodView>,
    /// Words that were read as others.
    pub corrections: Vec<CorrectionView>,
    /// Readings that nothing on this board explains well.
    pub doubtful: Vec<DoubtfulView>,
    /// What was taken as given.
    pub facts_used: Vec<String>,
    /// Other remarks on lines.
    pub remarks: Vec<NotUnderstoodView>,
    /// What the bench's own closed tickets changed in the order; absent when nothing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub learned: Option<String>,
    /// What the readings look like, and which further test would tell apart what could be behind them. Left out when
    /// there is none.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schemars(default)]
    pub hints: Vec<HintView>,
}

/// A remark on readings.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct HintView {
    /// Sheet, as an index into `sheets`.
    pub sheet: usize,
    /// Line number.
    pub line: usize,
    /// What to say.
    pub text: String,
    /// The test pattern that would tell more: `address-low`, `address-high`, `march`, `constant-00`, `constant-FF`,
    /// `checkerboard`, or `pause` (the same with and without a pause between writing and reading). Left out when none would.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pattern: Option<String>,
}

/// Why the board must not stay powered.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct StopView {
    /// What was read.
    pub reason: String,
    /// What to do.
    pub remedy: String,
}

/// A replaceable unit.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct SuspectView {
    /// Name of the unit: `U7`, `U7 contacts`, `key Q`.
    pub unit: String,
    /// Position it belongs to.
    pub socket: String,
    /// Type fitted there, when known.
    pub part: Option<String>,
    /// What it does on this board.
    pub role: String,
    /// P(at fault, as it came or was fitted | readings).
    pub probability: f64,
    /// P(at fault still | readings): 0 for what is out of the machine, less for what was cleaned or resoldered since.
    pub still: f64,
    /// Failure modes, likeliest first.
    pub modes: Vec<ModeView>,
    /// P(at fault) before any line was read.
    pub before: Option<f64>,
    /// What each line did to it; empty for suspects far down.
    pub evidence: Vec<EvidenceView>,
}

/// A failure mode.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct ModeView {
    /// What is wrong.
    pub fault: Cow<'static, str>,
    /// P(this mode | readings).
    pub probability: f64,
}

/// Weight of one line for one suspect.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct EvidenceView {
    /// Sheet, as an index into `sheets`.
    pub sheet: usize,
    /// Line number.
    pub line: usize,
    /// The line as typed.
    pub reading: String,
    /// Change of log-odds, decibans, when the line is added to those above it.
    pub decibans: f64,
    /// Probability of the suspect without this line.
    pub without: f64,
}

/// A reading and the fact that explains it.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct ExplainedView {
    /// The reading.
    pub reading: String,
    /// Line number.
    pub line: usize,
    /// The fact.
    pub fact: String,
}

/// A common cause.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct CommonView {
    /// What happened.
    pub cause: String,
    /// P(it did | readings).
    pub probability: f64,
}

/// How firm the leader stands.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct RobustnessView {
    /// The leading unit.
    pub leader: String,
    /// Its prior could be this many times too high before it lost its place; `null`: no factor up to a million does it.
    pub prior_too_high_by: Option<f64>,
}

/// A next step.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct NextView {
    /// What to do, one sentence.
    pub step: String,
    /// Where: position, pin, line.
    pub r#where: String,
    /// What is expected when all is well there.
    pub expect: String,
    /// Minutes it takes.
    pub minutes: f64,
    /// Caution, when one is due.
    pub hazard: Option<String>,
    /// Minutes saved on average against renewing parts in order of rank; what may be spoilt, and giving up, count in minutes as well.
    pub saves_minutes: f64,
    /// Whether the board is powered while it is done.
    pub power: bool,
    /// Tool or part that it needs.
    pub needs: Option<String>,
    /// What each outcome would make of the ranking.
    pub outcomes: Vec<OutcomeView>,
    /// What is asked for, for a session at the terminal; not part of the contract.
    #[serde(skip)]
    pub ask: Option<crate::next::Ask>,
}

/// An outcome of a step.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct OutcomeView {
    /// What is seen.
    pub outcome: String,
    /// P(this outcome).
    pub probability: f64,
    /// Leading units then.
    pub then: Vec<ThenView>,
}

/// A decision tree: what to do, and what then.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct TreeView {
    /// What to do, one sentence.
    pub step: String,
    /// Where.
    pub r#where: String,
    /// Expected minutes from here on, what may be spoilt counted in minutes as well.
    pub minutes: f64,
    /// Whether the board is powered while it is done.
    pub power: bool,
    /// Tool or part that it needs.
    pub needs: Option<String>,
    /// By outcome.
    pub branches: Vec<BranchView>,
}

/// A branch of a decision tree.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct BranchView {
    /// What is seen.
    pub outcome: String,
    /// P(this outcome) at this place of the tree.
    pub probability: f64,
    /// Whether the machine works then.
    pub works: bool,
    /// What then; `null`: the machine works, or the tree is cut off here.
    pub then: Option<TreeView>,
}

/// A unit after an outcome.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct ThenView {
    /// Unit.
    pub unit: String,
    /// P(at fault) then.
    pub probability: f64,
}

/// A line with a hint.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct NotUnderstoodView {
    /// Sheet, as an index into `sheets`.
    pub sheet: usize,
    /// Line number.
    pub line: usize,
    /// The line as typed.
    pub text: String,
    /// What was expected and what to type.
    pub hint: String,
    /// Off a photograph: what the line counts as, for less, until somebody says what is right.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub counts_as: Option<String>,
}

/// A word read as another.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct CorrectionView {
    /// Line number.
    pub line: usize,
    /// As typed.
    pub typed: String,
    /// As read.
    pub read_as: String,
}

/// A reading that does not fit.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct DoubtfulView {
    /// Line number.
    pub line: usize,
    /// The reading.
    pub reading: String,
    /// P(some fault of the model gives it | all other readings and this one).
    pub explained: f64,
    /// The slip of typing or copying that would explain it best, if one does.
    pub slip: Option<SlipView>,
}

/// A slip.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct SlipView {
    /// What the line would say without it.
    pub instead: String,
    /// How many times as probable the sheet would be.
    pub times: f64,
}

/// What `rank --json` prints for a sheet that could not be ranked.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct RefusedView {
    /// 1.
    pub schema: u32,
    /// Files of the sheets.
    pub sheets: Vec<String>,
    /// Why not.
    pub error: String,
}
