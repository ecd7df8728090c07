//! Short forms of the map format: blank-separated lists, ranges and weights.

/// A name with its weight, as in `U14.switch@0.3`.
#[derive(Debug, Clone, PartialEq)]
pub struct Weighted {
    /// The name.
    pub name: String,
    /// Probability that the loss of it shows; 1 when not given.
    pub weight: f64,
}

/// Expands one token: `d0..7` → `d0` … `d7`, `d7..0` counts down; anything else is itself.
///
/// ```
/// use whichsocket::faultmap::expand::range;
/// assert_eq!(range("d2..0"), ["d2", "d1", "d0"]);
/// assert_eq!(range("memory.bit.6..7.low"), ["memory.bit.6.low", "memory.bit.7.low"]);
/// assert_eq!(range("RESET_N"), ["RESET_N"]);
/// ```
pub fn range(token: &str) -> Vec<String> {
    let Some((left, right)) = token.split_once("..") else {
        return vec![token.to_string()];
    };
    let prefix = left.trim_end_matches(|c: char| c.is_ascii_digit());
    let from = &left[prefix.len()..];
    let rest = right.trim_start_matches(|c: char| c.is_ascii_digit());
    let to = &right[..right.len() - rest.len()];
    let (Ok(from), Ok(to)) = (from.parse::<u32>(), to.parse::<u32>()) else {
        return vec![token.to_string()];
    };
    // A range of thousands is a slip, and a way to fill the memory: leave it unexpanded, it will not be found.
    if from.abs_diff(to) > 999 {
        return vec![token.to_string()];
    }
    let number = |n: u32| format!("{prefix}{n}{rest}");
    if from <= to {
        (from..=to).map(number).collect()
    } else {
        (to..=from).rev().map(number).collect()
    }
}

/// Expands a blank-separated list of names.
pub fn list(text: &str) -> Vec<String> {
    text.split_whitespace().flat_map(range).collect()
}

/// Expands a list of names with optional weights.
///
/// # Errors
/// The token whose weight is not a number in 0..=1.
pub fn weighted(text: &str) -> Result<Vec<Weighted>, String> {
    let mut out = Vec::new();
    for token in text.split_whitespace() {
        let (name, weight) = match token.split_once('@') {
            None => (token, 1.0),
            Some((name, w)) => match w.parse::<f64>() {
                Ok(w) if (0.0..=1.0).contains(&w) => (name, w),
                _ => return Err(token.to_string()),
            },
        };
        out.extend(
            range(name)
                .into_iter()
                .map(|name| Weighted { name, weight }),
        );
    }
    Ok(out)
}

/// Expands a key: each name it stands for with the text that replaces `#` in its values
/// (the running number; empty for a plain key).
///
/// ```
/// use whichsocket::faultmap::expand::key;
/// assert_eq!(key("clock"), [("clock".to_string(), String::new())]);
/// assert_eq!(key("bit.0..1")[1], ("bit.1".to_string(), "1".to_string()));
/// ```
pub fn key(key: &str) -> Vec<(String, String)> {
    let names = range(key);
    if names.len() == 1 && names[0] == key {
        return vec![(key.to_string(), String::new())];
    }
    let Some((left, right)) = key.split_once("..") else {
        return Vec::new();
    };
    let prefix = left.trim_end_matches(|c: char| c.is_ascii_digit()).len();
    let suffix = right.trim_start_matches(|c: char| c.is_ascii_digit()).len();
    names
        .into_iter()
        .map(|name| {
            let number = name[prefix..name.len() - suffix].to_string();
            (name, number)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lists_and_weights() {
        assert_eq!(list("gnd  pa0..1 -"), ["gnd", "pa0", "pa1", "-"]);
        assert_eq!(
            weighted("a b0..1@0.5").unwrap(),
            [("a", 1.0), ("b0", 0.5), ("b1", 0.5)].map(|(n, weight)| Weighted {
                name: n.into(),
                weight
            })
        );
        assert_eq!(weighted("a@2").unwrap_err(), "a@2");
        assert_eq!(weighted("a@x").unwrap_err(), "a@x");
    }

    #[test]
    fn absurd_ranges_stay_names() {
        assert_eq!(range("d0..99999"), ["d0..99999"]);
        assert_eq!(range("d..7"), ["d..7"]);
    }

    #[test]
    fn keys_give_the_running_number() {
        assert_eq!(
            key("timer.1..2.a"),
            [
                ("timer.1.a".into(), "1".into()),
                ("timer.2.a".into(), "2".to_string())
            ]
        );
    }
}
