//! What the maps conclude from the wiring: which chip is which memory bit, which multiplexer makes which address, which pins
//! scan which key, where to measure. The tables are those of the wiring facts of the board (its sources are in the map).

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use whichsocket::faultmap::expand;
use whichsocket::faultmap::load::MapFolder;
use whichsocket::faultmap::raw::BoardRaw;
use whichsocket::faultmap::wiring::{Wired, Wiring};

#[path = "wiring/narrow.rs"]
mod narrow;
#[path = "wiring/z80.rs"]
mod z80;

fn shipped() -> MapFolder {
    let (folder, errors) =
        MapFolder::read(&Path::new(env!("CARGO_MANIFEST_DIR")).join("faultmaps"));
    assert!(errors.is_empty(), "{errors:?}");
    folder
}

/// The board with its parts' pins.
struct Board<'a> {
    raw: &'a BoardRaw,
    wired: BTreeMap<String, Wired>,
}

impl<'a> Board<'a> {
    fn new(folder: &'a MapFolder, name: &str) -> Self {
        let raw = &folder.boards[name].1;
        let wiring = Wiring::new(name, raw, &folder.families);
        assert!(wiring.errors.is_empty(), "{:?}", wiring.errors);
        Board {
            raw,
            wired: wiring
                .wired
                .into_iter()
                .map(|w| (w.name.clone(), w))
                .collect(),
        }
    }

    /// The line at `U7.40`, or at `U7.reset`.
    fn at(&self, pin: &str) -> Option<&str> {
        let (part, label) = pin.split_once('.')?;
        let part = self.wired.get(part)?;
        let is = |l: &String| l == label;
        let i = part
            .labels
            .iter()
            .position(is)
            .or_else(|| part.signals.iter().position(is))?;
        part.lines[i].as_deref()
    }

    fn line(&self, pin: &str) -> &str {
        self.at(pin).unwrap_or_else(|| panic!("no line at {pin}"))
    }

    fn function(&self, name: &str) -> Vec<String> {
        let f = &self.raw.functions[name];
        [&f.needs, &f.carries]
            .into_iter()
            .flat_map(|t| expand::weighted(t).expect("good weights"))
            .map(|w| w.name)
            .collect()
    }
}

#[test]
fn memory_bits_sit_in_their_sockets() {
    let folder = shipped();
    let b = Board::new(&folder, "64k-6510-wide");
    let sockets = ["U21", "U9", "U22", "U10", "U23", "U11", "U24", "U12"];
    let memory = b.raw.memory.as_ref().expect("main memory");
    assert_eq!(expand::list(&memory.bits), sockets);
    for (bit, socket) in sockets.iter().enumerate() {
        for pin in [2, 14] {
            assert_eq!(b.line(&format!("{socket}.{pin}")), format!("D{bit}"));
        }
        for (pin, line) in [
            (4, "RAS_N"),
            (15, "CASRAM_RAM_N"),
            (3, "RW"),
            (8, "+5V"),
            (16, "GND"),
        ] {
            assert_eq!(b.line(&format!("{socket}.{pin}")), line);
        }
        assert!(
            b.function(&format!("memory.bit.{bit}"))
                .contains(&format!("{socket}.cell"))
        );
    }
}

#[test]
fn multiplexers_make_the_memory_address() {
    let folder = shipped();
    let b = Board::new(&folder, "64k-6510-wide");
    // Row and column input, output, resistor pack in and out, memory pin.
    let table = [
        ("U25", "RP2", 3, 4, 5),
        ("U25", "RP2", 7, 8, 7),
        ("U25", "RP2", 5, 6, 6),
        ("U25", "RP2", 1, 2, 12),
        ("U13", "RP1", 3, 4, 11),
        ("U13", "RP1", 5, 6, 10),
        ("U13", "RP1", 1, 2, 13),
        ("U13", "RP1", 7, 8, 9),
    ];
    for (k, (mux, pack, enters, leaves, pin)) in table.into_iter().enumerate() {
        let (va, ma) = (format!("VA{k}"), format!("MA{k}"));
        let n = (1..=4)
            .find(|n| b.line(&format!("{mux}.y{n}")) == va)
            .expect("the multiplexer that drives this address");
        let inputs = BTreeSet::from([
            b.line(&format!("{mux}.a{n}")),
            b.line(&format!("{mux}.b{n}")),
        ]);
        assert_eq!(
            inputs,
            BTreeSet::from([format!("A{k}").as_str(), &format!("A{}", k + 8)]),
            "{mux} output {n}"
        );
        assert_eq!(b.line(&format!("{pack}.{enters}")), va);
        assert_eq!(b.line(&format!("{pack}.{leaves}")), ma);
        for socket in ["U9", "U10", "U11", "U12", "U21", "U22", "U23", "U24"] {
            assert_eq!(b.line(&format!("{socket}.{pin}")), ma);
            assert_eq!(
                b.line(&format!("{socket}.a{k}")),
                ma,
                "signal a{k} of a 4164 is pin {pin}"
            );
        }
        assert!(
            b.function(&format!("memory.address.{k}"))
                .contains(&format!("{mux}.mux.{n}")),
            "memory.address.{k}"
        );
        assert!(b.function(&format!("memory.address.{k}")).contains(&ma));
    }
}

