//! Advice that needs no plan.

use super::again::wanted;
use super::steps::MAINS;
use super::{Ask, Bench, Tool, costs, pulled_down};
use crate::faultmap::model::{BoardModel, ModeId, Position, UnitKind};
use crate::faultmap::raw::Class;
use crate::infer::network::Outcome;
use crate::observe::shorts::MAKES_IT;
use crate::observe::{CheckReading, Evidence, board};
use crate::rank::Ranking;
use crate::report::view::NextView;

/// What is known of the supply by itself, after a reading past a stop limit.
enum Supply {
    /// Not measured yet.
    Unread,
    /// What comes out of it is good, as far as it was measured: the trouble is on the board.
    Good,
    /// Something that comes out of it is not.
    Bad,
}

fn supply(ranking: &Ranking) -> Supply {
    let known = &ranking.observed.supply;
    match (known.is_empty(), known.values().all(|good| *good)) {
        (true, _) => Supply::Unread,
        (false, true) => Supply::Good,
        (false, false) => Supply::Bad,
    }
}

/// What comes out of the supply and was not measured there, as a remark.
fn unmeasured(model: &BoardModel, ranking: &Ranking) -> String {
    let known = &ranking.observed.supply;
    let left: Vec<&str> = (model.rails.iter())
        .filter(|(n, r)| r.at_plug && !known.contains_key(*n))
        .map(|(n, _)| n.as_str())
        .collect();
    match left.is_empty() {
        true => String::new(),
        false => format!(" as far as it was measured (not {})", left.join(", ")),
    }
}

/// What to read at the plug of the supply: what it gives itself, not what the board makes of it.
pub(super) fn at_plug(model: &BoardModel) -> String {
    let mut rails: Vec<_> = model.rails.iter().filter(|(_, r)| r.at_plug).collect();
    rails.sort_by_key(|(_, r)| r.order);
    let one = |(name, r): &(&String, &crate::faultmap::raw::RailRaw)| {
        let volts = if r.ac { "V AC" } else { "V" };
        let open = r.unloaded.map_or(String::new(), |u| {
            format!(" (up to {u} with nothing on it)")
        });
        format!("{name}: {} to {} {volts}{open}", r.low, r.high)
    };
    match rails.is_empty() {
        true => "what is printed on it".into(),
        false => rails.iter().map(one).collect::<Vec<_>>().join(", "),
    }
}

/// A step on a board that is switched off.
pub(super) fn unpowered(step: String, r#where: String) -> NextView {
    NextView {
        step,
        r#where,
        expect: String::new(),
        minutes: 0.0,
        hazard: None,
        saves_minutes: 0.0,
        power: false,
        needs: None,
        outcomes: Vec::new(),
        ask: None,
    }
}

/// The position of a step, with what it is for.
fn at(position: &Position) -> String {
    format!("{}, {}", position.name, position.role)
}

/// After a reading past a stop limit: the supply by itself, then another one or what makes the rail on the board; never
/// anything on the powered board.
pub fn after_stop(
    model: &BoardModel,
    ranking: &Ranking,
    bench: &Bench,
    skipped: &dyn Fn(&str, &Ask) -> bool,
) -> Vec<NextView> {
    let Some(stop) = &ranking.observed.stop else {
        return Vec::new();
    };
    // Without a multimeter the board stays off all the same; there is nothing to measure with.
    let meter = bench.has_one_of(&[Tool::Multimeter]);
    let position = model
        .positions
        .iter()
        .find(|p| p.outside && p.class == Class::Supply);
    let name = position.map_or("the supply", |p| p.name.as_str());
    // The supply is live, the board is not.
    let unplugged = NextView {
        expect: at_plug(model),
        minutes: costs::MEASURE_SUPPLY,
        hazard: Some(MAINS.into()),
        needs: meter.then(|| Tool::Multimeter.to_string()),
        ask: Some(Ask::Supply),
        ..unpowered(
            String::new(),
            position.map_or("the supply".into(), |p| {
                format!("{} ({}), unplugged", p.name, p.role)
            }),
        )
    };
    if !meter {
        let step = "Switch off and unplug the supply from the board. Get a multimeter before anything else.";
        return vec![NextView {
            step: step.into(),
            ..unplugged
        }];
    }
    match supply(ranking) {
        Supply::Unread => vec![NextView {
            step: "Switch off and unplug the supply from the board, then measure the supply by itself at its plug.".into(),
            ..unplugged
        }],
        Supply::Bad => vec![NextView {
            step: format!("{name} is bad: do not use it again. Take another one, and measure it by itself before it goes in."),
            ask: supply_swapped(model),
            expect: String::new(),
            ..unplugged
        }],
        Supply::Good => on_the_board(model, ranking, &stop.rail, skipped),
    }
}

