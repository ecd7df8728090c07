//! `batch`: the plan against brute force, one worked by hand, the sample in every format, bad stock files.

use proptest::prelude::*;
use proptest::test_runner::{Config, RngSeed, TestRunner};
use std::path::Path;
use std::process::{Command, Output};
use whichsocket::batch::problem::{Goal, Lot, Machine, Need, Problem, Scenario};
use whichsocket::batch::solve::{Plan, solve};
use whichsocket::batch::stock;

/// Everything that can be done, tried one by one: which machines are taken apart, then what goes beside each need of each other
/// machine (nothing, or one of a lot that is not used up). Written from the formulas of `batch::problem` alone.
struct Brute<'p> {
    p: &'p Problem,
    stripped: u32,
    left: Vec<u32>,
    money: f64,
    best: f64,
    tried: usize,
}

impl Brute<'_> {
    fn best(p: &Problem) -> (f64, usize) {
        let (mut best, mut tried) = (0.0, 0);
        for stripped in 0..1_u32 << p.machines.len() {
            let here = |l: &Lot| l.donor.is_none_or(|d| stripped >> d & 1 == 1);
            let left = p.lots.iter().map(|l| if here(l) { l.count } else { 0 });
            let mut b = Brute {
                p,
                stripped,
                left: left.collect(),
                money: p.budget,
                best: 0.0,
                tried: 0,
            };
            b.machine(0, 0.0);
            best = f64::max(best, b.best);
            tried += b.tried;
        }
        (best, tried)
    }

    fn machine(&mut self, m: usize, sum: f64) {
        if m == self.p.machines.len() {
            self.tried += 1;
            self.best = self.best.max(sum);
            return;
        }
        self.machine(m + 1, sum);
        if self.stripped >> m & 1 == 0 {
            let needs = self.p.machines[m].needs.len();
            self.need(m, sum, &mut vec![None; needs], 0);
        }
    }

    fn need(&mut self, m: usize, sum: f64, with: &mut Vec<Option<usize>>, n: usize) {
        let p = self.p;
        if n == with.len() {
            let value = value(p, m, with);
            if value > 0.0 {
                self.machine(m + 1, sum + value);
            }
            return;
        }
        self.need(m, sum, with, n + 1);
        for &lot in &p.machines[m].needs[n].lots {
            if self.left[lot] == 0 || p.lots[lot].price > self.money + 1e-9 {
                continue;
            }
            self.left[lot] -= 1;
            self.money -= p.lots[lot].price;
            with[n] = Some(lot);
            self.need(m, sum, with, n + 1);
            with[n] = None;
            self.money += p.lots[lot].price;
            self.left[lot] += 1;
        }
    }
}

fn value(p: &Problem, m: usize, with: &[Option<usize>]) -> f64 {
    let machine = &p.machines[m];
    let mut works = 0.0;
    for s in &machine.scenarios {
        let mut all = s.probability;
        for (n, need) in machine.needs.iter().enumerate() {
            if need.required || s.needs & (1 << n) != 0 {
                all *= match with[n] {
                    Some(lot) => p.lots[lot].good * need.sound,
                    None => 0.0,
                };
            }
        }
        works += all;
    }
    if works == 0.0 {
        return 0.0;
    }
    let (mut price, mut minutes) = (0.0, machine.minutes);
    for (n, lot) in with.iter().enumerate() {
        if let Some(lot) = lot {
            price += p.lots[*lot].price;
            minutes += machine.needs[n].minutes + p.lots[*lot].minutes;
        }
    }
    match p.goal {
        Goal::Number => {
            let share = if p.budget > 0.0 {
                price / p.budget
            } else {
                0.0
            };
            works - 0.001 * share - 0.000_001 * minutes
        }
        Goal::Value { worth, minute } => worth * works - price - minute * minutes,
    }
}

