//! Whatever a sheet says and a bench has, no plan proposes what could hurt: properties over random sheets of all boards.

use proptest::prelude::*;
use std::collections::{BTreeMap, BTreeSet};
use whichsocket::faultmap::model::BoardModel;
use whichsocket::faultmap::raw::RailRaw;
use whichsocket::next::{Ask, Bench, TOOLS, advise};
use whichsocket::rank::rank;
use whichsocket::report::view::{NextView, TreeView};
use whichsocket::sheet::{Statement, parse};
use whichsocket::shipped::Library;

/// What a rail reads: nothing, or a share of the way through its limits.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Rail {
    Unread,
    Good,
    Low,
    Missing,
    Over,
}

/// Results that only a running test gives.
const RAN: [&str; 6] = [
    "memory bit 3 bad",
    "memory bits 0 1 2 3 4 5 6 7 bad",
    "clock 1 stopped",
    "key Q dead",
    "voice 1 silent",
    "rest fine",
];

/// What is seen without one.
const SEEN: [&str; 3] = ["black screen", "picture garbage", "no sound"];

fn rails() -> impl Strategy<Value = Vec<Rail>> {
    let one = prop_oneof![
        4 => Just(Rail::Unread),
        4 => Just(Rail::Good),
        1 => Just(Rail::Low),
        1 => Just(Rail::Missing),
        1 => Just(Rail::Over),
    ];
    proptest::collection::vec(one, 8)
}

/// What is known of rails when a step of a tree is done.
#[derive(Debug, Clone, Default)]
struct Known {
    /// Read on the sheet, or in the tree and found good.
    good: BTreeSet<String>,
    /// Read at all, with the outcome in the tree.
    read: BTreeMap<String, String>,
}

