//! Common causes: things that happened to the whole machine and multiply the rates of the classes they strike.
//!
//! At most [`MAX_CAUSES`], each present or not, independent of each other beforehand. Under one *setting* (which of
//! them are present) units fail independently; the dependence between units comes from summing over the settings.

use crate::faultmap::raw::Class;

/// Most common causes that a table may hold: 2^4 = 16 settings.
pub const MAX_CAUSES: usize = 4;

/// One common cause.
#[derive(Debug, Clone, PartialEq)]
pub struct CommonCause {
    /// Identifier, kebab-case.
    pub id: &'static str,
    /// For a person.
    pub what: &'static str,
    /// Probability that it applies to a machine, before anything is known of it.
    pub prior: f64,
    /// Multiplier on the failure rate of each class it strikes; 1 for the others.
    pub factors: Vec<(Class, f64)>,
    /// Where prior and multipliers are from; `guess` where nowhere.
    pub source: &'static str,
}

impl CommonCause {
    /// Multiplier on the rate of this class when the cause is present.
    #[must_use]
    pub fn factor(&self, class: Class) -> f64 {
        self.factors
            .iter()
            .find(|(c, _)| *c == class)
            .map_or(1.0, |(_, f)| *f)
    }
}

/// The common causes reckoned with.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CommonTable {
    /// In the order of the bits of a [`Setting`].
    causes: Vec<CommonCause>,
    /// Mean of the worst multiplier over the settings, for the classes that some cause strikes.
    means: Vec<(Class, f64)>,
}

/// Which common causes are present: bit `k` for cause `k`.
pub type Setting = usize;

/// Why a table of common causes is refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CommonError {
    /// Too many: the settings would be too many to sum over.
    #[error("{0} common causes; at most {MAX_CAUSES} are summed over")]
    TooMany(usize),
    /// A prior that is no probability.
    #[error("common cause {id}: prior {value} is not between 0 and 1")]
    Prior {
        /// Which cause.
        id: &'static str,
        /// As given.
        value: f64,
    },
    /// A multiplier that is not a positive number, or a class listed twice.
    #[error("common cause {id}: class {class:?} needs one positive multiplier")]
    Factor {
        /// Which cause.
        id: &'static str,
        /// Which class.
        class: Class,
    },
}

impl CommonTable {
    /// A table of these causes.
    ///
    /// # Errors
    /// More than four causes, a prior that is no probability, a multiplier that is not positive or given twice.
    pub fn new(causes: Vec<CommonCause>) -> Result<Self, CommonError> {
        if causes.len() > MAX_CAUSES {
            return Err(CommonError::TooMany(causes.len()));
        }
        for cause in &causes {
            if !(0.0..=1.0).contains(&cause.prior) {
                return Err(CommonError::Prior {
                    id: cause.id,
                    value: cause.prior,
                });
            }
            for (k, (class, factor)) in cause.factors.iter().enumerate() {
                let twice = cause.factors[..k].iter().any(|(c, _)| c == class);
                if twice || !factor.is_finite() || *factor <= 0.0 {
                    return Err(CommonError::Factor {
                        id: cause.id,
                        class: *class,
                    });
                }
            }
        }
        Ok(Self::of(causes))
    }

    /// No common causes: one setting, every multiplier 1.
    #[must_use]
    pub fn none() -> Self {
        Self::default()
    }

    /// The four causes that the tool ships with.
    ///
    /// Hints behind them are small counts of public repair pages; every figure marked `guess` is one.
    #[must_use]
    pub fn shipped() -> Self {
        Self::of(vec![over_voltage(), poor_memory(), damp(), bad_repair()])
    }

    fn of(causes: Vec<CommonCause>) -> Self {
        let mut struck: Vec<Class> = causes
            .iter()
            .flat_map(|c| c.factors.iter().map(|f| f.0))
            .collect();
        struck.sort_unstable();
        struck.dedup();
        let mut table = Self {
            causes,
            means: Vec::new(),
        };
        let mean = |class| {
            table
                .settings()
                .map(|s| table.probability(s) * table.worst(s, class))
                .sum()
        };
        table.means = struck
            .into_iter()
            .map(|class| (class, mean(class)))
            .collect();
        table
    }