#[test]
fn keys_cross_where_the_adapter_scans_them() {
    let folder = shipped();
    // The tables of both boards: the same pins of the adapter and of the header.
    for name in ["64k-6510-wide", "64k-6510-narrow"] {
        crossings_of(&Board::new(&folder, name));
    }
}

fn crossings_of(b: &Board) {
    let kb = b.raw.keyboard.as_ref().expect("a keyboard");
    // Pins of U1 and of the header, column and row 0 to 7.
    let columns = [
        (2, 13),
        (3, 19),
        (4, 18),
        (5, 17),
        (6, 16),
        (7, 15),
        (8, 14),
        (9, 20),
    ];
    let rows = [
        (10, 12),
        (11, 11),
        (12, 10),
        (13, 5),
        (14, 8),
        (15, 7),
        (16, 6),
        (17, 9),
    ];
    for (lines, pins, port) in [(&kb.columns, columns, 'a'), (&kb.rows, rows, 'b')] {
        for (n, (line, (chip, header))) in expand::list(lines).iter().zip(pins).enumerate() {
            assert_eq!(b.line(&format!("U1.{chip}")), line);
            assert_eq!(b.line(&format!("U1.p{port}{n}")), line);
            assert_eq!(b.line(&format!("{}.{header}", kb.connector)), line);
        }
    }
    for (scan, port) in [(&kb.drives, "U1.port-a.#"), (&kb.reads, "U1.port-b.#")] {
        assert!(
            b.function(&scan.replace('#', "0..7"))
                .contains(&port.to_string()),
            "{scan}"
        );
    }
    // Spot checks of the crossing against pins, by hand from the two tables: key, column pin, row pin of U1.
    for (key, column, row) in [
        ("Q", 9, 16),
        ("SPACE", 9, 14),
        ("RETURN", 2, 11),
        ("A", 3, 12),
        ("N", 6, 17),
        ("MINUS", 7, 13),
    ] {
        let at = kb
            .matrix
            .iter()
            .enumerate()
            .find_map(|(c, keys)| Some((c, keys.iter().position(|k| k == key)?)));
        assert_eq!(at, Some((column - 2, row - 10)), "{key}");
    }
    assert_eq!(
        kb.matrix.iter().flatten().collect::<BTreeSet<_>>().len(),
        64,
        "every key once"
    );
    for (alias, key) in &kb.aliases {
        assert!(
            kb.matrix.iter().flatten().any(|k| k == key),
            "alias {alias} means {key}, which is no key"
        );
    }
}

