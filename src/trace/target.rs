//! What to trace, from the words typed.

use super::signals::Signals;
use crate::diag::did_you_mean;
use crate::faultmap::expand;

/// What is traced.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Target {
    /// A key of the matrix: column, row, name.
    Key(usize, usize, String),
    /// A key outside the matrix: name and function.
    OutsideKey(String, String),
    /// A data bit of main memory: of a further bank, if one is named.
    Bit(Option<String>, usize),
    /// The tick of a time-of-day clock, by check.
    Clock(String),
    /// A voice, by check.
    Voice(String),
    /// A rail.
    Rail(String),
    /// A line.
    Line(String),
    /// A pin: position and pin.
    Pin(usize, usize),
    /// Anything else that has a name in the map: a function of the board.
    Function(String),
}

/// Reads what to trace. A word before it (`key`, `line`, `pin`, `supply`) settles what is meant; else a pin, a key, a
/// rail, a line and a function are tried in this order.
///
/// # Errors
/// What could not be found, and what is near or what there is.
pub fn target(s: &Signals, typed: &str) -> Result<Target, String> {
    let words: Vec<&str> = typed.split_whitespace().collect();
    let lower: Vec<String> = words.iter().map(|w| w.to_lowercase()).collect();
    let from = |n: usize| words[n..].join(" ");
    match lower.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        [] => Err("trace what? A key, 'memory bit 3', 'clock 1', 'voice 1', a supply, a line, a pin such as U1.12".into()),
        ["key", _, ..] => key(s, &from(1)).ok_or_else(|| no_key(s, &from(1))),
        ["memory" | "ram" | "data" | "main", "bit", n] | ["bit", n] => bit(s, None, n),
        [bank, "bit", n] | [bank, "memory", "bit", n] => bit(s, Some(bank), n),
        ["clock" | "tick", n] | ["clock", "tick", n] | ["tick", "clock", n] => check(s, "clock", n),
        ["voice", n] => check(s, "voice", n),
        ["rail" | "supply", _, ..] => rail(s, &from(1)),
        ["line", _, ..] => line(s, &from(1)).ok_or_else(|| unknown(s, &from(1))),
        ["pin", pin, "of", socket] => self::pin(s, socket, pin),
        ["pin", _] => any_pin(s, words[1]).unwrap_or_else(|| Err(unknown(s, words[1]))),
        [socket, "pin", pin] => self::pin(s, socket, pin),
        _ => bare(s, &words.join(" ")),
    }
}

fn bare(s: &Signals, typed: &str) -> Result<Target, String> {
    if let Some(found) = any_pin(s, typed) {
        return found;
    }
    let function = || {
        let known = s.functions.keys().find(|f| f.eq_ignore_ascii_case(typed));
        known.map(|f| Target::Function(f.clone()))
    };
    if let Some(found) = key(s, typed)
        .or_else(|| exact_rail(s, typed))
        .or_else(|| line(s, typed))
        .or_else(function)
    {
        return Ok(found);
    }
    if let Ok(found) = rail(s, typed) {
        return Ok(found);
    }
    if let Some(p) = s.wiring.position(&typed.to_uppercase()) {
        let name = &s.position(p).name;
        let pins: Vec<&str> = s
            .position(p)
            .pins
            .iter()
            .map(|p| p.label.as_str())
            .collect();
        return Err(format!(
            "{name} is a part: name a pin of it, from {name}.{} to {name}.{}",
            pins.first().unwrap_or(&"1"),
            pins.last().unwrap_or(&"1")
        ));
    }
    Err(unknown(s, typed))
}

/// `U1.12`, `u1.tod`; `None` when this has not the form of a pin of a position.
fn any_pin(s: &Signals, typed: &str) -> Option<Result<Target, String>> {
    let (socket, pin) = typed.split_once('.')?;
    socket_of(s, socket)?;
    Some(self::pin(s, socket, pin))
}

fn socket_of(s: &Signals, name: &str) -> Option<usize> {
    s.model.position(name).map(|(i, _)| i)
}

fn pin(s: &Signals, socket: &str, pin: &str) -> Result<Target, String> {
    let names: Vec<&str> = s.model.positions.iter().map(|p| p.name.as_str()).collect();
    let position = socket_of(s, socket).ok_or_else(|| {
        let near = did_you_mean(socket, names.iter().copied());
        format!("there is no {socket} on {}{}", s.model.board, offer(near))
    })?;
    let p = s.position(position);
    let labelled = p
        .pins
        .iter()
        .position(|q| q.label.eq_ignore_ascii_case(pin));
    let index = labelled.or_else(|| {
        p.pins
            .iter()
            .position(|q| q.signal.eq_ignore_ascii_case(pin))
    });
    index.map(|i| Target::Pin(position, i)).ok_or_else(|| {
        format!(
            "{} has no pin {pin}; it has {} to {}",
            p.name,
            p.pins.first().map_or("none", |q| q.label.as_str()),
            p.pins.last().map_or("none", |q| q.label.as_str())
        )
    })
}

