//! A structural simulation of dynamic memory: chips with rows and columns behind multiplexed address lines.

pub mod fault;
pub mod functional;
pub mod march;
pub mod run;
pub mod wiring;

/// A number that looks random and is the same for the same input.
pub fn hash(parts: [u64; 3]) -> u64 {
    // Finaliser of splitmix64 (Steele, Lea, Flood 2014), over the parts in turn.
    parts.into_iter().fold(0x9E37_79B9_7F4A_7C15, |h, p| {
        let mut z = (h ^ p).wrapping_add(0x9E37_79B9_7F4A_7C15);
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    })
}
