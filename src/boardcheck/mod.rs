//! What is wrong with a map, and what its checks are worth: `board check`.
//!
//! Texts → trees with places ([`yaml`]) and typed maps ([`read`]) → mistakes of meaning ([`meaning`], [`family`]) → what
//! nothing uses ([`unused`]), loops ([`loops`]), and the figures of the checks ([`coverage`], [`testability`]).

pub mod coverage;
pub mod family;
pub mod keyboard;
pub mod loops;
pub mod meaning;
pub mod place;
pub mod read;
pub mod testability;
pub mod unused;
pub mod yaml;

use crate::diag::{Diag, Severity};
use crate::faultmap::compile::compile;
use crate::faultmap::raw::{BoardRaw, CartridgeRaw, FamilyRaw};
use crate::faultmap::wiring::{MapError, Wiring};
use crate::prior::rates::Handbook;
use crate::source::Span;
use std::collections::{BTreeMap, BTreeSet};
use yaml::Node;

/// Codes of the messages about maps: stable, listed in DEVELOPERS.md.
pub mod code {
    /// The file is no YAML.
    pub const SYNTAX: &str = "map-syntax";
    /// A key is unknown or missing, or a value is of the wrong kind.
    pub const KEY: &str = "map-key";
    /// A name stands for nothing.
    pub const NAME: &str = "map-name";
    /// What the map says contradicts itself.
    pub const MEANING: &str = "map-meaning";
    /// Nothing uses this, and no reason is given.
    pub const UNUSED: &str = "map-unused";
    /// A reason is given for something that is used, or not there.
    pub const REASON: &str = "map-reason";
    /// A fact without its source, a place without its remark.
    pub const SOURCE: &str = "map-source";

    /// All of them, with what they mean.
    pub const ALL: &[(&str, &str)] = &[
        (SYNTAX, "the file is no YAML"),
        (
            KEY,
            "a key is unknown or missing, or a value is of the wrong kind",
        ),
        (NAME, "a name stands for nothing"),
        (MEANING, "what the map says contradicts itself"),
        (UNUSED, "nothing uses this, and no reason is given"),
        (
            REASON,
            "a reason is given for something that is used, or is not there",
        ),
        (
            SOURCE,
            "a fact without its source, a place without its remark",
        ),
    ];
}

/// A map file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MapText {
    /// Its name for messages.
    pub file: String,
    /// Its text.
    pub text: String,
    /// Whether it is to be checked, or only there because others need it.
    pub asked: bool,
}

/// A finding about a file.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// Index of the file.
    pub file: usize,
    /// What was found.
    pub diag: Diag,
}

/// What was found about a board without mistakes.
#[derive(Debug, Clone)]
pub struct BoardFigures {
    /// Identifier.
    pub board: String,
    /// Index of the file.
    pub file: usize,
    /// Its checks.
    pub coverage: coverage::Coverage,
    /// Loops of needs.
    pub loops: Vec<loops::Loop>,
    /// What nothing uses, with the reason that the map gives.
    pub reasons: BTreeMap<String, String>,
}

/// Everything that was found.
#[derive(Debug, Clone, Default)]
pub struct Checked {
    /// By file, in order of place.
    pub findings: Vec<Finding>,
    /// Boards that compile.
    pub boards: Vec<BoardFigures>,
}

/// A mistake.
pub(crate) fn error(
    code: &'static str,
    message: String,
    label: Option<(Span, String)>,
    help: Option<String>,
) -> Diag {
    Diag {
        code,
        severity: Severity::Error,
        message,
        label,
        help,
    }
}

/// What to do about a part that no family describes.
const OWN_FAMILY: &str = "If none of faultmaps/parts fits, copy the nearest into the folder parts/ beside your boards/, \
                          and change name, pins and functions";

/// A file with its tree.
pub(crate) struct Read<'t> {
    pub(crate) index: usize,
    pub(crate) text: &'t MapText,
    pub(crate) tree: Node,
}

impl Read<'_> {
    /// A message of the loader at its place.
    pub(crate) fn told(&self, e: &MapError) -> Finding {
        let (message, help) = match e.message.split_once("; did you mean ") {
            Some((said, near)) => (said, Some(format!("did you mean {near}"))),
            None => (e.message.as_str(), None),
        };
        let help = match e.message.starts_with("no part family") {
            true => Some(format!(
                "{}{OWN_FAMILY}",
                help.map_or(String::new(), |near| near + " ")
            )),
            false => help,
        };
        let naming = [
            " no ",
            "neither",
            "which is not a pin",
            "has no pin",
            "no pin is on",
        ];
        let code = match naming.iter().any(|n| format!(" {message}").contains(n)) {
            true => code::NAME,
            false => code::MEANING,
        };
        self.at(code, &e.path, message.to_string(), help)
    }

    /// A mistake at the place of a path of keys; the word that the message quotes is looked for there.
    pub(crate) fn at(
        &self,
        code: &'static str,
        path: &str,
        message: String,
        help: Option<String>,
    ) -> Finding {
        let word = place::quoted(&message);
        let span = place::find(&self.tree, &self.text.text, path, word);
        let label = span.map(|s| (s, String::new()));
        let diag = error(code, message, label, help);
        Finding {
            file: self.index,
            diag,
        }
    }

    /// The same as a warning.
    pub(crate) fn warn(
        &self,
        code: &'static str,
        path: &str,
        message: String,
        help: &str,
    ) -> Finding {
        let mut finding = self.at(code, path, message, Some(help.to_string()));
        finding.diag.severity = Severity::Warning;
        finding
    }
}

