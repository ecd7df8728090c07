//! The physics of a scanned key matrix without diodes at its keys.
//!
//! One column is driven low at a time and the rows are read; a pressed key joins its column and its row. Low spreads over
//! closed contacts both ways, so a scan reports every key that lies in one connected piece of the graph of lines and
//! contacts: with A = (C1, R1), B = (C2, R1) and D = (C2, R2) closed, driving C1 reaches R1 through A, C2 through B and R2
//! through D, and C = (C1, R2) is reported although it is open (the rectangle rule: D. Dribin, Keyboard Matrix Help, 2000).
//! Low wins where a driven high column is joined to a low one: an NMOS output pulls down far harder than up (6526: 3.2 mA
//! at 0.4 V against 0.2 mA at 2.4 V, data sheet).

use crate::faultmap::model::Joins;
use crate::faultmap::raw::KeyboardRaw;

/// A set of keys: bit k is key k of the matrix.
pub type Keys = u128;

/// The most keys that a matrix may have to be reasoned about.
const MOST: usize = 128;

/// Where every key sits.
#[derive(Debug, Clone, Default)]
pub struct Matrix {
    /// Column, row and name, column by column.
    pub keys: Vec<(usize, usize, String)>,
    /// Number of columns.
    pub columns: usize,
    /// Number of rows.
    pub rows: usize,
    /// Key at `column * rows + row`.
    at: Vec<Option<usize>>,
}

/// What is wrong with a matrix electrically. The default is a good one.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Fault {
    /// Columns that are not driven: open, or held high.
    pub open_columns: u32,
    /// Rows that are not read as low: open, or held high.
    pub open_rows: u32,
    /// Columns held low at all times.
    pub low_columns: u32,
    /// Rows held low at all times.
    pub low_rows: u32,
    /// Contacts that are closed for good.
    pub closed: Keys,
    /// Contacts that never close.
    pub broken: Keys,
    /// Two lines that touch or changed places.
    pub joins: Option<Joins>,
}

impl Matrix {
    /// The matrix of a board; `None` when it is too large.
    pub fn new(kb: &KeyboardRaw) -> Option<Self> {
        let columns = kb.matrix.len();
        let rows = kb.matrix.iter().map(Vec::len).max()?;
        let mut m = Matrix {
            columns,
            rows,
            at: vec![None; columns * rows],
            ..Self::default()
        };
        for (c, column) in kb.matrix.iter().enumerate() {
            for (r, key) in column.iter().enumerate().filter(|(_, k)| *k != "-") {
                m.at[c * rows + r] = Some(m.keys.len());
                m.keys.push((c, r, key.clone()));
            }
        }
        (m.keys.len() <= MOST && columns <= 32 && rows <= 32).then_some(m)
    }

    /// The key with this name, as the map writes it.
    pub fn key(&self, name: &str) -> Option<usize> {
        self.keys.iter().position(|(_, _, n)| n == name)
    }

    /// The key at a crossing.
    pub fn at(&self, column: usize, row: usize) -> Option<usize> {
        self.at.get(column * self.rows + row).copied().flatten()
    }

    /// The keys that a scan reports while these are pressed.
    pub fn reported(&self, fault: &Fault, pressed: Keys) -> Keys {
        let closed = (pressed | fault.closed) & !fault.broken;
        let contacts: Vec<(usize, usize)> = (0..self.keys.len())
            .filter(|&k| closed >> k & 1 == 1)
            .map(|k| (self.keys[k].0, self.keys[k].1))
            .collect();
        let mut out = 0;
        for scanned in 0..self.columns {
            let driven = if fault.open_columns >> scanned & 1 == 1 {
                0
            } else {
                1 << fault.line(true, scanned)
            };
            let low_rows = self.flood(fault, driven, &contacts);
            for read in 0..self.rows {
                let open = fault.open_rows >> read & 1 == 1;
                if !open && low_rows >> fault.line(false, read) & 1 == 1 {
                    out |= self.at(scanned, read).map_or(0, |k| 1 << k);
                }
            }
        }
        out
    }

    /// Rows that are low when these columns are driven low.
    fn flood(&self, fault: &Fault, driven: u32, contacts: &[(usize, usize)]) -> u32 {
        let mut columns = driven | fault.low_columns;
        let mut rows = fault.low_rows;
        loop {
            let before = (columns, rows);
            for &(c, r) in contacts {
                if columns >> c & 1 == 1 || rows >> r & 1 == 1 {
                    columns |= 1 << c;
                    rows |= 1 << r;
                }
            }
            if let Some(j) = fault.joins.filter(|j| !j.crossed) {
                let both = 1 << j.a | 1 << j.b;
                let lines = if j.columns { &mut columns } else { &mut rows };
                if *lines & both != 0 {
                    *lines |= both;
                }
            }
            if (columns, rows) == before {
                return rows;
            }
        }
    }

    /// What pressing one key alone adds to what is reported anyway.
    pub fn alone(&self, fault: &Fault, key: usize) -> Keys {
        self.reported(fault, 1 << key) & !self.reported(fault, 0)
    }
}

impl Fault {
    /// The line that a pin of the port is on: another one when two changed places.
    fn line(&self, columns: bool, pin: usize) -> usize {
        match self.joins.filter(|j| j.crossed && j.columns == columns) {
            Some(j) if usize::from(j.a) == pin => usize::from(j.b),
            Some(j) if usize::from(j.b) == pin => usize::from(j.a),
            _ => pin,
        }
    }
}
