//! What a board says of its keys whatever the sheet: worked out once for a board.

use super::super::{Aspect, effects};
use super::theory::Scan;
use super::upset::Upsets;
use crate::faultmap::model::{BoardModel, ModeId};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, OnceLock};

/// A line of keys: what to call it, and their checks.
pub(super) type LineOfKeys = (String, Vec<String>);

/// The key matrix of a board with all that follows from it.
#[derive(Debug, Default)]
pub(in crate::observe) struct Known {
    /// Where the keys are, and what can be wrong with the matrix.
    pub(in crate::observe) scan: Scan,
    /// The check of each key of the matrix.
    pub(super) ids: Vec<String>,
    /// All keys, then columns, then rows.
    pub(super) lines: Vec<LineOfKeys>,
    troubles: OnceLock<Troubles>,
    upsets: OnceLock<Upsets>,
}

/// What troubles the keys: only asked for when a sheet says of one that it does not work.
#[derive(Debug)]
pub(super) struct Troubles {
    /// For each key of the matrix how surely each mode troubles it, by mode, as if no reader missed anything.
    pub(super) each: Vec<Vec<(ModeId, f64)>>,
    /// Modes that strike every key of the matrix about alike: a high rail, a program that does not run. They take all keys or
    /// none; that a key here and a row there are dead is none of their doing.
    pub(super) everywhere: BTreeSet<ModeId>,
}

/// Filled at the first sheet of a board.
#[derive(Default)]
struct Kept(OnceLock<Arc<Known>>);

impl Known {
    /// Of a board, worked out at the first call.
    pub(in crate::observe) fn of(model: &BoardModel) -> Arc<Self> {
        let kept = model.memo.of::<Kept>();
        let work_out = || Arc::new(Self::work_out(model));
        Arc::clone(kept.0.get_or_init(work_out))
    }

    fn work_out(model: &BoardModel) -> Self {
        let scan = Scan::of(model);
        let id = |(_, _, k): &(usize, usize, String)| format!("key.{k}");
        let ids: Vec<String> = scan.matrix.keys.iter().map(id).collect();
        Self {
            lines: lines(&scan),
            scan,
            ids,
            troubles: OnceLock::new(),
            upsets: OnceLock::new(),
        }
    }

    /// What makes a press of each key stop the machine.
    pub(super) fn upsets(&self, model: &BoardModel) -> &Upsets {
        self.upsets
            .get_or_init(|| Upsets::of(model, &self.scan.matrix.keys))
    }

    /// What troubles the keys of the board, which must be the same at every call.
    pub(super) fn troubles(&self, model: &BoardModel) -> &Troubles {
        self.troubles.get_or_init(|| {
            let mut scratch = vec![0.0; model.modes.len()];
            let mut troubles = |id: &String| {
                let reads = model.check(id).map_or(&[][..], |c| &c.reads);
                effects(model, reads, Aspect::Trouble, &mut scratch)
            };
            let each: Vec<_> = self.ids.iter().map(&mut troubles).collect();
            Troubles {
                everywhere: alike(&self.scan, &each),
                each,
            }
        })
    }
}

fn lines(scan: &Scan) -> Vec<LineOfKeys> {
    let m = &scan.matrix;
    let of = |wanted: &dyn Fn(usize, usize) -> bool| -> Vec<String> {
        let keys = m.keys.iter().filter(|(c, r, _)| wanted(*c, *r));
        keys.map(|(_, _, k)| format!("key.{k}")).collect()
    };
    let mut out = vec![("all keys".to_string(), of(&|_, _| true))];
    out.extend((0..m.columns).map(|n| (format!("key column {n}"), of(&|c, _| c == n))));
    out.extend((0..m.rows).map(|n| (format!("key row {n}"), of(&|_, r| r == n))));
    out
}

/// Modes that trouble all keys, the least at least half as surely as the most.
fn alike(scan: &Scan, troubled: &[Vec<(ModeId, f64)>]) -> BTreeSet<ModeId> {
    let mut range: BTreeMap<ModeId, (usize, f64, f64)> = BTreeMap::new();
    for &(mode, s) in troubled.iter().flatten() {
        let (keys, least, most) = range.entry(mode).or_insert((0, s, s));
        (*keys, *least, *most) = (*keys + 1, least.min(s), most.max(s));
    }
    let alike = |(_, (keys, least, most)): &(ModeId, (usize, f64, f64))| {
        *keys == troubled.len() && *least >= 0.5 * *most
    };
    let modes = range.into_iter().filter(alike).map(|r| r.0);
    modes.filter(|m| !scan.one_by_one.contains(m)).collect()
}
