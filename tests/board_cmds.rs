//! `board find`, `show`, `check`, `export` as a user meets them.

use std::path::Path;
use std::process::{Command, Output};
use whichsocket::boardinfo::find::find;
use whichsocket::boardinfo::show::{page, view};
use whichsocket::faultmap::load::{parse, texts};
use whichsocket::faultmap::model::BoardModel;
use whichsocket::faultmap::raw::BoardRaw;
use whichsocket::shipped::{self, Library};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn run(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_whichsocket"))
        .args(args)
        .current_dir(root())
        .output()
        .unwrap()
}

fn printed(args: &[&str]) -> String {
    let out = run(args);
    assert_eq!(
        out.status.code(),
        Some(0),
        "{args:?}: {}",
        String::from_utf8_lossy(&out.stderr)
    );
    String::from_utf8(out.stdout).unwrap()
}

fn boards() -> Vec<BoardModel> {
    let library = Library::default();
    library
        .list()
        .iter()
        .map(|b| library.board(&b.0).unwrap())
        .collect()
}

fn best(typed: &[&str]) -> String {
    let words: Vec<String> = typed.iter().map(|w| w.to_string()).collect();
    let v = find(&words, &boards());
    v.boards.first().map_or(String::new(), |m| m.board.clone())
}

#[test]
fn boards_are_found_by_what_is_printed_on_the_chips() {
    assert_eq!(best(&["6510", "6526", "8x4164", "82S100"]), "64k-6510-wide");
    assert_eq!(best(&["6502", "6845", "8910"]), "dunlin-64");
    // As makers print them, and as people type them.
    assert_eq!(best(&["xx6567r8", "74LS258N,", "82s100"]), "64k-6510-wide");
    assert_eq!(best(&["8 x 4164", "U17=82S100", "U19"]), "64k-6510-wide");
    assert_eq!(best(&["no", "such", "thing"]), "");
    // Every board is found by the types that it is known by.
    for b in boards() {
        let known: Vec<&str> = b.known_by.iter().map(String::as_str).collect();
        assert_eq!(best(&known), b.board, "{known:?}");
    }
}

#[test]
fn what_matched_and_what_did_not_is_told() {
    let words = ["6510", "8x4164", "4x82S100", "U17", "6845", "65x10"].map(String::from);
    let v = find(&words, &boards());
    let wide = v
        .boards
        .iter()
        .find(|b| b.board == "64k-6510-wide")
        .unwrap();
    let typed: Vec<&str> = wide.matched.iter().map(|m| m.typed.as_str()).collect();
    assert_eq!(typed, ["6510", "8x4164", "4x82S100", "U17"]);
    assert_eq!(wide.matched[1].sockets.len(), 8);
    assert_eq!(wide.matched[2].counts, Some((4, 1)));
    assert_eq!(wide.not_matched, ["6845"]);
    assert!(
        wide.not_mentioned.contains(&"74LS629".to_string()),
        "{:?}",
        wide.not_mentioned
    );
    assert!(
        !wide.not_mentioned.contains(&"8500".to_string()),
        "a 6510 was typed, which stands in the same socket"
    );
    assert_eq!(v.unknown.len(), 1);
    assert!(v.boards.windows(2).all(|w| w[0].score >= w[1].score));
    assert!(v.boards.iter().all(|b| (0.0..=1.0).contains(&b.score)));
    insta::assert_snapshot!(
        "find",
        printed(&[
            "board", "find", "6502", "8x4164", "6845", "82S100", "U99", "6525"
        ])
    );
}

#[test]
fn a_page_fits_eighty_columns_and_says_what_matters() {
    for b in boards() {
        let v = view(&b);
        let text = page(&v);
        let wide = text.lines().find(|l| l.chars().count() > 80);
        assert_eq!(wide, None, "{}", b.board);
        for rail in &v.rails {
            assert!(text.contains(&rail.rail), "{}: {}", b.board, rail.rail);
        }
        for s in &v.sockets {
            assert!(text.contains(&s.socket), "{}: {}", b.board, s.socket);
        }
        assert!(text.contains("licensed"), "{}", b.board);
    }
}

#[test]
fn empty_sockets_show_what_the_model_says() {
    let model = Library::default().board("dunlin-64").unwrap();
    let v = view(&model);
    let of = |socket: &str| {
        &v.empty
            .iter()
            .find(|e| e.sockets.iter().any(|s| s == socket))
            .unwrap()
            .shows
    };
    assert_eq!(of("P1")[0], "no test run, or none that can be read");
    assert!(
        of("T1").contains(&"voice 1-3 of the tone generator".to_string()),
        "{:?}",
        of("T1")
    );
    assert!(
        !of("T1").iter().any(|s| s.contains("memory")),
        "{:?}",
        of("T1")
    );
    assert!(
        of("M3").iter().any(|s| s == "data bit 3 of main memory"),
        "{:?}",
        of("M3")
    );
    insta::assert_snapshot!("show_dunlin", page(&v));
}

