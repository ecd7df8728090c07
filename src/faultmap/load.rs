//! Reads a folder of maps: `parts/*.yaml`, `boards/*.yaml`, `cartridges/*.yaml`.

use super::compile::{Rates, compile};
use super::model::BoardModel;
use super::raw::{BoardRaw, CartridgeRaw, FamilyRaw};
use super::wiring::MapError;
use serde::de::DeserializeOwned;
use std::collections::BTreeMap;
use std::path::Path;

/// The largest map file that is read, bytes.
pub const LARGEST_MAP: u64 = 2_000_000;

/// A folder of maps as typed.
#[derive(Debug, Clone, Default)]
pub struct MapFolder {
    /// Part families by identifier.
    pub families: BTreeMap<String, FamilyRaw>,
    /// Boards by identifier, with the file's name.
    pub boards: BTreeMap<String, (String, BoardRaw)>,
    /// Cartridge profiles by identifier.
    pub cartridges: BTreeMap<String, CartridgeRaw>,
}

/// A mistake of form in a map's text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Slip {
    /// Line and column, from 1, where the reader knows them.
    pub at: Option<(u64, u64)>,
    /// What the reader says, without the place.
    pub message: String,
}

/// Parses one YAML file of the map format, with the place of a mistake as numbers.
///
/// # Errors
/// The first mistake of form.
pub fn parse_located<T: DeserializeOwned>(text: &str) -> Result<T, Slip> {
    let options = serde_yaml::options! {
        strict_booleans: true,
        with_snippet: false,
    };
    serde_yaml::from_str_with_options(text, options).map_err(|e| {
        let at = e.location().map(|l| (l.line(), l.column()));
        let said = e.to_string();
        let place = at.map(|(l, c)| format!("at line {l}, column {c}"));
        let message = match place {
            Some(place) => said.replace(&format!(" {place}"), ""),
            None => said,
        };
        Slip { at, message }
    })
}

/// Parses one YAML file of the map format.
///
/// # Errors
/// A message with line and column.
pub fn parse<T: DeserializeOwned>(file: &str, text: &str) -> Result<T, MapError> {
    parse_located(text).map_err(|slip| MapError {
        file: file.to_string(),
        path: slip.at.map_or_else(String::new, |(line, column)| {
            format!("line {line}, column {column}")
        }),
        message: slip.message,
    })
}

fn yaml_files(dir: &Path, errors: &mut Vec<MapError>) -> Vec<(String, String)> {
    let Ok(entries) = std::fs::read_dir(dir) else {
        return Vec::new();
    };
    let mut paths: Vec<_> = entries.flatten().map(|e| e.path()).collect();
    paths.retain(|p| p.extension().is_some_and(|x| x == "yaml" || x == "yml"));
    paths.sort();
    let mut out = Vec::new();
    for path in paths {
        let name = path.display().to_string();
        let too_large = std::fs::metadata(&path).is_ok_and(|m| m.len() > LARGEST_MAP);
        let message = match (too_large, std::fs::read_to_string(&path)) {
            (false, Ok(text)) => {
                out.push((name, text));
                continue;
            }
            (true, _) => format!("larger than {LARGEST_MAP} bytes: this is no board map"),
            (_, Err(e)) => e.to_string(),
        };
        errors.push(MapError {
            file: name,
            path: String::new(),
            message,
        });
    }
    out
}

/// The texts of a folder of maps with their names: parts, boards, cartridges. What cannot be read is told.
pub fn texts(dir: &Path, errors: &mut Vec<MapError>) -> Vec<(String, String)> {
    ["parts", "boards", "cartridges"]
        .iter()
        .flat_map(|sub| yaml_files(&dir.join(sub), errors))
        .collect()
}

/// The folders of a folder of maps. Words are read by the sheets, not here.
const FOLDERS: [&str; 4] = ["parts", "boards", "cartridges", "words"];

/// Whether a folder has any of the folders that maps lie in.
pub fn holds_maps(dir: &Path) -> bool {
    FOLDERS.iter().any(|sub| dir.join(sub).is_dir())
}

/// What is said of a folder without maps: where they should lie, and which folder was perhaps meant.
pub fn no_maps(dir: &Path) -> String {
    let meant = dir.parent().filter(|up| {
        let own = dir
            .file_name()
            .is_some_and(|n| FOLDERS.iter().any(|f| n == *f));
        own && !up.as_os_str().is_empty()
    });
    let near = meant.map_or(String::new(), |up| {
        format!("; did you mean '{}'?", up.display())
    });
    format!(
        "{}: no maps in it; boards lie in its folder boards/, part families in parts/{near}",
        dir.display()
    )
}

impl MapFolder {
    /// Reads a folder; a subfolder that is not there counts as empty.
    pub fn read(dir: &Path) -> (Self, Vec<MapError>) {
        let (mut folder, mut errors) = (Self::default(), Vec::new());
        let twice = |file: &str, what: &str| MapError {
            file: file.into(),
            path: what.into(),
            message: "another file of this folder has the same name in it".into(),
        };
        for (file, text) in yaml_files(&dir.join("parts"), &mut errors) {
            match parse::<FamilyRaw>(&file, &text) {
                Ok(raw) => {
                    let name = raw.family.clone();
                    if folder.families.insert(name.clone(), raw).is_some() {
                        errors.push(twice(&file, &name));
                    }
                }
                Err(e) => errors.push(e),
            }
        }
        for (file, text) in yaml_files(&dir.join("boards"), &mut errors) {
            match parse::<BoardRaw>(&file, &text) {
                Ok(raw) => {
                    let name = raw.board.clone();
                    if folder
                        .boards
                        .insert(name.clone(), (file.clone(), raw))
                        .is_some()
                    {
                        errors.push(twice(&file, &name));
                    }
                }
                Err(e) => errors.push(e),
            }
        }
        for (file, text) in yaml_files(&dir.join("cartridges"), &mut errors) {
            match parse::<CartridgeRaw>(&file, &text) {
                Ok(raw) => {
                    folder.cartridges.insert(raw.cartridge.clone(), raw);
                }
                Err(e) => errors.push(e),
            }
        }
        (folder, errors)
    }

    /// Reads only the cartridge profiles of a folder.
    pub fn read_cartridges(dir: &Path) -> (Self, Vec<MapError>) {
        let (mut folder, mut errors) = (Self::default(), Vec::new());
        for (file, text) in yaml_files(&dir.join("cartridges"), &mut errors) {
            match parse::<CartridgeRaw>(&file, &text) {
                Ok(raw) => {
                    folder.cartridges.insert(raw.cartridge.clone(), raw);
                }
                Err(e) => errors.push(e),
            }
        }
        (folder, errors)
    }

    /// Compiles every board of the folder.
    pub fn compile(&self, rates: &dyn Rates) -> (Vec<BoardModel>, Vec<MapError>) {
        let (mut models, mut errors) = (Vec::new(), Vec::new());
        for (file, board) in self.boards.values() {
            match compile(file, board, &self.families, rates) {
                Ok(model) => models.push(model),
                Err(mut e) => errors.append(&mut e),
            }
        }
        (models, errors)
    }
}
