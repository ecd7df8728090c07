//! `board check`: seeded mistakes are found at their place, shipped maps have none, the figures follow their definitions.

use std::collections::BTreeMap;
use std::path::Path;
use whichsocket::boardcheck::{Checked, MapText, check, code};
use whichsocket::diag::render;
use whichsocket::faultmap::load::texts;

fn shipped_texts() -> Vec<MapText> {
    let mut errors = Vec::new();
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("faultmaps");
    let list = texts(&dir, &mut errors);
    assert!(errors.is_empty(), "{errors:?}");
    list.into_iter()
        .map(|(file, text)| MapText {
            file: file.rsplit_once("faultmaps/").unwrap().1.to_string(),
            text,
            asked: true,
        })
        .collect()
}

#[test]
fn shipped_maps_have_no_mistake_and_no_warning() {
    let texts = shipped_texts();
    let checked = check(&texts, &BTreeMap::new());
    let told: Vec<String> = checked
        .findings
        .iter()
        .map(|f| {
            render(
                std::slice::from_ref(&f.diag),
                &texts[f.file].file,
                &texts[f.file].text,
                false,
            )
        })
        .collect();
    assert!(
        told.is_empty(),
        "{} findings\n{}",
        told.len(),
        told.join("\n")
    );
    let boards: Vec<&str> = checked.boards.iter().map(|b| b.board.as_str()).collect();
    assert!(
        boards.contains(&"dunlin-64") && boards.contains(&"64k-6510-wide"),
        "{boards:?}"
    );
    for b in &checked.boards {
        let all_given = b.reasons.values().all(|r| r.len() > 10);
        assert!(
            all_given,
            "{}: a reason is a sentence: {:?}",
            b.board, b.reasons
        );
    }
}

/// A mistake put into a map that was right.
struct Seed {
    /// What kind of mistake.
    name: &'static str,
    /// What stands in the map, once.
    old: &'static str,
    /// What is put there instead.
    new: &'static str,
    /// The text of the map, after the change, at whose beginning the message must point.
    mark: &'static str,
    code: &'static str,
    /// Words of the message.
    says: &'static str,
    /// Words of the hint, where one can be given.
    hint: &'static str,
}

