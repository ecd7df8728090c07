//! An order of summing out, written down as a list of contractions of tables.
//!
//! For each variable in turn, all tables that mention it are combined (plain ones first, tables with a number
//! for each setting of the common causes last, small ones into larger ones that cover them) and the variable is
//! summed out in the last combination. A plan depends on the *structure* only (which cause touches which
//! reading); the numbers are filled in for each run of it.

use super::absorb::Absorb;
use super::contract::{Contract, Slot};
use super::layout::{Layout, covers, stride, union};
use super::order::{Order, Var, VarId, Vars};

/// Where the numbers of an initial table come from.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Base {
    /// The leak of a reading: (reading).
    Leak(usize),
    /// How a cause explains one reading directly: (reading, cause).
    Direct { cause: usize, reading: usize },
    /// How a cause explains all the readings it touches: (readings, cause).
    Whole { cause: usize },
    /// P(hidden value | state of the cause): (cause, hidden).
    Gate { hidden: VarId },
    /// How a hidden variable explains one reading: (reading, hidden).
    Acts { hidden: VarId, reading: usize },
    /// The weights of the states of a cause, for each setting: (cause).
    Weights { cause: usize },
    /// The number 1.
    Unit,
    /// 1 where nothing is explained, else 0, for each setting: (readings).
    Start,
}

/// One step of the sum.
#[derive(Debug, Clone)]
pub(crate) enum Step {
    /// Two tables are combined.
    Contract(Contract),
    /// A cause is summed into a table.
    Absorb(Absorb),
}

/// The plan.
#[derive(Debug, Clone, Default)]
pub(crate) struct Plan {
    /// The initial tables.
    pub(crate) bases: Vec<(Base, Slot)>,
    /// The steps, in order.
    pub(crate) steps: Vec<Step>,
    /// One table of one entry for each independent part; the evidence is their product.
    pub(crate) roots: Vec<Slot>,
    /// Entries in the arena of plain tables.
    pub(crate) plain: usize,
    /// Entries in the arena of tables with a number for each setting.
    pub(crate) lanes: usize,
}

/// The plan would be larger than allowed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct TooLarge;

/// What a plan may cost.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Allowance {
    /// Multiplications, over all settings.
    pub(crate) work: f64,
    /// Table entries, over all settings.
    pub(crate) entries: f64,
    /// Number of settings.
    pub(crate) lanes: usize,
}

/// A table during planning; its variables ascending, the last one fastest.
#[derive(Debug, Clone)]
struct Table {
    dims: Vec<VarId>,
    /// `None` until it is needed: an initial table may be replaced by a better one.
    slot: Option<Slot>,
    base: Option<Base>,
    lanes: bool,
    /// The cause of which this is the sum over its states, as long as it is not written down: its variable.
    sum_of: Option<VarId>,
}

impl Table {
    /// An initial table.
    fn base(base: Base, dims: Vec<VarId>) -> Self {
        let lanes = matches!(base, Base::Weights { .. } | Base::Start);
        Table {
            dims,
            slot: None,
            base: Some(base),
            lanes,
            sum_of: None,
        }
    }
}

struct Planner<'v> {
    vars: &'v Vars,
    allowance: Allowance,
    work: f64,
    plan: Plan,
    tables: Vec<Option<Table>>,
    of_var: Vec<Vec<usize>>,
}

impl Plan {
    /// Writes the plan down, unless it would cost more than allowed.
    pub(crate) fn new(vars: &Vars, order: &Order, allowance: Allowance) -> Result<Self, TooLarge> {
        let mut planner = Planner {
            vars,
            allowance,
            work: 0.0,
            plan: Plan::default(),
            tables: Vec::new(),
            of_var: vec![Vec::new(); vars.list.len()],
        };
        planner.initial_tables();
        for &v in &order.sequence {
            planner.sum_out(v)?;
        }
        Ok(planner.plan)
    }

    /// Where the weights of each cause are: index of the initial table, cause, place.
    pub(crate) fn weights(&self) -> impl Iterator<Item = (usize, usize, Slot)> + '_ {
        let all = self.bases.iter().enumerate();
        all.filter_map(|(at, (base, slot))| match *base {
            Base::Weights { cause } => Some((at, cause, *slot)),
            _ => None,
        })
    }
}