/// What a plan takes is there, and its value is what the formulas say.
fn check(p: &Problem, plan: &Plan) -> f64 {
    let (mut left, mut money, mut sum) = (
        p.lots.iter().map(|l| l.count).collect::<Vec<_>>(),
        p.budget,
        0.0,
    );
    let mut seen = vec![false; p.machines.len()];
    for way in &plan.ways {
        assert!(
            !std::mem::replace(&mut seen[way.machine], true),
            "one way a machine"
        );
        assert!(
            !plan.stripped.contains(&way.machine),
            "taken apart and finished"
        );
        let mut with = vec![None; p.machines[way.machine].needs.len()];
        for &(need, lot) in &way.fitted {
            assert!(
                p.machines[way.machine].needs[need].lots.contains(&lot),
                "it fits"
            );
            assert!(left[lot] > 0, "more than there is of lot {lot}");
            left[lot] -= 1;
            money -= p.lots[lot].price;
            assert!(p.lots[lot].donor.is_none_or(|d| plan.stripped.contains(&d)));
            assert!(with[need].replace(lot).is_none());
        }
        sum += value(p, way.machine, &with);
    }
    assert!(money >= -1e-6, "over the budget by {}", -money);
    sum
}

prop_compose! {
    fn lot(machines: usize)(
        count in 1_u32..=2,
        good in 0.3..1.0_f64,
        price in prop_oneof![1 => Just(0.0), 2 => 1.0..20.0_f64],
        minutes in 0.0..10.0_f64,
        donor in prop_oneof![2 => Just(None), 1 => (0..machines).prop_map(Some)],
    ) -> Lot {
        let price = if donor.is_some() { 0.0 } else { price };
        Lot { count, good, price, minutes, donor }
    }
}

fn need(lots: usize) -> impl Strategy<Value = Need> {
    let fitting = proptest::collection::btree_set(0..lots, 1..=2.min(lots));
    (
        fitting,
        1.0..30.0_f64,
        prop_oneof![Just(1.0), Just(0.98)],
        prop::bool::weighted(0.2),
    )
        .prop_map(|(lots, minutes, sound, required)| Need {
            lots: lots.into_iter().collect(),
            minutes,
            sound,
            required,
        })
}

fn machine(lots: usize) -> impl Strategy<Value = Machine> {
    (0_usize..=3).prop_flat_map(move |needs| {
        let sets = prop_oneof![1 => 0..1_u64 << needs, 3 => (1 << needs) / 2..1_u64 << needs];
        let scenarios = proptest::collection::vec((0.05..1.0_f64, sets), 1..=4);
        let needs = proptest::collection::vec(need(lots), needs);
        (needs, scenarios, 0.0..0.5_f64, 1.0..20.0_f64).prop_map(|(needs, list, rest, minutes)| {
            let sum: f64 = list.iter().map(|s| s.0).sum::<f64>() + rest;
            let scenarios = list.into_iter().map(|(p, needs)| Scenario {
                probability: p / sum,
                needs,
            });
            Machine {
                needs,
                scenarios: scenarios.collect(),
                minutes,
            }
        })
    })
}

fn batch() -> impl Strategy<Value = Problem> {
    (2_usize..=3, 2_usize..=5).prop_flat_map(|(machines, lots)| {
        let goal = prop_oneof![
            Just(Goal::Number),
            (10.0..100.0_f64, 0.0..1.0_f64)
                .prop_map(|(worth, minute)| Goal::Value { worth, minute }),
        ];
        (
            proptest::collection::vec(machine(lots), machines),
            proptest::collection::vec(lot(machines), lots),
            prop_oneof![1 => Just(0.0), 4 => 5.0..60.0_f64],
            goal,
        )
            .prop_map(|(machines, lots, budget, goal)| Problem {
                machines,
                lots,
                budget,
                goal,
            })
    })
}

