//! Codes that stop at the first failure: they clear nothing that comes after, and after each cure the next one is about the same
//! board with one new part.

use whichsocket::infer::network::Outcome;
use whichsocket::observe::Evidence;
use whichsocket::rank::{Ranking, rank};
use whichsocket::sheet::parse;
use whichsocket::shipped::Library;

fn ranked(board: &str, text: &str) -> Ranking {
    let model = Library::default().board(board).unwrap();
    let sheet = parse("codes", text.as_bytes()).unwrap();
    let lost: Vec<_> = sheet
        .lines
        .iter()
        .filter(|l| l.not_understood.is_some())
        .collect();
    assert!(lost.is_empty(), "not understood: {lost:?}");
    rank(&model, &[sheet]).unwrap()
}

fn p(r: &Ranking, name: &str) -> f64 {
    let found = r.suspects.iter().find(|s| s.name == name);
    found.map_or(0.0, |s| s.probability)
}

/// Data bits above this one that some reading lets pass.
fn cleared(r: &Ranking, bit: usize) -> Vec<String> {
    let pass = r
        .observed
        .readings
        .iter()
        .filter_map(|x| match &x.evidence {
            Evidence::Check(c)
                if c.outcome == Outcome::Pass && c.check.starts_with("memory.bit.") =>
            {
                Some(c.check.clone())
            }
            _ => None,
        });
    let number = |id: &String| id.rsplit('.').next().and_then(|n| n.parse::<usize>().ok());
    pass.filter(|id| number(id).is_some_and(|n| n > bit))
        .collect()
}

/// The part to change next: the likeliest that is in the machine now.
fn next(r: &Ranking) -> String {
    let current = |s: &&whichsocket::rank::Suspect| {
        let cause = r
            .assembled
            .instances
            .iter()
            .position(|i| *i == s.instance)
            .unwrap();
        r.assembled.is_current(cause)
    };
    r.suspects.iter().find(current).unwrap().name.clone()
}

#[test]
fn three_bad_chips_are_found_one_after_the_other() {
    let dunlin = ["M0", "M1", "M2", "M3", "M4", "M5", "M6", "M7"];
    let wide = ["U21", "U9", "U22", "U10", "U23", "U11", "U24", "U12"];
    for (board, sockets) in [("dunlin-64", dunlin), ("64k-6510-wide", wide)] {
        for remedy in ["replaced CHIP", "swapped CHIP with known good: changed"] {
            for bad in [[1, 4, 6], [0, 1, 7], [2, 3, 5]] {
                one_after_the_other(board, &sockets, remedy, bad);
            }
        }
    }
}

fn one_after_the_other(board: &str, sockets: &[&str; 8], remedy: &str, bad: [usize; 3]) {
    let mut left = bad.to_vec();
    let mut text = format!("board {board}\ncame in faulty\n");
    let mut changed = Vec::new();
    // The code: the first data bit that fails, and no more.
    while let Some(&bit) = left.first() {
        text += &format!("memory bit {bit} bad\n");
        let r = ranked(board, &text);
        assert_eq!(
            cleared(&r, bit),
            Vec::<String>::new(),
            "a code clears nothing that comes after\n{text}"
        );
        let chip = next(&r);
        assert_eq!(chip, sockets[bit], "{text}");
        left.retain(|&b| sockets[b] != chip);
        text += &format!("{}\nnew run\n", remedy.replace("CHIP", &chip));
        changed.push(chip);
        assert!(changed.len() <= 3, "no other part is replaced: {changed:?}");
    }
    text += "memory ok\nrest fine\n";
    let r = ranked(board, &text);
    let named: Vec<&str> = bad.iter().map(|&b| sockets[b]).collect();
    assert_eq!(changed, named);
    for name in &named {
        assert!(
            p(&r, name) > 0.9,
            "{board} {remedy}: {name} {}\n{text}",
            p(&r, name)
        );
        let new = format!("{name} (new part)");
        assert!(p(&r, &new) < 0.05, "{new} {}", p(&r, &new));
    }
    for s in r
        .suspects
        .iter()
        .filter(|s| !named.contains(&s.name.as_str()))
    {
        assert!(
            s.probability < 0.1,
            "{board} {remedy}: {} {}\n{text}",
            s.name,
            s.probability
        );
    }
}
