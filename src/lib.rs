//! `whichsocket` reads the results of a test run of an 8-bit home computer and ranks which socket is most
//! probably at fault, why, and what to measure or swap next.
//!
//! Data flows one way: text → [`sheet`] → observations → [`infer`] → plan → report.

pub mod diag;
pub mod infer;
pub mod quantity;
pub mod sheet;
pub mod source;
