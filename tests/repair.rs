//! What the plan is worth: machines with one or two faults are repaired in simulation by the proposed steps, by swapping in
//! the order of the ranking, and by swapping in the order of the failure rates, all at the costs of `next::costs`.
//!
//! The faults and what they show come from the simulated bench of `tests/inject`, which shares nothing with the ranking's
//! model but the wiring. The whole comparison: `cargo test --release --test repair -- --ignored --nocapture`;
//! `REPAIR_MACHINES=9 REPAIR_BOARD=dunlin-64 REPAIR_LOOK=1` takes so many machines of one board and tells every step;
//! `REPAIR_ONLY=5` of them the one with this number; `REPAIR_SEED=2` takes others.

// Matrices of keys are walked by row and column.
#![allow(clippy::needless_range_loop)]

#[path = "inject/mod.rs"]
mod inject;

#[path = "repair/ways.rs"]
mod ways;

use inject::faults::Fault;
use inject::score::Singles;
use inject::{Bench, score};
use rand::rngs::StdRng;
use rand::seq::{IndexedRandom, SliceRandom};
use rand::{RngExt, SeedableRng};
use ways::{Repair, Way};
use whichsocket::faultmap::model::BoardModel;
use whichsocket::shipped::Library;

/// A machine on the bench: what is wrong with it and the sheet that it came with.
struct Machine {
    faults: Vec<Fault>,
    sheet: String,
    seed: u64,
}

/// Faults as often as they happen, that show: each second machine has two.
fn machines(model: &BoardModel, bench: &Bench, number: usize, seed: u64) -> Vec<Machine> {
    let mut rng = StdRng::seed_from_u64(seed);
    let all = bench.faults();
    let weighted: Vec<(f64, &Fault)> = all
        .iter()
        .map(|f| {
            let same = all.iter().filter(|o| o.unit == f.unit).count() as f64;
            (score::rate(model, &f.unit) / same, f)
        })
        .collect();
    let draw = |rng: &mut StdRng| -> Fault {
        let chosen = weighted
            .choose_weighted(rng, |w| w.0)
            .expect("faults with rates");
        chosen.1.clone()
    };
    let mut out = Vec::new();
    while out.len() < number {
        let mut faults = vec![draw(&mut rng)];
        if out.len() % 2 == 1 {
            let other = draw(&mut rng);
            if other.unit == faults[0].unit {
                continue;
            }
            faults.push(other);
        }
        // Every fault must show by itself: what nobody can see, nobody can repair.
        if faults.iter().any(|f| !bench.shows(std::slice::from_ref(f))) {
            continue;
        }
        let seed = rng.random();
        out.push(Machine {
            sheet: bench.results(&faults, seed),
            faults,
            seed,
        });
    }
    out
}

/// Sums over machines.
#[derive(Default, Clone, Copy)]
struct Sum {
    machines: f64,
    minutes: f64,
    vain: f64,
    tried: f64,
    repaired: f64,
    steps: f64,
}

impl Sum {
    fn add(&mut self, r: &Repair) {
        self.machines += 1.0;
        self.minutes += r.minutes;
        self.vain += f64::from(r.vain);
        self.tried += f64::from(r.tried);
        self.repaired += f64::from(u8::from(r.works));
        self.steps += f64::from(r.steps);
    }

    fn join(mut self, o: Self) -> Self {
        self.machines += o.machines;
        self.minutes += o.minutes;
        self.vain += o.vain;
        self.tried += o.tried;
        self.repaired += o.repaired;
        self.steps += o.steps;
        self
    }

    fn line(&self) -> String {
        format!(
            "{:6.1} min a machine, {:5.2} soldered parts and {:5.2} in sockets in vain, {:5.1} % repaired, {:4.1} steps ({} machines)",
            self.minutes / self.machines,
            self.vain / self.machines,
            self.tried / self.machines,
            100.0 * self.repaired / self.machines,
            self.steps / self.machines,
            self.machines
        )
    }
}

/// Machines that the plan took longest for, to be told.
const WORST: usize = 5;

