//! Faults put into a simulated board, run sheets written of what it then shows, and how well the ranking finds them.
//! The whole campaign, with the figures that documents quote:
//! `cargo test --release --test inject -- --ignored --nocapture` (`tests/full` calls it).

// Matrices of keys are walked by row and column.
#![allow(clippy::needless_range_loop)]

#[path = "inject/mod.rs"]
mod inject;

use inject::faults::{Fault, Remedy};
use inject::patient::Patient;
use inject::picture::Screen;
use inject::score::{self, Calibration, Singles};
use inject::{Bench, Seen, spread};
use rand::rngs::StdRng;
use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use whichsocket::faultmap::model::BoardModel;
use whichsocket::sheet::parse;
use whichsocket::shipped::Library;

/// Share of sampled faults, of those that let the test run, of which the right socket leads.
const FLOOR: f64 = 0.45;

/// Every shipped board that the simulation knows.
fn boards() -> Vec<(BoardModel, Bench)> {
    // Maps of a folder instead of those shipped: to judge a change without building anew.
    let folder = std::env::var_os("INJECT_MAPS").map(std::path::PathBuf::from);
    let library = Library::open(folder.as_deref()).expect("maps without mistakes");
    let known = library
        .list()
        .into_iter()
        .filter(|b| inject::system::knows(&b.0));
    // One board alone.
    let only = std::env::var("INJECT_BOARD").ok();
    known
        .filter(|b| only.as_ref().is_none_or(|o| *o == b.0))
        .map(|(name, _)| {
            let model = library.board(&name).expect("a listed board");
            let bench = Bench::of(&model);
            (model, bench)
        })
        .collect()
}

#[test]
fn a_good_board_passes_everything() {
    for (_, bench) in boards() {
        let seen = bench.observe(&[]);
        let failing: Vec<_> = seen.results.failing().collect();
        let name = &bench.w.board;
        assert!(
            seen.results.ran && failing.is_empty(),
            "{name}: {failing:?} {:?} {:X?}",
            seen.results.screen,
            seen.results.cells.iter().take(8).collect::<Vec<_>>()
        );
        assert_eq!(seen.results.screen, Screen::Normal, "{name}");
        assert!(!seen.shows(&bench.w), "{name}: {:?}", seen.rails);
        // Memory, keys and the rest: this board has fewer of each.
        let least = if name == "48k-z80-ula" { 60 } else { 81 };
        assert!(
            seen.results.tests.len() >= least,
            "{name}: {} tests",
            seen.results.tests.len()
        );
    }
}

#[test]
fn a_good_board_measures_as_its_map_expects() {
    for (model, bench) in boards() {
        let seen = bench.observe(&[]);
        let mut wrong = Vec::new();
        for ((place, word), (line, ..)) in seen.levels.iter().zip(&bench.w.points) {
            let name = &bench.w.lines[*line];
            let line = model
                .lines
                .iter()
                .find(|l| l.line == *name)
                .expect("a line of the map");
            let expected = format!("{:?}", line.expect).to_lowercase();
            if expected != *word {
                wrong.push(format!(
                    "{name} at {place}: {word}, the map expects {expected}"
                ));
            }
        }
        assert!(wrong.is_empty(), "{}:\n{}", bench.w.board, wrong.join("\n"));
    }
}

#[test]
fn every_line_of_a_simulated_sheet_is_understood() {
    let mut rng = StdRng::seed_from_u64(1);
    for (_, mut bench) in boards() {
        bench.slips = 0.0;
        let mut faults = bench.faults();
        faults.shuffle(&mut rng);
        for fault in faults.iter().take(30) {
            let text = bench.results(std::slice::from_ref(fault), rng.random());
            let sheet = parse("simulated", text.as_bytes()).expect("lines");
            let lost: Vec<_> = sheet
                .lines
                .iter()
                .filter(|l| l.not_understood.is_some())
                .map(|l| &text[l.span.start..l.span.end])
                .collect();
            assert!(lost.is_empty(), "{lost:?}\n{text}");
        }
    }
}

