//! Keep or replace, with the reason.

use super::entry::{CapReading, Marking};
use super::limits::{
    Class, TEST_HERTZ, is_preferred, leakage, next_value, next_volts, series_resistance, tan_delta,
    tolerance, worn_factor,
};
use crate::quantity::{Unit, show};

/// What to do with a capacitor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Within its limits.
    Keep,
    /// Past the limit of a new one, within that of the end of its life: it may stay.
    Worn,
    /// Past a limit, or damaged to the eye.
    Replace,
    /// Nothing that decides was measured.
    Measure,
}

/// The verdict with its reasons.
#[derive(Debug, Clone, PartialEq, serde::Serialize, schemars::JsonSchema)]
pub struct Judged {
    /// What to do.
    pub verdict: Verdict,
    /// Why: each limit that was looked at.
    pub reasons: Vec<String>,
    /// What to fit instead, when it is to be replaced.
    pub replacement: Option<String>,
    /// What else is to be known.
    pub remarks: Vec<String>,
}

/// An electrolytic is at least so large, farads (common practice, no source: smaller ones are film or ceramic).
const ELECTROLYTIC_FROM: f64 = 0.47e-6;

/// Voltage lost after a test pulse, per cent: up to 3 good, over 5 suspect (common practice, no source).
const LOSS_GOOD: f64 = 3.0;
/// See [`LOSS_GOOD`].
const LOSS_BAD: f64 = 5.0;

/// The class of limits of a marking: as told, else by its value and letter.
pub fn class_of(m: &Marking) -> Class {
    let close = matches!(m.letter, Some('B' | 'C' | 'D' | 'F' | 'G' | 'J'));
    m.class
        .unwrap_or(if m.farads >= ELECTROLYTIC_FROM && !close {
            Class::A
        } else {
            Class::Film
        })
}

/// Judges a capacitor. `printed` is its marking when the reading has none (the board map may know it).
pub fn judge(reading: &CapReading, printed: Option<Marking>) -> Judged {
    let mut j = Judging {
        worst: Verdict::Measure,
        reasons: Vec::new(),
        remarks: Vec::new(),
    };
    let marking = reading.marking.or(printed);
    if let Some(looks) = &reading.looks {
        j.say(Verdict::Replace, format!("{looks}, whatever it measures"));
    }
    if let Some(m) = &marking {
        j.value(reading, m);
        j.losses(reading, m);
    } else if reading.farads.is_some() || reading.esr.is_some() {
        j.remarks.push(
            "type what is printed on it too, as in 100uF/16V: without it there is no limit".into(),
        );
    }
    if let Some(loss) = reading.loss {
        let (verdict, limit) = match loss {
            l if l > LOSS_BAD => (Verdict::Replace, format!("over {LOSS_BAD} % is too much")),
            l if l > LOSS_GOOD => (
                Verdict::Worn,
                format!("up to {LOSS_GOOD} % is good, over {LOSS_BAD} % too much"),
            ),
            _ => (Verdict::Keep, format!("up to {LOSS_GOOD} % is good")),
        };
        j.say(verdict, format!("loses {loss} % after a pulse; {limit}"));
    }
    if reading.old {
        let text = match j.worst {
            Verdict::Measure => "age alone is no reason to replace it: measure it",
            _ => "its age alone decides nothing",
        };
        j.remarks.push(text.into());
    }
    let replacement = marking
        .filter(|_| j.worst == Verdict::Replace)
        .map(|m| replacement(&m));
    Judged {
        verdict: j.worst,
        reasons: j.reasons,
        replacement,
        remarks: j.remarks,
    }
}

struct Judging {
    worst: Verdict,
    reasons: Vec<String>,
    remarks: Vec<String>,
}

/// How bad a verdict is.
fn rank(v: Verdict) -> u8 {
    match v {
        Verdict::Measure => 0,
        Verdict::Keep => 1,
        Verdict::Worn => 2,
        Verdict::Replace => 3,
    }
}

