//! `rank` and `next`.

use super::desk::Desk;
use super::machines::{self, Source, Stdin};
use super::{BAD, Console, DONE, NOT_UNDERSTOOD, input, parallel};
use crate::cli::RankArgs;
use crate::report::build::{Wanted, view};
use crate::report::term;
use crate::report::view::{RankingView, RefusedView, SCHEMA};
use crate::sheet::{Bench, RunSheet};
use crate::shipped::Library;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::IsTerminal;
use std::path::{Path, PathBuf};

/// Which part of the report to show.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Show {
    /// Everything.
    Ranking,
    /// Next steps only.
    Next,
}

/// What became of one machine.
type Ranked = Result<Told, String>;

/// A machine as it is printed: worked out where it was ranked, so that nothing larger waits for its turn.
struct Told {
    text: String,
    /// Some line was not understood.
    lost: bool,
}

/// Machines from which on a run counts as long: it gets a progress bar, on a terminal.
const LONG: usize = 200;

/// Runs `rank` or `next`.
///
/// # Errors
/// Only of writing.
pub fn rank(args: &RankArgs, show: Show, console: &mut Console) -> std::io::Result<u8> {
    let mut library = match Library::open(args.maps.as_deref()) {
        Ok(library) => library,
        Err(e) => {
            writeln!(console.err, "whichsocket: {e}")?;
            return Ok(BAD);
        }
    };
    match super::rates::learned(&args.learned, &library) {
        Ok(learned) => library.learned = learned,
        Err(message) => {
            writeln!(console.err, "whichsocket: {message}")?;
            return Ok(BAD);
        }
    }
    let library = library;
    let desk = match Desk::open(args.maps.as_deref(), args.own.words.as_deref()) {
        Ok(desk) => desk,
        Err(e) => {
            writeln!(console.err, "whichsocket: {e}")?;
            return Ok(BAD);
        }
    };
    let mut printer = Printer {
        args,
        reading: desk.bench(args.own.photo, args.own.lines),
        show,
        console,
        bar: None,
        met: 0,
        ranked: 0,
        bad: 0,
        strict: false,
    };
    let (mut paths, mut sheets, mut stream) = (Vec::new(), Vec::new(), false);
    for found in machines::files(&args.sheets) {
        match found {
            Ok(path) if path.as_os_str() == "-" => {
                match machines::stdin(std::io::stdin().lock(), &printer.reading) {
                    Ok(Stdin::Lines(lines)) => {
                        stream = true;
                        printer.stream(&library, machines::json_lines(lines, String::new()))?;
                    }
                    Ok(Stdin::Sheet(sheet)) => sheets.push(*sheet),
                    Err(message) => printer.refuse(&["-".to_string()], &message)?,
                }
            }
            Ok(path) if machines::is_stream(&path) => match machines::stream_of(&path) {
                Ok(lines) => {
                    stream = true;
                    printer.stream(&library, lines)?;
                }
                Err(message) => printer.refuse(&[path.display().to_string()], &message)?,
            },
            Ok(path) => paths.push(path),
            Err((name, message)) => printer.refuse(&[name], &message)?,
        }
    }
    // A few machines are read at once, so that a sheet from standard input can be a run of one of them.
    if paths.len() <= FEW || !sheets.is_empty() {
        printer.few(&library, &paths, sheets, !stream)?;
    } else {
        printer.many(&library, paths)?;
    }
    Ok(printer.status())
}

/// Files up to which all are read before the first is ranked.
const FEW: usize = 32;

/// Prints what became of the machines, in order.
struct Printer<'a, 'c> {
    args: &'a RankArgs,
    /// How sheets are read.
    reading: Bench<'a>,
    show: Show,
    console: &'a mut Console<'c>,
    bar: Option<ProgressBar>,
    /// Machines told of so far, ranked or refused.
    met: usize,
    ranked: usize,
    bad: usize,
    strict: bool,
}

impl Printer<'_, '_> {
    fn few(
        &mut self,
        library: &Library,
        paths: &[PathBuf],
        mut sheets: Vec<RunSheet>,
        may_explain: bool,
    ) -> std::io::Result<()> {
        for path in paths {
            match input::sheet_at(std::slice::from_ref(path), &self.reading) {
                Ok(sheet) => sheets.push(sheet),
                Err(message) => self.refuse(&[path.display().to_string()], &message)?,
            }
        }
        let machines = input::machines(sheets);
        let why = self.why(machines.len() == 1 && may_explain);
        // One machine after the other: each may have all cores.
        crate::infer::use_threads(self.threads());
        for machine in machines {
            let names: Vec<String> = machine.iter().map(|s| s.name.clone()).collect();
            let ranked = told(self.args, self.show, library, &machine, why);
            self.print(&names, ranked)?;
        }
        Ok(())
    }

    /// Many files: their tickets first, then machine by machine, on all cores.
    fn many(&mut self, library: &Library, paths: Vec<PathBuf>) -> std::io::Result<()> {
        let mut tickets: Vec<Option<String>> = Vec::with_capacity(paths.len());
        let reading = self.reading;
        let ticket = |path: &PathBuf| {
            input::sheet_at(std::slice::from_ref(path), &reading)
                .ok()
                .and_then(|s| input::ticket_of(&s).map(String::from))
        };
        parallel::ordered(
            paths.iter(),
            self.threads(),
            |p| ticket(p),
            |_, t| {
                tickets.push(t);
                Ok::<(), std::io::Error>(())
            },
        )?;
        let of: std::collections::HashMap<&Path, Option<String>> =
            paths.iter().map(PathBuf::as_path).zip(tickets).collect();
        let sources = machines::by_ticket(paths.clone(), |p| of.get(p).cloned().flatten());
        if sources.len() >= LONG {
            self.bar = self.progress(Some(sources.len() as u64));
        }
        self.stream(library, sources.into_iter().map(Ok))
    }

