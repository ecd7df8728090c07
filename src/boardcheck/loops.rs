//! Loops of needs: legal, real boards have them; told because one wants to know them when one measures.

use crate::faultmap::wiring::Wiring;
use petgraph::algo::tarjan_scc;
use petgraph::graph::{DiGraph, NodeIndex};
use schemars::JsonSchema;
use serde::Serialize;

/// A set of lines, pins and functions each of which needs all others.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Loop {
    /// How many lines, pins and functions.
    pub members: usize,
    /// Designators of the parts in it.
    pub sockets: Vec<String>,
    /// Lines in it.
    pub lines: Vec<String>,
}

/// The loops of a board, largest first.
pub fn loops(wiring: &Wiring) -> Vec<Loop> {
    let mut graph = DiGraph::<(), ()>::new();
    for _ in 0..wiring.graph.len() {
        graph.add_node(());
    }
    for from in 0..wiring.graph.len() {
        for edge in wiring.graph.edges(from) {
            graph.add_edge(NodeIndex::new(from), NodeIndex::new(edge.to), ());
        }
    }
    let names = wiring.names();
    let lines: Vec<bool> = {
        let mut out = vec![false; wiring.graph.len()];
        wiring.lines.values().for_each(|&n| out[n] = true);
        out
    };
    let mut out: Vec<Loop> = tarjan_scc(&graph)
        .into_iter()
        .filter(|members| members.len() > 1)
        .map(|members| {
            let named = |n: &NodeIndex| names[n.index()].clone();
            let mut on: Vec<String> = (members.iter())
                .filter(|n| lines[n.index()])
                .map(named)
                .collect();
            let mut sockets: Vec<String> = (members.iter())
                .filter(|n| !lines[n.index()])
                .filter_map(|n| Some(names[n.index()].split_once('.')?.0.to_string()))
                .filter(|name| wiring.position(name).is_some())
                .collect();
            on.sort();
            sockets.sort();
            sockets.dedup();
            Loop {
                members: members.len(),
                sockets,
                lines: on,
            }
        })
        .collect();
    out.sort_by(|a, b| b.members.cmp(&a.members).then(a.lines.cmp(&b.lines)));
    out
}
