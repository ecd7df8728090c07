//! The repair note: every format of every sample as it is now, JSON by its schema, Markdown by a CommonMark parser.

mod note_support;

use note_support::{leaves, ticket_note};
use proptest::prelude::*;
use pulldown_cmark::{Event, Options, Parser, Tag, TagEnd};
use std::path::Path;
use whichsocket::note::markdown::{Place, escape};
use whichsocket::note::{Note, html, markdown, text};

fn sample(path: &Path) -> Note {
    let name = format!("samples/{}", path.file_name().unwrap().to_string_lossy());
    ticket_note(&name, &std::fs::read(path).unwrap())
}

/// Numbers to as many digits as their priors earn, so that a snapshot does not change with the last bit.
fn rounded(value: &mut serde_json::Value) {
    match value {
        serde_json::Value::Number(n) => {
            if let Some(x) = n.as_f64().filter(|x| x.fract() != 0.0) {
                *value = serde_json::json!((x * 1000.0).round() / 1000.0);
            }
        }
        serde_json::Value::Array(all) => all.iter_mut().for_each(rounded),
        serde_json::Value::Object(all) => all.values_mut().for_each(rounded),
        _ => {}
    }
}

fn validator() -> jsonschema::Validator {
    let schema = serde_json::to_value(schemars::schema_for!(Note)).unwrap();
    jsonschema::validator_for(&schema).unwrap()
}

#[test]
fn samples_in_every_format() {
    let validator = validator();
    insta::glob!("../samples", "note-*.ticket", |path| {
        let note = sample(path);
        let plain = text::render(&note);
        for line in plain.lines() {
            assert!(
                textwrap::core::display_width(line) <= text::WIDTH,
                "wider than 80 columns: {line}"
            );
            assert!(line.trim_end() == line, "blanks at the end: {line:?}");
        }
        insta::assert_snapshot!("text", plain);
        let md = markdown::render(&note);
        assert_eq!(
            parsed(&md),
            leaves(&note),
            "the parser reads something else"
        );
        insta::assert_snapshot!("markdown", md);
        insta::assert_snapshot!("html", html::render(&note));
        let mut json = serde_json::to_value(&note).unwrap();
        let wrong: Vec<String> = validator
            .iter_errors(&json)
            .map(|e| e.to_string())
            .collect();
        assert!(wrong.is_empty(), "not as the schema says: {wrong:?}");
        rounded(&mut json);
        insta::assert_json_snapshot!("json", json);
    });
}

#[test]
fn the_schema_can_tell_wrong_from_right() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples/note-memory.ticket");
    let mut json = serde_json::to_value(sample(&path)).unwrap();
    assert!(validator().is_valid(&json));
    json["glance"]["status"] = serde_json::json!("splendid");
    assert!(!validator().is_valid(&json));
}

#[test]
fn run_sheets_are_tickets_too() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples");
    for name in [
        "all-good.run",
        "five-memory-bits.run",
        "keyboard-unplugged.run",
        "typed-in-haste.run",
    ] {
        let note = sample(&root.join(name));
        assert_eq!(parsed(&markdown::render(&note)), leaves(&note), "{name}");
        assert_eq!(
            note.keys.is_some(),
            name == "keyboard-unplugged.run",
            "{name}"
        );
        assert_eq!(
            note.memory.is_some(),
            ["five-memory-bits.run", "typed-in-haste.run"].contains(&name),
            "{name}"
        );
    }
}

