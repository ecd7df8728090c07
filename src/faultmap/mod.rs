//! Board maps: YAML as typed → checked → the model that the ranking works on.

pub mod compile;
pub mod expand;
pub mod graph;
pub mod load;
pub mod memo;
pub mod model;
mod packed;
pub mod raw;
pub mod supply;
pub mod text;
pub mod wiring;
