//! Probabilities as people say them.

/// A probability in words: guessed priors do not earn decimals.
///
/// ```
/// use whichsocket::report::words::chance;
/// assert_eq!(chance(0.99), "almost certainly");
/// assert_eq!(chance(0.74), "about 3 in 4");
/// assert_eq!(chance(0.12), "about 1 in 8");
/// assert_eq!(chance(0.003), "hardly");
/// ```
pub fn chance(p: f64) -> String {
    const SAID: [(u32, u32); 13] = [
        (19, 20),
        (9, 10),
        (4, 5),
        (3, 4),
        (2, 3),
        (1, 2),
        (2, 5),
        (1, 3),
        (1, 4),
        (1, 6),
        (1, 8),
        (1, 12),
        (1, 20),
    ];
    if p >= 0.97 {
        return "almost certainly".into();
    }
    if p < 0.01 {
        return "hardly".into();
    }
    if p < 0.035 {
        return format!(
            "about 1 in {}",
            if p < 0.015 {
                100
            } else if p < 0.025 {
                50
            } else {
                30
            }
        );
    }
    // The nearest in log-odds: a step from 0.9 to 0.95 is as large as one from 0.1 to 0.05.
    let logit = |p: f64| (p / (1.0 - p)).ln();
    let distance = |&(a, b): &(u32, u32)| (logit(f64::from(a) / f64::from(b)) - logit(p)).abs();
    let (a, b) = SAID
        .into_iter()
        .min_by(|x, y| distance(x).total_cmp(&distance(y)))
        .unwrap_or((1, 2));
    format!("about {a} in {b}")
}

/// Minutes as people say them.
pub fn minutes(m: f64) -> String {
    if m < 1.5 {
        "a minute".into()
    } else if m < 90.0 {
        format!("{:.0} minutes", m)
    } else {
        format!("{:.1} hours", m / 60.0)
    }
}

/// An amount of money: cents only when there are any.
pub fn money(x: f64) -> String {
    let whole = (x - x.round()).abs() < 0.005;
    if whole {
        // A minus sign before nothing goes away.
        format!("{:.0}", x.round() + 0.0)
    } else {
        format!("{x:.2}")
    }
}

/// What to say of a ranking that is no exact sum: `share` of the probability, at most, was not looked at; all of it when the
/// probabilities are estimates by draws.
pub fn not_looked_at(share: f64) -> String {
    if share >= 1.0 {
        "So many readings need an explanation that nothing is certified: the probabilities are estimates, good to about one in ten.".into()
    } else {
        format!(
            "Up to {:.2} % of the possibilities were not looked at.",
            share * 100.0
        )
    }
}

#[cfg(test)]
mod tests {
    use super::money;

    #[test]
    fn money_has_cents_where_there_are_any() {
        let of = [12.0, 12.5, 0.0, -0.0, -0.001, -3.0].map(money);
        assert_eq!(of, ["12", "12.50", "0", "0", "0", "-3"]);
    }
}
