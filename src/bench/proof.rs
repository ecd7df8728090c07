//! Whether the machine is proved, from the loops and runs of its ticket.

use crate::faultmap::model::{BoardModel, UnitKind};
use crate::infer::network::Outcome as Seen;
use crate::observe::{Evidence, board};
use crate::rank::Ranking;
use crate::sheet::{Effect, Warmth};
use crate::soak::{CONFIDENCE, Count, Proof, prove};
use crate::ticket::Ticket;
use crate::ticket::compare::is_remedy;
use std::collections::BTreeSet;

/// The kinds of loops, each proved for itself.
const KINDS: [(&str, &[Option<Warmth>]); 2] = [
    ("Cold starts", &[Some(Warmth::Cold)]),
    ("Warm loops", &[Some(Warmth::Warm), None]),
];

/// What the loops since the last remedy prove, for each kind of which there are any; empty before the first remedy.
///
/// A run of the test without a count of loops is one warm loop: failed, if anything failed in it.
pub fn standing(ticket: &Ticket, ranking: &Ranking) -> Vec<(&'static str, Count, Proof)> {
    let remedies = ticket.hands_on();
    let Some((last, _)) = remedies.iter().rfind(|(_, h)| is_remedy(h.action)) else {
        return Vec::new();
    };
    let counted: BTreeSet<usize> = ticket.loops().iter().map(|l| l.run).collect();
    let failing = failing_runs(ranking);
    let mut out = Vec::new();
    for (name, warmth) in KINDS {
        let mut count = Count::default();
        for l in ticket.loops().iter().filter(|l| warmth.contains(&l.warmth)) {
            let (failed, of) = (u64::from(l.failed), u64::from(l.of));
            if l.line < last.line || failed > 0 {
                // What ran clean before it failed again was no cure.
                count.of += of + std::mem::take(&mut count.clean);
                count.failed += failed;
            } else {
                count.clean += of;
            }
        }
        if warmth.contains(&None) {
            let single = failing
                .iter()
                .filter(|run| !counted.contains(run) && **run <= last.run)
                .count() as u64;
            (count.failed, count.of) = (count.failed + single, count.of + single);
        }
        if count.of + count.clean > 0 {
            out.push((name, count, prove(count, None, CONFIDENCE)));
        }
    }
    out
}

/// Runs, from 1, in which something failed.
fn failing_runs(ranking: &Ranking) -> BTreeSet<usize> {
    let failed = ranking
        .observed
        .readings
        .iter()
        .filter_map(|r| match &r.evidence {
            Evidence::Check(c) if c.outcome != Seen::Pass && c.check != "complaint" => {
                Some(c.run + 1)
            }
            _ => None,
        });
    failed.collect()
}

/// The unit that the last cure speaks for, and its likeliest fault: what a technician would write down as proved.
pub fn proved(model: &BoardModel, ticket: &Ticket, ranking: &Ranking) -> Option<String> {
    let cures = ticket.hands_on();
    let (_, cure) = cures.iter().rfind(|(_, h)| h.result == Effect::Cured)?;
    let position = board::position(model, &cure.places.first()?.name)?.0;
    let at = ranking.suspects.iter().find(|s| {
        let unit = &model.units[s.instance.unit];
        s.instance.fitted == 0
            && unit.position == position
            && !matches!(unit.kind, UnitKind::Key { .. })
    })?;
    let mode = at
        .modes
        .first()
        .map(|(m, _)| model.modes[*m as usize].what.as_str())?;
    Some(format!("{} {mode}", model.units[at.instance.unit].name))
}
