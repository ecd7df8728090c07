//! Notes and complaints: free text that takes the rest of its line.

use super::Line;
use super::concept::Concept;
use super::line::Reader;
use super::recover::read_text;
use super::statement::Statement;
use super::token::Lexed;
use crate::diag::code;
use crate::source::{Span, Spanned};

impl Reader<'_> {
    /// `note ...` and `complaint ...` take the rest of the line as it stands.
    pub(super) fn raw(&mut self, content: Span, line: &mut Line) -> bool {
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
        let start = start + told_before(&self.text[start..content.end]);
        // `owner says it works, wants a look over` says how it came in.
        let behind = &self.text[start..content.end];
        let told = lexed.longest(0, Concept::Note).is_none() && lexed.atoms[0].lower != "complaint";
        let short = told && behind.len() <= 120;
        let came = short.then(|| read_text(behind, self.words)).flatten();
        if let Some([intake @ Statement::Intake(_)]) = came.as_deref() {
            line.statements.push(Spanned {
                value: intake.clone(),
                span: content,
            });
            return true;
        }
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
}

/// `on the phone:` behind `fault as told`: a few words up to a colon belong to the word for the complaint.
fn told_before(text: &str) -> usize {
    match text.split_once(':') {
        Some((head, _)) if head.trim().is_empty() => 0,
        Some((head, _)) => {
            let few = head.split_whitespace().count() <= 3;
            let plain = head.chars().all(|c| c.is_alphabetic() || c == ' ');
            let small = ["on ", "by ", "over ", "from ", "in ", "at "];
            let opens = small.iter().any(|w| head.trim_start().starts_with(w));
            if few && plain && opens { head.len() } else { 0 }
        }
        None => 0,
    }
}

/// Whether a note or complaint starts at atom `i`.
pub fn starts_note(lexed: &Lexed, i: usize) -> bool {
    [Concept::Note, Concept::Complaint]
        .iter()
        .any(|c| lexed.longest(i, *c).is_some())
}
