//! Beyond the reach of every exact sum: draws from the posterior.
//!
//! The states of the causes (and what of a flaky one acts in each run) are drawn one after the other, each given all
//! others (Gibbs sampling, Geman and Geman 1984). One chain alone would stay with the first faults that explain
//! everything; so `RUNGS` chains run side by side in which a reading counts by a power `β` of its probability, from 0
//! (the prior) to 1 (the posterior), and neighbours change places by the rule of Metropolis (replica exchange, Swendsen
//! and Wang 1986; both from memory). P(readings) comes from the steps between the rungs:
//!
//! ln Z(1) − ln Z(0)  =  Σ_k ln E_k[ exp((β_{k+1} − β_k)·L) ],   L = Σ_j ln P(reading j | states)
//!
//! A posterior is the mean of the conditional probabilities met on the way, not of the states drawn: so small ones are not 0.
//! The draws begin from a fixed seed: the same readings give the same numbers.

use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};

use super::fold::{Folded, Shape};
use super::network::{Network, Posterior};

/// Chains side by side.
const RUNGS: usize = 16;
/// Pairs (state, reading) that are looked at in all: what the draws cost.
const WORK: usize = 120_000_000;
/// The fewest and the most rounds over all causes.
const ROUNDS: (usize, usize) = (200, 3_000);
/// Share of the rounds that only warm up.
const WARM_UP: f64 = 0.2;
/// A reading that nothing explains counts as this: never is a state quite out of reach.
const FLOOR: f64 = 1e-9;
/// Beyond this a running product is put away as a logarithm.
const LARGE: f64 = 1e200;

/// Readings, each with a probability.
type Pairs = Vec<(usize, f64)>;

/// A state of a cause: what it explains.
struct State {
    /// (reading, probability that it does not explain it).
    pairs: Pairs,
    /// The same for what acts in one run, with P(idle) and P(acts).
    groups: Vec<(f64, f64, Pairs)>,
}

impl State {
    fn new(shape: &Shape) -> Self {
        let pairs = |all: &[super::fold::Pair]| -> Vec<(usize, f64)> {
            all.iter().map(|p| (p.reading, p.u.to_f64())).collect()
        };
        State {
            pairs: pairs(&shape.pairs),
            groups: (shape.groups.iter())
                .map(|g| (g.idle.to_f64(), g.acts.to_f64(), pairs(&g.pairs)))
                .collect(),
        }
    }

    fn size(&self) -> usize {
        self.pairs.len() + self.groups.iter().map(|g| g.2.len()).sum::<usize>()
    }
}

/// A cause that may explain a reading.
struct Site {
    cause: usize,
    states: Vec<State>,
    touched: Vec<usize>,
    /// Logarithm of the weight of each state, `[state][setting]`.
    weights: Vec<f64>,
    /// Share of each mode in its state, `(mode, state, [setting])`.
    shares: Vec<(usize, usize, Vec<f64>)>,
}

/// What the draws are made of.
struct Model {
    settings: usize,
    sites: Vec<Site>,
    /// (P(not explained), P(explained)) by the leak, for each reading.
    leaks: Vec<(f64, f64)>,
    /// Logarithm of the prior of each setting and of what the other causes leave of it.
    base: Vec<f64>,
}

