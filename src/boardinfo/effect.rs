//! What trouble shows, in words: check identifiers to short phrases.

use crate::faultmap::model::{BoardModel, CheckDef, Kind, ModeId};
use std::collections::{BTreeMap, BTreeSet};

/// A check is named from this strength on.
pub const SHOWS: f64 = 0.5;

/// Phrases of one effect at most; the rest are counted.
const MOST: usize = 8;

/// Checks that a mode makes fail (strength ≥ 0.5), and whether the test run still reports.
pub fn of_mode(model: &BoardModel, mode: ModeId) -> Vec<String> {
    let strength = |node: u32| {
        let touches = &model.nodes[node as usize].touches;
        let of_mode = touches.iter().filter(|t| t.mode == mode);
        of_mode.map(|t| f64::from(t.strength)).fold(0.0, f64::max)
    };
    let report = model.node("report").is_some_and(|n| {
        let lost = |t: &crate::faultmap::model::Touch| t.mode == mode && t.kind == Kind::Lost;
        let touches = model.nodes[n as usize].touches.iter().filter(lost);
        touches.map(|t| f64::from(t.strength)).fold(0.0, f64::max) >= SHOWS
    });
    let failing = model.checks.iter().filter(|c| {
        c.reads
            .iter()
            .any(|r| strength(r.node) * f64::from(r.weight) >= SHOWS)
    });
    phrases(model, &failing.collect::<Vec<_>>(), report)
}

/// Failing checks in words: ranges joined, keys together, a run that does not report first.
pub fn phrases(model: &BoardModel, failing: &[&CheckDef], no_report: bool) -> Vec<String> {
    let mut out = Vec::new();
    let mut shown: Vec<&CheckDef> = failing.to_vec();
    if no_report {
        out.push("no test run, or none that can be read".to_string());
        shown.retain(|c| !c.test);
    }
    let keys: Vec<&str> = (shown.iter())
        .filter_map(|c| c.id.strip_prefix("key."))
        .collect();
    let all = model
        .checks
        .iter()
        .filter(|c| c.id.starts_with("key."))
        .count();
    let keys_said = match keys.len() {
        0 => None,
        1 => Some(format!("key {}", keys[0])),
        n if n == all => Some("all keys".to_string()),
        n if n > 16 => Some(format!("{n} of {all} keys")),
        _ => Some(format!("keys {}", keys.join(" "))),
    };
    let mut groups: BTreeMap<String, Vec<(u32, &CheckDef)>> = BTreeMap::new();
    for check in shown.iter().filter(|c| !c.id.starts_with("key.")) {
        let (template, number) = template(&check.id);
        groups.entry(template).or_default().push((number, check));
    }
    // What the eye sees comes first: a technician looks before he reads.
    let mut said: Vec<(bool, String)> = groups
        .into_values()
        .flat_map(|mut group| {
            group.sort_by_key(|g| g.0);
            runs(&group)
        })
        .collect();
    said.sort_by_key(|s| s.0);
    out.extend(said.into_iter().map(|s| s.1));
    out.extend(keys_said);
    if out.len() > MOST {
        let more = out.len() - MOST;
        out.truncate(MOST);
        out.push(format!("{more} more"));
    }
    out
}

/// `memory.bit.3` → (`memory.bit.#`, 3).
fn template(id: &str) -> (String, u32) {
    let mut number = 0;
    let mut parts: Vec<&str> = id.split('.').collect();
    if let Some(part) = parts.iter_mut().rev().find(|p| p.parse::<u32>().is_ok()) {
        number = part.parse().unwrap_or(0);
        *part = "#";
    }
    let mut text = parts.join(".");
    // port.control-1 and port.control-2.
    if let Some((left, right)) = id.rsplit_once('-')
        && let Ok(n) = right.parse()
    {
        number = n;
        text = format!("{left}-#");
    }
    (text, number)
}

/// Neighbouring numbers as one phrase: `data bits 0-7 of main memory`.
fn runs(group: &[(u32, &CheckDef)]) -> Vec<(bool, String)> {
    let mut out = Vec::new();
    let mut i = 0;
    while i < group.len() {
        let mut j = i;
        while j + 1 < group.len() && group[j + 1].0 == group[j].0 + 1 {
            j += 1;
        }
        let (first, last) = (group[i].0, group[j].0);
        let what = &group[i].1.what;
        let text = match i == j {
            true => what.clone(),
            false => {
                let (n, range) = (first.to_string(), format!("{first}-{last}"));
                let mut done = false;
                let words = what.split(' ').map(|w| {
                    if !done && w == n {
                        done = true;
                        range.clone()
                    } else {
                        w.to_string()
                    }
                });
                words.collect::<Vec<_>>().join(" ")
            }
        };
        out.push((group[i].1.test, text));
        i = j + 1;
    }
    out
}

/// Designators by type, for lists: `8 x 4164 (M0-M7)`.
pub fn named(names: &[String]) -> String {
    let set: BTreeSet<&String> = names.iter().collect();
    set.into_iter().cloned().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shipped::Library;

    #[test]
    fn checks_of_one_kind_are_one_phrase() {
        let model = Library::default().board("dunlin-64").unwrap();
        let all: Vec<&CheckDef> = model.checks.iter().collect();
        let said = |ids: &[&str]| {
            let some: Vec<&CheckDef> = all
                .iter()
                .filter(|c| ids.contains(&c.id.as_str()))
                .copied()
                .collect();
            phrases(&model, &some, false)
        };
        assert_eq!(
            said(&["memory.bit.0", "memory.bit.1", "memory.bit.5"]),
            ["data bit 0-1 of main memory", "data bit 5 of main memory"]
        );
        assert_eq!(
            said(&["key.Q", "key.A", "clock.1"]),
            ["time-of-day clock of adapter 1", "keys A Q"]
        );
        assert_eq!(
            phrases(&model, &all, true)[0],
            "no test run, or none that can be read"
        );
    }
}
