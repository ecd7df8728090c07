//! Everything the program has to say about a text: one value per finding, drawn later.

use annotate_snippets::{AnnotationKind, Group, Level, Origin, Renderer, Snippet};

use crate::source::Span;

/// How serious a finding is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Worth knowing.
    Note,
    /// Something was corrected, doubted or ignored.
    Warning,
    /// Something was not understood.
    Error,
}

/// One finding about a text.
#[derive(Debug, Clone, PartialEq)]
pub struct Diag {
    /// Stable kebab-case code, documented in DEVELOPERS.md.
    pub code: &'static str,
    /// How serious.
    pub severity: Severity,
    /// One line: what is wrong.
    pub message: String,
    /// The place, with what to write beside it.
    pub label: Option<(Span, String)>,
    /// What to type instead.
    pub help: Option<String>,
}

/// The codes of the diagnostics: stable, documented, each with a sample in `tests/errors/`.
pub mod code {
    macro_rules! codes {
        ($(#[doc = $about:literal])+ $list:ident: $($(#[doc = $doc:literal])+ $name:ident = $code:literal;)*) => {
            $($(#[doc = $doc])+ pub const $name: &str = $code;)*
            $(#[doc = $about])+
            pub const $list: &[(&str, &str)] = &[$(($code, concat!($($doc),+))),*];
        };
    }

    codes! {
        /// All codes of run sheets, each with what it means.
        SHEET:
        /// A line, or part of it, is not a statement.
        NOT_UNDERSTOOD = "not-understood";
        /// A statement breaks off: something that must follow is missing.
        INCOMPLETE = "incomplete";
        /// A word such as `not`, `maybe` or `?` may turn the meaning around; the statement is not read.
        TURNED_AROUND = "turned-around";
        /// A word is near several words of the bench; none is taken.
        UNCLEAR_WORD = "unclear-word";
        /// A misspelt word was read as the one word it is near to.
        CORRECTED_WORD = "corrected-word";
        /// Words beside a statement were passed over.
        IGNORED_WORDS = "ignored-words";
        /// A line is too long to be a statement.
        LINE_TOO_LONG = "line-too-long";
        /// There are very many messages of one code; the rest are only counted.
        MORE_ALIKE = "more-alike";
        /// Recognitions of a photograph differ, or a value in one may be read in several ways.
        UNCLEAR_PHOTO = "unclear-photo";
        /// Fewer or more lines were recognised than were counted on the photograph.
        LINES_DIFFER = "lines-differ";
        /// The profile of a cartridge makes something of a line that is no line of a run sheet.
        PROFILE_LINE = "profile-line";
        /// A name that may be a part of the board and is in no words file.
        UNKNOWN_NAME = "unknown-name";
        /// The file is not UTF-8 and was read as Latin-1.
        NOT_UTF8 = "not-utf8";
    }

    codes! {
        /// All codes of a sheet held against a board, each with what it means.
        BOARD:
        /// The board map has no part in that position.
        UNKNOWN_POSITION = "unknown-position";
        /// The board map has no such rail.
        UNKNOWN_RAIL = "unknown-rail";
        /// No pin or line of the board is called so.
        UNKNOWN_PLACE = "unknown-place";
        /// The board map has no check for this result.
        NO_SUCH_CHECK = "no-such-check";
        /// The reading neither accuses nor clears anything.
        NOTHING_FOLLOWS = "nothing-follows";
        /// The value is outside physical sense; it is not used.
        NO_SENSE = "no-sense";
        /// There is no profile of that cartridge, or none for this board.
        UNKNOWN_CARTRIDGE = "unknown-cartridge";
    }
}

/// The word of `known` that is nearest to `typed`, if one is near: at most two edits (Damerau–Levenshtein), at most
/// one for words of up to four letters, case ignored. For offers only; nothing is read that way.
pub fn did_you_mean<'k>(typed: &str, known: impl Iterator<Item = &'k str>) -> Option<&'k str> {
    let typed = typed.to_lowercase();
    let reach = if typed.chars().count() <= 4 { 1 } else { 2 };
    known
        .map(|word| {
            (
                strsim::damerau_levenshtein(&typed, &word.to_lowercase()),
                word,
            )
        })
        .filter(|(distance, _)| *distance <= reach)
        .min()
        .map(|(_, word)| word)
}

/// Width of rendered messages in columns.
const WIDTH: usize = 80;

/// Draws diagnostics with their source lines and carets. `name` is the file, `text` the whole text the spans point into.
pub fn render(diags: &[Diag], name: &str, text: &str, color: bool) -> String {
    let renderer = if color {
        Renderer::styled()
    } else {
        Renderer::plain()
    }
    .term_width(WIDTH);
    let mut out = String::new();
    for diag in diags {
        let wrapped = Diag {
            help: diag.help.as_deref().map(|h| wrap(h, WIDTH - HELP_INDENT)),
            ..diag.clone()
        };
        let group = group(&wrapped, name, text);
        out.push_str(&renderer.render(&[group]));
        out.push_str("\n\n");
    }
    out.truncate(out.trim_end().len());
    if !out.is_empty() {
        out.push('\n');
    }
    out
}

/// Columns before a help text: gutter, `= help: `; line numbers of up to four digits fit.
const HELP_INDENT: usize = 14;

/// Breaks a text at spaces so that no line is longer than `width` where words allow.
fn wrap(text: &str, width: usize) -> String {
    let mut out = String::new();
    let mut column = 0;
    for word in text.split(' ') {
        let length = textwrap::core::display_width(word);
        if column > 0 && column + 1 + length > width {
            out.push('\n');
            column = 0;
        } else if column > 0 {
            out.push(' ');
            column += 1;
        }
        out.push_str(word);
        column += length;
    }
    out
}

/// One diagnostic as a title, its source line and its help.
fn group<'a>(diag: &'a Diag, name: &'a str, text: &'a str) -> Group<'a> {
    let level = match diag.severity {
        Severity::Note => Level::NOTE,
        Severity::Warning => Level::WARNING,
        Severity::Error => Level::ERROR,
    };
    let mut group = Group::with_title(level.primary_title(diag.message.as_str()).id(diag.code));
    group = match &diag.label {
        Some((span, label)) => {
            let (line, number) = line_at(text, span.start);
            let start = span.start.clamp(line.start, line.end) - line.start;
            let end = span.end.clamp(line.start + start, line.end) - line.start;
            let source = Snippet::source(&text[line.start..line.end])
                .line_start(number)
                .path(name);
            group.element(
                source.annotation(
                    AnnotationKind::Primary
                        .span(start..end)
                        .label(label.as_str()),
                ),
            )
        }
        None => group.element(Origin::path(name)),
    };
    match &diag.help {
        Some(help) => group.element(Level::HELP.message(help.as_str())),
        None => group,
    }
}

