//! The boards compiled into the program, and a user's folder that adds to them.

use crate::faultmap::load::{self, MapFolder};
use crate::faultmap::model::BoardModel;
use crate::faultmap::raw::{BoardRaw, FamilyRaw};
use crate::faultmap::wiring::MapError;
use crate::learn::Learned;
use crate::prior::rates::Handbook;
use std::collections::BTreeMap;
use std::collections::HashMap;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

/// Identifier, one line, and the compiled model of each shipped board.
type Shipped = (&'static str, &'static str, &'static [u8]);

static BOARDS: &[Shipped] = include!(concat!(env!("OUT_DIR"), "/boards.rs"));

/// The shipped maps as typed: file and text, parts first.
pub static TEXTS: &[(&str, &str)] = include!(concat!(env!("OUT_DIR"), "/texts.rs"));

static RAW: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/raw.bin"));

/// The shipped maps, parsed.
///
/// # Errors
/// The program file is damaged.
pub fn maps() -> Result<MapFolder, BoardError> {
    let (families, boards) = postcard::from_bytes(RAW).map_err(|_| BoardError::Damaged)?;
    Ok(MapFolder {
        families,
        boards,
        cartridges: BTreeMap::new(),
    })
}

/// Where boards come from: those shipped, and those of a folder that override them.
#[derive(Default)]
pub struct Library {
    own: Vec<BoardModel>,
    /// The bench's own failure rates, for those who ask.
    pub learned: Option<Learned>,
    /// Boards that were asked for, ready to be used again.
    ready: Mutex<HashMap<String, Arc<BoardModel>>>,
    typed: Option<MapFolder>,
}

/// Why a board cannot be had.
#[derive(Debug, thiserror::Error)]
pub enum BoardError {
    /// No such board.
    #[error("no board '{name}'{near}; there are: {known}; your own: --maps DIR")]
    Unknown {
        /// As asked for.
        name: String,
        /// A near miss, worded.
        near: String,
        /// All identifiers.
        known: String,
    },
    /// The folder has no maps in it.
    #[error("{0}")]
    NoMaps(String),
    /// The user's maps have mistakes.
    #[error("{}", .0.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n"))]
    Map(Vec<MapError>),
    /// The compiled model cannot be read: the program file is damaged.
    #[error("the built-in map of this board is damaged: install the program again")]
    Damaged,
}

impl Library {
    /// The shipped boards, and those of a folder of maps if there is one.
    ///
    /// # Errors
    /// Every mistake in the folder's maps.
    pub fn open(folder: Option<&Path>) -> Result<Self, BoardError> {
        let Some(dir) = folder else {
            return Ok(Self::default());
        };
        if !dir.is_dir() {
            let message = "this is not a folder with parts/ and boards/ in it".to_string();
            let error = MapError {
                file: dir.display().to_string(),
                path: String::new(),
                message,
            };
            return Err(BoardError::Map(vec![error]));
        }
        if !load::holds_maps(dir) {
            return Err(BoardError::NoMaps(load::no_maps(dir)));
        }
        let (mut maps, mut errors) = MapFolder::read(dir);
        for (name, family) in self::maps()?.families {
            maps.families.entry(name).or_insert(family);
        }
        let (own, more) = maps.compile(&Handbook);
        errors.extend(more);
        if errors.is_empty() {
            Ok(Self {
                own,
                typed: Some(maps),
                learned: None,
                ready: Mutex::default(),
            })
        } else {
            Err(BoardError::Map(errors))
        }
    }

    /// Identifier and one line of every board, own ones first, then by name.
    pub fn list(&self) -> Vec<(String, String)> {
        let own = self.own.iter().map(|b| (b.board.clone(), b.what.clone()));
        let shipped = BOARDS
            .iter()
            .filter(|b| self.own.iter().all(|o| o.board != b.0));
        own.chain(shipped.map(|b| (b.0.to_string(), b.1.to_string())))
            .collect()
    }

    /// A board by its identifier, decoded once and shared by all who ask.
    ///
    /// # Errors
    /// As [`Self::board`].
    pub fn shared(&self, name: &str) -> Result<Arc<BoardModel>, BoardError> {
        let mut ready = self.ready.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(board) = ready.get(name) {
            return Ok(Arc::clone(board));
        }
        let board = Arc::new(self.board(name)?);
        ready.insert(name.to_string(), Arc::clone(&board));
        Ok(board)
    }

    /// The identifier that a name is, hyphens and blanks aside.
    fn spelt(&self, name: &str) -> Option<String> {
        let bare = |s: &str| -> String {
            let letters = s.chars().filter(|c| c.is_alphanumeric());
            letters.flat_map(char::to_lowercase).collect()
        };
        let all = self.list();
        let mut same = all.iter().filter(|(id, _)| bare(id) == bare(name));
        match (same.next(), same.next()) {
            (Some((id, _)), None) => Some(id.clone()),
            _ => None,
        }
    }

    /// The map of a board as typed, with all part families.
    ///
    /// # Errors
    /// No such board, with what is nearest.
    pub fn typed(&self, name: &str) -> Result<(BoardRaw, BTreeMap<String, FamilyRaw>), BoardError> {
        let board = self.board(name)?.board;
        if let Some((maps, (_, raw))) =
            (self.typed.as_ref()).and_then(|maps| Some((maps, maps.boards.get(&board)?)))
        {
            return Ok((raw.clone(), maps.families.clone()));
        }
        let mut shipped = maps()?;
        let (_, raw) = shipped.boards.remove(&board).ok_or(BoardError::Damaged)?;
        Ok((raw, shipped.families))
    }

    /// A board by its identifier.
    ///
    /// # Errors
    /// No such board, with what is nearest.
    pub fn board(&self, name: &str) -> Result<BoardModel, BoardError> {
        // `dunlin64` and `Dunlin 64` are `dunlin-64`: no two boards differ in their hyphens alone.
        let plain = self
            .spelt(name)
            .unwrap_or_else(|| name.trim().to_lowercase());
        if let Some(own) = self.own.iter().find(|b| b.board == plain) {
            return Ok(own.clone());
        }
        if let Some((_, _, bytes)) = BOARDS.iter().find(|b| b.0 == plain) {
            return postcard::from_bytes(bytes).map_err(|_| BoardError::Damaged);
        }
        let names: Vec<String> = self.list().into_iter().map(|b| b.0).collect();
        let begun: Vec<&String> = names.iter().filter(|n| n.starts_with(&plain)).collect();
        let near = match begun.as_slice() {
            [one] if !plain.is_empty() => format!("; did you mean '{one}'?"),
            _ => crate::faultmap::wiring::near(&plain, names.iter()),
        };
        Err(BoardError::Unknown {
            name: name.to_string(),
            near,
            known: names.join(", "),
        })
    }
}
