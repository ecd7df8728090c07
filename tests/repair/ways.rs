//! Ways to repair a machine, step by step in simulation.

use super::inject::Bench;
use super::inject::faults::{Fault, Remedy, What};
use super::inject::measure::Reading;
use super::inject::picture::Screen;
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};
use std::collections::BTreeSet;
use std::fmt::Write as _;
use whichsocket::faultmap::model::{BoardModel, Unit, UnitKind};
use whichsocket::faultmap::raw::Class;
use whichsocket::next::{Ask, Bench as Tools, advise_but, costs};
use whichsocket::rank::{Ranking, rank};
use whichsocket::report::view::NextView;
use whichsocket::sheet::{Action, Place, parse};

/// A way to go about it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// The proposed step, each time.
    Plan,
    /// Renew or put right one suspect after the other, as the first ranking orders them.
    ByRank,
    /// The same in the order of the failure rates, whatever the machine shows.
    ByRate,
}

impl Way {
    pub const ALL: [Way; 3] = [Way::Plan, Way::ByRank, Way::ByRate];

    pub fn words(self) -> &'static str {
        match self {
            Way::Plan => "the plan",
            Way::ByRank => "swapping in order of rank",
            Way::ByRate => "swapping in order of rate",
        }
    }
}

/// How a repair went.
#[derive(Debug, Clone, Default)]
pub struct Repair {
    /// Minutes; a machine that is given up costs what the plan takes giving up to be worth as well.
    pub minutes: f64,
    /// Sound parts that were soldered out and renewed.
    pub vain: u32,
    /// Sound parts in sockets or outside that were swapped for a known good one: they go back.
    pub tried: u32,
    /// The machine works.
    pub works: bool,
    pub steps: u32,
    /// What was done, for a look.
    pub log: String,
}

/// So many steps, then a technician gives up whatever a plan says.
const MOST_STEPS: u32 = 80;

/// A ranking that takes so many seconds is printed with its sheet.
const SLOW: u64 = 4;

/// The work on one machine.
struct Work<'a> {
    model: &'a BoardModel,
    bench: &'a Bench,
    left: Vec<Fault>,
    rng: StdRng,
    seed: u64,
    done: Repair,
}

/// Repairs a machine that came with this sheet.
pub fn repair(
    model: &BoardModel,
    bench: &Bench,
    faults: &[Fault],
    sheet: &str,
    seed: u64,
    way: Way,
) -> Repair {
    let mut work = Work::new(model, bench, faults, seed);
    match way {
        Way::Plan => {
            work.by_plan(sheet, Until::Works);
        }
        Way::ByRank => work.one_after_the_other(&order_of(model, sheet)),
        Way::ByRate => {
            let nothing_shown = format!("board {}\ncame in faulty\n", bench.w.board);
            work.one_after_the_other(&order_of(model, &nothing_shown));
        }
    }
    if !work.done.works {
        work.done.minutes += costs::GIVE_UP;
    }
    work.done
}

/// A machine whose test was followed by the measurements that the plan asks for, up to where it would renew, swap, solder or clean
/// something.
#[derive(Debug, Clone, Default)]
pub struct Measured {
    /// The sheet, with what was measured.
    pub sheet: String,
    /// Measurements taken.
    pub steps: u32,
    /// What it would put right first; empty when the plan has nothing more.
    pub first: String,
}

/// Takes the measurements that the plan asks for, and leaves it where it would change something.
pub fn measured(
    model: &BoardModel,
    bench: &Bench,
    faults: &[Fault],
    sheet: &str,
    seed: u64,
) -> Measured {
    let mut work = Work::new(model, bench, faults, seed);
    let (sheet, first) = work.by_plan(sheet, Until::Remedy);
    Measured {
        sheet,
        steps: work.done.steps,
        first,
    }
}

/// How long the plan is followed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Until {
    /// Until something would be renewed, swapped, soldered or cleaned.
    Remedy,
    /// Until the machine works or is given up.
    Works,
}

/// Whether a remedy only tries something, which is undone at once.
fn is_trial(action: Action) -> bool {
    matches!(
        action,
        Action::Piggyback | Action::Cool | Action::Bridge | Action::Lift
    )
}

fn ranking(model: &BoardModel, text: &str) -> Option<Ranking> {
    let sheet = parse("simulated", text.as_bytes()).expect("a text");
    let start = std::time::Instant::now();
    let ranking = rank(model, &[sheet]).ok();
    if start.elapsed().as_secs() >= SLOW {
        println!("{:?} for\n{text}", start.elapsed());
    }
    ranking
}

