//! `board check`.

use super::{BAD, Console, DONE};
use crate::boardcheck::coverage::Coverage;
use crate::boardcheck::loops::Loop;
use crate::boardcheck::testability::Figures;
use crate::boardcheck::{BoardFigures, Checked, MapText, check as check_texts};
use crate::boardinfo::page::Page;
use crate::cli::CheckArgs;
use crate::commands::NOT_UNDERSTOOD;
use crate::diag::{Severity, render};
use crate::faultmap::load;
use crate::shipped;
use schemars::JsonSchema;
use serde::Serialize;
use std::path::Path;

/// What `board check --json` prints.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct CheckView {
    /// 1.
    pub schema: u32,
    /// Mistakes and warnings.
    pub findings: Vec<FindingView>,
    /// Boards without mistakes, with their figures.
    pub boards: Vec<BoardView>,
}

/// A mistake or warning.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct FindingView {
    /// File.
    pub file: String,
    /// Line, from 1; 0 when it has no place.
    pub line: usize,
    /// Column, from 1.
    pub column: usize,
    /// `error` or `warning`.
    pub severity: String,
    /// Stable code.
    pub code: String,
    /// What is wrong.
    pub message: String,
    /// What to type instead.
    pub help: Option<String>,
}

/// Figures of a board.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct BoardView {
    /// Identifier.
    pub board: String,
    /// File.
    pub file: String,
    /// What its checks see.
    pub coverage: Coverage,
    /// Loops of needs: legal, for information.
    pub loops: Vec<Loop>,
}

/// Checks maps and prints what was found.
pub(super) fn check(args: &CheckArgs, console: &mut Console) -> std::io::Result<u8> {
    let texts = match texts(args) {
        Ok(texts) => texts,
        Err(message) => {
            writeln!(console.err, "whichsocket: {message}")?;
            return Ok(BAD);
        }
    };
    let base = match shipped::maps() {
        Ok(maps) => maps.families,
        Err(e) => {
            writeln!(console.err, "whichsocket: {e}")?;
            return Ok(BAD);
        }
    };
    let checked = check_texts(&texts, &base);
    if args.json {
        let v = view(&checked, &texts);
        writeln!(console.out, "{}", serde_json::to_string(&v)?)?;
    } else {
        write!(console.out, "{}", text(&checked, &texts, console.colour))?;
    }
    let has = |s: Severity| checked.findings.iter().any(|f| f.diag.severity == s);
    Ok(match (has(Severity::Error), has(Severity::Warning)) {
        (true, _) => BAD,
        (false, true) if args.strict => NOT_UNDERSTOOD,
        _ => DONE,
    })
}

/// The texts to check: files, a folder, or the shipped maps.
fn texts(args: &CheckArgs) -> Result<Vec<MapText>, String> {
    let asked = |(file, text): (String, String)| MapText {
        file,
        text,
        asked: true,
    };
    if let Some(dir) = &args.maps {
        return Ok(folder(dir)?.into_iter().map(asked).collect());
    }
    if args.files.is_empty() {
        let list = shipped::TEXTS.iter();
        return Ok(list
            .map(|(f, t)| asked((f.to_string(), t.to_string())))
            .collect());
    }
    let mut out = Vec::new();
    for path in &args.files {
        let name = path.display().to_string();
        if path.is_dir() {
            out.extend(folder(path)?.into_iter().map(asked));
            continue;
        }
        let size = std::fs::metadata(path)
            .map_err(|e| format!("{name}: {e}"))?
            .len();
        if size > load::LARGEST_MAP {
            return Err(format!(
                "{name}: larger than {} bytes: this is no map",
                load::LARGEST_MAP
            ));
        }
        let bytes = std::fs::read(path).map_err(|e| format!("{name}: {e}"))?;
        let text =
            String::from_utf8(bytes).map_err(|_| format!("{name}: this is no text in UTF-8"))?;
        out.push(asked((name, text)));
    }
    beside(&args.files, &mut out);
    Ok(out)
}

/// The maps of a folder with their names.
fn folder(dir: &Path) -> Result<Vec<(String, String)>, String> {
    let mut errors = Vec::new();
    let list = load::texts(dir, &mut errors);
    if let Some(e) = errors.first() {
        return Err(format!("{}: {}", e.file, e.message));
    }
    match list.is_empty() {
        true => Err(load::no_maps(dir)),
        false => Ok(list),
    }
}

/// Maps that lie beside the files asked for (`../parts`, `../boards`), which they may use: read, but not asked for.
fn beside(files: &[std::path::PathBuf], out: &mut Vec<MapText>) {
    let folders: std::collections::BTreeSet<&Path> = files
        .iter()
        .filter(|f| {
            f.parent()
                .and_then(Path::file_name)
                .is_some_and(|n| n == "boards" || n == "cartridges")
        })
        .filter_map(|f| f.parent()?.parent())
        .collect();
    for folder in folders {
        let folder = if folder.as_os_str().is_empty() {
            Path::new(".")
        } else {
            folder
        };
        for (file, text) in load::texts(folder, &mut Vec::new()) {
            let same = |m: &MapText| Path::new(&m.file) == Path::new(&file) || m.text == text;
            if !out.iter().any(same) {
                out.push(MapText {
                    file,
                    text,
                    asked: false,
                });
            }
        }
    }
}

/// Line and column of a byte, from 1; columns count characters.
fn line_column(text: &str, at: usize) -> (usize, usize) {
    let before = text.get(..at.min(text.len())).unwrap_or(text);
    let start = before.rfind('\n').map_or(0, |n| n + 1);
    (
        before.matches('\n').count() + 1,
        before[start..].chars().count() + 1,
    )
}

