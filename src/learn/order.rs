//! Whether a bench's own rates changed the order of a ranking.

use super::{Learned, family};
use crate::faultmap::model::BoardModel;
use crate::rank::{Ranking, rank};
use crate::report::words::chance;
use crate::sheet::RunSheet;

/// Suspects whose order is looked at: those that anyone would touch.
const LOOKED_AT: usize = 4;
const LEAST: f64 = 0.01;

/// What the bench's own tickets changed in the order of the leading suspects, as one sentence; `None` when nothing. `model`
/// is the board with the handbook's rates, `ranking` the one with the bench's own.
pub fn changed(
    model: &BoardModel,
    learned: &Learned,
    sheets: &[RunSheet],
    ranking: &Ranking,
) -> Option<String> {
    let plain = rank(model, sheets).ok()?;
    let names = |r: &Ranking| -> Vec<String> {
        let shown = r.suspects.iter().filter(|s| s.probability >= LEAST);
        shown.take(LOOKED_AT).map(|s| s.name.clone()).collect()
    };
    let (before, after) = (names(&plain), names(ranking));
    let at = (0..after.len()).find(|&i| before.get(i) != after.get(i))?;
    let first = ranking.suspects.iter().find(|s| s.name == after[at])?;
    let probability = plain
        .suspects
        .iter()
        .find(|s| s.name == after[at])
        .map_or(0.0, |s| s.probability);
    let family = family(model, &model.units[first.instance.unit]);
    let tally = learned.families.get(&family).copied().unwrap_or_default();
    Some(format!(
        "Order changed by this bench's own tickets: {} comes {} ({} by the handbook alone); {family}: {} failed in {} \
         tickets, {:.1} expected.",
        after[at],
        ["first", "second", "third", "fourth"]
            .get(at)
            .unwrap_or(&"later"),
        chance(probability),
        tally.failed,
        learned.tickets,
        tally.expected,
    ))
}
