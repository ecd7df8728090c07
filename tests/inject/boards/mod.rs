//! What each board is as a machine: memory map, ports and paths, and a program of its own for those unlike the first three.

pub mod dunlin;
pub mod narrow;
pub mod ula;
pub mod vdp;
pub mod wide;