/// Which parts of a plan depend on the weights of some causes.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Depends {
    /// For each initial table.
    pub(crate) bases: Vec<bool>,
    /// For each step.
    pub(crate) steps: Vec<bool>,
}

impl Plan {
    /// What has to be computed again when only the weights of these causes changed.
    pub(crate) fn depends_on(&self, causes: &[usize]) -> Depends {
        let mut changed = std::collections::HashSet::new();
        let bases = (self.bases.iter())
            .map(|(base, slot)| {
                let is = matches!(base, Base::Weights { cause } if causes.contains(cause));
                if is {
                    changed.insert(slot.start);
                }
                is
            })
            .collect();
        let steps = (self.steps.iter())
            .map(|step| {
                let (inputs, out) = match step {
                    Step::Contract(step) => ([step.a, step.b], step.out),
                    Step::Absorb(step) => ([step.acc, step.weights], step.out),
                };
                let is = inputs.iter().any(|i| i.lanes && changed.contains(&i.start));
                if is {
                    changed.insert(out.start);
                }
                is
            })
            .collect();
        Depends { bases, steps }
    }
}

impl Planner<'_> {
    fn initial_tables(&mut self) {
        for (v, var) in self.vars.list.iter().enumerate() {
            match *var {
                Var::Reading(reading) => self.add_base(Base::Leak(reading), vec![v]),
                Var::Cause(cause) => self.add_base(Base::Weights { cause }, vec![v]),
                Var::Hidden { .. } => {}
            }
        }
        for dims in &self.vars.tables {
            let base = match (&self.vars.list[dims[0]], &self.vars.list[dims[1]]) {
                (&Var::Reading(reading), &Var::Cause(cause)) => Base::Direct { cause, reading },
                (&Var::Reading(reading), Var::Hidden { .. }) => Base::Acts {
                    hidden: dims[1],
                    reading,
                },
                _ => Base::Gate { hidden: dims[1] },
            };
            self.add_base(base, dims.clone());
        }
    }

    fn add_base(&mut self, base: Base, dims: Vec<VarId>) {
        self.add(Table::base(base, dims));
    }

    fn add(&mut self, table: Table) {
        let id = self.tables.len();
        for &v in &table.dims {
            self.of_var[v].push(id);
        }
        self.tables.push(Some(table));
    }

    fn size(&self, dims: &[VarId]) -> f64 {
        dims.iter().map(|&v| self.vars.sizes[v] as f64).product()
    }

    fn allot(&mut self, dims: &[VarId], lanes: bool) -> Result<Slot, TooLarge> {
        let size = self.size(dims);
        let width = self.allowance.lanes as f64;
        let used = self.plan.plain as f64 + self.plan.lanes as f64 * width;
        if used + size * if lanes { width } else { 1.0 }
            > self.allowance.entries.min(f64::from(u32::MAX))
        {
            return Err(TooLarge);
        }
        let len = size as usize;
        let arena = if lanes {
            &mut self.plan.lanes
        } else {
            &mut self.plan.plain
        };
        let start = *arena;
        *arena += len;
        Ok(Slot { start, len, lanes })
    }

    fn slot(&mut self, table: &mut Table) -> Result<Slot, TooLarge> {
        if let Some(slot) = table.slot {
            return Ok(slot);
        }
        let slot = self.allot(&table.dims, table.lanes)?;
        let base = table.base.take().unwrap_or(Base::Unit);
        self.plan.bases.push((base, slot));
        table.slot = Some(slot);
        Ok(slot)
    }

    /// Combines all tables that mention `v` and sums it out.
    fn sum_out(&mut self, v: VarId) -> Result<(), TooLarge> {
        let mut ids = std::mem::take(&mut self.of_var[v]);
        ids.sort_unstable();
        let found: Vec<Table> = ids
            .iter()
            .filter_map(|&id| self.tables[id].take())
            .collect();
        if let Some(sum) = self.untouched_cause(v, &found) {
            self.add(sum);
            return Ok(());
        }
        let (lanes, plain): (Vec<Table>, Vec<Table>) = found.into_iter().partition(|t| t.lanes);
        let mut parts = self.combine(plain, 1)?;
        if lanes.is_empty() {
            parts = self.combine(parts, 2)?;
        } else {
            let keep = if parts.is_empty() { 2 } else { 1 };
            parts.extend(self.combine(lanes, keep)?);
        }
        let last = parts.pop();
        let first = parts.pop();
        let (mut a, mut b) = match (first, last) {
            (Some(a), Some(b)) => (a, b),
            (Some(a), None) | (None, Some(a)) => (a, Table::base(Base::Unit, vec![])),
            (None, None) => return Ok(()),
        };
        let out = self.contract(&mut a, &mut b, Some(v))?;
        if out.dims.is_empty() {
            let mut out = out;
            let slot = self.slot(&mut out)?;
            self.plan.roots.push(slot);
        } else {
            self.add(out);
        }
        Ok(())
    }

    /// A cause that is summed out while nothing was done to its tables yet: written down when it is needed.
    fn untouched_cause(&self, v: VarId, found: &[Table]) -> Option<Table> {
        let Var::Cause(_) = self.vars.list[v] else {
            return None;
        };
        let mut dims = Vec::with_capacity(found.len());
        for table in found {
            match table.base {
                Some(Base::Direct { .. }) => dims.push(table.dims[0]),
                Some(Base::Weights { .. }) => {}
                _ => return None,
            }
        }
        dims.sort_unstable();
        Some(Table {
            dims,
            slot: None,
            base: None,
            lanes: true,
            sum_of: Some(v),
        })
    }

    /// Writes the sum over the states of a cause down as a table.
    fn write_down(&mut self, table: &mut Table) -> Result<(), TooLarge> {
        let Some(v) = table.sum_of.take() else {
            return Ok(());
        };
        let Var::Cause(cause) = self.vars.list[v] else {
            return Ok(());
        };
        let mut dims = table.dims.clone();
        *table = if dims.len() <= 6 {
            dims.push(v);
            let mut whole = Table::base(Base::Whole { cause }, dims);
            let mut weights = Table::base(Base::Weights { cause }, vec![v]);
            self.contract(&mut whole, &mut weights, Some(v))?
        } else {
            self.absorb(&mut Table::base(Base::Start, dims.clone()), &dims, v, cause)?
        };
        Ok(())
    }

    /// Plans summing a cause that touches `readings` into a table that covers them.
    fn absorb(
        &mut self,
        acc: &mut Table,
        readings: &[VarId],
        v: VarId,
        cause: usize,
    ) -> Result<Table, TooLarge> {
        let passes = self.vars.sizes[v] as f64 * (readings.len() + 1) as f64;
        self.spend(self.size(&acc.dims) * passes * self.allowance.lanes as f64)?;
        let mut weights = Table::base(Base::Weights { cause }, vec![v]);
        let (acc_slot, weights) = (self.slot(acc)?, self.slot(&mut weights)?);
        let out = self.allot(&acc.dims, true)?;
        let strides = readings
            .iter()
            .map(|&r| stride(&self.vars.sizes, &acc.dims, r) as usize)
            .collect();
        self.plan.steps.push(Step::Absorb(Absorb {
            acc: acc_slot,
            weights,
            out,
            cause,
            strides,
        }));
        Ok(Table {
            dims: acc.dims.clone(),
            slot: Some(out),
            base: None,
            lanes: true,
            sum_of: None,
        })
    }

    fn spend(&mut self, work: f64) -> Result<(), TooLarge> {
        self.work += work;
        if self.work > self.allowance.work {
            Err(TooLarge)
        } else {
            Ok(())
        }
    }

    /// Combines tables without summing anything out, until `keep` are left: equal ones first, then small ones
    /// into the first that covers them, then whatever grows least.
    fn combine(&mut self, mut tables: Vec<Table>, keep: usize) -> Result<Vec<Table>, TooLarge> {
        tables.sort_by(|a, b| {
            a.dims
                .len()
                .cmp(&b.dims.len())
                .then_with(|| a.dims.cmp(&b.dims))
        });
        let mut left: Vec<Table> = Vec::with_capacity(tables.len());
        let mut count = tables.len();
        for mut table in tables {
            if count > keep
                && let Some(previous) = left.last_mut().filter(|p| p.dims == table.dims)
            {
                *previous = self.contract(previous, &mut table, None)?;
                count -= 1;
            } else {
                left.push(table);
            }
        }
        let mut small = 0;
        while left.len() > keep && small < left.len() {
            let cover = (small + 1..left.len()).find(|&k| covers(&left[k].dims, &left[small].dims));
            if let Some(k) = cover {
                let mut table = left.remove(small);
                left[k - 1] = self.contract(&mut left[k - 1].clone(), &mut table, None)?;
            } else {
                small += 1;
            }
        }
        while left.len() > keep {
            let (i, k) = self.least_growth(&left);
            let mut b = left.remove(k);
            left[i] = self.contract(&mut left[i].clone(), &mut b, None)?;
        }
        Ok(left)
    }

    /// The smallest table and the partner with which it makes the smallest result.
    fn least_growth(&self, tables: &[Table]) -> (usize, usize) {
        let smallest = (0..tables.len())
            .min_by(|&a, &b| {
                self.size(&tables[a].dims)
                    .total_cmp(&self.size(&tables[b].dims))
            })
            .unwrap_or(0);
        let partner = (0..tables.len())
            .filter(|&k| k != smallest)
            .min_by(|&a, &b| {
                let joint = |k: usize| self.size(&union(&tables[smallest].dims, &tables[k].dims));
                joint(a).total_cmp(&joint(b))
            })
            .unwrap_or(0);
        (smallest.min(partner), smallest.max(partner))
    }

    /// Plans the contraction of two tables; `out` is the variable to sum out.
    fn contract(
        &mut self,
        one: &mut Table,
        two: &mut Table,
        out: Option<VarId>,
    ) -> Result<Table, TooLarge> {
        let (a, b) = if self.size(&one.dims) >= self.size(&two.dims) {
            (one, two)
        } else {
            (two, one)
        };
        if let (Some(v), None) = (b.sum_of, out)
            && let Var::Cause(cause) = self.vars.list[v]
            && covers(&a.dims, &b.dims)
        {
            self.write_down(a)?;
            return self.absorb(a, &b.dims, v, cause);
        }
        self.write_down(a)?;
        self.write_down(b)?;
        let mut dims = union(&a.dims, &b.dims);
        dims.retain(|&v| Some(v) != out);
        let lanes = a.lanes || b.lanes;
        let width = if lanes {
            self.allowance.lanes as f64
        } else {
            1.0
        };
        self.spend(self.contract_work(&a.dims, &b.dims, out) * width)?;
        let (a_slot, b_slot) = (self.slot(a)?, self.slot(b)?);
        let slot = self.allot(&dims, lanes)?;
        let step = Layout {
            sizes: &self.vars.sizes,
            vars: &self.vars.list,
            a: &a.dims,
            b: &b.dims,
            to: &dims,
            out,
        };
        self.plan
            .steps
            .push(Step::Contract(step.build(a_slot, b_slot, slot)));
        Ok(Table {
            dims,
            slot: Some(slot),
            base: None,
            lanes,
            sum_of: None,
        })
    }

    fn contract_work(&self, a: &[VarId], b: &[VarId], out: Option<VarId>) -> f64 {
        let shared = |v: &VarId| a.binary_search(v).is_ok();
        let of_b: f64 = b
            .iter()
            .map(|v| match self.vars.list[*v] {
                Var::Reading(_) if shared(v) => {
                    if Some(*v) == out {
                        2.0
                    } else {
                        3.0
                    }
                }
                _ => self.vars.sizes[*v] as f64,
            })
            .product();
        let only_a: f64 = a
            .iter()
            .filter(|v| b.binary_search(v).is_err())
            .map(|&v| self.vars.sizes[v] as f64)
            .product();
        of_b * only_a
    }
}
