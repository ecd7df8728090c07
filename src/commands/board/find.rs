//! `board find`.

use crate::boardinfo::find::{FindView, Found, Match, find as search};
use crate::boardinfo::page::Page;
use crate::cli::FindArgs;

/// Boards by what is typed from them.
pub(super) fn find(args: &FindArgs) -> Result<String, String> {
    let library = super::open(args.maps.as_deref())?;
    let v = search(&args.types, &super::all(&library)?);
    if args.json {
        super::json(&v)
    } else {
        Ok(text(&v))
    }
}

fn text(v: &FindView) -> String {
    let mut p = Page::default();
    if v.boards.is_empty() {
        p.head("No board of the maps has any of these.");
    }
    for (n, m) in v.boards.iter().enumerate() {
        p.head(&format!(
            "{:>3}  {:<20} {:.0} of 100",
            n + 1,
            m.board,
            m.score * 100.0
        ));
        p.hang("       ", &m.what);
        p.hang(
            "       has: ",
            &m.matched.iter().map(had).collect::<Vec<_>>().join("; "),
        );
        rest(&mut p, m);
    }
    for u in &v.unknown {
        let hint = u.hint.as_ref().map_or(String::new(), |h| format!(": {h}"));
        p.hang("", &format!("No board knows '{}'{hint}", u.typed));
    }
    if let [best, second, ..] = &v.boards[..]
        && best.score - second.score < 0.1
    {
        p.hang(
            "",
            "The first two are close: type what is printed on more chips.",
        );
    }
    p.out
}

fn rest(p: &mut Page, m: &Match) {
    if !m.not_matched.is_empty() {
        p.hang("       has not: ", &m.not_matched.join(", "));
    }
    if !m.not_mentioned.is_empty() {
        p.hang("       look also for: ", &m.not_mentioned.join(", "));
    }
}

fn had(f: &Found) -> String {
    let sockets = match f.sockets.len() {
        0..=4 => f.sockets.join(" "),
        n => format!("{n} positions, {} …", f.sockets[..2].join(" ")),
    };
    let mut out = match f.sockets[..] == [f.typed.clone()] {
        true => f.typed.clone(),
        false => format!("{} ({sockets})", f.typed),
    };
    if let Some(usual) = &f.instead_of {
        out += &format!(", usually a {usual}");
    }
    if let Some((typed, have)) = f.counts {
        out += &format!(", {typed} typed, {have} there");
    }
    out
}
