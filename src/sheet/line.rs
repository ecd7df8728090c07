//! A line of a sheet: its comment, its statements, and what of it was not understood.
//!
//! ```text
//! line      = [bullet] (raw | segment (";" segment)*) ["#" comment]
//! segment   = entry | parts                          (see `entry` for those of a ticket)
//! raw       = ("note" | "complaint") anything
//! parts     = part ((","|"and"|"."|"("|...) part)*
//! part      = statement | free words          (see `divide`)
//! ```

use std::collections::HashMap;

use super::concept::Concept;
use super::correct::{Memo, Reading};
use super::divide::{Part, Piece, read, read_whole, toks, turned_at};
use super::entry::{self, Entry};
use super::grammar::{explain, statement};
use super::hint;
use super::profile::Profile;
use super::recover::{as_above, read_text};
use super::statement::{Statement, Subject};
use super::token::Lexed;
use super::vocab::Vocabulary;
use super::{Bench, Correction, Line, NotUnderstood};
use crate::diag::{Diag, Severity, code};
use crate::source::{Span, Spanned};

/// A line longer than this is no statement (notes may be longer): all keys in quotes take about a thousand bytes.
const LONGEST_LINE: usize = 1_500;
/// A segment of more words and marks than this is not read: a list of all keys with commas has about 150.
const MOST_ATOMS: usize = 240;
/// After so many parts that were not read, lines are only tried as a whole.
const PATIENCE: usize = 1_000;
/// So many messages of one code are shown.
const MOST_ALIKE: usize = 100;
/// What reading a sheet carries from line to line.
pub struct Reader<'t> {
    /// The whole text.
    pub text: &'t str,
    /// The words used.
    pub words: &'t Vocabulary,
    /// The profile of the cartridge, where the sheet names one.
    profile: Option<&'t Profile>,
    /// Misspelt words seen before.
    pub memo: Memo,
    /// What is to be said, in order.
    pub diags: Vec<Diag>,
    /// Words that were read as others.
    pub corrections: Vec<Correction>,
    after_cell: bool,
    /// What the line above says, for `as above`.
    above: Vec<Statement>,
    /// Parts that were not read so far.
    unread: usize,
    /// Messages of each code so far.
    said: HashMap<&'static str, usize>,
}

impl<'t> Reader<'t> {
    /// A reader at the start of `text`.
    pub fn new(text: &'t str, bench: &Bench<'t>) -> Self {
        Self {
            text,
            words: bench.words,
            profile: bench.profile,
            memo: Memo::default(),
            diags: Vec::new(),
            corrections: Vec::new(),
            after_cell: false,
            above: Vec::new(),
            unread: 0,
            said: HashMap::new(),
        }
    }

    /// Reads the line at `span`; `None` when it is blank or only a comment.
    pub fn line(&mut self, number: usize, span: Span) -> Option<Line> {
        let content = trim(self.text, span);
        let content = without_bullet(self.text, content);
        let line_text = &self.text[content.start..content.end];
        if line_text.is_empty() || line_text.starts_with('#') || line_text.ends_with(entry::TORN) {
            return None;
        }
        let mut line = Line {
            number,
            span,
            statements: Vec::new(),
            struck: Vec::new(),
            struck_by: None,
            not_understood: None,
            alternatives: Vec::new(),
        };
        if self.in_words_of_the_cartridge(content, &mut line) {
            return Some(line);
        }
        let end = trim(
            self.text,
            Span::new(content.start, content.start + comment_start(line_text)),
        )
        .end;
        for segment in segments(self.text, Span::new(content.start, end)) {
            let segment = without_bullet(self.text, trim(self.text, segment));
            match entry::read(self.text, segment, content.end, self.words) {
                Some(Entry::Whole(statement)) => {
                    line.statements.push(Spanned {
                        value: statement,
                        span: Span::new(segment.start, content.end),
                    });
                    break;
                }
                Some(Entry::Part(all)) => {
                    let place = |value| Spanned {
                        value,
                        span: segment,
                    };
                    line.statements.extend(all.into_iter().map(place));
                    continue;
                }
                Some(Entry::Incomplete(help)) => {
                    let (code, message) = (code::INCOMPLETE, "this entry is not complete");
                    self.unread(&mut line, segment, segment, code, message, "here", help);
                    continue;
                }
                None => {}
            }
            if self.raw(Span::new(segment.start, content.end), &mut line) {
                break;
            }
            // Checked here, because notes may be as long as they like.
            if end - content.start > LONGEST_LINE {
                self.too_long(Span::new(content.start, end), &mut line);
                break;
            }
            if let Some(note) = self.segment(segment, &mut line) {
                self.raw(Span::new(note, content.end), &mut line);
                break;
            }
        }
        // Whatever reading made of it: a line with words that says nothing is told.
        let words = self.text[content.start..end]
            .chars()
            .any(char::is_alphanumeric);
        if words && line.statements.is_empty() && line.not_understood.is_none() {
            let whole = Span::new(content.start, end);
            let help = "type what was looked at and how it was, as in `memory bit 3 bad`; or `note` before a remark";
            let message = "nothing of this line was understood";
            self.unread(
                &mut line,
                whole,
                whole,
                code::NOT_UNDERSTOOD,
                message,
                "here",
                help,
            );
        }
        if let Some(last) = line.statements.last() {
            self.after_cell = is_cell(&last.value);
            self.above = line.statements.iter().map(|s| s.value.clone()).collect();
        }
        Some(line)
    }