/// A machine that is repaired: what does not touch the fault leaves it, the right remedy cures it.
#[test]
fn remedies_at_the_right_place_cure() {
    for (_, bench) in boards() {
        let mut all = bench.faults();
        all.shuffle(&mut StdRng::seed_from_u64(5));
        let (mut socket, mut part) = (0, 0);
        for fault in all
            .iter()
            .filter(|f| bench.shows(std::slice::from_ref(f)))
            .take(10)
        {
            let mut machine = Patient::new(&bench, vec![fault.clone()], 9);
            assert!(!machine.works(), "{}", fault.words(&bench.w));
            assert_eq!(machine.remedy("no such place", Remedy::Swap), 0);
            let remedy = match fault.unit.rsplit_once(' ') {
                Some((_, "contacts")) => Remedy::Reseat,
                Some((_, "joints")) => Remedy::Resolder,
                Some((_, _)) if fault.unit.contains(" pin ") => Remedy::Reseat,
                _ => Remedy::Swap,
            };
            socket += usize::from(remedy == Remedy::Reseat);
            part += usize::from(remedy == Remedy::Swap);
            assert_eq!(
                machine.remedy(&fault.unit, remedy),
                1,
                "{}",
                fault.words(&bench.w)
            );
            assert!(machine.works() && machine.faults().is_empty());
        }
        assert!(socket > 0 && part > 0, "{}", bench.w.board);
    }
}

type Shown = (Fault, Seen);

/// Faults that show, with what they show.
fn visible(bench: &Bench, all: &[Fault]) -> Vec<Shown> {
    let seen = spread(all, |_, f| bench.observe(std::slice::from_ref(f)));
    all.iter()
        .cloned()
        .zip(seen)
        .filter(|(_, seen)| seen.shows(&bench.w))
        .collect()
}

/// Figures of single faults: those with which the test ran, those with which it did not, and both as often as they
/// happen.
fn singles(
    bench: &Bench,
    model: &BoardModel,
    faults: &[Shown],
    sheets: usize,
    seed: u64,
) -> [Singles; 3] {
    let each = spread(faults, |k, (fault, seen)| {
        let same = faults.iter().filter(|f| f.0.unit == fault.unit).count();
        let weight = score::rate(model, &fault.unit) / same as f64;
        let mut rng = StdRng::seed_from_u64(seed + k as u64);
        let mut one = [Singles::default(), Singles::default()];
        for _ in 0..sheets {
            let text = bench.sheet(seen, rng.random());
            let place = score::ranked(model, &text, &fault.unit);
            one[0].add(fault.words(&bench.w), &place, 1.0);
            one[1].add(fault.words(&bench.w), &place, weight);
        }
        one
    });
    let mut out = [Singles::default(), Singles::default(), Singles::default()];
    for ((_, seen), [plain, weighted]) in faults.iter().zip(each) {
        out[usize::from(!seen.results.ran)].join(plain);
        out[2].join(weighted);
    }
    out
}

/// A seeded sample of the campaign, where the test ran: dark machines take most of the time, and the campaign counts them. The floors are
/// below the measured figures by more than a sample of this size scatters.
#[test]
fn sampled_faults_are_found() {
    for (model, bench) in boards() {
        let mut all = bench.faults();
        all.shuffle(&mut StdRng::seed_from_u64(11));
        let mut faults = visible(&bench, &all[..90]);
        faults.retain(|(_, seen)| seen.results.ran);
        let [ran, _, _] = singles(&bench, &model, &faults, 1, 12);
        println!("{}\n  {}", bench.w.board, ran.line());
        assert!(
            ran.sheets > 30,
            "{}: the test runs with most faults",
            bench.w.board
        );
        let share = ran.socket / ran.weight;
        assert!(
            share > FLOOR,
            "{}: right socket first {share:.2}",
            bench.w.board
        );
    }
}

fn print(title: &str, c: &Calibration) {
    println!("  calibration, {title}:\n{}", c.lines());
}

