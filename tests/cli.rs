//! The program as a process: exit status, streams, bad input.

use std::io::Write;
use std::process::{Command, Output, Stdio};

fn run(args: &[&str], input: &[u8]) -> Output {
    let mut child = Command::new(env!("CARGO_BIN_EXE_whichsocket"))
        .args(args)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // The program may refuse and close its end before all is written.
    let _ = child.stdin.take().unwrap().write_all(input);
    child.wait_with_output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// Lines that would tell the same of the ranking are not told one by one.
#[test]
fn outcomes_that_make_the_same_of_the_ranking_are_told_once() {
    let sheet = std::fs::read("samples/wide-black-screen.run").unwrap();
    let shown = text(&run(&["next", "-"], &sheet).stdout);
    let line = shown
        .lines()
        .find(|l| l.contains("9VAC missing"))
        .unwrap_or_else(|| panic!("{shown}"));
    assert!(line.contains(", or 2 like it ("), "{shown}");
    assert!(!shown.contains("9VAC low"), "{shown}");
    let sheet = "board 64k-6510-wide\nfaulty\nblack screen\n5v 5.02\n12v 12\n9vac 9.2\n9v unreg 10.5\n5v video 5.0\n5v clk 5.0\nbits 0-7 bad\n";
    let shown = text(&run(&["next", "-"], sheet.as_bytes()).stdout);
    // What a remedy comes to is two things.
    assert!(
        shown.contains("the machine works (") && shown.contains("still faulty ("),
        "{shown}"
    );
}

/// A measurement that nothing else bears out is asked to be looked at again, without being asked why.
#[test]
fn a_measurement_that_nothing_bears_out_is_told() {
    let fine = "board dunlin-64\ncame in faulty\nvoice 2 missing\nrest fine\n";
    let shown = |text: &str| self::text(&run(&["rank", "-"], text.as_bytes()).stdout);
    let odd = shown(&format!("{fine}J3.4 to A1.4 open\n"));
    assert!(
        odd.contains("Check these lines") && odd.contains("J3.4 to A1.4: open"),
        "{odd}"
    );
    for sound in [fine.to_string(), format!("{fine}J3.4 to A1.4 0.3 ohm\n")] {
        assert!(!shown(&sound).contains("Check these lines"), "{sound}");
    }
}

const THREE_NONSENSE: &str = "samples/typed-in-haste.run";

#[test]
fn nonsense_lines_do_not_stop_the_ranking() {
    let out = run(&["rank", "--json", THREE_NONSENSE], b"");
    assert_eq!(out.status.code(), Some(0));
    let v: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    let lost = v["not_understood"].as_array().unwrap();
    assert_eq!(lost.len(), 3, "{lost:?}");
    assert!(lost.iter().all(|l| !l["hint"].as_str().unwrap().is_empty()));
    assert!(!v["suspects"].as_array().unwrap().is_empty());
    let out = run(&["rank", THREE_NONSENSE], b"");
    let shown = text(&out.stdout);
    for line in [
        "the cat has been on the keyboard again",
        "wibble 7 of 9",
        "x x x x",
    ] {
        assert!(shown.contains(line), "{line} not in:\n{shown}");
    }
}

/// A board that stands in a line which was not understood: that line is shown, with what to type.
#[test]
fn a_board_that_was_not_understood_is_named_with_its_line() {
    let line = "it is a 64k-6510-wide I think, the brown one";
    let sheet = format!("{line}\nmemory bit 3 bad\n");
    let out = run(&["rank", "-"], sheet.as_bytes());
    assert_eq!(out.status.code(), Some(2));
    let shown = text(&out.stderr);
    assert!(
        shown.contains(line) && shown.contains("type 'board 64k-6510-wide'"),
        "{shown}"
    );
}

#[test]
fn strict_exits_with_one() {
    assert_eq!(
        run(&["rank", "--strict", THREE_NONSENSE], b"")
            .status
            .code(),
        Some(1)
    );
    assert_eq!(
        run(&["rank", "--strict", "samples/all-good.run"], b"")
            .status
            .code(),
        Some(0)
    );
    assert_eq!(
        run(&["read", "--strict", THREE_NONSENSE], b"")
            .status
            .code(),
        Some(1)
    );
}

#[test]
fn bad_input_gets_one_clear_message() {
    let mut large = b"board dunlin-64\n".to_vec();
    large.resize(8_000_001, b'#');
    let cases: [(&str, &[u8], &str); 5] = [
        ("binary", b"board dunlin-64\0\x01\x02", "text"),
        ("empty", b"  \n# only a comment\n", "empty"),
        ("large", &large, "8"),
        (
            "unknown board",
            b"board dunlin-46\nrest fine",
            "did you mean 'dunlin-64'",
        ),
        ("no board", b"memory bit 3 bad", "--board"),
    ];
    for (what, input, said) in cases {
        let out = run(&["rank", "-"], input);
        assert_eq!(out.status.code(), Some(2), "{what}");
        let message = text(&out.stderr);
        assert!(message.to_lowercase().contains(said), "{what}: {message}");
        assert_eq!(message.lines().count(), 1, "{what}: {message}");
        assert!(out.stdout.is_empty(), "{what}");
    }
    let out = run(&["rank", "no/such.run"], b"");
    assert_eq!(out.status.code(), Some(2));
    assert!(text(&out.stderr).contains("no such file"));
    assert_eq!(run(&["rank"], b"").status.code(), Some(2), "usage");
}

#[test]
fn several_sheets_are_several_machines_unless_they_share_a_ticket() {
    let out = run(
        &[
            "rank",
            "--json",
            "--no-next",
            "samples/all-good.run",
            "samples/one-memory-bit.run",
        ],
        b"",
    );
    assert_eq!(text(&out.stdout).lines().count(), 2);
    let out = run(
        &[
            "rank",
            "--json",
            "--no-next",
            "samples/one-memory-bit.run",
            "samples/one-memory-bit.run",
        ],
        b"",
    );
    let lines: Vec<String> = text(&out.stdout).lines().map(String::from).collect();
    assert_eq!(lines.len(), 1);
    let v: serde_json::Value = serde_json::from_str(&lines[0]).unwrap();
    assert_eq!(v["run"], 2);
    let out = run(
        &[
            "rank",
            "--json",
            "--no-next",
            "samples/all-good.run",
            "no/such.run",
        ],
        b"",
    );
    assert_eq!(out.status.code(), Some(0), "one of two could be read");
    assert!(text(&out.stdout).lines().any(|l| l.contains("\"error\"")));
}

#[test]
fn schema_and_boards_can_be_printed() {
    let out = run(&["schema"], b"");
    let v: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    assert_eq!(v["title"], "RankingView");
    let out = run(&["board", "list"], b"");
    assert!(text(&out.stdout).contains("dunlin-64") && text(&out.stdout).contains("64k-6510-wide"));
}

#[test]
fn colour_only_when_asked_for() {
    let plain = text(&run(&["rank", "samples/over-voltage.run"], b"").stdout);
    assert!(!plain.contains('\x1b'));
    let coloured = text(
        &run(
            &["rank", "--color", "always", "samples/over-voltage.run"],
            b"",
        )
        .stdout,
    );
    assert!(coloured.contains('\x1b'));
    assert_eq!(
        plain,
        anstream::adapter::strip_str(&coloured).to_string(),
        "colour says nothing that words do not"
    );
}

#[test]
fn read_says_what_it_understood() {
    let out = run(&["read", "samples/one-memory-bit.run"], b"");
    assert_eq!(out.status.code(), Some(0));
    assert!(text(&out.stdout).contains("memory bit 3 bad"));
    let out = run(&["read", "--json", THREE_NONSENSE], b"");
    let v: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    assert_eq!(v["not_understood"].as_array().unwrap().len(), 3);
}

/// A folder with the shipped maps, to be changed.
fn own_maps() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    for kind in ["parts", "boards"] {
        let to = dir.path().join(kind);
        std::fs::create_dir(&to).unwrap();
        let from = std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("faultmaps")
            .join(kind);
        for file in std::fs::read_dir(from).unwrap() {
            let file = file.unwrap().path();
            std::fs::copy(&file, to.join(file.file_name().unwrap())).unwrap();
        }
    }
    dir
}

