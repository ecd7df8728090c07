//! `trace`: the way of a signal pin by pin, what would break where, and where to measure.
//!
//! [`signals`] knows the ways through the parts, [`target`] reads what to trace, this module puts the ways together,
//! [`text`] and [`svg`] show them.

mod paths;
pub mod signals;
mod steps;
pub mod svg;
pub mod target;
pub mod text;
pub mod view;

use crate::faultmap::model::BoardModel;
use crate::faultmap::raw::{BoardRaw, FamilyRaw};
use crate::faultmap::wiring::Wiring;
use signals::Signals;
use std::collections::BTreeMap;
use view::TraceView;

/// Traces something on a board.
///
/// # Errors
/// What was typed is nothing of this board: a message that says what is near.
pub fn trace(
    raw: &BoardRaw,
    families: &BTreeMap<String, FamilyRaw>,
    model: &BoardModel,
    typed: &str,
) -> Result<TraceView, String> {
    let wiring = Wiring::new(&raw.board, raw, families);
    trace_on(&Signals::new(raw, &wiring, model), typed)
}

/// The same on a board that is prepared already.
///
/// # Errors
/// As of [`trace`].
pub fn trace_on(signals: &Signals, typed: &str) -> Result<TraceView, String> {
    let target = target::target(signals, typed)?;
    Ok(paths::trace(signals, &target))
}
