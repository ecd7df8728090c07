//! How probable each fault is before anything was read.
//!
//! Handbook rates give *ratios* between parts ([`handbook`]); one scalar exposure an intake reason turns them into
//! probabilities ([`exposure`]); a few common causes multiply the rates of whole classes ([`common`]).

pub mod common;
pub mod exposure;
pub mod handbook;
pub mod rates;
