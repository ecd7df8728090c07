//! How probable it is that a fault is described as it was typed.
//!
//! For a given fault the physics (`matrix`) says what a key does: nothing, its own and more (`also`), another (`gives`), or
//! as it should. What is typed of it is one of the [`OUTCOMES`]; the table below is P(typed | what it does), a row each, and
//! every row adds up to one. All figures are guesses (common practice, no source): most people type what they see, some only
//! that the key is bad, and a few overlook it (`observe::TYPED`).

use super::matrix::Keys;

/// What is typed of a key, without names of others.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Typed {
    /// `ok`, or left out of a sheet that says 'rest fine'.
    Ok,
    /// `bad`, no more said.
    Bad,
    /// `dead`.
    Dead,
    /// `stuck`.
    Stuck,
    /// `also presses` all of the keys that it does.
    AlsoAll,
    /// `also presses` some of them.
    AlsoSome,
    /// `gives` the other key.
    Gives,
    /// `also presses` or `gives` something else.
    Other,
}

/// All that can be typed.
pub const OUTCOMES: [Typed; 8] = [
    Typed::Ok,
    Typed::Bad,
    Typed::Dead,
    Typed::Stuck,
    Typed::AlsoAll,
    Typed::AlsoSome,
    Typed::Gives,
    Typed::Other,
];

/// What a key that is pressed alone does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Does {
    /// What it should.
    Right,
    /// Itself and these.
    More(Keys),
    /// Only these, not itself.
    Instead(Keys),
    /// Nothing.
    Nothing,
}

/// What a key does, from what its press adds to the report.
pub fn does(key: usize, added: Keys) -> Does {
    let own = 1 << key;
    match (added & own != 0, added & !own) {
        (true, 0) => Does::Right,
        (true, more) => Does::More(more),
        (false, 0) => Does::Nothing,
        (false, other) => Does::Instead(other),
    }
}

/// P(typed | does), in the order of [`OUTCOMES`].
pub fn table(does: Does) -> [f64; 8] {
    match does {
        // Not reached by a reading about a fault; here so that the table is whole.
        Does::Right => [0.9996, 0.0001, 0.0001, 0.0001, 0.0, 0.0, 0.0, 0.0001],
        // With one more key there is no 'some of them'; both lines may also show nothing where neither wins.
        Does::More(more) if more.count_ones() == 1 => {
            [0.02, 0.10, 0.02, 0.02, 0.74, 0.0, 0.08, 0.02]
        }
        Does::More(_) => [0.02, 0.14, 0.02, 0.02, 0.60, 0.10, 0.08, 0.02],
        Does::Instead(_) => [0.02, 0.10, 0.02, 0.02, 0.05, 0.02, 0.75, 0.02],
        Does::Nothing => [0.01, 0.13, 0.85, 0.0025, 0.0, 0.0, 0.0025, 0.005],
    }
}

/// P(typed | does).
pub fn probability(typed: Typed, what: Does) -> f64 {
    let at = OUTCOMES.iter().position(|o| *o == typed);
    at.map_or(0.0, |i| table(what)[i])
}

/// Which outcome it is when `also` these keys was typed of a key that does this.
pub fn also(named: Keys, what: Does) -> Typed {
    match what {
        Does::More(more) | Does::Instead(more) if named == more => Typed::AlsoAll,
        Does::More(more) | Does::Instead(more) if named != 0 && named & !more == 0 => {
            Typed::AlsoSome
        }
        _ => Typed::Other,
    }
}

/// Which outcome it is when `gives` these keys was typed.
pub fn gives(named: Keys, what: Does) -> Typed {
    match what {
        Does::More(more) | Does::Instead(more) if named != 0 && named & !more == 0 => Typed::Gives,
        _ => Typed::Other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_adds_up_to_one() {
        for what in [
            Does::Right,
            Does::More(2),
            Does::More(6),
            Does::Instead(2),
            Does::Nothing,
        ] {
            let sum: f64 = table(what).iter().sum();
            assert!((sum - 1.0).abs() < 1e-12, "{what:?}: {sum}");
        }
    }

    /// Whatever is named, it is exactly one outcome, so that no row counts twice.
    #[test]
    fn what_is_named_is_one_outcome() {
        for more in 1u128..64 {
            for named in 1u128..64 {
                let also = also(named, Does::More(more));
                assert_eq!(also == Typed::AlsoAll, named == more);
                assert_eq!(
                    also == Typed::AlsoSome,
                    named != more && named & !more == 0,
                    "{named:b} of {more:b}"
                );
            }
        }
    }
}
