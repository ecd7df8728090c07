//! Which board is it? Type numbers and designators, typed as they are read off the board, against every map.

use super::typenumber::{counted, is_type};
use crate::diag::did_you_mean;
use crate::faultmap::model::{BoardModel, Position};
use schemars::JsonSchema;
use serde::Serialize;

/// What `board find` answers.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct FindView {
    /// 1.
    pub schema: u32,
    /// What was asked for, word by word.
    pub asked: Vec<String>,
    /// Boards, best match first.
    pub boards: Vec<Match>,
    /// Words that no board knows.
    pub unknown: Vec<Unknown>,
}

/// How well a board matches.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Match {
    /// Identifier.
    pub board: String,
    /// One line.
    pub what: String,
    /// 0..1; words that fewer boards know count for more.
    pub score: f64,
    /// What was found on it.
    pub matched: Vec<Found>,
    /// What this board does not have, though another has.
    pub not_matched: Vec<String>,
    /// Types by which this board is known and that were not typed.
    pub not_mentioned: Vec<String>,
}

/// A word and what it is on a board.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Found {
    /// As typed.
    pub typed: String,
    /// Positions that it can be.
    pub sockets: Vec<String>,
    /// A type number was typed that is not the usual one here, but fits.
    pub instead_of: Option<String>,
    /// How many were typed and how many the board has, when that differs.
    pub counts: Option<(usize, usize)>,
}

/// A word that no board knows.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Unknown {
    /// As typed.
    pub typed: String,
    /// What is near.
    pub hint: Option<String>,
}

/// Splits what was typed: blanks and commas part words, `8 x 4164` is one, `U17=82S100` is two.
pub fn words(typed: &[String]) -> Vec<String> {
    let text = typed.join(" ").replace([',', ';', '=', ':'], " ");
    let mut out: Vec<String> = Vec::new();
    let mut rest = text.split_whitespace().peekable();
    while let Some(word) = rest.next() {
        let times = rest
            .peek()
            .is_some_and(|n| ["x", "X", "×", "*"].contains(n));
        if times && word.len() <= 2 && word.parse::<u8>().is_ok() {
            rest.next();
            out.push(format!("{word}x{}", rest.next().unwrap_or_default()));
        } else {
            out.push(word.to_string());
        }
    }
    out
}

/// What a word is on a board, and how well it fits, 0..1.
fn found(word: &str, board: &BoardModel) -> Option<(Found, f64)> {
    let (count, name) = counted(word);
    let usual = |p: &&Position| p.part_type.as_deref().is_some_and(|t| is_type(name, t));
    let fits = |p: &&Position| p.part_type.is_some() && p.types.keys().any(|t| is_type(name, t));
    let on_board = || board.positions.iter().filter(|p| !p.outside);
    let mut sockets: Vec<&Position> = on_board().filter(usual).collect();
    let mut instead_of = None;
    if sockets.is_empty() {
        sockets = on_board().filter(fits).collect();
        instead_of = sockets.first().and_then(|p| p.part_type.clone());
    }
    if sockets.is_empty() {
        sockets = on_board()
            .filter(|p| p.name.eq_ignore_ascii_case(word))
            .collect();
        instead_of = None;
    }
    let have = sockets.len();
    if have == 0 {
        return None;
    }
    let fit = match () {
        () if count > have => have as f64 / count as f64 / 2.0,
        () if count > 1 && count < have => 0.8,
        () => 1.0,
    };
    let fit = if instead_of.is_some() { fit * 0.9 } else { fit };
    let found = Found {
        typed: word.to_string(),
        sockets: sockets.iter().map(|p| p.name.clone()).collect(),
        instead_of,
        counts: (count > 1 && count != have).then_some((count, have)),
    };
    Some((found, fit))
}

/// Ranks the boards by how well they match. A word counts ln((n + 1) / (k + 0.5)), n boards, k of which know it: what
/// every board has says little (inverse document frequency as in text search; Spärck Jones 1972, smoothed).
pub fn find(typed: &[String], boards: &[BoardModel]) -> FindView {
    let asked = words(typed);
    let table: Vec<Vec<Option<(Found, f64)>>> = asked
        .iter()
        .map(|w| boards.iter().map(|b| found(w, b)).collect())
        .collect();
    let weight = |row: &Vec<Option<(Found, f64)>>| {
        let k = row.iter().flatten().count();
        let n = boards.len() as f64;
        if k == 0 {
            0.0
        } else {
            ((n + 1.0) / (k as f64 + 0.5)).ln()
        }
    };
    let all: f64 = table.iter().map(weight).sum();
    let mut out: Vec<Match> = boards
        .iter()
        .enumerate()
        .map(|(b, board)| {
            let got: f64 = table
                .iter()
                .map(|row| weight(row) * row[b].as_ref().map_or(0.0, |f| f.1))
                .sum();
            let matched: Vec<Found> = table
                .iter()
                .filter_map(|row| Some(row[b].as_ref()?.0.clone()))
                .collect();
            let known_elsewhere = |(i, row): (usize, &Vec<Option<(Found, f64)>>)| {
                (row[b].is_none() && row.iter().any(Option::is_some)).then(|| asked[i].clone())
            };
            let seen = |t: &&String| {
                !asked
                    .iter()
                    .any(|w| is_type(counted(w).1, t) || same_socket(w, t, board))
            };
            Match {
                board: board.board.clone(),
                what: board.what.clone(),
                score: if all > 0.0 { got / all } else { 0.0 },
                not_matched: table
                    .iter()
                    .enumerate()
                    .filter_map(known_elsewhere)
                    .collect(),
                not_mentioned: board.known_by.iter().filter(seen).cloned().collect(),
                matched,
            }
        })
        .filter(|m| !m.matched.is_empty())
        .collect();
    out.sort_by(|a, b| {
        (b.score.total_cmp(&a.score))
            .then(a.not_mentioned.len().cmp(&b.not_mentioned.len()))
            .then(a.board.cmp(&b.board))
    });
    let unknown = asked
        .iter()
        .zip(&table)
        .filter(|(_, row)| row.iter().all(Option::is_none));
    FindView {
        schema: 1,
        unknown: unknown.map(|(w, _)| lost(w, boards)).collect(),
        boards: out,
        asked,
    }
}

/// Whether a known type is an alternative in a socket whose type was typed: a 6569 stands where a 6567 may.
fn same_socket(word: &str, known: &str, board: &BoardModel) -> bool {
    let (_, name) = counted(word);
    let mut there = board.positions.iter().filter(|p| p.part_type.is_some());
    there.any(|p| {
        let has = |t: &str| p.types.keys().chain(&p.part_type).any(|k| is_type(t, k));
        has(name) && has(known)
    })
}

fn lost(word: &str, boards: &[BoardModel]) -> Unknown {
    let (_, name) = counted(word);
    let positions = || boards.iter().flat_map(|b| &b.positions);
    let types = positions().flat_map(|p| p.types.keys().chain(&p.part_type));
    let names = positions().map(|p| &p.name).filter(|n| n.len() > 3);
    let near = did_you_mean(name, types.chain(names).map(String::as_str));
    Unknown {
        typed: word.to_string(),
        hint: near.map(|n| format!("did you mean {n}?")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_as_people_type_them() {
        let typed = ["6510, 6526".to_string(), "8 x 4164 U17=82S100".to_string()];
        assert_eq!(words(&typed), ["6510", "6526", "8x4164", "U17", "82S100"]);
        assert_eq!(words(&["8 x".to_string()]), ["8x"]);
    }
}