    /// A stream of machines, on all cores, in order.
    fn stream(
        &mut self,
        library: &Library,
        sources: impl Iterator<Item = Result<Source, (String, String)>>,
    ) -> std::io::Result<()> {
        let (args, show, why) = (self.args, self.show, self.why(false));
        let reading = self.reading;
        let work = |source: &Result<Source, (String, String)>| -> Ranked {
            match source {
                Ok(source) => told(args, show, library, &source.read(&reading)?, why),
                Err((_, message)) => Err(message.clone()),
            }
        };
        let threads = self.threads();
        parallel::ordered(sources, threads, work, |source, ranked| {
            let names = match source {
                Ok(source) => source.names(),
                Err((name, _)) => vec![name.clone()],
            };
            self.print(&names, ranked)
        })?;
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
        Ok(())
    }

    /// A progress bar for a long run of so many machines, on standard error if that is a terminal.
    fn progress(&self, machines: Option<u64>) -> Option<ProgressBar> {
        if self.console.quiet || !std::io::stderr().is_terminal() {
            return None;
        }
        let bar = ProgressBar::with_draw_target(machines, ProgressDrawTarget::stderr());
        let template = match machines {
            Some(_) => "{pos} of {len} machines {wide_bar} {eta} left",
            None => "{pos} machines, {per_sec}",
        };
        if let Ok(style) = ProgressStyle::with_template(template) {
            bar.set_style(style);
        }
        bar.set_position(self.met as u64);
        Some(bar)
    }

    fn threads(&self) -> usize {
        let all = || std::thread::available_parallelism().map_or(1, usize::from);
        self.args.threads.unwrap_or_else(all)
    }

    /// Whether the reasons are worked out: they cost two rankings a line, so of many machines only when asked for, nor of one that
    /// could only be estimated.
    fn why(&self, single: bool) -> bool {
        self.args.why || (self.args.json && single)
    }

    fn print(&mut self, names: &[String], ranked: Ranked) -> std::io::Result<()> {
        self.met += 1;
        match &self.bar {
            Some(bar) => bar.inc(1),
            // Of a stream nobody knows how long it is; that it is long is seen by and by.
            None if self.met == LONG => self.bar = self.progress(None),
            None => {}
        }
        let v = match ranked {
            Ok(v) => v,
            Err(message) => return self.refuse(names, &message),
        };
        if self.ranked > 0 && !self.args.json {
            writeln!(self.console.out)?;
        }
        self.ranked += 1;
        self.strict |= self.args.strict && v.lost;
        self.console.out.write_all(v.text.as_bytes())
    }

    fn refuse(&mut self, sheets: &[String], message: &str) -> std::io::Result<()> {
        self.bad += 1;
        writeln!(self.console.err, "whichsocket: {message}")?;
        if self.args.json {
            let v = RefusedView {
                schema: SCHEMA,
                sheets: sheets.to_vec(),
                error: message.to_string(),
            };
            writeln!(self.console.out, "{}", serde_json::to_string(&v)?)?;
        }
        Ok(())
    }

    fn status(&self) -> u8 {
        match (self.ranked, self.bad) {
            (0, _) => BAD,
            // Over several sheets a bad one is told in its own place; only when none could be read is all lost.
            _ if self.strict => NOT_UNDERSTOOD,
            _ => DONE,
        }
    }
}

/// Ranks one machine from its sheets, as it is printed.
fn told(args: &RankArgs, show: Show, library: &Library, sheets: &[RunSheet], why: bool) -> Ranked {
    let v = one(args, show, library, sheets, why)?;
    let text = match show {
        _ if args.json => {
            let json = serde_json::to_string(&v);
            json.map_err(|e| format!("{}: {e}", sheets[0].name))? + "\n"
        }
        Show::Ranking => term::ranking(&v, args.why),
        Show::Next => term::next_only(&v),
    };
    let lost = !v.not_understood.is_empty();
    Ok(Told { text, lost })
}

/// Ranks one machine from its sheets.
fn one(
    args: &RankArgs,
    show: Show,
    library: &Library,
    sheets: &[RunSheet],
    why: bool,
) -> Result<RankingView, String> {
    let plain = input::board(library, args.board.as_deref(), sheets)?;
    let learned = library.learned.as_ref();
    let model = learned.map_or_else(|| plain.clone(), |l| l.applied(&plain).into());
    let sheets = &*crate::rank::settle::settle(&model, sheets);
    let plan = show == Show::Next || !args.no_next;
    let ranking = if plan || why || learned.is_some() {
        crate::rank::rank(&model, sheets)
    } else {
        crate::rank::brief(&model, sheets)
    };
    let ranking = ranking.map_err(|e| format!("{}: {e}", sheets[0].name))?;
    // Nobody waits minutes for reasons that were not asked for, worked out of estimates.
    let why = why && (args.why || ranking.posterior.unexplored_mass == 0.0);
    let wanted = Wanted {
        top: args.top,
        why,
        // The steps alone are printed without them.
        slips: plan && (show == Show::Ranking || args.json),
    };
    let mut v = view(&model, sheets, &ranking, wanted);
    v.learned = learned.and_then(|l| crate::learn::order::changed(&plain, l, sheets, &ranking));
    if plan {
        let advice = crate::next::advise(&model, &ranking, &args.bench.bench());
        v.next = advice.steps;
        v.tree = advice.tree;
        if let (Some(file), Some(tree)) = (&args.bench.tree_svg, &v.tree) {
            std::fs::write(file, crate::report::tree::svg(tree))
                .map_err(|e| format!("{}: {e}", file.display()))?;
        }
    }
    Ok(v)
}