/// What came of a list of machines.
#[derive(Default, Clone)]
struct Compared {
    /// By number of faults less one, and way.
    sums: [[Sum; 3]; 2],
    /// Minutes of the plan with what was wrong.
    by_plan: Vec<(f64, String)>,
}

impl Compared {
    fn join(mut self, other: Self) -> Self {
        let both = self
            .sums
            .iter_mut()
            .flatten()
            .zip(other.sums.into_iter().flatten());
        both.for_each(|(x, y)| *x = x.join(y));
        self.by_plan.extend(other.by_plan);
        self
    }

    fn tell(&mut self) {
        for (title, of) in [("one fault", self.sums[0]), ("two faults", self.sums[1])] {
            println!("  {title}");
            for (way, sum) in Way::ALL.into_iter().zip(of) {
                println!("    {:28} {}", way.words(), sum.line());
            }
        }
        println!("  longest by the plan, and those with soldered parts in vain");
        self.by_plan
            .sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| a.1.cmp(&b.1)));
        for (k, (minutes, what)) in self.by_plan.iter().enumerate() {
            if k < WORST || what.contains("in vain") {
                println!("    {minutes:6.1} min: {what}");
            }
        }
    }
}

/// One machine by each way.
fn compare_one(model: &BoardModel, bench: &Bench, k: usize, m: &Machine) -> Compared {
    let mut done = Compared::default();
    let words: Vec<String> = m.faults.iter().map(|f| f.words(&bench.w)).collect();
    let look = std::env::var_os("REPAIR_LOOK").is_some();
    if look {
        println!("{k} came with\n{}", m.sheet);
    }
    for (w, way) in Way::ALL.into_iter().enumerate() {
        let repair = ways::repair(model, bench, &m.faults, &m.sheet, m.seed, way);
        done.sums[m.faults.len() - 1][w].add(&repair);
        if way == Way::Plan {
            let vain = match repair.vain {
                0 => String::new(),
                n => format!(", {n} in vain"),
            };
            let given_up = if repair.works { "" } else { ", given up" };
            let what = words.join(" and ");
            let told = format!("machine {k}, {what}{vain}{given_up}");
            done.by_plan.push((repair.minutes, told));
        }
        if look {
            println!(
                "{k} {way:?}: {words:?}: {:.1} min, works {}\n{}",
                repair.minutes, repair.works, repair.log
            );
        }
    }
    done
}

/// Each machine by each way, in as many threads as there are cores.
fn compare(model: &BoardModel, bench: &Bench, list: &[Machine]) -> Compared {
    let only: Option<usize> = std::env::var("REPAIR_ONLY")
        .ok()
        .map(|k| k.parse().expect("a number of a machine"));
    let each = inject::spread(list, |k, m| match only {
        Some(only) if only != k => Compared::default(),
        _ => compare_one(model, bench, k, m),
    });
    each.into_iter().fold(Compared::default(), Compared::join)
}

fn boards() -> Vec<(BoardModel, Bench)> {
    let library = Library::open(None).expect("maps without mistakes");
    let known = library.list().into_iter();
    known
        .filter(|b| inject::system::knows(&b.0))
        .filter(|b| std::env::var("REPAIR_BOARD").map_or(true, |only| only == b.0))
        .map(|(name, _)| {
            let model = library.board(&name).expect("a listed board");
            let bench = Bench::of(&model);
            (model, bench)
        })
        .collect()
}

fn table(number: usize, seed: u64) -> [Sum; 3] {
    let mut all = [Sum::default(); 3];
    for (model, bench) in boards() {
        let list = machines(&model, &bench, number, seed);
        let mut done = compare(&model, &bench, &list);
        println!("{}", bench.w.board);
        done.tell();
        for w in 0..3 {
            all[w] = all[w].join(done.sums[0][w]).join(done.sums[1][w]);
        }
    }
    println!("all");
    for (way, sum) in Way::ALL.into_iter().zip(all) {
        println!("    {:28} {}", way.words(), sum.line());
    }
    println!(
        "  the plan takes {:.2} of the minutes of swapping by rank, {:.2} of swapping by rate",
        all[0].minutes / all[1].minutes,
        all[0].minutes / all[2].minutes
    );
    all
}

