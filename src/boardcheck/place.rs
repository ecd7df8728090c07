//! From a mistake as the loader tells it to its place in the text.

use super::yaml::{Node, Value};
use crate::faultmap::expand;
use crate::source::Span;

/// The place that `path` (`parts.U1.pins`, `checks.memory.bit.3`) and the word that the message quotes point at.
/// What cannot be followed further is left out: the deepest key that is there is the place.
pub fn find(root: &Node, text: &str, path: &str, word: Option<&str>) -> Option<Span> {
    let mut place: Option<(Span, &Node)> = None;
    let (mut node, mut rest, mut number) = (root, path, String::new());
    while !rest.is_empty() {
        let Some(step) = entry(node, rest) else { break };
        place = Some((step.key, step.value));
        if !step.number.is_empty() {
            number = step.number;
        }
        (node, rest) = (step.value, step.rest);
    }
    let (key, value) = place?;
    if let Some(found) = word.and_then(|w| search(value, text, w, &number)) {
        return Some(found);
    }
    // The value is the better place when the path was followed to its end and it fits on a line.
    let ended = rest.is_empty() && matches!(value.value, Value::Scalar(_));
    let shown = &text[value.span.start.min(text.len())..value.span.end.min(text.len())];
    Some(if ended && !shown.is_empty() && !shown.contains('\n') {
        value.span
    } else {
        key
    })
}

struct Step<'t> {
    key: Span,
    value: &'t Node,
    rest: &'t str,
    number: String,
}

/// The entry that the beginning of `path` names; the longest name wins, ranges count as what they stand for.
fn entry<'t>(node: &'t Node, path: &'t str) -> Option<Step<'t>> {
    if let Value::List(list) = &node.value {
        let (index, rest) = path.split_once('.').unwrap_or((path, ""));
        let value = list.get(index.parse::<usize>().ok()?)?;
        return Some(Step {
            key: Span::new(value.span.start, value.span.start + 1),
            value,
            rest,
            number: String::new(),
        });
    }
    let mut best: Option<(usize, Step)> = None;
    for (name, key, value) in node.entries() {
        let names = expand::key(name)
            .into_iter()
            .chain([(name.clone(), String::new())]);
        for (name, number) in names {
            let Some(rest) = path.strip_prefix(name.as_str()) else {
                continue;
            };
            let rest = match rest.strip_prefix('.') {
                Some(rest) => rest,
                None if rest.is_empty() => rest,
                None => continue,
            };
            if best.as_ref().is_none_or(|(n, _)| name.len() > *n) {
                let (key, length) = (*key, name.len());
                let step = Step {
                    key,
                    value,
                    rest,
                    number,
                };
                best = Some((length, step));
            }
        }
    }
    best.map(|(_, step)| step)
}

/// The first word in the value that is `word` or stands for it: in a range, with a weight, with `#` for the number.
fn search(node: &Node, text: &str, word: &str, number: &str) -> Option<Span> {
    match &node.value {
        Value::Map(map) => map.iter().find_map(|(name, key, value)| {
            (name == word)
                .then_some(*key)
                .or_else(|| search(value, text, word, number))
        }),
        Value::List(list) => list.iter().find_map(|n| search(n, text, word, number)),
        Value::Scalar(whole) if whole == word && !whole.is_empty() => Some(node.span),
        Value::Scalar(_) => {
            let end = node.span.end.min(text.len());
            let start = node.span.start.min(end);
            words(text.get(start..end)?).find_map(|(at, typed)| {
                let plain = typed.split_once('@').map_or(typed, |(name, _)| name);
                let stands = typed == word
                    || expand::range(&plain.replace('#', number))
                        .iter()
                        .any(|name| name == word);
                stands.then(|| Span::new(start + at, start + at + typed.len()))
            })
        }
    }
}

/// Words of a scalar as typed, quotes aside, with their places.
fn words(text: &str) -> impl Iterator<Item = (usize, &str)> {
    text.split(|c: char| c.is_whitespace() || c == '"' || c == '\'')
        .filter(|w| !w.is_empty())
        .map(|w| (w.as_ptr() as usize - text.as_ptr() as usize, w))
}

/// The first text between quotes in a message.
pub fn quoted(message: &str) -> Option<&str> {
    let (_, rest) = message.split_once('\'')?;
    rest.split_once('\'').map(|(word, _)| word)
}

#[cfg(test)]
mod tests {
    use super::super::yaml::tree;
    use super::*;

    const TEXT: &str = r##"
parts:
  U1: {family: chip, pins: "A0..3 X"}
checks:
  memory.bit.0..7:
    reads: "M#.cell address.0..7@0.9"
  memory: {reads: A}
"##;

    fn at(path: &str, word: Option<&str>) -> &'static str {
        let span = find(&tree(TEXT).unwrap(), TEXT, path, word).unwrap();
        &TEXT[span.start..span.end]
    }

    #[test]
    fn words_are_found_in_ranges_and_numbered_names() {
        assert_eq!(at("parts.U1.pins", Some("A2")), "A0..3");
        assert_eq!(at("parts.U1", Some("chip")), "chip");
        assert_eq!(at("checks.memory.bit.3", Some("M3.cell")), "M#.cell");
        assert_eq!(
            at("checks.memory.bit.3", Some("address.6")),
            "address.0..7@0.9"
        );
        assert_eq!(at("checks.memory", Some("nothing")), "memory");
        assert_eq!(at("parts.U1.pins", None), "\"A0..3 X\"");
        assert_eq!(at("parts.U9", None), "parts");
        assert_eq!(find(&tree(TEXT).unwrap(), TEXT, "nowhere", None), None);
    }

    #[test]
    fn the_quoted_word_of_a_message() {
        assert_eq!(
            quoted("no part family 'chap'; did you mean 'chip'?"),
            Some("chap")
        );
        assert_eq!(quoted("nothing"), None);
    }
}
