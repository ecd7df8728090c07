//! `read`: what was understood, line by line.

use super::{BAD, Console, DONE, NOT_UNDERSTOOD, input};
use crate::cli::ReadArgs;
use crate::diag;
use crate::report::build::{corrections, not_understood};
use crate::report::view::{CorrectionView, NotUnderstoodView, SCHEMA};
use crate::sheet::{RunSheet, print_statement};
use schemars::JsonSchema;
use serde::Serialize;

/// What `read --json` prints.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct ReadView {
    /// 1.
    pub schema: u32,
    /// File.
    pub sheet: String,
    /// Lines in order.
    pub lines: Vec<ReadLine>,
    /// Words that were read as others.
    pub corrections: Vec<CorrectionView>,
    /// Lines that were not understood.
    pub not_understood: Vec<NotUnderstoodView>,
}

/// A line as understood.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct ReadLine {
    /// Line number.
    pub line: usize,
    /// As typed.
    pub text: String,
    /// What it says, each statement in canonical form.
    pub says: Vec<String>,
}

fn view(sheet: &RunSheet) -> ReadView {
    let lines = sheet.lines.iter().map(|l| ReadLine {
        line: l.number,
        text: sheet.text[l.span.start..l.span.end].trim().to_string(),
        says: l
            .statements
            .iter()
            .map(|s| print_statement(&s.value))
            .collect(),
    });
    let sheets = std::slice::from_ref(sheet);
    ReadView {
        schema: SCHEMA,
        sheet: sheet.name.clone(),
        lines: lines.collect(),
        corrections: corrections(sheets),
        not_understood: not_understood(sheets),
    }
}

/// Runs `read`.
///
/// # Errors
/// Only of writing.
pub fn read(args: &ReadArgs, console: &mut Console) -> std::io::Result<u8> {
    let sheet = match input::sheet(&args.sheet) {
        Ok(sheet) => sheet,
        Err(message) => {
            writeln!(console.err, "whichsocket: {message}")?;
            return Ok(BAD);
        }
    };
    let v = view(&sheet);
    if args.json {
        writeln!(console.out, "{}", serde_json::to_string(&v)?)?;
    } else {
        for line in &v.lines {
            let says = if line.says.is_empty() {
                "?".to_string()
            } else {
                line.says.join("; ")
            };
            writeln!(console.out, "{:>4}  {}", line.line, line.text)?;
            writeln!(console.out, "        = {says}")?;
        }
        let told = diag::render(&sheet.diags, &sheet.name, &sheet.text, console.colour);
        write!(console.err, "{told}")?;
    }
    let strict = args.strict && !v.not_understood.is_empty();
    Ok(if strict { NOT_UNDERSTOOD } else { DONE })
}