/// Everything that means something to Markdown or HTML, at places where it means it.
const NASTY: &str = r#"ticket 0499
board dunlin-64
came in faulty
complaint # not *a* heading, _not_ **bold**, <b>not</b> a tag & not &amp; an entity
complaint > not a quote | not | a | table
history 1. not a list
history 1) nor this
history - nor this
history + or this
history === or this ---
history \* a backslash, \\ two, \| with a bar, at the end \
note ```not code``` and `not this` ~~nor that~~ <!-- nor a comment -->
note [not](http://example.invalid) a link, ![nor](a) picture, [^1] nor a footnote, - [ ] nor a task
note $not$ mathematics, costs $5 or $6; "quotes" 'and' such; &#35; &copy; R&D
photo a|b.jpg caption with | and *stars* and <i>
memory bit 3 bad
4000 wrote 55 read 5D
blorp | *what* <script>alert(1)</script> | `x` \
rest fine
replaced M3: cured
old part M3 4264 | *bad* <b> \
"#;

#[test]
fn what_people_type_shows_as_typed() {
    let note = ticket_note("nasty", NASTY.as_bytes());
    assert_eq!(parsed(&markdown::render(&note)), leaves(&note));
    let page = html::render(&note);
    assert!(page.contains("&lt;script&gt;alert(1)&lt;/script&gt;") && !page.contains("<script"));
    assert!(text::render(&note).contains("<script>alert(1)</script>"));
}

/// The leaf blocks of a Markdown text as the parser sees them: kind and text. Anything but text and strong is an error.
fn parsed(md: &str) -> Vec<(&'static str, String)> {
    let options = Options::ENABLE_TABLES
        | Options::ENABLE_STRIKETHROUGH
        | Options::ENABLE_FOOTNOTES
        | Options::ENABLE_TASKLISTS
        | Options::ENABLE_MATH;
    let mut out: Vec<(&'static str, String)> = Vec::new();
    let mut quoted = false;
    for event in Parser::new_ext(md, options) {
        match event {
            Event::Start(Tag::Heading { level, .. }) => {
                out.push((["h1", "h2", "h3"][level as usize - 1], String::new()))
            }
            Event::Start(Tag::Paragraph) => {
                out.push((if quoted { "quote" } else { "p" }, String::new()))
            }
            Event::Start(Tag::BlockQuote(_)) => quoted = true,
            Event::End(TagEnd::BlockQuote(_)) => quoted = false,
            Event::Start(Tag::Item) => out.push(("li", String::new())),
            Event::Start(Tag::TableCell) => out.push(("cell", String::new())),
            Event::Start(Tag::CodeBlock(_)) => out.push(("code", String::new())),
            Event::Text(t) => out
                .last_mut()
                .expect("text stands in a block")
                .1
                .push_str(&t),
            Event::Start(
                Tag::Strong | Tag::List(_) | Tag::Table(_) | Tag::TableHead | Tag::TableRow,
            )
            | Event::End(_) => {}
            other => panic!("{other:?} in\n{md}"),
        }
    }
    out
}

fn nasty_text() -> impl Strategy<Value = String> {
    let signs = prop::sample::select(
        r##"\`*_{}[]()<>#+-.!|~$&;:=^"'aB1 "##
            .chars()
            .collect::<Vec<_>>(),
    );
    let bit = prop_oneof![
        8 => signs.prop_map(String::from),
        1 => prop::sample::select(vec!["&amp;", "RES_N", "1.", "http://a.b", "<b>", "```", "é", "\t"]).prop_map(String::from),
    ];
    prop::collection::vec(bit, 0..24).prop_map(|v| v.concat())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2_000, ..ProptestConfig::default() })]

    #[test]
    fn any_text_comes_out_of_the_parser_as_it_went_in(typed in nasty_text()) {
        let shown = typed.split_whitespace().collect::<Vec<_>>().join(" ");
        let contexts = [
            ("p", escape(&typed, Place::Start)),
            ("li", format!("- {}", escape(&typed, Place::Start))),
            ("quote", format!("> {}", escape(&typed, Place::Start))),
            ("h2", format!("## {}", escape(&typed, Place::Heading))),
        ];
        prop_assume!(!shown.is_empty());
        for (kind, md) in contexts {
            prop_assert_eq!(parsed(&md), vec![(kind, shown.clone())], "{}", md);
        }
        let label = format!("**A:** {}", escape(&typed, Place::Inside));
        prop_assert_eq!(parsed(&label), vec![("p", format!("A: {shown}"))], "{}", label);
        let table = format!("| a | b |\n| - | - |\n| {} | z |\n", escape(&typed, Place::Cell));
        let cells: Vec<String> = parsed(&table).into_iter().map(|c| c.1).collect();
        prop_assert_eq!(cells, vec!["a".into(), "b".into(), shown.clone(), "z".into()], "{}", table);
    }
}

