//! Cartridge profiles: the words of one test cartridge, said as lines of a run sheet.
//!
//! A profile is data (`faultmaps/cartridges/*.yaml`, [`CartridgeRaw`]). Its lines are tried before anything else on a sheet
//! that names it; what they stand for is read by the grammar like any other line.

use std::sync::{Arc, OnceLock};

use crate::faultmap::raw::CartridgeRaw;

/// The profiles that the program ships with.
const SHIPPED: &[&str] = &[include_str!("../../faultmaps/cartridges/dunlin-bench.yaml")];

/// Words that one `{}` may stand for, at most (`LEFT SHIFT`).
const LONGEST_HOLE: usize = 3;

/// One profile, ready for use.
#[derive(Debug, Clone, PartialEq)]
pub struct Profile {
    /// As typed.
    pub raw: Arc<CartridgeRaw>,
    patterns: Vec<Pattern>,
}

/// A line of the cartridge.
#[derive(Debug, Clone, PartialEq)]
struct Pattern {
    /// Its words in lower case; `None` for `{}`.
    words: Vec<Option<String>>,
    /// The line of a sheet, with `{}` where what was there goes.
    line: String,
}

/// What is wrong with a line of a profile.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ProfileError {
    /// More places are to be filled than the cartridge prints.
    #[error("`{line}` takes {wanted} values and the cartridge's line `{typed}` has {given}")]
    Holes {
        /// The cartridge's line.
        typed: String,
        /// The sheet's line.
        line: String,
        /// Places in the sheet's line.
        wanted: usize,
        /// Places in the cartridge's line.
        given: usize,
    },
}

/// A word without the marks around it, in lower case.
fn bare(word: &str) -> String {
    word.trim_matches(|c: char| ".,:;!()[]".contains(c))
        .to_lowercase()
}

impl Profile {
    /// A profile of what was typed.
    ///
    /// # Errors
    /// Every line with more places to fill than values.
    pub fn new(raw: CartridgeRaw) -> Result<Self, Vec<ProfileError>> {
        let (mut patterns, mut errors) = (Vec::new(), Vec::new());
        for (typed, line) in &raw.lines {
            let words: Vec<Option<String>> = typed
                .split_whitespace()
                .map(|w| (!w.contains("{}")).then(|| bare(w)))
                .filter(|w| w.as_deref() != Some(""))
                .collect();
            let given = words.iter().filter(|w| w.is_none()).count();
            let wanted = line.matches("{}").count();
            if wanted > given {
                errors.push(ProfileError::Holes {
                    typed: typed.clone(),
                    line: line.clone(),
                    wanted,
                    given,
                });
            }
            patterns.push(Pattern {
                words,
                line: line.clone(),
            });
        }
        // The plainest line first: one without places to fill fits only itself.
        patterns.sort_by_key(|p| p.words.iter().filter(|w| w.is_none()).count());
        if errors.is_empty() {
            Ok(Self {
                raw: Arc::new(raw),
                patterns,
            })
        } else {
            Err(errors)
        }
    }

    /// The shipped profiles.
    pub fn shipped() -> &'static [Profile] {
        static ALL: OnceLock<Vec<Profile>> = OnceLock::new();
        ALL.get_or_init(|| {
            let read = |text: &&str| crate::faultmap::load::parse("cartridges", text).ok();
            // A test reads them all; a fault in one loses it, never the program.
            SHIPPED
                .iter()
                .filter_map(read)
                .filter_map(|raw| Profile::new(raw).ok())
                .collect()
        })
    }

    /// The line of a run sheet that a line of the cartridge stands for.
    pub fn translate(&self, line: &str) -> Option<String> {
        let typed: Vec<&str> = line
            .split_whitespace()
            .filter(|w| !bare(w).is_empty())
            .collect();
        self.patterns.iter().find_map(|p| {
            let mut holes = Vec::new();
            fits(&p.words, &typed, &mut holes).then(|| filled(&p.line, &holes))
        })
    }
}

/// Whether the words fit, and what stands in the places; a place takes as few words as it can.
fn fits(pattern: &[Option<String>], typed: &[&str], holes: &mut Vec<String>) -> bool {
    match pattern.split_first() {
        None => typed.is_empty(),
        Some((Some(word), rest)) => typed
            .split_first()
            .is_some_and(|(first, left)| bare(first) == *word && fits(rest, left, holes)),
        Some((None, rest)) => (1..=LONGEST_HOLE.min(typed.len())).any(|n| {
            holes.push(
                typed[..n]
                    .join(" ")
                    .trim_matches(|c: char| ",:;".contains(c))
                    .to_string(),
            );
            let done = fits(rest, &typed[n..], holes);
            if !done {
                holes.pop();
            }
            done
        }),
    }
}

fn filled(line: &str, holes: &[String]) -> String {
    let mut out = line.to_string();
    for hole in holes {
        out = out.replacen("{}", hole, 1);
    }
    out
}

/// A profile line to add for a line that was not understood: numbers and values become places to fill.
pub fn suggestion(line: &str) -> String {
    let pattern: Vec<String> = line
        .replace(['"', '\\', '\t'], " ")
        .split_whitespace()
        .map(|w| {
            if w.chars().any(|c| c.is_ascii_digit()) {
                "{}".to_string()
            } else {
                w.to_string()
            }
        })
        .collect();
    format!("  \"{}\": LINE OF A RUN SHEET", pattern.join(" "))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn own(lines: &[(&str, &str)]) -> Profile {
        let lines = lines
            .iter()
            .map(|(a, b)| (a.to_string(), b.to_string()))
            .collect();
        Profile::new(CartridgeRaw {
            cartridge: "own".into(),
            what: String::new(),
            boards: Vec::new(),
            prints_all_failures: false,
            stages: Vec::new(),
            lines,
        })
        .expect("a profile")
    }

    #[test]
    fn lines_of_the_cartridge_become_lines_of_a_sheet() {
        let profile = own(&[
            ("KEY {} NEVER CAME", "key {} dead"),
            ("{} FLASHES", "memory bit {} bad"),
            ("2 FLASHES", "os rom bad"),
        ]);
        let said = |line: &str| profile.translate(line);
        assert_eq!(
            said("Key left shift never came.").as_deref(),
            Some("key left shift dead")
        );
        assert_eq!(said("3 flashes").as_deref(), Some("memory bit 3 bad"));
        assert_eq!(said("2 flashes").as_deref(), Some("os rom bad"));
        assert_eq!(said("3 long flashes of the lamp and more"), None);
    }

    #[test]
    fn a_line_with_too_many_places_is_refused() {
        let raw = CartridgeRaw {
            lines: [("A {}".to_string(), "{} wrote {} read {}".to_string())].into(),
            ..(*own(&[]).raw).clone()
        };
        assert_eq!(Profile::new(raw).unwrap_err().len(), 1);
    }

    #[test]
    fn every_shipped_profile_is_usable() {
        assert_eq!(Profile::shipped().len(), SHIPPED.len());
    }

    #[test]
    fn suggestions_leave_places_for_values() {
        assert_eq!(
            suggestion("RAM ERROR  BIT 3"),
            "  \"RAM ERROR BIT {}\": LINE OF A RUN SHEET"
        );
    }
}