/// The step and every step of the tree after it, each with what is known of the rails when it is done.
fn walk(tree: &TreeView, known: &Known, see: &mut impl FnMut(&TreeView, &Known)) {
    see(tree, known);
    for branch in &tree.branches {
        let mut known = known.clone();
        if let Some(rail) = branch.outcome.strip_suffix(" good") {
            known.good.insert(rail.to_string());
        }
        if let Some((rail, how)) = branch
            .outcome
            .rsplit_once(' ')
            .filter(|_| reads_rail(&tree.r#where))
        {
            known.read.insert(rail.to_string(), how.to_string());
        }
        if let Some(then) = &branch.then {
            walk(then, &known, see);
        }
    }
}

/// Whether a step reads a rail: its place says so.
fn reads_rail(place: &str) -> bool {
    place.contains(", rail ") && !feels(place)
}

/// Whether a step powers the board for some seconds to find what pulls a rail down: the part that gets hot, or where the rail is lowest.
fn feels(place: &str) -> bool {
    place.starts_with("parts on the board, rail ")
        || place.starts_with("supply pins of the parts on rail ")
}

fn at_hand(needs: Option<&String>, bench: &Bench) -> bool {
    needs.is_none_or(|n| {
        TOOLS
            .iter()
            .any(|(tool, word)| word == n && bench.tools.contains(tool))
            || bench.has_part(n)
    })
}

fn check(
    board: &str,
    rails: &[Rail],
    lines: &[String],
    bench: &Bench,
) -> Result<(), TestCaseError> {
    let library = Library::open(None).expect("shipped maps");
    let model = library.board(board).expect("shipped");
    let mut text = format!("board {board}\ncame in faulty\n");
    let (mut read, mut good) = (BTreeSet::new(), BTreeSet::new());
    let (mut low, mut over) = (false, false);
    for ((name, limits), state) in model.rails.iter().zip(rails) {
        let volts = match state {
            Rail::Unread => continue,
            Rail::Good => (limits.low + limits.high) / 2.0,
            // Of a negative rail the weak end is the high one.
            Rail::Low if limits.high < 0.0 => limits.high * 0.6,
            Rail::Low => limits.low * 0.6,
            Rail::Missing => 0.0,
            Rail::Over => limits.stop * 1.2,
        };
        let line = format!("rail {} {volts:.3}\n", name.trim_start_matches('+'));
        // A name that the sheet cannot say is flagged there; it is as good as unread here.
        let said = parse("line", line.as_bytes()).expect("a line");
        if said.lines[0].not_understood.is_some() {
            continue;
        }
        text += &line;
        read.insert(name.clone());
        match state {
            Rail::Good => {
                good.insert(name.clone());
            }
            Rail::Over => over = true,
            // Some memory dies without its negative rail while the others are there.
            Rail::Missing if limits.guards_memory => over = true,
            _ => low = true,
        }
    }
    for line in lines {
        text += line;
        text.push('\n');
    }
    let sheets = [parse("random", text.as_bytes()).expect("a sheet")];
    let Ok(ranking) = rank(&model, &sheets) else {
        return Ok(());
    };
    let advice = advise(&model, &ranking, bench);
    let ran = ranking.observed.test_ran;
    let all_known = model.rails.keys().all(|r| good.contains(r));
    for NextView {
        step,
        r#where,
        power,
        needs,
        ..
    } in &advice.steps
    {
        prop_assert!(
            at_hand(needs.as_ref(), bench),
            "{step} needs {needs:?}\n{text}"
        );
        if over {
            prop_assert!(!power, "{step} on a board past its stop limit\n{text}");
        }
        if low && *power {
            prop_assert!(
                reads_rail(r#where) || feels(r#where),
                "{step} with a rail low\n{text}"
            );
        }
        // Heat is looked for where a rail is low, and nowhere else.
        prop_assert!(low && !over || !feels(r#where), "{step}\n{text}");
        prop_assert!(!step.contains("into a working machine"), "{step}");
    }
    if let Some(first) = advice.steps.iter().find(|s| s.power)
        && !ran
        && !all_known
        && ranking.suspects.iter().any(|s| s.probability >= 0.01)
        && !first.step.starts_with("Most probably nothing")
        && !first.step.starts_with("Nothing read so far")
    {
        let all_read = model.rails.keys().all(|r| read.contains(r));
        prop_assert!(
            reads_rail(&first.r#where) || feels(&first.r#where) && all_read,
            "{} before the rails\n{text}",
            first.step
        );
    }
    if let Some(tree) = &advice.tree {
        let mut wrong = None;
        let known = Known {
            good: read.clone(),
            read: read
                .iter()
                .map(|r| (r.clone(), "as the sheet says".into()))
                .collect(),
        };
        walk(tree, &known, &mut |t, known| {
            let unread = model.rails.keys().any(|r| !known.good.contains(r));
            let hot = feels(&t.r#where);
            let early = t.power && !reads_rail(&t.r#where) && unread && !ran && !hot;
            // Before a part is felt for heat every rail was read, none too high, and none missing that memory needs.
            let harms = |(name, limits): (&String, &RailRaw)| match known
                .read
                .get(name)
                .map(String::as_str)
            {
                None => !ran,
                Some("high") => true,
                Some("missing") => limits.guards_memory,
                Some(_) => false,
            };
            let early = early || hot && model.rails.iter().any(harms);
            // A new part goes in by the same rule.
            let part = t
                .needs
                .as_ref()
                .is_some_and(|n| TOOLS.iter().all(|(_, word)| word != n));
            let too_early = part && unread && !ran;
            if early || too_early || !at_hand(t.needs.as_ref(), bench) {
                wrong.get_or_insert_with(|| t.step.clone());
            }
        });
        prop_assert_eq!(wrong, None, "{}", text);
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn no_plan_proposes_what_could_hurt(
        board in 0usize..64,
        rails in rails(),
        ran in proptest::collection::vec(0usize..RAN.len(), 0..3),
        seen in proptest::collection::vec(0usize..SEEN.len(), 0..2),
        tools in proptest::collection::vec(any::<bool>(), TOOLS.len()),
        parts in proptest::option::of(Just(vec!["4164".to_string(), "6526".to_string()])),
    ) {
        let boards = Library::open(None).expect("shipped maps").list();
        let board = boards[board % boards.len()].0.clone();
        let mut lines: Vec<String> = ran.iter().map(|&i| RAN[i].to_string()).collect();
        lines.extend(seen.iter().map(|&i| SEEN[i].to_string()));
        let bench = Bench {
            tools: TOOLS.iter().zip(&tools).filter(|(_, has)| **has).map(|(t, _)| t.0).collect(),
            parts,
            tree: 4,
            ..Bench::default()
        };
        check(&board, &rails, &lines, &bench)?;
    }
}

/// What a step asks for is typed as a line; the line must be read, and mean the place that was asked for. (Otherwise a
/// session proposes the same step for ever.)
#[test]
fn the_answer_to_every_remedy_is_read() {
    use whichsocket::next::Ask;
    use whichsocket::sheet::{Effect, HandsOn, Statement, parse, print_statement};
    let library = whichsocket::shipped::Library::default();
    for (name, _) in library.list() {
        let model = library.board(&name).expect("a listed board");
        for unit in 0..model.units.len() {
            let Ask::Remedy {
                action,
                place,
                unit: named,
                ..
            } = Ask::remedy(&model, unit)
            else {
                panic!("a remedy asks for what it did");
            };
            let places = vec![place];
            let said = Statement::HandsOn(HandsOn {
                action,
                places,
                result: Effect::NoChange,
            });
            let text = format!("board {name}\nmemory ok\n{}\n", print_statement(&said));
            let sheet = parse("answer", text.as_bytes()).expect("a text");
            let read: Vec<_> = sheet.statements().map(|s| &s.value).collect();
            assert_eq!(read.last(), Some(&&said), "{name}, {named}: {text}");
            let observed = whichsocket::observe::observe(&model, &[sheet]);
            let lost: Vec<_> = observed.diags.iter().map(|d| &d.1.message).collect();
            assert!(lost.is_empty(), "{name}, {named}: {text}{lost:?}");
        }
    }
}

/// Scrapping cannot be undone: it is not proposed while a look of minutes is open, and a skip is heeded.
#[test]
fn a_board_is_not_given_up_while_cheap_readings_are_open() {
    let library = Library::open(None).expect("shipped maps");
    for text in [
        "board 48k-z80-ula\ncame in faulty\nrail +9V 9.2 V\npicture black\nmemory bit 3 bad\nmemory bit 5 bad\n",
        "board 48k-z80-ula\ncame in faulty\nrail +9V 9.2 V\npicture black\nmemory bit 3 bad; memory bit 5 bad\nswapped IC2: no change\n",
    ] {
        let model = library.board("48k-z80-ula").expect("shipped");
        let ranking =
            rank(&model, &[parse("t", text.as_bytes()).expect("a sheet")]).expect("possible");
        let steps = advise(&model, &ranking, &Bench::default()).steps;
        assert!(!steps.is_empty(), "{text}");
        for s in &steps {
            assert!(!s.step.starts_with("Stop here"), "{}\n{text}", s.step);
        }
    }
    // With every look skipped giving up may be best; skipped itself, something else is named.
    let model = library.board("dunlin-64").expect("shipped");
    let text = "board dunlin-64\ncame in faulty\nmemory bit 3 bad\nrest fine\n";
    let ranking = rank(&model, &[parse("t", text.as_bytes()).expect("a sheet")]).expect("possible");
    let stop = |say: &str, _: &whichsocket::next::Ask| say.starts_with("Stop here");
    let steps = whichsocket::next::advise_but(&model, &ranking, &Bench::default(), &stop).steps;
    assert!(steps.iter().all(|s| !s.step.starts_with("Stop here")) && !steps.is_empty());
}

/// What was read while a rail was too low accuses many parts; the board is not given up before that rail is right (written by the
/// simulated bench for a regulator that gives too little).
#[test]
fn a_board_is_not_given_up_while_a_rail_is_out() {
    let text = "board 64k-6510-wide\ncame in faulty\n\
         U7.10 high; U8.10 low; rail 9V_UNREG 10.53 V; U7.38 high; U26.3 high; U7.28 high; U7.35 low; U1.12 high; \
         U7.32 low; U1.16 high; U7.40 high; U1.23 high; U7.27 high; U7.20 high; U7.5 high; U9.10 high; rail 5V \
         5.05 V; U9.13 high; U2.2 high; U7.31 low; U1.10 high; U7.19 high; U7.23 high; U26.4 high; U1.7 high; U1.9 \
         high; rail 5V_VIDEO 4.01 V; U7.34 low; U8.2 low; U19.12 floating; U31.10 low; U7.7 high; U7.12 high; \
         U7.14 high; rail 5V_CLK 4.00 V; test does not run; U9.11 high; U19.22 low; U9.9 high; U1.5 high; U7.39 \
         high; U9.7 high; U7.9 high; U26.7 high; U5.20 high; U1.15 high; screen black; U6.14 floating; U26.17 \
         high; U26.8 high; U1.6 high; U20.9 low; rail 12V 12.00 V; U8.4 low; U7.13 high; U7.8 high; U19.17 \
         floating; U1.19 pulsing; U7.3 high; rail 9VAC 9.17 V; U9.15 high; U1.2 high; U7.30 high; CR1.1 pulsing; \
         U7.24 high; resistance 5V_CLK 619.6 ohm; VR2.1 to C19.1 0.2 ohm; VR2.2 to FB22.2 0.1 ohm; VR2.3 to C105.1 \
         0.7 ohm; U31 warm; U30 warm; U32 warm; U29 warm\n";
    let model = Library::open(None)
        .expect("shipped maps")
        .board("64k-6510-wide")
        .expect("shipped");
    let sheet = parse("t", text.as_bytes()).expect("a sheet");
    assert!(sheet.diags.is_empty());
    let ranking = rank(&model, &[sheet]).expect("possible");
    let steps = advise(&model, &ranking, &Bench::default()).steps;
    let named: Vec<&str> = steps.iter().map(|s| &*s.step).collect();
    assert!(named[0].starts_with("Replace VR2"), "{named:?}");
}

/// A rail that was low and reads right now is no reason to read it again; the reading asks for volts.
#[test]
fn a_rail_that_was_put_right_is_not_read_for_ever() {
    let model = Library::open(None)
        .expect("shipped maps")
        .board("dunlin-64")
        .expect("shipped");
    let first = |text: &str| {
        let sheet = parse(
            "t",
            format!("board dunlin-64\ncame in faulty\n{text}").as_bytes(),
        )
        .expect("a sheet");
        let ranking = rank(&model, &[sheet]).expect("possible");
        advise(&model, &ranking, &Bench::default())
            .steps
            .swap_remove(0)
    };
    for volts in ["4.3", "5.9"] {
        let low = format!("rail +5V {volts} V\nswapped PSU: cured\n");
        let again = first(&format!(
            "{low}new run\nrail +5V 5.02\npicture ok\nrest fine\n"
        ));
        assert!(!again.step.contains("rail +5V"), "{}", again.step);
        let before = first(&low);
        if volts == "4.3" {
            assert!(
                matches!(&before.ask, Some(whichsocket::next::Ask::Rail { rail, .. }) if rail == "+5V"),
                "{before:?}"
            );
        }
    }
}

/// What was changed on account of a low rail, and changed something, is followed by that rail, not by a search for what shorts it.
#[test]
fn a_low_rail_is_read_again_once_something_changed() {
    let model = Library::open(None)
        .expect("shipped maps")
        .board("64k-6510-wide")
        .expect("shipped");
    let rails = "rail 9VAC 9.1 V\nrail 12V 12.0 V\nrail 5V_VIDEO 5.0 V\nrail 5V_CLK 5.0 V\nrail 9V_UNREG 10.5 V\n";
    let first = |more: &str| {
        let text = format!("board 64k-6510-wide\ncame in faulty\n{rails}rail 5V 0.1 V\n{more}");
        let sheet = parse("t", text.as_bytes()).expect("a sheet");
        let ranking = rank(&model, &[sheet]).expect("possible");
        advise(&model, &ranking, &Bench::default())
            .steps
            .swap_remove(0)
    };
    let reads = |step: &NextView| matches!(&step.ask, Some(whichsocket::next::Ask::Rail { rail, .. }) if rail == "+5V");
    for done in ["swapped SUPPLY: changed\n", "swapped SUPPLY\n"] {
        let step = first(&format!("{done}new run\nkey A dead\nvoice 2 silent\n"));
        assert!(reads(&step), "{step:?}");
        let step = first(&format!(
            "{done}new run\nrail 5V 5.0 V\nkey A dead\nvoice 2 silent\n"
        ));
        assert!(!reads(&step), "{step:?}");
    }
    for done in ["", "swapped U17: no change\n"] {
        let step = first(done);
        assert!(!reads(&step), "{done}: {step:?}");
    }
}

/// After a reading past a limit the supply is measured for what it gives itself; once that is known, another step follows.
#[test]
fn after_a_stop_only_what_the_supply_gives_is_expected_at_its_plug() {
    let library = Library::open(None).expect("shipped maps");
    let cases = [
        ("48k-z80-ula", "+5V", "+9V 9.2", vec!["+9V"], "REG1"),
        (
            "64k-6510-narrow",
            "9V_UNREG",
            "+5V 5.0 V off the board; psu rail 9VAC 9.5",
            vec!["+5V", "9VAC"],
            "board",
        ),
        (
            "64k-6510-wide",
            "+5V_VIDEO",
            "+5V 5.0 V off the board; psu rail 9VAC 9.5",
            vec!["+5V", "9VAC"],
            "VR2",
        ),
        (
            "dunlin-64",
            "+12V",
            "+5V 5.0 V off the board; psu rail 9VAC 9.5",
            vec!["+5V", "9VAC"],
            "board",
        ),
        ("z80-ppi-vdp", "+5V", "+5V 5.9", vec!["+5V"], "bad"),
    ];
    for (board, rail, supply, plug, then) in cases {
        let model = library.board(board).expect("shipped");
        let at = |more: &str| {
            let past = model.rails[rail].stop * 1.1;
            let text = format!("board {board}\ncame in faulty\nrail {rail} {past:.1} V\n{more}");
            let sheet = parse("t", text.as_bytes()).expect("a sheet");
            assert!(sheet.diags.is_empty(), "{text}: {:?}", sheet.diags);
            let ranking = rank(&model, &[sheet]).expect("possible");
            assert!(ranking.observed.stop.is_some(), "{text}");
            advise(&model, &ranking, &Bench::default())
                .steps
                .swap_remove(0)
        };
        let first = at("");
        let named: Vec<&str> = model
            .rails
            .keys()
            .map(String::as_str)
            .filter(|r| first.expect.split([':', ',']).any(|word| word.trim() == *r))
            .collect();
        assert_eq!(named, plug, "{board}: {}", first.expect);
        let second = at(&format!("psu rail {supply} V off the board\n"));
        assert_ne!(first.step, second.step, "{board}");
        assert!(second.step.contains(then), "{board}: {}", second.step);
        assert!(!first.power && !second.power, "{board}");
        if then != "bad" {
            let third = at(&format!(
                "psu rail {supply} V off the board\nresistance {rail} 350 ohm\n"
            ));
            assert!(
                third.step.starts_with("Put right") && !third.power,
                "{board}: {}",
                third.step
            );
        }
    }
}

/// A dark board (a simulated data pin of an adapter held high) after four remedies in vain.
const DARK: &str = "rail 5V_CLK 5.01 V\nU7.33 pulsing\nU7.20 high\nU1.3 high\nU7.11 pulsing\nU7.28 high\nU1.4 high\n\
    U6.8 pulsing\nU8.4 pulsing\nU7.5 pulsing\nU7.4 high\nU7.7 pulsing\nU7.32 high\nU20.9 low\n\
    U7.37 pulsing\nU7.14 pulsing\nrail 9VAC 9.20 V\nU9.4 pulsing\nU9.9 pulsing\nrail 5V 5.04 V\n\
    U7.13 pulsing\nU7.24 high\nU1.14 high\nU1.7 high\nU1.25 pulsing\nU8.12 low\n\
    rail 5V_VIDEO 4.99 V\nU9.15 pulsing\nU8.10 low\nU7.2 pulsing\nU5.20 pulsing\nU9.5 pulsing\n\
    U1.17 high\nU1.10 high\nrail 9V_UNREG 10.50 V\nU7.40 high\nU1.23 high\nU4.20 pulsing\n\
    U7.8 pulsing\nCR1.1 pulsing\nU6.12 pulsing\nU1.15 high\nU7.3 high\nU8.2 low\nU7.1 pulsing\n\
    rail 12V 12.00 V\nU7.36 pulsing\nblack screen\nU9.6 pulsing\nU7.27 high\nU1.9 high\n\
    U9.7 pulsing\ncleaned U4: no change\nswapped U17: no change\nswapped U3: no change\n\
    swapped U4: no change";

/// A supply that is good by itself leaves the board switched off, unless it is another one.
#[test]
fn a_good_supply_by_itself_does_not_end_switch_off() {
    let library = Library::open(None).expect("shipped maps");
    let model = library.board("dunlin-64").expect("shipped");
    let stopped = |more: &str| {
        let text = format!("board dunlin-64\ncame in faulty\nrail +5V 9.2 V\n{more}\n");
        let sheet = parse("t", text.as_bytes()).expect("a sheet");
        assert!(sheet.diags.is_empty(), "{text}: {:?}", sheet.diags);
        let ranking = rank(&model, &[sheet]).expect("possible");
        let step = advise(&model, &ranking, &Bench::default())
            .steps
            .swap_remove(0);
        (ranking.observed.stop.is_some(), step.power)
    };
    assert_eq!(stopped("psu rail +5V 5.02 V off the board"), (true, false));
    assert!(!stopped("swapped SUPPLY\npsu rail +5V 5.02 V off the board").0);
    assert!(!stopped("swapped SUPPLY\nnew run\nrail +5V 5.02 V").0);
}

/// A dark board whose test names all data bits (a simulated address output of a multiplexer held high).
const ALL_BITS: &str = "U7.23 pulsing\nU9.6 pulsing\nmemory bit 0-7 bad\nU4.20 pulsing\nrail 12V 12.01 V\nblack screen\n\
    U8.12 high\nU7.29 high\nrail 5V_CLK 5.00 V\nU8.2 high\nrail 5V 5.06 V\nU1.5 high\nU7.24 high\nU2.3 high\n\
    U17.18 pulsing\nreplaced U13: no change\nreplaced U25: no change";

/// What makes a rail too high is what the map says can make it so, not what leads for other reasons.
#[test]
fn past_a_limit_on_the_board_the_maker_of_the_rail_is_put_right() {
    let library = Library::open(None).expect("shipped maps");
    let model = library.board("64k-6510-wide").expect("shipped");
    let text = "board 64k-6510-wide\ncame in faulty\nU7.40 high\nU19.12 pulsing\nscreen fine\nU7.23 high\nrest fine\n\
                rail 9VAC 9.18 V\nrail 9V_UNREG 10.53 V\nrail 12V 17.63 V\npsu rail 5V 5.08 V off the board\nresistance +12V 350 ohm\n";
    let first = |text: &str| {
        let sheet = parse("t", text.as_bytes()).expect("a sheet");
        assert!(sheet.diags.is_empty(), "{text}: {:?}", sheet.diags);
        let mut ranking = rank(&model, &[sheet]).expect("possible");
        let step = advise(&model, &ranking, &Bench::default())
            .steps
            .swap_remove(0);
        (step.step, ranking.suspects.swap_remove(0).name)
    };
    assert!(
        first(text).0.starts_with("Put right VR1"),
        "{}",
        first(text).0
    );
    // A voltage of the supply without its name is the one that it is near to, so 5.1 V is no bad 9 V AC.
    let unnamed = text.replace("psu rail 5V 5.08 V", "supply 5.08 V");
    let (step, leader) = first(&unnamed);
    assert!(step.starts_with("Put right VR1"), "{step}");
    assert_ne!(leader, "ADAPTER");
}

/// What is proposed first for a sheet that is read whole.
fn first_step(model: &BoardModel, text: &str) -> NextView {
    let sheet = parse("t", text.as_bytes()).expect("a sheet");
    assert!(sheet.diags.is_empty(), "{text}: {:?}", sheet.diags);
    let ranking = rank(model, &[sheet]).expect("possible");
    advise(model, &ranking, &Bench::default())
        .steps
        .swap_remove(0)
}

/// Another rail that is out of its limits is looked at without power before anything is renewed for the sake of the first; and what
/// shorts +12 V keeps -5 V away as well.
#[test]
fn without_minus_five_what_pulls_the_other_rails_down_is_found_unpowered() {
    let library = Library::open(None).expect("shipped maps");
    let model = library.board("48k-z80-ula").expect("shipped");
    let text = "board 48k-z80-ula\ncame in faulty\nrail +9V 8.9 V\nrail 5V 5.04 V\nrail 12V 1.2 V\nrail -5V 0.0 V\n\
                psu rail +9V 13.5 V off the board\nresistance -5V 450 ohm\n";
    let unread = text.replace("resistance -5V 450 ohm\n", "");
    let step = first_step(&model, &unread);
    assert!(
        step.step.contains("to ground at IC6 pin 1"),
        "{}",
        step.step
    );
    let step = first_step(&model, text);
    assert!(
        !step.power && step.step.contains("from rail +12V to ground"),
        "{}",
        step.step
    );
    // Nobody reads the volts of +12 V on a board that stays off; what shorts it leaves nothing of -5 V either.
    let off = text.replace("rail 12V 1.2 V\n", "");
    let step = first_step(&model, &off);
    assert!(
        !step.power && step.step.contains("from rail +12V to ground"),
        "{}",
        step.step
    );
    assert!(step.step.contains("leaves nothing of -5V"), "{}", step.step);
    let step = first_step(&model, &format!("{off}resistance +12V 3.2 ohm\n"));
    assert!(
        !step.power && step.step.contains("(+12V) out of its hole"),
        "{}",
        step.step
    );
    let step = first_step(&model, &text.replace("rail 12V 1.2 V", "rail 12V 12.0 V"));
    assert!(!step.step.contains("+12V"), "{}", step.step);
    // A few ohms there, and a memory chip that was felt hot before: it goes, not the transistor of the converter.
    let step = first_step(
        &model,
        &format!("{text}resistance +12V 3.5 ohm\nIC6 hot; IC7 warm; IC8 warm; TR4 warm\n"),
    );
    assert!(
        !step.power && step.step.starts_with("Put right IC6"),
        "{}",
        step.step
    );
}

/// Soldered chips that may short a rail, on a board that must stay off: a leg each, and the one that the short went with is renewed.
#[test]
fn a_short_that_must_not_be_powered_is_found_leg_by_leg() {
    let library = Library::open(None).expect("shipped maps");
    let model = library.board("48k-z80-ula").expect("shipped");
    let head = "board 48k-z80-ula\ncame in faulty\nrail +9V 7.8 V\nrail 5V 0.3 V\nrail 12V 7.0 V\nrail -5V 0.0 V\n\
                psu rail +9V 13.5 V off the board\nresistance -5V 450 ohm\nresistance +5V 2.1 ohm\nresistance +12V 800 ohm\n\
                resistance +12VA 700 ohm\n";
    let mut text = head.to_string();
    let mut lifted = std::collections::BTreeSet::new();
    for _ in 0..60 {
        let step = first_step(&model, &text);
        if !step.step.contains("solder leg") && lifted.len() > 20 {
            break;
        }
        assert!(
            !step.power && step.step.contains("solder leg"),
            "{lifted:?} {}",
            step.step
        );
        let Some(Ask::Remedy { place, .. }) = &step.ask else {
            panic!("{:?}", step.ask);
        };
        let leg = format!("{}.{}", place.name, place.pin.as_deref().expect("a leg"));
        assert!(lifted.insert(leg.clone()), "{leg} twice");
        text += &format!("lifted {leg}: no change\n");
    }
    assert!(lifted.contains("IC9.9") && lifted.len() < 60, "{lifted:?}");
    let text = format!("{head}lifted IC9.9: changed\n");
    let step = first_step(&model, &text);
    assert!(
        !step.power && step.step.starts_with("Put right IC9"),
        "{}",
        step.step
    );
}

/// More time makes no plan worse: what is done with less is done first.
#[test]
fn with_seconds_the_plan_is_never_worse() {
    let library = Library::open(None).expect("shipped maps");
    let (mut compared, mut better) = (0, 0);
    for sample in [
        "black-screen",
        "five-memory-bits",
        "narrow-black-screen",
        "typed-in-haste",
        "ula-lower-bit-3",
        "wide-all-bits-bad",
    ] {
        let path = std::path::Path::new("samples").join(format!("{sample}.run"));
        let sheet = parse("t", &std::fs::read(&path).expect("a sample")).expect("a sheet");
        let board = sheet
            .lines
            .iter()
            .flat_map(|l| &l.statements)
            .find_map(|s| match &s.value {
                Statement::Board(name) => Some(name.clone()),
                _ => None,
            });
        let model = library
            .board(&board.expect("a sample names its board"))
            .expect("shipped");
        let ranking = rank(&model, &[sheet]).expect("possible");
        let minutes = |seconds| {
            let bench = Bench {
                seconds,
                ..Bench::default()
            };
            advise(&model, &ranking, &bench).minutes
        };
        let (at_once, later) = (minutes(None), minutes(Some(2.0)));
        assert!(
            later <= at_once + 1e-9,
            "{}: {later} against {at_once}",
            path.display()
        );
        compared += 1;
        better += usize::from(later < at_once - 1e-6);
    }
    assert!(compared == 6 && better > 0, "{compared}, {better}");
}

/// As long as the fault is seen after a remedy, something is at fault, however little of what the map knows is left.
#[test]
fn what_fails_still_is_never_called_put_right() {
    use whichsocket::next::{Ask, Bench, advise_but};
    use whichsocket::rank::rank;
    use whichsocket::sheet::{Effect, HandsOn, Statement, parse, print_statement};
    let library = whichsocket::shipped::Library::default();
    let mut remedies = 0;
    for (board, bad) in [
        ("dunlin-64", "voice 2 dead\nrest fine"),
        ("dunlin-64", "memory bit 3 bad\nrest fine"),
        ("64k-6510-wide", "language rom bad\nrest fine"),
        ("64k-6510-wide", "key Q dead\nrest fine"),
        ("64k-6510-wide", DARK),
        ("64k-6510-wide", ALL_BITS),
    ] {
        let model = library.board(board).expect("a shipped board");
        let mut text = format!("board {board}\ncame in faulty\n{bad}\n");
        for _ in 0..12 {
            let sheet = parse("still", text.as_bytes()).expect("a text");
            let ranking = rank(&model, &[sheet]).expect("a ranking");
            let looks = |_: &str, ask: &Ask| !matches!(ask, Ask::Remedy { .. });
            let advice = advise_but(&model, &ranking, &Bench::default(), &looks);
            for step in &advice.steps {
                assert!(
                    !step.step.starts_with("Most probably nothing"),
                    "{text}{}",
                    step.step
                );
            }
            let remedy = advice.steps.iter().find_map(|s| match &s.ask {
                Some(Ask::Remedy { action, place, .. }) => Some((*action, place.clone())),
                _ => None,
            });
            let Some((action, place)) = remedy else { break };
            let (places, result) = (vec![place], Effect::NoChange);
            let done = Statement::HandsOn(HandsOn {
                action,
                places,
                result,
            });
            text += &(print_statement(&done) + "\n");
            remedies += 1;
        }
    }
    assert!(remedies >= 12, "{remedies} remedies");
}

/// Four rails were low for want of a regulator, and all lines floated; it is renewed. What floated then is behind it, and no joints are
/// made anew for that in the run after it, which shows results. The readings are those of a simulated machine.
#[test]
fn what_a_renewed_part_explains_is_not_looked_for_after_it() {
    let library = Library::open(None).expect("shipped maps");
    let model = library.board("48k-z80-ula").expect("shipped");
    let text = "board 48k-z80-ula\ncame in faulty\nIC14.13 low; IC2.26 low; IC1.15 low; IC6.7 floating; IC2.10 floating; IC1.1 floating; IC2.21 \
                floating; IC1.34 floating; IC1.30 floating; IC1.19 floating; IC3.7 floating; IC2.31 floating; IC1.27 \
                floating; IC14.17 low; IC2.34 floating; IC15.5 floating; rail -5V 0.03 V; IC2.12 floating; IC3.1 \
                floating; IC2.8 floating; IC23.3 floating; IC1.12 floating; IC1.16 low; IC6.13 floating; IC6.5 \
                floating; IC3.9 floating; IC1.29 floating; KB2.2 floating; TR5.2 high; IC2.32 floating; IC2.13 \
                floating; TV1.1 low; C63.1 floating; IC23.5 floating; IC2.5 floating; IC2.38 floating; IC2.27 \
                floating; IC1.20 floating; IC2.4 floating; no signal; IC1.33 floating; IC1.23 floating; IC15.9 \
                floating; rail 9V 9.81 V; IC1.39 low; IC4.4 floating; JROM1.3 floating; KB2.4 floating; KB2.7 \
                floating; IC3.12 floating; IC2.6 low; IC1.35 floating; rail 12V 9.01 V; IC2.20 floating; IC2.33 \
                floating; IC3.4 floating; IC1.31 floating; IC1.13 low; rail 5V 4.01 V; IC2.28 floating; IC1.32 low; \
                IC2.1 floating; IC2.3 floating; IC2.14 floating; IC23.8 floating; IC1.26 floating; IC14.14 8.47 V; \
                IC15.6 floating; IC1.24 floating; KB2.3 floating; KB2.8 floating; IC2.30 floating; IC2.15 floating; \
                IC15.13 floating; IC23.11 floating; IC2.16 floating; IC23.6 floating; KB2.5 floating; IC6.12 \
                floating; IC6.10 floating; IC2.2 floating; psu rail 9V 13.90 V off the board; resistance -5V 565.0 \
                ohm; resistance 12V 695.4 ohm; resistance 5V 130.2 ohm; resistance 12VA 174.2 ohm\nreplaced REG1: changed\nnew run\nIC1.17 pulsing; IC1.12 pulsing; rail 12V 12.16 V; IC2.12 pulsing; upper memory bit 2 failed; IC2.3 \
                pulsing; upper ram bit 0 good; IC1.39 pulsing; IC2.40 pulsing; IC14.14 11.65 V; rail -5V -5.06 V; \
                rail 5V 5.04 V\n";
    let sheet = parse("t", text.as_bytes()).expect("a sheet");
    assert!(
        sheet.lines.iter().all(|l| l.not_understood.is_none()),
        "{:?}",
        sheet.diags
    );
    let ranking = rank(&model, &[sheet]).expect("possible");
    let advice = advise(&model, &ranking, &Bench::default());
    let first: Vec<&str> = advice.steps.iter().map(|s| s.step.as_str()).collect();
    assert!(
        first[0].starts_with("Run the test once more")
            && !first.iter().any(|s| s.contains("joints")),
        "{first:?}"
    );
}