#[test]
fn check_prints_figures_and_exits_by_what_it_found() {
    let text = printed(&["board", "check", "faultmaps/boards/dunlin-64.yaml"]);
    assert!(
        text.starts_with("1 map: 0 mistakes, 0 warnings\n\ndunlin-64\n"),
        "{text}"
    );
    let wide = text.lines().find(|l| l.chars().count() > 80);
    assert_eq!(wide, None);
    for part in [
        "detected",
        "Not told apart",
        "One more measuring point",
        "Loops of needs (legal)",
        "no check and no eye",
    ] {
        assert!(text.contains(part), "{part} not in\n{text}");
    }
    let json: serde_json::Value =
        serde_json::from_str(&printed(&["board", "check", "--json"])).unwrap();
    let schema: serde_json::Value = serde_json::from_str(&printed(&["schema", "check"])).unwrap();
    assert!(jsonschema::is_valid(&schema, &json));
    for b in json["boards"].as_array().unwrap() {
        let c = &b["coverage"];
        let f = |set: &str, what: &str| c[set][what].as_f64().unwrap();
        // More checks detect more; narrowing to more sockets takes in more.
        assert!(
            f("test_run", "detected") <= f("with_eye", "detected") + 1e-9,
            "{b}"
        );
        assert!(
            f("with_eye", "detected") <= f("with_measuring", "detected") + 1e-9,
            "{b}"
        );
        for set in ["test_run", "with_eye", "with_measuring"] {
            let to: Vec<f64> = c[set]["isolated"]
                .as_array()
                .unwrap()
                .iter()
                .map(|x| x.as_f64().unwrap())
                .collect();
            assert!(
                to.windows(2).all(|w| w[0] <= w[1] + 1e-9) && to[2] <= 1.0 + 1e-9,
                "{to:?}"
            );
        }
        let unseen: f64 = c["unseen"]
            .as_array()
            .unwrap()
            .iter()
            .map(|u| u["rate"].as_f64().unwrap())
            .sum();
        let share = 1.0 - unseen / c["rate"].as_f64().unwrap();
        assert!((share - f("with_eye", "detected")).abs() < 1e-9, "{share}");
    }
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("bad.yaml");
    let bad = std::fs::read_to_string(root().join("faultmaps/boards/dunlin-64.yaml")).unwrap();
    std::fs::write(
        &file,
        bad.replace("needs: P1.execute", "needs: P1.excute")
            .replace("fuse: F1", "fuse: F11"),
    )
    .unwrap();
    let out = run(&["board", "check", file.to_str().unwrap()]);
    assert_eq!(out.status.code(), Some(2));
    let text = String::from_utf8(out.stdout)
        .unwrap()
        .replace(dir.path().to_str().unwrap(), "");
    let messages = text.split("1 map").next().unwrap();
    insta::assert_snapshot!("check_messages", messages);
    assert_eq!(
        run(&["board", "check", "nowhere.yaml"]).status.code(),
        Some(2)
    );
    assert_eq!(
        run(&["board", "check", "--maps", "src"]).status.code(),
        Some(2)
    );
}

#[test]
fn maps_are_valid_under_their_schemas_and_broken_ones_are_not() {
    let schema =
        |of: &str| serde_json::from_str::<serde_json::Value>(&printed(&["schema", of])).unwrap();
    let export = printed(&["board", "export", "--format", "schema"]);
    assert_eq!(
        serde_json::from_str::<serde_json::Value>(&export).unwrap(),
        schema("map")
    );
    let list = texts(&root().join("faultmaps"), &mut Vec::new());
    assert!(list.len() > 50);
    for (kind, of) in [
        ("parts", "part"),
        ("boards", "map"),
        ("cartridges", "cartridge"),
    ] {
        let validator = jsonschema::validator_for(&schema(of)).unwrap();
        let mut seen = 0;
        for (file, text) in list
            .iter()
            .filter(|(f, _)| f.contains(&format!("/{kind}/")))
        {
            let value: serde_json::Value = parse(file, text).unwrap();
            let wrong: Vec<String> = validator
                .iter_errors(&value)
                .map(|e| format!("{}: {e}", e.instance_path()))
                .collect();
            assert!(wrong.is_empty(), "{file}\n{}", wrong.join("\n"));
            seen += 1;
        }
        assert!(seen > 0, "{kind}");
    }
    let board = std::fs::read_to_string(root().join("faultmaps/boards/dunlin-64.yaml")).unwrap();
    let validator = jsonschema::validator_for(&schema("map")).unwrap();
    for (old, new) in [
        ("order: 1,", "order: first,"),
        ("socket: true", "sokcet: true"),
        ("kind: real", "kind: drawn"),
        ("expect: high", "expect: loud"),
        ("board: dunlin-64", "bord: dunlin-64"),
    ] {
        let value: serde_json::Value = parse("", &board.replacen(old, new, 1)).unwrap();
        assert!(!validator.is_valid(&value), "{new}");
    }
}