#[test]
fn maps_of_ones_own_add_to_the_shipped_ones() {
    let dir = own_maps();
    let board = dir.path().join("boards/dunlin-64.yaml");
    let map = std::fs::read_to_string(&board).unwrap();
    let own = map.replacen("board: dunlin-64", "board: dunlin-65", 1);
    std::fs::write(dir.path().join("boards/own.yaml"), &own).unwrap();
    let maps = dir.path().to_str().unwrap();
    let sheet = b"board dunlin-65; memory bit 3 bad; rest fine";
    let out = run(&["rank", "--no-next", "--maps", maps, "-"], sheet);
    assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
    assert!(text(&out.stdout).contains("M3"));
    assert_eq!(
        run(&["rank", "--no-next", "-"], sheet).status.code(),
        Some(2),
        "not a shipped board"
    );
    // Every mistake is told, with the file.
    let broken = own.replace("family: keyboard-unit", "family: keybord-unit");
    std::fs::write(dir.path().join("boards/own.yaml"), broken).unwrap();
    let out = run(&["rank", "--maps", maps, "-"], sheet);
    assert_eq!(out.status.code(), Some(2));
    let told = text(&out.stderr);
    assert!(
        told.contains("own.yaml") && told.contains("did you mean"),
        "{told}"
    );
    let out = run(&["board", "list", "--maps", "/no/such/folder"], b"");
    assert_eq!(out.status.code(), Some(2));
}

