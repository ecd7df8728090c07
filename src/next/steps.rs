//! Everything that could be done next, as steps for the planner.

use super::{Supposed, costs};
use crate::faultmap::model::{BoardModel, LineDef, Position, Read, UnitKind};
use crate::faultmap::raw::{Class, Expect};
use crate::observe::memory;
use crate::observe::{Aspect, MEASURED, TYPED, board, effects};
use crate::plan::{Condition, Cost, Cure, Kind as StepKind, Power, Rule, Step};
use crate::rank::Ranking;
use crate::report::view::NextView;

/// Measurements and checks offered to the planner at most; those that could tell most come first.
const MOST_OBSERVATIONS: usize = 24;

/// Remedies offered to the planner at most.
const MOST_REMEDIES: usize = 24;

/// Probing a live board.
const LIVE: &str =
    "the board is live: one hand, no jewellery, and do not bridge two pins with the tip";

/// Around the supply; the rule of the place goes before any tool's.
const MAINS: &str = "stay on the low-voltage side and leave mains adapters closed; mains work is for those licensed to do it, \
                     by the rules of the place";

/// A step with what to say about it.
#[derive(Debug, Clone)]
pub struct Candidate {
    /// For the planner.
    pub step: Step,
    /// One sentence: what to do.
    pub say: String,
    /// Where.
    pub place: String,
    /// What is expected when all is well.
    pub expect: String,
    /// Caution.
    pub hazard: Option<String>,
    /// The outcomes in words.
    pub outcomes: Vec<String>,
}

/// After a reading past a stop limit: what tests the supply by itself, nothing else.
pub fn after_stop(model: &BoardModel, ranking: &Ranking) -> Vec<NextView> {
    let remedy = ranking
        .observed
        .stop
        .as_ref()
        .map(|s| s.remedy.clone())
        .unwrap_or_default();
    let rails: Vec<String> = {
        let mut rails: Vec<_> = model.rails.iter().collect();
        rails.sort_by_key(|(_, r)| r.order);
        rails
            .iter()
            .map(|(n, r)| format!("{n}: {} to {} V", r.low, r.high))
            .collect()
    };
    let supply = model
        .positions
        .iter()
        .find(|p| p.outside && p.class == Class::Supply);
    vec![NextView {
        step: format!(
            "Switch off and unplug the supply from the board, then measure the supply by itself at its plug. {}.",
            capital(&remedy)
        ),
        r#where: supply.map_or("the supply".into(), |p| {
            format!("{} ({}), unplugged", p.name, p.role)
        }),
        expect: rails.join(", "),
        minutes: costs::MEASURE_SUPPLY,
        hazard: Some(MAINS.into()),
        saves_minutes: 0.0,
        outcomes: Vec::new(),
    }]
}

/// When nothing is accused.
pub fn nothing_accused() -> NextView {
    NextView {
        step: "Nothing read so far accuses a part. Let the test run in a loop, cold and warm, before calling it good.".into(),
        r#where: "the whole machine".into(),
        expect: "no failing loop".into(),
        minutes: 30.0,
        hazard: None,
        saves_minutes: 0.0,
        outcomes: Vec::new(),
    }
}

/// When the fault that was there has been put right.
pub fn nothing_left() -> NextView {
    NextView {
        step: "Most probably nothing is at fault any more. Let the test run in a loop, cold and warm, before calling it cured."
            .into(),
        ..nothing_accused()
    }
}

fn capital(s: &str) -> String {
    let mut chars = s.chars();
    chars
        .next()
        .map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

/// All candidates: rails first (others wait for them), then lines and checks, then remedies.
pub fn candidates(model: &BoardModel, ranking: &Ranking, supposed: &[Supposed]) -> Vec<Candidate> {
    let mut c = Collector {
        model,
        ranking,
        supposed,
        scratch: vec![0.0; model.modes.len()],
        out: Vec::new(),
    };
    c.rails();
    let gate = c.gate();
    let mut open = c.lines(&gate);
    open.extend(c.checks(&gate));
    open.sort_by(|a, b| b.0.total_cmp(&a.0));
    c.out.extend(
        open.into_iter()
            .take(MOST_OBSERVATIONS)
            .map(|(_, candidate)| candidate),
    );
    c.remedies(&gate);
    c.out
}

struct Collector<'a> {
    model: &'a BoardModel,
    ranking: &'a Ranking,
    supposed: &'a [Supposed],
    scratch: Vec<f64>,
    out: Vec<Candidate>,
}