#[test]
fn the_plan_equals_brute_force_on_300_random_batches() {
    let mut runner = TestRunner::new(Config {
        cases: 300,
        rng_seed: RngSeed::Fixed(9),
        failure_persistence: None,
        ..Config::default()
    });
    let (cases, tried, with_donor, with_money) = (
        std::cell::Cell::new(0),
        std::cell::Cell::new(0),
        std::cell::Cell::new(0),
        std::cell::Cell::new(0),
    );
    runner
        .run(&batch(), |p| {
            let plan = solve(&p).unwrap();
            let (best, n) = Brute::best(&p);
            let value = check(&p, &plan);
            prop_assert!(plan.exact);
            prop_assert!(
                (value - plan.value).abs() < 1e-9,
                "{value} is not {}",
                plan.value
            );
            let close = 1e-6 * best.abs().max(1.0);
            prop_assert!(
                (best - value).abs() < close,
                "brute force {best}, plan {value}"
            );
            cases.set(cases.get() + 1);
            tried.set(tried.get() + n);
            with_donor.set(with_donor.get() + usize::from(!plan.stripped.is_empty()));
            with_money.set(with_money.get() + usize::from(plan.ways.iter().any(|w| w.price > 0.0)));
            Ok(())
        })
        .unwrap();
    println!(
        "{} batches, {} plans by brute force; {} best plans take a machine apart, {} buy",
        cases.get(),
        tried.get(),
        with_donor.get(),
        with_money.get()
    );
    assert_eq!(cases.get(), 300);
    assert!(
        with_donor.get() > 10 && with_money.get() > 50,
        "the batches are too easy"
    );
}

fn part(count: u32, price: f64) -> Lot {
    Lot {
        count,
        good: 1.0,
        price,
        minutes: 0.0,
        donor: None,
    }
}

/// A machine that needs one part of this lot for certain.
fn short_of(lot: usize) -> Machine {
    Machine {
        needs: vec![Need {
            lots: vec![lot],
            minutes: 5.0,
            sound: 1.0,
            required: true,
        }],
        scenarios: vec![Scenario {
            probability: 1.0,
            needs: 1,
        }],
        minutes: 3.0,
    }
}

/// The example of DEVELOPERS.md, worked there by hand: three boards. One lacks its keyboard, and one lies on the shelf; one lacks
/// its sound chip (18 to buy), one its logic array (15 to buy).
fn three_boards(budget: f64, goal: Goal) -> Problem {
    Problem {
        machines: vec![short_of(0), short_of(1), short_of(2)],
        lots: vec![part(1, 0.0), part(9, 18.0), part(9, 15.0)],
        budget,
        goal,
    }
}

#[test]
fn three_boards_by_hand() {
    let names = |p: &Plan| p.ways.iter().map(|w| w.machine).collect::<Vec<_>>();
    // 18 + 15 = 33: one sound chip and one logic array bought complete all three.
    let plan = solve(&three_boards(33.0, Goal::Number)).unwrap();
    assert_eq!(names(&plan), [0, 1, 2]);
    let spent: f64 = plan.ways.iter().map(|w| w.price).sum();
    assert!((spent - 33.0).abs() < 1e-9);
    // 3 machines, less 0.001 for the whole budget, less 3 times 8 minutes of 0.000001.
    assert!(
        (plan.value - (3.0 - 0.001 - 24e-6)).abs() < 1e-9,
        "{}",
        plan.value
    );
    // A penny less buys one of the two, the cheaper.
    let plan = solve(&three_boards(32.99, Goal::Number)).unwrap();
    assert_eq!(names(&plan), [0, 2]);
    // Worth 25 each, a minute at 1: 25 - 8 = 17 for the keyboard, 25 - 15 - 8 = 2, and 25 - 18 - 8 = -1: not bought.
    let goal = Goal::Value {
        worth: 25.0,
        minute: 1.0,
    };
    let plan = solve(&three_boards(100.0, goal)).unwrap();
    assert_eq!(names(&plan), [0, 2]);
    assert!((plan.value - 19.0).abs() < 1e-9);
}

#[test]
fn a_machine_taken_apart_can_finish_two() {
    let of_2 = |good: f64| Lot {
        count: 1,
        good,
        price: 0.0,
        minutes: 2.0,
        donor: Some(2),
    };
    // Machine 2 works with 0.6 as it is; its two parts (0.9 and 0.8 good) finish machines 0 and 1: 1.7 against 0.6.
    let as_it_is = Machine {
        needs: Vec::new(),
        scenarios: vec![Scenario {
            probability: 0.6,
            needs: 0,
        }],
        minutes: 3.0,
    };
    let mut p = Problem {
        machines: vec![short_of(0), short_of(1), as_it_is],
        lots: vec![of_2(0.9), of_2(0.8)],
        budget: 0.0,
        goal: Goal::Number,
    };
    let plan = solve(&p).unwrap();
    assert_eq!(plan.stripped, [2]);
    assert!((plan.ways.iter().map(|w| w.works).sum::<f64>() - 1.7).abs() < 1e-9);
    // With one part only 0.5 good it is not worth it any more.
    p.lots = vec![of_2(0.5), of_2(0.05)];
    let plan = solve(&p).unwrap();
    assert!(plan.stripped.is_empty());
    assert_eq!(plan.ways.len(), 1);
}

