//! What the ranking must say of plain cases. The wiring behind the expectations is that of the board maps, which
//! `tests/wiring.rs` holds against the pin tables.

use whichsocket::faultmap::model::Kind;
use whichsocket::infer::network::Outcome;
use whichsocket::observe::Evidence;
use whichsocket::rank::{Ranking, rank};
use whichsocket::sheet::{RunSheet, parse};
use whichsocket::shipped::Library;

fn sheet(text: &str) -> RunSheet {
    let sheet = parse("test", text.as_bytes()).unwrap();
    let lost: Vec<_> = sheet
        .lines
        .iter()
        .filter(|l| l.not_understood.is_some())
        .map(|l| l.number)
        .collect();
    assert!(
        lost.is_empty(),
        "lines {lost:?} of this test are not understood:\n{text}"
    );
    sheet
}

fn ranked(board: &str, text: &str) -> Ranking {
    let model = Library::default().board(board).unwrap();
    rank(&model, &[sheet(text)]).unwrap()
}

fn p(r: &Ranking, name: &str) -> f64 {
    r.suspects
        .iter()
        .find(|s| s.name == name)
        .map_or(0.0, |s| s.probability)
}

fn leader(r: &Ranking) -> &str {
    &r.suspects[0].name
}

const WIDE: &str = "64k-6510-wide";

/// Data bit → socket on the wide board (pin tables of two independent drawings).
const BITS: [&str; 8] = ["U21", "U9", "U22", "U10", "U23", "U11", "U24", "U12"];

#[test]
fn each_memory_bit_accuses_its_socket() {
    for (bit, socket) in BITS.iter().enumerate() {
        let r = ranked(
            WIDE,
            &format!("came in faulty\nmemory bit {bit} bad\nrest fine"),
        );
        assert_eq!(leader(&r), *socket);
        assert!(p(&r, socket) > 0.7, "bit {bit}: {}", p(&r, socket));
    }
}

const NARROW: &str = "64k-6510-narrow";

/// Data bits 0-3 in U10, 4-7 in U11 (pin table of the narrow board).
#[test]
fn four_bits_of_one_socket_accuse_it_as_one_bit_does() {
    for (socket, other, bits) in [
        ("U10", "U11", ["0", "1", "2", "3", "0 2", "0 1 2 3"]),
        ("U11", "U10", ["4", "5", "6", "7", "5 6", "4 5 6 7"]),
    ] {
        for some in bits {
            let r = ranked(
                NARROW,
                &format!("came in faulty\nmemory bits {some} bad\nrest fine"),
            );
            assert_eq!(leader(&r), socket, "bits {some}");
            assert!(p(&r, socket) > 0.7, "bits {some}: {}", p(&r, socket));
            assert!(p(&r, other) < 0.1, "bits {some}: {}", p(&r, other));
        }
    }
}

/// A rail above its limit has a supply or regulator that gives too much, not one that gives nothing: narrow board, Q5 with
/// CR7 (its sound supply, pin table); wide board, VR1.
#[test]
fn a_rail_too_high_accuses_what_can_lift_it() {
    for (board, reading, lift) in [
        (NARROW, "9V_SOUND 14.5 V", vec!["CR7", "Q5"]),
        (WIDE, "12v rail 14.5 V", vec!["VR1"]),
        (WIDE, "5v rail 5.7 V", vec!["ADAPTER"]),
    ] {
        let r = ranked(board, &format!("came in faulty\n{reading}"));
        assert!(
            lift.contains(&leader(&r)),
            "{board} {reading}: {}",
            leader(&r)
        );
        assert!(p(&r, "F1") < 0.1 && p(&r, "SW1") < 0.1, "{board} {reading}");
    }
}

/// A rail past its limit does not stop everything at once: a test that passes does not excuse who makes it.
#[test]
fn what_still_runs_does_not_excuse_the_regulator() {
    let runs = ranked(WIDE, "came in faulty\nrail 12V 17.6 V\nrest fine\n");
    assert_eq!(leader(&runs), "VR1");
    assert!(p(&runs, "VR1") > 0.3, "{}", p(&runs, "VR1"));
}

