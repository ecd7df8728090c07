//! What a list looks like, in words, and which further test pattern would tell apart what could be behind it.

use super::effect::{Effect, alike, fails};
use super::few::Few;
use super::layout::Bank;
use super::modes::{Reaching, causes};
use super::pattern::Pattern;
use super::signature::{List, Theory, ln_sum};
use super::theory::{Cause, Where, words};
use super::weigh::Weighed;
use crate::faultmap::model::BoardModel;

/// A remark on a list.
#[derive(Debug, Clone, PartialEq)]
pub struct Hint {
    /// What to say.
    pub text: String,
    /// The pattern that would tell more.
    pub pattern: Option<&'static str>,
}

/// What could be behind the list, in terms of the wiring.
struct Answer {
    what: String,
    ln: f64,
    /// The theories that explain the list, one, or one a failing bit.
    theories: Vec<Theory>,
    /// Strobes, write or all data lines.
    shared: bool,
}

/// An answer less probable than the first by this (ln of four hundred) is as good as out.
const OUT: f64 = 6.0;
/// Up to this (ln of twenty thousand) it is 'far less probably' the other; which pattern would show that it is the other all
/// the same is told anyhow.
const FAR: f64 = 10.0;
/// Beyond this nothing is told: the list rules it out.
const NEVER: f64 = 80.0;

/// Patterns to propose: identifier, pattern, words.
const PROPOSED: [(&str, Pattern, &str); 6] = [
    (
        "address-low",
        Pattern::Low,
        "the low byte of the address in each cell",
    ),
    (
        "address-high",
        Pattern::High,
        "the high byte of the address in each cell",
    ),
    (
        "march",
        Pattern::MarchUp(0),
        "a march: read 00 and write FF cell by cell upwards",
    ),
    ("constant-00", Pattern::Constant(0), "00 in all cells"),
    ("constant-FF", Pattern::Constant(0xFF), "FF in all cells"),
    ("checkerboard", Pattern::Checker(0x55), "55 and AA in turn"),
];

/// Remarks on a list: what it looks like; and what to run next if it could be several things.
pub fn hints(
    model: &BoardModel,
    bank: &Bank,
    reaching: &[Reaching],
    weighed: &Weighed,
    list: &List,
) -> Vec<Hint> {
    let answers = answers(model, bank, reaching, weighed);
    let Some(first) = answers.first() else {
        return Vec::new();
    };
    let looks: Vec<&str> = first.theories.iter().map(|t| words(t.effect)).collect();
    let mut looks = looks;
    looks.dedup();
    let mut out = vec![Hint {
        text: format!(
            "The listed cells look like {}: {}.",
            first.what,
            looks.join("; ")
        ),
        pattern: None,
    }];
    let within = |limit: f64| -> Vec<&Answer> {
        let all = answers[1..].iter();
        all.filter(|a| a.ln > first.ln - limit).collect()
    };
    let others = within(OUT);
    if !others.is_empty() {
        out.push(further(bank, first, &others, "or", list));
    } else if first.theories.iter().all(|t| t.lanes == bank.all_lanes()) && first.shared {
        out.push(Hint {
            text: "It could be a strobe, the write line or what carries all data bits: no test pattern tells these apart; measure the strobes at a chip.".into(),
            pattern: None,
        });
    } else if let far = within(FAR)
        && !far.is_empty()
    {
        out.push(further(bank, first, &far, "or, far less probably,", list));
    } else if let Some(nearest) = within(NEVER).first() {
        out.push(further(bank, first, &[nearest], "or, though hardly,", list));
    }
    out
}

fn further(bank: &Bank, first: &Answer, others: &[&Answer], or: &str, list: &List) -> Hint {
    let names: Vec<&str> = others.iter().map(|a| a.what.as_str()).take(4).collect();
    let told = format!("{} {or} {}", first.what, names.join(" or "));
    let decays = |a: &Answer| {
        a.theories
            .iter()
            .any(|t| matches!(t.effect, Effect::Decay { .. }))
    };
    let cells = cells(bank, list);
    let score = |pattern| {
        let first = wrong(bank, first, pattern, &cells);
        let each = others.iter().map(|o| {
            let other = wrong(bank, o, pattern, &cells);
            let both = first.iter().zip(&other);
            both.filter(|(x, y)| differ(x, y)).count()
        });
        let each: Vec<usize> = each.collect();
        (
            each.iter().filter(|n| **n > 0).count(),
            each.iter().sum::<usize>(),
        )
    };
    let best = PROPOSED
        .iter()
        .map(|p| (score(p.1), p))
        .max_by_key(|(s, _)| *s)
        .filter(|(s, _)| s.0 > 0);
    let pauses = others.iter().any(|o| decays(o) != decays(first));
    match best {
        _ if pauses => Hint {
            text: format!(
                "It could be {told}: run the same test again with and without a pause between writing and reading; only what forgets passes without."
            ),
            pattern: Some("pause"),
        },
        Some((_, (id, _, what))) => Hint {
            text: format!("It could be {told}: a test that writes {what} would tell."),
            pattern: Some(id),
        },
        None => Hint {
            text: format!(
                "It could be {told}: no test pattern tells these apart; measure at the pins."
            ),
            pattern: None,
        },
    }
}

/// Addresses to look at: an even sample of the bank, and those of the list.
fn cells(bank: &Bank, list: &List) -> Vec<u32> {
    let step = (bank.cells() / 64).max(1);
    let spread = (0..64).map(|i| bank.from + i * step + (i * 0x35) % step);
    let listed = list.lines.iter().map(|l| l.address);
    let all = spread.chain(listed);
    all.filter(|a| bank.contains(*a)).collect()
}

