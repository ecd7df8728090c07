//! What a session shows: short, 80 columns, no colour, nothing that only the eye could tell.

use super::answer;
use super::proof::Kind;
use crate::next::{Ask, LIVE, MAINS};
use crate::report::view::{NextView, RankingView, StopView, SuspectView};
use crate::report::words::{chance, minutes};
use crate::sheet::Action;
use crate::soak::Proof;
use crate::ticket::Ticket;
use crate::ticket::compare::{Change, Verdict};
use std::collections::BTreeMap;

/// Columns.
const WIDTH: usize = 80;

/// Suspects of the short ranking.
const SHORT: usize = 3;

/// A paragraph that goes on under its own start.
pub fn hang(first: &str, text: &str) -> String {
    let indent = " ".repeat(textwrap::core::display_width(first));
    let options = textwrap::Options::new(WIDTH)
        .initial_indent(first)
        .subsequent_indent(&indent);
    textwrap::fill(text, options) + "\n"
}

/// How a ticket stands that is opened again: what it is about, what was done, its last line.
pub fn stands(t: &Ticket) -> Option<String> {
    let done = t.hands_on();
    let read = !t.findings().is_empty();
    if !read && done.is_empty() {
        return None;
    }
    let mut out = String::new();
    let complaint = t.complaints().join("; ");
    if !complaint.is_empty() {
        out += &hang("", &format!("Complaint: {complaint}"));
    }
    let done: Vec<String> = done
        .iter()
        .map(|(_, h)| {
            crate::sheet::print_statement(&crate::sheet::Statement::HandsOn(h.clone().into_owned()))
        })
        .collect();
    if !done.is_empty() {
        out += &hang("", &format!("Done so far: {}.", done.join("; ")));
    }
    if let Some(last) = t.standing().last() {
        out += &hang("", &format!("Last line: {}", last.text));
    }
    Some(out)
}

/// The short ranking; `labels` says of suspects of which there was more than one part which one it is.
pub fn ranking(v: &RankingView, labels: &BTreeMap<String, String>) -> String {
    let ticket = v
        .ticket
        .as_ref()
        .map(|t| format!("ticket {t}, "))
        .unwrap_or_default();
    let mut out = format!("\n{ticket}board {}, run {}\n", v.board, v.run);
    if let Some(stop) = &v.stop {
        out += "SWITCH OFF\n";
        let remedy = stop.remedy.trim_start_matches("switch off; ");
        out += &hang("  ", &format!("{}; {remedy}.", stop.reason));
    }
    let shown: Vec<&SuspectView> = v
        .suspects
        .iter()
        .filter(|s| s.probability >= 0.01)
        .take(SHORT)
        .collect();
    if shown.is_empty() {
        out += "Suspects: none; nothing read so far accuses a part.\n";
        return out;
    }
    out += "Suspects\n";
    for (i, s) in shown.iter().enumerate() {
        let mode = s
            .modes
            .first()
            .map(|m| format!("; {}", m.fault))
            .unwrap_or_default();
        let name = labels.get(&s.unit).unwrap_or(&s.unit);
        let text = format!("{name}, {}: {}{mode}", chance(s.probability), s.role);
        out += &hang(&format!("  {}  ", i + 1), &text);
    }
    if let Some(learned) = &v.learned {
        out += &hang("     ", learned);
    }
    out
}

/// The proposed step, with its cautions: in full the first time, then in short.
pub fn step(n: &NextView, told: &mut Vec<&'static str>) -> String {
    let time = if n.minutes > 0.0 {
        format!(" ({})", minutes(n.minutes))
    } else {
        String::new()
    };
    let mut out = format!("Next\n{}", hang("  ", &format!("{}{time}", n.step)));
    let remedy = matches!(n.ask, Some(Ask::Remedy { .. } | Ask::Loops));
    if !n.expect.is_empty() && !remedy {
        out += &hang("  ", &format!("Expect: {}", n.expect));
    }
    if let Some(hazard) = &n.hazard {
        out += &hang("  ", &format!("Careful: {}", in_short(hazard, told)));
    }
    out
}

/// The cautions of every powered step: each in full the first time, then in short.
fn in_short(hazard: &str, told: &mut Vec<&'static str>) -> String {
    let mut out = hazard.to_string();
    let mut shortened = false;
    for (full, short) in [
        (LIVE, "live board, one hand"),
        (MAINS, "leave mains adapters closed"),
    ] {
        if !hazard.contains(full) {
            continue;
        }
        if told.contains(&full) {
            out = out.replace(full, short);
            shortened = true;
        } else {
            told.push(full);
        }
    }
    match shortened {
        true => out + " (in full: 'safety')",
        false => out,
    }
}

/// The cautions in full.
pub fn safety() -> String {
    let sentence = |s: &str| {
        let mut chars = s.chars();
        let first = chars.next().map(|c| c.to_uppercase().to_string());
        first.unwrap_or_default() + chars.as_str() + "."
    };
    hang("", &sentence(LIVE)) + &hang("", &sentence(MAINS))
}

/// The last line before the prompt while the board must stay off.
pub fn stop_again(stop: &StopView) -> String {
    hang("", &format!("SWITCH OFF: {}.", stop.reason))
}

/// What the last remedy changed; `settled` when nothing is to be said about the part that came out.
pub fn change(c: &Change, settled: bool) -> String {
    let mut out = hang("", &format!("Before and after: {}", c.sentence()));
    let put_back = |h: &crate::sheet::HandsOn| matches!(h.action, Action::Swap | Action::Replace);
    if c.verdict == Verdict::NeverWasTheFault
        && !settled
        && let Some(done) = c.done.iter().find(|h| put_back(h))
        && let Some(place) = done.places.first()
    {
        let name = &place.name;
        out += &hang(
            "",
            &format!(
                "Put the old part back and type 'put back {name}', or say that the new one stays ('fitted {name} ...')."
            ),
        );
    }
    out
}

/// How far the proof is, one line a kind of loop.
pub fn proof(kind: &Kind) -> String {
    let (count, proof) = (kind.count, &kind.proof);
    let said = match proof {
        Proof::Cure {
            unseen,
            needed,
            to_go,
        } => {
            let go = match (to_go, needed) {
                (Some(0), Some(n)) => format!("enough for 95 % ({n} needed)"),
                (Some(go), Some(n)) => format!("{go} more clean for 95 % ({n} needed)"),
                _ => "it failed too rarely for loops to prove a cure".into(),
            };
            let unseen = match count.clean {
                0 => String::new(),
                _ => format!("; still there and unseen: {}", chance(*unseen)),
            };
            format!(
                "{} failed of {} before, {} clean since: {go}{unseen}",
                count.failed, count.of, count.clean
            )
        }
        Proof::NeverFailed { rate_below } => format!(
            "{} clean, never failed: fewer than {:.0} % fail, 95 % sure (rule of three)",
            count.of + count.clean,
            (rate_below * 100.0).ceil()
        ),
    };
    hang("", &format!("{}: {said}.", kind.name))
}

/// The prompt of a step.
pub fn prompt(n: Option<&NextView>) -> String {
    answer::prompt(n.and_then(|n| n.ask.as_ref()))
}

/// What can be typed.
pub const HELP: &str = "\
Answer the question ('4.98', 'ok', 'no change'), or type any line of a sheet.
  did ...   what was done or seen instead, as a line of a sheet
  skip      not this step      undo   strikes the last answer
  why       the reasons        more   the whole ranking and other steps
  close     ends the ticket    quit   leaves it; start again to go on
  safety    the cautions in full
";