#[test]
#[ignore = "the whole campaign; tests/full runs it"]
fn campaign() {
    let sheets = std::env::var("INJECT_SHEETS")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(5);
    let machines = std::env::var("INJECT_MACHINES")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(1000);
    let part = std::env::var("INJECT_EVERY")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(1usize);
    for (model, bench) in boards() {
        let all: Vec<_> = bench.faults().into_iter().step_by(part).collect();
        let number = all.len();
        let faults = visible(&bench, &all);
        println!("{}: {number} faults, {} show", bench.w.board, faults.len());
        let [ran, dark, weighted] = singles(&bench, &model, &faults, sheets, 1);
        println!("  test ran:      {}", ran.line());
        println!("  test did not:  {}", dark.line());
        println!("  both, as often as they happen: {}", weighted.line());
        let same = |f: &Fault| faults.iter().filter(|o| o.0.unit == f.unit).count() as f64;
        let rate = |f: &Fault| score::rate(&model, &f.unit) / same(f);
        for (title, by_rate) in [
            ("each fault once", false),
            ("as often as they happen", true),
        ] {
            let weight = |f: &Fault| if by_rate { rate(f) } else { 1.0 };
            let unit = score::ceiling(&faults, weight, |f| &f.unit);
            let socket = score::ceiling(&faults, weight, |f| score::position(&f.unit));
            for (what, c) in [("units", unit), ("sockets", socket)] {
                println!(
                    "  at best, without noise, {title}, {what}: first {:.1} %, with 1/size {:.1} %, in the first three {:.1} %",
                    100.0 * c.first,
                    100.0 * c.credit,
                    100.0 * c.three
                );
            }
        }
        for (s, title) in [(&ran, "test ran"), (&dark, "test did not run")] {
            println!("  not in a leading group of three, {title}:");
            let mut misses: Vec<_> = s.misses.iter().collect();
            misses.sort_by_key(|m| std::cmp::Reverse(m.1));
            for ((fault, leader), times) in misses {
                println!("    {times} {fault}: {leader} led");
            }
        }
        let list: Vec<_> = faults.iter().map(|f| f.0.clone()).collect();
        let (tried, both, sockets) = score::pairs(&bench, &model, &list, machines * 2, 2);
        println!(
            "  pairs: both units in the first four {:.1} %, both sockets {:.1} % of {tried}",
            100.0 * both as f64 / tried as f64,
            100.0 * sockets as f64 / tried as f64
        );
        print(
            "as it is",
            &score::calibrate(&bench, &model, &|_| model.clone(), machines, 0.0, 3),
        );
        print(
            "5 % outside the map",
            &score::calibrate(&bench, &model, &|_| model.clone(), machines, 0.05, 4),
        );
        print(
            "rates and strengths off by up to two, 5 % outside",
            &score::calibrate(
                &bench,
                &model,
                &|k| score::perturbed(&model, k),
                machines,
                0.05,
                5,
            ),
        );
    }
}

/// `INJECT_FAULT='U1 6526 pin 27' cargo test --test inject look -- --ignored --nocapture`: the sheet of each fault whose
/// words contain that, and who is suspected.
#[test]
#[ignore = "to look at one fault by hand"]
fn look() {
    let wanted = std::env::var("INJECT_FAULT").unwrap_or_default();
    for (model, bench) in boards() {
        for fault in bench
            .faults()
            .iter()
            .filter(|f| f.words(&bench.w).contains(&wanted))
            .take(3)
        {
            let text = bench.results(std::slice::from_ref(fault), 1);
            println!(
                "== {}: {} [{}]\n{text}",
                bench.w.board,
                fault.words(&bench.w),
                fault.unit
            );
            let (Some(r), lost) = score::ranking(&model, &text) else {
                println!("no ranking");
                continue;
            };
            for s in r.suspects.iter().take(8) {
                println!(
                    "   {:5.3} {} ({})",
                    s.probability, s.name, model.modes[s.modes[0].0 as usize].what
                );
            }
            println!("   groups {:?}, {lost} lines not understood", r.groups);
        }
    }
}

/// `INJECT_SHEET=a.txt INJECT_FAULT='U2 data pin 5,U8 joints' cargo test --test inject why -- --ignored --nocapture`: how well single
/// modes explain a sheet, and which checks cost them most.
#[test]
#[ignore = "to look at one sheet by hand"]
fn why() {
    let text = std::fs::read_to_string(std::env::var("INJECT_SHEET").expect("a sheet"))
        .expect("a sheet that can be read");
    let wanted: Vec<String> = std::env::var("INJECT_FAULT")
        .map(|f| f.split(',').map(str::to_string).collect())
        .unwrap_or_default();
    for (model, _) in boards().iter().filter(|b| text.contains(&b.1.w.board)) {
        let (Some(r), _) = score::ranking(model, &text) else {
            println!("no ranking");
            continue;
        };
        for (log, words) in inject::misses::explanations(model, &r, &wanted)
            .iter()
            .take(40)
        {
            println!("{log:8.2} {words}");
        }
    }
}

