//! `guide`: the language of run sheets on one page.

use super::{Console, DONE};

/// The page; every line of it that is an example is read by a test (`tests/guide.rs`).
pub const GUIDE: &str = include_str!("../sheet/guide.md");

/// Prints the page.
///
/// # Errors
/// Only of writing.
pub fn guide(console: &mut Console) -> std::io::Result<u8> {
    write!(console.out, "{GUIDE}")?;
    Ok(DONE)
}