fn whichsocket(args: &[&str]) -> std::process::Output {
    let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_whichsocket"));
    command
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(args)
        .output()
        .unwrap()
}

#[test]
fn the_command_writes_files_and_refuses_plainly() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("0431.html");
    let ticket = "samples/note-memory.ticket";
    let done = whichsocket(&[
        "note",
        ticket,
        "--format",
        "html",
        "-o",
        file.to_str().unwrap(),
    ]);
    assert_eq!((done.status.code(), done.stdout.len()), (Some(0), 0));
    let bytes = std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join(ticket)).unwrap();
    assert_eq!(
        std::fs::read_to_string(file).unwrap(),
        html::render(&ticket_note(ticket, &bytes))
    );

    let missing = whichsocket(&["note", "samples/no-such.ticket"]);
    assert_eq!(missing.status.code(), Some(2));
    assert!(
        String::from_utf8(missing.stderr)
            .unwrap()
            .contains("samples/no-such.ticket: no such file")
    );
    let no_folder = whichsocket(&["note", ticket, "-o", "/no/such/folder/note.txt"]);
    assert_eq!(no_folder.status.code(), Some(2));
    assert!(
        String::from_utf8(no_folder.stderr)
            .unwrap()
            .contains("cannot be written")
    );

    let schema: serde_json::Value =
        serde_json::from_slice(&whichsocket(&["schema", "note"]).stdout).unwrap();
    let json: serde_json::Value =
        serde_json::from_slice(&whichsocket(&["note", ticket, "--format", "json"]).stdout).unwrap();
    assert!(jsonschema::validator_for(&schema).unwrap().is_valid(&json));
}

/// A line that was cut off, and one that was struck, count for nothing; the note tells the first.
#[test]
fn cut_off_and_struck_lines() {
    let note = ticket_note(
        "t",
        b"board dunlin-64\nmemory bit 3 bad\nmemory bit 5 bad\nundo\nrest fine\nmemory bit 6 b",
    );
    let memory = note.memory.as_ref().unwrap();
    let bad: Vec<u8> = memory
        .bits
        .iter()
        .filter(|b| b.bad)
        .map(|b| b.bit)
        .collect();
    assert_eq!(bad, [3]);
    let cut = note
        .doubts
        .iter()
        .find(|d| d.text == "memory bit 6 b")
        .unwrap();
    assert!(cut.doubt.contains("cut off"));
}

/// What a remedy changed follows from the readings before and after it.
#[test]
fn what_a_remedy_changed() {
    use whichsocket::note::model::Verdict;
    let verdict = |before: &str, done: &str, after: &str| {
        let sheet =
            format!("board dunlin-64\n{before}\nrest fine\n{done}\nnew run\n{after}\nrest fine\n");
        ticket_note("t", sheet.as_bytes()).remedies[0].verdict
    };
    assert_eq!(
        verdict("memory bit 3 bad", "replaced M3", "memory ok"),
        Verdict::Fixed
    );
    assert_eq!(
        verdict(
            "memory bit 3 bad; voice 2 bad",
            "replaced M3",
            "voice 2 bad"
        ),
        Verdict::PartlyFixed
    );
    assert_eq!(
        verdict("memory bit 3 bad", "replaced L7", "memory bit 3 bad"),
        Verdict::NeverTheFault
    );
    assert_eq!(
        verdict("memory bit 3 bad", "replaced M3", "voice 2 bad"),
        Verdict::NewFault
    );
    assert_eq!(
        verdict("memory bit 3 bad", "swapped M3, M5", "memory bit 5 bad"),
        Verdict::Moved
    );
    assert_eq!(
        verdict(
            "memory bit 3 bad",
            "replaced L7: no change",
            "memory bit 3 bad"
        ),
        Verdict::NeverTheFault
    );
    assert_eq!(
        verdict(
            "memory bit 3 bad",
            "swapped M3: fault moved",
            "memory bit 5 bad"
        ),
        Verdict::Moved
    );
}

