//! Whether the functions that are said to drive the columns and read the rows of the keys have to do with those lines.

use super::unused::behind;
use super::{Finding, Read, code};
use crate::faultmap::expand;
use crate::faultmap::raw::BoardRaw;
use crate::faultmap::wiring::Wiring;

/// Warnings: a function that does not touch the line of its column or row, and one that does without the keyboard unit,
/// so that no key shows an open track in it. One for the columns, one for the rows: the others have the same reason.
pub(super) fn findings(file: &Read, board: &BoardRaw, wiring: &mut Wiring) -> Vec<Finding> {
    let Some(kb) = &board.keyboard else {
        return Vec::new();
    };
    let sides = [
        ("column", "drives", &kb.columns, &kb.drives),
        ("row", "reads", &kb.rows, &kb.reads),
    ];
    let mut out = Vec::new();
    for (side, deed, lines, function) in sides {
        let all = expand::list(lines);
        let told = all.iter().enumerate().find_map(|(n, line)| {
            let name = function.replace('#', &n.to_string());
            one(wiring, &kb.unit, line, &name)
                .map(|(said, help)| (format!("{side} {n}: {said}"), help))
        });
        if let Some((message, help)) = told {
            let path = format!("keyboard.{deed}");
            out.push(file.warn(code::MEANING, &path, message, &help));
        }
    }
    out
}

/// What is wrong with one column or row, and what to write.
fn one(wiring: &mut Wiring, unit: &str, line: &str, function: &str) -> Option<(String, String)> {
    let node = wiring.resolve("", function)?;
    let line_node = *wiring.lines.get(line)?;
    let seen = behind(wiring, vec![node]);
    if !seen[line_node] {
        return Some((
            format!("trouble on line {line} does not reach '{function}'"),
            format!(
                "name the function that works line {line}; where its number is not that of the line, make a function \
                 of the board for each: 'scan-in.0: {{needs: A1.port-a.4 {unit}.row.0}}'"
            ),
        ));
    }
    let position = wiring.position(unit)?;
    let of_unit = |((p, _), n): (&(usize, String), &usize)| *p == position && seen[*n];
    (!wiring.part_functions.iter().any(of_unit)).then(|| {
        (
            format!("no key shows a fault of {unit}: '{function}' does not need it"),
            format!(
                "make a function of the board that needs both, as in 'scan-out.0..3: {{needs: \"A1.port-a.# \
                 {unit}.column.#\"}}', and name that"
            ),
        )
    })
}
