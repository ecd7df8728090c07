//! Whole sessions of five invented machines of an invented workshop, from intake to closed ticket, word by word.
//!
//! Every answer is what the true fault shows on the board map: measurements and checks are answered from the map
//! (`bench_support::machine`), and what was typed at the first look is checked against it here.

mod bench_support;

use bench_support::machine::{Machine, Technician};
use bench_support::{Memory, Script, session};
use whichsocket::bench::Ended;
use whichsocket::bench::answer::{Understood, prompt, understand};
use whichsocket::bench::proof::{is_proved, standing};
use whichsocket::infer::network::Outcome as Seen;
use whichsocket::learn::tickets::unit_of;
use whichsocket::next::Ask;
use whichsocket::observe::{Evidence, observe};
use whichsocket::sheet::{Outcome, Statement, print_statement};
use whichsocket::shipped::Library;
use whichsocket::ticket::compare::{Verdict, compare};
use whichsocket::ticket::{Status, Ticket};

const MACHINES: [(&str, Machine); 5] = [
    (
        "memory-chip",
        Machine {
            board: "dunlin-64",
            unit: "M3",
            mode: "always reads 1",
            intake: &[
                "faulty",
                "wrong letters after the start",
                "school cellar, ten years",
                "",
                "+5V 5.1, 9VAC 10.4",
            ],
            first_look: &["memory bit 3 stuck high", "rest fine"],
            own_way: &["why"],
            loops: &["0 of 3 cold", "0 of 10 warm"],
        },
    ),
    (
        "logic-array",
        Machine {
            board: "64k-6510-wide",
            unit: "U17",
            mode: "all outputs dead",
            intake: &["faulty", "black screen", "", "", ""],
            first_look: &["picture black"],
            own_way: &["skip", "undo", "did U17 hot"],
            loops: &["0 of 8"],
        },
    ),
    (
        "keyboard-plug",
        Machine {
            board: "dunlin-64",
            unit: "J3",
            mode: "plug loose or the wrong way round",
            intake: &[
                "faulty",
                "no key does anything",
                "dropped in the yard",
                "",
                "",
            ],
            first_look: &["keyboard dead", "key BREAK dead", "rest fine"],
            own_way: &[
                "note looked at it with the cover off",
                "photo j3.jpg plug half out",
            ],
            loops: &["0 of 6"],
        },
    ),
    (
        "clock-gate",
        Machine {
            board: "dunlin-64",
            unit: "L10",
            mode: "gate 4 dead",
            intake: &["works please check", "", "", "", "+5V 5.05"],
            first_look: &["both clocks stopped", "rest fine"],
            own_way: &["more"],
            loops: &["0 of 8"],
        },
    ),
    (
        "warm-memory",
        Machine {
            board: "64k-6510-wide",
            unit: "U11",
            mode: "fails when warm or when slow access is marginal",
            intake: &["faulty", "stops after a quarter of an hour", "", "", ""],
            first_look: &["memory bit 5 bad in 4 of 20 loops when warm", "rest fine"],
            own_way: &[],
            loops: &["0 of 9 warm", "0 of 7 warm"],
        },
    ),
];

/// What was typed before the cure agrees with the map: a failing check is one in which the fault shows, a passing one is not
/// one in which it always shows.
fn agrees_with_the_map(name: &str, machine: &Machine, ticket: &Ticket, technician: &Technician) {
    let model = Library::open(None).unwrap().board(machine.board).unwrap();
    let observed = observe(&model, std::slice::from_ref(&ticket.sheet));
    let (mut failing, cured) = (
        0,
        ticket.hands_on().iter().map(|(e, _)| e.line).max().unwrap(),
    );
    for reading in observed.readings.iter().filter(|r| r.line < cured) {
        let Evidence::Check(c) = &reading.evidence else {
            continue;
        };
        let strength = c
            .effects
            .iter()
            .find(|e| e.0 == technician.mode)
            .map_or(0.0, |e| e.1);
        match c.outcome {
            Seen::Pass => assert!(
                strength < 0.98,
                "{name}: '{}' passes, but the fault shows in it",
                reading.text
            ),
            _ => {
                failing += 1;
                assert!(
                    strength > 0.0,
                    "{name}: '{}' fails, but the fault does not show in it",
                    reading.text
                );
            }
        }
    }
    assert!(failing > 0, "{name}: nothing failed");
}

