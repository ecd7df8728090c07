//! The wiring that the shipped maps state, pin by pin, against outside facts.
//!
//! The facts are a routed board's connections (`facts/boards/BOARD.csv`, one row a pin; its sources are named in the
//! map). Where that table lies beside the project the map is compared with it. Everywhere, the map is compared
//! with `wiring/BOARD.digest`: for each line a hash of the set of pins on it, made from the table and not from the
//! map, so that a wrong pin fails with and without the table. After a deliberate change of the parts in the map:
//! `cargo test --test wiring -- --ignored write_digest`.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use whichsocket::faultmap::load::MapFolder;
use whichsocket::faultmap::raw::{BoardRaw, FamilyRaw};
use whichsocket::faultmap::wiring::Wiring;

/// A board with a table of facts.
struct Proved {
    board: &'static str,
    digest: &'static str,
    /// Designators that the map must hold all of begin so; an empty text stands for all.
    wanted: &'static [&'static str],
    /// Those of them that the map leaves out, with the reason beside each.
    left_out: &'static [&'static str],
    /// Parts that the table calls by another name than a type number.
    named: &'static [&'static str],
    /// How the columns of the key matrix are called in the text beside the table.
    columns: &'static [&'static str],
    /// A part, two neighbouring pins of it on two lines, and those lines: exchanged, to see that it is found.
    exchanged: (&'static str, &'static str, &'static str, [&'static str; 2]),
    /// A part, a line at one of its pins, and a wrong name for it.
    renamed: (&'static str, &'static str, &'static str),
}

const PORT_A: &[&str] = &["PA0", "PA1", "PA2", "PA3", "PA4", "PA5", "PA6", "PA7"];

const BOARDS: [Proved; 4] = [
    Proved {
        board: "64k-6510-wide",
        digest: include_str!("wiring/64k-6510-wide.digest"),
        wanted: &["U", "RP", "CN"],
        // The header of the power lamp.
        left_out: &["CN10"],
        named: &[],
        columns: PORT_A,
        exchanged: ("U12", "MA0 MA2", "MA2 MA0", ["line MA0", "line MA2"]),
        renamed: ("U1", "TOD_TICK", "TICK"),
    },
    Proved {
        board: "64k-6510-narrow",
        digest: include_str!("wiring/64k-6510-narrow.digest"),
        wanted: &["U", "RP", "CN"],
        // The header of the power lamp.
        left_out: &["CN10"],
        named: &[],
        columns: PORT_A,
        exchanged: ("U11", "D4 D5", "D5 D4", ["line D4", "line D5"]),
        renamed: ("U1", "TOD_TICK", "TICK"),
    },
    Proved {
        board: "48k-z80-ula",
        digest: include_str!("wiring/48k-z80-ula.digest"),
        wanted: &[""],
        left_out: &[],
        named: &["IC1"],
        columns: &["A8", "A9", "A10", "A11", "A12", "A13", "A14", "A15"],
        exchanged: ("IC9", "LA2 LA6", "LA6 LA2", ["line LA2", "line LA6"]),
        renamed: ("IC1", "LCAS_N", "CAS_N"),
    },
    Proved {
        board: "z80-ppi-vdp",
        digest: include_str!("wiring/z80-ppi-vdp.digest"),
        wanted: &[""],
        left_out: &[],
        named: &[],
        columns: &["0", "1", "2", "3", "4", "5", "6", "7", "8"],
        exchanged: ("U11", "L0 L2", "L2 L0", ["line L0", "line L2"]),
        renamed: ("U18", "BEEP", "CLICK"),
    },
];

/// Pins by line: `RESET_N` → `U7.40`, `U1.34` …
type Lines = BTreeMap<String, BTreeSet<String>>;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn shipped() -> MapFolder {
    let (folder, errors) = MapFolder::read(&root().join("faultmaps"));
    let told: Vec<String> = errors.iter().map(|e| e.to_string()).collect();
    assert!(told.is_empty(), "\n{}", told.join("\n"));
    folder
}

fn map<'a>(folder: &'a MapFolder, proved: &Proved) -> &'a BoardRaw {
    &folder.boards[proved.board].1
}

/// The folder of facts, where the project was given one.
fn facts() -> Option<PathBuf> {
    ["../shared/facts", "../../shared/facts"]
        .iter()
        .map(|p| root().join(p))
        .find(|p| p.join("boards").is_dir())
}

/// The table of a board and the text beside it.
fn table_and_text(facts: &Path, board: &str) -> (String, String) {
    let read = |kind: &str| {
        let path = facts.join(format!("boards/{board}.{kind}"));
        std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
    };
    (read("csv"), read("md"))
}

