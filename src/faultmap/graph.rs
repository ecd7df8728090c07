//! How trouble spreads over a board: nodes (lines, pins, functions) and edges (who needs what).
//!
//! A mode sets conditions on some nodes with strength 1. The condition of every other node is the least
//! fixed point of
//!
//! strength(to, f(kind)) ≥ weight(edge) · g(kind) · strength(from, kind)
//!
//! over all edges, where `f` and `g` belong to the kind of edge. All factors are at most 1, so the fixed point is
//! reached by taking the strongest condition first (as in Dijkstra's shortest paths on −log strength); loops in the
//! wiring are harmless. Lines that several may drive are worked out in between (`graph::still`).

mod still;

use super::model::{KINDS, Kind};
use std::collections::{BinaryHeap, HashMap};

pub use still::Answer;
use still::Shared;

/// How trouble passes along an edge.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Pass {
    /// The condition is taken over as it is: a line to its pins, a driver to its line.
    Same,
    /// As `Same`, but low and high change places: an inverter.
    Inverts,
    /// As `Same` through a regulator: it takes what is too much, and most of the ripple.
    Steadies,
    /// The effect needs the cause: without it, it is lost.
    Needs,
    /// The effect is lost when something holds the cause, and not when nobody drives it.
    Free,
    /// What makes both gives nothing while the cause is pulled down.
    Overload,
    /// The effect is supplied by the cause.
    Power,
    /// A key reads its row line: a row stuck low reports the key.
    Row,
    /// A key hangs on its column line: a column stuck low makes the key act in every column.
    Column,
}

/// P(ripple at the input of a regulator shows behind it): a 7805 rejects 62 dB of it at least (data sheet, from memory), as long as
/// the least of the input stays two volts above the output; how often it does not is a guess.
const RIPPLE_THROUGH: f64 = 0.2;

impl Pass {
    /// What a condition of the cause makes of the effect, and how surely.
    ///
    /// The factors below 1 are guesses: a 5 V rail that is low enough to be called so stops TTL and NMOS parts often, not
    /// always (limits: 4.75–5.25 V recommended, 7 V absolute maximum in the data sheets of 74LS, 6510, 6526). A rail that is
    /// too high mostly lets everything run, until a part is destroyed: that is a fault of the part then.
    pub fn through(self, kind: Kind) -> (Kind, f64) {
        use Kind::*;
        match (self, kind) {
            (Pass::Same, k) => (k, 1.0),
            (Pass::Inverts, Low) => (High, 1.0),
            (Pass::Inverts, High) => (Low, 1.0),
            (Pass::Inverts, k) => (k, 1.0),
            (Pass::Steadies, High) => (High, 0.0),
            (Pass::Steadies, Noisy) => (Noisy, RIPPLE_THROUGH),
            (Pass::Steadies, k) => (k, 1.0),
            (Pass::Free, Low | High) => (Lost, 1.0),
            (Pass::Overload, Low) => (Lost, 1.0),
            (Pass::Free | Pass::Overload, k) => (k, 0.0),
            (Pass::Needs, Lost | Low | High) => (Lost, 1.0),
            (Pass::Needs, Wrong) => (Wrong, 0.9),
            (Pass::Needs, Noisy) => (Noisy, 0.7),
            (Pass::Needs, Slow) => (Slow, 1.0),
            (Pass::Needs, Fast) => (Fast, 1.0),
            (Pass::Power, Lost) => (Lost, 1.0),
            (Pass::Power, Low) => (Lost, 0.7),
            (Pass::Power, High) => (Lost, 0.02),
            (Pass::Power, Wrong | Noisy | Slow | Fast) => (Noisy, 0.5),
            (Pass::Row, Low) => (Low, 1.0),
            (Pass::Column, Low) => (Wrong, 0.5),
            (Pass::Row | Pass::Column, Lost | High) => (Lost, 1.0),
            // A line that hardly pulls is what its keys are: they come and go.
            (Pass::Row | Pass::Column, Noisy) => (Noisy, 1.0),
            (Pass::Row | Pass::Column, k) => (k, 0.5),
        }
    }
}

/// An edge to the node that the trouble reaches.
#[derive(Debug, Clone, Copy)]
pub struct Edge {
    /// Where the trouble arrives.
    pub to: usize,
    /// How it passes.
    pub pass: Pass,
    /// How surely.
    pub weight: f64,
}

/// The spreading graph of one board.
#[derive(Debug, Clone, Default)]
pub struct Graph {
    edges: Vec<Vec<Edge>>,
    /// Lines that several drive.
    shared: Vec<Shared>,
    /// Functions that answer to whatever comes in.
    answers: HashMap<usize, Answer>,
}

/// Strengths below this are dropped: no reading could tell them from nothing.
const FAINT: f64 = 1e-3;

/// Strength by node and kind.
type Reached = HashMap<(usize, usize), f64>;

#[derive(PartialEq)]
struct Front {
    strength: f64,
    node: usize,
    kind: usize,
}
impl Eq for Front {}
impl Ord for Front {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        (self.strength.total_cmp(&other.strength))
            .then(other.node.cmp(&self.node))
            .then(other.kind.cmp(&self.kind))
    }
}
impl PartialOrd for Front {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Graph {
    /// A new node.
    pub fn add(&mut self) -> usize {
        self.edges.push(Vec::new());
        self.edges.len() - 1
    }