#[test]
fn five_machines_from_intake_to_closed_ticket() {
    let library = Library::open(None).unwrap();
    for (name, machine) in &MACHINES {
        let model = library.board(machine.board).unwrap();
        let mut technician = Technician::new(machine, &model);
        let mut store = Memory::default();
        let ended = session(&mut store, &mut technician, None).unwrap();
        assert_eq!(ended, Ended::Closed, "{name}\n{}", technician.dialogue);
        let text = String::from_utf8(store.bytes).unwrap();
        let ticket = Ticket::parse(name, text.as_bytes()).unwrap();
        assert_eq!(
            ticket.status(),
            Status::Closed(Outcome::CuredProved),
            "{name}"
        );
        assert!(
            ticket.sheet.diags.is_empty(),
            "{name}: {:?}",
            ticket.sheet.diags
        );
        let proved: Vec<Option<usize>> =
            ticket.proved().iter().map(|p| unit_of(&model, p)).collect();
        let truth = model.units.iter().position(|u| u.name == machine.unit);
        assert_eq!(proved, [truth], "{name}: {:?}", ticket.proved());
        agrees_with_the_map(name, machine, &ticket, &technician);
        // The run after the last remedy says that it was fixed.
        let changes = compare(&model, &ticket);
        assert_eq!(
            changes.last().map(|c| c.verdict),
            Some(Verdict::Fixed),
            "{name}: {changes:?}"
        );
        for line in technician.dialogue.lines() {
            let prompt = line.contains("): ") || line.ends_with("):");
            assert!(
                prompt || textwrap::core::display_width(line) <= 80,
                "{name}: wider than 80 columns: {line}"
            );
        }
        insta::assert_snapshot!(format!("{name}-dialogue"), technician.dialogue);
        insta::assert_snapshot!(format!("{name}-ticket"), text);
    }
}

/// Runs a session on a ticket that says this; the dialogue and what the ticket says then.
fn on(ticket: &str, answers: &[&str]) -> (String, String) {
    let mut store = Memory::with(ticket.as_bytes().to_vec());
    let mut script = Script::of(answers);
    session(&mut store, &mut script, None).unwrap();
    (script.dialogue, String::from_utf8(store.bytes).unwrap())
}

const OPEN: &str = "ticket 0402\nboard dunlin-64\ncame in faulty\nmemory bit 3 bad\nrest fine\n";

#[test]
fn answers_that_mean_nothing_are_not_saved() {
    let (dialogue, text) = on(OPEN, &["blorp fnord", "", "did", "quit"]);
    assert_eq!(text, OPEN);
    assert_eq!(
        dialogue.matches("Not understood, not saved").count(),
        3,
        "{dialogue}"
    );
}

#[test]
fn a_skipped_step_is_not_proposed_again_until_that_is_undone() {
    let (first, _) = on(OPEN, &["quit"]);
    let step = |d: &str| {
        d.rsplit("Next\n")
            .next()
            .unwrap()
            .lines()
            .next()
            .unwrap()
            .to_string()
    };
    let (skipped, text) = on(OPEN, &["skip", "quit"]);
    assert_ne!(step(&first), step(&skipped));
    let (undone, _) = on(&text, &["undo", "quit"]);
    assert_eq!(step(&first), step(&undone));
}

#[test]
fn undo_takes_back_what_was_answered_and_leaves_it_in_the_file() {
    let (dialogue, text) = on(
        OPEN,
        &[
            "memory bit 5 bad",
            "undo",
            "undo",
            "undo",
            "undo",
            "undo",
            "undo",
            "quit",
        ],
    );
    assert!(
        dialogue.contains("Struck line 7: memory bit 5 bad"),
        "{dialogue}"
    );
    assert!(
        dialogue.contains("There is no answer to undo."),
        "{dialogue}"
    );
    assert!(
        text.starts_with(OPEN) && text.contains("memory bit 5 bad\nundo\n"),
        "{text}"
    );
    let ticket = Ticket::parse("t", text.as_bytes()).unwrap();
    assert_eq!((ticket.board(), ticket.intake()), (None, None));
    assert_eq!(ticket.id().as_deref(), Some("0402"), "the number stays");
}

/// A board chosen by mistake is no dead end.
#[test]
fn a_wrong_board_is_taken_back() {
    for (typed, came) in [
        ("yes its faulty", "came in faulty"),
        ("w", "works, please check"),
        ("Unknown", "untested"),
    ] {
        let (dialogue, text) = on("", &["0502", "dunlin", typed, "quit"]);
        assert!(text.ends_with(&format!("{came}\n")), "{typed}: {dialogue}");
    }
    let (_, text) = on("", &["0502", "dunlin", "yes", "not faulty", "quit"]);
    assert!(!text.contains("came in"), "{text}");
    let (dialogue, text) = on("", &["0502", "48k", "undo", "dunlin", "f", "quit"]);
    assert!(
        dialogue.contains("Struck line 3: board 48k-z80-ula"),
        "{dialogue}"
    );
    let ticket = Ticket::parse("t", text.as_bytes()).unwrap();
    assert_eq!(ticket.board().as_deref(), Some("dunlin-64"), "{text}");
    assert!(text.ends_with("came in faulty\n"), "{text}");
}

