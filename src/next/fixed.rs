//! Advice that needs no plan.

use super::steps::MAINS;
use super::{Ask, Bench, Tool, costs};
use crate::faultmap::model::{BoardModel, UnitKind};
use crate::faultmap::raw::Class;
use crate::infer::network::Outcome;
use crate::observe::Evidence;
use crate::rank::Ranking;
use crate::report::view::NextView;

/// After a reading past a stop limit: what tests the supply by itself, nothing else.
pub fn after_stop(model: &BoardModel, ranking: &Ranking, bench: &Bench) -> Vec<NextView> {
    // Without a multimeter the board stays off all the same; there is nothing to measure with.
    let meter = bench.has_one_of(&[Tool::Multimeter]);
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
        step: if meter {
            format!(
                "Switch off and unplug the supply from the board, then measure the supply by itself at its plug. {}.",
                capital(&remedy)
            )
        } else {
            format!(
                "Switch off and unplug the supply from the board. {}.",
                capital(&remedy)
            )
        },
        r#where: supply.map_or("the supply".into(), |p| {
            format!("{} ({}), unplugged", p.name, p.role)
        }),
        expect: rails.join(", "),
        minutes: costs::MEASURE_SUPPLY,
        hazard: Some(MAINS.into()),
        saves_minutes: 0.0,
        // The supply is live, the board is not.
        power: false,
        needs: meter.then(|| Tool::Multimeter.to_string()),
        outcomes: Vec::new(),
        ask: Some(Ask::Supply),
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
        power: true,
        needs: None,
        outcomes: Vec::new(),
        ask: Some(Ask::Loops),
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

/// When the part that is most probably at fault is not on the shelf.
pub fn part_to_get(model: &BoardModel, ranking: &Ranking, bench: &Bench) -> Option<NextView> {
    let leader = ranking.suspects.first().filter(|s| s.probability > 0.5)?;
    let unit = &model.units[leader.instance.unit];
    let position = &model.positions[unit.position];
    let part = position.part_type.as_ref()?;
    let new = unit.kind == UnitKind::Part
        && !position.outside
        && !matches!(position.class, Class::Connector | Class::Setting);
    (new && !bench.has_part(part)).then(|| NextView {
        step: format!(
            "Get a {part} for {}: it is most probably at fault, and there is none on the shelf.",
            position.name
        ),
        r#where: format!("{}, {}", position.name, position.role),
        expect: String::new(),
        minutes: 0.0,
        hazard: None,
        saves_minutes: 0.0,
        power: false,
        needs: None,
        outcomes: Vec::new(),
        ask: None,
    })
}

fn capital(s: &str) -> String {
    let mut chars = s.chars();
    chars
        .next()
        .map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

/// When a rail was read low and nothing else is left to accuse: that reading comes before any test.
pub fn low_rail_again(ranking: &Ranking, bench: &Bench) -> Option<NextView> {
    let rail = ranking
        .observed
        .readings
        .iter()
        .find_map(|r| match &r.evidence {
            Evidence::Check(c) if c.outcome != Outcome::Pass => c.check.strip_prefix("rail."),
            _ => None,
        })?;
    let meter = bench.has_one_of(&[Tool::Multimeter]);
    Some(NextView {
        step: match meter {
            true => format!(
                "Read rail {rail} again: it is out of its limits, and nothing is tested before it is right."
            ),
            false => format!(
                "Switch off: rail {rail} is out of its limits. Get a multimeter before anything else."
            ),
        },
        r#where: format!("the board, rail {rail}"),
        expect: "within its limits".into(),
        minutes: costs::MEASURE_RAIL,
        hazard: Some(MAINS.into()),
        saves_minutes: 0.0,
        power: meter,
        needs: meter.then(|| Tool::Multimeter.to_string()),
        outcomes: Vec::new(),
        ..nothing_accused()
    })
}
