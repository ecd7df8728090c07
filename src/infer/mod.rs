//! From a network with readings to posteriors; knows nothing of boards.
//!
//! # How it is computed
//!
//! Passing readings fold into the priors (`fold`). Every other reading `j` needs at least one explanation:
//! the leak or an active mode. Each cause is a variable with weights, each such reading a bit 'explained',
//! and the probability of the readings is the sum over all states of all variables of a product of small
//! non-negative tables. `order` finds an order in which to sum them out, `plan` writes that down as a
//! list of table contractions, `run` executes it forward (the evidence) and backward (every marginal at
//! once: the sum is linear in each weight). Nothing is ever subtracted, so nothing cancels.
//!
//! When no order is cheap enough, `enumerate` searches the most probable hypotheses and certifies what it
//! left out; where that is too much, `sample` estimates by draws, and what is left after the improbable modes are ruled out
//! is summed up exactly if it can be.

mod absorb;
mod arith;
mod contract;
mod enumerate;
mod fold;
pub mod hypotheses;
pub(crate) mod lattice;
mod layout;
pub mod network;
mod order;
mod plan;
pub mod posterior;
pub mod predict;
mod relax;
mod run;
mod sample;
mod shift;
mod small_sets;
mod solve;
mod validate;
mod wide;

pub use hypotheses::{
    Explanations, Extent, Hypotheses, Hypothesis, leading_explanations, leading_hypotheses,
    leading_hypotheses_of,
};
pub use posterior::{Evidence, InferError, Limits, Strategy, evidence, expected_faults, posterior};
pub use predict::{Prediction, predict};
pub use small_sets::small_explanations;
pub use solve::use_threads;