/// Probabilities of outcomes for one hypothesis.
type Row = Vec<f64>;

impl Collector<'_> {
    fn read(&self, id: &str) -> bool {
        self.ranking.observed.read.contains(id)
    }

    /// P(each aspect, and nothing) under each hypothesis, for a reading of these nodes: a fault that shows does so by
    /// the aspect that describes it best.
    fn rows(&mut self, reads: &[Read], aspects: &[Aspect], leak: f64, missed: f64) -> Vec<Row> {
        let by_aspect: Vec<Vec<(u32, f64)>> = aspects
            .iter()
            .map(|&a| effects(self.model, reads, a, missed, &mut self.scratch))
            .collect();
        let a = &self.ranking.assembled;
        let of = |(_, faults): &Supposed| {
            let (mut fine, mut shown) =
                (1.0 - leak, vec![leak / aspects.len() as f64; aspects.len()]);
            for &(cause, mode) in faults {
                let m = a.modes[cause][mode];
                let s: Vec<f64> = by_aspect
                    .iter()
                    .map(|list| {
                        list.binary_search_by_key(&m, |e| e.0)
                            .map_or(0.0, |i| list[i].1)
                    })
                    .collect();
                let most = s.iter().fold(0.0_f64, |x, &y| x.max(y));
                let sum: f64 = s.iter().sum();
                if sum > 0.0 {
                    fine *= 1.0 - most;
                    shown
                        .iter_mut()
                        .zip(&s)
                        .for_each(|(w, s)| *w += s * most / sum);
                }
            }
            let total: f64 = shown.iter().sum();
            let mut row = vec![fine];
            row.extend(shown.iter().map(|w| (1.0 - fine) * w / total));
            row
        };
        self.supposed.iter().map(of).collect()
    }

    /// Rails in their order, each waiting for the one before, unless a test evidently ran.
    fn rails(&mut self) {
        let mut rails: Vec<_> = self.model.rails.iter().collect();
        rails.sort_by_key(|(_, r)| r.order);
        for (name, rail) in rails {
            if self.read(&format!("rail.{name}")) {
                continue;
            }
            let Some(node) = self.model.node(&rail.line) else {
                continue;
            };
            let reads = [Read { node, weight: 1.0 }];
            let aspects = [Aspect::Dead, Aspect::Low, Aspect::High];
            let rows = self.rows(&reads, &aspects, MEASURED.false_fail, MEASURED.missed);
            let mut step = Step::observe(costs::MEASURE_RAIL, rows);
            step.power = Power::On;
            step.rule = self.waits(&self.all_good());
            let place = board::rail_measured_at(self.model, name);
            let volts = if rail.ac { "V AC" } else { "V" };
            self.out.push(Candidate {
                step,
                say: format!("Measure rail {name} at {place} against ground with a multimeter."),
                place: format!("{place}, rail {name}"),
                expect: format!("{} to {} {volts}", rail.low, rail.high),
                hazard: Some(format!("{LIVE}; {MAINS}")),
                outcomes: ["good", "missing", "low", "high"]
                    .map(|o| format!("{name} {o}"))
                    .into(),
            });
        }
    }

    /// All rail steps so far came out good.
    fn all_good(&self) -> Vec<Condition> {
        (0..self.out.len())
            .map(|step| Condition {
                step,
                outcomes: vec![0],
            })
            .collect()
    }

    /// What powered steps and donors wait for: every unread rail read and good; nothing if a test ran.
    fn gate(&self) -> Vec<Condition> {
        if self.ranking.observed.test_ran {
            Vec::new()
        } else {
            self.all_good()
        }
    }

    fn waits(&self, for_all: &[Condition]) -> Rule {
        if self.ranking.observed.test_ran {
            return Rule::default();
        }
        Rule {
            after: for_all.iter().map(|c| vec![c.clone()]).collect(),
            never_after: Vec::new(),
        }
    }

    /// Lines with a stated expectation that were not measured yet, with how much each could tell.
    fn lines(&mut self, gate: &[Condition]) -> Vec<(f64, Candidate)> {
        let mut out = Vec::new();
        for def in &self.model.lines {
            if self.read(&format!("line.{}", def.line)) {
                continue;
            }
            let Some(node) = self.model.node(&def.line) else {
                continue;
            };
            let (aspects, words) = line_outcomes(def);
            let reads = [Read { node, weight: 1.0 }];
            let rows = self.rows(&reads, &aspects, MEASURED.false_fail, MEASURED.missed);
            let worth = self.worth(&rows);
            let Some(place) = self.line_place(def) else {
                continue;
            };
            let mut step = Step::observe(costs::MEASURE_LINE, rows);
            step.power = Power::On;
            step.rule = self.waits(gate);
            let hazard = def
                .caution
                .clone()
                .map_or(LIVE.to_string(), |c| format!("{c}; {LIVE}"));
            out.push((
                worth,
                Candidate {
                    step,
                    say: format!("Hold a logic probe on {place} ({}).", def.line),
                    place: format!("{place}, line {}", def.line),
                    expect: format!("{}: {}", words[0], def.what),
                    hazard: Some(hazard),
                    outcomes: words.into_iter().map(String::from).collect(),
                },
            ));
        }
        out
    }

    fn line_place(&self, def: &LineDef) -> Option<String> {
        let stated = def.at.first().map(|at| at.replacen('.', " pin ", 1));
        stated.or_else(|| {
            let on = |p: &Position| {
                p.pins
                    .iter()
                    .find(|pin| pin.line.as_deref() == Some(&def.line))
                    .cloned()
            };
            let at = self
                .model
                .positions
                .iter()
                .filter(|p| !p.outside)
                .find_map(|p| Some((p, on(p)?)));
            at.map(|(p, pin)| format!("{} pin {}", p.name, pin.label))
        })
    }

    /// Checks of the test, or by eye, without an outcome yet.
    fn checks(&mut self, gate: &[Condition]) -> Vec<(f64, Candidate)> {
        let mut out = Vec::new();
        let open: Vec<_> = self
            .model
            .checks
            .iter()
            .filter(|c| !c.id.starts_with("rail.") && !self.read(&c.id))
            .cloned()
            .collect();
        for check in open {
            // Without a running test there is nothing to read off it, and a picture state is seen without asking. What memory
            // chips share no test shows by itself.
            if check.id.starts_with("picture.")
                || memory::shared(&check.id)
                || (check.test && !self.ranking.observed.test_ran)
            {
                continue;
            }
            let rows = self.rows(
                &check.reads,
                &[Aspect::Trouble],
                TYPED.false_fail,
                TYPED.missed,
            );
            let worth = self.worth(&rows);
            let mut step = Step::observe(check.minutes, rows);
            step.power = Power::On;
            step.rule = self.waits(gate);
            out.push((
                worth,
                Candidate {
                    step,
                    say: format!("Run the check of {} and note the result.", check.what),
                    place: format!("test: {}", check.what),
                    expect: "passes".into(),
                    hazard: None,
                    outcomes: vec![
                        format!("{} fine", check.what),
                        format!("{} bad", check.what),
                    ],
                },
            ));
        }
        out
    }

    /// How much an observation could tell: its expected information in bits.
    fn worth(&self, rows: &[Row]) -> f64 {
        let entropy = |p: f64| if p > 0.0 { -p * p.log2() } else { 0.0 };
        let outcomes = rows.first().map_or(0, Vec::len);
        let p = |h: usize| self.supposed[h].0.probability;
        let total: f64 = (0..rows.len()).map(p).sum();
        let whole: f64 = (0..outcomes)
            .map(|o| {
                entropy(
                    rows.iter()
                        .enumerate()
                        .map(|(h, r)| p(h) * r[o])
                        .sum::<f64>()
                        / total,
                )
            })
            .sum();
        let inner: f64 = rows
            .iter()
            .enumerate()
            .map(|(h, r)| p(h) / total * r.iter().map(|&q| entropy(q)).sum::<f64>())
            .sum();
        whole - inner
    }

    /// Putting right each unit of the leading hypotheses.
    fn remedies(&mut self, gate: &[Condition]) {
        let causes: std::collections::BTreeSet<usize> = self
            .supposed
            .iter()
            .flat_map(|(_, faults)| faults.iter().map(|f| f.0))
            .collect();
        let mut ranked: Vec<(f64, usize)> = causes
            .into_iter()
            .map(|c| (self.ranking.posterior.cause(c), c))
            .collect();
        ranked.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        for (_, cause) in ranked.into_iter().take(MOST_REMEDIES) {
            let candidate = self.remedy(cause, gate);
            self.out.push(candidate);
        }
    }

    fn remedy(&self, cause: usize, gate: &[Condition]) -> Candidate {
        let a = &self.ranking.assembled;
        let unit = &self.model.units[a.instances[cause].unit];
        let position = &self.model.positions[unit.position];
        let mut cures = vec![Cure {
            unit: cause as u32,
            probability: costs::cures(unit, position),
        }];
        if unit.kind == UnitKind::Part && position.socket {
            // A swap in a socket is a reseat too.
            let contacts = a.instances.iter().position(|i| {
                let u = &self.model.units[i.unit];
                u.position == unit.position && u.kind == UnitKind::Contacts
            });
            cures.extend(contacts.map(|c| Cure {
                unit: c as u32,
                probability: 0.8,
            }));
        }
        let missing = self
            .ranking
            .observed
            .facts
            .empty
            .contains_key(&unit.position);
        let (say, place) = remedy_words(unit.kind.clone(), &unit.name, position, missing);
        let rule = match (&unit.kind, position.outside) {
            // A part of another machine, or a new one, goes only into a board whose rails are known.
            (UnitKind::Part, false) => self.waits(gate),
            _ => Rule::default(),
        };
        let kind = StepKind::Remedy {
            cures,
            verify: costs::RETEST,
            when_cured: 0.0,
            reopens: Vec::new(),
        };
        let step = Step {
            kind,
            cost: Cost::minutes(costs::remedy(unit, position)),
            tools: 0,
            power: Power::Off,
            rule,
        };
        let own = position.caution.clone();
        let hot = "switch off, and let hot parts and reservoir capacitors settle first; earth yourself against static";
        let hazard = Some(own.map_or(hot.to_string(), |c| format!("{c}; {hot}")));
        Candidate {
            step,
            say,
            place,
            expect: "the test passes afterwards".into(),
            hazard,
            outcomes: vec!["the machine works".into(), "still faulty".into()],
        }
    }
}

