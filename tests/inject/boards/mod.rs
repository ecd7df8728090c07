//! Boards with a program of their own.

pub mod ula;
pub mod vdp;