/// `INJECT_EVERY=9 cargo test --release --test inject misses -- --ignored --nocapture`: a table of what the ranking missed,
/// by what its model says of the right unit and the sheet does not, or the other way round. One sheet a fault.
#[test]
#[ignore = "to see what to mend first"]
fn misses() {
    let part = std::env::var("INJECT_EVERY")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(9usize);
    for (model, mut bench) in boards() {
        bench.slips = 0.0;
        let all: Vec<_> = bench.faults().into_iter().step_by(part).collect();
        let faults = visible(&bench, &all);
        let rows = spread(&faults, |k, (fault, seen)| {
            let text = bench.sheet(seen, k as u64);
            let (Some(r), _) = score::ranking(&model, &text) else {
                return None;
            };
            let p = score::place(&model, &r, &fault.unit);
            let (class, detail) = inject::misses::class(&model, &r, fault, &p);
            let ran = if seen.results.ran { "ran " } else { "dark" };
            let place = p.rank.map_or("-".into(), |k| (k + 1).to_string());
            Some((
                p.first,
                format!("{ran} {class}"),
                format!("[{place}] {}: {detail}", fault.words(&bench.w)),
            ))
        });
        let mut table: std::collections::BTreeMap<String, Vec<String>> = Default::default();
        for (_, class, line) in rows.into_iter().flatten().filter(|r| !r.0) {
            table.entry(class).or_default().push(line);
        }
        let mut table: Vec<_> = table.into_iter().collect();
        table.sort_by_key(|t| std::cmp::Reverse(t.1.len()));
        println!("== {}: {} faults show", bench.w.board, faults.len());
        for (class, lines) in table {
            println!("{:4} {class}", lines.len());
            for line in lines {
                println!("       {line}");
            }
        }
    }
}

/// `INJECT_FAULT='U7:data pin 7' cargo test --test inject touches -- --ignored --nocapture`: what a mode of the map reaches, and how
/// surely.
#[test]
#[ignore = "to look at one mode by hand"]
fn touches() {
    let wanted = std::env::var("INJECT_FAULT").expect("a unit and words of a mode");
    let (unit, what) = wanted.split_once(':').expect("unit:mode");
    for (model, _) in boards() {
        let modes = model.modes.iter().enumerate();
        for (k, m) in modes.filter(|(_, m)| &*model.units[m.unit as usize].name == unit) {
            if !m.what.contains(what) {
                continue;
            }
            println!("{unit} {}", m.what);
            for n in &model.nodes {
                for t in n.touches.iter().filter(|t| t.mode as usize == k) {
                    println!("   {} {:?} {:.3}", n.name, t.kind, t.strength);
                }
            }
        }
    }
}

/// `INJECT_EVERY=1 cargo test --test inject unseen -- --ignored --nocapture`: faults that neither the run, the picture nor a rail
/// shows, by the part's kind; whether a measuring point would show them.
#[test]
#[ignore = "to see what the simulation is blind to"]
fn unseen() {
    let part = std::env::var("INJECT_EVERY")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(9usize);
    for (_, bench) in boards() {
        let good = bench.observe(&[]);
        let all: Vec<_> = bench.faults().into_iter().step_by(part).collect();
        let seen = spread(&all, |_, f| bench.observe(std::slice::from_ref(f)));
        let hidden: Vec<_> = (all.iter().zip(&seen))
            .filter(|(_, s)| !s.shows(&bench.w))
            .collect();
        println!(
            "{}: {} of {} hidden",
            bench.w.board,
            hidden.len(),
            all.len()
        );
        for (fault, seen) in hidden {
            let level = (seen.levels.iter().zip(&good.levels)).find(|(a, b)| a != b);
            let level = level.map_or(String::new(), |(a, _)| format!("; {} {}", a.0, a.1));
            println!("    {}{level}", fault.words(&bench.w));
        }
    }
}
