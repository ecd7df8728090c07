//! What a session shows: short, 80 columns, no colour, nothing that only the eye could tell.

use super::answer;
use crate::next::Ask;
use crate::report::view::{NextView, RankingView, SuspectView};
use crate::report::words::{chance, minutes};
use crate::soak::{Count, Proof};
use crate::ticket::compare::{Change, Verdict};

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

/// The short ranking; of what was renewed since, it is said so.
pub fn ranking(v: &RankingView, renewed: &[String]) -> String {
    let ticket = v
        .ticket
        .as_ref()
        .map(|t| format!("ticket {t}, "))
        .unwrap_or_default();
    let mut out = format!("\n{ticket}board {}, run {}\n", v.board, v.run);
    if let Some(stop) = &v.stop {
        out += "SWITCH OFF\n";
        out += &hang("  ", &format!("{}; {}.", stop.reason, stop.remedy));
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
        let which = if renewed.contains(&s.unit) {
            " (the old one, renewed since)"
        } else {
            ""
        };
        let text = format!(
            "{}{which}, {}: {}{mode}",
            s.unit,
            chance(s.probability),
            s.role
        );
        out += &hang(&format!("  {}  ", i + 1), &text);
    }
    if let Some(learned) = &v.learned {
        out += &hang("     ", learned);
    }
    out
}

/// The proposed step, with its cautions.
pub fn step(n: &NextView) -> String {
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
        out += &hang("  ", &format!("Careful: {hazard}"));
    }
    out
}

/// What the last remedy changed.
pub fn change(c: &Change) -> String {
    let mut out = hang("", &format!("Before and after: {}", c.sentence()));
    if c.verdict == Verdict::NeverWasTheFault {
        out += &hang(
            "",
            "Put the old part back, or say where the new one stays ('fitted ...').",
        );
    }
    out
}

/// How far the proof is, one line a kind of loop.
pub fn proof(kind: &str, count: Count, proof: &Proof) -> String {
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
            "{} clean, never failed: the failing rate is below {:.0} % (rule of three)",
            count.of + count.clean,
            (rate_below * 100.0).ceil()
        ),
    };
    hang("", &format!("{kind}: {said}."))
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
";