/// What was found of single faults by what they show, and by the measurements that the plan asks for before it changes anything.
#[derive(Default)]
struct Guided {
    /// By what the test and the eye showed.
    before: Singles,
    /// With the measurements.
    after: Singles,
    /// The same, as often as the faults happen.
    often: Singles,
    /// What would be put right first is at the place of the fault, by number and as often as they happen.
    right: f64,
    right_often: f64,
    steps: f64,
}

impl Guided {
    fn join(mut self, other: Self) -> Self {
        self.before.join(other.before);
        self.after.join(other.after);
        self.often.join(other.often);
        self.right += other.right;
        self.right_often += other.right_often;
        self.steps += other.steps;
        self
    }
}

fn guided_of(model: &BoardModel, bench: &Bench, list: &[(Fault, f64)]) -> Guided {
    let each = inject::spread(list, |k, (fault, weight)| {
        let mut done = Guided::default();
        let faults = std::slice::from_ref(fault);
        let sheet = bench.results(faults, k as u64);
        let words = fault.words(&bench.w);
        let first = score::ranked(model, &sheet, &fault.unit);
        done.before.add(words.clone(), &first, 1.0);
        let m = ways::measured(model, bench, faults, &sheet, k as u64);
        let place = score::ranked(model, &m.sheet, &fault.unit);
        done.after.add(words.clone(), &place, 1.0);
        done.often.add(words, &place, *weight);
        done.steps += f64::from(m.steps);
        if score::position(&m.first) == score::position(&fault.unit) {
            done.right += 1.0;
            done.right_often += weight;
        }
        done
    });
    each.into_iter().fold(Guided::default(), Guided::join)
}

/// `GUIDED_EVERY=19 REPAIR_BOARD=dunlin-64 cargo test --test repair guided -- --ignored --nocapture`: each 19th fault of a board that
/// shows, by what it shows and after the measurements that the plan asks for before it would renew, swap, solder or clean anything.
#[test]
#[ignore = "some minutes a board; tests/full runs it"]
fn guided() {
    let part = std::env::var("GUIDED_EVERY").map_or(37, |n| n.parse().expect("a number"));
    for (model, bench) in boards() {
        let mut all = bench.faults();
        // In an order of its own, so that a part of them is a fair one.
        all.shuffle(&mut StdRng::seed_from_u64(17));
        let shown: Vec<Fault> = (all.into_iter().step_by(part))
            .filter(|f| bench.shows(std::slice::from_ref(f)))
            .collect();
        let list: Vec<(Fault, f64)> = (shown.iter())
            .map(|f| {
                let same = shown.iter().filter(|o| o.unit == f.unit).count() as f64;
                (f.clone(), score::rate(&model, &f.unit) / same)
            })
            .collect();
        let done = guided_of(&model, &bench, &list);
        let n = list.len() as f64;
        let weight: f64 = list.iter().map(|f| f.1).sum();
        println!("{}", bench.w.board);
        println!("  as it came:    {}", done.before.line());
        println!("  once measured: {}", done.after.line());
        println!("  the same, as often as they happen: {}", done.often.line());
        println!(
            "  {:.1} measurements a machine; what would be put right first is at the place of the fault in {:.1} %, as often as they happen {:.1} %",
            done.steps / n,
            100.0 * done.right / n,
            100.0 * done.right_often / weight
        );
    }
}

#[test]
#[ignore = "ten minutes; tests/full runs it"]
fn the_plan_takes_fewer_minutes_than_swapping() {
    let all = table(8, 5);
    assert!(all[0].minutes < all[1].minutes && all[0].minutes < all[2].minutes);
    assert!(all[0].vain < all[1].vain && all[0].vain < all[2].vain);
}

#[test]
#[ignore = "the whole comparison; tests/full runs it"]
fn comparison() {
    let number = std::env::var("REPAIR_MACHINES")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(300);
    let seed = std::env::var("REPAIR_SEED").map_or(1, |s| s.parse().expect("a number"));
    table(number, seed);
}