/// Units in the order of a ranking, then those that it leaves out.
fn order_of(model: &BoardModel, text: &str) -> Vec<String> {
    let mut names: Vec<String> = match ranking(model, text) {
        Some(r) => r.suspects.iter().map(|s| s.name.clone()).collect(),
        None => Vec::new(),
    };
    let more = model.units.iter().map(|u| u.name.clone());
    let more: Vec<String> = more.filter(|n| !names.contains(n)).collect();
    names.extend(more);
    names
}

impl<'a> Work<'a> {
    fn new(model: &'a BoardModel, bench: &'a Bench, faults: &[Fault], seed: u64) -> Self {
        Self {
            model,
            bench,
            left: faults.to_vec(),
            rng: StdRng::seed_from_u64(seed ^ 0x5EED),
            seed,
            done: Repair::default(),
        }
    }

    fn unit(&self, name: &str) -> &Unit {
        self.model
            .units
            .iter()
            .find(|u| u.name == name)
            .expect("a unit of the map")
    }

    /// Does what cures a unit if it is at fault; whether the machine works then.
    fn put_right(&mut self, name: &str) -> bool {
        let unit = self.unit(name).clone();
        let position = &self.model.positions[unit.position];
        let before: Vec<Fault> = self.left.clone();
        let kinds: &[Remedy] = match &unit.kind {
            UnitKind::Part if position.class == Class::Connector => &[Remedy::Swap, Remedy::Reseat],
            UnitKind::Part | UnitKind::Key { .. } => &[Remedy::Swap],
            UnitKind::Contacts => &[Remedy::Reseat],
            UnitKind::Joints => &[Remedy::Resolder],
            UnitKind::Contact { .. } => &[Remedy::Reseat, Remedy::Resolder],
        };
        let plug = unit.kind == UnitKind::Part && position.class == Class::Connector;
        let bench = self.bench;
        let cured = |f: &Fault| {
            kinds.iter().any(|k| bench.remedy(f, name, *k))
                // A plug pushed home again touches with all its pins.
                || plug && f.unit.starts_with(&format!("{} pin ", position.name))
        };
        self.left.retain(|f| !cured(f));
        let new = unit.kind == UnitKind::Part
            && !matches!(position.class, Class::Connector | Class::Setting);
        if new && !before.iter().any(|f| f.unit == name) {
            match position.socket || position.outside {
                true => self.done.tried += 1,
                false => self.done.vain += 1,
            }
        }
        self.done.minutes += costs::remedy(&unit, position) + costs::RETEST + costs::POWER_CHANGE;
        self.done.steps += 1;
        self.done.works = !self.bench.shows(&self.left);
        let _ = writeln!(
            self.done.log,
            "  put right {name}: works {}",
            self.done.works
        );
        self.done.works
    }

    fn given_up(&self) -> bool {
        self.done.minutes > costs::GIVE_UP || self.done.steps >= MOST_STEPS
    }

    fn one_after_the_other(&mut self, order: &[String]) {
        let mut renewed: BTreeSet<usize> = BTreeSet::new();
        for name in order {
            let unit = self.unit(name).clone();
            // The contacts of a socket are wiped by a swap, the joints made anew by a replacement.
            let with_the_part = matches!(unit.kind, UnitKind::Contacts | UnitKind::Joints);
            if with_the_part && renewed.contains(&unit.position) {
                continue;
            }
            if unit.kind == UnitKind::Part {
                renewed.insert(unit.position);
            }
            if self.put_right(name) || self.given_up() {
                return;
            }
        }
    }