/// Maps by kind, each with its file.
#[derive(Default)]
struct Sorted<'t> {
    families: Vec<(Read<'t>, FamilyRaw)>,
    boards: Vec<(Read<'t>, BoardRaw)>,
    cartridges: Vec<(Read<'t>, CartridgeRaw)>,
}

/// Checks maps. `base` are part families that are there besides those of the texts; a family of the texts goes before one
/// of the same name.
pub fn check(texts: &[MapText], base: &BTreeMap<String, FamilyRaw>) -> Checked {
    let mut out = Checked::default();
    let sorted = sort(texts, &mut out.findings);
    let mut families = base.clone();
    let mut bad = BTreeSet::new();
    let mut seen = BTreeMap::new();
    for (file, family) in &sorted.families {
        twice(file, "family", &family.family, &mut seen, &mut out.findings);
        let found = family::check(file, family);
        if !found.is_empty() {
            bad.insert(family.family.clone());
        }
        out.findings.extend(found);
        families.insert(family.family.clone(), family.clone());
    }
    let mut models = BTreeMap::new();
    let mut seen = BTreeMap::new();
    for (file, board) in &sorted.boards {
        twice(file, "board", &board.board, &mut seen, &mut out.findings);
        if let Some(figures) = one_board(file, board, &families, &bad, &mut out.findings) {
            models.insert(board.board.clone(), figures.1);
            out.boards.push(figures.0);
        }
    }
    for (file, cartridge) in &sorted.cartridges {
        out.findings
            .extend(meaning::cartridge(file, cartridge, &models));
    }
    out.findings.retain(|f| texts[f.file].asked);
    out.boards.retain(|b| texts[b.file].asked);
    let start = |f: &Finding| f.diag.label.as_ref().map_or(0, |(span, _)| span.start);
    out.findings.sort_by_key(|f| (f.file, start(f)));
    out.findings.dedup();
    out
}

fn sort<'t>(texts: &'t [MapText], findings: &mut Vec<Finding>) -> Sorted<'t> {
    let mut sorted = Sorted::default();
    for (index, text) in texts.iter().enumerate() {
        let tree = yaml::tree(&text.text);
        let kind = ["family", "board", "cartridge"]
            .into_iter()
            .find(|k| tree.as_ref().is_some_and(|t| t.get(k).is_some()));
        let mut put = |diags: Vec<Diag>| {
            let found = diags.into_iter().map(|diag| Finding { file: index, diag });
            findings.extend(found);
        };
        // The last resort reads as a board, to hear what the reader says.
        let read = || tree.clone().map(|tree| Read { index, text, tree });
        match kind {
            Some("family") => {
                let (raw, diags) = read::typed(&text.text, tree.as_ref());
                put(diags);
                sorted.families.extend(read().zip(raw));
            }
            Some("cartridge") => {
                let (raw, diags) = read::typed(&text.text, tree.as_ref());
                put(diags);
                sorted.cartridges.extend(read().zip(raw));
            }
            None if tree.is_some() => put(vec![error(
                code::KEY,
                "this is no map: it has none of the keys 'family', 'board', 'cartridge'".into(),
                Some((Span::new(0, 0), String::new())),
                Some("begin a part family with 'family: NAME', a board with 'board: NAME'".into()),
            )]),
            _ => {
                let (raw, diags) = read::typed(&text.text, tree.as_ref());
                put(diags);
                sorted.boards.extend(read().zip(raw));
            }
        }
    }
    sorted
}

fn twice(
    file: &Read,
    kind: &str,
    name: &str,
    seen: &mut BTreeMap<String, String>,
    findings: &mut Vec<Finding>,
) {
    if let Some(other) = seen.insert(name.to_string(), file.text.file.clone()) {
        let message = format!("'{name}' is the name of another {kind} too, in {other}");
        let help = Some("each needs a name of its own".to_string());
        findings.push(file.at(code::MEANING, kind, message, help));
    }
}

type Figured = (BoardFigures, crate::faultmap::model::BoardModel);

fn one_board(
    file: &Read,
    board: &BoardRaw,
    families: &BTreeMap<String, FamilyRaw>,
    bad: &BTreeSet<String>,
    findings: &mut Vec<Finding>,
) -> Option<Figured> {
    let of_family = |e: &MapError| {
        board.parts.iter().any(|(name, part)| {
            let rest = e.path.strip_prefix(&format!("parts.{name}"));
            bad.contains(&part.family) && rest.is_some_and(|r| !r.starts_with(".pins"))
        })
    };
    let model = compile(&file.text.file, board, families, &Handbook);
    let errors = model.as_ref().err().cloned().unwrap_or_default();
    let told = errors
        .iter()
        // The matrix is looked at more closely below.
        .filter(|e| !of_family(e) && e.path != "keyboard.matrix")
        .map(|e| file.told(e));
    findings.extend(told);
    let mut wiring = Wiring::new(&file.text.file, board, families);
    let found = meaning::board(file, board, families, &wiring);
    findings.extend(found);
    let model = model.ok()?;
    let unused = unused::unused(board, &mut wiring);
    findings.extend(unused::findings(file, board, &wiring, &unused));
    findings.extend(keyboard::findings(file, board, &mut wiring));
    let figures = BoardFigures {
        board: board.board.clone(),
        file: file.index,
        coverage: coverage::coverage(&model),
        loops: loops::loops(&wiring),
        reasons: board.unused_because.clone(),
    };
    Some((figures, model))
}
