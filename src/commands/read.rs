//! `read`: what was understood, line by line.

use super::desk::{self, Desk};
use super::{BAD, Console, DONE, NOT_UNDERSTOOD, input};
use crate::cli::ReadArgs;
use crate::diag;
use crate::report::build::{corrections, not_understood};
use crate::report::view::{CorrectionView, NotUnderstoodView, SCHEMA};
use crate::sheet::{RunSheet, print_statement, profile};
use schemars::JsonSchema;
use serde::Serialize;
use std::io::BufRead;

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
    /// Lines for the profile of the cartridge, one for each line that was not understood on a sheet that names one.
    pub profile_lines: Vec<String>,
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
    /// Off a photograph: all that it may say, when that is not certain.
    pub alternatives: Vec<String>,
    /// Off a photograph: the first of them counts in the ranking, for less, until somebody says what is right.
    pub provisional: bool,
}

fn view(sheet: &RunSheet) -> ReadView {
    let text = |l: &crate::sheet::Line| sheet.text[l.span.start..l.span.end].trim().to_string();
    let lines = sheet.lines.iter().map(|l| ReadLine {
        line: l.number,
        text: text(l),
        says: l
            .statements
            .iter()
            .map(|s| print_statement(&s.value))
            .collect(),
        alternatives: l.alternatives.clone(),
        provisional: l.provisional.is_some(),
    });
    let sheets = std::slice::from_ref(sheet);
    ReadView {
        schema: SCHEMA,
        sheet: sheet.name.clone(),
        lines: lines.collect(),
        corrections: corrections(sheets),
        not_understood: not_understood(sheets),
        profile_lines: profile_lines(sheet),
    }
}

/// What could be added to the profile that a sheet names: a line for each that was not understood as a whole.
fn profile_lines(sheet: &RunSheet) -> Vec<String> {
    let named = sheet
        .statements()
        .any(|s| matches!(s.value, crate::sheet::Statement::Cartridge(_)));
    let mut out: Vec<String> = Vec::new();
    let lost = sheet
        .lines
        .iter()
        .filter(|l| named && l.statements.is_empty() && l.alternatives.is_empty());
    for line in lost {
        let text = profile::suggestion(&sheet.text[line.span.start..line.span.end]);
        if !out.contains(&text) {
            out.push(text);
        }
    }
    out
}

/// Runs `read`.
///
/// # Errors
/// Only of writing.
pub fn read(args: &ReadArgs, console: &mut Console) -> std::io::Result<u8> {
    let refuse = |console: &mut Console, message: &str| -> std::io::Result<u8> {
        writeln!(console.err, "whichsocket: {message}")?;
        Ok(BAD)
    };
    if args.sheets.len() > 1 && !args.own.photo {
        return refuse(
            console,
            "one sheet at a time; with --photo, several recognitions of one photograph",
        );
    }
    let mut sheet = match opened(args) {
        Ok(sheet) => sheet,
        Err(message) => return refuse(console, &message),
    };
    if args.ask && ask(args, &sheet, console)? {
        sheet = match opened(args) {
            Ok(sheet) => sheet,
            Err(message) => return refuse(console, &message),
        };
    }
    let v = view(&sheet);
    if args.json {
        writeln!(console.out, "{}", serde_json::to_string(&v)?)?;
    } else {
        print(&v, console)?;
        if !console.quiet {
            let told = diag::render(&sheet.diags, &sheet.name, &sheet.text, console.colour);
            write!(console.err, "{told}")?;
        }
    }
    let strict = args.strict && !v.not_understood.is_empty();
    Ok(if strict { NOT_UNDERSTOOD } else { DONE })
}

fn opened(args: &ReadArgs) -> Result<RunSheet, String> {
    let desk = Desk::open(args.maps.as_deref(), args.own.words.as_deref())?;
    input::sheet_at(&args.sheets, &desk.bench(args.own.photo, args.own.lines))
}

fn print(v: &ReadView, console: &mut Console) -> std::io::Result<()> {
    for line in &v.lines {
        writeln!(console.out, "{:>4}  {}", line.line, line.text)?;
        if !line.says.is_empty() || line.alternatives.is_empty() {
            let says = if line.says.is_empty() {
                "?".to_string()
            } else {
                line.says.join("; ")
            };
            writeln!(console.out, "        = {says}")?;
        }
        if !line.alternatives.is_empty() {
            writeln!(console.out, "        ? {}", line.alternatives.join(" / "))?;
        }
        if line.provisional {
            let first = &line.alternatives[0];
            writeln!(
                console.out,
                "        ~ not certain: counts as `{first}`, for less, until you type what is right"
            )?;
        }
    }
    if !v.profile_lines.is_empty() {
        writeln!(
            console.out,
            "\nFor the profile of the cartridge, under `lines:`, with the line of a sheet behind the colon:"
        )?;
        for line in &v.profile_lines {
            writeln!(console.out, "{line}")?;
        }
    }
    Ok(())
}

/// Asks for the position of each name that is not known, once, and keeps the answers. Says whether there were any.
fn ask(args: &ReadArgs, sheet: &RunSheet, console: &mut Console) -> std::io::Result<bool> {
    let Some(file) = args.own.words.as_deref() else {
        return Ok(false);
    };
    let mut asked: Vec<String> = Vec::new();
    let mut kept = false;
    let unknown = sheet
        .diags
        .iter()
        .filter(|d| d.code == diag::code::UNKNOWN_NAME);
    for span in unknown.filter_map(|d| d.label.as_ref()).map(|l| l.0) {
        let phrase = sheet.text[span.start..span.end].to_lowercase();
        if asked.contains(&phrase) {
            continue;
        }
        writeln!(
            console.err,
            "{phrase}: which position is that (as U17; nothing to leave it)?"
        )?;
        asked.push(phrase.clone());
        let mut answer = String::new();
        if std::io::stdin().lock().read_line(&mut answer)? == 0 {
            break;
        }
        if answer.trim().is_empty() {
            continue;
        }
        match desk::remember(file, &phrase, answer.trim()) {
            Ok(()) => kept = true,
            Err(message) => writeln!(console.err, "whichsocket: {message}")?,
        }
    }
    Ok(kept)
}