    /// Follows the plan; the sheet then, and what it would put right next.
    fn by_plan(&mut self, sheet: &str, until: Until) -> (String, String) {
        let mut text = sheet.to_string();
        let tools = Tools::default();
        let mut skipped: Vec<String> = Vec::new();
        let mut rails: Vec<String> = Vec::new();
        // As in a session (`bench::out_of_question`): what was tried and cured nothing is not proposed again.
        let mut tried: Vec<(Action, Place)> = Vec::new();
        loop {
            if self.given_up() {
                let _ = writeln!(self.done.log, "  too long\n{text}");
                return (text, String::new());
            }
            let Some(r) = ranking(self.model, &text) else {
                return (text, String::new());
            };
            let again = |ask: &Ask| match ask {
                Ask::Remedy { action, place, .. } => {
                    tried.iter().any(|(a, p)| a == action && p == place)
                }
                _ => false,
            };
            let advice = advise_but(self.model, &r, &tools, &|say, ask| {
                skipped.iter().any(|s| s == say) || again(ask)
            });
            let stops = advice
                .steps
                .first()
                .is_some_and(|s| s.step.starts_with("Stop here"));
            let open = (advice.steps.iter())
                .find(|s| !stops && s.ask.is_some() && !skipped.contains(&s.step));
            let Some(step) = open else {
                let said: Vec<&str> = advice.steps.iter().map(|s| s.step.as_str()).collect();
                let _ = writeln!(self.done.log, "  given up: {said:?}\n{text}");
                return (text, String::new());
            };
            let ask = step.ask.clone().expect("looked for");
            if let Ask::Remedy { action, unit, .. } = &ask
                && until == Until::Remedy
                && !is_trial(*action)
            {
                return (text, unit.clone());
            }
            let _ = writeln!(self.done.log, "  {}", step.step);
            let said = self.take(&ask, step);
            let _ = writeln!(
                self.done.log,
                "    {}",
                said.trim_end().replace('\n', " | ")
            );
            if self.done.works {
                return (text, String::new());
            }
            if let Ask::Remedy { action, place, .. } = &ask {
                tried.push((*action, place.clone()));
            }
            // Nobody looks at the same thing twice, but what was put right may have changed the supply.
            match ask {
                Ask::Remedy { .. } if !said.is_empty() => skipped.retain(|s| !rails.contains(s)),
                Ask::Rail { .. } | Ask::Supply => rails.push(step.step.clone()),
                _ => {}
            }
            if !matches!(ask, Ask::Remedy { .. }) || said.is_empty() {
                skipped.push(step.step.clone());
            }
            text += &said;
        }
    }

    /// Takes a step; what is typed of it.
    fn take(&mut self, ask: &Ask, step: &NextView) -> String {
        let seed = self.rng.random();
        if let Ask::Remedy {
            unit,
            action,
            place,
            ..
        } = ask
            && !is_trial(*action)
        {
            return self.remedy(unit, *action, &place.name);
        }
        self.done.minutes += step.minutes;
        self.done.steps += 1;
        let line = match ask {
            Ask::Rail { rail, .. } => {
                self.bench
                    .measure(&self.left, "", rail, Reading::Volts, seed)
            }
            Ask::Line { place, .. } => {
                let pin = place.pin.as_deref().expect("a level at a pin");
                self.bench
                    .measure(&self.left, &place.name, pin, Reading::Level, seed)
            }
            Ask::Lines { lines } => {
                let level = |(k, (_, place)): (usize, &(String, Place))| {
                    let pin = place.pin.as_deref().expect("a level at a pin");
                    let seed = seed.wrapping_add(k as u64);
                    (self.bench).measure(&self.left, &place.name, pin, Reading::Level, seed)
                };
                let all: Vec<String> = lines.iter().enumerate().map(level).collect();
                all.join("\n")
            }
            Ask::Check { id, .. } if id == "start-text" => {
                let right = self.bench.observe(&self.left).results.screen == Screen::Normal;
                format!("start text {}", if right { "ok" } else { "bad" })
            }
            Ask::Check { id, .. } => match self.bench.check(&self.left, id) {
                Some(line) => line,
                None => return String::new(),
            },
            Ask::Test { open } => {
                let shown = open
                    .iter()
                    .filter_map(|id| self.bench.check(&self.left, id));
                let lines: Vec<String> = shown.collect();
                if lines.is_empty() {
                    return String::new();
                }
                lines.join("\n")
            }
            Ask::Resistance { rail } => self.bench.resistance(&self.left, rail, seed),
            Ask::Across { place } => self.bench.across(&self.left, &place.name, seed),
            Ask::Joined { legs } => {
                let each = |(k, (from, to)): (usize, &(Place, Place))| {
                    let pin = |p: &Place| p.pin.clone().expect("a leg");
                    let (from, to) = ((&*from.name, &*pin(from)), (&*to.name, &*pin(to)));
                    (self.bench).along(&self.left, from, to, seed.wrapping_add(k as u64))
                };
                let all: Vec<String> = legs.iter().enumerate().map(each).collect();
                all.join("\n")
            }
            Ask::Drop { places, .. } => self.drop_along(places, seed),
            Ask::Feel { places, .. } => self.feel(places, seed),
            Ask::Supply => format!(
                "psu rail {} {:.2} V off the board",
                self.at_plug(),
                self.bench.plug(&self.left)
            ),
            Ask::Remedy {
                unit,
                action,
                place,
                ..
            } => self.trial(unit, *action, place),
            Ask::Loops => match self.bench.shows(&self.left) {
                true => "test bad in 5 of 5 loops".into(),
                false => return String::new(),
            },
        };
        line + "\n"
    }

