//! Random faults, simulated tests, six typed lines: the right chip or line must lead.

use crate::boards::{Board, all};
use crate::sim::fault::{Answer, Fault, Level, Rest, Side};
use crate::sim::hash;
use crate::sim::march::{Data, Test};
use crate::sim::run::{Run, Seen};
use crate::sim::wiring::Bank;
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};
use std::collections::{BTreeMap, BTreeSet};
use whichsocket::faultmap::model::{BoardModel, ModeId};
use whichsocket::rank::{Ranking, rank};
use whichsocket::sheet::parse;

/// Bits of luck by which another fault may need more than the true one and still count as possible.
const LUCK: f64 = 4.0;
/// Lines that a person types.
const TYPED: usize = 6;

/// A test as a program might run it.
fn random_test(rng: &mut StdRng, pause: bool) -> Test {
    let byte = [0x00, 0xFF, 0x55, 0xAA][rng.random_range(0..4)];
    match rng.random_range(0..9) {
        0 => Test::fill(Data::Constant(byte), pause),
        1 | 2 => Test::fill(
            Data::Checker(if byte & 1 == 1 { 0x55 } else { 0xAA }),
            pause,
        ),
        3 => Test::fill(Data::Low, pause),
        4 => Test::fill(Data::High, pause),
        5 => Test::fill(Data::Mixed, pause),
        n => {
            let name = ["MATS+", "March X", "March C-"][n - 6];
            Test::march(name, if byte & 1 == 1 { 0x55 } else { 0x00 }, pause)
        }
    }
}

/// One fault of each kind of the list, in turn.
fn random_fault(rng: &mut StdRng, bank: &Bank, kind: usize) -> Option<Fault> {
    let lane = 1u8 << rng.random_range(0..8);
    let chip = bank.lanes(rng.random_range(0..bank.sockets.len()));
    let all = 0xFF;
    let high = rng.random_bool(0.5);
    let rest = [Rest::High, Rest::High, Rest::Low, Rest::Bus][rng.random_range(0..4)];
    let level = [Level::Low, Level::High, Level::Noise][rng.random_range(0..3)];
    let line = rng.random_range(0..bank.pairs.len() as u32);
    let at = bank.cell(rng.random_range(bank.from..=bank.to));
    // Four arrays of a chip have one decoder: trouble of one and of all four are both common.
    let part = if bank.width == 1 || rng.random_bool(0.5) {
        lane
    } else {
        chip
    };
    let block = |row, column| Fault::Block {
        lanes: part,
        row,
        column,
        level,
    };
    Some(match kind {
        0 => Fault::DataStuck { lane, high },
        1 => Fault::DataOpen { lanes: lane, rest },
        2 if bank.own_data => {
            let lanes = 3 << rng.random_range(0..7);
            Fault::DataBridge { lanes, high }
        }
        2 => return None,
        3 => block(Some(at.0), Some(at.1)),
        4 => block(Some(at.0), None),
        5 => block(None, Some(at.1)),
        6 => Fault::Line {
            lanes: all,
            lines: 1 << line,
            side: Side::Both,
            level,
        },
        7 => Fault::Line {
            lanes: chip,
            lines: 1 << line,
            side: Side::Both,
            level,
        },
        8 => {
            let lines = bank.beside[rng.random_range(0..bank.beside.len())];
            Fault::LineBridge {
                lanes: all,
                lines,
                high,
            }
        }
        9 => Fault::Strobe {
            lanes: all,
            column: high,
            rest,
        },
        10 => Fault::Strobe {
            lanes: chip,
            column: high,
            rest,
        },
        11 if !bank.own_write => return None,
        11 => Fault::Write { lanes: all },
        12 => Fault::Write { lanes: chip },
        13 => Fault::Refresh { lanes: all },
        14 => Fault::Refresh { lanes: chip },
        _ => Fault::Slow { lanes: chip },
    })
}

