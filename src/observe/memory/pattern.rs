//! Test patterns: what a memory test writes where, and in which order it reads.
//!
//! Which pattern a test used is seen from the bytes that it says it wrote. What matters is whether two addresses hold
//! different bytes: a fault of the address lines shows only then.

/// A test pattern with the order of writing and reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Pattern {
    /// One byte everywhere, all written before all is read.
    Constant(u8),
    /// The march idea (van de Goor, Testing Semiconductor Memories, 1991): each cell is read and its complement written before the
    /// next cell, upwards.
    MarchUp(u8),
    /// The same, downwards.
    MarchDown(u8),
    /// This byte at even addresses and its complement at odd ones.
    Checker(u8),
    /// A march upwards over such a checkerboard.
    MarchChecker(u8),
    /// Low byte of the address.
    Low,
    /// High byte of the address.
    High,
    /// Exclusive or of both bytes of the address, with this byte.
    Mixed(u8),
    /// None of these: the bytes of other cells are not known.
    Unknown,
}

impl Pattern {
    /// The byte written to an address; `None` when not known.
    pub fn at(self, address: u32) -> Option<u8> {
        let low = address as u8;
        let high = (address >> 8) as u8;
        Some(match self {
            Pattern::Constant(c) | Pattern::MarchUp(c) | Pattern::MarchDown(c) => c,
            Pattern::Checker(c) | Pattern::MarchChecker(c) if address & 1 == 0 => c,
            Pattern::Checker(c) | Pattern::MarchChecker(c) => !c,
            Pattern::Low => low,
            Pattern::High => high,
            Pattern::Mixed(with) => low ^ high ^ with,
            Pattern::Unknown => return None,
        })
    }
}

impl Pattern {
    /// Whether each cell is read and its complement written before the next, upwards.
    pub fn marches_up(self) -> bool {
        matches!(self, Pattern::MarchUp(_) | Pattern::MarchChecker(_))
    }

    /// The same downwards.
    pub fn marches_down(self) -> bool {
        matches!(self, Pattern::MarchDown(_))
    }
}

/// P(the byte written is typed wrong).
const SLIP: f64 = 0.001;

/// Patterns that could have written these bytes, with ln of prior and fit. Priors are guesses; they matter little, since the
/// same bytes were written whatever is at fault.
pub fn candidates(wrote: &[(u32, u8)]) -> Vec<(f64, Pattern)> {
    let Some(&(first, byte)) = wrote.first() else {
        return vec![(0.0, Pattern::Unknown)];
    };
    let checker = if first & 1 == 0 { byte } else { !byte };
    let mixed = byte ^ first as u8 ^ (first >> 8) as u8;
    let all = [
        (0.10, Pattern::Constant(byte)),
        (0.10, Pattern::MarchUp(byte)),
        (0.05, Pattern::MarchDown(byte)),
        (0.20, Pattern::Checker(checker)),
        (0.03, Pattern::MarchChecker(checker)),
        (0.25, Pattern::Low),
        (0.004, Pattern::High),
        (0.20, Pattern::Mixed(mixed)),
    ];
    let mut out: Vec<(f64, Pattern)> = Vec::new();
    for (prior, pattern) in all {
        let prior: f64 = prior;
        let choice = match pattern {
            Pattern::Constant(c) | Pattern::MarchUp(c) | Pattern::MarchDown(c) => chosen(c),
            Pattern::Checker(c) | Pattern::MarchChecker(c) => chosen(c),
            Pattern::Mixed(with) => chosen(with),
            Pattern::Low | Pattern::High | Pattern::Unknown => 1.0,
        };
        out.push((prior.ln() + choice.ln() + fit(wrote, pattern), pattern));
    }
    out.push((
        0.05f64.ln() + fit(wrote, Pattern::Unknown),
        Pattern::Unknown,
    ));
    let best = out.iter().map(|c| c.0).fold(f64::NEG_INFINITY, f64::max);
    // What is a thousand times less probable changes nothing.
    out.retain(|c| c.0 > best - 7.0);
    out
}

/// P(a test was written with this byte): nearly all use one of four (common practice, no source).
fn chosen(byte: u8) -> f64 {
    match byte {
        0x00 | 0xFF | 0x55 | 0xAA => 0.2,
        _ => 0.2 / 252.0,
    }
}

/// ln P(bytes written | pattern).
fn fit(wrote: &[(u32, u8)], pattern: Pattern) -> f64 {
    let of = |&(address, byte): &(u32, u8)| match pattern.at(address) {
        Some(b) if b == byte => (1.0 - SLIP).ln(),
        Some(_) => (SLIP / 255.0).ln(),
        None => (1.0f64 / 256.0).ln(),
    };
    wrote.iter().map(of).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn leader(wrote: &[(u32, u8)]) -> Pattern {
        let all = candidates(wrote);
        all.into_iter()
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .unwrap()
            .1
    }

    #[test]
    fn the_bytes_tell_the_pattern() {
        assert_eq!(
            leader(&[(0x10, 0x55), (0x11, 0xAA), (0x13, 0xAA)]),
            Pattern::Checker(0x55)
        );
        assert_eq!(leader(&[(0x1210, 0x10), (0x1211, 0x11)]), Pattern::Low);
        assert_eq!(leader(&[(0x1210, 0x12), (0x1311, 0x13)]), Pattern::High);
        assert_eq!(
            leader(&[(0x1210, 0x02), (0x1311, 0x02), (0x2412, 0x36)]),
            Pattern::Mixed(0)
        );
        assert_eq!(
            leader(&[(0x1210, 0x17), (0x1311, 0x99), (0x2412, 0x42)]),
            Pattern::Unknown
        );
        let constant = candidates(&[(7, 0xFF), (8, 0xFF), (12, 0xFF)]);
        assert!(constant.iter().all(|(_, p)| p.at(3) == Some(0xFF)));
    }
}