/// That the supply was swapped.
fn supply_swapped(model: &BoardModel) -> Option<Ask> {
    let is_supply = |p: &Position| p.outside && p.class == Class::Supply;
    let at = model.positions.iter().position(is_supply)?;
    let unit = model.units_of(at).find(|(_, u)| u.kind == UnitKind::Part)?;
    Some(Ask::remedy(model, unit.0).unseen())
}

/// The supply is good, so what makes the rail on the board is not: found without power.
fn on_the_board(
    model: &BoardModel,
    ranking: &Ranking,
    rail: &str,
    skipped: &dyn Fn(&str, &Ask) -> bool,
) -> Vec<NextView> {
    let line = model.rails.get(rail).map(|r| r.line.as_str());
    let makers: Vec<&str> = model
        .positions
        .iter()
        .filter(|p| p.class == Class::Regulator)
        .filter(|p| p.pins.iter().any(|pin| pin.line.as_deref() == line))
        .map(|p| p.name.as_str())
        .collect();
    let (makers, measured_at) = match makers.is_empty() {
        true => (
            format!("whatever makes {rail}"),
            board::rail_measured_at(model, rail),
        ),
        false => (makers.join(", "), makers.join(", ")),
    };
    if let Some(view) = resistance(model, ranking, rail, &measured_at, skipped) {
        return vec![view];
    }
    let pulled_down = pulled_down::other_rails(model, ranking, rail, skipped);
    if let Some(view) = pulled_down.or_else(|| pulled_down::leg_out(model, ranking, skipped)) {
        return vec![view];
    }
    if since_read(ranking, rail).next().is_none() {
        let suspects = on_board_suspects(model, ranking, rail);
        if let Some(view) = pulled_down::across(model, ranking, &suspects, skipped) {
            return vec![view];
        }
        let suspect = suspects.first().map(|s| ranking.assembled.place[s.cause]);
        let name = suspect.map_or(makers.clone(), |u| model.units[u].name.clone());
        let step = format!(
            "Put right {name} with the supply unplugged: most probably it makes rail {rail} so."
        );
        let view = on_it(step, format!("{name}, unplugged"), Ask::Supply);
        let ask = suspect.map(|u| Ask::remedy(model, u).unseen());
        let left_out = ask.as_ref().is_some_and(|ask| skipped(&view.step, ask));
        if left_out {
            let step = format!(
                "Keep the board off until {makers} is put right; type what was done to it, or 'close'."
            );
            let ask = None;
            return vec![NextView { step, ask, ..view }];
        }
        return vec![NextView { ask, ..view }];
    }
    let place = board::rail_measured_at(model, rail);
    let step = format!(
        "Take the socketed chips out, plug the supply in, read rail {rail} at {place} and switch off. No chip goes back \
         before it is right."
    );
    let raw = model.rails.get(rail);
    let ask = Ask::Rail {
        rail: rail.into(),
        place: place.clone(),
        ac: raw.is_some_and(|r| r.ac),
    };
    let view = on_it(step, format!("{place}, rail {rail}"), ask);
    vec![NextView {
        expect: limits(model, rail),
        minutes: costs::MEASURE_RAIL,
        power: true,
        ..view
    }]
}

/// Something done to a board that stays unplugged.
fn on_it(step: String, r#where: String, ask: Ask) -> NextView {
    NextView {
        minutes: costs::MEASURE_SUPPLY,
        hazard: Some(MAINS.into()),
        ask: Some(ask),
        ..unpowered(step, r#where)
    }
}

/// The resistance of the rail to ground, if it is wanted.
fn resistance(
    model: &BoardModel,
    ranking: &Ranking,
    rail: &str,
    measured_at: &str,
    skipped: &dyn Fn(&str, &Ask) -> bool,
) -> Option<NextView> {
    let id = format!("resistance.{rail}");
    if !wanted(ranking, &id) {
        return None;
    }
    let again = match ranking.observed.read.contains(&id) {
        true => " once more: parts were renewed since, and none was it",
        false => "",
    };
    let step = format!(
        "The supply is good{}: the trouble is on the board. Leave it unplugged, and measure the resistance from rail \
         {rail} to ground at {measured_at}{again}.",
        unmeasured(model, ranking)
    );
    let ask = Ask::Resistance { rail: rail.into() };
    let view = NextView {
        expect: "some hundred ohms; a few ohms are a short".into(),
        minutes: costs::MEASURE_RAIL,
        needs: Some(Tool::Multimeter.to_string()),
        ..on_it(step, format!("{measured_at}, unplugged"), ask)
    };
    let left_out = (view.ask.as_ref()).is_some_and(|ask| skipped(&view.step, ask));
    (!left_out).then_some(view)
}

/// What was renewed or put right since a rail was last read: whether each cured the machine, where that was said.
fn since_read<'r>(ranking: &'r Ranking, rail: &str) -> impl Iterator<Item = Option<bool>> + 'r {
    let id = format!("rail.{rail}");
    let readings = &ranking.observed.readings;
    let read = readings
        .iter()
        .rposition(|r| matches!(&r.evidence, Evidence::Check(c) if c.check == id));
    let since = readings[read.map_or(0, |at| at + 1)..].iter();
    since.filter_map(|r| match r.evidence {
        Evidence::Remedy { cured, .. } => Some(cured),
        _ => None,
    })
}

