//! Supply voltage of a type against that of the position it is in.

use super::model::{BoardModel, Position};
use std::collections::BTreeMap;

/// By this share a supply may differ from what a type needs: the usual ten per cent of such rails.
pub const SUPPLY_SHARE: f64 = 0.1;

/// A supply pin that gets another voltage than the type needs.
#[derive(Debug, Clone, PartialEq)]
pub struct Mismatch {
    /// Signal name of the pin.
    pub signal: String,
    /// Volts that the type needs.
    pub needs: f64,
    /// Volts that the board gives it.
    pub gets: f64,
}

/// Supply pins that get another voltage here than the type needs; `supply` holds volts by signal.
pub fn mismatches(
    model: &BoardModel,
    position: &Position,
    supply: &BTreeMap<String, f64>,
) -> Vec<Mismatch> {
    let of = |(signal, needs): (&String, &f64)| {
        let gets = volts_at(model, position, signal)?;
        let wrong = (gets - needs).abs() > needs.abs() * SUPPLY_SHARE;
        wrong.then(|| Mismatch {
            signal: signal.clone(),
            needs: *needs,
            gets,
        })
    };
    supply.iter().filter_map(of).collect()
}

/// Nominal volts at a supply pin: those of its rail; where it is behind a filter, those that the type needs which the board
/// is made for.
pub fn volts_at(model: &BoardModel, position: &Position, signal: &str) -> Option<f64> {
    let line = position.line_at(signal)?;
    let rail = model
        .rails
        .values()
        .find(|r| r.line == line)
        .map(|r| r.nominal);
    let made_for = || {
        position
            .types
            .get(position.part_type.as_ref()?)?
            .supply
            .get(signal)
            .copied()
    };
    rail.or_else(made_for)
}
