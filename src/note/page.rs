//! What a note says, in order, as sections of plain blocks. Text, Markdown and HTML draw these, so that they say the same.

use super::model::*;
use super::sections;

/// The note as a page.
#[derive(Debug, Clone, PartialEq)]
pub struct Page {
    /// Title: `Repair note, ticket 0402`.
    pub title: String,
    /// One line under it: board, dates.
    pub under: String,
    /// The first screen: status in words, and label with sentence.
    pub status: (Tone, String),
    /// What the owner complained of, as typed.
    pub complaint: Option<String>,
    /// Set when the board must not be powered.
    pub stop: Option<String>,
    /// The next step of a ticket that is open.
    pub next: Option<String>,
    /// What was wrong, done, proved.
    pub glance: Vec<(&'static str, String)>,
    /// Sections with something in them.
    pub sections: Vec<Section>,
}

/// A section.
#[derive(Debug, Clone, PartialEq)]
pub struct Section {
    /// Identifier, unique on the page.
    pub id: &'static str,
    /// Heading.
    pub title: &'static str,
    /// What it holds.
    pub blocks: Vec<Block>,
}

/// A piece of a section. All texts are plain: every format escapes them itself.
#[derive(Debug, Clone, PartialEq)]
pub enum Block {
    /// A heading below the section's.
    Head(String),
    /// A paragraph.
    Para(String),
    /// A caution.
    Caution(String),
    /// Labels with values.
    Facts(Vec<(String, String)>),
    /// A list.
    List(Vec<String>),
    /// Readings with how they were.
    Seen(Vec<Seen>),
    /// Things done, each with what it changed.
    Steps(Vec<Step>),
    /// A table.
    Table(Table),
    /// A drawing; formats without drawings write its text.
    Figure(Figure),
}

/// A reading of a list.
#[derive(Debug, Clone, PartialEq)]
pub struct Seen {
    /// How it was.
    pub tone: Tone,
    /// The same in a word; empty for what is neither good nor bad.
    pub word: &'static str,
    /// What was read.
    pub text: String,
    /// Said more about it.
    pub more: Option<String>,
}

/// A thing done.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// What.
    pub what: String,
    /// How it turned out.
    pub tone: Tone,
    /// The same in words.
    pub verdict: String,
    /// Labels with values.
    pub facts: Vec<(String, String)>,
}

/// Supports what words say, never replaces them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    /// Good.
    Good,
    /// Bad.
    Bad,
    /// In between, open.
    Open,
    /// Neither.
    Plain,
}

/// A table. The first column names its row.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// What it shows.
    pub caption: String,
    /// Column heads.
    pub head: Vec<String>,
    /// Rows, as wide as the head.
    pub rows: Vec<Vec<String>>,
}

/// The drawings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Figure {
    /// The board with its suspects.
    Board,
    /// The key matrix.
    Keys,
    /// The bits of memory.
    Memory,
    /// Probabilities over the session.
    Course,
}

impl Tone {
    /// The tone of a status.
    pub fn of(status: Status) -> Self {
        match status {
            Status::CuredAndProved => Self::Good,
            Status::SwitchedOff => Self::Bad,
            Status::UsedForParts => Self::Plain,
            Status::Open | Status::CuredNotProved | Status::CauseUnknown | Status::Reopened => {
                Self::Open
            }
        }
    }
}

impl Page {
    /// The page of a note.
    pub fn of(note: &Note) -> Self {
        let ticket = note.ticket.as_ref();
        let dates = [&note.machine.opened, &note.machine.closed];
        let mut under = vec![format!("board {}", note.machine.board)];
        match dates {
            [Some(from), Some(to)] if from != to => under.push(format!("{from} to {to}")),
            [Some(at), _] | [_, Some(at)] => under.push(at.clone()),
            _ => {}
        }
        let glance = &note.glance;
        let complaints = note.said.iter().filter(|s| s.kind == SaidKind::Complaint);
        let complaint = complaints
            .map(|s| s.text.as_str())
            .collect::<Vec<_>>()
            .join("; ");
        Self {
            title: ticket.map_or("Repair note".into(), |t| format!("Repair note, ticket {t}")),
            under: under.join(", "),
            status: (Tone::of(glance.status), glance.status_said.clone()),
            complaint: Some(complaint).filter(|c| !c.is_empty()),
            stop: glance.stop.clone(),
            next: glance.next.clone(),
            glance: vec![
                ("What was wrong", glance.wrong.clone()),
                ("What was done", glance.done.clone()),
                ("Is it proved", glance.proof.clone()),
            ],
            sections: sections::all(note),
        }
    }
}