    /// A line that the profile of the cartridge knows, read as what it stands for.
    fn in_words_of_the_cartridge(&mut self, content: Span, line: &mut Line) -> bool {
        let typed = &self.text[content.start..content.end];
        let Some(meant) = self
            .profile
            .filter(|_| typed.len() <= LONGEST_LINE)
            .and_then(|p| p.translate(typed))
        else {
            return false;
        };
        match read_text(&meant, self.words) {
            Some(all) => {
                let place = |value| Spanned {
                    value,
                    span: content,
                };
                line.statements.extend(all.into_iter().map(place));
                self.after_cell = line.statements.last().is_some_and(|s| is_cell(&s.value));
                self.above = line.statements.iter().map(|s| s.value.clone()).collect();
            }
            None => self.unread(
                line,
                content,
                content,
                code::PROFILE_LINE,
                "the profile makes no line of a sheet of this",
                "a line of the cartridge",
                &format!(
                    "it makes `{}`; correct the line in the profile, or type what was meant",
                    short(&meant)
                ),
            ),
        }
        true
    }

    /// `note ...` and `complaint ...` take the rest of the line as it stands.
    fn raw(&mut self, content: Span, line: &mut Line) -> bool {
        let text = &self.text[content.start..content.end];
        let mut cut = text.len().min(60);
        while !text.is_char_boundary(cut) {
            cut -= 1;
        }
        let lexed = Lexed::new(
            self.text,
            Span::new(content.start, content.start + cut),
            self.words,
            None,
        );
        let make: fn(String) -> Statement;
        let length = if let Some(length) = lexed.longest(0, Concept::Note) {
            make = Statement::Note;
            length
        } else if let Some(length) = lexed.longest(0, Concept::Complaint) {
            make = Statement::Complaint;
            length
        } else {
            return false;
        };
        let start = lexed.atoms[length - 1].span.end;
        let said = self.text[start..content.end]
            .trim_start_matches(|c: char| c.is_whitespace() || ":=-,".contains(c))
            .trim();
        if said.is_empty() {
            let help = "type the text behind it, as in `note socket of U18 replaced`";
            self.unread(
                line,
                content,
                content,
                code::NOT_UNDERSTOOD,
                "a text is missing",
                "the text is missing here",
                help,
            );
        } else {
            line.statements.push(Spanned {
                value: make(said.to_string()),
                span: content,
            });
        }
        true
    }

    fn too_long(&mut self, content: Span, line: &mut Line) {
        let mut end = content.end.min(content.start + 60);
        while !self.text.is_char_boundary(end) {
            end -= 1;
        }
        let shown = Span::new(content.start, end);
        let message = "this line is too long to be read";
        self.unread(
            line,
            content,
            shown,
            code::LINE_TOO_LONG,
            message,
            "starts here",
            "type one statement a line",
        );
    }

