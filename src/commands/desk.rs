//! What a bench brings of its own: words, names of parts, cartridge profiles.

use std::io::Write;
use std::path::{Path, PathBuf};

use crate::faultmap::load::{LARGEST_MAP, MapFolder};
use crate::sheet::{Bench, Profile, Vocabulary};

/// Words and profiles of a bench, beside the shipped ones.
#[derive(Default)]
pub struct Desk {
    words: Option<Vocabulary>,
    profiles: Vec<Profile>,
}

impl Desk {
    /// Reads `words/*.yaml` and `cartridges/*.yaml` of the folder `maps`, and the file `words`. A words file that is not there
    /// yet counts as empty: the first answer makes it.
    ///
    /// # Errors
    /// The first mistake, with its file and line.
    pub fn open(maps: Option<&Path>, words: Option<&Path>) -> Result<Self, String> {
        let mut files: Vec<PathBuf> = Vec::new();
        let mut desk = Self::default();
        if let Some(dir) = maps {
            let entries = std::fs::read_dir(dir.join("words"))
                .into_iter()
                .flatten()
                .flatten();
            files = entries
                .map(|e| e.path())
                .filter(|p| p.extension().is_some_and(|x| x == "yaml"))
                .collect();
            files.sort();
            desk.profiles = profiles(dir)?;
        }
        files.extend(words.filter(|w| w.exists()).map(Path::to_path_buf));
        if files.is_empty() {
            return Ok(desk);
        }
        let mut all = Vocabulary::shipped();
        for file in files {
            let name = file.display().to_string();
            if std::fs::metadata(&file).is_ok_and(|m| m.len() > LARGEST_MAP) {
                return Err(format!(
                    "{name}: larger than {LARGEST_MAP} bytes: this is no words file"
                ));
            }
            let text = std::fs::read_to_string(&file).map_err(|e| format!("{name}: {e}"))?;
            all.add(&text).map_err(|e| format!("{name}: {e}"))?;
        }
        desk.words = Some(all);
        Ok(desk)
    }

    /// What sheets are read with.
    pub fn bench(&self, photo: bool, lines: Option<usize>) -> Bench<'_> {
        Bench {
            words: self.words.as_ref().unwrap_or_else(|| Vocabulary::english()),
            profiles: &self.profiles,
            photo,
            lines,
            ..Bench::default()
        }
    }
}

fn profiles(dir: &Path) -> Result<Vec<Profile>, String> {
    let (folder, errors) = MapFolder::read_cartridges(dir);
    if let Some(error) = errors.first() {
        return Err(error.to_string());
    }
    let mut out = Vec::new();
    for raw in folder.cartridges.into_values() {
        let name = raw.cartridge.clone();
        let said = |errors: Vec<_>| {
            let all: Vec<String> = errors
                .iter()
                .map(|e: &crate::sheet::profile::ProfileError| e.to_string())
                .collect();
            format!("cartridge {name}: {}", all.join("; "))
        };
        out.push(Profile::new(raw).map_err(said)?);
    }
    Ok(out)
}

/// The line of a words file that makes `phrase` a name of `place`.
pub fn name_line(phrase: &str, place: &str) -> String {
    format!(
        "name {}: {}",
        place.trim().to_lowercase(),
        phrase.trim().to_lowercase()
    )
}

/// Adds a name to a words file, which is made when it is not there. It is asked for once only.
///
/// # Errors
/// A place or phrase that no words file can hold, or a file that cannot be written.
pub fn remember(file: &Path, phrase: &str, place: &str) -> Result<(), String> {
    let line = name_line(phrase, place);
    let words = Vocabulary::with(&line).map_err(|_| {
        format!("`{place}` cannot be the name of a place; type its designator, such as U17")
    })?;
    if !words.knows(
        phrase
            .split_whitespace()
            .next()
            .unwrap_or("")
            .to_lowercase()
            .as_str(),
    ) {
        return Err(format!("`{phrase}` cannot be kept as a name"));
    }
    let write = || -> std::io::Result<()> {
        let mut out = std::fs::OpenOptions::new()
            .create(true)
            .append(true)
            .open(file)?;
        writeln!(out, "{line}")
    };
    write().map_err(|e| format!("{}: {e}", file.display()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_asked_for_once_and_kept() {
        let dir = tempfile::tempdir().expect("a folder");
        let file = dir.path().join("words.yaml");
        remember(&file, "noise box", "U18").expect("kept");
        remember(&file, "Left Timer", "u1").expect("kept");
        let desk = Desk::open(None, Some(&file)).expect("words");
        let sheet = crate::sheet::parse_at(
            "t",
            b"noise box hot\nleft timer cold",
            &desk.bench(false, None),
        )
        .expect("a text");
        let said: Vec<String> = sheet
            .statements()
            .map(|s| crate::sheet::print_statement(&s.value))
            .collect();
        assert_eq!(said, ["U18 hot", "U1 cold"]);
        assert!(remember(&file, "x", "not a place").is_err());
    }

    #[test]
    fn mistakes_in_a_words_file_name_file_and_line() {
        let dir = tempfile::tempdir().expect("a folder");
        let file = dir.path().join("mine.yaml");
        std::fs::write(&file, "dead: doornail\nmemroy: speicher\n").expect("written");
        let error = Desk::open(None, Some(&file)).err().expect("an error");
        assert!(
            error.contains("mine.yaml") && error.contains("line 2") && error.contains("memory"),
            "{error}"
        );
    }
}
