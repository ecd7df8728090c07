//! Ranks simulated sheets and keeps the score.

use super::faults::{self, Fault};
use super::misses;
use super::{Bench, Seen};
use rand::rngs::StdRng;
use rand::seq::IndexedRandom;
use rand::{RngExt, SeedableRng};
use std::collections::BTreeMap;
use whichsocket::faultmap::model::{BoardModel, Touch};
use whichsocket::rank::{Ranking, rank};
use whichsocket::sheet::parse;

/// Sums of one campaign of single faults.
#[derive(Debug, Clone, Default)]
pub struct Singles {
    /// Sheets ranked, and their weights.
    pub sheets: usize,
    pub weight: f64,
    /// First place: the unit itself.
    pub first: f64,
    /// First place with 1/size within the leader's ambiguity group, units counted.
    pub shared: f64,
    /// The leader's position is the right one (part, contacts and joints of one socket counted as one).
    pub socket: f64,
    /// First place with 1/size within the leader's ambiguity group, positions counted.
    pub socket_shared: f64,
    /// In a leading group of at most three units: the leader's ambiguity group when that is so small, else the first three.
    pub three: f64,
    /// The same in positions.
    pub socket_three: f64,
    /// Among the first three suspects.
    pub first_three: f64,
    /// Lines of the sheets that were not understood.
    pub lost_lines: usize,
    /// What missed: fault, leader, times.
    pub misses: BTreeMap<(String, String), usize>,
}

/// Where a fault came out.
#[derive(Debug, Clone)]
pub struct Place {
    pub first: bool,
    pub shared: f64,
    pub socket: bool,
    pub socket_shared: f64,
    pub three: bool,
    pub socket_three: bool,
    pub rank: Option<usize>,
    pub leader: String,
}

/// The ranking of a sheet.
pub fn ranking(model: &BoardModel, text: &str) -> (Option<Ranking>, usize) {
    let sheet = parse("simulated", text.as_bytes()).expect("a sheet with lines");
    let lost = sheet
        .lines
        .iter()
        .filter(|l| l.not_understood.is_some())
        .count();
    (rank(model, &[sheet]).ok(), lost)
}

pub fn position(unit: &str) -> &str {
    if unit.starts_with("key ") {
        unit
    } else {
        unit.split(' ').next().unwrap_or(unit)
    }
}

/// Where a unit stands in a ranking.
///
/// The leader's ambiguity group: the units that no reading of the sheet tells from it, by the ranking's own likelihoods. A
/// unit belongs to it when its best failure mode alone explains the sheet as well as the leader's leading one, within
/// [`misses::ALIKE`]: only their failure rates tell the two apart.
pub fn place(model: &BoardModel, r: &Ranking, unit: &str) -> Place {
    let names: Vec<&str> = r.suspects.iter().map(|s| s.name.as_str()).collect();
    let leader = names.first().copied().unwrap_or("nobody");
    let group = misses::group(model, r);
    let mut places: Vec<&str> = group.iter().map(|n| position(n)).collect();
    places.sort_unstable();
    places.dedup();
    let mut order: Vec<&str> = Vec::new();
    for n in names.iter().map(|n| position(n)) {
        if !order.contains(&n) {
            order.push(n);
        }
    }
    let in_group = group.iter().any(|n| n == unit);
    let place = position(unit);
    let here = places.contains(&place);
    let share = |yes: bool, size: usize| if yes { 1.0 / size as f64 } else { 0.0 };
    let rank = names.iter().position(|n| *n == unit);
    Place {
        first: leader == unit,
        shared: share(in_group, group.len()),
        socket: position(leader) == place,
        socket_shared: share(here, places.len()),
        three: in_group && group.len() <= 3 || rank.is_some_and(|k| k < 3),
        socket_three: here && places.len() <= 3 || order.iter().take(3).any(|n| *n == place),
        rank,
        leader: leader.to_string(),
    }
}

/// Ranks a sheet and looks where a unit stands: `None` when there is no ranking; with the lines not understood.
pub fn ranked(model: &BoardModel, text: &str, unit: &str) -> (Option<Place>, usize) {
    let (ranking, lost) = ranking(model, text);
    (ranking.map(|r| place(model, &r, unit)), lost)
}

