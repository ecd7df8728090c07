//! Test patterns of the textbooks.
//!
//! Sequences: van de Goor, Testing Semiconductor Memories (1991), from memory, reproducing the published claims; March C- from a
//! microcontroller maker's library documentation; lengths of MSCAN and checkerboard from a university lecture on memory tests.

/// Direction of an element.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Order {
    Any,
    Up,
    Down,
}

/// One operation; 1 is the complement of the background.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Op {
    Read(u8),
    Write(u8),
}

/// Operations done at each address before the next.
#[derive(Debug, Clone, PartialEq)]
pub struct Element {
    pub order: Order,
    pub ops: Vec<Op>,
}

/// Reads `any(w0) up(r0,w1) down(r1,w0)`.
pub fn elements(text: &str) -> Vec<Element> {
    let one = |part: &str| {
        let (order, ops) = part.trim_end_matches(')').split_once('(').unwrap();
        Element {
            order: match order {
                "up" => Order::Up,
                "down" => Order::Down,
                _ => Order::Any,
            },
            ops: ops
                .split(',')
                .map(|op| match op {
                    "r0" => Op::Read(0),
                    "r1" => Op::Read(1),
                    "w0" => Op::Write(0),
                    "w1" => Op::Write(1),
                    _ => panic!("{op}"),
                })
                .collect(),
        }
    };
    text.split_whitespace().map(one).collect()
}

/// Name and sequence.
pub const SEQUENCES: [(&str, &str); 10] = [
    ("MSCAN", "any(w0) any(r0) any(w1) any(r1)"),
    ("MATS", "any(w0) any(r0,w1) any(r1)"),
    ("MATS+", "any(w0) up(r0,w1) down(r1,w0)"),
    ("MATS++", "any(w0) up(r0,w1) down(r1,w0,r0)"),
    ("March X", "any(w0) up(r0,w1) down(r1,w0) any(r0)"),
    ("March Y", "any(w0) up(r0,w1,r1) down(r1,w0,r0) any(r0)"),
    (
        "March C-",
        "any(w0) up(r0,w1) up(r1,w0) down(r0,w1) down(r1,w0) any(r0)",
    ),
    (
        "March A",
        "any(w0) up(r0,w1,w0,w1) up(r1,w0,w1) down(r1,w0,w1,w0) down(r0,w1,w0)",
    ),
    (
        "March B",
        "any(w0) up(r0,w1,r1,w0,r0,w1) up(r1,w0,w1) down(r1,w0,w1,w0) down(r0,w1,w0)",
    ),
    ("Checkerboard", "up(w0) up(r0) up(w1) up(r1)"),
];

/// The sequence of a name.
pub fn sequence(name: &str) -> Vec<Element> {
    let found = SEQUENCES.iter().find(|s| s.0 == name);
    elements(found.unwrap_or_else(|| panic!("no test {name}")).1)
}

/// What stands for 0 at an address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Data {
    Constant(u8),
    Checker(u8),
    Low,
    High,
    Mixed,
}

impl Data {
    /// The byte for 0 or 1 at an address.
    pub fn byte(self, address: u32, value: u8) -> u8 {
        let zero = match self {
            Data::Constant(c) => c,
            Data::Checker(c) if address.is_multiple_of(2) => c,
            Data::Checker(c) => !c,
            Data::Low => address as u8,
            Data::High => (address >> 8) as u8,
            Data::Mixed => address as u8 ^ (address >> 8) as u8,
        };
        if value == 0 { zero } else { !zero }
    }
}

/// A memory test.
#[derive(Debug, Clone)]
pub struct Test {
    pub elements: Vec<Element>,
    pub data: Data,
    /// Waits before the element with this number.
    pub pause: Option<usize>,
}

impl Test {
    /// Write all, read all.
    pub fn fill(data: Data, pause: bool) -> Self {
        Self {
            elements: elements("up(w0) up(r0)"),
            data,
            pause: pause.then_some(1),
        }
    }

    /// A march over a background byte.
    pub fn march(name: &str, background: u8, pause: bool) -> Self {
        Self {
            elements: sequence(name),
            data: Data::Constant(background),
            pause: pause.then_some(1),
        }
    }
}
