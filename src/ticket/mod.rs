//! A ticket: all that is known of one machine, in one plain-text file that only grows.
//!
//! `NAME.ticket` is a run sheet ([`crate::sheet`]) with the entries that a ticket adds (`src/sheet/entry.rs`): what the owner
//! says, what is fitted, runs behind run marks, readings and remedies as they come, time stamps, photos by name, where parts
//! came from, what was proved, how it ended. So `rank` and `read` work on it as it stands, a person can edit it, and version
//! control shows what was added.
//!
//! ```text
//! ticket 0412
//! board dunlin-64
//! came in faulty
//! complaint characters wrong after the start
//! history ten years in a shed
//! at 2026-11-25 14:03
//! rail +5V 4.98 V
//! memory bit 3 bad
//! rest fine
//! swapped M3: cured
//! fitted M3 4164-15 from ticket 0398
//! old part M3 4164-20
//! new run
//! test ok in 0 of 14 loops when cold
//! proved M3 dead
//! closed: cured and proved
//! ```
//!
//! Nothing is deleted: `undo` strikes the line before it. A last line without its line end was cut off while it was
//! written; it is kept aside ([`Ticket::torn`]) and never read.

pub mod compare;
pub mod store;

use std::borrow::Cow;

use crate::sheet::{
    self, Action, Effect, Finding, HandsOn, Intake, Moment, Origin, Outcome, Place, RunSheet,
    SheetError, Statement, Subject, TORN, Warmth,
};

/// A ticket as read.
#[derive(Debug, Clone)]
pub struct Ticket {
    /// Every whole line of the file as a run sheet: what [`crate::rank::rank`] takes.
    pub sheet: RunSheet,
    /// What the lines say, in order, each with its run and time.
    pub entries: Vec<Entry>,
    /// The last line, when it has no end: cut off while it was written, or left so by an editor. Not read.
    pub torn: Option<String>,
    /// Lines that were cut off earlier and are marked so: number and text.
    pub torn_before: Vec<(usize, String)>,
}

/// A line of a ticket.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Number of the line, from 1.
    pub line: usize,
    /// The run it belongs to, from 1. A run mark belongs to the run it opens.
    pub run: usize,
    /// The last time stamp at or above it.
    pub at: Option<Moment>,
    /// As typed.
    pub text: String,
    /// What it says; of a struck line, what it said.
    pub says: Vec<Statement>,
    /// The line of the `undo` that struck it. A struck entry counts for nothing.
    pub struck_by: Option<usize>,
}

/// How a ticket stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Status {
    /// Being worked on: never closed, or reopened since.
    Open,
    /// Closed.
    Closed(Outcome),
}

/// A part that was fitted.
#[derive(Debug, Clone, PartialEq)]
pub struct PartFitted {
    /// Line of `fitted`, or of `origin` when the type was not said.
    pub line: usize,
    /// Where.
    pub place: Place,
    /// Type number, when said.
    pub part: Option<String>,
    /// Where it came from, when said.
    pub origin: Option<Origin>,
    /// What was taken out, when said.
    pub old: Option<String>,
}

/// Loops of the test.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Loops {
    /// Line.
    pub line: usize,
    /// The run.
    pub run: usize,
    /// Loops that failed.
    pub failed: u32,
    /// Loops that were run.
    pub of: u32,
    /// Cold starts or warm loops, when said.
    pub warmth: Option<Warmth>,
}

/// The bytes of a ticket up to the end of the last whole line, and what stands behind it.
pub fn whole_lines(bytes: &[u8]) -> (&[u8], &[u8]) {
    let end = bytes.iter().rposition(|b| *b == b'\n').map_or(0, |i| i + 1);
    bytes.split_at(end)
}

/// A power cut can leave zeros where a line was to be written. In a line that is marked as cut off they mean nothing;
/// anywhere else the file is no text.
fn without_zeros(whole: &[u8]) -> std::borrow::Cow<'_, [u8]> {
    if !whole.contains(&0) {
        return whole.into();
    }
    let mut out = Vec::with_capacity(whole.len());
    for line in whole.split_inclusive(|b| *b == b'\n') {
        let torn = line
            .strip_suffix(b"\n")
            .is_some_and(|l| l.ends_with(TORN.as_bytes()));
        out.extend(line.iter().map(|&b| if torn && b == 0 { b'?' } else { b }));
    }
    out.into()
}