#[test]
fn twenty_machines_and_sixty_kinds_are_solved_exactly() {
    // Each machine needs up to three of 60 kinds, found at a seller's, and every third on the shelf.
    let mut lots: Vec<Lot> = (0..60).map(|k| part(2, 2.0 + f64::from(k % 7))).collect();
    lots.extend((0..20).map(|_| Lot {
        good: 0.8,
        ..part(1, 0.0)
    }));
    let machines = (0..20_usize).map(|m| {
        let kinds = [m * 3 % 60, (m * 7 + 1) % 60, (m * 11 + 2) % 60];
        let need = |&k: &usize| Need {
            lots: if k % 3 == 0 {
                vec![k, 60 + k / 3]
            } else {
                vec![k]
            },
            minutes: 5.0,
            sound: 1.0,
            required: false,
        };
        let scenario = |(probability, needs): (f64, u64)| Scenario { probability, needs };
        let list = [(0.4, 1), (0.25, 2), (0.1, 4), (0.1, 3), (0.05, 7)];
        Machine {
            needs: kinds.iter().map(need).collect(),
            scenarios: list.into_iter().map(scenario).collect(),
            minutes: 3.0,
        }
    });
    let p = Problem {
        machines: machines.collect(),
        lots,
        budget: 100.0,
        goal: Goal::Number,
    };
    let plan = solve(&p).unwrap();
    assert!(plan.exact);
    assert!((check(&p, &plan) - plan.value).abs() < 1e-9);
    // No single change of one machine's way makes it better.
    for m in 0..20 {
        let others: Vec<_> = plan.ways.iter().filter(|w| w.machine != m).collect();
        let mut left: Vec<u32> = p.lots.iter().map(|l| l.count).collect();
        let mut money = p.budget;
        for f in others.iter().flat_map(|w| &w.fitted) {
            left[f.1] -= 1;
            money -= p.lots[f.1].price;
        }
        let rest: f64 = others.iter().map(|w| w.value).sum();
        for way in p.ways(m).0 {
            let there = way.fitted.iter().all(|f| left[f.1] > 0) && way.price <= money;
            assert!(
                !there || rest + way.value <= plan.value + 1e-6,
                "machine {m}: {way:?}"
            );
        }
    }
}

fn run(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_whichsocket"))
        .arg("batch")
        .args(args)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap()
}