/// Every line of the shipped tickets is understood, but for those that show what happens to one that is not.
#[test]
fn shipped_tickets_are_understood() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples");
    let mut tickets: Vec<_> = ["", "closed", "batch"]
        .iter()
        .flat_map(|d| std::fs::read_dir(root.join(d)).unwrap())
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e == "ticket"))
        .collect();
    tickets.sort();
    assert!(tickets.len() >= 8, "{tickets:?}");
    for path in tickets {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        let note = ticket_note(&name, &std::fs::read(&path).unwrap());
        let lost: Vec<&str> = note
            .doubts
            .iter()
            .filter(|d| {
                use whichsocket::note::model::DoubtKind;
                matches!(d.kind, DoubtKind::NotUnderstood | DoubtKind::Remark)
            })
            .map(|d| d.text.as_str())
            .collect();
        let meant: &[&str] = match name.as_str() {
            "note-keys.ticket" => &["keybord plug looks fine to me"],
            _ => &[],
        };
        assert_eq!(lost, meant, "{name}");
    }
}

/// The bad part of a note is the one that was taken out, not the one that is in its place.
#[test]
fn the_note_names_the_part_that_was_bad() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples");
    let note = sample(&root.join("0402.ticket"));
    let leader = &note.course.suspects[0];
    assert_eq!(
        (leader.unit.as_str(), leader.part.as_deref()),
        ("M3, old part", Some("4164-20"))
    );
    assert!(
        note.glance.wrong.contains("4164-20") && !note.glance.wrong.contains("4164-15"),
        "{}",
        note.glance.wrong
    );
    assert_eq!(note.parts[0].part.as_deref(), Some("4164-15"));
}

const HEAD: &str = "ticket 1\nboard dunlin-64\ncame in faulty\nmemory bit 3 bad\nrest fine\n";

/// However a ticket ends, a limit of the supply that still stands is said at the top.
#[test]
fn a_closed_ticket_keeps_switch_off() {
    for end in [
        "closed: used for parts",
        "closed: sent out, cause unknown",
        "closed: cured and proved",
        "note open",
    ] {
        let note = ticket_note("t", format!("{HEAD}rail +5V 5.9 V\n{end}\n").as_bytes());
        let stop = note.glance.stop.as_deref().unwrap_or_default();
        assert!(stop.contains("5.9 V"), "{end}: {stop}");
        assert_eq!(
            stop.contains("test each before"),
            end.ends_with("parts"),
            "{stop}"
        );
        assert!(
            note.cautions
                .iter()
                .any(|c| c.contains("Every chip on that rail"))
        );
    }
    let right = ticket_note("t", format!("{HEAD}rail +5V 5.9 V\nswapped SUPPLY\nnew run\nrail +5V 5.02 V\nclosed: used for parts\n").as_bytes());
    assert_eq!(right.glance.stop, None);
    // The rail is right again; the chips stood on it all the same.
    let saw = right.cautions.join(" ");
    assert!(
        saw.contains("past its limit: rail +5V reads 5.9 V"),
        "{saw}"
    );
    assert!(saw.contains("Every chip on that rail"), "{saw}");
    let hot = ticket_note("t", format!("{HEAD}M5 too hot to touch\n").as_bytes());
    assert!(
        hot.cautions.iter().any(|c| c.contains("M5 got hot")),
        "{:?}",
        hot.cautions
    );
}

/// Clean loops prove nothing when it failed since the last remedy, nor on a board that must stay off.
#[test]
fn what_failed_since_or_must_stay_off_is_not_proved() {
    let cured = "swapped M3: cured\nnew run\n";
    let proof =
        |more: &str| ticket_note("t", format!("{HEAD}memory bit 3 bad\n{more}").as_bytes()).proof;
    let clean = proof(&format!("{cured}test ok in 0 of 40 loops when warm\n"));
    assert!(clean.proved, "{}", clean.said);
    let again = proof(&format!(
        "{cured}test bad in 2 of 5 loops when warm\ntest ok in 0 of 40 loops when warm\n"
    ));
    assert!(!again.proved && again.failed_again, "{}", again.said);
    let after = proof(&format!(
        "{cured}test bad in 2 of 5 loops when warm\nreseated M3: cured\nnew run\ntest ok in 0 of 40 loops when warm\n"
    ));
    assert!(after.proved, "{}", after.said);
    let off = proof(&format!(
        "{cured}rail +5V 5.9 V\ntest ok in 0 of 40 loops when warm\n"
    ));
    assert!(!off.proved && off.said.contains("stay off"), "{}", off.said);
}

