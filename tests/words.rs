//! Words of a bench's own: another language, names of parts, and asking for them once.

use std::io::Write;
use std::process::{Command, Output, Stdio};

use whichsocket::sheet::{Vocabulary, parse_with, print_statement};

const GERMAN: &str = include_str!("words/german.yaml");

/// What is typed, and what it says.
const LINES: &[(&str, &str)] = &[
    ("Auftrag 0412", "ticket 0412"),
    ("Speicher Bit 3 defekt", "memory bit 3 bad"),
    (
        "speicher bits 0-2 defekt",
        "memory bit 0 bad | memory bit 1 bad | memory bit 2 bad",
    ),
    ("4000 schrieb 55 las 5D", "$4000 wrote 55 read 5D"),
    ("Bild schwarz", "picture black"),
    ("kein Bild", "picture dead"),
    ("Tasten tot Q W E", "key Q dead | key W dead | key E dead"),
    ("Tastatur in Ordnung", "keyboard ok"),
    ("Stimme 2 fehlt", "voice 2 dead"),
    ("Uhr 1 steht", "clock 1 stopped"),
    ("+5V 4,98", "rail +5V 4.98 V"),
    ("+5V zu niedrig", "rail +5V low"),
    ("U17 zu heiß", "U17 too hot"),
    ("Tonbaustein heiß", "U18 hot"),
    ("Sicherung F1 durchgebrannt", "fuse F1 dead"),
    ("U17 getauscht: keine Änderung", "swapped U17: no change"),
    ("U18 leer", "empty U18"),
    ("alles andere gut", "rest fine"),
    ("memory bit 3 bad", "memory bit 3 bad"),
];

/// Words that turn a meaning around do so in the other language, too.
const REFUSED: &[&str] = &[
    "Speicher nicht defekt",
    "vielleicht U17 heiß",
    "Tonbaustein ist nicht heiß",
];

#[test]
fn another_language_is_a_file() {
    let words = Vocabulary::with(GERMAN).expect("the words");
    for (line, expected) in LINES {
        let sheet = parse_with("german", line.as_bytes(), &words).expect("a text");
        let said: Vec<String> = sheet
            .statements()
            .map(|s| print_statement(&s.value))
            .collect();
        assert_eq!(said.join(" | "), *expected, "{line}");
        assert!(
            sheet.lines.iter().all(|l| l.not_understood.is_none()),
            "{line}"
        );
    }
    for line in REFUSED {
        let sheet = parse_with("german", line.as_bytes(), &words).expect("a text");
        assert_eq!(sheet.statements().count(), 0, "{line}");
    }
}

