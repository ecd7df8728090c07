//! A network as variables with conditional tables: the form that general Bayesian-network tools read.
//!
//! # The variables
//! - `common b`: absent or present.
//! - `cause i`: fine, or one of its modes; its parents are the common causes.
//! - for a cause with a flaky mode and a run in which it matters, what acts of it in that run: the mode with probability
//!   `shows`, else `fine`.
//! - each check: pass, intermittent, fail.
//! - readings about a cause alone (`likelihood`, and passing checks when folded): a variable with the outcomes `seen` and
//!   `other`, P(seen | state) proportional to the likelihood.
//!
//! A check is the worst of independent contributions. [`Form::Whole`] gives it one table over all causes that touch it,
//! `3·Π(modes + 1)` numbers. [`Form::Chained`] gives it a chain of variables instead, each the worst of the one before it
//! and of one more contribution (known as parent divorcing), and folds passing checks into the causes: the same
//! distribution, with tables that grow with the number of causes and not with its exponential.

use super::Names;
use crate::infer::network::{Cause, Effect, Mode, Network, Outcome};
use std::collections::BTreeMap;

/// How checks are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// One table each.
    Whole,
    /// A chain of small tables; passing checks folded.
    Chained,
}

/// One variable.
#[derive(Debug, Clone, PartialEq)]
pub struct Variable {
    /// Name, unique.
    pub name: String,
    /// Names of its values.
    pub values: Vec<String>,
    /// Indices of its parents, all before it.
    pub parents: Vec<usize>,
    /// P(value | parents): for each combination of the parents' values (the last parent fastest) one number a value.
    pub table: Vec<f64>,
    /// The value that was observed.
    pub seen: Option<usize>,
}

/// A network of tables.
#[derive(Debug, Clone, PartialEq)]
pub struct Tables {
    /// Its variables, parents first.
    pub variables: Vec<Variable>,
    /// Index of the variable of each cause.
    pub causes: Vec<usize>,
    /// Index of the variable of each common cause.
    pub common: Vec<usize>,
}

/// The tables would have more numbers than allowed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error(
    "the table of '{check}' would have {numbers:.0} numbers, more than {most}: take fewer suspects (--top) or the chained form"
)]
pub struct TooLarge {
    /// Name of the check.
    pub check: String,
    /// Numbers of its table.
    pub numbers: f64,
    /// The most allowed.
    pub most: usize,
}

/// Most numbers in one table.
pub const MOST_NUMBERS: usize = 1 << 20;

/// Writes a network as tables.
///
/// # Errors
/// In the whole form, when a check is touched by too many causes.
pub fn tables(net: &Network, names: &Names, form: Form) -> Result<Tables, TooLarge> {
    let mut b = Builder {
        net,
        names,
        out: Tables {
            variables: Vec::new(),
            causes: Vec::new(),
            common: Vec::new(),
        },
        acts: BTreeMap::new(),
    };
    b.common();
    for (i, cause) in net.causes.iter().enumerate() {
        b.cause(i, cause);
        b.alone(i, cause);
        b.acting(i, cause);
        if form == Form::Chained {
            b.passing(i, cause);
        }
    }
    for j in 0..net.checks.len() {
        match (form, net.checks[j].seen) {
            (Form::Whole, Some(_)) => b.whole(j)?,
            (Form::Chained, Some(Outcome::Intermittent | Outcome::Fail)) => b.chain(j),
            _ => {}
        }
    }
    Ok(b.out)
}

struct Builder<'n> {
    net: &'n Network,
    names: &'n Names,
    out: Tables,
    /// Variable of what acts of a cause in a run, where that is not the cause itself.
    acts: BTreeMap<(usize, usize), usize>,
}

fn named(values: &[&str]) -> Vec<String> {
    values.iter().map(|v| (*v).to_string()).collect()
}

/// P(contribution = pass, intermittent, fail) of a mode in a check.
fn contribution(mode: Option<&Mode>, check: usize) -> [f64; 3] {
    let effect = mode.and_then(|m| m.effects.iter().find(|e| e.check == check));
    effect.map_or([1.0, 0.0, 0.0], |e: &Effect| {
        [
            (1.0 - e.intermittent - e.fail).max(0.0),
            e.intermittent,
            e.fail,
        ]
    })
}