/// A number for each data bit.
type Lanes = [f64; 8];

/// P(each data bit reads wrong) at these addresses in a test of this pattern.
fn wrong(bank: &Bank, answer: &Answer, pattern: Pattern, cells: &[u32]) -> Vec<Lanes> {
    let mut out = vec![[0.0; 8]; cells.len()];
    let mut explained = 0;
    for t in &answer.theories {
        // The first theory of a bit speaks for it.
        let lanes = t.lanes & !explained;
        explained |= t.lanes;
        let mut known: Few<u64, Lanes> = Few::default();
        for (&address, out) in cells.iter().zip(&mut out) {
            let code = alike(t.effect, pattern, bank, address);
            let each = known.get(code, || {
                let of = |lane: u8| fails(t.effect, lane, pattern, bank, address);
                std::array::from_fn(|i| match lanes >> i & 1 {
                    1 => of(1 << i),
                    _ => 0.0,
                })
            });
            out.iter_mut().zip(each).for_each(|(out, p)| *out += p);
        }
    }
    out
}

/// Whether a test would show one and not the other.
fn differ(a: &Lanes, b: &Lanes) -> bool {
    a.iter().zip(b).any(|(a, b)| (a - b).abs() > 0.3)
}

fn answers(
    model: &BoardModel,
    bank: &Bank,
    reaching: &[Reaching],
    weighed: &Weighed,
) -> Vec<Answer> {
    let exposure = model.exposures[0];
    let mut out: Vec<Answer> = Vec::new();
    let mut singles: Vec<Answer> = Vec::new();
    let causes = causes(reaching);
    let mut rates = vec![0.0; causes.len()];
    for r in reaching {
        rates[r.number] += model.modes[r.mode as usize].rate * exposure * r.strength;
    }
    for (cause, fit) in &weighed.fits {
        let number = causes.iter().position(|c| *c == cause);
        let rate: f64 = number.map_or(0.0, |at| rates[at]);
        let answer = Answer {
            what: named(cause, bank),
            ln: fit.ln + rate.max(1e-12).ln(),
            theories: vec![fit.best.0],
            shared: matches!(cause.place, Where::Strobe | Where::Write | Where::Data),
        };
        let hit = cause.lanes & weighed.bits;
        if hit == weighed.bits {
            merge(&mut out, answer);
        } else if hit.count_ones() == 1 {
            merge(&mut singles, answer);
        }
    }
    if weighed.bits.count_ones() > 1 {
        out.extend(apart(singles, weighed.bits));
    }
    out.sort_by(|a, b| b.ln.total_cmp(&a.ln));
    out
}

/// Adds to the answer of the same name; the likelier of the two says how it looks.
fn merge(all: &mut Vec<Answer>, new: Answer) {
    match all.iter_mut().find(|a| a.what == new.what) {
        Some(old) => {
            if new.ln > old.ln {
                old.theories = new.theories;
            }
            old.ln = ln_sum([old.ln, new.ln].into_iter());
        }
        None => all.push(new),
    }
}

/// Each failing bit for reasons of its own.
fn apart(mut singles: Vec<Answer>, bits: u8) -> Option<Answer> {
    singles.sort_by(|a, b| b.ln.total_cmp(&a.ln));
    let mut all = Answer {
        what: String::new(),
        ln: 0.0,
        theories: Vec::new(),
        shared: false,
    };
    let mut names = Vec::new();
    for bit in (0..8).filter(|i| bits >> i & 1 == 1) {
        let own = singles
            .iter()
            .find(|a| a.theories[0].lanes & bits == 1 << bit)?;
        all.ln += own.ln;
        all.theories.extend(&own.theories);
        names.push(bit.to_string());
    }
    all.what = format!("data bits {}, each by itself", names.join(", "));
    Some(all)
}

fn named(cause: &Cause, bank: &Bank) -> String {
    let list = |mask: u32| {
        let all = (0..32).filter(|i| mask >> i & 1 == 1);
        all.map(|i| i.to_string()).collect::<Vec<_>>()
    };
    let bank_name = bank
        .name
        .as_ref()
        .map(|n| format!(" of the {n} bank"))
        .unwrap_or_default();
    match &cause.place {
        Where::Lines(mask) => {
            let lines = list(*mask);
            let bits: Vec<String> = bank
                .lines
                .iter()
                .enumerate()
                .filter(|(k, _)| mask >> k & 1 == 1)
                .flat_map(|(_, l)| list(l.both()))
                .map(|b| format!("A{b}"))
                .collect();
            match lines.as_slice() {
                [one] => format!(
                    "memory address line {one}{bank_name} ({})",
                    bits.join(" and ")
                ),
                _ => format!("memory address lines {}{bank_name}", lines.join(", ")),
            }
        }
        Where::Strobe => format!("the row or column strobe{bank_name}"),
        Where::Write => format!("the write strobe{bank_name}"),
        Where::Refresh => format!("the refresh{bank_name}"),
        Where::Chip { .. } | Where::Data => match list(u32::from(cause.lanes)).as_slice() {
            [one] => format!("data bit {one}{bank_name}"),
            all if all.len() == 8 => format!("all data bits{bank_name}"),
            all => format!("data bits {}{bank_name}", all.join(", ")),
        },
    }
}
