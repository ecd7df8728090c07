//! A ticket survives a pulled plug at any byte of any write, and two benches at once.

mod bench_support;

use bench_support::{Cut, Memory, run, said};
use std::path::Path;
use std::process::{Command, Stdio};
use whichsocket::bench::Ended;
use whichsocket::sheet::Statement;
use whichsocket::ticket::store::{FileStore, Store, written};
use whichsocket::ticket::{Status, Ticket};

/// A short machine, in groups of answers; each group ends in at most one write before its last answer is given.
const GROUPS: &[&[&str]] = &[
    &["0402"],
    &["dunlin-64"],
    &["faulty"],
    &["characters wrong, \u{e4}\u{f6}\u{fc} too"],
    &["a shed; ten years"],
    &[""],
    &[""],
    &["memory bit 3 bad"],
    &["rest fine"],
    &[""],
    &["note keys are yellow"],
    &["undo"],
    &["skip"],
    &["did swapped M3: cured", ""],
    &["did test ok in 0 of 14 loops"],
    &["close", "M3 dead", "cured and proved"],
    &["quit"],
];

fn flat(groups: &[&[&'static str]]) -> Vec<&'static str> {
    groups.iter().flat_map(|g| g.iter().copied()).collect()
}

/// What an uninterrupted session says, without its time stamps.
fn standing(bytes: &[u8]) -> Vec<Statement> {
    let ticket = Ticket::parse("cut", bytes).expect("a ticket");
    let all = ticket.statements().map(|(_, s)| s.clone());
    all.filter(|s| !matches!(s, Statement::At(_))).collect()
}

#[test]
fn cut_at_every_byte_it_loads_and_loses_at_most_the_answer_being_typed() {
    let mut store = Memory::default();
    let (ended, _) = run(&mut store, &flat(GROUPS));
    assert_eq!(ended.unwrap(), Ended::Closed);
    let mut cuts = 0;
    let mut before: Vec<u8> = Vec::new();
    for write in &store.writes {
        for cut in 0..write.len() {
            cuts += 1;
            let bytes = [&before[..], &write[..cut]].concat();
            let whole = bytes.iter().rposition(|b| *b == b'\n').map_or(0, |i| i + 1);
            let Ok(ticket) = Ticket::parse("cut", &bytes) else {
                assert_eq!(whole, 0, "only a ticket without a whole line does not load");
                continue;
            };
            // Everything before this write is there, unchanged; of the write, only whole lines.
            assert!(ticket.sheet.text.as_bytes().starts_with(&before));
            assert_eq!(ticket.sheet.text.as_bytes(), &bytes[..whole]);
            assert_eq!(
                ticket.torn.is_some(),
                !String::from_utf8_lossy(&bytes[whole..]).trim().is_empty()
            );
            // The next answer closes the cut line off; a cut within that write is as harmless.
            let next = written(bytes.last().copied(), &["memory bit 5 bad".into()]);
            for second in 0..=next.len() {
                let again = [&bytes[..], &next[..second]].concat();
                let Ok(ticket) = Ticket::parse("cut", &again) else {
                    continue;
                };
                let mut expected = if whole > 0 {
                    said(&bytes[..whole])
                } else {
                    Vec::new()
                };
                if second == next.len() {
                    expected.extend(said(b"memory bit 5 bad\n"));
                }
                assert_eq!(
                    said(&again),
                    expected,
                    "{}",
                    String::from_utf8_lossy(&again)
                );
                assert!(ticket.sheet.diags.is_empty(), "{:?}", ticket.sheet.diags);
            }
        }
        before.extend(write);
    }
    assert!(cuts > 400, "only {cuts} cuts were tried");
    assert_eq!(before, store.bytes);
}

#[test]
fn started_again_after_a_cut_it_ends_as_if_nothing_had_been() {
    let mut store = Memory::default();
    run(&mut store, &flat(GROUPS)).0.unwrap();
    let expected = standing(&store.bytes);
    let mut start = 0;
    for (k, write) in store.writes.iter().enumerate() {
        // A different place in each write; the last but one byte among them.
        let cut = [write.len() - 1, write.len() / 2, 0, write.len() * 3 / 4][k % 4];
        let mut cut_store = Cut::after(start + cut);
        let mut given = 0;
        let (ended, left) = run(&mut cut_store, &flat(GROUPS));
        assert!(ended.is_err(), "write {k} was cut");
        let used = flat(GROUPS).len() - left;
        // Back to the start of the group whose answer was lost.
        let group = GROUPS.iter().position(|g| {
            given += g.len();
            given >= used
        });
        let rest = flat(&GROUPS[group.expect("a group")..]);
        let mut resumed = Memory::with(cut_store.inner.bytes.clone());
        let (ended, _) = run(&mut resumed, &rest);
        assert_eq!(ended.unwrap(), Ended::Closed, "write {k}");
        assert_eq!(
            standing(&resumed.bytes),
            expected,
            "write {k}: {}",
            String::from_utf8_lossy(&resumed.bytes)
        );
        start += write.len();
    }
}

#[test]
fn zeros_of_a_power_cut_are_a_cut_off_line() {
    let head = b"ticket 0402\nboard dunlin-64\nmemory bit 3 bad\n";
    let mut bytes = [&head[..], b"rail +5V\0\0\0"].concat();
    for _ in 0..2 {
        assert!(Ticket::parse("cut", &bytes).unwrap().torn.is_some());
        let expected = said(&bytes);
        bytes.extend(written(bytes.last().copied(), &["memory bit 5 bad".into()]));
        assert_eq!(said(&bytes).len(), expected.len() + 1);
        bytes.extend(b"\0\0");
    }
    assert!(Ticket::parse("no text", b"\0\x01\x02").is_err());
    assert!(Ticket::parse("no text", b"memory\0bad\n").is_err());
}

#[test]
fn two_writers_at_once_lose_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("0402.ticket");
    std::thread::scope(|scope| {
        for writer in 0..4 {
            let path = &path;
            scope.spawn(move || {
                let mut store = FileStore::new(path);
                for n in 0..50 {
                    let line = format!("note writer {writer} line {n} {}", "x".repeat(n * 7));
                    store
                        .append(&[line, format!("note writer {writer} second {n}")])
                        .unwrap();
                }
            });
        }
    });
    let text = String::from_utf8(FileStore::new(&path).read().unwrap()).unwrap();
    assert_eq!(text.lines().count(), 400);
    for writer in 0..4 {
        let own: Vec<&str> = text
            .lines()
            .filter(|l| l.contains(&format!("writer {writer} line")))
            .collect();
        let expected: Vec<String> = (0..50)
            .map(|n| {
                format!("note writer {writer} line {n} {}", "x".repeat(n * 7))
                    .trim()
                    .to_string()
            })
            .collect();
        assert_eq!(own.iter().map(|l| l.trim()).collect::<Vec<_>>(), expected);
    }
    // Lines of one answer stand together.
    let lines: Vec<&str> = text.lines().collect();
    for pair in lines.chunks(2) {
        let who = |l: &str| l.split(' ').nth(2).map(String::from);
        assert_eq!(who(pair[0]), who(pair[1]));
    }
}

#[test]
fn two_benches_on_one_ticket_keep_every_answer() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("0402.ticket");
    std::fs::write(
        &path,
        "ticket 0402\nboard dunlin-64\ncame in faulty\nmemory bit 3 bad\nrest fine\n",
    )
    .unwrap();
    let bench = |who: &str| {
        let mut child = Command::new(env!("CARGO_BIN_EXE_whichsocket"))
            .args(["bench", path.to_str().unwrap()])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let answers: String = (0..8).map(|n| format!("note {who} {n}\n")).collect();
        std::io::Write::write_all(&mut child.stdin.take().unwrap(), answers.as_bytes()).unwrap();
        child
    };
    let children = [bench("left"), bench("right")];
    for child in children {
        assert!(child.wait_with_output().unwrap().status.success());
    }
    let ticket = Ticket::parse("0402", &std::fs::read(&path).unwrap()).unwrap();
    let notes: Vec<&str> = ticket.notes().into_iter().map(|(_, n)| n).collect();
    for who in ["left", "right"] {
        let own: Vec<&&str> = notes.iter().filter(|n| n.starts_with(who)).collect();
        assert_eq!(own.len(), 8, "{notes:?}");
        assert!(own.is_sorted());
    }
    assert_eq!(ticket.status(), Status::Open);
}

#[test]
fn a_ticket_with_a_cut_off_line_is_ranked_without_it() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("0402.ticket");
    let whole = "ticket 0402\nboard dunlin-64\nmemory bit 3 bad\n";
    let rank = |path: &Path| {
        let run = Command::new(env!("CARGO_BIN_EXE_whichsocket"))
            .args(["rank", "--no-next", path.to_str().unwrap()])
            .output()
            .unwrap();
        assert!(run.status.success());
        String::from_utf8(run.stdout).unwrap()
    };
    std::fs::write(&path, whole).unwrap();
    let expected = rank(&path);
    std::fs::write(&path, format!("{whole}rail +5V 4")).unwrap();
    assert_eq!(rank(&path), expected);
    FileStore::new(&path)
        .append(&["note back again".into()])
        .unwrap();
    assert_eq!(rank(&path), expected);
    assert!(
        std::fs::read_to_string(&path)
            .unwrap()
            .contains("rail +5V 4 # torn: not used\n")
    );
}
