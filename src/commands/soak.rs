//! `soak`: what clean loops or hours prove.

use super::{BAD, Console, DONE};
use crate::cli::SoakArgs;
use crate::soak::{Count, Proof, hourly_rate_below, hours_after, prove, unseen_hours};

/// Runs `soak`.
///
/// # Errors
/// Only of writing.
pub fn soak(args: &SoakArgs, console: &mut Console) -> std::io::Result<u8> {
    if let Some(message) = wrong(args) {
        writeln!(console.err, "whichsocket: {message}")?;
        return Ok(BAD);
    }
    let mut parts = Vec::new();
    if let Some(hours) = args.hours {
        parts.push(by_time(args, hours));
    }
    for (kind, count) in kinds(args) {
        parts.push(by_loops(kind, count, args));
    }
    if args.json {
        let parts: Vec<_> = parts.into_iter().map(|p| p.json).collect();
        let all = serde_json::json!({ "schema": 1, "confidence": args.confidence, "parts": parts });
        writeln!(console.out, "{all}")?;
    } else {
        let said = parts.into_iter().map(|p| p.said);
        for text in said.chain(formulas(args).into_iter().map(String::from)) {
            let options = textwrap::Options::new(80).subsequent_indent("  ");
            writeln!(console.out, "{}", textwrap::fill(&text, options))?;
        }
    }
    Ok(DONE)
}

/// What cannot be: more failures than loops, a rate that is none, nothing at all.
fn wrong(args: &SoakArgs) -> Option<String> {
    let between = |x: f64| x > 0.0 && x < 1.0;
    if !between(args.confidence) {
        return Some("--confidence is a number between 0 and 1, such as 0.95".into());
    }
    if args.rate.is_some_and(|p| !(between(p) || p == 1.0)) {
        return Some("--rate is a number above 0 and at most 1, such as 0.2".into());
    }
    if (args.hours.is_none() && args.failed > args.of) || args.cold_failed > args.cold_of {
        return Some(
            "more loops failed than were run: give the loops run before the repair with --of"
                .into(),
        );
    }
    if args.hours.is_some_and(|h| !h.is_finite() || h <= 0.0)
        || !(args.clean_hours >= 0.0 && args.clean_hours.is_finite())
    {
        return Some("hours are numbers above 0".into());
    }
    if args.hours.is_none() && args.clean_hours > 0.0 {
        return Some("--clean-hours goes with --hours: the hours run before the repair".into());
    }
    if args.hours.is_none() && kinds(args).is_empty() {
        return Some("say what was seen, as in 'soak --failed 1 --of 5 --clean 6'".into());
    }
    None
}

/// The kinds of loops that anything was said of.
fn kinds(args: &SoakArgs) -> Vec<(&'static str, Count)> {
    let warm = Count {
        failed: args.failed,
        of: args.of,
        clean: args.clean,
    };
    let cold = Count {
        failed: args.cold_failed,
        of: args.cold_of,
        clean: args.cold_clean,
    };
    let any_cold = cold != Count::default();
    let any_warm = args.hours.is_none() && (warm != Count::default() || args.rate.is_some());
    let name = if any_cold { "Warm loops" } else { "Loops" };
    let warm = any_warm.then_some((name, warm));
    warm.into_iter()
        .chain(any_cold.then_some(("Cold starts", cold)))
        .collect()
}

struct Part {
    said: String,
    json: serde_json::Value,
}

fn percent(p: f64) -> String {
    match p * 100.0 {
        x if x >= 99.5 => "more than 99 %".into(),
        x if x >= 10.0 => format!("{x:.0} %"),
        x if x >= 1.0 => format!("{x:.1} %"),
        x => format!("{x:.2} %"),
    }
}

/// A confidence as it was asked for: 95 %, 99.9 %.
fn asked(c: f64) -> String {
    let text = format!("{:.6}", c * 100.0);
    format!("{} %", text.trim_end_matches('0').trim_end_matches('.'))
}

