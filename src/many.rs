//! Many machines at once: what `rank --json --no-next` does with a stream, for a program of one's own.
//!
//! On all cores, the results in the order of the machines, with a bounded number of them in memory.
//!
//! ```
//! use whichsocket::many::{Ranked, rank_each};
//! use whichsocket::sheet::parse;
//! use whichsocket::shipped::Library;
//!
//! let library = Library::open(None).expect("the shipped boards");
//! let texts = ["board dunlin-64; memory bit 3 bad; rest fine", "board dunlin-64; voice 2 silent; rest fine"];
//! let machines = texts.iter().map(|text| vec![parse("a sheet", text.as_bytes()).expect("a sheet")]);
//! let mut leaders = Vec::new();
//! rank_each(&library, machines, 2, |_, ranked| {
//!     let Ranked { board, ranking } = ranked.map_err(std::io::Error::other)?;
//!     assert_eq!(board.board, "dunlin-64");
//!     leaders.push(ranking.suspects[0].name.clone());
//!     Ok::<(), std::io::Error>(())
//! })?;
//! assert_eq!(leaders, ["M3", "T1"]);
//! # Ok::<(), std::io::Error>(())
//! ```

use crate::commands::{input, parallel};
use crate::faultmap::model::BoardModel;
use crate::rank::settle::settle;
use crate::rank::{Ranking, brief};
use crate::sheet::RunSheet;
use crate::shipped::Library;
use std::sync::Arc;

/// A machine with its ranking.
pub struct Ranked {
    /// The board that its sheets name last.
    pub board: Arc<BoardModel>,
    /// The ranking, as [`brief`] makes it: for its suspects, not for reasons or next steps.
    pub ranking: Ranking,
}

/// Ranks machines, each given by the sheets of its runs in order, on `threads` threads. `done` gets them in the order of
/// `machines`: the ranking, or one message why there is none (no board named, no such board, readings that nothing gives).
///
/// # Errors
/// The first of `done`, which ends it early.
pub fn rank_each<E>(
    library: &Library,
    machines: impl Iterator<Item = Vec<RunSheet>>,
    threads: usize,
    mut done: impl FnMut(&[RunSheet], Result<Ranked, String>) -> Result<(), E>,
) -> Result<(), E> {
    let work = |sheets: &Vec<RunSheet>| -> Result<Ranked, String> {
        let board = input::board(library, None, sheets)?;
        let ranking = brief(&board, &settle(&board, sheets))
            .map_err(|e| format!("{}: {e}", sheets[0].name))?;
        Ok(Ranked { board, ranking })
    };
    let machines = machines.filter(|sheets| !sheets.is_empty());
    parallel::ordered(machines, threads, work, |sheets, ranked| {
        done(sheets, ranked)
    })
}
