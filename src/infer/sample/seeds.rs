//! Where the draws begin: explanations of all readings, put together greedily.
//!
//! From each of the faults that explain most by themselves on, the fault is added that makes the readings most probable, as long as
//! one does; then each that is in it takes the state that is best with the others, or goes. The best of these states are what the
//! upper chains begin from: from nothing at all they would take the first faults that come along, and a fault that explains everything
//! by itself has no way in then.

use super::{Chain, Model};

/// So many faults are begun with.
const BEGUN: usize = 12;
/// Faults of an explanation at most.
const MOST: usize = 10;

/// Explanations, the best first.
pub(super) fn seeds(model: &Model) -> Vec<Chain> {
    let nothing = Chain::new(model);
    let mut first: Vec<(f64, usize, usize)> = (0..model.sites.len())
        .filter_map(|at| best(model, &nothing, at))
        .collect();
    first.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let mut found: Vec<(f64, Chain)> = (first.into_iter().take(BEGUN))
        .map(|(_, at, state)| {
            let chain = grown(model, at, state);
            (score(model, &chain), chain)
        })
        .collect();
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    found.into_iter().map(|f| f.1).collect()
}

/// The best state of a site that is at rest, other than rest, and how much more probable it is than that.
fn best(model: &Model, chain: &Chain, at: usize) -> Option<(f64, usize, usize)> {
    let ln = |x: usize| chain.ln_weight(model, at, x, 1.0);
    let (rest, states) = (ln(0), 1..model.sites[at].states.len());
    let most = states
        .map(|x| (ln(x), x))
        .max_by(|a, b| a.0.total_cmp(&b.0))?;
    Some((most.0 - rest, at, most.1))
}

/// An explanation that begins with a fault.
fn grown(model: &Model, at: usize, state: usize) -> Chain {
    let mut chain = Chain::new(model);
    chain.put(model, at, state);
    for _ in 1..MOST {
        let open = (0..model.sites.len()).filter(|&at| chain.states[at] == 0);
        let next = open.filter_map(|at| best(model, &chain, at));
        let Some((more, at, state)) = next.max_by(|a, b| a.0.total_cmp(&b.0)) else {
            break;
        };
        if more <= 0.0 {
            break;
        }
        chain.put(model, at, state);
        settled(model, &mut chain);
    }
    chain
}

/// Lets each fault take the state that is best with the others.
fn settled(model: &Model, chain: &mut Chain) {
    for at in 0..model.sites.len() {
        if chain.states[at] == 0 {
            continue;
        }
        chain.clear(model, at);
        if let Some((more, _, state)) = best(model, chain, at)
            && more > 0.0
        {
            chain.put(model, at, state);
        }
    }
}

/// ln P(states, readings), the common causes at rest.
fn score(model: &Model, chain: &Chain) -> f64 {
    let sites = model.sites.iter().zip(&chain.states);
    let weights = sites.map(|(site, &x)| site.weights[x * model.settings]);
    weights.sum::<f64>() + chain.likelihood()
}