impl Model {
    fn new(net: &Network, folded: &Folded) -> Self {
        let settings = net.settings();
        let mut base: Vec<f64> = (0..settings).map(|s| net.setting_prior(s).ln()).collect();
        let mut sites = Vec::new();
        for (id, cause) in folded.causes.iter().enumerate() {
            let mut weights = vec![0.0; cause.states.len() * settings];
            let of_member = |m: &super::fold::Member| -> Vec<f64> {
                let left = m.left.to_f64();
                let priors = folded.priors(net, id, m.mode);
                priors.iter().map(|p| p * left).collect()
            };
            for member in &cause.members {
                let to = &mut weights[member.state * settings..][..settings];
                (to.iter_mut().zip(of_member(member))).for_each(|(to, w)| *to += w);
            }
            if cause.touched.is_empty() {
                (base.iter_mut().zip(&weights)).for_each(|(b, w)| *b += w.ln());
                continue;
            }
            let shares = cause.members.iter().filter_map(|member| {
                let all = &weights[member.state * settings..][..settings];
                let own = of_member(member);
                let shares = own.iter().zip(all);
                let shares = shares.map(|(o, a)| if *a > 0.0 { o / a } else { 0.0 });
                Some((member.mode?, member.state, shares.collect()))
            });
            sites.push(Site {
                cause: id,
                shares: shares.collect(),
                states: cause.states.iter().map(State::new).collect(),
                touched: cause.touched.clone(),
                weights: weights.iter().map(|w| w.ln()).collect(),
            });
        }
        let leaks = folded.readings.iter().map(|r| (r.u, r.e)).collect();
        Model {
            settings,
            sites,
            leaks,
            base,
        }
    }

    /// ln Z(0): everything but the readings that need an explanation.
    fn without_readings(&self) -> f64 {
        let of_setting = |s: usize| {
            let sites = self.sites.iter().map(|site| {
                let states = 0..site.states.len();
                ln_sum(states.map(|x| site.weights[x * self.settings + s]))
            });
            self.base[s] + sites.sum::<f64>()
        };
        ln_sum((0..self.settings).map(of_setting))
    }

    fn rounds(&self) -> usize {
        let states = self.sites.iter().flat_map(|s| &s.states);
        let pairs: usize = states.map(|s| s.size() + 8).sum();
        (WORK / (pairs * RUNGS).max(1)).clamp(ROUNDS.0, ROUNDS.1)
    }
}

/// `ln Σ exp`.
fn ln_sum(logs: impl Iterator<Item = f64> + Clone) -> f64 {
    let most = logs.clone().fold(f64::NEG_INFINITY, f64::max);
    if most == f64::NEG_INFINITY {
        return most;
    }
    most + logs.map(|l| (l - most).exp()).sum::<f64>().ln()
}

/// A chain: one state of everything.
#[derive(Clone)]
struct Chain {
    setting: usize,
    /// State of each site.
    states: Vec<usize>,
    /// (site, probability that it does not explain) of what acts on each reading.
    acting: Vec<Vec<(usize, f64)>>,
    /// P(nothing explains it) of each reading.
    none: Vec<f64>,
}

impl Chain {
    fn new(model: &Model) -> Self {
        Chain {
            setting: 0,
            states: vec![0; model.sites.len()],
            acting: vec![Vec::new(); model.leaks.len()],
            none: model.leaks.iter().map(|l| l.0).collect(),
        }
    }

    /// How much more probable the readings are with these contributions, as a logarithm.
    fn gain(&self, pairs: &[(usize, f64)]) -> f64 {
        let (mut product, mut ln) = (1.0, 0.0);
        for &(j, u) in pairs {
            let none = self.none[j];
            product *= (1.0 - none * u).max(FLOOR) / (1.0 - none).max(FLOOR);
            if product > LARGE {
                ln += f64::ln(product);
                product = 1.0;
            }
        }
        ln + product.ln()
    }

    /// Takes a site back: as if it touched nothing.
    fn clear(&mut self, model: &Model, at: usize) {
        if self.states[at] == 0 {
            return;
        }
        self.states[at] = 0;
        for &j in &model.sites[at].touched {
            let acting = &mut self.acting[j];
            acting.retain(|a| a.0 != at);
            self.none[j] = acting.iter().fold(model.leaks[j].0, |p, a| p * a.1);
        }
    }

    fn apply(&mut self, at: usize, pairs: &[(usize, f64)]) {
        for &(j, u) in pairs {
            self.acting[j].push((at, u));
            self.none[j] *= u;
        }
    }