/// What is typed at a question about a part and is no part is taken for what the next screen asks.
#[test]
fn a_question_about_a_part_swallows_nothing() {
    for (typed, kept) in [
        ("0 of 3 warm", "test ok in 0 of 3 loops when warm"),
        ("memory bit 5 bad", "memory bit 5 bad"),
    ] {
        let (dialogue, text) = on(
            OPEN,
            &["swapped M3: cured", "4164 from shelf", typed, "quit"],
        );
        assert!(!text.contains("old part"), "{text}");
        assert!(
            text.ends_with(&format!("origin M3 shelf\nnew run\n{kept}\n")),
            "{text}{dialogue}"
        );
    }
    let (dialogue, text) = on(OPEN, &["swapped M3: cured", "close", "", "cured", "quit"]);
    assert!(!text.contains("fitted"), "{text}");
    assert!(
        text.contains("proved") || dialogue.contains("at fault"),
        "{dialogue}"
    );
}

/// The old part goes back when the new one changed nothing, and is in question again.
#[test]
fn a_part_that_went_back_is_the_one_that_is_read() {
    let model = Library::open(None).unwrap().board("dunlin-64").unwrap();
    let p = |text: &str, name: &str| {
        let ticket = Ticket::parse("t", text.as_bytes()).unwrap();
        let ranking = whichsocket::rank::rank(&model, &[ticket.sheet]).unwrap();
        let of = |s: &&whichsocket::rank::Suspect| s.name == name;
        ranking
            .suspects
            .iter()
            .find(of)
            .map_or(0.0, |s| s.probability)
    };
    // Gone with the new part, there again with the old one: it is the part.
    let both =
        format!("{OPEN}swapped L7: cured\nput back L7\nnew run\nmemory bit 3 bad\nrest fine\n");
    let only = format!("{OPEN}swapped L7: cured\n");
    assert!(
        p(&both, "L7") > 0.9 && p(&both, "L7") > p(&only, "L7"),
        "{} {}",
        p(&both, "L7"),
        p(&only, "L7")
    );
    assert!(p(&both, "L7 (new part)") < 1e-3);
    // Back without a change: what fails afterwards may be a fault of the old one.
    let after = |middle: &str| {
        format!("{OPEN}swapped L7: no change\n{middle}new run\nmemory bit 3 ok\nmemory bit 5 bad\n")
    };
    assert!(
        p(&after("put back L7\n"), "L7") > 10.0 * p(&after(""), "L7"),
        "{} {}",
        p(&after("put back L7\n"), "L7"),
        p(&after(""), "L7")
    );
    // What failed with it in is what another remedy cures.
    let cured = |middle: &str| format!("{OPEN}swapped M3: no change\n{middle}swapped L7: cured\n");
    let (back, stayed) = (cured("put back M3\n"), cured(""));
    assert!(p(&back, "L7") > p(&back, "M3"), "{}", p(&back, "L7"));
    // Or it was the contacts of M3 all the time, which were pushed home as it went back.
    let contacts = |text: &str| p(text, "M3 contacts");
    assert!(contacts(&back) > 0.2 && contacts(&stayed) < 0.01);
    let others = |text: &str| 1.0 - contacts(text);
    let of_others = |text: &str| p(text, "L7") / others(text);
    assert!(
        of_others(&back) > 0.5 && (of_others(&back) - of_others(&stayed)).abs() < 0.05,
        "{} {}",
        of_others(&back),
        of_others(&stayed)
    );
    let (dialogue, text) = on(
        OPEN,
        &[
            "swapped L7: no change",
            "put L7 back",
            "memory bit 3 bad",
            "quit",
        ],
    );
    assert!(dialogue.contains("type 'put back L7'"), "{dialogue}");
    assert_eq!(
        dialogue.matches("Put the old part back").count(),
        1,
        "{dialogue}"
    );
    assert!(
        text.ends_with("swapped L7: no change\nput back L7\nnew run\nmemory bit 3 bad\n"),
        "{text}"
    );
    for typed in [
        "old L7 back in",
        "swapped L7 back",
        "refitted L7",
        "fitted L7 back",
        "L7 old one back in",
        "put the old L7 back",
        "put L7 back in",
    ] {
        let (dialogue, text) = on(OPEN, &["swapped L7: no change", typed, "quit"]);
        assert!(text.ends_with("put back L7\n"), "{typed}: {dialogue}");
    }
    let (_, text) = on(OPEN, &["put L7", "quit"]);
    assert_eq!(text, OPEN);
    // Another part that went back settles nothing about this one.
    let (dialogue, _) = on(
        OPEN,
        &[
            "swapped L7: no change",
            "put back M3",
            "memory bit 3 bad",
            "quit",
        ],
    );
    let asked = dialogue.matches("Put the old part back and type 'put back L7'");
    assert_eq!(asked.count(), 2, "{dialogue}");
}

