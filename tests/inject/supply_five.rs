//! The supply of boards that take 5 V and nothing else.

use super::overlay::Overlay;
use super::supply::{Supply, spread_direct};
use super::wiring::{Kind, Wired};

/// Whether a board is fed like that.
pub fn fits(w: &Wired) -> bool {
    w.of_kind(Kind::AdapterFive).next().is_some()
}

fn parts(w: &Wired) -> (usize, usize) {
    let adapter = w
        .of_kind(Kind::AdapterFive)
        .next()
        .expect("a mains adapter");
    let jack = w.of_kind(Kind::PowerJack).next().expect("a power socket");
    (adapter, jack)
}

/// What adapter and socket give, if nothing on the board takes too much.
pub fn given(w: &Wired, o: &Overlay, s: &mut Supply) {
    let (adapter, jack) = parts(w);
    let touches = |label: &str| !o.is_open(jack, w.pin(jack, label));
    let through = touches("P1") && touches("1") && touches("2") && !o.broken(jack, "5V open");
    let made = match () {
        () if o.broken(adapter, "dead") => 0.0,
        () if o.broken(adapter, "5V low") => 4.3,
        () if o.broken(adapter, "5V high") => 5.85,
        () => 5.03,
    };
    let line = |label: &str| w.parts[jack].pins[w.pin(jack, label)].1.expect("wired");
    if made > 0.0 {
        spread_direct(w, o, s, line("P1"), made);
    }
    if made > 0.0 && through {
        let lost = if o.broken(jack, "5V low") { 0.6 } else { 0.0 };
        spread_direct(w, o, s, line("1"), made - lost);
    }
    let bulk = w
        .of_kind(Kind::Reservoir)
        .filter(|&c| o.broken(c, "weak") && w.parts[c].pins.iter().any(|p| p.1 == Some(line("1"))));
    // The adapter smooths; the small capacitor of the board only rounds off what is left (guess).
    let small = if bulk.count() > 0 { 0.06 } else { 0.0 };
    let ripple = if o.broken(adapter, "ripple") {
        0.7
    } else {
        small
    };
    if ripple > 0.0 {
        s.ripple.insert(line("1"), ripple);
    }
}

/// Volts at the plug with nothing on it: an adapter that sags under load looks good there.
pub fn at_plug(w: &Wired, o: &Overlay) -> f64 {
    let (adapter, _) = parts(w);
    match () {
        () if o.broken(adapter, "dead") => 0.0,
        () if o.broken(adapter, "5V high") => 5.85,
        () => 5.08,
    }
}