/// The worst of two independent contributions.
fn worst(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [
        a[0] * b[0],
        a[1] * (b[0] + b[1]) + a[0] * b[1],
        a[2] + (a[0] + a[1]) * b[2],
    ]
}

impl Builder<'_> {
    fn add(
        &mut self,
        name: String,
        values: Vec<String>,
        parents: Vec<usize>,
        table: Vec<f64>,
    ) -> usize {
        self.out.variables.push(Variable {
            name,
            values,
            parents,
            table,
            seen: None,
        });
        self.out.variables.len() - 1
    }

    fn common(&mut self) {
        for (b, &p) in self.net.common.iter().enumerate() {
            let id = self.add(
                self.names.common[b].clone(),
                named(&["absent", "present"]),
                vec![],
                vec![1.0 - p, p],
            );
            self.out.common.push(id);
        }
    }

    /// 'fine' and the names of the modes.
    fn values(&self, i: usize) -> Vec<String> {
        let modes = self.names.causes[i].1.iter().cloned();
        std::iter::once("fine".to_string()).chain(modes).collect()
    }

    fn cause(&mut self, i: usize, cause: &Cause) {
        let mut table = Vec::new();
        let count = self.net.common.len();
        for combination in 0..self.net.settings() {
            // The last common cause is the fastest here, the first in a setting.
            let setting = (0..count)
                .map(|b| (combination >> (count - 1 - b) & 1) << b)
                .sum::<usize>();
            let sum: f64 = cause.modes.iter().map(|m| m.prior[setting]).sum();
            table.push((1.0 - sum).max(0.0));
            table.extend(cause.modes.iter().map(|m| m.prior[setting]));
        }
        let parents = self.out.common.clone();
        let id = self.add(
            self.names.causes[i].0.clone(),
            self.values(i),
            parents,
            table,
        );
        self.out.causes.push(id);
    }

    /// A variable that says how well a state of its parent agrees with what was seen.
    fn agrees(&mut self, name: String, parent: usize, likelihood: Vec<f64>) {
        let most = likelihood.iter().copied().fold(0.0, f64::max);
        if likelihood.iter().all(|&l| l == most) && most > 0.0 {
            return;
        }
        let share = |l: f64| if most > 0.0 { l / most } else { 0.0 };
        let table = likelihood
            .iter()
            .flat_map(|&l| [share(l), 1.0 - share(l)])
            .collect();
        let id = self.add(name, named(&["seen", "other"]), vec![parent], table);
        self.out.variables[id].seen = Some(0);
    }

    fn alone(&mut self, i: usize, cause: &Cause) {
        let likelihood = std::iter::once(cause.likelihood_fine)
            .chain(cause.modes.iter().map(|m| m.likelihood))
            .collect();
        self.agrees(
            format!("{} itself", self.names.causes[i].0),
            self.out.causes[i],
            likelihood,
        );
    }

    /// Runs with a reading that a cause touches.
    fn runs(&self, cause: &Cause) -> Vec<usize> {
        let effects = cause.modes.iter().flat_map(|m| &m.effects);
        let read = effects.filter(|e| self.net.checks[e.check].seen.is_some());
        let mut runs: Vec<usize> = read.map(|e| self.net.checks[e.check].run).collect();
        runs.sort_unstable();
        runs.dedup();
        runs
    }

    fn acting(&mut self, i: usize, cause: &Cause) {
        if cause.modes.iter().all(|m| m.shows.is_none()) {
            return;
        }
        for run in self.runs(cause) {
            let size = cause.modes.len() + 1;
            let mut table = vec![0.0; size * size];
            table[0] = 1.0;
            for (m, mode) in cause.modes.iter().enumerate() {
                let shows = mode.shows.unwrap_or(1.0);
                table[(m + 1) * size] = 1.0 - shows;
                table[(m + 1) * size + m + 1] = shows;
            }
            let name = format!("{} in run {}", self.names.causes[i].0, run + 1);
            let id = self.add(name, self.values(i), vec![self.out.causes[i]], table);
            self.acts.insert((i, run), id);
        }
    }

    /// The variable through which a cause acts in a run.
    fn actor(&self, i: usize, run: usize) -> usize {
        self.acts
            .get(&(i, run))
            .copied()
            .unwrap_or(self.out.causes[i])
    }

    /// All passing checks of a run, as far as one cause is concerned.
    fn passing(&mut self, i: usize, cause: &Cause) {
        for run in self.runs(cause) {
            let passed = |e: &&Effect| {
                let check = &self.net.checks[e.check];
                check.run == run && check.seen == Some(Outcome::Pass)
            };
            let of_mode = |m: &Mode| -> f64 {
                let effects = m.effects.iter().filter(passed);
                effects
                    .map(|e| (1.0 - e.intermittent - e.fail).max(0.0))
                    .product()
            };
            let likelihood = std::iter::once(1.0)
                .chain(cause.modes.iter().map(of_mode))
                .collect();
            let name = format!(
                "{} in what passed in run {}",
                self.names.causes[i].0,
                run + 1
            );
            self.agrees(name, self.actor(i, run), likelihood);
        }
    }

    /// Causes that touch a check.
    fn touching(&self, check: usize) -> Vec<usize> {
        let touches = |c: &Cause| {
            let mut effects = c.modes.iter().flat_map(|m| &m.effects);
            effects.any(|e| e.check == check && e.intermittent + e.fail > 0.0)
        };
        (0..self.net.causes.len())
            .filter(|&i| touches(&self.net.causes[i]))
            .collect()
    }

    fn leak(&self, check: usize) -> [f64; 3] {
        let c = &self.net.checks[check];
        [
            (1.0 - c.leak_intermittent - c.leak_fail).max(0.0),
            c.leak_intermittent,
            c.leak_fail,
        ]
    }

    fn finish(&mut self, check: usize, id: usize) {
        self.out.variables[id].seen = self.net.checks[check].seen.map(|s| s as usize);
    }

    fn whole(&mut self, check: usize) -> Result<(), TooLarge> {
        let causes = self.touching(check);
        let size = |&i: &usize| self.net.causes[i].modes.len() + 1;
        let numbers = 3.0 * causes.iter().map(|i| size(i) as f64).product::<f64>();
        if numbers > MOST_NUMBERS as f64 {
            return Err(TooLarge {
                check: self.names.checks[check].clone(),
                numbers,
                most: MOST_NUMBERS,
            });
        }
        let mut rows = vec![self.leak(check)];
        for &i in &causes {
            let cause = &self.net.causes[i];
            let modes: Vec<[f64; 3]> = std::iter::once(None)
                .chain(cause.modes.iter().map(Some))
                .map(|m| contribution(m, check))
                .collect();
            rows = rows
                .iter()
                .flat_map(|&row| modes.iter().map(move |&c| worst(row, c)))
                .collect();
        }
        let run = self.net.checks[check].run;
        let parents = causes.iter().map(|&i| self.actor(i, run)).collect();
        let name = self.names.checks[check].clone();
        let id = self.add(
            name,
            named(&["pass", "intermittent", "fail"]),
            parents,
            rows.concat(),
        );
        self.finish(check, id);
        Ok(())
    }

    fn chain(&mut self, check: usize) {
        let causes = self.touching(check);
        let outcomes = || named(&["pass", "intermittent", "fail"]);
        let run = self.net.checks[check].run;
        let name = self.names.checks[check].clone();
        let first = match causes.len() {
            0 => name.clone(),
            _ => format!("{name} by itself"),
        };
        let mut before = self.add(first, outcomes(), vec![], self.leak(check).to_vec());
        for (k, &i) in causes.iter().enumerate() {
            let cause = &self.net.causes[i];
            let mut table = Vec::new();
            for worst_before in 0..3 {
                let mut sure = [0.0; 3];
                sure[worst_before] = 1.0;
                for m in std::iter::once(None).chain(cause.modes.iter().map(Some)) {
                    table.extend(worst(sure, contribution(m, check)));
                }
            }
            let name = match k + 1 == causes.len() {
                true => name.clone(),
                false => format!("{name} up to {}", self.names.causes[i].0),
            };
            let actor = self.actor(i, run);
            before = self.add(name, outcomes(), vec![before, actor], table);
        }
        self.finish(check, before);
    }
}