    /// Reads what stands between two semicolons. Returns where a note starts in it that takes the rest of the line.
    fn segment(&mut self, span: Span, line: &mut Line) -> Option<usize> {
        let mut lexed = Lexed::new(self.text, span, self.words, Some(&mut self.memo));
        lexed.after_cell =
            self.after_cell || line.statements.last().is_some_and(|s| is_cell(&s.value));
        if lexed.atoms.len() > MOST_ATOMS {
            self.too_long(span, line);
            return None;
        }
        let above: Vec<Statement> = match line.statements.is_empty() {
            true => self.above.clone(),
            false => line.statements.iter().map(|s| s.value.clone()).collect(),
        };
        if let Some(all) = as_above(&lexed, &above) {
            let to = lexed.atoms.len();
            self.keep(
                &lexed,
                vec![Piece {
                    from: 0,
                    to,
                    part: Part::Read(all),
                }],
                line,
            );
            return None;
        }
        let mut pieces = if self.is_patient() {
            read(&lexed)
        } else {
            read_whole(&lexed)
        };
        let note = pieces
            .iter()
            .position(|p| matches!(p.part, Part::Unread) && starts_note(&lexed, p.from));
        let note_start = note.map(|k| lexed.atoms[pieces[k].from].span.start);
        pieces.truncate(note.unwrap_or(pieces.len()));
        match turned_at(&lexed, &pieces) {
            Some(at) => self.turned_around(&lexed, at, line),
            None => self.keep(&lexed, pieces, line),
        }
        note_start
    }

    /// Puts the pieces into the line, with what is to be said about each.
    fn keep(&mut self, lexed: &Lexed, pieces: Vec<Piece>, line: &mut Line) {
        let any_read = pieces.iter().any(|p| matches!(p.part, Part::Read(_)));
        for piece in pieces {
            let place = lexed.span(piece.from, piece.to);
            match piece.part {
                Part::Empty => {}
                Part::Read(all) => {
                    self.note_corrections(lexed, piece.from, piece.to, &all, line.number);
                    for value in all {
                        // Said twice on a line is said once.
                        if !line.statements.iter().any(|s| s.value == value) {
                            line.statements.push(Spanned { value, span: place });
                        }
                    }
                }
                Part::Free if any_read => self.say(
                    code::IGNORED_WORDS,
                    Severity::Note,
                    format!(
                        "passed over: `{}`",
                        short(&self.text[place.start..place.end])
                    ),
                    (place, "not a result of its own".into()),
                    "put `#` before remarks, or start the line with `note`".into(),
                ),
                Part::Doubted => self.doubted(lexed, piece.from, piece.to, line),
                Part::Free | Part::Unread => self.not_understood(lexed, piece.from, piece.to, line),
            }
        }
    }

    /// Whether lines are still looked at closely: a text with very many lines that are no statements is no sheet.
    fn is_patient(&self) -> bool {
        self.unread < PATIENCE
    }

    fn note_corrections(
        &mut self,
        lexed: &Lexed,
        from: usize,
        to: usize,
        read: &[Statement],
        number: usize,
    ) {
        let corrected = |i: &usize| matches!(lexed.atoms[*i].reading, Reading::As(_));
        if !(from..to).any(|i| corrected(&i)) || self.reads_as_typed(lexed.span(from, to), read) {
            return;
        }
        // Names are taken as typed, whatever they look like.
        let named = matches!(
            read.first(),
            Some(Statement::Ticket(_) | Statement::Board(_) | Statement::Cartridge(_))
        );
        let to = if named { from + 1 } else { to };
        for i in from..to {
            let Reading::As(word) = &lexed.atoms[i].reading else {
                continue;
            };
            let typed = lexed.typed(i).to_string();
            self.say(
                code::CORRECTED_WORD,
                Severity::Warning,
                format!("`{typed}` was read as `{word}`"),
                (lexed.atoms[i].span, format!("read as `{word}`")),
                format!("type `{word}`, or another word if that is not what was meant"),
            );
            self.corrections.push(Correction {
                line: number,
                typed,
                read_as: word.clone(),
            });
        }
    }

