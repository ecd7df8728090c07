//! A line of a sheet: its comment, its statements, and what of it was not understood.
//!
//! ```text
//! line      = [bullet] (raw | segment (";" segment)*) ["#" comment]
//! raw       = ("note" | "complaint") anything
//! segment   = part ((","|"and"|"."|"("|...) part)*
//! part      = statement | free words
//! ```
//! A comma may divide statements or stand inside one; the division is taken that leaves the least unread, with the
//! fewest parts. Statements without a mark between them (`+5V 4.98 +12V 11.9`) are divided when there is one way only.

use std::collections::HashMap;

use super::correct::{Memo, Reading};
use super::grammar::{continued, explain, statement};
use super::hint;
use super::statement::{Effect, Statement, Subject};
use super::token::{Kind, Lexed, Toks};
use super::vocab::{Concept, Concepts, Vocabulary};
use super::{Correction, Line, NotUnderstood};
use crate::diag::{Diag, Severity, code};
use crate::source::{Span, Spanned};

/// A line longer than this is no statement (notes may be longer): all keys in quotes take about a thousand bytes.
const LONGEST_LINE: usize = 1_500;
/// A segment of more words and marks than this is not read: a list of all keys with commas has about 150.
const MOST_ATOMS: usize = 240;
/// More divided parts than this in one segment are not tried in all combinations.
const MOST_PARTS: usize = 24;
/// Longer runs of atoms are not divided without marks.
const MOST_UNDIVIDED: usize = 24;

/// Words for how something was: a part that starts with one may belong to the part before.
const STATES: Concepts = Concepts::of(&[
    Concept::Good,
    Concept::Bad,
    Concept::Low,
    Concept::High,
    Concept::Dead,
    Concept::Missing,
    Concept::Stopped,
    Concept::Slow,
    Concept::Fast,
    Concept::Wrong,
    Concept::Garbage,
    Concept::Noisy,
    Concept::Stuck,
    Concept::Hot,
    Concept::TooHot,
    Concept::Cold,
    Concept::Warm,
    Concept::Shorted,
    Concept::Open,
    Concept::No,
    Concept::Empty,
    Concept::Cured,
    Concept::NoChange,
    Concept::Changed,
    Concept::Moved,
    Concept::Worse,
]);

/// What reading a sheet carries from line to line.
pub struct Reader<'t> {
    /// The whole text.
    pub text: &'t str,
    /// The words used.
    pub words: &'t Vocabulary,
    /// Misspelt words seen before.
    pub memo: Memo,
    /// What is to be said, in order.
    pub diags: Vec<Diag>,
    /// Words that were read as others.
    pub corrections: Vec<Correction>,
    after_cell: bool,
}

/// A part of a segment after reading.
enum Part {
    Read(Vec<Statement>),
    Free,
    Empty,
    Unread,
}

/// A run of atoms and what became of it.
struct Piece {
    from: usize,
    to: usize,
    part: Part,
}

impl<'t> Reader<'t> {
    /// A reader at the start of `text`.
    pub fn new(text: &'t str, words: &'t Vocabulary) -> Self {
        Self {
            text,
            words,
            memo: Memo::default(),
            diags: Vec::new(),
            corrections: Vec::new(),
            after_cell: false,
        }
    }