impl Judging {
    fn say(&mut self, verdict: Verdict, why: String) {
        if rank(verdict) > rank(self.worst) {
            self.worst = verdict;
        }
        self.reasons.push(why);
    }

    /// The measured value against the tolerance.
    fn value(&mut self, reading: &CapReading, m: &Marking) {
        if !is_preferred(m.farads) {
            let text = format!(
                "{} is no value of the E series: read the print again",
                show(m.farads, Unit::Farad)
            );
            self.remarks.push(text);
        }
        let Some(value) = reading.farads else { return };
        let (low, high) = tolerance(m.letter, m.farads);
        let share = value / m.farads * 100.0;
        let by = m
            .letter
            .map_or("without a letter".to_string(), |l| format!("tolerance {l}"));
        let limits = format!(
            "{by}: {:.4} to {:.4} %",
            low / m.farads * 100.0,
            high / m.farads * 100.0
        )
        .replace(".0000", "");
        let text = format!("holds {share:.0} % of its value; {limits}");
        // The last digit of a meter is no reason.
        let within = value >= low * (1.0 - 1e-9) && value <= high * (1.0 + 1e-9);
        self.say(
            if within {
                Verdict::Keep
            } else {
                Verdict::Replace
            },
            text,
        );
        if value > high {
            self.remarks.push(
                "it reads too much: one that leaks does, and one that is measured in the circuit"
                    .into(),
            );
        }
    }

    /// Series resistance and leakage current against their limits.
    fn losses(&mut self, reading: &CapReading, m: &Marking) {
        let class = class_of(m);
        if let (Some(esr), Some(tan)) = (reading.esr, tan_delta(class, m.farads, m.volts)) {
            let limit = series_resistance(tan, m.farads, TEST_HERTZ);
            let worn = limit * worn_factor(class);
            let verdict = match esr {
                r if r > worn => Verdict::Replace,
                r if r > limit => Verdict::Worn,
                _ => Verdict::Keep,
            };
            let text = format!(
                "esr {esr} ohm; a new one {limit:.3} at most, at the end of its life {worn:.3} (tan d {tan:.2}, 120 Hz)"
            );
            self.say(verdict, text);
            if m.volts.is_none() {
                self.remarks
                    .push("type its rated volts for a sharper limit".into());
            }
        } else if reading.esr.is_some() {
            self.remarks
                .push("no limit of series resistance is known for film and ceramic".into());
        }
        if let (Some(i), Some(v), true) = (reading.leakage, m.volts, class != Class::Film) {
            let limit = leakage(class, m.farads, v);
            let verdict = if i > limit {
                Verdict::Replace
            } else {
                Verdict::Keep
            };
            let text = format!(
                "leaks {}; {} at most after two minutes at {v} V",
                show(i, Unit::Ampere),
                micro(limit)
            );
            self.say(verdict, text);
        }
    }
}

fn micro(amperes: f64) -> String {
    let text = format!("{:.2}", amperes * 1e6);
    format!("{} uA", text.trim_end_matches('0').trim_end_matches('.'))
}

/// What to fit: the next value that is made, volts never lower, 105 °C.
pub fn replacement(m: &Marking) -> String {
    let class = class_of(m);
    let value = if class == Class::Film {
        m.farads
    } else {
        next_value(m.farads)
    };
    let volts = m.volts.map_or("the same volts or more".to_string(), |v| {
        format!("{} V or more", next_volts(v))
    });
    match class {
        Class::Film => {
            let letter = m
                .letter
                .map_or(String::new(), |l| format!(", tolerance {l} or closer"));
            format!(
                "{}, {volts}{letter}, of the same kind",
                show(value, Unit::Farad)
            )
        }
        Class::C => format!("{}, {volts}, 105 °C, non-polar", show(value, Unit::Farad)),
        _ => format!("{}, {volts}, 105 °C", show(value, Unit::Farad)),
    }
}