    /// Whether a part says the same without corrections: what was corrected is a name there, taken as typed.
    fn reads_as_typed(&self, part: Span, read: &[Statement]) -> bool {
        let plain = Lexed::new(self.text, part, self.words, None);
        statement(toks(&plain, 0, plain.atoms.len())).is_some_and(|all| all == read)
    }

    fn turned_around(&mut self, lexed: &Lexed, at: usize, line: &mut Line) {
        let whole = lexed.span(0, lexed.atoms.len());
        let word = lexed.typed(at);
        let (message, help) = match &lexed.atoms[at].reading {
            _ if word == "?" => (
                "a question is no result".to_string(),
                "type what was seen, or `note` before a remark".to_string(),
            ),
            Reading::NearChanger(meant) => (
                format!("`{word}` may be `{meant}`, which would change what the line says"),
                "type the result in plain words, as in `memory bad`, or `note` before a remark"
                    .to_string(),
            ),
            _ => (
                format!("`{word}` may change what the line says, so it is not read"),
                "say it without that word, as in `memory bad`, or type `note` before a remark"
                    .to_string(),
            ),
        };
        self.unread(
            line,
            whole,
            lexed.atoms[at].span,
            code::TURNED_AROUND,
            &message,
            "this word",
            &help,
        );
    }

    fn not_understood(&mut self, lexed: &Lexed, from: usize, to: usize, line: &mut Line) {
        let whole = lexed.span(from, to);
        if !self.is_patient() {
            self.unread(
                line,
                whole,
                whole,
                code::NOT_UNDERSTOOD,
                "not understood",
                "no statement",
                "see the lines above",
            );
            return;
        }
        let part = toks(lexed, from, to);
        let said = hint::explain(part, &explain(part));
        self.unread(
            line,
            whole,
            said.place,
            said.code,
            &said.message,
            &said.label,
            &said.help,
        );
    }

    /// A question about what stands last in a line.
    fn doubted(&mut self, lexed: &Lexed, from: usize, to: usize, line: &mut Line) {
        let place = lexed.atoms[to - 1].span;
        self.unread(
            line,
            lexed.span(from, to),
            place,
            code::TURNED_AROUND,
            "a question is no result",
            "this mark",
            "type what was seen, or `note` before a remark",
        );
    }

    /// Keeps a part that was not read, with what to say about it.
    #[allow(clippy::too_many_arguments)] // the parts of one message
    fn unread(
        &mut self,
        line: &mut Line,
        whole: Span,
        place: Span,
        code: &'static str,
        message: &str,
        label: &str,
        help: &str,
    ) {
        self.unread += 1;
        match &mut line.not_understood {
            Some(kept) => {
                kept.span.end = kept.span.end.max(whole.end);
                kept.pieces.push(whole);
            }
            none => {
                *none = Some(NotUnderstood {
                    span: whole,
                    pieces: vec![whole],
                    hint: help.to_string(),
                })
            }
        }
        self.say(
            code,
            Severity::Error,
            message.to_string(),
            (place, label.to_string()),
            help.to_string(),
        );
    }

    /// Adds a message, unless there are already very many of its code.
    fn say(
        &mut self,
        code: &'static str,
        severity: Severity,
        message: String,
        label: (Span, String),
        help: String,
    ) {
        let count = self.said.entry(code).or_insert(0);
        *count += 1;
        if *count <= MOST_ALIKE {
            self.diags.push(Diag {
                code,
                severity,
                message,
                label: Some(label),
                help: Some(help),
            });
        }
    }

    /// What was said and corrected; messages that were left out are counted.
    pub fn finish(mut self) -> (Vec<Diag>, Vec<Correction>) {
        let mut more: Vec<(&str, usize)> = self
            .said
            .into_iter()
            .filter(|(_, n)| *n > MOST_ALIKE)
            .collect();
        more.sort_unstable();
        for (code, count) in more {
            self.diags.push(Diag {
                code: code::MORE_ALIKE,
                severity: Severity::Note,
                message: format!(
                    "{} more messages `{code}` are not shown",
                    count - MOST_ALIKE
                ),
                label: None,
                help: Some("put the first ones right, or leave out what is no statement".into()),
            });
        }
        (self.diags, self.corrections)
    }
}