    /// Reads the line at `span`; `None` when it is blank or only a comment.
    pub fn line(&mut self, number: usize, span: Span) -> Option<Line> {
        let content = trim(self.text, span);
        let content = without_bullet(self.text, content);
        let line_text = &self.text[content.start..content.end];
        if line_text.is_empty() || line_text.starts_with('#') {
            return None;
        }
        let mut line = Line {
            number,
            span,
            statements: Vec::new(),
            not_understood: None,
        };
        let end = trim(
            self.text,
            Span::new(content.start, content.start + comment_start(line_text)),
        )
        .end;
        for segment in segments(self.text, Span::new(content.start, end)) {
            let segment = without_bullet(self.text, trim(self.text, segment));
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
        if let Some(last) = line.statements.last() {
            self.after_cell = matches!(&last.value, Statement::Finding(f)
                if matches!(f.subject, Subject::MemoryCell { .. } | Subject::MemoryRange(..)));
        }
        Some(line)
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
            shown,
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
        lexed.after_cell = self.after_cell
            || line.statements.last().is_some_and(|s| {
                matches!(&s.value,
            Statement::Finding(f) if matches!(f.subject, Subject::MemoryCell { .. }))
            });
        if lexed.atoms.is_empty() {
            return None;
        }
        if lexed.atoms.len() > MOST_ATOMS {
            self.too_long(span, line);
            return None;
        }
        let mut pieces = divide(&lexed);
        for piece in &mut pieces {
            if matches!(piece.part, Part::Unread)
                && let Some(all) = undivided(&lexed, piece.from, piece.to)
            {
                piece.part = Part::Read(all);
            }
        }
        // `ok voice 2` behind something that was not read may be two halves: the state belongs to what was before.
        for k in 1..pieces.len() {
            let starts_with_state =
                pieces[k].from < pieces[k].to && STATES.meets(&lexed.atoms[pieces[k].from].heads());
            if starts_with_state && matches!(pieces[k - 1].part, Part::Unread) {
                pieces[k].part = Part::Unread;
            }
        }
        for k in 1..pieces.len() {
            let Part::Read(before) = &pieces[k - 1].part else {
                continue;
            };
            let Some(Statement::Finding(last)) = before.last() else {
                continue;
            };
            if let (Part::Unread, Some(all)) = (
                &pieces[k].part,
                continued_all(&lexed, &pieces[k], &last.subject),
            ) {
                pieces[k].part = Part::Read(all);
            }
        }
        let raw = |p: &Piece| {
            let starts = [Concept::Note, Concept::Complaint]
                .iter()
                .any(|c| lexed.longest(p.from, *c).is_some());
            matches!(p.part, Part::Unread) && starts
        };
        let note = pieces.iter().position(raw);
        let note_start = note.map(|k| lexed.atoms[pieces[k].from].span.start);
        pieces.truncate(note.unwrap_or(pieces.len()));
        let unread = pieces.iter().filter(|p| matches!(p.part, Part::Unread));
        // `but` before what was not read limits what was: it counts with the part behind it.
        let turned = unread
            .map(|p| (p.from.saturating_sub(1), p))
            .find_map(|(before, p)| {
                let limited = before < p.from && divides(&lexed, before);
                turning(&lexed, if limited { before } else { p.from }, p.to)
            });
        if let Some(at) = turned {
            self.turned_around(&lexed, at, line);
            return note_start;
        }
        let any_read = pieces.iter().any(|p| matches!(p.part, Part::Read(_)));
        for piece in pieces {
            let place = lexed.span(piece.from, piece.to);
            match piece.part {
                Part::Empty => {}
                Part::Read(all) => {
                    self.note_corrections(&lexed, &piece.from, piece.to, &all, line.number);
                    for value in all {
                        // Said twice on a line is said once.
                        if !line.statements.iter().any(|s| s.value == value) {
                            line.statements.push(Spanned { value, span: place });
                        }
                    }
                }
                Part::Free if any_read => self.diags.push(Diag {
                    code: code::IGNORED_WORDS,
                    severity: Severity::Note,
                    message: format!(
                        "passed over: `{}`",
                        short(&self.text[place.start..place.end])
                    ),
                    label: Some((place, "not a result of its own".into())),
                    help: Some("put `#` before remarks, or start the line with `note`".into()),
                }),
                Part::Free | Part::Unread => {
                    self.not_understood(&lexed, piece.from, piece.to, line)
                }
            }
        }
        note_start
    }

    fn note_corrections(
        &mut self,
        lexed: &Lexed,
        from: &usize,
        to: usize,
        read: &[Statement],
        number: usize,
    ) {
        // Names are taken as typed, whatever they look like.
        let named = matches!(
            read.first(),
            Some(Statement::Ticket(_) | Statement::Board(_) | Statement::Cartridge(_))
        );
        let to = if named { from + 1 } else { to };
        for i in *from..to {
            let Reading::As(word) = &lexed.atoms[i].reading else {
                continue;
            };
            let typed = lexed.typed(i).to_string();
            self.diags.push(Diag {
                code: code::CORRECTED_WORD,
                severity: Severity::Warning,
                message: format!("`{typed}` was read as `{word}`"),
                label: Some((lexed.atoms[i].span, format!("read as `{word}`"))),
                help: Some(format!(
                    "type `{word}`, or another word if that is not what was meant"
                )),
            });
            self.corrections.push(Correction {
                line: number,
                typed,
                read_as: word.clone(),
            });
        }
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
        match &mut line.not_understood {
            Some(kept) => {
                kept.span.end = kept.span.end.max(whole.end);
                kept.pieces.push(whole);
            }
            none => {
                let hint = help.to_string();
                *none = Some(NotUnderstood {
                    span: whole,
                    pieces: vec![whole],
                    hint,
                });
            }
        }
        self.diags.push(Diag {
            code,
            severity: Severity::Error,
            message: message.to_string(),
            label: Some((place, label.to_string())),
            help: Some(help.to_string()),
        });
    }
}

fn toks<'a>(lexed: &'a Lexed<'a>, from: usize, to: usize) -> Toks<'a> {
    Toks {
        lexed,
        from,
        to,
        explain: false,
    }
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
            '#' if before.is_whitespace() && !quoted => return at,
            _ => {}
        }
        before = c;
    }
    line.len()
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