/// The findings as the JSON contract has them.
fn view(checked: &Checked, texts: &[MapText]) -> CheckView {
    let findings = checked.findings.iter().map(|f| {
        let text = &texts[f.file];
        let place = f
            .diag
            .label
            .as_ref()
            .map(|(span, _)| line_column(&text.text, span.start));
        let (line, column) = place.unwrap_or((0, 0));
        FindingView {
            file: text.file.clone(),
            line,
            column,
            severity: format!("{:?}", f.diag.severity).to_lowercase(),
            code: f.diag.code.to_string(),
            message: f.diag.message.clone(),
            help: f.diag.help.clone(),
        }
    });
    let boards = checked.boards.iter().map(|b| BoardView {
        board: b.board.clone(),
        file: texts[b.file].file.clone(),
        coverage: b.coverage.clone(),
        loops: b.loops.clone(),
    });
    CheckView {
        schema: 1,
        findings: findings.collect(),
        boards: boards.collect(),
    }
}

fn text(checked: &Checked, texts: &[MapText], colour: bool) -> String {
    let mut out = String::new();
    for f in &checked.findings {
        let file = &texts[f.file];
        out += &render(
            std::slice::from_ref(&f.diag),
            &file.file,
            &file.text,
            colour,
        );
        out.push('\n');
    }
    let count = |s: Severity| {
        checked
            .findings
            .iter()
            .filter(|f| f.diag.severity == s)
            .count()
    };
    let asked = texts.iter().filter(|t| t.asked).count();
    let counted = |n: usize, what: &str| match n {
        1 => format!("1 {what}"),
        _ => format!("{n} {what}s"),
    };
    out += &format!(
        "{}: {}, {}\n",
        counted(asked, "map"),
        counted(count(Severity::Error), "mistake"),
        counted(count(Severity::Warning), "warning")
    );
    for b in &checked.boards {
        out.push('\n');
        out += &figures(b);
    }
    out
}

fn figures(b: &BoardFigures) -> String {
    let c = &b.coverage;
    let mut p = Page::default();
    p.head(&b.board);
    p.hang(
        "  ",
        &format!(
            "{} faults of {} positions, {:.1} failures per million hours",
            c.faults, c.units, c.rate
        ),
    );
    let row = |what: &str, f: &Figures| {
        let per = |x: f64| format!("{:.1} %", x * 100.0);
        vec![
            what.to_string(),
            per(f.detected),
            per(f.isolated[0]),
            per(f.isolated[1]),
            per(f.isolated[2]),
            format!("{:.1}", f.mean_group),
        ]
    };
    p.table(
        &[
            "by failure rate",
            "detected",
            "to 1",
            "to 2",
            "to 3",
            "mean group",
        ],
        vec![
            row("test run", &c.test_run),
            row("and the eye, rails", &c.with_eye),
            row("and measuring points", &c.with_measuring),
        ],
    );
    p.hang("  ", "Detected: part of all failures that makes a check fail. To 1, 2, 3: part of those that is narrowed to so many sockets. (MIL-STD-2165, IEEE 1522.)");
    unseen(&mut p, c);
    if !c.groups.is_empty() {
        p.head("  Not told apart by all of these together");
        for g in &c.groups {
            p.hang("    ", &shortened(&g.sockets, 12));
        }
    }
    if !c.gains.is_empty() {
        p.head("  One more measuring point would gain");
        let rows = c.gains.iter().map(|g| {
            let signed = |x: f64| format!("{x:+.2}");
            vec![
                format!("   {}", g.line),
                g.at.clone(),
                format!("{} %", signed(g.detected * 100.0)),
                format!("{} %", signed(g.isolated * 100.0)),
                signed(g.mean_group),
            ]
        });
        p.table(
            &["   line", "at", "detected", "to 1", "mean group"],
            rows.collect(),
        );
    }
    p.head(&format!("  Loops of needs (legal): {}", b.loops.len()));
    for l in b.loops.iter().take(3) {
        let lines = shortened(&l.lines, 8);
        p.hang(
            "    ",
            &format!(
                "{} members, through {}; lines {lines}",
                l.members,
                shortened(&l.sockets, 8)
            ),
        );
    }
    if !b.reasons.is_empty() {
        p.head("  Used by nothing, with the reason that the map gives");
        for (name, reason) in &b.reasons {
            p.hang(&format!("    {name}: "), reason);
        }
    }
    p.out
}

fn unseen(p: &mut Page, c: &Coverage) {
    let rate: f64 = c.unseen.iter().map(|u| u.rate).sum();
    p.head(&format!(
        "  Faults that no check and no eye sees: {:.1} % of the rate",
        100.0 * rate / c.rate.max(1e-12)
    ));
    for u in c.unseen.iter().take(12) {
        let hint = if u.measurable {
            " (a measuring point shows it)"
        } else {
            ""
        };
        p.hang(
            &format!("    {}: ", u.unit),
            &format!("{}{hint}", shortened(&u.faults, 3)),
        );
    }
    if c.unseen.len() > 12 {
        p.hang(
            "    ",
            &format!("and {} more: see --json", c.unseen.len() - 12),
        );
    }
}

fn shortened(list: &[String], most: usize) -> String {
    let shown = list
        .iter()
        .take(most)
        .cloned()
        .collect::<Vec<_>>()
        .join(", ");
    match list.len().saturating_sub(most) {
        0 => shown,
        more => format!("{shown} and {more} more"),
    }
}
