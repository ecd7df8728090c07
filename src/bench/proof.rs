//! Whether the machine is proved, from the loops and runs of its ticket.

use crate::faultmap::model::{BoardModel, UnitKind};
use crate::infer::network::Outcome as Seen;
use crate::observe::{Evidence, Observed, board};
use crate::rank::Ranking;
use crate::sheet::{Effect, Warmth};
use crate::soak::{CONFIDENCE, Count, Proof, prove};
use crate::ticket::Ticket;
use crate::ticket::compare::alters;
use std::collections::{BTreeMap, BTreeSet};

/// Kinds of loops, each proved for itself, and the words on the ticket that mean each.
const KINDS: [(&str, &[Option<Warmth>]); 2] = [
    ("Cold starts", &[Some(Warmth::Cold)]),
    ("Loops", &[Some(Warmth::Warm), None]),
];

/// Loops of one kind, and what they prove.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kind {
    /// `Cold starts`, `Loops`; `Warm loops` where the ticket tells the two apart.
    pub name: &'static str,
    /// How many.
    pub count: Count,
    /// What they prove.
    pub proof: Proof,
    /// What stands against any proof, however many ran clean.
    pub against: Option<Against>,
}

/// Why clean loops prove nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Against {
    /// It failed since the last remedy, and nothing was put right after that.
    FailedSince,
    /// A reading says that the board must stay off.
    SwitchedOff,
}

/// Something that ran, in order.
struct Ran {
    line: usize,
    failed: u64,
    of: u64,
    warmth: Option<Warmth>,
}

/// What the loops since the last remedy prove, for each kind of which there are any; empty before the first remedy.
///
/// A run of the test without a count of loops is one loop: failed, if anything failed in it.
pub fn standing(ticket: &Ticket, observed: &Observed) -> Vec<Kind> {
    let remedies = ticket.hands_on();
    let Some((last, _)) = remedies.iter().rfind(|(_, h)| alters(h.action)) else {
        return Vec::new();
    };
    let ran = ran(ticket, observed);
    let again = ran.iter().any(|l| l.line > last.line && l.failed > 0);
    let against = match observed.stop.is_some() {
        true => Some(Against::SwitchedOff),
        false => again.then_some(Against::FailedSince),
    };
    let mut out = Vec::new();
    for (name, warmth) in KINDS {
        let mut count = Count::default();
        for l in ran.iter().filter(|l| warmth.contains(&l.warmth)) {
            if l.line < last.line || l.failed > 0 {
                // What ran clean before it failed again was no cure.
                count.of += l.of + std::mem::take(&mut count.clean);
                count.failed += l.failed;
            } else {
                count.clean += l.of;
            }
        }
        if count.of + count.clean > 0 {
            let proof = prove(count, None, CONFIDENCE);
            out.push(Kind {
                name,
                count,
                proof,
                against,
            });
        }
    }
    // Told apart when both were run, or when it was said.
    let warm = ran.iter().any(|l| l.warmth == Some(Warmth::Warm));
    if out.len() > 1 || warm {
        out.iter_mut()
            .filter(|k| k.name == "Loops")
            .for_each(|k| k.name = "Warm loops");
    }
    out
}

/// Loops as counted, and every run in which something failed and no loops were: one loop that failed.
fn ran(ticket: &Ticket, observed: &Observed) -> Vec<Ran> {
    let counted: BTreeSet<usize> = ticket.loops().iter().map(|l| l.run).collect();
    let of_loops = ticket.loops().into_iter().map(|l| Ran {
        line: l.line,
        failed: l.failed.into(),
        of: l.of.into(),
        warmth: l.warmth,
    });
    let mut out: Vec<Ran> = of_loops.collect();
    let single = failing_runs(observed)
        .into_iter()
        .filter(|(run, _)| !counted.contains(run));
    out.extend(single.map(|(_, line)| Ran {
        line,
        failed: 1,
        of: 1,
        warmth: None,
    }));
    out.sort_by_key(|r| r.line);
    out
}

/// Whether the loops prove a cure: it failed before, it has not failed since, every kind of loops in which it failed ran
/// clean for long enough, and the board may be powered at all.
pub fn is_proved(kinds: &[Kind]) -> bool {
    if kinds.iter().any(|k| k.against.is_some()) {
        return false;
    }
    let mut cures = kinds.iter().filter(|k| k.count.failed > 0).peekable();
    let enough = |k: &Kind| matches!(k.proof, Proof::Cure { to_go: Some(0), .. });
    cures.peek().is_some() && cures.all(enough)
}

/// What is missing for a proof, in words; `None` when nothing is.
pub fn missing(kinds: &[Kind]) -> Option<String> {
    if is_proved(kinds) {
        return None;
    }
    match kinds.iter().find_map(|k| k.against) {
        Some(Against::SwitchedOff) => {
            return Some("the board must stay off: put its supply right first".into());
        }
        Some(Against::FailedSince) => {
            return Some("it failed after the last remedy: put something right first".into());
        }
        None => {}
    }
    let one = |k: &Kind| match k.proof {
        Proof::Cure {
            to_go: Some(go), ..
        } if go > 0 => Some(format!("{go} more clean {}", k.name.to_lowercase())),
        _ => None,
    };
    let more: Vec<String> = kinds.iter().filter_map(one).collect();
    Some(match (more.is_empty(), kinds.is_empty()) {
        (false, _) => more.join(" and "),
        (_, true) => "no remedy is on the ticket".into(),
        _ => "it never failed in a loop, or too rarely, so loops cannot prove a cure".into(),
    })
}

/// Runs, from 1, in which something failed that was not counted in loops, with the line of the first such reading.
fn failing_runs(observed: &Observed) -> BTreeMap<usize, usize> {
    let mut out = BTreeMap::new();
    for r in &observed.readings {
        if let Evidence::Check(c) = &r.evidence
            && c.outcome != Seen::Pass
            && c.check != "complaint"
        {
            out.entry(c.run + 1).or_insert(r.line);
        }
    }
    out
}

/// The unit that the last cure speaks for, and its likeliest fault: what a technician would write down as proved. Of a chip
/// that was exchanged before, that is the chip by the place it came from.
pub fn proved(model: &BoardModel, ticket: &Ticket, ranking: &Ranking) -> Option<String> {
    let since = ticket.reopened().last().map_or(0, |e| e.line);
    let cures = ticket.hands_on();
    let (_, cure) = cures
        .iter()
        .rfind(|(e, h)| h.result == Effect::Cured && e.line > since)?;
    let place = cure.places.first()?;
    let position = board::position(model, &place.name)?.0;
    let key = place.key().and_then(|typed| board::key(model, typed));
    let a = &ranking.assembled;
    let at = ranking.suspects.iter().find(|s| {
        let unit = &model.units[a.place_of(s.instance)];
        s.instance.fitted == 0
            && unit.position == position
            && match &unit.kind {
                UnitKind::Key { key: of } => Some(of) == key.as_ref(),
                _ => key.is_none(),
            }
    })?;
    let mode = at
        .modes
        .first()
        .map(|(m, _)| model.modes[*m as usize].what.as_str())?;
    Some(format!("{} {mode}", model.units[at.instance.unit].name))
}