#[test]
fn a_file_of_json_lines_is_read_as_a_stream() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("machines.jsonl");
    let lines = b"{\"name\":\"a\",\"sheet\":\"board dunlin-64; memory bit 3 bad; rest fine\"}\n\nnonsense\n";
    std::fs::write(&file, lines).unwrap();
    let path = file.to_str().unwrap();
    let named = run(&["rank", "--json", "--no-next", path], b"");
    let piped = run(&["rank", "--json", "--no-next", "-"], lines);
    let told = |out: &Output| -> Vec<serde_json::Value> {
        let lines = text(&out.stdout);
        lines
            .lines()
            .map(|l| serde_json::from_str(l).unwrap())
            .collect()
    };
    let (named_told, piped_told) = (told(&named), told(&piped));
    assert_eq!(named_told.len(), 2);
    assert_eq!(named_told[0], piped_told[0]);
    assert_eq!(named_told[0]["suspects"][0]["unit"], "M3");
    // A message says which file and line.
    let wrong = format!("{path} line 3");
    assert_eq!(named_told[1]["sheets"][0], wrong);
    assert!(text(&named.stderr).contains(&format!("{wrong}: not a machine")));
    let gone = dir.path().join("gone.jsonl");
    let out = run(&["rank", gone.to_str().unwrap()], b"");
    assert_eq!(out.status.code(), Some(2));
    assert!(text(&out.stderr).contains("no such file"));
}

/// Reasons that were not asked for are not worked out of estimates: two rankings a line would take minutes.
#[test]
fn a_ranking_by_estimates_gives_no_reasons_unasked() {
    let pins = [
        1, 2, 3, 5, 7, 9, 10, 12, 14, 19, 20, 22, 24, 27, 28, 29, 30, 32, 34, 35, 37, 38, 40,
    ];
    let levels: String = pins.map(|p| format!("U7.{p} floating\n")).concat();
    let text = format!(
        "board 64k-6510-wide\nblack screen\nU1.6 floating\nU1.9 high\nU6.8 floating\n{levels}"
    );
    let out = run(&["rank", "--json", "--no-next", "-"], text.as_bytes());
    let v: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    assert!(v["unexplored_mass"].as_f64().unwrap() > 0.0);
    let reasons = |v: &serde_json::Value| v["suspects"][0]["evidence"].as_array().unwrap().len();
    assert_eq!(reasons(&v), 0);
    let out = run(
        &["rank", "--json", "--no-next", "-"],
        b"board 64k-6510-wide\nvoice 2 silent\n",
    );
    let v: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    assert_eq!(v["unexplored_mass"].as_f64(), Some(0.0));
    assert!(reasons(&v) > 0);
}

/// What was lost of a sheet is told with the steps as well: one of them may say to put it right first.
#[test]
fn steps_are_told_with_the_lines_that_were_not_understood() {
    let sheet = "board dunlin-64\ncame in faulty\nmemory bit 3 bad\nframble the wotsit\n";
    let shown = text(&run(&["next", "-"], sheet.as_bytes()).stdout);
    let told = shown.split("Not understood").nth(1);
    assert!(
        told.is_some_and(|t| t.contains("line   4  framble the wotsit")),
        "{shown}"
    );
    let without = sheet.replace("framble the wotsit\n", "");
    let shown = text(&run(&["next", "-"], without.as_bytes()).stdout);
    assert!(!shown.contains("Not understood"), "{shown}");
}
