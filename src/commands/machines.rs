//! Where `rank` gets its machines from: files, folders, standard input, or a stream of JSON lines.

use super::input;
use crate::sheet::{Bench, RunSheet, parse_at, read_limited};
use serde::Deserialize;
use std::collections::HashMap;
use std::io::BufRead;
use std::path::{Path, PathBuf};

/// Endings of the files that are taken from a folder.
const ENDINGS: [&str; 2] = ["run", "ticket"];

/// One machine that is still to be read.
#[derive(Debug, Clone)]
pub enum Source {
    /// The sheets of its runs, in order.
    Files(Vec<PathBuf>),
    /// A line of a stream: what messages call it, and its text.
    Line(String, String),
}

/// A machine as a line of JSON.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct JsonMachine {
    /// What messages call it.
    name: Option<String>,
    /// Its sheet.
    sheet: Option<String>,
    /// The sheets of its runs, in order.
    sheets: Option<Vec<String>>,
}

impl Source {
    /// Names for messages.
    pub fn names(&self) -> Vec<String> {
        match self {
            Source::Files(paths) => paths.iter().map(|p| p.display().to_string()).collect(),
            Source::Line(name, _) => vec![name.clone()],
        }
    }

    /// Reads and parses the sheets.
    ///
    /// # Errors
    /// One clear message.
    pub fn read(&self, bench: &Bench) -> Result<Vec<RunSheet>, String> {
        match self {
            Source::Files(paths) => paths
                .iter()
                .map(|p| input::sheet_at(std::slice::from_ref(p), bench))
                .collect(),
            Source::Line(name, text) => from_json(name, text, bench),
        }
    }
}

fn from_json(name: &str, text: &str, bench: &Bench) -> Result<Vec<RunSheet>, String> {
    let machine: JsonMachine = serde_json::from_str(text).map_err(|e| {
        format!("{name}: not a machine ({e}); expected {{\"sheet\": \"board dunlin-64\\n...\"}}")
    })?;
    let name = machine.name.unwrap_or_else(|| name.to_string());
    let sheets = match (machine.sheet, machine.sheets) {
        (Some(one), None) => vec![one],
        (None, Some(runs)) if !runs.is_empty() => runs,
        _ => return Err(format!("{name}: expected either \"sheet\" or \"sheets\"")),
    };
    let read =
        |text: &String| parse_at(&name, text.as_bytes(), bench).map_err(|e| format!("{name}: {e}"));
    sheets.iter().map(read).collect()
}

/// The files behind the arguments: those of a folder by name, others as they are. What cannot be looked into is given back
/// with its message.
pub fn files(arguments: &[PathBuf]) -> Vec<Result<PathBuf, (String, String)>> {
    let mut out = Vec::new();
    for path in arguments {
        if !path.is_dir() {
            out.push(Ok(path.clone()));
            continue;
        }
        match in_folder(path) {
            Ok(list) if list.is_empty() => out.push(Err(nothing_in(path))),
            Ok(list) => out.extend(list.into_iter().map(Ok)),
            Err(e) => out.push(Err((
                path.display().to_string(),
                format!("{}: {e}", path.display()),
            ))),
        }
    }
    out
}

fn nothing_in(path: &Path) -> (String, String) {
    let name = path.display().to_string();
    let message = format!(
        "{name}: no sheets in this folder (files ending in .{})",
        ENDINGS.join(" or .")
    );
    (name, message)
}

fn in_folder(path: &Path) -> std::io::Result<Vec<PathBuf>> {
    let mut list = Vec::new();
    for entry in std::fs::read_dir(path)? {
        let path = entry?.path();
        let ending = path.extension().and_then(|e| e.to_str());
        if ending.is_some_and(|e| ENDINGS.contains(&e)) {
            list.push(path);
        }
    }
    list.sort();
    Ok(list)
}