/// The formulas behind what was said, with their sources.
fn formulas(args: &SoakArgs) -> Vec<&'static str> {
    let mut out = Vec::new();
    let never = kinds(args).iter().any(|(_, c)| c.failed == 0) && args.rate.is_none();
    if args.hours.is_some() {
        out.push(
            "Formula, by time: k failures in T hours, all rates equally probable beforehand; unseen for t hours: \
             (T / (T + t))^(k + 1) (Gamma-Poisson, Bayes' rule).",
        );
    } else if args.rate.is_some() {
        out.push("Formula, known rate p: unseen for n loops: (1 - p)^n.");
    } else if kinds(args).iter().any(|(_, c)| c.failed > 0) {
        out.push(
            "Formula: k failures in m loops, all rates equally probable beforehand; unseen for n loops: the product of \
             (m - k + 1 + i) / (m + 2 + i) for i from 0 to n - 1 (beta-binomial, Bayes' rule).",
        );
    }
    if (args.hours.is_none() && never) || (args.hours.is_some() && args.failed == 0) {
        out.push(
            "Rule of three: Hanley, Lippman-Hand, If nothing goes wrong, is everything all right?, JAMA 1983; 249:1743.",
        );
    }
    out
}

fn by_loops(kind: &str, count: Count, args: &SoakArgs) -> Part {
    let c = asked(args.confidence);
    let proof = prove(count, args.rate, args.confidence);
    let loops = if kind == "Cold starts" {
        "cold starts"
    } else {
        "loops"
    };
    let before = match args.rate {
        Some(p) => format!("failing rate {p} a loop, known"),
        None => format!("{} of {} failed before", count.failed, count.of),
    };
    let (said, json) = match proof {
        Proof::Cure {
            unseen,
            needed,
            to_go,
        } => {
            let need = match (needed, to_go) {
                (Some(n), Some(0)) => format!("Enough: {n} needed for {c}."),
                (Some(n), Some(go)) => format!("{go} more for {c} ({n} in all)."),
                _ => "It failed too rarely for loops to prove a cure.".into(),
            };
            (
                format!(
                    "{kind}: {before}, {} clean since. A fault that is still there would stay unseen so long with a probability \
                     of {}. {need}",
                    count.clean,
                    percent(unseen)
                ),
                serde_json::json!({ "unseen": unseen, "needed": needed, "to_go": to_go, "proved": to_go == Some(0) }),
            )
        }
        Proof::NeverFailed { rate_below } => (
            format!(
                "{kind}: never failed in {} {loops}. Nothing to be cured of was seen, so nothing can be proved: make it fail first \
                 (cold, warm, in its case), and count those loops with --of. Fewer than {} fail ({c} sure; rule of three: about 3 \
                 in {}).",
                count.of + count.clean,
                percent(rate_below),
                count.of + count.clean
            ),
            serde_json::json!({ "rate_below": rate_below }),
        ),
    };
    let mut whole = serde_json::json!({
        "kind": kind.to_lowercase(), "failed": count.failed, "of": count.of, "clean": count.clean, "rate": args.rate,
    });
    merge(&mut whole, json);
    Part { said, json: whole }
}

fn by_time(args: &SoakArgs, hours: f64) -> Part {
    let c = asked(args.confidence);
    let (failed, clean) = (args.failed, args.clean_hours);
    let mut json = serde_json::json!({ "kind": "hours", "failed": failed, "hours": hours, "clean_hours": clean });
    if failed == 0 {
        let below = hourly_rate_below(hours + clean, args.confidence);
        merge(
            &mut json,
            serde_json::json!({ "failures_an_hour_below": below }),
        );
        let said = format!(
            "Hours: never failed in {:.1} hours. It fails less often than once in {:.1} hours ({c} sure; rule of three).",
            hours + clean,
            1.0 / below
        );
        return Part { said, json };
    }
    let unseen = unseen_hours(failed, hours, clean);
    let needed = hours_after(failed, hours, args.confidence).unwrap_or(f64::INFINITY);
    let to_go = (needed - clean).max(0.0);
    merge(
        &mut json,
        serde_json::json!({ "unseen": unseen, "needed": needed, "to_go": to_go, "proved": to_go == 0.0 }),
    );
    let need = if to_go == 0.0 {
        format!("Enough: {needed:.1} hours needed for {c}.")
    } else {
        format!("{to_go:.1} more hours for {c} ({needed:.1} in all).")
    };
    let said = format!(
        "Hours: failed {} in {hours:.1} hours before, {clean:.1} clean since. A fault that is still there would stay unseen so \
         long with a probability of {}. {need}",
        if failed == 1 {
            "once".to_string()
        } else {
            format!("{failed} times")
        },
        percent(unseen)
    );
    Part { said, json }
}

fn merge(into: &mut serde_json::Value, more: serde_json::Value) {
    if let (Some(into), serde_json::Value::Object(more)) = (into.as_object_mut(), more) {
        into.extend(more);
    }
}
