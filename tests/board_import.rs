//! `board import`: a drawing becomes a skeleton that loads; what is broken, cut off or hostile is refused, never a crash.

use proptest::prelude::*;
use std::path::Path;
use std::process::{Command, Output};
use whichsocket::boardcheck::{MapText, check};
use whichsocket::diag::Severity;
use whichsocket::faultmap::model::BoardModel;
use whichsocket::import::kicad::{Drawing, read};
use whichsocket::import::sexp;
use whichsocket::import::skeleton::{Skeleton, skeleton};
use whichsocket::shipped::{self, Library};

const NETLIST: &str = include_str!("import/heron.net");
const BOARD: &str = include_str!("import/heron.kicad_pcb");

fn run(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_whichsocket"))
        .args(args)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap()
}

fn made(drawing: &Drawing, file: &str) -> Skeleton {
    skeleton(drawing, &shipped::maps().unwrap().families, "heron", file)
}

/// The skeleton in a folder of maps of one's own, loaded as `--maps` loads it.
fn loaded(text: &str) -> BoardModel {
    let dir = tempfile::tempdir().unwrap();
    std::fs::create_dir(dir.path().join("boards")).unwrap();
    std::fs::write(dir.path().join("boards/heron.yaml"), text).unwrap();
    let library = Library::open(Some(dir.path())).unwrap_or_else(|e| panic!("{e}\n{text}"));
    library.board("heron").unwrap()
}

#[test]
fn a_netlist_becomes_a_map_that_loads() {
    let out = run(&["board", "import", "tests/import/heron.net"]);
    let said = String::from_utf8_lossy(&out.stderr).into_owned();
    assert_eq!(out.status.code(), Some(0), "{said}");
    assert!(
        said.contains("8 parts in the map, 1 left in comments"),
        "{said}"
    );
    assert!(said.contains("U9 (ABC987): no family fits"), "{said}");
    let text = String::from_utf8(out.stdout).unwrap();
    insta::assert_snapshot!("heron_net", text);
    let model = loaded(&text);
    let at = |socket: &str, pin: &str| {
        model
            .position(socket)
            .unwrap()
            .1
            .line_at(pin)
            .map(str::to_string)
    };
    // Pin 40 of the processor, pin 20 of the ROM and of the decoder's output, an unconnected pin, a nameless net.
    assert_eq!(at("U1", "40").as_deref(), Some("RESET_N"));
    assert_eq!(at("U2", "20"), at("U3", "15"));
    assert_eq!(at("U2", "20").as_deref(), Some("ROM_N"));
    assert_eq!(at("U1", "3"), None);
    assert_eq!(at("R2", "2").as_deref(), Some("n.U9.1"));
    let family = |socket: &str| model.position(socket).unwrap().1.family.clone();
    assert_eq!(
        ["U1", "U2", "U3", "R1", "C1", "C2", "F1"].map(family),
        [
            "processor-6502",
            "rom-23128",
            "logic-74ls138",
            "resistor",
            "capacitor",
            "capacitor-electrolytic",
            "fuse"
        ]
    );
    assert_eq!(
        model.position("U1").unwrap().1.part_type.as_deref(),
        Some("6502A")
    );
    assert!(model.position("U1").unwrap().1.socket && !model.position("U3").unwrap().1.socket);
    assert!(model.rails.contains_key("+5V"));
    assert!(model.position("U9").is_none());
}

#[test]
fn a_board_file_gives_places_as_well() {
    let drawing = read(BOARD).unwrap();
    let text = made(&drawing, "heron.kicad_pcb").text;
    let model = loaded(&text);
    let place = |socket: &str| model.position(socket).unwrap().1.clone();
    // The origin of a 40-pin part is its pin 1; rows 15.24 mm apart, 19 steps of 2.54 mm.
    let close = |a: (f64, f64), b: (f64, f64)| (a.0 - b.0).abs() < 0.01 && (a.1 - b.1).abs() < 0.01;
    let u1 = place("U1");
    assert!(
        close(u1.at.unwrap(), (50.0 + 7.62, 60.0 + 24.13)),
        "{:?}",
        u1.at
    );
    assert!(
        !u1.turned && close(u1.size, (15.24 + 2.5, 48.26 + 2.5)),
        "{:?}",
        u1.size
    );
    // Turned by 90 degrees against the clock: what was to the right is above, what was below is to the right.
    let u3 = place("U3");
    assert!(
        u3.turned && close(u3.at.unwrap(), (120.0 + 8.89, 60.0 - 3.81)),
        "{:?}",
        u3.at
    );
    let layout = model.layout.clone().unwrap();
    assert_eq!(layout.kind, whichsocket::faultmap::raw::LayoutKind::Real);
    // The same wiring in both files.
    let netlist = loaded(&made(&read(NETLIST).unwrap(), "heron.net").text);
    for p in &netlist.positions {
        let other = place(&p.name);
        let lines = |q: &whichsocket::faultmap::model::Position| -> Vec<Option<String>> {
            q.pins
                .iter()
                .map(|pin| pin.line.as_deref().map(String::from))
                .collect()
        };
        assert_eq!(lines(p), lines(&other), "{}", p.name);
    }
}