/// A part that went into a socket which came in empty can be bad itself: what fails then is not explained by the socket.
#[test]
fn a_part_put_into_an_empty_socket_can_be_bad() {
    let r = ranked(
        WIDE,
        "came in faulty\nempty U18\nsound dead\nrest fine\nfitted U18 6581\nnew run\nsound ok\nvoice 2 bad\nrest fine\n",
    );
    assert_eq!(leader(&r), "U18 (new part)");
    let (first, second) = (r.suspects[0].probability, r.suspects[1].probability);
    assert!(first > 3.0 * second, "{first} {second}");
    let explained: Vec<usize> = r
        .explained_by
        .iter()
        .map(|(i, _)| r.observed.readings[*i].line)
        .collect();
    assert!(explained.iter().all(|line| *line == 3), "{explained:?}");
}

/// One socket may hold two ROMs: U4 of the narrow board.
#[test]
fn a_socket_with_two_roms_stands_for_both() {
    let r = ranked(NARROW, "came in faulty\nrom U4 bad\nrest fine");
    assert_eq!(leader(&r), "U4");
    let read = &r.observed.read;
    for id in ["rom.os", "rom.language"] {
        assert!(read.contains(id), "{id} not in {read:?}");
    }
}

#[test]
fn all_bits_bad_accuse_what_they_share() {
    for intake in ["came in faulty", "untested"] {
        for rest in ["", "\nrest fine"] {
            let r = ranked(WIDE, &format!("{intake}\nmemory bits 0-7 bad{rest}"));
            assert!(
                !BITS.contains(&leader(&r)),
                "{intake}{rest}: {}",
                leader(&r)
            );
        }
    }
}

#[test]
fn three_and_five_bad_chips_are_found_as_easily_as_one() {
    for bits in ["0 3 6", "0 2 3 4 7"] {
        let r = ranked(
            WIDE,
            &format!("came in faulty\nmemory bits {bits} bad\nrest fine"),
        );
        for (bit, socket) in BITS.iter().enumerate() {
            let bad = bits.contains(&bit.to_string());
            assert_eq!(
                bad,
                p(&r, socket) > 0.9,
                "bits {bits}: {socket} {}",
                p(&r, socket)
            );
        }
        let others = r
            .suspects
            .iter()
            .filter(|s| !BITS.contains(&s.name.as_str()));
        others.for_each(|s| assert!(s.probability < 0.1, "{} {}", s.name, s.probability));
    }
}

/// Units of the mains tick that both adapters share: dunlin-64, and the wide board from the pin table's tick path.
#[test]
fn both_clocks_stopped_point_at_the_tick() {
    for (board, adapters, path) in [
        (WIDE, ["U1", "U2"], vec!["U27", "CR1", "R5", "R100"]),
        (NARROW, ["U1", "U2"], vec!["U23", "CR6", "R16", "C44"]),
        ("dunlin-64", ["A1", "A2"], vec!["L10", "D1", "W4"]),
    ] {
        let r = ranked(
            board,
            "came in faulty\nboth clocks stopped\ntimers fine\nrest fine",
        );
        let lead = leader(&r)
            .trim_end_matches(" contacts")
            .trim_end_matches(" joints");
        assert!(path.contains(&lead), "{board}: {lead}");
        let on_path: f64 = path
            .iter()
            .map(|u| p(&r, u) + p(&r, &format!("{u} joints")))
            .sum();
        assert!(on_path > 0.4, "{board}: {on_path}");
        for adapter in adapters {
            assert!(p(&r, adapter) < p(&r, leader(&r)), "{board}: {adapter}");
        }
    }
}

#[test]
fn one_clock_stopped_points_at_its_adapter() {
    for (board, adapters) in [(WIDE, ["U1", "U2"]), ("dunlin-64", ["A1", "A2"])] {
        for (i, adapter) in adapters.iter().enumerate() {
            let other = 2 - i;
            let text = format!(
                "came in faulty\nclock {} stopped\nclock {other} ok\ntimers fine\nrest fine",
                i + 1
            );
            let r = ranked(board, &text);
            assert_eq!(leader(&r), *adapter, "{board}");
        }
    }
}

