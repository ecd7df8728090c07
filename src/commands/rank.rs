//! `rank` and `next`.

use super::desk::Desk;
use super::{BAD, Console, DONE, NOT_UNDERSTOOD, input};
use crate::cli::RankArgs;
use crate::faultmap::model::BoardModel;
use crate::report::build::{Wanted, view};
use crate::report::term;
use crate::report::view::{RankingView, RefusedView, SCHEMA};
use crate::sheet::RunSheet;
use crate::shipped::Library;

/// Which part of the report to show.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Show {
    /// Everything.
    Ranking,
    /// Next steps only.
    Next,
}

/// Runs `rank` or `next`.
///
/// # Errors
/// Only of writing.
pub fn rank(args: &RankArgs, show: Show, console: &mut Console) -> std::io::Result<u8> {
    let library = match Library::open(args.maps.as_deref()) {
        Ok(library) => library,
        Err(e) => {
            writeln!(console.err, "whichsocket: {e}")?;
            return Ok(BAD);
        }
    };
    let desk = match Desk::open(args.maps.as_deref(), args.own.words.as_deref()) {
        Ok(desk) => desk,
        Err(e) => {
            writeln!(console.err, "whichsocket: {e}")?;
            return Ok(BAD);
        }
    };
    let bench = desk.bench(args.own.photo, args.own.lines);
    let (mut sheets, mut bad) = (Vec::new(), 0);
    for path in &args.sheets {
        match input::sheet_at(std::slice::from_ref(path), &bench) {
            Ok(sheet) => sheets.push(sheet),
            Err(message) => {
                bad += 1;
                refuse(args, &[path.display().to_string()], &message, console)?;
            }
        }
    }
    let (mut ranked, mut strict) = (0, false);
    for machine in input::machines(sheets) {
        match one(args, show, &library, &machine) {
            Ok(v) => {
                if ranked > 0 && !args.json {
                    writeln!(console.out)?;
                }
                ranked += 1;
                strict |= args.strict && !v.not_understood.is_empty();
                print(args, show, &v, console)?;
            }
            Err(message) => {
                bad += 1;
                let names: Vec<String> = machine.iter().map(|s| s.name.clone()).collect();
                refuse(args, &names, &message, console)?;
            }
        }
    }
    Ok(match (ranked, bad) {
        (0, _) => BAD,
        (_, 0) if !strict => DONE,
        (_, 0) => NOT_UNDERSTOOD,
        // Over several sheets a bad one is told in its own place; only when none could be read is all lost.
        _ if strict => NOT_UNDERSTOOD,
        _ => DONE,
    })
}

fn print(
    args: &RankArgs,
    show: Show,
    v: &RankingView,
    console: &mut Console,
) -> std::io::Result<()> {
    if args.json {
        return writeln!(console.out, "{}", serde_json::to_string(v)?);
    }
    let text = match show {
        Show::Ranking => term::ranking(v, args.why),
        Show::Next => term::next_only(v),
    };
    write!(console.out, "{text}")
}

fn refuse(
    args: &RankArgs,
    sheets: &[String],
    message: &str,
    console: &mut Console,
) -> std::io::Result<()> {
    writeln!(console.err, "whichsocket: {message}")?;
    if args.json {
        let v = RefusedView {
            schema: SCHEMA,
            sheets: sheets.to_vec(),
            error: message.to_string(),
        };
        writeln!(console.out, "{}", serde_json::to_string(&v)?)?;
    }
    Ok(())
}

/// Ranks one machine from its sheets.
fn one(
    args: &RankArgs,
    show: Show,
    library: &Library,
    sheets: &[RunSheet],
) -> Result<RankingView, String> {
    let model = board_for(args, library, sheets)?;
    let ranking =
        crate::rank::rank(&model, sheets).map_err(|e| format!("{}: {e}", sheets[0].name))?;
    let wanted = Wanted {
        top: args.top,
        why: args.why || args.json,
    };
    let mut v = view(&model, sheets, &ranking, wanted);
    if show == Show::Next || !args.no_next {
        v.next = crate::next::steps(&model, &ranking);
    }
    Ok(v)
}

fn board_for(
    args: &RankArgs,
    library: &Library,
    sheets: &[RunSheet],
) -> Result<BoardModel, String> {
    let named = args
        .board
        .as_deref()
        .or_else(|| sheets.iter().rev().find_map(input::board_of));
    let Some(name) = named else {
        let known: Vec<String> = library.list().into_iter().map(|b| b.0).collect();
        return Err(format!(
            "{}: which board is it? Add a line such as 'board {}', or --board; there are: {}",
            sheets[0].name,
            known.first().map_or("NAME", String::as_str),
            known.join(", ")
        ));
    };
    library
        .board(name)
        .map_err(|e| format!("{}: {e}", sheets[0].name))
}