    /// The rail that the supply gives at its plug.
    fn at_plug(&self) -> &str {
        let direct = self.model.rails.iter().filter(|(_, r)| r.at_plug && !r.ac);
        let first = direct.min_by_key(|(_, r)| r.order);
        first.map_or("5V", |(name, _)| name.trim_start_matches('+'))
    }

    /// Of what was felt: which was hot, and that the others were not.
    fn feel(&self, places: &[Place], seed: u64) -> String {
        let names: Vec<String> = places.iter().map(|p| p.name.clone()).collect();
        let hot = self.bench.hot(&self.left, &names, seed);
        let felt = names.iter().map(|n| match hot.contains(n) {
            true => format!("{n} hot"),
            false => format!("{n} warm"),
        });
        felt.collect::<Vec<_>>().join("; ")
    }

    /// Where the rail is lowest.
    fn drop_along(&self, places: &[Place], seed: u64) -> String {
        let names: Vec<String> = places.iter().map(|p| p.name.clone()).collect();
        let lowest = self.bench.lowest(&self.left, &names, seed);
        let read = names.iter().map(|n| match *n == lowest {
            true => format!("drop at {n} lowest"),
            false => format!("drop at {n} higher"),
        });
        read.collect::<Vec<_>>().join("; ")
    }

    /// A good chip held on top makes up for outputs that do not drive, never for one that is shorted; a good part held across one of
    /// two legs for one that is open; a leg out of the board lets its line go; cold helps what fails warm.
    fn trial(&self, unit: &str, action: Action, place: &Place) -> String {
        let name = &place.name;
        let leg = place.pin.as_deref().map(|pin| {
            let part = self.bench.w.part(name);
            (part, self.bench.w.pin(part, pin))
        });
        let helps = |f: &Fault| match action {
            Action::Piggyback => matches!(f.what, What::Dead { .. } | What::PinOpen { .. }),
            Action::Bridge => {
                matches!(&f.what, What::Broken { how, .. } if how == "open" || how == "weak")
            }
            Action::Lift => {
                let stuck =
                    matches!(f.what, What::Stuck { part, pin, .. } if leg == Some((part, pin)));
                stuck || leg.is_some_and(|leg| self.bench.shorts_at(f, leg))
            }
            _ => f.warm,
        };
        let (helped, others): (Vec<Fault>, Vec<Fault>) =
            (self.left.iter().cloned()).partition(|f| f.unit == unit && helps(f));
        // A line that is let go moves; all else shows in what the machine does, or not, while another fault keeps it dark.
        let shows = || {
            let (was, now) = (self.bench.observe(&self.left), self.bench.observe(&others));
            format!("{was:?}") != format!("{now:?}")
        };
        let helps = !helped.is_empty() && (action == Action::Lift || shows());
        let word = match action {
            Action::Piggyback => "piggyback",
            Action::Bridge => "bridged",
            Action::Lift => "lifted",
            _ => "cooled",
        };
        let came = if helps { "changed" } else { "no change" };
        let pin = place
            .pin
            .as_ref()
            .map_or(String::new(), |p| format!(".{p}"));
        format!("{word} {name}{pin}: {came}")
    }

    fn remedy(&mut self, unit: &str, action: Action, place: &str) -> String {
        let before = self.left.len();
        let was = self.bench.observe(&self.left);
        self.put_right(unit);
        let word = match action {
            Action::Swap => "swapped",
            Action::Replace => "replaced",
            Action::Reseat => "reseated",
            Action::Resolder => "resoldered",
            _ => "cleaned",
        };
        if self.done.works {
            return format!("{word} {place}: cured\n");
        }
        let now = self.bench.observe(&self.left);
        if self.left.len() == before || format!("{was:?}") == format!("{now:?}") {
            return format!("{word} {place}: no change\n");
        }
        self.seed = self.seed.wrapping_add(1);
        let run = self.bench.sheet(&now, self.seed);
        let results = run
            .lines()
            .filter(|l| !l.starts_with("board") && !l.starts_with("came"));
        format!(
            "{word} {place}: changed\nnew run\n{}\n",
            results.collect::<Vec<_>>().join("\n")
        )
    }
}
