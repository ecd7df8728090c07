//! Lines that several may drive: they move as long as one of them moves them, rightly or not.
//!
//! How surely a line k stands still, s(k), is the **greatest** fixed point of
//!
//! s(k) = min over its drivers of s(driver)
//!
//! s(driver) = how surely it lost what it needs, for a part that goes by a clock or by orders;
//! max(dead, without power, without another function of the part, min over its inputs of s(input)), for one that answers to whatever comes in: memory, gates.
//!
//! The greatest, because two buses with a gate from each to the other move nothing by themselves. What an input that no part of the map
//! drives does is not known: it counts as moving. What follows from a line that stands still is spread again, until nothing is added.

use super::super::model::Kind;
use super::{FAINT, Graph, Pass, Reached};
use std::collections::HashMap;

/// A line that several drive.
#[derive(Debug, Clone)]
pub(super) struct Shared {
    drivers: Vec<usize>,
    to: usize,
}

/// A function that puts out something whatever comes in.
#[derive(Debug, Clone, Default)]
pub struct Answer {
    /// Pins that it looks at, with the line of the pin.
    pub inputs: Vec<(usize, Option<usize>)>,
    /// Other functions of the part without which it does nothing.
    pub needs: Vec<usize>,
    /// Its supply pins, with the weights of their edges.
    pub power: Vec<(usize, f64)>,
}

/// Differences below this are none.
const SAME: f64 = 1e-9;

impl Graph {
    /// `to` is a line that all of these may drive.
    pub fn share(&mut self, drivers: Vec<usize>, to: usize) {
        self.shared.push(Shared { drivers, to });
    }

    /// This function answers to whatever comes in.
    pub fn answers(&mut self, function: usize, answer: Answer) {
        self.answers.insert(function, answer);
    }

    /// Leaves out the lines that would stand still on a board without a fault: who moves them, the map does not say (a ring of gates that
    /// swings by itself, a ladder of resistors).
    pub fn leave_out_what_never_moves(&mut self) {
        let still = self.lost_buses(&[], &Reached::new());
        self.shared
            .retain(|s| still.binary_search_by_key(&s.to, |l| l.0).is_err());
    }

    /// Lines that several drive and that nobody moves, with how surely, where that is more than what has reached them already.
    pub(super) fn lost_buses(
        &self,
        start: &[(usize, Kind)],
        reached: &Reached,
    ) -> Vec<(usize, f64)> {
        let mut line: HashMap<usize, f64> = self.shared.iter().map(|s| (s.to, 1.0)).collect();
        loop {
            let mut changed = false;
            for shared in &self.shared {
                let each = shared.drivers.iter();
                let each = each.map(|&d| match self.answers.get(&d) {
                    None => lost(reached, d),
                    Some(_) if start.contains(&(d, Kind::Lost)) => 1.0,
                    Some(answer) => answer.still(reached, &line),
                });
                let still = each.fold(1.0, f64::min);
                let slot = line.entry(shared.to).or_default();
                if still < *slot - SAME {
                    *slot = still;
                    changed = true;
                }
            }
            if !changed {
                break;
            }
        }
        let mut found: Vec<(usize, f64)> = line.into_iter().collect();
        found.retain(|&(node, s)| s > FAINT && s > lost(reached, node) + SAME);
        found.sort_unstable_by_key(|f| f.0);
        found
    }
}

fn lost(reached: &Reached, node: usize) -> f64 {
    *reached.get(&(node, Kind::Lost as usize)).unwrap_or(&0.0)
}

impl Answer {
    /// How surely it moves nothing, by its inputs and its supply. `line`: how surely each shared line stands still.
    fn still(&self, reached: &Reached, line: &HashMap<usize, f64>) -> f64 {
        let input = |&(node, on): &(usize, Option<usize>)| {
            let of_line = on.and_then(|l| line.get(&l)).unwrap_or(&0.0);
            lost(reached, node).max(*of_line)
        };
        let quiet = self.inputs.iter().map(input).reduce(f64::min);
        let needs = self.needs.iter().map(|&node| lost(reached, node));
        needs.fold(
            self.without_power(reached).max(quiet.unwrap_or(0.0)),
            f64::max,
        )
    }