impl Ticket {
    /// Reads a ticket; `name` is what messages call it. A cut-off last line never stops it.
    ///
    /// ```
    /// use whichsocket::ticket::{Status, Ticket};
    /// let ticket = Ticket::parse("0412", b"ticket 0412\nmemory bit 3 bad\nundo\nrail +5V 4.9").unwrap();
    /// assert_eq!(ticket.torn.as_deref(), Some("rail +5V 4.9"));
    /// assert_eq!((ticket.standing().count(), ticket.status()), (2, Status::Open));
    /// ```
    ///
    /// # Errors
    /// As [`sheet::parse`]: no text, nothing in it, too long.
    pub fn parse(name: &str, bytes: &[u8]) -> Result<Self, SheetError> {
        let (whole, torn) = whole_lines(bytes);
        if let Some(at) = torn
            .iter()
            .position(|b| *b == 0)
            .filter(|_| whole.is_empty())
        {
            return Err(SheetError::Binary { at });
        }
        let sheet = sheet::parse(name, &without_zeros(whole))?;
        let torn = String::from_utf8_lossy(torn).trim().to_string();
        let torn_before = sheet.text.lines().enumerate().filter_map(|(i, l)| {
            let text = l.trim().strip_suffix(TORN)?;
            Some((i + 1, text.trim().to_string()))
        });
        Ok(Self {
            torn: (!torn.is_empty()).then_some(torn),
            torn_before: torn_before.collect(),
            entries: entries(&sheet),
            sheet,
        })
    }

    /// The entries that were not struck.
    pub fn standing(&self) -> impl Iterator<Item = &Entry> {
        self.entries.iter().filter(|e| e.struck_by.is_none())
    }

    /// Everything that stands, each with its entry.
    pub fn statements(&self) -> impl Iterator<Item = (&Entry, &Statement)> {
        self.standing()
            .flat_map(|e| e.says.iter().map(move |s| (e, s)))
    }

    fn last<T>(&self, pick: impl Fn(&Statement) -> Option<T>) -> Option<T> {
        self.statements().filter_map(|(_, s)| pick(s)).last()
    }