#[test]
fn an_empty_sound_socket_explains_silence() {
    for (board, socket) in [(WIDE, "U18"), ("dunlin-64", "T1")] {
        let head = format!("came in faulty\nempty {socket}\n");
        let with = ranked(board, &format!("{head}no sound\nrest fine"));
        // The same sheet in which the sound was not looked at.
        let without = ranked(board, &format!("{head}not reached: sound\nrest fine"));
        assert!(!with.explained_by.is_empty(), "the report says why");
        for s in with.suspects.iter().filter(|s| s.name != socket) {
            let before = p(&without, &s.name);
            assert!(
                s.probability <= before + 1e-9,
                "{board}: {} rose from {before} to {}",
                s.name,
                s.probability
            );
        }
    }
}

#[test]
fn over_voltage_stops_everything_powered() {
    for board in [WIDE, "dunlin-64"] {
        let model = Library::default().board(board).unwrap();
        let r = rank(
            &model,
            &[sheet("came in faulty\n5v rail 5.9\nblack screen")],
        )
        .unwrap();
        let stop = r
            .observed
            .stop
            .as_ref()
            .expect("5.9 V on a 5 V rail is past any stop limit");
        assert!(stop.remedy.contains("switch off"));
        let next = whichsocket::next::steps(&model, &r);
        assert_eq!(next.len(), 1);
        assert!(
            next[0].step.contains("unplug") && next[0].step.contains("supply by itself"),
            "{}",
            next[0].step
        );
        assert!(next[0].hazard.is_some());
    }
}

#[test]
fn a_high_unregulated_rail_stops_nothing() {
    for (board, text) in [(WIDE, "9V_UNREG 13.5 V"), ("dunlin-64", "12v rail 15.0")] {
        let model = Library::default().board(board).unwrap();
        let name = if board == WIDE { "9V_UNREG" } else { "+12V" };
        let rail = &model.rails[name];
        let volts: f64 = text
            .split_whitespace()
            .find_map(|w| w.parse().ok())
            .unwrap();
        assert!(
            volts > rail.high && volts < rail.stop,
            "the test reads high but within the stop limit: {rail:?}"
        );
        let r = rank(
            &model,
            &[sheet(&format!("came in faulty\n{text}\nblack screen"))],
        )
        .unwrap();
        assert_eq!(r.observed.stop, None);
    }
}