/// The lines of a map with the pins of its parts on the board. What lies outside the board, and the plug's side of the power
/// connector (labels with P), is in no table of the board.
fn mapped(board: &BoardRaw, families: &BTreeMap<String, FamilyRaw>) -> Lines {
    let wiring = Wiring::new(&board.board, board, families);
    assert!(wiring.errors.is_empty(), "{:?}", wiring.errors);
    let mut out = Lines::new();
    for part in wiring
        .wired
        .iter()
        .filter(|p| !board.parts[&p.name].outside)
    {
        for (label, line) in part.labels.iter().zip(&part.lines) {
            let power = board.parts[&part.name]
                .family
                .starts_with("connector-power");
            let plug_side = power && label.starts_with('P');
            if let (Some(line), false) = (line, plug_side) {
                out.entry(line.clone())
                    .or_default()
                    .insert(format!("{}.{label}", part.name));
            }
        }
    }
    out
}

/// The lines of the table, of those parts that the map has on the board. Rows `NC` are pins without a line.
fn tabled(csv: &str, board: &BoardRaw) -> Lines {
    let mut out = Lines::new();
    for row in csv.lines().skip(1) {
        let [reference, rest @ ..] = &row.split(',').collect::<Vec<_>>()[..] else {
            continue;
        };
        // The type may hold commas; pin and net are the last two.
        let [.., pin, net] = rest else {
            panic!("not a row of the table: {row}")
        };
        let known = board.parts.get(*reference).is_some_and(|p| !p.outside);
        if known && *net != "NC" {
            out.entry(net.to_string())
                .or_default()
                .insert(format!("{reference}.{pin}"));
        }
    }
    out
}

/// Every line on which the two differ, in words.
fn differences(map: &Lines, table: &Lines) -> Vec<String> {
    let names: BTreeSet<&String> = map.keys().chain(table.keys()).collect();
    let none = BTreeSet::new();
    let mut out = Vec::new();
    for name in names {
        let (m, t) = (
            map.get(name).unwrap_or(&none),
            table.get(name).unwrap_or(&none),
        );
        if m != t {
            let only = |a: &BTreeSet<String>, b: &BTreeSet<String>| {
                a.difference(b).cloned().collect::<Vec<_>>().join(" ")
            };
            out.push(format!(
                "{name}: only in the map: [{}], only in the table: [{}]",
                only(m, t),
                only(t, m)
            ));
        }
    }
    out
}

