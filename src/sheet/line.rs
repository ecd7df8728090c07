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

use super::above::{as_above, asked, goes_on};
use super::correct::Memo;
use super::cut::{comment_start, segments, ticket_sign, trim, without_bullet};
use super::divide::{Part, Piece, read, read_whole, turned_at};
use super::entry::{self, Entry};
use super::islands::islands;
use super::plain::speaks_of_others;
use super::profile::Profile;
use super::recover::read_text;
use super::say::short;
use super::statement::{Statement, Subject};
use super::texts::starts_note;
use super::token::Lexed;
use super::vocab::Vocabulary;
use super::{Bench, Correction, Line};
use crate::diag::{Diag, Severity, code};
use crate::source::{Span, Spanned};

/// A line longer than this is no statement (notes may be longer): all keys in quotes take about a thousand bytes.
const LONGEST_LINE: usize = 1_500;
/// A segment of more words and marks than this is not read: a list of all keys with commas has about 150.
const MOST_ATOMS: usize = 240;

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
    /// Comments, each from its sign to the end of the line.
    pub comments: Vec<Span>,
    /// Words that say nothing beside what was read.
    pub(super) passed_over: Vec<Span>,
    /// Work done so far: the words of all ranges of words that the grammar was tried on.
    pub(super) work: usize,
    after_cell: bool,
    /// What the line above says, for `as above`.
    above: Vec<Statement>,
    /// A ticket was named above.
    pub(super) ticketed: bool,
    /// Bits, voices, timers and clocks that lines of this run name.
    pub(super) named: Vec<Subject>,
    /// Parts that were not read so far.
    pub(super) unread: usize,
    /// Messages of each code so far.
    pub(super) said: HashMap<&'static str, usize>,
    /// Nothing is said about what is not read: only what a line means is asked.
    pub(super) quiet: bool,
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
            comments: Vec::new(),
            passed_over: Vec::new(),
            work: 0,
            after_cell: false,
            above: Vec::new(),
            ticketed: false,
            named: Vec::new(),
            unread: 0,
            said: HashMap::new(),
            quiet: false,
        }
    }

    /// A reader of `text` that stands where this one stands and says nothing. It takes `memo` along, to be brought back.
    pub(super) fn instead<'u>(&mut self, text: &'u str) -> Reader<'u>
    where
        't: 'u,
    {
        Reader {
            text,
            words: self.words,
            profile: self.profile,
            memo: std::mem::take(&mut self.memo),
            diags: Vec::new(),
            corrections: Vec::new(),
            comments: Vec::new(),
            passed_over: Vec::new(),
            work: 0,
            after_cell: self.after_cell,
            above: self.above.clone(),
            ticketed: self.ticketed,
            named: self.named.clone(),
            unread: self.unread,
            said: HashMap::new(),
            quiet: true,
        }
    }

    /// Reads the line at `span`; `None` when it is blank or only a comment.
    pub fn line(&mut self, number: usize, span: Span) -> Option<Line> {
        let content = trim(self.text, span);
        let content = without_bullet(self.text, content);
        let mut content = content;
        let line_text = &self.text[content.start..content.end];
        let sign = ticket_sign(line_text);
        let comment = line_text.starts_with('#') && sign.is_none();
        if comment || line_text.ends_with(entry::TORN) {
            self.comments.push(content);
            return None;
        }
        if line_text.is_empty() {
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
            provisional: None,
        };
        if let Some((digits, length)) = sign {
            let place = Span::new(content.start, content.start + length);
            content = trim(self.text, Span::new(place.end, content.end));
            if !self.numbered(digits, place, content, &mut line) {
                return Some(line);
            }
        }
        let line_text = &self.text[content.start..content.end];
        if line_text.is_empty() {
            return Some(line);
        }
        if self.in_words_of_the_cartridge(content, &mut line) {
            return Some(line);
        }
        let end = trim(
            self.text,
            Span::new(content.start, content.start + comment_start(line_text)),
        )
        .end;
        let mut comment = Some(Span::new(end, content.end));
        for segment in segments(self.text, Span::new(content.start, end)) {
            let segment = without_bullet(self.text, trim(self.text, segment));
            match entry::read(self.text, segment, content.end, self.words) {
                Some(Entry::Whole(statement)) => {
                    line.statements.push(Spanned {
                        value: statement,
                        span: Span::new(segment.start, content.end),
                    });
                    comment = None;
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
                comment = None;
                break;
            }
            // Checked here, because notes may be as long as they like.
            if end - content.start > LONGEST_LINE {
                self.too_long(Span::new(content.start, end), &mut line);
                break;
            }
            if let Some(note) = self.segment(segment, &mut line) {
                self.raw(Span::new(note, content.end), &mut line);
                comment = None;
                break;
            }
        }
        let comment = comment.map(|c| trim(self.text, c));
        self.comments.extend(comment.filter(|c| c.start < c.end));
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
        self.remember(&line);
        self.ticketed |= line
            .statements
            .iter()
            .any(|s| matches!(s.value, Statement::Ticket(_)));
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
        let after_cell =
            self.after_cell || line.statements.last().is_some_and(|s| is_cell(&s.value));
        let keeps = !self.quiet && self.is_patient();
        if keeps && self.said_before(span, after_cell, line) {
            return None;
        }
        let mut lexed = Lexed::new(self.text, span, self.words, Some(&mut self.memo));
        lexed.after_cell = after_cell;
        if lexed.atoms.len() > MOST_ATOMS {
            self.too_long(span, line);
            return None;
        }
        let above: Vec<Statement> = match line.statements.is_empty() {
            true => self.above.clone(),
            false => line.statements.iter().map(|s| s.value.clone()).collect(),
        };
        let related = as_above(&lexed, &above)
            .or_else(|| goes_on(&lexed, &above))
            .or_else(|| asked(&lexed));
        if let Some(all) = related {
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
        self.work += lexed.work();
        let note = pieces
            .iter()
            .position(|p| matches!(p.part, Part::Unread) && starts_note(&lexed, p.from));
        let before_note = note.map_or(lexed.atoms.len(), |k| pieces[k].from);
        let note_start = note.map(|k| lexed.atoms[pieces[k].from].span.start);
        if keeps && note.is_none() {
            self.words.plain.put(&lexed, span, &pieces);
        }
        pieces.truncate(note.unwrap_or(pieces.len()));
        let unread = |p: &Piece| matches!(p.part, Part::Unread);
        let standing = match self.is_patient() && pieces.iter().any(unread) {
            true => islands(&lexed, &pieces),
            false => None,
        };
        let read = |p: &Piece| matches!(p.part, Part::Read(_));
        let turned = turned_at(&lexed, &pieces);
        match (standing, turned) {
            (Some(all), None) => self.keep(&lexed, all, line),
            (Some(all), Some(_)) if all.iter().any(read) => self.keep(&lexed, all, line),
            (_, Some(at)) => self.turned_around(&lexed, at, before_note, line),
            (None, None) => self.keep(&lexed, pieces, line),
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
                    let rest = speaks_of_others(lexed, piece.from, piece.to);
                    self.put(all, rest, place, line);
                }
                Part::Free if any_read => {
                    self.passed_over.push(place);
                    self.say(
                        code::IGNORED_WORDS,
                        Severity::Note,
                        format!(
                            "passed over: `{}`",
                            short(&self.text[place.start..place.end])
                        ),
                        (place, "not a result of its own".into()),
                        "put `#` before remarks, or start the line with `note`".into(),
                    );
                }
                Part::Doubted => self.doubted(lexed, piece.from, piece.to, line),
                Part::Free | Part::Unread => self.not_understood(lexed, piece.from, piece.to, line),
            }
        }
    }
}

/// `shift l` and the like are the left and right key.
pub(super) fn usual_name(statement: &mut Statement) {
    if let Statement::Finding(f) = statement
        && let Subject::Key(name) = &mut f.subject
        && let Some(usual) = match &**name {
            "SHIFT L" | "L SHIFT" => Some("LEFT SHIFT"),
            "SHIFT R" | "R SHIFT" => Some("RIGHT SHIFT"),
            _ => None,
        }
    {
        *name = usual.into();
    }
}

fn is_cell(statement: &Statement) -> bool {
    matches!(statement, Statement::Finding(f) if matches!(f.subject, Subject::MemoryCell { .. }))
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
