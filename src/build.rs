//! Compiles the shipped board maps into the binary.

fn main() {}
