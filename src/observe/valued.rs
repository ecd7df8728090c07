//! A typed value as a check: what each failure mode makes probable against what a good board does.

use super::spread::{Grid, Mixture, weigh};
use super::{CheckReading, Evidence, Observer, stepped};
use crate::faultmap::model::{BoardModel, Kind, ModeId, Node, Read, Touch, UnitKind};
use crate::faultmap::raw::Class;
use crate::infer::network::Outcome;
use std::sync::{Arc, OnceLock};

/// P(a value is typed or measured so wrongly that it is the one of a good board): a guess; a value is copied with more care
/// than a word, and every wrong digit shows.
const VALUE_MISSED: f64 = 0.001;
/// Below this a strength is nothing.
const NOTHING: f64 = 1e-12;
/// A clock part of another frequency changes every rate and pitch that is divided from it: certain.
const FOLLOWS: f64 = 1.0;

/// A value on its grid, and how a good board and a slip of the pen spread it.
#[derive(Debug, Clone)]
pub struct Value {
    /// The values that can be typed.
    pub grid: Grid,
    /// Which of them was.
    pub at: i64,
    /// Of a good board.
    pub nominal: Mixture,
    /// Anything at all.
    pub any: Mixture,
}

/// How a mode reaches the value: how surely, and what it then is.
#[derive(Debug, Clone)]
pub struct Way {
    /// The mode.
    pub mode: ModeId,
    /// How surely it acts on the value, 0..1.
    pub strength: f64,
    /// How it spreads the value when it does.
    pub value: Mixture,
}

impl Value {
    /// How a good board spreads it, slips (this probability) included.
    pub fn fine(&self, false_fail: f64) -> Mixture {
        self.nominal.clone().or(false_fail, &self.any)
    }

    /// How a mode spreads it: when it does not act, or a good value is typed by mistake, as a good board does.
    pub fn under(&self, way: &Way, fine: &Mixture, missed: f64) -> Mixture {
        let acting = way.value.clone().or(missed, fine);
        acting.or(1.0 - way.strength, fine)
    }
}

impl Observer<'_> {
    /// Adds a value as the outcome of a check.
    pub(super) fn valued(&mut self, id: &str, value: &Value, ways: &[Way], text: String) -> bool {
        self.mark(id);
        let fine = value.fine(self.trust.false_fail);
        let missed = super::photo::lowered(
            super::Trust {
                false_fail: 0.0,
                missed: VALUE_MISSED,
            },
            self.misread,
        )
        .missed;
        let p = |m: &Mixture| value.grid.p(value.at, m);
        let under: Vec<f64> = ways
            .iter()
            .map(|w| p(&value.under(w, &fine, missed)))
            .collect();
        let weighed = weigh(p(&fine), &under);
        if weighed.leak >= 1.0 {
            let message = format!("{text}: nothing on this board would give that");
            let help = "type it again if that was read right; it accuses nothing".to_string();
            self.warn(crate::diag::code::NOTHING_FOLLOWS, message, help);
        }
        let outcome = if weighed.failed {
            Outcome::Fail
        } else {
            Outcome::Pass
        };
        let certain = 1.0 - missed;
        let strengths = weighed.strengths.iter().map(|s| stepped(*s) * certain);
        let effects: Vec<(ModeId, f64)> = ways
            .iter()
            .map(|w| w.mode)
            .zip(strengths)
            .filter(|e| e.1 > NOTHING)
            .collect();
        let reading = CheckReading {
            check: id.to_string(),
            outcome,
            run: self.run,
            looped: false,
            leak: weighed.leak.max(f64::MIN_POSITIVE),
            effects: effects.into(),
        };
        self.push(text, Evidence::Check(reading));
        weighed.failed
    }
}

/// The strongest way of each mode to what a check reads: mode, kind and strength.
pub fn strongest(model: &BoardModel, reads: &[Read]) -> Vec<(ModeId, Kind, f64)> {
    let mut all: Vec<(ModeId, Kind, f64)> = Vec::new();
    for read in reads {
        let touches = &model.nodes[read.node as usize].touches;
        all.extend(touches.iter().map(|t| {
            (
                t.mode,
                t.kind,
                f64::from(t.strength) * f64::from(read.weight),
            )
        }));
    }
    all.sort_by(|a, b| a.0.cmp(&b.0).then(b.2.total_cmp(&a.2)));
    all.dedup_by_key(|w| w.0);
    all
}