fn said(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

const SAMPLE: [&str; 3] = ["--stock", "samples/batch/stock.yaml", "samples/batch"];

#[test]
fn the_sample_in_every_format() {
    for format in ["text", "md", "csv", "html", "json"] {
        let out = run(&[&SAMPLE[..], &["--format", format]].concat());
        assert_eq!(out.status.code(), Some(0), "{}", said(&out.stderr));
        let text = said(&out.stdout);
        match format {
            "text" => {
                for line in text.lines() {
                    assert!(
                        textwrap::core::display_width(line) <= 80,
                        "too wide: {line}"
                    );
                }
            }
            "csv" => assert_eq!(text.lines().count(), 4, "{text}"),
            "md" => {
                let mut html = String::new();
                let options = pulldown_cmark::Options::ENABLE_TABLES;
                pulldown_cmark::html::push_html(
                    &mut html,
                    pulldown_cmark::Parser::new_ext(&text, options),
                );
                assert_eq!(html.matches("<table>").count(), 2, "{html}");
            }
            _ => {}
        }
        if format == "json" {
            let mut json: serde_json::Value = serde_json::from_str(&text).unwrap();
            let schema = Command::new(env!("CARGO_BIN_EXE_whichsocket"))
                .args(["schema", "batch"])
                .output()
                .unwrap();
            let schema = serde_json::from_slice(&schema.stdout).unwrap();
            let validator = jsonschema::validator_for(&schema).unwrap();
            let wrong: Vec<String> = validator
                .iter_errors(&json)
                .map(|e| e.to_string())
                .collect();
            assert!(wrong.is_empty(), "{wrong:?}");
            rounded(&mut json);
            insta::assert_json_snapshot!("sample_json", json);
        } else {
            insta::assert_snapshot!(format!("sample_{format}"), text.replace('\r', ""));
        }
    }
}

/// Numbers to three digits, so that a snapshot does not change with the last bit.
fn rounded(value: &mut serde_json::Value) {
    match value {
        serde_json::Value::Number(n) => {
            if let Some(x) = n.as_f64().filter(|x| x.fract() != 0.0) {
                *value = serde_json::json!((x * 1000.0).round() / 1000.0);
            }
        }
        serde_json::Value::Array(all) => all.iter_mut().for_each(rounded),
        serde_json::Value::Object(all) => all.values_mut().for_each(rounded),
        _ => {}
    }
}

fn json(args: &[&str]) -> serde_json::Value {
    let out = run(&[args, &["--json"]].concat());
    assert_eq!(out.status.code(), Some(0), "{}", said(&out.stderr));
    serde_json::from_slice(&out.stdout).unwrap()
}

fn write(dir: &Path, name: &str, text: &str) -> String {
    let file = dir.join(name);
    std::fs::write(&file, text).unwrap();
    file.display().to_string()
}

#[test]
fn three_real_boards_as_by_hand() {
    // The same batch on a real board: the empty positions leave no doubt about what is needed.
    let dir = tempfile::tempdir().unwrap();
    let at = dir.path().to_str().unwrap();
    let head = "board 64k-6510-wide\nunknown history\n";
    write(
        dir.path(),
        "a.run",
        &format!("ticket a\n{head}empty keyboard\nkeyboard dead\nrest fine\n"),
    );
    write(
        dir.path(),
        "b.run",
        &format!("ticket b\n{head}empty U18\nsound dead\nrest fine\n"),
    );
    write(
        dir.path(),
        "c.run",
        &format!("ticket c\n{head}empty U17\nblack screen\n5v 5.0\n12v 12.0\n"),
    );
    let stock = "budget: 33\nshelf:\n  - {type: keyboard-64, count: 1, good: 1.0}\nbuy:\n  - {type: 6581, price: 18, good: 1.0}\n  - {type: 82S100, price: 15, good: 1.0}\n";
    let keyboard = {
        let model = whichsocket::shipped::Library::default()
            .board("64k-6510-wide")
            .unwrap();
        let (_, kb) = whichsocket::observe::board::position(&model, "KEYBOARD").unwrap();
        whichsocket::batch::machine::type_of(kb).to_string()
    };
    let stock = write(
        dir.path(),
        "stock.yaml",
        &stock.replace("keyboard-64", &keyboard),
    );
    let v = json(&["--stock", &stock, at]);
    let plan = &v["plan"];
    assert_eq!(plan["work"].as_array().unwrap().len(), 3, "{plan:#}");
    assert_eq!(plan["spent"], 33.0);
    assert_eq!(plan["buy"].as_array().unwrap().len(), 2);
    assert!(plan["left"].as_array().unwrap().is_empty());
    let missing = |m: usize| v["machines"][m]["missing"][0]["part"].clone();
    assert_eq!([missing(1), missing(2)], ["6581", "82S100"]);
    // A part never goes into a board with unread rails before they are read; the others ran a test.
    let first = |name: &str| {
        let work = plan["work"].as_array().unwrap();
        work.iter().find(|w| w["machine"] == name).unwrap()["first"].clone()
    };
    assert!(first("a").is_null() && first("b").is_null());
    assert!(
        first("c").as_str().unwrap().contains("9VAC"),
        "{}",
        first("c")
    );
}

#[test]
fn an_empty_socket_that_nothing_misses_does_not_count_against_a_machine() {
    let dir = tempfile::tempdir().unwrap();
    let at = dir.path().to_str().unwrap();
    let sheet =
        "ticket a\nboard 64k-6510-wide\nworks, please check\nempty U18\npicture ok\nmemory ok\n";
    write(dir.path(), "a.run", sheet);
    let stock = write(dir.path(), "s.yaml", "budget: 0\n");
    let v = json(&["--stock", &stock, at]);
    assert!(
        v["machines"][0]["missing"].as_array().unwrap().is_empty(),
        "{v:#}"
    );
    let work = &v["plan"]["work"][0];
    assert!(work["works"].as_f64().unwrap() > 0.5, "{v:#}");
    assert!(work["parts"].as_array().unwrap().is_empty());
}

#[test]
fn closed_and_stopped_machines_get_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let at = dir.path().to_str().unwrap();
    write(
        dir.path(),
        "x.run",
        "ticket x\nboard dunlin-64\nmemory bit 3 bad\nrest fine\n5v rail 5.9\n",
    );
    write(
        dir.path(),
        "y.ticket",
        "ticket y\nboard dunlin-64\nmemory bit 3 bad\nrest fine\nclosed: used for parts\n",
    );
    write(
        dir.path(),
        "z.run",
        "ticket z\nboard dunlin-64\nmemory bit 3 bad\nrest fine\n",
    );
    let stock = write(
        dir.path(),
        "s.yaml",
        "shelf: [{type: 4164, count: 9, good: 0.99}]\ndonors: [{ticket: y}]\n",
    );
    let v = json(&["--stock", &stock, at]);
    let states: Vec<&str> = (v["machines"].as_array().unwrap().iter())
        .map(|m| m["state"].as_str().unwrap())
        .collect();
    assert_eq!(states, ["stop", "closed", "suspects"]);
    let work = v["plan"]["work"].as_array().unwrap();
    assert_eq!(work[0]["machine"], "z");
    assert_eq!(work[0]["parts"][0]["socket"], "M3");
    for w in work {
        for f in w["parts"].as_array().unwrap() {
            assert!(
                w["machine"] == "z" || (w["machine"] == "x" && f["socket"] == "PSU"),
                "{w:#}"
            );
        }
    }
    // What is lent: never from the stopped or the closed one, and never into them.
    for s in v["swap_tests"].as_array().unwrap() {
        assert_eq!(s["machine"], "z");
        assert_eq!(s["from"], "shelf");
    }
    // A machine that is finished is no donor.
    write(
        dir.path(),
        "y.ticket",
        "ticket y\nboard dunlin-64\nrest fine\nclosed: cured and proved\n",
    );
    let out = run(&["--stock", &stock, at]);
    assert_eq!(out.status.code(), Some(2));
    assert!(
        said(&out.stderr).contains("is closed (cured and proved)"),
        "{}",
        said(&out.stderr)
    );
}

