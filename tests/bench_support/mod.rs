//! A technician that reads answers off a list, and tickets kept in memory.
#![allow(dead_code)] // each test uses a part of it

pub mod machine;

use std::collections::VecDeque;
use std::io::{Error, ErrorKind, Result};
use whichsocket::bench::talk::Talk;
use whichsocket::bench::{Bench, Ended};
use whichsocket::learn::Learned;
use whichsocket::sheet::{Moment, Statement};
use whichsocket::shipped::Library;
use whichsocket::ticket::Ticket;
use whichsocket::ticket::store::{Store, written};

/// Gives the answers in order and keeps the dialogue.
pub struct Script {
    pub answers: VecDeque<String>,
    pub dialogue: String,
}

impl Script {
    pub fn of(answers: &[&str]) -> Self {
        Self {
            answers: answers.iter().map(|a| a.to_string()).collect(),
            dialogue: String::new(),
        }
    }
}

impl Talk for Script {
    fn say(&mut self, text: &str) -> Result<()> {
        self.dialogue += text;
        Ok(())
    }

    fn ask(&mut self, prompt: &str) -> Result<Option<String>> {
        let answer = self.answers.pop_front();
        self.dialogue += &format!("{prompt} {}\n", answer.as_deref().unwrap_or("(end)"));
        Ok(answer)
    }
}

/// A ticket in memory, with every write as it came.
#[derive(Default)]
pub struct Memory {
    pub bytes: Vec<u8>,
    pub writes: Vec<Vec<u8>>,
}

impl Memory {
    pub fn with(bytes: Vec<u8>) -> Self {
        Self {
            bytes,
            writes: Vec::new(),
        }
    }
}

impl Store for Memory {
    fn read(&self) -> Result<Vec<u8>> {
        Ok(self.bytes.clone())
    }

    fn append(&mut self, lines: &[String]) -> Result<()> {
        let bytes = written(self.bytes.last().copied(), lines);
        self.bytes.extend(&bytes);
        self.writes.push(bytes);
        Ok(())
    }
}

/// A ticket whose plug is pulled after so many bytes.
pub struct Cut {
    pub inner: Memory,
    left: usize,
}

impl Cut {
    pub fn after(bytes: usize) -> Self {
        Self {
            inner: Memory::default(),
            left: bytes,
        }
    }
}

impl Store for Cut {
    fn read(&self) -> Result<Vec<u8>> {
        self.inner.read()
    }

    fn append(&mut self, lines: &[String]) -> Result<()> {
        let bytes = written(self.inner.bytes.last().copied(), lines);
        let n = bytes.len().min(self.left);
        self.left -= n;
        self.inner.bytes.extend(&bytes[..n]);
        if n < bytes.len() {
            return Err(Error::new(ErrorKind::WriteZero, "the plug was pulled"));
        }
        Ok(())
    }
}

/// Runs a session with these answers at a clock that stands at 14:03 of a day; how it ended and how many answers are left.
pub fn run(store: &mut dyn Store, answers: &[&str]) -> (Result<Ended>, usize) {
    let mut script = Script::of(answers);
    let ended = session(store, &mut script, None);
    (ended, script.answers.len())
}

/// [`run`] with a script that keeps the dialogue.
pub fn session(
    store: &mut dyn Store,
    script: &mut dyn Talk,
    learned: Option<&Learned>,
) -> Result<Ended> {
    let library = Library::open(None).expect("the shipped boards");
    let now = || Moment {
        year: 2026,
        month: 11,
        day: 25,
        hour: 14,
        minute: 3,
    };
    Bench {
        library: &library,
        store,
        talk: script,
        now: &now,
        name: "0402",
        learned,
        has: &whichsocket::next::Bench::default(),
    }
    .run()
}

/// Everything that stands on a ticket.
pub fn said(bytes: &[u8]) -> Vec<Statement> {
    let ticket = Ticket::parse("said", bytes).expect("a ticket");
    ticket.sheet.statements().map(|s| s.value.clone()).collect()
}