const KINDS: [&str; 16] = [
    "data bit stuck",
    "data bit open",
    "data bits joined",
    "cell",
    "row",
    "column",
    "address line",
    "address line at a chip",
    "address lines joined",
    "strobe",
    "strobe at a chip",
    "write",
    "write at a chip",
    "refresh",
    "refresh of a chip",
    "slow chip",
];

/// A sheet with what it is about.
struct Case {
    kind: usize,
    fault: Fault,
    test: Test,
    warm: bool,
    seed: u64,
    typed: Vec<Seen>,
    /// The first ones were typed.
    in_order: bool,
    more: Option<u32>,
}

fn random_case(rng: &mut StdRng, board: &Board) -> Option<(usize, Case)> {
    let b = rng.random_range(0..board.banks.len());
    let bank = &board.banks[b];
    let kind = rng.random_range(0..KINDS.len());
    let fault = random_fault(rng, bank, kind)?;
    // What forgets or is slow shows only after a pause or warm; other faults are found whichever way.
    let pause = matches!(fault, Fault::Refresh { .. }) || rng.random_bool(0.1);
    let warm = matches!(fault, Fault::Slow { .. }) || rng.random_bool(0.1);
    let (test, seed) = (random_test(rng, pause), rng.random());
    let run = Run {
        bank,
        test: &test,
        fault,
        warm,
        seed,
    };
    let in_order = rng.random_bool(0.7);
    let mut typed = run.first(if in_order { TYPED } else { 60 });
    while typed.len() > TYPED {
        typed.remove(rng.random_range(0..typed.len()));
    }
    let told = rng.random_bool(0.3);
    let more = (told && !typed.is_empty())
        .then(|| run.count().saturating_sub(typed.len() as u32))
        .filter(|&n| n > 0);
    (!typed.is_empty()).then_some((
        b,
        Case {
            kind,
            fault,
            test,
            warm,
            seed,
            typed,
            in_order,
            more,
        },
    ))
}

fn sheet(board: &Board, case: &Case) -> String {
    // The rails were read first, as the safe order demands: a low supply looks like any lost strobe.
    let mut text = format!("board {}\ncame in faulty\nrails ok\n", board.model.board);
    for s in &case.typed {
        text += &format!(
            "{:04X} wrote {:02X} read {:02X}\n",
            s.address, s.wrote, s.read
        );
    }
    if let Some(n) = case.more {
        text += &format!("{n} more\n");
    }
    text
}

/// Bits of luck that a fault needs to give these lines and none before; `None`: it cannot.
fn luck(run: &Run, case: &Case) -> Option<f64> {
    let mut bits = 0.0;
    for s in &case.typed {
        let reads = run.reads(s.address);
        let here = reads
            .iter()
            .find(|r| (r.element, r.op) == (s.element, s.op))?;
        if (here.read ^ s.read) & !here.chance != 0 {
            return None;
        }
        bits += f64::from(here.chance.count_ones());
        // Typed as the first failures of the test: it did not fail there before.
        if case.in_order
            && reads
                .iter()
                .any(|r| (r.element, r.op) < (s.element, s.op) && r.must_fail())
        {
            return None;
        }
    }
    if case.in_order {
        bits += passed_over(run, case)?;
    }
    Some(bits)
}