/// Crystal over phase-2 clock of the machines whose crystal's value names both television standards: 17.734475 MHz / 18 on 625
/// lines, 14.318180 MHz / 14 on 525 lines (`facts/published.md` 4.3: crystals S9b, S9c; dividers computed).
const DIVIDERS: [(&str, f64); 2] = [("625", 18.0), ("525", 14.0)];

/// How much faster the machine's clock is in its 525-line version than in its 625-line one, where the map names both crystals:
/// 1.03804. `None` on a board of one version.
pub fn version_ratio(model: &BoardModel) -> Option<f64> {
    let clocks = model.positions.iter().filter(|p| p.class == Class::Clock);
    clocks.filter_map(|p| p.value.as_deref()).find_map(|value| {
        let clock = |(lines, divider): (&str, f64)| {
            let part = value.split('/').find(|part| part.contains(lines))?;
            let mhz: f64 = part.trim().split(' ').next()?.parse().ok()?;
            Some(mhz / divider)
        };
        Some(clock(DIVIDERS[1])? / clock(DIVIDERS[0])?)
    })
}

/// A failure mode that changes the speed of the machine's own clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SystemClock {
    /// The mode.
    pub mode: ModeId,
    /// How surely.
    pub strength: f64,
    /// It is the part of another version of the board: crystal or setting.
    pub version: bool,
}

/// A touch this strong is one of its own, not one by the way.
const OWN: f64 = 0.5;

/// The modes that make the machine's own clock run at another speed: those of clock parts that do something wrong without stopping it,
/// and those of version settings that act on the very function that the clock parts act on (the one that the fewest modes touch).
pub fn system_clock(model: &BoardModel) -> Arc<[SystemClock]> {
    #[derive(Default)]
    struct Known(OnceLock<Arc<[SystemClock]>>);
    let memo = model.memo.of::<Known>();
    Arc::clone(memo.0.get_or_init(|| find_system_clock(model)))
}

fn find_system_clock(model: &BoardModel) -> Arc<[SystemClock]> {
    let position = |mode: ModeId| {
        let unit = &model.units[model.modes[mode as usize].unit as usize];
        (unit.kind == UnitKind::Part).then(|| &model.positions[unit.position])
    };
    let of_class = |node: &Node, class: Class| -> Vec<ModeId> {
        let wrong = |t: &Touch| matches!(t.kind, Kind::Wrong | Kind::Slow | Kind::Fast);
        let own = |t: &Touch| f64::from(t.strength) >= OWN;
        let is = |t: &Touch| {
            position(t.mode).is_some_and(|p| p.class == class && p.family != MAINS_SETTING)
        };
        node.touches
            .iter()
            .filter(wrong)
            .filter(own)
            .filter(is)
            .map(|t| t.mode)
            .collect()
    };
    let functions = model.nodes.iter().filter(|n| !n.line);
    let with_clock = functions
        .map(|n| (n, of_class(n, Class::Clock)))
        .filter(|(_, m)| !m.is_empty());
    let with_clock: Vec<(&Node, Vec<ModeId>)> = with_clock.collect();
    let mut modes: Vec<ModeId> = with_clock.iter().flat_map(|(_, m)| m.clone()).collect();
    let nearest = with_clock.iter().min_by_key(|(n, _)| n.touches.len());
    modes.extend(
        nearest
            .into_iter()
            .flat_map(|(n, _)| of_class(n, Class::Setting)),
    );
    modes.sort_unstable();
    modes.dedup();
    let of = |mode: ModeId| {
        let p = position(mode)?;
        Some(SystemClock {
            mode,
            strength: FOLLOWS,
            version: p.class == Class::Setting || p.family.starts_with("crystal"),
        })
    };
    modes.into_iter().filter_map(of).collect()
}

/// The family of the setting for the mains frequency, which is none of the board's version.
pub const MAINS_SETTING: &str = "setting-mains";
