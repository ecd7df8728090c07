//! Two lines of the key matrix that touch, or changed places: modes that no map has to list.
//!
//! They can touch in the keyboard unit (any two of a kind), and at neighbouring pins of its plug and of the chips that scan.
//! What such a fault makes of each key is worked out when a sheet is read (`observe::keys`): no strength on a node says it.

use super::*;

/// Of the failures of a keyboard unit, plug or set of contacts, how many are lines that touch (guess: spilt drink, a splash
/// of solder, a bent pin; repair accounts tell of it now and then, no source counts it).
const TOUCH: f64 = 0.05;
/// The same for two wires that were put back in each other's place (guess; only a keyboard that was taken apart).
const CROSSED: f64 = 0.01;

/// Numbers of two lines of a kind: columns or not, lower, higher.
type Pair = (bool, u8, u8);

impl Compiler<'_> {
    /// Adds the modes to the units drafted so far.
    pub(super) fn join_modes(&mut self, drafts: &mut [DraftUnit]) {
        let Some(kb) = &self.board.keyboard else {
            return;
        };
        let (columns, rows) = (expand::list(&kb.columns), expand::list(&kb.rows));
        let plugs = expand::list(&kb.connector);
        for draft in drafts.iter_mut() {
            let wired = &self.wiring.wired[draft.position];
            let whole: f64 = draft.modes.iter().map(|m| m.rate).sum();
            if draft.kind == UnitKind::Part && wired.name == kb.unit {
                let all = every(columns.len(), rows.len());
                self.add(draft, &all, (whole * TOUCH, false), &columns, &rows);
                self.add(draft, &all, (whole * CROSSED, true), &columns, &rows);
                continue;
            }
            let plug = draft.kind == UnitKind::Part && plugs.contains(&wired.name);
            let chip = matches!(draft.kind, UnitKind::Contacts | UnitKind::Joints);
            if plug || chip {
                let near = neighbours(&wired.lines, &columns, &rows);
                self.add(draft, &near, (whole * TOUCH, false), &columns, &rows);
            }
        }
    }

    fn add(
        &self,
        draft: &mut DraftUnit,
        pairs: &[Pair],
        (rate, crossed): (f64, bool),
        columns: &[String],
        rows: &[String],
    ) {
        for &(of_columns, a, b) in pairs {
            let (lines, word) = match of_columns {
                true => (columns, "columns"),
                false => (rows, "rows"),
            };
            let does = if crossed { "changed places" } else { "touch" };
            let start = [a, b]
                .iter()
                .filter_map(|&n| self.wiring.lines.get(&lines[usize::from(n)]))
                .map(|&node| (node, Kind::Wrong))
                .collect();
            draft.modes.push(DraftMode {
                what: format!("key {word} {a} and {b} {does}"),
                rate: rate / pairs.len() as f64,
                notice: NOTICE,
                flaky: None,
                missing: false,
                of_type: None,
                opens: Vec::new(),
                across: None,
                refit: None,
                gives_way: Vec::new(),
                joins: Some(Joins {
                    columns: of_columns,
                    crossed,
                    a,
                    b,
                }),
                start,
            });
        }
    }
}

/// All pairs of columns and of rows.
fn every(columns: usize, rows: usize) -> Vec<Pair> {
    let of = |kind: bool, n: usize| {
        let n = n.min(usize::from(u8::MAX)) as u8;
        (0..n).flat_map(move |a| (a + 1..n).map(move |b| (kind, a, b)))
    };
    of(true, columns).chain(of(false, rows)).collect()
}

/// Pairs of a kind at pins next to each other.
fn neighbours(pins: &[Option<String>], columns: &[String], rows: &[String]) -> Vec<Pair> {
    let number = |line: &Option<String>| {
        let line = line.as_ref()?;
        let at = |list: &[String]| list.iter().position(|l| l == line).map(|n| n as u8);
        at(columns)
            .map(|n| (true, n))
            .or_else(|| at(rows).map(|n| (false, n)))
    };
    let pair = |w: &[Option<String>]| match (number(&w[0]), number(&w[1])) {
        (Some((k, a)), Some((l, b))) if k == l && a != b => Some((k, a.min(b), a.max(b))),
        _ => None,
    };
    let mut out: Vec<Pair> = pins.windows(2).filter_map(pair).collect();
    out.sort_unstable();
    out.dedup();
    out
}
