//! `board export`.

use crate::cli::{ExportArgs, ExportFormat};
use crate::commands::input;
use crate::export::merge::merge_modes;
use crate::export::tables::{Form, tables};
use crate::export::two_level::two_level;
use crate::export::{Names, bif, restrict};
use crate::faultmap::raw::BoardRaw;
use crate::rank::rank;
use crate::shipped::Library;
use std::collections::BTreeMap;
use std::path::Path;

/// A board for other programs.
pub(super) fn export(args: &ExportArgs) -> Result<String, String> {
    if args.format == ExportFormat::Schema {
        let schema = schemars::schema_for!(BoardRaw);
        let text = serde_json::to_string_pretty(&schema).map_err(|e| e.to_string())?;
        return Ok(text + "\n");
    }
    let library = super::open(args.maps.as_deref())?;
    if let Some(sheet) = args.board.as_deref().filter(|name| is_sheet(name)) {
        return model(args, &library, Path::new(sheet));
    }
    let name = args.board.as_deref().ok_or_else(|| {
        let known: Vec<String> = library.list().into_iter().map(|b| b.0).collect();
        format!("which board? There are: {}", known.join(", "))
    })?;
    match args.format {
        ExportFormat::Dot => dot(&library, name),
        ExportFormat::Json | ExportFormat::Schema => typed(&library, name),
        ExportFormat::Bif => Err(
            "a network needs readings: give a sheet, as in board export samples/one-memory-bit.run --format bif"
                .into(),
        ),
    }
}

/// Whether an argument is a sheet rather than a board.
fn is_sheet(name: &str) -> bool {
    name == "-"
        || [".run", ".ticket"].iter().any(|e| name.ends_with(e))
        || Path::new(name).is_file()
}

/// Leading suspects of a network for other tools, when not said.
const LEADING: usize = 6;

/// The model under a sheet: the whole of it or its leading suspects, as JSON or as tables.
fn model(args: &ExportArgs, library: &Library, path: &Path) -> Result<String, String> {
    let sheets = [input::sheet(path)?];
    let model = input::board(library, None, &sheets)?;
    let ranking = rank(&model, &sheets).map_err(|e| format!("{}: {e}", path.display()))?;
    let names = Names::of(&model, &ranking);
    let net = &ranking.assembled.net;
    let wanted = match (args.format, args.top) {
        (ExportFormat::Bif, top) => Some(top.unwrap_or(LEADING)),
        (_, top) => top,
    };
    let (net, names) = match wanted {
        None => (net.clone(), names),
        Some(top) => {
            let mut order: Vec<usize> = (0..net.causes.len()).collect();
            let p = |c: usize| ranking.posterior.cause(c);
            order.sort_by(|&a, &b| p(b).total_cmp(&p(a)).then(a.cmp(&b)));
            order.truncate(top);
            order.sort_unstable();
            merge_modes(&restrict(net, &order), &names.restrict(&order))
        }
    };
    match args.format {
        ExportFormat::Json => super::json(&two_level(&net, &names)),
        ExportFormat::Bif => {
            let tables = tables(&net, &names, Form::Chained).map_err(|e| e.to_string())?;
            Ok(bif::write(&tables, &model.board))
        }
        ExportFormat::Dot | ExportFormat::Schema => Err("of a sheet: json or bif".into()),
    }
}

/// The map as one JSON document with the part families it uses.
fn typed(library: &Library, name: &str) -> Result<String, String> {
    let (board, families) = library.typed(name).map_err(|e| e.to_string())?;
    let used: BTreeMap<_, _> = families
        .iter()
        .filter(|(f, _)| board.parts.values().any(|p| &p.family == *f))
        .collect();
    super::json(&serde_json::json!({ "schema": 1, "board": board, "families": used }))
}

/// Parts and lines as a graph: an edge from a part to a line that it drives, from a line to a part that it reaches.
fn dot(library: &Library, name: &str) -> Result<String, String> {
    let model = library.board(name).map_err(|e| e.to_string())?;
    let (raw, families) = library.typed(name).map_err(|e| e.to_string())?;
    let wiring = crate::faultmap::wiring::Wiring::new(name, &raw, &families);
    let signals = crate::trace::signals::Signals::new(&raw, &wiring, &model);
    Ok(crate::trace::signals::dot(&signals))
}