/// A machine that came back: the note tells its earlier end, and what was wrong in the end.
#[test]
fn a_reopened_machine_tells_its_last_fault() {
    let text = format!(
        "{HEAD}swapped M3: cured\nproved M3 dead\nclosed: cured and proved\nreopened\nnew run\nmemory bit 3 bad\nrest fine\n\
         swapped L7: cured\nnew run\ntest ok in 0 of 12 loops\nproved L7 line 4 dead\nclosed: cured and proved\n"
    );
    let note = ticket_note("t", text.as_bytes());
    assert!(
        note.glance.wrong.starts_with("L7 line 4 dead"),
        "{}",
        note.glance.wrong
    );
    assert_eq!(note.machine.ends.len(), 3, "{:?}", note.machine.ends);
    let open = ticket_note(
        "t",
        format!("{HEAD}swapped M3: cured\nproved M3 dead\nclosed: cured and proved\nreopened\n")
            .as_bytes(),
    );
    assert!(
        !open.glance.wrong.starts_with("M3 dead"),
        "{}",
        open.glance.wrong
    );
    assert!(open.glance.next.is_some());
}

/// Parts that changed places were not used up, and a part that was tried may have gone out again.
#[test]
fn parts_used_are_those_that_were() {
    let moved = ticket_note(
        "t",
        format!("{HEAD}swapped M3, M4: fault moved\n").as_bytes(),
    );
    assert!(moved.parts.is_empty(), "{:?}", moved.parts);
    assert_eq!(
        moved.remedies[0].what,
        "Exchanged M3 and M4 with each other"
    );
    let tried = ticket_note("t", format!("{HEAD}swapped M3: no change\n").as_bytes());
    assert!(
        tried.parts[0].origin.contains("not said whether it stayed"),
        "{:?}",
        tried.parts
    );
    let unsaid = ticket_note("t", format!("{HEAD}cooled M3\n").as_bytes());
    assert!(
        unsaid
            .glance
            .done
            .contains("Not said what came of it: cooled M3"),
        "{}",
        unsaid.glance.done
    );
    let nowhere = ticket_note("t", format!("{HEAD}resoldered J99: cured\n").as_bytes());
    assert!(
        !nowhere.glance.done.contains("fixed"),
        "{}",
        nowhere.glance.done
    );
}

/// What only says that nothing was said is no remark; what was left out is a doubt.
#[test]
fn marks_of_the_session_are_no_remarks() {
    let text = format!(
        "{HEAD}note nothing known of its past\nnote otherwise fitted as the map says\nnote supply not measured by itself\n\
         note end of the first look\nnote smells of tea\nskip Measure rail +12V\n"
    );
    let note = ticket_note("t", text.as_bytes());
    let remarks: Vec<&str> = note.said.iter().map(|s| s.text.as_str()).collect();
    assert_eq!(remarks, ["smells of tea"]);
    let doubts: Vec<&str> = note.doubts.iter().map(|d| d.doubt.as_str()).collect();
    assert!(doubts.contains(&"skipped: Measure rail +12V"), "{doubts:?}");
    assert!(
        doubts.contains(&"the supply was not measured by itself"),
        "{doubts:?}"
    );
    // What was done after all is left out no longer; another thing is.
    let later = format!(
        "{text}skip Put right VR9\nrail +12V 12.0\npsu rail +5V 5.0 off the board\nswapped M3: no change\n"
    );
    let note = ticket_note("t", later.as_bytes());
    let left_out = note.doubts.iter().map(|d| d.doubt.as_str());
    let left_out: Vec<&str> = left_out
        .filter(|d| d.contains("skipped") || d.contains("by itself"))
        .collect();
    assert_eq!(left_out, ["skipped: Put right VR9"]);
}

