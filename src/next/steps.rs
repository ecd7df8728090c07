//! Everything that could be done next, as steps for the planner.

use super::costs;
use super::suppose::{Modes, Supposed};
use super::{Ask, Bench, Tool};
use crate::faultmap::model::{BoardModel, LineDef, ModeId, Position, Read};
use crate::faultmap::raw::Expect;
use crate::observe::shorts::MAKES_IT;
use crate::observe::{Aspect, MEASURED, board, effects, level_effects, noticed};
use crate::plan::{Condition, Kind as StepKind, Power, Rule, Step};
use crate::rank::Ranking;
use crate::sheet::Place;
use std::collections::{BTreeMap, BTreeSet};

/// Measurements and checks offered to the planner at most; those that could tell most come first.
const MOST_OBSERVATIONS: usize = 24;

/// Probing a live board.
pub const LIVE: &str =
    "the board is live: one hand, no jewellery, and do not bridge two pins with the tip";

/// Around the supply; the rule of the place goes before any tool's.
pub const MAINS: &str = "stay on the low-voltage side and leave mains adapters closed; mains work is for those licensed to do it, \
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
    /// Tool or part that it needs.
    pub needs: Option<String>,
    /// What it asks for.
    pub ask: Ask,
}

/// The modes that can make a rail as low as it was last read; `None` when all that were read were good then.
fn low_rails(ranking: &Ranking) -> Option<BTreeSet<ModeId>> {
    let mut modes: Option<BTreeSet<ModeId>> = None;
    for (_, c) in super::fixed::rails_out(ranking) {
        let can = c.effects.iter().filter(|e| e.1 >= MAKES_IT).map(|e| e.0);
        modes.get_or_insert_default().extend(can);
    }
    modes
}

/// All candidates: rails first (others wait for them), then lines and checks, then remedies.
pub fn candidates(
    model: &BoardModel,
    ranking: &Ranking,
    supposed: &[Supposed],
    bench: &Bench,
    skipped: &dyn Fn(&str, &Ask) -> bool,
) -> Vec<Candidate> {
    let mut c = Collector {
        model,
        ranking,
        supposed,
        bench,
        skipped,
        low: low_rails(ranking),
        looked_for: Vec::new(),
        scratch: vec![0.0; model.modes.len()],
        out: Vec::new(),
    };
    c.rails();
    let gate = c.gate();
    c.low_rail();
    let mut open = c.ohms();
    if c.low.is_none() {
        open.extend(c.lines(&gate));
        open.extend(c.checks(&gate));
        open.extend(c.by_hand(&gate));
    }
    open.retain(|(_, step)| !skipped(&step.say, &step.ask));
    open.sort_by(|a, b| b.0.total_cmp(&a.0));
    c.out
        .extend(one_of_each(open).into_iter().take(MOST_OBSERVATIONS));
    c.remedies(&gate);
    c.out
}

/// Of observations that would tell the same, the cheapest, the first among equals: the others are no alternatives.
fn one_of_each(open: Vec<(f64, Candidate)>) -> Vec<Candidate> {
    let mut kept: Vec<(Vec<i64>, Candidate)> = Vec::new();
    for (_, candidate) in open {
        let StepKind::Observe { rows, .. } = &candidate.step.kind else {
            continue;
        };
        let tells: Vec<i64> = (rows.iter().flatten())
            .map(|p| (p * 200.0).round() as i64)
            .collect();
        match kept.iter_mut().find(|k| k.0 == tells) {
            Some((_, other)) if candidate.step.cost.minutes < other.step.cost.minutes => {
                *other = candidate;
            }
            Some(_) => {}
            None => kept.push((tells, candidate)),
        }
    }
    kept.into_iter().map(|k| k.1).collect()
}

pub(super) struct Collector<'a> {
    pub(super) model: &'a BoardModel,
    pub(super) ranking: &'a Ranking,
    pub(super) supposed: &'a [Supposed],
    pub(super) bench: &'a Bench,
    pub(super) skipped: &'a dyn Fn(&str, &Ask) -> bool,
    /// Modes that can make a rail as low as it was read; `None` when none was read low.
    pub(super) low: Option<BTreeSet<ModeId>>,
    /// What a part that may short a low rail is changed after.
    pub(super) looked_for: Vec<Vec<Condition>>,
    pub(super) scratch: Vec<f64>,
    pub(super) out: Vec<Candidate>,
}

/// Probabilities of outcomes for one hypothesis.
pub(super) type Row = Vec<f64>;

/// Probabilities of outcomes of which one is told: none of several things shows, each of the first `named` is what does, or another
/// one. Where several would show, the most striking is told.
pub(super) fn one_of(shows: &[f64], named: usize) -> Row {
    let none: f64 = shows.iter().map(|p| 1.0 - p).product();
    let mut row = vec![none];
    row.extend(
        which(shows, named)
            .into_iter()
            .map(|share| (1.0 - none) * share),
    );
    row
}