/// What may make a rail as it was last read.
pub(super) struct Maker {
    pub(super) cause: usize,
    /// The modes that do.
    pub(super) modes: Vec<ModeId>,
    pub(super) probability: f64,
}

/// What on the board may make a rail as it was last read, the most probable first.
fn on_board_suspects(model: &BoardModel, ranking: &Ranking, rail: &str) -> Vec<Maker> {
    let a = &ranking.assembled;
    let Some((_, read)) = rails_out(ranking).into_iter().find(|r| r.0 == rail) else {
        return Vec::new();
    };
    let makes = |mode: &u32| read.effects.iter().any(|e| e.0 == *mode && e.1 >= MAKES_IT);
    let of = |cause: usize| -> Maker {
        let modes = a.now(&ranking.posterior, cause);
        let (modes, p): (Vec<ModeId>, Vec<f64>) = modes.filter(|(m, _)| makes(m)).unzip();
        Maker {
            cause,
            modes,
            probability: p.iter().sum(),
        }
    };
    let outside = |unit: usize| model.positions[model.units[unit].position].outside;
    let mut all: Vec<Maker> = (0..a.modes.len())
        .filter(|&c| a.is_current(c) && !outside(a.place[c]))
        .map(of)
        .filter(|m| m.probability > 0.0)
        .collect();
    all.sort_by(|x, y| {
        y.probability
            .total_cmp(&x.probability)
            .then(a.place[x.cause].cmp(&a.place[y.cause]))
    });
    all
}

/// The limits of a rail.
fn limits(model: &BoardModel, rail: &str) -> String {
    model
        .rails
        .get(rail)
        .map_or("within its limits".into(), |r| {
            format!(
                "{} to {} {}",
                r.low,
                r.high,
                if r.ac { "V AC" } else { "V" }
            )
        })
}

/// A fuse that was seen blown is renewed before anything live is measured, and what blew it is looked for first.
pub fn blown_fuse(model: &BoardModel, ranking: &Ranking) -> Option<NextView> {
    let leader = ranking.suspects.first().filter(|s| s.probability >= 0.5)?;
    let at_fault = ranking.assembled.place_of(leader.instance);
    let unit = &model.units[at_fault];
    let position = &model.positions[unit.position];
    if position.class != Class::Fuse || unit.kind != UnitKind::Part {
        return None;
    }
    let readings = &ranking.observed.readings;
    let renewed = readings.iter().rposition(
        |r| matches!(&r.evidence, Evidence::Remedy { units, .. } if units.iter().any(|u| u.unit == at_fault)),
    );
    let blown = |e: &Evidence| matches!(e, Evidence::Unit { unit, fine, faulty } if *unit == at_fault && faulty > fine);
    let seen = readings[renewed.map_or(0, |r| r + 1)..]
        .iter()
        .any(|r| blown(&r.evidence));
    let step = format!(
        "Unplug the supply, look for what blew {name}: measure the resistance to ground behind it. Then renew {name} with \
         one of the same rating.",
        name = position.name
    );
    seen.then(|| NextView {
        expect: "some hundred ohms; a few ohms are a short, to be found before a new fuse goes in"
            .into(),
        minutes: costs::MEASURE_RAIL,
        hazard: Some(MAINS.into()),
        ask: Some(Ask::remedy(model, at_fault)),
        ..unpowered(step, at(position))
    })
}

/// When all that fails is explained by sockets that may be empty: a part goes in before anything is called good.
pub fn fill_the_socket(model: &BoardModel, ranking: &Ranking) -> Option<NextView> {
    let empty = &ranking.observed.facts.empty;
    let position = empty.keys().map(|&at| &model.positions[at]).find(|p| {
        let fact = format!("{} is empty", p.name);
        ranking.explained_by.iter().any(|(_, said)| *said == fact)
    })?;
    let part = position.part_type.as_deref().unwrap_or("part");
    let step = format!(
        "Fit a {part} in {name}: what fails is explained by the empty socket, and nothing else is accused. Switch off \
         before it goes in; type 'fitted {name} {part}' when it is there, then run the test.",
        name = position.name
    );
    Some(NextView {
        expect: "what failed for want of it passes".into(),
        minutes: costs::RETEST,
        ..unpowered(step, at(position))
    })
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
        power: true,
        needs: None,
        outcomes: Vec::new(),
        ask: Some(Ask::Loops),
    }
}

