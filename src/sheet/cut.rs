//! Where the pieces of a line lie in the text: list mark, comment, segments between semicolons.

use super::concept::Concept;
use super::vocab::Vocabulary;
use crate::source::Span;

/// Without the blanks around.
pub fn trim(text: &str, span: Span) -> Span {
    let line = &text[span.start..span.end];
    let start = span.start + (line.len() - line.trim_start().len());
    Span::new(
        start.min(span.end),
        (start + line.trim().len()).min(span.end),
    )
}

/// `- memory ok`, `* memory ok`: a list mark at the start means nothing.
pub fn without_bullet(text: &str, span: Span) -> Span {
    let line = &text[span.start..span.end];
    let mut chars = line.chars();
    match (chars.next(), chars.next()) {
        (Some(c @ ('-' | '*' | '\u{2022}' | '\u{b7}')), Some(next)) if next.is_whitespace() => {
            trim(text, Span::new(span.start + c.len_utf8(), span.end))
        }
        _ => span,
    }
}

/// Where the comment of a line starts: a `#` behind a space, outside quotes.
pub fn comment_start(line: &str) -> usize {
    let mut quoted = false;
    let mut before = ' ';
    for (at, c) in line.char_indices() {
        match c {
            '"' => quoted = !quoted && line[at + 1..].contains('"'),
            // `ticket #0418` holds a number, not a comment.
            '#' if before.is_whitespace() && !quoted && !numbers(line, at) => return at,
            _ => {}
        }
        before = c;
    }
    line.len()
}

/// Whether the `#` at `at` stands between one word and a number, which nothing else follows.
fn numbers(line: &str, at: usize) -> bool {
    let word = line[..at].trim();
    let digits = line[at + 1..].trim();
    !word.is_empty()
        && word.chars().all(char::is_alphabetic)
        && Vocabulary::english().is(&word.to_lowercase(), Concept::Ticket)
        && !digits.is_empty()
        && digits.bytes().all(|b| b.is_ascii_digit())
}

/// The spans between semicolons outside quotes.
pub fn segments(text: &str, span: Span) -> Vec<Span> {
    let line = &text[span.start..span.end];
    let mut all = Vec::new();
    let (mut start, mut quoted) = (0, false);
    for (at, c) in line.char_indices() {
        match c {
            '"' => quoted = !quoted && line[at + 1..].contains('"'),
            ';' if !quoted => {
                all.push(Span::new(span.start + start, span.start + at));
                start = at + 1;
            }
            _ => {}
        }
    }
    all.push(Span::new(span.start + start, span.end));
    all
}

/// `#736 the narrow one`: a sign and a number at the start of a line may number the ticket; the digits and where they end.
pub fn ticket_sign(line: &str) -> Option<(&str, usize)> {
    let rest = line.strip_prefix('#')?;
    let length = rest.bytes().take_while(u8::is_ascii_digit).count();
    (length > 0).then(|| (&rest[..length], length + 1))
}
