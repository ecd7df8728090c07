//! What the planner is given: hypotheses, steps with costs and rules, and where a plan may end.

use thiserror::Error;

/// Something that can be at fault and be cured: a chip, its contact, a cable, one failure mode of one part.
/// The planner only compares the numbers.
pub type UnitId = u32;
/// Index of a step in [`Problem::steps`].
pub type StepId = usize;

/// The most units one hypothesis may put at fault (the planner tabulates every subset of them).
pub const MOST_UNITS_AT_FAULT: usize = 12;
/// The most steps a problem may have.
pub const MOST_STEPS: usize = 128;
/// The most different [`Condition`]s the steps of a problem may name.
pub const MOST_CONDITIONS: usize = 128;
/// How far a sum of probabilities may be from 1.
pub const SUM_TOLERANCE: f64 = 1e-6;

/// A set of units at fault together (often one), with its probability.
#[derive(Debug, Clone, PartialEq)]
pub struct Hypothesis {
    /// Probability, 0 to 1. Zero is of use: such a hypothesis says how the steps read when a larger set has
    /// been cured down to this one.
    pub probability: f64,
    /// The units at fault, each once.
    pub faulty: Vec<UnitId>,
}

/// What a step costs, before it is known how it turns out.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Cost {
    /// Minutes of work.
    pub minutes: f64,
    /// Expected loss from what may go wrong (a slipped probe, a torn pad), in minutes.
    pub hazard: f64,
    /// Money spent whatever the outcome, in the user's currency; counts with [`Options::minutes_per_money`].
    pub money: f64,
}

impl Cost {
    /// So many minutes of work, without hazard or money.
    pub fn minutes(minutes: f64) -> Self {
        Self {
            minutes,
            ..Self::default()
        }
    }

    /// All of it in minutes: `minutes + hazard + money * minutes_per_money`.
    pub fn total(&self, minutes_per_money: f64) -> f64 {
        self.minutes + self.hazard + self.money * minutes_per_money
    }
}

/// How a remedy acts on one unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cure {
    /// The unit.
    pub unit: UnitId,
    /// P(the unit is sound afterwards | it was at fault); independent of every other remedy, so that fault
    /// modes which a remedy always or never cures are better given as units of their own.
    pub probability: f64,
}

/// What is done in a step.
#[derive(Debug, Clone, PartialEq)]
pub enum Kind {
    /// Something is looked at, measured or tested; the machine stays as it is.
    Observe {
        /// `rows[h][o]` = P(outcome `o` | hypothesis `h`); each row adds up to 1.
        rows: Vec<Vec<f64>>,
        /// The row of the unexplored rest; `None`: the mean of `rows` weighted by probability, so that the
        /// observation speaks neither for nor against the rest.
        unexplored: Option<Vec<f64>>,
    },
    /// Something is reseated, swapped, replaced, cleaned; then the machine is tested again. Outcome 0
    /// ([`WORKS`]): nothing is at fault any more; outcome 1 ([`STILL_FAULTY`]): something is.
    Remedy {
        /// The units it may cure (swapping a chip in its socket reseats it as well: two cures).
        cures: Vec<Cure>,
        /// Minutes to test the machine afterwards, always spent.
        verify: f64,
        /// Minutes spent in addition when a unit was at fault and is cured. With `Cost` as the price of a
        /// perfect check of the unit this is the price of its repair.
        when_cured: f64,
        /// Observations that no longer hold once this has been done: they may be made again, and conditions
        /// on them are unmet until they have been.
        reopens: Vec<StepId>,
    },
}

/// Outcome of a remedy: the machine works.
pub const WORKS: usize = 0;
/// Outcome of a remedy: something is still at fault.
pub const STILL_FAULTY: usize = 1;

/// The state of the supply that a step needs.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash)]
pub enum Power {
    /// Does not matter.
    #[default]
    Either,
    /// Switched off.
    Off,
    /// Switched on.
    On,
}

/// True once `step` has been done and came out in one of `outcomes`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Condition {
    /// The step.
    pub step: StepId,
    /// The outcomes that count; empty: whatever came out.
    pub outcomes: Vec<usize>,
}

/// When a step may be done: a hard rule, not a matter of cost.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Rule {
    /// Every one of these groups needs a condition that is true ('the rails were read and are fine, or the
    /// machine evidently ran a test').
    pub after: Vec<Vec<Condition>>,
    /// Never while one of these is true ('a rail was above its stop limit').
    pub never_after: Vec<Condition>,
}

/// One thing that can be done.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// What is done.
    pub kind: Kind,
    /// What it costs.
    pub cost: Cost,
    /// Bit set of the tools and parts that it needs, as numbered by the caller.
    pub tools: u64,
    /// Supply on or off.
    pub power: Power,
    /// What must have been done before, or must not have come out.
    pub rule: Rule,
}

impl Step {
    /// An observation that takes so many minutes; `rows[h][o]` = P(outcome `o` | hypothesis `h`).
    pub fn observe(minutes: f64, rows: Vec<Vec<f64>>) -> Self {
        Self::of(
            minutes,
            Kind::Observe {
                rows,
                unexplored: None,
            },
        )
    }

