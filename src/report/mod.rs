//! The ranking as text, and as JSON.

pub mod build;
pub mod part;
pub mod term;
pub mod tree;
pub mod view;
pub mod words;
