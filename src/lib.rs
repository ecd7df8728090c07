//! `whichsocket` reads the results of a test run of an 8-bit home computer and ranks which socket is most
//! probably at fault, why, and what to measure or swap next.
//!
//! Data flows one way: text → [`sheet`] → [`observe`] → [`rank`] (over [`infer`]) → [`next`] (over
//! [`plan`]) → [`report`].

pub mod batch;
pub mod bench;
pub mod boardcheck;
pub mod boardinfo;
pub mod caps;
pub mod cli;
pub mod commands;
pub mod diag;
pub mod export;
pub mod faultmap;
pub mod import;
pub mod infer;
pub mod learn;
pub mod many;
pub mod next;
pub mod note;
pub mod observe;
pub mod plan;
pub mod prior;
pub mod quantity;
pub mod rank;
pub mod report;
#[cfg(test)]
mod sampled;
pub mod sheet;
pub mod shipped;
pub mod soak;
pub mod source;
pub mod ticket;
pub mod tones;
pub mod trace;