    /// Trouble at `from` reaches `to`.
    pub fn link(&mut self, from: usize, to: usize, pass: Pass, weight: f64) {
        self.edges[from].push(Edge { to, pass, weight });
    }

    /// Where trouble at a node goes.
    pub fn edges(&self, from: usize) -> &[Edge] {
        &self.edges[from]
    }

    /// Number of nodes.
    pub fn len(&self) -> usize {
        self.edges.len()
    }

    /// Whether there are no nodes.
    pub fn is_empty(&self) -> bool {
        self.edges.is_empty()
    }

    /// The fixed point from these conditions: every node reached, with kind and strength, sorted by node and kind.
    pub fn spread(&self, start: &[(usize, Kind)]) -> Vec<(usize, Kind, f64)> {
        let mut seeds: Vec<(usize, Kind, f64)> = start.iter().map(|&(n, k)| (n, k, 1.0)).collect();
        let mut best = self.reached(&seeds);
        loop {
            let lost = self.lost_buses(start, &best);
            if lost.is_empty() {
                break;
            }
            seeds.extend(lost.into_iter().map(|(node, s)| (node, Kind::Lost, s)));
            best = self.reached(&seeds);
        }
        let mut out: Vec<_> = best
            .into_iter()
            .filter(|&(_, s)| s > 0.0)
            .map(|((n, k), s)| (n, KINDS[k], s))
            .collect();
        out.sort_by_key(|&(n, k, _)| (n, k));
        out
    }

    /// The least fixed point over the edges alone.
    fn reached(&self, seeds: &[(usize, Kind, f64)]) -> Reached {
        let mut best = Reached::new();
        let mut front = BinaryHeap::new();
        let reach = |best: &mut Reached, front: &mut BinaryHeap<Front>, to: Front| {
            let slot = best.entry((to.node, to.kind)).or_insert(0.0);
            if to.strength > FAINT && to.strength > *slot {
                *slot = to.strength;
                front.push(to);
            }
        };
        for &(node, kind, strength) in seeds {
            let kind = kind as usize;
            let at = Front {
                strength,
                node,
                kind,
            };
            reach(&mut best, &mut front, at);
        }
        while let Some(Front {
            strength,
            node,
            kind,
        }) = front.pop()
        {
            if best.get(&(node, kind)).is_some_and(|&b| b > strength) {
                continue;
            }
            for edge in &self.edges[node] {
                let (to_kind, factor) = edge.pass.through(KINDS[kind]);
                let to = Front {
                    strength: strength * edge.weight * factor,
                    node: edge.to,
                    kind: to_kind as usize,
                };
                reach(&mut best, &mut front, to);
            }
        }
        best
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn loops_end_and_the_best_path_wins() {
        let mut g = Graph::default();
        let n: Vec<usize> = (0..4).map(|_| g.add()).collect();
        g.link(n[0], n[1], Pass::Needs, 0.5);
        g.link(n[1], n[0], Pass::Needs, 1.0);
        g.link(n[0], n[2], Pass::Same, 0.9);
        g.link(n[2], n[1], Pass::Needs, 0.9);
        g.link(n[1], n[3], Pass::Same, 1.0);
        let out = g.spread(&[(n[0], Kind::Low)]);
        let of = |node, kind| {
            out.iter()
                .find(|&&(m, k, _)| m == node && k == kind)
                .map(|&(_, _, s)| s)
        };
        assert_eq!(of(n[0], Kind::Low), Some(1.0));
        assert!((of(n[1], Kind::Lost).unwrap() - 0.81).abs() < 1e-12);
        assert!((of(n[3], Kind::Lost).unwrap() - 0.81).abs() < 1e-12);
        // Back round the loop: node 0 is lost as well as low.
        assert!((of(n[0], Kind::Lost).unwrap() - 0.81).abs() < 1e-12);
        assert_eq!(of(n[2], Kind::Low), Some(0.9));
    }

    #[test]
    fn an_inverter_exchanges_levels() {
        assert_eq!(Pass::Inverts.through(Kind::Low), (Kind::High, 1.0));
        assert_eq!(Pass::Inverts.through(Kind::High), (Kind::Low, 1.0));
        assert_eq!(Pass::Inverts.through(Kind::Lost), (Kind::Lost, 1.0));
    }

    #[test]
    fn rows_and_columns_differ() {
        assert_eq!(Pass::Free.through(Kind::High), (Kind::Lost, 1.0));
        assert_eq!(Pass::Free.through(Kind::Lost).1, 0.0);
        assert_eq!(Pass::Overload.through(Kind::Low), (Kind::Lost, 1.0));
        assert_eq!(Pass::Overload.through(Kind::High).1, 0.0);
        assert_eq!(Pass::Row.through(Kind::Low).0, Kind::Low);
        assert_eq!(Pass::Column.through(Kind::Low).0, Kind::Wrong);
        assert_eq!(Pass::Column.through(Kind::High), (Kind::Lost, 1.0));
    }
}
