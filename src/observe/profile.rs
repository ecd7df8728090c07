//! What the order of a test cartridge says: which checks it passed on its way, and which it never came to.
//!
//! A cartridge that goes on has passed every stage that would have stopped it; one that stopped says nothing about what
//! comes behind; one that prints every failure has passed whatever it does not print.

use super::{Evidence, Observer, whole};
use crate::faultmap::expand::list;
use crate::faultmap::model::Read;
use crate::faultmap::raw::CartridgeRaw;
use crate::infer::network::Outcome;

/// A stage with the checks that this board has.
struct Stage {
    checks: Vec<String>,
    stops: bool,
}

/// How far a run came.
#[derive(Debug, PartialEq)]
enum Reach {
    /// Everything was run.
    All,
    /// It stopped at this check of this stage.
    Stopped(usize, usize),
    /// It came at least to this stage.
    AtLeast(usize),
}

impl Observer<'_> {
    /// What follows from the profile for the run that ends. `fine`: the sheet says that the rest passed.
    pub(super) fn by_profile(&mut self, profile: &CartridgeRaw, run: usize, fine: bool) {
        let stages = self.stages(profile);
        let failed = |id: &String| self.failed(id, run);
        let mentioned: Vec<usize> = (0..stages.len())
            .filter(|&s| stages[s].checks.iter().any(|c| self.seen(c)))
            .collect();
        let stopped = stages.iter().enumerate().find_map(|(s, stage)| {
            let at = stage.checks.iter().position(failed)?;
            stage.stops.then_some((s, at))
        });
        let reach = match (stopped, mentioned.last()) {
            (Some((s, at)), _) => Reach::Stopped(s, at),
            (None, None) if !fine => return,
            (None, _) if fine || profile.prints_all_failures => Reach::All,
            (None, Some(last)) => Reach::AtLeast(*last),
            (None, None) => return,
        };
        // 'Rest fine' says it of more.
        if fine && reach == Reach::All {
            return;
        }
        let keep = (self.sheet, self.line);
        let last = self
            .out
            .readings
            .iter()
            .rev()
            .find(|r| matches!(&r.evidence, Evidence::Check(c) if c.run == run));
        if let Some(reading) = last {
            (self.sheet, self.line) = (reading.sheet, reading.line);
        }
        for (s, stage) in stages.iter().enumerate() {
            for (k, id) in stage.checks.iter().enumerate() {
                let passed = match reach {
                    Reach::All => true,
                    Reach::Stopped(stop, at) => s < stop || (s == stop && k < at),
                    // Only what would have stopped it is known to have passed, unless every failure is printed.
                    Reach::AtLeast(last) => {
                        s < last && (stage.stops || profile.prints_all_failures)
                    }
                };
                match (passed, &reach) {
                    (true, _) => self.passed_on_the_way(id),
                    (false, Reach::Stopped(..)) => {
                        self.not_reached.insert(id.clone());
                    }
                    _ => {}
                }
            }
        }
        (self.sheet, self.line) = keep;
    }

    /// The stages of the profile with the checks that the board has, in order.
    fn stages(&self, profile: &CartridgeRaw) -> Vec<Stage> {
        let known = |id: &String| self.model.check(id).is_some();
        let stage = |s: &crate::faultmap::raw::StageRaw| Stage {
            checks: list(&s.checks).into_iter().filter(known).collect(),
            stops: s.stops_at_failure,
        };
        profile.stages.iter().map(stage).collect()
    }

    /// Whether the run has a reading of this check, or one that stands for several such checks.
    fn seen(&self, id: &str) -> bool {
        self.here.contains(id)
    }

    fn failed(&self, id: &str, run: usize) -> bool {
        let of = |check: &str| {
            check == id
                || (check == "memory" || check == "memory.aliasing") && id.starts_with("memory.")
                || check.starts_with("keys ") && id.starts_with("key.") && self.seen(id)
        };
        self.out.readings.iter().any(|r| {
            matches!(&r.evidence, Evidence::Check(c) if c.run == run && c.outcome != Outcome::Pass && of(&c.check))
        })
    }

    fn passed_on_the_way(&mut self, id: &str) {
        if self.seen(id) || self.not_reached.contains(id) {
            return;
        }
        let Some(reads) = self.model.check(id).map(|c| c.reads.clone()) else {
            return;
        };
        let reads: Vec<Read> = reads;
        if self.ruled_out(&reads) {
            return;
        }
        self.check(
            id,
            &reads,
            whole(id),
            Outcome::Pass,
            "the cartridge went past this".into(),
        );
    }
}
