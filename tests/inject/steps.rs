//! Steps that the programs of several boards have in common.

use super::machine::Machine;
use super::program::{Outcome, Results, Test};

/// A result that is right or not.
pub fn verdict(good: bool) -> Outcome {
    if good { Outcome::Ok } else { Outcome::Bad }
}

/// Addresses that between them move every address line below `size`.
pub fn spots(base: u16, size: u32) -> Vec<u16> {
    let mut out = vec![base];
    let mut bit = 1u32;
    while bit < size {
        out.push(base.wrapping_add(bit as u16));
        out.push(base.wrapping_add((size - 1 - bit) as u16));
        bit <<= 1;
    }
    out
}

/// Cells that read wrong: address, written, read.
pub type Cells = Vec<(u16, u8, u8)>;

/// Writes bytes that depend on the address in three passes and reads them back: the wrong bits. `between`: what happens after writing.
pub fn wrong_bits(
    m: &mut Machine,
    at: &[u16],
    between: &dyn Fn(&mut Machine),
    cells: &mut Cells,
) -> u8 {
    let byte = |a: u16, pass: u8| {
        let spread = (u32::from(a).wrapping_mul(0x9E37_79B1) >> 11) as u8;
        match pass {
            0 => spread,
            1 => !spread,
            _ => (u32::from(a).wrapping_mul(0x85EB_CA77) >> 17) as u8,
        }
    };
    (0..3).fold(0, |wrong, pass| {
        wrong | one_pass(m, at, &|a| byte(a, pass), between, cells)
    })
}

/// Writes a byte everywhere, then reads: the wrong bits.
pub fn one_pass(
    m: &mut Machine,
    at: &[u16],
    byte: &dyn Fn(u16) -> u8,
    between: &dyn Fn(&mut Machine),
    cells: &mut Cells,
) -> u8 {
    for &a in at {
        m.access(a, Some(byte(a)));
    }
    between(m);
    let mut wrong = 0;
    for &a in at {
        let read = m.access(a, None);
        wrong |= read ^ byte(a);
        if read != byte(a) {
            cells.push((a, byte(a), read));
        }
    }
    wrong
}

/// All keys of the matrix, one after the other. `look`: what the rows read as while a column is driven, low for a key that is down.
pub fn keys(m: &mut Machine, r: &mut Results, look: &dyn Fn(&mut Machine, usize) -> u8) {
    let (columns, rows) = (m.w.columns.len(), m.w.rows.len());
    // Nothing pressed: what comes is stuck.
    let free: Vec<u8> = (0..columns).map(|c| look(m, c)).collect();
    for column in 0..columns {
        for row in 0..rows {
            let name = m.w.matrix[column][row].clone();
            if name == "-" {
                continue;
            }
            m.pressed = vec![(column, row)];
            let read = look(m, column);
            m.pressed.clear();
            let outcome = match () {
                () if free[column] >> row & 1 == 0 => Outcome::Stuck,
                () if read >> row & 1 == 1 => Outcome::Dead,
                () => Outcome::Ok,
            };
            r.tests.push((Test::Key(name), outcome));
        }
    }
}
