//! What `trace --json` prints, and the text and drawing are made of.

use schemars::JsonSchema;
use serde::Serialize;

/// A trace.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct TraceView {
    /// 1.
    pub schema: u32,
    /// Board.
    pub board: String,
    /// What was traced, in plain words: `key Q`.
    pub what: String,
    /// One sentence about it.
    pub says: String,
    /// Ways of the signal, each pin by pin in order.
    pub paths: Vec<PathView>,
    /// Pins beside the way that it depends on.
    pub beside: Vec<BesideView>,
    /// Lines on the way: where to measure and what to expect.
    pub lines: Vec<LineView>,
    /// Cautions about parts on the way.
    pub cautions: Vec<String>,
}

/// One way of a signal.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct PathView {
    /// What goes this way.
    pub title: String,
    /// Steps in order.
    pub steps: Vec<StepView>,
}

/// One part on the way.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct StepView {
    /// Designator.
    pub socket: String,
    /// Type number, value or kind.
    pub part: String,
    /// What it does on the board.
    pub role: String,
    /// What it does to the signal.
    pub does: Does,
    /// Function of the part, as the map names it.
    pub function: Option<String>,
    /// Pin where the signal comes in.
    pub enters: Option<PinView>,
    /// Pin where it goes out.
    pub leaves: Option<PinView>,
    /// What a test run or the eye shows if the signal ends here.
    pub breaks: Vec<String>,
}

/// What a part does to a signal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Does {
    /// Makes it.
    Drives,
    /// Hands it on.
    Passes,
    /// Hands it on upside down.
    Inverts,
    /// Takes it in.
    Reads,
}

/// A pin.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
pub struct PinView {
    /// `U1.12`.
    pub pin: String,
    /// Name of the pin on the part.
    pub signal: String,
    /// Line.
    pub line: String,
}

/// Pins beside the way.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct BesideView {
    /// The pin that something reaches.
    pub pin: PinView,
    /// Pins from which that comes, with what feeds those.
    pub from: Vec<String>,
}

/// A line and what to expect on it.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct LineView {
    /// The line.
    pub line: String,
    /// What to expect; nothing when the map does not say.
    pub expect: Option<String>,
    /// Where to measure.
    pub at: Vec<String>,
    /// What the line is.
    pub what: Option<String>,
    /// Pins on it that are not on the way.
    pub others: Vec<String>,
    /// Caution.
    pub caution: Option<String>,
}