fn remedy_words(
    kind: UnitKind,
    name: &str,
    position: &Position,
    missing: bool,
) -> (String, String) {
    let part = position
        .part_type
        .as_ref()
        .map_or(String::new(), |t| format!(" ({t})"));
    let at = format!("{}, {}", position.name, position.role);
    let say = match kind {
        UnitKind::Part if missing => format!(
            "Fit a part{part} into the empty position {}.",
            position.name
        ),
        UnitKind::Part if position.class == Class::Setting => {
            format!("Check and correct {}: {}.", position.name, position.role)
        }
        UnitKind::Part if position.class == Class::Connector => {
            format!(
                "Unplug {}, look at and clean its contacts, and push it home again.",
                position.name
            )
        }
        UnitKind::Part if position.outside => format!(
            "Try another {} ({}) known to be good.",
            position.name, position.role
        ),
        UnitKind::Part if position.socket => {
            format!("Swap {}{part} for one known to be good.", position.name)
        }
        UnitKind::Part => format!(
            "Replace {}{part}: desolder it, fit a socket, put in a good one.",
            position.name
        ),
        UnitKind::Contacts => format!(
            "Take {} out, clean its legs and the socket, put it back.",
            position.name
        ),
        UnitKind::Joints => format!(
            "Look over and resolder the joints of {}, and the traces at them.",
            position.name
        ),
        UnitKind::Contact { .. } => {
            format!("Clean {name} and its counterpart, and resolder it if it is cracked.")
        }
        UnitKind::Key { .. } => format!("Open the keyboard and clean the contact of {name}."),
    };
    (say, at)
}

/// Outcomes of a line measurement: as expected first.
fn line_outcomes(def: &LineDef) -> (Vec<Aspect>, Vec<&'static str>) {
    match def.expect {
        Expect::Pulsing => (
            vec![Aspect::Low, Aspect::High],
            vec!["pulsing", "always low", "always high or floating"],
        ),
        Expect::High => (
            vec![Aspect::Low, Aspect::Noisy],
            vec!["high", "low", "pulsing"],
        ),
        Expect::Low => (
            vec![Aspect::High, Aspect::Noisy],
            vec!["low", "high", "pulsing"],
        ),
    }
}