    /// ln P(readings | states).
    fn likelihood(&self) -> f64 {
        self.none.iter().map(|n| (1.0 - n).max(FLOOR).ln()).sum()
    }

    /// Draws the state of one site given all others; leaves the probability of each state in `to`.
    fn draw(&mut self, model: &Model, at: usize, beta: f64, rng: &mut StdRng, to: &mut Vec<f64>) {
        self.clear(model, at);
        let site = &model.sites[at];
        to.clear();
        for (x, state) in site.states.iter().enumerate() {
            let mut ln = site.weights[x * model.settings + self.setting];
            if ln > f64::NEG_INFINITY && !state.pairs.is_empty() {
                ln += beta * self.gain(&state.pairs);
            }
            for (idle, acts, pairs) in &state.groups {
                ln += (idle + acts * (beta * self.gain(pairs)).exp()).ln();
            }
            to.push(ln);
        }
        normalize(to);
        let x = pick(to, rng);
        let state = &site.states[x];
        self.states[at] = x;
        self.apply(at, &state.pairs);
        for (idle, acts, pairs) in &state.groups {
            let acts = acts * (beta * self.gain(pairs)).exp();
            if rng.random::<f64>() * (idle + acts) < acts {
                self.apply(at, pairs);
            }
        }
    }

    /// Draws the setting of the common causes; leaves the probability of each in `to`.
    fn draw_setting(&mut self, model: &Model, rng: &mut StdRng, to: &mut Vec<f64>) {
        to.clear();
        to.extend(&model.base);
        for (site, &x) in model.sites.iter().zip(&self.states) {
            let weights = &site.weights[x * model.settings..][..model.settings];
            (to.iter_mut().zip(weights)).for_each(|(t, w)| *t += w);
        }
        normalize(to);
        self.setting = pick(to, rng);
    }
}

/// From logarithms of weights to probabilities.
fn normalize(logs: &mut [f64]) {
    let total = ln_sum(logs.iter().copied());
    logs.iter_mut().for_each(|l| *l = (*l - total).exp());
}

fn pick(probabilities: &[f64], rng: &mut StdRng) -> usize {
    let mut left = rng.random::<f64>();
    for (i, p) in probabilities.iter().enumerate() {
        left -= p;
        if left < 0.0 {
            return i;
        }
    }
    // Rounding: the most probable.
    let most =
        (0..probabilities.len()).max_by(|&a, &b| probabilities[a].total_cmp(&probabilities[b]));
    most.unwrap_or(0)
}

/// Sums of what the chain at `β = 1` meets.
struct Sums {
    modes: Vec<Vec<f64>>,
    settings: Vec<f64>,
    rounds: f64,
}

/// The posterior by draws; `None` when P(readings) is 0.
pub(crate) fn sample(net: &Network, folded: &Folded) -> Option<Posterior> {
    let model = Model::new(net, folded);
    let rounds = model.rounds();
    let warm_up = (rounds as f64 * WARM_UP) as usize;
    let betas: Vec<f64> = (0..RUNGS)
        .map(|k| (k as f64 / (RUNGS - 1) as f64).powi(2))
        .collect();
    let mut rng = StdRng::seed_from_u64(1);
    let mut chains = vec![Chain::new(&model); RUNGS];
    let mut sums = Sums {
        modes: net
            .causes
            .iter()
            .map(|c| vec![0.0; c.modes.len()])
            .collect(),
        settings: vec![0.0; model.settings],
        rounds: 0.0,
    };
    let mut steps = vec![Vec::new(); RUNGS - 1];
    let mut room = Vec::new();
    for round in 0..rounds {
        let counts = round >= warm_up;
        for (k, chain) in chains.iter_mut().enumerate() {
            let sums = (counts && k == RUNGS - 1).then_some(&mut sums);
            one_round(&model, chain, betas[k], &mut rng, &mut room, sums);
        }
        let likelihoods: Vec<f64> = chains.iter().map(Chain::likelihood).collect();
        if counts {
            for (k, step) in steps.iter_mut().enumerate() {
                step.push((betas[k + 1] - betas[k]) * likelihoods[k]);
            }
        }
        for k in (round % 2..RUNGS - 1).step_by(2) {
            let ln = (betas[k + 1] - betas[k]) * (likelihoods[k] - likelihoods[k + 1]);
            if ln >= 0.0 || rng.random::<f64>() < ln.exp() {
                chains.swap(k, k + 1);
            }
        }
    }
    let between = steps
        .iter()
        .map(|step| ln_sum(step.iter().copied()) - (step.len() as f64).ln());
    let ln = model.without_readings() + between.sum::<f64>() + folded.total_scale().ln();
    (ln > f64::NEG_INFINITY).then(|| sums.posterior(net, folded, ln))
}

