//! `trace` against the wiring facts of the boards: every key, memory bit and clock tick.
//!
//! Where the pin tables lie beside the project (`facts/boards/*.csv`, one row a pin; sources are named in the maps), every
//! pin that a trace names must be on that line in the table. Everywhere, each trace is compared with a committed digest
//! (`trace/BOARD.digest`), which is only written after the comparison with the table. After a change of a map:
//! `cargo test --test trace -- --ignored write_digests`.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;
use whichsocket::faultmap::expand;
use whichsocket::faultmap::load::MapFolder;
use whichsocket::faultmap::model::BoardModel;
use whichsocket::faultmap::raw::Class;
use whichsocket::faultmap::wiring::Wiring;
use whichsocket::shipped::{self, Library};
use whichsocket::trace::signals::Signals;
use whichsocket::trace::view::{Does, TraceView};
use whichsocket::trace::{svg, text, trace_on};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

struct Bench {
    maps: &'static MapFolder,
    models: BTreeMap<String, &'static BoardModel>,
    signals: BTreeMap<String, Signals<'static>>,
}

impl Bench {
    /// All boards, prepared once for all tests.
    fn new() -> &'static Self {
        static BENCH: OnceLock<Bench> = OnceLock::new();
        BENCH.get_or_init(|| {
            let maps: &'static MapFolder = Box::leak(Box::new(shipped::maps().unwrap()));
            let library = Library::default();
            let (mut models, mut signals) = (BTreeMap::new(), BTreeMap::new());
            for (board, (_, raw)) in &maps.boards {
                let model: &'static BoardModel = Box::leak(Box::new(library.board(board).unwrap()));
                let wiring: &'static Wiring =
                    Box::leak(Box::new(Wiring::new(board, raw, &maps.families)));
                models.insert(board.clone(), model);
                signals.insert(board.clone(), Signals::new(raw, wiring, model));
            }
            Bench {
                maps,
                models,
                signals,
            }
        })
    }

    fn trace(&self, board: &str, what: &str) -> TraceView {
        trace_on(&self.signals[board], what).unwrap_or_else(|e| panic!("{board}: {what}: {e}"))
    }

    fn fails(&self, board: &str, what: &str) -> String {
        trace_on(&self.signals[board], what).unwrap_err()
    }

    /// Every key, memory bit and clock of a board, as typed.
    fn everything(&self, board: &str) -> Vec<String> {
        let raw = &self.maps.boards[board].1;
        let mut out = Vec::new();
        if let Some(kb) = &raw.keyboard {
            out.extend(
                kb.matrix
                    .iter()
                    .flatten()
                    .filter(|k| *k != "-")
                    .map(|k| format!("key {k}")),
            );
        }
        if let Some(m) = &raw.memory {
            let bits = expand::list(&m.bits).len() * usize::from(m.width);
            out.extend((0..bits).map(|n| format!("memory bit {n}")));
            for (name, bank) in &m.others {
                let bits = expand::list(&bank.bits).len() * usize::from(bank.width);
                out.extend((0..bits).map(|n| format!("{name} bit {n}")));
            }
        }
        let clocks = self.models[board]
            .checks
            .iter()
            .filter_map(|c| c.id.strip_prefix("clock."));
        out.extend(clocks.map(|n| format!("clock {n}")));
        out
    }

    fn pins(&self, board: &str, view: &TraceView) -> BTreeSet<(String, String)> {
        let model = self.models[board];
        let steps = view.paths.iter().flat_map(|p| &p.steps);
        let on_board = steps.filter(|s| !model.position(&s.socket).unwrap().1.outside);
        on_board
            .flat_map(|s| s.enters.iter().chain(&s.leaves))
            .map(|p| (p.pin.clone(), p.line.clone()))
            .collect()
    }
}

/// Pins in the order of the way.
fn order(view: &TraceView, path: usize) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for pin in view.paths[path]
        .steps
        .iter()
        .flat_map(|s| s.enters.iter().chain(&s.leaves))
    {
        if out.last() != Some(&pin.pin) {
            out.push(pin.pin.clone());
        }
    }
    out
}