/// What runs before a part went back is not put down to the part that came back, and proves nothing of it.
#[test]
fn runs_end_where_a_part_went_back() {
    let model = Library::open(None).unwrap().board("dunlin-64").unwrap();
    let changes = |end: &str| {
        let text = format!("{OPEN}{end}");
        compare(&model, &Ticket::parse("t", text.as_bytes()).unwrap())
    };
    let fine = "new run\nmemory ok\nrest fine\n";
    let bad = "new run\nmemory bit 3 bad\nrest fine\n";
    let verdicts = |end: &str| -> Vec<Verdict> { changes(end).iter().map(|c| c.verdict).collect() };
    assert_eq!(
        verdicts(&format!("swapped L7\n{fine}put back L7\n{bad}")),
        [Verdict::Fixed]
    );
    assert_eq!(
        verdicts(&format!("swapped L7\n{fine}{bad}")),
        [Verdict::NeverWasTheFault]
    );
    // Taken back before anything was read: no run tells of it.
    assert_eq!(verdicts(&format!("swapped L7\nput back L7\n{fine}")), []);
    let proved = |end: &str| {
        let ticket =
            Ticket::parse("t", format!("{OPEN}swapped M3: cured\n{end}").as_bytes()).unwrap();
        let ranking = whichsocket::rank::rank(&model, std::slice::from_ref(&ticket.sheet)).unwrap();
        is_proved(&standing(&ticket, &ranking.observed))
    };
    assert!(proved("new run\ntest ok in 0 of 40 loops\n"));
    assert!(!proved("new run\ntest ok in 0 of 40 loops\nput back M3\n"));
}

#[test]
fn after_a_reading_past_its_limit_nothing_powered_is_proposed_until_the_supply_is_right() {
    let (dialogue, text) = on(
        OPEN,
        &[
            "rail +5V 5.9",
            "+5V 5.9",
            "swapped supply: no change",
            "+5V 5.02",
            "quit",
        ],
    );
    let screens: Vec<&str> = dialogue.split("\nticket 0402").skip(1).collect();
    let stopped: Vec<bool> = screens.iter().map(|s| s.contains("SWITCH OFF")).collect();
    assert_eq!(stopped, [false, true, true, true, false], "{dialogue}");
    assert!(text.contains("psu rail +5V 5.02 V"), "{text}{dialogue}");
    assert!(
        screens[1].contains("stay on the low-voltage side"),
        "{dialogue}"
    );
}

#[test]
fn a_closed_ticket_can_be_opened_again() {
    let closed = format!("{OPEN}swapped M3: cured\nproved M3 dead\nclosed: cured and proved\n");
    let (dialogue, text) = on(&closed, &["reopen", "quit"]);
    assert!(
        dialogue.contains("Ticket 0402 closed: cured and proved. At fault: M3 dead."),
        "{dialogue}"
    );
    assert!(text.ends_with("reopened\nnew run\n"), "{text}");
    assert_eq!(on(&closed, &["quit"]).1, closed);
}

#[test]
fn runs_before_and_after_a_remedy_are_compared() {
    let model = Library::open(None).unwrap().board("dunlin-64").unwrap();
    let head = "ticket 1\nboard dunlin-64\ncame in faulty\n";
    for (text, verdict) in [
        (
            "memory bit 3 bad\nrest fine\nswapped M3\nnew run\ntest ok\n",
            Verdict::Fixed,
        ),
        (
            "memory bit 3 bad\nrest fine\nswapped M3\nnew run\nmemory bit 3 bad\nrest fine\n",
            Verdict::NeverWasTheFault,
        ),
        (
            "memory bit 3 bad\nrest fine\nswapped M3 M5\nnew run\nmemory bit 5 bad\nrest fine\n",
            Verdict::Moved,
        ),
        (
            "memory bit 3 bad\nrest fine\nswapped M3\nnew run\nclock 1 stopped\nrest fine\n",
            Verdict::NewFault,
        ),
        (
            "memory bit 3 bad\nmemory bit 5 bad\nrest fine\nswapped M3\nnew run\nmemory bit 5 bad\nrest fine\n",
            Verdict::PartlyFixed,
        ),
        (
            "memory bit 3 bad\nrest fine\nswapped M3\nnew run\nsound ok\n",
            Verdict::NotComparable,
        ),
        // What came and went is not cured by one good look, whatever is said of it; soak says how many it takes.
        (
            "memory bit 3 bad in 1 of 5 loops\nswapped M3: no change\nnew run\nmemory bit 3 ok\n",
            Verdict::NeverWasTheFault,
        ),
        (
            "memory bit 3 bad in 1 of 5 loops\nswapped M3: cured\nnew run\nmemory bit 3 ok\n",
            Verdict::TooEarly,
        ),
        (
            "memory bit 3 bad in 1 of 5 loops\nswapped M3: cured\n",
            Verdict::TooEarly,
        ),
        (
            "memory bit 3 bad in 1 of 5 loops\nswapped M3\nnew run\ntest ok in 0 of 19 loops\n",
            Verdict::TooEarly,
        ),
        (
            "memory bit 3 bad in 1 of 5 loops\nswapped M3\nnew run\ntest ok in 0 of 12 loops\nnew run\ntest ok in 0 of 8 loops\n",
            Verdict::Fixed,
        ),
        // There is no such position: its line says nothing.
        (
            "memory bit 3 bad\nrest fine\nresoldered J99: cured\n",
            Verdict::NotComparable,
        ),
        // 'Rest fine' covers what nobody looked at again; 'no change' was seen.
        (
            "key D dead\nkey F dead\nrest fine\nreseated J3: no change\nnew run\nkey F dead\nrest fine\n",
            Verdict::NeverWasTheFault,
        ),
        (
            "memory bit 3 bad\nrest fine\nswapped M3: cured\n",
            Verdict::Fixed,
        ),
        (
            "memory bit 3 bad\nrest fine\nswapped M3: no change\n",
            Verdict::NeverWasTheFault,
        ),
    ] {
        let ticket = Ticket::parse("t", format!("{head}{text}").as_bytes()).unwrap();
        let changes = compare(&model, &ticket);
        let found: Vec<Verdict> = changes.iter().map(|c| c.verdict).collect();
        assert_eq!(found, [verdict], "{text}{changes:?}");
    }
}

