//! Segments that were read before. Most lines of most sheets are the same few (`rest fine`, `memory bit 3 bad`), and what such a
//! one says does not depend on the lines around it: it is read once.

use super::Line;
use super::above::stands_alone;
use super::concept::Concept;
use super::correct::Reading;
use super::divide::{Part, Piece};
use super::line::{Reader, usual_name};
use super::statement::{Statement, Subject};
use super::token::Lexed;
use crate::source::{Span, Spanned};
use foldhash::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

/// More are not kept of a vocabulary.
const MOST: usize = 2_048;
/// Longer ones hardly come again.
const LONGEST: usize = 64;

/// What a part of a segment says.
#[derive(Debug)]
pub(super) struct Said {
    /// Where it stands in the segment.
    pub(super) from: usize,
    pub(super) to: usize,
    pub(super) all: Vec<Statement>,
    /// It speaks of the others, or of the rest.
    pub(super) rest: bool,
}

/// What segments say, by their text.
type BySegment = HashMap<Box<str>, Arc<Vec<Said>>>;

/// The segments read so far, those below a line of cells apart.
#[derive(Debug, Default)]
pub(super) struct Plain([Mutex<BySegment>; 2]);

impl Plain {
    /// What a segment says that was kept.
    pub(super) fn get(&self, segment: &str, after_cell: bool) -> Option<Arc<Vec<Said>>> {
        if segment.len() > LONGEST {
            return None;
        }
        let known = self.0[usize::from(after_cell)].lock();
        let known = known.unwrap_or_else(PoisonError::into_inner);
        known.get(segment).cloned()
    }

    /// Keeps what was made of a segment, if it would be read so anywhere and may come again.
    pub(super) fn put(&self, lexed: &Lexed, span: Span, pieces: &[Piece]) {
        let segment = &lexed.text[span.start..span.end];
        let typed = |i: usize| lexed.atoms[i].reading == Reading::AsTyped;
        let plain = segment.len() <= LONGEST
            && stands_alone(lexed)
            && (0..lexed.atoms.len()).all(typed)
            && pieces.iter().all(comes_again);
        if !plain {
            return;
        }
        let said = |piece: &Piece| match &piece.part {
            Part::Read(all) => {
                let place = lexed.span(piece.from, piece.to);
                Some(Said {
                    from: place.start - span.start,
                    to: place.end - span.start,
                    all: all.clone(),
                    rest: speaks_of_others(lexed, piece.from, piece.to),
                })
            }
            _ => None,
        };
        let said = Arc::new(pieces.iter().filter_map(said).collect());
        let known = self.0[usize::from(lexed.after_cell)].lock();
        let mut known = known.unwrap_or_else(PoisonError::into_inner);
        if known.len() < MOST {
            known.insert(segment.into(), said);
        }
    }
}

impl Reader<'_> {
    /// Puts into the line what is known of this segment; false when nothing is.
    pub(super) fn said_before(&mut self, span: Span, after_cell: bool, line: &mut Line) -> bool {
        let segment = &self.text[span.start..span.end];
        let Some(said) = self.words.plain.get(segment, after_cell) else {
            return false;
        };
        for said in said.iter() {
            let place = Span::new(span.start + said.from, span.start + said.to);
            self.put(said.all.clone(), said.rest, place, line);
        }
        true
    }

    /// Puts statements into the line; of the others and the rest, those that were not named before.
    pub(super) fn put(
        &mut self,
        mut all: Vec<Statement>,
        rest: bool,
        place: Span,
        line: &mut Line,
    ) {
        if rest {
            all.retain(|s| !self.named_before(s, line));
        }
        for mut value in all {
            usual_name(&mut value);
            // Said twice on a line is said once.
            if !line.statements.iter().any(|s| s.value == value) {
                line.statements.push(Spanned { value, span: place });
            }
        }
    }
}

/// Whether these atoms speak of the others, or of the rest.
pub(super) fn speaks_of_others(lexed: &Lexed, from: usize, to: usize) -> bool {
    let rest = |i: usize| {
        [Concept::OthersWord, Concept::Rest]
            .iter()
            .any(|c| lexed.longest(i, *c).is_some())
    };
    (from..to).any(rest)
}

/// Whether a piece was read, and says what other sheets may say as well: cells and numbers of tickets come once.
fn comes_again(piece: &Piece) -> bool {
    let once = |s: &Statement| match s {
        Statement::Ticket(_) => true,
        Statement::Finding(f) => matches!(f.subject, Subject::MemoryCell { .. }),
        _ => false,
    };
    match &piece.part {
        Part::Read(all) => !all.iter().any(once),
        Part::Empty => true,
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use crate::sheet::vocab::Vocabulary;
    use crate::sheet::{Bench, parse_at};

    /// What was read before reads as if it came first, below whatever line.
    #[test]
    fn a_segment_reads_the_same_the_second_time() {
        let lines = [
            "memory bit 3 bad; rest fine",
            "4000 wrote 55 read 5D",
            "other bits ok",
            "key Q dead",
            "U22 too",
            "and pin 4 high",
            "memroy bit 2 ok",
            "voice 1 silent, sound bad",
            "shift l stuck",
            "key Q dead",
        ];
        let used = Vocabulary::shipped();
        for above in lines {
            for below in lines {
                let text = format!("board dunlin-64\n{above}\n{below}\n{above}\n");
                let read = |words: &Vocabulary| {
                    let bench = Bench {
                        words,
                        ..Bench::default()
                    };
                    parse_at("t", text.as_bytes(), &bench).expect("a sheet")
                };
                assert_eq!(read(&used), read(&Vocabulary::shipped()), "{text}");
            }
        }
    }
}
