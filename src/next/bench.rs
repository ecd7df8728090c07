//! What the bench has: tools, parts, and time to think.

use std::fmt;
use std::str::FromStr;

/// A tool that a step may need.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Tool {
    /// Volts, ohms.
    Multimeter,
    /// Tells low, high and pulsing.
    Probe,
    /// Shows the signal itself; does what a logic probe does as well.
    Scope,
    /// Cold spray.
    Spray,
    /// A working machine of the same kind, or a part known to be good for each place.
    Donor,
}

/// All tools with the word of each, in the order they are listed.
pub const TOOLS: [(Tool, &str); 5] = [
    (Tool::Multimeter, "multimeter"),
    (Tool::Probe, "probe"),
    (Tool::Scope, "scope"),
    (Tool::Spray, "spray"),
    (Tool::Donor, "donor"),
];

impl fmt::Display for Tool {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let word = TOOLS.iter().find(|t| t.0 == *self).map_or("", |t| t.1);
        f.write_str(word)
    }
}

impl FromStr for Tool {
    type Err = String;

    fn from_str(s: &str) -> Result<Self, String> {
        let found = TOOLS.iter().find(|t| t.1.eq_ignore_ascii_case(s.trim()));
        found.map(|t| t.0).ok_or_else(|| {
            let words: Vec<&str> = TOOLS.iter().map(|t| t.1).collect();
            format!("no tool called '{s}'; there are: {}", words.join(", "))
        })
    }
}

/// What the bench has.
#[derive(Debug, Clone, PartialEq)]
pub struct Bench {
    /// Tools at hand; a step that needs another is never proposed.
    pub tools: Vec<Tool>,
    /// Type numbers of parts at hand; `None` when nothing was said, which counts as any.
    pub parts: Option<Vec<String>>,
    /// Seconds to think; `None` for the usual effort, which does not depend on the machine.
    pub seconds: Option<f64>,
    /// Depth of the decision tree to give with the steps; 0 for none.
    pub tree: u8,
}

impl Default for Bench {
    fn default() -> Self {
        Bench {
            tools: TOOLS.iter().map(|t| t.0).collect(),
            parts: None,
            seconds: None,
            tree: 0,
        }
    }
}

impl Bench {
    /// Whether the bench has one of these tools.
    pub fn has_one_of(&self, tools: &[Tool]) -> bool {
        tools.iter().any(|t| self.tools.contains(t))
    }

    /// Whether a part of this type is at hand. Types are compared without case, blanks and dashes; a type on the shelf may
    /// carry letters of speed or package behind (4164-15 is a 4164).
    pub fn has_part(&self, part: &str) -> bool {
        let plain = |s: &str| -> String {
            let kept = s.chars().filter(|c| c.is_ascii_alphanumeric());
            kept.collect::<String>().to_ascii_uppercase()
        };
        let wanted = plain(part);
        self.parts.as_ref().is_none_or(|parts| {
            !wanted.is_empty() && parts.iter().any(|p| plain(p).starts_with(&wanted))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::{Bench, Tool};

    #[test]
    fn parts_match_with_letters_behind() {
        let bench = Bench {
            parts: Some(vec!["4164-15".into(), "74ls257".into()]),
            ..Bench::default()
        };
        assert!(bench.has_part("4164"));
        assert!(bench.has_part("74LS257"));
        assert!(!bench.has_part("6526"));
        assert!(!bench.has_part(""));
        assert!(Bench::default().has_part("6526"));
    }

    #[test]
    fn tools_are_read_by_their_words() {
        assert_eq!("Probe".parse(), Ok(Tool::Probe));
        assert!("hammer".parse::<Tool>().unwrap_err().contains("multimeter"));
    }
}