/// Every check that a step may ask for, and every place of a remedy, reads back as what was asked; what a sheet has no word
/// for is asked for otherwise.
#[test]
fn what_a_step_asks_for_can_be_answered_in_a_word() {
    let library = Library::open(None).unwrap();
    for board in ["dunlin-64", "64k-6510-wide"] {
        let model = library.board(board).unwrap();
        let ask_checks = model
            .checks
            .iter()
            .filter(|c| !c.id.starts_with("rail.") && !c.id.starts_with("picture."));
        let mut wordless = Vec::new();
        for check in ask_checks {
            let ask = Ask::Check {
                id: check.id.clone(),
                what: check.what.clone(),
            };
            let Some(subject) = ask.subject() else {
                wordless.push(check.id.as_str());
                continue;
            };
            let Understood::Line(said, _) = understand(Some(&ask), "bad") else {
                panic!("{board}: {} cannot be answered", check.id);
            };
            let [Statement::Finding(f)] = &said[..] else {
                panic!("{board}: {}: {said:?}", check.id);
            };
            assert_eq!(f.subject, subject);
            let line = format!("board {board}\n{}\n", print_statement(&said[0]));
            let sheet = whichsocket::sheet::parse("t", line.as_bytes()).unwrap();
            let observed = observe(&model, &[sheet]);
            assert!(
                observed.read.contains(&check.id) || check.id.starts_with("key."),
                "{board}: {line}"
            );
        }
        assert!(
            wordless
                .iter()
                .all(|id| id.contains(".address.") || whichsocket::observe::memory::shared(id)),
            "{board}: {wordless:?}"
        );
        for unit in 0..model.units.len() {
            let ask = Ask::remedy(&model, unit);
            let asked_so = !prompt(Some(&ask)).starts_with("what it shows now");
            let answered = matches!(understand(Some(&ask), "no change"), Understood::Line(..));
            assert_eq!(asked_so, answered, "{board}: {}", model.units[unit].name);
            let outside = model.positions[model.units[unit].position].outside;
            assert!(
                answered || outside,
                "{board}: {} cannot be answered",
                model.units[unit].name
            );
        }
    }
}

/// A list of failing cells is about the same bit as 'bit 3 bad'; what was not read before is not called new.
#[test]
fn runs_are_compared_by_what_was_read_not_by_how_it_was_typed() {
    let model = Library::open(None).unwrap().board("dunlin-64").unwrap();
    let change = |text: &str| {
        let ticket = Ticket::parse("t", format!("ticket 1\nboard dunlin-64\n{text}").as_bytes());
        compare(&model, &ticket.unwrap()).pop().unwrap()
    };
    let cells = change(
        "4000 wrote 55 read 5D\n4002 wrote 55 read 5D\nrest fine\ntest bad in 9 of 12 loops\nswapped L7: no change\nnew run\n\
         memory bit 3 bad\nrest fine\ntest bad in 5 of 6 loops\n",
    );
    assert!(
        cells.new.is_empty() && cells.first.is_empty() && cells.unread.is_empty(),
        "{cells:?}"
    );
    assert!(cells.still.iter().any(|s| s.contains("bit 3")), "{cells:?}");
    let fixed = change(
        "memory bit 3 bad\nrest fine\ntest bad in 9 of 12 loops\nreplaced M3: cured\nnew run\ntest ok in 0 of 24 loops\n",
    );
    assert!(
        fixed.unread.is_empty() && fixed.gone.contains(&"test".to_string()),
        "{fixed:?}"
    );
    let line = change(
        "keys dead ESC 2\nrest fine\nreseated J3: no change\nnew run\nkeys dead ESC 2\nKR0 low\n",
    );
    assert_eq!((line.new.len(), line.first.len()), (0, 1), "{line:?}");
    for text in cells.still.iter().chain(&line.still) {
        assert!(
            !text.starts_with("cells") && !text.starts_with("keys key"),
            "{text}"
        );
    }
}