/// Whether atom `i` may divide two statements.
fn divides(lexed: &Lexed, i: usize) -> bool {
    let atom = &lexed.atoms[i];
    if lexed.longest(i, Concept::And) == Some(1) {
        return true;
    }
    let next_stuck = lexed.atoms.get(i + 1).is_some_and(|a| a.stuck);
    let digit = |k: usize| {
        lexed
            .atoms
            .get(k)
            .is_some_and(|a| a.lower.bytes().all(|b| b.is_ascii_digit()))
    };
    atom.kind == Kind::Mark
        && match &*atom.lower {
            "," => !(atom.stuck && next_stuck && i > 0 && digit(i - 1) && digit(i + 1)),
            // A hyphen stuck to a word is a range that breaks off.
            "-" => !atom.stuck && !next_stuck,
            "." | "\u{2013}" | "\u{2014}" | "+" | "&" | ":" => !next_stuck,
            "(" | ")" | "/" => true,
            _ => false,
        }
}

/// Divides a segment at its marks so that the least is left unread, then so that the parts are fewest.
fn divide(lexed: &Lexed) -> Vec<Piece> {
    let count = lexed.atoms.len();
    let whole = toks(lexed, 0, count);
    if let Some(all) = statement(whole) {
        return vec![Piece {
            from: 0,
            to: count,
            part: Part::Read(all),
        }];
    }
    let cuts: Vec<usize> = (0..count).filter(|i| divides(lexed, *i)).collect();
    if cuts.is_empty() || cuts.len() >= MOST_PARTS {
        return vec![Piece {
            from: 0,
            to: count,
            part: Part::Unread,
        }];
    }
    // Bounds of the smallest parts: part k runs from starts[k] to ends[k].
    let starts: Vec<usize> = std::iter::once(0)
        .chain(cuts.iter().map(|c| c + 1))
        .collect();
    let ends: Vec<usize> = cuts.iter().copied().chain(std::iter::once(count)).collect();
    let parts = starts.len();
    // A colon or dash belongs to both its sides (`voice 1: ok`): it only divides off free words before it.
    let weak = |k: usize| {
        k > 0
            && matches!(
                &*lexed.atoms[starts[k] - 1].lower,
                ":" | "-" | "\u{2013}" | "\u{2014}"
            )
    };
    let mut best: Vec<(usize, Option<(usize, Part)>)> =
        (0..=parts).map(|_| (usize::MAX, None)).collect();
    best[0].0 = 0;
    for j in 1..=parts {
        for i in 0..j {
            if i == 0 && j == parts {
                continue;
            }
            let smallest = j - i == 1;
            let (from, to) = (starts[i], ends[j - 1]);
            let Some((mut cost, mut part)) = one_part(lexed, from, to, smallest) else {
                continue;
            };
            let free_before = matches!(best[i].1, Some((_, Part::Free | Part::Empty)));
            if matches!(part, Part::Read(_)) && (weak(i) && !free_before || j < parts && weak(j)) {
                if !smallest {
                    continue;
                }
                (cost, part) = (unread_cost(from, to), Part::Unread);
            }
            let total = best[i].0.saturating_add(cost);
            if total < best[j].0 {
                best[j] = (total, Some((i, part)));
            }
        }
    }
    collect_pieces(best, &starts, &ends)
}

fn collect_pieces(
    mut best: Vec<(usize, Option<(usize, Part)>)>,
    starts: &[usize],
    ends: &[usize],
) -> Vec<Piece> {
    let mut pieces: Vec<Piece> = Vec::new();
    let mut j = best.len() - 1;
    while j > 0 {
        let Some((i, part)) = best[j].1.take() else {
            break;
        };
        let mut piece = Piece {
            from: starts[i],
            to: ends[j - 1],
            part,
        };
        // Neighbours that were not read are one piece again.
        if let (
            Part::Unread,
            Some(Piece {
                part: Part::Unread,
                to,
                ..
            }),
        ) = (&piece.part, pieces.last())
        {
            piece.to = *to;
            pieces.pop();
        }
        pieces.push(piece);
        j = i;
    }
    pieces.reverse();
    pieces
}

