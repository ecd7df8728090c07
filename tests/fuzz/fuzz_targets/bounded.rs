//! Memory of one execution, counted: what the target itself takes, without the fuzzer's own tables, which grow with its corpus.

use peak_alloc::PeakAlloc;
use std::sync::atomic::{AtomicUsize, Ordering};

#[global_allocator]
static MEMORY: PeakAlloc = PeakAlloc;

/// An execution may take so many bytes.
const LIMIT: usize = 64_000_000;

/// The most that any took so far, bytes.
static MOST: AtomicUsize = AtomicUsize::new(0);

/// Runs one execution and holds its memory, with all that earlier ones left behind, against the limit.
pub fn bounded(act: impl FnOnce()) {
    MEMORY.reset_peak_usage();
    act();
    let most = MEMORY.peak_usage();
    let before = MOST.fetch_max(most, Ordering::Relaxed);
    if most / 1_000_000 > before / 1_000_000 {
        eprintln!(
            "memory of the target: {:.1} MB at the peak",
            most as f64 / 1e6
        );
    }
    assert!(most <= LIMIT, "{most} bytes");
}
