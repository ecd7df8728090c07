//! What the drawings show. A drawing that would say nothing is not made.

use super::model::*;
use super::story::Entry;
use crate::faultmap::expand::list;
use crate::faultmap::model::{BoardModel, Position};
use crate::faultmap::raw::LayoutKind;
use crate::observe::board as names;
use crate::sheet::{Finding, State, Statement, Subject};
use std::collections::BTreeSet;

/// Listed cells that are drawn.
const CELLS: usize = 8;

/// Positions in a row when the map does not say where they lie, and the room of each in the map's usual unit.
const ACROSS: usize = 10;
const ROOM: (f64, f64) = (10.0, 20.0);

/// Parts with at least so many pins are named in the drawing whether or not the note speaks of them.
const PINS: usize = 8;

/// The board, when someone is accused.
pub fn board(
    model: &BoardModel,
    suspects: &[SuspectNote],
    worked_on: &BTreeSet<String>,
    empty: &[String],
) -> Option<BoardDrawing> {
    if suspects.is_empty() {
        return None;
    }
    let suspects: Vec<&SuspectNote> = suspects.iter().filter(|s| s.is_listed()).collect();
    let known = model.positions.iter().any(|p| p.at.is_some() && !p.outside);
    let matters = |p: &Position| {
        suspects.iter().any(|s| s.socket == p.name)
            || worked_on.contains(&p.name)
            || empty.contains(&p.name)
    };
    let drawn = |p: &Position| match known {
        // A hundred lozenges without a name show nothing.
        true => (p.at.is_some() && !p.outside && p.pins.len() >= PINS) || matters(p),
        false => p.pins.len() >= PINS || matters(p),
    };
    let mut placed = 0;
    let mut places = Vec::new();
    for p in model.positions.iter().filter(|p| drawn(p)) {
        let on_board = !p.outside && (p.at.is_some() || !known);
        let (x, y) = p.at.filter(|_| known).unwrap_or_else(|| {
            placed += 1;
            let (column, row) = ((placed - 1) % ACROSS, (placed - 1) / ACROSS);
            (ROOM.0 * column as f64, ROOM.1 * row as f64)
        });
        let (wide, high) = if p.turned {
            (p.size.1, p.size.0)
        } else {
            p.size
        };
        let here = suspects.iter().filter(|s| s.socket == p.name);
        places.push(PlacedNote {
            socket: p.name.clone(),
            x,
            y,
            wide,
            high,
            named: p.pins.len() >= PINS || matters(p),
            outside: !on_board,
            numbers: here.clone().map(|s| s.number).collect(),
            probability: here
                .filter_map(|s| s.probability.last().copied())
                .fold(0.0, f64::max),
            worked_on: worked_on.contains(&p.name),
            empty: empty.contains(&p.name),
        });
    }
    let real = model
        .layout
        .as_ref()
        .is_some_and(|l| l.kind == LayoutKind::Real);
    let remark = match &model.layout {
        Some(layout) if known => layout.remark.clone(),
        _ => "the map does not say where parts lie: they are in order of their names".into(),
    };
    Some(BoardDrawing {
        places,
        schematic: !(known && real),
        remark,
    })
}