/// The same for the addresses that the test met before the last line and that are not typed.
fn passed_over(run: &Run, case: &Case) -> Option<f64> {
    let last = case.typed.last().unwrap();
    if case.typed.len() < TYPED {
        // All there were: elsewhere nothing fails. A sample of the bank will do.
        let n = u64::from(run.bank.to - run.bank.from + 1);
        let sample = (0..32).map(|i| run.bank.from + (hash([9, i, 9]) % n) as u32);
        let typed: BTreeSet<u32> = case.typed.iter().map(|s| s.address).collect();
        let bad = sample
            .filter(|a| !typed.contains(a))
            .any(|a| run.reads(a).iter().any(Seen::must_fail));
        return (!bad).then_some(0.0);
    }
    let typed: BTreeSet<u32> = case
        .typed
        .iter()
        .filter(|s| s.element == last.element)
        .map(|s| s.address)
        .collect();
    let before: Vec<u32> = run
        .order(last.element)
        .take_while(|&a| a != last.address)
        .filter(|a| !typed.contains(a))
        .collect();
    // A multiplexer ties 256 addresses together: fewer of them will do.
    let looks = if run.fault.lines(run.bank).count_ones() > 4 {
        8
    } else {
        64
    };
    let step = (before.len() / looks).max(1);
    let mut bits = 0.0;
    for &a in before
        .iter()
        .step_by(step)
        .chain(before.iter().rev().take(looks / 8))
    {
        let reads = run.reads(a);
        let mut here = reads.iter().filter(|r| r.element <= last.element);
        if here.clone().any(Seen::must_fail) {
            return None;
        }
        bits += here
            .next()
            .map_or(0.0, |r| f64::from(r.chance.count_ones()))
            * step as f64;
    }
    Some(bits)
}

/// What could be behind the lines: every fault whose simulated run gives them, with not much more luck than the true one.
fn consistent(bank: &Bank, case: &Case) -> BTreeSet<Answer> {
    let of = |fault, warm| Run {
        bank,
        test: &case.test,
        fault,
        warm,
        seed: case.seed,
    };
    let own = luck(&of(case.fault, case.warm), case).unwrap_or(0.0);
    let addresses: Vec<u32> = case.typed.iter().map(|s| s.address).collect();
    let mut found = BTreeSet::from([case.fault.answer(bank)]);
    for fault in Fault::all(bank, &addresses) {
        let answer = fault.answer(bank);
        if !found.contains(&answer) && luck(&of(fault, true), case).is_some_and(|l| l <= own + LUCK)
        {
            found.insert(answer);
        }
    }
    found.extend(several(bank, case));
    found
}

/// Several chips, each with its data bit stuck, where the lines allow that: two bad chips are no rarity.
fn several(bank: &Bank, case: &Case) -> Option<Answer> {
    let bits = case.typed.iter().fold(0, |m, s| m | (s.read ^ s.wrote));
    let same = |i: u8| {
        case.typed
            .iter()
            .all(|s| (s.read ^ case.typed[0].read) >> i & 1 == 0)
    };
    let stuck = (0..8).filter(|i| bits >> i & 1 == 1).all(same);
    let chips: BTreeSet<usize> = (0..8)
        .filter(|i| bits >> i & 1 == 1)
        .map(|i| bank.chip_of(1 << i))
        .collect();
    (stuck && chips.len() > 1).then_some(Answer::Several(bits))
}

/// How surely a mode reaches what a check reads.
fn reach(model: &BoardModel, mode: ModeId, check: &str) -> f64 {
    let Some(check) = model.check(check) else {
        return 0.0;
    };
    let all = check.reads.iter().flat_map(|r| {
        let touches = &model.nodes[r.node as usize].touches;
        touches
            .iter()
            .filter(|t| t.mode == mode)
            .map(|t| f64::from(t.strength * r.weight))
    });
    all.fold(0.0, f64::max)
}