/// Given that one of several things is told, which: each of the first `named`, or another one.
pub(super) fn which(shows: &[f64], named: usize) -> Row {
    let odds: Vec<f64> = shows.iter().map(|p| p / (1.0 - p)).collect();
    let sum: f64 = odds.iter().sum();
    let (first, rest) = odds.split_at(named.min(odds.len()));
    let mut row: Row = first.iter().map(|o| o / sum).collect();
    if !rest.is_empty() {
        row.push(rest.iter().sum::<f64>() / sum);
    }
    row
}

impl Collector<'_> {
    pub(super) fn read(&self, id: &str) -> bool {
        self.ranking.observed.read.contains(id)
    }

    /// P(each aspect, and nothing) under each hypothesis, for a reading of these nodes: a fault that shows does so by
    /// the aspect that describes it best.
    pub(super) fn rows(
        &mut self,
        reads: &[Read],
        aspects: &[Aspect],
        leak: f64,
        missed: f64,
    ) -> Vec<Row> {
        let by_aspect: Vec<Vec<(u32, f64)>> = aspects
            .iter()
            .map(|&a| effects(self.model, reads, a, &mut self.scratch))
            .map(|plain| noticed(self.model, &plain, missed))
            .collect();
        self.rows_of(&by_aspect, leak)
    }

    /// [`Self::rows`] from how surely each mode shows by each aspect.
    pub(super) fn rows_of(&self, by_aspect: &[Vec<(u32, f64)>], leak: f64) -> Vec<Row> {
        let aspects = by_aspect.len();
        // A cause is in many hypotheses: in those of the ranking in the same modes, beyond the ranking in none that is known.
        let mut known: BTreeMap<(usize, bool), Vec<f64>> = BTreeMap::new();
        for (cause, modes) in self.supposed.iter().flat_map(|s| &s.1) {
            let shows = known.entry((*cause, modes.is_empty()));
            shows.or_insert_with(|| self.shows(*cause, modes, by_aspect));
        }
        let of = |(_, faults): &Supposed| {
            let (mut fine, mut shown) = (1.0 - leak, vec![leak / aspects as f64; aspects]);
            for (cause, modes) in faults {
                let shows = &known[&(*cause, modes.is_empty())];
                fine *= (1.0 - shows.iter().sum::<f64>()).max(0.0);
                shown.iter_mut().zip(shows).for_each(|(w, s)| *w += s);
            }
            let total: f64 = shown.iter().sum();
            let mut row = vec![fine];
            row.extend(shown.iter().map(|w| (1.0 - fine) * w / total));
            row
        };
        self.supposed.iter().map(of).collect()
    }

    /// P(a cause that is at fault in one of these modes shows by each aspect).
    fn shows(&self, cause: usize, modes: &Modes, by_aspect: &[Vec<(u32, f64)>]) -> Vec<f64> {
        let (mut shows, mut s) = (vec![0.0; by_aspect.len()], vec![0.0; by_aspect.len()]);
        for &(mode, share) in modes {
            let m = self.ranking.assembled.modes[cause][mode];
            for (s, list) in s.iter_mut().zip(by_aspect) {
                let at = list.binary_search_by_key(&m, |e| e.0);
                *s = at.map_or(0.0, |i| list[i].1);
            }
            let most = s.iter().fold(0.0_f64, |x, &y| x.max(y));
            let sum: f64 = s.iter().sum();
            if sum > 0.0 {
                (shows.iter_mut().zip(&s)).for_each(|(w, s)| *w += share * s * most / sum);
            }
        }
        shows
    }

    /// Rails in their order, each waiting for the one before, unless a test evidently ran.
    pub(super) fn rails(&mut self) {
        if !self.bench.has_one_of(&[Tool::Multimeter]) {
            return;
        }
        let mut rails: Vec<_> = self.model.rails.iter().collect();
        rails.sort_by_key(|(_, r)| r.order);
        for (name, rail) in rails {
            if self.read(&format!("rail.{name}")) {
                continue;
            }
            let Some(reads) = self.model.check(&format!("rail.{name}")).map(|c| &c.reads) else {
                continue;
            };
            let aspects = [Aspect::Dead, Aspect::Low, Aspect::OverVoltage];
            let rows = self.rows(reads, &aspects, MEASURED.false_fail, MEASURED.missed);
            let mut step = Step::observe(costs::MEASURE_RAIL, rows);
            step.power = Power::On;
            step.rule = self.waits(&self.all_good());
            let place = board::rail_measured_at(self.model, name);
            let other = rail
                .against
                .as_deref()
                .map_or("ground".into(), board::pin_in_words);
            let volts = if rail.ac { "V AC" } else { "V" };
            let say = format!("Measure rail {name} at {place} against {other} with a multimeter.");
            let ask = Ask::Rail {
                rail: name.clone(),
                place: place.clone(),
                ac: rail.ac,
            };
            // A rail that will not be measured here is waited for no longer: the technician has decided.
            if (self.skipped)(&say, &ask) {
                continue;
            }
            self.out.push(Candidate {
                step,
                say,
                ask,
                place: format!("{place}, rail {name}"),
                expect: format!("{} to {} {volts}", rail.low, rail.high),
                hazard: Some(format!("{LIVE}; {MAINS}")),
                outcomes: ["good", "missing", "low", "high"]
                    .map(|o| format!("{name} {o}"))
                    .into(),
                needs: Some(Tool::Multimeter.to_string()),
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
    pub(super) fn gate(&self) -> Vec<Condition> {
        if self.ranking.observed.test_ran {
            Vec::new()
        } else {
            self.all_good()
        }
    }

    pub(super) fn waits(&self, for_all: &[Condition]) -> Rule {
        if self.ranking.observed.test_ran {
            return Rule::default();
        }
        Rule {
            after: for_all.iter().map(|c| vec![c.clone()]).collect(),
            never_after: Vec::new(),
        }
    }

    /// Lines with a stated expectation that were not measured yet, one by one and along a chip, with how much each could tell.
    fn lines(&mut self, gate: &[Condition]) -> Vec<(f64, Candidate)> {
        let Some(tool) = [Tool::Probe, Tool::Scope]
            .into_iter()
            .find(|t| self.bench.has_one_of(&[*t]))
        else {
            return Vec::new();
        };
        if !self.may_power() {
            return Vec::new();
        }
        let model = self.model;
        let open: Vec<(&LineDef, Vec<Row>)> = (model.lines.iter())
            .filter(|def| {
                !self
                    .ranking
                    .observed
                    .read
                    .contains(&format!("line.{}", def.line))
            })
            .filter_map(|def| Some((def, self.line_rows(def)?)))
            .collect();
        let along = self.along(&open, tool, gate);
        let single = |(def, rows): (&LineDef, Vec<Row>)| self.line(def, rows, tool, gate);
        let mut out: Vec<(f64, Candidate)> = open.into_iter().filter_map(single).collect();
        out.extend(along);
        out.extend(self.look_again(tool, gate));
        out
    }

    /// P(each level) of a line under each hypothesis; as expected first.
    fn line_rows(&mut self, def: &LineDef) -> Option<Vec<Row>> {
        let (aspects, _) = line_outcomes(def);
        let of = |&aspect: &Aspect| {
            let plain = level_effects(self.model, &def.line, aspect, &mut self.scratch)?;
            Some(noticed(self.model, &plain, MEASURED.missed))
        };
        let by_aspect = aspects.iter().map(of).collect::<Option<Vec<_>>>()?;
        Some(self.rows_of(&by_aspect, MEASURED.false_fail))
    }

    fn line(
        &self,
        def: &LineDef,
        rows: Vec<Row>,
        tool: Tool,
        gate: &[Condition],
    ) -> Option<(f64, Candidate)> {
        let at = self.line_place(def)?;
        Some(self.line_step(def, rows, at, tool, gate))
    }

    /// A probe on a line at this leg.
    pub(super) fn line_step(
        &self,
        def: &LineDef,
        rows: Vec<Row>,
        (place, pin): (String, Place),
        tool: Tool,
        gate: &[Condition],
    ) -> (f64, Candidate) {
        let (_, words) = line_outcomes(def);
        let worth = self.worth(&rows);
        let mut step = Step::observe(costs::MEASURE_LINE, rows);
        step.power = Power::On;
        step.rule = self.waits(gate);
        let candidate = Candidate {
            step,
            say: match tool {
                Tool::Scope => format!("Look at {place} ({}) with the oscilloscope.", def.line),
                _ => format!("Hold a logic probe on {place} ({}).", def.line),
            },
            place: format!("{place}, line {}", def.line),
            expect: format!("{}: {}", words[0], def.what),
            hazard: Some(cautions(std::iter::once(def))),
            outcomes: words.into_iter().map(String::from).collect(),
            needs: Some(tool.to_string()),
            ask: Ask::Line {
                line: def.line.clone(),
                place: pin,
            },
        };
        (worth, candidate)
    }

    /// Where a line is touched: in words, and as a sheet names the pin.
    fn line_place(&self, def: &LineDef) -> Option<(String, Place)> {
        let words = |name: &str, pin: &str| {
            let place = Place {
                name: name.to_string(),
                pin: Some(pin.to_string()),
            };
            (format!("{name} pin {pin}"), place)
        };
        let stated = def.at.first().and_then(|at| at.split_once('.'));
        stated.map(|(name, pin)| words(name, pin)).or_else(|| {
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
            at.map(|(p, pin)| words(&p.name, &pin.label))
        })
    }

    /// How much an observation could tell: its expected information in bits.
    pub(super) fn worth(&self, rows: &[Row]) -> f64 {
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
}

/// Cautions of the map for these lines, each once, and that of every live board.
pub(super) fn cautions<'m>(lines: impl Iterator<Item = &'m LineDef>) -> String {
    let mut all: Vec<&str> = Vec::new();
    for caution in lines.filter_map(|def| def.caution.as_deref()) {
        let caution = caution.trim_end_matches('.');
        if !all.contains(&caution) {
            all.push(caution);
        }
    }
    all.push(LIVE);
    all.join("; ")
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
