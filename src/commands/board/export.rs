//! `board export`.

use crate::cli::{ExportArgs, ExportFormat};
use crate::faultmap::raw::BoardRaw;
use crate::shipped::Library;
use std::collections::BTreeMap;

/// A board for other programs.
pub(super) fn export(args: &ExportArgs) -> Result<String, String> {
    if args.format == ExportFormat::Schema {
        let schema = schemars::schema_for!(BoardRaw);
        let text = serde_json::to_string_pretty(&schema).map_err(|e| e.to_string())?;
        return Ok(text + "\n");
    }
    let library = super::open(args.maps.as_deref())?;
    let name = args.board.as_deref().ok_or_else(|| {
        let known: Vec<String> = library.list().into_iter().map(|b| b.0).collect();
        format!("which board? There are: {}", known.join(", "))
    })?;
    match args.format {
        ExportFormat::Dot => dot(&library, name),
        ExportFormat::Json | ExportFormat::Schema => typed(&library, name),
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
