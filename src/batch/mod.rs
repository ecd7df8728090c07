//! The batch: how each machine of a folder stands, and which parts finish the most of them.
//!
//! [`machine`] ranks each machine and says what may be wrong with it in terms of positions that may get another part;
//! [`stock`] reads what the bench has and what things cost; [`assign`] puts both together into a [`problem`] of numbers, which
//! [`solve`] solves exactly; [`explain`] says the plan in words, [`swaps`] which parts may be lent for a test, and [`report`]
//! draws all of it.

pub mod assign;
pub mod explain;
pub mod machine;
pub mod problem;
pub mod report;
pub mod solve;
pub mod stock;
pub mod swaps;
pub mod view;

use crate::report::view::SCHEMA;
use machine::Surveyed;
use stock::{Stock, StockError};
use view::{BatchView, RefusedSheets};

/// Why there is no report of a batch.
#[derive(Debug, thiserror::Error)]
pub enum BatchError {
    /// The stock file and the batch do not go together.
    #[error("{}", .0.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n"))]
    Stock(Vec<StockError>),
    /// The solver gave up.
    #[error(transparent)]
    Plan(#[from] solve::PlanError),
}

/// The report of a batch. `stock` comes with the name of its file; without it there is no plan.
///
/// # Errors
/// A stock file that does not fit the batch, or a solver that gives up.
pub fn batch(
    machines: &[Surveyed],
    refused: Vec<RefusedSheets>,
    stock: Option<(&str, &Stock)>,
) -> Result<BatchView, BatchError> {
    let nothing = Stock::default();
    let (file, of) = stock.unwrap_or(("", &nothing));
    let assigned = assign::assign(machines, of, file).map_err(BatchError::Stock)?;
    let plan = match stock {
        None => None,
        Some(_) => {
            let plan = solve::solve(&assigned.problem)?;
            Some(explain::plan(machines, &assigned, &plan))
        }
    };
    Ok(BatchView {
        schema: SCHEMA,
        machines: machines.iter().map(|m| m.view.clone()).collect(),
        refused,
        plan,
        swap_tests: swaps::swaps(machines, of),
        remarks: assign::strangers(machines, of),
    })
}