impl Singles {
    /// Counts one ranked sheet of a fault.
    pub fn add(&mut self, fault: String, (place, lost): &(Option<Place>, usize), weight: f64) {
        let one = |yes: bool| if yes { weight } else { 0.0 };
        self.lost_lines += lost;
        self.sheets += 1;
        self.weight += weight;
        let Some(p) = place else {
            *self.misses.entry((fault, "no ranking".into())).or_default() += 1;
            return;
        };
        self.first += one(p.first);
        self.shared += weight * p.shared;
        self.socket += one(p.socket);
        self.socket_shared += weight * p.socket_shared;
        self.socket_three += one(p.socket_three);
        self.three += one(p.three);
        self.first_three += one(p.rank.is_some_and(|k| k < 3));
        if !p.three {
            *self.misses.entry((fault, p.leader.clone())).or_default() += 1;
        }
    }

    /// Adds what another counted.
    pub fn join(&mut self, other: Self) {
        self.sheets += other.sheets;
        self.weight += other.weight;
        self.first += other.first;
        self.shared += other.shared;
        self.socket += other.socket;
        self.socket_shared += other.socket_shared;
        self.socket_three += other.socket_three;
        self.three += other.three;
        self.first_three += other.first_three;
        self.lost_lines += other.lost_lines;
        for (k, n) in other.misses {
            *self.misses.entry(k).or_default() += n;
        }
    }

    /// The figures in one line.
    pub fn line(&self) -> String {
        let p = |x: f64| 100.0 * x / self.weight.max(1e-12);
        format!(
            "{} sheets: unit first {:.1} %, with 1/size in its ambiguity group {:.1} %, in a leading group of three {:.1} %, in the first three {:.1} %; socket first {:.1} %, with 1/size {:.1} %, in three {:.1} %; {} lines not understood",
            self.sheets,
            p(self.first),
            p(self.shared),
            p(self.three),
            p(self.first_three),
            p(self.socket),
            p(self.socket_shared),
            p(self.socket_three),
            self.lost_lines
        )
    }
}

/// How often a unit fails, by the map: used only to draw faults as often as they happen.
pub fn rate(model: &BoardModel, unit: &str) -> f64 {
    let u = model.units.iter().find(|u| u.name == unit);
    u.map_or(0.0, |u| {
        model.modes[u.modes.start as usize..u.modes.end as usize]
            .iter()
            .map(|m| m.rate)
            .sum()
    })
}

/// Predicted probabilities of leading suspects against how often they were right.
#[derive(Debug, Clone, Default)]
pub struct Calibration {
    /// By decile: suspects, sum of predictions, how many were at fault.
    pub deciles: [(f64, f64, f64); 10],
}

impl Calibration {
    fn add(&mut self, predicted: f64, right: bool) {
        let k = ((predicted * 10.0) as usize).min(9);
        let d = &mut self.deciles[k];
        *d = (d.0 + 1.0, d.1 + predicted, d.2 + f64::from(u8::from(right)));
    }

    /// Mean prediction and share right of each decile, with the difference in points.
    pub fn lines(&self) -> String {
        let mut out = String::new();
        for (k, (n, sum, right)) in self.deciles.iter().enumerate().filter(|d| d.1.0 > 0.0) {
            let (said, was) = (100.0 * sum / n, 100.0 * right / n);
            let error = 100.0 * (was / 100.0 * (1.0 - was / 100.0) / n).sqrt();
            out += &format!(
                "    {:>3}-{:<3} % n {:>5}: said {said:.1}, was {was:.1}, off {:+.1} (standard error {error:.1})\n",
                k * 10,
                k * 10 + 10,
                n,
                was - said
            );
        }
        out
    }
}

/// A machine as it might come in: each unit fails by its rate, so that about two do; and now and then a thing that
/// the map does not have. At least one fault shows.
pub fn draw(
    bench: &Bench,
    model: &BoardModel,
    by_unit: &BTreeMap<String, Vec<Fault>>,
    outside: f64,
    rng: &mut StdRng,
) -> (Vec<Fault>, Seen) {
    let hours = model.exposures[0];
    loop {
        let mut out = Vec::new();
        for (unit, faults) in by_unit {
            if rng.random_bool(1.0 - (-hours * rate(model, unit)).exp()) {
                out.push(faults.choose(rng).expect("units here have faults").clone());
            }
        }
        if rng.random_bool(outside) {
            out = vec![faults::outside_map(&bench.w, &mut |n| {
                rng.random_range(0..n)
            })];
        }
        if out.is_empty() {
            continue;
        }
        let seen = bench.observe(&out);
        if seen.shows(&bench.w) {
            return (out, seen);
        }
    }
}