/// What the leading suspect of a ranking says.
fn said(board: &Board, bank: &Bank, r: &Ranking) -> Option<Answer> {
    let leader = r.suspects.first()?;
    let model = &board.model;
    let mode = leader.modes[0].0;
    let at = |what: String| reach(model, mode, &format!("{}.{what}", bank.prefix));
    let struck = |stem: &str, n: u32| -> Vec<u32> {
        (0..n)
            .filter(|k| at(format!("{stem}.{k}")) >= 0.5)
            .collect()
    };
    let lines = struck("address", bank.pairs.len() as u32);
    match lines.as_slice() {
        [one] => return Some(Answer::Line(*one)),
        [a, b] => return Some(Answer::LineBridge(*a, *b)),
        [] => {}
        all if all.len() <= 4 => return Some(Answer::Lines(all.iter().fold(0, |m, k| m | 1 << k))),
        _ => {}
    }
    let position = &model.positions[model.units[leader.instance.unit].position].name;
    if let Some(chip) = bank.sockets.iter().position(|s| s == position) {
        return Some(Answer::Chip(chip));
    }
    if at("strobe.ras".into()).max(at("strobe.cas".into())) >= 0.5 {
        return Some(Answer::Strobe);
    }
    if at("write".into()) >= 0.5 {
        return Some(Answer::Write);
    }
    let bits = struck("bit", 8);
    match bits.as_slice() {
        [one] => Some(Answer::Chip(bank.chip_of(1 << one))),
        [a, b] => Some(Answer::Bridge(1 << a | 1 << b)),
        _ if at("refresh".into()) >= 0.5 => Some(Answer::Refresh),
        [] => None,
        _ => Some(Answer::Data),
    }
}

/// Counts of a campaign.
#[derive(Default)]
struct Tally {
    told: [usize; 2],
    class: [usize; 2],
    group: [usize; 2],
    hinted: [usize; 2],
    by_kind: BTreeMap<&'static str, [usize; 2]>,
    missed: Vec<String>,
}

impl Tally {
    fn share(of: [usize; 2]) -> f64 {
        of[0] as f64 / of[1].max(1) as f64
    }
}

fn add(of: &mut [usize; 2], right: bool) {
    of[0] += usize::from(right);
    of[1] += 1;
}

fn judge(tally: &mut Tally, board: &Board, b: usize, case: &Case) {
    let bank = &board.banks[b];
    let text = sheet(board, case);
    let parsed = parse("case", text.as_bytes()).unwrap();
    let ranking = rank(&board.model, &[parsed]).unwrap();
    let truth = case.fault.answer(bank);
    let possible = consistent(bank, case);
    let said = said(board, bank, &ranking);
    // Strobes and write reach all chips alike; who gates them is one group.
    let classes: BTreeSet<&str> = possible.iter().map(|a| a.class()).collect();
    let class = said.is_some_and(|s| classes.contains(s.class()));
    add(&mut tally.class, class);
    if possible.len() == 1 {
        let right = said == Some(truth);
        add(&mut tally.told, right);
        add(tally.by_kind.entry(KINDS[case.kind]).or_default(), right);
        if !right || !class {
            tally.missed.push(format!(
                "{:?} {:?}\n{text}said {said:?}, leader {}\n",
                case.fault,
                case.test.data,
                ranking.suspects.first().map_or("none", |s| &s.name)
            ));
        }
    } else {
        let among = |s: Answer| {
            let of = |a: &Answer| matches!((*a, s), (Answer::Several(m), Answer::Chip(c)) if bank.lanes(c) & m != 0);
            possible.contains(&s) || possible.iter().any(of)
        };
        let right = said.is_some_and(among);
        add(&mut tally.group, right);
        let hints = &ranking.observed.hints;
        let hinted = hints.iter().any(|h| h.text.contains("could be"));
        add(&mut tally.hinted, hinted);
        if !hinted {
            tally.missed.push(format!(
                "{:?} {:?} no further pattern, of {possible:?}\n{text}said {said:?}: {:?}\n",
                case.fault,
                case.test.data,
                hints.first().map(|h| &h.text)
            ));
        }
        if !right {
            tally.missed.push(format!(
                "{:?} {:?} of {possible:?}\n{text}said {said:?}, leader {}\n",
                case.fault,
                case.test.data,
                ranking.suspects.first().map_or("none", |s| &s.name)
            ));
        }
    }
}