/// Past a limit of the supply the intake asks for nothing more: SWITCH OFF stands before any other question, and the look at
/// the machine waits until the supply is right.
#[test]
fn a_supply_past_its_limit_at_intake_stops_everything_else() {
    for volts in ["+5V 6.4", "+5V 7.4"] {
        let (dialogue, text) = on(
            "",
            &[
                "0915",
                "4",
                "faulty",
                "",
                "",
                "",
                volts,
                "no change",
                "+5V 5.02, 9VAC 9.8",
                "picture black",
                "",
                "quit",
            ],
        );
        let after = dialogue.split(&format!("{volts}\n")).nth(1).unwrap();
        let next_prompt = after.find("): ").unwrap();
        assert!(after[..next_prompt].contains("SWITCH OFF"), "{dialogue}");
        assert!(
            !after[..next_prompt].contains("what it shows"),
            "{dialogue}"
        );
        let right = after.split("+5V 5.02, 9VAC 9.8").nth(1).unwrap();
        assert!(right.contains("what it shows"), "{dialogue}");
        assert!(!right.contains("SWITCH OFF"), "{dialogue}");
        assert!(text.contains("picture black"), "{text}");
    }
}

/// One sentence too many at 'came in' is no reading, and the other questions are still asked.
#[test]
fn the_intake_takes_only_what_it_asks_for() {
    let (dialogue, text) = on(
        "",
        &[
            "no change",
            "board 48k-z80-ula",
            "0501",
            "48k",
            "dead, no picture",
            "faulty",
            "no picture",
            "",
            "rail +9V bad",
            "",
            "quit",
        ],
    );
    assert!(text.contains("board 48k-z80-ula"), "{text}");
    assert!(
        !text.contains("picture dead") && !text.contains("rail"),
        "{text}"
    );
    assert!(dialogue.contains("supply by itself"), "{dialogue}");
    assert_eq!(dialogue.matches("Not understood").count(), 4, "{dialogue}");
    assert!(text.starts_with("ticket 0501\n"), "{text}");
}

/// Every answer is repeated as it was kept; what is of no use on this board is said at once; a rail asked for in volts is
/// not answered by a word.
#[test]
fn an_answer_is_repeated_as_it_was_kept_and_says_when_it_is_of_no_use() {
    let (dialogue, text) = on(OPEN, &["no change", "resoldered J99: cured", "quit"]);
    assert!(
        dialogue.contains("Saved: swapped M3: no change"),
        "{dialogue}"
    );
    let told = dialogue
        .split("Saved: resoldered J99: cured")
        .nth(1)
        .unwrap();
    assert!(
        told.contains("Kept, but not used: board dunlin-64 has no position J99"),
        "{dialogue}"
    );
    assert!(!told.contains("J99: fixed"), "{dialogue}");
    assert!(text.ends_with("resoldered J99: cured\n"), "{text}");
    let black = "ticket 1\nboard dunlin-64\ncame in faulty\npicture black\n";
    let (dialogue, text) = on(black, &["bad", "ok", "quit"]);
    assert_eq!(
        dialogue
            .matches("Not understood, not saved: this question takes volts")
            .count(),
        2,
        "{dialogue}"
    );
    assert_eq!(text, black);
}

#[test]
fn what_contradicts_the_same_run_is_said() {
    for (before, answer, contradicts) in [
        ("memory bit 3 high when warm\n", "memory ok", true),
        ("row 2 dead\n", "keyboard ok", true),
        ("memory bit 3 bad\n", "memory bit 5 bad", false),
        ("memory bit 3 bad in 2 of 9 loops\n", "memory ok", false),
        ("rail +5V 4.3\n", "rail +5V 5.0", false),
    ] {
        let head = format!("ticket 1\nboard dunlin-64\ncame in faulty\n{before}");
        let (dialogue, _) = on(&head, &[answer, "quit"]);
        assert_eq!(
            dialogue.contains("Line 4 says"),
            contradicts,
            "{before}{answer}\n{dialogue}"
        );
    }
}

/// Commands are commands at every prompt; what names no unit is not taken for the fault; a cure that loops do not prove is
/// closed only when that was said.
#[test]
fn the_end_of_a_ticket_is_asked_with_care() {
    let cured = format!("{OPEN}swapped M3: cured\n");
    let (_, text) = on(&cured, &["close", "quit"]);
    assert_eq!(text, cured);
    let (_, text) = on(&cured, &["close", "", "undo", "quit"]);
    assert_eq!(text, cured);
    let (dialogue, text) = on(
        &cured,
        &[
            "close",
            "the cat",
            "M3 dead",
            "cured and proved",
            "no",
            "quit",
        ],
    );
    assert!(dialogue.contains("'the cat' names no unit"), "{dialogue}");
    assert!(
        dialogue.contains("Not proved: 5 more clean loops."),
        "{dialogue}"
    );
    assert_eq!(text, cured);
    let (dialogue, text) = on(
        &cured,
        &["close", "M3 dead", "cured and proved", "yes", "quit"],
    );
    assert!(
        text.ends_with("proved M3 dead\nclosed: cured and proved\n"),
        "{text}"
    );
    assert!(dialogue.contains("Not proved by loops: 5"), "{dialogue}");
    // Proved: no question, no doubt.
    let (dialogue, _) = on(
        &format!("{cured}new run\ntest ok in 0 of 5 loops\n"),
        &["close", "", "cured and proved", "quit"],
    );
    assert!(
        dialogue.contains("closed: cured and proved") && !dialogue.contains("Not proved"),
        "{dialogue}"
    );
    // Past a limit of the supply.
    let past = format!("{OPEN}rail +5V 5.9\n");
    let (dialogue, _) = on(&past, &["close", "-", "used for parts", "quit"]);
    let end = dialogue.split("closed: used for parts").nth(1).unwrap();
    assert!(
        end.contains("SWITCH OFF") && end.contains("test each before"),
        "{dialogue}"
    );
}

