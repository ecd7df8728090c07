//! `board show`.

use crate::boardinfo::show::{page, view};
use crate::cli::ShowArgs;

/// The page of a board.
pub(super) fn show(args: &ShowArgs) -> Result<String, String> {
    let library = super::open(args.maps.as_deref())?;
    let model = library.board(&args.board).map_err(|e| e.to_string())?;
    let v = view(&model);
    if args.json {
        super::json(&v)
    } else {
        Ok(page(&v))
    }
}