fn run(args: &[&str], input: &str) -> Output {
    let mut child = Command::new(env!("CARGO_BIN_EXE_whichsocket"))
        .args(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program");
    let sent = child
        .stdin
        .take()
        .expect("its input")
        .write_all(input.as_bytes());
    // What ends without reading its input may be gone before it is sent.
    if let Err(e) = sent {
        assert_eq!(e.kind(), std::io::ErrorKind::BrokenPipe, "{e}");
    }
    child.wait_with_output().expect("its end")
}

#[test]
fn a_name_is_asked_for_once_and_remembered() {
    let dir = tempfile::tempdir().expect("a folder");
    let (sheet, words) = (dir.path().join("a.run"), dir.path().join("mine.yaml"));
    std::fs::write(
        &sheet,
        "board dunlin-64\nnoise box hot\nnoise box too hot to touch\n",
    )
    .expect("written");
    let (sheet, words) = (
        sheet.to_str().expect("a name"),
        words.to_str().expect("a name"),
    );
    let before = run(&["read", "--words", words, sheet], "");
    let told = String::from_utf8_lossy(&before.stderr).into_owned();
    assert!(
        told.contains("[unknown-name]") && told.contains("name u17: noise box"),
        "{told}"
    );
    let asked = run(&["read", "--words", words, "--ask", sheet], "T1\n");
    let (out, err) = (
        String::from_utf8_lossy(&asked.stdout),
        String::from_utf8_lossy(&asked.stderr),
    );
    assert_eq!(err.matches("which position is that").count(), 1, "{err}");
    assert!(
        out.contains("= T1 hot") && out.contains("= T1 too hot"),
        "{out}"
    );
    let again = run(&["read", "--words", words, "--ask", sheet], "");
    assert!(
        !String::from_utf8_lossy(&again.stderr).contains("which position"),
        "asked once only"
    );
    let ranked = run(
        &["rank", "--no-next", "--json", "--words", words, sheet],
        "",
    );
    let v: serde_json::Value = serde_json::from_slice(&ranked.stdout).expect("JSON");
    assert_eq!(v["not_understood"].as_array().expect("a list").len(), 0);
}

#[test]
fn words_stand_in_the_folder_of_maps_too() {
    let dir = tempfile::tempdir().expect("a folder");
    std::fs::create_dir(dir.path().join("words")).expect("made");
    std::fs::write(dir.path().join("words/german.yaml"), GERMAN).expect("written");
    let maps = dir.path().to_str().expect("a name");
    let out = run(&["read", "--maps", maps, "-"], "Speicher Bit 3 defekt");
    assert!(String::from_utf8_lossy(&out.stdout).contains("= memory bit 3 bad"));
    std::fs::write(dir.path().join("words/german.yaml"), "memroy: speicher\n").expect("written");
    let out = run(&["read", "--maps", maps, "-"], "x");
    assert_eq!(out.status.code(), Some(2));
    let told = String::from_utf8_lossy(&out.stderr).into_owned();
    assert!(
        told.contains("line 1") && told.contains("did you mean `memory`"),
        "{told}"
    );
}

/// Every part of every shipped board that a hand can be laid on is typed by its bare name.
#[test]
fn every_position_is_typed_by_its_name() {
    use whichsocket::sheet::{Statement, parse};
    let library = whichsocket::shipped::Library::open(None).unwrap();
    let mut quoted = Vec::new();
    let mut count = 0;
    for (board, _) in library.list() {
        let model = library.board(&board).unwrap();
        for position in &model.positions {
            // These two are the picture and the sound.
            if ["VIDEO", "AUDIO"].contains(&&*position.name) {
                continue;
            }
            let line = format!("swapped {}: no change", position.name);
            let sheet = parse("line", line.as_bytes()).unwrap();
            let said: Vec<_> = sheet.statements().map(|s| &s.value).collect();
            count += 1;
            // What is outside the board goes by what it is, by whatever name of the map.
            let outside = ["SUPPLY", "KEYBOARD", "CARTRIDGE", "CABLE", "MAINS"];
            let right = matches!(&said[..], [Statement::HandsOn(h)]
                if h.places.len() == 1
                    && (h.places[0].name.eq_ignore_ascii_case(&position.name)
                        || position.outside && outside.contains(&&*h.places[0].name)));
            if !right {
                quoted.push(format!("{board} {}: {said:?}", position.name));
            }
        }
    }
    assert!(quoted.is_empty(), "{}", quoted.join("\n"));
    assert!(count > 300, "{count}");
}

/// Every leg of every part, and every rail in volts and ohms: the plan asks for any of them by these names.
#[test]
fn every_leg_and_every_rail_is_typed_by_its_name() {
    use whichsocket::sheet::{State, Statement, Subject, parse};
    let library = whichsocket::shipped::Library::open(None).unwrap();
    let said = |line: &str| -> Vec<Statement> {
        let sheet = parse("line", line.as_bytes()).unwrap();
        sheet.statements().map(|s| s.value.clone()).collect()
    };
    let (mut lost, mut count) = (Vec::new(), 0);
    for (board, _) in library.list() {
        let model = library.board(&board).unwrap();
        for position in model.positions.iter().filter(|p| !p.outside) {
            let name = match ["VIDEO", "AUDIO"].contains(&&*position.name) {
                true => continue,
                false => &position.name,
            };
            for pin in &position.pins {
                let line = format!("{name}.{} floating", pin.label);
                let read = said(&line);
                count += 1;
                let right = matches!(&read[..], [Statement::Finding(f)]
                    if f.state == State::Floating
                        && matches!(&f.subject, Subject::Level(p) if p.name.eq_ignore_ascii_case(name)
                            && p.pin.as_deref().is_some_and(|l| l.eq_ignore_ascii_case(&pin.label))));
                if !right {
                    lost.push(format!("{board} {line}: {read:?}"));
                }
            }
        }
        for rail in model.rails.keys() {
            for line in [
                format!("rail {rail} 4.9 V"),
                format!("resistance {rail} 318 ohm"),
            ] {
                let read = said(&line);
                count += 1;
                let named = |n: &String| n.trim_start_matches('+') == rail.trim_start_matches('+');
                let right = matches!(&read[..], [Statement::Finding(f)]
                    if matches!(&f.subject, Subject::Rail(n) | Subject::Resistance(n) if named(n)));
                if !right {
                    lost.push(format!("{board} {line}: {read:?}"));
                }
            }
        }
    }
    assert!(lost.is_empty(), "{}", lost.join("\n"));
    assert!(count > 3000, "{count}");
}