#[test]
fn export_gives_the_map_and_a_graph() {
    for (name, _) in Library::default().list() {
        let json: serde_json::Value =
            serde_json::from_str(&printed(&["board", "export", &name])).unwrap();
        let raw: BoardRaw = serde_json::from_value(json["board"].clone()).unwrap();
        let (typed, _) = Library::default().typed(&name).unwrap();
        assert_eq!(
            serde_json::to_value(&raw).unwrap(),
            serde_json::to_value(&typed).unwrap()
        );
        let used: std::collections::BTreeSet<&String> =
            raw.parts.values().map(|p| &p.family).collect();
        let families: std::collections::BTreeSet<String> = json["families"]
            .as_object()
            .unwrap()
            .keys()
            .cloned()
            .collect();
        assert_eq!(
            used.into_iter()
                .cloned()
                .collect::<std::collections::BTreeSet<_>>(),
            families
        );
        let dot = printed(&["board", "export", &name, "--format", "dot"]);
        let mut lines = dot.lines();
        assert_eq!(lines.next().unwrap(), format!("digraph \"{name}\" {{"));
        assert_eq!(lines.next_back(), Some("}"));
        for line in lines {
            // Statements end with ';', quotes come in pairs: what the language asks of these.
            assert!(
                line.ends_with(';') && line.replace("\\\"", "").matches('"').count() % 2 == 0,
                "{line}"
            );
        }
        for part in raw.parts.keys() {
            assert!(
                dot.contains(&format!("  \"{part}\" [shape=box")),
                "{name}: {part}"
            );
        }
    }
    let out = run(&["board", "export"]);
    assert_eq!(out.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&out.stderr).contains("which board?"));
    let dot = printed(&["board", "export", "dunlin-64", "--format", "dot"]);
    assert!(
        dot.contains("  \"L16\" -> \"line RAS_N\" [label=\"5\"];"),
        "the driver points at its line"
    );
    assert!(
        dot.contains("  \"line RAS_N\" -> \"M0\" [label=\"4\"];"),
        "the line points at its readers"
    );
}

#[test]
fn json_outputs_keep_to_their_schemas() {
    for (args, of) in [
        (vec!["board", "find", "6502", "--json"], "find"),
        (vec!["board", "show", "dunlin-64", "--json"], "show"),
    ] {
        let value: serde_json::Value = serde_json::from_str(&printed(&args)).unwrap();
        let schema: serde_json::Value = serde_json::from_str(&printed(&["schema", of])).unwrap();
        assert!(jsonschema::is_valid(&schema, &value), "{of}");
        assert_eq!(value["schema"], 1);
    }
}

#[test]
fn every_command_has_an_example_in_its_help() {
    for command in ["list", "find", "show", "check", "export", "import"] {
        let help = printed(&["board", command, "--help"]);
        assert!(
            help.contains("Example") && help.contains(&format!("whichsocket board {command}")),
            "{help}"
        );
    }
}

#[test]
fn a_folder_of_ones_own_uses_the_shipped_families() {
    let dir = tempfile::tempdir().unwrap();
    std::fs::create_dir(dir.path().join("boards")).unwrap();
    let map = "board: mine\nwhat: one chip\nsources: [test]\nparts:\n  U1: {family: logic-74ls04, role: gate, pins: A B - - - - GND - - - - - - +5V}\nrails: {}\nfunctions: {out: {needs: U1.gate.1}}\nchecks: {out: {reads: out, what: output}}\n";
    std::fs::write(dir.path().join("boards/mine.yaml"), map).unwrap();
    let maps = dir.path().to_str().unwrap();
    assert!(printed(&["board", "list", "--maps", maps]).starts_with("mine "));
    assert!(printed(&["board", "show", "mine", "--maps", maps]).contains("logic 74ls04"));
    assert!(
        printed(&["trace", "--board", "mine", "--maps", maps, "U1.2"])
            .contains("U1.1 (a1) in, U1.2 (y1) out")
    );
    assert!(printed(&["board", "check", "--maps", maps]).contains("1 map: 0 mistakes"));
    assert!(
        shipped::maps()
            .unwrap()
            .families
            .contains_key("logic-74ls04")
    );
}
