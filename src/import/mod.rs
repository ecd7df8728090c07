//! From an open drawing format to the skeleton of a map: `board import`.
//!
//! Text → [`sexp`] → [`kicad`] (parts, pins, nets) → [`skeleton`] (the map as text, families guessed by type number).

pub mod guess;
pub mod kicad;
pub mod sexp;
pub mod skeleton;
