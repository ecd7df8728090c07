//! What pulls a rail down, looked for on a board that must stay off: by ohms, and leg by leg.

use super::again::wanted;
use super::fixed::{Maker, rails_out, unpowered};
use super::{Ask, Tool, costs, ohms};
use crate::faultmap::model::{BoardModel, UnitKind};
use crate::faultmap::raw::Across;
use crate::infer::network::Outcome;
use crate::observe::ohms::{across_effects, across_id};
use crate::observe::{Evidence, Reading, board, holds};
use crate::rank::Ranking;
use crate::report::view::NextView;
use crate::sheet::{Action, Place};

/// P(shorts the rail) from which on a part is renewed and no other leg is lifted (guess).
const SURE: f64 = 0.5;
/// P(shorts the rail) below which a leg is not worth its lifting (guess).
const UNLIKELY: f64 = 0.004;

/// Another rail that is out of its limits, or that goes down with this one, with the power off: what pulls it down may be what keeps this
/// one away. With the board off nobody reads its volts.
pub fn other_rails(
    model: &BoardModel,
    ranking: &Ranking,
    rail: &str,
    skipped: &dyn Fn(&str, &Ask) -> bool,
) -> Option<NextView> {
    let read = |name: &str| !wanted(ranking, &format!("resistance.{name}"));
    let direct = |name: &str| model.rails.get(name).is_some_and(|r| !r.ac);
    let out: Vec<&str> = rails_out(ranking).into_iter().map(|r| r.0).collect();
    let along = |name: &str| model.rails.get(name)?.falls_with.as_deref();
    let unread = |name: &&str| !ranking.observed.read.contains(&format!("rail.{name}"));
    let fallen = along(rail).filter(unread);
    let others = out.iter().copied().chain(fallen);
    let mut open = others.filter(|name| *name != rail && direct(name) && !read(name));
    let view = |name: &str| {
        let why = match Some(name) == fallen {
            true => format!("what pulls it down leaves nothing of {rail}"),
            false => "it reads wrong as well".into(),
        };
        let place = board::rail_measured_at(model, name);
        let again = match ranking
            .observed
            .read
            .contains(&format!("resistance.{name}"))
        {
            true => " once more, as parts were renewed in vain",
            false => "",
        };
        let step = format!(
            "Leave the supply unplugged, and measure the resistance from rail {name} to ground at {place}{again}: {why}."
        );
        NextView {
            expect: "some hundred ohms; a few ohms are a short".into(),
            minutes: costs::MEASURE_RAIL,
            needs: Some(Tool::Multimeter.to_string()),
            ask: Some(Ask::Resistance { rail: name.into() }),
            ..unpowered(step, format!("{place}, unplugged"))
        }
    };
    open.find_map(|name| {
        let view = view(name);
        let left_out = (view.ask.as_ref()).is_some_and(|ask| skipped(&view.step, ask));
        (!left_out).then_some(view)
    })
}

/// A soldered part that may short a rail which is a few ohms from ground: its leg on that rail out of the board, and the ohms once more.
pub fn leg_out(
    model: &BoardModel,
    ranking: &Ranking,
    skipped: &dyn Fn(&str, &Ask) -> bool,
) -> Option<NextView> {
    let mut legs = shorted(model, ranking)
        .flat_map(|rail| legs(model, ranking, rail))
        .collect::<Vec<_>>();
    legs.sort_by(|x, y| y.probability.total_cmp(&x.probability));
    // The likeliest, which the short went with: it is renewed now.
    if legs.first().is_none_or(|l| l.probability >= SURE || l.went) {
        return None;
    }
    let view = |l: &Leg| {
        let (name, pin, rail) = (l.name, l.pin, l.rail);
        let step = format!(
            "Leave the supply unplugged, solder leg {pin} of {name} ({rail}) out of its hole, bend it up, and measure the resistance from \
             rail {rail} to ground again; solder it in again afterwards."
        );
        let place = Place {
            name: name.into(),
            pin: Some(pin.into()),
        };
        NextView {
            expect: "no change, if another part shorts the rail".into(),
            minutes: costs::LIFT_LEG,
            needs: Some(Tool::Multimeter.to_string()),
            ask: Some(Ask::Remedy {
                unit: l.unit.into(),
                action: Action::Lift,
                place,
                seen: true,
            }),
            ..unpowered(step, format!("{name} pin {pin}, unplugged"))
        }
    };
    let open = legs
        .iter()
        .filter(|l| !l.lifted && l.probability >= UNLIKELY);
    open.map(view)
        .find(|v| !v.ask.as_ref().is_some_and(|ask| skipped(&v.step, ask)))
}