    /// A remedy for one unit that takes so many minutes, cures with this probability, and is followed by a
    /// test of `verify` minutes.
    pub fn remedy(unit: UnitId, minutes: f64, cures: f64, verify: f64) -> Self {
        let cures = vec![Cure {
            unit,
            probability: cures,
        }];
        Self::of(
            minutes,
            Kind::Remedy {
                cures,
                verify,
                when_cured: 0.0,
                reopens: Vec::new(),
            },
        )
    }

    fn of(minutes: f64, kind: Kind) -> Self {
        let (tools, power, rule) = (0, Power::Either, Rule::default());
        Self {
            kind,
            cost: Cost::minutes(minutes),
            tools,
            power,
            rule,
        }
    }

    /// Number of outcomes: as many as a row has, two for a remedy.
    pub fn outcomes(&self) -> usize {
        match &self.kind {
            Kind::Observe { rows, unexplored } => {
                rows.first().or(unexplored.as_ref()).map_or(0, Vec::len)
            }
            Kind::Remedy { .. } => 2,
        }
    }

    /// Whether it is a remedy.
    pub fn is_remedy(&self) -> bool {
        matches!(self.kind, Kind::Remedy { .. })
    }
}

/// Where a plan ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Goal {
    /// With a machine that has passed the test after a remedy, or by stopping (use it for parts), which is
    /// always possible and costs `stop` minutes (the worth of the machine, as the bench sets it).
    Repair {
        /// Price of stopping, in minutes.
        stop: f64,
    },
    /// With one hypothesis as probable as `certainty`, or when no observation is left that separates those
    /// that remain. Remedies are not considered.
    Identify {
        /// Above 0, up to 1.
        certainty: f64,
    },
}

/// Everything the planner knows.
#[derive(Debug, Clone, PartialEq)]
pub struct Problem {
    /// Exclusive hypotheses; with `unexplored` their probabilities add up to 1.
    pub hypotheses: Vec<Hypothesis>,
    /// Probability that none of them holds: no remedy cures this, it can only be stopped.
    pub unexplored: f64,
    /// What can be done.
    pub steps: Vec<Step>,
    /// Where a plan ends.
    pub goal: Goal,
    /// The state of the supply now; `Either`: not known, the first step sets it free of charge.
    pub power: Power,
    /// Minutes to switch the supply on or off and connect again. A remedy done with the supply off leaves it
    /// on, since the machine is tested; that change is in its `verify`.
    pub power_change: f64,
}

/// A static filter of the caller: `false` keeps a step out of every plan.
pub type Filter<'f> = &'f (dyn Fn(StepId, &Step) -> bool + Sync);

/// How to plan.
#[derive(Clone, Copy)]
pub struct Options<'f> {
    /// Bit set of tools and parts that the bench has; a step that needs another is never used.
    pub tools: u64,
    /// Minutes that one unit of money is worth.
    pub minutes_per_money: f64,
    /// How much work to do before being content with the best plan found; one unit is one hypothesis looked
    /// at once, some nanoseconds. The result depends on this only, not on the machine.
    pub effort: u64,
    /// End early after this time (the result may then depend on the machine).
    pub time: Option<std::time::Duration>,
    /// The most steps to look ahead before estimating the rest by the simple policies.
    pub depth: u8,
    /// Depth of the decision tree that is returned; 0: none.
    pub tree: u8,
    /// Number of runners-up to describe.
    pub runners_up: usize,
    /// What else rules a step out.
    pub allowed: Option<Filter<'f>>,
}

impl Default for Options<'_> {
    fn default() -> Self {
        Self {
            tools: u64::MAX,
            minutes_per_money: 0.0,
            effort: 2_000_000,
            time: None,
            depth: u8::MAX,
            tree: 0,
            runners_up: 3,
            allowed: None,
        }
    }
}

/// What can be wrong with a [`Problem`].
#[derive(Debug, Clone, PartialEq, Error)]
pub enum ProblemError {
    /// A number that must be finite and not negative.
    #[error("{what} is {value}; expected a finite number, 0 or more")]
    Number {
        /// Which number.
        what: String,
        /// Its value.
        value: f64,
    },
    /// A probability outside 0..1.
    #[error("{what} is {value}; expected a probability from 0 to 1")]
    Probability {
        /// Which one.
        what: String,
        /// Its value.
        value: f64,
    },
    /// Probabilities that do not add up to 1.
    #[error("{what} add up to {sum}; expected 1")]
    Sum {
        /// Which ones.
        what: String,
        /// Their sum.
        sum: f64,
    },
    /// Too many or too few of something.
    #[error("{what}: {found}; expected {expected}")]
    Count {
        /// Of what.
        what: String,
        /// How many there are.
        found: usize,
        /// How many there should be.
        expected: String,
    },
    /// A unit named twice in one hypothesis.
    #[error("hypothesis {hypothesis} names unit {unit} twice; expected each unit once")]
    UnitTwice {
        /// The hypothesis.
        hypothesis: usize,
        /// The unit.
        unit: UnitId,
    },
    /// A rule that names a step or an outcome that is not there.
    #[error("step {step} refers to {what}, which is not there")]
    NoSuch {
        /// The step whose rule it is.
        step: StepId,
        /// What it refers to.
        what: String,
    },
}