#[test]
fn malformed_stock_files_give_errors() {
    let cases = [
        ("budgte: 40", "budgte"),
        ("budget: many", "line 1"),
        ("budget: -3", "budget: -3 is no amount; type"),
        ("budget: .nan", "budget: NaN is no amount; type"),
        ("worth: .inf", "worth: inf is no amount"),
        ("minute: -0.5", "minute: -0.5 is no amount"),
        (
            "shelf: [{type: 8910, good: 1.4}]",
            "shelf, entry 1, good: 1.4 is no probability; type",
        ),
        (
            "shelf: [{type: 8910, good: 0}]",
            "good: 0 is no probability",
        ),
        (
            "shelf: [{type: 8910, count: 0}]",
            "shelf, entry 1, count: 0 is no count; type",
        ),
        ("shelf: [{type: 8910, count: -1}]", "line 1"),
        (
            "shelf: [{type: ''}]",
            "shelf, entry 1, type: is empty; type",
        ),
        ("shelf: [{count: 2}]", "type"),
        ("shelf: [{type: 8910, cuont: 2}]", "cuont"),
        ("buy: [{type: 8910}]", "price"),
        (
            "buy: [{type: 8910, price: -1}]",
            "buy, entry 1, price: -1 is no price; type",
        ),
        (
            "buy: [{type: 8910, price: 1, most: 0}]",
            "buy, entry 1, most: 0 is no count",
        ),
        (
            "donors: [{ticket: '0511'}]",
            "donors, entry 1, ticket: no machine 0511 in this batch; did you mean '0501'",
        ),
        (
            "donors: [{ticket: '0501', only: [Q99]}]",
            "donors, entry 1, only: board dunlin-64 has no position Q99",
        ),
        (
            "donors: [{ticket: ''}]",
            "donors, entry 1, ticket: is empty",
        ),
        (
            "donors: [{ticket: a}, {ticket: a}]",
            "donors, entry 2, ticket: a is named above",
        ),
        ("- just\n- a list", "line 1"),
        ("shelf: {type: 8910}", "line 1"),
        ("{", "line"),
        ("\u{0}", "line 1"),
        ("a: &a [*a, *a]", "line 1"),
    ];
    let dir = tempfile::tempdir().unwrap();
    for (text, expected) in cases {
        let file = write(dir.path(), "bad.yaml", text);
        let out = run(&["--stock", &file, "samples/batch"]);
        let told = said(&out.stderr);
        assert_eq!(out.status.code(), Some(2), "{text}: {told}");
        assert!(out.stdout.is_empty(), "{text}");
        assert!(
            told.contains("bad.yaml") && told.contains(expected),
            "{text}: {told}"
        );
    }
    // All mistakes at once.
    let out = stock::read(
        "f",
        "budget: -1\nshelf: [{type: a, good: 2}]\nbuy: [{type: b, price: -1}]",
    )
    .unwrap_err();
    assert_eq!(out.len(), 3, "{out:?}");
    // Nothing said is nothing there; numbers are types too.
    assert_eq!(
        stock::read("f", "# only a remark\n"),
        Ok(stock::Stock::default())
    );
    let ok = stock::read("f", "shelf: [{type: 0410}]\ndonors: [{ticket: 0503}]").unwrap();
    assert_eq!(
        (ok.shelf[0].part.as_str(), ok.donors[0].ticket.as_str()),
        ("0410", "0503")
    );
    let file = dir.path().join("not-there.yaml");
    assert_eq!(
        run(&["--stock", file.to_str().unwrap(), "samples/batch"])
            .status
            .code(),
        Some(2)
    );
}

