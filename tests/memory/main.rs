//! Lists of failing memory cells, against a simulation of the memory as it is wired on the board.
//!
//! The simulation (`sim`) moves bits through row and column addresses; the program weighs lists by formulas. They share
//! nothing but the wiring of the boards.

mod boards;
mod campaign;
mod codes;
mod march;
mod sim;
mod sums;
