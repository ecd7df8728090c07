//! A map file from its text: every mistake of form that can be found, each with its place.

use super::yaml::{Node, Value};
use super::{code, error};
use crate::diag::{Diag, did_you_mean};
use crate::faultmap::load;
use crate::source::Span;
use serde::de::DeserializeOwned;

/// After so many mistakes of form in one file the rest waits.
const MOST: usize = 20;

/// Reads a map file. After a mistake the entry that holds it is passed over and reading goes on, so that the next
/// mistake is told as well; a map is given back only when there was none.
pub fn typed<T: DeserializeOwned>(text: &str, tree: Option<&Node>) -> (Option<T>, Vec<Diag>) {
    let mut rest = text.to_string();
    let mut diags: Vec<Diag> = Vec::new();
    let mut passed: Vec<String> = Vec::new();
    loop {
        let slip = match load::parse_located::<T>(&rest) {
            Ok(map) => return (diags.is_empty().then_some(map), diags),
            Err(slip) => slip,
        };
        // What is missing only because it was passed over is no mistake.
        let of_ours = quoted_field(&slip.message).is_some_and(|f| passed.iter().any(|p| p == f))
            && slip.message.contains("missing");
        if of_ours {
            return (None, diags);
        }
        let at = slip
            .at
            .map_or(text.len(), |(line, column)| byte(text, line, column));
        let outer = tree.and_then(|t| t.entry_at(at, 1));
        // A section of which nothing is left is no second mistake: the entries in it were passed over.
        let emptied = outer.is_some_and(|(_, key, value)| {
            let below = rest.get(key.end..value.span.end).unwrap_or_default();
            slip.message.contains("expected mapping start")
                && (below.trim_start_matches(':').lines())
                    .all(|l| l.trim().is_empty() || l.trim_start().starts_with('#'))
        });
        if !emptied {
            let diag = told(&slip.message, at, text, tree);
            // What the whole map lacks is said again for every section that stays.
            let again = slip.message.contains("missing field")
                && outer.is_some_and(|(_, key, _)| key.start == at)
                && diags.iter().any(|d| d.message == diag.message);
            if !again {
                diags.push(diag);
            }
        }
        let inner = tree.and_then(|t| t.entry_at(at, 2));
        // What lacks a key is passed over as a whole, not the neighbour of the key.
        let whole = emptied
            || slip.message.contains("missing field")
                && inner.is_some_and(|(_, _, v)| !matches!(v.value, Value::Map(_)));
        let entry = if whole { outer } else { inner };
        let Some((name, key, value)) = entry.filter(|_| diags.len() < MOST) else {
            return (None, diags);
        };
        passed.push(name.to_string());
        let before = rest;
        rest = blanked(&before, key.start, value.span.end.max(key.end));
        if rest == before || rest.len() != before.len() {
            diags.dedup();
            return (None, diags);
        }
    }
}

/// The text with blanks from `start` to `end`, line ends kept, so that places stay.
fn blanked(text: &str, start: usize, end: usize) -> String {
    let blank = |(i, b): (usize, u8)| match b {
        b'\n' | b'\r' => b,
        _ if (start..end).contains(&i) => b' ',
        _ => b,
    };
    let bytes: Vec<u8> = text.bytes().enumerate().map(blank).collect();
    String::from_utf8(bytes).unwrap_or_else(|_| text.to_string())
}

