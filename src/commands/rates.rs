//! `rates`, and where the other commands take a bench's own rates from.

use super::{BAD, Console, DONE};
use crate::cli::{LearnedArgs, RatesArgs};
use crate::learn::Learned;
use crate::learn::tickets::{Counter, PassedOver};
use crate::shipped::Library;

/// The bench's own rates that the options name.
///
/// # Errors
/// One message: not there, not readable, not in the form.
pub fn learned(args: &LearnedArgs, library: &Library) -> Result<Option<Learned>, String> {
    if let Some(file) = &args.rates {
        let name = file.display().to_string();
        let text = std::fs::read_to_string(file).map_err(|e| format!("{name}: {e}"))?;
        return Learned::import(&name, &text)
            .map(Some)
            .map_err(|e| e.to_string());
    }
    let Some(dir) = &args.tickets else {
        return Ok(None);
    };
    let mut counter = Counter::new(library);
    counter.folder(dir).map_err(|e| e.to_string())?;
    Ok(Some(counter.learned))
}

/// Runs `rates`.
///
/// # Errors
/// Only of writing.
pub fn rates(args: &RatesArgs, console: &mut Console) -> std::io::Result<u8> {
    let library = match Library::open(args.maps.as_deref()) {
        Ok(library) => library,
        Err(e) => {
            writeln!(console.err, "whichsocket: {e}")?;
            return Ok(BAD);
        }
    };
    let mut counter = Counter::new(&library);
    if let Err(e) = counter.folder(&args.dir) {
        writeln!(console.err, "whichsocket: {e}")?;
        return Ok(BAD);
    }
    let Counter {
        learned,
        passed_over,
        counted,
        ..
    } = counter;
    if args.json {
        writeln!(console.out, "{}", json(&learned, &passed_over, &counted))?;
    } else {
        table(&learned, console)?;
        for name in &counted {
            writeln!(console.out, "Counted: {name}")?;
        }
        for p in &passed_over {
            writeln!(console.out, "Not counted: {}: {}", p.name, p.why)?;
        }
    }
    let Some(file) = &args.export else {
        return Ok(DONE);
    };
    let written = learned
        .export()
        .map_err(|e| e.to_string())
        .and_then(|text| std::fs::write(file, text).map_err(|e| e.to_string()));
    match written {
        Ok(()) => Ok(DONE),
        Err(e) => {
            writeln!(console.err, "whichsocket: {}: {e}", file.display())?;
            Ok(BAD)
        }
    }
}

fn json(learned: &Learned, passed_over: &[PassedOver], counted: &[String]) -> serde_json::Value {
    let families: Vec<_> = learned
        .families
        .iter()
        .map(|(family, t)| {
            serde_json::json!({
                "family": family, "failed": t.failed, "expected": t.expected, "factor": t.factor(learned.strength),
            })
        })
        .collect();
    let passed: Vec<_> = passed_over
        .iter()
        .map(|p| serde_json::json!({ "ticket": p.name, "why": p.why }))
        .collect();
    serde_json::json!({
        "schema": 1, "tickets": learned.tickets, "strength": learned.strength, "families": families,
        "counted": counted, "not_counted": passed,
    })
}

/// Families by how far their rates moved, the farthest first; those that hardly moved are counted.
fn table(learned: &Learned, console: &mut Console) -> std::io::Result<()> {
    const MOVED: f64 = 0.05;
    let tickets = if learned.tickets == 1 {
        "1 ticket".into()
    } else {
        format!("{} tickets", learned.tickets)
    };
    writeln!(
        console.out,
        "{tickets} counted. A family is all parts of one kind; the handbook's rate of each weighs as much as {} failures.",
        learned.strength
    )?;
    let mut rows: Vec<(&String, u32, f64, f64)> = learned
        .families
        .iter()
        .map(|(f, t)| (f, t.failed, t.expected, t.factor(learned.strength)))
        .collect();
    rows.sort_by(|a, b| b.3.ln().abs().total_cmp(&a.3.ln().abs()).then(a.0.cmp(b.0)));
    let (moved, still): (Vec<_>, Vec<_>) = rows
        .into_iter()
        .partition(|r| r.1 > 0 || r.3.ln().abs() >= MOVED);
    if !moved.is_empty() {
        writeln!(
            console.out,
            "{:<28} {:>6} {:>9} {:>7}",
            "family", "failed", "expected", "x rate"
        )?;
    }
    for (family, failed, expected, factor) in &moved {
        writeln!(
            console.out,
            "{family:<28} {failed:>6} {expected:>9.2} {factor:>7.2}"
        )?;
    }
    if !still.is_empty() {
        writeln!(
            console.out,
            "{} other families: none failed, rates within 5 % of the handbook's",
            still.len()
        )?;
    }
    if !moved.is_empty() {
        writeln!(
            console.out,
            "x rate: times the handbook's rate. Reset: leave out --tickets, or delete the exported file."
        )?;
    }
    Ok(())
}