/// Where colour memory and paddles of a board are switched.
struct Switched {
    board: &'static str,
    colour: &'static str,
    video: &'static str,
    colour_switch: &'static str,
    paddle_switch: &'static str,
    axes: [&'static str; 2],
}

const SWITCHED: [Switched; 2] = [
    Switched {
        board: "64k-6510-wide",
        colour: "U6",
        video: "U19",
        colour_switch: "U16",
        paddle_switch: "U28",
        axes: ["POTX", "POTY"],
    },
    Switched {
        board: "64k-6510-narrow",
        colour: "U19",
        video: "U7",
        colour_switch: "U21",
        paddle_switch: "U18",
        axes: ["POT_X", "POT_Y"],
    },
];

#[test]
fn colour_memory_goes_through_its_switch() {
    let folder = shipped();
    for s in &SWITCHED {
        let b = Board::new(&folder, s.board);
        for bit in 0..4 {
            let cold = format!("COLD{bit}");
            assert_eq!(b.line(&format!("{}.d{bit}", s.colour)), cold);
            assert_eq!(b.line(&format!("{}.dc{bit}", s.video)), cold);
            let n = (1..=4)
                .find(|n| b.line(&format!("{}.b{n}", s.colour_switch)) == cold)
                .expect("a switch on this colour line");
            assert_eq!(
                b.line(&format!("{}.a{n}", s.colour_switch)),
                format!("D{bit}")
            );
            assert!(
                b.function(&format!("colour.bit.{bit}"))
                    .contains(&format!("{}.switch.{n}", s.colour_switch))
            );
        }
    }
}

#[test]
fn paddles_go_through_their_switches() {
    let folder = shipped();
    for s in &SWITCHED {
        let b = Board::new(&folder, s.board);
        let switch = s.paddle_switch;
        for (port, connector, select, chip) in [
            (1, "CN9", "KB_COL6", "U1.port-a.6"),
            (2, "CN8", "KB_COL7", "U1.port-a.7"),
        ] {
            let function = b.raw.functions[&format!("paddles.{port}")].clone();
            let needs = expand::weighted(&function.needs).expect("good weights");
            let fully = |name: &str| needs.iter().any(|w| w.name == name && w.weight == 1.0);
            assert!(fully(chip));
            for (pin, axis) in [(9, s.axes[0]), (5, s.axes[1])] {
                let pot = b.line(&format!("{connector}.{pin}"));
                let n = (1..=4)
                    .find(|n| b.line(&format!("{switch}.a{n}")) == pot)
                    .expect("a switch on this paddle");
                assert_eq!(b.line(&format!("{switch}.b{n}")), axis);
                assert_eq!(b.line(&format!("{switch}.c{n}")), select);
                assert!(
                    fully(&format!("{switch}.switch.{n}")) && fully(&format!("{connector}.{pin}"))
                );
            }
        }
    }
}

#[test]
fn control_ports_share_the_keyboard_lines() {
    let folder = shipped();
    for name in ["64k-6510-wide", "64k-6510-narrow"] {
        let b = Board::new(&folder, name);
        for (connector, lines, port) in [("CN9", "KB_ROW", 'b'), ("CN8", "KB_COL", 'a')] {
            for (n, pin) in [1, 2, 3, 4, 6].into_iter().enumerate() {
                let shared = format!("{lines}{n}");
                // On the narrow board through a filter, which the model crosses from the board outwards.
                let outside = b.line(&format!("{connector}.{pin}"));
                let reached = downstream(&b, &shared);
                assert!(
                    reached.contains(outside),
                    "{name}: {connector}.{pin} {outside}"
                );
                assert_eq!(b.line(&format!("U1.p{port}{n}")), shared);
            }
        }
    }
}

/// Lines that a line reaches through parts with one path (beads, chokes, resistors, filters), itself included.
fn downstream(b: &Board, from: &str) -> BTreeSet<String> {
    let mut reached = BTreeSet::from([from.to_string()]);
    loop {
        let before = reached.len();
        for part in b.wired.values().filter(|p| p.signals.len() <= 3) {
            let pin = |s: &str| {
                part.signals
                    .iter()
                    .position(|x| x == s)
                    .and_then(|i| part.lines[i].clone())
            };
            let Some((_, path)) = part.functions.iter().find(|(name, _)| name == "path") else {
                continue;
            };
            if let (Some(from), Some(to)) = (pin(&path.carries), pin(&path.drives))
                && reached.contains(&from)
            {
                reached.insert(to);
            }
        }
        if reached.len() == before {
            return reached;
        }
    }
}

#[test]
fn measuring_points_are_on_their_lines() {
    let folder = shipped();
    let mut wrong = Vec::new();
    for name in folder.boards.keys() {
        let b = Board::new(&folder, name);
        for (line, raw) in &b.raw.lines {
            let same = downstream(&b, line);
            let off = expand::list(&raw.at)
                .into_iter()
                .filter(|pin| !b.at(pin).is_some_and(|l| same.contains(l)));
            wrong.extend(
                off.map(|pin| format!("{name}: lines.{line}: {pin} is on {:?}", b.at(&pin))),
            );
        }
        for (rail, raw) in &b.raw.rails {
            let fed = downstream(&b, &raw.line);
            let off = expand::list(&raw.measure)
                .into_iter()
                .filter(|pin| !b.at(pin).is_some_and(|l| fed.contains(l)));
            wrong.extend(
                off.map(|pin| format!("{name}: rails.{rail}: {pin} is on {:?}", b.at(&pin))),
            );
            // By magnitude: a negative rail has negative limits, and a stop limit without a sign.
            let [low, nominal, high] = [raw.low, raw.nominal, raw.high].map(f64::abs);
            let signs = [raw.low, raw.nominal, raw.high].map(f64::is_sign_negative);
            assert!(
                signs.iter().all(|s| *s == signs[0]),
                "{name}: signs of {rail}"
            );
            assert!(
                low <= nominal && nominal <= high && high < raw.stop,
                "{name}: limits of {rail}"
            );
            assert!(
                raw.unloaded.is_none_or(|u| high <= u && u <= raw.stop),
                "{name}: unloaded limit of {rail}"
            );
        }
    }
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

/// A name that is both a pin and a function of a family would always be read as the function.
#[test]
fn pins_and_functions_have_different_names() {
    let mut wrong = Vec::new();
    for (name, family) in &shipped().families {
        let pins: BTreeSet<String> = expand::list(&family.pins).into_iter().collect();
        let functions = family
            .functions
            .keys()
            .flat_map(|k| expand::key(k))
            .map(|(f, _)| f);
        wrong.extend(
            functions
                .filter(|f| pins.contains(f))
                .map(|f| format!("{name}: {f}")),
        );
    }
    assert!(wrong.is_empty(), "{wrong:?}");
}

/// Every share, factor and figure says where it is from.
#[test]
fn figures_name_their_source() {
    for (name, family) in &shipped().families {
        for (mode, raw) in &family.modes {
            assert!(raw.share > 0.0, "{name}: {mode} has no share");
            assert!(
                raw.source.as_deref().is_some_and(|s| !s.trim().is_empty()),
                "{name}: {mode} does not say where its share is from"
            );
        }
        if let Some(field) = &family.field {
            assert!(
                field.factor > 0.0 && !field.source.trim().is_empty(),
                "{name}: field factor"
            );
        }
    }
}