/// Whether a note or complaint starts at atom `i`.
fn starts_note(lexed: &Lexed, i: usize) -> bool {
    [Concept::Note, Concept::Complaint]
        .iter()
        .any(|c| lexed.longest(i, *c).is_some())
}

fn is_cell(statement: &Statement) -> bool {
    matches!(statement, Statement::Finding(f) if matches!(f.subject, Subject::MemoryCell { .. }))
}

fn trim(text: &str, span: Span) -> Span {
    let line = &text[span.start..span.end];
    let start = span.start + (line.len() - line.trim_start().len());
    Span::new(
        start.min(span.end),
        (start + line.trim().len()).min(span.end),
    )
}

/// `- memory ok`, `* memory ok`: a list mark at the start means nothing.
fn without_bullet(text: &str, span: Span) -> Span {
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
fn comment_start(line: &str) -> usize {
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
fn segments(text: &str, span: Span) -> Vec<Span> {
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

/// A text cut to what fits a message.
pub fn short(text: &str) -> String {
    if text.chars().count() <= 40 {
        return text.to_string();
    }
    let head: String = text.chars().take(37).collect();
    format!("{head}...")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::print_statement;

    fn line(text: &str) -> Option<(Vec<String>, Vec<String>)> {
        let mut reader = Reader::new(text, &Bench::default());
        let line = reader.line(1, Span::new(0, text.len()))?;
        let kept = line
            .not_understood
            .iter()
            .flat_map(|n| &n.pieces)
            .map(|s| text[s.start..s.end].to_string());
        Some((
            line.statements
                .iter()
                .map(|s| print_statement(&s.value))
                .collect(),
            kept.collect(),
        ))
    }

    fn strings(all: &[&str]) -> Vec<String> {
        all.iter().map(|s| s.to_string()).collect()
    }

    #[test]
    fn blank_lines_and_comments_are_no_lines() {
        assert_eq!(line("   "), None);
        assert_eq!(line("\t# memory bad"), None);
        assert_eq!(
            line("memory ok # bad"),
            Some((strings(&["memory ok"]), vec![]))
        );
        assert_eq!(
            line("key \"a # b\" dead"),
            Some((strings(&["key \"A # B\" dead"]), vec![]))
        );
    }

    #[test]
    fn what_is_not_read_is_kept_in_its_place_and_stops_nothing() {
        let read = line("memory ok; blorp fnord; sound dead").unwrap();
        assert_eq!(
            read,
            (
                strings(&["memory ok", "sound dead"]),
                strings(&["blorp fnord"])
            )
        );
        let read = line("memory ok; U17 hot?; sound dead").unwrap();
        assert_eq!(
            read,
            (
                strings(&["memory ok", "sound dead"]),
                strings(&["U17 hot?"])
            )
        );
    }

    #[test]
    fn notes_take_the_rest_of_the_line() {
        let read = line("memory ok; note not sure; ask #2").unwrap();
        assert_eq!(
            read,
            (strings(&["memory ok", "note not sure; ask #2"]), vec![])
        );
    }

    #[test]
    fn a_line_of_the_longest_kind_is_refused_whole() {
        let text = "memory bit 3 bad, ".repeat(200);
        let (read, kept) = line(&text).unwrap();
        assert_eq!((read.len(), kept), (0, vec![text.trim().to_string()]));
    }

    #[test]
    fn corrections_are_reported_only_where_they_were_used() {
        let text = "memroy ok; rail BENA 5.1; ticket memroy";
        let mut reader = Reader::new(text, &Bench::default());
        reader.line(7, Span::new(0, text.len())).unwrap();
        let (diags, corrections) = reader.finish();
        let expected = Correction {
            line: 7,
            typed: "memroy".into(),
            read_as: "memory".into(),
        };
        assert_eq!(corrections, [expected]);
        assert_eq!(diags.len(), 1);
    }
}
