//! A machine with its faults while it is being repaired: what it shows, what it measures, what a remedy leaves of it.

use super::faults::{Fault, Remedy};
use super::measure::Reading;
use super::{Bench, Seen};

/// A machine on the bench. Readings of one seed are the same each time; every reading and every run counts on from it, so
/// that a second reading has its own noise.
pub struct Patient<'b> {
    bench: &'b Bench,
    faults: Vec<Fault>,
    seed: u64,
}

impl<'b> Patient<'b> {
    /// A machine with these faults.
    pub fn new(bench: &'b Bench, faults: Vec<Fault>, seed: u64) -> Self {
        Self {
            bench,
            faults,
            seed,
        }
    }

    /// What is still wrong with it.
    pub fn faults(&self) -> &[Fault] {
        &self.faults
    }

    fn count(&mut self) -> u64 {
        self.seed = self.seed.wrapping_add(1);
        self.seed
    }

    /// All that could be seen of it now.
    pub fn seen(&self) -> Seen {
        self.bench.observe(&self.faults)
    }

    /// Whether it works: the run passes, the picture is right, the rails are within their limits.
    pub fn works(&self) -> bool {
        !self.bench.shows(&self.faults)
    }

    /// A run sheet of it as it is now.
    pub fn results(&mut self) -> String {
        let seed = self.count();
        self.bench.results(&self.faults, seed)
    }

    /// One check of the run, in words of the sheet; `None` when the run does not come to it.
    pub fn check(&self, id: &str) -> Option<String> {
        self.bench.check(&self.faults, id)
    }

    /// A reading by hand, in words of the sheet.
    pub fn measure(&mut self, position: &str, at: &str, kind: Reading) -> String {
        let seed = self.count();
        self.bench.measure(&self.faults, position, at, kind, seed)
    }

    /// Does a remedy at a unit. How many faults it cured.
    pub fn remedy(&mut self, unit: &str, remedy: Remedy) -> usize {
        let before = self.faults.len();
        let bench = self.bench;
        self.faults.retain(|f| !bench.remedy(f, unit, remedy));
        before - self.faults.len()
    }
}
