//! The textbook fault models in a memory of four one-bit cells, and how many of them a test always finds.

use super::march::{Element, Op, Order};

/// Cells of the small memory.
pub const CELLS: usize = 4;

/// A functional fault.
#[derive(Debug, Clone, Copy)]
pub enum Model {
    /// Cell fixed.
    StuckAt(usize, u8),
    /// Cell fails to go to this value.
    Transition(usize, u8),
    /// The address opens no cell and reads this.
    NoCell(usize, u8),
    /// The address opens another cell instead.
    WrongCell(usize, usize),
    /// The address opens another cell as well; reads AND (0) or OR (1).
    TwoCells(usize, usize, u8),
    /// The aggressor going to this value inverts the victim.
    Inversion(usize, usize, u8),
    /// The aggressor going to this value forces the victim to that.
    Idempotent(usize, usize, u8, u8),
    /// The aggressor being at this value forces the victim to that.
    State(usize, usize, u8, u8),
}

use Model::*;

/// All faults of each kind, in the order of the columns of the table.
pub fn faults() -> [(&'static str, Vec<Model>); 6] {
    let cells = || 0..CELLS;
    let pairs = || cells().flat_map(move |a| cells().filter(move |&b| b != a).map(move |b| (a, b)));
    let values = || [0u8, 1].into_iter();
    let both = || values().flat_map(move |x| values().map(move |y| (x, y)));
    let single = |of: fn(usize, u8) -> Model| -> Vec<Model> {
        cells()
            .flat_map(|c| values().map(move |v| of(c, v)))
            .collect()
    };
    let mut decoder = single(NoCell);
    decoder.extend(pairs().map(|(a, b)| WrongCell(a, b)));
    decoder.extend(pairs().flat_map(|(a, b)| values().map(move |v| TwoCells(a, b, v))));
    let inversions = pairs().flat_map(|(a, b)| values().map(move |v| Inversion(a, b, v)));
    let forced = pairs().flat_map(|(a, b)| both().map(move |(x, y)| Idempotent(a, b, x, y)));
    let states = pairs().flat_map(|(a, b)| both().map(move |(x, y)| State(a, b, x, y)));
    [
        ("SAF", single(StuckAt)),
        ("TF", single(Transition)),
        ("AF", decoder),
        ("CFin", inversions.collect()),
        ("CFid", forced.collect()),
        ("CFst", states.collect()),
    ]
}

struct Memory {
    cells: [u8; CELLS],
    fault: Model,
}

impl Memory {
    fn new(start: usize, fault: Model) -> Self {
        let mut m = Self {
            cells: std::array::from_fn(|i| (start >> i & 1) as u8),
            fault,
        };
        m.settle();
        m
    }

    /// What holds at any time.
    fn settle(&mut self) {
        match self.fault {
            StuckAt(c, v) => self.cells[c] = v,
            State(a, b, at, to) if self.cells[a] == at => self.cells[b] = to,
            _ => {}
        }
    }

    fn opened(&self, address: usize) -> Vec<usize> {
        match self.fault {
            NoCell(a, _) if a == address => vec![],
            WrongCell(a, b) if a == address => vec![b],
            TwoCells(a, b, _) if a == address => vec![a, b],
            _ => vec![address],
        }
    }

    fn write(&mut self, address: usize, value: u8) {
        for cell in self.opened(address) {
            let before = self.cells[cell];
            if matches!(self.fault, Transition(c, to) if c == cell && to == value && before != value)
            {
                continue;
            }
            self.cells[cell] = value;
            if before != value {
                match self.fault {
                    Inversion(a, b, to) if a == cell && to == value => self.cells[b] ^= 1,
                    Idempotent(a, b, to, forced) if a == cell && to == value => {
                        self.cells[b] = forced;
                    }
                    _ => {}
                }
            }
        }
        self.settle();
    }

    fn read(&self, address: usize) -> u8 {
        let values = self.opened(address).into_iter().map(|c| self.cells[c]);
        match self.fault {
            NoCell(a, v) if a == address => v,
            TwoCells(a, _, 0) if a == address => values.fold(1, |x, y| x & y),
            _ => values.fold(0, |x, y| x | y),
        }
    }
}

/// Whether a test always finds a fault: from every start, in both directions where the test leaves that open.
pub fn always_found(elements: &[Element], checker: bool, fault: Model) -> bool {
    let open = elements.iter().filter(|e| e.order == Order::Any).count();
    (0..1usize << open).all(|directions| {
        (0..1usize << CELLS).all(|start| found(elements, checker, fault, directions, start))
    })
}

fn found(
    elements: &[Element],
    checker: bool,
    fault: Model,
    directions: usize,
    start: usize,
) -> bool {
    let mut memory = Memory::new(start, fault);
    let mut seen = 0;
    for e in elements {
        let up = match e.order {
            Order::Up => true,
            Order::Down => false,
            Order::Any => {
                seen += 1;
                directions >> (seen - 1) & 1 == 0
            }
        };
        for i in 0..CELLS {
            let address = if up { i } else { CELLS - 1 - i };
            let turn = if checker { (address & 1) as u8 } else { 0 };
            for op in &e.ops {
                match *op {
                    Op::Write(v) => memory.write(address, v ^ turn),
                    Op::Read(v) if memory.read(address) != v ^ turn => return true,
                    Op::Read(_) => {}
                }
            }
        }
    }
    false
}