/// Reads one part; parts of several elements only count when they are read. Returns its cost.
fn one_part(lexed: &Lexed, from: usize, to: usize, smallest: bool) -> Option<(usize, Part)> {
    if from >= to {
        return smallest.then_some((0, Part::Empty));
    }
    match statement(toks(lexed, from, to)) {
        Some(all) => Some((1, Part::Read(all))),
        None if !smallest => None,
        None if is_free(lexed, from, to) => Some((2, Part::Free)),
        None => Some((unread_cost(from, to), Part::Unread)),
    }
}

/// Leaving something unread costs more than any number of parts.
fn unread_cost(from: usize, to: usize) -> usize {
    100 + 10 * (to - from)
}

/// Free words: plain words that say nothing about the machine.
fn is_free(lexed: &Lexed, from: usize, to: usize) -> bool {
    (from..to).all(|i| {
        let atom = &lexed.atoms[i];
        let plain_marks = atom.kind == Kind::Mark && matches!(&*atom.lower, "!" | "'" | "." | "-");
        let word = atom.kind == Kind::Word
            && atom.reading == Reading::AsTyped
            && !atom.lower.bytes().any(|b| b.is_ascii_digit())
            && atom.lower.len() > 1
            && lexed
                .found(i)
                .iter()
                .all(|m| m.concept == Some(Concept::Filler));
        let small = lexed.longest(i, Concept::Filler).is_some()
            && lexed.longest(i, Concept::Changer).is_none();
        plain_marks || word || small
    })
}

/// The first atom that would turn a meaning around.
fn turning(lexed: &Lexed, from: usize, to: usize) -> Option<usize> {
    (from..to).find(|&i| {
        let atom = &lexed.atoms[i];
        atom.lower == "?"
            || matches!(atom.reading, Reading::NearChanger(_))
            || lexed.longest(i, Concept::Changer).is_some()
    })
}

/// Statements one after the other without marks, when there is only one way to divide them.
fn undivided(lexed: &Lexed, from: usize, to: usize) -> Option<Vec<Statement>> {
    let count = to - from;
    if !(4..=MOST_UNDIVIDED).contains(&count) {
        return None;
    }
    let mut memo: HashMap<(usize, usize), Option<Vec<Statement>>> = HashMap::new();
    // For each end: least number of parts, ways to get there with that many, start of the last part.
    let mut table: Vec<Option<(usize, usize, usize)>> = vec![None; count + 1];
    table[0] = Some((0, 1, 0));
    // Never between what is stuck together (`0.3V`).
    let apart = |i: usize| i == count || !lexed.atoms[from + i].stuck;
    for j in (2..=count).filter(|j| apart(*j)) {
        for i in 0..=j - 2 {
            let Some((parts, ways, _)) = table[i] else {
                continue;
            };
            let read = memo.entry((i, j)).or_insert_with(|| {
                statement(toks(lexed, from + i, from + j))
                    .filter(|all| all.iter().all(stands_alone))
            });
            if read.is_none() {
                continue;
            }
            table[j] = match table[j] {
                Some((least, known, _)) if least == parts + 1 => Some((least, known + ways, i)),
                Some(fewer) if fewer.0 < parts + 1 => Some(fewer),
                _ => Some((parts + 1, ways, i)),
            };
        }
    }
    let (_, ways, _) = table[count]?;
    if ways != 1 {
        return None;
    }
    let (mut all, mut j) = (Vec::new(), count);
    while j > 0 {
        let i = table[j]?.2;
        all.push(memo.remove(&(i, j)).flatten()?);
        j = i;
    }
    Some(all.into_iter().rev().flatten().collect())
}

/// `2 missing, 3 ok` behind `voice 1 ok`: every part goes on with what was before, or none is read.
fn continued_all(lexed: &Lexed, piece: &Piece, before: &Subject) -> Option<Vec<Statement>> {
    let mut all = Vec::new();
    let mut from = piece.from;
    for to in (piece.from..piece.to)
        .filter(|i| divides(lexed, *i))
        .chain(std::iter::once(piece.to))
    {
        all.extend(continued(toks(lexed, from, to), before)?);
        from = to + 1;
    }
    Some(all)
}

/// Only results may follow each other without a mark: header words and half-told deeds may belong to what follows.
fn stands_alone(statement: &Statement) -> bool {
    match statement {
        Statement::Finding(_) | Statement::RestFine => true,
        Statement::HandsOn(done) => done.result != Effect::Unknown,
        _ => false,
    }
}

/// A text cut to what fits a message.
pub fn short(text: &str) -> String {
    if text.chars().count() <= 40 {
        return text.to_string();
    }
    let head: String = text.chars().take(37).collect();
    format!("{head}...")
}