/// Files by machine: those with the same ticket are the runs of one, in order; `ticket_of` says which a file has.
pub fn by_ticket(files: Vec<PathBuf>, ticket_of: impl Fn(&Path) -> Option<String>) -> Vec<Source> {
    let mut out: Vec<Vec<PathBuf>> = Vec::new();
    let mut known: HashMap<String, usize> = HashMap::new();
    for path in files {
        let ticket = ticket_of(&path);
        let at = ticket.as_ref().and_then(|t| known.get(t).copied());
        match at {
            Some(at) => out[at].push(path),
            None => {
                if let Some(ticket) = ticket {
                    known.insert(ticket, out.len());
                }
                out.push(vec![path]);
            }
        }
    }
    out.into_iter().map(Source::Files).collect()
}

/// Whether a file is a stream of JSON lines, by its name.
pub fn is_stream(path: &Path) -> bool {
    let ending = path.extension().and_then(|e| e.to_str());
    ending.is_some_and(|e| e.eq_ignore_ascii_case("jsonl"))
}

/// The machines of a file of JSON lines.
///
/// # Errors
/// One clear message.
pub fn stream_of(
    path: &Path,
) -> Result<impl Iterator<Item = Result<Source, (String, String)>>, String> {
    let name = path.display().to_string();
    let file = std::fs::File::open(path).map_err(|e| format!("{name}: {}", input::plain(&e)))?;
    Ok(json_lines(std::io::BufReader::new(file), name + " "))
}

/// Lines of JSON, blank ones left out; a line over the limit of a sheet is an error in its place. Messages call them `line` with
/// their number, and `of` before that.
pub fn json_lines(
    mut reader: impl BufRead,
    of: String,
) -> impl Iterator<Item = Result<Source, (String, String)>> {
    let mut number = 0;
    std::iter::from_fn(move || {
        loop {
            let mut line = Vec::new();
            number += 1;
            let name = format!("{of}line {number}");
            match std::io::Read::take(&mut reader, MOST_LINE).read_until(b'\n', &mut line) {
                Ok(0) => return None,
                Ok(_) if line.len() as u64 == MOST_LINE && line.last() != Some(&b'\n') => {
                    // The rest of it is of no use either.
                    let _ = skip_line(&mut reader);
                    let message = format!("{name}: longer than 16 MB");
                    return Some(Err((name, message)));
                }
                Ok(_) if line.iter().all(u8::is_ascii_whitespace) => continue,
                Ok(_) => {
                    return Some(match String::from_utf8(line) {
                        Ok(text) => Ok(Source::Line(name, text)),
                        Err(_) => Err((name.clone(), format!("{name}: not UTF-8"))),
                    });
                }
                Err(e) => return Some(Err((name.clone(), format!("{name}: {e}")))),
            }
        }
    })
}

/// A line of JSON may need two bytes for one of a sheet.
const MOST_LINE: u64 = 16 << 20;

fn skip_line(reader: &mut impl BufRead) -> std::io::Result<()> {
    loop {
        let buffer = reader.fill_buf()?;
        if buffer.is_empty() {
            return Ok(());
        }
        let (used, done) = match buffer.iter().position(|&b| b == b'\n') {
            Some(at) => (at + 1, true),
            None => (buffer.len(), false),
        };
        reader.consume(used);
        if done {
            return Ok(());
        }
    }
}

/// Standard input: a stream of JSON lines when it begins with `{`, else one sheet.
pub enum Stdin<R> {
    /// Lines of JSON.
    Lines(R),
    /// A sheet.
    Sheet(Box<RunSheet>),
}

/// Looks what standard input holds.
///
/// # Errors
/// One clear message.
pub fn stdin<R: BufRead>(mut reader: R, bench: &Bench) -> Result<Stdin<R>, String> {
    let first = reader
        .fill_buf()
        .map_err(|e| format!("standard input: {e}"))?;
    if first.first() == Some(&b'{') {
        return Ok(Stdin::Lines(reader));
    }
    let bytes = read_limited(reader).map_err(|e| format!("standard input: {e}"))?;
    let sheet = parse_at("stdin", &bytes, bench).map_err(|e| format!("standard input: {e}"))?;
    Ok(Stdin::Sheet(Box::new(sheet)))
}