const fn seed(
    name: &'static str,
    [old, new, mark]: [&'static str; 3],
    code: &'static str,
    says: &'static str,
    hint: &'static str,
) -> Seed {
    Seed {
        name,
        old,
        new,
        mark,
        code,
        says,
        hint,
    }
}

const SEEDS: &[Seed] = &[
    seed(
        "a family that is not there",
        [
            "  P1:\n    family: processor-6502",
            "  P1:\n    family: processor-6503",
            "processor-6503",
        ],
        code::NAME,
        "no part family 'processor-6503'",
        "did you mean 'processor-6502'?",
    ),
    seed(
        "a misspelt key",
        [
            "role: operating system ROM, E000-FFFF\n    socket",
            "role: operating system ROM, E000-FFFF\n    sokcet",
            "sokcet",
        ],
        code::KEY,
        "'sokcet' is no key of the map format here",
        "did you mean 'socket'?",
    ),
    seed(
        "a key with a letter too many",
        [
            "role: data bit 2 of main memory, socket: true",
            "role: data bit 2 of main memory, sockets: true",
            "sockets: true",
        ],
        code::KEY,
        "'sockets' is no key of the map format here",
        "did you mean 'socket'?",
    ),
    seed(
        "a text where a list belongs",
        ["mains: [50]\n", "mains: 50\n", "50\nlayout"],
        code::KEY,
        "a list is expected here",
        "square brackets",
    ),
    seed(
        "a name of two words",
        ["board: dunlin-64", "board: dunlin 64", "dunlin 64"],
        code::MEANING,
        "the name 'dunlin 64' is not one word",
        "hyphens",
    ),
    seed(
        "a range with a hyphen",
        [
            "pins: +5V MD0..7 GND D7..0 RAMRD_N +5V",
            "pins: +5V MD0-7 GND D7..0 RAMRD_N +5V",
            "+5V MD0-7 GND",
        ],
        code::MEANING,
        "several are written A0..7, not as MD0-7",
        "",
    ),
    seed(
        "rows read by the port of the columns",
        [
            "  reads: \"scan-in.#\"",
            "  reads: \"A1.port-a.#\"",
            "\"A1.port-a.#\"",
        ],
        code::MEANING,
        "row 0: trouble on line KR0 does not reach 'A1.port-a.0'",
        "name the function that works line KR0",
    ),
    seed(
        "columns without the keyboard unit",
        [
            "  drives: \"scan-out.#\"",
            "  drives: \"A1.port-a.#\"",
            "\"A1.port-a.#\"",
        ],
        code::MEANING,
        "no key shows a fault of KB",
        "KB.column.#",
    ),
    seed(
        "a key left out",
        ["  R2:\n    family: rom-27128", "  R2:", "R2:"],
        code::KEY,
        "'family' is missing",
        "family: …",
    ),
    seed(
        "a yes that is no true",
        [
            "role: data bit 4 of main memory, socket: true",
            "role: data bit 4 of main memory, socket: yes",
            "yes",
        ],
        code::KEY,
        "",
        "",
    ),
    seed(
        "a pin too few",
        [
            "pins: PHI2 PHI2_N RW READ_N DE DE_N",
            "pins: PHI2 PHI2_N RW READ_N DE",
            "PHI2 PHI2_N RW READ_N DE GND",
        ],
        code::MEANING,
        "13 lines for the 14 pins",
        "",
    ),
    seed(
        "a check that reads a line too many",
        [
            "reads: R1.read D0..7@0.5",
            "reads: R1.read D0..8@0.5",
            "D0..8@0.5",
        ],
        code::NAME,
        "'D8' is no function of the board, no line and no position",
        "did you mean",
    ),
    seed(
        "a weight above 1",
        ["A1.clock D1.limit@0.2", "A1.clock D1.limit@2", "D1.limit@2"],
        code::MEANING,
        "the weight after @ is a number from 0 to 1",
        "",
    ),
    seed(
        "a function that the part has not",
        [
            "needs: P1.execute R1.read",
            "needs: P1.excute R1.read",
            "P1.excute",
        ],
        code::NAME,
        "'excute' is neither a pin nor a function of the part",
        "did you mean 'execute'?",
    ),
    seed(
        "limits out of order",
        ["nominal: 5.0, low: 4.75", "nominal: 5.0, low: 5.75", "5.75"],
        code::MEANING,
        "limits of rail +5V are out of order",
        "low <= nominal",
    ),
    seed(
        "a rail on no line",
        ["9VAC: {line: AC_F", "9VAC: {line: AC_G", "AC_G"],
        code::NAME,
        "no pin is on line 'AC_G'",
        "",
    ),
    seed(
        "a measuring point of no line",
        ["\n  LOAD_N: {", "\n  LAOD_N: {", "LAOD_N"],
        code::NAME,
        "no pin is on line 'LAOD_N'",
        "did you mean 'LOAD_N'?",
    ),
    seed(
        "a measuring point on another line",
        [
            "what: 16 MHz oscillator, at: X1.8",
            "what: 16 MHz oscillator, at: X1.7",
            "X1.7",
        ],
        code::MEANING,
        "'X1.7' is on line GND, not on CLK16",
        "",
    ),
    seed(
        "a measuring point on no pin",
        [
            "what: line sync, at: V1.39",
            "what: line sync, at: V1.49",
            "V1.49",
        ],
        code::NAME,
        "V1 has no such pin",
        "the pins of V1 are 1 to 40",
    ),
    seed(
        "a key twice in the matrix",
        ["[ESC, \"1\", Q, A,", "[ESC, \"1\", Q, Q,", "Q, Q,"],
        code::MEANING,
        "key 'Q' stands twice",
        "",
    ),
    seed(
        "a row too few in the matrix",
        [
            "COLON, RSHIFT, EQUALS, HASH, RUBOUT]",
            "COLON, RSHIFT, EQUALS, HASH]",
            "[SLASH",
        ],
        code::MEANING,
        "column 6 has 7 keys for 8 rows",
        "where there is none",
    ),
    seed(
        "another name of no key",
        ["ENTER: RETURN", "ENTER: RETRUN", "RETRUN"],
        code::NAME,
        "'RETRUN' is no key",
        "did you mean 'RETURN'?",
    ),
    seed(
        "a word for nothing",
        ["fuse: F1\n", "fuse: F11\n", "F11"],
        code::NAME,
        "'F11' is no position, line or number",
        "did you mean 'F1'?",
    ),
    seed(
        "a memory bit too few",
        ["{bits: M0..7, width: 1", "{bits: M0..6, width: 1", "M0..6"],
        code::MEANING,
        "7 positions of 1 bits are no 8 bits",
        "",
    ),
    seed(
        "a flow through no pin",
        [
            "pins: CSYNC SYNC_J, flow: 1>2",
            "pins: CSYNC SYNC_J, flow: 1>3",
            "1>3",
        ],
        code::MEANING,
        "'1>3' is not of the form 1>2",
        "",
    ),
    seed(
        "a bracket that is not closed",
        [
            "pins: AC_SW AC_F, flow: 1>2}",
            "pins: AC_SW AC_F, flow: 1>2",
            "",
        ],
        code::SYNTAX,
        "this is no YAML",
        "brackets",
    ),
    seed(
        "a socket that is there twice",
        [
            "  R2:\n    family",
            "  R1:\n    family",
            "R1:\n    family: rom-27128\n    type: \"27128\"\n    role: language",
        ],
        code::KEY,
        "duplicate",
        "",
    ),
    seed(
        "a function that nothing uses",
        [
            "  # --- sound and ports\n",
            "  left-over: {needs: C7.path}\n",
            "left-over",
        ],
        code::UNUSED,
        "no check depends on function 'left-over'",
        "unused_because",
    ),
    seed(
        "a line that nothing uses",
        ["pins: GND RDY - IRQ_N", "pins: GND RDY LOST IRQ_N", "LOST"],
        code::UNUSED,
        "depends on line 'LOST' (P1 pin 3)",
        "unused_because",
    ),
    seed(
        "a text cut by a number sign",
        [
            "what: \"data bit # of main memory\"",
            "what: data bit # of main memory",
            "",
        ],
        code::SYNTAX,
        "",
        "",
    ),
    seed(
        "a type that the family has not",
        [
            "family: processor-6502\n    type: \"6502\"",
            "family: processor-6502\n    type: \"6592\"",
            "\"6592\"",
        ],
        code::NAME,
        "type '6592' is not among those of family processor-6502",
        "did you mean '6502'?",
    ),
    seed(
        "known by what it has not",
        [
            "known_by: 6502 6845 8910",
            "known_by: 6502 6545 8910",
            "6545",
        ],
        code::NAME,
        "'6545' is no type of a part of this board",
        "did you mean '6845'?",
    ),
    seed(
        "a reason for what is used",
        [
            "\nwords:\n",
            "\nunused_because: {PHI2: nobody needs a clock}\nwords:\n",
            "PHI2: nobody",
        ],
        code::REASON,
        "'PHI2' is used",
        "take it out",
    ),
    seed(
        "two rails at once",
        [
            "measure: F1.2 D2.2, order: 2",
            "measure: F1.2 D2.2, order: 1",
            "1, at_plug: true, source: guess for an invented",
        ],
        code::MEANING,
        "have the same place in the order of measuring",
        "",
    ),
];

/// Line and column from 1.
fn place(text: &str, at: usize) -> (usize, usize) {
    let start = text[..at].rfind('\n').map_or(0, |n| n + 1);
    (
        text[..at].matches('\n').count() + 1,
        text[start..at].chars().count() + 1,
    )
}

fn with(texts: &[MapText], file: &str, old: &str, new: &str) -> (Vec<MapText>, usize) {
    let mut texts = texts.to_vec();
    let index = texts.iter().position(|t| t.file == file).unwrap();
    let text = &mut texts[index].text;
    assert_eq!(
        text.matches(old).count(),
        1,
        "{old:?} must stand in {file} once"
    );
    *text = text.replace(old, new);
    (texts, index)
}

fn found(checked: &Checked, texts: &[MapText], file: usize) -> Vec<(usize, usize, String, String)> {
    let of_file = checked.findings.iter().filter(|f| f.file == file);
    of_file
        .map(|f| {
            let at = f
                .diag
                .label
                .as_ref()
                .map_or((0, 0), |(s, _)| place(&texts[file].text, s.start));
            let said = format!("[{}] {}", f.diag.code, f.diag.message);
            (at.0, at.1, said, f.diag.help.clone().unwrap_or_default())
        })
        .collect()
}

/// How a part is from leg to leg can be said of two legs, of transistors and switches only.
#[test]
fn a_chip_has_no_across() {
    let mode = "low: {what: always reads 0, low: cell, share: 13";
    let new = "low: {what: always reads 0, low: cell, across: open, share: 13";
    let (texts, _) = with(&shipped_texts(), "parts/memory-4164.yaml", mode, new);
    let checked = check(&texts, &BTreeMap::new());
    let told: Vec<&str> = checked
        .findings
        .iter()
        .map(|f| f.diag.message.as_str())
        .collect();
    assert!(
        told.iter().any(|t| t.contains("a part of two legs")),
        "{told:?}"
    );
}

#[test]
fn seeded_mistakes_are_found_at_their_place() {
    let board = "boards/dunlin-64.yaml";
    // The other boards have no part in it, and each takes as long as this one.
    let mut good = shipped_texts();
    good.retain(|t| !t.file.starts_with("boards/") || t.file == board);
    let mut wrong = Vec::new();
    // Two seeds break the text so that the reader's place counts: it must be the line of the change.
    for s in SEEDS {
        let (texts, index) = with(&good, board, s.old, s.new);
        let checked = check(&texts, &BTreeMap::new());
        let all = found(&checked, &texts, index);
        let text = &texts[index].text;
        let start = text.find(s.new).unwrap();
        let at = match s.mark {
            "" => start,
            mark => {
                let from = start.saturating_sub(200);
                from + text[from..]
                    .find(mark)
                    .unwrap_or_else(|| panic!("{mark} after {}", s.new))
            }
        };
        let want = place(text, at);
        let fits = |f: &&(usize, usize, String, String)| {
            let in_place = match s.mark {
                "" => (want.0..=want.0 + 1).contains(&f.0),
                _ => (f.0, f.1) == want,
            };
            in_place
                && f.2.contains(&format!("[{}]", s.code))
                && f.2.contains(s.says)
                && f.3.contains(s.hint)
        };
        if !all.iter().any(|f| fits(&f)) {
            wrong.push(format!(
                "{} (wanted {want:?} [{}] {}; {}):\n  {all:#?}",
                s.name, s.code, s.says, s.hint
            ));
        }
    }
    // Told, but not yet in the right place or with the best hint: these are known.
    let newer = [
        "a key with a letter too many",
        "a text where a list belongs",
        "a name of two words",
        "a range with a hyphen",
        "a measuring point on no pin",
        "rows read by the port of the columns",
        "columns without the keyboard unit",
    ];
    let missed = |name: &&str| wrong.iter().any(|w: &String| w.starts_with(*name));
    let missed: Vec<&str> = newer.iter().copied().filter(|n| missed(n)).collect();
    assert!(missed.is_empty(), "{missed:?}\n{}", wrong.join("\n"));
    let right = SEEDS.len() - wrong.len();
    println!(
        "{right} of {} mistakes told in their place with the hint",
        SEEDS.len()
    );
    assert!(
        right >= 20,
        "{right} of {}\n{}",
        SEEDS.len(),
        wrong.join("\n")
    );
    assert!(SEEDS.len() >= 20);
}

/// The map to copy is what it says it is, and what is missing in it is told once.
#[test]
fn the_map_to_copy_has_no_mistake_and_what_it_lacks_is_told_once() {
    let path = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/samples/own/boards/pipit-8.yaml"
    );
    let good = std::fs::read_to_string(path).unwrap();
    let said = |text: &str| -> Vec<String> {
        let text = MapText {
            file: "pipit-8.yaml".into(),
            text: text.into(),
            asked: true,
        };
        let base = whichsocket::shipped::maps().unwrap().families;
        let checked = check(std::slice::from_ref(&text), &base);
        checked
            .findings
            .iter()
            .map(|f| f.diag.message.clone())
            .collect()
    };
    assert_eq!(said(&good), Vec::<String>::new());
    let without = |old: &str, new: &str| {
        assert_eq!(good.matches(old).count(), 1, "{old}");
        said(&good.replace(old, new))
    };
    assert_eq!(
        without(", order: 1, at_plug", ", at_plug"),
        ["'order' is missing"]
    );
    assert_eq!(
        without("  drives: \"scan-out.#\"", "# "),
        ["'drives' is missing"]
    );
    assert_eq!(
        without("\nrails:\n", "\nrail:\n"),
        [
            "'rail' is no key of the map format here",
            "'rails' is missing"
        ]
    );
}