fn findings<'s>(entries: &'s [Entry<'s>], run: usize) -> impl Iterator<Item = &'s Finding> {
    entries
        .iter()
        .filter(move |e| e.run == run)
        .filter_map(|e| match e.says {
            Statement::Finding(f) => Some(f),
            _ => None,
        })
}

/// The last run in which a finding is as wanted.
fn last_run(entries: &[Entry], wanted: impl Fn(&Finding) -> bool) -> Option<usize> {
    let runs = entries
        .iter()
        .filter(|e| matches!(e.says, Statement::Finding(f) if wanted(f)))
        .map(|e| e.run);
    runs.max()
}

fn key_state(state: &State) -> KeyState {
    match state {
        State::Ok => KeyState::Good,
        State::Dead => KeyState::Dead,
        State::Stuck => KeyState::Stuck,
        State::Ghost(_) => KeyState::Ghost,
        _ => KeyState::Bad,
    }
}

/// The key matrix of the last run in which keys failed.
pub fn keys(model: &BoardModel, entries: &[Entry]) -> Option<KeyDrawing> {
    let kb = model.keyboard.as_ref()?;
    let about_keys = |f: &Finding| {
        matches!(
            f.subject,
            Subject::Key(_) | Subject::AllKeys | Subject::KeyRow(_) | Subject::KeyColumn(_)
        )
    };
    let run = last_run(entries, |f| about_keys(f) && f.state != State::Ok)?;
    let fine = entries
        .iter()
        .any(|e| e.run == run && *e.says == Statement::RestFine);
    let start = if fine {
        KeyState::Good
    } else {
        KeyState::Unsaid
    };
    let note = |key: &String| KeyNote {
        key: key.clone(),
        state: start,
    };
    let mut keys: Vec<Vec<Option<KeyNote>>> = kb
        .matrix
        .iter()
        .map(|column| column.iter().map(|k| (k != "-").then(|| note(k))).collect())
        .collect();
    let mut outside: Vec<KeyNote> = kb.outside.keys().map(note).collect();
    for f in findings(entries, run) {
        let state = key_state(&f.state);
        let named = match &f.subject {
            Subject::Key(name) => names::key(model, name),
            _ => None,
        };
        let hit = |c: usize, r: usize, key: &str| match &f.subject {
            Subject::AllKeys => true,
            Subject::KeyColumn(n) => c == usize::from(*n),
            Subject::KeyRow(n) => r == usize::from(*n),
            _ => named.as_deref() == Some(key),
        };
        for (c, column) in keys.iter_mut().enumerate() {
            for (r, key) in column.iter_mut().enumerate() {
                if let Some(key) = key.as_mut().filter(|k| about_keys(f) && hit(c, r, &k.key)) {
                    key.state = state;
                }
            }
        }
        outside
            .iter_mut()
            .filter(|k| named.as_deref() == Some(k.key.as_str()))
            .for_each(|k| k.state = state);
    }
    let said = keys_said(&keys, &outside);
    Some(KeyDrawing {
        run,
        columns: list(&kb.columns),
        rows: list(&kb.rows),
        keys,
        outside,
        said,
    })
}

fn keys_said(keys: &[Vec<Option<KeyNote>>], outside: &[KeyNote]) -> String {
    let all: Vec<&KeyNote> = keys.iter().flatten().flatten().chain(outside).collect();
    let of = |state: KeyState, word: &str| {
        let names: Vec<&str> = all
            .iter()
            .filter(|k| k.state == state)
            .map(|k| k.key.as_str())
            .collect();
        match names.len() {
            0 => None,
            n if n == all.len() => Some(format!("all keys {word}")),
            n if n > 12 => Some(format!("{n} keys {word}")),
            _ => Some(format!("{word}: {}", names.join(" "))),
        }
    };
    let parts = [
        of(KeyState::Dead, "dead"),
        of(KeyState::Stuck, "stuck"),
        of(KeyState::Ghost, "ghost"),
        of(KeyState::Bad, "bad"),
    ];
    parts.into_iter().flatten().collect::<Vec<_>>().join("; ")
}

/// The memory of the last run that lists failing cells, else of the last in which bits of it failed.
pub fn memory(model: &BoardModel, entries: &[Entry]) -> Option<MemoryDrawing> {
    let m = model.memory.as_ref()?;
    let lists = |f: &Finding| matches!(&f.subject, Subject::MemoryCell { wrote, read, .. } if wrote != read);
    let fails = |f: &Finding| match &f.subject {
        Subject::MemoryBit(_) | Subject::MemorySocket(_) => f.state != State::Ok,
        _ => false,
    };
    // A run that lists cells shows more than one that does not.
    let run = last_run(entries, lists).or_else(|| last_run(entries, fails))?;
    let width = usize::from(m.width.max(1));
    let chips: Vec<String> = list(&m.bits)
        .into_iter()
        .flat_map(|c| std::iter::repeat_n(c, width))
        .take(8)
        .collect();
    let mut bits: Vec<BitNote> = (0..chips.len() as u8)
        .map(|bit| BitNote {
            bit,
            socket: chips[usize::from(bit)].clone(),
            bad: false,
            read_1: 0,
            read_0: 0,
        })
        .collect();
    let (mut cells, mut more) = (Vec::new(), 0);
    for f in findings(entries, run) {
        match &f.subject {
            Subject::MemoryBit(bit) if f.state != State::Ok => {
                bits.iter_mut()
                    .filter(|b| b.bit == *bit)
                    .for_each(|b| b.bad = true);
            }
            Subject::MemorySocket(place) if f.state != State::Ok => {
                bits.iter_mut()
                    .filter(|b| b.socket.eq_ignore_ascii_case(&place.name))
                    .for_each(|b| b.bad = true);
            }
            &Subject::MemoryCell {
                address,
                wrote,
                read,
            } if wrote != read => {
                count(&mut bits, wrote, read);
                cells.push(CellNote {
                    address,
                    wrote,
                    read,
                });
            }
            _ => {}
        }
        if let State::More(n) = f.state {
            more += n;
        }
    }
    more += cells.len().saturating_sub(CELLS) as u32;
    cells.truncate(CELLS);
    bits.reverse();
    let said = memory_said(&bits);
    Some(MemoryDrawing {
        run,
        bits,
        cells,
        more,
        said,
    })
}

fn count(bits: &mut [BitNote], wrote: u8, read: u8) {
    for b in bits.iter_mut().filter(|b| (wrote ^ read) >> b.bit & 1 == 1) {
        b.bad = true;
        if read >> b.bit & 1 == 1 {
            b.read_1 += 1
        } else {
            b.read_0 += 1
        }
    }
}

fn memory_said(bits: &[BitNote]) -> String {
    let one = |b: &BitNote| {
        let way = match (b.read_1, b.read_0) {
            (0, 0) => String::new(),
            (_, 0) => ", reads 1 for 0".into(),
            (0, _) => ", reads 0 for 1".into(),
            _ => ", wrong both ways".into(),
        };
        format!("bit {} ({}{way})", b.bit, b.socket)
    };
    let bad: Vec<String> = bits.iter().rev().filter(|b| b.bad).map(one).collect();
    format!("bad: {}", bad.join("; "))
}