/// A part that was tried and went out again is told as that; the one that is in is of the type that it was.
#[test]
fn a_part_that_went_back_is_told() {
    let text = format!(
        "{}swapped L7: cured\nfitted L7 74HCT245\nput back L7\nnew run\nmemory bit 3 bad\nrest fine\n",
        HEAD.replace("memory", "fitted L7 74LS245N\nmemory")
    );
    let note = ticket_note("t", text.as_bytes());
    let origin = &note.parts[0].origin;
    assert!(
        origin.ends_with("tried, the old part went back"),
        "{origin}"
    );
    let back = note.remedies.last().unwrap();
    assert!(
        back.what.starts_with("Put the old part back into L7"),
        "{}",
        back.what
    );
    assert_eq!(back.verdict_said, "as it was before");
    let leader = &note.course.suspects[0];
    assert_eq!(
        (leader.unit.as_str(), leader.part.as_deref()),
        ("L7", Some("74LS245N"))
    );
    let unchanged = format!("{HEAD}swapped L7: no change\nput back L7\n");
    let note = ticket_note("t", unchanged.as_bytes());
    assert!(
        !note.parts[0].origin.contains("not said whether"),
        "{}",
        note.parts[0].origin
    );
}

/// The note ranks with the rates that the session used, and says so.
#[test]
fn the_note_takes_the_bench_s_own_rates() {
    let ticket = "samples/note-sound.ticket";
    let json = |more: &[&str]| -> serde_json::Value {
        let args: Vec<&str> = ["note", ticket, "--format", "json"]
            .iter()
            .chain(more)
            .copied()
            .collect();
        let out = whichsocket(&args);
        assert_eq!(
            out.status.code(),
            Some(0),
            "{}",
            String::from_utf8_lossy(&out.stderr)
        );
        serde_json::from_slice(&out.stdout).unwrap()
    };
    let (plain, own) = (json(&[]), json(&["--tickets", "samples/closed"]));
    assert!(plain["course"]["rates"].is_null());
    assert_eq!(own["course"]["rates"]["tickets"], 1);
    assert_ne!(plain["course"]["suspects"], own["course"]["suspects"]);
    let text = whichsocket(&["note", ticket, "--tickets", "samples/closed"]).stdout;
    assert!(
        String::from_utf8(text)
            .unwrap()
            .contains("this bench's own failure rates")
    );
}

/// No replacement is recommended that the supply of the board or the room under the keyboard forbids.
#[test]
fn advice_minds_supply_and_height() {
    let sound = ticket_note(
        "t",
        b"board 64k-6510-wide\nsound dead\nrest fine\nreplaced U18: cured\n",
    );
    let advice = sound.advice.iter().find(|a| a.socket == "U18").unwrap();
    let forbidden = advice
        .not
        .iter()
        .find(|t| t.part == "8580")
        .expect("a 9 V part on a 12 V board");
    assert!(
        forbidden.conditions[0].contains("needs 9 V") && forbidden.conditions[0].contains("12 V")
    );
    assert!(
        advice
            .may
            .iter()
            .any(|t| t.part == "6581" && t.conditions.iter().any(|c| c.contains("470 pF")))
    );

    // A regulator of another voltage is no replacement, though it is of the same family.
    let regulator = ticket_note(
        "t",
        b"board 64k-6510-wide\nrail +12V 17.6 V\nreplaced VR1: cured\n",
    );
    let advice = regulator.advice.iter().find(|a| a.socket == "VR1").unwrap();
    assert!(
        advice
            .not
            .iter()
            .any(|t| t.part == "7805" && t.conditions[0].contains("12 V"))
    );
    assert!(advice.may.iter().any(|t| t.part == "7812"));

    let tones = ticket_note(
        "t",
        b"board dunlin-64\nsound dead\nrest fine\nreplaced T1: cured\n",
    );
    let advice = tones.advice.iter().find(|a| a.socket == "T1").unwrap();
    // 4.2 + 6.2 + 4.2 + 4.0 = 18.6 mm under a keyboard that leaves 17.
    let high = advice
        .not
        .iter()
        .find(|t| t.part == "8912")
        .expect("too high");
    assert!(
        high.conditions[0].contains("= 18.6 mm") && high.conditions[0].contains("1.6 mm too much")
    );
}
