//! Is it cured? The loops since the last remedy against those before it, counted as the session counts them.

use super::checks::Result;
use super::model::{LoopsNote, ProofNote};
use crate::bench::proof::{Against, Kind, is_proved, standing};
use crate::infer::network::Outcome;
use crate::observe::Observed;
use crate::soak;
use crate::ticket::Ticket;
use crate::ticket::compare::alters;

/// The formula of [`soak::unseen`], for the note.
const FORMULA: &str = "with k of m loops failing before, all rates equally probable beforehand, an uncured fault stays unseen for \
    n loops with the probability (m - k + 1 + i) / (m + 2 + i), multiplied for i from 0 to n - 1 (Bayes' rule; beta-binomial); \
    it has to be below 5\u{a0}%. That a kind that never failed fails less often than about 3 in n is the rule of three (Hanley, \
    Lippman-Hand, JAMA 1983; 249:1743)";

/// What the ticket proves.
pub fn proof(ticket: &Ticket, observed: &Observed, results: &[Result]) -> ProofNote {
    let last = ticket
        .hands_on()
        .iter()
        .rfind(|(_, h)| alters(h.action))
        .map(|(e, _)| e.line);
    let counted = standing(ticket, observed);
    let kinds: Vec<LoopsNote> = counted.iter().map(loops).collect();
    let clean = kinds.iter().any(|k| k.clean > 0);
    let fails = last.is_some_and(|line| {
        results
            .iter()
            .any(|r| r.line > line && r.outcome != Outcome::Pass)
    });
    let against = counted.iter().find_map(|k| k.against);
    let failed_again = (fails && !clean) || against == Some(Against::FailedSince);
    let proved = !failed_again && is_proved(&counted);
    let said = match last {
        None => "Nothing was renewed or refitted, so there is nothing to prove.".to_string(),
        Some(_) if against == Some(Against::SwitchedOff) => {
            "Not proved: the board must stay off until its supply is put right.".to_string()
        }
        Some(_) if failed_again => "Not cured: it failed again after the last remedy.".into(),
        Some(_) if !clean => {
            "Not proved: no clean loops were counted since the last remedy.".into()
        }
        Some(_) => {
            let verdict = if proved { "Proved" } else { "Not proved" };
            // Kinds that never failed prove nothing where another did.
            let failed = kinds.iter().any(|k| k.failed_before > 0);
            let telling = kinds.iter().filter(|k| !failed || k.failed_before > 0);
            let each: Vec<String> = telling.map(|k| one(k, kinds.len() == 1)).collect();
            format!("{verdict}: {}.", each.join("; "))
        }
    };
    let formula = kinds
        .iter()
        .any(|k| k.needed.is_some())
        .then(|| FORMULA.to_string());
    ProofNote {
        proved,
        failed_again,
        kinds,
        said,
        formula,
    }
}

fn loops(k: &Kind) -> LoopsNote {
    let (count, proof) = (k.count, k.proof);
    let mut note = LoopsNote {
        kind: k.name.to_lowercase(),
        failed_before: count.failed,
        loops_before: count.of,
        clean: count.clean,
        needed: None,
        to_go: None,
        unseen: None,
        rate_below: None,
    };
    match proof {
        soak::Proof::Cure {
            unseen,
            needed,
            to_go,
        } => {
            (note.needed, note.to_go, note.unseen) = (needed, to_go, Some(unseen));
        }
        soak::Proof::NeverFailed { rate_below } => note.rate_below = Some(rate_below),
    }
    note
}

/// What loops of one kind say.
fn one(k: &LoopsNote, alone: bool) -> String {
    let kind = match (alone, k.kind.as_str(), k.clean) {
        (_, "cold starts", 1) => "cold start",
        (_, "cold starts", _) => "cold starts",
        (true, _, 1) | (_, "loops", 1) => "loop",
        (true, ..) | (_, "loops", _) => "loops",
        (_, _, 1) => "warm loop",
        _ => "warm loops",
    };
    let clean = format!("{} clean {kind} since the last remedy", k.clean);
    match (k.needed, k.to_go, k.rate_below) {
        (Some(n), Some(0), _) => format!("{clean}, {n} are enough for 95\u{a0}%"),
        (Some(n), Some(more), _) => format!("{clean}, {n} are needed for 95\u{a0}%, {more} more"),
        (_, _, Some(p)) => format!(
            "{clean}, none failed before: fewer than {:.0}\u{a0}% fail (95\u{a0}% sure)",
            (p * 100.0).ceil()
        ),
        _ => format!("{clean}; it failed too rarely before to be proved by loops"),
    }
}