fn key(s: &Signals, typed: &str) -> Option<Target> {
    let kb = s.raw.keyboard.as_ref()?;
    let same = |name: &str| name.eq_ignore_ascii_case(typed.trim());
    let named = |name: &str| -> Option<Target> {
        for (c, keys) in kb.matrix.iter().enumerate() {
            if let Some(r) = keys.iter().position(|k| k == name) {
                return Some(Target::Key(c, r, name.to_string()));
            }
        }
        let (name, function) = kb.outside.get_key_value(name)?;
        Some(Target::OutsideKey(name.clone(), function.clone()))
    };
    let all = kb.matrix.iter().flatten().chain(kb.outside.keys());
    let direct = all.filter(|k| *k != "-").find(|k| same(k));
    let alias = || kb.aliases.iter().find(|(a, _)| same(a)).map(|(_, k)| k);
    named(direct.or_else(alias)?)
}

fn no_key(s: &Signals, typed: &str) -> String {
    let Some(kb) = &s.raw.keyboard else {
        return format!("the map of {} has no key matrix", s.model.board);
    };
    let names = kb
        .matrix
        .iter()
        .flatten()
        .chain(kb.outside.keys())
        .chain(kb.aliases.keys());
    let near = did_you_mean(typed, names.map(String::as_str));
    format!("{} has no key '{typed}'{}", s.model.board, offer(near))
}

fn bit(s: &Signals, bank: Option<&str>, n: &str) -> Result<Target, String> {
    let none = || format!("the map of {} has no such memory", s.model.board);
    let memory = s.raw.memory.as_ref().ok_or_else(none)?;
    let (bits, width) = match bank.map(|b| (b, memory.others.get(b))) {
        None => (&memory.bits, memory.width),
        Some((_, Some(further))) => (&further.bits, further.width),
        // Colour and video memory: what the check of that name needs.
        Some((bank, None)) => {
            let id = format!("{bank}.bit.{n}");
            let found = s.model.check(&id).map(|c| Target::Function(c.id.clone()));
            return found.ok_or_else(none);
        }
    };
    let bits = expand::list(bits).len() * usize::from(width);
    match n.parse::<usize>() {
        Ok(n) if n < bits => Ok(Target::Bit(bank.map(str::to_string), n)),
        _ => Err(format!(
            "'{n}' is no data bit: they are 0 to {}",
            bits.saturating_sub(1)
        )),
    }
}

fn check(s: &Signals, kind: &str, n: &str) -> Result<Target, String> {
    let id = format!("{kind}.{n}");
    let known: Vec<&str> = (s.model.checks.iter())
        .filter_map(|c| c.id.strip_prefix(kind)?.strip_prefix('.'))
        .collect();
    if s.model.check(&id).is_none() {
        let there = match known.is_empty() {
            true => format!("{} has none", s.model.board),
            false => format!("there are: {}", known.join(", ")),
        };
        return Err(format!("no {kind} '{n}'; {there}"));
    }
    Ok(match kind {
        "clock" => Target::Clock(id),
        _ => Target::Voice(id),
    })
}

fn exact_rail(s: &Signals, typed: &str) -> Option<Target> {
    let found = s.raw.rails.keys().find(|r| r.eq_ignore_ascii_case(typed));
    found.map(|r| Target::Rail(r.clone()))
}

/// A rail by its name, or by its voltage when one rail alone has it: `5V`, `12 v`, `+12V`.
fn rail(s: &Signals, typed: &str) -> Result<Target, String> {
    if let Some(found) = exact_rail(s, typed) {
        return Ok(found);
    }
    let plain = |t: &str| t.replace([' ', '+'], "").to_lowercase();
    let fits: Vec<&String> = s
        .raw
        .rails
        .keys()
        .filter(|r| plain(r) == plain(typed))
        .collect();
    if let [only] = fits[..] {
        return Ok(Target::Rail(only.clone()));
    }
    let names: Vec<&str> = s.raw.rails.keys().map(String::as_str).collect();
    Err(format!(
        "no supply '{typed}'; there are: {}",
        names.join(", ")
    ))
}

fn line(s: &Signals, typed: &str) -> Option<Target> {
    let found = s.on.keys().find(|l| l.eq_ignore_ascii_case(typed));
    found.map(|l| Target::Line(l.clone()))
}

fn unknown(s: &Signals, typed: &str) -> String {
    let keys = s
        .raw
        .keyboard
        .iter()
        .flat_map(|kb| kb.matrix.iter().flatten());
    let names =
        s.on.keys()
            .chain(s.raw.rails.keys())
            .chain(keys)
            .chain(s.functions.keys());
    let near = did_you_mean(typed, names.map(String::as_str));
    format!(
        "'{typed}' is no key, pin, line, supply or function of {}{}",
        s.model.board,
        offer(near)
    )
}

fn offer(near: Option<&str>) -> String {
    near.map_or_else(String::new, |n| format!("; did you mean '{n}'?"))
}
