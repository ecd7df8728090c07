//! A map's text as a tree in which every key and value knows its place.

use crate::source::Span;
use granit_parser::{Event, Parser};

/// A value with its place.
#[derive(Debug, Clone, PartialEq)]
pub struct Node {
    /// Where it stands.
    pub span: Span,
    /// What it is.
    pub value: Value,
}

/// What stands at a place.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// A text, a number, nothing.
    Scalar(String),
    /// A list.
    List(Vec<Node>),
    /// Keys with their places, and values, in order.
    Map(Vec<(String, Span, Node)>),
}

/// The keys nested into each other that are followed; no map needs more than six.
const DEEPEST: usize = 40;

/// Reads the first document of a text. `None` when it is no YAML: the loader says why.
pub fn tree(text: &str) -> Option<Node> {
    let mut events = Parser::new_from_str(text).filter_map(|e| match e {
        Ok((Event::Comment(..) | Event::StreamStart | Event::DocumentStart(..), _)) => None,
        Ok((event, span)) => Some(Some((event, place(&span, text)))),
        Err(_) => Some(None),
    });
    node(&mut events, 0)
}

fn place(span: &granit_parser::Span, text: &str) -> Span {
    // Markers count characters when the reader does not give bytes.
    let byte = |m: &granit_parser::Marker| {
        m.byte_offset().unwrap_or_else(|| {
            text.char_indices()
                .nth(m.index())
                .map_or(text.len(), |(i, _)| i)
        })
    };
    Span::new(byte(&span.start), byte(&span.end))
}

type Item<'a> = Option<(Event<'a>, Span)>;

fn node<'a>(events: &mut impl Iterator<Item = Item<'a>>, depth: usize) -> Option<Node> {
    let (event, span) = events.next()??;
    build(event, span, events, depth)
}

fn build<'a>(
    event: Event<'a>,
    span: Span,
    events: &mut impl Iterator<Item = Item<'a>>,
    depth: usize,
) -> Option<Node> {
    if depth > DEEPEST {
        return None;
    }
    match event {
        Event::Scalar(text, ..) => Some(Node {
            span,
            value: Value::Scalar(text.into_owned()),
        }),
        Event::SequenceStart(..) => {
            let mut list = Vec::new();
            loop {
                match events.next()?? {
                    (Event::SequenceEnd, end) => {
                        let span = Span::new(span.start, end.end.max(span.end));
                        let value = Value::List(list);
                        return Some(Node { span, value });
                    }
                    (event, span) => list.push(build(event, span, events, depth + 1)?),
                }
            }
        }
        Event::MappingStart(..) => {
            let mut map = Vec::new();
            loop {
                match events.next()?? {
                    (Event::MappingEnd, end) => {
                        let span = Span::new(span.start, end.end.max(span.end));
                        let value = Value::Map(map);
                        return Some(Node { span, value });
                    }
                    (Event::Scalar(key, ..), at) => {
                        let value = node(events, depth + 1)?;
                        map.push((key.into_owned(), at, value));
                    }
                    _ => return None,
                }
            }
        }
        _ => None,
    }
}

impl Node {
    /// The entry of a map: the place of its key, and its value.
    pub fn get(&self, key: &str) -> Option<(Span, &Node)> {
        match &self.value {
            Value::Map(map) => map
                .iter()
                .find(|(k, _, _)| k == key)
                .map(|(_, at, v)| (*at, v)),
            _ => None,
        }
    }

    /// Keys of a map, with places and values.
    pub fn entries(&self) -> &[(String, Span, Node)] {
        match &self.value {
            Value::Map(map) => map,
            _ => &[],
        }
    }

    /// The text of a scalar.
    pub fn text(&self) -> Option<&str> {
        match &self.value {
            Value::Scalar(text) => Some(text),
            _ => None,
        }
    }

    /// The innermost entry of a map that holds byte `at`, at most `depth` keys down: its key's place and its value.
    pub fn entry_at(&self, at: usize, depth: usize) -> Option<(&str, Span, &Node)> {
        let holds = |(_, key, value): &&(String, Span, Node)| {
            (key.start..=value.span.end.max(key.end)).contains(&at)
        };
        let (name, key, value) = self.entries().iter().rev().find(holds)?;
        (depth > 1)
            .then(|| value.entry_at(at, depth - 1))
            .flatten()
            .or(Some((name, *key, value)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "# ü\nparts:\n  U1: {family: chip, pins: A B}\n  U2:\n    pins: >-\n      C\n      D\nlist: [a, {b: c}]\n";

    #[test]
    fn keys_and_values_know_their_places() {
        let root = tree(TEXT).unwrap();
        let (_, parts) = root.get("parts").unwrap();
        let (at, u1) = parts.get("U1").unwrap();
        assert_eq!(&TEXT[at.start..at.end], "U1");
        let (_, pins) = u1.get("pins").unwrap();
        assert_eq!(&TEXT[pins.span.start..pins.span.end], "A B");
        let (at, folded) = parts.get("U2").unwrap().1.get("pins").unwrap();
        assert_eq!(&TEXT[at.start..at.end], "pins");
        assert_eq!(folded.text(), Some("C D"));
        let b = TEXT.find("A B").unwrap();
        assert_eq!(root.entry_at(b, 2).unwrap().0, "U1");
        assert_eq!(root.entry_at(b, 9).unwrap().0, "pins");
    }

    #[test]
    fn what_is_no_yaml_is_no_tree() {
        for text in ["a: [", "? [a]\n: b", "", "a: *nowhere"] {
            assert!(tree(text).is_none_or(|t| t.entries().is_empty()), "{text}");
        }
        assert_eq!(tree(&"[".repeat(100_000)), None);
        assert_eq!(tree(&"{a: ".repeat(200)), None);
    }
}