    fn all<'t, T>(&'t self, pick: impl Fn(&'t Entry, &'t Statement) -> Option<T>) -> Vec<T> {
        self.statements().filter_map(|(e, s)| pick(e, s)).collect()
    }

    /// Its number or name.
    pub fn id(&self) -> Option<String> {
        self.last(|s| match s {
            Statement::Ticket(id) => Some(id.clone()),
            _ => None,
        })
    }

    /// The board map.
    pub fn board(&self) -> Option<String> {
        self.last(|s| match s {
            Statement::Board(board) => Some(board.clone()),
            _ => None,
        })
    }

    /// How it came in.
    pub fn intake(&self) -> Option<Intake> {
        self.last(|s| match s {
            Statement::Intake(intake) => Some(*intake),
            _ => None,
        })
    }

    /// What the owner complains of, in the owner's words.
    pub fn complaints(&self) -> Vec<&str> {
        self.all(|_, s| match s {
            Statement::Complaint(text) => Some(text.as_str()),
            _ => None,
        })
    }

    /// What is known of its past.
    pub fn history(&self) -> Vec<&str> {
        self.all(|_, s| match s {
            Statement::History(text) => Some(text.as_str()),
            _ => None,
        })
    }

    /// Remarks.
    pub fn notes(&self) -> Vec<(&Entry, &str)> {
        self.all(|e, s| match s {
            Statement::Note(text) => Some((e, text.as_str())),
            _ => None,
        })
    }

    /// Photos: name of the file (beside the ticket) and caption.
    pub fn photos(&self) -> Vec<(&str, &str)> {
        self.all(|_, s| match s {
            Statement::Photo { file, caption } => Some((file.as_str(), caption.as_str())),
            _ => None,
        })
    }

    /// Tests by hand and remedies, in order; a part put where there was none is one.
    pub fn hands_on(&self) -> Vec<(&Entry, Cow<'_, HandsOn>)> {
        let mut empty: Vec<&str> = Vec::new();
        let mut out = Vec::new();
        for (e, s) in self.statements() {
            match s {
                Statement::HandsOn(done) => out.push((e, Cow::Borrowed(done))),
                Statement::Empty(places) => empty.extend(places.iter().map(|p| &*p.name)),
                Statement::Fitted { place, .. } if empty.contains(&&*place.name) => {
                    empty.retain(|name| *name != place.name);
                    out.push((
                        e,
                        Cow::Owned(HandsOn {
                            action: Action::Swap,
                            places: vec![place.clone()],
                            result: Effect::Unknown,
                        }),
                    ));
                }
                _ => {}
            }
        }
        out
    }

    /// Results and measurements, in order.
    pub fn findings(&self) -> Vec<(&Entry, &Finding)> {
        self.all(|e, s| match s {
            Statement::Finding(f) => Some((e, f)),
            _ => None,
        })
    }

    /// Which units were at fault in the end, as typed: `U10 dead`. What was taken for proved before the machine came back
    /// proved wrong, or is another fault's story.
    pub fn proved(&self) -> Vec<&str> {
        let since = self.reopened().last().map_or(0, |e| e.line);
        self.all(|e, s| match s {
            Statement::Proved(text) if e.line > since => Some(text.as_str()),
            _ => None,
        })
    }

    /// The lines that open it again.
    pub fn reopened(&self) -> Vec<&Entry> {
        self.all(|e, s| matches!(s, Statement::Outcome(Outcome::Reopened)).then_some(e))
    }

    /// How it stands: the last of the lines that close and reopen it.
    pub fn status(&self) -> Status {
        let outcome = self.last(|s| match s {
            Statement::Outcome(outcome) => Some(*outcome),
            _ => None,
        });
        match outcome {
            None | Some(Outcome::Reopened) => Status::Open,
            Some(outcome) => Status::Closed(outcome),
        }
    }

    /// Parts that were fitted on the bench, with where they came from and what was there before. What the machine came with
    /// (`fitted` before any result, without an origin) is not among them.
    pub fn parts_fitted(&self) -> Vec<PartFitted> {
        let (mut out, mut begun): (Vec<PartFitted>, bool) = (Vec::new(), false);
        for (entry, s) in self.statements() {
            let part = |place: &Place| PartFitted {
                line: entry.line,
                place: place.clone(),
                part: None,
                origin: None,
                old: None,
            };
            match s {
                Statement::Finding(_) | Statement::HandsOn(_) | Statement::RestFine => begun = true,
                Statement::Fitted { place, part: of } => {
                    let of = Some(of.clone());
                    let origin_follows = entry
                        .says
                        .iter()
                        .any(|s| matches!(s, Statement::Origin { .. }));
                    if begun || origin_follows {
                        out.push(PartFitted {
                            part: of,
                            ..part(place)
                        });
                    }
                }
                Statement::Origin { places, from } => {
                    for place in places {
                        let from = Some(from.clone());
                        match open_part(&mut out, place, |p| p.origin.is_none()) {
                            Some(known) => known.origin = from,
                            None => out.push(PartFitted {
                                origin: from,
                                ..part(place)
                            }),
                        }
                    }
                }
                Statement::OldPart { place, what } => {
                    match open_part(&mut out, place, |p| p.old.is_none()) {
                        Some(known) => known.old = Some(what.clone()),
                        None => out.push(PartFitted {
                            old: Some(what.clone()),
                            ..part(place)
                        }),
                    }
                }
                _ => {}
            }
        }
        out
    }

    /// Loops in order: `test ok in 0 of 14 loops when cold`, and `memory bit 3 bad in 2 of 20 loops`. Of several checks that
    /// failed in loops of the same run, the one that failed most often counts.
    pub fn loops(&self) -> Vec<Loops> {
        let mut out: Vec<Loops> = Vec::new();
        for (entry, f) in self.findings() {
            let Some((failed, of)) = f.loops.filter(|l| l.0 > 0 || f.subject == Subject::Test)
            else {
                continue;
            };
            let (line, run, warmth) = (entry.line, entry.run, f.warmth);
            let same =
                |l: &&mut Loops| (l.run, l.warmth, l.of) == (run, warmth, of) && l.failed > 0;
            match out
                .iter_mut()
                .find(same)
                .filter(|_| f.subject != Subject::Test)
            {
                Some(known) => known.failed = known.failed.max(failed),
                None => out.push(Loops {
                    line,
                    run,
                    failed,
                    of,
                    warmth,
                }),
            }
        }
        out
    }

    /// The ticket as it stood after this line, as a sheet: for the ranking over time. A later `undo` is not looked ahead at.
    ///
    /// # Errors
    /// As [`sheet::parse`], when nothing was said by then.
    pub fn upto(&self, line: usize) -> Result<RunSheet, SheetError> {
        let text: String = self.sheet.text.split_inclusive('\n').take(line).collect();
        sheet::parse(&self.sheet.name, text.as_bytes())
    }
}

/// The last part fitted in this place that still lacks something.
fn open_part<'p>(
    parts: &'p mut [PartFitted],
    place: &Place,
    lacks: impl Fn(&PartFitted) -> bool,
) -> Option<&'p mut PartFitted> {
    parts
        .iter_mut()
        .rev()
        .find(|p| p.place == *place)
        .filter(|p| lacks(p))
}

/// Runs and times of the lines.
fn entries(sheet: &RunSheet) -> Vec<Entry> {
    let (mut run, mut at, mut said) = (1, None, false);
    let mut out = Vec::new();
    for line in &sheet.lines {
        for s in &line.statements {
            match &s.value {
                Statement::At(moment) => at = Some(*moment),
                // A run mark before anything was seen opens nothing (as in `observe`).
                Statement::NewRun if said => run += 1,
                Statement::Finding(_) => said = true,
                _ => {}
            }
        }
        let all = line.statements.iter().chain(&line.struck);
        out.push(Entry {
            line: line.number,
            run,
            at,
            text: sheet.text[line.span.start..line.span.end]
                .trim()
                .to_string(),
            says: all.map(|s| s.value.clone()).collect(),
            struck_by: line.struck_by,
        });
    }
    out
}