/// A ticket that came back asks anew what was at fault.
#[test]
fn a_reopened_ticket_asks_again_what_was_at_fault() {
    let text = format!(
        "{OPEN}swapped M3: cured\nnew run\ntest ok in 0 of 5 loops\nproved M3 dead\nclosed: cured and proved\nreopened\nnew run\n\
         memory bit 3 bad\nrest fine\nswapped L7: cured\nnew run\ntest ok in 0 of 12 loops\n"
    );
    let (dialogue, text) = on(
        &text,
        &["close", "L7 line 4 dead", "cured and proved", "quit"],
    );
    assert!(dialogue.contains("at fault ("), "{dialogue}");
    let ticket = Ticket::parse("t", text.as_bytes()).unwrap();
    assert_eq!(ticket.proved(), ["L7 line 4 dead"]);
}

/// What one answer wrote in two lines goes as one.
#[test]
fn undo_takes_the_run_mark_along() {
    let before = format!("{OPEN}swapped M3: no change\n");
    let (dialogue, text) = on(&before, &["memory bit 3 bad", "undo", "quit"]);
    assert!(
        dialogue.contains("memory bit 3 bad") && dialogue.contains(": new run"),
        "{dialogue}"
    );
    let ticket = Ticket::parse("t", text.as_bytes()).unwrap();
    let standing: Vec<_> = ticket
        .standing()
        .filter(|e| !e.says.is_empty())
        .map(|e| e.text.clone())
        .collect();
    assert!(!standing.contains(&"new run".to_string()), "{standing:?}");
    assert!(
        standing.contains(&"swapped M3: no change".to_string()),
        "{standing:?}"
    );
}

/// A remedy without its result is asked for it; two like parts in one line may have changed places.
#[test]
fn a_remedy_without_a_result_is_asked_for_it() {
    let (dialogue, text) = on(OPEN, &["did swapped L7", "no change", "quit"]);
    assert!(dialogue.contains("what came of it"), "{dialogue}");
    assert!(text.ends_with("swapped L7: no change\n"), "{text}");
    let (dialogue, text) = on(OPEN, &["did swapped M3 and M4", "moved", "quit"]);
    assert!(dialogue.contains("changed places"), "{dialogue}");
    assert!(text.contains("swapped M3 M4: fault moved"), "{text}");
    assert!(
        dialogue.contains("M3, now in M4, almost certainly"),
        "{dialogue}"
    );
}

/// Writes a line into the file before one of its answers, as another session would.
struct Meddler<'p> {
    script: Script,
    path: &'p std::path::Path,
    writes: Vec<Option<&'static str>>,
}

impl whichsocket::bench::talk::Talk for Meddler<'_> {
    fn say(&mut self, text: &str) -> std::io::Result<()> {
        self.script.say(text)
    }

    fn ask(&mut self, prompt: &str) -> std::io::Result<Option<String>> {
        if let Some(Some(line)) = (!self.writes.is_empty()).then(|| self.writes.remove(0)) {
            use whichsocket::ticket::store::{FileStore, Store};
            FileStore::new(self.path).append(&[line.to_string()])?;
        }
        self.script.ask(prompt)
    }
}

/// An answer to a screen that another session has made old is not kept for the wrong machine.
#[test]
fn an_answer_to_an_old_screen_is_not_saved() {
    let folder = tempfile::tempdir().unwrap();
    for (other, saved) in [
        ("swapped M3: no change", false),
        ("note tea", true),
        ("memory bit 5 ok", true),
    ] {
        let path = folder.path().join("0402.ticket");
        std::fs::write(&path, OPEN).unwrap();
        let mut store = whichsocket::ticket::store::FileStore::new(&path);
        let mut talk = Meddler {
            script: Script::of(&["memory bit 4 ok", "quit"]),
            path: &path,
            writes: vec![Some(other)],
        };
        session(&mut store, &mut talk, None).unwrap();
        let text = std::fs::read_to_string(&path).unwrap();
        assert!(text.contains(other));
        assert_eq!(
            text.contains("memory bit 4 ok"),
            saved,
            "{other}: {text}\n{}",
            talk.script.dialogue
        );
        assert_eq!(
            talk.script.dialogue.contains("another session wrote"),
            !saved
        );
    }
}

