//! Many sheets: the short way gives the same ranking, whatever was kept of earlier sheets, on any number of threads.

#[path = "common/sheets.rs"]
mod sheets;

use sheets::random_sheet;
use whichsocket::commands::input;
use whichsocket::many::rank_each;
use whichsocket::rank::{Ranking, Suspect, brief, rank};
use whichsocket::sheet::{RunSheet, parse};
use whichsocket::shipped::Library;

const SHEETS: u64 = 150;

/// A dark board probed at many pins: what a fault does to lines hangs together, passing or not.
const DARK: &str = "board 64k-6510-wide\ncame in faulty\nblack screen\nU7.40 high\nU7.39 low\nU7.7 pulsing\nU7.8 low\nU7.9 low\n\
                    U7.10 pulsing\nU7.11 pulsing\nU7.12 low\nU7.13 low\nU7.14 pulsing\nU19.18 high\nU17.18 high\n";

/// What only a network can take: three runs, a part that went back in, parts that changed places.
const FOR_A_NETWORK: [&str; 3] = [
    "board dunlin-64\ncame in faulty\nmemory bit 3 bad\nrest fine\nnew run\nmemory bit 3 ok\nrest fine\nnew run\nmemory bit 3 bad\nrest fine\n",
    "board dunlin-64\ncame in faulty\nmemory bit 3 bad\nrest fine\nswapped L7: no change\nput back L7\n",
    "board dunlin-64\nmemory bit 3 bad\nrest fine\nswapped M3 and M4: fault moved\n",
];

/// Machines that changed under the hands, and faults that come and go from run to run.
const COURSES: [&str; 16] = [
    "board dunlin-64\ncame in faulty\nmemory bit 3 bad\nrest fine\nswapped M3: no change\n",
    "board dunlin-64\ncame in faulty\nmemory bit 3 bad\nrest fine\nswapped M3: cured\n",
    "board dunlin-64\ncame in faulty\nmemory bit 3 bad\nrest fine\nswapped M3\nnew run\nmemory bit 3 bad\nrest fine\n",
    "board dunlin-64\ncame in faulty\nmemory bit 3 bad\nrest fine\nswapped M3\nnew run\nrest fine\n",
    "board dunlin-64\ncame in faulty\nmemory bits 1 5 bad\nvoice 2 silent\nrest fine\nswapped L7: no change\nreplaced M3: no change\n",
    "board dunlin-64\ncame in faulty\nmemory bits 1 5 6 bad\nrest fine\nswapped L7: no change\nrail 5V 5.02\nnew run\nmemory bit 1 bad\nrest fine\n",
    "board dunlin-64\nkeys dead ESC 2\nrest fine\nreseated J3: no change\nnew run\nkeys dead ESC 2\nKR0 low\n",
    "board dunlin-64\nkey D dead\nkey F dead\nrest fine\nreseated J3: no change\nnew run\nkey F dead\nrest fine\n",
    "board dunlin-64\nmemory bit 3 bad\nrest fine\nresoldered J99: cured\n",
    "board dunlin-64\nmemory bit 3 bad in 1 of 5 loops\nrest fine\nswapped M3: no change\nnew run\nmemory bit 3 ok\n",
    "board dunlin-64\nmemory bit 3 bad in 3 of 20 loops\nmemory bit 4 bad in 1 of 20 loops\nvoice 2 silent\nrest fine\nnew run\n\
     memory bit 3 bad in 2 of 20 loops\nvoice 2 ok\nrest fine\n",
    "board 64k-6510-wide\ncame in faulty\ncomplaint black screen\nblack screen\nmemory bits 0 1 2 3 bad\nnew run\npicture garbage\nrest fine\n",
    "board 64k-6510-wide\ncame in faulty\npicture garbage\nclock 2 stopped\nrest fine\nswapped U1 with known good: worse\nnew run\nblack screen\n",
    "board 64k-6510-wide\ncame in faulty\nsound bad\nempty U18\nrest fine\nswapped U1 with known good: no change\n",
    "board z80-ppi-vdp\ncame in faulty\ntimer 1a bad\nkeyboard ok\nuser port ok\nrest fine\nswapped U1 with known good: no change\n",
    "board 48k-z80-ula\ncame in faulty\n5040 wrote 55 read 15\n5042 wrote AA read A2\n5044 wrote 55 read 15\nrest fine\n\
     swapped U1 with known good: no change\nswapped IC2: no change\nnew run\n5040 wrote 55 read 15\nrest fine\n",
];

fn read(seed: u64) -> Vec<RunSheet> {
    vec![parse("a sheet", random_sheet(seed).as_bytes()).unwrap()]
}

/// Random sheets, and those above.
fn all() -> Vec<Vec<RunSheet>> {
    let given = [DARK].into_iter().chain(FOR_A_NETWORK).chain(COURSES);
    let given = given.map(|text| vec![parse("a given sheet", text.as_bytes()).unwrap()]);
    (0..SHEETS).map(read).chain(given).collect()
}

/// Names with probabilities and those of their modes; groups; probabilities that the suspects are at fault still, and common
/// causes; ln P(readings).
type Told = (
    Vec<(String, f64, Vec<(u32, f64)>)>,
    Vec<Vec<String>>,
    Vec<f64>,
    f64,
);