/// The line that holds byte `at`, and its number from 1. Lines end with LF, CR or both, as in a sheet.
fn line_at(text: &str, at: usize) -> (Span, usize) {
    let at = at.min(text.len());
    let before = &text.as_bytes()[..at];
    let start = before
        .iter()
        .rposition(|b| matches!(b, b'\n' | b'\r'))
        .map_or(0, |p| p + 1);
    let end = text[start..]
        .find(['\n', '\r'])
        .map_or(text.len(), |p| start + p);
    let ends = before.iter().enumerate();
    let number = 1 + ends
        .filter(|(i, b)| {
            **b == b'\n' || (**b == b'\r' && text.as_bytes().get(i + 1) != Some(&b'\n'))
        })
        .count();
    (Span::new(start, end), number)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample(span: Span) -> Diag {
        Diag {
            code: code::NOT_UNDERSTOOD,
            severity: Severity::Error,
            message: "not understood: `blorp`".into(),
            label: Some((span, "expected a result".into())),
            help: Some("type `memory ok`".into()),
        }
    }

    #[test]
    fn drawn_with_its_line_and_caret() {
        let text = "memory ok\r\nU17 hot\nblorp\n";
        let out = render(&[sample(Span::new(19, 24))], "a.run", text, false);
        let expected = "\
error[not-understood]: not understood: `blorp`
 --> a.run:3:1
  |
3 | blorp
  | ^^^^^ expected a result
  |
  = help: type `memory ok`
";
        assert_eq!(out, expected);
    }

    #[test]
    fn spans_beyond_the_text_do_not_panic() {
        for span in [
            Span::new(0, 900),
            Span::new(900, 901),
            Span::new(3, 3),
            Span::new(5, 2),
        ] {
            assert!(render(&[sample(span)], "a", "blorp", false).contains("blorp"));
        }
        assert!(render(&[sample(Span::new(0, 0))], "a", "", true).contains("blorp"));
    }

    #[test]
    fn near_words_are_offered() {
        let words = ["memory", "picture", "ok"];
        assert_eq!(did_you_mean("Memmory", words.into_iter()), Some("memory"));
        assert_eq!(did_you_mean("xyzzy", words.into_iter()), None);
    }

    #[test]
    fn codes_are_kebab_case_and_differ() {
        let mut seen = std::collections::BTreeSet::new();
        for (code, about) in code::SHEET.iter().chain(code::BOARD) {
            assert!(
                code.bytes()
                    .all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-'),
                "{code}"
            );
            assert!(seen.insert(code) && !about.is_empty());
        }
    }
}