/// Ohms across a part that may make a rail so, before the likeliest is soldered out: a diode, a coil or a transistor is cleared in a
/// minute or two. By what a minute of it may find; nothing but the likeliest once that is known. `makers` in falling order of
/// probability.
pub fn across(
    model: &BoardModel,
    ranking: &Ranking,
    makers: &[Maker],
    skipped: &dyn Fn(&str, &Ask) -> bool,
) -> Option<NextView> {
    let a = &ranking.assembled;
    let unit = |m: &Maker| &model.units[a.place[m.cause]];
    let position = |m: &Maker| &model.positions[unit(m).position];
    let leader = makers.first()?;
    let renewing = costs::remedy(unit(leader), position(leader))
        + costs::hazard(unit(leader), position(leader))
        + costs::MEASURE_RAIL;
    // Or the short went with its leg.
    let went = shorted(model, ranking)
        .flat_map(|rail| legs(model, ranking, rail))
        .any(|l| l.went && *l.unit == *unit(leader).name);
    let known = leader.probability >= SURE || went;
    let worth = |m: &Maker| {
        let index = unit(m).position;
        let open = |how: Across| {
            let shows = across_effects(model, index, how);
            let tells = shows.iter().any(|e| m.modes.contains(&e.0));
            tells
                && !ranking
                    .observed
                    .read
                    .contains(&across_id(&position(m).name, how))
        };
        let open = open(Across::Open) || open(Across::Shorted);
        let worth = m.probability / ohms::between(position(m)).1;
        let other = m.cause != leader.cause;
        (open && !(known && other) && worth >= leader.probability / renewing).then_some(worth)
    };
    let view = |m: &Maker| {
        let p = position(m);
        let (legs, minutes) = ohms::between(p);
        let step = format!(
            "Leave the supply unplugged, and measure the ohms across {} ({}), {legs}.",
            p.name, p.role
        );
        let place = Place {
            name: p.name.clone(),
            pin: None,
        };
        NextView {
            expect: ohms::expectation(p),
            minutes,
            needs: Some(Tool::Multimeter.to_string()),
            ask: Some(Ask::Across { place }),
            ..unpowered(step, format!("{}, {}, unplugged", p.name, p.role))
        }
    };
    let mut worthy: Vec<(f64, &Maker)> = (makers.iter())
        .filter_map(|m| Some((worth(m)?, m)))
        .collect();
    worthy.sort_by(|x, y| y.0.total_cmp(&x.0));
    (worthy.into_iter().map(|w| view(w.1)))
        .find(|v| !v.ask.as_ref().is_some_and(|ask| skipped(&v.step, ask)))
}

/// A leg of a soldered part on a rail.
struct Leg<'m> {
    name: &'m str,
    unit: &'m str,
    pin: &'m str,
    rail: &'m str,
    /// P(the part shorts the rail).
    probability: f64,
    /// It was out already.
    lifted: bool,
    /// Something changed while it was out.
    went: bool,
}

/// Rails that are a few ohms from ground as they were last measured.
fn shorted<'r>(model: &'r BoardModel, ranking: &'r Ranking) -> impl Iterator<Item = &'r str> {
    let last = |rail: &str| {
        let id = format!("resistance.{rail}");
        let of = |r: &Reading| match &r.evidence {
            Evidence::Check(c) if c.check == id => Some(c.outcome),
            _ => None,
        };
        ranking.observed.readings.iter().rev().find_map(of)
    };
    let rails = model.rails.keys().map(String::as_str);
    rails.filter(move |rail| last(rail) == Some(Outcome::Fail))
}

fn legs<'m>(model: &'m BoardModel, ranking: &'m Ranking, rail: &'m str) -> Vec<Leg<'m>> {
    let a = &ranking.assembled;
    let line = model.rails.get(rail).map(|r| r.line.as_str());
    let of = |cause: usize| -> Option<Leg<'m>> {
        let unit = &model.units[a.place[cause]];
        let position = &model.positions[unit.position];
        let soldered = !position.socket && !position.outside && unit.kind == UnitKind::Part;
        if !soldered || !a.is_current(cause) {
            return None;
        }
        let pin = position.pins.iter().find(|p| p.line.as_deref() == line)?;
        let modes = holds(model, unit.position, &pin.label);
        let now = a.now(&ranking.posterior, cause);
        let shorts = now.filter(|(m, _)| modes.contains(m)).map(|m| m.1).sum();
        // A part has a leg on each of its rails; the reading holds the modes of the one that was out.
        let was_out = |r: &Reading| {
            let of_leg = matches!(&r.evidence, Evidence::Modes { modes: m, .. } if *m == modes);
            of_leg && r.text.contains("leg lifted")
        };
        let mut out = (ranking.observed.readings.iter())
            .filter(|r| was_out(r))
            .peekable();
        let lifted = out.peek().is_some();
        let went = out.any(|r| !r.text.contains("no change"));
        Some(Leg {
            name: &position.name,
            unit: &unit.name,
            pin: &pin.label,
            rail,
            probability: shorts,
            lifted,
            went,
        })
    };
    (0..a.modes.len()).filter_map(of).collect()
}

#[cfg(test)]
mod tests {
    use crate::sampled::{NO_MINUS_FIVE, proposed};

    /// A transistor and a diode are cleared in three minutes; to solder one out takes ten times as long.
    #[test]
    fn parts_are_measured_before_one_is_soldered_out() {
        let first = |more: &str| proposed(&format!("{NO_MINUS_FIVE}{more}")).swap_remove(0);
        // What shorts +12 V leaves nothing of -5 V.
        let ohms = first("");
        assert!(ohms.contains("from rail +12V to ground"), "{ohms}");
        let first = |more: &str| first(&format!("resistance +12V 400 ohm\n{more}"));
        let step = first("");
        let part = ["TR4", "TR5"]
            .into_iter()
            .find(|p| step.contains(&format!("ohms across {p} (")));
        let part = part.unwrap_or_else(|| panic!("{step}"));
        assert!(step.contains("between each two of its legs"), "{step}");
        let shorted = first(&format!("ohms across {part} shorted\n"));
        assert!(
            shorted.starts_with(&format!("Put right {part} with the supply unplugged")),
            "{shorted}"
        );
        let next = first(&format!("ohms across {part} ok\n"));
        assert!(
            next.contains("measure the ohms across") && !next.contains(&format!("{part} (")),
            "{next}"
        );
    }
}