fn told(r: &Ranking) -> Told {
    let suspects = r
        .suspects
        .iter()
        .map(|s| (s.name.clone(), s.probability, s.modes.clone()));
    let cause = |s: &Suspect| r.assembled.cause_of(s.instance).unwrap();
    let still = r.suspects.iter().map(|s| r.still(cause(s)));
    let common = still.chain(r.common.iter().map(|c| c.1)).collect();
    let ln = r.posterior.log_evidence;
    (suspects.collect(), r.groups.clone(), common, ln)
}

fn close(a: &Told, b: &Told, what: &str) {
    assert_eq!(a.1, b.1, "{what}: groups");
    assert_eq!(a.0.len(), b.0.len(), "{what}");
    for ((name, p, modes), (other, q, others)) in a.0.iter().zip(&b.0) {
        assert_eq!(name, other, "{what}");
        assert!((p - q).abs() < 1e-9, "{what}: {name} {p} {q}");
        assert_eq!(modes.len(), others.len(), "{what}: {name}");
        for ((m, p), (n, q)) in modes.iter().zip(others) {
            assert_eq!(m, n, "{what}: {name}");
            assert!((p - q).abs() < 1e-9 * p.max(1e-6), "{what}: {name} {p} {q}");
        }
    }
    for (x, y) in a.2.iter().zip(&b.2) {
        assert!(
            (x - y).abs() < 1e-9,
            "{what}: still or common causes {x} {y}"
        );
    }
    assert!(
        (a.3 - b.3).abs() < 1e-9 * a.3.abs(),
        "{what}: {} {}",
        a.3,
        b.3
    );
}

/// How many effects the network of a ranking lists.
fn listed(r: &Ranking) -> usize {
    let modes = r.assembled.net.causes.iter().flat_map(|c| &c.modes);
    modes.map(|m| m.effects.len()).sum()
}

#[test]
fn the_short_ways_rank_as_the_long_one_and_on_fresh_boards() {
    let library = Library::open(None).unwrap();
    let (mut without, mut shorter) = (0, 0);
    let all = all();
    for (seed, sheets) in all.iter().enumerate() {
        let board = input::board(&library, None, sheets).unwrap();
        // A copy of the board has kept nothing of earlier sheets.
        let fresh = rank(&board.as_ref().clone(), sheets).unwrap();
        let kept = told(&rank(&board, sheets).unwrap());
        assert_eq!(told(&fresh), kept, "{seed}");
        let brief = brief(&board, sheets).unwrap();
        close(&kept, &told(&brief), &format!("sheet {seed}"));
        match listed(&brief) {
            0 => without += 1,
            n => shorter += u64::from(n < listed(&fresh)),
        }
    }
    let (all, network) = (all.len() as u64, FOR_A_NETWORK.len() as u64 + 1);
    assert!(
        without > all * 9 / 10 && shorter >= network && without + shorter == all,
        "the short ways were hardly taken: {without} and {shorter} of {all}"
    );
}

#[test]
fn the_short_ways_rank_every_sample_as_the_long_one() {
    let library = Library::open(None).unwrap();
    let mut ranked = 0;
    for entry in std::fs::read_dir("samples").unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|e| e != "run") {
            continue;
        }
        let what = path.display().to_string();
        let sheets = [parse(&what, &std::fs::read(&path).unwrap()).unwrap()];
        let Ok(board) = input::board(&library, None, &sheets) else {
            continue;
        };
        let long = told(&rank(&board, &sheets).unwrap());
        close(&long, &told(&brief(&board, &sheets).unwrap()), &what);
        ranked += 1;
    }
    assert!(ranked >= 10, "only {ranked} samples");
}

#[test]
fn any_number_of_threads_gives_the_same_in_order() {
    let library = Library::open(None).unwrap();
    let on = |threads| {
        let mut out = Vec::new();
        rank_each(
            &library,
            (0..SHEETS).map(read),
            threads,
            |sheets, ranked| {
                let ranked = ranked?;
                out.push((
                    sheets[0].text.clone(),
                    ranked.board.board.clone(),
                    told(&ranked.ranking),
                ));
                Ok::<(), String>(())
            },
        )
        .unwrap();
        out
    };
    let one = on(1);
    assert_eq!(one.len(), SHEETS as usize);
    assert_eq!(one, on(3));
    for (seed, (text, ..)) in one.iter().enumerate() {
        assert_eq!(*text, random_sheet(seed as u64));
    }
}

/// One machine has all cores to itself; its numbers are the same to the last digit on one and on three (sums go by groups of settings).
#[test]
fn a_single_machine_is_the_same_on_any_number_of_threads() {
    let on = |threads: &str| {
        let out = std::process::Command::new(env!("CARGO_BIN_EXE_whichsocket"))
            .args(["next", "--json", "--threads", threads])
            .arg("samples/wide-all-bits-bad.run")
            .output()
            .expect("the program");
        assert!(out.status.success());
        String::from_utf8(out.stdout).expect("text")
    };
    let one = on("1");
    assert!(one.contains("\"next\""), "{one}");
    assert_eq!(one, on("3"));
}

#[test]
fn a_sheet_without_a_board_is_told_in_its_place() {
    let library = Library::open(None).unwrap();
    let texts = [
        "board dunlin-64; memory bit 3 bad",
        "memory bit 3 bad",
        "board no-such; rest fine",
    ];
    let machines = texts
        .iter()
        .map(|t| vec![parse("a sheet", t.as_bytes()).unwrap()]);
    let mut went_well = Vec::new();
    let done = rank_each(&library, machines, 2, |_, ranked| {
        went_well.push(ranked.is_ok());
        Ok::<(), ()>(())
    });
    assert_eq!((done, went_well), (Ok(()), vec![true, false, false]));
}