/// When as many loops ran clean as prove it.
pub fn proved() -> NextView {
    NextView {
        step:
            "Enough loops ran clean since the last remedy: proved. Type 'close' to end the ticket."
                .into(),
        expect: String::new(),
        minutes: 0.0,
        power: false,
        ask: None,
        ..nothing_accused()
    }
}

/// When the fault that was there has been put right; before anything was put right there is nothing that is left over.
pub fn nothing_left(ranking: &Ranking) -> NextView {
    let done = |e: &Evidence| matches!(e, Evidence::Remedy { .. } | Evidence::Moved { .. });
    if !ranking.observed.readings.iter().any(|r| done(&r.evidence)) {
        return nothing_accused();
    }
    NextView {
        step: "Most probably nothing is at fault any more. Let the test run in a loop, cold and warm, before calling it cured."
            .into(),
        ..nothing_accused()
    }
}

/// When the part that is most probably at fault is not on the shelf.
pub fn part_to_get(model: &BoardModel, ranking: &Ranking, bench: &Bench) -> Option<NextView> {
    let leader = ranking.suspects.first().filter(|s| s.probability > 0.5)?;
    let unit = &model.units[leader.instance.unit];
    let position = &model.positions[unit.position];
    let part = position.part_type.as_ref()?;
    let new = unit.kind == UnitKind::Part
        && !position.outside
        && !matches!(position.class, Class::Connector | Class::Setting);
    let step = format!(
        "Get a {part} for {}: it is most probably at fault, and there is none on the shelf.",
        position.name
    );
    (new && !bench.has_part(part)).then(|| unpowered(step, at(position)))
}

/// Rails whose last reading failed, in the order of their last readings, each with that reading.
pub(super) fn rails_out(ranking: &Ranking) -> Vec<(&str, &CheckReading)> {
    let mut last: Vec<(&str, &CheckReading)> = Vec::new();
    for reading in &ranking.observed.readings {
        if let Evidence::Check(c) = &reading.evidence
            && let Some(rail) = c.check.strip_prefix("rail.")
        {
            last.retain(|(known, _)| *known != rail);
            last.push((rail, c));
        }
    }
    last.retain(|(_, c)| c.outcome != Outcome::Pass);
    last
}

/// A rail that was out of its limits and of which nobody knows whether it still is: something was put right since, and more changed
/// by it than nothing. That is read again before anything is made of it.
pub fn changed_since(model: &BoardModel, ranking: &Ranking, bench: &Bench) -> Option<NextView> {
    if !bench.has_one_of(&[Tool::Multimeter]) {
        return None;
    }
    let (rail, _) = *rails_out(ranking).first()?;
    let changed = since_read(ranking, rail).any(|cured| cured.is_none());
    changed.then(|| rail_again(model, rail, bench))
}

/// When a rail was out of its limits as it was last read, and nothing else is left to accuse: that reading comes before any
/// test.
pub fn low_rail_again(model: &BoardModel, ranking: &Ranking, bench: &Bench) -> Option<NextView> {
    let (rail, _) = *rails_out(ranking).first()?;
    Some(rail_again(model, rail, bench))
}

fn rail_again(model: &BoardModel, rail: &str, bench: &Bench) -> NextView {
    let meter = bench.has_one_of(&[Tool::Multimeter]);
    let place = board::rail_measured_at(model, rail);
    let ask = Ask::Rail {
        rail: rail.into(),
        place: place.clone(),
        ac: model.rails.get(rail).is_some_and(|r| r.ac),
    };
    NextView {
        step: match meter {
            true => format!(
                "Read rail {rail} again at {place}: it was out of its limits, and nothing is tested before it is right."
            ),
            false => format!(
                "Switch off: rail {rail} is out of its limits. Get a multimeter before anything else."
            ),
        },
        r#where: format!("the board, rail {rail}"),
        expect: limits(model, rail),
        minutes: costs::MEASURE_RAIL,
        hazard: Some(MAINS.into()),
        saves_minutes: 0.0,
        power: meter,
        needs: meter.then(|| Tool::Multimeter.to_string()),
        outcomes: Vec::new(),
        ask: Some(ask),
    }
}
