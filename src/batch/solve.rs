//! The best plan for a batch, by integer programming.
//!
//! x(w) = 1 when way `w` is taken, s(d) = 1 when machine `d` is taken apart:
//!
//! largest  Σ value(w)·x(w)   with
//! for each machine m:  Σ over its ways x(w) + s(m) ≤ 1
//! for each lot l:      Σ uses(w, l)·x(w) ≤ count(l), or ≤ count(l)·s(d) when it is in machine d
//! for the money:       Σ price(w)·x(w) ≤ budget

use super::problem::{Problem, Way};
use good_lp::solvers::microlp::microlp;
use good_lp::solvers::{SolutionStatus, WithTimeLimit};
use good_lp::{Expression, ProblemVariables, Solution, SolverModel, Variable, variable};

/// Seconds that the solver may take.
const SECONDS: f64 = 60.0;

/// A plan for a batch.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Plan {
    /// One way at most for a machine, by machine.
    pub ways: Vec<Way>,
    /// Machines that are taken apart.
    pub stripped: Vec<usize>,
    /// Sum of the values of the ways.
    pub value: f64,
    /// Nothing was left out and the solver came to its end: no plan is better.
    pub exact: bool,
}

/// Why there is no plan.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the plan could not be worked out: {0}")]
pub struct PlanError(String);

/// The best plan.
///
/// # Errors
/// When the solver gives up: its time ran out before it had found any plan.
pub fn solve(problem: &Problem) -> Result<Plan, PlanError> {
    let (mut ways, mut exact) = (Vec::new(), true);
    for machine in 0..problem.machines.len() {
        let (list, all) = problem.ways(machine);
        ways.extend(list);
        exact &= all;
    }
    if ways.is_empty() {
        return Ok(Plan {
            exact,
            ..Plan::default()
        });
    }
    let mut vars = ProblemVariables::new();
    let x: Vec<Variable> = ways.iter().map(|_| vars.add(variable().binary())).collect();
    let strip: Vec<Variable> = (problem.machines.iter())
        .map(|_| vars.add(variable().binary()))
        .collect();
    let sum = |of: &dyn Fn(&Way) -> f64| -> Expression {
        let terms = ways.iter().zip(&x).map(|(w, &x)| (of(w), x));
        terms.filter(|t| t.0 != 0.0).map(|(k, x)| k * x).sum()
    };
    let mut model = (vars.maximise(sum(&|w| w.value)).using(microlp)).with_time_limit(SECONDS);
    for (m, &s) in strip.iter().enumerate() {
        let taken = sum(&|w| if w.machine == m { 1.0 } else { 0.0 });
        model.add_constraint((taken + s).leq(1.0));
    }
    for (id, lot) in problem.lots.iter().enumerate() {
        let used = sum(&|w| w.fitted.iter().filter(|f| f.1 == id).count() as f64);
        let count = f64::from(lot.count);
        match lot.donor {
            Some(d) => model.add_constraint((used - count * strip[d]).leq(0.0)),
            None => model.add_constraint(used.leq(count)),
        };
    }
    model.add_constraint(sum(&|w| w.price).leq(problem.budget));
    let solution = model.solve().map_err(|e| PlanError(e.to_string()))?;
    exact &= matches!(solution.status(), SolutionStatus::Optimal);
    let taken: Vec<bool> = x.iter().map(|&x| solution.value(x) > 0.5).collect();
    let ways: Vec<Way> = (ways.into_iter().zip(taken))
        .filter_map(|(w, taken)| taken.then_some(w))
        .collect();
    // A machine is taken apart only when something of it is used.
    let donors = ways.iter().flat_map(|w| &w.fitted);
    let mut stripped: Vec<usize> = donors.filter_map(|f| problem.lots[f.1].donor).collect();
    stripped.sort_unstable();
    stripped.dedup();
    Ok(Plan {
        value: ways.iter().map(|w| w.value).sum(),
        ways,
        stripped,
        exact,
    })
}