/// All sites once, and the setting; at `β = 1` what is met is added up.
fn one_round(
    model: &Model,
    chain: &mut Chain,
    beta: f64,
    rng: &mut StdRng,
    room: &mut Vec<f64>,
    mut sums: Option<&mut Sums>,
) {
    for (at, site) in model.sites.iter().enumerate() {
        chain.draw(model, at, beta, rng, room);
        if let Some(sums) = &mut sums {
            for (mode, state, shares) in &site.shares {
                sums.modes[site.cause][*mode] += room[*state] * shares[chain.setting];
            }
        }
    }
    if model.settings > 1 {
        chain.draw_setting(model, rng, room);
    } else {
        room.clear();
        room.push(1.0);
    }
    if let Some(sums) = sums {
        (sums.settings.iter_mut().zip(room)).for_each(|(s, p)| *s += *p);
        sums.rounds += 1.0;
    }
}

impl Sums {
    fn posterior(mut self, net: &Network, folded: &Folded, log_evidence: f64) -> Posterior {
        self.settings.iter_mut().for_each(|s| *s /= self.rounds);
        for (id, cause) in folded.causes.iter().enumerate() {
            let modes = &mut self.modes[id];
            if !cause.touched.is_empty() {
                modes
                    .iter_mut()
                    .for_each(|p| *p = (*p / self.rounds).min(1.0));
                continue;
            }
            // Given the setting such a cause is independent of everything.
            for (s, share) in self.settings.iter().enumerate() {
                let weight =
                    |m: &super::fold::Member| folded.priors(net, id, m.mode)[s] * m.left.to_f64();
                let total: f64 = cause.members.iter().map(weight).sum();
                for member in cause.members.iter().filter(|_| total > 0.0) {
                    if let Some(mode) = member.mode {
                        modes[mode] += share * weight(member) / total;
                    }
                }
            }
        }
        let present = |b: usize| -> f64 {
            let all = self.settings.iter().enumerate();
            all.filter(|(s, _)| s >> b & 1 == 1).map(|(_, p)| p).sum()
        };
        Posterior {
            log_evidence,
            common: (0..net.common.len()).map(present).collect(),
            modes: self.modes,
            unexplored_mass: 1.0,
        }
    }
}

/// The members that are left when modes of at most this probability are ruled out, and how much is ruled out.
pub(crate) fn without_improbable(
    folded: &Folded,
    estimate: &Posterior,
    least: f64,
) -> (Folded, f64) {
    let mut folded = folded.clone();
    let mut ruled_out = 0.0;
    for (id, cause) in folded.causes.iter_mut().enumerate() {
        if cause.touched.is_empty() {
            continue;
        }
        let modes = &estimate.modes[id];
        let keeps = |m: &super::fold::Member| match m.mode {
            Some(mode) => modes[mode] > least || !m.explains,
            None => true,
        };
        let gone = cause.members.iter().filter(|m| !keeps(m));
        ruled_out += gone.filter_map(|m| Some(modes[m.mode?])).sum::<f64>();
        cause.members.retain(keeps);
        super::enumerate::rebuild(cause);
    }
    (folded, ruled_out)
}