/// Machines drawn like that, ranked by a model: the suspects of each ranking that lead (the first four above 2 %).
pub fn calibrate(
    bench: &Bench,
    drawn_by: &BoardModel,
    ranked_by: &dyn Fn(u64) -> BoardModel,
    machines: usize,
    outside: f64,
    seed: u64,
) -> Calibration {
    let mut by_unit: BTreeMap<String, Vec<Fault>> = BTreeMap::new();
    for f in bench.faults() {
        by_unit.entry(f.unit.clone()).or_default().push(f);
    }
    let mut rng = StdRng::seed_from_u64(seed);
    let mut c = Calibration::default();
    for k in 0..machines as u64 {
        let (faults, seen) = draw(bench, drawn_by, &by_unit, outside, &mut rng);
        let text = bench.sheet(&seen, rng.random());
        let (Some(r), _) = ranking(&ranked_by(k), &text) else {
            continue;
        };
        for s in r.suspects.iter().take(4).filter(|s| s.probability > 0.02) {
            c.add(s.probability, faults.iter().any(|f| f.unit == s.name));
        }
    }
    c
}

/// The model with every rate and every strength multiplied by something between a half and two.
pub fn perturbed(model: &BoardModel, seed: u64) -> BoardModel {
    let mut rng = StdRng::seed_from_u64(seed);
    let mut out = model.clone();
    let mut factor = || 2f64.powf(rng.random_range(-1.0..1.0));
    for m in &mut out.modes {
        m.rate *= factor();
    }
    for n in &mut out.nodes {
        let other = n.touches.iter().map(|t| Touch {
            strength: (t.strength * factor() as f32).min(1.0),
            ..t
        });
        n.touches = other.collect();
    }
    for c in &mut out.checks {
        for r in &mut c.reads {
            r.weight = (r.weight * factor() as f32).min(1.0);
        }
    }
    out
}

/// Pairs of faults of which neither hides the other: how often both units (or their stated groups) are in the first four.
pub fn pairs(
    bench: &Bench,
    model: &BoardModel,
    visible: &[Fault],
    n: usize,
    seed: u64,
) -> (usize, usize, usize) {
    let mut rng = StdRng::seed_from_u64(seed);
    let (mut tried, mut both, mut sockets) = (0, 0, 0);
    while tried < n {
        let (a, b) = (
            visible.choose(&mut rng).expect("some"),
            visible.choose(&mut rng).expect("some"),
        );
        if a.unit == b.unit || !super::neither_masks(bench, a, b) {
            continue;
        }
        tried += 1;
        let text = bench.results(&[a.clone(), b.clone()], rng.random());
        if let (Some(r), _) = ranking(model, &text) {
            let within = |u: &str| r.suspects.iter().take(4).any(|s| s.name == u);
            both += usize::from(within(&a.unit) && within(&b.unit));
            let mut order: Vec<&str> = Vec::new();
            for n in r.suspects.iter().map(|s| position(&s.name)) {
                if !order.contains(&n) {
                    order.push(n);
                }
            }
            order.truncate(4);
            let here = |u: &str| order.contains(&position(u));
            sockets += usize::from(here(&a.unit) && here(&b.unit));
        }
    }
    (tried, both, sockets)
}

/// What a ranking could reach at best, units or positions counted.
#[derive(Debug, Clone, Copy, Default)]
pub struct Ceiling {
    /// Of faults that show exactly alike it can name the commonest first.
    pub first: f64,
    /// 1/size of the group of those that show exactly alike.
    pub credit: f64,
    /// It can name the three commonest.
    pub three: f64,
}

/// The best that is possible without any noise, each fault by its weight. Where no test ran, all measuring points count as
/// measured. `named` says what counts as one: the unit, or its position.
pub fn ceiling<'a>(
    shown: &'a [(Fault, Seen)],
    weight: impl Fn(&Fault) -> f64,
    named: impl Fn(&'a Fault) -> &'a str,
) -> Ceiling {
    let mut alike: BTreeMap<String, BTreeMap<&str, f64>> = BTreeMap::new();
    let mut all = 0.0;
    for (fault, seen) in shown {
        let r = &seen.results;
        let failing: Vec<_> = r.failing().collect();
        let mut key = format!("{:?} {} {failing:?} {:?}", r.screen, r.stopped, seen.rails);
        if r.ran {
            key += &format!("{:?}", r.cells);
        } else {
            key += &format!("{:?}", seen.levels);
        }
        let w = weight(fault);
        all += w;
        *alike
            .entry(key)
            .or_default()
            .entry(named(fault))
            .or_default() += w;
    }
    let mut out = Ceiling::default();
    for units in alike.values() {
        let mut w: Vec<f64> = units.values().copied().collect();
        w.sort_by(|a, b| b.total_cmp(a));
        let sum: f64 = w.iter().sum();
        out.first += w[0] / all;
        out.credit += sum / w.len() as f64 / all;
        out.three += w.iter().take(3).sum::<f64>() / all;
    }
    out
}