#[test]
fn a_skeleton_has_no_mistakes() {
    for (file, text) in [("heron.net", NETLIST), ("heron.kicad_pcb", BOARD)] {
        let text = made(&read(text).unwrap(), file).text;
        let map = MapText {
            file: "heron.yaml".into(),
            text,
            asked: true,
        };
        let checked = check(&[map], &shipped::maps().unwrap().families);
        let mistakes: Vec<_> = checked
            .findings
            .iter()
            .filter(|f| f.diag.severity == Severity::Error)
            .collect();
        assert!(mistakes.is_empty(), "{mistakes:#?}");
        assert_eq!(checked.boards.len(), 1);
    }
}

#[test]
fn older_boards_and_hostile_names_are_read() {
    let old = r#"(kicad_pcb (module DIP-16 (at 1 2) (fp_text reference U? (at 0 0)) (fp_text value 74LS138 (at 0 0))
        (pad 1 thru_hole rect (at 0 0) (net 5 A0..9999)) (pad 2 thru_hole rect (at 3 0) (net 6 "x: {y} # \" 'z'\n- a"))
        (pad 3 thru_hole rect (at 3 0) (net 7 "-")))
      (module DIP-16 (at 1 2) (fp_text reference U? (at 0 0)) (fp_text value 74LS138 (at 0 0)) (pad 1 thru_hole rect (at 0 0) (net 5 "A0,,9999"))))"#;
    let text = made(&read(old).unwrap(), "old: \"x\" #.kicad_pcb").text;
    let model = loaded(&text);
    let lines: Vec<_> = model
        .positions
        .iter()
        .flat_map(|p| &p.pins)
        .filter_map(|p| p.line.clone())
        .collect();
    assert_eq!(model.positions.len(), 2);
    assert_eq!(lines.len(), 4, "{lines:?}");
    let distinct: std::collections::BTreeSet<_> = lines.iter().collect();
    assert_eq!(distinct.len(), 4, "{lines:?}");
}

#[test]
fn what_is_no_drawing_is_refused_in_one_line() {
    let dir = tempfile::tempdir().unwrap();
    let deep = "(".repeat(3_000_000);
    let cut = &BOARD[..BOARD.len() / 2];
    let cases: [(&str, &[u8], &str); 8] = [
        ("empty", b"", "the file is empty"),
        ("cut", cut.as_bytes(), "it is cut off"),
        ("deep", deep.as_bytes(), "nested deeper than 64"),
        (
            "other",
            b"(kicad_sch (version 1))",
            "a netlist begins with '(export'",
        ),
        ("bare", b"hello", "begins with '('"),
        ("text", b"(export \"no end", "has no end"),
        ("bytes", b"(export \xff\xfe)", "no text in UTF-8"),
        ("no parts", b"(export (components) (nets))", "no parts"),
    ];
    for (name, bytes, says) in cases {
        let path = dir.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        let out = run(&["board", "import", path.to_str().unwrap()]);
        let said = String::from_utf8_lossy(&out.stderr).into_owned();
        assert_eq!(out.status.code(), Some(2), "{name}: {said}");
        assert!(
            said.contains(says) && said.lines().count() == 1,
            "{name}: {said}"
        );
        assert!(out.stdout.is_empty(), "{name}");
    }
    let out = run(&["board", "import", "nowhere.net"]);
    assert_eq!(out.status.code(), Some(2));
    let out = run(&["board", "import", env!("CARGO_MANIFEST_DIR")]);
    assert_eq!(out.status.code(), Some(2));
}

#[test]
fn a_huge_file_is_refused() {
    let mut text = String::from("(export ");
    text.push_str(&"x ".repeat(sexp::LARGEST / 2));
    text.push(')');
    assert!(
        sexp::parse(&text)
            .unwrap_err()
            .message
            .contains("larger than")
    );
    let many = format!("({})", "a ".repeat(sexp::MOST + 1));
    assert!(
        sexp::parse(&many)
            .unwrap_err()
            .message
            .contains("more than")
    );
    assert!(Path::new("tests/import/heron.net").exists());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Cut off anywhere, a file is refused; nothing panics.
    #[test]
    fn truncated_files_are_refused(at in 0usize..10_000, pcb: bool) {
        let whole = if pcb { BOARD } else { NETLIST };
        let end = at % (whole.trim_end().len() - 1);
        prop_assert!(read(&whole[..end]).is_err());
    }

    /// A few bytes changed: refused, or a skeleton that is still a map in form (a pin that was lost is its own matter).
    #[test]
    fn changed_files_do_not_crash(changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..6)) {
        let mut bytes = NETLIST.as_bytes().to_vec();
        for (at, byte) in changes {
            let n = at.index(bytes.len());
            bytes[n] = byte;
        }
        let text = String::from_utf8_lossy(&bytes).into_owned();
        if let Ok(drawing) = read(&text) {
            let text = made(&drawing, "changed.net").text;
            let map = MapText { file: "changed.yaml".into(), text: text.clone(), asked: true };
            let checked = check(&[map], &shipped::maps().unwrap().families);
            let mistakes: Vec<_> = checked.findings.iter().filter(|f| f.diag.severity == Severity::Error && f.diag.code != "map-meaning").collect();
            prop_assert!(mistakes.is_empty(), "{:#?}\n{}", mistakes, text);
        }
    }

    /// Any text at all.
    #[test]
    fn random_texts_do_not_crash(text in "[()\"\\\\ a-z0-9\n]{0,400}", raw in prop::collection::vec(any::<u8>(), 0..300)) {
        let _ = read(&text);
        let _ = read(&format!("(export {text})"));
        let _ = read(&String::from_utf8_lossy(&raw));
    }
}