    /// The causes, in order.
    #[must_use]
    pub fn causes(&self) -> &[CommonCause] {
        &self.causes
    }

    /// All settings: 0 (none present) to 2^n − 1.
    pub fn settings(&self) -> std::ops::Range<Setting> {
        0..1 << self.causes.len()
    }

    /// Prior probability of a setting.
    #[must_use]
    pub fn probability(&self, setting: Setting) -> f64 {
        self.causes
            .iter()
            .enumerate()
            .map(|(k, c)| {
                if setting >> k & 1 == 1 {
                    c.prior
                } else {
                    1.0 - c.prior
                }
            })
            .product()
    }

    /// Multiplier on the rate of a class under a setting, *relative to the mean over all settings*: counted repairs have the
    /// common causes in them already, so these must not raise the mean rate, only tie the units of a class together.
    ///
    /// factor(s, class) = worst(s, class) / Σ P(t) worst(t, class)
    #[must_use]
    pub fn factor(&self, setting: Setting, class: Class) -> f64 {
        let mean = self
            .means
            .iter()
            .find(|(c, _)| *c == class)
            .map_or(1.0, |m| m.1);
        self.worst(setting, class) / mean
    }

    /// The multiplier of the worst cause present. A chip of a poor make that saw over-voltage is not worse off than the
    /// worse of the two says: both are counts of the bad ones.
    fn worst(&self, setting: Setting, class: Class) -> f64 {
        self.causes
            .iter()
            .enumerate()
            .filter(|(k, _)| setting >> k & 1 == 1)
            .map(|(_, c)| c.factor(class))
            .fold(1.0, f64::max)
    }
}

fn over_voltage() -> CommonCause {
    CommonCause {
        id: "over-voltage",
        what: "over-voltage in the past (a supply that failed high)",
        prior: 0.04,
        factors: vec![
            (Class::Memory, 40.0),
            (Class::StaticMemory, 10.0),
            (Class::Supply, 10.0),
            (Class::LogicArray, 6.0),
            (Class::InterfaceAdapter, 4.0),
            (Class::Processor, 4.0),
            (Class::Video, 4.0),
            (Class::Sound, 4.0),
            (Class::Rom, 4.0),
            (Class::Logic, 4.0),
            (Class::Driver, 4.0),
            (Class::Timer, 3.0),
            (Class::Clock, 3.0),
            (Class::Regulator, 4.0),
            (Class::Semiconductor, 3.0),
            (Class::Fuse, 10.0),
            (Class::Capacitor, 2.0),
        ],
        source: "that a failed supply takes several memory chips at once is told by two repairers \
                 (every other chip; about 5 of 8 after a shorted adapter); the figures are guesses",
    }
}

fn poor_memory() -> CommonCause {
    CommonCause {
        id: "poor-memory",
        what: "memory chips of a poor make",
        prior: 0.15,
        factors: vec![(Class::Memory, 25.0)],
        source: "two small counts of one make, pooled: 5 of 8 and 1 of 16 bad, 0.25 of such chips; the multiplier gives \
                 0.17 to 0.19 on the shipped boards, a little less because bad boards are the ones that get told; \
                 the prior is a guess",
    }
}

fn damp() -> CommonCause {
    CommonCause {
        id: "damp",
        what: "damp storage",
        prior: 0.10,
        factors: vec![
            (Class::Contact, 8.0),
            (Class::Connector, 8.0),
            (Class::Keyboard, 5.0),
            (Class::Switch, 5.0),
            (Class::Cable, 3.0),
            (Class::Fuse, 2.0),
            (Class::Capacitor, 2.0),
            (Class::Passive, 2.0),
        ],
        source: "guess",
    }
}

fn bad_repair() -> CommonCause {
    CommonCause {
        id: "bad-repair",
        what: "earlier bad repair work",
        prior: 0.07,
        factors: vec![
            (Class::Contact, 10.0),
            (Class::Setting, 5.0),
            (Class::Cable, 3.0),
            (Class::Connector, 2.0),
            (Class::Passive, 2.0),
            (Class::Semiconductor, 2.0),
            (Class::Logic, 2.0),
        ],
        source: "2 of 27 counted repairs had earlier work that was itself at fault (chips in swapped sockets and bent legs; \
                 a badly seated adapter board); the multipliers are guesses",
    }
}