/// 64-bit FNV-1a (Fowler, Noll, Vo; offset basis and prime of the published algorithm, from memory).
fn fnv(text: &str) -> u64 {
    text.bytes().fold(0xcbf2_9ce4_8422_2325, |h, b| {
        (h ^ u64::from(b)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}

fn digest(lines: &Lines, matrix: &[Vec<String>]) -> BTreeMap<String, String> {
    let hash = |pins: &BTreeSet<String>| {
        format!(
            "{:016x}",
            fnv(&pins.iter().cloned().collect::<Vec<_>>().join(" "))
        )
    };
    let mut out: BTreeMap<String, String> = lines
        .iter()
        .map(|(line, pins)| (format!("line {line}"), hash(pins)))
        .collect();
    for (c, keys) in matrix.iter().enumerate() {
        out.insert(
            format!("column {c}"),
            format!("{:016x}", fnv(&keys.join("|"))),
        );
    }
    out
}

fn committed_digest(proved: &Proved) -> BTreeMap<String, String> {
    proved
        .digest
        .lines()
        .filter_map(|l| l.rsplit_once(' '))
        .map(|(line, hash)| (line.to_string(), hash.to_string()))
        .collect()
}

/// The key matrix of the facts, which writes some keys as the signs on them.
fn tabled_matrix(text: &str, columns: &[&str]) -> Vec<Vec<String>> {
    let name = |key: &str| match key {
        "-" => "MINUS".to_string(),
        "\\\\" => "BACKSLASH".to_string(),
        "'" => "QUOTE".to_string(),
        "`" => "BACKTICK".to_string(),
        key => key.to_string(),
    };
    let row = |column: &&str| {
        let start = format!("| {column} |");
        let line = text.lines().find(|l| l.starts_with(&start));
        let line = line.unwrap_or_else(|| panic!("no column {column} in the text"));
        let cells = line.trim_matches('|').split('|').skip(1);
        cells.map(|key| name(key.trim())).collect()
    };
    columns.iter().map(row).collect()
}

#[test]
fn every_pin_is_where_the_digest_says() {
    let folder = shipped();
    for proved in &BOARDS {
        let board = map(&folder, proved);
        let matrix = &board.keyboard.as_ref().expect("a keyboard").matrix;
        let (have, want) = (
            digest(&mapped(board, &folder.families), matrix),
            committed_digest(proved),
        );
        let names: BTreeSet<&String> = have.keys().chain(want.keys()).collect();
        let wrong: Vec<&String> = names
            .into_iter()
            .filter(|n| have.get(*n) != want.get(*n))
            .collect();
        assert!(
            wrong.is_empty(),
            "{}: other pins than in the table of facts on: {wrong:?}",
            proved.board
        );
        assert!(
            want.len() > 150,
            "the digest of {} holds only {} lines",
            proved.board,
            want.len()
        );
    }
}

#[test]
fn every_pin_is_where_the_table_says() {
    let Some(facts) = facts() else {
        // Without the tables the digests, which were made from them, are the check.
        return every_pin_is_where_the_digest_says();
    };
    let folder = shipped();
    for proved in &BOARDS {
        let (csv, text) = table_and_text(&facts, proved.board);
        let board = map(&folder, proved);
        let table = tabled(&csv, board);
        let wrong = differences(&mapped(board, &folder.families), &table);
        assert!(wrong.is_empty(), "{}\n{}", proved.board, wrong.join("\n"));
        let matrix = tabled_matrix(&text, proved.columns);
        assert_eq!(board.keyboard.as_ref().expect("a keyboard").matrix, matrix);
        assert_eq!(
            digest(&table, &matrix),
            committed_digest(proved),
            "the digest of {} is not that of the table: write it again",
            proved.board
        );
        parts_are_those_of_the_table(proved, board, &csv);
    }
}

/// Parts of the map are parts of the table, with the same type, and no integrated circuit, pack or connector is left out
/// but those named.
fn parts_are_those_of_the_table(proved: &Proved, board: &BoardRaw, csv: &str) {
    let mut kinds: BTreeMap<&str, &str> = BTreeMap::new();
    for row in csv.lines().skip(1) {
        let mut cells = row.split(',');
        kinds.insert(
            cells.next().expect("a designator"),
            cells.next().expect("a type"),
        );
    }
    for (name, part) in board.parts.iter().filter(|(_, p)| !p.outside) {
        let kind = kinds
            .get(name.as_str())
            .unwrap_or_else(|| panic!("{name} is not in the table"));
        if let Some(t) = &part.part_type {
            assert!(
                kind.contains(t.as_str()) || proved.named.contains(&name.as_str()),
                "{name} is a {t} in the map and a {kind} in the table"
            );
        }
    }
    let wanted = |r: &&&str| proved.wanted.iter().any(|w| r.starts_with(w));
    let left_out: Vec<&str> = kinds
        .keys()
        .filter(wanted)
        .filter(|r| !board.parts.contains_key(**r))
        .copied()
        .collect();
    assert_eq!(left_out, proved.left_out, "{}", proved.board);
}

/// Writes the digests from the tables of facts.
#[test]
#[ignore = "writes files; for use after a change of the parts in a map"]
fn write_digest() {
    let facts = facts().expect("the tables of facts beside the project");
    let folder = shipped();
    for proved in &BOARDS {
        let (csv, text) = table_and_text(&facts, proved.board);
        let table = tabled(&csv, map(&folder, proved));
        let out: String = digest(&table, &tabled_matrix(&text, proved.columns))
            .iter()
            .map(|(line, hash)| format!("{line} {hash}\n"))
            .collect();
        let path = root().join(format!("tests/wiring/{}.digest", proved.board));
        std::fs::write(path, out).expect("a writable file");
    }
}

/// The checks above must be able to fail: one exchanged pair of pins, one renamed line, one key are each found.
#[test]
fn a_wrong_pin_is_found() {
    let folder = shipped();
    for proved in &BOARDS {
        let right = map(&folder, proved);
        let matrix = &right.keyboard.as_ref().expect("a keyboard").matrix;
        let good = mapped(right, &folder.families);
        let base = digest(&good, matrix);
        let (name, from, to, lines) = proved.exchanged;
        let mut swapped = right.clone();
        let part = swapped.parts.get_mut(name).expect("the part to change");
        part.pins = part.pins.replace(from, to);
        let bad = mapped(&swapped, &folder.families);
        let found = differences(&bad, &good);
        assert_eq!(found.len(), 2, "{found:?}");
        let changed = |d: &BTreeMap<String, String>| {
            base.iter()
                .filter(|(k, v)| d.get(*k) != Some(v))
                .map(|(k, _)| k.clone())
                .collect::<Vec<_>>()
        };
        assert_eq!(changed(&digest(&bad, matrix)), lines);
        let mut renamed = right.clone();
        let (name, from, to) = proved.renamed;
        let part = renamed.parts.get_mut(name).expect("the part to change");
        part.pins = part.pins.replace(from, to);
        let found = differences(&mapped(&renamed, &folder.families), &good);
        assert_eq!(found.len(), 2, "{found:?}");
        let mut keys = matrix.clone();
        keys[3].swap(0, 1);
        assert_eq!(changed(&digest(&good, &keys)), ["column 3"]);
    }
}