fn campaign(cases: usize, seed: u64) -> Tally {
    let boards = all();
    let mut rng = StdRng::seed_from_u64(seed);
    let mut tally = Tally::default();
    let mut done = 0;
    while done < cases {
        let board = &boards[done % boards.len()];
        if let Some((b, case)) = random_case(&mut rng, board) {
            judge(&mut tally, board, b, &case);
            done += 1;
        }
    }
    tally
}

fn report(t: &Tally) {
    let line = |what: &str, of: [usize; 2]| {
        println!(
            "{what}: {} of {} ({:.1} %)",
            of[0],
            of[1],
            100.0 * Tally::share(of)
        )
    };
    line("right chip or line, where the lines can tell", t.told);
    line("right class", t.class);
    line("one of the group, where they cannot", t.group);
    line(
        "  and a further pattern is proposed, or that none would tell",
        t.hinted,
    );
    for (kind, of) in &t.by_kind {
        line(&format!("  {kind}"), *of);
    }
    if std::env::var_os("MISSED").is_some() {
        t.missed.iter().for_each(|m| println!("--- {m}"));
    }
}

/// A number from the environment.
fn number<T: std::str::FromStr>(name: &str) -> Option<T> {
    std::env::var(name).ok()?.parse().ok()
}

/// A seeded sample; `tests/full` runs 2,000 (`CASES`). `SEED` draws others, `MISSED` prints what was missed.
#[test]
fn the_right_chip_or_line_leads() {
    let cases = number("CASES").unwrap_or(200);
    let t = campaign(cases, number("SEED").unwrap_or(0x4164));
    report(&t);
    assert!(
        t.told[1] * 2 >= cases,
        "most cases can be told: {:?}",
        t.told
    );
    assert!(
        Tally::share(t.told) >= 0.95,
        "right chip or line: {:?}",
        t.told
    );
    assert!(Tally::share(t.class) >= 0.99, "right class: {:?}", t.class);
    assert!(
        Tally::share(t.group) >= 0.95,
        "one of the group: {:?}",
        t.group
    );
    assert!(Tally::share(t.hinted) >= 0.99, "hints: {:?}", t.hinted);
}

/// Operations on a few addresses give what operations on all of them give, in a small memory.
#[test]
fn a_few_addresses_are_as_good_as_all() {
    let bank = Bank {
        prefix: "memory",
        from: 0,
        to: 0xFF,
        sockets: (0..8).map(|i| format!("M{i}")).collect(),
        width: 1,
        pairs: crate::sim::wiring::regular(4, 4, 8),
        beside: vec![(0, 2), (3, 1)],
        own_data: true,
        own_write: true,
    };
    let mut seen = 0;
    for test in [
        Test::fill(Data::Mixed, true),
        Test::fill(Data::Checker(0x55), false),
        Test::march("March C-", 0, false),
        Test::march("March B", 0x55, false),
    ] {
        // What ties all of the small memory together takes long and is the whole by itself.
        for fault in Fault::all(&bank, &[0x12, 0xF3])
            .into_iter()
            .filter(|f| f.lines(&bank).count_ones() <= 4)
        {
            let run = Run {
                bank: &bank,
                test: &test,
                fault,
                warm: true,
                seed: 7,
            };
            let whole = run.whole();
            let mut apart: Vec<Seen> = (0..=0xFF).flat_map(|a| run.reads(a)).collect();
            let key = |s: &Seen| (s.element, s.address, s.op);
            let mut sorted = whole.clone();
            sorted.sort_by_key(key);
            apart.sort_by_key(key);
            let plain = |all: &[Seen]| -> Vec<(u32, u8)> {
                all.iter().map(|s| (s.address, s.read)).collect()
            };
            assert_eq!(plain(&sorted), plain(&apart), "{fault:?}");
            let first = run.first(6);
            let failing: Vec<Seen> = whole.into_iter().filter(Seen::fails).take(6).collect();
            assert_eq!(plain(&first), plain(&failing), "{fault:?}");
            seen += usize::from(!first.is_empty());
        }
    }
    assert!(seen > 300, "most of these faults show: {seen}");
}