proptest! {
    #![proptest_config(Config { cases: 500, failure_persistence: None, ..Config::default() })]
    #[test]
    fn no_stock_file_panics(text in "[-a-z0-9:{}\\[\\], .\"'#\n&*]{0,80}", key in "budget|worth|shelf|buy|donors") {
        let _ = stock::read("f", &text);
        if let Err(errors) = stock::read("f", &format!("{key}: {text}")) {
            prop_assert!(errors.iter().all(|e| !e.message.is_empty()));
        }
    }
}

#[test]
fn folders_with_bad_sheets_or_none() {
    let dir = tempfile::tempdir().unwrap();
    let at = dir.path().to_str().unwrap();
    let out = run(&[at]);
    assert_eq!(out.status.code(), Some(2));
    assert!(said(&out.stderr).contains("no sheets in this folder"));
    assert_eq!(run(&["no/such/folder"]).status.code(), Some(2));
    write(dir.path(), "empty.run", "\n");
    assert_eq!(run(&[at]).status.code(), Some(2), "none could be read");
    write(
        dir.path(),
        "good.run",
        "board dunlin-64\nmemory bit 3 bad\nblorp\n",
    );
    write(
        dir.path(),
        "again.run",
        "ticket 7\nboard dunlin-64\nrest fine\n",
    );
    write(
        dir.path(),
        "again2.run",
        "ticket 7\nboard dunlin-64\nvoice 1 bad\nrest fine\n",
    );
    let v = json(&[at]);
    assert!(v["plan"].is_null());
    let names: Vec<&str> = (v["machines"].as_array().unwrap().iter())
        .map(|m| m["machine"].as_str().unwrap())
        .collect();
    assert_eq!(names, ["7", "good"], "the same ticket is one machine");
    assert_eq!(v["refused"].as_array().unwrap().len(), 1);
    assert_eq!(run(&["--strict", at]).status.code(), Some(1));
    // Text that would mean something in a page is only text there.
    write(
        dir.path(),
        "c.run",
        "ticket <b>|x\nboard dunlin-64\nrest fine\n",
    );
    for format in ["html", "md"] {
        let text = said(&run(&["--format", format, at]).stdout);
        assert!(!text.contains("<b>"), "{text}");
    }
}