fn table(board: &str) -> Option<BTreeMap<String, String>> {
    let near: Option<PathBuf> = ["../shared/facts", "../../shared/facts"]
        .iter()
        .map(|p| root().join(p).join(format!("boards/{board}.csv")))
        .find(|p| p.is_file());
    let csv = std::fs::read_to_string(near?).unwrap();
    let row = |line: &str| {
        let cells: Vec<&str> = line.split(',').collect();
        // The type may hold commas; pin and net are the last two.
        let [reference, .., pin, net] = &cells[..] else {
            panic!("not a row: {line}")
        };
        (format!("{reference}.{pin}"), net.to_string())
    };
    Some(csv.lines().skip(1).map(row).collect())
}

fn fnv(text: &str) -> u64 {
    text.bytes().fold(0xcbf2_9ce4_8422_2325, |h, b| {
        (h ^ u64::from(b)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}

fn digest(bench: &Bench, board: &str) -> BTreeMap<String, String> {
    bench
        .everything(board)
        .into_iter()
        .map(|what| {
            let pins = bench.pins(board, &bench.trace(board, &what));
            let text: Vec<String> = pins.iter().map(|(p, l)| format!("{p} {l}")).collect();
            (what, format!("{:016x}", fnv(&text.join(" "))))
        })
        .collect()
}

fn committed(board: &str) -> BTreeMap<String, String> {
    let file = root().join(format!("tests/trace/{board}.digest"));
    let text = std::fs::read_to_string(&file).unwrap_or_else(|e| panic!("{}: {e}", file.display()));
    text.lines()
        .filter_map(|l| l.rsplit_once(' '))
        .map(|(w, d)| (w.to_string(), d.to_string()))
        .collect()
}

/// What of a board's traces is not in the table of facts. Parts that the table has not (the plug's side of a power
/// connector) are left out; how many pins were compared is given back as well.
fn against_table(
    bench: &Bench,
    board: &str,
    table: &BTreeMap<String, String>,
) -> (Vec<String>, usize) {
    let (mut wrong, mut compared) = (Vec::new(), 0);
    for what in bench.everything(board) {
        for (pin, line) in bench.pins(board, &bench.trace(board, &what)) {
            match table.get(&pin) {
                Some(net) if *net == line => compared += 1,
                Some(net) => wrong.push(format!(
                    "{what}: {pin} is on {net} in the table, on {line} in the trace"
                )),
                None if pin.contains(".P") => {}
                None => wrong.push(format!("{what}: {pin} is not in the table")),
            }
        }
    }
    (wrong, compared)
}

#[test]
fn traces_agree_with_the_tables_of_facts_and_the_digests() {
    let bench = Bench::new();
    for (board, (_, raw)) in &bench.maps.boards {
        if raw.keyboard.is_none() {
            continue;
        }
        if let Some(table) = table(board) {
            let (wrong, compared) = against_table(bench, board, &table);
            assert!(wrong.is_empty(), "{board}\n{}", wrong.join("\n"));
            assert!(compared > 200, "{board}: only {compared} pins compared");
        }
        let (have, want) = (digest(bench, board), committed(board));
        let names: BTreeSet<&String> = have.keys().chain(want.keys()).collect();
        let wrong: Vec<&&String> = names
            .iter()
            .filter(|n| have.get(**n) != want.get(**n))
            .collect();
        assert!(
            wrong.is_empty(),
            "{board}: other pins than when they were compared with the table: {wrong:?}"
        );
    }
}

/// Writes the digests, after the comparison with the tables where there are some.
#[test]
#[ignore = "writes files; for use after a change of a map"]
fn write_digests() {
    let bench = Bench::new();
    for (board, (_, raw)) in &bench.maps.boards {
        if raw.keyboard.is_none() {
            continue;
        }
        if let Some(table) = table(board) {
            let (wrong, _) = against_table(bench, board, &table);
            assert!(wrong.is_empty(), "{board}\n{}", wrong.join("\n"));
        }
        let out: String = digest(bench, board)
            .iter()
            .map(|(w, d)| format!("{w} {d}\n"))
            .collect();
        std::fs::create_dir_all(root().join("tests/trace")).unwrap();
        std::fs::write(root().join(format!("tests/trace/{board}.digest")), out).unwrap();
    }
}

/// Every key goes through the plug, is driven by one chip on the board and read by one.
#[test]
fn every_key_goes_from_chip_to_plug_and_back() {
    let bench = Bench::new();
    for (board, (_, raw)) in &bench.maps.boards {
        let Some(kb) = &raw.keyboard else { continue };
        let (columns, rows) = (expand::list(&kb.columns), expand::list(&kb.rows));
        let plugs = expand::list(&kb.connector);
        for (c, keys) in kb.matrix.iter().enumerate() {
            for (r, key) in keys.iter().enumerate().filter(|(_, k)| *k != "-") {
                let v = bench.trace(board, &format!("key {key}"));
                assert_eq!(v.paths.len(), 2, "{board}: {key}");
                for (path, line) in v.paths.iter().zip([&columns[c], &rows[r]]) {
                    let sockets: Vec<&str> = path.steps.iter().map(|s| s.socket.as_str()).collect();
                    assert!(
                        sockets.contains(&kb.unit.as_str()),
                        "{board}: {key}: {sockets:?}"
                    );
                    assert!(
                        plugs.iter().any(|p| sockets.contains(&p.as_str())),
                        "{board}: {key}: {sockets:?}"
                    );
                    let lines = path
                        .steps
                        .iter()
                        .flat_map(|s| s.enters.iter().chain(&s.leaves));
                    assert!(
                        lines.clone().any(|p| p.line == *line),
                        "{board}: {key}: not on {line}"
                    );
                    let chip = |socket: &str| {
                        let class = bench.models[board].position(socket).unwrap().1.class;
                        !matches!(
                            class,
                            Class::Connector
                                | Class::Keyboard
                                | Class::Passive
                                | Class::Semiconductor
                        )
                    };
                    assert!(
                        sockets.iter().any(|s| chip(s)),
                        "{board}: {key}: no chip on the way: {sockets:?}"
                    );
                }
                let first = &v.paths[0].steps[0];
                assert_eq!(first.does, Does::Drives, "{board}: {key}");
                let last = v.paths[1].steps.last().unwrap();
                assert_eq!(last.does, Does::Reads, "{board}: {key}");
            }
        }
    }
}

/// By hand from the tables of facts: key, memory bit, tick, in the order of the way.
#[test]
fn ways_by_hand() {
    let bench = Bench::new();
    let wide = "64k-6510-wide";
    let q = bench.trace(wide, "q");
    assert_eq!(q.what, "key Q");
    assert_eq!(order(&q, 0), ["U1.9", "CN1.20", "KEYBOARD.C7"]);
    assert_eq!(order(&q, 1), ["KEYBOARD.R6", "CN1.6", "U1.16"]);
    let bit = bench.trace(wide, "memory bit 3");
    assert_eq!(order(&bit, 0), ["U10.14", "U7.34"]);
    assert_eq!(order(&bit, 1), ["U7.34", "U10.2"]);
    let address: BTreeSet<&str> = bit.beside.iter().map(|b| b.pin.pin.as_str()).collect();
    for pin in [3, 4, 5, 6, 7, 9, 10, 11, 12, 13, 15] {
        assert!(
            address.contains(format!("U10.{pin}").as_str()),
            "pin {pin} of U10: {address:?}"
        );
    }
    let of = |pin: &str| {
        bit.beside
            .iter()
            .find(|b| b.pin.pin == pin)
            .unwrap()
            .from
            .join(" ")
    };
    assert!(
        of("U10.5").contains("RP2") && of("U10.5").contains("U25."),
        "{}",
        of("U10.5")
    );
    let tick = order(&bench.trace(wide, "clock 1"), 0);
    for pin in ["SW1.1", "R5.1", "R100.2", "U27.2", "U27.3", "U1.19"] {
        assert!(tick.contains(&pin.to_string()), "{pin} not in {tick:?}");
    }
    assert_eq!(
        order(&bench.trace(wide, "clock 2"), 0).last().unwrap(),
        "U2.19"
    );
    // The invented board: column 0 and row 2; a buffer between memory and processor.
    let q = bench.trace("dunlin-64", "Q");
    assert_eq!(order(&q, 0), ["A1.2", "J3.1", "KB.C0"]);
    assert_eq!(order(&q, 1), ["KB.R2", "J3.16", "A1.12"]);
    let bit = bench.trace("dunlin-64", "bit 3");
    assert_eq!(order(&bit, 0), ["M3.14", "L7.5", "L7.15", "P1.30"]);
    assert_eq!(order(&bit, 1), ["P1.30", "M3.2"]);
    let voice = order(&bench.trace("dunlin-64", "voice 2"), 0);
    assert_eq!(
        voice,
        [
            "T1.3", "W12.1", "W12.2", "C7.1", "C7.2", "Q1.3", "Q1.1", "LS1.1"
        ]
    );
}

#[test]
fn what_breaks_is_what_the_model_says() {
    let bench = Bench::new();
    let q = bench.trace("dunlin-64", "Q");
    let contact = &q.paths[0].steps[1];
    assert_eq!(
        contact.breaks,
        ["keys 1 A CTRL ESC F1 Q TAB Z"],
        "an open contact takes its column"
    );
    let bit = bench.trace("dunlin-64", "memory bit 3");
    assert_eq!(
        bit.paths[0].steps[0].breaks.last().unwrap(),
        "data bit 3 of main memory"
    );
    let clock = bench.trace("dunlin-64", "clock 1");
    let gate = clock.paths[0]
        .steps
        .iter()
        .rfind(|s| s.socket == "L10")
        .unwrap();
    assert_eq!(gate.breaks, ["time-of-day clock of adapter 1-2"]);
}

#[test]
fn supplies_lines_and_pins() {
    let bench = Bench::new();
    let five = bench.trace("dunlin-64", "5V");
    assert_eq!(five.what, "supply +5V");
    assert_eq!(order(&five, 0), ["PSU.1", "J1.P5", "J1.4", "S1.2", "S1.1"]);
    assert!(
        five.cautions.iter().any(|c| c.contains("licensed")),
        "{:?}",
        five.cautions
    );
    let line = bench.trace("dunlin-64", "line ras_n");
    assert!(
        line.says.starts_with("Driven by L16.5 (q1)."),
        "{}",
        line.says
    );
    let pin = bench.trace("dunlin-64", "u1.12".replace("u1", "a1").as_str());
    assert!(
        pin.says.contains("A1.12 is pin 12 (pb2) of 6526"),
        "{}",
        pin.says
    );
    for (typed, same) in [
        ("A1 pin 12", "A1.12"),
        ("pin 12 of a1", "A1.12"),
        ("a1.pb2", "A1.12"),
        ("key delete", "key RUBOUT"),
    ] {
        assert_eq!(
            bench.trace("dunlin-64", typed).paths,
            bench.trace("dunlin-64", same).paths,
            "{typed}"
        );
    }
    assert_eq!(bench.trace("dunlin-64", "BREAK").what, "key BREAK");
    let says = |what: &str| bench.fails("dunlin-64", what);
    assert!(
        says("RAS_M").contains("did you mean 'RAS_N'?"),
        "{}",
        says("RAS_M")
    );
    assert!(
        says("A1.99").contains("A1 has no pin 99; it has 1 to 40"),
        "{}",
        says("A1.99")
    );
    assert!(
        says("P1").contains("P1 is a part: name a pin of it, from P1.1 to P1.40"),
        "{}",
        says("P1")
    );
    assert!(
        says("clock 3").contains("there are: 1, 2"),
        "{}",
        says("clock 3")
    );
    assert!(
        says("memory bit 9").contains("0 to 7"),
        "{}",
        says("memory bit 9")
    );
    assert!(says("key Ä").contains("no key"), "{}", says("key Ä"));
    assert!(says("").contains("trace what?"), "{}", says(""));
}

/// Anything that has a name can be traced, in eighty columns, and drawn as XML.
#[test]
fn everything_can_be_shown_and_drawn() {
    let bench = Bench::new();
    for (board, (_, raw)) in &bench.maps.boards {
        let model = bench.models[board];
        let mut all: Vec<String> = bench.everything(board);
        all.extend(raw.rails.keys().map(|r| format!("supply {r}")));
        all.extend(
            model
                .nodes
                .iter()
                .filter(|n| n.line)
                .map(|n| format!("line {}", n.name)),
        );
        all.extend(
            raw.functions
                .keys()
                .flat_map(|k| expand::key(k))
                .map(|f| f.0),
        );
        all.extend(
            model
                .checks
                .iter()
                .filter(|c| c.id.starts_with("voice."))
                .map(|c| c.id.replace('.', " ")),
        );
        // One in seven: all of them take minutes.
        for what in all.iter().step_by(7) {
            let v = bench.trace(board, what);
            let shown = text::text(&v);
            let wide = shown.lines().find(|l| l.chars().count() > 80);
            assert_eq!(wide, None, "{board}: {what}");
            let drawn = svg::svg(&v, model);
            well_formed(&drawn).unwrap_or_else(|e| panic!("{board}: {what}: {e}"));
        }
    }
}

/// Elements that open close again in order, attributes have quotes, no bare ampersand: what XML asks for and a drawing uses.
fn well_formed(xml: &str) -> Result<(), String> {
    let mut open: Vec<String> = Vec::new();
    let mut rest = xml
        .strip_prefix("<?xml version=\"1.0\" encoding=\"UTF-8\"?>")
        .ok_or("no declaration")?;
    while let Some(at) = rest.find('<') {
        let text = &rest[..at];
        if let Some(n) = text.find('&')
            && !["amp;", "lt;", "gt;", "quot;", "#"]
                .iter()
                .any(|e| text[n + 1..].starts_with(e))
        {
            return Err(format!("bare & in {text}"));
        }
        let end = rest[at..].find('>').ok_or("'<' without '>'")? + at;
        let tag = &rest[at + 1..end];
        rest = &rest[end + 1..];
        if let Some(name) = tag.strip_prefix('/') {
            if open.pop().as_deref() != Some(name) {
                return Err(format!("</{name}> closes nothing"));
            }
        } else if !tag.ends_with('/') {
            if tag.matches('"').count() % 2 != 0 {
                return Err(format!("quotes in <{tag}>"));
            }
            open.push(
                tag.split_whitespace()
                    .next()
                    .unwrap_or_default()
                    .to_string(),
            );
        }
    }
    if open.is_empty() {
        Ok(())
    } else {
        Err(format!("open: {open:?}"))
    }
}

#[test]
fn a_trace_as_text_and_as_a_drawing() {
    let bench = Bench::new();
    for (name, what) in [
        ("key", "Q"),
        ("bit", "memory bit 3"),
        ("clock", "clock 1"),
        ("voice", "voice 1"),
        ("pin", "U1.12"),
        ("supply", "+12V"),
    ] {
        let board = if name == "pin" {
            "64k-6510-wide"
        } else {
            "dunlin-64"
        };
        insta::assert_snapshot!(
            format!("text_{name}"),
            text::text(&bench.trace(board, what))
        );
    }
    let v = bench.trace("dunlin-64", "Q");
    insta::assert_snapshot!("drawing_key", svg::svg(&v, bench.models["dunlin-64"]));
}

fn run(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_whichsocket"))
        .args(args)
        .current_dir(root())
        .output()
        .unwrap()
}

#[test]
fn the_command_prints_writes_and_refuses() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("way.svg");
    let out = run(&[
        "trace",
        "--board",
        "dunlin-64",
        "memory",
        "bit",
        "3",
        "--json",
        "--svg",
        file.to_str().unwrap(),
    ]);
    assert_eq!(out.status.code(), Some(0));
    let v: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    assert_eq!(v["schema"], 1);
    let schema: serde_json::Value =
        serde_json::from_slice(&run(&["schema", "trace"]).stdout).unwrap();
    assert!(jsonschema::is_valid(&schema, &v));
    assert!(std::fs::read_to_string(file).unwrap().contains("<svg"));
    let out = run(&["trace", "Q"]);
    assert_eq!(out.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&out.stderr).contains("--board ID"));
    let out = run(&["trace", "--board", "dunlin-64", "nothing-like-it"]);
    assert_eq!(out.status.code(), Some(2));
    assert!(out.stdout.is_empty());
    let help = String::from_utf8(run(&["trace", "--help"]).stdout).unwrap();
    assert!(
        help.contains("whichsocket trace --board dunlin-64 Q"),
        "{help}"
    );
}