/// A mistake of form as one message: where, what, what to type.
fn told(message: &str, at: usize, text: &str, tree: Option<&Node>) -> Diag {
    let field = quoted_field(message);
    let (code, words, help) = match field {
        Some(name) if message.contains("unknown field") => {
            let known = known_fields(message);
            let near = did_you_mean(name, known.iter().copied());
            let help = match near {
                Some(near) => format!("did you mean '{near}'?"),
                None if known.is_empty() => "take it out".to_string(),
                None => format!("what may stand here: {}", known.join(", ")),
            };
            (code::KEY, format!("'{name}' is no key of the map format here"), Some(help))
        }
        Some(name) if message.contains("missing field") => (
            code::KEY,
            format!("'{name}' is missing"),
            Some(format!("add a line '{name}: …' to this entry")),
        ),
        _ if tree.is_none() => (
            code::SYNTAX,
            format!("this is no YAML: {message}"),
            Some("look at indentation, quotes and brackets here and in the line before; in YAML a blank and '#' begin a comment".into()),
        ),
        _ => match wrong_kind(message) {
            Some((said, help)) => (code::KEY, said.to_string(), Some(help.to_string())),
            None => (code::KEY, message.to_string(), None),
        },
    };
    let span = span_at(at, field.filter(|_| code == code::KEY), text, tree);
    error(code, words, Some((span, String::new())), help)
}

/// The word at a place, or the key named `field` in the entry there, or the rest of the line.
fn span_at(at: usize, field: Option<&str>, text: &str, tree: Option<&Node>) -> Span {
    let inner = tree.and_then(|t| t.entry_at(at, 9));
    if let (Some(field), Some(tree)) = (field, tree)
        && let Some(key) = key_near(tree, field, at)
    {
        return key;
    }
    if let Some((_, key, value)) = inner {
        let on_value = (value.span.start..value.span.end).contains(&at);
        return match value.value {
            Value::Scalar(_) if on_value => value.span,
            _ => key,
        };
    }
    let end = text[at.min(text.len())..]
        .find('\n')
        .map_or(text.len(), |n| at + n);
    Span::new(at.min(text.len()), end)
}

/// The key with this name that begins at byte `at`.
fn key_near(node: &Node, name: &str, at: usize) -> Option<Span> {
    let own = (node.entries().iter()).find(|(k, key, _)| k == name && key.start == at);
    own.map(|(_, key, _)| *key).or_else(|| {
        let below = node.entries().iter().map(|(_, _, v)| v);
        let listed = match &node.value {
            Value::List(list) => list.as_slice(),
            _ => &[],
        };
        below.chain(listed).find_map(|v| key_near(v, name, at))
    })
}

/// The field that a message of the reader is about: between backticks.
fn quoted_field(message: &str) -> Option<&str> {
    let (_, rest) = message.split_once('`')?;
    rest.split_once('`').map(|(name, _)| name)
}

/// The fields that the reader says it expected: `unknown field `x`, expected one of a, b`.
fn known_fields(message: &str) -> Vec<&str> {
    let listed = ["expected one of ", "expected "]
        .iter()
        .find_map(|w| message.split_once(w));
    listed.map_or(Vec::new(), |(_, list)| {
        let names = list.split(", ").map(|n| n.trim_matches('`').trim());
        names.filter(|n| !n.is_empty()).collect()
    })
}

/// What a value of the wrong kind should be, in words of the map instead of the reader's, and how to write it.
fn wrong_kind(message: &str) -> Option<(&'static str, &'static str)> {
    let kinds = [
        (
            "expected sequence start",
            "a list is expected here",
            "write it in square brackets: [one, two]",
        ),
        (
            "expected mapping start",
            "keys with values are expected here",
            "write them in the lines below, further in, or as {key: value, key: value}",
        ),
        (
            "expected string scalar",
            "one text is expected here, not a list",
            "write it without brackets, blanks between the names: A B C",
        ),
    ];
    let found = kinds.iter().find(|(said, ..)| message.contains(said));
    found.map(|&(_, message, help)| (message, help))
}

/// The byte of a line and column, both from 1; columns count characters.
fn byte(text: &str, line: u64, column: u64) -> usize {
    let mut start = 0;
    for (n, l) in text.split_inclusive('\n').enumerate() {
        if n as u64 + 1 == line {
            let ahead = column.saturating_sub(1) as usize;
            return start + l.char_indices().nth(ahead).map_or(l.len(), |(i, _)| i);
        }
        start += l.len();
    }
    text.len()
}
