//! The command line program; see the library for everything it does.

fn main() {}
