//! Whole sessions of five invented machines of an invented workshop, from intake to closed ticket, word by word.
//!
//! Every answer is what the true fault shows on the board map: measurements and checks are answered from the map
//! (`bench_support::machine`), and what was typed at the first look is checked against it here.

mod bench_support;

use bench_support::machine::{Machine, Technician};
use bench_support::{Memory, Script, session};
use whichsocket::bench::Ended;
use whichsocket::bench::answer::{Understood, prompt, understand};
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
    assert_eq!(
        (ticket.board().as_deref(), ticket.intake()),
        (Some("dunlin-64"), None)
    );
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
    assert!(text.ends_with("reopened\n"), "{text}");
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