#[test]
fn steps_on_a_dark_board_begin_with_the_rails() {
    let model = Library::default().board(WIDE).unwrap();
    let r = rank(&model, &[sheet("came in faulty\nblack screen")]).unwrap();
    let next = whichsocket::next::steps(&model, &r);
    assert!(next[0].r#where.contains("rail"), "{}", next[0].r#where);
    // Once the rails are read and good, a line or a part may come.
    let rails = "5v ok\n12v ok\n9vac ok\nrails ok";
    let r = rank(
        &model,
        &[sheet(&format!("came in faulty\nblack screen\n{rails}"))],
    )
    .unwrap();
    let next = whichsocket::next::steps(&model, &r);
    assert!(!next[0].r#where.contains("rail"), "{}", next[0].r#where);
}

#[test]
fn a_swap_that_changes_nothing_clears_and_one_that_cures_convicts() {
    let before = ranked(WIDE, "came in faulty\nblack screen");
    let text = |result: &str| {
        format!("came in faulty\nblack screen\nswapped U17 with known good: {result}")
    };
    let cleared = ranked(WIDE, &text("no change"));
    assert!(
        p(&cleared, "U17") < 0.5 * p(&before, "U17"),
        "{} {}",
        p(&cleared, "U17"),
        p(&before, "U17")
    );
    assert!(
        p(&cleared, "U17 (new part)") < 0.05,
        "a known good part is not the next to be accused"
    );
    let cured = ranked(WIDE, &text("cured"));
    assert_eq!(leader(&cured), "U17");
    assert!(p(&cured, "U17") > 0.7, "{}", p(&cured, "U17"));
}

#[test]
fn an_unplugged_keyboard_is_one_fault() {
    for board in [WIDE, "dunlin-64"] {
        let r = ranked(board, "came in faulty\nall keys dead\nrest fine");
        let plug = ["CN1", "KEYBOARD", "J3", "KB"];
        assert!(plug.contains(&leader(&r)), "{board}: {}", leader(&r));
    }
}

/// Codes 33 for 32 differ in bit 0; on the wide board that is U21 (a documented repair ended there).
#[test]
fn a_wrong_character_names_the_bit_and_its_chip() {
    let r = ranked(WIDE, "came in faulty\nshows ! for space");
    assert_eq!(leader(&r), "U21");
}

/// 'Rest fine' clears what was not typed; with a line that was not understood, that line may be it.
#[test]
fn rest_fine_counts_for_less_beside_a_line_that_was_not_understood() {
    let place = |text: &str| {
        let sheet = whichsocket::sheet::parse("t", text.as_bytes()).expect("a sheet");
        let model = whichsocket::shipped::Library::open(None)
            .and_then(|l| l.board("dunlin-64"))
            .expect("shipped");
        let ranking = whichsocket::rank::rank(&model, &[sheet]).expect("possible");
        let of = |s: &&whichsocket::rank::Suspect| s.name == "M3";
        ranking
            .suspects
            .iter()
            .find(of)
            .map_or(0.0, |s| s.probability)
    };
    let head = "board dunlin-64\ncame in faulty\nclock 1 ok\nclock 2 ok\n";
    let sure = place(&format!("{head}rest fine\n"));
    let unsure = place(&format!("{head}mem bit3 bda\nrest fine\n"));
    let open = place(head);
    assert!(
        2.0 * sure < unsure && unsure < open,
        "{sure} {unsure} {open}"
    );
}

/// Two equal chips that change places, and the fault goes along: the chip that came from where it failed has it, and the
/// socket that it left is cleared. One that stays clears the chips.
#[test]
fn an_exchange_of_two_equal_chips_names_the_one_that_took_the_fault_along() {
    let head = "came in faulty\n";
    for (from, to) in [(3, 4), (0, 7), (6, 1)] {
        for rest in ["rest fine\n", ""] {
            for word in [": fault moved", ""] {
                let text = format!(
                    "{head}memory bit {from} bad\n{rest}swapped M{from}, M{to}{word}\nnew run\nmemory bit {to} bad\nmemory bit {from} ok\n{rest}"
                );
                let r = ranked("dunlin-64", &text);
                let culprit = format!("M{from}, now in M{to}");
                assert_eq!(leader(&r), culprit, "{text}");
                assert!(p(&r, &culprit) > 0.9, "{} {text}", p(&r, &culprit));
                for clear in [
                    format!("M{to}"),
                    format!("M{to}, now in M{from}"),
                    format!("M{from} contacts"),
                    format!("M{to} contacts"),
                ] {
                    assert!(p(&r, &clear) < 0.05, "{clear} {} {text}", p(&r, &clear));
                }
            }
        }
        let stays =
            format!("{head}memory bit {from} bad\nrest fine\nswapped M{from}, M{to}: no change\n");
        let r = ranked("dunlin-64", &stays);
        assert!(
            p(&r, &format!("M{from}")) < 0.2,
            "{}",
            p(&r, &format!("M{from}"))
        );
        assert!(p(&r, &format!("M{to}")) < 0.05);
    }
    // Said without a run after it: one of the two, and it is the one where it failed.
    let r = ranked(
        "dunlin-64",
        "came in faulty\nmemory bit 3 bad\nrest fine\nswapped M3 and M4: fault moved\n",
    );
    assert!(p(&r, "M3, now in M4") > 0.9 && p(&r, "M4, now in M3") < 0.05);
    // The socket that holds the bad chip now is worked on next.
    let model = Library::default().board("dunlin-64").unwrap();
    let step = whichsocket::next::steps(&model, &r).swap_remove(0).step;
    assert!(step.contains("M4"), "{step}");
    // And once another chip is in there, nothing is left.
    let r = ranked(
        "dunlin-64",
        "came in faulty\nmemory bit 3 bad\nrest fine\nswapped M3 and M4: fault moved\nnew run\nmemory bit 4 bad\nrest fine\nswapped M4: cured\n",
    );
    let step = whichsocket::next::steps(&model, &r).swap_remove(0).step;
    assert!(
        step.starts_with("Most probably nothing is at fault any more"),
        "{step}"
    );
}

#[test]
fn a_level_clears_only_what_would_have_read_otherwise() {
    let model = Library::default().board(WIDE).unwrap();
    let r = ranked(WIDE, "black screen\nU7.40 high");
    let effects = r
        .observed
        .readings
        .iter()
        .find_map(|x| match &x.evidence {
            Evidence::Check(c) if c.check == "line.RESET_N" => Some(c.effects.clone()),
            _ => None,
        })
        .expect("the reading of the reset line");
    let node = model.node("RESET_N").expect("a line of the map");
    let touches = &model.nodes[node as usize].touches;
    let (mut held_low, mut held_high) = (0, 0);
    for t in touches.iter().filter(|t| t.strength == 1.0) {
        let alone = touches.iter().filter(|o| o.mode == t.mode).count() == 1;
        let Some(&(_, s)) = effects.iter().find(|e| e.0 == t.mode).filter(|_| alone) else {
            continue;
        };
        match t.kind {
            Kind::Low => {
                held_low += 1;
                assert!(s > 0.9, "what holds it low is cleared: {s}");
            }
            Kind::High => {
                held_high += 1;
                assert!(s < 0.1, "what holds it high is not: {s}");
            }
            _ => {}
        }
    }
    assert!(held_low > 0 && held_high > 0, "{held_low} {held_high}");
}

#[test]
fn a_test_that_does_not_run_is_not_a_test_that_failed() {
    let r = ranked(WIDE, "picture normal\ntest does not run");
    let seen: Vec<_> = r
        .observed
        .readings
        .iter()
        .filter_map(|x| match &x.evidence {
            Evidence::Check(c) if c.outcome == Outcome::Fail => Some(c.check.as_str()),
            _ => None,
        })
        .collect();
    assert_eq!(seen, ["report"]);
    assert!(!r.observed.test_ran);
    assert!(
        p(&r, "CARTRIDGE") > p(&r, "U18"),
        "the sound chip has no part in it"
    );
}

/// Some keys of a row and some here and there, the others good: that is a row and single contacts. What strikes all keys alike
/// (the decoder of the board, a high rail) cannot have picked them.
#[test]
fn what_strikes_all_keys_singles_none_out() {
    let r = ranked(
        WIDE,
        "came in faulty\nrow 3 dead\nkeys dead Q W E\nother keys ok",
    );
    for key in ["key Q", "key W", "key E"] {
        assert!(p(&r, key) > 0.9, "{key} {}", p(&r, key));
    }
    assert!(p(&r, "U17") + p(&r, "U17 contacts") < 0.1);
    // With all of them dead the key outside the matrix speaks for the plug, not against it.
    let without = ranked("dunlin-64", "came in faulty\nall keys dead");
    let with = ranked("dunlin-64", "came in faulty\nall keys dead\nkey BREAK dead");
    let plug = |r: &Ranking| p(r, "J3") + p(r, "KB");
    assert!(
        plug(&with) > plug(&without),
        "{} {}",
        plug(&with),
        plug(&without)
    );
}

/// 'Rest fine' on a sheet of which no other line was understood says nothing about anything, and ranks all the same.
#[test]
fn rest_fine_behind_nothing_that_was_read() {
    let library = Library::default();
    for (name, _) in library.list() {
        let board = library.board(&name).expect("a shipped board");
        let of = |text: &str| {
            let sheet = parse("lost", text.as_bytes()).expect("a text");
            rank(&board, &[sheet]).expect("possible")
        };
        let lost = of("came in faulty\nflurb gurgle zot\nrest fine\n");
        let read = of("came in faulty\nrest fine\n");
        assert!(!lost.suspects.is_empty(), "{name}");
        let most = |r: &Ranking| r.suspects.iter().map(|s| s.probability).fold(0.0, f64::max);
        assert!(most(&lost) < 1.0 && most(&read) < 1.0, "{name}");
    }
}

/// Nobody calls the address fine that may be what is wrong with the bits: no sheet can even name the upper memory's.
#[test]
fn rest_fine_says_nothing_of_the_address_behind_bad_bits() {
    let bits: String = (0..8)
        .map(|k| format!("upper memory bit {k} bad\n"))
        .collect();
    let with = ranked("48k-z80-ula", &format!("came in faulty\n{bits}rest fine"));
    let place = |unit: &str| with.suspects.iter().position(|s| s.name == unit);
    let shared = ["IC23", "IC24", "IC25", "IC26"];
    for unit in shared {
        assert!(
            place(unit).is_some_and(|at| at < 8),
            "{unit}: {:?}",
            place(unit)
        );
    }
    // Two bits of eight are their chips, and that the lower memory is fine takes nothing from them.
    let two = ranked(
        "48k-z80-ula",
        "came in faulty\nlower ram ok\nupper bits 2,5 bad\nrest fine",
    );
    let mut first: Vec<&str> = two.suspects.iter().take(2).map(|s| &*s.name).collect();
    first.sort_unstable();
    assert_eq!(first, ["IC17", "IC20"]);
    // Of a bank whose bits are fine it does.
    let lower = ranked("48k-z80-ula", "came in faulty\nsound bad\nrest fine");
    assert!(
        lower
            .suspects
            .iter()
            .take(8)
            .all(|s| !["IC3", "IC4"].contains(&&*s.name))
    );
}

/// What lamps and the click of a key say without a picture: the supply is there, the machine runs.
#[test]
fn lamps_and_key_click_speak_without_a_picture() {
    let dark = |more: &str| {
        ranked(
            "z80-ppi-vdp",
            &format!("came in faulty\nblack screen\ntest does not run\n{more}"),
        )
    };
    let (silent, clicks) = (dark("key click dead\n"), dark("key click ok\n"));
    // A system that answers its keys has a processor that works.
    assert!(p(&clicks, "U3") < 0.2 * p(&silent, "U3"));
    // It is no run of the test.
    assert!(!clicks.observed.test_ran && clicks.observed.hints.is_empty());
    let (lit, out) = (dark("power lamp on\n"), dark("power lamp off\n"));
    assert!(p(&out, "ADAPTER") > 4.0 * p(&lit, "ADAPTER"));
    // A board of which no map knows the lamp says so.
    let none = ranked("dunlin-64", "came in faulty\ncaps lamp off\n");
    assert_eq!(none.observed.diags.len(), 1);
}

/// A port chip whose read strobe is stuck still puts out what is written to it: the picture and the slots stand, the keys do not (data
/// sheet of the 8255: separate inputs for read and write).
#[test]
fn a_port_chip_that_is_never_read_still_writes() {
    let r = ranked(
        "z80-ppi-vdp",
        "came in faulty\nkeyboard dead\nrest fine\nU18.5 high\nU18.12 pulsing\n",
    );
    assert_eq!(r.suspects[0].name, "U28", "{:?}", r.suspects[0].name);
    assert!(p(&r, "U28") + p(&r, "U28 contacts") > 0.7);
    // A strobe that pulses clears the gate.
    let pulses = ranked(
        "z80-ppi-vdp",
        "came in faulty\nkeyboard dead\nrest fine\nU18.5 pulsing\n",
    );
    assert!(p(&pulses, "U28") < 0.1 * p(&r, "U28"));
}

/// A flip-flop whose clear input touches nothing divides and delays as before, since open inputs of this logic read high: only what asks
/// for the clear fails.
#[test]
fn an_open_clear_input_stops_no_clock() {
    let r = ranked(
        "z80-ppi-vdp",
        "came in faulty\ncartridge port bad\nrest fine\n",
    );
    let unit = |name: &str| {
        let all = r.suspects.iter().filter(|s| s.name.starts_with(name));
        all.map(|s| s.probability).sum::<f64>()
    };
    assert!(unit("U1 ") + p(&r, "U1") > 0.01, "{}", unit("U1"));
}

/// Ripple of an adapter passes its regulator hardly, and a meter reads the mean: a picture that rolls while all else works is its doing as
/// well as that of a capacitor behind it.
#[test]
fn ripple_rolls_the_picture_of_a_board_that_works() {
    let r = ranked(
        "48k-z80-ula",
        "came in faulty\npicture rolls\nrail 5V 5.05 V\nrail -5V -5.03 V\nrest fine\n",
    );
    assert!(p(&r, "ADAPTER") > 0.03, "{}", p(&r, "ADAPTER"));
    // Far more than 9 V is no reason for 5 V to be off.
    let high = ranked(
        "48k-z80-ula",
        "came in faulty\npsu rail 9V 15.5 V off the board\nrail 5V 5.02 V\nmemory bit 3 bad\nrest fine\n",
    );
    assert!(p(&high, "REG1") < 0.05, "{}", p(&high, "REG1"));
}