/// The part that was taken out and the one in its place are told apart, and loops are not proposed while the fault shows.
#[test]
fn a_fault_that_shows_still_is_not_soaked() {
    let (dialogue, _) = on(OPEN, &["no change", "memory bit 3 bad", "quit"]);
    assert!(!dialogue.contains("more clean for 95 %"), "{dialogue}");
    let (dialogue, _) = on(OPEN, &["cured", "", "0 of 2 warm", "quit"]);
    assert!(dialogue.contains("3 more clean for 95 %"), "{dialogue}");
    assert!(dialogue.contains("M3, old part"), "{dialogue}");
    // 'Before and after' stands on the screen that has something new to say.
    let (dialogue, _) = on(OPEN, &["no change", "note tea", "note cake", "quit"]);
    assert_eq!(
        dialogue.matches("Before and after").count(),
        1,
        "{dialogue}"
    );
}

/// `undo` strikes the line that was on the screen, never one that another session wrote since.
#[test]
fn undo_leaves_what_another_session_wrote() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("0402.ticket");
    std::fs::write(&path, OPEN).unwrap();
    let mut store = whichsocket::ticket::store::FileStore::new(&path);
    let mut talk = Meddler {
        script: Script::of(&["undo", "undo", "quit"]),
        path: &path,
        writes: vec![Some("memory bit 5 bad")],
    };
    session(&mut store, &mut talk, None).unwrap();
    let dialogue = &talk.script.dialogue;
    assert!(dialogue.contains("Nothing struck"), "{dialogue}");
    // The second one was typed in sight of it.
    assert!(
        dialogue.contains("Struck line 6: memory bit 5 bad"),
        "{dialogue}"
    );
    let text = std::fs::read_to_string(&path).unwrap();
    assert_eq!(text.matches("undo").count(), 1, "{text}");
}

/// With the supply unplugged nobody knows what a remedy did; and a step that is skipped is not proposed again.
#[test]
fn past_a_limit_a_part_is_put_right_without_a_result() {
    let start = "ticket 0402\nboard 64k-6510-wide\ncame in faulty\nrail +12V 15.2 V\n";
    let (dialogue, text) = on(start, &["+5V 5.02, 9VAC 9.1", "skip", "done", "quit"]);
    assert!(dialogue.contains("measure the resistance"), "{dialogue}");
    assert_eq!(
        dialogue.matches("measure the resistance").count(),
        1,
        "{dialogue}"
    );
    assert!(dialogue.contains("(done):"), "{dialogue}");
    assert!(!dialogue.contains("what came of it"), "{dialogue}");
    let last = text.lines().last().unwrap();
    assert!(
        last.starts_with("swapped ") || last.starts_with("replaced "),
        "{text}"
    );
    assert!(!last.contains(':'), "{text}");
    let put_right = dialogue.rfind("Put right").unwrap();
    assert!(
        dialogue[put_right..].contains("Take the socketed chips out"),
        "{dialogue}"
    );
}

/// A fuse that was seen blown is renewed before anything live is measured, by whatever words it was said.
#[test]
fn a_blown_fuse_is_renewed_first() {
    for said in ["fuse F1 blown", "fuse dead"] {
        let start =
            format!("ticket 0402\nboard dunlin-64\ncame in faulty\npicture black\n{said}\n");
        let (dialogue, _) = on(&start, &["skip", "quit"]);
        let screens: Vec<&str> = dialogue.split("\nticket 0402").skip(1).collect();
        assert!(
            screens[0].contains("look for what blew F1"),
            "{said}: {dialogue}"
        );
        assert!(!screens[0].contains("board is live"), "{dialogue}");
        assert!(!screens[1].contains("look for what blew F1"), "{dialogue}");
    }
}

/// A sound socket that came in empty is filled, and what sounded of it before is not held against the part that went in.
#[test]
fn a_part_is_fitted_into_an_empty_socket() {
    for (board, socket, part) in [
        ("64k-6510-wide", "U18", "6581"),
        ("64k-6510-narrow", "U9", "8580"),
        ("dunlin-64", "T1", "8912"),
    ] {
        let start = format!(
            "ticket 0402\nboard {board}\ncame in faulty\nempty {socket}\nsound dead\nrest fine\n"
        );
        let fitted = format!("fitted {socket} {part}");
        let (dialogue, text) = on(
            &start,
            &[&fitted, "sound ok; rest fine", "0 of 20 warm", "quit"],
        );
        let propose = dialogue.contains(&format!("Fit a {part} in {socket}"));
        assert!(
            propose || dialogue.contains(&format!("swapped {socket}")),
            "{dialogue}"
        );
        assert!(
            text.contains(&format!("{fitted}\nnew run\n")) || text.contains("new run"),
            "{text}"
        );
        assert!(!dialogue.contains("slip"), "{dialogue}");
        let ticket = Ticket::parse("t", text.as_bytes()).unwrap();
        let model = Library::open(None).unwrap().board(board).unwrap();
        let changes = compare(&model, &ticket);
        assert_eq!(
            changes.last().map(|c| c.verdict),
            Some(Verdict::Fixed),
            "{text}"
        );
    }
}

/// A word for another question is no result of a swap.
#[test]
fn missing_is_not_no_change() {
    let (_, text) = on(OPEN, &["missing", "quit"]);
    assert!(!text.contains("no change"), "{text}");
}
