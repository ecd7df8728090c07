//! `cap`: keep or replace, for a list of capacitors.

use std::io::Read;

use super::{BAD, Console, DONE, NOT_UNDERSTOOD};
use crate::caps::{CAUTION, Judged, Verdict, judge, parse};
use crate::cli::CapArgs;

/// A list longer than this is none, bytes.
const LONGEST: u64 = 1_000_000;

/// Runs `cap`.
///
/// # Errors
/// Only of writing.
pub fn cap(args: &CapArgs, console: &mut Console) -> std::io::Result<u8> {
    let text = match text(args) {
        Ok(text) => text,
        Err(message) => {
            writeln!(console.err, "whichsocket: {message}")?;
            return Ok(BAD);
        }
    };
    let (mut all, mut faults) = (Vec::new(), Vec::new());
    let lines = text
        .lines()
        .enumerate()
        .map(|(i, l)| (i + 1, l.split('#').next().unwrap_or("").trim()));
    for (number, line) in lines.filter(|(_, l)| !l.is_empty()) {
        match parse(line) {
            Ok((name, reading)) => all.push((number, name, line, judge(&reading, None))),
            Err(fault) => faults.push((number, line, fault)),
        }
    }
    for (number, line, fault) in &faults {
        writeln!(
            console.err,
            "line {number}: {line}\n  {}\n  {}",
            fault.what, fault.hint
        )?;
    }
    if args.json {
        let one = |(number, name, line, judged): &(usize, Option<String>, &str, Judged)| serde_json::json!({ "line": number, "name": name, "text": line, "judged": judged });
        let bad: Vec<_> = faults
            .iter()
            .map(|(n, l, f)| serde_json::json!({ "line": n, "text": l, "what": f.what, "hint": f.hint }))
            .collect();
        let list: Vec<_> = all.iter().map(one).collect();
        let whole = serde_json::json!({ "schema": 1, "capacitors": list, "not_understood": bad, "caution": CAUTION });
        writeln!(console.out, "{whole}")?;
    } else {
        for (number, name, line, judged) in &all {
            said(
                console,
                name.as_deref().unwrap_or(&format!("line {number}")),
                line,
                judged,
            )?;
        }
        if !all.is_empty() {
            writeln!(console.out, "{}", textwrap::fill(CAUTION, 80))?;
        }
    }
    Ok(match (all.is_empty(), faults.is_empty()) {
        (true, _) => BAD,
        (false, false) if args.strict => NOT_UNDERSTOOD,
        _ => DONE,
    })
}

fn text(args: &CapArgs) -> Result<String, String> {
    let mut text = String::new();
    let name = args.list.display();
    let read = if args.list.as_os_str() == "-" {
        std::io::stdin().take(LONGEST + 1).read_to_string(&mut text)
    } else {
        std::fs::File::open(&args.list).and_then(|f| f.take(LONGEST + 1).read_to_string(&mut text))
    };
    match read {
        Err(e) => Err(format!("{name}: {e}")),
        Ok(n) if n as u64 > LONGEST => {
            Err(format!("{name}: longer than 1 MB, no list of capacitors"))
        }
        Ok(_) if text.trim().is_empty() => Err(format!(
            "{name}: nothing in it; a line is {}",
            crate::caps::entry::EXAMPLE
        )),
        Ok(_) => Ok(text),
    }
}

fn said(console: &mut Console, name: &str, line: &str, judged: &Judged) -> std::io::Result<()> {
    let word = match judged.verdict {
        Verdict::Keep => "keep",
        Verdict::Worn => "keep, worn",
        Verdict::Replace => "REPLACE",
        Verdict::Measure => "measure",
    };
    writeln!(console.out, "{name}  {word}    ({line})")?;
    let options = textwrap::Options::new(80)
        .initial_indent("    ")
        .subsequent_indent("      ");
    for text in judged.reasons.iter().chain(&judged.remarks) {
        writeln!(console.out, "{}", textwrap::fill(text, &options))?;
    }
    if let Some(r) = &judged.replacement {
        writeln!(
            console.out,
            "{}",
            textwrap::fill(&format!("fit {r}"), &options)
        )?;
    }
    Ok(())
}