    fn without_power(&self, reached: &Reached) -> f64 {
        let at = |&(pin, weight): &(usize, f64)| {
            let of = |kind: Kind| {
                let here = reached.get(&(pin, kind as usize)).unwrap_or(&0.0);
                weight * here * Pass::Power.through(kind).1
            };
            of(Kind::Lost).max(of(Kind::Low))
        };
        self.power.iter().map(at).fold(0.0, f64::max)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lost(g: &Graph, start: &[(usize, Kind)], node: usize) -> Option<f64> {
        let out = g.spread(start);
        let found = out.iter().find(|&&(m, k, _)| m == node && k == Kind::Lost);
        found.map(|&(_, _, s)| s)
    }

    #[test]
    fn a_bus_is_lost_when_all_who_drive_it_are() {
        let mut g = Graph::default();
        let n: Vec<usize> = (0..5).map(|_| g.add()).collect();
        g.share(vec![n[1], n[2]], n[3]);
        g.link(n[3], n[4], Pass::Needs, 1.0);
        g.link(n[4], n[1], Pass::Needs, 1.0);
        g.link(n[0], n[1], Pass::Needs, 0.5);
        g.link(n[0], n[2], Pass::Power, 1.0);
        assert_eq!(lost(&g, &[(n[1], Kind::Lost)], n[3]), None);
        assert_eq!(lost(&g, &[(n[2], Kind::Lost)], n[4]), None);
        let both = [(n[1], Kind::Lost), (n[2], Kind::Lost)];
        assert_eq!(lost(&g, &both, n[3]), Some(1.0));
        // As surely as the least sure of them: 0.5 by the one, 1.0 by the other.
        assert_eq!(lost(&g, &[(n[0], Kind::Lost)], n[3]), Some(0.5));
        assert_eq!(lost(&g, &[(n[0], Kind::Lost)], n[4]), Some(0.5));
        // One that drives wrong things drives.
        let wrong = [(n[1], Kind::Lost), (n[2], Kind::Wrong)];
        assert_eq!(lost(&g, &wrong, n[3]), None);
    }

    /// Two buses, a master on each, and a gate from each to the other: without both masters nothing moves.
    #[test]
    fn gates_in_a_ring_move_nothing_by_themselves() {
        let mut g = Graph::default();
        let n: Vec<usize> = (0..7).map(|_| g.add()).collect();
        let [clock, one, other, to_b, to_a, a, b] = n[..] else {
            unreachable!()
        };
        g.link(clock, one, Pass::Needs, 1.0);
        g.link(clock, other, Pass::Needs, 1.0);
        g.answers(
            to_b,
            Answer {
                inputs: vec![(a, Some(a))],
                ..Answer::default()
            },
        );
        g.answers(
            to_a,
            Answer {
                inputs: vec![(b, Some(b))],
                ..Answer::default()
            },
        );
        g.share(vec![one, to_a], a);
        g.share(vec![other, to_b], b);
        assert_eq!(lost(&g, &[(clock, Kind::Lost)], a), Some(1.0));
        assert_eq!(lost(&g, &[(clock, Kind::Lost)], b), Some(1.0));
        assert_eq!(
            lost(&g, &[(one, Kind::Lost)], a),
            None,
            "it comes from the other side"
        );
        let cut = [(one, Kind::Lost), (to_a, Kind::Lost)];
        assert_eq!(lost(&g, &cut, a), Some(1.0), "the gate is dead");
    }

    /// A dead core keeps its outputs still, whatever comes in at the addresses.
    #[test]
    fn what_a_part_needs_of_itself_is_no_input() {
        let mut g = Graph::default();
        let n: Vec<usize> = (0..4).map(|_| g.add()).collect();
        let [core, address, read, line] = n[..] else {
            unreachable!()
        };
        let answer = Answer {
            inputs: vec![(address, None)],
            needs: vec![core],
            ..Answer::default()
        };
        g.answers(read, answer);
        g.share(vec![read], line);
        assert_eq!(lost(&g, &[(core, Kind::Lost)], line), Some(1.0));
        assert_eq!(lost(&g, &[(address, Kind::Lost)], line), Some(1.0));
        assert_eq!(lost(&g, &[(address, Kind::Low)], line), None);
    }

    #[test]
    fn what_swings_by_itself_is_left_alone() {
        let mut g = Graph::default();
        let n: Vec<usize> = (0..6).map(|_| g.add()).collect();
        let [one, other, a, b, elsewhere, ladder] = n[..] else {
            unreachable!()
        };
        let gate = |of: usize| Answer {
            inputs: vec![(of, Some(of))],
            ..Answer::default()
        };
        g.answers(one, gate(b));
        g.answers(other, gate(a));
        g.share(vec![one], a);
        g.share(vec![other], b);
        g.share(Vec::new(), ladder);
        assert_eq!(lost(&g, &[(elsewhere, Kind::Lost)], a), Some(1.0));
        g.leave_out_what_never_moves();
        assert_eq!(lost(&g, &[(elsewhere, Kind::Lost)], a), None);
        assert_eq!(lost(&g, &[(elsewhere, Kind::Lost)], ladder), None);
    }
}
